"""Reference solutions for the checks, written apart from the product and by other routes.

Nothing here imports plancha. SI units; rises above the coolant; ``film`` is a heat transfer coefficient in W/(m2 K).
A rectangle is ``(x, y, width, height)`` with (x, y) its lower left corner; width = height = 0 makes it a point.
Each docstring names the route; the formulas were derived independently unless it says otherwise.
"""

from collections.abc import Iterable, Sequence
from math import asinh, cosh, exp, hypot, pi, sinh, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import quad
from scipy.special import i0, i1, ive, j0, j1, k0, k1, kve

Rectangle = Sequence[float]
Sheet = tuple[float, float, float, float, float]
"""Thickness, conductivity along x, along y, through, areal resistance below: a layer for `layered_series`"""


def disc_on_thin_plate(
    radius: float, conductivity: float, thickness: float, film: float, power: float
) -> dict[str, float]:
    """Centre, edge and source-mean rise of a heated disc on an infinite thin plate (modified Bessel functions).

    k t lap(T) - h T + q = 0; inside (q/h)(1 - m a K1(m a) I0(m r)), outside (q/h) m a I1(m a) K0(m r).
    Carslaw and Jaeger (1959), from memory; derived again independently.
    """
    argument = radius * sqrt(film / (conductivity * thickness))
    height = power / (film * pi * radius**2)
    return {
        "centre": height * (1 - argument * k1(argument)),
        "edge": height * argument * i1(argument) * k0(argument),
        "mean": height * (1 - 2 * i1(argument) * k1(argument)),
    }


def disc_on_thin_disc(
    radius: float, rim: float, conductivity: float, thickness: float, film: float, power: float
) -> dict[str, float]:
    """Centre, edge, source-mean, rim and whole-disc mean rise of a heated disc on a thin disc with insulated rim."""
    rate = sqrt(film / (conductivity * thickness))
    argument, far = rate * radius, rate * rim
    height = power / (film * pi * radius**2)
    mirror = kve(1, far) / ive(1, far) * exp(-2 * far)
    loss = argument * (k1(argument) - mirror * i1(argument))
    outside = height * argument * i1(argument)
    return {
        "centre": height * (1 - loss),
        "edge": height * (1 - loss * i0(argument)),
        "mean": height * (1 - 2 * loss * i1(argument) / argument),
        "rim": outside * (k0(far) + mirror * i0(far)),
        "plate_mean": power / (film * pi * rim**2),
    }


def disc_on_thin_disc_profile(
    radii: ArrayLike, radius: float, rim: float, conductivity: float, thickness: float, film: float, power: float
) -> NDArray[np.floating]:
    """Rise at the given radii for the case of `disc_on_thin_disc`."""
    rate = sqrt(film / (conductivity * thickness))
    argument, far = rate * radius, rate * rim
    height = power / (film * pi * radius**2)
    mirror = kve(1, far) / ive(1, far) * exp(-2 * far)
    place = rate * np.asarray(radii, dtype=float)
    inside = height * (1 - argument * (k1(argument) - mirror * i1(argument)) * i0(place))
    outside = height * argument * i1(argument) * (k0(np.maximum(place, argument)) + mirror * i0(place))
    return np.where(place <= argument, inside, outside)


def strip_on_thin_strip(
    half_source: float, half_plate: float, conductivity: float, thickness: float, film: float, flux: float
) -> dict[str, float]:
    """Centre, edge, rim and source-mean rise of a strip |x| < half_source heated by ``flux`` on |x| < half_plate."""
    rate = sqrt(film / (conductivity * thickness))
    near, far = rate * half_source, rate * half_plate
    height = flux / film
    loss = sinh(far - near) / sinh(far)
    return {
        "centre": height * (1 - loss),
        "edge": height * (1 - loss * cosh(near)),
        "rim": height * sinh(near) / sinh(far),
        "mean": height * (1 - loss * sinh(near) / near),
    }


def rectangle_on_thin_plate(
    plate: tuple[float, float],
    source: Rectangle,
    receiver: Rectangle,
    sheet_conductance: tuple[float, float],
    film: float,
    terms: int = 4000,
) -> float:
    """Rise per watt of a thin plate, k t lap(T) - h T + q = 0, at a point or as the mean over a rectangle, K/W.

    One sum only: cosines along x, and for each the exact hyperbolic solution along y (`_strip_response`).
    ``sheet_conductance`` is thickness times conductivity along x and along y, [W/K].
    """
    along_x, along_y = sheet_conductance
    wavenumber = pi / plate[0] * np.arange(terms)
    sent, seen = (_cosine_mean(wavenumber, span[0], span[2]) for span in (source, receiver))
    rate = np.sqrt((along_x * wavenumber**2 + film) / along_y)
    across = _strip_response(rate, plate[1], (source[1], source[3]), (receiver[1], receiver[3])) / along_y
    return float(np.sum(np.where(wavenumber > 0, 2.0, 1.0) * sent * seen * across)) / plate[0]


def rectangle_on_thin_plate_maximum(
    plate: tuple[float, float], source: Rectangle, sheet_conductance: tuple[float, float], film: float
) -> tuple[float, float, float]:
    """(rise per watt, x, y) of the hottest point in the source's footprint: golden-section search along x and y."""
    x, y = source[0] + source[2] / 2, source[1] + source[3] / 2

    def rise(place_x: float, place_y: float) -> float:
        return rectangle_on_thin_plate(plate, source, (place_x, place_y, 0.0, 0.0), sheet_conductance, film, 1000)

    for _ in range(3):
        x = _golden_maximum(lambda place: rise(place, y), source[0], source[0] + source[2])  # noqa: B023
        y = _golden_maximum(lambda place: rise(x, place), source[1], source[1] + source[3])  # noqa: B023
    return rise(x, y), x, y


def layered_series(
    plate: tuple[float, float],
    sources: Iterable[Rectangle],
    receivers: Iterable[Rectangle],
    sheets: Sequence[Sheet],
    film: float,
    terms: int = 2000,
) -> NDArray[np.floating]:
    """Rise per watt (receivers, sources) of a plate of layers, by a plain truncated double Fourier series, K/W.

    Each layer is a transmission line: the answer of what lies below is turned into a reflection coefficient, carried
    up through the layer by exp(-2 g t), and turned back. Sheets from the source face down; ``film`` may be inf.
    ``terms`` cosines per axis are kept; at 2000, means of sources above 1/10 of the plate are good to 1e-7 and their
    points to 1e-5.
    """
    x, y = (pi / side * np.arange(terms) for side in plate)
    sources, receivers = list(sources), list(receivers)
    sent_x, sent_y = (np.array([_cosine_mean(w, s[i], s[i + 2]) for s in sources]) for i, w in ((0, x), (1, y)))
    seen_x, seen_y = (np.array([_cosine_mean(w, s[i], s[i + 2]) for s in receivers]) for i, w in ((0, x), (1, y)))
    sent_x, sent_y = (part * np.where(w > 0, 2.0, 1.0) for part, w in ((sent_x, x), (sent_y, y)))
    total = np.zeros((len(receivers), len(sources)))
    for first in range(0, terms, 250):
        rows = slice(first, first + 250)
        answer = _reflected_impedance(x[rows, None], y[None, :], sheets, film)
        for column in range(len(sources)):
            half_done = (seen_x[:, rows] * sent_x[column, rows]) @ answer
            total[:, column] += np.sum(half_done * seen_y * sent_y[column], axis=1)
    return total / (plate[0] * plate[1])


def centred_rectangle_mean(
    plate: tuple[float, float],
    source: tuple[float, float],
    thickness: float,
    conductivity: float,
    film: float,
    terms: int = 3000,
) -> float:
    """Mean spreading resistance (without 1-D part) of a central rectangle on one layer, in the published form, K/W.

    Yovanovich, Muzychka and Culham, J. Thermophysics and Heat Transfer 13, 495-500 (1999), from memory; ``plate`` and
    ``source`` are full sizes, the formula is written with half sizes a, b of the source and c, d of the plate.
    """
    a, b, c, d = source[0] / 2, source[1] / 2, plate[0] / 2, plate[1] / 2
    delta, lamda = pi / c * np.arange(1, terms + 1), pi / d * np.arange(1, terms + 1)

    def phi(z: NDArray[np.floating]) -> NDArray[np.floating]:
        bend = np.tanh(z * thickness)
        return (z + film / conductivity * bend) / (z * bend + film / conductivity)

    strips_x = np.sum(np.sin(a * delta) ** 2 * phi(delta) / delta**3) / (2 * a**2 * c * d * conductivity)
    strips_y = np.sum(np.sin(b * lamda) ** 2 * phi(lamda) / lamda**3) / (2 * b**2 * c * d * conductivity)
    beta = np.hypot(delta[:, None], lamda[None, :])
    grid = (np.sin(a * delta) / delta) ** 2 @ (phi(beta) / beta) @ (np.sin(b * lamda) / lamda) ** 2
    return float(strips_x + strips_y + grid / (a**2 * b**2 * c * d * conductivity))


def disc_on_finite_disc(
    radius: float, rim: float, thickness: float, conductivity: float, film: float, terms: int = 20000
) -> tuple[float, float]:
    """(mean, centre) spreading resistance of a central disc of uniform flux on a disc with insulated rim, K/W.

    Series over the zeros of J1, without the 1-D part (t/k + 1/h)/(pi b^2). The centre's sum swings about its limit as
    terms are added, with a period of rim/radius terms: the last swings are averaged.
    """
    zeros = zeros_of_j1(terms)
    ratio, depth, ease = radius / rim, thickness / rim, conductivity / (film * rim)
    bend = np.tanh(zeros * depth)
    phi = (bend + zeros * ease) / (1 + zeros * ease * bend)
    mean = 4 / ratio**2 * np.sum(j1(zeros * ratio) ** 2 * phi / (zeros**3 * j0(zeros) ** 2))
    swings = np.cumsum(2 / ratio * j1(zeros * ratio) * phi / (zeros**2 * j0(zeros) ** 2))
    period = round(2 * rim / radius)
    for _ in range(3):
        swings = np.convolve(swings[-40 * period :], np.ones(period) / period, mode="valid")
    return float(mean) / (pi * conductivity * rim), float(swings[-1]) / (pi * conductivity * rim)


def zeros_of_j1(count: int) -> NDArray[np.floating]:
    """First positive zeros of the Bessel function J1: McMahon's expansion, polished by Newton steps."""
    guess = (np.arange(1, count + 1) + 0.25) * pi
    zeros = guess - 3 / (8 * guess)
    for _ in range(4):
        zeros = zeros - j1(zeros) / (j0(zeros) - j1(zeros) / zeros)
    return zeros


def half_space_disc(radius: float, conductivity: float) -> tuple[float, float]:
    """(mean, centre) resistance of a disc of uniform flux on a half space: quadrature of its Hankel integrals, K/W.

    Centre int J1(x)/x dx / (pi k a), mean 2 int (J1(x)/x)^2 dx / (pi k a), to 4000 pi and with the tail of the mean.
    """
    nodes, weights = np.polynomial.legendre.leggauss(12)
    edges = pi * np.arange(4000)
    x = (edges[:, None] + (nodes + 1) * pi / 2).ravel()
    share = np.tile(weights * pi / 2, len(edges))
    centre = np.cumsum((share * j1(x) / x).reshape(len(edges), -1).sum(axis=1))
    mean = np.sum(share * (j1(x) / x) ** 2) + 1 / (2 * pi * (edges[-1] + pi) ** 2)
    for _ in range(4):
        centre = (centre[1:] + centre[:-1]) / 2
    return 2 * float(mean) / (pi * conductivity * radius), float(centre[-1]) / (pi * conductivity * radius)


def half_space_rectangle(width: float, height: float, conductivity: float) -> tuple[float, float]:
    """(mean, centre) resistance of a rectangle of uniform flux on a half space, by quadrature of 1/r, K/W.

    Mean: the distance (u, v) between two points of the rectangle occurs with weight (a - u)(b - v).
    """
    area = width * height

    def along(u: float, v: float) -> float:
        return asinh(v / u) if u > 0 else 0.0

    centre = 4 * quad(lambda u: along(u, height / 2), 0, width / 2)[0]

    def slice_mean(u: float) -> float:
        return (width - u) * (height * along(u, height) - (hypot(u, height) - u))

    mean = 4 * quad(slice_mean, 0, width, epsabs=0, epsrel=1e-11)[0] / area
    return mean / (2 * pi * conductivity * area), centre / (2 * pi * conductivity * area)


def cone_by_slices(
    plate: tuple[float, float], source: Rectangle, thickness: float, conductivity: float, slices: int = 20000
) -> float:
    """Resistance of a 45-degree cone clipped at the plate's edge: slices added one by one (mid-point rule), K/W."""
    total = 0.0
    for depth in (np.arange(slices) + 0.5) * thickness / slices:
        left, right = max(source[0] - depth, 0.0), min(source[0] + source[2] + depth, plate[0])
        front, back = max(source[1] - depth, 0.0), min(source[1] + source[3] + depth, plate[1])
        total += thickness / slices / (conductivity * (right - left) * (back - front))
    return total


def kirchhoff_slab(
    flux: float, thickness: float, temperature_base: float, conductivity: float, reference: float, exponent: float
) -> float:
    """Temperature of the heated face of a slab with k = conductivity (T/reference)^exponent, base held, [K].

    Kirchhoff transform: the integral of k from base to face is flux times thickness.
    """
    stored = flux * thickness / (conductivity * reference)
    power = exponent + 1
    if power == 0:
        return temperature_base * exp(stored)
    return reference * (power * stored + (temperature_base / reference) ** power) ** (1 / power)


def _cosine_mean(wavenumber: NDArray[np.floating], start: float, length: float) -> NDArray[np.floating]:
    if length == 0:
        return np.cos(wavenumber * start)
    rising = np.sin(wavenumber * (start + length)) - np.sin(wavenumber * start)
    return np.divide(rising, wavenumber * length, out=np.ones_like(rising), where=wavenumber > 0)


def _reflected_impedance(
    x: NDArray[np.floating], y: NDArray[np.floating], sheets: Sequence[Sheet], film: float
) -> NDArray[np.floating]:
    answer = np.full(np.broadcast_shapes(x.shape, y.shape), 1 / film)
    for thickness, along_x, along_y, through, joint in reversed(sheets):
        answer = answer + joint
        rate = np.sqrt(along_x / through * x**2 + along_y / through * y**2)
        even = rate == 0
        own = 1 / (through * np.where(even, 1.0, rate))
        echo = (answer - own) / (answer + own) * np.exp(-2 * rate * thickness)
        answer = np.where(even, answer + thickness / through, own * (1 + echo) / (1 - echo))
    return answer


def _strip_response(
    rate: NDArray[np.floating], side: float, source: tuple[float, float], receiver: tuple[float, float]
) -> NDArray[np.floating]:
    """Mean over the receiver of u, u'' = rate^2 u - (1/length on the source), u' = 0 at both ends, for each rate.

    With e(d) = exp(-rate d), Green's function times 2 rate is e(|y-s|) + [e(y+s) + e(2L-y-s) + e(2L) (e(y-s) + e(s-y))]
    / (1 - e(2L)); the bracket is a sum of products of what decays from the near end and from the far end.
    """
    (y1, y2), (s1, s2) = ((start, start + length) for start, length in (receiver, source))
    if receiver[1] == 0:
        direct = (_once(rate, y1 - s1) - _once(rate, y1 - s2)) / source[1]
    else:
        direct = _twice(rate, y2 - s1) - _twice(rate, y1 - s1) - _twice(rate, y2 - s2) + _twice(rate, y1 - s2)
        direct = direct / (source[1] * receiver[1])
    near_y, near_s = _mean_decay(rate, y1, y2), _mean_decay(rate, s1, s2)
    far_y, far_s = _mean_decay(rate, side - y2, side - y1), _mean_decay(rate, side - s2, side - s1)
    mirrored = near_y * near_s + far_y * far_s + np.exp(-rate * side) * (far_y * near_s + near_y * far_s)
    return (direct - mirrored / np.expm1(-2 * rate * side)) / (2 * rate)


def _mean_decay(rate: NDArray[np.floating], low: float, high: float) -> NDArray[np.floating]:
    """Mean of exp(-rate d) for d from low to high."""
    if high == low:
        return np.exp(-rate * low)
    return -np.exp(-rate * low) * np.expm1(-rate * (high - low)) / (rate * (high - low))


def _once(rate: NDArray[np.floating], distance: float) -> NDArray[np.floating]:
    """Integral of exp(-rate |d|) from 0 to distance."""
    return np.sign(distance) * -np.expm1(-rate * abs(distance)) / rate


def _twice(rate: NDArray[np.floating], distance: float) -> NDArray[np.floating]:
    """Integral of `_once` from 0 to distance."""
    return (abs(distance) + np.expm1(-rate * abs(distance)) / rate) / rate


def _golden_maximum(function, low: float, high: float) -> float:
    ratio = (sqrt(5) - 1) / 2
    for _ in range(40):
        left, right = high - ratio * (high - low), low + ratio * (high - low)
        low, high = (left, high) if function(left) < function(right) else (low, right)
    return (low + high) / 2
