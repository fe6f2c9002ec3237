"""Pictures of what was tried while the engine ran."""

from __future__ import annotations

import numpy as np

from vibecore.figures.style import (
    BLUE,
    GREY,
    LEAST_SPEED_SPAN_RPM,
    SKY,
    VERMILLION,
    Picture,
    empty_figure,
    frame,
)
from vibecore.trying.records import Reading, TimeSeries, Tried

COLOURS = (BLUE, VERMILLION, GREY)
GAP_S = 1.5  # readings come a second apart
LEAST_SPAN = {"rpm": LEAST_SPEED_SPAN_RPM, "dB": 10.0}
UNITS = {"rpm": "rpm", "dB": "shake, dB re 1 m/s²"}


def tried(result: Tried, begun_s: float, undone_s: float | None) -> tuple[Picture, ...]:
    """Each unit's readings second by second, with the time in which it was on shaded."""
    pictures = []
    for unit in ("rpm", "dB"):
        series = [c for c in result.series if c.unit == unit]
        if series:
            readings = [r for r in result.readings if r.unit == unit]
            pictures.append(_picture(series, readings, begun_s, undone_s))
    return tuple(pictures)


def _picture(
    series: list[TimeSeries], readings: list[Reading], begun_s: float, undone_s: float | None
) -> Picture:
    fig = empty_figure("seconds", UNITS[series[0].unit])
    end_s = float(max(c.t_s[-1] for c in series)) + 0.5 if undone_s is None else undone_s
    fig.add_vrect(x0=begun_s, x1=end_s, fillcolor=SKY, opacity=0.15, line_width=0)
    for one, colour in zip(series, COLOURS, strict=False):
        x, y = _broken_at_gaps(one)
        fig.add_scatter(
            x=x, y=y, name=one.what, mode="lines+markers", marker={"size": 5},
            line={"color": colour, "width": 2}, hovertemplate=f"%{{x:.0f}} s<br>%{{y:.1f}} {one.unit}",
        )  # fmt: skip
    frame(fig, np.concatenate([c.values for c in series]), LEAST_SPAN[series[0].unit])
    title = "Engine speed while it was tried" if series[0].unit == "rpm" else "Shake while it was tried"
    return Picture(
        title,
        f"Each point is one second; shaded: {begun_s:.0f} to {end_s:.0f} s, while it was on.",
        fig,
        ("read", "before", "while it was on", "after", "change, 95 % interval of all"),
        tuple(_row(r) for r in readings),
    )


def _broken_at_gaps(one: TimeSeries) -> tuple[np.ndarray, np.ndarray]:
    """The curve with a break where seconds were left out: no line is drawn through what was not read."""
    gaps = np.flatnonzero(np.diff(one.t_s) > GAP_S) + 1
    return np.insert(one.t_s, gaps, np.nan), np.insert(one.values, gaps, np.nan)


def _row(reading: Reading) -> tuple[str, ...]:
    digits = 0 if reading.unit == "rpm" else 1
    means = [f"{mean:.{digits}f} {reading.unit}" for mean in reading.means]
    change = reading.begun
    return (
        reading.what,
        means[0],
        means[1],
        means[2] if means[2:] else "not recorded",
        f"{change.value:+.{digits}f} ({change.low:+.{digits}f} to {change.high:+.{digits}f})",
    )
