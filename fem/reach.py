"""How far a field of a given energy can reach at a face: what turns the energy of an error into kelvins, at every point of it.

e(x)^2 <= e'Ke * phi(x)'K^-1 phi(x). All points of a face are bounded by finitely many functionals phi: its control values
(fem/faces). What is made of that for reduced models: fem/reduced.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.affine import Affine
from plancha.fem.energy import Energy, face_inverse_root
from plancha.fem.faces import FaceShape, Points, points_of

LEFT_OUT = 1e-2  # of the largest error in the energy's middle that a face is told of: the rest is bounded
SLACK = 0.05  # by which squared reaches may be told too large, for a tenth of the points
STEP = 1e-3  # by which a matrix is made smaller to see what share of a reach is its own


Controlled = tuple[np.ndarray, sp.csr_array]  # unknowns (nodes,), -1 where held at nothing, and `FaceControls.matrix`


def reach_energies(
    matrices: Sequence[sp.csr_array], varies: np.ndarray, faces: Sequence[Controlled]
) -> list[np.ndarray]:
    """Energies (controls, q) in each matrix of the answer z = K^-1 phi to each control functional of a face, K being their sum.

    They are told no smaller than they are. Their sum over the matrices is the functional's squared reach. z'K_q z is how fast that
    grows as K_q is made smaller; being convex in that, a finite step finds no less. Of a matrix that does not vary, which hardly
    counts, the whole squared reach is told.
    """
    whole = sum(matrices[1:], matrices[0])
    squares = _squared_reaches(whole, faces)
    found = [np.repeat(each[:, None], len(matrices), axis=1) for each in squares]
    for number in np.flatnonzero(varies).tolist():
        more = _squared_reaches(whole - STEP * matrices[number], faces)
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


def dominating(rows: np.ndarray) -> np.ndarray:
    """Few rows (m, k), one of which is in every column at least each of ``rows`` (n, k) and hardly more; the largest sum first.

    The maximum over them of a sum with weights >= 0 is no less than over all, and at most by SLACK more.
    """
    kept: list[np.ndarray] = []
    for row in rows[np.argsort(-rows.sum(axis=1), kind="stable")]:
        if not kept or not (np.array(kept) >= row).all(axis=1).any():
            kept.append((1 + SLACK) * row)
    return np.array(kept)


@dataclass(frozen=True)
class Reaches:
    """What bounds an error at the components' active faces.

    ``energies`` (points, q) z'K_q z of the points that matter, ``mean_energies`` (sources, q) of the means. Of a residual's
    coordinates (m,): the sizes of ``middle`` (m, rows) times these, added up for each component, and ``left`` (sources,) times the
    residual's norm bound e_mid; ``mean_middle`` (m, sources) gives its means.
    """

    energies: np.ndarray
    energy_of: Points
    mean_energies: np.ndarray
    middle: np.ndarray
    middle_of: Points
    left: np.ndarray
    mean_middle: np.ndarray


@dataclass(frozen=True)
class FaceEnergies:
    """Of a face: energies z'K_q z of the points that matter (points, q), and of the mean (q,)."""

    points: np.ndarray
    mean: np.ndarray


def face_energies(affine: Affine, energy: Energy, shapes: Sequence[FaceShape]) -> list[FaceEnergies]:
    """How far energy reaches on each face."""
    places = [affine.places[shape.unknowns] for shape in shapes]
    controlled = [(own, shape.controls.matrix) for own, shape in zip(places, shapes)]
    points = reach_energies(affine.matrices, (affine.exponents != 0).any(axis=1), controlled)
    means = [_mean_energies(affine, energy, own, shape.weights) for own, shape in zip(places, shapes)]
    return [FaceEnergies(dominating(each), mean) for each, mean in zip(points, means)]


def _mean_energies(affine: Affine, energy: Energy, places: np.ndarray, weights: np.ndarray) -> np.ndarray:
    heat = np.bincount(places[places >= 0], weights[places >= 0], len(affine.free))
    answer = energy.solved(heat[:, None])[:, 0]
    return np.array([answer @ (matrix @ answer) for matrix in affine.matrices])


def reaches_of(shapes: Sequence[FaceShape], energies: Sequence[FaceEnergies], errors: Sequence[np.ndarray]) -> Reaches:
    """What bounds errors at all faces; ``errors`` (nodes, m) are K_mid^-1 times what residuals' coordinates stand for, at each."""
    squeezed = [_squeezed(shape.controls.matrix @ rows) for shape, rows in zip(shapes, errors)]
    return Reaches(
        energies=np.concatenate([each.points for each in energies]),
        energy_of=points_of([len(each.points) for each in energies]),
        mean_energies=np.array([each.mean for each in energies]),
        middle=np.hstack([columns for columns, _ in squeezed]),
        middle_of=points_of([columns.shape[1] for columns, _ in squeezed]),
        left=np.array([left for _, left in squeezed]),
        mean_middle=np.array([shape.weights @ rows for shape, rows in zip(shapes, errors)]).T,
    )


def _squeezed(rows: np.ndarray) -> tuple[np.ndarray, float]:
    """Columns (m, k) and a number: |rows @ r| is in every row at most the sum of |r @ columns|, and the number times |r|."""
    squares, vectors = np.linalg.eigh(rows.T @ rows)
    inner = vectors[:, squares >= LEFT_OUT**2 * squares[-1]]
    outer = rows @ inner
    return inner * np.abs(outer).max(axis=0), float(np.linalg.norm(rows - outer @ inner.T, axis=1).max())


def bounds_of(reaches: Reaches, thetas: np.ndarray, residual: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bounds [K] of the error at any point of the faces, and of their means: arrays (designs, sources)."""
    norm = np.linalg.norm(residual, axis=1)[:, None]
    energy = norm / np.sqrt(thetas.min(axis=1))[:, None]
    largest = reaches.energies[reaches.energy_of.starts]
    middle = np.add.reduceat(np.abs(residual @ reaches.middle), reaches.middle_of.starts, axis=1) + reaches.left * norm
    y = _best_share(thetas, largest)
    squares = _squared_energies(thetas, y[:, reaches.energy_of.owner], reaches.energies)
    bounds = y * middle + energy * np.sqrt(reaches.energy_of.largest(squares))
    y = _best_share(thetas, reaches.mean_energies)
    squares = _squared_energies(thetas, y, reaches.mean_energies)
    return bounds, y * np.abs(residual @ reaches.mean_middle) + energy * np.sqrt(squares)


def _best_share(thetas: np.ndarray, energies: np.ndarray) -> np.ndarray:
    """The y (designs, rows) for which the sum in the module's head is least; the bound holds with any."""
    return energies.sum(axis=1) / np.maximum(thetas @ energies.T, 1e-300)


def _squared_energies(thetas: np.ndarray, y: np.ndarray, energies: np.ndarray) -> np.ndarray:
    """That sum (designs, rows)."""
    parts = y * y * (thetas @ energies.T) - 2 * y * energies.sum(axis=1) + (1 / thetas) @ energies.T
    return np.maximum(parts, 0.0)
