"""Rectangular blocks of even flux, laid over a component's footprint as a power map."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plancha.geometry.power_map import Floats, PowerMap

# Edges closer than this share of the larger side are one edge: 20 nm on a 20 mm die, below what a table means to say.
SAME_EDGE = 1e-6


@dataclass(frozen=True)
class Block:
    """A rectangle of even flux: its edges [m] in the component's coordinates, its power [W], and what it is called."""

    left: float
    right: float
    bottom: float
    top: float
    watts: float
    name: str = ""


def overlapping_pairs(blocks: Sequence[Block], tolerance: float) -> Iterator[tuple[int, int]]:
    """Index pairs (first < second) of blocks that cover common area by more than `tolerance` [m] along both x and y."""
    edges = np.array([(block.left, block.right, block.bottom, block.top) for block in blocks]).reshape(-1, 4)
    order = np.argsort(edges[:, 0], kind="stable")
    left, right, bottom, top = edges[order].T
    ends = np.searchsorted(left, right - tolerance)
    for one, end in enumerate(ends):
        later = slice(one + 1, end)
        low = np.maximum(bottom[later], bottom[one])
        high = np.minimum(top[later], top[one])
        inner = np.minimum(right[later], right[one]) - left[later]
        for other in np.nonzero((high - low > tolerance) & (inner > tolerance))[0]:
            first, second = sorted((int(order[one]), int(order[one + 1 + other])))
            yield first, second


def edge_tolerance(width: float, height: float) -> float:
    """Distance [m] below which two edges on a footprint of `width` x `height` [m] are taken as one."""
    return SAME_EDGE * max(width, height)


def block_edges(length: float, values: Floats, tolerance: float) -> tuple[Floats, NDArray[np.intp]]:
    """Distinct edges from 0 to `length` [m], and for each of `values` [m] the number of the edge it falls on."""
    sorted_values, places = np.unique(np.concatenate([[0.0, length], values.clip(0.0, length)]), return_inverse=True)
    distinct = np.concatenate([[True], np.diff(sorted_values) > tolerance])
    edges = sorted_values[distinct]
    edges[-1] = length
    return edges, (np.cumsum(distinct) - 1)[places.ravel()[2:]]


def block_map(width: float, height: float, blocks: Sequence[Block]) -> PowerMap:
    """Rectangular blocks as a map on the grid of all their edges; area that no block covers gives off 0 W.

    Parameters
    ----------
    width, height : float, [m]
        The component's footprint.
    blocks : sequence of Block
        Each block's watts are shared by area over the cells it covers, so its power is kept to rounding.

    Raises
    ------
    ValueError
        If a block reaches outside the footprint, is thinner than a millionth of its larger side, or overlaps another.
    """
    tolerance = edge_tolerance(width, height)
    for first, second in overlapping_pairs(blocks, tolerance):
        raise ValueError(f"blocks {first} and {second} overlap")
    left, right, bottom, top = (
        np.array([getattr(block, name) for block in blocks], dtype=float) for name in ("left", "right", "bottom", "top")
    )
    for low, high, length in ((left, right, width), (bottom, top, height)):
        if np.any((low < -tolerance) | (high > length + tolerance) | (high - low <= tolerance)):
            raise ValueError("a block is too thin or reaches outside the footprint")
    x, columns = block_edges(width, np.concatenate([left, right]), tolerance)
    y, rows = block_edges(height, np.concatenate([bottom, top]), tolerance)
    watts = np.zeros((y.size - 1, x.size - 1))
    count = len(blocks)
    for block, c0, c1, r0, r1 in zip(blocks, columns, columns[count:], rows, rows[count:]):
        across, up = np.diff(x[c0 : c1 + 1]), np.diff(y[r0 : r1 + 1])
        watts[r0:r1, c0:c1] += np.outer(up / up.sum(), block.watts * (across / across.sum()))
    return PowerMap(x, y, watts)
