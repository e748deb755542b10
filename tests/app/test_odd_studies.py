"""Studies at the edge of sense, through the command line: nothing crashes, and what comes out is what physics says."""

import json
from itertools import count

import pytest

from plancha.app.cli import main

HEAD = 'title = "an odd study (invented)"\nambient = "25 degC"\n'
CHIP_LAYERS = (
    '{ name = "chip", material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm" }, { impedance = "10 mm^2 K/W" }'
)
FILM = '[cooling]\ncoefficient = "2000 W/m^2/K"\n'


def plate(name="base", at=(0, 0), more=""):
    return (
        f'[[plate]]\nname = "{name}"\nat = ["{at[0]} mm", "{at[1]} mm"]\nsize = ["40 mm", "30 mm"]\nthickness = "2 mm"\n'
        f'material = {{ conductivity = "390 W/m/K" }}\n{more}'
    )


def die(name="die", at=(10, 8), size=(10, 8), power="50 W", limit="90 degC", layers=CHIP_LAYERS, more=""):
    return (
        f'[[component]]\nname = "{name}"\nat = ["{at[0]} mm", "{at[1]} mm"]\nsize = ["{size[0]} mm", "{size[1]} mm"]\n'
        f'limit = "{limit}"\npower = "{power}"\nlayers = [{layers}]\n{more}'
    )


@pytest.fixture
def solved(tmp_path, capsys):
    """Solve a study given as text; its first case as result.json has it."""
    numbers = count()

    def case(*parts):
        folder = tmp_path / str(next(numbers))
        folder.mkdir()
        (folder / "study.toml").write_text("".join([HEAD, *parts]))
        assert main(["solve", str(folder / "study.toml"), "--no-pictures"]) == 0, capsys.readouterr().err
        return json.loads((folder / "results" / "result.json").read_text())["cases"][0]

    return case


def heat_out(case):
    return sum(path["heat_W"] for path in case["ways_out"])


@pytest.mark.parametrize("layers", [CHIP_LAYERS, CHIP_LAYERS.replace('{ conductivity = "120 W/m/K" }', '"silicon"')])
def test_without_power_everything_is_at_ambient(solved, layers):
    case = solved(plate(), die(power="0 W", layers=layers), FILM, '[[probe]]\nname = "far"\nat = ["1 mm", "1 mm"]\n')
    (found,) = case["components"]
    assert [found["peak_degC"], found["area_mean_degC"], found["power_mean_degC"]] == pytest.approx(
        [25.0] * 3, abs=1e-9
    )
    assert case["probes"][0]["temperature_degC"] == pytest.approx(25.0, abs=1e-9)
    assert heat_out(case) == pytest.approx(0.0, abs=1e-8)
    assert case["sustainable"] is None and case["budgets"] == [] and case["audit"]["accuracy_reached"]


def test_a_component_at_rest_is_only_warmed_by_the_other_as_the_coupling_says(solved):
    case = solved(plate(), die(power="0 W"), die("driver", at=(26, 18), power="10 W"), FILM)
    at_rest, driver = case["components"]
    assert 25.0 < at_rest["area_mean_degC"] < driver["area_mean_degC"]
    warmed = 10.0 * case["coupling"]["mean_K_per_W"][0][1]
    assert at_rest["area_mean_degC"] - 25.0 == pytest.approx(warmed, rel=1e-6)
    assert case["sustainable"]["power_W"] == pytest.approx(10.0 * case["sustainable"]["factor"])


def test_a_plate_without_components_takes_the_temperature_of_what_cools_it(solved):
    case = solved(plate(), FILM, '[[probe]]\nname = "spot"\nat = ["3 mm", "4 mm"]\n')
    assert case["components"] == [] and case["limiting_component"] is None
    assert case["probes"][0]["temperature_degC"] == pytest.approx(25.0, abs=1e-9)


def test_between_two_coolants_and_no_component_the_heat_passes_through(solved):
    """A series of two films and the plate: (40 - 20) K / (1/1000 + 2 mm/390 + 1/2000) over 40 x 30 mm2."""
    films = "".join(
        f'[[cooling]]\nname = "{name} air"\nface = "{name} side"\ncoefficient = "{h} W/m^2/K"\ncoolant = "{t} degC"\n'
        for name, h, t in (("cooled", 2000, 20), ("component", 1000, 40))
    )
    case = solved(plate(), films)
    expected = 20.0 * 40e-3 * 30e-3 / (1 / 1000 + 2e-3 / 390 + 1 / 2000)
    assert sorted(path["heat_W"] for path in case["ways_out"]) == pytest.approx([-expected, expected], rel=1e-9)


def test_heat_straight_onto_a_held_face_warms_nothing(solved):
    case = solved(plate(), die(layers=""), '[cooling]\nface = "component side"\nheld = "30 degC"\n')
    assert case["components"][0]["peak_degC"] == pytest.approx(30.0, abs=1e-9)
    assert heat_out(case) == pytest.approx(50.0)


def test_where_every_unknown_is_held_all_heat_goes_straight_out(solved):
    case = solved(plate(more='model = "sheet"\n'), die(layers=""), '[cooling]\nheld = "30 degC"\n')
    assert case["components"][0]["peak_degC"] == pytest.approx(30.0, abs=1e-9)
    assert heat_out(case) == pytest.approx(50.0)
    assert case["sustainable"]["factor"] is None


def test_a_chip_held_on_its_own_active_face_sends_nothing_into_the_plate(solved):
    held = '[[cooling]]\nname = "plunger"\non = "die"\nface = "component side"\nheld = "25 degC"\n'
    case = solved(plate(), die(), held, FILM.replace("[cooling]", '[[cooling]]\non = "base"'))
    (spreading,) = case["spreading"]
    assert spreading["share"] == pytest.approx(0.0, abs=1e-9) and spreading["maximum_K_per_W"] is None
    assert case["components"][0]["peak_degC"] == pytest.approx(25.0, abs=1e-9)


def test_a_plate_held_at_one_edge_only_passes_all_heat_there_and_drops_linearly(solved):
    """A strip of heat across the whole plate: beyond it T falls by P L / (k t w) to the edge."""
    strip = die(at=(30, 0), size=(10, 30), layers="", power="20 W")
    probe = '[[probe]]\nname = "half way"\nat = ["15 mm", "15 mm"]\nface = "cooled side"\n'
    case = solved(plate(more='model = "sheet"\n'), strip, '[edge]\nside = "left"\nheld = "20 degC"\n', probe)
    assert case["probes"][0]["temperature_degC"] == pytest.approx(20.0 + 20.0 * 15e-3 / (390 * 2e-3 * 30e-3), abs=1e-6)
    assert heat_out(case) == pytest.approx(20.0)


def test_without_a_limit_nothing_limits_and_the_temperatures_are_the_same(solved):
    free, limited = solved(plate(), die(limit="none"), FILM), solved(plate(), die(), FILM)
    assert free["limiting_component"] is None and free["sustainable"] is None
    assert free["components"][0]["margin_K"] is None
    assert free["components"][0]["peak_degC"] == pytest.approx(limited["components"][0]["peak_degC"], abs=1e-9)


def test_two_groups_of_bodies_know_nothing_of_each_other(solved):
    films = "".join(
        f'[[cooling]]\nname = "air {n}"\non = "{n}"\ncoefficient = "2000 W/m^2/K"\n' for n in ("base", "other")
    )
    far = solved(
        plate(),
        plate("other", at=(60, 0)),
        die(more='on = "base"\n'),
        die("b", at=(70, 8), more='on = "other"\n'),
        films,
    )
    one, other = far["components"]
    assert one["peak_degC"] == pytest.approx(other["peak_degC"], abs=2 * one["peak_error_K"])
    matrix = far["coupling"]["mean_K_per_W"]
    assert matrix[0][1] == pytest.approx(0.0, abs=1e-12) and matrix[1][0] == pytest.approx(0.0, abs=1e-12)
    assert {path["name"]: path["heat_W"] for path in far["ways_out"]} == pytest.approx(
        {"air base": 50, "air other": 50}
    )


def test_a_loose_plate_over_another_in_the_plan_stays_at_ambient(solved):
    films = "".join(
        f'[[cooling]]\nname = "air {n}"\non = "{n}"\ncoefficient = "2000 W/m^2/K"\n' for n in ("base", "other")
    )
    probe = '[[probe]]\nname = "on the other"\non = "other"\nat = ["15 mm", "12 mm"]\n'
    case = solved(plate(), plate("other"), die(more='on = "base"\n'), films, probe)
    assert case["probes"][0]["temperature_degC"] == pytest.approx(25.0, abs=1e-9)
    assert case["components"][0]["peak_degC"] > 60.0


def test_a_sheet_heated_all_over_is_at_flux_over_coefficient(solved):
    case = solved(plate(more='model = "sheet"\n'), die(at=(0, 0), size=(40, 30), layers=""), FILM)
    expected = 25.0 + 50.0 / (40e-3 * 30e-3) / 2000
    (found,) = case["components"]
    assert [found["peak_degC"], found["area_mean_degC"]] == pytest.approx([expected] * 2, abs=1e-7)


def test_a_sheet_with_heat_on_a_part_of_it_keeps_its_balance_and_is_hotter_than_the_even_one(solved):
    even = 25.0 + 50.0 / (40e-3 * 30e-3) / 2000
    case = solved(plate(more='model = "sheet"\n'), die(layers=""), FILM)
    assert case["components"][0]["peak_degC"] > case["components"][0]["area_mean_degC"] > even
    assert heat_out(case) == pytest.approx(50.0)


def test_a_limit_below_the_ambient_leaves_no_sustainable_power(solved):
    case = solved(plate(), die(limit="10 degC"), FILM)
    assert case["sustainable"]["factor"] == 0 and case["components"][0]["margin_K"] < 0


def test_a_microwatt_is_solved_as_well_as_a_kilowatt(solved):
    small, large = (solved(plate(), die(power=power, limit="none"), FILM) for power in ("1e-6 W", "1000 W"))
    rises = [case["components"][0]["peak_rise_K"] for case in (small, large)]
    assert rises[0] * 1e9 == pytest.approx(rises[1], rel=1e-3)


def test_heat_without_any_way_out_but_the_board_is_power_times_resistance(solved):
    case = solved(plate(), die(power="5 W", more='board = { resistance = "10 K/W" }\n'))
    assert case["components"][0]["area_mean_degC"] == pytest.approx(25.0 + 5.0 * 10.0, abs=1e-6)


def test_k_of_T_without_a_steady_state_is_refused_in_words(tmp_path, capsys):
    """A chip that overhangs its plate by far, silicon losing its conductivity as it gets hotter."""
    silicon = '{ material = "silicon", thickness = "0.1 mm" }, { impedance = "10 mm^2 K/W" }'
    (tmp_path / "study.toml").write_text(
        HEAD + plate() + die(at=(35, 10), size=(400, 10), power="2000 W", layers=silicon) + FILM
    )
    assert main(["solve", str(tmp_path / "study.toml"), "--no-pictures"]) == 1
    assert "may have no steady temperature" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["study.toml"]


def test_a_probe_on_an_edge_that_is_moved_onto_another_is_read_at_that_edge(solved):
    """The lid is 1 um longer than the base: the mesh makes the two edges one, and the probe on the lid's corner goes along."""
    lid = plate("lid", more='on = "base"\ninterface = "perfect"\n').replace('"40 mm"', '"40.001 mm"')
    probe = '[[probe]]\nname = "corner"\non = "lid"\nface = "cooled side"\nat = ["{x} mm", "30 mm"]\n'
    film = '[cooling]\non = "lid"\ncoefficient = "2000 W/m^2/K"\n'
    at_edge, inside = (
        solved(plate(), lid, die(more='on = "base"\n'), film, probe.format(x=x))["probes"][0]["temperature_degC"]
        for x in (40.001, 39.9)
    )
    assert at_edge == pytest.approx(inside, abs=0.01)


def test_a_body_beyond_the_range_of_its_conductivity_is_noted_with_the_numbers(tmp_path, capsys):
    """Even heat through a silicon plate: by the balance, its cooled side is at the ambient + power / (h A)."""
    silicon = plate().replace('{ conductivity = "390 W/m/K" }', '"silicon"')
    heated = die(at=(0, 0), size=(40, 30), power="10 W", limit="150 degC", layers="")
    cases = (
        '[[case]]\nname = "hot"\ndie.power = "50 W"\n[[case]]\nname = "cold"\nambient = "-40 degC"\ndie.power = "0 W"\n'
    )
    (tmp_path / "study.toml").write_text(HEAD + silicon + heated + FILM.replace("2000", "200") + cases)
    assert main(["solve", str(tmp_path / "study.toml"), "--no-pictures"]) == 0
    base, hot, cold = json.loads((tmp_path / "results" / "result.json").read_text())["cases"]
    lowest = 25 + 50 / (200 * 40e-3 * 30e-3)
    highest = hot["components"][0]["peak_degC"]
    known = "but its conductivity is known for -23.1 degC to 226.9 degC"
    assert base["notes"] == []
    assert hot["notes"] == [f"base, silicon: {lowest:.1f} degC to {highest:.1f} degC, {known}"] and highest > lowest
    assert cold["notes"] == [f"base, silicon: -40.0 degC to -40.0 degC, {known}"]
    out = " ".join(capsys.readouterr().out.split())
    assert f'Note on "hot": {hot["notes"][0]}' in out and "Further notes in result.json on cold." in out
