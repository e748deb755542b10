"""How far a field of a given energy can reach at a face: what turns the energy of an error into kelvins, at every point of it.

e(x)^2 <= e'Ke * phi(x)'K^-1 phi(x). A quadratic lies between the least and the largest of its values at corners and the control
values of its sides, 2 f(middle) - (f(corner) + f(corner)) / 2, so finitely many functionals bound all points.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.energy import face_inverse_root
from plancha.fem.plan import EDGES_OF_TRIANGLE

STEP = 1e-3  # by which a matrix is made smaller to see what share of a reach is its own


@dataclass(frozen=True)
class FaceControls:
    """Elements of a face by the values that control their quadratics: first those of all corners, then those of all sides.

    ``nodes`` (n,) plan nodes, corners first; ``corners`` how many; ``elements`` (elements, 6) numbers within them; ``matrix`` (n, n)
    takes nodal values to control values; ``beside`` (sides, 2) the elements on either side of a side, twice the same at the rim.
    """

    nodes: np.ndarray
    corners: int
    elements: np.ndarray
    matrix: sp.csr_array
    beside: np.ndarray


def face_controls(element_nodes: np.ndarray) -> FaceControls:
    """The controls of elements given by their plan nodes (elements, 6)."""
    corners, middles = np.unique(element_nodes[:, :3]), np.unique(element_nodes[:, 3:])
    local = np.hstack(
        [
            np.searchsorted(corners, element_nodes[:, :3]),
            len(corners) + np.searchsorted(middles, element_nodes[:, 3:]),
        ]
    )
    sides = local[:, EDGES_OF_TRIANGLE].reshape(-1, 3)
    number, element = sides[:, 2] - len(corners), np.repeat(np.arange(len(local)), 3)
    _, first = np.unique(number, return_index=True)
    beside = np.column_stack([element[first], element[first]])
    beside[number, 1] = element  # of the two that share a side the last stays
    one, other, middle = sides[first].T
    count, half = len(corners) + len(middles), np.full(len(middles), -0.5)
    values = np.concatenate([np.ones(len(corners)), np.full(len(middles), 2.0), half, half])
    rows, columns = np.r_[np.arange(count), middle, middle], np.r_[np.arange(count), one, other]
    matrix = sp.coo_array((values, (rows, columns)), shape=(count, count)).tocsr()
    return FaceControls(np.r_[corners, middles], len(corners), local, matrix, beside)


def largest_of_quadratics(controls: np.ndarray) -> np.ndarray:
    """Largest value (elements,) of each quadratic on its triangle, given by its control values (6, elements): corners 0, 1, 2, sides
    01, 12, 02."""
    f0, f1, f2, c01, c12, c02 = controls
    best = np.maximum(np.maximum(f0, f1), f2)
    with np.errstate(divide="ignore", invalid="ignore"):
        for a, b, c in ((f0, f1, c01), (f1, f2, c12), (f0, f2, c02)):
            # a (1-s)^2 + 2 c s (1-s) + b s^2, at its stationary point where that is a maximum between the ends.
            best = np.where((c > a) & (c > b), np.maximum(best, (c * c - a * b) / (2 * c - a - b)), best)
        slope_b, slope_c = c01 - f0, c02 - f0
        bend_bb, bend_cc, bend_bc = f0 + f1 - 2 * c01, f0 + f2 - 2 * c02, f0 + c12 - c01 - c02
        det = bend_bb * bend_cc - bend_bc * bend_bc
        b = (bend_bc * slope_c - bend_cc * slope_b) / det
        c = (bend_bc * slope_b - bend_bb * slope_c) / det
        inside = (b >= 0) & (c >= 0) & (b + c <= 1)
        return np.where(inside, np.maximum(best, f0 + slope_b * b + slope_c * c), best)


Controlled = tuple[np.ndarray, sp.csr_array]  # unknowns (nodes,), -1 where held at nothing, and `FaceControls.matrix`


def reach_energies(matrices: Sequence[sp.csr_array], faces: Sequence[Controlled]) -> list[np.ndarray]:
    """Energies (controls, q) in each matrix of the answer z = K^-1 phi to each control functional of a face, K being their sum.

    Their sum over the matrices is the functional's squared reach. z'K_q z is how fast the squared reach grows as K_q is made
    smaller; the reach being convex in that, a finite step finds no less.
    """
    whole = sum(matrices[1:], matrices[0])
    squares = _squared_reaches(whole, faces)
    found = [np.empty((len(each), len(matrices))) for each in squares]
    for number, matrix in enumerate(matrices):
        more = _squared_reaches(whole - STEP * matrix, faces)
        for energies, after, before in zip(found, more, squares):
            energies[:, number] = np.maximum(after - before, 0.0) / STEP
    return found


def _squared_reaches(matrix: sp.csr_array, faces: Sequence[Controlled]) -> list[np.ndarray]:
    """phi'K^-1 phi of each face's control functionals."""
    unknowns = np.unique(np.concatenate([own for own, _ in faces]))
    free = unknowns >= 0
    root = np.zeros((len(unknowns), np.count_nonzero(free)))
    root[free] = face_inverse_root(matrix, unknowns[free])
    rows = [controls @ root[np.searchsorted(unknowns, own)] for own, controls in faces]
    return [np.einsum("ij,ij->i", each, each) for each in rows]


def not_dominated(rows: np.ndarray) -> np.ndarray:
    """Those rows (n, k) that no other exceeds in every column: a maximum over them of a sum with weights >= 0 is one over all."""
    kept: list[np.ndarray] = []
    for row in rows[np.argsort(-rows.sum(axis=1), kind="stable")]:
        if not kept or not (np.array(kept) >= row).all(axis=1).any():
            kept.append(row)
    return np.array(kept)
