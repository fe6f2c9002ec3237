"""The hand-over: one self-contained HTML page with its charts drawn in, that prints well.

No network, no script: a page that holds a customer's name must not call anywhere, so its own policy forbids
it. Everything that came from a person or a file is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from vibecore.case import Case
from vibecore.contract import all_warnings
from vibecore.drawing import before_after_svg, orders_svg
from vibecore.model import Analysis, Diagnosis, RankedCause
from vibecore.words import (
    UNSHOWN_PROBABILITY,
    VERDICTS,
    condition_words,
    overall_words,
    percent,
    repair_sentences,
    speed_words,
)

MOST_CAUSES = 4  # a customer's page: what is less likely is counted, not listed
SAYS = {"for": "for", "against": "against", "note": "note"}

STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#1F2328;max-width:46rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.7rem;margin-bottom:.2rem}h2{font-size:1.2rem;margin:1.6rem 0 .4rem;break-after:avoid}
p{margin:.3rem 0}small,.quiet{color:#505A64}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #C9CED4;vertical-align:top}
.verdict{border-left:6px solid #0072B2;padding:.4rem .8rem;background:#EAF4FB;font-size:1.15rem}
.caution{border-left:6px solid #D55E00;padding:.4rem .8rem;background:#FDF1E9}
svg{max-width:100%;height:auto}figure{margin:.8rem 0;break-inside:avoid}li{margin:.15rem 0}
@media print{body{margin:0;max-width:none}a{color:inherit}}
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
    date: str = "",
) -> str:
    """The page. notes: complaint, done, customer ... as kept with the job; checks: name and outcome in words;
    date: as it shall stand on the page."""
    title = escape(case.title)
    body = [
        f"<h1>{title}</h1>",
        f'<p class="quiet">{escape(" · ".join(filter(None, (notes.get("customer", ""), date))))}</p>',
        _section("What was complained of", _text(notes.get("complaint", ""))),
        _found(diagnosis),
        _section("What was checked", _bullets(f"{name}: {outcome}" for name, outcome in checks)),
        _next_check(diagnosis),
        _section("What was done", _text(notes.get("done", ""))),
        _proof(diagnosis, case),
        _recordings(diagnosis, case),
        _section("Limits", _bullets(LIMITS)),
        '<p class="quiet">Made by vibecore from phone recordings.</p>',
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{title}</title><style>{STYLE}</style></head><body>\n"
        + "\n".join(body)
        + "\n</body></html>\n"
    )


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
    listed = [c for c in diagnosis.causes if c.probability >= UNSHOWN_PROBABILITY][:MOST_CAUSES]
    rest = len(diagnosis.causes) - len(listed)
    more = f'<p class="quiet">{rest} other causes are less likely.</p>' if rest else ""
    notes = "".join(f'<p class="quiet">{escape(note)}</p>' for note in diagnosis.notes)
    return _section("What was found", "".join(map(_cause, listed)) + more + notes)


def _cause(cause: RankedCause) -> str:
    evidence = sorted(cause.evidence, key=lambda e: -abs(e.weight_db))
    lines = _bullets(f"{SAYS[e.says]}: {e.text}" for e in evidence)
    return f"<p><strong>{escape(cause.name)}</strong>: {escape(percent(cause.probability))}</p>{lines}"


def _next_check(diagnosis: Diagnosis | None) -> str:
    """The check to make next, with its cautions; none once the repair is proven."""
    cured = diagnosis is not None and diagnosis.repair is not None and diagnosis.repair.verdict == "cured"
    if diagnosis is None or cured or not diagnosis.next_checks:
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
    verdict = f'<p class="verdict">{escape(VERDICTS[repair.verdict])}</p>'
    words = "".join(f"<p>{escape(sentence)}</p>" for sentence in repair_sentences(repair))
    return _section("Proof of repair", f"{verdict}{words}{figure}")


def _recordings(diagnosis: Diagnosis | None, case: Case) -> str:
    if diagnosis is None:
        return ""
    rows = "".join(_recording_row(a) for a in diagnosis.analyses)
    cut_off = dict.fromkeys(a.overall.cut_off_note for a in diagnosis.analyses if a.overall.cut_off_note)
    notes = "".join(f'<p class="quiet">{escape(note)}</p>' for note in cut_off)
    table = f"<table><tr><th>Recording</th><th>What it says</th></tr>{rows}</table>{notes}"
    shown = next((a for a in diagnosis.analyses if a.orders is not None), None)
    if shown is None:
        return _section("Recordings", table)
    caption = f"Shake by engine order: {condition_words(shown.condition) or shown.name}."
    picture = orders_svg(shown, case.vehicle.engine)
    return _section(
        "Recordings", f"{table}<figure>{picture}<figcaption>{escape(caption)}</figcaption></figure>"
    )


def _recording_row(analysis: Analysis) -> str:
    how = condition_words(analysis.condition)
    noted = [w for w in all_warnings(analysis) if w.message != analysis.overall.cut_off_note]
    minds = "".join(f"<br><small>Mind: {escape(w.message)}</small>" for w in noted)
    history = "; ".join((*analysis.recording.history, *analysis.signal.history))
    steps = f"<br><small>Made ready: {escape(history)}</small>" if history else ""
    says = f"{escape(speed_words(analysis.speed))} {escape(overall_words(analysis.overall))}"
    name = f"{escape(analysis.name)}<br><small>{escape(how)}</small>"
    return f"<tr><td>{name}</td><td>{says}{minds}{steps}</td></tr>"
