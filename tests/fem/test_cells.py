"""Integrals over coolant cells: exact where one coefficient holds, consistent always."""

import numpy as np
import pytest
import shapely

from plancha.fem.cells import MOST_CUTS, CellGrid, cell_integrals, cut_rule
from plancha.fem.plan import plan_space
from plancha.geometry.mesh import mesh_of


@pytest.fixture(scope="module")
def space():
    return plan_space(mesh_of([shapely.box(0, 0, 0.06, 0.04)], largest=0.012))


def grid(nx: int, ny: int) -> CellGrid:
    return CellGrid(np.linspace(0, 0.06, nx + 1), np.linspace(0, 0.04, ny + 1), np.arange(nx * ny).reshape(nx, ny))


@pytest.mark.parametrize("cuts", [1, 2, 3, 7, MOST_CUTS])
def test_the_rule_of_a_cut_triangle_integrates_degree_four_exactly(cuts):
    points, weights = cut_rule(cuts)
    assert len(points) == 6 * cuts**2
    assert weights.sum() == pytest.approx(1.0, rel=1e-14)
    for p in range(5):
        for q in range(5 - p):
            # Integral of b^p c^q over a triangle of area 1: 2 p! q!/(p + q + 2)!.
            exact = 2 * np.prod(range(1, p + 1)) * np.prod(range(1, q + 1)) / np.prod(range(1, p + q + 3))
            assert weights @ (points[:, 1] ** p * points[:, 2] ** q) == pytest.approx(float(exact), rel=1e-12)


def test_one_coefficient_everywhere_gives_the_mass_matrix(space):
    found = cell_integrals(space, np.arange(len(space.areas)), grid(7, 5), np.full(35, 3.0))
    assert found.matrix == pytest.approx(3.0 * space.mass, rel=1e-12, abs=1e-14 * space.mass.max())


def test_what_the_solid_loses_to_the_cells_is_what_the_cells_gain(space):
    coefficient = np.random.default_rng(5).uniform(0, 100, 35)
    found = cell_integrals(space, np.arange(len(space.areas)), grid(7, 5), coefficient)
    lost = np.bincount(space.element_nodes.ravel(), found.matrix.sum(axis=2).ravel(), len(space.nodes))
    assert np.asarray(found.coupling.sum(axis=0)).ravel() == pytest.approx(lost, rel=1e-12, abs=1e-18)


def test_each_cell_counts_its_own_area(space):
    cells = grid(7, 5)
    found = cell_integrals(space, np.arange(len(space.areas)), cells, np.ones(35))
    areas = np.asarray(found.coupling.sum(axis=1)).ravel()
    assert areas == pytest.approx(np.full(35, 0.06 * 0.04 / 35), rel=0.06)  # as finely as triangles are cut
    assert areas.sum() == pytest.approx(0.06 * 0.04, rel=1e-12)


def test_places_without_a_cell_count_for_nothing(space):
    cells = grid(2, 1)
    half = CellGrid(cells.x, cells.y, np.array([[0], [-1]]))
    found = cell_integrals(space, np.arange(len(space.areas)), half, np.array([10.0]))
    assert found.coupling.sum() == pytest.approx(10 * 0.06 * 0.04 / 2, rel=0.03)
    assert found.matrix.sum() == pytest.approx(float(found.coupling.sum()), rel=1e-12)
