"""Closed forms and series of the product against numbers from outside it; its references against the same numbers.

"Derived independently" numbers were computed with stand-alone programs that share no code with the product, where
said by a second route too. Six digits are shown, hence SIX. The functions of ``exact`` serve other checks as
references, so they are held to the numbers here as well.
"""

from math import inf, pi, sqrt

import exact
import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp

from plancha.fem.spreading import (
    Layer,
    cone_resistance,
    half_space_disc_resistance,
    half_space_rectangle_resistance,
    isotropic_layer,
    layer_impedance,
    lee_spreading_resistance,
    one_dimensional_resistance,
    plate_resistance,
    series_maximum,
    series_mean_resistance,
    series_rise_at,
)

SIX = 1e-5  # relative; the last of six digits shown may be rounded or cut
PLATE = (0.04, 0.04)
SOURCE = (0.015, 0.015, 0.01, 0.01)
COPPER = isotropic_layer(0.003, 390.0)
STACKS = {
    "copper": [COPPER],
    "copper on aluminium": [isotropic_layer(0.001, 390.0), isotropic_layer(0.004, 200.0)],
    "with a joint": [isotropic_layer(0.001, 390.0, impedance_below=10e-6), isotropic_layer(0.004, 200.0)],
    "graphite": [Layer(0.0005, (1500.0, 1500.0, 10.0))],
    "fibres along x on copper": [Layer(0.001, (600.0, 40.0, 25.0), 5e-6), COPPER],
}


def sheets(layers):
    return [(layer.thickness, *layer.conductivity, layer.impedance_below) for layer in layers]


def middle(source):
    x, y, width, height = source
    return x + width / 2, y + height / 2


def mean(plate, source, layers, film):
    return float(series_mean_resistance(plate, source, layers, film)[0, 0])


def central(side, plate):
    return ((plate - side) / 2, (plate - side) / 2, side, side)


# ---- thin plates: the references themselves -------------------------------------------------------------------------


def test_disc_on_an_infinite_thin_plate():
    # k 390, 2 mm, h 1000, radius 10 mm, 100 W: derived independently
    rise = exact.disc_on_thin_plate(0.01, 390.0, 0.002, 1000.0, 100.0)
    assert sqrt(1000.0 / (390.0 * 0.002)) == approx(35.8057, rel=SIX)
    assert (rise["centre"], rise["edge"], rise["mean"]) == approx((34.3118, 25.1361, 29.7362), rel=SIX)


def test_disc_on_a_thin_disc_with_insulated_rim():
    # the same, rim at 40 mm: derived independently, and by radial finite volumes with 40000 rings (41.23745, 15.80169)
    rise = exact.disc_on_thin_disc(0.01, 0.04, 390.0, 0.002, 1000.0, 100.0)
    found = [rise[place] for place in ("centre", "edge", "mean", "rim", "plate_mean")]
    assert found == approx([41.2375, 32.2855, 36.7734, 15.8017, 19.8944], rel=SIX)
    profile = exact.disc_on_thin_disc_profile([0.0, 0.01, 0.04], 0.01, 0.04, 390.0, 0.002, 1000.0, 100.0)
    assert profile == approx([rise["centre"], rise["edge"], rise["rim"]], rel=1e-12)


def test_strip_on_a_thin_strip():
    # half widths 10 and 40 mm, 3e5 W/m2: derived independently
    rise = exact.strip_on_thin_strip(0.01, 0.04, 390.0, 0.002, 1000.0, 3e5)
    found = [rise[place] for place in ("centre", "edge", "rim", "mean")]
    assert found == approx([103.5586, 90.8311, 55.5686, 99.3341], rel=SIX)


def test_rectangle_on_a_thin_plate():
    # 80 x 50 x 2 mm, source 20 x 15 mm centred at (30, 25), 100 W: derived independently; 0.25 mm finite volumes agree
    plate, source = (0.08, 0.05), (0.02, 0.0175, 0.02, 0.015)
    receivers = [(0.03, 0.025, 0, 0), source, (0, 0, 0, 0), (0.08, 0.05, 0, 0), (0, 0, 0.08, 0.05)]
    rises = [100 * exact.rectangle_on_thin_plate(plate, source, place, (0.78, 0.78), 1000.0) for place in receivers]
    assert rises == approx([46.8003, 42.3024, 24.9037, 13.6148, 25.0], rel=SIX)


def test_maximum_on_a_thin_plate_lies_towards_the_nearer_edge():
    # the case before: 46.8459 K at (29.23, 25) mm, derived independently
    rise, x, y = exact.rectangle_on_thin_plate_maximum((0.08, 0.05), (0.02, 0.0175, 0.02, 0.015), (0.78, 0.78), 1000.0)
    assert 100 * rise == approx(46.8459, rel=SIX)
    assert (x, y) == approx((0.02923, 0.025), abs=1e-5)


def test_orthotropic_thin_plate_and_its_swapped_twin():
    # 0.2 mm, h 500, 20 W, kx 1500, ky 300: derived independently
    def centre(along_x, along_y):
        source, place = (0.02, 0.0175, 0.02, 0.015), (0.03, 0.025, 0, 0)
        return 20 * exact.rectangle_on_thin_plate((0.08, 0.05), source, place, (along_x, along_y), 500.0)

    assert (centre(0.3, 0.06), centre(0.06, 0.3)) == approx((30.3761, 31.3237), rel=SIX)


THICKNESS_TABLE = (  # thickness mm; maximum in 3-D and 2-D, mean in 3-D and 2-D, K/W: derived independently
    (0.5, 1.30865, 1.30363, 1.12589, 1.12105),
    (1.0, 0.85096, 0.84141, 0.75459, 0.74551),
    (2.0, 0.59389, 0.57533, 0.54300, 0.52606),
    (3.0, 0.50745, 0.48005, 0.47098, 0.44688),
    (5.0, 0.44457, 0.40111, 0.41752, 0.38105),
    (10.0, 0.41185, 0.34022, 0.38874, 0.33013),
)


@pytest.mark.parametrize("thickness, maximum, thin_maximum, average, thin_average", THICKNESS_TABLE)
def test_plate_of_given_thickness_and_its_thin_twin(thickness, maximum, thin_maximum, average, thin_average):
    plate, source = (0.06, 0.06), central(0.01, 0.06)
    layers = [isotropic_layer(thickness / 1000, 390.0)]
    five_decimals = 7.5e-6  # half a unit, and half of that again for the table's own rounding
    assert series_maximum(plate, source, layers, 1000.0)[0] == approx(maximum, abs=five_decimals)
    assert mean(plate, source, layers, 1000.0) == approx(average, abs=five_decimals)
    conductance = (0.39 * thickness, 0.39 * thickness)
    place = (0.03, 0.03, 0, 0)
    centre = exact.rectangle_on_thin_plate(plate, source, place, conductance, 1000.0)
    assert centre == approx(thin_maximum, abs=five_decimals)
    thin = exact.rectangle_on_thin_plate(plate, source, source, conductance, 1000.0)
    assert thin == approx(thin_average, abs=five_decimals)


def test_series_tends_to_the_thin_plate_as_thickness_falls_at_equal_sheet_conductance():
    # first order in t, derived independently: t/(3 k A) where all heat goes sideways, t/(k A) where it goes straight on
    thin = exact.rectangle_on_thin_plate(PLATE, SOURCE, SOURCE, (1.17, 1.17), 1000.0)

    def excess(factor):
        along, thickness = 390.0 / factor, 0.003 * factor
        return mean(PLATE, SOURCE, [Layer(thickness, (along, along, 390.0))], 1000.0) - thin

    straight = 0.003e-3 / (390.0 * 1e-4)
    assert straight / 3 < excess(1e-3) < straight
    assert 9.5 < excess(1e-2) / excess(1e-3) < 10.5


# ---- spreading in layered plates ------------------------------------------------------------------------------------

LAYERED_TABLE = (  # mean, maximum, one-dimensional, K/W: derived independently (series of 3000 terms per axis)
    ("copper", 0.772007, 0.807415, 0.629808),  # also a stand-alone 3-D finite volume program: 0.77209, 0.807432
    ("copper on aluminium", 0.792385, 0.832390, 0.639103),
    ("with a joint", 0.820758, 0.869304, 0.645353),  # also 3-D finite volumes, 0.25 mm: 0.82098, 0.86930
    ("graphite", 0.959448, 1.03742, 0.656250),
)


@pytest.mark.parametrize("stack, average, maximum, even", LAYERED_TABLE)
def test_central_source_on_a_layered_plate(stack, average, maximum, even):
    layers = STACKS[stack]
    found = plate_resistance(PLATE, SOURCE, layers, 1000.0)
    assert mean(PLATE, SOURCE, layers, 1000.0) == approx(average, rel=SIX)
    assert series_maximum(PLATE, SOURCE, layers, 1000.0)[0] == approx(maximum, rel=SIX)
    assert one_dimensional_resistance(PLATE, layers, 1000.0) == approx(even, rel=SIX)
    assert (found.spreading_mean, found.spreading_maximum) == approx((average - even, maximum - even), rel=1e-4)
    assert found.hottest == approx(middle(SOURCE), abs=1e-6)


@pytest.mark.parametrize("stack, average, maximum, even", LAYERED_TABLE)
def test_plain_series_with_reflections_gives_the_same_numbers(stack, average, maximum, even):
    whole = (0.0, 0.0, *PLATE)
    receivers = [SOURCE, (*middle(SOURCE), 0, 0), whole]
    found = exact.layered_series(PLATE, [SOURCE], receivers, sheets(STACKS[stack]), 1000.0)[:, 0]
    assert found == approx([average, maximum, even], rel=SIX)


def test_published_central_form_gives_the_mean():
    # Yovanovich, Muzychka and Culham (1999), from memory, against the number derived independently and the product
    spreading = exact.centred_rectangle_mean(PLATE, (0.01, 0.01), 0.003, 390.0, 1000.0)
    assert spreading == approx(0.772007 - 0.629808, rel=SIX)
    assert plate_resistance(PLATE, SOURCE, [COPPER], 1000.0).spreading_mean == approx(spreading, rel=1e-6)


def test_source_off_the_middle_is_hottest_towards_the_nearer_edge():
    # 20 x 15 centred at (30, 20) on 80 x 50 x 3 mm, h 1500: derived independently
    plate, source = (0.08, 0.05), (0.02, 0.0125, 0.02, 0.015)
    resistance, place = series_maximum(plate, source, [COPPER], 1500.0)
    centre = series_rise_at([middle(source)], plate, source, [COPPER], 1500.0)[0, 0]
    found = (mean(plate, source, [COPPER], 1500.0), centre, resistance)
    assert found == approx((0.296526, 0.327314, 0.327984), rel=SIX)
    assert place == approx((0.02921, 0.01929), abs=1e-5)  # the digits shown; the top is flat
    assert one_dimensional_resistance(plate, [COPPER], 1500.0) == approx(0.168590, rel=SIX)


def test_source_at_the_rim_is_hottest_on_the_rim():
    # mirror images in the two insulated edges: a quarter of a four times larger central problem (exact)
    resistance, place = series_maximum((0.02, 0.02), (0.0, 0.0, 0.005, 0.005), [COPPER], 1000.0)
    assert place == approx((0.0, 0.0), abs=1e-6)
    assert resistance == approx(4 * 0.807415, rel=SIX)


def test_orthotropic_plate_equals_its_isotropic_transform():
    # k_e = sqrt(1500 10) = 122.474, t_e = t sqrt(1500/10) = 6.12372 mm: derived independently
    twin = [isotropic_layer(6.12372e-3, 122.474)]
    assert mean(PLATE, SOURCE, twin, 1000.0) == approx(0.959448, rel=SIX)


def test_two_dies_share_a_plate():
    # 80 W on 16 x 16 at (25, 30), 40 W on 10 x 12 at (60, 30), plate 80 x 60 x 3 mm: derived independently
    plate, sources = (0.08, 0.06), [(0.017, 0.022, 0.016, 0.016), (0.055, 0.024, 0.010, 0.012)]
    own = series_rise_at([(0.025, 0.03), (0.06, 0.03)], plate, sources, [COPPER], 1000.0) * (80.0, 40.0)
    assert own[0] == approx((31.9773, 5.8804), rel=SIX)
    assert own.sum(axis=1) == approx((37.8576, 30.9500), rel=SIX)
    matrix = series_mean_resistance(plate, sources, [COPPER], 1000.0)
    expected = np.array([[0.367383, 0.148329], [0.148329, 0.442564]])
    assert matrix == approx(expected, rel=SIX)
    assert exact.layered_series(plate, sources, sources, sheets([COPPER]), 1000.0) == approx(expected, rel=SIX)


@pytest.mark.parametrize("film", [50.0, 3000.0, inf])
@pytest.mark.parametrize("stack", STACKS)
def test_points_and_tiles_far_from_symmetric_agree_with_the_plain_series(stack, film):
    plate, layers = (0.07, 0.045), STACKS[stack]
    sources = [(0.0, 0.01, 0.012, 0.02), (0.03, 0.03, 0.02, 0.015)]
    points = [(0.0, 0.0), (0.012, 0.015), (0.035, 0.04), (0.07, 0.01)]  # corner, source edge, inside, far rim
    plain = exact.layered_series(plate, sources, [(*point, 0, 0) for point in points], sheets(layers), film)
    scale = plain.max(axis=0)  # a plain series of 2000 terms keeps about 1e-5 of the peak
    assert np.abs(series_rise_at(points, plate, sources, layers, film) - plain) / scale == approx(0, abs=1e-5)
    tiles = exact.layered_series(plate, sources, sources, sheets(layers), film)
    assert series_mean_resistance(plate, sources, layers, film) == approx(tiles, rel=1e-6)


@pytest.mark.parametrize("side", [0.05, 0.002])
def test_more_terms_change_nothing_beyond_the_stated_truncation_error(side):
    plate, source = (0.1, 0.1), (0.03, 0.02, side, side / 2)
    points = [middle(source), source[:2], (0.0301, 0.0201)]
    few = series_rise_at(points, plate, source, [COPPER], 1000.0)
    many = series_rise_at(points, plate, source, [COPPER], 1000.0, terms=1000)
    assert few == approx(many, rel=1e-6)
    few_mean = series_mean_resistance(plate, source, [COPPER], 1000.0)
    assert few_mean == approx(series_mean_resistance(plate, source, [COPPER], 1000.0, terms=1000), rel=1e-7)


@pytest.mark.parametrize(
    "core, side, average, maximum",
    [
        (1e5, 0.02, 0.188780, 0.193565),
        (1e5, 0.01, 0.260911, None),
        (2e4, 0.02, 0.193285, None),
        (1e6, 0.02, 0.187747, None),
    ],
)
def test_chamber_of_five_layers(core, side, average, maximum):
    # wall 0.4 (390), wick 0.5 (40), core 1.2, wick, wall on 80 x 80 mm, h 1000: derived independently
    wall, wick = isotropic_layer(0.0004, 390.0), isotropic_layer(0.0005, 40.0)
    layers, plate, source = [wall, wick, isotropic_layer(0.0012, core), wick, wall], (0.08, 0.08), central(side, 0.08)
    assert mean(plate, source, layers, 1000.0) == approx(average, rel=SIX)
    if maximum is not None:
        assert series_maximum(plate, source, layers, 1000.0)[0] == approx(maximum, rel=SIX)


def test_best_thickness_of_a_plate_is_flat():
    # 60 x 60 plate, 10 x 10 source, k 390, h 1000; maximum at 5, 10, 15, 20, 30 mm: derived independently
    plate, source = (0.06, 0.06), central(0.01, 0.06)
    found = [
        series_maximum(plate, source, [isotropic_layer(t, 390.0)], 1000.0)[0] for t in (0.005, 0.01, 0.0146, 0.02, 0.03)
    ]
    assert found == approx([0.44458, 0.41185, 0.408568, 0.41030, 0.41666], abs=1.5e-5)
    assert mean(plate, source, [isotropic_layer(0.01435, 390.0)], 1000.0) == approx(0.385932, rel=SIX)


# ---- discs and the closed form of Lee, Song, Au and Moran -----------------------------------------------------------

DISC_TABLE = (  # radius, rim, thickness mm, k, h; exact mean and maximum; ratio of Lee's form: derived independently
    (5.0, 20.0, 3.0, 390.0, 1000.0, (0.148940, 0.184686), (0.935, 0.983)),
    (10.0, 20.0, 5.0, 200.0, inf, (0.0390049, 0.0528197), (1.008, 1.188)),
)


@pytest.mark.filterwarnings("ignore:size ratio")
@pytest.mark.parametrize("radius, rim, thickness, k, film, disc, ratios", DISC_TABLE)
def test_disc_on_a_disc_and_how_far_the_closed_form_is_off(radius, rim, thickness, k, film, disc, ratios):
    found = exact.disc_on_finite_disc(radius / 1000, rim / 1000, thickness / 1000, k, film)
    assert found == approx(disc, rel=SIX)
    areas = pi * (radius / 1000) ** 2, pi * (rim / 1000) ** 2
    lee = lee_spreading_resistance(*areas, thickness / 1000, k, film)
    assert np.divide(lee, found) == approx(ratios, abs=6e-4)


def test_closed_form_gives_its_own_numbers():
    # formula from memory (Lee, Song, Au and Moran 1995), numbers derived from it independently
    assert lee_spreading_resistance(pi * 0.005**2, pi * 0.02**2, 0.003, 390.0, 1000.0) == approx(
        (0.139273, 0.181464), rel=SIX
    )
    assert lee_spreading_resistance(1e-4, 16e-4, 0.003, 390.0, 1000.0) == approx((0.133866, 0.174420), rel=SIX)
    with pytest.warns(UserWarning, match="size ratio 0.5 is above 0.3"):
        cold = lee_spreading_resistance(pi * 0.01**2, pi * 0.02**2, 0.005, 200.0, inf)
    assert cold == approx((0.0393215, 0.0627480), rel=SIX)


def test_closed_form_of_the_1998_article_is_that_of_the_maximum():
    # plate 0.01 m2, source 6.25e-4 m2, k 200, 1.3 mm, 1 K/W base: 0.65658; the article's own answer 0.66 (from memory)
    average, maximum = lee_spreading_resistance(6.25e-4, 0.01, 0.0013, 200.0, 1 / (1.0 * 0.01))
    assert maximum == approx(0.65658, rel=SIX)
    assert maximum == approx(0.66, abs=0.005)
    assert average < 0.66 - 0.1
    # the exact square on a square: 0.66707 and 0.52633, derived independently
    square = plate_resistance((0.1, 0.1), central(0.025, 0.1), [isotropic_layer(0.0013, 200.0)], 100.0)
    assert (square.spreading_maximum, square.spreading_mean) == approx((0.66707, 0.52633), rel=1.5e-5)


def test_discs_of_equal_area_stand_for_squares_to_one_per_cent():
    # derived independently: disc 0.143135, 0.177609; square 0.142199, 0.177607
    disc = exact.disc_on_finite_disc(sqrt(1e-4 / pi), sqrt(16e-4 / pi), 0.003, 390.0, 1000.0)
    assert disc == approx((0.143135, 0.177609), rel=SIX)
    square = plate_resistance(PLATE, SOURCE, [COPPER], 1000.0)
    assert (square.spreading_mean, square.spreading_maximum) == approx((0.142199, 0.177607), rel=SIX)
    assert (square.spreading_mean, square.spreading_maximum) == approx(disc, rel=0.007)


@pytest.mark.parametrize(
    "ratio, depth, expected",
    [(0.5, 0.25, 0.145428), (0.25, 0.25, 0.215921), (0.2, 1.0, 0.311674), (0.1, 0.5, 0.296804)],
)
def test_cylinder_on_an_isothermal_base(ratio, depth, expected):
    # total k a R of the centre: the problem of Kennedy (1960); numbers derived independently, his charts not read off
    centre = exact.disc_on_finite_disc(ratio, 1.0, depth, 1.0, inf)[1]
    assert ratio * (centre + depth / pi) == approx(expected, rel=SIX)
    # the product's square of equal area on a square of equal area stays near: 4 % covers the shapes' difference
    side, plate = ratio * sqrt(pi), sqrt(pi)
    square = series_maximum((plate, plate), central(side, plate), [isotropic_layer(depth, 1.0)], inf)[0]
    assert ratio * square == approx(expected, rel=0.04)


# ---- half space, thick plates, cone ---------------------------------------------------------------------------------


def test_disc_on_a_half_space():
    # 8/(3 pi^2) = 0.270190 and 1/pi = 0.318310 over k a: classical (Carslaw and Jaeger, from memory); Hankel quadrature
    assert half_space_disc_resistance(1.0, 1.0) == approx((0.270190, 0.318310), rel=SIX)
    assert half_space_disc_resistance(0.004, 390.0) == approx(exact.half_space_disc(0.004, 390.0), rel=1e-6)


@pytest.mark.parametrize(
    "aspect, expected", [(1, (0.473201, 0.561100)), (2, (0.459762, 0.541554)), (4, (0.423381, 0.490926))]
)
def test_rectangle_on_a_half_space(aspect, expected):
    # k sqrt(A) R, mean and maximum: derived independently; classical, handbook values from memory
    for width, height in ((aspect, 1.0), (1.0, aspect)):
        found = np.array(half_space_rectangle_resistance(width, height, 2.0)) * 2.0 * sqrt(aspect)
        assert found == approx(expected, rel=SIX)
    assert half_space_rectangle_resistance(aspect, 1.0, 2.0) == approx(
        exact.half_space_rectangle(aspect, 1.0, 2.0), rel=1e-8
    )


def test_series_of_a_tiny_source_on_a_thick_plate_tends_to_the_half_space():
    # the insulated rim takes away about 0.6 of the size ratio: bounded both ways
    half = half_space_rectangle_resistance(0.001, 0.001, 390.0)
    found = plate_resistance((0.1, 0.1), central(0.001, 0.1), [isotropic_layer(0.1, 390.0)], 1000.0)
    for spreading, limit in zip((found.spreading_mean, found.spreading_maximum), half):
        assert 0.984 * limit < spreading < 0.99 * limit


@pytest.mark.parametrize(
    "ratio, average, maximum",
    [(0.1, 0.411245, 0.499079), (0.25, 0.319898, 0.406848), (0.5, 0.178215, 0.258200), (0.75, 0.062103, 0.120712)],
)
def test_square_flux_tube(ratio, average, maximum):
    # square on a square column much thicker than wide, k sqrt(A) R_s: derived independently
    tube = plate_resistance((1.0, 1.0), central(ratio, 1.0), [isotropic_layer(5.0, 1.0)], inf)
    assert (ratio * tube.spreading_mean, ratio * tube.spreading_maximum) == approx((average, maximum), rel=1.5e-5)


@pytest.mark.parametrize(
    "thickness, average, maximum, cone",
    [
        (0.002, 0.041022, 0.049729, 0.036630),
        (0.005, 0.073453, 0.092489, 0.064103),
        (0.010, 0.094816, 0.116669, 0.085470),
        (0.015, 0.105424, 0.127641, 0.096154),
    ],
)
def test_cone_is_below_mean_and_maximum_on_an_isothermal_base(thickness, average, maximum, cone):
    # derived independently; the cone itself is common practice, no source: t/(k s (s + 2 t))
    layers = [isotropic_layer(thickness, 390.0)]
    assert mean(PLATE, SOURCE, layers, inf) == approx(average, rel=1.5e-5)
    assert series_maximum(PLATE, SOURCE, layers, inf)[0] == approx(maximum, rel=1.5e-5)
    assert cone_resistance(PLATE, SOURCE, layers) == approx(cone, rel=1.5e-5)


def test_cone_with_film_on_its_own_foot_is_useless_for_a_thin_plate():
    # 2 mm, h 1000: exact mean 0.8227, cone and film on its foot 5.139 K/W, derived independently
    layers = [isotropic_layer(0.002, 390.0)]
    assert mean(PLATE, SOURCE, layers, 1000.0) == approx(0.8227, abs=6e-5)
    assert cone_resistance(PLATE, SOURCE, layers) + 1 / (1000.0 * 0.014**2) == approx(5.139, abs=6e-4)


@pytest.mark.parametrize("source", [(0.001, 0.002, 0.01, 0.006), (0.0, 0.0, 0.04, 0.02), (0.03, 0.008, 0.004, 0.012)])
def test_cone_stops_at_the_edges_of_the_plate(source):
    # slices added one by one; a source on the whole plate would be t/(k A)
    plate = (0.04, 0.02)
    sliced = exact.cone_by_slices(plate, source, 0.012, 390.0)
    assert cone_resistance(plate, source, [isotropic_layer(0.012, 390.0)]) == approx(sliced, rel=1e-6)
    halves = [isotropic_layer(0.005, 390.0), isotropic_layer(0.007, 390.0)]
    assert cone_resistance(plate, source, halves) == approx(sliced, rel=1e-6)


def test_cone_on_the_whole_plate_is_one_dimensional():
    layers, whole = STACKS["with a joint"], (0.0, 0.0, *PLATE)
    assert cone_resistance(PLATE, whole, layers) == approx(one_dimensional_resistance(PLATE, layers, inf), rel=1e-12)


# ---- chain, k(T) ----------------------------------------------------------------------------------------------------


def test_chain_of_die_interface_and_plate():
    # die 20 x 20 x 0.5 k 120, 50 um of 5 W/m/K, contacts 2 + 2 mm2K/W, plate 80 x 80 x 3 h 2000: derived independently
    plate, source = (0.08, 0.08), central(0.02, 0.08)
    die = one_dimensional_resistance((0.02, 0.02), [isotropic_layer(0.0005, 120.0)], inf)
    bonded = isotropic_layer(0.0005, 120.0, impedance_below=50e-6 / 5 + 4e-6)
    interface = one_dimensional_resistance((0.02, 0.02), [bonded], inf) - die
    average, maximum = mean(plate, source, [COPPER], 2000.0), series_maximum(plate, source, [COPPER], 2000.0)[0]
    assert (die, interface, average, maximum) == approx((0.0104167, 0.035, 0.189763, 0.219475), rel=SIX)
    total = die + interface + average
    assert (total, 150 * total) == approx((0.235180, 35.2770), rel=SIX)
    assert 150 * (die + interface + maximum) == approx(39.7338, rel=SIX)
    # in parallel with 10 K/W through the board
    both = 1 / (1 / total + 1 / 10.0)
    assert (both, 150 * both, 15 * both) == approx((0.229776, 34.4664, 3.4466), rel=2e-5)


def test_silicon_whose_conductivity_falls_with_temperature():
    # k 148 (T/300)^-1.3, 2e6 W/m2, 0.75 mm, base at 350 K: 362.674 K derived independently; marched through the slab
    top = exact.kirchhoff_slab(2e6, 0.00075, 350.0, 148.0, 300.0, -1.3)
    assert top == approx(362.674, abs=6e-4)
    marched = solve_ivp(lambda _, t: 2e6 / (148.0 * (t / 300.0) ** -1.3), (0, 0.00075), [350.0], rtol=1e-10, atol=1e-8)
    assert top == approx(marched.y[0, -1], rel=1e-8)
    assert exact.kirchhoff_slab(2e6, 0.00075, 350.0, 148.0, 300.0, 0.0) == approx(350.0 + 10.135, abs=6e-4)


# ---- layer impedance ------------------------------------------------------------------------------------------------


def test_layer_impedance_of_a_thick_layer_is_that_of_a_half_space():
    # 1/(k z), exact; nothing overflows at wavenumbers where exp(z t) would
    assert layer_impedance(3e5, 4e5, [isotropic_layer(0.01, 2.0)], 10.0) == approx(1 / (2.0 * 5e5), rel=1e-12)


def test_layer_cut_in_two_is_the_same_layer():
    wavenumber = np.linspace(0, 5000, 7)
    whole = layer_impedance(wavenumber, wavenumber[::-1], [Layer(0.002, (300.0, 100.0, 50.0))], 700.0)
    parts = [Layer(0.0005, (300.0, 100.0, 50.0)), Layer(0.0015, (300.0, 100.0, 50.0))]
    assert layer_impedance(wavenumber, wavenumber[::-1], parts, 700.0) == approx(whole, rel=1e-12)


# ---- refused input --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: isotropic_layer(0.0, 390.0), "finite and above 0"),
        (lambda: Layer(0.001, (390.0, 390.0, -1.0)), "finite and above 0"),
        (lambda: isotropic_layer(0.001, 390.0, impedance_below=-1e-6), "allowed: 0 or more"),
        (lambda: layer_impedance(0.0, 0.0, [], 1000.0), "0 layers"),
        (lambda: one_dimensional_resistance(PLATE, [COPPER], 0.0), "coefficient 0.0"),
        (lambda: series_mean_resistance((0.04, 0.0), SOURCE, [COPPER], 1e3), "both sides must be finite and above 0"),
        (lambda: series_mean_resistance(PLATE, (0.035, 0.0, 0.01, 0.01), [COPPER], 1e3), "beyond the plate"),
        (lambda: series_mean_resistance(PLATE, (0.0, 0.0, 0.0, 0.01), [COPPER], 1e3), "no area"),
        (lambda: series_mean_resistance(PLATE, SOURCE, [COPPER], 1e3, terms=0), "terms is 0"),
        (lambda: series_rise_at([(0.05, 0.0)], PLATE, SOURCE, [COPPER], 1e3), "off the plate"),
        (lambda: series_maximum(PLATE, [SOURCE, SOURCE], [COPPER], 1e3), "one source; got 2"),
        (lambda: cone_resistance(PLATE, [SOURCE, SOURCE], [COPPER]), "one source; got 2"),
        (lambda: lee_spreading_resistance(2.0, 1.0, 0.001, 390.0, 1e3), "source_area <= plate_area"),
    ],
)
def test_impossible_values_are_refused_with_the_reason(call, message):
    with pytest.raises(ValueError, match=message):
        call()
