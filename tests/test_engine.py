"""Firing orders, balance of layouts, folding: against tables and sums made outside the project's code."""

import math

import numpy as np
import pytest

from vibecore.balance import balance_table, torque_sum
from vibecore.engine import Engine, fold, what_can_be_seen
from vibecore.errors import CaseError, VibecoreError

# One firing per cylinder per working cycle: Heywood, Internal Combustion Engine Fundamentals, ch. 2; Bosch
# Automotive Handbook. (strokes, cylinders, order, its frequency in hertz at 750 rpm)
FIRING = [
    (4, 1, 0.5, 6.250), (4, 2, 1.0, 12.500), (4, 3, 1.5, 18.750), (4, 4, 2.0, 25.000), (4, 5, 2.5, 31.250),
    (4, 6, 3.0, 37.500), (4, 8, 4.0, 50.000), (4, 10, 5.0, 62.500), (4, 12, 6.0, 75.000), (2, 1, 1.0, 12.500),
    (2, 2, 2.0, 25.000), (2, 3, 3.0, 37.500), (2, 4, 4.0, 50.000), (2, 6, 6.0, 75.000), (2, 12, 12.0, 150.0),
]  # fmt: skip

# Free forces and couples, textbook table (Bosch Automotive Handbook; Taylor vol. 2; Den Hartog ch. 5), from
# memory: force order 1, couple order 1, force order 2, couple order 2. Beside it the geometry for the sum
# made here: crank throw of each cylinder (degrees), its place along the crank (spacings), tilt (degrees).
BALANCE = {
    "single": ((1, 0, 1, 0), [0], [0], [0]),
    "inline two, pistons together (360 degrees)": ((2, 0, 2, 0), [0, 0], [0, 1], [0, 0]),
    "inline two, pistons opposed (180 degrees)": ((0, 1, 2, 0), [0, 180], [0, 1], [0, 0]),
    "inline two, 270 degree crank": ((1.4142, 0.7071, 0, 1), [0, 270], [0, 1], [0, 0]),
    "vee two, 90 degrees": ((1, 0, 1.4142, 0), [0, 0], [0, 0], [-45, 45]),
    "flat two": ((0, 1, 0, 1), [0, 180], [0, 1], [-90, 90]),
    "inline three": ((0, 1.7321, 0, 1.7321), [0, 240, 120], [0, 1, 2], [0] * 3),
    "inline four": ((0, 0, 4, 0), [0, 180, 180, 0], range(4), [0] * 4),
    "vee four, 90 degrees": ((0, 1, 2.8284, 0), [0, 0, 180, 180], [0, 0, 1, 1], [-45, 45] * 2),
    "flat four": ((0, 0, 0, 2), [0, 180, 180, 0], range(4), [-90, 90, -90, 90]),
    "inline five": ((0, 0.449, 0, 4.980), [0, 144, 216, 288, 72], range(5), [0] * 5),
    "inline six": ((0, 0, 0, 0), [0, 240, 120, 120, 240, 0], range(6), [0] * 6),
    "vee six, 60 degrees": (
        (0, 1.5, 0, 1.5),
        [30, -30, 270, 210, 150, 90],
        [0, 0, 1, 1, 2, 2],
        [-30, 30] * 3,
    ),
    "vee six, 90 degrees, common pins": (
        (0, 1.7321, 0, 2.4495),
        [0, 0, 240, 240, 120, 120],
        [0, 0, 1, 1, 2, 2],
        [-45, 45] * 3,
    ),
    "flat six": ((0, 0, 0, 0), [0, 180, 240, 60, 120, 300], range(6), [-90, 90] * 3),
    "inline eight": ((0, 0, 0, 0), [0, 180, 90, 270, 270, 90, 180, 0], range(8), [0] * 8),
    "vee eight, 90 degrees, cross-plane crank": (
        (0, 3.1623, 0, 0),
        [0, 0, 90, 90, 270, 270, 180, 180],
        [0, 0, 1, 1, 2, 2, 3, 3],
        [-45, 45] * 4,
    ),
    "vee eight, 90 degrees, flat-plane crank": (
        (0, 0, 5.6569, 0),
        [0, 0, 180, 180, 180, 180, 0, 0],
        [0, 0, 1, 1, 2, 2, 3, 3],
        [-45, 45] * 4,
    ),
    "vee ten, 90 degrees": (
        (0, 0.449, 0, 7.042),
        np.repeat([0, 144, 216, 288, 72], 2),
        np.repeat(range(5), 2),
        [-45, 45] * 5,
    ),
    "vee twelve": (
        (0, 0, 0, 0),
        np.repeat([0, 240, 120, 120, 240, 0], 2),
        np.repeat(range(6), 2),
        [-30, 30] * 6,
    ),
    "two-stroke single": ((1, 0, 1, 0), [0], [0], [0]),
    "two-stroke inline two": ((0, 1, 2, 0), [0, 180], [0, 1], [0, 0]),
    "two-stroke inline three": ((0, 1.7321, 0, 1.7321), [0, 240, 120], [0, 1, 2], [0] * 3),
    "two-stroke inline four": ((0, 1.4142, 0, 4), [0, 180, 90, 270], range(4), [0] * 4),
}

# Sums of torque phasors by order 0.5, 1, 1.5 ...: all cylinders equal, and one dead. Phase-vector sum of
# equal cylinder torques (Den Hartog ch. 5; Taylor vol. 2); the uneven vee six fires at 150 and 90 degrees.
TORQUE = {
    "inline three": ([0, 0, 3, 0, 0, 3, 0, 0, 3], [1, 1, 2, 1, 1, 2, 1, 1, 2]),
    "inline four": ([0, 0, 0, 4, 0, 0, 0, 4], [1, 1, 1, 3, 1, 1, 1, 3]),
    "inline six": ([0, 0, 0, 0, 0, 6], [1, 1, 1, 1, 1, 5]),
    "vee eight, 90 degrees, cross-plane crank": ([0] * 7 + [8], [1] * 7 + [7]),
    "vee six, 90 degrees, common pins": ([0, 0, 2.296, 0, 0, 4.243, 0, 0, 5.543, 0, 0, 0], None),
}


def _row(name):
    return next(row for row in balance_table() if row.name == name)


@pytest.mark.parametrize(("strokes", "cylinders", "order", "hz_at_750"), FIRING)
def test_firing_order(strokes, cylinders, order, hz_at_750):
    engine = Engine(cylinders, strokes)
    assert engine.firing_order == order
    assert engine.firing_orders(3) == (order, 2 * order, 3 * order)
    firing = next((v for v in what_can_be_seen(engine, 750 / 60, 1000.0) if v.order == order), None)
    assert firing.frequency_hz == pytest.approx(hz_at_750, abs=5e-4)
    assert engine.orders[0] == 0.5
    assert engine.orders[-1] >= max(4.0, 2 * order)
    assert np.allclose(np.diff(engine.orders), 0.5)


def _free(throws, places, tilts, order):
    """Largest force and couple over a turn, in units of F and F a, by adding the pistons' phasors."""
    throws, tilts = np.radians(np.asarray(throws, float)), np.radians(np.asarray(tilts, float))
    places = np.asarray(places, float) - np.mean(places)
    phasor = np.exp(1j * order * (throws - tilts))
    sizes = []
    for weight in (np.ones_like(places), places):
        x, y = np.sum(weight * np.cos(tilts) * phasor), np.sum(weight * np.sin(tilts) * phasor)
        sizes.append(abs(x - 1j * y) / 2 + abs(x + 1j * y) / 2)
    return sizes


@pytest.mark.parametrize("name", BALANCE)
def test_balance_table(name):
    published, *geometry = BALANCE[name]
    row = _row(name)
    table = (row.force_1, row.couple_1, row.force_2, row.couple_2)
    assert table == pytest.approx(published, abs=1e-3)
    assert [*_free(*geometry, 1), *_free(*geometry, 2)] == pytest.approx(table, abs=1e-3)


def test_every_row_is_checked():
    assert {row.name for row in balance_table()} == set(BALANCE)


@pytest.mark.parametrize("name", TORQUE)
def test_torque_sums(name):
    sound, one_dead = TORQUE[name]
    row = _row(name)
    for i, expected in enumerate(sound, 1):
        assert torque_sum(row.firing_angles_deg, i / 2) == pytest.approx(expected, abs=1e-3)
    dead = [0.0] + [1.0] * (row.cylinders - 1)
    for i, expected in enumerate(one_dead or (), 1):
        assert torque_sum(row.firing_angles_deg, i / 2, dead) == pytest.approx(expected, abs=1e-3)


def test_normal_orders_of_known_layouts():
    kinds = {n: {o: v.kind for o, v in Engine(n, 4, a).normal_orders().items()} for n, a in
             ((3, "inline"), (4, "inline"), (6, "inline"), (8, "vee"))}  # fmt: skip
    assert kinds[3] == {1.0: "couple", 1.5: "firing", 2.0: "couple", 3.0: "firing"}
    assert kinds[4] == {2.0: "firing and force", 4.0: "firing"}
    assert kinds[6] == {3.0: "firing", 6.0: "firing"}
    assert kinds[8] == {4.0: "firing", 8.0: "firing"}


def test_unknown_arrangement_is_assumed_and_said():
    six = Engine(6)
    assert "inline or vee" in six.assumed
    assert six.normal_orders()[2.0].kind == "couple"  # a vee six keeps an order-2 couple: not called a fault
    assert Engine(6, 4, "inline").assumed is None
    assert Engine(8).normal_orders() == Engine(8, 4, "vee").normal_orders()


def test_a_layout_outside_the_table_is_not_called_silent():
    normal = Engine(7).normal_orders()
    assert normal[1.0].kind == normal[2.0].kind == "unknown"
    assert normal[3.5].kind == "firing"


def test_uneven_firing_is_normal_where_it_is_built_in():
    assert Engine(2).normal_orders()[0.5].kind == "uneven firing"
    assert 0.5 not in Engine(4).normal_orders()


def test_firing_sequence_says_to_check():
    assert "1-3-4-2" in Engine(4).usual_firing_sequence  # common practice, no source
    assert "manual" in Engine(4).usual_firing_sequence
    assert "manual" in Engine(16).usual_firing_sequence


@pytest.mark.parametrize(
    "args", [(0,), (17,), (-4,), (4.0,), (True,), (4, 3), (4, 4, "star")], ids=str
)  # fmt: skip
def test_impossible_engines_get_a_sentence(args):
    with pytest.raises(CaseError) as told:
        Engine(*args)
    assert "give" in str(told.value)


# A cosine sampled at fs is the same samples as the cosine at the folded frequency: the definition itself.
@pytest.mark.parametrize(
    ("true_hz", "fs_hz"), [(46.7, 60), (20, 60), (30, 60), (50, 59.4), (93.3, 60), (140, 60)]
)
def test_fold_gives_the_same_samples(true_hz, fs_hz):
    t = np.arange(500) / fs_hz
    at = fold(true_hz, fs_hz)
    assert 0 <= at.seen_at_hz <= fs_hz / 2
    assert np.allclose(np.cos(2 * np.pi * true_hz * t), np.cos(2 * np.pi * at.seen_at_hz * t), atol=1e-8)
    assert at.folded == (true_hz > fs_hz / 2)
    moves = fold(true_hz + 0.01, fs_hz).seen_at_hz - at.seen_at_hz
    if not math.isclose(true_hz % (fs_hz / 2), 0):
        assert (moves < 0) == at.mirrored


def test_fold_refuses_nonsense():
    with pytest.raises(VibecoreError):
        fold(10, 0)
    with pytest.raises(VibecoreError):
        fold(math.nan, 60)


def test_eight_cylinders_at_sixty_samples_a_second():
    """700 rpm: firing at 46.7 Hz shows at 13.3 Hz, beside order 1 (11.7 Hz)."""
    views = {v.order: v for v in what_can_be_seen(Engine(8), 700 / 60, 60.0)}
    firing = views[4.0]
    assert not firing.visible
    assert firing.why_not.endswith("it would show at 13.3 Hz, beside order 1")
    assert 4.0 in views[1.0].hidden_by
    assert views[1.0].visible
    assert views[1.0].why_not is None


def test_a_fast_phone_sees_all():
    assert all(v.visible and v.why_not is None for v in what_can_be_seen(Engine(4), 12.0, 400.0))


def test_a_quiet_order_on_which_the_firing_order_folds_cannot_be_seen():
    """Three cylinders, 1125 rpm, 50 samples a second: order 1.5 at 28.1 Hz is seen at 50 - 28.1 = 21.9 Hz, on
    no order (Shannon's sampling theorem); at 1200 rpm at 20 Hz, where order 1 is, and order 3 at 10 Hz, where
    order 0.5 is: what is read there is mostly theirs. Order 1.5 at 667 rpm stays seen, though order 3 (33.3
    Hz) folds onto it, for it is the stronger."""
    free = {v.order: v for v in what_can_be_seen(Engine(3), 1125 / 60, 50.0)}
    assert free[1.0].visible
    met = {v.order: v for v in what_can_be_seen(Engine(3), 1200 / 60, 50.0)}
    assert not met[1.0].visible
    assert met[1.0].why_not == "order 1.5, at 30.0 Hz, folds down onto it at 50 samples a second"
    assert met[0.5].why_not.startswith("order 3, at 60.0 Hz, folds")
    firing = {v.order: v for v in what_can_be_seen(Engine(3), 2000 / 3 / 60, 50.0)}[1.5]
    assert firing.visible
    assert firing.hidden_by == (3.0,)
