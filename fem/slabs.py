"""Bodies on the plan mesh: plan functions times thickness functions, and what each body conducts.

Per body   K = M(kz / t) (x) stiffness_z + A(t kxy) (x) mass_z   over plan nodes (x) thickness nodes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from plancha.fem.patterns import PlanMatrix, PlanPattern
from plancha.fem.plan import PlanSpace, packed_references, reference_integrals
from plancha.fem.terms import Term
from plancha.fem.thickness import Through
from plancha.geometry.bodies import Body

GRAIN = 10.0  # times better one way in the plan than across it: what fins and heat pipes do, and few materials
FARTHEST = 1e6  # a triangle's stretch at most: beyond, the better way's rounding


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

    @property
    def has_grain(self) -> bool:
        """Whether it conducts far better one way in the plan than across it and, unless it does that way alone, than through its
        thickness."""
        k_x, k_y, k_z = self.conductivity
        least, most = np.minimum(k_x, k_y), np.maximum(k_x, k_y)
        return bool(((most > GRAIN * least) & ((k_z <= least) | (least == 0))).any())

    def factor(self, temperature: np.ndarray) -> np.ndarray:
        """k over k_ref at temperatures (elements, ...) [K]."""
        shape = (-1, *(1,) * (temperature.ndim - 1))
        return (temperature / self.temperature_reference.reshape(shape)) ** self.exponent.reshape(shape)

    def in_plane(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """k_ref along the plan's own axes: xx, yy, xy."""
        k_x, k_y, _ = self.conductivity
        if not self.turned.any():
            return k_x, k_y, np.zeros_like(k_x)
        c, s = np.cos(self.turned), np.sin(self.turned)
        return k_x * c * c + k_y * s * s, k_x * s * s + k_y * c * c, (k_x - k_y) * s * c


def conduction_of(space: PlanSpace, body: Body, elements: np.ndarray) -> Conduction:
    """What the elements (numbers) of a body conduct: its own material, and in its patches theirs."""
    parts = body.parts
    which = np.zeros(len(elements), np.int8)
    for number, patch in enumerate(body.patches, 1):
        which[np.isin(elements, space.within(patch.outline), assume_unique=True)] = number

    def each(values: list) -> np.ndarray:
        if len(parts) == 1:  # no memory for what is the same everywhere
            return np.broadcast_to(np.array(values[0], float)[..., None], (*np.shape(values[0]), len(elements)))
        return np.moveaxis(np.array(values, float)[which], 0, -1)

    return Conduction(
        conductivity=each([part.material.conductivity for part in parts]),
        exponent=each([part.material.exponent for part in parts]),
        temperature_reference=each([part.material.temperature_reference for part in parts]),
        thickness=each([part.thickness for part in parts]),
        turned=each([part.turned for part in parts]),
    )


@dataclass(frozen=True)
class Slab:
    """A body on the mesh: its plan pattern, thickness functions, and global unknowns (plan nodes, thickness nodes).

    ``along`` and ``across`` (nodes, nodes) [W/K] are its plan matrices at k_ref.
    """

    body: Body
    pattern: PlanPattern
    through: Through
    unknowns: np.ndarray
    conduction: Conduction
    along: PlanMatrix
    across: PlanMatrix

    def on_face(self, face: int, nodes: np.ndarray) -> np.ndarray:
        """Unknowns of a face at the given plan nodes, which must lie in the body."""
        whole = self.unknowns[:, self.through.face(face)]
        return whole if nodes is self.pattern.nodes else whole[np.searchsorted(self.pattern.nodes, nodes)]


@dataclass(frozen=True)
class Changing:
    """Elements with k(T) and the same thickness functions: what they conduct, element integrals, unknowns
    (elements, 6, thickness nodes)."""

    conduction: Conduction
    through: Through
    unknowns: np.ndarray
    along: np.ndarray
    across: np.ndarray


def slab_term(space: PlanSpace, slab: Slab, reference: float, temperature: np.ndarray | None = None) -> Term:
    """Conduction of one body; with k(T) taken per element and thickness quadrature point where a temperature is given, else
    as at the reference temperature [K]."""
    through, conduction = slab.through, slab.conduction
    if not conduction.is_nonlinear:
        return Term(slab.unknowns, (slab.along, slab.across), np.stack([through.mass, through.stiffness]))
    if temperature is None:
        factors = conduction.factor(np.full((len(slab.pattern.elements), 1), reference))
        throughs = [through.mass[None], through.stiffness[None]]
    else:
        (values, slopes), weights = through.at_quadrature, through.quadrature[1][:, None, None]
        factors = conduction.factor(element_temperatures(space, slab, temperature) @ values.T)
        throughs = [weights * each[:, :, None] * each[:, None, :] for each in (values, slopes)]
    plans = [plan for factor in factors.T for plan in plan_matrices(space, slab.pattern, conduction, factor)]
    return Term(slab.unknowns, tuple(plans), np.stack(throughs, axis=1).reshape(-1, *throughs[0].shape[1:]))


def along_and_across(term: Term) -> tuple[Term, Term]:
    """A body's conduction along the plan and through its thickness, apart: `slab_term` has their products in turn."""
    along, across = (Term(term.unknowns, term.plans[n::2], term.throughs[n::2]) for n in (0, 1))
    return along, across


def plan_matrices(
    space: PlanSpace, pattern: PlanPattern, conduction: Conduction, factor: np.ndarray | float = 1.0
) -> tuple[PlanMatrix, PlanMatrix]:
    """Plan matrices of what a body conducts along, A(t kxy), and across, M(kz / t), at ``factor`` (elements,) times k_ref."""
    products, slopes = packed_references()
    along, across = plan_weights(space, pattern.elements, conduction)
    scale = np.broadcast_to(factor, len(pattern.elements))[:, None]
    return PlanMatrix(pattern, scale * along, slopes), PlanMatrix(pattern, scale * across, products)


def stretches(along: PlanMatrix) -> np.ndarray:
    """How many times longer each triangle (elements,) of a body would be one way than across it, were all drawn so that they
    conduct alike both ways."""
    bb, cc, bc = along.weights.T
    # Eigenvalues of the slopes' weights in terms of an equal-sided triangle's, which are 1, 1 and -1/2.
    mean, product = (bb + cc + bc) * (2 / 3), (bb * cc - bc * bc) * (4 / 3)
    most = mean + np.sqrt(np.maximum(mean * mean - product, 0.0))
    both = np.sqrt(np.maximum(product, (most / FARTHEST) ** 2))
    # 1 where nothing goes along the plan.
    return np.divide(most, both, out=np.ones_like(most), where=both > 0)


def plan_weights(space: PlanSpace, elements: np.ndarray, conduction: Conduction) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the reference slope products (elements, 3) and products (elements, 1) in what a body conducts at k_ref."""
    t, k_z = conduction.thickness, conduction.conductivity[2]
    k_xx, k_yy, k_xy = conduction.in_plane()
    return space.conduction(t * k_xx, t * k_yy, t * k_xy, elements), space.products(k_z / t, elements)


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

    references = reference_integrals()[::-1]
    weights = [plan_weights(space, slab.pattern.elements, slab.conduction) for slab in slabs]

    def integrals(which: int) -> np.ndarray:
        return np.tensordot(np.concatenate([each[which] for each in weights]), references[which], 1)

    return Changing(
        conduction=Conduction(**{field.name: together(field.name) for field in fields(Conduction)}),
        through=slabs[0].through,
        unknowns=np.concatenate([slab.unknowns[each] for slab, each in zip(slabs, corners)]),
        along=integrals(0),
        across=integrals(1),
    )


def changing_heat(part: Changing, temperature: np.ndarray) -> np.ndarray:
    """Heat (unknowns,) [W] that elements with k(T) conduct away from each unknown; as ``slab_term`` has it, without a matrix."""
    (values, slopes), weights = part.through.at_quadrature, part.through.quadrature[1]
    local = temperature[part.unknowns]
    k = part.conduction.factor(local[:, 3:].mean(axis=1) @ values.T)
    scale = (k * weights)[:, None, :]
    heat = (part.along @ (local @ values.T) * scale) @ values + (part.across @ (local @ slopes.T) * scale) @ slopes
    return np.bincount(part.unknowns.ravel(), heat.ravel(), len(temperature))


def slab_of(space: PlanSpace, body: Body, pattern: PlanPattern, through: Through, unknowns: np.ndarray) -> Slab:
    """A body on the mesh, its plan matrices taken once at the reference conductivities."""
    conduction = conduction_of(space, body, pattern.elements)
    along, across = plan_matrices(space, pattern, conduction)
    return Slab(body, pattern, through, unknowns, conduction, along, across)


def element_temperatures(space: PlanSpace, slab: Slab, temperature: np.ndarray) -> np.ndarray:
    """Mean temperature [K] over each element of a body at each thickness node, (elements, nodes)."""
    middles = np.searchsorted(slab.pattern.nodes, space.element_nodes[slab.pattern.elements][:, 3:])
    return temperature[slab.unknowns[middles]].mean(axis=1)
