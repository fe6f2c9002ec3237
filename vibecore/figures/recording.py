"""Pictures of one recording."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from vibecore.engine import Engine
from vibecore.figures.style import (
    BLUE,
    GREEN,
    GREY,
    HERTZ_SHAKE,
    LEAST_SPEED_SPAN_RPM,
    ORDER_AXIS,
    SHAKE,
    SKY,
    VERMILLION,
    Picture,
    empty_figure,
    frame,
    last_shown,
    level_text,
    line_level,
    order_name,
    strongest_line,
    thinned,
    too_broken,
    whiskers,
)
from vibecore.model import Analysis, Floats, Line, OrderLevel, OrderTable, Signal
from vibecore.runs import runs
from vibecore.units import percent
from vibecore.waterfall import Waterfall

BUDGET_PX = 238  # one bar
SHOWN_RANGE_DB = 60.0  # a thousand to one in shake: less is noise, and would take the colours
LEAST_HOLE = 200  # of the trace's width, in parts of it: about what can be seen on a phone
TOLD_S = 0.05  # less left out than this is rounded to nothing
STRONG_SHARE = 0.05  # lines below this share of the strongest one are not named in the picture


def trace(analysis: Analysis) -> Picture:
    """The three axes over time, gravity out, with the part that was used."""
    signal = analysis.signal
    names = ("across", "along", "up and down") if signal.vertical_known else ("axis 1", "axis 2", "axis 3")
    fig = empty_figure("seconds", "m/s²")
    for start, end in _used_s(signal):
        fig.add_vrect(x0=start, x1=end, fillcolor=GREEN, opacity=0.10, line_width=0)
    fig.update_xaxes(range=[0, analysis.recording.duration_s])
    t_s = signal.t_s
    for axis, (name, colour) in enumerate(zip(names, (GREY, VERMILLION, BLUE), strict=True)):
        x, y = thinned(t_s, signal.accel_m_s2[:, axis])
        fig.add_scatter(x=x, y=y, name=name, line={"color": colour, "width": 1}, hovertemplate="%{y:.3f}")
    sentence = f"The shake as the phone felt it. Used: {_used_words(analysis)}."
    rows = tuple(
        (name, f"{np.sqrt(np.mean(np.square(signal.accel_m_s2[signal.good, axis]))):.3f}")
        for axis, name in enumerate(names)
    )
    return Picture("Shake over time", sentence, fig, ("direction", "shake, rms m/s²"), rows)


def order_spectrum(analysis: Analysis, engine: Engine | None) -> Picture:
    """Shake by engine order with the engine's own orders named; by hertz where the speed is not known."""
    table = analysis.orders
    if table is None:
        return _hertz_spectrum(analysis)
    fig = empty_figure(ORDER_AXIS, SHAKE)
    x, y = thinned(table.spectrum.x, line_level(table.spectrum))
    if len(x):
        fig.add_scatter(x=x, y=y, name="all shake", line={"color": GREY, "width": 1}, hoverinfo="skip")
    seen = table.seen
    strongest = max((lv.rms_m_s2 or 0.0 for lv in seen), default=0.0)
    _add_levels(fig, seen, strongest, engine)
    others = [line for line in table.other_lines if line.order is not None]
    if others:
        fig.add_scatter(
            x=[ln.order for ln in others], y=[ln.rms_m_s2 for ln in others], name="on no engine order",
            mode="markers", marker={"color": VERMILLION, "size": 10, "symbol": "diamond"},
            customdata=[ln.frequency_hz for ln in others],
            hovertemplate="%{customdata:.1f} Hz<br>%{y:.3f} m/s²<extra></extra>",
        )  # fmt: skip
    fig.update_xaxes(range=[0, last_shown([*(lv.order for lv in seen), *(ln.order or 0.0 for ln in others)])])
    fig.update_yaxes(rangemode="tozero")
    return Picture(
        "Shake by engine order",
        too_broken(analysis) or _order_sentence(seen, engine, table),
        fig,
        ("order", "Hz", SHAKE, "over floor, dB", "steadiness 0 to 1"),
        (*(_level_row(lv, engine) for lv in table.levels), *(_line_row(line) for line in others)),
    )


def speed_over_time(analysis: Analysis, idle_spec_rpm: tuple[float, float] | None = None) -> Picture:
    """Crank speed over time, with the maker's idle if it is known."""
    track = analysis.speed
    fig = empty_figure("seconds", "rpm")
    if track is None:
        why = " ".join(w.message for w in analysis.warnings) or "The engine's speed cannot be told from this."
        return Picture("Engine speed", why, fig, ("engine speed",), (("not known",),))
    if idle_spec_rpm:
        fig.add_hrect(*idle_spec_rpm, fillcolor=SKY, opacity=0.15, line_width=0)
    fig.add_scatter(
        x=track.t_s, y=track.rpm, name="engine speed", line={"color": BLUE, "width": 2},
        hovertemplate="%{x:.1f} s<br>%{y:.0f} rpm",
    )  # fmt: skip
    frame(fig, track.rpm, LEAST_SPEED_SPAN_RPM)
    sentence = f"The engine turned at {track.mean_rpm:.0f} rpm and wandered by {track.steadiness_rpm:.0f}."
    if idle_spec_rpm:
        sentence += f" The maker's idle, {idle_spec_rpm[0]:.0f} to {idle_spec_rpm[1]:.0f}, is shaded."
    rows = (
        ("mean", f"{track.mean_rpm:.1f} rpm"),
        ("95 % interval", f"{track.low_rpm:.1f} to {track.high_rpm:.1f} rpm"),
        ("wander (standard deviation)", f"{track.steadiness_rpm:.1f} rpm"),
        ("sure", percent(track.confidence)),
        ("found by", track.found_by),
        *([("next most likely", f"{track.runner_up.mean_rpm:.0f} rpm")] if track.runner_up else []),
    )
    return Picture("Engine speed", sentence, fig, ("engine speed", "value"), rows)


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
        f"{shares[0]:.0f} % of the shake is on the engine's orders, {shares[1]:.0f} % on other steady lines."
    )
    rows = tuple((p[0], f"{p[1]:.5f}", f"{s:.0f} %") for p, s in zip(parts, shares, strict=True))
    return Picture("Where the shake comes from", sentence, fig, ("part", "(m/s²)²", "share"), rows)


def waterfall(fall: Waterfall, analysis: Analysis, engine: Engine | None) -> Picture:
    """Shake by time and frequency, with the firing order drawn where the speed is known."""
    fig = empty_figure("seconds", "Hz")
    fig.add_heatmap(
        x=fall.t_s, y=fall.frequency_hz, z=fall.level_db, colorscale="Cividis", name="shake",
        zmin=float(fall.level_db.max()) - SHOWN_RANGE_DB,
        colorbar={"title": {"text": "dB re 1 µm/s² per √Hz", "side": "right"}, "thickness": 10},
        hovertemplate="%{x:.0f} s, %{y:.1f} Hz<br>%{z:.0f} dB<extra></extra>",
    )  # fmt: skip
    track, rows = analysis.speed, [("frequencies shown", f"0 to {fall.frequency_hz[-1]:.0f} Hz")]
    if track is not None:
        orders = dict.fromkeys((1.0, engine.firing_order if engine else 1.0))
        for order, dash in zip(orders, ("dash", "dot"), strict=False):
            hz = track.rpm / 60.0 * order
            fig.add_scatter(
                x=track.t_s, y=hz, name=order_name(order, engine), mode="lines",
                line={"color": VERMILLION, "width": 2, "dash": dash}, showlegend=True,
            )  # fmt: skip
            rows.append((order_name(order, engine), f"{hz.min():.1f} to {hz.max():.1f} Hz"))
    fig.update_xaxes(range=[float(fall.t_s[0]), float(fall.t_s[-1])])
    fig.update_yaxes(range=[0, float(fall.frequency_hz[-1])])
    sentence = "Bright bands are steady shake. Those that follow the broken lines come from the engine."
    return Picture("Shake by time and frequency", sentence, fig, ("what", "value"), tuple(rows))


# ---------------------------------------------------------------- inside


def _used_s(signal: Signal) -> Floats:
    """(k, 2) from when to when the signal was used; holes too short to be seen in the picture are none."""
    holes = runs(~signal.good)
    seen = holes[np.diff(holes, axis=1)[:, 0] * LEAST_HOLE >= len(signal.good)]
    edges = np.concatenate(([0], seen.ravel(), [len(signal.good)])).reshape(-1, 2) / signal.fs_hz
    used = np.clip(signal.start_s + edges, *signal.used_span_s)
    return np.asarray(used[used[:, 1] > used[:, 0]])


def _used_words(analysis: Analysis) -> str:
    """'2 to 18 s of 20 (shaded), without 0.5 s of knocks or gaps'."""
    signal, (start, end) = analysis.signal, analysis.signal.used_span_s
    left_out_s = np.count_nonzero(~signal.good) / signal.fs_hz
    told = f"{start:.0f} to {end:.0f} s of {analysis.recording.duration_s:.0f} (shaded)"
    return told + (f", without {left_out_s:.1f} s of knocks or gaps" if left_out_s >= TOLD_S else "")


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
    rows = tuple((f"{ln.frequency_hz:.1f}", f"{ln.rms_m_s2:.3f}") for ln in analysis.lines)
    return Picture("Shake by frequency", sentence, fig, ("Hz", SHAKE), rows)


def _add_levels(fig: go.Figure, seen: Sequence[OrderLevel], strongest: float, engine: Engine | None) -> None:
    """Bars with whiskers at the orders that can be seen; the strongest is named, and what has a name."""
    rms = [lv.rms_m_s2 or 0.0 for lv in seen]
    fig.add_bar(
        x=[lv.order for lv in seen], y=rms, width=0.08, name="on an engine order", marker_color=BLUE,
        error_y=whiskers(seen), customdata=[order_name(lv.order, engine) for lv in seen],
        hovertemplate="%{customdata}<br>%{y:.3f} m/s²<extra></extra>",
    )  # fmt: skip
    for lv, r in zip(seen, rms, strict=True):
        if r >= STRONG_SHARE * strongest and (r == strongest or _has_a_name(lv.order, engine)):
            text = order_name(lv.order, engine).split(" (")[0]
            fig.add_annotation(
                x=lv.order,
                y=lv.high_m_s2 or r,
                text=text,
                showarrow=False,
                xanchor="right" if lv is seen[-1] else "center",  # else cut off on a phone
                yshift=10,
                textangle=0,
                font={"size": 12},
            )


def _has_a_name(order: float, engine: Engine | None) -> bool:
    """More than its number, which stands on the axis: names of all would lie over each other on a phone."""
    return not order_name(order, engine).startswith("order")


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
    return f"Most shake is on {where}: {top.rms_m_s2:.3f} m/s² at {top.frequency_hz:.1f} Hz{behind}.{unseen}"


def _level_row(lv: OrderLevel, engine: Engine | None) -> tuple[str, ...]:
    name, hz = order_name(lv.order, engine), f"{lv.frequency_hz:.1f}"
    if not lv.visible or lv.rms_m_s2 is None:
        return name, hz, f"cannot be seen: {lv.why_not or 'reason not known'}", "", ""
    floor = f"{lv.above_floor_db:.0f}" if lv.above_floor_db is not None else ""
    return name, hz, level_text(lv), floor, f"{lv.coherence:.2f}" if lv.coherence is not None else ""


def _line_row(line: Line) -> tuple[str, ...]:
    name = f"{line.order:.2f} times engine speed (on no engine order)"
    return name, f"{line.frequency_hz:.1f}", f"{line.rms_m_s2:.3f}", f"{line.above_floor_db:.0f}", ""
