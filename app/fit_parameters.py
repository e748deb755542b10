"""Numbers of a study that a fit may change: found by the dotted names that load cases use, with where to start and to stop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plancha.fem.fit import MOST_PARAMETERS, Parameter
from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.load_cases import place_named
from plancha.geometry.quantity import Quantity
from plancha.geometry.schema import quantity_of, table_at
from plancha.geometry.study_file import Case, StudyFile, changed_case
from plancha.geometry.units import DIMENSIONS, UnitFault, to_si

SEARCH = 1000.0  # a parameter is sought within this factor of the study's value, either way
SEARCH_LINEAR = 100.0  # K or rad: a temperature or an angle is sought within so much of the study's value
LINEAR = ("temperature", "angle")
NUDGE = 1.001  # by which a parameter is changed to see whether it moves an outline
A_QUANTITY = "one quantity, such as an impedance, a bond line, a thickness or a coefficient"


@dataclass(frozen=True)
class Sought:
    """A parameter of a load case with its dimension, a key of `units.DIMENSIONS`."""

    parameter: Parameter
    dimension: str

    def text(self, value: float) -> str:
        """A value as a study writes it, in the SI unit."""
        return f"{value:.15g} {DIMENSIONS[self.dimension].si}"


def sought_parameters(study: StudyFile, case: Case, names: Sequence[str]) -> tuple[list[Sought], list[Fault]]:
    """Parameters of a load case by their dotted names, and all that is wrong with the names."""
    found: list[Sought] = []
    faults: list[Fault] = []
    if len(names) > MOST_PARAMETERS:
        faults.append(Fault("--fit", "too many parameters", len(names), f"one to {MOST_PARAMETERS}"))
    for number, name in enumerate(names):
        if name in names[:number]:
            faults.append(Fault("--fit", "the parameter is named twice", name))
            continue
        try:
            found.append(_sought(study, case, name))
        except StudyError as error:
            faults += [Fault("--fit", *_parts(fault)) for fault in error.faults]
    return found, faults


def _parts(fault: Fault) -> tuple[str, object, str, str]:
    message = f"{fault.place}: {fault.message}" if fault.place and fault.place != "--fit" else fault.message
    return message, fault.value, fault.allowed, fault.hint


def _sought(study: StudyFile, case: Case, name: str) -> Sought:
    path, text = place_named(case.table, name)
    key = table_at(path[:-1])[str(path[-1])]
    quantity = quantity_of(key.annotation, key.metadata)
    if quantity is None or isinstance(text, list | dict):
        raise StudyError([Fault("", "this is not one quantity, so it cannot be fitted", name, A_QUANTITY)])
    if text is None:
        hint = f'write {name.split(".")[-1]} = "..." there; the search starts from it'
        raise StudyError([Fault("", "the study gives no value to start from", name, hint=hint)])
    try:
        start = to_si(text, quantity.dimension)
    except UnitFault as error:
        raise StudyError([Fault("", error.message, name, error.allowed, error.hint)]) from None
    sought = Sought(_parameter(name, start, quantity), quantity.dimension)
    if any(one != other for one, other in zip(_shapes(case.stack), _shapes(_nudged(study, case, sought)))):
        hint = "change it in the study, and compare again"
        raise StudyError([Fault("", "this moves an outline, so it cannot be fitted", name, A_QUANTITY, hint)])
    return sought


def _parameter(name: str, start: float, quantity: Quantity) -> Parameter:
    logarithmic = quantity.dimension not in LINEAR
    if logarithmic and start <= 0:
        raise StudyError([Fault("", "the search cannot start from 0", name, "a value above 0 in the study")])
    low, high = (start / SEARCH, start * SEARCH) if logarithmic else (start - SEARCH_LINEAR, start + SEARCH_LINEAR)
    low = max([low, *(bound for bound in (quantity.above, quantity.at_least) if bound)])
    high = min([high, *(bound for bound in (quantity.below, quantity.at_most) if bound)])
    return Parameter(name, start, low, high, logarithmic)


def _shapes(stack: Stack) -> list[object]:
    """All that the mesh follows: a fit keeps one mesh."""
    outlines = [body.outline for body in stack.bodies] + [source.outline for source in stack.sources]
    return [*outlines, *(film.area for film in stack.films), *(held.area for held in stack.helds)]


def _nudged(study: StudyFile, case: Case, sought: Sought) -> Stack:
    each = sought.parameter
    value = each.start * NUDGE if each.start * NUDGE < each.high else each.start / NUDGE
    return changed_case(case, study.path.parent, {each.name: sought.text(value)}).stack


def texts_for(sought: Sequence[Sought], values: np.ndarray) -> Mapping[str, str]:
    """What a load case with these values would write: dotted names and texts."""
    return {each.parameter.name: each.text(float(value)) for each, value in zip(sought, values)}
