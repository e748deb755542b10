"""What a data sheet gives of a component: junction to case, case to reference, junction to board and to other points, in K/W.

In the words of the JESD51 series: a *theta* is a thermal resistance and supposes that (nearly) all of the component's heat goes to
the point named; where only part of it does, the same quotient is a characterisation parameter *psi* (JESD51-12), which must not be
put in a series chain. The case is a named point of the component's outer face, the board a point of the board beside it (JESD51-8).
"""

from dataclasses import dataclass

import numpy as np

from plancha.fem.components import ComponentState, ProbeReading
from plancha.fem.plan import locate
from plancha.fem.planes import joint_heat
from plancha.fem.solve import Solution
from plancha.geometry.bodies import COMPONENT_SIDE, Source

NEARLY_ALL = 0.99  # of a component's heat: what makes a quotient a resistance; common practice, no source
SAME = 1e-6  # K; temperatures that lie closer together are one


@dataclass(frozen=True)
class Quotient:
    """Temperature difference over the component's power [K/W], from the junction's peak and from its area mean.

    ``by_mean`` is None where the junction is not its start. ``is_resistance`` tells a theta from a psi.
    """

    symbol: str
    start: str
    end: str
    is_resistance: bool
    value: float
    by_mean: float | None


@dataclass(frozen=True)
class DatasheetPoints:
    """A component's points [K], the share of its heat [-] that leaves through the face with the case point, and the quotients.

    ``case_temperature``, ``case_point`` [m] and ``case_share`` are None where the study names no case point.
    """

    component: str
    power: float
    junction_peak: float
    junction_mean: float
    case_temperature: float | None
    case_point: tuple[float, float] | None
    case_share: float | None
    quotients: tuple[Quotient, ...]


def datasheet_points(
    solution: Solution, states: list[ComponentState], probes: list[ProbeReading]
) -> list[DatasheetPoints]:
    """The points of every component that gives off heat and names a case point or a board point.

    Parameters
    ----------
    states : list of ComponentState
        Of all components, in the order of the stack's sources.
    probes : list of ProbeReading

    Notes
    -----
    Source of the words: JESD51-8, JESD51-12 (their scope and definitions as quoted by public notes).
    """
    return [
        _points(solution, source, state, probes)
        for source, state in zip(solution.sheets.stack.sources, states)
        if state.power > 0 and (source.case_point is not None or source.board_point)
    ]


def _points(solution: Solution, source: Source, state: ComponentState, probes: list[ProbeReading]) -> DatasheetPoints:
    case, share = None, None
    quotients: list[Quotient] = []
    if source.case_point is not None:
        case, share = case_temperature(solution, source), case_share(solution, source, state.power)
        is_one_way = abs(share - 1.0) <= 1.0 - NEARLY_ALL
        quotients.append(_from_junction("theta_JC" if is_one_way else "psi_JT", "case", case, state, is_one_way))
        is_alone = is_one_way and _is_alone(solution)
        quotients.append(_case_to_reference(solution, case, state, is_alone))
    for probe in probes:
        is_board = probe.name == source.board_point
        symbol = "psi_JB" if is_board else f"psi_J-{probe.name}"
        end = f"board ({probe.name})" if is_board else probe.name
        quotients.append(_from_junction(symbol, end, probe.temperature, state, False))
    mean, peak = state.mean, state.peak.value
    return DatasheetPoints(source.name, state.power, peak, mean, case, source.case_point, share, tuple(quotients))


def _from_junction(symbol: str, end: str, temperature: float, state: ComponentState, is_resistance: bool) -> Quotient:
    value, by_mean = (state.peak.value - temperature) / state.power, (state.mean - temperature) / state.power
    return Quotient(symbol, "junction", end, is_resistance, value, by_mean)


def _case_to_reference(solution: Solution, case: float, state: ComponentState, is_resistance: bool) -> Quotient:
    stack = solution.sheets.stack
    symbol = "theta_CA" if is_resistance else "psi_CA"
    return Quotient(symbol, "case", stack.reference_name, is_resistance, (case - stack.reference) / state.power, None)


def case_temperature(solution: Solution, source: Source) -> float:
    """Temperature [K] at the case point: on the component's outermost own layer, the face towards the body it sits on."""
    sheets = solution.sheets
    assert source.case_point is not None
    body = source.chain[-2]
    element, shapes = locate(sheets.space, source.case_point, sheets.slabs[body].pattern.elements)
    return float(shapes @ solution.face(body, 1 - source.face)[sheets.space.element_nodes[element]])


def case_share(solution: Solution, source: Source, power: float) -> float:
    """Share [-] of a component's heat that leaves through the face with the case point."""
    heat = joint_heat(solution, source.joints[-1])
    return (heat if source.face == COMPONENT_SIDE else -heat) / power


def _is_alone(solution: Solution) -> bool:
    """Whether no other component gives off heat and everything that cools has the reference temperature."""
    sheets = solution.sheets
    inlets = [stream.network.inlet for stream in sheets.streams]
    surroundings = np.array([each.temperature for each in sheets.exchanges] + list(sheets.held_temperatures) + inlets)
    return bool((solution.powers > 0).sum() == 1 and (np.abs(surroundings - sheets.stack.reference) < SAME).all())
