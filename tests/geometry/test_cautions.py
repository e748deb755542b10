"""Gallium alloys against aluminium wherever the two may touch: under components, plates, fins, in patches and beside them."""

import pytest
from finned_study import FAN_CURVE, finned_plate
from small_study import DIE, chip_on_plate

from plancha.geometry.cautions import is_aluminium
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import read_study

LIQUID = '{ bond_line = "50 um", material = "gallium alloy" }'
PLATED = LIQUID.replace(" }", ', barrier = "nickel, 4 um" }')
UNDER_THE_CHIP = 'at = ["10 mm", "7 mm"], size = ["14 mm", "12 mm"]'
UNDER_ITS_CORNER = 'at = ["20 mm", "15 mm"], size = ["14 mm", "12 mm"]'
AT_ITS_RIM = 'at = ["22 mm", "9 mm"], size = ["8 mm", "8 mm"]'
BESIDE_THE_CHIP = 'at = ["26 mm", "7 mm"], size = ["8 mm", "8 mm"]'
ALUMINIUM = 'material = "aluminium 6061-T6"'


def patched(patch: str, *parts: str, layers: tuple[str, ...] = (DIE, LIQUID), plate: str = "") -> str:
    """A chip of 10 mm x 8 mm at (12 mm, 9 mm) on a plate of another metal with a patch."""
    text = chip_on_plate(*parts, layers=layers)
    return text.replace("[[component]]", f"patch = [{{ {patch} }}]\n{plate}\n[[component]]", 1)


@pytest.fixture
def told(tmp_path):
    """The faults of a study, as they are told."""

    def faults(text: str) -> list[str]:
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        (tmp_path / "fan.csv").write_text(FAN_CURVE, encoding="utf-8")
        try:
            read_study(tmp_path / "study.toml")
        except StudyError as error:
            return [str(fault) for fault in error.faults]
        return []

    return faults


@pytest.mark.parametrize("place", [UNDER_THE_CHIP, UNDER_ITS_CORNER, AT_ITS_RIM])
def test_gallium_is_refused_on_a_patch_of_aluminium_in_another_metal(told, place):
    [fault] = told(patched(f"{place}, {ALUMINIUM}"))
    assert "layer 2: gallium alloy touches a patch of plate, which is aluminium" in fault and "nickel" in fault


def test_a_patch_of_aluminium_that_the_gallium_does_not_reach_is_accepted(told):
    assert told(patched(f"{BESIDE_THE_CHIP}, {ALUMINIUM}")) == []


def test_a_patch_of_copper_under_the_gallium_is_accepted_but_aluminium_around_it_is_not(told):
    inlay = patched(f'{UNDER_THE_CHIP}, material = "copper C11000"')
    assert told(inlay) == []
    [fault] = told(inlay.replace('{ name = "metal", conductivity = "200 W/m/K" }', '"aluminium 6061-T6"', 1))
    assert "gallium alloy touches plate, which is aluminium" in fault


def test_a_stated_barrier_allows_gallium_on_a_patch_of_aluminium(told):
    assert told(patched(f"{UNDER_THE_CHIP}, {ALUMINIUM}", layers=(DIE, PLATED))) == []


def test_a_layer_between_gallium_and_the_patch_allows_it(told):
    nickel = '{ material = "nickel", thickness = "0.1 mm" }'
    assert told(patched(f"{UNDER_THE_CHIP}, {ALUMINIUM}", layers=(DIE, LIQUID, nickel))) == []


def test_a_patch_of_a_components_own_layer_is_looked_at_too(told):
    lid = '{ name = "lid", material = "copper C11000", thickness = "1 mm", patch = [{ at = ["12 mm", "9 mm"], '
    lid += f'size = ["4 mm", "4 mm"], {ALUMINIUM} }}] }}'
    [fault] = told(chip_on_plate(layers=(DIE, LIQUID, lid, '{ impedance = "9 mm^2 K/W" }')))
    assert "layer 2: gallium alloy touches a patch of chip/lid" in fault


def lid_on_plate(interface: str) -> str:
    """A second plate on the cooled side of the patched one."""
    base = patched(f"{UNDER_THE_CHIP}, {ALUMINIUM}", layers=(DIE, '{ impedance = "9 mm^2 K/W" }'))
    base = base.replace("[plate]", '[[plate]]\nname = "base"').replace("[cooling]", '[[cooling]]\non = "lid"')
    base = base.replace('limit = "none"', 'limit = "none"\non = "base"')
    lid = '[[plate]]\nname = "lid"\nsize = ["30 mm", "20 mm"]\nthickness = "1 mm"\nmaterial = "copper C11000"\non = "base"\n'
    return f"{base}\n{lid}interface = {interface}\n"


def test_gallium_between_plates_is_refused_on_a_patch_of_either(told):
    [fault] = told(lid_on_plate(LIQUID))
    assert 'plate "lid", interface: gallium alloy touches a patch of base' in fault
    assert told(lid_on_plate(PLATED)) == []


@pytest.mark.parametrize("metal", ["plate", "fins"])
def test_gallium_under_fins_is_refused_where_plate_or_fins_are_aluminium(told, metal):
    filling = f"interface = {LIQUID}"
    own = "fin metal" if metal == "fins" else "metal"
    text = finned_plate(fins=filling).replace(
        f'{{ name = "{own}", conductivity = "200 W/m/K" }}', '"aluminium 6063-T5"'
    )
    for described in ("block", "film"):
        [fault] = told(text.replace("height =", f'described_as = "{described}"\nheight =', 1))
        assert f"gallium alloy touches {metal}, which is aluminium" in fault
    assert told(text.replace('"aluminium 6063-T5"', '"copper C11000"')) == []
    assert told(text.replace('material = "gallium alloy" }', 'material = "gallium alloy", barrier = "nickel" }')) == []


def test_a_patch_of_gallium_in_aluminium_is_refused(told):
    text = patched(f'{BESIDE_THE_CHIP}, material = "gallium alloy"', layers=(DIE,))
    assert told(text) == []
    [fault] = told(text.replace('{ name = "metal", conductivity = "200 W/m/K" }', '"aluminium 6061-T6"', 1))
    assert "gallium alloy touches plate, which is aluminium" in fault


def test_fins_of_aluminium_are_aluminium_and_its_nitride_is_not():
    assert is_aluminium("fins of aluminium 6063-T5") and is_aluminium("Aluminum 1050")
    assert not is_aluminium("aluminium nitride") and not is_aluminium("fins of copper C11000")
