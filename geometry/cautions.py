"""What can hurt people or hardware in the materials of a stack."""

from dataclasses import dataclass

import shapely

from plancha.geometry.bodies import Body, Joint
from plancha.geometry.draft import Draft
from plancha.geometry.interface_choice import interfaces_of
from plancha.geometry.interface_table import UnknownCandidate, find_candidate
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import InlineMaterial, Interface

ATTACKED = ("aluminium", "aluminum")
NOT_ATTACKED = ("nitride",)  # a ceramic without free metal; aluminium silicon carbide has it
OF_FINS = "fins of "  # how the material of a bank of fins is called
CURE = 'put a barrier between them, such as a nickel layer (or, plated, barrier = "nickel"), or take another material'


def cautions_of(draft: Draft) -> tuple[str, ...]:
    """Cautions of all materials in use, bodies and interfaces, each once."""
    lines = [f"{name}: {caution}" for name, material in draft.materials.items() for caution in material.cautions]
    return tuple(dict.fromkeys([*lines, *_candidate_cautions(draft)]))


def _candidate_cautions(draft: Draft) -> list[str]:
    """Cautions of the candidates that interfaces name; and what a barrier against gallium rests on."""
    lines = []
    for _, interface in interfaces_of(draft.study):
        try:
            found = find_candidate(interface.candidate) if interface.candidate is not None else None
        except UnknownCandidate:  # told where it is laid
            continue
        lines += [f"{found.name}: {caution}" for caution in found.cautions] if found else []
        if interface.barrier is not None and is_gallium(_filling(interface)):
            words = "keeps the metal below from crumbling only while it is whole: no scratch, no bare edge"
            lines.append(f"{_filling(interface)}: the barrier, {interface.barrier}, {words}")
    return lines


def is_gallium(material: str) -> bool:
    """Whether a material is a gallium alloy that is liquid near room temperature, by its name."""
    name = material.casefold()
    return name.startswith("gallium alloy") or "liquid metal" in name


def is_aluminium(material: str) -> bool:
    """Whether gallium attacks a material as it does aluminium, by its name; fins of it count."""
    name = material.casefold().removeprefix(OF_FINS)
    return name.startswith(ATTACKED) and not any(word in name for word in NOT_ATTACKED)


def touched_parts(body: Body, where: shapely.Geometry) -> list[tuple[str, str]]:
    """The parts of a body that something liquid over ``where`` of its face may touch: in words, and the material's name.

    The body's own material always counts, for a liquid creeps beyond the rim of an inlay; patches where they reach the spot.
    """
    reached = [patch for patch in body.patches if patch.outline.intersects(where)]
    patches = {patch.material.name: (f"a patch of {body.name}", patch.material.name) for patch in reached}
    return [(body.name, body.material.name), *patches.values()]


@dataclass(frozen=True)
class Contact:
    """A body and what touches it: the material's name, where in the plan, and where the study says so."""

    body: int
    material: str
    where: shapely.Geometry
    path: Path


def check_gallium(draft: Draft) -> None:
    """Refuse a gallium alloy against bare aluminium: the metal crumbles, and the hardware with it."""
    contacts = [*_interface_contacts(draft), *_layer_contacts(draft), *_fin_contacts(draft), *_body_contacts(draft)]
    told: dict[tuple[Path, str], None] = {}
    for contact in contacts:
        for name, material in touched_parts(draft.bodies[contact.body], contact.where):
            if is_gallium(contact.material) and is_aluminium(material):
                words = f"{contact.material} touches {name}, which is aluminium: it attacks aluminium, which crumbles"
                told[contact.path, words] = None
    for path, words in told:
        draft.fault(path, words, hint=CURE)


def _interface_contacts(draft: Draft) -> list[Contact]:
    """Both bodies of each joint of plates and joint tables whose interface says what fills it."""
    materials = {path: _attacking(each) for path, each in interfaces_of(draft.study) if path[0] in ("plate", "joint")}
    found: list[Contact] = []
    for joint, path in zip(draft.joints, draft.joint_paths):
        where = _overlap(draft, joint)
        found += [Contact(body, materials.get(path, ""), where, path) for body in (joint.lower, joint.upper)]
    return found


def _layer_contacts(draft: Draft) -> list[Contact]:
    """The interface layers of components that touch a solid."""
    found: list[Contact] = []
    for source, path in zip(draft.sources, draft.source_paths):
        layers = draft.study.component[int(path[1])].layers
        # The plate follows the last layer.
        solids = [number for number, layer in enumerate(layers) if not layer.is_interface()] + [len(layers)]
        for place, joint in enumerate(source.joints):
            where, between = _overlap(draft, draft.joints[joint]), range(solids[place] + 1, solids[place + 1])
            ends = [(source.chain[place], between[0]), (source.chain[place + 1], between[-1])] if between else []
            found += [Contact(body, _attacking(layers[n]), where, (*path, "layers", n)) for body, n in ends]
    return found


def _fin_contacts(draft: Draft) -> list[Contact]:
    """What lies between fins and their plate, which touches the plate; a fault where it attacks the fins."""
    found: list[Contact] = []
    for bank, path in zip(draft.banks, draft.bank_paths):
        interface = draft.study.fins[int(path[1])].interface
        material = _attacking(interface) if isinstance(interface, Interface) else ""
        at = (*path, "interface")
        found.append(Contact(bank.base, material, bank.outline, at))
        if is_gallium(material) and is_aluminium(bank.material.name):
            words = f"{material} touches {bank.name}, which is aluminium: it attacks aluminium, which crumbles"
            draft.fault(at, words, hint=CURE)
    return found


def _body_contacts(draft: Draft) -> list[Contact]:
    """Bodies in perfect contact, each with the materials of the other; and the parts of one body, which lie side by side."""
    found: list[Contact] = []
    for joint, path in zip(draft.joints, draft.joint_paths):
        if joint.impedance == 0:
            for one, other in (joint.lower, joint.upper), (joint.upper, joint.lower):
                found += [Contact(one, *each, path) for each in _parts_at(draft, other, _overlap(draft, joint))]
    for number, (body, path) in enumerate(zip(draft.bodies, draft.body_paths)):
        found += [Contact(number, *each, path) for each in _parts_at(draft, number, body.outline) if body.patches]
    return found


def _parts_at(draft: Draft, body: int, where: shapely.Geometry) -> list[tuple[str, shapely.Geometry]]:
    """The materials of a body's parts on a spot, each with its share of the spot."""
    parts = [(part.material.name, part.outline.intersection(where)) for part in draft.bodies[body].parts]
    return [(material, spot) for material, spot in parts if not spot.is_empty]


def _overlap(draft: Draft, joint: Joint) -> shapely.Geometry:
    """Where the two bodies of a joint touch."""
    return draft.bodies[joint.lower].outline.intersection(draft.bodies[joint.upper].outline)


def _filling(interface: Interface) -> str:
    """What an interface is filled with, by name; empty where only numbers are given."""
    return interface.candidate or _name(interface.material)


def _attacking(interface: Interface) -> str:
    """What of an interface touches its bodies: nothing where a barrier is stated."""
    return "" if interface.barrier is not None else _filling(interface)


def _name(choice: str | InlineMaterial | None) -> str:
    return choice.name if isinstance(choice, InlineMaterial) else choice or ""
