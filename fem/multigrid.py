"""Conjugate gradients with multigrid: meshes nested in the plan, whole columns through the thickness relaxed at once.

Every level is the one above it on the coarser mesh's functions, P^T A P, triangle by triangle: a triangle's integrals are sums of
its parts'. The plan is coarsened alone, so that thickness functions, patches, joints and uneven films pass through unchanged, and the
only matrix of all unknowns is the coarsest's. What a cycle makes need not be exact: single precision takes half the memory's time.
What is left, and so where the iteration ends, is found in double precision.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TypeVar

import numpy as np
import scipy.sparse as sp

from plancha.fem.blocks import Block, blocks_of, far_unknowns
from plancha.fem.cholesky import Cholesky
from plancha.fem.coarsening import Coarsening
from plancha.fem.columns import Body, Columns, columns_of
from plancha.fem.plan import PlanSpace
from plancha.fem.terms import Operator, Part, Place, Term, in_single, place_of
from plancha.geometry.faults import Failure

Found = TypeVar("Found")
TIGHT = 1e-12  # of the right side's norm: what may be left
STEPS = 200
AT_ONCE = 4  # right sides at most: each needs memory of its own
LEAST, MOST = 2, 32  # relaxations before the coarser level and after it: as triangles are stretched, between these
POWERS = 30  # steps that find the largest eigenvalue
FEW = 20_000  # unknowns of a level for which it is sought anew
SAFE = 1.2  # times what they find: a finer mesh's is up to a tenth larger, and POWERS steps come within a twentieth


class NotSettled(Failure):
    """The iteration did not reach the residual; the message carries it."""


@dataclass(frozen=True)
class Transfer:
    """One body's functions of the coarser level on the finer: places of both, level by level, and the plan's values between, which
    are exact in single precision."""

    fine: tuple[Place, ...]
    coarse: tuple[Place, ...]
    values: sp.csr_array


@dataclass(frozen=True)
class Level:
    """One mesh's operator, how it is relaxed, and how it is joined to the coarser one.

    The operator is there in double precision, ``exact``, and in single, ``quick``; ``largest`` is the largest eigenvalue that its
    ``columns`` and ``blocks`` leave of it. ``share`` (size,) of an unknown counts for each body that has it; none where it is held.
    """

    exact: tuple[Part, ...]
    quick: tuple[Part, ...]
    columns: tuple[Columns, ...]
    blocks: tuple[Block, ...]
    largest: float
    relaxations: int
    transfers: tuple[Transfer, ...]
    share: np.ndarray
    coarse_size: int

    def times(self, x: np.ndarray) -> np.ndarray:
        """The operator's product with x (size,), in x's precision."""
        first, *others = self.quick if x.dtype == np.float32 else self.exact
        found = first.product(x)
        for part in others:
            part.apply(x, found)
        return found

    def eased(self, left: np.ndarray) -> np.ndarray:
        """All columns' and blocks' inverses times what is left (size,)."""
        found = np.empty_like(left)
        for columns in self.columns:
            columns.ease(left, found)
        for block in self.blocks:
            block.ease(left, found)
        return found

    def relaxed(self, right_side: np.ndarray, start: np.ndarray | None = None) -> np.ndarray:
        """A few steps of Chebyshev's iteration of the fourth kind from a start, which is changed, or from nothing (Lottes 2022, from
        memory)."""
        left = right_side if start is None else right_side - self.times(start)
        step = self._scaled(4 / 3, left)
        found = step.copy() if start is None else np.add(start, step, out=start)
        for number in range(2, self.relaxations + 1):
            left = left - self.times(step)
            step *= (2 * number - 3) / (2 * number + 1)
            step += self._scaled((8 * number - 4) / (2 * number + 1), left)
            found += step
        return found

    def _scaled(self, factor: float, left: np.ndarray) -> np.ndarray:
        """What is left (size,), eased, times a factor in terms of the largest eigenvalue."""
        eased = self.eased(left)
        eased *= factor / (SAFE * self.largest)
        return eased

    def restricted(self, left: np.ndarray) -> np.ndarray:
        """What is left (size,), on the coarser level."""
        shared = left * self.share
        found = np.zeros(self.coarse_size, left.dtype)
        for each in self.transfers:
            for fine, coarse in zip(each.fine, each.coarse):
                found[coarse] += each.values.T @ shared[fine]
        return found

    def prolonged(self, coarse: np.ndarray) -> np.ndarray:
        """A correction of the coarser level (coarse size,), on this one."""
        found = np.zeros(len(self.share), coarse.dtype)
        for each in self.transfers:
            for fine, place in zip(each.fine, each.coarse):
                found[fine] = each.values @ coarse[place]
        return found

    @property
    def prolongation(self) -> sp.csr_array:
        """The same as a matrix (size, coarse size)."""
        numbers, coarse_numbers = np.arange(len(self.share)), np.arange(self.coarse_size)
        entries = []
        for each in self.transfers:
            values = each.values.tocoo()
            for fine, coarse in zip(each.fine, each.coarse):
                rows = numbers[fine][values.row]
                entries.append((self.share[rows] * values.data, rows, coarse_numbers[coarse][values.col]))
        values, rows, columns = (np.concatenate(parts) for parts in zip(*entries))
        return sp.csr_array((values.astype(float), (rows, columns)), shape=(len(numbers), self.coarse_size))


def processors() -> int:
    """How many processors this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def side_by_side(answer: Callable[[np.ndarray], Found], columns: np.ndarray) -> Iterator[Found]:
    """What each of some columns (n, columns) is answered, in turn.

    Some are found at once, one on each processor: most of the time goes into sparse products, which run freely.
    """
    with ThreadPoolExecutor(min(AT_ONCE, processors())) as pool:
        yield from pool.map(answer, columns.T)


class Multigrid:
    """Solves with a symmetric positive definite operator on a space that has coarser ones; ``solve`` takes (n,) or (n, columns)."""

    def __init__(self, operator: Operator, bodies: Sequence[Body], space: PlanSpace, free: np.ndarray):
        self._free = place_of(free)
        self.steps = 0  # of the last solve, at most
        is_free = np.zeros(operator.size, bool)
        is_free[free] = True
        self.levels, coarsest, is_free = _levels(operator, bodies, space, is_free)
        self._coarsest_free = np.flatnonzero(is_free)
        matrix = coarsest.csr
        self.coarsest = Cholesky(matrix[self._coarsest_free][:, self._coarsest_free])

    @cached_property
    def onto_coarsest(self) -> sp.csr_array:
        """The functions of the coarsest level's free unknowns on the free unknowns, (n, coarsest n)."""
        found = self.levels[-1].prolongation[:, self._coarsest_free]
        for level in self.levels[-2::-1]:
            found = level.prolongation @ found
        return found[self._free]

    def times(self, x: np.ndarray) -> np.ndarray:
        """The operator's product with x (n,) on the free unknowns."""
        return self.levels[0].times(self._whole(x))[self._free]

    def cycle(self, left: np.ndarray) -> np.ndarray:
        """What one cycle makes of what is left (n,) on the free unknowns."""
        return self._cycle(0, self._whole(left).astype(np.float32))[self._free].astype(float)

    def solve(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution on the free unknowns, same shape; ``tight`` is what may be left of the right side's norm.

        Raises
        ------
        NotSettled
            If more is left after STEPS steps.
        """
        if right_side.ndim == 1:
            found, self.steps = self._solved(right_side, tight)
            return found
        found, self.steps = np.empty_like(right_side), 0
        for column, (own, steps) in zip(found.T, side_by_side(partial(self._solved, tight=tight), right_side)):
            column[:] = own
            self.steps = max(self.steps, steps)
        return found

    def solve_transposed(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """The same: the operator is symmetric."""
        return self.solve(right_side, tight)

    def _solved(self, right_side: np.ndarray, tight: float) -> tuple[np.ndarray, int]:
        """Solution on the free unknowns (n,), and the steps it took."""
        solution, steps = self._settled(self._whole(right_side), tight)
        return solution[self._free], steps

    def _whole(self, x: np.ndarray) -> np.ndarray:
        """What free unknowns have (n,), on all, nothing on those that are held; a copy."""
        found = np.zeros(len(self.levels[0].share))
        found[self._free] = x
        return found

    def _settled(self, right_side: np.ndarray, tight: float) -> tuple[np.ndarray, int]:
        """Conjugate gradients (Hestenes and Stiefel 1952, from memory), and their steps; the right side becomes what is left."""
        finest = self.levels[0]
        held = np.flatnonzero(finest.share == 0)
        found, left, whole = self._start(0, right_side), right_side, float(np.linalg.norm(right_side))
        left -= finest.times(found)
        left[held] = 0.0
        step, before = np.zeros_like(right_side), 1.0
        for taken in range(STEPS):
            if np.linalg.norm(left) <= tight * whole:
                return found, taken
            eased = self._cycle(0, left.astype(np.float32)).astype(float)
            now = float(left @ eased)
            step *= now / before
            step += eased
            before = now
            del eased
            turned = finest.times(step)
            turned[held] = 0.0
            length = now / float(step @ turned)
            turned *= length
            left -= turned
            del turned
            found += length * step
        share = float(np.linalg.norm(left)) / whole
        raise NotSettled(
            f"the temperatures were not found in {STEPS} steps: {share:.2g} of the heat is left unbalanced"
        )

    def _start(self, number: int, right_side: np.ndarray) -> np.ndarray:
        """A first guess: the coarsest level's solution, on each finer one bettered by a cycle, on the finest relaxed once."""
        if number == len(self.levels):
            return self._cycle(number, right_side).astype(float)
        level = self.levels[number]
        found = level.prolonged(self._start(number + 1, level.restricted(right_side.astype(np.float32, copy=False))))
        left = (right_side - level.times(found)).astype(np.float32)
        found += level.relaxed(left) if number == 0 else self._cycle(number, left)
        return found

    def _cycle(self, number: int, left: np.ndarray) -> np.ndarray:
        """What one symmetric V-cycle makes of what is left, in single precision."""
        if number == len(self.levels):
            found = np.zeros_like(left)
            found[self._coarsest_free] = self.coarsest.solve(left[self._coarsest_free].astype(float))
            return found
        level = self.levels[number]
        found = level.relaxed(left)
        rest = left - level.times(found)
        found += level.prolonged(self._cycle(number + 1, level.restricted(rest)))
        return level.relaxed(left, found)


def _levels(
    operator: Operator, bodies: Sequence[Body], space: PlanSpace, is_free: np.ndarray
) -> tuple[list[Level], Operator, np.ndarray]:
    """All levels but the coarsest, the coarsest's operator, and which of its unknowns are free."""
    levels = []
    relaxations = _relaxations(bodies)
    while space.coarser is not None:
        is_far = far_unknowns(bodies, operator.size)
        columns = columns_of(operator, bodies, is_free & ~is_far)
        blocks = blocks_of(operator, bodies, is_free, is_far)
        count = np.zeros(operator.size, np.float32)
        for place in (place for body in bodies for place in _places(body.unknowns)):
            count[place] += 1
        coarse, transfers, bodies, kept = _coarsened(operator, bodies, space)
        exact, quick, share = operator.parts, in_single(operator.parts), is_free / count
        levels.append(Level(exact, quick, columns, blocks, np.nan, relaxations, transfers, share, coarse.size))
        operator, is_free, space = coarse, is_free[kept], space.coarser
    largest, known = 0.0, []
    for level in reversed(levels):
        # Meshes cut into four have triangles of the same shapes: what holds on the coarse ones holds on the fine ones.
        if largest == 0.0 or len(level.share) < FEW:
            largest = max(largest, _largest(level))
        known.append(replace(level, largest=largest))
    return known[::-1], operator, is_free


def _relaxations(bodies: Sequence[Body]) -> int:
    """How often unknowns are relaxed before the coarser level and after it: Chebyshev's iteration reaches as many neighbours."""
    return round(min(max(LEAST, *(body.stretch for body in bodies)), MOST))


def _largest(level: Level) -> float:
    """Largest eigenvalue that the columns' and blocks' inverses leave of the operator, by the power method."""
    state: np.ndarray = np.random.default_rng(1).standard_normal(len(level.share), np.float32)
    for _ in range(POWERS):
        turned = level.eased(level.times(state))
        size = float(np.linalg.norm(turned))
        largest, state = size / float(np.linalg.norm(state)), turned / size
    return largest


def _coarsened(
    operator: Operator, bodies: Sequence[Body], space: PlanSpace
) -> tuple[Operator, tuple[Transfer, ...], list[Body], np.ndarray]:
    """The operator on the coarser functions, what joins both, the bodies there, and which unknowns (numbers) are kept.

    The coarser mesh's nodes are nodes of the finer one: an unknown there is the finer's.
    """
    assert space.coarser is not None
    coarsening = Coarsening(space, space.coarser)
    every = np.concatenate([body.unknowns[coarsening.of(body.pattern).kept].T.ravel() for body in bodies])
    first, place = np.empty(operator.size, np.int32), np.arange(len(every), dtype=np.int32)
    first[every[::-1]] = place[::-1]
    kept = every[first[every] == place]  # each once, where bodies share some
    number = np.full(operator.size, -1, np.int32)
    number[kept] = np.arange(len(kept), dtype=np.int32)
    coarse_bodies = [
        replace(
            body,
            pattern=coarser.pattern,
            unknowns=number[body.unknowns[coarser.kept]],
            is_far=body.is_far[coarser.kept],
        )
        for body in bodies
        for coarser in (coarsening.of(body.pattern),)
    ]
    transfers = tuple(
        Transfer(_places(body.unknowns), _places(coarse.unknowns), coarsening.values(body.pattern))
        for body, coarse in zip(bodies, coarse_bodies)
    )
    terms = tuple(
        Term(
            number[term.unknowns[coarsening.of(term.pattern).kept]],
            tuple(map(coarsening.matrix, term.plans)),
            term.throughs,
        )
        for term in operator.joined
    )
    return Operator(len(kept), terms), transfers, coarse_bodies, kept


def _places(unknowns: np.ndarray) -> tuple[Place, ...]:
    return tuple(place_of(level) for level in unknowns.T)
