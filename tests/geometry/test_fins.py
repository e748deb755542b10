"""Fin banks of a study: what they are made of, how steps and patches become bodies, and what cannot be built."""

import math

import pytest
import shapely

from plancha.geometry.air import Fins
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, elevations
from plancha.geometry.faults import StudyError
from plancha.geometry.fins import homogenised
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

FINS = {
    "form": "plate fins",
    "along": "x",
    "pitch": "2 mm",
    "thickness": "0.5 mm",
    "height": "20 mm",
    "material": {"conductivity": "200 W/m/K", "density": "2700 kg/m^3"},
}
POCKET = {"center": ["30 mm", "20 mm"], "diameter": "16 mm", "height": "12 mm"}


def laid(tmp_path, *banks, **more):
    """The stack of a plate 60 x 40 x 3 mm with banks that one flow passes from the left."""
    plate = {"size": ["60 mm", "40 mm"], "thickness": "3 mm", "material": {"conductivity": "390 W/m/K"}}
    tables = [FINS | bank for bank in banks or ({},)]
    names = [table.get("name", "fins") for table in tables]
    flow = {"entry": "side", "side": "left", "fluid": "air", "rate": "10 CFM", "fins": names}
    table = {"title": "invented", "ambient": "25 degC", "plate": [plate], "fins": tables, "flow": [flow]}
    return stack_of(Study.model_validate(table | more), tmp_path)


def faults(tmp_path, *banks, **more):
    with pytest.raises(StudyError) as caught:
        laid(tmp_path, *banks, **more)
    return [str(fault) for fault in caught.value.faults]


def test_fins_count_their_gap_their_metal_and_their_flanks_per_pitch():
    fins = Fins(pitch=2e-3, height=20e-3, thickness=0.5e-3)
    assert (fins.gap, fins.solid_share) == pytest.approx((1.5e-3, 0.25))
    assert fins.surface * fins.height == pytest.approx(2 * 20 / 2)  # both flanks per area of the base


def test_pins_count_as_round_bars_in_their_field():
    pins = Fins(pitch=5e-3, height=20e-3, thickness=2e-3, is_pin=True, across=4e-3)
    assert pins.gap == pytest.approx(2e-3)
    assert pins.solid_share == pytest.approx(math.pi * 1e-3**2 / (5e-3 * 4e-3))
    assert pins.surface * pins.height == pytest.approx(math.pi * 2e-3 * 20e-3 / (5e-3 * 4e-3))


def test_a_block_conducts_along_its_fins_and_up_them_but_not_from_one_to_the_next(tmp_path):
    block = laid(tmp_path).bodies[1]
    assert block.material.conductivity == pytest.approx((50.0, 0.0, 50.0))
    assert block.material.density == pytest.approx(0.25 * 2700)
    assert block.turned == 0.0
    assert laid(tmp_path, {"along": "x"}).bodies[1].outline.equals(shapely.box(0, 0, 60e-3, 40e-3))


def test_fins_along_y_are_the_same_block_turned_a_quarter(tmp_path):
    flow = {"entry": "side", "side": "lower", "fluid": "air", "rate": "10 CFM"}
    block = laid(tmp_path, {"along": "y"}, flow=[flow]).bodies[1]
    assert block.turned == pytest.approx(math.pi / 2)


def test_pins_conduct_only_upwards(tmp_path):
    metal = laid(tmp_path).banks[0].material
    pins = Fins(pitch=5e-3, height=20e-3, thickness=2e-3, is_pin=True, across=5e-3)
    assert homogenised(metal, pins).conductivity == pytest.approx((0.0, 0.0, math.pi / 25 * 200))


def test_a_pocket_of_shorter_fins_is_one_block_under_another_with_a_hole(tmp_path):
    stack = laid(tmp_path, {"patch": [POCKET]})
    plate, foot, crown = stack.bodies
    assert (foot.name, crown.name) == ("fins/block", "fins/block 2")
    assert (foot.thickness, crown.thickness) == pytest.approx((12e-3, 8e-3))
    assert foot.outline.area == pytest.approx(plate.outline.area, rel=1e-9)
    assert plate.outline.area - crown.outline.area == pytest.approx(math.pi * 8e-3**2, rel=0.01)
    assert [(joint.lower, joint.upper, joint.impedance) for joint in stack.joints] == [(0, 1, 0.0), (1, 2, 0.0)]
    assert elevations(stack) == pytest.approx([0.0, 3e-3, 15e-3])
    assert [(block.foot, block.is_foot) for block in stack.banks[0].blocks] == [
        (0.0, True),
        (pytest.approx(12e-3), False),
    ]


def test_a_patch_of_another_pitch_stands_beside_and_does_not_touch_the_rest(tmp_path):
    patch = {"at": ["0 mm", "0 mm"], "size": ["20 mm", "40 mm"], "pitch": "4 mm"}
    stack = laid(tmp_path, {"patch": [patch]})
    assert {(joint.lower, joint.upper) for joint in stack.joints} == {(0, 1), (0, 2)}
    conductivities = sorted(body.material.conductivity[0] for body in stack.bodies[1:])
    assert conductivities == pytest.approx([25.0, 50.0])


def test_a_patch_that_splits_the_field_leaves_two_blocks(tmp_path):
    patch = {"at": ["20 mm", "0 mm"], "size": ["20 mm", "40 mm"], "height": "10 mm"}
    stack = laid(tmp_path, {"patch": [patch]})
    # One foot under all, 10 mm high; on it two crowns of 10 mm, left and right.
    assert [body.thickness for body in stack.bodies[1:]] == pytest.approx([10e-3, 10e-3, 10e-3])
    assert [body.outline.area for body in stack.bodies[2:]] == pytest.approx([20e-3 * 40e-3] * 2)


def test_a_film_lays_no_body(tmp_path):
    stack = laid(tmp_path, {"described_as": "film", "interface": {"impedance": "20 mm^2 K/W"}})
    (bank,) = stack.banks
    assert len(stack.bodies) == 1 and not stack.joints and bank.is_film
    assert bank.impedance == pytest.approx(20e-6)


def test_a_block_stands_on_its_interface_on_either_face(tmp_path):
    joint = {"interface": {"impedance": "20 mm^2 K/W"}}
    above, below = laid(tmp_path, joint), laid(tmp_path, joint | {"face": "component side"})
    assert [(j.lower, j.upper, j.impedance) for j in above.joints] == [(0, 1, pytest.approx(20e-6))]
    assert [(j.lower, j.upper, j.impedance) for j in below.joints] == [(1, 0, pytest.approx(20e-6))]
    assert (above.banks[0].face, below.banks[0].face) == (COOLED_SIDE, COMPONENT_SIDE)


def test_the_field_may_reach_beyond_the_plate_but_not_lie_beside_it(tmp_path):
    beyond = {"at": ["40 mm", "0 mm"], "size": ["40 mm", "40 mm"]}
    assert laid(tmp_path, beyond).banks[0].outline.bounds == pytest.approx((0.04, 0.0, 0.08, 0.04))
    beside = {"at": ["70 mm", "0 mm"], "size": ["40 mm", "40 mm"]}
    assert faults(tmp_path, beside)[0] == (
        "fins: the fins stand beside plate (found: x 70 mm to 110 mm, y 0 mm to 40 mm); allowed: x 0 mm to 60 mm, y 0 mm to 40 mm; "
        "hint: check at and size"
    )


def test_patches_lie_in_the_field_and_not_on_each_other(tmp_path):
    outside = {"at": ["70 mm", "0 mm"], "size": ["10 mm", "10 mm"], "height": "5 mm"}
    one = {"at": ["0 mm", "0 mm"], "size": ["10 mm", "10 mm"], "height": "5 mm"}
    other = {"at": ["5 mm", "0 mm"], "size": ["10 mm", "10 mm"], "height": "6 mm"}
    (told,) = faults(tmp_path, {"patch": [outside]})
    assert "the patch lies outside the field (found: x 70 mm to 80 mm, y 0 mm to 10 mm)" in told
    (told,) = faults(tmp_path, {"patch": [one, other]})
    assert "patches 1 and 2 lie on one spot (found: x 5 mm to 10 mm, y 0 mm to 10 mm)" in told


def test_an_unknown_plate_and_an_unknown_metal_are_told_together(tmp_path):
    told = faults(tmp_path, {"on": "plat", "material": "unobtainium"})
    assert any("no body has this name (found: plat); allowed: plate; hint: did you mean" in each for each in told)
    assert any("unobtainium" in each for each in told) and len(told) == 2
