"""What the recordings of one car, and its maker's plate, let expect of each other's engine speed.

One car idles at one base speed; given that, each recording's speed is spread about what its gear and hold
make of it. Over a grid of base speeds v, what another recording and the plate say of this one's is

    P(v | other, plate) ~ P(v) P(plate | v)  sum over k of  p_k P(rpm_k | v) / P(rpm_k),

where p_k is the probability of the other's candidate k, found by itself alone; then spread about v. Of the
others only the surest and most alike speaks: what makes one recording's speed ambiguous (a firing order that
stands alone, harmonics taken for half orders) is the car's own and so the same in all, and counting it once
for each would make a wrong multiple sure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from vibecore.model import Candidate, Condition, Floats
from vibecore.normal import density
from vibecore.speed import prior

STEP = 0.01  # of the natural logarithm: a third of the nearest that two idles of one car come
LOG_RPM: Floats = np.arange(np.log(250.0), np.log(6000.0), STEP)
SURE, HEARD = 0.85, 0.5  # probability of a recording's first candidate, for others to lean on; to be heard
PLATE_SPREAD = 0.12  # of the logarithm: faults and cold engines idle off the plate; common practice


@dataclass(frozen=True)
class Hold:
    """How a speed lies to the car's neutral idle: middle of its ratio, spread of the logarithm below and
    above it, and the chance that it does not hold. Common practice, no source."""

    ratio: float
    below: float
    above: float
    wrong: float


IDLE = Hold(1.0, 0.035, 0.035, 0.05)
NOT_SAID = Hold(1.0, 0.06, 0.06, 0.35)
RAISED = Hold(1.6, 0.16, 0.28, 0.08)  # nobody calls a speed raised that is not a quarter over the idle
SWEEP = Hold(1.05, 0.06, 0.10, 0.10)  # of the low end of its path, the lowest twentieth of its time
GEAR_DRAG, GEAR_SPREAD = 0.91, 0.07  # what a converter's drag does to an idle
HOLDS: dict[str | None, Hold] = {"idle": IDLE, None: NOT_SAID, "raised": RAISED, "sweep": SWEEP}


@dataclass(frozen=True, eq=False)
class Hint:
    """A density over the natural logarithm of speed (on LOG_RPM) expected from elsewhere."""

    at_grid: Floats

    def density(self, rpm: float) -> float:
        return float(np.interp(np.log(rpm), LOG_RPM, self.at_grid, left=0.0, right=0.0))


def hints(
    found: Sequence[tuple[Condition, Sequence[Candidate]]], idle_spec_rpm: tuple[float, float] | None
) -> list[Hint | None]:
    """For each recording what the others and the plate let expect; None where they say nothing of it.

    found: each recording's condition and its candidates without the others."""
    return [_hint([*found[:i], *found[i + 1 :]], mine, idle_spec_rpm) for i, (mine, _) in enumerate(found)]


def _hint(
    others: Sequence[tuple[Condition, Sequence[Candidate]]],
    mine: Condition,
    idle_spec_rpm: tuple[float, float] | None,
) -> Hint | None:
    hold = _hold(mine)
    speaks = [o for o in others if _speaks(*o)]
    if hold is None or not (speaks or idle_spec_rpm):
        return None
    log_p = _before() + _plate(idle_spec_rpm)
    if speaks:
        worth = [_worth(*other, mine) for other in speaks]
        most = [
            _log_likelihood(*other) for other, has in zip(speaks, worth, strict=True) if has == max(worth)
        ]
        log_p = log_p + np.mean(most, axis=0)  # those that say as much speak as one
    base = np.exp(log_p - log_p.max())
    return Hint(_spread(base / base.sum(), hold))


def _speaks(condition: Condition, candidates: Sequence[Candidate]) -> bool:
    """Not a sweep: of its candidates the means are known, and they tell little of the idle."""
    if _hold(condition) is None or condition.speed_hold == "sweep":
        return False
    return bool(candidates) and candidates[0].probability >= HEARD


def _worth(other: Condition, candidates: Sequence[Candidate], mine: Condition) -> tuple[bool, bool, float]:
    """How much another recording has to say: sure first, then made alike, then by how sure."""
    alike = (other.gear, other.speed_hold) == (mine.gear, mine.speed_hold)
    return candidates[0].probability >= SURE, alike, candidates[0].probability


def _hold(condition: Condition) -> Hold | None:
    """None: on the road, or not running, where the idle says nothing."""
    if condition.speed_hold == "engine off" or condition.on_road:
        return None
    hold = HOLDS[condition.speed_hold]
    if not condition.in_gear:
        return hold
    wide = float(np.hypot(hold.below, GEAR_SPREAD))
    return replace(hold, ratio=hold.ratio * GEAR_DRAG, below=wide, above=wide)


def _log_likelihood(condition: Condition, candidates: Sequence[Candidate]) -> Floats:
    """Natural log of how well each base speed explains one recording, an unknown constant apart."""
    hold = _hold(condition)
    assert hold is not None
    alone = replace(condition, tachometer_rpm=None)
    total = np.full(len(LOG_RPM), max(1.0 - sum(c.probability for c in candidates), 0.0))
    for rpm, probability in candidates:
        # With a tachometer the candidates were weighed by its reading, not by what is usual.
        usual = np.exp(prior.log_prior(condition.tachometer_rpm or rpm, alone))
        total += probability * (hold.wrong + (1 - hold.wrong) * _about(np.log(rpm) - LOG_RPM, hold) / usual)
    return np.log(np.maximum(total, 1e-12))


def _about(log_ratio: Floats, hold: Hold) -> Floats:
    """Density of the logarithm of speed over base speed."""
    off = log_ratio - np.log(hold.ratio)
    sigma = np.where(off < 0, hold.below, hold.above)
    return density(off, sigma, 0.5 * (hold.below + hold.above))


def _spread(base: Floats, hold: Hold) -> Floats:
    """Density of a recording's speed from the shares of the base speed."""
    offsets = np.arange(1.0 - len(LOG_RPM), len(LOG_RPM)) * STEP
    return np.convolve(base, _about(offsets, hold))[len(LOG_RPM) - 1 : 2 * len(LOG_RPM) - 1]


@lru_cache(maxsize=1)
def _before() -> Floats:
    neutral = Condition(gear="neutral", speed_hold="idle")
    return np.array([prior.log_prior(float(rpm), neutral) for rpm in np.exp(LOG_RPM)])


def _plate(idle_spec_rpm: tuple[float, float] | None) -> Floats:
    if idle_spec_rpm is None:
        return np.zeros(len(LOG_RPM))
    off = (LOG_RPM - np.log(sum(idle_spec_rpm) / 2)) / PLATE_SPREAD
    return np.log(prior.HINT_WRONG + np.exp(-0.5 * off**2))
