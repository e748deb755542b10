"""Conjugate gradients with multigrid: meshes nested in the plan, whole columns through the thickness relaxed at once.

Every level is the one above it on the coarser mesh's functions, P^T A P, product by product: the plan is coarsened alone, so that
thickness functions, patches, joints and uneven films pass through unchanged, and the only matrix of all unknowns is the coarsest's.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.plan import PlanSpace
from plancha.fem.terms import Operator, Term
from plancha.geometry.faults import Failure

TIGHT = 1e-12  # of the right side's norm: what may be left
STEPS = 200
# Of Chebyshev, before the coarser level and after it; fewer are as much work in more steps, most where conduction has a grain.
RELAXATIONS = 6
BAND = 25.0  # they act on the upper part of the spectrum, from 1 / BAND of the largest eigenvalue
POWERS = 30  # steps that find the largest eigenvalue
FEW = 20_000  # unknowns of a level for which it is sought anew
SAFE = 1.2  # times what they find


class NotSettled(Failure):
    """The iteration did not reach the residual; the message carries it."""


@dataclass(frozen=True)
class Columns:
    """All unknowns of plan nodes whose columns are of one length: ``unknowns`` (length, nodes), ``inverse`` (length, length, nodes).

    Nodes come last, so that what is done to all of them alike runs along memory.
    """

    unknowns: np.ndarray
    inverse: np.ndarray

    def relax(self, left: np.ndarray, found: np.ndarray) -> None:
        """Put the inverse times what is left (size, columns) into found, same shape."""
        for column in range(left.shape[1]):
            found[self.unknowns, column] = np.einsum("ijn,jn->in", self.inverse, left[self.unknowns, column])


def relaxed_columns(columns: Sequence[Columns], left: np.ndarray) -> np.ndarray:
    """All columns' inverses times what is left (size, columns), same shape."""
    found = np.zeros_like(left)
    for each in columns:
        each.relax(left, found)
    return found


@dataclass(frozen=True)
class Transfer:
    """One body's functions of the coarser level on the finer: unknowns of both, (nodes, m) each, and the plan's values between."""

    fine: np.ndarray
    coarse: np.ndarray
    values: sp.csr_array


@dataclass(frozen=True)
class Level:
    """One mesh's operator, its columns, the largest eigenvalue that they leave of it, and how it is joined to the coarser one.

    ``share`` (size, 1) of an unknown counts for each body that has it; none where it is held.
    """

    operator: Operator
    columns: tuple[Columns, ...]
    largest: float
    transfers: tuple[Transfer, ...]
    share: np.ndarray
    coarse_size: int

    def relaxed(self, right_side: np.ndarray, start: np.ndarray | None) -> np.ndarray:
        """A few steps of Chebyshev's iteration from a start, or from nothing (Saad 2003, algorithm 12.1, from memory)."""
        high = SAFE * self.largest
        low = high / BAND
        middle, half = (high + low) / 2, (high - low) / 2
        left = right_side.copy() if start is None else right_side - self.operator @ start
        step = relaxed_columns(self.columns, left) / middle
        found = step.copy() if start is None else start + step
        ratio = half / middle
        for _ in range(RELAXATIONS - 1):
            left -= self.operator @ step
            following = 1 / (2 * middle / half - ratio)
            step = following * ratio * step + 2 * following / half * relaxed_columns(self.columns, left)
            ratio = following
            found += step
        return found

    def restricted(self, left: np.ndarray) -> np.ndarray:
        """What is left (size, columns), on the coarser level."""
        shared = left * self.share
        found = np.zeros((self.coarse_size, left.shape[1]))
        for each in self.transfers:
            local = shared[each.fine]
            moved = each.values.T @ local.reshape(len(local), -1)
            found[each.coarse] += moved.reshape(*each.coarse.shape, -1)
        return found

    def prolonged(self, coarse: np.ndarray) -> np.ndarray:
        """A correction of the coarser level (coarse size, columns), on this one."""
        found = np.zeros((len(self.share), coarse.shape[1]))
        for each in self.transfers:
            local = coarse[each.coarse]
            moved = each.values @ local.reshape(len(local), -1)
            found[each.fine] = moved.reshape(*each.fine.shape, -1)
        return found


@dataclass(frozen=True)
class Place:
    """A body's plan nodes (n,) and its unknowns there (n, m)."""

    nodes: np.ndarray
    unknowns: np.ndarray


class Multigrid:
    """Solves with a symmetric positive definite operator on a space that has coarser ones; ``solve`` takes (n,) or (n, columns)."""

    def __init__(self, operator: Operator, places: Sequence[Place], space: PlanSpace, free: np.ndarray):
        self._free = free
        self.steps = 0  # of the last solve
        self._levels, coarsest, still_free = _levels(operator, places, space, _mask(free, operator.size))
        self._coarsest_free = np.flatnonzero(still_free)
        matrix = coarsest.csr
        self._coarsest = Cholesky(matrix[self._coarsest_free][:, self._coarsest_free])

    def solve(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution on the free unknowns, same shape; ``tight`` is what may be left of the right side's norm.

        Raises
        ------
        NotSettled
            If more is left after STEPS steps.
        """
        operator = self._levels[0].operator
        whole = np.zeros((operator.size, right_side.size // len(right_side)))
        whole[self._free] = right_side.reshape(len(right_side), -1)
        return self._settled(whole, tight)[self._free].reshape(right_side.shape)

    def solve_transposed(self, right_side: np.ndarray) -> np.ndarray:
        """The same: the operator is symmetric."""
        return self.solve(right_side)

    def _settled(self, right_side: np.ndarray, tight: float) -> np.ndarray:
        """Conjugate gradients on all columns side by side (Hestenes and Stiefel 1952, from memory)."""
        operator, is_free = self._levels[0].operator, self._levels[0].share > 0
        found, left = np.zeros_like(right_side), right_side.copy()
        enough = tight * np.linalg.norm(right_side, axis=0)
        step, before = np.zeros_like(right_side), np.ones(right_side.shape[1])
        for self.steps in range(STEPS):
            open_columns = np.linalg.norm(left, axis=0) > enough
            if not open_columns.any():
                return found
            eased = self._cycle(0, left)
            now = np.einsum("ij,ij->j", left, eased)
            step = eased + np.where(open_columns, now / before, 0.0) * step
            before = np.where(now > 0, now, 1.0)
            turned = (operator @ step) * is_free
            bent = np.einsum("ij,ij->j", step, turned)
            length = np.where(open_columns & (bent > 0), now / np.where(bent > 0, bent, 1.0), 0.0)
            found += length * step
            left -= length * turned
        share = float(np.max(np.linalg.norm(left, axis=0) / np.linalg.norm(right_side, axis=0)))
        raise NotSettled(
            f"the temperatures were not found in {STEPS} steps: {share:.2g} of the heat is left unbalanced"
        )

    def _cycle(self, number: int, left: np.ndarray) -> np.ndarray:
        """What one symmetric V-cycle makes of what is left."""
        if number == len(self._levels):
            found = np.zeros_like(left)
            found[self._coarsest_free] = self._coarsest.solve(left[self._coarsest_free])
            return found
        level = self._levels[number]
        found = level.relaxed(left, None)
        found += level.prolonged(self._cycle(number + 1, level.restricted(left - level.operator @ found)))
        return level.relaxed(left, found)


def _mask(numbers: np.ndarray, size: int) -> np.ndarray:
    mask = np.zeros(size, bool)
    mask[numbers] = True
    return mask


def _levels(
    operator: Operator, places: Sequence[Place], space: PlanSpace, is_free: np.ndarray
) -> tuple[list[Level], Operator, np.ndarray]:
    """All levels but the coarsest, the coarsest's operator, and which of its unknowns are free."""
    levels = []
    while space.coarser is not None:
        node, count = np.zeros(operator.size, np.int32), np.zeros(operator.size)
        for place in places:
            node[place.unknowns] = place.nodes[:, None]
            count[place.unknowns] += 1
        columns = _columns(operator, node, is_free)
        coarse, transfers, places, kept = _coarsened(operator, places, space, node)
        share = (is_free / count)[:, None]
        levels.append(Level(operator, columns, np.nan, transfers, share, coarse.size))
        operator, is_free, space = coarse, is_free[kept], space.coarser
    largest, known = 0.0, []
    for level in reversed(levels):
        # Meshes cut into four have triangles of the same shapes: what holds on the coarse ones holds on the fine ones.
        if largest == 0.0 or level.operator.size < FEW:
            largest = max(largest, _largest(level.operator, level.columns))
        known.append(replace(level, largest=largest))
    return known[::-1], operator, is_free


def _columns(operator: Operator, node: np.ndarray, is_free: np.ndarray) -> tuple[Columns, ...]:
    """The operator's columns, sorted by their lengths, inverted; ``node`` (size,) is the plan node of each unknown."""
    order = np.argsort(node, kind="stable")
    starts = np.flatnonzero(np.diff(node[order], prepend=-1))
    lengths = np.diff(starts, append=operator.size)
    group, row, place = (np.zeros(operator.size, np.int32) for _ in range(3))
    unknowns = []
    for number, length in enumerate(np.unique(lengths)):
        own = order[starts[lengths == length] + np.arange(length)[:, None]].astype(np.int32)
        group[own], row[own], place[own] = number, np.arange(own.shape[1]), np.arange(length)[:, None]
        unknowns.append(own)
    matrices = [np.zeros((len(own), *own.shape)) for own in unknowns]
    for term in operator.terms:
        diagonal = np.stack([plan.diagonal() for plan in term.plans], axis=1)
        of_node = group[term.unknowns[:, 0]]
        for number, matrix in enumerate(matrices):
            some = np.flatnonzero(of_node == number)
            own = term.unknowns[some]
            rows, places = row[own[:, 0]][:, None, None], place[own]
            matrix[places[:, :, None], places[:, None, :], rows] += np.tensordot(diagonal[some], term.throughs, 1)
    return tuple(Columns(own, _inverted(matrix, is_free[own])) for own, matrix in zip(unknowns, matrices))


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


def _largest(operator: Operator, columns: tuple[Columns, ...]) -> float:
    """Largest eigenvalue that the columns' inverses leave of the operator, by the power method."""
    state = np.random.default_rng(1).standard_normal((operator.size, 1))
    for _ in range(POWERS):
        turned = relaxed_columns(columns, operator @ state)
        size = float(np.linalg.norm(turned))
        largest, state = size / float(np.linalg.norm(state)), turned / size
    return largest


def _coarsened(
    operator: Operator, places: Sequence[Place], space: PlanSpace, node: np.ndarray
) -> tuple[Operator, tuple[Transfer, ...], list[Place], np.ndarray]:
    """The operator on the coarser functions, what joins both, the bodies' places there, and which unknowns (numbers) are kept.

    The coarser mesh's nodes are nodes of the finer one: an unknown there is the finer's.
    """
    coarse_of = np.full(len(space.nodes), -1, np.int32)
    coarse_of[space.coarser_nodes] = np.arange(len(space.coarser_nodes))
    kept = np.flatnonzero(coarse_of[node] >= 0)
    number = np.full(operator.size, -1, np.int32)
    number[kept] = np.arange(len(kept))
    known: dict[bytes, tuple[np.ndarray, np.ndarray, sp.csr_array]] = {}

    def part(nodes: np.ndarray) -> tuple[np.ndarray, np.ndarray, sp.csr_array]:
        """Of plan nodes (n,): which stay, their coarse numbers, and the coarse functions' values at all."""
        key = nodes.tobytes()
        if key not in known:
            stays = np.flatnonzero(coarse_of[nodes] >= 0)
            coarse = coarse_of[nodes][stays]
            known[key] = stays, coarse, space.prolongation[nodes][:, coarse].tocsr()
        return known[key]

    def smaller(term: Term) -> Term:
        stays, _, values = part(node[term.unknowns[:, 0]])
        plans = [(values.T @ plan @ values).tocsr() for plan in term.plans]
        for plan in plans:
            plan.sort_indices()
        return Term(number[term.unknowns[stays]], tuple(plans), term.throughs)

    transfers, coarse_places = [], []
    for place in places:
        stays, coarse, values = part(place.nodes)
        unknowns = number[place.unknowns[stays]]
        transfers.append(Transfer(place.unknowns, unknowns, values))
        coarse_places.append(Place(coarse, unknowns))
    coarse_operator = Operator(len(kept), tuple(map(smaller, operator.terms)))
    return coarse_operator, tuple(transfers), coarse_places, kept
