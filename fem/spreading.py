"""What a plate adds when the source is smaller than the plate: exact Fourier series, closed forms, half space, cone.

Lengths in m, origin at the plate's lower left corner; a source is ``[x, y, width, height]`` with (x, y) its lower left
corner. The rim is insulated, the source face outside the sources too; the far face sheds heat through a uniform
coefficient (``inf``: isothermal base). All resistances are rises above the coolant per watt.
"""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from math import asinh, hypot, log1p, pi, sqrt, tanh

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plancha.fem.plate_series import (
    Layer,
    checked_plate,
    checked_sources,
    isotropic_layer,
    layer_impedance,
    plate_response,
    split_series,
)

__all__ = [
    "Layer",
    "PlateResistance",
    "cone_resistance",
    "half_space_disc_resistance",
    "half_space_rectangle_resistance",
    "isotropic_layer",
    "layer_impedance",
    "lee_spreading_resistance",
    "one_dimensional_resistance",
    "plate_resistance",
    "series_maximum",
    "series_mean_resistance",
    "series_rise_at",
]

LEE_LARGEST_SIZE_RATIO = 0.3  # sqrt(source area / plate area) up to which the closed form keeps to about 10 %
ZOOMS = 14  # each narrows the search for the maximum by 3/8


@dataclass(frozen=True)
class PlateResistance:
    """Resistance of one source on a plate, in K/W; the spreading parts do not contain the one-dimensional part."""

    one_dimensional: float
    """Rise of the mean of the whole source face per watt"""
    spreading_mean: float
    """Mean over the source's footprint, above the mean of the source face"""
    spreading_maximum: float
    """Hottest point of the footprint, above the mean of the source face"""
    hottest: tuple[float, float]
    """Where the hottest point lies, [m]"""


def one_dimensional_resistance(plate_size: ArrayLike, layers: Sequence[Layer], coefficient: float) -> float:
    """Resistance of the plate to heat spread evenly over its whole face, film included: (sum t/kz + R'' + 1/h)/A, K/W.

    It is also the rise of the source face's mean per watt for any sources, because the coefficient is uniform.

    Examples
    --------
    >>> round(one_dimensional_resistance((0.04, 0.04), [isotropic_layer(0.003, 390.0)], 1000.0), 6)
    0.629808
    """
    width, height = checked_plate(plate_size)
    return float(layer_impedance(0.0, 0.0, layers, coefficient)) / (width * height)


def series_mean_resistance(
    plate_size: ArrayLike,
    sources: ArrayLike,
    layers: Sequence[Layer],
    coefficient: float,
    terms: int | None = None,
) -> NDArray[np.float64]:
    """Mean rise over each source's footprint per watt in each source: the coupling matrix of a layered plate.

    Parameters
    ----------
    plate_size : (width, height), [m]
    sources : array (n, 4), [m]
        Rows [x, y, width, height], lower left corner first; uniform flux in each. They may overlap.
    layers : sequence of Layer
        From the source face towards the coolant.
    coefficient : float, [W/(m2 K)]
    terms : int, optional
        Cosines per axis. Left out, they are chosen so that the truncation error is below 1e-7 of the result
        (see Notes); give a number to see what it changes.

    Returns
    -------
    array (n, n), [K/W]
        Row: where the mean is taken; column: where the watt goes in. Symmetric. Holds the one-dimensional part.

    Raises
    ------
    ValueError
        If a source reaches beyond the plate, or a size, layer or coefficient is not positive.

    Notes
    -----
    Source: derived independently. R = sum Z S S G G/(Lx Ly) over the plate's cosines, Z of `layer_impedance`, S the
    mean of a cosine over the source and G its mean over the receiver or its value at the point. The slow part of the
    sum is summed as a heat kernel with mirror images (`split_series`), so that the dropped cosines carry a factor 1e-6
    on an ordinary series' tail. Where the top layer is thinner than about 1/500 of the plate, 1200 cosines per axis
    are kept; the error seen is then 1e-7 for a good conductor and up to 1e-4 for a poor one. Valid: constant
    properties, layers of equal size, uniform coefficient.

    Examples
    --------
    >>> plate, copper = (0.04, 0.04), [isotropic_layer(0.003, 390.0)]
    >>> series_mean_resistance(plate, [[0.015, 0.015, 0.01, 0.01]], copper, 1000.0).round(6)
    array([[0.772007]])
    """
    spots = checked_sources(plate_size, sources)
    return plate_response(split_series(plate_size, layers, coefficient, terms), spots, spots)


def series_rise_at(
    points: ArrayLike,
    plate_size: ArrayLike,
    sources: ArrayLike,
    layers: Sequence[Layer],
    coefficient: float,
    terms: int | None = None,
) -> NDArray[np.float64]:
    """Rise at points of the source face per watt in each source.

    Parameters
    ----------
    points : array (m, 2), [m]
    plate_size, sources, layers, coefficient, terms
        As in `series_mean_resistance`, with the same source, validity and truncation error.

    Returns
    -------
    array (m, n), [K/W]

    Raises
    ------
    ValueError
        As `series_mean_resistance`, and if a point lies off the plate.

    Examples
    --------
    >>> plate, copper = (0.04, 0.04), [isotropic_layer(0.003, 390.0)]
    >>> series_rise_at([[0.02, 0.02], [0.0, 0.0]], plate, [[0.015, 0.015, 0.01, 0.01]], copper, 1000.0).round(4)
    array([[0.8074],
           [0.5852]])
    """
    places = np.array(points, dtype=float).reshape(-1, 2)
    width, height = checked_plate(plate_size)
    if not np.all((places >= 0) & (places <= (width, height))):
        raise ValueError(f"a point lies off the plate of {width} x {height} m: {places.tolist()}")
    series = split_series(plate_size, layers, coefficient, terms)
    return plate_response(series, places, checked_sources(plate_size, sources))


def series_maximum(
    plate_size: ArrayLike,
    source: ArrayLike,
    layers: Sequence[Layer],
    coefficient: float,
    terms: int | None = None,
) -> tuple[float, tuple[float, float]]:
    """Hottest point of one source's footprint: (rise per watt in K/W, its place in m).

    For a source off the plate's middle it is not the footprint's centre: it moves towards the nearer edge. Found on a
    9 x 9 grid that closes in on the maximum. Other arguments, source, validity and errors as `series_mean_resistance`.

    Examples
    --------
    >>> layers = [isotropic_layer(0.003, 390.0)]
    >>> resistance, (x, y) = series_maximum((0.08, 0.05), [0.02, 0.0125, 0.02, 0.015], layers, 1500.0)
    >>> round(resistance, 6), round(1000 * x, 2), round(1000 * y, 2)
    (0.327984, 29.21, 19.3)
    """
    spot = checked_sources(plate_size, source)
    if len(spot) != 1:
        raise ValueError(f"the maximum is that of one source; got {len(spot)}")
    series = split_series(plate_size, layers, coefficient, terms)
    low, size = spot[0, :2], spot[0, 2:]
    centre, half = low + size / 2, size / 2
    steps = np.stack(np.meshgrid(*2 * [np.linspace(-1, 1, 9)], indexing="ij"), axis=-1).reshape(-1, 2)
    for _ in range(ZOOMS):
        places = np.clip(centre + half * steps, low, low + size)
        rises = plate_response(series, places, spot)[:, 0]
        centre, half = places[np.argmax(rises)], half * 3 / 8
    return float(rises.max()), (float(centre[0]), float(centre[1]))


def plate_resistance(
    plate_size: ArrayLike, source: ArrayLike, layers: Sequence[Layer], coefficient: float
) -> PlateResistance:
    """One-dimensional part and both spreading parts of a single source; arguments as in `series_maximum`.

    Examples
    --------
    >>> layers = [isotropic_layer(0.003, 390.0)]
    >>> plate = plate_resistance((0.04, 0.04), [0.015, 0.015, 0.01, 0.01], layers, 1000.0)
    >>> round(plate.spreading_mean, 6), round(plate.spreading_maximum, 6)
    (0.142199, 0.177608)
    """
    even = one_dimensional_resistance(plate_size, layers, coefficient)
    mean = float(series_mean_resistance(plate_size, source, layers, coefficient)[0, 0])
    maximum, place = series_maximum(plate_size, source, layers, coefficient)
    return PlateResistance(even, mean - even, maximum - even, place)


def lee_spreading_resistance(
    source_area: float, plate_area: float, thickness: float, conductivity: float, coefficient: float
) -> tuple[float, float]:
    """Spreading resistance by the closed form of Lee, Song, Au and Moran: (mean, maximum), without the 1-D part.

    With radii a, b of discs of equal area, e = a/b, l = pi + 1/(sqrt(pi) e), Bi = h b/k:
    phi = (tanh(l t/b) + l/Bi)/(1 + (l/Bi) tanh(l t/b)),
    mean (1-e)^1.5 phi/(2 sqrt(pi) k a), maximum (1-e) phi/(pi k a).

    Parameters
    ----------
    source_area, plate_area : float, [m2]
    thickness : float, [m]
    conductivity : float, [W/(m K)]
    coefficient : float, [W/(m2 K)]
        On the far face; ``inf`` for an isothermal base.

    Returns
    -------
    (mean, maximum), [K/W]

    Raises
    ------
    ValueError
        If a value is not above 0 or the source is larger than the plate.

    Warns
    -----
    UserWarning
        If e exceeds LEE_LARGEST_SIZE_RATIO.

    Notes
    -----
    Source: Lee, Song, Au and Moran (1995), ASME/JSME Thermal Engineering Conference 4, 199-206, from memory. Valid:
    central, nearly square source and plate, e <= 0.3, to about 10 %; worse for thin plates on cold bases.

    Examples
    --------
    >>> mean, maximum = lee_spreading_resistance(1e-4, 16e-4, 0.003, 390.0, 1000.0)
    >>> round(mean, 6), round(maximum, 6)
    (0.133866, 0.17442)
    """
    if not (0 < source_area <= plate_area and min(thickness, conductivity, coefficient) > 0):
        raise ValueError(f"needed: 0 < source_area <= plate_area, all above 0; got {source_area}, {plate_area} m2")
    source, plate = sqrt(source_area / pi), sqrt(plate_area / pi)
    ratio = source / plate
    if ratio > LEE_LARGEST_SIZE_RATIO:
        warnings.warn(f"size ratio {ratio:.3g} is above {LEE_LARGEST_SIZE_RATIO}: may be off by 20 %", stacklevel=2)
    rate = pi + 1 / (sqrt(pi) * ratio)
    bend, film = tanh(rate * thickness / plate), rate * conductivity / (coefficient * plate)
    phi = (bend + film) / (1 + film * bend)
    mean = (1 - ratio) ** 1.5 * phi / (2 * sqrt(pi) * conductivity * source)
    return mean, (1 - ratio) * phi / (pi * conductivity * source)


def half_space_disc_resistance(radius: float, conductivity: float) -> tuple[float, float]:
    """(mean, maximum) resistance in K/W of a disc of uniform flux on a half space: 8/(3 pi^2 k a), 1/(pi k a).

    What spreading tends to for a source small beside thickness and plate. Source: Carslaw and Jaeger, from memory.

    Examples
    --------
    >>> mean, maximum = half_space_disc_resistance(1.0, 1.0)
    >>> round(mean, 6), round(maximum, 6)
    (0.27019, 0.31831)
    """
    return 8 / (3 * pi**2 * conductivity * radius), 1 / (pi * conductivity * radius)


def half_space_rectangle_resistance(width: float, height: float, conductivity: float) -> tuple[float, float]:
    """(mean, maximum) resistance in K/W of a rectangle a x b of uniform flux on a half space.

    With s = a arsinh(b/a) + b arsinh(a/b): maximum s/(pi k a b); mean [s + (a^3 + b^3 - d^3)/(3 a b)]/(pi k a b), d the
    diagonal. Source: derived independently; classical (Carslaw and Jaeger, from memory).

    Examples
    --------
    >>> mean, maximum = half_space_rectangle_resistance(1.0, 1.0, 1.0)
    >>> round(mean, 6), round(maximum, 6)
    (0.473201, 0.5611)
    """
    area = width * height
    sides = width * asinh(height / width) + height * asinh(width / height)
    corner = (width**3 + height**3 - hypot(width, height) ** 3) / (3 * area)
    return (sides + corner) / (pi * conductivity * area), sides / (pi * conductivity * area)


def cone_resistance(plate_size: ArrayLike, source: ArrayLike, layers: Sequence[Layer]) -> float:
    """Resistance of a 45-degree cone under a rectangular source at its true place, without the film, in K/W.

    Each side moves outward by one for each unit of depth until it meets the plate's edge; the layers are integrated
    as dz/(kz a(z) b(z)), interfaces at the area the cone has reached. Over a piece where both sides grow evenly the
    integral is its depth over the logarithmic mean of a2 b1 and a1 b2.

    Parameters
    ----------
    plate_size : (width, height), [m]
    source : [x, y, width, height], [m]
    layers : sequence of Layer

    Returns
    -------
    float, [K/W]

    Raises
    ------
    ValueError
        If the source reaches beyond the plate, or is not one source.

    Notes
    -----
    Source: common practice, no source. It is a rule of thumb: neither the mean nor the maximum. On a plate with an
    isothermal base it lies 9-13 % below the exact mean and 25-31 % below the maximum (derived independently).

    Examples
    --------
    >>> round(cone_resistance((0.04, 0.04), [0.015, 0.015, 0.01, 0.01], [isotropic_layer(0.005, 390.0)]), 6)
    0.064103
    """
    spot = checked_sources(plate_size, source)
    if len(spot) != 1:
        raise ValueError(f"the cone is that of one source; got {len(spot)}")
    room = np.concatenate([spot[0, :2], np.asarray(plate_size) - spot[0, :2] - spot[0, 2:]])
    depth, total = 0.0, 0.0
    for layer in layers:
        bottom = depth + layer.thickness
        cuts = [depth, *sorted(edge for edge in room if depth < edge < bottom), bottom]
        sides = [spot[0, 2:] + np.minimum(room[:2], cut) + np.minimum(room[2:], cut) for cut in cuts]
        for top, end, (a1, b1), (a2, b2) in zip(cuts, cuts[1:], sides, sides[1:]):
            total += (end - top) / (layer.conductivity[2] * _logarithmic_mean(a2 * b1, a1 * b2))
        total += layer.impedance_below / float(np.prod(sides[-1]))
        depth = bottom
    return float(total)


def _logarithmic_mean(first: float, second: float) -> float:
    excess = first / second - 1
    return second * excess / log1p(excess) if excess else second
