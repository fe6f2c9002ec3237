"""Record: what is still missing and how to make it safely; put files in; say how each was made."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import cache
import doable
import guesses
import rows
import stages
import state
import streamlit as st
import tries
import widgets

from vibecore.case import CaseRecording
from vibecore.errors import ReadingError
from vibecore.guess import Guess
from vibecore.jobs import case_of, save_case
from vibecore.model import Recording
from vibecore.plan import PlanItem, after_repair, item_of, placing, plan_for
from vibecore.safe_names import clean_name, free_name
from vibecore.store import NewFile
from vibecore.words import joined

APPS = (
    "Any app will do that writes the accelerometer's three axes with their times into a file: CSV, text, "
    "JSON, a workbook or a zip of these. Send the file to this computer as it is, by mail, cable or cloud."
)
LABELS = {
    "causes": ("To the causes", ":material/build:"),
    "proof": ("To the proof", ":material/compare_arrows:"),
    "report": ("Write the report", ":material/description:"),
}


def page() -> None:
    work = widgets.need_work("Record")
    if work is None:
        return
    items = plan_for(work.case)
    missing = _lead(work)
    _upload(work)
    rows.show(work, way_on=missing)
    _show_aside(work)
    _show_plan(items, work.job.notes)


# ---------------------------------------------------------------- the plan


def _lead(work: state.Work) -> bool:
    """The one thing to do now; whether that is to record something."""
    case = work.case
    step = doable.next_step(work, stages.diagnosis_at_hand(work.job, case))
    item = item_of(case, step.records)
    if item is not None and item.done:  # what the recordings show is not known yet
        st.markdown("All that this job needs is recorded. Others can still help, see the end of the page.")
        page, label, icon = rows.the_way_on(case)
        widgets.main_step(page, label, icon)
        return False
    below = " It is asked below." if step.asks else ""
    st.markdown(f"Next: **{widgets.plain(step.title)}**. {widgets.plain(step.why)}{below}")
    if step.page != "record":
        widgets.main_step(step.page, *LABELS[step.page])
        if not (step.mends or doable.first_of_all(work.job.notes)):
            st.caption("All that this job needs is recorded. Others can still help, see the end of the page.")
    if step.mends and not any(r.condition.stage == "after" for r in case.recordings):
        item = after_repair(case)  # how it is proven
        st.markdown(f"Then: **{widgets.plain(item.title)}**. {widgets.plain(item.why)}")
    if item is not None:
        _show_item(item, work.job.notes)
    return item is not None


def show_how(item: PlanItem, notes: Mapping[str, str]) -> None:
    """How to make this recording, on whichever page: what can hurt before the steps; no steps while the car
    is said, in the job's notes, to be in a state in which it is not made."""
    held = doable.not_now(notes, item.unsafe_when)
    if held:
        st.warning(widgets.plain(held))
        return
    widgets.show_cautions(item.cautions)
    widgets.show_steps(item.how)


def _show_item(item: PlanItem, notes: Mapping[str, str]) -> None:
    show_how(item, notes)
    with st.expander("How to tape the phone on, and with what to record"):
        st.markdown(APPS)
        caption = "Flat and tight on the rim, off the airbag cover."
        st.image(widgets.drawing("phone-on-wheel.svg"), caption=caption)
        widgets.show_steps(placing())


def _show_plan(items: Sequence[PlanItem], notes: Mapping[str, str]) -> None:
    st.header("All recordings that can help", anchor=False)
    for item in items:
        icon = ":material/check_circle:" if item.done else ":material/radio_button_unchecked:"
        word = "done" if item.done else "still missing" if item.needed else "if you can"
        with st.expander(f"{icon} {item.title}: {word}"):
            st.markdown(widgets.plain(item.why))
            show_how(item, notes)


# ---------------------------------------------------------------- files in


def _upload(work: state.Work) -> None:
    st.header("Put recordings in", anchor=False)
    if not work.case.recordings:
        widgets.load_drawing()
    window = state.window()
    label = "Files from the phone: one or many, just as it wrote them"
    uploads = st.file_uploader(label, accept_multiple_files=True, key=f"upload {window.uploads}")
    if not uploads:
        return
    place = st.empty()
    with place.container():
        line = st.empty()
        st.button("Stop", key=f"stop upload {window.uploads}", on_click=window.empty_upload_box)
    files, reads, taken = [], [], [f.name for f in work.job.files]
    here, twice = {f.digest: f.name for f in work.job.files}, []
    for number, upload in enumerate(uploads, start=1):
        digest = hashlib.sha256(upload.getvalue()).hexdigest()
        if digest in here:  # counted twice, one recording would speak with two voices
            named = "" if here[digest] == clean_name(upload.name) else f", as {here[digest]}"
            twice.append(f"{upload.name} is here already{named}: left out.")
            continue
        name = free_name(clean_name(upload.name), taken)
        taken.append(name)
        here[digest] = name
        line.info(widgets.plain(f"Reading {number} of {len(uploads)}: {name}"))
        read, why_not = _read(name, digest, upload.getvalue())
        files.append(NewFile(name, upload.getvalue(), why_not))
        reads += [read] if read is not None else []
    found = guesses.guess_all(work.job, work.case, reads)
    place.empty()
    listed = tuple(CaseRecording(Path(name), one.condition) for name, one in found.items())
    case = replace(work.case, recordings=(*work.case.recordings, *listed))
    job = save_case(state.store(), work.job, case, notes=_notes(work, found), add=files)
    window.empty_upload_box()
    window.hold(job)
    _tell(files, twice)
    st.rerun()


def _notes(work: state.Work, found: Mapping[str, Guess]) -> dict[str, str]:
    """The job's notes with what is to be asked of the new recordings."""
    notes, case = work.job.notes, work.case
    why = guesses.reasons_of(notes, case) | {name: " ".join(one.reasons) for name, one in found.items()}
    asked = [*stages.asked(notes, case), *stages.to_ask(work.job, case, found)]
    return stages.notes_with(guesses.notes_with(notes, why), asked)


def _tell(files: Sequence[NewFile], twice: Sequence[str]) -> None:
    """What became of the files; that one is no recording is no good news."""
    good = [f.name for f in files if f.aside is None]
    aside = [f.name for f in files if f.aside]
    if good:
        state.window().said = f"Kept: {', '.join(good)}. Check below how each was made."
    if aside or twice:
        state.window().warned = " ".join([*([_aside_words(aside)] if aside else []), *twice])


def _aside_words(names: Sequence[str]) -> str:
    if len(names) == 1:
        return f"{names[0]} is no recording and was kept aside; the reason stands below."
    return f"{joined(names)} are no recordings and were kept aside; the reasons stand below."


def _read(name: str, digest: str, data: bytes) -> tuple[Recording | None, str | None]:
    """The recording in this file, or why it is none. Whatever goes wrong with one file, it is kept aside, and
    the others come in."""
    try:
        return cache.recording(name, digest, lambda: data), None
    except ReadingError as error:
        return None, str(error)
    except Exception:
        logging.getLogger("vibecore").exception("a file could not be read")
        return None, "This file could not be read because of a fault in vibecore. Export it in another form."


def _show_aside(work: state.Work) -> None:
    """Files that are no recordings: kept, named, and why."""
    widgets.offer_undo(work, aside=True)
    tried = {t.name for t in tries.trials_of(work.job.notes)}
    aside = [f for f in work.job.files if f.aside is not None and f.name not in tried]
    if not aside:
        return
    st.header("Kept aside", anchor=False)
    for file in aside:
        why = (file.aside or "").removeprefix(file.name).removeprefix(":")
        gap = "" if why.startswith(",") else " "
        st.error(f"**{widgets.plain(file.name)}**{gap}{widgets.plain(why)}")
    if st.button("Remove these files"):
        names = [f.name for f in aside]
        job = save_case(state.store(), work.job, case_of(work.job), remove=names)
        state.window().hold_without(job)
        st.rerun()
