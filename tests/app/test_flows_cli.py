"""Plates under flows through the command line: load cases move as physics says, and what cannot run is said in a sentence."""

import json

import pytest

from plancha.app.cli import main

STUDY = """\
title = "a finned plate under a fan (invented)"
ambient = "25 degC"
accuracy = "2 %"
[plate]
size = ["60 mm", "40 mm"]
thickness = "3 mm"
material = { conductivity = "390 W/m/K" }
[[component]]
name = "chip"
at = ["30 mm", "14 mm"]
size = ["12 mm", "12 mm"]
limit = "90 degC"
power = "60 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.4 mm"
height = "20 mm"
material = { conductivity = "200 W/m/K" }
[[flow]]
name = "air"
entry = "side"
side = "left"
fluid = "air"
fans = ["front", "back"]
[[fan]]
name = "front"
curve = "fan.csv"
test_density = "1.2 kg/m^3"
test_speed = "4000 rpm"
level = "40 dB(A)"
[[fan]]
name = "back"
curve = "fan.csv"
test_density = "1.2 kg/m^3"
test_speed = "4000 rpm"
level = "40 dB(A)"
[[probe]]
name = "windward"
at = ["1 mm", "20 mm"]
[[probe]]
name = "leeward"
at = ["59 mm", "20 mm"]
"""
CASES = """\
[[case]]
name = "one fan dead"
back.running = false
[[case]]
name = "half the inlet blocked"
air.blocked = "50 %"
[[case]]
name = "3000 m above the sea"
air.altitude = "3000 m"
[[case]]
name = "slow fans"
front.speed = "2000 rpm"
back.speed = "2000 rpm"
[[case]]
name = "hot air"
air.inlet = "45 degC"
[[case]]
name = "from the other side"
air.side = "right"
"""
CURVE = "flow [m^3/h], static pressure [Pa]\n0, 160\n20, 140\n40, 110\n60, 70\n80, 0\n"


def written(folder, text, curve=CURVE):
    (folder / "study.toml").write_text(text, encoding="utf-8")
    (folder / "fan.csv").write_text(curve, encoding="utf-8")
    return folder / "study.toml"


@pytest.fixture(scope="module")
def cases(tmp_path_factory):
    """All load cases of the study as result.json has them, by name."""
    folder = tmp_path_factory.mktemp("flows")
    assert main(["solve", str(written(folder, STUDY + CASES)), "--no-pictures"]) == 0
    result = json.loads((folder / "results" / "result.json").read_text())
    return {case["name"]: case for case in result["cases"]}


def flow(case):
    return case["flows"][0]


def peak(case):
    return case["components"][0]["peak_degC"]


def test_all_heat_leaves_with_the_air_in_every_case(cases):
    assert len(cases) == 7
    for case in cases.values():
        found = flow(case)
        assert found["heat_W"] == pytest.approx(60.0, rel=1e-8)
        capacity = found["heat_W"] / (found["outlet_degC"] - found["inlet_degC"])
        assert capacity / (found["mass_g_per_s"] * 1e-3) == pytest.approx(1007, rel=0.003)  # J/kg/K of air


def test_whatever_lessens_the_flow_warms_the_chip(cases):
    base = cases["as written"]
    for name in ("one fan dead", "half the inlet blocked", "slow fans"):
        assert flow(cases[name])["rate_m3_per_s"] < flow(base)["rate_m3_per_s"]
        assert peak(cases[name]) > peak(base)
        assert cases[name]["sustainable"]["factor"] < base["sustainable"]["factor"]


def test_thin_air_carries_less_mass_and_the_chip_is_warmer(cases):
    # 70121.2 Pa at 3000 m (US Standard Atmosphere 1976): density is 0.692 of that at sea level at one temperature.
    base, high = flow(cases["as written"]), flow(cases["3000 m above the sea"])
    density = high["mass_g_per_s"] / high["rate_m3_per_s"] / (base["mass_g_per_s"] / base["rate_m3_per_s"])
    assert density == pytest.approx(0.69204, rel=2e-3)
    assert peak(cases["3000 m above the sea"]) > peak(cases["as written"])


def test_slow_fans_are_quieter_by_fifty_decibels_per_decade(cases):
    # Half speed: -15.051 dB (C5.1, common practice); two equal fans are 3.010 dB louder than one.
    assert flow(cases["as written"])["sound_dBA"] == pytest.approx(43.010, abs=1e-3)
    assert flow(cases["slow fans"])["sound_dBA"] == pytest.approx(43.010 - 15.051, abs=2e-3)
    assert flow(cases["one fan dead"])["sound_dBA"] == pytest.approx(40.0, abs=1e-9)
    assert flow(cases["one fan dead"])["operating_point"]["dead"] == ["back"]
    assert flow(cases["slow fans"])["pressure_drop_Pa"] < flow(cases["as written"])["pressure_drop_Pa"] / 2


def test_hot_air_moves_the_chip_by_about_as_much(cases):
    moved = peak(cases["hot air"]) - peak(cases["as written"])
    assert moved == pytest.approx(20.0, abs=1.0)  # 6 % thinner air, which conducts 5 % better
    assert flow(cases["hot air"])["inlet_degC"] == pytest.approx(45.0)


def test_the_lee_is_warmer_than_the_wind_whichever_way_it_blows(cases):
    for name, sign in (("as written", 1), ("from the other side", -1)):
        wind, lee = (probe["temperature_degC"] for probe in cases[name]["probes"])
        assert sign * (lee - wind) > (1.0 if sign > 0 else -20.0)
    # The chip stands to leeward of the middle, so that it is better off in air that comes from its side.
    assert peak(cases["from the other side"]) < peak(cases["as written"])


def test_the_operating_point_gives_what_the_way_asks(cases):
    for case in cases.values():
        point = flow(case)["operating_point"]
        assert point["pressure_Pa"] == pytest.approx(flow(case)["pressure_drop_Pa"], rel=1e-6)
        assert not point["stalled"]


def test_a_fan_that_meets_no_resistance_ends_with_code_1_and_a_sentence(tmp_path, capsys):
    short = "flow [m^3/h], static pressure [Pa]\n0, 160\n5, 155\n10, 150\n"
    assert main(["solve", str(written(tmp_path, STUDY, short)), "--no-pictures"]) == 1
    told = capsys.readouterr().err
    assert told.startswith("air: the operating point lies beyond the fan curve: at its end, ")
    assert "the curve must reach further towards free delivery; nothing was written" in told
    assert "Traceback" not in told and not (tmp_path / "results").exists()


def test_a_fan_too_weak_for_its_losses_says_both_pressures(tmp_path, capsys):
    weak = "flow [m^3/h], static pressure [Pa]\n30, 3\n40, 2\n80, 0\n"
    assert main(["solve", str(written(tmp_path, STUDY, weak)), "--no-pictures"]) == 1
    told = capsys.readouterr().err
    assert (
        "air: the fan cannot drive the system" in told and "it gives 2.961 Pa, where the system asks" in told
    )  # 3 Pa in air of 1.2 kg/m3


def test_fins_without_any_air_end_with_code_2_before_the_solve(tmp_path, capsys):
    dead = STUDY.replace('level = "40 dB(A)"', 'level = "40 dB(A)"\nrunning = false')
    assert main(["solve", str(written(tmp_path, dead))]) == 2
    told = capsys.readouterr().err
    assert "study.toml, line 27, flow" in told and "no fan of air runs: nothing moves its air" in told
    assert not (tmp_path / "results").exists()


def test_the_terminal_shows_the_flow_with_its_cautions(tmp_path, capsys):
    assert main(["solve", str(written(tmp_path, STUDY)), "--no-pictures"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for words in (
        "Flow air: air, entry side",
        "heat taken up",
        "Operating point of front, back",
        "blades cut",
        "Left out: lanes",
    ):
        assert words in out
