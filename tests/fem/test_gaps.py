"""What one kind of fins does to its coolant: the worked array, developed and turbulent limits, and where laws are left."""

from dataclasses import replace

import numpy as np
import pytest
from finned_array import WORKED_AIR, finned

from plancha.fem.gaps import Gaps, efficiency, end_losses, film_on_base
from plancha.geometry.fluids import Fluid

STILL, LENGTH = np.array(0.0), 0.060


@pytest.fixture
def gaps(tmp_path):
    """Gaps of the worked array in its air, its flow with what the arguments change."""

    def of(fins=(), fluid=WORKED_AIR, **flow):
        stack = finned(tmp_path, fins, flow)
        return Gaps(stack.banks[0].regions[0].fins, fluid, stack.flows[0])

    return of


def mean(one: Gaps, velocity: float) -> float:
    """Coefficient over the whole length [W/m2/K]."""
    return float(one.coefficient(np.array(velocity), STILL, np.array(LENGTH), LENGTH))


def test_the_worked_array_has_its_numbers(gaps):
    # C4.7 (derived independently): Re = 821.42, x* = 0.0322828, Nu = 8.47211, h = 69.4978, m = 41.6827, eta = 0.747268.
    worked = gaps()
    reynolds = float(worked.reynolds(np.array(4.0)))
    assert reynolds == pytest.approx(821.42, abs=0.01)
    assert LENGTH / (worked.diameter * reynolds * WORKED_AIR.prandtl) == pytest.approx(0.0322828, rel=1e-5)
    h = mean(worked, 4.0)
    assert h == pytest.approx(69.4978, rel=1e-5)
    assert h * worked.diameter / WORKED_AIR.conductivity == pytest.approx(8.47211, rel=1e-5)
    assert float(efficiency(worked.fins, 200.0, np.array(h))) == pytest.approx(0.747268, rel=1e-5)


def test_base_and_fins_together_conduct_what_the_worked_array_does(gaps):
    # C4.7: eta_o h A = 4.71169 W/K over 29 pitches of 2 mm and 60 mm.
    worked = gaps()
    assert float(film_on_base(worked.fins, 200.0, np.array(69.4978))) == pytest.approx(
        4.71169 / (0.058 * LENGTH), rel=1e-5
    )


def test_friction_of_the_worked_array_is_the_worked_pressure(gaps):
    # C4.7: 26.748 Pa of friction; the ends are counted apart.
    assert float(gaps().drop(LENGTH)(np.array(4.0))) == pytest.approx(26.748, rel=2e-5)


def test_slow_flow_forgets_its_entry_and_meets_the_developed_limits(gaps):
    # 7.5407 and 8.235 between isothermal and evenly heated plates; friction factor times Reynolds number 24 (Shah and London).
    slow = 1e-3
    for law, limit in (("automatic", 7.55), ("developed gap", 7.5407), ("developed gap, even flux", 8.235)):
        h = mean(gaps(law=law), slow)
        assert h * 3.2e-3 / WORKED_AIR.conductivity == pytest.approx(limit, rel=2e-4)
    poiseuille = 12 * WORKED_AIR.viscosity * LENGTH * slow / 1.6e-3**2
    for law in ("automatic", "developed gap"):
        assert float(gaps(friction=law).drop(LENGTH)(np.array(slow))) == pytest.approx(poiseuille, rel=1e-3)


@pytest.mark.parametrize(("reynolds", "nusselt"), [(1e4, 30.0278), (5e3, 16.7220)])
def test_fast_flow_is_turbulent_by_the_worked_values(gaps, reynolds, nusselt):
    # C4.8 (derived independently) at Pr = 0.71.
    fluid = replace(WORKED_AIR, conductivity=WORKED_AIR.viscosity * WORKED_AIR.heat_capacity / 0.71)
    fast = gaps(fluid=fluid)
    velocity = reynolds * fluid.viscosity / (fluid.density * fast.diameter)
    assert mean(fast, velocity) * fast.diameter / fluid.conductivity == pytest.approx(nusselt, rel=1e-5)


def test_a_given_coefficient_stands_for_the_law_and_enhancement_multiplies_it(gaps):
    assert mean(gaps(coefficient="70 W/m^2/K"), 4.0) == 70.0
    assert mean(gaps(enhancement=1.5), 4.0) == pytest.approx(1.5 * mean(gaps(), 4.0), rel=1e-12)


def test_where_nothing_flows_nothing_is_exchanged(gaps):
    for one in (gaps(), gaps(coefficient="70 W/m^2/K")):
        found = one.coefficient(np.array([0.0, 4.0]), STILL, np.array(LENGTH), LENGTH)
        assert found[0] == 0.0 and found[1] > 60


def test_pins_meet_a_library_and_flow_fastest_between_their_neighbours(gaps):
    # ht.conv_tube_bank.Nu_Zukauskas_Bejan(Re=1e4, Pr=7, 10 rows, both pitches 0.05 m) = 175.92 for water in line.
    fluid = Fluid(density=1000.0, viscosity=1e-3, conductivity=1e-3 * 4200 / 7, heat_capacity=4200.0)
    pins = gaps({"form": "pins", "along": None, "pitch": "5 mm", "thickness": "2 mm", "height": "20 mm"}, fluid=fluid)
    assert pins.open_share == pytest.approx(3 / 5)
    velocity = 1e4 * fluid.viscosity / (fluid.density * 2e-3)
    ten_rows = float(pins.coefficient(np.array(velocity), STILL, np.array(0.05), 0.05))
    assert ten_rows * 2e-3 / fluid.conductivity == pytest.approx(175.92023, rel=0.01)  # the factor of rows is read off


def test_a_pin_is_as_efficient_as_its_own_law_says(gaps):
    # tanh(mH)/(mH), m = sqrt(4 h/(k d)) = 31.623 1/m, H = 20 mm: tanh(0.63246)/0.63246 (derived independently).
    pins = gaps({"form": "pins", "along": None, "pitch": "5 mm", "thickness": "2 mm", "height": "20 mm"})
    assert float(efficiency(pins.fins, 200.0, np.array(100.0))) == pytest.approx(np.tanh(0.632456) / 0.632456, rel=1e-5)


def test_ends_of_the_worked_array_by_areas(gaps):
    # Contraction 0.42 (1 - s), Borda's and Carnot's enlargement (1 - s)^2, s = 0.794521.
    flow = gaps().flow
    assert end_losses(flow, 0.794521, 0.794521) == pytest.approx((0.42 * 0.205479, 0.205479**2), rel=1e-9)
    assert end_losses(flow, 1.0, 1.0) == (0.0, 0.0)


def test_a_law_that_is_left_is_told_with_the_number(gaps):
    assert gaps().warnings(np.array([4.0]), LENGTH) == []
    transition = 2600 * WORKED_AIR.viscosity / (WORKED_AIR.density * 3.2e-3)
    told = gaps().warnings(np.array([0.0, transition]), LENGTH)
    assert 'Reynolds number 2600 lies in 2300 to 3000, where the law "automatic" is unreliable' in told
    (low,) = gaps({"height": "8 mm"}).warnings(np.array([4.0]), LENGTH)[:1]
    assert low == 'short over long side 0.2 is outside 0 to 0.1 of the law "automatic"'
    assert gaps().warnings(np.array([0.0]), LENGTH) == []


def test_a_given_coefficient_leaves_no_law_of_convection_to_warn_of(gaps):
    told = gaps(coefficient="70 W/m^2/K", law="turbulent").warnings(np.array([4.0]), LENGTH)
    assert told == []
