"""The schema as data: every key is told with kind, default and meaning."""

import pytest

from plancha.geometry.parts import Part
from plancha.geometry.schema import default_of, keys, kind_of, places, table_at, tables_with
from plancha.geometry.study import Component, Layer, MapFile, Plate, Study
from plancha.geometry.units import to_si

EVERY = list(keys())


def parts(table=Part):
    return {each for sub in table.__subclasses__() for each in (sub, *parts(sub))}


def test_every_table_of_the_study_is_reached():
    abstract = {table for table in parts() if table.__name__ == "Footprint"}
    assert {table for _, table in places()} == parts() - abstract


@pytest.mark.parametrize("key", EVERY, ids=lambda key: f"{key.table}.{key.name}")
def test_every_key_has_a_kind_and_a_meaning(key):
    assert key.kind and "class" not in key.kind and "typing" not in key.kind
    assert len(key.description) > 5
    assert not (key.required and key.default)


def test_defaults_are_written_as_a_study_would_write_them():
    defaults = {(key.table, key.name): key.default for key in EVERY}
    assert defaults["component", "face"] == '"component side"'
    assert defaults["component.layers", "turned"] == '"0 deg"'
    assert defaults["component.map", "mirror"] == "false"
    assert defaults["plate.material", "exponent"] == "0"
    assert defaults["", "sustainable"] == '"all"'
    assert default_of(Layer.model_fields["contact"]) == '"0 mm^2 K/W"'
    assert to_si(defaults["plate.material", "temperature_reference"].strip('"'), "temperature") == 300.0


def test_kinds_are_told_in_words():
    assert kind_of(Plate.model_fields["size"].annotation) == "[length, length]"
    assert kind_of(Plate.model_fields["material"].annotation) == "text or table"
    assert kind_of(MapFile.model_fields["seen_from"].annotation) == '"active side" or "cooled side"'
    assert kind_of(Component.model_fields["layers"].annotation) == "list of tables"
    assert kind_of(Component.model_fields["limit"].annotation) == "temperature"


def test_what_must_be_given_decides_the_answer():
    required = {f"{key.table}.{key.name}" for key in EVERY if key.required}
    for key in (
        ".title",
        ".ambient",
        ".plate",
        "component.limit",
        "component.layers",
        "plate.thickness",
        "plate.material",
    ):
        assert key in required
    assert "plate.turned" not in required


def test_the_table_of_a_place_is_found_through_lists_and_choices():
    assert "seen_from" in table_at(("component", 0, "map"))
    assert "conductivity_through" in table_at(("plate", 3, "material"))
    assert "impedance" in table_at(("joint", 0, "interface"))
    assert table_at(()).keys() == Study.model_fields.keys()
    assert table_at(("plate", 0, "thickness")) == {} == table_at(("nothing", "at all"))


def test_the_tables_that_have_a_key_are_named_outermost_first():
    assert tables_with("limit") == ["component"]
    assert tables_with("seen_from") == ["component.map"]
    assert tables_with("nonsense") == []
