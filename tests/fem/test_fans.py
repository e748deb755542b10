"""Fans: the laws of speed and density, fans together, and operating points that lie on both curves."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plancha.fem.fans import (
    FAN_LAWS,
    OpenPath,
    at_density,
    at_speed,
    electrical_power,
    fan_flow,
    fan_pressure,
    in_parallel,
    in_series,
    leakage_flow,
    less_leakage,
    operating_point,
    parallel,
    sound_level,
    speed_for_level,
)
from plancha.geometry.fan_curve import FanCurve
from plancha.geometry.faults import Failure

SHUT_OFF, FREE = 60.0, 0.020


def parabola(shut_off=SHUT_OFF, free=FREE, points=401):
    flow = np.linspace(0.0, free, points)
    return FanCurve(flow, shut_off * (1 - (flow / free) ** 2))


def system(flow):
    return 800.0 * flow + 3e5 * flow**2


STALLING = FanCurve(np.array([0.0, 2.0, 4.0, 6.0, 8.0]) * 1e-3, np.array([60.0, 40.0, 50.0, 30.0, 0.0]))

operating_point(parabola(), system)  # loads scipy here, so that no example with a deadline has to

ratios = st.floats(0.3, 3.0)
counts = st.integers(1, 8)


@st.composite
def falling_curves(draw):
    steps = st.lists(st.tuples(st.floats(1e-4, 5e-3), st.floats(0.5, 30.0)), min_size=3, max_size=8)
    flow, pressure = np.cumsum(np.array(draw(steps)), axis=0).T
    return FanCurve(flow - flow[0], pressure[::-1] - pressure[0])


@st.composite
def systems(draw):
    linear, square = draw(st.floats(0, 5e3)), draw(st.floats(1e3, 1e7))
    return lambda flow: linear * flow + square * flow**2


# Expected: closed form of the crossing of two parabolas, derived independently; 1e-5 for 400 cubics in place of the parabola.
@pytest.mark.parametrize(
    ("curve", "flow", "pressure"),
    [
        (parabola(), 0.01069228, 42.8513),
        (in_parallel(parabola(), 2), 0.01220072, 54.418),
        (in_series(parabola(), 2), 0.01349117, 65.396),
        (parallel([parabola(), parabola()]), 0.01220072, 54.418),
    ],
    ids=["one", "two in parallel", "two in series", "two in parallel, as if unlike"],
)
def test_two_parabolas_meet_where_the_closed_form_says(curve, flow, pressure):
    point = operating_point(curve, system)
    assert point.flow == pytest.approx(flow, rel=1e-5)
    assert point.pressure == pytest.approx(pressure, rel=2e-5)
    assert not point.stalled and point.also_at == ()


def test_air_power_is_flow_times_pressure():
    assert operating_point(parabola(), system).air_power == pytest.approx(0.45818, rel=2e-5)  # derived independently


def test_at_four_fifths_of_the_speed_the_flow_falls_to_less_than_four_fifths():
    # The laminar part of the system's pressure breaks its affinity: 0.00839138 m3/s, 0.7848 of full speed; derived independently.
    slow, full = operating_point(at_speed(parabola(), 0.8), system), operating_point(parabola(), system)
    assert slow.flow == pytest.approx(0.00839138, rel=1e-5)
    assert slow.flow / full.flow == pytest.approx(0.7848, abs=5e-5)


def test_a_fifth_more_speed_costs_three_quarters_more_power():
    # x 1.2, x 1.44, x 1.728, +3.959 dB; half speed -15.051 dB, two fans +3.010 dB: derived independently.
    fast = at_speed(parabola(), 1.2)
    assert fast.flow[-1] / FREE == pytest.approx(1.2, rel=1e-12)
    assert fast.pressure[0] / SHUT_OFF == pytest.approx(1.44, rel=1e-12)
    assert electrical_power(3.0, 1.2) / 3.0 == pytest.approx(1.728, rel=1e-12)
    assert sound_level(40.0, 1.2) - 40.0 == pytest.approx(3.959, abs=5e-4)
    assert sound_level(40.0, 0.5) - 40.0 == pytest.approx(-15.051, abs=5e-4)
    assert sound_level(40.0, 1.0, 2) - 40.0 == pytest.approx(3.010, abs=5e-4)


@given(falling_curves(), systems(), ratios)
def test_a_turbulent_system_keeps_its_place_on_the_curve_at_every_speed(curve, _, ratio):
    def square(flow):
        return 1e5 * flow**2

    slow, full = operating_point(at_speed(curve, ratio), square), operating_point(curve, square)
    assert slow.flow == pytest.approx(ratio * full.flow, rel=1e-9)
    assert slow.pressure == pytest.approx(ratio**2 * full.pressure, rel=1e-9)
    assert slow.air_power == pytest.approx(electrical_power(full.air_power, ratio), rel=1e-9)


@given(falling_curves(), st.floats(0.3, 1.5))
def test_thin_air_lowers_the_pressure_and_keeps_the_flow_in_a_turbulent_system(curve, density):
    thin = operating_point(at_density(curve, density), lambda flow: density * 1e5 * flow**2)
    dense = operating_point(curve, lambda flow: 1e5 * flow**2)
    assert thin.flow == pytest.approx(dense.flow, rel=1e-9)
    assert thin.pressure == pytest.approx(density * dense.pressure, rel=1e-9)
    assert thin.air_power == pytest.approx(electrical_power(dense.air_power, 1.0, density), rel=1e-9)


@given(falling_curves(), systems())
def test_the_operating_point_lies_on_both_curves(curve, asked):
    point = operating_point(curve, asked)
    assert point.pressure == pytest.approx(fan_pressure(curve, point.flow), rel=1e-12)
    assert point.pressure == pytest.approx(asked(point.flow), rel=1e-9, abs=1e-9 * curve.pressure[0])
    assert 0 < point.flow <= curve.flow[-1] and not point.stalled


@given(falling_curves(), counts, st.floats(0, 1))
def test_n_fans_side_by_side_give_the_pressure_of_one_at_n_times_its_flow(curve, count, share):
    flow = share * curve.flow[-1]
    several = in_parallel(curve, count)
    pressure = fan_pressure(several, min(count * flow, several.flow[-1]))
    assert pressure == pytest.approx(fan_pressure(curve, flow), rel=1e-9, abs=1e-9 * curve.pressure[0])


@given(falling_curves(), counts, st.floats(0, 1))
def test_n_fans_in_a_row_give_n_times_the_pressure_of_one(curve, count, share):
    flow = share * curve.flow[-1]
    assert fan_pressure(in_series(curve, count), flow) == pytest.approx(
        count * fan_pressure(curve, flow), rel=1e-9, abs=1e-12
    )


@given(falling_curves(), counts, ratios)
def test_speed_and_number_of_fans_may_be_applied_in_either_order(curve, count, ratio):
    one, other = at_speed(in_parallel(curve, count), ratio), in_parallel(at_speed(curve, ratio), count)
    assert one.flow == pytest.approx(other.flow, rel=1e-12) and one.pressure == pytest.approx(other.pressure, rel=1e-12)
    back = at_speed(at_speed(curve, ratio), 1 / ratio)
    assert back.flow == pytest.approx(curve.flow, rel=1e-12) and back.pressure == pytest.approx(
        curve.pressure, rel=1e-12
    )


@settings(max_examples=50, deadline=None)  # hundreds of points each
@given(falling_curves(), falling_curves(), st.floats(0, 1))
def test_flows_of_unlike_fans_add_at_equal_pressure(one, other, share):
    both = parallel([one, other])
    pressure = share * both.pressure[0]
    added = sum(fan_flow(curve, pressure) if pressure < curve.pressure[0] else 0.0 for curve in (one, other))
    # Cubics between some 400 points; the sum has a kink at the weaker fan's shut-off pressure.
    assert fan_flow(both, pressure) == pytest.approx(added, rel=2e-3, abs=5e-3 * both.flow[-1])
    assert both.flow[-1] == pytest.approx(one.flow[-1] + other.flow[-1], rel=1e-12)
    assert both.pressure[0] == max(one.pressure[0], other.pressure[0])


@settings(max_examples=50, deadline=None)  # hundreds of points each
@given(falling_curves(), falling_curves(), systems())
def test_a_second_fan_never_lessens_the_flow_where_nothing_leaks(one, other, asked):
    alone, both = operating_point(one, asked), operating_point(parallel([one, other]), asked)
    assert both.flow >= alone.flow * (1 - 5e-3)  # as above


@given(falling_curves(), st.floats(0, 1))
def test_flow_and_pressure_are_inverse_on_the_falling_part(curve, share):
    flow = share * curve.flow[-1]
    pressure = fan_pressure(curve, flow)
    assert fan_pressure(curve, fan_flow(curve, pressure)) == pytest.approx(
        pressure, rel=1e-9, abs=1e-9 * curve.pressure[0]
    )


@given(falling_curves(), st.floats(0.01, 0.99))
def test_between_its_points_the_curve_does_not_overshoot(curve, share):
    flows = curve.flow[:-1] + share * np.diff(curve.flow)
    pressures = fan_pressure(curve, flows)
    assert (pressures <= curve.pressure[:-1]).all() and (pressures >= curve.pressure[1:]).all()


def test_a_system_that_asks_more_than_the_fan_gives_is_refused_with_both_pressures():
    with pytest.raises(Failure) as caught:
        operating_point(parabola(), lambda flow: 75.0 + system(flow))
    assert str(caught.value) == (
        "the fan cannot drive the system: at shut-off it gives 60 Pa, where the system asks 75 Pa, and more at all other flows"
    )


def test_a_crossing_beyond_the_end_of_the_curve_is_refused_with_what_is_known():
    flow = np.linspace(0.0, FREE / 2, 21)
    cut = FanCurve(flow, SHUT_OFF * (1 - (flow / FREE) ** 2))
    with pytest.raises(Failure) as caught:
        operating_point(cut, system)
    assert str(caught.value) == (
        "the operating point lies beyond the fan curve: at its end, 21.189 CFM, the fan still gives 45 Pa and the system asks only "
        "38 Pa; the curve must reach further towards free delivery"
    )


def test_a_system_without_a_number_is_refused():
    with pytest.raises(Failure, match="the pressure drop of the system at 0 CFM is nan"):
        operating_point(parabola(), lambda flow: math.nan)


def test_an_open_system_lets_the_fan_deliver_freely():
    assert operating_point(parabola(), lambda flow: 0.0).flow == FREE


def test_left_of_the_last_maximum_the_fan_is_stalled():
    steep, gentle = (
        operating_point(STALLING, lambda flow: 5e7 * flow**2),
        operating_point(STALLING, lambda flow: 5e5 * flow**2),
    )
    assert steep.stalled and steep.flow < 4e-3
    assert not gentle.stalled and gentle.flow > 4e-3


def test_of_several_crossings_the_first_from_rest_is_taken_and_the_others_told():
    # Level at 45 Pa, by hand: the fan falls through it before its dip (2 ms m3/s), and again between 4 and 6 L/s.
    point = operating_point(STALLING, lambda flow: 45.0)
    assert point.stalled and 0 < point.flow < 2e-3
    (further,) = point.also_at
    assert 4e-3 < further < 6e-3
    assert fan_pressure(STALLING, further) == pytest.approx(45.0, rel=1e-9)


def test_a_stalling_fan_joins_others_on_its_falling_part_alone():
    both = parallel([STALLING, parabola()])
    assert both.pressure[0] == 50.0 and both.stall_flow is None
    assert both.flow[0] == pytest.approx(
        4e-3 + FREE * math.sqrt(1 - 50 / 60), rel=1e-5
    )  # the parabola inverted by hand


def test_fans_without_a_common_pressure_are_refused():
    strong = FanCurve(np.array([0.0, 1.0, 2.0]), np.array([90.0, 80.0, 70.0]))
    with pytest.raises(
        Failure, match="no pressure in common: one gives at least 70 Pa, another is known only to 50 Pa"
    ):
        parallel([strong, STALLING])


def test_an_open_path_leaks_by_the_square_root_of_the_pressure():
    # p = loss * rho v^2 / 2 by hand: 60 Pa, 1.2 kg/m3, loss 4 -> v = 5 m/s.
    path = OpenPath(area=0.002, loss_coefficient=4.0)
    assert leakage_flow(path, 60.0, 1.2) == pytest.approx(0.010, rel=1e-12)
    assert leakage_flow(path, 15.0, 1.2) == pytest.approx(0.005, rel=1e-12)


@settings(max_examples=50, deadline=None)  # hundreds of points each
@given(falling_curves(), st.floats(1e-6, 1e-3), st.floats(0.5, 20), systems())
def test_what_runs_back_and_what_reaches_the_system_make_up_the_fans_flow(curve, area, loss, asked):
    path = OpenPath(area, loss)
    seen = less_leakage(curve, path, 1.2)
    at_points = fan_flow(curve, seen.pressure) - leakage_flow(path, seen.pressure, 1.2)
    assert seen.flow == pytest.approx(at_points, abs=1e-6 * curve.flow[-1])
    assert seen.flow[0] == pytest.approx(0.0, abs=1e-9 * curve.flow[-1])
    # 1e-5: the cubics run through other points than before, which shows where next to nothing leaks.
    assert operating_point(seen, asked).flow < operating_point(curve, asked).flow * (1 + 1e-5)


def test_a_dead_fan_costs_more_than_its_share():
    # Two fans, one dead: the flow is less than one fan's alone through a closed wall, and a blocked path gives exactly that.
    alone = operating_point(parabola(), system).flow
    leaking = operating_point(less_leakage(parabola(), OpenPath(2e-3, 8.0), 1.184), system).flow
    blocked = operating_point(less_leakage(parabola(), OpenPath(0.0, 8.0), 1.184), system).flow
    assert leaking < 0.95 * alone
    assert blocked == pytest.approx(alone, rel=1e-5)  # cubics through other points


def test_the_leak_and_the_system_balance_the_fan_by_another_path():
    # The pressure at which the three flows balance, found by bisection on the pressure with the closed forms alone.
    area, loss, density = 2e-3, 8.0, 1.184
    low, high = 0.0, SHUT_OFF
    for _ in range(100):
        pressure = 0.5 * (low + high)
        given_flow = FREE * math.sqrt(1 - pressure / SHUT_OFF)
        through = (-800 + math.sqrt(800**2 + 4 * 3e5 * pressure)) / (2 * 3e5)
        back = area * math.sqrt(2 * pressure / (density * loss))
        low, high = (pressure, high) if given_flow > through + back else (low, pressure)
    point = operating_point(less_leakage(parabola(), OpenPath(area, loss), density), system)
    assert point.flow == pytest.approx(through, rel=1e-5)
    assert point.pressure == pytest.approx(pressure, rel=1e-5)


def test_a_path_that_swallows_all_of_the_flow_is_refused():
    strong = FanCurve(np.array([0.0, 1.0, 2.0]) * 1e-2, np.array([90.0, 80.0, 70.0]))
    with pytest.raises(Failure, match=r"all of 42\.378 CFM runs back through the open path of 100000 mm\^2"):
        less_leakage(strong, OpenPath(0.1, 1.0), 1.2)


@given(st.floats(20, 60), st.floats(20, 60), counts)
def test_at_the_speed_for_a_level_that_level_is_heard(level, limit, count):
    assert sound_level(level, speed_for_level(level, limit, count), count) == pytest.approx(limit, abs=1e-9)


@pytest.mark.parametrize("ratio", [0.0, -1.0, math.nan, math.inf])
def test_ratios_that_are_none_are_refused(ratio):
    for law in (
        lambda: at_speed(parabola(), ratio),
        lambda: at_density(parabola(), ratio),
        lambda: sound_level(40.0, ratio),
    ):
        with pytest.raises(ValueError, match="is above 0 and finite"):
            law()


@pytest.mark.parametrize("count", [0, -1, 1.5])
def test_a_number_of_fans_is_whole_and_positive(count):
    for law in (in_parallel, in_series):
        with pytest.raises(ValueError, match="whole number from 1"):
            law(parabola(), count)


def test_beyond_the_curve_no_pressure_is_made_up():
    with pytest.raises(ValueError, match=r"50 CFM lies outside the fan curve, 0 CFM to 42\.378 CFM"):
        fan_pressure(parabola(), [0.01, 0.0235973722])  # 50 CFM


def test_every_law_tells_where_it_comes_from():
    assert all("from memory" in text or "no source" in text for text in FAN_LAWS.values())
