"""Resistances side by side and in a row against closed forms: Poiseuille's gaps, orifices, and mixtures of both."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plancha.fem.passages import FASTEST, SLOWEST, Resistance, in_row, orifice, passage, side_by_side

MU = 1.845e-5  # Pa s, air


def poiseuille(gap: float, width: float, length: float) -> tuple[Resistance, float]:
    """A plane gap, and its exact conductance b^3 w/(12 mu L) [m3/s/Pa]."""
    exact = gap**3 * width / (12 * MU * length)
    return passage(lambda v: 12 * MU * length * v / gap**2, gap * width), exact


gaps = st.floats(2e-4, 5e-3)
drops = st.floats(1e-3, 1e3)


@given(gaps, drops)
def test_a_plane_gap_carries_in_proportion_to_the_pressure(gap, drop):
    # Plane Poiseuille flow, exact; a power law is straight on logarithmic axes, so the table adds nothing.
    one, exact = poiseuille(gap, 0.04, 0.06)
    assert float(one.rate_at(drop)) == pytest.approx(exact * drop, rel=1e-9)
    assert float(one.drop_at(exact * drop)) == pytest.approx(drop, rel=1e-9)


@given(gaps, gaps, drops)
def test_two_gaps_side_by_side_share_the_flow_as_the_cubes_of_their_widths(one, other, drop):
    (first, a), (second, b) = poiseuille(one, 0.04, 0.06), poiseuille(other, 0.04, 0.06)
    both = side_by_side([first, second])
    assert float(both.rate_at(drop)) == pytest.approx((a + b) * drop, rel=1e-9)
    at = float(both.drop_at((a + b) * drop))
    share = float(first.rate_at(at)) / float(first.rate_at(at) + second.rate_at(at))
    assert share == pytest.approx(one**3 / (one**3 + other**3), rel=1e-8)


@given(gaps, gaps, drops)
def test_two_gaps_in_a_row_take_the_sum_of_their_pressures(one, other, drop):
    (first, a), (second, b) = poiseuille(one, 0.04, 0.06), poiseuille(other, 0.04, 0.06)
    row = in_row([first, second])
    assert float(row.rate_at(drop)) == pytest.approx(drop / (1 / a + 1 / b), rel=1e-9)


def test_many_alike_count_as_often_as_they_stand():
    one, exact = poiseuille(1e-3, 0.04, 0.06)
    assert float(side_by_side([one], [7.0]).rate_at(20.0)) == pytest.approx(7 * exact * 20, rel=1e-9)


def test_an_orifice_loses_dynamic_heads():
    hole = orifice(1.2, 1.5, 20e-4)
    assert float(hole.drop_at(0.01)) == pytest.approx(1.5 * 1.2 / 2 * (0.01 / 20e-4) ** 2, rel=1e-9)


def test_a_gap_and_an_orifice_in_a_row_meet_the_root_of_the_quadratic():
    # c1 V + c2 V^2 = dp: V = [-c1 + sqrt(c1^2 + 4 c2 dp)]/(2 c2).
    gap, conductance = poiseuille(1e-3, 0.04, 0.06)
    hole = orifice(1.2, 1.5, 2e-4)
    c1, c2 = 1 / conductance, 1.5 * 1.2 / 2 / 2e-4**2
    for drop in (0.1, 10.0, 500.0):
        exact = (-c1 + np.sqrt(c1**2 + 4 * c2 * drop)) / (2 * c2)
        assert float(in_row([gap, hole]).rate_at(drop)) == pytest.approx(exact, rel=2e-5)  # 900 points over 7.5 decades


def test_nothing_flows_without_pressure_and_the_table_is_continued_beyond_its_ends():
    one, exact = poiseuille(1e-3, 0.04, 0.06)
    assert float(one.rate_at(0.0)) == float(one.drop_at(0.0)) == 0.0
    for velocity in (SLOWEST / 100, 100 * FASTEST):
        rate = velocity * 1e-3 * 0.04
        assert float(one.drop_at(rate)) == pytest.approx(rate / exact, rel=1e-9)
    assert one.drop_at(np.ones((2, 3))).shape == (2, 3)


def test_a_passage_whose_law_stands_still_has_one_rate_at_each_pressure():
    flat = passage(lambda v: np.where(v < 1.0, v, np.maximum(1.0, v - 1.0)), 1.0)
    assert np.all(np.diff(flat.drop) > 0)
    found = flat.rate_at(np.array([0.5, 1.0, 1.0 + 1e-13, 2.0]))
    assert np.all(np.isfinite(found)) and np.all(np.diff(found) > 0)


@pytest.mark.filterwarnings("error")
def test_alike_but_for_rounding_side_by_side_and_in_a_row_are_twice_the_one():
    one, exact = poiseuille(1e-3, 0.04, 0.06)
    other = Resistance(one.rate * (1 + 2e-16), one.drop * (1 + 4e-16))
    found = side_by_side([one, other]), in_row([one, other])
    for drop in (0.0, 1e-3, 7.0, float(one.drop[400]), float(other.drop[500])):
        assert float(found[0].rate_at(drop)) == pytest.approx(2 * exact * drop, rel=1e-9)
        assert float(found[1].rate_at(drop)) == pytest.approx(exact * drop / 2, rel=1e-9)
    assert all(np.all(np.isfinite([each.rate, each.drop])) for each in found)
