"""Bodies on the plan mesh: plan functions times thickness functions, and what each body conducts.

Per body   K = M(kz / t) (x) stiffness_z + A(t kxy) (x) mass_z   over plan nodes (x) thickness nodes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import PlanPattern, PlanSpace
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Body
from plancha.geometry.materials import Material, conductivity_at, is_nonlinear

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
class Changing:
    """Elements whose conductivity depends on temperature in one way: material, thickness functions, element integrals, unknowns
    (elements, 6, thickness nodes)."""

    material: Material
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


def in_plane(body: Body, k_x: np.ndarray, k_y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Conductivities (xx, yy, xy) along the plan of a material whose own axes are turned by ``body.turned``."""
    c, s = np.cos(body.turned), np.sin(body.turned)
    return k_x * c * c + k_y * s * s, k_x * s * s + k_y * c * c, (k_x - k_y) * s * c


def slab_entries(space: PlanSpace, slab: Slab, reference: float, temperature: np.ndarray | None = None) -> Entries:
    """Conduction of one body; with k(T) taken per element and thickness quadrature point where a temperature is given, else
    as at the reference temperature [K]."""
    through, pattern = slab.through, slab.pattern
    if temperature is None or not is_nonlinear(slab.body.material):
        factor = _k_over_k_ref(slab, np.full(len(pattern.elements), reference))
        terms = [(factor, through.mass, through.stiffness)]
    else:
        (values, slopes), weights = through.at_quadrature, through.quadrature[1]
        factors = _k_over_k_ref(slab, element_temperatures(space, slab, temperature) @ values.T)
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


def conduction_key(material: Material) -> tuple:
    """What a material says about conduction."""
    return material.conductivity, material.exponent, material.temperature_reference


def joined(space: PlanSpace, slabs: Sequence[Slab]) -> Changing:
    corners = [np.searchsorted(slab.pattern.nodes, space.element_nodes[slab.pattern.elements]) for slab in slabs]
    return Changing(
        material=slabs[0].body.material,
        through=slabs[0].through,
        unknowns=np.concatenate([slab.unknowns[each] for slab, each in zip(slabs, corners)]),
        along=np.concatenate([slab.along for slab in slabs]),
        across=np.concatenate([slab.across for slab in slabs]),
    )


def changing_heat(part: Changing, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that elements with k(T) conduct away from each unknown; as ``slab_entries`` has it, without a matrix."""
    (values, slopes), weights = part.through.at_quadrature, part.through.quadrature[1]
    local = temperature[part.unknowns]
    k = conductivity_at(part.material, local[:, 3:].mean(axis=1) @ values.T)[2] / part.material.conductivity[2]
    scale = (k * weights)[:, None, :]
    heat = (part.along @ (local @ values.T) * scale) @ values + (part.across @ (local @ slopes.T) * scale) @ slopes
    return np.bincount(part.unknowns.ravel(), heat.ravel(), len(temperature))


def _k_over_k_ref(slab: Slab, temperature: np.ndarray) -> np.ndarray:
    """Conductivity over its reference value, the same in all directions."""
    return conductivity_at(slab.body.material, temperature)[2] / slab.body.material.conductivity[2]


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


def block_entries(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray) -> Entries:
    """Entries of blocks (entries, a, b) between unknowns rows (entries, a) and columns (entries, b)."""
    i = np.broadcast_to(rows[:, :, None], blocks.shape).ravel()
    j = np.broadcast_to(columns[:, None, :], blocks.shape).ravel()
    return blocks.ravel(), i, j


def scattered(rows: np.ndarray, columns: np.ndarray, blocks: np.ndarray, size: int) -> sp.csr_array:
    return summed([block_entries(rows, columns, blocks)], size)
