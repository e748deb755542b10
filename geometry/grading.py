"""Where the plan mesh is fine: size zones and embedded lines from the sources, and the plan mesh of a stack."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.ops

from plancha.geometry.bodies import Source, Stack
from plancha.geometry.grid import Grid
from plancha.geometry.mesh import GROWTH, LARGEST, PlanMesh, SizeZone, mesh_of, snap_outlines
from plancha.geometry.power_map import jump_lines, smallest_strong_feature, strong_regions
from plancha.geometry.store import Arrays, Keep, made_anew

PER_FEATURE = (
    1.15  # triangle sides across the smallest strong feature of a source, before every triangle is cut into four
)
USUAL = 0.005  # accuracy for which that is meant
FINER = 1 / 6  # power of the accuracy by which more sides are taken where more is asked for; measured
PER_OUTLINE = 1  # triangle sides along the shorter side of any outline, likewise
MOST_REGIONS = 63  # strong regions of a map that get a zone of their own
FULLER = 1.15  # real meshes over equilateral triangles of the asked size; measured 1.0 to 1.3
EVEN = 0.3  # share by which the triangle side may vary over a square that is counted as one
EMBEDDED_CELLS = 16 * 16  # maps up to so many cells get their jumps embedded


def feature_of(source: Source) -> float:
    """Smallest strong feature of a source's heat [m]: of its map, else the shorter side of its outline."""
    left, bottom, right, top = source.outline.bounds
    side = min(right - left, top - bottom)
    return side if source.power_map is None else min(side, smallest_strong_feature(source.power_map))


def size_zones(stack: Stack, refinement: float = 1.0) -> list[SizeZone]:
    """Zones of small triangles: every strong region of a power map by its extent, every outline by its shorter side."""
    zones = [zone for source in stack.sources if source.power > 0 for zone in _strong_zones(source, stack.accuracy)]
    for shape in _all_shapes(stack):
        left, bottom, right, top = shape.bounds
        zones.append(SizeZone(shape.bounds, min(right - left, top - bottom) / PER_OUTLINE))
    return [replace(zone, size=zone.size / refinement) for zone in zones]


def _strong_zones(source: Source, accuracy: float) -> list[SizeZone]:
    """A zone for each of the smallest strong regions of a source's map, and one for all the rest."""
    if source.power_map is None:
        return []
    left, bottom = source.outline.bounds[:2]
    regions = sorted(strong_regions(source.power_map), key=lambda region: region[1])
    own, rest = regions[:MOST_REGIONS], regions[MOST_REGIONS:]
    if rest:
        boxes = np.array([box for box, _ in rest])
        around = (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())
        own.append((around, rest[0][1]))
    sides = PER_FEATURE * max(USUAL / accuracy, 1.0) ** FINER
    return [SizeZone((x0 + left, y0 + bottom, x1 + left, y1 + bottom), e / sides) for (x0, y0, x1, y1), e in own]


def _all_shapes(stack: Stack) -> list[shapely.Polygon]:
    areas = [film.area for film in stack.films] + [held.area for held in stack.helds]
    return (
        [body.outline for body in stack.bodies]
        + [patch.outline for body in stack.bodies for patch in body.patches]
        + [patch.outline for joint in stack.joints for patch in joint.patches]
        + [source.outline for source in stack.sources]
        + [area for area in areas if area is not None]
        + [region.outline for bank in stack.banks if bank.is_film for region in bank.regions]
    )


def embedded_lines(stack: Stack) -> list[shapely.LineString]:
    """Edges inside the outlines that the mesh must follow: jumps of coarse power maps and coefficient maps."""
    lines: list[shapely.LineString] = []
    for source in stack.sources:
        if source.power_map is not None and source.power_map.watts.size <= EMBEDDED_CELLS:
            corner = np.array(source.outline.bounds[:2])
            lines += [shapely.LineString(ends + corner) for ends in jump_lines(source.power_map, 0.0)]
    for film in stack.films:
        if isinstance(film.coefficient, Grid) and film.coefficient.values.size <= EMBEDDED_CELLS:
            lines += _grid_lines(film.coefficient)
    return lines


def _grid_lines(grid: Grid) -> list[shapely.LineString]:
    x, y = grid.edges()
    across = [shapely.LineString([(x[0], value), (x[-1], value)]) for value in y]
    return across + [shapely.LineString([(value, y[0]), (value, y[-1])]) for value in x]


def snapped_stack(stack: Stack) -> tuple[Stack, list[str]]:
    """The stack with nearly coincident edges made one, and a line on each merge."""
    shapes, notes = snap_outlines(_all_shapes(stack))
    rest = iter(shapes)
    outlines = [next(rest) for _ in stack.bodies]
    patches = [tuple(replace(patch, outline=next(rest)) for patch in body.patches) for body in stack.bodies]
    parts = zip(stack.bodies, outlines, patches)
    bodies = tuple(replace(body, outline=outline, patches=own) for body, outline, own in parts)
    joints = tuple(
        replace(joint, patches=tuple(replace(patch, outline=next(rest)) for patch in joint.patches))
        for joint in stack.joints
    )
    sources = tuple(replace(source, outline=next(rest)) for source in stack.sources)

    def with_areas(places):
        return tuple(place if place.area is None else replace(place, area=next(rest)) for place in places)

    films = with_areas(stack.films)
    probes = tuple(replace(each, point=_onto(bodies[each.body].outline, each.point)) for each in stack.probes)
    sources = tuple(
        each
        if each.case_point is None
        else replace(each, case_point=_onto(bodies[each.chain[-2]].outline, each.case_point))
        for each in sources
    )
    helds = with_areas(stack.helds)
    banks = tuple(
        replace(bank, regions=tuple(replace(each, outline=next(rest)) for each in bank.regions))
        if bank.is_film
        else bank
        for bank in stack.banks
    )
    return replace(
        stack, bodies=bodies, joints=joints, sources=sources, films=films, helds=helds, probes=probes, banks=banks
    ), notes


def _onto(outline: shapely.Polygon, point: tuple[float, float]) -> tuple[float, float]:
    """The point, or, where the outline has moved away from it, the nearest one of the outline."""
    if outline.covers(shapely.Point(point)):
        return point
    near = shapely.ops.nearest_points(outline, shapely.Point(point))[0]
    return near.x, near.y


def plan_mesh(stack: Stack, refinement: float = 1.0, snapped: Sequence[str] = (), keep: Keep = made_anew) -> PlanMesh:
    """The plan mesh of a (snapped) stack; ``refinement`` divides the sizes asked for; how fast triangles grow
    away from there stays. ``keep`` may know it already (geometry/store)."""
    asked = _all_shapes(stack), size_zones(stack, refinement), embedded_lines(stack), _ceiling(stack, refinement)

    def meshed() -> Arrays:
        mesh = mesh_of(*asked)
        return {"points": mesh.points, "triangles": mesh.triangles}

    found = keep("mesh", asked, meshed)
    return PlanMesh(found["points"], found["triangles"], tuple(snapped))


def _ceiling(stack: Stack, refinement: float) -> float:
    bounds = shapely.total_bounds([body.outline for body in stack.bodies])
    extent = float(max(bounds[2:] - bounds[:2]))
    return min(LARGEST * extent, stack.mesh_size or math.inf) / refinement


def predicted_triangles(stack: Stack, refinement: float = 1.0, most: int = 5_000_000) -> np.ndarray:
    """How many triangles of ``plan_mesh`` will lie in each body, shape (bodies,), from the size zones alone.

    FULLER times the count of equilateral triangles of the asked size, integrated over squares that are split until the size is
    nearly even on each. Beyond ``most`` squares it stops splitting: the counts are then lower bounds.
    """
    zones = size_zones(stack, refinement)
    boxes, sizes = np.array([zone.box for zone in zones]), np.array([zone.size for zone in zones])
    left, bottom, right, top = shapely.total_bounds([body.outline for body in stack.bodies])
    side = max(right - left, top - bottom)
    centres, counts = np.array([[left + side / 2, bottom + side / 2]]), np.zeros(len(stack.bodies))
    while len(centres):
        size = _sizes_at(centres, boxes, sizes, _ceiling(stack, refinement))
        # The size changes by GROWTH per distance at most, so within half a diagonal by less than this share.
        is_even = (GROWTH * side / math.sqrt(2) < EVEN * size) | (4 * len(centres) > most)
        each = side**2 / (math.sqrt(3) / 4 * size[is_even] ** 2)
        counts += [each[shapely.contains_xy(body.outline, *centres[is_even].T)].sum() for body in stack.bodies]
        corners = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]]) * side / 4
        centres, side = (centres[~is_even][:, None, :] + corners).reshape(-1, 2), side / 2
    return FULLER * counts


def _sizes_at(points: np.ndarray, boxes: np.ndarray, sizes: np.ndarray, ceiling: float) -> np.ndarray:
    """Triangle side asked for at each point: in each zone its own, growing with the distance from it, the smallest winning."""
    found = np.full(len(points), ceiling)
    x, y = points.T
    for (left, bottom, right, top), size in zip(boxes, sizes):
        away = np.hypot(
            np.maximum.reduce([left - x, x - right, 0 * x]), np.maximum.reduce([bottom - y, y - top, 0 * y])
        )
        np.minimum(found, size + GROWTH * away, out=found)
    return found
