"""Temperatures as functions of one impedance from a few solves: what a joint costs, whatever fills it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

Solve = Callable[[float], np.ndarray]  # impedance [m2 K/W] -> temperatures (quantities,) [K]

WANTED = 0.003  # share of what the joint adds
PER_DECADE, FEWEST, MOST = 2.2, 5, 9  # solves before the checks
LEAST = 0.03  # K; no claim is better
CHECKS = 4  # at most
FINER = 1.5  # by which spaces half as wide make it better at least; cubics where nothing bends do far more


@dataclass(frozen=True)
class Response:
    """Temperatures (quantities,) [K] over the impedance of a joint.

    ``impedances`` (solves,) [m2 K/W] rise, ``values`` (solves, quantities) [K] were solved there. ``error`` [-] is how
    far the interpolation may be off, as a share of what the joint adds: the larger of what the last check showed, a solve at
    ``checked_at`` [m2 K/W] before it was used, and two thirds of what leaving out one solve would do.
    """

    impedances: np.ndarray
    values: np.ndarray
    error: float
    checked_at: float

    def at(self, impedance: float) -> np.ndarray:
        """Temperatures (quantities,) [K] at an impedance [m2 K/W] within those solved."""
        return self._curve(impedance)

    @cached_property
    def _curve(self) -> Solve:
        return _curve_through(self.impedances, self.values)

    def off(self, impedance: float) -> float:
        """How far the interpolation may be off [K] at an impedance."""
        return LEAST + self.error * float(np.abs(self.at(impedance) - self.values[0]).max())


def response_over(low: float, high: float, solve: Solve, wanted: float = WANTED, checks: int = CHECKS) -> Response:
    """Solve at a few impedances from low to high [m2 K/W], and check between them until the interpolation is as good as wanted.

    Parameters
    ----------
    low, high : float, [m2 K/W]
    solve : function of an impedance
        Temperatures (quantities,) [K].
    wanted : float, [-]
        Largest error, as a share of what the joint adds to the temperature at ``low``.
    checks : int
        At most so many further solves, one at least. Each check becomes a point of the interpolation.

    Raises
    ------
    ValueError
        If not 0 < low < high.

    Notes
    -----
    A temperature is nearly linear in the impedance, less so where heat has other ways; so its mean slope from ``low`` on, which
    changes little over decades, is what is interpolated (monotone cubics, Fritsch and Carlson 1980, from memory) in log R.
    """
    if not 0 < low < high:
        raise ValueError(f"impedances must rise above 0, got {low:g} to {high:g}")
    count = min(max(math.ceil(PER_DECADE * math.log10(high / low)) + 1, FEWEST), MOST)
    impedances = np.geomspace(low, high, count)
    values = np.array([solve(float(each)) for each in impedances])
    for _ in range(max(checks, 1)):
        place = _most_doubtful(impedances, values)
        found = solve(place)
        error = _share(found - _between(impedances, values, place), found - values[0])
        where = int(np.searchsorted(impedances, place))
        impedances, values = np.insert(impedances, where, place), np.insert(values, where, found, axis=0)
        error = max(error, float(_left_out(impedances, values).max()) / FINER)
        if error <= wanted:
            break
    return Response(impedances, values, error, place)


def _share(off: np.ndarray, added: np.ndarray) -> float:
    return float(np.abs(off).max()) / max(float(np.abs(added).max()), 1e-9)


def _left_out(impedances: np.ndarray, values: np.ndarray) -> np.ndarray:
    """By how much the interpolation would miss each inner solve but the second without it (solves - 3,), as a share of what is added.

    Without the second the slope at the first would be another one.
    """
    return np.array(
        [
            _share(
                values[n] - _between(np.delete(impedances, n), np.delete(values, n, axis=0), impedances[n]),
                values[n] - values[0],
            )
            for n in range(2, len(impedances) - 1)
        ]
    )


def _slopes(impedances: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Mean slopes (solves, quantities) from the first solve on; the first's own as a straight line in R through the next two says."""
    slopes = (values[1:] - values[0]) / (impedances[1:] - impedances[0])[:, None]
    back = (impedances[1] - impedances[0]) / (impedances[2] - impedances[1])
    return np.vstack([slopes[:1] - back * (slopes[1] - slopes[0]), slopes])


def _curve_through(impedances: np.ndarray, values: np.ndarray) -> Solve:
    """Temperatures between solves, as a function of the impedance."""
    from scipy.interpolate import PchipInterpolator

    slope = PchipInterpolator(np.log(impedances), _slopes(impedances, values))
    return lambda impedance: values[0] + (impedance - impedances[0]) * slope(math.log(impedance))


def _between(impedances: np.ndarray, values: np.ndarray, impedance: float) -> np.ndarray:
    return _curve_through(impedances, values)(impedance)


def _most_doubtful(impedances: np.ndarray, values: np.ndarray) -> float:
    """The middle (in log R) of the wider space beside the solve that the others foretell worst."""
    number, logs = int(np.argmax(_left_out(impedances, values))) + 2, np.log(impedances)
    beside = number - 1 if logs[number] - logs[number - 1] > logs[number + 1] - logs[number] - 1e-9 else number
    return math.exp((logs[beside] + logs[beside + 1]) / 2)
