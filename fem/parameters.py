"""Numbers of a stack that may vary without another mesh: thickness, conductivity, impedance, coefficient, power, temperature."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from plancha.geometry.bodies import Body, Film, Joint, Source, Stack


@dataclass(frozen=True)
class Parameter:
    """A number that varies between ``low`` and ``high`` (SI): its ``kind``, a key of KINDS, and whose it is.

    ``numbers`` count bodies (thickness, conductivity), joints (impedance), films (coefficient, temperature) or sources (power) of the
    stack; all of them take the same value. A conductivity is the largest of a material's three, which keep their proportions.
    """

    name: str
    kind: str
    numbers: tuple[int, ...]
    low: float
    high: float

    def __post_init__(self) -> None:
        least = -np.inf if self.kind in LINEAR else 0.0
        if self.kind not in KINDS or not self.numbers or not least < self.low <= self.high < np.inf:
            raise ValueError(f"{self}: kind one of {', '.join(KINDS)}; some numbers; low above 0 and at most high")

    @property
    def middle(self) -> float:
        """Where it is as far from low as from high: in proportion, or, for what enters the right side only, in difference."""
        return (self.low + self.high) / 2 if self.kind in LINEAR else float(np.sqrt(self.low * self.high))


@dataclass(frozen=True)
class Kind:
    """Where a stack keeps numbers of a kind: the field that lists their owners, and how one is read and changed."""

    owners: str
    read: Callable
    changed: Callable


def _with_thickness(body: Body, value: float) -> Body:
    patches = [replace(p, thickness=value) if p.thickness == body.thickness else p for p in body.patches]
    return replace(body, thickness=value, patches=tuple(patches))


def _with_conductivity(body: Body, value: float) -> Body:
    scale = value / max(body.material.conductivity)
    k_x, k_y, k_z = (float(scale * k) for k in body.material.conductivity)
    material = replace(body.material, conductivity=(k_x, k_y, k_z))
    patches = [replace(p, material=material) if p.material == body.material else p for p in body.patches]
    return replace(body, material=material, patches=tuple(patches))


def _with_power(source: Source, value: float) -> Source:
    power_map = source.power_map
    if power_map is not None and source.power > 0:
        power_map = replace(power_map, watts=power_map.watts * (value / source.power))
    return replace(source, power=value, power_map=power_map)


def _with_impedance(joint: Joint, value: float) -> Joint:
    return replace(joint, impedance=value)


def _with_coefficient(film: Film, value: float) -> Film:
    return replace(film, coefficient=value)


def _with_temperature(film: Film, value: float) -> Film:
    return replace(film, temperature=value)


KINDS = {
    "thickness": Kind("bodies", lambda body: body.thickness, _with_thickness),
    "conductivity": Kind("bodies", lambda body: max(body.material.conductivity), _with_conductivity),
    "impedance": Kind("joints", lambda joint: joint.impedance, _with_impedance),
    "coefficient": Kind("films", lambda film: film.coefficient, _with_coefficient),
    "power": Kind("sources", lambda source: source.power, _with_power),
    "temperature": Kind("films", lambda film: film.temperature, _with_temperature),
}
LINEAR = ("power", "temperature")  # enter the right side only


def changed_stack(stack: Stack, parameters: Sequence[Parameter], values: Sequence[float]) -> Stack:
    """The stack with the parameters at other values (parameters,), all else as it is; rises still count from its reference."""
    for parameter, value in zip(parameters, values, strict=True):
        kind = KINDS[parameter.kind]
        owners = list(getattr(stack, kind.owners))
        for number in parameter.numbers:
            owners[number] = kind.changed(owners[number], float(value))
        changes: dict[str, Any] = {kind.owners: tuple(owners)}
        stack = replace(stack, **changes)
    return stack


def values_in(stack: Stack, parameters: Sequence[Parameter]) -> np.ndarray:
    """The parameters' values (parameters,) in a stack; where one has several owners, the first one's."""
    return np.array([own_value(stack, each.kind, each.numbers[0]) for each in parameters])


def own_value(stack: Stack, kind: str, number: int) -> float:
    """What a body, joint, film or source of a stack has itself of a kind (SI)."""
    return float(KINDS[kind].read(getattr(stack, KINDS[kind].owners)[number]))


def parameters_between(one: Stack, other: Stack) -> list[Parameter]:
    """All numbers in which two stacks of the same parts differ, each from the smaller value to the larger.

    Numbers of a kind that have the same value in ``one`` and in ``other`` (all pads, the ambient) are one parameter.
    """
    found: dict[tuple[str, float, float], list[int]] = {}
    for kind in KINDS:
        for number, (a, b) in enumerate(zip(_values(one, kind), _values(other, kind), strict=True)):
            if a != b:
                found.setdefault((kind, a, b), []).append(number)
    return [
        Parameter(_name(one, kind, numbers), kind, tuple(numbers), min(a, b), max(a, b))
        for (kind, a, b), numbers in found.items()
    ]


def _values(stack: Stack, kind: str) -> list[float]:
    """Numbers of a kind; -1 where there is a grid of them."""
    read = KINDS[kind].read
    values = [read(owner) for owner in getattr(stack, KINDS[kind].owners)]
    return [float(value) if isinstance(value, (int, float)) else -1.0 for value in values]


def _name(stack: Stack, kind: str, numbers: Sequence[int]) -> str:
    owners = getattr(stack, KINDS[kind].owners)
    return ", ".join(f"{owners[number].name}" for number in numbers) + f": {kind}"
