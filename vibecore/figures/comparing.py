"""Pictures of two recordings beside each other."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import plotly.graph_objects as go

from vibecore.engine import Engine
from vibecore.figures.style import (
    AXIS_LETTERS,
    BLUE,
    HERTZ_SHAKE,
    ORDER_AXIS,
    SHAKE,
    SKY,
    VERMILLION,
    Picture,
    empty_figure,
    last_shown,
    level_words,
    line_alone,
    line_level,
    order_name,
    reach,
    short_name,
    thinned,
    too_broken,
    whiskers,
)
from vibecore.model import Analysis, Floats, OrderChange, OrderLevel, OrderTable, Repair
from vibecore.spoken import spoken_names
from vibecore.units import level_text, order_text, signed, spread_text, times

if TYPE_CHECKING:  # signal libraries, which a page without a signal can spare
    from vibecore.repair import Visit

LEAST_SHOWN_M_S2 = 0.001
WHISKER_ROOM, ROOM_ABOVE = 2.0, 1.05  # over the tallest bar: an interval of decibels may reach to the sky
LEAST_LETTERS = 8  # of a line: shorter ones are hard to read
CHANGE = "change, and its 95 % interval"  # a column: five of them do not fit on a phone


def before_after(repair: Repair, engine: Engine | None) -> Picture:
    """The orders that were compared, before and after the repair, with the change in decibels."""
    fig = empty_figure("engine order", SHAKE)
    ticks = [short_name(c.order, engine) for c in repair.changes]
    names = [order_name(c.order, engine) for c in repair.changes]
    before, after = ([c.before_m_s2 for c in repair.changes], [c.after_m_s2 for c in repair.changes])
    spans = [after_span(c) for c in repair.changes]
    for name, values, colour, interval in (
        ("before", before, VERMILLION, None),
        ("after", after, BLUE, reach(spans)),
    ):
        fig.add_bar(
            x=ticks, y=values, name=name, marker_color=colour, error_y=interval,
            hovertemplate="%{y:.3f} m/s²",
        )  # fmt: skip
    top = min(max((high for *_, high in spans), default=0.0), WHISKER_ROOM * max([*before, *after, 0.0]))
    fig.update_yaxes(range=[0, ROOM_ABOVE * max([*before, *after, top, LEAST_SHOWN_M_S2])])
    fig.update_layout(barmode="group")
    fig.update_xaxes(type="category", tickangle=0)
    rows = tuple(
        (n, small(c.before_m_s2), small(c.after_m_s2), _change(c))
        for n, c in zip(names, repair.changes, strict=True)
    )
    columns = ("order", "before, m/s²", "after, m/s²", CHANGE)
    sentence = (
        "Each engine order that was compared, before and now: its own line alone, without what unsteady "
        "cycles leave beside it. Thin lines on the bars: 95 % interval of the change."
    )
    return Picture("Before and after", sentence, fig, columns, rows)


def after_span(change: OrderChange) -> tuple[float, float, float]:
    """The level after, and where the 95 % interval of the change puts it."""
    low, high = (10 ** ((db - change.change_db) / 20) for db in (change.low_db, change.high_db))
    return change.after_m_s2, low * change.after_m_s2, high * change.after_m_s2


def over_visits(visits: Sequence[Visit]) -> Picture:
    """The fault's own lines together from visit to visit, against what sound cars show."""
    fig = empty_figure("recording", SHAKE)
    low, high = visits[-1].sound_band_m_s2
    fig.add_hrect(low, high, fillcolor=SKY, opacity=0.15, line_width=0)
    fig.add_scatter(
        x=[v.name for v in visits], y=[v.rms_m_s2 for v in visits], name="shake that the verdict goes by",
        error_y=reach([(v.rms_m_s2, v.low_m_s2, v.high_m_s2) for v in visits]),
        line={"color": BLUE, "width": 2}, hovertemplate="%{y:.3f} m/s²",
    )  # fmt: skip
    names = [v.name for v in visits]
    fig.update_xaxes(type="category", tickangle=0, tickvals=names, ticktext=_in_lines(names))
    spans = [f"{level_text(v.low_m_s2)} to {level_text(v.high_m_s2)}" for v in visits]
    rows = tuple((v.name, level_text(v.rms_m_s2), span) for v, span in zip(visits, spans, strict=True))
    sentence = (
        "The shake that the verdict goes by, recording by recording, with 95 % intervals for the taping too. "
        f"Sound cars show {spread_text(low, high)} m/s² (shaded)."
    )
    return Picture("From visit to visit", sentence, fig, ("recording", "m/s²", "95 % interval, m/s²"), rows)


def _in_lines(names: Sequence[str]) -> list[str]:
    """The names, each in lines so short that they fit beside each other on a phone."""
    letters = max(AXIS_LETTERS // len(names), LEAST_LETTERS)
    return ["<br>".join(textwrap.wrap(name, letters)) for name in names]


def overlay(first: Analysis, second: Analysis) -> Picture:
    """The order spectra of two recordings over each other; by hertz where one has no engine order."""
    names = spoken_names((first, second))
    by_order = first.orders is not None and second.orders is not None
    fig = empty_figure(*((ORDER_AXIS, SHAKE) if by_order else ("Hz", HERTZ_SHAKE)))
    styles = ((VERMILLION, "solid"), (BLUE, "dot"))
    for analysis, name, (colour, dash) in zip((first, second), names, styles, strict=True):
        x, y = thinned(*curve_of(analysis, by_order))
        if len(x):
            fig.add_scatter(
                x=x, y=y, name=name, mode="lines", line={"color": colour, "width": 1.5, "dash": dash},
                hovertemplate="%{x:.2f}<br>%{y:.3f}",
            )  # fmt: skip
    if by_order:
        fig.update_xaxes(range=[0, shown_to(first, second)])
    fig.update_yaxes(rangemode="tozero")
    drawn = f"Shake by {'engine order' if by_order else 'frequency'}: {names[0]} solid, {names[1]} dotted."
    sentence = " ".join(filter(None, (drawn, too_broken(first, second) if by_order else "")))
    strongest = _strongest if by_order else _strongest_hz
    rows = tuple((name, strongest(a)) for a, name in zip((first, second), names, strict=True))
    columns = ("strongest lines of", "orders" if by_order else "frequencies")
    return Picture("Two recordings over each other", sentence, fig, columns, rows)


def shown_to(*analyses: Analysis) -> float:
    """Where an axis of both ends: at the last order that either can show."""
    return last_shown([lv.order for a in analyses for lv in _table(a).levels if lv.visible])


def curve_of(analysis: Analysis, by_order: bool) -> tuple[Floats, Floats]:
    """The curve that is laid over another."""
    if by_order:
        spectrum = _table(analysis).spectrum
        return spectrum.x, line_level(spectrum)
    return analysis.spectrum_hz.x, np.sqrt(analysis.spectrum_hz.psd)


def levels(
    first: Analysis, second: Analysis, changes: Sequence[OrderChange], engine: Engine | None
) -> Picture:
    """Each engine order in two recordings, its line alone, with its interval, and the change. Both must have
    a table."""
    tables, names = (_table(first), _table(second)), spoken_names((first, second))
    orders = [c.order for c in changes]
    fig = empty_figure("engine order", SHAKE)
    for table, name, colour in zip(tables, names, (VERMILLION, BLUE), strict=True):
        _add_bars(fig, [table.level(order) for order in orders], name, colour, engine)
    fig.update_layout(barmode="group")
    fig.update_xaxes(type="category", tickangle=0)
    by_order = {c.order: c for c in changes}
    rows = tuple(
        (
            order_name(lv.order, engine),
            _size(lv),
            _size(tables[1].level(lv.order)),
            _change(by_order.get(lv.order)),
        )
        for lv in tables[0].levels
    )
    columns = ("order", f"{names[0]}, m/s²", f"{names[1]}, m/s²", CHANGE)
    sides = f"{names[0]} (left) and {names[1]} (right)"
    sentence = f"Each engine order in {sides}: its own line alone, with 95 % intervals."
    return Picture("Each engine order", sentence, fig, columns, rows)


def _add_bars(
    fig: go.Figure, seen: Sequence[OrderLevel | None], name: str, colour: str, engine: Engine | None
) -> None:
    """Bars with whiskers of levels that can be seen."""
    shown = [line_alone(lv) for lv in seen if lv is not None and lv.rms_m_s2 is not None]
    fig.add_bar(
        x=[short_name(lv.order, engine) for lv in shown], y=[lv.rms_m_s2 for lv in shown],
        name=name, marker_color=colour,
        error_y=whiskers(shown), hovertemplate="%{y:.3f} m/s²",
    )  # fmt: skip


def _strongest(analysis: Analysis) -> str:
    seen = [lv for lv in _table(analysis).levels if lv.visible and lv.rms_m_s2]
    seen.sort(key=lambda lv: -(lv.rms_m_s2 or 0.0))
    told = [f"{order_text(lv.order)} ({level_text(lv.rms_m_s2 or 0.0)} m/s²)" for lv in seen[:3]]
    return ", ".join(told) or "none can be seen"


def _strongest_hz(analysis: Analysis) -> str:
    lines = sorted(analysis.lines, key=lambda line: -line.rms_m_s2)[:3]
    told = [f"{ln.frequency_hz:.1f} Hz ({level_text(ln.rms_m_s2)} m/s²)" for ln in lines]
    return ", ".join(told) or "none can be seen"


def small(level_m_s2: float) -> str:
    """Nothing finer than a thousandth: that is no phone."""
    return level_text(level_m_s2) if level_m_s2 >= LEAST_SHOWN_M_S2 else f"under {LEAST_SHOWN_M_S2:.3f}"


def _change(change: OrderChange | None) -> str:
    if change is None:
        return "not known"
    db = f"{signed(change.change_db)} dB, {signed(change.low_db)} to {signed(change.high_db)}"
    told = times(change.change_db)
    if change.low_db <= 0 <= change.high_db and not times(change.low_db) == times(change.high_db) == told:
        told = "no change shown"
    return f"{told} ({db})"


def _table(analysis: Analysis) -> OrderTable:
    if analysis.orders is None:
        raise ValueError(f"{analysis.name} has no order table: its engine speed is not known")
    return analysis.orders


def _size(level: OrderLevel | None) -> str:
    return "cannot be seen" if level is None or level.rms_m_s2 is None else level_words(line_alone(level))
