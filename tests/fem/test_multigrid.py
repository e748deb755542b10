"""The iteration finds what the factor finds, on nested meshes whose coarse operators are those of the coarse meshes, in few steps."""

from dataclasses import replace

import numpy as np
import plates
import pytest
from plates import REFERENCE

from plancha.fem import terms
from plancha.fem.cholesky import Cholesky
from plancha.fem.coarsening import Coarsening
from plancha.fem.columns import FAR, bodies_of, columns_of
from plancha.fem.multigrid import Multigrid, _coarsened
from plancha.fem.plan import plan_space
from plancha.fem.refinement import plan_errors, refined, worst_triangles
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import factorised, free_unknowns, solve
from plancha.geometry.bodies import COOLED_SIDE, Held, Joint, Rim
from plancha.geometry.grading import plan_mesh

DIE, PLATE = (14e-3, 12e-3, 12e-3, 10e-3), (0.0, 0.0, 40e-3, 30e-3)


def die_on_plate(impedance: float = 10e-6, conductivity=390.0, turned: float = 0.0):
    bodies = [plates.body("die", DIE, 0.5e-3, 120.0), plates.body("plate", PLATE, 2e-3, conductivity, turned)]
    source = plates.source("source", (16e-3, 13e-3, 3e-3, 4e-3), 20.0, chain=(0, 1), joints=(0,))
    return plates.stack(bodies, [source], [plates.cooled(2000.0, of_body=1)], [Joint("joint", 0, 1, impedance)])


def fins_on_plate(conductivity, thickness: float, turned: float = 0.0):
    bodies = [
        plates.body("die", DIE, 0.5e-3, 120.0),
        plates.body("plate", PLATE, 2e-3, 390.0),
        plates.body("fins", (4e-3, 5e-3, 30e-3, 20e-3), thickness, conductivity, turned),
    ]
    source = plates.source("source", (16e-3, 13e-3, 3e-3, 4e-3), 20.0, chain=(0, 1), joints=(0,))
    joints = [Joint("joint", 0, 1, 10e-6), Joint("foot", 1, 2, 2e-6)]
    return plates.stack(bodies, [source], [plates.cooled(2000.0, of_body=2)], joints)


def die_at_the_rim():
    """A die a tenth of a millimetre from the plate's lower rim: few triangles between, each stretched far."""
    near = (14e-3, 0.1e-3, 12e-3, 10e-3)
    bodies = [plates.body("die", near, 0.5e-3, 120.0), plates.body("plate", PLATE, 2e-3, 390.0)]
    source = plates.source("source", near, 20.0, chain=(0, 1), joints=(0,))
    return plates.stack(bodies, [source], [plates.cooled(2000.0, of_body=1)], [Joint("joint", 0, 1, 10e-6)])


def with_rim(stack):
    return replace(stack, rims=(Rim("edge", 1, "left", 500.0, REFERENCE),))


def with_held_face(stack):
    return replace(stack, films=(), helds=(Held("base", 1, COOLED_SIDE, REFERENCE),))


def with_held_rim(stack):
    return replace(stack, rims=(Rim("edge", 1, "upper", None, REFERENCE),))


STACKS = {
    "a joint": die_on_plate(),
    "perfect contact": die_on_plate(0.0),
    "grain turned by 30 degrees": die_on_plate(conductivity=(1500.0, 10.0, 1500.0), turned=np.pi / 6),
    "fins, which conduct one way alone": fins_on_plate((50.0, 0.0, 50.0), 15e-3),
    "pins, which conduct upwards alone": fins_on_plate((0.0, 0.0, 50.0), 15e-3),
    "a heat pipe askew": fins_on_plate((8000.0, 200.0, 100.0), 3e-3, np.pi / 6),
    "a die at the rim": die_at_the_rim(),
    "a rim that convects": with_rim(die_on_plate()),
    "a held face": with_held_face(die_on_plate()),
    "a held rim": with_held_rim(die_on_plate()),
}


def sheets_on(stack, cuts: int):
    mesh = plan_mesh(stack)
    for _ in range(cuts):
        mesh = refined(mesh)
    return sheets_of(stack, plan_space(mesh), through_of(stack))


def multigrid(sheets):
    return Multigrid(sheets.constant, bodies_of(sheets.slabs), sheets.space, free_unknowns(sheets))


@pytest.mark.parametrize("name", STACKS)
def test_the_iteration_finds_what_the_factor_finds(name):
    sheets = sheets_on(STACKS[name], 2)
    free = free_unknowns(sheets)
    heat = np.column_stack([sheets.unit_loads[0], sheets.unit_loads[0] * np.linspace(0, 1, sheets.size)])[free]
    by_factor = Cholesky(sheets.constant.csr[free][:, free]).solve(heat)
    by_steps = multigrid(sheets).solve(heat)
    assert np.abs(by_steps - by_factor).max() <= 1e-9 * np.abs(by_factor).max()


COATINGS = {  # thickness, conductivities of coating, die and plate, joints' impedance, film
    "a micrometre that hardly conducts": (1e-6, 0.2, 120.0, 390.0, 0.0, 2000.0),
    "a micrometre of diamond under glass": (1e-6, 2000.0, 0.2, 390.0, 0.0, 2000.0),
    "a nanometre": (1e-9, 100.0, 120.0, 390.0, 0.0, 10.0),
    "joints as good as none": (1e-6, 1.0, 2000.0, 0.2, 1e-12, 1.0),
    "joints as bad as air": (1e-4, 1.0, 120.0, 390.0, 1e-3, 5.0),
    "hardly any film": (50e-6, 1.0, 120.0, 390.0, 0.0, 1e-2),
}


@pytest.mark.parametrize("name", COATINGS)
def test_single_precision_in_the_cycles_costs_no_accuracy(name):
    """What is left is what rounding in double precision leaves of the products; a factor finds the same rises."""
    thickness, coating, die, plate, impedance, h = COATINGS[name]
    bodies = [
        plates.body("die", DIE, 0.5e-3, die),
        plates.body("coating", DIE, thickness, coating),
        plates.body("plate", PLATE, 2e-3, plate),
    ]
    source = plates.source("source", (16e-3, 13e-3, 3e-3, 4e-3), 20.0, chain=(0, 1, 2), joints=(0, 1))
    joints = [Joint("upper", 0, 1, impedance), Joint("lower", 1, 2, impedance)]
    sheets = sheets_on(plates.stack(bodies, [source], [plates.cooled(h, of_body=2)], joints), 2)
    heat, solver = sheets.unit_loads[0], multigrid(sheets)
    rise, by_factor = solver.solve(heat), Cholesky(sheets.constant.csr).solve(heat)
    rounding = np.finfo(float).eps * np.linalg.norm(sheets.constant.magnitudes(rise))
    assert np.linalg.norm(heat - sheets.constant @ rise) <= 1e-12 * np.linalg.norm(heat) + 5 * rounding
    assert np.abs(rise - by_factor).max() <= 1e-5 * by_factor.max()
    assert solver.steps <= 25


def test_triangles_cut_in_one_corner_alone_are_one_more_level():
    stack = die_on_plate()
    coarse = sheets_on(stack, 1)
    solution = solve(coarse)
    marked = worst_triangles(plan_errors(solution, coarse.unit_loads.T)[:, 0], 0.5)
    mesh = refined(coarse.space.mesh, marked)
    assert len(mesh.triangles) < 3 * len(coarse.space.mesh.triangles)
    sheets = sheets_of(stack, plan_space(mesh), through_of(stack))
    by_factor = Cholesky(sheets.constant.csr).solve(sheets.unit_loads[0])
    assert np.abs(multigrid(sheets).solve(sheets.unit_loads[0]) - by_factor).max() <= 1e-9 * by_factor.max()


def test_coarser_functions_are_taken_over_exactly():
    fine = plan_space(refined(plan_mesh(die_on_plate())))
    coarse, coarsening = fine.coarser, Coarsening(fine, fine.coarser)

    def some(x, y):
        return 3.0 + x * 20 - y * 7 + x * y * 300 - 900 * x * x + 100 * y * y

    assert coarsening.prolongation @ some(*coarse.nodes.T) == pytest.approx(some(*fine.nodes.T), rel=1e-12)
    assert fine.nodes[coarsening.nodes] == pytest.approx(coarse.nodes, abs=1e-15)


@pytest.mark.parametrize("name", ["a joint", "perfect contact", "a rim that convects"])
def test_the_coarse_operator_is_that_of_the_coarse_mesh(name):
    fine, coarse = sheets_on(STACKS[name], 2), sheets_on(STACKS[name], 1)
    operator, _, bodies, _ = _coarsened(fine.constant, bodies_of(fine.slabs), fine.space)
    assert operator.size == coarse.size
    number = np.zeros(coarse.size, int)  # of the coarse mesh's unknowns among those kept of the fine one's
    for slab, body in zip(coarse.slabs, bodies):
        assert np.array_equal(body.pattern.nodes, slab.pattern.nodes)
        number[slab.unknowns] = body.unknowns
    difference = operator.csr[number][:, number] - coarse.constant.csr
    assert abs(difference).max() <= 1e-10 * abs(coarse.constant.csr).max()


@pytest.mark.parametrize(
    ("name", "most", "more"),
    [
        ("a joint", 15, 3),
        ("grain turned by 30 degrees", 10, 2),
        ("fins, which conduct one way alone", 15, 3),
        ("pins, which conduct upwards alone", 15, 3),
        ("a heat pipe askew", 15, 3),
        ("a die at the rim", 15, 3),
    ],
)
def test_steps_hardly_grow_with_the_mesh(name, most, more):
    """From 13,000 to 340,000 unknowns; a grain keeps modes that the coarser mesh cannot see."""
    steps = []
    for cuts in (2, 4):
        sheets = sheets_on(STACKS[name], cuts)
        solver = multigrid(sheets)
        solver.solve(sheets.unit_loads[0], 1e-10)
        steps.append(solver.steps)
    assert steps[1] <= steps[0] + more
    assert max(steps) <= most


def test_far_stretched_triangles_are_relaxed_as_a_whole():
    """Few, so that all others are relaxed no more often than these are stretched."""
    solver = multigrid(sheets_on(STACKS["a die at the rim"], 2))
    assert [len(level.blocks) for level in solver.levels] == [1, 1]
    assert solver.levels[0].relaxations <= FAR


@pytest.mark.parametrize("name", ["perfect contact", "fins, which conduct one way alone"])
def test_what_is_between_some_unknowns_is_what_the_whole_matrix_has_there(name):
    operator = sheets_on(STACKS[name], 1).constant
    some = np.random.default_rng(3).permutation(operator.size)[: operator.size // 3]
    difference = operator.between(some) - operator.csr[some][:, some]
    assert abs(difference).max() <= 1e-12 * abs(operator.csr).max()


def test_columns_of_one_length_are_inverted_each_with_its_own_bodies():
    """The lid is second where the left die is not, third where it is: there its unknowns have other places in columns as long."""
    whole, left, right = (0, 0, 20e-3, 10e-3), (2e-3, 2e-3, 5e-3, 5e-3), (12e-3, 2e-3, 5e-3, 5e-3)
    shapes = {"plate": whole, "left die": left, "lid": whole, "right die": right}
    bodies = [plates.body(name, shape, 1e-3, 100.0) for name, shape in shapes.items()]
    joints = [Joint("low", 0, 1, 1e-6), Joint("between", 0, 2, 1e-4), Joint("high", 2, 3, 1e-6)]
    stack = plates.stack(
        bodies, [plates.source("heat", left, 1.0, chain=(1, 0), joints=(0,))], [plates.cooled(100.0)], joints
    )
    sheets = sheets_on(stack, 1)
    matrix = sheets.constant.csr
    for columns in columns_of(sheets.constant, bodies_of(sheets.slabs), np.ones(sheets.size, bool)):
        unknowns = np.array([np.arange(sheets.size)[place] for place in columns.places]).T
        blocks = np.array([matrix[own][:, own].toarray() for own in unknowns])
        assert np.moveaxis(columns.inverse, 2, 0) @ blocks == pytest.approx(
            np.broadcast_to(np.eye(len(columns.places)), blocks.shape), abs=1e-4
        )


def test_right_sides_side_by_side_are_found_as_one_by_one():
    sheets = sheets_on(STACKS["a joint"], 2)
    solver, some = multigrid(sheets), np.random.default_rng(5).uniform(0.5, 1.5, (5, 1)) * sheets.unit_loads[0]
    together = solver.solve(np.ascontiguousarray(some.T))
    assert (together == np.column_stack([solver.solve(each) for each in some])).all()


def test_products_make_what_the_whole_matrix_makes():
    sheets = sheets_on(with_rim(die_on_plate(0.0)), 1)
    whole = sheets.constant.csr
    x = np.random.default_rng(3).standard_normal((sheets.size, 2))
    found = np.zeros_like(x)
    for column, of_column in zip(x.T, found.T):
        for part in sheets.constant.parts:
            part.apply(column, of_column)
    assert found == pytest.approx(whole @ x, abs=1e-12 * abs(whole).max())


def test_a_large_problem_is_solved_as_a_small_one_is(monkeypatch):
    stack = with_held_rim(die_on_plate())
    sheets = sheets_on(stack, 1)
    by_factor = solve(sheets)
    monkeypatch.setattr(terms, "LARGE", 100)
    again = sheets_on(stack, 1)
    assert isinstance(factorised(again).factor, Multigrid)
    by_steps = solve(again)
    for one, other in zip(sheets.slabs, again.slabs, strict=True):  # large problems are numbered otherwise
        assert by_steps.temperature[other.unknowns] == pytest.approx(by_factor.temperature[one.unknowns], abs=1e-9)
    assert by_steps.held_heat(0) == pytest.approx(by_factor.held_heat(0), rel=1e-9)
