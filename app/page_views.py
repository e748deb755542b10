"""What the page can show of a solution: each view as layers of triangles or rectangles with values, and the marks over them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from plancha.app.air_pictures import Sight, coefficients, coolant_temperatures, plan_values, sights_of
from plancha.app.field_pictures import drawn_faces, plates_of
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.power_picture import CELLS_DRAWN, first_cell_corner
from plancha.fem.components import spreading_field
from plancha.fem.finned import fin_bodies, place_of_bank
from plancha.fem.planes import active_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import FACE_NAMES, Stack
from plancha.geometry.grid import Grid
from plancha.geometry.power_map import coarsened, flux, total_power
from plancha.geometry.study import Study

WARM, COOL = "warm", "cool"  # how the page colours temperatures, and everything else
OVERVIEW = "temperature"


@dataclass(frozen=True)
class View:
    """One thing that can be shown: its key, its title, unit, colours, and how isolines are called (nothing: none are drawn)."""

    key: str
    title: str
    unit: str
    colours: str = WARM
    isolines: str = "isotherms"


@dataclass(frozen=True)
class Triangles:
    """A quadratic field: elements (m, 6) of the plan's nodes, values at all plan nodes (n,)."""

    elements: np.ndarray
    values: np.ndarray


@dataclass(frozen=True)
class Rectangles:
    """Cells (n, 4): left, bottom, right, top [m], each with one value (n,)."""

    boxes: np.ndarray
    values: np.ndarray


Layer = Triangles | Rectangles


def views_of(stack: Stack) -> list[View]:
    """All that can be shown of a stack's solutions, the most wanted first."""
    views = [View(OVERVIEW, "Temperature, seen from above", "°C")]
    if stack.sources:
        views.append(View("power", "Power as laid", "W/cm²", COOL, ""))
    views += [
        View(f"spreading/{number}", f"Spreading resistance under {source.name}", "K/W", COOL, "isolines")
        for number, source in enumerate(stack.sources)
        if source.power > 0
    ]
    for number, sight in enumerate(sights_of(stack)):
        name = stack.flows[sight.flow].name
        views.append(View(f"coefficient/{number}", f"Coefficient on the fins, {name}", "W/m²/K", COOL, ""))
        views.append(View(f"coolant/{number}", f"Temperature of the coolant, {name}", "°C", WARM, ""))
    views += [
        View(f"film/{number}", f"Coefficient of {film.name}", "W/m²/K", COOL, "")
        for number, film in enumerate(stack.films)
        if isinstance(film.coefficient, Grid)
    ]
    hidden = fin_bodies(stack)
    for number, body in enumerate(stack.bodies):
        if number not in hidden:
            sides = ("both faces",) if body.sheet else FACE_NAMES
            views += [View(f"face/{number}/{face}", f"{body.name}, {side}", "°C") for face, side in enumerate(sides)]
    return views


def view_named(stack: Stack, key: str) -> View:
    """The view of a key; the first where a changed design no longer has it."""
    views = views_of(stack)
    return next((view for view in views if view.key == key), views[0])


def layers_of(solution: Solution, view: View, rises: np.ndarray | None) -> list[Layer]:
    """The layers of a view, the lower ones first; ``rises`` (unknowns,) [K/W] of a spreading resistance's own component."""
    kind, *numbers = view.key.split("/")
    return LAYERS[kind](solution, rises, *(int(number) for number in numbers))


def component_of(view: View) -> int | None:
    """The component whose heat alone a view needs, if it is such a view."""
    kind, *numbers = view.key.split("/")
    return int(numbers[0]) if kind == "spreading" else None


def _overview(solution: Solution, rises: np.ndarray | None) -> list[Layer]:
    nodes = solution.sheets.space.element_nodes
    return [Triangles(nodes[face.elements], face.values) for face in drawn_faces(solution)]


def _face(solution: Solution, rises: np.ndarray | None, body: int, face: int) -> list[Layer]:
    elements = solution.sheets.slabs[body].pattern.elements
    return [Triangles(solution.sheets.space.element_nodes[elements], solution.face(body, face) - ZERO_CELSIUS)]


def _spreading(solution: Solution, rises: np.ndarray | None, number: int) -> list[Layer]:
    assert rises is not None, "a spreading resistance is that of one component's heat"
    field, _, _ = spreading_field(solution, number, rises)
    elements = solution.sheets.slabs[solution.sheets.stack.sources[number].chain[-1]].pattern.elements
    return [Triangles(solution.sheets.space.element_nodes[elements], field)]


def _power(solution: Solution, rises: np.ndarray | None) -> list[Layer]:
    return [_power_layer(solution, number) for number in range(len(solution.powers))]


def _power_layer(solution: Solution, number: int) -> Layer:
    """A component's power density [W/cm^2]: its map's cells, or one value over its outline."""
    source, watts = solution.sheets.stack.sources[number], float(solution.powers[number])
    space = solution.sheets.space
    if source.power_map is None:
        even = np.full(len(space.nodes), watts / source.outline.area * 1e-4)
        return Triangles(space.element_nodes[active_elements(solution, source)], even)
    drawn = coarsened(source.power_map, CELLS_DRAWN)
    total = total_power(drawn)
    values = flux(drawn) * (watts / total if total > 0 else 1.0) * 1e-4
    left, bottom = source.outline.bounds[:2]
    return _grid_layer(drawn.x + left, drawn.y + bottom, values)


def _grid_layer(x: np.ndarray, y: np.ndarray, values: np.ndarray) -> Rectangles:
    """Cells between edges along x (nx + 1,) and y (ny + 1,) with values (ny, nx); those without a value left out."""
    left, bottom = np.meshgrid(x[:-1], y[:-1])
    right, top = np.meshgrid(x[1:], y[1:])
    boxes, flat = np.stack([left, bottom, right, top], axis=-1).reshape(-1, 4), values.ravel()
    return Rectangles(boxes[np.isfinite(flat)], flat[np.isfinite(flat)])


def _coefficient(solution: Solution, rises: np.ndarray | None, number: int) -> list[Layer]:
    return _bank_layers(solution, sights_of(solution.sheets.stack)[number], coefficients)


def _coolant(solution: Solution, rises: np.ndarray | None, number: int) -> list[Layer]:
    sight = sights_of(solution.sheets.stack)[number]
    return _bank_layers(solution, sight, lambda place: coolant_temperatures(place, solution))


def _bank_layers(solution: Solution, sight: Sight, values_of: Any) -> list[Layer]:
    layers: list[Layer] = []
    for bank in sight.banks:
        place = place_of_bank(solution, bank)
        grid = place.way.grid
        layers.append(_grid_layer(grid.x, grid.y, plan_values(place, values_of(place)).T))
    return layers


def _film(solution: Solution, rises: np.ndarray | None, number: int) -> list[Layer]:
    grid = solution.sheets.stack.films[number].coefficient
    assert isinstance(grid, Grid)
    return [_grid_layer(*grid.edges(), grid.values)]


LAYERS: dict[str, Any] = {
    OVERVIEW: _overview,
    "face": _face,
    "spreading": _spreading,
    "power": _power,
    "coefficient": _coefficient,
    "coolant": _coolant,
    "film": _film,
}


def marks_of(stack: Stack, study: Study) -> dict[str, Any]:
    """Outlines, names, corner marks and probes over every view, in mm."""
    plates = set(plates_of(stack))
    views = {each.name: each.map for each in study.component if each.map is not None}
    corners = []
    for source in stack.sources:
        view = views.get(source.name)
        if view is not None:
            x, y = first_cell_corner(view)
            corners.append({"name": source.name, "box": _millimetres(source.outline.bounds), "x": x, "y": y})
    return {
        "bodies": [
            {"name": body.name, "rings": _rings(body.outline), "plate": number in plates}
            for number, body in enumerate(stack.bodies)
        ],
        "components": [{"name": source.name, "rings": _rings(source.outline)} for source in stack.sources],
        "corners": corners,
        "probes": [{"name": probe.name, "at": _millimetres(probe.point)} for probe in stack.probes],
        "frame": _millimetres(shapely.union_all([body.outline for body in stack.bodies]).bounds),
    }


def _rings(outline: shapely.Polygon) -> list[list[list[float]]]:
    return [[_millimetres(point) for point in ring.coords] for ring in (outline.exterior, *outline.interiors)]


def _millimetres(values: Sequence[float]) -> list[float]:
    return [round(1e3 * value, 6) for value in values]
