"""How likely level and phase of the firing order go with the idle's wander as they do, near a mode and not.

Near a natural frequency f0 both follow from where the idle sits, d = f / f0 - 1, and the damping z together:

    d ln H / d ln f = 1 / (i z - d),    real part -d / (d^2 + z^2), imaginary part -z / (d^2 + z^2)

(see `wander`): right on top of it the phase turns and the level stands, beside it the level falls or rises
and the phase hardly turns. So the two are judged as one, over the places and dampings that may be.
"""

from __future__ import annotations

import math

import numpy as np

from vibecore.constants import SOUND
from vibecore.evidence.likelihood import TAIL_DEGREES
from vibecore.model import Floats
from vibecore.wander import Slope

# Without a mode near: the level goes as the square of speed at most through mounts alone, a phase hardly
# turns; what the torque that moves the speed does besides is in the spreads. Common practice, no source.
LEVEL_ALONE, TURN_ALONE = (-1.5, 2.0), (1.5, 2.5)
# Where an idle sits that is complained of, and how wheel, seat and body are damped: common practice, no
# source.
BESIDE_SD = 0.09
DAMPINGS = (0.015, 0.15)
_BESIDE = np.linspace(-0.25, 0.25, 61)
_DAMPING = np.geomspace(*DAMPINGS, 9)
FAULTS_NEAR = 0.9  # of idles that meet a natural frequency and are read in that recording
SOUND_NEAR = 0.1  # of all others: a natural frequency that nobody feels, or torque that moves both


def _slopes() -> tuple[Floats, Floats, Floats]:
    """Real and imaginary part of the slope for each place and damping, and the log of their weights."""
    d, z = (grid.ravel() for grid in np.meshgrid(_BESIDE, _DAMPING))
    below = d**2 + z**2
    log_weight = -0.5 * (d / BESIDE_SD) ** 2
    return -d / below, -z / below, log_weight - np.logaddexp.reduce(log_weight)


_LEVELS, _TURNS, _LOG_WEIGHTS = _slopes()


def log_likelihood(level: Slope | None, turn: Slope | None) -> dict[str, float]:
    """Nepers, for `normal` and for an idle on a natural frequency; what was not read counts for nothing."""
    alone = _log_density(level, turn, np.zeros(1), np.zeros(1))[0]
    near = float(np.logaddexp.reduce(_LOG_WEIGHTS + _log_density(level, turn, _LEVELS, _TURNS)))
    return {SOUND: _mixed(near, alone, SOUND_NEAR), "idle-resonance": _mixed(near, alone, FAULTS_NEAR)}


def _mixed(near: float, alone: float, share: float) -> float:
    return float(np.logaddexp(math.log(share) + near, math.log(1 - share) + alone))


def _log_density(level: Slope | None, turn: Slope | None, levels: Floats, turns: Floats) -> Floats:
    """Log density of what was read beside a mode that adds these slopes (k,), with heavy tails in common."""
    square, spreads, read = np.zeros(len(levels)), 0.0, 0
    for slope, (centre, spread), added in ((level, LEVEL_ALONE, levels), (turn, TURN_ALONE, turns)):
        if slope is None:
            continue
        wide = math.hypot(spread, slope.error)
        square = square + ((slope.value - centre - added) / wide) ** 2
        spreads, read = spreads + math.log(wide), read + 1
    norm = math.lgamma((TAIL_DEGREES + read) / 2) - math.lgamma(TAIL_DEGREES / 2)
    norm -= 0.5 * read * math.log(TAIL_DEGREES * math.pi) + spreads
    return np.asarray(norm - 0.5 * (TAIL_DEGREES + read) * np.log1p(square / TAIL_DEGREES))
