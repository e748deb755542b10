"""Quantities as annotations of a data model: text goes in, SI floats come out, bounds are kept."""

from typing import Annotated

import pytest
from pydantic import BaseModel, ConfigDict, ValidationError

from plancha.geometry.quantity import Quantity, quantity, read_quantity
from plancha.geometry.units import UnitFault


class Plate(BaseModel):
    model_config = ConfigDict(frozen=True)
    thickness: quantity("length", above=0, at_most=0.05)  # type: ignore[valid-type]
    impedance: Annotated[float, Quantity("impedance", at_least=0)] = 0.0
    limit: Annotated[float, Quantity("temperature", below=500.0)] | None = None


def test_a_model_takes_text_and_holds_si():
    plate = Plate.model_validate({"thickness": "3 mm", "impedance": "8 mm^2 K/W", "limit": "95 degC"})
    assert (plate.thickness, plate.impedance, plate.limit) == (0.003, 8e-6, 368.15)


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [("0 mm", '"0 mm" is too small', ""), ("-3 mm", '"-3 mm" is too small', ""), ("51 mm", '"51 mm" is too large', ""),
     (3, '"3" has no unit', 'write "3 mm" if that is meant'),
     ("3 {hint}", '"3 {hint}" cannot be read as a number and a unit', "")],
)  # fmt: skip
def test_a_model_refuses_with_message_allowed_and_hint_apart(text, message, hint):
    with pytest.raises(ValidationError) as caught:
        Plate(thickness=text)
    (error,) = caught.value.errors()
    assert (error["type"], error["loc"]) == ("quantity", ("thickness",))
    assert error["ctx"]["message"] == message and error["ctx"]["hint"] == hint
    assert error["ctx"]["allowed"] == 'a length above 0 mm and at most 50 mm, such as "3 mm" or "50 um" or "8 mil"'


def test_bounds_include_or_exclude_their_end_as_they_say():
    assert read_quantity("0 mm", Quantity("length", at_least=0)) == 0.0
    assert read_quantity("50 mm", Quantity("length", at_most=0.05)) == 0.05
    for closed, text in ((Quantity("length", above=0), "0 mm"), (Quantity("length", below=0.05), "50 mm"),
                         (Quantity("length", at_least=0), "-1 nm"),
                         (Quantity("length", at_most=0.05), "50.001 mm")):  # fmt: skip
        with pytest.raises(UnitFault, match="is too"):
            read_quantity(text, closed)


def test_the_dimension_of_a_field_can_be_asked_from_the_model():
    assert Plate.model_fields["thickness"].metadata == [Quantity("length", above=0, at_most=0.05)]
    schema = Plate.model_json_schema()["properties"]["thickness"]
    assert schema["type"] == "string" and "above 0 mm and at most 50 mm" in schema["description"]
    assert schema["examples"] == ["3 mm", "50 um", "8 mil"]


def test_a_dimension_that_does_not_exist_is_a_programmers_slip():
    with pytest.raises(ValueError, match="no dimension 'lenght'"):
        quantity("lenght")
