"""What stands where: bodies, joints, films, sources and probes of one study, in SI, ready for the mesh and the operators.

The plan is seen from the cooled side, x right, y up. Across it, z runs from the component side to the cooled side, so each body
has a lower face (COMPONENT_SIDE) and an upper face (COOLED_SIDE).
"""

from dataclasses import dataclass, field

import numpy as np
import shapely

from plancha.geometry.air import Bank, Flow
from plancha.geometry.grid import Grid
from plancha.geometry.materials import Material
from plancha.geometry.power_map import PowerMap

COMPONENT_SIDE, COOLED_SIDE = 0, 1
FACES = {"component side": COMPONENT_SIDE, "cooled side": COOLED_SIDE}
FACE_NAMES = ("component side", "cooled side")


@dataclass(frozen=True)
class Body:
    """A solid: outline in the plan [m], thickness [m], material, turn of its x axis [rad]."""

    name: str
    outline: shapely.Polygon
    thickness: float
    material: Material
    turned: float = 0.0
    sheet: bool = False  # one temperature through the thickness


@dataclass(frozen=True)
class Joint:
    """Contact of the lower body's cooled side with the upper body's component side, where their outlines overlap.

    ``impedance`` [m2 K/W]; 0 is perfect contact. ``gap`` [m] is the bond line, for the height only.
    """

    name: str
    lower: int
    upper: int
    impedance: float
    gap: float = 0.0


@dataclass(frozen=True)
class Film:
    """Exchange with a coolant at ``temperature`` [K] over the bare part of a face (inside ``area`` if given).

    ``coefficient`` [W/m2/K] is one number or a Grid of them. ``board`` marks a component's way out to the board.
    """

    name: str
    body: int
    face: int
    coefficient: float | Grid
    temperature: float
    area: shapely.Polygon | None = None
    board: bool = False


@dataclass(frozen=True)
class Held:
    """A face (inside ``area`` if given) held at ``temperature`` [K]."""

    name: str
    body: int
    face: int
    temperature: float
    area: shapely.Polygon | None = None


@dataclass(frozen=True)
class Rim:
    """A side of a body's outline that convects (``coefficient`` [W/m2/K]) or is held (None) at ``temperature`` [K]."""

    name: str
    body: int
    side: str
    coefficient: float | None
    temperature: float


@dataclass(frozen=True)
class Source:
    """A component: its power [W] on (or below) the active face of its first body, and its chain of bodies outward.

    ``chain`` lists bodies from the chip to the body it sits on; ``joints`` what lies between them. ``power_map`` is None where the
    heat is uniform over the outline. ``heat_depth`` [m] 0 means on the face. ``limit`` [K] may be None.
    ``case_point`` (x, y) [m] lies on the last body of its own, on the face towards the one it sits on; ``board_point`` names a probe.
    """

    name: str
    chain: tuple[int, ...]
    joints: tuple[int, ...]
    face: int
    outline: shapely.Polygon
    power: float
    power_map: PowerMap | None
    heat_depth: float
    limit: float | None
    case_point: tuple[float, float] | None = None
    board_point: str = ""


@dataclass(frozen=True)
class Probe:
    """A named point of a face whose temperature is reported."""

    name: str
    body: int
    face: int
    point: tuple[float, float]


@dataclass(frozen=True)
class Stack:
    """All of a study's bodies and what ties, heats and cools them; temperatures in K.

    ``reference`` is what rises are counted from: the first coolant's own temperature, else the ambient. ``scaled`` names the
    components whose power scales for the sustainable power. ``notes`` are remarks for the user: unusual values, overhangs;
    ``cautions`` say what in the materials can hurt people or hardware. ``accuracy`` [-] is wanted of the peak rises.
    """

    title: str
    ambient: float
    reference: float
    reference_name: str
    bodies: tuple[Body, ...]
    joints: tuple[Joint, ...]
    films: tuple[Film, ...]
    helds: tuple[Held, ...]
    rims: tuple[Rim, ...]
    sources: tuple[Source, ...]
    probes: tuple[Probe, ...]
    scaled: tuple[str, ...]
    mesh_size: float | None = None
    accuracy: float = 0.005
    banks: tuple[Bank, ...] = ()
    flows: tuple[Flow, ...] = ()
    notes: tuple[str, ...] = field(default=())
    cautions: tuple[str, ...] = field(default=())


def touching(stack: Stack, body: int, face: int) -> list[int]:
    """Bodies that lie against a face of a body."""
    if face == COOLED_SIDE:
        return [joint.upper for joint in stack.joints if joint.lower == body]
    return [joint.lower for joint in stack.joints if joint.upper == body]


def groups(stack: Stack) -> list[set[int]]:
    """Bodies that hang together through joints, each group a set of body numbers."""
    import scipy.sparse as sp

    count = len(stack.bodies)
    lower, upper = [j.lower for j in stack.joints], [j.upper for j in stack.joints]
    graph = sp.coo_array((np.ones(len(lower)), (lower, upper)), shape=(count, count))
    number, label = sp.csgraph.connected_components(graph, directed=False)
    return [set(np.flatnonzero(label == group)) for group in range(number)]


def elevations(stack: Stack) -> np.ndarray:
    """Height of each body's component-side face [m], shape (bodies,); body 0 and each loose group's first body at 0."""
    z = np.full(len(stack.bodies), np.nan)
    for group in groups(stack):
        z[min(group)] = 0.0
        while np.isnan(z[list(group)]).any():
            for joint in stack.joints:
                step = stack.bodies[joint.lower].thickness + joint.gap
                if np.isnan(z[joint.upper]):
                    z[joint.upper] = z[joint.lower] + step
                elif np.isnan(z[joint.lower]):
                    z[joint.lower] = z[joint.upper] - step
    return z


def total_height(stack: Stack) -> float:
    """From the lowest face to the highest [m]."""
    z = elevations(stack)
    return float(np.max(z + [body.thickness for body in stack.bodies]) - z.min())


def total_mass(stack: Stack) -> tuple[float, list[str]]:
    """Mass of all bodies whose density is known [kg], and the names of those whose density is not."""
    known = [body for body in stack.bodies if np.isfinite(body.material.density)]
    mass = sum(body.outline.area * body.thickness * body.material.density for body in known)
    return float(mass), [body.name for body in stack.bodies if body not in known]
