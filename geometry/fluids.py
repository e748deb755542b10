"""What cools: density, viscosity, conductivity and heat capacity of air, water and water-glycol; pressure at altitude.

Read from tables that were made with CoolProp (`fluid_tables`, fluids.csv). Air: Lemmon et al. (2000), Lemmon and Jacobsen (2004).
Water: Wagner and Pruss (2002), Huber et al. (2009, 2012). Glycols: Melinder (2010). Each as transcribed in that library, which names
the first four; the last from memory. Air is dry. Glycols are without inhibitors: a maker's sheet for the coolant in use comes first.

Largest departure of a table from CoolProp 8.0.0, at 3000 random states of each fluid over all of its temperatures and 5 kPa to 1 MPa,
measured by `python benchmarks/fluid_tables.py`; the bound in the tests is 0.05 %:

    per cent of         density  viscosity  conductivity  heat capacity
    air                  0.004     0.002       0.002          0.004
    water                0.001     0.014       0.023          0.003
    ethylene glycol      0.001     0.013       0.001          0.001
    propylene glycol     0.001     0.020       0.001          0.001

Freezing points depart by at most 0.001 K, the boiling point of water by 0.002 K.
"""

import difflib
import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from plancha.geometry.faults import Failure
from plancha.geometry.fluid_tables import boiling_point, fluid_table
from plancha.geometry.units import show

STANDARD_PRESSURE = 101325.0  # Pa
NEAR_FREEZING = 5.0  # K above freezing from which it is noted: common practice, no source
MOST_GLYCOL = 0.6  # mass fraction to which the tables reach
GLYCOLS = ("ethylene glycol", "propylene glycol")
FROZEN = " is frozen"
LOWEST_PRESSURE, HIGHEST_PRESSURE = 5e3, 1e6  # Pa: about 20 km of altitude; a pressurised loop


class UnknownFluid(ValueError):
    """A name that means no fluid: ``message`` says why, ``allowed`` what may be written, ``hint`` what may be meant."""

    def __init__(self, message: str, allowed: str = "", hint: str = ""):
        self.message, self.allowed, self.hint = message, allowed, hint
        super().__init__("; ".join(part for part in (message, allowed and f"allowed: {allowed}", hint) if part))


@dataclass(frozen=True)
class Fluid:
    """A coolant at one state: density [kg/m^3], dynamic viscosity [Pa s], conductivity [W/m/K], heat capacity [J/kg/K]."""

    density: float
    viscosity: float
    conductivity: float
    heat_capacity: float
    notes: tuple[str, ...] = ()

    @property
    def prandtl(self) -> float:
        """Prandtl number [-]: viscosity times heat capacity over conductivity."""
        return self.viscosity * self.heat_capacity / self.conductivity


@dataclass(frozen=True)
class FluidLaw:
    """A fluid by name: its function of temperature [K] and pressure [Pa], the range of temperature [K], where values come from."""

    name: str
    at: Callable[[float, float], Fluid]
    coldest: float
    hottest: float
    source: str


def air(temperature: float, pressure: float = STANDARD_PRESSURE) -> Fluid:
    """Dry air.

    Parameters
    ----------
    temperature : float, [K]
        200 K to 600 K.
    pressure : float, [Pa]
        Absolute, 5 kPa to 1 MPa. For a place above the sea: `pressure_at_altitude`.

    Raises
    ------
    Failure
        Outside these ranges, with the numbers.

    Notes
    -----
    Source: Lemmon et al. (2000), for transport Lemmon and Jacobsen (2004), as transcribed in CoolProp.

    Examples
    --------
    >>> round(air(298.15).density, 4)
    1.1843
    """
    _within("air", temperature, 200.0, 600.0, pressure)
    return Fluid(*fluid_table("air").at(pressure, temperature))


def water(temperature: float, pressure: float = STANDARD_PRESSURE) -> Fluid:
    """Liquid water.

    Parameters
    ----------
    temperature : float, [K]
        From freezing (273.16 K) to boiling at this pressure, 448.15 K (175 degC) at most.
    pressure : float, [Pa]
        Absolute, 5 kPa to 1 MPa.

    Raises
    ------
    Failure
        Outside these ranges, and where water boils, with the numbers.

    Notes
    -----
    Source: Wagner and Pruss (2002, IAPWS-95), viscosity Huber et al. (2009), conductivity Huber et al. (2012), as transcribed in
    CoolProp.
    """
    _within("water", temperature, 273.16, 448.15, pressure, FROZEN)
    _below_boiling("water", temperature, pressure)
    return Fluid(*fluid_table("water").at(pressure, temperature), _cold_notes("water", temperature, 273.15))


def water_glycol(kind: str, mass_fraction: float, temperature: float, pressure: float = STANDARD_PRESSURE) -> Fluid:
    """A mixture of water and glycol.

    Parameters
    ----------
    kind : str
        "ethylene glycol" or "propylene glycol".
    mass_fraction : float, [-]
        Of glycol, by mass (not by volume), 0 to 0.6.
    temperature : float, [K]
        From the mixture's freezing point to 373.15 K, and to where water boils at this pressure: the mixture boils a few kelvin
        higher, so that the limit is on the safe side.
    pressure : float, [Pa]
        Absolute, 5 kPa to 1 MPa; the liquid's properties do not depend on it.

    Raises
    ------
    ValueError
        If the kind is unknown or the fraction outside 0..0.6.
    Failure
        Outside the range of temperature or pressure, with the numbers.

    Notes
    -----
    Source: Melinder (2010), from memory, as transcribed in CoolProp (INCOMP::MEG, INCOMP::MPG).
    """
    _check_glycol(kind, mass_fraction)
    name, freezing = f"{kind} {100 * mass_fraction:g} %", freezing_point(kind, mass_fraction)
    _within(name, temperature, freezing, 373.15, pressure, FROZEN)
    _below_boiling(name, temperature, pressure)
    return Fluid(*fluid_table(kind).at(mass_fraction, temperature), _cold_notes(name, temperature, freezing))


def freezing_point(kind: str, mass_fraction: float) -> float:
    """Temperature [K] at which the first ice forms in water with this mass fraction [-] of "ethylene glycol" or "propylene glycol".

    Source: Melinder (2010), as transcribed in CoolProp; fractions 0 to 0.6.
    """
    _check_glycol(kind, mass_fraction)
    return fluid_table(kind).range(mass_fraction)[0]


FLUIDS = {law.name: law for law in (
    FluidLaw("air", air, 200.0, 600.0, "Lemmon et al. (2000), Lemmon and Jacobsen (2004), by CoolProp"),
    FluidLaw("water", water, 273.16, 448.15, "Wagner and Pruss (2002), Huber et al. (2009, 2012), by CoolProp"),
)}  # fmt: skip
NAMES = '"air", "water", "ethylene glycol 30 %" or "propylene glycol 30 %" (by mass, 0 % to 60 %)'


def fluid_law(name: str) -> FluidLaw:
    """The law of a fluid by the name that a study gives it.

    Parameters
    ----------
    name : str
        "air", "water", or a glycol with its percentage by mass: "ethylene glycol 30 %", "propylene glycol 45.5%".

    Raises
    ------
    UnknownFluid
        If there is no such fluid, or the percentage is missing or outside 0 to 60; the message says what may be written.

    Examples
    --------
    >>> law = fluid_law("ethylene glycol 30 %")
    >>> law.name, round(law.at(298.15, 101325.0).density)
    ('ethylene glycol 30 %', 1036)
    """
    plain = " ".join(name.lower().split())
    if plain in FLUIDS:
        return FLUIDS[plain]
    found = re.fullmatch(r"(?P<kind>[a-z ]+?)(?: ?(?P<percent>\d+(?:\.\d+)?) ?%)?", plain)
    if not found or found["kind"] not in GLYCOLS:
        near = difflib.get_close_matches(found["kind"] if found else plain, [*FLUIDS, *GLYCOLS], 1)
        hint = f'did you mean "{near[0]}"?' if near else ""
        raise UnknownFluid(f'there is no fluid "{name[:60]}"', NAMES, hint)
    if not found["percent"] or float(found["percent"]) > 100 * MOST_GLYCOL:
        told = f"has {found['percent'][:20]} % of glycol" if found["percent"] else "lacks its percentage of glycol"
        raise UnknownFluid(f'"{name[:60]}" {told}', NAMES)
    return _glycol_law(found["kind"], float(found["percent"]) / 100)


def _glycol_law(kind: str, fraction: float) -> FluidLaw:
    def at(temperature: float, pressure: float = STANDARD_PRESSURE) -> Fluid:
        return water_glycol(kind, fraction, temperature, pressure)

    name = f"{kind} {100 * fraction:g} %"
    return FluidLaw(name, at, freezing_point(kind, fraction), 373.15, "Melinder (2010), by CoolProp")


def pressure_at_altitude(altitude: float) -> float:
    """Pressure of the standard atmosphere.

    p = 101325 (1 - 0.0065 H / 288.15)^5.25588 up to H = 11 km, then falling by e every 6341.6 m, with the geopotential altitude
    H = r z / (r + z), r = 6356766 m. Only the pressure is taken: the air of a room is as warm as the room, not as the
    atmosphere outside (at 3000 m that one is 19.5 K colder than at the sea, and its density 11 % above a room's at 25 degC).

    Parameters
    ----------
    altitude : float, [m]
        Geometric, above the sea, -500 m to 20 km.

    Returns
    -------
    float, [Pa]

    Raises
    ------
    ValueError
        Outside this range.

    Notes
    -----
    Source: U.S. Standard Atmosphere 1976 (constants from memory), checked against ATMOSPHERE_1976 of `fluids`.

    Examples
    --------
    >>> round(pressure_at_altitude(1500.0), 1)
    84559.7
    """
    if not -500.0 <= altitude <= 20e3:
        raise ValueError(
            f"the altitude is {show(altitude, 'altitude')}; the standard atmosphere is used from -500 m to 20000 m"
        )
    height = 6356766.0 * altitude / (6356766.0 + altitude)
    weight = 9.80665 * 0.0289644 / 8.31432  # K/m: gravity over gas constant per mass
    troposphere = min(height, 11000.0)
    pressure = STANDARD_PRESSURE * (1.0 - 0.0065 * troposphere / 288.15) ** (weight / 0.0065)
    return pressure * math.exp(-weight * (height - troposphere) / 216.65)


def capacity_flow(fluid: Fluid, flow: float) -> float:
    """Heat [W] that a flow [m^3/s] takes up per kelvin of warming: density times flow times heat capacity [W/K].

    The flow is that of the place whose density the fluid has: the inlet's, where a fan blows in cold air.
    """
    return fluid.density * flow * fluid.heat_capacity


def _check_glycol(kind: str, mass_fraction: float) -> None:
    if kind not in GLYCOLS or not 0.0 <= mass_fraction <= MOST_GLYCOL:
        raise ValueError(f"{kind} at {100 * mass_fraction:g} % is no mixture known here; allowed: {NAMES}")


def _within(name: str, temperature: float, coldest: float, hottest: float, pressure: float, colder: str = "") -> None:
    if not coldest <= temperature <= hottest:
        found, least, most = (f"{value - 273.15:.1f} degC" for value in (temperature, coldest, hottest))
        state = colder if temperature < coldest else ""
        raise Failure(f"{name} at {found}{state}: its properties are known from {least} to {most}")
    if not LOWEST_PRESSURE <= pressure <= HIGHEST_PRESSURE:
        raise Failure(f"{name} at {pressure / 1e3:.10g} kPa: its properties are taken from 5 kPa to 1 MPa, absolute")


def _below_boiling(name: str, temperature: float, pressure: float) -> None:
    boiling = boiling_point(pressure)
    if temperature >= boiling:
        found, limit = (f"{value - 273.15:.1f} degC" for value in (temperature, boiling))
        raise Failure(
            f"{name} at {found}: water boils at {limit} under {pressure / 1e3:.4g} kPa, and steam is not modelled"
        )


def _cold_notes(name: str, temperature: float, freezing: float) -> tuple[str, ...]:
    above = temperature - freezing
    if above >= NEAR_FREEZING:
        return ()
    return (
        f"{name} is {above:.1f} K above its freezing point of {freezing - 273.15:.1f} degC: freezing bursts cold plates",
    )
