"""A series cut into blocks of one length, end to end."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.generic)


def cut(series: NDArray[Number], size: int) -> NDArray[Number]:
    """Blocks (count, size, ...) of a series (n, ...), not copied; what is left over at its end is dropped."""
    count = len(series) // size
    return series[: count * size].reshape(count, size, *series.shape[1:])
