"""Plan matrices as sums over triangles are the whole matrices that another assembly makes."""

import numpy as np
import pytest
import shapely
from scipy.spatial import KDTree

from plancha.fem.patterns import PlanMatrix
from plancha.fem.plan import packed_references, plan_space, reference_integrals
from plancha.fem.refinement import refined
from plancha.fem.terms import Operator, Term
from plancha.geometry.mesh import mesh_of


@pytest.fixture(scope="module")
def space():
    return plan_space(
        refined(mesh_of([shapely.box(0, 0, 0.06, 0.04), shapely.box(0.01, 0.01, 0.03, 0.02)], largest=0.02))
    )


def some_matrix(space, elements, seed=0):
    """A mass matrix of a random coefficient, and its dense twin, added up entry by entry."""
    coefficient = np.random.default_rng(seed).uniform(1, 2, len(elements))
    weights = space.products(coefficient, elements)
    matrix = PlanMatrix(space.pattern(elements), weights, packed_references()[0])
    dense = np.zeros((len(space.nodes), len(space.nodes)))
    nodes = space.element_nodes[elements]
    np.add.at(dense, (nodes[:, :, None], nodes[:, None, :]), weights[:, :, None] * reference_integrals()[0])
    return matrix, dense[np.ix_(matrix.pattern.nodes, matrix.pattern.nodes)]


@pytest.mark.parametrize("part", ["all", "some"])
def test_entries_row_sums_and_diagonal_are_those_of_a_dense_assembly(space, part):
    elements = np.arange(len(space.areas)) if part == "all" else space.within(shapely.box(0.01, 0.01, 0.03, 0.02))
    matrix, dense = some_matrix(space, elements)
    assert matrix.csr.toarray() == pytest.approx(dense, rel=1e-12, abs=1e-20)
    assert matrix.row_sums == pytest.approx(dense.sum(axis=1), rel=1e-9, abs=1e-12 * dense.max())
    assert matrix.diagonal == pytest.approx(np.diag(dense), rel=1e-12)


def test_conduction_of_a_turned_grain_is_that_of_scikit_fem(space):
    from skfem import Basis, BilinearForm, ElementTriP2, MeshTri
    from skfem.helpers import grad

    k_xx, k_yy, k_xy = 3.0, 1.0, 0.7
    mesh = space.mesh
    basis = Basis(MeshTri(mesh.points.T.copy(), mesh.triangles.T.astype(np.int64)), ElementTriP2(), intorder=2)

    def form(u, v, w):
        (ux, uy), (vx, vy) = grad(u), grad(v)
        return k_xx * ux * vx + k_yy * uy * vy + k_xy * (ux * vy + uy * vx)

    place = KDTree(basis.doflocs.T).query(space.nodes)[1]  # the library's numbers of our nodes
    theirs = BilinearForm(form).assemble(basis)[place][:, place]
    elements = np.arange(len(space.areas))
    weights = space.conduction(*(np.full(len(elements), k) for k in (k_xx, k_yy, k_xy)), elements)
    ours = PlanMatrix(space.pattern(elements), weights, packed_references()[1]).csr
    assert abs(ours - theirs).max() <= 1e-12 * abs(theirs).max()


def test_matrices_that_are_multiples_of_one_another_are_kept_once_and_make_the_same(space):
    elements = np.arange(len(space.areas))
    matrix, _ = some_matrix(space, elements)
    other, _ = some_matrix(space, elements, seed=1)
    twice = PlanMatrix(matrix.pattern, 2 * matrix.weights, matrix.references)
    count = len(matrix.pattern.nodes)
    unknowns = np.arange(2 * count).reshape(2, count).T
    through = [[2.0, 1.0], [1.0, 2.0]], [[1.0, -1.0], [-1.0, 1.0]], [[1.0, 0.0], [0.0, 3.0]]
    operator = Operator(2 * count, (Term(unknowns, (matrix, twice, other), np.array(through)),))
    (part,) = operator.parts
    assert len({id(each) for each in part.matrices}) == 2 and len(part.matrices) == 5
    assert made_by(part, operator.size) == pytest.approx(whole_makes(operator), abs=1e-12 * abs(operator.csr).max())


def test_matrices_through_which_the_same_goes_are_added_up(space):
    elements = np.arange(len(space.areas))
    one, other, third = (some_matrix(space, elements, seed=seed)[0] for seed in range(3))
    unknowns = np.arange(2 * len(one.pattern.nodes)).reshape(2, -1).T
    mass, stiffness = np.array([[2.0, 1.0], [1.0, 2.0]]), np.array([[1.0, -1.0], [-1.0, 1.0]])
    operator = Operator(
        unknowns.size,
        (Term(unknowns, (one, other), np.stack([mass, stiffness])), Term(unknowns, (third,), -3 * mass[None])),
    )
    (part,) = operator.parts
    assert len(part.matrices) == 3  # of ranks two and one
    assert made_by(part, operator.size) == pytest.approx(whole_makes(operator), abs=1e-12 * abs(operator.csr).max())


def made_by(part, size):
    found = np.zeros(size)
    part.apply(some_state(size), found)
    return found


def whole_makes(operator):
    return operator.csr @ some_state(operator.size)


def some_state(size):
    return np.random.default_rng(2).standard_normal(size)


def test_a_sheet_and_its_film_are_one_matrix(space):
    elements = np.arange(len(space.areas))
    one, other = some_matrix(space, elements)[0], some_matrix(space, elements, seed=1)[0]
    unknowns = np.arange(len(one.pattern.nodes))[:, None]
    terms = tuple(Term(unknowns, (each,), np.full((1, 1, 1), factor)) for each, factor in ((one, 3.0), (other, 0.5)))
    operator = Operator(len(unknowns), terms)
    (part,) = operator.parts
    assert part.matrices[0].toarray() == pytest.approx(3.0 * one.csr.toarray() + 0.5 * other.csr.toarray(), rel=1e-12)
