"""The hand-over: a page for the customer, what was wrong and what came of it first, in plain words; the
workshop's numbers behind it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from html import escape

from vibecore.case import Case
from vibecore.causes.load import is_code
from vibecore.constants import SOUND
from vibecore.contract import all_warnings
from vibecore.drawing import NARROW, WIDTH, before_after_svg, orders_svg
from vibecore.engine import Vehicle
from vibecore.figures.style import too_broken
from vibecore.harmless import harmless
from vibecore.jobs import INVENTED, INVENTED_WORDS
from vibecore.mending import SURE_ENOUGH, likeliest_part, to_mend
from vibecore.model import Analysis, Diagnosis, RankedCause, Repair, Symptoms
from vibecore.paper import bullets, figure, page, section, table, text
from vibecore.plan import is_sound, unsaid_of_proof
from vibecore.spoken import spoken_by_file
from vibecore.units import KM_PER_MILE, percent
from vibecore.words import (
    UNSHOWN_PROBABILITY,
    condition_words,
    customer_change,
    joined,
    repair_sentences,
    sentence,
    shake_words,
    speaks,
    speed_range,
    vehicle_words,
    verdict_words,
    weighting_words,
)

MOST_CAUSES = 4  # a customer's page: what is less likely is counted, not listed
LEAST_ONCE_CURED = 0.1  # of a cause: what is less likely is of no use to a customer whose car is cured
MOST_EVIDENCE = 3  # of each: the rest is in the job

BEFORE_AFTER = (
    "Shake before and after the repair, for each rhythm of the engine: lower is calmer. Thin lines: how far "
    "the change may be off (95 % interval)."
)
LIMITS = (
    "The likelihoods are what the vibration and the checks support; they are no certainty, and a part is "
    "replaced only after it was looked at.",
    "A phone hears slow shake only: what lies above half its sample rate cannot be seen.",
    "Fuel, gearbox insides, airbags, brakes and anything under warranty belong to a licensed shop.",
    "The maker's manual, local rules and licensed practice come before anything written here.",
)


def report_html(
    case: Case,
    notes: Mapping[str, str],
    diagnosis: Diagnosis | None,
    *,
    checks: Sequence[tuple[str, str]] = (),
    tried: Sequence[tuple[str, str]] = (),
    guessed: Collection[str] = (),
    date: str = "",
) -> str:
    """The page. notes: complaint, done, customer ... as kept with the job; checks: name and outcome in words;
    tried: what was tried while the engine ran, and what came of it; guessed: recordings of which it is only
    guessed how they were made; date: as it shall stand on the page."""
    body = [
        f"<h1>{escape(case.title)}</h1>",
        f'<p class="quiet">{escape(" · ".join(filter(None, (notes.get("customer", ""), date))))}</p>',
        f'<p class="quiet">{escape(car_words(case.vehicle, notes.get("units", "")))}</p>',
        _invented(notes),
        _in_short(diagnosis, case, notes, guessed),
        section("What was complained of", text(notes.get("complaint", "")) + _symptoms(case.symptoms)),
        section("What was checked", bullets(f"{name}: {outcome}" for name, outcome in checks)),
        section("What was tried while it ran", bullets(f"{what}. {told}" for what, told in tried)),
        _next_check(diagnosis, case),
        section("Limits", f'<div class="small">{bullets(LIMITS)}</div>'),
        _measured(diagnosis, case),
    ]
    return page(case.title, body)


def car_words(vehicle: Vehicle, units: str) -> str:
    """The car in a line: engine, gearbox, and how far it has run in the units that the workshop uses."""
    km = vehicle.mileage_km
    far = "" if km is None else f"{km / KM_PER_MILE:,.0f} miles" if units == "US" else f"{km:,.0f} km"
    return ", ".join(filter(None, (vehicle_words(vehicle), far)))


def _invented(notes: Mapping[str, str]) -> str:
    return f'<p class="caution">{INVENTED_WORDS}</p>' if notes.get(INVENTED) else ""


# ---------------------------------------------------------------- for the customer


def _in_short(
    diagnosis: Diagnosis | None, case: Case, notes: Mapping[str, str], guessed: Collection[str]
) -> str:
    """What a customer asks first: what was wrong, what was done, is it cured."""
    found = _wrong(diagnosis, case)
    repair = diagnosis.repair if diagnosis else None
    done = notes.get("done", "").strip()
    told = text("\n".join(filter(None, (found, f"What was done: {done}" if done else ""))))
    if repair is None:
        return f'<div class="verdict">{told}</div>'
    verdict = f"<p><strong>{escape(verdict_words(repair))}.</strong> {escape(customer_change(repair))}</p>"
    verdict += text("\n".join(_holds_if(case, repair, guessed)))
    wide, narrow = (before_after_svg(repair, case.vehicle.engine, width) for width in (WIDTH, NARROW))
    drawn = figure(wide, BEFORE_AFTER, narrow) if repair.changes else ""
    return f'<div class="verdict">{verdict}{told}</div>{drawn}'


def _holds_if(case: Case, repair: Repair, guessed: Collection[str]) -> list[str]:
    """On what the verdict rests that nobody said."""
    if repair.verdict == "cannot-tell":
        return []
    guess, placeless = unsaid_of_proof(case, repair, guessed)
    made = "How the recordings were made is partly a guess or not said: it holds only if they were alike."
    place = "Holds only if the phone was in the same place both times: nobody said so."
    return [told for told, is_so in ((made, guess), (place, placeless)) if is_so]


def _wrong(diagnosis: Diagnosis | None, case: Case) -> str:
    """What is wrong, in a sentence, and how likely that is."""
    if diagnosis is None or not diagnosis.causes:
        lacking = "No recording could be read" if case.recordings else "Nothing was recorded yet"
        return f"{lacking}, so nothing can be said of what is wrong."
    first = diagnosis.causes[0]
    if first.id == SOUND:
        likely = percent(first.probability)
        if is_sound(case, diagnosis):
            return f"Nothing wrong was found ({likely} likely)."
        return f"No fault stands out ({likely} likely that none is there)."
    part, repair = _sure_part(first), diagnosis.repair
    repaired = repair is not None and repair.verdict in ("cured", "improved")
    named = f"{first.name} ({percent(first.probability)} likely)"
    most = f". Most likely part: {part[0]} ({percent(part[1])})" if part else ""
    return f"{'What was wrong' if repaired else 'What is wrong, most likely'}: {named}{most}."


def _sure_part(cause: RankedCause) -> tuple[str, float] | None:
    """Name and share of all of its likeliest part, where that is sure enough."""
    part, share = likeliest_part(cause)
    return (part, share) if part and share >= SURE_ENOUGH else None


def _symptoms(symptoms: Symptoms) -> str:
    lamp = {None: "", True: "Engine lamp on.", False: "Engine lamp off."}[symptoms.check_engine_light]
    found = [code for code in symptoms.codes if is_code(code)]  # what else was typed is none
    codes = f"Trouble codes: {', '.join(found)}." if found else ""
    when = f"It shakes: {', '.join(symptoms.shakes_when)}." if symptoms.shakes_when else ""
    return text(" ".join(filter(None, (lamp, codes, when))))


def _next_check(diagnosis: Diagnosis | None, case: Case) -> str:
    """What to mend, or the check to make next, with its cautions; none once the repair is proven."""
    mend = to_mend(case, diagnosis) if diagnosis else None
    if mend is not None:
        return section(
            "What to do next", f"<p><strong>{escape(mend.title)}</strong></p><p>{escape(mend.why)}</p>"
        )
    if diagnosis is None or _is_cured(diagnosis) or not diagnosis.next_checks:
        return ""
    check = diagnosis.next_checks[0]
    name = f"<p><strong>{escape(check.name)}</strong> (about {check.minutes:.0f} minutes)</p>"
    cautions = f'<div class="caution">{bullets(check.cautions)}</div>' if check.cautions else ""
    return section("What to check next", name + cautions)


def _is_cured(diagnosis: Diagnosis) -> bool:
    return diagnosis.repair is not None and diagnosis.repair.proven


# ---------------------------------------------------------------- for the workshop


def _measured(diagnosis: Diagnosis | None, case: Case) -> str:
    """The numbers behind it, on pages of their own."""
    if diagnosis is None:
        return ""
    parts = (
        ("How the repair was proven", _proof(diagnosis)),
        ("What speaks for and against", _found(diagnosis)),
        ("Recordings", _recordings(diagnosis, case)),
    )
    inner = "".join(f"<h3>{escape(title)}</h3>{content}" for title, content in parts if content)
    return f'<div class="apart">{section("The measurements, for the workshop", inner)}</div>'


def _proof(diagnosis: Diagnosis) -> str:
    return bullets(repair_sentences(diagnosis.repair)) if diagnosis.repair else ""


def _found(diagnosis: Diagnosis) -> str:
    least = LEAST_ONCE_CURED if _is_cured(diagnosis) else UNSHOWN_PROBABILITY
    listed = [c for c in diagnosis.causes if c.probability >= least][:MOST_CAUSES]
    rest = len(diagnosis.causes) - len(listed)
    others = "1 other cause is" if rest == 1 else f"{rest} other causes are"
    return "".join(map(_cause, listed)) + (f'<p class="quiet">{others} less likely.</p>' if rest else "")


def _cause(cause: RankedCause) -> str:
    """Its share and the weightiest findings, as the workshop saw them."""
    evidence = sorted(cause.evidence, key=lambda e: -abs(e.weight_db))
    lines = bullets(f"{speaks(e)}: {sentence(e.text)}" for e in evidence[:MOST_EVIDENCE])
    return f"<p><strong>{escape(cause.name)}</strong>: {escape(percent(cause.probability))}</p>{lines}"


def _recordings(diagnosis: Diagnosis, case: Case) -> str:
    analyses, called = diagnosis.analyses, spoken_by_file(diagnosis.analyses)
    made = [replace(a.condition, tachometer_rpm=None) for a in analyses]
    rows = [
        (condition_words(how) or a.name, _speed(a), shake_words(a.overall), a.name)
        for a, how in zip(analyses, made, strict=True)
    ]
    minds = _minds_of_all(analyses, called)
    minds += _cut_off(analyses)
    minds += dict.fromkeys(filter(None, (weighting_words(a.overall) for a in analyses)))
    listed = table(("How it was made", "Engine speed", "Overall shake", "File"), rows)
    told = f"<h3>Keep in mind</h3>{bullets(minds)}" if minds else ""
    return listed + _order_figure(diagnosis, case) + told


def _cut_off(analyses: Sequence[Analysis]) -> list[str]:
    """What the phone's rate leaves out, of the slowest: that of the others is less, and no other remark."""
    cut = [a for a in analyses if a.overall.cut_off_note]
    slowest = min(cut, key=lambda a: a.recording.sample_rate_hz, default=None)
    return [slowest.overall.cut_off_note or ""] if slowest else []


def _speed(analysis: Analysis) -> str:
    return "engine off" if analysis.condition.speed_hold == "engine off" else speed_range(analysis.speed)


def _order_figure(diagnosis: Diagnosis, case: Case) -> str:
    """The order spectrum of the recording that speaks most for the first cause, of the first that has one if
    none does, or why none has."""
    drawn = [a for a in diagnosis.analyses if a.orders is not None and not too_broken(a)]
    if not drawn:
        return text(too_broken(*diagnosis.analyses))
    telling = _most_telling(diagnosis.causes)
    shown = min(drawn, key=lambda a: telling.index(a.name) if a.name in telling else len(telling))
    how = condition_words(replace(shown.condition, tachometer_rpm=None))
    caption = f"Shake by engine order: {how or shown.name}."
    return figure(orders_svg(shown, case.vehicle.engine), caption)


def _most_telling(causes: Sequence[RankedCause]) -> list[str]:
    """Names of the recordings that bear the first cause out, the weightiest finding first."""
    found = sorted(causes[0].evidence if causes else (), key=lambda e: -e.weight_db)
    return [name for e in found if e.says == "for" for name in e.seen_in]


def _minds_of_all(analyses: Sequence[Analysis], called: Mapping[str, str]) -> list[str]:
    """What to mind, each thing once with the recordings of which it is true."""
    of: dict[str, list[str]] = {}
    for analysis in analyses:
        for told in _minds(analysis):
            of.setdefault(told, []).append(called[analysis.name])
    return [f"{joined(names)}: {told}" for told, names in of.items()]


def _minds(analysis: Analysis) -> list[str]:
    """What to mind of a recording, as the app judges it; what is true of every phone is said once for all."""
    cut_off, no_harm = analysis.overall.cut_off_note, harmless(analysis)
    return [w.message for w in all_warnings(analysis) if w.code not in no_harm and w.message != cut_off]
