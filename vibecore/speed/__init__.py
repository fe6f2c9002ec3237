"""Engine speed from the vibration alone, or helped by a tachometer reading good to about 10 %.

Three steps: the strongest lines are followed through time (`lines`), and each is taken for every order it
could be; how well each guess explains all lines along its own crank angle (`pattern`) is weighed with what
idle speeds are common and what the tachometer said (`prior`); the winner is refined by phase (`tracking`).
The answer carries its probability and its runner-up, and is withheld when two answers fit alike: no speed
beats a wrong one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import scipy.signal

from vibecore.engine import Engine
from vibecore.model import Candidate, Condition, Floats, RunnerUp, Signal, SpeedTrack
from vibecore.speed import answer, lines, pattern, prior, tracking
from vibecore.speed.answer import SpeedAnswer

LEAST_CONFIDENCE = 8 / 9  # below eight to one the mechanic is better served by two named candidates
NO_MATTER = 1e-4  # candidates less likely than this are not carried along
SAME_SPEED = 0.03  # two hypotheses this close are one answer (the contract's 'wrong' begins there)
EXCERPT_S = 150.0  # 1700 revolutions at 700 rpm
LINES = 4  # strongest lines tried: a fan, a belt and a pulley may stand above every engine order
MOST_SILENT = 1 / 6  # of the time without the orders followed: the engine then did something else
LED_ASTRAY = 0.008  # of the speed, natural log
# Chance that a line, and that a line and its harmonics, are the engine's: nothing said of the hold; said.
LONE, LONE_HELD = (0.75, 0.895), (0.89, 0.95)
BEYOND_DOUBT = 8.0  # natural log: a lead of 3000 to 1
ON_TOOTH = 0.06  # half orders: a line this near a tooth is taken for it
PLACE_POINTS = 3  # of the order spectrum: a hypothesis was put where a line stands, not foretold
FOLDING_HZ = 130.0  # below this rate firing orders of idling engines may fold down; above it next to none do
ONE_LINE = 0.001  # of the speed: guesses nearer than this follow the same line
MIRRORED_RPM = 2000.0  # a firing order folded down is only looked for at idle and raised idle
SIGMAS = 1.96  # 95 % of a normal distribution
CLOCK_ERROR = 5e-5  # of the phone's clock: 50 parts in a million, an ordinary quartz
# Without the number of cylinders: shares of engines on the road; common practice, no source.
USUAL_ENGINES = {3: 0.14, 4: 0.58, 5: 0.03, 6: 0.15, 8: 0.10}


Before = Callable[[float], float]  # rpm -> natural log of the prior density of log speed


@dataclass(frozen=True, eq=False)
class _Guess:
    t_s: Floats
    speed_hz: Floats
    mean_rpm: float
    log_score: float
    engine: Engine
    seen: pattern.OrderView
    ratio: float  # of this speed to the angle of the view


def find_speed(
    signal: Signal, engine: Engine | None, condition: Condition, hint: prior.Expected | None = None
) -> SpeedAnswer:
    """Find the crank speed in a signal (n, 3). engine None: the cylinders are not known. hint: what the
    maker's plate or the job's other recordings let expect."""
    if condition.speed_hold == "engine off":
        return answer.none("engine-off", "The engine was off: there is no engine speed to find.")
    if len(signal.accel_m_s2) < 2 * lines.FRAME_S * signal.fs_hz or signal.good.mean() < 0.3:
        return answer.none(
            "too-short", "Too little steady recording to find the engine speed. Record 30 s or more."
        )
    thin = _thinned(signal)
    part = _excerpt(thin)
    guesses = _guesses(part, lines.frames(part), engine, lambda rpm: prior.log_prior(rpm, condition, hint))
    if not guesses:
        return answer.none("no-lines", answer.NO_LINES)
    answers = _merged(guesses, prior.log_no_engine(condition))
    spread_rpm = _spread(guesses, answers[0][0])
    best, confidence = answers[0]
    if condition.tachometer_rpm is None:
        confidence = min(confidence, _most_sure(best, thin.fs_hz, condition, hint))
    answers[0] = best, confidence
    if part is not thin:
        best = _carried_on(thin, best)
    second = answers[1] if len(answers) > 1 else None
    track = _track(signal, thin, best, spread_rpm, confidence, second, condition)
    candidates = tuple(Candidate(guess.mean_rpm, chance) for guess, chance in answers if chance > NO_MATTER)
    if confidence < LEAST_CONFIDENCE:
        return answer.undecided(candidates, track)
    if track is None:
        return answer.none("speed-not-steady", answer.NOT_STEADY)
    return SpeedAnswer(track, answer.tachometer_note(track, condition), candidates)


def _guesses(signal: Signal, fr: lines.Frames, engine: Engine | None, before: Before) -> list[_Guess]:
    """Every strong line taken for every order it could be, and how well the whole then fits."""
    engines = {engine: 1.0} if engine else {Engine(n): share for n, share in USUAL_ENGINES.items()}
    highest = min(pattern.USABLE_SHARE * signal.fs_hz, pattern.HIGHEST_HZ)
    found: list[_Guess] = []
    for near_hz in lines.strongest(fr, LINES, highest):
        if _explained(near_hz, found):
            continue
        line = lines.line_path(fr, near_hz)
        at = tracking.refine(signal, fr.t_s, line, np.ones(1), lines.height_along(fr, line), rounds=1)
        found += _direct(signal, at.t_s, at.speed_hz, engines, before)
        if signal.fs_hz < FOLDING_HZ:
            found += _mirrored(signal, at.t_s, signal.fs_hz - at.speed_hz, engines, before)
    return found


def _explained(line_hz: float, found: list[_Guess]) -> bool:
    """Is this line an order of a guess that leads beyond doubt? It then tells nothing new: what twice or half
    that speed would be was tried with the line that the guess came from."""
    if not found:
        return False
    best = max(found, key=lambda g: g.log_score)
    octaves = np.log2([g.mean_rpm / best.mean_rpm for g in found])
    rivals = [g for g, o in zip(found, octaves, strict=True) if abs(o - round(o)) > SAME_SPEED]
    lead = best.log_score - max((g.log_score for g in rivals), default=-np.inf)
    half_orders = 2 * line_hz / (best.mean_rpm / 60)
    return lead > BEYOND_DOUBT and abs(half_orders - round(half_orders)) < ON_TOOTH


def _direct(
    signal: Signal, t: Floats, line_hz: Floats, engines: dict[Engine, float], before: Before
) -> list[_Guess]:
    """Hypotheses in which a line seen at line_hz (m,) is one of the engine's orders."""
    seen = pattern.view(signal, tracking.crank_angle(_times(signal), t, line_hz))
    found = []
    for engine, chance in engines.items():
        for order in pattern.orders_to_try(engine):
            speed = line_hz / order
            found += _weighed(signal, t, speed, seen, (1 / order, 1.0), engine, chance, before)
    return found


def _mirrored(
    signal: Signal, t: Floats, true_hz: Floats, engines: dict[Engine, float], before: Before
) -> list[_Guess]:
    """Hypotheses in which a line is a firing order folded down from true_hz (m,), above half the rate."""
    found = []
    for engine, chance in engines.items():
        for order in (engine.firing_order, 2 * engine.firing_order):
            speed = true_hz / order
            if not prior.LOWEST_RPM <= 60 * _mean(t, speed) <= MIRRORED_RPM:
                continue
            seen = pattern.view(signal, tracking.crank_angle(_times(signal), t, speed))
            found += _weighed(signal, t, speed, seen, (1.0, float(order)), engine, chance, before)
    return found


def _weighed(
    signal: Signal,
    t: Floats,
    speed: Floats,
    seen: pattern.OrderView,
    scale: tuple[float, float],
    engine: Engine,
    chance: float,
    before: Before,
) -> list[_Guess]:
    """One hypothesis with its score. scale: its speed's ratio to the view's angle, and where in the view
    (orders) the line stands that it was made from."""
    ratio, line_at = scale
    mean = _mean(t, speed)
    if not prior.LOWEST_RPM <= 60 * mean <= prior.HIGHEST_RPM:
        return []
    fit = pattern.log_likelihood(seen, ratio, engine, mean, signal.fs_hz)
    if signal.fs_hz < FOLDING_HZ and 60 * mean < MIRRORED_RPM:
        angle = tracking.crank_angle(_times(signal), t, speed)
        fit += pattern.folded_log_likelihood(signal, seen, angle, engine, mean)
    place = PLACE_POINTS * seen.orders[1] / line_at
    score = fit + before(60 * mean) + float(np.log(chance * place))
    return [_Guess(t, speed, 60 * mean, score, engine, seen, ratio)]


def _thinned(signal: Signal) -> Signal:
    """The signal at the lowest whole share of its rate that still holds every order looked at."""
    share = int(signal.fs_hz * pattern.USABLE_SHARE / pattern.HIGHEST_HZ)
    if share < 2:
        return signal
    fewer = scipy.signal.resample_poly(signal.accel_m_s2, 1, share, axis=0)
    return replace(
        signal, fs_hz=signal.fs_hz / share, accel_m_s2=fewer, good=signal.good[::share][: len(fewer)].copy()
    )


def _excerpt(signal: Signal) -> Signal:
    """The middle of a long recording: enough to tell which order is which."""
    n, keep = len(signal.accel_m_s2), round(EXCERPT_S * signal.fs_hz)
    if n <= 1.5 * keep:
        return signal
    first = (n - keep) // 2
    part = slice(first, first + keep)
    return replace(signal, accel_m_s2=signal.accel_m_s2[part].copy(), good=signal.good[part].copy())


def _carried_on(signal: Signal, best: _Guess) -> _Guess:
    """A guess made on an excerpt, with its strongest line followed through the whole recording."""
    mean = best.mean_rpm / 60
    orders, _ = pattern.telling(best.seen, best.ratio, best.engine, mean, signal.fs_hz, 1)
    order = float(orders[0]) if len(orders) else best.engine.firing_order
    fr = lines.frames(signal)
    return replace(best, t_s=fr.t_s, speed_hz=lines.line_path(fr, order * mean) / order)


def _most_sure(guess: _Guess, fs_hz: float, condition: Condition, hint: prior.Expected | None) -> float:
    """How sure a guess can be at most when the tachometer was not read: anything that turns makes one line,
    or a line and its harmonics; only an engine adds half orders. The surer, the likelier the hint makes
    just this speed."""
    mean = guess.mean_rpm / 60
    seen = pattern.telling(guess.seen, guess.ratio, guess.engine, mean, fs_hz, tracking.MOST_ORDERS)[0]
    if len(seen) >= 2 and not np.allclose(seen / seen.min() % 1, 0):
        return 1.0
    alone = (LONE_HELD if condition.speed_hold else LONE)[len(seen) > 1]
    with_hint, without = (prior.log_prior(guess.mean_rpm, condition, h) for h in (hint, None))
    odds = alone / (1 - alone) * max(1.0, float(np.exp(with_hint - without)))
    return odds / (1 + odds)


def _times(signal: Signal) -> Floats:
    return np.arange(len(signal.accel_m_s2)) / signal.fs_hz


def _mean(t: Floats, speed: Floats) -> float:
    return float(np.trapezoid(speed, t) / (t[-1] - t[0]))


def _merged(guesses: list[_Guess], log_nothing: float) -> list[tuple[_Guess, float]]:
    """Distinct speeds with their probabilities, the most probable first. Guesses of one speed count once."""
    best: list[_Guess] = []
    for guess in sorted(guesses, key=lambda g: -g.log_score):
        if all(abs(np.log(guess.mean_rpm / other.mean_rpm)) > SAME_SPEED for other in best):
            best.append(guess)
    scores = np.array([g.log_score for g in best] + [log_nothing])
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    return list(zip(best, shares[:-1].tolist(), strict=True))


def _spread(guesses: list[_Guess], best: _Guess) -> float:
    """Standard deviation (rpm) over the guesses that count as one answer with the best: they may follow
    different lines, an order and one folded down beside it."""
    near = [g for g in guesses if abs(np.log(g.mean_rpm / best.mean_rpm)) <= SAME_SPEED]
    apart = [g for g in near if abs(g.mean_rpm / best.mean_rpm - 1) > ONE_LINE or g is best]
    share = np.exp([g.log_score - best.log_score for g in apart])
    offset = np.array([g.mean_rpm - best.mean_rpm for g in apart])
    return float(np.sqrt(np.sum(share * offset**2) / np.sum(share)))


def _track(
    signal: Signal,
    thin: Signal,
    best: _Guess,
    spread_rpm: float,
    confidence: float,
    second: tuple[_Guess, float] | None,
    condition: Condition,
) -> SpeedTrack | None:
    orders, snr = pattern.telling(
        best.seen, best.ratio, best.engine, best.mean_rpm / 60, thin.fs_hz, tracking.MOST_ORDERS
    )
    if not len(orders):  # its firing order is all there is, folded down
        orders, snr = np.array([best.engine.firing_order]), np.ones(1)
    at = tracking.refine(thin, best.t_s, best.speed_hz, orders, snr)
    if at.silent > MOST_SILENT:
        return None
    if abs(np.log(_mean(at.t_s, at.speed_hz) / _mean(best.t_s, best.speed_hz))) > LED_ASTRAY:
        # Refining a path moves it by a part in a thousand; further away another line has caught it.
        at = tracking.Refined(best.t_s, best.speed_hz, LED_ASTRAY / 2 * best.mean_rpm / 60)
    angle = tracking.crank_angle(_times(signal), at.t_s, at.speed_hz)
    mean = 60 * float((angle[-1] - angle[0]) * signal.fs_hz / (len(angle) - 1))
    half = SIGMAS * max(60 * at.mean_error_hz, CLOCK_ERROR * mean, spread_rpm)
    runner = None
    if second is not None and second[1] > 0.005:
        runner = RunnerUp(second[0].mean_rpm, second[1], _relation(second[0].mean_rpm / mean))
    return SpeedTrack(
        signal.start_s + at.t_s,
        60 * at.speed_hz,
        mean,
        mean - half,
        mean + half,
        60 * float(np.std(at.speed_hz)),
        min(confidence, 0.999),
        "vibration with tachometer" if condition.tachometer_rpm else "vibration",
        angle,
        runner,
    )


def _relation(ratio: float) -> str:
    for value, words in (
        (0.5, "half of it"),
        (2.0, "twice it"),
        (2 / 3, "two thirds of it"),
        (1.5, "one and a half times it"),
    ):
        if abs(np.log(ratio / value)) < SAME_SPEED:
            return words
    return "another line"
