"""The data files: whole, consistent, sourced, and safe."""

from __future__ import annotations

from importlib import resources

import pytest

from vibecore.causes.load import CatalogueError, catalogue, catalogue_from_texts

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


# Cautions a running engine, a car in gear, and what burns ask for: common workshop practice, no source.
MOVING = ("belts", "fan")


def test_every_check_with_a_moving_engine_carries_its_cautions() -> None:
    running = [c for c in catalogue().checks if c.engine != "off"]
    assert len(running) > 5
    for check in running:
        said = " ".join(catalogue().caution_texts(check))
        assert all(word in said for word in MOVING), check.id
        assert {"belt damaged", "no ventilation"} <= set(check.unsafe_when), check.id


@pytest.mark.parametrize(
    ("word", "caution"),
    [
        (" gear", "brake"),  # a car in gear can jump
        ("cleaner at", "extinguisher"),  # solvent near a manifold
        ("fuel pressure", "flames"),
        (" stands", "jack"),
        ("throttle cleaner", "fire"),
        ("compression", "volts"),
        ("Phone in its place", "airbag"),
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
        ("catalogue", "prior = 0.27", "prior = 0.57", "add up to"),
        ("catalogue", "share = 0.27", "share = 0.57", "the shares of its suspects"),
        ("catalogue", 'id = "belt"', 'id = "tensioner"', "stands twice"),
        ("catalogue", 'name = "spark plug"', 'nme = "spark plug"', "cylinder-misfire.*suspect"),
        ("checks", "given = { engine-mount = 0.82 }", "given = { engine-mount = 0.92 }", "mount-look"),
        ("checks", "given = { engine-mount = 0.82 }", "given = { egnine-mount = 0.82 }", "egnine-mount"),
        ("checks", 'cautions = ["running", "fan", "manual"]', 'cautions = ["manual"]', "running engine"),
        ("codes", 'first = "P0300"', 'first = "P0301"', "stands twice"),
        ("codes", 'first = "P0300"', 'first = "X0300"', "X0300"),
        ("codes", "[[code]]", "[[code", "not valid TOML"),
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
