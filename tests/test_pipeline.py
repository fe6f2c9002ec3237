"""The whole way: one recording analysed, inputs left alone, nothing heavy loaded."""

from __future__ import annotations

import copy
import pickle
import subprocess
import sys
import time
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from tests.pipeline_made import DEMOS, FOUR, IDLE, ROOT, SOUND, diagnosed, loaded, recorded
from tests.speed.closed_form import Crank, as_recording, db, noise
from vibecore import analyze, diagnose
from vibecore.model import Symptoms, Warn

# ---------------------------------------------------------------- one recording


def test_a_minute_at_400_hertz_is_answered_right_and_soon() -> None:
    """Truth by formula. The time is a sanity limit for a busy machine; the benchmark holds the promise."""
    recording = recorded()
    analyze(recording, FOUR, IDLE)  # warm
    begin = time.process_time()
    analysis = analyze(recording, FOUR, IDLE)
    assert time.process_time() - begin < 1.0
    true_rpm = Crank(12.0, 60.0, swing_hz=0.1).mean_rpm(*analysis.signal.used_span_s)
    assert analysis.speed is not None
    assert analysis.speed.mean_rpm == pytest.approx(true_rpm, rel=1e-3)
    assert analysis.orders is not None
    for order, rms in SOUND.items():
        level = analysis.orders.level(order)
        assert level is not None
        assert abs(db((level.rms_m_s2 or 1e-9) / rms)) < 0.6
    total = np.sqrt(sum(v**2 for v in SOUND.values()) + 0.05**2)
    assert analysis.overall.rms_m_s2 == pytest.approx(total, rel=0.02)


def test_an_analysis_belongs_together() -> None:
    recording = recorded(30.0, 200.0)
    analysis = analyze(recording, FOUR, replace(IDLE, tachometer_rpm=730.0))
    assert analysis.recording is recording
    assert analysis.name == recording.name
    assert analysis.condition.tachometer_rpm == 730.0
    assert analysis.speed is not None
    assert analysis.speed.found_by == "vibration with tachometer"
    assert len(analysis.speed.angle_rev) == len(analysis.signal.accel_m_s2)
    assert analysis.spectrum_hz.unit == "hertz"
    for start_s, end_s in (analysis.signal.used_span_s,):
        assert 0.0 <= start_s < end_s <= recording.duration_s + 0.01
        assert start_s - 0.01 <= analysis.speed.t_s[0]
        assert analysis.speed.t_s[-1] <= end_s + 0.01


def test_without_the_cylinders_lines_and_orders_are_read_all_the_same() -> None:
    """A line's order needs the speed only; how many cylinders there are tells what it means."""
    analysis = analyze(recorded(30.0, 200.0), None, IDLE)
    assert {12.0, 24.0} <= {round(line.frequency_hz) for line in analysis.lines}
    if analysis.speed is not None and analysis.orders is not None:
        assert analysis.speed.mean_rpm == pytest.approx(720.0, rel=0.01)
        level = analysis.orders.level(2.0)
        assert level is not None
        assert level.rms_m_s2 == pytest.approx(SOUND[2.0], rel=0.05)


def test_without_a_speed_the_reason_is_among_the_warnings() -> None:
    t_s = np.arange(4000) / 200.0
    analysis = analyze(as_recording(t_s, noise(4000, 0.05), 200.0), FOUR, IDLE)
    assert analysis.speed is None
    assert analysis.orders is None
    assert any("speed" in w.message or "lines" in w.message for w in analysis.warnings)
    assert analysis.overall.rms_m_s2 == pytest.approx(0.05, rel=0.05)


def test_an_engine_said_to_be_off_that_a_tachometer_read_is_asked_about_and_speaks_for_no_cause() -> None:
    """With the engine off only a fan shakes: taken at its word, a slip of the hold would be a sure fan."""
    off = replace(IDLE, speed_hold="engine off", gear=None)
    read = replace(off, tachometer_rpm=700.0)
    recording = recorded(30.0, 200.0)
    codes = {c: [w.code for w in analyze(recording, FOUR, c).warnings] for c in (off, read)}
    assert "hold-doubtful" in codes[read]
    assert "hold-doubtful" not in codes[off]
    case = replace(loaded(DEMOS[0])[0], checks=(), symptoms=Symptoms())
    found = {c.id: c for c in diagnose(case, [(recording, read)]).causes}
    assert not found["cooling-fan"].evidence
    # Nor are its lines taken for a fan's in the other recordings.
    running = recorded(30.5, 200.0)
    (alone,) = diagnose(case, [(running, IDLE)]).analyses
    beside, _ = diagnose(case, [(running, IDLE), (recording, read)]).analyses
    assert alone.speed is not None
    assert beside.warnings == alone.warnings
    assert beside.speed is not None
    assert beside.speed.mean_rpm == alone.speed.mean_rpm


def test_warnings_of_all_steps_are_gathered_once_each() -> None:
    recording = replace(recorded(10.0, 60.0), warnings=(Warn("rate-unused", "Said by reading."),) * 2)
    codes = [w.code for w in analyze(recording, FOUR, IDLE).warnings]
    assert {"rate-unused", "short", "slow"} <= set(codes)
    assert len(codes) == len(set(codes))


# ---------------------------------------------------------------- purity


def _arrays(record: object) -> list[np.ndarray]:
    if isinstance(record, np.ndarray):
        return [record]
    if isinstance(record, tuple):
        return [a for part in record for a in _arrays(part)]
    if is_dataclass(record):
        return [a for f in fields(record) for a in _arrays(getattr(record, f.name))]
    return []


def test_every_array_of_an_answer_is_read_only_and_stays_so_in_copies() -> None:
    analysis = analyze(recorded(20.0, 200.0), FOUR, IDLE)
    for record in (analysis, pickle.loads(pickle.dumps(analysis)), copy.deepcopy(analysis)):
        arrays = _arrays(record)
        assert len(arrays) >= 8
        assert not any(a.flags.writeable for a in arrays)


def test_inputs_are_left_alone_and_the_answer_repeats() -> None:
    recording = recorded(20.0, 200.0)
    before = [a.copy() for a in _arrays(recording)]
    first, second = analyze(recording, FOUR, IDLE), analyze(recording, FOUR, IDLE)
    for now, then in zip(_arrays(recording), before, strict=True):
        np.testing.assert_array_equal(now, then)
    assert first.speed is not None
    assert second.speed is not None
    assert first.speed.mean_rpm == second.speed.mean_rpm
    assert first.orders is not None
    assert second.orders is not None
    assert first.orders.levels == second.orders.levels
    assert first.warnings == second.warnings


def test_no_number_of_an_answer_is_nan() -> None:
    for folder in DEMOS:
        for analysis in diagnosed(folder).analyses:
            assert all(np.isfinite(a).all() for a in _arrays(analysis) if a.dtype.kind == "f")


# ---------------------------------------------------------------- what is loaded


def test_a_diagnosis_loads_neither_librosa_nor_a_compiler_nor_a_screen() -> None:
    """Before a first answer nothing compiles: seen in a process of its own."""
    folder = ROOT / "recordings" / "dead-cylinder"
    code = (
        "import sys\n"
        "from vibecore import load_case, read_recording, diagnose\n"
        f"case = load_case({str(folder / 'case.toml')!r})\n"
        "pairs = [(read_recording(case.file_of(r)), r.condition) for r in case.recordings]\n"
        "assert diagnose(case, pairs).causes\n"
        "heavy = ('librosa', 'numba', 'llvmlite', 'streamlit', 'plotly', 'matplotlib')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
