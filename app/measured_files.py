"""Model against measurement as files: measured.json and measured.png."""

from pathlib import Path

import numpy as np
from pydantic import BaseModel, ConfigDict

from plancha.app.fields import ZERO_CELSIUS
from plancha.app.fit_parameters import Sought
from plancha.app.measured import Agreement
from plancha.app.whole import staged
from plancha.fem.fit import Fit
from plancha.geometry.units import DIMENSIONS

FORMAT = "plancha-measured/1"


def write_agreement(folder: Path, found: Agreement, pictures: bool = True) -> list[Path]:
    """Write measured.json and measured.png, all or nothing; the paths written."""
    with staged(folder) as aside:
        (aside / "measured.json").write_text(measured_record(found).model_dump_json(indent=1), encoding="utf-8")
        if pictures:
            from plancha.app.measured_picture import measured_picture
            from plancha.app.plan_drawing import check_libraries, render, write_png

            check_libraries()
            write_png(aside / "measured.png", render(measured_picture(found)))
        names = sorted(path.name for path in aside.iterdir())
    return [folder / name for name in names]


class Record(BaseModel):
    """A table of measured.json; units stand in the keys."""

    model_config = ConfigDict(frozen=True)


class ReadingRecord(Record):
    """One reading beside the model."""

    name: str
    measured_degC: float
    uncertainty_K: float | None
    model_degC: float
    model_error_K: float
    residual_K: float
    fitted_residual_K: float | None


class ParameterRecord(Record):
    """One fitted parameter in its SI unit; an end of the interval that is not known is null."""

    name: str
    unit: str
    study: float
    fitted: float
    low_95: float | None
    high_95: float | None


class MeasuredRecord(Record):
    """measured.json: the readings (of an infrared map only what they add up to) beside the model, and the fit."""

    format: str = FORMAT
    title: str
    case: str
    readings: list[ReadingRecord]
    count: int
    root_mean_square_K: float
    mean_K: float
    largest_K: float
    largest_at: str
    fitted_root_mean_square_K: float | None
    parameters: list[ParameterRecord]
    correlation: list[list[float]]
    condition: float | None
    warnings: list[str]


def measured_record(found: Agreement) -> MeasuredRecord:
    """All of a comparison as a record."""
    fit, after, residuals = found.fit, found.after, found.residuals
    shown = range(len(found.errors)) if found.measurement.grid is None else ()
    return MeasuredRecord(
        title=found.title,
        case=found.case,
        readings=[_reading(found, number) for number in shown],
        count=len(found.errors),
        root_mean_square_K=residuals.root_mean_square,
        mean_K=residuals.mean,
        largest_K=float(residuals.kelvin[residuals.largest]),
        largest_at=found.measurement.labels[residuals.largest],
        fitted_root_mean_square_K=None if after is None else after.root_mean_square,
        parameters=[] if fit is None else [_parameter(fit, found.sought[n], n) for n in range(len(found.sought))],
        correlation=[] if fit is None else fit.correlation.tolist(),
        condition=None if fit is None else _finite(fit.condition),
        warnings=[] if fit is None else list(fit.warnings),
    )


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _parameter(fit: Fit, sought: Sought, number: int) -> ParameterRecord:
    return ParameterRecord(
        name=sought.parameter.name,
        unit=DIMENSIONS[sought.dimension].si,
        study=sought.parameter.start,
        fitted=float(fit.values[number]),
        low_95=_finite(fit.low[number]),
        high_95=_finite(fit.high[number]),
    )


def _reading(found: Agreement, number: int) -> ReadingRecord:
    measured = found.measurement
    return ReadingRecord(
        name=measured.labels[number],
        measured_degC=float(measured.temperatures[number]) - ZERO_CELSIUS,
        uncertainty_K=None if measured.uncertainties is None else float(measured.uncertainties[number]),
        model_degC=float(found.residuals.model[number]) - ZERO_CELSIUS,
        model_error_K=float(found.errors[number]),
        residual_K=float(found.residuals.kelvin[number]),
        fitted_residual_K=None if found.after is None else float(found.after.kelvin[number]),
    )
