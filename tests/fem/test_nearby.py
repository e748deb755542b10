"""Problems near a solved one: their answers are those of a solve by itself, which is done apart with a factor of its own."""

from dataclasses import replace

import numpy as np
import pytest

from plancha.fem.nearby import NotNearby, is_within_reach, nearby, neighbourhood_of
from plancha.fem.plan import plan_space
from plancha.fem.refinement import refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.study_file import changed_case, read_study

STUDY = """
title = "Neighbours (invented)"
ambient = "30 degC"
[[plate]]
size = ["60 mm", "40 mm"]
thickness = "3 mm"
material = {{ conductivity = "{k}" {law} }}
[[component]]
name = "chip"
at = ["10 mm", "10 mm"]
size = ["12 mm", "10 mm"]
limit = "none"
power = "60 W"
layers = [ {{ name = "die", material = {{ conductivity = "120 W/m/K" }}, thickness = "0.6 mm" }},
           {{ name = "paste", impedance = "12 mm^2 K/W" }} ]
[[component]]
name = "other"
at = ["40 mm", "20 mm"]
size = ["8 mm", "8 mm"]
limit = "none"
power = "15 W"
layers = []
{cooling}
"""
FILM = '[cooling]\ncoefficient = "1500 W/m^2/K"\n'
HELD = '[cooling]\ncoefficient = "300 W/m^2/K"\n[edge]\nside = "left"\nheld = "20 degC"\n'


class Bench:
    """A study on one mesh: its sheets after changes, by the names of load cases."""

    def __init__(self, folder, **parts):
        path = folder / "study.toml"
        path.write_text(STUDY.format(**{"k": "390 W/m/K", "law": "", "cooling": FILM, **parts}))
        self.folder, self.case = folder, read_study(path).cases[0]
        stack, _ = snapped_stack(self.case.stack)
        self.space, self.through = plan_space(refined(plan_mesh(stack))), through_of(stack)
        self.first = solve(self.sheets())

    def sheets(self, **changes):
        case = changed_case(self.case, self.folder, {k: v for k, v in changes.items()}) if changes else self.case
        stack, _ = snapped_stack(case.stack)
        return sheets_of(stack, self.space, self.through)


CHANGES = [
    {"plate.thickness": "2 mm"},
    {"chip.paste.impedance": "30 mm^2 K/W"},
    {"cooling.coefficient": "900 W/m^2/K"},
    {"chip.power": "90 W", "ambient": "45 degC"},
    {"chip.die.thickness": "0.3 mm", "plate.thickness": "4 mm", "other.power": "3 W"},
    {"plate.material.conductivity": "180 W/m/K"},
]


@pytest.mark.parametrize("cooling", [FILM, HELD], ids=["film", "held edge"])
def test_answers_are_those_of_a_solve_by_itself(tmp_path, cooling):
    bench = Bench(tmp_path, cooling=cooling)
    around = neighbourhood_of(bench.first)
    for changes in CHANGES:
        sheets = bench.sheets(**changes)
        found, around = nearby(around, sheets, settled=1e-6)
        alone = solve(sheets)
        rise = alone.temperature - sheets.stack.reference
        # A millionth of the heat out of balance, however it is spread, may be ten times as much where it gathers.
        assert np.abs(found.temperature - alone.temperature).max() < 1e-5 * rise.max()


def test_what_is_out_of_balance_bounds_how_far_quick_answers_are_off(tmp_path):
    bench = Bench(tmp_path)
    around = neighbourhood_of(bench.first)
    for changes in CHANGES:
        sheets = bench.sheets(**changes)
        found, around = nearby(around, sheets)
        alone = solve(sheets)
        assert np.abs(found.temperature - alone.temperature).max() < 0.02 * (
            alone.temperature.max() - sheets.stack.reference
        )


def test_the_second_time_an_answer_needs_no_step(tmp_path):
    bench = Bench(tmp_path)
    sheets = bench.sheets(**CHANGES[0])
    first, around = nearby(neighbourhood_of(bench.first), sheets)
    again, same = nearby(around, sheets)
    assert first.steps > 1 and again.steps == 1 and same is around


def test_a_neighbourhood_stays_bounded_and_its_space_orthonormal(tmp_path):
    bench = Bench(tmp_path)
    around = neighbourhood_of(bench.first)
    for number in range(60):
        changes = {
            "plate.thickness": f"{1.5 + 0.05 * number:.2f} mm",
            "chip.paste.impedance": f"{5 + number % 7} mm^2 K/W",
        }
        _, around = nearby(around, bench.sheets(**changes), settled=1e-4)
    count = around.basis.shape[1]
    assert count <= 40
    assert np.abs(around.basis.T @ around.basis - np.eye(count)).max() < 1e-12


def test_conductivity_that_follows_temperature_goes_with_its_mean(tmp_path):
    bench = Bench(tmp_path, law=', exponent = -1.0, temperature_reference = "300 K"')
    sheets = bench.sheets(**{"chip.power": "120 W", "plate.thickness": "2.5 mm"})
    found, _ = nearby(neighbourhood_of(bench.first), sheets, settled=1e-6)
    alone, frozen = solve(sheets), solve(bench.sheets())
    rise = alone.temperature.max() - sheets.stack.reference
    assert abs(found.temperature.max() - alone.temperature.max()) < 0.01 * rise
    assert alone.temperature.max() - frozen.temperature.max() > 0.3 * rise  # the change itself is large


def test_a_material_that_conducts_otherwise_along_and_across_is_no_neighbour_of_one_piece(tmp_path):
    bench = Bench(tmp_path)
    body = bench.case.stack.bodies[0]
    turned = replace(body, material=replace(body.material, conductivity=(390.0, 100.0, 390.0)))
    stack = replace(bench.case.stack, bodies=(turned, *bench.case.stack.bodies[1:]))
    with pytest.raises(NotNearby):
        nearby(neighbourhood_of(bench.first), sheets_of(stack, bench.space, bench.through))


def test_films_that_follow_their_temperature_are_out_of_reach(tmp_path):
    cooling = '[cooling]\nnatural = "standing plate"\nlength = "40 mm"\nemissivity = 0.8\n'
    assert not is_within_reach(Bench(tmp_path, cooling=cooling).sheets())
    assert is_within_reach(Bench(tmp_path).sheets())
