"""Fans over speed as files: fan_speeds.json, fan_speeds.csv and fan_speeds.png."""

import csv
import math
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from plancha.app.fan_sweep import Comparison, FanSweep, Found, Speed
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.whole import staged

FORMAT = "plancha-fans/1"


def write_fan_speeds(folder: Path, found: Comparison, pictures: bool = True) -> list[Path]:
    """Write fan_speeds.json, fan_speeds.csv and fan_speeds.png, all or nothing; the paths written."""
    with staged(folder) as aside:
        record = comparison_record(found)
        (aside / "fan_speeds.json").write_text(record.model_dump_json(indent=1), encoding="utf-8")
        _write_table(aside / "fan_speeds.csv", record)
        if pictures:
            from plancha.app.fan_sweep_picture import fan_sweep_picture
            from plancha.app.plan_drawing import check_libraries, render, write_png

            check_libraries()
            write_png(aside / "fan_speeds.png", render(fan_sweep_picture(found)))
        names = sorted(path.name for path in aside.iterdir())
    return [folder / name for name in names]


class Record(BaseModel):
    """A table of fan_speeds.json; units stand in the keys."""

    model_config = ConfigDict(frozen=True)


class DraughtRecord(Record):
    """One driven flow at one speed."""

    flow: str
    rate_m3_per_s: float
    pressure_Pa: float
    air_power_W: float
    stalled: bool


class SpeedRecord(Record):
    """All fans at one speed; what is not known, or cannot be where ``failure`` says why, is null."""

    ratio: float
    speeds_rpm: dict[str, float]
    sound_dBA: float | None
    flows: list[DraughtRecord]
    limits: str
    peak_degC: float | None
    margin_K: float | None
    peak_rise_per_power_K_per_W: float | None
    failure: str


class FoundRecord(Record):
    """A speed that was sought, or why there is none."""

    speed: SpeedRecord | None
    words: str


class SweepRecord(Record):
    """One study's fans."""

    study: str
    case: str
    speeds: list[SpeedRecord]
    at_noise_limit: FoundRecord
    at_temperature_limit: FoundRecord
    at_equal_noise: FoundRecord | None
    mesh_error_K: float
    remarks: list[str]


class FansRecord(Record):
    """fan_speeds.json: the studies, and the sound at which they are compared."""

    format: str = FORMAT
    equal_noise_dBA: float | None
    equal_noise_from: str
    studies: list[SweepRecord]


def comparison_record(found: Comparison) -> FansRecord:
    """All of a comparison as a record."""
    return FansRecord(
        equal_noise_dBA=found.noise,
        equal_noise_from=found.noise_from,
        studies=[_sweep(sweep) for sweep in found.sweeps],
    )


def _sweep(sweep: FanSweep) -> SweepRecord:
    return SweepRecord(
        study=sweep.label,
        case=sweep.case,
        speeds=[_speed(sweep, speed) for speed in sweep.speeds],
        at_noise_limit=_found(sweep, sweep.at_noise),
        at_temperature_limit=_found(sweep, sweep.at_limit),
        at_equal_noise=None if sweep.at_equal is None else _found(sweep, sweep.at_equal),
        mesh_error_K=sweep.mesh_error,
        remarks=list(sweep.remarks),
    )


def _found(sweep: FanSweep, found: Found) -> FoundRecord:
    return FoundRecord(speed=None if found.speed is None else _speed(sweep, found.speed), words=found.words)


def _speed(sweep: FanSweep, speed: Speed) -> SpeedRecord:
    return SpeedRecord(
        ratio=speed.ratio,
        speeds_rpm={fan.name: 60 * fan.speed * speed.ratio for fan in sweep.fans},
        sound_dBA=_known(speed.level),
        flows=[
            DraughtRecord(
                flow=name,
                rate_m3_per_s=draught.rate,
                pressure_Pa=draught.pressure,
                air_power_W=draught.power,
                stalled=draught.stalled,
            )
            for name, draught in zip(sweep.driven, speed.draughts)
        ],
        limits=speed.limits,
        peak_degC=_known(speed.peak - ZERO_CELSIUS),
        margin_K=speed.margin,
        peak_rise_per_power_K_per_W=_known(speed.resistance),
        failure=speed.failure,
    )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _write_table(path: Path, record: FansRecord) -> None:
    """One speed a row, a column each for up to the most flows that a study has."""
    most = max(len(speed.flows) for study in record.studies for speed in study.speeds)
    heads = ["study", "case", "row", "speed ratio", "sound [dB(A)]", "limits", "peak [degC]", "margin [K]"]
    heads += ["peak rise per power [K/W]"]
    for number in range(1, most + 1):
        heads += [f"flow {number}", f"rate {number} [m^3/s]", f"pressure {number} [Pa]", f"air power {number} [W]"]
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow([*heads, "failure"])
        for study in record.studies:
            found = [("noise limit", study.at_noise_limit), ("temperature limit", study.at_temperature_limit)]
            if study.at_equal_noise is not None:
                found.append(("equal noise", study.at_equal_noise))
            rows = [("tried", speed) for speed in study.speeds]
            rows += [(name, each.speed) for name, each in found if each.speed is not None]
            table.writerows([study.study, study.case, name, *_cells(speed, most)] for name, speed in rows)


def _cells(speed: SpeedRecord, most: int) -> list[str]:
    def number(value: float | None) -> str:
        return "" if value is None else f"{value:.6g}"

    heat = [number(speed.peak_degC), number(speed.margin_K), number(speed.peak_rise_per_power_K_per_W)]
    flows: list[str] = []
    for flow in speed.flows:
        flows += [flow.flow, *(number(value) for value in (flow.rate_m3_per_s, flow.pressure_Pa, flow.air_power_W))]
    blanks = [""] * (4 * (most - len(speed.flows)))
    return [number(speed.ratio), number(speed.sound_dBA), speed.limits, *heat, *flows, *blanks, speed.failure]
