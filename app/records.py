"""From findings to the records of result.json."""

import hashlib
from pathlib import Path

from plancha.app.film_records import film_records
from plancha.app.flow_records import flow_records
from plancha.app.result import (
    A_PSI,
    A_THETA,
    ZERO_CELSIUS,
    AuditRecord,
    BudgetRecord,
    CaseRecord,
    ComponentRecord,
    CouplingRecord,
    DatasheetRecord,
    EstimateRecord,
    LadderRecord,
    LinkRecord,
    LumpedRecord,
    PathRecord,
    Place,
    ProbeRecord,
    QuotientRecord,
    Result,
    RungRecord,
    SpreadingRecord,
    StepRecord,
    SustainableRecord,
)
from plancha.fem.budget import Budget
from plancha.fem.datasheet import DatasheetPoints
from plancha.fem.findings import Findings
from plancha.fem.ladder import Ladder, rung_names
from plancha.fem.lumped import Lumped
from plancha.fem.solve import Solution, slab_temperature
from plancha.geometry.bodies import FACE_NAMES, total_height, total_mass
from plancha.geometry.load_cases import texts_of
from plancha.geometry.materials import outside_range
from plancha.geometry.study_file import Case, StudyFile, files_named


def result_of(study: StudyFile, found: list[Findings]) -> Result:
    """The result of a study from the findings of its cases, in their order."""
    from importlib.metadata import version

    stack = study.cases[0].stack
    mass, unknown = total_mass(stack)
    texts = texts_of(study.cases[0].table)
    return Result(
        plancha=version("plancha"),
        title=stack.title,
        mass_g=mass * 1e3,
        mass_unknown=unknown,
        height_mm=total_height(stack) * 1e3,
        study=texts,
        files=_fingerprints(study.path.parent, files_named(study)),
        cautions=list(dict.fromkeys(line for case in study.cases for line in case.stack.cautions)),
        cases=[case_record(case, findings) for case, findings in zip(study.cases, found)],
    )


def _fingerprints(folder: Path, names: list[str]) -> dict[str, str]:
    return {name: fingerprint(folder / name) for name in names}


def fingerprint(path: Path) -> str:
    """SHA-256 of a file's contents, in hexadecimal."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def case_record(case: Case, findings: Findings) -> CaseRecord:
    """The record of one load case."""
    stack, space = findings.solution.sheets.stack, findings.solution.sheets.space
    estimate = findings.estimate
    return CaseRecord(
        name=case.name,
        changes=dict(case.changes),
        reference_degC=stack.reference - ZERO_CELSIUS,
        reference=stack.reference_name,
        limiting_component=findings.limiting.name if findings.limiting else None,
        loop_gain=findings.loop_gain,
        components=[_component(findings, number) for number in range(len(findings.components))],
        probes=[
            ProbeRecord(
                name=probe.name,
                temperature_degC=probe.temperature - ZERO_CELSIUS,
                below_hot_spot_K=probe.below_hot_spot,
            )
            for probe in findings.probes
        ],
        datasheet=[_datasheet(points) for points in findings.datasheet],
        sustainable=_sustainable(findings),
        budgets=[_budget(budget, len(stack.sources) == 1) for budget in findings.budgets],
        spreading=[_spreading(findings, number) for number in range(len(findings.spreading))],
        coupling=CouplingRecord(
            names=list(findings.coupling.names),
            mean_K_per_W=findings.coupling.mean.tolist(),
            peak_K_per_W=findings.coupling.peak.tolist(),
        ),
        lumped=[_lumped(each) for each in findings.lumped],
        ladder=[_ladder(each, rung_names(stack)) for each in findings.ladders],
        flows=flow_records(findings),
        films=film_records(findings),
        ways_out=[
            PathRecord(
                name=path.name,
                kind=path.kind,
                body=path.body,
                heat_W=path.heat,
                area_mm2=path.area * 1e6 if path.area == path.area else None,
            )
            for path in findings.audit.paths
        ],
        audit=AuditRecord(
            heat_in_W=findings.audit.heat_in,
            imbalance=findings.audit.imbalance,
            residual=findings.audit.residual,
            points=len(space.mesh.points),
            triangles=len(space.mesh.triangles),
            unknowns=findings.solution.sheets.size,
            steps=findings.solution.steps,
            accuracy_wanted=estimate.wanted if estimate else None,
            accuracy_estimated=estimate.worst if estimate else None,
            accuracy_reached=estimate.reached if estimate else None,
        ),
        notes=[*stack.notes, *space.mesh.snapped, *_range_notes(findings.solution)],
    )


def _range_notes(solution: Solution) -> list[str]:
    """Bodies whose temperatures leave the range in which their conductivity is known."""
    told = (
        (slab.body, outside_range(slab.body.material, slab_temperature(solution, slab)))
        for slab in solution.sheets.slabs
    )
    return [f"{body.name}, {words}" for body, words in told if words]


def _error(findings: Findings, number: int, quantity: int) -> float | None:
    """Estimated error of one of ``estimate.QUANTITIES`` of a source."""
    return None if findings.estimate is None else float(findings.estimate.total[number, quantity])


def _finite(value: float | None) -> float | None:
    """The value, or None where it is not a number."""
    return None if value is None or value != value else value


def _component(findings: Findings, number: int) -> ComponentRecord:
    state, reference = findings.components[number], findings.solution.sheets.stack.reference
    x, y = state.peak.point
    return ComponentRecord(
        name=state.name,
        power_W=state.power,
        asked_W=state.asked,
        peak_degC=state.peak.value - ZERO_CELSIUS,
        peak_at=Place(x_mm=x * 1e3, y_mm=y * 1e3),
        area_mean_degC=state.mean - ZERO_CELSIUS,
        power_mean_degC=state.power_mean - ZERO_CELSIUS,
        peak_rise_K=state.peak.value - reference,
        peak_error_K=_error(findings, number, 0),
        mean_error_K=_error(findings, number, 1),
        limit_degC=None if state.limit is None else state.limit - ZERO_CELSIUS,
        margin_K=state.margin,
    )


def _budget(budget: Budget, single: bool) -> BudgetRecord:
    steps = [
        StepRecord(
            name=step.name,
            kelvin=step.kelvin,
            heat_W=step.heat,
            shared=step.shared,
            resistance_K_per_W=step.kelvin / step.heat if step.heat and (single or not step.shared) else None,
        )
        for step in budget.steps
    ]
    return BudgetRecord(component=budget.component, steps=steps, total_K=budget.total, elsewhere_W=budget.elsewhere)


def _spreading(findings: Findings, number: int) -> SpreadingRecord:
    each = findings.spreading[number]
    return SpreadingRecord(
        component=each.component,
        body=each.body,
        face=FACE_NAMES[findings.solution.sheets.stack.sources[number].face],
        maximum_K_per_W=_finite(each.maximum),
        mean_K_per_W=_finite(each.mean),
        maximum_error_K_per_W=_finite(_error(findings, number, 2)),
        mean_error_K_per_W=_finite(_error(findings, number, 3)),
        share=each.share,
    )


def _sustainable(findings: Findings) -> SustainableRecord | None:
    found = findings.sustainable
    if found is None:
        return None
    return SustainableRecord(
        scaled=list(found.scaled), factor=found.factor, power_W=found.power, limited_by=found.limiting
    )


def _datasheet(points: DatasheetPoints) -> DatasheetRecord:
    case, at = points.case_temperature, points.case_point
    return DatasheetRecord(
        component=points.component,
        power_W=points.power,
        junction_peak_degC=points.junction_peak - ZERO_CELSIUS,
        junction_mean_degC=points.junction_mean - ZERO_CELSIUS,
        case_degC=None if case is None else case - ZERO_CELSIUS,
        case_at=None if at is None else Place(x_mm=at[0] * 1e3, y_mm=at[1] * 1e3),
        case_share=points.case_share,
        quotients=[
            QuotientRecord(
                symbol=each.symbol,
                start=each.start,
                end=each.end,
                value_K_per_W=each.value,
                by_mean_K_per_W=each.by_mean,
                meaning=A_THETA if each.is_resistance else A_PSI,
            )
            for each in points.quotients
        ],
    )


def _lumped(each: Lumped) -> LumpedRecord:
    return LumpedRecord(
        component=each.component,
        chain=[LinkRecord(name=link.name, resistance_K_per_W=link.resistance, heat_W=link.heat) for link in each.chain],
        estimates=[
            EstimateRecord(name=estimate.name, rise_K=estimate.rise, reason=estimate.reason)
            for estimate in each.estimates
        ],
    )


def _ladder(each: Ladder, names: tuple[str, ...]) -> LadderRecord:
    rungs: list[RungRecord] = []
    before: float | None = None
    for name, rise in zip(names, each.rises):
        change = None if rise is None or before is None else rise - before
        rungs.append(RungRecord(name=name, rise_K=rise, change_K=change))
        before = rise if rise is not None else before
    return LadderRecord(component=each.component, rungs=rungs)
