"""Nusselt numbers of forced convection in gaps between fins, in ducts, and through banks of pins.

Laws of passages (NUSSELT) take ``reynolds, prandtl, length_ratio, aspect``: Reynolds number on the hydraulic diameter
Dh (twice the gap) and the velocity inside the passage, Prandtl number, flow length over Dh, short over long side of
the cross-section. They return the mean Nusselt number over that length, h Dh/k. Laws of pins (PIN_NUSSELT) stand on
the pin's diameter; see `pins_in_line`.

"Isothermal": walls at one temperature, mean on the log-mean difference to the bulk, so that
heat = C (1 - exp(-h A/C)) (wall - inlet). "Even flux": heat put in evenly along the flow (H1).
"""

from collections.abc import Callable

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import ArrayLike

from plancha.fem.laws import (
    LAMINAR_UP_TO,
    TURBULENT_FROM,
    Array,
    Law,
    Range,
    by_name,
    channel_reynolds,
    fraction,
    positive,
    refuse_inlet_based,
    thermal_length,
)

VISCOUS = 10.0  # Prandtl number above which the law of cubes serves
ISOTHERMAL_GAP, EVEN_FLUX_GAP = 7.541, 8.235  # developed limits of parallel plates, both walls heated


def _even(value: float, *shapes: ArrayLike) -> Array:
    """One value in the common shape of the arguments."""
    return np.full(np.broadcast_shapes(*(np.shape(each) for each in shapes)), value)


def developed_gap(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Developed laminar flow between isothermal parallel plates: Nu = 7.541.

    Source: Shah and London, Laminar Flow Forced Convection in Ducts (1978), from memory; 7.5407 derived independently.
    Valid: past the entry. At x* = 0.05 the mean over the length is still 6 % above it.
    """
    return _even(ISOTHERMAL_GAP, reynolds, prandtl, length_ratio, aspect)


def developed_gap_even_flux(
    reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0
) -> Array:
    """Developed laminar flow between evenly heated parallel plates: Nu = 8.235. The rest: `developed_gap`."""
    return _even(EVEN_FLUX_GAP, reynolds, prandtl, length_ratio, aspect)


def thermally_developing_gap(
    reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0
) -> Array:
    """Mean of a gap with developed velocity and developing temperature, isothermal walls (the problem of Graetz).

    Nu = 1.849 x*^(-1/3) to x* = 0.0005; plus 0.6 to 0.006; then 7.541 + 0.0235/x*.

    Source: Shah and London (1978), from memory. Valid: laminar, any Prandtl number; within 3.5 % of the exact series.
    The pieces jump at their joints, by 6 % at x* = 0.006, so that cells which straddle a joint get a spike: for local
    means take `developing_gap`.
    """
    x = thermal_length(reynolds, prandtl, length_ratio)
    entry = 1.849 * np.cbrt(1 / x)
    later = np.where(x <= 6e-3, entry + 0.6, ISOTHERMAL_GAP + 0.0235 / x)
    return np.where(x <= 5e-4, entry, later) + _even(0.0, aspect)


def thermally_developing_gap_even_flux(
    reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0
) -> Array:
    """Mean of a gap with developed velocity and developing temperature, evenly heated walls.

    Nu = 2.236 x*^(-1/3) to x* = 0.001; plus 0.90 to 0.01; then 8.235 + 0.0364/x*.

    Source: Bejan and Kraus (eds), Heat Transfer Handbook (2003), eq. 5.40. Valid: laminar, any Prandtl number; mean
    of the local Nusselt number. The pieces jump as in `thermally_developing_gap`.
    """
    x = thermal_length(reynolds, prandtl, length_ratio)
    entry = 2.236 * np.cbrt(1 / x)
    later = np.where(x <= 0.01, entry + 0.90, EVEN_FLUX_GAP + 0.0364 / x)
    return np.where(x <= 1e-3, entry, later) + _even(0.0, aspect)


def developing_gap(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Mean of a gap that air enters evenly, velocity and temperature developing together, isothermal walls.

    Nu = 7.55 + 0.024 x*^(-1.14)/(1 + 0.0358 Pr^0.17 x*^(-0.64))

    Parameters
    ----------
    reynolds, prandtl, length_ratio : array (...), [-]
        On the hydraulic diameter, twice the gap; above 0, else a ValueError.
    aspect : array (...), [-]
        Gap over fin height; taken as 0.

    Returns
    -------
    array (...), [-]
        h Dh/k, mean over the length, on the log-mean difference to the bulk.

    Notes
    -----
    Source: Stephan, Chem.-Ing.-Tech. 31, 773 (1959), from memory; stated for laminar flow, 0.1 < Pr < 1000. Beside an
    independent march of the entrance at Pr = 0.71 it is 5 to 6 % low for x* < 0.004, within 1.5 % from 0.02 on. Above
    Pr = 7 it falls below the series for developed velocity, which a real entry exceeds (by 1.5 % at Pr = 10, 5 % at
    20, 31 % at 1000), so the range ends at 10 here; beyond, take `developing_gap_cubes`.

    Examples
    --------
    >>> round(float(developing_gap(821.42, 0.707074, 18.75)), 4)
    8.4721
    """
    x = thermal_length(reynolds, prandtl, length_ratio)
    excess = 0.024 * x**-1.14 / (1 + 0.0358 * np.asarray(prandtl, dtype=float) ** 0.17 * x**-0.64)
    return 7.55 + excess + _even(0.0, aspect)


def developing_gap_cubes(
    reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0
) -> Array:
    """As `developing_gap`, for viscous coolants too: {7.541^3 + 1.841^3/x* + [2/(1 + 22 Pr)]^(1/2) x*^(-3/2)}^(1/3).

    Source: VDI-Waermeatlas, 9th ed. (2002), section Gb, eqs 36 to 43, as transcribed in a public Modelica library.
    Valid: laminar, 0.1 < Pr < 1000. Up to 5 % above an independent march at Pr = 0.71, and above the series at 1000.
    """
    x = thermal_length(reynolds, prandtl, length_ratio)
    entry = np.sqrt(2 / (1 + 22 * np.asarray(prandtl, dtype=float))) * x**-1.5
    return np.cbrt(ISOTHERMAL_GAP**3 + 1.841**3 / x + entry) + _even(0.0, aspect)


def inlet_based_gap(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Mean of a gap on the INLET temperature: heat = h eta A (base - inlet), the warming of the air already inside.

    h b/k = {(Re* Pr/2)^-3 + [0.664 sqrt(Re*) Pr^(1/3) sqrt(1 + 3.65/sqrt(Re*))]^-3}^(-1/3), returned on Dh = 2 b,
    that is doubled.

    Source: Teertstra, Yovanovich and Culham, J. Electronics Manufacturing 10, 253 (2000), from memory; within 4 % of
    an independent march of the entrance. Valid: 0.1 < Re* < 100. Never with a coolant that warms up
    (`plancha.fem.laws.refuse_inlet_based`).
    """
    re, pr = channel_reynolds(reynolds, length_ratio), np.asarray(prandtl, dtype=float)
    developed = re * pr / 2
    developing = 0.664 * np.sqrt(re) * np.cbrt(pr) * np.sqrt(1 + 3.65 / np.sqrt(re))
    return 2 * (developed**-3 + developing**-3) ** (-1 / 3) + _even(0.0, aspect)


def developed_duct(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Developed laminar flow in a rectangular duct, all four walls at one temperature, by aspect ratio a.

    Nu = 7.541 (1 - 2.610 a + 4.970 a^2 - 5.119 a^3 + 2.702 a^4 - 0.548 a^5)

    Source: Shah and London (1978), from memory; the same in a public transcription of Kakac, Shah and Aung, Handbook
    of Single-Phase Convective Heat Transfer (1987), eq. 3.159. Valid: past the entry. A gap between fins has three
    warm walls and an efficiency: below a = 0.1 take parallel plates.
    """
    (ratio,) = fraction(aspect=aspect)
    polynomial = polyval(ratio, [1, -2.610, 4.970, -5.119, 2.702, -0.548])
    return ISOTHERMAL_GAP * polynomial + _even(0.0, reynolds, prandtl, length_ratio)


def developed_duct_even_flux(
    reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0
) -> Array:
    """Developed laminar flow in a rectangular duct, heat even along the flow and one temperature round the wall (H1).

    Nu = 8.235 (1 - 2.0421 a + 3.0853 a^2 - 2.4765 a^3 + 1.0578 a^4 - 0.1861 a^5). Source and validity:
    `developed_duct`, eq. 3.161.
    """
    (ratio,) = fraction(aspect=aspect)
    polynomial = polyval(ratio, [1, -2.0421, 3.0853, -2.4765, 1.0578, -0.1861])
    return EVEN_FLUX_GAP * polynomial + _even(0.0, reynolds, prandtl, length_ratio)


def turbulent(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Turbulent flow in a smooth passage of any cross-section, on its hydraulic diameter; no addition for the entry.

    Nu = (f/8)(Re - 1000) Pr/[1 + 12.7 sqrt(f/8)(Pr^(2/3) - 1)], f = (0.79 ln Re - 1.64)^-2 (Darcy)

    Raises ValueError at Re <= 1000, where the formula has no meaning.
    Source: Gnielinski, Int. Chem. Eng. 16, 359 (1976), from memory; the same in `ht`. Valid: 3000 < Re < 5e6,
    0.5 < Pr < 2000, +-10 %.
    """
    re, pr = positive(reynolds=reynolds, prandtl=prandtl)
    if not np.all(re > 1000):
        raise ValueError(f"the turbulent law has no meaning at Reynolds number {np.min(re):g}; it is for 3000 and more")
    eighth = (0.79 * np.log(re) - 1.64) ** -2 / 8
    nusselt = eighth * (re - 1000) * pr / (1 + 12.7 * np.sqrt(eighth) * (np.cbrt(pr) ** 2 - 1))
    return nusselt + _even(0.0, length_ratio, aspect)


def automatic(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """The gap's developing law to Re = 2300, the turbulent law from 3000, and a straight line between their ends.

    From 3000 on never less than the laminar law: in a short passage the boundary layers stay laminar, and more air
    must not cool less. Source: `developing_gap`, `turbulent`; the line is common practice, no source. Unreliable from
    2300 to 3000.
    """
    (re,) = positive(reynolds=reynolds)

    slow, fast = np.minimum(re, LAMINAR_UP_TO), np.maximum(re, TURBULENT_FROM)
    others = (prandtl, length_ratio, aspect)
    upper = np.maximum(turbulent(fast, *others), _laminar(fast, *others))
    share = np.clip((re - LAMINAR_UP_TO) / (TURBULENT_FROM - LAMINAR_UP_TO), 0, 1)
    return (1 - share) * _laminar(slow, *others) + share * upper


def _laminar(reynolds: ArrayLike, prandtl: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike) -> Array:
    """The developing law that suits the coolant: gases and thin liquids up to VISCOUS, else the law of cubes."""
    gap, cubes = (law(reynolds, prandtl, length_ratio, aspect) for law in (developing_gap, developing_gap_cubes))
    return np.where(np.asarray(prandtl, dtype=float) > VISCOUS, cubes, gap)


# From this Reynolds number on: factor, exponent; the last staggered piece also carries (ST/SL)^0.2.
IN_LINE_PIECES = ((0, 0.9, 0.4), (100, 0.52, 0.5), (1000, 0.27, 0.63))
STAGGERED_PIECES = ((0, 1.04, 0.4), (500, 0.71, 0.5), (1000, 0.35, 0.6))
ROWS = (1, 2, 3, 4, 5, 7, 10, 13, 16, 20)
IN_LINE_ROWS = (0.70, 0.80, 0.86, 0.90, 0.92, 0.95, 0.97, 0.98, 0.99, 1.0)
STAGGERED_ROWS = (0.64, 0.76, 0.84, 0.89, 0.92, 0.95, 0.97, 0.98, 0.99, 1.0)


def _bank(pieces: tuple[tuple[float, float, float], ...], rows_factor: tuple[float, ...]) -> Callable[..., Array]:
    starts, factors, exponents = (np.array(column) for column in zip(*pieces))

    def nusselt(reynolds: ArrayLike, prandtl: ArrayLike, rows: ArrayLike) -> Array:
        re, pr, count = positive(reynolds=reynolds, prandtl=prandtl, rows=rows)
        piece = np.searchsorted(starts, re, side="right") - 1
        return factors[piece] * re ** exponents[piece] * pr**0.36 * np.interp(count, ROWS, rows_factor)

    return nusselt


_in_line, _staggered = _bank(IN_LINE_PIECES, IN_LINE_ROWS), _bank(STAGGERED_PIECES, STAGGERED_ROWS)


def pins_in_line(
    reynolds: ArrayLike, prandtl: ArrayLike, rows: ArrayLike, pitch_normal: ArrayLike, pitch_parallel: ArrayLike
) -> Array:
    """Mean Nusselt number h d/k of round pins that stand behind one another.

    Nu = c Re^m Pr^0.36 C(rows), (c, m) = (0.9, 0.4) to Re = 100, (0.52, 0.5) to 1000, (0.27, 0.63) to 2e5

    Parameters
    ----------
    reynolds : array (...), [-]
        On the diameter and the velocity in the narrowest section, `plancha.fem.friction.narrowest_section`.
    prandtl : array (...), [-]
    rows : array (...), [-]
        Along the flow; fewer than 20 cool less, because the first are not stirred by any before them.
    pitch_normal, pitch_parallel : array (...), [-]
        Distance of axes across and along the flow, over the diameter. Only the staggered law depends on them.

    Returns
    -------
    array (...), [-]
        Mean over the bank, on the log-mean difference to the bulk.

    Notes
    -----
    Source: Zukauskas, Advances in Heat Transfer 8, 93 (1972), from memory and as transcribed in `ht` 1.2; factor of
    rows C from Incropera and DeWitt, from memory. (Pr/Pr_wall)^0.25 is left out: 1 for gases. Valid: 0.7 < Pr < 500,
    long tubes; short pins also feel base and shroud. The pieces jump, by 27 % at Re = 1000.
    """
    return _in_line(reynolds, prandtl, rows) + _even(0.0, pitch_normal, pitch_parallel)


def pins_staggered(
    reynolds: ArrayLike, prandtl: ArrayLike, rows: ArrayLike, pitch_normal: ArrayLike, pitch_parallel: ArrayLike
) -> Array:
    """Mean Nusselt number h d/k of round pins that stand in the gaps of the row before.

    Nu = c Re^m Pr^0.36 C(rows), (c, m) = (1.04, 0.4) to Re = 500, (0.71, 0.5) to 1000, (0.35 (ST/SL)^0.2, 0.6) to
    2e5. Arguments, source and validity: `pins_in_line`.
    """
    across, along = positive(pitch_normal=pitch_normal, pitch_parallel=pitch_parallel)
    pitches = np.where(np.asarray(reynolds) >= 1000, (across / along) ** 0.2, 1.0)
    return _staggered(reynolds, prandtl, rows) * pitches


def local_mean(
    law: Law,
    start: ArrayLike,
    stop: ArrayLike,
    hydraulic_diameter: ArrayLike,
    reynolds: ArrayLike,
    prandtl: ArrayLike,
    aspect: ArrayLike = 0.0,
) -> Array:
    """Mean Nusselt number between two stations of a passage: the means of cells add up to the mean of the whole.

    (stop Nu(stop) - start Nu(start))/(stop - start), Nu(x) the law's mean from the inlet to x.

    Parameters
    ----------
    law : Law
        Of NUSSELT, on the bulk temperature. Between isothermal walls the chain of cells then warms the coolant
        exactly as the whole does.
    start, stop : array (...), [m]
        From the inlet of the passage, 0 <= start < stop.
    hydraulic_diameter : array (...), [m]
    reynolds, prandtl, aspect : array (...), [-]

    Returns
    -------
    array (...), [-]

    Raises
    ------
    ValueError
        If the stations do not rise from 0, or the law is on the inlet temperature.

    Notes
    -----
    Source: derived independently (the definition of a mean; x Nu(x) is 0 at the inlet). Valid where the law is.
    """
    refuse_inlet_based(law)
    first, last = (np.asarray(each, dtype=float) for each in (start, stop))
    if not np.all((first >= 0) & (last > first)):
        raise ValueError("stations must rise from the inlet: 0 <= start < stop")

    def gathered(station: Array) -> Array:
        at_inlet = station == 0
        ratio = np.where(at_inlet, last, station) / np.asarray(hydraulic_diameter)
        mean = law.function(reynolds=reynolds, prandtl=prandtl, length_ratio=ratio, aspect=aspect)
        return np.where(at_inlet, 0.0, station * mean)

    return (gathered(last) - gathered(first)) / (last - first)


_LAMINAR, _PLATES, _DUCT = Range("reynolds", 0, LAMINAR_UP_TO), Range("aspect", 0, 0.1), Range("aspect", 0, 1)
_PAST_ENTRY = Range("x_star", 0.05, np.inf)
_SHAH_LONDON = "Shah and London, Laminar Flow Forced Convection in Ducts (1978), from memory"
_ZUKAUSKAS = "Zukauskas, Advances in Heat Transfer 8 (1972), from memory and as transcribed in ht 1.2"
_BANK = (Range("reynolds", 1, 2e5), Range("prandtl", 0.7, 500), Range("rows", 1, np.inf))

DEVELOPING_GAP = Law(
    "developing gap",
    developing_gap,
    (_LAMINAR, Range("prandtl", 0.1, 10), _PLATES),
    "Stephan, Chem.-Ing.-Tech. 31 (1959), from memory",
)
AUTOMATIC = Law(
    "automatic",
    automatic,
    (Range("reynolds", 0, 5e6), Range("prandtl", 0.5, 1000), _PLATES),
    "Stephan (1959) or, above Prandtl number 10, VDI-Waermeatlas (2002), to Re 2300; Gnielinski (1976) from 3000; "
    "from memory; a line between, common practice, no source",
    doubtful=(Range("reynolds", LAMINAR_UP_TO, TURBULENT_FROM),),
)
NUSSELT = by_name(
    AUTOMATIC,
    DEVELOPING_GAP,
    Law(
        "developing gap, cubes",
        developing_gap_cubes,
        (_LAMINAR, Range("prandtl", 0.1, 1000), _PLATES),
        "VDI-Waermeatlas, 9th ed. (2002), section Gb, as transcribed in a public Modelica library",
    ),
    Law("developed gap", developed_gap, (_LAMINAR, _PAST_ENTRY, _PLATES), _SHAH_LONDON),
    Law("developed gap, even flux", developed_gap_even_flux, (_LAMINAR, _PAST_ENTRY, _PLATES), _SHAH_LONDON),
    Law("thermally developing gap", thermally_developing_gap, (_LAMINAR, _PLATES), _SHAH_LONDON),
    Law(
        "thermally developing gap, even flux",
        thermally_developing_gap_even_flux,
        (_LAMINAR, _PLATES),
        "Bejan and Kraus (eds), Heat Transfer Handbook (2003), eq. 5.40",
    ),
    Law("developed duct", developed_duct, (_LAMINAR, _PAST_ENTRY, _DUCT), _SHAH_LONDON, for_ducts=True),
    Law(
        "developed duct, even flux",
        developed_duct_even_flux,
        (_LAMINAR, _PAST_ENTRY, _DUCT),
        _SHAH_LONDON,
        for_ducts=True,
    ),
    Law(
        "turbulent",
        turbulent,
        (Range("reynolds", TURBULENT_FROM, 5e6), Range("prandtl", 0.5, 2000)),
        "Gnielinski, Int. Chem. Eng. 16 (1976), from memory",
    ),
    Law(
        "inlet-based gap",
        inlet_based_gap,
        (_LAMINAR, Range("channel_reynolds", 0.1, 100), _PLATES),
        "Teertstra, Yovanovich and Culham, J. Electronics Manufacturing 10 (2000), from memory",
        basis="inlet",
    ),
)
PIN_NUSSELT = by_name(
    Law("pins in line", pins_in_line, _BANK, _ZUKAUSKAS),
    Law("pins staggered", pins_staggered, _BANK, _ZUKAUSKAS),
)
