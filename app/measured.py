"""Model against measurement: residuals of probes or of an infrared map, and parameters of the study fitted to them."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import shapely

from plancha.app.fit_parameters import Sought, sought_parameters, texts_for
from plancha.app.kept import users_keep
from plancha.fem.findings import Solved, solve_with_estimate
from plancha.fem.fit import Fit, Model, Residuals, fitted
from plancha.fem.sampling import (
    Samples,
    fixed_discretisation,
    sampled,
    samples_of_probes,
    samples_on_face,
    sampling_errors,
)
from plancha.geometry.bodies import FACES, Stack, touching
from plancha.geometry.draft import Reading
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.grading import snapped_stack
from plancha.geometry.grid import Grid
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.readings import read_infrared, read_readings
from plancha.geometry.study_file import Case, StudyFile, changed_case, read_study


@dataclass(frozen=True)
class Measurement:
    """What was measured and where: ``labels`` of the readings; ``grid`` [K] the whole infrared map, else None.

    ``cells`` (readings,) are the map's cells (flat numbers) on the bare part of the face. ``face`` says what the map shows.
    """

    samples: Samples
    labels: tuple[str, ...]
    temperatures: np.ndarray
    uncertainties: np.ndarray | None
    grid: Grid | None = None
    cells: np.ndarray | None = None
    face: str = ""


@dataclass(frozen=True)
class Agreement:
    """A case beside its measurement: as the study says, and with the fitted values where a fit was asked for.

    ``errors`` (readings,) [K] are the model's estimated discretisation errors.
    """

    title: str
    case: str
    measurement: Measurement
    residuals: Residuals
    errors: np.ndarray
    fit: Fit | None = None
    sought: tuple[Sought, ...] = ()
    after: Residuals | None = None
    after_errors: np.ndarray | None = None


def agreement_with_readings(study_path: Path, readings: Path, case_name: str | None, names: Sequence[str]) -> Agreement:
    """A study beside a table of probe readings.

    Parameters
    ----------
    study_path, readings : path
    case_name : str, optional
        The load case that was measured; the study as written if left out.
    names : sequence of str
        Dotted names of the parameters to fit; none for residuals alone.

    Raises
    ------
    StudyError
        With all that is wrong with the readings, the case and the names.
    """
    study = read_study(study_path)
    case, faults = _case(study, case_name)
    try:
        read = read_readings(readings, [probe.name for probe in case.stack.probes])
    except StudyError as error:
        faults += error.faults
    sought, more = sought_parameters(study, case, names)
    _refuse([*faults, *more])
    probes = {probe.name: probe for probe in case.stack.probes}
    samples = samples_of_probes([probes[name] for name in read.probes])
    measurement = Measurement(samples, read.probes, read.temperatures, read.uncertainties)
    return _agreement(study, case, measurement, sought)


def agreement_with_infrared(
    study_path: Path, image: Path, body: str | None, face: str, unit: str, case_name: str | None, names: Sequence[str]
) -> Agreement:
    """A study beside an infrared map laid over a body's bounding rectangle, as seen from the cooled side.

    ``body`` must be named. Cells whose centres lie off the body, or where another body lies against the face, are passed over: no
    camera sees what is covered. Else as `agreement_with_readings`.
    """
    study = read_study(study_path)
    case, faults = _case(study, case_name)
    number, more = _body(case.stack, body)
    faults += more
    try:
        values = read_infrared(image, unit)
    except StudyError as error:
        faults += error.faults
    sought, more = sought_parameters(study, case, names)
    _refuse([*faults, *more])
    chosen = case.stack.bodies[number]
    grid = Grid(chosen.outline.bounds, values)
    x, y = ((edges[1:] + edges[:-1]) / 2 for edges in grid.edges())
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    cells = np.flatnonzero(shapely.contains_xy(_bare_part(case.stack, number, FACES[face]), *points.T))
    labels = tuple(f"x {px * 1e3:.2f} mm, y {py * 1e3:.2f} mm" for px, py in points[cells])
    samples = samples_on_face(number, FACES[face], points[cells])
    measurement = Measurement(samples, labels, values.ravel()[cells], None, grid, cells, f"{chosen.name}, {face}")
    return _agreement(study, case, measurement, sought)


def _refuse(faults: list[Fault]) -> None:
    if faults:
        raise StudyError(faults)


def _nearest(word: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word[:80], known, 1)
    return f'did you mean "{near[0]}"?' if near else ""


def _case(study: StudyFile, name: str | None) -> tuple[Case, list[Fault]]:
    """The load case called so, the study as written where there is none of that name, and the fault of that."""
    known = [case.name for case in study.cases]
    if name is None or name in known:
        return study.cases[known.index(name) if name else 0], []
    return study.cases[0], [
        Fault("--case", "no load case has this name", name, ", ".join(known[:20]), _nearest(name, known))
    ]


def _body(stack: Stack, name: str | None) -> tuple[int, list[Fault]]:
    known = [body.name for body in stack.bodies]
    if name in known:
        return known.index(str(name)), []
    if name is None:
        return 0, [Fault("--on", "it must be said which body the infrared map shows", allowed=", ".join(known[:20]))]
    return 0, [Fault("--on", "no body has this name", name, ", ".join(known[:20]), _nearest(name, known))]


def _bare_part(stack: Stack, body: int, face: int) -> shapely.Geometry:
    """The part of a body's face against which no other body lies."""
    covers = [stack.bodies[other].outline for other in touching(stack, body, face)]
    return shapely.difference(stack.bodies[body].outline, shapely.union_all(covers))


def _agreement(study: StudyFile, case: Case, measurement: Measurement, sought: Sequence[Sought]) -> Agreement:
    """Solve the case, then fit on its own discretisation, then solve again with what was found."""
    _refuse_too_few(measurement, len(sought))
    solved = solve_with_estimate(case.stack, keep=users_keep())
    residuals, errors = _beside(solved, measurement)
    plain = Agreement(case.stack.title, case.name, measurement, residuals, errors)
    if not sought:
        return plain
    fit = fitted(
        _model(study, case, sought, solved, measurement.samples),
        [each.parameter for each in sought],
        measurement.temperatures,
        measurement.uncertainties,
    )
    better = changed_case(case, study.path.parent, texts_for(sought, fit.values))
    after, after_errors = _beside(solve_with_estimate(better.stack, keep=users_keep()), measurement)
    return replace(plain, fit=fit, sought=tuple(sought), after=after, after_errors=after_errors)


def _refuse_too_few(measurement: Measurement, parameters: int) -> None:
    count, need = len(measurement.temperatures), parameters + (measurement.uncertainties is None)
    if not count:
        raise StudyError([Fault("", "no cell of the map lies on the bare part of the face", allowed="a finer map")])
    if parameters and count < need:
        found = f"{count} reading{'s'[: count != 1]} for {parameters} parameter{'s'[: parameters != 1]}"
        unsure = (
            "" if measurement.uncertainties is not None else ": one more than parameters, as no uncertainty is given"
        )
        raise StudyError([Fault("--fit", "too few readings", found, f"{need} or more{unsure}", "fit fewer parameters")])


def _beside(solved: Solved, measurement: Measurement) -> tuple[Residuals, np.ndarray]:
    model = sampled(solved.solution, measurement.samples)
    errors = sampling_errors(solved, measurement.samples)
    return Residuals(model, measurement.temperatures, measurement.uncertainties), errors


def _model(study: StudyFile, case: Case, sought: Sequence[Sought], solved: Solved, samples: Samples) -> Model:
    """Temperatures at the samples as a function of the parameters, on one mesh, so that it is smooth."""
    again = fixed_discretisation(solved.solution)
    reading = Reading(cache(read_power_map), cache(read_grid))

    def temperatures(values: np.ndarray) -> np.ndarray:
        """Temperatures (readings,) [K] with these values of the sought parameters, SI."""
        changed = changed_case(case, study.path.parent, texts_for(sought, values), reading)
        return sampled(again(snapped_stack(changed.stack)[0]), samples)

    return temperatures
