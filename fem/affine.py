"""A problem as few matrices and right sides times powers of its parameters: what varies told apart from what does not.

K(v) = sum_q  prod_p (v_p / middle_p)^e_qp  K_q        every K_q symmetric, positive semidefinite
f(v) = sum_j  prod_p (v_p / middle_p)^e_jp  l_j  f_j    l_j a power, a temperature above the reference, or 1
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sp

from plancha.fem.exchanges import Exchange
from plancha.fem.parameters import LINEAR, Parameter, own_value
from plancha.fem.sheets import Sheets
from plancha.fem.slabs import Slab, along_and_across, plan_matrices, slab_term
from plancha.fem.solve import Solution, free_unknowns, is_linear
from plancha.fem.terms import Operator
from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Failure

# What a parameter of a body, joint or film does to what it conducts.
EXPONENTS = {
    ("thickness", "along"): 1,
    ("thickness", "across"): -1,
    ("thickness", "rim"): 1,
    ("conductivity", "along"): 1,
    ("conductivity", "across"): 1,
    ("impedance", "joint"): -1,
    ("coefficient", "film"): 1,
}
ALWAYS = -1  # the linear factor of a right side that has none


class NotReducible(Failure):
    """The problem has no such form; the message says all that stands in the way."""


@dataclass(frozen=True)
class Affine:
    """A problem over its free unknowns, as the module's head says, temperatures as rises above the stack's reference.

    ``matrices`` K_q with ``exponents`` (q, parameters); ``right_sides`` (free, j) with ``right_exponents`` (j, parameters) and
    ``linear`` (j,), the number of the parameter whose value counts, or ALWAYS. ``lift`` (unknowns,) [K] are the held rises. Not
    ``exact`` where conductivities, films or powers that follow temperature are as at one solution.
    """

    sheets: Sheets
    parameters: tuple[Parameter, ...]
    matrices: tuple[sp.csr_array, ...]
    exponents: np.ndarray
    right_sides: np.ndarray
    right_exponents: np.ndarray
    linear: np.ndarray
    free: np.ndarray
    lift: np.ndarray
    exact: bool

    @cached_property
    def places(self) -> np.ndarray:
        """Number of each unknown among the free ones (unknowns,); -1 where it is held."""
        places = np.full(self.sheets.size, -1)
        places[self.free] = np.arange(len(self.free))
        return places

    @property
    def content(self) -> list:
        """All that determines what a reduced model of it is, in plain values (geometry/store)."""
        matrices = [(matrix.data, matrix.indices, matrix.indptr) for matrix in self.matrices]
        rights = [self.right_sides, self.right_exponents, self.linear]
        return [self.parameters, matrices, self.exponents, *rights, self.free, self.lift, self.sheets.stack.reference]

    @cached_property
    def _middles(self) -> np.ndarray:
        return np.array([1.0 if each.kind in LINEAR else each.middle for each in self.parameters])

    @cached_property
    def _levels(self) -> np.ndarray:
        level = self.sheets.stack.reference
        return np.array([level if each.kind == "temperature" else 0.0 for each in self.parameters])

    def thetas(self, values: np.ndarray) -> np.ndarray:
        """Factors (designs, q) of the matrices at values (designs, parameters); all 1 at the parameters' middles."""
        return self._monomials(values, self.exponents)

    def right_factors(self, values: np.ndarray) -> np.ndarray:
        """Factors (designs, j) of the right sides."""
        factors = np.column_stack([values - self._levels, np.ones(len(values))])
        return self._monomials(values, self.right_exponents) * factors[:, self.linear]

    def _monomials(self, values: np.ndarray, exponents: np.ndarray) -> np.ndarray:
        used = exponents.any(axis=0)
        if not (values[:, used] > 0).all():
            raise ValueError("a thickness, conductivity, impedance or coefficient of a design is not above 0")
        return np.exp(np.log(values[:, used] / self._middles[used]) @ exponents[:, used].T)

    def matrix(self, thetas: np.ndarray) -> sp.csr_array:
        """The matrix with factors (q,)."""
        scaled = (theta * matrix for theta, matrix in zip(thetas, self.matrices))
        return sp.csr_array(sum(scaled, sp.csr_array(self.matrices[0].shape)))


def affine_of(solution: Solution, parameters: Sequence[Parameter]) -> Affine:
    """A solved problem with parameters that leave its mesh alone; what else depends on temperature stays as at the solution.

    Raises
    ------
    NotReducible
        If a coolant is solved for, or a parameter acts otherwise than by powers of itself.
    """
    sheets = solution.sheets
    stack = sheets.stack
    reasons = [*_obstacles(sheets, parameters)]
    if reasons:
        raise NotReducible("no reduced model: " + "; ".join(reasons))
    free = free_unknowns(sheets)
    lift = np.zeros(sheets.size)
    lift[sheets.held] = sheets.held_temperatures - stack.reference
    terms = _added_up(_matrices(solution, parameters))
    held = [((*exponents, ALWAYS), -(matrix @ lift)[free]) for exponents, matrix in terms.items()]
    heat = [((*exponents, linear), load[free]) for exponents, linear, load in _heat(solution, parameters)]
    rights = _added_up([*held, *heat])
    keys = np.array(list(rights), int).reshape(-1, len(parameters) + 1)
    return Affine(
        sheets=sheets,
        parameters=tuple(parameters),
        matrices=tuple(matrix[free][:, free] for matrix in terms.values()),
        exponents=np.array(list(terms), float).reshape(-1, len(parameters)),
        right_sides=np.column_stack(list(rights.values())),
        right_exponents=keys[:, :-1].astype(float),
        linear=keys[:, -1],
        free=free,
        lift=lift,
        exact=is_linear(sheets) and not any(source.law for source in stack.sources),
    )


def _added_up(parts: Iterable[tuple[tuple[int, ...], Any]]) -> dict[tuple[int, ...], Any]:
    """Parts with the same key added up; nothing is kept of what is nothing."""
    found: dict[tuple[int, ...], Any] = {}
    for key, part in parts:
        if abs(part).max() > 0:
            found[key] = found[key] + part if key in found else part
    return found


def _obstacles(sheets: Sheets, parameters: Sequence[Parameter]) -> Iterator[str]:
    """All that stands in the way of the form."""
    stack = sheets.stack
    if not stack.sources:
        yield "nothing heats the bodies"
    if sheets.streams:
        yield "coolants that warm up on their way make the problem unsymmetric"
    acted_on = [(each.kind, number) for each in parameters for number in each.numbers]
    if len(set(acted_on)) < len(acted_on):
        yield "two parameters act on the same number"
    for each in parameters:
        for number in each.numbers:
            yield from (f"{each.name}: {fault}" for fault in _owner_faults(stack, each.kind, number))


def _owner_faults(stack: Stack, kind: str, number: int) -> Iterator[str]:
    """What is wrong with a body, joint or film as the owner of a parameter."""
    if kind == "impedance":
        joint = stack.joints[number]
        if joint.conductance is not None or joint.patches:
            yield f"{joint.name} is not the same everywhere"
        elif joint.impedance == 0:
            yield f"{joint.name} is a perfect contact"
    elif kind == "coefficient":
        film = stack.films[number]
        if not isinstance(film.coefficient, (int, float)) or not film.coefficient > 0:
            yield f"{film.name} has no one coefficient"
    elif kind == "thickness" and any(s.heat_depth > 0 and s.chain[0] == number for s in stack.sources):
        yield f"heat is made down to a depth of {stack.bodies[number].name}"


def _matrices(solution: Solution, parameters: Sequence[Parameter]) -> Iterator[tuple[tuple[int, ...], sp.csr_array]]:
    """All that conducts, at the parameters' middles: exponents, matrix."""
    for kind, number, apart, matrix in _pieces(solution):
        exponents = tuple(_exponent(each, kind, number, apart) for each in parameters)
        yield exponents, _at_middles(solution, parameters, number, exponents) * matrix


def _pieces(solution: Solution) -> Iterator[tuple[str, int, tuple[str, ...], sp.csr_array]]:
    """All that conducts: kind of term, number of its body, joint or film, which of the body's parameters it does not follow, matrix
    as at the solution."""
    sheets = solution.sheets
    joints = [number for number, joint in enumerate(sheets.stack.joints) if joint.impedance > 0]
    for number, slab in enumerate(sheets.slabs):
        for apart, elements in _parts(sheets, slab):
            for kind, matrix in zip(("along", "across"), _part_matrices(solution, slab, elements)):
                yield kind, number, apart, matrix
    for number, term in zip(joints, sheets.joints):
        yield "joint", number, (), Operator(sheets.size, (term,)).csr
    for exchange in sheets.exchanges:
        yield *_owner(exchange), (), exchange.at(solution.temperature).matrix.csr


def _owner(exchange: Exchange) -> tuple[str, int]:
    """The kind of an exchange and whose it is: what follows its own temperature belongs to no parameter."""
    if exchange.kind == "rim":
        return "rim", exchange.body
    return ("film" if exchange.coefficient is None else "unforced", exchange.film if exchange.film is not None else -1)


def _parts(sheets: Sheets, slab: Slab) -> Iterator[tuple[tuple[str, ...], np.ndarray]]:
    """The body itself and its patches: which parameters each does not follow, since its value is its own; its elements (bool)."""
    body, which = slab.body, np.zeros(len(slab.pattern.elements), int)
    for number, patch in enumerate(body.patches, 1):
        which[np.isin(slab.pattern.elements, sheets.space.within(patch.outline), assume_unique=True)] = number
    for number, part in enumerate(body.parts):
        own = {"thickness": part.thickness != body.thickness, "conductivity": part.material != body.material}
        yield tuple(kind for kind, is_own in own.items() if is_own), which == number


def _part_matrices(solution: Solution, slab: Slab, elements: np.ndarray) -> list[sp.csr_array]:
    """What some of a body's elements (bool) conduct along the plan and through the thickness."""
    sheets = solution.sheets
    conduction = replace(slab.conduction, conductivity=slab.conduction.conductivity * elements)
    along, across = plan_matrices(sheets.space, slab.pattern, conduction)
    part = replace(slab, conduction=conduction, along=along, across=across)
    term = slab_term(sheets.space, part, sheets.stack.reference, solution.temperature)
    return [Operator(sheets.size, (each,)).csr for each in along_and_across(term)]


def _exponent(parameter: Parameter, kind: str, number: int, apart: tuple[str, ...]) -> int:
    """How a term goes with a parameter."""
    if number not in parameter.numbers or parameter.kind in apart:
        return 0
    return EXPONENTS.get((parameter.kind, kind), 0)


def _at_middles(solution: Solution, parameters: Sequence[Parameter], number: int, exponents: Sequence[int]) -> float:
    """Factor from what the body, joint or film of that number has itself to the parameters' middles."""
    stack = solution.sheets.stack
    ratios = ((each.middle / own_value(stack, each.kind, number)) ** e for each, e in zip(parameters, exponents) if e)
    return float(np.prod([*ratios]))


def _heat(solution: Solution, parameters: Sequence[Parameter]) -> Iterator[tuple[tuple[int, ...], int, np.ndarray]]:
    """All that heats: exponents, number of the parameter whose value counts, or ALWAYS, and heat (unknowns,) [W]."""
    sheets = solution.sheets
    none = (0,) * len(parameters)
    for number, load in enumerate(sheets.unit_loads):
        linear = _linear(parameters, "power", number)
        yield none, linear, load if linear != ALWAYS else load * solution.powers[number]
    for exchange in sheets.exchanges:
        kind, number = _owner(exchange)
        linear = ALWAYS if exchange.kind in ("rim", "radiation") else _linear(parameters, "temperature", number)
        exponents = tuple(_exponent(each, kind, number, ()) for each in parameters)
        weights = _at_middles(solution, parameters, number, exponents) * exchange.at(solution.temperature).weights
        yield exponents, linear, weights * (1.0 if linear != ALWAYS else exchange.temperature - sheets.stack.reference)


def _linear(parameters: Sequence[Parameter], kind: str, number: int) -> int:
    found = [place for place, each in enumerate(parameters) if each.kind == kind and number in each.numbers]
    return found[0] if found else ALWAYS
