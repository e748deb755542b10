"""Sustainable power: by how much the power of the chosen components may change until the first limit is met."""

from dataclasses import dataclass

import numpy as np

from plancha.fem.components import ComponentState, component_states, limiting
from plancha.fem.solve import Solution, SolveFailed, is_linear, solve

MOST = 1000.0  # times the stated power; beyond that no limit is met
TOLERANCE = 1e-5  # of the factor
STEPS = 40
SETTLED = 1e-8  # of the heat balance with k(T), while searching
SETTLED_AT_REST = 1e-4  # likewise without the scaled power, where the search only starts


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
    at_rest = solve(solution.sheets, np.where(scaled, 0.0, solution.powers), solution, SETTLED_AT_REST)
    worst = _worst(at_rest)
    if _margin(worst) <= 0:
        return SustainablePower(names, 0.0, 0.0, worst.name)
    return _searched(solution, at_rest, _margin(worst), total)


def _searched(solution: Solution, at_rest: Solution, most: float, total: float) -> SustainablePower:
    """The factor at which the least margin is nothing: a secant that starts from rest, with ``most`` of it, and the stated power."""
    names = solution.sheets.stack.scaled
    low, high, before, state, least_before = 0.0, 1.0, at_rest, solution, most
    for _ in range(STEPS):
        worst = _worst(state)
        least = _margin(worst)
        slope = (least - least_before) / (high - low)
        following = high - least / slope if slope < 0 else np.inf
        if following > MOST:
            return SustainablePower(names, None, None, "")
        if abs(following - high) <= TOLERANCE * high:
            return SustainablePower(names, float(following), float(following) * total, worst.name)
        following = max(following, 0.1 * high)
        before, state = state, _following(before, state, (following - low) / (high - low))
        low, high, least_before = high, following, least
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


def _following(before: Solution, state: Solution, step: float) -> Solution:
    """The solution at powers on the straight line through two states; where k depends on T, settled from that line's guess."""
    temperature = before.temperature + step * (state.temperature - before.temperature)
    powers = before.powers + step * (state.powers - before.powers)
    guess = Solution(state.sheets, state.near, powers, temperature, 1)
    return guess if is_linear(state.sheets) else solve(state.sheets, powers, guess, SETTLED)
