"""What bounds a field on a face: the inverse's own block, the largest value of a quadratic, the points that matter."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pytest import approx

from plancha.fem.energy import energy_of, face_inverse_root
from plancha.fem.faces import face_controls, largest_of_quadratics
from plancha.fem.plan import EDGES_OF_TRIANGLE, shape_values
from plancha.fem.reach import SLACK, dominating, reach_energies

VALUES = arrays(float, 6, elements=st.floats(-10, 10).map(lambda x: round(x, 3)))


def grid_problem(size=14):
    """A positive definite matrix: the five-point operator on a square, with a little on the diagonal."""
    line = sp.diags_array([-1.0, 2.0, -1.0], offsets=[-1, 0, 1], shape=(size, size))
    return sp.csr_array(sp.kronsum(line, line) + 0.01 * sp.eye_array(size * size))


def controls_of(nodal):
    """Control values (6,) of the quadratic with nodal values (6,)."""
    controls = nodal.copy()
    for a, b, middle in EDGES_OF_TRIANGLE:
        controls[middle] = 2 * nodal[middle] - (nodal[a] + nodal[b]) / 2
    return controls


@settings(max_examples=200, deadline=None)
@given(nodal=VALUES)
def test_the_largest_value_of_a_quadratic_is_that_found_by_looking_everywhere(nodal):
    steps = np.linspace(0, 1, 101)
    b, c = (each.ravel() for each in np.meshgrid(steps, steps))
    inside = b + c <= 1 + 1e-12
    looked = (shape_values(np.column_stack([1 - b - c, b, c])[inside]) @ nodal).max()
    found = largest_of_quadratics(controls_of(nodal)[:, None])[0]
    scale = np.abs(nodal).max() + 1e-12
    # Second derivatives are at most 16 times the values: between points 0.01 apart the quadratic rises by less than this.
    assert looked - 1e-12 * scale <= found <= looked + 16 * scale * 0.01**2
    assert found <= controls_of(nodal).max() + 1e-12 * scale


def test_the_block_of_the_inverse_is_that_of_the_dense_inverse():
    matrix, face = grid_problem(), np.array([3, 40, 41, 42, 90, 195, 7])
    root = face_inverse_root(matrix, face)
    assert root @ root.T == approx(np.linalg.inv(matrix.toarray())[np.ix_(face, face)], rel=1e-9)


def test_roots_of_the_energy_undo_each_other():
    energy, heat = energy_of(grid_problem()), np.random.default_rng(1).normal(size=(196, 2))
    answer = np.linalg.solve(energy.matrix.toarray(), heat)
    rooted = energy.rooted(heat)
    assert energy.solved(heat) == approx(answer) and energy.unrooted(rooted) == approx(answer)
    assert rooted.T @ rooted == approx(heat.T @ answer)


def test_energies_of_the_parts_are_no_less_than_they_are_and_hardly_more():
    whole, left = grid_problem(), np.arange(196) < 98
    halves = [sp.csr_array(whole * np.outer(half, half)) for half in (left, ~left)]
    across = sp.csr_array(whole - halves[0] - halves[1])
    # What ties the halves, made positive semidefinite with its row sums, is taken from both.
    tie = sp.csr_array(across + sp.diags_array(np.abs(across).sum(axis=1)))
    parts = [halves[0] + halves[1] - (tie - across), tie]
    face = np.array([90, 91, 100, 104])
    controls = sp.csr_array(np.eye(4))
    (energies,) = reach_energies(parts, np.array([True, True]), [(face, controls)])
    answers = np.linalg.inv(whole.toarray())[:, face]
    for number, part in enumerate(parts):
        true = np.einsum("ij,ij->j", answers, part @ answers)
        assert (energies[:, number] >= true * (1 - 1e-9)).all() and energies[:, number] == approx(true, rel=0.01)
    (whole_told,) = reach_energies(parts, np.array([True, False]), [(face, controls)])
    assert whole_told[:, 0] == approx(energies[:, 0]) and whole_told[:, 1] == approx(energies.sum(axis=1), rel=0.01)


def test_a_held_node_of_a_face_reaches_nowhere():
    matrix = grid_problem()
    (energies,) = reach_energies([matrix], np.array([True]), [(np.array([5, -1, 60]), sp.csr_array(np.eye(3)))])
    assert energies[1, 0] == 0 and (energies[[0, 2], 0] > 0).all()


def test_the_largest_weighted_sum_of_the_few_is_no_less_than_of_all_and_hardly_more():
    rng = np.random.default_rng(3)
    rows = rng.random((300, 3))
    few = dominating(rows)
    assert len(few) < 60 and few[0].sum() == approx((1 + SLACK) * rows.sum(axis=1).max())
    for weights in rng.random((50, 3)):
        assert 1 <= (few @ weights).max() / (rows @ weights).max() <= (1 + SLACK) * (1 + 1e-12)


def test_sides_know_the_elements_on_either_hand():
    # Two triangles with a common side: corners 0 1 2 and 1 3 2, middles 4..8, the common one being 5.
    controls = face_controls(np.array([[10, 11, 12, 14, 15, 16], [11, 13, 12, 17, 18, 15]]))
    assert controls.corners == 4 and list(controls.nodes) == [10, 11, 12, 13, 14, 15, 16, 17, 18]
    assert [sorted(set(each)) for each in controls.beside.tolist()] == [[0], [0, 1], [0], [1], [1]]
    nodal = np.arange(9.0) ** 2
    assert (controls.matrix @ nodal)[4:] == approx(
        [2 * 16 - 0.5, 2 * 25 - 2.5, 2 * 36 - 2.0, 2 * 49 - 5.0, 2 * 64 - 6.5]
    )


@pytest.mark.parametrize("least", ["corner", "side"])
def test_a_bump_inside_or_on_a_side_is_seen_between_the_nodes(least):
    # -(b - 0.3)^2 - (c - y)^2, largest 0: at (0.3, 0.2) inside, or at c = 0 on a side.
    y = 0.2 if least == "corner" else 0.0
    bary = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]])
    nodal = -((bary[:, 1] - 0.3) ** 2) - (bary[:, 2] - y) ** 2
    assert largest_of_quadratics(controls_of(nodal)[:, None])[0] == approx(0.0, abs=1e-14)
