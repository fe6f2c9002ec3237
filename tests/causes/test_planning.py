"""The next check: information against closed forms, and what may not be proposed."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import entropy

from tests.benchmarks.following import WAYS, dice, follow
from vibecore import words
from vibecore.causes import planning
from vibecore.causes.load import Catalogue, catalogue
from vibecore.causes.planning import effort_minutes, entropy_bits, expected_information, outcome_table, plan
from vibecore.causes.ranking import hypotheses_of, rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence.records import CauseEvidence
from vibecore.evidence.words import MEANINGS
from vibecore.model import CheckOutcome, Evidence, Symptoms


def test_weighing_twelve_balls() -> None:
    """Twelve balls, one odd, heavy or light: weighing four against four has three equal outcomes and tells
    log2 3 = 1.585 bits; six against six tells 1 bit (MacKay, Information Theory, Inference, and Learning
    Algorithms, 2003, chapter 4, the weighing problem; from memory)."""
    p = np.full(24, 1 / 24)  # ball 0..11 heavy, then ball 0..11 light

    def weighing(left: range, right: range) -> np.ndarray:
        table = np.zeros((3, 24))
        for ball in range(12):
            heavy = 0 if ball in left else 1 if ball in right else 2
            light = 1 if ball in left else 0 if ball in right else 2
            table[heavy, ball] = table[light, 12 + ball] = 1
        return table

    assert expected_information(p, weighing(range(4), range(4, 8))) == pytest.approx(np.log2(3))
    assert expected_information(p, weighing(range(6), range(6, 12))) == pytest.approx(1)


def test_binary_symmetric_channel() -> None:
    """A check that is wrong in one case of ten on an even question tells 1 - H2(0.1) = 0.531 bit (MacKay
    2003, chapter 9)."""
    table = np.array([[0.9, 0.1], [0.1, 0.9]])
    assert expected_information(np.array([0.5, 0.5]), table) == pytest.approx(0.531, abs=5e-4)


def test_entropy_against_scipy() -> None:
    p = np.random.default_rng(3).dirichlet(np.ones(40))
    assert entropy_bits(p) == pytest.approx(entropy(p, base=2))
    assert entropy_bits(np.array([1.0, 0.0])) == 0


def test_information_is_mutual_information() -> None:
    """I = H(outcome) - H(outcome | suspect), the same number the other way round, by scipy.stats.entropy."""
    hypotheses = hypotheses_of(catalogue())
    p = np.random.default_rng(4).dirichlet(np.ones(len(hypotheses)))
    for check in catalogue().checks:
        table = outcome_table(check, hypotheses)
        other = entropy(table @ p, base=2) - np.sum(p * entropy(table, axis=0, base=2))
        assert expected_information(p, table) == pytest.approx(other, abs=1e-9), check.id


def test_gain_by_hand(small: Catalogue) -> None:
    """a1 0.3, a2 0.2, sound 0.5; yes 0.9, 0.1, 0.1. P(yes) = 0.34; I = H2(0.34) - H2(0.1) = 0.9249 -
    0.4690.
    """
    (check,) = plan(rank((), knowledge=small), knowledge=small)
    assert check.gain_bits == pytest.approx(0.4559, abs=5e-4)
    assert check.cautions == ("belts and fan",)
    assert "'yes'" in check.why
    assert "79 %" in check.why  # 0.27 / 0.34


def test_a_check_is_explained_by_what_is_worth_naming() -> None:
    """With one cause nearly sure, what moves most may be a suspect under one in a hundred."""
    sure = {"engine-mount": 0.994, "exhaust-contact": 0.005}
    ranked = [replace(c, probability=sure.get(c.id, 0.0001)) for c in rank(())]
    whys = [c.why for c in plan(ranked, limit=50)]
    assert whys
    for why in whys:
        chances = [float(n) for n in re.findall(r"([\d.]+) %", why)]
        assert "bears out" in why if not chances else max(chances) >= 5, why


@pytest.mark.parametrize(
    "kwargs",
    [
        {"lacking": {"torch"}},
        {"lacking": {"look"}},
        {"state": {"wet"}},
        {"outcomes": (CheckOutcome("look", "no"),)},
    ],
)
def test_what_is_lacking_unsafe_or_done_is_not_proposed(small: Catalogue, kwargs) -> None:  # type: ignore[no-untyped-def]
    assert plan(rank((), knowledge=small), knowledge=small, **kwargs) == ()


def test_what_only_the_recordings_say_is_looked_at_before_it_is_mended() -> None:
    """However sure they are: nobody has seen the part. Once somebody has, no more looks are for show.
    Common practice, no source."""
    sure = [replace(c, probability=float(c.id == "engine-mount")) for c in rank(())]
    looks = {c.id: c.why for c in plan(sure)}
    assert looks["mount-look"].startswith("It bears out what the recordings say, or not")
    assert plan(sure, (CheckOutcome("mount-look", "cracked"),)) == ()


def test_a_check_that_opens_another_says_so_rather_than_how_little_it_moves() -> None:
    """How likely a valve is, a few percent more or less, is no reason to read codes; which cylinder is.
    Common practice, no source."""
    sure = CauseEvidence("cylinder-misfire", "made up", 25.0, Evidence("for", 25.0, "made up"))
    ranked = rank((sure,))
    why = next(c.why for c in plan(ranked, limit=50) if c.id == "read-codes")
    assert "makes it" not in why
    assert "If 'misfire or injector or coil code of one cylinder', then: swap the coil" in why


def test_codes_are_read_first_when_the_lamp_is_on() -> None:
    symptoms = Symptoms(check_engine_light=True)
    assert plan(rank((), symptoms), symptoms=symptoms)[0].id == "read-codes"
    known = Symptoms(True, ("P0301",))
    assert "read-codes" not in [c.id for c in plan(rank((), known), symptoms=known, limit=50)]


@pytest.mark.parametrize("codes", [("P9999",), ("none",), ("",)])
def test_a_code_that_tells_nothing_leaves_the_lamp_its_word(codes: tuple[str, ...]) -> None:
    lamp, also = Symptoms(True), Symptoms(True, codes)
    assert [c.probability for c in rank((), also)] == [c.probability for c in rank((), lamp)]
    assert plan(rank((), also), symptoms=also)[0].id == "read-codes"


@pytest.mark.parametrize("said", ["p0301", " P0301-00", "P0301 misfire"])
def test_a_code_is_known_with_what_a_reader_writes_beside_it(said: str) -> None:
    known = catalogue().code(said)
    assert known is not None
    assert known.code == "P0301"


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        (("P0306",), "name cylinder 6: begin there"),
        (("P0302", "P0202"), "name cylinder 2: begin there"),
        (("P0303", "P0301", "P0300"), "name cylinder 1 and 3: begin there"),
        (("P0300", "P0171"), None),
    ],
)
def test_a_check_made_cylinder_by_cylinder_begins_where_the_codes_point(
    codes: tuple[str, ...], said: str | None
) -> None:
    """SAE J2012: P0301 to P0312 and P0201 to P0212 count cylinders; P0300 and P0171 name none."""
    symptoms = Symptoms(True, codes, ())
    checks = {c.id: c.why or "" for c in plan(rank((), symptoms), symptoms=symptoms, limit=50)}
    for check in ("plugs", "compression"):
        assert ("begin there" in checks[check]) == bool(said), check
        assert (said or "") in checks[check]
    assert "begin there" not in checks["mount-look"] + checks["hoses-look"]


def test_cheap_looks_come_before_dismantling() -> None:
    proposed = plan(rank(()), limit=50)
    first = [catalogue().check(c.id) for c in proposed[:3]]
    assert all(c.dismantling == 0 for c in first)
    plain = [
        c for c in proposed if c.id not in ("unplug-cylinders", "read-codes")
    ]  # these open another check
    scores = [c.gain_bits / effort_minutes(catalogue().check(c.id)) for c in plain]
    assert scores == sorted(scores, reverse=True)


def test_no_check_that_the_state_of_the_car_forbids() -> None:
    def unsafe(state: str, *said: str) -> list[str]:
        proposed = plan(rank(()), state=set(said), limit=50)
        return [c.id for c in proposed if state in catalogue().check(c.id).unsafe_when]

    forbidden = 0
    for state in catalogue().states:
        assert not unsafe(state, state)
        forbidden += len(unsafe(state))
    assert forbidden


def test_swapping_waits_until_the_weak_cylinder_is_known() -> None:
    plain = plan(rank(()), limit=50)
    assert "swap-coil-injector" not in [c.id for c in plain]
    done = (CheckOutcome("unplug-cylinders", "one-no-change"),)
    assert "swap-coil-injector" in [c.id for c in plan(rank((), outcomes=done), done, limit=3)]
    read = Symptoms(codes=("P0302",))
    assert "swap-coil-injector" in [c.id for c in plan(rank((), read), symptoms=read)]


def test_the_weak_cylinder_is_looked_for_first_when_that_opens_the_swap() -> None:
    """Switching cylinders off says little on plug or coil by itself; swapping them then says most."""
    misfire = [CauseEvidence("cylinder-misfire", "made up", 20.0, Evidence("for", 20.0, "made up"))] * 2
    first = plan(rank(misfire), outcomes=(CheckOutcome("read-codes", "none"),))[0]
    assert first.id == "unplug-cylinders"
    assert "swap the coil" in first.why


def test_the_shop_comes_last_and_only_when_its_work_remains() -> None:
    assert "shop" not in [c.id for c in plan(rank(()), limit=50)]
    done = (CheckOutcome("compression", "one-low"), CheckOutcome("unplug-cylinders", "one-no-change"))
    remaining = plan(rank((), outcomes=done), done, limit=50)
    assert remaining[-1].id == "shop"


def test_proposed_checks_find_the_suspect_in_fewer_minutes_than_a_fixed_list() -> None:
    """Suspects drawn by commonness, nothing recorded yet: see `following` for what is compared."""
    rng = np.random.default_rng(11)
    faults = [h for h in hypotheses_of(catalogue()) if h.cause.id not in ("normal", "none-of-these")]
    weights = np.array([h.cause.prior * h.suspect.share for h in faults])
    minutes = {"planned": 0.0, "fixed list": 0.0}
    for _ in range(25):
        truth = faults[int(rng.choice(len(faults), p=weights / weights.sum()))]
        thrown = dice(rng)
        for way in WAYS:
            minutes[way] += follow(truth, way, thrown).minutes
    print({way: round(total / 25) for way, total in minutes.items()})
    assert minutes["planned"] < minutes["fixed list"]


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.007, "under 1 %"), (0.01, "1 %"), (0.994, "99 %"), (0.995, "over 99 %"), (1.0, "over 99 %")],
)
def test_a_chance_is_said_alike_in_a_check_and_in_the_list_of_causes(chance: float, said: str) -> None:
    assert words.percent(chance) == said
    assert planning.percent is words.percent


def test_what_a_check_opens_is_told_from_the_knowledge_given() -> None:
    known = catalogue()
    opening = [check.model_copy(update={"name": f"My {check.name}"}) for check in known.checks]
    mine = known.model_copy(update={"checks": tuple(opening)})
    ranked = [replace(c, probability=float(c.id == "cylinder-misfire")) for c in rank(())]
    whys = [c.why for c in plan(ranked, limit=50, knowledge=mine)]
    told = [why for why in whys if ", then: " in why]
    assert told
    assert all(", then: my " in why for why in told)


DUE = "due anyway"


def test_what_is_due_anyway_counts_as_such() -> None:
    """A set of plugs lasts 32,000 to 190,000 km (plug guides): past the catalogue's distance they are changed
    anyway, and the look at them costs less."""
    ranked = rank(())

    def place(mileage_km: float | None) -> tuple[int, str]:
        vehicle = Vehicle(Engine(4), mileage_km=mileage_km)
        planned = plan(ranked, limit=50, vehicle=vehicle)
        at = [c.id for c in planned].index("plugs")
        return at, planned[at].why or ""

    fresh, worn, unknown = place(20_000), place(150_000), place(None)
    assert worn[0] < fresh[0] == unknown[0]
    assert DUE in worn[1]
    assert DUE not in fresh[1] + unknown[1]
    assert not [c.id for c in plan(ranked, limit=50, vehicle=Vehicle(Engine(4))) if DUE in (c.why or "")]
    past = {
        c.id
        for c in plan(ranked, limit=50, vehicle=Vehicle(Engine(4), mileage_km=1e6))
        if DUE in (c.why or "")
    }
    assert past == {"plugs", "air-filter", "throttle-clean"}


def test_what_the_recordings_tell_is_not_asked_for_again() -> None:
    proposed = [c.id for c in plan(rank(()), limit=50)]
    assert "idle-speed" in proposed
    left = [c.id for c in plan(rank(()), limit=50, found=("idle speed",))]
    assert left == [check for check in proposed if check != "idle-speed"]


def test_what_tells_as_much_as_a_check_is_a_finding() -> None:
    findings = {finding for finding, _ in MEANINGS}
    assert {row.told_by for row in catalogue().checks} - {None} <= findings
