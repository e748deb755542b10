"""Unknowns relaxed as a whole, by the factor of what couples them: where temperatures may differ from node to node for next to
nothing, which neither columns nor a coarser mesh see.

These are a level of a body that conducts one way in the plan far better than all others, as fins and heat pipes do: by itself it is a
sheet, whose factor is found soon. And they are the columns of the few triangles that are stretched far, in gaps between outlines.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plancha.fem.cholesky import Cholesky
from plancha.fem.columns import Body
from plancha.fem.terms import Operator, Place, place_of


@dataclass(frozen=True)
class Block:
    """Some free unknowns' ``place``, and the factor of what the operator has between them."""

    place: Place
    factor: Cholesky

    def ease(self, left: np.ndarray, found: np.ndarray) -> None:
        """Add the inverse times what is left (size,) to found, same shape."""
        found[self.place] += self.factor.solve(left[self.place].astype(float))


def far_unknowns(bodies: Sequence[Body], size: int) -> np.ndarray:
    """Which unknowns (size,) are in columns of triangles that are stretched far."""
    is_far = np.zeros(size, bool)
    for body in bodies:
        is_far[body.unknowns[body.is_far]] = True
    return is_far


def blocks_of(operator: Operator, bodies: Sequence[Body], is_free: np.ndarray, is_far: np.ndarray) -> tuple[Block, ...]:
    """The blocks of an operator's unknowns, those that are free (size,); which of them are far (size,)."""
    levels = [level for body in bodies if body.has_grain for level in body.unknowns.T]
    every = [*levels, np.flatnonzero(is_far)]
    free = [unknowns[is_free[unknowns]] for unknowns in every]
    return tuple(Block(place_of(some), Cholesky(operator.between(some))) for some in free if len(some))
