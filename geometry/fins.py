"""Fin banks of a draft: fields, patches, and the bodies that stand for the fins where they are described as a block."""

import math
from collections import defaultdict
from dataclasses import replace

import shapely

from plancha.geometry.air import ALONG_X, ALONG_Y, Bank, Block, Fins, Region
from plancha.geometry.air_tables import FinTable
from plancha.geometry.bodies import COOLED_SIDE, FACES, Body, Joint
from plancha.geometry.chosen_materials import material_of
from plancha.geometry.draft import Draft, overlap, overlapping, span_of
from plancha.geometry.key_lines import Path
from plancha.geometry.layers import interface_impedance
from plancha.geometry.materials import Material
from plancha.geometry.shapes import shape_of

DIRECTIONS = {"x": ALONG_X, "y": ALONG_Y, None: ALONG_X}
SAME_HEIGHT = 1e-9  # m


def lay_fins(draft: Draft) -> None:
    """Add every bank whose plate, field and material are good, with the bodies that stand for its fins."""
    for number, table in enumerate(draft.study.fins):
        _lay_bank(draft, table, ("fins", number))


def _lay_bank(draft: Draft, table: FinTable, path: Path) -> None:
    base = draft.plate(table.on, (*path, "on") if table.on else path)
    material = material_of(draft, table.material, (*path, "material"))
    if base is None or material is None:
        return
    field = _field(draft, table, base, path)
    regions = _regions(draft, table, field, path)
    impedance, _ = interface_impedance(draft, table.interface, (*path, "interface"))
    if regions is None:
        return
    bank = Bank(
        name=table.name,
        base=base,
        face=FACES[table.face],
        outline=field,
        along=DIRECTIONS[table.along],
        material=material,
        tip_gap=table.tip_gap,
        regions=regions,
        impedance=impedance,
    )
    if table.described_as == "block":
        bank = replace(bank, blocks=_blocks(draft, bank, impedance, path))
    draft.banks.append(bank)
    draft.bank_paths.append(path)


def _field(draft: Draft, table: FinTable, base: int, path: Path) -> shapely.Polygon:
    whole = draft.bodies[base].outline
    if table.size is None or table.at is None:
        return shapely.box(*whole.bounds)
    (x, y), (width, height) = table.at, table.size
    field = shapely.box(x, y, x + width, y + height)
    if not overlap(field, whole):
        name = draft.bodies[base].name
        draft.fault(path, f"the fins stand beside {name}", span_of(field), span_of(whole), "check at and size")
    return field


def _regions(draft: Draft, table: FinTable, field: shapely.Polygon, path: Path) -> tuple[Region, ...] | None:
    """The parts of a field with equal fins: its patches, and what they leave; None where a patch is at fault."""
    around = _fins(table, table.pitch, table.height)
    shapes, found, good = [], [], True
    for number, patch in enumerate(table.patch):
        at = (*path, "patch", number)
        try:
            shape = shape_of(patch).intersection(field)
        except ValueError as error:
            draft.fault(at, str(error))
            return None
        if not overlap(shape, field):
            draft.fault(at, "the patch lies outside the field", span_of(shape_of(patch)), span_of(field))
            good = False
        shapes.append(shape)
        found.append(_fins(table, patch.pitch or table.pitch, patch.height or table.height))
    for one, other in overlapping(shapes):
        message = f"patches {one + 1} and {other + 1} lie on one spot"
        draft.fault((*path, "patch", other), message, span_of(shapes[one].intersection(shapes[other])))
        good = False
    rest = field.difference(shapely.union_all(shapes)) if shapes else field
    regions = [Region(part, fins) for shape, fins in zip(shapes, found) for part in _polygons(shape)]
    regions += [Region(part, around) for part in _polygons(rest)]
    return tuple(regions) if good else None


def _fins(table: FinTable, pitch: float, height: float) -> Fins:
    is_pin = table.form == "pins"
    across = (table.pitch_across or pitch) if is_pin else math.nan
    return Fins(pitch, height, table.thickness, is_pin, across, table.rows == "staggered")


def _polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon) and part.area > 0]


def _blocks(draft: Draft, bank: Bank, impedance: float, path: Path) -> tuple[Block, ...]:
    """Bodies for the fins: per pitch one slice from each height to the next, each on the one before in perfect contact.

    Fins of one pitch run on under a step of their height; fins of different pitch do not meet.
    """
    alike: dict[tuple[float, float], list[Region]] = defaultdict(list)
    for region in bank.regions:
        alike[region.fins.pitch, region.fins.across if region.fins.is_pin else 0.0].append(region)
    blocks: list[Block] = []
    for regions in alike.values():
        foot, below = 0.0, [(bank.base, draft.bodies[bank.base].outline, impedance)]
        for height in sorted({region.fins.height for region in regions}):
            reaching = [region for region in regions if region.fins.height > height - SAME_HEIGHT]
            shape = shapely.union_all([region.outline for region in reaching])
            fins = replace(reaching[0].fins, height=height - foot)
            slices = [_slice(draft, bank, part, fins, path) for part in _polygons(shape)]
            for body in slices:
                _stand(draft, bank, body, below, path)
            blocks += [Block(body, fins, foot, foot == 0.0) for body in slices]
            foot, below = height, [(body, draft.bodies[body].outline, 0.0) for body in slices]
    return tuple(blocks)


def _slice(draft: Draft, bank: Bank, shape: shapely.Polygon, fins: Fins, path: Path) -> int:
    numbered = (f"{bank.name}/block {number}" for number in range(2, len(draft.numbers) + 3))
    name = next(each for each in (f"{bank.name}/block", *numbered) if each not in draft.numbers)
    turned = math.pi / 2 if bank.along == ALONG_Y else 0.0
    return draft.lay(Body(name, shape, fins.height, homogenised(bank.material, fins), turned), path)


def homogenised(metal: Material, fins: Fins) -> Material:
    """A bank of fins as one material: along plate fins and up them the metal's conduction on its share of the plan; across, none."""
    share, k = fins.solid_share, metal.conductivity[0]
    return replace(
        metal,
        name=f"fins of {metal.name}",
        conductivity=(0.0 if fins.is_pin else share * k, 0.0, share * k),
        density=share * metal.density,
        conductivity_range=(math.nan, math.nan),
        conductivity_range_through=(math.nan, math.nan),
    )


def _stand(draft: Draft, bank: Bank, body: int, below: list[tuple[int, shapely.Polygon, float]], path: Path) -> None:
    """Join a slice to what it stands on."""
    for foot, outline, impedance in below:
        if overlap(outline, draft.bodies[body].outline):
            lower, upper = (foot, body) if bank.face == COOLED_SIDE else (body, foot)
            name = f"{draft.bodies[bank.base].name} to {bank.name}" if foot == bank.base else "perfect contact"
            draft.joints.append(Joint(name, lower, upper, impedance))
            draft.joint_paths.append((*path, "interface"))
