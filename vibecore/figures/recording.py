"""Pictures of where a recording's shake lies: by engine order or frequency, and by what makes it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.engine import Engine
from vibecore.figures.style import (
    AXIS_LETTERS,
    BLUE,
    GREY,
    HERTZ_SHAKE,
    NEAR_AN_ORDER,
    ORDER_AXIS,
    SHAKE,
    VERMILLION,
    Picture,
    empty_figure,
    last_shown,
    level_words,
    line_level,
    order_name,
    strongest_line,
    thinned,
    too_broken,
    whiskers,
)
from vibecore.model import Analysis, Line, OrderLevel, OrderTable
from vibecore.units import level_text

BUDGET_PX = 238  # one bar
INTERVALS = "Thin lines on the bars: 95 % interval."
STRONG_SHARE = 0.05  # lines below this share of the strongest one are not named in the picture


def order_spectrum(analysis: Analysis, engine: Engine | None) -> Picture:
    """Shake by engine order with the engine's own orders named; by hertz where the speed is not known."""
    table = analysis.orders
    if table is None:
        return _hertz_spectrum(analysis)
    fig = empty_figure(ORDER_AXIS, SHAKE)
    x, y = thinned(table.spectrum.x, line_level(table.spectrum))
    if len(x):
        fig.add_scatter(x=x, y=y, name=NEAR_AN_ORDER, line={"color": GREY, "width": 1}, hoverinfo="skip")
    seen = table.seen
    others = [line for line in table.other_lines if line.order is not None]
    end = last_shown([*(lv.order for lv in seen), *(ln.order or 0.0 for ln in others)])
    _add_levels(fig, seen, end, engine)
    if others:
        fig.add_scatter(
            x=[ln.order for ln in others], y=[ln.rms_m_s2 for ln in others], name="on no engine order",
            mode="markers", marker={"color": VERMILLION, "size": 10, "symbol": "diamond"},
            customdata=[ln.frequency_hz for ln in others],
            hovertemplate="%{customdata:.1f} Hz<br>%{y:.3f} m/s²<extra></extra>",
        )  # fmt: skip
    fig.update_xaxes(range=[0, end])
    fig.update_yaxes(rangemode="tozero")
    return Picture(
        "Shake by engine order",
        too_broken(analysis) or _order_sentence(seen, engine, table),
        fig,
        ("order", "Hz", SHAKE, "over floor, dB", "steadiness 0 to 1"),
        (*(_level_row(lv, engine) for lv in table.levels), *(_line_row(line) for line in others)),
    )


def shake_budget(table: OrderTable) -> Picture:
    """Where the shake's power goes: engine orders, other lines, the rest. Adds up to the total."""
    parts = (
        ("the engine's orders", table.orders_ms, BLUE),
        ("other steady lines", table.other_ms, VERMILLION),
        ("the rest: road, knocks, noise", table.rest_ms, GREY),
    )
    fig = empty_figure("share of the shake's power, %", "")
    shares = [100 * ms / table.total_ms if table.total_ms > 0 else 0.0 for _, ms, _ in parts]
    for (name, _, colour), share in zip(parts, shares, strict=True):
        fig.add_bar(
            y=[""], x=[share], name=name, orientation="h", marker_color=colour, hovertemplate="%{x:.0f} %"
        )
    fig.update_layout(barmode="stack", height=BUDGET_PX, legend_traceorder="normal")
    fig.update_xaxes(range=[0, 100], tickvals=[0, 25, 50, 75, 100])
    fig.update_yaxes(showline=False, ticks="")
    sentence = (
        f"{shares[0]:.0f} % of the shake's power is on the engine's orders, "
        f"{shares[1]:.0f} % on other steady lines."
    )
    rows = tuple((p[0], f"{p[1]:.5f}", f"{s:.0f} %") for p, s in zip(parts, shares, strict=True))
    return Picture("Where the shake comes from", sentence, fig, ("part", "(m/s²)²", "share"), rows)


# ---------------------------------------------------------------- inside


def _hertz_spectrum(analysis: Analysis) -> Picture:
    spectrum = analysis.spectrum_hz
    fig = empty_figure("Hz", HERTZ_SHAKE)
    x, y = thinned(spectrum.x, np.sqrt(spectrum.psd))
    fig.add_scatter(
        x=x, y=y, name="all shake", line={"color": BLUE, "width": 1.5}, hovertemplate="%{x:.1f} Hz"
    )
    fig.update_yaxes(rangemode="tozero")
    sentence = (
        "The engine's speed is not known here, so the shake is shown by frequency, not by engine order."
    )
    rows = tuple((f"{ln.frequency_hz:.1f}", level_text(ln.rms_m_s2)) for ln in analysis.lines)
    return Picture("Shake by frequency", sentence, fig, ("Hz", SHAKE), rows)


def _add_levels(fig: go.Figure, seen: Sequence[OrderLevel], shown_to: float, engine: Engine | None) -> None:
    """Bars with whiskers at the orders that can be seen, some of them named."""
    fig.add_bar(
        x=[lv.order for lv in seen], y=[lv.rms_m_s2 for lv in seen], width=0.08, name="on an engine order",
        marker_color=BLUE, error_y=whiskers(seen), customdata=[order_name(lv.order, engine) for lv in seen],
        hovertemplate="%{customdata}<br>%{y:.3f} m/s²<extra></extra>",
    )  # fmt: skip
    for lv in _named(seen, shown_to, engine):
        fig.add_annotation(
            x=lv.order,
            y=lv.high_m_s2 or lv.rms_m_s2,
            text=_short(lv, engine),
            showarrow=False,
            xanchor="right" if lv is seen[-1] else "center",  # else cut off on a phone
            yshift=10,
            textangle=0,
            font={"size": 12},
        )


def _named(seen: Sequence[OrderLevel], shown_to: float, engine: Engine | None) -> list[OrderLevel]:
    """The strongest, and of the strong ones those that have more than a number, which stands on the axis: as
    far as their names do not meet on a phone."""
    by_strength = sorted(seen, key=lambda lv: -(lv.rms_m_s2 or 0.0))
    named = by_strength[:1]
    for lv in by_strength[1:]:
        strong = (lv.rms_m_s2 or 0.0) >= STRONG_SHARE * (named[0].rms_m_s2 or 0.0)
        room = AXIS_LETTERS / shown_to  # letters an order
        half = [(len(_short(lv, engine)) + len(_short(other, engine))) / 2 for other in named]
        apart = all(abs(lv.order - o.order) * room > h for o, h in zip(named, half, strict=True))
        if strong and apart and not order_name(lv.order, engine).startswith("order"):
            named.append(lv)
    return named


def _short(level: OrderLevel, engine: Engine | None) -> str:
    return order_name(level.order, engine).split(" (")[0]


def _order_sentence(seen: Sequence[OrderLevel], engine: Engine | None, table: OrderTable) -> str:
    if not seen:
        return "None of the engine's orders can be seen in this recording; the table says why."
    top: OrderLevel | Line = max(seen, key=lambda lv: lv.rms_m_s2 or 0.0)
    hidden = sum(not lv.visible for lv in table.levels)
    unseen = f" {hidden} of {len(table.levels)} orders cannot be seen: see the table." if hidden else ""
    where, behind = order_name(top.order or 0.0, engine), ""
    line = strongest_line(table, more_than_m_s2=top.rms_m_s2 or 0.0)
    if line is not None:
        where, top, behind = "no engine order", line, f", {line.order:.2f} times engine speed"
    said = (
        f"shake is on {where}: {level_text(top.rms_m_s2 or 0.0)} m/s² at {top.frequency_hz:.1f} Hz{behind}."
    )
    more = _more_unseen(table, engine, than_m_s2=top.rms_m_s2 or 0.0)
    most = f"Of what can be told apart, most {said}{more}" if more else f"Most {said}"
    return f"{most}{unseen} {INTERVALS}"


def _more_unseen(table: OrderTable, engine: Engine | None, than_m_s2: float) -> str:
    """Shake stronger than that about an order that cannot be seen: the picture shows it, and nobody can say
    whose it is."""
    orders = np.array([lv.order for lv in table.levels])
    x, level = table.spectrum.x, line_level(table.spectrum)
    if not (len(x) and len(orders)):
        return ""
    nearest = np.abs(x[:, None] - orders).argmin(axis=1)
    unseen = np.array([not lv.visible for lv in table.levels])[nearest]
    for line in table.other_lines:  # told by themselves
        unseen &= np.abs(x - (line.order or 0.0)) > 2 * LINE_HALF_WIDTH_ORDERS
    at = int(np.argmax(np.where(unseen, level, 0.0)))
    if not unseen[at] or level[at] <= than_m_s2:
        return ""
    name = order_name(float(orders[nearest[at]]), engine)
    return f" More, {level_text(level[at])} m/s², lies about {name}, and whose it is cannot be seen."


def _level_row(lv: OrderLevel, engine: Engine | None) -> tuple[str, ...]:
    name, hz = order_name(lv.order, engine), f"{lv.frequency_hz:.1f}"
    if not lv.visible or lv.rms_m_s2 is None:
        return name, hz, f"cannot be seen: {lv.why_not or 'reason not known'}", "", ""
    floor = f"{lv.above_floor_db:z.0f}" if lv.above_floor_db is not None else ""
    return name, hz, level_words(lv), floor, f"{lv.coherence:.2f}" if lv.coherence is not None else ""


def _line_row(line: Line) -> tuple[str, ...]:
    name = f"{line.order:.2f} times engine speed (on no engine order)"
    return name, f"{line.frequency_hz:.1f}", level_text(line.rms_m_s2), f"{line.above_floor_db:z.0f}", ""
