"""The data files: whole, consistent, sourced, and safe."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from vibecore.causes.load import CatalogueError, CheckRow, catalogue, catalogue_from_texts
from vibecore.trying.kinds import kinds

CONTRACT_IDS = {
    "normal", "cylinder-misfire", "uneven-combustion", "engine-mount", "rotating-imbalance",
    "accessory-drive", "cooling-fan", "idle-resonance", "exhaust-contact", "driveline", "wheel-imbalance",
    "propshaft",
}  # fmt: skip


def texts() -> dict[str, str]:
    files = resources.files("vibecore.causes")
    return {
        name: files.joinpath(f"{name}.toml").read_text("utf-8") for name in ("catalogue", "checks", "codes")
    }


def test_every_cause_of_the_contract_is_there() -> None:
    assert {c.id for c in catalogue().causes} >= CONTRACT_IDS


def test_priors_and_shares_are_probabilities() -> None:
    assert sum(c.prior for c in catalogue().causes) == pytest.approx(1, abs=0.005)
    for cause in catalogue().causes:
        assert sum(s.share for s in cause.suspect) == pytest.approx(1, abs=0.005), cause.id


def test_every_number_has_a_source() -> None:
    for row in (
        *catalogue().causes,
        *catalogue().checks,
        *(s for c in catalogue().causes for s in c.suspect),
    ):
        assert row.source, row.id


def test_outcomes_under_each_suspect_add_up() -> None:
    for check in catalogue().checks:
        for cause in catalogue().causes:
            for suspect in cause.suspect:
                total = sum(check.likelihood(o.id, suspect.id, cause.id) for o in check.outcome)
                assert total == pytest.approx(1, abs=0.005), (check.id, suspect.id)


def test_no_cause_has_a_colon_in_its_name() -> None:
    """Its share stands behind one. Common practice, no source."""
    assert [cause.name for cause in catalogue().causes if ":" in cause.name] == []


# Cautions a running engine, a car in gear, and what burns ask for: common workshop practice, no source.
MOVING = ("belts", "fan")
FORBIDS = {"belt damaged", "fuel smell", "overheating", "no ventilation"}


def test_every_check_with_a_moving_engine_carries_its_cautions() -> None:
    running = [c for c in catalogue().checks if c.engine != "off"]
    assert len(running) > 5
    for check in running:
        said = " ".join(catalogue().caution_texts(check))
        assert all(word in said for word in MOVING), check.id
        assert set(check.unsafe_when) >= FORBIDS, check.id


# What can be done or seen with the engine running only, whatever the entry's `engine` says.
RUNS = re.compile(
    r"record again|(the|at|warm) idle\b|\bidle,|\bbetter\b|drive normally|start it\b|run the engine",
    re.I,
)


def said(check: CheckRow) -> str:
    return " ".join((check.name, *check.steps, *(row.name for row in check.outcome)))


def test_no_check_that_needs_the_engine_running_is_called_off() -> None:
    needing = [check for check in catalogue().checks if RUNS.search(said(check))]
    assert {"swap-coil-injector", "throttle-clean", "cleaner-squirt"} <= {check.id for check in needing}
    assert [check.id for check in needing if check.engine == "off"] == []
    for check in needing:
        hot = {"hot"} if check.dismantling else set()
        assert {"running", "fan"} | hot <= set(check.cautions), check.id
        assert "fuel smell" in check.unsafe_when, check.id


def test_nothing_is_opened_or_switched_on_where_fuel_smells() -> None:
    """Fuel, sparks, and the key: it starts the fuel pump and relays (common practice, no source)."""
    for check in catalogue().checks:
        if {"fuel", "spark"} & set(check.cautions) or "key on" in said(check).lower():
            assert "fuel smell" in check.unsafe_when, check.id


def test_nobody_works_on_a_car_where_fuel_smells() -> None:
    """A lever under the car strikes sparks, and vapour lies low; only who mends the leak touches it then.
    Common practice, no source."""
    offered = {check.id for check in catalogue().checks if "fuel smell" not in check.unsafe_when}
    assert offered == {"shop"}


def test_a_swapped_cylinder_that_does_not_fire_spares_the_catalyst() -> None:
    check = catalogue().check("swap-coil-injector")
    assert {"spark", "fuel", "catalyst"} <= set(check.cautions)


def test_no_injector_is_taken_out_of_direct_injection() -> None:
    """Its rail holds a hundred bar and more, its injectors some 60 V (common practice, no source)."""
    opening = [c for c in catalogue().checks if "njector" in said(c) and "fuel" in c.cautions]
    assert opening
    for check in opening:
        assert "direct" in check.cautions, check.id
        assert "Not on high-pressure direct injection" in said(check), check.id


def test_the_engine_is_held_up_before_a_mount_is_undone() -> None:
    """Common practice, no source."""
    (mount,) = (cause for cause in catalogue().causes if cause.id == "engine-mount")
    assert "have it held up first" in mount.note


def test_the_cleaner_is_squirted_right_after_a_cold_start_only() -> None:
    """An engine at idle does not stay cold: check, caution and the page Try it say when to begin and stop."""
    check = catalogue().check("cleaner-squirt")
    (kind,) = (kind for kind in kinds() if kind.check == check.id)
    fire = next(text for text in catalogue().caution_texts(check) if "fire" in text)
    for text in (" ".join(check.steps), fire, f"{kind.begin} {kind.undo}"):
        assert "cold start" in text
        assert "hand-warm" in text
    assert not any("cold engine" in text for text in catalogue().caution_texts(check))


def test_what_a_cause_does_stands_without_a_label() -> None:
    """The sentences are shown one after another: 'None.' alone would say nothing."""
    for cause in catalogue().causes:
        texts = list(cause.does.model_dump().values())
        assert not [text for text in texts if re.match(r"(none|not known)\b", text, re.I)], cause.id
        assert len(set(texts)) == len(texts), cause.id


@pytest.mark.parametrize(
    ("word", "caution"),
    [
        ("ecord again", "airbag"),
        (" gear", "brake"),  # a car in gear can jump
        ("cleaner at", "extinguisher"),  # solvent near a manifold
        ("fuel pressure", "flames"),
        (" stands", "jack"),
        ("throttle cleaner", "fire"),
        ("compression", "volts"),
        ("hone in its place", "airbag"),
    ],
)
def test_dangerous_steps_carry_their_caution(word: str, caution: str) -> None:
    hits = [
        c
        for c in catalogue().checks
        if word in " ".join((c.name, *c.steps)) and c.id not in ("gearbox-fluid",)
    ]
    hits = [c for c in hits if not (word == " gear" and c.engine == "off")]
    assert hits
    for check in hits:
        assert caution in " ".join(catalogue().caution_texts(check)), check.id


def test_the_phone_is_moved_about_with_the_engine_off_only() -> None:
    """Taped on beside running belts, or in a car in gear, a hand is where it can be caught."""
    steps = " ".join(catalogue().check("record-elsewhere").steps)
    assert "switch the engine off" in steps.lower()


def test_every_check_defers_to_the_maker() -> None:
    for check in catalogue().checks:
        assert "maker's manual" in " ".join(catalogue().caution_texts(check)), check.id


def test_watching_the_engine_rock_keeps_people_out_of_the_way() -> None:
    check = catalogue().check("watch-rock")
    assert "nobody in front" in " ".join(catalogue().caution_texts(check))
    assert {"no helper", "brake weak"} <= set(check.unsafe_when)


@pytest.mark.parametrize(
    ("which", "old", "new", "complaint"),
    [
        ("catalogue", "prior = 0.22", "prior = 0.52", "add up to"),
        ("catalogue", "share = 0.27", "share = 0.57", "the shares of its suspects"),
        ("catalogue", 'id = "belt"', 'id = "tensioner"', "stands twice"),
        ("catalogue", 'name = "spark plug"', 'nme = "spark plug"', "cylinder-misfire.*suspect"),
        ("checks", "given = { engine-mount = 0.82 }", "given = { engine-mount = 0.92 }", "mount-look"),
        ("checks", "given = { engine-mount = 0.82 }", "given = { egnine-mount = 0.82 }", "egnine-mount"),
        (
            "checks",
            'cautions = ["running", "fan", "airbag", "manual"]',
            'cautions = ["manual"]',
            "running engine",
        ),
        (
            "checks",
            '"overheating", "no ventilation"]',
            '"no ventilation"]',
            "watch-rock.*running engine needs 'overheating' in unsafe_when",
        ),
        ("codes", 'first = "P0300"', 'first = "P0301"', "stands twice"),
        ("codes", 'first = "P0300"', 'first = "X0300"', "X0300"),
        ("codes", "[[code]]", "[[code", "not a valid TOML file"),
        ("codes", "cylinder {n}", "cylinder {", "P0201.*{n} and {letter}"),
        ("codes", "cylinder {n}", "cylinder {bank}", "P0201.*{bank}"),
        ("codes", "cylinder {n}", "cylinder }", "P0201.*{n} and {letter}"),
        ("codes", 'last = "P0362"', 'last = "P0363"', "P0351.*more than 12 letters"),
        ("codes", 'last = "P0212"', 'last = "P0200"', "P0201.*'P0200' comes before"),
        ("codes", 'last = "P0212"', 'last = "B0212"', "P0201.*'B0212'"),
        ("codes", "timing-belt = 5 }", "timing-belt = -5 }", "P0010.*greater than 0"),
        ("codes", "timing-belt = 5 }", "timing-belt = nan }", "P0010.*finite"),
        ("codes", "[[code]]", "[codes]\n[[code]]", "'codes'.*known: code, source"),
        (
            "codes",
            "source =",
            "source = 1" + "0" * 5000 + "\nx =",
            "codes.toml: a number has thousands of digits",
        ),
        ("checks", "given = { engine-mount = 0.82 }", "given = { engine-mount = -0.82 }", "mount-look"),
        ("checks", "given = { engine-mount = 0.82 }", "given = { engine-mount = 1.82 }", "less than 1"),
        ("checks", "days = 10", "days = -10", "fuel-additive.*days"),
        ("checks", "\n[states]", "\n[state]", "'state'.*known: cautions, check, states"),
        ("checks", '"fuel smell" = "petrol', '"fuel smell" = 1 #', "states.*'fuel smell'.*text"),
        ("checks", "{ unplug-cylinders =", "{ unplug-cylinder =", "swap.*'unplug-cylinder' is no check"),
        (
            "checks",
            'unplug-cylinders = "one',
            'unplug-cylinders = "two',
            "swap.*'two-no-change' is no outcome",
        ),
        ("checks", 'needs_code_for = "cyl', 'needs_code_for = "cly', "'clyinder-misfire' is no cause"),
        ("checks", 'id = "mount-look"', 'id = "plugs"', "plugs.*stands twice"),
        ("checks", 'renews = "worn-plugs"', 'renews = "plug"', "plugs.*renews.*'plug' is no suspect"),
        ("checks", 'renews = "worn-plugs"', 'renews = "fan-blade"', "plugs.*renews.*'fan-blade'.*due_km"),
        ("catalogue", "cost = [15, 90]", "cost = [90, 15]", "spark-plug.*lower price first"),
        ("catalogue", "cost = [15, 90]", "cost = [-15, 90]", "cost.*greater than or equal to 0"),
        ("catalogue", '"in gear" = 0.3', '"ingear" = 0.3', "normal.*'ingear'.*known: in gear"),
        ("catalogue", '"in gear" = 0.3', '"in gear" = 1.3', "normal.*less than 1"),
        ("catalogue", '"cold" = 0.25, ', "", "normal.*shakes_when lacks 'cold': say how often"),
        ("catalogue", "[[cause]]", "[note]\n[[cause]]", "'note'.*known: cause"),
    ],
)
def test_slips_in_the_files_are_named(which: str, old: str, new: str, complaint: str) -> None:
    broken = texts()
    assert old in broken[which]
    broken[which] = broken[which].replace(old, new, 1)
    with pytest.raises(CatalogueError, match=complaint):
        catalogue_from_texts(
            **{"causes": broken["catalogue"], "checks": broken["checks"], "codes": broken["codes"]}
        )


@pytest.mark.parametrize(("which", "table"), [("catalogue", "cause"), ("checks", "check"), ("codes", "code")])
def test_one_bracket_where_two_belong_is_named(which: str, table: str) -> None:
    """TOML 1.0: [name] is one table, [[name]] one of a list."""
    broken = texts()
    broken[which] = f'[{table}]\nid = "x"\n'
    with pytest.raises(CatalogueError, match=rf"two square brackets.*\[\[{table}\]\]"):
        catalogue_from_texts(broken["catalogue"], broken["checks"], broken["codes"])
