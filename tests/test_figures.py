"""Pictures say what the records say.

Outside checks: WCAG 2.1 contrast formula (W3C, success criteria 1.4.3 text 4.5:1, 1.4.11 graphics 3:1);
the waterfall against scipy.signal.welch and the closed form of a sine's mean square.
"""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from scipy.signal import welch

from tests.app import made
from vibecore import figures
from vibecore.cycles import CycleView
from vibecore.drawing import levels_svg, orders_svg
from vibecore.engine import Engine
from vibecore.figures import style
from vibecore.figures.style import LEAST_SPEED_SPAN_RPM
from vibecore.model import Analysis, Condition, OrderChange, Signal, Spectrum
from vibecore.repair import Visit
from vibecore.waterfall import make_waterfall, parted

FOUR = Engine(4)
BOTH = ["neutral at idle (before.csv)", "neutral at idle (after.csv)"]


def broken(name: str = "gappy.csv") -> Analysis:
    """Of a recording whose unbroken stretches are all too short for an order spectrum."""
    whole = made.analysis(name)
    empty = Spectrum(np.empty(0), np.empty(0), "order", 0.0)
    levels = tuple(made.level(lv.order, None, "Too short.") for lv in whole.orders.levels)
    return dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, levels=levels, spectrum=empty))


def luminance(colour: str) -> float:
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize(
    ("colour", "least"), [("BLUE", 3), ("VERMILLION", 3), ("GREEN", 3), ("GREY", 4.5), ("INK", 4.5)]
)
def test_colours_stand_out_from_white(colour, least):
    assert 1.05 / (luminance(getattr(style, colour)) + 0.05) >= least


def test_every_order_is_in_the_table_and_the_unseen_say_why():
    analysis = made.analysis()
    picture = figures.order_spectrum(analysis, FOUR)
    assert [row[0] for row in picture.rows] == [
        "order 0.5",
        "crank (order 1)",
        "order 1.5",
        "firing (order 2)",
        "twice firing (order 4)",
        "2.67 times engine speed (on no engine order)",
    ]
    assert "Above half." in picture.rows[-2][2]
    assert picture.rows[-1][1:] == ("31.2", "0.050", "15", "")
    assert "firing (order 2)" in picture.sentence
    assert "0.220" in picture.sentence
    bars = next(t for t in picture.figure.data if t.type == "bar")
    assert list(bars.x) == [0.5, 1.0, 1.5, 2.0]
    assert bars.y[3] == analysis.orders.level(2.0).rms_m_s2


def test_the_strongest_line_is_named_also_where_it_is_on_no_order():
    whole = made.analysis()
    belt = dataclasses.replace(whole.orders.other_lines[0], rms_m_s2=0.3)
    analysis = dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, other_lines=(belt,)))
    said = figures.order_spectrum(analysis, FOUR).sentence
    assert said.startswith(
        "Most shake is on no engine order: 0.300 m/s² at 31.2 Hz, 2.67 times engine speed."
    )
    assert "on no engine order" in orders_svg(analysis, FOUR)


def test_the_curve_is_the_rms_within_a_lines_width():
    """White noise of density s has rms sqrt(s * width) within a band, and a line of mean square p on top of
    nothing has rms sqrt(p) (any text on random vibration)."""
    x = np.linspace(0, 4, 801)
    np.testing.assert_allclose(style.line_level(Spectrum(x, np.full(801, 0.4), "order")), np.sqrt(0.4 * 0.1))
    line = np.zeros(801)
    line[400:403] = 0.09 / 3 / 0.005  # mean square 0.09 over three bins of 0.005 order
    level = style.line_level(Spectrum(x, line, "order"))
    assert level[401] == pytest.approx(0.3)
    assert level[401 + 12] == pytest.approx(0.0)


def test_a_recording_too_broken_for_an_order_spectrum_says_so():
    said = "gappy.csv has too little unbroken recording for an order spectrum."
    picture = figures.order_spectrum(broken(), FOUR)
    assert picture.sentence == said
    assert "all shake" not in [trace.name for trace in picture.figure.data]
    assert len(picture.rows) == 5 + 1  # the orders, and the line on none of them
    both = figures.overlay(broken(), made.analysis("whole.csv"))
    assert [trace.name for trace in both.figure.data] == ["neutral at idle (whole.csv)"]
    assert both.sentence.endswith(said)


def test_without_a_speed_the_spectrum_is_by_hertz_and_the_speed_says_why():
    analysis = made.analysis(speed=False)
    assert "by frequency" in figures.order_spectrum(analysis, FOUR).sentence
    picture = figures.speed_over_time(analysis)
    assert picture.sentence == "Two speeds fit alike, so none is given."
    assert picture.rows == (("not known",),)


def test_speed_picture_holds_the_records_numbers():
    picture = figures.speed_over_time(made.analysis(), (650.0, 750.0))
    assert "700 rpm" in picture.sentence
    assert ("mean", "700.0 rpm") in picture.rows
    surest = dataclasses.replace(made.analysis().speed, confidence=0.9996)
    rows = figures.speed_over_time(dataclasses.replace(made.analysis(), speed=surest)).rows
    assert ("sure", "over 99 %") in rows  # as everywhere else: nothing is sure to 100 %
    assert np.ptp(picture.figure.layout.yaxis.range) >= LEAST_SPEED_SPAN_RPM


def test_budget_adds_up():
    picture = figures.shake_budget(made.analysis().orders)
    assert sum(t.x[0] for t in picture.figure.data) == pytest.approx(100)
    parts = {"orders_ms": 0.07, "other_ms": 0.9, "rest_ms": 0.03, "total_ms": 1.0}
    table = dataclasses.replace(made.analysis().orders, **parts)
    said = "7 % of the shake is on the engine's orders, 90 % on other steady lines."
    assert figures.shake_budget(table).sentence == said
    assert picture.figure.layout.margin.r >= 12  # half of '100' stands over the end of the axis


def test_axes_are_drawn_over_bars_and_lines():
    pictures = (figures.order_spectrum(made.analysis(), FOUR), figures.trace(made.analysis()))
    assert {p.figure.layout.xaxis.layer for p in pictures} == {"above traces"}
    assert all(p.figure.layout.xaxis.showline for p in pictures)


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


def test_before_and_after():
    picture = figures.before_after(made.diagnosis(repaired=True).repair, FOUR)
    change = "5.1 times weaker (-14.2 dB, -15.6 to -12.8)"
    assert picture.rows == (("firing (order 2)", "0.400", "0.080", change),)


def test_the_numbers_under_bars_are_short_enough_to_stand_side_by_side():
    names = [style.short_name(order, FOUR) for order in (0.5, 0.7724611, 1.0, 2.0, 10.0)]
    assert names == ["0.5", "0.77", "1", "2<br>firing", "10"]


def test_waterfall_agrees_with_welch_on_noise_and_with_a_sine():
    rng = np.random.default_rng(2)
    accel = rng.normal(size=(20_000, 3)) * 0.1
    t_s = np.arange(len(accel)) / 100
    accel[:, 0] += 0.5 * np.sin(2 * np.pi * 23.0 * t_s)
    signal = Signal(100.0, 2.0, accel, np.ones(len(accel), bool), (2.0, 202.0), True, 0.0)
    fall = make_waterfall(signal)
    density = (10 ** (fall.level_db / 10) * 1e-12).mean(axis=1)
    hop, start = round((fall.t_s[1] - fall.t_s[0]) * 100), round((fall.t_s[0] - 2.0) * 100) - 200
    hz, reference = welch(
        accel[start:], 100.0, "hann", nperseg=400, noverlap=400 - hop, axis=0, detrend=False
    )
    np.testing.assert_allclose(fall.frequency_hz, hz)
    np.testing.assert_allclose(density[5:-5], reference.sum(axis=1)[5:-5], rtol=1e-6)
    total = density.sum() * (hz[1] - hz[0])
    assert total == pytest.approx(0.5**2 / 2 + 3 * 0.01, rel=0.03)
    assert 4.0 <= fall.t_s[0] <= 5.0  # the middle of a whole stretch
    assert fall.t_s[-1] <= 202.0


def test_waterfall_of_a_very_short_recording():
    signal = Signal(50.0, 0.0, np.ones((30, 3)), np.ones(30, bool), (0.0, 0.6), False, 0.0)
    fall = make_waterfall(signal)
    assert fall.level_db.shape[1] >= 1
    assert np.isfinite(fall.level_db).all()


def test_waterfall_marks_the_firing_order():
    analysis = made.analysis()
    picture = figures.waterfall(make_waterfall(analysis.signal), analysis, FOUR)
    assert [row[0] for row in picture.rows][1:] == ["crank (order 1)", "firing (order 2)"]
    # ISO 1683: the reference acceleration for levels in decibels
    assert picture.figure.data[0].colorbar.title.text == "dB re 1 µm/s² per √Hz"
    firing = picture.figure.data[-1]
    np.testing.assert_allclose(firing.y, analysis.speed.rpm / 30)


def test_two_recordings_over_each_other():
    first, second = made.analysis("before.csv"), made.analysis("after.csv")
    picture = figures.overlay(first, second)
    assert [trace.name for trace in picture.figure.data] == BOTH
    assert picture.figure.data[0].line.dash != picture.figure.data[1].line.dash  # told apart without colour
    assert picture.rows[0] == (BOTH[0], "2 (0.220 m/s²), 1 (0.010 m/s²), 1.5 (0.006 m/s²)")
    assert picture.figure.layout.xaxis.range[1] < 3  # of the orders 2 is the last that can be seen


def test_a_recording_without_orders_is_laid_over_another_by_frequency():
    off = made.analysis("off.csv", Condition(None, "neutral", "engine off"), speed=False)
    for pair in ((made.analysis(), off), (off, made.analysis())):
        picture = figures.overlay(*pair)
        assert [len(trace.x) for trace in picture.figure.data] == [len(off.spectrum_hz.x)] * 2
        assert picture.figure.layout.xaxis.title.text == "Hz"
        assert "the recording with the engine off" in picture.sentence
        assert picture.rows[0][1] == "31.2 Hz (0.050 m/s²)"


def test_every_mark_of_the_order_picture_is_in_the_legend_once():
    whole = made.analysis()
    lines = (*whole.lines, dataclasses.replace(whole.lines[0], order=1.3))
    analysis = dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, other_lines=lines))
    fig = figures.order_spectrum(analysis, FOUR).figure
    assert [t.name for t in fig.data] == ["all shake", "on an engine order", "on no engine order"]
    assert all(t.showlegend is not False for t in fig.data)
    assert list(fig.data[-1].x) == [lines[0].order, 1.3]


def test_names_over_bars_are_few_enough_for_a_phone():
    """The axis has the numbers: only the strongest order and those with a name of their own have a word."""
    fig = figures.order_spectrum(made.analysis(), FOUR).figure
    assert [a.text for a in fig.layout.annotations] == ["firing"]


def test_levels_of_two_recordings_with_intervals_and_their_change():
    first, second = made.analysis("before.csv"), made.analysis("after.csv")
    change = OrderChange(2.0, 0.22, 0.22, 0.0, -3.0, 3.0)
    picture = figures.levels(first, second, [change], FOUR)
    span = "0.220 (0.176 to 0.275)"
    assert ("firing (order 2)", span, span, "about the same (0.0 dB, -3.0 to +3.0)") in picture.rows
    assert picture.rows[-1][1:4] == ("cannot be seen", "cannot be seen", "not known")
    (bar, _) = picture.figure.data
    assert bar.y[0] + bar.error_y.array[0] == pytest.approx(0.275)
    assert bar.y[0] - bar.error_y.arrayminus[0] == pytest.approx(0.176)


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
    assert picture.rows[0][1:3] == ("0.100 (0.000 to 0.250)", "0.050 (0.000 to 0.250)")
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


def test_the_cycle_shows_its_mean_and_says_which_firing_is_weakest():
    view = CycleView(
        np.arange(0.0, 720.0, 10.0), np.arange(72.0), np.full(72, 0.1), 120, 0.9, (1.1, 0.6, 1.2, 1.1), 12.0
    )
    picture = figures.cycle(view, FOUR)
    assert "60 % of the mean" in picture.sentence
    assert "not known" in picture.sentence  # which cylinder is number one
    assert ("firing 2, against the mean", "60 %") in picture.rows
    assert ("firings missed a minute", "12") in picture.rows
    assert list(picture.figure.data[-1].x[[0, 71, 72]]) == [0.0, 710.0, 720.0]  # it closes on itself
    assert picture.figure.data[-1].y[72] == picture.figure.data[-1].y[0]
    assert {trace.mode for trace in picture.figure.data} == {"lines"}  # no dots that nobody explains
    assert tuple(picture.figure.layout.xaxis.range) == (0, 720)


def test_visits_are_drawn_with_their_intervals_against_sound_cars():
    visits = (Visit("first", 0.4, 0.3, 0.5, (0.03, 0.12)), Visit("last", 0.1, 0.08, 0.13, (0.03, 0.12)))
    picture = figures.over_visits(visits)
    (line,) = picture.figure.data
    assert list(line.y) == [0.4, 0.1]
    assert list(line.error_y.array) == pytest.approx([0.1, 0.03])
    assert list(line.error_y.arrayminus) == pytest.approx([0.1, 0.02])
    assert "0.030 to 0.120 m/s²" in picture.sentence
    assert picture.rows[1] == ("last", "0.100", "0.080 to 0.130")


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


def test_steady_lines_and_knocks_are_parted():
    """A sine and three knocks of known place: each is left in its own part and sunk in the other."""
    fs_hz, hz = 100.0, 24.0
    rng = np.random.default_rng(4)
    t_s = np.arange(6000) / fs_hz
    accel = 0.002 * rng.standard_normal((len(t_s), 3))
    accel[:, 2] += 0.1 * np.sin(2 * np.pi * hz * t_s)
    knocks = (1500, 3000, 4500)
    for at in knocks:
        accel[at, 0] += 3.0
    whole = make_waterfall(Signal(fs_hz, 0.0, accel, np.ones(6000, bool), (0.0, 60.0), True, 0.0))
    steady, broken = parted(whole, "steady lines"), parted(whole, "knocks")
    line = int(np.argmin(np.abs(whole.frequency_hz - hz)))
    calm = int(np.argmin(np.abs(whole.t_s - 22.5)))
    knock = int(np.argmin(np.abs(whole.t_s - 30.0)))
    beside = int(np.argmin(np.abs(whole.frequency_hz - 40.0)))
    assert steady.level_db[line, calm] == pytest.approx(whole.level_db[line, calm], abs=1.0)
    assert broken.level_db[line, calm] < whole.level_db[line, calm] - 10
    assert broken.level_db[beside, knock] == pytest.approx(whole.level_db[beside, knock], abs=1.0)
    assert steady.level_db[beside, knock] < whole.level_db[beside, knock] - 10
    assert parted(whole, "everything") is whole
