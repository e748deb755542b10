"""How a bank of fins is cut into cells of its coolant: lanes of gaps along the flow, or columns through it, and which
fins each cell has."""

from dataclasses import dataclass

import numpy as np
import shapely

from plancha.fem.cells import CellGrid
from plancha.geometry.air import ALONG_X, Bank, Flow, way_axis

MOST_LANES = 40
STATIONS = 48  # cells along a lane
COLUMNS = 20  # cells along each side of a through flow
LEVELS = 8  # cells up each of its columns


@dataclass(frozen=True)
class Lanes:
    """A bank cut along its flow: edges along it and across it [m], and the region (number) whose fins each cell has
    (lanes, stations).

    Stations count in the direction of x or y, whatever the flow.
    """

    along: np.ndarray
    across: np.ndarray
    region: np.ndarray
    axis: int

    @property
    def width(self) -> float:
        """Of a lane [m]."""
        return float(self.across[1] - self.across[0])

    @property
    def step(self) -> float:
        """Length of a cell along the flow [m]."""
        return float(self.along[1] - self.along[0])

    @property
    def length(self) -> float:
        """Of the whole bank along the flow [m]."""
        return float(self.along[-1] - self.along[0])

    def grid(self, number: np.ndarray) -> CellGrid:
        """Cells on the plan from their numbers (lanes, stations)."""
        if self.axis == ALONG_X:
            return CellGrid(self.along, self.across, number.T)
        return CellGrid(self.across, self.along, number)


def lanes_of(bank: Bank, flow: Flow) -> Lanes:
    """Lanes of one or more gaps each, and stations along them."""
    axis = way_axis(flow, bank)
    left, bottom, right, top = bank.outline.bounds
    spans = ((left, right), (bottom, top))
    along, across = spans[axis], spans[1 - axis]
    pitch = max(fins.across if fins.is_pin else fins.pitch for fins in (region.fins for region in bank.regions))
    count = int(np.clip((across[1] - across[0]) / pitch, 1, MOST_LANES))
    stations = np.linspace(*along, STATIONS + 1)
    edges = np.linspace(*across, count + 1)
    middle_along, middle_across = (stations[1:] + stations[:-1]) / 2, (edges[1:] + edges[:-1]) / 2
    a, c = np.meshgrid(middle_along, middle_across)
    x, y = (a, c) if axis == ALONG_X else (c, a)
    return Lanes(stations, edges, region_at(bank, x, y), axis)


def region_at(bank: Bank, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Number of the region of a bank that holds each point; the last where none does."""
    found = np.full(x.shape, len(bank.regions) - 1)
    for number, region in enumerate(bank.regions):
        found[shapely.contains_xy(region.outline, x, y)] = number
    return found


@dataclass(frozen=True)
class Columns:
    """A bank cut into columns that a flow passes from end to end: edges [m], the free area of each (nx, ny) [m2], its
    region (number)."""

    x: np.ndarray
    y: np.ndarray
    area: np.ndarray
    region: np.ndarray


def columns_of(bank: Bank, zone: shapely.Geometry) -> Columns:
    """Columns over a bank, each with what the zone leaves free."""
    left, bottom, right, top = bank.outline.bounds
    x, y = np.linspace(left, right, COLUMNS + 1), np.linspace(bottom, top, COLUMNS + 1)
    low_x, low_y = np.meshgrid(x[:-1], y[:-1], indexing="ij")
    high_x, high_y = np.meshgrid(x[1:], y[1:], indexing="ij")
    boxes = shapely.box(low_x, low_y, high_x, high_y)
    area = shapely.area(shapely.intersection(boxes, zone))
    return Columns(x, y, area, region_at(bank, (low_x + high_x) / 2, (low_y + high_y) / 2))
