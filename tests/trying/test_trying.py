"""Whether an engine noticed what was tried, on recordings whose truth is a formula.

Levels and speeds are read against the formula; that a leak found with cleaner moves the idle, and that a
cylinder switched off makes it shake, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import as_recording, noise, shake
from vibecore.engine import Engine
from vibecore.errors import VibecoreError
from vibecore.trying.change import MeanChange
from vibecore.trying.kinds import as_kind, kind_of
from vibecore.trying.noticing import did_it_notice
from vibecore.trying.records import SHAKE, SPEED, UNEVEN, Reading, Tried
from vibecore.trying.words import tried_words

FS_HZ = 100.0
FOUR = Engine(4)
SOUND = {2.0: 0.12, 4.0: 0.02, 1.0: 0.02, 0.5: 0.006}


def tried(
    rpm=(700.0, 700.0, 700.0),
    orders=(SOUND, SOUND, SOUND),
    part_s=20.0,
    wander_rpm=4.0,
    seed=1,
):
    """A recording of as many parts, each with its own mean speed and orders; the speed wanders by itself with
    a memory of some seconds."""
    t_s = np.arange(round(part_s * len(rpm) * FS_HZ)) / FS_HZ
    part = np.minimum((t_s // part_s).astype(int), len(rpm) - 1)
    rng = np.random.default_rng(seed)
    steps = rng.standard_normal(int(t_s[-1]) + 12)
    own = np.convolve(steps, np.exp(-np.arange(8) / 2.0))[: len(steps)]
    own *= wander_rpm / own.std()
    speed = np.asarray(rpm)[part] + np.interp(t_s, np.arange(len(own)) - 4.0, own)
    angle = np.cumsum(speed) / 60 / FS_HZ
    accel = noise(len(t_s), 0.02, seed=seed)
    for number, levels in enumerate(orders):
        accel += shake(angle, levels, seed=2) * (part == number)[:, None]
    return as_recording(t_s, accel, FS_HZ)


def until(recording, end_s):
    """The same, stopped at that time."""
    kept = recording.t_s < end_s
    t_s, accel = recording.t_s[kept], recording.accel_m_s2[kept]
    return replace(recording, t_s=t_s, accel_m_s2=accel, rows=len(t_s))


def told(result):
    return {reading.what: reading for reading in result.readings}


def test_nothing_tried_nothing_noticed():
    result = did_it_notice(tried(), FOUR, 20.0, 40.0)
    assert result.heeded == "not noticed"
    assert all(reading.still for reading in result.readings)
    assert "no reading moved by as much as 25 rpm or 1.4 times (3 dB)" in tried_words(result)


def test_an_idle_that_rises_and_falls_back_was_noticed():
    result = did_it_notice(tried(rpm=(700.0, 735.0, 700.0)), FOUR, 20.0, 40.0)
    assert result.heeded == "noticed"
    speed = told(result)[SPEED]
    assert speed.begun.low < 35.0 < speed.begun.high
    assert speed.means == pytest.approx((700, 735, 700), abs=6)
    text = tried_words(result)
    assert text.startswith("The engine noticed: the engine speed rose by 3")
    assert text.endswith("went back when it was undone.")


def test_cleaner_tells_nothing_where_the_speed_could_not_be_read():
    """Common practice, no source: an idle that rises is the main sign of a leak that the cleaner finds."""
    still = did_it_notice(tried(), FOUR, 20.0, 40.0)
    unread = replace(still, readings=tuple(r for r in still.readings if r.what != SPEED))
    cleaner, cylinder = kind_of("cleaner"), kind_of("cylinder")
    assert as_kind(still, cleaner) is still
    assert as_kind(unread, cylinder) is unread
    judged = as_kind(unread, cleaner)
    assert judged.heeded == "cannot tell"
    assert cleaner.meaning(judged.heeded) == ""
    assert tried_words(judged).startswith("Cannot tell: the engine speed could not be read")
    assert "rev counter" in tried_words(judged)
    shaken = did_it_notice(tried(orders=(SOUND, SOUND | {0.5: 0.15}, SOUND)), FOUR, 20.0, 40.0)
    seen = replace(shaken, readings=tuple(r for r in shaken.readings if r.what != SPEED))
    assert as_kind(seen, cleaner).heeded == "noticed"


def test_a_cylinder_switched_off_shows_below_the_firing_order():
    """Order 0.5 from 0.006 to 0.15 m/s2, order 1 from 0.02 to 0.1: 18.7 dB by the formula, less the noise."""
    weak = SOUND | {0.5: 0.15, 1.0: 0.1}
    result = did_it_notice(tried(orders=(SOUND, weak, SOUND)), FOUR, 20.0, 40.0)
    assert result.heeded == "noticed"
    uneven, whole = told(result)[UNEVEN], told(result)[SHAKE]
    assert uneven.begun.value == pytest.approx(18.3, abs=1.5)
    assert uneven.noticed
    assert f"became {10 ** (uneven.begun.value / 20):.1f} times as strong" in tried_words(result)
    # 0.01474 m/s2 squared of orders 2, 4, 1 and 0.5 before; with the weak cylinder 0.04750
    squares = [sum(v**2 for v in levels.values()) for levels in (SOUND, weak)]
    assert whole.begun.value == pytest.approx(10 * np.log10(squares[1] / squares[0]), abs=0.4)


def test_levels_are_those_of_the_formula():
    result = did_it_notice(tried(wander_rpm=0.5), FOUR, 20.0, 40.0)
    noise_there = 0.02**2 * 37 / 50  # white up to 50 Hz, read from 3 to 40
    square = sum(v**2 for v in SOUND.values()) + noise_there
    assert told(result)[SHAKE].means == pytest.approx([10 * np.log10(square)] * 3, abs=0.25)


def test_what_does_not_go_back_may_be_drift():
    result = did_it_notice(tried(rpm=(700.0, 735.0, 735.0)), FOUR, 20.0, 40.0)
    assert result.heeded == "cannot tell"
    assert "did not go back" in tried_words(result)


def test_what_was_not_undone_is_noticed_with_a_word_of_doubt():
    result = did_it_notice(tried(rpm=(700.0, 735.0)), FOUR, 20.0)
    assert result.heeded == "noticed"
    assert "Undo it in the same recording" in tried_words(result)


def test_what_was_undone_with_too_little_after_it_asks_for_more():
    """Undone at 40 s of 46: that it was is not to be asked for again."""
    whole = tried(rpm=(700.0, 735.0, 700.0))
    result = did_it_notice(until(whole, 46.0), FOUR, 20.0, 40.0)
    assert result.heeded == "noticed"
    text = tried_words(result)
    assert "Record for 15 s after undoing it" in text
    assert "Undo it in the same recording" not in text
    beyond = did_it_notice(tried(rpm=(700.0, 735.0)), FOUR, 20.0, 60.0)  # it was stopped at 40 s
    assert "Undo it in the same recording" in tried_words(beyond)


def test_what_was_never_undone_is_not_said_to_have_failed_to_go_back():
    """A change too small to be noticed, beside a reading that wanders too much to tell."""
    small, wide = MeanChange(3.0, 1.0, 5.0), MeanChange(1.0, -4.0, 6.0)
    speed = Reading(SPEED, "rpm", (700.0, 703.0), small, None)
    shake = Reading(SHAKE, "dB", (-20.0, -19.0), wide, None)
    text = tried_words(Tried("cannot tell", (speed, shake), (), undone=False))
    assert "when it was undone" not in text
    assert "wanders so much that a change of less than 1.8 times (5 dB) in the whole shake" in text
    back = replace(speed, means=(700.0, 703.0, 700.0), undone=MeanChange(-3.0, -5.0, -1.0))
    text = tried_words(Tried("cannot tell", (back, replace(shake, undone=wide)), (), undone=True))
    assert "did not go back" not in text


def test_an_idle_that_hunts_cannot_tell_a_small_change():
    result = did_it_notice(tried(rpm=(700.0, 712.0, 700.0), wander_rpm=30.0, part_s=12.0), FOUR, 12.0, 24.0)
    assert result.heeded == "cannot tell"
    assert "wanders so much" in tried_words(result)


def test_false_alarms_are_rare():
    """Nothing was done: at most 5 % by the promise of the interval, fewer for it must go back as well."""
    heeded = [did_it_notice(tried(seed=seed, part_s=15.0), FOUR, 15.0, 30.0).heeded for seed in range(40)]
    assert heeded.count("noticed") <= 1
    assert heeded.count("not noticed") >= 38


def test_too_little_on_one_side_is_said():
    recording = tried()
    with pytest.raises(VibecoreError, match="before it was begun"):
        did_it_notice(recording, FOUR, 5.0, 40.0)
    with pytest.raises(VibecoreError, match="too short to tell"):
        did_it_notice(recording, FOUR, 20.0, 24.0)
    with pytest.raises(VibecoreError, match="too short to tell"):
        did_it_notice(recording, FOUR, 58.0)
    with pytest.raises(VibecoreError, match="before it was begun"):
        did_it_notice(recording, FOUR, -3.0, 40.0)
    with pytest.raises(VibecoreError, match="too short to tell"):
        did_it_notice(recording, FOUR, 90.0, 120.0)
    assert did_it_notice(recording, FOUR, 20.0, 120.0).readings[0].undone is None


def test_undone_at_the_very_beginning_is_no_moment_left_out():
    with pytest.raises(VibecoreError, match="too short to tell"):
        did_it_notice(tried(rpm=(700.0, 735.0)), FOUR, 20.0, 0.0)


@pytest.mark.parametrize("left", [0.0, 0.005, 0.5, 2.0])
def test_a_gap_over_a_whole_part_is_said(left):
    """Nothing, one sample, half a second and two seconds of what was recorded while it was on."""
    whole = tried()
    lost = (whole.t_s >= 20.0 + left) & (whole.t_s < 29.5)
    gap = replace(whole, t_s=whole.t_s[~lost], accel_m_s2=whole.accel_m_s2[~lost], rows=int((~lost).sum()))
    with pytest.raises(VibecoreError, match="too little of the recording is whole"):
        did_it_notice(gap, FOUR, 18.5, 30.5)


def test_without_cylinders_speed_and_the_whole_shake_tell():
    result = did_it_notice(tried(rpm=(700.0, 740.0, 700.0)), None, 20.0, 40.0)
    assert UNEVEN not in told(result)
    assert result.heeded == "noticed"
