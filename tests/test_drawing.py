"""Charts on paper say what the records say: read back from the SVG by the standard library's XML reader."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from tests.app import made
from vibecore.drawing import (
    MOST_TICKS,
    NARROW,
    _tick_step,
    before_after_svg,
    levels_svg,
    orders_svg,
    overlay_svg,
)
from vibecore.engine import Engine
from vibecore.figures.style import ORDER_AXIS, line_level

FOUR = Engine(4)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(text: str) -> ET.Element:
    return ET.fromstring(text)


def words(root: ET.Element) -> list[str]:
    return [e.text or "" for e in root.iter(f"{SVG}text")]


def scale(root: ET.Element):
    """Turns a height on the page into m/s2, from the numbers beside the scale."""
    ticks = [
        (float(e.get("y", 0)) - 4, float(e.text or 0))
        for e in root.iter(f"{SVG}text")
        if e.get("text-anchor") == "end"
    ]
    (y0, v0), (y1, v1) = ticks[0], ticks[-1]
    return lambda y: v0 + (y - y0) * (v1 - v0) / (y1 - y0)


def bars(root: ET.Element) -> list[float]:
    """Heights of the bars in m/s2; swatches of the legend lie above the frame."""
    value = scale(root)
    tops = [float(e.get("y", 0)) for e in root.iter(f"{SVG}rect")]
    return [value(y) for y in tops if y > 30]


def test_bars_are_as_high_as_the_records_say():
    repair = made.diagnosis(repaired=True).repair
    assert bars(drawn(before_after_svg(repair, FOUR))) == pytest.approx([0.4, 0.08], abs=0.003)
    assert bars(drawn(orders_svg(made.analysis(), FOUR))) == pytest.approx(
        [0.004, 0.01, 0.006, 0.22], abs=2e-3
    )


def test_whiskers_reach_from_low_to_high():
    root = drawn(levels_svg(made.analysis("a"), made.analysis("b"), [2.0], FOUR))
    value = scale(root)
    (first, _) = [e.get("d", "") for e in root.iter(f"{SVG}path") if "h6" in e.get("d", "")]
    low, high = first.split("M")[1].split(" ")[1].split("V")
    assert value(float(low)) == pytest.approx(0.176, abs=0.002)
    assert value(float(high)) == pytest.approx(0.275, abs=0.002)


def test_curves_keep_their_peak_however_few_points_are_drawn(monkeypatch):
    monkeypatch.setattr("vibecore.drawing.MOST_POINTS", 15)
    root = drawn(overlay_svg(made.analysis("a.csv"), made.analysis("b.csv")))
    value = scale(root)
    points = next(root.iter(f"{SVG}polyline")).get("points", "").split()
    top = line_level(made.analysis().orders.spectrum).max()
    assert max(value(float(p.split(",")[1])) for p in points) == pytest.approx(top, rel=0.01)
    assert {f"neutral at idle ({n}.csv)" for n in "ab"} <= {*words(root)}
    assert {ORDER_AXIS, "shake, m/s² rms"} <= {*words(root)}
    dashes = [e.get("stroke-dasharray") for e in root.iter(f"{SVG}polyline")]
    assert dashes[0] != dashes[1]  # told apart without colour


@pytest.mark.parametrize("highest", [1e-5, 0.0031, 0.1, 0.999, 1.0, 7.3, 250.0])
def test_a_scale_has_a_handful_of_round_steps(highest):
    step = _tick_step(highest)
    assert highest / step <= MOST_TICKS * (1 + 1e-9)
    assert highest / step >= 2
    assert round(step / 10 ** np.floor(np.log10(step) + 1e-9)) in (1, 2, 5)


def test_nothing_at_all_is_still_a_chart():
    analysis = made.analysis()
    empty = replace(analysis.orders, levels=(made.level(2.0, 0.0),), spectrum=replace(
        analysis.orders.spectrum, psd=np.zeros_like(analysis.orders.spectrum.psd)))  # fmt: skip
    drawn(orders_svg(replace(analysis, orders=empty), FOUR))
    drawn(levels_svg(replace(analysis, orders=empty), replace(analysis, orders=empty), [], FOUR))


def test_a_recording_too_broken_for_an_order_spectrum_has_no_line():
    broken = made.broken()
    pictures = orders_svg(broken, FOUR), overlay_svg(broken, broken), overlay_svg(broken, made.analysis())
    lines = [len(list(drawn(text).iter(f"{SVG}polyline"))) for text in pictures]
    assert lines == [0, 0, 1]


def test_without_orders_two_are_laid_over_each_other_by_frequency():
    root = drawn(overlay_svg(made.analysis(speed=False), made.analysis()))
    assert len(list(root.iter(f"{SVG}polyline"))) == 2
    assert {"Hz", "shake, m/s² rms per √Hz"} <= {*words(root)}  # what is drawn: the root of a density
    assert "shake, m/s² rms" not in words(root)


def test_after_a_repair_the_whiskers_are_the_changes_interval():
    """0.08 m/s2 with 1.4 dB on either side: 0.0681 and 0.0940 (ISO 80000-3)."""
    repair = made.diagnosis(repaired=True).repair
    root = drawn(before_after_svg(repair, FOUR))
    value = scale(root)
    (after,) = [e.get("d", "") for e in root.iter(f"{SVG}path") if "h6" in e.get("d", "")]
    low, high = after.split("M")[1].split(" ")[1].split("V")
    assert value(float(low)) == pytest.approx(0.0681, abs=0.001)
    assert value(float(high)) == pytest.approx(0.0940, abs=0.001)


def test_a_whisker_to_the_sky_leaves_the_frame_and_has_no_end_there():
    """The bars keep their room: at least half the frame. Common practice, no source."""
    repair = made.diagnosis(repaired=True).repair
    wild = replace(repair.changes[0], high_db=40.0)
    root = drawn(before_after_svg(replace(repair, changes=(wild,)), FOUR))
    (after,) = [e.get("d", "") for e in root.iter(f"{SVG}path") if "V" in e.get("d", "")]
    assert after.count("h6") == 1
    assert scale(root)(float(after.split("V")[1].split("M")[0])) <= 2.5 * 0.4 + 1e-9


def test_the_narrow_chart_has_all_within_a_phones_width():
    """A phone held upright is some 360 to 430 points wide: common practice, no source."""
    repair = made.diagnosis(repaired=True).repair
    changes = tuple(replace(repair.changes[0], order=o) for o in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0))
    root = drawn(before_after_svg(replace(repair, changes=changes), FOUR, NARROW))
    assert root.get("viewBox", "").split()[2] == "360"
    assert {"before", "after", "firing"} <= set(words(root))
    upright = [e for e in root.iter() if "rotate" not in (e.get("transform") or "")]
    assert all(0 <= float(e.get("x", 0)) + 8 * len(e.text or "") / 2 <= 360 for e in upright)
