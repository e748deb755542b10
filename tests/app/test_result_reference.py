"""The reference of result.json: the page in docs is what the records say, and tells of everything that a result holds."""

import json
import re
from pathlib import Path

import pytest
from pydantic import ValidationError

from plancha.app.cli import main
from plancha.app.result import Result
from plancha.app.result_reference import records, result_markdown, unit_of

PAGE = Path(__file__).parents[2] / "docs" / "result.md"


def test_the_page_in_docs_is_the_generated_text():
    told = "run python -m plancha.app.result_reference docs/result.md"
    assert PAGE.read_text(encoding="utf-8") == result_markdown(), told


def test_every_key_of_a_result_stands_in_the_page(tmp_path):
    assert main(["new", str(tmp_path / "first")]) == 0
    assert main(["solve", str(tmp_path / "first" / "study.toml"), "--no-pictures"]) == 0
    found = json.loads((tmp_path / "first" / "results" / "result.json").read_text())
    free = ("study", "files", "changes")  # their keys are the user's own

    def keys(value, own=True):
        if isinstance(value, dict):
            yield from value if own else ()
            for key, inner in value.items():
                yield from keys(inner, key not in free)
        elif isinstance(value, list):
            for inner in value:
                yield from keys(inner)

    written = set(keys(found))
    assert {"schema", "peak_degC", "imbalance"} <= written
    assert written <= set(re.findall(r"^\| `(\w+)`", result_markdown(), re.MULTILINE))
    assert Result.model_validate(found).cases[0].components[0].name == "processor"
    del found["cases"][0]["components"][0]["peak_degC"]
    with pytest.raises(ValidationError, match="peak_degC"):
        Result.model_validate(found)


def test_a_key_that_ends_in_a_unit_has_that_unit_and_no_other():
    assert [unit_of(key) for key in ("maximum_error_K_per_W", "power_W", "area_mm2", "x_mm", "share", "kelvin")] == [
        *("K/W", "W", "mm^2", "mm", "", "K"),
    ]


def test_every_number_has_a_unit_or_a_description():
    for _, record in records():
        for name, field in record.model_fields.items():
            if "float" in str(field.annotation):
                assert unit_of(name) or field.description, f"{record.__name__}.{name}"


def test_no_record_is_told_twice():
    told = [record for _, record in records()]
    assert len(told) == len(set(told)) > 15
