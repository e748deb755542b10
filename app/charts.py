"""Charts without a plan view: panels with axes on a page of their own, in the drawing plane's pixels (x right, y up)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from plancha.app.contours import isolines
from plancha.app.label_places import GAP, Box, box_around
from plancha.app.plan_drawing import (
    DARK,
    LIGHT,
    MIDDLE,
    TEXT,
    TITLE,
    Part,
    Patch,
    Picture,
    Strokes,
    Surface,
    Words,
    text_size,
    wrapped,
)
from plancha.app.plan_page import EDGE, LINE, TICK, Scale, multiples, nice_step, number_text

Colour = tuple[float, float, float]
FAINT: Colour = (0.86, 0.86, 0.87)
LINE_CELLS = 60  # blocks of cells along a raster's longer side, of which isolines are drawn
BAR = 26  # height of a colour bar [px]


@dataclass
class Canvas:
    """A chart in the making: parts and words, later ones over earlier ones."""

    parts: list[Part] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)

    def strokes(self, segments: Sequence | np.ndarray, colour: Colour = DARK, width: float = 2.0) -> None:
        """Draw straight segments (n, 2, 2) [px]."""
        if len(segments):
            self.parts.append(Strokes(np.asarray(segments, float).reshape(-1, 2, 2), colour, width))

    def frame(self, box: Box) -> None:
        """Draw a box's edge."""
        corners = [[box.left, box.bottom], [box.right, box.bottom], [box.right, box.top], [box.left, box.top]]
        self.strokes([[a, b] for a, b in zip(corners, [*corners[1:], corners[0]])])

    def text(self, text: str, x: float, y: float, across: float = 0.0, **style) -> Box:
        """Write words whose left end (across 0), middle (0.5) or right end (1) is at x and whose middle is at y."""
        width, height = text_size(text, style.get("size", TEXT), style.get("bold", False))
        box = box_around(x + (0.5 - across) * width, y, width, height)
        self.words.append(Words(text, box, **style))
        return box


@dataclass(frozen=True)
class Axis:
    """A scale along x: values ``limits`` over the panel ``box`` [px], with a step between the ticks."""

    box: Box
    limits: tuple[float, float]
    step: float

    def pixel(self, value: float) -> float:
        """Where a value is [px]."""
        low, high = self.limits
        return self.box.left + (value - low) / (high - low) * self.box.width


def axis_over(values: np.ndarray, box: Box, room: float = 0.08) -> Axis:
    """An axis that shows all values with some room at both ends."""
    low, high = float(np.min(values)), float(np.max(values))
    more = max(room * (high - low), 0.05)
    limits = (low - more, high + more)
    return Axis(box, limits, nice_step(limits[1] - limits[0], max(2.0, box.width / 110)))


def add_axis(canvas: Canvas, axis: Axis, title: str) -> None:
    """Frame, faint lines at the ticks, numbers and title below the panel."""
    box = axis.box
    ticks = [float(value) for value in multiples(*axis.limits, axis.step)]
    canvas.strokes([[[axis.pixel(v), box.bottom], [axis.pixel(v), box.top]] for v in ticks], FAINT)
    canvas.strokes([[[axis.pixel(v), box.bottom], [axis.pixel(v), box.bottom - TICK]] for v in ticks])
    canvas.frame(box)
    for value in ticks:
        canvas.text(number_text(value, axis.step), axis.pixel(value), box.bottom - TICK - GAP - TEXT / 2, 0.5)
    canvas.text(title, (box.left + box.right) / 2, box.bottom - TICK - GAP - LINE - TEXT / 2, 0.5)


def add_raster(
    canvas: Canvas,
    box: Box,
    bounds: tuple[float, float, float, float],
    values: np.ndarray,
    scale: Scale,
    with_lines: bool = True,
) -> None:
    """Cells (ny, nx), row 0 at the bottom, NaN where there is none, over a box [px]; axes in mm.

    ``bounds`` (left, bottom, right, top) [m] is what the box shows; ``with_lines`` adds the scale's isolines.
    """
    rows, columns = values.shape
    x, y = np.linspace(box.left, box.right, columns + 1), np.linspace(box.bottom, box.top, rows + 1)
    points, quads = _cells(x, y)
    kept = np.isfinite(values).ravel()
    triangles = np.concatenate([quads[kept][:, [0, 1, 2]], quads[kept][:, [0, 2, 3]]])
    canvas.parts.append(Surface(points, triangles, np.tile(values.ravel()[kept], 2), scale.limits, scale.colour_map))
    if with_lines:
        _add_lines(canvas, x, y, values, scale)
    canvas.frame(box)
    _add_millimetres(canvas, box, bounds)


def _cells(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a grid's cells, and four corners of each cell, counter-clockwise."""
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    first = (np.arange(len(y) - 1)[:, None] * len(x) + np.arange(len(x) - 1)).ravel()
    return points, np.column_stack([first, first + 1, first + 1 + len(x), first + len(x)])


def _add_lines(canvas: Canvas, x: np.ndarray, y: np.ndarray, values: np.ndarray, scale: Scale) -> None:
    """Isolines between the middles of blocks of cells."""
    size = block_size(values.shape)
    across, up = (_blocks((edges[1:] + edges[:-1])[None] / 2, 1, size)[0] for edges in (x, y))
    means = _blocks(values, size, size)
    if min(means.shape) < 2:
        return
    points, quads = _cells(across, up)
    flat = means.ravel()
    quads = quads[np.isfinite(flat[quads]).all(axis=1)]
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    for level in scale.levels:
        canvas.strokes(isolines(points, triangles, flat, float(level)), scale.line_colour(float(level)), 1.5)


def block_size(shape: tuple[int, ...]) -> int:
    """Cells along each side of the blocks whose means isolines are drawn of: a camera's noise would make clouds of lines."""
    return max(1, round(max(shape) / LINE_CELLS))


def _blocks(values: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """Means over blocks of cells, the last ones smaller; NaN where a block holds one."""
    up, across = np.arange(0, values.shape[0], rows), np.arange(0, values.shape[1], columns)
    sums = np.add.reduceat(np.add.reduceat(values, up, axis=0), across, axis=1)
    counts = np.add.reduceat(np.add.reduceat(np.ones(values.shape), up, axis=0), across, axis=1)
    return sums / counts


def _add_millimetres(canvas: Canvas, box: Box, bounds: tuple[float, float, float, float]) -> None:
    left, bottom, right, top = (1e3 * each for each in bounds)
    for low, high, extent, upright in ((left, right, box.width, False), (bottom, top, box.height, True)):
        step = nice_step(high - low, max(1.0, extent / (70 if upright else 110)))
        for value in multiples(low, high, step):
            at, text = (value - low) / (high - low) * extent, number_text(float(value), step)
            if upright:
                canvas.strokes([[[box.left, box.bottom + at], [box.left - TICK, box.bottom + at]]])
                canvas.text(text, box.left - TICK - GAP, box.bottom + at, 1.0)
            else:
                canvas.strokes([[[box.left + at, box.bottom], [box.left + at, box.bottom - TICK]]])
                canvas.text(text, box.left + at, box.bottom - TICK - GAP - TEXT / 2, 0.5)
    canvas.text("x [mm]", (box.left + box.right) / 2, box.bottom - TICK - GAP - LINE - TEXT / 2, 0.5)
    canvas.text("y [mm]", box.left - TICK, box.top + TEXT, 1.0)


def add_bar(canvas: Canvas, box: Box, scale: Scale) -> None:
    """A colour bar in a box's lower part, its title above, the isolines' values below."""
    low, high = scale.limits
    canvas.text(scale.title, box.left, box.bottom + BAR + LINE / 2 + 4)
    bar = Box(box.left, box.bottom, box.right, box.bottom + BAR)
    x, points = np.linspace(bar.left, bar.right, 257), []
    for height in (bar.bottom, bar.top):
        points.append(np.column_stack([x, np.full(len(x), height)]))
    first = np.arange(256)
    triangles = np.concatenate(
        [np.column_stack([first, first + 1, first + 258]), np.column_stack([first, first + 258, first + 257])]
    )
    values = np.tile(np.linspace(low, high, 257), 2)
    canvas.parts.append(Surface(np.concatenate(points), triangles, values, scale.limits, scale.colour_map))
    canvas.frame(bar)
    last = -math.inf
    for level in scale.levels:
        at = bar.left + (float(level) - low) / (high - low) * bar.width
        text = number_text(float(level), scale.step)
        canvas.strokes([[[at, bar.bottom], [at, bar.bottom - TICK]]])
        if at - text_size(text)[0] / 2 > last:
            last = canvas.text(text, at, bar.bottom - TICK - GAP - TEXT / 2, 0.5).right + 12


def add_mark(
    canvas: Canvas, x: float, y: float, corners: int, size: float, colour: Colour, turned: float = 0.0
) -> None:
    """A filled regular polygon with a light rim: 4 corners a diamond, many a dot."""
    angles = turned + 2 * np.pi * np.arange(corners) / corners
    ring = np.column_stack([np.cos(angles), np.sin(angles)])
    canvas.parts += [Patch([x, y] + (size + 3) * ring, LIGHT), Patch([x, y] + size * ring, colour)]


def page(canvas: Canvas, box: Box, title: str, subtitle: str, caption: Sequence[str]) -> Picture:
    """The whole page: title above the box that all panels lie in, caption below it."""
    y = box.top + EDGE / 2
    head = [(line, TITLE, True) for line in wrapped(title, box.width, TITLE, True)]
    head += [(line, TEXT, False) for line in wrapped(subtitle, box.width)]
    for line, size, bold in reversed(head):
        y += size + 14
        canvas.text(line, box.left, y - size / 2, size=size, bold=bold)
    bottom = box.bottom - EDGE / 2
    for line in [line for text in caption for line in wrapped(text, box.width)]:
        canvas.text(line, box.left, bottom - TEXT / 2, colour=MIDDLE)
        bottom -= LINE
    window = Box(
        math.floor(box.left - EDGE),
        math.floor(bottom - EDGE / 2),
        math.ceil(box.right + EDGE),
        math.ceil(y + EDGE / 2),
    )
    even = Box(window.left, window.bottom, window.right + window.width % 2, window.top + window.height % 2)
    return Picture(even, tuple(canvas.parts), tuple(canvas.words))
