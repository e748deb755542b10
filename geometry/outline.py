"""Shapes in the plan: rectangle, rounded rectangle, circle, polygon, with cut-outs, as shapely polygons in metres."""

import math

import numpy as np
import shapely

ARC_SEGMENTS = 48  # a full circle; its polygon keeps the circle's area exactly


def rectangle(x: float, y: float, width: float, height: float) -> shapely.Polygon:
    """Rectangle with its lower left corner at (x, y), all in m."""
    return shapely.box(x, y, x + width, y + height)


def circle(x: float, y: float, diameter: float) -> shapely.Polygon:
    """Regular polygon around (x, y) with the area of the circle of this diameter [m]."""
    step = 2 * math.pi / ARC_SEGMENTS
    radius = diameter / 2 * math.sqrt(step / math.sin(step))
    angle = step * (np.arange(ARC_SEGMENTS) + 0.5)
    return shapely.Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))


def rounded_rectangle(x: float, y: float, width: float, height: float, radius: float) -> shapely.Polygon:
    """Rectangle whose corners are quarter circles of the given radius [m], as chords that keep nearly all the area."""
    if radius <= 0:
        return rectangle(x, y, width, height)
    quarter = ARC_SEGMENTS // 4
    step = math.pi / 2 / quarter
    reach = radius * math.sqrt(step / math.sin(step))
    angle = np.linspace(0, math.pi / 2, quarter + 1)
    corners = [(x + width, y + height, 0), (x, y + height, 1), (x, y, 2), (x + width, y, 3)]
    inward = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    points = []
    for (corner_x, corner_y, turn), (toward_x, toward_y) in zip(corners, inward):
        # The arc's ends stay on the straight sides; the points between move out to keep the area.
        radii = np.full(quarter + 1, reach)
        radii[[0, -1]] = radius
        around = angle + turn * math.pi / 2
        points.append(
            np.column_stack(
                [
                    corner_x + toward_x * radius + radii * np.cos(around),
                    corner_y + toward_y * radius + radii * np.sin(around),
                ]
            )
        )
    return shapely.Polygon(np.vstack(points))


def polygon(points: list[tuple[float, float]]) -> shapely.Polygon:
    """Polygon through the given corners [m]; refuses one that crosses itself.

    Raises
    ------
    ValueError
        If fewer than three corners are given, the area is nothing, or the outline crosses itself.
    """
    if len(points) < 3:
        raise ValueError(f"an outline needs three corners or more, not {len(points)}")
    shape = shapely.Polygon(points)
    if not shape.is_valid:
        raise ValueError(f"the outline crosses or touches itself ({shapely.is_valid_reason(shape)}, in m)")
    if shape.area <= 0:
        raise ValueError("the outline encloses no area")
    return shape


def with_cut_outs(shape: shapely.Polygon, cut_outs: list[shapely.Polygon]) -> shapely.Polygon:
    """The shape less its cut-outs.

    Raises
    ------
    ValueError
        If a cut-out lies wholly outside, or the cut-outs leave nothing or fall it into pieces.
    """
    for number, hole in enumerate(cut_outs, 1):
        if not shape.intersects(hole) or shape.intersection(hole).area == 0:
            raise ValueError(f"cut-out {number} lies outside the outline")
    rest = shape.difference(shapely.union_all(cut_outs))
    if rest.area <= 0 or not isinstance(rest, shapely.Polygon):
        raise ValueError("the cut-outs leave nothing, or several loose pieces")
    return rest
