"""A ranking of candidates for a joint as files: rank.json, rank.csv and rank.png."""

import csv
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from plancha.app.fields import ZERO_CELSIUS
from plancha.app.rank import Ranked, Ranking, State
from plancha.app.whole import staged
from plancha.geometry.interface_table import Candidate

FORMAT = "plancha-rank/1"
LEVELS = ("low", "typical", "high")


def write_ranking(folder: Path, found: Ranking, pictures: bool = True) -> list[Path]:
    """Write rank.json, rank.csv and rank.png, all or nothing; the paths written."""
    with staged(folder) as aside:
        record = ranking_record(found)
        (aside / "rank.json").write_text(record.model_dump_json(indent=1), encoding="utf-8")
        _write_table(aside / "rank.csv", record)
        if pictures:
            from plancha.app.plan_drawing import check_libraries, render, write_png
            from plancha.app.rank_picture import rank_picture

            check_libraries()
            write_png(aside / "rank.png", render(rank_picture(found)))
        names = sorted(path.name for path in aside.iterdir())
    return [folder / name for name in names]


class Record(BaseModel):
    """A table of rank.json; units stand in the keys."""

    model_config = ConfigDict(frozen=True)


class StateRecord(Record):
    """What one impedance of the joint comes to; ``off_K`` is how far it may be off by interpolation, or by the mesh if solved."""

    impedance_mm2_K_per_W: float
    limits: str
    peak_degC: float
    margin_K: float | None
    component_peak_degC: float
    joint_degC: float | None
    off_K: float


class CandidateRecord(Record):
    """One candidate, in order of its aged margin; lists are low, typical, high."""

    rank: int
    name: str
    kind: str
    new: list[StateRecord]
    aged: list[StateRecord]
    solved: bool
    conducts_electricity: bool | None
    reworkable: bool | None
    highest_temperature_degC: float | None
    is_too_hot: bool
    outside_known_pressures: bool
    questions: list[str]
    remarks: list[str]
    source: str
    note: str


class ExcludedRecord(Record):
    """A candidate that cannot fill the joint."""

    name: str
    kind: str
    reason: str
    source: str


class RankRecord(Record):
    """rank.json: the joint, what it was solved by, and all candidates."""

    format: str = FORMAT
    title: str
    case: str
    joint: str
    component: str
    area_mm2: float
    pressure_kPa: float | None
    gap_mm: float | None
    solves: int
    interpolation_off_share: float
    checked_at_mm2_K_per_W: float
    mesh_error_K: float
    candidates: list[CandidateRecord]
    excluded: list[ExcludedRecord]
    notes: list[str]


def ranking_record(found: Ranking) -> RankRecord:
    """All of a ranking as a record."""
    return RankRecord(
        title=found.title,
        case=found.case,
        joint=found.joint,
        component=found.component,
        area_mm2=found.area * 1e6,
        pressure_kPa=None if found.pressure is None else found.pressure / 1e3,
        gap_mm=None if found.gap is None else found.gap * 1e3,
        solves=len(found.response.impedances),
        interpolation_off_share=found.response.error,
        checked_at_mm2_K_per_W=found.response.checked_at * 1e6,
        mesh_error_K=found.mesh_error,
        candidates=[_candidate(number, each) for number, each in enumerate(found.ranked, 1)],
        excluded=[_excluded(candidate, reason) for candidate, reason in found.excluded],
        notes=list(found.notes),
    )


def _candidate(number: int, each: Ranked) -> CandidateRecord:
    candidate = each.candidate
    return CandidateRecord(
        rank=number,
        name=candidate.name,
        kind=candidate.kind,
        new=[_state(state) for state in each.new],
        aged=[_state(state) for state in each.aged],
        solved=each.solved,
        conducts_electricity=candidate.conducts,
        reworkable=candidate.reworkable,
        highest_temperature_degC=_celsius(candidate.temperature_most),
        is_too_hot=each.is_too_hot,
        outside_known_pressures=each.is_outside,
        questions=list(each.questions),
        remarks=list(each.remarks),
        source=candidate.source,
        note=candidate.note,
    )


def _state(state: State) -> StateRecord:
    return StateRecord(
        impedance_mm2_K_per_W=state.impedance * 1e6,
        limits=state.limits,
        peak_degC=state.peak - ZERO_CELSIUS,
        margin_K=state.margin,
        component_peak_degC=state.own_peak - ZERO_CELSIUS,
        joint_degC=_celsius(state.joint) if state.joint > 0 else None,
        off_K=state.off,
    )


def _celsius(kelvin: float) -> float | None:
    return kelvin - ZERO_CELSIUS if kelvin == kelvin else None  # NaN is not known


def _excluded(candidate: Candidate, reason: str) -> ExcludedRecord:
    return ExcludedRecord(name=candidate.name, kind=candidate.kind, reason=reason, source=candidate.source)


def _write_table(path: Path, record: RankRecord) -> None:
    """One candidate a row, the excluded ones last."""
    heads = ["rank", "name", "kind"]
    heads += [f"impedance {age} {level} [mm^2 K/W]" for age in ("new", "aged") for level in LEVELS]
    heads += [f"margin {age} {level} [K]" for age in ("new", "aged") for level in LEVELS]
    heads += [
        "peak new [degC]",
        "peak aged [degC]",
        "limits",
        "component peak new [degC]",
        "component peak aged [degC]",
    ]
    heads += ["may be off [K]", "solved", "conducts electricity", "too hot", "excluded because", "source"]
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(heads)
        table.writerows(_cells(each) for each in record.candidates)
        blanks = [""] * (len(heads) - 5)
        table.writerows(["", each.name, each.kind, *blanks, each.reason, each.source] for each in record.excluded)


def _cells(each: CandidateRecord) -> list[str]:
    states = [*each.new, *each.aged]
    new, aged = each.new[1], each.aged[1]
    return [
        str(each.rank),
        each.name,
        each.kind,
        *(f"{state.impedance_mm2_K_per_W:.5g}" for state in states),
        *("" if state.margin_K is None else f"{state.margin_K:.3f}" for state in states),
        *(f"{value:.3f}" for value in (new.peak_degC, aged.peak_degC)),
        aged.limits,
        *(f"{value:.3f}" for value in (new.component_peak_degC, aged.component_peak_degC)),
        f"{aged.off_K:.3f}",
        _answer(each.solved),
        _answer(each.conducts_electricity),
        _answer(each.is_too_hot),
        "",
        each.source,
    ]


def _answer(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"
