"""Where a component's power leaves it: watts on a tensor grid of cells over the component's footprint."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Jumps below this share of the peak flux are rounding of watts / area, not a line.
ROUNDING = 1e-12
# Shares of the excess (peak minus mean) at which strong features are looked for, in this order.
STRONG_LEVELS = (1 / 2, 1 / 4, 1 / 8)
# A feature below this share of (mean flux) x (size of the footprint) is speckle.
SPECKLE = 0.01
# Strong features are looked for on at most so many cells a side.
CELLS_LOOKED_AT = 1000


@dataclass(frozen=True, eq=False)
class PowerMap:
    """Watts per cell over a component's footprint, in the component's own coordinates.

    Origin at the lower left corner of the component's bounding rectangle, x right, y up, as seen from the cooled side.

    Parameters
    ----------
    x : array (nx + 1,), [m]
        Vertical cell edges, from 0 to the width.
    y : array (ny + 1,), [m]
        Horizontal cell edges, from 0 to the height.
    watts : array (ny, nx), [W]
        Power of each cell; row 0 is the BOTTOM row.

    Raises
    ------
    ValueError
        If shapes disagree, edges do not increase from 0, or a cell is negative or not finite.

    Notes
    -----
    The arrays are kept read-only; they are copied unless they already are.
    """

    x: Floats
    y: Floats
    watts: Floats

    def __post_init__(self) -> None:
        for name in ("x", "y", "watts"):
            object.__setattr__(self, name, _read_only(getattr(self, name)))
        for name in ("x", "y"):
            _check_edges(name, getattr(self, name))
        shape = (self.y.size - 1, self.x.size - 1)
        if self.watts.shape != shape:
            raise ValueError(f"watts has shape {self.watts.shape}, the edges ask for {shape}")
        # Minimum and maximum need no array of their own, and NaN passes neither comparison.
        if not (self.watts.min() >= 0.0 and self.watts.max() < np.inf):
            raise ValueError("watts must be finite and 0 or more in every cell")

    @property
    def width(self) -> float:
        """Extent along x, [m]."""
        return float(self.x[-1])

    @property
    def height(self) -> float:
        """Extent along y, [m]."""
        return float(self.y[-1])

    def __repr__(self) -> str:
        rows, columns = self.watts.shape
        size = f"{self.width * 1e3:g} mm x {self.height * 1e3:g} mm"
        return f"PowerMap({columns} x {rows} cells on {size}, {total_power(self):g} W)"


def _read_only(values: object) -> Floats:
    owned = isinstance(values, np.ndarray) and values.dtype == np.float64 and values.base is None
    if owned and not values.flags.writeable and values.flags.c_contiguous:  # type: ignore[attr-defined]
        return values  # type: ignore[return-value]
    array = np.array(values, dtype=np.float64, order="C")
    array.setflags(write=False)
    return array


def _check_edges(name: str, edges: Floats) -> None:
    if edges.ndim != 1 or edges.size < 2:
        raise ValueError(f"{name} must be a row of at least two edges, got shape {edges.shape}")
    if edges[0] != 0.0 or not np.isfinite(edges[-1]) or not np.all(np.diff(edges) > 0.0):
        raise ValueError(f"{name} must increase strictly from 0, got {edges[0]:g} to {edges[-1]:g}")


def total_power(power_map: PowerMap) -> float:
    """Sum over all cells, [W]."""
    return float(power_map.watts.sum())


def centroid(power_map: PowerMap) -> tuple[float, float]:
    """Centre of the power, [m]; of the footprint if there is no power."""
    total = total_power(power_map)
    if total == 0.0:
        return power_map.width / 2, power_map.height / 2
    x_mid, y_mid = ((edges[1:] + edges[:-1]) / 2 for edges in (power_map.x, power_map.y))
    return (
        float(power_map.watts.sum(axis=0) @ x_mid) / total,
        float(power_map.watts.sum(axis=1) @ y_mid) / total,
    )


def flux(power_map: PowerMap) -> Floats:
    """Power per area of each cell, array (ny, nx), [W/m2]; row 0 is the bottom row."""
    values = power_map.watts / np.diff(power_map.y)[:, None]
    values /= np.diff(power_map.x)
    return values


def peak_flux(power_map: PowerMap) -> float:
    """Largest power per area of any cell, [W/m2]."""
    return float(flux(power_map).max())


def mean_flux(power_map: PowerMap) -> float:
    """Total power over the area of the bounding rectangle, [W/m2]."""
    return total_power(power_map) / (power_map.width * power_map.height)


def uniform_map(width: float, height: float, watts: float) -> PowerMap:
    """One cell of `watts` [W] over the whole `width` x `height` [m]."""
    return PowerMap(np.array([0.0, width]), np.array([0.0, height]), np.array([[watts]]))


def scaled(power_map: PowerMap, watts_total: float) -> PowerMap:
    """The same pattern with another total.

    Parameters
    ----------
    power_map : PowerMap
    watts_total : float, [W]
        The new total, 0 or more.

    Raises
    ------
    ValueError
        If the map has no power to scale, unless `watts_total` is 0.
    """
    total = total_power(power_map)
    if total == 0.0:
        if watts_total == 0.0:
            return power_map
        raise ValueError(f"a map of 0 W cannot be scaled to {watts_total:g} W")
    return PowerMap(power_map.x, power_map.y, power_map.watts * (watts_total / total))


def mirrored(power_map: PowerMap) -> PowerMap:
    """The map with left and right exchanged: what is seen from the other side of the die."""
    return PowerMap(_reversed(power_map.x), power_map.y, power_map.watts[:, ::-1])


def turned(power_map: PowerMap, quarter_turns: int) -> PowerMap:
    """The map turned counter-clockwise by so many quarter turns; an odd number swaps width and height.

    Parameters
    ----------
    power_map : PowerMap
    quarter_turns : int
        Any whole number; negative turns clockwise.
    """
    x, y, watts = power_map.x, power_map.y, power_map.watts
    turns = quarter_turns % 4
    if turns == 0:
        return power_map
    if turns == 1:  # the point (x, y) goes to (height - y, x)
        return PowerMap(_reversed(y), x, watts[::-1].T)
    if turns == 2:
        return PowerMap(_reversed(x), _reversed(y), watts[::-1, ::-1])
    return PowerMap(y, _reversed(x), watts[:, ::-1].T)


def _reversed(edges: Floats) -> Floats:
    return (edges[-1] - edges)[::-1]


def coarsened(power_map: PowerMap, cells: int) -> PowerMap:
    """The map with neighbouring cells put together until no side has more than `cells`; the power is kept."""
    rows, columns = power_map.watts.shape
    row_step, column_step = -(-rows // cells), -(-columns // cells)
    if row_step == column_step == 1:
        return power_map
    first_rows, first_columns = np.arange(0, rows, row_step), np.arange(0, columns, column_step)
    watts = np.add.reduceat(np.add.reduceat(power_map.watts, first_rows, axis=0), first_columns, axis=1)
    x, y = (np.append(e[f], e[-1]) for e, f in ((power_map.x, first_columns), (power_map.y, first_rows)))
    return PowerMap(x, y, watts)


Box = tuple[float, float, float, float]  # left, bottom, right, top


def strong_regions(power_map: PowerMap) -> list[tuple[Box, float]]:
    """Regions that stand out strongly: a mesh must resolve them.

    A cell is strong where its flux is above mean + (peak - mean) / 2. Strong cells that share an edge make a region.
    The extent of a region is its mean chord, along x or along y, whichever is shorter: a rectangle's short side, 0.79
    times a circle's diameter. A region counts if (its mean flux - the map's mean flux) x extent is at least 1 % of (the
    map's mean flux) x (square root of the footprint's area): on a thick body a patch's own rise goes as flux x size, so
    speckle does not count, however large the flux of its cells. If no region counts, the level is lowered to a quarter
    and then an eighth of the excess. Maps of more than 1000 cells a side are averaged over groups of cells first, so
    nothing thinner than about a thousandth of the map is told apart.

    Parameters
    ----------
    power_map : PowerMap

    Returns
    -------
    list of ((left, bottom, right, top), extent), [m]
        Bounding box, in the map's own coordinates, and extent of each region that counts; empty if nothing stands out.

    Notes
    -----
    Our own rule; no source.
    """
    power_map = coarsened(power_map, CELLS_LOOKED_AT)
    values = flux(power_map)
    mean, peak = mean_flux(power_map), float(values.max())
    needed = SPECKLE * mean * float(np.sqrt(power_map.width * power_map.height))
    for share in STRONG_LEVELS:
        excess = share * (peak - mean)
        if excess <= ROUNDING * peak:
            break
        regions = _regions(power_map, values > mean + excess, mean, needed)
        if regions:
            return regions
    return []


def smallest_strong_feature(power_map: PowerMap) -> float:
    """Least extent of the regions that stand out strongly (see `strong_regions`).

    Parameters
    ----------
    power_map : PowerMap

    Returns
    -------
    float, [m]
        At most the short side of the footprint, which it is if nothing stands out.
    """
    short_side = min(power_map.width, power_map.height)
    return min([short_side, *(extent for _, extent in strong_regions(power_map))])


def _regions(power_map: PowerMap, strong: NDArray[np.bool_], mean: float, needed: float) -> list[tuple[Box, float]]:
    rows, columns = np.nonzero(strong)
    count, region = _region_of_each(strong)
    extent = _extents(power_map, strong, rows, columns, region)
    area, watts = (np.bincount(region, each[rows, columns], count) for each in (_areas(power_map), power_map.watts))
    counted = np.flatnonzero((watts / area - mean) * extent >= needed)
    first, last = np.full((count, 2), strong.size), np.zeros((count, 2), int)
    cells = np.column_stack([rows, columns])
    np.minimum.at(first, region, cells)
    np.maximum.at(last, region, cells)
    return [(_box(power_map, first[number], last[number]), float(extent[number])) for number in counted]


def _region_of_each(strong: NDArray[np.bool_]) -> tuple[int, NDArray[np.int32]]:
    """Number of regions, and that of each strong cell, row after row."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    number = np.cumsum(strong).reshape(strong.shape) - 1
    beside, below = strong[:, :-1] & strong[:, 1:], strong[:-1] & strong[1:]
    one = np.concatenate([number[:, :-1][beside], number[:-1][below]])
    other = np.concatenate([number[:, 1:][beside], number[1:][below]])
    touching = coo_array((np.ones(len(one), bool), (one, other)), shape=(number[-1, -1] + 1,) * 2)
    return connected_components(touching, directed=False)


def _extents(
    power_map: PowerMap, strong: NDArray[np.bool_], rows: NDArray, columns: NDArray, region: NDArray
) -> Floats:
    """Shorter mean chord of each region."""
    dx, dy = np.diff(power_map.x)[columns], np.diff(power_map.y)[rows]
    area = np.bincount(region, dx * dy)
    # Each run of strong cells along x begins at one left edge: area / (sum of their heights) is the mean chord along x.
    begins_x = (columns == 0) | ~strong[rows, columns - 1]
    begins_y = (rows == 0) | ~strong[rows - 1, columns]
    chord_x = area / np.bincount(region, dy * begins_x)
    chord_y = area / np.bincount(region, dx * begins_y)
    return np.minimum(chord_x, chord_y)


def _areas(power_map: PowerMap) -> Floats:
    return np.multiply.outer(np.diff(power_map.y), np.diff(power_map.x))


def _box(power_map: PowerMap, first: NDArray, last: NDArray) -> Box:
    """Around the cells from (row, column) to (row, column)."""
    (bottom, left), (top, right) = first, last + 1
    x, y = power_map.x, power_map.y
    return float(x[left]), float(y[bottom]), float(x[right]), float(y[top])


def jump_lines(power_map: PowerMap, threshold: float) -> Floats:
    """Straight lines across which the flux jumps, and the four sides of the footprint.

    Parameters
    ----------
    power_map : PowerMap
    threshold : float, [-]
        A cell edge belongs to a line if the flux on its two sides differs by more than this share of the peak, 0 to 1.

    Returns
    -------
    array (n, 2, 2), [m]
        Segment, end, (x, y); as long as the line goes on straight. First the four sides, then upright lines from left
        to right, then level lines from bottom to top.

    Raises
    ------
    ValueError
        If the threshold is outside 0..1.
    """
    if not 0.0 <= threshold <= 1.0:
        raise ValueError(f"threshold must be 0 to 1, got {threshold}")
    values = flux(power_map)
    jump = max(threshold, ROUNDING) * float(values.max())
    width, height = power_map.width, power_map.height
    corners = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    sides = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    upright = _segments(power_map.x[1:-1], power_map.y, (np.abs(np.diff(values, axis=1)) > jump).T)
    level = _segments(power_map.y[1:-1], power_map.x, np.abs(np.diff(values, axis=0)) > jump)
    return np.concatenate([sides, upright, level[:, :, ::-1]])


def _segments(lines: Floats, along: Floats, jumps: NDArray[np.bool_]) -> Floats:
    """Runs of true in each row of jumps (lines, cells along) as segments with ends (line, along)."""
    change = np.diff(np.pad(jumps.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    line, first = np.nonzero(change == 1)
    _, last = np.nonzero(change == -1)
    at = lines[line]
    return np.stack([np.stack([at, along[first]], axis=1), np.stack([at, along[last]], axis=1)], axis=1)
