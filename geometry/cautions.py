"""What can hurt people or hardware in the materials of a stack."""

from plancha.geometry.draft import Draft
from plancha.geometry.interface_choice import interfaces_of
from plancha.geometry.interface_table import UnknownCandidate, find_candidate
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import InlineMaterial, Interface

ATTACKED = ("aluminium", "aluminum")
NOT_ATTACKED = ("nitride",)  # a ceramic without free metal; aluminium silicon carbide has it


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
    """Whether gallium attacks a material as it does aluminium, by its name."""
    name = material.casefold()
    return name.startswith(ATTACKED) and not any(word in name for word in NOT_ATTACKED)


def check_gallium(draft: Draft) -> None:
    """Refuse a gallium alloy against bare aluminium: the metal crumbles, and the hardware with it."""
    for number, material, path in [*_interface_contacts(draft), *_layer_contacts(draft), *_body_contacts(draft)]:
        if is_gallium(material) and is_aluminium(draft.bodies[number].material.name):
            name = draft.bodies[number].name
            draft.fault(
                path,
                f"{material} touches {name}, which is aluminium: it attacks aluminium, which crumbles",
                hint='put a barrier between them, such as a nickel layer (or, plated, barrier = "nickel"), or take another material',
            )


Contact = tuple[int, str, Path]  # body, the material that touches it, place


def _interface_contacts(draft: Draft) -> list[Contact]:
    """Both bodies of each joint of plates, joint tables and fins whose interface says what fills it."""
    materials = {path: _attacking(each) for path, each in interfaces_of(draft.study) if path[0] != "component"}
    found: list[Contact] = []
    for joint, path in zip(draft.joints, draft.joint_paths):
        found += [(body, materials.get(path, ""), path) for body in (joint.lower, joint.upper)]
    return found


def _layer_contacts(draft: Draft) -> list[Contact]:
    """The interface layers of components that touch a solid."""
    found: list[Contact] = []
    for source, path in zip(draft.sources, draft.source_paths):
        layers = draft.study.component[int(path[1])].layers
        solids = [number for number, layer in enumerate(layers) if not layer.is_interface()]
        # The plate follows the last layer.
        for body, place in zip(source.chain, [*solids, len(layers)]):
            beside = [number for number in (place - 1, place + 1) if 0 <= number < len(layers)]
            interfaces = [number for number in beside if layers[number].is_interface()]
            found += [(body, _attacking(layers[n]), (*path, "layers", n)) for n in interfaces]
    return found


def _body_contacts(draft: Draft) -> list[Contact]:
    """Bodies in perfect contact, each with the material of the other."""
    found: list[Contact] = []
    for joint, path in zip(draft.joints, draft.joint_paths):
        if joint.impedance == 0:
            found.append((joint.lower, draft.bodies[joint.upper].material.name, path))
            found.append((joint.upper, draft.bodies[joint.lower].material.name, path))
    return found


def _filling(interface: Interface) -> str:
    """What an interface is filled with, by name; empty where only numbers are given."""
    return interface.candidate or _name(interface.material)


def _attacking(interface: Interface) -> str:
    """What of an interface touches its bodies: nothing where a barrier is stated."""
    return "" if interface.barrier is not None else _filling(interface)


def _name(choice: str | InlineMaterial | None) -> str:
    return choice.name if isinstance(choice, InlineMaterial) else choice or ""
