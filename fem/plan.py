"""Quadratic triangles in the plan: scikit-fem's element integrals, kept per element so that any coefficient is a weight."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
import shapely

from plancha.fem.patterns import EDGES_OF_TRIANGLE, PlanPattern, packed, plan_pattern
from plancha.geometry.mesh import Descent, PlanMesh, inside

EDGE_MASS = np.array([[4.0, -1.0, 2.0], [-1.0, 4.0, 2.0], [2.0, 2.0, 16.0]]) / 30  # quadratic, per length
PRODUCTS = (lambda u, v, w: u * v,)  # forms of two functions on the reference triangle
SLOPES = (  # along bb, cc, and bc + cb
    lambda u, v, w: u.grad[0] * v.grad[0],
    lambda u, v, w: u.grad[1] * v.grad[1],
    lambda u, v, w: u.grad[0] * v.grad[1] + u.grad[1] * v.grad[0],
)
ROUNDED = 1e-3  # of a triangle: how far beside the mesh a point of its rim may lie, whose corners are rounded


@dataclass(frozen=True)
class PlanSpace:
    """Quadratic functions on the plan mesh.

    Nodes are numbered as the triangles first meet them. ``element_nodes`` (triangles, 6): corners, then the nodes between corners 01,
    12, 02; ``met`` (n,): where among these, laid flat, each node stands first; ``origin`` (n,): which of the mesh's points, or, after
    these, of its sides' middles, each node is.
    """

    mesh: PlanMesh
    element_nodes: np.ndarray
    met: np.ndarray
    origin: np.ndarray
    patterns: dict[bytes, PlanPattern] = field(default_factory=dict, repr=False, compare=False)
    parts: dict[bytes, np.ndarray] = field(default_factory=dict, repr=False, compare=False)  # elements in shapes
    loads: dict[tuple, np.ndarray] = field(default_factory=dict, repr=False, compare=False)  # of power maps, laid once

    def pattern(self, elements: np.ndarray) -> PlanPattern:
        """The pattern of the plan matrices over the given elements (numbers), made once."""
        elements = elements.astype(np.int32, copy=False)
        key = elements.tobytes()
        if key not in self.patterns:
            is_middle = self.origin >= len(self.mesh.points)
            self.patterns[key] = plan_pattern(self.element_nodes, is_middle, elements)
        return self.patterns[key]

    def within(self, shape: shapely.Polygon) -> np.ndarray:
        """Elements (numbers, ascending) in a shape whose edges the mesh embeds, found once."""
        if shape.wkb not in self.parts:
            self.parts[shape.wkb] = np.flatnonzero(inside(self.mesh, shape)).astype(np.int32)
        return self.parts[shape.wkb]

    def conduction(self, k_xx: np.ndarray, k_yy: np.ndarray, k_xy: np.ndarray, elements: np.ndarray) -> np.ndarray:
        """Weights (elements, 3) of the reference slope products in grad(u) . k grad(v), for per-element conductivities."""
        ux, uy, vx, vy = self._sides_from_first_corner(elements)
        scale = 1 / (2 * self.areas[elements])
        # Slopes of the barycentric coordinates b and c along x and y are (vy, -vx) and (-uy, ux), over twice the area.
        weights = np.empty((len(scale), 3))
        weights[:, 0] = scale * (k_xx * vy * vy + k_yy * vx * vx - 2 * k_xy * vx * vy)
        weights[:, 1] = scale * (k_xx * uy * uy + k_yy * ux * ux - 2 * k_xy * ux * uy)
        weights[:, 2] = scale * (k_xy * (vy * ux + vx * uy) - k_xx * vy * uy - k_yy * vx * ux)
        return weights

    def products(self, coefficient: np.ndarray, elements: np.ndarray) -> np.ndarray:
        """Weights (elements, 1) of the reference products in c u v, for per-element coefficients."""
        return (2 * coefficient * self.areas[elements])[:, None]

    @cached_property
    def nodes(self) -> np.ndarray:
        """Where the nodes are (n, 2) [m]."""
        # By columns: x and y are taken apart more often than together.
        found = np.empty((len(self.origin), 2), order="F")
        for column, points, middles in zip(found.T, self.mesh.points.T, self.mesh.middles.T):
            np.take(np.concatenate([points, middles]), self.origin, out=column, mode="clip")
        return found

    @property
    def areas(self) -> np.ndarray:
        """Of the triangles (triangles,) [m2]."""
        return self.mesh.areas

    def _sides_from_first_corner(self, elements: np.ndarray) -> tuple[np.ndarray, ...]:
        """Along x and y (elements,) [m]: to the second corner, to the third."""
        corners = self.element_nodes[elements, :3].T.copy()
        x, y = (self.nodes[:, axis][corners] for axis in (0, 1))
        return x[1] - x[0], y[1] - y[0], x[2] - x[0], y[2] - y[0]

    @cached_property
    def coarser(self) -> "PlanSpace | None":
        """The functions on the mesh that this one was refined from."""
        return None if self.mesh.descent is None else plan_space(self.mesh.descent.parent)

    @property
    def descent(self) -> Descent:
        """How its mesh was refined, which it must be."""
        assert self.mesh.descent is not None
        return self.mesh.descent

    def families(self, elements: np.ndarray) -> np.ndarray:
        """All elements (numbers) that are parts of the coarsest mesh's triangles of which some elements are parts."""
        roots = self._roots
        is_some = np.zeros(int(roots.max()) + 1, bool)
        is_some[roots[elements]] = True
        return np.flatnonzero(is_some[roots])

    @property
    def _roots(self) -> np.ndarray:
        """The triangle (number) of the coarsest mesh that each is part of."""
        coarser = self.coarser
        return np.arange(len(self.element_nodes)) if coarser is None else coarser._roots[self.descent.parents]


def plan_space(mesh: PlanMesh) -> PlanSpace:
    """The quadratic functions on a plan mesh: nodes at points and middles of sides, numbered as the triangles first meet them.

    What belongs together then lies together in memory, as the triangles do. On straight triangles the integrals are those of the
    reference triangle, scaled by each triangle's area and its slopes.
    """
    count = len(mesh.points) + len(mesh.sides[0])
    every = np.concatenate([mesh.triangles, len(mesh.points) + mesh.sides[1]], axis=1)
    met = _first_met(every.ravel(), count)
    origin = every.ravel()[met]
    number = np.empty(count, np.int32)
    number[origin] = np.arange(count, dtype=np.int32)
    return PlanSpace(mesh, number[every], met, origin)


def _first_met(numbers: np.ndarray, count: int) -> np.ndarray:
    """Where in an array (n,) each of the numbers below ``count`` stands first, in the order in which they stand there."""
    place = np.empty(count, np.int32)
    place[numbers[::-1]] = np.arange(len(numbers), dtype=np.int32)[::-1]
    is_first = np.zeros(len(numbers), bool)
    is_first[place] = True
    return np.flatnonzero(is_first).astype(np.int32)


@cache
def packed_references() -> tuple[np.ndarray, np.ndarray]:
    """The reference integrals' different entries: products (1, 21), slope products (3, 21)."""
    products, slopes = reference_integrals()
    return packed(products), packed(slopes)


@cache
def reference_integrals() -> tuple[np.ndarray, np.ndarray]:
    """On the triangle (0,0), (1,0), (0,1), by scikit-fem: products (1, 6, 6); slope products along bb, cc, and bc + cb (3, 6, 6)."""
    from skfem import Basis, BilinearForm, ElementTriP2, MeshTri

    triangle = MeshTri(np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), np.array([[0], [1], [2]]))
    basis = Basis(triangle, ElementTriP2(), intorder=4)

    def integrals(forms) -> np.ndarray:
        return np.stack([BilinearForm(form).elemental(basis).tolocal()[0] for form in forms])

    return integrals(PRODUCTS), integrals(SLOPES)


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
