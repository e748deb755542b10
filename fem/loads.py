"""From a grid of cells to nodes and elements: exact overlaps of cells with triangles, so that each cell's watts are kept."""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import PlanSpace, barycentric, shape_values
from plancha.geometry.grid import Grid
from plancha.geometry.power_map import PowerMap

MOST_OVERLAPS = 1_500_000  # beyond this the cells are far smaller than the triangles and count as points
ROWS = 256  # of the map, taken at a time
TOUCHING = 1e-12  # overlap [share of the cell] that counts as none
ROUNDED = (
    1e-7  # of a cell: how far an element may reach beyond it where the mesh embeds its edges, which are rounded there
)


@dataclass(frozen=True)
class Overlaps:
    """Pieces that triangles and cells share: element, cell (row-major number), and polygon corners (n, 7, 2), last one repeated."""

    element: np.ndarray
    cell: np.ndarray
    corners: np.ndarray


def cell_loads(space: PlanSpace, power_map: PowerMap, origin: tuple[float, float], elements: np.ndarray) -> np.ndarray:
    """Watts at the plan nodes (n,) of a power map laid with its lower left corner at ``origin`` [m] over the given elements.

    Each cell's watts and first moments are kept on any mesh: every cell is cut by the triangles and integrated exactly; where the
    cells are far smaller than the triangles, each is a point at its centre.
    """
    x, y = power_map.x + origin[0], power_map.y + origin[1]
    if _count_overlaps(space, x, y, elements) > MOST_OVERLAPS:
        return _point_loads(space, x, y, power_map.watts, elements)
    return cell_weights(space, x, y, elements) @ power_map.watts.ravel()


def cell_weights(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray) -> sp.csr_array:
    """Nodes-by-cells matrix (n, cells): how a watt spread over a cell loads the nodes; each column sums to 1.

    A cell that no element covers has an empty column.
    """
    element, cell, area, load = _integrals(space, x, y, elements)
    cells = (len(x) - 1) * (len(y) - 1)
    covered = np.bincount(cell, area, cells)
    share = load / covered[cell][:, None]
    nodes = space.element_nodes[element]
    columns = np.broadcast_to(cell[:, None], nodes.shape)
    return sp.coo_array((share.ravel(), (nodes.ravel(), columns.ravel())), shape=(len(space.nodes), cells)).tocsr()


def element_values(space: PlanSpace, grid: Grid, elements: np.ndarray) -> np.ndarray:
    """Mean of a grid's values over each of the elements, by exact overlaps; outside the grid its rim's value holds."""
    x, y = grid.edges()
    element, cell, area, _ = _integrals(space, x, y, elements)
    count = len(space.element_nodes)
    total = np.bincount(element, area * grid.values.ravel()[cell], count)
    covered = np.bincount(element, area, count)
    centres = space.nodes[space.element_nodes[:, :3]].mean(axis=1)
    column = np.clip(np.searchsorted(x, centres[:, 0]) - 1, 0, len(x) - 2)
    row = np.clip(np.searchsorted(y, centres[:, 1]) - 1, 0, len(y) - 2)
    nearest = grid.values[row, column]
    return np.divide(total, covered, out=nearest, where=covered > 1e-6 * space.areas)[elements]


def _boxes(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray):
    """For each element the half-open ranges of columns and rows its bounding box meets."""
    corners = space.nodes[space.element_nodes[elements, :3]]
    low, high = corners.min(axis=1), corners.max(axis=1)
    ranges = []
    for edges, start, stop in ((x, low[:, 0], high[:, 0]), (y, low[:, 1], high[:, 1])):
        first = np.clip(np.searchsorted(edges, start, side="right") - 1, 0, len(edges) - 1)
        last = np.clip(np.searchsorted(edges, stop, side="left"), 0, len(edges) - 1)
        ranges.append((first, np.maximum(last - first, 0)))
    return ranges


def _count_overlaps(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray) -> int:
    (_, columns), (_, rows) = _boxes(space, x, y, elements)
    return int((columns * rows).sum())


def overlaps(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray) -> Overlaps:
    """All pieces that the elements share with the cells between edges ``x`` and ``y`` [m]."""
    element, column, row = _pairs(space, x, y, elements)
    piece = space.nodes[space.element_nodes[element, :3]]
    for axis, bound, sign in (
        (0, x[column], 1.0),
        (0, x[column + 1], -1.0),
        (1, y[row], 1.0),
        (1, y[row + 1], -1.0),
    ):
        piece = _clip(piece, axis, bound, sign)
    size = (x[column + 1] - x[column]) * (y[row + 1] - y[row])
    keep = _areas(piece) > TOUCHING * size
    return Overlaps(element[keep], (row * (len(x) - 1) + column)[keep], piece[keep])


def _pairs(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray):
    (column0, columns), (row0, rows) = _boxes(space, x, y, elements)
    count = columns * rows
    owner = np.repeat(np.arange(len(elements)), count)
    rank = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    width = np.maximum(columns[owner], 1)
    return elements[owner], column0[owner] + rank % width, row0[owner] + rank // width


def _clip(polygons: np.ndarray, axis: int, bound: np.ndarray, sign: float) -> np.ndarray:
    """Cut convex polygons (n, corners, 2) by sign * (coordinate - bound) >= 0; one more corner each, spare ones repeated."""
    distance = sign * (polygons[:, :, axis] - bound[:, None])
    following, next_distance = np.roll(polygons, -1, axis=1), np.roll(distance, -1, axis=1)
    crosses = (distance >= 0) != (next_distance >= 0)
    step = np.divide(distance, distance - next_distance, out=np.zeros_like(distance), where=crosses)
    crossing = polygons + step[:, :, None] * (following - polygons)
    count, corners = distance.shape
    # Each side gives its first corner where that is inside, then its crossing if it has one.
    points = np.stack([polygons, crossing], axis=2).reshape(count, 2 * corners, 2)
    kept = np.stack([distance >= 0, crosses], axis=2).reshape(count, 2 * corners)
    order = np.argsort(~kept, axis=1, kind="stable")[:, : corners + 1]
    number = np.clip(kept.sum(axis=1), 1, corners + 1)
    order = np.take_along_axis(order, np.minimum(np.arange(corners + 1), number[:, None] - 1), axis=1)
    points = np.take_along_axis(points, order[:, :, None], axis=1)
    points[~kept.any(axis=1)] = 0.0
    return points


def _areas(polygons: np.ndarray) -> np.ndarray:
    x, y = polygons[..., 0] - polygons[:, :1, 0], polygons[..., 1] - polygons[:, :1, 1]
    return np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)) / 2


def _integrals(
    space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Of all pieces that elements share with cells: element, cell, area, integrals (n, 6) of the element's functions.

    Elements that lie in one cell, as all do where the mesh embeds the cells' edges, need not be cut.
    """
    whole, cell = _in_one_cell(space, x, y, elements)
    pieces = overlaps(space, x, y, elements[~whole])
    area, load = _integrate(space, pieces)
    own = space.areas[elements[whole]]
    # A quadratic triangle's corner functions integrate to nothing, its middle ones to a third of the area.
    own_load = np.outer(own, [0.0, 0.0, 0.0, 1 / 3, 1 / 3, 1 / 3])
    return (
        np.concatenate([elements[whole], pieces.element]),
        np.concatenate([cell[whole], pieces.cell]),
        np.concatenate([own, area]),
        np.concatenate([own_load, load]),
    )


def _in_one_cell(space: PlanSpace, x: np.ndarray, y: np.ndarray, elements: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which elements lie in one cell, but for rounding, and the cell of each one's centre (row-major number); (elements,) each."""
    corners = space.nodes[space.element_nodes[elements, :3]]
    low, high, centre = corners.min(axis=1), corners.max(axis=1), corners.mean(axis=1)
    is_whole, numbers = np.ones(len(elements), bool), []
    for axis, edges in enumerate((x, y)):
        number = np.clip(np.searchsorted(edges, centre[:, axis], side="right") - 1, 0, len(edges) - 2)
        slack = ROUNDED * (edges[number + 1] - edges[number])
        is_whole &= (low[:, axis] > edges[number] - slack) & (high[:, axis] < edges[number + 1] + slack)
        numbers.append(number)
    return is_whole, numbers[1] * (len(x) - 1) + numbers[0]


def _integrate(space: PlanSpace, pieces: Overlaps) -> tuple[np.ndarray, np.ndarray]:
    """Area of each piece and the integrals (n, 6) of its element's quadratic functions over it, both exact."""
    first, areas, loads = pieces.corners[:, 0], np.zeros(len(pieces.element)), np.zeros((len(pieces.element), 6))
    for second, third in zip(np.moveaxis(pieces.corners[:, 1:-1], 1, 0), np.moveaxis(pieces.corners[:, 2:], 1, 0)):
        u, v = second - first, third - first
        area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        # Middles of the three sides: exact for quadratics.
        for point in ((first + second) / 2, (second + third) / 2, (first + third) / 2):
            loads += (area / 3)[:, None] * shape_values(barycentric(space, pieces.element, point))
        areas += area
    return areas, loads


def _point_loads(space: PlanSpace, x: np.ndarray, y: np.ndarray, watts: np.ndarray, elements: np.ndarray) -> np.ndarray:
    """Loads (n,) of cells taken as points at their centres; each cell goes to one element only.

    A row of centres crosses a triangle between two of its sides. What lies between enters by its sums of watts, watts x and watts
    x^2, differences of running sums along the row: no cell is looked at twice.
    """
    centre_x, centre_y = (x[1:] + x[:-1]) / 2 - x[0], (y[1:] + y[:-1]) / 2
    element, row, start, stop = _crossings(space, centre_x, centre_y, x[0], elements)
    loads = np.zeros(len(space.nodes))
    for first in range(0, len(centre_y), ROWS):
        some = np.flatnonzero((row >= first) & (row < first + ROWS) & (stop > start))
        powers = watts[first : first + ROWS, :, None] * np.stack([centre_x**0, centre_x, centre_x**2], axis=1)
        running = np.concatenate([np.zeros((len(powers), 1, 3)), np.cumsum(powers, axis=1)], axis=1)
        sums = running[row[some] - first, stop[some]] - running[row[some] - first, start[some]]
        shares = _row_shares(space, element[some], x[0], centre_y[row[some]], sums)
        loads += np.bincount(space.element_nodes[element[some]].ravel(), shares.ravel(), len(loads))
    return loads


def _crossings(space: PlanSpace, centre_x: np.ndarray, centre_y: np.ndarray, left: float, elements: np.ndarray):
    """Where rows of centres cross elements: element, row, first column inside, first column beyond; all (crossings,).

    A side counts from its lower end up to, but without, its upper one, and a crossing from its left side up to, but without, its
    right one; both triangles of a side find the same number for it: so each centre belongs to one triangle.
    """
    corners = space.nodes[space.element_nodes[elements, :3]]
    first = np.searchsorted(centre_y, corners[..., 1].min(axis=1), side="left")
    count = np.searchsorted(centre_y, corners[..., 1].max(axis=1), side="left") - first
    owner = np.repeat(np.arange(len(elements)), count)
    row = np.repeat(first, count) + np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    level = centre_y[row]
    lowest, highest = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for one, other in ((0, 1), (1, 2), (2, 0)):
        ends = corners[:, [one, other]]
        ends = np.take_along_axis(ends, np.argsort(ends[..., 1], axis=1, kind="stable")[..., None], axis=1)[owner]
        (x0, y0), (x1, y1) = ends[:, 0].T, ends[:, 1].T
        active = (y0 <= level) & (level < y1)
        at = x0 + np.divide(level - y0, y1 - y0, out=np.zeros(len(row)), where=active) * (x1 - x0) - left
        lowest = np.where(active, np.minimum(lowest, at), lowest)
        highest = np.where(active, np.maximum(highest, at), highest)
    return elements[owner], row, np.searchsorted(centre_x, lowest), np.searchsorted(centre_x, highest)


def _row_shares(space: PlanSpace, element: np.ndarray, left: float, level: np.ndarray, sums: np.ndarray) -> np.ndarray:
    """Sums (crossings, 6) of watts times the quadratic functions, from those of watts, watts x, watts x^2 with x from ``left``."""
    at_left = barycentric(space, element, np.column_stack([np.full(len(level), left), level]))
    # Barycentric coordinates are straight along the row: value at its left end plus slope times x.
    corners = space.nodes[space.element_nodes[element, :3]]
    along = barycentric(space, element, corners[:, 0] + [1.0, 0.0]) - [1.0, 0.0, 0.0]

    def product(m: int, n: int) -> np.ndarray:
        """Sums of watts times the barycentric coordinates m and n."""
        a, b = at_left[:, m], at_left[:, n]
        return (
            a * b * sums[:, 0]
            + (a * along[:, n] + b * along[:, m]) * sums[:, 1]
            + along[:, m] * along[:, n] * sums[:, 2]
        )

    single = at_left * sums[:, :1] + along * sums[:, 1:2]
    corner = [2 * product(m, m) - single[:, m] for m in range(3)]
    return np.stack([*corner, 4 * product(0, 1), 4 * product(1, 2), 4 * product(0, 2)], axis=1)
