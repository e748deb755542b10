"""Whole planes: a level of a body that conducts one way in the plan far better than all others, as fins and heat pipes do.

Across such a grain temperatures may differ from node to node for next to nothing, which neither columns nor a coarser mesh see. A
plane by itself is a sheet, whose factor is found soon: it is relaxed at once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.columns import Body
from plancha.fem.terms import Operator, Place, place_of


@dataclass(frozen=True)
class Plane:
    """One level of a body: its free unknowns' ``place``, and the factor of what the operator has between them."""

    place: Place
    factor: Cholesky

    def ease(self, left: np.ndarray, found: np.ndarray) -> None:
        """Add the inverse times what is left (size,) to found, same shape."""
        found[self.place] += self.factor.solve(left[self.place].astype(float))


def planes_of(operator: Operator, bodies: Sequence[Body], is_free: np.ndarray) -> tuple[Plane, ...]:
    """All levels of the bodies that have a grain."""
    levels = [level for body in bodies if math.isinf(body.stretch) for level in body.unknowns.T]
    return tuple(_plane(operator, level, is_free) for level in levels if is_free[level].any())


def _plane(operator: Operator, unknowns: np.ndarray, is_free: np.ndarray) -> Plane:
    """The plane of a body's unknowns (plan nodes,) on one level."""
    place = np.full(operator.size, -1, np.int32)
    place[unknowns] = np.arange(len(unknowns), dtype=np.int32)
    shape = (len(unknowns), len(unknowns))
    matrix = sp.csr_array(shape)
    for term in operator.joined:
        for number, level in enumerate(term.unknowns.T):
            nodes = place[level]
            if not (nodes >= 0).any():
                continue
            own = sum(through[number, number] * plan.csr for plan, through in zip(term.plans, term.throughs)).tocoo()
            row, column = nodes[own.row], nodes[own.col]
            is_here = (row >= 0) & (column >= 0)
            matrix += sp.csr_array((own.data[is_here], (row[is_here], column[is_here])), shape)
    free = np.flatnonzero(is_free[unknowns])
    return Plane(place_of(unknowns[free]), Cholesky(matrix[free][:, free]))
