"""Peaks, means, coupling and spreading resistance of components."""

import numpy as np
import pytest


def test_the_mean_coupling_is_reciprocal(pair):
    matrix = pair.coupling.mean
    assert matrix[0, 1] == pytest.approx(matrix[1, 0], rel=1e-10)


def test_coupling_times_power_is_the_rise_of_the_linear_problem(pair):
    powers = np.array([60.0, 15.0])
    reference = pair.solution.sheets.stack.reference
    means = np.array([state.power_mean for state in pair.components]) - reference
    peaks = np.array([state.peak.value for state in pair.components]) - reference
    assert pair.coupling.mean @ powers == pytest.approx(means, rel=1e-9)
    assert pair.coupling.peak @ powers == pytest.approx(peaks, rel=1e-9)


def test_the_limiting_component_has_the_least_margin(pair):
    assert pair.limiting.name == min(pair.components, key=lambda state: state.margin).name


def test_the_peak_is_nowhere_below_the_mean(pair):
    for state in pair.components:
        assert state.peak.value >= state.power_mean - 1e-9 >= state.mean - 1e-6


def test_spreading_by_maximum_exceeds_spreading_by_mean(pair):
    for each in pair.spreading:
        assert each.maximum > each.mean > 0


def test_the_share_through_the_seat_leaves_out_the_board(pair):
    die, driver = pair.spreading
    assert die.share > 0.95  # only what the neighbour's board path draws through the plate is missing
    assert driver.share < 0.9


def test_a_component_without_power_has_a_temperature_and_no_budget(findings, pair_text):
    found = findings(pair_text.replace('power = "15 W"', 'power = "0 W"'))
    assert [budget.component for budget in found.budgets] == ["die"]
    idle = next(state for state in found.components if state.name == "driver")
    assert 298.15 < idle.peak.value < found.components[0].peak.value


def test_a_probe_on_the_die_reads_no_more_than_the_peak(findings, single_text):
    probe = '[[probe]]\nname = "sensor"\non = "die"\nat = ["26 mm", "23 mm"]\n'
    found = findings(single_text + probe)
    assert found.probes[0].below_hot_spot >= 0
    assert found.probes[0].temperature == pytest.approx(found.components[0].peak.value - found.probes[0].below_hot_spot)


def test_a_probe_outside_its_body_is_refused(findings, single_text):
    from plancha.geometry.faults import StudyError

    with pytest.raises(StudyError, match="outside"):
        findings(single_text + '[[probe]]\nname = "lost"\nat = ["90 mm", "23 mm"]\n')
