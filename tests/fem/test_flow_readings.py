"""What is said about each flow, and both limits of a fan's profile."""

import math

import numpy as np
import pytest
from finned_array import finned, quick

from plancha.fem.components import component_states
from plancha.fem.flow_readings import flow_readings, profile_limits

FIXED = {"coefficient": "69.4978 W/m^2/K"}
CURVE = "flow [m^3/h], static pressure [Pa]\n0, 160\n20, 140\n40, 110\n60, 70\n80, 0\n"
FAN = {
    "curve": "fan.csv",
    "test_density": "1.2 kg/m^3",
    "test_speed": "4000 rpm",
    "center": ["30 mm", "29 mm"],
    "diameter": "50 mm",
    "hub": "24 mm",
    "level": "40 dB(A)",
}


def blown(tmp_path, plenum="0 mm", fan=(), **more):
    (tmp_path / "fan.csv").write_text(CURVE)
    flow = {"entry": "top", "side": None, "rate": None, "fans": ["fan"], "plenum": plenum}
    chip = {"at": ["24 mm", "24 mm"], "size": ["12 mm", "10 mm"]}
    return finned(tmp_path, {}, flow, {}, (chip,), fan=[FAN | dict(fan)], **more)


def test_a_flow_reads_what_it_carries_and_takes(tmp_path):
    solution = quick(finned(tmp_path, {}, FIXED))
    (reading,) = flow_readings(solution)
    state = reading.state
    assert reading.heat == pytest.approx(80.0, rel=1e-9)
    assert reading.outlet - 298.15 == pytest.approx(80.0 / state.capacity, rel=1e-9)
    assert reading.mass * state.fluid.heat_capacity == pytest.approx(state.capacity)
    assert reading.mass == pytest.approx(4.64e-3 * 1.1843, rel=1e-3)
    assert reading.outlet < reading.hottest  # the chip's own lanes are warmer than all lanes mixed
    assert (reading.coefficient.least, reading.coefficient.most) == (69.4978, 69.4978)
    assert reading.efficiency.mean == pytest.approx(0.747268, rel=1e-5)  # C4.7
    assert reading.share == 1.0
    assert reading.neglected.startswith("lanes do not mix")


def test_spans_run_from_the_least_to_the_largest_where_heat_is_taken(tmp_path):
    (reading,) = flow_readings(quick(finned(tmp_path)))
    h = reading.coefficient
    assert h.least < h.mean < h.most
    assert reading.velocity.least == pytest.approx(reading.velocity.most)
    # C4.7 has 69.4978 over the length in air of 25 degC; warmed to 32 degC it conducts 2 % better.
    assert h.mean == pytest.approx(69.5, rel=0.025)


def test_what_slips_by_lowers_the_share_and_the_outlet_s_span(tmp_path):
    one, other = (flow_readings(quick(finned(tmp_path, {"tip_gap": gap}, FIXED)))[0] for gap in ("0 mm", "3 mm"))
    assert other.share < 0.95 < one.share
    assert other.hottest > one.hottest and other.outlet == pytest.approx(one.outlet, abs=0.2)


def test_several_banks_are_read_as_one_flow(tmp_path):
    banks = (
        {"name": "one", "at": ["0 mm", "0 mm"], "size": ["25 mm", "58 mm"]},
        {"name": "two", "at": ["30 mm", "10 mm"], "size": ["30 mm", "40 mm"]},
    )
    (reading,) = flow_readings(quick(finned(tmp_path, banks, FIXED | {"fins": ["one", "two"]})))
    assert reading.heat == pytest.approx(80.0, rel=1e-9)
    assert reading.velocity.most / reading.velocity.least == pytest.approx(58 / 40, rel=0.01)


def test_the_fan_s_limits_enclose_what_the_plenum_makes_of_it(tmp_path):
    for plenum, share in (("0 mm", 0.0), ("12 mm", 1 - math.exp(-0.5)), ("1 m", 1.0)):
        solution = quick(blown(tmp_path, plenum))
        (limits,) = profile_limits(solution)
        (peak,) = (state.peak.value for state in component_states(solution))
        (rigid,), (evened,) = limits.rigid, limits.evened
        assert limits.flow == "air" and limits.share == pytest.approx(share, abs=1e-6)
        assert min(rigid, evened) - 1e-6 <= peak <= max(rigid, evened) + 1e-6
        if share == 0.0:
            assert peak == pytest.approx(rigid, abs=1e-9)
        if share == 1.0:
            assert peak == pytest.approx(evened, abs=1e-6)


def test_a_hub_over_the_chip_makes_the_rigid_limit_the_hotter_one(tmp_path):
    (limits,) = profile_limits(quick(blown(tmp_path)))
    assert limits.rigid[0] > limits.evened[0] + 0.1


def test_flows_without_a_known_profile_have_no_limits(tmp_path):
    assert profile_limits(quick(finned(tmp_path))) == []


def test_a_measured_profile_is_a_limit_of_its_own(tmp_path):
    (tmp_path / "speeds.csv").write_text("4, 4, 1, 1\n4, 4, 1, 1\n")
    flow = {"entry": "top", "side": None, "profile": {"file": "speeds.csv"}}
    left, right = (
        {"name": n, "at": [f"{x} mm", "24 mm"], "size": ["10 mm", "10 mm"], "power": "20 W"}
        for n, x in (("a", 5), ("b", 45))
    )
    solution = quick(finned(tmp_path, {}, flow, {}, (left, right)))
    (limits,) = profile_limits(solution)
    assert limits.share == 0.0
    way = solution.sheets.states[0].ways[0]
    fast, slow = (way.inflow[way.grid.at(np.array(point))] for point in ([10e-3, 29e-3], [50e-3, 29e-3]))
    assert fast / slow == pytest.approx(4.0, rel=1e-9)
