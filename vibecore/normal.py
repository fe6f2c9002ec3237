"""The density of the normal distribution, also of two half ones that meet in the middle."""

from __future__ import annotations

import math
from typing import overload

import numpy as np

from vibecore.model import Floats

ROOT_TWO_PI = math.sqrt(2 * math.pi)


@overload
def density(x: float, sd: float, mean_sd: float | None = None) -> float: ...
@overload
def density(x: Floats, sd: Floats | float, mean_sd: float | None = None) -> Floats: ...
def density(x: Floats | float, sd: Floats | float, mean_sd: float | None = None) -> Floats | float:
    """Density at x (...) from the middle, per unit of x; sd, same shape or one for all: standard deviation.

    mean_sd: where the two halves differ sd is that of the side x lies on, and this the mean of the two.
    """
    return np.exp(-0.5 * (x / sd) ** 2) / ((sd if mean_sd is None else mean_sd) * ROOT_TWO_PI)
