"""Coefficients of faces that cool by themselves, natural convection and radiation, as functions of the face's own mean temperature.

One mean temperature, by area over the bare face, makes one coefficient for the whole of a film: laws of natural convection are for
faces of one temperature. Where a film's face is far from that, cut it into films with an ``area`` each.
"""

from dataclasses import dataclass

import numpy as np

from plancha.fem.fin_efficiency import fin_efficiency, fin_parameter
from plancha.fem.natural import (
    CHANNEL,
    FACING_DOWN,
    FACING_UP,
    STANDING_PLATE,
    Channel,
    NaturalLaw,
    Plate,
    coefficient,
    film_temperature,
    out_of_range,
    rayleigh_number,
)
from plancha.fem.radiation import channel_wall_coefficient, finned_base_coefficient, radiation_coefficient
from plancha.geometry.bodies import Film, Unforced
from plancha.geometry.fluids import FLUIDS, Fluid, air

LAWS = {
    "standing plate": STANDING_PLATE,
    "facing up": FACING_UP,
    "facing down": FACING_DOWN,
    "standing fins": CHANNEL,
}
# A cold face that looks up is a hot one that looks down.
WHERE_COLD = {FACING_UP.name: FACING_DOWN, FACING_DOWN.name: FACING_UP}
LEAST_RISE = 1e-3  # K; a face closer to its air has the coefficient of this rise, so that no film ever vanishes
USUAL_RISE = 20.0  # K, for what is said of a film before it is solved: common practice, no source
COLDEST = 1.0  # K; what a search calls colder counts as this


@dataclass(frozen=True)
class Coefficients:
    """Convection and radiation [W/m2/K] per area of the face, fins included, each on its own surroundings' temperature."""

    convection: float
    radiation: float


def law_of(film: Film, temperature: float) -> NaturalLaw | None:
    """The law of a film's natural convection at the face's mean temperature [K]; None where it has none."""
    if film.unforced is None or not film.unforced.natural:
        return None
    law = LAWS[film.unforced.natural]
    return WHERE_COLD.get(law.name, law) if temperature < film.temperature else law


def geometry_of(unforced: Unforced) -> Plate | Channel:
    """What a face's law takes of its geometry."""
    return Plate(unforced.length) if unforced.fins is None else Channel(unforced.fins.gap, unforced.length)


def air_at(film: Film, temperature: float) -> Fluid:
    """The air at the mean of face and coolant; beyond the known range of air as at its end."""
    assert film.unforced is not None
    known = FLUIDS["air"]
    mean = min(max(float(film_temperature(temperature, film.temperature)), known.coldest), known.hottest)
    return air(mean, film.unforced.pressure)


def coefficients(film: Film, temperature: float) -> Coefficients:
    """What a film's face gives off by itself at its mean temperature [K], per kelvin and area; what it is given comes on top.

    Standing fins lose by both, and their efficiency by the sum: with h = convection + radiation in the gaps the base gives off
    H(h) [convection (T - air) + radiation (T - surroundings)]/h, exactly so for fins that obey the fin equation.
    """
    assert film.unforced is not None
    walls, fins = wall_coefficients(film, temperature), film.unforced.fins
    if fins is None:
        return walls
    base = finned_base_coefficient(
        walls.convection, walls.radiation, fins.gap, fins.thickness, fins.height, fins.conductivity
    )
    share = float(base) / (walls.convection + walls.radiation)
    return Coefficients(share * walls.convection, share * walls.radiation)


def at_a_usual_rise(film: Film) -> float:
    """What a film gives off by itself at USUAL_RISE above its air, per kelvin and area [W/m2/K]; 0 where it does not."""
    if film.unforced is None:
        return 0.0
    found = coefficients(film, film.temperature + USUAL_RISE)
    return found.convection + found.radiation


def wall_coefficients(film: Film, temperature: float) -> Coefficients:
    """The same per area of what the air touches: the face itself, or the gaps' walls where fins stand on it."""
    unforced, face = film.unforced, max(temperature, COLDEST)
    assert unforced is not None
    if unforced.emissivity == 0:
        radiation = 0.0
    elif unforced.fins is None:
        radiation = float(radiation_coefficient(unforced.emissivity, face, unforced.surroundings))
    else:
        gap = (unforced.fins.gap, unforced.fins.height, unforced.length)
        radiation = float(channel_wall_coefficient(unforced.emissivity, face, unforced.surroundings, *gap))
    return Coefficients(_convection(film, face), radiation)


def _convection(film: Film, face: float) -> float:
    law = law_of(film, face)
    if law is None:
        return 0.0
    assert film.unforced is not None
    away = film.temperature - LEAST_RISE if face < film.temperature else film.temperature + LEAST_RISE
    surface = face if abs(face - film.temperature) > LEAST_RISE else away
    found = coefficient(law, surface, film.temperature, geometry_of(film.unforced), air_at(film, surface))
    return float(found)


def convection_at(film: Film, temperature: float) -> float:
    """Coefficient [W/m2/K] of natural convection at a mean temperature [K] of the face."""
    return coefficients(film, temperature).convection


def radiation_at(film: Film, temperature: float) -> float:
    """Coefficient [W/m2/K] of radiation at a mean temperature [K] of the face."""
    return coefficients(film, temperature).radiation


def efficiency_of_fins(film: Film, temperature: float) -> float | None:
    """Efficiency [-] of a film's standing fins at the base's mean temperature [K]; None without fins."""
    if film.unforced is None or film.unforced.fins is None:
        return None
    walls, fins = wall_coefficients(film, temperature), film.unforced.fins
    along = fin_parameter(walls.convection + walls.radiation, fins.conductivity, fins.thickness)
    return float(fin_efficiency(along, fins.height))


def rayleigh_of(film: Film, temperature: float) -> float | None:
    """Rayleigh number of a film's law at a mean temperature [K] of the face; None without natural convection."""
    if film.unforced is None or not film.unforced.natural:
        return None
    face, geometry = max(temperature, COLDEST), geometry_of(film.unforced)
    return float(rayleigh_number(face, film.temperature, geometry, air_at(film, face)))


def warnings_of(film: Film, temperature: float) -> list[str]:
    """Where a film leaves what its law and the properties of air are known for, in sentences."""
    law, rayleigh = law_of(film, temperature), rayleigh_of(film, temperature)
    if law is None or rayleigh is None or abs(temperature - film.temperature) <= LEAST_RISE:
        return []
    known, mean = FLUIDS["air"], float(np.mean([temperature, film.temperature]))
    found = out_of_range(law, rayleigh)
    if not known.coldest <= mean <= known.hottest:
        span = f"{known.coldest:g} K to {known.hottest:g} K"
        found.append(f"air at {mean:.4g} K is outside {span}, where its properties are known; taken as at the end")
    return found
