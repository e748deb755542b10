"""The pictures of a solved load case, as PNG files or in a window."""

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from plancha.app.colours import WARM
from plancha.app.field_pictures import has_spreading, hottest_picture, spreading_picture, temperature_picture
from plancha.app.fields import TEMPERATURE, field_mesh
from plancha.app.plan_drawing import (
    Picture,
    PictureFailed,
    check_libraries,
    load_pyvista,
    lookup_table,
    render,
    write_png,
)
from plancha.app.power_picture import power_picture
from plancha.fem.findings import Findings
from plancha.geometry.study import MapFile

WHOLE, CHIPS, SPREADING, POWER_MAP = "temperature.png", "chips.png", "spreading.png", "power_map.png"
COEFFICIENT, COOLANT, FAN = "coefficient", "coolant", "fan"  # numbered where there are several


def draw_pictures(
    findings: Findings,
    case_name: str,
    out_folder: str | os.PathLike[str],
    views: Mapping[str, MapFile] | None = None,
) -> list[Path]:
    """Draw all pictures of a load case: without components no more than temperature.png and those of flows.

    Parameters
    ----------
    findings : Findings
    case_name : str
        Stands in every picture's head.
    out_folder : path
        Must exist; pictures that stand there are replaced.
    views : mapping of str to MapFile, optional
        How each component's map was given, for the mark at its first cell.

    Returns
    -------
    list of Path
        Of the files written.

    Raises
    ------
    PictureFailed
        If this system lacks libraries that rendering needs; the message has the line that installs them.
    """
    check_libraries()
    pictures = {WHOLE: temperature_picture(findings, case_name)}
    if findings.components:
        pictures[CHIPS] = hottest_picture(findings, case_name)
        if has_spreading(findings):
            pictures[SPREADING] = spreading_picture(findings, case_name)
        pictures[POWER_MAP] = power_picture(findings, case_name, views or {})
    pictures |= flow_pictures(findings, case_name)
    images = {name: render(picture) for name, picture in pictures.items()}
    return [write_png(Path(out_folder) / name, image) for name, image in images.items()]


def flow_pictures(findings: Findings, case_name: str) -> dict[str, Picture]:
    """Pictures of all flows by their files' names: coefficient and coolant on the plan, and the curve of the fans where some run."""
    if not findings.flows:
        return {}
    from plancha.app.air_pictures import coefficient_picture, coolant_picture, sights_of
    from plancha.app.fan_picture import fan_picture

    found: dict[str, Picture] = {}
    sights = sights_of(findings.solution.sheets.stack)
    for number, sight in enumerate(sights):
        found[_numbered(COEFFICIENT, number, len(sights))] = coefficient_picture(findings, sight, case_name)
        found[_numbered(COOLANT, number, len(sights))] = coolant_picture(findings, sight, case_name)
    driven = [number for number, reading in enumerate(findings.flows) if reading.state.point is not None]
    for place, number in enumerate(driven):
        found[_numbered(FAN, place, len(driven))] = fan_picture(findings, number, case_name)
    return found


def _numbered(name: str, number: int, count: int) -> str:
    return f"{name}.png" if count == 1 else f"{name}_{number + 1}.png"


def show_window(findings: Findings) -> None:
    """Open a window with all bodies at their own heights (drawn taller than they are), to be turned with the mouse.

    Raises
    ------
    PictureFailed
        If there is no display, or libraries are missing.
    """
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        raise PictureFailed("there is no display to open a window on; the pictures are written without one")
    pyvista = load_pyvista()
    mesh = pyvista.from_meshio(field_mesh(findings.solution))
    bounds = mesh.bounds
    flat = max(bounds[1] - bounds[0], bounds[3] - bounds[2]) / max(bounds[5] - bounds[4], 1e-12)
    plotter = pyvista.Plotter(lighting="none", title=findings.solution.sheets.stack.title)
    table = lookup_table(pyvista, WARM, mesh.get_data_range(TEMPERATURE))
    bar = {
        "title": "temperature [°C]\n",
        "fmt": "%.1f",
        "color": "black",
    }  # the empty line keeps title and numbers apart
    plotter.add_mesh(mesh, scalars=TEMPERATURE, cmap=table, lighting=False, scalar_bar_args=bar)
    plotter.add_mesh(mesh.extract_feature_edges(), color="black", line_width=1)
    plotter.set_scale(zscale=max(1.0, flat / 5))
    plotter.view_vector((-0.5, -1.0, -0.8), viewup=(0.0, 0.0, -1.0))  # the component side faces the viewer
    plotter.camera.zoom(0.85)  # room for the bar below
    plotter.show()
