"""Numbers of a study by their dotted names: changed, looked up, and listed as the user wrote them."""

import copy

import pytest
from small_study import chip_on_plate

from plancha.geometry.faults import StudyError
from plancha.geometry.load_cases import place_named, texts_of, with_changes
from plancha.geometry.study_file import changed_case, read_study

TABLE = {
    "title": "t",
    "plate": [{"thickness": "3 mm", "material": {"name": "m", "conductivity": "200 W/m/K"}}],
    "component": [
        {
            "name": "chip",
            "at": ["1 mm", "2 mm"],
            "layers": [
                {"material": "silicon", "thickness": "1 mm"},
                {"impedance": "8 mm^2 K/W"},
                {"impedance": "9 mm^2 K/W"},
            ],
        }
    ],
    "cooling": [{"name": "air", "coefficient": "20 W/m^2/K"}],
    "case": [{"name": "hot", "ambient": "45 degC"}],
}


def test_a_change_is_made_in_a_copy():
    before = copy.deepcopy(TABLE)
    changed = with_changes(TABLE, {"air.coefficient": "30 W/m^2/K", "plate.material.conductivity": "1 W/m/K"}, "new")
    assert before == TABLE
    assert changed.table["cooling"][0]["coefficient"] == "30 W/m^2/K"
    assert changed.table["plate"][0]["material"] == {"name": "m", "conductivity": "1 W/m/K"}


def test_a_name_leads_to_its_place_and_value():
    assert place_named(TABLE, "air.coefficient") == (("cooling", 0, "coefficient"), "20 W/m^2/K")
    assert place_named(TABLE, "air.coolant") == (("cooling", 0, "coolant"), None)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("chip.siliconn.thickness", "chip.siliconn.thickness: nothing in the study has this name (found: siliconn)"),
        ("chip.interface.impedance", "chip.interface.impedance: 2 parts are called so (found: interface)"),
        ("air", "air: this is a part: override one of its keys (found: air)"),
    ],
)
def test_a_name_that_means_nothing_or_too_much_is_told(name, told):
    with pytest.raises(StudyError) as caught:
        place_named(TABLE, name)
    assert told in str(caught.value)


def test_all_texts_stand_under_the_names_that_load_cases_use():
    assert texts_of(TABLE) == {
        "title": "t",
        "plate.thickness": "3 mm",
        "plate.material.name": "m",
        "plate.material.conductivity": "200 W/m/K",
        "chip.at": "[1 mm, 2 mm]",
        "chip.silicon.material": "silicon",
        "chip.silicon.thickness": "1 mm",
        "chip.interface.impedance": "8 mm^2 K/W",
        "chip.interface 2.impedance": "9 mm^2 K/W",
        "air.coefficient": "20 W/m^2/K",
    }


def test_a_changed_case_has_the_new_number_in_its_stack(tmp_path):
    (tmp_path / "study.toml").write_text(chip_on_plate())
    case = read_study(tmp_path / "study.toml").cases[0]
    changed = changed_case(case, tmp_path, {"chip.grease.impedance": "1.2e-05 m^2 K/W"})
    assert changed.stack.joints[0].impedance == 1.2e-5 and case.stack.joints[0].impedance == 2e-5
    with pytest.raises(StudyError, match=r"chip\.grease\.impedance: .*too large"):
        changed_case(case, tmp_path, {"chip.grease.impedance": "12 m^2 K/W"})
