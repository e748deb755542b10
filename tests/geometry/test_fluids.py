"""Coolants: the shipped tables against the library they come from and against tables from elsewhere, what boils or freezes is refused
or noted, the air of altitude, and flows of a study whose fluid cannot be."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from fluids import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from plancha.geometry.air import Flow
from plancha.geometry.faults import Failure, StudyError
from plancha.geometry.fluid_tables import FILE, boiling_point, cubic, fluid_table
from plancha.geometry.fluids import (
    FLUIDS,
    GLYCOLS,
    UnknownFluid,
    air,
    capacity_flow,
    fluid_law,
    freezing_point,
    pressure_at_altitude,
    water,
    water_glycol,
)
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import fluid_tables as library

ZERO = 273.15
DIGITS_SHOWN = 2e-5

air(300.0), ATMOSPHERE_1976(0.0)  # reads the tables here, so that no example with a deadline has to


# CoolProp at states of its own choosing: 0.05 % is the accuracy promised, a hundredth of what the laws of convection are good for.
@pytest.mark.parametrize("name", ["air", "water", *GLYCOLS])
def test_the_tables_are_the_librarys_values_to_half_a_thousandth_over_the_whole_range(name):
    departures = library.departures(name, 300, seed=7)
    assert departures.shape == (300, 4)
    assert 0 < np.abs(departures).max() < 5e-4


def test_water_boils_where_the_library_says():
    for pressure in np.geomspace(5e3, 1e6, 50):
        assert boiling_point(pressure) == pytest.approx(library.saturated(pressure)[0], abs=0.005)
    assert boiling_point(101325.0) == pytest.approx(373.124, abs=0.003)  # steam tables, from memory


@pytest.mark.parametrize("kind", GLYCOLS)
def test_glycols_freeze_where_the_library_says(kind):
    for fraction in np.linspace(0, 0.6, 50).tolist():
        assert freezing_point(kind, fraction) == pytest.approx(library.freezing(kind, fraction), abs=0.002)


def test_the_shipped_file_is_what_its_command_writes():
    def rows(text):
        return [line.split(",") for line in text.splitlines() if not line.startswith("#")]

    shipped, written = rows(FILE.read_text(encoding="utf-8")), rows(library.text_of_rows())
    assert [row[:3] for row in shipped] == [row[:3] for row in written]
    found, expected = (np.array([row[3:] for row in each[1:]], float) for each in (shipped, written))
    assert found == pytest.approx(expected, rel=DIGITS_SHOWN)  # another version of the library may round otherwise
    assert FILE.stat().st_size < 60_000


def test_no_heavy_library_is_needed_for_a_coolant():
    code = "import sys; from plancha.geometry.fluids import fluid_law; fluid_law('water').at(300.0, 1e5); print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "plancha.geometry.fluids" in loaded
    assert not {"CoolProp", "scipy", "pydantic", "shapely"} & set(loaded)


def test_the_spline_meets_cubics_exactly_at_uneven_nodes():
    nodes = np.array([0.0, 1.0, 1.5, 4.0, 4.2, 7.0])
    values = np.column_stack([nodes**3 - 5 * nodes**2 + 2, 4 - nodes])
    for place in (-0.1, 0.0, 0.3, 1.0, 3.9, 4.1, 7.0, 7.2):
        assert cubic(nodes, values, place) == pytest.approx(
            [place**3 - 5 * place**2 + 2, 4 - place], rel=1e-11, abs=1e-11
        )


def test_the_spline_is_of_fourth_order_and_bends_without_a_kink():
    def worst(count):
        nodes = np.linspace(0, 2, count)
        return max(abs(cubic(nodes, np.sin(nodes), x) - np.sin(x)) for x in np.linspace(0, 2, 401))

    assert 3.6 < np.log2(worst(21) / worst(41)) < 4.4
    nodes, h = np.linspace(0, 2, 6), 1e-4
    values = np.sin(3 * nodes)
    before, after = ([cubic(nodes, values, nodes[2] + side * k * h) for k in (0, 1, 2, 3)] for side in (-1, 1))
    curvature = [(2 * v[0] - 5 * v[1] + 4 * v[2] - v[3]) / h**2 for v in (before, after)]
    assert curvature[0] == pytest.approx(curvature[1], rel=1e-5)  # exact for cubics, up to rounding over h^2


def test_a_table_read_at_its_own_rows_gives_them_back():
    table = fluid_table("ethylene glycol")
    for level, temperature, expected in ((0.3, table.coldest[10], 0), (0.6, 373.15, -1)):
        number = int(np.argmin(abs(table.levels - level)))
        assert np.log(table.at(level, temperature)) == pytest.approx(table.logarithms[expected, number], rel=1e-12)


# CoolProp, 101325 Pa, written down apart from the product; density, viscosity 1e-5, conductivity, heat capacity, Prandtl number.
@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (25, (1.18432, 1.84481, 0.026247, 1006.31, 0.7073)),
        (50, (1.09248, 1.96352, 0.028083, 1007.43, 0.7044)),
        (100, (0.94587, 2.18965, 0.031620, 1011.23, 0.7003)),
    ],
)
def test_air_has_the_properties_of_the_table(celsius, expected):
    fluid = air(celsius + ZERO)
    found = (fluid.density, 1e5 * fluid.viscosity, fluid.conductivity, fluid.heat_capacity)
    assert found == pytest.approx(expected[:4], rel=DIGITS_SHOWN)
    assert fluid.prandtl == pytest.approx(expected[4], rel=1e-4)  # four digits are shown
    assert fluid.notes == ()


# CoolProp, saturated liquid, written down apart from the product; viscosity 1e-4. One atmosphere makes water 0.005 % denser.
@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (25, (997.003, 8.90036, 0.60646, 4181.6)),
        (50, (987.996, 5.46498, 0.640575, 4181.6)),
        (70, (977.734, 4.03530, 0.659721, 4190.2)),
    ],
)
def test_water_has_the_properties_of_the_table(celsius, expected):
    fluid = water(celsius + ZERO)
    found = (fluid.density, 1e4 * fluid.viscosity, fluid.conductivity, fluid.heat_capacity)
    assert found == pytest.approx(expected, rel=1.5e-4)


@given(st.floats(250, 400))
def test_viscosity_of_air_agrees_with_sutherland_to_one_percent(temperature):
    # U.S. Standard Atmosphere 1976 (constants from memory): -0.41 % at 25 degC, -0.74 % at 100 degC, derived independently.
    sutherland = 1.458e-6 * temperature**1.5 / (temperature + 110.4)
    assert sutherland == pytest.approx(air(temperature).viscosity, rel=0.01)
    assert sutherland < air(temperature).viscosity


@given(st.floats(250, 400), st.floats(2e4, 1.5e5))
def test_air_is_nearly_an_ideal_gas(temperature, pressure):
    # 287.055 J/kg/K; real air departs by 0.04 % at 25 degC, less than 0.15 % in this range of temperature and pressure.
    assert air(temperature, pressure).density == pytest.approx(pressure / (287.055 * temperature), rel=1.5e-3)


# Two independent data sets of one library: Melinder (2010) by mass, ASHRAE by volume (AEG, APG). The fraction by volume follows from
# the densities of the pure liquids at 20 degC, 1113 and 1036 kg/m3 (from memory) against 998. The sets differ by as much as allowed.
@pytest.mark.parametrize(
    ("kind", "code", "density"), [("ethylene glycol", "AEG", 1113.0), ("propylene glycol", "APG", 1036.0)]
)
@pytest.mark.parametrize("fraction", [0.2, 0.3, 0.5])
@pytest.mark.parametrize("celsius", [10, 25, 60])
def test_glycols_agree_with_another_data_set(kind, code, density, fraction, celsius):
    from CoolProp.CoolProp import PropsSI

    volume = fraction / density / (fraction / density + (1 - fraction) / 998.0)
    other = [PropsSI(key, "T", celsius + ZERO, "P", 101325, f"INCOMP::{code}[{volume}]") for key in "DVLC"]
    fluid = water_glycol(kind, fraction, celsius + ZERO)
    assert fluid.density == pytest.approx(other[0], rel=0.01)
    assert fluid.viscosity == pytest.approx(other[1], rel=0.12)
    assert fluid.conductivity == pytest.approx(other[2], rel=0.05)
    assert fluid.heat_capacity == pytest.approx(other[3], rel=0.03)


@pytest.mark.parametrize("kind", ["ethylene glycol", "propylene glycol"])
def test_no_glycol_at_all_is_water(kind):
    fluid, pure = water_glycol(kind, 0.0, 298.15), water(298.15)
    assert fluid.density == pytest.approx(pure.density, rel=1e-3)
    assert fluid.heat_capacity == pytest.approx(pure.heat_capacity, rel=1e-3)
    assert fluid.conductivity == pytest.approx(pure.conductivity, rel=3e-3)
    assert fluid.viscosity == pytest.approx(pure.viscosity, rel=0.01)
    assert freezing_point(kind, 0.0) == pytest.approx(ZERO, abs=0.1)


@pytest.mark.parametrize("kind", ["ethylene glycol", "propylene glycol"])
def test_more_glycol_freezes_later_and_takes_up_less_heat(kind):
    fractions = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    points = [freezing_point(kind, each) for each in fractions]
    capacities = [water_glycol(kind, each, 298.15).heat_capacity for each in fractions]
    assert points == sorted(points, reverse=True) and capacities == sorted(capacities, reverse=True)


def test_water_that_would_boil_is_refused_with_the_numbers():
    # Saturated at 70 kPa: 89.93 degC (steam tables, from memory), and 0.37 K more per kPa.
    with pytest.raises(Failure) as caught:
        water(95 + ZERO, 70121.2)
    assert (
        str(caught.value) == "water at 95.0 degC: water boils at 90.0 degC under 70.12 kPa, and steam is not modelled"
    )
    assert water(95 + ZERO).density < 962  # at sea level it does not boil
    assert water(110 + ZERO, 3e5).density == pytest.approx(
        951, abs=1
    )  # nor in a pressurised loop; steam tables, from memory
    with pytest.raises(Failure, match=r"water boils at 90\.0 degC"):
        water_glycol("ethylene glycol", 0.3, 95 + ZERO, 70121.2)


@pytest.mark.parametrize(
    ("found", "message"),
    [
        (lambda: air(100.0), "air at -173.1 degC: its properties are known from -73.1 degC to 326.9 degC"),
        (lambda: air(float("nan")), "air at nan degC: its properties are known from -73.1 degC to 326.9 degC"),
        (lambda: air(300.0, 100.0), "air at 0.1 kPa: its properties are taken from 5 kPa to 1 MPa, absolute"),
        (lambda: water(270.0), "water at -3.1 degC is frozen: its properties are known from 0.0 degC to 175.0 degC"),
    ],
)
def test_a_state_out_of_range_is_refused_with_the_numbers(found, message):
    with pytest.raises(Failure) as caught:
        found()
    assert str(caught.value) == message


def test_a_mixture_below_its_freezing_point_is_refused_and_near_it_noted():
    freezing = freezing_point("ethylene glycol", 0.3)
    with pytest.raises(Failure, match=r"30 % at -15\.\d degC is frozen: its properties are known from -14\.\d degC"):
        water_glycol("ethylene glycol", 0.3, freezing - 0.5)
    (note,) = water_glycol("ethylene glycol", 0.3, freezing + 3).notes
    assert note.startswith("ethylene glycol 30 % is 3.0 K above its freezing point of -14.") and "bursts" in note
    assert water_glycol("ethylene glycol", 0.3, freezing + 6).notes == ()
    assert water(2 + ZERO).notes and not water(6 + ZERO).notes


def test_fluids_are_found_by_the_name_that_a_study_gives():
    assert fluid_law("Air") is FLUIDS["air"]
    assert fluid_law("water").at(298.15, 101325.0) == water(298.15)
    for name in ("ethylene glycol 30 %", "Ethylene  Glycol 30%", "ethylene glycol 30.0 %"):
        law = fluid_law(name)
        assert law.name == "ethylene glycol 30 %"
        assert law.at(298.15, 101325.0) == water_glycol("ethylene glycol", 0.3, 298.15)
        assert law.coldest == freezing_point("ethylene glycol", 0.3)
    assert fluid_law("propylene glycol 45.5 %").at(298.15, 2e5) == water_glycol("propylene glycol", 0.455, 298.15, 2e5)


ALLOWED = '"air", "water", "ethylene glycol 30 %" or "propylene glycol 30 %" (by mass, 0 % to 60 %)'


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("mercury", f'there is no fluid "mercury"; allowed: {ALLOWED}'),
        ("watr", f'there is no fluid "watr"; allowed: {ALLOWED}; did you mean "water"?'),
        ("ethylene glycol", f'"ethylene glycol" lacks its percentage of glycol; allowed: {ALLOWED}'),
        ("propylene glycol 70 %", f'"propylene glycol 70 %" has 70 % of glycol; allowed: {ALLOWED}'),
    ],
)
def test_an_unknown_fluid_is_answered_with_what_may_be_written(name, message):
    with pytest.raises(UnknownFluid) as caught:
        fluid_law(name)
    assert str(caught.value) == message


def test_a_glycol_beyond_the_data_is_a_programmers_slip():
    for kind, fraction in (("ethylene glycol", 0.61), ("ethylene glycol", -0.1), ("methanol", 0.3)):
        with pytest.raises(ValueError, match="no mixture known here"):
            water_glycol(kind, fraction, 300.0)


@given(st.floats(-500, 20e3))
def test_pressure_at_altitude_agrees_with_an_independent_library(altitude):
    assert pressure_at_altitude(altitude) == pytest.approx(ATMOSPHERE_1976(altitude).P, rel=1e-12)


def test_a_warm_room_in_the_mountains_has_the_density_of_its_pressure():
    # Derived independently: 84559.7 and 70121.2 Pa; density at 25 degC by the ideal gas of 287.055 J/kg/K, up to 0.04 % low.
    assert pressure_at_altitude(1500.0) == pytest.approx(84559.7, rel=1e-6)
    assert pressure_at_altitude(3000.0) == pytest.approx(70121.2, rel=1e-6)
    assert air(298.15, pressure_at_altitude(1500.0)).density == pytest.approx(0.98801, rel=4e-4)
    assert air(298.15, pressure_at_altitude(3000.0)).density == pytest.approx(0.81932, rel=4e-4)


@pytest.mark.parametrize("altitude", [-501.0, 20001.0, float("nan")])
def test_altitudes_beyond_the_standard_atmosphere_are_refused(altitude):
    with pytest.raises(ValueError, match="is used from -500 m to 20000 m"):
        pressure_at_altitude(altitude)


def test_a_hundred_watts_warm_ten_litres_a_second_by_eight_kelvin():
    # 8.3956 K with 1.184 kg/m3 and 1006 J/kg/K, derived independently; those two values are rounded, to 0.03 %.
    assert 100.0 / capacity_flow(air(298.15), 0.010) == pytest.approx(8.3956, rel=1e-3)


def flow_of(tmp_path, ambient="35 degC", **more) -> Flow:
    table = {
        "title": "invented",
        "ambient": ambient,
        "plate": {"size": ["100 mm", "80 mm"], "thickness": "3 mm", "material": "copper C11000"},
        "component": {
            "name": "chip",
            "at": ["40 mm", "30 mm"],
            "size": ["20 mm", "20 mm"],
            "limit": "none",
            "power": "50 W",
            "layers": [{"material": "silicon", "thickness": "0.5 mm"}, {"impedance": "10 mm^2 K/W"}],
        },
        "fins": {
            "form": "plate fins",
            "along": "x",
            "pitch": "2 mm",
            "thickness": "0.4 mm",
            "height": "15 mm",
            "material": "aluminium 6063-T5",
        },
        "flow": {"entry": "side", "side": "left", "rate": "20 CFM", "fluid": "air"} | more,
    }
    (flow,) = stack_of(Study.model_validate(table), tmp_path).flows
    return flow


def faults_of(tmp_path, **more):
    with pytest.raises(StudyError) as caught:
        flow_of(tmp_path, **more)
    return [str(fault) for fault in caught.value.faults]


def test_a_flow_has_the_pressure_of_its_altitude(tmp_path):
    assert flow_of(tmp_path).pressure == 101325.0
    assert flow_of(tmp_path, altitude="1500 m").pressure == pressure_at_altitude(1500.0)


def test_a_flow_of_an_unknown_fluid_is_a_fault_with_what_may_be_written(tmp_path):
    assert faults_of(tmp_path, fluid="watr") == [
        f'flow, fluid: there is no fluid "watr"; allowed: {ALLOWED}; hint: did you mean "water"?'
    ]
    assert faults_of(tmp_path, fluid="ethylene glycol") == [
        f'flow, fluid: "ethylene glycol" lacks its percentage of glycol; allowed: {ALLOWED}'
    ]


def test_an_inlet_where_the_coolant_freezes_or_boils_is_a_fault_with_the_numbers(tmp_path):
    assert faults_of(tmp_path, fluid="water", ambient="-10 degC") == [
        "flow, inlet: water at -10.0 degC is frozen: its properties are known from 0.0 degC to 175.0 degC; "
        "hint: the ambient is taken where a flow has no inlet"
    ]
    assert faults_of(tmp_path, fluid="water", inlet="85 degC", preheat="10 K", pressure="70121.2 Pa") == [
        "flow, inlet: water at 95.0 degC: water boils at 90.0 degC under 70.12 kPa, and steam is not modelled"
    ]
    assert flow_of(tmp_path, fluid="propylene glycol 40 %", ambient="-10 degC").inlet == pytest.approx(263.15)


def test_a_pressure_beyond_the_tables_is_a_fault(tmp_path):
    assert faults_of(tmp_path, pressure="2 MPa") == [
        "flow, pressure: air at 2000 kPa: its properties are taken from 5 kPa to 1 MPa, absolute"
    ]
