"""A published benchmark of plane conduction with convecting edges.

Source: NAFEMS, The Standard NAFEMS Benchmarks, test T4 (two-dimensional heat transfer with convection): 0.6 x 1.0 m, k = 52 W/m/K,
base at 100 degC, left side insulated, right and upper side 750 W/m2/K to 0 degC; 18.3 degC at (0.6, 0.2) m. Values from memory.
The series beside it was derived independently.
"""

from math import cos, cosh, exp, pi, sin, sinh

import pytest
from plates import body, rise_at, solve_stack, stack
from pytest import approx
from scipy.optimize import brentq

from plancha.fem.components import probe_readings
from plancha.geometry.bodies import Rim
from plancha.geometry.study_file import read_study

WIDTH, HEIGHT, K, H, BASE, ZERO = 0.6, 1.0, 52.0, 750.0, 100.0, 273.15
TARGET = 18.3  # degC, three digits
FINE = 3.0  # the corner where 100 degC meets the convecting side is singular

STUDY = """
title = "a bar with convecting edges (published benchmark)"
ambient = "0 degC"

[plate]
size = ["0.6 m", "1.0 m"]
thickness = "10 mm"
material = { conductivity = "52 W/m/K" }
model = "sheet"

[[edge]]
name = "base"
side = "lower"
held = "100 degC"

[[edge]]
name = "right"
side = "right"
coefficient = "750 W/m^2/K"

[[edge]]
name = "upper"
side = "upper"
coefficient = "750 W/m^2/K"

[[probe]]
name = "target"
at = ["0.6 m", "0.2 m"]
"""


def series(x, y, terms=400):
    """Temperature [degC] by cosines along x whose wavenumbers meet b tan(b WIDTH) = H / K, hyperbolic along y."""
    total = 0.0
    for n in range(terms):
        low, high = n * pi / WIDTH, (n + 0.5) * pi / WIDTH
        b = brentq(lambda b: b * sin(b * WIDTH) - H / K * cos(b * WIDTH), low + 1e-9, high - 1e-12)
        share = (sin(b * WIDTH) / b) / (WIDTH / 2 + sin(2 * b * WIDTH) / (4 * b))
        if b * HEIGHT > 30:
            along = exp(-b * y)
        else:
            along = b * cosh(b * (HEIGHT - y)) + H / K * sinh(b * (HEIGHT - y))
            along /= b * cosh(b * HEIGHT) + H / K * sinh(b * HEIGHT)
        total += BASE * share * cos(b * x) * along
    return total


def bar(sheet=True):
    rims = [
        Rim("base", 0, "lower", None, BASE + ZERO),
        Rim("right", 0, "right", H, ZERO),
        Rim("upper", 0, "upper", H, ZERO),
    ]
    return stack([body("bar", (0, 0, WIDTH, HEIGHT), 0.01, K, sheet=sheet)], rims=rims)


def degrees(solved, point):
    return rise_at(solved, point) + 300.0 - ZERO


def test_the_independent_series_gives_the_published_value():
    assert series(0.6, 0.2) == approx(TARGET, abs=0.06)


@pytest.mark.parametrize("sheet", [True, False], ids=["one sheet", "resolved through its thickness"])
def test_the_bar_is_as_warm_at_the_target_as_published(sheet):
    got = degrees(solve_stack(bar(sheet), FINE), (0.6, 0.2))
    # The published value is 18.25 rounded.
    assert got == approx(TARGET, abs=0.06)
    assert got == approx(series(0.6, 0.2), rel=1e-3)


@pytest.mark.parametrize("point", [(0.0, 0.0625), (0.0, 0.2), (0.3, 0.5), (0.0, 1.0), (0.6, 0.5)])
def test_the_bar_follows_the_series_elsewhere_too(point):
    # 0.1 % of the span of 100 K; one tenth of it away from the singular corner.
    assert degrees(solve_stack(bar(), FINE), point) == approx(series(*point), abs=0.01)


def test_a_study_file_of_the_bar_gives_the_same_answer(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(STUDY, encoding="utf-8")
    case = read_study(path).cases[0]
    coarse = probe_readings(solve_stack(case.stack))[0].temperature - ZERO
    fine = probe_readings(solve_stack(case.stack, FINE))[0].temperature - ZERO
    assert coarse == approx(series(0.6, 0.2), abs=0.5)  # default mesh, six triangles along the bar: 0.5 % of the span
    assert fine == approx(TARGET, abs=0.06)
    assert fine == approx(degrees(solve_stack(bar(), FINE), (0.6, 0.2)), abs=1e-9)
