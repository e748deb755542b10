"""Pressure that coolant loses in passages: wall friction, entry and exit, top entry, banks of pins.

FANNING, NOT DARCY. Every friction factor here is Fanning's, wall shear over rho V^2/2, so that a passage loses 4 f
(L/Dh) rho V^2/2. Between parallel plates f Re = 24. Darcy's factor is four times as large (96/Re there; 64/Re against
16/Re in a pipe) and goes without the 4. Taking one for the other is wrong by a factor of four. "Apparent" means that
the entry's extra loss is spread over the length.

V is the velocity INSIDE the passages, not before them. sigma is a ratio of AREAS, passage over front.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

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
    fraction,
    hydrodynamic_length,
    not_negative,
    positive,
)

GAP = 24.0  # f Re of developed flow between parallel plates, Fanning
ENTRY = 3.44  # f_app Re sqrt(x+) near the inlet of any passage
STILL = 1e-12  # [m/s] stands for no flow, so that f Re stays finite; its loss is set to nothing


def developed_gap(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Developed laminar flow between parallel plates: f = 24/Re (Fanning), exact. Valid: past the entry."""
    (re,) = positive(reynolds=reynolds)
    return GAP / re + 0 * (np.asarray(length_ratio) + np.asarray(aspect))


def developed_duct(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Developed laminar flow in a rectangular duct of aspect ratio a, short over long side: Fanning f.

    f Re = 24 (1 - 1.3553 a + 1.9467 a^2 - 1.7012 a^3 + 0.9564 a^4 - 0.2537 a^5)

    Source: Shah and London, Laminar Flow Forced Convection in Ducts (1978), from memory; the same in a public
    transcription of Kakac, Shah and Aung (1987). Valid: past the entry; within 0.1 % of the exact series. Raises
    ValueError if a is outside 0 to 1.

    Examples
    --------
    >>> developed_duct(1.0, 1e6, [0.0, 0.25, 1.0]).round(4)
    array([24.    , 18.234 , 14.2296])
    """
    (re,) = positive(reynolds=reynolds)
    (ratio,) = fraction(aspect=aspect)
    f_re = GAP * polyval(ratio, [1, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537])
    return f_re / re + 0 * np.asarray(length_ratio)


def developing_gap(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Apparent Fanning friction of a gap that the flow enters evenly, laminar.

    f Re = 3.44/sqrt(x+) + [24 + 0.674/(4 x+) - 3.44/sqrt(x+)]/(1 + 2.9e-5/x+^2), x+ = L/(Dh Re)

    Parameters
    ----------
    reynolds, length_ratio : array (...), [-]
        On the hydraulic diameter, twice the gap; flow length over it.
    aspect : array (...), [-]
        Gap over fin height; taken as 0.

    Returns
    -------
    array (...), [-]
        Apparent Fanning factor over the length; it holds the entry's momentum, not the contraction before it.

    Raises
    ------
    ValueError
        If Reynolds number or length is not above 0.

    Notes
    -----
    Source: Shah, J. Fluids Eng. 100, 177 (1978), constants from memory; +-2.4 % claimed, and found beside an
    independent march of the entrance. A round pipe has other constants (16, 1.25, 2.12e-4). Valid: laminar, any
    length.

    Examples
    --------
    >>> round(float(developing_gap(821.42, 18.75)) * 821.42, 3)
    30.928
    """
    x = hydrodynamic_length(reynolds, length_ratio)
    entry = ENTRY / np.sqrt(x)
    f_re = entry + (GAP + 0.674 / (4 * x) - entry) / (1 + 2.9e-5 / x**2)
    return f_re / np.asarray(reynolds) + 0 * np.asarray(aspect)


def blended_duct(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Apparent Fanning friction of a gap or duct of any aspect ratio: entry and developed flow as a root of squares.

    f Re = sqrt(3.44^2/x+ + (f Re of `developed_duct`)^2)

    Source: Muzychka and Yovanovich, J. Fluids Eng. 131, 111105 (2009), from memory. Valid: laminar, any length; for
    gaps up to 6 % high near x+ = 0.02.
    """
    x = hydrodynamic_length(reynolds, length_ratio)
    re = np.asarray(reynolds, dtype=float)
    return np.hypot(ENTRY / np.sqrt(x), re * developed_duct(re, length_ratio, aspect)) / re


def turbulent(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Turbulent flow in a smooth passage, on its hydraulic diameter: Fanning f = (0.79 ln Re - 1.64)^-2/4.

    Nothing is added for the entry. Source: Petukhov (1970), whose factor is Darcy's, from memory. Valid: 3000 < Re <
    5e6. Raises ValueError at Re <= 1000, where the formula has no meaning.
    """
    (re,) = positive(reynolds=reynolds)
    if not np.all(re > 1000):
        raise ValueError(f"the turbulent law has no meaning at Reynolds number {np.min(re):g}; it is for 3000 and more")
    return (0.79 * np.log(re) - 1.64) ** -2 / 4 + 0 * (np.asarray(length_ratio) + np.asarray(aspect))


def automatic(reynolds: ArrayLike, length_ratio: ArrayLike, aspect: ArrayLike = 0.0) -> Array:
    """Fanning f: the gap's developing law to Re = 2300, the turbulent law from 3000, a line between their ends.

    From 3000 on never less than the laminar law, which is the larger in short passages, so that the pressure always
    rises with the flow. Source: `developing_gap`, `turbulent`; the line is common practice, no source. Unreliable
    from 2300 to 3000.
    """
    (re,) = positive(reynolds=reynolds)

    slow, fast = np.minimum(re, LAMINAR_UP_TO), np.maximum(re, TURBULENT_FROM)
    upper = np.maximum(turbulent(fast, length_ratio, aspect), developing_gap(fast, length_ratio, aspect))
    share = np.clip((re - LAMINAR_UP_TO) / (TURBULENT_FROM - LAMINAR_UP_TO), 0, 1)
    return (1 - share) * developing_gap(slow, length_ratio, aspect) + share * upper


@dataclass(frozen=True)
class LossForm:
    """Loss coefficients of a sudden contraction and enlargement, on the velocity inside, by the ratio of areas."""

    name: str
    contraction: Callable[[Array], Array]
    expansion: Callable[[Array], Array]
    source: str


def _switched(sigma: Array) -> Array:
    return np.where(sigma < 0.58, 0.42 * (1 - sigma), (1 - sigma) ** 2)


BY_AREA = LossForm(
    "area",
    lambda sigma: 0.42 * (1 - sigma),
    lambda sigma: (1 - sigma) ** 2,
    "textbook form; the enlargement is Borda's and Carnot's, exact for even profiles; from memory",
)
LOSSES: Mapping[str, LossForm] = {
    form.name: form
    for form in (
        BY_AREA,
        LossForm(
            "switched",
            _switched,
            lambda sigma: (1 - sigma) ** 2,
            "White, Fluid Mechanics: the contraction changes form at an area ratio of 0.58; from memory",
        ),
        LossForm(
            "area squared",
            lambda sigma: 0.42 * (1 - sigma**2),
            lambda sigma: (1 - sigma**2) ** 2,
            "papers on finned sinks, with area ratios in a form for diameter ratios, so that it reads high; from memory",
        ),
    )
}

_LAMINAR, _PLATES = Range("reynolds", 0, LAMINAR_UP_TO), Range("aspect", 0, 0.1)
_PAST_ENTRY = Range("x_plus", 0.1, np.inf)
_SHAH = "Shah, J. Fluids Eng. 100 (1978), constants from memory"
DEVELOPING_GAP = Law("developing gap", developing_gap, (_LAMINAR, _PLATES), _SHAH)
AUTOMATIC = Law(
    "automatic",
    automatic,
    (Range("reynolds", 0, 5e6), _PLATES),
    "Shah (1978) to Re 2300, Petukhov (1970) from 3000, both from memory; a line between, common practice, no source",
    doubtful=(Range("reynolds", LAMINAR_UP_TO, TURBULENT_FROM),),
)
FRICTION = by_name(
    AUTOMATIC,
    DEVELOPING_GAP,
    Law("developed gap", developed_gap, (_LAMINAR, _PAST_ENTRY, _PLATES), "exact: plane Poiseuille flow"),
    Law(
        "developed duct",
        developed_duct,
        (_LAMINAR, _PAST_ENTRY, Range("aspect", 0, 1)),
        "Shah and London, Laminar Flow Forced Convection in Ducts (1978), from memory",
        for_ducts=True,
    ),
    Law(
        "blended duct",
        blended_duct,
        (_LAMINAR, Range("aspect", 0, 1)),
        "Muzychka and Yovanovich, J. Fluids Eng. 131 (2009), from memory",
        for_ducts=True,
    ),
    Law("turbulent", turbulent, (Range("reynolds", TURBULENT_FROM, 5e6),), "Petukhov (1970), from memory"),
)


def core_pressure_drop(
    velocity: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    hydraulic_diameter: ArrayLike,
    length: ArrayLike,
    sigma_in: ArrayLike,
    sigma_out: ArrayLike,
    law: Law = AUTOMATIC,
    losses: LossForm = BY_AREA,
    aspect: ArrayLike = 0.0,
) -> Array:
    """Pressure lost from before to behind a bank of passages: rho V^2/2 (Kc + 4 f L/Dh + Ke).

    Parameters
    ----------
    velocity : array (...), [m/s]
        Inside the passages, 0 or more; no flow loses nothing.
    density : array (...), [kg/m3]
    viscosity : array (...), [Pa s]
        Dynamic.
    hydraulic_diameter, length : array (...), [m]
        Twice the gap between fins; flow length.
    sigma_in, sigma_out : array (...), [-]
        Passage area over the area before and behind, 0 to 1; 1: no contraction, no enlargement.
    law : Law
        Of FRICTION.
    losses : LossForm
        Of LOSSES.
    aspect : array (...), [-]
        Short over long side of a passage.

    Returns
    -------
    array (...), [Pa]

    Raises
    ------
    ValueError
        If a velocity is negative, an area ratio outside 0 to 1, or another value not above 0.

    Notes
    -----
    Source: Kays and London, Compact Heat Exchangers, from memory; constant density, so that the momentum terms cancel.
    The coefficients are for even profiles: a developed laminar exit loses more, which charts add as profile terms.

    Examples
    --------
    >>> round(float(core_pressure_drop(4.0, 1.184, 1.845e-5, 3.2e-3, 0.060, 0.794521, 0.794521, DEVELOPING_GAP)), 3)
    27.965
    """
    (speed,) = not_negative(velocity=velocity)
    rho, mu, diameter, way = positive(
        density=density, viscosity=viscosity, hydraulic_diameter=hydraulic_diameter, length=length
    )
    at = np.maximum(speed, STILL)
    factor = law.function(reynolds=rho * at * diameter / mu, length_ratio=way / diameter, aspect=aspect)
    before, behind = fraction(sigma_in=sigma_in, sigma_out=sigma_out)
    ends = losses.contraction(before) + losses.expansion(behind)
    lost = rho * at**2 / 2 * (ends + 4 * factor * way / diameter)
    return np.where(speed > 0, lost, 0.0)


def top_entry_friction(
    velocity: ArrayLike, viscosity: ArrayLike, gap: ArrayLike, height: ArrayLike, length: ArrayLike
) -> Array:
    """Friction where air enters evenly from above and leaves at both ends: 4 mu v (H^2 + l^2)/(b^2 H), l = L/2, [Pa].

    Arguments as in `top_entry_pressure_drop`. From the mean pressure at the top to that at the ends.
    Source: derived independently for developed (Hele-Shaw) flow between parallel plates. Valid: slow and narrow,
    rho v b^2/(mu H) well below 10; the entry of a fast flow loses more.
    """
    b, tall, long = positive(gap=gap, height=height, length=length)
    speed, mu = not_negative(velocity=velocity, viscosity=viscosity)
    return 4 * mu * speed * (tall**2 + (long / 2) ** 2) / (b**2 * tall)


def top_entry_pressure_drop(
    velocity: ArrayLike, density: ArrayLike, viscosity: ArrayLike, gap: ArrayLike, height: ArrayLike, length: ArrayLike
) -> Array:
    """Pressure lost by air that enters gaps evenly from above, turns, and leaves at both ends.

    `top_entry_friction` + rho (v l/H)^2/2: friction, and the dynamic head of the air that leaves, l = L/2.

    Parameters
    ----------
    velocity : array (...), [m/s]
        Downward, inside the gaps at their top, 0 or more.
    density, viscosity : array (...), [kg/m3], [Pa s]
    gap, height, length : array (...), [m]
        Between fins; of the fins; of the fins from end to end.

    Returns
    -------
    array (...), [Pa]
        Without the contraction from the front into the gaps.

    Notes
    -----
    Source and validity: `top_entry_friction`. The head is that of an even profile.
    """
    (rho,) = positive(density=density)
    leaving = np.asarray(velocity) * np.asarray(length) / (2 * np.asarray(height))
    return top_entry_friction(velocity, viscosity, gap, height, length) + rho * leaving**2 / 2


def narrowest_section(pitch_normal: ArrayLike, pitch_parallel: ArrayLike, staggered: bool) -> Array:
    """Velocity in the narrowest section of a bank of pins over the velocity before it, pitches over the diameter.

    In line ST/(ST - 1). Staggered, the diagonal passages may be narrower: the larger of that and ST/(2 (SD - 1)), with
    SD = sqrt(SL^2 + ST^2/4). Source: continuity; the form in Incropera and DeWitt, from memory. Pins must not touch.
    """
    across, along = positive(pitch_normal=pitch_normal, pitch_parallel=pitch_parallel)
    straight_gap, diagonal_gap = positive(
        pitch_normal_less_diameter=across - 1,
        diagonal_pitch_less_diameter=np.hypot(along, across / 2) - 1 if staggered else across - 1,
    )
    diagonal = across / (2 * diagonal_gap) if staggered else 0.0
    return np.maximum(across / straight_gap, diagonal)


def pins_in_line(reynolds: ArrayLike, pitch_normal: ArrayLike, pitch_parallel: ArrayLike) -> Array:
    """Friction of one row of pins that stand behind one another, pitches over the diameter; a row loses 4 f rho V^2/2.

    f = [0.044 + 0.08 SL/(ST - 1)^(0.43 + 1.13/SL)] Re^-0.15

    Source: Jakob, Trans. ASME 60, 384 (1938), as in Holman, Heat Transfer, from memory; within 20 % of Zukauskas's
    charts as digitised in `ht`. Valid: about 2000 < Re < 40000 on diameter and narrowest section, ten rows or more,
    long tubes.
    """
    re, along = positive(reynolds=reynolds, pitch_parallel=pitch_parallel)
    (clear,) = positive(pitch_normal_less_diameter=np.asarray(pitch_normal, dtype=float) - 1)
    return (0.044 + 0.08 * along / clear ** (0.43 + 1.13 / along)) * re**-0.15


def pins_staggered(reynolds: ArrayLike, pitch_normal: ArrayLike, pitch_parallel: ArrayLike) -> Array:
    """Friction of one row of staggered pins: f = [0.25 + 0.118/(ST - 1)^1.08] Re^-0.16. The rest: `pins_in_line`."""
    re, _ = positive(reynolds=reynolds, pitch_parallel=pitch_parallel)
    (clear,) = positive(pitch_normal_less_diameter=np.asarray(pitch_normal, dtype=float) - 1)
    return (0.25 + 0.118 / clear**1.08) * re**-0.16


_BANK = (Range("reynolds", 2000, 40000),)
_JAKOB = "Jakob, Trans. ASME 60 (1938), from memory"
PIN_FRICTION = by_name(
    Law("pins in line", pins_in_line, _BANK, _JAKOB), Law("pins staggered", pins_staggered, _BANK, _JAKOB)
)


def pin_bank_pressure_drop(
    velocity: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    diameter: ArrayLike,
    rows: ArrayLike,
    pitch_normal: ArrayLike,
    pitch_parallel: ArrayLike,
    law: Law,
) -> Array:
    """Pressure lost through a bank of pins: rows times 4 f rho V^2/2, [Pa].

    ``velocity`` [m/s] is that in the narrowest section, 0 or more; ``density`` [kg/m3], ``viscosity`` [Pa s],
    ``diameter`` [m]; the pitches are over the diameter; ``law`` of PIN_FRICTION, whose source and validity hold.
    """
    (speed,) = not_negative(velocity=velocity)
    rho, mu, d = positive(density=density, viscosity=viscosity, diameter=diameter)
    at = np.maximum(speed, STILL)
    factor = law.function(reynolds=rho * at * d / mu, pitch_normal=pitch_normal, pitch_parallel=pitch_parallel)
    return np.where(speed > 0, np.asarray(rows) * 4 * factor * rho * at**2 / 2, 0.0)
