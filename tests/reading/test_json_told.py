"""What a JSON file tells beside its samples: units, names of columns, settings in a first record."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from tests.reading.make import G, shake
from vibecore.reading import read_recording

FREE = shake(gravity=False)
IN_G = [
    {"t": round(t, 6), **dict(zip("xyz", map(float, a), strict=True))}
    for t, a in zip(FREE.t_s, FREE.accel / G, strict=True)
]
BACKWARDS = [[r["z"], r["y"], r["x"], r["t"]] for r in IN_G]


def check(data: Any) -> None:
    recording = read_recording(data if isinstance(data, bytes) else json.dumps(data).encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-6)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert "unit-assumed" not in [w.code for w in recording.warnings]


@pytest.mark.parametrize("first", [True, False], ids=["before", "behind"])
def test_units_of_each_measure(first: bool) -> None:
    units = {"units": {"time": "s", "acceleration": "g"}}
    for name in ("samples", "acceleration"):
        check({**units, name: IN_G} if first else {name: IN_G, **units})


@pytest.mark.parametrize("rows", ["data", "values", "rows"])
@pytest.mark.parametrize("heads", ["columns", "header", "fields"])
def test_rows_under_names_and_units(heads: str, rows: str) -> None:
    names = ["az", "ay", "ax", "time"]
    check({heads: names, "units": ["g", "g", "g", "s"], rows: BACKWARDS})
    check({heads: names, "unit": "g", rows: BACKWARDS})


def test_settings_in_the_first_of_many_lines() -> None:
    settings = {"device": "made up", "sampling_rate_hz": 100, "unit": "g"}
    lines = [settings, *({k: r[k] for k in "xyz"} for r in IN_G)]
    check("\n".join(map(json.dumps, lines)).encode())


@pytest.mark.parametrize("unit", ["", "g"])
@pytest.mark.parametrize("turns", [False, True])
def test_a_list_for_each_channel_under_its_name(unit: str, turns: bool) -> None:
    """JSON by RFC 8259; what stands in it is common practice, no source."""
    truth = shake(gravity=False)
    one = G if unit == "g" else 1.0
    said = {"unit": unit} if unit else {}
    heads = [f"gyro_{a}" for a in "xyz"] if turns else []
    parts = [{"name": n, "values": [0.01 * k % 0.07 for k in range(2000)]} for n in heads]
    parts += [
        {"name": f"acc_{a}", **said, "values": list(truth.accel[:, i] / one)} for i, a in enumerate("xyz")
    ]
    recording = read_recording(json.dumps({"rate_hz": 100, "channels": parts}).encode(), name="a.json")
    assert recording.sample_rate_hz == pytest.approx(100.0)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-5)


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_sensors_side_by_side_at_rates_of_their_own(times: float) -> None:
    truth = shake()
    other = shake(100.0 * times, gravity=False)
    sensors = {
        name: {"t": list(own.t_s), **{a: list(own.accel[:, i]) for i, a in enumerate("xyz")}}
        for name, own in (("gyroscope", other), ("accelerometer", truth))
    }
    recording = read_recording(json.dumps(sensors).encode(), name="a.json")
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=1e-6)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-5)


def test_a_table_within_lists_of_one_record_each() -> None:
    """As data bases answer; common practice, no source."""
    rows = [[r["t"], r["x"], r["y"], r["z"]] for r in IN_G]
    series = [{"name": "acceleration in g", "columns": ["time", "x (g)", "y (g)", "z (g)"], "values": rows}]
    recording = read_recording(json.dumps({"results": [{"series": series}]}).encode(), name="a.json")
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-5)
    np.testing.assert_allclose(recording.t_s, FREE.t_s, atol=1e-6)
