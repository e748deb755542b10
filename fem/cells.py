"""Integrals over coolant cells on a plan mesh that does not follow them: every triangle cut along the cells' edges, exactly.

Matrix and coupling come from the same points, and the functions on a triangle sum to one, so that what a solid loses
to the cells is what the cells gain, to rounding.
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.loads import overlaps
from plancha.fem.plan import PlanSpace, barycentric, shape_values

# Six points of degree 4 on a triangle (Dunavant 1985, from memory; the weights sum to 1).
DEGREE_4 = ((0.091576213509771, 0.109951743655322), (0.445948490915965, 0.223381589678011))


@dataclass(frozen=True)
class CellGrid:
    """A rectangle of the plan cut into cells: edges along x (nx + 1,) and y (ny + 1,) [m]; ``number`` (nx, ny) tells
    each cell's number, -1 where there is none."""

    x: np.ndarray
    y: np.ndarray
    number: np.ndarray

    def at(self, points: np.ndarray) -> np.ndarray:
        """Numbers (...,) of the cells that hold points (..., 2); a point outside takes the nearest cell."""
        column = np.clip(np.searchsorted(self.x, points[..., 0], side="right") - 1, 0, len(self.x) - 2)
        row = np.clip(np.searchsorted(self.y, points[..., 1], side="right") - 1, 0, len(self.y) - 2)
        return self.number[column, row]

    @property
    def centres(self) -> np.ndarray:
        """Centres of the cells (nx, ny, 2) [m]."""
        x, y = (self.x[1:] + self.x[:-1]) / 2, (self.y[1:] + self.y[:-1]) / 2
        return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)


def rule() -> tuple[np.ndarray, np.ndarray]:
    """Barycentric points (6, 3) and weights (6,), summing to 1, that integrate up to degree 4 exactly over a triangle."""
    points, weights = [], []
    for a, weight in DEGREE_4:
        rest = 1 - 2 * a
        points += [(a, a, rest), (a, rest, a), (rest, a, a)]
        weights += [weight] * 3
    return np.array(points), np.array(weights)


@dataclass(frozen=True)
class Pieces:
    """What some triangles (numbers ``elements``) share with a grid's cells, piece by piece.

    ``element`` (pieces,) is the place of its triangle among ``elements``, rising; ``cell`` (pieces,) its cell's number. Integrals
    over the piece: ``mass`` (pieces, 36) of products and ``load`` (pieces, 6) of the triangle's six functions [m2].
    """

    space: PlanSpace
    elements: np.ndarray
    element: np.ndarray
    cell: np.ndarray
    mass: np.ndarray
    load: np.ndarray

    def of(self, elements: np.ndarray) -> "Pieces":
        """The pieces of some of the triangles, whose numbers must rise."""
        place = np.full(len(self.space.areas), -1)
        place[elements] = np.arange(len(elements))
        mine = place[self.elements[self.element]]
        keep = mine >= 0
        return Pieces(self.space, elements, mine[keep], self.cell[keep], self.mass[keep], self.load[keep])


def pieces_of(space: PlanSpace, elements: np.ndarray, grid: CellGrid) -> Pieces:
    """The pieces that triangles share with the cells of a grid; what lies in no cell is left out.

    Parameters
    ----------
    elements : array of int
        Numbers of triangles, rising.
    """
    shared = overlaps(space, grid.x, grid.y, elements)
    cell = grid.number.T.ravel()[shared.cell]
    keep = cell >= 0
    element, corners = shared.element[keep], shared.corners[keep]
    mass, load = _integrated(space, element, corners)
    return Pieces(space, elements, np.searchsorted(elements, element), cell[keep], mass, load)


def _integrated(space: PlanSpace, element: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Integrals of products (pieces, 36) and functions (pieces, 6) over convex polygons (pieces, corners, 2), each in its element."""
    points, weights = rule()
    places = barycentric(space, element[:, None], corners)
    mass, load = np.zeros((len(element), 36)), np.zeros((len(element), 6))
    first = corners[:, 0]
    for number in range(1, corners.shape[1] - 1):
        one, other = corners[:, number] - first, corners[:, number + 1] - first
        area = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]) / 2
        some = np.flatnonzero(area > 0)
        values = shape_values(points @ places[some][:, [0, number, number + 1]])  # (some, 6 points, 6 functions)
        weighted = values * (area[some, None] * weights)[:, :, None]
        mass[some] += (weighted.transpose(0, 2, 1) @ values).reshape(-1, 36)
        load[some] += weighted.sum(axis=1)
    return mass, load


@dataclass(frozen=True)
class CellIntegrals:
    """Over some triangles: ``matrix`` (elements, 6, 6), integrals of c u v, and ``coupling`` (cells, plan nodes),
    integrals of c u, for a coefficient c that each cell has its own of."""

    matrix: np.ndarray
    coupling: sp.coo_array


def cell_integrals(pieces: Pieces, coefficient: np.ndarray) -> CellIntegrals:
    """Integrals over cells with a coefficient (cells,) of each, by its number."""
    own = coefficient[pieces.cell]
    taking = np.flatnonzero(own)
    count = len(pieces.elements)
    weights = sp.csr_array((own, (pieces.element, np.arange(len(own)))), shape=(count, len(own)))
    nodes = pieces.space.element_nodes[pieces.elements[pieces.element[taking]]]
    values = own[taking, None] * pieces.load[taking]
    rows = np.broadcast_to(pieces.cell[taking, None], nodes.shape)
    coupling = sp.coo_array(
        (values.ravel(), (rows.ravel(), nodes.ravel())), shape=(len(coefficient), len(pieces.space.nodes))
    )
    return CellIntegrals((weights @ pieces.mass).reshape(count, 6, 6), coupling)
