"""What a fin is worth: its efficiency, the coefficient of a finned base, the share of the coolant's capacity it uses.

"Local" coefficients count on the coolant's temperature at the same place. A bank described by `film_coefficient`
therefore belongs with a coolant that warms up along its way; `plug_flow_effectiveness` gives the same bank as one
conductance to the inlet. Never both.
"""

import numpy as np
from numpy.typing import ArrayLike

from plancha.fem.laws import Array, fraction, not_negative, positive


def fin_parameter(coefficient: ArrayLike, conductivity: ArrayLike, thickness: ArrayLike) -> Array:
    """m = sqrt(2 h/(k t)) of a straight fin wetted on both faces, [1/m]; h [W/(m2 K)], k [W/(m K)], t [m]."""
    h, k, t = positive(coefficient=coefficient, conductivity=conductivity, thickness=thickness)
    return np.sqrt(2 * h / (k * t))


def pin_parameter(coefficient: ArrayLike, conductivity: ArrayLike, diameter: ArrayLike) -> Array:
    """m = sqrt(4 h/(k d)) of a round pin, [1/m]; h [W/(m2 K)], k [W/(m K)], d [m]."""
    h, k, d = positive(coefficient=coefficient, conductivity=conductivity, diameter=diameter)
    return np.sqrt(4 * h / (k * d))


def fin_efficiency(parameter: ArrayLike, height: ArrayLike) -> Array:
    """Heat of a fin over its heat if it were as warm as its root: tanh(m H)/(m H), insulated tip.

    Parameters
    ----------
    parameter : array (...), [1/m]
        m of `fin_parameter` or `pin_parameter`.
    height : array (...), [m]
        Root to tip; a wetted tip is met by `corrected_height`.

    Returns
    -------
    array (...), [-]
        0 to 1.

    Notes
    -----
    Source: Harper and Brown, NACA report 158 (1922), from memory; derived again independently. Valid: one-dimensional
    heat flow in the fin, h t/(2 k) small; one coefficient and one coolant temperature over the height.

    Examples
    --------
    >>> fin_efficiency([0.5, 1.0, 2.0], 1.0).round(6)
    array([0.924234, 0.761594, 0.482014])
    """
    m, tall = positive(parameter=parameter, height=height)
    return np.tanh(m * tall) / (m * tall)


def corrected_height(height: ArrayLike, thickness: ArrayLike) -> Array:
    """H + t/2: the straight fin with insulated tip that sheds as much heat as one with a wetted tip, [m].

    Source: Harper and Brown (1922), from memory. Valid: h t/k < 0.1, where it is all but exact.
    """
    return np.asarray(height, dtype=float) + np.asarray(thickness) / 2


def corrected_pin_height(height: ArrayLike, diameter: ArrayLike) -> Array:
    """H + d/4: the round pin with insulated tip and the area of one with a wetted tip, [m]. As `corrected_height`."""
    return np.asarray(height, dtype=float) + np.asarray(diameter) / 4


def overall_efficiency(fin_area: ArrayLike, total_area: ArrayLike, efficiency: ArrayLike) -> Array:
    """Efficiency of fins and bare base together: 1 - (A_f/A)(1 - eta), [-]; A holds the base between the fins.

    Raises ValueError if the fins have more area than the whole.
    """
    (share,) = fraction(fin_area_over_total=np.asarray(fin_area, dtype=float) / np.asarray(total_area, dtype=float))
    return 1 - share * (1 - np.asarray(efficiency))


def film_coefficient(
    coefficient: ArrayLike,
    gap: ArrayLike,
    thickness: ArrayLike,
    height: ArrayLike,
    conductivity: ArrayLike,
    fins: float = np.inf,
) -> Array:
    """Coefficient of a bank of plate fins per area of its base, on the LOCAL temperature of the coolant.

    h (b + 2 eta H)/p: base between two fins and the two faces that look at it, over the base that belongs to them

    Parameters
    ----------
    coefficient : array (...), [W/(m2 K)]
        Inside the gaps, on the bulk temperature.
    gap, thickness, height : array (...), [m]
        Between fins, of a fin, root to tip.
    conductivity : array (...), [W/(m K)]
        Of the fins.
    fins : float, [-]
        How many; p = b + t n/(n - 1), so that the base reaches from the first fin's outer face to the last one's, and
        those two faces are taken as dry. Left out: an endless bank, p = b + t.

    Returns
    -------
    array (...), [W/(m2 K)]

    Raises
    ------
    ValueError
        If there are fewer than two fins, or a value is not above 0.

    Notes
    -----
    Source: derived independently from `fin_efficiency`, insulated tips. Not to be used with the inlet temperature.

    Examples
    --------
    >>> round(float(film_coefficient(69.4978, 1.6e-3, 0.4e-3, 25e-3, 200.0, fins=30)), 1)
    1344.7
    """
    if not fins >= 2:
        raise ValueError(f"a bank has at least two fins, got {fins:g}")
    h, b, t, tall = positive(coefficient=coefficient, gap=gap, thickness=thickness, height=height)
    efficiency = fin_efficiency(fin_parameter(h, conductivity, t), tall)
    return h * (b + 2 * efficiency * tall) / (b + t * (1 + 1 / (fins - 1)))


def plug_flow_effectiveness(ntu: ArrayLike) -> Array:
    """Share of the coolant's capacity that isothermal walls use, flow along them: 1 - exp(-NTU), [-].

    NTU = eta_o h A/C; heat = C (1 - exp(-NTU)) (wall - inlet). Source: energy of one stream, derived independently.
    Valid: h on the bulk temperature.
    """
    (units,) = not_negative(ntu=ntu)
    return -np.expm1(-units)


def top_entry_effectiveness(ntu: ArrayLike) -> Array:
    """The same share where coolant enters evenly from above and leaves at the ends: NTU/(1 + NTU), [-].

    Source: derived independently. Parcels stay for exponentially spread times, as in a stirred vessel. Valid:
    developed flow, evenly warm walls, each parcel warming by h on its own temperature.
    """
    (units,) = not_negative(ntu=ntu)
    return units / (1 + units)
