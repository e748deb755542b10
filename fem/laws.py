"""What a law of convection or friction is: a name, a function, the range it was made for, and its source.

Registries are dicts of such records; a law is chosen by its name and called, never by if and elif. The range is data:
`outside` turns values beyond it into sentences, so that a warning carries the numbers.

Two pitfalls live here. *Basis*: a coefficient with basis "bulk" goes with the coolant's own mixed temperature, one
with basis "inlet" with the temperature at the inlet, so that the warming of the coolant is already inside it. Joined
to a coolant that warms up, an inlet-based coefficient counts the warming twice; `refuse_inlet_based` stops that.
*Diameter*: Reynolds and Nusselt numbers of gaps and ducts are on the hydraulic diameter, twice the gap; those of pins
are on the pin's diameter.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LAMINAR_UP_TO = 2300.0  # Reynolds number on the hydraulic diameter; common practice, no source
TURBULENT_FROM = 3000.0  # from here the turbulent laws are stated; in between no law is reliable


def positive(**values: ArrayLike) -> list[Array]:
    """The values as arrays of floats, in the order given.

    Raises
    ------
    ValueError
        If any is not above 0 (or not a number); the message names the argument and gives the worst.
    """
    arrays = [np.asarray(value, dtype=float) for value in values.values()]
    for name, array in zip(values, arrays):
        if not np.all(array > 0):
            raise ValueError(f"{name} must be above 0, got {np.min(array):g}")
    return arrays


def not_negative(**values: ArrayLike) -> list[Array]:
    """As `positive`, for what may be 0."""
    arrays = [np.asarray(value, dtype=float) for value in values.values()]
    for name, array in zip(values, arrays):
        if not np.all(array >= 0):
            raise ValueError(f"{name} must be 0 or more, got {np.min(array):g}")
    return arrays


def fraction(**values: ArrayLike) -> list[Array]:
    """As `positive`, for ratios of a part to the whole, or of a short side to a long one: 0 to 1."""
    arrays = not_negative(**values)
    for name, array in zip(values, arrays):
        if not np.all(array <= 1):
            raise ValueError(f"{name} must be 0 to 1, got {np.max(array):g}")
    return arrays


def hydrodynamic_length(reynolds: ArrayLike, length_ratio: ArrayLike) -> Array:
    """Length of a passage by which its velocity profile develops: x+ = L/(Dh Re), [-]."""
    re, ratio = positive(reynolds=reynolds, length_ratio=length_ratio)
    return ratio / re


def thermal_length(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike) -> Array:
    """Length of a passage by which its temperature profile develops: x* = L/(Dh Re Pr), [-]."""
    re, pr, ratio = positive(reynolds=reynolds, prandtl=prandtl, length_ratio=length_ratio)
    return ratio / (re * pr)


def channel_reynolds(reynolds: ArrayLike, length_ratio: ArrayLike) -> Array:
    """Channel Reynolds number of a gap, Re* = (V b/nu)(b/L) = Re/(4 L/Dh) with Dh = 2 b, [-]."""
    return 1 / (4 * hydrodynamic_length(reynolds, length_ratio))


@dataclass(frozen=True)
class Quantity:
    """What a range may be about: the words for it and, where it follows from arguments of a law, which and how."""

    words: str
    arguments: tuple[str, ...] = ()
    formula: Callable[..., Array] | None = None


QUANTITIES: Mapping[str, Quantity] = {
    "reynolds": Quantity("Reynolds number"),
    "prandtl": Quantity("Prandtl number"),
    "aspect": Quantity("short over long side"),
    "length_ratio": Quantity("length over hydraulic diameter"),
    "rows": Quantity("number of rows"),
    "pitch_normal": Quantity("pitch across the flow over diameter"),
    "pitch_parallel": Quantity("pitch along the flow over diameter"),
    "x_plus": Quantity("length L/(Dh Re)", ("reynolds", "length_ratio"), hydrodynamic_length),
    "x_star": Quantity("length L/(Dh Re Pr)", ("reynolds", "prandtl", "length_ratio"), thermal_length),
    "channel_reynolds": Quantity("channel Reynolds number", ("reynolds", "length_ratio"), channel_reynolds),
}


@dataclass(frozen=True)
class Range:
    """From ``low`` to ``high`` of one of the QUANTITIES, ends included."""

    quantity: str
    low: float
    high: float

    def __post_init__(self) -> None:
        if self.quantity not in QUANTITIES:
            raise ValueError(f"{self.quantity} is no quantity of a law; allowed: {', '.join(QUANTITIES)}")
        if not self.low < self.high:
            raise ValueError(f"a range of {self.quantity} from {self.low:g} to {self.high:g} is empty")

    @property
    def words(self) -> str:
        """The range without its quantity, such as "0 to 2300"."""
        return f"above {self.low:g}" if np.isinf(self.high) else f"{self.low:g} to {self.high:g}"


@dataclass(frozen=True)
class Law:
    """One published law.

    ``function`` takes keyword arrays and returns an array; ``ranges`` is where the law was made for; ``source`` says
    who published it and whether the text was at hand; ``basis`` is "bulk" or "inlet" (see the module); inside
    ``doubtful`` the law gives a value that nobody should lean on. ``for_ducts`` says that its hydraulic diameter is four times
    area over perimeter, not twice the gap.
    """

    name: str
    function: Callable[..., Array]
    ranges: tuple[Range, ...]
    source: str
    basis: str = "bulk"
    doubtful: tuple[Range, ...] = ()
    for_ducts: bool = False

    def __post_init__(self) -> None:
        if self.basis not in ("bulk", "inlet"):
            raise ValueError(f'basis of {self.name} must be "bulk" or "inlet", got "{self.basis}"')


def by_name(*laws: Law) -> dict[str, Law]:
    """A registry: the laws by their names, in the order given.

    Raises
    ------
    ValueError
        If two laws have the same name.
    """
    registry = {law.name: law for law in laws}
    if len(registry) < len(laws):
        raise ValueError("two laws have the same name: " + ", ".join(law.name for law in laws))
    return registry


def refuse_inlet_based(law: Law) -> None:
    """Stop a law whose coefficient is on the inlet temperature from meeting a coolant that warms up.

    Raises
    ------
    ValueError
        If the law's basis is "inlet".
    """
    if law.basis == "inlet":
        raise ValueError(
            f'"{law.name}" is on the inlet temperature: the warming of the coolant is already inside it, '
            "and must not be counted again; take a law on the bulk temperature"
        )


def outside(law: Law, **values: ArrayLike) -> list[str]:
    """Where values leave what the law was made for, in sentences with the numbers; none if all is well.

    Parameters
    ----------
    law : Law
    **values : array, [-]
        Arguments of the law by name, such as ``reynolds``, ``prandtl``, ``length_ratio``, ``aspect``. What follows
        from them (x*, the channel Reynolds number) is worked out; what a range needs and is not given is not judged.

    Returns
    -------
    list of str
        One sentence for each end of a range that is passed, with the worst value.

    Raises
    ------
    ValueError
        If a value's name is no quantity of a law.

    Examples
    --------
    >>> law = Law("still", lambda reynolds: reynolds, (Range("reynolds", 0, 2300),), "common practice, no source")
    >>> outside(law, reynolds=[500.0, 3500.0])
    ['Reynolds number 3500 is outside 0 to 2300 of the law "still"']
    """
    if unknown := set(values) - set(QUANTITIES):
        raise ValueError(f"no quantity of a law: {', '.join(sorted(unknown))}; allowed: {', '.join(QUANTITIES)}")
    beyond = [text for each in law.ranges for text in _beyond(law, each, _value_of(each.quantity, values))]
    return beyond + [text for each in law.doubtful for text in _within(law, each, _value_of(each.quantity, values))]


def _value_of(name: str, values: Mapping[str, Any]) -> Array:
    """The quantity's values, worked out where they follow from others; empty where something is missing."""
    quantity = QUANTITIES[name]
    if name in values:
        return np.atleast_1d(np.asarray(values[name], dtype=float))
    if quantity.formula is None or not set(quantity.arguments) <= set(values):
        return np.empty(0)
    return np.atleast_1d(quantity.formula(**{each: values[each] for each in quantity.arguments}))


def _beyond(law: Law, allowed: Range, value: Array) -> list[str]:
    low, high = value[value < allowed.low], value[value > allowed.high]
    worst = [pick(values) for pick, values in ((np.min, low), (np.max, high)) if values.size]
    words = QUANTITIES[allowed.quantity].words
    return [f'{words} {each:g} is outside {allowed.words} of the law "{law.name}"' for each in worst]


def _within(law: Law, band: Range, value: Array) -> list[str]:
    inside = value[(value > band.low) & (value < band.high)]
    words = QUANTITIES[band.quantity].words
    return [f'{words} {each:g} lies in {band.words}, where the law "{law.name}" is unreliable' for each in inside[:1]]
