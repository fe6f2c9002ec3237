"""Results -> pictures: pure functions from records to plotly figures, each with a sentence and a table.

The sentence says what the picture shows; the table says the same to whoever cannot see it.
"""

from vibecore.figures.comparing import before_after, levels, over_visits, overlay
from vibecore.figures.cycle import cycle
from vibecore.figures.over_time import speed_over_time, trace, waterfall
from vibecore.figures.recording import order_spectrum, shake_budget
from vibecore.figures.style import Picture
from vibecore.figures.trying import tried

__all__ = [
    "Picture",
    "before_after",
    "cycle",
    "levels",
    "order_spectrum",
    "over_visits",
    "overlay",
    "shake_budget",
    "speed_over_time",
    "trace",
    "tried",
    "waterfall",
]
