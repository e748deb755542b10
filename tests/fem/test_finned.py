"""What flows did to a solution: heat and air of each bank, the bank as a plain film, and properties that follow the heat."""

from dataclasses import replace

import numpy as np
import pytest
from finned_array import at_inlet, finned, quick

from plancha.fem.findings import findings_of, solve_with_estimate
from plancha.fem.finned import (
    as_film,
    bank_conductance,
    bank_coolant,
    bank_heat,
    cell_areas,
    cell_efficiency,
    fin_bodies,
    place_of_bank,
    settled_flows,
    without_flows,
)

FIXED = {"coefficient": "69.4978 W/m^2/K"}
BANKS = (
    {"name": "one", "at": ["0 mm", "0 mm"], "size": ["25 mm", "58 mm"]},
    {"name": "two", "at": ["30 mm", "10 mm"], "size": ["30 mm", "40 mm"]},
)
EVEN = {"at": ["0 mm", "0 mm"], "size": ["60 mm", "58 mm"]}


def test_banks_share_the_heat_and_the_second_meets_warmer_air(tmp_path):
    solution = quick(finned(tmp_path, BANKS, FIXED | {"fins": ["one", "two"]}))
    heats = [bank_heat(solution, number) for number in (0, 1)]
    assert sum(heats) == pytest.approx(80.0, rel=1e-9)
    first, second = (bank_coolant(solution, number) for number in (0, 1))
    (state,) = solution.sheets.states
    behind_first = 298.15 + heats[0] / state.capacity
    assert 298.15 < first < behind_first < second < solution.sheets.streams[0].outlet(solution.temperature)
    with pytest.raises(ValueError, match="no flow passes bank 2"):
        place_of_bank(solution, 2)


def test_cells_cover_the_bank_once(tmp_path):
    for flow in ({}, {"entry": "top", "side": None}):
        (way,) = quick(finned(tmp_path, {}, flow)).sheets.states[0].ways
        assert cell_areas(way).sum() == pytest.approx(60e-3 * 58e-3, rel=1e-12)
    beyond = {"at": ["30 mm", "0 mm"], "size": ["60 mm", "58 mm"]}
    (way,) = quick(finned(tmp_path, beyond, {"entry": "through", "side": "tips"})).sheets.states[0].ways
    assert cell_areas(way).sum() == pytest.approx(30e-3 * 58e-3, rel=1e-12)


def test_the_efficiency_of_a_cell_is_that_of_its_own_fins(tmp_path):
    # eta = 0.747268 at 25 mm (C4.7, derived independently); at 10 mm tanh(0.416827)/0.416827.
    pocket = {"patch": [{"at": ["0 mm", "0 mm"], "size": ["30 mm", "58 mm"], "height": "10 mm"}]}
    stack = finned(tmp_path, pocket, FIXED)
    solution = quick(stack)
    found = cell_efficiency(stack.banks[0], solution.sheets.states[0].ways[0])
    assert sorted(set(found.round(6))) == pytest.approx([0.747268, np.tanh(0.416827) / 0.416827], abs=2e-6)


@pytest.mark.parametrize("entry", [{}, {"entry": "top", "side": None}])
def test_a_bank_s_conductance_is_the_worked_one(tmp_path, entry):
    # C4.7: C (1 - exp(-NTU)); from above C NTU/(1 + NTU). NTU from its eta_o h A = 4.71169 W/K and the flow's own C.
    stack = at_inlet(finned(tmp_path, {"described_as": "film"}, FIXED | entry))
    (state,) = quick(stack).sheets.states
    units = 4.71169 / state.capacity
    exact = state.capacity * (units / (1 + units) if entry else -np.expm1(-units))
    assert bank_conductance(state, state.ways[0], stack.banks[0]) == pytest.approx(exact, rel=1e-5)


def test_a_bank_as_a_film_takes_the_same_heat_from_a_plate_of_one_temperature(tmp_path):
    one_temperature = {"material": {"conductivity": "1e5 W/m/K"}}
    fins = {"described_as": "film", "interface": {"impedance": "20 mm^2 K/W"}}
    solution = quick(at_inlet(finned(tmp_path, fins, FIXED, one_temperature, (EVEN,))))
    (state,) = solution.sheets.states
    plain = without_flows(solution)
    assert not plain.banks and not plain.flows and len(plain.films) == 1
    film = as_film(solution, 0)
    assert film.name == "fins: fins and film" and film.temperature == 298.15 and film.area is None
    rise = quick(plain).temperature.mean() - 298.15
    exact = 80.0 / (film.coefficient * 60e-3 * 58e-3)
    assert rise == pytest.approx(exact, rel=1e-3)
    # The lumped interface carries each place's own heat, the lanes' interface the local one: a few per mille.
    assert solution.temperature[: solution.sheets.solid].mean() - 298.15 == pytest.approx(rise, rel=0.01)
    assert state.capacity > 5


def test_bodies_that_stand_for_fins_are_left_out_of_a_lumped_estimate(tmp_path):
    solution = quick(finned(tmp_path, BANKS, FIXED | {"fins": ["one", "two"]}))
    assert fin_bodies(solution.sheets.stack) == {1, 2}
    plain = without_flows(solution)
    assert [body.name for body in plain.bodies] == ["plate"] and not plain.joints
    assert [film.area.bounds for film in plain.films] == [
        pytest.approx((0, 0, 0.025, 0.058)),
        pytest.approx((0.030, 0.010, 0.060, 0.050)),
    ]
    alone = quick(replace(plain))
    assert without_flows(alone) is alone.sheets.stack


def test_flows_learn_what_heat_they_take_until_properties_are_those_of_it(tmp_path):
    # One flow has nearly all the heat: at first each expects half, 0.2 K of the mean is where properties are let be.
    halves = tuple(
        {"name": name, "at": ["0 mm", f"{y} mm"], "size": ["60 mm", "29 mm"]} for name, y in (("low", 0), ("high", 29))
    )
    flows = tuple({"name": f"{bank['name']} air", "fins": bank["name"], "rate": "1.5 l/s"} for bank in halves)
    chip = {"at": ["20 mm", "5 mm"], "size": ["20 mm", "12 mm"]}
    stack = finned(tmp_path, halves, flows, {"material": {"conductivity": "20 W/m/K"}}, (chip,))
    told = settled_flows(quick(stack))
    assert told is not None and sum(flow.heat for flow in told) == pytest.approx(80.0, rel=1e-9)
    solution = solve_with_estimate(stack).solution
    assert settled_flows(solution) is None
    for state, stream in zip(solution.sheets.states, solution.sheets.streams):
        heat = stream.heat(solution.temperature)
        assert state.mean == pytest.approx(298.15 + heat / (2 * state.capacity), abs=0.2)
    low, high = (stream.heat(solution.temperature) for stream in solution.sheets.streams)
    assert low > 2 * high


def test_sustainable_power_scales_the_rise_over_the_inlet_to_the_limit(tmp_path):
    stack = finned(tmp_path, {}, {}, {}, ({"limit": "90 degC"},))
    findings = findings_of(solve_with_estimate(stack))
    sustainable, (state,) = findings.sustainable, findings.components
    assert sustainable.factor == pytest.approx((363.15 - 298.15) / (state.peak.value - 298.15), rel=1e-6)
    # Solved anew with that power: only the air's properties differ, at its then warmer mean.
    again = finned(tmp_path, {}, {}, {}, ({"limit": "90 degC", "power": f"{sustainable.power} W"},))
    (at_limit,) = findings_of(solve_with_estimate(again)).components
    assert at_limit.peak.value - 298.15 == pytest.approx(65.0, rel=0.01)
