"""Designs on the page: texts with values replaced, their controls, a study laid around a map, a study taken from the disk."""

import tomllib
from pathlib import Path

import pytest

from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.app.page_controls import controls_of
from plancha.app.page_design import Design, Edit, case_of, edited_text, is_plain_name, variant_of
from plancha.app.page_desk import EXAMPLES, Desk, dropped, example, from_disk
from plancha.geometry.draft import Reading
from plancha.geometry.faults import StudyError
from plancha.geometry.schema import keys
from plancha.geometry.study_file import FILE_KEYS, read_study, written_study

ROOT = Path(__file__).parents[2]
STUDIES = sorted(ROOT.glob("examples/*/study.toml")) + sorted(ROOT.glob("app/page_examples/*/study.toml"))


def controls(text, case="as written"):
    """All controls of a study's case by group and label."""
    table = written_study(text, Path("study.toml")).table
    return {(g["title"], c["label"]): c for g in controls_of(variant_of(table, case)) for c in g["controls"]}


def test_an_edit_changes_its_value_and_nothing_else_of_the_text():
    changed = edited_text(
        NEW_STUDY, [Edit(("component", 0, "layers", 1, "bond_line"), "70 um"), Edit(("plate", 0, "thickness"), "2 mm")]
    )
    assert changed == NEW_STUDY.replace('bond_line = "50 um"', 'bond_line = "70 um"').replace('"3 mm"', '"2 mm"')


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.parent.name)
def test_every_control_of_every_example_writes_where_it_says(path):
    text, edits = path.read_text(), []
    for control in controls(text).values():
        assert value_at(tomllib.loads(text), control["path"]) == control["value"]
        new = {"switch": not control["value"], "number": 7}.get(control["kind"], f"{control['value']} changed")
        edits.append(Edit(tuple(control["path"]), new))
    after = tomllib.loads(edited_text(text, edits))
    assert edits and all(value_at(after, edit.path) == edit.value for edit in edits)


def value_at(table, path):
    """What stands in a study's table; `[plate]` is the first of its kind."""
    for key in path:
        table = table if key == 0 and isinstance(table, dict) else table[key]
    return table


def test_a_control_of_a_load_case_writes_into_the_case():
    control = controls(NEW_STUDY, "hot day, aged interface")["processor", "interface, bond line"]
    assert control["in_case"] and control["value"] == "80 um"
    assert control["path"] == ["case", 0, "processor", "interface", "bond_line"]
    assert controls(NEW_STUDY)["processor", "interface, bond line"]["in_case"] is False


def test_the_quick_reading_of_a_case_is_that_of_the_whole_file(tmp_path):
    (tmp_path / "study.toml").write_text(NEW_STUDY)
    (tmp_path / "power_map.csv").write_text(NEW_MAP)
    whole = read_study(tmp_path / "study.toml")
    for case in whole.cases:
        quick = case_of(Design(NEW_STUDY, tmp_path / "study.toml"), (), case.name, Reading())
        assert quick.study == case.study and quick.changes == case.changes


@pytest.mark.parametrize("name", EXAMPLES)
def test_shipped_examples_are_sound_and_say_that_they_are_invented(tmp_path, name):
    text, given = example(name)
    design = Desk(tmp_path).designs
    key = (desk := Desk(tmp_path, design)).lay(text, given)
    study = read_study(desk.designs[key].path)
    assert "invented" in study.cases[0].stack.title and len(study.cases) > 1


def test_every_key_of_the_study_that_names_a_file_is_known_to_be_one():
    # Such keys are texts whose description speaks of a CSV or an image: the page lets them name given files alone.
    named = {
        key.name for key in keys() if key.kind == "text" and any(word in key.description for word in ("CSV", "image"))
    }
    assert named == set(FILE_KEYS)


@pytest.mark.parametrize("name", ["map.csv", "power map (2).csv", "größe.csv"])
def test_plain_names_are_plain(name):
    assert is_plain_name(name)


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "/a", "a\\b", "c:a", ".a", "a\n", "a" * 200])
def test_names_that_lead_elsewhere_are_not(name):
    assert not is_plain_name(name)


def test_a_study_from_the_disk_brings_its_files_by_bare_names(tmp_path):
    (tmp_path / "maps").mkdir()
    (tmp_path / "study").mkdir()
    (tmp_path / "maps" / "power.csv").write_text(NEW_MAP)
    path = tmp_path / "study" / "study.toml"
    path.write_text(NEW_STUDY.replace("power_map.csv", "../maps/power.csv"))
    text, given = from_disk(path)
    desk = Desk(tmp_path / "desk")
    desk.folder.mkdir()
    laid = read_study(desk.designs[desk.lay(text, given)].path)
    assert all(is_plain_name(name) for name in given)
    assert laid.cases[0].stack.sources[0].power_map.watts.sum() == pytest.approx(180)


def test_a_study_around_a_grid_keeps_its_cells_square_and_its_watts(tmp_path):
    text, given, assumed = dropped({"map.csv": b"10,20\n30,40\n50,60\n"})
    desk = Desk(tmp_path)
    source = read_study(desk.designs[desk.lay(text, given)].path).cases[0].stack.sources[0]
    left, bottom, right, top = source.outline.bounds
    assert (right - left) / 2 == pytest.approx((top - bottom) / 3) == pytest.approx(8e-3)
    assert source.power == pytest.approx(210e4 * 64e-6)  # six cells of 8 mm x 8 mm, in W/cm2
    assert "134.4 W" in assumed[0] and any("first row at the top" in line for line in assumed)


def test_a_study_around_a_table_of_blocks_takes_the_watts_that_it_says():
    table = b"name,x [mm],y [mm],width [mm],height [mm],power [W]\ncore,1,1,4,4,30\nrest,6,1,5,8,12\n"
    text, _, assumed = dropped({"blocks.csv": table})
    assert (
        "42 W" in assumed[0]
        and 'size = ["15 mm", "15 mm"]' in text
        and "unit" not in text.split("map =")[1].split("\n")[0]
    )


def test_a_file_that_is_no_power_map_is_told_as_the_reader_of_maps_tells_it():
    with pytest.raises(StudyError, match=r"notes\.csv"):
        dropped({"notes.csv": b"a,b\nc,d\n"})
