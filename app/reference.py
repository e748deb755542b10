"""The reference of the study file, docs/study.md: written from the schema, so that it cannot fall behind.

`python -m plancha.app.reference docs/study.md` writes it anew.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from plancha.geometry.interface_file import HEADS as CANDIDATE_HEADS
from plancha.geometry.interface_table import Candidate, Triple, shipped_candidates
from plancha.geometry.load_cases import BASE_CASE
from plancha.geometry.materials import shipped_materials
from plancha.geometry.parts import InlineMaterial, Interface, Outline, Part
from plancha.geometry.power_map_file import GRID_UNITS, MAX_CELLS, TOTAL_TOLERANCE
from plancha.geometry.power_table import HEADS
from plancha.geometry.schema import Key, keys_of, places
from plancha.geometry.units import DIMENSIONS, show

LISTS = ("plate", "component", "joint", "cooling", "edge", "probe")
SHARED = (Outline, InlineMaterial, Interface)  # tables that stand in several others: told once, at the end

INTRODUCTION = f"""\
# The study file

A study is one TOML text and the CSV files that it names. It describes bodies (plates, and components with their layers), what
joins them, what heats them and what cools them.

- The plan is seen from the cooled side: x to the right, y upward. A plate without `at` has its lower left corner at (0, 0); all
  other places are in the same coordinates.
- Each body has two faces. The *component side* is the lower one, the *cooled side* the upper one.
- A quantity is a text with its unit: `thickness = "3 mm"`. A bare number is refused, and so are degC where a difference is due.
- `[plate]` or `[[plate]]`: a table that may come several times may be written either way if it comes once.
- Names are unique over plates, components, cooling, edges and probes, and hold neither `/` nor `.`. A layer is
  `component/layer` where a body is named.
- What decides the answer has no default: ambient, limit, cooling, thickness, the grade of a metal.
- All faults of a study are told at once, each with its line. Unusual values are used, and noted.
- Editors complete keys by the [JSON schema](study.schema.json): [how](how-to/write-in-an-editor.md).

```toml
title = "A die on a plate (invented data)"
ambient = "35 degC"

[plate]
size = ["100 mm", "80 mm"]
thickness = "3 mm"
material = "copper C11000"

[[component]]
name = "processor"
at = ["36 mm", "30 mm"]
size = ["24 mm", "20 mm"]
limit = "95 degC"
power = "280 W"
layers = [ {{ material = "silicon", thickness = "0.775 mm" }},
           {{ name = "interface", bond_line = "50 um", conductivity = "5 W/m/K" }} ]

[cooling]
coefficient = "2000 W/m^2/K"

[[case]]
name = "hot day, aged interface"
ambient = "45 degC"
processor.interface.bond_line = "80 um"
```

In the tables below, a default in brackets holds if the key is left out; *required* keys must be given.
Materials of the table: {", ".join(shipped_materials())}.
"""

CASES = f"""\
## [[case]]

The study as written is the first load case, "{BASE_CASE}". Each `[[case]]` has a `name` and overrides what it names: a key of the
whole study (`ambient = "45 degC"`), or a key of a part by the part's name (`processor.power = "300 W"`,
`cooling.coefficient = "1500 W/m^2/K"`), of a layer by the component's and the layer's (`processor.interface.bond_line`). A layer
without a name is called by its material, an interface without a name `interface`; `plate`, `cooling` and the like also mean the only
table of that kind. A name that two layers share cannot be overridden. What a case names must be there; lists are replaced whole.
"""

CANDIDATES = f"""\
## Candidates for an interface

`candidate` names a row of this table, generic kinds of invented middle values: measure your own. Impedance in mm^2 K/W, typical (low
to high), of the whole joint at the reference pressure. Contact terms stay as they are; the rest goes with the bond line, which thins
with pressure as `P^-n`, or, of a pad, by its compression, linear in the logarithm of the pressure. A clamp's `force` is a pressure
over the area where the two bodies overlap. In a `gap` the bond line is the gap, `level = "high"` its widest. A gallium alloy against
aluminium is refused unless the interface states its `barrier`.

{{candidates}}

`plancha rank --candidates` reads more from a CSV: heads in any order, each with its unit: {CANDIDATE_HEADS}.
Low and high that are not given
follow from the tolerances of bond line and conductivity (root of the sum of squares, as a factor up and down); compression is that at
the lowest and highest pressure. Cells of what is not known stay empty.

```
name, kind, bond line [um], bond line tolerance [um], conductivity [W/m/K], contact [mm^2 K/W], aged impedance [mm^2 K/W]
paste of the second supplier, paste, 40, 10, 5, 2, 17
```
"""

POWER_CSV = f"""\
## Power maps: CSV

Cells are parted by commas, semicolons, tabs or spaces; lines that begin with `#` are comments. A decimal comma is read where the
separator leaves no doubt. Two forms:

- **A grid** of numbers alone, equal cells over the component's rectangle. It reads like the picture: the first row is the top row.
  `unit` says what a cell is: {GRID_UNITS}. At most {MAX_CELLS} cells.
- **A table of rectangular blocks**, one a row, under heads in any order: {HEADS}. Coordinates start at the rectangle's lower left
  corner. Blocks must not overlap; what no block covers gives off nothing.

`seen_from` says whose view rows and columns are: a layout seen from the *active side* is mirrored left-right, as a flip chip is.
Then come `mirror` and the quarter turns. A total that differs from the stated power by more than {100 * TOTAL_TOLERANCE:g} %
is refused unless `scale = true`; without a stated power the map's total is the power.

```
x [mm], y [mm], width [mm], height [mm], power [W], name
2, 2, 4, 5, 60, core 1
8, 2, 4, 5, 60, core 2
```
"""

FIELD_CSV = """\
## Coefficient maps: CSV

A grid as above, of numbers 0 or more in `unit`, laid over the bounding rectangle of the cooling's `area`, or of the body where
there is none. It is seen from the cooled side; the first row is the top row.

```
# W/m^2/K, from the inlet on the left
2400, 2100, 1900, 1800
2300, 2000, 1800, 1700
```
"""


def reference_markdown() -> str:
    """The whole reference of the study file as Markdown."""
    tables = "\n".join(_section(title, table) for title, table in _sections())
    candidates = CANDIDATES.replace("{candidates}", _candidates())
    return "\n".join([INTRODUCTION, tables, CASES, candidates, POWER_CSV, FIELD_CSV])


def _candidates() -> str:
    """The shipped candidates for an interface as a Markdown table."""
    rows = [
        f"| {each.name} | {_three(each.impedance_new)} | {_three(each.impedance_aged)} | {_at(each)} | "
        f"{'yes' if each.conducts else 'no'} | {show(each.temperature_most, 'temperature')} | {each.source} |"
        for each in shipped_candidates().values()
    ]
    heads = "| candidate | new | end of life | at | conducts electricity | up to | source |"
    return "\n".join([heads, "|---|---|---|---|---|---|---|", *rows])


def _three(values: Triple) -> str:
    low, typical, high = (f"{1e6 * value:.4g}" for value in values)
    return f"{typical} ({low} to {high})"


def _at(candidate: Candidate) -> str:
    """The reference pressure and how the bond line goes with it."""
    if not candidate.feels_pressure:
        return "any pressure"
    law = "compression" if candidate.is_pad else f"n = {candidate.pressure_exponent:g}"
    return f"{show(candidate.pressure_reference, 'pressure')}, {law}"


def _sections() -> Iterator[tuple[str, type[Part]]]:
    """Title and table of each section: the study, then each table where it stands first, then those shared by several."""
    seen: set[type[Part]] = set(SHARED)
    for name, table in places():
        if table not in seen:
            seen.add(table)
            yield _title(name), table
    for shared in SHARED:
        where = [f"`{name}`" for name, table in places() if table is shared]
        yield f"{shared.__name__.removeprefix('Inline').lower()}: {', '.join(dict.fromkeys(where))}", shared


def _title(name: str) -> str:
    if not name:
        return "The study itself: keys above the first table"
    if "." in name:
        outer, inner = name.rsplit(".", 1)
        return f"{inner} of a {outer}"
    return f"[[{name}]] or [{name}]" if name in LISTS else name


def _section(title: str, table: type[Part]) -> str:
    rows = [_row(key) for key in keys_of(table) if key.name not in _inherited(table)]
    shared = [_shared_row(base) for base in _bases(table)]
    said = (table.__doc__ or "").split("\n")[0]
    return "\n".join([f"## {title}", "", said, "", "| key | value | |", "|---|---|---|", *shared, *rows, ""])


def _bases(table: type[Part]) -> list[type[Part]]:
    """Tables told elsewhere whose keys this one has as well."""
    return [Outline] if issubclass(table, Outline) and table is not Outline else []


def _inherited(table: type[Part]) -> set[str]:
    return {key for base in _bases(table) for key in base.model_fields}


def _shared_row(base: type[Part]) -> str:
    words = ", ".join(f"`{key}`" for key in base.model_fields)
    return f"| {words} | | its shape: see {base.__name__.lower()} |"


def _row(key: Key) -> str:
    kind = key.kind
    if kind in DIMENSIONS:
        kind += f', `"{DIMENSIONS[kind].examples[0]}"`'
    meaning = key.description + (" (*required*)" if key.required else f" [`{key.default}`]" if key.default else "")
    return f"| `{key.name}` | {kind} | {meaning} |".replace("|  |", "| |")


def write_reference(path: Path) -> None:
    """Write the reference anew."""
    path.write_text(reference_markdown(), encoding="utf-8")


if __name__ == "__main__":
    write_reference(Path(sys.argv[1]))
