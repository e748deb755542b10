"""The table of materials: complete, honest about its sources, and not at odds with physics."""

import dataclasses
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import constants

from plancha.geometry import materials as table
from plancha.geometry.materials import (
    CATEGORIES,
    Material,
    UnknownMaterial,
    conductivity_at,
    find_material,
    is_nonlinear,
    outside_range,
    shipped_materials,
)

EVERY = list(shipped_materials().values())
NAMES = [material.name for material in EVERY]


@pytest.mark.parametrize(("temperature", "expected"), [(300.0, 148.0), (350.0, 121.12), (400.0, 101.82)])
def test_silicon_conducts_less_when_hot(temperature, expected):
    # 148 (T/300)^-1.3, Palankovski and Quay (2004), from memory; numbers derived independently.
    assert conductivity_at(find_material("silicon"), temperature) == pytest.approx([expected] * 3, abs=0.005)


def test_a_slab_of_silicon_obeys_kirchhoff_when_its_conductivity_is_integrated():
    # q = 2e6 W/m2 through 0.75 mm, 350 K below: 362.674 K above, derived independently from the closed integral.
    bottom, top = 350.0, 362.674
    temperatures = np.linspace(bottom, top, 2001)
    carried = np.trapezoid(conductivity_at(find_material("silicon"), temperatures)[2], temperatures)
    assert carried == pytest.approx(2e6 * 0.75e-3, rel=1e-4)


def test_conductivity_keeps_the_shape_of_the_temperatures_and_adds_the_direction_in_front():
    field = np.full((4, 5), 320.0)
    sheet = find_material("graphite natural sheet")
    conductivity = conductivity_at(sheet, field)
    assert conductivity.shape == (3, 4, 5)
    assert np.all(conductivity == np.array(sheet.conductivity)[:, None, None])
    assert conductivity_at(find_material("silicon"), 300.0).shape == (3,)
    assert np.all(field == 320.0)


@pytest.mark.parametrize("temperature", [0.0, -5.0, math.nan])
def test_no_conductivity_is_given_at_or_below_absolute_zero(temperature):
    with pytest.raises(ValueError, match="above 0 K"):
        conductivity_at(find_material("silicon"), [300.0, temperature])


def test_only_a_material_with_an_exponent_is_nonlinear():
    assert is_nonlinear(find_material("silicon"))
    assert not is_nonlinear(find_material("copper C11000"))


def test_leaving_the_range_of_a_law_gives_a_warning_with_the_numbers():
    silicon = find_material("silicon")
    assert outside_range(silicon, [250.0, 500.0]) == ""
    assert outside_range(silicon, [300.0, 550.0]) == (
        "silicon: 26.9 degC to 276.9 degC, but its conductivity is known for -23.1 degC to 226.9 degC"
    )
    assert outside_range(Material("my alloy", (50.0, 50.0, 50.0)), [1.0, 5000.0]) == ""


@pytest.mark.parametrize("material", EVERY, ids=NAMES)
def test_every_material_has_source_ranges_and_values_within_them(material):
    assert "from memory" in material.source or "read" in material.source.split()[-1]
    low, high = material.conductivity_range
    assert low <= material.conductivity[0] <= high and material.conductivity[0] == material.conductivity[1]
    low, high = material.conductivity_range_through
    assert low <= material.conductivity[2] <= high
    assert material.temperature_range[0] <= 300.0 <= material.temperature_range[1]
    assert material.density > 0 and material.specific_heat > 0
    assert math.isfinite(material.expansion) or material.category in ("interface", "board")


def test_names_are_unique_whatever_capitals_and_hyphens_and_no_row_is_lost():
    rows = tomllib.loads(Path(table.__file__).with_name("materials.toml").read_text(encoding="utf-8"))["material"]
    assert len({table._key(row["name"]) for row in rows}) == len(rows) == len(EVERY)


def test_the_table_is_in_order_of_category_and_every_category_has_entries():
    order = [CATEGORIES.index(material.category) for material in EVERY]
    assert order == sorted(order)
    assert set(order) == set(range(len(CATEGORIES)))


# Molar mass g/mol, from memory (periodic table). Dulong and Petit: 3 R per mole near room temperature.
@pytest.mark.parametrize(
    ("name", "molar_mass"),
    [("aluminium pure", 26.98), ("copper pure", 63.55), ("gold", 196.97), ("indium", 114.82), ("molybdenum", 95.95),
     ("nickel", 58.69), ("silver", 107.87), ("titanium grade 2", 47.87), ("tungsten", 183.84), ("germanium", 72.63)],
)  # fmt: skip
def test_specific_heat_of_the_elements_follows_dulong_and_petit(name, molar_mass):
    molar = find_material(name).specific_heat * molar_mass * 1e-3
    assert molar == pytest.approx(3 * constants.R, rel=0.10)  # the law itself is no better


# Electrical conductivity in % of the annealed copper standard (58.0 MS/m), from memory. Wiedemann and Franz: k = L s T,
# L = (pi^2/3)(k_B/e)^2 = 2.44e-8 V2/K2. At room temperature metals have L of 2.1e-8 to 2.5e-8 (aluminium lowest, alloys
# highest), from memory: within 0.86 to 1.03 of it.
@pytest.mark.parametrize(
    ("name", "percent_of_standard"),
    [("copper C11000", 100), ("copper C10100", 101), ("copper C12200", 85), ("aluminium 1100", 59),
     ("aluminium 1050", 61), ("aluminium 6061-T6", 43), ("aluminium 6063-T5", 55), ("silver", 105), ("gold", 73),
     ("brass C26000", 28)],
)  # fmt: skip
def test_metals_conduct_heat_as_wiedemann_and_franz_say(name, percent_of_standard):
    lorenz = (math.pi**2 / 3) * (constants.k / constants.e) ** 2
    electronic = lorenz * percent_of_standard / 100 * 58.0e6 * 300.0
    assert 0.86 <= find_material(name).conductivity[0] / electronic <= 1.03


@pytest.mark.parametrize("material", [m for m in EVERY if m.category == "interface"], ids=lambda m: m.name)
def test_the_impedance_of_an_interface_agrees_with_its_bond_line_over_its_conductivity(material):
    (thin, thick), (poor, good) = material.bond_line_range, material.conductivity_range
    low, high = material.impedance_range
    assert low < thick / poor and high > thin / good  # the two ranges overlap
    contacts = 10e-6  # m2 K/W; what both faces may add
    assert low >= 0.5 * thin / good and high <= thick / poor + contacts


def test_the_interfaces_that_endanger_people_or_circuits_say_so():
    words = " ".join(find_material("gallium alloy").cautions)
    assert "aluminium" in words and "Conducts electricity" in words and "gloves" in words
    assert find_material("magnesium AZ91D").cautions and find_material("tin-lead 63/37").cautions
    assert not any("beryll" in name.casefold() for name in NAMES)


@pytest.mark.parametrize("name", ["copper C11000", "Copper c11000", "copper-C11000", " COPPER  C11000 "])
def test_a_name_is_found_whatever_its_capitals_spaces_and_hyphens(name):
    assert find_material(name).name == "copper C11000"


def test_both_spellings_of_aluminium_are_found():
    assert find_material("aluminum 6061-T6") is find_material("Aluminium 6061 T6")


def test_copper_alone_asks_which_grade():
    with pytest.raises(UnknownMaterial) as caught:
        find_material("copper")
    fault = caught.value
    assert fault.message == '"copper" does not say which grade'
    assert fault.allowed == "copper pure, copper C10100, copper C11000, copper C12200"
    assert fault.hint == "they conduct 340 to 401 W/m/K"


def test_aluminium_alone_asks_for_a_metal_and_offers_no_ceramic():
    with pytest.raises(UnknownMaterial, match="which grade") as caught:
        find_material("aluminum")
    assert "aluminium 6061-T6" in caught.value.allowed and "nitride" not in caught.value.allowed


def test_a_wrong_name_lists_near_names():
    with pytest.raises(UnknownMaterial, match='no material is called "coper C11000"') as caught:
        find_material("coper C11000")
    assert "copper C11000" in caught.value.allowed.split(", ")
    with pytest.raises(UnknownMaterial) as caught:
        find_material("6061-T6")
    assert "aluminium 6061-T6" in caught.value.allowed


@pytest.mark.parametrize("name", ["", "   ", "unobtainium", "x" * 100_000, "]["])
def test_a_name_like_no_material_is_refused(name):
    with pytest.raises(UnknownMaterial, match="no material is called"):
        find_material(name)


def test_a_table_of_the_users_own_can_be_searched():
    mine = Material("my alloy", (50.0, 50.0, 40.0))
    assert find_material("My Alloy", [mine]) is mine
    with pytest.raises(UnknownMaterial):
        find_material("copper C11000", [mine])


@pytest.mark.parametrize(
    "change",
    [{"conductivity": (1.0, 1.0, 0.0)}, {"conductivity": (1.0, math.nan, 1.0)}, {"conductivity": (1.0, 1.0)},
     {"conductivity": (math.inf, 1.0, 1.0)}, {"exponent": math.nan}, {"temperature_reference": 0.0},
     {"temperature_range": (400.0, 300.0)}, {"temperature_range": (-1.0, 300.0)}, {"conductivity_range": (0.0, 5.0)},
     {"conductivity_range": (1.0, math.nan)}, {"conductivity_range": (1.0,)}, {"density": -1.0}, {"density": math.inf},
     {"specific_heat": 0.0}, {"expansion": math.inf}, {"category": "liquid"}, {"name": " "}],
    ids=str,
)  # fmt: skip
def test_impossible_values_are_refused(change):
    possible = {"name": "x", "conductivity": (1.0, 1.0, 1.0)}
    Material(**possible)
    with pytest.raises(ValueError, match=r"must be|needs a|no category"):
        Material(**{**possible, **change})


def test_the_shipped_table_cannot_be_changed_by_a_reader():
    with pytest.raises(TypeError):
        shipped_materials()["copper C11000"] = EVERY[0]
    with pytest.raises(dataclasses.FrozenInstanceError):
        EVERY[0].density = 1.0
    assert shipped_materials() is shipped_materials()
