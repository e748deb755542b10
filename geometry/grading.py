"""Where the plan mesh is fine: size zones and embedded lines from the sources, and the plan mesh of a stack."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from plancha.geometry.bodies import Grid, Source, Stack
from plancha.geometry.mesh import GROWTH, LARGEST, PlanMesh, SizeZone, mesh_of, snap_outlines
from plancha.geometry.power_map import jump_lines, smallest_strong_feature

PER_FEATURE = 4  # triangle sides across the smallest strong feature of a source
PER_OUTLINE = 4  # triangle sides along the shorter side of any outline
EMBEDDED_CELLS = 16 * 16  # maps up to so many cells get their jumps embedded


def feature_of(source: Source) -> float:
    """Smallest strong feature of a source's heat [m]: of its map, else the shorter side of its outline."""
    left, bottom, right, top = source.outline.bounds
    side = min(right - left, top - bottom)
    return side if source.power_map is None else min(side, smallest_strong_feature(source.power_map))


def size_zones(stack: Stack, refinement: float = 1.0) -> list[SizeZone]:
    """Zones of small triangles: every source by its smallest strong feature, every outline by its shorter side."""
    zones = []
    for source in stack.sources:
        if source.power > 0:
            zones.append(SizeZone(source.outline.bounds, feature_of(source) / PER_FEATURE / refinement))
    for shape in _all_shapes(stack):
        left, bottom, right, top = shape.bounds
        zones.append(SizeZone(shape.bounds, min(right - left, top - bottom) / PER_OUTLINE / refinement))
    return zones


def _all_shapes(stack: Stack) -> list[shapely.Polygon]:
    areas = [place.area for place in (*stack.films, *stack.helds) if place.area is not None]
    return [body.outline for body in stack.bodies] + [source.outline for source in stack.sources] + areas


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
    bodies = tuple(replace(body, outline=next(rest)) for body in stack.bodies)
    sources = tuple(replace(source, outline=next(rest)) for source in stack.sources)

    def with_areas(places):
        return tuple(place if place.area is None else replace(place, area=next(rest)) for place in places)

    films = with_areas(stack.films)
    return replace(stack, bodies=bodies, sources=sources, films=films, helds=with_areas(stack.helds)), notes


def plan_mesh(stack: Stack, refinement: float = 1.0, snapped: Sequence[str] = ()) -> PlanMesh:
    """The plan mesh of a (snapped) stack; ``refinement`` divides all triangle sides."""
    return mesh_of(
        _all_shapes(stack),
        size_zones(stack, refinement),
        embedded_lines(stack),
        largest=_ceiling(stack, refinement),
        snapped=snapped,
    )


def _ceiling(stack: Stack, refinement: float) -> float:
    bounds = shapely.total_bounds([body.outline for body in stack.bodies])
    extent = float(max(bounds[2:] - bounds[:2]))
    return min(LARGEST * extent, stack.mesh_size or math.inf) / refinement


def predicted_triangles(stack: Stack, refinement: float = 1.0, samples: int = 200) -> float:
    """How many triangles ``plan_mesh`` will make, from the size zones alone."""
    bounds = shapely.total_bounds([body.outline for body in stack.bodies])
    x, y = (np.linspace(bounds[i], bounds[i + 2], samples, endpoint=False) for i in (0, 1))
    x, y = np.meshgrid(x + np.diff(x[:2]) / 2, y + np.diff(y[:2]) / 2)
    size = np.full(x.shape, _ceiling(stack, refinement))
    for zone in size_zones(stack, refinement):
        left, bottom, right, top = zone.box
        outside_x, outside_y = (
            np.maximum.reduce([left - x, x - right, 0 * x]),
            np.maximum.reduce([bottom - y, y - top, 0 * y]),
        )
        size = np.minimum(size, zone.size + GROWTH * np.maximum(outside_x, outside_y))
    cell = np.prod(bounds[2:] - bounds[:2]) / samples**2
    return float((cell / (math.sqrt(3) / 4 * size**2)).sum())
