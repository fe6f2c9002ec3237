"""Records made up for tests of pictures and pages: a four-cylinder idling at about 700 rpm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecore.model import (
    Analysis,
    Condition,
    Diagnosis,
    Evidence,
    Line,
    OrderChange,
    OrderLevel,
    OrderTable,
    Overall,
    PlannedCheck,
    RankedCause,
    Recording,
    Repair,
    RunnerUp,
    Signal,
    Spectrum,
    SpeedTrack,
    Suspect,
    Warn,
)

FS_HZ = 100.0
RPM = 700.0


def recording(name: str = "neutral-idle.csv", duration_s: float = 20.0, digest: str = "") -> Recording:
    t_s = np.arange(round(duration_s * FS_HZ)) / FS_HZ
    shake = 0.3 * np.sin(2 * np.pi * 2 * RPM / 60 * t_s)
    accel = np.column_stack([0.1 * shake, 0.3 * shake, shake + 9.81])
    warnings = (Warn("short", "Only 20 s long: record a minute."),)
    return Recording(name, t_s, accel, FS_HZ, True, len(t_s), 3, warnings, (), digest)


def level(order: float, rms: float | None, why_not: str | None = None) -> OrderLevel:
    if rms is None:
        return OrderLevel(order, order * RPM / 60, None, None, None, None, None, False, why_not)
    return OrderLevel(order, order * RPM / 60, rms, rms * 0.8, rms * 1.25, 12.0, 0.9, True)


LINES = (Line(31.2, 31.2 * 60 / RPM, 0.05, 15.0, "engine"),)


def _track(rec: Recording) -> SpeedTrack:
    track_s = np.arange(1.0, 19.0, 0.4)
    rpm, angle_rev = RPM + 5 * np.sin(track_s), rec.t_s * RPM / 60
    runner_up = RunnerUp(350.0, 0.02, "half")
    return SpeedTrack(track_s, rpm, RPM, 699.0, 701.0, 3.5, 0.97, "vibration", angle_rev, runner_up)


def _table() -> OrderTable:
    orders = np.arange(0.1, 4.3, 0.02)
    psd = 1e-4 + 0.5 * np.exp(-(((orders - 2) / 0.03) ** 2))
    levels = (
        level(0.5, 0.004),
        level(1.0, 0.01),
        level(1.5, 0.006),
        level(2.0, 0.22),
        level(4.0, None, "Above half."),
    )
    return OrderTable(levels, LINES, Spectrum(orders, psd, "order"), 0.05, 0.01, 0.02, 0.08)


def analysis(
    name: str = "neutral-idle.csv",
    condition: Condition | None = None,
    *,
    speed: bool = True,
    digest: str = "",
) -> Analysis:
    rec = recording(name, digest=digest)
    n = len(rec.t_s)
    accel = rec.accel_m_s2 - rec.accel_m_s2.mean(axis=0)
    signal = Signal(FS_HZ, 0.0, accel, np.ones(n, bool), (1.0, 19.0), True, 0.0)
    hz = np.arange(0.5, 50, 0.1)
    spectrum_hz = Spectrum(hz, 1e-4 + 0.1 * np.exp(-(((hz - 2 * RPM / 60) / 0.3) ** 2)), "hertz")
    return Analysis(
        rec,
        signal,
        _track(rec) if speed else None,
        _table() if speed else None,
        LINES,
        spectrum_hz,
        Overall(0.31, 0.22, "ISO 5349-1 Wh", "The phone hears nothing above 50 Hz."),
        condition or Condition("steering wheel", "neutral", "idle"),
        () if speed else (Warn("no-speed", "Two speeds fit alike, so none is given."),),
    )


def diagnosis(*analyses: Analysis, repaired: bool = False) -> Diagnosis:
    causes = (
        RankedCause(
            "engine-mount",
            "Engine mount collapsed",
            0.71,
            (
                Evidence("for", 7.2, "Firing order is 9 dB up in gear.", ("drive-idle.csv",)),
                Evidence("against", -1.0, "No metal contact heard.", ()),
                Evidence("note", 0.0, "A <b>note</b> & more.", ()),
            ),
        ),
        RankedCause(
            "normal", "Nothing wrong found", 0.2, (), (Suspect("nothing-wrong", "Nothing wrong", 1.0),)
        ),
        RankedCause("cylinder-misfire", "One cylinder weak or dead", 0.09),
    )
    checks = (
        PlannedCheck(
            "mount-look", "Look at the mounts", 5, 0.8, ("Engine off, parking brake on.",), "Tells most."
        ),
    )
    repair = Repair(
        "cured",
        -14.2,
        -15.6,
        -12.8,
        "The firing order is back.",
        (OrderChange(2.0, 0.4, 0.08, -14.2, -15.6, -12.8),),
    )
    return Diagnosis(causes, checks, repair if repaired else None, analyses or (analysis(),), ("One note.",))


def broken(name: str = "gappy.csv") -> Analysis:
    """Of a recording whose unbroken stretches are all too short for an order spectrum."""
    whole = analysis(name)
    empty = Spectrum(np.empty(0), np.empty(0), "order", 0.0)
    levels = tuple(level(lv.order, None, "Too short.") for lv in whole.orders.levels)
    return replace(whole, orders=replace(whole.orders, levels=levels, spectrum=empty))
