"""How finely each body is resolved through its thickness: by the size of what heats it over how thick it is."""

import math

from plancha.fem.thickness import SHEET_DEGREE, Through, graded
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, FACE_NAMES, Body, Stack
from plancha.geometry.grading import feature_of
from plancha.geometry.materials import Material

DEGREE = 2
FINEST = 0.6  # first sub-layer over the heat's feature, thickness stretched by anisotropy, before each is cut in two
LEAST_SIDEWAYS = 1e-9  # of the conductivity through: pins conduct nothing along the plan
WHOLE = 0.6  # a first sub-layer of more than this share of the thickness is the whole thickness


def stretched_thickness(body: Body) -> float:
    """Thickness [m] times sqrt(k along / k through): what the lateral size of heat is compared with."""
    return max(_stretched(part.thickness, part.material) for part in body.parts)


def _stretched(thickness: float, material: Material) -> float:
    k_x, k_y, k_z = material.conductivity
    return thickness * math.sqrt(max(k_x, k_y, LEAST_SIDEWAYS * k_z) / k_z)


def features(stack: Stack) -> dict[tuple[int, int], float]:
    """Smallest lateral size [m] of the heat that enters each (body, face); absent where a face is evenly loaded.

    A source's smallest strong feature counts on its chip; each body on the way widens it by twice its stretched thickness, up to
    the shorter side of the contact. A contact that covers only part of a face counts with its shorter side.
    """
    found: dict[tuple[int, int], float] = {}

    def note(body: int, face: int, size: float) -> None:
        """Keep the smallest size of each face."""
        found[body, face] = min(size, found.get((body, face), math.inf))

    for source in stack.sources:
        size = feature_of(source)
        for body, following in zip(source.chain, [*source.chain[1:], None]):
            note(body, source.face, size)
            if following is not None:
                contact = _contact_side(stack.bodies[body], stack.bodies[following])
                size = min(size + 2 * stretched_thickness(stack.bodies[body]), contact)
    for joint in stack.joints:
        contact = _contact_side(stack.bodies[joint.lower], stack.bodies[joint.upper])
        for body, face in ((joint.lower, COOLED_SIDE), (joint.upper, COMPONENT_SIDE)):
            if contact < 0.99 * _side(stack.bodies[body].outline):
                note(body, face, contact)
    return found


def _side(shape) -> float:
    left, bottom, right, top = shape.bounds
    return min(right - left, top - bottom)


def _contact_side(one: Body, other: Body) -> float:
    return _side(one.outline.intersection(other.outline))


def through_of(stack: Stack) -> list[Through]:
    """Thickness functions of each body: one quadratic, or sub-layers graded towards the faces where small sources enter."""
    entering = features(stack)
    chosen = []
    for number, body in enumerate(stack.bodies):
        sizes = [entering.get((number, face), math.inf) for face in range(len(FACE_NAMES))]
        finest = FINEST * min(sizes) / stretched_thickness(body)
        if body.sheet:
            chosen.append(Through(degree=SHEET_DEGREE))
        elif finest >= WHOLE:
            chosen.append(Through(degree=DEGREE))
        else:
            small = [FINEST * size / stretched_thickness(body) < WHOLE for size in sizes]
            chosen.append(graded(finest, small[COMPONENT_SIDE], small[COOLED_SIDE], DEGREE))
    return chosen
