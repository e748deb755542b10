"""What does not fit together in a laid draft: spots taken twice, heat beside the body, impossible heights, parts nothing cools."""

from collections import defaultdict

import numpy as np
import shapely

from plancha.geometry.bodies import (
    COMPONENT_SIDE,
    COOLED_SIDE,
    FACE_NAMES,
    Body,
    Film,
    Held,
    Rim,
    Stack,
    groups,
)
from plancha.geometry.draft import Draft, overlap, overlapping, span_of
from plancha.geometry.faults import Fault
from plancha.geometry.key_lines import Path
from plancha.geometry.surroundings import straight_side
from plancha.geometry.units import show

HANGS_FREE = 1e-6  # share of a seat or source beyond its body that counts as rounding
SMALLEST = 1e-4  # an outline's shorter side over the plan's longer one; the mesh tells no smaller ones apart
GAP_ROUNDING = 1e-6  # m; heights that differ by less agree
GAP_ERROR = 1e-4  # m; known heights that differ by more cannot be built
BARE = 1e-6  # share of a spot that must be bare for it to cool
MOST_TRIANGLES = 2e6  # that a stated mesh size may ask for

Spot = tuple[str, shapely.Polygon, Path]


def check_contacts(draft: Draft) -> None:
    """Find everything that does not fit together, whatever has been laid."""
    _check_seats(draft)
    _check_heat(draft)
    _check_sizes(draft)
    repeated = _check_repeated_joints(draft)
    _check_shared_spots(draft, repeated)
    if _check_order(draft) and draft.missing is None:
        _check_heights(draft)
    _check_cooled_spots(draft)
    _check_rims(draft)


def _check_seats(draft: Draft) -> None:
    """Components on cut-outs, beside their plate, or hanging free."""
    for source, path in zip(draft.sources, draft.source_paths):
        under = draft.bodies[source.chain[-1]]
        has_layers = len(source.chain) > 1
        seat = draft.bodies[source.chain[-2]].outline if has_layers else source.outline
        holes = [shapely.Polygon(ring) for ring in under.outline.interiors]
        crossed = [hole for hole in holes if overlap(seat, hole)]
        if crossed:
            hint = "move the component or the cut-out"
            draft.fault(path, f"{source.name} lies across a cut-out of {under.name}", span_of(crossed[0]), hint=hint)
        elif has_layers:
            share = seat.difference(under.outline).area / seat.area
            if HANGS_FREE < share < 1:
                draft.note(path, f"{100 * share:.3g} % of its seat hangs free, beyond {under.name}")


def _check_heat(draft: Draft) -> None:
    """Heat beside or below the body that takes it."""
    for source, path in zip(draft.sources, draft.source_paths):
        first = draft.bodies[source.chain[0]]
        beyond = source.outline.difference(first.outline).area / source.outline.area
        crosses = any(overlap(source.outline, shapely.Polygon(ring)) for ring in first.outline.interiors)
        if beyond > HANGS_FREE and not (crosses and len(source.chain) == 1):
            message = f"{100 * beyond:.3g} % of the heat of {source.name} lies beyond {first.name}"
            draft.fault(path, message, span_of(source.outline), span_of(first.outline), "check at and size")
        if source.heat_depth > first.thickness and draft.missing is None:
            draft.fault(
                (*path, "heat_depth"),
                f"the heat reaches deeper than {first.name} is thick",
                show(source.heat_depth, "length"),
                f"at most {show(first.thickness, 'length')}",
            )


def _check_sizes(draft: Draft) -> None:
    """Outlines that are nothing beside the whole plan, and meshes that no computer holds."""
    if not draft.bodies:
        return
    bounds = shapely.total_bounds([body.outline for body in draft.bodies])
    extent = float(max(bounds[2:] - bounds[:2]))
    shapes = [(source.outline, path) for source, path in zip(draft.sources, draft.source_paths)]
    shapes += [(body.outline, path) for body, path in zip(draft.bodies, draft.body_paths)]
    shapes += [(place.area, path) for place, path in _cooled(draft) if place.area is not None]
    seen = set()
    for shape, path in shapes:
        left, bottom, right, top = shape.bounds
        side = min(right - left, top - bottom)
        if side < SMALLEST * extent and path[:2] not in seen:
            seen.add(path[:2])
            allowed = (
                f"at least {show(float(f'{SMALLEST * extent:.3g}'), 'length')} in a plan of {show(extent, 'length')}"
            )
            draft.fault(path, "the outline is too small beside the whole plan", show(side, "length"), allowed)
    _check_mesh_size(draft)


def _check_mesh_size(draft: Draft) -> None:
    size = draft.study.mesh_size
    if size is None:
        return
    area = shapely.union_all([body.outline for body in draft.bodies]).area
    count = area / (np.sqrt(3) / 4 * size**2)
    if count > MOST_TRIANGLES:
        least = show(float(f"{size * np.sqrt(count / MOST_TRIANGLES):.2g}"), "length")
        found = f"{show(size, 'length')}, about {count:.2g} triangles"
        draft.fault(("mesh_size",), "the mesh would be too large", found, f"about {least} or more")


def _check_repeated_joints(draft: Draft) -> set[int]:
    """Numbers of the joints between faces that are joined already."""
    first: dict[tuple[int, int], int] = {}
    repeated = set()
    for number, joint in enumerate(draft.joints):
        ends = joint.lower, joint.upper
        if ends in first:
            names = " and ".join(draft.bodies[end].name for end in ends)
            hint = "two interfaces in a row are two layers"
            draft.fault(draft.joint_paths[number], f"{names} are joined already, on the same faces", hint=hint)
            repeated.add(number)
        first.setdefault(ends, number)
    return repeated


def _check_shared_spots(draft: Draft, repeated: set[int]) -> None:
    """Two bodies, or heat and a body, against the same spot of a face."""
    on_face: dict[tuple[int, int], list[Spot]] = defaultdict(list)
    for number, joint in enumerate(draft.joints):
        for body, face, other in (joint.lower, COOLED_SIDE, joint.upper), (joint.upper, COMPONENT_SIDE, joint.lower):
            if number not in repeated:
                against = draft.bodies[other]
                on_face[body, face].append((against.name, against.outline, _later(draft, number, other)))
    for source, path in zip(draft.sources, draft.source_paths):
        if len(source.chain) == 1:
            on_face[source.chain[0], source.face].append((f"the heat of {source.name}", source.outline, path))
    for place, spot in _feet_of_films(draft):
        on_face[place].append(spot)
    for (body, face), spots in on_face.items():
        for one, other in overlapping([outline for _, outline, _ in spots]):
            (first, a, _), (second, b, path) = spots[one], spots[other]
            where = f"{draft.bodies[body].name}, {FACE_NAMES[face]}"
            message = f"{second} and {first} lie on one spot of {where}"
            draft.fault(path, message, span_of(a.intersection(b)), hint="move one of them")


def _feet_of_films(draft: Draft) -> list[tuple[tuple[int, int], Spot]]:
    """Where fins stand that are described as a film, and so have no body: body and face, and the spot."""
    banks = [(bank, path) for bank, path in zip(draft.banks, draft.bank_paths) if bank.is_film]
    feet = [(bank, bank.outline.intersection(draft.bodies[bank.base].outline), path) for bank, path in banks]
    return [((bank.base, bank.face), (bank.name, foot, path)) for bank, foot, path in feet]


def _later(draft: Draft, joint: int, other: int) -> Path:
    """Where the study says that a body lies here: at the joint of its own, else at the body."""
    path = draft.joint_paths[joint]
    return path if path[0] == "joint" else draft.body_paths[other][:2]


def _check_order(draft: Draft) -> bool:
    """Whether no body lies above itself; a fault for each joint that makes one do so."""
    above: dict[int, set[int]] = defaultdict(set)
    good = True
    for number, joint in enumerate(draft.joints):
        if _reaches(above, joint.upper, joint.lower):
            lower, upper = draft.bodies[joint.lower].name, draft.bodies[joint.upper].name
            message = f"{upper} would lie above {lower} and below it"
            hint = "lower is the body whose cooled side touches, upper the one whose component side does"
            draft.fault(draft.joint_paths[number], message, hint=hint)
            good = False
        else:
            above[joint.lower].add(joint.upper)
    return good


def _reaches(above: dict[int, set[int]], start: int, goal: int) -> bool:
    seen, waiting = {start}, [start]
    while waiting:
        here = waiting.pop()
        if here == goal:
            return True
        waiting += above.get(here, set()) - seen
        seen |= above.get(here, set())
    return False


def _check_heights(draft: Draft) -> None:
    """Ways from one body to another that differ in height: impossible where all gaps are known, else a note."""
    known = [n for n, joint in enumerate(draft.joints) if joint.gap > 0 or joint.impedance == 0]
    told = _mismatches(draft, known)
    for number, mismatch in told.items():
        shown = show(float(f"{mismatch:.3g}"), "length")
        if mismatch > GAP_ERROR:
            message = "the heights of the bodies do not agree: two ways between them differ"
            hint = "change a thickness, or give an impedance in place of a bond line"
            draft.fault(draft.joint_paths[number], message, shown, f"{show(GAP_ERROR, 'length')} at most", hint)
        else:
            draft.note(draft.joint_paths[number], f"two ways between these bodies differ in height by {shown}")
    if not told:
        for number, mismatch in _mismatches(draft, list(range(len(draft.joints)))).items():
            shown = show(float(f"{mismatch:.3g}"), "length")
            text = f"two ways between these bodies differ in height by {shown}, which a joint of unknown thickness takes up"
            draft.note(draft.joint_paths[number], text)


def _mismatches(draft: Draft, numbers: list[int]) -> dict[int, float]:
    """Joints, of those numbered, that close a loop of other height, and by how much [m]."""
    height = np.zeros(len(draft.bodies))
    group = np.arange(len(draft.bodies))
    found = {}
    for number in numbers:
        joint = draft.joints[number]
        due = height[joint.lower] + draft.bodies[joint.lower].thickness + joint.gap
        shift = due - height[joint.upper]
        if group[joint.lower] != group[joint.upper]:
            moved = group == group[joint.upper]
            height[moved] += shift
            group[moved] = group[joint.lower]
        elif abs(shift) > GAP_ROUNDING:
            found[number] = abs(float(shift))
    return found


def _cooled(draft: Draft) -> list[tuple[Film | Held, Path]]:
    return [*zip(draft.films, draft.film_paths), *zip(draft.helds, draft.held_paths)]


def _check_cooled_spots(draft: Draft) -> None:
    """Two films on one spot, and films on spots that other bodies cover."""
    on_face: dict[tuple[int, int], list[Spot]] = defaultdict(list)
    for place, path in _cooled(draft):
        whole = draft.bodies[place.body].outline
        spot = whole if place.area is None else place.area.intersection(whole)
        on_face[place.body, place.face].append((place.name, spot, path))
        _check_bare(draft, place, spot, path)
    for spots in on_face.values():
        for one, other in overlapping([spot for _, spot, _ in spots]):
            (first, _, _), (second, _, path) = spots[one], spots[other]
            draft.fault(path, f'"{first}" and "{second}" cool the same spot', hint="give each its own area or face")
    for here, (name, foot, _) in _feet_of_films(draft):
        for cooling, spot, path in on_face[here]:
            if overlap(foot, spot):
                hint = "the fins cool there already: give the cooling an area beside them, or leave it out"
                draft.fault(path, f'"{name}" and "{cooling}" cool the same spot', hint=hint)


def _check_bare(draft: Draft, place: Film | Held, spot: shapely.Geometry, path: Path) -> None:
    covers = [draft.bodies[j.upper].outline for j in draft.joints if (j.lower, COOLED_SIDE) == (place.body, place.face)]
    covers += [
        draft.bodies[j.lower].outline for j in draft.joints if (j.upper, COMPONENT_SIDE) == (place.body, place.face)
    ]
    covers = [cover for cover in covers if cover.intersects(spot)]
    if not covers:
        return
    bare = spot.difference(shapely.union_all(covers)).area / spot.area
    face = f"the {FACE_NAMES[place.face]} of {draft.bodies[place.body].name}"
    if bare < BARE:
        draft.fault(path, f"{place.name} cools nothing: other bodies cover {face}", hint="check on and face")
    elif isinstance(place, Film) and place.board and bare < 1 - BARE:
        draft.fault(path, f"another body covers part of {face}, where the way to the board begins")


def _check_rims(draft: Draft) -> None:
    """Sides that an outline does not have, and sides treated twice."""
    taken: list[tuple[Rim, Path]] = []
    for rim, path in zip(draft.rims, draft.rim_paths):
        body = draft.bodies[rim.body]
        if rim.side != "all" and straight_side(body.outline, rim.side) < 0.1 * _extent_along(body, rim.side):
            allowed = '"all", or a body with a straight side there'
            draft.fault((*path, "side"), f"{body.name} has no straight {rim.side} side", None, allowed)
        for other, _ in taken:
            if other.body == rim.body and (other.side == rim.side or "all" in (other.side, rim.side)):
                draft.fault((*path, "side"), f'"{other.name}" and "{rim.name}" treat the same side', rim.side)
        taken.append((rim, path))


def _extent_along(body: Body, side: str) -> float:
    left, bottom, right, top = body.outline.bounds
    return top - bottom if side in ("left", "right") else right - left


def loose_parts(stack: Stack) -> list[Fault]:
    """A fault for each group of joined bodies that nothing cools."""
    places: list[Film | Held | Rim] = [*stack.films, *stack.helds, *stack.rims]
    cooled = {each.body for each in places} | {stack.banks[n].base for flow in stack.flows for n in flow.banks}
    faults = []
    for group in groups(stack):
        if not group & cooled:
            names = ", ".join(stack.bodies[number].name for number in sorted(group)[:10])
            allowed = "a film, a held face or edge, or a joint to a body that has one"
            hint = "add [cooling], or on = ... with an interface"
            path: Path = () if len(group) == len(stack.bodies) else _path_of(stack, group)
            faults.append(Fault("cooling", "nothing cools this part", names, allowed, hint, path=path or ("cooling",)))
    return faults


def _path_of(stack: Stack, group: set[int]) -> Path:
    """The plate or component to which the first body of a group belongs."""
    plates = [number for number, body in enumerate(stack.bodies) if "/" not in body.name]
    first = min(group)
    return ("plate", plates.index(first)) if first in plates else ()
