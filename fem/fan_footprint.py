"""Where a fan's air goes on the plan: speed over its disc, the dead hub, the corners, and how far a plenum evens it out."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

FLOOR_UNDER_HUB = 0.2  # share of the annulus' mean speed: assumed, no source; vary it, between 0 and 1
FLOOR_IN_CORNERS = 0.1  # likewise
PARTS_OF_CELL = 8  # points each way over which the speed of a cell is averaged


@dataclass(frozen=True)
class FanProfile:
    """How the axial speed grows over the annulus: shape (radius, hub radius, outer radius) of area mean 1."""

    name: str
    shape: Callable[[np.ndarray, float, float], np.ndarray]
    source: str


def _even(radius: np.ndarray, hub: float, outer: float) -> np.ndarray:
    return np.ones_like(radius)


def _growing(radius: np.ndarray, hub: float, outer: float) -> np.ndarray:
    return radius * 1.5 * (outer**2 - hub**2) / (outer**3 - hub**3)


PROFILES = {profile.name: profile for profile in (
    FanProfile("even", _even, "free-vortex blades (from memory)"),
    FanProfile("growing with radius", _growing, "strongly loaded tips, speed in proportion to radius (from memory)"),
)}  # fmt: skip


@dataclass(frozen=True)
class FanFootprint:
    """A fan on the plan: centre [m], radius of its blades and of its hub [m], name of its profile in ``PROFILES``.

    ``hub_floor`` and ``corner_floor``: speed under the hub, and in the field outside the disc, as shares of the annulus' mean speed.
    """

    centre: tuple[float, float]
    outer_radius: float
    hub_radius: float
    profile: str = "even"
    hub_floor: float = FLOOR_UNDER_HUB
    corner_floor: float = FLOOR_IN_CORNERS

    def __post_init__(self) -> None:
        if not 0 <= self.hub_radius < self.outer_radius < math.inf:
            raise ValueError(
                f"hub radius {self.hub_radius} m is 0 or more and below the outer radius {self.outer_radius} m"
            )
        if self.profile not in PROFILES:
            raise ValueError(f'there is no profile "{self.profile}"; allowed: {", ".join(PROFILES)}')
        if not (0 <= self.hub_floor <= 1 and 0 <= self.corner_floor <= 1):
            raise ValueError(f"the floors are shares from 0 to 1, not {self.hub_floor} and {self.corner_floor}")


def axial_velocity(footprint: FanFootprint, radius: Any, flow: float) -> np.ndarray:
    """Speed of the air over a fan's disc.

    Even: V / A in the annulus. Growing with radius: 3 V r / (2 pi (ro^3 - rh^3)). Both with the hub's share taken off.

    Parameters
    ----------
    footprint : FanFootprint
        Its corner floor is not used here.
    radius : array (...), [m]
        From the fan's axis.
    flow : float, [m^3/s]

    Returns
    -------
    array (...), [m/s]
        The integral over the disc is the flow exactly; 0 outside the disc.

    Notes
    -----
    Source: blade theory (from memory); the floor under the hub is an assumption. Only the axial part: swirl is left out.
    """
    radius = np.asarray(radius, dtype=float)
    hub_area, annulus = footprint.hub_radius**2, footprint.outer_radius**2 - footprint.hub_radius**2
    mean = flow / (math.pi * (annulus + footprint.hub_floor * hub_area))
    return np.where(radius <= footprint.outer_radius, mean * _shape(footprint, radius), 0.0)


def fan_profile_on_grid(footprint: FanFootprint, flow: float, x_edges: Any, y_edges: Any) -> np.ndarray:
    """Speed of a fan's air onto the cells of a rectangular field, all of its flow going through that field.

    Parameters
    ----------
    footprint : FanFootprint
        Where its disc reaches beyond the field, the flow is turned into it, in proportion.
    flow : float, [m^3/s]
    x_edges : array (nx + 1,), [m]
        Rising; in the coordinates of the footprint's centre.
    y_edges : array (ny + 1,), [m]

    Returns
    -------
    array (ny, nx), [m/s]
        Mean over each cell (8 x 8 points); row 0 at the bottom. The sum of speed times area is the flow to rounding.

    Raises
    ------
    ValueError
        If edges do not rise, or no air at all reaches the field.
    """
    x_edges, y_edges = np.asarray(x_edges, dtype=float), np.asarray(y_edges, dtype=float)
    if min(x_edges.size, y_edges.size) < 2 or not ((np.diff(x_edges) > 0).all() and (np.diff(y_edges) > 0).all()):
        raise ValueError("the edges of a grid are two or more each way, and rise")
    areas = np.diff(y_edges)[:, None] * np.diff(x_edges)
    x, y = _inner_points(x_edges) - footprint.centre[0], _inner_points(y_edges) - footprint.centre[1]
    shape = _shape(footprint, np.hypot(x, y[:, None]))
    shape = shape.reshape(len(areas), PARTS_OF_CELL, -1, PARTS_OF_CELL).mean(axis=(1, 3))
    total = float((shape * areas).sum())
    if not total > 0:
        raise ValueError("no air of the fan reaches the field: it lies where hub or corners have a floor of 0")
    return shape * (flow / total)


def blend_of(plenum_gap: float, hub_diameter: float) -> float:
    """Share [-] of the evened-out flow behind a plenum: 1 - exp(-gap / hub diameter).

    0: the fan's own profile falls on the fins; 1: the plenum has evened out the pressure, and the fins divide the flow.

    Parameters
    ----------
    plenum_gap : float, [m]
        From the blades to the fins, 0 or more.
    hub_diameter : float, [m]
        0 or more; a fan without a hub has nothing to even out, 1 is returned.

    Notes
    -----
    Source: that swirl and the wake of the hub persist about one hub diameter: common practice, no source.
    """
    if not (plenum_gap >= 0 and hub_diameter >= 0):
        raise ValueError(f"gap {plenum_gap} m and hub diameter {hub_diameter} m are 0 or more")
    return 1.0 if hub_diameter == 0 else -math.expm1(-plenum_gap / hub_diameter)


def _shape(footprint: FanFootprint, radius: np.ndarray) -> np.ndarray:
    """Speed over the mean speed of the annulus, floors included."""
    hub, outer = footprint.hub_radius, footprint.outer_radius
    inside = PROFILES[footprint.profile].shape(radius, hub, outer)
    return np.where(radius < hub, footprint.hub_floor, np.where(radius <= outer, inside, footprint.corner_floor))


def _inner_points(edges: np.ndarray) -> np.ndarray:
    """PARTS_OF_CELL points in every interval, one interval after the other."""
    parts = (np.arange(PARTS_OF_CELL) + 0.5) / PARTS_OF_CELL
    return (edges[:-1, None] + parts * np.diff(edges)[:, None]).ravel()
