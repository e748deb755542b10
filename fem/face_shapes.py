"""The components' active faces as a reduced model needs them: control values, means, and how far errors may reach there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.affine import Affine
from plancha.fem.energy import Energy
from plancha.fem.planes import active_elements
from plancha.fem.reach import FaceControls, face_controls, not_dominated, reach_energies
from plancha.fem.reduced import Faces, Reaches, points_of, rows_at
from plancha.fem.solve import Solution

LEFT_OUT = 1e-2  # of the largest error in the energy's middle that a face is told of: the rest is bounded


@dataclass(frozen=True)
class FaceShape:
    """A component's active face, whatever the basis: ``controls`` of its quadratics, ``places`` (nodes,) among the free unknowns,
    -1 where held, rises there if held (nodes,), weights of its area mean (nodes,); energies z'K_q z of the points that matter
    (points, q) and of the mean (q,)."""

    controls: FaceControls
    places: np.ndarray
    lift: np.ndarray
    weights: np.ndarray
    energies: np.ndarray
    mean_energies: np.ndarray


def face_shapes(solution: Solution, affine: Affine, energy: Energy) -> list[FaceShape]:
    """The components' active faces, with how far energy reaches there."""
    sheets, space = solution.sheets, solution.sheets.space
    found = []
    for source in sheets.stack.sources:
        elements = active_elements(solution, source)
        controls = face_controls(space.element_nodes[elements])
        unknowns = sheets.slabs[source.chain[0]].on_face(source.face, controls.nodes)
        share = np.repeat(space.areas[elements] / space.areas[elements].sum() / 3, 3)
        weights = np.bincount(controls.elements[:, 3:].ravel(), share, len(controls.nodes))
        places = affine.places[unknowns]
        mean = _mean_energies(affine, energy, places, weights)
        found.append(FaceShape(controls, places, affine.lift[unknowns], weights, np.zeros((0, 0)), mean))
    energies = reach_energies(affine.matrices, [(shape.places, shape.controls.matrix) for shape in found])
    return [replace(shape, energies=not_dominated(each)) for shape, each in zip(found, energies)]


def _mean_energies(affine: Affine, energy: Energy, places: np.ndarray, weights: np.ndarray) -> np.ndarray:
    heat = np.bincount(places[places >= 0], weights[places >= 0], len(affine.free))
    answer = energy.solved(heat[:, None])[:, 0]
    return np.array([answer @ (matrix @ answer) for matrix in affine.matrices])


def faces_of(shapes: Sequence[FaceShape], functions: np.ndarray) -> Faces:
    """All faces in a basis of functions (free, functions)."""
    nodal = [rows_at(functions, shape.places) for shape in shapes]
    control = [shape.controls.matrix @ rows for shape, rows in zip(shapes, nodal)]
    lift = [shape.controls.matrix @ shape.lift for shape in shapes]
    corners = [shape.controls.corners for shape in shapes]
    sides = [len(shape.controls.beside) for shape in shapes]
    first_corner, first_side = np.cumsum([0, *corners]), np.cumsum([0, *sides])
    first_element = np.cumsum([0, *(len(shape.controls.elements) for shape in shapes)])
    elements = [
        shape.controls.elements + np.repeat([corner, side - count], 3)
        for shape, corner, side, count in zip(shapes, first_corner, first_side, corners)
    ]
    return Faces(
        corners=np.concatenate([rows[:count] for rows, count in zip(control, corners)]),
        corner_lift=np.concatenate([each[:count] for each, count in zip(lift, corners)]),
        corner_of=points_of(corners),
        sides=np.concatenate([rows[count:] for rows, count in zip(control, corners)]),
        side_lift=np.concatenate([each[count:] for each, count in zip(lift, corners)]),
        sides_each=np.array(sides),
        elements=np.concatenate(elements),
        beside=np.concatenate([shape.controls.beside + first for shape, first in zip(shapes, first_element)]),
        means=np.array([shape.weights @ rows for shape, rows in zip(shapes, nodal)]),
        mean_lift=np.array([shape.weights @ shape.lift for shape in shapes]),
    )


def reaches_of(shapes: Sequence[FaceShape], errors: Sequence[np.ndarray]) -> Reaches:
    """What bounds errors at all faces; ``errors`` (nodes, m) are K_mid^-1 times what residuals' coordinates stand for, at each."""
    squeezed = [_squeezed(shape.controls.matrix @ rows) for shape, rows in zip(shapes, errors)]
    return Reaches(
        energies=np.concatenate([shape.energies for shape in shapes]),
        energy_of=points_of([len(shape.energies) for shape in shapes]),
        mean_energies=np.array([shape.mean_energies for shape in shapes]),
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
