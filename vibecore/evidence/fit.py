"""How well each cause's pattern fits the levels: multivariate Student t, taken apart finding by finding.

ln f(x) = sum over i of ln f(x_i | x_1 .. x_(i-1))  (chain rule), so each level's word is what it adds to
those before it: nothing is counted twice. The t distribution with few degrees of freedom has heavy tails,
so that no single strange level decides (Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84, 881-896;
from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import gammaln

from vibecore.constants import NOT_LISTED, SOUND
from vibecore.engine import Engine
from vibecore.evidence.levels import FAMILIES, HELDS, LevelReading
from vibecore.evidence.mends import Mend, mend_covariance, mends_of, share_left
from vibecore.evidence.patterns import NOTHING, PATTERNS, SEVERITY_SPREAD, Pattern, shown_as
from vibecore.model import Flags, Floats, Place
from vibecore.sound_cars import FAMILY_SPREAD_DB, GAIN_SPREAD_DB, HELD_SPREAD_DB, sound_level_db

LEVEL_TAIL_DEGREES = 5.0  # of freedom: a level 5 sigma off is a thousand times likelier than under the normal
NO_MATTER = 0.002  # a way to be wrong that is less likely than this is left out
UNKNOWN = NOT_LISTED  # the widest of the patterns: what the levels mean when the engine's speed is wrong


def fit_levels(readings: Sequence[LevelReading], engine: Engine, place: Place | None) -> dict[str, Floats]:
    """(n,) nepers for each cause: the log density of each level given others before it.

    What is before depends on the cause: the families that it leaves as they are come first. There it fits as
    a sound car does, whatever they show, so that their calm is no sign of it; what it adds is told beside
    them.
    """
    orders = {cause: _least_touched_first(shown_as(cause, place), readings) for cause in PATTERNS}
    as_sound = {
        order: _fit(SOUND, [readings[i] for i in order], engine, place) for order in {*orders.values()}
    }
    sound = _fit(SOUND, readings, engine, place)
    fits = {}
    for cause, order in orders.items():
        fits[cause] = sound.copy()
        mine = [readings[i] for i in order]
        fits[cause][list(order)] += _fit(cause, mine, engine, place) - as_sound[order]
    return fits


def fit_again(
    before: Sequence[LevelReading], again: Sequence[LevelReading], engine: Engine, place: Place | None
) -> dict[str, Floats]:
    """(m,) nepers for each cause: the log density of each level read again after a repair, given those before
    it and all from before the repair."""
    every = (*before, *again)
    return {cause: _fit(cause, every, engine, place)[len(before) :] for cause in PATTERNS}


def _least_touched_first(cause: str, readings: Sequence[LevelReading]) -> tuple[int, ...]:
    def touched(i: int) -> float:
        return sum(way.share * max(way.adds.get(readings[i].family, NOTHING)) for way in PATTERNS[cause])

    return tuple(sorted(range(len(readings)), key=touched))


def _fit(cause: str, readings: Sequence[LevelReading], engine: Engine, place: Place | None) -> Floats:
    """(n,) nepers: the log density of each level given the levels before it.

    A condition whose engine speed is not sure may have been read wrongly: with that chance its levels are
    the same wide distribution under every cause, and the others speak alone.
    """
    over = np.array([r.level_db - sound_level_db(r.family, r.held, engine, place) for r in readings])
    so_far = np.full(len(readings), -np.inf)
    for right, chance in _held_right(readings):
        told = [r for r, ok in zip(readings, right, strict=True) if ok]
        wrong = [r for r, ok in zip(readings, right, strict=True) if not ok]
        steps = np.empty(len(readings))
        steps[right] = _increments(shown_as(cause, place), over[right], told)
        steps[~right] = _increments(UNKNOWN, over[~right], wrong)
        so_far = np.logaddexp(so_far, math.log(chance) + np.cumsum(steps))
    return np.diff(so_far, prepend=0.0)


def _held_right(readings: Sequence[LevelReading]) -> Iterator[tuple[Flags, float]]:
    """Which levels (n,) were read at the right speed, in every way that may be, with its chance."""
    made = [(r.held, r.again_db is None) for r in readings]
    sure = {how: min(max(r.confidence, 0.0), 1.0) for how, r in zip(made, readings, strict=True)}
    for ways in itertools.product((True, False), repeat=len(sure)):
        right = dict(zip(sure, ways, strict=True))
        chance = math.prod(sure[how] if ok else 1.0 - sure[how] for how, ok in right.items())
        if chance > NO_MATTER:
            yield np.array([right[how] for how in made], dtype=bool), chance


def _increments(cause: str, over_sound: Floats, readings: Sequence[LevelReading]) -> Floats:
    """Log density of each level given those before it, over the ways in which the cause shows itself, and
    over what a repair may have come to."""
    if not readings:
        return np.zeros(0)
    ways = [
        np.log(way.share * mend.chance) + np.cumsum(_way_log_density(way, mend, over_sound, readings))
        for way in PATTERNS[cause]
        for mend in mends_of(way, readings)
    ]
    return np.diff(np.logaddexp.reduce(ways, axis=0), prepend=0.0)


def _way_log_density(
    way: Pattern, mend: Mend, over_sound: Floats, readings: Sequence[LevelReading]
) -> Floats:
    adds = pattern_adds(way, readings)
    left = share_left(mend, adds, readings)
    cov = covariance(way, readings, adds, left) + mend_covariance(mend, adds, left, readings)
    first = sum(r.again_db is None for r in readings)
    return chain_log_density(over_sound - left * adds, cov, again=first)


def pattern_adds(pattern: Pattern, readings: Sequence[LevelReading]) -> Floats:
    """(n,) what the cause adds to each level at its usual size, dB."""
    return np.array([pattern.adds.get(r.family, NOTHING)[HELDS.index(r.held)] for r in readings])


def covariance(
    pattern: Pattern, readings: Sequence[LevelReading], adds: Floats, left: Floats | None = None
) -> Floats:
    """(n, n) dB squared: common gain, family, condition, reading, and the size of the fault. left: (n,) the
    share of what the fault adds that is there."""
    left = np.ones(len(readings)) if left is None else left
    family = np.array([FAMILIES.index(r.family) for r in readings])
    held = np.array([HELDS.index(r.held) for r in readings])
    one_family = family[:, None] == family
    one_level = one_family & (held[:, None] == held)
    own = left * [pattern.own_spread.get(r.family, 0.0) for r in readings]
    total = GAIN_SPREAD_DB**2 + one_family * _path_covariance(pattern, readings, left)
    total += np.outer(own, own) * (one_family + 1.0 * one_level) / 2
    total += SEVERITY_SPREAD**2 * np.outer(left * adds, left * adds)
    total += one_level * np.array([HELD_SPREAD_DB[r.held] ** 2 for r in readings])
    return total + np.diag([r.spread_db**2 for r in readings])


def _path_covariance(pattern: Pattern, readings: Sequence[LevelReading], left: Floats) -> Floats:
    """(n, n) dB squared within a family: how the car's path treats it. Where the fault drowns what a sound
    car shows, that shows again as the fault goes."""
    usual = np.array([FAMILY_SPREAD_DB[r.family] for r in readings])
    drowned = np.array([r.family in pattern.family_spread for r in readings])
    fault = np.array([pattern.family_spread.get(r.family, 0.0) for r in readings]) * left
    sound = usual * np.where(drowned, np.sqrt(1 - np.minimum(left, 1.0) ** 2), 1.0)
    return np.outer(fault, fault) + np.outer(sound, sound)


def chain_log_density(
    residual: Floats, cov: Floats, degrees: float = LEVEL_TAIL_DEGREES, again: int | None = None
) -> Floats:
    """(n,) log density of each residual given those before it, multivariate t with scale matrix `cov`.

    Given the first k residuals with squared distance d, the next is t with degrees + k degrees of freedom,
    its scale widened by (degrees + d) / (degrees + k) (Kotz and Nadarajah, Multivariate t Distributions,
    2004; from memory; the sum is checked against scipy.stats.multivariate_t). again: those from there on are
    another t about what the first let expect: how odd the car is does not tell how odd its repair is.
    """
    lower = np.linalg.cholesky(cov)
    z = np.linalg.solve(lower, residual)
    k = np.arange(len(z), dtype=float)
    distance = np.concatenate([[0.0], np.cumsum(z**2)])[:-1]
    if again is not None and again < len(z):
        k[again:] -= again
        distance[again:] -= distance[again]
    nu = degrees + k
    widened = (degrees + distance) / nu
    scale = np.diag(lower) * np.sqrt(widened)
    t2 = z**2 / widened
    log_norm = gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(np.pi * nu) - np.log(scale)
    return log_norm - (nu + 1) / 2 * np.log1p(t2 / nu)
