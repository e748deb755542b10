"""Leakage and resistive loss solved with the temperatures, beside the closed form of one isothermal part."""

import pytest

from plancha.fem.findings import findings_of, solve_with_estimate
from plancha.fem.solve import SolveFailed
from plancha.geometry.study_file import read_study

# A part of one temperature: 10 mm x 10 mm, h A = 1/0.3 W/K.
# C9.1: Ta = 40 degC, R = 0.30 K/W, 150 W, leakage 15 W at 60 degC, growing by 0.015 1/K.
STUDY = """
title = "one isothermal part (invented)"
ambient = "40 degC"
[plate]
size = ["10 mm", "10 mm"]
thickness = "1 mm"
material = { conductivity = "400 W/m/K" }
model = "sheet"
[[component]]
name = "part"
at = ["0 mm", "0 mm"]
size = ["10 mm", "10 mm"]
limit = "95 degC"
power = "150 W"
layers = []
LAW
[cooling]
coefficient = "COEFFICIENT W/m^2/K"
"""
LEAKAGE = 'leakage = { power = "15 W", at = "60 degC", growth = "1.5 %/K" }'


def findings(tmp_path, law: str, resistance: float):
    path = tmp_path / "study.toml"
    coefficient = 1 / (resistance * 1e-4)
    path.write_text(STUDY.replace("LAW", law).replace("COEFFICIENT", f"{coefficient:.9f}"), encoding="utf-8")
    return findings_of(solve_with_estimate(read_study(path).cases[0].stack))


def test_leakage_settles_at_the_worked_state(tmp_path):
    # C9.1 (Lambert's W, derived independently): 92.3058 degC, 24.3526 W of leakage, loop gain 0.109586.
    found = findings(tmp_path, LEAKAGE, 0.30)
    state = found.components[0]
    assert state.peak.value - 273.15 == pytest.approx(92.3058, abs=1e-4)
    assert state.power - 150 == pytest.approx(24.3526, abs=1e-4)
    assert found.loop_gain == pytest.approx(0.109586, abs=1e-6)
    assert found.audit.heat_in == pytest.approx(174.3526, abs=1e-4)


def test_the_sustainable_power_counts_the_leakage_at_the_limit(tmp_path):
    # C9.2: at 95 degC 183.333 W in all, of which 25.3569 W leak: 157.976 W may be asked for.
    found = findings(tmp_path, LEAKAGE, 0.30)
    assert found.sustainable.power == pytest.approx(157.976, abs=3e-3)


def test_runaway_is_told_as_such(tmp_path):
    # C9.1: no steady state from R = 0.587920 K/W on.
    assert findings(tmp_path, LEAKAGE, 0.5875).loop_gain > 0.9
    with pytest.raises(SolveFailed, match=r"thermal runaway.*part.*loop gain"):
        findings(tmp_path, LEAKAGE, 0.589)


def test_the_search_for_the_sustainable_power_steps_back_from_runaway(tmp_path):
    # Near runaway a step to more power has no steady state; the limit of 95 degC lies below the stated power's temperature.
    found = findings(tmp_path, LEAKAGE, 0.587)
    total = (95 - 40) / 0.587
    leakage = 15 * 2.718281828459045 ** (0.015 * 35)
    assert found.sustainable.power == pytest.approx(total - leakage, rel=1e-4)


def test_resistive_loss_is_a_linear_feedback(tmp_path):
    # P = D (1 + a (T - T0)), T = Ta + R P, derived: P = 150 (1 + 0.0039 x 15)/(1 - 0.0039 x 0.3 x 150).
    found = findings(tmp_path, 'resistive = { growth = "0.39 %/K", at = "25 degC" }', 0.30)
    assert found.components[0].power == pytest.approx(150 * (1 + 0.0039 * 15) / (1 - 0.0039 * 45), rel=1e-9)
    assert found.loop_gain == pytest.approx(0.0039 * 45, rel=1e-9)


def test_k_of_t_and_leakage_settle_together(tmp_path):
    text = STUDY.replace("LAW", LEAKAGE).replace("COEFFICIENT", "33333.3333333")
    text = text.replace(
        "layers = []", 'layers = [{ material = "silicon", thickness = "0.5 mm" }, { impedance = "10 mm^2 K/W" }]'
    )
    path = tmp_path / "study.toml"
    path.write_text(text, encoding="utf-8")
    found = findings_of(solve_with_estimate(read_study(path).cases[0].stack))
    state = found.components[0]
    leaking = 15 * 2.718281828459045 ** (0.015 * (state.mean - 273.15 - 60))
    assert state.power == pytest.approx(150 + leaking, rel=1e-8)
    assert found.audit.imbalance < 1e-9
