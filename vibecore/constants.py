"""Numbers and names that several modules share: value, unit, source, reason. A module's own stand in it."""

HIGHEST_SPEED_RPM = 20_000.0  # rev/min; above the limit of every road engine: a larger reading is a slip
FARTHEST_KM = 5_000_000.0  # km; no road vehicle has run farther: a larger reading is a slip
USABLE_SHARE = 0.46  # of the sample rate; above it the phone's own samples are not trusted
LINE_HALF_WIDTH_ORDERS = 0.05  # of an order: the contract's width of a line is +-0.05
SAME_LINE_HZ = 0.35  # lines this near in hertz are one
# Over so much about a line its floor is read: wide against a line (0.1 order), narrow against what the car's
# modes raise.
PEAK_FLOOR_ORDERS, PEAK_FLOOR_HZ = 1.0, 8.0
# The whole shake: above the body's sway on its springs (Hz; common practice, no source), and up to this share
# of the sample rate, just under where phones' own filters take half the power (`quality`).
SWAY_HZ, WHOLE_SHARE = 3.0, 0.4
# Share by which a motor of its own changes its speed from one recording to the next: electric fans hold
# theirs within 1-2 %; common practice, no source.
SAME_HERTZ = 0.015
Z_95 = 1.959964  # standard deviations to the end of a two-sided 95 % interval of the normal distribution
MAD_TO_SD = 1.4826  # a standard deviation over a median absolute deviation, of normal data
LONGEST_MM = 10_000.0  # mm; longer than any belt of an engine and wider than any pulley
# By what two recordings differ for other reasons than a repair, standard deviations of the change. Taping the
# phone off and on again, if nobody measured it on this car: two tapings of 1.1 dB each; common practice, no
# source. Another speed, where nobody measured how the level of an order moves with it: imbalance rises by 12
# dB an octave, forces through soft mounts fall by as much, a mode in between does either.
DEFAULT_PLACING_DB = 1.5
SPEED_SD_DB_PER_OCTAVE = 12.0
NOTHING_MENDED = 0.5  # chance that a repair did not touch what is wrong; common practice, no source
ZIP_SIGN = b"PK\x03\x04"  # how a zip begins: the mark of its first file's head, as the format defines it
SOUND, NOT_LISTED = "normal", "none-of-these"  # ids of causes that name no fault: nothing wrong; not known

# Codes of warnings that more than one module knows; the words stand where they are given.
ENGINE_OFF = "engine-off"
SAME_CONTENTS = "same-contents"
STOOD_STILL = "stood-still"  # the engine did, for a part of the recording
WEIGHTING_CUT_OFF = "weighting-cut-off"
LOST_SAMPLES, SLOW, CLIPPED, MOVED, KNOCKS = "lost-samples", "slow", "clipped", "moved", "knocks"
CYLINDERS_DOUBTFUL = "cylinders-doubtful"
EQUAL_STAMPS = "equal-stamps"
LATE_ROWS = "late-rows"
UNIT_ASSUMED, UNIT_DOUBTFUL = "unit-assumed", "unit-doubtful"
