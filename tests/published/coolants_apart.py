"""Coolants past fins worked out apart from the product: friction, bypass, operating point, coefficients, a fan's footprint.

Nothing here imports plancha. Properties come from CoolProp, roots from SciPy; the laws are written down again from their formulas:
Shah (1978) and Petukhov (1970) for friction, Stephan (1959) and VDI-Waermeatlas (2002) for convection, all from memory.
SI units, temperatures in K. Reynolds and Nusselt numbers of a gap are on twice its width.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from CoolProp.CoolProp import PropsSI
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

Floats = NDArray[np.float64]
DEAD = 3.0  # velocity heads of a dead fan's annulus, as the product assumes


@dataclass(frozen=True)
class State:
    """Density, viscosity, conductivity, heat capacity of a coolant."""

    rho: float
    mu: float
    k: float
    cp: float

    @property
    def prandtl(self) -> float:
        return self.mu * self.cp / self.k


def state_of(fluid: str, temperature: float, pressure: float) -> State:
    """By CoolProp: "air", or "ethylene glycol 30 %"."""
    name = "Air" if fluid == "air" else f"INCOMP::MEG[{float(fluid.split()[-2]) / 100}]"
    return State(*(PropsSI(what, "T", temperature, "P", pressure, name) for what in "DVLC"))


def friction(reynolds: float, length_ratio: float) -> float:
    """Apparent Fanning factor of a gap: Shah to 2300, the larger of Shah and Petukhov from 3000, a line between."""

    def shah(re: float) -> float:
        x = length_ratio / re
        entry = 3.44 / x**0.5
        return (entry + (24 + 0.674 / (4 * x) - entry) / (1 + 2.9e-5 / x**2)) / re

    def later(re: float) -> float:
        return max((0.79 * np.log(re) - 1.64) ** -2 / 4, shah(re))

    if reynolds <= 2300:
        return shah(reynolds)
    if reynolds >= 3000:
        return later(reynolds)
    share = (reynolds - 2300) / 700
    return (1 - share) * shah(2300) + share * later(3000)


def gap_drop(speed: float, gap: float, length: float, open_share: float, coolant: State) -> float:
    """Pressure drop of a gap, from the front to behind it: 0.42 (1 - s) at entry, friction, (1 - s)^2 at exit."""
    reynolds = coolant.rho * speed * 2 * gap / coolant.mu
    heads = 4 * friction(reynolds, length / (2 * gap)) * length / (2 * gap)
    heads += 0.42 * (1 - open_share) + (1 - open_share) ** 2
    return heads * coolant.rho * speed**2 / 2


def speed_at(drop: float, gap: float, length: float, open_share: float, coolant: State) -> float:
    """Speed in a gap at a pressure drop."""
    return brentq(lambda v: gap_drop(v, gap, length, open_share, coolant) - drop, 1e-9, 500.0, xtol=1e-12)


def nusselt(reynolds: float, prandtl: float, length_ratio: float) -> float:
    """Mean of a gap from its inlet: Stephan, above Prandtl number 10 the sum of cubes."""
    x = length_ratio / (reynolds * prandtl)
    if prandtl > 10:
        return (7.541**3 + 1.841**3 / x + (2 / (1 + 22 * prandtl)) ** 0.5 * x**-1.5) ** (1 / 3)
    return 7.55 + 0.024 * x**-1.14 / (1 + 0.0358 * prandtl**0.17 * x**-0.64)


def coefficients(speed: float, gap: float, stations: Floats, coolant: State) -> Floats:
    """Coefficient between stations from the inlet: differences of length times mean."""
    reynolds = coolant.rho * speed * 2 * gap / coolant.mu
    gathered = np.array([s * nusselt(reynolds, coolant.prandtl, s / (2 * gap)) if s > 0 else 0.0 for s in stations])
    return np.diff(gathered) / np.diff(stations) * coolant.k / (2 * gap)


def operating_rate(
    fans: list[tuple[Floats, Floats]], system: Callable[[float], float], leak: float, rho: float
) -> float:
    """Rate through a system [m3/s] of fans side by side, each flow and pressure in the air that it blows; ``leak`` [m2] lets back.

    Curves are taken from their last maximum on; a fan pressure is sought at which the flows add up to what the system lets pass.
    """
    parts = []
    for flow, pressure in fans:
        top = int(np.flatnonzero(pressure == pressure.max())[-1])
        curve = PchipInterpolator(flow, pressure)
        parts.append((curve, flow[top], flow[-1], pressure[top]))

    def delivered(pressure: float) -> float:
        return sum(brentq(lambda v, curve=curve: curve(v) - pressure, low, high) for curve, low, high, _ in parts)

    def excess(pressure: float) -> float:
        net = delivered(pressure) - leak * np.sqrt(2 * pressure / (rho * DEAD))
        return system(max(net, 1e-9)) - pressure

    pressure = brentq(excess, 1e-3, 0.9999 * min(part[3] for part in parts))
    return delivered(pressure) - leak * np.sqrt(2 * pressure / (rho * DEAD))


def fan_speeds(x: Floats, y: Floats, center: tuple[float, float], diameter: float, hub: float) -> Floats:
    """Relative speeds at points (rows, columns): growing with radius in the annulus, 0.2 of its mean under the hub, 0.1 beside."""
    radius = np.hypot(x[None, :] - center[0], y[:, None] - center[1])
    inner, outer = hub / 2, diameter / 2
    growing = radius * 1.5 * (outer**2 - inner**2) / (outer**3 - inner**3)
    return np.where(radius < inner, 0.2, np.where(radius <= outer, growing, 0.1))
