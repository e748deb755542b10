"""Plates cooled by air that warms up, beside worked numbers and exact solutions: lanes, banks in a row, top, through, a dead hub."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from finned_array import at_inlet, finned, quick
from scipy.integrate import solve_bvp

from plancha.fem.components import component_states, probe_readings
from plancha.fem.findings import solve_stack, solve_with_estimate
from plancha.fem.lanes import COLUMNS, LEVELS
from plancha.geometry.bodies import Held
from plancha.geometry.fluids import fluid_law
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

AIR = fluid_law("air").at(298.15, 101325.0)
CAPACITY = 5.52672  # W/K, of C4.7
RATE = {"rate": f"{CAPACITY / (AIR.density * AIR.heat_capacity) * 1e3:.12g} l/s", "coefficient": "69.4978 W/m^2/K"}
FILM = {"described_as": "film"}
HELD = {"cooling": [{"name": "held", "face": "component side", "held": "45 degC"}]}  # 20 K above the inlet
THIN = {"material": {"conductivity": "2000 W/m/K"}, "thickness": "0.05 mm"}


def conductance(stack) -> float:
    """Heat per kelvin between a plate that is held at 45 degC and air of 25 degC [W/K]."""
    solution = quick(at_inlet(stack))
    return sum(stream.heat(solution.temperature) for stream in solution.sheets.streams) / 20.0


def test_the_worked_array_has_its_conductance_as_a_film_and_nearly_as_a_block(tmp_path):
    # C4.7 (derived independently): NTU = 0.852529, G = C (1 - exp(-NTU)) = 3.17049 W/K, 0.315409 K/W.
    film = conductance(finned(tmp_path, FILM, RATE, THIN, (), **HELD))
    assert film == pytest.approx(3.17049, rel=1e-4)  # a plate of 0.05 mm is left between
    assert 1 / film == pytest.approx(0.315409, rel=1e-4)
    # The air of a lane is one temperature over the height, and the fins' upper parts even it out along: a little less.
    block = conductance(finned(tmp_path, (), RATE, THIN, (), **HELD))
    assert 0.990 < block / film < 1.0


def test_inlet_based_and_local_coefficients_must_not_be_mixed(tmp_path):
    # C4.7: 904.82 W/m2/K on 58.4 x 60 mm with the inlet's temperature, or 1344.7 with the local one. The second with a fixed coolant
    # would promise a third less.
    even = {
        "name": "chip",
        "at": ["0 mm", "0 mm"],
        "size": ["60 mm", "58.4 mm"],
        "limit": "none",
        "power": "50 W",
        "layers": [],
    }
    plate = {
        "size": ["60 mm", "58.4 mm"],
        "model": "sheet",
        "material": {"conductivity": "1e5 W/m/K"},
        "thickness": "10 mm",
    }

    def resistance(film: float) -> float:
        cooling = [{"coefficient": f"{film} W/m^2/K"}]
        table = {"title": "invented", "ambient": "25 degC", "plate": [plate], "component": [even], "cooling": cooling}
        solution = quick(stack_of(Study.model_validate(table), tmp_path))
        return (component_states(solution)[0].mean - 298.15) / 50

    with_lanes = finned(tmp_path, FILM, RATE, plate | {"size": ["60 mm", "58 mm"]}, ({"power": "50 W"},))
    lanes = (component_states(quick(at_inlet(with_lanes)))[0].mean - 298.15) / 50
    assert resistance(904.82) == pytest.approx(0.315409, rel=1e-5)
    assert lanes == pytest.approx(0.315409, rel=2e-3)  # the plate conducts 1e5 W/m/K, not all there is
    assert resistance(1344.7) / lanes < 0.68


@pytest.mark.parametrize("described", [{}, FILM], ids=["block", "film"])
def test_air_from_above_is_a_stirred_vessel(tmp_path, described):
    # Effectiveness NTU/(1 + NTU) (C4.11, derived independently) at the NTU of C4.7.
    top = conductance(finned(tmp_path, described, RATE | {"entry": "top", "side": None}, THIN, (), **HELD))
    units = 0.852529
    assert top == pytest.approx(CAPACITY * units / (1 + units), rel=3e-4)


def test_banks_in_a_row_pass_on_their_mixed_air(tmp_path):
    # By hand: each bank warms its share of the flow by 1 - exp(-N), N = h A eta_o/(share C); what slipped over mixes in behind.
    banks = tuple(
        FILM | {"name": name, "at": [f"{x} mm", f"{y} mm"], "size": [f"{length} mm", f"{width} mm"], "tip_gap": gap}
        for name, x, y, length, width, gap in (("one", 0, 0, 25, 58, "3 mm"), ("two", 30, 10, 30, 40, "2 mm"))
    )
    solution = quick(at_inlet(finned(tmp_path, banks, RATE | {"fins": ["one", "two"]}, THIN, (), **HELD)))
    cold, per_area = 1.0, 4.71169 / (0.058 * 0.060)  # of the plate's 20 K; C4.7 per area of 29 pitches
    for way, area in zip(solution.sheets.states[0].ways, (25e-3 * 58e-3, 30e-3 * 40e-3)):
        assert 0.5 < way.share < 0.99
        cold *= 1 - way.share * -np.expm1(-per_area * area / (way.share * CAPACITY))
    outlet = solution.sheets.streams[0].outlet(solution.temperature)
    assert (outlet - 298.15) / 20 == pytest.approx(1 - cold, rel=2e-4)


def through_flow_column(side: str, conductivity: float, film: float, capacity: float, height: float) -> float:
    """Outlet rise [K] of a column of fin held at 20 K, its tip insulated, and of coolant (per area of the plan), by scipy's solver:

    s k T'' = a h (T - c), C c' = +- a h (T - c), s = 0.2 the share of fins, a = 1000 1/m their flanks.
    """
    share, flanks = 0.2, 1000.0
    sign = 1.0 if side == "base" else -1.0

    def slopes(z, y):
        given = flanks * film * (y[0] - y[2])
        return np.array([y[1], given / (share * conductivity), sign * given / capacity])

    def ends(low, high):
        return np.array([low[0] - 20, high[1], low[2] if side == "base" else high[2]])

    start = np.array([[20.0], [0.0], [10.0]]) * np.ones((3, 101))
    found = solve_bvp(slopes, ends, np.linspace(0, height, 101), start, tol=1e-9, max_nodes=100_000)
    assert found.success
    return float(found.y[2, -1] if side == "base" else found.y[2, 0])


@pytest.mark.parametrize("side", ["tips", "base"])
def test_coolant_through_fins_meets_the_exact_column(tmp_path, side):
    """Fins of 5 W/m/K beyond a plate, their feet held: far from the plate every column is on its own."""
    fins = {
        "at": ["0 mm", "0 mm"],
        "size": ["160 mm", "20 mm"],
        "height": "15 mm",
        "material": {"conductivity": "5 W/m/K"},
    }
    flow = {"entry": "through", "side": side, "rate": "1 l/s", "coefficient": "60 W/m^2/K"}
    stack = at_inlet(finned(tmp_path, fins, flow, {"size": ["20 mm", "20 mm"]}, (), **HELD))
    feet = Held("feet", 1, 0, 318.15, shapely.box(0.020, 0, 0.160, 0.020))
    solution = solve_stack(replace(stack, helds=(*stack.helds, feet), mesh_size=5e-3))
    (stream,), (state,) = solution.sheets.streams, solution.sheets.states
    exact = through_flow_column(side, 5.0, 60.0, state.capacity / (0.140 * 0.020), 15e-3)
    rise = solution.temperature[stream.unknowns].reshape(COLUMNS, COLUMNS, LEVELS) - 298.15
    leaving = rise[-3:, :, 0 if side == "tips" else -1]
    # Eight levels with the exponential between walls of one temperature; the fin falls by a factor of 7 over its height.
    assert leaving == pytest.approx(np.full(leaving.shape, exact), rel=5e-3)
    assert np.ptp(leaving) < 1e-4


def test_an_annulus_of_cooling_leaves_the_hub_hot(tmp_path):
    # C5.7 (derived independently): disc of 50 mm radius, 3 mm, 390 W/m/K, 100 W on 10 mm radius, h = 1500 from 20 to 45 mm only:
    # centre 34.3005, source mean 30.8997, at 20 mm 18.0701, rim 11.5084 K; the same h A spread evenly (975): centre 30.1165.
    edges = np.linspace(-50.0, 50.0, 201)
    middle = (edges[1:] + edges[:-1]) / 2
    radius = np.hypot(middle[None, :], middle[:, None])
    rows = np.where((radius > 20) & (radius < 45), 1500.0, 0.0)
    (tmp_path / "hub.csv").write_text("\n".join(", ".join(f"{h:g}" for h in row) for row in rows))
    disc = {"center": ["50 mm", "50 mm"]}
    table = {
        "title": "a disc cooled on an annulus (invented)",
        "ambient": "25 degC",
        "accuracy": "0.2 %",
        "plate": [
            disc
            | {
                "diameter": "100 mm",
                "thickness": "3 mm",
                "material": {"conductivity": "390 W/m/K"},
                "model": "sheet",
            }
        ],
        "component": [disc | {"name": "source", "diameter": "20 mm", "limit": "none", "power": "100 W", "layers": []}],
        "probe": [
            {"name": "hub", "at": ["70 mm", "50 mm"]},
            {"name": "rim", "at": ["99.9 mm", "50 mm"]},
        ],
    }

    def solved(**cooling):
        stack = stack_of(Study.model_validate(table | {"cooling": [cooling]}), tmp_path)
        return solve_with_estimate(stack).solution

    solution = solved(map={"file": "hub.csv"})
    (state,) = component_states(solution)
    hub, rim = (probe.temperature - 298.15 for probe in probe_readings(solution))
    # The map has cells of 0.5 mm; circles are polygons.
    assert state.peak.value - 298.15 == pytest.approx(34.3005, rel=2e-3)
    assert state.mean - 298.15 == pytest.approx(30.8997, rel=2e-3)
    assert (hub, rim) == (pytest.approx(18.0701, rel=3e-3), pytest.approx(11.5084, rel=3e-3))
    (even,) = component_states(solved(coefficient="975 W/m^2/K"))
    assert even.peak.value - 298.15 == pytest.approx(30.1165, rel=2e-3)


def test_two_chips_in_a_row_heat_the_air_for_each_other(tmp_path):
    # The second stands in air that the first's heat has warmed: by its watts over C in the lanes they share, spread by the plate.
    chips = tuple(
        {"name": name, "at": [f"{x} mm", "24 mm"], "size": ["10 mm", "10 mm"]} for name, x in (("up", 8), ("down", 42))
    )
    flow = {"rate": "2 l/s", "coefficient": "60 W/m^2/K"}
    up, down = component_states(solve_stack(finned(tmp_path, (), flow, {}, chips)))
    assert down.peak.value > up.peak.value + 1.0
    turned = flow | {"side": "right"}
    other = component_states(solve_stack(finned(tmp_path, (), turned, {}, chips)))
    assert [each.peak.value for each in other] == pytest.approx([down.peak.value, up.peak.value], abs=0.02)
