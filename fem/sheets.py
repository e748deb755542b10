"""The discrete problem of a stack: all bodies, what they meet, and what heats them; perfect contacts by shared unknowns."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.air_flow import FlowState, flow_states
from plancha.fem.coolant import Stream, coupled_entries
from plancha.fem.exchanges import Exchange, films_of, held_of, joint_of, rim_of
from plancha.fem.loads import cell_loads
from plancha.fem.plan import PlanPattern, PlanSpace
from plancha.fem.slabs import Changing, Slab, joined, slab_of, slab_term
from plancha.fem.terms import Operator, Term, is_large
from plancha.fem.thickness import Through
from plancha.fem.walls import streams_of
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Source, Stack


@dataclass(frozen=True)
class Sheets:
    """The discrete problem: slabs, exchanges with coolants, joints, sources, and unknowns held at temperatures [K].

    ``plan_loads`` (sources, plan nodes) spread one watt of each source in the plan, ``unit_loads`` (sources, unknowns) through its
    body too; ``powers`` (sources,) are the sources' own [W]. Unknowns from ``solid`` on are the coolants' (``streams``), whose flows
    run as ``states`` say.
    """

    stack: Stack
    space: PlanSpace
    slabs: tuple[Slab, ...]
    size: int
    exchanges: tuple[Exchange, ...]
    joints: tuple[Term, ...]
    plan_loads: np.ndarray
    unit_loads: np.ndarray
    powers: np.ndarray
    solid: int
    states: tuple[FlowState, ...]
    streams: tuple[Stream, ...]
    held: np.ndarray
    held_temperatures: np.ndarray
    held_names: tuple[str, ...]
    held_owner: np.ndarray

    @cached_property
    def constant(self) -> Operator:
        """All that does not change with temperature: given films, rims, joints and bodies of constant conductivity."""
        constant = [slab for slab in self.slabs if not slab.conduction.is_nonlinear]
        bodies = [slab_term(self.space, slab, self.stack.reference) for slab in constant]
        given = [exchange.matrix for exchange in self.exchanges if exchange.coefficient is None]
        walls = [term for stream in self.streams for wall in stream.walls for term in wall.terms]
        terms = (*bodies, *self.joints, *(term for each in given for term in each.terms), *walls)
        return Operator(self.size, terms, entries=tuple(coupled_entries(self.streams)))

    @cached_property
    def changing(self) -> tuple[Changing, ...]:
        """The bodies with k(T), those of the same thickness functions joined."""
        groups: dict[Through, list[Slab]] = {}
        for slab in self.slabs:
            if slab.conduction.is_nonlinear:
                groups.setdefault(slab.through, []).append(slab)
        return tuple(joined(self.space, slabs) for slabs in groups.values())

    @property
    def unforced(self) -> tuple[Exchange, ...]:
        """The exchanges whose coefficient follows the face's own temperature."""
        return tuple(exchange for exchange in self.exchanges if exchange.coefficient is not None)

    @cached_property
    def coolant_heat(self) -> np.ndarray:
        """Heat (unknowns,) [W] that the coolants' own temperatures bring, but for unforced exchanges."""
        return self.coolant_heat_above(0.0)

    def coolant_heat_above(self, level: float) -> np.ndarray:
        """The same with all temperatures counted from a level [K]: nothing where all coolants have it, without rounding."""
        heat = np.zeros(self.size)
        for exchange in self.exchanges:
            if exchange.coefficient is None:
                heat += exchange.weights * (exchange.temperature - level)
        for stream in self.streams:
            share = (stream.network.inlet - level) / stream.network.inlet
            heat += share * stream.solid_heat
            heat[stream.unknowns] += share * stream.inlet_heat
        return heat

    def __repr__(self) -> str:
        through = ", ".join(f"{s.body.name}: {len(s.pattern.nodes)} x {len(s.through.nodes)}" for s in self.slabs)
        return f"Sheets({self.size} unknowns; {through})"


def sheets_of(stack: Stack, space: PlanSpace, through: Sequence[Through]) -> Sheets:
    """Assemble the discrete problem of a stack on a plan space, each body with its own thickness functions."""
    patterns = [space.pattern(space.within(body.outline)) for body in stack.bodies]
    numbers, solid = _number(stack, space, patterns, through)
    states = flow_states(stack)
    size = solid + sum(len(state.network.inflow) for state in states)
    slabs = tuple(slab_of(space, *parts) for parts in zip(stack.bodies, patterns, through, numbers))
    exchanges = films_of(space, stack, slabs, size)
    exchanges += [rim_of(space, slabs, rim, size) for rim in stack.rims if rim.coefficient is not None]
    held, temperatures, owner, names = held_of(space, stack, slabs)
    plan_loads = plan_loads_of(space, slabs, stack.sources)
    return Sheets(
        stack=stack,
        space=space,
        slabs=slabs,
        size=size,
        exchanges=tuple(exchanges),
        joints=tuple(joint_of(space, slabs, joint) for joint in stack.joints if joint.impedance > 0),
        plan_loads=plan_loads,
        unit_loads=unit_loads(slabs, stack.sources, plan_loads, size),
        powers=np.array([source.power for source in stack.sources]),
        solid=solid,
        states=states,
        streams=streams_of(stack, space, slabs, states, solid, size),
        held=held,
        held_temperatures=temperatures,
        held_names=names,
        held_owner=owner,
    )


def _number(
    stack: Stack, space: PlanSpace, patterns: Sequence[PlanPattern], through: Sequence[Through]
) -> tuple[list[np.ndarray], int]:
    """Global unknowns of each body (plan nodes, thickness nodes); faces in perfect contact share theirs.

    A factor is found sooner where they are numbered node by node, a product made sooner level by level.
    """
    shapes = [(len(p.nodes), len(t.nodes)) for p, t in zip(patterns, through)]
    starts = np.concatenate([[0], np.cumsum([a * b for a, b in shapes])])
    numbers = [np.arange(start, start + a * b, dtype=np.int32) for start, (a, b) in zip(starts, shapes)]
    by_level = is_large(int(starts[-1]))
    numbers = [own.reshape(b, a).T if by_level else own.reshape(a, b) for own, (a, b) in zip(numbers, shapes)]
    pairs = []
    for joint in stack.joints:
        if joint.impedance == 0:
            lower, upper = patterns[joint.lower], patterns[joint.upper]
            shared = np.intersect1d(lower.elements, upper.elements, assume_unique=True)
            nodes = np.unique(space.element_nodes[shared])
            top = numbers[joint.lower][np.searchsorted(lower.nodes, nodes), through[joint.lower].face(COOLED_SIDE)]
            foot = numbers[joint.upper][np.searchsorted(upper.nodes, nodes), through[joint.upper].face(COMPONENT_SIDE)]
            pairs.append(np.array([top, foot]))
    if not pairs:
        return numbers, int(starts[-1])
    one, other = np.concatenate(pairs, axis=1)
    same = sp.coo_array((np.ones(len(one)), (one, other)), shape=(starts[-1], starts[-1]))
    size, label = sp.csgraph.connected_components(same, directed=False)
    return [label[number] for number in numbers], int(size)


def slab_matrix(sheets: Sheets, slab: Slab, temperature: np.ndarray | None = None) -> Operator:
    """Conduction of one body; see ``slab_term``."""
    return Operator(sheets.size, (slab_term(sheets.space, slab, sheets.stack.reference, temperature),))


def source_elements(slabs: Sequence[Slab], space: PlanSpace, source: Source) -> np.ndarray:
    """Elements under a component's outline on its first body."""
    found = space.within(source.outline)
    return found[np.isin(found, slabs[source.chain[0]].pattern.elements, assume_unique=True)]


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
        own = plan[slab.pattern.nodes]
        heated = np.flatnonzero(own)
        load[slab.unknowns[heated]] += np.outer(own[heated], _depth_load(slab, source))  # each unknown is there once
    return loads


def mean_weights(sheets: Sheets) -> np.ndarray:
    """Weights (sources, unknowns) that give the area mean temperature of each component's active face."""
    even = [replace(source, power_map=None, heat_depth=0.0) for source in sheets.stack.sources]
    return unit_loads(sheets.slabs, even, plan_loads_of(sheets.space, sheets.slabs, even), sheets.size)


def _depth_load(slab: Slab, source: Source) -> np.ndarray:
    """Share of a source's heat at each thickness node of its body."""
    depth = source.heat_depth / slab.body.thickness
    if depth > 0:
        return slab.through.load(0.0, depth) if source.face == COMPONENT_SIDE else slab.through.load(1.0 - depth, 1.0)
    through = np.zeros(len(slab.through.nodes))
    through[slab.through.face(source.face)] = 1.0
    return through
