"""The command line. It only reads files, calls, and prints; the JSON is fixed, the text is for people.

Heavy libraries are imported inside the commands that need them, so that the answer to one file comes about
as fast as numpy and scipy load.
"""

from __future__ import annotations

import contextlib
import math
import os
import sys
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibecore.answering import (
    DEBUG_VARIABLE,
    Answer,
    UnansweredError,
    answer_all,
    in_words,
    shown,
    unforeseen,
)
from vibecore.constants import HIGHEST_SPEED_RPM
from vibecore.errors import VibecoreError

if TYPE_CHECKING:
    from vibecore.case import Case
    from vibecore.engine import Engine
    from vibecore.model import Analysis, Condition, Diagnosis, Recording


def main() -> None:
    """Entry point. Whatever happens, a person sees a sentence, never a traceback."""
    if not os.environ.get(DEBUG_VARIABLE):
        warnings.simplefilter("ignore")  # notes of libraries to programmers
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        cli()
    except Exception as error:  # the last guard: nothing may reach the person as a traceback
        click.echo(f"vibecore: {unforeseen(error)}", err=True)
        sys.exit(1)


def _rpm(_ctx: click.Context, _param: click.Parameter, value: float | None) -> float | None:
    if value is not None and not (math.isfinite(value) and 0 < value <= HIGHEST_SPEED_RPM):
        raise click.BadParameter(f"{value:g} is not an engine speed. Give revolutions a minute, such as 700.")
    return value


def _cylinders(_ctx: click.Context, _param: click.Parameter, value: int | None) -> int | None:
    from vibecore.engine import MOST_CYLINDERS

    if value is not None and not 1 <= value <= MOST_CYLINDERS:
        raise click.BadParameter(f"{value} is not between 1 and {MOST_CYLINDERS}.")
    return value


def _engine_options(command: Callable[..., None]) -> Callable[..., None]:
    for option in (
        click.option("--json", "as_json", is_flag=True, help="One JSON object a line, for programs."),
        click.option("--strokes", type=click.Choice(["2", "4"]), default="4", help="4 unless said."),
        click.option("--cylinders", type=int, callback=_cylinders, help="How many cylinders."),
    ):
        command = option(command)
    return command


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="vibecore", message="%(prog)s %(version)s")
def cli() -> None:
    """Find out why a car shakes at idle from a phone's accelerometer, and prove the repair.

    Keep clear of belts, fan and hot parts of a running engine; in gear, brake held and wheels chocked.
    """


@cli.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@_engine_options
@click.option("--rpm", callback=_rpm, type=float, help="Tachometer reading, good to about 10 %: a hint.")
def analyze(
    files: Sequence[str], cylinders: int | None, strokes: str, rpm: float | None, as_json: bool
) -> None:
    """Engine speed, orders and shake of each recording FILE."""
    engine = _engine(cylinders, strokes)

    def answer(file: str) -> Answer:
        from vibecore import by_name
        from vibecore.contract import analysis_object
        from vibecore.model import Condition
        from vibecore.terminal import analysis_text

        said = Condition(tachometer_rpm=rpm)
        analysis = _analysis(file, engine, said, by_name.taken(said, file))
        name = shown(file)
        return analysis_object(analysis, file=name, engine=engine), analysis_text(analysis, name)

    answer_all(files, "file", answer, as_json)


@cli.command()
@click.argument("cases", nargs=-1, required=True, metavar="CASE.toml...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, for programs.")
def diagnose(cases: Sequence[str], as_json: bool) -> None:
    """Ranked causes, next checks and the proof of repair of each job."""
    answer_all(cases, "case", lambda path: _diagnosis(path, as_json), as_json)


@cli.command()
@click.argument("before")
@click.argument("after")
@_engine_options
@click.option("--rpm-before", callback=_rpm, type=float, help="Tachometer reading of the first recording.")
@click.option("--rpm-after", callback=_rpm, type=float, help="Tachometer reading of the second recording.")
def compare(
    before: str,
    after: str,
    cylinders: int | None,
    strokes: str,
    rpm_before: float | None,
    rpm_after: float | None,
    as_json: bool,
) -> None:
    """Did the shake change from the recording BEFORE the repair to the one AFTER it?"""
    engine, names = _engine(cylinders, strokes), (shown(before), shown(after))

    def answer(_pair: str) -> Answer:
        from vibecore import by_name, copies, repair
        from vibecore.contract import comparison_object
        from vibecore.model import Condition
        from vibecore.terminal import comparison_text

        places = by_name.places(before, after)
        with in_words(before):
            said = Condition(tachometer_rpm=rpm_before, stage="before")
            how = replace(by_name.taken(said, before), place=places[0])
            first = _analysis(before, engine, said, how)
        with in_words(after):
            said = Condition(tachometer_rpm=rpm_after, stage="after")
            how = replace(by_name.taken(said, after), place=places[1])
            second = _analysis(after, engine, said, how)
        repeats = copies.copies((first.recording, second.recording))
        first, second = copies.told((first, second), repeats)
        verdict = repair.before_and_after(first, second, engine)
        return (
            comparison_object(first, second, verdict, files=names, engine=engine),
            comparison_text(first, second, verdict, names),
        )

    answer_all([before], "file", answer, as_json, before=names[0], after=names[1])


@cli.command()
@click.option("--port", type=click.IntRange(1, 65535), help="Port on this machine; a free one if not said.")
@click.option("--data", type=click.Path(path_type=Path), metavar="DIR", help="Folder that keeps the jobs.")
def app(port: int | None, data: Path | None) -> None:
    """Start the app in the browser, on this machine only. Stop it with Ctrl+C."""
    from vibecore import launch

    try:
        launch.start(port, data)
    except VibecoreError as error:
        click.echo(f"vibecore: {error}", err=True)
        sys.exit(1)


# ---------------------------------------------------------------- reading and calling


def _engine(cylinders: int | None, strokes: str) -> Engine | None:
    if cylinders is None:
        if strokes != "4":
            click.echo("vibecore: --strokes tells nothing without --cylinders: not used.", err=True)
        return None
    from vibecore.engine import Engine

    return Engine(cylinders=cylinders, strokes=int(strokes))


def _analysis(file: str, engine: Engine | None, said: Condition, taken: Condition) -> Analysis:
    """Of one recording, made as `taken`, of which only `said` was said."""
    from vibecore import pipeline
    from vibecore.reading import read_recording

    return pipeline.analyze(_told(read_recording(Path(file)), said, taken), engine, taken)


def _told(recording: Recording, said: Condition, taken: Condition) -> Recording:
    """With a word on what was taken from its name."""
    from vibecore import by_name

    return replace(recording, warnings=(*recording.warnings, *by_name.told(said, taken)))


def _diagnosis(path: str, as_json: bool) -> Answer:
    from vibecore import pipeline
    from vibecore.case import load_case
    from vibecore.contract import diagnosis_object, error_object, recording_item
    from vibecore.terminal import diagnosis_text

    case = load_case(path)
    engine, name = case.vehicle.engine, shown(path)
    read, unread = _recordings(case)
    if not read:
        raise VibecoreError(f"None of the recordings can be read. {next(iter(unread.values()))}")
    diagnosis = _with_lost_proof(pipeline.diagnose(case, list(read.values())), case, unread)
    analyses = dict(zip(read, diagnosis.analyses, strict=True))
    items = []
    for i, item in enumerate(case.recordings):
        if i in analyses:
            items.append(recording_item(analyses[i], file=item.name, engine=engine))
        else:
            items.append(error_object(unread[i], file=item.name))
    left_out = [f"{case.recordings[i].file.name}: {why}" for i, why in unread.items()]
    for note in diagnosis.notes if as_json else ():  # the text tells them itself
        click.echo(f"{name}: {note}", err=True)
    return (
        diagnosis_object(diagnosis, case=name, engine=engine, recordings=items),
        diagnosis_text(diagnosis, case.title, left_out, _first_of_all(case, diagnosis)),
    )


def _first_of_all(case: Case, diagnosis: Diagnosis) -> list[str]:
    """What to record or to mend before any check, with its cautions; nothing where a check comes first."""
    from vibecore.plan import item_of, next_step

    step = next_step(case, diagnosis)
    if not step.mends and step.page != "record":
        return []
    item = item_of(case, step.records)
    return [f"Next: {step.title}. {step.why}", *(f"Caution: {c}" for c in (item.cautions if item else ()))]


def _recordings(case: Case) -> tuple[dict[int, tuple[Recording, Condition]], dict[int, str]]:
    """The recordings that can be read, and why the others cannot, by their number in the case."""
    from vibecore import by_name
    from vibecore.reading import read_recording

    read, unread = {}, {}
    for i, item in enumerate(case.recordings):
        taken = by_name.taken(item.condition, item.file.name)
        try:
            with in_words():
                recording = read_recording(case.file_of(item))
                read[i] = (_told(recording, item.condition, taken), taken)
        except UnansweredError as error:
            unread[i] = str(error)
    return read, unread


def _with_lost_proof(diagnosis: Diagnosis, case: Case, unread: dict[int, str]) -> Diagnosis:
    """A repair whose only recordings from before or after it cannot be read is not 'no repair', nor were none
    made: it cannot be told."""
    from vibecore.model import Repair

    stages = [item.condition.stage for item in case.recordings]
    kept = {stage for i, stage in enumerate(stages) if i not in unread}
    lost = [(stages[i], why) for i, why in unread.items() if stages[i] not in kept]
    if not lost:
        return diagnosis
    stage, reason = lost[0]
    why = f"The recording from {stage} the repair cannot be read. {reason}"
    return replace(diagnosis, repair=Repair.cannot_tell(why))
