"""Fans: laws of speed, density and sound, fans side by side or in a row, the operating point, leakage through a dead fan.

Where the air goes on the plan stands in `fem.fan_footprint`. A fan with its cover off cuts fingers, at low speed too.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from plancha.geometry.fan_curve import FanCurve
from plancha.geometry.faults import Failure
from plancha.geometry.units import show

SAMPLES = 200  # points along each fan's curve when curves are combined point by point
FEWEST_BETWEEN = 4  # parts between two points of a curve, where it has many
STALL_SAMPLES = 16  # between two points of the stalled part, where a system may cross more than once
DECIBELS_PER_DECADE = 50.0  # of speed; some makers use 55

FAN_LAWS = {
    "flow": "the flow goes with the speed and does not depend on density (fan laws; from memory)",
    "pressure": "the pressure goes with density and with the square of the speed (fan laws; from memory)",
    "power": "the power goes with density and with the cube of the speed (fan laws; from memory)",
    "sound": "the sound level rises by 50 log10 of the speed ratio (common practice, no source; some use 55)",
    "several": "n equal fans are 10 log10 n louder than one (common practice, no source; beats and gratings not included)",
    "stall": "left of the last maximum of its curve a fan hunts and is loud (common practice, no source)",
}


@dataclass(frozen=True)
class OperatingPoint:
    """Where the fan gives the pressure that the system asks: flow [m^3/s], pressure [Pa], air power [W].

    ``stalled``: left of the last maximum of the curve, where real fans hunt. ``also_at``: flows [m^3/s] of further crossings at
    which the fan might stay as well; there are none unless the curve has a dip.
    """

    flow: float
    pressure: float
    air_power: float
    stalled: bool
    also_at: tuple[float, ...] = ()


@dataclass(frozen=True)
class OpenPath:
    """A way through which air leaks back, such as a dead fan: free area [m^2] and loss coefficient [-] on its velocity head.

    A blade row at rest loses several velocity heads of its annulus: common practice, no source; measure it where it matters.
    """

    area: float
    loss_coefficient: float

    def __post_init__(self) -> None:
        if not (self.area >= 0 and self.loss_coefficient > 0):
            raise ValueError(f"area {self.area} m^2 is 0 or more, loss coefficient {self.loss_coefficient} above 0")


def at_speed(curve: FanCurve, speed_ratio: float) -> FanCurve:
    """The curve of the same fan at another speed: flow goes with the speed, pressure with its square.

    Parameters
    ----------
    speed_ratio : float, [-]
        New speed over that of the curve, above 0. Below about one half real fans give less (Reynolds number; from memory).

    Notes
    -----
    Source: the fan laws, from dimensional analysis (derived independently). Valid: from about half of the test's speed.
    """
    _check_ratio("speed", speed_ratio)
    return FanCurve(curve.flow * speed_ratio, curve.pressure * speed_ratio**2)


def at_density(curve: FanCurve, density_ratio: float) -> FanCurve:
    """The curve of the same fan at the same speed in other air: same flow, pressure in proportion to density.

    Parameters
    ----------
    density_ratio : float, [-]
        Density at the fan over that of the test (makers: 1.2 kg/m^3, common practice, no source), above 0.

    Notes
    -----
    Source: the fan laws, from dimensional analysis (derived independently). Valid: at any speed of the curve.
    """
    _check_ratio("density", density_ratio)
    return FanCurve(curve.flow, curve.pressure * density_ratio)


def electrical_power(power: float, speed_ratio: float, density_ratio: float = 1.0) -> float:
    """Power [W] of a fan at another speed and density, from its power [W] at the curve's: density times the cube of the speed.

    The fan must stay at the same place of its curve; its motor's efficiency is taken as constant (fan laws; from memory).
    """
    _check_ratio("speed", speed_ratio)
    _check_ratio("density", density_ratio)
    return power * density_ratio * speed_ratio**3


def sound_level(level: float, speed_ratio: float, count: int = 1) -> float:
    """Sound level [dB(A)] of equal fans at another speed: level + 50 log10(speed ratio) + 10 log10(count).

    Relative, at the same place and the same point of the curve. Source: common practice, no source (some use 55 for 50).
    """
    _check_ratio("speed", speed_ratio)
    return level + DECIBELS_PER_DECADE * math.log10(speed_ratio) + 10.0 * math.log10(_counted(count))


def speed_for_level(level: float, limit: float, count: int = 1) -> float:
    """Speed ratio [-] at which `count` equal fans of the given level [dB(A)] each reach the limit [dB(A)] together."""
    return float(10.0 ** ((limit - level - 10.0 * math.log10(_counted(count))) / DECIBELS_PER_DECADE))


def fan_pressure(curve: FanCurve, flow: Any) -> np.ndarray:
    """Pressure [Pa] (...) of a fan at flows [m^3/s] (...): monotone cubics between the points (PCHIP).

    Raises
    ------
    ValueError
        If a flow lies outside the curve; the message gives the worst.
    """
    flow = np.asarray(flow, dtype=float)
    outside = np.maximum(curve.flow[0] - flow, flow - curve.flow[-1])
    if outside.size and not outside.max() <= 0:
        worst = float(flow.ravel()[np.argmax(outside)])
        raise ValueError(f"{show(worst, 'volume flow')} lies outside the fan curve, {_span(curve)}")
    return _between(curve, flow)


def fan_flow(curve: FanCurve, pressure: Any) -> np.ndarray:
    """Flow [m^3/s] (...) of a fan against pressures [Pa] (...), on the falling part of its curve.

    Above the pressure at the start of that part the flow is the one at its start, below the pressure of its end the one at its end.
    """
    pressure = np.asarray(pressure, dtype=float)
    low = np.full(pressure.shape, curve.flow[curve.falling_from])
    high = np.full(pressure.shape, curve.flow[-1])
    pressure = np.clip(pressure, curve.pressure[-1], curve.pressure[curve.falling_from])
    for _ in range(60):  # bisection: exact to rounding, and vectorised
        middle = 0.5 * (low + high)
        is_left = _between(curve, middle) > pressure
        low, high = np.where(is_left, middle, low), np.where(is_left, high, middle)
    at_ends = np.where(pressure == curve.pressure[-1], curve.flow[-1], 0.5 * (low + high))
    return np.where(pressure == curve.pressure[curve.falling_from], curve.flow[curve.falling_from], at_ends)


def in_parallel(curve: FanCurve, count: int) -> FanCurve:
    """The curve of equal fans side by side, all running: flows add at equal pressure."""
    return FanCurve(curve.flow * _counted(count), curve.pressure)


def in_series(curve: FanCurve, count: int) -> FanCurve:
    """The curve of equal fans in a row: pressures add at equal flow. Swirl between them costs more than this says."""
    return FanCurve(curve.flow, curve.pressure * _counted(count))


def parallel(curves: Sequence[FanCurve]) -> FanCurve:
    """The curve of unlike fans side by side: flows add at equal pressure.

    Parameters
    ----------
    curves : sequence of FanCurve
        One or more, all at their own speed and density.

    Returns
    -------
    FanCurve
        On the falling parts of the curves alone: where one of them is stalled or unknown, the sum has no single value and the
        result starts right of it. Above its own shut-off pressure a weaker fan gives no flow and is taken not to leak
        (a flap); without one, its way back is an `OpenPath`, for `less_leakage`.

    Raises
    ------
    Failure
        If the curves have no pressure in common.
    """
    starts = [(float(curve.flow[curve.falling_from]), float(curve.pressure[curve.falling_from])) for curve in curves]
    inner = [pressure for flow, pressure in starts if flow > 0]  # above these the fan's flow is not known
    top = min(inner) if inner else max(pressure for _, pressure in starts)
    bottom = max(float(curve.pressure[-1]) for curve in curves)
    if not top > bottom:
        least, most = show(bottom, "pressure"), show(top, "pressure")
        raise Failure(
            f"the fans have no pressure in common: one gives at least {least}, another is known only to {most}"
        )
    sampled = np.concatenate([fan_pressure(curve, _samples(curve)) for curve in curves])
    pressures = np.unique(np.concatenate([np.clip(sampled, bottom, top), [bottom, top]]))[::-1]
    return _curve_of(np.sum([fan_flow(curve, pressures) for curve in curves], axis=0), pressures)


def leakage_flow(path: OpenPath, pressure: Any, density: float) -> np.ndarray:
    """Flow [m^3/s] (...) back through an open path under a pressure [Pa] (...): area times sqrt(2 p / (density * loss))."""
    return path.area * np.sqrt(2.0 * np.asarray(pressure, dtype=float) / (density * path.loss_coefficient))


def less_leakage(curve: FanCurve, path: OpenPath, density: float) -> FanCurve:
    """The curve that the system sees when part of the flow runs back through an open path, such as a dead neighbour.

    Parameters
    ----------
    curve : FanCurve
        Of the fans that run, together.
    path : OpenPath
        Beside them, between the same two spaces.
    density : float, [kg/m^3]

    Returns
    -------
    FanCurve
        On the falling part of the curve: at each pressure the fans' flow less the leakage, from no flow or the start of that part.

    Raises
    ------
    Failure
        If all of the flow runs back at every point of the curve.
    """

    def net(flow: Any) -> np.ndarray:
        return flow - leakage_flow(path, fan_pressure(curve, flow), density)

    start, end = float(curve.flow[curve.falling_from]), float(curve.flow[-1])
    if not net(end) > 0:
        raise Failure(f"all of {show(end, 'volume flow')} runs back through the open path of {show(path.area, 'area')}")
    if net(start) < 0:
        start = _root(net, start, end)
    flows = _samples(curve)  # most of them may run back: what is left gets points of its own
    flows = np.unique(np.concatenate([np.linspace(start, end, FEWEST_BETWEEN + 2), flows[flows >= start]]))
    return _curve_of(np.maximum(net(flows), 0.0), fan_pressure(curve, flows))


def operating_point(curve: FanCurve, system_pressure: Callable[[float], float]) -> OperatingPoint:
    """Where a fan's curve meets the pressure that the system asks.

    Parameters
    ----------
    curve : FanCurve
    system_pressure : function of flow [m^3/s] giving pressure [Pa]
        Continuous and rising.

    Returns
    -------
    OperatingPoint
        Of several crossings the first at which a fan that starts from rest stays: the fan is above the system left of it and
        below right of it.

    Raises
    ------
    Failure
        If the system asks more than the fan gives at all flows, less than it gives at the end of its curve, or no number.
    """

    def excess(flow: float) -> float:
        asked = float(system_pressure(flow))
        if not math.isfinite(asked):
            raise Failure(f"the pressure drop of the system at {show(flow, 'volume flow')} is {asked}")
        return float(_between(curve, flow)) - asked

    flows = _trial_flows(curve)
    surplus = np.array([excess(float(flow)) for flow in flows])
    falls = np.flatnonzero((surplus[:-1] > 0) & (surplus[1:] <= 0))
    if not falls.size:
        raise Failure(_no_crossing(curve, surplus))
    first, *others = (_root(excess, float(flows[at]), float(flows[at + 1])) for at in falls)
    pressure = float(fan_pressure(curve, first))
    stalled = curve.stall_flow is not None and first < curve.stall_flow
    return OperatingPoint(first, pressure, first * pressure, stalled, tuple(others))


def _no_crossing(curve: FanCurve, surplus: np.ndarray) -> str:
    place = -1 if surplus[-1] > 0 else 0
    flow, given, asked = (
        float(each) for each in (curve.flow[place], curve.pressure[place], curve.pressure[place] - surplus[place])
    )
    gives, asks, at = show(given, "pressure"), show(asked, "pressure"), show(flow, "volume flow")
    if place == -1:
        return (
            f"the operating point lies beyond the fan curve: at its end, {at}, the fan still gives {gives} and the system asks only "
            f"{asks}; the curve must reach further towards free delivery"
        )
    start = "at shut-off" if flow == 0 else f"at {at}, the smallest flow of its curve,"
    return f"the fan cannot drive the system: {start} it gives {gives}, where the system asks {asks}, and more at all other flows"


def _trial_flows(curve: FanCurve) -> np.ndarray:
    """Flows between which to look for crossings: dense where the curve is stalled, elsewhere its own points."""
    stalled = curve.flow[: curve.falling_from + 1]
    dense = [np.linspace(a, b, STALL_SAMPLES, endpoint=False) for a, b in pairwise(stalled)]
    return np.concatenate([*dense, curve.flow[curve.falling_from :]])


def _samples(curve: FanCurve) -> np.ndarray:
    """Flows on the falling part: its own points, and as many between each two, so that short steep stretches are resolved too."""
    own = curve.flow[curve.falling_from :]
    parts = max(FEWEST_BETWEEN, SAMPLES // (own.size - 1))
    return np.unique(np.concatenate([np.linspace(a, b, parts + 1) for a, b in pairwise(own)]))


def _curve_of(flow: np.ndarray, pressure: np.ndarray) -> FanCurve:
    """A curve of points in order of falling pressure, those left out that rounding has brought together."""
    apart = 1e-9 * flow[-1]
    keep = np.concatenate([[True], np.diff(flow) > apart])
    keep[-1] = True
    if keep.size > 1 and flow[-1] - flow[np.flatnonzero(keep)[-2]] <= apart:
        keep[np.flatnonzero(keep)[-2]] = False
    return FanCurve(flow[keep], pressure[keep])


def _span(curve: FanCurve) -> str:
    return f"{show(float(curve.flow[0]), 'volume flow')} to {show(float(curve.flow[-1]), 'volume flow')}"


def _check_ratio(name: str, ratio: float) -> None:
    if not (0.0 < ratio < math.inf):
        raise ValueError(f"a ratio of {name} is above 0 and finite, not {ratio}")


def _counted(count: int) -> int:
    if count < 1 or count != int(count):
        raise ValueError(f"a number of fans is a whole number from 1, not {count}")
    return int(count)


def _between(curve: FanCurve, flow: Any) -> np.ndarray:
    """Pressure between the points; rounding must not make it negative at free delivery."""
    return np.clip(_interpolant(curve)(flow), curve.pressure.min(), curve.pressure.max())


@lru_cache(maxsize=64)
def _interpolant(curve: FanCurve) -> Any:
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(curve.flow, curve.pressure)


def _root(function: Callable[[float], Any], low: float, high: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-14 * high, rtol=8.9e-16))
