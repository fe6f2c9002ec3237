"""Two files through the command line as they are, nothing put in its place: what is told beside the verdict.

Outside check: the files are sines on orders of a crank of known angle, so the truth of each change is known.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from tests.speed.closed_form import GRAVITY, Crank, noise, shake
from vibecore import cli
from vibecore.model import Floats
from vibecore.places import demo_folder

FS_HZ = 200.0
RUNS = {0.5: 0.02, 1.0: 0.05, 2.0: 0.5, 4.0: 0.05}  # m/s2 on each order


def write(
    file: Path,
    orders: Mapping[float, float],
    *,
    seed: int,
    seconds: float = 30.0,
    noise_m_s2: float = 0.03,
    uneven: float = 0.0,
) -> None:
    """A file as phones write them. uneven: standard deviation of the shake's strength, from one fifth of a
    second to the next, over its mean."""
    t_s = np.arange(round(seconds * FS_HZ)) / FS_HZ
    wave = shake(Crank(11.7, seconds, swing_hz=0.1).angle_rev(t_s), orders, seed=3) * _strength(
        t_s, uneven, seed
    )
    accel = wave + noise(len(t_s), noise_m_s2, seed=seed) + [0.0, 0.0, GRAVITY]
    rows = [",".join(f"{v:.5f}" for v in (t, *row)) for t, row in zip(t_s, accel, strict=True)]
    file.write_text("time (s),x (m/s2),y (m/s2),z (m/s2)\n" + "\n".join(rows) + "\n")


def _strength(t_s: Floats, uneven: float, seed: int) -> Floats:
    steps = (5 * t_s).astype(int)
    drawn = 1 + uneven * np.random.default_rng(seed + 5).standard_normal(steps[-1] + 1)
    return np.asarray(drawn[steps][:, None])


def compared(folder: Path) -> Any:
    tachometer = ("--rpm-before", "700", "--rpm-after", "700")
    files = (str(folder / "first.csv"), str(folder / "second.csv"))
    done = CliRunner().invoke(cli.cli, ("compare", *files, "--cylinders", "4", *tachometer, "--json"))
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)["repair"]


@pytest.mark.parametrize(
    ("firing", "hum", "verdict"), [(0.5, 0.15, "unchanged"), (0.05, 0.15, "cured"), (2.0, 0.5, "worse")]
)
def test_a_belt_that_hums_since_the_repair_is_named_whatever_the_verdict(
    tmp_path: Path, firing: float, hum: float, verdict: str
) -> None:
    write(tmp_path / "first.csv", RUNS, seed=1)
    write(tmp_path / "second.csv", {**RUNS, 2.0: firing, 2.71: hum}, seed=2)
    repair = compared(tmp_path)
    assert repair["verdict"] == verdict
    # 11.7 turns a second: order 2.71 is 31.7 Hz.
    assert f"New since the repair: a line at 31.7 Hz (engine order 2.71), {hum:.3f} m/s2." in repair["notes"]


def test_short_recordings_of_an_uneven_shake_say_how_long_to_record(tmp_path: Path) -> None:
    for name, seed in (("first", 1), ("second", 12)):
        write(tmp_path / f"{name}.csv", RUNS, seed=seed, seconds=8.0, noise_m_s2=0.3, uneven=0.8)
    repair = compared(tmp_path)
    assert repair["verdict"] == "cannot-tell"
    (told,) = [note for note in repair["notes"] if "could not be seen" in note]
    found = re.fullmatch(
        r"With these two recordings a change of less than ([\d.]+) times, up or down, could not be seen "
        r"\(([\d.]+) dB\)\. Record (\d+) s each time to see one of ([\d.]+) times \(([\d.]+) dB\)\.",
        told,
    )
    assert found is not None, told
    least, least_db, seconds, best, best_db = map(float, found.groups())
    assert 8.0 < seconds < 300.0
    assert least > best > 1.0
    for times, db in ((least, least_db), (best, best_db)):
        assert db == pytest.approx(20 * np.log10(times), abs=0.35)  # told to a tenth of a time


def test_two_recordings_of_a_demo_are_compared_as_their_job_compares_them() -> None:
    """The names say 'drive' and 'idle', as the case file does; with a reading the lines are compared, without
    one the whole shake: never at a speed that one alone would not have given."""
    folder = demo_folder() / "mount-mended-and-proven"
    files = [str(folder / name) for name in ("drive-idle.csv", "after-drive-idle.csv")]
    pair = ["compare", *files, "--cylinders", "4", "--json"]
    found = json.loads(CliRunner().invoke(cli.cli, pair).stdout)
    assert found["repair"]["verdict"] == "cured"
    assert found["recordings"][0]["engine_speed"] is None
    read = CliRunner().invoke(cli.cli, [*pair, "--rpm-before", "680", "--rpm-after", "690"])
    found = json.loads(read.stdout)
    assert found["repair"]["verdict"] == "cured"
    assert "own lines (order 2)" in found["repair"]["why"]
