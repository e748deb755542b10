"""What a plan view shows of parts that differ from their surroundings: dashes around patches, dots around voids of joints."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely

from plancha.app.plan_marks import DASHES, DOTS, add_broken_line
from plancha.app.plan_page import Sheet
from plancha.geometry.bodies import Joint, Source, Stack

LEAST = 8.0  # px along its longer side, from which a void or patch is marked; smaller ones would be specks


@dataclass(frozen=True)
class Marks:
    """Lines [m] around patches and around voids."""

    patches: shapely.Geometry
    voids: shapely.Geometry


def marks_on_plan(stack: Stack, plates: Sequence[int]) -> Marks:
    """Patches of the plates, listed from the lowest to the topmost in the drawing, where nothing hides them, and of chips; voids."""
    hidden = shapely.union_all([source.outline for source in stack.sources])
    lines = [line for source in stack.sources for line in _inside(stack, source, source.chain[:1])]
    for plate in reversed(plates):
        body = stack.bodies[plate]
        lines += [patch.outline.boundary.difference(hidden) for patch in body.patches]
        hidden = hidden.union(body.outline)
    return _marks(lines, stack.joints)


def marks_on_chip(stack: Stack, source: Source) -> Marks:
    """Patches of all bodies from the chip to the one it sits on, as far as the chip reaches; voids of the joints between."""
    return _marks(_inside(stack, source, source.chain), [stack.joints[number] for number in source.joints])


def _inside(stack: Stack, source: Source, bodies: Iterable[int]) -> list[shapely.Geometry]:
    """Edges of bodies' patches inside a component."""
    patches = [patch.outline for body in bodies for patch in stack.bodies[body].patches]
    return [shapely.intersection(patch.boundary, source.outline) for patch in patches]


def _marks(lines: list[shapely.Geometry], joints: Iterable[Joint]) -> Marks:
    spots = [spot for joint in joints for spot in joint.patches]
    voids = [spot.outline.boundary for spot in spots if spot.conductance == 0]
    lines = lines + [spot.outline.boundary for spot in spots if spot.conductance > 0]
    # Each line once, also where two patches lie side by side.
    return Marks(shapely.union_all(lines), shapely.union_all(voids))


def add_marks(sheet: Sheet, marks: Marks) -> str:
    """Draw them; gives back what the caption says of them, empty where nothing is drawn."""
    words = []
    for lines, pattern, meaning in (
        (marks.patches, DASHES, "Dashed: edges of patches."),
        (marks.voids, DOTS, "Dotted: voids of joints."),
    ):
        joined = shapely.get_parts(shapely.line_merge(lines)) if not lines.is_empty else []
        large = [line for line in joined if _longer_side(line) * sheet.frame.scale >= LEAST]
        if any([add_broken_line(sheet, line, pattern) for line in large]):
            words.append(meaning)
    return "".join(f" {each}" for each in words)


def _longer_side(line: shapely.Geometry) -> float:
    left, bottom, right, top = line.bounds
    return max(right - left, top - bottom)
