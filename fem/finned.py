"""What flows did to the solids of a solution: heat and coolant temperature of each bank, and the bank as a plain film on its base."""

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from plancha.fem.air_flow import FlowState, first_cells
from plancha.fem.coolant import Stream, Wall
from plancha.fem.solve import Solution
from plancha.fem.way import Way
from plancha.geometry.air import Bank, Flow
from plancha.geometry.bodies import Film, Stack

SAME_MEAN = 0.2  # K; properties of coolants change by less than 0.1 % within it


@dataclass(frozen=True)
class BankPlace:
    """Where a bank stands in a solution: the flow past it as it runs, its stream, its way, and its cells in that stream."""

    state: FlowState
    stream: Stream
    way: Way
    cells: slice


def place_of_bank(solution: Solution, number: int) -> BankPlace:
    """The flow that passes a bank, by the bank's number."""
    sheets = solution.sheets
    for state, stream in zip(sheets.states, sheets.streams):
        for way, first in zip(state.ways, first_cells(state.ways)):
            if way.bank == number:
                return BankPlace(state, stream, way, slice(first, first + len(way.inflow)))
    raise ValueError(f"no flow passes bank {number}")


def bank_heat(solution: Solution, number: int) -> float:
    """Heat [W] that a bank gives to its coolant."""
    place = place_of_bank(solution, number)
    return float(place.stream.cell_heat(solution.temperature)[place.cells].sum())


def bank_coolant(solution: Solution, number: int) -> float:
    """Mean temperature [K] of the coolant that a bank's walls meet, weighted by their conductance."""
    place = place_of_bank(solution, number)
    weights = place.stream.conductance[place.cells]
    return float(weights @ place.stream.means(solution.temperature)[place.cells] / weights.sum())


def cell_areas(way: Way) -> np.ndarray:
    """Plan area of each cell of a way (cells,) [m2]; levels of a column share theirs."""
    number = way.grid.number
    areas = np.outer(np.diff(way.grid.x), np.diff(way.grid.y))
    levels = len(way.levels) - 1
    found = np.zeros(len(way.inflow) // levels)
    found[number[number >= 0]] = areas[number >= 0]
    return np.repeat(found / levels, levels)


def cell_efficiency(bank: Bank, way: Way) -> np.ndarray:
    """Fin efficiency of each cell (cells,): of fins rooted on a base at one temperature."""
    from plancha.fem.gaps import efficiency

    found = np.ones(len(way.coefficient))
    for number, region in enumerate(bank.regions):
        here = way.region == number
        found[here] = efficiency(region.fins, bank.material.conductivity[0], way.coefficient[here])
    return found


def bank_conductance(state: FlowState, way: Way, bank: Bank) -> float:
    """Heat per kelvin between a bank's base, all at one temperature, and its coolant's inlet [W/K]: the coolant warms on its way.

    The base alone heats the fins, by their efficiency; another bank of the flow is taken as cold.
    """
    from scipy.sparse.linalg import spsolve

    from plancha.fem.gaps import film_on_base

    per_area = np.zeros(len(way.coefficient))
    for number, region in enumerate(bank.regions):
        here = way.region == number
        per_area[here] = film_on_base(region.fins, bank.material.conductivity[0], way.coefficient[here])
    exchange = np.zeros(len(state.network.inflow))
    first = first_cells(state.ways)[state.ways.index(way)]
    exchange[first : first + len(per_area)] = per_area * cell_areas(way)
    network = replace(state.network, inlet=0.0)
    one = Wall(-1, sp.csr_array((1, 1)), sp.csr_array(exchange[:, None]), 0.0)
    stream = Stream(state.flow.name, network, (one,), 1)
    leaving = np.asarray(spsolve(stream.marching.tocsc(), exchange))
    inside = float(stream.heat(np.concatenate([[1.0], leaving])))
    if bank.impedance > 0:
        inside = 1 / (1 / inside + bank.impedance / bank.outline.area)
    return inside


def film_name(bank: Bank) -> str:
    """How tables call what a bank and its film cost."""
    return f"{bank.name}: fins and film"


def as_film(solution: Solution, number: int) -> Film:
    """A bank as a film of one coefficient on its base, at the inlet's temperature: what a lumped estimate makes of it."""
    stack, place = solution.sheets.stack, place_of_bank(solution, number)
    bank = stack.banks[number]
    base = stack.bodies[bank.base].outline
    foot = base.intersection(bank.outline)
    whole = foot.area > base.area * (1 - 1e-9)
    conductance = bank_conductance(place.state, place.way, bank)
    return Film(
        film_name(bank), bank.base, bank.face, conductance / foot.area, place.state.flow.inlet, None if whole else foot
    )


def without_flows(solution: Solution) -> Stack:
    """The solution's stack with every bank as a film, and without the bodies that stand for fins."""
    stack = solution.sheets.stack
    if not stack.banks:
        return stack
    passed = sorted(number for flow in stack.flows for number in flow.banks)
    films = tuple(as_film(solution, number) for number in passed)
    fins = fin_bodies(stack)
    kept = [body for number, body in enumerate(stack.bodies) if number not in fins]
    joints = tuple(joint for joint in stack.joints if joint.lower not in fins and joint.upper not in fins)
    return replace(
        stack, bodies=tuple(kept), joints=joints, films=(*stack.films, *films), banks=(), flows=(), probes=()
    )


def fin_bodies(stack: Stack) -> set[int]:
    """Numbers of the bodies that stand for fins; they come after all others."""
    return {block.body for bank in stack.banks for block in bank.blocks}


def settled_flows(solution: Solution) -> tuple[Flow, ...] | None:
    """The flows, told what heat they take up in the solution; None where the mean temperatures at hand are those of that heat."""
    sheets = solution.sheets
    heats = [stream.heat(solution.temperature) for stream in sheets.streams]
    means = [state.flow.inlet + heat / (2 * state.capacity) for state, heat in zip(sheets.states, heats)]
    if all(abs(mean - state.mean) <= SAME_MEAN for mean, state in zip(means, sheets.states)):
        return None
    return tuple(replace(state.flow, heat=heat) for state, heat in zip(sheets.states, heats))
