"""Whole columns through the thickness: all unknowns of a plan node, of whatever bodies, and the inverse of what couples them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plancha.fem.patterns import PlanPattern
from plancha.fem.slabs import Slab, stretches
from plancha.fem.terms import Operator, Place, Term, place_of

FAR = 8.0  # times longer one way than across: more relaxations than that cost more than a factor of the columns there
FEW = 0.2  # of all triangles: of more, the factor costs more


@dataclass(frozen=True)
class Body:
    """Where a body's functions are: its plan pattern, and its unknowns (plan nodes, thickness nodes).

    ``stretch`` is how far its triangles are stretched at most in terms of what they conduct (slabs.stretches), but for those whose
    nodes ``is_far`` (plan nodes,) tells; where it ``has_grain``, triangles do not count.
    """

    pattern: PlanPattern
    unknowns: np.ndarray
    has_grain: bool
    stretch: float
    is_far: np.ndarray


def bodies_of(slabs: Sequence[Slab]) -> list[Body]:
    """Where the functions of bodies are."""
    each = [np.ones(1) if slab.conduction.has_grain else stretches(slab.along) for slab in slabs]
    far = FAR if sum(np.count_nonzero(stretch > FAR) for stretch in each) <= FEW * sum(map(len, each)) else math.inf
    is_far = np.zeros(1 + max(int(slab.pattern.nodes[-1]) for slab in slabs), bool)
    for slab, stretch in zip(slabs, each):
        is_far[slab.pattern.nodes[slab.pattern.local[np.flatnonzero(stretch > far)]]] = True
    return [
        Body(
            slab.pattern,
            slab.unknowns,
            slab.conduction.has_grain,
            float(stretch[stretch <= far].max(initial=1.0)),
            is_far[slab.pattern.nodes],
        )
        for slab, stretch in zip(slabs, each)
    ]


@dataclass(frozen=True)
class Columns:
    """All unknowns of plan nodes whose columns are of one length: their ``places``, ``inverse`` (length, length, nodes) in single
    precision."""

    places: tuple[Place, ...]
    inverse: np.ndarray

    def ease(self, left: np.ndarray, found: np.ndarray) -> None:
        """Put the inverse times what is left (size,) into found, same shape."""
        if len(self.places) == 1:
            place = self.places[0]
            if isinstance(place, slice):  # without an array between
                np.multiply(self.inverse[0, 0], left[place], out=found[place])
            else:
                found[place] = self.inverse[0, 0] * left[place]
            return
        local = np.stack([left[place] for place in self.places])
        for place, eased in zip(self.places, np.einsum("ijn,jn->in", self.inverse, local)):
            found[place] = eased


def columns_of(operator: Operator, bodies: Sequence[Body], is_free: np.ndarray) -> tuple[Columns, ...]:
    """The operator's columns, sorted by their lengths, inverted."""
    place, lengths = _in_columns(operator.size, bodies)
    found = []
    for length in 1 + np.flatnonzero(np.bincount(lengths)[1:]):
        nodes = np.flatnonzero(lengths == length)
        row = np.full(len(lengths), -1, np.int32)
        row[nodes] = np.arange(len(nodes), dtype=np.int32)
        matrix, unknowns = np.zeros((length, length, len(nodes))), np.empty((length, len(nodes)), np.int32)
        for body in bodies:
            here, rows = _found(row[body.pattern.nodes])
            for level in body.unknowns.T:
                unknowns[_at((place[level[here]],), rows)] = level[here]
        for term in operator.joined:
            _add_diagonals(matrix, term, place, row)
        found.append(Columns(tuple(map(place_of, unknowns)), _inverted(matrix, is_free[unknowns]).astype(np.float32)))
    return tuple(found)


def _in_columns(size: int, bodies: Sequence[Body]) -> tuple[np.ndarray, np.ndarray]:
    """The place of each unknown (size,) in its plan node's column; the length of each plan node's column."""
    place = np.full(size, -1, np.int16)
    lengths = np.zeros(1 + max(int(body.pattern.nodes[-1]) for body in bodies), np.int16)
    for body in bodies:
        for level in body.unknowns.T:
            is_new = place_of(np.flatnonzero(place[level] < 0))
            nodes = place_of(body.pattern.nodes[is_new])
            place[level[is_new]] = lengths[nodes]
            lengths[nodes] += 1
    return place, lengths


def _add_diagonals(matrix: np.ndarray, term: Term, place: np.ndarray, row: np.ndarray) -> None:
    """Add what a term has at each plan node by itself to the columns' matrices (length, length, nodes)."""
    here, rows = _found(row[term.pattern.nodes])
    places = [place[level[here]] for level in term.unknowns.T]
    diagonals = [plan.diagonal[here] for plan in term.plans]
    for i, one in enumerate(places):
        for j, other in enumerate(places):
            matrix[_at((one, other), rows)] += sum(
                through[i, j] * diagonal for through, diagonal in zip(term.throughs, diagonals)
            )


def _found(rows: np.ndarray) -> tuple[Place, np.ndarray]:
    """Which of some nodes' rows are there, and these."""
    here = place_of(np.flatnonzero(rows >= 0))
    return here, rows[here]


def _at(places: Sequence[np.ndarray], rows: np.ndarray) -> tuple[int | Place, ...]:
    """Places of each row, to take one entry of each; quicker where all rows have the same."""
    if len(rows) and all((each == each[0]).all() for each in places):
        return (*(int(each[0]) for each in places), place_of(rows))
    return (*places, rows)  # a slice of rows would take all of them at every place


def _inverted(matrices: np.ndarray, is_free: np.ndarray) -> np.ndarray:
    """Inverses (length, length, nodes) of the free parts, by Gauss and Jordan; nothing where an unknown is held.

    Positive definite matrices need no pivoting.
    """
    own = np.where(is_free[:, None] & is_free[None, :], matrices, 0.0)
    length = len(own)
    own[np.arange(length), np.arange(length)] += ~is_free
    for pivot in range(length):
        inverse = 1 / own[pivot, pivot]
        own[pivot, pivot] = 1.0
        own[pivot] *= inverse
        for other in range(length):
            if other != pivot:
                factor = own[other, pivot].copy()
                own[other, pivot] = 0.0
                own[other] -= factor * own[pivot]
    return own * (is_free[:, None] & is_free[None, :])
