"""Quantities as the trade writes them ("8 mm^2 K/W", "0.08 degC cm2/W", "20 CFM"), turned into SI floats and back.

The only place where units are converted. Text is never evaluated: a number and a short unit made of known names are
read by pattern, and a small registry of our own (the tables of ``unit_table``) gives factor and dimension.

Rules of reading. All that follows a "/", up to the next "/", stands below it: "W/m K" is W/(m K). Letters that run
together ("W/mK", "mm2K/W") are taken apart at K or degC where the dimension asks for it. Neither rule can change a
number unnoticed, because the other reading has another dimension. In a compound unit degC is a difference, that is K.
"""

import math
import re
import unicodedata
from collections.abc import Iterator
from decimal import Decimal
from difflib import get_close_matches
from functools import cache, lru_cache
from itertools import product
from typing import Any

from plancha.geometry.unit_table import DEFINITIONS, DIMENSIONS, PROPOSED, REWRITES, UNITS, Dimension

LONGEST_TEXT = 60
NUMBER = re.compile(r"[+-]?(?:[0-9]++(?:[.,][0-9]*+)?+|[.,][0-9]++)(?:[eE][+-]?[0-9]{1,4}+(?![0-9]))?+")
PLAIN_UNIT = re.compile(r"(?:1?/)?[(A-Za-z_%][A-Za-z0-9_%^/() -]*")
GROUP = re.compile(r"(?:(?<=/)|^)\(([^()/]+)\)(?=/|$)")
FACTOR = re.compile(r"([A-Za-z_%]++)(?:\^?(-?[1-9])(?![0-9]))?+(?: ?- ?(?=[A-Za-z])| )?+")


class UnitFault(ValueError):
    """A quantity that cannot be used: ``message`` says why, ``allowed`` what is expected, ``hint`` the likely aim."""

    def __init__(self, message: str, allowed: str = "", hint: str = ""):
        self.message, self.allowed, self.hint = message, allowed, hint
        super().__init__("; ".join(part for part in (message, allowed and f"allowed: {allowed}", hint) if part))


class _Refused(Exception):
    """Why a text was refused, and a hint; ``to_si`` adds the text itself and what is allowed."""

    def __init__(self, reason: str, hint: str = ""):
        self.reason, self.hint = reason, hint


Reading = tuple[tuple[str, int], ...]  # (unit, exponent) of every factor


def to_si(text: object, dimension: str) -> float:
    """The SI value of a quantity written with its unit.

    Parameters
    ----------
    text : str
        A number and a unit, "3 mm" or "3,5 mm". A fraction may also be a bare number, as text or not.
    dimension : str
        A key of ``DIMENSIONS``. Absolute temperatures ("temperature") come back in kelvin.

    Returns
    -------
    float
        In the unit ``DIMENSIONS[dimension].si``; finite, of either sign (absolute temperatures above 0 K).

    Raises
    ------
    UnitFault
        If there is no number, no unit, an unknown one, one of another dimension, or the value is not finite. A
        temperature in K must lie within 150 K to 2000 K, where it cannot be degrees Celsius with the wrong letter.

    Notes
    -----
    The same length in two metric units ("0.5 mm", "500 um") gives the same float.

    Examples
    --------
    >>> to_si("0.08 degC cm2/W", "impedance")
    8e-06
    >>> to_si("95 degC", "temperature")
    368.15
    """
    kind = DIMENSIONS[dimension]
    try:
        number, unit = _split(_as_text(text))
        if not unit and dimension != "fraction":
            raise _Refused("has no unit", f'write "{number} {kind.printed[0]}" if that is meant')
        value = SPECIAL.get(dimension, _scaled)(number, unit, kind)
        if not math.isfinite(value) or (value == 0 and re.search("[1-9]", re.split("[eE]", number)[0])):
            raise _Refused("is beyond the range of numbers")
    except _Refused as refused:
        raise UnitFault(f'"{_shown(text)}" {refused.reason}', kind.allowed, refused.hint) from None
    return value


def show(value: float, dimension: str) -> str:
    """The text of an SI value in the trade's unit; ``to_si`` reads it again.

    Parameters
    ----------
    value : float
        In ``DIMENSIONS[dimension].si``.
    dimension : str
        A key of ``DIMENSIONS``.

    Returns
    -------
    str
        "3 mm", "3.5 um", "95.0 degC"; "unknown" for NaN. Temperatures have 1 decimal, lengths 6 digits, others 4 or 5.

    Examples
    --------
    >>> show(3.5e-6, "length"), show(8e-6, "impedance"), show(368.15, "temperature")
    ('3.5 um', '8 mm^2 K/W', '95.0 degC')
    """
    kind = DIMENSIONS[dimension]
    if math.isnan(value):
        return "unknown"
    if dimension == "temperature":
        return f"{value - 273.15:.1f} degC"
    if dimension == "temperature difference" and abs(value) >= 0.1:
        return f"{value:.1f} K"
    sizes = _sizes(dimension)
    readable = (unit for unit, size in sizes.items() if abs(value) >= 0.0999999 * size)
    unit = next(readable, kind.printed[-1] if value else kind.printed[0])
    rounded = float(f"{value / sizes[unit]:.{kind.digits}g}")
    return f"{rounded:.15g} {unit}"


@cache
def _sizes(dimension: str) -> dict[str, float]:
    """SI value of one of each unit that a dimension is printed in, largest first."""
    return {unit: to_si(f"1 {unit}", dimension) for unit in DIMENSIONS[dimension].printed}


def _shown(text: object) -> str:
    """The user's text, or number, short enough for a message; for anything else its type."""
    short = isinstance(text, str | float) or (isinstance(text, int) and abs(text) < 10**15)
    return str(text)[:LONGEST_TEXT] if short else type(text).__name__


def _as_text(text: object) -> str:
    if isinstance(text, int | float) and not isinstance(text, bool):
        text = str(text) if isinstance(text, float) or abs(text) < 10**15 else "inf"
    if not isinstance(text, str):
        raise _Refused("stands where text is due")
    if not text.strip():
        raise _Refused("is empty")
    if len(text) > LONGEST_TEXT:
        raise _Refused("is too long for a quantity")
    return text.strip().replace("\u2212", "-")


def _split(text: str) -> tuple[str, str]:
    """Number (with a decimal point) and unit (in plain form, may be empty)."""
    if re.match(r"[+-]?(?:nan|inf(?:inity)?)\b", text, re.IGNORECASE):
        raise _Refused("is not a finite number")
    found = NUMBER.match(text)
    unit = _plain(text[found.end() :] if found else text)
    if found and re.match(r"(?!1/)[0-9,']|_[0-9]", unit):
        raise _Refused("has a number that cannot be read", "write 1234.5, with no marks or spaces between the digits")
    if unit and not PLAIN_UNIT.fullmatch(unit):
        raise _Refused("cannot be read as a number and a unit")
    if not found:
        alone = unit in UNITS or "/" in unit
        raise _Refused("is a unit without its number" if alone else "cannot be read as a number and a unit")
    return _decimal_point(found.group()), unit


@lru_cache(maxsize=1000)
def _plain(unit: str) -> str:
    unit = unicodedata.normalize("NFKC", unit)
    for pattern, plain in REWRITES:
        unit = pattern.sub(plain, unit)
    return unit


def _decimal_point(number: str) -> str:
    """Read "3,5" as 3.5, but refuse "1,000": one for some readers, a thousand for others."""
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", number):
        whole, part = number.split(",")
        raise _Refused("can be read in two ways", f"write {whole}{part} or {whole}.{part}")
    return number.replace(",", ".")


def _scaled(number: str, unit: str, kind: Dimension) -> float:
    due = _dimensions(kind.si)
    for reading in _readings(unit):
        factor, dimensions = _size(reading)
        if dimensions == due:
            return float(Decimal(number) * Decimal(f"{factor:.15g}"))  # decimal: one rounding, at the end
    plainest = _dimensions(unit)
    found = next((other.called for other in DIMENSIONS.values() if _dimensions(other.si) == plainest), "")
    hint = f'write "{number} oz copper" for the foil of a board' if (unit, kind.name) == ("oz", "length") else ""
    hint = hint or ("" if unit in UNITS else _nearest(unit, cutoff=1.0))
    raise _Refused(f"is {found}, {kind.called} is due" if found else f"is not {kind.called}", hint)


def _temperature(number: str, unit: str, kind: Dimension) -> float:
    name = UNITS.get(unit, "")
    if name not in ("kelvin", "degree_Celsius", "degree_Fahrenheit"):
        _scaled(number, unit, kind)
        raise _Refused("is not an absolute temperature", f'write "{number} degC" if that is meant')
    if name == "kelvin" and not 150 <= float(number) <= 2000:
        raise _Refused("is no plausible temperature (150 K to 2000 K)", f'write "{number} degC" if that is meant')
    value = _registry().Quantity(float(number), name).to("kelvin").magnitude
    if value <= 0:
        raise _Refused("is not above absolute zero")
    return float(f"{value:.13g}")  # 233.15, not 233.14999999999998


def _difference(number: str, unit: str, kind: Dimension) -> float:
    per_kelvin = {"degree_Celsius": 1.0, "degree_Fahrenheit": 1.8}.get(UNITS.get(unit, ""))
    if per_kelvin:
        kelvins = f"{float(number) / per_kelvin:.6g}"
        raise _Refused("is a temperature, a difference is due", f'write "{kelvins} K" if a difference is meant')
    return _scaled(number, unit, kind)


SPECIAL = {"temperature": _temperature, "temperature difference": _difference}


def _readings(unit: str) -> Iterator[Reading]:
    """Every way to read a unit in plain form, the plainest first."""
    ungrouped = GROUP.sub(r"\1", unit).removeprefix("1")
    if re.search(r"[()]|//|/$", ungrouped):
        raise _Refused(f"has a unit that cannot be read, {unit}", 'write products below as "W/(m K)" or "W/m/K"')
    above, *below = ungrouped.split("/")
    ways = [_taken_apart(letters, power, 1) for letters, power in _factors(above)]
    ways += [_taken_apart(letters, power, -1) for part in below for letters, power in _factors(part)]
    if len(ways) > 6:
        raise _Refused("has a unit of too many parts")
    for choice in product(*ways):
        yield tuple(factor for factors in choice for factor in factors)


def _factors(part: str) -> list[tuple[str, int]]:
    """Letters and power of each factor of a product."""
    factors, position = [], 0
    while position < len(part):
        found = FACTOR.match(part, position)
        if not found:
            raise _Refused(f"has a unit that cannot be read, {part}", 'write powers as "mm^2" or "mm2"')
        factors.append((found[1], int(found[2] or 1)))
        position = found.end()
    names = [letters for letters, _ in factors]
    if len(set(names)) < len(names):
        raise _Refused("has the same unit twice")
    return factors


def _taken_apart(letters: str, power: int, side: int) -> list[Reading]:
    """The readings of one run of letters, "mK" as millikelvin and as m K; the power belongs to the last unit."""
    ways: list[tuple[str, ...]] = [(letters,)] if letters in UNITS else []
    for kelvin in ("K", "degC"):
        ways += [(letters.removesuffix(kelvin), kelvin)] if letters.endswith(kelvin) else []
        ways += [(kelvin, letters.removeprefix(kelvin))] if letters.startswith(kelvin) else []
    known = [[UNITS[name] for name in way] for way in ways if all(name in UNITS for name in way)]
    if not known:
        raise _Refused(f"has an unknown unit, {letters}", _nearest(letters))
    if ["degree_Fahrenheit"] in known:
        raise _Refused("has degF, which is read only as an absolute temperature", "write K or degC")
    return [(*((name, side) for name in first), (last, side * power)) for *first, last in known]


def _nearest(letters: str, cutoff: float = 0.5) -> str:
    """A question that names the unit spelt like these letters; at cutoff 1 only capitals may differ."""
    same_letters = [name for name in UNITS if name.lower() == letters.lower()]
    near = same_letters or get_close_matches(letters, UNITS, n=1, cutoff=cutoff)
    return f"did you mean {' or '.join(PROPOSED[UNITS[name]] for name in near)}?" if near else ""


def _dimensions(unit: str) -> Any:
    return _size(next(_readings(unit)))[1]


@lru_cache(maxsize=1000)
def _size(reading: Reading) -> tuple[float, Any]:
    """SI value of one such unit, and its dimensions."""
    registry = _registry()
    powers: dict[str, int] = {}
    for name, power in reading:
        name = "kelvin" if name == "degree_Celsius" else name
        powers[name] = powers.get(name, 0) + power
    one = registry.Quantity(1.0, registry.UnitsContainer(powers))
    return float(one.to_root_units().magnitude), one.dimensionality


@cache
def _registry() -> Any:
    # Imported late: it takes a quarter of a second, and its own list of units as long again.
    import pint

    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions(DEFINITIONS.splitlines())
    return registry
