"""Ranking against Bayes' rule worked by hand, and its behaviour on the real catalogue."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecore.causes.load import Catalogue, catalogue
from vibecore.causes.ranking import rank, unused
from vibecore.engine import Engine, Vehicle
from vibecore.evidence.records import CauseEvidence
from vibecore.model import CheckOutcome, Evidence, RankedCause, Symptoms


def by_id(ranked: tuple[RankedCause, ...]) -> dict[str, RankedCause]:
    return {r.id: r for r in ranked}


def seen(cause: str, db: float) -> CauseEvidence:
    return CauseEvidence(cause, "made up", db, Evidence("for", db, "made up"))


def test_outcome_worked_by_hand(small: Catalogue) -> None:
    """Priors a1 0.3, a2 0.2, sound 0.5; 'yes' has 0.9, 0.1, 0.1: products 0.27, 0.02, 0.05, sum 0.34."""
    ranked = by_id(rank((), outcomes=(CheckOutcome("look", "yes"),), knowledge=small))
    assert ranked["a"].probability == pytest.approx(0.29 / 0.34)
    assert ranked["normal"].probability == pytest.approx(0.05 / 0.34)
    inside = {s.id: s.probability for s in ranked["a"].suspects}
    assert inside == {"a1": pytest.approx(0.27 / 0.29), "a2": pytest.approx(0.02 / 0.29)}


def test_diagnostic_test_of_the_textbook(small: Catalogue) -> None:
    """Sensitivity 0.8, one in five false, prior one half: 0.8 x 0.5 / (0.8 x 0.5 + 0.2 x 0.5) = 0.8."""
    ranked = by_id(rank((), Symptoms(check_engine_light=True), knowledge=small))
    assert ranked["a"].probability == pytest.approx(0.8)


def test_codes_worked_by_hand(small: Catalogue) -> None:
    """P0301: 4 on a, 3 more on a2: 0.3 x 4 + 0.2 x 12 against 0.5; the lamp it lit is not counted again."""
    ranked = by_id(rank((), Symptoms(True, ("p0301 ",)), knowledge=small))
    assert ranked["a"].probability == pytest.approx(3.6 / 4.1)


def test_rounding_decides_no_rank() -> None:
    """Alike causes stand as in the catalogue, whatever sums of floating-point numbers leave."""
    alike = [c.id for c in catalogue().causes if c.id in ("wheel-imbalance", "propshaft")]
    for cause in alike:
        ranked = [r.id for r in rank((seen(cause, 1e-12),)) if r.id in alike]
        assert ranked == alike


def test_what_came_of_reading_the_codes_counts_once_with_them_and_the_lamp() -> None:
    """One likelihood for one piece of news (Bayes' rule): said twice it is not surer."""
    lamp, code = Symptoms(True), Symptoms(True, ("P0301",))
    read = (CheckOutcome("read-codes", "misfire-one"),)
    assert rank((), code, read) == rank((), code)
    assert rank((), lamp, read) == rank((), Symptoms(), read)
    assert rank((), Symptoms(), read) != rank((), Symptoms())
    other = (CheckOutcome("plugs", catalogue().check("plugs").outcome[0].id),)
    assert rank((), code, other) != rank((), code)


def test_a_second_code_of_the_same_fault_counts_in_part(small: Catalogue) -> None:
    one = by_id(rank((), Symptoms(codes=("P0301",)), knowledge=small))["a"].probability
    two = by_id(rank((), Symptoms(codes=("P0301", "P0302")), knowledge=small))["a"].probability
    again = by_id(rank((), Symptoms(codes=("P0301", "P0301")), knowledge=small))["a"].probability
    full = 3.6 * 4 / (3.6 * 4 + 0.5)
    assert one == pytest.approx(again)
    assert one < two < full


def test_recordings_count_in_decibels(small: Catalogue) -> None:
    """Bayes: log ratios add; 10 dB are odds of ten to one."""
    ranked = by_id(rank((seen("a", 6.0), seen("a", 4.0)), knowledge=small))
    odds = 10.0
    assert ranked["a"].probability == pytest.approx(odds / (1 + odds))


def test_mileage_moves_suspects_but_not_their_cause(small: Catalogue) -> None:
    new = by_id(rank((), vehicle=Vehicle(Engine(4), mileage_km=1000), knowledge=small))["a"]
    old = by_id(rank((), vehicle=Vehicle(Engine(4), mileage_km=300000), knowledge=small))["a"]
    assert new.probability == pytest.approx(0.5)
    assert old.probability == pytest.approx(0.5)
    share = {s.id: s.probability for s in old.suspects}["a1"]
    assert {s.id: s.probability for s in new.suspects}["a1"] == pytest.approx(0.6, abs=0.01)
    assert share == pytest.approx(0.6 * 2.5 / (0.6 * 2.5 + 0.4), abs=0.005)


RATIOS = st.lists(
    st.tuples(st.sampled_from([c.id for c in catalogue().causes]), st.floats(-200, 200)), max_size=12
)


@settings(deadline=None)  # shared machines stall
@given(RATIOS, st.booleans(), st.lists(st.sampled_from(sorted(catalogue().codes)), max_size=4))
def test_probabilities_add_up_and_are_sorted(
    ratios: list[tuple[str, float]], lamp: bool, codes: list[str]
) -> None:
    ranked = rank([seen(c, db) for c, db in ratios], Symptoms(lamp, tuple(codes), ("in gear",)))
    p = [r.probability for r in ranked]
    assert sum(p) == pytest.approx(1)
    assert p == pytest.approx(
        sorted(p, reverse=True), abs=1e-9
    )  # alike to rounding they may stand either way
    assert all(math.isfinite(v) for v in p)
    for r in ranked:
        assert sum(s.probability for s in r.suspects) == pytest.approx(1)


@pytest.mark.parametrize("check", catalogue().checks, ids=lambda c: c.id)
def test_an_outcome_moves_its_suspects_the_right_way(check) -> None:  # type: ignore[no-untyped-def]
    """A suspect under which the outcome is likelier than on average rises, any other falls."""
    before = {s.id: r.probability * s.probability for r in rank(()) for s in r.suspects}
    for outcome in check.outcome:
        after = {
            s.id: r.probability * s.probability
            for r in rank((), outcomes=(CheckOutcome(check.id, outcome.id),))
            for s in r.suspects
        }
        mean = sum(
            before[s.id] * check.likelihood(outcome.id, s.id, c.id)
            for c in catalogue().causes
            for s in c.suspect
        )
        for cause in catalogue().causes:
            for s in cause.suspect:
                ratio = check.likelihood(outcome.id, s.id, cause.id) / mean
                assert after[s.id] / before[s.id] == pytest.approx(ratio, rel=1e-6)


def test_a_cracked_mount_is_named_with_its_reason() -> None:
    ranked = rank((), outcomes=(CheckOutcome("mount-look", "cracked"),))
    assert ranked[0].id == "engine-mount"
    assert any("cracked" in e.text and e.says == "for" for e in ranked[0].evidence)


def test_what_is_not_in_the_catalogue_is_said_and_not_used() -> None:
    symptoms = Symptoms(codes=("P9999", "P0301"))
    outcomes = (CheckOutcome("mount-look", "purple"), CheckOutcome("no-such", "x"))
    notes = unused(symptoms, outcomes)
    assert len(notes) == 3
    assert "cracked" in notes[1]
    assert rank((), symptoms, outcomes) == rank((), Symptoms(codes=("P0301",)))
    (note,) = unused(Symptoms(shakes_when=("sometimes", "cold")), ())
    assert "sometimes" in note
    assert "in gear" in note


def test_shaking_only_on_the_road_points_at_wheels() -> None:
    still = by_id(rank((), Symptoms(shakes_when=("in gear",))))
    moving = by_id(rank((), Symptoms(shakes_when=("moving",))))
    assert moving["wheel-imbalance"].probability > 3 * still["wheel-imbalance"].probability


def test_one_fact_counts_once_be_it_recorded_or_read_off() -> None:
    """Whoever compares the idle with the plate sees what the recording measured: the outcome alone counts."""
    low = CauseEvidence("idle-resonance", "idle speed", 7.0, Evidence("for", 7.0, "7 % below"))
    other = seen("idle-resonance", 3.0)
    done = (CheckOutcome("idle-speed", "low"),)
    assert rank((low, other), outcomes=done) == rank((other,), outcomes=done)
    unknown = (CheckOutcome("idle-speed", "fair"),)  # not used, so the recording counts
    assert rank((low, other), outcomes=unknown) == rank((low, other))
    alone, both = (by_id(rank(e))["idle-resonance"].probability for e in ((other,), (low, other)))
    assert both > alone
