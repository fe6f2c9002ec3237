"""The picture of one working cycle."""

from __future__ import annotations

import numpy as np

from vibecore.constants import Z_95
from vibecore.cycles import CycleView
from vibecore.engine import Engine
from vibecore.figures.style import ACCELERATION, BLUE, GREY, SKY, Picture, empty_figure

# Standard errors from the weakest of eight equal firings to the strongest: 1 in 100 (the studentized range).
APART = 5.0
NOT_WHICH = "Which of them is cylinder one is not known without a mark on the crank."


def cycle(view: CycleView, engine: Engine) -> Picture:
    """The mean cycle with its spread, and how strong each firing came through."""
    fig = empty_figure("crank degrees from an unknown start", ACCELERATION)
    turn = 360.0 / engine.cycle_order
    angle = np.append(view.angle_deg, turn)  # the cycle ends where it began
    mean, spread = (np.append(v, v[0]) for v in (view.mean_m_s2, view.spread_m_s2))
    edge = {"color": SKY, "width": 0}
    fig.add_scatter(x=angle, y=mean + spread, mode="lines", line=edge, showlegend=False,
                    hoverinfo="skip")  # fmt: skip
    fig.add_scatter(
        x=angle, y=mean - spread, mode="lines", line=edge, fill="tonexty", name="two cycles in three",
        hoverinfo="skip",
    )  # fmt: skip
    fig.add_scatter(
        x=angle, y=mean, mode="lines", name="mean of all cycles",
        line={"color": BLUE, "width": 2},
    )  # fmt: skip
    fig.add_hline(y=0, line={"color": GREY, "width": 1})
    fig.update_xaxes(range=[0, turn], tickmode="linear", dtick=turn / 4)
    rows = [
        ("cycles averaged", f"{view.cycles}"),
        ("shake that repeats from cycle to cycle", f"{100 * view.alike:.0f} %"),
    ]
    rows += [
        (f"firing {k}, against the mean", f"{100 * v:.0f} % ± {100 * Z_95 * error:.0f} %")
        for k, (v, error) in enumerate(zip(view.firings, view.firings_se, strict=True), 1)
    ]
    if view.missed_per_minute is not None:
        rows.append(("firings missed a minute", f"{view.missed_per_minute:.0f}"))
    return Picture("One working cycle", _sentence(view), fig, ("what", "value"), tuple(rows))


def _sentence(view: CycleView) -> str:
    said = (
        f"Mean of {view.cycles} cycles, along the direction that shakes most; {100 * view.alike:.0f} % of it "
        "repeats from one to the next. Where in the cycle 0 lies is not known."
    )
    if len(view.firings) > 1:
        said += f" {_firings_words(view)}"
    if view.missed_per_minute:
        said += f" About {view.missed_per_minute:.0f} firings a minute are missed."
    return said


def _firings_words(view: CycleView) -> str:
    """How alike the firings come through, and what that is worth."""
    low, high = min(view.firings), max(view.firings)
    span = f"({100 * low:.0f} to {100 * high:.0f} % of the mean)"
    if high - low <= APART * max(view.firings_se):
        return f"The firings come through alike, as far as they scatter {span}."
    return (
        f"The firings come through unequally {span}; the path to the phone can make that much of small "
        f"differences, so it is no sign of a weak cylinder by itself. {NOT_WHICH}"
    )
