"""The page around a plan view: frame in mm, colour bar, legend and caption, so that nothing overlaps.

The drawing plane is in pixels with its origin at the lower left corner of the panel, x right, y up.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from plancha.app.colours import DIFFERENCE, ColourMap, Diverging
from plancha.app.label_places import (
    GAP,
    Box,
    box_around,
    overlaps,
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
    text_size,
    wrapped,
)

WIDEST, NARROWEST = 1600, 1150  # of the image [px]
TALLEST, SLIM_TALLEST = 860, 1300  # the panel's height [px], and that of a panel twice as high as wide or more
EDGE = 36  # between the image's border and anything drawn
LINE = 40  # from one line of text to the next
TICK = 10
ALIKE = 1e-9  # degC, K/W or W/cm^2 that no picture tells apart
LEAST_DIFFERENCE = 0.01  # K: what lies within is drawn as nothing
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
    colour_map: ColourMap | Diverging

    def line_colour(self, level: float) -> tuple[float, float, float]:
        """Colour of a line at a value: light where the map is dark, dark where it is light."""
        low, high = self.limits
        share = (level - low) / (high - low)
        is_dark = abs(2 * share - 1) > 0.5 if isinstance(self.colour_map, Diverging) else share < 0.5
        return LIGHT if is_dark else DARK


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


def scale_of(
    title: str, values: Sequence[np.ndarray], colour_map: ColourMap | Diverging, low: float | None = None
) -> Scale:
    """A colour bar over all values (from ``low`` if given); one that is nearly even gets some room around it."""
    least = min(float(each.min()) for each in values) if low is None else low
    most = max(float(each.max()) for each in values)
    if most - least <= max(1e-6 * max(abs(most), abs(least)), ALIKE):
        room = max(0.01 * abs(most), 1e6 * ALIKE)
        least, most = (least - room if low is None else least), most + room
    step = nice_step(most - least, LEVELS + 1)
    return Scale(title, (least, most), multiples(least, most, step), step, colour_map)


def difference_scale(title: str, values: np.ndarray, levels: float = LEVELS) -> Scale:
    """A diverging colour bar with nothing in its middle, as far below it as above; NaN is passed over."""
    most = max(float(np.nanmax(np.abs(values))), LEAST_DIFFERENCE)
    step = nice_step(2 * most, levels + 1)
    return Scale(title, (-most, most), multiples(-most, most, step), step, DIFFERENCE)


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
    step = nice_step(bounds[2] - bounds[0], max(1.0, panel.width / 90))
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
    _write_line(sheet, scale.title, max(inner.left, min(left, inner.right - text_size(scale.title)[0])), top)
    box = Box(left, top - LINE - BAR, right, top - LINE)
    low, high = scale.limits
    corners = np.array([[box.left, box.bottom], [box.right, box.bottom], [box.right, box.top], [box.left, box.top]])
    values = np.array([low, high, high, low])
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    sheet.parts.append(Surface(corners, triangles, values, scale.limits, scale.colour_map))
    inside: dict[tuple[float, float, float], list] = {LIGHT: [], DARK: []}
    strokes, last = _rectangle(box), -math.inf
    for level in scale.levels:
        x = left + (level - low) / (high - low) * box.width
        strokes.append([[x, box.bottom], [x, box.bottom - TICK]])
        inside[scale.line_colour(float(level))].append([[x, box.bottom + 2], [x, box.top - 2]])
        text = number_text(float(level), scale.step)
        width, height = text_size(text)
        if x - width / 2 > last:
            sheet.write(text, box_around(x, box.bottom - TICK - GAP / 2 - height / 2, width, height))
            last = x + width / 2 + 12
    sheet.parts += [Strokes(np.array(lines), colour, 2.0) for colour, lines in inside.items() if lines]
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
