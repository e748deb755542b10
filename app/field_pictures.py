"""Pictures of fields: temperatures of the whole plan and of the hottest component, spreading resistance of a body."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plancha.app.colours import COOL, WARM
from plancha.app.contours import fine_triangles
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.patch_marks import add_marks, marks_on_chip, marks_on_plan
from plancha.app.plan_drawing import Picture, Surface
from plancha.app.plan_marks import add_isolines, add_names, add_outline, add_plate_names, add_spot, label_isolines
from plancha.app.plan_page import Scale, Sheet, finished, frame_around, number_text, scale_of
from plancha.fem.components import ComponentState, spreading_field
from plancha.fem.findings import Findings
from plancha.fem.finned import fin_bodies
from plancha.fem.plan import maximum
from plancha.fem.planes import active_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import COMPONENT_SIDE, FACE_NAMES, Body, Stack, elevations

BARE = 1e-6  # of a foot: less of it beyond the plates is none
FEW_ELEMENTS = 5000  # up to which each triangle's side is drawn in four parts; beyond, in two


@dataclass(frozen=True)
class Face:
    """A part of a face that is drawn: elements, nodal values (plan nodes,), outline [m]."""

    elements: np.ndarray
    values: np.ndarray
    outline: shapely.Geometry


def plates_of(stack: Stack) -> list[int]:
    """Bodies that are neither a component's own layer nor stand for fins."""
    apart = {body for source in stack.sources for body in source.chain[:-1]} | fin_bodies(stack)
    return [body for body in range(len(stack.bodies)) if body not in apart]


def plates_as_drawn(stack: Stack) -> list[int]:
    """The plates in the order in which they are drawn, those at the component side over the others."""
    heights = elevations(stack)
    return sorted(plates_of(stack), key=lambda body: -heights[body])


@dataclass(frozen=True)
class Foot:
    """A body that stands for fins, its face towards the plate, and the part of it that no plate covers."""

    body: int
    face: int
    bare: shapely.Geometry


def feet_of(stack: Stack) -> list[Foot]:
    """The feet of all fins that stand or reach beyond the plates, as the plan shows them."""
    plates = shapely.union_all([stack.bodies[body].outline for body in plates_of(stack)])
    found = []
    for bank in stack.banks:
        for block in bank.blocks:
            bare = stack.bodies[block.body].outline.difference(plates)
            if block.is_foot and bare.area > BARE * stack.bodies[block.body].outline.area:
                found.append(Foot(block.body, 1 - bank.face, bare))
    return found


def drawn_faces(solution: Solution) -> list[Face]:
    """Temperatures [degC] of fins' feet, of plates' source faces from the cooled side down, of components' active faces."""
    sheets, stack = solution.sheets, solution.sheets.stack
    faces = []
    for foot in feet_of(stack):
        elements = sheets.slabs[foot.body].pattern.elements
        faces.append(
            Face(elements, solution.face(foot.body, foot.face) - ZERO_CELSIUS, stack.bodies[foot.body].outline)
        )
    for body in plates_as_drawn(stack):
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
    marked = add_marks(sheet, marks_on_plan(stack, plates_as_drawn(stack)))
    _add_outlines(sheet, stack)
    boxes = {source.name: sheet.frame.box(source.outline) for source in stack.sources}
    state = hottest(findings)
    if state is not None:
        value = f"{state.peak.value - ZERO_CELSIUS:.1f} °C"
        others = [box for name, box in boxes.items() if name != state.name]
        add_spot(sheet, "hot spot", state.peak.point, value, boxes[state.name], others)
    plates, feet = [stack.bodies[body] for body in plates_of(stack)], feet_of(stack)
    add_names(sheet, [source.name for source in stack.sources], [source.outline for source in stack.sources])
    if len(plates) + len(feet) > 1:
        names, outlines = _named_plates(stack, plates, feet)
        add_plate_names(sheet, names, outlines, list(boxes.values()))
    _label_faces(sheet, faces, lines, scale)
    listed = " and ".join([", ".join(plate.name for plate in plates[:-1]), plates[-1].name][len(plates) == 1 :])
    caption = [
        f"Of {listed} the source face, of components the active face{', of fins beyond the plates the foot' if feet else ''}, "
        "seen from the cooled side. "
        + _steps("isotherms", scale, "K")
        + ("" if state is None else f" Cross: hottest spot, in {state.name}.")
        + marked
    ]
    return finished(sheet, stack.title, f"Temperature – case: {case_name}", scale, caption)


def _named_plates(
    stack: Stack, plates: Sequence[Body], feet: Sequence[Foot]
) -> tuple[list[str], list[shapely.Geometry]]:
    """Names and shapes of the plates, and of each bank of fins what of it is seen beyond them."""
    bare = {
        bank.name: shapely.union_all([foot.bare for foot in feet if foot.body in {block.body for block in bank.blocks}])
        for bank in stack.banks
    }
    seen = {name: shape for name, shape in bare.items() if not shape.is_empty}
    return [*(plate.name for plate in plates), *seen], [*(plate.outline for plate in plates), *seen.values()]


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
    marked = add_marks(sheet, marks_on_chip(stack, source))
    add_outline(sheet, source.outline)
    add_spot(sheet, "hot spot", state.peak.point, f"{state.peak.value - ZERO_CELSIUS:.1f} °C", sheet.frame.panel, [])
    _label_faces(sheet, [face], lines, scale)
    caption = [
        f"Peak {state.peak.value - ZERO_CELSIUS:.1f} °C (cross), area mean {state.mean - ZERO_CELSIUS:.1f} °C, "
        f"power-weighted mean {state.power_mean - ZERO_CELSIUS:.1f} °C at {state.power:g} W; {_margin_text(state)}. "
        + _steps("isotherms", scale, "K")
        + marked
    ]
    subtitle = f"Temperature of {source.name}, active face – case: {case_name}"
    return finished(sheet, stack.title, subtitle, scale, caption)


def _margin_text(state: ComponentState) -> str:
    if state.limit is None or state.margin is None:
        return "no limit is set"
    return f"limit {state.limit - ZERO_CELSIUS:.1f} °C, margin {state.margin:.1f} K"


def has_spreading(findings: Findings) -> bool:
    """Whether there is a spreading resistance to draw: not where next to no heat goes through the footprint."""
    state = findings.limiting or hottest(findings)
    return any(state and each.component == state.name and np.isfinite(each.maximum) for each in findings.spreading)


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
