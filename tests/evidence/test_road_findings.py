"""Evidence from recordings on the road: what turns with the wheels. That a sound car shows it too, and less,
is common practice, no source; the rates are plain kinematics.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.evidence import made as maker
from tests.evidence.made import first
from vibecore.causes.ranking import rank
from vibecore.evidence import gather
from vibecore.model import Analysis, Line, Spectrum, Symptoms


def test_road_recordings_with_a_line_at_wheel_rate() -> None:
    """A 0.63 m wheel at 90 km/h turns 25 / (pi x 0.63) = 12.6 times a second."""
    wheel = [Line(12.6, None, 0.4, 25.0)]
    analyses = [maker.made("road", rpm=2500.0, gear="drive", hold="raised", lines=wheel)]
    assert first(analyses, maker.FOUR) == "wheel-imbalance"


def _on_the_road(
    *lines: tuple[float, float], standing: bool = False, sure: float = 1.0
) -> dict[tuple[str, str], float]:
    """What each finding says of each cause, dB. lines: hertz and m/s2. sure: of the engine's speed."""
    found = [Line(hz, None, rms, 25.0) for hz, rms in lines]
    analyses = [maker.made("road", rpm=2500.0, gear="drive", hold="raised", lines=found, confidence=sure)]
    analyses += [maker.made("neutral-idle")] if standing else []
    return {(e.finding, e.cause): e.log_ratio_db for e in gather(analyses, maker.FOUR)}


def test_a_recording_on_the_road_tells_more_where_there_is_no_other() -> None:
    """Who records nothing else is after what shakes there only."""
    key = ("road", "wheel-imbalance")
    assert _on_the_road()[key] > _on_the_road(standing=True)[key] + 3 > 3


def test_the_road_says_as_much_whatever_the_engine_turned_at() -> None:
    """Where a car was recorded, and what turns with its wheels, hang on no engine speed."""
    sure, unsure = (_on_the_road((12.6, 0.4), sure=chance) for chance in (1.0, 0.5))
    for finding in ("road", "road line"):
        assert unsure[finding, "wheel-imbalance"] == pytest.approx(sure[finding, "wheel-imbalance"])


@pytest.mark.parametrize(
    ("lines", "cause", "other"),
    [
        ([(12.6, 0.2)], "wheel-imbalance", "propshaft"),
        ([(40.0, 0.2)], "propshaft", "wheel-imbalance"),
        # Stronger ones under what wheels turn at (the body's sway) and over what shafts do are neither's.
        ([(12.6, 0.2), (3.0, 0.5), (95.0, 0.5)], "wheel-imbalance", "propshaft"),
        ([(40.0, 0.2), (12.6, 0.1), (3.0, 0.5), (95.0, 0.5)], "propshaft", "wheel-imbalance"),
    ],
)
def test_the_strongest_line_between_wheels_and_shafts_says_which(
    lines: list[tuple[float, float]], cause: str, other: str
) -> None:
    """Wheels of 0.55 to 0.75 m turn 7 to 21 times a second at 60 to 130 km/h: v / (pi d)."""
    said = _on_the_road(*lines)
    assert said["road line", cause] > 0 > said["road line", other]


def _road(name: str, *lines: tuple[float, float], rest: float = 0.0) -> Analysis:
    """A drive of these lines (hertz, m/s2) in broad shake of `rest` m/s2 between 3 and 100 Hz."""
    drive = maker.made(
        name, rpm=None, gear="drive", hold="raised", lines=[Line(hz, None, rms, 25.0) for hz, rms in lines]
    )
    x = np.arange(0.0, 100.0, 0.25)
    psd = np.full(len(x), rest**2 / 97)
    for hz, rms in lines:
        psd[np.abs(x - hz).argmin()] += rms**2 / 0.25
    return replace(drive, spectrum_hz=Spectrum(x, psd, "hertz"))


def _said(*drives: Analysis) -> dict[str, float]:
    """What the line on the road says of each cause, dB."""
    evidence = gather([*drives, maker.made("neutral-idle")], maker.FOUR)
    return {e.cause: e.log_ratio_db for e in evidence if e.finding == "road line"}


def test_a_strong_line_on_the_road_is_a_fault_where_the_idle_is_calm() -> None:
    """0.9 m/s2 at the rate of a wheel, three times all else, is felt; a code about an air flow meter and a
    calm idle do not deny it."""
    analyses = [_road("road", (14.8, 0.91), rest=0.3), maker.made("neutral-idle", whole=0.06)]
    ranked = rank(gather(analyses, maker.FOUR), Symptoms(codes=("P0101",)))
    assert ranked[0].id == "wheel-imbalance"
    assert ranked[0].probability > 0.6


@pytest.mark.parametrize(("rms", "rest", "fault"), [(0.9, 0.3, True), (0.08, 0.2, False), (0.2, 0.6, False)])
def test_a_line_on_the_road_counts_by_how_far_it_stands_over_the_rest(
    rms: float, rest: float, fault: bool
) -> None:
    said = _said(_road("road", (14.8, rms), rest=rest))
    assert (said["wheel-imbalance"] > 0) == fault
    assert abs(said["wheel-imbalance"]) > 3
    assert said["propshaft"] < said["wheel-imbalance"]


def test_a_road_without_a_line_speaks_against_wheels_and_shafts() -> None:
    said = _said(_road("road", rest=0.3))
    assert said["wheel-imbalance"] == said["propshaft"] < -3


def test_of_several_drives_the_line_that_stands_out_most_counts() -> None:
    """A shaft at 39.7 Hz is most of the first drive; a mode answers the other at 13.7 Hz, among much else."""
    drives = _road("fast", (39.7, 0.49), rest=0.3), _road("slow", (13.7, 0.52), (33.7, 0.27), rest=0.4)
    assert _said(*drives)["propshaft"] > 5 > _said(*drives)["wheel-imbalance"]


@pytest.mark.parametrize(
    ("times", "own", "wheel"),
    [(3, 0.42, True), (2, 0.42, True), (2.8, 0.42, False), (3.02, 0.42, False), (3, 0.1, False)],
)
def test_a_multiple_of_the_wheels_rate_is_the_wheels(times: float, own: float, wheel: bool) -> None:
    """A tyre that is not round: a mode near its third multiple makes that the strongest line. What turns 2.8
    or 3.02 times as fast, or is five times as strong, is the shaft."""
    said = _said(_road("road", (11.4, own), (11.4 * times, 0.53), rest=0.2))
    assert (said["wheel-imbalance"] > said["propshaft"]) == wheel


@pytest.mark.parametrize(("sure", "firing"), [(0.95, True), (0.4, False)])
def test_what_fires_is_no_shaft(sure: float, firing: bool) -> None:
    """A four at 1120 rpm fires 37.3 times a second: loud on the road, no wheel's, if the speed is right."""
    told = _road("road", (37.3, 0.4), (12.0, 0.1), rest=0.2)
    told = replace(told, speed=maker.made("a", rpm=1120.0, confidence=sure).speed)
    said = _said(told)
    assert (said["propshaft"] < 0) == firing
