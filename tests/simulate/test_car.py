"""What the simulated car does, against closed forms, scipy and counting."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from tests.simulate.plain import plain_car
from vibecore.engine import Engine
from vibecore.model import Condition
from vibecore.simulate import CAUSES, Wanted, add_fault, simulate_job
from vibecore.simulate.car import ROLL, SOURCES, Path, through
from vibecore.simulate.crank import _slow_noise, turn
from vibecore.simulate.draw import draw_car
from vibecore.simulate.faults import draw_fault
from vibecore.simulate.physics import gas_torque, order_coefficient
from vibecore.simulate.truth import order_levels, tell
from vibecore.simulate.vibration import GRID_HZ, vibrate

NEUTRAL = Condition("steering wheel", "neutral", "idle")
DRIVE = Condition("steering wheel", "drive", "idle")
RAISED = Condition("steering wheel", "neutral", "raised")
T_S = np.arange(0, 20.0, 1 / GRID_HZ)


def _levels(car, condition=NEUTRAL, seed=5, duration=20.0):
    shaken = vibrate(car, condition, duration, np.random.default_rng(seed))
    return order_levels(shaken.shake, shaken.angle_rev, car.engine.orders)


def _torque_order(car, order):
    crank = turn(car, "neutral", "idle", 1.0, T_S, np.random.default_rng(0))
    return 2 * abs(np.mean(crank.torque * np.exp(-2j * np.pi * order * crank.angle_rev)))


# Sums of torque phasors: Den Hartog, Mechanical Vibrations, ch. 5 (4 equal; 1 dead leaves one phasor's gap).
@pytest.mark.parametrize(
    ("order", "sound", "gap"), [(0.5, 0, 1), (1.0, 0, 1), (1.5, 0, 1), (2.0, 4, 1), (4.0, 4, 1)]
)
def test_torque_of_four_cylinders(order, sound, gap):
    car = plain_car(4)
    cold, hot = gas_torque(car.combustion, 4)
    both, burning = (abs(order_coefficient(x, order, 4)) for x in (cold + hot, hot))
    assert _torque_order(car, order) == pytest.approx(sound * both, abs=0.02 * both)
    dead = replace(car, burn=(0.0, 1.0, 1.0, 1.0))
    if sound == 0:  # a dead cylinder still compresses: what is missing is its burning
        assert _torque_order(dead, order) == pytest.approx(gap * burning, rel=0.03)


@pytest.mark.parametrize(
    ("cylinders", "arrangement", "order"), [(3, "inline", 1.5), (6, "inline", 3), (8, "vee", 4)]
)
def test_even_engines_are_silent_below_their_firing_order(cylinders, arrangement, order):
    car = plain_car(cylinders, arrangement=arrangement)
    firing = _torque_order(car, order)
    assert all(_torque_order(car, o) < 0.01 * firing for o in np.arange(0.5, order, 0.5))


def test_crank_speed_is_what_counting_its_turns_says():
    car = draw_car(np.random.default_rng(3), Engine(4))
    shaken = vibrate(car, NEUTRAL, 25.0, np.random.default_rng(3))
    truth = tell(shaken, car.engine, (2.0, 22.0), ())
    top = np.cos(2 * np.pi * shaken.angle_rev)
    rises = np.flatnonzero((top[:-1] < 0) & (top[1:] >= 0)).astype(float)
    rises += -top[rises.astype(int)] / (top[rises.astype(int) + 1] - top[rises.astype(int)])
    at_s = rises * shaken.step_s
    inside = at_s[(at_s >= 2.0) & (at_s <= 22.0)]
    counted = 60 * (len(inside) - 1) / (inside[-1] - inside[0])
    assert truth.mean_rpm == pytest.approx(counted, rel=1e-3)
    between = np.interp(truth.track_t_s, (at_s[1:] + at_s[:-1]) / 2, 60 / np.diff(at_s))
    assert np.std(truth.track_rpm - between) < 0.02 * truth.mean_rpm
    assert np.corrcoef(truth.track_rpm, between)[0, 1] > 0.5
    assert np.all(np.diff(truth.track_t_s) <= 0.5)


def test_slow_noise_has_unit_size():
    made = _slow_noise(400_000, 20.0, np.random.default_rng(0))
    assert made.std() == pytest.approx(1.0, rel=0.03)


def test_mount_and_modes_are_those_of_a_time_integration():
    """scipy.signal.lsim integrates the spring and damper; a mode's acceleration likewise."""
    mode = Path(rigid=np.zeros((5, 3)), hz=np.array([30.0]), damping=np.array([0.05]),
                drive=np.ones((1, 5)), shape=np.array([[1.0, 0, 0]]))  # fmt: skip
    car = replace(plain_car(), paths={"seat": mode, "floor": plain_car().paths["floor"]})
    rng = np.random.default_rng(0)
    force = np.zeros(len(T_S))
    force[2000:12000] = rng.standard_normal(10000)
    force = signal.sosfiltfilt(signal.butter(4, 60, fs=GRID_HZ, output="sos"), force)
    spectra = np.zeros((SOURCES, len(T_S) // 2 + 1), dtype=complex)
    spectra[ROLL] = np.fft.rfft(force)
    f = np.fft.rfftfreq(len(T_S), 1 / GRID_HZ)
    through_rubber = np.fft.irfft(through(car, "floor", spectra, f, False), len(T_S))[2]
    through_both = np.fft.irfft(through(car, "seat", spectra, f, False), len(T_S))[0]
    w, z = 2 * np.pi * 8.0, 0.1
    rubber = signal.lsim(([2 * z * w, w**2], [1, 2 * z * w, w**2]), force, T_S, interp=True)[1]
    w, z = 2 * np.pi * 30.0, 0.05
    # acceleration of a mode under unit modal force, with the sign of r^2 = -(s / w)^2
    both = signal.lsim(([-1, 0, 0], [1, 2 * z * w, w**2]), rubber, T_S, interp=True)[1]
    for ours, theirs in ((through_rubber, rubber), (through_both, both)):
        assert np.sqrt(np.mean((ours - theirs) ** 2)) < 0.02 * np.sqrt(np.mean(theirs**2))


def test_orders_hold_all_the_shake_of_a_sound_engine():
    """Parseval: what fires lies on orders and nowhere else."""
    car = plain_car(4)
    shaken = vibrate(car, NEUTRAL, 20.0, np.random.default_rng(0))
    total = np.sum(np.mean(shaken.shake**2, axis=1))
    levels = order_levels(shaken.shake, shaken.angle_rev, tuple(np.arange(1, 61) / 2))
    assert sum(v**2 for v in levels.values()) == pytest.approx(total, rel=0.01)


def test_order_level_of_a_known_sine():
    angle = np.cumsum(12 + 0.5 * np.sin(2 * np.pi * 0.2 * T_S)) / GRID_HZ  # hunts by 4 %
    accel = np.stack([0.3 * np.cos(4 * np.pi * angle), 0.4 * np.sin(4 * np.pi * angle), 0 * angle])
    levels = order_levels(accel, angle, (0.5, 1.0, 2.0, 4.0))
    assert levels[2.0] == pytest.approx(0.5 / np.sqrt(2), rel=2e-3)
    assert max(levels[o] for o in (0.5, 1.0, 4.0)) < 1e-3


def test_imbalance_grows_with_speed_squared_through_its_mount():
    car = replace(plain_car(), unbalance=0.1, unbalance_shared=0.0)
    low, high = _levels(car)[1.0], _levels(car, RAISED)[1.0]

    def passed(hz):  # textbook: sqrt((1 + (2 z r)^2) / ((1 - r^2)^2 + (2 z r)^2)), mount of 8 Hz and 0.1
        r, z = hz / 8.0, 0.1
        return np.sqrt((1 + (2 * z * r) ** 2) / ((1 - r**2) ** 2 + (2 * z * r) ** 2))

    assert low == pytest.approx(0.1, rel=0.02)
    assert high / low == pytest.approx(4 * passed(24.0) / passed(12.0), rel=0.02)


def test_raised_idle_takes_the_firing_order_off_a_resonance():
    car = plain_car()
    ring = Path(rigid=np.eye(5, 3), hz=np.array([24.0]), damping=np.array([0.03]),
                drive=np.full((1, 5), 0.3), shape=np.ones((1, 3)))  # fmt: skip
    car = replace(car, paths={**car.paths, "steering wheel": ring})
    assert _levels(car)[2.0] > 5 * _levels(car, RAISED)[2.0]


def test_fan_keeps_its_hertz_and_runs_with_the_engine_off():
    car = add_fault(plain_car(), "cooling-fan", 4)
    car = replace(car, fan=replace(car.fan, runs="engine off too", level=0.3, drift=1e-4, blade_level=0.0))
    seen = []
    for condition in (NEUTRAL, RAISED, Condition("steering wheel", "neutral", "engine off")):
        shaken = vibrate(replace(car, roll_gain=1e-9), condition, 20.0, np.random.default_rng(1))
        f, p = signal.periodogram(shaken.shake.sum(axis=0), GRID_HZ)
        seen.append(f[np.argmax(p)])
    assert max(seen) - min(seen) < 0.1
    assert seen[0] == pytest.approx(car.fan.hz, abs=0.1)


# ---------------------------------------------------------------- faults do what the physics says


def _strong(cause, base, seed=3):
    fault = draw_fault(cause, base, np.random.default_rng(seed))
    return fault.lay(base, 1.0)


def test_misfire_raises_half_orders_steadily_and_unevenness_does_not():
    base = plain_car()
    dead = replace(base, burn=(0.3, 1.0, 1.0, 1.0))
    rough = replace(base, cycle_spread=0.3)
    for car in (dead, rough):
        assert _levels(car)[0.5] > 10 * _levels(base)[0.5]

    def steadiness(car):
        shaken = vibrate(car, NEUTRAL, 40.0, np.random.default_rng(5))
        turned = shaken.shake[2] * np.exp(-2j * np.pi * 0.5 * shaken.angle_rev)
        blocks = turned[: len(turned) // 20 * 20].reshape(20, -1).mean(axis=1)
        return abs(blocks.mean()) / np.abs(blocks).mean()

    assert steadiness(dead) > 0.95
    assert steadiness(rough) < 0.6


def test_collapsed_mount_lifts_the_firing_order_more_in_gear_and_leaves_the_half_order():
    base = replace(plain_car(), burn=(0.9, 1.0, 1.0, 1.0), drive_load=1.0)
    fault = draw_fault("engine-mount", base, np.random.default_rng(1))
    bad = replace(fault.lay(base, 1.0), contacts=())
    bad = replace(
        bad,
        mounts=tuple(replace(m, natural_hz=8.0 if m.natural_hz > 1 else m.natural_hz) for m in bad.mounts),
    )

    def rise(condition, order):
        return 20 * np.log10(_levels(bad, condition)[order] / _levels(base, condition)[order])

    assert rise(NEUTRAL, 2.0) > 3.0
    assert rise(DRIVE, 2.0) > rise(NEUTRAL, 2.0)
    assert abs(rise(NEUTRAL, 0.5)) < 1.5


def test_exhaust_contact_makes_harmonics_of_the_firing_order():
    base = plain_car()
    bad = _strong("exhaust-contact", base)
    ours, sound = _levels(bad), _levels(base)
    assert ours[4.0] > 2 * sound[4.0]
    assert ours[0.5] < 0.02


def test_driveline_trouble_is_felt_in_gear_only():
    base = plain_car()
    bad = _strong("driveline", base, seed=2)
    for condition, same in ((NEUTRAL, True), (DRIVE, False)):
        a, b = (vibrate(c, condition, 10.0, np.random.default_rng(2)) for c in (base, bad))
        changed = np.std(b.shake + b.rest - a.shake - a.rest)
        assert (changed < 1e-9) == same


# leave a sound unit that the car may not have had, or a mode that the idle is lifted off
LEAVES_SOMETHING = ("accessory-drive", "cooling-fan", "idle-resonance")


@pytest.mark.parametrize("cause", [c for c in CAUSES if c not in ("normal", "wheel-imbalance", "propshaft")])
def test_a_mended_fault_is_gone_and_a_half_one_lies_between(cause):
    base = draw_car(np.random.default_rng(8), Engine(4), "automatic")
    fault = draw_fault(cause, base, np.random.default_rng(8))
    cooled = Condition("steering wheel", "neutral", "idle", "before", None, ("air conditioning",))

    def shake(car):
        car = replace(car, fan=replace(car.fan, runs="always") if car.fan else None)
        made = [vibrate(car, c, 10.0, np.random.default_rng(1)) for c in (NEUTRAL, DRIVE, cooled)]
        return np.concatenate([v.shake + v.rest for v in made], axis=1)

    mended, half, full = (shake(fault.lay(base, strength)) for strength in (0.0, 0.5, 1.0))
    if cause not in LEAVES_SOMETHING:
        assert np.allclose(mended, shake(base))
    if cause == "exhaust-contact":  # what touches also pushes back: its own part is what grows
        mended, half, full = 0 * mended, half - mended, full - mended
    assert np.mean(mended**2) < np.mean(half**2) < np.mean(full**2)


def test_road_shake_keeps_to_the_wheels():
    job = simulate_job("wheel-imbalance", Wanted(Engine(4), rate_hz=200.0, duration_s=20.0), seed=17)
    for recording in job.recordings:
        wheel_hz = recording.truth.mean_rpm / 60 / job.car.wheels.ratio
        start, end = recording.truth.steady_span_s
        a = recording.accel_m_s2[(recording.t_s > start) & (recording.t_s < end)]
        f, p = signal.welch((a - a.mean(axis=0)).T, 1 / np.median(np.diff(recording.t_s)), nperseg=1024)
        power = p.sum(axis=0)
        band = (f > 5) & (f < 25)
        assert f[band][np.argmax(power[band])] == pytest.approx(wheel_hz, abs=0.3)


def test_sound_cars_shake_as_sound_cars_do():
    """Wheel at idle 0.03-0.3 m/s2 on the firing order, half orders 0.003-0.05: common practice, no source."""
    firing, halves = [], []
    for seed in range(20):
        car = draw_car(np.random.default_rng([seed, 77]), Engine(4))
        levels = _levels(car, seed=seed, duration=10.0)
        firing.append(levels[2.0])
        halves.append(np.hypot(levels[0.5], levels[1.5]))
    assert 0.03 < np.median(firing) < 0.3
    assert 0.0003 < np.median(halves) < 0.03


def test_unknown_cause_is_named():
    with pytest.raises(ValueError, match="gremlins"):
        draw_fault("gremlins", plain_car(), np.random.default_rng(0))
