"""Pictures of two recordings beside each other."""

from __future__ import annotations

from vibecore.engine import Engine
from vibecore.figures.style import (
    BLUE,
    VERMILLION,
    Picture,
    empty_figure,
    line_level,
    order_name,
    short_name,
    thinned,
)
from vibecore.model import Analysis, OrderTable, Repair


def before_after(repair: Repair, engine: Engine | None) -> Picture:
    """The orders that were compared, before and after the repair, with the change in decibels."""
    fig = empty_figure("engine order", "shake, m/s²")
    ticks = [short_name(c.order, engine) for c in repair.changes]
    names = [order_name(c.order, engine) for c in repair.changes]
    for name, values, colour in (
        ("before", [c.before_m_s2 for c in repair.changes], VERMILLION),
        ("after", [c.after_m_s2 for c in repair.changes], BLUE),
    ):
        fig.add_bar(x=ticks, y=values, name=name, marker_color=colour, hovertemplate="%{y:.3f} m/s²")
    fig.update_layout(barmode="group")
    fig.update_xaxes(type="category", tickangle=0)
    rows = tuple(
        (
            n,
            f"{c.before_m_s2:.3f}",
            f"{c.after_m_s2:.3f}",
            f"{c.change_db:+.1f}",
            f"{c.low_db:+.1f} to {c.high_db:+.1f}",
        )
        for n, c in zip(names, repair.changes, strict=True)
    )
    columns = ("order", "before, m/s²", "after, m/s²", "change, dB", "95 % interval, dB")
    sentence = "Each engine order that was compared: how strong it was before and how strong it is now."
    return Picture("Before and after", sentence, fig, columns, rows)


def overlay(first: Analysis, second: Analysis, engine: Engine | None) -> Picture:
    """The order spectra of two recordings over each other. Both must have an order table."""
    tables = (_table(first), _table(second))
    fig = empty_figure("turns per crank turn (engine order)", "shake, m/s²")
    names = (first.name, second.name)
    for table, name, colour, dash in zip(tables, names, (VERMILLION, BLUE), ("solid", "dot"), strict=True):
        x, y = thinned(table.spectrum.x, line_level(table.spectrum))
        fig.add_scatter(
            x=x, y=y, name=name, line={"color": colour, "width": 1.5, "dash": dash},
            hovertemplate="%{x:.2f}<br>%{y:.3f} m/s²",
        )  # fmt: skip
    rows = tuple(
        (order_name(lv.order, engine), _size(lv.rms_m_s2), _size(other.rms_m_s2 if other else None))
        for lv in tables[0].levels
        for other in [tables[1].level(lv.order)]
    )
    sentence = f"Shake by engine order: {first.name} drawn through, {second.name} dotted."
    return Picture("Two recordings over each other", sentence, fig, ("order", *names), rows)


def _table(analysis: Analysis) -> OrderTable:
    if analysis.orders is None:
        raise ValueError(f"{analysis.name} has no order table: its engine speed is not known")
    return analysis.orders


def _size(rms_m_s2: float | None) -> str:
    return "cannot be seen" if rms_m_s2 is None else f"{rms_m_s2:.3f}"
