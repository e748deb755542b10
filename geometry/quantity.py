"""How a number of a study must be written: dimension and bounds, as an annotation of the data model's fields."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from plancha.geometry.units import DIMENSIONS, UnitFault, show, to_si


@dataclass(frozen=True)
class Quantity:
    """How a number of a study must be written: its dimension, and its bounds in SI units.

    Stands in ``Annotated[float, Quantity("length", above=0)]``: the data model then takes text and holds the SI value.
    """

    dimension: str
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    def __post_init__(self) -> None:
        if self.dimension not in DIMENSIONS:
            raise ValueError(f"no dimension {self.dimension!r}; there are {', '.join(DIMENSIONS)}")

    @property
    def allowed(self) -> str:
        """What a user may write, with bounds and examples."""
        bounds = {"above": self.above, "at least": self.at_least, "below": self.below, "at most": self.at_most}
        words = [f"{word} {show(bound, self.dimension)}" for word, bound in bounds.items() if bound is not None]
        kind = DIMENSIONS[self.dimension]
        return f"{kind.called} {' and '.join(words)}, such as {kind.quoted}" if words else kind.allowed

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Read the text where the data model is filled; a fault keeps its parts in the error's context."""
        from pydantic_core import PydanticCustomError, core_schema

        def read(text: object) -> float:
            """The quantity in SI, or a fault with its parts."""
            try:
                return read_quantity(text, self)
            except UnitFault as fault:
                parts = {"message": fault.message, "allowed": fault.allowed, "hint": fault.hint}
                raise PydanticCustomError("quantity", "{message}", parts) from None

        return core_schema.no_info_plain_validator_function(read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        """Describe the text for an editor that knows JSON schema; a fraction may be a bare number."""
        kind = DIMENSIONS[self.dimension]
        types: Any = ["string", "number"] if self.dimension == "fraction" else "string"
        return {"type": types, "description": self.allowed, "examples": list(kind.examples)}


def quantity(dimension: str, **bounds: float) -> Any:
    """The annotated type of a quantity in a pydantic model: takes text, holds the SI float.

    Parameters
    ----------
    dimension : str
        A key of ``DIMENSIONS``.
    above, at_least, below, at_most : float
        Bounds in SI units.

    Returns
    -------
    Annotated[float, Quantity]
        The ``Quantity`` is in the field's metadata, for a reference table. A type checker wants it spelt out instead:
        ``Annotated[float, Quantity("length", above=0)]`` is the same.
    """
    return Annotated[float, Quantity(dimension, **bounds)]


# The page reads the same texts again with every change.
_read_before = lru_cache(maxsize=4096)(to_si)


def read_quantity(text: object, quantity: Quantity) -> float:
    """The SI value of a text that must keep the bounds of a quantity.

    Parameters
    ----------
    text : str
        As for ``to_si``.
    quantity : Quantity
        Dimension and bounds.

    Returns
    -------
    float
        SI.

    Raises
    ------
    UnitFault
        As ``to_si``, or if the value is out of bounds.
    """
    try:
        value = _read_before(text, quantity.dimension) if isinstance(text, str) else to_si(text, quantity.dimension)
    except UnitFault as fault:
        raise UnitFault(fault.message, quantity.allowed, fault.hint) from None
    lowest, highest = quantity.at_least, quantity.at_most
    if (quantity.above is not None and value <= quantity.above) or (lowest is not None and value < lowest):
        raise UnitFault(f'"{text}" is too small', quantity.allowed)
    if (quantity.below is not None and value >= quantity.below) or (highest is not None and value > highest):
        raise UnitFault(f'"{text}" is too large', quantity.allowed)
    return value
