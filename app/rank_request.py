"""What is asked to be ranked: the study's joint, the component, the clamp and the candidates, with all faults at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from plancha.app.rank_joint import RankedJoint, joint_named, nearest
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.interface_choice import clamp_pressure
from plancha.geometry.interface_file import read_candidates
from plancha.geometry.interface_table import Candidate, shipped_candidates
from plancha.geometry.quantity import Quantity, read_quantity
from plancha.geometry.study_file import Case, read_study
from plancha.geometry.units import UnitFault

CLAMPS = {
    "--pressure": Quantity("pressure", at_least=1.0, at_most=1e9),
    "--force": Quantity("force", at_least=1e-3, at_most=1e6),
}


@dataclass(frozen=True)
class RankRequest:
    """What the command line asks for; ``pressure`` and ``force`` are texts with units."""

    study: Path
    joint: str
    case: str | None = None
    component: str | None = None
    candidates: tuple[Path, ...] = ()
    pressure: str | None = None
    force: str | None = None


def understood(request: RankRequest) -> tuple[RankedJoint, str, float | None, list[Candidate]]:
    """The joint, the component asked about, the pressure [Pa] and all candidates; or all faults at once."""
    study = read_study(request.study)
    faults: list[Fault] = []
    names = [case.name for case in study.cases]
    if request.case is not None and request.case not in names:
        faults.append(
            Fault(
                "--case",
                "no load case has this name",
                request.case,
                ", ".join(names[:20]),
                nearest(request.case, names),
            )
        )
    case = study.cases[names.index(request.case) if request.case in names else 0]
    clamps = _clamps(request, faults)
    candidates = list(shipped_candidates().values())
    for path in request.candidates:
        candidates += _own_candidates(path, candidates, faults)
    joint = None
    try:
        joint = joint_named(case, request.study.parent, request.joint)
    except StudyError as error:
        faults += error.faults
    component = _component(case, joint, request.component, faults)
    if faults or joint is None:
        raise StudyError(faults)
    pressure = clamps["--force"] / joint.area if "--force" in clamps else clamps.get("--pressure")
    if pressure is None and joint.spec is not None:
        pressure = clamp_pressure(joint.spec, joint.area)
    return joint, component, pressure, candidates


def _clamps(request: RankRequest, faults: list[Fault]) -> dict[str, float]:
    """Pressure [Pa] or force [N] that the user gives."""
    found: dict[str, float] = {}
    for option, text in (("--pressure", request.pressure), ("--force", request.force)):
        if text is not None:
            try:
                found[option] = read_quantity(text, CLAMPS[option])
            except UnitFault as error:
                faults.append(Fault(option, error.message, None, error.allowed, error.hint))
    if request.pressure is not None and request.force is not None:
        faults.append(Fault("--pressure, --force", "one of them sets the bond line", allowed="one of them"))
    return found


def _own_candidates(path: Path, known: Sequence[Candidate], faults: list[Fault]) -> list[Candidate]:
    try:
        found = read_candidates(path)
    except StudyError as error:
        faults += error.faults
        return []
    names = {each.name for each in known}
    for each in found:
        if each.name in names:
            faults.append(Fault("--candidates", "two tables have a candidate of this name", each.name, file=str(path)))
    return list(found)


def _component(case: Case, joint: RankedJoint | None, name: str | None, faults: list[Fault]) -> str:
    """The component asked about: the one named, else the joint's own, else the one that limits, here the first."""
    sources = case.stack.sources
    names = [source.name for source in sources]
    if name is not None and name not in names:
        faults.append(
            Fault("--component", "no component has this name", name, ", ".join(names[:20]), nearest(name, names))
        )
    if not names:
        faults.append(Fault("rank", "the study has no component, so there is nothing to rank by"))
        return ""
    if name is not None or joint is None:
        return name or names[0]
    owners = [source.name for source in sources if set(source.joints) & set(joint.joints)]
    return owners[0] if owners else max(sources, key=lambda source: source.power).name
