"""Finite volumes on bodies that differ from place to place (inlays, grain, voids, uneven joints), written apart from the product.

Nothing here imports plancha. All bodies share one plan grid of rectangular cells; each is a stack of layers of such cells, and
neighbours exchange heat over their two half cells and what lies between. Plan arrays are (rows, columns), row 0 the lowest.
SI units, temperatures in K.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from cvxopt import cholmod, matrix, spmatrix
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Slab:
    """A body: where it is, thickness, layers of cells, k (3, rows, columns) along x, y and through, times (T/t_ref)^exponent."""

    inside: NDArray[np.bool_]
    thickness: float
    layers: int
    k: Floats
    exponent: float = 0.0
    t_ref: float = 300.0


@dataclass(frozen=True)
class Spread:
    """Something on a face (0 lower, 1 upper) of a slab: watts, or a coefficient with its temperature, of every plan cell."""

    slab: int
    face: int
    values: Floats
    temperature: float = 0.0


@dataclass(frozen=True)
class Model:
    """Edges of the plan grid, slabs, contacts (lower, upper, areal resistance of every plan cell; inf is a void), heat, cooling."""

    x: Floats
    y: Floats
    slabs: Sequence[Slab]
    contacts: Sequence[tuple[int, int, Floats]]
    heat: Sequence[Spread]
    cooling: Sequence[Spread]


@dataclass
class _Pairs:
    """Pairs of cells, one below 0 for the ground: half cells' length over area each, then what lies between, in K/W."""

    parts: list = field(default_factory=list)

    def add(self, one, other, half_one, half_other, between) -> None:
        self.parts.append(np.broadcast_arrays(one, other, half_one, half_other, between))

    def columns(self) -> list[Floats]:
        return [np.concatenate([part[column] for part in self.parts]) for column in range(5)]


def edges(breaks: Sequence[float], size: float, fine: Sequence[tuple[float, float, float]] = ()) -> Floats:
    """Cell edges that hold every break; cells of at most ``size``, within (from, to, size) of ``fine`` of that size."""
    ends = np.unique(np.round([*breaks, *(end for each in fine for end in each[:2])], 9))
    pieces = []
    for start, stop in pairwise(ends):
        own = min([size, *(each[2] for each in fine if each[0] < (start + stop) / 2 < each[1])])
        pieces.append(np.linspace(start, stop, int(np.ceil((stop - start) / own - 1e-6)) + 1)[:-1])
    return np.append(np.concatenate(pieces), ends[-1])


def within(model_x: Floats, model_y: Floats, bounds: Sequence[float]) -> NDArray[np.bool_]:
    """Plan cells whose middle is within (left, bottom, right, top)."""
    across, up = (model_x[1:] + model_x[:-1]) / 2, (model_y[1:] + model_y[:-1]) / 2
    return np.outer((up > bounds[1]) & (up < bounds[3]), (across > bounds[0]) & (across < bounds[2]))


def solved(model: Model) -> tuple[Floats, Floats]:
    """Hottest face temperature of each heat and heat [W] into each cooling."""
    numbers, count = _numbers(model)
    area = np.outer(np.diff(model.y), np.diff(model.x))
    load = np.zeros(count)
    for spread in model.heat:
        np.add.at(load, _face(numbers, spread), spread.values[model.slabs[spread.slab].inside])
    temperature = np.full(count, max(spread.temperature for spread in model.cooling))
    for _ in range(12):
        pairs, grounds = _pairs(model, numbers, area, temperature)
        latest = _balanced(pairs, grounds, load)
        change, temperature = np.abs(latest - temperature).max(), latest
        if change < 1e-5:
            break
    else:
        raise RuntimeError("k(T) did not settle")
    heats = [float(g @ (temperature[cells] - coolant)) for cells, g, coolant in grounds]
    peaks = [_hottest(model, numbers, area, spread, temperature) for spread in model.heat]
    return np.array(peaks), np.array(heats)


def _hottest(model: Model, numbers: list, area: Floats, spread: Spread, temperature: Floats) -> float:
    slab, cells = model.slabs[spread.slab], _face(numbers, spread)
    flux = (spread.values / area)[slab.inside]
    k = slab.k[2][slab.inside] * (temperature[cells] / slab.t_ref) ** slab.exponent
    return float((temperature[cells] + flux * slab.thickness / slab.layers / 2 / k).max())


def _numbers(model: Model) -> tuple[list[NDArray[np.int64]], int]:
    numbers, count = [], 0
    for slab in model.slabs:
        own = np.full((slab.layers, *slab.inside.shape), -1)
        inside = np.broadcast_to(slab.inside, own.shape)
        own[inside] = count + np.arange(inside.sum())
        count += int(inside.sum())
        numbers.append(own)
    return numbers, count


def _face(numbers: list, spread: Spread) -> NDArray[np.int64]:
    layer = numbers[spread.slab][0 if spread.face == 0 else -1]
    return layer[layer >= 0]


def _half_through(model: Model, slab: int, area: Floats, factor: Floats) -> Floats:
    """K/W of half a cell through the thickness, (layers, rows, columns)."""
    own = model.slabs[slab]
    return own.thickness / own.layers / 2 / (own.k[2] * area * factor)


def _pairs(model: Model, numbers: list, area: Floats, temperature: Floats) -> tuple[list[Floats], list]:
    width, height = np.diff(model.x)[None, :], np.diff(model.y)[:, None]
    pairs, halves = _Pairs(), []
    for number, (slab, own) in enumerate(zip(model.slabs, numbers)):
        factor = (np.where(own >= 0, temperature[own], slab.t_ref) / slab.t_ref) ** slab.exponent
        depth = slab.thickness / slab.layers
        through = _half_through(model, number, area, factor)
        halves.append(through)
        along = (height / 2 / (slab.k[1] * width * depth * factor), width / 2 / (slab.k[0] * height * depth * factor))
        for axis, half in ((0, through), (1, along[0]), (2, along[1])):
            first, second = (np.delete(own, end, axis) for end in (-1, 0))
            both = (first >= 0) & (second >= 0)
            h1, h2 = (np.delete(half, end, axis)[both] for end in (-1, 0))
            pairs.add(first[both], second[both], h1, h2, 0.0)
    for lower, upper, resistance in model.contacts:
        both = (numbers[lower][-1] >= 0) & (numbers[upper][0] >= 0) & np.isfinite(resistance)
        one, other = numbers[lower][-1][both], numbers[upper][0][both]
        pairs.add(one, other, halves[lower][-1][both], halves[upper][0][both], resistance[both] / area[both])
    return pairs.columns(), [_ground(model, numbers, halves, area, spread) for spread in model.cooling]


def _ground(model: Model, numbers: list, halves: list, area: Floats, spread: Spread) -> tuple:
    """Cells, conductances [W/K] and temperature of a cooling, where no other body touches the face."""
    layer = 0 if spread.face == 0 else -1
    bare = (numbers[spread.slab][layer] >= 0) & (spread.values > 0)
    for lower, upper, _ in model.contacts:
        if (lower, upper)[1 - spread.face] == spread.slab:
            bare &= numbers[(lower, upper)[spread.face]][0] < 0
    film = 1 / (spread.values[bare] * area[bare])
    return numbers[spread.slab][layer][bare], 1 / (halves[spread.slab][layer][bare] + film), spread.temperature


def _balanced(pairs: list[Floats], grounds: list, load: Floats) -> Floats:
    one, other = pairs[0].astype(np.int64), pairs[1].astype(np.int64)
    g, size = 1 / (pairs[2] + pairs[3] + pairs[4]), len(load)
    diagonal = np.bincount(one, g, size) + np.bincount(other, g, size)
    right = load.copy()
    for cells, film, coolant in grounds:
        diagonal += np.bincount(cells, film, size)
        right += np.bincount(cells, film * coolant, size)
    rows = np.concatenate([np.arange(size), np.maximum(one, other)])
    columns = np.concatenate([np.arange(size), np.minimum(one, other)])
    answer = matrix(right)
    cholmod.linsolve(
        spmatrix(matrix(np.concatenate([diagonal, -g])), matrix(rows), matrix(columns), (size, size)), answer
    )
    return np.array(answer).ravel()
