"""Solve solids and coolants together: one Cholesky factor of the solids, and GMRES on the coolants' few temperatures.

    [ A  -P ] [solid  ]   [b]
    [-g   F ] [coolant] = [c]      F marches down the flow (triangular);   eliminated:  (F - g A^-1 P) coolant = c + g A^-1 b

The matrix is not symmetric: ``solve_transposed`` serves adjoints.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.multigrid import Multigrid
from plancha.geometry.faults import Failure

TIGHT = 1e-11  # residual of the coolant's balances over their right side
WITHIN = 0.1  # times what is left of the coolant's balances may be left of the solids', where these are iterated for
STEPS = 60  # of one GMRES run
RUNS = 4
AT_ONCE = 4  # columns that are solved for together: the answers of all steps are kept
ROUNDING = 1e-15  # of a step: one that turns no further has found all

Step = Callable[[np.ndarray], np.ndarray]


class CoolantFailed(Failure):
    """The coolant's temperatures were not found; the message carries the residual."""


@dataclass(frozen=True)
class Coupled:
    """Factor of solids and coolants together: A by Cholesky, P (solids, cells), g (cells, solids), F (cells, cells) triangular."""

    solids: Cholesky | Multigrid
    coupling: sp.csr_array
    exchange: sp.csr_array
    marching: sp.csc_array

    @cached_property
    def _march(self):
        from scipy.sparse.linalg import splu

        return splu(self.marching, permc_spec="NATURAL", diag_pivot_thresh=0.0)

    def solve(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution of the whole for (n,) or (n, columns), same shape; ``tight`` is what may be left of the balances."""
        return self._solved(right_side, self.coupling, self.exchange, lambda x: self._march.solve(x), tight)

    def solve_transposed(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution of the transposed whole, same shapes."""
        coupling, exchange = self.exchange.T.tocsr(), self.coupling.T.tocsr()
        return self._solved(right_side, coupling, exchange, lambda x: self._march.solve(x, "T"), tight)

    def _solved(
        self, right_side: np.ndarray, coupling: sp.csr_array, exchange: sp.csr_array, march: Step, tight: float
    ) -> np.ndarray:
        count = coupling.shape[0]
        columns = right_side.reshape(len(right_side), -1)
        found = np.empty_like(columns)
        for first in range(0, columns.shape[1], AT_ONCE):
            some = columns[:, first : first + AT_ONCE]
            solid = self.solids.solve(some[:count], WITHIN * tight)
            wanted = some[count:] + exchange @ solid

            def answer(y: np.ndarray) -> np.ndarray:
                """What the solids (solids, columns) answer to the coolant that balances y: A^-1 P F^-1 y."""
                return self.solids.solve(coupling @ march(y), WITHIN * tight)

            y, answered = settled(answer, exchange, wanted, tight)
            found[:, first : first + AT_ONCE] = np.concatenate([solid + answered, march(y)])
        return found.reshape(right_side.shape)


def settled(
    answer: Step, exchange: sp.csr_array, wanted: np.ndarray, tight: float = TIGHT
) -> tuple[np.ndarray, np.ndarray]:
    """The y (cells, columns) with y - g answer(y) = wanted, and its answer (solids, columns), which the steps add up.

    GMRES (Saad and Schultz 1986, from memory) on all columns as one vector: of each step the answer is kept, so that
    none is asked for twice.

    Raises
    ------
    CoolantFailed
        If far more than ``tight`` of what is wanted is left.
    """
    y, answered = np.zeros_like(wanted), np.zeros((exchange.shape[1], wanted.shape[1]))
    size = float(np.linalg.norm(wanted))
    for _ in range(RUNS):
        left = wanted - y + exchange @ answered
        if np.linalg.norm(left) <= tight * size:
            return y, answered
        step, more = _run(answer, exchange, left, tight * size)
        y, answered = y + step, answered + more
    left = float(np.linalg.norm(wanted - y + exchange @ answered)) / size
    if left > 1e2 * tight:
        raise CoolantFailed(f"the coolant's temperatures did not settle: {left:.2g} of their balance is left")
    return y, answered


def _run(answer: Step, exchange: sp.csr_array, wanted: np.ndarray, enough: float) -> tuple[np.ndarray, np.ndarray]:
    """As ``settled``, from nothing and at most STEPS steps, until so little is left."""
    size = float(np.linalg.norm(wanted))
    basis, answers = [wanted / size], []
    projected = np.zeros((STEPS + 1, STEPS))
    for step in range(STEPS):
        answers.append(answer(basis[step]))
        following = basis[step] - exchange @ answers[step]
        for _ in range(2):  # once more for what rounding leaves
            for number, each in enumerate(basis):
                along = float(np.vdot(each, following))
                projected[number, step] += along
                following = following - along * each
        projected[step + 1, step] = np.linalg.norm(following)
        target = np.r_[size, np.zeros(step + 1)]
        weights = np.linalg.lstsq(projected[: step + 2, : step + 1], target, rcond=None)[0]
        left = np.linalg.norm(projected[: step + 2, : step + 1] @ weights - target)
        if left <= enough or projected[step + 1, step] <= ROUNDING:
            break
        basis.append(following / projected[step + 1, step])
    return sum(w * each for w, each in zip(weights, basis)), sum(w * each for w, each in zip(weights, answers))
