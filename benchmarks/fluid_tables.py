"""The tables of coolants that are shipped, from CoolProp, and how far what is read between their rows departs from it.

    pip install coolprop
    python benchmarks/fluid_tables.py geometry/fluids.csv     # writes the tables anew, then prints the largest departures

CoolProp (MIT licence) is needed here and in the tests alone. Air: Lemmon et al. (2000), Lemmon and Jacobsen (2004). Water: Wagner and
Pruss (2002), Huber et al. (2009, 2012). Glycols: Melinder (2010), from memory. The head of the file says more.
"""

import argparse
from collections.abc import Iterator
from pathlib import Path

import CoolProp
import numpy as np
from CoolProp.CoolProp import AbstractState, PropsSI

from plancha.geometry.fluid_tables import boiling_point, fluid_table

GLYCOLS = {"ethylene glycol": "MEG", "propylene glycol": "MPG"}
PRESSURES = (5e3, 101325.0, 4e5, 1e6)  # Pa
BOILING_PRESSURES = tuple(float(f"{each:.4g}") for each in np.geomspace(5e3, 1e6, 12))  # Pa
FRACTIONS = tuple(round(0.03 * step, 2) for step in range(21))
TEMPERATURES = {
    "air": tuple(range(200, 601, 20)),  # K
    "water": (273.16, *range(280, 441, 10), 448.15),
}
HOTTEST_GLYCOL, GLYCOL_ROWS = 373.15, 9
Properties = tuple[float, float, float, float]

HEAD = """\
# Coolants: density kg/m^3, viscosity Pa s, conductivity W/m/K, heat_capacity J/kg/K at temperature K. Written by
#     python benchmarks/fluid_tables.py geometry/fluids.csv
# with CoolProp {version} (MIT licence), which names author, journal and year; volumes are from memory. Do not edit.
# The level is the pressure in Pa; of glycols, their share of mass.
#   air               equation of state (backend HEOS) of Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000); transport Lemmon and
#                     Jacobsen, Int. J. Thermophys. 25 (2004). Dry.
#   water             HEOS, Wagner and Pruss, J. Phys. Chem. Ref. Data 31 (2002, IAPWS-95); viscosity Huber et al., same journal 38
#                     (2009), conductivity Huber et al., 41 (2012). Liquid; where it would boil, superheated, only to interpolate.
#   boiling water     of the same, the saturated liquid at its boiling point.
#   ethylene glycol,  backend INCOMP (MEG, MPG): Melinder, Properties of Secondary Working Fluids for Indirect Systems (2010), from
#   propylene glycol  memory. In water, without inhibitors; the first row of each share is at the freezing point. At one atmosphere.
fluid,level,temperature,density,viscosity,conductivity,heat_capacity
"""


def properties(name: str, level: float, temperature: float) -> Properties:
    """Density, viscosity, conductivity, heat capacity by the library; the level is the pressure [Pa] or the mass fraction [-]."""
    if name in GLYCOLS:
        mixture = f"INCOMP::{GLYCOLS[name]}[{level!r}]"
        density, viscosity, conductivity, heat_capacity = (
            float(PropsSI(key, "T", temperature, "P", 101325.0, mixture)) for key in "DVLC"
        )
        return density, viscosity, conductivity, heat_capacity
    state = AbstractState("HEOS", name.capitalize())
    state.specify_phase(CoolProp.iphase_gas if name == "air" else CoolProp.iphase_liquid)
    state.update(CoolProp.PT_INPUTS, level, temperature)
    return state.rhomass(), state.viscosity(), state.conductivity(), state.cpmass()


def saturated(pressure: float) -> tuple[float, Properties]:
    """Boiling point [K] of water, and the properties of the liquid there."""
    state = AbstractState("HEOS", "Water")
    state.update(CoolProp.PQ_INPUTS, pressure, 0.0)
    return state.T(), (state.rhomass(), state.viscosity(), state.conductivity(), state.cpmass())


def freezing(kind: str, fraction: float) -> float:
    """Freezing point [K] of a mixture with water."""
    return float(PropsSI("T_freeze", "T", 300.0, "P", 101325.0, f"INCOMP::{GLYCOLS[kind]}[{fraction!r}]"))


def rows() -> Iterator[tuple[str, float, float, Properties]]:
    """Name, level, temperature [K] and properties of every row of the file."""
    for name, temperatures in TEMPERATURES.items():
        for pressure in PRESSURES:
            for temperature in temperatures:
                yield name, pressure, temperature, properties(name, pressure, temperature)
    for pressure in BOILING_PRESSURES:
        yield "boiling water", pressure, *saturated(pressure)
    for kind in GLYCOLS:
        for fraction in FRACTIONS:
            # a little above the freezing point, where the library's own check of it passes
            coldest = np.ceil(1e4 * freezing(kind, fraction)) / 1e4
            for temperature in np.linspace(coldest, HOTTEST_GLYCOL, GLYCOL_ROWS).round(4).tolist():
                yield kind, fraction, temperature, properties(kind, fraction, temperature)


def text_of_rows() -> str:
    """The whole file."""
    lines = [
        ",".join([name, f"{level:.6g}", f"{temperature:.7g}", *(f"{value:.6g}" for value in values)])
        for name, level, temperature, values in rows()
    ]
    return HEAD.format(version=CoolProp.__version__) + "\n".join(lines) + "\n"


def departures(name: str, count: int, seed: int) -> np.ndarray:
    """Relative departures (count, 4) of the tables from the library at random states, corners and all, where the fluid is a liquid
    (or air)."""
    generator = np.random.default_rng(seed)
    found: list[np.ndarray] = []
    while len(found) < count:
        highest = 0.6 if name in GLYCOLS else 1e6
        level = float(
            generator.uniform(0.0, highest) if name in GLYCOLS else np.exp(generator.uniform(*np.log([5e3, 1e6])))
        )
        coldest, hottest = fluid_table(name).range(level)
        if name == "water":
            hottest = min(hottest, saturated(level)[0] - 0.01)
        if name in GLYCOLS:
            coldest, hottest = max(coldest, freezing(name, level) + 1e-3), hottest - 1e-3
        share = generator.choice([0.0, 1.0, generator.uniform()], p=[0.05, 0.05, 0.9])
        temperature = float(coldest + share * (hottest - coldest))
        found.append(np.array(fluid_table(name).at(level, temperature)) / properties(name, level, temperature) - 1)
    return np.array(found)


def main() -> None:
    """Write the file, then print the largest departures in per cent."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("file", type=Path, nargs="?", help="where to write the tables; else they are only measured")
    parser.add_argument("--states", type=int, default=3000, help="random states of each fluid")
    parser.add_argument("--seed", type=int, default=20261125)
    chosen = parser.parse_args()
    if chosen.file:
        chosen.file.write_text(text_of_rows(), encoding="utf-8")
    for name in (*TEMPERATURES, *GLYCOLS):
        worst = 100 * np.abs(departures(name, chosen.states, chosen.seed)).max(axis=0)
        print(f"{name:17s}" + "".join(f"{value:9.4f} %" for value in worst))  # noqa: T201
    pressures = np.geomspace(5e3, 1e6, chosen.states)
    print(f"boiling point    {max(abs(boiling_point(p) - saturated(p)[0]) for p in pressures):9.4f} K")  # noqa: T201
    for kind in GLYCOLS:
        fractions = np.linspace(0, 0.6, chosen.states).tolist()
        worst = max(abs(fluid_table(kind).range(x)[0] - freezing(kind, x)) for x in fractions)
        print(f"freezing point, {kind} {worst:.4f} K")  # noqa: T201


if __name__ == "__main__":
    main()
