"""Where bodies meet films, held faces, rims and each other, as operators on the plan mesh.

Joint      +g M on both faces, -g M across;   film   +h M on a face, heat h M T_coolant.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.loads import element_values
from plancha.fem.plan import EDGE_MASS, PlanPattern, PlanSpace, rim_edges
from plancha.fem.slabs import Entries, Slab, block_entries, scattered
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Film, Held, Joint, Rim, Stack, touching
from plancha.geometry.grid import Grid


@dataclass(frozen=True)
class Exchange:
    """A film, rim or joint as assembled: symmetric matrix on the unknowns and what it tells about heat.

    Heat out through a film is ``weights . (T - temperature)`` over ``unknowns``, where weights are the row sums [W/K].
    """

    name: str
    matrix: sp.csr_array
    weights: np.ndarray
    temperature: float
    area: float
    body: int
    kind: str  # "film", "board" or "rim"

    def heat(self, temperature: np.ndarray) -> float:
        """Heat [W] that leaves at temperatures (unknowns,) [K]."""
        return float(self.weights @ temperature - self.weights.sum() * self.temperature)


def shared_elements(slabs: Sequence[Slab], joint: Joint) -> np.ndarray:
    """Elements that both bodies of a joint cover."""
    return np.intersect1d(slabs[joint.lower].pattern.elements, slabs[joint.upper].pattern.elements, assume_unique=True)


def face_matrix(
    space: PlanSpace, elements: np.ndarray, coefficient: np.ndarray | float
) -> tuple[PlanPattern, np.ndarray]:
    """Pattern and entries of the integral of coefficient u v over the elements."""
    pattern = space.pattern(elements)
    weight = np.broadcast_to(coefficient, len(elements))
    return pattern, pattern.gather(weight[:, None, None] * space.mass[elements])


def bare_elements(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], place: Film | Held) -> np.ndarray:
    """Elements of a body's face, inside the area if there is one, that no other body covers."""
    elements = slabs[place.body].pattern.elements
    if place.area is not None:
        elements = np.intersect1d(elements, space.within(place.area), assume_unique=True)
    for other in touching(stack, place.body, place.face):
        elements = np.setdiff1d(elements, slabs[other].pattern.elements, assume_unique=True)
    return elements


def film_of(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], film: Film, size: int) -> Exchange:
    elements = bare_elements(space, stack, slabs, film)
    h = element_values(space, film.coefficient, elements) if isinstance(film.coefficient, Grid) else film.coefficient
    pattern, entries = face_matrix(space, elements, h)
    unknowns = slabs[film.body].on_face(film.face, pattern.nodes)
    matrix = scattered(unknowns[pattern.rows, None], unknowns[pattern.columns, None], entries[:, None, None], size)
    kind = "board" if film.board else "film"
    return _exchange(film.name, matrix, film.temperature, space.areas[elements].sum(), film.body, kind)


def _exchange(name: str, matrix: sp.csr_array, temperature: float, area: float, body: int, kind: str) -> Exchange:
    weights = np.asarray(matrix.sum(axis=1)).ravel()
    return Exchange(name, matrix, weights, temperature, float(area), body, kind)


def joint_of(space: PlanSpace, slabs: Sequence[Slab], joint: Joint) -> Entries:
    pattern, entries = face_matrix(space, shared_elements(slabs, joint), 1.0 / joint.impedance)
    lower = slabs[joint.lower].on_face(COOLED_SIDE, pattern.nodes)
    upper = slabs[joint.upper].on_face(COMPONENT_SIDE, pattern.nodes)
    ends = np.column_stack([lower, upper])
    blocks = entries[:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return block_entries(ends[pattern.rows], ends[pattern.columns], blocks)


def _side_edges(space: PlanSpace, slab: Slab, side: str) -> np.ndarray:
    edges = rim_edges(space, slab.pattern.elements)
    if side == "all":
        return edges
    axis, end = {"left": (0, "min"), "right": (0, "max"), "lower": (1, "min"), "upper": (1, "max")}[side]
    ends = space.nodes[edges[:, :2], axis]
    bound = getattr(ends, end)()
    near = 1e-6 * np.ptp(space.nodes[slab.pattern.nodes], axis=0).max()
    return edges[(np.abs(ends - bound) < near).all(axis=1)]


def rim_of(space: PlanSpace, slabs: Sequence[Slab], rim: Rim, size: int) -> Exchange:
    slab = slabs[rim.body]
    edges = _side_edges(space, slab, rim.side)
    length = np.linalg.norm(space.nodes[edges[:, 1]] - space.nodes[edges[:, 0]], axis=1)
    scale = (rim.coefficient or 0.0) * slab.body.thickness * length
    blocks = scale[:, None, None, None, None] * np.einsum("ij,kl->ikjl", EDGE_MASS, slab.through.mass)
    unknowns = slab.unknowns[np.searchsorted(slab.pattern.nodes, edges)].reshape(len(edges), -1)
    width = unknowns.shape[1]
    matrix = scattered(unknowns, unknowns, blocks.reshape(len(edges), width, width), size)
    return _exchange(rim.name, matrix, rim.temperature, length.sum() * slab.body.thickness, rim.body, "rim")


def held_of(space: PlanSpace, stack: Stack, slabs: Sequence[Slab]):
    """Held unknowns (each once), their temperatures, and which named condition owns each."""
    names, unknowns, temperatures, owners = [], [np.zeros(0, int)], [np.zeros(0)], [np.zeros(0, int)]
    places: list[tuple[str, np.ndarray, float]] = []
    for place in stack.helds:
        nodes = np.unique(space.element_nodes[bare_elements(space, stack, slabs, place)])
        places.append((place.name, slabs[place.body].on_face(place.face, nodes), place.temperature))
    for rim in stack.rims:
        if rim.coefficient is None:
            slab = slabs[rim.body]
            nodes = np.unique(_side_edges(space, slab, rim.side))
            places.append(
                (rim.name, slab.unknowns[np.searchsorted(slab.pattern.nodes, nodes)].ravel(), rim.temperature)
            )
    for number, (name, some, temperature) in enumerate(places):
        names.append(name)
        unknowns.append(some)
        temperatures.append(np.full(len(some), temperature))
        owners.append(np.full(len(some), number))
    held, first = np.unique(np.concatenate(unknowns), return_index=True)
    return held, np.concatenate(temperatures)[first], np.concatenate(owners)[first], tuple(names)
