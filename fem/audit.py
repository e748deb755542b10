"""What every solve must show before its numbers are used: heat in = heat out, a small residual, no impossible temperature."""

from dataclasses import dataclass

import numpy as np

from plancha.fem.solve import ROUNDING, Solution, SolveFailed, free_unknowns

BALANCE_LIMIT = 1e-9  # of all heat that moves
RESIDUAL_LIMIT = 1e-8  # of all heat that moves
UNDERSHOOT_LIMIT = 0.02  # of the hottest rise: what quadratic functions may fall below the coldest surroundings
NO_SPAN = 1e-6  # K; temperatures that lie closer together than this are one, but for rounding


@dataclass(frozen=True)
class HeatPath:
    """Heat [W] that leaves by one named way (negative: enters), its kind, its area [m2]."""

    name: str
    kind: str
    heat: float
    area: float
    body: str


@dataclass(frozen=True)
class Audit:
    """Heat in [W], the ways out, their difference and the residual as shares of all heat that moves."""

    heat_in: float
    paths: tuple[HeatPath, ...]
    imbalance: float
    residual: float
    coldest_below: float


def heat_paths(solution: Solution) -> tuple[HeatPath, ...]:
    """Heat by every film, rim, board and held place of a solution."""
    sheets = solution.sheets
    paths = [
        HeatPath(e.name, e.kind, e.heat(solution.temperature), e.area, sheets.stack.bodies[e.body].name)
        for e in sheets.exchanges
    ]
    for stream, state in zip(sheets.streams, sheets.states):
        area = sum(wall.area for wall in stream.walls)
        bank = sheets.stack.banks[state.flow.banks[0]]
        paths.append(
            HeatPath(stream.name, "flow", stream.heat(solution.temperature), area, sheets.stack.bodies[bank.base].name)
        )
    for number, name in enumerate(sheets.held_names):
        paths.append(HeatPath(name, "held", solution.held_heat(number), float("nan"), ""))
    return tuple(paths)


def audit(solution: Solution) -> Audit:
    """Check a solution.

    Raises
    ------
    SolveFailed
        If the balance, the residual or the extreme temperatures are beyond what the method allows; the message has the numbers.
    """
    sheets, paths = solution.sheets, heat_paths(solution)
    heat_in = float(solution.heat.sum())
    moving = abs(heat_in) + sum(abs(path.heat) for path in paths)
    # Where next to no heat moves, what rounding leaves of the large terms that cancel is all that can be seen.
    rounding = ROUNDING * float(solution.matrix.magnitudes(solution.temperature).sum())
    imbalance = abs(heat_in - sum(path.heat for path in paths)) / max(moving, rounding / BALANCE_LIMIT)
    free = free_unknowns(sheets)
    residual = float(np.abs(solution.nodal_heat[free]).sum()) / max(moving, rounding / RESIDUAL_LIMIT)
    surroundings = [e.temperature for e in sheets.exchanges] + list(sheets.held_temperatures)
    surroundings += [stream.network.inlet for stream in sheets.streams]
    span = max(float(np.ptp(np.append(solution.temperature, surroundings))), NO_SPAN)
    below = (min(surroundings) - float(solution.temperature.min())) / span
    if not imbalance <= BALANCE_LIMIT:
        raise SolveFailed(f"heat in {heat_in:.6g} W and heat out differ by {imbalance:.2g} of the heat that moves")
    if not residual <= RESIDUAL_LIMIT:
        raise SolveFailed(
            f"the residual is {residual:.2g} of the heat that moves; at most {RESIDUAL_LIMIT:g} is allowed"
        )
    for stream in sheets.streams:
        given, carried = stream.heat(solution.temperature), stream.carried(solution.temperature)
        if not abs(given - carried) <= BALANCE_LIMIT * max(moving, rounding / BALANCE_LIMIT):
            raise SolveFailed(f"{stream.name} takes up {given:.9g} W and carries away {carried:.9g} W")
    if below > UNDERSHOOT_LIMIT:
        raise SolveFailed(f"a temperature lies {100 * below:.2g} % of the whole span below the coldest surroundings")
    return Audit(heat_in, paths, imbalance, residual, max(below, 0.0))
