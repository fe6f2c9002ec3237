"""What the reader accepts, so that no file costs unbounded time or memory. Reasons stand beside the
numbers."""

from __future__ import annotations

# A row of text is 45 bytes at four decimals and 70 with every digit: four hours or two and a half at 400
# samples a second.
MAX_BYTES = 256 * 1024 * 1024
MAX_ROWS = 6_000_000  # over four hours at 400 samples a second; 0.2 GB as numbers
MAX_CELLS = 60_000_000  # 0.5 GB as numbers; an hour at 400 samples a second may have 40 columns
MAX_JSON_BYTES = 64 * 1024 * 1024  # JSON grows about eightfold in memory
MAX_JSON_PARTS = 4_000_000  # lists and records; each costs 60 bytes and more however short it is
MAX_COLUMNS = 300  # the widest phone loggers write under a hundred
MAX_LINE_BYTES = 64 * 1024  # far above the widest row of MAX_COLUMNS numbers
MAX_ARCHIVE_ENTRIES = 500
MAX_SHEETS = 40
MAX_SHEET_CELLS = 20_000_000  # calamine holds a sheet as a full rectangle, 24 bytes a cell

PROBE_BYTES = 4096  # of a file, looked at first to tell what it is
MAX_NOTE = 200  # characters of a line; longer ones are no notes on a recording
EXACT_DIGITS = 16  # whole numbers this long lose digits as float64, so they stay integers
MOST_DIGITS = 18  # of a whole number: any this long fits 64 bits
MIN_ROWS = 16  # below this nothing about rate or gravity can be told
MIN_DURATION_S = 2.0  # a few turns of the engine at idle, the least that shows an order
MIN_RATE_HZ = 20.5  # "20 Hz" files see up to 10 Hz only: below order 1 of most idles
TYPICAL_RATES_HZ = (5.0, 1000.0)  # what phone accelerometers deliver, slow loggers to the fastest parts
MOST_RATE_HZ = 50_000.0  # beyond any acceleration sensor: the stamps are broken
MOST_BELIEVED = 1e10  # of any cell, in any unit: larger figures are broken off or run together
BELIEVED_RATES_HZ = (0.4, 4000.0)  # a stated time unit is believed inside this range, doubted outside


def megabytes(size: int) -> str:
    """A size in words, for messages."""
    return f"{size / 1e6:.0f} MB" if size >= 1e6 else f"{size / 1e3:.0f} kB"
