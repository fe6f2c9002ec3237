"""The text of a case file from records: its keys, for whoever writes one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import tomli_w

from vibecore.engine import Vehicle
from vibecore.model import CheckOutcome, Condition, Symptoms


def case_text(
    title: str,
    vehicle: Vehicle,
    symptoms: Symptoms,
    recordings: Sequence[tuple[str, Condition]],
    checks: Sequence[CheckOutcome] = (),
) -> str:
    """TOML. recordings: file, as it stands relative to the case's folder, and how it was made."""
    tables = {
        "title": title,
        "vehicle": _vehicle(vehicle),
        "symptoms": _symptoms(symptoms),
        "recording": [_recording(file, condition) for file, condition in recordings],
        "check": [{"id": c.id, "outcome": c.outcome} for c in checks],
    }
    return tomli_w.dumps(_filled(tables))


def _vehicle(v: Vehicle) -> dict[str, Any]:
    return _filled(
        {
            "cylinders": v.engine.cylinders,
            "strokes": v.engine.strokes,
            "arrangement": v.engine.arrangement,
            "transmission": v.transmission,
            "idle_spec_rpm": list(v.idle_spec_rpm) if v.idle_spec_rpm else None,
            "belt_length_mm": v.belt_length_mm,
            "mileage_km": v.mileage_km,
            "pulleys_mm": dict(v.pulleys_mm),
        }
    )


def _symptoms(s: Symptoms) -> dict[str, Any]:
    return _filled(
        {
            "check_engine_light": s.check_engine_light,
            "codes": list(s.codes),
            "shakes_when": list(s.shakes_when),
        }
    )


def _recording(file: str, c: Condition) -> dict[str, Any]:
    return _filled(
        {
            "file": file,
            "place": c.place,
            "gear": c.gear,
            "engine_speed_rpm": c.tachometer_rpm,
            "speed_hold": c.speed_hold,
            "stage": c.stage,
            "accessories": list(c.accessories),
            "taped_anew": c.taped_anew or None,
        }
    )


def _filled(table: dict[str, Any]) -> dict[str, Any]:
    """Without what is not known: TOML has no null, and an absent key means the same."""
    return {key: value for key, value in table.items() if value not in (None, [], {}, "")}
