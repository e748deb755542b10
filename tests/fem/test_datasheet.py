"""Data-sheet points: a theta only where the heat goes one way, a psi elsewhere, and identities that tie them to temperatures."""

import pytest

from plancha.fem.findings import findings_of, solve_stack
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import read_study

# A chip as large as its lid and its plate, joined without resistance: every watt goes straight through.
COLUMN = """
title = "a column (invented)"
ambient = "25 degC"
[plate]
size = ["20 mm", "10 mm"]
thickness = "2 mm"
material = { conductivity = "200 W/m/K" }
[[component]]
name = "chip"
at = ["0 mm", "0 mm"]
size = ["20 mm", "10 mm"]
limit = "none"
power = "50 W"
case_point = "centre"
layers = [ { name = "die", material = { conductivity = "100 W/m/K" }, thickness = "0.5 mm" },
           { impedance = "6 mm^2 K/W" },
           { name = "lid", material = { conductivity = "400 W/m/K" }, thickness = "2 mm" },
           { impedance = "20 mm^2 K/W" } ]
[cooling]
coefficient = "5000 W/m^2/K"
"""
BOARD = COLUMN.replace('case_point = "centre"', 'case_point = "centre"\nboard = { resistance = "3 K/W" }')
PROBE = '[[probe]]\nname = "rim"\nat = ["1 mm", "1 mm"]\n'


def points(text, tmp_path):
    (tmp_path / "study.toml").write_text(text)
    (found,) = findings_of(solve_stack(read_study(tmp_path / "study.toml").cases[0].stack)).datasheet
    return found, {each.symbol: each for each in found.quotients}


def test_where_all_heat_goes_one_way_theta_JC_is_the_one_dimensional_resistance(tmp_path):
    found, quotients = points(COLUMN, tmp_path)
    area = 20e-3 * 10e-3
    chip_to_lid = (0.5e-3 / 100 + 6e-6 + 2e-3 / 400) / area
    lid_to_air = (20e-6 + 2e-3 / 200 + 1 / 5000) / area
    assert set(quotients) == {"theta_JC", "theta_CA"} and found.case_share == pytest.approx(1, abs=1e-9)
    assert quotients["theta_JC"].value == pytest.approx(chip_to_lid, rel=1e-8)
    assert quotients["theta_JC"].by_mean == pytest.approx(chip_to_lid, rel=1e-8)
    assert quotients["theta_CA"].value == pytest.approx(lid_to_air, rel=1e-8)


def test_with_a_board_path_it_is_psi_and_smaller_than_theta_by_the_share_of_the_heat(tmp_path):
    _, one_way = points(COLUMN, tmp_path)
    found, quotients = points(BOARD, tmp_path)
    assert set(quotients) == {"psi_JT", "psi_CA"} and not any(each.is_resistance for each in quotients.values())
    assert 0.5 < found.case_share < 0.99
    assert quotients["psi_JT"].value == pytest.approx(found.case_share * one_way["theta_JC"].value, rel=1e-8)


@pytest.mark.parametrize(
    "text", [COLUMN, BOARD, COLUMN.replace('"20 mm", "10 mm"]\nthickness', '"60 mm", "40 mm"]\nthickness')]
)
def test_psi_times_power_and_the_case_temperature_make_the_junction(tmp_path, text):
    found, quotients = points(text + PROBE, tmp_path)
    for symbol in ("theta_JC", "psi_JT"):
        if symbol in quotients:
            each = quotients[symbol]
            assert each.value * found.power + found.case_temperature == pytest.approx(found.junction_peak, abs=1e-9)
            assert each.by_mean * found.power + found.case_temperature == pytest.approx(found.junction_mean, abs=1e-9)


def test_almost_all_heat_is_a_theta_and_a_little_less_is_not(tmp_path):
    """The board takes 0.8 %, then 1.3 % of the heat (share = other path's resistance over the sum of both)."""
    own = (0.5e-3 / 100 + 6e-6 + 2e-3 / 400 + 20e-6 + 2e-3 / 200 + 1 / 5000) / 200e-6
    for share, symbol in ((0.008, "theta_JC"), (0.013, "psi_JT")):
        board = f'board = {{ resistance = "{own * (1 - share) / share:.6g} K/W" }}\ncase_point'
        found, quotients = points(COLUMN.replace("case_point", board), tmp_path)
        assert found.case_share == pytest.approx(1 - share, abs=1e-6) and symbol in quotients


def test_another_component_or_another_coolant_makes_case_to_reference_a_psi(tmp_path):
    wide = COLUMN.replace('"20 mm", "10 mm"]\nthickness', '"60 mm", "10 mm"]\nthickness')
    other = (
        wide
        + '[[component]]\nname = "b"\nat = ["30 mm", "0 mm"]\nsize = ["9 mm", "9 mm"]\nlimit = "none"\npower = "5 W"\nlayers = []\n'
    )
    warm = wide + '[edge]\nside = "right"\nheld = "40 degC"\n'
    assert [set(points(text, tmp_path)[1]) for text in (wide, other, warm)] == [
        {"theta_JC", "theta_CA"},
        {"theta_JC", "psi_CA"},
        {"theta_JC", "psi_CA"},
    ]


def test_every_probe_has_its_psi_and_the_one_named_is_the_board(tmp_path):
    text = (
        BOARD.replace("board =", 'board_point = "rim"\nboard =')
        + PROBE
        + PROBE.replace("rim", "far").replace("1 mm", "9 mm")
    )
    _, quotients = points(text, tmp_path)
    assert set(quotients) == {"psi_JT", "psi_CA", "psi_JB", "psi_J-far"}
    assert quotients["psi_JB"].end == "board (rim)"


def test_the_case_is_cooler_towards_the_plate_that_takes_the_heat_and_hotter_in_its_corner(tmp_path):
    spread = COLUMN.replace('"20 mm", "10 mm"]\nthickness', '"60 mm", "40 mm"]\nthickness')
    places = ('"centre"', *(f'{{ at = ["{x} mm", "{y} mm"] }}' for x, y in ((10, 5), (0, 0), (20, 10))))
    centre, same, corner, inward = (points(spread.replace('"centre"', place), tmp_path)[0] for place in places)
    assert same.case_temperature == pytest.approx(centre.case_temperature, abs=1e-9)
    assert corner.case_point == (0.0, 0.0)
    assert inward.case_temperature + 0.5 < centre.case_temperature < corner.case_temperature - 0.5


def test_a_study_that_asks_for_no_point_gets_none(single):
    assert single.datasheet == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('"centre"', '"middle"'), "not one of the choices"),
        (('"centre"', '{ at = ["30 mm", "5 mm"] }'), "outside chip/lid"),
        (('"centre"', '{ at = ["3", "5 mm"] }'), "has no unit"),
        (('"centre"', "{ }"), "must be given"),
        (('"centre"', "3"), "case_point"),
        (('case_point = "centre"', 'board_point = "nowhere"'), "no probe has this name"),
    ],
)
def test_bad_points_are_refused_with_their_place(tmp_path, change, words):
    (tmp_path / "study.toml").write_text(COLUMN.replace(*change))
    with pytest.raises(StudyError) as caught:
        read_study(tmp_path / "study.toml")
    assert words in str(caught.value) and "point" in str(caught.value)
    assert caught.value.faults[0].line is not None


def test_a_component_without_layers_has_no_case(tmp_path):
    head, tail = COLUMN.split("layers =")
    (tmp_path / "study.toml").write_text(head + "layers = []\n" + tail[tail.index("[cooling]") :])
    with pytest.raises(StudyError, match="no layers, so it has no case"):
        read_study(tmp_path / "study.toml")
