"""The laws that a study may name are the laws there are, save those that must not meet a coolant that warms up."""

from typing import get_args

from plancha.fem.convection import NUSSELT
from plancha.fem.fan_footprint import PROFILES
from plancha.fem.friction import FRICTION, LOSSES
from plancha.geometry.air_tables import ConvectionLaw, FanTable, FlowTable, FrictionLaw


def choices(table, key: str) -> set[str]:
    return set(get_args(table.model_fields[key].annotation))


def test_a_study_may_name_every_law_of_convection_on_the_bulk_temperature_and_no_other():
    assert set(get_args(ConvectionLaw)) == {name for name, law in NUSSELT.items() if law.basis == "bulk"}


def test_a_study_may_name_every_law_of_friction_form_of_losses_and_profile():
    assert set(get_args(FrictionLaw)) == set(FRICTION)
    assert choices(FlowTable, "end_losses") == set(LOSSES)
    assert choices(FanTable, "profile") == set(PROFILES)
