"""A page to print of two recordings over each other."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

from vibecore import figures
from vibecore.case import Case
from vibecore.drawing import levels_svg, overlay_svg
from vibecore.engine import Engine
from vibecore.figures.style import too_broken
from vibecore.model import Analysis, OrderChange
from vibecore.paper import bullets, figure, page, section, table, text
from vibecore.report import car_words
from vibecore.words import condition_words, pair_sentences, speed_words

if TYPE_CHECKING:
    from vibecore.repair import Pair


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
        bullets(f"{a.name}: {condition_words(a.condition)}. {speed_words(a.speed)}" for a in (first, second)),
        text("\n".join(pair_sentences(pair)[1:])),
        section(
            "Over each other",
            figure(overlay_svg(first, second)) + text(too_broken(first, second)),
        ),
        _each_order(first, second, pair.changes, case.vehicle.engine),
    ]
    return page(f"{case.title}: {first.name} and {second.name}", body)


def _each_order(first: Analysis, second: Analysis, changes: Sequence[OrderChange], engine: Engine) -> str:
    """Bars and table of what both show; empty where one has no engine orders."""
    if not changes:
        return ""
    picture = figures.levels(first, second, changes, engine)
    bars = figure(levels_svg(first, second, [c.order for c in changes], engine))
    return section(picture.title, bars + table(picture.columns, picture.rows))
