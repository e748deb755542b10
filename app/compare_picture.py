"""The difference of two temperature fields as a picture, from the fields.vtu of two results."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from plancha.app.compare import FIELDS, Opened
from plancha.app.fields import BODY, TEMPERATURE
from plancha.app.plan_drawing import Picture, Surface, check_libraries, render, write_png
from plancha.app.plan_marks import add_isolines, add_outline, add_spot, label_isolines
from plancha.app.plan_page import Sheet, difference_scale, finished, frame_around, number_text
from plancha.app.whole import staged
from plancha.geometry.bodies import COMPONENT_SIDE, FACE_NAMES, FACES
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.mesh import triangles_at

if TYPE_CHECKING:
    import meshio

ACROSS = 320  # points of the common grid along its longer side
INSIDE = -1e-6  # least barycentric coordinate of a point that counts as inside a triangle


@dataclass(frozen=True)
class FaceField:
    """A body's face as triangles (triangles, 3) over points (points, 2) [m], with temperatures (points,) [degC] and outline."""

    points: np.ndarray
    triangles: np.ndarray
    temperatures: np.ndarray
    outline: shapely.Geometry


def read_fields(path: Path) -> "meshio.Mesh":
    """A fields.vtu.

    Raises
    ------
    StudyError
        If the file is no field that Plancha wrote, or holds temperatures that are no numbers.
    """
    from meshio import vtu

    file = str(path)
    try:
        mesh = vtu.read(str(path))  # meshio.read would end the process over a bad file
        filled = set(np.concatenate(mesh.cell_data[BODY]).tolist())
        sound = np.isfinite(mesh.point_data[TEMPERATURE]).all() and list(mesh.cells_dict) == ["wedge"]
        sound = sound and bool(filled) and set(bodies_of(mesh).values()) == filled
    except Exception as error:  # meshio raises whatever its parsers meet
        message = f"this is no field that Plancha wrote ({type(error).__name__})"
        raise StudyError([Fault("", message, hint="solve the study again", file=file)]) from None
    if not sound:
        message = "the field holds no bodies, or temperatures that are no numbers"
        raise StudyError([Fault("", message, hint="solve the study again", file=file)])
    return mesh


def bodies_of(mesh: "meshio.Mesh") -> dict[str, int]:
    """Numbers of the bodies by name."""
    return {name: int(np.asarray(number).ravel()[0]) for name, number in mesh.field_data.items()}


def face_field(mesh: "meshio.Mesh", body: int, face: int) -> FaceField:
    """One face of a body: of its wedges the outermost triangles on that side."""
    wedges = mesh.cells_dict["wedge"][np.concatenate(mesh.cell_data[BODY]) == body]
    triangles = wedges[:, 3:] if face == COMPONENT_SIDE else wedges[:, :3]  # `fields.wedges_of`: the upper one first
    height = mesh.points[triangles, 2].mean(axis=1)
    end = height.min() if face == COMPONENT_SIDE else height.max()
    thickness = np.ptp(mesh.points[wedges.ravel(), 2])
    chosen = triangles[np.abs(height - end) < 1e-6 * thickness]
    points = mesh.points[:, :2]
    outline = shapely.coverage_union_all(shapely.polygons(points[chosen]))
    return FaceField(points, chosen, mesh.point_data[TEMPERATURE], outline)


def values_at(field: FaceField, points: np.ndarray) -> np.ndarray:
    """Temperatures (points,) [degC] at points (points, 2) [m], linear on each triangle; NaN off the face."""
    corners = field.points[field.triangles]
    number = triangles_at(corners, points)
    (a, b, c) = np.moveaxis(corners[number], 1, 0)
    u, v, d = b - a, c - a, points - a
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    along_b = (d[:, 0] * v[:, 1] - d[:, 1] * v[:, 0]) / area
    along_c = (u[:, 0] * d[:, 1] - u[:, 1] * d[:, 0]) / area
    weights = np.stack([1 - along_b - along_c, along_b, along_c], axis=1)
    values = (weights * field.temperatures[field.triangles[number]]).sum(axis=1)
    return np.where(weights.min(axis=1) > INSIDE, values, np.nan)


def write_differences(folder: Path, opened: Sequence[Opened]) -> tuple[list[Path], list[str]]:
    """Write a picture of each result against the first, all or nothing; the paths written, and why some are not.

    Raises
    ------
    StudyError
        If a fields.vtu cannot be used.
    PictureFailed
        If this system lacks libraries that rendering needs.
    """
    first, reasons = opened[0], []
    pictures: dict[str, Picture] = {}
    for other in opened[1:]:
        reason = why_no_picture(first, other)
        if reason:
            reasons.append(f"{other.letter} against {first.letter}: {reason}")
        else:
            check_libraries()
            pictures[f"difference-{first.letter}-{other.letter}.png"] = difference_picture(first, other)
    if not pictures:
        return [], reasons
    with staged(folder) as aside:
        for name, picture in pictures.items():
            write_png(aside / name, render(picture))
    return [folder / name for name in pictures], reasons


def why_no_picture(first: Opened, second: Opened) -> str:
    """Why there is no picture of the difference of two results; empty if there can be one."""
    without = [each.letter for each in (first, second) if each.fields is None]
    if without:
        return f"no picture: no fields.vtu beside {' and '.join(without)}"
    meshes = [read_fields(each.fields) for each in (first, second) if each.fields is not None]
    one, two = (set(bodies_of(mesh)) for mesh in meshes)
    if one != two:
        return f"no picture: the bodies are not the same ({', '.join(sorted(one ^ two))})"
    seat = seat_of(first)[0]
    return f"no picture: {FIELDS} beside {first.letter} has no body {seat}" if seat and seat not in one else ""


def seat_of(opened: Opened) -> tuple[str, int]:
    """Body and face on which the first component sits; without components the first body's component side ("")."""
    spreading = opened.result.cases[0].spreading
    return (spreading[0].body, FACES[spreading[0].face]) if spreading else ("", COMPONENT_SIDE)


def difference_picture(first: Opened, second: Opened) -> Picture:
    """Second less first on the source face of the plate under the first component, where both have it.

    Raises
    ------
    StudyError
        If the two faces share no area.
    """
    assert first.fields is not None and second.fields is not None, "ask why_no_picture first"
    meshes = [read_fields(first.fields), read_fields(second.fields)]
    name, face = seat_of(first)
    name = name or next(iter(bodies_of(meshes[0])))
    one, two = (face_field(mesh, bodies_of(mesh)[name], face) for mesh in meshes)
    common = one.outline.intersection(two.outline)
    points, shape = _grid(common) if common.area > 0 else (np.zeros((0, 2)), (0, 0))
    difference = values_at(two, points) - values_at(one, points) if len(points) else np.zeros(0)
    if not np.isfinite(difference).any():
        raise StudyError([Fault("compare", f"{name} lies in different places: nothing to subtract", second.path)])
    sheet = Sheet(frame_around([common], 0.03))
    title = f"temperature of {second.letter} less temperature of {first.letter} [K]"
    scale = difference_scale(title, difference)
    surface = Surface(
        sheet.frame.pixels(points),
        _triangles(shape, difference),
        np.nan_to_num(difference),
        scale.limits,
        scale.colour_map,
    )
    sheet.parts.append(surface)
    lines = add_isolines(sheet, surface, scale)
    _add_outlines(sheet, meshes[0])
    most = int(np.nanargmax(np.abs(difference)))
    text = f"{difference[most]:+.2g} K"
    add_spot(sheet, "largest", (float(points[most, 0]), float(points[most, 1])), text, sheet.frame.panel, [])
    label_isolines(sheet, lines, scale.step, shapely.transform(shapely.boundary(common), sheet.frame.pixels))
    subtitle = f"Temperature difference, {name}, {FACE_NAMES[face]} – case: {first.result.cases[0].name}"
    steps = f"Isolines every {number_text(scale.step, scale.step)} K. Cross: largest difference. {_error_words(first, second)}"
    caption = [f"{each.letter}: {each.path} ({each.result.title})" for each in (first, second)]
    return finished(sheet, f"{second.letter} against {first.letter}", subtitle, scale, [*caption, steps])


def _grid(shape: shapely.Geometry) -> tuple[np.ndarray, tuple[int, int]]:
    """Points (rows * columns, 2) [m] over a shape's bounding rectangle, a hair inside its edge."""
    left, bottom, right, top = shape.bounds
    step = max(right - left, top - bottom) / (ACROSS - 1)
    columns, rows = (max(2, round((end - start) / step) + 1) for start, end in ((left, right), (bottom, top)))
    hair = 1e-6 * step
    x, y = np.linspace(left + hair, right - hair, columns), np.linspace(bottom + hair, top - hair, rows)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2), (rows, columns)


def _triangles(shape: tuple[int, int], values: np.ndarray) -> np.ndarray:
    """Two triangles for each cell of the grid whose corners all have values."""
    rows, columns = shape
    first = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    cells = np.column_stack([first, first + 1, first + 1 + columns, first + columns])
    cells = cells[np.isfinite(values[cells]).all(axis=1)]
    return np.concatenate([cells[:, [0, 1, 2]], cells[:, [0, 2, 3]]])


def _add_outlines(sheet: Sheet, mesh: "meshio.Mesh") -> None:
    for body in bodies_of(mesh).values():
        add_outline(sheet, face_field(mesh, body, COMPONENT_SIDE).outline, 1.5)


def _error_words(first: Opened, second: Opened) -> str:
    errors = [
        max(
            (each.peak_error_K for each in opened.result.cases[0].components if each.peak_error_K is not None),
            default=None,
        )
        for opened in (first, second)
    ]
    known = [error for error in errors if error is not None]
    if len(known) < len(errors):
        return ""
    return f"Both numerical errors together are at most {max(sum(known), 0.01):.2f} K at the components' peaks."
