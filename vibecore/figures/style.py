"""What all pictures share: colours, the empty figure, names of orders, curves thinned for the screen.

Colours are the palette of M. Okabe and K. Ito, Color Universal Design (2002), chosen to stay apart for
colour-blind eyes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import plotly.graph_objects as go
from scipy.ndimage import uniform_filter1d

from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.engine import Engine
from vibecore.model import Analysis, Floats, Line, OrderLevel, OrderTable, Spectrum
from vibecore.units import level_text, order_text

BLUE, VERMILLION, GREEN, SKY = "#0072B2", "#D55E00", "#009E73", "#56B4E9"
GREY = "#6B6B6B"  # 5:1 against white: WCAG 2.1 asks 4.5:1 of small text
PALE = "#C9CED4"  # what was left out
INK = "#1F2328"
FONT = "Source Sans, sans-serif"

HEIGHT_PX = 380
TOP_PX, SIDE_PX = 12, 20  # the zoom buttons lie above the picture; beside it a number of the axis needs room
AXIS_LETTERS = 42  # beside each other along a picture on a phone of 390 pixels
MOST_POINTS = 6000  # a curve on screen: more cannot be seen on 1366 pixels and only slows a phone
LEAST_SPEED_SPAN_RPM = 60.0  # shown of a steady idle
LEAST_TOP_ORDER, BESIDE_ORDER = 2.0, 0.4  # shown of the order axis at least; room behind the last one
ORDER_AXIS = "engine order (times per crank turn)"
SHAKE, HERTZ_SHAKE, ACCELERATION = "shake, m/s² rms", "shake, m/s² rms per √Hz", "acceleration, m/s²"
NEAR_AN_ORDER = f"all shake within ±{LINE_HALF_WIDTH_ORDERS:g} order"  # what `line_level` gives


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure, the plain sentence over it, and its table."""

    title: str
    sentence: str
    figure: go.Figure
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def short_name(order: float, engine: Engine | None) -> str:
    """The order's number, with 'firing' under it where it is the firing order: for ticks."""
    number = f"{order:.2f}".rstrip("0").rstrip(".")  # a belt's has many digits, and ticks have little room
    return f"{number}<br>firing" if engine and order == engine.firing_order else number


def order_name(order: float, engine: Engine | None) -> str:
    """What a mechanic calls this engine order: 'firing', 'twice firing', 'crank', else its number."""
    if engine and order == engine.firing_order:
        return f"firing (order {order_text(order)})"
    if engine and order == 2 * engine.firing_order:
        return f"twice firing (order {order_text(order)})"
    if order == 1:
        return "crank (order 1)"
    return f"order {order_text(order)}"


def line_alone(level: OrderLevel) -> OrderLevel:
    """The level of the line itself, without what unsteady cycles leave beside it: what changes are of."""
    return replace(level, rms_m_s2=level.line_m_s2)


def strongest_line(table: OrderTable, more_than_m_s2: float) -> Line | None:
    """Of those on no engine order that are stronger than this."""
    stronger = (line for line in table.other_lines if line.rms_m_s2 > more_than_m_s2)
    lines = [line for line in stronger if line.order is not None]
    return max(lines, key=lambda line: line.rms_m_s2, default=None)


def level_words(level: OrderLevel) -> str:
    """A level that can be seen, in m/s2, with its 95 % interval where known: '0.123 (0.120 to 0.126)'."""
    ends = [level_text(end) for end in (level.low_m_s2, level.high_m_s2) if end is not None]
    span = f" ({' to '.join(ends)})" if ends else ""
    return f"{level_text(level.rms_m_s2 or 0.0)}{span}"


def line_level(spectrum: Spectrum) -> Floats:
    """For each order, the rms within +-0.05 order of it: the curve then passes the top of a line's bar. Empty
    where the spectrum is."""
    if not len(spectrum.x):
        return np.empty(0)
    step, width = float(np.median(np.diff(spectrum.x))), 2 * LINE_HALF_WIDTH_ORDERS
    count = max(1, round(width / step))
    return np.sqrt(uniform_filter1d(spectrum.psd, count, mode="nearest") * width)


def last_shown(orders: Sequence[float]) -> float:
    """Where the axis ends that shows these orders: above the phone's reach it would be empty."""
    return max([*orders, LEAST_TOP_ORDER]) + BESIDE_ORDER


def too_broken(*analyses: Analysis) -> str:
    """Names those whose order spectrum is empty, for no stretch of them is long enough; '' if none is."""
    empty = [a.name for a in analyses if a.orders is not None and not len(a.orders.spectrum.x)]
    return " ".join(f"{name} has too little unbroken recording for an order spectrum." for name in empty)


def empty_figure(x_title: str, y_title: str) -> go.Figure:
    """Axes with titles, no curve yet."""
    fig = go.Figure()
    fig.update_layout(
        template="plotly_white", height=HEIGHT_PX, margin={"l": 8, "r": SIDE_PX, "t": TOP_PX, "b": 8},
        hovermode="closest", font={"size": 14, "color": INK, "family": FONT},
        dragmode=False, paper_bgcolor="rgba(0,0,0,0)", plot_bgcolor="rgba(0,0,0,0)",
        modebar={"bgcolor": "rgba(0,0,0,0)", "color": GREY, "activecolor": BLUE},
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
    )  # fmt: skip
    axis = {"automargin": True, "zeroline": False, "showline": True, "linecolor": INK, "ticks": "outside",
            "tickcolor": INK, "layer": "above traces"}  # fmt: skip
    fig.update_xaxes(title=x_title, **axis)
    fig.update_yaxes(title=y_title, **axis)
    return fig


def frame(fig: go.Figure, values: Floats, least_span: float) -> None:
    """Show all values, and at least so much: what stands still must not be blown up into a mountain range."""
    middle = (float(values.max()) + float(values.min())) / 2
    half = max(float(np.ptp(values)) * 0.6, least_span / 2)
    fig.update_yaxes(range=[middle - half, middle + half])


def whiskers(levels: Sequence[OrderLevel]) -> dict[str, Any]:
    """The 95 % intervals of levels that can be seen, for their bars; none where it is not known."""
    return reach([(lv.rms_m_s2 or 0.0, lv.low_m_s2, lv.high_m_s2) for lv in levels])


def reach(sizes: Sequence[tuple[float, float | None, float | None]]) -> dict[str, Any]:
    """From the low to the high end of each value (value, low, high), as error bars."""
    return {
        "type": "data", "symmetric": False, "color": INK, "thickness": 1,
        "array": [0.0 if high is None else high - rms for rms, _, high in sizes],
        "arrayminus": [0.0 if low is None else rms - low for rms, low, _ in sizes],
    }  # fmt: skip


def thinned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """The curve, or where it is long the lowest and highest point of each stretch: peaks stay. y is NaN where
    the curve is broken; a break shorter than a stretch goes."""
    if len(x) <= MOST_POINTS:
        return x, y
    step = int(np.ceil(2 * len(x) / MOST_POINTS))
    n = len(x) // step * step
    blocks = y[:n].reshape(-1, step)
    gone = np.isnan(blocks)
    lowest, highest = (np.where(gone, end, blocks) for end in (np.inf, -np.inf))
    both = np.sort(np.stack([lowest.argmin(axis=1), highest.argmax(axis=1)], axis=1), axis=1)
    picked = (both + np.arange(len(blocks))[:, None] * step).ravel()
    return x[picked], y[picked]
