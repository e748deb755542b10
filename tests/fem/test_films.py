"""Films whose coefficient follows the face's own temperature: limits, order, balance, and what is drawn from them."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from plancha.fem.components import component_states
from plancha.fem.film_readings import frozen_films
from plancha.fem.films import LEAST_RISE, coefficients, warnings_of
from plancha.fem.findings import findings_of, solve_with_estimate
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import conduction_matrix, is_linear, solve, tangent_matrix
from plancha.geometry.bodies import Film, StandingFins, Unforced
from plancha.geometry.study_file import read_study

AIR = 298.15
PLATE = '"standing plate"\nlength = "60 mm"'
FALLING = 'conductivity = "120 W/m/K", exponent = -1.3, temperature_reference = "25 degC"'
FRONT = '[[cooling]]\nname = "front"\nface = "component side"\nnatural = "facing down"\nemissivity = "5 %"\n'
BOARD = 'limit = "90 degC"\nboard = { resistance = "40 K/W" }'


@pytest.fixture(scope="session")
def natural(findings, single_text):
    """Solve the one-die study with its plate cooled naturally; powers and further text to choose."""

    def of(stands=PLATE, power="3 W", more="", emissivity="emissivity = 0.8"):
        text = single_text.replace('coefficient = "2000 W/m^2/K"', f"natural = {stands}\n{emissivity}\n{more}")
        return findings(text.replace('power = "60 W"', f'power = "{power}"'))

    return of


def film(natural="standing plate", emissivity=0.0, fins=None, surroundings=AIR, air=AIR):
    return Film("face", 0, 1, 0.0, air, unforced=Unforced(natural, 0.1, fins, 101325.0, emissivity, surroundings))


ALL = [
    film(),
    film("facing up"),
    film("facing down"),
    film("standing fins", fins=StandingFins(8e-3, 1e-3, 25e-3, 200.0)),
    film("standing fins", 0.8, StandingFins(8e-3, 1e-3, 25e-3, 200.0)),
    film("", 0.8),
    film("facing up", 0.8, surroundings=320.0),
]
each_film = pytest.mark.parametrize("one", ALL, ids=lambda one: f"{one.unforced.natural or 'no air'}")


@each_film
def test_coefficients_go_on_without_a_jump_down_to_no_rise_at_all(one):
    rises = np.concatenate([np.linspace(0, 5 * LEAST_RISE, 200), np.geomspace(5 * LEAST_RISE, 300, 2000)])
    found = [coefficients(one, AIR + rise) for rise in rises]
    total = np.array([each.convection + each.radiation for each in found])
    # between neighbours the rise changes by 1 % at most, or by 25 uK; no law is steeper than its first power
    assert (total > 0).all() and np.abs(np.diff(np.log(total[200:]))).max() < 0.02
    assert np.abs(np.diff(total[:200])).max() < 0.05 * total[:200].max()


@each_film
def test_the_heat_of_a_face_only_grows_with_its_temperature(one):
    temperatures = np.linspace(AIR - 60, AIR + 600, 400)
    own = one.unforced
    heat = [
        c.convection * (t - one.temperature) + c.radiation * (t - own.surroundings)
        for t, c in ((t, coefficients(one, t)) for t in temperatures)
    ]
    assert (np.diff(heat) > 0).all()


def test_a_cold_face_that_looks_up_is_a_hot_one_that_looks_down():
    cold, hot = coefficients(film("facing up"), AIR - 20), coefficients(film("facing down", air=AIR - 20), AIR)
    assert cold.convection == approx(hot.convection, rel=1e-12)
    assert coefficients(film("facing up"), AIR + 20).convection > 1.5 * cold.convection


def test_beyond_what_is_known_of_air_a_warning_has_the_numbers():
    assert warnings_of(film(), AIR + 30) == []
    assert "air at 699.1 K is outside 200 K to 600 K" in warnings_of(film(), 1100.0)[0]
    assert "Rayleigh number" in warnings_of(film("facing down"), AIR + 0.01)[0]
    assert warnings_of(film("facing down"), AIR) == []


def test_up_beats_standing_beats_down(natural):
    means = [natural(stands).films[0].mean for stands in ('"facing up"', PLATE, '"facing down"')]
    assert means == sorted(means) and np.diff(means).min() > 1


def test_more_power_is_hotter_but_by_less_than_its_share(natural):
    rises = [natural(power=f"{power} W").components[0].peak.value - AIR for power in (1, 2, 4, 8)]
    ratios = np.array(rises[1:]) / rises[:-1]
    assert (ratios > 1.5).all() and (ratios < 2).all()


@pytest.mark.parametrize("stands", [PLATE, '"facing up"', '"facing down"'])
def test_without_heat_all_is_as_warm_as_the_air(natural, stands):
    found = natural(stands, "0 W", emissivity="")
    assert found.solution.temperature == approx(AIR, abs=1e-6)
    assert found.audit.heat_in == 0 and np.isfinite(found.coupling.peak).all()


@pytest.mark.parametrize("power", ["1e-6 W", "0.01 W", "3 W", "300 W"])
@pytest.mark.parametrize("emissivity", ["", "emissivity = 0.8", 'emissivity = 0.8\nsurroundings = "0 degC"'])
def test_heat_in_and_out_agree_at_every_power(natural, power, emissivity):
    found = natural('"facing up"', power, emissivity=emissivity)
    assert found.audit.imbalance < 1e-9
    leaving = sum(each.heat_by_convection + each.heat_by_radiation for each in found.films)
    moving = sum(abs(each.heat_by_convection) + abs(each.heat_by_radiation) for each in found.films)
    # what is left of absolute temperatures on stiff copper: 1e-16 of 300 K over 390/3e-3 W/m2/K is some 1e-10 W
    assert leaving == approx(found.audit.heat_in, abs=1e-9 * moving + 1e-9)


def test_both_faces_a_board_and_falling_conductivity_balance_as_well(findings, single_text):
    text = single_text.replace('coefficient = "2000 W/m^2/K"', f"natural = {PLATE}\nemissivity = 0.8\n{FRONT}")
    text = text.replace('conductivity = "120 W/m/K"', FALLING).replace('limit = "90 degC"', BOARD)
    text = text.replace("\n[cooling]", "\n[[cooling]]")
    found = findings(text.replace('power = "60 W"', 'power = "5 W"'))
    assert {path.kind for path in found.audit.paths} == {"natural", "radiation", "board"}
    assert sum(path.heat for path in found.audit.paths) == approx(5.0, rel=1e-9)
    assert len(found.films) == 2 and found.audit.residual < 1e-8
    (budget,) = found.budgets
    assert budget.total == approx(found.components[0].peak.value - AIR, rel=1e-12)


def test_the_film_of_a_budget_carries_convection_and_radiation_together(natural):
    found = natural()
    step = next(step for step in found.budgets[0].steps if step.name == "cooling")
    assert step.heat == approx(3.0, rel=1e-9)
    assert step.kelvin == approx(found.films[0].mean - AIR, rel=1e-9)


def test_superposition_holds_with_the_coefficients_of_the_solution(natural):
    found = natural()
    assert found.coupling.peak[0, 0] * 3.0 == approx(found.components[0].peak.value - AIR, rel=1e-6)


def test_frozen_at_the_solution_the_films_give_the_solution_again(natural):
    solution = natural(emissivity='emissivity = 0.8\nsurroundings = "60 degC"').solution
    stack = frozen_films(solution.sheets.stack, solution)
    sheets = sheets_of(stack, solution.sheets.space, [slab.through for slab in solution.sheets.slabs])
    assert is_linear(sheets) and not is_linear(solution.sheets)
    assert solve(sheets).temperature == approx(solution.temperature, abs=1e-6)


def test_the_ladder_keeps_the_coefficients_of_the_solution_on_every_rung(natural):
    found = natural()
    rises = found.ladders[0].rises
    assert rises[5] == approx(rises[4], rel=1e-8)
    area, h = 60e-3 * 50e-3, found.films[0].convection + found.films[0].radiation
    # the chain by hand: 0.5 mm / 120 and 10 mm2 K/W over 120 mm2, 3 mm / 390 over the plate, and the film
    chain = 0.5e-3 / 120 / 120e-6 + 10e-6 / 120e-6 + 3e-3 / 390 / area + 1 / (h * area)
    assert rises[0] == approx(3.0 * chain, rel=1e-9)


def test_steps_are_made_with_the_slope_of_the_heat(natural):
    sheets, solution = natural().solution.sheets, natural().solution
    extra = tangent_matrix(sheets, solution.temperature).csr - conduction_matrix(sheets, solution.temperature).csr
    up, down = (sum(each.heat(solution.temperature + step) for each in sheets.exchanges) for step in (1e-3, -1e-3))
    chord = sum(each.at(solution.temperature).weights.sum() for each in sheets.exchanges)
    assert float(extra.sum()) + chord == approx((up - down) / 2e-3, rel=1e-3)
    assert max(natural(power=f"{power} W").solution.steps for power in (1, 2, 4, 8)) <= 8


def test_at_the_sustainable_power_the_least_margin_is_nothing(natural):
    found = natural('"facing up"')
    at = solve(found.solution.sheets, found.solution.powers * found.sustainable.factor)
    assert component_states(at)[0].margin == approx(0, abs=2e-3)


def test_a_load_case_may_lay_the_product_down(tmp_path, single_text):
    text = single_text.replace('coefficient = "2000 W/m^2/K"', f"natural = {PLATE}")
    text = text.replace('power = "60 W"', 'power = "3 W"')
    text += '[[case]]\nname = "lying"\ncooling.natural = "facing up"\n[[case]]\nname = "high"\ncooling.altitude = "3000 m"\n'
    (tmp_path / "study.toml").write_text(text)
    written, lying, high = (case.stack for case in read_study(tmp_path / "study.toml").cases)
    first = solve_with_estimate(written)
    assert first.estimate.reached
    means = [findings_of(solve_with_estimate(stack, before=first)).films[0].mean for stack in (written, lying, high)]
    assert means[1] < means[0] - 1 and means[2] > means[0] + 1
    assert lying.films[0].unforced.length == approx(60e-3 * 50e-3 / (2 * (60e-3 + 50e-3)))
    alone = findings_of(solve_with_estimate(lying)).films[0].mean
    assert means[1] == approx(alone, abs=0.01)


def test_the_error_of_a_naturally_cooled_plate_is_estimated_no_worse_than_it_is(tmp_path, single_text):
    """Against the same study refined to a fifth of the accuracy; the estimate may be up to twenty times too large."""
    text = single_text.replace('coefficient = "2000 W/m^2/K"', f"natural = {PLATE}\nemissivity = 0.8")
    text = 'accuracy = "1 %"\n' + text.replace('power = "60 W"', 'power = "3 W"').replace("390 W/m/K", "20 W/m/K")
    (tmp_path / "study.toml").write_text(text)
    stack = read_study(tmp_path / "study.toml").cases[0].stack
    coarse, fine = solve_with_estimate(stack), solve_with_estimate(replace(stack, accuracy=5e-4))
    peaks = [component_states(each.solution)[0].peak.value for each in (coarse, fine)]
    assert abs(peaks[0] - peaks[1]) <= coarse.estimate.total[0, 0] <= 0.01 * (peaks[1] - AIR)


def test_a_face_far_from_one_temperature_is_said_to_be(natural, findings, single_text):
    assert natural().films[0].warnings == ()
    text = single_text.replace('coefficient = "2000 W/m^2/K"', f"natural = {PLATE}").replace("390 W/m/K", "0.5 W/m/K")
    (film_told,) = findings(text.replace('power = "60 W"', 'power = "0.5 W"')).films
    assert any("give its hot part a film of its own" in each for each in film_told.warnings)
