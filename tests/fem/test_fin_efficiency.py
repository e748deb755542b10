"""Fins: efficiency beside a solved fin, the worked bank, effectiveness beside integrals; numbers derived independently."""

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad, solve_bvp

from plancha.fem.convection import developing_gap, inlet_based_gap
from plancha.fem.fin_efficiency import (
    corrected_height,
    corrected_pin_height,
    film_coefficient,
    fin_efficiency,
    fin_parameter,
    overall_efficiency,
    pin_parameter,
    plug_flow_effectiveness,
    top_entry_effectiveness,
)

# The worked bank: 30 fins of 0.4 mm, 29 gaps of 1.6 mm, 25 mm high, 60 mm long, k = 200; air at 4 m/s.
GAP, THICK, TALL, LONG, METAL, FINS = 1.6e-3, 0.4e-3, 25e-3, 60e-3, 200.0, 30
RHO, MU, K_AIR, CP, SPEED = 1.184, 1.845e-5, 0.02625, 1006.0, 4.0
WIDTH = (FINS - 1) * GAP + FINS * THICK


def solved_fin(m, height, tip):
    """Efficiency of a fin from its differential equation, theta'' = m^2 theta, theta(0) = 1, theta'(H) = -tip theta(H)."""
    x = np.linspace(0, height, 200)
    start = np.vstack([1 - 0.5 * x / height, np.full_like(x, -0.5 / height)])
    answer = solve_bvp(
        lambda _, y: np.vstack([y[1], m**2 * y[0]]),
        lambda root, end: np.array([root[0] - 1, end[1] + tip * end[0]]),
        x,
        start,
        tol=1e-9,
    )
    return -answer.y[1, 0] / (m**2 * height)


def test_efficiency_falls_as_the_hyperbolic_tangent_says():
    # Derived independently.
    expected = [0.924234, 0.761594, 0.603432, 0.482014]
    assert fin_efficiency(np.array([0.5, 1, 1.5, 2]), 1.0) == approx(expected, rel=1e-6)


def test_a_fin_with_insulated_tip_is_the_differential_equations_answer():
    m = fin_parameter(50.0, 200.0, 0.5e-3)
    assert m == approx(31.6228, rel=1e-6)
    assert fin_efficiency(m, 30e-3) == approx(0.779171, rel=1e-6)
    assert fin_efficiency(m, 30e-3) == approx(solved_fin(float(m), 30e-3, 0.0), rel=1e-7)


def test_half_a_thickness_of_height_stands_for_a_wetted_tip():
    m, tall = fin_parameter(50.0, 200.0, 0.5e-3), corrected_height(30e-3, 0.5e-3)
    assert fin_efficiency(m, tall) == approx(0.7764584, rel=1e-6)
    # theta'(H) = -(h/k) theta(H); heat over 2 h (H + t/2)
    exact = solved_fin(float(m), 30e-3, 50.0 / 200.0) * 30e-3 / float(tall)
    assert fin_efficiency(m, tall) == approx(exact, rel=1e-6)


def test_a_quarter_of_the_diameter_stands_for_a_pins_wetted_tip():
    h, k, d, tall = 60.0, 180.0, 3e-3, 25e-3
    m, longer = pin_parameter(h, k, d), corrected_pin_height(tall, d)
    exact = solved_fin(float(m), tall, h / k) * tall / float(longer)
    assert fin_efficiency(m, longer) == approx(exact, rel=1e-5)


def test_a_perfect_conductor_is_wholly_used_and_a_long_fin_by_its_decay_length():
    assert fin_efficiency(1e-6, 1.0) == approx(1, abs=1e-12)
    assert fin_efficiency(100.0, 1.0) == approx(0.01, rel=1e-12)
    assert fin_efficiency(1e5, 1.0) > 0  # no overflow


def test_the_worked_bank_gives_0_315_kelvin_per_watt():
    """Every step derived independently."""
    reynolds, prandtl = RHO * SPEED * 2 * GAP / MU, MU * CP / K_AIR
    nusselt = developing_gap(reynolds, prandtl, LONG / (2 * GAP))
    h = nusselt * K_AIR / (2 * GAP)
    eta = fin_efficiency(fin_parameter(h, METAL, THICK), TALL)
    fin_area, area = (FINS - 1) * 2 * TALL * LONG, (FINS - 1) * (2 * TALL + GAP) * LONG
    overall = overall_efficiency(fin_area, area, eta)
    assert (nusselt, h, eta, overall) == approx((8.47211, 69.4978, 0.747268, 0.755105), rel=2e-6)
    capacity = RHO * SPEED * (FINS - 1) * GAP * TALL * CP
    units = overall * h * area / capacity
    conductance = capacity * plug_flow_effectiveness(units)
    assert (capacity, units, conductance, 1 / conductance) == approx((5.52672, 0.852529, 3.17049, 0.315409), rel=3e-6)
    assert conductance / (WIDTH * LONG) == approx(904.82, rel=1e-5)  # on the inlet; never with a coolant that warms up
    local = film_coefficient(h, GAP, THICK, TALL, METAL, fins=FINS)
    assert local == approx(1344.7, rel=4e-5)
    assert local * WIDTH * LONG == approx(float(overall * h * area), rel=1e-12)


def test_inlet_and_bulk_laws_give_the_same_bank_if_neither_counts_the_warming_twice():
    """With perfect fins, derived independently: 41.693 on the inlet, 41.652 W/m2K by transfer units."""
    reynolds, prandtl, ratio = RHO * SPEED * 2 * GAP / MU, MU * CP / K_AIR, LONG / (2 * GAP)
    on_inlet = inlet_based_gap(reynolds, prandtl, ratio) * K_AIR / (2 * GAP)
    h = developing_gap(reynolds, prandtl, ratio) * K_AIR / (2 * GAP)
    heated, capacity = (2 + GAP / TALL) * LONG, RHO * SPEED * GAP * CP  # per metre of fin height, base shared out
    by_units = capacity * plug_flow_effectiveness(h * heated / capacity) / heated
    assert (on_inlet, by_units) == approx((41.693, 41.652), rel=2e-5)
    twice = capacity * plug_flow_effectiveness(on_inlet * heated / capacity) / heated
    assert twice < 0.75 * on_inlet


def test_an_endless_bank_is_the_limit_of_many_fins():
    many = film_coefficient(69.5, GAP, THICK, TALL, METAL, fins=1e9)
    assert film_coefficient(69.5, GAP, THICK, TALL, METAL) == approx(float(many), rel=1e-8)
    assert film_coefficient([30.0, 69.5], GAP, THICK, TALL, METAL, fins=30).shape == (2,)


def test_two_fins_have_one_gap():
    one_gap = film_coefficient(10.0, GAP, THICK, TALL, 1e9, fins=2)
    assert one_gap == approx(10 * (GAP + 2 * TALL) / (GAP + 2 * THICK), rel=1e-6)


def test_perfect_fins_multiply_the_coefficient_by_their_area():
    assert film_coefficient(10.0, GAP, THICK, TALL, 1e9) == approx(10 * (GAP + 2 * TALL) / (GAP + THICK), rel=1e-6)


NTU = np.array([0.25, 0.5, 1, 2])


def test_effectiveness_along_and_from_above():
    # Derived independently.
    assert top_entry_effectiveness(NTU) == approx([0.2, 1 / 3, 0.5, 2 / 3], rel=1e-6)
    assert plug_flow_effectiveness(NTU) == approx([0.22120, 0.39347, 0.63212, 0.86466], abs=6e-6)


@pytest.mark.parametrize("units", NTU)
def test_air_from_above_stays_for_very_different_times(units):
    """A parcel that enters at a share s of the half length leaves after (H/v) ln(1/s) and is by then 1 - s^NTU of the way warm."""
    mixed, _ = quad(lambda s: 1 - np.exp(-units * np.log(1 / s)), 0, 1)
    assert top_entry_effectiveness(units) == approx(mixed, rel=1e-7)


def test_little_exchange_uses_the_coolant_alike_and_much_uses_it_all():
    assert plug_flow_effectiveness(1e-9) == approx(1e-9, rel=1e-8)
    assert top_entry_effectiveness(1e-9) == approx(1e-9, rel=1e-8)
    assert plug_flow_effectiveness(50.0) == approx(1.0)
    assert np.all(top_entry_effectiveness(NTU) < plug_flow_effectiveness(NTU))


def test_impossible_fins_are_refused():
    with pytest.raises(ValueError, match="a bank has at least two fins, got 1"):
        film_coefficient(50.0, GAP, THICK, TALL, METAL, fins=1)
    with pytest.raises(ValueError, match="thickness must be above 0, got 0"):
        fin_parameter(50.0, METAL, 0.0)
    with pytest.raises(ValueError, match="fin_area_over_total must be 0 to 1, got 2"):
        overall_efficiency(2.0, 1.0, 0.8)
    with pytest.raises(ValueError, match="ntu must be 0 or more, got -1"):
        plug_flow_effectiveness(-1.0)
