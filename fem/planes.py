"""Means and peaks over parts of a body's face, and the heat that crosses a joint: what budgets and resistances are made of."""

import numpy as np

from plancha.fem.exchanges import bare_elements, face_matrix, joint_conductance, shared_elements
from plancha.fem.plan import PlanSpace
from plancha.fem.sheets import slab_matrix, source_elements
from plancha.fem.slabs import Slab
from plancha.fem.solve import Solution
from plancha.fem.terms import Operator
from plancha.geometry.air import Bank
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Film, Held, Source
from plancha.geometry.mesh import inside


def plan_mean(space: PlanSpace, values: np.ndarray, elements: np.ndarray) -> float:
    """Area mean of a quadratic function with nodal values (plan nodes,) over some elements."""
    # The integral of a quadratic over a triangle is the mean of its middle nodes times the area.
    middles = values[space.element_nodes[elements, 3:]].mean(axis=1)
    areas = space.areas[elements]
    return float(middles @ areas / areas.sum())


def face_values(slab: Slab, space: PlanSpace, field: np.ndarray, face: int) -> np.ndarray:
    """Values (plan nodes,) on a body's face of a field (unknowns,); NaN off the body."""
    values = np.full(len(space.nodes), np.nan)
    values[slab.pattern.nodes] = field[slab.unknowns[:, slab.through.face(face)]]
    return values


def active_elements(solution: Solution, source: Source) -> np.ndarray:
    """Elements of a component's active face."""
    return source_elements(solution.sheets.slabs, solution.sheets.space, source)


def contact_elements(solution: Solution, joint: int) -> np.ndarray:
    """Elements on which a joint's two bodies touch."""
    return shared_elements(solution.sheets.slabs, solution.sheets.stack.joints[joint])


def cooled_elements(solution: Solution, place: Film | Held | Bank) -> np.ndarray:
    """Elements of the face that a film, a held face or a bank of fins acts on."""
    sheets = solution.sheets
    if isinstance(place, Bank):
        elements = sheets.slabs[place.base].pattern.elements
        return elements[inside(sheets.space.mesh, place.outline)[elements]]
    return bare_elements(sheets.space, sheets.stack, sheets.slabs, place)


def joint_heat(
    solution: Solution, joint: int, rise: np.ndarray | None = None, powers: np.ndarray | None = None
) -> float:
    """Heat [W] that crosses a joint from its lower to its upper body.

    Of the solution; or of a ``rise`` (unknowns,) by source ``powers`` with all coolants at 0 and the solution's conductivities.
    """
    sheets = solution.sheets
    link = sheets.stack.joints[joint]
    field = solution.temperature if rise is None else rise
    lower, upper = sheets.slabs[link.lower], sheets.slabs[link.upper]
    shared = shared_elements(sheets.slabs, link)
    if link.impedance > 0:
        plan = face_matrix(sheets.space, shared, joint_conductance(sheets.space, link, shared))
        nodes = plan.pattern.nodes
        drop = field[lower.on_face(COOLED_SIDE, nodes)] - field[upper.on_face(COMPONENT_SIDE, nodes)]
        return float(plan.row_sums @ drop)
    taken = _heat_taken(solution, link.upper, field, rise is None, solution.powers if powers is None else powers)
    return float(taken[upper.on_face(COMPONENT_SIDE, np.unique(sheets.space.element_nodes[shared]))].sum())


def _heat_taken(solution: Solution, body: int, field: np.ndarray, coolants: bool, powers: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that a body takes in: what it conducts on, plus its films and rims carry off, less its sources."""
    sheets = solution.sheets
    taken = slab_matrix(sheets, sheets.slabs[body], solution.temperature) @ field
    for exchange in (each.at(solution.temperature) for each in sheets.exchanges if each.body == body):
        taken += exchange.matrix @ (field - (exchange.temperature if coolants else 0.0))
    for stream in sheets.streams:
        for wall in (wall for wall in stream.walls if wall.body == body):
            means = stream.means(field) if coolants else stream.mixing @ field[stream.unknowns]
            taken += Operator(sheets.size, wall.terms) @ field - wall.exchange.T @ means
    for number, source in enumerate(sheets.stack.sources):
        if source.chain[0] == body:
            taken -= powers[number] * sheets.unit_loads[number]
    return taken
