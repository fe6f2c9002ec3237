"""The simulator's closed forms against textbooks' tables and worked examples."""

import csv
from pathlib import Path

import numpy as np
import pytest

from vibecore.balance import balance_table
from vibecore.simulate.physics import (
    Combustion,
    gas_torque,
    order_coefficient,
    transmissibility,
    unbalance_response,
)

# r, zeta, T: every vibration textbook, e.g. Ogata, System Dynamics, 4th ed., eq. 9-14
TABLE = Path(__file__).parent.parent / "reference" / "transmissibility_table.csv"


def _t(ratio: float, damping: float) -> float:
    return float(np.abs(transmissibility(np.array([ratio]), damping))[0])


def _u(ratio: float, damping: float) -> float:
    return float(np.abs(unbalance_response(np.array([ratio]), damping))[0])


def test_transmissibility_table() -> None:
    rows = list(csv.DictReader(line for line in TABLE.open(encoding="utf-8") if not line.startswith("#")))
    assert len(rows) > 40
    for row in rows:
        assert _t(float(row["r"]), float(row["zeta"])) == pytest.approx(float(row["T"]), rel=2e-4)


@pytest.mark.parametrize("damping", [0.02, 0.1, 0.5, 1.0])
def test_transmissibility_is_one_at_root_two(damping: float) -> None:
    """All textbooks: the crossover does not depend on damping."""
    assert _t(np.sqrt(2), damping) == pytest.approx(1.0, abs=1e-9)


def test_isolator_by_its_static_deflection() -> None:
    """25 mm, 1500 rpm, damping 0.05: 0.0206 passed on (engineering page quoting the form of ISO 2017-1)."""
    natural_hz = np.sqrt(9.80665 / 0.025) / (2 * np.pi)
    assert natural_hz == pytest.approx(3.15, abs=0.005)
    assert _t(25.0 / natural_hz, 0.05) == pytest.approx(0.0206, abs=5e-5)


def test_fan_on_springs() -> None:
    """Rao, Mechanical Vibrations, ch. 9 problem: 380 kg, 45 mm, me = 0.15 kg m, 1750 rpm: 0.3973 mm and
    32.92 N."""
    natural = np.sqrt(9.81 / 0.045)
    ratio = 1750 / 60 * 2 * np.pi / natural
    motion = 0.15 / 380 * _u(ratio, 0.0)
    assert motion * 1e3 == pytest.approx(0.3973, abs=2e-4)
    assert 380 * natural**2 * motion == pytest.approx(32.92, abs=0.02)
    # the force passed on by the spring is the unbalance force times the transmissibility: the same by
    # another way
    assert 0.15 * (ratio * natural) ** 2 * _t(ratio, 0.0) == pytest.approx(32.92, abs=0.02)


def test_damping_from_resonance() -> None:
    """Thomson, Theory of Vibration with Applications, ex. 3.2-1: 0.60 at resonance, 0.08 far above: zeta
    0.0667."""
    assert _u(1.0, 0.0667) / _u(1000.0, 0.0667) == pytest.approx(0.60 / 0.08, rel=1e-3)


def test_two_wheels_at_twelve_hundred() -> None:
    """Thomson problem: 181.4 kg, two wheels of 0.0921 kg m, 21.6 mm at 900 rpm; 2.31 mm at 1200
    (computed)."""
    assert 2 * 0.0921 / 181.4 * _u(1.0, 0.023505) * 1e3 == pytest.approx(21.6, rel=1e-3)
    assert 2 * 0.0921 / 181.4 * _u(1200 / 900, 0.023505) * 1e3 == pytest.approx(2.31, abs=0.005)


def test_car_over_a_wavy_road() -> None:
    """Inman, Engineering Vibration, ex. 2.4.2: 1007 kg, 40 kN/m, 2000 N s/m, 20 km/h, 6 m, 10 mm: 0.0319
    m."""
    natural = np.sqrt(4e4 / 1007)
    damping = 2000 / (2 * np.sqrt(4e4 * 1007))
    ratio = 2 * np.pi * (20 / 3.6) / 6 / natural
    assert 0.01 * _t(ratio, damping) == pytest.approx(0.0319, abs=5e-5)


def test_half_power_bandwidth() -> None:
    """f0 = 20 Hz, zeta 0.05: 18.92 to 20.93 Hz for displacement (Bendat and Piersol)."""
    for hz in (18.922, 20.927):
        r = hz / 20.0
        displacement = _u(r, 0.05) / r**2
        peak = 1 / (2 * 0.05 * np.sqrt(1 - 0.05**2))
        assert displacement == pytest.approx(peak / np.sqrt(2), rel=2e-3)


# ---------------------------------------------------------------- a cylinder


@pytest.mark.parametrize("strokes", [2, 4])
def test_torque_is_nothing_at_dead_centres(strokes: int) -> None:
    cold, hot = gas_torque(Combustion(), strokes)
    scale = np.max(np.abs(cold + hot))
    for at in (0, len(cold) // 2):
        assert abs(cold[at] + hot[at]) < 0.01 * scale


def test_compressing_and_letting_go_gives_no_work_in_a_two_stroke() -> None:
    cold, _ = gas_torque(Combustion(), 2)
    assert abs(cold.mean()) < 1e-3 * np.max(np.abs(cold))


def test_work_stays_below_the_ideal_cycle() -> None:
    """Otto cycle, efficiency 1 - rc^(1 - g) (Heywood eq. 5.31); valves opening early and slow burning take
    off."""
    for combustion in (Combustion(), Combustion(burn_start_deg=-1.0, burn_length_deg=2.0)):
        _, hot = gas_torque(combustion, 4)
        work = hot.mean() * 4 * np.pi
        ideal = combustion.heat * (1 - combustion.compression_ratio ** (1 - combustion.polytropic))
        assert 0.8 * ideal < work < ideal


def test_a_cylinder_of_a_four_stroke_repeats_twice_as_slowly_as_the_crank_turns() -> None:
    cold, hot = gas_torque(Combustion(), 4)
    angle = 4 * np.pi * np.arange(len(cold)) / len(cold)
    orders = [i / 2 for i in range(1, 60)]
    series = sum((order_coefficient(cold + hot, o, 4) * np.exp(1j * o * angle)).real for o in orders)
    assert np.max(np.abs(series + (cold + hot).mean() - cold - hot)) < 0.02 * np.max(np.abs(cold + hot))


def test_every_layout_fires_each_cylinder_once_a_cycle() -> None:
    for row in balance_table():
        angles = np.array(row.firing_angles_deg)
        assert len(np.unique(angles)) == row.cylinders
        assert angles.max() < 180 * row.strokes
