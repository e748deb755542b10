"""One-sheet bodies against exact solutions of the thin plate, k t lap(T) - h T + q = 0.

The references in `exact` use other routes (Bessel functions, hyperbolic strips) and share no code with the product. The numbers
written out were derived independently; the disc and the strip follow Carslaw and Jaeger, Conduction of Heat in Solids (1959), from
memory.
"""

from math import cos, pi, radians, sin, sqrt

import exact
import numpy as np
import pytest
import shapely
from plates import (
    REFERENCE,
    answer,
    body,
    centred,
    cooled,
    peak_and_mean,
    plate,
    rise_at,
    solve_stack,
    source,
    stack,
    state,
)
from pytest import approx
from scipy.special import i1, k0

from plancha.geometry import outline

K, T, H, RADIUS, RIM, POWER = 390.0, 2e-3, 1000.0, 0.01, 0.04, 100.0
FINE = 4.0  # refinement at which the plan error of these cases is below a fifth of the tolerances
PEAK, MEAN = (
    1e-3,
    1e-3,
)  # relative: quadratic triangles, a quarter of the source wide, kept fourfold from their measured error
POLYGON = 3e-3  # of the edge's rise: on a 48-sided outline of the same area, the rim lies up to 0.2 % of the radius off the circle


def disc_case(rim, sheet=True):
    heated = outline.circle(0.0, 0.0, 2 * RADIUS)
    return plate(outline.circle(0.0, 0.0, 2 * rim), T, K, H, [source("disc", heated, POWER)], sheet=sheet)


@pytest.mark.parametrize(
    ("rim", "centre", "edge", "mean"),
    [(0.25, 34.3118, 25.1361, 29.7362), (RIM, 41.2375, 32.2855, 36.7734)],
    ids=["plate so large that it counts as infinite", "insulated rim"],
)
def test_a_disc_heats_a_thin_round_plate_as_the_bessel_functions_say(rim, centre, edge, mean):
    # At 0.25 m the rim reflects exp(-2 m (b - a)) = 4e-8 of the field.
    solved = solve_stack(disc_case(rim), FINE)
    assert state(solved).peak.value - REFERENCE == approx(centre, rel=PEAK)
    assert state(solved).mean - REFERENCE == approx(mean, rel=MEAN)
    assert rise_at(solved, (RADIUS, 0.0)) == approx(edge, rel=POLYGON)


def test_the_whole_profile_of_the_heated_disc_is_right():
    solved = solve_stack(disc_case(RIM), FINE)
    radii = np.linspace(0.0, 0.039, 14)
    want = exact.disc_on_thin_disc_profile(radii, RADIUS, RIM, K, T, H, POWER)
    got = [rise_at(solved, (r * cos(0.3), r * sin(0.3))) for r in radii]
    assert got == approx(want, rel=POLYGON)


def test_a_heated_strip_warms_a_long_plate_in_one_dimension():
    half_source, half_plate, flux, width = 0.01, 0.04, 3e5, 0.02
    heated = (half_plate - half_source, 0.0, 2 * half_source, width)
    whole = plate(
        (2 * half_plate, width), T, K, H, [source("strip", heated, flux * 2 * half_source * width)], sheet=True
    )
    solved = solve_stack(whole, FINE)
    got = [state(solved).peak.value - REFERENCE, state(solved).mean - REFERENCE]
    got += [rise_at(solved, (half_plate + half_source, width / 2)), rise_at(solved, (0.0, width / 2))]
    # One-dimensional and smooth but for one kink on a meshed line: quadratics reach five digits.
    assert got == approx([103.5586, 99.3341, 90.8311, 55.5686], rel=5e-5)


PLATE, SOURCE = (0.08, 0.05), (0.02, 0.0175, 0.02, 0.015)


def test_an_off_centre_rectangle_is_hottest_towards_the_near_edge():
    solved = solve_stack(plate(PLATE, T, K, H, [source("chip", SOURCE, POWER)], sheet=True), FINE)
    peak = state(solved).peak
    assert peak.value - REFERENCE == approx(46.8459, rel=PEAK)
    assert peak.value - REFERENCE > rise_at(solved, (0.03, 0.025))
    # The top is flat: 0.77 mm off the peak the rise is 0.1 % less, so that its place is known to some tenths of a mm.
    assert peak.point == approx((0.02923, 0.025), abs=0.25e-3)
    assert state(solved).mean - REFERENCE == approx(42.3024, rel=MEAN)
    assert rise_at(solved, (0.03, 0.025)) == approx(46.8003, rel=PEAK)
    assert [rise_at(solved, (0.0, 0.0)), rise_at(solved, PLATE)] == approx([24.9037, 13.6148], rel=MEAN)


@pytest.mark.parametrize(
    ("along_x", "along_y", "turned", "centre"),
    [(1500.0, 300.0, 0.0, 30.3761), (300.0, 1500.0, 0.0, 31.3237), (1500.0, 300.0, 90.0, 31.3237)],
    ids=["grain along x", "grain along y", "grain along x, turned by 90 degrees"],
)
def test_an_orthotropic_sheet_spreads_along_its_grain(along_x, along_y, turned, centre):
    case = plate(
        PLATE,
        0.2e-3,
        (along_x, along_y, 10.0),
        500.0,
        [source("chip", SOURCE, 20.0)],
        turned=radians(turned),
        sheet=True,
    )
    # The kinks of an orthotropic sheet are sharper by sqrt(1500 / 300): the tolerance stays at 0.1 %.
    assert rise_at(solve_stack(case, FINE), (0.03, 0.025)) == approx(centre, rel=PEAK)


def ellipse(along, across, angle, corners=96):
    """Ellipse with the area of its true curve, its long axis turned by ``angle`` [rad]."""
    step = 2 * pi / corners
    grow, at = sqrt(step / sin(step)), step * (np.arange(corners) + 0.5)
    u, v = along * grow * np.cos(at), across * grow * np.sin(at)
    return shapely.Polygon(np.column_stack([u * cos(angle) - v * sin(angle), u * sin(angle) + v * cos(angle)]))


@pytest.mark.parametrize("degrees", [30.0, -75.0])
def test_grain_turned_with_an_ellipse_is_a_disc_in_stretched_coordinates(degrees):
    """Stretching each axis by the fourth root of its conductivity makes the sheet isotropic, k = sqrt(kx ky), the ellipse a disc."""
    along_x, along_y, angle = 1500.0, 300.0, radians(degrees)
    stretch = (along_x / along_y) ** 0.25
    heated = ellipse(RADIUS * stretch, RADIUS / stretch, angle)
    sheet = plate(
        (-0.3, -0.3, 0.6, 0.6), T, (along_x, along_y, 10.0), H, [source("e", heated, POWER)], angle, sheet=True
    )
    want = exact.disc_on_thin_plate(RADIUS, sqrt(along_x * along_y), T, H, POWER)
    solved = solve_stack(sheet, FINE)
    assert state(solved).peak.value - REFERENCE == approx(want["centre"], rel=PEAK)
    assert state(solved).mean - REFERENCE == approx(want["mean"], rel=MEAN)
    # A point off both axes tells the right turn from its mirror image.
    place = 0.025
    far = (place * stretch * cos(angle), place * stretch * sin(angle))
    rate = sqrt(H / (sqrt(along_x * along_y) * T))
    outside = POWER / (H * pi * RADIUS**2) * rate * RADIUS * i1(rate * RADIUS) * k0(rate * place)
    assert rise_at(solved, far) == approx(outside, rel=POLYGON)


def test_a_plate_turned_as_a_whole_with_its_grain_keeps_its_temperatures():
    angle = 30.0

    def turned_shape(x, y, width, height):
        return shapely.affinity.rotate(outline.rectangle(x, y, width, height), angle, origin=(0, 0))

    material = (1500.0, 300.0, 10.0)
    bodies = [body("plate", turned_shape(0, 0, *PLATE), 0.2e-3, material, radians(angle), sheet=True)]
    solved = solve_stack(stack(bodies, [source("chip", turned_shape(*SOURCE), 20.0)], [cooled(500.0)]), FINE)
    c, s = cos(radians(angle)), sin(radians(angle))
    assert rise_at(solved, (0.03 * c - 0.025 * s, 0.03 * s + 0.025 * c)) == approx(30.3761, rel=PEAK)


RESOLVED = {
    0.5: (1.30865, 1.12589),
    1: (0.85096, 0.75459),
    2: (0.59389, 0.54300),
    3: (0.50745, 0.47098),
    5: (0.44457, 0.41752),
}
RESOLVED[10] = (0.41185, 0.38874)
THIN = {
    0.5: (1.30363, 1.12105),
    1: (0.84141, 0.74551),
    2: (0.57533, 0.52606),
    3: (0.48005, 0.44688),
    5: (0.40111, 0.38105),
}
THIN[10] = (0.34022, 0.33013)


@pytest.mark.parametrize("millimetres", RESOLVED)
def test_the_resolved_thickness_finds_what_the_thin_plate_misses(millimetres):
    """10 x 10 mm on 60 x 60 mm of thickness 0.5 to 10 mm, accuracy as by default; K/W from the three-dimensional series."""
    case = plate((0.06, 0.06), millimetres * 1e-3, K, H, centred(0.01, 0.06))
    found = answer(case)
    # The default accuracy is 0.5 %; measured at most 0.03 % (peak) and 0.25 % (mean, at 5 mm).
    assert found.peak == approx(RESOLVED[millimetres][0], rel=1e-3)
    assert found.mean == approx(RESOLVED[millimetres][1], rel=3e-3)
    assert found.reached and found.holds(*RESOLVED[millimetres])


@pytest.mark.parametrize("millimetres", THIN)
def test_the_one_sheet_model_gives_the_thin_plate_series(millimetres):
    case = plate((0.06, 0.06), millimetres * 1e-3, K, H, centred(0.01, 0.06), sheet=True)
    assert peak_and_mean(case, FINE) == approx(THIN[millimetres], rel=PEAK)
