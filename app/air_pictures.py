"""Pictures of coolants on the plan: their coefficient on the fins and their temperature, cell by cell of each bank they pass."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from plancha.app.air_tables import rate_words
from plancha.app.colours import COOL, WARM
from plancha.app.field_pictures import plates_of
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.flow_marks import Edge, add_darts, add_edge_words, add_fan_rings, add_inflow_rings, edges_of
from plancha.app.label_places import within
from plancha.app.plan_drawing import MIDDLE, Picture, Surface, text_size
from plancha.app.plan_marks import (
    add_isolines,
    add_names,
    add_outline,
    add_plate_names,
    add_spot,
    first_free,
    label_isolines,
)
from plancha.app.plan_page import Scale, Sheet, finished, frame_around, number_text, scale_of
from plancha.fem.cells import CellGrid
from plancha.fem.findings import Findings
from plancha.fem.finned import BankPlace, place_of_bank
from plancha.fem.flow_readings import FlowReading, Span, wetted_area
from plancha.fem.solve import Solution
from plancha.geometry.air import Bank
from plancha.geometry.bodies import Stack

MARGIN = 0.085  # around everything, for the darts
STEEP = 1.3  # times what all but few of the cells keep within: colours end there
LEAST = 1.25  # times the middle one of all cells: colours reach so far at least
FEW = 0.08  # of the cells: those at the inlet whose coefficient may lie beyond the colours


@dataclass(frozen=True)
class Sight:
    """Banks of one flow that do not cover each other on the plan, to be drawn together."""

    flow: int
    banks: tuple[int, ...]


@dataclass(frozen=True)
class Field:
    """Values (nx, ny) of a bank's cells on the plan, NaN where there are none; which fins each has; the part that is passed."""

    bank: Bank
    grid: CellGrid
    values: np.ndarray
    region: np.ndarray
    zone: shapely.Geometry | None


def sights_of(stack: Stack) -> list[Sight]:
    """The pictures that a stack's flows need: one each, more where their banks lie over one another."""
    found = []
    for number, flow in enumerate(stack.flows):
        groups: list[list[int]] = []
        for bank in flow.banks:
            shape = stack.banks[bank].outline
            free = (g for g in groups if not any(_covers(stack.banks[other].outline, shape) for other in g))
            group = next(free, None)
            if group is None:
                groups.append([bank])
            else:
                group.append(bank)
        found += [Sight(number, tuple(group)) for group in groups]
    return found


def _covers(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    return one.intersection(other).area > 1e-6 * min(one.area, other.area)


def plan_values(place: BankPlace, values: np.ndarray) -> np.ndarray:
    """Values of plan cells (columns,) on the grid (nx, ny); NaN where there is no cell."""
    number = place.way.grid.number
    return np.where(number >= 0, values[np.maximum(number, 0)], np.nan)


def coefficients(place: BankPlace) -> np.ndarray:
    """Coefficient [W/m2/K] of each plan cell (columns,): over its levels the mean by wetted area; NaN where nothing is cooled."""
    levels = len(place.way.levels) - 1
    weights = wetted_area(place.stream.conductance[place.cells], place.way.coefficient).reshape(-1, levels)
    total = weights.sum(axis=1)
    summed = (weights * place.way.coefficient.reshape(-1, levels)).sum(axis=1)
    return np.divide(summed, total, out=np.full(len(total), np.nan), where=total > 0)


def coolant_temperatures(place: BankPlace, solution: Solution) -> np.ndarray:
    """Temperature [degC] of each plan cell (columns,): the cell's mean, of a through flow what leaves; NaN without flow."""
    levels = len(place.way.levels) - 1
    moving = place.stream.network.capacity[place.cells].reshape(-1, levels)[:, 0] > 0
    if levels == 1:
        found = place.stream.means(solution.temperature)[place.cells]
    else:
        leaving = solution.temperature[place.stream.unknowns][place.cells].reshape(-1, levels)
        found = leaving[:, 0] if place.state.flow.side == "tips" else leaving[:, -1]
    return np.where(moving, found - ZERO_CELSIUS, np.nan)


def _field(stack: Stack, place: BankPlace, values: np.ndarray) -> Field:
    levels = len(place.way.levels) - 1
    region = place.way.region.reshape(-1, levels)[:, 0]
    on_plan = np.where(place.way.grid.number >= 0, region[np.maximum(place.way.grid.number, 0)], -1)
    zone = place.state.flow.zone
    return Field(stack.banks[place.way.bank], place.way.grid, plan_values(place, values), on_plan, zone)


def coefficient_picture(findings: Findings, sight: Sight, case_name: str) -> Picture:
    """Coefficient on the fins' surface, cell by cell on the plan."""
    stack, reading = findings.solution.sheets.stack, findings.flows[sight.flow]
    places = [place_of_bank(findings.solution, bank) for bank in sight.banks]
    fields = [_field(stack, place, coefficients(place)) for place in places]
    scale, most = _coefficient_scale(fields)
    sheet = _sheet(stack, sight)
    for field in fields:
        _add_cells(sheet, field, scale)
    _add_outlines(sheet, stack, sight)
    _add_edges(sheet, stack, sight, places)
    _add_marks(sheet, stack, sight, places)
    subtitle = f"Coefficient on the fins, flow {reading.state.flow.name} – case: {case_name}"
    caption = _coefficient_caption(reading, scale, most)
    return finished(sheet, stack.title, subtitle, scale, [caption])


def _coefficient_scale(fields: Sequence[Field]) -> tuple[Scale, float | None]:
    """The colour bar, and the largest coefficient where the bar ends below it."""
    values = np.concatenate([field.values[np.isfinite(field.values)] for field in fields])
    most, usual = float(values.max()), max(float(np.quantile(values, 1 - FEW)), LEAST * float(np.median(values)))
    is_steep = most > STEEP * usual
    shown = np.minimum(values, usual) if is_steep else values
    return scale_of("coefficient on the fins [W/m²/K]", [shown], COOL), most if is_steep else None


def _coefficient_caption(reading: FlowReading, scale: Scale, most: float | None) -> str:
    state = reading.state
    last = f"{scale.limits[1]:.4g} W/m²/K"
    beyond = "" if most is None else f" Colours end at {last}; next to the inlet it is up to {most:.4g} W/m²/K."
    slips = "" if reading.share >= 1 else f", {100 * reading.share:.0f} % of it between the fins"
    over = " Of each column the mean over its height." if state.flow.entry == "through" else ""
    return (
        f"Mean {_span(reading.coefficient, '.4g')} W/m²/K; fin efficiency {_span(reading.efficiency, '.3f')}; "
        f"between the fins {_span(reading.velocity, '.3g')} m/s.{beyond} {_unbroken(rate_words(state.rate, state.fluid.density))} "
        f"of {state.flow.fluid} at the inlet{slips}.{over} Seen from the cooled side. {_mark_words(state.flow.entry)}"
    )


def _span(span: Span, form: str) -> str:
    mean, least, most = (format(value, form) for value in (span.mean, span.least, span.most))
    return mean if least == most else f"{mean} ({least} to {most})"


def _unbroken(text: str) -> str:
    return text.replace(" ", "\u00a0")


def _mark_words(entry: str) -> str:
    if entry == "side":
        return "Darts: the longer, the more flow."
    if entry == "top":
        return "Rings: inflow along the fins; darts: outflow; the larger, the more flow."
    return "Rings: flow through the plan, a cross away from the viewer, a dot towards; the larger, the more flow."


def coolant_picture(findings: Findings, sight: Sight, case_name: str) -> Picture:
    """Temperature of the coolant between the fins, cell by cell on the plan, with what comes in and what leaves."""
    solution, reading = findings.solution, findings.flows[sight.flow]
    stack, state = solution.sheets.stack, reading.state
    places = [place_of_bank(solution, bank) for bank in sight.banks]
    fields = [_field(stack, place, coolant_temperatures(place, solution)) for place in places]
    scale = scale_of("coolant temperature [°C]", [each.values[np.isfinite(each.values)] for each in fields], WARM)
    sheet = _sheet(stack, sight)
    for field in fields:
        _add_cells(sheet, field, scale)
    lines = [_add_lines(sheet, field, scale) for field in fields]
    point, hottest = _hottest(fields)
    _add_outlines(sheet, stack, sight)
    edges = _add_edges(sheet, stack, sight, places)
    add_spot(sheet, "hottest coolant", point, f"{hottest:.1f} °C", sheet.frame.panel, _part_boxes(sheet, stack))
    for edge, place in edges:
        add_edge_words(sheet, edge, place, solution)
    _add_marks(sheet, stack, sight, places)
    _label(sheet, stack, sight, lines, scale)
    what = "what leaves each column" if state.flow.entry == "through" else "mean of each cell"
    slips = " with what slips by" if reading.share < 1 else ""
    caption = (
        f"In at {state.flow.inlet - ZERO_CELSIUS:.1f} °C, out at {reading.outlet - ZERO_CELSIUS:.1f} °C, mixed{slips}; "
        f"{reading.heat:.4g} W taken up by {reading.mass * 1e3:.4g} g/s of {state.flow.fluid}. Shown: {what}; cross: the hottest, "
        f"{hottest:.1f} °C. Isotherms every {number_text(scale.step, scale.step)} K. Seen from the cooled side. "
        f"{_mark_words(state.flow.entry)}"
    )
    subtitle = f"Temperature of the coolant, flow {state.flow.name} – case: {case_name}"
    return finished(sheet, stack.title, subtitle, scale, [caption])


def _hottest(fields: Sequence[Field]) -> tuple[tuple[float, float], float]:
    best = max(fields, key=lambda field: float(np.nanmax(field.values)))
    at = np.unravel_index(int(np.nanargmax(best.values)), best.values.shape)
    x, y = best.grid.centres[at]
    return (float(x), float(y)), float(best.values[at])


def _sheet(stack: Stack, sight: Sight) -> Sheet:
    shapes = [stack.bodies[body].outline for body in plates_of(stack)]
    return Sheet(frame_around([*shapes, *(stack.banks[bank].outline for bank in sight.banks)], MARGIN))


def _add_cells(sheet: Sheet, field: Field, scale: Scale) -> None:
    points, triangles, values = cell_triangles(field)
    sheet.parts.append(Surface(sheet.frame.pixels(points), triangles, values, scale.limits, scale.colour_map))


def _add_lines(sheet: Sheet, field: Field, scale: Scale) -> list:
    """Isotherms between the cells' centres; gives back the lines by level."""
    centres, between, nodal = centre_triangles(replace(field, values=smoothed(field.values)))
    if not len(between):
        return []
    return add_isolines(
        sheet, Surface(sheet.frame.pixels(centres), between, nodal, scale.limits, scale.colour_map), scale
    )


def smoothed(values: np.ndarray) -> np.ndarray:
    """Means over three cells each way (nx, ny), fewer at the edges; NaN stays where it is and does not count."""
    there = np.isfinite(values)
    sums = [np.pad(each, 1) for each in (np.nan_to_num(values), there.astype(float))]
    total, count = (
        sum(each[i : i + values.shape[0], j : j + values.shape[1]] for i in range(3) for j in range(3)) for each in sums
    )
    return np.divide(total, count, out=np.full(values.shape, np.nan), where=there)


def cell_triangles(field: Field) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The cells that have a value as triangles: points (n, 2) [m], triangles (m, 3), values (m,); cut to the zone that is passed."""
    x, y = field.grid.x, field.grid.y
    low_x, low_y = np.meshgrid(x[:-1], y[:-1], indexing="ij")
    high_x, high_y = np.meshgrid(x[1:], y[1:], indexing="ij")
    boxes = shapely.box(low_x, low_y, high_x, high_y)
    here = np.isfinite(field.values)
    if field.zone is None:
        shapes, values = boxes[here], field.values[here]
    else:
        shapely.prepare(field.zone)
        shapes, values = shapely.intersection(boxes[here], field.zone), field.values[here]
    pieces, owner = shapely.get_parts(shapely.constrained_delaunay_triangles(shapes), return_index=True)
    corners = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    count = len(corners)
    return corners.reshape(-1, 2), np.arange(3 * count).reshape(count, 3), values[owner]


def centre_triangles(field: Field) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Triangles between the centres of cells with equal fins, out to the bank's edges, for isolines."""

    def padded(edges: np.ndarray) -> np.ndarray:
        return np.concatenate([edges[:1], (edges[1:] + edges[:-1]) / 2, edges[-1:]])

    x, y = padded(field.grid.x), padded(field.grid.y)
    values, region = np.pad(field.values, 1, mode="edge"), np.pad(field.region, 1, mode="edge")
    points = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    first = (np.arange(len(x) - 1)[:, None] * len(y) + np.arange(len(y) - 1)).ravel()
    quads = np.column_stack([first, first + len(y), first + len(y) + 1, first + 1])
    flat, kind = values.ravel(), region.ravel()
    alike = (kind[quads] == kind[quads[:, :1]]).all(axis=1) & np.isfinite(flat[quads]).all(axis=1)
    quads = quads[alike]
    return points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]), np.nan_to_num(flat)


def _add_edges(sheet: Sheet, stack: Stack, sight: Sight, places: Sequence[BankPlace]) -> list[tuple[Edge, BankPlace]]:
    """Darts at all edges over which coolant comes or leaves; gives back the edges with their banks."""
    found = []
    for place in places:
        bank = stack.banks[place.way.bank]
        for edge in edges_of(place, bank):
            add_darts(sheet, edge, _free_length(stack, sight, bank, edge.side))
            found.append((edge, place))
    return found


def _add_marks(sheet: Sheet, stack: Stack, sight: Sight, places: Sequence[BankPlace]) -> None:
    """Rings where coolant passes the plan; names."""
    for place in places:
        add_inflow_rings(sheet, place, stack.banks[place.way.bank])
    add_names(sheet, [source.name for source in stack.sources], [source.outline for source in stack.sources])
    names = [stack.banks[bank].name for bank in sight.banks]
    _add_bank_names(sheet, names, [stack.banks[bank].outline for bank in sight.banks], stack)
    plates = [stack.bodies[body] for body in plates_of(stack)]
    seen = [plate for plate in plates if plate.outline.area > 1.05 * _under(plate.outline, stack, sight)]
    add_plate_names(sheet, [p.name for p in seen], [p.outline for p in seen], _part_boxes(sheet, stack))


def _add_outlines(sheet: Sheet, stack: Stack, sight: Sight) -> None:
    """Kinds of fins, plates, banks, components, and the fans where they blow on the plan."""
    banks = [stack.banks[bank] for bank in sight.banks]
    for region in (region for bank in banks for region in bank.regions if len(bank.regions) > 1):
        add_outline(sheet, region.outline, 1.0)
    for body in plates_of(stack):
        add_outline(sheet, stack.bodies[body].outline)
    for bank in banks:
        add_outline(sheet, bank.outline, 3.0)
    for source in stack.sources:
        add_outline(sheet, source.outline, 1.5)
    add_fan_rings(sheet, stack.flows[sight.flow])


def _under(outline: shapely.Geometry, stack: Stack, sight: Sight) -> float:
    """Area of a plate under the banks that are drawn [m2]."""
    return float(outline.intersection(shapely.union_all([stack.banks[bank].outline for bank in sight.banks])).area)


def _add_bank_names(sheet: Sheet, names: Sequence[str], shapes: Sequence[shapely.Geometry], stack: Stack) -> None:
    for name, shape in zip(names, shapes):
        places = list(within(sheet.frame.box(shape), *text_size(name)))
        parts = _part_boxes(sheet, stack)
        box = first_free([(places, [*sheet.taken, *parts])], sheet.frame.panel)
        if box is not None:
            sheet.write(name, box, plate=True, colour=MIDDLE)


def _free_length(stack: Stack, sight: Sight, bank: Bank, side: str) -> float:
    """How far a bank's edge is from the next bank of the picture, to that side [m]; infinite where there is none."""
    left, bottom, right, top = bank.outline.bounds
    found = np.inf
    for number in sight.banks:
        other = stack.banks[number]
        if other is bank:
            continue
        a, b, c, d = other.outline.bounds
        gaps = {"left": left - c, "right": a - right, "lower": bottom - d, "upper": b - top}
        beside = (b < top and d > bottom) if side in ("left", "right") else (a < right and c > left)
        if beside and gaps[side] > -1e-9:
            found = min(found, gaps[side])
    return found


def _part_boxes(sheet: Sheet, stack: Stack) -> list:
    return [sheet.frame.box(source.outline) for source in stack.sources]


def _label(sheet: Sheet, stack: Stack, sight: Sight, lines: Sequence, scale: Scale) -> None:
    shapes = [source.outline for source in stack.sources] + [stack.banks[bank].outline for bank in sight.banks]
    shapes += [region.outline for bank in sight.banks for region in stack.banks[bank].regions]
    avoided = shapely.transform(shapely.union_all([shapely.boundary(shape) for shape in shapes]), sheet.frame.pixels)
    shapely.prepare(avoided)
    for own in lines:
        label_isolines(sheet, own, scale.step, avoided)
