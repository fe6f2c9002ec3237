"""Times written as dates: compact, without leading zeros, twelve hours, words beside them, serial days.

Against Python's own datetime; compact forms by ISO 8601-1:2019; serial days count from the end of 1899 as in
ECMA-376 part 1. The other forms are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.books import xlsx
from tests.reading.make import cells, shake, text
from vibecore.model import Recording
from vibecore.reading import dates, read_recording

TRUTH = shake()
START = dt.datetime(2024, 2, 28, 23, 59, 50)  # across a minute, midnight and a leap day
WHEN = [START + dt.timedelta(seconds=float(t)) for t in TRUTH.t_s]
SERIAL_0 = dt.datetime(1899, 12, 30)  # day 0 of spreadsheets: ECMA-376 part 1, 18.17.4.1, from March 1900 on
DAY = dt.timedelta(days=1)


def with_stamps(stamps: list[str], name: str = "time", delimiter: str = ",") -> Recording:
    rows = [[stamp, *row[1:]] for stamp, row in zip(stamps, cells(TRUTH), strict=True)]
    header = None if name == "no header" else delimiter.join([name, "x", "y", "z"])
    return read_recording(text(rows, header, delimiter).encode(), name="idle.csv")


def check(recording: Recording, printed: float = 1e-3) -> None:
    assert len(recording.t_s) == len(TRUTH.t_s)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1 * printed)
    assert recording.warnings == ()


def in_ms(form: str, sign: str = ".") -> list[str]:
    return [w.strftime(form) + f"{sign}{w.microsecond // 1000:03d}" for w in WHEN]


COMPACT = {  # ISO 8601-1:2019, 5.4.2.1, basic format, and what loggers make of it
    "basic": "%Y%m%dT%H%M%S.%f",
    "basic, comma": "%Y%m%dT%H%M%S,%f",
    "basic, zulu": "%Y%m%dT%H%M%S.%fZ",
    "basic, offset": "%Y%m%dT%H%M%S.%f+0100",
    "blank": "%Y%m%d %H%M%S.%f",
    "low line": "%Y%m%d_%H%M%S_%f",
    "minus": "%Y%m%d-%H%M%S%f",
    "date with signs": "%Y-%m-%d %H%M%S.%f",
    "point": "%Y%m%d%H%M%S.%f",
    "digits only": "%Y%m%d%H%M%S%f",
}


@pytest.mark.parametrize("name", ["time", "no header"])
@pytest.mark.parametrize("form", COMPACT)
def test_compact_dates(form: str, name: str) -> None:
    check(with_stamps([w.strftime(COMPACT[form]) for w in WHEN], name, ";"), 2e-6)


@pytest.mark.parametrize("sign", ["", ".", "_"])
def test_compact_dates_to_the_millisecond(sign: str) -> None:
    check(with_stamps(in_ms("%Y%m%d%H%M%S", sign)))


def test_compact_dates_in_json() -> None:
    """RFC 8259: numbers of 17 digits; as text they may have a point."""
    for values in ([int(v) for v in in_ms("%Y%m%d%H%M%S", "")], in_ms("%Y%m%d%H%M%S")):
        records = [
            dict(zip("txyz", [v, *r[1:]], strict=True)) for v, r in zip(values, cells(TRUTH), strict=True)
        ]
        check(read_recording(json.dumps(records).encode()))


def test_long_whole_numbers_are_no_dates() -> None:
    """Nanoseconds since 1970, which look like years from 2023 on, and since boot."""
    for first in (1_700_000_000_300_994_303, 2_023_111_500_000_000_000, 20_231_115_000_000_000):
        check(with_stamps([str(first + round(t * 1e9)) for t in TRUTH.t_s]), 1e-6)


@pytest.mark.parametrize("sign", [".", ":", ","])
@pytest.mark.parametrize("form", ["%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y%m%dT%H%M%S"])
def test_milliseconds_without_leading_zeros(form: str, sign: str) -> None:
    check(with_stamps([f"{w.strftime(form)}{sign}{w.microsecond // 1000}" for w in WHEN], delimiter=";"))


def test_decimals_without_trailing_zeros() -> None:
    """The same look, the other meaning: 12.5 is half a second past."""
    check(with_stamps([w.strftime("%H:%M:%S.%f").rstrip("0").rstrip(".") for w in WHEN]), 2e-6)


def test_no_leading_zeros_at_all() -> None:
    check(with_stamps([f"{w.hour}:{w.minute}:{w.second}.{w.microsecond // 1000:03d}" for w in WHEN]))


BESIDE = {
    "twelve hours": "%I:%M:%S.%f %p",
    "words for the day": "%a %b %d %H:%M:%S.%f %Y",
    "month in letters": "%d-%b-%Y %H:%M:%S.%f",
    "day and time by a minus": "%Y/%m/%d-%H:%M:%S.%f",
    "half of the day first": "%p %I:%M:%S.%f",
    "signs of another script": "%Y年%m月%d日 %H:%M:%S.%f",
}


@pytest.mark.parametrize("form", BESIDE)
def test_a_time_of_day_with_words_beside_it(form: str) -> None:
    check(with_stamps([w.strftime(BESIDE[form]) for w in WHEN]), 2e-6)


def test_twelve_hours_as_written_in_spain() -> None:
    """a. m. and p. m. with a blank: Unicode CLDR, locale es."""
    stamps = [
        f"{w.strftime('%I:%M:%S')}.{w.microsecond // 1000:03d} {'p' if w.hour > 11 else 'a'}. m."
        for w in WHEN
    ]
    check(with_stamps(stamps))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.datetimes(dt.datetime(1971, 1, 1), dt.datetime(2099, 12, 31)), min_size=2, max_size=20))
def test_basic_dates_against_pandas(when: list[dt.datetime]) -> None:
    """A peer: pandas.to_datetime told the form."""
    texts = [w.strftime("%Y%m%dT%H%M%S.%f") for w in when]
    peer = pd.to_datetime(pd.Series(texts), format="%Y%m%dT%H%M%S.%f")
    ours = dates.seconds(pa.array(texts))
    assert ours is not None
    np.testing.assert_allclose(ours, (peer - peer[0]).dt.total_seconds(), atol=1e-5, rtol=1e-14)


@pytest.mark.parametrize("sign", ["", "."])
def test_a_time_of_day_as_one_number(sign: str) -> None:
    """hhmmss.sss, as NMEA 0183 writes its times, and hhmmsssss: after 59.99 comes 100.00."""
    when = [w - dt.timedelta(hours=3, seconds=0) for w in WHEN]  # across an hour
    check(with_stamps([f"{w.strftime('%H%M%S')}{sign}{w.microsecond // 1000:03d}" for w in when]))


def test_a_pause_of_forty_seconds_is_no_end_of_a_minute() -> None:
    stamps = [f"{1052.3 + t + 40 * (t > 10):.3f}" for t in TRUTH.t_s]
    assert [w.code for w in with_stamps(stamps).warnings] == ["several-recordings"]


# --- serial days ---


@pytest.mark.parametrize("name", ["time", "Date", "no header"])
@pytest.mark.parametrize("first", [0.0, 45_350.0, 739_310.0])
@pytest.mark.parametrize("digits", [9, 10, 13])
def test_days_of_a_spreadsheet(digits: int, first: float, name: str) -> None:
    """A time of day alone, days since the end of 1899, and since year 0 as mathematics programs count."""
    days = [first + (w - dt.datetime(2024, 2, 28)) / DAY for w in WHEN]
    check(with_stamps([f"{d:.{digits}f}" for d in days], name), max(86_400 * 10.0**-digits, 2e-5))


def test_days_with_a_decimal_comma() -> None:
    rows = [[f"{(w - SERIAL_0) / DAY:.10f}", *r[1:]] for w, r in zip(WHEN, cells(TRUTH), strict=True)]
    check(read_recording(text(rows, "Zeit,x,y,z").replace(",", ";").replace(".", ",").encode()), 2e-5)


def test_days_under_a_name_that_says_seconds() -> None:
    recording = with_stamps([f"{(w - SERIAL_0) / DAY:.10f}" for w in WHEN], "time (s)")
    assert [w.code for w in recording.warnings] == ["time-unit-mismatch"]
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=2e-5)


# --- workbooks ---


def test_a_workbook_keeps_midnight() -> None:
    """A cell of a date with no time of day stands for midnight."""
    rows = [[START + dt.timedelta(seconds=k / 100), *map(float, r[1:])] for k, r in enumerate(cells(TRUTH))]
    assert rows[1000][0] == dt.datetime(2024, 2, 29)
    recording = read_recording(xlsx({"S": [["date", "x", "y", "z"], *rows]}))
    assert len(recording.t_s) == len(TRUTH.t_s)
    assert recording.warnings == ()


# --- counters that run over ---


@pytest.mark.parametrize("name", ["time", "no header"])
@pytest.mark.parametrize(
    ("per_s", "written", "lowest", "digits"),
    [(1e6, 1.0, 0, 0), (1e3, 1.0, 0, 0), (1e6, 1.0, -(2**31), 0), (1e6, 1e3, 0, 3), (1e6, 1e6, 0, 6)],
    ids=["us", "ms", "us with a sign", "us written as ms", "us written as s"],
)
def test_a_counter_of_32_bits_that_runs_over(
    per_s: float, written: float, lowest: int, digits: int, name: str
) -> None:
    """2^32 us are 71.6 minutes: once in an hour's drive."""
    start = 2**32 - round(10 * per_s)
    counts = [lowest + (start + round(t * per_s)) % 2**32 for t in TRUTH.t_s]
    recording = with_stamps([f"{c / written:.{digits}f}" for c in counts], name)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert [w.code for w in recording.warnings] == ["counter-overflow"]


def test_a_restart_is_no_overflow() -> None:
    stamps = [str(round(4_000_000_000 * (t < 5) + t * 1e6)) for t in TRUTH.t_s]
    codes = [w.code for w in with_stamps(stamps).warnings]
    assert "several-recordings" in codes
    assert "counter-overflow" not in codes


@pytest.mark.parametrize("bits", [16, 24])
def test_a_short_counter_of_milliseconds_that_runs_over(bits: int) -> None:
    counts = [(2**bits - 4000 + round(t * 1000)) % 2**bits for t in TRUTH.t_s]
    recording = with_stamps([str(c) for c in counts], "millis")
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert [w.code for w in recording.warnings] == ["counter-overflow"]
    assert f"of {bits} bits" in recording.warnings[0].message


def test_a_counter_of_16_bits_that_runs_over_many_times() -> None:
    t_s = np.arange(0, 200, 0.01)
    wave = np.sin(2 * np.pi * 11 * t_s)
    rows = [f"{round(t * 1000) % 65536},{w:.4f},0,9.81" for t, w in zip(t_s, wave, strict=True)]
    recording = read_recording("\n".join(["ms,x,y,z", *rows]).encode())
    np.testing.assert_allclose(recording.t_s, t_s, atol=1.1e-3)


@pytest.mark.parametrize("marked", [True, False], ids=["with its offset", "without"])
@pytest.mark.parametrize("on", [True, False], ids=["put on", "put back"])
def test_clocks_that_are_changed_in_a_recording(on: bool, marked: bool) -> None:
    """Central European time, 29 March and 25 October 2026, 01:00 UTC (directive 2000/84/EC)."""
    change = dt.datetime(2026, 3, 29, 1) if on else dt.datetime(2026, 10, 25, 1)
    stamps = []
    for t in TRUTH.t_s:
        utc = change - dt.timedelta(seconds=7) + dt.timedelta(seconds=float(t))
        ahead = 2 if (utc >= change) == on else 1
        local = (utc + dt.timedelta(hours=ahead)).isoformat(timespec="milliseconds")
        stamps.append(local + (f"+{ahead:02}:00" if marked else ""))
    check(with_stamps(stamps))


@pytest.mark.filterwarnings("error")
def test_a_date_in_digits_that_is_lacking_here_and_there() -> None:
    from vibecore.reading.clock import read_clock
    from vibecore.reading.table import Column

    stamps = 20260314153012.0 + np.arange(40)
    stamps[[7, 11]] = [np.nan, 1e300]
    assert read_clock(Column("time", stamps)) is not None
