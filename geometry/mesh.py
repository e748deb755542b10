"""One conforming triangle mesh of the union of all outlines, every outline's edge embedded, by pygmsh."""

import math
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

SNAP = 2e-4  # share of the smallest outline's shorter side within which two edges are taken as one
GROWTH = 0.4  # triangle side gained per distance from a source
LARGEST = 1 / 6  # of the whole plan's longer side, where nothing else asks for less
NODING_GRID = 1e-9  # of the plan's longer side: corners are rounded to about this, in decimals that typed numbers keep


@dataclass(frozen=True)
class SizeZone:
    """Triangles inside the box (left, bottom, right, top) [m] have sides of at most ``size`` [m]."""

    box: tuple[float, float, float, float]
    size: float


@dataclass(frozen=True)
class Descent:
    """How a mesh was refined from its ``parent``.

    Of each triangle (m,): ``parents`` has the number of the one that it is part of, ``part`` which part of it; ``parts``
    (kinds, 3, 3) has the corners of each kind of part in the parent triangle's barycentric coordinates.
    """

    parent: "PlanMesh"
    parents: np.ndarray
    part: np.ndarray
    parts: np.ndarray


@dataclass(frozen=True)
class PlanMesh:
    """Triangles in the plan: points (n, 2) [m], triangles (m, 3), counter-clockwise; ``snapped`` tells what was merged."""

    points: np.ndarray
    triangles: np.ndarray
    snapped: tuple[str, ...] = ()
    descent: Descent | None = None

    @cached_property
    def sides(self) -> tuple[np.ndarray, np.ndarray]:
        """All sides' ends (sides, 2), the lower number first; the sides of each triangle (triangles, 3), between its corners 01, 12,
        02."""
        if self.descent is not None and self.descent.parts is QUARTERS:
            return _sides_of_quarters(self.descent.parent)
        from scipy.sparse import coo_array

        one, other = self.triangles.ravel(), self.triangles[:, [1, 2, 0]].ravel()
        low, high = np.minimum(one, other), np.maximum(one, other)
        count, shape = len(low), (len(self.points), len(self.points))
        both = coo_array((np.arange(count, dtype=np.int32), (low, high)), shape=shape)
        both.has_canonical_format = True  # nothing is to be added up: two passes of counting sort them
        order = both.tocsc().tocsr().data
        ends = np.column_stack([low[order], high[order]])
        is_first = np.ones(count, bool)
        is_first[1:] = (ends[1:] != ends[:-1]).any(axis=1)
        number = np.empty(count, np.int32)
        number[order] = np.cumsum(is_first, dtype=np.int32) - 1
        return ends[is_first], number.reshape(-1, 3)

    @property
    def middles(self) -> np.ndarray:
        """Middles of the sides (sides, 2) [m]."""
        one, other = (self.points[end] for end in self.sides[0].T)
        return (one + other) / 2

    @cached_property
    def areas(self) -> np.ndarray:
        """Of the triangles (triangles,) [m2]; of parts, their share of the triangle that they are part of."""
        if self.descent is not None:
            shares = np.abs(np.linalg.det(self.descent.parts))
            return self.descent.parent.areas[self.descent.parents] * shares[self.descent.part]
        a, b, c = (self.points[corner] for corner in self.triangles.T)
        (ux, uy), (vx, vy) = (b - a).T, (c - a).T
        return np.abs(ux * vy - uy * vx) / 2

    @cached_property
    def centres(self) -> np.ndarray:
        """Centres of the triangles (triangles, 2) [m]."""
        a, b, c = (self.points[corner] for corner in self.triangles.T)
        return (a + b + c) / 3

    def __repr__(self) -> str:
        return f"PlanMesh({len(self.points)} points, {len(self.triangles)} triangles)"


def inside(mesh: PlanMesh, shape: shapely.Polygon) -> np.ndarray:
    """Which triangles lie in a shape whose edges the mesh embeds; bool, shape (triangles,)."""
    x, y = mesh.centres.T
    left, bottom, right, top = shape.bounds
    within = (x > left) & (x < right) & (y > bottom) & (y < top)
    if not shape.equals(shapely.box(*shape.bounds)):
        within[within] = shapely.contains_xy(shape, x[within], y[within])
    return within


def triangles_at(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Number of the triangle that holds each point, the nearest where rounding leaves it beside all; shape (points,).

    ``corners`` (triangles, 3, 2) and ``points`` (points, 2) in one unit. A point on a common side belongs to either triangle.
    """
    tree, places = shapely.STRtree(shapely.polygons(corners)), shapely.points(points)
    found = np.full(len(points), -1)
    place, triangle = tree.query(places, predicate="intersects")
    found[place] = triangle
    beside = np.flatnonzero(found < 0)
    if len(beside):  # looking for the nearest takes far longer
        found[beside] = tree.nearest(places[beside])
    return found


def snap_outlines(shapes: Sequence[shapely.Polygon]) -> tuple[list[shapely.Polygon], list[str]]:
    """The shapes with nearly equal coordinates made equal, and a line on each pair of edges that was merged.

    Two coordinates closer than SNAP times the smallest shape's shorter side become the one that more corners use.
    """
    sides = [min(right - left, top - bottom) for left, bottom, right, top in (shape.bounds for shape in shapes)]
    tolerance = SNAP * min(sides)
    corners = np.vstack([shapely.get_coordinates(shape) for shape in shapes])
    merged: list[str] = []
    maps = []
    for axis, name in enumerate("xy"):
        old, new = _clusters(corners[:, axis], tolerance)
        maps.append((old, new))
        for before, after in zip(old, new):
            one, other = f"{before * 1e3:.6g}", f"{after * 1e3:.6g}"
            if one != other:  # what agrees to six digits is rounding, and not worth a word
                merged.append(f"edges at {name} = {one} mm and {other} mm taken as one")

    def moved(points: np.ndarray) -> np.ndarray:
        return np.column_stack([new[np.searchsorted(old, points[:, i])] for i, (old, new) in enumerate(maps)])

    return [shapely.transform(shape, moved) for shape in shapes], merged


def _clusters(values: np.ndarray, tolerance: float) -> tuple[np.ndarray, np.ndarray]:
    """Sorted unique values, and for each the value it is taken as."""
    unique, counts = np.unique(values, return_counts=True)
    taken = unique.copy()
    start = 0
    for stop in range(1, len(unique) + 1):
        if stop == len(unique) or unique[stop] - unique[start] > tolerance:
            taken[start:stop] = unique[start + int(np.argmax(counts[start:stop]))]
            start = stop
    return unique, taken


def faces_of(shapes: Sequence[shapely.Polygon], lines: Sequence[shapely.LineString]) -> list[shapely.Polygon]:
    """The smallest pieces into which the shapes' edges and the extra lines cut the union of the shapes."""
    edges = [shape.boundary for shape in shapes] + list(lines)
    noded = shapely.union_all(edges, grid_size=_noding_grid(shapes))
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    points = shapely.point_on_surface(pieces)
    covered = np.any([shapely.contains(shape, points) for shape in shapes], axis=0)
    return list(pieces[covered])


def _noding_grid(shapes: Sequence[shapely.Polygon]) -> float:
    """A power of ten, so that lengths typed with a few decimals lie on the grid."""
    bounds = shapely.total_bounds(shapes)
    return float(10.0 ** math.floor(math.log10(NODING_GRID * max(bounds[2:] - bounds[:2]))))


def mesh_of(
    shapes: Sequence[shapely.Polygon],
    zones: Sequence[SizeZone] = (),
    lines: Sequence[shapely.LineString] = (),
    largest: float | None = None,
    snapped: Sequence[str] = (),
) -> PlanMesh:
    """Mesh the union of the shapes, all edges and ``lines`` embedded, graded from the size zones.

    ``largest`` [m] bounds the triangle sides everywhere. Same input, same mesh.
    """
    import gmsh
    import pygmsh

    faces = faces_of(shapes, lines)
    bounds = shapely.total_bounds(shapes)
    extent = float(max(bounds[2:] - bounds[:2]))
    ceiling = min(LARGEST * extent, largest or math.inf)
    with _signals_kept() as put_back, pygmsh.geo.Geometry(["", "-nopopup"]) as geometry:
        put_back()
        _add_faces(geometry, faces, _noding_grid(shapes))
        _set_sizes(zones, ceiling)
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setNumber("Mesh.Algorithm", 6)
        gmsh.option.setNumber("Mesh.RandomSeed", 1)
        mesh = geometry.generate_mesh(dim=2)
    return oriented(mesh.points[:, :2], mesh.get_cells_type("triangle"), tuple(snapped))


@contextmanager
def _signals_kept() -> Iterator[Callable[[], None]]:
    """Keep our answers to an interrupt and to a closed pipe: the mesher puts in its own, which the yielded call takes out again.

    Until then an interrupt waits, for the mesher's own answer would end everything without a word.
    """
    is_main = threading.current_thread() is threading.main_thread()
    kinds = [getattr(signal, name) for name in ("SIGINT", "SIGPIPE") if is_main and hasattr(signal, name)]
    answers = {kind: signal.getsignal(kind) for kind in kinds}

    def wait(how: str) -> None:
        if is_main and hasattr(signal, "pthread_sigmask"):
            signal.pthread_sigmask(getattr(signal, how), {signal.SIGINT})

    def put_back() -> None:
        for kind, answer in answers.items():
            if answer is not None:
                signal.signal(kind, answer)
        wait("SIG_UNBLOCK")

    wait("SIG_BLOCK")
    try:
        yield put_back
    finally:
        put_back()


def _add_faces(geometry, faces: list[shapely.Polygon], tolerance: float) -> None:
    rings = [np.asarray(ring.coords)[:-1] for face in faces for ring in (face.exterior, *face.interiors)]
    keys = np.round(np.vstack(rings) / tolerance).astype(np.int64)
    _, first, number = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    number = number.ravel()
    corners = np.vstack(rings)[first]
    points = [geometry.add_point([x, y, 0.0]) for x, y in corners]
    lines: dict[tuple[int, int], object] = {}
    position = 0

    def loop(ring) -> object:
        nonlocal position
        around = number[position : position + len(ring.coords) - 1]
        position += len(around)
        return geometry.add_curve_loop(
            [_line(geometry, points, lines, a, b) for a, b in zip(around, np.roll(around, -1))]
        )

    for face in faces:
        outer = loop(face.exterior)
        geometry.add_plane_surface(outer, holes=[loop(ring) for ring in face.interiors])


def _line(geometry, points, lines, a: int, b: int):
    if (b, a) in lines:
        return -lines[b, a]
    if (a, b) not in lines:
        lines[a, b] = geometry.add_line(points[a], points[b])
    return lines[a, b]


def _set_sizes(zones: Sequence[SizeZone], ceiling: float) -> None:
    """Background size: in each zone its own, growing with the distance from it, the smallest winning."""
    import gmsh

    gmsh.option.setNumber("Mesh.MeshSizeMax", ceiling)
    for option in ("MeshSizeExtendFromBoundary", "MeshSizeFromPoints", "MeshSizeFromCurvature"):
        gmsh.option.setNumber(f"Mesh.{option}", 0)
    field = gmsh.model.mesh.field
    boxes = [zone for zone in zones if zone.size < ceiling]
    tags = []
    for zone in boxes:
        tag = field.add("Box")
        left, bottom, right, top = zone.box
        numbers = {"VIn": zone.size, "VOut": ceiling, "XMin": left, "XMax": right, "YMin": bottom, "YMax": top}
        for key, value in {**numbers, "ZMin": -1, "ZMax": 1, "Thickness": (ceiling - zone.size) / GROWTH}.items():
            field.setNumber(tag, key, value)
        tags.append(tag)
    if tags:
        smallest = field.add("Min")
        field.setNumbers(smallest, "FieldsList", tags)
        field.setAsBackgroundMesh(smallest)


def oriented(points: np.ndarray, triangles: np.ndarray, snapped: tuple[str, ...] = ()) -> PlanMesh:
    """The mesh without points that no triangle uses, all triangles counter-clockwise."""
    is_used = np.zeros(len(points), bool)
    is_used[triangles] = True
    points, triangles = points[is_used], (np.cumsum(is_used, dtype=np.int32) - 1)[triangles]
    a, b, c = (points[triangles[:, i]] for i in range(3))
    clockwise = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    triangles[clockwise] = triangles[clockwise][:, [0, 2, 1]]
    return PlanMesh(points, triangles, snapped)


# Corners of a triangle's quarters, in its barycentric coordinates.
QUARTERS = np.array([[[2, 0, 0], [1, 1, 0], [1, 0, 1]], [[1, 1, 0], [0, 2, 0], [0, 1, 1]],
                     [[1, 0, 1], [0, 1, 1], [0, 0, 2]], [[1, 1, 0], [0, 1, 1], [1, 0, 1]]]) / 2  # fmt: skip


def quartered(mesh: PlanMesh) -> PlanMesh:
    """The mesh with every triangle cut into four; those of one triangle follow one another."""
    sides = mesh.sides[1]
    points = np.concatenate([mesh.points, mesh.middles])
    (a, b, c), (ab, bc, ac) = mesh.triangles.T, (len(mesh.points) + sides).T
    triangles = np.column_stack([a, ab, ac, ab, b, bc, ac, bc, c, ab, bc, ac]).reshape(-1, 3)
    parents = np.repeat(np.arange(len(mesh.triangles), dtype=np.int32), len(QUARTERS))
    part = np.tile(np.arange(len(QUARTERS), dtype=np.int8), len(mesh.triangles))
    return PlanMesh(points, triangles, mesh.snapped, Descent(mesh, parents, part, QUARTERS))


def _sides_of_quarters(parent: PlanMesh) -> tuple[np.ndarray, np.ndarray]:
    """The sides of a quartered mesh, as ``PlanMesh.sides`` has them: two halves of each side of its parent, the half at the lower end
    first, then three inside each of its triangles, each beside the corner of that number."""
    ends, sides = parent.sides
    middles = np.arange(len(parent.points), len(parent.points) + len(ends), dtype=np.int32)
    found = np.empty((2 * len(ends) + sides.size, 2), np.int32)
    found[: 2 * len(ends), 0], found[: 2 * len(ends), 1] = ends.ravel(), np.repeat(middles, 2)
    one, other = (middles[sides[:, which]].ravel() for which in ([2, 0, 1], [0, 1, 2]))
    np.minimum(one, other, out=found[2 * len(ends) :, 0])
    np.maximum(one, other, out=found[2 * len(ends) :, 1])
    first = 2 * sides
    halves = {
        (side, corner): first[:, side] + (ends[sides[:, side], 1] == parent.triangles[:, corner])
        for side, corners in enumerate(((0, 1), (1, 2), (0, 2)))
        for corner in corners
    }
    beside = 2 * len(ends) + np.arange(sides.size, dtype=np.int32).reshape(-1, 3).T
    number = [halves[0, 0], beside[0], halves[2, 0], halves[0, 1], halves[1, 1], beside[1]]
    number += [beside[2], halves[1, 2], halves[2, 2], beside[1], beside[2], beside[0]]
    return found, np.column_stack(number).reshape(-1, 3)


def nested(points: np.ndarray, triangles: np.ndarray, parent: PlanMesh) -> PlanMesh:
    """The mesh of triangles that are a parent's or parts of them, all corners the parent's or in the middle of its sides."""
    mesh = oriented(points, triangles, parent.snapped)
    corners = parent.points[parent.triangles]
    parents = triangles_at(corners, mesh.centres).astype(np.int32)
    whole = np.concatenate([corners, np.ones((*corners.shape[:2], 1))], axis=2)
    own = np.concatenate([mesh.points, np.ones((len(mesh.points), 1))], axis=1)[mesh.triangles]
    halves = np.round(2 * own @ np.linalg.inv(whole)[parents]).astype(np.int8)
    parts, part = np.unique(halves.reshape(-1, 9), axis=0, return_inverse=True)
    return replace(mesh, descent=Descent(parent, parents, part.ravel(), parts.reshape(-1, 3, 3) / 2))
