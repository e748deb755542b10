"""What each component's numbers are: peak and where, means, margin; and what each watt of one does to another."""

from dataclasses import dataclass

import numpy as np

from plancha.fem.plan import Peak, locate, maximum
from plancha.fem.planes import active_elements, contact_elements, face_values, joint_heat, plan_mean
from plancha.fem.sheets import mean_weights
from plancha.fem.solve import Solution
from plancha.geometry.bodies import COMPONENT_SIDE

GUIDING = 1e-5  # what an iteration for responses, which tell where errors are felt, may leave of its right side
NO_SHARE = 1e-6  # of a component's heat: less through its footprint makes no spreading resistance


@dataclass(frozen=True)
class ComponentState:
    """Power [W] of a component, what of it was asked for, temperatures [K] of its active face: peak and its place, area mean,
    power-weighted mean, limit, margin [K]."""

    name: str
    power: float
    asked: float
    peak: Peak
    mean: float
    power_mean: float
    limit: float | None
    margin: float | None


def component_states(solution: Solution) -> list[ComponentState]:
    """The state of every component; power-weighted by the map, or by area where the component has no power."""
    sheets, states = solution.sheets, []
    for number, source in enumerate(sheets.stack.sources):
        elements, peak = active_elements(solution, source), solution.peaks[source.name]
        face = solution.face(source.chain[0], source.face)
        weights = sheets.plan_loads[number]
        states.append(
            ComponentState(
                name=source.name,
                power=float(solution.powers[number]),
                asked=float((solution.powers if solution.asked is None else solution.asked)[number]),
                peak=peak,
                mean=plan_mean(sheets.space, face, elements),
                power_mean=float(weights @ np.nan_to_num(face)),
                limit=source.limit,
                margin=None if source.limit is None else source.limit - peak.value,
            )
        )
    return states


def limiting(states: list[ComponentState]) -> ComponentState | None:
    """The component with the least margin; None where none has a limit."""
    limited = [state for state in states if state.margin is not None]
    return min(limited, key=lambda state: state.margin or 0.0) if limited else None


@dataclass(frozen=True)
class ProbeReading:
    """A probe's temperature [K] and how far it lies below the hottest component's peak [K]."""

    name: str
    temperature: float
    below_hot_spot: float


def probe_readings(solution: Solution) -> list[ProbeReading]:
    """Temperatures of all probes, each with its offset from the hottest peak of all components."""
    peaks = [peak.value for peak in solution.peaks.values()]
    hottest = max(peaks, default=float(solution.temperature.max()))
    return [ProbeReading(name, value, hottest - value) for name, value in probe_temperatures(solution).items()]


def probe_temperatures(solution: Solution) -> dict[str, float]:
    """Temperatures [K] of all probes by their names."""
    sheets, found = solution.sheets, {}
    for probe in sheets.stack.probes:
        element, shapes = locate(sheets.space, probe.point, sheets.slabs[probe.body].pattern.elements)
        found[probe.name] = float(shapes @ solution.face(probe.body, probe.face)[sheets.space.element_nodes[element]])
    return found


@dataclass(frozen=True)
class Coupling:
    """Rise per watt [K/W]: row = the component that warms, column = the one that heats, all else at rest.

    ``mean`` is weighted by the receiver's own heat and symmetric; ``peak`` is at the receiver's hot spot. Conductivities are those
    of the solution.
    """

    names: tuple[str, ...]
    mean: np.ndarray
    peak: np.ndarray


def point_weights(solution: Solution, source: int, point: tuple[float, float]) -> np.ndarray:
    """Weights (unknowns,) that give the temperature at a point of a source's active face."""
    sheets = solution.sheets
    chosen = sheets.stack.sources[source]
    slab = sheets.slabs[chosen.chain[0]]
    element, shapes = locate(sheets.space, point, slab.pattern.elements)
    weights = np.zeros(sheets.size)
    weights[slab.on_face(chosen.face, sheets.space.element_nodes[element])] = shapes
    return weights


def peak_weights(solution: Solution, source: int) -> np.ndarray:
    """Weights (unknowns,) that give the temperature at a source's hot spot."""
    return point_weights(solution, source, solution.peaks[solution.sheets.stack.sources[source].name].point)


def peak_responses(solution: Solution, sources: np.ndarray) -> np.ndarray:
    """How hot spots of sources (numbers) respond to heat placed at each unknown (unknowns, sources) [K/W]; to about GUIDING where
    iterations find it."""
    weights = [peak_weights(solution, source) for source in sources]
    return solution.system.responses(np.array(weights).reshape(-1, solution.sheets.size).T, GUIDING)


def mean_responses(solution: Solution, rises: np.ndarray, sources: np.ndarray) -> np.ndarray:
    """As ``peak_responses`` of the area means of active faces. ``rises`` (unknowns, all sources) are the unit rises: where heat is
    spread evenly they are these."""
    weights, found = mean_weights(solution.sheets)[sources], rises[:, sources]
    uneven = np.flatnonzero((weights != solution.sheets.unit_loads[sources]).any(axis=1))
    found[:, uneven] = solution.system.responses(np.ascontiguousarray(weights[uneven].T), GUIDING)
    return found


def temperature_at(solution: Solution, source: int, point: tuple[float, float]) -> float:
    """Temperature [K] at a point of a source's active face."""
    return float(point_weights(solution, source, point) @ solution.temperature)


def unit_rises(solution: Solution, tight: float | None = None) -> np.ndarray:
    """Rises (unknowns, sources) [K/W] by one watt of each source, conductivities as in the solution; ``tight`` as in
    `System.rises`."""
    return solution.system.rises(np.ascontiguousarray(solution.sheets.unit_loads.T), tight)


def coupling(solution: Solution, rises: np.ndarray) -> Coupling:
    """The coupling matrices from the unit rises."""
    sheets = solution.sheets
    mean = sheets.unit_loads @ rises
    peak = np.array([peak_weights(solution, number) @ rises for number in range(len(sheets.stack.sources))])
    return Coupling(tuple(source.name for source in sheets.stack.sources), mean, peak.reshape(mean.shape))


@dataclass(frozen=True)
class SpreadingResistance:
    """Of the body a component sits on [K/W]: (maximum, or mean, over the footprint less the face's mean) per watt through it.

    By this component's heat alone. ``at`` is where the maximum lies. ``share`` is the part of its heat that goes through the
    footprint; where it is next to nothing, there is no such resistance (NaN).
    """

    component: str
    body: str
    maximum: float
    at: tuple[float, float]
    mean: float
    share: float


def spreading_resistances(solution: Solution, rises: np.ndarray) -> list[SpreadingResistance]:
    """Spreading resistance of the body under each component."""
    return [_spreading(solution, number, rises[:, number]) for number in range(len(solution.sheets.stack.sources))]


def spreading_field(solution: Solution, number: int, rise: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """The body's source face under one watt of a component, less its mean, per watt through the footprint.

    Returns
    -------
    field : array (plan nodes,), [K/W], NaN off the body, and everywhere if next to no heat goes through the footprint
    footprint : array (elements,), numbers of the elements under the component
    share : float, [-], heat through the footprint per watt of the component
    """
    sheets = solution.sheets
    source = sheets.stack.sources[number]
    slab = sheets.slabs[source.chain[-1]]
    values = face_values(slab, sheets.space, rise, source.face)
    mean = plan_mean(sheets.space, values, slab.pattern.elements)
    if source.joints:
        footprint, share = contact_elements(solution, source.joints[-1]), _share(solution, number, rise)
    else:
        footprint, share = active_elements(solution, source), 1.0
    return (values - mean) / (share if abs(share) > NO_SHARE else np.nan), footprint, share


def spreading_at(solution: Solution, number: int, rise: np.ndarray, point: tuple[float, float]) -> float:
    """The spreading-resistance field [K/W] of a component at a point of its footprint."""
    field, footprint, _ = spreading_field(solution, number, rise)
    element, shapes = locate(solution.sheets.space, point, footprint)
    return float(shapes @ field[solution.sheets.space.element_nodes[element]])


def _share(solution: Solution, number: int, rise: np.ndarray) -> float:
    """Heat through a component's last joint per watt, by its own unit rise (all coolants at 0)."""
    source = solution.sheets.stack.sources[number]
    alone = np.zeros(len(solution.powers))
    alone[number] = 1.0
    heat = joint_heat(solution, source.joints[-1], rise, alone)
    return heat if source.face == COMPONENT_SIDE else -heat


def _spreading(solution: Solution, number: int, rise: np.ndarray) -> SpreadingResistance:
    sheets = solution.sheets
    source = sheets.stack.sources[number]
    field, footprint, share = spreading_field(solution, number, rise)
    peak = maximum(sheets.space, field, footprint)
    return SpreadingResistance(
        component=source.name,
        body=sheets.stack.bodies[source.chain[-1]].name,
        maximum=peak.value,
        at=peak.point,
        mean=plan_mean(sheets.space, field, footprint),
        share=share,
    )
