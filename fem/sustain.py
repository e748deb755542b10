"""Sustainable power: by how much the power of the chosen components may change until the first limit is met."""

from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from plancha.fem.components import ComponentState, component_states, limiting
from plancha.fem.feedback import has_feedback
from plancha.fem.operating import operating
from plancha.fem.solve import Solution, SolveFailed, is_linear, ran_off

MOST = 1000.0  # times the stated power; beyond that no limit is met
TOLERANCE = 1e-5  # of the factor
STEPS = 40
HALVINGS = 6  # of a step towards more power than has a steady temperature
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
    asked = _asked(solution)
    total = float(asked[scaled].sum())
    if total <= 0 or limiting(component_states(solution)) is None:
        return None
    at_rest = operating(solution.sheets, np.where(scaled, 0.0, asked), solution, SETTLED_AT_REST)
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
        steps = (following - low) / (high - low) - 1
        share, found = _onward(before, state, steps)
        before, state = state, found
        low, high, least_before = high, high + share * (following - high), least
    raise SolveFailed(
        f"the sustainable power was not found in {STEPS} steps; last factor {high:.6g}, margin {least:.3g} K"
    )


def _asked(state: Solution) -> np.ndarray:
    return state.powers if state.asked is None else state.asked


def _worst(state: Solution) -> ComponentState:
    found = limiting(component_states(state))
    assert found is not None
    return found


def _margin(state: ComponentState) -> float:
    assert state.margin is not None
    return state.margin


def _onward(before: Solution, state: Solution, steps: float) -> tuple[float, Solution]:
    """The solution on the straight line through two states so many of their distances beyond the second, and 1; where that much power
    has no steady temperature, the share of the way that was gone."""
    for share in 0.5 ** np.arange(HALVINGS):
        with suppress(SolveFailed):
            return float(share), _following(before, state, 1 + share * steps)
    share = 0.5**HALVINGS
    return share, _following(before, state, 1 + share * steps)


def _following(before: Solution, state: Solution, step: float) -> Solution:
    """The solution at powers on the straight line through two states; unless all is linear, settled from that line's guess, or, where
    the line leads below 0 K, from the nearer state."""
    temperature = before.temperature + step * (state.temperature - before.temperature)
    powers = _asked(before) + step * (_asked(state) - _asked(before))
    guess = Solution(state.sheets, state.near, powers, temperature, 1)
    if is_linear(state.sheets) and not has_feedback(state.sheets.stack.sources):
        return guess
    nearer = before if step < 0.5 else state
    return operating(state.sheets, powers, nearer if ran_off(temperature) else guess, SETTLED)
