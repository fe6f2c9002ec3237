"""Rattle that comes or goes with the gear. White noise of density G over B hertz has a mean square of G B
(Bendat and Piersol, Random Data, 4th ed., ch. 5): so the level of each recording made here is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.evidence import made as maker
from vibecore.evidence import gather
from vibecore.evidence.ground import between_db
from vibecore.model import Analysis, Spectrum

RPM, FS_HZ = 720.0, 400.0  # 12 turns a second; order 4, the last of a four, at 48 Hz
BAND_HZ = (54.0, 0.4 * FS_HZ)


def _hissing(name: str, rms: float, *, drive: bool, whole: float = 0.2) -> Analysis:
    """rms (m/s2) of an even hiss from 54 to 160 Hz."""
    one = maker.made(name, rpm=RPM, gear="drive" if drive else "neutral", fs_hz=FS_HZ, whole=whole)
    assert one.orders is not None
    x = np.arange(0.0, 0.5 * FS_HZ / (RPM / 60), 1 / 64)
    density = rms**2 / (BAND_HZ[1] - BAND_HZ[0]) * RPM / 60  # per order
    spectrum = Spectrum(x, np.where(x > 4.4, density, 1e-7), "order")
    return replace(one, orders=replace(one.orders, spectrum=spectrum))


def _said(neutral: float, drive: float) -> tuple[float, str]:
    pair = [_hissing("n", neutral, drive=False), _hissing("d", drive, drive=True)]
    found = [e for e in gather(pair, maker.FOUR) if e.finding == "rattle" and e.cause == "exhaust-contact"]
    assert len(found) == 1
    return found[0].log_ratio_db, found[0].evidence.text


def test_the_level_between_orders_is_the_density_over_the_band() -> None:
    level = between_db(_hissing("n", 0.05, drive=False), BAND_HZ)
    assert level == pytest.approx(20 * np.log10(0.05), abs=0.3)


@pytest.mark.parametrize(("neutral", "drive"), [(0.03, 0.1), (0.1, 0.03)])
def test_rattle_in_one_gear_and_not_in_the_other_is_metal_on_metal(neutral: float, drive: float) -> None:
    weight, text = _said(neutral, drive)
    assert weight > 5
    louder, calmer = ("drive", "neutral") if drive > neutral else ("neutral", "drive")
    assert f"over 54 Hz in {louder} at idle is 3.3 times as strong as in {calmer} at idle (+10 dB)" in text
    assert text.endswith("metal touches metal in one and not in the other")


def test_hiss_alike_in_both_or_of_no_account_is_none() -> None:
    alike, _ = _said(0.1, 0.1)
    faint, _ = _said(0.003, 0.008)
    assert alike < 0
    assert faint < 0


def test_a_slow_phone_hears_no_rattle() -> None:
    slow = [maker.made("n", fs_hz=100.0), maker.made("d", rpm=640.0, gear="drive", fs_hz=100.0)]
    assert not [e for e in gather(slow, maker.FOUR) if e.finding == "rattle"]
