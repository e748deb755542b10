"""How flows meet the solids: the walls of fin blocks and of finned bases, cell by cell, as operators on a plan mesh."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.air_flow import FlowState, first_cells
from plancha.fem.cells import Pieces, cell_integrals, pieces_of
from plancha.fem.coolant import Stream, Wall
from plancha.fem.patterns import ITSELF, PlanMatrix, packed
from plancha.fem.plan import PlanSpace
from plancha.fem.slabs import Slab
from plancha.fem.terms import Term
from plancha.fem.way import Way
from plancha.geometry.air import Bank, Block
from plancha.geometry.bodies import COOLED_SIDE, Stack, touching
from plancha.geometry.mesh import inside


@dataclass(frozen=True)
class Meeting:
    """A way past a bank on a mesh: what is needed to build its walls. ``first`` is the way's first cell among
    ``cells`` of its network."""

    space: PlanSpace
    stack: Stack
    slabs: Sequence[Slab]
    bank: Bank
    way: Way
    first: int
    cells: int
    size: int
    zone: np.ndarray | None


def streams_of(
    stack: Stack, space: PlanSpace, slabs: Sequence[Slab], states: Sequence[FlowState], solid: int, size: int
) -> tuple[Stream, ...]:
    """Every flow joined to the solids, its cells' unknowns numbered after the ``solid`` ones, ``size`` in all."""
    streams, first = [], solid
    for state in states:
        cells = len(state.network.inflow)
        walls: list[Wall] = []
        for way, begin in zip(state.ways, first_cells(state.ways)):
            shape = state.flow.zone
            zone = None if shape is None else inside(space.mesh, shape)
            meeting = Meeting(space, stack, slabs, stack.banks[way.bank], way, begin, cells, size, zone)
            walls += _film_walls(meeting) if meeting.bank.is_film else _block_walls(meeting)
        streams.append(Stream(state.flow.name, state.network, tuple(walls), first))
        first += cells
    return tuple(streams)


def _film_walls(meeting: Meeting) -> list[Wall]:
    """Fins described as a film: per region a coefficient on the base's face."""
    from plancha.fem.gaps import film_on_base

    bank, slab = meeting.bank, meeting.slabs[meeting.bank.base]
    bare, parts = _bare(meeting, bank.base, bank.face), []
    for number, region in enumerate(bank.regions):
        elements = bare[inside(meeting.space.mesh, region.outline)[bare]]
        own = np.where(meeting.way.region == number, meeting.way.coefficient, 0.0)
        on_base = film_on_base(region.fins, bank.material.conductivity[0], own)
        # A cell across a step takes the region's largest.
        nearest = np.where(on_base > 0, on_base, on_base.max(initial=0.0))
        h = np.divide(1.0, 1.0 / np.maximum(nearest, 1e-12) + bank.impedance)
        pieces = pieces_of(meeting.space, elements, meeting.way.grid)
        parts.append(_face_wall(meeting, slab, bank.face, pieces, np.where(nearest > 0, h, 0.0)))
    return [_joined(bank.base, parts)]


def _bare(meeting: Meeting, body: int, face: int) -> np.ndarray:
    """Elements of a body's face that no other body covers."""
    elements = meeting.slabs[body].pattern.elements
    for other in touching(meeting.stack, body, face):
        elements = np.setdiff1d(elements, meeting.slabs[other].pattern.elements, assume_unique=True)
    return elements


def _block_walls(meeting: Meeting) -> list[Wall]:
    """Fins as bodies: their flanks through the height, the bare base between them, and tips that stand free."""
    return [_joined(block.body, _block_parts(meeting, block)) for block in meeting.bank.blocks]


def _block_parts(meeting: Meeting, block: Block) -> list[Wall]:
    bank, way, slab = meeting.bank, meeting.way, meeting.slabs[block.body]
    elements = slab.pattern.elements
    if meeting.zone is not None:
        elements = elements[meeting.zone[elements]]
    pieces = pieces_of(meeting.space, elements, way.grid)
    parts = [_flanks(meeting, block, slab, pieces, level) for level in range(len(way.levels) - 1)]
    if len(way.levels) == 2:
        foot = 1 - bank.face
        if block.is_foot:
            h = (1 - block.fins.solid_share) * way.coefficient
            parts.append(_face_wall(meeting, slab, foot, pieces, h))
        reach = block.foot + block.fins.height
        if bank.tip_gap > 0 or reach < bank.height * (1 - 1e-9):
            bare = np.intersect1d(elements, _bare(meeting, block.body, 1 - foot), assume_unique=True)
            tips = block.fins.solid_share * way.coefficient
            parts.append(_face_wall(meeting, slab, 1 - foot, pieces.of(bare), tips))
    return [part for part in parts if part is not None]


def _flanks(meeting: Meeting, block: Block, slab: Slab, pieces: Pieces, level: int) -> Wall | None:
    """The part of a block's flanks between two levels of its way."""
    way, height = meeting.way, block.fins.height
    low, high = (np.clip((way.levels[n] - block.foot) / height, 0.0, 1.0) for n in (level, level + 1))
    if high - low < 1e-12:
        return None
    if meeting.bank.face != COOLED_SIDE:
        low, high = 1 - high, 1 - low
    levels = len(way.levels) - 1
    h = block.fins.surface * height * way.coefficient.reshape(-1, levels)[:, level]
    through = slab.through
    return _wall(
        meeting,
        slab,
        pieces,
        h,
        through.mass_between(float(low), float(high)),
        through.load(float(low), float(high)) * (high - low),
        np.arange(len(through.nodes)),
        level,
    )


def _face_wall(meeting: Meeting, slab: Slab, face: int, pieces: Pieces, coefficient: np.ndarray) -> Wall:
    """Coefficients [W/m2/K] (cells,) on a face; per cell of the plan where the way has one level."""
    one = np.ones((1, 1))
    return _wall(meeting, slab, pieces, coefficient, one, one[0], np.array([slab.through.face(face)]), 0)


def _wall(
    meeting: Meeting,
    slab: Slab,
    pieces: Pieces,
    coefficient: np.ndarray,
    mass: np.ndarray,
    load: np.ndarray,
    levels: np.ndarray,
    level: int,
) -> Wall:
    """Plan integrals over cells times integrals (mass, load) over the thickness functions numbered ``levels``."""
    found = cell_integrals(pieces, coefficient)
    pattern = meeting.space.pattern(pieces.elements)
    unknowns = slab.unknowns[np.searchsorted(slab.pattern.nodes, pattern.nodes)][:, levels]
    plan = PlanMatrix(pattern, packed(found.matrix), ITSELF)
    term = Term(unknowns, (plan,), mass[None])
    cell, node = found.coupling.coords
    place = slab.unknowns[np.searchsorted(slab.pattern.nodes, node)][:, levels]
    cells = meeting.first + cell * (len(meeting.way.levels) - 1) + level
    heat = found.coupling.data[:, None] * load
    exchange = sp.coo_array(
        (heat.ravel(), (np.broadcast_to(cells[:, None], heat.shape).ravel(), place.ravel())),
        shape=(meeting.cells, meeting.size),
    )
    return Wall(-1, (term,), exchange, float(meeting.space.areas[pieces.elements].sum()))


def _joined(body: int, parts: Sequence[Wall]) -> Wall:
    terms = tuple(term for part in parts for term in part.terms)
    return Wall(body, terms, stacked([p.exchange for p in parts]).tocsr(), parts[0].area)


def stacked(matrices: Sequence[sp.coo_array]) -> sp.coo_array:
    """The sum of matrices of one shape, its entries not yet added up."""
    values = np.concatenate([each.data for each in matrices])
    rows, columns = (np.concatenate([each.coords[axis] for each in matrices]) for axis in (0, 1))
    return sp.coo_array((values, (rows, columns)), shape=matrices[0].shape)
