"""What `plancha check` says of parts that differ: patches of bodies, voids, patches and uneven bond lines of joints, mixed boards."""

import re

import pytest
from small_study import DIE, chip_on_plate

from plancha.app.cli import main
from plancha.app.patch_tables import conductivity_words
from plancha.geometry.chosen_materials import board_conductivity
from plancha.geometry.materials import Material

COPPER = '{ at = ["10 mm", "7 mm"], size = ["14 mm", "12 mm"], material = "copper C11000" }'
TURNED = '{ at = ["30 mm", "2 mm"], size = ["5 mm", "5 mm"], turned = "30 deg", thickness = "1.5 mm" }'
# The chip is 10 mm x 8 mm at (12 mm, 9 mm): voids of 4 and 2 mm2 are 7.5 % of it, a patch of 6 mm2 as much.
VOIDS = '{ at = ["13 mm", "10 mm"], size = ["2 mm", "2 mm"] }, { at = ["18 mm", "10 mm"], size = ["2 mm", "1 mm"] }'
PATCH = '{ at = ["13 mm", "14 mm"], size = ["3 mm", "2 mm"], impedance = "40 mm^2 K/W" }'


@pytest.fixture
def checked(tmp_path, capsys):
    """What check prints of a study, its spaces evened out."""

    def text(study: str) -> str:
        (tmp_path / "study.toml").write_text(study)
        assert main(["check", str(tmp_path / "study.toml")]) == 0, capsys.readouterr().err
        return re.sub(" +", " ", capsys.readouterr().out)

    return text


def test_a_patch_is_listed_by_its_place_and_by_what_differs_alone(checked):
    out = checked(chip_on_plate().replace("[[component]]", f"patch = [{COPPER}, {TURNED}]\n[[component]]"))
    assert "plate x 10 mm to 24 mm, y 7 mm to 19 mm copper C11000 388 \n" in out
    assert "plate x 30 mm to 35 mm, y 2 mm to 7 mm 1.5 mm 30 deg\n" in out


def test_voids_and_patches_of_a_joint_are_counted_with_their_share_of_the_contact(checked):
    joint = f'{{ name = "solder", impedance = "20 mm^2 K/W", void = [{VOIDS}], patch = [{PATCH}] }}'
    out = checked(chip_on_plate(layers=(DIE, joint)))
    assert "20 mm^2 K/W, uneven" in out
    assert "solder chip/die, plate 20 mm^2 K/W 2 7.5 % 1 7.5 % 40 mm^2 K/W\n" in out


def test_a_tilted_bond_line_shows_the_span_of_its_impedance(checked):
    joint = '{ name = "grease", bond_line = "50 um", conductivity = "5 W/m/K", tilt = ["20 um", "0 um"] }'
    out = checked(chip_on_plate(layers=(DIE, joint)))
    low, high = map(float, re.search(r"plate ([\d.]+) to ([\d.]+) mm\^2 K/W none", out).groups())
    # 40 um and 60 um at the edges over 5 W/m/K; the outermost of the field's 48 columns lie half a column within.
    assert (low, high) == pytest.approx((8 + 4 / 96, 12 - 4 / 96), abs=0.002)


def test_where_nothing_differs_nothing_is_said(checked):
    out = checked(chip_on_plate())
    assert "Patches" not in out and "from place to place" not in out and "uneven" not in out


def test_a_boards_conductivity_has_four_digits(checked):
    layers = [(35e-6, 0.9), (35e-6, 0.31)]
    along, across = board_conductivity(1.6e-3, layers, 388.0, 0.3)
    words = conductivity_words(Material("board", (along, along, across)))
    assert all(len(part.replace(".", "").lstrip("0")) <= 4 for part in words.split(" / "))
    assert [float(part) for part in words.split(" / ")] == pytest.approx([along, across], rel=5e-4)
    assert conductivity_words(Material("core", (50000.0, 50000.0, 12346.0))) == "50000 / 12350"
