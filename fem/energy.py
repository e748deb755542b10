"""The energy x'Kx of a symmetric positive definite matrix by its Cholesky factor: square roots of it, and of its inverse on a face.

With P K P' = L L', the plain scalar product of L'P x is the energy's, and that of L^-1 P f the energy of the answer to f.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import exchanged

# What CHOLMOD is to solve for, by its numbers.
LOWER, UPPER, PERMUTED, PERMUTED_BACK = 4, 5, 7, 8


@dataclass(frozen=True)
class Energy:
    """A matrix and its factor."""

    matrix: sp.csr_array
    factor: Any

    def solved(self, right_sides: np.ndarray) -> np.ndarray:
        """K^-1 f of columns (n, k)."""
        return self._in_turn(right_sides, (0,))

    def rooted(self, right_sides: np.ndarray) -> np.ndarray:
        """L^-1 P f of columns (n, k): their plain scalar products are those of f'K^-1 f."""
        return self._in_turn(right_sides, (PERMUTED, LOWER))

    def unrooted(self, columns: np.ndarray) -> np.ndarray:
        """P'L'^-1 w of columns (n, k): K^-1 f where w is ``rooted`` f."""
        return self._in_turn(columns, (UPPER, PERMUTED_BACK))

    def _in_turn(self, columns: np.ndarray, systems: tuple[int, ...]) -> np.ndarray:
        """Column by column: CHOLMOD as wrapped here gains nothing from many at once."""
        from cvxopt import cholmod
        from cvxopt import matrix as dense

        found = np.empty(columns.shape)
        for number, column in enumerate(columns.T):
            x = dense(np.ascontiguousarray(column))
            for system in systems:
                cholmod.solve(self.factor, x, sys=system)
            found[:, number] = np.array(x).ravel()
        return found


def energy_of(matrix: sp.csr_array) -> Energy:
    """The energy of a symmetric positive definite matrix."""
    from cvxopt import cholmod

    system = exchanged(sp.tril(matrix).tocoo())
    factor = cholmod.symbolic(system)
    cholmod.numeric(system, factor)
    return Energy(matrix, factor)


def face_inverse_root(matrix: sp.csr_array, face: np.ndarray) -> np.ndarray:
    """Root R (face, face) of the inverse's part at some unknowns: (K^-1) there is R R'.

    With those unknowns eliminated last, the factor's last block is a factor of that part's inverse.
    """
    from cvxopt import amd
    from scipy.linalg.lapack import dtrtri

    size = matrix.shape[0]
    inner = np.setdiff1d(np.arange(size), face)
    order = np.array(amd.order(exchanged(sp.tril(matrix[inner][:, inner]).tocoo()))).ravel()
    permutation = np.concatenate([inner[order], face])
    lower, kept = _factor_in_order(matrix[permutation][:, permutation])
    last = slice(size - len(face), size)
    root = np.empty((len(face), len(face)))
    inverse, _ = dtrtri(lower[last, last].toarray(), lower=1)
    root[kept[last] - last.start] = inverse.T
    return root


def _factor_in_order(matrix: sp.csr_array) -> tuple[sp.csc_array, np.ndarray]:
    """Lower factor, the unknowns eliminated as they stand but for the library's own renumbering (n,), which leaves those last that
    all others lead to."""
    from cvxopt import cholmod
    from cvxopt import matrix as dense

    size, system = matrix.shape[0], exchanged(sp.tril(matrix).tocoo())
    before = dict(cholmod.options)
    cholmod.options["nmethods"] = 1  # else it looks for an order of its own
    try:
        factor = cholmod.symbolic(system, dense(np.arange(size, dtype=np.int_)))
        cholmod.numeric(system, factor)
    finally:
        cholmod.options.clear()
        cholmod.options.update(before)
    numbers = dense(np.arange(size, dtype=float))
    cholmod.solve(factor, numbers, sys=PERMUTED)
    starts, rows, values = (np.array(part).ravel() for part in cholmod.getfactor(factor).CCS)
    return sp.csc_array((values, rows, starts), shape=(size, size)), np.array(numbers).ravel().astype(int)
