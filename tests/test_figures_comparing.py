"""Pictures that lay recordings, levels or visits beside each other say what the records say."""

from __future__ import annotations

import dataclasses
import math
import re

import pytest

from tests.app import made
from vibecore import figures
from vibecore.drawing import levels_svg
from vibecore.engine import Engine
from vibecore.model import Analysis, Condition, OrderChange
from vibecore.repair import Visit

FOUR = Engine(4)
BOTH = ["neutral at idle (before.csv)", "neutral at idle (after.csv)"]


def test_before_and_after():
    picture = figures.before_after(made.diagnosis(repaired=True).repair, FOUR)
    change = "5.1 times weaker (-14.2 dB, -15.6 to -12.8)"
    assert picture.rows == (("firing (order 2)", "0.400", "0.0800", change),)
    before, after = picture.figure.data
    assert before.error_y.array is None
    low, high = after.y[0] - after.error_y.arrayminus[0], after.y[0] + after.error_y.array[0]
    # 20 dB a tenfold of amplitude (ISO 80000-3): from the change to either end of its interval.
    assert 20 * math.log10(low / 0.08) == pytest.approx(-15.6 - -14.2)
    assert 20 * math.log10(high / 0.08) == pytest.approx(-12.8 - -14.2)
    assert "95 % interval" in picture.sentence


def test_an_interval_to_the_sky_leaves_bars_to_see():
    repair = made.diagnosis(repaired=True).repair
    vague = dataclasses.replace(repair, changes=(OrderChange(2.0, 0.1, 0.16, 3.9, -17.7, 45.0),))
    assert figures.before_after(vague, FOUR).figure.layout.yaxis.range[1] < 4 * 0.16
    none = dataclasses.replace(repair, changes=())
    assert figures.before_after(none, FOUR).figure.layout.yaxis.range[1] > 0


def test_two_recordings_over_each_other():
    first, second = made.analysis("before.csv"), made.analysis("after.csv")
    picture = figures.overlay(first, second)
    assert [trace.name for trace in picture.figure.data] == BOTH
    assert picture.figure.data[0].line.dash != picture.figure.data[1].line.dash  # told apart without colour
    assert picture.rows[0] == (BOTH[0], "2 (0.220 m/s²), 1 (0.0100 m/s²), 1.5 (0.0060 m/s²)")
    assert picture.figure.layout.xaxis.range[1] < 3  # of the orders 2 is the last that can be seen


def test_a_recording_without_orders_is_laid_over_another_by_frequency():
    off = made.analysis("off.csv", Condition(None, "neutral", "engine off"), speed=False)
    for pair in ((made.analysis(), off), (off, made.analysis())):
        picture = figures.overlay(*pair)
        assert [len(trace.x) for trace in picture.figure.data] == [len(off.spectrum_hz.x)] * 2
        assert picture.figure.layout.xaxis.title.text == "Hz"
        assert "the recording with the engine off" in picture.sentence
        assert picture.rows[0][1] == "31.2 Hz (0.0500 m/s²)"


def test_levels_of_two_recordings_with_intervals_and_their_change():
    first, second = made.analysis("before.csv"), made.analysis("after.csv")
    change = OrderChange(2.0, 0.22, 0.22, 0.0, -3.0, 3.0)
    picture = figures.levels(first, second, [change], FOUR)
    span = "0.220 (0.176 to 0.275)"
    assert ("firing (order 2)", span, span, "no change shown (0.0 dB, -3.0 to +3.0)") in picture.rows
    assert picture.rows[-1][1:4] == ("cannot be seen", "cannot be seen", "not known")
    (bar, _) = picture.figure.data
    assert bar.y[0] + bar.error_y.array[0] == pytest.approx(0.275)
    assert bar.y[0] - bar.error_y.arrayminus[0] == pytest.approx(0.176)


def test_no_change_is_claimed_that_its_interval_denies():
    """Duality of tests and intervals: a 95 % interval that holds 0 shows no change at 5 %."""
    analysis = made.analysis()
    said = {
        span: figures.levels(analysis, analysis, [OrderChange(2.0, 0.1, 0.16, *span)], FOUR).rows[3][3]
        for span in ((3.9, -17.7, 25.5), (3.9, 0.2, 7.8), (0.1, -0.4, 0.6))
    }
    assert list(said.values()) == [
        "no change shown (+3.9 dB, -17.7 to +25.5)",
        "1.6 times as strong (+3.9 dB, +0.2 to +7.8)",
        "about the same (+0.1 dB, -0.4 to +0.6)",
    ]


def test_levels_and_their_change_are_of_the_same_line():
    """The change is of the line alone; so must be the levels beside it, for whoever reckons after: 0.1 to
    0.05 m/s2 is -6.0 dB, whatever else lies within the line's width."""

    def smeared(name: str, alone: float) -> Analysis:
        whole = made.analysis(name)
        level = dataclasses.replace(made.level(2.0, 0.2), low_m_s2=0.0, sharp_m_s2=alone)
        return dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, levels=(level,)))

    pair = smeared("before.csv", 0.1), smeared("after.csv", 0.05)
    picture = figures.levels(*pair, [OrderChange(2.0, 0.1, 0.05, -6.02, -9.0, -3.0)], FOUR)
    assert [bar.y[0] for bar in picture.figure.data] == [0.1, 0.05]
    assert picture.rows[0][1:3] == ("0.100 (0 to 0.250)", "0.0500 (0 to 0.250)")
    drawn = levels_svg(*pair, [2.0], FOUR)
    heights = [
        float(h)
        for h in re.findall(r'<rect[^>]*height="([\d.]+)" fill="[^"]+"(?: fill-opacity[^>]*)?/>', drawn)
    ]
    bars = [h for h in heights if h != 11]  # those of the legend
    assert bars[0] == pytest.approx(2 * bars[1], abs=0.2)


def test_a_whisker_reaches_down_to_nothing_and_an_unknown_interval_has_none():
    whole = made.analysis()
    to_nothing = dataclasses.replace(made.level(1.0, 0.2), low_m_s2=0.0)
    unknown = dataclasses.replace(made.level(2.0, 0.3), low_m_s2=None, high_m_s2=None)
    table = dataclasses.replace(whole.orders, levels=(to_nothing, unknown))
    analysis = dataclasses.replace(whole, orders=table)
    changes = [OrderChange(order, 0.2, 0.2, 0.0, -3.0, 3.0) for order in (1.0, 2.0)]
    for picture in (
        figures.order_spectrum(analysis, FOUR),
        figures.levels(analysis, analysis, changes, FOUR),
    ):
        bar = next(trace for trace in picture.figure.data if trace.type == "bar")
        assert list(bar.error_y.arrayminus) == pytest.approx([0.2, 0.0])
        assert list(bar.error_y.array) == pytest.approx([0.05, 0.0])


def test_visits_are_drawn_with_their_intervals_against_sound_cars():
    visits = (Visit("first", 0.4, 0.3, 0.5, (0.03, 0.12)), Visit("last", 0.1, 0.08, 0.13, (0.03, 0.12)))
    picture = figures.over_visits(visits)
    (line,) = picture.figure.data
    assert list(line.y) == [0.4, 0.1]
    assert list(line.error_y.array) == pytest.approx([0.1, 0.03])
    assert list(line.error_y.arrayminus) == pytest.approx([0.1, 0.02])
    assert "Sound cars show 0.030 to 0.12 m/s²" in picture.sentence  # two figures: `spread_text`
    assert picture.rows[1] == ("last", "0.100", "0.0800 to 0.130")


def test_long_names_of_visits_are_written_in_short_lines():
    """On a phone three of them have some fourteen letters each."""
    names = ("before drive seat.csv", "after drive seat visit1.csv", "2031-05-01_12-30-11_phone.csv")
    picture = figures.over_visits([Visit(name, 0.4, 0.3, 0.5, (0.03, 0.12)) for name in names])
    axis = picture.figure.layout.xaxis
    assert tuple(axis.tickvals) == names
    assert [t.replace("<br>", "").replace(" ", "") for t in axis.ticktext] == [
        n.replace(" ", "") for n in names
    ]
    assert max(len(line) for t in axis.ticktext for line in t.split("<br>")) <= 14
