"""The hand-over: one self-contained HTML page with its charts drawn in, that prints well.

No network, no script: a page that holds a customer's name must not call anywhere, so its own policy forbids
it. Everything that came from a person or a file is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING

from vibecore import figures
from vibecore.case import Case
from vibecore.contract import all_warnings
from vibecore.drawing import before_after_svg, levels_svg, orders_svg, overlay_svg
from vibecore.engine import Engine, Vehicle
from vibecore.figures.style import too_broken
from vibecore.jobs import INVENTED, INVENTED_WORDS
from vibecore.model import Analysis, Diagnosis, OrderChange, RankedCause, Symptoms
from vibecore.plan import SURE_ENOUGH, likeliest_part, to_mend
from vibecore.units import KM_PER_MILE
from vibecore.words import (
    SPEAKS,
    UNSHOWN_PROBABILITY,
    VERDICTS,
    condition_words,
    overall_words,
    percent,
    repair_sentences,
    speed_words,
    vehicle_words,
)

if TYPE_CHECKING:
    from vibecore.repair import Pair

MOST_CAUSES = 4  # a customer's page: what is less likely is counted, not listed
LEAST_ONCE_CURED = 0.1  # of a cause: what is less likely is of no use to a customer whose car is cured
MOST_EVIDENCE = 3  # of each: the rest is in the job

STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#1F2328;max-width:46rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.7rem;margin-bottom:.2rem}h2{font-size:1.2rem;margin:1.6rem 0 .4rem;break-after:avoid}
p{margin:.3rem 0}small,.quiet{color:#505A64}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #C9CED4;vertical-align:top}
body{font-variant-ligatures:none;overflow-wrap:anywhere}th{min-width:5em}td:first-child{min-width:7em}tr,li,.verdict,.caution{break-inside:avoid}thead{display:table-header-group}
.verdict{border-left:6px solid #0072B2;padding:.4rem .8rem;background:#EAF4FB;font-size:1.15rem}
.caution{border-left:6px solid #D55E00;padding:.4rem .8rem;background:#FDF1E9}
svg{display:block;width:100%;height:auto}figure{margin:.8rem 0;break-inside:avoid}li{margin:.15rem 0}
.wide{overflow-x:auto}@media screen and (max-width:600px){.wide table{min-width:34rem}h1{font-size:1.4rem}}
@media print{.wide{overflow:visible}}
@media print{body{font-size:11pt;margin:0;padding:0;max-width:none}@page{size:auto;margin:15mm}}
"""

POLICY = "default-src 'none'; style-src 'unsafe-inline'"  # nothing runs, nothing is fetched

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
    date: str = "",
) -> str:
    """The page. notes: complaint, done, customer ... as kept with the job; checks: name and outcome in words;
    tried: what was tried while the engine ran, and what came of it; date: as it shall stand on the page."""
    body = [
        f"<h1>{escape(case.title)}</h1>",
        f'<p class="quiet">{escape(" · ".join(filter(None, (notes.get("customer", ""), date))))}</p>',
        f"<p>{escape(car_words(case.vehicle, notes.get('units', '')))}</p>",
        _invented(notes),
        _outcome(diagnosis, notes),
        _section("What was complained of", _text(notes.get("complaint", "")) + _symptoms(case.symptoms)),
        _found(diagnosis),
        _section("What was checked", _bullets(f"{name}: {outcome}" for name, outcome in checks)),
        _section("What was tried while it ran", _bullets(f"{what}. {told}" for what, told in tried)),
        _next_check(diagnosis, case),
        "" if diagnosis and diagnosis.repair else _section("What was done", _text(notes.get("done", ""))),
        _proof(diagnosis, case),
        _recordings(diagnosis, case),
        _section("Limits", _bullets(LIMITS)),
    ]
    return _page(case.title, body)


def comparison_html(
    case: Case,
    pair: Pair,
    first: Analysis,
    second: Analysis,
    *,
    verdict: str,
    units: str = "",
    date: str = "",
) -> str:
    """Two recordings over each other, on one printed page. verdict: the line on top."""
    body = [
        f"<h1>{escape(case.title)}: two recordings</h1>",
        f'<p class="quiet">{escape(" · ".join(filter(None, (car_words(case.vehicle, units), date))))}</p>',
        f'<p class="verdict">{escape(verdict)}</p>',
        _bullets(
            f"{a.name}: {condition_words(a.condition)}. {speed_words(a.speed)}" for a in (first, second)
        ),
        _text("\n".join(pair.notes)),
        _section(
            "Over each other",
            f"<figure>{overlay_svg(first, second)}</figure>{_text(too_broken(first, second))}",
        ),
        _each_order(first, second, pair.changes, case.vehicle.engine),
    ]
    return _page(f"{case.title}: {first.name} and {second.name}", body)


def _each_order(first: Analysis, second: Analysis, changes: Sequence[OrderChange], engine: Engine) -> str:
    """Bars and table of what both show; empty where one has no engine orders."""
    if not changes:
        return ""
    picture = figures.levels(first, second, changes, engine)
    bars = f"<figure>{levels_svg(first, second, [c.order for c in changes], engine)}</figure>"
    return _section(picture.title, bars + _table(picture.columns, picture.rows))


def car_words(vehicle: Vehicle, units: str) -> str:
    """The car in a line: engine, gearbox, and how far it has run in the units that the workshop uses."""
    km = vehicle.mileage_km
    far = "" if km is None else f"{km / KM_PER_MILE:,.0f} miles" if units == "US" else f"{km:,.0f} km"
    return ", ".join(filter(None, (vehicle_words(vehicle), far)))


def _page(title: str, body: Sequence[str]) -> str:
    """The page whole. Sentences are written for any terminal; on paper the unit looks as in the pictures."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>\n"
        + "\n".join(filter(None, body)).replace(" m/s2", " m/s²")
        + '\n<p class="quiet">Made by vibecore from phone recordings.</p>\n</body></html>\n'
    )


def _invented(notes: Mapping[str, str]) -> str:
    return f'<p class="caution">{INVENTED_WORDS}</p>' if notes.get(INVENTED) else ""


def _outcome(diagnosis: Diagnosis | None, notes: Mapping[str, str]) -> str:
    """After a repair, what a customer asks first: is it cured, what was it, what was done."""
    repair = diagnosis.repair if diagnosis else None
    if diagnosis is None or repair is None:
        return ""
    verdict = ": ".join((VERDICTS[repair.verdict], *repair_sentences(repair)[:1]))
    done = notes.get("done", "").strip()
    found = [f"Found: {_named(cause)}." for cause in diagnosis.causes[:1]]
    rest = _text("\n".join([*found, *([f"Done: {done}"] if done else [])]))
    return f'<p class="verdict">{escape(verdict)}</p>{rest}'


def _named(cause: RankedCause) -> str:
    """A cause with its share, and its part where one is sure enough."""
    part = _sure_part(cause)
    return f"{cause.name}, {percent(cause.probability)}" + (
        f": {part[0]}, {percent(part[1])}" if part else ""
    )


def _sure_part(cause: RankedCause) -> tuple[str, float] | None:
    """Name and share of all of its likeliest part, where that is sure enough."""
    part, share = likeliest_part(cause)
    return (part, share) if part and share >= SURE_ENOUGH else None


def _symptoms(symptoms: Symptoms) -> str:
    lamp = {None: "", True: "Engine lamp on.", False: "Engine lamp off."}[symptoms.check_engine_light]
    codes = f"Trouble codes: {', '.join(symptoms.codes)}." if symptoms.codes else ""
    when = f"It shakes: {', '.join(symptoms.shakes_when)}." if symptoms.shakes_when else ""
    return _text(" ".join(filter(None, (lamp, codes, when))))


def _section(heading: str, content: str) -> str:
    return f"<h2>{escape(heading)}</h2>\n{content}" if content else ""


def _text(text: str) -> str:
    """A person's own lines as paragraphs."""
    return "".join(f"<p>{escape(line)}</p>" for line in re.split(r"\n+", text.strip()) if line)


def _bullets(items: Iterable[str]) -> str:
    listed = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<ul>{listed}</ul>" if listed else ""


def _found(diagnosis: Diagnosis | None) -> str:
    if diagnosis is None:
        return _section("What was found", "<p>No recording could be read.</p>")
    least = LEAST_ONCE_CURED if _is_cured(diagnosis) else UNSHOWN_PROBABILITY
    listed = [c for c in diagnosis.causes if c.probability >= least][:MOST_CAUSES]
    rest = len(diagnosis.causes) - len(listed)
    others = "1 other cause is" if rest == 1 else f"{rest} other causes are"
    more = f'<p class="quiet">{others} less likely.</p>' if rest else ""
    return _section("What was found", "".join(map(_cause, listed)) + more)


def _is_cured(diagnosis: Diagnosis) -> bool:
    return diagnosis.repair is not None and diagnosis.repair.verdict == "cured"


def _cause(cause: RankedCause) -> str:
    """Its share and the weightiest findings, as the workshop saw them."""
    evidence = sorted(cause.evidence, key=lambda e: -abs(e.weight_db))
    part = _sure_part(cause)
    first = [f"Most likely: {part[0]}, {percent(part[1])}"] if part else []
    lines = _bullets([*first, *(f"{SPEAKS[e.says]}: {e.text}" for e in evidence[:MOST_EVIDENCE])])
    return f"<p><strong>{escape(cause.name)}</strong>: {escape(percent(cause.probability))}</p>{lines}"


def _next_check(diagnosis: Diagnosis | None, case: Case) -> str:
    """What to mend, or the check to make next, with its cautions; none once the repair is proven."""
    mend = to_mend(case, diagnosis) if diagnosis else None
    if mend is not None:
        return _section(
            "What to do next", f"<p><strong>{escape(mend.title)}</strong></p><p>{escape(mend.why)}</p>"
        )
    if diagnosis is None or _is_cured(diagnosis) or not diagnosis.next_checks:
        return ""
    check = diagnosis.next_checks[0]
    name = f"<p><strong>{escape(check.name)}</strong> (about {check.minutes:.0f} minutes)</p>"
    cautions = f'<div class="caution">{_bullets(check.cautions)}</div>' if check.cautions else ""
    return _section("What to check next", name + cautions)


def _proof(diagnosis: Diagnosis | None, case: Case) -> str:
    repair = diagnosis.repair if diagnosis else None
    if repair is None:
        return ""
    picture = before_after_svg(repair, case.vehicle.engine) if repair.changes else ""
    figure = f"<figure>{picture}<figcaption>Shake before and after.</figcaption></figure>" if picture else ""
    verdict = f"<p><strong>{escape(VERDICTS[repair.verdict])}</strong></p>"
    words = "".join(f"<p>{escape(sentence)}</p>" for sentence in repair_sentences(repair))
    return _section("Proof of repair", f"{verdict}{words}{figure}")


def _recordings(diagnosis: Diagnosis | None, case: Case) -> str:
    if diagnosis is None:
        return ""
    rows = [
        (a.name, condition_words(a.condition), f"{speed_words(a.speed)} {overall_words(a.overall)}")
        for a in diagnosis.analyses
    ]
    minds = [f"{a.name}: {text}" for a in diagnosis.analyses for text in _minds(a)]
    minds += dict.fromkeys(a.overall.cut_off_note for a in diagnosis.analyses if a.overall.cut_off_note)
    table = _table(("Recording", "How it was made", "What it says"), rows)
    mind = f"<p>To mind:</p>{_bullets(minds)}" if minds else ""
    return _section("Recordings", table + _order_figure(diagnosis, case) + mind)


def _order_figure(diagnosis: Diagnosis, case: Case) -> str:
    """The order spectrum of the recording that speaks most for the first cause, of the first that has one if
    none does, or why none has."""
    drawn = [a for a in diagnosis.analyses if a.orders is not None and not too_broken(a)]
    if not drawn:
        return _text(too_broken(*diagnosis.analyses))
    telling = _most_telling(diagnosis.causes)
    shown = min(drawn, key=lambda a: telling.index(a.name) if a.name in telling else len(telling))
    caption = f"Shake by engine order: {condition_words(shown.condition) or shown.name}."
    picture = orders_svg(shown, case.vehicle.engine)
    return f"<figure>{picture}<figcaption>{escape(caption)}</figcaption></figure>"


def _most_telling(causes: Sequence[RankedCause]) -> list[str]:
    """Names of the recordings that bear the first cause out, the weightiest finding first."""
    found = sorted(causes[0].evidence if causes else (), key=lambda e: -e.weight_db)
    return [name for e in found if e.says == "for" for name in e.seen_in]


def _minds(analysis: Analysis) -> list[str]:
    """What to mind of a recording; what is true of every phone is said once for all."""
    return [w.message for w in all_warnings(analysis) if w.message != analysis.overall.cut_off_note]


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(c)}</th>" for c in columns)
    body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide" tabindex="0">{table}</div>'
