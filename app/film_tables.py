"""Faces that cool by themselves as a table for the terminal."""

from plancha.app.result import CaseRecord, FilmRecord
from plancha.app.sections import Section, section

ONE_TEMPERATURE = (
    "One coefficient for each face, by its mean temperature; per area of the bare face, fins included. Laws of natural "
    "convection hold to some 10-25 %."
)


def films_table(case: CaseRecord) -> Section:
    """Mean temperatures and coefficients of all faces that cool by themselves, with laws, sources and warnings."""
    columns = ("face", "mean degC", "span K", "convection W/m^2/K", "radiation W/m^2/K", "Rayleigh", "stands")
    rows = [_row(film) for film in case.films]
    laws = {film.law: film.source for film in case.films if film.law}
    remarks = [f"Law {law}: {source}" for law, source in laws.items()]
    remarks += [f"Warning: {film.name}: {text}" for film in case.films for text in film.warnings]
    return section("Faces that cool by themselves", columns, rows, ONE_TEMPERATURE, *remarks)


def _row(film: FilmRecord) -> tuple[str, ...]:
    fins = "" if film.fin_efficiency is None else f", fin efficiency {film.fin_efficiency:.3f}"
    return (
        film.name,
        f"{film.mean_degC:.1f}",
        f"{film.hottest_degC - film.coldest_degC:.1f}",
        f"{film.convection_W_per_m2K:.2f}" if film.law else "-",
        f"{film.radiation_W_per_m2K:.2f}" if film.emissivity else "-",
        "-" if film.rayleigh is None else f"{film.rayleigh:.3g}",
        (film.stands or "-") + fins,
    )
