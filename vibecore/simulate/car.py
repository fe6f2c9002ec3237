"""The simulated car as data, and the frequency responses from its sources to a place where a phone is taped.

Sources, in this order: the engine's roll (reaction to its torque), bounce, pitch, sideways (what turns
with the crank), and body (loads that do not pass the engine's mounts: fan, exhaust, road). Signals of
sources are levels: a sine of amplitude 1 on a source gives what the path makes of it, in m/s2.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from vibecore.balance import EngineLayout
from vibecore.engine import Engine
from vibecore.model import Floats, Place
from vibecore.simulate.physics import Combustion, Complexes, transmissibility, unbalance_response

ROLL, BOUNCE, PITCH, SIDEWAYS, BODY = range(5)
SOURCES = 5
TILT_HZ = 20.0
LEVELS_AT_M_S = 25.0  # road speed at which levels of wheels, shafts and road are given


@dataclass(frozen=True)
class Mount:
    """A rigid mode of the engine on its rubber. `bridge`: extra gain well above `bridge_from_hz`, from
    rubber that has collapsed; it does not touch what lies below."""

    natural_hz: float
    damping: float
    bridge: float = 0.0
    bridge_from_hz: float = 15.0


@dataclass(frozen=True, eq=False)
class Path:
    """From the mounts' body side to one place. rigid: (SOURCES, 3). Modes: hz, damping (m,), drive (m,
    SOURCES), shape (m, 3). tilt: all of it rises with frequency to this power, from TILT_HZ."""

    rigid: Floats
    hz: Floats
    damping: Floats
    drive: Floats
    shape: Floats
    tilt: float = 0.0


@dataclass(frozen=True)
class Accessory:
    """A unit on the belt. Its level is the rms at the steering wheel at neutral idle in m/s2."""

    name: str
    ratio: float  # turns a crank turn
    level: float
    harmonics: tuple[float, ...] = (1.0,)  # strength of each multiple of its own turning
    switched: bool = False  # runs only when it is named in the recording's accessories
    wobble: float = 0.0  # share by which its level comes and goes
    load: float = 0.0  # share by which it loads the engine when on


@dataclass(frozen=True)
class Belt:
    """A belt with a flaw that passes its pulleys once a turn of the belt."""

    order: float  # turns a crank turn
    level: float
    harmonics: tuple[float, ...] = (1.0, 0.4)


@dataclass(frozen=True)
class Fan:
    """Electric cooling fan: its own speed in hertz, wandering a little with the battery's voltage."""

    hz: float
    level: float
    drift: float = 0.004
    blade_level: float = 0.0
    blades: int = 7
    runs: Literal["always", "sometimes", "cycles", "engine off too"] = "always"


@dataclass(frozen=True)
class Contact:
    """Something that touches when the engine rocks: it pushes while the rocking passes `gap`."""

    level: float
    gap: float  # as a share of the rocking at neutral idle
    natural_hz: float  # of the part that swings (exhaust), or of the engine (mount metal)
    damping: float
    ring_hz: float
    in_gear_shift: float = 0.0  # how far torque in gear closes the gap, same unit
    ring_damping: float = 0.1


@dataclass(frozen=True)
class Driveline:
    """Converter or gearbox trouble, in gear only: judder of its own hertz, and lines of a slipping
    turbine."""

    judder_level: float = 0.0
    judder_hz: float = 8.0
    judder_width: float = 0.15
    order_one_level: float = 0.0
    slip_level: float = 0.0
    slip_order: float = 0.85


@dataclass(frozen=True)
class Idle:
    """Speeds in rpm and how they wander. sd, hunting amplitude in rpm; tau and period in seconds."""

    neutral_rpm: float
    drive_rpm: float
    raised_rpm: float
    sd_rpm: float
    tau_s: float
    hunting_rpm: float
    hunting_period_s: float
    governor_s: float
    settles: float = 0.006  # share by which an idle settles elsewhere each time


@dataclass(frozen=True)
class Wheels:
    """What a drive adds: wheels, propeller shaft and road. Levels in m/s2 rms."""

    rolling_radius_m: float
    level: float  # of wheel order 1 at the steering wheel at LEVELS_AT_M_S
    gear_ratio: float  # engine turns a turn of the propeller shaft
    final_ratio: float
    propshaft_level: float
    road_level: float
    harmonic: float = 0.3

    @property
    def metres_a_turn(self) -> float:
        return 2 * np.pi * self.rolling_radius_m

    @property
    def ratio(self) -> float:
        """Engine turns a wheel turn."""
        return self.gear_ratio * self.final_ratio


@dataclass(frozen=True, eq=False)
class Car:
    """Everything that a simulated car shakes by; a fault is laid over it as a changed copy."""

    engine: Engine
    layout: EngineLayout
    transmission: str
    combustion: Combustion
    idle: Idle
    burn: tuple[float, ...]  # each cylinder's strength, 1 sound, 0 dead
    squeeze: tuple[float, ...]  # each cylinder's compression, 1 sound
    cycle_spread: float  # standard deviation of burning from cycle to cycle
    common_spread: float  # ... that all cylinders share, slowly
    skip_share: float  # of cycles that do not burn at all
    inertia_share: float  # speed ripple within a cycle at neutral idle, share of the speed
    drive_load: float  # burning in gear against neutral
    mounts: tuple[Mount, ...]  # one for each source
    drive_stiffening: float  # of all mounts in gear, as a factor on natural frequency
    drive_bridging: float  # of a bridged mount in gear, as a factor on the bridge
    reverse_bridging: float  # ... in reverse, which loads the other side
    paths: dict[Place, Path]
    roll_gain: float  # torque table units -> source level
    force_1: float  # levels at neutral idle of the layout's own forces and couples, m/s2 rms at the wheel
    couple_1: float
    force_2: float
    couple_2: float
    unbalance: float
    unbalance_shared: float  # how much of it shakes up and down rather than sideways
    floor_level: float  # broad shake with the engine running, m/s2 rms of the vector, 0 to 200 Hz
    floor_colour: float  # falls off as frequency to minus this
    place_sd_db: float  # what taping on again changes
    accessories: tuple[Accessory, ...] = ()
    belt: Belt | None = None
    fan: Fan | None = None
    contacts: tuple[Contact, ...] = ()
    driveline: Driveline = field(default_factory=Driveline)
    wheels: Wheels | None = None


def mount_response(mount: Mount, frequency_hz: Floats, in_gear: bool, car: Car) -> Complexes:
    """Force passed to the body for a unit force on the engine."""
    stiffening = car.drive_stiffening if in_gear else 1.0
    passed = transmissibility(frequency_hz / (mount.natural_hz * stiffening), mount.damping)
    if mount.bridge == 0.0:
        return passed
    bridge = mount.bridge * (car.drive_bridging if in_gear else 1.0)
    x = (frequency_hz / mount.bridge_from_hz) ** 4
    return passed * (1.0 + bridge * x / (1.0 + x))


def on_engine(mount: Mount, frequency_hz: Floats, in_gear: bool, car: Car) -> Complexes:
    """Acceleration of the engine itself for a unit force on it, a phone taped to the engine side."""
    stiffening = car.drive_stiffening if in_gear else 1.0
    return unbalance_response(frequency_hz / (mount.natural_hz * stiffening), mount.damping)


def through(car: Car, place: Place, signals: Complexes, frequency_hz: Floats, in_gear: bool) -> Complexes:
    """Spectra of acceleration (3, f) at a place from spectra of the sources (SOURCES, f)."""
    path = car.paths[place]
    passed = np.empty_like(signals)
    for k in range(SOURCES):
        if k == BODY:
            passed[k] = signals[k]
        else:
            side = on_engine if place == "engine" else mount_response
            passed[k] = signals[k] * side(car.mounts[k], frequency_hz, in_gear, car)
    out: Complexes = path.rigid.T @ passed
    if len(path.hz):
        driven = path.drive @ passed
        for m in range(len(path.hz)):
            driven[m] *= unbalance_response(frequency_hz / path.hz[m], float(path.damping[m]))
        out = out + path.shape.T @ driven
    return out * (np.maximum(frequency_hz, 1.0) / TILT_HZ) ** path.tilt


def gain(car: Car, source: int, frequency_hz: float, place: Place = "steering wheel") -> float:
    """rms of the three-axis vector at a place for a sine of unit rms on one source, in neutral."""
    signals = np.zeros((SOURCES, 1), dtype=complex)
    signals[source] = 1.0
    spectra = through(car, place, signals, np.array([frequency_hz]), in_gear=False)
    return float(np.sqrt(np.sum(np.abs(spectra) ** 2)))
