"""The page around a plan view: frame in mm, colour bar, isolines, names, legend and caption, so that nothing overlaps.

The drawing plane is in pixels with its origin at the lower left corner of the panel, x right, y up.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from plancha.app.colours import ColourMap
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
from plancha.app.plan_drawing import (
    DARK,
    LIGHT,
    MIDDLE,
    TEXT,
    TITLE,
    Part,
    Picture,
    Strokes,
    Surface,
    Words,
    isolines,
    text_size,
    wrapped,
)

WIDEST, NARROWEST = 1600, 1150  # of the image [px]
TALLEST, SLIM_TALLEST = 860, 1300  # the panel's height [px], and that of a panel twice as high as wide or more
FEW_NAMES = 8  # up to so many parts are named on the plan; more are numbered
EDGE = 36  # between the image's border and anything drawn
LINE = 40  # from one line of text to the next
TICK = 10
CROSS = 15  # half of the hot spot's cross
NEAR_RINGS = 5 * RING_DIRECTIONS  # places for a value near its cross, before it may lie on an outline
ROOMY = 1.8  # times a label: a part of this size may carry the label of its hot spot
LEVELS = 9  # isolines asked for
BAR = 30


@dataclass(frozen=True)
class Frame:
    """The panel: which part (left, bottom, right, top) [m] of the plan it shows, and its scale [px/m]."""

    bounds: tuple[float, float, float, float]
    scale: float

    @property
    def panel(self) -> Box:
        """The panel in the drawing plane [px]."""
        left, bottom, right, top = self.bounds
        return Box(0.0, 0.0, (right - left) * self.scale, (top - bottom) * self.scale)

    def pixels(self, points: np.ndarray) -> np.ndarray:
        """Plan points (..., 2) [m] in the drawing plane [px]."""
        return (np.asarray(points) - self.bounds[:2]) * self.scale

    def box(self, shape: shapely.Geometry) -> Box:
        """A shape's bounding rectangle [px]."""
        left, bottom, right, top = shape.bounds
        return Box(*self.pixels(np.array([left, bottom])), *self.pixels(np.array([right, top])))


def frame_around(shapes: Sequence[shapely.Geometry], margin: float) -> Frame:
    """A panel around shapes [m], with a margin in parts of their longer side."""
    left, bottom, right, top = (float(value) for value in shapely.total_bounds(list(shapes)))
    more = margin * max(right - left, top - bottom)
    bounds = (left - more, bottom - more, right + more, top + more)
    width, height = bounds[2] - bounds[0], bounds[3] - bounds[1]
    tallest = TALLEST if height < 2 * width else SLIM_TALLEST
    return Frame(bounds, min((WIDEST - 4 * EDGE - 100) / width, tallest / height))


@dataclass(frozen=True)
class Scale:
    """A colour bar: what it shows with its unit, the map's ends, the isolines' values and the step between them."""

    title: str
    limits: tuple[float, float]
    levels: np.ndarray
    step: float
    colour_map: ColourMap


def nice_step(span: float, count: float) -> float:
    """The least of 1, 2, 5, 10, ... by powers of ten that cuts a span into at most ``count`` parts."""
    least = span / count
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * digit for digit in (1, 2, 5, 10) if power * digit >= least * (1 - 1e-9))


def multiples(low: float, high: float, step: float) -> np.ndarray:
    """Multiples of a step from low to high, both included."""
    return step * np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)


def number_text(value: float, step: float) -> str:
    """A number with as many decimals as its step needs."""
    text = f"{value:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def scale_of(title: str, values: Sequence[np.ndarray], colour_map: ColourMap, low: float | None = None) -> Scale:
    """A colour bar over all values (from ``low`` if given); one that is nearly even gets some room around it."""
    least = min(float(each.min()) for each in values) if low is None else low
    most = max(float(each.max()) for each in values)
    if most - least <= 1e-6 * max(abs(most), abs(least)) or most == least:
        room = max(0.01 * abs(most), 1e-6)
        least, most = (least - room if low is None else least), most + room
    step = nice_step(most - least, LEVELS + 1)
    return Scale(title, (least, most), multiples(least, most, step), step, colour_map)


@dataclass
class Sheet:
    """A picture in the making: parts, words and what they take up; ``legend`` names the numbers on the plan.

    ``edges`` are boxes around the outlines' segments, which words keep off where they can.
    """

    frame: Frame
    parts: list[Part] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)
    edges: list[Box] = field(default_factory=list)
    legend: list[str] = field(default_factory=list)
    spots: dict[str, tuple[float, float]] = field(default_factory=dict)

    def write(self, text: str, box: Box, **style) -> None:
        """Put words into a box, which is taken from then on."""
        self.words.append(Words(text, box, **style))
        self.taken.append(box)


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


def add_isolines(sheet: Sheet, surface: Surface, scale: Scale) -> list[tuple[float, np.ndarray]]:
    """Draw a surface's isolines, light where it is dark and dark where it is light; gives back each level's segments."""
    halfway = sum(scale.limits) / 2
    found = []
    for level in scale.levels:
        segments = isolines(surface.points, surface.triangles, surface.values, float(level))
        if len(segments):
            sheet.parts.append(Strokes(segments, LIGHT if level < halfway else DARK, 2.0))
            found.append((float(level), segments))
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


def finished(sheet: Sheet, title: str, subtitle: str, scale: Scale, caption: Sequence[str]) -> Picture:
    """The whole page: title above the panel; axes, colour bar, legend and caption below it."""
    panel = sheet.frame.panel
    _add_axes(sheet)
    left = min(box.left for box in [panel, *sheet.taken]) - EDGE
    spare = max(0.0, NARROWEST - (panel.right + EDGE - left)) / 2
    inner = Box(left - spare + EDGE, 0, panel.right + spare, 0)
    y = panel.top + 1.5 * LINE + 12
    header = [(line, TITLE, True) for line in wrapped(title, inner.width, TITLE, True)]
    header += [(line, TEXT, False) for line in wrapped(subtitle, inner.width)]
    for text, size, bold in reversed(header):
        y += size + 14
        _write_line(sheet, text, inner.left, y, size=size, bold=bold)
    bottom = _add_bar(sheet, scale, inner, panel.bottom - 2 * LINE - 3 * TICK)
    bottom = _add_columns(sheet, sheet.legend, inner, bottom)
    for line in [line for text in caption for line in wrapped(text, inner.width)]:
        _write_line(sheet, line, inner.left, bottom, colour=MIDDLE)
        bottom -= LINE
    window = Box(
        math.floor(inner.left - EDGE), math.floor(bottom - 4), math.ceil(inner.right + EDGE), math.ceil(y + EDGE / 2)
    )
    return Picture(_even(window), tuple(sheet.parts), tuple(sheet.words), dict(sheet.spots))


def _even(window: Box) -> Box:
    """Even numbers of pixels, so that a pixel's middle stays one under the camera."""
    return replace(window, right=window.right + window.width % 2, top=window.top + window.height % 2)


def _write_line(sheet: Sheet, text: str, left: float, top: float, **style) -> None:
    """Words flush left at x, below y."""
    width, height = text_size(text, style.get("size", TEXT), style.get("bold", False))
    sheet.write(text, Box(left, top - height, left + width, top), **style)


def _add_axes(sheet: Sheet) -> None:
    """Ticks and numbers in mm below and to the left of the panel."""
    panel, bounds = sheet.frame.panel, np.array(sheet.frame.bounds) * 1e3
    per_mm = sheet.frame.scale / 1e3
    strokes = [*_rectangle(panel)]
    step = nice_step(bounds[2] - bounds[0], max(1.0, panel.width / 130))
    last = -math.inf
    for value in multiples(bounds[0], bounds[2], step):
        x, text = (value - bounds[0]) * per_mm, number_text(value, step)
        width, height = text_size(text)
        strokes.append([[x, 0], [x, -TICK]])
        if x - width / 2 > last:
            sheet.write(text, box_around(x, -TICK - GAP - height / 2, width, height))
            last = x + width / 2 + 12
    step = nice_step(bounds[3] - bounds[1], max(1.0, panel.height / 70))
    for value in multiples(bounds[1], bounds[3], step):
        y, text = (value - bounds[1]) * per_mm, number_text(value, step)
        width, height = text_size(text)
        strokes.append([[0, y], [-TICK, y]])
        right = -TICK - GAP
        box = Box(right - width, y - height / 2, right, y + height / 2)
        if not overlaps(box, sheet.taken):
            sheet.write(text, box)
    sheet.parts.append(Strokes(np.array(strokes, float), DARK, 2.0))
    width, height = text_size("x [mm]")
    sheet.write("x [mm]", box_around(panel.width / 2, -TICK - GAP - LINE - height / 2, width, height))
    width, height = text_size("y [mm]")
    bottom = panel.top + LINE / 2 + 2  # clear of a number at the panel's upper corner
    sheet.write("y [mm]", Box(-width / 2, bottom, width / 2, bottom + height))


def _rectangle(box: Box) -> list[list[list[float]]]:
    corners = [[box.left, box.bottom], [box.right, box.bottom], [box.right, box.top], [box.left, box.top]]
    return [[a, b] for a, b in zip(corners, [*corners[1:], corners[0]])]


def _add_bar(sheet: Sheet, scale: Scale, inner: Box, top: float) -> float:
    """Colour bar with its title above and the isolines' values below; gives back where the next line begins."""
    panel = sheet.frame.panel
    left, right = (0.0, panel.right) if panel.width >= 700 else (inner.left + 30, inner.right - 30)
    _write_line(sheet, scale.title, left, top)
    box = Box(left, top - LINE - BAR, right, top - LINE)
    low, high = scale.limits
    corners = np.array([[box.left, box.bottom], [box.right, box.bottom], [box.right, box.top], [box.left, box.top]])
    values = np.array([low, high, high, low])
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    sheet.parts.append(Surface(corners, triangles, values, scale.limits, scale.colour_map))
    strokes, last = _rectangle(box), -math.inf
    for level in scale.levels:
        x = left + (level - low) / (high - low) * box.width
        strokes.append([[x, box.bottom], [x, box.bottom - TICK]])
        halfway = level < (low + high) / 2
        inside = np.array([[[x, box.bottom + 2], [x, box.top - 2]]])
        sheet.parts.append(Strokes(inside, LIGHT if halfway else DARK, 2.0))
        text = number_text(float(level), scale.step)
        width, height = text_size(text)
        if x - width / 2 > last:
            sheet.write(text, box_around(x, box.bottom - TICK - GAP / 2 - height / 2, width, height))
            last = x + width / 2 + 12
    sheet.parts.append(Strokes(np.array(strokes), DARK, 2.0))
    return box.bottom - TICK - LINE - GAP


def _add_columns(sheet: Sheet, lines: Sequence[str], inner: Box, top: float) -> float:
    """Lines of a legend in as many columns as fit, read downwards; gives back where the next line begins."""
    lines = [line for text in lines for line in wrapped(text, inner.width)]
    if not lines:
        return top
    column = max(text_size(line)[0] for line in lines) + 40
    columns = max(1, int((inner.width + 40) // column))
    rows = math.ceil(len(lines) / columns)
    for number, line in enumerate(lines):
        _write_line(sheet, line, inner.left + number // rows * column, top - number % rows * LINE)
    return top - rows * LINE - GAP
