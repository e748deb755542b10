"""Sparse Cholesky by CHOLMOD (through cvxopt), for symmetric positive definite matrices."""

import numpy as np
import scipy.sparse as sp

from plancha.geometry.faults import Failure


class NotPositiveDefinite(Failure):
    """The matrix has no Cholesky factor: a part of the model is tied to nothing."""


class Cholesky:
    """Factor of a symmetric positive definite sparse matrix; ``solve`` takes (n,) or (n, columns)."""

    def __init__(self, matrix: sp.csr_array):
        from cvxopt import cholmod, spmatrix
        from cvxopt import matrix as dense

        lower = sp.tril(matrix).tocoo()
        entries, rows, columns = (dense(np.ascontiguousarray(a)) for a in (lower.data, *lower.coords))
        self._dense = dense
        self._cholmod = cholmod
        system = spmatrix(entries, rows, columns, matrix.shape)
        self._factor = cholmod.symbolic(system)
        try:
            cholmod.numeric(system, self._factor)
        except ArithmeticError as error:
            raise NotPositiveDefinite(str(error)) from error

    def solve(self, right_side: np.ndarray) -> np.ndarray:
        """Solution of matrix @ x = right_side, same shape."""
        x = self._dense(np.asfortranarray(right_side.reshape(len(right_side), -1)))
        self._cholmod.solve(self._factor, x)
        return np.array(x).reshape(right_side.shape)
