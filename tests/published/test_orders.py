"""Orders of convergence on exact solutions, plan and thickness apart, bounded both ways.

The solutions are eigenmodes, derived independently. An order below its bound means a fault in the functions, one above it that the
measure sees something else than their error.
"""

from dataclasses import replace
from math import cosh, pi, sinh, sqrt

import numpy as np
import pytest
from plates import REFERENCE, body, cooled, plate, solve_stack, source, stack, state
from pytest import approx
from scipy.spatial import KDTree

from plancha.fem.plan import plan_space
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.fem.thickness import Through, graded
from plancha.geometry.grading import plan_mesh
from plancha.geometry.power_map import PowerMap

SIDES, K, T, H = (0.06, 0.04), (200.0, 120.0, 50.0), 1e-3, 800.0
AMPLITUDE = 30.0  # K


def orders(errors, ratios):
    return np.log(np.array(errors[:-1]) / errors[1:]) / np.log(ratios)


def cosines(x, y):
    return np.cos(pi * x / SIDES[0]) * np.cos(pi * y / SIDES[1])


def sheet_of_cosines(refinement):
    """A sheet whose exact rise is AMPLITUDE (1 + cos cos), heated by the flux that belongs to it, integrated to high order."""
    from skfem import Basis, ElementTriP2, Functional, LinearForm, MeshTri

    whole = (0.0, 0.0, *SIDES)
    case = stack([body("sheet", whole, T, K, sheet=True)], [source("flux", whole)], [cooled(H)], mesh_size=0.01)
    space = plan_space(plan_mesh(case, refinement))
    sheets = sheets_of(case, space, [Through(degree=0)])
    decay = T * pi**2 * (K[0] / SIDES[0] ** 2 + K[1] / SIDES[1] ** 2) + H
    basis = Basis(MeshTri(space.mesh.points.T.copy(), space.mesh.triangles.T.copy()), ElementTriP2(), intorder=10)
    load = LinearForm(lambda v, w: AMPLITUDE * (H + decay * cosines(*w.x)) * v).assemble(basis)
    slab = sheets.slabs[0]
    loads, theirs = (
        np.zeros((1, sheets.size)),
        KDTree(basis.doflocs.T).query(space.nodes)[1],
    )  # the library's numbers of our nodes
    loads[0, slab.unknowns[:, 0]] = load[theirs[slab.pattern.nodes]]
    solved = solve(replace(sheets, unit_loads=loads))
    values = np.empty(len(theirs))
    values[theirs] = solved.face(0, 0) - REFERENCE
    rise = basis.interpolate(values)
    error = Functional(lambda w: (w["rise"] - AMPLITUDE * (1 + cosines(*w.x))) ** 2).assemble(basis, rise=rise)
    slope = Functional(lambda w: (w["rise"].grad[0] + AMPLITUDE * pi / SIDES[0] * np.sin(pi * w.x[0] / SIDES[0])
                                  * np.cos(pi * w.x[1] / SIDES[1])) ** 2).assemble(basis, rise=rise)  # fmt: skip
    return sqrt(error), sqrt(slope), space, solved


def test_quadratic_triangles_converge_with_the_third_power_in_the_plan():
    runs = [sheet_of_cosines(refinement) for refinement in (1.0, 2.0, 4.0)]
    sizes = [1 / sqrt(len(run[2].areas)) for run in runs]
    ratios = np.array(sizes[:-1]) / sizes[1:]
    in_value, in_slope = orders([run[0] for run in runs], ratios), orders([run[1] for run in runs], ratios)
    # Theory: 3 and 2. The meshes are not exact halvings of one another, which is worth some tenths.
    assert np.all((in_value > 2.7) & (in_value < 3.6)), in_value
    assert np.all((in_slope > 1.7) & (in_slope < 2.5)), in_slope


def test_the_peak_of_a_smooth_field_converges_too():
    errors = []
    for refinement in (1.0, 2.0, 4.0):
        _, _, _, solved = sheet_of_cosines(refinement)
        errors.append(abs(state(solved).peak.value - REFERENCE - 2 * AMPLITUDE) / (2 * AMPLITUDE))
    # The peak lies at a node; there the error falls at least with the third power (fourth at best on even meshes).
    assert errors[0] < 1e-3
    assert errors[2] < errors[0] / 4**2.7


LENGTH, WIDTH, DEPTH = 0.04, 0.006, 2e-3
ALONG, ACROSS = (
    400.0,
    0.27,
)  # stretched by the anisotropy to 77 mm: the wave falls to a four-hundredth through the depth
RATE = pi / LENGTH * sqrt(ALONG / ACROSS)


def wave(power=10.0, columns=1000):
    """A strip under the flux 1 + 0.9 cos(pi x / LENGTH), each column of the map with its exact share."""
    edges = np.linspace(0.0, LENGTH, columns + 1)
    watts = np.diff(edges / LENGTH + 0.9 * np.sin(pi * edges / LENGTH) / pi) * power
    heated = source("wave", (0, 0, LENGTH, WIDTH), PowerMap(edges, np.array([0.0, WIDTH]), watts[None, :]))
    return plate((LENGTH, WIDTH), DEPTH, (ALONG, ALONG, ACROSS), H, [heated]), power / (LENGTH * WIDTH)


def exact_profile(flux, heights):
    """Rise at x = 0 above the component side: the even part, linear, and the wave, a cosh and a sinh."""
    even = flux * (1 / H + (DEPTH - heights) / ACROSS)
    reach, conduct = RATE * DEPTH, ACROSS * RATE
    down = RATE * (DEPTH - heights)
    shape = np.cosh(down) + H / conduct * np.sinh(down)
    return even + 0.9 * flux / conduct * shape / (sinh(reach) + H / conduct * cosh(reach))


@pytest.fixture(scope="module")
def wave_space():
    case, flux = wave()
    case = replace(case, mesh_size=LENGTH / 24)
    return case, flux, plan_space(plan_mesh(case))


def profile_error(wave_space, through):
    """Root mean square error through the depth of the column at x = 0, over the wave's own height."""
    case, flux, space = wave_space
    solved = solve(sheets_of(case, space, [through]))
    slab = solved.sheets.slabs[0]
    corner = int(np.argmin(np.abs(space.nodes[slab.pattern.nodes]).sum(axis=1)))
    points, weights = np.polynomial.legendre.leggauss(40)
    heights = (points + 1) / 2
    got = through.values(heights)[0] @ solved.temperature[slab.unknowns[corner]] - REFERENCE
    want = exact_profile(flux, heights * DEPTH)
    return sqrt(weights @ (got - want) ** 2 / 2) / (0.9 * flux / (ACROSS * RATE))


@pytest.mark.parametrize(("degree", "layers"), [(1, (4, 8, 16, 32)), (2, (3, 6, 12, 24)), (3, (2, 4, 8, 16))])
def test_each_degree_through_the_thickness_converges_with_its_own_order(wave_space, degree, layers):
    errors = [profile_error(wave_space, Through(tuple(np.linspace(0, 1, n + 1)), degree)) for n in layers]
    found = orders(errors, 2.0)
    assert errors[-1] > 5 * profile_error(wave_space, Through(degree=14)), "the error of the plan would show"
    assert found[-1] == approx(degree + 1, abs=0.3), found
    assert np.all(found > degree + 1 - 0.8), found
    assert np.all(found < degree + 1 + 0.6), found


def test_layers_graded_towards_the_heat_beat_even_ones_of_the_same_number(wave_space):
    fine = graded(1 / 15, True, False, 2)
    even = Through(tuple(np.linspace(0, 1, len(fine.breaks))), 2)
    assert profile_error(wave_space, fine) < 0.7 * profile_error(wave_space, even)


def test_a_sheet_has_no_profile_and_the_exact_mean_of_a_wave_in_a_thin_plate(wave_space):
    """Degree 0 is the equation of the thin plate: amplitude flux / (k t lambda^2 + h)."""
    case, flux, space = wave_space
    solved = solve(sheets_of(case, space, [Through(degree=0)]))
    want = flux / H + 0.9 * flux / (ALONG * DEPTH * (pi / LENGTH) ** 2 + H)
    assert state(solved).peak.value - REFERENCE == approx(want, rel=1e-5)


@pytest.mark.parametrize("depth", [2e-3, 5e-4])
def test_heat_let_off_through_a_depth_bends_the_profile_as_one_quadratic_or_two(depth):
    """Even heat from the active face down to a depth: quadratic there, linear below; exact where a break lies at that depth."""
    area, watts, k = (0.0, 0.0, 0.02, 0.02), 40.0, 5.0
    heated = replace(source("volume", area, watts), heat_depth=depth)
    case = stack([body("block", area, 2e-3, k)], [heated], [cooled(H)])
    space = plan_space(plan_mesh(case))
    solved = solve(sheets_of(case, space, [Through(tuple(np.unique([0.0, depth / 2e-3, 1.0])), 2)]))
    flux = watts / 4e-4
    hottest = flux * (1 / H + (2e-3 - depth) / k + depth / (2 * k))
    assert state(solved).peak.value - REFERENCE == approx(hottest, rel=1e-9)
    # The product's own choice has no break at the depth; in one dimension the faces are exact all the same.
    assert state(solve_stack(case)).peak.value - REFERENCE == approx(hottest, rel=1e-9)
