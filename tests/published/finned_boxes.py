"""Finite volumes for plates with fins and a coolant that warms up, written apart from the product: a check for whole studies.

Nothing here imports plancha. Everything lies in layers one upon the other over one plan grid; fins are layers that conduct along
themselves and up, and give heat to coolant cells. All temperatures, solids' and coolant's, are solved at once, as one sparse system.
SI units, temperatures in K; arrays over the plan are (rows, columns), row 0 the lowest.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.linalg import spsolve

Floats = NDArray[np.float64]
PASSES = 4  # that settle k(T)


@dataclass(frozen=True)
class Layer:
    """One layer of cells: where it is (rows, columns), its thickness, conductivities along x, y and z at temperatures, and the areal
    resistance to the layer above it (rows, columns)."""

    where: NDArray[np.bool_]
    thickness: float
    conductivity: Callable[[Floats], tuple[ArrayLike, ArrayLike, ArrayLike]]
    above: ArrayLike = 0.0


@dataclass(frozen=True)
class Coolant:
    """Coolant cells in chains: ``chains`` (chains, steps) of their numbers in the order of the flow, capacity flow of each chain
    [W/K], the inlet [K]; and which solid meets which coolant cell with how many W/K: its layer, plan cell, and whether it is the
    ``face`` of that layer (1 upper) or, at None, its middle."""

    chains: NDArray[np.int64]
    capacity: Floats
    inlet: float
    layer: NDArray[np.int64]
    place: NDArray[np.int64]
    cell: NDArray[np.int64]
    conductance: Floats
    face: Sequence[int | None]


def edges(breaks: Sequence[float], size: float, split: int) -> Floats:
    """Plan edges through all ``breaks``, at most ``size`` apart, each interval then split."""
    ends = np.unique(np.round(breaks, 9))
    parts = [np.linspace(a, b, split * int(np.ceil((b - a) / size - 1e-9)) + 1)[:-1] for a, b in pairwise(ends)]
    return np.append(np.concatenate(parts), ends[-1])


def inside(x: Floats, y: Floats, *rectangles: Sequence[float]) -> NDArray[np.bool_]:
    """Cells within any of the rectangles (left, bottom, right, top)."""
    across, up = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
    found = np.zeros((len(up), len(across)), bool)
    for left, bottom, right, top in rectangles:
        found |= np.outer((up > bottom) & (up < top), (across > left) & (across < right))
    return found


def temperatures(
    x: Floats, y: Floats, layers: Sequence[Layer], watts: Floats, coolant: Coolant
) -> tuple[list[Floats], Floats]:
    """Temperatures of all layers (rows, columns), NaN where there is none, and of the coolant as it leaves each cell.

    ``watts`` (rows, columns) enter the lower face of layer 0; its temperatures are those of that face.
    """
    numbers, count = [], 0
    for layer in layers:
        own = np.full(layer.where.shape, -1)
        own[layer.where] = count + np.arange(layer.where.sum())
        count += int(layer.where.sum())
        numbers.append(own)
    solids = np.full(count, coolant.inlet)
    for _ in range(PASSES):
        conduction = [layer.conductivity(_spread(solids, own)) for layer, own in zip(layers, numbers)]
        rows, columns, values = _conduction(x, y, layers, numbers, conduction)
        matrix, load = _joined(rows, columns, values, count, x, y, layers, numbers, conduction, coolant)
        load[numbers[0][layers[0].where]] += watts[layers[0].where]
        found = spsolve(matrix.tocsc(), load, permc_spec="MMD_AT_PLUS_A")
        solids = found[:count]
    fields = [_spread(solids, own) for own in numbers]
    area = np.outer(np.diff(y), np.diff(x))
    fields[0] = fields[0] + watts / area * layers[0].thickness / 2 / np.broadcast_to(conduction[0][2], area.shape)
    return fields, found[count:]


def _spread(values: Floats, numbers: NDArray[np.int64]) -> Floats:
    return np.where(numbers >= 0, values[numbers], np.nan)


def _conduction(x: Floats, y: Floats, layers: Sequence[Layer], numbers: list, conduction: list):
    """Entries of the conductances between neighbours, within layers and from each to the next."""
    width, height = np.diff(x)[None, :], np.diff(y)[:, None]
    area = width * height
    ones, others, links = [], [], []

    def add(one: NDArray, other: NDArray, resistance: Floats) -> None:
        both = (one >= 0) & (other >= 0) & np.isfinite(resistance)
        ones.append(one[both])
        others.append(other[both])
        links.append(1 / resistance[both])

    with np.errstate(divide="ignore"):
        for layer, own, (kx, ky, _) in zip(layers, numbers, conduction):
            along_x = np.broadcast_to(width / 2 / (kx * height * layer.thickness), own.shape)
            along_y = np.broadcast_to(height / 2 / (ky * width * layer.thickness), own.shape)
            add(own[:, :-1], own[:, 1:], along_x[:, :-1] + along_x[:, 1:])
            add(own[:-1], own[1:], along_y[:-1] + along_y[1:])
        for n, (lower, upper) in enumerate(pairwise(layers)):
            halves = sum(
                each.thickness / 2 / np.broadcast_to(conduction[m][2], area.shape)
                for m, each in ((n, lower), (n + 1, upper))
            )
            add(numbers[n], numbers[n + 1], (halves + lower.above) / area)
    one, other, link = (np.concatenate(each) for each in (ones, others, links))
    return (
        np.concatenate([one, other, one, other]),
        np.concatenate([one, other, other, one]),
        np.r_[link, link, -link, -link],
    )


def _joined(rows, columns, values, count: int, x, y, layers, numbers, conduction, coolant: Coolant):
    """The whole system: a solid cell gives g (T - mean of its coolant cell); a coolant cell warms by that over its capacity."""
    chains, area = coolant.chains, np.outer(np.diff(y), np.diff(x)).ravel()
    before, capacity = np.full(chains.size, -1), np.zeros(chains.size)
    before[chains[:, 1:]] = chains[:, :-1]
    capacity[chains] = coolant.capacity[:, None]
    solid = np.array([numbers[n].ravel()[p] for n, p in zip(coolant.layer, coolant.place)])
    half = np.array([
        0.0 if face is None
        else layers[n].thickness / 2 / (np.broadcast_to(conduction[n][2], numbers[n].shape).ravel()[p] * area[p])
        for n, p, face in zip(coolant.layer, coolant.place, coolant.face)
    ])  # fmt: skip
    g = 1 / (1 / coolant.conductance + half)
    cell, load = coolant.cell, np.zeros(count + chains.size)
    fed = before[cell] >= 0
    out, source = count + cell, count + before[cell[fed]]
    moving = np.flatnonzero(before >= 0)
    entries = [
        (rows, columns, values),
        (solid, solid, g), (solid, out, -g / 2), (solid[fed], source, -g[fed] / 2),
        (out, solid, -g), (out, out, g / 2), (out[fed], source, g[fed] / 2),
        (count + np.arange(chains.size), count + np.arange(chains.size), capacity),
        (count + moving, count + before[moving], -capacity[moving]),
    ]  # fmt: skip
    np.add.at(load, solid[~fed], g[~fed] / 2 * coolant.inlet)
    np.add.at(load, out[~fed], -g[~fed] / 2 * coolant.inlet)
    load[count + chains[:, 0]] += coolant.capacity * coolant.inlet
    row, column, value = (np.concatenate(each) for each in zip(*entries))
    return sp.csr_array((value, (row, column)), shape=(len(load), len(load))), load
