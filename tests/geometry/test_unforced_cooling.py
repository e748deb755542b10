"""Cooling tables of natural convection and radiation: what they become, and how faults in them are told."""

import pytest

from plancha.geometry.faults import StudyError
from plancha.geometry.fluids import STANDARD_PRESSURE, pressure_at_altitude
from plancha.geometry.study_file import read_study

STUDY = """
title = "a plate in still air (invented)"
ambient = "25 degC"
[plate]
size = ["100 mm", "80 mm"]
thickness = "3 mm"
material = "copper C11000"
[[component]]
name = "heater"
at = ["10 mm", "10 mm"]
size = ["20 mm", "20 mm"]
limit = "90 degC"
power = "6 W"
layers = []
[[cooling]]
name = "face"
"""
FINS = 'fins = { gap = "8 mm", thickness = "1 mm", height = "25 mm", material = "aluminium 6063-T5" }'


@pytest.fixture
def read(tmp_path):
    def of(*lines, add=""):
        path = tmp_path / "study.toml"
        path.write_text(STUDY + "\n".join(lines) + "\n" + add)
        return read_study(path)

    return of


@pytest.fixture
def fault(read):
    def of(*lines):
        with pytest.raises(StudyError) as told:
            read(*lines)
        (only,) = told.value.faults
        return str(only)

    return of


def test_a_standing_plate_keeps_its_length_and_the_sea_levels_air(read):
    (film,) = read('natural = "standing plate"', 'length = "80 mm"').cases[0].stack.films
    own = film.unforced
    assert (own.natural, own.length, own.pressure) == ("standing plate", 0.08, STANDARD_PRESSURE)
    assert film.coefficient == 0 and own.emissivity == 0 and own.fins is None and film.temperature == 298.15


def test_a_level_face_takes_its_cooled_area_over_its_perimeter(read):
    (whole,) = read('natural = "facing up"').cases[0].stack.films
    assert whole.unforced.length == pytest.approx(0.1 * 0.08 / 0.36)
    area = 'area = { at = ["50 mm", "0 mm"], size = ["90 mm", "80 mm"] }'
    (part,) = read('natural = "facing up"', area).cases[0].stack.films
    assert part.unforced.length == pytest.approx(0.05 * 0.08 / 0.26)  # what lies beyond the plate does not count


def test_surroundings_are_as_warm_as_the_coolant_unless_they_are_given(read):
    (same,) = read("emissivity = 0.8", 'coolant = "40 degC"').cases[0].stack.films
    assert same.unforced.surroundings == 313.15
    (other,) = read('emissivity = "80 %"', 'surroundings = "60 degC"').cases[0].stack.films
    assert (other.unforced.surroundings, other.temperature, other.unforced.emissivity) == (333.15, 298.15, 0.8)


def test_altitude_sets_the_pressure(read):
    (film,) = read('natural = "facing down"', 'altitude = "3000 m"').cases[0].stack.films
    assert film.unforced.pressure == pressure_at_altitude(3000.0)
    (film,) = read('natural = "facing down"', 'pressure = "70 kPa"').cases[0].stack.films
    assert film.unforced.pressure == 7e4


def test_fins_of_a_load_case_may_be_changed_by_name(read):
    cases = '[[case]]\nname = "wider"\nface.fins.gap = "12 mm"\n'
    written, wider = read('natural = "standing fins"', 'length = "80 mm"', FINS, add=cases).cases
    assert [case.stack.films[0].unforced.fins.gap for case in (written, wider)] == [8e-3, 12e-3]
    assert written.stack.films[0].unforced.fins.conductivity > 150


def test_fins_that_lie_level_are_left_out_and_that_is_said(read):
    cases = '[[case]]\nname = "lying"\nface.natural = "facing up"\n'
    _, lying = read('natural = "standing fins"', 'length = "80 mm"', FINS, add=cases).cases
    assert lying.stack.films[0].unforced.fins is None
    assert any("the fins lie level: no law for such fins" in note for note in lying.stack.notes)


ONE_OF = "cooling needs one of coefficient, map, natural, held, or an emissivity alone"


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (['natural = "standing plate"', 'length = "80 mm"', 'coefficient = "10 W/m^2/K"'], ONE_OF),
        (['natural = "facing up"', 'held = "40 degC"'], ONE_OF),
        ([], ONE_OF),
        (['natural = "standing plate"'], 'standing plate needs its upright length: "standing plate"'),
        (['natural = "standing fins"', FINS], "standing fins needs its upright length"),
        (['natural = "standing fins"', 'length = "80 mm"'], "standing fins need their table"),
        (['natural = "standing plate"', 'length = "80 mm"', FINS], "a standing plate has no fins"),
        (['natural = "on its side"'], "natural"),
        (['natural = "facing up"', 'altitude = "3 km"', 'pressure = "70 kPa"'], "altitude or pressure, not both"),
        (['coefficient = "10 W/m^2/K"', 'altitude = "100 m"'], "altitude belongs to natural convection"),
        (['coefficient = "10 W/m^2/K"', 'length = "80 mm"'], "length belongs to natural convection"),
        (
            ['coefficient = "10 W/m^2/K"', 'surroundings = "30 degC"'],
            "surroundings mean something to a face that radiates",
        ),
        (['held = "40 degC"', "emissivity = 0.8"], "an emissivity belongs to a coefficient or to natural convection"),
        (["emissivity = 1.2"], "emissivity"),
        (["emissivity = 0"], "emissivity"),
        (['natural = "standing fins"', 'length = "80 mm"', FINS.replace("aluminium 6063-T5", "tin foil")], "tin foil"),
    ],
)
def test_faults_are_told_in_one_sentence_with_their_place(fault, lines, told):
    found = fault(*lines)
    assert told.split(":")[0] in found and "line 1" in found
