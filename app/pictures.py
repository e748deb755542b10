"""The pictures of a solved load case, as PNG files: temperatures, the hottest component, spreading resistance, power map."""

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from plancha.app.colours import COOL, WARM
from plancha.app.fields import ZERO_CELSIUS, field_mesh
from plancha.app.plan_drawing import (
    DARK,
    LIGHT,
    Patch,
    Picture,
    PictureFailed,
    Strokes,
    Surface,
    fine_triangles,
    load_pyvista,
    render,
    write_png,
)
from plancha.app.plan_page import (
    Scale,
    Sheet,
    add_isolines,
    add_names,
    add_outline,
    add_plate_names,
    add_spot,
    finished,
    frame_around,
    label_isolines,
    number_text,
    scale_of,
)
from plancha.fem.components import ComponentState, spreading_field
from plancha.fem.findings import Findings
from plancha.fem.plan import maximum
from plancha.fem.planes import active_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import COMPONENT_SIDE, FACE_NAMES, Source, Stack, elevations
from plancha.geometry.power_map import coarsened, flux, total_power
from plancha.geometry.study import MapFile

TEMPERATURE, CHIPS, SPREADING, POWER_MAP = "temperature.png", "chips.png", "spreading.png", "power_map.png"
FEW_ELEMENTS = 5000  # up to which each triangle's side is drawn in four parts; beyond, in two
CELLS_DRAWN = 400  # a side, of a power map: finer ones are averaged over groups of cells
MARK = 36.0  # longer sides of the corner mark [px]


@dataclass(frozen=True)
class Face:
    """A part of a face that is drawn: elements, nodal values (plan nodes,), outline [m]."""

    elements: np.ndarray
    values: np.ndarray
    outline: shapely.Geometry


def draw_pictures(
    findings: Findings,
    case_name: str,
    out_folder: str | os.PathLike[str],
    views: Mapping[str, MapFile] | None = None,
) -> list[Path]:
    """Draw all pictures of a load case that has components; only temperature.png of one that has none.

    Parameters
    ----------
    findings : Findings
    case_name : str
        Stands in every picture's head.
    out_folder : path
        Made where it is missing; pictures that stand there are replaced, each whole or not at all.
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
    load_pyvista()
    pictures = {TEMPERATURE: temperature_picture(findings, case_name)}
    if findings.components:
        pictures[CHIPS] = hottest_picture(findings, case_name)
        pictures[SPREADING] = spreading_picture(findings, case_name)
        pictures[POWER_MAP] = power_picture(findings, case_name, views or {})
    images = {name: render(picture) for name, picture in pictures.items()}
    return [write_png(Path(out_folder) / name, image) for name, image in images.items()]


def plates_of(stack: Stack) -> list[int]:
    """Bodies that are no component's own layer."""
    layers = {body for source in stack.sources for body in source.chain[:-1]}
    return [body for body in range(len(stack.bodies)) if body not in layers]


def drawn_faces(solution: Solution) -> list[Face]:
    """Temperatures [degC] of the plates' source faces from the cooled side down, then of the components' active faces."""
    sheets, stack = solution.sheets, solution.sheets.stack
    heights, faces = elevations(stack), []
    for body in sorted(plates_of(stack), key=lambda body: -heights[body]):
        sides = {source.face for source in stack.sources if source.chain[-1] == body}
        face = min(sides, default=COMPONENT_SIDE)
        elements = sheets.slabs[body].pattern.elements
        faces.append(Face(elements, solution.face(body, face) - ZERO_CELSIUS, stack.bodies[body].outline))
    for source in stack.sources:
        values = solution.face(source.chain[0], source.face) - ZERO_CELSIUS
        faces.append(Face(active_elements(solution, source), values, source.outline))
    return faces


def hottest(findings: Findings) -> ComponentState | None:
    """The component with the highest peak; None where there is none."""
    return max(findings.components, key=lambda state: state.peak.value, default=None)


def temperature_picture(findings: Findings, case_name: str) -> Picture:
    """The whole plan: plates' source faces, the components' active faces over them, isotherms, the hottest spot."""
    solution = findings.solution
    stack, faces = solution.sheets.stack, drawn_faces(solution)
    sheet = Sheet(frame_around([body.outline for body in stack.bodies], 0.03))
    scale = _scale("temperature [°C]", faces)
    lines = _add_faces(sheet, solution, faces, scale)
    _add_outlines(sheet, stack)
    boxes = {source.name: sheet.frame.box(source.outline) for source in stack.sources}
    state = hottest(findings)
    if state is not None:
        value = f"{state.peak.value - ZERO_CELSIUS:.1f} °C"
        others = [box for name, box in boxes.items() if name != state.name]
        add_spot(sheet, "hot spot", state.peak.point, value, boxes[state.name], others)
    plates = [stack.bodies[body] for body in plates_of(stack)]
    add_names(sheet, [source.name for source in stack.sources], [source.outline for source in stack.sources])
    if len(plates) > 1:
        add_plate_names(sheet, [p.name for p in plates], [p.outline for p in plates], list(boxes.values()))
    _label_faces(sheet, faces, lines, scale)
    names = " and ".join([", ".join(plate.name for plate in plates[:-1]), plates[-1].name][len(plates) == 1 :])
    caption = [
        f"Of {names} the source face, of components the active face, seen from the cooled side. "
        + _steps("isotherms", scale, "K")
        + ("" if state is None else f" Cross: hottest spot, in {state.name}.")
    ]
    return finished(sheet, stack.title, f"Temperature – case: {case_name}", scale, caption)


def hottest_picture(findings: Findings, case_name: str) -> Picture:
    """The active face of the hottest component."""
    solution, state = findings.solution, hottest(findings)
    assert state is not None, "a picture of components needs one"
    stack = solution.sheets.stack
    source = next(source for source in stack.sources if source.name == state.name)
    values = solution.face(source.chain[0], source.face) - ZERO_CELSIUS
    face = Face(active_elements(solution, source), values, source.outline)
    sheet = Sheet(frame_around([source.outline], 0.04))
    scale = _scale("temperature [°C]", [face])
    lines = _add_faces(sheet, solution, [face], scale)
    add_outline(sheet, source.outline)
    add_spot(sheet, "hot spot", state.peak.point, f"{state.peak.value - ZERO_CELSIUS:.1f} °C", sheet.frame.panel, [])
    _label_faces(sheet, [face], lines, scale)
    caption = [
        f"Peak {state.peak.value - ZERO_CELSIUS:.1f} °C (cross), area mean {state.mean - ZERO_CELSIUS:.1f} °C, "
        f"power-weighted mean {state.power_mean - ZERO_CELSIUS:.1f} °C at {state.power:g} W; {_margin_text(state)}. "
        + _steps("isotherms", scale, "K")
    ]
    subtitle = f"Temperature of {source.name}, active face – case: {case_name}"
    return finished(sheet, stack.title, subtitle, scale, caption)


def _margin_text(state: ComponentState) -> str:
    if state.limit is None or state.margin is None:
        return "no limit is set"
    return f"limit {state.limit - ZERO_CELSIUS:.1f} °C, margin {state.margin:.1f} K"


def spreading_picture(findings: Findings, case_name: str) -> Picture:
    """Spreading-resistance field of the body under the limiting component, or the hottest where none has a limit."""
    solution, state = findings.solution, findings.limiting or hottest(findings)
    assert state is not None, "a picture of spreading needs a component"
    sheets, stack = solution.sheets, solution.sheets.stack
    number = [source.name for source in stack.sources].index(state.name)
    source, body = stack.sources[number], stack.bodies[stack.sources[number].chain[-1]]
    field, footprint, share = spreading_field(solution, number, findings.unit_rises[:, number])
    peak, resistance = maximum(sheets.space, field, footprint), findings.spreading[number]
    face = Face(sheets.slabs[source.chain[-1]].pattern.elements, field, body.outline)
    sheet = Sheet(frame_around([body.outline], 0.03))
    scale = _scale("rise above the face's mean, per watt through the footprint [K/W]", [face], cool=True)
    lines = _add_faces(sheet, solution, [face], scale)
    add_outline(sheet, body.outline)
    seat = source.outline if len(source.chain) == 1 else stack.bodies[source.chain[-2]].outline
    add_outline(sheet, seat, 3.0)
    add_spot(sheet, "maximum", peak.point, f"{resistance.maximum:#.3g} K/W", sheet.frame.box(seat), [])
    add_names(sheet, [source.name], [seat])
    _label_faces(sheet, [face], lines, scale, [seat])
    caption = [
        f"Over the footprint of {source.name}: maximum {resistance.maximum:#.3g} K/W (cross), mean {resistance.mean:#.3g} K/W; "
        f"{100 * share:.1f} % of its heat goes through it, no other component at work. {FACE_NAMES[source.face].capitalize()} "
        f"of {body.name}, seen from the cooled side. " + _steps("isolines", scale, "K/W")
    ]
    subtitle = f"Spreading resistance of {body.name} under {source.name} – case: {case_name}"
    return finished(sheet, stack.title, subtitle, scale, caption)


def _scale(title: str, faces: Sequence[Face], cool: bool = False, low: float | None = None) -> Scale:
    nodal = [face.values[np.isfinite(face.values)] for face in faces]
    return scale_of(title, nodal, COOL if cool else WARM, low)


def _steps(name: str, scale: Scale, unit: str) -> str:
    return f"{name.capitalize()} every {number_text(scale.step, scale.step)} {unit}."


def _add_faces(sheet: Sheet, solution: Solution, faces: Sequence[Face], scale: Scale) -> list:
    """Draw faces one over the other with their isolines; gives back each face's lines by level."""
    space, lines = solution.sheets.space, []
    parts = 4 if sum(len(face.elements) for face in faces) < FEW_ELEMENTS else 2
    for face in faces:
        points, triangles, values = fine_triangles(space, face.elements, face.values, parts)
        surface = Surface(sheet.frame.pixels(points), triangles, values, scale.limits, scale.colour_map)
        sheet.parts.append(surface)
        lines.append(add_isolines(sheet, surface, scale))
    return lines


def _label_faces(
    sheet: Sheet, faces: Sequence[Face], lines: Sequence, scale: Scale, more: Sequence[shapely.Geometry] = ()
) -> None:
    """Write the isolines' values, clear of all outlines and of the faces that lie over them."""
    outlines = [shapely.boundary(face.outline) for face in faces] + [shapely.boundary(shape) for shape in more]
    for number, own in enumerate(lines):
        over = [face.outline for face in faces[number + 1 :]]
        avoided = shapely.transform(shapely.union_all([*outlines, *over]), sheet.frame.pixels)
        shapely.prepare(avoided)
        label_isolines(sheet, own, scale.step, avoided)


def _add_outlines(sheet: Sheet, stack: Stack) -> None:
    for number, body in enumerate(stack.bodies):
        add_outline(sheet, body.outline, 2.0 if number in plates_of(stack) else 1.5)
    for source in stack.sources:
        add_outline(sheet, source.outline)


def first_cell_corner(view: MapFile) -> tuple[int, int]:
    """Where a map's first cell comes to lie in the plan: (0 left or 1 right, 0 bottom or 1 top).

    A grid's first cell is row 1, column 1 of the file: upper left as written. A table of blocks has no first cell: its
    coordinates' origin is taken, lower left as written; a table is told by its having no unit here.
    """
    x, y = (0, 0) if view.unit is None else (0, 1)
    if (view.seen_from == "active side") != view.mirror:  # as in power_map_file.read_power_map
        x = 1 - x
    for _ in range(view.quarter_turns % 4):
        x, y = 1 - y, x
    return x, y


def power_picture(findings: Findings, case_name: str, views: Mapping[str, MapFile]) -> Picture:
    """Power density of all components as laid in the plan, with a mark at the first cell of each map's file."""
    solution = findings.solution
    stack = solution.sheets.stack
    sheet = Sheet(frame_around([source.outline for source in stack.sources], 0.1))
    cells = [_power_cells(solution, number) for number in range(len(stack.sources))]
    scale = scale_of("power density [W/cm²]", [values for _, _, values in cells], COOL, low=0.0)
    for points, triangles, values in cells:
        sheet.parts.append(Surface(sheet.frame.pixels(points), triangles, values, scale.limits, COOL))
    for number in plates_of(stack):
        add_outline(sheet, stack.bodies[number].outline)
    for source in stack.sources:
        add_outline(sheet, source.outline)
    marked = [source for source in stack.sources if source.name in views]
    for source in marked:
        _add_corner_mark(sheet, source, views[source.name])
    names = [f"{source.name}, {watts:.4g} W" for source, watts in zip(stack.sources, solution.powers)]
    add_names(sheet, names, [source.outline for source in stack.sources])
    if any(views[source.name].unit is not None for source in marked):
        sheet.legend.append("white triangle: first cell of the file (row 1, column 1)")
    if any(views[source.name].unit is None for source in marked):
        sheet.legend.append("white triangle: origin of the file's blocks" + _which(marked, views))
    caption = ["Power over area, seen from the cooled side." + _coarse_text(stack)]
    return finished(sheet, stack.title, f"Power density – case: {case_name}", scale, caption)


def _which(marked: Sequence[Source], views: Mapping[str, MapFile]) -> str:
    """Names of the components whose maps are tables, where others are grids."""
    tables = [source.name for source in marked if views[source.name].unit is None]
    return "" if len(tables) == len(marked) else f" ({', '.join(tables)})"


def _coarse_text(stack: Stack) -> str:
    fine = [
        source.name
        for source in stack.sources
        if source.power_map is not None and max(source.power_map.watts.shape) > CELLS_DRAWN
    ]
    return f" Drawn as means over groups of cells: {', '.join(fine)}." if fine else ""


def _power_cells(solution: Solution, number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A component's power density as triangles: points (n, 2) [m], triangles (m, 3), values (m,) [W/cm^2]."""
    source, watts = solution.sheets.stack.sources[number], solution.powers[number]
    if source.power_map is None:
        points, triangles, _ = fine_triangles(
            solution.sheets.space, active_elements(solution, source), np.zeros(len(solution.sheets.space.nodes)), 1
        )
        return points, triangles, np.full(len(triangles), watts / source.outline.area * 1e-4)
    drawn = coarsened(source.power_map, CELLS_DRAWN)
    total = total_power(drawn)
    values = flux(drawn) * (watts / total if total > 0 else 1.0) * 1e-4
    x, y = np.meshgrid(drawn.x, drawn.y)
    points = np.column_stack([x.ravel(), y.ravel()]) + source.outline.bounds[:2]
    rows, columns = drawn.watts.shape
    corner = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()[:, None]
    lower, upper = corner + np.array([0, 1, columns + 2]), corner + np.array([0, columns + 2, columns + 1])
    return points, np.vstack([lower, upper]), np.tile(values.ravel(), 2)


def _add_corner_mark(sheet: Sheet, source: Source, view: MapFile) -> None:
    """A white triangle with a dark rim in the corner of the footprint where the first cell lies."""
    box = sheet.frame.box(source.outline)
    x, y = first_cell_corner(view)
    side = min(MARK, box.width / 3, box.height / 3)
    corner = np.array([box.right if x else box.left, box.top if y else box.bottom])
    inward = np.array([-1.0 if x else 1.0, -1.0 if y else 1.0]) * side
    points = np.array([corner, corner + inward * [1, 0], corner + inward * [0, 1]])
    sides = np.stack([points, np.roll(points, -1, axis=0)], axis=1)
    sheet.parts += [Patch(points, LIGHT), Strokes(sides, DARK, 3.0)]
    sheet.spots[f"first cell of {source.name}"] = (float(points[:, 0].mean()), float(points[:, 1].mean()))


def show_window(findings: Findings) -> None:
    """Open a window with all bodies at their own heights (drawn taller than they are), to be turned with the mouse.

    Raises
    ------
    PictureFailed
        If there is no display, or libraries are missing.
    """
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        raise PictureFailed("there is no display to open a window on; the pictures are written without one")
    pyvista = load_pyvista(window=True)
    mesh = pyvista.from_meshio(field_mesh(findings.solution))
    bounds = mesh.bounds
    flat = max(bounds[1] - bounds[0], bounds[3] - bounds[2]) / max(bounds[5] - bounds[4], 1e-12)
    plotter = pyvista.Plotter(lighting="none", title=findings.solution.sheets.stack.title)
    plotter.add_mesh(mesh, scalars="temperature [degC]", lighting=False)
    plotter.set_scale(zscale=max(1.0, flat / 5))
    plotter.show()
