"""Charts as SVG text for a printed page: lines, bars with whiskers, axes and names, and nothing to load.

Every chart has a name for whoever cannot see it; text stays text, so that it can be searched in a PDF.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from vibecore.engine import Engine
from vibecore.figures.comparing import WHISKER_ROOM, after_span, curve_of, shown_to
from vibecore.figures.style import (
    BLUE,
    GREY,
    HERTZ_SHAKE,
    INK,
    ORDER_AXIS,
    SHAKE,
    VERMILLION,
    last_shown,
    line_alone,
    line_level,
    order_name,
    short_name,
    strongest_line,
)
from vibecore.model import Analysis, Floats, OrderLevel, Repair
from vibecore.spoken import spoken_names

WIDTH, HEIGHT = 720, 310  # about the text width of an A4 page in points of the screen
NARROW = 360  # about that of a phone held upright
LEFT, RIGHT, TOP, BOTTOM = 58, 12, 34, 60
MOST_POINTS = 700  # of a curve: finer than a printer shows at this size
MOST_TICKS = 6
MOST_LETTERS = 44  # of a name over half the frame
DASH = "4 3"
ORDER_STEP = 0.5  # of the numbers on an axis of orders
BAR_SHARE = 0.38  # of the room of a group of two
GRID = "#E3E6E9"

Bar = tuple[float, float | None, float | None]  # height, and its 95 % interval


def orders_svg(analysis: Analysis, engine: Engine | None) -> str:
    """The order spectrum with the engine's orders as bars. The analysis must have an order table."""
    table = analysis.orders
    assert table is not None
    seen = table.seen
    strongest = max(seen, key=lambda lv: lv.rms_m_s2 or 0.0, default=None)
    line = strongest_line(table, more_than_m_s2=(strongest and strongest.rms_m_s2) or 0.0)
    last = last_shown([*(lv.order for lv in seen), *([line.order or 0.0] if line else [])])
    x, y = _thinned(table.spectrum.x, line_level(table.spectrum), last)
    top = max([float(y.max(initial=0.0)), *(lv.high_m_s2 or lv.rms_m_s2 or 0.0 for lv in seen)])
    chart = _Chart((0.0, last), max(top, line.rms_m_s2 if line else 0.0))
    chart.line(x, y, GREY, "1")
    for lv in seen:
        chart.bar(lv.order, 0.08, _bar(lv), BLUE)
    if line is not None:
        chart.name(line.order or 0.0, line.rms_m_s2, "on no engine order")
    if strongest is not None:
        chart.name(strongest.order, strongest.high_m_s2 or strongest.rms_m_s2 or 0.0,
                   order_name(strongest.order, engine))  # fmt: skip
    chart.x_axis(ORDER_AXIS, [(v, [f"{v:g}"]) for v in np.arange(0, last, ORDER_STEP)])
    return chart.svg("Shake by engine order")


def before_after_svg(repair: Repair, engine: Engine | None, width: int = WIDTH) -> str:
    """Bars of the compared orders before and after, the second with whiskers: where the 95 % interval of the
    change puts it. One that reaches to the sky leaves the frame."""
    bars: list[tuple[Bar, Bar]] = [((c.before_m_s2, None, None), after_span(c)) for c in repair.changes]
    highest = max((max(c.before_m_s2, c.after_m_s2) for c in repair.changes), default=0.0)
    orders, names = [c.order for c in repair.changes], ("before", "after")
    return _groups(orders, bars, names, engine, "Before and after", WHISKER_ROOM * highest, width)


def levels_svg(first: Analysis, second: Analysis, orders: Sequence[float], engine: Engine | None) -> str:
    """Bars of these orders' lines in two recordings, with whiskers: the 95 % interval of each. Both must have
    an order table and show these orders."""
    tables = first.orders, second.orders
    assert tables[0] is not None and tables[1] is not None  # noqa: PT018 - one thought
    bars = [(_line_bar(tables[0].level(o)), _line_bar(tables[1].level(o))) for o in orders]
    return _groups(orders, bars, spoken_names((first, second)), engine, "Each engine order")


def overlay_svg(first: Analysis, second: Analysis) -> str:
    """The order spectra of two recordings over each other; by hertz where one has no engine order."""
    both, names = (first, second), spoken_names((first, second))
    by_order = first.orders is not None and second.orders is not None
    last = shown_to(*both) if by_order else float(max(a.spectrum_hz.x[-1] for a in both))
    curves = [_thinned(*curve_of(a, by_order), last) for a in both]
    highest = max(float(y.max(initial=0.0)) for _, y in curves)
    chart = _Chart((0.0, last), highest, SHAKE if by_order else HERTZ_SHAKE)
    for (x, y), colour, dash in zip(curves, (VERMILLION, BLUE), ("", DASH), strict=True):
        chart.line(x, y, colour, "1.5", dash)
    chart.legend(names, lines=True)
    step = ORDER_STEP if by_order else _tick_step(last)
    ticks = [(v, [f"{v:g}"]) for v in np.arange(0, last, step)]
    chart.x_axis(ORDER_AXIS if by_order else "Hz", ticks)
    return chart.svg(f"Shake by {'engine order' if by_order else 'frequency'}: {names[0]} and {names[1]}")


def _groups(
    orders: Sequence[float],
    bars: Sequence[tuple[Bar, Bar]],
    names: Sequence[str],
    engine: Engine | None,
    title: str,
    most: float = np.inf,
    width: int = WIDTH,
) -> str:
    """Two bars side by side for each order. most: that the scale makes room for."""
    tallest = max((high or height for pair in bars for height, _, high in pair), default=0.0)
    chart = _Chart((-0.6, max(len(orders), 1) - 0.4), min(tallest, most), width=width)
    for i, (one, other) in enumerate(bars):
        chart.bar(i - BAR_SHARE / 2, BAR_SHARE, one, VERMILLION)
        chart.bar(i + BAR_SHARE / 2, BAR_SHARE, other, BLUE)
    chart.legend(names)
    chart.x_axis("engine order", [(i, short_name(o, engine).split("<br>")) for i, o in enumerate(orders)])
    return chart.svg(title)


def _line_bar(level: OrderLevel | None) -> Bar:
    assert level is not None
    return _bar(line_alone(level))


def _bar(level: OrderLevel) -> Bar:
    return level.rms_m_s2 or 0.0, level.low_m_s2, level.high_m_s2


def _thinned(x: Floats, level: Floats, last: float) -> tuple[Floats, Floats]:
    """The curve up to `last`, the highest of each stretch."""
    inside = x <= last
    x, level = x[inside], level[inside]
    step = max(1, int(np.ceil(len(x) / MOST_POINTS)))
    n = len(x) // step * step
    return x[:n:step], level[:n].reshape(-1, step).max(axis=1)


@dataclass
class _Chart:
    """A frame with a scale on either axis; what is drawn is gathered in `parts`."""

    x_range: tuple[float, float]
    highest: float
    y_title: str = SHAKE
    width: int = WIDTH
    parts: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.step = _tick_step(self.highest or 1.0)
        self.top = self.step * max(np.ceil(1.06 * (self.highest or 1.0) / self.step), 1)
        for value in np.arange(0, self.top * 1.001, self.step):
            y = self.y(value)
            self.parts.append(f'<path d="M{LEFT} {y:.1f}H{self.width - RIGHT}" stroke="{GRID}"/>')
            self.text(LEFT - 6, y + 4, f"{value:.6g}", "end")
        middle = (TOP + HEIGHT - BOTTOM) / 2
        turn = f'transform="rotate(-90 14 {middle:.0f})"'
        self.text(14, middle, self.y_title, "middle", turn)

    def x(self, value: float) -> float:
        low, high = self.x_range
        return LEFT + (value - low) / (high - low) * (self.width - LEFT - RIGHT)

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - value / self.top * (HEIGHT - BOTTOM - TOP)

    def text(self, x: float, y: float, words: str, anchor: str = "middle", more: str = "") -> None:
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {more}>{escape(words)}</text>'
        )

    def line(self, x: Floats, y: Floats, colour: str, width: str, dash: str = "") -> None:
        """The curve, if there is one."""
        if not len(x):
            return
        points = " ".join(f"{self.x(a):.1f},{self.y(b):.1f}" for a, b in zip(x, y, strict=True))
        self.parts.append(
            f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="{width}" '
            f'stroke-dasharray="{dash}"/>'
        )

    def bar(self, at: float, width: float, bar: Bar, colour: str) -> None:
        """A bar centred on `at`; of the second colour the edge alone is dark, so that black and white do."""
        height, low, high = bar
        left, right, y = self.x(at - width / 2), self.x(at + width / 2), self.y(height)
        self.parts.append(
            f'<rect x="{left:.1f}" y="{y:.1f}" width="{right - left:.1f}" '
            f'height="{HEIGHT - BOTTOM - y:.1f}" {_filled(colour)}/>'
        )
        if low is not None and high is not None:
            x, a, b = self.x(at), self.y(low), self.y(min(high, self.top))
            ends = "".join(f"M{x - 3:.1f} {end:.1f}h6" for end in (a, b)[: 2 if high <= self.top else 1])
            self.parts.append(f'<path d="M{x:.1f} {a:.1f}V{b:.1f}{ends}" stroke="{INK}" fill="none"/>')

    def name(self, at: float, height: float, words: str) -> None:
        self.text(self.x(at), self.y(height) - 6, words)

    def legend(self, names: Sequence[str], *, lines: bool = False) -> None:
        """The two names over the frame, cut where they are too long for half of it."""
        for name, colour, x in zip(names, (VERMILLION, BLUE), (LEFT, (LEFT + self.width) / 2), strict=True):
            if lines:
                dash = f' stroke-dasharray="{DASH}"' if colour == BLUE else ""
                self.parts.append(f'<path d="M{x:.0f} 14h24" stroke="{colour}" stroke-width="2"{dash}/>')
            else:
                self.parts.append(f'<rect x="{x:.0f}" y="8" width="24" height="11" {_filled(colour)}/>')
            short = name if len(name) <= MOST_LETTERS else f"{name[: MOST_LETTERS - 1]}…"
            self.text(x + 30, 18, short, "start")

    def x_axis(self, title: str, ticks: Sequence[tuple[float, list[str]]]) -> None:
        base = HEIGHT - BOTTOM
        self.parts.append(f'<path d="M{LEFT} {base}H{self.width - RIGHT}" stroke="{INK}"/>')
        for value, lines in ticks:
            for row, words in enumerate(lines):
                self.text(self.x(value), base + 17 + 14 * row, words)
        self.text((LEFT + self.width - RIGHT) / 2, HEIGHT - 6, title)

    def svg(self, title: str) -> str:
        narrow = ' class="narrow"' if self.width < WIDTH else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {HEIGHT}" role="img"{narrow} '
            f'aria-label="{escape(title)}" font-family="sans-serif" font-size="13" fill="{INK}">'
            + "".join(self.parts)
            + "</svg>"
        )


def _filled(colour: str) -> str:
    return f'fill="{colour}"' + (f' fill-opacity=".25" stroke="{colour}"' if colour == BLUE else "")


def _tick_step(highest: float) -> float:
    """1, 2 or 5 times a power of ten, so that no more than MOST_TICKS fit below the highest."""
    rough = highest / MOST_TICKS
    power = 10.0 ** np.floor(np.log10(rough))
    return float(next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9)))
