"""The text of a small study as a user would write it: a chip on a cooled plate, invented; lengths here in mm."""

from collections.abc import Sequence

DIE = '{ material = { name = "die", conductivity = "120 W/m/K" }, thickness = "0.5 mm" }'
SOLDER = '{ name = "solder", impedance = "8 mm^2 K/W" }'
LID = '{ name = "lid", material = { name = "lid", conductivity = "390 W/m/K" }, thickness = "1 mm" }'
GREASE = '{ name = "grease", impedance = "20 mm^2 K/W" }'


def lengths(*values: float) -> str:
    """A list of lengths."""
    return "[" + ", ".join(f'"{value:g} mm"' for value in values) + "]"


def probe(name: str, x: float, y: float, more: str = "") -> str:
    """A probe, on the plate's component side unless ``more`` says where."""
    return f'[[probe]]\nname = "{name}"\nat = {lengths(x, y)}\n{more}\n'


def chip_on_plate(
    *parts: str,
    head: str = "",
    size: Sequence[float] = (40, 30),
    thickness: float = 2,
    chip: Sequence[float] = (12, 9, 10, 8),
    layers: Sequence[str] = (DIE, GREASE),
) -> str:
    """The study: further keys in ``head``, further tables as ``parts``; ``chip`` is (x, y, width, height)."""
    return f"""\
title = "a chip on a plate (invented)"
ambient = "25 degC"
{head}
[plate]
size = {lengths(*size)}
thickness = "{thickness:g} mm"
material = {{ name = "metal", conductivity = "200 W/m/K" }}
[[component]]
name = "chip"
at = {lengths(*chip[:2])}
size = {lengths(*chip[2:])}
limit = "none"
power = "30 W"
layers = [{", ".join(layers)}]
[cooling]
coefficient = "2000 W/m^2/K"
{"".join(parts)}"""
