"""Plates with fins and a coolant that warms up, beside exact solutions and a general-purpose 3-D solution."""

import numpy as np
import pytest

from plancha.fem.components import component_states, probe_readings
from plancha.fem.findings import solve_stack
from plancha.fem.finned import bank_coolant
from plancha.fem.refinement import halved
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.fem.thickness import Through
from plancha.geometry.study_file import read_study

STRIP = """
title = "heated strip (invented)"
ambient = "25 degC"
mesh_size = "1 mm"
[plate]
size = ["80 mm", "20 mm"]
thickness = "1 mm"
material = { conductivity = "390 W/m/K" }
model = "sheet"
[[component]]
name = "source"
at = ["30 mm", "0 mm"]
size = ["20 mm", "20 mm"]
limit = "none"
power = "12 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.2 mm"
height = "0.01 mm"
material = { conductivity = "2000 W/m/K" }
described_as = "film"
[[flow]]
name = "air"
entry = "side"
side = "SIDE"
fluid = "air"
rate = "1.00686 l/s"
coefficient = "879.1209 W/m^2/K"
[[probe]]
name = "start"
at = ["0.001 mm", "10 mm"]
[[probe]]
name = "end"
at = ["79.999 mm", "10 mm"]
"""


def stack_from(tmp_path, text):
    path = tmp_path / "study.toml"
    path.write_text(text, encoding="utf-8")
    return read_study(path).cases[0].stack


def test_a_strip_under_a_lane_meets_the_exact_conjugate_solution(tmp_path):
    # C5.6 (matrix exponential, derived independently), per metre of width: k t = 0.39 W/K, h = 800 W/m2K, C = 60 W/K/m, 30 kW/m2
    # on 30 to 50 mm: T(0) = 8.61042, peak 20.23081 at 42.2 mm, T(L) = 13.89697, coolant out 10 K above the inlet.
    # Bare base 0.9 and fins 2/p H = 0.01 of it make 800 of 879.1209; the rate makes C = 1.2 W/K of 20 mm.
    solution = solve_stack(stack_from(tmp_path, STRIP.replace("SIDE", "left")))
    stream, (state,) = solution.sheets.streams[0], component_states(solution)
    assert solution.sheets.states[0].capacity == pytest.approx(1.2, rel=2e-4)
    assert stream.outlet(solution.temperature) - 298.15 == pytest.approx(10.0, rel=2e-4)
    assert state.peak.value - 298.15 == pytest.approx(20.23081, rel=5e-4)  # 48 cells along the flow
    assert state.peak.point[0] == pytest.approx(0.0422, abs=3e-4)
    start, end = (probe.temperature - 298.15 for probe in probe_readings(solution))
    assert start == pytest.approx(8.61042, rel=2e-3)
    assert end == pytest.approx(13.89697, rel=1e-3)


def test_turning_the_flow_round_mirrors_the_field(tmp_path):
    one, other = (solve_stack(stack_from(tmp_path, STRIP.replace("SIDE", side))) for side in ("left", "right"))
    first, second = ([probe.temperature for probe in probe_readings(each)] for each in (one, other))
    # The source stands in the middle of the strip.
    assert first == pytest.approx(second[::-1], abs=1e-3)


FIN = """
title = "one bank under even heat (invented)"
ambient = "25 degC"
[plate]
size = ["40 mm", "30 mm"]
thickness = "2 mm"
material = { conductivity = "400 W/m/K" }
[[component]]
name = "source"
at = ["0 mm", "0 mm"]
size = ["40 mm", "30 mm"]
limit = "none"
power = "30 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.5 mm"
height = "30 mm"
material = { conductivity = "200 W/m/K" }
[[flow]]
entry = "side"
side = "left"
fluid = "air"
rate = "80 m^3/s"
coefficient = "50 W/m^2/K"
"""


def test_a_block_under_even_heat_has_the_fins_own_efficiency(tmp_path):
    # C4.2 (derived independently): h = 50, k = 200, t = 0.5 mm, H = 30 mm: efficiency tanh(mH)/(mH) = 0.779171, insulated tip.
    solution = solve_stack(stack_from(tmp_path, FIN))
    base = component_states(solution)[0].mean - 298.15 - 30.0 * 0.002 / (400 * 0.04 * 0.03)
    per_area = 50 * (1.5 / 2 + 0.779171 * 2 * 30 / 2)  # bare base and both flanks, per area of the base
    assert 30.0 / (0.04 * 0.03) / base == pytest.approx(per_area, rel=2e-4)


def test_a_block_resolves_its_height_to_the_exact_profile_as_sub_layers_are_halved(tmp_path):
    stack = stack_from(tmp_path, FIN)
    space = solve_stack(stack).sheets.space
    efficiency = np.tanh(np.sqrt(2 * 50 / (200 * 0.0005)) * 0.03) / (np.sqrt(2 * 50 / (200 * 0.0005)) * 0.03)
    exact = 30.0 / (0.04 * 0.03) / (50 * (0.75 + efficiency * 30))
    errors = []
    through = [Through(degree=2), Through(degree=2)]
    for _ in range(3):
        solution = solve(sheets_of(stack, space, through))
        base = component_states(solution)[0].mean - 30.0 * 0.002 / (400 * 0.04 * 0.03)
        errors.append(abs(base - bank_coolant(solution, 0) - exact))
        through = [halved(each) for each in through]
    rates = np.log2(np.divide(errors[:-1], errors[1:]))
    assert np.all(
        (rates > 3.5) & (rates < 5.0)
    )  # the heat of quadratics converges with the fourth power of their width


BASE_AND_FINS = """
title = "base with six fins, resolved elsewhere (invented)"
ambient = "25 degC"
accuracy = "0.2 %"
[plate]
size = ["30 mm", "12 mm"]
thickness = "2 mm"
material = { conductivity = "200 W/m/K" }
[[component]]
name = "source"
at = ["12 mm", "4 mm"]
size = ["6 mm", "4 mm"]
limit = "none"
power = "20 W"
layers = []
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.5 mm"
height = "15 mm"
material = { conductivity = "200 W/m/K" }
described_as = "DESCRIBED"
[[flow]]
entry = "side"
side = "left"
fluid = "air"
rate = "80 m^3/s"
coefficient = "60 W/m^2/K"
"""


def resolved_fins() -> tuple[float, float]:
    """Peak and mean rise [K] of the source of BASE_AND_FINS with every fin resolved: scikit-fem's quadratic hexahedra, a quarter."""
    from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, LinearForm, MeshHex, asm, solve
    from skfem.helpers import dot, grad

    k, h, flux = 200.0, 60.0, 20.0 / (6e-3 * 4e-3)
    # A quarter: x from 0 (middle) to 15 mm, y from 0 (middle, between two fins) to 6 mm, z from the source's face up.
    x = np.concatenate([np.linspace(0, 3, 5), np.linspace(3, 15, 8)[1:]]) * 1e-3
    pitch = np.array([0.0, 0.375, 0.75, 1.0, 1.25, 1.625, 2.0])
    y = np.unique(np.round(np.concatenate([pitch, pitch + 2, pitch + 4]), 9)) * 1e-3
    z = np.concatenate([np.linspace(0, 2, 5), 2 + 15 * np.linspace(0, 1, 7)[1:] ** 1.3]) * 1e-3
    mesh = MeshHex.init_tensor(x, y, z)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    in_fin = np.abs(np.mod(centre[1], 2e-3) - 1e-3) < 0.25e-3
    mesh = mesh.remove_elements(np.flatnonzero((centre[2] > 2e-3) & ~in_fin))
    outer = mesh.boundary_facets()
    middle = mesh.p[:, mesh.facets[:, outer]].mean(axis=1)
    tiny = 1e-9
    foot = np.abs(middle[2] - 2e-3) < tiny
    flank = (middle[2] > 2e-3 + tiny) & (middle[2] < 17e-3 - tiny) & (middle[0] > tiny) & (middle[0] < 15e-3 - tiny)
    source = (middle[2] < tiny) & (middle[0] < 3e-3) & (middle[1] < 2e-3)
    element = ElementHex2()
    matrix = asm(BilinearForm(lambda u, v, w: k * dot(grad(u), grad(v))), Basis(mesh, element))
    wet = FacetBasis(mesh, element, facets=outer[foot | flank])
    matrix = matrix + asm(BilinearForm(lambda u, v, w: h * u * v), wet)
    heated = FacetBasis(mesh, element, facets=outer[source])
    load = asm(LinearForm(lambda v, w: flux * v), heated)
    rise = solve(matrix, load)
    return float(rise.max()), float(load @ rise / load.sum())


def test_a_block_stands_for_real_fins_and_a_film_does_not(tmp_path):
    # Against every fin resolved by scikit-fem (a general-purpose finite-element library) with quadratic hexahedra.
    peak, mean = resolved_fins()
    block, film = (
        component_states(solve_stack(stack_from(tmp_path, BASE_AND_FINS.replace("DESCRIBED", kind))))[0]
        for kind in ("block", "film")
    )
    assert block.peak.value - 298.15 == pytest.approx(
        peak, rel=0.005
    )  # measured 0.26 % low: a pitch of 2 mm beside a source of 4 mm
    assert block.mean - 298.15 == pytest.approx(mean, rel=0.005)
    assert abs(film.peak.value - 298.15 - peak) > 3 * abs(block.peak.value - 298.15 - peak)
