"""The demo jobs: three invented cars, written as case folders with what is true in them.

    python -m vibecore.simulate.demo recordings

makes the same files again. Nothing in them was measured on a car.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

from vibecore.engine import Engine
from vibecore.model import Symptoms
from vibecore.simulate.felt import Plan
from vibecore.simulate.job import RepairOutcome, SimulatedJob, Wanted, simulate_job
from vibecore.simulate.phone import Phone
from vibecore.simulate.writing import write_job

NEUTRAL = Plan("neutral-idle", "neutral", "idle")
DRIVE = Plan("drive-idle", "drive", "idle")
RAISED = Plan("raised-idle", "neutral", "raised")
AFTER_DRIVE = replace(DRIVE, name="after-drive-idle", stage="after")
AFTER_NEUTRAL = replace(NEUTRAL, name="after-neutral-idle", stage="after")


@dataclass(frozen=True)
class Demo:
    """One demo job: the car, what is done, how the files look, and what is told beside them."""

    folder: str
    title: str
    story: str
    cause: str
    engine: Engine
    seed: int
    plan: tuple[Plan, ...]
    layouts: tuple[str, ...]
    phone: Phone
    symptoms: Symptoms
    idle_spec_rpm: tuple[float, float]
    repair: RepairOutcome | None = None
    seconds: float = 20.0


DEMOS = (
    Demo(
        folder="mount-mended-and-proven",
        title="Engine mount mended and proven (invented data)",
        story="A four-cylinder automatic whose wheel buzzes at the lights. An engine mount has collapsed; the"
        " recordings named 'after' were made with a new one.",
        cause="engine-mount",
        engine=Engine(4, 4, "inline"),
        seed=35,
        plan=(NEUTRAL, DRIVE, RAISED, AFTER_DRIVE, AFTER_NEUTRAL),
        layouts=("plain", "quoted semicolon comma", "g tabs", "with magnitude", "nanoseconds"),
        phone=Phone(rate_hz=200.0, rate_error=-0.004, stamp_jitter_s=3e-4, stamps="jittered", filter_hz=92.0,
                    step_m_s2=0.0024, noise_m_s2_rthz=0.0016),
        symptoms=Symptoms(False, (), ("in gear",)),
        idle_spec_rpm=(690.0, 790.0),
        repair="cured",
    ),
    Demo(
        folder="dead-cylinder",
        title="Dead cylinder in a six (invented data)",
        story="A vee six that shakes whatever the gear. One cylinder does not burn; nothing is mended yet.",
        cause="cylinder-misfire",
        engine=Engine(6, 4, "vee"),
        seed=7,
        plan=(NEUTRAL, DRIVE, RAISED),
        layouts=("milliseconds", "windows", "nanoseconds"),
        phone=Phone(rate_hz=100.0, rate_error=0.003, sampling_jitter=0.02, loss=0.002, filter_hz=41.0,
                    step_m_s2=0.0098, noise_m_s2_rthz=0.0018, upside=-1),
        symptoms=Symptoms(True, ("P0306",), ("in gear", "neutral")),
        idle_spec_rpm=(700.0, 800.0),
        seconds=24.0,
    ),
    Demo(
        folder="idle-too-low",
        title="Idle sunk onto a resonance (invented data)",
        story="A three-cylinder automatic. Its idle has sunk until the firing frequency in gear sits on a"
        " natural frequency of the wheel and column. In the recording named 'after' the idle is back up.",
        cause="idle-resonance",
        engine=Engine(3, 4, "inline"),
        seed=122,
        plan=(NEUTRAL, DRIVE, RAISED, AFTER_DRIVE),
        layouts=("quoted semicolon comma", "plain", "windows", "quoted semicolon comma"),
        phone=Phone(rate_hz=100.0, rate_error=0.011, filter_hz=45.0, step_m_s2=0.0006, noise_m_s2_rthz=0.0009,
                    gravity=False),
        symptoms=Symptoms(False, (), ("in gear",)),
        idle_spec_rpm=(720.0, 800.0),
        repair="cured",
    ),
)  # fmt: skip


def make(demo: Demo) -> SimulatedJob:
    """The job of a demo; the same every time."""
    wanted = Wanted(
        demo.engine,
        transmission="automatic",
        repair=demo.repair,
        plan=demo.plan,
        phone=demo.phone,
        place="steering wheel",
        duration_s=demo.seconds,
    )
    job = simulate_job(demo.cause, wanted, seed=demo.seed)
    vehicle = replace(job.vehicle, idle_spec_rpm=demo.idle_spec_rpm, pulleys_mm={})
    return replace(job, title=demo.title, vehicle=vehicle, symptoms=demo.symptoms)


def readme(demo: Demo, job: SimulatedJob) -> str:
    """What is told beside the files: that all is invented, and what is true."""
    lines = [
        demo.title,
        "",
        demo.story,
        "",
        "All of this is simulated: no car was measured. What is true:",
        "",
    ]
    lines.append(f"  cause                 {job.cause} ({job.detail})")
    firing = job.vehicle.engine.firing_order
    for r in job.recordings:
        speed = "engine off" if r.truth.mean_rpm is None else f"{r.truth.mean_rpm:.1f} rpm"
        level = r.truth.orders_m_s2.get(firing, 0.0)
        half = r.truth.orders_m_s2.get(0.5, 0.0)
        lines.append(
            f"  {r.name:<20}  {speed}; order {firing:g}: {level:.3f} m/s2, order 0.5: {half:.3f} m/s2"
        )
    if job.verdict:
        lines.append(f"  repair                {job.verdict}")
    lines += ["", "Made by: python -m vibecore.simulate.demo", ""]
    return "\n".join(lines)


def write_all(folder: Path) -> list[Path]:
    """Write every demo job into its own folder below `folder`; returns their case files."""
    cases = []
    for demo in DEMOS:
        job = make(demo)
        cases.append(write_job(job, folder / demo.folder, layout=demo.layouts))
        (folder / demo.folder / "README.txt").write_text(readme(demo, job), encoding="utf-8")
    return cases


def main() -> None:
    """Write the demo jobs into the folder that the command names."""
    parser = argparse.ArgumentParser(description="Make the invented demo jobs again.")
    parser.add_argument(
        "folder", nargs="?", default="recordings", type=Path, help="where to (default: recordings)"
    )
    for case in write_all(parser.parse_args().folder):
        print(case)


if __name__ == "__main__":
    main()
