"""Natural convection of products without a fan: plates, and channels between plates or fins that stand upright.

Every law gives the mean Nusselt number, array (...), from a Rayleigh number of 0 or more and a Prandtl number (which plates that lie
and channels do not use; their laws are for air and the like); `coefficient` turns temperatures, geometry and fluid into W/(m2 K).
Coefficients are on the ambient temperature: the warming of the air is inside them (basis "inlet" in the words of plancha.fem.laws),
so that they never meet a coolant that warms up. Properties are those at the film temperature, the fluid is a gas close to ideal
(expansion 1/T). The sign of the rise is ignored; a cold plate that faces up is like a hot one that faces down.

Turbulence: boundary layers turn turbulent near a Rayleigh number of 1e9 on plates that stand and 1e7 on plates that face up, which
the laws of plates include; the laws of channels are laminar throughout.

Not given: fins on a level base, facing up (Jones and Smith 1970) or down, because no text with the coefficients was at hand. A bank
so mounted is not what a standing channel says: measure it, or count its outline alone as a plate.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plancha.fem.laws import Array, positive
from plancha.geometry.fluids import Fluid

GRAVITY = 9.80665  # m/s2, standard
NARROW, WIDE = 576.0, 2.873  # Bar-Cohen and Rohsenow, both walls at one temperature
NARROW_FLUX, WIDE_FLUX = 48.0, 2.51  # the same, even flux of both walls, rise of the top edge
LEAST = 1e-290  # Rayleigh number that stands for zero where the formula divides by it
NEWTON_STEPS = 20  # from above on a convex function: monotone, and 8 are enough


@dataclass(frozen=True)
class Plate:
    """A plate in open air; ``length`` [m] is its height where it stands, area over perimeter where it lies."""

    length: ArrayLike

    def __post_init__(self) -> None:
        positive(length=self.length)

    @property
    def scale(self) -> Array:
        """Length [m] that Nusselt and Rayleigh numbers are made with."""
        return np.asarray(self.length, float)

    @property
    def slenderness(self) -> Array:
        """Factor of the Rayleigh number, [-]."""
        return np.ones_like(self.scale)


@dataclass(frozen=True)
class Channel:
    """The gap between two hot plates that stand, open at least below and above; ``gap`` and ``height`` (upright) in m."""

    gap: ArrayLike
    height: ArrayLike

    def __post_init__(self) -> None:
        positive(gap=self.gap, height=self.height)

    @property
    def scale(self) -> Array:
        """Length [m] that Nusselt and Rayleigh numbers are made with."""
        return np.asarray(self.gap, float)

    @property
    def slenderness(self) -> Array:
        """Factor of the Rayleigh number, [-]: gap over height."""
        return self.scale / np.asarray(self.height, float)


@dataclass(frozen=True)
class NaturalLaw:
    """One published law: mean Nusselt number of ``function(rayleigh, prandtl)`` for one kind of geometry.

    ``low`` to ``high`` is the range of the Rayleigh number it was made for; ``source`` says who published it and whether the text was
    at hand.
    """

    name: str
    function: Callable[[ArrayLike, ArrayLike], Array]
    geometry: type[Plate] | type[Channel]
    low: float
    high: float
    source: str


def standing_plate_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Mean Nusselt number of a plate that stands: {0.825 + 0.387 Ra^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27)}^2.

    At Ra = 0 it is 0.681, conduction into still air: alone of all laws here it does not vanish with the rise. The heat does.

    Notes
    -----
    Source: Churchill and Chu (1975), Int. J. Heat Mass Transfer 18, 1323-1329, as transcribed in `ht`. Isothermal plate,
    on the height, Ra <= 1e12, any Pr; laminar below 1e9, turbulent above, one formula. In air it is 8-12 % below the laminar law 0.59
    Ra^(1/4) from 1e4 to 3e6, and 17 % above it at 1e9.

    Examples
    --------
    >>> float(standing_plate_nusselt(0.69 * 2.63e9, 0.69).round(3))
    147.162
    """
    (pr,) = positive(prandtl=prandtl)
    turn = (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)
    return np.square(0.825 + 0.387 * _not_negative(rayleigh) ** (1 / 6) / turn)


def facing_up_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Mean Nusselt number of a level hot plate that faces up: the larger of 0.54 Ra^(1/4), laminar, and 0.15 Ra^(1/3), turbulent.

    Notes
    -----
    Source: McAdams, Heat Transmission, with the coefficients as transcribed in `ht` and area over perimeter by Goldstein, Sparrow and
    Jones (1973), and Lloyd and Moran (1974), J. Heat Transfer 96, 443-447, from memory. 1e4 <= Ra <= 1e11. The texts switch
    at Ra = 1e7, where the two differ by 6.4 %; here they meet, at 4.74e6, so that there is no jump: in between up to 6.4 % above the
    texts.

    Examples
    --------
    >>> facing_up_nusselt([1e4, 1e6, 1e9], 0.7).round(2)
    array([  5.4 ,  17.08, 150.  ])
    """
    ra = _not_negative(rayleigh)
    return np.maximum(0.54 * ra**0.25, 0.15 * np.cbrt(ra))


def facing_down_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Mean Nusselt number of a level hot plate that faces down: 0.27 Ra^(1/4).

    Notes
    -----
    Source: McAdams, Heat Transmission, as transcribed in `ht`; area over perimeter, 1e5 <= Ra <= 1e10. Newer texts print
    0.52 Ra^(1/5) (1e4 to 1e9, from memory), which is 8 % higher at 1e5 and 32 % lower at 1e9.

    Examples
    --------
    >>> float(facing_down_nusselt(1e8, 0.7).round(3))
    27.0
    """
    return 0.27 * _not_negative(rayleigh) ** 0.25


def channel_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Mean Nusselt number of a channel with both walls at one temperature: [576/x^2 + 2.873/x^(1/2)]^(-1/2), x = Ra gap/height.

    Both numbers are on the gap. Narrow: x/24, the channel full of air at wall temperature; wide: 0.59 x^(1/4), each wall by itself.

    Notes
    -----
    Source: Bar-Cohen and Rohsenow (1984), J. Heat Transfer 106, 116-123, as printed in Cengel and Ghajar, Heat and Mass Transfer,
    section 9-4 (read in a transcription). 0.1 <= x <= 1e5 is Elenbaas' range, from memory. Laminar;
    no chimney above, no obstacle below; little air through the channel's open front.

    Examples
    --------
    >>> channel_nusselt([0.1, 54.4, 1e5], 0.7).round(4)
    array([4.20000e-03, 1.30840e+00, 1.04913e+01])
    """
    x = _not_negative(rayleigh)
    return x / np.sqrt(NARROW + WIDE * x**1.5)


def elenbaas_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Mean Nusselt number of a channel with both walls at one temperature: (x/24) [1 - exp(-35/x)]^(3/4), x = Ra gap/height.

    Between 2.0 % below and 5.4 % above `channel_nusselt` in its range. Source: Elenbaas (1942), Physica 9, 1-28, in the form of
    Incropera et al., from memory. Air, square plates, 0.1 <= x <= 1e5.

    Examples
    --------
    >>> elenbaas_nusselt([0.1, 54.4, 1e5], 0.7).round(4)
    array([4.20000e-03, 1.29590e+00, 1.06606e+01])
    """
    x = np.maximum(_not_negative(rayleigh), LEAST)
    return x / 24 * (-np.expm1(-35 / x)) ** 0.75


def even_flux_nusselt(modified_rayleigh: ArrayLike) -> Array:
    """Nusselt number at the top edge of a channel whose walls both give off an even flux: [48/y + 2.51/y^0.4]^(-1/2).

    Parameters
    ----------
    modified_rayleigh : array (...), [-]
        y = g beta q gap^5 / (k nu alpha height), with q in W/m2 of each wall.

    Returns
    -------
    array (...), [-]
        q gap / (k rise), with the rise of the top edge, the hottest place, above ambient. Source: `channel_nusselt`.

    Examples
    --------
    >>> even_flux_nusselt([0.1, 10.0, 1e4]).round(4)
    array([0.0453, 0.4153, 3.8391])
    """
    y = _not_negative(modified_rayleigh)
    return np.sqrt(y / (NARROW_FLUX + WIDE_FLUX * y**0.6))


def even_flux_channel_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Array:
    """Nusselt number at the top edge of a channel with even flux, from the rise of that edge instead of the flux.

    It is `even_flux_nusselt` at y = x Nu, solved for Nu: 48 Nu/x + 2.51 Nu^1.6 x^(-0.4) = 1, with x = Ra gap/height.

    Examples
    --------
    >>> nusselt = float(even_flux_channel_nusselt(10.0, 0.7))
    >>> round(nusselt, 5), round(float(even_flux_nusselt(10.0 * nusselt)), 5)
    (0.19332, 0.19332)
    """
    x = np.maximum(_not_negative(rayleigh), LEAST)
    nusselt = np.minimum(x / NARROW_FLUX, (x**0.4 / WIDE_FLUX) ** (1 / 1.6))
    for _ in range(NEWTON_STEPS):
        narrow, wide = NARROW_FLUX * nusselt / x, WIDE_FLUX * nusselt**1.6 / x**0.4
        nusselt = nusselt * (1 - (narrow + wide - 1) / (narrow + 1.6 * wide))
    return nusselt


BAR_COHEN = "Bar-Cohen and Rohsenow (1984), J. Heat Transfer 106, 116-123, as printed in Cengel and Ghajar"
MCADAMS = "McAdams, Heat Transmission, as transcribed in ht 1.2.0; range from memory"

STANDING_PLATE = NaturalLaw(
    "standing plate",
    standing_plate_nusselt,
    Plate,
    0.0,
    1e12,
    "Churchill and Chu (1975), Int. J. Heat Mass Transfer 18, 1323-1329, as transcribed in ht 1.2.0",
)
FACING_UP = NaturalLaw("plate facing up", facing_up_nusselt, Plate, 1e4, 1e11, MCADAMS)
FACING_DOWN = NaturalLaw("plate facing down", facing_down_nusselt, Plate, 1e5, 1e10, MCADAMS)
CHANNEL = NaturalLaw("channel", channel_nusselt, Channel, 0.1, 1e5, BAR_COHEN + "; range from memory")
ELENBAAS_CHANNEL = NaturalLaw(
    "channel, Elenbaas", elenbaas_nusselt, Channel, 0.1, 1e5, "Elenbaas (1942), Physica 9, 1-28, from memory"
)
EVEN_FLUX_CHANNEL = NaturalLaw(
    "channel, even flux", even_flux_channel_nusselt, Channel, 0.1, 1e5, BAR_COHEN + "; range from memory"
)
LAWS = {law.name: law for law in (STANDING_PLATE, FACING_UP, FACING_DOWN, CHANNEL, ELENBAAS_CHANNEL, EVEN_FLUX_CHANNEL)}


def film_temperature(surface_temperature: ArrayLike, ambient_temperature: ArrayLike) -> Array:
    """Mean of surface and ambient [K], at which the fluid's properties belong."""
    surface, ambient = positive(surface_temperature=surface_temperature, ambient_temperature=ambient_temperature)
    return (surface + ambient) / 2


def buoyancy(surface_temperature: ArrayLike, ambient_temperature: ArrayLike, fluid: Fluid) -> Array:
    """Rayleigh number per cube of length, g beta |Ts - Ta| / (nu alpha) with beta = 1/T of the film, [1/m3]."""
    film = film_temperature(surface_temperature, ambient_temperature)
    rise = np.abs(np.asarray(surface_temperature, float) - np.asarray(ambient_temperature, float))
    return _buoyancy_per_kelvin(film, fluid) * rise


def rayleigh_number(
    surface_temperature: ArrayLike, ambient_temperature: ArrayLike, geometry: Plate | Channel, fluid: Fluid
) -> Array:
    """Rayleigh number of a plate on its length, of a channel on its gap times gap over height, [-]; never negative."""
    force = buoyancy(surface_temperature, ambient_temperature, fluid)
    return force * geometry.scale**3 * geometry.slenderness


def coefficient(
    law: NaturalLaw,
    surface_temperature: ArrayLike,
    ambient_temperature: ArrayLike,
    geometry: Plate | Channel,
    fluid: Fluid,
) -> Array:
    """Mean coefficient of natural convection, on the ambient temperature.

    Parameters
    ----------
    law : NaturalLaw
        One of `LAWS`.
    surface_temperature, ambient_temperature : array (...), [K]
        Absolute; either may be the hotter, and they may be equal.
    geometry : Plate or Channel
        Of the kind the law is for.
    fluid : Fluid
        At `film_temperature` and the place's pressure: altitude enters by the density alone, h ~ density^(1/2) on a plate.

    Returns
    -------
    array (...), [W/(m2 K)]
        0 at equal temperatures (but see `standing_plate_nusselt`) and continuous there; its slope is not finite.

    Raises
    ------
    ValueError
        If the geometry is not of the law's kind, or a temperature is not above 0 K.

    Notes
    -----
    Source and range: the law's; `out_of_range` says where it is left. Correlations like these hold to some 10-25 %.
    """
    if not isinstance(geometry, law.geometry):
        raise ValueError(f'the law "{law.name}" is for a {law.geometry.__name__}, not a {type(geometry).__name__}')
    rayleigh = rayleigh_number(surface_temperature, ambient_temperature, geometry, fluid)
    return law.function(rayleigh, fluid.prandtl) * fluid.conductivity / geometry.scale


def out_of_range(law: NaturalLaw, rayleigh: ArrayLike) -> list[str]:
    """Where Rayleigh numbers leave what the law was made for, in sentences with the worst value of either end.

    Examples
    --------
    >>> out_of_range(FACING_UP, [3e3, 1e6])
    ['Rayleigh number 3000 is outside 10000 to 1e+11 of the law "plate facing up"']
    """
    values = _not_negative(rayleigh)
    low, high = values[values < law.low], values[values > law.high]
    worst = [each for each in (low.min(initial=np.inf), high.max(initial=-np.inf)) if np.isfinite(each)]
    return [
        f'Rayleigh number {each:g} is outside {law.low:g} to {law.high:g} of the law "{law.name}"' for each in worst
    ]


def best_gap(
    surface_temperature: ArrayLike,
    ambient_temperature: ArrayLike,
    height: ArrayLike,
    fluid: Fluid,
    fin_thickness: ArrayLike = 0.0,
) -> Array:
    """Gap between isothermal upright fins that gives most heat per width of base.

    With P = Ra/(gap^3 height) [1/m4] it is 2.715 P^(-1/4) for thin fins; in general the root of
    2 gap + 3 thickness = 0.005 P^(3/2) gap^7 (2.873/576 for 0.005).

    Parameters
    ----------
    surface_temperature, ambient_temperature, fluid
        As in `coefficient`, but not equal.
    height, fin_thickness : array (...), [m]
        Upright length of the channel; zero or more.

    Returns
    -------
    array (...), [m]

    Raises
    ------
    ValueError
        If the rise is zero, a length is not above 0 or a thickness is below 0.

    Notes
    -----
    Source: where `channel_nusselt` / [gap (gap + thickness)] has its maximum (derived independently); Bar-Cohen and Rohsenow (1984)
    print 2.714 for thin fins, as printed in Cengel and Ghajar, and 0.005 for thick ones, from memory. Valid: fins of one temperature,
    convection alone; the maximum is flat.
    """
    (length,) = positive(height=height)
    (force,) = positive(buoyancy=buoyancy(surface_temperature, ambient_temperature, fluid))
    thin = (2 * NARROW / WIDE) ** (1 / 6) * (length / force) ** 0.25
    thick = 1.5 * _not_negative(fin_thickness) / thin
    size = 1 + thick ** (1 / 7)  # above the root of s^7 = s + thick
    for _ in range(NEWTON_STEPS):
        size = size - (size**7 - size - thick) / (7 * size**6 - 1)
    return thin * size


def best_even_flux_gap(flux: ArrayLike, temperature: ArrayLike, height: ArrayLike, fluid: Fluid) -> Array:
    """Gap between thin upright plates of even flux that gives most heat per width and kelvin at the top edge: 2.12 R^(-1/5).

    Parameters
    ----------
    flux : array (...), [W/m2]
        Of each wall, above 0.
    temperature : array (...), [K]
        Of the film, where the fluid's properties belong.
    height : array (...), [m]
    fluid : Fluid

    Returns
    -------
    array (...), [m]
        R = g beta q / (k nu alpha height), [1/m5].

    Notes
    -----
    Source: where `even_flux_nusselt` / gap^2 has its maximum (derived independently: 2.1225); Bar-Cohen and Rohsenow (1984), as
    printed in Cengel and Ghajar, give 2.12.
    """
    film, strength, length = positive(temperature=temperature, flux=flux, height=height)
    group = _buoyancy_per_kelvin(film, fluid) * strength / (fluid.conductivity * length)
    return (NARROW_FLUX / 5 / (WIDE_FLUX * 0.4)) ** (1 / 3) * group**-0.2


def _buoyancy_per_kelvin(film: Array, fluid: Fluid) -> Array:
    return GRAVITY / film * fluid.density**2 * fluid.heat_capacity / (fluid.viscosity * fluid.conductivity)


def _not_negative(value: ArrayLike) -> Array:
    array = np.asarray(value, float)
    if not np.all(array >= 0):
        raise ValueError(f"a value of 0 or more is needed, got {np.min(array):g}")
    return array
