"""Patches of plates and layers: inlays, thinner and thicker parts, turned grain; what is refused, and what is noted."""

import math
from dataclasses import replace

import pytest
from small_study import DIE, GREASE, chip_on_plate

from plancha.geometry.bodies import elevations, total_mass
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import read_study

INLAY = 'at = ["10 mm", "7 mm"], size = ["14 mm", "12 mm"]'


def study(*patches: str, plate: str = "", layers: tuple[str, ...] = (DIE, GREASE)) -> str:
    tables = ", ".join(f"{{ {patch} }}" for patch in patches)
    return chip_on_plate(layers=layers).replace("[[component]]", f"patch = [{tables}]\n{plate}\n[[component]]")


@pytest.fixture
def read(tmp_path):
    def written(text: str):
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        return read_study(tmp_path / "study.toml").cases[0].stack

    return written


@pytest.fixture
def faults(read):
    def told(text: str) -> list[str]:
        with pytest.raises(StudyError) as caught:
            read(text)
        return [str(fault) for fault in caught.value.faults]

    return told


def test_an_inlay_keeps_the_thickness_and_what_it_does_not_say_is_the_bodys(read):
    plate = read(study(f'{INLAY}, material = "copper C11000"')).bodies[0]
    [patch] = plate.patches
    assert (patch.material.name, patch.thickness, patch.turned) == ("copper C11000", plate.thickness, plate.turned)
    assert patch.outline.bounds == pytest.approx((10e-3, 7e-3, 24e-3, 19e-3))


def test_a_thinner_part_keeps_the_material_and_is_noted_with_its_cure(read):
    stack = read(study(f'{INLAY}, thickness = "1.2 mm"'))
    [patch] = stack.bodies[0].patches
    assert patch.material is stack.bodies[0].material and patch.thickness == pytest.approx(1.2e-3)
    [note] = stack.notes
    assert note.startswith("plate, patch: ") and "a step from 2 mm to 1.2 mm" in note and "write a raised foot" in note


def test_the_same_thickness_written_again_and_a_step_of_a_sheet_are_no_step(read):
    assert read(study(f'{INLAY}, thickness = "2 mm", material = "copper C11000"')).notes == ()
    assert read(study(f'{INLAY}, thickness = "1.2 mm"', plate='model = "sheet"')).notes == ()


def test_grain_turned_in_a_patch_is_turned_there_alone(read):
    grain = (
        'material = { conductivity_x = "1000 W/m/K", conductivity_y = "600 W/m/K", conductivity_through = "8 W/m/K" }'
    )
    body = read(study(f'{INLAY}, turned = "90 deg", {grain}', plate='turned = "20 deg"')).bodies[0]
    assert (body.turned, body.patches[0].turned) == pytest.approx((math.radians(20), math.pi / 2))


def test_a_patch_across_the_rim_or_a_hole_is_cut_to_the_body(read):
    text = study('at = ["35 mm", "25 mm"], size = ["20 mm", "20 mm"], material = "silver"')
    assert read(text).bodies[0].patches[0].outline.bounds == pytest.approx((35e-3, 25e-3, 40e-3, 30e-3))
    slot = 'cut_outs = [{ at = ["28 mm", "5 mm"], size = ["2 mm", "20 mm"] }]'
    text = study('at = ["26 mm", "8 mm"], size = ["6 mm", "10 mm"], material = "silver"', plate=slot)
    left, right = sorted(patch.outline.bounds for patch in read(text).bodies[0].patches)
    assert (left[0], left[2], right[0], right[2]) == pytest.approx((26e-3, 28e-3, 30e-3, 32e-3))


def test_a_patch_of_a_layer_is_that_layers(read):
    diamond = 'patch = { at = ["13 mm", "10 mm"], size = ["2 mm", "2 mm"], material = "diamond CVD thermal" }'
    spot = f'{{ material = "silicon", thickness = "0.5 mm", {diamond} }}'
    stack = read(study(f'{INLAY}, material = "silver"', layers=(spot, GREASE)))
    assert [[patch.material.name for patch in body.patches] for body in stack.bodies] == [
        ["silver"],
        ["diamond CVD thermal"],
    ]


def test_a_patch_beside_the_body_is_refused_with_both_places(faults):
    [told] = faults(study('at = ["58 mm", "8 mm"], size = ["4 mm", "4 mm"], material = "silver"'))
    assert "plate, patch: the patch lies outside plate (found: x 58 mm to 62 mm, y 8 mm to 12 mm)" in told
    assert "allowed: x 0 mm to 40 mm, y 0 mm to 30 mm" in told


def test_patches_on_one_spot_are_refused(faults):
    [told] = faults(
        study(f'{INLAY}, material = "silver"', 'center = ["23 mm", "18 mm"], diameter = "6 mm", thickness = "1 mm"')
    )
    assert "two patches of plate lie on one spot" in told and "to 24 mm" in told


def test_patches_that_only_meet_are_welcome(read):
    stack = read(
        study(
            f'{INLAY}, material = "silver"',
            'at = ["24 mm", "7 mm"], size = ["4 mm", "12 mm"], material = "copper C11000"',
        )
    )
    assert len(stack.bodies[0].patches) == 2


def test_a_patch_that_changes_nothing_or_is_none_of_a_solid_is_refused(faults):
    assert "a patch changes nothing" in faults(study(INLAY))[0]
    assert "a patch of a solid has no impedance" in faults(study(f'{INLAY}, impedance = "4 mm^2 K/W"'))[0]
    assert "the patch has no outline" in faults(study('material = "silver"'))[0]


def test_a_patch_that_crosses_itself_is_refused(faults):
    knot = 'points = [["1 mm", "1 mm"], ["9 mm", "9 mm"], ["9 mm", "1 mm"], ["1 mm", "9 mm"]], material = "silver"'
    [told] = faults(study(knot))
    assert "plate, patch: the outline crosses or touches itself" in told and "study.toml, line " in told


def test_an_unknown_material_of_a_patch_is_told_at_the_patch_with_the_likely_one(faults):
    [told] = faults(study(f'{INLAY}, material = "coper C11000"'))
    assert "plate, patch, material: no material is called" in told and "copper C11000" in told


def test_all_faults_of_patches_come_at_once_with_their_lines(faults):
    text = study(
        f'{INLAY}, material = "silver"',
        'at = ["11 mm", "8 mm"], size = ["2 mm", "2 mm"], material = "silver"',
        'center = ["60 mm", "10 mm"], diameter = "4 mm", material = "silver"',
        'at = ["1 mm", "1 mm"], size = ["2 mm", "2 mm"], material = "unobtainium"',
    )
    told = faults(text)
    line = next(number for number, row in enumerate(text.splitlines(), 1) if row.startswith("patch"))
    words = ("two patches of plate", "the patch lies outside plate", "unobtainium")
    assert [sum(word in each for each in told) for word in words] == [1, 1, 1] and len(told) == 3
    assert all(f"study.toml, line {line}, " in each for each in told)


def test_mass_counts_patches_in_place_of_what_they_replace(read):
    metal = '{ conductivity = "200 W/m/K", density = "3000 kg/m3" }'
    text = study(f'{INLAY}, material = {{ conductivity = "390 W/m/K", density = "9000 kg/m3" }}, thickness = "1 mm"')
    stack = read(text.replace('{ name = "metal", conductivity = "200 W/m/K" }', metal))
    assert total_mass(replace(stack, bodies=stack.bodies[:1]))[0] == pytest.approx(
        3000 * (1200 - 168) * 1e-6 * 2e-3 + 9000 * 168e-6 * 1e-3
    )


def test_a_raised_foot_does_not_lift_the_bodies_beyond(read):
    """Heights are those of the bodies' own thicknesses; a patch's step is in the conduction alone, as its note says."""
    plain, raised = (
        read(text) for text in (study(f'{INLAY}, material = "silver"'), study(f'{INLAY}, thickness = "3 mm"'))
    )
    assert list(elevations(plain)) == list(elevations(raised))
