"""Resistances to a flow as rising tables of pressure drop over rate: side by side rates add, in a row drops add."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

SLOWEST, FASTEST, STEPS = 1e-5, 300.0, 900  # m/s, and how many velocities between them a passage is tabulated at

SAME = 1e-12  # of two points of a table that are one
LEAST_RISE = 1e-14  # from one velocity to the next, where a law does not rise


@dataclass(frozen=True)
class Resistance:
    """Pressure drop [Pa] (n,) over rate [m3/s] (n,), both above 0 and rising; between the points straight on logarithmic axes."""

    rate: np.ndarray
    drop: np.ndarray

    def drop_at(self, rate: np.ndarray | float) -> np.ndarray:
        """Pressure drop [Pa] (...) at rates [m3/s] (...); nothing at no flow, continued straight beyond the table."""
        return _continued(self.rate, self.drop, rate)

    def rate_at(self, drop: np.ndarray | float) -> np.ndarray:
        """Rate [m3/s] (...) at pressure drops [Pa] (...)."""
        return _continued(self.drop, self.rate, drop)


def _continued(x: np.ndarray, y: np.ndarray, at: np.ndarray | float) -> np.ndarray:
    at = np.asarray(at, float)
    log_x, log_y = np.log(x), np.log(y)
    place = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    slope = (log_y[place + 1] - log_y[place]) / (log_x[place + 1] - log_x[place])
    with np.errstate(divide="ignore"):
        found = np.exp(log_y[place] + slope * (np.log(at) - log_x[place]))
    return np.where(at > 0, found, 0.0)


def passage(drop: Callable[[np.ndarray], np.ndarray], area: float) -> Resistance:
    """A passage of a free area [m2] whose pressure drop [Pa] is a function of the velocity [m/s] in it."""
    velocity = np.geomspace(SLOWEST, FASTEST, STEPS)
    rising = np.maximum.accumulate(drop(velocity)) * (1 + LEAST_RISE * np.arange(STEPS))
    return Resistance(velocity * area, rising)


def orifice(density: float, coefficient: float, area: float) -> Resistance:
    """A loss coefficient [-] on the dynamic head in a free area [m2]."""
    return passage(lambda velocity: coefficient * density * velocity**2 / 2, area)


def in_row(parts: Sequence[Resistance]) -> Resistance:
    """One after the other: drops add at one rate."""
    rate = _apart([part.rate for part in parts])
    return Resistance(rate, np.sum([part.drop_at(rate) for part in parts], axis=0))


def side_by_side(parts: Sequence[Resistance], counts: Sequence[float] | None = None) -> Resistance:
    """Side by side: rates add at one pressure drop; each part ``counts`` times."""
    many = [1.0] * len(parts) if counts is None else counts
    drop = _apart([part.drop for part in parts])
    return Resistance(np.sum([n * part.rate_at(drop) for n, part in zip(many, parts)], axis=0), drop)


def _apart(points: Sequence[np.ndarray]) -> np.ndarray:
    """All points in order, those left out that rounding alone tells from the one before."""
    if len(points) == 1:
        return points[0]
    every = np.unique(np.concatenate(points))
    return every[np.r_[True, np.diff(every) > SAME * every[1:]]]
