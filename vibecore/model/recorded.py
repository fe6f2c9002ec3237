"""What was recorded, and what was read from it."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

Place = Literal["steering wheel", "seat", "floor", "engine", "body"]
Gear = Literal["neutral", "park", "drive", "reverse"]
SpeedHold = Literal["idle", "raised", "sweep", "engine off"]
Stage = Literal["before", "after"]
KeepsTo = Literal["engine", "clock", "unknown"]
IN_GEAR: tuple[Gear, ...] = ("drive", "reverse")


class Frozen:
    """Arrays of a record are made read-only, and stay so through pickle and copies."""

    def __post_init__(self) -> None:
        for f in fields(self):  # type: ignore[arg-type]
            value = getattr(self, f.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), tuple(getattr(self, f.name) for f in fields(self))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Warn:
    """A named finding about a recording's quality, with what to do about it."""

    code: str  # kebab-case, stable: other programs read it
    message: str


@dataclass(frozen=True, eq=False)
class Recording(Frozen):
    """Samples as the phone made them: stamps in order, acceleration in m/s2, nothing resampled.

    t_s: (n,) strictly increasing, first is 0. accel_m_s2: (n, 3) in the device's axes, in the file's
    order of axes x, y, z. `rows` counts the file's rows of data, `lost_samples` those that the gaps in the
    stamps say are missing. `gravity_included` is told by the size of the mean vector. unit: what the numbers
    were read in; other_unit: what they may be in instead, empty where their size is sure; columns: what the
    file calls its axes.
    """

    name: str
    t_s: Floats
    accel_m_s2: Floats
    sample_rate_hz: float
    gravity_included: bool
    rows: int
    lost_samples: int
    warnings: tuple[Warn, ...] = ()
    history: tuple[str, ...] = ()
    digest: str = ""  # sha256 of the file's bytes
    unit: str = ""
    other_unit: str = ""
    columns: str = ""

    @property
    def duration_s(self) -> float:
        return float(self.t_s[-1] - self.t_s[0])

    @property
    def gravity_direction(self) -> Floats | None:
        """Unit vector (3,) along gravity in the device's axes, pointing the way this phone signs it; None
        where the file leaves gravity out."""
        if not self.gravity_included:
            return None
        middle = np.median(self.accel_m_s2, axis=0)
        return np.asarray(middle / np.linalg.norm(middle))


@dataclass(frozen=True, eq=False)
class Signal(Frozen):
    """A recording made ready: even time steps, gravity out, last axis vertical if that is known.

    accel_m_s2: (n, 3), metres per second squared, mean removed; sample i is at start_s + i / fs_hz.
    good: (n,) False where a gap was bridged or a knock cut out. vertical_known: axis 2 points up.
    """

    fs_hz: float
    start_s: float
    accel_m_s2: Floats
    good: Flags
    used_span_s: tuple[float, float]
    vertical_known: bool
    resolution_m_s2: float  # step between neighbouring values of the file, 0 if too fine to see
    warnings: tuple[Warn, ...] = ()
    history: tuple[str, ...] = ()

    @property
    def t_s(self) -> Floats:
        return self.start_s + np.arange(len(self.accel_m_s2)) / self.fs_hz


@dataclass(frozen=True)
class RunnerUp:
    """The next most likely engine speed and how it is related to the answer ('half of it', ...)."""

    mean_rpm: float
    probability: float
    relation: str


class Candidate(NamedTuple):
    """An engine speed that a recording may have been made at, and how likely it is to be the one."""

    rpm: float
    probability: float


@dataclass(frozen=True, eq=False)
class SpeedTrack(Frozen):
    """Crank speed over time. t_s, rpm: (m,). low/high: 95 % interval of the mean. steadiness: its standard
    deviation over time. confidence: probability that the mean is right within 3 %.

    `angle_rev` (n,): crank angle in revolutions at each sample of the signal it was found in, an unknown
    constant apart.
    """

    t_s: Floats
    rpm: Floats
    mean_rpm: float
    low_rpm: float
    high_rpm: float
    steadiness_rpm: float
    confidence: float
    found_by: Literal["vibration", "vibration with tachometer"]
    angle_rev: Floats
    runner_up: RunnerUp | None = None

    @property
    def turns_hz(self) -> float:
        """Revolutions a second, on average."""
        return self.mean_rpm / 60


@dataclass(frozen=True)
class OrderLevel:
    """One engine order. rms of the three-axis vector within +-0.05 order, floor taken off, with a 95 %
    interval; all None where the order cannot be seen, and then `why_not` says why. sharp_m_s2: what of it
    stands over all that lies beside, without what cycles that differ smear there."""

    order: float
    frequency_hz: float
    rms_m_s2: float | None
    low_m_s2: float | None
    high_m_s2: float | None
    above_floor_db: float | None
    coherence: float | None
    visible: bool
    why_not: str | None = None
    sharp_m_s2: float | None = None

    @property
    def line_m_s2(self) -> float | None:
        """Level of the line alone; where that was not read, of all within its width."""
        return self.rms_m_s2 if self.sharp_m_s2 is None else self.sharp_m_s2


@dataclass(frozen=True)
class Line:
    """A peak of a spectrum; in an order table, one on no multiple of one half order. `drifts_with` tells what
    it keeps to within the recording."""

    frequency_hz: float
    order: float | None
    rms_m_s2: float
    above_floor_db: float
    drifts_with: KeepsTo = "unknown"


@dataclass(frozen=True, eq=False)
class Spectrum(Frozen):
    """A spectrum for pictures and floors: x (m,) in hertz or orders, and psd (m,) summed over three axes,
    in (m/s2)^2 per unit of x. averages: independent blocks behind each value, None if not known."""

    x: Floats
    psd: Floats
    unit: Literal["hertz", "order"]
    averages: float | None = None

    @property
    def step(self) -> float:
        """Distance of neighbouring points, in the unit of x; there must be two."""
        return float(self.x[1] - self.x[0])


@dataclass(frozen=True, eq=False)
class OrderTable(Frozen):
    """All orders of one recording, the other lines, and the shake budget.

    budget: mean squares (m/s2)^2 of orders, other lines and rest, adding up to total.
    """

    levels: tuple[OrderLevel, ...]
    other_lines: tuple[Line, ...]
    spectrum: Spectrum
    orders_ms: float
    other_ms: float
    rest_ms: float
    total_ms: float

    @property
    def seen(self) -> tuple[OrderLevel, ...]:
        """The levels of those orders that this recording can show."""
        return tuple(lv for lv in self.levels if lv.visible and lv.rms_m_s2 is not None)

    def level(self, order: float) -> OrderLevel | None:
        """The level of this order, or None if the table does not reach it."""
        return next((lv for lv in self.levels if abs(lv.order - order) < 1e-6), None)


@dataclass(frozen=True)
class Overall:
    """Overall shake: root-mean-square of the three-axis vector, and weighted as a person feels it."""

    rms_m_s2: float
    weighted_rms_m_s2: float | None
    weighting: str | None
    cut_off_note: str | None  # what the phone's bandwidth leaves out of the weighted value


@dataclass(frozen=True)
class Condition:
    """How a recording was made, as far as the person said. None: not said."""

    place: Place | None = None
    gear: Gear | None = None
    speed_hold: SpeedHold | None = None
    stage: Stage = "before"
    tachometer_rpm: float | None = None
    accessories: tuple[str, ...] = ()
    taped_anew: bool = False  # repeats an earlier recording, nothing mended: only the taping is new
    driven: bool = False  # on the road, where nothing is said of the hold

    @property
    def in_gear(self) -> bool:
        return self.gear in IN_GEAR

    @property
    def on_road(self) -> bool:
        """Nobody revs against the brake: in gear and faster than idle is a drive."""
        if self.speed_hold is None:
            return self.driven and (self.in_gear or self.gear is None)
        return self.in_gear and self.speed_hold in ("raised", "sweep")

    @property
    def contradicted(self) -> bool:
        """Said to be with the engine off, though a tachometer showed that it turned."""
        return self.speed_hold == "engine off" and bool(self.tachometer_rpm)

    @property
    def way(self) -> Condition:
        """All that was said, apart from the taping itself and what the tachometer showed."""
        return replace(self, tachometer_rpm=None, taped_anew=False)

    def made_as(self, other: Condition) -> bool:
        """Whether both were made in the same way."""
        return self.way == other.way


@dataclass(frozen=True, eq=False)
class Analysis(Frozen):
    """Everything read from one recording. speed is None when it cannot be told (a warning says why);
    spectrum_hz is there in any case."""

    recording: Recording
    signal: Signal
    speed: SpeedTrack | None
    orders: OrderTable | None
    lines: tuple[Line, ...]  # lines in hertz, found whether or not the speed is known
    spectrum_hz: Spectrum
    overall: Overall
    condition: Condition
    warnings: tuple[Warn, ...] = ()
    candidates: tuple[Candidate, ...] = ()  # engine speeds, most likely first
    leaning: SpeedTrack | None = None  # the likeliest speed where none is sure enough to be stated

    @property
    def name(self) -> str:
        return self.recording.name

    @property
    def off_orders(self) -> tuple[Line, ...]:
        """Its lines on no engine order; all its lines where the orders are not known."""
        return self.lines if self.orders is None else self.orders.other_lines
