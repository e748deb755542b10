"""What solids conduct: a table of materials by name and grade, each with range, source and cautions.

The table, ``materials.toml``, is a start; the user's own material is a ``Material`` of the same kind.
"""

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

CATEGORIES = ("metal", "semiconductor", "ceramic", "polymer", "carbon", "solder", "interface", "board")
UNKNOWN = (math.nan, math.nan)


class UnknownMaterial(ValueError):
    """A name that is in no table: ``message`` says why, ``allowed`` lists names, ``hint`` helps to choose."""

    def __init__(self, message: str, allowed: str = "", hint: str = ""):
        self.message, self.allowed, self.hint = message, allowed, hint
        super().__init__("; ".join(part for part in (message, allowed and f"allowed: {allowed}", hint) if part))


@dataclass(frozen=True)
class Material:
    """What a solid conducts, and how well that is known; NaN where a value is not known.

    Attributes
    ----------
    name : str
        Material and grade, "copper C11000".
    conductivity : (float, float, float), [W/m/K]
        Along x, y (in the plan) and z (through) at ``temperature_reference``.
    exponent : float, [-]
        n of k(T) = k_ref (T/T_ref)^n, the same in all directions; 0 where k is constant.
    temperature_reference : float, [K]
    temperature_range : (float, float), [K]
        Where the law, or the constant, holds.
    density, specific_heat, expansion : float, [kg/m3], [J/kg/K], [1/K]
        Expansion is in-plane where the material has layers.
    conductivity_range, conductivity_range_through : (float, float), [W/m/K]
        What one meets under this name at ``temperature_reference``, in the plan and through.
    bond_line_range, impedance_range : (float, float), [m], [m2 K/W]
        For interface materials: usual thickness, and usual impedance with its contacts.
    source, note : str
    cautions : tuple of str
        What can hurt people or hardware.
    category : str
        One of ``CATEGORIES``.

    Raises
    ------
    ValueError
        If a value is impossible; whether it is unusual is judged elsewhere.
    """

    name: str
    conductivity: tuple[float, float, float]
    exponent: float = 0.0
    temperature_reference: float = 300.0
    temperature_range: tuple[float, float] = UNKNOWN
    density: float = math.nan
    specific_heat: float = math.nan
    expansion: float = math.nan
    conductivity_range: tuple[float, float] = UNKNOWN
    conductivity_range_through: tuple[float, float] = UNKNOWN
    bond_line_range: tuple[float, float] = UNKNOWN
    impedance_range: tuple[float, float] = UNKNOWN
    source: str = ""
    note: str = ""
    cautions: tuple[str, ...] = ()
    category: str = "metal"

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ValueError("a material needs a name")
        if self.category not in CATEGORIES:
            raise ValueError(f"{self.name}: no category {self.category!r}; there are {', '.join(CATEGORIES)}")
        k = self.conductivity
        if len(k) != 3 or not (_is_positive(k[2]) and all(each == 0 or _is_positive(each) for each in k)):
            message = "must be three values, through the thickness above 0 W/m/K and in the plan not below"
            raise ValueError(f"{self.name}: conductivity {k} {message}")
        if not math.isfinite(self.exponent) or not _is_positive(self.temperature_reference):
            raise ValueError(f"{self.name}: the law k(T) needs a finite exponent and a reference above 0 K")
        if math.isinf(self.expansion):
            raise ValueError(f"{self.name}: expansion must be finite")
        for what in ("density", "specific_heat"):
            if not (math.isnan(getattr(self, what)) or _is_positive(getattr(self, what))):
                raise ValueError(f"{self.name}: {what} {getattr(self, what)} must be above 0")
        for what in (field for field in self.__dataclass_fields__ if "_range" in field):
            if not _is_range(getattr(self, what)):
                raise ValueError(f"{self.name}: {what} {getattr(self, what)} must be two values, 0 < low <= high")


def conductivity_at(material: Material, temperature: ArrayLike) -> NDArray[np.float64]:
    """Conductivity at given temperatures, k_ref (T/T_ref)^n.

    Parameters
    ----------
    material : Material
    temperature : array (...), [K]
        Absolute. Outside ``temperature_range`` the law is continued; ``outside_range`` says so.

    Returns
    -------
    array (3, ...), [W/m/K]
        Along x, y and z.

    Raises
    ------
    ValueError
        If a temperature is not above 0 K.

    Notes
    -----
    Source: the power law of lattice conduction, Palankovski and Quay (2004), from memory.

    Examples
    --------
    >>> conductivity_at(find_material("silicon"), 350.0).round(2)
    array([121.12, 121.12, 121.12])
    """
    kelvin = np.asarray(temperature, dtype=float)
    if not np.all(kelvin > 0):
        raise ValueError(f"{material.name}: temperatures must be above 0 K, found {np.min(kelvin)} K")
    factor = (kelvin / material.temperature_reference) ** material.exponent
    return np.multiply.outer(np.array(material.conductivity), factor)


def is_nonlinear(material: Material) -> bool:
    """Whether the conductivity depends on temperature, so that the solve must iterate."""
    return material.exponent != 0


def outside_range(material: Material, temperature: ArrayLike) -> str:
    """A warning with the numbers where temperatures leave the range of the law; empty where they do not.

    Parameters
    ----------
    material : Material
    temperature : array (...), [K]

    Returns
    -------
    str
        Temperatures in degC. Empty also where the range is not known.
    """
    low, high = material.temperature_range
    coldest, hottest = float(np.min(temperature)), float(np.max(temperature))
    if not (coldest < low or hottest > high):
        return ""
    spans = [f"{a - 273.15:.1f} degC to {b - 273.15:.1f} degC" for a, b in ((coldest, hottest), (low, high))]
    return f"{material.name}: {spans[0]}, but its conductivity is known for {spans[1]}"


def find_material(name: str, materials: Iterable[Material] | None = None) -> Material:
    """The material of a name, whatever its capitals, spaces and hyphens.

    Parameters
    ----------
    name : str
        With the grade where there are several: "copper C11000".
    materials : iterable of Material, optional
        Where to look; the shipped table if not given.

    Returns
    -------
    Material

    Raises
    ------
    UnknownMaterial
        If only the metal is said (it lists the grades), or if the name is unknown (it lists the nearest).

    Examples
    --------
    >>> find_material("aluminum 6061 T6").conductivity
    (167.0, 167.0, 167.0)
    """
    known = _shipped_by_key() if materials is None else _by_key(materials)
    if _key(name) in known:
        return known[_key(name)]
    grades = [material for material in known.values() if _begins_with(material.name, name)]
    metals = [material for material in grades if material.category == "metal"]
    if grades:
        raise UnknownMaterial(f'"{name}" does not say which grade', _listed(metals or grades), _span(metals or grades))
    hint = "give the conductivity itself for a material of your own"
    near = _listed(_nearest(name, known)) or "a name of the table of materials"
    raise UnknownMaterial(f'no material is called "{name[:60]}"', near, hint)


@cache
def shipped_materials() -> Mapping[str, Material]:
    """The shipped table, read once: name -> Material, in order of category."""
    rows = tomllib.loads(Path(__file__).with_name("materials.toml").read_text(encoding="utf-8"))["material"]
    return MappingProxyType({row["name"]: _from_row(row) for row in rows})


@cache
def _shipped_by_key() -> Mapping[str, Material]:
    return _by_key(shipped_materials().values())


def _by_key(materials: Iterable[Material]) -> dict[str, Material]:
    return {_key(material.name): material for material in materials}


def _from_row(row: dict[str, Any]) -> Material:
    conductivity = row["conductivity"]
    if not isinstance(conductivity, dict):
        conductivity = {"in_plane": conductivity, "through": conductivity}
    in_plane, through = float(conductivity["in_plane"]), float(conductivity["through"])
    tuples = {key: tuple(value) for key, value in row.items() if isinstance(value, list)}
    through_range = {"conductivity_range_through": tuples["conductivity_range"]}
    return Material(**{**row, **through_range, **tuples, "conductivity": (in_plane, in_plane, through)})


def _is_positive(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _is_range(pair: tuple[float, ...]) -> bool:
    if len(pair) != 2 or all(math.isnan(end) for end in pair):
        return len(pair) == 2
    return _is_positive(pair[0]) and pair[0] <= pair[1] < math.inf


def _key(name: str) -> str:
    return re.sub(r"[\s_-]", "", name.casefold().replace("aluminum", "aluminium"))


def _words(name: str) -> list[str]:
    return [_key(word) for word in name.split()]


def _begins_with(name: str, words: str) -> bool:
    asked = _words(words)
    return bool(asked) and _words(name)[: len(asked)] == asked


def _nearest(name: str, known: Mapping[str, Material]) -> list[Material]:
    sharing = [key for key, material in known.items() if set(_words(material.name)) & set(_words(name))]
    alike = get_close_matches(_key(name[:60]), known, n=4, cutoff=0.6)
    return [known[key] for key in dict.fromkeys([*alike, *sharing[:4]])]


def _span(materials: list[Material]) -> str:
    values = [k for material in materials for k in material.conductivity]
    return f"they conduct {min(values):g} to {max(values):g} W/m/K" if len(materials) > 1 else ""


def _listed(materials: Iterable[Material]) -> str:
    return ", ".join(material.name for material in materials)
