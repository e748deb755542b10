"""From a study to its stack: the bodies, joints, films and sources that it describes, and all that does not fit together."""

from collections.abc import Mapping
from pathlib import Path as FilePath

from plancha.geometry.bodies import Stack
from plancha.geometry.cautions import cautions_of, check_gallium
from plancha.geometry.contacts import check_contacts, loose_parts
from plancha.geometry.draft import Draft, Reading
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.fins import lay_fins
from plancha.geometry.flows import lay_flows
from plancha.geometry.layers import interface_impedance, lay_components, lay_joints, lay_plates
from plancha.geometry.shapes import shape_of
from plancha.geometry.study import Study
from plancha.geometry.surroundings import lay_cooling, lay_probes, lay_rims

__all__ = ["interface_impedance", "shape_of", "stack_faults", "stack_of"]

KINDS = ("plate", "component", "cooling", "edge", "probe", "fins", "flow", "fan")


def stack_of(study: Study, folder: FilePath, reading: Reading = Reading()) -> Stack:  # noqa: B008
    """The bodies, joints, films and sources that a study describes.

    Parameters
    ----------
    study : Study
    folder : path
        Where its CSV files are.
    reading : Reading
        How they are read.

    Raises
    ------
    StudyError
        With everything that does not fit together: unknown names and materials, bodies that do not touch, outlines across
        cut-outs, two components on one spot, parts that nothing cools, unreadable maps.
    """
    draft = Draft(study, folder, reading)
    stack = _laid(draft)
    if not draft.faults:
        draft.faults += loose_parts(stack)
    if draft.faults:
        raise StudyError(draft.faults)
    return stack


def stack_faults(study: Study, folder: FilePath, missing: Mapping[str, str], reading: Reading) -> list[Fault]:
    """What does not fit together in the remains of a study whose parts called ``missing`` are left out."""
    draft = Draft(study, folder, reading, missing)
    _laid(draft)
    return draft.faults


def _laid(draft: Draft) -> Stack:
    """Lay everything, in the order in which parts refer to each other."""
    _check_names(draft)
    lay_plates(draft)
    lay_components(draft)
    lay_joints(draft)
    lay_fins(draft)
    lay_flows(draft)
    lay_cooling(draft)
    lay_rims(draft)
    lay_probes(draft)
    check_contacts(draft)
    check_gallium(draft)
    study = draft.study
    reference, reference_name = _reference(draft)
    return Stack(
        title=study.title,
        ambient=study.ambient,
        reference=reference,
        reference_name=reference_name,
        bodies=tuple(draft.bodies),
        joints=tuple(draft.joints),
        films=tuple(draft.films),
        helds=tuple(draft.helds),
        rims=tuple(draft.rims),
        sources=tuple(draft.sources),
        probes=tuple(draft.probes),
        banks=tuple(draft.banks),
        flows=tuple(draft.flows),
        scaled=_scaled(draft),
        mesh_size=study.mesh_size,
        accuracy=study.accuracy,
        notes=tuple(dict.fromkeys(draft.notes)),
        cautions=cautions_of(draft),
    )


def _reference(draft: Draft) -> tuple[float, str]:
    """What rises are counted from, and its name: the coolant of the first cooling that has one, else of the first flow."""
    ambient = draft.study.ambient, "ambient"
    for cooling in draft.study.cooling:
        if cooling.held is None:
            return ambient if cooling.coolant is None else (cooling.coolant, f"coolant of {cooling.name}")
    return (draft.flows[0].inlet, f"inlet of {draft.flows[0].name}") if draft.flows else ambient


def _check_names(draft: Draft) -> None:
    """Names are unique over all kinds, and tell a load case what is meant."""
    seen: dict[str, str] = {}
    for kind in KINDS:
        for number, item in enumerate(getattr(draft.study, kind)):
            path = (kind, number, "name")
            if item.name in seen:
                owner = "another " + kind if seen[item.name] == kind else f"the {seen[item.name]}"
                draft.fault(path, f"{owner} has this name", item.name, "a name of its own")
            elif "/" in item.name or "." in item.name:
                draft.fault(path, "a name cannot hold / or .", item.name)
            elif item.name in {*Study.model_fields, "all", "none", "case"} - {kind}:
                draft.fault(path, "a word of the study file itself cannot be a name", item.name, "another name")
            seen.setdefault(item.name, kind)


def _scaled(draft: Draft) -> tuple[str, ...]:
    names = [component.name for component in draft.study.component]
    if draft.study.sustainable == ("all",):
        return tuple(names)
    for name in draft.study.sustainable:
        if name not in names and name not in (draft.missing or {}):
            draft.fault(("sustainable",), "no component has this name", name, "all, " + ", ".join(names[:20]))
    return draft.study.sustainable
