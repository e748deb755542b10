"""Steady temperatures: one Cholesky factor, and for k(T) and nearly equal problems steps that share it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.coupled import Coupled
from plancha.fem.sheets import Sheets
from plancha.fem.slabs import Slab, changing_heat, slab_entries, summed
from plancha.geometry.faults import Failure
from plancha.geometry.materials import is_nonlinear

STEPS = 40
MEMORY = 5  # steps that the next one learns from
HOTTEST = 1e5  # K; a search that gets there, or to 0 K, has run away
SETTLED = 1e-11  # see ``solve``
ROUNDING = 4 * np.finfo(float).eps  # share of all that a row adds up: what is left below it, rounding has left
SLOW = 0.5  # a factor whose last two steps leave more than this share of the imbalance is made anew


class SolveFailed(Failure):
    """The computation did not reach a valid answer; the message carries residual or imbalance."""


@dataclass(frozen=True)
class System:
    """A problem's matrix with conductivities at some temperatures, and the factor of its free part."""

    sheets: Sheets
    matrix: sp.csr_array
    factor: Cholesky | Coupled

    def rises(self, heat: np.ndarray) -> np.ndarray:
        """Temperature changes (size,) or (size, columns) [K] by heat [W] of that shape, all coolants and held unknowns at 0."""
        free = free_unknowns(self.sheets)
        full = np.zeros_like(heat)
        if len(free):
            full[free] = self.factor.solve(heat[free])
        return full

    def responses(self, weights: np.ndarray) -> np.ndarray:
        """How a quantity, given by its weights (size,), responds to heat placed at each unknown (size,): the adjoint."""
        free = free_unknowns(self.sheets)
        full = np.zeros_like(weights)
        full[free] = self.factor.solve_transposed(weights[free])
        return full

    def temperatures(self, heat: np.ndarray) -> np.ndarray:
        """Temperatures (size,) [K] with all coolants and held unknowns at their own temperatures."""
        held = np.zeros(self.sheets.size)
        held[self.sheets.held] = self.sheets.held_temperatures
        return held + self.rises(heat + self.sheets.coolant_heat - self.matrix @ held)


@dataclass(frozen=True)
class Solution:
    """Temperatures (unknowns,) [K] at given source powers [W], and the steps it took.

    ``near`` is a factorised system of the same unknowns, the same or nearly the same: where another solve may start.
    """

    sheets: Sheets
    near: System
    powers: np.ndarray
    temperature: np.ndarray
    steps: int

    @cached_property
    def heat(self) -> np.ndarray:
        """Heat (unknowns,) [W] that the sources bring."""
        return self.powers @ self.sheets.unit_loads

    def face(self, body: int, face: int) -> np.ndarray:
        """Temperatures on a body's face at all plan nodes [K]; NaN off the body."""
        slab = self.sheets.slabs[body]
        values = np.full(len(self.sheets.space.nodes), np.nan)
        values[slab.pattern.nodes] = self.temperature[slab.unknowns[:, slab.through.face(face)]]
        return values

    @cached_property
    def matrix(self) -> sp.csr_array:
        """The matrix that the temperatures satisfy."""
        return conduction_matrix(self.sheets, self.temperature)

    @cached_property
    def system(self) -> System:
        """The system with the solution's own conductivities, factorised."""
        is_own = is_linear(self.sheets) and self.near.sheets is self.sheets
        return self.near if is_own else factorised(self.sheets, self.temperature)

    @cached_property
    def nodal_heat(self) -> np.ndarray:
        """Heat (unknowns,) [W] that each unknown gives to what holds it: nothing but at held unknowns."""
        return self.heat + self.sheets.coolant_heat - self.matrix @ self.temperature

    def held_heat(self, number: int) -> float:
        """Heat [W] that leaves by one of the sheets' held places."""
        return float(self.nodal_heat[self.sheets.held][self.sheets.held_owner == number].sum())


def free_unknowns(sheets: Sheets) -> np.ndarray:
    """Numbers of the unknowns that are not held."""
    free = np.ones(sheets.size, bool)
    free[sheets.held] = False
    return np.flatnonzero(free)


def conduction_matrix(sheets: Sheets, temperature: np.ndarray | None) -> sp.csr_array:
    """The whole matrix with k(T) at the given temperatures (at the reference where None)."""
    changing = [slab for slab in sheets.slabs if is_nonlinear(slab.body.material)]
    if not changing:
        return sheets.constant
    if temperature is not None:
        _refuse_runaway(temperature)
    reference = sheets.stack.reference
    bodies = [slab_entries(sheets.space, slab, reference, temperature) for slab in changing]
    return sheets.constant + summed(bodies, sheets.size)


def factorised(sheets: Sheets, temperature: np.ndarray | None = None) -> System:
    """System with k(T) at the given temperatures (at the reference where None) and its own factor."""
    matrix = conduction_matrix(sheets, temperature)
    free = free_unknowns(sheets)
    if not sheets.streams:
        return System(sheets, matrix, Cholesky(matrix if len(free) == sheets.size else matrix[free][:, free]))
    solids, cells = free[free < sheets.solid], np.arange(sheets.solid, sheets.size)
    down, across = matrix[solids], matrix[cells]
    factor = Cholesky(down[:, solids])
    return System(sheets, matrix, Coupled(factor, -down[:, cells], -across[:, solids], across[:, cells].tocsc()))


def is_linear(sheets: Sheets) -> bool:
    """Whether no conductivity depends on temperature."""
    return not any(is_nonlinear(slab.body.material) for slab in sheets.slabs)


def solve(
    sheets: Sheets, powers: np.ndarray | None = None, start: Solution | None = None, settled: float = SETTLED
) -> Solution:
    """Steady temperatures of a discrete problem.

    Parameters
    ----------
    powers : array (sources,), [W]
        Of each source; its own if left out.
    start : Solution
        Of sheets with the same unknowns: its factor and temperatures are where the search starts.
    settled : float, [-]
        Share of all heat, coolants' included, out of balance at which the temperatures count as settled.

    Raises
    ------
    SolveFailed
        If they do not settle.
    """
    powers = sheets.powers if powers is None else np.asarray(powers, float)
    system = factorised(sheets) if start is None else start.near
    if start is None or (is_linear(sheets) and system.sheets is sheets):
        temperature = system.temperatures(powers @ sheets.unit_loads)
    else:
        temperature = start.temperature + (sheets.stack.reference - start.sheets.stack.reference)
        temperature[sheets.held] = sheets.held_temperatures
    if is_linear(sheets) and system.sheets is sheets:
        return Solution(sheets, system, powers, temperature, 1)
    return _settle(sheets, powers, system, temperature, settled)


def _settle(sheets: Sheets, powers: np.ndarray, system: System, temperature: np.ndarray, settled: float) -> Solution:
    """Steps with a fixed factor: each solves for what the heat balance still lacks; a slow one factors anew."""
    heat = powers @ sheets.unit_loads + sheets.coolant_heat
    path: list[tuple[np.ndarray, np.ndarray]] = []
    residuals: list[float] = []
    for step in range(1, STEPS + 1):
        if not is_linear(sheets):
            _refuse_runaway(temperature)
        lacking = heat - conducted(sheets, temperature)
        moving = float(np.abs(heat).sum() + np.abs(lacking[sheets.held]).sum())
        lacking[sheets.held] = 0.0
        residuals.append(float(np.abs(lacking).sum()) / max(moving, 1e-300))
        if not np.isfinite(residuals[-1]):
            break
        solution = Solution(sheets, system, powers, temperature, step)
        is_slow = residuals[-1] > SLOW * residuals[-3] if len(residuals) > 2 else residuals[-1] > residuals[0]
        if residuals[-1] < settled or (is_slow and _is_rounding(solution, lacking)):
            return solution
        if is_slow:
            system, path, residuals = factorised(sheets, temperature), [], residuals[-1:]
        path = [*path[-MEMORY:], (temperature, system.rises(lacking))]
        temperature = accelerated(path)
    raise SolveFailed(
        f"the temperatures did not settle in {STEPS} steps: {residuals[-1]:.2g} of the heat is still out of balance"
    )


def conducted(sheets: Sheets, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that leaves each unknown at temperatures (unknowns,) [K], k(T) at these, coolants at 0 K."""
    return sheets.constant @ temperature + sum(changing_heat(part, temperature) for part in sheets.changing)


def accelerated(path: list[tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """The next state after those of a path, each with the step a plain iteration would make from it (Anderson 1965, from memory).

    The last steps tell how states change what is still wanted; the mixture of them is taken that should want least.
    """
    states, wanted = (np.array(each) for each in zip(*path))
    turns, moves = np.diff(wanted, axis=0), np.diff(states, axis=0)
    weights = np.linalg.lstsq(turns @ turns.T, turns @ wanted[-1], rcond=1e-14)[0]
    return states[-1] + wanted[-1] - weights @ (moves + turns)


def _refuse_runaway(temperature: np.ndarray) -> None:
    coldest, hottest = float(temperature.min()), float(temperature.max())
    if not 0.0 < coldest <= hottest < HOTTEST:
        raise SolveFailed(
            f"k(T) did not settle, the search ran off to {coldest:.3g} ... {hottest:.3g} K: where conductivity falls as it gets "
            "hotter, this much heat may have no steady temperature; check powers and ways out of the heat"
        )


def _is_rounding(solution: Solution, lacking: np.ndarray) -> bool:
    """Whether what the balance lacks is no more than rounding: thin bodies make large terms that all but cancel."""
    terms = abs(solution.matrix) @ np.abs(solution.temperature)
    return bool(np.abs(lacking).sum() <= ROUNDING * terms.sum())


def slab_temperature(solution: Solution, slab: Slab) -> np.ndarray:
    """Temperatures of a body (plan nodes, thickness nodes) [K]."""
    return solution.temperature[slab.unknowns]
