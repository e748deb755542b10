"""From a stack to its solution, and from the solution to everything a report says about it."""

from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.audit import Audit, audit
from plancha.fem.budget import Budget, budget_of
from plancha.fem.components import (
    ComponentState,
    Coupling,
    ProbeReading,
    SpreadingResistance,
    component_states,
    coupling,
    limiting,
    probe_readings,
    spreading_resistances,
    unit_rises,
)
from plancha.fem.datasheet import DatasheetPoints, datasheet_points
from plancha.fem.estimate import ErrorEstimate, Solved, solve_to_accuracy
from plancha.fem.film_readings import FilmReading, film_readings
from plancha.fem.films import at_a_usual_rise
from plancha.fem.flow_readings import FlowReading, ProfileLimits, flow_readings, profile_limits
from plancha.fem.ladder import Ladder, ladders, lumped_of
from plancha.fem.lumped import Lumped
from plancha.fem.memory import most_unknowns, refuse_what_does_not_fit
from plancha.fem.operating import gain_of, operating
from plancha.fem.plan import plan_space
from plancha.fem.refinement import first_mesh, halved, refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.slabs import conduction_key
from plancha.fem.solve import Solution
from plancha.fem.sustain import SustainablePower, sustainable_power
from plancha.geometry.air import Bank
from plancha.geometry.bodies import Source, Stack
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.grid import Grid
from plancha.geometry.store import Keep, made_anew

MUCH = 3.0  # a joint or film that changes by more than this factor asks for a discretisation of its own


@dataclass(frozen=True)
class Findings:
    """All that is said about one solved load case; ``unit_rises`` (unknowns, sources) [K/W] feed the pictures."""

    solution: Solution
    estimate: ErrorEstimate | None
    audit: Audit
    components: list[ComponentState]
    limiting: ComponentState | None
    probes: list[ProbeReading]
    datasheet: list[DatasheetPoints]
    unit_rises: np.ndarray
    coupling: Coupling
    spreading: list[SpreadingResistance]
    budgets: list[Budget]
    sustainable: SustainablePower | None
    lumped: list[Lumped]
    ladders: list[Ladder]
    flows: list[FlowReading]
    limits: list[ProfileLimits]
    films: list[FilmReading]
    loop_gain: float | None


def solve_stack(stack: Stack, refinement: float = 1.0) -> Solution:
    """The way from bodies to temperatures, without an estimate of the error: mesh, plan functions, operators, solve."""
    stack, snapped = snapped_stack(stack)
    mesh = refined(plan_mesh(stack, refinement, snapped))
    space = plan_space(mesh)
    sheets = sheets_of(stack, space, [halved(through) for through in through_of(stack)])
    return operating(sheets)


def solve_with_estimate(stack: Stack, before: Solved | None = None, keep: Keep = made_anew) -> Solved:
    """The same way, refined until the stack's accuracy is met, with the estimate of the error.

    Where ``before`` is the same bodies under the same maps, with other powers, temperatures, coefficients or impedances, its mesh and
    thickness functions serve again, and its relative error. ``keep`` may know the mesh already (geometry/store).
    """
    stack, snapped = snapped_stack(stack)
    if before is not None and serves_again(before.solution.sheets.stack, stack):
        return _solved_again(stack, before)
    refuse_what_does_not_fit(stack)
    return solve_to_accuracy(stack, first_mesh(stack, snapped, keep), stack.accuracy, most_unknowns())


def serves_again(one: Stack, other: Stack) -> bool:
    """Whether the discretisation of a stack, and its relative error, serve another: same bodies, joints and films alike."""
    return same_bodies(one, other) and all(
        a == b or max(a, b) <= MUCH * min(a, b) for a, b in zip(_conductances(one), _conductances(other), strict=True)
    )


def _conductances(stack: Stack) -> list[float]:
    """What takes heat from body to body and to films: impedances, coefficients (their mean where they vary)."""
    coefficients = [film.coefficient for film in stack.films]
    means = [float(each.values.mean()) if isinstance(each, Grid) else each for each in coefficients]
    unforced = [at_a_usual_rise(film) for film in stack.films]
    return [joint.impedance for joint in stack.joints] + means + unforced


def same_bodies(one: Stack, other: Stack) -> bool:
    """Whether two stacks differ in nothing that a discretisation is made for: bodies, what touches what, maps, cooled areas."""

    def shape(stack: Stack) -> tuple:
        bodies = [conduction_key(body) for body in stack.bodies]
        joints = [
            (j.lower, j.upper, j.impedance == 0, *(patch.outline.wkb for patch in j.patches)) for j in stack.joints
        ]
        sources = [(s.chain, s.face, s.outline.wkb, s.power > 0, s.heat_depth, _map_key(s)) for s in stack.sources]
        films = [(film.body, film.face, film.area and film.area.wkb) for film in stack.films]
        helds = [(held.body, held.face, held.area and held.area.wkb) for held in stack.helds]
        banks = [(bank.base, bank.face, bank.along, bank.is_film, *_fins_key(bank)) for bank in stack.banks]
        flows = [(flow.banks, flow.entry, flow.side) for flow in stack.flows]
        return bodies, joints, sources, films, helds, banks, flows, stack.mesh_size, stack.accuracy

    return shape(one) == shape(other)


def _fins_key(bank: Bank) -> tuple:
    """What of a bank makes its cells."""
    return tuple((region.outline.wkb, region.fins) for region in bank.regions)


def _map_key(source: Source) -> bytes:
    """What a power map says about where the heat is, apart from how much."""
    return b"" if source.power_map is None else (source.power_map.watts / max(source.power, 1e-300)).round(12).tobytes()


def _solved_again(stack: Stack, before: Solved) -> Solved:
    sheets = sheets_of(stack, before.solution.sheets.space, [slab.through for slab in before.solution.sheets.slabs])
    near = before.solution
    # Another flow is another matrix: with coolants a factor of its own is had sooner than many steps with the old one.
    solution = operating(sheets, start=None if sheets.streams else replace(near, near=near.system))
    old = before.estimate
    rises = (
        np.array([(state.peak.value, state.mean) for state in component_states(solution)]).reshape(-1, 2)
        - stack.reference
    )
    values = np.hstack([rises, old.values[:, 2:]])
    ratio = np.abs(np.divide(values, old.values, out=np.ones_like(values), where=old.values != 0))
    return Solved(solution, None, replace(old, values=values, plan=ratio * old.plan, thickness=ratio * old.thickness))


def findings_of(solved: Solved | Solution, thorough: bool = True) -> Findings:
    """Audit a solution and draw everything from it; without an estimate of its error where none was made.

    Not ``thorough``: only what a load case is judged by, without coupling, spreading resistances, lumped estimates and ladders.

    Raises
    ------
    SolveFailed
        If the audit refuses the solution.
    """
    solution, constant, estimate = (
        (solved, None, None) if isinstance(solved, Solution) else (solved.solution, solved.constant, solved.estimate)
    )
    checked, states, probes = audit(solution), component_states(solution), probe_readings(solution)
    rises = unit_rises(solution) if thorough else np.zeros((solution.sheets.size, 0))
    lumped = lumped_of(solution) if thorough else []
    return Findings(
        solution=solution,
        estimate=estimate,
        audit=checked,
        components=states,
        limiting=limiting(states),
        probes=probes,
        datasheet=datasheet_points(solution, states, probes),
        unit_rises=rises,
        coupling=coupling(solution, rises) if thorough else Coupling((), np.zeros((0, 0)), np.zeros((0, 0))),
        spreading=spreading_resistances(solution, rises) if thorough else [],
        budgets=[budget_of(solution, source) for source in solution.sheets.stack.sources if source.power > 0],
        # With the factor that the unit rises have made, fewer steps lead on from here.
        sustainable=sustainable_power(replace(solution, near=solution.system) if thorough else solution),
        lumped=lumped,
        ladders=ladders(solution, lumped, constant) if thorough else [],
        flows=flow_readings(solution),
        limits=profile_limits(solution) if thorough else [],
        films=film_readings(solution),
        loop_gain=gain_of(solution),
    )
