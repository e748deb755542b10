"""The page of laws, docs/laws.md: written from the laws' own records and docstrings, so that a fact has one place.

`python -m plancha.app.law_reference docs/laws.md` writes it anew.
"""

import inspect
import re
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from plancha.fem import convection, fans, fin_efficiency, friction, natural, radiation, spreading
from plancha.fem.laws import QUANTITIES, Law, Range
from plancha.fem.natural import NaturalLaw
from plancha.geometry import bond_line

INTRODUCTION = """\
# Laws

Every law that Plancha may use: what it says, the range it was made for, and who published it. "From memory" means that the text
was not at hand when it was written down; "derived independently" that it was worked out apart from the text. Outside its range a law
is used with a warning that carries the numbers. Laws of convection hold to some 10-25 %. This page is generated from the laws' own
records.

Names in the first column are what the study's `law` and `friction` take. *Basis*: a coefficient goes with the coolant's own mixed
temperature (bulk), or with the inlet's, in which case the warming of the coolant is inside it and must not be counted twice. Reynolds
and Nusselt numbers of gaps and ducts are on the hydraulic diameter, twice the gap of a gap; those of pins on the pin's diameter.
"""
REGISTRIES: Mapping[str, Mapping[str, Law]] = {
    "Convection between fins": convection.NUSSELT,
    "Convection on pins": convection.PIN_NUSSELT,
    "Friction between fins": friction.FRICTION,
    "Friction of pins": friction.PIN_FRICTION,
}
FORMS: Mapping[str, Iterable[Callable]] = {
    "Spreading": (
        spreading.lee_spreading_resistance,
        spreading.cone_resistance,
        spreading.series_mean_resistance,
        spreading.half_space_disc_resistance,
        spreading.half_space_rectangle_resistance,
    ),
    "Interfaces": (
        bond_line.filled_polymer_bond_line,
        bond_line.bare_contact_conductance,
        bond_line.compression_at,
    ),
    "Fans": (fans.at_speed, fans.at_density, fans.sound_level),
    "Fins": (fin_efficiency.fin_efficiency, fin_efficiency.corrected_height),
    "Radiation": (radiation.radiation_coefficient, radiation.channel_black_area),
}


def laws_markdown() -> str:
    """The whole page as Markdown."""
    parts = [INTRODUCTION]
    parts += [_table(title, LAW_HEADS, map(_law_row, laws.values())) for title, laws in REGISTRIES.items()]
    parts.append(_table("Natural convection", NATURAL_HEADS, map(_natural_row, natural.LAWS.values())))
    parts += [_table(title, FORM_HEADS, map(_form_row, forms)) for title, forms in FORMS.items()]
    return "\n".join(parts)


LAW_HEADS = ("law", "what it says", "range", "basis", "source")
NATURAL_HEADS = ("law", "what it says", "Rayleigh number", "source")
FORM_HEADS = ("what it is", "what it says", "source and range")


def _table(title: str, heads: Iterable[str], rows: Iterable[tuple[str, ...]]) -> str:
    first, *others = [
        "| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in (tuple(heads), *rows)
    ]
    return "\n".join([f"## {title}", "", first, "|---" * len(tuple(heads)) + "|", *others, ""])


def _law_row(law: Law) -> tuple[str, ...]:
    ranges = "; ".join(map(_range_words, law.ranges))
    doubtful = "".join(f"; unreliable at {_range_words(each)}" for each in law.doubtful)
    return law.name, said(law.function), ranges + doubtful, law.basis, law.source


def _range_words(each: Range) -> str:
    return f"{QUANTITIES[each.quantity].words} {each.words}"


def _natural_row(law: NaturalLaw) -> tuple[str, ...]:
    return law.name, said(law.function), f"{law.low:g} to {law.high:g}", law.source


def _form_row(function: Callable) -> tuple[str, ...]:
    return function.__name__.replace("_", " "), said(function), source_of(function)


def said(function: Callable) -> str:
    """What a function says of itself: the first line of its docstring, and the formulas below it where there are any."""
    head, _, rest = (inspect.getdoc(function) or "").partition("\n")
    paragraphs = re.split(
        r"\n\s*\n", re.split(r"\n\s*(?:Parameters|Notes)\n|\b(?:Arguments, source|Source)(?: and validity)?:", rest)[0]
    )
    formulas = [
        " ".join(each.split()) for each in paragraphs if re.search(r"^\s*[A-Za-z][\w+* ]* = ", each, re.MULTILINE)
    ]
    plain = re.split(r" (?:Source:|The rest:)", head)[0].replace("*", "\\*")
    return " ".join([plain, *(f"`` {each} ``" for each in formulas)])


def source_of(function: Callable) -> str:
    """Source and validity, as the docstring tells them."""
    found = re.search(r"Source: (.*?)(?=\n\n|\n\s*(?:Examples|Raises)|\Z)", inspect.getdoc(function) or "", re.DOTALL)
    return " ".join(found[1].split()).replace("``", "`") if found else ""


def write_laws(path: Path) -> None:
    """Write the page anew."""
    path.write_text(laws_markdown(), encoding="utf-8")


if __name__ == "__main__":
    write_laws(Path(sys.argv[1]))
