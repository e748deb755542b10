"""Laws of thin joints against values derived independently, their limits, and inverses that undo them."""

import numpy as np
import pytest
from pytest import approx

from plancha.geometry.bond_line import (
    bare_contact_conductance,
    bulk_uncertainty,
    compression_at,
    filled_polymer_bond_line,
    pressure_for,
    spread_around,
)

CURVE = ((20e3, 0.10), (400e3, 0.40))


def test_a_filled_polymer_comes_to_rest_at_the_bond_line_of_its_law():
    # Derived independently, of the formula of Prasher et al., J. Heat Transfer 125:1170 (2003), from memory.
    assert filled_polymer_bond_line(100.0, 0.2e6) == approx(37.09e-6, abs=0.005e-6)


def test_ten_times_the_pressure_thins_a_filled_polymer_by_its_exponent():
    ratio = filled_polymer_bond_line(100.0, 2e6) / filled_polymer_bond_line(100.0, 2e5)
    assert ratio == approx(10**-0.166, rel=1e-12)


def test_bare_copper_on_aluminium_conducts_as_derived():
    # Derived independently, of the formula of Cooper, Mikic and Yovanovich, IJHMT 12:279 (1969), from memory: faces of 0.8 um and
    # slope 0.1 each.
    found = bare_contact_conductance((390.0, 200.0), 0.8e-6 * 2**0.5, 0.1 * 2**0.5, 0.3e6, 1e9)
    assert found == approx(18593, abs=0.5)
    assert 1e6 / found == approx(53.78, abs=0.005)


def test_bare_contact_does_not_care_which_metal_is_named_first():
    rest = (1e-6, 0.15, 1e6, 1.5e9)
    assert bare_contact_conductance((390.0, 15.0), *rest) == bare_contact_conductance((15.0, 390.0), *rest)


@pytest.mark.parametrize("pressure", [900.0, 21e6])
def test_bare_contact_beyond_the_range_of_its_law_is_refused_with_the_numbers(pressure):
    with pytest.raises(ValueError, match=r"pressure over hardness is .*; the law holds from 1e-06 to 0.02"):
        bare_contact_conductance((390.0, 200.0), 1e-6, 0.14, pressure, 1e9)


@pytest.mark.parametrize("pressure", [0.0, -1.0, float("nan")])
def test_no_pressure_is_no_joint(pressure):
    with pytest.raises(ValueError, match="pressure must be above 0"):
        filled_polymer_bond_line(100.0, pressure)


def test_a_pads_curve_passes_through_its_two_points_and_the_logarithmic_middle():
    assert compression_at(20e3, CURVE) == approx(0.10) and compression_at(400e3, CURVE) == approx(0.40)
    assert compression_at((20e3 * 400e3) ** 0.5, CURVE) == approx(0.25)


def test_pressure_for_a_compression_undoes_the_compression():
    for pressure in np.geomspace(15e3, 2e6, 7):
        assert pressure_for(compression_at(pressure, CURVE), CURVE) == approx(pressure, rel=1e-9)


def test_a_pads_compression_stays_within_its_thickness():
    assert compression_at(1e-3, CURVE) == 0.0 and compression_at(1e12, CURVE) < 1.0


def test_uncertainties_of_bond_line_and_conductivity_add_as_squares():
    # 50 +- 10 um over 5 +- 0.5 W/m/K is 10 +- 2.23607 mm2 K/W, derived independently.
    assert bulk_uncertainty(50e-6, 10e-6, 5.0, 0.5) == approx(2.23607e-6, abs=1e-11)


def test_the_first_order_uncertainty_is_close_to_a_million_random_joints():
    rng = np.random.default_rng(20261125)
    drawn = rng.normal(50e-6, 10e-6, 1_000_000) / rng.normal(5.0, 0.5, 1_000_000)
    # Second order adds 2 % here; a million draws are sure to 0.1 %.
    assert bulk_uncertainty(50e-6, 10e-6, 5.0, 0.5) == approx(drawn.std(), rel=0.03)


def test_a_spread_is_skewed_as_that_of_random_joints_and_never_below_nothing():
    low, high = spread_around(10e-6, 2.23607e-6)
    assert low * high == approx(1e-10) and high - 10e-6 > 10e-6 - low > 0
    assert spread_around(1.0, 50.0)[0] > 0
