"""One discretisation for a range of designs: made where heat stays most concentrated, its error told at the ends of the range."""

from collections.abc import Sequence

import numpy as np

from plancha.fem.components import component_states
from plancha.fem.findings import solve_with_estimate
from plancha.fem.operating import operating
from plancha.fem.parameters import LINEAR, Parameter, changed_stack
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import snapped_stack
from plancha.geometry.store import Keep, made_anew

# Where each kind keeps heat together, so that triangles and sub-layers must be smallest: thick bodies hide small sources from their
# other face, the rest makes spreading a larger share of the rise.
CONCENTRATED = {"thickness": "high", "conductivity": "low", "impedance": "low", "coefficient": "high"}
SPREAD: dict[str, str] = {kind: {"high": "low", "low": "high"}[end] for kind, end in CONCENTRATED.items()}
ENDS: tuple[dict[str, str], ...] = (
    CONCENTRATED,
    SPREAD,
    dict.fromkeys(CONCENTRATED, "low"),
    dict.fromkeys(CONCENTRATED, "high"),
    {},
)


def discretised_over(
    stack: Stack, parameters: Sequence[Parameter], keep: Keep = made_anew
) -> tuple[Solution, np.ndarray]:
    """A stack solved on a mesh and thickness functions that serve all its designs, for `reduced_model`.

    Returns
    -------
    Solution
        Of the stack as it is.
    array (sources,), [-]
        Estimated discretisation errors of the peaks relative to their rises: the largest found at the middle and four ends of the
        range, each against a discretisation of its own, whose estimated error is added. An estimate, no bound.
    """
    stack, _ = snapped_stack(stack)
    ends = [changed_stack(stack, parameters, _at(parameters, end)) for end in ENDS]
    own = [solve_with_estimate(end, keep=keep) for end in ends]
    finest = own[0].solution.sheets
    through = [slab.through for slab in finest.slabs]
    errors = []
    for end, solved in zip(ends, own):
        rises = _peak_rises(operating(sheets_of(end, finest.space, through)))
        estimate = solved.estimate
        errors.append((np.abs(rises - estimate.values[:, 0]) + estimate.total[:, 0]) / estimate.scale)
    return operating(sheets_of(stack, finest.space, through)), np.max(errors, axis=0)


def _at(parameters: Sequence[Parameter], end: dict[str, str]) -> list[float]:
    return [
        each.middle if each.kind in LINEAR or each.kind not in end else getattr(each, end[each.kind])
        for each in parameters
    ]


def _peak_rises(solution: Solution) -> np.ndarray:
    return np.array([state.peak.value for state in component_states(solution)]) - solution.sheets.stack.reference
