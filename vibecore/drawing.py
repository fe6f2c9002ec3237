"""Charts as SVG text for a printed page, drawn by matplotlib without a screen."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from vibecore.engine import Engine
from vibecore.figures.style import BLUE, GREY, VERMILLION, line_level, order_name
from vibecore.model import Analysis, Repair

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIZE_INCH = (7.2, 2.9)  # the text width of an A4 page
MOST_POINTS = 1500  # of a curve: finer than a printer shows at this size


def orders_svg(analysis: Analysis, engine: Engine | None) -> str:
    """The order spectrum with the engine's orders as bars. The analysis must have an order table."""
    table = analysis.orders
    assert table is not None
    figure, axes = _axes()
    step = max(1, len(table.spectrum.x) // MOST_POINTS)
    n = len(table.spectrum.x) // step * step
    level = line_level(table.spectrum)[:n].reshape(-1, step).max(axis=1)
    axes.plot(table.spectrum.x[:n:step], level, color=GREY, linewidth=0.7)
    seen = [lv for lv in table.levels if lv.visible and lv.rms_m_s2 is not None]
    axes.bar([lv.order for lv in seen], [lv.rms_m_s2 or 0.0 for lv in seen], width=0.08, color=BLUE)
    if seen:
        top = max(seen, key=lambda lv: lv.rms_m_s2 or 0.0)
        name = order_name(top.order, engine)
        axes.annotate(name, (top.order, top.rms_m_s2 or 0.0), ha="center", va="bottom", parse_math=False)
    axes.set_xlabel("turns per crank turn (engine order)")
    axes.set_ylabel("shake, m/s²")
    axes.set_xlim(0, max(lv.order for lv in table.levels) + 0.25)
    axes.set_ylim(bottom=0)
    return _svg(figure, "orders")


def before_after_svg(repair: Repair, engine: Engine | None) -> str:
    """Bars of the compared orders before and after."""
    figure, axes = _axes()
    place = np.arange(len(repair.changes))
    axes.bar(place - 0.2, [c.before_m_s2 for c in repair.changes], 0.38, color=VERMILLION, label="before")
    axes.bar(place + 0.2, [c.after_m_s2 for c in repair.changes], 0.38, color=BLUE, label="after", hatch="//")
    axes.set_xticks(place, [order_name(c.order, engine).replace(" (", "\n(") for c in repair.changes])
    axes.set_ylabel("shake, m/s²")
    axes.legend(frameon=False)
    return _svg(figure, "change")


def _axes() -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_INCH, layout="constrained")
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(axis="y", color="#E3E6E9", linewidth=0.6)
    axes.set_axisbelow(True)
    return figure, axes


def _svg(figure: Figure, salt: str) -> str:
    """The figure as an <svg> element; the salt keeps the ids of two charts of one page apart."""
    import matplotlib as mpl

    out = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": salt, "font.family": "sans-serif"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
