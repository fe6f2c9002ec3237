"""Numbers that several modules share: value, unit, source, reason. A module's own numbers stand in it."""

HIGHEST_SPEED_RPM = 20_000.0  # rev/min; above the limit of every road engine: a larger reading is a slip
