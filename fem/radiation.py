"""Heat that leaves surfaces and fin banks by radiation into surroundings at the ambient temperature.

Everything is gray and diffuse, and the surroundings are black: a room much larger than the product. Temperatures are
absolute; all functions take arrays that broadcast. Fins see each other: a channel between them radiates less than its
walls, yet more than its mouth would if it were a plate of the same finish.
"""

import numpy as np
from numpy.typing import ArrayLike

from plancha.fem.fin_efficiency import film_coefficient
from plancha.fem.laws import Array, positive

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), SI of 2019, from memory
STILL = 1e-12  # W/(m2 K), stands for no coefficient at all, which a fin law does not take


def radiation_coefficient(
    emissivity: ArrayLike, surface_temperature: ArrayLike, ambient_temperature: ArrayLike
) -> Array:
    """Coefficient that times (Ts - Ta) gives the radiated flux exactly: h = e s (Ts^2 + Ta^2) (Ts + Ta).

    Parameters
    ----------
    emissivity : array (...), [-]
        Total hemispherical, 0 <= e <= 1.
    surface_temperature, ambient_temperature : array (...), [K]
        Absolute; either may be the hotter.

    Returns
    -------
    array (...), [W/(m2 K)]
        At equal temperatures 4 e s T^3, no limit to take.

    Raises
    ------
    ValueError
        If an emissivity is outside 0..1 or a temperature is not above 0 K.

    Notes
    -----
    Source: the Stefan-Boltzmann law factored, derived independently. Valid: a surface that sees only black
    surroundings at ``ambient_temperature``; for parts that see one another count the envelope, or use
    `channel_black_area`.

    Examples
    --------
    >>> float(radiation_coefficient(0.9, 333.15, 298.15).round(4))
    6.4397
    """
    hot, cold = positive(surface_temperature=surface_temperature, ambient_temperature=ambient_temperature)
    return _checked_emissivity(emissivity) * STEFAN_BOLTZMANN * (hot**2 + cold**2) * (hot + cold)


def radiation_coefficient_at_mean(
    emissivity: ArrayLike, surface_temperature: ArrayLike, ambient_temperature: ArrayLike
) -> Array:
    """The hand formula 4 e s Tm^3 at the mean temperature; never above the exact one, short by e s (Ts + Ta) (Ts - Ta)^2 / 2.

    Arguments, result and errors as `radiation_coefficient`. Source: common practice; the shortfall is derived
    independently (0.35 % at 60 over 25 degC).

    Examples
    --------
    >>> float(radiation_coefficient_at_mean(0.9, 333.15, 298.15).round(2))
    6.42
    """
    hot, cold = positive(surface_temperature=surface_temperature, ambient_temperature=ambient_temperature)
    mean = (hot + cold) / 2
    return 4 * _checked_emissivity(emissivity) * STEFAN_BOLTZMANN * mean**3


def cavity_apparent_emissivity(emissivity: ArrayLike, opening_per_wall: ArrayLike) -> Array:
    """Apparent emissivity of the mouth of an isothermal cavity: 1 / (1 + (A_opening/A_walls) (1/e - 1)).

    Parameters
    ----------
    emissivity : array (...), [-]
        Of the walls, 0 <= e <= 1.
    opening_per_wall : array (...), [-]
        Area of the mouth over area of the walls; for several mouths that see one another, the part of their area that
        sees walls.

    Returns
    -------
    array (...), [-]
        Heat radiated over what a black plate in the mouth would radiate.

    Raises
    ------
    ValueError
        If an emissivity is outside 0..1 or a ratio is not above 0.

    Notes
    -----
    Source: two-surface enclosure of gray walls of even radiosity and a black mouth; any text, from memory. It is an
    upper bound: with K the walls' own exchange operator (self-adjoint, by reciprocity), the heat is the average of
    e (1 - k) / (1 - (1 - e) k) over the spectrum of K weighted by the constant, this function is concave in k, and
    the formula is its value at the mean k (Jensen's inequality; derived independently). Lower bound: e itself.
    For a long channel as deep as wide the formula is 0.3 % above a radiosity solution at e = 0.9 and 1.2 % at 0.5;
    four times as deep as wide 1.2 %, 7.1 %, and 10 % at 0.1 (derived independently).

    Examples
    --------
    >>> cavity_apparent_emissivity([0.1, 0.5, 0.9], 1 / 9).round(3)
    array([0.5  , 0.9  , 0.988])
    """
    wall, (ratio,) = _checked_emissivity(emissivity), positive(opening_per_wall=opening_per_wall)
    return wall / (wall + ratio * (1 - wall))


def groove_apparent_emissivity(emissivity: ArrayLike, gap: ArrayLike, depth: ArrayLike) -> Array:
    """Apparent emissivity of the front of a long rectangular channel between fins, base and two sides hot.

    Parameters
    ----------
    emissivity : array (...), [-]
    gap, depth : array (...), [m]
        Clear distance between the fins, and their height above the base.

    Returns
    -------
    array (...), [-]
        Of the front, gap wide. Source, bound and errors: `cavity_apparent_emissivity`.

    Examples
    --------
    >>> float(groove_apparent_emissivity(0.8, 0.008, 0.032).round(4))
    0.973
    """
    wide, deep = positive(gap=gap, depth=depth)
    return cavity_apparent_emissivity(emissivity, wide / (wide + 2 * deep))


def channel_black_area(emissivity: ArrayLike, gap: ArrayLike, fin_height: ArrayLike, length: ArrayLike) -> Array:
    """Black area that would radiate as much as one channel between two fins: open at its front and at both ends.

    Parameters
    ----------
    emissivity : array (...), [-]
    gap, fin_height, length : array (...), [m]
        Clear distance between the fins, their height above the base, their length from end to end.

    Returns
    -------
    array (...), [m2]
        Times s (Ts^4 - Ta^4) it is the heat radiated by the channel's base and two fin faces.

    Raises
    ------
    ValueError
        If an emissivity is outside 0..1 or a length is not above 0.

    Notes
    -----
    Source: `cavity_apparent_emissivity` over the part of the three mouths' area that sees walls, exact for plane
    mouths, whose mutual view is `parallel_exchange_area` and `perpendicular_exchange_area`. Upper bound, for walls at
    one temperature: fins cooler at their tips radiate less.

    Examples
    --------
    >>> float((1e4 * channel_black_area(0.8, 0.008, 0.032, 0.1)).round(4))  # cm2; mouths 13.12 cm2, walls 72 cm2
    11.4476
    """
    wide, tall, long = positive(gap=gap, fin_height=fin_height, length=length)
    mutual = 2 * parallel_exchange_area(wide, tall, long) + 4 * perpendicular_exchange_area(long, tall, wide)
    seen = wide * (long + 2 * tall) - mutual
    return seen * cavity_apparent_emissivity(emissivity, seen / (long * (wide + 2 * tall)))


def channel_wall_coefficient(
    emissivity: ArrayLike,
    surface_temperature: ArrayLike,
    ambient_temperature: ArrayLike,
    gap: ArrayLike,
    fin_height: ArrayLike,
    length: ArrayLike,
) -> Array:
    """Radiation of a channel between fins, spread evenly over its base and fin faces: to be added to their convection.

    Parameters
    ----------
    emissivity, surface_temperature, ambient_temperature
        As in `radiation_coefficient`.
    gap, fin_height, length
        As in `channel_black_area`, with the same source and bound. Deep narrow channels radiate mostly near their
        mouths, where fins are coolest; the even spread is a second reason why this is an upper bound.

    Returns
    -------
    array (...), [W/(m2 K)]
        Per area of channel wall, length (gap + 2 fin_height).

    Examples
    --------
    >>> float(channel_wall_coefficient(0.8, 333.15, 298.15, 0.008, 0.032, 0.1).round(4))  # a plate: 5.7242
    1.1376
    """
    area = channel_black_area(emissivity, gap, fin_height, length)
    wide, tall, long = positive(gap=gap, fin_height=fin_height, length=length)
    walls = long * (wide + 2 * tall)
    return radiation_coefficient(1.0, surface_temperature, ambient_temperature) * area / walls


def finned_base_coefficient(
    convection: ArrayLike,
    radiation: ArrayLike,
    gap: ArrayLike,
    thickness: ArrayLike,
    fin_height: ArrayLike,
    conductivity: ArrayLike,
    fins: float = np.inf,
) -> Array:
    """Convection and radiation of a bank of plate fins together, per area of its base, on the ambient temperature.

    Parameters
    ----------
    convection : array (...), [W/(m2 K)]
        In the gaps on the ambient temperature, such as a channel's of plancha.fem.natural; may be 0.
    radiation : array (...), [W/(m2 K)]
        `channel_wall_coefficient`; may be 0.
    gap, thickness, fin_height, conductivity, fins
        As in plancha.fem.fin_efficiency.film_coefficient, which turns the sum into a film: the fins lose efficiency by both.

    Returns
    -------
    array (...), [W/(m2 K)]

    Notes
    -----
    Source: sum of two parallel ways, derived independently. Low, because tips, edges and outer faces give off nothing; high where the
    fins' efficiency is well below one, because both coefficients were taken at the base's temperature.

    Examples
    --------
    >>> float(finned_base_coefficient(4.0, 1.0, 0.01, 1e-3, 0.03, 1e9).round(3))  # 5 (10 + 2 x 30) / 11 mm
    31.818
    """
    both = np.maximum(np.asarray(convection, float) + np.asarray(radiation, float), STILL)
    return film_coefficient(both, gap, thickness, fin_height, conductivity, fins)


def parallel_exchange_area(width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Array:
    """Area times view factor of two equal rectangles face to face, [m2].

    With X = width/distance and Y = height/distance, F = 2/(pi X Y) {ln sqrt[(1+X^2)(1+Y^2)/(1+X^2+Y^2)]
    + X sqrt(1+Y^2) atan(X/sqrt(1+Y^2)) + Y sqrt(1+X^2) atan(Y/sqrt(1+X^2)) - X atan X - Y atan Y}.

    Parameters
    ----------
    width, height, distance : array (...), [m]

    Notes
    -----
    Source: classical (tables of view factors, aligned parallel rectangles), from memory; that the six faces of a box
    add up to one confirms it together with `perpendicular_exchange_area`.

    Examples
    --------
    >>> float(parallel_exchange_area(1.0, 1.0, 1.0).round(6))  # cube, opposite faces
    0.199825
    """
    wide, tall, apart = positive(width=width, height=height, distance=distance)
    x, y = wide / apart, tall / apart
    across, along = np.sqrt(1 + y**2), np.sqrt(1 + x**2)
    corner = 0.5 * np.log1p(x**2 * y**2 / (1 + x**2 + y**2))
    sides = x * across * np.arctan(x / across) + y * along * np.arctan(y / along)
    return 2 / np.pi * apart**2 * (corner + sides - x * np.arctan(x) - y * np.arctan(y))


def perpendicular_exchange_area(width: ArrayLike, height: ArrayLike, edge: ArrayLike) -> Array:
    """Area times view factor of two rectangles at right angles that share an edge, [m2].

    With W = width/edge, H = height/edge, S = W^2 + H^2, F from the first = 1/(pi W) {W atan(1/W) + H atan(1/H)
    - sqrt(S) atan(1/sqrt(S)) + (1/4) ln[(1+W^2)(1+H^2)/(1+S) (W^2(1+S)/((1+W^2)S))^(W^2) (H^2(1+S)/((1+H^2)S))^(H^2)]}.

    Parameters
    ----------
    width, height : array (...), [m]
        Sides of the one and the other rectangle that leave the shared edge.
    edge : array (...), [m]

    Notes
    -----
    Source: classical (tables of view factors, perpendicular rectangles with a common edge), from memory; confirmed as
    `parallel_exchange_area`. The logarithms are written so that long thin rectangles lose no digits.

    Examples
    --------
    >>> float(perpendicular_exchange_area(1.0, 1.0, 1.0).round(6))  # cube, neighbouring faces
    0.200044
    """
    wide, tall, shared = positive(width=width, height=height, edge=edge)
    w2, h2 = (wide / shared) ** 2, (tall / shared) ** 2
    both = w2 + h2
    angles = _root_arctan(w2) + _root_arctan(h2) - _root_arctan(both)
    logs = np.log1p(w2 * h2 / (1 + both))
    logs = logs + w2 * np.log1p(-h2 / ((1 + w2) * both)) + h2 * np.log1p(-w2 / ((1 + h2) * both))
    return shared**2 / np.pi * (angles + logs / 4)


def _root_arctan(square: Array) -> Array:
    root = np.sqrt(square)
    return root * np.arctan(1 / root)


def _checked_emissivity(emissivity: ArrayLike) -> Array:
    array = np.asarray(emissivity, float)
    if not np.all((array >= 0) & (array <= 1)):
        worst = array.ravel()[np.argmax(np.abs(array - 0.5))]
        raise ValueError(f"an emissivity must be within 0..1; got {worst}")
    return array
