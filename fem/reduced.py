"""A problem with a few parameters solved in a basis of its own solutions: thousands of designs at once, each with an error bound.

Bounds hold against the full discrete problem. With the residual r, the factors theta_q of its matrices K_q (fem/affine), K_mid the
sum of these, e_mid = K_mid^-1 r, z = K_mid^-1 phi what the middle problem answers to the functional phi of a point, and any number y,

    phi'e = y phi'e_mid + r'(K^-1 phi - y z)
    |r'(K^-1 phi - y z)|^2  <=  r'K_mid^-1 r / min_q theta_q  *  sum_q (y theta_q - 1)^2 / theta_q  z'K_q z

The first term is computed; in the second the part of z near its point, nearly all of its energy, counts only as far as the matrices
there vary (fem/reach). Derived independently; the pieces are the usual ones of certified reduced bases (Rozza, Huynh and Patera 2008,
from memory). How the basis comes about: fem/greedy.
"""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from plancha.fem.affine import Affine
from plancha.fem.faces import Faces, Points, means_on, peaks_on, rows_at
from plancha.fem.reach import Reaches, bounds_of

SMALL = 0.05  # of the largest rise: a component's own rise below this counts as this
CHUNK = 128  # designs at a time: what is made of them stays in the processor's cache


@dataclass(frozen=True)
class Basis:
    """Functions over the free unknowns (free, functions), orthonormal in the energy of K_mid, and the problem reduced to them:
    ``matrices`` (q, functions, functions), ``right_sides`` (j, functions).

    Residuals have coordinates in an orthonormal basis of all they can be, where no digits cancel (Buhr, Engwer, Ohlberger and Rave
    2014, from memory): ``right_parts`` (j, m), ``matrix_parts`` (functions, q, m).
    """

    functions: np.ndarray
    matrices: np.ndarray
    right_sides: np.ndarray
    right_parts: np.ndarray
    matrix_parts: np.ndarray


@dataclass(frozen=True)
class ReducedModel:
    """A reduced basis and what it needs to answer; ``reached`` [-] is the largest bound over rise on the designs it was trained on.

    ``errors`` (sources,) [-] are the discretisation's own, relative to the peak rises.
    """

    affine: Affine
    basis: Basis
    faces: Faces
    reaches: Reaches
    reached: float
    errors: np.ndarray

    @property
    def is_certified(self) -> bool:
        """Whether bounds hold against the problem as it is; else they hold against its linear form, and answers are estimates."""
        return self.affine.exact

    def __repr__(self) -> str:
        names = ", ".join(f"{each.name} {each.low:g} to {each.high:g}" for each in self.affine.parameters)
        kind = "certified" if self.is_certified else "estimate"
        size = f"{self.basis.functions.shape[1]} functions for {len(self.affine.free)} unknowns"
        return f"ReducedModel({size}, {kind}, bound {100 * self.reached:.2g} % of the rise; {names})"


PARTS = {Basis: "basis", Faces: "faces", Reaches: "reaches"}  # of a model, by their names in it


@dataclass(frozen=True)
class Answers:
    """What a reduced model says of designs: per component (designs, sources) peak and mean rise [K] over the active face, above the
    stack's reference, and the bounds of their errors [K] against the full discrete problem.

    ``discretisation`` [K] is the estimated error of that problem's own peaks, on top. ``coefficients`` (designs, functions) are the
    fields, see `face_rises`.
    """

    peaks: np.ndarray
    bounds: np.ndarray
    means: np.ndarray
    mean_bounds: np.ndarray
    discretisation: np.ndarray
    coefficients: np.ndarray

    @property
    def worst(self) -> np.ndarray:
        """Largest bound of a peak over its rise in each design (designs,); a rise counts at least a small share of the largest."""
        rises = np.abs(self.peaks)
        least = SMALL * rises.max(axis=1, keepdims=True, initial=1e-300)
        return (self.bounds / np.maximum(rises, least)).max(axis=1)


def evaluate(model: ReducedModel, values: np.ndarray, threads: int = 1) -> Answers:
    """Answers for designs (designs, parameters), SI; see `Answers`."""
    values = np.asarray(values, float).reshape(-1, len(model.affine.parameters))
    chunks = [values[start : start + CHUNK] for start in range(0, max(len(values), 1), CHUNK)]
    with ThreadPoolExecutor(threads) as pool:
        parts = list(pool.map(lambda chunk: _evaluated(model, chunk), chunks))
    return Answers(*(np.concatenate(each) for each in zip(*parts)))


def _evaluated(model: ReducedModel, values: np.ndarray) -> tuple[np.ndarray, ...]:
    """The fields of `Answers` for some designs."""
    affine, basis = model.affine, model.basis
    thetas, factors = affine.thetas(values), affine.right_factors(values)
    count, size, _ = basis.matrices.shape
    matrices = (thetas @ basis.matrices.reshape(count, -1)).reshape(-1, size, size)
    found = np.linalg.solve(matrices, (factors @ basis.right_sides)[:, :, None])[:, :, 0]
    products = (found[:, :, None] * thetas[:, None, :]).reshape(len(values), -1)
    residual = factors @ basis.right_parts - products @ basis.matrix_parts.reshape(size * count, -1)
    peaks, means = peaks_on(model.faces, found), means_on(model.faces, found)
    bounds, mean_bounds = bounds_of(model.reaches, thetas, residual)
    return peaks, bounds, means, mean_bounds, np.abs(peaks) * model.errors, found


def face_rises(model: ReducedModel, coefficients: np.ndarray, body: int, face: int) -> np.ndarray:
    """Rises [K] on a body's face at all plan nodes, NaN off the body: (nodes,) of one design, (designs, nodes) of several."""
    sheets = model.affine.sheets
    slab = sheets.slabs[body]
    unknowns = slab.unknowns[:, slab.through.face(face)]
    values = np.full((*np.shape(coefficients)[:-1], len(sheets.space.nodes)), np.nan)
    values[..., slab.pattern.nodes] = (
        coefficients @ rows_at(model.basis.functions, model.affine.places[unknowns]).T + model.affine.lift[unknowns]
    )
    return values


def arrays_of(model: ReducedModel) -> dict[str, np.ndarray]:
    """All of a model but its problem, as named arrays."""
    found = {"reached": np.array(model.reached), "errors": model.errors}
    for part in PARTS:
        for field in fields(part):
            value = getattr(getattr(model, PARTS[part]), field.name)
            points = {"owner": value.owner, "starts": value.starts} if isinstance(value, Points) else {"": value}
            found |= {f"{PARTS[part]}.{field.name}.{name}": each for name, each in points.items()}
    return found


def model_from(affine: Affine, arrays: Mapping[str, np.ndarray]) -> ReducedModel:
    """The model that `arrays_of` took apart, on its problem."""

    def part(kind: type) -> Any:
        own = {}
        for field in fields(kind):
            name = f"{PARTS[kind]}.{field.name}."
            is_points = f"{name}owner" in arrays
            own[field.name] = Points(arrays[f"{name}owner"], arrays[f"{name}starts"]) if is_points else arrays[name]
        return kind(**own)

    return ReducedModel(affine, part(Basis), part(Faces), part(Reaches), float(arrays["reached"]), arrays["errors"])
