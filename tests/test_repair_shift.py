"""What lines that the repair cannot have touched tell of the taping."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made, on, scaled
from vibecore import repair
from vibecore.repair import shift
from vibecore.repair.lines import LevelChange

PLACING_DB = 1.5


def test_without_a_line_to_tell_the_taping_is_as_unknown_as_before() -> None:
    assert shift.shift([], PLACING_DB) == LevelChange(0.0, PLACING_DB)
    vague = [LevelChange(5.0, 2.5), LevelChange(-3.0, 4.0)]
    assert shift.shift(vague, PLACING_DB) == LevelChange(0.0, PLACING_DB)


def test_agreeing_lines_weigh_as_normal_theory_says(monkeypatch: pytest.MonkeyPatch) -> None:
    # Mean of a normal distribution with a normal prior: precisions add (Gelman et al., Bayesian Data
    # Analysis, 3rd ed., eq. 2.12; from memory). No line may have changed of itself, and none is vague.
    monkeypatch.setattr(shift, "ONE_CHANGED", 0.0)
    monkeypatch.setattr(shift, "ALL_CHANGED", 0.0)
    changes = [LevelChange(1.8, 0.3), LevelChange(2.4, 0.6), LevelChange(1.1, 0.9)]
    own = shift.OWN_SHARE * PLACING_DB
    prior = 1 / (PLACING_DB**2 - own**2)
    weights = [1 / (c.sd_db**2 + own**2) for c in changes]
    variance = 1 / (prior + sum(weights))
    got = shift.shift(changes, PLACING_DB)
    assert got.db == pytest.approx(
        variance * sum(w * c.db for w, c in zip(weights, changes, strict=True)), abs=1e-3
    )
    assert got.sd_db == pytest.approx(np.sqrt(variance + own**2), abs=1e-3)


def test_one_line_that_changed_of_itself_is_let_be() -> None:
    steady = [LevelChange(d, 0.3) for d in (1.9, 2.1, 2.0, 1.8)]
    assert shift.shift([*steady, LevelChange(-9.0, 0.3)], PLACING_DB).db == pytest.approx(
        shift.shift(steady, PLACING_DB).db, abs=0.3
    )


def test_lines_that_all_fell_with_the_fault_tell_nothing() -> None:
    # No taping takes 9 dB off everything: the repair did, and it must not be reckoned away.
    got = shift.shift([LevelChange(-9.0 + d, 0.3) for d in (-0.5, 0.0, 0.4)], PLACING_DB)
    assert abs(got.db) < 0.5
    assert got.sd_db == pytest.approx(PLACING_DB, abs=0.3)


def test_interval_covers_and_is_narrower_than_without_other_lines() -> None:
    # The truth of an interval: 95 of 100 hold it or a few more, for it leaves room for lines that changed of
    # themselves, of which there is none here. The taping is half each line's own.
    rng = np.random.default_rng(12)
    own, common = 0.5 * PLACING_DB, np.sqrt(0.75) * PLACING_DB
    hits, widths = [], []
    for _ in range(600):
        placed = rng.normal(0, common) + rng.normal(0, own, len(SOUND))
        after = {o: v * 10 ** (p / 20) for (o, v), p in zip(SOUND.items(), placed, strict=True)}
        after[2.0] *= 10 ** (-8.0 / 20)
        got = repair.compare(made(SOUND), made(after, AFTER), on(2.0), engine=FOUR)
        assert got.low_db is not None
        assert got.high_db is not None
        hits.append(got.low_db <= -8.0 <= got.high_db)
        widths.append(got.high_db - got.low_db)
    assert 0.94 < np.mean(hits) < 0.99
    assert np.median(widths) < 0.8 * 2 * 1.96 * PLACING_DB


def test_what_is_taken_off_is_said() -> None:
    risen = made(scaled(3.0, tuple(SOUND)), AFTER)
    got = repair.compare(made(SOUND), risen, on(2.0), engine=FOUR)
    assert got.verdict == "unchanged"
    assert any("taken off the change" in n for n in got.notes)


@pytest.mark.parametrize("risen_db", [0.4, 0.9, 3.0])
def test_the_numbers_of_the_sentence_add_up(risen_db: float) -> None:
    """Level after over level before, less what is said to be the taping's, is the change that is said: by
    hand, to the tenth that is shown."""
    after = made(scaled(risen_db, tuple(SOUND)) | {2.0: 0.02}, AFTER)
    why = repair.compare(made(SOUND), after, on(2.0), engine=FOUR).why
    was, now = (float(m) for m in re.findall(r"from ([\d.]+) to ([\d.]+) m/s2", why)[0])
    taped = re.search(r"less what the taping did \(([+-][\d.]+) dB\)", why)
    told = re.search(r"; ([+-][\d.]+) dB, ", why)
    assert taped
    assert told
    by_hand = 20 * np.log10(now / was) - float(taped.group(1))
    assert float(told.group(1)) == pytest.approx(by_hand, abs=0.15)  # levels are shown to three digits


def test_what_bridges_the_mounts_moves_every_order_and_none_of_them_tells_the_taping() -> None:
    """All orders 4 dB up: from imbalance, that is how the phone was taped on; from a mount, it may be the
    mount."""
    loud = SOUND | {1.0: 0.3, 2.0: 0.5}
    job = [made(loud, WHEEL), made({o: v * 10**0.2 for o, v in loud.items()}, AFTER)]
    found = {c: repair.repair_of_job(job, FOUR, cause_id=c) for c in ("engine-mount", "rotating-imbalance")}
    changes = {c: r.change_db for c, r in found.items() if r is not None and r.change_db is not None}
    assert changes["engine-mount"] == pytest.approx(4.0, abs=0.01)
    assert changes["rotating-imbalance"] < changes["engine-mount"] - 0.5
