"""Which stacks are rectangular chips on a rectangular plate, as the cosine engine takes them, and what stands in others' way."""

from collections.abc import Iterator

import numpy as np
import shapely

from plancha.fem.cosine import CosineChip, CosinePlate, Place
from plancha.fem.plate_series import Layer
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Body, Film, Joint, Source, Stack
from plancha.geometry.faults import Failure
from plancha.geometry.materials import is_nonlinear

SAME = 1e-9  # of a side: outlines whose corners differ by less are the same rectangle


class NotRectangular(Failure):
    """The stack is no such thing; the message says all that stands in the way."""


def cosine_problem(stack: Stack) -> tuple[CosinePlate, list[CosineChip]]:
    """The plate and the chips of a stack, for `cosine_solution`.

    Raises
    ------
    NotRectangular
        If a body is no upright rectangle of one constant conductivity, layers differ in size, or heat leaves otherwise than by one
        coefficient on all of the plate's cooled side at the reference temperature.
    """
    reasons = list(_obstacles(stack))
    if reasons:
        raise NotRectangular("no cosine form: " + "; ".join(reasons))
    plate = _upward(stack, _seat(stack))
    film = stack.films[0]
    left, bottom, right, top = stack.bodies[plate[0]].outline.bounds
    layers = _layers(stack, plate)
    found = CosinePlate((right - left, top - bottom), layers, float(film.coefficient))  # type: ignore[arg-type]
    return found, [_chip(stack, source, (left, bottom)) for source in stack.sources]


def _obstacles(stack: Stack) -> Iterator[str]:
    """All that stands in the way."""
    for body in stack.bodies:
        yield from (f"{body.name} {fault}" for fault in _body_faults(body))
    yield from (f"{joint.name} is not the same everywhere" for joint in stack.joints if _is_uneven(joint))
    for source in stack.sources:
        if source.face != COMPONENT_SIDE or source.heat_depth > 0 or source.law is not None:
            yield f"{source.name} is heated otherwise than steadily on the face away from the plate"
        own = [stack.bodies[number] for number in source.chain[:-1]]
        if any(not _same(body, own[0]) for body in own) or (own and not source.outline.equals(own[0].outline)):
            yield f"the layers of {source.name} differ in size"
    if len({_seat(stack), *(source.chain[-1] for source in stack.sources)}) > 1:
        yield "there is more than one plate"
    elif not stack.sources:
        yield "nothing heats the bodies"
    else:
        yield from _cooling_faults(stack)


def _seat(stack: Stack) -> int:
    """The body that the first component sits on."""
    return stack.sources[0].chain[-1] if stack.sources else 0


def _body_faults(body: Body) -> Iterator[str]:
    if not body.outline.equals(shapely.box(*body.outline.bounds)):
        yield "is no upright rectangle"
    if body.patches or body.sheet or body.turned or is_nonlinear(body.material):
        yield "is not of one constant conductivity along its sides"


def _is_uneven(joint: Joint) -> bool:
    return joint.conductance is not None or bool(joint.patches)


def _cooling_faults(stack: Stack) -> Iterator[str]:
    plate = _upward(stack, _seat(stack))
    if any(not _same(stack.bodies[number], stack.bodies[plate[0]]) for number in plate):
        yield "the layers of the plate differ in size"
    if len(plate) + sum(len(source.chain) - 1 for source in stack.sources) != len(stack.bodies):
        yield "there are bodies beside the chips and the plate"
    if stack.helds or stack.rims or stack.banks or stack.flows:
        yield "there are held faces, rims that convect, fins or flows"
    if len(stack.films) != 1 or not _covers(stack, stack.films[0], plate[-1]):
        yield "something else than one coefficient on all of the plate's cooled side takes heat"


def _covers(stack: Stack, film: Film, body: int) -> bool:
    return (
        (film.body, film.face, film.area, film.unforced) == (body, COOLED_SIDE, None, None)
        and isinstance(film.coefficient, (int, float))
        and film.temperature == stack.reference
    )


def _same(one: Body, other: Body) -> bool:
    bounds = np.array([one.outline.bounds, other.outline.bounds])
    return bool(np.ptp(bounds, axis=0).max() <= SAME * np.ptp(bounds))


def _upward(stack: Stack, body: int) -> list[int]:
    """A body and those on it, towards the cooled side."""
    chain = [body]
    while True:
        above = [joint.upper for joint in stack.joints if joint.lower == chain[-1]]
        if len(above) != 1:
            return chain
        chain += above


def _layers(stack: Stack, chain: list[int] | tuple[int, ...]) -> tuple[Layer, ...]:
    """Bodies as layers, each with the joint to the next one above it in the stack."""
    found = []
    for number in chain:
        body = stack.bodies[number]
        below = [joint.impedance for joint in stack.joints if joint.lower == number]
        found.append(Layer(body.thickness, body.material.conductivity, below[0] if below else 0.0))
    return tuple(found)


def _chip(stack: Stack, source: Source, corner: tuple[float, float]) -> CosineChip:
    left, bottom, right, top = source.outline.bounds
    place: Place = (left - corner[0], bottom - corner[1], right - left, top - bottom)
    power_map = source.power_map
    if power_map is None or not source.power > 0:
        x, y, watts = np.array([0.0, place[2]]), np.array([0.0, place[3]]), np.array([[source.power]])
    else:
        x, y, watts = power_map.x, power_map.y, power_map.watts
    return CosineChip(source.name, place, _layers(stack, source.chain[:-1]), x, y, watts)
