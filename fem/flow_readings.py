"""What is said about each flow of a solution: rate, pressure, outlet, coefficients, noise; and both limits of the fan's profile."""

from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.air_flow import FlowState, evened_share, first_cells, has_profile
from plancha.fem.components import component_states
from plancha.fem.coolant import Stream
from plancha.fem.finned import cell_efficiency
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve

RIGID, EVENED = 0.0, 1.0  # share of the evened-out flow at the two limits


@dataclass(frozen=True)
class Span:
    """Least, mean and largest of a field over its cells, the mean weighted by the area of the walls that the coolant wets."""

    least: float
    mean: float
    most: float


@dataclass(frozen=True)
class FlowReading:
    """One flow: temperatures in K, ``heat`` [W], ``mass`` [kg/s], and fields between the fins as spans.

    ``share`` is the part of the rate that passes between the fins. ``neglected`` says what its description leaves out.
    """

    state: FlowState
    mass: float
    outlet: float
    hottest: float
    heat: float
    share: float
    velocity: Span
    coefficient: Span
    efficiency: Span
    neglected: str


@dataclass(frozen=True)
class ProfileLimits:
    """Peaks [K] of all components at both limits of a flow's profile: the fan's rigid one, and evened out by the pressure.

    ``share`` is how far the solution's own flow is evened out.
    """

    flow: str
    share: float
    rigid: tuple[float, ...]
    evened: tuple[float, ...]


def flow_readings(solution: Solution) -> list[FlowReading]:
    """What each flow of a solution does."""
    return [_reading(solution, *pair) for pair in zip(solution.sheets.states, solution.sheets.streams)]


def _reading(solution: Solution, state: FlowState, stream: Stream) -> FlowReading:
    from plancha.fem.ways import LEFT_OUT

    banks = solution.sheets.stack.banks
    warm = stream.means(solution.temperature)
    taking = stream.conductance > 0
    velocity = np.concatenate([way.velocity for way in state.ways])
    coefficient = np.concatenate([way.coefficient for way in state.ways])
    efficiency = np.concatenate([cell_efficiency(banks[way.bank], way) for way in state.ways])
    conductance = np.concatenate(
        [stream.conductance[first : first + len(way.inflow)] for way, first in zip(state.ways, first_cells(state.ways))]
    )
    wetted = wetted_area(conductance, coefficient)
    return FlowReading(
        state=state,
        mass=state.capacity / state.fluid.heat_capacity,
        outlet=stream.outlet(solution.temperature),
        hottest=float(warm[taking].max()),
        heat=stream.heat(solution.temperature),
        share=float(np.mean([way.share for way in state.ways])),
        velocity=_span(velocity, wetted),
        coefficient=_span(coefficient, wetted),
        efficiency=_span(efficiency, wetted),
        neglected=LEFT_OUT[state.flow.entry],
    )


def wetted_area(conductance: np.ndarray, coefficient: np.ndarray) -> np.ndarray:
    """Area of the walls in each cell [m2] (cells,) from their conductance [W/K] and the coefficient on them [W/m2/K]; of fins as a
    film, as far as they are effective."""
    return np.divide(conductance, coefficient, out=np.zeros(len(coefficient)), where=coefficient > 0)


def _span(values: np.ndarray, weights: np.ndarray) -> Span:
    counted = weights > 0
    own, weight = values[counted], weights[counted]
    return Span(float(own.min()), float(own @ weight / weight.sum()), float(own.max()))


def profile_limits(solution: Solution) -> list[ProfileLimits]:
    """Both limits for every flow whose fan's profile is known: two more solves on the same mesh each."""
    sheets, found = solution.sheets, []
    through = [slab.through for slab in sheets.slabs]
    for number, flow in enumerate(sheets.stack.flows):
        if not has_profile(flow):
            continue

        def peaks(share: float, number: int = number) -> tuple[float, ...]:
            flows = list(sheets.stack.flows)
            flows[number] = replace(flows[number], evened=share)
            other = sheets_of(replace(sheets.stack, flows=tuple(flows)), sheets.space, through)
            return tuple(state.peak.value for state in component_states(solve(other, solution.powers)))

        found.append(ProfileLimits(flow.name, evened_share(flow), peaks(RIGID), peaks(EVENED)))
    return found
