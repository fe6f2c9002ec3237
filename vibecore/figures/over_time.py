"""Pictures of one recording over time: its shake, its engine speed, its frequencies."""

from __future__ import annotations

import numpy as np

from vibecore.engine import Engine
from vibecore.figures.style import (
    ACCELERATION,
    BLUE,
    GREEN,
    GREY,
    LEAST_SPEED_SPAN_RPM,
    PALE,
    SHAKE,
    SKY,
    VERMILLION,
    Picture,
    empty_figure,
    frame,
    order_name,
    thinned,
)
from vibecore.model import Analysis, Floats, Signal
from vibecore.runs import runs
from vibecore.units import level_text, percent
from vibecore.waterfall import Part, Waterfall

SHOWN_RANGE_DB = 60.0  # a thousand to one in shake: less is noise, and would take the colours
LEAST_HOLE = 200  # of the trace's width, in parts of it: about what can be seen on a phone
BANDS = "Bright bands are steady shake."
ENGINES = " Those that follow the broken lines, or halves and multiples of them, come from the engine."
LEFT_OUT_NAME = "up and down, left out"
LEAST_TRACE_SPAN_M_S2 = 0.002  # shown at least: no phone is finer
UPRIGHT = ("level, one way", "level, square to that", "up and down")  # which way is ahead is not known
DASHES = ("dash", "dot", "dashdot")
SEEN: dict[Part, str] = {
    "everything": BANDS,
    "steady lines": BANDS,
    "knocks": "Bright stripes from top to bottom are knocks and rattles.",
}
LEFT_OUT = " Grey: left out for knocks cut out and gaps, see Shake over time."
TOLD_S = 0.05  # less left out than this is rounded to nothing


def trace(analysis: Analysis) -> Picture:
    """The three axes over time, gravity out, with the part that was used."""
    signal = analysis.signal
    names = UPRIGHT if signal.vertical_known else ("axis 1", "axis 2", "axis 3")
    fig = empty_figure("seconds", ACCELERATION)
    for start, end in _used_s(signal):
        fig.add_vrect(x0=start, x1=end, fillcolor=GREEN, opacity=0.10, line_width=0)
    fig.update_xaxes(range=[0, analysis.recording.duration_s])
    t_s, up = _left_out(analysis)
    if len(t_s):
        x, y = thinned(t_s, up)
        fig.add_scatter(x=x, y=y, name=LEFT_OUT_NAME, line={"color": PALE, "width": 1}, hoverinfo="skip")
        frame(fig, signal.accel_m_s2[signal.good], LEAST_TRACE_SPAN_M_S2)  # a hand's knock is far higher
    shown = np.where(signal.good[:, None], signal.accel_m_s2, np.nan)
    rms = np.sqrt(np.mean(np.square(signal.accel_m_s2[signal.good]), axis=0))
    under = np.argsort(np.argsort(-rms))  # the strongest below, or it hides the others
    for axis, (name, colour) in enumerate(zip(names, (GREY, VERMILLION, BLUE), strict=True)):
        x, y = thinned(signal.t_s, shown[:, axis])
        fig.add_scatter(
            x=x, y=y, name=name, line={"color": colour, "width": 1}, hovertemplate="%{y:.3f}",
            zorder=int(under[axis]),
        )  # fmt: skip
    sentence = f"The shake as the phone felt it. Used: {_used_words(analysis)}."
    rows = tuple((name, level_text(level)) for name, level in zip(names, rms, strict=True))
    return Picture("Shake over time", sentence, fig, ("direction", SHAKE), rows)


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
    sentence = (
        f"The engine turned at {track.mean_rpm:.0f} rpm and wandered about that by "
        f"{track.steadiness_rpm:.0f} rpm (standard deviation)."
    )
    if idle_spec_rpm:
        where = _place(idle_spec_rpm, fig.layout.yaxis.range)
        sentence += f" The maker's idle, {idle_spec_rpm[0]:.0f} to {idle_spec_rpm[1]:.0f}, {where}."
    rows = (
        ("mean", f"{track.mean_rpm:.1f} rpm"),
        ("95 % interval", f"{track.low_rpm:.1f} to {track.high_rpm:.1f} rpm"),
        ("wander (standard deviation)", f"{track.steadiness_rpm:.1f} rpm"),
        ("sure", percent(track.confidence)),
        ("found by", track.found_by),
        *([("next most likely", f"{track.runner_up.mean_rpm:.0f} rpm")] if track.runner_up else []),
    )
    return Picture("Engine speed", sentence, fig, ("engine speed", "value"), rows)


def waterfall(
    fall: Waterfall, analysis: Analysis, engine: Engine | None, part: Part = "everything"
) -> Picture:
    """Shake by time and frequency, with the orders that matter most where the speed is known."""
    fig = empty_figure("seconds", "Hz")
    unknown = ~np.isfinite(fall.level_db).all(axis=0)
    top = {} if unknown.all() else {"zmin": float(np.nanmax(fall.level_db)) - SHOWN_RANGE_DB}
    fig.add_heatmap(
        x=fall.t_s, y=fall.frequency_hz, z=fall.level_db, colorscale="Cividis", name="shake", **top,
        colorbar={"title": {"text": "dB re 1 µm/s² per √Hz", "side": "right"}, "thickness": 10},
        hovertemplate="%{x:.0f} s, %{y:.1f} Hz<br>%{z:.0f} dB<extra></extra>", hoverongaps=False,
    )  # fmt: skip
    rows = [("frequencies shown", f"0 to {fall.frequency_hz[-1]:.0f} Hz")]
    rows += [("left out", percent(float(unknown.mean())))] if unknown.any() else []
    track = analysis.speed
    if track is not None:
        for order, dash in zip(_drawn_orders(analysis, engine), DASHES, strict=False):
            hz = track.rpm / 60.0 * order
            fig.add_scatter(
                x=track.t_s, y=hz, name=order_name(order, engine), mode="lines",
                line={"color": VERMILLION, "width": 2, "dash": dash}, showlegend=True,
            )  # fmt: skip
            rows.append((order_name(order, engine), f"{hz.min():.1f} to {hz.max():.1f} Hz"))
    fig.update_layout(plot_bgcolor=PALE)
    fig.update_xaxes(range=[float(fall.t_s[0]), float(fall.t_s[-1])])
    fig.update_yaxes(range=[0, float(fall.frequency_hz[-1])])
    sentence = SEEN[part] + (ENGINES if track is not None and part != "knocks" else "")
    sentence += LEFT_OUT if unknown.any() else ""
    return Picture("Shake by time and frequency", sentence, fig, ("what", "value"), tuple(rows))


# ---------------------------------------------------------------- inside


def _drawn_orders(analysis: Analysis, engine: Engine | None) -> list[float]:
    """Crank, firing, and the strongest that can be seen, each once."""
    seen = analysis.orders.seen if analysis.orders is not None else ()
    strongest = max(seen, key=lambda lv: lv.rms_m_s2 or 0.0, default=None)
    named = [1.0, *([engine.firing_order] if engine else []), *([strongest.order] if strongest else [])]
    return list(dict.fromkeys(named))


def _used_s(signal: Signal) -> Floats:
    """(k, 2) from when to when the signal was used; holes too short to be seen in the picture are none."""
    holes = runs(~signal.good)
    seen = holes[np.diff(holes, axis=1)[:, 0] * LEAST_HOLE >= len(signal.good)]
    edges = np.concatenate(([0], seen.ravel(), [len(signal.good)])).reshape(-1, 2) / signal.fs_hz
    used = np.clip(signal.start_s + edges, *signal.used_span_s)
    return np.asarray(used[used[:, 1] > used[:, 0]])


def _place(band: tuple[float, float], shown: tuple[float, float]) -> str:
    """Where a band lies against the part of the axis that is shown."""
    if band[0] >= shown[1]:
        return "lies above what is shown"
    return "lies below what is shown" if band[1] <= shown[0] else "is shaded"


def _left_out(analysis: Analysis) -> tuple[Floats, Floats]:
    """Time and vertical shake of what the phone felt and was not used, NaN where it was; empty where no
    gravity tells which way is up, or nothing was left out."""
    recording, signal = analysis.recording, analysis.signal
    nearest = np.rint((recording.t_s - signal.start_s) * signal.fs_hz).astype(int)
    used = np.isin(nearest, np.flatnonzero(signal.good))
    direction = recording.gravity_direction
    if direction is None or used.all() or not used.any():
        return np.empty(0), np.empty(0)
    up = recording.accel_m_s2 @ direction
    return recording.t_s, np.where(used, np.nan, up - up[used].mean())


def _used_words(analysis: Analysis) -> str:
    """'2 to 18 s of 20 (shaded), without 0.5 s of knocks or gaps'."""
    signal, (start, end) = analysis.signal, analysis.signal.used_span_s
    left_out_s = np.count_nonzero(~signal.good) / signal.fs_hz
    told = f"{start:.0f} to {end:.0f} s of {analysis.recording.duration_s:.0f} (shaded)"
    return told + (f", without {left_out_s:.1f} s of knocks or gaps" if left_out_s >= TOLD_S else "")
