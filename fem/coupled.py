"""Solve solids and coolants together, by flexible GMRES.

    [ A  -P ] [solid  ]   [b]
    [-g   F ] [coolant] = [c]      F marches down the flow (triangular)

Where A has a factor, the solids are eliminated, (F - g A^-1 P) coolant = c + g A^-1 b, and GMRES looks for the coolants' few
temperatures. Where A is iterated for, GMRES looks for all, led by the coarsest mesh, which takes solids and coolants together, and by
a cycle of the solids. The matrix is not symmetric: ``solve_transposed`` serves adjoints.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.multigrid import Multigrid, side_by_side
from plancha.geometry.faults import Failure

TIGHT = 1e-11  # residual of the balances over their right side
STEPS = 60  # of one GMRES run
RUNS = 4
AT_ONCE = 4  # columns that are solved for together
LED = 1e-3  # what the coarsest mesh leaves of its own balances
ROUNDING = 1e-15  # of a step: one that turns no further has found all

Step = Callable[[np.ndarray], np.ndarray]


class CoolantFailed(Failure):
    """The coolant's temperatures were not found; the message carries the residual."""


@dataclass(frozen=True)
class Marching:
    """A triangular ``matrix`` (cells, cells) and its factor, which all that march by it share."""

    matrix: sp.csc_array

    @cached_property
    def factor(self):
        """By SuperLU, as it stands."""
        from scipy.sparse.linalg import splu

        return splu(self.matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0)


@dataclass(frozen=True)
class Coupling:
    """What joins solids and coolants: P (solids, cells), g (cells, solids) and F (cells, cells).

    ``marching`` is F, or, where ``way`` is "T", F transposed.
    """

    into_solids: sp.csr_array
    into_cells: sp.csr_array
    marching: Marching
    way: str = "N"

    def march(self, heat: np.ndarray) -> np.ndarray:
        """F^-1 times the cells' heat (cells, ...)."""
        return self.marching.factor.solve(heat, self.way)

    def balance(self, coolant: np.ndarray) -> np.ndarray:
        """F times the coolants' temperatures (cells, ...)."""
        matrix = self.marching.matrix
        return (matrix if self.way == "N" else matrix.T) @ coolant

    @cached_property
    def transposed(self) -> "Coupling":
        """That of the transposed whole."""
        return Coupling(self.into_cells.T.tocsr(), self.into_solids.T.tocsr(), self.marching, "T")


@dataclass(frozen=True)
class Coupled:
    """What solves for solids and coolants together."""

    solids: Cholesky | Multigrid
    coupling: Coupling

    @cached_property
    def _coarsest(self) -> "Coupled":
        """The same on the coarsest mesh."""
        assert isinstance(self.solids, Multigrid)
        onto, own = self.solids.onto_coarsest, self.coupling
        return Coupled(
            self.solids.coarsest, replace(own, into_solids=onto.T @ own.into_solids, into_cells=own.into_cells @ onto)
        )

    @cached_property
    def _transposed(self) -> "Coupled":
        """The transposed whole."""
        return replace(self, coupling=self.coupling.transposed)

    def solve(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution of the whole for (n,) or (n, columns), same shape; ``tight`` is what may be left of the balances."""
        columns = right_side.reshape(len(right_side), -1)
        found = np.empty_like(columns)
        if isinstance(self.solids, Multigrid):
            together = partial(self._together, self.solids, self._coarsest, tight)
            for column, own in zip(found.T, side_by_side(together, columns)):
                column[:] = own
        else:
            for first in range(0, columns.shape[1], AT_ONCE):
                some = slice(first, first + AT_ONCE)
                found[:, some] = self._eliminated(columns[:, some], tight)
        return found.reshape(right_side.shape)

    def solve_transposed(self, right_side: np.ndarray, tight: float = TIGHT) -> np.ndarray:
        """Solution of the transposed whole, same shapes."""
        return self._transposed.solve(right_side, tight)

    def _eliminated(self, right_side: np.ndarray, tight: float) -> np.ndarray:
        """Solution for some columns (n, columns), the solids' temperatures eliminated."""
        own, count = self.coupling, self.coupling.into_solids.shape[0]

        solid = self.solids.solve(right_side[:count])

        def times(state: np.ndarray) -> np.ndarray:
            """What the coolants of a state lack, whose solids have all that they need."""
            return own.balance(state[count:]) - own.into_cells @ state[:count]

        def lead(left: np.ndarray) -> np.ndarray:
            """Coolants that balance what is left, and what the solids answer to them."""
            coolant = own.march(left)
            return np.concatenate([self.solids.solve(own.into_solids @ coolant), coolant])

        found = settled(times, right_side[count:] + own.into_cells @ solid, tight, lead)
        found[:count] += solid
        return found

    def _together(self, solids: Multigrid, coarsest: "Coupled", tight: float, right_side: np.ndarray) -> np.ndarray:
        """Solution for one right side (n,)."""
        own, count = self.coupling, self.coupling.into_solids.shape[0]

        def times(state: np.ndarray) -> np.ndarray:
            solid, coolant = state[:count], state[count:]
            of_solids = solids.times(solid) - own.into_solids @ coolant
            return np.concatenate([of_solids, own.balance(coolant) - own.into_cells @ solid])

        def lead(left: np.ndarray) -> np.ndarray:
            """Nearly the solution: the coarsest mesh's, the solids bettered by a cycle, the coolants by what these give them."""
            onto = solids.onto_coarsest
            coarse = coarsest.solve(np.concatenate([onto.T @ left[:count], left[count:]]), LED)
            solid, coolant = onto @ coarse[: onto.shape[1]], coarse[onto.shape[1] :]
            solid += solids.cycle(left[:count] - solids.times(solid) + own.into_solids @ coolant)
            return np.concatenate([solid, own.march(left[count:] + own.into_cells @ solid)])

        return settled(times, right_side, tight, lead)


def settled(times: Step, wanted: np.ndarray, tight: float, lead: Step) -> np.ndarray:
    """The x with times(x) = wanted, each any shape taken as one vector; ``lead`` nearly finds it, and of nothing makes nothing.

    Flexible GMRES (Saad 1993, from memory).

    Raises
    ------
    CoolantFailed
        If far more than ``tight`` of what is wanted is left.
    """
    size = float(np.linalg.norm(wanted))
    if size == 0:
        return lead(wanted)
    found, left = np.zeros(()), wanted
    for _ in range(RUNS):
        found = found + _run(times, left, lead, tight * size)
        left = wanted - times(found)
        if np.linalg.norm(left) <= tight * size:
            return found
    share = float(np.linalg.norm(left)) / size
    if share > 1e2 * tight:
        raise CoolantFailed(f"the coolant's temperatures did not settle: {share:.2g} of their balance is left")
    return found


def _run(times: Step, wanted: np.ndarray, lead: Step, enough: float) -> np.ndarray:
    """As ``settled``, from nothing and at most STEPS steps, until so little is left."""
    size = float(np.linalg.norm(wanted))
    basis, led = [wanted / size], []
    projected = np.zeros((STEPS + 1, STEPS))
    for step in range(STEPS):
        led.append(lead(basis[step]))
        following = times(led[step])
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
    return sum((w * each for w, each in zip(weights, led)), np.zeros_like(led[0]))
