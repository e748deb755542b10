"""Integrals over coolant cells on a plan mesh that does not follow them: every triangle cut finely, each piece given to its cell.

Matrix and coupling come from the same points, and the functions on a triangle sum to one, so that what a solid loses
to the cells is what the cells gain, to rounding, however coarse the cut.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import PlanSpace, shape_values

PER_CELL = 2.0  # pieces of a triangle along a cell's shorter side
MOST_CUTS = 12  # pieces along a triangle's side
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
    def shorter_side(self) -> float:
        """Of the smallest cell [m]."""
        return float(min(np.diff(self.x).min(), np.diff(self.y).min()))

    @property
    def centres(self) -> np.ndarray:
        """Centres of the cells (nx, ny, 2) [m]."""
        x, y = (self.x[1:] + self.x[:-1]) / 2, (self.y[1:] + self.y[:-1]) / 2
        return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)


@cache
def cut_rule(cuts: int) -> tuple[np.ndarray, np.ndarray]:
    """Barycentric points (points, 3) and weights (points,), summing to 1, of a triangle cut into cuts^2 equal ones,
    degree 4 on each."""
    points, weights = [], []
    for a, weight in DEGREE_4:
        rest = 1 - 2 * a
        points += [(a, a, rest), (a, rest, a), (rest, a, a)]
        weights += [weight] * 3
    inner = np.array(points)
    upright = [(i, j) for i in range(cuts) for j in range(cuts - i)]
    turned = [(i, j) for i in range(1, cuts) for j in range(1, cuts - i + 1)]
    corners = np.array([(i, j) for i, j in upright] + [(i, j) for i, j in turned], float)
    sign = np.r_[np.ones(len(upright)), -np.ones(len(turned))]
    bc = (corners[:, None, :] + sign[:, None, None] * inner[None, :, :2]) / cuts
    bc = bc.reshape(-1, 2)
    return np.column_stack([1 - bc.sum(axis=1), bc]), np.tile(weights, len(corners)) / cuts**2


@dataclass(frozen=True)
class Pieces:
    """Some triangles (numbers) cut alike: cell of every piece's point (elements, points), its area [m2], functions (points, 6)."""

    elements: np.ndarray
    cell: np.ndarray
    area: np.ndarray
    functions: np.ndarray


def pieces(space: PlanSpace, elements: np.ndarray, grid: CellGrid) -> Iterator[Pieces]:
    """The triangles, cut finely enough for the cells, in groups that are cut alike."""
    corners = space.nodes[space.element_nodes[elements, :3]]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    cuts = np.clip(np.ceil(PER_CELL * longest / grid.shorter_side), 1, MOST_CUTS).astype(int)
    for count in np.unique(cuts):
        chosen = cuts == count
        points, weights = cut_rule(int(count))
        places = np.einsum("pk,ekd->epd", points, corners[chosen])
        area = space.areas[elements[chosen]][:, None] * weights
        yield Pieces(elements[chosen], grid.at(places), area, shape_values(points))


@dataclass(frozen=True)
class CellIntegrals:
    """Over some triangles: ``matrix`` (elements, 6, 6), integrals of c u v, and ``coupling`` (cells, plan nodes),
    integrals of c u, for a coefficient c that each cell has its own of; pieces in no cell count for nothing."""

    matrix: np.ndarray
    coupling: sp.csr_array


def cell_integrals(space: PlanSpace, elements: np.ndarray, grid: CellGrid, coefficient: np.ndarray) -> CellIntegrals:
    """Integrals over the cells of a grid.

    Parameters
    ----------
    elements : array of int
        Triangles.
    coefficient : array (cells,)
        Of each cell, by its number.
    """
    matrix = np.zeros((len(elements), 6, 6))
    values, rows, columns = [], [], []
    place = np.zeros(len(space.areas), int)
    place[elements] = np.arange(len(elements))
    with_none = np.append(coefficient, 0.0)  # number -1 is the last
    for part in pieces(space, elements, grid):
        weight = part.area * with_none[part.cell]
        products = np.einsum("pi,pj->pij", part.functions, part.functions).reshape(len(part.functions), 36)
        matrix[place[part.elements]] += (weight @ products).reshape(-1, 6, 6)
        inside = np.broadcast_to(part.cell[:, :, None] >= 0, (*part.cell.shape, 6))
        values.append((weight[:, :, None] * part.functions)[inside])
        rows.append(np.broadcast_to(part.cell[:, :, None], inside.shape)[inside])
        columns.append(np.broadcast_to(space.element_nodes[part.elements][:, None, :], inside.shape)[inside])
    shape = (len(coefficient), len(space.nodes))
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return CellIntegrals(matrix, sp.coo_array(entries, shape=shape).tocsr())
