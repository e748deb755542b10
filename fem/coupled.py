"""Solve solids and coolants together: one Cholesky factor of the solids, and GMRES on the coolants' few temperatures.

    [ A  -P ] [solid  ]   [b]
    [-g   F ] [coolant] = [c]      F marches down the flow (triangular);   eliminated:  (F - g A^-1 P) coolant = c + g A^-1 b

The matrix is not symmetric: ``solve_transposed`` serves adjoints.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.geometry.faults import Failure

TIGHT = 1e-13  # residual of the coolant's balances over their right side
STEPS = 60  # of one GMRES run
RUNS = 4


class CoolantFailed(Failure):
    """The coolant's temperatures were not found; the message carries the residual."""


@dataclass(frozen=True)
class Coupled:
    """Factor of solids and coolants together: A by Cholesky, P (solids, cells), g (cells, solids), F (cells, cells) triangular."""

    solids: Cholesky
    coupling: sp.csr_array
    exchange: sp.csr_array
    marching: sp.csc_array

    @cached_property
    def _march(self):
        from scipy.sparse.linalg import splu

        return splu(self.marching, permc_spec="NATURAL", diag_pivot_thresh=0.0)

    def solve(self, right_side: np.ndarray) -> np.ndarray:
        """Solution of the whole for (n,) or (n, columns), same shape."""
        return self._solved(right_side, self.coupling, self.exchange, lambda x: self._march.solve(x))

    def solve_transposed(self, right_side: np.ndarray) -> np.ndarray:
        """Solution of the transposed whole, same shapes."""
        coupling, exchange = self.exchange.T.tocsr(), self.coupling.T.tocsr()
        return self._solved(right_side, coupling, exchange, lambda x: self._march.solve(x, "T"))

    def _solved(self, right_side: np.ndarray, coupling: sp.csr_array, exchange: sp.csr_array, march) -> np.ndarray:
        count = coupling.shape[0]
        columns = right_side.reshape(len(right_side), -1)
        solid = self.solids.solve(columns[:count])
        wanted = columns[count:] + exchange @ solid

        def lacking(y: np.ndarray) -> np.ndarray:
            """(I - g A^-1 P F^-1) y, all columns at once."""
            y = y.reshape(wanted.shape)
            return (y - exchange @ self.solids.solve(coupling @ march(y))).ravel()

        coolant = march(_gmres(lacking, wanted.ravel()).reshape(wanted.shape))
        solid = solid + self.solids.solve(coupling @ coolant)
        return np.concatenate([solid, coolant]).reshape(right_side.shape)


def _gmres(operator, right_side: np.ndarray) -> np.ndarray:
    """Solution of operator(y) = right_side, all columns as one vector."""
    from scipy.sparse.linalg import LinearOperator, gmres

    size = float(np.linalg.norm(right_side))
    if size == 0:
        return right_side
    shape = (len(right_side), len(right_side))
    linear = LinearOperator(shape, matvec=operator, dtype=float)
    found, status = gmres(linear, right_side, rtol=TIGHT, restart=STEPS, maxiter=RUNS)
    left = float(np.linalg.norm(operator(found) - right_side)) / size if status else 0.0
    if left > 1e3 * TIGHT:
        raise CoolantFailed(f"the coolant's temperatures did not settle: {left:.2g} of their balance is left")
    return found
