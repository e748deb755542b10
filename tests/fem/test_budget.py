"""The budget adds up, its steps are the textbook's where the textbook is exact, and its heat is conserved."""

import pytest


def test_the_steps_add_up_to_the_peak_rise(pair):
    for budget, state in zip(pair.budgets, pair.components):
        assert budget.total == pytest.approx(state.peak.value - pair.solution.sheets.stack.reference, rel=1e-12)


def test_the_interface_step_is_impedance_times_flux(single):
    step = next(step for step in single.budgets[0].steps if step.name == "interface")
    # 60 W through 120 mm2 of 10 mm2 K/W: area means make this exact.
    assert step.kelvin == pytest.approx(60 * 10e-6 / 120e-6, rel=1e-9)


def test_the_film_step_is_heat_over_coefficient_and_area(single):
    step = next(step for step in single.budgets[0].steps if step.name == "cooling")
    assert step.kelvin == pytest.approx(60 / (2000 * 60e-3 * 50e-3), rel=1e-9)


def test_through_a_plate_with_insulated_rim_the_mean_falls_as_in_one_dimension(single):
    step = next(step for step in single.budgets[0].steps if step.name == "through plate")
    assert step.kelvin == pytest.approx(60 * 3e-3 / (390 * 60e-3 * 50e-3), rel=1e-9)


def test_heat_to_the_board_is_what_the_chip_loses_before_its_seat(pair):
    driver = next(budget for budget in pair.budgets if budget.component == "driver")
    board = next(path for path in pair.audit.paths if path.kind == "board")
    assert driver.elsewhere == pytest.approx(board.heat, rel=1e-8)
    assert 0 < board.heat < 15


def test_a_single_source_shares_no_step_and_two_sources_share_the_plate(single, pair):
    assert not any(step.shared for step in single.budgets[0].steps)
    shared = {step.name for step in pair.budgets[0].steps if step.shared}
    assert shared == {"hot spot above the mean", "spreading in plate", "through plate", "cooling"}


def test_perfect_contact_passes_the_same_heat_as_a_thin_joint(findings, single_text):
    perfect = findings(single_text.replace('impedance = "10 mm^2 K/W"', 'impedance = "0 mm^2 K/W"'))
    into_plate = next(step for step in perfect.budgets[0].steps if step.name == "spreading in plate")
    assert into_plate.heat == pytest.approx(60, rel=1e-9)
    assert perfect.spreading[0].share == pytest.approx(1, rel=1e-9)


def test_a_coolant_warmer_than_the_reference_has_a_step_of_its_own(findings, single_text):
    second = '[[cooling]]\nname = "rear"\nface = "component side"\ncoefficient = "50 W/m^2/K"\ncoolant = "40 degC"\n'
    text = single_text.replace("[cooling]", '[[cooling]]\nname = "front"\ncoolant = "30 degC"') + second
    found = findings(text)
    assert found.solution.sheets.stack.reference_name == "coolant of front"
    assert found.budgets[0].total == pytest.approx(found.components[0].peak.value - 303.15, rel=1e-12)
    assert {path.name for path in found.audit.paths} == {"front", "rear"}


def test_the_way_out_goes_through_a_second_plate(findings, single_text):
    second = (
        '[[plate]]\nname = "sink"\nsize = ["80 mm", "70 mm"]\nat = ["-10 mm", "-10 mm"]\nthickness = "5 mm"\n'
        'material = { conductivity = "200 W/m/K" }\non = "plate"\ninterface = { impedance = "20 mm^2 K/W" }\n'
    )
    text = single_text.replace("[plate]", '[[plate]]\nname = "plate"').replace(
        "[cooling]", second + '[cooling]\non = "sink"'
    )
    text = text.replace('name = "die"', 'name = "die"\non = "plate"')
    budget = findings(text).budgets[0]
    names = [step.name for step in budget.steps]
    assert names[-4:] == ["plate to sink", "spreading in sink", "through sink", "cooling"]
    joint = next(step for step in budget.steps if step.name == "plate to sink")
    assert joint.kelvin == pytest.approx(60 * 20e-6 / (60e-3 * 50e-3), rel=1e-9)
