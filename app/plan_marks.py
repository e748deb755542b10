"""What is marked on a plan view: outlines, isolines and their values, hot spots, names of parts, so that no words overlap."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import substring

from plancha.app.contours import isolines
from plancha.app.label_places import (
    GAP,
    RING_DIRECTIONS,
    Box,
    beside,
    box_around,
    contains,
    free_place,
    nearest_point,
    on_rings,
    overlaps,
    within,
)
from plancha.app.plan_drawing import DARK, LIGHT, MIDDLE, Strokes, Surface, text_size
from plancha.app.plan_page import Frame, Scale, Sheet, number_text

FEW_NAMES = 8  # up to so many parts are named on the plan; more are numbered
CROSS = 15  # half of the hot spot's cross [px]
NEAR_RINGS = 5 * RING_DIRECTIONS  # places for a value near its cross, before it may lie on an outline
ROOMY = 1.8  # times a label: a part of this size may carry the label of its hot spot
EVEN = 1e-3  # of the colour bar: a surface that varies less has no isolines, only noise


def segments_in(frame: Frame, shape: shapely.Geometry) -> np.ndarray:
    """The part of a shape's outline that the panel shows, as segments (n, 2, 2) [px]."""
    line = shapely.intersection(shapely.boundary(shape), shapely.box(*frame.bounds))
    parts = [shapely.get_coordinates(part) for part in shapely.get_parts(line)]
    pieces = [np.stack([part[:-1], part[1:]], axis=1) for part in parts if len(part) > 1]
    return frame.pixels(np.concatenate(pieces)) if pieces else np.zeros((0, 2, 2))


def add_outline(sheet: Sheet, shape: shapely.Geometry, width: float = 2.0) -> None:
    """Draw a shape's edge, dark with a light rim, so that it is seen on any colour."""
    segments = segments_in(sheet.frame, shape)
    if len(segments):
        sheet.parts += [Strokes(segments, LIGHT, width + 3), Strokes(segments, DARK, width)]
        low, high = segments.min(axis=1) - width, segments.max(axis=1) + width
        sheet.edges += [Box(*ends) for ends in np.hstack([low, high]).tolist()]


@dataclass(frozen=True)
class Pattern:
    """Of a broken line: the stroke, the gap after it, and how wide it is [px]."""

    stroke: float
    gap: float
    width: float


DASHES, DOTS = Pattern(11.0, 9.0, 1.6), Pattern(0.5, 8.0, 3.0)


def add_broken_line(sheet: Sheet, line: shapely.LineString, pattern: Pattern) -> bool:
    """Draw a line [m] in strokes, dark with a light rim; whether any of it is in the panel."""
    inside = shapely.intersection(line, shapely.box(*sheet.frame.bounds))
    parts = [part for part in shapely.get_parts(inside) if part.length > 0]
    segments = [piece for part in parts for piece in _strokes(shapely.transform(part, sheet.frame.pixels), pattern)]
    if segments:
        drawn = np.concatenate(segments)
        sheet.parts += [Strokes(drawn, LIGHT, pattern.width + 2), Strokes(drawn, DARK, pattern.width)]
    return bool(segments)


def _strokes(line: shapely.LineString, pattern: Pattern) -> list[np.ndarray]:
    """The strokes of a line [px], each as segments (n, 2, 2), spaced so that a whole number of them fits."""
    count = max(1, round(line.length / (pattern.stroke + pattern.gap)))
    pieces = [substring(line, n * line.length / count, n * line.length / count + pattern.stroke) for n in range(count)]
    corners = [shapely.get_coordinates(piece) for piece in pieces]
    return [np.stack([each[:-1], each[1:]], axis=1) for each in corners if len(each) > 1]


def add_isolines(sheet: Sheet, surface: Surface, scale: Scale) -> list[tuple[float, np.ndarray]]:
    """Draw a surface's isolines, light where it is dark and dark where it is light; gives back each level's segments."""
    if np.ptp(surface.values) < EVEN * (scale.limits[1] - scale.limits[0]):
        return []
    levels = [float(level) for level in scale.levels]
    lines = [(level, isolines(surface.points, surface.triangles, surface.values, level)) for level in levels]
    found = [(level, segments) for level, segments in lines if len(segments)]
    for colour in (LIGHT, DARK):
        drawn = [segments for level, segments in found if scale.line_colour(level) == colour]
        if drawn:
            sheet.parts.append(Strokes(np.concatenate(drawn), colour, 2.0))
    return found


def label_isolines(
    sheet: Sheet, lines: Sequence[tuple[float, np.ndarray]], step: float, avoided: shapely.Geometry
) -> None:
    """Write each level's value once onto its line, where the line is long and no other line, outline or word is near.

    ``avoided`` [px] are outlines that the words may not touch and areas that hide the lines.
    """
    for level, segments in lines:
        text = number_text(level, step)
        width, height = text_size(text)
        if np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum() < 4 * width:
            continue
        others = [other.mean(axis=1) for value, other in lines if value != level]
        points = np.concatenate(others) if others else np.zeros((0, 2))
        middles = segments.mean(axis=1)
        for x, y in middles[:: max(1, len(middles) // 60)]:
            box = box_around(x, y, width, height)
            near = box.grown(GAP / 2)
            if not contains(sheet.frame.panel, near) or overlaps(near, sheet.taken) or _any_inside(points, near):
                continue
            if shapely.intersects(avoided, shapely.box(near.left, near.bottom, near.right, near.top)):
                continue
            sheet.write(text, box, plate=True)
            break


def _any_inside(points: np.ndarray, box: Box) -> bool:
    x, y = points[:, 0], points[:, 1]
    return bool(((x > box.left) & (x < box.right) & (y > box.bottom) & (y < box.top)).any())


def add_spot(sheet: Sheet, name: str, point: tuple[float, float], text: str, own: Box, others: Sequence[Box]) -> None:
    """Mark a point [m] with a cross and write its value beside it.

    ``own`` is the part on which the point lies: the value stands on it where it is large. ``others`` are kept clear if possible.
    """
    x, y = (float(value) for value in sheet.frame.pixels(np.array(point)))
    sheet.spots[name] = (x, y)
    arms = np.array([[[x - CROSS, y], [x + CROSS, y]], [[x, y - CROSS], [x, y + CROSS]]])
    mark = box_around(x, y, 2 * CROSS, 2 * CROSS)
    width, height = text_size(text, bold=True)
    taken, panel = [*sheet.taken, mark], sheet.frame.panel
    if own.width < ROOMY * width or own.height < ROOMY * height:
        others = [*others, own]
    farthest = max(panel.width, panel.height)
    near, far = list(beside(mark, width, height)), list(on_rings(mark, width, height, farthest))
    clear = [*taken, *others]
    box = first_free(
        [(near, [*clear, *sheet.edges]), (far[:NEAR_RINGS], [*clear, *sheet.edges]), (near + far, clear)], panel
    )
    box = box or free_place(far, panel, taken)
    if box is not None and box not in near:
        _leader(sheet, box, x, y)
    sheet.taken.append(mark)
    if box is not None:
        sheet.write(text, box, bold=True, plate=True)
    else:
        sheet.legend.append(f"cross: {text}")
    sheet.parts += [Strokes(arms, LIGHT, 8.0), Strokes(arms, DARK, 3.5)]


def first_free(choices: Sequence[tuple[Sequence[Box], Sequence[Box]]], inside: Box) -> Box | None:
    """The first free place of several choices, each of (places, what is taken)."""
    found = (free_place(places, inside, taken) for places, taken in choices)
    return next((box for box in found if box is not None), None)


def _leader(sheet: Sheet, box: Box, x: float, y: float) -> None:
    line = np.array([[[x, y], nearest_point(box, x, y)]])
    sheet.parts += [Strokes(line, LIGHT, 5.0), Strokes(line, DARK, 2.0)]


def add_names(sheet: Sheet, names: Sequence[str], shapes: Sequence[shapely.Geometry]) -> None:
    """Write the names of parts beside their outlines; where one finds no room, number them all and list them below."""
    boxes = [sheet.frame.box(shape) for shape in shapes]
    placed = _name_boxes(sheet, names, boxes)
    if placed is not None:
        for name, box in zip(names, placed):
            sheet.write(name, box, plate=True)
        return
    for number, (name, target) in enumerate(zip(names, boxes), 1):
        numbered = _add_number(sheet, str(number), target, boxes)
        sheet.legend.append(f"{number}: {name}" if numbered else f"{number}: {name} (no room for its number)")


def _name_boxes(sheet: Sheet, names: Sequence[str], boxes: Sequence[Box]) -> list[Box] | None:
    if len(names) > FEW_NAMES:
        return None
    placed: list[Box] = []
    for name, target in zip(names, boxes):
        width, height = text_size(name)
        taken, panel = [box.grown(GAP) for box in [*sheet.taken, *placed]], sheet.frame.panel
        # A name must be nearer to its own part than to any other.
        others = [other.grown(2 * GAP) for other in boxes if other is not target]
        places, clear = list(beside(target, width, height)), [*taken, *others, target]
        box = first_free([(places, [*clear, *sheet.edges]), (places, clear)], panel)
        if box is None and 4 * width * height < target.width * target.height:
            box = free_place(within(target, width, height), panel, [*taken, *others])
        if box is None:
            return None
        placed.append(box)
    return placed


def _add_number(sheet: Sheet, text: str, target: Box, boxes: Sequence[Box]) -> bool:
    width, height = text_size(text)
    panel, others = sheet.frame.panel, [other for other in boxes if other is not target]
    box = free_place(within(target, width, height), target, [*sheet.taken, *others])
    box = box or free_place(beside(target, width, height), panel, [*sheet.taken, *boxes])
    if box is None:
        box = free_place(on_rings(target, width, height, 400.0), panel, [*sheet.taken, *boxes])
        if box is None:
            return False
        _leader(sheet, box, *target.middle)
    sheet.write(text, box, plate=True)
    return True


def add_plate_names(
    sheet: Sheet, names: Sequence[str], plates: Sequence[shapely.Geometry], parts: Sequence[Box]
) -> None:
    """Write each plate's name into a corner of it that nothing else takes; ``parts`` [px] are the components' rectangles."""
    for name, plate in zip(names, plates):
        width, height = text_size(name)
        box = free_place(within(sheet.frame.box(plate), width, height), sheet.frame.panel, [*sheet.taken, *parts])
        if box is not None:
            sheet.write(name, box, plate=True, colour=MIDDLE)
