"""Faces that cool by themselves, through the whole product, against hand calculations with laws from elsewhere."""

from dataclasses import replace

import ht
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from pytest import approx
from scipy.optimize import brentq

from plancha.fem.findings import findings_of, solve_stack
from plancha.fem.natural import GRAVITY
from plancha.fem.solve import even_temperature, solve
from plancha.geometry.study_file import read_study

AMBIENT = 298.15
SIDES = (0.1, 0.08)
AREA = SIDES[0] * SIDES[1]
STEFAN_BOLTZMANN = (
    2 * np.pi**5 * 1.380649e-23**4 / (15 * 299792458**2 * 6.62607015e-34**3)
)  # SI of 2019: exact constants


def study(cooling, power="6 W", more="", conductivity="390 W/m/K"):
    """Heat spread evenly over a plate that is cooled evenly: its faces are of one temperature each."""
    return f"""
title = "a plate in still air (invented)"
ambient = "25 degC"
[plate]
size = ["100 mm", "80 mm"]
thickness = "3 mm"
material = {{ conductivity = "{conductivity}" }}
[[component]]
name = "heater"
at = ["0 mm", "0 mm"]
size = ["100 mm", "80 mm"]
limit = "90 degC"
power = "{power}"
layers = []
[[cooling]]
name = "face"
{cooling}
{more}
"""


@pytest.fixture(scope="session")
def solved(tmp_path_factory):
    """Solve a study given as text; each text once."""
    known = {}

    def of(text):
        if text not in known:
            path = tmp_path_factory.mktemp("study") / "study.toml"
            path.write_text(text)
            known[text] = findings_of(solve_stack(read_study(path).cases[0].stack))
        return known[text]

    return of


def air_of_the_film(hot, pressure=101325.0):
    """Conductivity, Prandtl number, and Rayleigh number per cube of length at the film, all by CoolProp."""
    film = (hot + AMBIENT) / 2
    density, viscosity, conductivity, capacity = (PropsSI(each, "T", film, "P", pressure, "Air") for each in "DVLC")
    pull = GRAVITY / film * abs(hot - AMBIENT) * density**2 * capacity / (viscosity * conductivity)
    return conductivity, viscosity * capacity / conductivity, pull


def standing_by_hand(hot, height=0.1, pressure=101325.0):
    """ht 1.2.0, Nu_vertical_plate_Churchill; properties by CoolProp."""
    conductivity, prandtl, pull = air_of_the_film(hot, pressure)
    return ht.Nu_vertical_plate_Churchill(Pr=prandtl, Gr=pull * height**3 / prandtl) * conductivity / height


def lying_by_hand(hot, buoyant):
    """ht 1.2.0, McAdams' law of level plates on area over perimeter; small enough to be laminar by both."""
    length = AREA / (2 * sum(SIDES))
    conductivity, prandtl, pull = air_of_the_film(hot)
    nusselt = ht.Nu_horizontal_plate_McAdams(Pr=prandtl, Gr=pull * length**3 / prandtl, buoyancy=buoyant)
    return nusselt * conductivity / length


BY_HAND = {
    'natural = "standing plate"\nlength = "100 mm"': standing_by_hand,
    'natural = "facing up"': lambda hot: lying_by_hand(hot, True),
    'natural = "facing down"': lambda hot: lying_by_hand(hot, False),
}


@pytest.mark.parametrize("emissivity", [0.0, 0.85])
@pytest.mark.parametrize("cooling", BY_HAND)
def test_a_plate_of_one_temperature_settles_where_the_hand_calculation_does(solved, cooling, emissivity):
    """The law by a library, the air by CoolProp itself, radiation by fourth powers; bisection on the temperature."""

    def kept(hot):
        radiated = emissivity * STEFAN_BOLTZMANN * (hot**4 - AMBIENT**4)
        return 6.0 - AREA * (BY_HAND[cooling](hot) * (hot - AMBIENT) + radiated)

    hot = brentq(kept, AMBIENT + 1, 600, xtol=1e-10)
    text = study(cooling + (f"\nemissivity = {emissivity}" if emissivity else ""))
    (film,) = solved(text).films
    # what the tables of air depart from CoolProp by: 0.004 % of each property, 0.004 % of h
    assert film.mean - AMBIENT == approx(hot - AMBIENT, rel=6e-5)
    assert film.convection == approx(BY_HAND[cooling](film.mean), rel=6e-5)
    assert film.heat_by_convection == approx(AREA * film.convection * (film.mean - AMBIENT), rel=1e-9)
    assert film.heat_by_convection + film.heat_by_radiation == approx(6.0, rel=1e-9)
    assert film.hottest - film.coldest < 1e-3


def test_with_the_products_own_air_the_hand_calculation_agrees_to_a_millionth(solved):
    """The law by ht 1.2.0 again, only the properties from the product's table, so that nothing but the solve is left."""
    from plancha.geometry.fluids import air

    def kept(hot):
        fluid = air((hot + AMBIENT) / 2)
        expansion = 2 / (hot + AMBIENT)
        grashof = GRAVITY * expansion * (hot - AMBIENT) * 0.1**3 * (fluid.density / fluid.viscosity) ** 2
        h = ht.Nu_vertical_plate_Churchill(Pr=fluid.prandtl, Gr=grashof) * fluid.conductivity / 0.1
        return 6.0 - AREA * h * (hot - AMBIENT)

    hot = brentq(kept, AMBIENT + 1, 600, xtol=1e-10)
    (film,) = solved(study('natural = "standing plate"\nlength = "100 mm"')).films
    assert film.mean - AMBIENT == approx(hot - AMBIENT, rel=1e-6)


@pytest.mark.parametrize("emissivity", [0.05, 1.0])
@pytest.mark.parametrize("surroundings", [250.0, AMBIENT, 350.0])
def test_radiation_alone_is_the_law_of_the_fourth_powers(solved, emissivity, surroundings):
    text = study(f'emissivity = {emissivity}\nsurroundings = "{surroundings} K"')
    (film,) = solved(text).films
    exact = (6.0 / AREA / (emissivity * STEFAN_BOLTZMANN) + surroundings**4) ** 0.25
    assert film.mean == approx(exact, rel=1e-9)
    assert film.convection == 0 and film.law == "" and film.rayleigh is None


def test_radiation_beside_a_given_coefficient_is_added_to_it(solved):
    found = solved(study('coefficient = "10 W/m^2/K"\nemissivity = 0.9'))

    def kept(hot):
        return 6.0 - AREA * (10 * (hot - AMBIENT) + 0.9 * STEFAN_BOLTZMANN * (hot**4 - AMBIENT**4))

    assert found.films[0].mean == approx(brentq(kept, AMBIENT, 600, xtol=1e-10), rel=1e-9)
    kinds = {path.kind: path.heat for path in found.audit.paths}
    assert set(kinds) == {"film", "radiation"}
    assert kinds["film"] == approx(10 * AREA * (found.films[0].mean - AMBIENT), rel=1e-9)


FINS = (
    'natural = "standing fins"\nlength = "180 mm"\n'
    'fins = { gap = "7.45 mm", thickness = "1 mm", height = "24 mm", material = { conductivity = "1e5 W/m/K" } }'
)


def test_the_printed_example_of_a_fin_bank_through_the_product(tmp_path):
    """Cengel and Ghajar, example 9-3: 29.4 W from 14 fins, both faces, h 4.863, base at 80 in air of 30 degC; base not counted.

    Their air is a table's (Prandtl number 2.4 % above CoolProp's), so h agrees within 2 %; the area is that of the gaps' walls.
    """
    text = study(FINS, power="40 W").replace("25 degC", "30 degC").replace('"100 mm", "80 mm"', '"180 mm", "120 mm"')
    path = tmp_path / "study.toml"
    path.write_text(text)
    stack = read_study(path).cases[0].stack
    base = 0.18 * 0.12

    def base_rise(power):
        (film,) = findings_of(solve_stack(replace(stack, sources=(replace(stack.sources[0], power=power),)))).films
        return film.mean - 303.15, film

    power = brentq(lambda watts: base_rise(watts)[0] - 50.0, 10, 60, xtol=1e-6)
    _, film = base_rise(power)
    walls = base * (7.45 + 2 * 24) / (7.45 + 1)
    assert power / (walls * 50.0) == approx(4.863, rel=0.02)
    two_faces = 14 * 2 * 0.18 * 0.024
    assert power * two_faces / walls == approx(29.4, rel=0.02)
    assert film.efficiency == approx(1.0, abs=1e-3)


def test_real_fins_lose_efficiency_and_standing_fins_beat_the_bare_plate(solved):
    perfect, real = FINS.replace("180 mm", "100 mm"), FINS.replace("180 mm", "100 mm").replace("1e5 W/m/K", "1 W/m/K")
    plate = 'natural = "standing plate"\nlength = "100 mm"'
    means = [solved(study(each)).films[0].mean for each in (perfect, real, plate)]
    assert means == sorted(means) and means[1] - means[0] > 1


def test_fins_see_surroundings_of_another_temperature_as_the_fin_equation_says(solved):
    """Finite differences of k t T'' = 2 c (T - air) + 2 r (T - walls), insulated tip, per gap; derived independently."""
    metal, around = 20.0, 340.0
    fins = f'gap = "8 mm", thickness = "1 mm", height = "30 mm", material = {{ conductivity = "{metal} W/m/K" }}'
    cooling = f'natural = "standing fins"\nlength = "100 mm"\nfins = {{ {fins} }}\n'
    found = solved(study(cooling + f'emissivity = 0.8\nsurroundings = "{around} K"'))
    (film,) = found.films
    from plancha.fem.films import wall_coefficients

    walls = wall_coefficients(film.film, film.mean)
    points = 2001
    step = 0.030 / (points - 1)
    diagonal = np.full(points, -2 * metal * 1e-3 / step**2 - 2 * (walls.convection + walls.radiation))
    matrix = np.diag(diagonal) + np.diag(np.full(points - 1, metal * 1e-3 / step**2), 1)
    matrix += np.diag(np.full(points - 1, metal * 1e-3 / step**2), -1)
    matrix[-1, -2] *= 2  # insulated tip
    right = np.full(points, -2 * (walls.convection * AMBIENT + walls.radiation * around))
    matrix[0] = 0
    matrix[0, 0], right[0] = 1.0, film.mean
    fin = np.linalg.solve(matrix, right)
    lost = 2 * (walls.convection * (fin - AMBIENT) + walls.radiation * (fin - around))
    per_fin = np.trapezoid(lost, dx=step)
    flat = 8e-3 * (walls.convection * (film.mean - AMBIENT) + walls.radiation * (film.mean - around))
    assert film.heat_by_convection + film.heat_by_radiation == approx(6.0, rel=1e-9)
    assert AREA * (per_fin + flat) / 9e-3 == approx(6.0, rel=1e-4)


def test_thin_air_cools_less_by_what_the_hand_calculation_says(solved):
    """70 kPa is USSA 1976 at 3013 m; at that pressure the law by ht and CoolProp."""
    (film,) = solved(study('natural = "standing plate"\nlength = "100 mm"\npressure = "70 kPa"')).films
    assert film.convection == approx(standing_by_hand(film.mean, pressure=7e4), rel=6e-5)
    (high,) = solved(study('natural = "standing plate"\nlength = "100 mm"\naltitude = "3000 m"')).films
    assert film.convection < standing_by_hand(film.mean) and high.mean == approx(film.mean, abs=0.1)


def test_the_even_temperature_is_the_answer_of_a_body_of_one_temperature(solved):
    found = solved(study('natural = "standing plate"\nlength = "100 mm"\nemissivity = 0.5'))
    sheets = found.solution.sheets
    assert even_temperature(sheets, sheets.powers) == approx(found.films[0].mean, abs=1e-4)


def test_from_any_start_the_same_temperatures_are_found(solved):
    sheets = solved(study('natural = "facing up"\nemissivity = 0.5', conductivity="20 W/m/K")).solution.sheets
    reference = solve(sheets).temperature
    for factor in (0.0, 0.01, 100.0):
        start = solve(sheets, sheets.powers * factor)
        assert solve(sheets, start=start).temperature == approx(reference, abs=1e-6)
