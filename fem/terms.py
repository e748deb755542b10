"""Symmetric operators kept as products: sparse plan matrices times small matrices of thickness functions."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

Entries = tuple[np.ndarray, np.ndarray, np.ndarray]  # values, rows, columns


@dataclass(frozen=True)
class Term:
    """The sum of ``plans`` (products of n x n) times ``throughs`` (products, m, m), acting on ``unknowns`` (n, m), each once."""

    unknowns: np.ndarray
    plans: tuple[sp.csr_array, ...]
    throughs: np.ndarray

    def scaled(self, factor: float) -> "Term":
        """The term times a factor."""
        return replace(self, throughs=factor * self.throughs)

    def apply(self, x: np.ndarray, y: np.ndarray) -> None:
        """Add what the term makes of x (size, columns) to y, same shape."""
        (n, m), columns = self.unknowns.shape, x.shape[1]
        local = x[self._place].reshape(n, m, columns)
        found = np.zeros((n, m * columns))
        for plan, through in zip(self.plans, self.throughs):
            # One column alone: a product of matrices, not one of n small ones.
            thick = local.reshape(n, m) @ through if columns == 1 else (through @ local).reshape(n, m * columns)
            found += plan @ thick
        y[self._place] += found.reshape(x[self._place].shape)

    @cached_property
    def _place(self) -> slice | np.ndarray:
        """The unknowns, row by row: as a slice where they follow one another."""
        flat = self.unknowns.ravel()
        first = int(flat[0]) if len(flat) else 0
        return slice(first, first + len(flat)) if np.array_equal(flat, np.arange(first, first + len(flat))) else flat

    def entries(self) -> list[Entries]:
        """Its entries; of plan matrices of one structure those of one place added up."""
        first = self.plans[0]
        if any(not _alike(first, plan) for plan in self.plans):
            each = zip(self.plans, self.throughs)
            return [part for plan, through in each for part in Term(self.unknowns, (plan,), through[None]).entries()]
        rows = np.repeat(np.arange(first.shape[0]), np.diff(first.indptr))
        values = np.stack([plan.data for plan in self.plans])
        dense = np.tensordot(values.T, self.throughs, 1)
        return [placed_entries(self.unknowns[rows], self.unknowns[first.indices], dense)]


def _alike(one: sp.csr_array, other: sp.csr_array) -> bool:
    return one.indices is other.indices or (one.nnz == other.nnz and np.array_equal(one.indices, other.indices))


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
    def csr(self) -> sp.csr_array:
        """The whole matrix, made once."""
        matrix = summed([*(part for term in self.own for part in term.entries()), *self.entries], self.size)
        return matrix if self.base is None else self.base.csr + matrix

    def scaled(self, factor: float) -> "Operator":
        """The operator, which has terms of its own alone, times a factor."""
        return Operator(self.size, tuple(term.scaled(factor) for term in self.own))

    @property
    def is_large(self) -> bool:
        """Whether the whole matrix is better never made."""
        return self.size > LARGE

    def __matmul__(self, x: np.ndarray) -> np.ndarray:
        """Product with x (size,) or (size, columns), same shape."""
        if not self.is_large:
            return self.csr @ x
        columns = x.reshape(self.size, -1)
        found = self.further @ columns
        for term in self.terms:
            term.apply(columns, found)
        return found.reshape(x.shape)

    @cached_property
    def further(self) -> sp.csr_array:
        """What is in no term."""
        own = summed(self.entries, self.size)
        return own if self.base is None else self.base.further + own

    def magnitudes(self, x: np.ndarray) -> np.ndarray:
        """What every row adds up in the product with x (size,), by magnitude; an upper bound where terms overlap."""
        if not self.is_large:
            return abs(self.csr) @ np.abs(x)
        return Operator(self.size, tuple(map(_magnitudes, self.terms))) @ np.abs(x) + abs(self.further) @ np.abs(x)


LARGE = 60_000  # unknowns beyond which a matrix and its factor take longer than iterating without them


def _magnitudes(term: Term) -> Term:
    return Term(term.unknowns, tuple(abs(plan) for plan in term.plans), np.abs(term.throughs))


def summed(parts: Sequence[Entries], size: int) -> sp.csr_array:
    """Matrix of all entries, those of one place added up."""
    if not parts:
        return sp.csr_array((size, size))
    values, rows, columns = (np.concatenate([part[i] for part in parts]) for i in range(3))
    return sp.coo_array((values, (rows, columns)), shape=(size, size)).tocsr()


def placed_entries(rows: np.ndarray, columns: np.ndarray, terms: np.ndarray) -> Entries:
    """Entries of terms (entries, a, b) between unknowns rows (entries, a) and columns (entries, b)."""
    i = np.broadcast_to(rows[:, :, None], terms.shape).ravel()
    j = np.broadcast_to(columns[:, None, :], terms.shape).ravel()
    return terms.ravel(), i, j
