"""Each page through the router, with Streamlit's own AppTest: what a person reads, and what a click keeps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from tests.app import made
from vibecore.case import CaseRecording
from vibecore.engine import Engine, Vehicle
from vibecore.guess import guess_condition
from vibecore.jobs import add_files, case_of, new_job, save_case
from vibecore.model import Evidence, Symptoms
from vibecore.safe_names import clean_name
from vibecore.store import NewFile, Store

PAGES = ("", "car", "record", "reading", "causes", "proof", "report", "all-jobs")
NASTY = "<b>van</b> [x](http://elsewhere.example) $a$ ![p](http://elsewhere.example/p)"


@pytest.fixture
def store(data):
    return Store(data)


@pytest.fixture
def job(store):
    """A job with two recordings before the repair."""
    job = new_job(store, "Grey van", Vehicle(Engine(4), "automatic"), Symptoms(), {})
    return keep(store, job, "neutral-idle.csv", "drive-idle.csv")


def keep(store, job, *names):
    names = [clean_name(name) for name in names]
    listed = [CaseRecording(Path(name), guess_condition(name)) for name in names]
    return add_files(store, job, [NewFile(name, name.encode()) for name in names], listed)


def words(test: AppTest) -> str:
    """Everything to read on the page, from top to bottom."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "warning", "error", "info", "success")
    shown = [e.value for e in test.main if e.type in (*kinds, "heading", "alert")]
    return "\n".join(map(str, shown)).replace("\\", "")


def press(test: AppTest, label: str) -> AppTest:
    return next(b for b in test.button if b.label.replace("\\", "") == label).click().run()


def area(test: AppTest, label: str):
    return next(a for a in test.text_area if a.label == label)


@pytest.mark.parametrize("page", PAGES)
def test_without_a_job_the_way_to_one_is_shown(start, page):
    test = start(page)
    assert not test.error
    assert "job" in words(test).lower()


@pytest.mark.usefixtures("job")
def test_the_job_page_tells_what_to_do_first_then_the_causes(start):
    text = words(start())
    order = ("Grey van", "4 cylinders", "Next:", "Causes", "Engine mount", "Recordings", "Pictures")
    places = [text.find(part) for part in order]
    assert places == sorted(places)
    assert places[0] >= 0
    assert "Engine mount collapsed**: 71 %" in text
    assert "Firing order is 9 dB up in gear." in text
    assert "Engine speed: 700 rpm" in text
    assert "Only 20 s long: record a minute." in text


def test_a_caution_stands_by_the_next_check(start, job, store):
    keep(store, store.open(job.head.id), "raised.csv")
    test = start()
    assert "Next: **Look at the mounts**" in words(test)
    assert [w.value.replace("\\", "") for w in test.warning] == ["Engine off, parking brake on."]


@pytest.mark.parametrize("page", PAGES)
def test_a_nasty_title_stays_text(start, store, page):
    job = new_job(store, NASTY, Vehicle(Engine(4)), Symptoms(), {"complaint": NASTY})
    keep(store, job, "[a](b) $x$ <img src=x>.csv")
    test = start(page)
    assert not test.error
    for element in [*test.title, *test.markdown, *test.caption]:
        value = str(element.value)
        assert "](http" not in value
        assert "<img" not in value
        assert "$a$" not in value


def test_a_new_job_needs_its_cylinders_only(start, store):
    test = start("all-jobs")
    test.text_input[0].input("Red hatchback")
    test.number_input[0].set_value(3)
    press(test, "Start the job")
    (head,) = store.jobs()
    assert head.title == "Red hatchback"
    assert case_of(store.open(head.id)).vehicle.engine.firing_order == 1.5


def test_search_close_copy_bin_and_back(start, job, store):
    test = start("all-jobs")
    test.text_input[1].input("lorry").run()
    assert "No job fits" in words(test)
    test.text_input[1].input("van").run()
    press(test, "Close")
    assert store.open(job.head.id).head.state == "closed"
    press(test, "Open again")
    press(test, "Put into the bin")
    assert store.jobs() == ()
    test.toggle[0].set_value(True).run()
    press(test, "Take out of the bin")
    assert store.open(job.head.id).head.state == "open"
    test = start("all-jobs")
    press(test, "Copy")
    assert sorted(h.title for h in store.jobs()) == ["Grey van", "Grey van (copy)"]


def test_the_car_form_keeps_what_was_said_and_loses_nothing(start, job, store):
    test = start("car")
    area(test, "What the customer says").input("Shakes at the lights")
    test.text_input[1].input("p0301, P0171")
    test.radio[0].set_value("on")
    press(test, "Save")
    kept = store.open(job.head.id)
    case = case_of(kept)
    assert case.symptoms == Symptoms(True, ("P0301", "P0171"), ())
    assert kept.notes["complaint"] == "Shakes at the lights"
    assert case.vehicle == case_of(job).vehicle
    assert case.recordings == case_of(job).recordings


def test_what_was_said_is_kept_without_a_button(start, job, store):
    test = start("car")
    area(test, "Last services and parts").input("Plugs at 90,000").run()
    assert store.open(job.head.id).notes == {"services": "Plugs at 90,000"}
    test = start("report")
    area(test, "What was done").input("New rear mount").run()
    press(test, "Save")
    assert "Saved." in words(test)
    assert store.open(job.head.id).notes == {"services": "Plugs at 90,000", "done": "New rear mount"}


@pytest.mark.parametrize("page", PAGES)
def test_looking_changes_nothing(start, job, store, page):
    case = replace(
        case_of(job),
        title="Grey  van",
        vehicle=Vehicle(Engine(4), None, (650.5, 700.25), {"crank": 160.123456}, 1850.04, 142_000.4),
        symptoms=Symptoms(None, ("p0301-00", "U0100"), ("uphill", "in gear")),
    )
    kept = save_case(store, job, case, notes={"units": "US", "complaint": " shakes \n\n at the lights "})
    start(page).run()
    assert store.open(job.head.id) == kept


def test_miles_are_kept_as_kilometres(start, job, store):
    """One mile is 1.609344 km exactly: NIST SP 811 (2008), appendix B."""
    test = start("car")
    test.segmented_control[0].set_value("US").run()
    next(n for n in test.number_input if "miles" in n.label).set_value(100_000)
    press(test, "Save")
    assert case_of(store.open(job.head.id)).vehicle.mileage_km == pytest.approx(160_934.4)


def test_pulleys_are_kept_in_millimetres_and_a_bad_line_is_told(start, job, store):
    """One inch is 25.4 mm exactly: NIST SP 811 (2008), appendix B."""
    test = start("car")
    test.text_area[0].input("crank: 160\nwater pump 130,5")
    press(test, "Save")
    kept = case_of(store.open(job.head.id)).vehicle.pulleys_mm
    assert kept == {"crank": 160.0, "water pump": 130.5}
    test.segmented_control[0].set_value("US").run()
    assert test.text_area[0].value == "crank 6.3\nwater pump 5.14"
    press(test, "Save")
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == kept  # not rounded by having been shown
    test.text_area[0].input("crank\nfan 4")
    press(test, "Save")
    assert "'crank' is no pulley" in words(test)


def test_an_idle_the_wrong_way_round_is_told_and_the_job_stays_whole(start, job, store):
    test = start("car")
    next(n for n in test.number_input if n.label.startswith("Maker")).set_value(900.0)
    next(n for n in test.number_input if n.label == "to, rpm").set_value(700.0)
    press(test, "Save")
    assert "give the lower speed first" in words(test)
    assert store.open(job.head.id) == job
    assert not start("").error


@pytest.mark.usefixtures("job")
def test_the_record_page_shows_what_is_missing_with_its_cautions(start):
    text = words(start("record"))
    assert "Next: **Neutral, raised idle**" in text
    assert "Sleeves, hair and tools away from belt and fan." in text
    assert "never over an airbag" in text


def test_files_come_in_guessed_and_what_cannot_be_read_is_kept_aside(start, job, store, monkeypatch):
    from vibecore import reading

    readable = reading.read_recording

    def with_a_fault(source, *, name=""):
        if name == "odd.csv":
            raise ZeroDivisionError("secret inner words")
        return readable(source, name=name)

    monkeypatch.setattr("vibecore.reading.read_recording", with_a_fault)
    test = start("record")
    named = [("a.csv", b"1"), ("odd.csv", b"2"), ("holiday.csv", b"bad"), ("engine off.csv", b"3")]
    test.file_uploader[0].set_value([(name, data, "text/csv") for name, data in named]).run()
    kept = store.open(job.head.id)
    assert {f.name: f.aside is None for f in kept.files[2:]} == {
        "a.csv": True, "odd.csv": False, "holiday.csv": False, "engine off.csv": True,
    }  # fmt: skip
    assert [store.read_file(job.head.id, name) for name, _ in named] == [data for _, data in named]
    holds = {r.file.name: r.condition.speed_hold for r in case_of(kept).recordings[2:]}
    assert holds == {"a.csv": None, "engine off.csv": "engine off"}
    assert "secret" not in words(test)


@pytest.mark.parametrize(
    ("cylinders", "says"),
    [
        (4, "Only 20 s long: record a minute."),
        (8, "Only 20 s long: record a minute."),  # 46.7 Hz, under half of 100 samples a second
        (
            12,
            "Record again at 200 samples a second or more: at 100 the firing order cannot be seen. (1 more)",
        ),
    ],
)
def test_a_rate_that_hides_the_firing_order_is_told_with_its_mend(start, store, cylinders, says):
    """Shannon: nothing is seen above half the rate; twelve cylinders at 700 rpm fire 70 times a second."""
    job = new_job(store, "Van", Vehicle(Engine(cylinders)), Symptoms(), {})
    keep(store, job, "neutral-idle.csv")
    for page in ("", "record"):
        assert says in words(start(page))


def test_a_raised_idle_is_asked_for_where_nobody_said(start, store):
    job = new_job(store, "Van", Vehicle(Engine(4), idle_spec_rpm=(500.0, 550.0)), Symptoms(), {})
    keep(store, job, "third.csv", "neutral idle.csv")  # both are read as 700 rpm
    assert words(start("record")).count("It reads as 700 rpm: if the idle was raised, say so below.") == 1


def test_a_condition_is_kept_as_soon_as_it_is_chosen(start, job, store):
    test = start("record")
    gear = next(s for s in test.selectbox if s.label == "Gear")
    assert gear.value == "neutral"  # guessed from the name
    gear.set_value("reverse").run()
    assert case_of(store.open(job.head.id)).recordings[0].condition.gear == "reverse"


def test_an_outcome_is_kept_and_can_be_undone(start, job, store):
    test = start("causes")
    outcome = next(b for b in test.button if "crack" in b.label)
    outcome.click().run()
    (check,) = case_of(store.open(job.head.id)).checks
    assert check.id == "mount-look"
    assert "Checks done" in words(test)
    press(test, "Undo")
    assert case_of(store.open(job.head.id)).checks == ()


@pytest.fixture
def planned(made_results, monkeypatch):  # noqa: ARG001 - takes the place of its diagnosis
    """Causes and checks as the catalogue has them before any evidence; gives the checks."""
    from vibecore.causes.planning import plan
    from vibecore.causes.ranking import rank

    checks = plan(rank(()))
    ranked = replace(made.diagnosis(), causes=rank(()), next_checks=checks)
    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", lambda _case, _analyses: ranked)
    return checks


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
def test_a_new_job_lacks_the_same_tools_but_not_the_same_state(start, job, store):
    store.save(job, notes={"cannot": "fuel smell\nmount-look\ntorch"})
    test = start("all-jobs")
    press(test, "Start the job")
    (new,) = [h for h in store.jobs() if h.id != job.head.id]
    assert store.open(new.id).notes == {"cannot": "torch"}


def test_once_cured_no_check_is_asked_for(start, job, store):
    assert "Check next" in words(start("causes"))
    keep(store, store.open(job.head.id), "after drive idle.csv")
    text = words(start("causes"))
    assert "Check next" not in text
    assert "The repair is proven" in text


def test_proof_tells_the_verdict_or_how_to_get_one(start, job, store):
    assert "record again" in words(start("proof"))
    keep(store, store.open(job.head.id), "after drive idle.csv")
    text = words(start("proof"))
    assert "### Cured" in text
    assert "5.1 times weaker" in text


def test_a_picture_has_words_for_whoever_cannot_see_it():
    """An older Streamlit would swallow the argument without a word."""
    import inspect

    import streamlit

    assert "alt" in inspect.signature(streamlit.plotly_chart).parameters


def test_nothing_is_said_twice(start, job, store, monkeypatch):
    seen = Evidence(
        "for", 9.0, "Order 2 is 9 dB up in drive-idle.csv: a bad mount", ("idle.csv", "drive-idle.csv")
    )
    cause = replace(made.diagnosis().causes[0], evidence=(seen,))
    why = "The fault's own lines (order 2) went from 0.4 to 0.08 m/s2: -14.2 dB (-15.6 to -12.8)."
    repair = replace(made.diagnosis(repaired=True).repair, why=why)
    monkeypatch.setattr(
        "vibecore.pipeline.diagnose_analysed",
        lambda _case, analyses: replace(made.diagnosis(*analyses), causes=(cause,), repair=repair),
    )
    keep(store, store.open(job.head.id), "after drive idle.csv")
    assert "Order 2 is 9 dB up in drive-idle.csv: a bad mount. Also in idle.csv." in words(start("causes"))
    proof = words(start("proof"))
    assert proof.count("-14.2 dB") == proof.count("-12.8") == 1
    assert "The fault's own lines are 5.1 times weaker." in proof
    assert words(start("reading")).count("The phone hears nothing above 50 Hz.") == 1


def test_the_comparison_begins_with_two_recordings_made_alike(start, job, store):
    keep(store, store.open(job.head.id), "after drive idle.csv")
    boxes = {s.label: s.value for s in start("proof").selectbox}
    assert boxes == {"First": "drive-idle.csv", "Second": "after drive idle.csv"}


def test_the_later_of_two_windows_is_told(start, job, store):
    test = start("car")
    store.save(store.open(job.head.id), title="Changed elsewhere")
    area(test, "What the customer says").input("mine")
    press(test, "Save")
    assert "changed in another window" in words(test)
    assert store.open(job.head.id).notes.get("complaint") is None
    press(test, "Show what is there now")
    assert not test.warning


def test_a_choice_made_in_another_window_is_shown_and_not_undone(start, job, store):
    test = start("record")
    case = case_of(job)
    first = case.recordings[0]
    elsewhere = replace(first, condition=replace(first.condition, gear="park"))
    save_case(store, job, replace(case, recordings=(elsewhere, *case.recordings[1:])))
    test.run()
    press(test, "Show what is there now")
    assert next(s for s in test.selectbox if s.label == "Gear").value == "park"
    assert case_of(store.open(job.head.id)).recordings[0] == elsewhere


@pytest.mark.usefixtures("job")
def test_a_zip_that_is_no_job_is_told_and_the_jobs_stay_in_sight(start):
    test = start("all-jobs")
    test.file_uploader[0].set_value(("holiday.zip", b"no zip", "application/zip")).run()
    assert "This is no job that can be brought in" in words(test)
    assert "Grey van" in words(test)


@pytest.mark.usefixtures("job")
def test_another_job_does_not_inherit_what_the_boxes_showed(start, store):
    test = start("record")
    next(s for s in test.selectbox if s.label == "Gear").set_value("reverse").run()
    other = new_job(store, "Red hatchback", Vehicle(Engine(3)), Symptoms(), {})
    keep(store, other, "neutral-idle.csv")
    test.session_state["job"] = store.open(other.head.id)
    test.run()
    assert next(s for s in test.selectbox if s.label == "Gear").value == "neutral"
    assert case_of(store.open(other.head.id)).recordings[0].condition.gear == "neutral"


@pytest.mark.usefixtures("job")
def test_no_traceback_reaches_a_person(start, monkeypatch):
    def broken(*_args):
        raise ZeroDivisionError("secret inner words")

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", broken)
    for page in ("", "record", "reading", "causes", "proof", "report"):
        test = start(page)
        assert not test.exception
        assert "Something went wrong" in words(test)
        assert "secret" not in words(test)


def test_a_file_that_cannot_be_read_is_told_beside_the_others(start, job, store):
    job = add_files(
        store, job, [NewFile("odd.csv", b"bad")], [CaseRecording(Path("odd.csv"), guess_condition(""))]
    )
    for page in ("", "record"):
        text = words(start(page))
        assert "odd.csv holds no numbers. Export it again." in text
    assert "Engine mount" in words(start())


@pytest.mark.parametrize("page", PAGES)
def test_a_data_folder_that_cannot_be_used_is_told_on_every_page(start, page, tmp_path, monkeypatch):
    (tmp_path / "in-the-way").write_text("a file")
    monkeypatch.setenv("VIBECORE_DATA", str(tmp_path / "in-the-way"))
    assert "choose another with --data" in words(start(page))


def test_a_broken_demo_keeps_nobody_from_their_jobs(start, tmp_path, monkeypatch):
    (tmp_path / "demo" / "one").mkdir(parents=True)
    (tmp_path / "demo" / "one" / "case.toml").write_text("[vehicle")
    monkeypatch.setattr("vibecore.places._find", lambda _name: tmp_path / "demo")
    assert "not a valid TOML file" in words(start("all-jobs"))
    assert "Start a new job" in [e.label for e in start("all-jobs").expander]
