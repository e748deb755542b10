"""From a plan mesh to the one it was refined from: the nodes that stay, the values between, and matrices on the coarser functions."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.patterns import PAIRS, PlanMatrix, PlanPattern
from plancha.fem.plan import PlanSpace


@dataclass(frozen=True)
class Coarsening:
    """How a space is joined to its coarser one; each pattern's coarser one is found once."""

    space: PlanSpace
    coarser: PlanSpace
    known: dict[int, tuple[PlanPattern, PlanPattern]] = field(default_factory=dict, repr=False)

    def pattern(self, pattern: PlanPattern) -> PlanPattern:
        """The pattern over the triangles that a pattern's are parts of."""
        if id(pattern) not in self.known:
            is_parent = np.zeros(len(self.coarser.areas), bool)
            is_parent[self.space.descent.parents[pattern.elements]] = True
            self.known[id(pattern)] = pattern, self.coarser.pattern(np.flatnonzero(is_parent))
        return self.known[id(pattern)][1]

    def kept(self, pattern: PlanPattern) -> np.ndarray:
        """Where the coarser pattern's nodes are among a pattern's."""
        return np.searchsorted(pattern.nodes, self.space.coarser_nodes[self.pattern(pattern).nodes])

    def values(self, pattern: PlanPattern) -> sp.csr_array:
        """Values (pattern's nodes, coarser pattern's nodes) of the coarser functions."""
        found, coarse = self.space.prolongation, self.pattern(pattern).nodes
        if len(pattern.nodes) < found.shape[0]:
            found = found[pattern.nodes]
        place = np.zeros(len(self.coarser.nodes), np.int32)
        place[coarse] = np.arange(len(coarse), dtype=np.int32)
        return sp.csr_array((found.data, place[found.indices], found.indptr), shape=(len(pattern.nodes), len(coarse)))

    def matrix(self, matrix: PlanMatrix) -> PlanMatrix:
        """A plan matrix on the coarser functions, triangle by triangle."""
        pattern, descent = self.pattern(matrix.pattern), self.space.descent
        place = np.zeros(len(self.coarser.areas), np.int32)
        place[pattern.elements] = np.arange(len(pattern.elements), dtype=np.int32)
        parents, part = place[descent.parents[matrix.pattern.elements]], descent.part[matrix.pattern.elements]
        found = np.zeros((len(pattern.elements), len(PAIRS)))
        for kind, inherited in enumerate(self._inherited):
            own = np.flatnonzero(part == kind)  # of one kind a triangle has one part at most
            found[parents[own]] += matrix.weights[own] @ (matrix.references @ inherited)
        return PlanMatrix(pattern, found, np.eye(len(PAIRS)))

    @cached_property
    def _inherited(self) -> np.ndarray:
        """What the entries (21) of a part's integrals are in its parent's (kinds, 21, 21): R^T E R of its functions' values R."""
        i, j = PAIRS.T
        values = self.space.part_values
        one, other = values[:, i], values[:, j]  # (kinds, pairs, 6)
        both = one[:, :, i] * other[:, :, j]
        return both + np.where((i != j)[:, None], other[:, :, i] * one[:, :, j], 0.0)
