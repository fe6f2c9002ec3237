"""Guesses of the speed: every strong line taken for every order it could be, each weighed by how well the
whole then fits; and how guesses that amount to one speed are joined to an answer with its probability."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vibecore.engine import Engine
from vibecore.model import Floats, Signal
from vibecore.speed import folding, lines, pattern, prior, sweeps, tracking
from vibecore.speed.bands import Bands

HUNTS = 0.1  # chance that a speed moves faster than usual frames follow; common practice, no source
LOG_FRAMED = {lines.USUAL: 0.0, lines.HUNTING: float(np.log(HUNTS))}
UNSURE = 0.95  # below nineteen to one it is worth listening again, for a speed that hunts
SAME_SPEED = 0.03  # two hypotheses this close are one answer (the contract's 'wrong' begins there)
LINES = 6  # strongest lines tried: a fan, a belt and a pulley may stand above every engine order
BEYOND_DOUBT = 8.0  # natural log: a lead of 3000 to 1
ON_TOOTH = 0.06  # half orders: a line this near a tooth is taken for it
PLACE_POINTS = 3  # of the order spectrum: a hypothesis was put where a line stands, not foretold
RETRACED = 2  # best answers of a sweep whose path is drawn again along all their lines
LED_BY = 4.0  # times its own power over the noise: another order, twice as strong, then holds the path better
# Paths of one speed that are not less likely than one to eight are told apart by what their lines tell of the
# crank's angle, if one tells twice as much.
ALIKE, CLEARER = float(np.log(8)), 2.0
ONE_LINE = 0.001  # of the speed: guesses nearer than this follow the same line
# Without the number of cylinders: shares of engines on the road; common practice, no source.
USUAL_ENGINES = {3: 0.14, 4: 0.58, 5: 0.03, 6: 0.15, 8: 0.10}


# A path's mean and low end (rpm) -> natural log of the prior density of log speed
Before = Callable[[float, float], float]
LOW_END = 0.05  # of the time: a path may stray for a moment


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One hypothesis: a speed path (t_s, speed_hz: (m,)) and its score: a log posterior, a constant apart."""

    t_s: Floats
    speed_hz: Floats
    mean_rpm: float
    log_score: float
    engine: Engine
    seen: pattern.OrderSpectrum
    ratio: float  # of this speed to the angle of the view
    framing: lines.Framing = lines.USUAL
    line_at: float = 1.0  # where in the view (orders) the line stands that it was made from

    @property
    def low_rpm(self) -> float:
        """The low end of its path."""
        return low_end_rpm(self.speed_hz)

    def telling(self, fs_hz: float, most: int) -> tuple[Floats, Floats]:
        """Its highest orders (k,), and each one's power over the noise within one second's resolution."""
        return pattern.telling(self.seen, self.ratio, self.engine, self.mean_rpm / 60, fs_hz, most)


@dataclass(frozen=True, eq=False)
class Heard:
    """answers: distinct speeds with their probabilities, the most probable first. spread_rpm: over the
    guesses that count as one answer with the first."""

    answers: list[tuple[Hypothesis, float]]
    spread_rpm: float


def listen(bands: Bands, engine: Engine | None, before: Before, log_nothing: float) -> Heard | None:
    """All that a signal may say of the speed, None where no line stands out. log_nothing: natural log
    of the chance that no line is the engine's. A speed that is not sure is looked for again, with frames that
    follow an idle that hunts."""
    found = _guesses(bands, lines.USUAL, engine, before)
    answers = _merged(found, log_nothing)
    if not answers or answers[0][1] < UNSURE:
        found += _guesses(bands, lines.HUNTING, engine, before)
    found = _led(bands, found, _shares(engine), before)
    return _heard(found, _merged(found, log_nothing), bands.signal.fs_hz)


def _guesses(bands: Bands, framing: lines.Framing, engine: Engine | None, before: Before) -> list[Hypothesis]:
    """Every strong line taken for every order it could be, and how well the whole then fits."""
    fs_hz = bands.signal.fs_hz
    engines = _shares(engine)
    found: list[Hypothesis] = []
    fr = lines.frames(bands.signal, framing)
    rest, line = fr, None
    for near_hz in lines.strongest(fr, LINES, pattern.highest_hz(fs_hz)):
        if is_explained(near_hz, found):
            continue
        if line is not None:
            rest = lines.without(rest, line)
        line = lines.line_path(rest, near_hz)
        at = tracking.refine(bands, fr.t_s, line, np.ones(1), lines.height_along(fr, line), rounds=1)
        found += _direct(bands, at.t_s, at.speed_hz, engines, before)
        if fs_hz < folding.BELOW_HZ:
            found += _mirrored(bands, at.t_s, fs_hz - at.speed_hz, engines, before)
    return _framed(found + _halved(bands, found, engines, before), framing)


def _halved(
    bands: Bands, found: list[Hypothesis], engines: dict[Engine, float], before: Before
) -> list[Hypothesis]:
    """The guesses that matter at half their speed, along the same path: the line may be a harmonic of the
    firing order too high to be tried as such, and once it is explained no other line is tried."""
    least = max((guess.log_score for guess in found), default=0.0) - BEYOND_DOUBT
    halves = []
    for guess in found:
        if guess.log_score >= least:
            scale = (guess.ratio / 2, guess.line_at)
            slower, chance = guess.speed_hz / 2, engines[guess.engine]
            halves += _weighed(
                bands.signal, guess.t_s, slower, guess.seen, scale, guess.engine, chance, before
            )
    return halves


def _framed(found: list[Hypothesis], framing: lines.Framing) -> list[Hypothesis]:
    """The guesses as made with these frames, weighed by how often it takes them."""
    return [replace(g, framing=framing, log_score=g.log_score + LOG_FRAMED[framing]) for g in found]


def _led(
    bands: Bands, found: list[Hypothesis], engines: dict[Engine, float], before: Before
) -> list[Hypothesis]:
    """The guesses, each that matters judged along the path on which its lines hold it. A path that follows a
    weak line, or noise, smears the strong ones, and a smear lies on some tooth more often than a line."""
    least = max((guess.log_score for guess in found), default=0.0) - BEYOND_DOUBT
    led = [guess for guess in found if guess.log_score < least]
    for guess in found:
        if guess.log_score >= least:
            led += _held(bands, guess, engines[guess.engine], before)
    return led


def _held(bands: Bands, guess: Hypothesis, chance: float, before: Before) -> list[Hypothesis]:
    """The same hypothesis along the path that its orders hold, if another than its own is far stronger."""
    orders, snr = guess.telling(bands.signal.fs_hz, tracking.MOST_ORDERS)
    if not len(orders) or snr[0] <= LED_BY * snr[np.isclose(orders * guess.ratio, 1.0)].sum():
        return [guess]
    at = tracking.refine(bands, guess.t_s, guess.speed_hz, orders, snr)
    line_hz = orders[0] * at.speed_hz
    seen = pattern.view(bands.fine, tracking.crank_angle(times(bands.fine), at.t_s, line_hz))
    scale = (1 / float(orders[0]), 1.0)
    again = _weighed(bands.signal, at.t_s, at.speed_hz, seen, scale, guess.engine, chance, before)
    return _framed(again, guess.framing)


def listen_swept(bands: Bands, engine: Engine | None, before: Before, log_nothing: float) -> Heard | None:
    """The same of a signal in which the speed is swept up or down."""
    signal = bands.signal
    found: list[Hypothesis] = []
    for line in sweeps.followed(signal, LINES):
        at = tracking.refine(bands, line.t_s, line.hz, np.ones(1), line.height, rounds=1)
        found += _direct(bands, at.t_s, at.speed_hz, _shares(engine), before)
    for guess, _ in _merged(found, log_nothing)[:RETRACED]:
        orders, snr = guess.telling(signal.fs_hz, tracking.MOST_ORDERS)
        if len(orders):  # all its lines together hold the path where one of them sinks
            at = tracking.refine(bands, guess.t_s, guess.speed_hz, orders, snr)
            found += _direct(bands, at.t_s, orders[0] * at.speed_hz, _shares(engine), before)
    return _heard(found, _merged(found, log_nothing), signal.fs_hz)


def _shares(engine: Engine | None) -> dict[Engine, float]:
    return {engine: 1.0} if engine else {Engine(n): share for n, share in USUAL_ENGINES.items()}


def is_explained(line_hz: float, found: list[Hypothesis]) -> bool:
    """Is this line an order of a guess that leads beyond doubt? It then tells nothing new: what twice that
    speed would be was tried with the line that the guess came from, and half of it is tried in the end."""
    if not found:
        return False
    best = max(found, key=lambda g: g.log_score)
    octaves = np.log2([g.mean_rpm / best.mean_rpm for g in found])
    rivals = [g for g, o in zip(found, octaves, strict=True) if abs(o - round(o)) > SAME_SPEED]
    lead = best.log_score - max((g.log_score for g in rivals), default=-np.inf)
    half_orders = 2 * line_hz / (best.mean_rpm / 60)
    if lead <= BEYOND_DOUBT or abs(half_orders - round(half_orders)) >= ON_TOOTH:
        return False
    there, _, _ = best.seen.at(np.array([round(half_orders) / 2 * best.ratio]))
    return bool(there[0])  # near a tooth is not on it: along the guess's own path it would stand there


def _direct(
    bands: Bands, t: Floats, line_hz: Floats, engines: dict[Engine, float], before: Before
) -> list[Hypothesis]:
    """Hypotheses in which a line seen at line_hz (m,) is one of the engine's orders."""
    seen = pattern.view(bands.fine, tracking.crank_angle(times(bands.fine), t, line_hz))
    found = []
    for engine, chance in engines.items():
        for order in pattern.orders_to_try(engine):
            speed = line_hz / order
            found += _weighed(bands.signal, t, speed, seen, (1 / order, 1.0), engine, chance, before)
    return found


def _mirrored(
    bands: Bands, t: Floats, true_hz: Floats, engines: dict[Engine, float], before: Before
) -> list[Hypothesis]:
    """Hypotheses in which a line is a firing order folded down from true_hz (m,), above half the rate."""
    found = []
    for engine, chance in engines.items():
        for order in (engine.firing_order, 2 * engine.firing_order):
            speed = true_hz / order
            if not prior.LOWEST_RPM <= 60 * mean_over(t, speed) <= folding.MOST_RPM:
                continue
            seen = pattern.view(bands.fine, tracking.crank_angle(times(bands.fine), t, speed))
            found += _weighed(bands.signal, t, speed, seen, (1.0, float(order)), engine, chance, before)
    return found


def _weighed(
    signal: Signal,
    t: Floats,
    speed: Floats,
    seen: pattern.OrderSpectrum,
    scale: tuple[float, float],
    engine: Engine,
    chance: float,
    before: Before,
) -> list[Hypothesis]:
    """One hypothesis with its score. scale: its speed's ratio to the view's angle, and where in the view
    (orders) the line stands that it was made from."""
    ratio, line_at = scale
    mean = mean_over(t, speed)
    if not prior.LOWEST_RPM <= 60 * mean <= prior.HIGHEST_RPM:
        return []
    fit = pattern.log_likelihood(seen, ratio, engine, mean, signal.fs_hz)
    if signal.fs_hz < folding.BELOW_HZ and 60 * mean < folding.MOST_RPM:
        angle = tracking.crank_angle(times(signal), t, speed)
        fit += folding.log_likelihood(signal, seen, angle, engine, mean)
    place = PLACE_POINTS * seen.orders[1] / line_at
    score = fit + before(60 * mean, low_end_rpm(speed)) + float(np.log(chance * place))
    return [Hypothesis(t, speed, 60 * mean, score, engine, seen, ratio, line_at=line_at)]


def times(signal: Signal) -> Floats:
    return np.arange(len(signal.accel_m_s2)) / signal.fs_hz


def mean_over(t: Floats, speed: Floats) -> float:
    return float(np.trapezoid(speed, t) / (t[-1] - t[0]))


def low_end_rpm(speed_hz: Floats) -> float:
    return 60 * float(np.quantile(speed_hz, LOW_END))


def _merged(found: list[Hypothesis], log_nothing: float) -> list[tuple[Hypothesis, float]]:
    """Distinct speeds with their probabilities, the most probable first. Guesses of one speed count once."""
    best: list[Hypothesis] = []
    for guess in sorted(found, key=lambda g: -g.log_score):
        if not any(_same(guess, other) for other in best):
            best.append(guess)
    scores = np.array([g.log_score for g in best] + [log_nothing])
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    return list(zip(best, shares[:-1].tolist(), strict=True))


def _heard(found: list[Hypothesis], answers: list[tuple[Hypothesis, float]], fs_hz: float) -> Heard | None:
    """The answers, the first along the path on which its lines tell the angle best."""
    if not answers:
        return None
    best, chance = answers[0]
    alike = [g for g in found if _same(g, best) and g.log_score > best.log_score - ALIKE]
    clearest = max(alike, key=lambda g: (CLEARER if g is best else 1.0) * _angle_information(g, fs_hz))
    return Heard([(clearest, chance), *answers[1:]], _spread(found, clearest))


def _same(one: Hypothesis, other: Hypothesis) -> bool:
    return bool(abs(np.log(one.mean_rpm / other.mean_rpm)) <= SAME_SPEED)


def _angle_information(guess: Hypothesis, fs_hz: float) -> float:
    """What its lines tell of the crank's angle, as inverse variance: a phase error is 1 / (2 x power over the
    noise), and an order's phase goes that many times as fast."""
    orders, snr = guess.telling(fs_hz, tracking.MOST_ORDERS)
    return float(np.sum(orders**2 * snr))


def _spread(found: list[Hypothesis], best: Hypothesis) -> float:
    """Standard deviation (rpm) over the guesses that count as one answer with the best: they may follow
    different lines, an order and one folded down beside it."""
    near = [g for g in found if _same(g, best)]
    apart = [g for g in near if abs(g.mean_rpm / best.mean_rpm - 1) > ONE_LINE or g is best]
    share = np.exp([g.log_score - best.log_score for g in apart])
    offset = np.array([g.mean_rpm - best.mean_rpm for g in apart])
    return float(np.sqrt(np.sum(share * offset**2) / np.sum(share)))
