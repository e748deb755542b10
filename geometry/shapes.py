"""The polygon that an outline table of a study draws."""

import shapely

from plancha.geometry import outline as shapes
from plancha.geometry.parts import Outline


def shape_of(outline: Outline) -> shapely.Polygon:
    """The polygon that an outline table draws [m].

    Raises
    ------
    ValueError
        If the outline crosses itself or encloses nothing.
    """
    if outline.size is not None:
        x, y = outline.at or (0.0, 0.0)
        return shapes.rounded_rectangle(x, y, *outline.size, outline.corner_radius or 0.0)
    if outline.diameter is not None and outline.center is not None:
        return shapes.circle(*outline.center, outline.diameter)
    return shapes.polygon(list(outline.points or ()))
