"""How a reduced basis comes about: the design whose bound is the worst is solved in full and joins, until all are as wanted."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.affine import Affine, affine_of
from plancha.fem.energy import Energy, energy_of
from plancha.fem.faces import FaceShape, face_shape, faces_of, rows_at
from plancha.fem.parameters import LINEAR, Parameter
from plancha.fem.reach import face_energies, reaches_of
from plancha.fem.reduced import Basis, ReducedModel, arrays_of, evaluate, model_from
from plancha.fem.solve import Solution
from plancha.geometry.store import Keep, made_anew

WANTED = 0.005  # largest bound over rise on the designs trained on; on others it is a little larger
MOST = 80  # functions
TRAINED_ON = 1024  # designs, beside all corners
NOTHING_NEW = 1e-9  # of a function's size: what is left of it beside the others is rounding


def reduced_model(
    solution: Solution,
    parameters: Sequence[Parameter],
    wanted: float = WANTED,
    errors: np.ndarray | None = None,
    most: int = MOST,
    keep: Keep = made_anew,
) -> ReducedModel:
    """Train a reduced model on a solved problem.

    Parameters
    ----------
    solution : Solution
        Whose mesh and thickness functions serve; what follows temperature stays as at it, and answers are then estimates.
    parameters : sequence of Parameter
        What varies, and from where to where; bounds hold beyond too, but grow.
    wanted : float, [-]
        Largest bound of a peak over its rise, on the designs it is trained on.
    errors : array (sources,), [-]
        Estimated discretisation errors relative to the peak rises (`ErrorEstimate`), told beside the bounds; nothing if left out.
    most : int
        No more functions than that.
    keep : function
        Which may know the model already (geometry/store).

    Raises
    ------
    NotReducible
        If a coolant is solved for, or a parameter acts otherwise than in proportion.
    """
    affine = affine_of(solution, parameters)
    shapes = [face_shape(solution, source) for source in solution.sheets.stack.sources]
    told = np.zeros(len(shapes)) if errors is None else np.asarray(errors, float)
    asked = [affine.content, [shape.unknowns for shape in shapes], wanted, most]
    found = keep("reduced", asked, lambda: arrays_of(_trained(affine, shapes, wanted, most)))
    return replace(model_from(affine, found), errors=told)


def _trained(affine: Affine, shapes: Sequence[FaceShape], wanted: float, most: int) -> ReducedModel:
    """The model, grown until its bounds are as wanted, or no further function helps."""
    energy = energy_of(affine.matrix(np.ones(len(affine.matrices))))
    energies = face_energies(affine, energy, shapes)
    designs = training_designs(affine.parameters)
    grown, chosen = _started(affine, energy, shapes), np.array([each.middle for each in affine.parameters])
    solved: set[int] = set()
    while True:
        grown = _grown(affine, energy, grown, _answer(affine, chosen))
        nodal = [rows_at(grown.basis.functions, each) for each in grown.places]
        faces, reaches = faces_of(shapes, nodal, affine.lift), reaches_of(shapes, energies, grown.errors)
        model = ReducedModel(affine, grown.basis, faces, reaches, np.inf, np.zeros(len(shapes)))
        worst = evaluate(model, designs).worst
        model, last = replace(model, reached=float(worst.max())), int(np.argmax(worst))
        if model.reached <= wanted or len(solved) + 1 >= most or last in solved:
            return model
        chosen, solved = designs[last], solved | {last}


def training_designs(parameters: Sequence[Parameter], count: int = TRAINED_ON) -> np.ndarray:
    """All corners and evenly spread designs (designs, parameters) between the parameters' lows and highs."""
    from scipy.stats import qmc

    corners = np.array(np.meshgrid(*[(0.0, 1.0)] * len(parameters))).reshape(len(parameters), -1).T
    return between(parameters, np.vstack([corners, qmc.Sobol(len(parameters), seed=1).random(count)]))


def between(parameters: Sequence[Parameter], shares: np.ndarray) -> np.ndarray:
    """Designs (designs, parameters) at shares of the way from low to high, in proportion but for powers and temperatures."""
    low = np.array([each.low for each in parameters])
    high = np.array([each.high for each in parameters])
    is_linear = np.array([each.kind in LINEAR for each in parameters])
    ratio = np.where(is_linear, 1.0, high / np.where(is_linear, 1.0, low))
    return np.where(is_linear, low + (high - low) * shares, low * ratio**shares)


@dataclass(frozen=True)
class Grown:
    """A basis while it grows: ``span`` (free, m), plainly orthonormal, holds all that residuals can be, rooted in K_mid's energy;
    ``errors`` of each face (nodes, m) are what that is there, unrooted."""

    basis: Basis
    span: np.ndarray
    errors: tuple[np.ndarray, ...]
    places: tuple[np.ndarray, ...]


def _answer(affine: Affine, design: np.ndarray) -> np.ndarray:
    """The full problem's answer (free,) at a design (parameters,)."""
    factor = energy_of(affine.matrix(affine.thetas(design[None])[0]))
    return factor.solved(affine.right_sides @ affine.right_factors(design[None]).T)[:, 0]


def _started(affine: Affine, energy: Energy, shapes: Sequence[FaceShape]) -> Grown:
    """No function yet; the right sides."""
    count, (size, rights) = len(affine.matrices), affine.right_sides.shape
    places = tuple(affine.places[shape.unknowns] for shape in shapes)
    span, parts = orthonormal(np.zeros((size, 0)), energy.rooted(affine.right_sides))
    basis = Basis(
        functions=np.zeros((size, 0)),
        matrices=np.zeros((count, 0, 0)),
        right_sides=np.zeros((rights, 0)),
        right_parts=parts.T,
        matrix_parts=np.zeros((0, count, span.shape[1])),
    )
    errors = energy.unrooted(span)
    return Grown(basis, span, tuple(rows_at(errors, each) for each in places), places)


def _grown(affine: Affine, energy: Energy, grown: Grown, answer: np.ndarray) -> Grown:
    """The basis with what is new in a further answer (free,)."""
    basis = grown.basis
    function = _new_function(energy, basis.functions, answer)
    functions = np.column_stack([basis.functions, function])
    images = [each @ functions for each in affine.matrices]
    span, parts = orthonormal(grown.span, energy.rooted(np.column_stack([image[:, -1] for image in images])))
    width, added = span.shape[1], energy.unrooted(span[:, grown.span.shape[1] :])
    return Grown(
        basis=Basis(
            functions=functions,
            matrices=np.array([functions.T @ image for image in images]),
            right_sides=affine.right_sides.T @ functions,
            right_parts=_widened(basis.right_parts, width),
            matrix_parts=np.concatenate([_widened(basis.matrix_parts, width), parts.T[None]]),
        ),
        span=span,
        errors=tuple(np.hstack([own, rows_at(added, each)]) for own, each in zip(grown.errors, grown.places)),
        places=grown.places,
    )


def _new_function(energy: Energy, functions: np.ndarray, answer: np.ndarray) -> np.ndarray:
    """What an answer adds to functions orthonormal in the energy."""
    for _ in range(2):
        answer = answer - functions @ (functions.T @ (energy.matrix @ answer))
    return answer / np.sqrt(answer @ (energy.matrix @ answer))


def _widened(parts: np.ndarray, width: int) -> np.ndarray:
    """Parts (..., m) as parts (..., width), nothing in the new ones."""
    return np.concatenate([parts, np.zeros((*parts.shape[:-1], width - parts.shape[-1]))], axis=-1)


def orthonormal(basis: np.ndarray, new: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """An orthonormal basis (n, m) with what is new in further columns (n, k); and these in it, (m + new, k).

    Everything is projected twice, so that what rounding left along the others goes (Kahan: "twice is enough", from memory).
    """
    size = np.linalg.norm(new, axis=0)
    parts = np.zeros((basis.shape[1], new.shape[1]))
    for _ in range(2):
        along = basis.T @ new
        new, parts = new - basis @ along, parts + along
    found, own = np.zeros((len(new), 0)), np.zeros((new.shape[1], new.shape[1]))
    for number, column in enumerate(new.T):
        for _ in range(2):
            along = found.T @ column
            own[: len(along), number] += along
            column = column - found @ along - basis @ (basis.T @ column)
        left = np.linalg.norm(column)
        if left > NOTHING_NEW * size[number]:
            own[found.shape[1], number] = left
            found = np.column_stack([found, column / left])
    return np.column_stack([basis, found]), np.vstack([parts, own[: found.shape[1]]])
