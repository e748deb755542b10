"""Symmetric operators kept as products: sparse plan matrices times small matrices of thickness functions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.patterns import PlanMatrix, PlanPattern

LARGE = 60_000  # unknowns beyond which a matrix and its factor take longer than iterating without them
NOTHING = 1e-13  # of the largest: what is rounding
TINY = 1e-300

Entries = tuple[np.ndarray, np.ndarray, np.ndarray]  # values, rows, columns
Place = slice | np.ndarray  # unknowns, a slice where they follow one another


@dataclass(frozen=True)
class Term:
    """The sum of ``plans`` (products of n x n, of one pattern) times ``throughs`` (products, m, m), acting on ``unknowns`` (n, m),
    each once."""

    unknowns: np.ndarray
    plans: tuple[PlanMatrix, ...]
    throughs: np.ndarray

    def scaled(self, factor: float) -> "Term":
        """The term times a factor."""
        return replace(self, throughs=factor * self.throughs)

    @property
    def pattern(self) -> PlanPattern:
        """Of all its plan matrices."""
        return self.plans[0].pattern

    def entries(self) -> Entries:
        """Its entries, those of one place added up."""
        rows = np.repeat(np.arange(len(self.unknowns)), np.diff(self.pattern.indptr))
        values = np.stack([plan.csr.data for plan in self.plans])
        dense = np.tensordot(values.T, self.throughs, 1)
        return placed_entries(self.unknowns[rows], self.unknowns[self.pattern.columns], dense)


@dataclass(frozen=True)
class Part:
    """A term as it is multiplied with: plan matrices times thickness matrices of rank one, v w^T.

    ``taken`` and ``given`` (m, matrices) have all w and v, ``places`` (m) the term's unknowns level by level.
    """

    matrices: tuple[sp.csr_array, ...]
    taken: np.ndarray
    given: np.ndarray
    places: tuple[Place, ...]

    def product(self, x: np.ndarray) -> np.ndarray:
        """What the term makes of x (size,), same shape."""
        if isinstance(self.places[0], slice) and self.matrices[0].shape[0] == len(x):
            return self._thin(x)
        found = np.zeros_like(x)
        self.apply(x, found)
        return found

    def apply(self, x: np.ndarray, y: np.ndarray) -> None:
        """Add what the term makes of x (size,) to y, same shape."""
        if len(self.places) == 1:
            y[self.places[0]] += self._thin(x[self.places[0]])
            return
        local = self.taken.T @ np.stack([x[place] for place in self.places])
        made = self.given @ np.stack([plan @ each for plan, each in zip(self.matrices, local)])
        for place, each in zip(self.places, made):
            y[place] += each

    def _thin(self, x: np.ndarray) -> np.ndarray:
        """What a term of one unknown per node makes of these (n,)."""
        factor, made = float(self.taken[0, 0] * self.given[0, 0]), self.matrices[0] @ x
        return made if factor == 1.0 else factor * made


def place_of(unknowns: np.ndarray) -> Place:
    """Unknowns (numbers) as a slice where they follow one another."""
    first, count = int(unknowns[0]) if len(unknowns) else 0, len(unknowns)
    if count and unknowns[-1] - first == count - 1 and np.array_equal(unknowns, np.arange(first, first + count)):
        return slice(first, first + count)
    return np.ascontiguousarray(unknowns)


def joined(terms: Iterable[Term]) -> tuple[Term, ...]:
    """The same terms; those that act on the same unknowns over the same elements become one."""
    alike: dict[tuple, list[Term]] = {}
    for term in terms:
        alike.setdefault((id(term.pattern), term.unknowns.tobytes()), []).append(term)
    return tuple(map(_sum, alike.values()))


def _sum(terms: Sequence[Term]) -> Term:
    """Terms on the same unknowns over the same elements as one: plan matrices whose thickness matrices are multiples are added up."""
    units: list[np.ndarray] = []
    shares: list[list[tuple[PlanMatrix, float]]] = []
    for plan, through in ((plan, through) for term in terms for plan, through in zip(term.plans, term.throughs)):
        largest = float(through.flat[np.abs(through).argmax()])
        if largest == 0:
            continue
        unit = through / largest
        number = next((n for n, known in enumerate(units) if np.abs(unit - known).max() <= NOTHING), len(units))
        if number == len(units):
            units.append(unit)
            shares.append([])
        shares[number].append((plan, largest))
    if not units:
        return terms[0]
    plans, scales = zip(*map(_added, shares))
    return Term(terms[0].unknowns, plans, np.array([scale * unit for scale, unit in zip(scales, units)]))


def _added(shares: Sequence[tuple[PlanMatrix, float]]) -> tuple[PlanMatrix, float]:
    """The sum of some plan matrices' multiples as a multiple of one."""
    if len(shares) == 1:
        return shares[0]
    weights = np.hstack([plan.weights for plan, _ in shares])
    references = np.vstack([share * plan.references for plan, share in shares])
    return PlanMatrix(shares[0][0].pattern, weights, references), 1.0


def parts_of(terms: Iterable[Term]) -> tuple[Part, ...]:
    """Terms as they are multiplied with; plan matrices that are multiples of one another are kept once."""
    known: dict[tuple[int, int], list[PlanMatrix]] = {}

    def kept(plan: PlanMatrix) -> tuple[sp.csr_array, float]:
        """One that it is a multiple of, and how many times that."""
        others = known.setdefault((id(plan.pattern), id(plan.references)), [])
        for other in others:
            times = float(
                np.vdot(plan.weights, other.weights) / max(float(np.vdot(other.weights, other.weights)), TINY)
            )
            if np.abs(plan.weights - times * other.weights).max() <= NOTHING * np.abs(plan.weights).max():
                return other.csr, times
        others.append(plan)
        return plan.csr, 1.0

    parts = (_part(term, [kept(plan) for plan in term.plans]) for term in terms)
    return tuple(part for part in parts if part.matrices)


def _part(term: Term, plans: Sequence[tuple[sp.csr_array, float]]) -> Part:
    """A term as it is multiplied with; what a thickness matrix has no part of costs no product."""
    matrices, taken, given = [], [], []
    for (matrix, times), through in zip(plans, term.throughs):
        values, vectors = np.linalg.eigh(through)
        for value, vector in zip(values, vectors.T):
            if abs(value) > NOTHING * np.abs(values).max():
                matrices.append(matrix)
                taken.append(vector)
                given.append(times * value * vector)
    places = tuple(map(place_of, term.unknowns.T))
    return Part(tuple(matrices), np.array(taken).T, np.array(given).T, places)


def in_single(parts: Iterable[Part]) -> tuple[Part, ...]:
    """The same in single precision; matrices that they share stay shared."""
    known: dict[int, sp.csr_array] = {}

    def single(matrix: sp.csr_array) -> sp.csr_array:
        """One matrix."""
        if id(matrix) not in known:
            entries = (matrix.data.astype(np.float32), matrix.indices, matrix.indptr)
            known[id(matrix)] = sp.csr_array(entries, shape=matrix.shape)
        return known[id(matrix)]

    return tuple(
        replace(
            part,
            matrices=tuple(map(single, part.matrices)),
            taken=part.taken.astype(np.float32),
            given=part.given.astype(np.float32),
        )
        for part in parts
    )


@dataclass(frozen=True)
class Operator:
    """A symmetric matrix (size, size): what ``base`` is, if anything, terms, and further ``entries`` that need not be symmetric."""

    size: int
    own: tuple[Term, ...]
    base: "Operator | None" = None
    entries: tuple[Entries, ...] = ()

    @property
    def terms(self) -> tuple[Term, ...]:
        """All terms, the base's too."""
        return self.own if self.base is None else (*self.base.terms, *self.own)

    @cached_property
    def joined(self) -> tuple[Term, ...]:
        """All terms, as few as can be."""
        return (*(() if self.base is None else self.base.joined), *joined(self.own))

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """All terms as they are multiplied with, made once."""
        return parts_of(self.joined)

    @cached_property
    def csr(self) -> sp.csr_array:
        """The whole matrix, made once."""
        matrix = summed([*(term.entries() for term in self.own), *self.entries], self.size)
        return matrix if self.base is None else self.base.csr + matrix

    def between(self, unknowns: np.ndarray) -> sp.csr_array:
        """What the terms have between some unknowns (n,), as a matrix (n, n), without that of all."""
        place = np.full(self.size, -1, np.int32)
        place[unknowns] = np.arange(len(unknowns), dtype=np.int32)
        found = []
        for term in self.joined:
            places = place[term.unknowns]
            nodes, levels = (np.flatnonzero((places >= 0).any(axis=axis)) for axis in (1, 0))
            if not len(nodes):
                continue
            plans = [plan.csr[nodes][:, nodes].tocoo() for plan in term.plans]
            dense = np.tensordot(np.stack([plan.data for plan in plans]).T, term.throughs[:, levels][:, :, levels], 1)
            here = places[nodes][:, levels]
            values, rows, columns = placed_entries(here[plans[0].row], here[plans[0].col], dense)
            both = (rows >= 0) & (columns >= 0)
            found.append((values[both], rows[both], columns[both]))
        return summed(found, len(unknowns))

    def scaled(self, factor: float) -> "Operator":
        """The operator, which has terms of its own alone, times a factor."""
        return Operator(self.size, tuple(term.scaled(factor) for term in self.own))

    @property
    def is_large(self) -> bool:
        """Whether the whole matrix is better never made."""
        return is_large(self.size)

    def __matmul__(self, x: np.ndarray) -> np.ndarray:
        """Product with x (size,) or (size, columns), same shape."""
        if not self.is_large:
            return self.csr @ x
        found = self.further @ x
        for column, of_column in zip(x.reshape(self.size, -1).T, found.reshape(self.size, -1).T):
            for part in self.parts:
                part.apply(column, of_column)
        return found

    @cached_property
    def further(self) -> sp.csr_array:
        """What is in no term."""
        own = summed(self.entries, self.size)
        return own if self.base is None else self.base.further + own

    def magnitudes(self, x: np.ndarray) -> np.ndarray:
        """What every row adds up in the product with x (size,), by magnitude; an upper bound where terms overlap."""
        if not self.is_large:
            return abs(self.csr) @ np.abs(x)
        found = abs(self.further) @ np.abs(x)
        for term in self.joined:
            local = np.abs(x[term.unknowns])
            for plan, through in zip(term.plans, term.throughs):
                found[term.unknowns] += abs(plan.csr) @ local @ np.abs(through)
        return found


def is_large(unknowns: float) -> bool:
    """Whether so many unknowns are better solved for by iterating, without a matrix of all of them and its factor."""
    return unknowns > LARGE


def summed(parts: Sequence[Entries], size: int) -> sp.csr_array:
    """Matrix of all entries, those of one place added up."""
    if not parts:
        return sp.csr_array((size, size))
    values, rows, columns = (np.concatenate([part[i] for part in parts]) for i in range(3))
    every = sp.coo_array((values, (rows, columns)), shape=(size, size))
    every.has_canonical_format = True  # not yet: two passes of counting sort sooner than adding up at once does
    found = every.tocsc().tocsr()
    found.has_canonical_format = False
    found.sum_duplicates()
    return found


def placed_entries(rows: np.ndarray, columns: np.ndarray, terms: np.ndarray) -> Entries:
    """Entries of terms (entries, a, b) between unknowns rows (entries, a) and columns (entries, b)."""
    i = np.broadcast_to(rows[:, :, None], terms.shape).ravel()
    j = np.broadcast_to(columns[:, None, :], terms.shape).ravel()
    return terms.ravel(), i, j
