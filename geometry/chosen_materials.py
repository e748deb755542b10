"""Materials as a study chooses them: by name, written out, or mixed from the layers of a printed board."""

import math
from collections.abc import Sequence

from plancha.geometry.draft import Draft
from plancha.geometry.key_lines import Path
from plancha.geometry.materials import Material, UnknownMaterial, find_material
from plancha.geometry.parts import InlineMaterial
from plancha.geometry.units import show

USUAL_CONDUCTIVITY = (0.02, 2500.0)  # W/m/K


def material_of(
    draft: Draft, choice: str | InlineMaterial, path: Path, thickness: float | None = None
) -> Material | None:
    """The material called so, or written out; a fault where there is none, a note where it conducts unusually.

    ``thickness`` [m] is that of the solid, which the layers of a board must fit in; None where there is no solid.
    """
    if isinstance(choice, InlineMaterial) and choice.copper:
        return _board(draft, choice, path, thickness)
    if isinstance(choice, InlineMaterial):
        material = _inline(choice)
    else:
        try:
            material = find_material(choice)
        except UnknownMaterial as error:
            draft.fault(path, error.message, None, error.allowed, error.hint)
            return None
    low, high = USUAL_CONDUCTIVITY
    is_vapour = "vapo" in material.name.casefold()  # the core of a chamber conducts as no solid does
    if not is_vapour and not all(low <= k <= high for k in material.conductivity):
        values = ", ".join(f"{k:g}" for k in dict.fromkeys(material.conductivity))
        draft.note(path, f"a conductivity of {values} W/m/K is unusual; usual are {low:g} to {high:g} W/m/K")
    return material


def _board(draft: Draft, spec: InlineMaterial, path: Path, thickness: float | None) -> Material | None:
    copper = sum(layer.thickness for layer in spec.copper)
    if thickness is None or copper >= thickness:
        allowed = "less than the board's thickness" if thickness is None else f"less than {show(thickness, 'length')}"
        draft.fault((*path, "copper"), "the copper does not fit in the board", show(copper, "length"), allowed)
        return None
    layers = [(layer.thickness, layer.coverage) for layer in spec.copper]
    along, across = board_conductivity(thickness, layers, spec.copper_conductivity, spec.laminate or 0.0)
    density = math.nan if spec.density is None else spec.density
    return Material(spec.name, (along, along, across), density=density, category="board")


def board_conductivity(
    thickness: float, copper: Sequence[tuple[float, float]], k_copper: float, k_laminate: float
) -> tuple[float, float]:
    """Conductivity of a printed board along its plan and through it [W/m/K], traces and vias smeared.

    along: sum of k_i t_i f_i over t;   through: t over the sum of t_i/k_i, a layer with coverage f as f of copper beside laminate

    Parameters
    ----------
    thickness : float, [m]
        Of the whole board.
    copper : sequence of (thickness [m], coverage [-])
    k_copper, k_laminate : float, [W/m/K]

    Notes
    -----
    Source: mixing rules (parallel along, series through), derived. Valid: coverage spread evenly over lengths that are
    small beside the heat's; a gap between two planes of copper conducts worse than this says, and vias are not counted.
    """
    rest = thickness - sum(each for each, _ in copper)
    mixed = [(each, share * k_copper + (1 - share) * k_laminate) for each, share in copper] + [(rest, k_laminate)]
    along = sum(each * k for each, k in mixed) / thickness
    return along, thickness / sum(each / k for each, k in mixed)


def _inline(spec: InlineMaterial) -> Material:
    across = spec.conductivity_through or spec.conductivity
    along = spec.conductivity_in_plane or spec.conductivity
    k = (spec.conductivity_x or along, spec.conductivity_y or along, across)
    return Material(
        name=spec.name,
        conductivity=tuple(float(value) for value in k if value is not None),  # type: ignore[arg-type]
        exponent=spec.exponent,
        temperature_reference=spec.temperature_reference,
        density=spec.density if spec.density is not None else math.nan,
    )
