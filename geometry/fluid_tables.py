"""The shipped tables of coolants (fluids.csv): read once, and joined by smooth cubics between their rows.

`python benchmarks/fluid_tables.py geometry/fluids.csv` writes the file anew; its head says from what, with which library and version.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FILE = Path(__file__).with_name("fluids.csv")
GASES = ("air",)


@dataclass(frozen=True)
class FluidTable:
    """Properties of a coolant at pressures [Pa], or at mass fractions [-] of glycol, and temperatures [K].

    Attributes
    ----------
    levels : array (level,), [Pa] or [-]
        Pressures or mass fractions, rising.
    coldest, hottest : array (level,), [K]
        First and last temperature at each; a glycol's first is where it freezes.
    shares : array (row,), [-]
        Where the rows' temperatures lie between these two, 0 to 1, alike at all levels.
    logarithms : array (row, level, 4)
        Of density [kg/m^3] (of a gas: per pressure), viscosity [Pa s], conductivity [W/m/K], heat capacity [J/kg/K].
    is_gas : bool
    """

    levels: Array
    coldest: Array
    hottest: Array
    shares: Array
    logarithms: Array
    is_gas: bool

    def at(self, level: float, temperature: float) -> tuple[float, float, float, float]:
        """Density, viscosity, conductivity and heat capacity at a pressure [Pa] or mass fraction [-] and a temperature [K]."""
        coldest, hottest = self.range(level)
        share = (temperature - coldest) / (hottest - coldest)
        found = np.exp(cubic(self.levels, cubic(self.shares, self.logarithms, share), level))
        density, viscosity, conductivity, heat_capacity = (float(value) for value in found)
        return density * (level if self.is_gas else 1.0), viscosity, conductivity, heat_capacity

    def range(self, level: float) -> tuple[float, float]:
        """Lowest and highest temperature [K] of the table at a pressure [Pa] or mass fraction [-]."""
        coldest, hottest = cubic(self.levels, np.column_stack([self.coldest, self.hottest]), level)
        return float(coldest), float(hottest)


def boiling_point(pressure: float) -> float:
    """Temperature [K] at which water boils under a pressure [Pa], 5 kPa to 1 MPa."""
    rows = _blocks()["boiling water"]
    return float(cubic(np.log(rows[:, 0, 0]), rows[:, 0, 1], np.log(pressure)))


@cache
def fluid_table(name: str) -> FluidTable:
    """The table of "air" or "water" over pressure, of "ethylene glycol" or "propylene glycol" over its mass fraction."""
    block = _blocks()[name]
    levels, temperatures, values = block[:, 0, 0], block[:, :, 1], block[:, :, 2:]
    coldest, hottest = temperatures[:, 0], temperatures[:, -1]
    logarithms, is_gas = np.log(values), name in GASES
    if is_gas:
        logarithms[:, :, 0] -= np.log(levels)[:, None]
    shares = (temperatures[0] - coldest[0]) / (hottest[0] - coldest[0])
    return FluidTable(levels, coldest, hottest, shares, logarithms.swapaxes(0, 1), is_gas)


@cache
def _blocks() -> dict[str, Array]:
    """The file's rows (level, row, 6) of each fluid: level, temperature and the four properties."""
    lines = [line for line in FILE.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
    rows: dict[str, list[list[float]]] = {}
    for name, *values in (line.split(",") for line in lines[1:]):
        rows.setdefault(name, []).append([float(value) for value in values])
    return {name: np.array(found).reshape(len({row[0] for row in found}), -1, 6) for name, found in rows.items()}


def cubic(nodes: Array, values: Array, place: float) -> Array:
    """Cubic spline through values at nodes, at one place.

    Slope and curvature are continuous; the slope at either end is that of the cubic through the four values there, so that cubics are
    met exactly.

    Parameters
    ----------
    nodes : array (n,)
        Four or more, rising, at any distances.
    values : array (n, ...)
    place : float
        Between the first and the last node; a cubic goes on beyond them.

    Returns
    -------
    array (...)
    """
    slopes = _slopes(nodes, values)
    left = int(np.clip(np.searchsorted(nodes, place) - 1, 0, len(nodes) - 2))
    step = nodes[left + 1] - nodes[left]
    t = (place - nodes[left]) / step
    value = (1 + 2 * t) * (1 - t) ** 2 * values[left] + t**2 * (3 - 2 * t) * values[left + 1]
    return value + step * t * (1 - t) * ((1 - t) * slopes[left] - t * slopes[left + 1])


def _slopes(nodes: Array, values: Array) -> Array:
    """Slopes (n, ...) of the spline at its nodes: those that make its curvature continuous."""
    steps = np.diff(nodes)
    matrix, right = np.eye(len(nodes)), np.empty_like(values)
    for i, (before, after) in enumerate(pairwise(steps), 1):
        matrix[i, i - 1 : i + 2] = after, 2 * (before + after), before
        rise_before, rise_after = (values[i] - values[i - 1]) / before, (values[i + 1] - values[i]) / after
        right[i] = 3 * (after * rise_before + before * rise_after)
    right[0] = _end_slope(nodes[:4], values[:4])
    right[-1] = _end_slope(nodes[:-5:-1], values[:-5:-1])
    slopes = np.linalg.solve(matrix, right.reshape(len(nodes), -1))
    return np.asarray(slopes.reshape(values.shape), float)


def _end_slope(nodes: Array, values: Array) -> Array:
    """Slope at the first of four nodes of the cubic through all of them."""
    span = nodes[3] - nodes[0]
    powers = np.vander((nodes - nodes[0]) / span, increasing=True)
    slope = np.linalg.solve(powers, values.reshape(4, -1))[1] / span
    return np.asarray(slope.reshape(values.shape[1:]), float)
