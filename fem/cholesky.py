"""Sparse Cholesky by CHOLMOD (through cvxopt), for symmetric positive definite matrices."""

import numpy as np
import scipy.sparse as sp

from plancha.geometry.faults import Failure

FEW = 2  # columns that are solved for one by one; more of them CHOLMOD takes four at a time, as a sparse matrix, quicker if that is
SPARSE = 0.1  # share of entries that are something


class NotPositiveDefinite(Failure):
    """The matrix has no Cholesky factor: a part of the model is tied to nothing."""


class Cholesky:
    """Factor of a symmetric positive definite sparse matrix; ``solve`` takes (n,) or (n, columns).

    How ``tight`` a solution is asked for is of use to those that iterate: a factor's is as tight as can be.
    """

    def __init__(self, matrix: sp.csr_array):
        from cvxopt import cholmod

        self._cholmod = cholmod
        rows = np.repeat(np.arange(matrix.shape[0], dtype=matrix.indices.dtype), np.diff(matrix.indptr))
        kept = matrix.indices <= rows
        # The lower triangle row by row is the upper one column by column, which is how the other side keeps it.
        upper = sp.coo_array((matrix.data[kept], (matrix.indices[kept], rows[kept])), matrix.shape)
        system = exchanged(upper)
        self._factor = cholmod.symbolic(system, uplo="U")
        try:
            cholmod.numeric(system, self._factor)
        except ArithmeticError as error:
            raise NotPositiveDefinite(str(error)) from error

    def solve(self, right_side: np.ndarray, tight: float = 0.0) -> np.ndarray:
        """Solution of matrix @ x = right_side, same shape."""
        from cvxopt import matrix as dense

        columns = right_side.reshape(len(right_side), -1)
        if columns.shape[1] > FEW and np.count_nonzero(columns) < SPARSE * columns.size:
            found = self._cholmod.spsolve(self._factor, exchanged(sp.coo_array(columns)))
            starts, rows, values = (np.array(part).ravel() for part in found.CCS)
            return sp.csc_array((values, rows, starts), shape=columns.shape).toarray()
        x = dense(np.asfortranarray(columns))
        self._cholmod.solve(self._factor, x)
        return np.array(x).reshape(right_side.shape)

    def solve_transposed(self, right_side: np.ndarray, tight: float = 0.0) -> np.ndarray:
        """The same: the matrix is symmetric."""
        return self.solve(right_side, tight)


def exchanged(matrix: sp.coo_array):
    """The matrix as CHOLMOD takes it."""
    from cvxopt import matrix as dense
    from cvxopt import spmatrix

    rows, columns = (dense(numbers.astype(np.int64)) for numbers in matrix.coords)
    return spmatrix(dense(np.ascontiguousarray(matrix.data)), rows, columns, matrix.shape)
