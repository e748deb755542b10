"""Where bodies meet films, held faces, rims and each other, as operators on the plan mesh.

Joint      +g M on both faces, -g M across;   film   +h M on a face, heat h M T_coolant.

A face that cools by itself has an h that follows its mean temperature: its exchange holds M alone, and ``coefficient``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from plancha.fem.films import convection_at, radiation_at
from plancha.fem.loads import element_values
from plancha.fem.patterns import EDGES_OF_TRIANGLE, PlanMatrix, packed
from plancha.fem.plan import EDGE_MASS, PlanSpace, packed_references, rim_edges
from plancha.fem.slabs import Slab
from plancha.fem.terms import Operator, Term
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Film, Held, Joint, Rim, Stack, touching
from plancha.geometry.grid import Grid


@dataclass(frozen=True)
class Exchange:
    """A film or rim as assembled: symmetric operator on the unknowns and what it tells about heat.

    Heat out through a film is ``weights . (T - temperature)`` over ``unknowns``, where weights are the row sums [W/K]. Where a
    ``coefficient`` [W/m2/K] follows the mean temperature [K] of the face, matrix and weights are those of 1 W/m2/K.
    ``film`` is the number of the film it belongs to.
    """

    name: str
    matrix: Operator
    weights: np.ndarray
    temperature: float
    area: float
    body: int
    kind: str  # "film", "natural", "radiation", "board" or "rim"
    film: int | None = None
    coefficient: Callable[[float], float] | None = None

    def heat(self, temperature: np.ndarray) -> float:
        """Heat [W] that leaves at temperatures (unknowns,) [K]."""
        return self.coefficient_at(temperature) * float(
            self.weights @ temperature - self.weights.sum() * self.temperature
        )

    def coefficient_at(self, temperature: np.ndarray) -> float:
        """Coefficient [W/m2/K] at temperatures (unknowns,) [K]; 1 where the matrix holds it already."""
        return 1.0 if self.coefficient is None else self.coefficient(self.mean(temperature))

    def mean(self, temperature: np.ndarray) -> float:
        """Mean [K] over what it acts on, of temperatures (unknowns,) [K]."""
        return float(self.weights @ temperature / self.weights.sum())

    def at(self, temperature: np.ndarray) -> "Exchange":
        """The exchange with the coefficient that it has at temperatures (unknowns,) [K]."""
        return self if self.coefficient is None else self._frozen(self.coefficient_at(temperature))

    def tangent(self, temperature: np.ndarray) -> "Exchange":
        """The exchange whose coefficient is the slope of heat over the face's mean temperature, at temperatures (unknowns,) [K]."""
        if self.coefficient is None:
            return self
        mean, own = self.mean(temperature), self.coefficient
        step = SLOPE_STEP * max(abs(mean - self.temperature), 1.0)
        flux = [own(each) * (each - self.temperature) for each in (mean, mean + step)]
        return self._frozen(max((flux[1] - flux[0]) / step, LEAST_SLOPE * own(mean)))

    def _frozen(self, scale: float) -> "Exchange":
        return replace(self, matrix=self.matrix.scaled(scale), weights=scale * self.weights, coefficient=None)


SLOPE_STEP = 1e-3  # of the rise, at least of 1 K
LEAST_SLOPE = 0.1  # of the coefficient; radiation from far below its surroundings comes near it


def shared_elements(slabs: Sequence[Slab], joint: Joint) -> np.ndarray:
    """Elements that both bodies of a joint cover."""
    return np.intersect1d(slabs[joint.lower].pattern.elements, slabs[joint.upper].pattern.elements, assume_unique=True)


def face_matrix(space: PlanSpace, elements: np.ndarray, coefficient: np.ndarray | float) -> PlanMatrix:
    """The integrals of coefficient u v over elements."""
    weights = space.products(np.broadcast_to(coefficient, len(elements)), elements)
    return PlanMatrix(space.pattern(elements), weights, packed_references()[0])


def bare_elements(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], place: Film | Held) -> np.ndarray:
    """Elements of a body's face, inside the area if there is one, that no other body covers."""
    elements = slabs[place.body].pattern.elements
    if place.area is not None:
        elements = np.intersect1d(elements, space.within(place.area), assume_unique=True)
    for other in touching(stack, place.body, place.face):
        elements = np.setdiff1d(elements, slabs[other].pattern.elements, assume_unique=True)
    return elements


def films_of(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], size: int) -> list[Exchange]:
    """The exchanges of all films: what is given, natural convection and radiation each by itself."""
    found = []
    for number, film in enumerate(stack.films):
        elements = bare_elements(space, stack, slabs, film)
        own = _unforced_films(space, slabs, film, elements, size)
        if isinstance(film.coefficient, Grid) or film.coefficient > 0:
            own.insert(0, _given_film(space, slabs, film, elements, size))
        found += [replace(each, film=number) for each in own]
    return found


def _given_film(space: PlanSpace, slabs: Sequence[Slab], film: Film, elements: np.ndarray, size: int) -> Exchange:
    h = element_values(space, film.coefficient, elements) if isinstance(film.coefficient, Grid) else film.coefficient
    matrix = _film_matrix(space, slabs, film, elements, h, size)
    kind = "board" if film.board else "film"
    return _exchange(film.name, matrix, film.temperature, space.areas[elements].sum(), film.body, kind)


def _unforced_films(
    space: PlanSpace, slabs: Sequence[Slab], film: Film, elements: np.ndarray, size: int
) -> list[Exchange]:
    own = film.unforced
    if own is None:
        return []
    matrix, area = _film_matrix(space, slabs, film, elements, 1.0, size), space.areas[elements].sum()
    found = []
    if own.natural:
        natural = _exchange(film.name, matrix, film.temperature, area, film.body, "natural")
        found.append(replace(natural, coefficient=partial(convection_at, film)))
    if own.emissivity > 0:
        radiated = _exchange(f"{film.name}: radiation", matrix, own.surroundings, area, film.body, "radiation")
        found.append(replace(radiated, coefficient=partial(radiation_at, film)))
    return found


def _film_matrix(
    space: PlanSpace,
    slabs: Sequence[Slab],
    film: Film,
    elements: np.ndarray,
    coefficient: np.ndarray | float,
    size: int,
) -> Operator:
    plan = face_matrix(space, elements, coefficient)
    unknowns = slabs[film.body].on_face(film.face, plan.pattern.nodes)[:, None]
    return Operator(size, (Term(unknowns, (plan,), np.ones((1, 1, 1))),))


def _exchange(name: str, matrix: Operator, temperature: float, area: float, body: int, kind: str) -> Exchange:
    weights = np.zeros(matrix.size)
    for term in matrix.own:  # unknowns of one term are each there once
        for plan, through in zip(term.plans, term.throughs):
            weights[term.unknowns] += np.outer(plan.row_sums, through.sum(axis=1))
    return Exchange(name, matrix, weights, temperature, float(area), body, kind)


def joint_conductance(space: PlanSpace, joint: Joint, elements: np.ndarray) -> np.ndarray:
    """Conductance [W/m2/K] of a joint on elements (numbers): its mean over each; its patches have their own."""
    if joint.conductance is None:
        found = np.full(len(elements), 1.0 / joint.impedance)
    else:
        found = element_values(space, joint.conductance, elements)
    for patch in joint.patches:
        found[np.isin(elements, space.within(patch.outline), assume_unique=True)] = patch.conductance
    return found


def joint_of(space: PlanSpace, slabs: Sequence[Slab], joint: Joint) -> Term:
    """A joint that is no perfect contact."""
    shared = shared_elements(slabs, joint)
    plan = face_matrix(space, shared, joint_conductance(space, joint, shared))
    lower = slabs[joint.lower].on_face(COOLED_SIDE, plan.pattern.nodes)
    upper = slabs[joint.upper].on_face(COMPONENT_SIDE, plan.pattern.nodes)
    return Term(np.column_stack([lower, upper]), (plan,), np.array([[[1.0, -1.0], [-1.0, 1.0]]]))


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
    """A rim that convects, over all of the body's thickness."""
    slab = slabs[rim.body]
    edges = _side_edges(space, slab, rim.side)
    length = np.linalg.norm(space.nodes[edges[:, 1]] - space.nodes[edges[:, 0]], axis=1)
    scale = (rim.coefficient or 0.0) * slab.body.thickness * length
    plan = _edge_matrix(space, slab, edges[:, 2], scale)
    unknowns = slab.unknowns[np.searchsorted(slab.pattern.nodes, plan.pattern.nodes)]
    matrix = Operator(size, (Term(unknowns, (plan,), slab.through.mass[None]),))
    return _exchange(rim.name, matrix, rim.temperature, length.sum() * slab.body.thickness, rim.body, "rim")


def _edge_matrix(space: PlanSpace, slab: Slab, middles: np.ndarray, scale: np.ndarray) -> PlanMatrix:
    """The integrals of u v along edges of a body, known by the nodes in their middle, times ``scale`` [m].

    They are over whole families of triangles, where the nodes of all coarser functions are that reach the edges.
    """
    per_node = np.zeros(len(space.nodes))
    per_node[middles] = scale
    local = space.element_nodes[slab.pattern.elements]
    elements = space.families(slab.pattern.elements[np.isin(local[:, 3:], middles).any(axis=1)])
    references = np.zeros((3, 6, 6))
    for reference, edge in zip(references, EDGES_OF_TRIANGLE):
        reference[np.ix_(edge, edge)] = EDGE_MASS
    return PlanMatrix(space.pattern(elements), per_node[space.element_nodes[elements, 3:]], packed(references))


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
