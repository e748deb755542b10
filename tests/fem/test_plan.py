"""The quadratic functions in the plan: integrals against exact ones, peaks on the polynomial, points and rims."""

from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.plan import barycentric, locate, maximum, plan_space, reference_integrals, rim_edges, shape_values
from plancha.geometry.mesh import PlanMesh, mesh_of, quartered
from plancha.geometry.outline import rectangle

few = settings(max_examples=50, deadline=None, derandomize=True)
coefficients = st.lists(st.floats(-3, 3), min_size=6, max_size=6)
SIDES = (1.0, 0.75)
INNER = rectangle(0.3, 0.2, 0.4, 0.3)


@cache
def whole_space():
    return plan_space(mesh_of([rectangle(0, 0, *SIDES), INNER]))


@pytest.fixture
def space():
    return whole_space()


def inner_elements(space):
    """Elements of the inner rectangle."""
    centres = space.nodes[space.element_nodes[:, :3]].mean(axis=1)
    return np.flatnonzero(shapely.contains_xy(INNER, *centres.T))


def quadratic(c, x, y):
    return c[0] + c[1] * x + c[2] * y + c[3] * x * x + c[4] * x * y + c[5] * y * y


def integral_of_powers(i, j):
    return SIDES[0] ** (i + 1) / (i + 1) * SIDES[1] ** (j + 1) / (j + 1)


POWERS = [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)]


def mass(space):
    return np.tensordot(space.products(np.ones(len(space.areas)), slice(None)), reference_integrals()[0], 1)


def slopes(space, which):
    weights = space.conduction(*np.eye(3)[:, [which]], slice(None))
    return np.tensordot(weights, reference_integrals()[1], 1)


def quadratic_form(space, integrals, u, v):
    nodes = space.element_nodes
    return np.einsum("ei,eij,ej->", u[nodes], integrals, v[nodes])


@few
@given(one=coefficients, other=coefficients)
def test_products_of_quadratics_are_integrated_exactly(one, other):
    space = whole_space()
    u, v = quadratic(one, *space.nodes.T), quadratic(other, *space.nodes.T)
    pairs = [(a * b, i + k, j + m) for a, (i, j) in zip(one, POWERS) for b, (k, m) in zip(other, POWERS)]
    want = sum(factor * integral_of_powers(i, j) for factor, i, j in pairs)
    assert quadratic_form(space, mass(space), u, v) == approx(want, abs=1e-11)


@few
@given(c=coefficients)
def test_slopes_of_quadratics_are_integrated_exactly(c):
    space = whole_space()
    u, (x, y) = quadratic(c, *space.nodes.T), space.nodes.T
    area = SIDES[0] * SIDES[1]
    # Against x and y as test functions the slope integrals are means of the slopes.
    mean_x = c[1] + c[3] * SIDES[0] + c[4] * SIDES[1] / 2
    mean_y = c[2] + c[5] * SIDES[1] + c[4] * SIDES[0] / 2
    assert quadratic_form(space, slopes(space, 0), u, x) == approx(mean_x * area, abs=1e-11)
    assert quadratic_form(space, slopes(space, 1), u, y) == approx(mean_y * area, abs=1e-11)
    assert quadratic_form(space, slopes(space, 2), u, x) == approx(mean_y * area, abs=1e-11)
    assert quadratic_form(space, slopes(space, 2), u, y) == approx(mean_x * area, abs=1e-11)


@few
@given(c=coefficients)
def test_the_peak_of_a_quadratic_is_found_between_the_nodes(c):
    """Against a fine raster: never below it, above it by no more than its spacing allows, and really taken at the named place."""
    space = whole_space()
    everywhere = np.arange(len(space.element_nodes))
    peak = maximum(space, quadratic(c, *space.nodes.T), everywhere)
    x, y = np.meshgrid(np.linspace(0, SIDES[0], 201), np.linspace(0, SIDES[1], 151))
    raster = quadratic(c, x, y).max()
    assert peak.value >= raster - 1e-9
    # Off by half a raster step each way at a smooth top: curvature times step^2 / 8, twice.
    assert peak.value <= raster + 2 * (2 * 3 + 3) * 0.005**2
    assert quadratic(c, *peak.point) == approx(peak.value, abs=1e-9)


def test_the_peak_inside_a_single_triangle_is_not_missed():
    triangle = plan_space(PlanMesh(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), np.array([[0, 1, 2]])))
    x, y = triangle.nodes.T
    peak = maximum(triangle, 5 - (x - 0.3) ** 2 - 2 * (y - 0.2) ** 2 + (x - 0.3) * (y - 0.2), np.array([0]))
    assert peak.value == approx(5.0, rel=1e-13)
    assert peak.point == approx((0.3, 0.2), rel=1e-12)


def test_a_peak_is_sought_in_the_given_elements_only(space):
    peak = maximum(space, space.nodes[:, 0] + 2 * space.nodes[:, 1], inner_elements(space))
    assert peak.value == approx(0.7 + 2 * 0.5, rel=1e-9)
    assert peak.point == approx((0.7, 0.5), rel=1e-9)


@few
@given(c=coefficients, x=st.floats(0.0, SIDES[0]), y=st.floats(0.0, SIDES[1]))
def test_any_point_of_the_plan_is_located_and_read_exactly(c, x, y):
    space = whole_space()
    element, shapes = locate(space, (x, y), np.arange(len(space.element_nodes)))
    values = quadratic(c, *space.nodes[space.element_nodes[element]].T)
    assert shapes @ values == approx(quadratic(c, x, y), abs=1e-9)


def test_a_point_off_the_plan_is_refused(space):
    with pytest.raises(ValueError, match=r"point \(1.3, 0.1\) lies in none of the elements"):
        locate(space, (1.3, 0.1), np.arange(len(space.element_nodes)))


def test_the_six_functions_sum_to_one_and_barycentric_coordinates_rebuild_the_point(space):
    points = np.random.default_rng(1).uniform(0, 0.8, (len(space.element_nodes), 2))
    coordinates = barycentric(space, np.arange(len(space.element_nodes)), points)
    assert shape_values(coordinates).sum(axis=1) == approx(np.ones(len(points)), abs=1e-9)
    corners = space.nodes[space.element_nodes[:, :3]]
    assert np.einsum("ec,ecx->ex", coordinates, corners) == approx(points, abs=1e-10)


def test_the_rim_of_a_part_is_its_outline(space):
    everywhere = np.arange(len(space.element_nodes))
    for part, length in ((everywhere, 2 * sum(SIDES)), (inner_elements(space), INNER.length)):
        rim = rim_edges(space, part)
        ends = space.nodes[rim]
        assert np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum() == approx(length, rel=1e-9)
        assert ends[:, 2] == approx((ends[:, 0] + ends[:, 1]) / 2, abs=1e-12)


def test_nodes_that_follow_one_another_are_near():
    """Far nearer than nodes drawn at random: what belongs together lies together in memory."""
    mesh = mesh_of([rectangle(0, 0, 0.06, 0.04)])
    nodes = plan_space(quartered(quartered(quartered(mesh)))).nodes
    steps = np.linalg.norm(np.diff(nodes, axis=0), axis=1)
    assert np.median(steps) < 2e-3 < 20e-3 < np.median(np.linalg.norm(nodes[1:] - nodes[0], axis=1))
