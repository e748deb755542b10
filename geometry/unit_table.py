"""The units that may stand in a study, as data: definitions, spellings, ways of writing, and the kinds of quantity."""

import re
from dataclasses import dataclass

# Radians, revolutions and decibels are base units of their own, which keeps degrees, turns and sound levels apart from percent
# and from each other. A sound level is a number of dB(A): it is read, never converted.
BASE = ("meter", "second", "kilogram", "kelvin", "radian", "revolution", "decibel_A")

# Every other unit: how many of what it is.
# mmH2O and inH2O: water of 1000 kg/m3 under 9.80665 m/s2. psi, pound, ounce: exact, from the international pound, inch.
# Copper foil of 1 oz/ft2 is 34.8 um (1.37 mil): common practice, no source; 305 g/m2 of pore-free copper is 34.1 um.
DEFINITIONS = {
    "kilometer": (1e3, "m"), "centimeter": (1e-2, "m"), "millimeter": (1e-3, "m"), "micrometer": (1e-6, "m"),
    "nanometer": (1e-9, "m"), "inch": (0.0254, "m"), "foot": (0.3048, "m"), "mil": (2.54e-5, "m"), "ounce_copper": (3.48e-5, "m"),
    "liter": (1e-3, "m^3"), "milliliter": (1e-6, "m^3"), "minute": (60, "s"), "hour": (3600, "s"),
    "degree": (0.017453292519943295, "rad"), "milliradian": (1e-3, "rad"),
    "watt": (1, "kg m^2/s^3"), "megawatt": (1e6, "W"), "kilowatt": (1e3, "W"), "milliwatt": (1e-3, "W"), "microwatt": (1e-6, "W"),
    "millikelvin": (1e-3, "K"), "degree_Celsius": (1, "K"), "degree_Fahrenheit": (5 / 9, "K"),
    "newton": (1, "kg m/s^2"), "kilonewton": (1e3, "N"), "millinewton": (1e-3, "N"), "pound_force": (4.4482216152605, "N"),
    "pascal": (1, "N/m^2"), "megapascal": (1e6, "Pa"), "kilopascal": (1e3, "Pa"), "bar": (1e5, "Pa"), "millibar": (1e2, "Pa"),
    "psi": (6894.757293168361, "Pa"), "atmosphere": (101325, "Pa"), "millimeter_water": (9.80665, "Pa"),
    "inch_water": (249.08891, "Pa"),
    "gram": (1e-3, "kg"), "milligram": (1e-6, "kg"), "pound": (0.45359237, "kg"), "ounce": (0.028349523125, "kg"),
    "joule": (1, "kg m^2/s^2"), "kilojoule": (1e3, "J"), "percent": (1e-2, ""), "parts_per_million": (1e-6, ""),
}  # fmt: skip
ABSOLUTE_ZERO = {"kelvin": 0.0, "degree_Celsius": -273.15, "degree_Fahrenheit": -459.67}  # on each scale of temperature

# Unit: what may stand for it in a study; messages propose the first.
SPELLINGS = {
    "meter": "m", "millimeter": "mm", "centimeter": "cm", "micrometer": "um micron microns", "nanometer": "nm",
    "kilometer": "km",
    "inch": "in inches", "foot": "ft feet", "mil": "mil mils thou", "ounce_copper": "oz_copper",
    "liter": "l L litre", "milliliter": "ml mL", "second": "s sec", "minute": "min", "hour": "h hr",
    "degree": "deg", "radian": "rad", "milliradian": "mrad",
    "watt": "W", "milliwatt": "mW", "kilowatt": "kW", "microwatt": "uW", "megawatt": "MW",
    "kelvin": "K", "millikelvin": "mK", "degree_Celsius": "degC C celsius Celsius", "degree_Fahrenheit": "degF",
    "newton": "N", "millinewton": "mN", "kilonewton": "kN", "pound_force": "lbf",
    "pascal": "Pa", "kilopascal": "kPa", "megapascal": "MPa", "bar": "bar", "millibar": "mbar", "psi": "psi", "atmosphere": "atm",
    "millimeter_water": "mm_H_O", "inch_water": "in_H_O",
    "kilogram": "kg", "gram": "g", "milligram": "mg", "pound": "lb", "ounce": "oz",
    "joule": "J", "kilojoule": "kJ", "percent": "%", "parts_per_million": "ppm",
    "revolution": "rev", "decibel_A": "dB_A dB dBA",
}  # fmt: skip
UNITS = {spelling: name for name, row in SPELLINGS.items() for spelling in (*row.split(), name)}
PROPOSED = {name: row.split()[0] for name, row in SPELLINGS.items()} | {
    "ounce_copper": "oz copper", "millimeter_water": "mmH2O", "inch_water": "inH2O", "decibel_A": "dB(A)"}  # fmt: skip

# Ways of writing that no list of units covers, put into plain form before the unit is taken apart.
REWRITES = tuple((re.compile(pattern), plain) for pattern, plain in (
    (r"\*\*", "^"),
    (r"[·⋅•∙×*]", " "),
    (r"\s+", " "),
    (r"^ | $", ""),
    (r"[‐‑−]", "-"),
    (r"μ", "u"),
    (r"°", "deg"),
    (r"\bdeg(?:ree)?s? ?(?:C|celsius|Celsius)(?![a-z])", "degC"),
    (r"\bdeg(?:ree)?s? ?F(?![a-z])", "degF"),
    (r"\bdegrees$", "deg"),
    (r"\b(mm|in)(?:ch)?\.? ?(?:H2O|Aq|AQ|WC|WG|wc|wg)\b", r"\1_H_O"),
    (r"\bdB ?(?:\(A\)|A\b)", "dB_A"),
    (r"^(?:rpm|RPM|r/min|1/min|min\^?-1)$", "rev/min"),
    (r"^(?:rps|r/s|1/s|s\^?-1)$", "rev/s"),
    (r"^oz ?(?:/ ?ft\^?2 ?)?(?:copper|Cu|cu)$|^oz ?/ ?ft\^?2$", "oz_copper"),
    (r"^(?:CFM|cfm)$", "ft3/min"),
    (r"^(?:lpm|LPM)$", "l/min"),
    (r"^(?:LFM|lfm)$", "ft/min"),
    (r"\bcc\b", "cm3"),
    (r"\.", " "),
    (r" ?/ ?", "/"),
    (r"(?<=\() | (?=\))|^ | $", ""),
))  # fmt: skip


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its SI unit as printed, texts that may be copied, and units to print in, largest first."""

    name: str
    si: str
    examples: tuple[str, ...]
    printed: tuple[str, ...]
    digits: int = 4
    noun: str = ""

    @property
    def called(self) -> str:
        """The name in a sentence, with its article: "an impedance"."""
        return self.noun or f"{'an' if self.name[0] in 'aeiou' else 'a'} {self.name}"

    @property
    def allowed(self) -> str:
        """What a user may write, with examples."""
        return f"{self.called}{'' if self.name == 'fraction' else ' with its unit'}, such as " + self.quoted

    @property
    def quoted(self) -> str:
        """The examples in a sentence."""
        return " or ".join(f'"{example}"' for example in self.examples)


DIMENSIONS = {dimension.name: dimension for dimension in (
    Dimension("length", "m", ("3 mm", "50 um", "8 mil"), ("mm", "um", "nm"), 6),
    Dimension("area", "m^2", ("80 mm^2", "4 cm2"), ("mm^2",), 6),
    Dimension("volume flow", "m^3/s", ("20 CFM", "0.01 m^3/s", "12 l/min"), ("CFM",), 5),
    Dimension("angle", "rad", ("30 deg", "0.5 rad"), ("deg",)),
    Dimension("power", "W", ("280 W", "500 mW"), ("W", "mW"), noun="a power"),
    Dimension("flux", "W/m^2", ("150 W/cm^2", "1.5 W/mm2"), ("W/cm^2",), noun="a heat flux"),
    Dimension("temperature", "K", ("35 degC", "308 K"), ("degC",)),
    Dimension("temperature difference", "K", ("10 K", "0.5 K"), ("K",)),
    Dimension("conductivity", "W/m/K", ("5 W/m/K", "388 W/(m K)"), ("W/m/K",)),
    Dimension("impedance", "m^2 K/W", ("8 mm^2 K/W", "0.08 degC cm2/W"), ("mm^2 K/W",)),
    Dimension("resistance", "K/W", ("0.2 K/W", "0.2 degC/W"), ("K/W",)),
    Dimension("coefficient", "W/m^2/K", ("2000 W/m^2/K", "0.2 W/(cm2 K)"), ("W/m^2/K",)),
    Dimension("density", "kg/m^3", ("8940 kg/m3", "8.94 g/cm3"), ("kg/m^3",)),
    Dimension("specific heat", "J/kg/K", ("385 J/kg/K", "0.385 kJ/(kg K)"), ("J/kg/K",)),
    Dimension("pressure", "Pa", ("40 Pa", "4 mmH2O", "300 kPa"), ("MPa", "kPa", "Pa")),
    Dimension("force", "N", ("200 N", "45 lbf"), ("N", "mN")),
    Dimension("mass", "kg", ("450 g", "0.45 kg"), ("kg", "g", "mg")),
    Dimension("velocity", "m/s", ("3 m/s", "600 LFM"), ("m/s",)),
    Dimension("altitude", "m", ("1500 m", "5000 ft"), ("m",)),
    Dimension("speed of rotation", "rev/s", ("3000 rpm", "50 rev/s"), ("rpm",), 6),  # turns, not radians
    Dimension("sound level", "dB", ("45 dB(A)", "45 dB"), ("dB(A)",)),
    Dimension("fraction", "", ("0.5 %", "0.005"), ("%",)),
    Dimension("growth", "1/K", ("1.5 %/K", "0.015 1/K"), ("%/K",)),
    Dimension("expansion", "1/K", ("17 ppm/K", "17e-6 1/K"), ("ppm/K",)),
)}  # fmt: skip
