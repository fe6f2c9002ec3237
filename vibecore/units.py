"""The only conversions between SI and what people read: everything inside the package is SI.

Levels are in decibels, likelihoods in natural logarithms; ISO 80000-3 defines the neper.

Exact factors are from the SI Brochure (BIPM, 9th edition, 2019) and NIST SP 811 (2008), appendix B.
"""

import math
import re

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition, SI Brochure
MM_PER_INCH = 25.4  # exact
KM_PER_MILE = 1.609344  # exact
LITRES_PER_US_GALLON = 3.785411784  # exact, 231 cubic inches
US_FLUID_OUNCES_PER_US_GALLON = 128.0  # exact
DB_PER_NEPER = 20 / math.log(10)  # an amplitude's decibels a unit of its natural logarithm
DB_PER_LOG_POWER = 10 / math.log(10)  # a mean square's or a likelihood ratio's
MOST_FACTOR = 100.0  # no source: a phone hears no more of what is left, and nobody pictures more
LEVEL_FIGURES = 3  # common practice, no source: a level is known to a few percent at best
SPREAD_FIGURES = 2  # common practice, no source: ends of what cars show, which is known far less well
FINEST_DECIMALS = 4  # of a level: in half a minute no phone hears a line finer than that; no source
SAME_FACTOR = 1.1  # common practice, no source: less than a tenth more is 'about the same'


def factor(change_db: float) -> str:
    """How many times stronger or weaker a change of amplitude is, whichever it is."""
    times = 10 ** (abs(change_db) / 20)
    if times >= MOST_FACTOR:
        return f"over {MOST_FACTOR:.0f}"
    return f"{times:.1f}" if times < 9.95 else f"{times:.0f}"


def times(change_db: float) -> str:
    """A change of amplitude as a mechanic says it: 'half as strong', '4.0 times weaker'."""
    if 10 ** (abs(change_db) / 20) < SAME_FACTOR:
        return "about the same"
    if factor(change_db) == "2.0":
        return "twice as strong" if change_db > 0 else "half as strong"
    return f"{factor(change_db)} times {'as strong' if change_db > 0 else 'weaker'}"


def times_against(change_db: float) -> str:
    """The same with what it is held against to follow: 'half as strong as', '4.0 times weaker than'."""
    told = times(change_db)
    if told == "about the same":
        return "about as strong as"
    return f"{told} {'as' if told.endswith('strong') else 'than'}"


def times_between(low_db: float, high_db: float) -> str:
    """The interval of a change: '3.0 to 5.0 times weaker', '1.2 times weaker to 1.5 times as strong'."""
    low, high = factor(low_db), factor(high_db)
    if low_db > 0:
        return f"{low if low == high else f'{low} to {high}'} times as strong"
    if high_db < 0:
        return f"{low if low == high else f'{high} to {low}'} times weaker"
    return f"{low} times weaker to {high} times as strong"


def signed(change_db: float, digits: int = 1) -> str:
    """Decibels with their sign, which nothing has none of: '+6.0', '-3.2', '0.0'."""
    told = f"{change_db:+.{digits}f}"
    return told if float(told) else told[1:]


def level_text(level_m_s2: float, figures: int = LEVEL_FIGURES) -> str:
    """A level as it is told: its figures, their zeros kept, as far as a phone hears: '0.700', '0.0948'."""
    finest = 10.0**-FINEST_DECIMALS
    if level_m_s2 < finest / 2:
        return f"under {finest:.{FINEST_DECIMALS}f}" if level_m_s2 > 0 else "0"
    power = int(f"{level_m_s2:.{figures - 1}e}".partition("e")[2])
    return f"{level_m_s2:.{min(max(figures - 1 - power, 0), FINEST_DECIMALS)}f}"


def spread_text(*levels_m_s2: float) -> str:
    """Ends of a spread over many cars: '0.045 to 0.23'."""
    return " to ".join(level_text(level, SPREAD_FIGURES) for level in levels_m_s2)


def order_text(order: float) -> str:
    """An engine order as it is told: a line on no half order is known to its fourth digit, not further."""
    return f"{order:.4g}"


def printed(text: str) -> str:
    """Sentences are written for any terminal; where letters can be set, the unit looks as in the pictures,
    and no line ends between a figure and its '%'."""
    return re.sub(r"(?<=\d) %", "\u00a0%", text.replace(" m/s2", " m/s²"))


def percent(probability: float) -> str:
    """A probability for the eye; never a flat 0 or 100 %, for nothing here is that sure."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability >= 0.995 else f"{100 * probability:.0f} %"
