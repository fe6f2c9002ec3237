"""Pictures of one recording over time say what the records say.

What is checked against stands in the records made here, or in each test; what a picture should say of it is
common practice, no source.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.app import made
from vibecore import figures
from vibecore.figures import style
from vibecore.figures.style import LEAST_SPEED_SPAN_RPM
from vibecore.model import Signal


def test_speed_picture_holds_the_records_numbers():
    picture = figures.speed_over_time(made.analysis(), (650.0, 750.0))
    assert "700 rpm and wandered about that by 4 rpm (standard deviation)." in picture.sentence
    assert "700 rpm" in picture.sentence
    assert ("mean", "700.0 rpm") in picture.rows
    surest = dataclasses.replace(made.analysis().speed, confidence=0.9996)
    rows = figures.speed_over_time(dataclasses.replace(made.analysis(), speed=surest)).rows
    assert ("sure", "over 99 %") in rows  # as everywhere else: nothing is sure to 100 %
    assert np.ptp(picture.figure.layout.yaxis.range) >= LEAST_SPEED_SPAN_RPM


def test_a_makers_idle_outside_the_picture_is_not_called_shaded():
    """700 rpm, 60 rpm of it shown."""
    said = {
        spec: figures.speed_over_time(made.analysis(), spec).sentence
        for spec in ((650.0, 750.0), (725.0, 800.0), (740.0, 800.0), (500.0, 660.0))
    }
    assert [text.split(", ")[-1] for text in said.values()] == [
        "is shaded.", "is shaded.", "lies above what is shown.", "lies below what is shown.",
    ]  # fmt: skip


def test_a_long_trace_is_thinned_but_keeps_its_highest_and_lowest_point():
    analysis = made.analysis()
    accel = np.random.default_rng(1).normal(size=(500_001, 3))
    accel[123_457, 2], accel[400_000, 2] = 99.0, -99.0
    signal = Signal(400.0, 0.0, accel, np.ones(len(accel), bool), (0.0, 1250.0), True, 0.0)
    picture = figures.trace(dataclasses.replace(analysis, signal=signal))
    up = picture.figure.data[2]
    assert len(up.x) <= style.MOST_POINTS
    assert up.y.max() == 99.0
    assert up.y.min() == -99.0
    assert up.x[np.argmax(up.y)] == pytest.approx(123_457 / 400)
    assert np.all(np.diff(up.x) >= 0)


def test_what_was_cut_out_of_a_trace_is_not_shaded_as_used():
    """Used from 2 to 18 s of 20, but for a knock from 5 to 5.5 s and an unseen gap of one sample."""
    analysis = made.analysis()
    good = np.ones(1600, bool)
    good[300:350] = good[900] = False
    signal = Signal(100.0, 2.0, np.zeros((1600, 3)), good, (2.0, 18.0), True, 0.0)
    picture = figures.trace(dataclasses.replace(analysis, signal=signal))
    assert [(s.x0, s.x1) for s in picture.figure.layout.shapes] == [(2.0, 5.0), (5.5, 18.0)]
    assert picture.sentence.endswith("Used: 2 to 18 s of 20 (shaded), without 0.5 s of knocks or gaps.")
    assert tuple(picture.figure.layout.xaxis.range) == (0.0, pytest.approx(20.0, abs=0.02))
    whole = dataclasses.replace(signal, good=np.ones(1600, bool))
    picture = figures.trace(dataclasses.replace(analysis, signal=whole))
    assert picture.sentence.endswith("Used: 2 to 18 s of 20 (shaded).")


def test_what_was_cut_out_of_a_trace_is_pale_and_no_flat_line():
    """A knock of 9 m/s2 upwards at 5 s and half a second about it cut out: drawn as the file has it."""
    analysis = made.analysis()
    accel = analysis.recording.accel_m_s2.copy()
    accel[510, 2] += 9.0
    good = np.ones(len(accel), bool)
    good[500:550] = False
    signal = dataclasses.replace(analysis.signal, good=good)
    recording = dataclasses.replace(analysis.recording, accel_m_s2=accel)
    figure = figures.trace(dataclasses.replace(analysis, signal=signal, recording=recording)).figure
    pale, *axes = figure.data
    assert pale.name == "up and down, left out"
    assert np.array_equal(np.isnan(pale.y), good)
    assert np.nanmax(pale.y) == pytest.approx(9.0, abs=0.4)
    for axis in axes:
        assert np.array_equal(np.isnan(axis.y), ~good)
        assert not axis.connectgaps
    assert figure.layout.yaxis.range[1] < 0.5  # what was used stays readable
    assert figures.trace(analysis).figure.data[0].name != pale.name  # nothing was left out


def test_a_long_curve_keeps_its_breaks_and_the_peaks_beside_them():
    y = np.sin(np.arange(60_000.0))
    y[20_001:20_400] = np.nan
    y[20_000] = 5.0
    x, thin = style.thinned(np.arange(60_000.0), y)
    assert len(x) <= style.MOST_POINTS
    assert np.nanmax(thin) == 5.0
    assert np.isnan(thin[(x > 20_040) & (x < 20_360)]).all()


def test_the_strongest_direction_lies_under_the_others():
    """On top it would hide them: 0.3 m/s2 up and down, 0.09 and 0.03 level, by construction."""
    traces = figures.trace(made.analysis()).figure.data
    assert [t.name for t in sorted(traces, key=lambda t: t.zorder)] == [
        "up and down", "level, square to that", "level, one way",
    ]  # fmt: skip


def test_directions_are_called_by_what_is_known_of_them():
    """Gravity tells up and nothing else (its vector has one direction)."""
    analysis = made.analysis()
    names = [t.name for t in figures.trace(analysis).figure.data]
    assert names == [row[0] for row in figures.trace(analysis).rows]
    assert names == ["level, one way", "level, square to that", "up and down"]
    lying = dataclasses.replace(analysis.signal, vertical_known=False)
    rows = figures.trace(dataclasses.replace(analysis, signal=lying)).rows
    assert [row[0] for row in rows] == ["axis 1", "axis 2", "axis 3"]
