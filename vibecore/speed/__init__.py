"""Engine speed from the vibration alone, or helped by a tachometer reading good to about 10 %.

Three steps: the strongest lines are followed through time (`lines`, in sweeps `sweeps`), and each is taken
for every order it could be (`guesses`); how well each explains all lines along its own crank angle
(`pattern`) is weighed with what idle speeds are common and what the tachometer said (`prior`); the winner is
refined by phase (`tracking`).
The answer carries its probability and its runner-up, and is withheld when two answers fit alike: no speed
beats a wrong one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.signal

from vibecore.constants import ENGINE_OFF, USABLE_SHARE, Z_95
from vibecore.engine import Engine
from vibecore.model import Candidate, Condition, Floats, RunnerUp, Signal, SpeedTrack
from vibecore.speed import answer, lines, pattern, prior, tracking
from vibecore.speed.answer import SpeedAnswer
from vibecore.speed.bands import Bands, transform
from vibecore.speed.guesses import SAME_SPEED, Hypothesis, listen, listen_swept, mean_over, times

LEAST_CONFIDENCE = 8 / 9  # below eight to one the mechanic is better served by two named candidates
MOST_CONFIDENCE = 0.999  # the model of what engines show is itself no surer; common practice, no source
WORTH_TELLING = 0.005  # a runner-up that rounds to a percent
LEAST_GOOD = 0.3  # share of the samples that must be good; common practice, no source
NO_MATTER = 1e-4  # candidates less likely than this are not carried along
EXCERPT_S = 150.0  # 1700 revolutions at 700 rpm
WORTH_CUTTING = 1.5  # times an excerpt: what is hardly longer is taken as a whole
USUAL_ENGINE = Engine(4)
# Of the time without the order followed: varying burning hides a line in 1 window of 30. In one stretch the
# engine did something else: at twice the speed the mean would be another one.
MOST_SILENT, MOST_AWAY = 1 / 10, SAME_SPEED
MOST_LOST = 1 / 25  # the same of a sweep, in which a line that only sinks is not silent
LED_ASTRAY = 0.008  # of the speed, natural log
# Chance that a line, and that a line and its harmonics, are the engine's: where what was said of the hold
# tells little of the speed, and where it does.
LONE, LONE_HELD = (0.75, 0.895), (0.89, 0.95)
# On the road wheels and shafts turn in a fixed ratio to the engine and shake most: what fits an engine is as
# likely theirs. Common practice, no source.
UNREAD_ON_ROAD = 0.5
ENOUGH = 3  # orders of one family that hold against a tachometer; common practice, no source
LEAST_SWEEP = 0.08  # of the speed, standard deviation: even from 700 to 950 rpm a sweep has as much
CLOCK_ERROR = 5e-5  # of the phone's clock: 50 parts in a million, an ordinary quartz


def find_speed(
    signal: Signal, engine: Engine | None, condition: Condition, hint: prior.Expected | None = None
) -> SpeedAnswer:
    """Find the crank speed in a signal (n, 3). engine None: the cylinders are not known. hint: what the
    maker's plate or the job's other recordings let expect."""
    if condition.speed_hold == "engine off":
        return answer.none(ENGINE_OFF, "The engine was off: there is no engine speed to find.")
    if len(signal.accel_m_s2) < 2 * lines.USUAL.frame_s * signal.fs_hz or signal.good.mean() < LEAST_GOOD:
        return answer.none(
            "too-short", "Too little steady recording to find the engine speed. Record 30 s or more."
        )
    thin = _thinned(signal)
    swept = condition.speed_hold == "sweep"
    part = thin if swept else _excerpt(thin)
    highest_hz = pattern.highest_hz(thin.fs_hz)
    nothing = prior.log_no_engine(condition, (engine or USUAL_ENGINE).firing_order, highest_hz)
    hear = listen_swept if swept else listen
    bands = transform(part)
    heard = hear(bands, engine, lambda rpm, low: prior.log_prior(rpm, condition, hint, low), nothing)
    if heard is None:
        return answer.none("no-lines", answer.NO_LINES)
    best, confidence = heard.answers[0]
    confidence = min(confidence, _most_sure(best, thin.fs_hz, condition, hint))
    answers = [(best, confidence), *heard.answers[1:]]
    if part is not thin:
        best, bands = _carried_on(thin, best), transform(thin)
    second = answers[1] if len(answers) > 1 else None
    track = _track(signal, bands, best, heard.spread_rpm, confidence, second, condition)
    candidates = tuple(Candidate(guess.mean_rpm, chance) for guess, chance in answers if chance > NO_MATTER)
    if confidence < LEAST_CONFIDENCE:
        return answer.undecided(candidates, track, condition)
    if track is None:
        return answer.none("speed-not-steady", answer.NOT_STEADY)
    if swept and track.steadiness_rpm < LEAST_SWEEP * track.mean_rpm:
        return answer.none("sweep-not-followed", answer.NOT_SWEPT)
    return SpeedAnswer(track, answer.tachometer_note(track, condition), candidates)


def _thinned(signal: Signal) -> Signal:
    """The signal at the lowest whole share of its rate that still holds every order looked at."""
    share = int(signal.fs_hz * USABLE_SHARE / pattern.HIGHEST_HZ)
    if share < 2:
        return signal
    fewer = scipy.signal.resample_poly(signal.accel_m_s2, 1, share, axis=0)
    return replace(
        signal, fs_hz=signal.fs_hz / share, accel_m_s2=fewer, good=signal.good[::share][: len(fewer)].copy()
    )


def _excerpt(signal: Signal) -> Signal:
    """The middle of a long recording: enough to tell which order is which."""
    n, keep = len(signal.accel_m_s2), round(EXCERPT_S * signal.fs_hz)
    if n <= WORTH_CUTTING * keep:
        return signal
    part = slice((n - keep) // 2, (n - keep) // 2 + keep)
    return replace(signal, accel_m_s2=signal.accel_m_s2[part].copy(), good=signal.good[part].copy())


def _carried_on(signal: Signal, best: Hypothesis) -> Hypothesis:
    """A guess made on an excerpt, with its strongest line followed through the whole recording."""
    orders, _ = best.telling(signal.fs_hz, 1)
    if not len(orders):  # its firing order is all there is, folded down: no line of its own to follow
        return replace(best, t_s=best.t_s + (len(signal.accel_m_s2) / signal.fs_hz - EXCERPT_S) / 2)
    order = float(orders[0])
    fr = lines.frames(signal, best.framing)
    return replace(best, t_s=fr.t_s, speed_hz=lines.line_path(fr, order * best.mean_rpm / 60) / order)


def _most_sure(guess: Hypothesis, fs_hz: float, condition: Condition, hint: prior.Expected | None) -> float:
    """How sure a guess can be at most: no bound where a tachometer bears it out."""
    swept = condition.speed_hold == "sweep"  # it moves: not read well
    if prior.borne_out(guess.mean_rpm, condition) and not swept:
        return 1.0
    unread = _most_sure_unread(guess, fs_hz, condition, hint)
    return min(unread, UNREAD_ON_ROAD) if condition.on_road else unread


def _most_sure_unread(
    guess: Hypothesis, fs_hz: float, condition: Condition, hint: prior.Expected | None
) -> float:
    """How sure it can be at most when no tachometer bears it out: anything that turns makes one line,
    or a line and its harmonics; only an engine adds half orders. The surer, the likelier the hint makes
    just this speed; hardly at all, where a tachometer read another."""
    seen, _ = guess.telling(fs_hz, tracking.MOST_ORDERS)
    against = _read_otherwise(condition, seen, guess.engine)
    if not against and len(seen) >= 2 and not np.allclose(seen / seen.min() % 1, 0):
        return 1.0
    held = condition.speed_hold in ("idle", "raised")
    alone = (LONE_HELD if held else LONE)[len(seen) > 1]
    with_hint, without = (prior.log_prior(guess.mean_rpm, condition, h, guess.low_rpm) for h in (hint, None))
    hinted = float(np.exp(with_hint - without))
    if condition.speed_hold != "raised":  # idles differ from day to day; but whoever raises one is over it
        hinted = max(1.0, hinted)
    odds = alone / (1 - alone) * hinted * (prior.TACHOMETER_WRONG if against else 1.0)
    return odds / (1 + odds)


def _read_otherwise(condition: Condition, seen: Floats, engine: Engine) -> bool:
    """Whether by the tachometer's reading these orders (k,), the strongest first, are another's. A belt goes
    round in about three turns of the crank, and its harmonics lie as half orders do at two thirds of the true
    speed: only where the firing order leads several others do they hold against a reading."""
    if not condition.tachometer_rpm or condition.speed_hold == "sweep":  # it moves: not read well
        return False
    return len(seen) < ENOUGH or not np.isclose(seen[0], engine.firing_order)


def _track(
    signal: Signal,
    bands: Bands,
    best: Hypothesis,
    spread_rpm: float,
    confidence: float,
    second: tuple[Hypothesis, float] | None,
    condition: Condition,
) -> SpeedTrack | None:
    """The path of the best guess refined, as a track of the whole signal; None where its lines come and go.
    second: the next best, with its probability. spread_rpm: over the guesses that count as one with it."""
    orders, snr = best.telling(bands.signal.fs_hz, tracking.MOST_ORDERS)
    if not len(orders):  # its firing order is all there is, folded down
        orders, snr = np.array([best.engine.firing_order]), np.ones(1)
    swept = condition.speed_hold == "sweep"
    at = tracking.refine(bands, best.t_s, best.speed_hz, orders, snr, swept=swept)
    if at.silent > (MOST_LOST if swept else MOST_SILENT) or at.away > MOST_AWAY:
        return None
    if abs(np.log(mean_over(at.t_s, at.speed_hz) / mean_over(best.t_s, best.speed_hz))) > LED_ASTRAY:
        # Refining a path moves it by a part in a thousand; further away another line has caught it.
        at = tracking.Refined(best.t_s, best.speed_hz, LED_ASTRAY / 2 * best.mean_rpm / 60)
    angle = tracking.crank_angle(times(signal), at.t_s, at.speed_hz)
    mean = 60 * float((angle[-1] - angle[0]) * signal.fs_hz / (len(angle) - 1))
    half = Z_95 * max(60 * at.mean_error_hz, CLOCK_ERROR * mean, spread_rpm)
    return SpeedTrack(
        t_s=signal.start_s + at.t_s,
        rpm=60 * at.speed_hz,
        mean_rpm=mean,
        low_rpm=mean - half,
        high_rpm=mean + half,
        steadiness_rpm=60 * float(np.std(at.speed_hz)),
        confidence=min(confidence, MOST_CONFIDENCE),
        found_by="vibration with tachometer" if prior.borne_out(mean, condition) else "vibration",
        angle_rev=angle,
        runner_up=_runner_up(second, mean),
    )


def _runner_up(second: tuple[Hypothesis, float] | None, mean_rpm: float) -> RunnerUp | None:
    """The next best guess, with its probability, beside the speed that is answered."""
    if second is None or second[1] <= WORTH_TELLING:
        return None
    guess, chance = second
    return RunnerUp(guess.mean_rpm, chance, _relation(guess.mean_rpm / mean_rpm))


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
