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
OWN, SHARED = 6, 15  # of them, the nodes' own, and with them those along sides: what neighbouring triangles add to
AT_ONCE = 50_000  # elements, or entries, that are at hand together


def packed(integrals: np.ndarray) -> np.ndarray:
    """The different entries (..., 21) of symmetric integrals (..., 6, 6)."""
    return integrals[..., PAIRS[:, 0], PAIRS[:, 1]]


@dataclass(frozen=True)
class PlanPattern:
    """Where the integrals of some elements go in a plan matrix over those elements' own nodes.

    ``nodes`` (n,) plan nodes, rising; ``local`` (elements, 6) which of them each element has; ``indptr``, ``columns`` the matrix's
    structure. Its entries are taken, by ``source``, from ``count`` numbers: the nodes' own, three along each side, and those inside
    the elements. ``sides`` (elements, 3) are each element's sides, twice their number, and one more where it meets the side's higher
    end first.
    """

    elements: np.ndarray
    nodes: np.ndarray
    local: np.ndarray
    indptr: np.ndarray
    columns: np.ndarray
    sides: np.ndarray
    source: np.ndarray
    count: int

    def combined(self, weights: np.ndarray, references: np.ndarray) -> sp.csr_array:
        """The plan matrix (n, n) whose packed element integrals are weights (elements, r) of references (r, 21)."""
        inside = (len(weights), len(PAIRS) - SHARED)
        values = np.zeros(self.count)
        own, of_sides, of_elements = np.split(values, [len(self.nodes), self.count - inside[0] * inside[1]])
        for first in range(0, len(weights), AT_ONCE):
            some = slice(first, first + AT_ONCE)
            places = ((own, self.local[some], slice(OWN)), (of_sides, _along(self.sides[some]), slice(OWN, SHARED)))
            for found, place, which in places:
                added = weights[some] @ references[:, which]
                np.add.at(found, place.ravel(), added.ravel())
            np.matmul(weights[some], references[:, SHARED:], out=of_elements.reshape(inside)[some])
        data = np.empty(len(self.source))
        for first in range(0, len(data), AT_ONCE):
            some = slice(first, first + AT_ONCE)
            np.take(values, self.source[some], out=data[some], mode="clip")
        return sp.csr_array((data, self.columns, self.indptr), shape=(len(self.nodes), len(self.nodes)))


def _along(sides: np.ndarray) -> np.ndarray:
    """Which numbers along its sides (elements, 3) each element adds to (elements, 3, 3): between a side's ends, from the end that it
    meets first to the middle, from the other end."""
    first, turned = 3 * (sides >> 1), sides & 1
    found = np.empty((*sides.shape, 3), np.intp)
    found[..., 0], found[..., 1], found[..., 2] = first, first + 1 + turned, first + 2 - turned
    return found


def plan_pattern(element_nodes: np.ndarray, is_middle: np.ndarray, elements: np.ndarray) -> PlanPattern:
    """The pattern of the plan matrices over the given elements (numbers, rising); which nodes (all,) are in the middle of sides."""
    if len(elements) == len(element_nodes):
        nodes, local = np.arange(len(is_middle), dtype=np.int32), element_nodes
    else:
        nodes, local = numbered(element_nodes[elements], len(is_middle))
        is_middle = is_middle[nodes]
    middles, number = np.flatnonzero(is_middle).astype(np.int32), np.cumsum(is_middle, dtype=np.int32) - 1
    ends = np.empty((len(middles), 2), np.int32)  # of each side, the lower number first
    sides = np.empty((len(elements), len(EDGES_OF_TRIANGLE)), np.int32)
    for place, (a, b, middle) in enumerate(EDGES_OF_TRIANGLE):
        one, other, side = local[:, a], local[:, b], number[local[:, middle]]
        ends[side, 0], ends[side, 1] = np.minimum(one, other), np.maximum(one, other)
        sides[:, place] = 2 * side + (one > other)
    structure = _structure(len(nodes), ends, middles, local)
    own_and_pairs = (len(nodes) + structure.nnz) // 2
    return PlanPattern(
        elements, nodes, local, structure.indptr, structure.indices, sides, structure.data, own_and_pairs
    )


def _structure(count: int, ends: np.ndarray, middles: np.ndarray, local: np.ndarray) -> sp.csr_array:
    """Where a pattern's matrix (count, count) has entries, each saying which number it is: nodes' own, of sides, inside elements."""
    of_sides, of_element = 3 * len(ends), len(PAIRS) - SHARED
    pairs = of_sides + of_element * len(local)
    rows, columns = np.empty((2, count + 2 * pairs), np.int32)
    rows[:count] = columns[:count] = np.arange(count, dtype=np.int32)
    one, other = (each[count : count + pairs] for each in (rows, columns))
    one[:of_sides].reshape(-1, 3)[:] = ends[:, [0, 0, 1]]
    other[:of_sides].reshape(-1, 3)[:] = np.column_stack([ends[:, 1], middles, middles])
    for place, (i, j) in enumerate(PAIRS[SHARED:], of_sides):
        one[place::of_element], other[place::of_element] = local[:, i], local[:, j]
    rows[count + pairs :], columns[count + pairs :] = other, one
    source = np.arange(len(rows), dtype=np.int32)
    source[count + pairs :] -= pairs
    entries = sp.coo_array((source, (rows, columns)), shape=(count, count))
    entries.has_canonical_format = True  # no entry comes twice: nothing is to be added up
    found = entries.tocsr()
    found.sort_indices()
    # All matrices of a pattern share these, in which none may move an entry: sorted, there is no reason to, and here no way.
    found.indices.flags.writeable = found.indptr.flags.writeable = False
    return found


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
        return self._added_up(self.weights @ self.references[:, :OWN])

    @property
    def row_sums(self) -> np.ndarray:
        """Sum of each row (n,), without a matrix."""
        ones = np.zeros((len(PAIRS), 6))
        for pair, (i, j) in enumerate(PAIRS):
            ones[pair, i] += 1.0
            ones[pair, j] += i != j
        return self._added_up(self.weights @ (self.references @ ones))

    def _added_up(self, of_elements: np.ndarray) -> np.ndarray:
        """What the elements' own nodes (elements, 6) have together (n,)."""
        found = np.zeros(len(self.pattern.nodes))
        np.add.at(found, self.pattern.local.ravel(), of_elements.ravel())
        return found
