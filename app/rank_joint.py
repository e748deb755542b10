"""A joint of a study that may be filled in other ways: found by its dotted name, and laid again at any impedance."""

import copy
import difflib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from plancha.geometry.bodies import Stack
from plancha.geometry.cautions import touched_parts
from plancha.geometry.draft import Reading, overlap
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.interface_choice import interfaces_of
from plancha.geometry.key_lines import Path as Place
from plancha.geometry.load_cases import place_named
from plancha.geometry.parts import Interface
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.stack import stack_of
from plancha.geometry.study_file import Case
from plancha.geometry.validation import study_from

KEPT = ("name", "void", "void_map", "patch")  # of the joint's table, whatever fills it
LEFT_OUT = ("tilt", "bow", "bond_line_map")  # of a bond line that another material would not have
TRIALS = ("5 mm^2 K/W", "7 mm^2 K/W")  # two impedances by which the joint is found among all


@dataclass(frozen=True)
class RankedJoint:
    """A joint of a load case that may be filled by another material.

    ``place`` leads to its table in the study, ``joints`` are its numbers in the stack, ``area`` [m2] is where its bodies overlap,
    ``spec`` what the study says of it, ``touching`` the materials on both sides by body.
    """

    name: str
    case: Case
    folder: Path
    place: Place
    joints: tuple[int, ...]
    area: float
    spec: Interface | None
    touching: tuple[tuple[str, str], ...]
    reading: Reading = field(default_factory=Reading)

    @property
    def gap(self) -> float | None:
        """Gap [m] between faces that the study holds apart."""
        return None if self.spec is None else self.spec.gap

    @property
    def gap_tolerance(self) -> float:
        """Of the gap [m], to either side."""
        return 0.0 if self.spec is None else self.spec.gap_tolerance or 0.0

    @property
    def force_limit(self) -> float | None:
        """Most force [N] that the study allows a pad."""
        return None if self.spec is None else self.spec.force_limit

    @property
    def barrier(self) -> str:
        """What the study says of plating against gallium; empty where nothing."""
        return "" if self.spec is None else self.spec.barrier or ""

    @property
    def left_out(self) -> tuple[str, ...]:
        """Keys of an uneven bond line, which belong to what the study fills the joint with."""
        return tuple(key for key in LEFT_OUT if getattr(self.spec, key, None) is not None)

    def stack_at(self, impedance: float) -> Stack:
        """The stack with the joint at an impedance [m2 K/W]."""
        return _stack_with(self, f"{impedance:.12g} m^2 K/W")


def joint_named(case: Case, folder: Path, dotted: str) -> RankedJoint:
    """The joint that a dotted name, such as "processor.interface", means in a load case.

    Raises
    ------
    StudyError
        If it means no interface between two bodies; the message lists those that there are.
    """
    allowed = ", ".join(joint_names(case)[:20]) or "none: the study has no interfaces"
    try:
        place, _ = place_named(case.table, f"{dotted}.impedance")
    except StudyError as error:
        near = nearest(dotted, joint_names(case))
        found = error.faults[0]
        raise StudyError([Fault("--joint", found.message, dotted, allowed, near or found.hint)]) from None
    place = place[:-1] if place[-1] == "impedance" else place
    spec = dict(interfaces_of(case.study)).get(place)
    if spec is None and place[-1] != "interface":
        raise StudyError([Fault("--joint", "this is no interface", dotted, allowed)])
    reading = Reading(cache(read_power_map), cache(read_grid))
    joint = RankedJoint(dotted, case, folder, place, (), 0.0, spec, (), reading)
    one, other = (_stack_with(joint, text) for text in TRIALS)
    numbers = tuple(n for n, (a, b) in enumerate(zip(one.joints, other.joints)) if a.impedance != b.impedance)
    banks = [a for a, b in zip(one.banks, other.banks) if a.impedance != b.impedance]
    if not numbers and not banks:
        raise StudyError([Fault("--joint", "this interface lies between no two bodies", dotted, allowed)])
    pairs = [(one.bodies[one.joints[n].lower], one.bodies[one.joints[n].upper]) for n in numbers]
    area = sum(overlap(a.outline, b.outline) for a, b in pairs) or sum(bank.outline.area for bank in banks)
    touching = [
        part for a, b in pairs for body in (a, b) for part in touched_parts(body, a.outline.intersection(b.outline))
    ]
    for bank in banks:
        touching += [(bank.name, bank.material.name), *touched_parts(one.bodies[bank.base], bank.outline)]
    return replace(joint, joints=numbers, area=area, touching=tuple(dict.fromkeys(touching)))


def joint_names(case: Case) -> list[str]:
    """Every interface of a load case by the dotted name that means it."""
    names = []
    for place, _ in interfaces_of(case.study):
        owner = getattr(case.study, str(place[0]))[place[1]]
        if place[0] == "component":
            layer = owner.layers[int(place[3])]
            material = (
                layer.material if isinstance(layer.material, str) else getattr(layer.material, "name", "interface")
            )
            names.append(f"{owner.name}.{layer.name or material or 'interface'}")
        else:
            names.append(f"{getattr(owner, 'name', 'joint')}.interface")
    return list(dict.fromkeys(names))


def _stack_with(joint: RankedJoint, impedance: str) -> Stack:
    """The stack with the joint's table replaced by an impedance; its name, voids and patches stay."""
    table: dict[str, Any] = copy.deepcopy(dict(joint.case.table))
    inner: Any = table
    for part in joint.place[:-1]:
        inner = inner[part]
    before = inner[joint.place[-1]] if isinstance(joint.place[-1], int) else inner.get(joint.place[-1], {})
    kept = {key: before[key] for key in KEPT if key in before} if isinstance(before, dict) else {}
    inner[joint.place[-1]] = {**kept, "impedance": impedance}
    return stack_of(study_from(table), joint.folder, joint.reading)


def nearest(word: str, known: Sequence[str]) -> str:
    """A question that names the nearest of the known words; empty where none is near."""
    near = difflib.get_close_matches(word[:80], known, 1)
    return f'did you mean "{near[0]}"?' if near else ""
