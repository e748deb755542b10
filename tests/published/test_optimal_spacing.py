"""The best fin spacing at a fixed pressure drop, found by sweeping a study, beside Bejan and Sciubba's scale."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from plancha.fem.air_flow import flow_state
from plancha.fem.finned import bank_conductance
from plancha.geometry.study_file import changed_case, read_study

STUDY = """
title = "thin fins at a fixed pressure drop (invented)"
ambient = "25 degC"
[plate]
size = ["50 mm", "60 mm"]
thickness = "2 mm"
material = { conductivity = "400 W/m/K" }
[[component]]
name = "source"
at = ["0 mm", "0 mm"]
size = ["50 mm", "60 mm"]
limit = "none"
power = "0 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.001 mm"
height = "30 mm"
material = { conductivity = "900000 W/m/K" }
[[flow]]
entry = "side"
side = "left"
fluid = "air"
fans = "fan"
[[fan]]
curve = "steady.csv"
test_density = "1.2 kg/m^3"
test_speed = "3000 rpm"
"""
DROP = 10.0  # Pa


@pytest.fixture(scope="module")
def conductance(tmp_path_factory):
    """Conductance to the inlet [W/K] over the gap [m], and the fluid."""
    folder = tmp_path_factory.mktemp("spacing")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    (folder / "steady.csv").write_text(
        "flow [m^3/s], static pressure [Pa]\n0, 10.0001\n0.5, 10\n1, 9.9999\n", encoding="utf-8"
    )
    case = read_study(folder / "study.toml").cases[0]

    def found(gap: float):
        stack = changed_case(case, folder, {"fins.pitch": f"{gap * 1e3 + 0.001:.9f} mm"}).stack
        state = flow_state(stack, stack.flows[0])
        return bank_conductance(state, state.ways[0], stack.banks[0]), state

    return found


def test_the_best_gap_follows_the_published_scale(conductance):
    # Bejan and Sciubba, Int. J. Heat Mass Transfer 35, 3259 (1992): b/L = c (dp L^2/(mu alpha))^(-1/4). c = 3.03 and heat
    # 0.478 (k/L) Be^(1/2) per frontal area and kelvin for the same laws without end losses (derived independently, fixed dp).
    best = minimize_scalar(
        lambda gap: -conductance(gap)[0], bounds=(0.8e-3, 4e-3), method="bounded", options={"xatol": 2e-6}
    )
    found, state = conductance(best.x)
    fluid, length = state.fluid, 0.05
    alpha = fluid.conductivity / (fluid.density * fluid.heat_capacity)
    number = state.bank_drop * length**2 / (fluid.viscosity * alpha)
    assert state.bank_drop == pytest.approx(DROP, rel=0.02)
    assert best.x / length * number**0.25 == pytest.approx(3.032, rel=0.02)
    base = fluid.conductivity / length * np.sqrt(number) * 0.060 * 0.030
    assert found / base == pytest.approx(0.478, rel=0.02)
