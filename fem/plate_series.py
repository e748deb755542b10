"""How a plate of layers answers a flux on its face: layer impedance, and a Fourier series that needs few terms.

Lengths in m, origin at the plate's lower left corner. A source is ``[x, y, width, height]`` with (x, y) its lower left
corner; a receiver is such a rectangle (the mean over it is wanted) or a point ``[x, y]``. The rim is insulated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, inf, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf

MOST_TERMS = 1200  # per axis, when the number of terms is chosen here
DECAY = 14.0  # the dropped terms carry a factor exp(-DECAY), and erfc(REACH), which is as small
REACH = 3.5


@dataclass(frozen=True)
class Layer:
    """One layer of the plate's full size; layers are listed from the source face towards the coolant."""

    thickness: float
    """[m]"""
    conductivity: tuple[float, float, float]
    """Along x, along y and through the layer, [W/(m K)]"""
    impedance_below: float = 0.0
    """Areal resistance of the interface on the coolant side, [m2 K/W]; 0 is perfect contact"""

    def __post_init__(self) -> None:
        if len(self.conductivity) != 3 or not all(0 < value < inf for value in (self.thickness, *self.conductivity)):
            raise ValueError(f"a layer needs a thickness and three conductivities, finite and above 0: {self}")
        if not 0 <= self.impedance_below < inf:
            raise ValueError(f"impedance_below is {self.impedance_below} m2 K/W; allowed: 0 or more, finite")


def isotropic_layer(thickness: float, conductivity: float, impedance_below: float = 0.0) -> Layer:
    """Layer that conducts alike in all directions; arguments as in `Layer`, one conductivity in W/(m K)."""
    return Layer(thickness, (conductivity, conductivity, conductivity), impedance_below)


def layer_impedance(
    wavenumber_x: ArrayLike, wavenumber_y: ArrayLike, layers: Sequence[Layer], coefficient: float
) -> NDArray[np.float64]:
    """Rise of the source face per flux for a flux varying as cos(wavenumber_x x) cos(wavenumber_y y).

    From the coolant upward, starting at Z = 1/h: Z <- Z + R'', then with g = sqrt((kx lx^2 + ky ly^2)/kz)
    Z <- (Z + tanh(g t)/(kz g)) / (1 + Z kz g tanh(g t)). Only tanh appears, so that nothing overflows.

    Parameters
    ----------
    wavenumber_x, wavenumber_y : array, broadcast together, [1/m]
        0 is the uniform flux.
    layers : sequence of Layer
        From the source face towards the coolant.
    coefficient : float, [W/(m2 K)]
        On the far face; ``inf`` for an isothermal base.

    Returns
    -------
    array (...), [m2 K/W]

    Raises
    ------
    ValueError
        If there is no layer, or the coefficient is not above 0.

    Notes
    -----
    Source: derived independently; the same content as Yovanovich, Muzychka and Culham (1999) and, for orthotropic
    layers, Muzychka, Yovanovich and Culham (2004), from memory. Valid: constant properties, layers of equal size.

    Examples
    --------
    >>> copper = isotropic_layer(0.003, 390.0)
    >>> float(layer_impedance(0.0, 0.0, [copper], 1000.0).round(9))
    0.001007692
    """
    if not layers or not coefficient > 0:
        raise ValueError(f"{len(layers)} layers, coefficient {coefficient} W/(m2 K); needed: 1 or more, above 0")
    square_x, square_y = np.square(wavenumber_x), np.square(wavenumber_y)
    impedance = np.full(np.broadcast_shapes(square_x.shape, square_y.shape), 1.0 / coefficient)
    for layer in reversed(layers):
        along_x, along_y, through = layer.conductivity
        decay = np.sqrt((along_x * square_x + along_y * square_y) / through)
        bend = np.tanh(decay * layer.thickness)
        height = np.divide(bend, decay, out=np.full_like(decay, layer.thickness), where=decay > 0)
        impedance = impedance + layer.impedance_below
        impedance = (impedance + height / through) / (1.0 + impedance * through * decay * bend)
    return impedance


def checked_plate(plate_size: ArrayLike) -> tuple[float, float]:
    """Width and height of a plate, [m]; ValueError unless both are finite and above 0."""
    width, height = (float(side) for side in np.asarray(plate_size, dtype=float))
    if not (0 < width < inf and 0 < height < inf):
        raise ValueError(f"plate of {width} x {height} m; both sides must be finite and above 0")
    return width, height


def checked_sources(plate_size: ArrayLike, sources: ArrayLike) -> NDArray[np.float64]:
    """Sources as an array (n, 4), [m]; ValueError if one has no area or reaches beyond the plate."""
    plate = np.array(checked_plate(plate_size))
    spots = np.array(sources, dtype=float).reshape(-1, 4)
    slack = 1e-9 * plate  # corners written in mm and added up miss the edge by rounding
    fits = (spots[:, 2:] > 0) & (spots[:, :2] >= -slack) & (spots[:, :2] + spots[:, 2:] <= plate + slack)
    if not np.all(fits):
        raise ValueError(f"no area, or beyond the plate of {plate.tolist()} m: {spots[~fits.all(axis=1)].tolist()}")
    return spots


@dataclass(frozen=True)
class SplitSeries:
    """A plate's response as few cosines (``remainder``) and a heat-kernel integral (``widths``, ``weights``)."""

    plate: tuple[float, float]
    wavenumbers: tuple[NDArray[np.floating], NDArray[np.floating]]
    remainder: NDArray[np.float64]
    widths: tuple[NDArray[np.float64], NDArray[np.float64]]
    weights: NDArray[np.float64]


def split_series(plate_size: ArrayLike, layers: Sequence[Layer], coefficient: float, terms: int | None) -> SplitSeries:
    """Series of a plate, split by 1/g = erfc(g s)/g + erf(g s)/g at a length s about half the top layer's thickness.

    1/(kz g) is what the layer impedance tends to. What is left after taking off erf(g s)/(kz g) dies out like
    exp(-2 g t); what was taken off is (2/sqrt(pi)) int_0^s exp(-(g u)^2) du, the heat kernel, a product in x and y.
    """
    plate = checked_plate(plate_size)
    layer_impedance(0.0, 0.0, layers, coefficient)  # refuses an empty plate or a coefficient of 0 before it is used
    along_x, along_y, through = layers[0].conductivity
    stretch = (sqrt(along_x / through), sqrt(along_y / through))
    # up to a ninth of the plate one mirror image a side is enough: erfc(4.5) is 2e-10
    ninth = min(side / factor for side, factor in zip(plate, stretch)) / 9
    cut = max(DECAY / (2 * layers[0].thickness), REACH / ninth)
    counts = [min(ceil(cut * side / factor / pi), MOST_TERMS) for side, factor in zip(plate, stretch)]
    counts = counts if terms is None else [terms, terms]
    if min(counts) < 1:
        raise ValueError(f"terms is {terms}; needed: 1 or more per axis")
    kept = min(count * pi * factor / side for count, side, factor in zip(counts, plate, stretch))
    time = min(REACH / kept, ninth)  # a length: the square root of diffusivity times time

    x, y = (pi / side * np.arange(count + 1, dtype=np.float64) for side, count in zip(plate, counts))
    decay = np.hypot(stretch[0] * x[:, None], stretch[1] * y[None, :])
    near = np.divide(erf(decay * time), decay, out=np.full_like(decay, 2 * time / sqrt(pi)), where=decay > 0) / through
    twice = [np.where(wavenumber > 0, 2.0, 1.0) / side for wavenumber, side in zip((x, y), plate)]
    remainder = np.outer(*twice) * (layer_impedance(x[:, None], y[None, :], layers, coefficient) - near)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    fraction = (nodes + 1) / 2  # squared: the kernel changes fastest at short times
    widths = 2 * time * fraction**2
    weights = 2 / sqrt(pi) * time * fraction * weights / through
    return SplitSeries(plate, (x, y), remainder, (stretch[0] * widths, stretch[1] * widths), weights)


def plate_response(
    series: SplitSeries, receivers: NDArray[np.float64], sources: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Rise per watt (m, n) at points (m, 2) or as means over rectangles (m, 4)."""
    result = np.empty((len(receivers), len(sources)))
    seen = [_modes(series, receivers, axis) for axis in (0, 1)]
    # Along one axis many receivers lie alike.
    alike = [np.unique(receivers[:, axis::2], axis=0, return_inverse=True) for axis in (0, 1)]
    for column, source in enumerate(sources):
        sent = [_modes(series, source[None], axis) for axis in (0, 1)]
        far = np.sum(((seen[0] * sent[0]) @ series.remainder) * (seen[1] * sent[1]), axis=1)
        along = [_kernel(series, spans, source, axis)[place.ravel()] for axis, (spans, place) in enumerate(alike)]
        near = (along[0] * along[1]) @ series.weights
        result[:, column] = far + near
    return result


def _modes(series: SplitSeries, spans: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    """Mean of each cosine over spans (m, 4), or its value at points (m, 2): (m, terms)."""
    wavenumber = series.wavenumbers[axis]
    size = spans[:, axis + 2, None] if spans.shape[1] == 4 else np.zeros((len(spans), 1))
    middle = spans[:, axis, None] + size / 2
    return np.cos(wavenumber * middle) * np.sinc(wavenumber * size / (2 * pi))


def _kernel(
    series: SplitSeries, spans: NDArray[np.float64], source: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    """What the heat kernel brings along an axis from the source and its mirror images, (m, widths), [1/m], to points (m, 1) or to the
    means of spans (m, 2), start and size."""
    width, side, size = series.widths[axis], series.plate[axis], source[axis + 2]
    begin = source[axis]
    start = spans[:, :1]
    total = np.zeros((len(spans), len(width)))
    for low in (begin, -begin - size, 2 * side - begin - size):
        if spans.shape[1] == 1:
            total += erf((start - low) / width) - erf((start - low - size) / width)
            continue
        end = start + spans[:, 1:]
        rise = _erf_integral(end - low, width) - _erf_integral(start - low, width)
        fall = _erf_integral(end - low - size, width) - _erf_integral(start - low - size, width)
        total += (rise - fall) / (end - start)
    return total / (2 * size)


def _erf_integral(distance: NDArray[np.float64], width: NDArray[np.float64]) -> NDArray[np.float64]:
    ratio = distance / width
    return distance * erf(ratio) + width / sqrt(pi) * np.exp(-np.square(ratio))
