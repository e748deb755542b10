"""Integrals over coolant cells: exact, whether or not the mesh follows the cells, and consistent always."""

import numpy as np
import pytest
import shapely

from plancha.fem.cells import CellGrid, cell_integrals, pieces_of, rule
from plancha.fem.plan import plan_space, reference_integrals
from plancha.geometry.mesh import mesh_of


@pytest.fixture(scope="module")
def space():
    return plan_space(mesh_of([shapely.box(0, 0, 0.06, 0.04)], largest=0.012))


def grid(nx: int, ny: int) -> CellGrid:
    return CellGrid(np.linspace(0, 0.06, nx + 1), np.linspace(0, 0.04, ny + 1), np.arange(nx * ny).reshape(nx, ny))


def everything(space) -> np.ndarray:
    return np.arange(len(space.areas))


def test_the_rule_integrates_degree_four_exactly():
    points, weights = rule()
    assert weights.sum() == pytest.approx(1.0, rel=1e-14)
    for p in range(5):
        for q in range(5 - p):
            # Integral of b^p c^q over a triangle of area 1: 2 p! q!/(p + q + 2)!.
            exact = 2 * np.prod(range(1, p + 1)) * np.prod(range(1, q + 1)) / np.prod(range(1, p + q + 3))
            assert weights @ (points[:, 1] ** p * points[:, 2] ** q) == pytest.approx(float(exact), rel=1e-12)


def test_one_coefficient_everywhere_gives_the_mass_matrix(space):
    found = cell_integrals(pieces_of(space, everything(space), grid(7, 5)), np.full(35, 3.0))
    mass = 2 * space.areas[:, None, None] * reference_integrals()[0]
    assert found.matrix == pytest.approx(3.0 * mass, rel=1e-12, abs=1e-14 * mass.max())


def test_what_the_solid_loses_to_the_cells_is_what_the_cells_gain(space):
    coefficient = np.random.default_rng(5).uniform(0, 100, 35)
    found = cell_integrals(pieces_of(space, everything(space), grid(7, 5)), coefficient)
    lost = np.bincount(space.element_nodes.ravel(), found.matrix.sum(axis=2).ravel(), len(space.nodes))
    assert np.asarray(found.coupling.sum(axis=0)).ravel() == pytest.approx(lost, rel=1e-12, abs=1e-18)


@pytest.mark.parametrize(("nx", "ny"), [(1, 1), (7, 5), (48, 40), (300, 2)])
def test_each_cell_counts_its_own_area_and_first_moments_however_fine(space, nx, ny):
    cells = grid(nx, ny)
    found = cell_integrals(pieces_of(space, everything(space), cells), np.ones(nx * ny))
    area = 0.06 * 0.04 / (nx * ny)
    assert np.asarray(found.coupling.sum(axis=1)).ravel() == pytest.approx(np.full(nx * ny, area), rel=1e-9)
    # Quadratic functions hold x^2 exactly: its integral over each cell is (b^3 - a^3)/3 times the cell's height.
    edges = cells.x**3 / 3
    exact = np.repeat(np.diff(edges) * 0.04 / ny, ny)
    assert found.coupling.tocsr() @ space.nodes[:, 0] ** 2 == pytest.approx(exact, rel=1e-9)


def test_products_are_those_of_each_cell_s_own_coefficient(space):
    # Integral of c (1 + x)^2 y^0 over the plan, cell by cell by hand: functions of the element hold 1 + x exactly.
    coefficient = np.arange(1.0, 36.0)
    found = cell_integrals(pieces_of(space, everything(space), grid(7, 5)), coefficient)
    local = (1 + space.nodes[:, 0])[space.element_nodes]
    edges = (1 + np.linspace(0, 0.06, 8)) ** 3 / 3
    exact = (coefficient.reshape(7, 5).sum(axis=1) * np.diff(edges)).sum() * 0.04 / 5
    assert np.einsum("ei,eij,ej->", local, found.matrix, local) == pytest.approx(exact, rel=1e-12)


def test_places_without_a_cell_count_for_nothing(space):
    cells = grid(2, 1)
    half = CellGrid(cells.x, cells.y, np.array([[0], [-1]]))
    found = cell_integrals(pieces_of(space, everything(space), half), np.array([10.0]))
    assert found.coupling.sum() == pytest.approx(10 * 0.06 * 0.04 / 2, rel=1e-12)
    assert found.matrix.sum() == pytest.approx(float(found.coupling.sum()), rel=1e-12)


def test_a_cell_that_takes_nothing_is_not_coupled(space):
    found = cell_integrals(pieces_of(space, everything(space), grid(2, 1)), np.array([10.0, 0.0]))
    assert set(found.coupling.coords[0]) == {0}


def test_some_of_the_triangles_keep_their_own_pieces(space):
    whole = pieces_of(space, everything(space), grid(7, 5))
    some = np.flatnonzero(space.nodes[space.element_nodes[:, :3]].mean(axis=1)[:, 0] < 0.03)
    coefficient = np.linspace(1, 2, 35)
    one = cell_integrals(whole.of(some), coefficient)
    other = cell_integrals(pieces_of(space, some, grid(7, 5)), coefficient)
    assert one.matrix == pytest.approx(other.matrix, rel=1e-14)
    assert one.coupling.toarray() == pytest.approx(other.coupling.toarray(), rel=1e-14)
    assert one.matrix == pytest.approx(cell_integrals(whole, coefficient).matrix[some], rel=1e-14)
