"""Problems near a solved one, on its mesh: first the best combination of what was solved before, then steps with the kept factor.

Each body, joint and film is a piece of the matrix, K = sum_q s_q K_q, and a problem of the same mesh mostly has the same pieces by
other factors s_q. So the pieces are reduced once to the space V of earlier answers, and for new factors

    (sum_q s_q V'K_q V) c = V'f        rise = V c

is a small system. Where its residual is too large a step with the kept factor is solved for, joins the space, and the small system is
solved again. k(T) goes with the mean over each body, its pattern stays as at the first answer: good for a preview, not for a result.
Derived independently: Galerkin projection on recycled solutions.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from plancha.fem.feedback import has_feedback
from plancha.fem.sheets import Sheets
from plancha.fem.slabs import Slab, along_and_across, element_temperatures, slab_term
from plancha.fem.solve import Solution, SolveFailed, System, free_unknowns
from plancha.fem.terms import Operator

SETTLED = 2e-2  # share of all heat that may be out of balance: peaks are then off by hundredths of a kelvin
STEPS = 30
PASSES = 2  # by which k(T) and temperatures agree
COLDEST = 50.0  # K; no bad combination makes k(T) of less
MOST, DROPPED = 40, 12  # functions of the space, and how many of the oldest go when it is full
SAME = 1e-9  # relative: numbers that differ by less are the same times a factor
NOTHING_NEW = 1e-8  # of a function's size: what is left of it beside the others is rounding


class NotNearby(Exception):
    """The problem is not one of the same pieces by other factors: it has to be solved by itself."""


@dataclass(frozen=True)
class Piece:
    """A part of the matrix over its own unknowns, by the ``numbers`` that it is proportional to; k(T) as at the first answer."""

    numbers: np.ndarray
    unknowns: np.ndarray
    matrix: sp.csr_array

    def times(self, vector: np.ndarray) -> np.ndarray:
        """Its product with a vector over all unknowns, over its own ones."""
        return self.matrix @ vector[self.unknowns]


@dataclass(frozen=True)
class Neighbourhood:
    """A solved problem, its pieces, and the space of answers near it.

    ``means`` (bodies,) are k over k_ref at the first answer; ``basis`` (unknowns, m) is orthonormal and nothing at held unknowns;
    ``reduced`` (q, m, m) are the pieces in it.
    """

    near: System
    pieces: tuple[Piece, ...]
    means: np.ndarray
    basis: np.ndarray
    reduced: np.ndarray


def is_within_reach(sheets: Sheets) -> bool:
    """Whether problems of this kind have neighbourhoods: no coolants, films or powers that follow temperature."""
    return not (sheets.streams or sheets.unforced or has_feedback(sheets.stack.sources))


def neighbourhood_of(solution: Solution) -> Neighbourhood:
    """The neighbourhood of a solution that `is_within_reach`, which is its first answer."""
    sheets = solution.sheets
    pieces = tuple(_pieces(sheets, solution.temperature))
    means = _mean_factors(sheets, solution.temperature)
    empty = Neighbourhood(solution.near, pieces, means, np.zeros((sheets.size, 0)), np.zeros((len(pieces), 0, 0)))
    return _with_answer(empty, solution.temperature - sheets.stack.reference - _lift(sheets))


def nearby(around: Neighbourhood, sheets: Sheets, settled: float = SETTLED) -> tuple[Solution, Neighbourhood]:
    """The solution of a problem on the same mesh, and the neighbourhood with what was learnt.

    Parameters
    ----------
    sheets : Sheets
        Of the same unknowns.
    settled : float, [-]
        Share of all heat that may be out of balance.

    Raises
    ------
    NotNearby
        If its pieces are not those of the neighbourhood times a factor each.
    SolveFailed
        If the temperatures do not settle.
    """
    factors = _factors(around, sheets)
    reference, lift = sheets.stack.reference, _lift(sheets)
    heat = sheets.powers @ sheets.unit_loads + sheets.coolant_heat_above(reference)
    moving = max(float(np.abs(sheets.powers @ sheets.unit_loads).sum()), float(np.abs(heat).sum()), 1e-300)
    rise, scaled = lift, factors
    for step in range(1, STEPS + 1):
        for _ in range(PASSES if sheets.changing else 1):
            rise = _combined(around, scaled, heat, lift)
            scaled = factors * _conducting(around, sheets, reference + rise)
        lacking = heat - _product(around.pieces, scaled, rise)
        lacking[sheets.held] = 0.0
        if np.abs(lacking).sum() <= settled * moving:
            return Solution(sheets, around.near, sheets.powers, reference + rise, step), around
        around = _with_answer(around, around.near.rises(lacking))
    raise SolveFailed(f"the temperatures did not settle in {STEPS} steps")


def _combined(around: Neighbourhood, factors: np.ndarray, heat: np.ndarray, lift: np.ndarray) -> np.ndarray:
    """The best rises (unknowns,) [K] that the space has for pieces with factors (q,)."""
    right = heat - _product(around.pieces, factors, lift) if lift.any() else heat
    matrix = np.einsum("q,qij->ij", factors, around.reduced)
    return lift + around.basis @ np.linalg.solve(matrix, around.basis.T @ right)


def _conducting(around: Neighbourhood, sheets: Sheets, temperature: np.ndarray) -> np.ndarray:
    """Factor of each piece (q,) by what k(T) is on the mean over its body, against that of the first answer."""
    means = _mean_factors(sheets, temperature) / around.means
    return np.concatenate([np.repeat(means, 2), np.ones(len(around.pieces) - 2 * len(means))])


def _mean_factors(sheets: Sheets, temperature: np.ndarray) -> np.ndarray:
    """k over k_ref of each body (bodies,), on the mean."""
    return np.array([_mean_factor(sheets, slab, temperature) for slab in sheets.slabs])


def _mean_factor(sheets: Sheets, slab: Slab, temperature: np.ndarray) -> float:
    if not slab.conduction.is_nonlinear:
        return 1.0
    own = element_temperatures(sheets.space, slab, temperature).mean(axis=1)
    areas = sheets.space.areas[slab.pattern.elements]
    return float(areas @ slab.conduction.factor(np.maximum(own, COLDEST)) / areas.sum())


def _lift(sheets: Sheets) -> np.ndarray:
    """Rises (unknowns,) [K] that are held; nothing elsewhere."""
    lift = np.zeros(sheets.size)
    lift[sheets.held] = sheets.held_temperatures - sheets.stack.reference
    return lift


def _pieces(sheets: Sheets, temperature: np.ndarray) -> Iterator[Piece]:
    numbers = _numbers(sheets)
    for slab in sheets.slabs:
        for matrix in _along_and_across(sheets, slab, temperature):
            yield _piece(next(numbers), matrix, np.unique(slab.unknowns))
    for joint in sheets.joints:
        yield _piece(next(numbers), Operator(sheets.size, (joint,)).csr, np.unique(joint.unknowns))
    for exchange in sheets.exchanges:
        matrix = exchange.matrix.csr
        yield _piece(next(numbers), matrix, np.flatnonzero(np.diff(matrix.indptr)))


def _along_and_across(sheets: Sheets, slab: Slab, temperature: np.ndarray) -> list[sp.csr_array]:
    """What a body conducts along the plan and through its thickness."""
    parts = along_and_across(slab_term(sheets.space, slab, sheets.stack.reference, temperature))
    return [Operator(sheets.size, (part,)).csr for part in parts]


def _piece(numbers: np.ndarray, matrix: sp.csr_array, unknowns: np.ndarray) -> Piece:
    return Piece(numbers, unknowns, matrix[unknowns][:, unknowns])


def _numbers(sheets: Sheets) -> Iterator[np.ndarray]:
    """Of each piece the numbers that make it, in the order of `_pieces`."""
    for slab in sheets.slabs:
        yield _along(slab)
        yield slab.conduction.conductivity[2] / slab.conduction.thickness
    for joint in sheets.stack.joints:
        if joint.impedance > 0:
            own = [1.0 / joint.impedance] if joint.conductance is None else joint.conductance.values.ravel()
            yield np.concatenate([own, [patch.conductance for patch in joint.patches]])
    for exchange in sheets.exchanges:
        yield exchange.weights


def _along(slab: Slab) -> np.ndarray:
    return (np.stack(slab.conduction.in_plane()) * slab.conduction.thickness).ravel()


def _factors(around: Neighbourhood, sheets: Sheets) -> np.ndarray:
    """Factor of each piece (q,) in another problem on the same mesh."""
    if sheets.size != len(around.basis):
        raise NotNearby("it has other unknowns")
    return np.array([_factor(piece.numbers, own) for piece, own in zip(around.pieces, _numbers(sheets), strict=True)])


def _factor(before: np.ndarray, after: np.ndarray) -> float:
    if before.shape != after.shape:
        raise NotNearby("a piece has other elements")
    if not before.size:
        return 1.0
    largest = int(np.argmax(np.abs(before)))
    factor = after[largest] / before[largest] if before[largest] else 0.0
    if np.abs(after - factor * before).max() > SAME * max(np.abs(after).max(), 1e-300) or not factor > 0:
        raise NotNearby("a piece is not the same times a factor")
    return float(factor)


def _product(pieces: tuple[Piece, ...], factors: np.ndarray, vector: np.ndarray) -> np.ndarray:
    total = np.zeros(len(vector))
    for piece, factor in zip(pieces, factors):
        total[piece.unknowns] += factor * piece.times(vector)
    return total


def _with_answer(around: Neighbourhood, answer: np.ndarray) -> Neighbourhood:
    """The neighbourhood with one more function, or the same where it brings nothing new."""
    if around.basis.shape[1] >= MOST:
        around = replace(around, basis=around.basis[:, DROPPED:], reduced=around.reduced[:, DROPPED:, DROPPED:])
    held = np.ones(len(answer), bool)
    held[free_unknowns(around.near.sheets)] = False
    new = np.where(held, 0.0, answer)
    size = float(np.linalg.norm(new))
    for _ in range(2):  # once more for what rounding left
        new = new - around.basis @ (around.basis.T @ new)
    left = float(np.linalg.norm(new))
    if not np.isfinite(left) or left <= NOTHING_NEW * size:
        return around
    new = new / left
    basis = np.column_stack([around.basis, new])
    return replace(around, basis=basis, reduced=_grown(around, basis, new))


def _grown(around: Neighbourhood, basis: np.ndarray, new: np.ndarray) -> np.ndarray:
    """The pieces in a basis with one more function (q, m, m)."""
    count = basis.shape[1]
    reduced = np.zeros((len(around.pieces), count, count))
    reduced[:, :-1, :-1] = around.reduced
    for own, piece in zip(reduced, around.pieces):
        own[:, -1] = own[-1, :] = basis[piece.unknowns].T @ piece.times(new)
    return reduced
