"""How a change is said: by how many times, which a person can picture, and not by decibels."""

from __future__ import annotations

import pytest

from vibecore.units import level_text, printed, signed, spread_text, times, times_against, times_between

TIMES_3 = 9.5424  # dB: 20 log10 of an amplitude's ratio, ISO 80000-3


@pytest.mark.parametrize(
    ("change_db", "alone", "against"),
    [
        (-TIMES_3, "3.0 times weaker", "3.0 times weaker than"),
        (TIMES_3, "3.0 times as strong", "3.0 times as strong as"),
        (-6.02, "half as strong", "half as strong as"),
        (6.02, "twice as strong", "twice as strong as"),
        (-26.02, "20 times weaker", "20 times weaker than"),
        (-52.0, "over 100 times weaker", "over 100 times weaker than"),
        (0.5, "about the same", "about as strong as"),
        (-0.5, "about the same", "about as strong as"),
    ],
)
def test_a_change_is_said_in_times(change_db, alone, against):
    assert (times(change_db), times_against(change_db)) == (alone, against)


def test_an_interval_is_said_in_times():
    assert times_between(-2 * TIMES_3, -TIMES_3) == "3.0 to 9.0 times weaker"
    assert times_between(TIMES_3, 2 * TIMES_3) == "3.0 to 9.0 times as strong"
    assert times_between(-TIMES_3, 6.02) == "3.0 times weaker to 2.0 times as strong"


def test_an_interval_whose_ends_are_told_alike_is_told_once():
    assert times_between(41.0, 52.0) == "over 100 times as strong"
    assert times_between(-52.0, -41.0) == "over 100 times weaker"
    assert times_between(TIMES_3 - 0.01, TIMES_3 + 0.01) == "3.0 times as strong"
    assert times_between(-52.0, -TIMES_3) == "3.0 to over 100 times weaker"
    assert times_between(-41.0, 41.0) == "over 100 times weaker to over 100 times as strong"


@pytest.mark.parametrize(
    ("change_db", "digits", "told"),
    [(6.02, 1, "+6.0"), (-6.02, 0, "-6"), (-0.04, 1, "0.0"), (0.04, 1, "0.0"), (-0.4, 0, "0"), (0.0, 0, "0")],
)
def test_nothing_has_no_sign(change_db, digits, told):
    assert signed(change_db, digits) == told


@pytest.mark.parametrize(
    ("level_m_s2", "told"),
    [
        (0.7, "0.700"),
        (0.0948, "0.0948"),
        (0.03, "0.0300"),
        (0.09996, "0.100"),
        (0.9996, "1.00"),
        (12.34, "12.3"),
        (123.4, "123"),
        (1234.0, "1234"),
        (0.0063, "0.0063"),
        (0.000012, "under 0.0001"),
        (0.0, "0"),
    ],
)
def test_a_level_has_three_figures_with_their_zeros(level_m_s2, told):
    """0.7 and 0.700 are told apart by how well they are known. Common practice, no source."""
    assert level_text(level_m_s2) == told


def test_no_line_ends_between_a_figure_and_its_sign():
    """A space stands between the two (SI Brochure, BIPM, 9th edition, 2019, 5.4.7, from memory); that it does
    not break: common practice, no source."""
    assert printed("95 % interval, 0.3 m/s2, what % is") == "95\u00a0% interval, 0.3 m/s², what % is"


def test_what_many_cars_show_is_told_with_two_figures():
    """Common practice, no source: a spread of several times is not known to the thousandth."""
    assert spread_text(0.04512, 0.2261) == "0.045 to 0.23"
    assert spread_text(0.3804) == "0.38"
