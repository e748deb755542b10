"""Power that depends on temperature: where heating and rise settle, how strongly they drive each other, and whether they run away.

P_i = D_i (1 + a_i (T_i - T0_i)) + L_i exp(b_i (T_i - T1_i)) per component, D asked of it, T the area mean of its active face;
T = T_asked + R (P - D), R the mean coupling.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plancha.fem.solve import SolveFailed
from plancha.geometry.bodies import PowerLaw, Source

STEPS = 200
SETTLED = 1e-12  # of the total power
HOTTEST = 2000.0  # K; a search that gets there has run away


class Runaway(SolveFailed):
    """More heat makes more power than it can carry away: there is no steady state. The message has the loop gain."""


def power_at(law: PowerLaw | None, asked: float, temperature: float) -> float:
    """Power [W] of a component that is asked for ``asked`` [W], its active face at a mean temperature [K]."""
    if law is None:
        return asked
    resistive = asked * (1 + law.resistive * (temperature - law.resistive_at))
    leaking = law.leakage * np.exp(np.minimum(law.leakage_growth * (temperature - law.leakage_at), 700.0))
    return float(max(resistive, 0.0) + leaking)


def slope_at(law: PowerLaw | None, asked: float, temperature: float) -> float:
    """Change of that power per kelvin [W/K]."""
    if law is None:
        return 0.0
    leaking = law.leakage * np.exp(np.minimum(law.leakage_growth * (temperature - law.leakage_at), 700.0))
    return float(asked * law.resistive + law.leakage_growth * leaking)


@dataclass(frozen=True)
class Feedback:
    """Powers (sources,) [W] that settle with their own temperatures (sources,) [K], and the loop gain there (below 1: stable)."""

    powers: np.ndarray
    temperatures: np.ndarray
    gain: float


def has_feedback(sources: Sequence[Source]) -> bool:
    """Whether any component's power depends on temperature."""
    return any(source.law is not None for source in sources)


def settled_powers(
    sources: Sequence[Source], asked: np.ndarray, temperatures: np.ndarray, powers: np.ndarray, coupling: np.ndarray
) -> Feedback:
    """Powers that settle, on the line T = temperatures + coupling (P - powers).

    Parameters
    ----------
    asked : array (sources,), [W]
        Without leakage, at the laws' own reference temperatures.
    temperatures, powers : array (sources,), [K], [W]
        A solved state: mean temperatures at those powers.
    coupling : array (sources, sources), [K/W]
        Mean rise of the row's component per watt of the column's.

    Raises
    ------
    Runaway
        If there is no steady state.

    Notes
    -----
    Newton's method from below: power rises with temperature and faster than in proportion, so that it climbs to the lowest state, the
    stable one. Source: the feedback argument of electro-thermal runaway, stable where R dP/dT is below 1; derived.
    """
    laws = [source.law for source in sources]
    unheated = temperatures + coupling @ (np.minimum(asked, powers) - powers)
    found, gain = np.array(asked, float), np.inf
    state = unheated
    for _ in range(STEPS):
        wanted = np.array([power_at(*each) for each in zip(laws, asked, state)])
        slopes = np.array([slope_at(*each) for each in zip(laws, asked, state)])
        gain = loop_gain(coupling, slopes)
        lacking = wanted - found
        if gain >= 1 or state.max(initial=0.0) > HOTTEST:
            raise Runaway(_words(sources, state, gain))
        if np.abs(lacking).sum() <= SETTLED * max(np.abs(wanted).sum(), 1e-300):
            return Feedback(wanted, state, gain)
        found = found + np.linalg.solve(np.eye(len(found)) - slopes[:, None] * coupling, lacking)
        state = temperatures + coupling @ (found - powers)
    raise Runaway(_words(sources, state, gain))


def loop_gain(coupling: np.ndarray, slopes: np.ndarray) -> float:
    """Largest gain [-] of the loop from power to temperature and back: the spectral radius of dP/dT R."""
    if not len(slopes):
        return 0.0
    return float(np.abs(np.linalg.eigvals(slopes[:, None] * coupling)).max())


def _words(sources: Sequence[Source], state: np.ndarray, gain: float) -> str:
    worst = sources[int(np.argmax(state))].name
    return (
        f"thermal runaway: with its leakage or losses {worst} finds no steady temperature (loop gain {gain:.3g} at "
        f"{float(state.max()) - 273.15:.0f} degC, 1 and more is unstable); lower the power or the resistance to the coolant"
    )
