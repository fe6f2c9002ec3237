"""Names in the languages and encodings of the people who make the files."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.reading.make import G, cells, shake, text
from vibecore.errors import ReadingError
from vibecore.reading import names, read_recording

TRUTH = shake(seconds=10.0)
FREE = shake(seconds=10.0, gravity=False)


def leaves(data: Any) -> list[str]:
    return [data] if isinstance(data, str) else [w for part in data for w in leaves(part)]


@pytest.mark.parametrize("kind", names.words()["kinds"])
def test_each_word_is_found_in_a_name_of_nothing_else(kind: str) -> None:
    for word in leaves(names.words()["kinds"][kind]):
        assert names.has_word(f"{word} x", [word]), word


@pytest.mark.parametrize("name", ["ジャイロ", "гіроскоп ", "회전", "ω", "Drehung ", "angVel"])
def test_turning_rates_in_any_tongue_are_refused(name: str) -> None:
    """Words for gyroscope and turning: dictionaries."""
    header = ",".join(["time", *(f"{name}{a}" for a in "XYZ")])
    with pytest.raises(ReadingError, match="turning rates"):
        read_recording(text(cells(FREE), header).encode())


def test_linear_in_russian_is_not_preferred() -> None:
    header = ",".join(["t", *(f"линейное ускорение {a}" for a in "xyz"), *(f"ускорение {a}" for a in "xyz")])
    rows = [[*free, *row[1:]] for free, row in zip(cells(FREE), cells(FREE, unit=2.0), strict=True)]
    recording = read_recording(text(rows, header).encode())
    np.testing.assert_allclose(2.0 * recording.accel_m_s2, FREE.accel, atol=1e-4)


@pytest.mark.parametrize(
    ("encoding", "header"),
    [
        ("cp932", "経過時間(ミリ秒),加速度X(G),加速度Y(G),加速度Z(G)"),
        ("gb18030", "时间(毫秒),加速度X(g),加速度Y(g),加速度Z(g)"),
        ("cp949", "시간(밀리초),가속도X(g),가속도Y(g),가속도Z(g)"),
        ("cp1251", "Время (мс),Ускорение X (g),Ускорение Y (g),Ускорение Z (g)"),
        ("cp1250", "Čas (ms),Zrychlení x (g),Zrychlení y (g),Zrychlení z (g)"),
        ("cp1254", "Süre (ms),İvme X (g),İvme Y (g),İvme Z (g)"),
        ("cp1253", "Χρόνος (ms),Επιτάχυνση x (g),Επιτάχυνση y (g),Επιτάχυνση z (g)"),
        ("cp1252", "Zeit für alle (ms),Längs x (g),Längs y (g),Längs z (g)"),
    ],
)
def test_what_spreadsheets_of_a_country_write(encoding: str, header: str) -> None:
    rows = cells(FREE, t_unit=1e-3, t_digits=3, unit=G)
    recording = read_recording(text(rows, header).encode(encoding))
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert not recording.warnings


@pytest.mark.parametrize(
    ("encoding", "name"),
    [("cp932", "ジャイロ"), ("gb18030", "陀螺仪"), ("cp949", "자이로"), ("cp1251", "Гироскоп ")],
)
def test_other_sensors_are_known_in_any_encoding(encoding: str, name: str) -> None:
    header = ",".join(["time", *(f"{name}{a}" for a in "XYZ")])
    with pytest.raises(ReadingError, match="turning rates"):
        read_recording(text(cells(FREE), header).encode(encoding))
