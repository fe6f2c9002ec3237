"""The waterfall, against scipy.signal.welch and the closed form of a sine's mean square."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import welch

from tests.app import made
from vibecore import figures
from vibecore.engine import Engine
from vibecore.model import Signal
from vibecore.waterfall import make_waterfall, parted

FOUR = Engine(4)


def test_waterfall_agrees_with_welch_on_noise_and_with_a_sine():
    rng = np.random.default_rng(2)
    accel = rng.normal(size=(20_000, 3)) * 0.1
    t_s = np.arange(len(accel)) / 100
    accel[:, 0] += 0.5 * np.sin(2 * np.pi * 23.0 * t_s)
    signal = Signal(100.0, 2.0, accel, np.ones(len(accel), bool), (2.0, 202.0), True, 0.0)
    fall = make_waterfall(signal)
    density = (10 ** (fall.level_db / 10) * 1e-12).mean(axis=1)
    hop, start = round((fall.t_s[1] - fall.t_s[0]) * 100), round((fall.t_s[0] - 2.0) * 100) - 200
    hz, reference = welch(
        accel[start:], 100.0, "hann", nperseg=400, noverlap=400 - hop, axis=0, detrend=False
    )
    np.testing.assert_allclose(fall.frequency_hz, hz)
    np.testing.assert_allclose(density[5:-5], reference.sum(axis=1)[5:-5], rtol=1e-6)
    total = density.sum() * (hz[1] - hz[0])
    assert total == pytest.approx(0.5**2 / 2 + 3 * 0.01, rel=0.03)
    assert 4.0 <= fall.t_s[0] <= 5.0  # the middle of a whole stretch
    assert fall.t_s[-1] <= 202.0


def test_waterfall_of_a_very_short_recording():
    signal = Signal(50.0, 0.0, np.ones((30, 3)), np.ones(30, bool), (0.0, 0.6), False, 0.0)
    fall = make_waterfall(signal)
    assert fall.level_db.shape[1] >= 1
    assert np.isfinite(fall.level_db).all()


def test_waterfall_marks_the_firing_order():
    analysis = made.analysis()
    picture = figures.waterfall(make_waterfall(analysis.signal), analysis, FOUR)
    assert [row[0] for row in picture.rows][1:] == ["crank (order 1)", "firing (order 2)"]
    # ISO 1683: the reference acceleration for levels in decibels
    assert picture.figure.data[0].colorbar.title.text == "dB re 1 µm/s² per √Hz"
    firing = picture.figure.data[-1]
    np.testing.assert_allclose(firing.y, analysis.speed.rpm / 30)


def test_steady_lines_and_knocks_are_parted():
    """A sine and three knocks of known place: each is left in its own part and sunk in the other."""
    fs_hz, hz = 100.0, 24.0
    rng = np.random.default_rng(4)
    t_s = np.arange(6000) / fs_hz
    accel = 0.002 * rng.standard_normal((len(t_s), 3))
    accel[:, 2] += 0.1 * np.sin(2 * np.pi * hz * t_s)
    knocks = (1500, 3000, 4500)
    for at in knocks:
        accel[at, 0] += 3.0
    whole = make_waterfall(Signal(fs_hz, 0.0, accel, np.ones(6000, bool), (0.0, 60.0), True, 0.0))
    steady, broken = parted(whole, "steady lines"), parted(whole, "knocks")
    line = int(np.argmin(np.abs(whole.frequency_hz - hz)))
    calm = int(np.argmin(np.abs(whole.t_s - 22.5)))
    knock = int(np.argmin(np.abs(whole.t_s - 30.0)))
    beside = int(np.argmin(np.abs(whole.frequency_hz - 40.0)))
    assert steady.level_db[line, calm] == pytest.approx(whole.level_db[line, calm], abs=1.0)
    assert broken.level_db[line, calm] < whole.level_db[line, calm] - 10
    assert broken.level_db[beside, knock] == pytest.approx(whole.level_db[beside, knock], abs=1.0)
    assert steady.level_db[beside, knock] < whole.level_db[beside, knock] - 10
    assert parted(whole, "everything") is whole


def test_what_was_left_out_is_grey_and_no_knock():
    """Half a second cut out of a steady sine: all else is as without the cut, which knows of no knock."""
    fs_hz, n = 100.0, 6000
    accel = np.zeros((n, 3))
    accel[:, 2] = 0.3 * np.sin(2 * np.pi * 24.0 * np.arange(n) / fs_hz)
    accel += 0.002 * np.random.default_rng(4).standard_normal((n, 3))
    whole = make_waterfall(Signal(fs_hz, 0.0, accel, np.ones(n, bool), (0.0, 60.0), True, 0.0))
    good = np.ones(n, bool)
    good[3000:3050] = False
    signal = Signal(fs_hz, 0.0, np.where(good[:, None], accel, 0.0), good, (0.0, 60.0), True, 0.0)
    fall = make_waterfall(signal)
    # A stretch of 4 s holds some of 30 to 30.5 s if its middle lies between 28 and 32.5 s.
    inside = (fall.t_s > 28.0) & (fall.t_s < 32.5)
    assert np.isnan(fall.level_db[:, inside]).all()
    np.testing.assert_allclose(fall.level_db[:, ~inside], whole.level_db[:, ~inside])
    for part in ("steady lines", "knocks"):
        left, right = (parted(f, part).level_db[:, ~inside] for f in (fall, whole))
        assert np.isfinite(left).all()
        assert np.abs(left - right).mean() < 0.5
        assert np.isnan(parted(fall, part).level_db[:, inside]).all()
    analysis = made.analysis()
    for part in ("everything", "knocks"):
        picture = figures.waterfall(parted(fall, part), analysis, FOUR, part)
        assert "Grey: left out" in picture.sentence
        assert "Grey" not in figures.waterfall(parted(whole, part), analysis, FOUR, part).sentence
        assert np.isfinite(picture.figure.data[0].zmin)
    assert ("left out", "8 %") in picture.rows  # 4.5 of 56 s of middles
    gone = make_waterfall(replace(signal, good=np.zeros(n, bool)))
    assert parted(gone, "knocks") is gone
    assert ("left out", "over 99 %") in figures.waterfall(gone, analysis, FOUR, "knocks").rows


def test_the_strongest_order_is_drawn_too():
    """A dead cylinder of four shakes at half engine speed (any text on engines): no line was there before."""
    whole = made.analysis()
    levels = (made.level(0.5, 0.5), *whole.orders.levels[1:])
    analysis = replace(whole, orders=replace(whole.orders, levels=levels))
    picture = figures.waterfall(make_waterfall(analysis.signal), analysis, FOUR)
    lines = picture.figure.data[1:]
    assert [line.name for line in lines] == ["crank (order 1)", "firing (order 2)", "order 0.5"]
    assert len({line.line.dash for line in lines}) == 3
    np.testing.assert_allclose(lines[-1].y, analysis.speed.rpm / 120)
    assert "halves and multiples" in picture.sentence
    slow = made.analysis(speed=False)
    picture = figures.waterfall(make_waterfall(slow.signal), slow, FOUR)
    assert len(picture.figure.data) == 1
    assert "broken lines" not in picture.sentence  # none is drawn
