"""The demo jobs in recordings/: invented, small, true to what they say, and made again by the same
command."""

from pathlib import Path

import numpy as np
import pytest

from vibecore.case import load_case
from vibecore.reading import read_recording
from vibecore.simulate.demo import DEMOS, Demo, make, write_all
from vibecore.simulate.writing import write_job

RECORDINGS = Path(__file__).parent.parent.parent / "recordings"
demos = pytest.mark.parametrize("demo", DEMOS, ids=lambda d: d.folder)


def _names(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in folder.rglob("*.*")}


def test_made_again_they_are_the_same(tmp_path: Path) -> None:
    """Within one step of the values kept (another machine's arithmetic may differ in the last bit, and a
    value on the edge of two steps may fall the other way). Bit for bit on one machine: test_writing.py."""
    write_all(tmp_path)
    assert _names(tmp_path) == _names(RECORDINGS)
    for demo in DEMOS:
        kept, made = (load_case(root / demo.folder / "case.toml") for root in (RECORDINGS, tmp_path))
        assert (kept.path.read_text("utf-8"), kept.title) == (made.path.read_text("utf-8"), demo.title)
        for recording in kept.recordings:
            a, b = (read_recording(case.file_of(recording)) for case in (kept, made))
            assert np.allclose(a.t_s, b.t_s, atol=2e-6)
            assert np.allclose(a.accel_m_s2, b.accel_m_s2, atol=1.01 * demo.phone.step_m_s2)


@demos
def test_they_say_that_they_are_invented(demo: Demo) -> None:
    assert "invented" in load_case(RECORDINGS / demo.folder / "case.toml").title
    assert "no car was measured" in (RECORDINGS / demo.folder / "README.txt").read_text("utf-8")


def test_they_are_small() -> None:
    assert sum(p.stat().st_size for p in RECORDINGS.rglob("*.*")) < 3_000_000


@demos
def test_they_show_what_they_are_about(demo: Demo, tmp_path: Path) -> None:
    job = make(demo)
    levels = {r.name: r.truth.orders_m_s2 for r in job.recordings}
    firing = demo.engine.firing_order
    if demo.repair:
        assert levels["after-drive-idle"][firing] < 0.4 * levels["drive-idle"][firing]
        assert levels["neutral-idle"][firing] < levels["drive-idle"][firing]
    else:
        assert levels["neutral-idle"][0.5] > levels["neutral-idle"][firing]
    case = load_case(write_job(job, tmp_path, layout="plain"))
    assert 3 <= len(case.recordings) <= 5
