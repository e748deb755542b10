"""Temperatures at points of a body's face, many at once, and how far the discretisation may be off there."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.estimate import BEFORE, FLOOR, LEFT_OVER, QUANTITIES, Solved, constant_conductivity
from plancha.fem.film_readings import frozen_films
from plancha.fem.plan import PlanSpace, barycentric, plan_space, shape_values
from plancha.fem.refinement import first_mesh, raised, refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import Sheets, sheets_of
from plancha.fem.solve import Solution, solve
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Probe, Stack
from plancha.geometry.mesh import triangles_at

MEAN = QUANTITIES.index("mean rise")  # a point away from hot spots converges like a mean, not like a peak


@dataclass(frozen=True)
class Samples:
    """Points of faces: ``bodies`` and ``faces`` (points,) numbers, ``points`` (points, 2) [m]."""

    bodies: np.ndarray
    faces: np.ndarray
    points: np.ndarray


def samples_of_probes(probes: Sequence[Probe]) -> Samples:
    """Where the probes are."""
    return Samples(
        np.array([probe.body for probe in probes], int),
        np.array([probe.face for probe in probes], int),
        np.array([probe.point for probe in probes], float).reshape(-1, 2),
    )


def samples_on_face(body: int, face: int, points: np.ndarray) -> Samples:
    """Points (points, 2) [m] of one face."""
    return Samples(np.full(len(points), body), np.full(len(points), face), points)


def sampling_matrix(sheets: Sheets, samples: Samples) -> sp.csr_array:
    """Matrix (points, unknowns) that takes a problem's unknowns to the temperatures at the samples."""
    rows, columns, weights = [], [], []
    for body, face in sorted(set(zip(samples.bodies.tolist(), samples.faces.tolist()))):
        chosen = np.flatnonzero((samples.bodies == body) & (samples.faces == face))
        slab, space, points = sheets.slabs[body], sheets.space, samples.points[chosen]
        corners = space.nodes[space.element_nodes[slab.pattern.elements, :3]]
        elements = slab.pattern.elements[triangles_at(corners, points)]
        rows.append(np.repeat(chosen, 6))
        columns.append(slab.on_face(face, space.element_nodes[elements].ravel()))
        weights.append(shape_values(barycentric(space, elements, points)).ravel())
    shape = (len(samples.points), sheets.size)
    return sp.csr_array((np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))), shape=shape)


def sampled(solution: Solution, samples: Samples) -> np.ndarray:
    """Temperatures (points,) [K] at the samples."""
    return sampling_matrix(solution.sheets, samples) @ solution.temperature


def sampling_errors(solved: Solved, samples: Samples) -> np.ndarray:
    """Estimated discretisation errors (points,) [K] at the samples, plan and thickness added by magnitude.

    As `estimate` does for means: from the coarse mesh that the answer was refined from to the same with all triangles cut, for the
    answer's own is fine only where components feel it; and, on the coarse mesh, with polynomials of one degree more.
    """
    if solved.constant is None:
        stack = frozen_films(constant_conductivity(solved.solution.sheets.stack), solved.solution)
    else:
        stack = solved.constant.sheets.stack
    answer = sampled(solved.constant or fixed_discretisation(solved.solution)(stack), samples)
    mesh, through = first_mesh(stack), through_of(stack)
    space = plan_space(mesh)

    def found(space: PlanSpace, through: Sequence[Through]) -> np.ndarray:
        return sampled(solve(sheets_of(stack, space, through)), samples)

    coarse, finer = found(space, through), found(plan_space(refined(mesh)), through)
    raising = found(space, [raised(each) for each in through]) - coarse
    plan = np.abs(answer - finer) + LEFT_OVER[MEAN] * np.abs(finer - coarse)
    return plan + BEFORE[MEAN] * np.abs(raising) + FLOOR * np.abs(answer - stack.reference)


def fixed_discretisation(solution: Solution) -> Callable[[Stack], Solution]:
    """A function from a stack of the same outlines to its solution on this solution's mesh and thickness functions."""
    space, through = solution.sheets.space, [slab.through for slab in solution.sheets.slabs]

    def solved_again(stack: Stack) -> Solution:
        """The stack's solution on the kept mesh and thickness functions."""
        return solve(sheets_of(stack, space, through))

    return solved_again
