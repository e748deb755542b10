"""Steady temperatures: one Cholesky factor, and for k(T) Picard steps that share it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.cholesky import Cholesky
from plancha.fem.sheets import Sheets, Slab, slab_entries, summed
from plancha.geometry.faults import Failure
from plancha.geometry.materials import is_nonlinear

PICARD_STEPS = 40
HOTTEST = 1e5  # K; a search that gets there, or to 0 K, has run away
SETTLED = 1e-11  # see ``solve``
ROUNDING = 4 * np.finfo(float).eps  # share of all that a row adds up: what is left below it, rounding has left
SLOW = 0.5  # a step that leaves more than this share of the imbalance calls for a new factor


class SolveFailed(Failure):
    """The computation did not reach a valid answer; the message carries residual or imbalance."""


@dataclass(frozen=True)
class System:
    """A problem's matrix with conductivities at some temperatures, and the factor of its free part."""

    sheets: Sheets
    matrix: sp.csr_array
    factor: Cholesky

    def rises(self, heat: np.ndarray) -> np.ndarray:
        """Temperature changes (size,) or (size, columns) [K] by heat [W] of that shape, all coolants and held unknowns at 0."""
        free = free_unknowns(self.sheets)
        full = np.zeros_like(heat)
        if len(free):
            full[free] = self.factor.solve(heat[free])
        return full

    def temperatures(self, heat: np.ndarray) -> np.ndarray:
        """Temperatures (size,) [K] with all coolants and held unknowns at their own temperatures."""
        held = np.zeros(self.sheets.size)
        held[self.sheets.held] = self.sheets.held_temperatures
        return held + self.rises(heat + self.sheets.coolant_heat - self.matrix @ held)


@dataclass(frozen=True)
class Solution:
    """Temperatures (unknowns,) [K] at given source powers [W], the matrix they satisfy, and the steps it took.

    ``near`` is a factorised system of these, or nearly these, conductivities: where another solve may start.
    """

    sheets: Sheets
    near: System
    matrix: sp.csr_array
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
    def system(self) -> System:
        """The system with the solution's own conductivities, factorised."""
        return self.near if self.near.matrix is self.matrix else factorised(self.sheets, self.temperature)

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
    return sheets.constant + summed([slab_entries(sheets, slab, temperature) for slab in changing], sheets.size)


def factorised(sheets: Sheets, temperature: np.ndarray | None = None) -> System:
    """System with k(T) at the given temperatures (at the reference where None) and its own factor."""
    matrix = conduction_matrix(sheets, temperature)
    free = free_unknowns(sheets)
    return System(sheets, matrix, Cholesky(matrix[free][:, free]))


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
        Of the same sheets at other powers: its factor and temperatures are where the search starts.
    settled : float, [-]
        Share of all heat, coolants' included, out of balance at which k(T) counts as settled.

    Raises
    ------
    SolveFailed
        If k(T) does not settle.
    """
    powers = sheets.powers if powers is None else np.asarray(powers, float)
    system = factorised(sheets) if start is None else start.near
    if is_linear(sheets):
        return Solution(sheets, system, system.matrix, powers, system.temperatures(powers @ sheets.unit_loads), 1)
    temperature = system.temperatures(powers @ sheets.unit_loads) if start is None else start.temperature
    if start is None or is_linear(start.sheets):
        system = factorised(sheets, temperature)
    return _settle(sheets, powers, system, temperature, settled)


def _settle(sheets: Sheets, powers: np.ndarray, system: System, temperature: np.ndarray, settled: float) -> Solution:
    """k(T) by Picard steps with a fixed factor: each solves for what the heat balance still lacks; a slow one factors anew."""
    free = free_unknowns(sheets)
    before = np.inf
    for step in range(1, PICARD_STEPS + 1):
        solution = Solution(sheets, system, conduction_matrix(sheets, temperature), powers, temperature, step)
        lacking = solution.nodal_heat[free]
        residual = float(np.abs(lacking).sum()) / max(heat_that_moves(solution), 1e-300)
        if not np.isfinite(residual):
            break
        if residual < settled or (residual > SLOW * before and _is_rounding(solution, lacking)):
            return solution
        if residual > SLOW * before:
            system = factorised(sheets, temperature)
        temperature = temperature.copy()
        temperature[free] += system.factor.solve(lacking)
        before = residual
    raise SolveFailed(
        f"k(T) did not settle in {PICARD_STEPS} steps: {residual:.2g} of the heat is still out of balance"
    )


def _refuse_runaway(temperature: np.ndarray) -> None:
    coldest, hottest = float(temperature.min()), float(temperature.max())
    if not 0.0 < coldest <= hottest < HOTTEST:
        raise SolveFailed(
            f"k(T) did not settle, the search ran off to {coldest:.3g} ... {hottest:.3g} K: where conductivity falls as it gets "
            "hotter, this much heat may have no steady temperature; check powers and ways out of the heat"
        )


def heat_that_moves(solution: Solution) -> float:
    """Heat [W] that sources, coolants (from 0 K) and held places bring or take: what a residual is compared with."""
    sheets = solution.sheets
    held = float(np.abs(solution.nodal_heat[sheets.held]).sum())
    return float(np.abs(solution.heat + sheets.coolant_heat).sum()) + held


def _is_rounding(solution: Solution, lacking: np.ndarray) -> bool:
    """Whether what the balance lacks is no more than rounding: thin bodies make large terms that all but cancel."""
    terms = abs(solution.matrix) @ np.abs(solution.temperature)
    return bool(np.abs(lacking).sum() <= ROUNDING * terms.sum())


def slab_temperature(solution: Solution, slab: Slab) -> np.ndarray:
    """Temperatures of a body (plan nodes, thickness nodes) [K]."""
    return solution.temperature[slab.unknowns]
