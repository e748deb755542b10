"""A coolant's cells against exact lanes and stirred vessels, and what they must conserve."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.linalg import spsolve

from plancha.fem.cholesky import Cholesky
from plancha.fem.coolant import Network, Stream, Wall, coupled_entries, lane_weight
from plancha.fem.coupled import Coupled, Coupling, Marching

INLET = 300.0


def lane(cells: int, capacity: float) -> Network:
    """One lane of cells in a row."""
    upstream = sp.diags_array(np.full(cells - 1, capacity), offsets=-1, shape=(cells, cells)).tocsr()
    first, last = np.eye(cells)[0], np.eye(cells)[-1]
    return Network(INLET, upstream, capacity * first, capacity * last)


def against_one_wall(network: Network, conductance: np.ndarray) -> Stream:
    """The network beside a single wall unknown."""
    wall = Wall(0, sp.csr_array([[conductance.sum()]]), sp.csr_array(conductance[:, None]), 1.0)
    return Stream("air", network, (wall,), 1)


def warmed_by(stream: Stream, wall: float) -> np.ndarray:
    """All unknowns with the wall held at a temperature."""
    leaving = spsolve(stream.marching.tocsc(), stream.exchange @ np.array([wall]) + stream.inlet_heat)
    return np.concatenate([[wall], leaving])


@pytest.mark.parametrize("transfer_units", [1e-4, 0.25, 1.0, 5.0, 40.0])
@pytest.mark.parametrize("cells", [1, 2, 7, 64])
def test_a_lane_between_walls_of_one_temperature_is_exact_on_any_number_of_cells(transfer_units, cells):
    # Effectiveness 1 - exp(-NTU): energy of one stream, derived independently.
    capacity = 3.0
    stream = against_one_wall(lane(cells, capacity), np.full(cells, transfer_units * capacity / cells))
    state = warmed_by(stream, 360.0)
    effectiveness = (stream.outlet(state) - INLET) / 60.0
    assert effectiveness == pytest.approx(-np.expm1(-transfer_units), rel=1e-9)


def test_a_lane_at_one_transfer_unit_leaves_at_the_worked_value():
    # C5.5 (derived independently): wall 60 degC, inlet 25 degC, NTU = 1 leaves at 47.12422 degC.
    stream = against_one_wall(lane(10, 2.0), np.full(10, 0.2))
    state = warmed_by(stream, INLET + 35.0)
    assert stream.outlet(state) - INLET == pytest.approx(47.12422 - 25.0, abs=1e-5)


@pytest.mark.parametrize("transfer_units", [0.25, 0.5, 1.0, 2.0])
def test_inflow_all_along_is_a_stirred_vessel_on_any_number_of_cells(transfer_units):
    # Effectiveness NTU/(1 + NTU), C4.11 (derived independently): 0.2, 0.3333, 0.5, 0.6667.
    cells, capacity = 12, 6.0
    carried = capacity * np.arange(1, cells + 1) / cells
    upstream = sp.diags_array(carried[:-1], offsets=-1, shape=(cells, cells)).tocsr()
    network = Network(INLET, upstream, np.full(cells, capacity / cells), capacity * np.eye(cells)[-1], is_mixed=True)
    stream = against_one_wall(network, np.full(cells, transfer_units * capacity / cells))
    state = warmed_by(stream, INLET + 10.0)
    assert (stream.outlet(state) - INLET) / 10 == pytest.approx(transfer_units / (1 + transfer_units), rel=1e-12)


@pytest.mark.parametrize("cells", [1, 2, 9])
@pytest.mark.parametrize(("transfer_units", "fed"), [(0.3, 0.5), (2.0, 3.0), (5.0, 0.01), (1e-5, 2.0), (40.0, 1.0)])
def test_a_lane_that_is_fed_all_along_is_exact_between_walls_of_one_temperature(transfer_units, fed, cells):
    # C T' = f (Tin - T) + g (Tw - T), C = C0 + f s, from Tw - 40 K at the start: the difference from T* falls as C^-(1 + g/f).
    first, wall = 3.0, INLET + 50.0
    inflow = np.r_[first, np.full(cells, fed * first / cells)]
    carried = np.cumsum(inflow)
    upstream = sp.diags_array(carried[:-1], offsets=-1, shape=(cells + 1, cells + 1)).tocsr()
    network = Network(INLET, upstream, inflow, carried * np.eye(cells + 1)[-1], is_mixed=True)
    own, given = fed * first, transfer_units * first
    # The cell before holds the start at Tw - 40 K, that is 10 K above the inlet, by a wall of its own.
    conductance = np.r_[first * 10.0 / 40.0, np.full(cells, given / cells)]
    state = warmed_by(against_one_wall(network, conductance), wall)
    assert state[1] == pytest.approx(INLET + 10.0, rel=1e-12)
    goal = (own * INLET + given * wall) / (own + given)
    exact = goal + (INLET + 10.0 - goal) * (1 + fed) ** -(1 + given / own)
    assert state[-1] == pytest.approx(exact, rel=1e-9)


def test_a_fed_lane_meets_the_exact_rise_under_a_wall_that_warms_along_it_to_second_order():
    # s T' = -(1 + q) T + q a s over the inlet: T = q a s/(2 + q), q exchange over capacity flow of the whole lane.
    units, slope, capacity = 1.5, 30.0, 4.0
    errors = []
    for cells in (6, 12, 24):
        carried = capacity * np.arange(1, cells + 1) / cells
        upstream = sp.diags_array(carried[:-1], offsets=-1, shape=(cells, cells)).tocsr()
        network = Network(0.0, upstream, np.full(cells, capacity / cells), capacity * np.eye(cells)[-1], is_mixed=True)
        exchange = sp.diags_array(np.full(cells, units * capacity / cells)).tocsr()
        stream = Stream("air", network, (Wall(0, exchange, exchange, 1.0),), cells)
        walls = slope * (np.arange(cells) + 0.5) / cells
        leaving = spsolve(stream.marching.tocsc(), stream.exchange @ walls + stream.inlet_heat)
        errors.append(abs(leaving[-1] - units * slope / (2 + units)))
    rates = np.log2(np.divide(errors[:-1], errors[1:]))
    assert np.all((rates > 1.6) & (rates < 2.4))


def test_even_heat_warms_a_lane_in_a_straight_line():
    cells, capacity, heat = 20, 2.0, 50.0
    stream = against_one_wall(lane(cells, capacity), np.zeros(cells))
    flux = np.full(cells, heat / cells)
    leaving = spsolve(stream.marching.tocsc(), flux + stream.inlet_heat)
    assert leaving - INLET == pytest.approx(heat / capacity * np.arange(1, cells + 1) / cells, rel=1e-9)


def test_what_slips_by_cools_the_outlet_but_takes_no_heat():
    network = lane(8, 2.0)
    slipping = Network(INLET, network.upstream, network.inflow, network.outflow, slipping=2.0)
    conductance = np.full(8, 0.3)
    alone, beside = (against_one_wall(each, conductance) for each in (network, slipping))
    state = warmed_by(alone, 350.0)
    assert beside.heat(state) == alone.heat(state)
    assert beside.outlet(state) - INLET == pytest.approx((alone.outlet(state) - INLET) / 2, rel=1e-12)


def test_the_weight_of_a_cell_runs_from_a_half_to_one():
    weights = lane_weight(np.array([0.0, 1e-8, 1e-3, 1.0, 30.0, 1e6]))
    assert weights[:2] == pytest.approx([0.5, 0.5], abs=1e-6)
    assert np.all(np.diff(weights) >= -1e-9)
    assert weights[-1] == pytest.approx(1.0, abs=2e-6)


def test_no_flow_takes_no_heat_and_a_huge_one_stays_at_the_inlet():
    still = against_one_wall(lane(5, 1e-12), np.full(5, 0.4))
    assert still.heat(warmed_by(still, 350.0)) == pytest.approx(0.0, abs=1e-9)
    huge = against_one_wall(lane(5, 1e12), np.full(5, 0.4))
    assert huge.heat(warmed_by(huge, 350.0)) == pytest.approx(2.0 * 50.0, rel=1e-9)


@st.composite
def problems(draw):
    """A small random solid with two lanes, of which the second starts where the first ends, and some inflow on the way."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    solids, cells = draw(st.integers(2, 12)), draw(st.integers(2, 9))
    inflow = np.where(rng.random(cells) < 0.5, rng.uniform(0.1, 5, cells), 0.0)
    inflow[0] = 1.0
    carried = np.cumsum(inflow)
    upstream = sp.diags_array(carried[:-1], offsets=-1, shape=(cells, cells)).tocsr()
    network = Network(INLET, upstream, inflow, carried * np.eye(cells)[-1], is_mixed=draw(st.booleans()))
    exchange = rng.uniform(0, 3, (cells, solids)) * (rng.random((cells, solids)) < 0.6)
    exchange[0, 0] += 0.5
    links = rng.uniform(0, 4, (solids, solids))
    conduction = np.diag(links.sum(axis=1) + links.sum(axis=0)) - links - links.T
    to_cells = np.diag(exchange.sum(axis=0))
    wall = Wall(0, (), sp.csr_array(exchange), 1.0)
    return conduction + to_cells, Stream("air", network, (wall,), solids), rng.uniform(0, 40, solids)


def assembled(conduction: np.ndarray, stream: Stream, heat: np.ndarray):
    size = len(heat) + len(stream.network.inflow)
    solid = sp.coo_array(conduction)
    matrix = sp.coo_array((solid.data, solid.coords), shape=(size, size)).tocsr()
    for values, rows, columns in coupled_entries((stream,)):
        matrix = matrix + sp.coo_array((values, (rows, columns)), shape=(size, size)).tocsr()
    right = np.concatenate([heat + stream.solid_heat, stream.inlet_heat])
    return matrix, right


def coupled(matrix: sp.csr_array, solids: int) -> Coupled:
    down, across = matrix[:solids], matrix[solids:]
    coupling = Coupling(-down[:, solids:], -across[:, :solids], Marching(across[:, solids:].tocsc()))
    return Coupled(Cholesky(down[:, :solids]), coupling)


@settings(max_examples=80, deadline=None)
@given(problems())
def test_the_coolant_gains_what_the_solids_lose_and_carries_it_away(problem):
    conduction, stream, heat = problem
    matrix, right = assembled(conduction, stream, heat)
    state = coupled(matrix, len(heat)).solve(right)
    assert stream.heat(state) == pytest.approx(heat.sum(), rel=1e-9, abs=1e-9)
    assert stream.carried(state) == pytest.approx(heat.sum(), rel=1e-9, abs=1e-9)
    assert state.min() >= INLET - 1e-7


@settings(max_examples=80, deadline=None)
@given(problems())
def test_the_split_solve_agrees_with_a_general_sparse_solver_forwards_and_transposed(problem):
    # scipy's SuperLU on the whole unsymmetric matrix.
    conduction, stream, heat = problem
    matrix, right = assembled(conduction, stream, heat)
    factor = coupled(matrix, len(heat))
    assert factor.solve(right) == pytest.approx(spsolve(matrix.tocsc(), right), rel=1e-9)
    weights = np.linspace(1, 2, len(right))
    assert factor.solve_transposed(weights) == pytest.approx(spsolve(matrix.T.tocsc(), weights), rel=1e-8, abs=1e-10)
    several = np.column_stack([right, weights, np.zeros_like(right)])
    assert factor.solve(several)[:, 0] == pytest.approx(factor.solve(right), rel=1e-9)
    assert factor.solve(several[:, :0]).shape == (len(right), 0)
