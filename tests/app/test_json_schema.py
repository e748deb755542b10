"""The JSON schema of the study file: judged by an independent validator, on studies that Plancha takes and on such as it refuses."""

import copy
import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from plancha.app.cli import main
from plancha.app.commands import NEW_STUDY
from plancha.app.json_schema import schema_text
from plancha.geometry.schema import keys

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "study.schema.json"
STUDIES = sorted((ROOT / "examples").glob("*/study.toml"))


@pytest.fixture(scope="module")
def validator():
    schema = json.loads(PAGE.read_text(encoding="utf-8"))
    jsonschema.Draft7Validator.check_schema(schema)
    return jsonschema.Draft7Validator(schema)


def test_the_file_in_docs_is_what_the_command_writes(tmp_path, capsys):
    told = "run plancha schema -o docs/study.schema.json"
    assert PAGE.read_text(encoding="utf-8") == schema_text(), told
    assert main(["schema", "-o", str(tmp_path / "new" / "study.schema.json")]) == 0
    assert (tmp_path / "new" / "study.schema.json").read_text(encoding="utf-8") == schema_text()
    capsys.readouterr()
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(schema_text())


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.parent.name)
def test_every_example_is_valid(validator, path):
    validator.validate(tomllib.loads(path.read_text(encoding="utf-8")))


def test_every_key_of_the_study_is_in_the_schema_with_its_meaning():
    text = schema_text()
    for key in keys():
        assert f'"{key.name}": {{' in text
        assert not key.description or json.dumps(key.description, ensure_ascii=False)[1:-1] in text


CHANGES = {
    "a bare number where a unit is due": lambda study: study["plate"].update(thickness=3),
    "an unknown key": lambda study: study["plate"].update(thicknes="3 mm"),
    "a missing key": lambda study: study["component"][0].pop("power") and study["component"][0].pop("name"),
    "a wrong choice": lambda study: study["component"][0]["map"].update(seen_from="above"),
    "a case without a name": lambda study: study["case"][0].pop("name"),
    "three coordinates": lambda study: study["component"][0].update(at=["1 mm", "2 mm", "3 mm"]),
}


@pytest.mark.parametrize("what", CHANGES)
def test_what_plancha_refuses_is_not_valid_either(validator, what):
    study = tomllib.loads(NEW_STUDY)
    assert validator.is_valid(study)
    changed = copy.deepcopy(study)
    CHANGES[what](changed)
    assert not validator.is_valid(changed)


def test_one_table_may_stand_for_a_list_of_one(validator):
    study = tomllib.loads(NEW_STUDY)
    study["component"] = study["component"][0]
    study["case"] = study["case"][0]
    study["plate"] = [study["plate"]]
    assert validator.is_valid({**study, "sustainable": "processor"})
    assert not validator.is_valid({**study, "sustainable": 1})
