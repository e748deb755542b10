"""Fan curves: tables are read as they stand, a stall is kept and marked, and what is no fan's curve is told at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from plancha.geometry.fan_curve import FanCurve, read_fan_curve
from plancha.geometry.faults import StudyError

CFM = constants.foot**3 / constants.minute


@pytest.fixture
def file(tmp_path):
    def written(text: str, coding: str = "utf-8"):
        (tmp_path / "fan.csv").write_bytes(text.encode(coding))
        return tmp_path / "fan.csv"

    return written


def faults_of(path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_fan_curve(path, shown_as="fan.csv")
    return [str(fault) for fault in caught.value.faults]


def test_cfm_and_pascal_become_si(file):
    curve = read_fan_curve(file("# invented\nflow [CFM], static pressure [Pa]\n0, 60\n20, 40\n40, 0\n"))
    assert curve.flow == pytest.approx([0, 20 * CFM, 40 * CFM], rel=1e-14)
    assert curve.pressure.tolist() == [60, 40, 0]
    assert curve.stall_flow is None


@pytest.mark.parametrize(
    ("heads", "flow", "pressure"),
    [
        ("Static_Pressure (mmH2O); Flow (m^3/h)", 1 / constants.hour, constants.g),
        ("pressure [inH2O]; air flow [L/s]", constants.liter, constants.inch * 1000 * constants.g),
        ("static pressure [mbar]; volume flow [L/min]", constants.liter / constants.minute, 100.0),
    ],
)
def test_heads_stand_in_any_order_and_in_the_units_of_the_trade(file, heads, flow, pressure):
    curve = read_fan_curve(file(f"{heads}\n0,5;30\n3,5;20\n5,5;10,5\n"))
    assert curve.flow == pytest.approx(np.array([10.5, 20, 30]) * flow, rel=1e-14)
    assert curve.pressure == pytest.approx(np.array([5.5, 3.5, 0.5]) * pressure, rel=1e-14)


def test_points_may_come_in_any_order(file):
    rows = ["0, 60", "10, 55", "20, 40", "40, 0"]
    forward = read_fan_curve(file("flow [CFM], static pressure [Pa]\n" + "\n".join(rows)))
    backward = read_fan_curve(file("flow [CFM], static pressure [Pa]\n" + "\n".join(rows[::-1])))
    assert forward.flow.tolist() == backward.flow.tolist() and forward.pressure.tolist() == backward.pressure.tolist()


def test_a_dip_is_kept_and_its_last_maximum_is_the_stall_flow(file):
    curve = read_fan_curve(file("flow [m^3/s], static pressure [Pa]\n0, 100\n1, 60\n2, 70\n3, 40\n4, 0\n"))
    assert curve.pressure.tolist() == [100, 60, 70, 40, 0]
    assert curve.stall_flow == 2.0


def test_a_level_stretch_counts_as_stalled_up_to_its_end():
    assert FanCurve(np.arange(5.0), np.array([60.0, 50.0, 50.0, 30.0, 0.0])).stall_flow == 2.0


def test_every_fault_of_the_points_is_told_with_its_row_and_column(file):
    text = "flow [CFM], static pressure [Pa]\n0, sixty\n-1, 50\n10, -3\n20, 30\n20, 25\n30\n40,\n"
    assert faults_of(file(text)) == [
        'fan.csv, line 2, row 1, column "static pressure [Pa]": this is not a number (found: sixty); allowed: a number, 0 or more',
        'fan.csv, line 3, row 2, column "flow [CFM]": the number is negative (found: -1); allowed: a number, 0 or more',
        'fan.csv, line 4, row 3, column "static pressure [Pa]": the number is negative (found: -3); allowed: a number, 0 or more',
        'fan.csv, line 6, row 5, column "flow [CFM]": row 4 has this flow already (found: 20); allowed: each flow once; '
        "hint: keep one pressure at each flow",
        "fan.csv, line 7, row 6: wrong number of cells (found: 1); allowed: 2 cells, as many as heads",
        'fan.csv, line 8, row 7, column "static pressure [Pa]": the cell is empty; allowed: a number, 0 or more',
    ]


def test_too_few_points_are_told_together_with_other_faults(file):
    assert faults_of(file("flow [CFM], static pressure [Pa]\n0, 60\n20, x\n")) == [
        "fan.csv: the curve has too few points (found: 2); allowed: 3 or more; hint: take more points from the fan's curve, from "
        "shut-off to free delivery",
        'fan.csv, line 3, row 2, column "static pressure [Pa]": this is not a number (found: x); allowed: a number, 0 or more',
    ]


def test_faults_of_the_heads_are_told_together(file):
    assert faults_of(file("flow, total pressure [Pa], power [W]\n0, 60, 1\n")) == [
        'fan.csv, line 1, column "flow": the head has no unit; allowed: a unit in brackets, as in "flow [CFM]"',
        'fan.csv, line 1, column "total pressure [Pa]": unknown column; allowed: flow and static pressure, with units, as in '
        "flow [CFM], static pressure [Pa]; hint: static pressure is due",
        'fan.csv, line 1, column "power [W]": unknown column; allowed: flow and static pressure, with units, as in '
        "flow [CFM], static pressure [Pa]",
        "fan.csv, line 1, heads: there is no column static pressure; allowed: flow and static pressure, with units, as in "
        "flow [CFM], static pressure [Pa]",
    ]


def test_a_unit_of_another_dimension_and_a_column_twice_are_told(file):
    told = faults_of(file("flow [Pa], static pressure [Pa], pressure [kPa]\n0, 60, 1\n"))
    assert len(told) == 2
    assert '"1 Pa" is a pressure, a volume flow is due' in told[0]
    assert '"static pressure [Pa]" and "pressure [kPa]" say the same; hint: keep one of them' in told[1]


@pytest.mark.parametrize("pressures", [(0, 20, 60), (50, 50, 50), (60, 0, 10), (60, 20, 20)], ids=str)
def test_a_curve_that_does_not_fall_to_free_delivery_is_refused(file, pressures):
    rows = "\n".join(f"{flow}, {pressure}" for flow, pressure in zip((0, 20, 40), pressures))
    (told,) = faults_of(file("flow [CFM], static pressure [Pa]\n" + rows))
    assert told == (
        f"fan.csv, line 4, row 3: the curve does not fall to free delivery (found: {pressures[-1]} Pa at 40 CFM); allowed: pressure "
        "that falls to free delivery, the point of greatest flow being the lowest of all; "
        "hint: are the columns exchanged, or is this the curve of a system?"
    )
    with pytest.raises(ValueError, match="falls to free delivery"):
        FanCurve(np.array([0.0, 20.0, 40.0]), np.array(pressures, dtype=float))


@pytest.mark.parametrize(
    ("flow", "pressure"),
    [([0, 1], [2, 1]), ([0, 1, 1], [3, 2, 1]), ([-1, 0, 1], [3, 2, 1]), ([0, 1, 2], [3, 2, -1]), ([0, 1, 2], [3, 2, np.nan]),
     ([0, 1, np.inf], [3, 2, 1]), ([0, 1, 2], [4, 3, 2, 1])],
)  # fmt: skip
def test_a_programmer_cannot_make_what_is_no_curve(flow, pressure):
    with pytest.raises(ValueError):
        FanCurve(np.array(flow, dtype=float), np.array(pressure, dtype=float))


def test_a_curve_cannot_be_changed_from_outside():
    flow = np.array([0.0, 1.0, 2.0])
    curve = FanCurve(flow, np.array([3.0, 2.0, 1.0]))
    flow[0] = 0.5
    assert curve.flow[0] == 0.0
    with pytest.raises(ValueError):
        curve.flow[0] = 1.0


@given(st.lists(st.floats(0, 1e4), min_size=3, max_size=12))
def test_right_of_the_stall_every_curve_falls_strictly(pressures):
    flow = np.arange(len(pressures), dtype=float)
    try:
        curve = FanCurve(flow, np.array(pressures))
    except ValueError:
        assert pressures[-1] >= min(pressures[:-1])
        return
    assert (np.diff(curve.pressure[curve.falling_from :]) < 0).all()
    left = curve.pressure[: curve.falling_from + 1]
    assert left.size == 1 or left[-1] >= left[-2]


@given(st.text(alphabet='flow [CFM],;static pressure [Pa]\n0123456789.-e\t"', max_size=120))
def test_no_text_whatever_does_more_than_give_a_curve_or_faults(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("fan") / "fan.csv"
    path.write_text("flow [CFM], static pressure [Pa]\n" + text)
    try:
        assert read_fan_curve(path).flow.size >= 3
    except StudyError as error:
        assert error.faults
