"""The same three-dimensional problem by an independent general-purpose library.

FiPy, a finite-volume library for partial differential equations (J. E. Guyer, D. Wheeler and J. A. Warren, FiPy: Partial Differential
Equations with Python, Computing in Science and Engineering 11(3), 6-15, 2009, from memory), on a grid of boxes: another method,
another mesh, truly three-dimensional. Two dies of different kind on one copper plate: one over a joint, one in perfect contact.
"""

import os
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from plates import REFERENCE, body, cooled, solve_with_estimate, source, stack, state
from pytest import approx

from plancha.fem.components import coupling, unit_rises
from plancha.geometry.bodies import Joint

PLATE, THICK, COPPER, H = (0.040, 0.032), 3e-3, 390.0, 2000.0
DIE, SILICON, DIE_THICK, JOINT = (0.006, 0.010, 0.012, 0.010), 120.0, 0.8e-3, 10e-6
BRICK, CERAMIC, BRICK_THICK = (0.026, 0.012, 0.008, 0.008), (60.0, 25.0, 8.0), 0.8e-3
POWERS = (80.0, 25.0)


def product():
    bodies = [
        body("die", DIE, DIE_THICK, SILICON),
        body("brick", BRICK, BRICK_THICK, CERAMIC),
        body("plate", (0, 0, *PLATE), THICK, COPPER),
    ]
    joints = [Joint("interface", 0, 2, JOINT), Joint("solder", 1, 2, 0.0)]
    heated = [source("die", DIE, POWERS[0], (0, 2), (0,)), source("brick", BRICK, POWERS[1], (1, 2), (1,))]
    return solve_with_estimate(stack(bodies, heated, [cooled(H, 2)], joints)).solution


@dataclass(frozen=True)
class Boxes:
    """Cells between three rows of edges, their conductivities along x, y and z (0: nothing there), first index x."""

    edges: tuple[np.ndarray, np.ndarray, np.ndarray]
    conductivity: np.ndarray  # (nx, ny, nz, 3)

    def under(self, place):
        x, y = ((edges[1:] + edges[:-1]) / 2 for edges in self.edges[:2])
        left, bottom, width, height = place
        return ((x > left) & (x < left + width))[:, None] & ((y > bottom) & (y < bottom + height))


def boxes(step, layers):
    """Even cells in the plan; from component side (z = 0) ``layers`` through the dies, twice as many through the plate, graded."""
    x, y = (np.linspace(0, side, round(side / step) + 1) for side in PLATE)
    ratio = np.linspace(0, 1, 2 * layers + 1)
    z = np.r_[np.linspace(0, DIE_THICK, layers + 1), DIE_THICK + THICK * (0.35 * ratio + 0.65 * ratio**2)[1:]]
    grid = Boxes((x, y, z), np.zeros((len(x) - 1, len(y) - 1, len(z) - 1, 3)))
    grid.conductivity[:, :, layers:] = COPPER
    grid.conductivity[grid.under(DIE), :layers] = SILICON
    grid.conductivity[grid.under(BRICK), :layers] = CERAMIC
    return grid


def face_conductance(grid, axis, layers):
    """Conductivity [W/m/K] that a face between two cells counts with, over the distance of their centres: half, joint, half."""
    widths = np.diff(grid.edges[axis])
    shape = [1, 1, 1]
    shape[axis] = -1
    with np.errstate(divide="ignore"):
        half = (widths.reshape(shape) / 2) / grid.conductivity[..., axis]
    low, high = np.take(half, range(len(widths) - 1), axis), np.take(half, range(1, len(widths)), axis)
    between = np.zeros(low.shape)
    if axis == 2:
        between[grid.under(DIE), layers - 1] = JOINT
    distance = ((widths[1:] + widths[:-1]) / 2).reshape(shape)
    return distance / (low + between + high)


def face_values(mesh, grid, layers):
    """The coefficient at each of the library's faces, found by the place of its centre; nothing on the outside."""
    values = np.zeros(mesh.numberOfFaces)
    centres, normals = np.array(mesh.faceCenters), np.abs(np.array(mesh.faceNormals))
    for axis in range(3):
        table = face_conductance(grid, axis, layers)
        mine = np.flatnonzero((normals[axis] > 0.5) & ~np.array(mesh.exteriorFaces))
        place = []
        for other in range(3):
            edges = grid.edges[other]
            at = np.searchsorted(edges, centres[other, mine] + (1e-9 if other == axis else 0.0)) - 1
            place.append(at - 1 if other == axis else at)
        values[mine] = table[tuple(place)]
    return values


def by_the_library(step, layers):
    """Rises (means of the two heated faces) [K] by FiPy's diffusion equation with the film as a sink in the last layer of cells."""
    os.environ.setdefault("FIPY_SOLVERS", "scipy")
    arguments, sys.argv = sys.argv, sys.argv[:1]  # the library reads the command line
    try:
        import fipy
    finally:
        sys.argv = arguments
    grid = boxes(step, layers)
    widths = [np.diff(edges) for edges in grid.edges]
    mesh = fipy.Grid3D(dx=widths[0], dy=widths[1], dz=widths[2])
    rise = fipy.CellVariable(mesh=mesh, value=0.0)
    shape = grid.conductivity.shape[:3]

    def per_cell(array):  # the library numbers cells with x running first
        return array.transpose(2, 1, 0).ravel()

    sink, heat = np.zeros(shape), np.zeros(shape)
    sink[:, :, -1] = 1 / (1 / H + widths[2][-1] / 2 / COPPER) / widths[2][-1]
    sink[grid.conductivity[..., 2] == 0] = 1.0  # nothing there: no rise
    for place, power in zip((DIE, BRICK), POWERS):
        heat[grid.under(place), 0] = power / (place[2] * place[3]) / widths[2][0]
    conduct = fipy.FaceVariable(mesh=mesh, value=face_values(mesh, grid, layers))
    equation = (
        fipy.DiffusionTerm(coeff=conduct)
        - fipy.ImplicitSourceTerm(coeff=fipy.CellVariable(mesh=mesh, value=per_cell(sink)))
        + fipy.CellVariable(mesh=mesh, value=per_cell(heat))
        == 0
    )
    equation.solve(
        var=rise, solver=fipy.LinearCGSolver(tolerance=1e-10, iterations=5000, precon=fipy.JacobiPreconditioner())
    )
    values = np.array(rise.value).reshape(shape[::-1]).transpose(2, 1, 0)[:, :, 0]
    means = []
    for place, power, k in ((DIE, POWERS[0], SILICON), (BRICK, POWERS[1], CERAMIC[2])):
        to_face = (
            power / (place[2] * place[3]) * widths[2][0] / 2 / k
        )  # from the first cell's middle to the heated face
        means.append((values[grid.under(place)].mean() + to_face, values[grid.under(place)].max() + to_face))
    return np.array(means)


@pytest.fixture(scope="module")
def library():
    """Means and peaks (die, brick) on two grids, and what they tend to: the error falls with the square of the cells' size."""
    coarse, fine = by_the_library(1e-3, 2), by_the_library(2e-3 / 3, 3)
    return coarse, fine, fine + (fine - coarse) / (1.5**2 - 1)


def test_two_dies_on_a_plate_are_as_warm_as_an_independent_library_finds_them(library):
    coarse, fine, limit = library
    solved = product()
    for number in range(2):
        # The library's two grids differ by less than half a percent; what is left in the limit is a small part of that.
        assert fine[number] == approx(coarse[number], rel=5e-3)
        assert state(solved, number).mean - REFERENCE == approx(limit[number, 0], rel=3e-3)
        assert state(solved, number).peak.value - REFERENCE == approx(limit[number, 1], rel=3e-3)


def test_the_joint_and_the_neighbour_matter_far_more_than_the_agreement():
    """So that the check above can fail: what each part is worth."""
    solved = product()
    matrix = coupling(solved, unit_rises(solved)).mean
    rise = state(solved, 0).mean - REFERENCE
    assert JOINT * POWERS[0] / (DIE[2] * DIE[3]) > 0.05 * rise
    assert matrix[0, 1] * POWERS[1] > 0.05 * rise
