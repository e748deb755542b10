"""What a flow does as a whole: operating points against the quadratic's root, several fans, thin air, losses, banks in a row."""

import math
from dataclasses import replace

import numpy as np
import pytest
from finned_array import finned

from plancha.fem.air_flow import (
    blocked_loss,
    evened_share,
    first_cells,
    flow_state,
    flow_states,
    has_profile,
    network_of,
    sound_of,
)
from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Failure
from plancha.geometry.fluids import fluid_law

SHUT_OFF, FREE = 60.0, 0.020  # Pa, m3/s, of C5.2
AIR = fluid_law("air").at(298.15, 101325.0)
GAPS = 29 * 1.6e-3 * 25e-3  # m2
# C5.2: a system of 800 V + 3e5 V^2. The laminar term is plane Poiseuille flow in the worked array, 12 mu L/(b^2 A), the rest a loss.
LENGTH = 800 * 1.6e-3**2 * GAPS / (12 * AIR.viscosity)
ENDS = AIR.density / 2 * (0.42 * 0.2 + 0.2**2) / GAPS**2


def state(stack: Stack):
    return flow_state(stack, stack.flows[0])


@pytest.fixture
def blown(tmp_path):
    """The array without heat, its length such that its friction is 800 V, blown by fans with a parabolic curve."""

    def by(*fans, flow=(), power="0 W", upto=1.0):
        rates = np.linspace(0, upto * FREE, 401)
        rows = "\n".join(f"{v:.9g}, {SHUT_OFF * (1 - (v / FREE) ** 2):.9g}" for v in rates)
        (tmp_path / "fan.csv").write_text(f"flow [m^3/s], static pressure [Pa]\n{rows}\n")
        usual = {"curve": "fan.csv", "test_density": f"{AIR.density:.12g} kg/m^3", "test_speed": "3000 rpm"}
        tables = [usual | dict(fan) for fan in fans or ({},)]
        names = [table.get("name", "fan") for table in tables]
        loss = {"name": "grille", "drop": f"{(3e5 - ENDS) * 1e-4:.9g} Pa", "at": "10 l/s"}
        system = {"rate": None, "fans": names, "friction": "developed gap", "loss": [loss], **dict(flow)}
        plate = {"size": [f"{LENGTH * 1e3:.9f} mm", "58 mm"]}
        chip = {"at": ["0 mm", "0 mm"], "size": ["5 mm", "58 mm"], "power": power}
        return finned(tmp_path, (), system, plate, (chip,), fan=tables)

    return by


def test_the_fan_meets_the_system_at_the_worked_point(blown):
    # C5.2 (derived independently): 0.01069228 m3/s at 42.8513 Pa, 0.45818 W of air power.
    found = state(blown())
    assert found.rate == pytest.approx(0.01069228, rel=2e-5)
    assert found.point.pressure == pytest.approx(42.8513, rel=2e-5)
    assert found.power == pytest.approx(0.45818, rel=4e-5)
    assert found.drop == pytest.approx(found.point.pressure, rel=1e-6)


@pytest.mark.parametrize(
    ("fan", "flow", "pressure"),
    [
        ({"count": 2}, 0.01220072, 54.418),
        ({"count": 2, "arrangement": "in a row"}, 0.01349117, 65.396),
        ({"speed": "2400 rpm"}, 0.00839138, 800 * 0.00839138 + 3e5 * 0.00839138**2),
    ],
    ids=["side by side", "in a row", "80 % speed"],
)
def test_two_fans_and_slower_fans_run_at_the_worked_points(blown, fan, flow, pressure):
    # C5.2 (derived independently). At 80 % speed the flow is 0.7848 of full: the laminar term breaks the system's affinity.
    found = state(blown(fan))
    assert found.rate == pytest.approx(flow, rel=2e-5)
    assert found.point.pressure == pytest.approx(pressure, rel=5e-5)


def test_two_fans_by_name_are_two_by_count(blown):
    by_name = state(blown({}, {"name": "other"}))
    assert by_name.rate == pytest.approx(state(blown({"count": 2})).rate, rel=1e-6)


def test_a_dead_fan_lets_air_back_through_its_annulus_where_its_size_is_known(blown):
    dead = {"name": "other", "running": False}
    alone, unknown = state(blown()), state(blown({}, dead))
    assert unknown.rate == pytest.approx(alone.rate, rel=1e-5)
    assert "other is dead and its size is not given: what leaks back through it is not counted" in unknown.warnings
    place = {"center": ["1 mm", "29 mm"], "diameter": "40 mm", "hub": "20 mm"}
    leaking = state(blown({}, dead | place))
    assert leaking.rate < alone.rate and not any("dead" in text for text in leaking.warnings)
    # By hand: the fan's flow at the pressure is the system's and what three velocity heads of the annulus let back.
    annulus = math.pi / 4 * (0.04**2 - 0.02**2)
    back = annulus * math.sqrt(2 * leaking.drop / (3 * AIR.density))
    fan = FREE * math.sqrt(1 - leaking.drop / SHUT_OFF)
    assert fan - back == pytest.approx(leaking.rate, rel=2e-4)


def test_thin_air_keeps_the_velocity_and_loses_mass_in_a_system_of_losses(blown):
    # C6.3: 70121.2 Pa at 3000 m (US Standard Atmosphere 1976): density and fan pressure fall by 0.69204, the laminar term does not.
    sea, high = state(blown()), state(blown(flow={"altitude": "3000 m"}))
    thin = 0.69204
    density = high.fluid.density / sea.fluid.density
    assert density == pytest.approx(thin, rel=2e-4)
    # 60 d (1 - (V/V0)^2) = 800 V + V^2 (ENDS d + loss), by hand. The loss is given as it is measured there.
    a, b, c = SHUT_OFF * thin / FREE**2 + ENDS * thin + (3e5 - ENDS), 800.0, -SHUT_OFF * thin
    assert high.rate == pytest.approx((-b + math.sqrt(b * b - 4 * a * c)) / (2 * a), rel=2e-4)
    heat_capacity = high.fluid.heat_capacity / sea.fluid.heat_capacity  # 0.06 % less: a real gas
    assert high.capacity / sea.capacity == pytest.approx(density * heat_capacity * high.rate / sea.rate, rel=1e-9)


def test_a_blocked_inlet_is_a_loss_on_its_front(blown):
    half = state(blown(flow={"blocked": "50 %"}))
    added = blocked_loss(0.5) * AIR.density / 2 / (58e-3 * 25e-3) ** 2
    assert blocked_loss(0.5) == pytest.approx((0.42 * 0.5 + 0.25) / 0.25)
    assert half.drop == pytest.approx(800 * half.rate + (3e5 + added) * half.rate**2, rel=5e-5)
    assert half.rate < state(blown()).rate
    assert blocked_loss(0.0) == 0.0


def test_a_loss_by_coefficient_is_one_by_drop(tmp_path):
    by_drop = {"name": "a", "drop": f"{1.5 * AIR.density / 2 * (0.01 / 20e-4) ** 2:.12g} Pa", "at": "10 l/s"}
    by_head = {"name": "a", "coefficient": 1.5, "area": "20 cm^2"}
    one, other = (state(finned(tmp_path, flow={"loss": [loss]}, chips=())) for loss in (by_drop, by_head))
    assert one.drop - one.bank_drop == pytest.approx(1.5 * AIR.density / 2 * (4.64e-3 / 20e-4) ** 2, rel=1e-4)
    assert other.drop == pytest.approx(one.drop, rel=1e-5)


def test_a_loss_of_nothing_costs_nothing(tmp_path):
    nothing = [{"name": "hole", "coefficient": 0.0, "area": "20 cm^2"}, {"name": "net", "drop": "0 Pa", "at": "1 l/s"}]
    found = state(finned(tmp_path, flow={"loss": nothing}, chips=()))
    assert found.drop == pytest.approx(found.bank_drop, rel=1e-12)


def test_a_fan_that_meets_no_resistance_is_refused_with_both_pressures(blown):
    stack = blown(upto=0.4)
    wide = replace(stack.flows[0], losses=())
    asked = f"{800 * 0.008 + ENDS * 0.008**2:.3g}"  # of 60 (1 - 0.4^2) = 50.4 Pa
    words = f"^air: the operating point lies beyond the fan curve: at its end, .* the fan still gives 50.4 Pa .* asks only {asked}"
    with pytest.raises(Failure, match=words):
        flow_state(stack, wide)


def test_heat_warms_air_by_the_worked_difference(tmp_path):
    # C5.4 (derived independently): 100 W in 0.010 m3/s of 1.184 kg/m3 and 1006 J/kg/K is 8.3956 K; the tool's air differs by 0.1 %.
    stack = finned(tmp_path, flow={"rate": "10 l/s"}, chips=({"power": "100 W"},))
    found = state(stack)
    assert 2 * (found.mean - 298.15) == pytest.approx(8.3956, rel=1e-3)
    assert found.capacity == pytest.approx(100 / 8.3956, rel=1e-3)


def test_air_between_warm_fins_is_faster_than_at_the_inlet_and_carries_the_same_mass(tmp_path):
    cold, warm = (state(finned(tmp_path, chips=({"power": power},))) for power in ("0 W", "80 W"))
    assert warm.rate == cold.rate == pytest.approx(4.64e-3)
    swelling = cold.fluid.density / warm.fluid.density
    assert swelling > 1.02
    assert warm.ways[0].velocity[0] / cold.ways[0].velocity[0] == pytest.approx(swelling, rel=1e-6)
    assert warm.capacity / cold.capacity == pytest.approx(warm.fluid.heat_capacity / cold.fluid.heat_capacity, rel=1e-9)
    assert warm.bank_drop > cold.bank_drop


def test_two_flows_expect_half_the_heat_each_until_they_are_told(tmp_path):
    halves = tuple(
        {"name": name, "at": ["0 mm", f"{y} mm"], "size": ["60 mm", "29 mm"]} for name, y in (("low", 0), ("high", 29))
    )
    flows = tuple({"name": f"{bank['name']} air", "fins": bank["name"], "rate": "2.32 l/s"} for bank in halves)
    one, other = flow_states(finned(tmp_path, halves, flows))
    assert one.mean == pytest.approx(other.mean) == pytest.approx(298.15 + 40 / (2 * one.capacity), abs=0.01)


def test_sounds_add_as_powers():
    class Loud:
        is_running, level, speed, test_speed, count = True, 40.0, 1.0, 1.0, 1

    # Two equal fans are 3.010 dB louder (C5.1); ten times the speed would be 50 dB.
    assert sound_of((Loud(), Loud())) == pytest.approx(43.010, abs=1e-3)
    assert math.isnan(sound_of(()))


def test_a_profile_is_known_where_every_running_fan_has_a_place(blown):
    place = {"center": ["1 mm", "29 mm"], "diameter": "40 mm", "hub": "20 mm"}
    top = {"entry": "top", "side": None}
    assert not has_profile(blown(place).flows[0])  # a side entry takes it from the duct
    assert has_profile(blown(place, flow=top).flows[0])
    assert not has_profile(blown(place, {"name": "other"}, flow=top).flows[0])
    # One hub diameter of plenum evens 1 - 1/e of it out (common practice, no source).
    assert evened_share(blown(place, flow=top | {"plenum": "20 mm"}).flows[0]) == pytest.approx(1 - math.exp(-1))
    assert evened_share(blown(place, flow=top).flows[0]) == 0.0


def test_banks_in_a_row_are_joined_by_mixing_cells(tmp_path):
    banks = (
        {"name": "one", "at": ["0 mm", "0 mm"], "size": ["25 mm", "58 mm"], "tip_gap": "3 mm"},
        {"name": "two", "at": ["30 mm", "10 mm"], "size": ["30 mm", "40 mm"]},
    )
    found = state(finned(tmp_path, banks, {"fins": ["one", "two"]}))
    network, (first, second) = found.network, found.ways
    assert first_cells(found.ways) == [0, len(first.inflow) + 1]
    assert len(network.inflow) == len(first.inflow) + len(second.inflow) + 2
    total = network.inflow.sum()
    mixed = len(first.inflow)
    assert network.capacity[mixed] == pytest.approx(total, rel=1e-12)  # what slipped over the first is in it
    assert network.inflow[mixed] == pytest.approx(first.slipping, rel=1e-6)
    assert network.outflow.sum() == pytest.approx(total, rel=1e-12)
    leaving = np.asarray(network.upstream.sum(axis=0)) + network.outflow
    assert leaving == pytest.approx(network.capacity, rel=1e-9)
    alone = network_of(found.flow, (first,))
    assert alone.slipping == first.slipping and len(alone.inflow) == len(first.inflow)
    # The pressures of both add up.
    one, two = (state(finned(tmp_path, bank | {"name": "fins"}, chips=())).bank_drop for bank in banks)
    both = state(finned(tmp_path, banks, {"fins": ["one", "two"]}, chips=())).bank_drop
    assert both == pytest.approx(one + two, rel=1e-5)
