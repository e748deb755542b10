"""Reduced models: the affine form is the problem itself, and the bound is never below the true error against the full problem."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.affine import NotReducible, affine_of
from plancha.fem.components import component_states
from plancha.fem.findings import solve_stack
from plancha.fem.greedy import between, reduced_model, training_designs
from plancha.fem.parameters import Parameter, changed_stack, parameters_between, values_in
from plancha.fem.reduced import evaluate, face_rises
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import conduction_matrix, solve
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE
from plancha.geometry.store import Store
from plancha.geometry.study_file import read_study

HELD = """
[[edge]]
name = "left rim"
on = "plate"
side = "left"
held = "40 degC"
[[edge]]
name = "right rim"
on = "plate"
side = "right"
coefficient = "300 W/m^2/K"
"""


def stack_from(text, tmp_path_factory):
    """The stack of a study given as text."""
    path = tmp_path_factory.mktemp("study") / "study.toml"
    path.write_text(text)
    return read_study(path).cases[0].stack


def full(solution, parameters, design):
    """The problem itself at a design, assembled anew on the same mesh and thickness functions, and solved."""
    sheets = solution.sheets
    stack = changed_stack(sheets.stack, parameters, design)
    return solve(sheets_of(stack, sheets.space, [slab.through for slab in sheets.slabs]))


@pytest.fixture(scope="module")
def solution(pair_text, tmp_path_factory):
    """Two dies on one plate, one rim held, another convecting, a way out to the board."""
    return solve_stack(stack_from(pair_text + HELD, tmp_path_factory))


@pytest.fixture(scope="module")
def parameters(solution):
    """One of each kind, over wide ranges."""
    stack = solution.sheets.stack
    names = [body.name for body in stack.bodies], [joint.name for joint in stack.joints]
    die = names[0].index("die/silicon")
    return [
        Parameter("plate", "thickness", (names[0].index("plate"),), 1.5e-3, 5e-3),
        Parameter("silicon", "conductivity", (die,), 80.0, 160.0),
        Parameter("interface", "impedance", (names[1].index("interface"),), 3e-6, 40e-6),
        Parameter("film", "coefficient", (0,), 800.0, 4000.0),
        Parameter("driver", "power", (1,), 5.0, 40.0),
        Parameter("coolant", "temperature", (0,), 290.0, 320.0),
    ]


@pytest.fixture(scope="module")
def model(solution, parameters):
    """Trained to 1 %."""
    return reduced_model(solution, parameters, wanted=0.01, errors=np.array([0.002, 0.004]))


SHARES = st.lists(st.floats(0, 1), min_size=6, max_size=6)


@settings(max_examples=12, deadline=None)
@given(shares=SHARES)
def test_the_affine_form_is_the_problem_itself(solution, parameters, shares):
    design = between(parameters, np.array([shares]))
    affine, there = affine_of(solution, parameters), full(solution, parameters, design[0])
    free = affine.free
    matrix = conduction_matrix(there.sheets, None).csr
    assert abs(affine.matrix(affine.thetas(design)[0]) - matrix[free][:, free]).max() < 1e-13 * abs(matrix).max()
    heat = there.heat + there.sheets.coolant_heat_above(there.sheets.stack.reference) - matrix @ affine.lift
    assert affine.right_sides @ affine.right_factors(design)[0] == approx(heat[free], abs=1e-12 * abs(heat).max())


@settings(max_examples=20, deadline=None)
@given(shares=SHARES)
def test_no_error_is_beyond_its_bound(solution, parameters, model, shares):
    design = between(parameters, np.array([shares]))
    found, there = evaluate(model, design), full(solution, parameters, design[0])
    rises = (
        np.array([(state.peak.value, state.mean) for state in component_states(there)]) - there.sheets.stack.reference
    )
    rounding = 1e-9 * np.abs(rises).max()
    assert (np.abs(found.peaks[0] - rises[:, 0]) <= found.bounds[0] + rounding).all()
    assert (np.abs(found.means[0] - rises[:, 1]) <= found.mean_bounds[0] + rounding).all()


def test_a_poor_basis_says_so_and_its_bound_still_holds(solution, parameters):
    poor = reduced_model(solution, parameters, most=3)
    assert poor.reached > 0.05
    designs = training_designs(parameters, 8)
    found = evaluate(poor, designs)
    for design, peaks, bounds in zip(designs[-8:], found.peaks[-8:], found.bounds[-8:]):
        there = full(solution, parameters, design)
        true = np.array([state.peak.value for state in component_states(there)]) - there.sheets.stack.reference
        assert (np.abs(peaks - true) <= bounds).all() and np.abs(peaks - true).max() > 1e-6


def test_bounds_on_other_designs_are_about_as_trained(parameters, model):
    assert model.reached <= 0.01 and model.is_certified
    shares = np.random.default_rng(20261125).random((2000, 6))
    assert evaluate(model, between(parameters, shares)).worst.max() < 0.02


def test_a_design_that_the_basis_was_made_of_is_met_exactly(solution, parameters, model):
    middle = np.array([[each.middle for each in parameters]])
    found, there = evaluate(model, middle), full(solution, parameters, middle[0])
    for body, face in ((0, COOLED_SIDE), (1, COMPONENT_SIDE)):
        rises = face_rises(model, found.coefficients[0], body, face)
        assert rises == approx(there.face(body, face) - there.sheets.stack.reference, abs=1e-7, nan_ok=True)


def test_answers_do_not_depend_on_how_designs_are_dealt_out(parameters, model):
    designs = training_designs(parameters, 256)
    one, other = evaluate(model, designs), evaluate(model, designs[::-1], threads=2)
    assert one.peaks == approx(other.peaks[::-1], rel=1e-12) and one.bounds == approx(other.bounds[::-1], rel=1e-6)
    assert one.discretisation == approx(np.abs(one.peaks) * [0.002, 0.004])


def test_a_patch_follows_its_body_where_it_has_the_bodys_own_value(tmp_path_factory, pair_text):
    patched = pair_text.replace(
        '[[component]]\nname = "die"',
        '[[plate.patch]]\nat = ["4 mm", "4 mm"]\nsize = ["8 mm", "8 mm"]\n'
        'material = { conductivity = "1000 W/m/K" }\n[[component]]\nname = "die"',
    )
    solved = solve_stack(stack_from(patched, tmp_path_factory))
    assert solved.sheets.stack.bodies[0].patches
    both = [Parameter("t", "thickness", (0,), 2e-3, 5e-3), Parameter("k", "conductivity", (0,), 200.0, 400.0)]
    affine, design = affine_of(solved, both), np.array([[4e-3, 250.0]])
    there = full(solved, both, design[0])
    matrix = conduction_matrix(there.sheets, None).csr
    assert abs(affine.matrix(affine.thetas(design)[0]) - matrix).max() < 1e-13 * abs(matrix).max()


def test_owners_of_one_parameter_take_the_same_value_whatever_they_had(solution):
    stack = solution.sheets.stack
    assert stack.joints[0].impedance != stack.joints[1].impedance
    both = [Parameter("both joints", "impedance", (0, 1), 5e-6, 50e-6)]
    affine, design = affine_of(solution, both), np.array([[20e-6]])
    free, matrix = affine.free, conduction_matrix(full(solution, both, design[0]).sheets, None).csr
    assert abs(affine.matrix(affine.thetas(design)[0]) - matrix[free][:, free]).max() < 1e-13 * abs(matrix).max()


def test_what_differs_between_two_stacks_is_found_and_named(solution):
    stack = solution.sheets.stack
    films = tuple(replace(film, temperature=film.temperature + 10) for film in stack.films)
    joints = tuple(replace(joint, impedance=2 * joint.impedance) for joint in stack.joints)
    other = replace(stack, films=films, joints=joints)
    found = parameters_between(stack, other)
    assert [(each.kind, each.numbers) for each in found] == [
        ("impedance", (0,)),
        ("impedance", (1,)),
        ("temperature", tuple(range(len(films)))),
    ]
    assert values_in(other, found) == approx([each.high for each in found])
    assert parameters_between(changed_stack(stack, found, values_in(other, found)), other) == []


def test_what_stands_in_the_way_is_said_all_at_once(tmp_path_factory, solution, pair_text):
    with pytest.raises(NotReducible, match=r"film: .* has no one coefficient"):
        stack = solution.sheets.stack
        sheets = replace(solution.sheets, stack=replace(stack, films=(replace(stack.films[0], coefficient=0.0),)))
        affine_of(replace(solution, sheets=sheets), [Parameter("film", "coefficient", (0,), 1.0, 2.0)])
    deep = pair_text.replace('power = "60 W"', 'power = "60 W"\nheat_depth = "0.1 mm"').replace(
        "10 mm^2 K/W", "0 mm^2 K/W"
    )
    solved = solve_stack(stack_from(deep, tmp_path_factory))
    die = [body.name for body in solved.sheets.stack.bodies].index("die/silicon")
    wanted = [Parameter("t", "thickness", (die,), 1e-4, 1e-3), Parameter("R", "impedance", (0,), 1e-6, 1e-5)]
    with pytest.raises(NotReducible, match="two parameters act on the same number"):
        affine_of(solution, 2 * [Parameter("film", "coefficient", (0,), 1.0, 2.0)])
    with pytest.raises(ValueError, match="not above 0"):
        affine_of(solution, [Parameter("film", "coefficient", (0,), 1.0, 2.0)]).thetas(np.array([[0.0]]))
    with pytest.raises(NotReducible, match=r"t: heat is made .* of die/silicon; R: interface is a perfect contact"):
        affine_of(solved, wanted)


def test_conductivity_that_follows_temperature_makes_it_an_estimate(tmp_path_factory, single_text):
    silicon = single_text.replace('{ conductivity = "120 W/m/K" }', '"silicon"')
    solved = solve_stack(stack_from(silicon, tmp_path_factory))
    film = [Parameter("film", "coefficient", (0,), 1990.0, 2010.0)]
    model = reduced_model(solved, film)
    assert not model.is_certified and "estimate" in repr(model)
    peak = component_states(solved)[0].peak.value - solved.sheets.stack.reference
    assert evaluate(model, np.array([[2000.0]])).peaks[0, 0] == approx(peak, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "low", "high"), [("thickness", 0.0, 1.0), ("impedance", 2.0, 1.0), ("colour", 1.0, 2.0)]
)
def test_impossible_parameters_are_refused(kind, low, high):
    with pytest.raises(ValueError, match="kind one of"):
        Parameter("x", kind, (0,), low, high)


def test_a_kept_model_answers_as_the_trained_one(tmp_path, solution, parameters, model):
    keep, few = Store(tmp_path).keep, parameters[2:4]
    first = reduced_model(solution, few, wanted=0.02, keep=keep)
    again = reduced_model(solution, few, wanted=0.02, keep=keep, errors=np.array([0.1, 0.2]))
    designs = training_designs(few, 32)
    one, other = evaluate(first, designs), evaluate(again, designs)
    assert len(list(tmp_path.iterdir())) == 1
    assert np.array_equal(one.peaks, other.peaks) and np.array_equal(one.bounds, other.bounds)
    assert other.discretisation == approx(np.abs(one.peaks) * [0.1, 0.2])
    reduced_model(solution, parameters[2:3], wanted=0.02, keep=keep)
    assert len(list(tmp_path.iterdir())) == 2
