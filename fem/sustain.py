"""Sustainable power: by how much the power of the chosen components may change until the first limit is met."""

from dataclasses import dataclass

import numpy as np

from plancha.fem.components import ComponentState, component_states, limiting
from plancha.fem.solve import Solution, SolveFailed, is_linear, solve

MOST = 1000.0  # times the stated power; beyond that no limit is met
TOLERANCE = 1e-5  # of the factor
STEPS = 40


@dataclass(frozen=True)
class SustainablePower:
    """Factor on the power of ``scaled``, their total power then [W], and which component meets its limit.

    ``factor`` is 0 where the limits do not even hold without that power, and None where no limit is ever met.
    """

    scaled: tuple[str, ...]
    factor: float | None
    power: float | None
    limiting: str


def sustainable_power(solution: Solution) -> SustainablePower | None:
    """The sustainable power of the stack's scaled components; None where nothing has a limit or no power scales."""
    names = solution.sheets.stack.scaled
    scaled = np.array([source.name in names for source in solution.sheets.stack.sources], bool)
    total = float(solution.powers[scaled].sum())
    if total <= 0 or limiting(component_states(solution)) is None:
        return None
    at_rest = _with_factor(solution, solution, scaled, 0.0)
    worst = _worst(at_rest)
    if _margin(worst) <= 0:
        return SustainablePower(names, 0.0, 0.0, worst.name)
    return _searched(solution, at_rest, scaled, total)


def _searched(solution: Solution, at_rest: Solution, scaled: np.ndarray, total: float) -> SustainablePower:
    """The factor at which the least margin is nothing: a secant that starts from rest and the stated power."""
    names = solution.sheets.stack.scaled
    low, high, state = 0.0, 1.0, solution
    least_low, least = _margin(_worst(at_rest)), _margin(_worst(solution))
    for _ in range(STEPS):
        slope = (least - least_low) / (high - low)
        following = high - least / slope if slope < 0 else np.inf
        if following > MOST:
            return SustainablePower(names, None, None, "")
        if abs(following - high) <= TOLERANCE * high:
            return SustainablePower(names, float(following), float(following) * total, _worst(state).name)
        following = max(following, 0.1 * high)
        state = (
            _between(solution, at_rest, following)
            if is_linear(solution.sheets)
            else _with_factor(solution, state, scaled, following)
        )
        low, least_low, high, least = high, least, following, _margin(_worst(state))
    raise SolveFailed(
        f"the sustainable power was not found in {STEPS} steps; last factor {high:.6g}, margin {least:.3g} K"
    )


def _worst(state: Solution) -> ComponentState:
    found = limiting(component_states(state))
    assert found is not None
    return found


def _margin(state: ComponentState) -> float:
    assert state.margin is not None
    return state.margin


def _between(solution: Solution, at_rest: Solution, factor: float) -> Solution:
    """By superposition: rest plus ``factor`` times the difference to the stated power."""
    temperature = at_rest.temperature + factor * (solution.temperature - at_rest.temperature)
    powers = at_rest.powers + factor * (solution.powers - at_rest.powers)
    return Solution(solution.sheets, solution.near, solution.matrix, powers, temperature, 1)


def _with_factor(solution: Solution, start: Solution, scaled: np.ndarray, factor: float) -> Solution:
    return solve(solution.sheets, np.where(scaled, factor * solution.powers, solution.powers), start)
