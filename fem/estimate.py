"""Discretisation error of peaks and spreading resistances, and refinement until a wanted accuracy is met.

Plan and thickness are told apart: the answer is compared with the same problem on a coarser mesh, of which those triangles were cut
that the rises feel, and, on the coarser one, with polynomials of one degree more through the thickness. The two differences may have
opposite signs; they are added by magnitude.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from plancha.fem.components import (
    SpreadingResistance,
    component_states,
    mean_responses,
    peak_responses,
    spreading_at,
    spreading_resistances,
    temperature_at,
    unit_rises,
)
from plancha.fem.film_readings import frozen_films
from plancha.fem.finned import settled_flows
from plancha.fem.operating import operating
from plancha.fem.plan import PlanSpace, plan_space
from plancha.fem.refinement import CUT, finer_layers, fully_cut, plan_errors, raised, refined, worst_triangles
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Body, Stack
from plancha.geometry.grading import USUAL
from plancha.geometry.materials import Material, conductivity_at, is_nonlinear
from plancha.geometry.mesh import PlanMesh

QUANTITIES = ("peak rise", "mean rise", "spreading by maximum", "spreading by mean")
RISES = 2  # of them, the first, are what accuracy is asked of
# Error left after a halving over what the halving changed, and error before one degree more over what that changed: with an order of
# convergence p the former is 1 / (2^p - 1), taken for p = 3.1 of peaks and 1.3 of means, which feel the flux jump at the footprint's
# edge; the latter falls by a factor of two to five. A peak's change may pass through nothing by chance; a share of the mean's, which
# does not, guards it. Chosen on random layered cases with known answers; judged on others (docs/accuracy.md).
LEFT_OVER = np.array([0.13, 0.7, 0.13, 0.7])
BEFORE = np.array([1.8, 2.0, 1.8, 2.0])
COMPARED = 1e-8  # what an iteration for unit rises, which are compared with others, may leave of its right side
GUARD = 0.25
ALIKE = 4  # power of mean over peak by which the guard fades
FLOOR = 1e-5  # of a quantity: no estimate claims less
ROUNDS = 8
FLOW_PASSES = 3  # that settle what each flow expects to take
OF_WANTED = 0.7  # what of the accuracy the thickness may take up before the plan is looked at
SHARE = 0.7  # of the error whose triangles or sub-layers a refinement cuts at least, and
MOST_SHARE = 0.95  # at most: the more the more it must fall
# Share of each rise's error whose triangles are left uncut when it is first told, at USUAL accuracy; the less the more is asked.
FIRST_LEFT = 0.5
LEFT_POWER = 0.5
KEPT = 0.4  # of the wanted error: what may be left uncut
SMALL = 0.05  # of the largest rise: a component's own rise below this counts as this
LEAST_RISE = 1e-6  # K; no rise counts as less: rounding of absolute temperatures is no error of the mesh


@dataclass(frozen=True)
class ErrorEstimate:
    """Estimated errors of QUANTITIES, arrays (sources, 4) [K, K, K/W, K/W]: by the plan, by the thickness.

    ``values`` are the quantities themselves; ``wanted`` the relative accuracy asked of the peak rises.
    """

    values: np.ndarray
    plan: np.ndarray
    thickness: np.ndarray
    wanted: float

    @property
    def total(self) -> np.ndarray:
        """Both errors added by magnitude, (sources, 4)."""
        return self.plan + self.thickness + FLOOR * np.abs(self.values)

    @property
    def scale(self) -> np.ndarray:
        """What errors of rises are relative to [K], (sources,): the peak rise, at least a small share of the largest."""
        rises = np.abs(self.values[:, 0])
        return np.maximum(rises, SMALL * rises.max(initial=LEAST_RISE / SMALL))

    @property
    def worst(self) -> float:
        """Largest error of a peak or mean rise, relative to the peak rise; 0 without sources."""
        return float((self.total[:, :RISES] / self.scale[:, None]).max(initial=0.0))

    @property
    def aim(self) -> tuple[int, int]:
        """Which source's which rise has that error."""
        relative = self.total[:, :RISES] / self.scale[:, None]
        source, which = np.unravel_index(int(np.argmax(relative)), relative.shape)
        return int(source), int(which)

    @property
    def reached(self) -> bool:
        """Whether the wanted accuracy is reached."""
        return self.worst <= self.wanted


@dataclass(frozen=True)
class Trial:
    """One discretisation of a problem with constant conductivities: thickness functions, solution, quantities."""

    through: tuple[Through, ...]
    solution: Solution
    rises: np.ndarray
    quantities: np.ndarray
    peaks: tuple[tuple[float, float], ...]
    spreading: tuple[SpreadingResistance, ...]

    @property
    def space(self) -> PlanSpace:
        """The plan functions it was solved on."""
        return self.solution.sheets.space


Coarse = Callable[[tuple[Through, ...]], Trial]  # the trial of thickness functions on the coarse mesh, made once


@dataclass(frozen=True)
class Solved:
    """A solution, the same with all conductivities as at the reference temperature and unforced films frozen if at hand, and the
    estimate of their error, made on the latter."""

    solution: Solution
    constant: Solution | None
    estimate: ErrorEstimate


def trial(stack: Stack, space: PlanSpace, through: Sequence[Through]) -> Trial:
    """Solve one discretisation and take its quantities."""
    solution = operating(sheets_of(stack, space, through))
    rises = unit_rises(solution, COMPARED)
    states, spreading = component_states(solution), spreading_resistances(solution, rises)
    rows = [
        (state.peak.value - stack.reference, state.mean - stack.reference, each.maximum, each.mean)
        for state, each in zip(states, spreading)
    ]
    quantities = np.array(rows).reshape(-1, len(QUANTITIES))
    peaks = tuple(state.peak.point for state in states)
    return Trial(tuple(through), solution, rises, quantities, peaks, tuple(spreading))


def solve_to_accuracy(stack: Stack, mesh: PlanMesh, wanted: float, most_unknowns: float = np.inf) -> Solved:
    """Solve a stack and estimate the error; refine mesh or thickness, whichever is worse, until it is as wanted.

    Parameters
    ----------
    mesh : PlanMesh
        The coarse mesh that the first answer's is refined from.
    wanted : float, [-]
        Largest allowed estimate of a peak rise's error, relative to the rise.
    most_unknowns : float
        No discretisation may have more.

    Returns
    -------
    Solved
        On the finest discretisation; ``estimate.reached`` tells whether the accuracy is met.
    """
    through, space = tuple(through_of(stack)), plan_space(mesh)
    stack, simple = _simplified(stack, space, through)
    coarse = cache(lambda through: trial(simple, space, through))
    through = _settled_layers(coarse, through, wanted, most_unknowns / CUT)
    finer, shares = _cut(coarse(through), np.full((len(stack.sources), RISES), _first_share(wanted)))
    finest = trial(simple, finer, through)
    plan = guarded(left_over(shares), finest, coarse(through))
    estimate = ErrorEstimate(finest.quantities, plan, thickness_error(coarse, through), wanted)
    for _ in range(ROUNDS):
        if estimate.reached or not len(stack.sources):
            break
        shares = np.zeros_like(shares)
        if estimate.thickness[estimate.aim] > estimate.plan[estimate.aim]:
            finer, through = finest.space, _finer_layers(finest, estimate)
        else:
            finer, shares = _cut(finest, _shares(estimate))
        if _predicted(finest, finer, through) > most_unknowns:
            break
        following = trial(simple, finer, through)
        estimate = _updated(estimate, finest, following, coarse, shares)
        finest = following
    constant = finest.solution
    if constant.sheets.stack is stack:
        return Solved(constant, constant, estimate)
    # The same unknowns: its temperatures and factor are where k(T) starts from.
    return Solved(operating(sheets_of(stack, finest.space, finest.through), start=constant), constant, estimate)


def _simplified(stack: Stack, space: PlanSpace, through: Sequence[Through]) -> tuple[Stack, Stack]:
    """The stack with what its flows expect to take settled, and that with constant conductivities and unforced films frozen."""
    simple = constant_conductivity(stack)
    for _ in range(FLOW_PASSES if stack.flows else 0):
        flows = settled_flows(solve(sheets_of(simple, space, through)))
        if flows is None:
            break
        stack, simple = replace(stack, flows=flows), replace(simple, flows=flows)
    if any(film.unforced is not None for film in stack.films):
        simple = frozen_films(simple, solve(sheets_of(simple, space, through)))
    return stack, simple


def _settled_layers(
    coarse: Coarse, through: tuple[Through, ...], wanted: float, most_unknowns: float
) -> tuple[Through, ...]:
    """Thickness functions whose error, told on the coarse mesh, is at most OF_WANTED of what is wanted; or the last that fit."""
    for _ in range(ROUNDS):
        now = coarse(through)
        nothing = np.zeros_like(now.quantities)
        estimate = ErrorEstimate(now.quantities, nothing, thickness_error(coarse, through), OF_WANTED * wanted)
        if estimate.reached:
            break
        finer = _finer_layers(now, estimate)
        if _predicted(now, now.space, finer) > most_unknowns:
            break
        through = finer
    return through


def thickness_error(coarse: Coarse, through: tuple[Through, ...]) -> np.ndarray:
    """Errors (sources, 4) of thickness functions: what one degree more changes, on a coarse mesh."""
    return guarded(BEFORE, coarse(tuple(raised(each) for each in through)), coarse(through))


def change(one: Trial, other: Trial) -> np.ndarray:
    """Size of the difference of QUANTITIES, (sources, 4).

    Peaks are compared as numbers, and each at its own place with the other's temperature there: an overshoot at a steep edge
    has the same height on every mesh, but never the same place.
    """
    size = np.abs(one.quantities - other.quantities)
    for number in range(len(size)):
        for a, b in ((one, other), (other, one)):
            there = temperature_at(b.solution, number, a.peaks[number]) - a.solution.sheets.stack.reference
            size[number, 0] = max(size[number, 0], abs(there - a.quantities[number, 0]))
            spread = a.spreading[number]
            if np.isfinite(spread.maximum):
                there = spreading_at(b.solution, number, b.rises[:, number], spread.at)
                size[number, 2] = max(size[number, 2], abs(there - spread.maximum))
    return size


def guarded(factors: np.ndarray, better: Trial, worse: Trial) -> np.ndarray:
    """Errors (sources, 4) from the change between two trials, the peaks' guarded by the means': the more the less they stand out."""
    size, values = change(better, worse), np.abs(better.quantities)
    guard = np.zeros_like(size)
    for peak, mean in ((0, 1), (2, 3)):
        alike = np.divide(values[:, mean], values[:, peak], out=np.ones(len(size)), where=values[:, peak] > 0)
        guard[:, peak] = GUARD * alike**ALIKE * size[:, mean]
    return factors * size + guard


def _finer_layers(now: Trial, estimate: ErrorEstimate) -> tuple[Through, ...]:
    """Thickness functions made finer for the worst rise."""
    shares = _shares(estimate)
    is_worst = np.zeros(shares.shape, bool)
    is_worst[estimate.aim] = True
    return finer_layers(now.solution, _felt(now, is_worst)[:, 0], float(shares[estimate.aim]))


def _first_share(wanted: float) -> float:
    """Share of each rise's error whose triangles are cut first: the more the more is asked for."""
    return 1 - FIRST_LEFT * min(wanted / USUAL, 1.0) ** LEFT_POWER


def _shares(estimate: ErrorEstimate) -> np.ndarray:
    """Share (sources, RISES) of each rise's error that the next refinement is to cut; none where it is small enough."""
    errors, enough = estimate.total[:, :RISES], estimate.wanted * estimate.scale[:, None]
    shares = np.clip(1 - KEPT * enough / np.maximum(errors, enough), SHARE, MOST_SHARE)
    return np.where(errors > enough, shares, 0.0)


def _cut(now: Trial, wanted: np.ndarray) -> tuple[PlanSpace, np.ndarray]:
    """The plan functions with triangles cut that hold the wanted shares (sources, RISES) of each rise's error.

    And the shares that they do hold, likewise; 0 where none was wanted. Without sources all are cut.
    """
    is_wanted = wanted > 0
    errors = plan_errors(now.solution, _felt(now, is_wanted))
    marked = np.full(len(errors), not len(wanted))
    for column, share in enumerate(wanted.T[is_wanted.T]):
        marked[worst_triangles(errors[:, column], share)] = True
    mesh = refined(now.space.mesh, np.flatnonzero(marked))
    held = errors[fully_cut(mesh)].sum(axis=0) / np.maximum(errors.sum(axis=0), 1e-300)
    shares = np.zeros_like(wanted)
    shares.T[is_wanted.T] = held
    return plan_space(mesh), shares


def _felt(now: Trial, rises: np.ndarray) -> np.ndarray:
    """How some rises (bool, (sources, RISES)) respond to heat at each unknown: a column each, all peaks first."""
    peaks, means = map(np.flatnonzero, rises.T)
    return np.column_stack([peak_responses(now.solution, peaks), mean_responses(now.solution, now.rises, means)])


def left_over(shares: np.ndarray) -> np.ndarray:
    """LEFT_OVER (sources, 4) where only shares (sources, RISES) of the errors lie in triangles that were cut."""
    shares = np.tile(np.clip(shares, 1 - FIRST_LEFT, 1.0), 2)
    return LEFT_OVER + (1 + LEFT_OVER) * (1 - shares) / shares


def _predicted(finest: Trial, space: PlanSpace, through: Sequence[Through]) -> float:
    nodes = [sum(len(t.nodes) for t in each) for each in (finest.through, through)]
    return finest.solution.sheets.size * len(space.areas) / len(finest.space.areas) * nodes[1] / nodes[0]


def _updated(estimate: ErrorEstimate, before: Trial, after: Trial, coarse: Coarse, shares: np.ndarray) -> ErrorEstimate:
    """The estimate after a refinement of the thickness, or of triangles with ``shares`` (sources, RISES) of each rise's error."""
    if after.space is before.space:
        return replace(estimate, values=after.quantities, thickness=thickness_error(coarse, after.through))
    # The triangles that were not cut keep their share of an error that was aimed at; of the others any share.
    left, shares = guarded(LEFT_OVER, after, before), np.tile(shares, 2)
    plan = np.where(shares > 0, left + (1 - shares) * estimate.plan, np.maximum(left, estimate.plan))
    return replace(estimate, values=after.quantities, plan=plan)


def constant_conductivity(stack: Stack) -> Stack:
    """The stack with every conductivity as at the reference temperature: what errors are estimated on."""
    if not any(is_nonlinear(material) for body in stack.bodies for material in body.materials):
        return stack
    return replace(stack, bodies=tuple(_constant(body, stack.reference) for body in stack.bodies))


def _constant(body: Body, temperature: float) -> Body:
    patches = tuple(replace(patch, material=_constant_material(patch.material, temperature)) for patch in body.patches)
    return replace(body, material=_constant_material(body.material, temperature), patches=patches)


def _constant_material(material: Material, temperature: float) -> Material:
    if not is_nonlinear(material):
        return material
    k_x, k_y, k_z = (float(k) for k in conductivity_at(material, temperature))
    return replace(material, conductivity=(k_x, k_y, k_z), exponent=0.0)
