"""What may fill a joint: candidates with their impedance when new and at the end of life, each with its spread and its source.

The shipped table, ``interfaces.toml``, holds generic kinds; the user's own candidates are values of the same kind.
"""

import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from plancha.geometry.bond_line import Points, compression_at, pressure_for
from plancha.geometry.units import show

NEW, AGED = "new", "end of life"
LOW, TYPICAL, HIGH = LEVELS = ("low", "typical", "high")
KINDS = ("paste", "gel", "pad", "phase change", "graphite", "foil", "liquid metal", "solder", "sintered metal",
         "adhesive", "tape", "bare faces", "other")  # fmt: skip
NOT_KNOWN = (math.nan, math.nan, math.nan)
Triple = tuple[float, float, float]  # low, typical, high


class UnknownCandidate(ValueError):
    """A name that is in no table: ``message`` says so, ``allowed`` lists names."""

    def __init__(self, message: str, allowed: str):
        self.message, self.allowed = message, allowed
        super().__init__(f"{message}; allowed: {allowed}")


@dataclass(frozen=True)
class Candidate:
    """What may fill a joint; NaN where a value is not known, None where nothing is said.

    Attributes
    ----------
    name, kind : str
        Kind: one of ``KINDS``.
    impedance_new, impedance_aged : (float, float, float), [m2 K/W]
        Low, typical and high, contacts included, at ``pressure_reference``; aged is the end of life.
    bond_line, conductivity : (float, float, float), [m], [W/m/K]
        Low, typical and high at ``pressure_reference``.
    contact : float, [m2 K/W]
        Part of the impedance, both faces together, that does not change with pressure or gap.
    pressure_exponent : float, [-]
        n of (rest of the impedance) ~ P^-n; 0 where pressure does not matter once the joint is made.
    pressure_reference, pressure_range : float, (float, float), [Pa]
    thickness : float, [m]
        Of a pad before it is compressed.
    compression : (float, float), [-]
        Of a pad, at the two ends of ``pressure_range``; between them linear in the logarithm of the pressure.
    conducts, reworkable : bool or None
        Electricity; whether the joint opens without heat or force that harms.
    temperature_most : float, [K]
        Highest temperature in service.
    source, note : str
    cautions : tuple of str
        What can hurt people or hardware.

    Raises
    ------
    ValueError
        If values contradict each other; whether they are unusual is judged elsewhere.
    """

    name: str
    kind: str
    impedance_new: Triple
    impedance_aged: Triple
    bond_line: Triple = NOT_KNOWN
    conductivity: Triple = NOT_KNOWN
    contact: float = 0.0
    pressure_exponent: float = 0.0
    pressure_reference: float = math.nan
    pressure_range: tuple[float, float] = (math.nan, math.nan)
    thickness: float = math.nan
    compression: tuple[float, float] = (math.nan, math.nan)
    conducts: bool | None = None
    temperature_most: float = math.nan
    reworkable: bool | None = None
    source: str = ""
    note: str = ""
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        wrong = "; ".join(contradictions(self))
        if wrong:
            raise ValueError(f"{self.name}: {wrong}")

    @property
    def is_pad(self) -> bool:
        """Whether it is compressed between the faces, by a curve that is known."""
        return not math.isnan(self.compression[0])

    @property
    def feels_pressure(self) -> bool:
        """Whether its impedance depends on the pressure."""
        return self.is_pad or self.pressure_exponent > 0

    @property
    def curve(self) -> Points:
        """Two points (pressure, compression) of a pad's curve."""
        return (self.pressure_range[0], self.compression[0]), (self.pressure_range[1], self.compression[1])


def contradictions(candidate: Candidate) -> Iterator[str]:
    """What in a candidate's values cannot be, in words."""
    if candidate.kind not in KINDS:
        yield f'no kind "{candidate.kind}"; there are {", ".join(KINDS)}'
    for what in ("impedance_new", "impedance_aged", "bond_line", "conductivity"):
        low, typical, high = values = getattr(candidate, what)
        words = what.replace("impedance_", "impedance ").replace("_", " ")
        if not (all(math.isnan(v) for v in values) and "impedance" not in what) and not 0 < low <= typical <= high:
            yield f"{words}: low, typical and high must rise, above 0"
    if any(aged < new for new, aged in zip(candidate.impedance_new, candidate.impedance_aged)):
        yield "the impedance at the end of life is below that when new (new means once it has wetted its faces)"
    if not 0 <= candidate.contact <= candidate.impedance_new[0]:
        yield "the contact terms are more than the whole impedance"
    yield from _pressure_contradictions(candidate)


def _pressure_contradictions(candidate: Candidate) -> Iterator[str]:
    low, high = candidate.pressure_range
    if not 0 <= candidate.pressure_exponent <= 1:
        yield "the exponent on pressure must be 0 to 1"
    if not math.isnan(low) and not 0 < low < high:
        yield "the lowest pressure must be above 0 and below the highest"
    if candidate.feels_pressure and math.isnan(candidate.pressure_reference):
        yield "the impedance depends on pressure, so it needs a reference pressure"
    if candidate.pressure_reference <= 0:
        yield "the reference pressure must be above 0"
    if candidate.is_pad:
        if math.isnan(low) or math.isnan(candidate.thickness):
            yield "a pad's compression needs its thickness, and the lowest and highest pressure at which it holds"
        if not 0 <= candidate.compression[0] < candidate.compression[1] < 1:
            yield "the compression must rise with pressure, between 0 and 100 %"


def bond_line_ratio(candidate: Candidate, pressure: float | None = None, gap: float | None = None) -> float:
    """Bond line over that at the reference pressure, at a pressure [Pa] or in a given gap [m]; 1 where neither is said or matters.

    Raises
    ------
    ValueError
        If a gap is given and the bond line is not known.
    """
    if gap is not None:
        return gap / _reference_bond_line(candidate)
    if pressure is None or not candidate.feels_pressure:
        return 1.0
    if candidate.is_pad:
        reference = compression_at(candidate.pressure_reference, candidate.curve)
        return (1 - compression_at(pressure, candidate.curve)) / (1 - reference)
    return (candidate.pressure_reference / pressure) ** candidate.pressure_exponent


def _reference_bond_line(candidate: Candidate) -> float:
    if candidate.is_pad:
        return candidate.thickness * (1 - compression_at(candidate.pressure_reference, candidate.curve))
    if math.isnan(candidate.bond_line[1]):
        raise ValueError(
            f"{candidate.name}: its bond line is not known, so it cannot be said what it does in a given gap"
        )
    return candidate.bond_line[1]


def bond_line_at(candidate: Candidate, pressure: float | None = None, gap: float | None = None) -> float:
    """Typical bond line [m] at a pressure [Pa] or in a gap [m]; 0 where it is not known."""
    if gap is not None:
        return gap
    typical = _reference_bond_line(candidate) if candidate.is_pad else candidate.bond_line[1]
    return 0.0 if math.isnan(typical) else typical * bond_line_ratio(candidate, pressure)


def impedance_at(
    candidate: Candidate, age: str, level: str = TYPICAL, pressure: float | None = None, gap: float | None = None
) -> float:
    """Impedance of a joint that a candidate fills.

    Contact terms stay, the rest goes with the bond line: R = R_c + (R_ref - R_c) t / t_ref.

    Parameters
    ----------
    candidate : Candidate
    age : str
        NEW or AGED.
    level : str
        One of ``LEVELS``: what one may meet of this candidate.
    pressure : float, [Pa], optional
        On the joint; else its reference pressure.
    gap : float, [m], optional
        Between faces that are held apart, in place of the pressure.

    Returns
    -------
    float, [m2 K/W]

    Notes
    -----
    Outside ``pressure_range`` the law is continued; ``outside_pressures`` says so.
    """
    reference = (candidate.impedance_new if age == NEW else candidate.impedance_aged)[LEVELS.index(level)]
    return candidate.contact + (reference - candidate.contact) * bond_line_ratio(candidate, pressure, gap)


def outside_pressures(candidate: Candidate, pressure: float | None) -> str:
    """A remark with the numbers where a pressure [Pa] leaves what is known of a candidate; empty where it does not."""
    low, high = candidate.pressure_range
    if pressure is None or not (pressure < low * (1 - 1e-9) or pressure > high * (1 + 1e-9)):
        return ""
    found, known = show(pressure, "pressure"), f"{show(low, 'pressure')} to {show(high, 'pressure')}"
    return f"{candidate.name}: {found} is outside the {known} for which it is known; the law is continued"


@dataclass(frozen=True)
class Squeeze:
    """A pad between faces held apart: ``gaps`` [m] and ``pressures`` [Pa] at the least, nominal and largest gap.

    The pressure is 0 where the pad does not reach across.
    """

    gaps: Triple
    pressures: Triple


def squeeze_of(candidate: Candidate, gap: float, tolerance: float = 0.0) -> Squeeze:
    """What a pad of known compression does in a gap [m] with a tolerance [m] to either side."""
    gaps = gap - tolerance, gap, gap + tolerance
    shares = [1 - each / candidate.thickness for each in gaps]
    pressures = [pressure_for(share, candidate.curve) if share > 0 else 0.0 for share in shares]
    return Squeeze(gaps, (pressures[0], pressures[1], pressures[2]))


def cannot_bridge(candidate: Candidate, gap: float) -> str:
    """Why a candidate cannot fill a gap [m]; empty where it can."""
    shown = show(float(f"{gap:.6g}"), "length")
    if candidate.is_pad:
        whole = show(candidate.thickness, "length")
        return "" if gap < candidate.thickness else f"it is {whole} thick and does not reach across {shown}"
    low, _, high = candidate.bond_line
    if math.isnan(low):
        return f"its bond line is not known, so not whether it reaches across {shown}"
    if not low * (1 - 1e-9) <= gap <= high * (1 + 1e-9):
        return f"its bond line is {show(low, 'length')} to {show(high, 'length')}, the gap {shown}"
    return ""


@cache
def shipped_candidates() -> Mapping[str, Candidate]:
    """The shipped table, read once: name -> Candidate."""
    rows = tomllib.loads(Path(__file__).with_name("interfaces.toml").read_text(encoding="utf-8"))["candidate"]
    return MappingProxyType({row["name"]: _from_row(row) for row in rows})


def _from_row(row: Mapping[str, Any]) -> Candidate:
    values: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}
    return Candidate(**values)


def find_candidate(name: str, candidates: Iterable[Candidate] | None = None) -> Candidate:
    """The candidate of a name, whatever its capitals, commas, spaces and hyphens.

    Raises
    ------
    UnknownCandidate
        With the nearest names, or all where none is near.

    Examples
    --------
    >>> find_candidate("Paste filled silicone").kind
    'paste'
    """
    known = {name_key(each.name): each for each in (candidates or shipped_candidates().values())}
    if name_key(name) in known:
        return known[name_key(name)]
    words = set(re.findall(r"\w+", name.casefold()))
    sharing = [each for each in known.values() if words & set(re.findall(r"\w+", each.name.casefold()))]
    near = [known[key] for key in get_close_matches(name_key(name[:60]), known, n=4, cutoff=0.6)]
    listed = list(dict.fromkeys(each.name for each in (*near, *sharing))) or [each.name for each in known.values()]
    raise UnknownCandidate(f'no interface candidate is called "{name[:60]}"', '"' + '", "'.join(listed[:12]) + '"')


def name_key(name: str) -> str:
    """A name without what people write in several ways."""
    return re.sub(r"[\s_,-]", "", name.casefold())
