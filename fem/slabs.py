"""Bodies on the plan mesh: plan functions times thickness functions, and what each body conducts.

Per body   K = M(kz / t) (x) stiffness_z + A(t kxy) (x) mass_z   over plan nodes (x) thickness nodes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import PlanPattern, PlanSpace
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Body

Entries = tuple[np.ndarray, np.ndarray, np.ndarray]  # values, rows, columns


@dataclass(frozen=True)
class Conduction:
    """What each element of a body conducts: k(T) = k_ref (T/T_ref)^n, arrays (elements,).

    ``conductivity`` (3, elements) [W/m/K] is k_ref along the material's own axes, ``turned`` [rad] by how much these are turned,
    ``thickness`` [m] the element's.
    """

    conductivity: np.ndarray
    exponent: np.ndarray
    temperature_reference: np.ndarray
    thickness: np.ndarray
    turned: np.ndarray

    @property
    def is_nonlinear(self) -> bool:
        """Whether any element's conductivity depends on temperature."""
        return bool(self.exponent.any())

    def factor(self, temperature: np.ndarray) -> np.ndarray:
        """k over k_ref at temperatures (elements, ...) [K]."""
        shape = (-1, *(1,) * (temperature.ndim - 1))
        return (temperature / self.temperature_reference.reshape(shape)) ** self.exponent.reshape(shape)

    def in_plane(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """k_ref along the plan's own axes: xx, yy, xy."""
        (k_x, k_y, _), c, s = self.conductivity, np.cos(self.turned), np.sin(self.turned)
        return k_x * c * c + k_y * s * s, k_x * s * s + k_y * c * c, (k_x - k_y) * s * c


def conduction_of(space: PlanSpace, body: Body, elements: np.ndarray) -> Conduction:
    """What the elements (numbers) of a body conduct: its own material, and in its patches theirs."""
    parts = body.parts
    which = np.zeros(len(elements), int)
    for number, patch in enumerate(body.patches, 1):
        which[np.isin(elements, space.within(patch.outline), assume_unique=True)] = number

    def each(values: list) -> np.ndarray:
        return np.array(values, float)[which]

    return Conduction(
        conductivity=np.array([part.material.conductivity for part in parts], float)[which].T,
        exponent=each([part.material.exponent for part in parts]),
        temperature_reference=each([part.material.temperature_reference for part in parts]),
        thickness=each([part.thickness for part in parts]),
        turned=each([part.turned for part in parts]),
    )


@dataclass(frozen=True)
class Slab:
    """A body on the mesh: its plan pattern, thickness functions, and global unknowns (plan nodes, thickness nodes).

    ``along`` and ``across`` (elements, 6, 6) [W/K] are its element integrals at k_ref.
    """

    body: Body
    pattern: PlanPattern
    through: Through
    unknowns: np.ndarray
    conduction: Conduction
    along: np.ndarray
    across: np.ndarray

    def on_face(self, face: int, nodes: np.ndarray) -> np.ndarray:
        """Unknowns of a face at the given plan nodes, which must lie in the body."""
        return self.unknowns[np.searchsorted(self.pattern.nodes, nodes), self.through.face(face)]


@dataclass(frozen=True)
class Changing:
    """Elements with k(T) and the same thickness functions: what they conduct, element integrals, unknowns
    (elements, 6, thickness nodes)."""

    conduction: Conduction
    through: Through
    unknowns: np.ndarray
    along: np.ndarray
    across: np.ndarray


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


def slab_entries(space: PlanSpace, slab: Slab, reference: float, temperature: np.ndarray | None = None) -> Entries:
    """Conduction of one body; with k(T) taken per element and thickness quadrature point where a temperature is given, else
    as at the reference temperature [K]."""
    through, pattern = slab.through, slab.pattern
    if temperature is None or not slab.conduction.is_nonlinear:
        factor = slab.conduction.factor(np.full(len(pattern.elements), reference))
        terms = [(factor, through.mass, through.stiffness)]
    else:
        (values, slopes), weights = through.at_quadrature, through.quadrature[1]
        factors = slab.conduction.factor(element_temperatures(space, slab, temperature) @ values.T)
        terms = [
            (factor, w * np.outer(v, v), w * np.outer(s, s))
            for factor, w, v, s in zip(factors.T, weights, values, slopes)
        ]
    blocks: np.ndarray | float = 0.0
    for factor, mass, stiffness in terms:
        weight = factor[:, None, None]
        blocks = blocks + pattern.gather(weight * slab.along)[:, None, None] * mass
        blocks = blocks + pattern.gather(weight * slab.across)[:, None, None] * stiffness
    return block_entries(slab.unknowns[pattern.rows], slab.unknowns[pattern.columns], np.asarray(blocks))


def conduction_key(body: Body) -> tuple:
    """What a body and its patches say about conduction."""
    parts = [
        (
            part.outline.wkb,
            part.thickness,
            part.turned,
            part.material.conductivity,
            part.material.exponent,
            part.material.temperature_reference,
        )
        for part in body.parts
    ]
    return (body.sheet, *parts)


def joined(space: PlanSpace, slabs: Sequence[Slab]) -> Changing:
    """Bodies with k(T) and the same thickness functions as one."""
    corners = [np.searchsorted(slab.pattern.nodes, space.element_nodes[slab.pattern.elements]) for slab in slabs]

    def together(name: str) -> np.ndarray:
        return np.concatenate([getattr(slab.conduction, name) for slab in slabs], axis=-1)

    return Changing(
        conduction=Conduction(**{field.name: together(field.name) for field in fields(Conduction)}),
        through=slabs[0].through,
        unknowns=np.concatenate([slab.unknowns[each] for slab, each in zip(slabs, corners)]),
        along=np.concatenate([slab.along for slab in slabs]),
        across=np.concatenate([slab.across for slab in slabs]),
    )


def changing_heat(part: Changing, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that elements with k(T) conduct away from each unknown; as ``slab_entries`` has it, without a matrix."""
    (values, slopes), weights = part.through.at_quadrature, part.through.quadrature[1]
    local = temperature[part.unknowns]
    k = part.conduction.factor(local[:, 3:].mean(axis=1) @ values.T)
    scale = (k * weights)[:, None, :]
    heat = (part.along @ (local @ values.T) * scale) @ values + (part.across @ (local @ slopes.T) * scale) @ slopes
    return np.bincount(part.unknowns.ravel(), heat.ravel(), len(temperature))


def slab_of(space: PlanSpace, body: Body, pattern: PlanPattern, through: Through, unknowns: np.ndarray) -> Slab:
    """A body on the mesh, its element integrals taken once at the reference conductivities."""
    conduction = conduction_of(space, body, pattern.elements)
    k_xx, k_yy, k_xy = conduction.in_plane()
    t, k_z = conduction.thickness, conduction.conductivity[2]
    along = space.conduction(k_xx * t, k_yy * t, k_xy * t, pattern.elements)
    across = (k_z / t)[:, None, None] * space.mass[pattern.elements]
    return Slab(body, pattern, through, unknowns, conduction, along, across)


def element_temperatures(space: PlanSpace, slab: Slab, temperature: np.ndarray) -> np.ndarray:
    """Mean temperature [K] over each element of a body at each thickness node, (elements, nodes)."""
    middles = np.searchsorted(slab.pattern.nodes, space.element_nodes[slab.pattern.elements][:, 3:])
    return temperature[slab.unknowns[middles]].mean(axis=1)


def block_entries(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray) -> Entries:
    """Entries of blocks (entries, a, b) between unknowns rows (entries, a) and columns (entries, b)."""
    i = np.broadcast_to(rows[:, :, None], blocks.shape).ravel()
    j = np.broadcast_to(columns[:, None, :], blocks.shape).ravel()
    return blocks.ravel(), i, j


def scattered(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray, size: int) -> sp.csr_array:
    """Matrix of such blocks."""
    return summed([block_entries(rows, columns, blocks)], size)
