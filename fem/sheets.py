"""The conduction operator of all bodies: plan functions times thickness functions, perfect contacts by shared unknowns.

Per body   K = M(kz / t) (x) stiffness_z + A(t kxy) (x) mass_z   over plan nodes (x) thickness nodes;
joint      +g M on both faces, -g M across;   film   +h M on a face, heat h M T_coolant.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.loads import cell_loads, element_values
from plancha.fem.plan import EDGE_MASS, PlanPattern, PlanSpace, rim_edges
from plancha.fem.thickness import Through
from plancha.geometry.bodies import (
    COMPONENT_SIDE,
    COOLED_SIDE,
    Body,
    Film,
    Grid,
    Held,
    Joint,
    Rim,
    Source,
    Stack,
    touching,
)
from plancha.geometry.materials import conductivity_at, is_nonlinear
from plancha.geometry.mesh import inside

Entries = tuple[np.ndarray, np.ndarray, np.ndarray]  # values, rows, columns


@dataclass(frozen=True)
class Slab:
    """A body on the mesh: its plan pattern, thickness functions, and global unknowns (plan nodes, thickness nodes).

    ``along`` and ``across`` (elements, 6, 6) [W/K] are its element integrals at the reference conductivity.
    """

    body: Body
    pattern: PlanPattern
    through: Through
    unknowns: np.ndarray
    along: np.ndarray
    across: np.ndarray

    def on_face(self, face: int, nodes: np.ndarray) -> np.ndarray:
        """Unknowns of a face at the given plan nodes, which must lie in the body."""
        return self.unknowns[np.searchsorted(self.pattern.nodes, nodes), self.through.face(face)]


@dataclass(frozen=True)
class Exchange:
    """A film, rim or joint as assembled: symmetric matrix on the unknowns and what it tells about heat.

    Heat out through a film is ``weights . (T - temperature)`` over ``unknowns``, where weights are the row sums [W/K].
    """

    name: str
    matrix: sp.csr_array
    weights: np.ndarray
    temperature: float
    area: float
    body: int
    kind: str  # "film", "board" or "rim"

    def heat(self, temperature: np.ndarray) -> float:
        """Heat [W] that leaves at temperatures (unknowns,) [K]."""
        return float(self.weights @ temperature - self.weights.sum() * self.temperature)


@dataclass(frozen=True)
class Sheets:
    """The discrete problem: slabs, exchanges with coolants, joints, sources, and unknowns held at temperatures [K].

    ``plan_loads`` (sources, plan nodes) spread one watt of each source in the plan, ``unit_loads`` (sources, unknowns) through its
    body too; ``powers`` (sources,) are the sources' own [W].
    """

    stack: Stack
    space: PlanSpace
    slabs: tuple[Slab, ...]
    size: int
    exchanges: tuple[Exchange, ...]
    joints: tuple[sp.csr_array | None, ...]
    plan_loads: np.ndarray
    unit_loads: np.ndarray
    powers: np.ndarray
    held: np.ndarray
    held_temperatures: np.ndarray
    held_names: tuple[str, ...]
    held_owner: np.ndarray

    @cached_property
    def constant(self) -> sp.csr_array:
        """All that does not change with temperature: films, rims, joints and bodies of constant conductivity."""
        parts = [exchange.matrix for exchange in self.exchanges] + [m for m in self.joints if m is not None]
        constant = [slab for slab in self.slabs if not is_nonlinear(slab.body.material)]
        return summed([slab_entries(self, slab) for slab in constant] + [entries_of(part) for part in parts], self.size)

    @cached_property
    def coolant_heat(self) -> np.ndarray:
        """Heat (unknowns,) [W] that the coolants' own temperatures bring."""
        heat = np.zeros(self.size)
        for exchange in self.exchanges:
            heat += exchange.weights * exchange.temperature
        return heat

    def __repr__(self) -> str:
        through = ", ".join(f"{s.body.name}: {len(s.pattern.nodes)} x {len(s.through.nodes)}" for s in self.slabs)
        return f"Sheets({self.size} unknowns; {through})"


def summed(parts: Sequence[Entries], size: int) -> sp.csr_array:
    """Matrix of all entries, those of one place added up."""
    if not parts:
        return sp.csr_array((size, size))
    values, rows, columns = (np.concatenate([part[i] for part in parts]) for i in range(3))
    return sp.coo_array((values, (rows, columns)), shape=(size, size)).tocsr()


def entries_of(matrix: sp.csr_array) -> Entries:
    """Values, rows and columns of a matrix."""
    coo = matrix.tocoo()
    return coo.data, *coo.coords


def sheets_of(stack: Stack, space: PlanSpace, through: Sequence[Through]) -> Sheets:
    """Assemble the discrete problem of a stack on a plan space, each body with its own thickness functions."""
    within = [np.flatnonzero(inside(space.mesh, body.outline)) for body in stack.bodies]
    patterns = [space.pattern(elements) for elements in within]
    numbers, size = _number(stack, space, patterns, through)
    slabs = tuple(slab_of(space, *parts) for parts in zip(stack.bodies, patterns, through, numbers))
    exchanges = [_film(space, stack, slabs, film, size) for film in stack.films]
    exchanges += [_rim(space, slabs, rim, size) for rim in stack.rims if rim.coefficient is not None]
    held, temperatures, owner, names = _held(space, stack, slabs)
    plan_loads = plan_loads_of(space, slabs, stack.sources)
    return Sheets(
        stack=stack,
        space=space,
        slabs=slabs,
        size=size,
        exchanges=tuple(exchanges),
        joints=tuple(_joint(space, slabs, joint, size) for joint in stack.joints),
        plan_loads=plan_loads,
        unit_loads=unit_loads(slabs, stack.sources, plan_loads, size),
        powers=np.array([source.power for source in stack.sources]),
        held=held,
        held_temperatures=temperatures,
        held_names=names,
        held_owner=owner,
    )


def shared_elements(slabs: Sequence[Slab], joint: Joint) -> np.ndarray:
    """Elements that both bodies of a joint cover."""
    return np.intersect1d(slabs[joint.lower].pattern.elements, slabs[joint.upper].pattern.elements, assume_unique=True)


def _number(
    stack: Stack, space: PlanSpace, patterns: Sequence[PlanPattern], through: Sequence[Through]
) -> tuple[list[np.ndarray], int]:
    """Global unknowns of each body (plan nodes, thickness nodes); faces in perfect contact share theirs."""
    shapes = [(len(p.nodes), len(t.nodes)) for p, t in zip(patterns, through)]
    starts = np.concatenate([[0], np.cumsum([a * b for a, b in shapes])])
    numbers = [start + np.arange(a * b).reshape(a, b) for start, (a, b) in zip(starts, shapes)]
    pairs = [np.zeros((2, 0), int)]
    for joint in stack.joints:
        if joint.impedance == 0:
            lower, upper = patterns[joint.lower], patterns[joint.upper]
            shared = np.intersect1d(lower.elements, upper.elements, assume_unique=True)
            nodes = np.unique(space.element_nodes[shared])
            top = numbers[joint.lower][np.searchsorted(lower.nodes, nodes), through[joint.lower].face(COOLED_SIDE)]
            foot = numbers[joint.upper][np.searchsorted(upper.nodes, nodes), through[joint.upper].face(COMPONENT_SIDE)]
            pairs.append(np.array([top, foot]))
    one, other = np.concatenate(pairs, axis=1)
    same = sp.coo_array((np.ones(len(one)), (one, other)), shape=(starts[-1], starts[-1]))
    size, label = sp.csgraph.connected_components(same, directed=False)
    return [label[number] for number in numbers], int(size)


def in_plane(body: Body, k_x: np.ndarray, k_y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Conductivities (xx, yy, xy) along the plan of a material whose own axes are turned by ``body.turned``."""
    c, s = np.cos(body.turned), np.sin(body.turned)
    return k_x * c * c + k_y * s * s, k_x * s * s + k_y * c * c, (k_x - k_y) * s * c


def slab_matrix(sheets: Sheets, slab: Slab, temperature: np.ndarray | None = None) -> sp.csr_array:
    """Conduction matrix of one body; see ``slab_entries``."""
    return summed([slab_entries(sheets, slab, temperature)], sheets.size)


def slab_entries(sheets: Sheets, slab: Slab, temperature: np.ndarray | None = None) -> Entries:
    """Conduction of one body; with k(T) taken per element and thickness quadrature point where a temperature is given."""
    through, pattern = slab.through, slab.pattern
    if temperature is None or not is_nonlinear(slab.body.material):
        factor = _k_over_k_ref(slab, np.full(len(pattern.elements), sheets.stack.reference))
        terms = [(factor, through.mass, through.stiffness)]
    else:
        (values, slopes), weights = through.at_quadrature, through.quadrature[1]
        factors = _k_over_k_ref(slab, element_temperatures(sheets.space, slab, temperature) @ values.T)
        terms = [
            (factor, w * np.outer(v, v), w * np.outer(s, s))
            for factor, w, v, s in zip(factors.T, weights, values, slopes)
        ]
    blocks: np.ndarray | float = 0.0
    for factor, mass, stiffness in terms:
        weight = factor[:, None, None]
        blocks = blocks + pattern.gather(weight * slab.along)[:, None, None] * mass
        blocks = blocks + pattern.gather(weight * slab.across)[:, None, None] * stiffness
    return _entries(slab.unknowns[pattern.rows], slab.unknowns[pattern.columns], np.asarray(blocks))


def _k_over_k_ref(slab: Slab, temperature: np.ndarray) -> np.ndarray:
    """Conductivity over its reference value, the same in all directions."""
    return conductivity_at(slab.body.material, temperature)[0] / slab.body.material.conductivity[0]


def slab_of(space: PlanSpace, body: Body, pattern: PlanPattern, through: Through, unknowns: np.ndarray) -> Slab:
    """A body on the mesh, its element integrals taken once at the material's reference conductivity."""
    k_x, k_y, k_z = (np.full(len(pattern.elements), k) for k in body.material.conductivity)
    along = space.conduction(*in_plane(body, k_x * body.thickness, k_y * body.thickness), pattern.elements)
    return Slab(
        body, pattern, through, unknowns, along, (k_z / body.thickness)[:, None, None] * space.mass[pattern.elements]
    )


def element_temperatures(space: PlanSpace, slab: Slab, temperature: np.ndarray) -> np.ndarray:
    """Mean temperature [K] over each element of a body at each thickness node, (elements, nodes)."""
    middles = np.searchsorted(slab.pattern.nodes, space.element_nodes[slab.pattern.elements][:, 3:])
    return temperature[slab.unknowns[middles]].mean(axis=1)


def _entries(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray) -> Entries:
    """Entries of blocks (entries, a, b) between unknowns rows (entries, a) and columns (entries, b)."""
    i = np.broadcast_to(rows[:, :, None], blocks.shape).ravel()
    j = np.broadcast_to(columns[:, None, :], blocks.shape).ravel()
    return blocks.ravel(), i, j


def _scatter(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray, size: int) -> sp.csr_array:
    return summed([_entries(rows, columns, blocks)], size)


def face_matrix(
    space: PlanSpace, elements: np.ndarray, coefficient: np.ndarray | float
) -> tuple[PlanPattern, np.ndarray]:
    """Pattern and entries of the integral of coefficient u v over the elements."""
    pattern = space.pattern(elements)
    weight = np.broadcast_to(coefficient, len(elements))
    return pattern, pattern.gather(weight[:, None, None] * space.mass[elements])


def bare_elements(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], place: Film | Held) -> np.ndarray:
    """Elements of a body's face, inside the area if there is one, that no other body covers."""
    elements = slabs[place.body].pattern.elements
    if place.area is not None:
        elements = elements[inside(space.mesh, place.area)[elements]]
    for other in touching(stack, place.body, place.face):
        elements = np.setdiff1d(elements, slabs[other].pattern.elements, assume_unique=True)
    return elements


def _film(space: PlanSpace, stack: Stack, slabs: Sequence[Slab], film: Film, size: int) -> Exchange:
    elements = bare_elements(space, stack, slabs, film)
    h = element_values(space, film.coefficient, elements) if isinstance(film.coefficient, Grid) else film.coefficient
    pattern, entries = face_matrix(space, elements, h)
    unknowns = slabs[film.body].on_face(film.face, pattern.nodes)
    matrix = _scatter(unknowns[pattern.rows, None], unknowns[pattern.columns, None], entries[:, None, None], size)
    kind = "board" if film.board else "film"
    return _exchange(film.name, matrix, film.temperature, space.areas[elements].sum(), film.body, kind)


def _exchange(name: str, matrix: sp.csr_array, temperature: float, area: float, body: int, kind: str) -> Exchange:
    weights = np.asarray(matrix.sum(axis=1)).ravel()
    return Exchange(name, matrix, weights, temperature, float(area), body, kind)


def _joint(space: PlanSpace, slabs: Sequence[Slab], joint: Joint, size: int) -> sp.csr_array | None:
    if joint.impedance == 0:
        return None
    pattern, entries = face_matrix(space, shared_elements(slabs, joint), 1.0 / joint.impedance)
    lower = slabs[joint.lower].on_face(COOLED_SIDE, pattern.nodes)
    upper = slabs[joint.upper].on_face(COMPONENT_SIDE, pattern.nodes)
    ends = np.column_stack([lower, upper])
    blocks = entries[:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return _scatter(ends[pattern.rows], ends[pattern.columns], blocks, size)


def _side_edges(space: PlanSpace, slab: Slab, side: str) -> np.ndarray:
    edges = rim_edges(space, slab.pattern.elements)
    if side == "all":
        return edges
    axis, end = {"left": (0, "min"), "right": (0, "max"), "lower": (1, "min"), "upper": (1, "max")}[side]
    ends = space.nodes[edges[:, :2], axis]
    bound = getattr(ends, end)()
    near = 1e-6 * np.ptp(space.nodes[slab.pattern.nodes], axis=0).max()
    return edges[(np.abs(ends - bound) < near).all(axis=1)]


def _rim(space: PlanSpace, slabs: Sequence[Slab], rim: Rim, size: int) -> Exchange:
    slab = slabs[rim.body]
    edges = _side_edges(space, slab, rim.side)
    length = np.linalg.norm(space.nodes[edges[:, 1]] - space.nodes[edges[:, 0]], axis=1)
    scale = (rim.coefficient or 0.0) * slab.body.thickness * length
    blocks = scale[:, None, None, None, None] * np.einsum("ij,kl->ikjl", EDGE_MASS, slab.through.mass)
    unknowns = slab.unknowns[np.searchsorted(slab.pattern.nodes, edges)].reshape(len(edges), -1)
    width = unknowns.shape[1]
    matrix = _scatter(unknowns, unknowns, blocks.reshape(len(edges), width, width), size)
    return _exchange(rim.name, matrix, rim.temperature, length.sum() * slab.body.thickness, rim.body, "rim")


def _held(space: PlanSpace, stack: Stack, slabs: Sequence[Slab]):
    """Held unknowns (each once), their temperatures, and which named condition owns each."""
    names, unknowns, temperatures, owners = [], [np.zeros(0, int)], [np.zeros(0)], [np.zeros(0, int)]
    places: list[tuple[str, np.ndarray, float]] = []
    for place in stack.helds:
        nodes = np.unique(space.element_nodes[bare_elements(space, stack, slabs, place)])
        places.append((place.name, slabs[place.body].on_face(place.face, nodes), place.temperature))
    for rim in stack.rims:
        if rim.coefficient is None:
            slab = slabs[rim.body]
            nodes = np.unique(_side_edges(space, slab, rim.side))
            places.append(
                (rim.name, slab.unknowns[np.searchsorted(slab.pattern.nodes, nodes)].ravel(), rim.temperature)
            )
    for number, (name, some, temperature) in enumerate(places):
        names.append(name)
        unknowns.append(some)
        temperatures.append(np.full(len(some), temperature))
        owners.append(np.full(len(some), number))
    held, first = np.unique(np.concatenate(unknowns), return_index=True)
    return held, np.concatenate(temperatures)[first], np.concatenate(owners)[first], tuple(names)


def source_elements(slabs: Sequence[Slab], space: PlanSpace, source: Source) -> np.ndarray:
    """Elements under a component's outline on its first body."""
    elements = slabs[source.chain[0]].pattern.elements
    return elements[inside(space.mesh, source.outline)[elements]]


def plan_load(space: PlanSpace, source: Source, elements: np.ndarray) -> np.ndarray:
    """How one watt of a component loads the plan nodes (n,): as its map says, or spread evenly over its outline."""
    if source.power_map is not None and source.power > 0:
        key = (source.power_map, source.outline.wkb)
        if key not in space.loads:
            left, bottom = source.outline.bounds[:2]
            space.loads[key] = cell_loads(space, source.power_map, (left, bottom), elements) / source.power
        return space.loads[key]
    density = 1.0 / space.areas[elements].sum()
    # A quadratic triangle's corner functions integrate to nothing, its middle ones to a third of the area.
    share = np.repeat(density * space.areas[elements] / 3, 3)
    return np.bincount(space.element_nodes[elements, 3:].ravel(), share, len(space.nodes))


def plan_loads_of(space: PlanSpace, slabs: Sequence[Slab], sources: Sequence[Source]) -> np.ndarray:
    """Plan loads of one watt of each source, (sources, plan nodes)."""
    loads = [plan_load(space, source, source_elements(slabs, space, source)) for source in sources]
    return np.array(loads).reshape(-1, len(space.nodes))


def unit_loads(slabs: Sequence[Slab], sources: Sequence[Source], plan_loads: np.ndarray, size: int) -> np.ndarray:
    """How one watt of each component loads the unknowns (sources, unknowns): on its active face, or through its heat depth."""
    loads = np.zeros((len(sources), size))
    for load, source, plan in zip(loads, sources, plan_loads):
        slab = slabs[source.chain[0]]
        heat = np.outer(plan[slab.pattern.nodes], _depth_load(slab, source))
        load += np.bincount(slab.unknowns.ravel(), heat.ravel(), size)
    return loads


def _depth_load(slab: Slab, source: Source) -> np.ndarray:
    """Share of a source's heat at each thickness node of its body."""
    depth = source.heat_depth / slab.body.thickness
    if depth > 0:
        return slab.through.load(0.0, depth) if source.face == COMPONENT_SIDE else slab.through.load(1.0 - depth, 1.0)
    through = np.zeros(len(slab.through.nodes))
    through[slab.through.face(source.face)] = 1.0
    return through
