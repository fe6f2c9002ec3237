"""Natural frequencies against textbook examples, a general modal-analysis library, and data of known
truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from vibecore import resonance
from vibecore.model import Signal, SpeedTrack
from vibecore.resonance import Points, Resonance, Unknown, accelerance, magnification

REFERENCE = Path(__file__).parent / "reference"


def points(f0_hz, damping, form, *, span, n=40, sd_db=0.5, seed=0, gain=0.2) -> Points:  # type: ignore[no-untyped-def]
    f = np.linspace(*span, n)
    noise = np.random.default_rng(seed).normal(0, sd_db, n)
    return Points(f, gain * accelerance(f / f0_hz, damping, form) * 10 ** (noise / 20), np.full(n, sd_db))


# ------------------------------------------------------------ textbook examples


def test_half_power_bandwidth() -> None:
    # Bendat and Piersol, and all textbooks: about 2 z f0 wide; f0 20 Hz, z 0.05: 18.922 to 20.927 Hz exactly.
    low, high = 18.922, 20.927
    peak = 20.0 * np.sqrt(1 - 2 * 0.05**2)
    at = magnification(np.array([low, peak, high]) / 20.0, 0.05, "force")
    assert at[[0, 2]] == pytest.approx(at[1] / np.sqrt(2), rel=3e-4)


def test_rotating_unbalance_damping_from_two_amplitudes() -> None:
    # Thomson, Theory of Vibration with Applications, Ex. 3.2-1: 0.60 cm at resonance, 0.08 cm far above: z
    # 0.0667.
    at_resonance, far_above = magnification([1.0, 1e4], 0.0667, "unbalance")
    assert at_resonance / far_above == pytest.approx(0.60 / 0.08, rel=1e-3)


def test_rotating_unbalance_off_resonance() -> None:
    # Thomson, problem: 181.4 kg, two wheels of 0.0921 kg m, 21.6 mm at 900 rpm: z 0.0235, 2.31 mm at 1200
    # rpm.
    scale_mm = 1000 * 2 * 0.0921 / 181.4
    z = scale_mm / (2 * 21.6)
    assert z == pytest.approx(0.0235, abs=5e-5)
    assert scale_mm * float(magnification(1200 / 900, z, "unbalance")) == pytest.approx(2.31, abs=0.01)


def test_base_excitation() -> None:
    # Inman, Engineering Vibration, Ex. 2.4.2: 1007 kg, 4e4 N/m, 2000 N s/m, 20 km/h on a 6 m wave of 0.01
    # m: 0.0319 m
    w0 = np.sqrt(4e4 / 1007)
    z, w = 2000 / (2 * 1007 * w0), 2 * np.pi * 20 / 3.6 / 6
    assert 0.01 * float(magnification(w / w0, z, "base")) == pytest.approx(0.0319, abs=5e-5)


def test_transmissibility_table() -> None:
    table = pd.read_csv(REFERENCE / "transmissibility_table.csv")
    for z, rows in table.groupby("zeta"):
        np.testing.assert_allclose(
            magnification(rows.r.to_numpy(), float(z), "base"), rows["T"], rtol=2e-5, atol=6e-6
        )


# ------------------------------------------------------------ fitting


@pytest.mark.parametrize("form", resonance.FORMS)
def test_exact_data_give_the_exact_answer(form: resonance.Form) -> None:
    clean = points(25.0, 0.06, form, span=(18, 35), sd_db=1e-6)
    got = resonance.fit([clean._replace(sd_db=np.full(40, 0.5))], form=form)
    assert isinstance(got, Resonance)
    assert got.natural_hz == pytest.approx(25.0, rel=1e-5)
    assert got.damping == pytest.approx(0.06, rel=1e-4)
    # Closed form at r = 1: 1 / 2 z for force and unbalance, sqrt(1 + 4 z^2) / 2 z for the base.
    assert got.amplification == pytest.approx(
        np.sqrt(1 + (4 * 0.06**2 if form == "base" else 0)) / 0.12, rel=1e-4
    )


def test_against_a_general_modal_analysis_library() -> None:
    # The same frequency response to sdypy-EMA (least-squares complex frequency) and, as bare levels, to ours.
    ema = pytest.importorskip("sdypy.EMA")
    f0_hz, z = 24.0, 0.05
    f = np.arange(0.0, 100.0, 0.1)
    r = f / f0_hz
    response = -(r**2) / (1 - r**2 + 2j * z * r)
    noise = np.random.default_rng(3).normal(size=(2, len(f)))
    response += 0.02 * (noise[0] + 1j * noise[1])
    model = ema.Model(response[None, :], f, lower=5, upper=90, pol_order_high=12, get_partfactors=False)
    model.get_poles(show_progress=False)
    poles = np.asarray(model.all_poles[-1])
    pole = poles[np.argmin(np.abs(np.abs(poles) / (2 * np.pi) - f0_hz))]
    band = (f > 16) & (f < 36)
    ours = resonance.fit([Points(f[band], np.abs(response[band]), np.full(band.sum(), 0.1))], form="force")
    assert isinstance(ours, Resonance)
    assert ours.natural_hz == pytest.approx(abs(pole) / (2 * np.pi), rel=2e-3)
    assert ours.damping == pytest.approx(-pole.real / abs(pole), rel=0.02)


def test_intervals_cover_and_the_form_need_not_be_known() -> None:
    rng = np.random.default_rng(4)
    frequency, damping = [], []
    for seed in range(90):
        f0, z = rng.uniform(22, 30), rng.uniform(0.03, 0.12)
        form = resonance.FORMS[seed % 3]
        got = resonance.fit([points(f0, z, form, span=(17, 38), sd_db=1.0, seed=seed)])
        assert isinstance(got, Resonance)
        frequency.append(got.low_hz <= f0 <= got.high_hz)
        damping.append(got.low_damping <= z <= got.high_damping)
        assert got.low_amplification <= got.amplification <= got.high_amplification
    assert np.mean(frequency) > 0.92
    assert np.mean(damping) > 0.92


def test_intervals_cover_at_their_level_when_the_form_is_known() -> None:
    rng = np.random.default_rng(5)
    hits = []
    for seed in range(200):
        f0 = rng.uniform(22, 30)
        got = resonance.fit(
            [points(f0, 0.06, "force", span=(17, 38), n=25, sd_db=1.0, seed=seed)], form="force"
        )
        assert isinstance(got, Resonance)
        hits.append(got.low_hz <= f0 <= got.high_hz)
    assert np.mean(hits) == pytest.approx(0.95, abs=0.03)


def test_what_few_points_leave_open_stays_finite() -> None:
    """A peak between the points leaves its damping open: the interval ends where the search does."""
    found = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        f_hz = np.sort(rng.uniform(10, 30, rng.integers(4, 9)))
        level = accelerance(f_hz / rng.uniform(12, 28), rng.uniform(0.003, 0.05), resonance.FORMS[0])
        noisy = level * np.exp(rng.normal(0, 0.1, len(f_hz)))
        with np.errstate(all="raise", under="ignore"):
            told = resonance.fit([Points(f_hz, noisy, np.ones(len(f_hz)))])
        if isinstance(told, Resonance):
            numbers = [v for v in vars(told).values() if isinstance(v, float)]
            assert np.all(np.isfinite(numbers))
            assert told.low_damping <= told.damping <= told.high_damping <= 0.5
            found += 1
    assert found > 3


def test_orders_with_gains_of_their_own_share_one_mode() -> None:
    low = points(26.0, 0.07, "force", span=(17, 25), n=12, seed=1, gain=0.5)
    high = points(26.0, 0.07, "force", span=(24, 36), n=12, seed=2, gain=0.02)
    got = resonance.fit([low, high], form="force")
    assert isinstance(got, Resonance)
    assert got.natural_hz == pytest.approx(26.0, rel=0.02)


def test_a_slope_alone_is_no_resonance() -> None:
    f = np.linspace(18, 36, 30)
    found = 0
    for seed in range(60):
        noise = 10 ** (np.random.default_rng(seed).normal(0, 1, 30) / 20)
        got = resonance.fit([Points(f, 0.1 * (f / 20) ** (seed % 5 - 2) * noise, np.full(30, 1.0))])
        found += isinstance(got, Resonance)
    assert found <= 2


@pytest.mark.parametrize(
    ("span", "n", "words"),
    [((24.0, 26.0), 30, "too little"), ((15.0, 40.0), 4, "Too few"), ((5.0, 12.0), 30, "peak")],
)
def test_too_little_data_give_a_reason(span: tuple[float, float], n: int, words: str) -> None:
    got = resonance.fit([points(25.0, 0.05, "force", span=span, n=n)])
    assert isinstance(got, Unknown)
    assert words in got.why
    assert isinstance(resonance.fit([]), Unknown)


# ------------------------------------------------------------ from a signal


def sweep(
    order: float, f0_hz: float, z: float, *, noise: float = 0.02, fs_hz: float = 200.0
) -> tuple[Signal, SpeedTrack]:
    """A slow sweep from 550 to 1150 rpm whose one order passes a mode: quasi-steady, level from the closed
    form."""
    t = np.arange(int(60 * fs_hz)) / fs_hz
    rpm = 550 + 10 * t
    angle = np.cumsum(rpm) / 60 / fs_hz
    level = 0.1 * np.sqrt(2) * accelerance(order * rpm / 60 / f0_hz, z, "force")
    x = noise * np.random.default_rng(1).normal(size=(len(t), 3))
    x[:, 0] += 0.6 * level * np.cos(2 * np.pi * order * angle)
    x[:, 2] += 0.8 * level * np.sin(2 * np.pi * order * angle + 1)
    x[:, 1] += 0.3 * np.sin(2 * np.pi * (order - 0.5) * angle)  # a strong neighbour
    signal = Signal(fs_hz, 0.0, x, np.ones(len(t), bool), (0.0, 60.0), True, 0.0)
    track = SpeedTrack(t, rpm, float(rpm.mean()), 849, 851, float(rpm.std()), 0.99, "vibration", angle)
    return signal, track


def test_order_points_follow_the_closed_form() -> None:
    signal, track = sweep(2.0, 26.0, 0.08)
    got = resonance.order_points(signal, track, 2.0)
    truth = 0.1 * accelerance(got.frequency_hz / 26.0, 0.08, "force")
    error_db = 20 * np.log10(got.rms_m_s2 / truth)
    assert np.median(np.abs(error_db)) < 0.3
    assert np.abs(error_db).max() < 1.5
    assert got.frequency_hz.min() < 19.5
    assert got.frequency_hz.max() > 37


def test_sweep_gives_the_natural_frequency() -> None:
    signal, track = sweep(2.0, 26.0, 0.08)
    got = resonance.fit([resonance.order_points(signal, track, 2.0)], form="force")
    assert isinstance(got, Resonance)
    assert got.natural_hz == pytest.approx(26.0, rel=0.01)
    assert got.damping == pytest.approx(0.08, rel=0.15)


def test_bad_samples_and_an_absent_order_make_no_points() -> None:
    signal, track = sweep(2.0, 26.0, 0.08)
    assert len(resonance.order_points(signal, track, 5.5).frequency_hz) <= 2
    nothing = Signal(200.0, 0.0, signal.accel_m_s2, np.zeros(len(signal.good), bool), (0.0, 60.0), True, 0.0)
    assert len(resonance.order_points(nothing, track, 2.0).frequency_hz) == 0


def test_idle_note() -> None:
    got = resonance.fit([points(25.0, 0.06, "force", span=(18, 35))], form="force")
    assert isinstance(got, Resonance)
    near, far = resonance.idle_note(got, 24.0), resonance.idle_note(got, 33.0)
    assert "4 % below" in near
    assert "lifted about" in near
    assert "32 % above" in far
    assert "lifted" not in far
    # Closed form: r = 0.96, z = 0.06
    assert got.lift(24.0) == pytest.approx(1 / np.sqrt((1 - 0.96**2) ** 2 + (2 * 0.06 * 0.96) ** 2), rel=0.05)
    assert got.course_db(50.0) - got.course_db(25.0) == pytest.approx(
        20 * np.log10(float(accelerance(2.0, 0.06, "force")) * 2 * 0.06), abs=0.5
    )
