"""Engine speed from the vibration alone, or helped by a tachometer reading good to about 10 %.

Three steps: paths of speed over which a comb of engine orders fits the spectrum (`comb`), and their
multiples; how well each explains the lines along its own crank angle (`pattern`), weighed with what idle speeds
are common and what the tachometer said; the winner refined by phase (`tracking`). The answer carries its
probability and its runner-up, and is withheld when two answers fit alike: no speed beats a wrong one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecore.engine import Engine
from vibecore.model import Condition, Floats, RunnerUp, Signal, SpeedTrack, Warn
from vibecore.speed import comb, pattern, prior, tracking

LEAST_CONFIDENCE = (
    0.75  # below three to one the mechanic is better served by two named candidates than by one
)
SAME_SPEED = 0.03  # two hypotheses this close are one answer (the contract's 'wrong' begins there)
LINES = 4  # strongest lines tried: a fan, a belt and a pulley may stand above every engine order
MIRRORED_RPM = 2000.0  # a firing order folded down is only looked for at idle and raised idle
TONE_SIGMAS = 1.96  # 95 % of a normal distribution
NO_LINES = (
    "No lines stand out of the noise: the engine was off, or its shake is below what this phone can see. "
    "Tape the phone nearer to the engine and record again."
)
# Without the number of cylinders: shares of engines on the road; common practice, no source.
USUAL_ENGINES = {3: 0.14, 4: 0.58, 5: 0.03, 6: 0.15, 8: 0.10}


@dataclass(frozen=True, eq=False)
class _Guess:
    t_s: Floats
    speed_hz: Floats
    mean_rpm: float
    log_score: float
    engine: Engine


@dataclass(frozen=True)
class SpeedAnswer:
    """The track, or None with the reason among the warnings."""

    track: SpeedTrack | None
    warnings: tuple[Warn, ...]


def find_speed(signal: Signal, engine: Engine | None, condition: Condition) -> SpeedAnswer:
    """Find the crank speed in a signal (n, 3). engine None: the cylinders are not known."""
    if condition.speed_hold == "engine off":
        return _none("engine-off", "The engine was off: there is no engine speed to find.")
    if len(signal.accel_m_s2) < 2 * comb.FRAME_S * signal.fs_hz or signal.good.mean() < 0.3:
        return _none(
            "too-short", "Too little steady recording to find the engine speed. Record 30 s or more."
        )
    fr = comb.frames(signal)
    guesses = _guesses(signal, fr, engine, condition)
    if not guesses:
        return _none("no-lines", NO_LINES)
    answers = _merged(guesses, float(np.log(prior.NO_ENGINE)))
    best, confidence = answers[0]
    second = answers[1] if len(answers) > 1 else None
    if confidence < LEAST_CONFIDENCE:
        return _undecided(best, confidence, second)
    track = _track(signal, fr, best, confidence, second, condition)
    return SpeedAnswer(track, _tachometer_note(track, condition))


def _guesses(signal: Signal, fr: comb.Frames, engine: Engine | None, condition: Condition) -> list[_Guess]:
    """Every strong line taken for every order it could be, and how well the whole then fits."""
    engines = {engine: 1.0} if engine else {Engine(n): share for n, share in USUAL_ENGINES.items()}
    highest = min(pattern.USABLE_SHARE * signal.fs_hz, pattern.HIGHEST_HZ)
    found: list[_Guess] = []
    for line in comb.line_paths(fr, LINES, highest):
        t, line_hz, _ = tracking.refine(signal, fr.t_s, line, np.ones(1), rounds=1)
        found += _direct(signal, t, line_hz, engines, condition)
        found += _mirrored(signal, t, signal.fs_hz - line_hz, engines, condition)
    return found


def _direct(
    signal: Signal, t: Floats, line_hz: Floats, engines: dict[Engine, float], condition: Condition
) -> list[_Guess]:
    """Hypotheses in which a line seen at line_hz (m,) is one of the engine's orders."""
    seen = pattern.view(signal, tracking.crank_angle(_times(signal), t, line_hz))
    found = []
    for engine, chance in engines.items():
        for order in pattern.expected_teeth(engine)[0]:
            speed = line_hz / order
            fit = pattern.log_likelihood(seen, 1 / order, engine, _mean(t, speed), signal.fs_hz)
            found += _weighed(signal, t, speed, fit, engine, chance, condition)
    return found


def _mirrored(
    signal: Signal, t: Floats, true_hz: Floats, engines: dict[Engine, float], condition: Condition
) -> list[_Guess]:
    """Hypotheses in which a line is a firing order folded down from true_hz (m,), above half the rate."""
    found = []
    for engine, chance in engines.items():
        for order in (engine.firing_order, 2 * engine.firing_order):
            speed = true_hz / order
            if not prior.LOWEST_RPM <= 60 * _mean(t, speed) <= MIRRORED_RPM:
                continue
            seen = pattern.view(signal, tracking.crank_angle(_times(signal), t, speed))
            fit = pattern.log_likelihood(seen, 1.0, engine, _mean(t, speed), signal.fs_hz)
            found += _weighed(signal, t, speed, fit, engine, chance, condition)
    return found


def _weighed(
    signal: Signal, t: Floats, speed: Floats, fit: float, engine: Engine, chance: float, condition: Condition
) -> list[_Guess]:
    mean = _mean(t, speed)
    if not prior.LOWEST_RPM <= 60 * mean <= prior.HIGHEST_RPM:
        return []
    fit += pattern.folded_log_likelihood(signal, tracking.crank_angle(_times(signal), t, speed), engine, mean)
    return [
        _Guess(
            t, speed, 60 * mean, fit + prior.log_prior(60 * mean, condition) + float(np.log(chance)), engine
        )
    ]


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


def _track(
    signal: Signal,
    fr: comb.Frames,
    best: _Guess,
    confidence: float,
    second: tuple[_Guess, float] | None,
    condition: Condition,
) -> SpeedTrack:
    orders = _telling_orders(
        fr, np.interp(fr.t_s, best.t_s, best.speed_hz), best.engine, tracking.MOST_ORDERS
    )
    t, speed, error = tracking.refine(signal, best.t_s, best.speed_hz, orders)
    sample_t = np.arange(len(signal.accel_m_s2)) / signal.fs_hz
    angle = tracking.crank_angle(sample_t, t, speed)
    mean = 60 * float((angle[-1] - angle[0]) / (sample_t[-1] - sample_t[0]))
    spread = 60 * float(np.sqrt(np.mean(error**2)) / np.sqrt(len(error)))
    half = TONE_SIGMAS * max(spread, 1e-5 * mean)
    runner = None
    if second is not None and second[1] > 0.005:
        runner = RunnerUp(second[0].mean_rpm, second[1], _relation(second[0].mean_rpm / mean))
    return SpeedTrack(
        signal.start_s + t,
        60 * speed,
        mean,
        mean - half,
        mean + half,
        60 * float(np.std(speed)),
        min(confidence, 0.999),
        "vibration with tachometer" if condition.tachometer_rpm else "vibration",
        angle,
        runner,
    )


def _telling_orders(fr: comb.Frames, speed_hz: Floats, engine: Engine, count: int) -> Floats:
    """The few orders below half the rate that stand highest in the frames along the path, highest first."""
    teeth, _ = pattern.expected_teeth(engine)
    visible = teeth[teeth * speed_hz.max() < pattern.USABLE_SHARE * fr.fs_hz]
    visible = visible if len(visible) else teeth[:1]
    place = np.rint(visible * speed_hz[:, None] / fr.df_hz).astype(int)
    height = np.median(np.take_along_axis(fr.power, place.clip(0, fr.power.shape[1] - 1), axis=1), axis=0)
    ranked = np.argsort(-height)[:count]
    return visible[[i for i in ranked if height[i] > 3.0 or i == ranked[0]]]


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


def _tachometer_note(track: SpeedTrack, condition: Condition) -> tuple[Warn, ...]:
    said = condition.tachometer_rpm
    if said is None or abs(track.mean_rpm / said - 1) <= prior.TACHOMETER_TRUSTED:
        return ()
    text = (
        f"The tachometer reading of {said:.0f} rpm does not fit the vibration, which says "
        f"{track.mean_rpm:.0f} rpm. Look at the tachometer again while recording."
    )
    return (Warn("tachometer-differs", text),)


def _none(code: str, text: str) -> SpeedAnswer:
    return SpeedAnswer(None, (Warn(code, text),))


def _undecided(best: _Guess, confidence: float, second: tuple[_Guess, float] | None) -> SpeedAnswer:
    if confidence < 0.3 or second is None:
        return _none(
            "speed-not-found",
            "The engine speed cannot be told: no family of engine orders stands out. Read the tachometer and enter it, "
            "or tape the phone nearer to the engine.",
        )
    text = (
        f"The engine speed cannot be told for sure: {best.mean_rpm:.0f} rpm ({100 * confidence:.0f} %) or "
        f"{second[0].mean_rpm:.0f} rpm ({100 * second[1]:.0f} %). Read the tachometer and enter it."
    )
    return _none("speed-undecided", text)
