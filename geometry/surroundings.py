"""What surrounds the bodies of a draft: films, held faces, ways to the board, rims, and the probes that look at them."""

import numpy as np
import shapely

from plancha.geometry.bodies import FACES, Film, Held, Probe, Rim, StandingFins, Unforced
from plancha.geometry.chosen_materials import material_of
from plancha.geometry.draft import Draft, in_words, overlap, span_of
from plancha.geometry.faults import StudyError
from plancha.geometry.fluids import STANDARD_PRESSURE, pressure_at_altitude
from plancha.geometry.grid import Grid
from plancha.geometry.key_lines import Path
from plancha.geometry.shapes import shape_of
from plancha.geometry.study import UPRIGHT, Cooling

USUAL_COEFFICIENT = (2.0, 50_000.0)  # W/m2/K
MOST_COEFFICIENT = 1e7  # W/m2/K


def lay_cooling(draft: Draft) -> None:
    """Add the films and held faces of the study's cooling tables, then the components' ways to the board."""
    for number, cooling in enumerate(draft.study.cooling):
        _lay_cooling(draft, cooling, ("cooling", number))
    _lay_boards(draft)


def _lay_cooling(draft: Draft, cooling: Cooling, path: Path) -> None:
    body = draft.body(cooling.on, (*path, "on") if cooling.on else path)
    area, is_good = _area(draft, cooling, body, path)
    if body is None or not is_good:
        return
    face = FACES[cooling.face]
    if cooling.held is not None:
        draft.helds.append(Held(cooling.name, body, face, cooling.held, area))
        draft.held_paths.append(path)
        return
    coefficient = (cooling.coefficient or 0.0) if cooling.map is None else _field(draft, cooling, body, area, path)
    if coefficient is None:
        return
    temperature = draft.study.ambient if cooling.coolant is None else cooling.coolant
    unforced = None
    if cooling.natural is not None or cooling.emissivity is not None:
        whole = draft.bodies[body].outline
        unforced = _unforced(draft, cooling, whole if area is None else area.intersection(whole), temperature, path)
        if unforced is None:
            return
    draft.films.append(Film(cooling.name, body, face, coefficient, temperature, area, unforced=unforced))
    draft.film_paths.append(path)
    if cooling.coefficient is not None or cooling.map is not None:
        _judge_coefficient(draft, coefficient, path)


def _unforced(
    draft: Draft, cooling: Cooling, outline: shapely.Geometry, temperature: float, path: Path
) -> Unforced | None:
    """How the face cools by itself; None where a material is at fault."""
    fins = None
    if cooling.natural == "standing fins" and cooling.fins is not None:
        table = cooling.fins
        material = material_of(draft, table.material, (*path, "fins", "material"))
        if material is None:
            return None
        fins = StandingFins(table.gap, table.thickness, table.height, float(material.conductivity[0]))
    elif cooling.fins is not None:
        text = "the fins lie level: no law for such fins is known here, so the face counts as a plate without them"
        draft.note((*path, "fins"), text)
    is_upright = cooling.natural in UPRIGHT and cooling.length is not None
    pressure = cooling.pressure
    if pressure is None:
        pressure = STANDARD_PRESSURE if cooling.altitude is None else pressure_at_altitude(cooling.altitude)
    return Unforced(
        natural=cooling.natural or "",
        length=cooling.length if is_upright and cooling.length else outline.area / outline.length,
        fins=fins,
        pressure=pressure,
        emissivity=cooling.emissivity or 0.0,
        surroundings=temperature if cooling.surroundings is None else cooling.surroundings,
    )


def _area(draft: Draft, cooling: Cooling, body: int | None, path: Path) -> tuple[shapely.Polygon | None, bool]:
    """The area of a cooling table, if it has one, and whether that is good."""
    if cooling.area is None:
        return None, True
    at = (*path, "area")
    try:
        area = shape_of(cooling.area)
    except ValueError as error:
        draft.fault(at, str(error))
        return None, False
    if body is None:
        return area, True
    whole = draft.bodies[body]
    if not overlap(area, whole.outline):
        draft.fault(at, f"the area lies outside {whole.name}", span_of(area), span_of(whole.outline))
        return None, False
    return area, True


def _field(draft: Draft, cooling: Cooling, body: int, area: shapely.Polygon | None, path: Path) -> Grid | None:
    spec = cooling.map
    assert spec is not None
    at = (*path, "map")
    try:
        values = draft.reading.grid(
            draft.folder / spec.file, unit=spec.unit, dimension="coefficient", shown_as=spec.file
        )
    except StudyError as error:
        draft.file_faults(at, error.faults)
        return None
    if not 0 < values.max() <= MOST_COEFFICIENT:
        allowed = f"above 0 and at most {MOST_COEFFICIENT:g} W/m^2/K"
        draft.fault(at, "the largest coefficient of the map is impossible", f"{values.max():g} W/m^2/K", allowed)
        return None
    return Grid((area if area is not None else draft.bodies[body].outline).bounds, values)


def _judge_coefficient(draft: Draft, coefficient: float | Grid, path: Path) -> None:
    values = coefficient.values if isinstance(coefficient, Grid) else np.array([coefficient])
    low, high = USUAL_COEFFICIENT
    if values.min() < low or values.max() > high:
        found = " to ".join(f"{value:.4g}" for value in dict.fromkeys((values.min(), values.max())))
        draft.note(path, f"a coefficient of {found} W/m^2/K is unusual; usual are {low:g} to {high:g} W/m^2/K")


def _lay_boards(draft: Draft) -> None:
    for source, path in zip(draft.sources, draft.source_paths):
        board = draft.study.component[int(path[1])].board
        if board is None:
            continue
        temperature = draft.study.ambient if board.ambient is None else board.ambient
        coefficient = 1.0 / (board.resistance * source.outline.area)
        name = f"{source.name} to board"
        draft.films.append(Film(name, source.chain[0], source.face, coefficient, temperature, source.outline, True))
        draft.film_paths.append((*path, "board"))


def lay_rims(draft: Draft) -> None:
    """Add the rims that convect or are held."""
    for number, edge in enumerate(draft.study.edge):
        path: Path = ("edge", number)
        body = draft.body(edge.on, (*path, "on") if edge.on else path)
        if body is None:
            continue
        temperatures = (edge.held, edge.coolant, draft.study.ambient)
        temperature = next(value for value in temperatures if value is not None)
        draft.rims.append(Rim(edge.name, body, edge.side, edge.coefficient, temperature))
        draft.rim_paths.append(path)
        if edge.coefficient is not None:
            _judge_coefficient(draft, edge.coefficient, path)


def lay_probes(draft: Draft) -> None:
    """Add the probes; each must lie on its body."""
    for number, probe in enumerate(draft.study.probe):
        path: Path = ("probe", number)
        body = draft.body(probe.on, (*path, "on") if probe.on else path)
        if body is None:
            continue
        outline = draft.bodies[body].outline
        if not outline.covers(shapely.Point(probe.at)):
            name = draft.bodies[body].name
            draft.fault((*path, "at"), f"the probe lies outside {name}", in_words(*probe.at), span_of(outline))
        draft.probes.append(Probe(probe.name, body, FACES[probe.face], probe.at))
    _check_board_points(draft)


def _check_board_points(draft: Draft) -> None:
    names = [probe.name for probe in draft.study.probe]
    for number, component in enumerate(draft.study.component):
        name = component.board_point
        if name is not None and name not in names and name not in (draft.missing or {}):
            draft.fault(("component", number, "board_point"), "no probe has this name", name, ", ".join(names[:20]))


def straight_side(outline: shapely.Polygon, side: str) -> float:
    """Length [m] of an outline's straight edge at its outermost left, right, lower or upper end."""
    axis, end = {"left": (0, 0), "right": (0, 2), "lower": (1, 1), "upper": (1, 3)}[side]
    bound = outline.bounds[end]
    near = 1e-6 * float(np.ptp(np.asarray(outline.bounds).reshape(2, 2), axis=0).max())
    corners = shapely.get_coordinates(outline.exterior)
    at_bound = np.abs(corners[:, axis] - bound) < near
    steps = np.linalg.norm(np.diff(corners, axis=0), axis=1)
    return float(steps[at_bound[1:] & at_bound[:-1]].sum())
