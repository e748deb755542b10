"""Laws of thin joints: bond line under pressure, compression of pads, bare metal faces, and what is not known of an impedance.

They are evaluated where a study is laid, so they stand here and not among the solver's laws.
"""

import math

# Constants of the two laws, from memory: treat what they give as a guide.
PRASHER_FACTOR, PRASHER_EXPONENT = 1.31e-4, 0.166  # m, -
ROUGH_FACTOR, ROUGH_EXPONENT = 1.25, 0.95  # -, -
ROUGH_RANGE = (1e-6, 0.02)  # of pressure over hardness


def filled_polymer_bond_line(yield_stress: float, pressure: float) -> float:
    """Bond line that a paste of filled polymer comes to rest at under a pressure.

    t = 1.31e-4 m (tau / P)^0.166

    Parameters
    ----------
    yield_stress, pressure : float, [Pa]
        Of the paste; on the joint.

    Returns
    -------
    float, [m]

    Raises
    ------
    ValueError
        If one of them is not above 0.

    Notes
    -----
    Source: Prasher et al., Thermal resistance of particle laden polymeric thermal interface materials, J. Heat Transfer
    125:1170-1177 (2003); constants from memory. Valid: particle-filled polymers that flow, long after the pressure was put on.

    Examples
    --------
    >>> round(1e6 * filled_polymer_bond_line(100.0, 0.2e6), 2)
    37.09
    """
    _refuse_not_positive(yield_stress=yield_stress, pressure=pressure)
    return PRASHER_FACTOR * (yield_stress / pressure) ** PRASHER_EXPONENT


def bare_contact_conductance(
    conductivities: tuple[float, float], roughness: float, slope: float, pressure: float, hardness: float
) -> float:
    """Conductance of two bare metal faces pressed together, without what lies in their gaps.

    h = 1.25 k (m / sigma) (P / H)^0.95,  k = 2 k1 k2 / (k1 + k2)

    Parameters
    ----------
    conductivities : (float, float), [W/m/K]
        Of the two metals.
    roughness, slope : float, [m], [-]
        Standard deviation of the heights, and mean slope, of both faces together (root of the sum of squares).
    pressure, hardness : float, [Pa]
        On the joint; micro-hardness of the softer metal.

    Returns
    -------
    float, [W/m2/K]
        In vacuum; air or grease in the gaps adds to it, warped faces take from it.

    Raises
    ------
    ValueError
        If a value is not above 0, or if pressure over hardness is outside 1e-6 to 0.02.

    Notes
    -----
    Source: Cooper, Mikic and Yovanovich, Int. J. Heat Mass Transfer 12:279 (1969), exponent and factor as Yovanovich (1981); from
    memory. Valid: rough, conforming faces whose tips yield.

    Examples
    --------
    >>> rough = 0.8e-6 * 2**0.5, 0.1 * 2**0.5
    >>> round(bare_contact_conductance((390.0, 200.0), *rough, 0.3e6, 1e9))
    18593
    """
    one, other = conductivities
    _refuse_not_positive(
        conductivity=min(one, other), roughness=roughness, slope=slope, pressure=pressure, hardness=hardness
    )
    low, high = ROUGH_RANGE
    if not low <= pressure / hardness <= high:
        raise ValueError(f"pressure over hardness is {pressure / hardness:.3g}; the law holds from {low:g} to {high:g}")
    harmonic = 2 * one * other / (one + other)
    return ROUGH_FACTOR * harmonic * slope / roughness * (pressure / hardness) ** ROUGH_EXPONENT


Points = tuple[tuple[float, float], tuple[float, float]]  # (pressure [Pa], compression [-]) twice, rising


def compression_at(pressure: float, points: Points) -> float:
    """Compression [-] of a pad under a pressure [Pa], by a straight line in the logarithm of the pressure through two points.

    Where the line leaves 0 to 1 it is cut off just inside. Source: shape of the curve is common practice, no source.
    """
    _refuse_not_positive(pressure=pressure)
    (p1, c1), (p2, c2) = points
    line = c1 + (c2 - c1) * math.log(pressure / p1) / math.log(p2 / p1)
    return min(max(line, 0.0), 0.99)


def pressure_for(compression: float, points: Points) -> float:
    """Pressure [Pa] that compresses a pad so far [-]: `compression_at` read the other way, beyond the two points as well."""
    (p1, c1), (p2, c2) = points
    return p1 * math.exp((compression - c1) / (c2 - c1) * math.log(p2 / p1))


def bulk_uncertainty(bond_line: float, bond_line_off: float, conductivity: float, conductivity_off: float) -> float:
    """Uncertainty [m2 K/W] of bond line over conductivity, by those of both: root of the sum of squares.

    Parameters
    ----------
    bond_line, bond_line_off : float, [m]
        Value and uncertainty.
    conductivity, conductivity_off : float, [W/m/K]
        Value and uncertainty, in the same meaning.

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    First order: derived independently, a Monte Carlo run of normal draws gives 2 % more for offs of 20 % and 10 %, and a skewed
    spread; hence ``spread_around`` works by factors.

    Examples
    --------
    >>> round(1e6 * bulk_uncertainty(50e-6, 10e-6, 5.0, 0.5), 5)
    2.23607
    """
    _refuse_not_positive(bond_line=bond_line, conductivity=conductivity)
    return bond_line / conductivity * math.hypot(bond_line_off / bond_line, conductivity_off / conductivity)


def spread_around(value: float, off: float) -> tuple[float, float]:
    """Low and high end of a quantity that cannot be negative: divided and multiplied by exp(off / value)."""
    factor = math.exp(off / value)
    return value / factor, value * factor


def _refuse_not_positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, got {value:g}")
