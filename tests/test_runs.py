"""Runs of flags against itertools' groups."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vibecore.runs import runs


@given(st.lists(st.booleans(), max_size=40))
def test_runs_are_the_groups_of_true(flags: list[bool]) -> None:
    groups = [(on, len(list(group))) for on, group in itertools.groupby(flags)]
    ends = list(itertools.accumulate(length for _, length in groups))
    wanted = [[end - length, end] for (on, length), end in zip(groups, ends, strict=True) if on]
    assert runs(np.array(flags, dtype=bool)).tolist() == wanted
