"""Causes: outcomes of checks, and checks that cannot be made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.app import made
from tests.app.pages import keep, placed, press, words
from vibecore.causes.load import catalogue
from vibecore.jobs import case_of
from vibecore.model import Evidence, PlannedCheck, RankedCause, Suspect, Warn
from vibecore.reading import read_recording


def test_an_outcome_is_kept_and_can_be_undone(start, job, store):
    test = start("causes")
    outcome = next(b for b in test.button if "crack" in b.label)
    outcome.click().run()
    (check,) = case_of(store.open(job.head.id)).checks
    assert check.id == "mount-look"
    assert "Checks done" in words(test)
    assert "Nothing: every cause stands where it stood." in words(test)  # the made-up causes never move
    press(test, "Undo")
    assert case_of(store.open(job.head.id)).checks == ()


def test_a_check_that_cannot_be_made_gives_way_and_comes_back(start, job, store, planned):
    from vibecore.causes.load import catalogue

    first = next(c for c in (catalogue().check(p.id) for p in planned) if "helper" in c.skills)
    test = start("causes")
    assert first.name in words(test) + " ".join(e.label for e in test.expander)
    test.button(key=f"cannot {first.id} helper").click().run()
    assert store.open(job.head.id).notes["cannot"] == "helper"
    offered = {b.key.split()[1] for b in test.button if b.key and b.key.startswith("cannot ")}
    assert offered
    assert not [name for name in offered if "helper" in catalogue().check(name).skills]
    assert "No helper" in words(test)
    (other,) = sorted(offered)[:1]
    test.button(key=f"cannot {other} {other}").click().run()
    assert f"Skip: {catalogue().check(other).name}" in words(test)
    assert not [b for b in test.button if b.key and b.key.startswith(f"cannot {other} ")]
    test.button(key="take back helper").click().run()
    assert store.open(job.head.id).notes["cannot"] == other
    assert first.name in words(test) + " ".join(e.label for e in test.expander)


@pytest.mark.usefixtures("planned")
def test_what_is_unsafe_for_the_car_is_to_be_seen_to_first(start, job, store):
    store.save(job, notes={"cannot": "fuel smell\nno such word"})
    test = start("causes")
    first = test.warning[0].value.replace("\\", "")
    assert first == "Petrol can be smelt or seen: have that seen to before anything else."
    assert "Something went wrong" not in words(test)


@pytest.mark.usefixtures("planned")
def test_no_check_is_offered_where_petrol_is_smelt(start, job, store):
    """Nor a lever under the car with the engine off. Common practice, no source."""
    assert "cannot " in " ".join(str(b.key) for b in start("causes").button)
    store.save(job, notes={"cannot": "fuel smell"})
    test = start("causes")
    assert "Checks that can be made already" not in words(test)
    assert not [b.key for b in test.button if str(b.key).startswith("cannot ")]
    assert "Next: **See to that first**" in words(test)


@pytest.mark.parametrize("page", ["", "record", "causes", "try-it", "proof"])
def test_what_is_to_be_seen_to_first_is_told_wherever_the_engine_may_be_run(start, job, store, page):
    store.save(job, notes={"cannot": "fuel smell"})
    test = start(page)
    first = test.warning[0].value.replace("\\", "")
    assert first == "Petrol can be smelt or seen: have that seen to before anything else."


@pytest.mark.parametrize("page", ["", "causes"])
def test_while_that_is_open_nothing_is_to_be_mended_or_recorded_instead(start, job, store, page, monkeypatch):
    """That no check is left comes of what was said, and not of what is known."""
    keep(store, job, "raised.csv")
    diagnosed(monkeypatch, next_checks=())
    store.save(store.open(job.head.id), notes={"cannot": "fuel smell"})
    text = words(start(page))
    assert "Next: **See to that first**" in text
    assert "take it back" in text
    assert "Mend" not in text


def test_once_cured_no_check_is_asked_for(start, job, store):
    assert "Look at the mounts" in words(start("causes"))
    kept = keep(store, store.open(job.head.id), "after drive idle.csv")
    text = words(start("causes"))
    assert "Look at the mounts" not in text
    assert "The repair is proven" not in text
    assert "Next: **Say how the recordings were made**" in text
    placed(store, kept)
    text = words(start("causes"))
    assert "Look at the mounts" not in text
    assert "The repair is proven" in text


@pytest.mark.usefixtures("job")
def test_the_words_of_the_evidence_are_explained(start):
    """A level of 6 dB is a factor of two and 20 dB one of ten in amplitude (ISO 80000-8, to 0.3 %)."""
    text = words(start("causes"))
    assert "Order 2 comes twice a turn" in text
    assert "6 dB over is twice as strong, 20 dB ten times" in text


def diagnosed(monkeypatch, **changes):
    """The made-up diagnosis with these changes."""
    plain = made.diagnosis
    monkeypatch.setattr(made, "diagnosis", lambda *a, **k: replace(plain(*a, **k), **changes))


def test_a_cure_that_rests_on_a_likely_speed_closes_nothing(start, job, store, monkeypatch):
    placed(store, keep(store, store.open(job.head.id), "after drive idle.csv"))
    ran = "the engine ran at 582 rpm (60 % likely) in drive at idle after the repair"
    diagnosed(
        monkeypatch, repair=replace(made.diagnosis(repaired=True).repair, verdict="cured", provided=ran)
    )
    text = words(start("causes"))
    assert "Next: **Say the engine speed**" in text
    assert "Look at the mounts" in text
    assert "The repair is proven" not in text
    proof = start("proof")
    assert "### Cured, if the engine speed is right." in words(proof)
    assert f"Provided {ran}." in words(proof)
    assert not proof.success  # green is for what is known
    assert "what the tachometer showed" in words(start())


def test_parts_are_shown_with_their_usual_price(start, job, monkeypatch):  # noqa: ARG001 - the job is open
    mount = catalogue().find_cause("engine-mount")
    part = mount.suspect[0]
    suspects = (Suspect(part.id, part.name, 0.8), Suspect("of-another-list", "something else", 0.2))
    causes = (RankedCause(mount.id, mount.name, 1.0, (), suspects),)
    diagnosed(monkeypatch, causes=causes)
    test = start("causes")
    assert mount.note in words(test)
    rows = test.table[0].value.values.tolist()
    assert "40 to 200" in rows[0][2].replace("\\", "")  # as catalogue.toml has it: common practice, no source
    assert rows[1][2] == ""


def test_the_dose_of_a_cleaner_is_worked_out(start, store, job, monkeypatch):
    """2 US fl oz a US gallon on 8 gallons is 16 fl oz: common practice on labels; 473 ml by the exact factors
    of NIST SP 811 (2008), appendix B."""
    check = PlannedCheck("fuel-additive", "Cleaner", 5, 0.1, ("Fuel.",), "Why.")
    diagnosed(monkeypatch, next_checks=(check,))
    store.save(job, notes={"units": "US"})
    test = start("causes")
    for label, value in (
        ("The label says, US fl oz a US gallon", 2.0),
        ("Fuel in the tank, US gallons", 8.0),
    ):
        next(n for n in test.number_input if n.label == label).set_value(value)
    test.run()
    assert "Add **16.0 US fl oz** (473 ml)." in words(test)
    assert "Uses up about 12 euros or US dollars." in words(test)
    next(n for n in test.number_input if "label" in n.label).set_value(50.0).run()
    assert "Read the label again" in words(test)


@pytest.mark.usefixtures("job")
@pytest.mark.parametrize("steps_to_g", [None, 2048])
def test_causes_that_rest_on_a_unit_nobody_named_say_so(start, monkeypatch, steps_to_g):
    """A sensor has a power of two steps to 1 g (data sheets of phone-class parts): a step tells the unit."""
    step = 9.80665 / (steps_to_g or 1700)
    shake = np.rint(np.random.default_rng(1).normal(0, 0.3, (4000, 3)) / step) * step
    rows = [f"{i / 100:.2f}," + ",".join(f"{v:.7f}" for v in row) for i, row in enumerate(shake.tolist())]
    unnamed = read_recording("\n".join(["time,x,y,z", *rows]).encode(), name="unnamed.csv")
    assert [w.code for w in unnamed.warnings] == ["unit-assumed"]

    def diagnose(_case, analyses):
        first, *others = analyses
        return made.diagnosis(replace(first, recording=replace(unnamed, name=first.recording.name)), *others)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    told = "Rests in part on a poor recording. In neutral at idle: The file does not name its unit"
    assert (told in words(start("causes"))) == (steps_to_g is None)


@pytest.mark.usefixtures("job")
def test_causes_that_rest_on_a_poor_recording_say_so(start, monkeypatch):
    clipped = Warn("clipped", "The phone's range was exceeded.")

    def diagnose(_case, analyses):
        first, *others = analyses
        poor = replace(first, warnings=(*first.warnings, clipped))
        return made.diagnosis(poor, *others)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    text = words(start("causes"))
    assert "Rests in part on a poor recording. In neutral at idle: The phone's range was exceeded." in text


def test_the_answer_stands_above_the_check_and_says_how_it_moved(start, job, store, monkeypatch):
    keep(store, store.open(job.head.id), "raised.csv")
    for page in ("causes", ""):
        text = words(start(page))
        line = text.index("Likeliest: Engine mount collapsed, 71 %")
        assert line < text.index("Look at the mounts")
        assert line < text.index("Engine off, parking brake on.")
    test = start("causes")
    moved = tuple(
        replace(c, probability=0.95 if c.id == "engine-mount" else 0.02) for c in made.diagnosis().causes
    )
    diagnosed(monkeypatch, causes=moved)
    next(b for b in test.button if "crack" in b.label).click().run()
    text = words(test)
    assert "Likeliest: Engine mount collapsed, 95 % (was 71 %)" in text
    assert text.index("What that changed") < text.index("Look at the mounts")  # in sight of who just said it


@pytest.mark.usefixtures("job")
def test_what_is_hardly_likely_is_folded_away_with_its_share_and_why(start, monkeypatch):
    first, sound, dead = made.diagnosis().causes
    seen = Evidence("against", -6.0, "Order 0.5 is as in a sound four", ())
    others = (replace(sound, probability=0.06), replace(dead, probability=0.03, evidence=(seen,)))
    diagnosed(monkeypatch, causes=(replace(first, probability=0.91), *others))
    text = words(start("causes"))
    assert "**2. Nothing wrong found**: 6 %" in text
    assert "3. One cylinder" not in text
    assert "**One cylinder weak or dead**: 3 %" in text
    assert text.index("3 %") < text.index("**Speaks against it:** Order 0.5 is as in a sound four.")
    assert "Order 0.5" not in words(start())


def test_what_is_unsaid_weakens_the_ranking_and_is_told_with_the_way_there(start, job, store):
    text = words(start("causes"))
    assert "the ranking is weaker" not in text
    keep(store, store.open(job.head.id), "b.csv", "c.csv")
    assert "Gear or speed is not said for 2 recordings: the ranking is weaker." in words(start("causes"))


def test_that_levels_are_taken_for_those_at_the_wheel_is_told_where_no_place_was_said(start, job, store):
    """Seat, floor and body shake less than the wheel, the engine more: vibecore/sound_cars.py."""
    test = start("causes")
    told = "The phone's place is not said for 2 recordings: taken for the steering wheel"
    assert told in words(test)
    assert "Say it" in [e.proto.label for e in test.get("page_link")]
    placed(store, job)
    assert "The phone's place" not in words(start("causes"))


def test_a_part_of_another_cause_is_told_with_what_it_stood_at_before(start, job, monkeypatch):  # noqa: ARG001
    """Behind its cause and called a part: shares of causes add up to one, a part's is inside its cause's. And
    what stays hardly likely is not listed."""
    parts = Suspect("ring", "Rubber ring", 0.4), Suspect("stop", "Stop", 0.59), Suspect("nut", "Nut", 0.01)
    mount, sound, dead = made.diagnosis().causes
    asked = made.diagnosis().next_checks

    def stands(mount_share, sound_share, dead_share):
        named = (replace(mount, suspects=parts), sound, replace(dead, suspects=parts[:1]))
        shares = (mount_share, sound_share, dead_share)
        found = [replace(c, probability=p) for c, p in zip(named, shares, strict=True)]
        return tuple(sorted(found, key=lambda c: -c.probability))

    diagnosed(monkeypatch, causes=stands(0.25, 0.72, 0.03), next_checks=asked)
    test = start("causes")
    diagnosed(monkeypatch, causes=stands(0.80, 0.19, 0.01), next_checks=asked)
    next(b for b in test.button if "crack" in b.label).click().run()
    cells = test.table[0].value.values.tolist()
    rows = [[str(cell).replace("\\", "").replace("\u00a0", " ") for cell in row] for row in cells]
    assert rows == [
        [mount.name, "25 %", "80 %"],
        ["part of it: Rubber ring", "10 %", "32 %"],
        ["part of it: Stop", "15 %", "47 %"],
        [sound.name, "72 %", "19 %"],
    ]


@pytest.mark.usefixtures("job")
def test_a_cause_of_one_part_does_not_name_it_again(start, monkeypatch):
    first, *others = made.diagnosis().causes
    diagnosed(monkeypatch, causes=(replace(first, suspects=(Suspect("same", "the same", 1.0),)), *others))
    assert "Inside that" not in words(start())
