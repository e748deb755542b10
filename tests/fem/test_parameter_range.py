"""One discretisation for a range of designs: what it tells of its own error holds at designs that it was not made for."""

from dataclasses import replace

import numpy as np
import pytest

from plancha.fem.components import component_states
from plancha.fem.findings import solve_with_estimate
from plancha.fem.greedy import between
from plancha.fem.parameter_range import discretised_over
from plancha.fem.parameters import Parameter, changed_stack
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.geometry.study_file import read_study


@pytest.fixture(scope="module")
def stack(pair_text, tmp_path_factory):
    """Two dies on one plate."""
    path = tmp_path_factory.mktemp("study") / "study.toml"
    path.write_text(pair_text)
    return read_study(path).cases[0].stack


def peaks(solution):
    """Peak rises of all components."""
    return np.array([state.peak.value for state in component_states(solution)]) - solution.sheets.stack.reference


def test_the_error_told_holds_over_the_range_and_is_one_an_engineer_can_use(stack):
    parameters = [
        Parameter("plate", "thickness", (0,), 1.5e-3, 6e-3),
        Parameter("silicon", "thickness", (1,), 0.2e-3, 1e-3),
        Parameter("interface", "impedance", (0,), 2e-6, 50e-6),
        Parameter("film", "coefficient", (0,), 500.0, 5000.0),
    ]
    solution, told = discretised_over(stack, parameters)
    sheets = solution.sheets
    through = [slab.through for slab in sheets.slabs]
    for shares in np.random.default_rng(7).random((6, 4)).round():
        design = changed_stack(sheets.stack, parameters, between(parameters, shares[None])[0])
        fine = solve_with_estimate(replace(design, accuracy=5e-4))
        apart = np.abs(peaks(solve(sheets_of(design, sheets.space, through))) - peaks(fine.solution))
        assert (apart <= told * peaks(fine.solution) + fine.estimate.total[:, 0]).all()
    assert (told < 0.03).all()


def test_the_solution_is_the_stacks_own(stack):
    solution, told = discretised_over(stack, [Parameter("film", "coefficient", (0,), 1000.0, 4000.0)])
    own = solve_with_estimate(stack)
    assert solution.sheets.stack.films == own.solution.sheets.stack.films
    assert peaks(solution) == pytest.approx(peaks(own.solution), rel=2 * max(told))
