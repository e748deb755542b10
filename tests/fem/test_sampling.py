"""Temperatures at many points: those of the probes, of closed forms, and an error that is no smaller than the true one."""

import numpy as np
import pytest
from small_study import chip_on_plate, probe

from plancha.fem.components import probe_readings
from plancha.fem.findings import solve_stack, solve_with_estimate
from plancha.fem.sampling import (
    fixed_discretisation,
    sampled,
    samples_of_probes,
    samples_on_face,
    sampling_errors,
    triangles_at,
)
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE
from plancha.geometry.study_file import changed_case, read_study

STUDY = chip_on_plate(
    probe("on the chip", 17, 13, 'on = "chip"'), probe("on the cooled side", 30.3, 21.7, 'face = "cooled side"')
)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    path = tmp_path_factory.mktemp("sampling") / "study.toml"
    path.write_text(STUDY)
    return read_study(path)


@pytest.fixture(scope="module")
def solved(study):
    return solve_with_estimate(study.cases[0].stack)


def test_probes_are_sampled_where_they_are_read_one_by_one(study, solved):
    stack = study.cases[0].stack
    one_by_one = [reading.temperature for reading in probe_readings(solved.solution)]
    assert sampled(solved.solution, samples_of_probes(stack.probes)) == pytest.approx(one_by_one, abs=1e-9)


def test_samples_keep_the_mean_and_the_heat_of_the_film(study, solved):
    # All the heat leaves by the film: its mean rise is power / (h A). Middle points of a fine grid integrate a smooth field.
    x, y = (np.arange(160) + 0.5) / 160 * 0.04, (np.arange(120) + 0.5) / 120 * 0.03
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    values = sampled(solved.solution, samples_on_face(0, COOLED_SIDE, points))
    assert values.mean() - 298.15 == pytest.approx(30 / (2000 * 0.04 * 0.03), rel=2e-4)


def test_the_error_holds_the_difference_to_a_finer_solution(study, solved):
    stack = study.cases[0].stack
    x, y = np.meshgrid(np.linspace(1e-3, 39e-3, 20), np.linspace(1e-3, 29e-3, 15))
    samples = samples_on_face(0, COMPONENT_SIDE, np.column_stack([x.ravel(), y.ravel()]))
    errors = sampling_errors(solved, samples)
    off = np.abs(sampled(solve_stack(stack, 3.0), samples) - sampled(solved.solution, samples))
    assert (off <= errors).mean() > 0.9 and off.max() < 3 * errors.max()
    assert errors.max() < 0.02 * 40  # of a rise of some 40 K


def test_the_same_discretisation_solves_changed_numbers(study, solved):
    again = fixed_discretisation(solved.solution)
    same = again(solved.solution.sheets.stack)
    assert same.temperature == pytest.approx(solved.solution.temperature, abs=1e-8)
    # Twice the grease adds power times impedance over area to the chip's mean, and nothing to the plate's film.
    changed = changed_case(study.cases[0], study.path.parent, {"chip.grease.impedance": "4e-05 m^2 K/W"})
    rise = again(changed.stack).temperature @ same.sheets.unit_loads[0] - same.temperature @ same.sheets.unit_loads[0]
    assert rise == pytest.approx(30 * 2e-5 / 80e-6, rel=0.1)


def test_a_point_lies_in_its_triangle():
    corners = np.array([[[0, 0], [1, 0], [0, 1]], [[1, 0], [1, 1], [0, 1]]], float)
    assert triangles_at(corners, np.array([[0.2, 0.2], [0.9, 0.9], [1.0001, 0.99]])).tolist() == [0, 1, 1]


def test_the_error_counts_what_the_thickness_lacks(tmp_path):
    # A fine plan mesh on a thick block under a small source: what is left is the coarse sub-layers' error.
    head = 'accuracy = "10 %"\nmesh_size = "1 mm"'
    text = chip_on_plate(head=head, size=(20, 20), thickness=8, chip=(8, 8, 4, 4), layers=())
    (tmp_path / "study.toml").write_text(text)
    stack = read_study(tmp_path / "study.toml").cases[0].stack
    solved = solve_with_estimate(stack)
    x, y = np.meshgrid(np.linspace(1e-3, 19e-3, 19), np.linspace(1e-3, 19e-3, 19))
    samples = samples_on_face(0, COMPONENT_SIDE, np.column_stack([x.ravel(), y.ravel()]))
    off = np.abs(sampled(solve_stack(stack, 1.5), samples) - sampled(solved.solution, samples))
    errors = sampling_errors(solved, samples)
    assert (off <= errors).mean() > 0.9
