"""Picture of the power density as laid in the plan, with a mark that shows how each map's file was turned."""

from collections.abc import Mapping, Sequence

import numpy as np

from plancha.app.colours import COOL
from plancha.app.contours import fine_triangles
from plancha.app.field_pictures import plates_of
from plancha.app.plan_drawing import DARK, LIGHT, Patch, Picture, Strokes, Surface
from plancha.app.plan_marks import add_names, add_outline
from plancha.app.plan_page import Sheet, finished, frame_around, scale_of
from plancha.fem.findings import Findings
from plancha.fem.planes import active_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import Source, Stack
from plancha.geometry.power_map import coarsened, flux, total_power
from plancha.geometry.study import MapFile

CELLS_DRAWN = 400  # a side, of a power map: finer ones are averaged over groups of cells
MARK = 36.0  # longer sides of the corner mark [px]


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
    caption = ["Power over area, seen from the cooled side." + _coarse_text(stack)]
    if any(views[source.name].unit is not None for source in marked):
        caption.append("White triangle: first cell of the file (row 1, column 1).")
    if any(views[source.name].unit is None for source in marked):
        caption.append("White triangle: origin of the file's blocks" + _which(marked, views) + ".")
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
