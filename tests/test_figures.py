"""Pictures say what the records say.

Outside checks: WCAG 2.1 contrast formula (W3C, success criteria 1.4.3 text 4.5:1, 1.4.11 graphics 3:1).
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.app import made
from vibecore import figures
from vibecore.cycles import CycleView
from vibecore.drawing import orders_svg
from vibecore.engine import Engine
from vibecore.figures import style
from vibecore.model import Spectrum

FOUR = Engine(4)


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
    assert picture.rows[-1][1:] == ("31.2", "0.0500", "15", "")
    assert "firing (order 2)" in picture.sentence
    assert "0.220" in picture.sentence
    assert picture.sentence.endswith("95 % interval.")
    bars = next(t for t in picture.figure.data if t.type == "bar")
    assert list(bars.x) == [0.5, 1.0, 1.5, 2.0]
    assert bars.y[3] == analysis.orders.level(2.0).rms_m_s2


def test_nothing_over_its_floor_has_no_sign():
    whole = made.analysis()
    flat = dataclasses.replace(whole.orders.levels[0], above_floor_db=-0.3)
    line = dataclasses.replace(whole.orders.other_lines[0], above_floor_db=-0.2)
    table = dataclasses.replace(whole.orders, levels=(flat,), other_lines=(line,))
    rows = figures.order_spectrum(dataclasses.replace(whole, orders=table), FOUR).rows
    assert [row[3] for row in rows] == ["0", "0"]


def test_the_strongest_line_is_named_also_where_it_is_on_no_order():
    whole = made.analysis()
    belt = dataclasses.replace(whole.orders.other_lines[0], rms_m_s2=0.3)
    analysis = dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, other_lines=(belt,)))
    said = figures.order_spectrum(analysis, FOUR).sentence
    assert said.startswith(
        "Most shake is on no engine order: 0.300 m/s² at 31.2 Hz, 2.67 times engine speed."
    )
    assert "on no engine order" in orders_svg(analysis, FOUR)


def test_a_stronger_line_about_an_order_that_cannot_be_seen_is_told():
    """By construction: firing at 0.5 m/s2 folds down beside its own order, where nothing is told apart; what
    the picture shows highest is not passed over in its sentence."""
    whole = made.analysis()
    levels = tuple(
        made.level(2.0, None, "above half") if lv.order == 2.0 else lv for lv in whole.orders.levels
    )
    x = whole.orders.spectrum.x
    folded = 1e-4 + 2.5 * (np.abs(x - 1.95) < 0.05)  # 2.5 over a band of 0.1: 0.5 m/s2 rms
    table = dataclasses.replace(whole.orders, levels=levels, spectrum=Spectrum(x, folded, "order"))
    said = figures.order_spectrum(dataclasses.replace(whole, orders=table), FOUR).sentence
    assert said.startswith("Of what can be told apart, most shake is on no engine order: 0.0500 m/s²")
    assert "More, 0.5" in said
    assert "lies about firing (order 2), and whose it is cannot be seen." in said
    belt = dataclasses.replace(whole.orders.other_lines[0], order=1.95, rms_m_s2=0.49)
    for spectrum, lines in (
        (Spectrum(x, np.full(len(x), 1e-4), "order"), table.other_lines),  # nothing is there
        (table.spectrum, (belt,)),  # what is there is a line that is told apart
    ):
        other = dataclasses.replace(table, spectrum=spectrum, other_lines=lines)
        said = figures.order_spectrum(dataclasses.replace(whole, orders=other), FOUR).sentence
        assert said.startswith("Most shake is on no engine order")


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
    picture = figures.order_spectrum(made.broken(), FOUR)
    assert picture.sentence == said
    assert style.NEAR_AN_ORDER not in [trace.name for trace in picture.figure.data]
    assert len(picture.rows) == 5 + 1  # the orders, and the line on none of them
    both = figures.overlay(made.broken(), made.analysis("whole.csv"))
    assert [trace.name for trace in both.figure.data] == ["neutral at idle (whole.csv)"]
    assert both.sentence.endswith(said)


def test_without_a_speed_the_spectrum_is_by_hertz_and_the_speed_says_why():
    analysis = made.analysis(speed=False)
    assert "by frequency" in figures.order_spectrum(analysis, FOUR).sentence
    picture = figures.speed_over_time(analysis)
    assert picture.sentence == "Two speeds fit alike, so none is given."
    assert picture.rows == (("not known",),)


def test_axes_say_which_measure_they_show():
    """Levels are root mean squares; what is drawn over time or angle is the acceleration itself."""
    view = CycleView(np.arange(0.0, 720.0, 10.0), np.zeros(72), np.ones(72), 50, 0.9, (), (), None)
    axes = {
        p.title: p.figure.layout.yaxis.title.text
        for p in (
            figures.order_spectrum(made.analysis(), FOUR),
            figures.order_spectrum(made.analysis(speed=False), FOUR),
            figures.trace(made.analysis()),
            figures.cycle(view, FOUR),
        )
    }
    assert axes == {
        "Shake by engine order": "shake, m/s² rms",
        "Shake by frequency": "shake, m/s² rms per √Hz",
        "Shake over time": "acceleration, m/s²",
        "One working cycle": "acceleration, m/s²",
    }


def test_budget_adds_up():
    picture = figures.shake_budget(made.analysis().orders)
    assert sum(t.x[0] for t in picture.figure.data) == pytest.approx(100)
    parts = {"orders_ms": 0.07, "other_ms": 0.9, "rest_ms": 0.03, "total_ms": 1.0}
    table = dataclasses.replace(made.analysis().orders, **parts)
    said = "7 % of the shake's power is on the engine's orders, 90 % on other steady lines."
    assert figures.shake_budget(table).sentence == said
    assert picture.figure.layout.margin.r >= 12  # half of '100' stands over the end of the axis


def test_axes_are_drawn_over_bars_and_lines():
    pictures = (figures.order_spectrum(made.analysis(), FOUR), figures.trace(made.analysis()))
    assert {p.figure.layout.xaxis.layer for p in pictures} == {"above traces"}
    assert all(p.figure.layout.xaxis.showline for p in pictures)


def test_the_numbers_under_bars_are_short_enough_to_stand_side_by_side():
    names = [style.short_name(order, FOUR) for order in (0.5, 0.7724611, 1.0, 2.0, 10.0)]
    assert names == ["0.5", "0.77", "1", "2<br>firing", "10"]


def test_every_mark_of_the_order_picture_is_in_the_legend_once():
    whole = made.analysis()
    lines = (*whole.lines, dataclasses.replace(whole.lines[0], order=1.3))
    analysis = dataclasses.replace(whole, orders=dataclasses.replace(whole.orders, other_lines=lines))
    fig = figures.order_spectrum(analysis, FOUR).figure
    assert [t.name for t in fig.data] == [
        "all shake within ±0.05 order",
        "on an engine order",
        "on no engine order",
    ]
    assert all(t.showlegend is not False for t in fig.data)
    assert list(fig.data[-1].x) == [lines[0].order, 1.3]


def test_names_over_bars_are_few_enough_for_a_phone():
    """The axis has the numbers: only the strongest order and those with a name of their own have a word."""
    fig = figures.order_spectrum(made.analysis(), FOUR).figure
    assert [a.text for a in fig.layout.annotations] == ["firing"]


def test_names_over_bars_do_not_meet_on_a_phone():
    """A dead cylinder: there is no room for 'crank' beside 'order 0.5', but there is for 'firing'."""
    whole = made.analysis()
    levels = (made.level(0.5, 0.5), made.level(1.0, 0.2), made.level(2.0, 0.3), made.level(4.0, 0.1))
    table = dataclasses.replace(whole.orders, levels=levels)
    fig = figures.order_spectrum(dataclasses.replace(whole, orders=table), FOUR).figure
    assert [a.text for a in fig.layout.annotations] == ["order 0.5", "firing", "twice firing"]
    table = dataclasses.replace(whole.orders, levels=levels[1:])
    fig = figures.order_spectrum(dataclasses.replace(whole, orders=table), FOUR).figure
    assert [a.text for a in fig.layout.annotations] == ["firing", "crank", "twice firing"]


def test_the_cycle_shows_its_mean_and_says_how_alike_the_firings_are():
    view = CycleView(
        np.arange(0.0, 720.0, 10.0),
        np.arange(72.0),
        np.full(72, 0.1),
        120,
        0.9,
        (1.1, 0.6, 1.2, 1.1),
        (0.01,) * 4,
        12.0,
    )
    picture = figures.cycle(view, FOUR)
    assert "unequally (60 to 120 % of the mean)" in picture.sentence
    assert "no sign of a weak cylinder by itself" in picture.sentence
    assert "Which of them is cylinder one is not known" in picture.sentence
    assert "along the direction that shakes most" in picture.sentence
    assert "Where in the cycle 0 lies is not known" in picture.sentence
    assert picture.figure.layout.xaxis.title.text == "crank degrees from an unknown start"
    assert ("firing 2, against the mean", "60 % ± 2 %") in picture.rows
    assert ("firings missed a minute", "12") in picture.rows
    assert list(picture.figure.data[-1].x[[0, 71, 72]]) == [0.0, 710.0, 720.0]  # it closes on itself
    assert picture.figure.data[-1].y[72] == picture.figure.data[-1].y[0]
    assert {trace.mode for trace in picture.figure.data} == {"lines"}  # no dots that nobody explains
    assert tuple(picture.figure.layout.xaxis.range) == (0, 720)


def test_firings_that_differ_by_less_than_they_scatter_are_alike():
    view = CycleView(
        np.arange(0.0, 720.0, 10.0),
        np.zeros(72),
        np.ones(72),
        20,
        0.9,
        (1.05, 0.9, 1.0, 1.05),
        (0.05,) * 4,
        None,
    )
    assert "alike, as far as they scatter (90 to 105 % of the mean)" in figures.cycle(view, FOUR).sentence
