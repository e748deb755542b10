"""Finer discretisations of the same problem: triangles cut into four, all or some; more degrees or sub-layers in thickness."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import PlanSpace
from plancha.fem.slabs import Slab
from plancha.fem.solve import Solution
from plancha.fem.thickness import SHEET_DEGREE, Through
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh, predicted_triangles
from plancha.geometry.mesh import PlanMesh, nested, quartered
from plancha.geometry.store import Keep, made_anew

CUT = 4  # triangles that one is cut into
MANY = 5_000  # triangles of one body that the mesher is asked for at most
TOO_MANY = 2.5  # times the triangles wanted
MOST_DEGREE = 4  # of a body of one layer, before it is cut


def refined(mesh: PlanMesh, marked: np.ndarray | None = None) -> PlanMesh:
    """The mesh with every triangle cut into four; or the marked ones (numbers) and what conformity asks beside them."""
    if marked is None:
        return quartered(mesh)
    from skfem import MeshTri

    finer = MeshTri(mesh.points.T.copy(), mesh.triangles.T.astype(np.int64)).refined(marked)
    return nested(finer.p.T, finer.t.T, mesh)


def fully_cut(mesh: PlanMesh) -> np.ndarray:
    """Which triangles of the mesh that one was refined from were cut into four; bool, (its triangles,)."""
    assert mesh.descent is not None
    return np.bincount(mesh.descent.parents, minlength=len(mesh.descent.parent.triangles)) == CUT


def first_mesh(stack: Stack, snapped: Sequence[str] = (), keep: Keep = made_anew) -> PlanMesh:
    """The plan mesh of a (snapped) stack: `plan_mesh`, or, where that would have many triangles, a coarser one that is cut in four.

    Nested meshes are made sooner than fine ones, and solved on sooner. Where outlines alone ask for most of the triangles, a coarser
    mesh has hardly fewer, and is not cut.
    """
    wanted = float(predicted_triangles(stack).max(initial=0.0))
    cuts = max(0, math.ceil(math.log(max(wanted, 1.0) / MANY, CUT)))
    mesh = plan_mesh(stack, 0.5**cuts, snapped, keep)
    if cuts and len(mesh.triangles) * CUT**cuts > TOO_MANY * wanted:
        return plan_mesh(stack, 1.0, snapped, keep)
    for _ in range(cuts):
        mesh = refined(mesh)
    return mesh


def halved(through: Through, marked: np.ndarray | None = None) -> Through:
    """Thickness functions with every sub-layer, or the marked ones (bool), cut in two; a sheet stays a sheet."""
    if through.degree == SHEET_DEGREE:
        return through
    breaks = np.array(through.breaks)
    middles = (breaks[1:] + breaks[:-1]) / 2
    middles = middles if marked is None else middles[marked]
    return Through(tuple(float(b) for b in np.sort(np.concatenate([breaks, middles]))), through.degree)


def raised(through: Through) -> Through:
    """Thickness functions one degree higher; a sheet stays a sheet."""
    return through if through.degree == SHEET_DEGREE else replace(through, degree=through.degree + 1)


def finer_layers(solution: Solution, felt: np.ndarray, share: float) -> tuple[Through, ...]:
    """Thickness functions made finer where the given share of the thickness error of a quantity lies.

    A body of one layer gets the next degree, up to MOST_DEGREE: its temperatures are smooth. Else the sub-layers are cut in two.
    ``felt`` (unknowns,) [K/W] is how the quantity responds to heat placed at each unknown.
    """
    sheets = solution.sheets
    rise = solution.temperature - sheets.stack.reference
    lacking = [_layer_errors(sheets.space, slab, rise, felt) for slab in sheets.slabs]
    errors = np.concatenate(lacking)
    order = np.argsort(-errors)
    count = int(np.searchsorted(np.cumsum(errors[order]), share * errors.sum())) + 1
    least = errors[order[min(count, len(errors)) - 1]]
    return tuple(_finer(slab.through, error >= least) for slab, error in zip(sheets.slabs, lacking))


def _finer(through: Through, marked: np.ndarray) -> Through:
    if not marked.any():
        return through
    is_one = len(through.breaks) == 2 and through.degree < MOST_DEGREE
    return raised(through) if is_one else halved(through, marked)


def _layer_errors(space: PlanSpace, slab: Slab, rise: np.ndarray, felt: np.ndarray) -> np.ndarray:
    """What the next polynomial of each sub-layer of a body (sub-layers,) would change in a quantity, by magnitude.

    Its slope is orthogonal to the slopes at hand, so only the sideways flow feeds it: with b the polynomial and w = integral of b
    times the functions, it is A(t kxy) T w, of the temperatures times of what the quantity feels, over M(kz / t) times the integral
    of b'^2, node by node.
    """
    through = slab.through
    if through.degree == SHEET_DEGREE:
        return np.zeros(1)
    sideways, stiffness = slab.along.csr, slab.across.csr.diagonal()
    moments, norms = through.next_polynomials
    own, response = (sideways @ (field[slab.unknowns] @ moments.T) for field in (rise, felt))
    return np.abs((own * response / stiffness[:, None]).sum(axis=0)) / norms


def plan_errors(solution: Solution, felt: np.ndarray) -> np.ndarray:
    """Plan error of quantities by triangle (triangles, quantities), up to a common factor.

    ``felt`` (unknowns, quantities) [K/W] is how each responds to heat placed at each unknown. An error counts as far as the quantity
    feels it: its energy in the temperatures times its energy in ``felt``, each measured as slope against slope smoothed over
    neighbouring triangles (Zienkiewicz and Zhu 1987, from memory).
    """
    sheets = solution.sheets
    fields = np.column_stack([solution.temperature, felt])
    energies = np.zeros((len(sheets.space.areas), fields.shape[1]))
    for slab in sheets.slabs:
        energies[slab.pattern.elements] += _slab_errors(sheets.space, slab, fields, sheets.stack.reference)
    return np.sqrt(energies[:, :1] * energies[:, 1:])


def worst_triangles(errors: np.ndarray, share: float) -> np.ndarray:
    """Triangles (numbers) that hold the given share of an error (triangles,), the worst first."""
    order = np.argsort(-errors)
    count = int(np.searchsorted(np.cumsum(errors[order]), share * errors.sum())) + 1
    return order[:count]


def _slab_errors(space: PlanSpace, slab: Slab, fields: np.ndarray, reference: float) -> np.ndarray:
    """Energy (elements, fields) of the difference between slopes and smoothed slopes, summed through the thickness."""
    elements = slab.pattern.elements
    corners = np.searchsorted(slab.pattern.nodes, space.element_nodes[elements])
    conduction = slab.conduction
    scale = conduction.factor(np.full(len(elements), reference)) * conduction.thickness
    k_xx, k_yy, _ = (scale * k for k in conduction.in_plane())
    smoothing = _smoothing(corners[:, :3], len(slab.pattern.nodes))
    error = np.zeros((len(elements), fields.shape[1]))
    for level, weight in enumerate(slab.through.mass.sum(axis=1)):
        along = _corner_slopes(space, elements, fields[slab.unknowns[:, level]][corners])
        for slopes, k in zip(along, (k_xx, k_yy)):
            rough = slopes - (smoothing @ slopes.reshape(-1, fields.shape[1]))[corners[:, :3]]
            error += weight * (k * space.areas[elements])[:, None] * (rough**2).mean(axis=1)
    return error


def _smoothing(corners: np.ndarray, count: int) -> sp.csr_array:
    """Takes values at corners of triangles (triangles, 3), laid flat, to their means at the plan nodes (count,)."""
    each = np.bincount(corners.ravel(), minlength=count)
    places = (corners.ravel(), np.arange(corners.size))
    return sp.coo_array((1 / each[corners.ravel()], places), shape=(count, corners.size)).tocsr()


def _corner_slopes(space: PlanSpace, elements: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes along x and y (elements, corner, fields) of quadratics with nodal values (elements, 6, fields) at triangles' corners."""
    corner = space.nodes[space.element_nodes[elements, :3]]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    f0, f1, f2, f01, f12, f02 = np.moveaxis(values, 1, 0)
    # Slopes along b and c (barycentric) at the corners a, b, c.
    along_b = np.stack([4 * f01 - 3 * f0 - f1, 3 * f1 + f0 - 4 * f01, f0 - f1 + 4 * (f12 - f02)], axis=1)
    along_c = np.stack([4 * f02 - 3 * f0 - f2, f0 - f2 + 4 * (f12 - f01), 3 * f2 + f0 - 4 * f02], axis=1)
    u, v = (side / (u[:, :1] * v[:, 1:] - u[:, 1:] * v[:, :1]) for side in (u, v))
    (ux, uy), (vx, vy) = (side.T[:, :, None, None] for side in (u, v))
    return along_b * vy - along_c * uy, along_c * ux - along_b * vx
