"""Where bodies and joints differ from place to place, as tables for the terminal: patches, voids, uneven bond lines."""

import math

from plancha.app.sections import Section, section
from plancha.geometry.bodies import Body, Joint, JointPatch, Patch, Stack
from plancha.geometry.draft import span_of
from plancha.geometry.materials import Material
from plancha.geometry.units import show

MOST_ROWS = 30  # of patches that are listed one by one


def patch_tables(stack: Stack) -> list[Section]:
    """Tables of the bodies' patches and of the joints that are not the same everywhere, where there are any."""
    tables = [patches_table(stack)] if any(body.patches for body in stack.bodies) else []
    return [*tables, uneven_table(stack)] if any(is_uneven(joint) for joint in stack.joints) else tables


def four_digits(value: float) -> str:
    """A number with four digits that count, never as a power of ten below a million."""
    return f"{float(f'{value:.4g}'):g}"


def conductivity_words(material: Material) -> str:
    """`390`, `1500 / 10` in the plan and through, or `148 (T/300 K)^-1.3`; four digits that count."""
    k_x, k_y, k_z = (four_digits(k) for k in material.conductivity)
    words = k_x if k_x == k_y == k_z else f"{k_x} / {k_z}" if k_x == k_y else f"{k_x}, {k_y} / {k_z}"
    return words + (f" (T/{material.temperature_reference:g} K)^{material.exponent:g}" if material.exponent else "")


def patches_table(stack: Stack) -> Section:
    """Each patch of a body: where it lies, and what of it differs from the body."""
    rows = [_patch_row(body, patch) for body in stack.bodies for patch in body.patches]
    more = f"and {len(rows) - MOST_ROWS} more" if len(rows) > MOST_ROWS else ""
    columns = ("patch of", "from, to", "material", "k W/m/K", "thickness", "turned")
    return section("Patches: what is not said is as the body", columns, rows[:MOST_ROWS], more)


def _patch_row(body: Body, patch: Patch) -> tuple[str, ...]:
    own = patch.material != body.material
    return (
        body.name,
        span_of(patch.outline),
        patch.material.name if own else "",
        conductivity_words(patch.material) if own else "",
        show(patch.thickness, "length") if patch.thickness != body.thickness else "",
        f"{math.degrees(patch.turned):.4g} deg" if patch.turned != body.turned else "",
    )


def is_uneven(joint: Joint) -> bool:
    """Whether a joint differs from place to place."""
    return joint.conductance is not None or bool(joint.patches)


def uneven_table(stack: Stack) -> Section:
    """Each joint that is not the same everywhere: its impedance from place to place, its voids, its patches."""
    joints = [joint for joint in stack.joints if is_uneven(joint)]
    columns = ("joint", "between", "impedance", "voids", "of contact", "patches", "of contact", "their impedance")
    shown = len(columns) if any(_patches(joint) for joint in joints) else 5
    rows = [_uneven_row(stack, joint)[:shown] for joint in joints]
    return section("Joints that differ from place to place", columns[:shown], rows)


def _uneven_row(stack: Stack, joint: Joint) -> tuple[str, ...]:
    lower, upper = stack.bodies[joint.lower], stack.bodies[joint.upper]
    contact = lower.outline.intersection(upper.outline).area
    voids = [patch for patch in joint.patches if patch.conductance == 0]
    grid = joint.conductance
    return (
        joint.name,
        f"{lower.name}, {upper.name}",
        _span([joint.impedance] if grid is None else [1 / grid.values.max(), 1 / grid.values.min()]),
        *_counted(voids, contact),
        *_counted(_patches(joint), contact),
        _span([1 / patch.conductance for patch in _patches(joint)]),
    )


def _patches(joint: Joint) -> list[JointPatch]:
    return [patch for patch in joint.patches if patch.conductance > 0]


def _counted(patches: list[JointPatch], contact: float) -> tuple[str, str]:
    """How many, and their share of the contact [m2]."""
    share = 100 * sum(patch.outline.area for patch in patches) / contact
    return (str(len(patches)), f"{share:.3g} %") if patches else ("none", "")


def _span(impedances: list[float]) -> str:
    """From the least to the largest [m2 K/W]."""
    if not impedances:
        return ""
    low, high = (show(float(f"{value:.4g}"), "impedance") for value in (min(impedances), max(impedances)))
    (least, unit), (_, same) = low.split(" ", 1), high.split(" ", 1)
    return high if low == high else f"{least} to {high}" if unit == same else f"{low} to {high}"
