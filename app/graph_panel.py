"""A graph: a panel with a scale on each side, in one unit or two, and curves cut to it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plancha.app.charts import FAINT, Canvas, Colour, add_mark
from plancha.app.label_places import GAP, Box
from plancha.app.plan_drawing import DARK, TEXT, text_size
from plancha.app.plan_page import LINE, TICK, multiples, nice_step, number_text

PER_HOUR, CUBIC_FEET, WATER = 3600.0, 60 / 0.3048**3, 1 / 9.80665  # m3/h and ft3/min per m3/s; mm of water per Pa
ACROSS_PER_TICK, UP_PER_TICK = 110, 80  # px, at least
CURVE = 4.0  # width of a curve [px]
DASH = 14.0  # length of a dash and of the gap after it [px]
ASIDE = 110.0  # room beside a panel for a scale's numbers [px]
BETWEEN = 40.0  # entries of a key [px]


@dataclass(frozen=True)
class Ruler:
    """What a side of a panel is labelled with: its title with the unit, and that unit's number for one of the panel's."""

    title: str
    factor: float = 1.0


@dataclass(frozen=True)
class Panel:
    """A box [px] that shows values ``across`` (low, high) and ``up`` (low, high)."""

    box: Box
    across: tuple[float, float]
    up: tuple[float, float]

    def pixels(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Points (n, 2) [px] of values (n,), (n,)."""
        box, (left, right), (low, high) = self.box, self.across, self.up
        return np.column_stack(
            [
                box.left + (np.asarray(x, float) - left) / (right - left) * box.width,
                box.bottom + (np.asarray(y, float) - low) / (high - low) * box.height,
            ]
        )

    def shows(self, x: float, y: float) -> bool:
        """Whether a point lies inside."""
        return self.across[0] <= x <= self.across[1] and self.up[0] <= y <= self.up[1]


def room_around(
    values: Sequence[float] | np.ndarray, share: float = 0.08, from_zero: bool = False
) -> tuple[float, float]:
    """Limits of a scale that shows all values with some room; ``from_zero`` keeps its lower end at nothing."""
    low, high = float(np.min(values)), float(np.max(values))
    more = max(share * (high - (0.0 if from_zero else low)), 1e-9 * max(abs(low), abs(high)), 1e-12)
    return (0.0, high + more) if from_zero else (low - more, high + more)


def add_panel(
    canvas: Canvas, panel: Panel, below: Ruler, left: Ruler, above: Ruler | None = None, right: Ruler | None = None
) -> None:
    """Frame, faint lines at the ticks of the lower and left scales, numbers on every labelled side, titles."""
    _across(canvas, panel, below, upper=False)
    _up(canvas, panel, left, right_side=False)
    if above is not None:
        _across(canvas, panel, above, upper=True)
    if right is not None:
        _up(canvas, panel, right, right_side=True)
    canvas.frame(panel.box)
    row = panel.box.top + TICK + GAP + TEXT / 2 + (LINE if above is not None else 0)
    canvas.text(left.title, panel.box.left - ASIDE, row)
    if right is not None:
        canvas.text(right.title, panel.box.right + ASIDE, row, 1.0)


def _across(canvas: Canvas, panel: Panel, ruler: Ruler, upper: bool) -> None:
    box = panel.box
    low, high = (value * ruler.factor for value in panel.across)
    step = nice_step(high - low, max(2.0, box.width / ACROSS_PER_TICK))
    edge, sign = (box.top, 1) if upper else (box.bottom, -1)
    for value in multiples(low, high, step):
        x = box.left + (float(value) - low) / (high - low) * box.width
        if not upper:
            canvas.strokes([[[x, box.bottom], [x, box.top]]], FAINT)
        canvas.strokes([[[x, edge], [x, edge + sign * TICK]]])
        canvas.text(number_text(float(value), step), x, edge + sign * (TICK + GAP + TEXT / 2), 0.5)
    canvas.text(ruler.title, (box.left + box.right) / 2, edge + sign * (TICK + GAP + LINE + TEXT / 2), 0.5)


def _up(canvas: Canvas, panel: Panel, ruler: Ruler, right_side: bool) -> None:
    box = panel.box
    low, high = (value * ruler.factor for value in panel.up)
    step = nice_step(high - low, max(2.0, box.height / UP_PER_TICK))
    edge, sign = (box.right, 1) if right_side else (box.left, -1)
    for value in multiples(low, high, step):
        y = box.bottom + (float(value) - low) / (high - low) * box.height
        if not right_side:
            canvas.strokes([[[box.left, y], [box.right, y]]], FAINT)
        canvas.strokes([[[edge, y], [edge + sign * TICK, y]]])
        canvas.text(number_text(float(value), step), edge + sign * (TICK + GAP), y, 0.0 if right_side else 1.0)


def add_curve(
    canvas: Canvas,
    panel: Panel,
    x: np.ndarray,
    y: np.ndarray,
    colour: Colour = DARK,
    width: float = CURVE,
    dashed: bool = False,
) -> None:
    """A curve through points, cut to the panel."""
    if len(x) < 2:
        return
    line = shapely.LineString(panel.pixels(x, y))
    box = panel.box
    inside = shapely.intersection(line, shapely.box(box.left, box.bottom, box.right, box.top))
    for part in shapely.get_parts(inside):
        if shapely.get_num_points(part) > 1:
            canvas.strokes(_dashes(part) if dashed else _segments(part), colour, width)


def _segments(line: shapely.LineString) -> np.ndarray:
    points = shapely.get_coordinates(line)
    return np.stack([points[:-1], points[1:]], axis=1)


def _dashes(line: shapely.LineString) -> np.ndarray:
    starts = np.arange(0.0, line.length, 2 * DASH)
    ends = np.minimum(starts + DASH, line.length)
    places = shapely.line_interpolate_point(line, np.stack([starts, ends], axis=1))
    return shapely.get_coordinates(places).reshape(-1, 2, 2)


@dataclass(frozen=True)
class Entry:
    """A line of a key: words for a curve (``corners`` 0) or for a mark of so many corners."""

    text: str
    colour: Colour
    corners: int = 0
    turned: float = 0.0
    dashed: bool = False
    width: float = CURVE


def add_key(canvas: Canvas, entries: Sequence[Entry], left: float, right: float, top: float, size: float) -> float:
    """Entries in rows from left to right; where the next line may begin."""
    x, y = left, top - TEXT / 2
    for entry in entries:
        mark = 3 * size if entry.corners else 60.0
        width = mark + text_size(entry.text)[0]
        if x > left and x + width > right:
            x, y = left, y - LINE
        if entry.corners:
            add_mark(canvas, x + size, y, entry.corners, size, entry.colour, entry.turned)
        else:
            dashes = [[[x, y], [x + 14, y]], [[x + 28, y], [x + 42, y]]]
            canvas.strokes(dashes if entry.dashed else [[[x, y], [x + 48, y]]], entry.colour, entry.width)
        canvas.text(entry.text, x + mark, y)
        x += width + BETWEEN
    return y - TEXT / 2 - GAP
