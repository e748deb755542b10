"""Symmetric matrices over the plan's nodes as sums over triangles; those over the same triangles share one pattern of entries."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp

EDGES_OF_TRIANGLE = np.array(
    [[0, 1, 3], [1, 2, 4], [0, 2, 5]]
)  # two corners of a triangle and the node between, local numbers
# The 21 different entries of a triangle's integrals: each node's own, those along its three sides, and those inside it.
PAIRS = np.array(
    [(n, n) for n in range(6)]
    + [pair for a, b, m in EDGES_OF_TRIANGLE.tolist() for pair in ((a, b), (a, m), (b, m))]
    + [(0, 4), (1, 5), (2, 3), (3, 4), (4, 5), (3, 5)]
)
ITSELF = np.eye(len(PAIRS))  # references of integrals that are told entry by entry
SHARED = 15  # of them, which neighbouring triangles add to
AT_ONCE = 200_000  # elements whose integrals are at hand together


def packed(integrals: np.ndarray) -> np.ndarray:
    """The different entries (..., 21) of symmetric integrals (..., 6, 6)."""
    return integrals[..., PAIRS[:, 0], PAIRS[:, 1]]


@dataclass(frozen=True)
class PlanPattern:
    """Where the integrals of some elements go in a plan matrix over those elements' own nodes.

    ``nodes`` (n,) plan nodes, rising; ``indptr``, ``columns`` the matrix's structure. Its entries are taken, by ``source``, from
    ``count`` numbers: first what neighbours add to, where ``slot`` (elements, 15) puts the integrals, then what is inside an element.
    """

    elements: np.ndarray
    nodes: np.ndarray
    indptr: np.ndarray
    columns: np.ndarray
    slot: np.ndarray
    source: np.ndarray
    count: int

    def combined(self, weights: np.ndarray, references: np.ndarray) -> sp.csr_array:
        """The plan matrix (n, n) whose packed element integrals are weights (elements, r) of references (r, 21)."""
        inside = (len(weights), len(PAIRS) - SHARED)
        shared = self.count - inside[0] * inside[1]
        values = np.zeros(self.count)
        of_elements = values[shared:].reshape(inside)
        for first in range(0, len(weights), AT_ONCE):
            some = slice(first, first + AT_ONCE)
            added = weights[some] @ references[:, :SHARED]
            values[:shared] += np.bincount(self.slot[some].ravel(), added.ravel(), shared)
            np.matmul(weights[some], references[:, SHARED:], out=of_elements[some])
        return sp.csr_array((values[self.source], self.columns, self.indptr), shape=(len(self.nodes), len(self.nodes)))


def plan_pattern(element_nodes: np.ndarray, elements: np.ndarray) -> PlanPattern:
    """The pattern of the plan matrices over the given elements (numbers)."""
    nodes, local = numbered(element_nodes[elements], int(element_nodes.max()) + 1)
    is_middle = np.zeros(len(nodes), bool)
    is_middle[local[:, 3:]] = True
    middles, number = np.flatnonzero(is_middle).astype(np.int32), np.cumsum(is_middle, dtype=np.int32) - 1
    ends = np.empty((len(middles), 2), np.int32)  # of each side, the lower number first
    slot = np.empty((len(elements), SHARED), np.int32)
    slot[:, :6] = local
    for place, (a, b, middle) in enumerate(EDGES_OF_TRIANGLE):
        one, other, side = local[:, a], local[:, b], number[local[:, middle]]
        ends[side, 0], ends[side, 1] = np.minimum(one, other), np.maximum(one, other)
        first, turned = len(nodes) + 3 * side, one > other
        slot[:, 6 + 3 * place] = first
        slot[:, 7 + 3 * place] = first + 1 + turned
        slot[:, 8 + 3 * place] = first + 2 - turned
    pairs = 3 * len(ends) + (len(PAIRS) - SHARED) * len(elements)
    rows, columns = np.empty((2, len(nodes) + 2 * pairs), np.int32)
    one, other = (each[len(nodes) : len(nodes) + pairs] for each in (rows, columns))
    of_sides = slice(0, 3 * len(ends))
    one[of_sides].reshape(-1, 3)[:] = ends[:, [0, 0, 1]]
    other[of_sides].reshape(-1, 3)[:] = np.column_stack([ends[:, 1], middles, middles])
    for place, (i, j) in enumerate(PAIRS[SHARED:]):
        one[3 * len(ends) + place :: len(PAIRS) - SHARED] = local[:, i]
        other[3 * len(ends) + place :: len(PAIRS) - SHARED] = local[:, j]
    rows[: len(nodes)] = columns[: len(nodes)] = np.arange(len(nodes), dtype=np.int32)
    rows[len(nodes) + pairs :], columns[len(nodes) + pairs :] = other, one
    source = np.arange(len(rows), dtype=np.int32)
    source[len(nodes) + pairs :] -= pairs
    entries = sp.coo_array((source, (rows, columns)), shape=(len(nodes), len(nodes)))
    entries.has_canonical_format = True  # no entry comes twice: nothing is to be added up
    found = entries.tocsr()
    return PlanPattern(elements, nodes, found.indptr, found.indices, slot, found.data, len(nodes) + pairs)


def numbered(nodes: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """The different numbers below ``count`` in an array, rising, and for each of its entries (same shape) the place among them."""
    is_used = np.zeros(count, bool)
    is_used[nodes] = True
    place = np.cumsum(is_used, dtype=np.int32) - 1
    return np.flatnonzero(is_used).astype(np.int32), place[nodes]


@dataclass(frozen=True)
class PlanMatrix:
    """A plan matrix whose packed element integrals are ``weights`` (elements, r) of ``references`` (r, 21)."""

    pattern: PlanPattern
    weights: np.ndarray
    references: np.ndarray = field(repr=False)

    @cached_property
    def csr(self) -> sp.csr_array:
        """Its entries, made once."""
        return self.pattern.combined(self.weights, self.references)

    @property
    def diagonal(self) -> np.ndarray:
        """Its diagonal (n,), without a matrix."""
        own = self.weights @ self.references[:, :6]
        return np.bincount(self.pattern.slot[:, :6].ravel(), own.ravel(), len(self.pattern.nodes))

    @property
    def row_sums(self) -> np.ndarray:
        """Sum of each row (n,), without a matrix."""
        ones = np.zeros((len(PAIRS), 6))
        for pair, (i, j) in enumerate(PAIRS):
            ones[pair, i] += 1.0
            ones[pair, j] += i != j
        sums = self.weights @ (self.references @ ones)
        return np.bincount(self.pattern.slot[:, :6].ravel(), sums.ravel(), len(self.pattern.nodes))
