"""Trouble codes against the facts of SAE J2012 (December 2007; the same numbers in ISO 15031-6:2005).

The words beside each number say what the code is about, in our own words; they were seen in two independent
public lists of generic codes, not in the standard's own text.
"""

from __future__ import annotations

import pytest

from vibecore.causes.load import catalogue

# code: words that its meaning must hold
FACTS = {
    "P0011": ("camshaft A", "advanced", "bank 1"),
    "P0016": ("crankshaft", "camshaft", "bank 1"),
    "P0022": ("camshaft A", "retarded", "bank 2"),
    "P0087": ("rail", "low"),
    "P0088": ("rail", "high"),
    "P0100": ("air flow meter", "circuit"),
    "P0101": ("air flow meter", "plausible"),
    "P0102": ("air flow meter", "low"),
    "P0103": ("air flow meter", "high"),
    "P0104": ("air flow meter", "comes and goes"),
    "P0107": ("manifold pressure", "low"),
    "P0108": ("manifold pressure", "high"),
    "P0128": ("coolant", "thermostat"),
    "P0171": ("lean", "bank 1"),
    "P0172": ("rich", "bank 1"),
    "P0174": ("lean", "bank 2"),
    "P0175": ("rich", "bank 2"),
    "P0201": ("injector", "cylinder 1"),
    "P0208": ("injector", "cylinder 8"),
    "P0212": ("injector", "cylinder 12"),
    "P0300": ("misfire", "several"),
    "P0301": ("misfire", "cylinder 1"),
    "P0304": ("misfire", "cylinder 4"),
    "P0312": ("misfire", "cylinder 12"),
    "P0313": ("misfire", "little fuel"),
    "P0316": ("misfire", "1000 revolutions"),
    "P0335": ("crankshaft sensor",),
    "P0340": ("camshaft sensor", "bank 1"),
    "P0351": ("coil A",),
    "P0362": ("coil L",),
    "P0401": ("too little", "recirculation"),
    "P0402": ("too much", "recirculation"),
    "P0420": ("catalyst", "bank 1"),
    "P0430": ("catalyst", "bank 2"),
    "P0440": ("evaporative",),
    "P0441": ("purge flow",),
    "P0442": ("small leak",),
    "P0455": ("large leak",),
    "P0456": ("very small leak",),
    "P0457": ("fuel cap",),
    "P0505": ("idle control",),
    "P0506": ("idle slower",),
    "P0507": ("idle faster",),
}

# The same, from memory alone.
FROM_MEMORY = {
    "P0010": ("camshaft A", "actuator", "bank 1"),
    "P0020": ("camshaft A", "actuator", "bank 2"),
    "P0109": ("manifold pressure", "comes and goes"),
    "P0120": ("throttle position", "circuit"),
    "P0124": ("throttle position", "comes and goes"),
    "P0170": ("mixture", "bank 1"),
    "P0173": ("mixture", "bank 2"),
    "P0200": ("injector circuit",),
    "P0444": ("purge valve", "open"),
    "P0445": ("purge valve", "short"),
    "P0447": ("vent", "open"),
    "P0448": ("vent", "short"),
    "P0449": ("vent", "valve", "circuit"),
    "P0450": ("evaporative", "pressure sensor"),
    "P0451": ("evaporative", "pressure", "plausible"),
    "P0452": ("evaporative", "pressure", "low"),
    "P0453": ("evaporative", "pressure", "high"),
    "P0454": ("evaporative", "pressure", "comes and goes"),
}


@pytest.mark.parametrize("code", [*FACTS, *FROM_MEMORY])
def test_meaning(code: str) -> None:
    meaning = catalogue().codes[code].meaning
    assert all(word in meaning for word in {**FACTS, **FROM_MEMORY}[code]), meaning


@pytest.mark.parametrize(
    ("first", "last"),
    [
        *(("P0300", "P0316"), ("P0200", "P0212"), ("P0100", "P0109"), ("P0505", "P0509"), ("P0350", "P0362")),
        *(("P0010", "P0025"), ("P0120", "P0124"), ("P0440", "P0457")),
    ],
)
def test_runs_are_whole(first: str, last: str) -> None:
    for number in range(int(first[1:]), int(last[1:]) + 1):
        assert f"P{number:04d}" in catalogue().codes


def test_a_code_points_where_it_should() -> None:
    codes = catalogue().codes
    assert max(codes["P0302"].times, key=codes["P0302"].times.__getitem__) == "cylinder-misfire"
    assert codes["P0171"].times["uneven-combustion"] > 1
    assert "cylinder-misfire" not in codes["P0171"].times
