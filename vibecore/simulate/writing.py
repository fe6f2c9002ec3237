"""Recordings as files, in layouts that strangers' phone programs are known to write."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibecore.case_text import case_text
from vibecore.model import Floats
from vibecore.simulate.job import SimulatedJob
from vibecore.simulate.recording import SimulatedRecording
from vibecore.units import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True)
class TableLayout:
    """How one program writes a table. `scale`, `decimals`: of values; `clock`: of stamps, e.g. 1000 for
    ms."""

    header: str
    separator: str = ","
    comma: bool = False
    scale: float = 1.0
    decimals: int = 5
    clock: float = 1.0
    clock_decimals: int = 6
    clock_start: float = 0.0
    before: str = ""
    magnitude: bool = False
    order: tuple[int, int, int] = (0, 1, 2)
    line_end: str = "\n"
    encoding: str = "utf-8"


G = 1 / STANDARD_GRAVITY_M_S2
LAYOUTS: dict[str, TableLayout] = {
    "plain": TableLayout("time_s,x_m_s2,y_m_s2,z_m_s2"),
    "quoted semicolon comma": TableLayout('"Time (s)";"X (m/s^2)";"Y (m/s^2)";"Z (m/s^2)"', ";", comma=True),
    "milliseconds": TableLayout("timestamp_ms,ax,ay,az", clock=1000.0, clock_decimals=3),
    "nanoseconds": TableLayout(
        "time,z,y,x", clock=1e9, clock_decimals=0, clock_start=4.2e13, order=(2, 1, 0)
    ),
    "g tabs": TableLayout(
        "t [s]\tAx [g]\tAy [g]\tAz [g]", "\t", scale=G, decimals=6, before="# accelerometer\n# unit: g\n"
    ),
    "with magnitude": TableLayout(
        "time,accX,accY,accZ,total", before="#device: test handset\n", magnitude=True
    ),
    "windows": TableLayout("Time;X;Y;Z", ";", comma=True, decimals=4, line_end="\r\n", encoding="utf-8-sig"),
    "no header": TableLayout("", " ", decimals=4),
}


def table_bytes(recording: SimulatedRecording, layout: TableLayout) -> bytes:
    """The recording as the bytes of a text file in this layout."""
    t = recording.t_s * layout.clock + layout.clock_start
    values = recording.accel_m_s2[:, layout.order] * layout.scale
    columns = [t, *values.T]
    formats = [f"%.{layout.clock_decimals}f", *[f"%.{layout.decimals}f"] * 3]
    if layout.magnitude:
        columns.append(np.sqrt(np.sum(values**2, axis=1)))
        formats.append(f"%.{layout.decimals}f")
    row = layout.separator.join(formats) + layout.line_end
    body = (row * len(t)) % tuple(np.column_stack(columns).ravel())
    if layout.comma:
        body = body.replace(".", ",")
    head = layout.before.replace("\n", layout.line_end) + (
        layout.header + layout.line_end if layout.header else ""
    )
    return (head + body).encode(layout.encoding)


def json_records(recording: SimulatedRecording) -> bytes:
    """The recording as JSON records, times in milliseconds."""
    t_ms = np.round(recording.t_s * 1000, 3).tolist()
    rows = [
        {"time_ms": t, "x": x, "y": y, "z": z}
        for t, (x, y, z) in zip(t_ms, np.round(recording.accel_m_s2, 5).tolist(), strict=True)
    ]
    return json.dumps({"sensor": "accelerometer", "unit": "m/s2", "samples": rows}).encode()


def json_columns(recording: SimulatedRecording) -> bytes:
    """The recording as JSON columns."""
    a: Floats = np.round(recording.accel_m_s2, 5)
    columns = {"t": np.round(recording.t_s, 6).tolist(), **{n: a[:, i].tolist() for i, n in enumerate("xyz")}}
    return json.dumps(columns).encode()


WRITERS: dict[str, tuple[str, Callable[[SimulatedRecording], bytes]]] = {
    **{name: (".csv", lambda r, form=form: table_bytes(r, form)) for name, form in LAYOUTS.items()},  # type: ignore[misc]
    "json records": (".json", json_records),
    "json columns": (".json", json_columns),
}


def write_job(job: SimulatedJob, folder: Path, *, layout: str | tuple[str, ...] | None = None) -> Path:
    """Write the job as a case folder and return its case.toml.

    layout: the name of one of WRITERS for all recordings, or one for each; None varies them by the job's
    seed."""
    folder.mkdir(parents=True, exist_ok=True)
    names = list(WRITERS)
    count = len(job.recordings)
    chosen = [names[(job.seed + i) % len(names)] for i in range(count)] if layout is None else layout
    chosen = [chosen] * count if isinstance(chosen, str) else list(chosen)
    made = []
    for recording, name in zip(job.recordings, chosen, strict=True):
        suffix, write = WRITERS[name]
        path = folder / f"{recording.name}{suffix}"
        path.write_bytes(write(recording))
        made.append((path.name, recording.condition))
    case = folder / "case.toml"
    case.write_text(case_text(job.title, job.vehicle, job.symptoms, made), encoding="utf-8")
    return case
