"""Sustainable power: by how much the power of the chosen components may change until the first limit is met."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.feedback import has_feedback
from plancha.fem.operating import operating
from plancha.fem.solve import Solution, SolveFailed, is_linear, ran_off

MOST = 1000.0  # times the stated power; beyond that no limit is met
TOLERANCE = 1e-5  # of the factor: what two estimates of it may differ by
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
    if total <= 0 or not _limits(solution):
        return None
    at_rest = _at_rest(solution, np.where(scaled, 0.0, asked))
    least, name = _least_margin(at_rest)
    if least <= 0:
        return SustainablePower(names, 0.0, 0.0, name)
    return _searched(solution, at_rest, total)


def _at_rest(solution: Solution, asked: np.ndarray) -> Solution:
    """Temperatures without the scaled power, sought from those that the factor at hand makes of it."""
    sheets, start = solution.sheets, solution
    if not sheets.unforced:
        temperature = replace(solution.near, sheets=sheets).temperatures(asked @ sheets.unit_loads)
        start = Solution(sheets, solution.near, asked, temperature, 1)
    return operating(sheets, asked, start, SETTLED_AT_REST)


def _searched(solution: Solution, at_rest: Solution, total: float) -> SustainablePower:
    """The factor at which the least margin is nothing: a secant that starts from rest and the stated power, until it stands still or
    a curve through the last three states leads to the same."""
    names = solution.sheets.stack.scaled
    factors, margins, states = [0.0, 1.0], [_least_margin(at_rest)[0]], (at_rest, solution)
    for _ in range(STEPS):
        least, name = _least_margin(states[1])
        margins.append(least)
        low, high = factors[-2:]
        slope = (margins[-1] - margins[-2]) / (high - low)
        straight = high - least / slope if slope < 0 else np.inf
        if straight > MOST:
            return SustainablePower(names, None, None, "")
        curved = _root(factors[-3:], margins[-3:])
        moved = min(abs(straight - high), abs(curved - straight) if len(factors) > 2 else np.inf)
        if moved <= TOLERANCE * high:
            return SustainablePower(names, curved, curved * total, name)
        following = max(straight, 0.1 * high)
        share, found = _onward(*states, (following - low) / (high - low) - 1)
        states = states[1], found
        factors.append(high + share * (following - high))
    raise SolveFailed(
        f"the sustainable power was not found in {STEPS} steps; last factor {factors[-1]:.6g}, margin {least:.3g} K"
    )


def _root(factors: Sequence[float], margins: Sequence[float]) -> float:
    """Where the margin is nothing on the polynomial that gives the factors by their margins (Neville's scheme, from memory)."""
    values = list(factors)
    for order in range(1, len(values)):
        pairs = zip(values, values[1:], margins, margins[order:])
        values = [
            (first * last_at - last * first_at) / (last_at - first_at) for first, last, first_at, last_at in pairs
        ]
    return float(values[0])


def _asked(state: Solution) -> np.ndarray:
    return state.powers if state.asked is None else state.asked


def _limits(solution: Solution) -> dict[str, float]:
    """Limits [K] of the components that have one."""
    return {source.name: source.limit for source in solution.sheets.stack.sources if source.limit is not None}


def _least_margin(state: Solution) -> tuple[float, str]:
    """The least margin [K], and whose."""
    return min((limit - state.peaks[name].value, name) for name, limit in _limits(state).items())


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
