"""Printed boards by their copper layers: the mixture, where it holds, and boards that cannot be built."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_study import DIE, GREASE, chip_on_plate

from plancha.geometry.chosen_materials import board_conductivity
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import read_study

LAMINATE = 'laminate = "0.3 W/m/K"'
LAYER = '{ thickness = "35 um", coverage = "80 %" }'
LAYERS = st.lists(st.tuples(st.floats(5e-6, 100e-6), st.floats(0, 1)), min_size=1, max_size=8)


def study(material: str, thickness: str = "1.6 mm") -> str:
    text = chip_on_plate(layers=(DIE, GREASE)).replace('{ name = "metal", conductivity = "200 W/m/K" }', material)
    return text.replace('thickness = "2 mm"', f'thickness = "{thickness}"')


def board(*copper: str, more: str = LAMINATE) -> str:
    return f"{{ copper = [{', '.join(copper)}], {more} }}"


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


def test_a_board_of_the_study_is_mixed_over_its_own_thickness(read):
    # By hand: 1.6 mm, two layers of 35 um, 80 % of 388 W/m/K: (2 x 35 x 310.46 + 0.3 x 1530) / 1600 = 13.8695 W/m/K.
    along, y, across = read(study(board(LAYER, LAYER))).bodies[0].material.conductivity
    assert along == y == pytest.approx(13.8695, abs=5e-5)
    assert across == pytest.approx(1.6e-3 / (1530e-6 / 0.3 + 70e-6 / 310.46), rel=1e-6)


def test_a_board_of_its_own_copper_and_a_single_layer_written_without_a_list(read):
    one = read(study(f'{{ copper = {LAYER}, {LAMINATE}, copper_conductivity = "300 W/m/K" }}')).bodies[0].material
    assert one.conductivity[0] == pytest.approx((35 * (0.8 * 300 + 0.2 * 0.3) + 1565 * 0.3) / 1600)


def test_a_board_without_copper_on_it_is_laminate_and_one_all_copper_is_copper():
    assert board_conductivity(1.6e-3, [(35e-6, 0.0)], 388.0, 0.3) == pytest.approx((0.3, 0.3))
    assert board_conductivity(1e-3, [(0.5e-3, 1.0), (0.4999999e-3, 1.0)], 388.0, 0.3)[0] == pytest.approx(388, rel=1e-6)


@given(LAYERS)
def test_a_board_conducts_between_its_series_and_its_parallel_mixture_in_any_order(layers):
    """Through it never better than along it, both between laminate and copper; the order of the layers does not matter."""
    along, across = board_conductivity(1.6e-3, layers, 388.0, 0.3)
    assert 0.3 * (1 - 1e-12) <= across <= along * (1 + 1e-12) <= 388
    assert board_conductivity(1.6e-3, layers[::-1], 388.0, 0.3) == pytest.approx((along, across), rel=1e-12)


def test_copper_thicker_than_its_board_is_refused_at_its_line(faults):
    text = study(
        board('{ thickness = "0.5 mm", coverage = "90 %" }', '{ thickness = "0.6 mm", coverage = "10 %" }'), "1 mm"
    )
    [told] = faults(text)
    assert "plate, material, copper: the copper does not fit in the board" in told
    assert "found: 1.1 mm" in told and "less than 1 mm" in told and "study.toml, line " in told


@pytest.mark.parametrize(
    ("layer", "words"),
    [
        ('{ thickness = "35 um", coverage = "180 %" }', "coverage"),
        ('{ thickness = "35 um", coverage = 80 }', "coverage"),
        ('{ thickness = "35 um" }', "coverage"),
        ('{ coverage = "80 %" }', "thickness"),
        ('{ thickness = "35", coverage = "80 %" }', "has no unit"),
        ('{ thickness = "35 um", coverage = "80 %", vias = 4 }', "vias"),
    ],
)
def test_a_copper_layer_that_cannot_be_is_refused(faults, layer, words):
    [told] = faults(study(board(layer)))
    assert words in told and "study.toml, line " in told


@pytest.mark.parametrize("more", ["", 'laminate = "0.3 W/m/K", conductivity = "5 W/m/K"'])
def test_copper_needs_its_laminate_and_nothing_else(faults, more):
    text = study(board(LAYER, more=more) if more else f"{{ copper = [{LAYER}] }}")
    [told] = faults(text)
    assert "the conductivities given do not make a material" in told and "copper + laminate" in told


def test_laminate_alone_is_no_board(faults):
    assert "do not make a material" in faults(study(f"{{ {LAMINATE} }}"))[0]


def test_a_patch_of_a_board_has_its_own_copper_and_must_hold_it(read, faults):
    patch = f'patch = {{ at = ["10 mm", "7 mm"], size = ["14 mm", "12 mm"], material = {board(LAYER, LAYER)}, THICKNESS }}\n'
    text = study(board(LAYER)).replace("[[component]]", patch + "[[component]]")
    thick = read(text.replace(", THICKNESS", "")).bodies[0].patches[0].material.conductivity[0]
    thin = read(text.replace("THICKNESS", 'thickness = "0.8 mm"')).bodies[0].patches[0].material.conductivity[0]
    assert thin - 0.3 == pytest.approx(2 * (thick - 0.3))
    [told] = faults(text.replace("THICKNESS", 'thickness = "60 um"'))
    assert "plate, patch, material, copper: the copper does not fit in the board" in told


def test_a_bond_line_is_no_board(faults):
    text = study('{ conductivity = "200 W/m/K" }').replace(
        GREASE, f'{{ bond_line = "50 um", material = {board(LAYER)} }}'
    )
    assert "the copper does not fit in the board" in faults(text)[0]
