"""From a plan mesh to the one it was refined from: the nodes that stay, the values between, and matrices on the coarser functions."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.patterns import ITSELF, PAIRS, PlanMatrix, PlanPattern
from plancha.fem.plan import PlanSpace, shape_values
from plancha.fem.terms import place_of


@dataclass(frozen=True)
class Coarser:
    """A pattern's coarser one, over the triangles that its own are parts of, and where that one's nodes are among its nodes."""

    fine: PlanPattern
    pattern: PlanPattern
    kept: np.ndarray


@dataclass(frozen=True)
class Coarsening:
    """How a space is joined to its coarser one."""

    space: PlanSpace
    coarser: PlanSpace
    known: dict[int, Coarser] = field(default_factory=dict, repr=False)  # of patterns, each found once

    def of(self, pattern: PlanPattern) -> Coarser:
        """The coarser pattern of one."""
        if id(pattern) not in self.known:
            is_parent = np.zeros(len(self.coarser.element_nodes), bool)
            is_parent[self.space.descent.parents[pattern.elements]] = True
            coarse = self.coarser.pattern(np.flatnonzero(is_parent))
            kept = _places(pattern.nodes, len(self.space.met))[self.nodes[coarse.nodes]]
            self.known[id(pattern)] = Coarser(pattern, coarse, kept)
        return self.known[id(pattern)]

    def values(self, pattern: PlanPattern) -> sp.csr_array:
        """Values (pattern's nodes, coarser pattern's nodes) of the coarser functions."""
        whole, coarse = self.prolongation, self.of(pattern).pattern.nodes
        if len(pattern.nodes) == whole.shape[0]:
            return whole
        some, place = whole[pattern.nodes], _places(coarse, whole.shape[1])
        return sp.csr_array((some.data, place[some.indices], some.indptr), shape=(some.shape[0], len(coarse)))

    def matrix(self, matrix: PlanMatrix) -> PlanMatrix:
        """A plan matrix on the coarser functions, triangle by triangle."""
        elements, descent = self.of(matrix.pattern).pattern.elements, self.space.descent
        parents = _places(elements, len(self.coarser.element_nodes))[descent.parents[matrix.pattern.elements]]
        inherited = matrix.references @ self._inherited  # (kinds, references, 21)
        kinds, references = inherited.shape[:2]  # of one kind a triangle has one part at most
        place, weights = place_of(kinds * parents + descent.part[matrix.pattern.elements]), matrix.weights
        if not (isinstance(place, slice) and len(weights) == kinds * len(elements)):
            weights = np.zeros((kinds * len(elements), references))
            weights[place] = matrix.weights
        found = weights.reshape(len(elements), -1) @ inherited.reshape(-1, len(PAIRS))
        return PlanMatrix(self.of(matrix.pattern).pattern, found, ITSELF)

    @cached_property
    def prolongation(self) -> sp.csr_array:
        """Values (nodes, coarser nodes) of the coarser functions at all nodes, in single precision, which has them exactly."""
        descent, each = self.space.descent, self.space.element_nodes.shape[1]
        element = self.space.met // each
        kind = self.space.met - each * (element - descent.part[element])
        rows = self._part_values.reshape(-1, each)
        of_kind, function = (numbers.astype(np.int32) for numbers in np.nonzero(rows))
        count = np.bincount(of_kind, minlength=len(rows)).astype(np.int32)
        starts = np.zeros(len(kind) + 1, np.int32)
        np.cumsum(count[kind], out=starts[1:])
        # Each node takes the values of its kind, one after another; their functions are its parent triangle's.
        taken = np.arange(starts[-1], dtype=np.int32)
        taken -= np.repeat(starts[:-1] - (np.cumsum(count, dtype=np.int32) - count)[kind], count[kind])
        place = np.repeat(each * descent.parents[element], count[kind])
        place += function[taken]
        values, columns = rows[of_kind, function].astype(np.float32)[taken], self.coarser.element_nodes.ravel()[place]
        return sp.csr_array((values, columns, starts), shape=(len(kind), len(self.coarser.met)))

    @cached_property
    def nodes(self) -> np.ndarray:
        """Which nodes (coarser nodes,) are the coarser functions' own: one of these alone has a value there."""
        starts, functions = self.prolongation.indptr, self.prolongation.indices
        own = np.flatnonzero(np.diff(starts) == 1).astype(np.int32)
        found = np.empty(len(self.coarser.met), np.int32)
        found[functions[starts[own]]] = own
        return found

    @cached_property
    def _part_values(self) -> np.ndarray:
        """Values (kinds of parts, 6 nodes, 6 functions) of a triangle's functions at the nodes of its parts."""
        corners = self.space.descent.parts
        middles = (corners[:, [0, 1, 0]] + corners[:, [1, 2, 2]]) / 2
        return shape_values(np.concatenate([corners, middles], axis=1))

    @cached_property
    def _inherited(self) -> np.ndarray:
        """What the entries (21) of a part's integrals are in its parent's (kinds, 21, 21): R^T E R of its functions' values R."""
        i, j = PAIRS.T
        one, other = self._part_values[:, i], self._part_values[:, j]  # (kinds, pairs, 6)
        both = one[:, :, i] * other[:, :, j]
        return both + np.where((i != j)[:, None], other[:, :, i] * one[:, :, j], 0.0)


def _places(numbers: np.ndarray, count: int) -> np.ndarray:
    """Where each number below ``count`` is among some."""
    found = np.zeros(count, np.int32)
    found[numbers] = np.arange(len(numbers), dtype=np.int32)
    return found
