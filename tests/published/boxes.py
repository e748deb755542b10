"""A plain method of finite volumes on boxes: the path beside the product's own for whole studies, written apart from it.

Nothing here imports plancha. Every body is a stack of layers of rectangular cells on one plan grid; neighbours exchange heat over
their two half cells and what lies between. Second order in the cell size, so that two grids give an extrapolated value.
SI units, temperatures in K; a rectangle is ``(left, bottom, right, top)``.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from cvxopt import cholmod, matrix, spmatrix
from numpy.typing import NDArray

Rectangle = tuple[float, float, float, float]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Box:
    """A body: its rectangle, thickness, layers of cells, and k = k_ref (T/t_ref)^exponent in all directions."""

    place: Rectangle
    thickness: float
    layers: int
    k_ref: float
    exponent: float = 0.0
    t_ref: float = 300.0


@dataclass(frozen=True)
class Patch:
    """Something on a face (0 lower, 1 upper) of a box: cell values on a grid with edges ``x``, ``y``; row 0 is the lowest."""

    box: int
    face: int
    x: Floats
    y: Floats
    values: Floats
    temperature: float = 0.0


@dataclass(frozen=True)
class Problem:
    """Boxes; contacts (lower box, upper box, areal resistance); watts per cell; coefficients per cell (inf: held)."""

    boxes: Sequence[Box]
    contacts: Sequence[tuple[int, int, float]]
    heat: Sequence[Patch]
    cooling: Sequence[Patch]
    largest_cell: float
    heated_cell: float
    margin: float  # around each heated patch, where cells are still of ``heated_cell``


@dataclass
class _Links:
    """Conductances between cells: numbers, the half cells' length over area, areal resistance over area between."""

    one: list = field(default_factory=list)
    other: list = field(default_factory=list)
    parts: list = field(default_factory=list)

    def add(self, one, other, half_one, half_other, between) -> None:
        self.one.append(one)
        self.other.append(other)
        self.parts.append(np.broadcast_arrays(half_one, half_other, between, np.zeros(len(one)))[:3])


def peaks(problem: Problem, split: int) -> Floats:
    """Hottest face temperature of each heated patch [K], on a base grid whose cells are split ``split`` times each way."""
    x, y = (_edges(problem, axis, split) for axis in (0, 1))
    numbers, count = _numbers(problem.boxes, x, y, split)
    links, grounds = _links(problem, numbers, x, y, split)
    box_of_cell = np.concatenate([np.full((n >= 0).sum(), b) for b, n in enumerate(numbers)])
    load, faces = np.zeros(count), []
    for patch in problem.heat:
        cells, watts = _on_face(problem, numbers, patch, x, y, share=True)
        np.add.at(load, cells, watts)
        faces.append((cells, watts))
    temperature = _settled(problem, box_of_cell, links, grounds, load)
    area = np.outer(np.diff(y), np.diff(x))
    found = []
    for patch, (cells, watts) in zip(problem.heat, faces):
        box = problem.boxes[patch.box]
        plan = area[_patch_cells(problem, patch, x, y)]
        depth = box.thickness / (box.layers * split) / 2
        k = _conductivity(problem, box_of_cell[cells], temperature[cells])
        found.append(float(np.max(temperature[cells] + watts / plan * depth / k)))
    return np.array(found)


def extrapolated_peaks(problem: Problem, split: int) -> Floats:
    """Peaks [K] with the second-order error taken out by grids of ``split`` and 2 ``split``."""
    coarse, fine = peaks(problem, split), peaks(problem, 2 * split)
    return fine + (fine - coarse) / 3


def _edges(problem: Problem, axis: int, split: int) -> Floats:
    """All edges of boxes and patches; between them cells of at most ``largest_cell``, near heat ``heated_cell``, each split."""
    ends = [np.asarray(box.place[axis::2]) for box in problem.boxes]
    ends += [(patch.x, patch.y)[axis] for patch in (*problem.heat, *problem.cooling)]
    low, high = min(e.min() for e in ends), max(e.max() for e in ends)
    hot = [(patch.x, patch.y)[axis][[0, -1]] + np.array([-1, 1]) * problem.margin for patch in problem.heat]
    breaks = np.unique(np.round(np.clip(np.concatenate([*ends, *hot]), low, high), 9))
    pieces = []
    for start, stop in pairwise(breaks):
        near = any(ends[0] <= (start + stop) / 2 <= ends[1] for ends in hot)
        size = problem.heated_cell if near else problem.largest_cell
        pieces.append(np.linspace(start, stop, split * int(np.ceil((stop - start) / size - 1e-9)) + 1)[:-1])
    return np.append(np.concatenate(pieces), breaks[-1])


def _inside(place: Rectangle, x: Floats, y: Floats) -> NDArray[np.bool_]:
    across, up = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
    return np.outer((up > place[1]) & (up < place[3]), (across > place[0]) & (across < place[2]))


def _numbers(boxes: Sequence[Box], x: Floats, y: Floats, split: int) -> tuple[list[NDArray[np.int64]], int]:
    """Cell numbers (layers, rows, columns) of each box, -1 off it; layer 0 is the lowest."""
    numbers, count = [], 0
    for box in boxes:
        inside = np.broadcast_to(_inside(box.place, x, y), (box.layers * split, len(y) - 1, len(x) - 1))
        own = np.full(inside.shape, -1)
        own[inside] = count + np.arange(inside.sum())
        count += int(inside.sum())
        numbers.append(own)
    return numbers, count


def _links(problem: Problem, numbers: list[NDArray[np.int64]], x: Floats, y: Floats, split: int) -> tuple[_Links, list]:
    width, height = np.diff(x)[None, :], np.diff(y)[:, None]
    area, links, grounds = width * height, _Links(), []
    for box, own in zip(problem.boxes, numbers):
        depth = box.thickness / len(own)
        for axis, half in ((0, depth / 2 / area), (1, height / 2 / (width * depth)), (2, width / 2 / (height * depth))):
            halves = np.broadcast_to(half, own.shape)
            first, second = (np.delete(own, end, axis) for end in (-1, 0))
            both = (first >= 0) & (second >= 0)
            h1, h2 = (np.delete(halves, end, axis)[both] for end in (-1, 0))
            links.add(first[both], second[both], h1, h2, 0.0)
    for lower, upper, resistance in problem.contacts:
        one, other = numbers[lower][-1], numbers[upper][0]
        both = (one >= 0) & (other >= 0)
        h1, h2 = (problem.boxes[b].thickness / len(numbers[b]) / 2 / area[both] for b in (lower, upper))
        links.add(one[both], other[both], h1, h2, resistance / area[both])
    for patch in problem.cooling:
        cells, film = _on_face(problem, numbers, patch, x, y, share=False)
        bare = _bare(problem, numbers, patch)[_patch_cells(problem, patch, x, y)]
        plan = area[_patch_cells(problem, patch, x, y)][bare]
        half = problem.boxes[patch.box].thickness / len(numbers[patch.box]) / 2 / plan
        grounds.append((cells[bare], half, 1 / (film[bare] * plan), patch.temperature))
    return links, grounds


def _bare(problem: Problem, numbers: list[NDArray[np.int64]], patch: Patch) -> NDArray[np.bool_]:
    """Plan cells where no other box touches the patch's face."""
    bare = np.ones(numbers[0].shape[1:], bool)
    for lower, upper, _ in problem.contacts:
        if (lower, upper)[1 - patch.face] == patch.box:
            bare &= numbers[(lower, upper)[patch.face]][0] < 0
    return bare


def _patch_cells(problem: Problem, patch: Patch, x: Floats, y: Floats) -> NDArray[np.bool_]:
    place = (patch.x[0], patch.y[0], patch.x[-1], patch.y[-1])
    return _inside(place, x, y) & _inside(problem.boxes[patch.box].place, x, y)


def _on_face(problem: Problem, numbers: list[NDArray[np.int64]], patch: Patch, x: Floats, y: Floats, share: bool):
    """Cells under a patch and its values there; where ``share``, each value is shared out by area."""
    where = _patch_cells(problem, patch, x, y)
    row, column = np.nonzero(where)
    across, up = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
    i, j = np.searchsorted(patch.y, up[row]) - 1, np.searchsorted(patch.x, across[column]) - 1
    values = patch.values[i, j]
    if share:
        whole = np.outer(np.diff(patch.y), np.diff(patch.x))[i, j]
        values = values * np.diff(y)[row] * np.diff(x)[column] / whole
    return numbers[patch.box][0 if patch.face == 0 else -1][where], values


def _conductivity(problem: Problem, box: NDArray[np.int64], temperature: Floats) -> Floats:
    k, n, t = (np.array([getattr(b, name) for b in problem.boxes]) for name in ("k_ref", "exponent", "t_ref"))
    return k[box] * (temperature / t[box]) ** n[box]


def _settled(problem: Problem, box_of_cell, links: _Links, grounds: list, load: Floats) -> Floats:
    """Temperatures with k at each cell's own temperature: one factor, then corrections by what is out of balance."""
    one, other = np.concatenate(links.one), np.concatenate(links.other)
    half_one, half_other, between = (np.concatenate([part[i] for part in links.parts]) for i in range(3))
    temperature = np.full(len(load), max(ground[3] for ground in grounds))

    def conductances() -> tuple[Floats, list[Floats]]:
        k = _conductivity(problem, box_of_cell, temperature)
        inner = 1 / (half_one / k[one] + half_other / k[other] + between)
        return inner, [1 / (half / k[cells] + film) for cells, half, film, _ in grounds]

    def lacking(inner: Floats, outer: list[Floats]) -> Floats:
        flow = inner * (temperature[one] - temperature[other])
        rest = load - np.bincount(one, flow, len(load)) + np.bincount(other, flow, len(load))
        for (cells, _, _, coolant), g in zip(grounds, outer):
            rest -= np.bincount(cells, g * (temperature[cells] - coolant), len(load))
        return rest

    inner, outer = conductances()
    solve = _factor(one, other, inner, [g[0] for g in grounds], outer, len(load))
    for _ in range(60):
        missing = lacking(*conductances())
        if np.abs(missing).sum() < 1e-9 * load.sum():
            return temperature
        temperature = temperature + solve(missing)
    raise RuntimeError("k(T) did not settle")


def _factor(one, other, inner: Floats, cells: list, outer: list[Floats], size: int):
    diagonal = np.bincount(one, inner, size) + np.bincount(other, inner, size)
    for where, g in zip(cells, outer):
        diagonal += np.bincount(where, g, size)
    low, high = np.minimum(one, other), np.maximum(one, other)
    rows, columns = np.concatenate([np.arange(size), high]), np.concatenate([np.arange(size), low])
    values = np.concatenate([diagonal, -inner])
    system = spmatrix(matrix(values), matrix(rows.astype(np.int64)), matrix(columns.astype(np.int64)), (size, size))
    factor = cholmod.symbolic(system)
    cholmod.numeric(system, factor)

    def solve(load: Floats) -> Floats:
        answer = matrix(load)
        cholmod.solve(factor, answer)
        return np.array(answer).ravel()

    return solve
