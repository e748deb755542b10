"""Temperatures over one impedance from a few solves: exact where they must be, and as good as they say elsewhere."""

import numpy as np
import pytest
from pytest import approx

from plancha.fem.response import response_over


def in_parallel(impedance):
    """Chip [K] under 100 W: its joint on 4 cm2 in series with 0.2 K/W, a board path of 8 K/W beside; and a neighbour it warms."""
    joint = impedance / 4e-4 + 0.2
    chip = 300 + 100 / (1 / joint + 1 / 8.0)
    return np.array([chip, 300 + 0.05 * (100 - (chip - 300) / 8.0)])


def test_without_another_way_the_rise_is_a_straight_line_and_met_exactly():
    response = response_over(1e-6, 1e-3, lambda r: np.array([300 + 5e5 * r]))
    for impedance in np.geomspace(1e-6, 1e-3, 40):
        assert response.at(impedance) == approx(300 + 5e5 * impedance, abs=1e-9)
    assert response.error < 1e-12


def test_with_another_way_the_interpolation_is_as_good_as_it_says():
    response = response_over(3e-7, 6e-4, in_parallel)
    for impedance in np.geomspace(3e-7, 6e-4, 101):
        assert np.abs(response.at(impedance) - in_parallel(impedance)).max() <= response.off(impedance)
    assert response.error <= 0.003 and len(response.impedances) <= 13


def test_a_part_that_cools_as_another_warms_is_followed_downward():
    response = response_over(3e-7, 6e-4, in_parallel)
    values = np.array([response.at(r) for r in np.geomspace(3e-7, 6e-4, 101)])
    assert (np.diff(values[:, 0]) > 0).all() and (np.diff(values[:, 1]) < 0).all()


def test_every_solve_serves_and_the_check_is_not_one_of_the_first():
    solved = []

    def counted(impedance):
        """The temperatures, noting where."""
        solved.append(impedance)
        return in_parallel(impedance)

    response = response_over(1e-6, 1e-4, counted)
    assert sorted(solved) == approx(response.impedances) and response.checked_at in solved[5:]
    for impedance in solved:
        assert response.at(impedance) == approx(in_parallel(impedance), abs=1e-9)


def test_what_bends_sharply_is_said_to_be_off():
    response = response_over(1e-6, 1e-3, lambda r: np.array([300 + 50 * (r > 1.1e-4)]), checks=1)
    assert response.error > 0.1


@pytest.mark.parametrize(("low", "high"), [(0.0, 1e-3), (2e-5, 1e-5), (-1e-5, 1e-5)])
def test_impedances_that_do_not_rise_are_refused(low, high):
    with pytest.raises(ValueError, match="must rise above 0"):
        response_over(low, high, in_parallel)
