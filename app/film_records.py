"""What result.json says about faces that cool by themselves: mean temperature, coefficients, law."""

from plancha.app.result import ZERO_CELSIUS, FilmRecord
from plancha.fem.film_readings import FilmReading
from plancha.fem.findings import Findings
from plancha.geometry.bodies import FACE_NAMES


def film_records(findings: Findings) -> list[FilmRecord]:
    """The record of each film of a load case whose coefficient follows its face's temperature."""
    bodies = findings.solution.sheets.stack.bodies
    return [_record(reading, bodies[reading.film.body].name) for reading in findings.films]


def _record(reading: FilmReading, body: str) -> FilmRecord:
    film, own = reading.film, reading.film.unforced
    assert own is not None
    return FilmRecord(
        name=film.name,
        body=body,
        face=FACE_NAMES[film.face],
        stands=own.natural or None,
        mean_degC=reading.mean - ZERO_CELSIUS,
        coldest_degC=reading.coldest - ZERO_CELSIUS,
        hottest_degC=reading.hottest - ZERO_CELSIUS,
        air_degC=film.temperature - ZERO_CELSIUS if own.natural else None,
        pressure_Pa=own.pressure if own.natural else None,
        surroundings_degC=own.surroundings - ZERO_CELSIUS if own.emissivity else None,
        emissivity=own.emissivity or None,
        convection_W_per_m2K=reading.convection,
        radiation_W_per_m2K=reading.radiation,
        heat_by_convection_W=reading.heat_by_convection,
        heat_by_radiation_W=reading.heat_by_radiation,
        length_mm=own.length * 1e3 if own.natural else None,
        fin_efficiency=reading.efficiency,
        rayleigh=reading.rayleigh,
        law=reading.law or None,
        source=reading.source or None,
        warnings=list(reading.warnings),
    )
