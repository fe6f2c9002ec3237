"""The strongest lines of a recording, whatever they are, followed through time.

Each short spectrum is divided by its own floor, so that noise reads 1. A line is followed along the path of
highest summed log power of a frequency that changes smoothly (Viterbi's algorithm, A. J. Viterbi, IEEE
Transactions on Information Theory, 1967), within a band round its mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import fft, ndimage

from vibecore import hann
from vibecore.model import Flags, Floats, Signal

ZERO_PAD = 3
FLOOR_HALF_WIDTH_HZ = 6.0  # reaches past the next half order of a 700 rpm idle (5.8 Hz) on each side
FLOOR_FRAMES = 50  # frames overlap fourfold: every fourth one of a minute says as much as all of them
FLOOR_QUANTILE = 20.0  # per cent: lines fill up to two thirds of this band, valleys the rest
LOWEST_HZ = 1.5  # below it the body rocks on its springs and tyres
SOFTENING = 3.0  # of the floor: power at which a line begins to count
LARGEST_STEP = 9  # grid steps per hop: 3.6 % in a quarter second, a brisk blip
HOPS = 4  # a frame: Hann windows that overlap by three quarters lose nothing
MAIN_LOBE = 2.0  # over the frame's length: half width of a line, to the first null (Hann)
LINE_HALF_WIDTH = 1.5  # over the frame's length: two lines nearer than this are one to a frame (Hann: 2)
LINE_HEIGHT = 1.8  # of the floor, in the log mean over frames
HEIGHT_TRUSTED = 0.3  # of it: a frame's height is of the nearest bin, and neighbours may lean in
LOWEST_LINE_HZ = 3.0  # engine order 0.5 at 360 rpm


@dataclass(frozen=True)
class Framing:
    """How long the short spectra are and how fast a line may move. change_per_s: standard deviation of the
    logarithm of speed over one second. wander: of its frequency, how far a line strays to each side of its
    mean. Common practice, no source."""

    frame_s: float
    change_per_s: float
    wander: float

    @property
    def hop_s(self) -> float:
        return self.frame_s / HOPS

    @property
    def half_width_hz(self) -> float:
        return LINE_HALF_WIDTH / self.frame_s


# An idle that wanders; one that hunts: 60 rpm at 0.5 Hz sweeps engine order 2 by 6 Hz in a second.
USUAL, HUNTING = Framing(1.0, 0.10, 0.12), Framing(0.7, 0.5, 0.25)


@dataclass(frozen=True, eq=False)
class Frames:
    """t_s (f,): middles of the frames from the signal's first sample. power (f, b), in single precision:
    whitened, mean over three axes, 1 where there is only noise. df_hz: bin spacing. usable (f,): enough good
    samples."""

    t_s: Floats
    power: np.ndarray
    df_hz: float
    fs_hz: float
    usable: Flags
    framing: Framing

    @cached_property
    def score(self) -> Floats:
        """(f, b) 0 where there is nothing, growing slowly with power, so that no moment's burst decides."""
        return np.log1p(self.power / np.float32(SOFTENING))


def frames(signal: Signal, framing: Framing = USUAL) -> Frames:
    """Whitened short spectra of a signal (n, 3)."""
    size = round(framing.frame_s * signal.fs_hz)
    hop = max(1, round(framing.hop_s * signal.fs_hz))
    count = 1 + (len(signal.accel_m_s2) - size) // hop
    n_fft = fft.next_fast_len(ZERO_PAD * size, real=True)
    window = hann.periodic(size).astype(np.float32)
    df = signal.fs_hz / n_fft
    whitened = np.zeros((count, n_fft // 2 + 1), dtype=np.float32)
    padded = np.zeros((count, n_fft), dtype=np.float32)
    for axis in signal.accel_m_s2.T.astype(np.float32):
        cut = np.lib.stride_tricks.sliding_window_view(axis, size)[: (count - 1) * hop + 1 : hop]
        np.multiply(cut, window, out=padded[:, :size])
        spectra = fft.rfft(padded, axis=1)
        power = spectra.real**2 + spectra.imag**2
        whitened += power / _floor(power, df)
    whitened /= signal.accel_m_s2.shape[1]
    whitened[:, : int(LOWEST_HZ / df)] = 1.0
    good = np.lib.stride_tricks.sliding_window_view(signal.good, size)[: (count - 1) * hop + 1 : hop]
    t: Floats = (np.arange(count, dtype=float) * hop + size / 2) / signal.fs_hz
    return Frames(t, whitened, df, signal.fs_hz, good.mean(axis=1) > 0.7, framing)


def _floor(power: np.ndarray, df: float) -> np.ndarray:
    """Noise level per bin of one axis: low quantile over frequency of the median over time."""
    some = np.sort(power[:: max(1, len(power) // FLOOR_FRAMES)], axis=0)
    middle = 0.5 * (some[(len(some) - 1) // 2] + some[len(some) // 2])
    width = 2 * int(FLOOR_HALF_WIDTH_HZ / df) + 1
    low = ndimage.percentile_filter(middle[::2], FLOOR_QUANTILE, size=max(3, width // 2), mode="nearest")
    floor = np.repeat(low, 2)[: len(middle)]
    return np.asarray(np.maximum(floor / np.float32(np.log(2)), 1e-12 * middle.max() + 1e-30), np.float32)


def strongest(fr: Frames, most: int, highest_hz: float) -> Floats:
    """Where the strongest lines stand on average, hertz (k,), whatever they are, strongest first."""
    score = fr.score
    mean = score[fr.usable].mean(axis=0) if fr.usable.any() else score.mean(axis=0)
    half = max(1, int(fr.framing.half_width_hz / fr.df_hz))
    peak = mean == ndimage.maximum_filter1d(mean, 2 * half + 1)
    peak &= mean > np.log1p(LINE_HEIGHT / SOFTENING)
    places = np.flatnonzero(peak)
    places = places[(places * fr.df_hz > LOWEST_LINE_HZ) & (places * fr.df_hz < highest_hz)]
    return np.asarray(places[np.argsort(-mean[places])][:most] * fr.df_hz)


def line_path(fr: Frames, near_hz: float) -> Floats:
    """Path in hertz (f,) of the line near this frequency."""
    return _follow(fr.score, round(near_hz / fr.df_hz), fr.df_hz, fr.framing)


def without(fr: Frames, path_hz: Floats) -> Frames:
    """The frames with a line that was followed (f,) taken out, so that a weaker one beside it can be."""
    off_hz = np.abs(np.arange(fr.power.shape[1]) * fr.df_hz - path_hz[:, None])
    return replace(fr, power=np.where(off_hz < MAIN_LOBE / fr.framing.frame_s, 0.0, fr.power))


def height_along(fr: Frames, path_hz: Floats) -> Floats:
    """Usual power of a line over the floor, (1,), along its path (f,): at least 1."""
    place = np.rint(path_hz / fr.df_hz).astype(int).clip(0, fr.power.shape[1] - 1)
    height = np.median(fr.power[np.arange(len(place)), place])
    return np.array([max(1.0, HEIGHT_TRUSTED * float(height))])


def _follow(score: Floats, place: int, df: float, framing: Framing) -> Floats:
    reach = max(3, int(max(framing.half_width_hz, framing.wander * place * df) / df))
    low = max(1, place - reach)
    band = score[:, low : place + reach + 1]
    steps = np.log((np.arange(low, place + reach + 1) + 0.5) / (np.arange(low, place + reach + 1) - 0.5))
    path = best_path(band, framing, float(steps.mean()))
    middle = path[:, None] + np.array([-1, 0, 1])
    around = np.take_along_axis(band, middle.clip(0, band.shape[1] - 1), axis=1)
    curve = around[:, 0] - 2 * around[:, 1] + around[:, 2]
    shift = np.where(curve < 0, 0.5 * (around[:, 0] - around[:, 2]) / np.where(curve < 0, curve, -1.0), 0.0)
    return (low + path + shift.clip(-0.5, 0.5)) * df


def best_path(score: Floats, framing: Framing, grid_step: float) -> np.ndarray:
    """Index of the speed in every frame, (f,), along the path of highest summed score."""
    count, states = score.shape
    reach = min(LARGEST_STEP, states - 1)
    sigma_steps = framing.change_per_s * np.sqrt(framing.hop_s) / grid_step / 4
    cost = (0.5 * (np.arange(-reach, reach + 1) / sigma_steps) ** 2).astype(np.float32)
    moved = np.zeros((count, states), dtype=np.int8)
    total = score[0].astype(np.float32)
    padded = np.full(states + 2 * reach, -np.inf, dtype=np.float32)
    lanes = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    at = np.arange(states)
    for i in range(1, count):
        padded[reach : reach + states] = total
        options = lanes - cost
        moved[i] = pick = options.argmax(axis=1)
        total = options[at, pick] + score[i]
    path = np.zeros(count, dtype=int)
    path[-1] = int(total.argmax())
    for i in range(count - 1, 0, -1):
        path[i - 1] = path[i] + moved[i, path[i]] - reach
    return path
