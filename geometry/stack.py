"""From a study to its stack: names resolved, maps read, and everything that does not fit together found."""

import difflib
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from plancha.geometry import outline as shapes
from plancha.geometry.bodies import (
    COMPONENT_SIDE,
    COOLED_SIDE,
    FACES,
    Body,
    Film,
    Grid,
    Held,
    Joint,
    Probe,
    Rim,
    Source,
    Stack,
    groups,
)
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.materials import Material, UnknownMaterial, find_material
from plancha.geometry.power_map import PowerMap, total_power
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.study import Component, Cooling, InlineMaterial, Interface, Layer, Outline, Plate, Study

USUAL_IMPEDANCE = (0.5e-6, 1000e-6)
USUAL_CONDUCTIVITY = (0.02, 2500.0)
USUAL_COEFFICIENT = (2.0, 50_000.0)
SLIVER = 1e-9  # share of the smaller outline below which two outlines do not overlap


@dataclass
class _Draft:
    """What has been laid so far, and every fault and note met on the way."""

    folder: Path
    bodies: list[Body] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(self, place: str, message: str, value: object = None, allowed: str = "", hint: str = "") -> None:
        self.faults.append(Fault(place, message, value, allowed, hint))

    def find(self, name: str | None, place: str) -> int | None:
        """Number of the body called so; of the only plate where no name is given; a component's name is its chip."""
        names = [body.name for body in self.bodies]
        if name is None:
            plates = [number for number, each in enumerate(names) if "/" not in each]
            if len(plates) == 1:
                return plates[0]
            self.fault(place, "there are several plates: say which", allowed=", ".join(names[i] for i in plates))
            return None
        for number, each in enumerate(names):
            if each == name or each.startswith(name + "/"):
                return number
        near = difflib.get_close_matches(name, names, 1)
        self.fault(place, "no body has this name", name, ", ".join(names), f'did you mean "{near[0]}"?' if near else "")
        return None


def stack_of(study: Study, folder: Path) -> Stack:
    """The bodies, joints, films and sources that a study describes; its CSV files are read from ``folder``.

    Raises
    ------
    StudyError
        With everything that does not fit together: unknown names and materials, bodies that do not touch, outlines across
        cut-outs, two components on one spot, parts that nothing cools, unreadable maps.
    """
    draft = _Draft(folder)
    _check_names(draft, study)
    for number, plate in enumerate(study.plate):
        _lay_plate(draft, plate, f"plate.{number}")
    _join_plates(draft, study)
    sources = [_lay_component(draft, component, f"component.{n}") for n, component in enumerate(study.component)]
    _join_tables(draft, study)
    films, helds = _cooling(draft, study)
    films += _boards(study, sources)
    rims = _rims(draft, study)
    probes = _probes(draft, study)
    if not draft.faults:
        _check_contacts(draft)
    reference, reference_name = _reference(study)
    stack = Stack(
        title=study.title,
        ambient=study.ambient,
        reference=reference,
        reference_name=reference_name,
        bodies=tuple(draft.bodies),
        joints=tuple(draft.joints),
        films=tuple(films),
        helds=tuple(helds),
        rims=tuple(rims),
        sources=tuple(source for source in sources if source is not None),
        probes=tuple(probes),
        scaled=_scaled(draft, study),
        mesh_size=study.mesh_size,
        notes=tuple(draft.notes),
    )
    if not draft.faults:
        draft.faults += _loose_parts(stack)
    if draft.faults:
        raise StudyError(draft.faults)
    return stack


def _reference(study: Study) -> tuple[float, str]:
    for cooling in study.cooling:
        if cooling.coolant is not None:
            return cooling.coolant, f"coolant of {cooling.name}"
    return study.ambient, "ambient"


def _check_names(draft: _Draft, study: Study) -> None:
    seen: dict[str, str] = {}
    for kind in ("plate", "component", "cooling", "edge", "probe"):
        for number, item in enumerate(getattr(study, kind)):
            place = f"{kind}.{number}.name"
            if item.name in seen:
                draft.fault(place, f"the name is taken by a {seen[item.name]}", item.name, "a name of its own")
            elif not item.name.strip() or "/" in item.name or "." in item.name:
                draft.fault(place, "a name cannot be empty or hold / or .", item.name)
            seen[item.name] = kind


def _scaled(draft: _Draft, study: Study) -> tuple[str, ...]:
    names = [component.name for component in study.component]
    if study.sustainable == "all":
        return tuple(names)
    wanted = (study.sustainable,) if isinstance(study.sustainable, str) else study.sustainable
    for name in wanted:
        if name not in names:
            draft.fault("sustainable", "no component has this name", name, "all, " + ", ".join(names))
    return tuple(wanted)


def shape_of(outline: Outline) -> shapely.Polygon:
    """The polygon that an outline table draws [m].

    Raises
    ------
    ValueError
        If the outline crosses itself or encloses nothing.
    """
    if outline.size is not None:
        x, y = outline.at or (0.0, 0.0)
        return shapes.rounded_rectangle(x, y, *outline.size, outline.corner_radius or 0.0)
    if outline.diameter is not None and outline.center is not None:
        return shapes.circle(*outline.center, outline.diameter)
    return shapes.polygon(list(outline.points or ()))


def _footprint(draft: _Draft, table: Plate | Component | Layer, place: str) -> shapely.Polygon | None:
    try:
        return shapes.with_cut_outs(shape_of(table), [shape_of(hole) for hole in table.cut_outs])
    except ValueError as error:
        draft.fault(place, str(error))
        return None


def _material(draft: _Draft, spec: str | InlineMaterial, place: str) -> Material | None:
    if isinstance(spec, InlineMaterial):
        material = _inline(spec)
    else:
        try:
            material = find_material(spec)
        except UnknownMaterial as error:
            draft.fault(place, error.message, spec, error.allowed, error.hint)
            return None
    low, high = USUAL_CONDUCTIVITY
    if not all(low <= k <= high for k in material.conductivity):
        draft.notes.append(f"{place}: conductivity {material.conductivity} W/m/K is unusual ({low}-{high:g})")
    return material


def _inline(spec: InlineMaterial) -> Material:
    across = spec.conductivity_through or spec.conductivity
    along = spec.conductivity_in_plane or spec.conductivity
    k = (spec.conductivity_x or along, spec.conductivity_y or along, across)
    return Material(
        name=spec.name,
        conductivity=tuple(float(value) for value in k if value is not None),  # type: ignore[arg-type]
        exponent=spec.exponent,
        temperature_reference=spec.temperature_reference,
        density=spec.density if spec.density is not None else math.nan,
    )


def _lay_plate(draft: _Draft, plate: Plate, place: str) -> None:
    outline = _footprint(draft, plate, place)
    material = _material(draft, plate.material, f"{place}.material")
    if outline is not None and material is not None:
        sheet = plate.model == "sheet"
        draft.bodies.append(Body(plate.name, outline, plate.thickness, material, plate.turned, sheet))


def interface_impedance(draft: _Draft, spec: Interface | str | None, place: str) -> tuple[float, float]:
    """Impedance [m2 K/W] and bond line [m] of an interface."""
    if not isinstance(spec, Interface):
        return 0.0, 0.0
    if spec.impedance is not None:
        impedance, gap = spec.impedance, 0.0
    else:
        k = spec.conductivity
        if k is None and spec.material is not None:
            material = _material(draft, spec.material, f"{place}.material")
            k = material.conductivity[2] if material else 1.0
        gap = spec.bond_line or 0.0
        impedance = gap / (k or 1.0) + spec.contact
    low, high = USUAL_IMPEDANCE
    if impedance and not low <= impedance <= high:
        draft.notes.append(f"{place}: impedance {impedance * 1e6:.4g} mm^2 K/W is unusual ({low * 1e6}-{high * 1e6:g})")
    return impedance, gap


def _join(draft: _Draft, lower: int, upper: int, spec: Interface | str | None, name: str, place: str) -> int:
    impedance, gap = interface_impedance(draft, spec, place)
    draft.joints.append(Joint(name, lower, upper, impedance, gap))
    if _overlap(draft.bodies[lower].outline, draft.bodies[upper].outline) == 0:
        names = f"{draft.bodies[lower].name} and {draft.bodies[upper].name}"
        draft.fault(place, f"{names} do not touch: their outlines do not overlap", hint="check at, size and on")
    return len(draft.joints) - 1


def _overlap(one: shapely.Polygon, other: shapely.Polygon) -> float:
    area = one.intersection(other).area
    return area if area > SLIVER * min(one.area, other.area) else 0.0


def _join_plates(draft: _Draft, study: Study) -> None:
    names = [body.name for body in draft.bodies]
    for number, plate in enumerate(study.plate):
        if plate.on is None or plate.name not in names:
            continue
        place = f"plate.{number}.on"
        under, body = draft.find(plate.on, place), names.index(plate.name)
        if under == body:
            draft.fault(place, "a body cannot lie on itself", plate.on)
        elif under is not None:
            lower, upper = (under, body) if FACES[plate.face] == COOLED_SIDE else (body, under)
            _join(draft, lower, upper, plate.interface, f"{plate.on} to {plate.name}", f"plate.{number}.interface")


def _join_tables(draft: _Draft, study: Study) -> None:
    for number, table in enumerate(study.joint):
        place = f"joint.{number}"
        lower, upper = draft.find(table.lower, f"{place}.lower"), draft.find(table.upper, f"{place}.upper")
        if lower is not None and lower == upper:
            draft.fault(place, "a body cannot be joined to itself", table.lower)
        elif lower is not None and upper is not None:
            _join(draft, lower, upper, table.interface, f"{table.lower} to {table.upper}", f"{place}.interface")


def _lay_component(draft: _Draft, component: Component, place: str) -> Source | None:
    outline = _footprint(draft, component, place)
    under = draft.find(component.on, f"{place}.on")
    power_map, power = _power(draft, component, outline, place)
    if outline is None or under is None:
        return None
    chain, interfaces = _lay_layers(draft, component, outline, place)
    if chain is None:
        return None
    face = FACES[component.face]
    joints = _stack_up(draft, [*chain, under], interfaces, face, place)
    _check_seat(
        draft, draft.bodies[chain[-1]].outline if chain else outline, draft.bodies[under], component.name, place
    )
    if component.heat_depth and component.heat_depth > draft.bodies[[*chain, under][0]].thickness:
        draft.fault(f"{place}.heat_depth", "the heat reaches deeper than the body is thick")
    return Source(
        name=component.name,
        chain=(*chain, under),
        joints=tuple(joints),
        face=face,
        outline=outline,
        power=power,
        power_map=power_map,
        heat_depth=component.heat_depth or 0.0,
        limit=component.limit,
    )


def _lay_layers(
    draft: _Draft, component: Component, outline: shapely.Polygon, place: str
) -> tuple[list[int] | None, list[list[tuple[Layer, str]]]]:
    """Bodies of the solid layers, and after each the interface layers that follow it; None where a layer is at fault."""
    chain: list[int] = []
    interfaces: list[list[tuple[Layer, str]]] = []
    whole = True
    for number, layer in enumerate(component.layers):
        at = f"{place}.layers.{number}"
        if layer.is_interface():
            if not chain and whole:
                draft.fault(at, "the layers start with the chip, a solid", allowed="material + thickness")
                whole = False
            elif interfaces:
                interfaces[-1].append((layer, at))
            continue
        material = _material(draft, layer.material or "", f"{at}.material")
        shape = _footprint(draft, layer, at) if layer.has_shape() else outline
        if material is None or shape is None or layer.thickness is None:
            whole = False
            continue
        name = _free_name(draft, f"{component.name}/{layer.name or material.name}")
        draft.bodies.append(Body(name, shape, layer.thickness, material, layer.turned))
        chain.append(len(draft.bodies) - 1)
        interfaces.append([])
        outline = shape
    return (chain if whole else None), interfaces


def _free_name(draft: _Draft, name: str) -> str:
    taken = {body.name for body in draft.bodies}
    return next(each for each in (name, *(f"{name} {n}" for n in range(2, 1000))) if each not in taken)


def _stack_up(
    draft: _Draft, chain: list[int], interfaces: list[list[tuple[Layer, str]]], face: int, place: str
) -> list[int]:
    joints = []
    for inner, outer, between in zip(chain[:-1], chain[1:], interfaces):
        parts = [interface_impedance(draft, layer, at) for layer, at in between]
        lower, upper = (inner, outer) if face == COMPONENT_SIDE else (outer, inner)
        name = " + ".join(layer.name or "interface" for layer, _ in between) or "perfect contact"
        at = between[0][1] if between else place
        joint = _join(draft, lower, upper, None, name, at)
        draft.joints[joint] = Joint(name, lower, upper, sum(p[0] for p in parts), sum(p[1] for p in parts))
        joints.append(joint)
    return joints


def _check_seat(draft: _Draft, seat: shapely.Polygon, under: Body, name: str, place: str) -> None:
    holes = [shapely.Polygon(ring) for ring in under.outline.interiors]
    if any(_overlap(seat, hole) for hole in holes):
        draft.fault(place, f"{name} lies across a cut-out of {under.name}", hint="move the component or the cut-out")
    elif not _overlap(seat, under.outline):
        draft.fault(place, f"{name} does not touch {under.name}", hint="check at and size")
    elif seat.difference(under.outline).area > 1e-6 * seat.area:
        share = seat.difference(under.outline).area / seat.area
        draft.notes.append(f"{name} reaches beyond {under.name}: {100 * share:.1f} % of its seat hangs free")


def _power(
    draft: _Draft, component: Component, outline: shapely.Polygon | None, place: str
) -> tuple[PowerMap | None, float]:
    if component.map is None:
        return None, component.power or 0.0
    if component.size is None or component.cut_outs or component.corner_radius:
        draft.fault(f"{place}.map", "a power map needs a plain rectangular component", allowed="at + size, no cut-outs")
        return None, component.power or 0.0
    spec = component.map
    try:
        power_map = read_power_map(
            draft.folder / spec.file,
            shown_as=spec.file,
            width=component.size[0],
            height=component.size[1],
            power=component.power,
            unit=spec.unit,
            seen_from=spec.seen_from,
            quarter_turns=spec.quarter_turns,
            mirror=spec.mirror,
            scale=spec.scale,
        )
    except StudyError as error:
        draft.faults += error.faults
        return None, component.power or 0.0
    return power_map, total_power(power_map)


def _face_target(draft: _Draft, cooling: Cooling, place: str) -> tuple[int, shapely.Polygon | None] | None:
    body = draft.find(cooling.on, f"{place}.on")
    if body is None:
        return None
    if cooling.area is None:
        return body, None
    try:
        area = shape_of(cooling.area)
    except ValueError as error:
        draft.fault(f"{place}.area", str(error))
        return None
    if not _overlap(area, draft.bodies[body].outline):
        draft.fault(f"{place}.area", f"the area lies outside {draft.bodies[body].name}")
    return body, area


def _cooling(draft: _Draft, study: Study) -> tuple[list[Film], list[Held]]:
    films: list[Film] = []
    helds: list[Held] = []
    for number, cooling in enumerate(study.cooling):
        place = f"cooling.{number}"
        target = _face_target(draft, cooling, place)
        if target is None:
            continue
        body, area = target
        temperature = study.ambient if cooling.coolant is None else cooling.coolant
        face = FACES[cooling.face]
        if cooling.held is not None:
            helds.append(Held(cooling.name, body, face, cooling.held, area))
            continue
        coefficient = cooling.coefficient if cooling.map is None else _field(draft, cooling, body, area)
        if coefficient is not None:
            films.append(Film(cooling.name, body, face, coefficient, temperature, area))
            _note_coefficient(draft, coefficient, place)
    _refuse_double_cooling(draft, [*films, *helds])
    return films, helds


def _field(draft: _Draft, cooling: Cooling, body: int, area: shapely.Polygon | None) -> Grid | None:
    spec = cooling.map
    assert spec is not None
    try:
        values = read_grid(draft.folder / spec.file, unit=spec.unit, dimension="coefficient", shown_as=spec.file)
    except StudyError as error:
        draft.faults += error.faults
        return None
    return Grid((area if area is not None else draft.bodies[body].outline).bounds, values)


def _note_coefficient(draft: _Draft, coefficient: float | Grid, place: str) -> None:
    values = coefficient.values if isinstance(coefficient, Grid) else np.array([coefficient])
    low, high = USUAL_COEFFICIENT
    if values.min() < low or values.max() > high:
        draft.notes.append(
            f"{place}: coefficient {values.min():.4g}-{values.max():.4g} W/m^2/K is unusual ({low:g}-{high:g})"
        )


def _refuse_double_cooling(draft: _Draft, coolings: list[Film | Held]) -> None:
    for number, one in enumerate(coolings):
        for other in coolings[:number]:
            if (one.body, one.face) != (other.body, other.face):
                continue
            whole = draft.bodies[one.body].outline
            if _overlap(one.area or whole, other.area or whole):
                draft.fault(
                    "cooling", f'"{other.name}" and "{one.name}" cool the same spot', hint="give each its own area"
                )


def _boards(study: Study, sources: list[Source | None]) -> list[Film]:
    films = []
    for component, source in zip(study.component, sources):
        if component.board is None or source is None:
            continue
        temperature = study.ambient if component.board.ambient is None else component.board.ambient
        coefficient = 1.0 / (component.board.resistance * source.outline.area)
        films.append(
            Film(
                f"{source.name} to board", source.chain[0], source.face, coefficient, temperature, source.outline, True
            )
        )
    return films


def _rims(draft: _Draft, study: Study) -> list[Rim]:
    rims = []
    for number, edge in enumerate(study.edge):
        body = draft.find(edge.on, f"edge.{number}.on")
        if body is None:
            continue
        temperature = edge.held if edge.held is not None else edge.coolant
        rims.append(
            Rim(edge.name, body, edge.side, edge.coefficient, study.ambient if temperature is None else temperature)
        )
    return rims


def _probes(draft: _Draft, study: Study) -> list[Probe]:
    probes = []
    for number, probe in enumerate(study.probe):
        body = draft.find(probe.on, f"probe.{number}.on")
        if body is None:
            continue
        if not draft.bodies[body].outline.covers(shapely.Point(probe.at)):
            draft.fault(f"probe.{number}.at", f"the probe lies outside {draft.bodies[body].name}", _in_mm(probe.at))
        probes.append(Probe(probe.name, body, FACES[probe.face], probe.at))
    return probes


def _in_mm(values: Iterable[float]) -> str:
    return "(" + ", ".join(f"{value * 1e3:g}" for value in values) + ") mm"


def _check_contacts(draft: _Draft) -> None:
    """Two bodies against the same face of a third cannot share a spot."""
    for face_of, body_of in ((lambda j: j.lower, lambda j: j.upper), (lambda j: j.upper, lambda j: j.lower)):
        for number, one in enumerate(draft.joints):
            for other in draft.joints[:number]:
                a, b = draft.bodies[body_of(one)], draft.bodies[body_of(other)]
                if face_of(one) == face_of(other) and _overlap(a.outline, b.outline):
                    on = draft.bodies[face_of(one)].name
                    spot = _in_mm(a.outline.intersection(b.outline).bounds)
                    draft.fault(a.name, f"{a.name} and {b.name} lie on one spot of {on}", spot, hint="move one of them")


def _loose_parts(stack: Stack) -> list[Fault]:
    cooled = {item.body for item in (*stack.films, *stack.helds, *stack.rims)}
    faults = []
    for group in groups(stack):
        if not group & cooled:
            names = ", ".join(stack.bodies[number].name for number in sorted(group))
            faults.append(
                Fault(
                    "cooling",
                    "nothing cools this part",
                    names,
                    "a film, a held face or edge, or a joint to a body that has one",
                    "add [cooling], or on = ... with an interface",
                )
            )
    return faults
