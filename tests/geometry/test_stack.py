"""The stack of a study: what does not fit together is refused, what is unusual is noted, what can hurt is said."""

import numpy as np
import pytest

from plancha.geometry.bodies import elevations
from plancha.geometry.faults import StudyError
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

SILICON = {"material": "silicon", "thickness": "0.5 mm"}
GREASE = {"impedance": "10 mm^2 K/W"}


def chip(name="chip", at=("40 mm", "30 mm"), size=("20 mm", "20 mm"), layers=(SILICON, GREASE), **more):
    table = {"name": name, "at": list(at), "size": list(size), "limit": "none", "power": "50 W", "layers": list(layers)}
    return table | more


def plate(name="plate", size=("100 mm", "80 mm"), **more):
    return {"name": name, "size": list(size), "thickness": "3 mm", "material": "copper C11000"} | more


def stack(tmp_path, *components, plates=None, cooling=None, **more):
    table = {"title": "invented", "ambient": "35 degC", "plate": plates or [plate()], "component": list(components)}
    table["cooling"] = [{"coefficient": "2000 W/m^2/K"}] if cooling is None else cooling
    return stack_of(Study.model_validate(table | more), tmp_path)


def faults(tmp_path, *components, **more):
    with pytest.raises(StudyError) as caught:
        stack(tmp_path, *components, **more)
    return [str(fault) for fault in caught.value.faults]


def test_the_chain_runs_from_the_chip_to_the_plate_and_gaps_raise_the_plate(tmp_path):
    bond = {"bond_line": "50 um", "conductivity": "5 W/m/K", "contact": "2 mm^2 K/W"}
    laid = stack(tmp_path, chip(layers=[SILICON, bond]))
    (source,) = laid.sources
    assert [laid.bodies[body].name for body in source.chain] == ["chip/silicon", "plate"]
    assert laid.joints[0].impedance == pytest.approx(50e-6 / 5 + 2e-6)
    heights = elevations(laid)
    assert heights[source.chain[1]] - heights[source.chain[0]] == pytest.approx(0.5e-3 + 50e-6)


def test_two_components_on_one_spot_are_refused_and_two_side_by_side_are_not(tmp_path):
    assert faults(tmp_path, chip(), chip("other", ("59 mm", "30 mm"))) == [
        'component "other": other/silicon and chip/silicon lie on one spot of plate, component side '
        "(found: x 59 mm to 60 mm, y 30 mm to 50 mm); hint: move one of them"
    ]
    assert len(stack(tmp_path, chip(), chip("other", ("60 mm", "30 mm"))).sources) == 2


def test_heat_directly_on_a_face_takes_its_spot(tmp_path):
    bare = chip("bare", ("59 mm", "30 mm"), layers=[])
    assert faults(tmp_path, chip(), bare) == [
        'component "bare": the heat of bare and chip/silicon lie on one spot of plate, component side '
        "(found: x 59 mm to 60 mm, y 30 mm to 50 mm); hint: move one of them"
    ]
    twice = faults(tmp_path, chip(layers=[]), bare)
    assert "the heat of bare and the heat of chip lie on one spot" in twice[0]
    assert len(stack(tmp_path, chip(), chip("far", layers=[], face="cooled side")).sources) == 2


def test_heat_beyond_the_plate_would_be_lost_and_is_refused(tmp_path):
    assert faults(tmp_path, chip(at=("90 mm", "30 mm"), layers=[])) == [
        'component "chip": 50 % of the heat of chip lies beyond plate (found: x 90 mm to 110 mm, y 30 mm to 50 mm); '
        "allowed: x 0 mm to 100 mm, y 0 mm to 80 mm; hint: check at and size"
    ]


def test_heat_beyond_a_smaller_chip_is_refused(tmp_path):
    small = SILICON | {"at": ["40 mm", "30 mm"], "size": ["10 mm", "20 mm"]}
    assert "50 % of the heat of chip lies beyond chip/silicon" in faults(tmp_path, chip(layers=[small, GREASE]))[0]


def test_a_seat_that_hangs_free_is_noted_with_its_share(tmp_path):
    (note,) = stack(tmp_path, chip(at=("90 mm", "30 mm"))).notes
    assert note == 'component "chip": 50 % of its seat hangs free, beyond plate'


def test_a_component_beside_its_plate_is_refused(tmp_path):
    assert faults(tmp_path, chip(at=("100 mm", "30 mm"))) == [
        'component "chip", layer 2: chip/silicon and plate do not touch: their outlines do not overlap; '
        "hint: check at, size and on"
    ]


def test_a_component_across_a_cut_out_is_refused_unless_it_has_the_same_hole(tmp_path):
    hole = {"at": ["45 mm", "35 mm"], "size": ["4 mm", "4 mm"]}
    holed = [plate(cut_outs=[hole])]
    assert faults(tmp_path, chip(), plates=holed) == [
        'component "chip": chip lies across a cut-out of plate (found: x 45 mm to 49 mm, y 35 mm to 39 mm); '
        "hint: move the component or the cut-out"
    ]
    assert stack(tmp_path, chip(cut_outs=[hole]), plates=holed).sources[0].outline.area == pytest.approx(384e-6)


def test_an_outline_that_crosses_itself_is_refused(tmp_path):
    corners = [["0 mm", "0 mm"], ["9 mm", "9 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]]
    crossed = {"name": "p", "points": corners, "thickness": "1 mm", "material": "copper C11000"}
    assert "the outline crosses or touches itself" in faults(tmp_path, plates=[crossed])[0]


def test_a_part_that_nothing_cools_is_refused(tmp_path):
    apart = plate("apart", at=["200 mm", "0 mm"])
    said = faults(
        tmp_path, chip(on="plate"), plates=[plate(), apart], cooling=[{"coefficient": "9 W/m^2/K", "on": "plate"}]
    )
    assert said == [
        "cooling: nothing cools this part (found: apart); allowed: a film, a held face or edge, or a joint to a body that "
        "has one; hint: add [cooling], or on = ... with an interface"
    ]


def test_cooling_on_a_covered_face_cools_nothing(tmp_path):
    lid = plate("lid", on="plate", interface="perfect")
    said = faults(tmp_path, plates=[plate(), lid], cooling=[{"coefficient": "9 W/m^2/K", "on": "plate"}])
    assert said[0] == (
        "cooling: cooling cools nothing: other bodies cover the cooled side of plate; hint: check on and face"
    )


def test_two_films_on_one_spot_are_refused_and_two_areas_are_not(tmp_path):
    left = {"at": ["0 mm", "0 mm"], "size": ["50 mm", "80 mm"]}
    right = left | {"at": ["50 mm", "0 mm"]}
    films = [{"name": "a", "coefficient": "9 W/m^2/K", "area": left}, {"name": "b", "held": "25 degC", "area": right}]
    assert len(stack(tmp_path, chip(), cooling=films).films) == 1
    del films[1]["area"]
    assert faults(tmp_path, chip(), cooling=films) == [
        'cooling "b": "a" and "b" cool the same spot; hint: give each its own area or face'
    ]


def test_a_probe_outside_its_body_is_refused(tmp_path):
    assert faults(tmp_path, chip(), probe=[{"name": "t", "at": ["5 mm", "5 mm"], "on": "chip"}]) == [
        'probe "t", at: the probe lies outside chip/silicon (found: (5 mm, 5 mm)); '
        "allowed: x 40 mm to 60 mm, y 30 mm to 50 mm"
    ]


def test_heat_deeper_than_the_chip_is_refused(tmp_path):
    assert faults(tmp_path, chip(heat_depth="0.6 mm")) == [
        'component "chip", heat_depth: the heat reaches deeper than chip/silicon is thick (found: 0.6 mm); '
        "allowed: at most 0.5 mm"
    ]
    assert stack(tmp_path, chip(heat_depth="0.5 mm")).sources[0].heat_depth == 0.5e-3


def test_names_are_unique_and_tell_kinds_apart(tmp_path):
    said = faults(tmp_path, chip("plate"), chip("ambient", ("0 mm", "0 mm")), chip("a/b", ("70 mm", "30 mm")))
    assert said[:3] == [
        'component "plate", name: the plate has this name (found: plate); allowed: a name of its own',
        'component "ambient", name: a word of the study file itself cannot be a name (found: ambient); allowed: another name',
        'component "a/b", name: a name cannot hold / or . (found: a/b)',
    ]


def test_a_component_on_another_is_refused_with_the_way_to_write_it(tmp_path):
    lidded = chip(layers=[SILICON, GREASE, {"name": "lid", "material": "copper C11000", "thickness": "2 mm"}, GREASE])
    on_lid = chip("second", ("40 mm", "30 mm"), ("5 mm", "5 mm"), on="chip/lid")
    assert faults(tmp_path, lidded, on_lid) == [
        'component "second", on: no plate has this name (found: chip/lid); allowed: plate; hint: only plates carry others: '
        "write a lid that is shared as a [[plate]], and put the components on it"
    ]


def test_an_unknown_body_is_answered_with_the_nearest(tmp_path):
    said = faults(tmp_path, chip(), probe=[{"name": "t", "at": ["45 mm", "35 mm"], "on": "chp"}])
    assert said[0].endswith('allowed: plate, chip/silicon, chip; hint: did you mean "chip"?')


def test_with_several_plates_it_must_be_said_which(tmp_path):
    said = faults(tmp_path, chip(), plates=[plate(), plate("lid", on="plate", interface="perfect")], cooling=[])
    assert said == ['component "chip", on: there are several plates: say which; allowed: plate, lid']


# Joints.


def board_under(interface, height="0 mm", **more):
    """A board under the chip and a post beside it: two ways from the board to the plate."""
    board = plate("board", thickness="1 mm")
    post = {
        "name": "post",
        "at": ["5 mm", "5 mm"],
        "size": ["9 mm", "9 mm"],
        "thickness": height,
        "material": "copper C11000",
    }
    joints = [{"lower": "board", "upper": "chip", "interface": interface},
              {"lower": "board", "upper": "post", "interface": "perfect"},
              {"lower": "post", "upper": "plate", "interface": "perfect"}]  # fmt: skip
    return {
        "plates": [plate(), board, post],
        "joint": joints,
        "cooling": [{"coefficient": "9 W/m^2/K", "on": "plate"}],
    } | more


def test_heights_that_agree_by_two_ways_are_accepted(tmp_path):
    bond = {"bond_line": "0.5 mm", "conductivity": "5 W/m/K"}
    laid = stack(tmp_path, chip(on="plate", layers=[SILICON, bond]), **board_under("perfect", "1 mm"))
    assert not laid.notes and len(laid.joints) == 4


def test_known_heights_that_disagree_are_refused_and_unknown_ones_noted(tmp_path):
    bond = {"bond_line": "0.5 mm", "conductivity": "5 W/m/K"}
    (said,) = faults(tmp_path, chip(on="plate", layers=[SILICON, bond]), **board_under("perfect", "1.2 mm"))
    assert "the heights of the bodies do not agree: two ways between them differ (found: 0.2 mm)" in said
    (note,) = stack(tmp_path, chip(on="plate"), **board_under("perfect", "1.2 mm")).notes
    assert "differ in height by 0.7 mm, which a joint of unknown thickness takes up" in note


def test_a_body_above_itself_is_refused(tmp_path):
    (said,) = faults(tmp_path, chip(), joint=[{"lower": "plate", "upper": "chip", "interface": "perfect"}])
    assert said.startswith("joint, interface: chip/silicon would lie above plate and below it; hint: lower is ")


def test_two_plates_on_each_other_are_refused(tmp_path):
    plates = [plate("a", on="b", interface="perfect"), plate("b", on="a", interface="perfect")]
    said = faults(tmp_path, plates=plates, cooling=[{"coefficient": "9 W/m^2/K", "on": "a"}])
    assert any("would lie above" in each for each in said)


def test_a_joint_given_twice_is_refused(tmp_path):
    (said,) = faults(tmp_path, chip(), joint=[{"lower": "chip", "upper": "plate", "interface": "perfect"}])
    assert said.startswith("joint, interface: chip/silicon and plate are joined already, on the same faces")


# Rims.


@pytest.mark.parametrize(
    ("second", "word"), [("all", "treat the same side"), ("left", "treat the same side"), ("right", "")]
)
def test_a_side_is_treated_once(tmp_path, second, word):
    edges = [{"name": "a", "side": "left", "held": "25 degC"}, {"name": "b", "side": second, "held": "25 degC"}]
    if word:
        assert word in faults(tmp_path, chip(), edge=edges)[0]
    else:
        assert len(stack(tmp_path, chip(), edge=edges).rims) == 2


def test_a_round_plate_has_no_left_side(tmp_path):
    round_plate = {
        "name": "p",
        "center": ["50 mm", "40 mm"],
        "diameter": "90 mm",
        "thickness": "1 mm",
        "material": "nickel",
    }
    said = faults(tmp_path, chip(), plates=[round_plate], edge=[{"side": "left", "held": "25 degC"}])
    assert said == ['edge, side: p has no straight left side; allowed: "all", or a body with a straight side there']


# The absurd and the unusual.


def test_an_outline_that_is_nothing_beside_the_plan_is_refused(tmp_path):
    said = faults(tmp_path, chip(size=("1 um", "1 mm")))
    assert said == [
        'component "chip": the outline is too small beside the whole plan (found: 1 um); '
        "allowed: at least 10 um in a plan of 100 mm"
    ]


def test_a_mesh_that_no_computer_holds_is_refused(tmp_path):
    (said,) = faults(tmp_path, chip(), mesh_size="1 um")
    assert (
        said
        == "mesh_size: the mesh would be too large (found: 1 um, about 1.8e+10 triangles); allowed: about 96 um or more"
    )


def test_an_impedance_of_next_to_nothing_is_refused(tmp_path):
    thin = {"bond_line": "1 nm", "conductivity": "100 W/m/K"}
    (said,) = faults(tmp_path, chip(layers=[SILICON, thin]))
    assert "the impedance is next to nothing" in said and said.endswith(
        'write impedance = "0 mm^2 K/W" for perfect contact'
    )


def test_unusual_values_are_used_and_noted(tmp_path):
    foam = {"name": "foam", "conductivity": "0.01 W/m/K"}
    laid = stack(
        tmp_path,
        chip(layers=[{"material": foam, "thickness": "1 mm"}, {"impedance": "0.4 mm^2 K/W"}]),
        cooling=[{"coefficient": "60000 W/m^2/K"}],
    )
    assert laid.notes == (
        'component "chip", layer 1, material: a conductivity of 0.01 W/m/K is unusual; usual are 0.02 to 2500 W/m/K',
        'component "chip", layer 2: an impedance of 0.4 mm^2 K/W is unusual; usual are 0.5 to 1000 mm^2 K/W',
        "cooling: a coefficient of 6e+04 W/m^2/K is unusual; usual are 2 to 50000 W/m^2/K",
    )


def test_the_core_of_a_vapour_chamber_may_conduct_as_no_solid_does(tmp_path):
    core = {"name": "vapour core", "conductivity_in_plane": "50000 W/m/K", "conductivity_through": "500 W/m/K"}
    assert not stack(tmp_path, chip(), plates=[plate(material=core)]).notes


# Cautions.


def test_gallium_alloy_on_aluminium_is_refused_and_on_copper_cautioned(tmp_path):
    gallium = {"bond_line": "30 um", "material": "gallium alloy"}
    laid = stack(tmp_path, chip(layers=[SILICON, gallium]))
    assert len(laid.cautions) == 3 and all(line.startswith("gallium alloy: ") for line in laid.cautions)
    assert faults(tmp_path, chip(layers=[SILICON, gallium]), plates=[plate(material="aluminium 6063-T5")]) == [
        'component "chip", layer 2: gallium alloy touches plate, which is aluminium: it attacks aluminium, which crumbles; '
        'hint: put a barrier between them, such as a nickel layer (or, plated, barrier = "nickel"), or take another material'
    ]


def test_a_barrier_between_gallium_alloy_and_aluminium_is_accepted(tmp_path):
    gallium = {"bond_line": "30 um", "material": "gallium alloy"}
    nickel = {"material": "nickel", "thickness": "10 um"}
    barred = [SILICON, gallium, nickel]
    assert stack(tmp_path, chip(layers=barred), plates=[plate(material="aluminium 6063-T5")]).cautions


def test_gallium_alloy_between_plates_of_aluminium_is_refused(tmp_path):
    joint = {"bond_line": "30 um", "material": "gallium alloy"}
    plates = [plate(), plate("lid", on="plate", interface=joint, material="aluminium 1050")]
    said = faults(tmp_path, plates=plates, cooling=[{"coefficient": "9 W/m^2/K", "on": "lid"}])
    assert len(said) == 1 and said[0].startswith(
        'plate "lid", interface: gallium alloy touches lid, which is aluminium'
    )


def test_ordinary_materials_call_for_no_caution(tmp_path):
    assert stack(tmp_path, chip()).cautions == ()


# Maps.


def test_a_coefficient_map_that_cools_nowhere_is_refused(tmp_path):
    (tmp_path / "h.csv").write_text("0, 0\n0, 0\n")
    assert faults(tmp_path, chip(), cooling=[{"map": {"file": "h.csv"}}])[0] == (
        "cooling, map: the largest coefficient of the map is impossible (found: 0 W/m^2/K); "
        "allowed: above 0 and at most 1e+07 W/m^2/K"
    )


def test_a_coefficient_map_lies_over_its_area_bottom_row_first(tmp_path):
    (tmp_path / "h.csv").write_text("100, 200\n300, 400\n")
    area = {"at": ["10 mm", "20 mm"], "size": ["40 mm", "30 mm"]}
    (film,) = stack(tmp_path, chip(), cooling=[{"map": {"file": "h.csv"}, "area": area}]).films
    assert film.coefficient.bounds == pytest.approx((0.010, 0.020, 0.050, 0.050))
    assert np.array_equal(film.coefficient.values, [[300.0, 400.0], [100.0, 200.0]])


def test_a_power_map_on_a_round_component_is_refused(tmp_path):
    (tmp_path / "map.csv").write_text("1, 2\n")
    component = chip(map={"file": "map.csv", "unit": "W", "seen_from": "cooled side"}, corner_radius="1 mm")
    assert faults(tmp_path, component)[0].startswith(
        'component "chip", map: a power map needs a plain rectangular component'
    )


def test_the_way_to_the_board_needs_the_chips_face_bare(tmp_path):
    said = faults(tmp_path, chip(on="plate", board={"resistance": "5 K/W"}), **board_under("perfect", "0.5 mm"))
    assert said == [
        'component "chip", board: chip to board cools nothing: other bodies cover the component side of chip/silicon; '
        "hint: check on and face"
    ]


def test_a_study_and_its_tables_are_left_as_they_were(tmp_path):
    table = {
        "title": "t",
        "ambient": "35 degC",
        "plate": [plate()],
        "component": [chip()],
        "cooling": [{"held": "25 degC"}],
    }
    study = Study.model_validate(table)
    before = study.model_copy(deep=True)
    stack_of(study, tmp_path)
    assert study == before


# What rises are counted from.


@pytest.mark.parametrize(
    ("first", "expected"),
    [
        ({"coolant": "60 degC"}, (333.15, "coolant of front")),
        ({}, (308.15, "ambient")),  # although the second cooling has a coolant of its own
    ],
)
def test_rises_are_counted_from_the_first_coolings_coolant(tmp_path, first, expected):
    front = {
        "name": "front",
        "coefficient": "2000 W/m^2/K",
        "area": {"at": ["0 mm", "0 mm"], "size": ["50 mm", "80 mm"]},
    }
    back = {"name": "back", "face": "component side", "coefficient": "9 W/m^2/K", "coolant": "45 degC"}
    laid = stack(tmp_path, chip(), cooling=[front | first, back])
    assert (laid.reference, laid.reference_name) == (pytest.approx(expected[0]), expected[1])


def test_a_held_face_has_no_coolant_to_count_from(tmp_path):
    cold = {"name": "cold", "held": "10 degC"}
    back = {"name": "back", "face": "component side", "coefficient": "9 W/m^2/K", "coolant": "45 degC"}
    assert stack(tmp_path, chip(), cooling=[cold, back]).reference_name == "coolant of back"
    assert stack(tmp_path, chip(), cooling=[cold]).reference_name == "ambient"
