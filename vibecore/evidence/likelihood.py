"""A finding, and the two shapes of likelihood: a quantity with a value, and a line that is there or not.

A quantity has a centre and a spread for sound cars and for each cause that moves it; a line has a chance to
be there and a level. Tails are those of Student's t.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from vibecore.constants import SOUND

TAIL_DEGREES = 4.0  # heavier tails than the levels have: single numbers are less sure


@dataclass(frozen=True)
class Finding:
    """What was read, how likely it is. log_likelihood: nepers by cause; causes left out: as `normal`."""

    name: str
    text: str
    log_likelihood: Mapping[str, float]
    seen_in: tuple[str, ...]
    more_than: frozenset[str] = frozenset()  # causes that usually show clearly less of it
    less_than: frozenset[str] = frozenset()  # causes that usually show clearly more of it
    other_way: frozenset[str] = frozenset()  # causes that usually move it the other way
    as_much: frozenset[str] = frozenset()  # causes that usually show about as much where it stands out most
    points_at: Mapping[str, str] = field(default_factory=dict)  # parts, as a person calls them, and why
    any_speed: bool = False  # it holds whatever the engine's speed was in the recordings


@dataclass(frozen=True)
class Spread:
    """Centre and spread of a quantity for sound cars, and for the causes that move it with the share of cases
    in which they do; in the rest it is as in sound cars. astray: the share of sound cars in which something
    else moves it as far as any cause does."""

    normal: tuple[float, float]
    causes: Mapping[str, tuple[float, float, float]]
    astray: float = 0.0

    def log_likelihood(self, value: float, error: float = 0.0) -> dict[str, float]:
        """error: standard error of the value, which widens every spread."""

        def density(centre: float, spread: float) -> float:
            return math.exp(log_t(value, centre, math.hypot(spread, error)))

        usual = density(*self.normal)
        moved = {cause: density(centre, spread) for cause, (centre, spread, _) in self.causes.items()}
        sound = (1 - self.astray) * usual + self.astray * max(moved.values())
        logs = {
            cause: math.log(share * moved[cause] + (1 - share) * sound)
            for cause, (_, _, share) in self.causes.items()
        }
        return {SOUND: math.log(sound)} | logs


@dataclass(frozen=True)
class Presence:
    """Chance that a line is found, and its level (dB re 1 m/s2) if so, for sound cars and for causes. shares:
    of the cases in which a cause shows itself so, all if left out; in the rest it is as in sound cars."""

    normal: tuple[float, float, float]  # chance, centre, spread
    causes: Mapping[str, tuple[float, float, float]]
    shares: Mapping[str, float] = field(default_factory=dict)

    def chance(self, cause: str) -> float:
        """That the line is found; a cause that does not touch it finds it as often as a sound car."""
        return self.causes.get(cause, self.normal)[0]

    def log_likelihood(self, level_db: float | None) -> dict[str, float]:
        """Natural logarithm of each cause's likelihood; None: looked for and not found."""

        def density(chance: float, centre: float, spread: float) -> float:
            return 1 - chance if level_db is None else chance * math.exp(log_t(level_db, centre, spread))

        sound = density(*self.normal)
        own = {c: density(*row) for c, row in self.causes.items()}
        shares = {c: self.shares.get(c, 1.0) for c in own}
        mixed = {c: shares[c] * own[c] + (1 - shares[c]) * sound for c in own}
        return {c: math.log(value) for c, value in {SOUND: sound, **mixed}.items()}


def log_t(value: float, centre: float, spread: float) -> float:
    """Log density of Student's t with TAIL_DEGREES of freedom about `centre` (scipy.stats is slow to
    import).
    """
    nu = TAIL_DEGREES
    norm = math.lgamma((nu + 1) / 2) - math.lgamma(nu / 2) - 0.5 * math.log(nu * math.pi) - math.log(spread)
    return norm - (nu + 1) / 2 * math.log1p(((value - centre) / spread) ** 2 / nu)
