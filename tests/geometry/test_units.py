"""Units: what the trade writes is read as it is meant, and what could be misread is refused with a way out."""

import math
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from plancha.geometry import units
from plancha.geometry.units import DIMENSIONS, UNITS, UnitFault, show, to_si

SAME_TO_ROUNDING = 1e-14  # factors are kept to 15 digits
# What the independent registry calls otherwise, and what it does not have; its water is that of 4 degC, 28 ppm lighter than ours.
THEIR_NAMES = {
    "degree_Celsius": "delta_degree_Celsius",
    "degree_Fahrenheit": "delta_degree_Fahrenheit",
    "mil": "thou",
    "parts_per_million": "ppm",
}
OWN = ("ounce_copper", "decibel_A", "millimeter_water", "inch_water")


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


def refusal(text, dimension):
    with pytest.raises(UnitFault) as caught:
        to_si(text, dimension)
    return caught.value


# Expected values: scipy.constants, which is independent of the registry in use here, or exact by definition.
@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("1 in", "length", constants.inch),
        ("1 inch", "length", constants.inch),
        ("1 ft", "length", constants.foot),
        ("1 mil", "length", constants.mil),
        ("1 micron", "length", constants.micron),
        ("1 CFM", "volume flow", constants.foot**3 / constants.minute),
        ("1 ft^3/min", "volume flow", constants.foot**3 / constants.minute),
        ("1 l/min", "volume flow", constants.liter / constants.minute),
        ("1 m3/h", "volume flow", 1 / constants.hour),
        ("1 L/s", "volume flow", constants.liter),
        ("1 L/min", "volume flow", constants.liter / constants.minute),
        ("1 psi", "pressure", constants.psi),
        ("1 bar", "pressure", constants.bar),
        ("1 atm", "pressure", constants.atm),
        ("1 mbar", "pressure", constants.bar / 1000),
        ("1 kPa", "pressure", constants.kilo),
        ("1 mmH2O", "pressure", constants.g),
        ("1 mmAq", "pressure", constants.g),
        ("1 in. WG", "pressure", constants.inch * 1000 * constants.g),
        ("1 inH2O", "pressure", constants.inch * 1000 * constants.g),
        ("1 lb", "mass", constants.pound),
        ("1 oz", "mass", constants.ounce),
        ("1 deg", "angle", constants.degree),
        ("1 LFM", "velocity", constants.foot / constants.minute),
        ("1 ft/min", "velocity", constants.foot / constants.minute),
        ("1 km/h", "velocity", constants.kmh),
        ("1 ft", "altitude", constants.foot),
        ("1 km", "altitude", constants.kilo),
        ("1 %", "fraction", constants.centi),
        ("1 ppm/K", "expansion", constants.micro),
        ("1 W/in2", "flux", 1 / constants.inch**2),
        ("1 W/mm2", "flux", 1e6),
        ("1 g/cm3", "density", 1000.0),
        ("1 kJ/kg/K", "specific heat", 1000.0),
    ],
)
def test_units_agree_with_an_independent_table(text, dimension, expected):
    assert to_si(text, dimension) == pytest.approx(expected, rel=SAME_TO_ROUNDING)


def test_the_conversions_of_interface_impedance_are_exact():
    # 1 K cm2/W = 100 mm2 K/W = 1e-4 m2 K/W; 1 degC in2/W = 645.16 mm2 K/W, as 1 in is 25.4 mm by definition.
    assert to_si("1 K cm2/W", "impedance") == to_si("100 mm2 K/W", "impedance") == 1e-4
    assert to_si("1 degC in2/W", "impedance") == to_si("645.16 mm2 K/W", "impedance") == 645.16e-6


@pytest.mark.parametrize(
    "text",
    [
        "3000 rpm",
        "3000 RPM",
        "3000 rev/min",
        "3000 r/min",
        "3000 1/min",
        "3000 min-1",
        "3000 min⁻¹",
        "50 rev/s",
        "50 1/s",
    ],
)
def test_a_speed_of_rotation_is_held_in_turns_a_second(text):
    assert to_si(text, "speed of rotation") == pytest.approx(50.0, rel=SAME_TO_ROUNDING)
    assert show(to_si(text, "speed of rotation"), "speed of rotation") == "3000 rpm"


def test_turns_are_neither_radians_nor_numbers():
    assert "is not a speed of rotation" in refusal("314 rad/s", "speed of rotation").message
    assert "is not a fraction" in refusal("3 rev", "fraction").message
    assert refusal("3000", "speed of rotation").hint == 'write "3000 rpm" if that is meant'
    assert refusal("3 rpm", "pressure").message == '"3 rpm" is a speed of rotation, a pressure is due'


@pytest.mark.parametrize("text", ["45 dB(A)", "45 dBA", "45 dB (A)", "45 dB A", "45 dB", "45,0 dB(A)"])
def test_a_sound_level_is_a_number_of_decibels(text):
    assert to_si(text, "sound level") == 45.0
    assert show(45.0, "sound level") == "45 dB(A)"


def test_another_weighting_of_sound_is_refused():
    for text in ("45 dB(C)", "45 dBC", "45 sone", "45"):
        refusal(text, "sound level")


def test_ten_litres_of_air_a_second_are_21_189_cfm():
    assert show(0.010, "volume flow") == "21.189 CFM"
    assert to_si("21.189 CFM", "volume flow") == pytest.approx(0.010, rel=1e-5)  # the digits given


@pytest.mark.parametrize("text", ["1 oz copper", "1 oz Cu", "1 oz/ft2", "1 oz/ft^2 copper", "1oz copper"])
def test_an_ounce_of_copper_foil_is_a_thickness(text):
    # 34.8 um: common practice, no source.
    assert to_si(text, "length") == 34.8e-6
    # The foil's own mass over the density of copper (8940 kg/m3, from memory) is 2 % less, as practice rounds up.
    by_mass = constants.ounce / constants.foot**2 / 8940
    assert to_si(text, "length") == pytest.approx(by_mass, rel=0.03)


@pytest.mark.parametrize(
    "text",
    ["8 mm^2 K/W", "8 mm2K/W", "8 mm²·K/W", "8 mm2 K / W", "8mm²K/W", "8 K mm2/W", "8 K·mm²·W⁻¹", "8 mm^2*K/W",
     "8 mm**2 K/W",
     "8 degC mm2/W", "8 °C·mm²/W", "8 ℃ mm2/W", "8 C-mm2/W", "8 °Cmm²/W", "8 (mm2 K)/W", "8,0 mm2 K/W", "8e-6 m2K/W",
     "0.08 K cm2/W", "0.08 degC cm2/W", "8e-06 m^2 K/W", "+8 mm2 K/W", "8\u00a0mm²\u202fK/W", "8000 mm2 mK/W"],
)  # fmt: skip
def test_an_impedance_is_read_in_every_spelling_of_the_trade(text):
    assert to_si(text, "impedance") == pytest.approx(8e-6, rel=SAME_TO_ROUNDING)


@pytest.mark.parametrize(
    "text",
    ["5 W/m/K", "5 W/(m K)", "5 W/(m·K)", "5 W/(m*K)", "5 W/m-K", "5 W/mK", "5 W/m K", "5 W/m.K", "5 W m-1 K-1",
     "5 W·m⁻¹·K⁻¹", "5 W/m/degC", "5 W/m-°C", "5 W/m°C", "0.05 W/cm/K", "5000 mW/mK", "0.005 kW/m/K"],
)  # fmt: skip
def test_a_conductivity_is_read_in_every_spelling_of_the_trade(text):
    assert to_si(text, "conductivity") == pytest.approx(5.0, rel=SAME_TO_ROUNDING)


@pytest.mark.parametrize(
    "text",
    ["2000 W/m^2/K", "2000 W/m2K", "2000 W/(m^2 K)", "2000 W/m²-K", "0.2 W/cm2/K", "2 kW/(m2 K)", "2000 W/m2/degC"],
)
def test_a_coefficient_is_read_in_every_spelling_of_the_trade(text):
    assert to_si(text, "coefficient") == pytest.approx(2000.0, rel=SAME_TO_ROUNDING)


@pytest.mark.parametrize(
    "text", ["95 degC", "95 °C", "95°C", "95 deg C", "95 C", "95 ℃", "95 degrees C", "203 degF", "368.15 K"]
)
def test_an_absolute_temperature_is_held_in_kelvin(text):
    assert to_si(text, "temperature") == 368.15


def test_fixed_points_of_the_temperature_scales_agree():
    assert to_si("-40 degF", "temperature") == to_si("-40 degC", "temperature") == 233.15
    assert to_si("32 degF", "temperature") == constants.zero_Celsius
    assert to_si("-273.14 degC", "temperature") == pytest.approx(0.01, abs=1e-9)


def test_millikelvin_and_metre_kelvin_are_told_apart_by_what_is_due():
    assert to_si("10 mK", "temperature difference") == 0.01
    assert to_si("300 mK/W", "resistance") == 0.3
    assert to_si("5 W/mK", "conductivity") == 5.0


@pytest.mark.parametrize(
    ("value", "expected"), [("0.5 %", 0.005), ("0.005", 0.005), (0.005, 0.005), (1, 1.0), ("5000 ppm", 0.005)]
)
def test_a_fraction_may_be_a_percentage_or_a_bare_number(value, expected):
    assert to_si(value, "fraction") == expected


@pytest.mark.parametrize(
    ("text", "expected"), [("3,5 mm", 0.0035), ("0,125 mm", 0.000125), ("12,75 mm", 0.01275), (",5 mm", 5e-4)]
)
def test_a_decimal_comma_is_read_where_it_can_mean_nothing_else(text, expected):
    assert to_si(text, "length") == expected


@pytest.mark.parametrize("text", ["1,000 mm", "12,500 um", "-1,250 mm"])
def test_a_comma_before_three_digits_is_refused_because_readers_differ(text):
    fault = refusal(text, "length")
    assert "two ways" in fault.message and "write" in fault.hint


@given(st.integers(-(10**9), 10**9))
def test_one_length_in_two_metric_units_is_one_float(micrometres):
    millimetres = Decimal(micrometres) / 1000
    metres = Decimal(micrometres) / 10**6
    texts = [f"{micrometres} um", f"{millimetres:f} mm", f"{metres:f} m"]
    assert {to_si(text, "length") for text in texts} == {float(metres)}


@given(st.sampled_from(sorted(DIMENSIONS)), st.floats(1e-9, 1e9))
def test_what_is_shown_is_read_back_to_the_digits_shown(name, value):
    if name == "temperature":
        value = 150 + value % 1850
    shown = to_si(show(value, name), name)
    digits = {"temperature": 0.051, "temperature difference": 0.051}.get(name, 0.0)
    assert shown == pytest.approx(
        value, rel=0.6 * 10 ** (1 - DIMENSIONS[name].digits), abs=digits if value >= 0.1 else 0
    )


@given(st.sampled_from(sorted(set(DIMENSIONS) - {"temperature"})), st.floats(1e-12, 1e12))
def test_every_dimension_reads_its_own_si_unit_as_one(name, value):
    text = f"{value!r} {DIMENSIONS[name].si}"
    assert to_si(text, name) == pytest.approx(value, rel=SAME_TO_ROUNDING)


@given(st.floats(-1e6, 1e6), st.floats(0.01, 100))
def test_conversion_is_linear_where_no_offset_is_involved(value, factor):
    assert to_si(f"{value!r} inH2O", "pressure") * factor == pytest.approx(
        to_si(f"{value * factor!r} inH2O", "pressure"), rel=1e-12, abs=1e-300
    )


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [(0.003, "length", "3 mm"), (3.5e-6, "length", "3.5 um"), (0.775e-3, "length", "0.775 mm"),
     (5e-5, "length", "50 um"),
     (0.0, "length", "0 mm"), (-0.003, "length", "-3 mm"), (8e-6, "impedance", "8 mm^2 K/W"),
     (368.15, "temperature", "95.0 degC"),
     (12.674, "temperature difference", "12.7 K"), (0.0213, "temperature difference", "0.0213 K"),
     (1.5e6, "flux", "150 W/cm^2"),
     (12345.6, "coefficient", "12350 W/m^2/K"), (388.0, "conductivity", "388 W/m/K"), (40.0, "pressure", "40 Pa"),
     (3e5, "pressure", "0.3 MPa"), (0.005, "fraction", "0.5 %"), (17e-6, "expansion", "17 ppm/K"),
     (0.45, "mass", "0.45 kg"),
     (math.nan, "density", "unknown")],
)  # fmt: skip
def test_values_are_shown_in_the_unit_of_the_trade(value, dimension, text):
    assert show(value, dimension) == text


@pytest.mark.parametrize("dimension", DIMENSIONS.values(), ids=lambda dimension: dimension.name)
def test_the_examples_that_messages_offer_can_be_copied(dimension):
    for example in dimension.examples:
        assert math.isfinite(to_si(example, dimension.name))
        assert f'"{example}"' in dimension.allowed


def test_every_spelling_has_a_definition():
    for name in set(UNITS.values()):
        assert units._size(((name, 1),))[0] > 0


def test_a_bare_number_is_refused_with_the_unit_to_add():
    for bare in ("3", 3, 3.0):
        fault = refusal(bare, "length")
        assert fault.message == f'"{bare}" has no unit'
        assert fault.allowed == 'a length with its unit, such as "3 mm" or "50 um" or "8 mil"'
        assert fault.hint == f'write "{bare} mm" if that is meant'


def test_a_wrong_dimension_is_named():
    assert refusal("8 K/W", "impedance").message == '"8 K/W" is a resistance, an impedance is due'
    assert refusal("3 mm", "area").message == '"3 mm" is a length, an area is due'
    assert refusal("30 deg", "fraction").message == '"30 deg" is an angle, a fraction is due'
    assert refusal("3 %", "angle").message == '"3 %" is a fraction, an angle is due'
    assert refusal("2 oz", "length").hint == 'write "2 oz copper" for the foil of a board'


def test_degrees_celsius_are_refused_where_a_difference_is_due():
    fault = refusal("10 degC", "temperature difference")
    assert fault.message == '"10 degC" is a temperature, a difference is due'
    assert fault.hint == 'write "10 K" if a difference is meant'
    assert refusal("18 degF", "temperature difference").hint == 'write "10 K" if a difference is meant'


def test_kelvin_that_can_only_be_celsius_is_refused():
    fault = refusal("35 K", "temperature")
    assert "no plausible temperature (150 K to 2000 K)" in fault.message
    assert fault.hint == 'write "35 degC" if that is meant'
    for text in ("-273.15 degC", "-300 degC", "-459.67 degF"):
        assert "not above absolute zero" in refusal(text, "temperature").message
    assert "degF" in refusal("5 W/m/degF", "conductivity").message


@pytest.mark.parametrize(
    ("text", "dimension", "hint"),
    [("3 MM", "length", "did you mean mm?"), ("3 mmm", "length", "did you mean mm?"),
     ("3 milimeter", "length", "did you mean mm?"),
     ("3 KW", "power", "did you mean kW?"), ("3 mw", "power", "did you mean mW or MW?"),
     ("3 kpa", "pressure", "did you mean kPa?"),
     ("35 degc", "temperature", "did you mean degC?")],
)  # fmt: skip
def test_a_misspelt_unit_is_answered_with_the_nearest(text, dimension, hint):
    assert refusal(text, dimension).hint == hint


@pytest.mark.parametrize(
    "text",
    ["", "   ", "mm", "W", "K/W", "nan mm", "NaN", "inf m", "-inf m", "infinity m", "1e999 m", "-1e999 m", "1e-999 m",
     "1e99999999 m", "9**9**9 m", "9^9^9 m", "3 mm mm", "3 mm mm mm", "3 mm + 2 mm", "3 * 2 mm", "3 mm; 4",
     "__import__('os')",
     "3 __import__", "3 m.__class__", "3 lambda", "1 000 mm", "1_000 mm", "1.000,5 mm", "1.2.3 mm", "--3 mm", "- 3 mm",
     "3² mm", "0x10 mm", "3e mm", "3 m^99", "3 m^0.5", "3 m^", "3 m2^2", "3 (mm", "3 mm)", "3 ()", "3 m//m", "3 m/",
     "3 \x00mm",
     "3 mm" * 50, "9" * 100_000 + " mm", "3 " + "m" * 100_000, "٣ mm", "3 ⅿm mm", "½ mm",
     "3 W/mK/mK/mK/mK/mK/mK/mK/mK/mK/mK",
     None, True, [3, "mm"], {"mm": 3}, b"3 mm", 10**5000, math.nan, math.inf],
    ids=lambda text: repr(text)[:20] if not isinstance(text, int) or isinstance(text, bool) else "huge",
)  # fmt: skip
def test_what_is_no_length_is_refused_with_an_example(text):
    fault = refusal(text, "length")
    assert fault.allowed == DIMENSIONS["length"].allowed
    assert len(str(fault)) < 400


@given(st.one_of(st.text(max_size=80), st.text(alphabet="0123456789.,eE+-*/^()%_ mKWCdegin²·°", max_size=60)))
def test_no_text_whatever_does_more_than_give_a_number_or_a_fault(text):
    for name in ("length", "temperature", "temperature difference", "conductivity", "fraction"):
        try:
            assert math.isfinite(to_si(text, name))
        except UnitFault as fault:
            assert fault.message and fault.allowed


def test_a_dimension_that_does_not_exist_is_a_programmers_slip():
    with pytest.raises(KeyError):
        to_si("3 mm", "lenght")


# Expected values: pint's own registry, which is independent of the tables in use here.
@pytest.mark.parametrize("name", sorted(set(UNITS.values()) - set(OWN)))
def test_every_unit_is_as_large_as_in_an_independent_registry(registry, name):
    factor, powers = units._size(((name, 1),))
    theirs = registry.Quantity(1.0, THEIR_NAMES.get(name, name))
    base = registry.UnitsContainer({THEIR_NAMES.get(unit, unit): power for unit, power in powers.items()})
    assert factor == pytest.approx(theirs.to(base).magnitude, rel=1e-15)


# The same on the scales of temperature.
@pytest.mark.parametrize("text", ["-40 degC", "25 degC", "451 degF", "-40 degF", "300 K"])
def test_temperatures_are_as_in_an_independent_registry(registry, text):
    number, name = text.split()
    theirs = registry.Quantity(float(number), UNITS[name]).to("kelvin").magnitude
    assert to_si(text, "temperature") == pytest.approx(theirs, rel=1e-12)
