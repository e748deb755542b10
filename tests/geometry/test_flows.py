"""Flows of a study: what does not go together is told at once, where it is written, with what is allowed and what to do."""

import pytest

from plancha.geometry.air import ALONG_X, ALONG_Y, way_axis
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import read_study

HEAD = """\
title = "a plate with fins (invented)"
ambient = "25 degC"
[[plate]]
size = ["60 mm", "40 mm"]
thickness = "3 mm"
material = { conductivity = "200 W/m/K" }
"""
CHIP = """\
[[component]]
name = "chip"
at = ["20 mm", "10 mm"]
size = ["10 mm", "10 mm"]
limit = "none"
power = "20 W"
layers = []
"""
FINS = """\
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.5 mm"
height = "20 mm"
material = { conductivity = "200 W/m/K" }
"""
PINS = FINS.replace('"plate fins"\nalong = "x"', '"pins"')
RATE = """\
[[flow]]
entry = "side"
side = "left"
fluid = "air"
rate = "10 CFM"
"""
FANS = RATE.replace('rate = "10 CFM"', 'fans = "fan"')
FAN = """\
[[fan]]
curve = "fan.csv"
test_density = "1.2 kg/m^3"
test_speed = "3000 rpm"
"""
CURVE = "flow [m^3/h], static pressure [Pa]\n0, 160\n20, 140\n40, 110\n60, 70\n80, 0\n"


@pytest.fixture
def cases(tmp_path):
    """The load cases of a study given as text."""

    def read(*parts, curve=CURVE):
        (tmp_path / "fan.csv").write_text(curve, encoding="utf-8")
        (tmp_path / "study.toml").write_text("".join([HEAD, *parts]), encoding="utf-8")
        return read_study(tmp_path / "study.toml").cases

    return read


@pytest.fixture
def faults(cases, tmp_path):
    """All faults of a study given as text, the folder taken off."""

    def told(*parts, **more):
        with pytest.raises(StudyError) as caught:
            cases(*parts, **more)
        return [str(fault).replace(f"{tmp_path}/", "") for fault in caught.value.faults]

    return told


def test_the_base_study_of_these_tests_is_sound(cases):
    assert len(cases(CHIP, FINS, FANS, FAN)) == len(cases(FINS, RATE)) == 1


def test_faults_of_all_tables_come_at_once_each_on_its_line(faults):
    fat = FINS.replace("0.5 mm", "2 mm")
    told = faults(CHIP, fat, RATE.replace("10 CFM", "-10 CFM"), FAN.replace("1.2 kg/m^3", "1.2 kg"))
    assert told == [
        "study.toml, line 14, fins: fins: the fins are thicker than their pitch (found: 2 mm at a pitch of 2 mm); "
        "allowed: thickness below pitch",
        'study.toml, line 25, flow, rate: "-10 CFM" is too small; allowed: a volume flow above 0 CFM and at most 211890 CFM, '
        'such as "20 CFM" or "0.01 m^3/s" or "12 l/min"',
        'study.toml, line 28, fan, test_density: "1.2 kg" is a mass, a density is due; allowed: a density at least 0.1 kg/m^3 and '
        'at most 30000 kg/m^3, such as "8940 kg/m3" or "8.94 g/cm3"',
    ]


def test_fins_fat_on_a_patch_only_are_refused_too(faults):
    patch = '[[fins.patch]]\nat = ["0 mm", "0 mm"]\nsize = ["10 mm", "10 mm"]\npitch = "0.4 mm"\n'
    (told,) = faults(FINS, patch, RATE)
    assert "the fins are thicker than their pitch (found: 0.5 mm at a pitch of 0.4 mm)" in told


def test_a_curve_that_rises_to_its_end_is_told_in_the_curve_s_own_file(faults):
    (told,) = faults(FINS, FANS, FAN, curve=CURVE.replace("80, 0", "80, 150"))
    assert told.startswith("fan.csv, line 6, row 5: the curve does not fall to free delivery")
    assert "allowed" in told and "hint" in told


def test_a_missing_curve_is_told_where_it_is_named(faults):
    (told,) = faults(FINS, FANS, FAN.replace("fan.csv", "none.csv"))
    assert told.startswith("study.toml, line 20, fan, curve: none.csv: ")


def test_unknown_names_come_with_those_there_are(faults):
    told = faults(FINS, FANS.replace('"fan"', '"fen"') + 'fins = "fin"\n', FAN)
    assert told == [
        'study.toml, line 7, fins: no flow passes fins; allowed: [[flow]] with fins = "fins"',
        "study.toml, line 18, flow, fans: no fan has this name (found: fen); allowed: fan",
        "study.toml, line 19, flow, fins: no fins have this name (found: fin); allowed: fins",
    ]


def test_a_study_without_fins_or_fans_says_so(faults):
    told = faults(FANS, '[cooling]\ncoefficient = "100 W/m^2/K"\n')
    assert [each.split("; ")[1] for each in told] == [
        "allowed: none: the study has no [[fins]]",
        "allowed: none: the study has no [[fan]]",
    ]


@pytest.mark.parametrize(("along", "side"), [("x", "lower"), ("x", "upper"), ("y", "left"), ("y", "right")])
def test_nothing_blows_across_plate_fins(faults, along, side):
    fins, flow = FINS.replace('along = "x"', f'along = "{along}"'), RATE.replace("left", side)
    (told,) = faults(fins, flow)
    allowed = '"left" or "right"' if along == "x" else '"lower" or "upper"'
    assert told == (
        f"study.toml, line 16, flow, side: the plate fins of fins run along {along}: nothing enters between them from there "
        f"(found: {side}); allowed: {allowed}; hint: turn the fins (along) or the flow (side)"
    )


def test_pins_are_blown_from_any_side(cases):
    for side, axis in (("left", ALONG_X), ("right", ALONG_X), ("lower", ALONG_Y), ("upper", ALONG_Y)):
        stack = cases(PINS, RATE.replace("left", side))[0].stack
        assert way_axis(stack.flows[0], stack.banks[0]) == axis


@pytest.mark.parametrize(("entry", "side"), [("top", ""), ("through", 'side = "tips"\n')])
def test_pins_are_passed_along_the_base_only(faults, entry, side):
    zone = '[flow.zone]\nat = ["60 mm", "0 mm"]\nsize = ["20 mm", "40 mm"]\n' if entry == "through" else ""
    wide = PINS.replace("[[fins]]", '[[fins]]\nat = ["0 mm", "0 mm"]\nsize = ["80 mm", "40 mm"]')
    (told,) = faults(wide, RATE.replace('"side"\nside = "left"\n', f'"{entry}"\n{side}'), zone)
    assert told == (
        f"study.toml, line 16, flow, entry: fins are pins: their laws are for flow along the base only (found: {entry}); "
        'allowed: "side"; hint: or plate fins: form = "plate fins"'
    )


THROUGH = RATE.replace('"side"\nside = "left"', '"through"\nside = "tips"')
OVERHANG = FINS.replace("[[fins]]", '[[fins]]\nat = ["30 mm", "0 mm"]\nsize = ["60 mm", "40 mm"]')


def test_nothing_flows_through_a_film(faults):
    (told,) = faults(OVERHANG + 'described_as = "film"\n', THROUGH)
    assert told == (
        "study.toml, line 18, flow, entry: fins is described as a film on its base: nothing flows through that (found: through); "
        'allowed: "side" or "top"; hint: or described_as = "block"'
    )


def test_a_through_flow_needs_fins_beyond_the_plate(faults, cases):
    (told,) = faults(FINS, THROUGH)
    assert told == (
        "study.toml, line 14, flow: bodies cover all of fins: nothing can flow through it; "
        "hint: let the fins reach beyond the plate, or let the flow enter at a side or the top"
    )
    (flow,) = cases(OVERHANG, THROUGH)[0].stack.flows
    assert flow.zone.bounds == pytest.approx((0.060, 0.0, 0.090, 0.040))


def test_a_zone_over_the_plate_or_beside_the_fins_is_refused(faults):
    def zone(at, size=20):
        return f'[flow.zone]\nat = ["{at} mm", "0 mm"]\nsize = ["{size} mm", "40 mm"]\n'

    over = "study.toml, line 21, flow, zone: plate stands in the way of the flow (found: x 50 mm to 60 mm, y 0 mm to 40 mm)"
    assert faults(OVERHANG, THROUGH, zone(50)) == [over]
    beside = "study.toml, line 21, flow, zone: the zone lies beside fins (found: x 95 mm to 115 mm, y 0 mm to 40 mm)"
    assert faults(OVERHANG, THROUGH, zone(95)) == [f"{beside}; allowed: x 30 mm to 90 mm, y 0 mm to 40 mm"]


def bank(name, at, size, more="", rest=FINS):
    place = f'at = ["{at[0]} mm", "{at[1]} mm"]\nsize = ["{size[0]} mm", "{size[1]} mm"]\n'
    return rest.replace("[[fins]]\n", f'[[fins]]\nname = "{name}"\n{place}') + more


FRONT, BACK = bank("front", (0, 0), (25, 40)), bank("back", (30, 0), (30, 40))


def test_a_bank_that_no_flow_passes_is_told(faults):
    (told,) = faults(FRONT, BACK, RATE + 'fins = "front"\n')
    assert told == 'study.toml, line 17, fins "back": no flow passes back; allowed: [[flow]] with fins = "back"'


def test_a_bank_is_passed_once_by_one_flow_or_two(faults):
    (told,) = faults(FINS, RATE + 'fins = ["fins", "fins"]\n')
    assert told == "study.toml, line 19, flow, fins: fins is passed by flow already (found: flow)"
    (told,) = faults(FINS, RATE, RATE + 'name = "other"\n')
    assert "fins is passed by flow already (found: other)" in told


@pytest.mark.parametrize("side", ["left", "right"])
def test_banks_are_written_in_the_order_of_the_flow(faults, cases, side):
    order = '["front", "back"]' if side == "left" else '["back", "front"]'
    flow = RATE.replace("left", side)
    assert len(cases(FRONT, BACK, flow + f"fins = {order}\n")[0].stack.flows[0].banks) == 2
    wrong = '["front", "back"]' if side == "right" else '["back", "front"]'
    (told,) = faults(FRONT, BACK, flow + f"fins = {wrong}\n")
    assert (
        f"for a flow from the {side}" in told and "hint: banks beside each other are passed by a [[flow]] each" in told
    )


def test_banks_beside_each_other_do_not_follow_one_another(faults):
    low, high = bank("low", (0, 0), (60, 18)), bank("high", (0, 22), (60, 18))
    (told,) = faults(low, high, RATE + 'fins = ["low", "high"]\n')
    assert told == (
        "study.toml, line 32, flow, fins: high does not lie behind low for a flow from the left "
        "(found: x 0 mm to 60 mm, y 22 mm to 40 mm); allowed: behind x 0 mm to 60 mm, y 0 mm to 18 mm; "
        "hint: banks beside each other are passed by a [[flow]] each; of others, write them in the order of the flow"
    )


def test_a_duct_may_lead_from_one_plate_s_fins_to_another_s(cases):
    other = HEAD[HEAD.index("[[plate]]") :].replace("[[plate]]", '[[plate]]\nname = "other"\nat = ["0 mm", "60 mm"]')
    banks = [FINS + f'name = "on {name}"\non = "{name}"\n' for name in ("plate", "other")]
    flow = RATE + 'fins = ["on plate", "on other"]\n'
    assert cases(other, *banks, flow)[0].stack.flows[0].banks == (0, 1)


DEAD = FAN + "running = false\n"


def test_a_flow_whose_fans_are_all_dead_is_refused_before_anything_is_solved(faults, cases):
    (told,) = faults(FINS, FANS, DEAD)
    assert told == (
        "study.toml, line 18, flow, fans: no fan of flow runs: nothing moves its air (found: fan); "
        "allowed: running = true for one of them, or a rate; hint: take its fins for still air: [cooling] with a coefficient of "
        "natural convection, without [[fins]]"
    )
    two = FANS.replace('"fan"', '["fan", "spare"]'), DEAD, FAN + 'name = "spare"\n'
    assert [fan.is_running for fan in cases(FINS, *two)[0].stack.flows[0].fans] == [False, True]


def test_a_load_case_that_stops_the_last_fan_is_refused_at_the_case(faults):
    (told,) = faults(FINS, FANS, FAN, '[[case]]\nname = "dead fan"\nfan.running = false\n')
    assert told.startswith('study.toml, line 23, case "dead fan", flow, fans: no fan of flow runs')


FILM = 'described_as = "film"\n'


def test_fins_do_not_stand_where_something_else_lies(faults):
    """Whether they are described as a block or as a film."""
    lid = CHIP.replace("layers = []", 'face = "cooled side"\nlayers = []')
    for described in ("", FILM):
        (told,) = faults(lid, FINS + described, RATE)
        assert (
            "lie on one spot of plate, cooled side (found: x 20 mm to 30 mm, y 10 mm to 20 mm); hint: move one" in told
        )
    board = HEAD[HEAD.index("[[plate]]") :].replace("[[plate]]", '[[plate]]\nname = "lid"\nat = ["0 mm", "0 mm"]')
    board = board.replace("60 mm", "30 mm") + 'on = "plate"\ninterface = "perfect"\n'
    for described in ("", FILM):
        (told,) = faults(board, FINS + 'on = "plate"\n' + described, RATE)
        assert "lie on one spot of plate, cooled side (found: x 0 mm to 30 mm, y 0 mm to 40 mm)" in told


def test_two_banks_on_one_spot_are_refused(faults):
    one, other = bank("one", (0, 0), (30, 40)), bank("other", (20, 0), (30, 40))
    flows = RATE + 'fins = "one"\n', RATE + 'name = "second"\nfins = "other"\n'
    for first, second in (("", ""), (FILM, ""), ("", FILM), (FILM, FILM)):
        (told,) = faults(one + first, other + second, *flows)
        assert "lie on one spot of plate, cooled side (found: x 20 mm to 30 mm, y 0 mm to 40 mm)" in told


@pytest.mark.parametrize("place", ['coefficient = "100 W/m^2/K"', 'held = "25 degC"'])
def test_a_film_of_fins_and_a_cooling_do_not_share_a_spot(faults, cases, place):
    half = 'area = { at = ["30 mm", "0 mm"], size = ["30 mm", "40 mm"] }\n'
    cooling = f"[cooling]\n{place}\n{half}"
    (told,) = faults(FINS + FILM, RATE, cooling)
    assert told == (
        'study.toml, line 20, cooling: "fins" and "cooling" cool the same spot; '
        "hint: the fins cool there already: give the cooling an area beside them, or leave it out"
    )
    assert cases(bank("fins", (0, 0), (30, 40), FILM), RATE, cooling)
    assert cases(FINS + FILM, RATE, f'[cooling]\nface = "component side"\n{place}\n')


def test_a_rate_and_a_fan_exclude_each_other(faults):
    (told,) = faults(FINS, FANS + 'rate = "10 CFM"\n', FAN)
    assert told == (
        "study.toml, line 14, flow: flow: a flow has a rate or fans, one of them; "
        'allowed: rate = "20 CFM", or fans = "fan"'
    )


def test_sides_go_with_their_entry(faults):
    for entry, side, allowed in (
        ("side", "tips", 'side = "left" or side = "right" or side = "lower" or side = "upper"'),
        ("top", "left", "no side"),
        ("through", "upper", 'side = "tips" or side = "base"'),
    ):
        (told,) = faults(FINS, RATE.replace('"side"\n', f'"{entry}"\n').replace('"left"', f'"{side}"'))
        assert f"entry {entry} needs {allowed} (found: {side}); allowed: {allowed}" in told


def test_a_coolant_that_is_frozen_or_unknown_is_told_with_its_range(faults):
    (told,) = faults(FINS, RATE.replace('"air"', '"water"') + 'inlet = "-5 degC"\n')
    assert told.startswith("study.toml, line 19, flow, inlet: water at -5.0 degC is frozen")
    (told,) = faults(FINS, RATE.replace('"air"', '"watr"'))
    assert told.startswith("study.toml, line 17, flow, fluid: ") and "allowed" in told and "water" in told


def test_the_air_of_a_place_above_the_sea_is_thinner(cases):
    # 84.56 kPa at 1500 m: US Standard Atmosphere 1976, as computed by the library `fluids` (derived independently).
    stack = cases(FINS, RATE + 'altitude = "1500 m"\npreheat = "10 K"\n')[0].stack
    assert stack.flows[0].pressure == pytest.approx(84559.7, rel=1e-4)
    assert stack.flows[0].inlet == pytest.approx(308.15)


def test_rises_are_counted_from_the_first_flows_inlet_unless_there_is_a_film(cases):
    warm = RATE + 'name = "air"\ninlet = "40 degC"\n'
    (alone,) = cases(CHIP, FINS, warm)
    assert (alone.stack.reference_name, alone.stack.reference) == ("inlet of air", pytest.approx(313.15))
    film = '[cooling]\nface = "component side"\ncoefficient = "9 W/m^2/K"\n'
    (beside,) = cases(CHIP, FINS, warm, film)
    assert (beside.stack.reference_name, beside.stack.reference) == ("ambient", pytest.approx(298.15))
    (held,) = cases(CHIP, FINS, warm, '[cooling]\nface = "component side"\nheld = "30 degC"\n')
    assert held.stack.reference_name == "inlet of air"
