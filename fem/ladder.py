"""The substitution ladder: the lumped assumptions replaced one after the other, in a fixed order, each with its kelvin."""

from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.budget import way_out
from plancha.fem.components import active_peak
from plancha.fem.lumped import Lumped, lumped_estimate, mean_coefficient
from plancha.fem.planes import cooled_elements
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve
from plancha.geometry.bodies import Body, Film, Grid, Joint, Stack
from plancha.geometry.materials import conductivity_at, is_nonlinear

RUNGS = (
    "one-dimensional chain, no spreading",
    "spreading by the closed form (maximum)",
    "true footprints: thin plates, even heat",
    "true power maps",
    "thickness resolved",
    "k(T) and cooling field",
)


@dataclass(frozen=True)
class Ladder:
    """A component's peak rise [K] above the reference after each rung; None where a rung does not apply."""

    component: str
    rises: tuple[float | None, ...]


def lumped_of(solution: Solution) -> list[Lumped]:
    """The lumped estimate of every component, along the way its heat takes in the solution."""
    stack, found = solution.sheets.stack, []
    for number, source in enumerate(stack.sources):
        bodies, joints, end = way_out(solution, source)
        area = 0.0 if end is None else float(solution.sheets.space.areas[cooled_elements(solution, end)].sum())
        found.append(lumped_estimate(stack, number, bodies, joints, end, area))
    return found


def ladders(solution: Solution, lumped: list[Lumped]) -> list[Ladder]:
    """The ladder of every component; the upper rungs are solves of the same mesh with one assumption less each."""
    stack = solution.sheets.stack
    constant = constant_stack(stack)
    thin = thin_plates(constant)
    rungs = [_peaks(solution, even_heat(thin), thin), _peaks(solution, thin, thin), _peaks(solution, constant, None)]
    rungs.append([active_peak(solution, source).value for source in stack.sources])
    found = []
    for number, estimate in enumerate(lumped):
        first = (estimate.rise("one-dimensional"), estimate.rise("closed form, maximum"))
        found.append(Ladder(estimate.component, (*first, *(rung[number] - stack.reference for rung in rungs))))
    return found


def constant_stack(stack: Stack) -> Stack:
    """The stack with all conductivities as at the reference temperature and every coefficient map evened out."""
    bodies = tuple(replace(body, material=_constant(body, stack.reference)) for body in stack.bodies)
    films = tuple(
        replace(film, coefficient=mean_coefficient(film)) if isinstance(film.coefficient, Grid) else film
        for film in stack.films
    )
    return replace(stack, bodies=bodies, films=films)


def _constant(body: Body, temperature: float):
    if not is_nonlinear(body.material):
        return body.material
    k_x, k_y, k_z = (float(k) for k in conductivity_at(body.material, temperature))
    return replace(body.material, conductivity=(k_x, k_y, k_z), exponent=0.0)


def thin_plates(stack: Stack) -> Stack:
    """The stack with one temperature through each body, half of each body's own resistance moved into its joints and films."""
    return replace(
        stack,
        bodies=tuple(replace(body, sheet=True) for body in stack.bodies),
        joints=tuple(_thick_joint(stack, joint) for joint in stack.joints),
        films=tuple(_thick_film(stack, film) for film in stack.films),
    )


def half_impedance(body: Body) -> float:
    """Half of a body's thickness over its conductivity through it [m2 K/W]; nothing for a body that is a sheet already."""
    return 0.0 if body.sheet else body.thickness / 2 / body.material.conductivity[2]


def _thick_joint(stack: Stack, joint: Joint) -> Joint:
    added = half_impedance(stack.bodies[joint.lower]) + half_impedance(stack.bodies[joint.upper])
    return replace(joint, impedance=joint.impedance + added)


def _thick_film(stack: Stack, film: Film) -> Film:
    assert not isinstance(film.coefficient, Grid)
    return replace(film, coefficient=1.0 / (1.0 / film.coefficient + half_impedance(stack.bodies[film.body])))


def even_heat(stack: Stack) -> Stack:
    """The stack with every component's heat spread evenly over its outline."""
    return replace(stack, sources=tuple(replace(source, power_map=None) for source in stack.sources))


def _peaks(solution: Solution, stack: Stack, thin: Stack | None) -> list[float]:
    """Peak [K] of each component of a simplified stack; for thin plates the half thickness under the active face is added."""
    through = through_of(stack)
    solved = solve(sheets_of(stack, solution.sheets.space, through))
    peaks = []
    for source in stack.sources:
        peak = active_peak(solved, source).value
        if thin is not None:
            peak += _drop_to_sheet(solution, stack, source)
        peaks.append(peak)
    return peaks


def _drop_to_sheet(solution: Solution, stack: Stack, source) -> float:
    """Peak flux times half of the chip's own impedance [K]."""
    original = solution.sheets.stack.bodies[source.chain[0]]
    if original.sheet or source.power == 0:
        return 0.0
    map_ = source.power_map
    flux = (
        source.power / source.outline.area
        if map_ is None
        else float((map_.watts / np.outer(np.diff(map_.y), np.diff(map_.x))).max())
    )
    k_z = stack.bodies[source.chain[0]].material.conductivity[2]
    return flux * original.thickness / 2 / k_z
