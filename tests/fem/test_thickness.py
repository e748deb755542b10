"""The functions through a body: partition of unity, exact polynomials, integrals against numpy's own polynomials."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial
from pytest import approx

from plancha.fem.thickness import Through, graded

few = settings(max_examples=40, deadline=None, derandomize=True)
steps = st.lists(st.floats(0.05, 1.0), min_size=1, max_size=5)
degrees = st.integers(1, 4)
ROUNDING = 1e-10  # Lagrange functions of degree 4 through an inverse of powers


def through(parts, degree):
    heights = np.r_[0.0, np.cumsum(parts)] / sum(parts)
    heights[-1] = 1.0
    return Through(tuple(heights), degree)


@few
@given(steps, degrees, st.lists(st.floats(0.0, 1.0), min_size=1, max_size=9))
def test_the_functions_sum_to_one_and_their_slopes_to_nothing(parts, degree, heights):
    values, slopes = through(parts, degree).values(np.array(heights))
    assert values.sum(axis=1) == approx(np.ones(len(heights)), abs=ROUNDING)
    assert slopes.sum(axis=1) == approx(np.zeros(len(heights)), abs=ROUNDING * 200)


@few
@given(steps, degrees)
def test_each_function_is_one_at_its_own_node_and_nothing_at_the_others(parts, degree):
    functions = through(parts, degree)
    assert functions.values(functions.nodes)[0] == approx(np.eye(len(functions.nodes)), abs=ROUNDING)
    assert (functions.nodes[functions.face(0)], functions.nodes[functions.face(1)]) == (0.0, 1.0)
    assert np.all(np.diff(functions.nodes) > 0)


@few
@given(
    steps,
    degrees,
    st.lists(st.floats(-2, 2), min_size=5, max_size=5),
    st.lists(st.floats(-2, 2), min_size=5, max_size=5),
)
def test_mass_and_stiffness_integrate_polynomials_of_the_degree_exactly(parts, degree, one, other):
    functions = through(parts, degree)
    u, v = Polynomial(one[: degree + 1]), Polynomial(other[: degree + 1])
    a, b = u(functions.nodes), v(functions.nodes)
    product, slopes = (u * v).integ(), (u.deriv() * v.deriv()).integ()
    scale = 1 + np.abs(a).sum() * np.abs(b).sum()
    assert a @ functions.mass @ b == approx(product(1) - product(0), abs=ROUNDING * scale)
    assert a @ functions.stiffness @ b == approx(slopes(1) - slopes(0), abs=1e-8 * scale)
    assert functions.mass == approx(functions.mass.T, abs=1e-14)


@few
@given(steps, degrees, st.tuples(st.floats(0.0, 0.9), st.floats(0.05, 1.0)))
def test_heat_spread_between_two_heights_keeps_its_sum_and_its_moments(parts, degree, span):
    functions = through(parts, degree)
    start, stop = span[0], min(1.0, span[0] + span[1])
    load = functions.load(start, stop)
    assert load.sum() == approx(1.0, rel=1e-11)
    assert load @ functions.nodes == approx((start + stop) / 2, rel=1e-10)
    # Each function's own share, as the mean over many heights.
    heights = start + (stop - start) * (np.arange(4000) + 0.5) / 4000
    assert load == approx(functions.values(heights)[0].mean(axis=0), abs=2e-4)
    if degree > 1:
        assert load @ functions.nodes**2 == approx((stop**3 - start**3) / 3 / (stop - start), rel=1e-9)


def test_linear_functions_have_the_textbook_matrices():
    one = Through((0.0, 1.0), 1)
    assert one.mass == approx(np.array([[2, 1], [1, 2]]) / 6, rel=1e-13)
    assert one.stiffness == approx(np.array([[1, -1], [-1, 1]]), rel=1e-13)


def test_a_quadratic_has_simpson_s_nodes_and_the_textbook_stiffness():
    quadratic = Through((0.0, 1.0), 2)
    assert quadratic.nodes == approx([0, 0.5, 1], abs=1e-15)
    assert quadratic.stiffness == approx(np.array([[7, -8, 1], [-8, 16, -8], [1, -8, 7]]) / 3, rel=1e-12)
    assert quadratic.mass.sum(axis=0) == approx(np.array([1, 4, 1]) / 6, rel=1e-12)


def test_a_sheet_has_one_value_no_slope_and_both_faces_on_it():
    sheet = Through(degree=0)
    values, slopes = sheet.values(np.array([0.0, 0.3, 1.0]))
    assert (values == 1).all() and (slopes == 0).all()
    assert (sheet.face(0), sheet.face(1)) == (0, 0)
    assert (sheet.mass.item(), sheet.stiffness.item()) == (approx(1.0, rel=1e-15), 0.0)
    assert sheet.load(0.2, 0.7) == approx([1.0], rel=1e-14)


@few
@given(
    st.floats(1e-3, 1.5),
    st.sampled_from([(True, False), (False, True), (True, True)]),
    st.sampled_from([1.5, 2.0, 3.0]),
)
def test_graded_layers_fill_the_thickness_and_start_fine_where_asked(finest, faces, ratio):
    breaks = np.array(graded(finest, faces[0], faces[1], 2, ratio).breaks)
    layers = np.diff(breaks)
    assert (breaks[0], breaks[-1]) == (0.0, approx(1.0, rel=1e-12))
    assert np.all(layers > 0)
    ends = [end for end, asked in zip((layers[0], layers[-1]), faces) if asked]
    # The last layer is dropped if less than half of it fits, and the others stretched: two layers into one is the worst.
    assert max(ends) <= (1 + ratio / 2) * min(finest, 1.0)
    growth = layers[1:] / layers[:-1]
    assert np.all((growth < ratio * 1.001) & (growth > 1 / ratio / 1.001))


@pytest.mark.parametrize(("from_below", "from_above"), [(True, False), (False, True)])
def test_grading_from_one_face_is_the_mirror_of_grading_from_the_other(from_below, from_above):
    breaks = np.array(graded(0.1, from_below, from_above).breaks)
    mirror = 1 - np.array(graded(0.1, from_above, from_below).breaks)[::-1]
    assert breaks == approx(mirror, abs=1e-14)
