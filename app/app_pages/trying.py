"""Try it: something is done while the engine runs and the phone records; did the engine notice?"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import boxes
import cache
import doable
import outcomes
import state
import streamlit as st
import tries
import widgets

from vibecore import figures
from vibecore.case import Case
from vibecore.causes.load import CheckRow, catalogue
from vibecore.jobs import case_of, save_case
from vibecore.model import Recording
from vibecore.safe_names import clean_name, free_name
from vibecore.store import NewFile
from vibecore.trying.kinds import Kind, kind_of, kinds
from vibecore.trying.records import Tried
from vibecore.trying.taps import taps_s
from vibecore.trying.words import tried_words

ANOTHER = "Put in the one made while you tried it."
TELL = {"noticed": st.success, "not noticed": st.info}
CAUTIONS = ("running", "fan", "hot", "manual")  # of whatever is done beside a running engine
UNSAFE = ("belt damaged", "fuel smell", "overheating", "no ventilation")  # for whatever runs an engine
PHONE = "airbag"  # caution of whatever is recorded


def page() -> None:
    work = widgets.need_work("Try it")
    if work is None:
        return
    st.markdown(
        "Do one thing while the engine idles and the phone records. Was the idle or the shake any different, "
        "or did it only wander as an idle does?"
    )
    trials = tries.trials_of(work.job.notes)
    widgets.offer_undo(work, aside=True)
    if trials:
        _show_trial(work, trials)
        st.header("Try another", anchor=False)
    ids = [kind.id for kind in kinds()]
    kind = kind_of(st.selectbox("What will you try?", ids, format_func=lambda i: kind_of(i).title))
    _show_how(kind, work.job.notes)
    _upload(work, kind)


def _show_how(kind: Kind, notes: Mapping[str, str]) -> None:
    """The steps with their cautions; none while the car is in a state in which no engine is run for a check.
    notes: of the job, with what the person at the car said of it."""
    known = catalogue()
    row = known.check(kind.check) if kind.check is not None else None
    held = doable.not_now(notes, row.unsafe_when if row else UNSAFE)
    if held:
        st.warning(widgets.plain(held))
        return
    names = dict.fromkeys((*(row.cautions if row else CAUTIONS), PHONE))  # each once
    widgets.show_cautions([known.cautions[name] for name in names])
    if row and row.tools:
        st.markdown(widgets.plain(f"Tools: {', '.join(row.tools)}."))
    widgets.show_steps(
        (
            "Two people: one in the seat taps, one works.",
            "Parking brake on, wheels chocked, neutral or park.",
            "Engine at idle, phone in its place. Start the recording.",
            "Keep off for 15 seconds. Then tap once, firmly, beside the phone: that marks the moment.",
            kind.begin,
            f"After 15 seconds, tap once again. {kind.undo}",
            "After 15 more seconds, stop. Put the recording in here.",
        )
    )


# ---------------------------------------------------------------- a recording in


def _upload(work: state.Work, kind: Kind) -> None:
    window = state.window()
    upload = st.file_uploader("The recording, just as the phone wrote it", key=f"try {window.uploads}")
    if upload is None:
        return
    data = upload.getvalue()
    digest = hashlib.sha256(data).hexdigest()
    here = next((f.name for f in work.job.files if f.digest == digest), None)
    if here is not None:
        st.warning(widgets.plain(f"{upload.name} is in this job already, as {here}. {ANOTHER}"))
        return
    name = free_name(clean_name(upload.name), [f.name for f in work.job.files])
    recording = cache.recording(name, digest, lambda: data)  # what is wrong with it is told in words
    begun_s, undone_s = tries.moments(recording)
    trial = tries.Trial(name, begun_s, undone_s, kind.id)
    notes = tries.notes_with(work.job.notes, [*tries.trials_of(work.job.notes), trial])
    file = NewFile(name, data, tries.WHY_ASIDE)
    job = save_case(state.store(), work.job, case_of(work.job), notes=notes, add=[file])
    window.empty_upload_box()
    window.hold(job, f"Kept: {name}. Check the moments below.")
    st.rerun()


# ---------------------------------------------------------------- what came of it


def _show_trial(work: state.Work, trials: tuple[tries.Trial, ...]) -> None:
    names = [t.name for t in trials]
    name = names[-1]
    if names[1:]:
        titles = {t.name: f"{kind_of(t.kind).title}: {t.name}" for t in trials}
        name = st.selectbox("What was tried", names[::-1], format_func=titles.__getitem__)
    trial = next(t for t in trials if t.name == name)
    told = tries.outcome(work.job, work.case, trial)
    place = st.container()
    _edit(work, trial)
    with place:
        _tell(work, trial, told)
    if not isinstance(told, str):
        for picture in figures.tried(told, trial.begun_s, trial.undone_s):
            widgets.show_picture(picture, f"tried {picture.title}")
    if st.button("Remove this one", key=f"remove {name}"):
        _remove(work, trial)


def _tell(work: state.Work, trial: tries.Trial, told: Tried | str) -> None:
    """What came of it, and what that means."""
    kind, recording = kind_of(trial.kind), tries.recording_of(work.job, trial.name)
    st.subheader(widgets.plain(kind.title), anchor=False)
    if isinstance(told, str):
        st.warning(widgets.plain(told))
    elif recording is not None and not tries.are_said(recording, trial):
        st.warning(tries.UNSAID)
    else:
        tell = TELL.get(told.heeded, st.warning)
        tell(widgets.plain(f"{tried_words(told)} {kind.meaning(told.heeded)}"))
        if kind.check is not None and told.heeded != "cannot tell":
            _ask_for_outcome(work, catalogue().check(kind.check))


def _ask_for_outcome(work: state.Work, row: CheckRow) -> None:
    """Carried on from here to the check that it is part of: only what somebody says counts for a cause."""
    st.markdown(
        f"**Say what came of it:** {widgets.plain(row.name)}  \n"
        "Once you have tried all that belongs to it. It counts for the causes."
    )
    outcomes.ask(work, row, widgets.results(work).diagnosis)


def _edit(work: state.Work, trial: tries.Trial) -> None:
    """What was tried and when, each kept as it is said."""
    recording = tries.recording_of(work.job, trial.name)
    if recording is None:
        return
    ids = [kind.id for kind in kinds()]
    boxes.box(
        st.selectbox, f"kind of {trial.name}", _put(trial, "kind"), "What it was", ids,
        ids.index(kind_of(trial.kind).id), lambda i: kind_of(i).title,
    )  # fmt: skip
    one, other = st.columns(2)
    end_s = round(recording.duration_s, 1)
    for column, field, label, now in (
        (one, "begun_s", "Begun at, seconds", trial.begun_s),
        (other, "undone_s", "Undone at, seconds (empty: not)", trial.undone_s),
    ):
        boxes.box(
            column.number_input, f"{field} of {trial.name}", _put(trial, field), label, 0.0, end_s,
            None if now is None else min(now, end_s), 0.5, format="%.1f",
        )  # fmt: skip
    st.caption(widgets.plain(_taps(recording)))


def _taps(recording: Recording) -> str:
    heard = taps_s(recording)
    if not heard:
        return "No tap was heard in it: give the moments by the clock, from the start of the recording."
    return f"Taps and knocks heard at {', '.join(f'{t:.1f}' for t in heard)} s."


def _put(trial: tries.Trial, field: str) -> boxes.Put:
    def put(case: Case, notes: Mapping[str, str], said: Any) -> tuple[Case, Mapping[str, str]]:
        if field == "begun_s" and said is None:
            return case, notes
        found = tries.trials_of(notes)
        changed = [replace(t, **{field: said}) if t.name == trial.name else t for t in found]
        return case, tries.notes_with(notes, changed)

    return put


def _remove(work: state.Work, trial: tries.Trial) -> None:
    left = [t for t in tries.trials_of(work.job.notes) if t.name != trial.name]
    notes = tries.notes_with(work.job.notes, left)
    job = save_case(state.store(), work.job, case_of(work.job), notes=notes, remove=[trial.name])
    state.window().hold_without(job)
    st.rerun()
