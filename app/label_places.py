"""Where words go on a picture so that nothing overlaps: boxes in pixels, x right, y up. No drawing here."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

GAP = 8.0  # pixels between a label and what it belongs to
RING_STEP, RING_DIRECTIONS = 28.0, 24


@dataclass(frozen=True)
class Box:
    """An upright rectangle [px]."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Along x [px]."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Along y [px]."""
        return self.top - self.bottom

    @property
    def middle(self) -> tuple[float, float]:
        """Centre (x, y) [px]."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    def moved(self, x: float, y: float) -> "Box":
        """The same box further right by x and up by y."""
        return Box(self.left + x, self.bottom + y, self.right + x, self.top + y)

    def grown(self, by: float) -> "Box":
        """The box with a margin around it."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)


def box_around(x: float, y: float, width: float, height: float) -> Box:
    """Box with its centre at (x, y)."""
    return Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def overlap_areas(box: Box, others: Sequence[Box]) -> np.ndarray:
    """Area [px^2] that a box shares with each of the others, (others,)."""
    if not others:
        return np.zeros(0)
    left, bottom, right, top = np.array([(b.left, b.bottom, b.right, b.top) for b in others]).T
    across = np.minimum(right, box.right) - np.maximum(left, box.left)
    along = np.minimum(top, box.top) - np.maximum(bottom, box.bottom)
    return np.clip(across, 0, None) * np.clip(along, 0, None)


def overlaps(box: Box, others: Sequence[Box]) -> bool:
    """Whether a box shares any area with one of the others."""
    return bool(overlap_areas(box, others).any())


def contains(outer: Box, inner: Box) -> bool:
    """Whether a box lies wholly inside another."""
    return (
        outer.left <= inner.left
        and outer.bottom <= inner.bottom
        and inner.right <= outer.right
        and inner.top <= outer.top
    )


def beside(target: Box, width: float, height: float) -> Iterator[Box]:
    """Places for a label right outside a rectangle: above and below it (flush left, middle, flush right), right, left."""
    x, y = target.middle
    columns = (target.left + width / 2, x, target.right - width / 2)
    for row in (target.top + GAP + height / 2, target.bottom - GAP - height / 2):
        yield from (box_around(column, row, width, height) for column in columns)
    yield box_around(target.right + GAP + width / 2, y, width, height)
    yield box_around(target.left - GAP - width / 2, y, width, height)


def within(target: Box, width: float, height: float) -> Iterator[Box]:
    """Places for a label inside a rectangle, in its four corners."""
    inset = target.grown(-GAP)
    for row in (inset.top - height / 2, inset.bottom + height / 2):
        for column in (inset.left + width / 2, inset.right - width / 2):
            yield box_around(column, row, width, height)


def on_rings(target: Box, width: float, height: float, farthest: float) -> Iterator[Box]:
    """Places further and further away from a rectangle's centre, in all directions, up to ``farthest`` [px] from it."""
    x, y = target.middle
    angles = 2 * math.pi * (np.arange(RING_DIRECTIONS) + 0.5) / RING_DIRECTIONS
    reach = math.hypot(target.width, target.height) / 2
    for ring in range(1, 2 + int((farthest - reach) / RING_STEP)):
        for angle in angles:
            distance = reach + ring * RING_STEP
            yield box_around(x + distance * math.cos(angle), y + distance * math.sin(angle), width, height)


def free_place(places: Iterable[Box], inside: Box, taken: Sequence[Box]) -> Box | None:
    """The first of the places that lies inside and overlaps nothing taken; None where there is none."""
    return next((place for place in places if contains(inside, place) and not overlaps(place, taken)), None)


def nearest_point(box: Box, x: float, y: float) -> tuple[float, float]:
    """The point of a box nearest to (x, y): where a leader line ends."""
    return min(max(x, box.left), box.right), min(max(y, box.bottom), box.top)
