"""What stands where: bodies, joints, films, sources and probes of one study, in SI, ready for the mesh and the operators.

The plan is seen from the cooled side, x right, y up. Across it, z runs from the component side to the cooled side, so each body
has a lower face (COMPONENT_SIDE) and an upper face (COOLED_SIDE).
"""

from dataclasses import dataclass, field, replace

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
class Patch:
    """A part of a body that differs from the rest: outline in the plan [m], and its own thickness [m], material, turn [rad]."""

    outline: shapely.Polygon
    thickness: float
    material: Material
    turned: float


@dataclass(frozen=True)
class Body:
    """A solid: outline in the plan [m], thickness [m], material, turn of its x axis [rad]; ``patches`` are parts that differ."""

    name: str
    outline: shapely.Polygon
    thickness: float
    material: Material
    turned: float = 0.0
    sheet: bool = False  # one temperature through the thickness
    patches: tuple[Patch, ...] = ()

    @property
    def parts(self) -> "tuple[Body | Patch, ...]":
        """The body itself, then its patches."""
        return (self, *self.patches)

    @property
    def materials(self) -> tuple[Material, ...]:
        """The body's own material, then those of its patches."""
        return tuple(part.material for part in self.parts)


@dataclass(frozen=True)
class JointPatch:
    """A part of a joint with its own conductance [W/m2/K]; 0 is a void."""

    outline: shapely.Polygon
    conductance: float


@dataclass(frozen=True)
class Joint:
    """Contact of the lower body's cooled side with the upper body's component side, where their outlines overlap.

    ``impedance`` [m2 K/W]; 0 is perfect contact. ``gap`` [m] is the bond line, for the height only. ``conductance`` [W/m2/K] on
    a grid stands in place of the impedance where the bond line is uneven; ``patches`` have their own.
    """

    name: str
    lower: int
    upper: int
    impedance: float
    gap: float = 0.0
    conductance: Grid | None = None
    patches: tuple[JointPatch, ...] = ()


@dataclass(frozen=True)
class StandingFins:
    """Plate fins that stand upright on a face: clear ``gap`` between them, ``thickness``, ``height`` root to tip [m]; k [W/m/K]."""

    gap: float
    thickness: float
    height: float
    conductivity: float


@dataclass(frozen=True)
class Unforced:
    """How a face gives off heat without a fan, by coefficients that follow its own temperature.

    ``natural`` names how it stands in the air ("standing plate", "facing up", "facing down", "standing fins"; empty without natural
    convection); ``length`` [m] is its upright length, of a level face area over perimeter; ``pressure`` [Pa] is the air's.
    ``emissivity`` [-], 0 without radiation, is towards ``surroundings`` [K].
    """

    natural: str
    length: float
    fins: StandingFins | None
    pressure: float
    emissivity: float
    surroundings: float


@dataclass(frozen=True)
class Film:
    """Exchange with a coolant at ``temperature`` [K] over the bare part of a face (inside ``area`` if given).

    ``coefficient`` [W/m2/K] is one number or a Grid of them; what ``unforced`` says comes on top, and its natural convection has the
    coolant's temperature. ``board`` marks a component's way out to the board.
    """

    name: str
    body: int
    face: int
    coefficient: float | Grid
    temperature: float
    area: shapely.Polygon | None = None
    board: bool = False
    unforced: Unforced | None = None


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
class PowerLaw:
    """How a component's power depends on the mean temperature of its active face.

    The power asked for grows by ``resistive`` [1/K] of itself per kelvin from ``resistive_at`` [K]; ``leakage`` [W] at ``leakage_at``
    [K] comes on top and grows exponentially by ``leakage_growth`` [1/K].
    """

    resistive: float = 0.0
    resistive_at: float = 298.15
    leakage: float = 0.0
    leakage_at: float = 298.15
    leakage_growth: float = 0.0


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
    law: PowerLaw | None = None


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

    ``reference`` is what rises are counted from: the coolant of the first film, else the first flow's inlet, else the ambient.
    ``scaled`` names the components whose power scales for the sustainable power. ``notes`` are remarks for the user: unusual
    values, overhangs; ``cautions`` say what in the materials can hurt people or hardware. ``accuracy`` [-] is wanted of the
    peak rises.
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
    """Bodies that hang together through joints, each group a set of body numbers, in the order of their first bodies."""
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
    known = [body for body in stack.bodies if all(np.isfinite(m.density) for m in body.materials)]
    return float(sum(_mass(body) for body in known)), [body.name for body in stack.bodies if body not in known]


def _mass(body: Body) -> float:
    patched = [(patch, body.outline.intersection(patch.outline).area) for patch in body.patches]
    rest = body.outline.area - sum(area for _, area in patched)
    own = rest * body.thickness * body.material.density
    return own + sum(area * patch.thickness * patch.material.density for patch, area in patched)


def with_more_impedance(joint: Joint, added: float) -> Joint:
    """The joint with a further impedance [m2 K/W] in series everywhere; voids stay voids."""

    def less(conductance):
        return conductance / (1 + added * conductance)

    grid = joint.conductance
    return replace(
        joint,
        impedance=joint.impedance + added,
        conductance=None if grid is None else replace(grid, values=less(grid.values)),
        patches=tuple(replace(patch, conductance=less(patch.conductance)) for patch in joint.patches),
    )
