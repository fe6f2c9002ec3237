"""A series cut into blocks, against Python's own slices."""

from __future__ import annotations

import numpy as np
import pytest

from vibecore.blocks import cut


@pytest.mark.parametrize(("n", "size"), [(12, 4), (14, 4), (3, 4), (4, 4), (5, 1)])
def test_blocks_are_the_slices_that_are_whole(n: int, size: int) -> None:
    series = np.arange(3.0 * n).reshape(n, 3)
    slices = [series[at : at + size].tolist() for at in range(0, n, size)]
    assert cut(series, size).tolist() == [part for part in slices if len(part) == size]


def test_flags_are_cut_alike_and_nothing_is_copied() -> None:
    good = np.array([True, True, False, False, True])
    blocks = cut(good, 2)
    assert blocks.tolist() == [[True, True], [False, False]]
    assert np.shares_memory(blocks, good)
