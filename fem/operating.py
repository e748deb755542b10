"""The operating point: temperatures at which every component gives off the power that goes with them."""

from dataclasses import replace

import numpy as np

from plancha.fem.components import unit_rises
from plancha.fem.feedback import Runaway, has_feedback, loop_gain, power_at, settled_powers, slope_at
from plancha.fem.sheets import Sheets, mean_weights
from plancha.fem.solve import SETTLED, Solution, solve

PASSES = 30
AGREED = 1e-10  # of the total power: how far powers may lie from those of their temperatures


def operating(
    sheets: Sheets, asked: np.ndarray | None = None, start: Solution | None = None, settled: float = SETTLED
) -> Solution:
    """Steady temperatures with power that follows temperature; where none does, as ``solve``.

    Parameters
    ----------
    asked : array (sources,), [W]
        Power of each source without leakage, at its law's reference temperature; its own if left out.
    start : Solution
        Of sheets with the same unknowns, where the search starts.
    settled : float, [-]
        See ``solve``.

    Raises
    ------
    Runaway
        If there is no steady state.
    SolveFailed
        If the temperatures do not settle.
    """
    sources = sheets.stack.sources
    asked = sheets.powers if asked is None else np.asarray(asked, float)
    if not has_feedback(sources):
        return solve(sheets, asked, start, settled)
    solution = solve(sheets, asked, start, settled)
    weights = mean_weights(sheets)
    # Of the factor at hand: passes make up for what it is off, and none needs a factor of its own.
    coupling = weights @ solution.near.rises(np.ascontiguousarray(sheets.unit_loads.T))
    for _ in range(PASSES):
        means = weights @ solution.temperature
        wanted = np.array([power_at(source.law, *each) for source, *each in zip(sources, asked, means)])
        if np.abs(wanted - solution.powers).sum() <= max(AGREED, settled) * max(wanted.sum(), 1e-300):
            return replace(solution, asked=asked)
        found = settled_powers(sources, asked, means, solution.powers, coupling)
        solution = solve(sheets, found.powers, solution, settled)
    raise Runaway(
        f"power and temperature did not agree in {PASSES} passes; the last differ by {wanted - solution.powers} W"
    )


def gain_of(solution: Solution) -> float | None:
    """Loop gain of a solution [-], from power to temperature and back (below 1: stable); None where no power follows temperature."""
    sheets, sources = solution.sheets, solution.sheets.stack.sources
    if not has_feedback(sources) or solution.asked is None:
        return None
    weights = mean_weights(sheets)
    means = weights @ solution.temperature
    slopes = np.array([slope_at(source.law, *each) for source, *each in zip(sources, solution.asked, means)])
    return loop_gain(weights @ unit_rises(solution), slopes)
