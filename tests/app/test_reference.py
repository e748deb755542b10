"""The reference of the study file: the page in docs is what the schema says, and its examples are read."""

import re
from pathlib import Path

from plancha.app.reference import reference_markdown
from plancha.geometry.power_map_file import read_power_map
from plancha.geometry.schema import keys
from plancha.geometry.study_file import read_study

PAGE = Path(__file__).parents[2] / "docs" / "study.md"


def test_the_page_in_docs_is_the_generated_text():
    told = "run python -m plancha.app.reference docs/study.md"
    assert PAGE.read_text(encoding="utf-8") == reference_markdown(), told


def test_every_key_stands_in_the_page():
    assert {key.name for key in keys()} <= set(re.findall(r"`(\w+)`", reference_markdown()))


def test_the_study_shown_in_the_page_is_read(tmp_path):
    (text,) = re.findall(r"```toml\n(.*?)```", reference_markdown(), re.DOTALL)
    (tmp_path / "study.toml").write_text(text)
    assert [case.name for case in read_study(tmp_path / "study.toml").cases] == [
        "as written",
        "hot day, aged interface",
    ]


def test_the_map_shown_in_the_page_is_read(tmp_path):
    table, _ = re.findall(r"```\n([^`]*?)```", reference_markdown().split("## Power maps")[1], re.DOTALL)
    (tmp_path / "map.csv").write_text(table)
    read = read_power_map(tmp_path / "map.csv", width=0.02, height=0.01, seen_from="cooled side", power=120.0)
    assert read.watts.sum() == 120.0
