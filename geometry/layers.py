"""Plates, components and their layers as bodies and joints of a draft, with their materials, interfaces and power maps."""

from collections.abc import Sequence
from dataclasses import replace

import shapely

from plancha.geometry import outline as shapes
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, FACES, Body, Joint, Patch, PowerLaw, Source
from plancha.geometry.chosen_materials import material_of
from plancha.geometry.draft import Draft, in_words, overlap, overlapping, span_of
from plancha.geometry.faults import StudyError
from plancha.geometry.interface_choice import chosen_impedance
from plancha.geometry.joint_fields import variation_of, varies
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import CasePoint, Interface, PatchTable
from plancha.geometry.power_map import PowerMap, total_power
from plancha.geometry.shapes import shape_of
from plancha.geometry.study import Component, Layer, Plate
from plancha.geometry.units import show

USUAL_IMPEDANCE = (0.5e-6, 1000e-6)  # m2 K/W
SAME_THICKNESS = 1e-9
LEAST_IMPEDANCE = 1e-10  # m2 K/W; less is perfect contact, and written so
MOST_POWER = 1e6  # W, of a map

Between = list[tuple[Layer, Path]]  # interface layers between two solids, from the chip outward


def lay_plates(draft: Draft) -> None:
    """Add every plate whose outline and material are good, then join those that lie on others."""
    laid = {}
    for number, plate in enumerate(draft.study.plate):
        path: Path = ("plate", number)
        outline, material = (
            _footprint(draft, plate, path),
            material_of(draft, plate.material, (*path, "material"), plate.thickness),
        )
        if outline is not None and material is not None:
            sheet = plate.model == "sheet"
            body = Body(plate.name, outline, plate.thickness, material, plate.turned, sheet)
            body = replace(body, patches=body_patches(draft, plate.patch, body, path))
            laid[number] = draft.lay(body, path)
    for number, body_number in laid.items():
        if draft.study.plate[number].on is not None:
            _lay_on(draft, draft.study.plate[number], body_number, ("plate", number))


def _lay_on(draft: Draft, plate: Plate, body: int, path: Path) -> None:
    under = draft.plate(plate.on, (*path, "on"))
    if under == body:
        draft.fault((*path, "on"), "a body cannot lie on itself", plate.on)
    elif under is not None:
        lower, upper = (under, body) if FACES[plate.face] == COOLED_SIDE else (body, under)
        _join(draft, lower, upper, plate.interface, f"{plate.on} to {plate.name}", (*path, "interface"))


def lay_joints(draft: Draft) -> None:
    """Add the joints of the study's own joint tables."""
    for number, table in enumerate(draft.study.joint):
        path: Path = ("joint", number)
        lower = draft.body(table.lower, (*path, "lower"), COOLED_SIDE)
        upper = draft.body(table.upper, (*path, "upper"), COMPONENT_SIDE)
        if lower is not None and lower == upper:
            draft.fault(path, "a body cannot be joined to itself", table.lower)
        elif lower is not None and upper is not None:
            _join(draft, lower, upper, table.interface, f"{table.lower} to {table.upper}", (*path, "interface"))


def lay_components(draft: Draft) -> None:
    """Add every component that is good in itself: its bodies, joints and source."""
    for number, component in enumerate(draft.study.component):
        _lay_component(draft, component, ("component", number))


def _lay_component(draft: Draft, component: Component, path: Path) -> None:
    outline = _footprint(draft, component, path)
    under = draft.plate(component.on, (*path, "on") if component.on else path)
    power_map, power = _power(draft, component, path)
    if outline is None:
        return
    chain, interfaces = _lay_layers(draft, component, outline, path)
    if chain is None or under is None:
        return
    joints = _stack_up(draft, [*chain, under], interfaces, FACES[component.face], path)
    source = Source(
        name=component.name,
        chain=(*chain, under),
        joints=tuple(joints),
        face=FACES[component.face],
        outline=outline,
        power=power,
        power_map=power_map,
        heat_depth=component.heat_depth or 0.0,
        limit=component.limit,
        case_point=_case_point(draft, component, chain, path),
        board_point=component.board_point or "",
        law=_power_law(component),
    )
    draft.sources.append(source)
    draft.source_paths.append(path)


def _power_law(component: Component) -> PowerLaw | None:
    """How a component's power follows its temperature; None where it does not."""
    leaking, resistive = component.leakage, component.resistive
    if leaking is None and resistive is None:
        return None
    parts: dict[str, float] = {}
    if leaking is not None:
        parts |= {"leakage": leaking.power, "leakage_at": leaking.at, "leakage_growth": leaking.growth}
    if resistive is not None:
        parts |= {"resistive": resistive.growth, "resistive_at": resistive.at}
    return PowerLaw(**parts)


def _case_point(draft: Draft, component: Component, chain: list[int], path: Path) -> tuple[float, float] | None:
    """Where the case temperature is taken: the place given, or the centre of the last layer; None where none is asked for."""
    spec, at = component.case_point, (*path, "case_point")
    if spec is None:
        return None
    if not chain:
        draft.fault(at, "the component has no layers, so it has no case", hint="leave case_point out, or give layers")
        return None
    body = draft.bodies[chain[-1]]
    point = body.outline.centroid if isinstance(spec, str) else shapely.Point(spec.at)
    if not body.outline.covers(point):
        hint = "" if isinstance(spec, CasePoint) else 'give a place: case_point = { at = ["... mm", "... mm"] }'
        draft.fault(
            at, f"the case point lies outside {body.name}", in_words(point.x, point.y), span_of(body.outline), hint
        )
    return point.x, point.y


def _footprint(draft: Draft, table: Plate | Component | Layer, path: Path) -> shapely.Polygon | None:
    try:
        shape = shape_of(table)
    except ValueError as error:
        draft.fault(path, str(error))
        return None
    return _less_cut_outs(draft, shape, table, path)


def _less_cut_outs(
    draft: Draft, shape: shapely.Polygon, table: Plate | Component | Layer, path: Path
) -> shapely.Polygon | None:
    holes = []
    for number, hole in enumerate(table.cut_outs):
        try:
            holes.append(shape_of(hole))
        except ValueError as error:
            draft.fault((*path, "cut_outs", number), str(error))
            return None
    try:
        return shapes.with_cut_outs(shape, holes) if holes else shape
    except ValueError as error:
        draft.fault((*path, "cut_outs"), str(error))
        return None


def interface_impedance(
    draft: Draft, spec: Interface | str | None, path: Path, area: float | None = None
) -> tuple[float, float]:
    """Impedance [m2 K/W] and bond line [m] of an interface; both 0 for perfect contact or after a fault.

    ``area`` [m2] is what a clamp's force presses on.
    """
    if not isinstance(spec, Interface):
        return 0.0, 0.0
    if spec.candidate is not None:
        return chosen_impedance(draft, spec, path, area)
    conductivity = spec.conductivity
    if spec.material is not None:
        material = material_of(draft, spec.material, (*path, "material"))
        if material is None:
            return 0.0, 0.0
        draft.materials[material.name] = material
        conductivity = conductivity or material.conductivity[2]
    gap = spec.bond_line or 0.0
    impedance = spec.impedance if spec.impedance is not None else gap / (conductivity or 1.0) + spec.contact
    _judge_impedance(draft, impedance, path)
    return impedance, gap


def _judge_impedance(draft: Draft, impedance: float, path: Path) -> None:
    low, high = USUAL_IMPEDANCE
    shown = show(impedance, "impedance")
    if 0 < impedance < LEAST_IMPEDANCE:
        hint = 'write impedance = "0 mm^2 K/W" for perfect contact'
        allowed = f"0, or {show(LEAST_IMPEDANCE, 'impedance')} and more"
        draft.fault(path, "the impedance is next to nothing", shown, allowed, hint)
    elif impedance > 1.0:
        draft.fault(path, "the impedance is absurdly large", shown, "1000000 mm^2 K/W at most")
    elif impedance and not low <= impedance <= high:
        draft.note(path, f"an impedance of {shown} is unusual; usual are {low * 1e6:g} to {high * 1e6:g} mm^2 K/W")


def _join(draft: Draft, lower: int, upper: int, spec: Interface | str | None, name: str, path: Path) -> None:
    area = overlap(draft.bodies[lower].outline, draft.bodies[upper].outline)
    impedance, gap = interface_impedance(draft, spec, path, area)
    joint = Joint(name, lower, upper, impedance, gap)
    _add_joint(draft, variation_of(draft, spec, _contact(draft, joint), impedance, path).of(joint), path)


def _contact(draft: Draft, joint: Joint) -> shapely.Geometry:
    """Where the two bodies of a joint overlap."""
    return draft.bodies[joint.lower].outline.intersection(draft.bodies[joint.upper].outline)


def _add_joint(draft: Draft, joint: Joint, path: Path) -> int:
    one, other = draft.bodies[joint.lower], draft.bodies[joint.upper]
    if not overlap(one.outline, other.outline):
        names = f"{one.name} and {other.name}"
        draft.fault(path, f"{names} do not touch: their outlines do not overlap", hint="check at, size and on")
    draft.joints.append(joint)
    draft.joint_paths.append(path)
    return len(draft.joints) - 1


def _lay_layers(
    draft: Draft, component: Component, outline: shapely.Polygon, path: Path
) -> tuple[list[int] | None, list[Between]]:
    """Bodies of the solid layers, and after each the interface layers that follow it; None where a layer is at fault."""
    chain: list[int] = []
    interfaces: list[Between] = []
    is_good = True
    for number, layer in enumerate(component.layers):
        at = (*path, "layers", number)
        if layer.is_interface():
            if number == 0:
                draft.fault(at, "the layers start with the chip, a solid", allowed="material + thickness")
                is_good = False
            elif interfaces:
                interfaces[-1].append((layer, at))
            continue
        shape = _footprint(draft, layer, at) if layer.has_shape() else _less_cut_outs(draft, outline, layer, at)
        body = _layer_body(draft, component, layer, shape, at)
        if body is None:
            is_good = False
        else:
            chain.append(draft.lay(body, at))
            interfaces.append([])
            outline = body.outline
    return (chain if is_good else None), interfaces


def _layer_body(
    draft: Draft, component: Component, layer: Layer, shape: shapely.Polygon | None, path: Path
) -> Body | None:
    material = material_of(draft, layer.material or "", (*path, "material"), layer.thickness)
    if material is None or shape is None or layer.thickness is None:
        return None
    name = _free_name(draft, f"{component.name}/{layer.name or material.name}")
    body = Body(name, shape, layer.thickness, material, layer.turned)
    return replace(body, patches=body_patches(draft, layer.patch, body, path))


def _free_name(draft: Draft, name: str) -> str:
    numbered = (f"{name} {number}" for number in range(2, len(draft.numbers) + 3))
    return next(each for each in (name, *numbered) if each not in draft.numbers)


def _stack_up(draft: Draft, chain: list[int], interfaces: list[Between], face: int, path: Path) -> list[int]:
    joints = []
    for inner, outer, between in zip(chain[:-1], chain[1:], interfaces):
        area = overlap(draft.bodies[inner].outline, draft.bodies[outer].outline) if between else None
        parts = [interface_impedance(draft, layer, at, area) for layer, at in between]
        lower, upper = (inner, outer) if face == COMPONENT_SIDE else (outer, inner)
        name = " + ".join(layer.name or "interface" for layer, _ in between) or "perfect contact"
        joint = Joint(name, lower, upper, sum(part[0] for part in parts), sum(part[1] for part in parts))
        joint = _varied(draft, joint, between)
        joints.append(_add_joint(draft, joint, between[0][1] if between else draft.body_paths[inner]))
    return joints


def _varied(draft: Draft, joint: Joint, between: Between) -> Joint:
    """The joint with the voids, patches and uneven bond line of its interface; only one interface may have them."""
    uneven = [(layer, at) for layer, at in between if varies(layer)]
    if not uneven:
        return joint
    layer, at = uneven[0]
    if len(between) > 1:
        hint = "put a thin solid between the two, or give one impedance for both"
        draft.fault(at, "an interface that differs from place to place must stand alone between two solids", hint=hint)
        return joint
    return variation_of(draft, layer, _contact(draft, joint), joint.impedance, at).of(joint)


def body_patches(draft: Draft, tables: Sequence[PatchTable], body: Body, path: Path) -> tuple[Patch, ...]:
    """The patches of a body, clipped to its outline; a fault for each that lies beside it or on another."""
    found: list[Patch] = []
    places: list[Path] = []
    for number, table in enumerate(tables):
        at = (*path, "patch", number)
        try:
            shape = shape_of(table).intersection(body.outline)
        except ValueError as error:
            draft.fault(at, str(error))
            continue
        thickness = body.thickness if table.thickness is None else table.thickness
        material = (
            body.material
            if table.material is None
            else material_of(draft, table.material, (*at, "material"), thickness)
        )
        if not overlap(shape, body.outline):
            draft.fault(at, f"the patch lies outside {body.name}", span_of(shape_of(table)), span_of(body.outline))
        elif material is not None:
            draft.materials[material.name] = material
            turned = body.turned if table.turned is None else table.turned
            parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
            found += [Patch(part, thickness, material, turned) for part in parts]
            places += [at] * len(parts)
            _note_step(draft, body, thickness, at)
    for one, other in overlapping([patch.outline for patch in found]):
        spot = found[one].outline.intersection(found[other].outline)
        draft.fault(places[other], f"two patches of {body.name} lie on one spot", span_of(spot))
    return tuple(found)


def _note_step(draft: Draft, body: Body, thickness: float, path: Path) -> None:
    if body.sheet or abs(thickness - body.thickness) <= SAME_THICKNESS * body.thickness:
        return
    draft.note(
        path,
        f"a step from {show(body.thickness, 'length')} to {show(thickness, 'length')}: heat that turns round its corner is "
        "neglected, so that a raised foot comes out a few per cent too cool; write a raised foot as a plate of its own in "
        "perfect contact",
    )


def _power(draft: Draft, component: Component, path: Path) -> tuple[PowerMap | None, float]:
    """The power map, if one is given and good, and the total [W]."""
    spec, stated = component.map, component.power or 0.0
    if spec is None:
        return None, stated
    at = (*path, "map")
    if component.size is None or component.cut_outs or component.corner_radius:
        draft.fault(
            at, "a power map needs a plain rectangular component", None, "at + size, no corner_radius, no cut_outs"
        )
        return None, stated
    try:
        power_map = draft.reading.power_map(
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
        draft.file_faults(at, error.faults)
        return None, stated
    if total_power(power_map) > MOST_POWER:
        draft.fault(
            at, "the map's total is absurdly large", f"{total_power(power_map):.4g} W", f"{MOST_POWER:g} W at most"
        )
    return power_map, total_power(power_map)
