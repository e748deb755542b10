"""What faces that cool by themselves did in a solution: mean temperature, coefficients, laws; and the films with these frozen."""

from dataclasses import dataclass, replace

import numpy as np

from plancha.fem.films import coefficients, efficiency_of_fins, law_of, rayleigh_of, warnings_of
from plancha.fem.planes import cooled_elements
from plancha.fem.solve import Solution
from plancha.geometry.bodies import Film, Stack
from plancha.geometry.grid import Grid

UNEVEN = 0.5  # of the face's mean rise: a face that spans more is not well told by one temperature; common practice, no source


@dataclass(frozen=True)
class FilmReading:
    """One film that cools by itself: temperatures in K, coefficients [W/m2/K] per area of the face, heats [W].

    ``mean``, ``coldest`` and ``hottest`` are the face's; ``law``, ``rayleigh`` and ``source`` are empty or None without natural
    convection, ``efficiency`` is that of standing fins.
    """

    film: Film
    mean: float
    coldest: float
    hottest: float
    convection: float
    radiation: float
    heat_by_convection: float
    heat_by_radiation: float
    law: str
    source: str
    rayleigh: float | None
    efficiency: float | None
    warnings: tuple[str, ...]


def film_readings(solution: Solution) -> list[FilmReading]:
    """What each film that cools by itself does."""
    films = solution.sheets.stack.films
    return [_reading(solution, number) for number, film in enumerate(films) if film.unforced is not None]


def _reading(solution: Solution, number: int) -> FilmReading:
    sheets, film = solution.sheets, solution.sheets.stack.films[number]
    own = [each for each in sheets.unforced if each.film == number]
    mean = own[0].mean(solution.temperature)
    nodes = sheets.space.element_nodes[cooled_elements(solution, film)]
    face = solution.face(film.body, film.face)[nodes]
    heats = {each.kind: each.heat(solution.temperature) for each in own}
    law, found = law_of(film, mean), coefficients(film, mean)
    return FilmReading(
        film=film,
        mean=mean,
        coldest=float(face.min()),
        hottest=float(face.max()),
        convection=found.convection,
        radiation=found.radiation,
        heat_by_convection=heats.get("natural", 0.0),
        heat_by_radiation=heats.get("radiation", 0.0),
        law=law.name if law else "",
        source=law.source if law else "",
        rayleigh=rayleigh_of(film, mean),
        efficiency=efficiency_of_fins(film, mean),
        warnings=(*warnings_of(film, mean), *_uneven(film, mean, face)),
    )


def _uneven(film: Film, mean: float, face: np.ndarray) -> list[str]:
    span, rise = float(np.ptp(face)), abs(mean - film.temperature)
    if span <= UNEVEN * rise:
        return []
    return [
        f"the face spans {span:.3g} K at a mean rise of {rise:.3g} K: one coefficient by its mean temperature is a coarse measure; "
        "give its hot part a film of its own"
    ]


def frozen_films(stack: Stack, solution: Solution) -> Stack:
    """A stack of the solution's films, each unforced one with the coefficient that it has there.

    Where convection and radiation meet different temperatures, the film's is the mean of these, weighted by the coefficients.
    """
    sheets = solution.sheets
    if not sheets.unforced:
        return stack
    return replace(stack, films=tuple(_frozen(solution, number, film) for number, film in enumerate(stack.films)))


def _frozen(solution: Solution, number: int, film: Film) -> Film:
    own = [each for each in solution.sheets.unforced if each.film == number]
    if film.unforced is None or not own:
        return film
    assert not isinstance(film.coefficient, Grid)
    parts = [(film.coefficient, film.temperature)]
    parts += [(each.coefficient_at(solution.temperature), each.temperature) for each in own]
    total = sum(part for part, _ in parts)
    temperature = sum(part * temperature for part, temperature in parts) / total
    return replace(film, coefficient=total, temperature=temperature, unforced=None)
