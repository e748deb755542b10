"""The hottest point and the mean of many fields at once, on the components' active faces: on the quadratics, not only at nodes.

A quadratic lies between the least and the largest of its control values: those at its corners, and for each side
2 f(middle) - (f(corner) + f(corner)) / 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.plan import EDGES_OF_TRIANGLE
from plancha.fem.planes import active_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import Source


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


@dataclass(frozen=True)
class FaceShape:
    """A component's active face: ``controls`` of its quadratics, its ``unknowns`` (nodes,), weights of its area mean (nodes,)."""

    controls: FaceControls
    unknowns: np.ndarray
    weights: np.ndarray


def face_shape(solution: Solution, source: Source) -> FaceShape:
    """The active face of a component."""
    sheets, space = solution.sheets, solution.sheets.space
    elements = active_elements(solution, source)
    controls = face_controls(space.element_nodes[elements])
    unknowns = sheets.slabs[source.chain[0]].on_face(source.face, controls.nodes)
    # The integral of a quadratic over a triangle is the mean of its middle nodes times the area.
    share = np.repeat(space.areas[elements] / space.areas[elements].sum() / 3, 3)
    return FaceShape(controls, unknowns, np.bincount(controls.elements[:, 3:].ravel(), share, len(unknowns)))


@dataclass(frozen=True)
class Points:
    """Rows that belong to components, those of one component side by side: ``owner`` (rows,), ``starts`` (sources,)."""

    owner: np.ndarray
    starts: np.ndarray

    def largest(self, values: np.ndarray) -> np.ndarray:
        """Each component's largest (designs, sources) of values (designs, rows)."""
        return np.maximum.reduceat(values, self.starts, axis=1)


@dataclass(frozen=True)
class Faces:
    """The components' active faces, for fields that are sums of functions with coefficients.

    Control values of corners (corners, functions) and sides (sides, functions), what held unknowns add to each, how many sides each
    component has; elements (elements, 6) as numbers of three corners and three sides, those ``beside`` each side (sides, 2); means
    (sources, functions) and what is added.
    """

    corners: np.ndarray
    corner_lift: np.ndarray
    corner_of: Points
    sides: np.ndarray
    side_lift: np.ndarray
    sides_each: np.ndarray
    elements: np.ndarray
    beside: np.ndarray
    means: np.ndarray
    mean_lift: np.ndarray


def points_of(counts: Sequence[int]) -> Points:
    """Rows of which each component has so many."""
    return Points(np.repeat(np.arange(len(counts)), counts), np.cumsum([0, *counts])[:-1])


def faces_of(shapes: Sequence[FaceShape], nodal: Sequence[np.ndarray], lift: np.ndarray) -> Faces:
    """Faces whose nodal values (nodes, functions) are given, and what is added to all fields (unknowns,)."""
    control = [shape.controls.matrix @ rows for shape, rows in zip(shapes, nodal)]
    lifts = [shape.controls.matrix @ lift[shape.unknowns] for shape in shapes]
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
        corner_lift=np.concatenate([each[:count] for each, count in zip(lifts, corners)]),
        corner_of=points_of(corners),
        sides=np.concatenate([rows[count:] for rows, count in zip(control, corners)]),
        side_lift=np.concatenate([each[count:] for each, count in zip(lifts, corners)]),
        sides_each=np.array(sides),
        elements=np.concatenate(elements),
        beside=np.concatenate([shape.controls.beside + first for shape, first in zip(shapes, first_element)]),
        means=np.array([shape.weights @ rows for shape, rows in zip(shapes, nodal)]),
        mean_lift=np.array([shape.weights @ lift[shape.unknowns] for shape in shapes]),
    )


def peaks_on(faces: Faces, coefficients: np.ndarray) -> np.ndarray:
    """Largest value (designs, sources) of each design's field on each face, on the polynomial itself.

    Only an element with a control value above the largest corner's can hold a larger one.
    """
    corners = coefficients @ faces.corners.T + faces.corner_lift
    sides = coefficients @ faces.sides.T + faces.side_lift
    best = faces.corner_of.largest(corners)
    designs, above = np.nonzero(sides > np.repeat(best, faces.sides_each, axis=1))
    owners = np.repeat(np.arange(best.shape[1]), faces.sides_each)[above]
    for elements in faces.beside[above].T:
        numbers = faces.elements[elements].T
        controls = np.concatenate([corners[designs, numbers[:3]], sides[designs, numbers[3:]]])
        np.maximum.at(best, (designs, owners), largest_of_quadratics(controls))
    return best


def means_on(faces: Faces, coefficients: np.ndarray) -> np.ndarray:
    """Area mean (designs, sources) of each design's field on each face."""
    return coefficients @ faces.means.T + faces.mean_lift


def rows_at(functions: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Values (places, functions) of functions (free, functions) at free unknowns; 0 where a place is -1, a held one."""
    rows = functions[places]
    rows[places < 0] = 0.0
    return rows
