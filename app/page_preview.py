"""Quick answers: a changed design solved on a mesh that is kept, from the last answer's factor and temperatures."""

from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.nearby import Neighbourhood, NotNearby, is_within_reach, nearby, neighbourhood_of
from plancha.fem.operating import operating
from plancha.fem.plan import PlanSpace, plan_space
from plancha.fem.refinement import refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import Sheets, sheets_of
from plancha.fem.solve import Solution, SolveFailed, solve
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.power_map import PowerMap

SETTLED = 1e-4  # share of the heat that may be out of balance in a quick answer
MOST_UNKNOWNS = 150_000  # of a quick answer; beyond, it is on a coarser mesh


@dataclass(frozen=True)
class Kept:
    """What quick answers share: the plan of outlines that it serves, its mesh and thickness functions, the last answer.

    ``around`` are the answers near it. ``is_coarse`` tells whether the full solve's first mesh would have been too large.
    """

    plan: tuple
    space: PlanSpace
    through: tuple[Through, ...]
    is_coarse: bool
    last: Solution | None = None
    around: Neighbourhood | None = None


def quick_solution(stack: Stack, kept: Kept | None) -> tuple[Solution, Kept]:
    """The solution of a stack on the mesh kept, or on a new one where that does not serve, and what is to be kept for the next.

    Raises
    ------
    SolveFailed, Runaway
        If the temperatures do not settle.
    """
    stack, _ = snapped_stack(stack)
    plan = plan_of(stack)
    if kept is None or kept.plan != plan:
        kept = _begun(stack, plan)
    sheets = sheets_of(stack, kept.space, kept.through)
    if kept.around is not None and is_within_reach(sheets):
        try:
            solution, around = nearby(kept.around, sheets)
            return solution, replace(kept, last=solution, around=around)
        except (NotNearby, SolveFailed):
            pass  # by itself then, and a new neighbourhood of it
    solution = _solved(sheets, kept.last)
    anew = neighbourhood_of(solution) if is_within_reach(sheets) else None
    return solution, replace(kept, last=solution, around=anew)


def plan_of(stack: Stack) -> tuple:
    """What a mesh and its unknowns are made for: outlines and what touches what, but no thickness, conductivity or number of heat."""
    bodies = [(b.outline.wkb, b.sheet, *(patch.outline.wkb for patch in b.patches)) for b in stack.bodies]
    joints = [(j.lower, j.upper, j.impedance == 0, *(p.outline.wkb for p in j.patches)) for j in stack.joints]
    sources = [(s.chain, s.face, s.outline.wkb, s.heat_depth, _map_key(s.power_map)) for s in stack.sources]
    films = [(each.body, each.face, each.area and each.area.wkb) for each in stack.films]
    helds = [(each.body, each.face, each.area and each.area.wkb) for each in stack.helds]
    banks = [(b.base, b.face, b.is_film, *(region.outline.wkb for region in b.regions)) for b in stack.banks]
    return tuple(map(tuple, (bodies, joints, sources, films, helds, banks, (stack.mesh_size,))))


def _map_key(power_map: PowerMap | None) -> bytes:
    """What of a map is embedded in the mesh: its cells' edges."""
    return b"" if power_map is None else power_map.x.tobytes() + power_map.y.tobytes()


def _begun(stack: Stack, plan: tuple) -> Kept:
    """A mesh for quick answers: the one that a full solve would begin with, or its parent where that is too large."""
    coarse, through = plan_mesh(stack), tuple(through_of(stack))
    layers = sum(len(each.nodes) for each in through)
    is_coarse = 4 * 2 * len(coarse.triangles) * layers / max(len(through), 1) > MOST_UNKNOWNS
    # Without a parent: a factor, whose many steps with other numbers cost less than one solve on nested meshes.
    mesh = replace(coarse if is_coarse else refined(coarse), descent=None)
    return Kept(plan, plan_space(mesh), through, is_coarse)


def _solved(sheets: Sheets, last: Solution | None) -> Solution:
    """From the last answer where it helps: with coolants a factor of its own is had sooner than many steps with an old one."""
    serves = last is not None and last.sheets.size == sheets.size and not sheets.streams
    if serves:
        try:
            return operating(sheets, start=last, settled=SETTLED)
        except SolveFailed:
            pass
    return operating(sheets, settled=SETTLED)


def own_rises(solution: Solution, number: int) -> np.ndarray:
    """Temperature changes (unknowns,) [K] per watt of one component, from a second quick solve with more of its heat.

    Exact up to what a quick answer leaves where nothing depends on temperature; else of a change as large as all heat.
    """
    more = float(max(solution.powers.sum(), 1.0))
    powers = solution.powers.copy()
    powers[number] += more
    after = solve(solution.sheets, powers, start=solution, settled=1e-2 * SETTLED)
    return (after.temperature - solution.temperature) / more
