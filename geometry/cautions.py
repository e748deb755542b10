"""What can hurt people or hardware in the materials of a stack."""

from plancha.geometry.draft import Draft
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import InlineMaterial

ATTACKED = ("aluminium", "aluminum")
NOT_ATTACKED = ("nitride",)  # a ceramic without free metal; aluminium silicon carbide has it


def cautions_of(draft: Draft) -> tuple[str, ...]:
    """Cautions of all materials in use, bodies and interfaces, each once."""
    lines = (f"{name}: {caution}" for name, material in draft.materials.items() for caution in material.cautions)
    return tuple(dict.fromkeys(lines))


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
                hint="put a barrier between them, such as a nickel layer, or take another material",
            )


Contact = tuple[int, str, Path]  # body, the material that touches it, place


def _interface_contacts(draft: Draft) -> list[Contact]:
    """Both bodies of each joint of plates and joint tables whose interface names a material."""
    materials: dict[Path, str] = {}
    for number, plate in enumerate(draft.study.plate):
        materials["plate", number, "interface"] = _name(getattr(plate.interface, "material", None))
    for number, joint_table in enumerate(draft.study.joint):
        materials["joint", number, "interface"] = _name(getattr(joint_table.interface, "material", None))
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
            found += [(body, _name(layers[n].material), (*path, "layers", n)) for n in interfaces]
    return found


def _body_contacts(draft: Draft) -> list[Contact]:
    """Bodies in perfect contact, each with the material of the other."""
    found: list[Contact] = []
    for joint, path in zip(draft.joints, draft.joint_paths):
        if joint.impedance == 0:
            found.append((joint.lower, draft.bodies[joint.upper].material.name, path))
            found.append((joint.upper, draft.bodies[joint.lower].material.name, path))
    return found


def _name(choice: str | InlineMaterial | None) -> str:
    return choice.name if isinstance(choice, InlineMaterial) else choice or ""
