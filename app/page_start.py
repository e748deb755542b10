"""A starting study around a power map that was dropped alone, with all that is assumed said plainly."""

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from plancha.geometry.delimited_text import read_sheet
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.power_map_file import read_power_map
from plancha.geometry.power_table import is_table

ASSUMED_FLUX = "W/cm^2"
LONGER_SIDE = 24.0  # mm of the chip under a grid, whose cells are taken as squares
AROUND = 76.0  # mm by which the plate is longer and wider than the chip
MOST_SIDE = 2000.0  # mm
STUDY = """\
# Started around {file}; everything else here is assumed. Change what is wrong.
title = "Study around {name}"
ambient = "35 degC"

[plate]
size = ["{plate_width:g} mm", "{plate_height:g} mm"]
thickness = "3 mm"
material = "copper C11000"

[[component]]
name = "chip"
at = ["{left:g} mm", "{bottom:g} mm"]
size = ["{width:g} mm", "{height:g} mm"]
limit = "95 degC"
map = {{ file = "{file}", {unit}seen_from = "cooled side" }}
layers = [
    {{ material = "silicon", thickness = "0.775 mm" }},
    {{ name = "interface", bond_line = "50 um", conductivity = "5 W/m/K" }},
]

[cooling]
coefficient = "2500 W/m^2/K"
"""


def study_around(given: Mapping[str, bytes]) -> tuple[str, dict[str, bytes], list[str]]:
    """Study text, files and assumptions around one power map.

    Raises
    ------
    StudyError
        If there is not one file, or it is no power map.
    """
    if len(given) != 1:
        allowed = "a study (.toml) with its CSV files, or one power map alone"
        raise StudyError([Fault("", "there is no study among the files", ", ".join(sorted(given)), allowed)])
    [(file, content)] = given.items()
    if '"' in file:
        raise StudyError([Fault("", "the file's name holds a quote", file, "a plain name")])
    width, height, unit, watts, told = _understood(file, content)
    plate = width + AROUND, height + AROUND
    text = STUDY.format(
        file=file, name=Path(file).stem, width=width, height=height, unit=f'unit = "{unit}", ' if unit else "",
        plate_width=plate[0], plate_height=plate[1], left=AROUND / 2, bottom=AROUND / 2,
    )  # fmt: skip
    return text, {file: content}, [f"{file}: {told}, {watts:.4g} W in all.", *_assumptions(plate)]


def _understood(file: str, content: bytes) -> tuple[float, float, str, float, str]:
    """Width and height of the chip [mm], the cells' unit, the total [W], and what was understood, in words."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / file
        path.write_bytes(content)
        sheet = read_sheet(path, file)
        if is_table(sheet):
            side = _side_of_blocks(path, file)
            watts = float(_read(path, file, side, "").watts.sum())
            return side, side, "", watts, f"a table of blocks, on a chip taken as {side:g} mm square"
        probe = _read(path, file, (1.0, 1.0), ASSUMED_FLUX)
        rows, columns = probe.watts.shape
        scale = LONGER_SIDE / max(rows, columns)
        width, height = columns * scale, rows * scale
        watts = float(_read(path, file, (width, height), ASSUMED_FLUX).watts.sum())
        words = (
            f"a grid of {rows} rows and {columns} columns, taken as {ASSUMED_FLUX} in square cells of {scale:.3g} mm"
        )
        return round(width, 4), round(height, 4), ASSUMED_FLUX, watts, words


def _read(path: Path, file: str, size: float | tuple[float, float], unit: str):
    width, height = size if isinstance(size, tuple) else (size, size)
    return read_power_map(path, width=width * 1e-3, height=height * 1e-3, seen_from="cooled side",
                          unit=unit or None, shown_as=file)  # fmt: skip


def _side_of_blocks(path: Path, file: str) -> float:
    """The smallest of a few round sides [mm] of a square chip that holds all blocks of a table."""
    for side in (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0, 200.0, 500.0, MOST_SIDE):
        try:
            _read(path, file, side, "")
            return side
        except StudyError as error:
            found = error
    raise found


def _assumptions(plate: tuple[float, float]) -> list[str]:
    return [
        "Assumed, because the map does not say it: it is seen from the cooled side, its first row at the top.",
        f"Assumed: a copper plate of {plate[0]:g} by {plate[1]:g} by 3 mm, silicon 0.775 mm thick, an interface of 50 um at 5 W/m/K.",
        "Assumed: 2500 W/m^2/K on the plate's cooled side, 35 degC around it, 95 degC allowed.",
        "These are starting values, not recommendations: put in your own before you read anything from the picture.",
    ]
