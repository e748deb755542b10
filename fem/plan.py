"""Quadratic triangles in the plan: scikit-fem's element integrals, kept per element so that any coefficient is a weight."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
import scipy.sparse as sp
import shapely

from plancha.geometry.mesh import PlanMesh, inside

EDGES_OF_TRIANGLE = np.array([[0, 1, 3], [1, 2, 4], [0, 2, 5]])  # two corners and the node between, local numbers
EDGE_MASS = np.array([[4.0, -1.0, 2.0], [-1.0, 4.0, 2.0], [2.0, 2.0, 16.0]]) / 30  # quadratic, per length
AT_ONCE = 100_000  # elements whose integrals are at hand together
NOTHING = 1e-9  # a coarser function's value that is rounding
ROUNDED = 1e-3  # of a triangle: how far beside the mesh a point of its rim may lie, whose corners are rounded


@dataclass(frozen=True)
class PlanPattern:
    """Where the element integrals of some elements go in a plan matrix over those elements' own nodes.

    ``nodes`` (n,) plan nodes; ``indptr``, ``columns`` the matrix's structure; ``slot`` (elements, 36) entry of each integral.
    """

    elements: np.ndarray
    nodes: np.ndarray
    indptr: np.ndarray
    columns: np.ndarray
    slot: np.ndarray

    @property
    def rows(self) -> np.ndarray:
        """Row of each entry."""
        return np.repeat(np.arange(len(self.nodes)), np.diff(self.indptr))

    def gather(self, integrals: np.ndarray) -> sp.csr_array:
        """The plan matrix (n, n) of element integrals (elements, 6, 6)."""
        return self.matrix(np.bincount(self.slot.ravel(), integrals.ravel(), len(self.columns)))

    def combined(self, weights: np.ndarray, references: np.ndarray) -> sp.csr_array:
        """The plan matrix (n, n) whose element integrals are weights (elements, r) of references (r, 6, 6)."""
        values = np.zeros(len(self.columns))
        for first in range(0, len(weights), AT_ONCE):
            some = slice(first, first + AT_ONCE)
            integrals = weights[some] @ references.reshape(-1, 36)
            values += np.bincount(self.slot[some].ravel(), integrals.ravel(), len(values))
        return self.matrix(values)

    def matrix(self, values: np.ndarray) -> sp.csr_array:
        """The plan matrix (n, n) of its entries."""
        return sp.csr_array((values, self.columns, self.indptr), shape=(len(self.nodes), len(self.nodes)))


def plan_pattern(element_nodes: np.ndarray, elements: np.ndarray) -> PlanPattern:
    """The pattern of the plan matrices over the given elements (numbers)."""
    nodes, local = _numbered(element_nodes[elements], int(element_nodes.max()) + 1)
    count, total = len(nodes), 36 * len(elements)
    rows, columns = np.repeat(local, 6, axis=1).ravel(), np.tile(local, (1, 6)).ravel()
    # Sorted by column, then stably by row: two passes of counting.
    by_column = sp.coo_array((np.arange(total, dtype=np.int32), (columns, _count(total))), shape=(count, total)).tocsr()
    order = by_column.data
    by_row = sp.coo_array((order, (rows[order], _count(total))), shape=(count, total)).tocsr()
    order = by_row.data
    sorted_rows, sorted_columns = rows[order], columns[order]
    is_first = np.ones(total, bool)
    is_first[1:] = (np.diff(sorted_rows) != 0) | (np.diff(sorted_columns) != 0)
    slot = np.empty(total, np.int32)
    slot[order] = np.cumsum(is_first, dtype=np.int32) - 1
    indptr = np.r_[0, np.cumsum(np.bincount(sorted_rows[is_first], minlength=count))].astype(np.int32)
    return PlanPattern(elements, nodes, indptr, sorted_columns[is_first], slot.reshape(-1, 36))


def _count(total: int) -> np.ndarray:
    return np.arange(total, dtype=np.int32)


def _numbered(nodes: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """The different numbers below ``count`` in an array, rising, and for each of its entries (same shape) the place among them."""
    is_used = np.zeros(count, bool)
    is_used[nodes] = True
    place = np.cumsum(is_used, dtype=np.int32) - 1
    return np.flatnonzero(is_used), place[nodes]


@dataclass(frozen=True)
class PlanSpace:
    """Quadratic functions on the plan mesh.

    ``nodes`` (n, 2) [m]; ``element_nodes`` (triangles, 6): corners, then the nodes between corners 01, 12, 02. ``slopes``
    (triangles, 3, 3) [-] are the weights of the reference triangle's slope products in those along xx, yy and, symmetrised, xy.
    """

    mesh: PlanMesh
    nodes: np.ndarray
    element_nodes: np.ndarray
    areas: np.ndarray
    slopes: np.ndarray
    patterns: dict[bytes, PlanPattern] = field(default_factory=dict, repr=False, compare=False)
    parts: dict[bytes, np.ndarray] = field(default_factory=dict, repr=False, compare=False)  # elements in shapes
    loads: dict[tuple, np.ndarray] = field(default_factory=dict, repr=False, compare=False)  # of power maps, laid once

    def pattern(self, elements: np.ndarray) -> PlanPattern:
        """The pattern of the plan matrices over the given elements (numbers), made once."""
        key = elements.tobytes()
        if key not in self.patterns:
            self.patterns[key] = plan_pattern(self.element_nodes, elements)
        return self.patterns[key]

    def within(self, shape: shapely.Polygon) -> np.ndarray:
        """Elements (numbers, ascending) in a shape whose edges the mesh embeds, found once."""
        if shape.wkb not in self.parts:
            self.parts[shape.wkb] = np.flatnonzero(inside(self.mesh, shape))
        return self.parts[shape.wkb]

    def conduction(self, k_xx: np.ndarray, k_yy: np.ndarray, k_xy: np.ndarray, elements: np.ndarray) -> np.ndarray:
        """Weights (elements, 3) of the reference slope products in grad(u) . k grad(v), for per-element conductivities."""
        own = self.slopes[elements]
        return k_xx[:, None] * own[:, 0] + k_yy[:, None] * own[:, 1] + k_xy[:, None] * own[:, 2]

    def products(self, coefficient: np.ndarray, elements: np.ndarray) -> np.ndarray:
        """Weights (elements, 1) of the reference products in c u v, for per-element coefficients."""
        return (2 * coefficient * self.areas[elements])[:, None]

    @cached_property
    def coarser(self) -> "PlanSpace | None":
        """The functions on the mesh that this one was refined from."""
        return None if self.mesh.parent is None else plan_space(self.mesh.parent)

    @cached_property
    def prolongation(self) -> sp.csr_array:
        """Values (nodes, coarser nodes) of the coarser functions at the nodes."""
        coarser, corners = self.coarser, self.element_nodes
        assert coarser is not None and self.mesh.parents is not None
        element = np.zeros(len(self.nodes), np.int32)
        element[corners] = np.arange(len(corners))[:, None]
        parents = self.mesh.parents[element]
        values = shape_values(barycentric(coarser, parents, self.nodes))
        values[np.abs(values) < NOTHING] = 0.0
        starts = np.arange(0, values.size + 1, 6)
        shape = (len(self.nodes), len(coarser.nodes))
        found = sp.csr_array((values.ravel(), coarser.element_nodes[parents].ravel(), starts), shape=shape)
        found.eliminate_zeros()
        found.sort_indices()
        return found

    @cached_property
    def coarser_nodes(self) -> np.ndarray:
        """Which nodes (coarser nodes,) are the coarser functions' own."""
        rows = np.repeat(np.arange(len(self.nodes)), np.diff(self.prolongation.indptr))
        own = self.prolongation.data > 1 - NOTHING
        found = np.empty(self.prolongation.shape[1], np.int32)
        found[self.prolongation.indices[own]] = rows[own]
        return found


def plan_space(mesh: PlanMesh) -> PlanSpace:
    """The quadratic functions on a plan mesh: scikit-fem's numbering; its integrals on one triangle serve all.

    On straight triangles the integrals are those of the reference triangle, scaled by each triangle's area and its slopes.
    """
    from skfem import Basis, ElementTriP2, MeshTri

    basis = Basis(MeshTri(mesh.points.T.copy(), mesh.triangles.T.copy()), ElementTriP2(), intorder=1)
    element_nodes, nodes = basis.element_dofs.T.astype(np.int32), basis.doflocs.T.copy()
    corners = nodes[element_nodes[:, :3]]
    (ux, uy), (vx, vy) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    double = ux * vy - uy * vx
    # Slopes of the reference coordinates b and c along x and y.
    bx, by, cx, cy = vy / double, -vx / double, -uy / double, ux / double
    size = np.abs(double)

    def slopes(b1, c1, b2, c2) -> np.ndarray:
        return np.stack([size * b1 * b2, size * c1 * c2, size * (b1 * c2 + c1 * b2) / 2], axis=1)

    along = [slopes(bx, cx, bx, cx), slopes(by, cy, by, cy), 2 * slopes(bx, cx, by, cy)]
    return PlanSpace(mesh, nodes, element_nodes, size / 2, np.stack(along, axis=1))


@cache
def reference_integrals() -> tuple[np.ndarray, np.ndarray]:
    """On the triangle (0,0), (1,0), (0,1), by scikit-fem: products (1, 6, 6); slope products along bb, cc, and bc + cb (3, 6, 6)."""
    from skfem import Basis, BilinearForm, ElementTriP2, MeshTri

    triangle = MeshTri(np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), np.array([[0], [1], [2]]))
    basis = Basis(triangle, ElementTriP2(), intorder=4)

    def integral(form) -> np.ndarray:
        return BilinearForm(form).elemental(basis).tolocal()[0]

    products = [integral(lambda u, v, w: u * v)]
    slopes = [
        integral(lambda u, v, w: u.grad[0] * v.grad[0]),
        integral(lambda u, v, w: u.grad[1] * v.grad[1]),
        integral(lambda u, v, w: u.grad[0] * v.grad[1] + u.grad[1] * v.grad[0]),
    ]
    return np.stack(products), np.stack(slopes)


def shape_values(barycentric: np.ndarray) -> np.ndarray:
    """The six quadratic functions (..., 6) at barycentric coordinates (..., 3)."""
    a, b, c = np.moveaxis(barycentric, -1, 0)
    return np.stack([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * a * c], axis=-1)


def barycentric(space: PlanSpace, elements: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Barycentric coordinates (..., 3) of points (..., 2) in the given elements (broadcast against the leading axes)."""
    corner = space.nodes[space.element_nodes[elements, :3]]
    origin, u, v = corner[..., 0, :], corner[..., 1, :] - corner[..., 0, :], corner[..., 2, :] - corner[..., 0, :]
    d = points - origin
    area = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    b = (d[..., 0] * v[..., 1] - d[..., 1] * v[..., 0]) / area
    c = (u[..., 0] * d[..., 1] - u[..., 1] * d[..., 0]) / area
    return np.stack([1 - b - c, b, c], axis=-1)


def locate(space: PlanSpace, point: tuple[float, float], elements: np.ndarray) -> tuple[int, np.ndarray]:
    """Which of the elements holds a point, and the six functions' values there.

    Raises
    ------
    ValueError
        If no element holds the point.
    """
    coordinates = barycentric(space, elements, np.asarray(point)[None, :])
    best = int(np.argmax(coordinates.min(axis=1)))
    if coordinates[best].min() < -ROUNDED:
        raise ValueError(f"point {point} lies in none of the elements")
    return int(elements[best]), shape_values(coordinates[best])


@dataclass(frozen=True)
class Peak:
    """A maximum: value, place (x, y) [m]."""

    value: float
    point: tuple[float, float]


def maximum(space: PlanSpace, values: np.ndarray, elements: np.ndarray) -> Peak:
    """The largest value of a quadratic function over some elements, sought on the polynomial itself.

    ``values`` (plan nodes,) are the function's nodal values; corners, stationary points of the sides and of the inside are compared.
    """
    return maxima(space, [values[space.element_nodes[elements]]], [elements])[0]


def maxima(space: PlanSpace, values: Sequence[np.ndarray], elements: Sequence[np.ndarray]) -> list[Peak]:
    """The largest value, as ``maximum`` has it, of each of several parts: nodal values (elements, 6) on its elements."""
    if not elements:
        return []
    candidates = _stationary_points(np.concatenate(values))
    found = np.einsum("ecf,ef->ec", shape_values(candidates), np.concatenate(values))
    corners = space.nodes[space.element_nodes[np.concatenate(elements), :3]]
    peaks, first = [], 0
    for part in elements:
        own = found[first : first + len(part)]
        element, candidate = np.unravel_index(int(np.argmax(own)), own.shape)
        x, y = candidates[first + element, candidate] @ corners[first + element]
        peaks.append(Peak(float(own[element, candidate]), (float(x), float(y))))
        first += len(part)
    return peaks


def _stationary_points(local: np.ndarray) -> np.ndarray:
    """Barycentric candidates (elements, 7, 3) for the maximum of quadratics with nodal values ``local`` (elements, 6)."""
    f0, f1, f2, f01, f12, f02 = local.T
    count = len(local)
    points = np.zeros((count, 7, 3))
    points[:, (0, 1, 2), (0, 1, 2)] = 1.0
    for number, (i, j, ends) in enumerate([(0, 1, (f0, f1, f01)), (1, 2, (f1, f2, f12)), (0, 2, (f0, f2, f02))]):
        curve, slope = 2 * (ends[0] + ends[1] - 2 * ends[2]), 4 * ends[2] - 3 * ends[0] - ends[1]
        s = np.clip(np.divide(-slope, 2 * curve, out=np.zeros(count), where=curve != 0), 0, 1)
        points[:, 3 + number, i], points[:, 3 + number, j] = 1 - s, s
    # f = f0 + g.x + x.H.x/2 in x = (b, c); the stationary point solves H x = -g.
    gb, gc = 4 * f01 - 3 * f0 - f1, 4 * f02 - 3 * f0 - f2
    hbb, hcc = 4 * (f0 + f1 - 2 * f01), 4 * (f0 + f2 - 2 * f02)
    hbc = 4 * (f0 + f12 - f01 - f02)
    det = hbb * hcc - hbc**2
    safe = np.abs(det) > 1e-14 * (np.abs(hbb * hcc) + hbc**2 + 1e-300)
    b = np.divide(hbc * gc - hcc * gb, det, out=np.full(count, -1.0), where=safe)
    c = np.divide(hbc * gb - hbb * gc, det, out=np.full(count, -1.0), where=safe)
    within = (b >= 0) & (c >= 0) & (b + c <= 1)
    b, c = np.where(within, b, 0.0), np.where(within, c, 0.0)
    points[:, 6] = np.column_stack([1 - b - c, b, c])
    return points


def rim_edges(space: PlanSpace, elements: np.ndarray) -> np.ndarray:
    """Sides (edges, 3) that belong to only one of the elements: two corners and the node between."""
    sides = space.element_nodes[elements][:, EDGES_OF_TRIANGLE].reshape(-1, 3)
    _, first, count = np.unique(sides[:, 2], return_index=True, return_counts=True)
    return sides[first[count == 1]]
