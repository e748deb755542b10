"""Steady temperatures: one Cholesky factor, and for k(T), films that follow their face's temperature and nearly equal problems steps
that share it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plancha.fem.cholesky import Cholesky
from plancha.fem.columns import bodies_of
from plancha.fem.coupled import Coupled, Coupling, Marching
from plancha.fem.exchanges import Exchange
from plancha.fem.films import LEAST_RISE
from plancha.fem.multigrid import Multigrid
from plancha.fem.plan import Peak, maxima
from plancha.fem.sheets import Sheets, source_elements
from plancha.fem.slabs import Slab, changing_heat, slab_term
from plancha.fem.terms import Operator, place_of
from plancha.geometry.faults import Failure

STEPS = 40
LOOSE = 1e-3  # what an iteration within one step may leave of what the step solves for
MEMORY = 5  # steps that the next one learns from
HOTTEST = 1e5  # K; a search that gets there, or to 0 K, has run away
SETTLED = 1e-11  # see ``solve``
ROUNDING = 4 * np.finfo(float).eps  # share of all that a row adds up: what is left below it, rounding has left
LEAST_SHARE = 0.5  # of the coldest surroundings' temperature, which no search with unforced films goes below
SLOW = 0.5  # a factor whose last two steps leave more than this share of the imbalance is made anew


class SolveFailed(Failure):
    """The computation did not reach a valid answer; the message carries residual or imbalance."""


@dataclass(frozen=True)
class System:
    """A problem's matrix with conductivities at some temperatures, and the factor of its free part."""

    sheets: Sheets
    matrix: Operator
    factor: Cholesky | Multigrid | Coupled

    def step(self, heat: np.ndarray) -> np.ndarray:
        """As ``rises`` (size,), only as tightly as a step needs that others follow."""
        return self.rises(heat, LOOSE)

    def rises(self, heat: np.ndarray, tight: float | None = None) -> np.ndarray:
        """Temperature changes (size,) or (size, columns) [K] by heat [W] of that shape, all coolants and held unknowns at 0.

        ``tight`` is what an iteration may leave of its right side, if not as little as it can.
        """
        return self._solved(self.factor.solve, heat, tight)

    def responses(self, weights: np.ndarray, tight: float | None = None) -> np.ndarray:
        """How quantities, given by their weights (size,) or (size, columns), respond to heat placed at each unknown: the adjoint.

        ``tight`` as above.
        """
        return self._solved(self.factor.solve_transposed, weights, tight)

    def _solved(self, solve: Callable[..., np.ndarray], right_side: np.ndarray, tight: float | None) -> np.ndarray:
        free = free_unknowns(self.sheets)
        full = np.zeros_like(right_side)
        if len(free):
            full[free] = solve(right_side[free]) if tight is None else solve(right_side[free], tight)
        return full

    def temperatures(self, heat: np.ndarray) -> np.ndarray:
        """Temperatures (size,) [K] with all coolants and held unknowns at their own temperatures; without unforced films."""
        level = self.sheets.stack.reference  # rises are solved for: small ones keep their digits
        held = np.zeros(self.sheets.size)
        held[self.sheets.held] = self.sheets.held_temperatures - level
        return level + held + self.rises(heat + self.sheets.coolant_heat_above(level) - self.matrix @ held)


@dataclass(frozen=True)
class Solution:
    """Temperatures (unknowns,) [K] at given source powers [W], and the steps it took.

    ``near`` is a factorised system of the same unknowns, the same or nearly the same: where another solve may start. ``asked`` [W] is
    what was asked of sources whose power follows temperature; None where all give off what is asked.
    """

    sheets: Sheets
    near: System
    powers: np.ndarray
    temperature: np.ndarray
    steps: int
    asked: np.ndarray | None = None

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
    def peaks(self) -> dict[str, Peak]:
        """Hottest point [K] of every component's active face, on the polynomial, by the component's name."""
        space, slabs, sources = self.sheets.space, self.sheets.slabs, self.sheets.stack.sources
        elements = [source_elements(slabs, space, source) for source in sources]
        faces = [
            self.face(source.chain[0], source.face)[space.element_nodes[own]] for source, own in zip(sources, elements)
        ]
        return dict(zip([source.name for source in sources], maxima(space, faces, elements)))

    @cached_property
    def matrix(self) -> Operator:
        """The operator that the temperatures satisfy, all coefficients as at these."""
        return conduction_matrix(self.sheets, self.temperature)

    @cached_property
    def system(self) -> System:
        """The system with the solution's own conductivities and coefficients, factorised."""
        is_own = is_linear(self.sheets) and self.near.sheets is self.sheets
        return self.near if is_own else _system(self.sheets, self.matrix)

    @cached_property
    def nodal_heat(self) -> np.ndarray:
        """Heat (unknowns,) [W] that each unknown gives to what holds it: nothing but at held unknowns."""
        return self.heat + coolant_heat(self.sheets, self.temperature) - self.matrix @ self.temperature

    def held_heat(self, number: int) -> float:
        """Heat [W] that leaves by one of the sheets' held places."""
        return float(self.nodal_heat[self.sheets.held][self.sheets.held_owner == number].sum())


def free_unknowns(sheets: Sheets) -> np.ndarray:
    """Numbers of the unknowns that are not held."""
    free = np.ones(sheets.size, bool)
    free[sheets.held] = False
    return np.flatnonzero(free)


def conduction_matrix(sheets: Sheets, temperature: np.ndarray | None) -> Operator:
    """The whole operator with k(T) and unforced films at the given temperatures; where None, at the reference, without such films."""
    films = [] if temperature is None else [each.at(temperature) for each in sheets.unforced]
    return _matrix(sheets, temperature, films)


def tangent_matrix(sheets: Sheets, temperature: np.ndarray) -> Operator:
    """The whole operator with k(T) at the given temperatures, and unforced films by their slopes: what a step is best made with.

    Slopes are spread over the face as its coefficient is, so that the matrix stays symmetric: exact for a face of one temperature.
    """
    return _matrix(sheets, temperature, [each.tangent(temperature) for each in sheets.unforced])


def _matrix(sheets: Sheets, temperature: np.ndarray | None, films: Sequence[Exchange]) -> Operator:
    changing = [slab for slab in sheets.slabs if slab.conduction.is_nonlinear]
    if not changing and not films:
        return sheets.constant
    if temperature is not None:
        _refuse_runaway(temperature)
    reference = sheets.stack.reference
    bodies = [slab_term(sheets.space, slab, reference, temperature) for slab in changing]
    return Operator(
        sheets.size, (*bodies, *(term for film in films for term in film.matrix.terms)), base=sheets.constant
    )


def factorised(sheets: Sheets, temperature: np.ndarray | None = None) -> System:
    """System with its own factor, as `conduction_matrix` has it at the given temperatures."""
    return _system(sheets, conduction_matrix(sheets, temperature))


def _system(sheets: Sheets, matrix: Operator) -> System:
    free = free_unknowns(sheets)
    solids = free[free < sheets.solid]
    factor = _solids_factor(sheets, matrix, solids)
    if not sheets.streams:
        return System(sheets, matrix, factor)
    further, place, cells = matrix.further, place_of(solids), slice(sheets.solid, sheets.size)
    coupling, exchange, marching = further[place][:, cells], further[cells][:, place], further[cells][:, cells]
    return System(sheets, matrix, Coupled(factor, Coupling(-coupling, -exchange, Marching(marching.tocsc()))))


def _solids_factor(sheets: Sheets, matrix: Operator, solids: np.ndarray) -> Cholesky | Multigrid:
    """What solves for the solids' free unknowns (numbers): directly where they are few or their mesh has no coarser one."""
    if not matrix.is_large or sheets.space.coarser is None:
        place = place_of(solids)  # a slice is quicker taken than numbers
        return Cholesky(matrix.csr if len(solids) == sheets.size else matrix.csr[place][:, place])
    return Multigrid(Operator(sheets.solid, matrix.terms), bodies_of(sheets.slabs), sheets.space, solids)


def is_linear(sheets: Sheets) -> bool:
    """Whether no conductivity and no film's coefficient depends on temperature."""
    return not sheets.unforced and not any(slab.conduction.is_nonlinear for slab in sheets.slabs)


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
        Share of all heat out of balance at which the temperatures count as settled; see `_moving`.

    Raises
    ------
    SolveFailed
        If they do not settle.
    """
    powers = sheets.powers if powers is None else np.asarray(powers, float)
    if sheets.unforced:
        return _settle(sheets, powers, *_unforced_start(sheets, powers, start), settled)
    system = factorised(sheets) if start is None else start.near
    if start is None or (is_linear(sheets) and system.sheets is sheets):
        temperature = system.temperatures(powers @ sheets.unit_loads)
    else:
        temperature = start.temperature + (sheets.stack.reference - start.sheets.stack.reference)
        temperature[sheets.held] = sheets.held_temperatures
    if is_linear(sheets) and system.sheets is sheets:
        return Solution(sheets, system, powers, temperature, 1)
    return _settle(sheets, powers, system, temperature, settled)


def _unforced_start(sheets: Sheets, powers: np.ndarray, start: Solution | None) -> tuple[System, np.ndarray]:
    """Factor and temperatures that a search with unforced films starts from: a start's, moved by what one body of one temperature
    would move; or that body's own temperature."""
    even = even_temperature(sheets, powers)
    if start is not None:
        temperature = start.temperature + (even - even_temperature(start.sheets, start.powers))
        temperature[sheets.held] = sheets.held_temperatures
        if temperature.min() > LEAST_SHARE * coldest_surroundings(sheets):
            return start.near, temperature
    temperature = np.full(sheets.size, even)
    temperature[sheets.held] = sheets.held_temperatures
    return _system(sheets, tangent_matrix(sheets, temperature)), temperature


def coldest_surroundings(sheets: Sheets) -> float:
    """Lowest temperature [K] of all that bodies exchange heat with."""
    around = [each.temperature for each in sheets.exchanges] + [each.network.inlet for each in sheets.streams]
    return float(min([*around, *sheets.held_temperatures]))


def even_temperature(sheets: Sheets, powers: np.ndarray) -> float:
    """Temperature [K] at which all bodies, were they one of one temperature, would give off all their heat: where searches start."""
    if len(sheets.held):
        return float(sheets.held_temperatures.mean())
    capacities = [state.capacity for state in sheets.states]
    flows = [
        (capacity * -np.expm1(-stream.conductance.sum() / capacity), stream.network.inlet)
        for stream, capacity in zip(sheets.streams, capacities)
    ]
    around = [each.temperature for each in sheets.exchanges] + [inlet for _, inlet in flows]
    power = float(powers.sum())

    def kept(temperature: float) -> float:
        level = np.full(sheets.size, temperature)
        lost = sum(each.heat(level) for each in sheets.exchanges)
        return power - lost - sum(conductance * (temperature - inlet) for conductance, inlet in flows)

    low, high = min(around), max(around) + 1.0
    while kept(high) > 0 and high < HOTTEST:
        low, high = high, 2 * high
    from scipy.optimize import brentq

    return float(brentq(kept, low, high, xtol=1e-6)) if kept(low) > 0 > kept(high) else low


def _settle(sheets: Sheets, powers: np.ndarray, system: System, temperature: np.ndarray, settled: float) -> Solution:
    """Steps with a fixed factor: each solves for what the heat balance still lacks; a slow one factors anew."""
    loads = powers @ sheets.unit_loads
    path: list[tuple[np.ndarray, np.ndarray]] = []
    residuals: list[float] = []
    for step in range(1, STEPS + 1):
        if not is_linear(sheets):
            _refuse_runaway(temperature)
        with np.errstate(invalid="ignore", over="ignore"):  # between nodes a search may pass 0 K
            lacking = loads + coolant_heat(sheets, temperature) - conducted(sheets, temperature)
        moving = _moving(sheets, loads, temperature) + float(np.abs(lacking[sheets.held]).sum())
        lacking[sheets.held] = 0.0
        residuals.append(float(np.abs(lacking).sum()) / max(moving, 1e-300))
        if not np.isfinite(residuals[-1]):
            raise _run_away(temperature)
        solution = Solution(sheets, system, powers, temperature, step)
        is_slow = residuals[-1] > SLOW * residuals[-3] if len(residuals) > 2 else residuals[-1] > residuals[0]
        if residuals[-1] < settled or (is_slow and _is_rounding(solution, lacking)):
            return solution
        if is_slow:
            system, path, residuals = _system(sheets, tangent_matrix(sheets, temperature)), [], residuals[-1:]
        path = [*path[-MEMORY:], (temperature, system.step(lacking))]
        following = accelerated(path)
        if not is_linear(sheets) and ran_off(following):  # a factor of another problem may lead anywhere
            system, residuals = _system(sheets, tangent_matrix(sheets, temperature)), residuals[-1:]
            path = [(temperature, system.step(lacking))]
            following = accelerated(path)
        temperature = following
        if sheets.unforced:  # radiation grows so fast that a step may overshoot 0 K, and come back
            temperature = np.maximum(temperature, LEAST_SHARE * coldest_surroundings(sheets))
    raise SolveFailed(
        f"the temperatures did not settle in {STEPS} steps: {residuals[-1]:.2g} of the heat is still out of balance"
    )


def conducted(sheets: Sheets, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that leaves each unknown at temperatures (unknowns,) [K], all coefficients at these, coolants at 0 K."""
    films = (each.coefficient_at(temperature) * (each.matrix @ temperature) for each in sheets.unforced)
    return (
        sheets.constant @ temperature + sum(changing_heat(part, temperature) for part in sheets.changing) + sum(films)
    )


def coolant_heat(sheets: Sheets, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that the coolants' own temperatures bring, all coefficients at temperatures (unknowns,) [K]."""
    films = (each.coefficient_at(temperature) * each.temperature * each.weights for each in sheets.unforced)
    return sheets.coolant_heat + sum(films)


def _moving(sheets: Sheets, loads: np.ndarray, temperature: np.ndarray) -> float:
    """What heat out of balance is a share of [W]: the sources' and all that coolants bring above 0 K.

    Beside films that follow their rise, however small, and coolants that carry far more than the sources bring, it is what the
    sources bring and what leaves, and at least the heat of LEAST_RISE.
    """
    if not sheets.unforced and not sheets.streams:
        return float(np.abs(loads + sheets.coolant_heat).sum())
    leaving = [each.heat(temperature) for each in sheets.exchanges]
    leaving += [stream.heat(temperature) for stream in sheets.streams]
    least = LEAST_RISE * sum(each.coefficient_at(temperature) * each.weights.sum() for each in sheets.unforced)
    return float(np.abs(loads).sum() + np.abs(leaving).sum() + least)


def accelerated(path: list[tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """The next state after those of a path, each with the step a plain iteration would make from it (Anderson 1965, from memory).

    The last steps tell how states change what is still wanted; the mixture of them is taken that should want least.
    """
    states, wanted = (np.array(each) for each in zip(*path))
    turns, moves = np.diff(wanted, axis=0), np.diff(states, axis=0)
    weights = np.linalg.lstsq(turns @ turns.T, turns @ wanted[-1], rcond=1e-14)[0]
    return states[-1] + wanted[-1] - weights @ (moves + turns)


def ran_off(temperature: np.ndarray) -> bool:
    """Whether temperatures [K] are such as no search should meet: at 0 K, or beyond HOTTEST."""
    return not 0.0 < float(temperature.min()) <= float(temperature.max()) < HOTTEST


def _refuse_runaway(temperature: np.ndarray) -> None:
    if ran_off(temperature):
        raise _run_away(temperature)


def _run_away(temperature: np.ndarray) -> SolveFailed:
    return SolveFailed(
        f"the temperatures did not settle, the search ran off to {temperature.min():.3g} ... {temperature.max():.3g} K: check powers "
        "and ways out of the heat; where conductivity falls as it gets hotter, this much heat may have no steady temperature"
    )


def _is_rounding(solution: Solution, lacking: np.ndarray) -> bool:
    """Whether what the balance lacks is no more than rounding: thin bodies make large terms that all but cancel."""
    terms = solution.matrix.magnitudes(solution.temperature)
    return bool(np.abs(lacking).sum() <= ROUNDING * terms.sum())


def slab_temperature(solution: Solution, slab: Slab) -> np.ndarray:
    """Temperatures of a body (plan nodes, thickness nodes) [K]."""
    return solution.temperature[slab.unknowns]
