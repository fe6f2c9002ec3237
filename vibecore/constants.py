"""Numbers that several modules share: value, unit, source, reason. A module's own numbers stand in it."""

HIGHEST_SPEED_RPM = 20_000.0  # rev/min; above the limit of every road engine: a larger reading is a slip
FARTHEST_KM = 5_000_000.0  # km; no road vehicle has run farther: a larger reading is a slip
USABLE_SHARE = 0.46  # of the sample rate; above it the phone's own samples are not trusted
LONGEST_MM = 10_000.0  # mm; longer than any belt of an engine and wider than any pulley
