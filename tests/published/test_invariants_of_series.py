"""What the series of a layered plate must obey whatever the numbers: no reference value is needed.

Exact statements of linear conduction with an insulated rim and a uniform coefficient, derived independently.
"""

from dataclasses import replace
from math import prod, sqrt

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.spreading import (
    Layer,
    cone_resistance,
    layer_impedance,
    one_dimensional_resistance,
    series_maximum,
    series_mean_resistance,
    series_rise_at,
)

lengths = st.floats(0.02, 0.15)
films = st.floats(20.0, 2e4)
shares = st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(0.05, 1), st.floats(0.05, 1))
plates = st.tuples(lengths, lengths)
stacks = st.lists(
    st.builds(
        Layer,
        st.floats(3e-4, 1e-2),
        st.tuples(st.floats(5.0, 1500.0), st.floats(5.0, 1500.0), st.floats(5.0, 500.0)),
        st.sampled_from([0.0, 1e-6, 5e-5]),
    ),
    min_size=1,
    max_size=3,
)
few = settings(max_examples=25, deadline=None)  # the first example pays for loading


def place(plate, share):
    """Rectangle on the plate: where in the free room along x and y, then the part of each side that it takes."""
    width, height = plate[0] * share[2], plate[1] * share[3]
    return (share[0] * (plate[0] - width), share[1] * (plate[1] - height), width, height)


@few
@given(plates, st.lists(shares, min_size=2, max_size=4), stacks, films)
def test_what_a_watt_in_one_source_does_to_another_it_gets_back(plate, spots, layers, film):
    matrix = series_mean_resistance(plate, [place(plate, spot) for spot in spots], layers, film)
    # each side is computed from its own receiver; 1e-6 of the largest covers the truncation
    assert matrix == approx(matrix.T, abs=1e-6 * matrix.max())
    assert np.all(np.linalg.eigvalsh(matrix) > -1e-6 * matrix.max())


@few
@given(plates, shares, stacks, films)
def test_mean_of_the_whole_face_is_one_dimensional_for_any_source(plate, spot, layers, film):
    whole, source = (0.0, 0.0, *plate), place(plate, spot)
    matrix = series_mean_resistance(plate, [whole, source], layers, film)
    by_hand = sum(layer.thickness / layer.conductivity[2] + layer.impedance_below for layer in layers) + 1 / film
    expected = by_hand / prod(plate)
    assert (matrix[0, 0], matrix[0, 1], matrix[1, 0]) == approx((expected, expected, expected), rel=1e-7)
    assert one_dimensional_resistance(plate, layers, film) == approx(expected, rel=1e-12)


@few
@given(plates, shares, stacks, films, st.floats(0.1, 0.9), st.floats(0.1, 0.9))
def test_a_source_cut_in_four_is_the_same_source(plate, spot, layers, film, cut_x, cut_y):
    x, y, width, height = place(plate, spot)
    columns = ((x, cut_x * width), (x + cut_x * width, (1 - cut_x) * width))
    rows = ((y, cut_y * height), (y + cut_y * height, (1 - cut_y) * height))
    parts = [(left, low, wide, tall) for left, wide in columns for low, tall in rows]
    weights = np.array([part[2] * part[3] for part in parts]) / (width * height)
    whole = series_mean_resistance(plate, (x, y, width, height), layers, film)[0, 0]
    matrix = series_mean_resistance(plate, parts, layers, film)
    assert weights @ matrix @ weights == approx(whole, rel=1e-6)


@few
@given(plates, shares, stacks, films)
def test_mean_over_the_source_is_the_mean_of_its_points(plate, spot, layers, film):
    source = place(plate, spot)
    nodes, weights = np.polynomial.legendre.leggauss(12)
    x, y = (source[axis] + source[axis + 2] * (nodes + 1) / 2 for axis in (0, 1))
    points = [(right, up) for right in x for up in y]
    rises = series_rise_at(points, plate, source, layers, film)[:, 0]
    average = np.outer(weights, weights).ravel() @ rises / 4
    mean = series_mean_resistance(plate, source, layers, film)[0, 0]
    assert average == approx(mean, rel=1e-3)  # quadrature of a field whose slope is steep at the source's edge
    # the exact quadrature is the cut above: this one sees a slip between the two formulas


@few
@given(plates, shares, stacks, films)
def test_maximum_is_above_every_point_and_the_mean_above_the_one_dimensional_part(plate, spot, layers, film):
    source = place(plate, spot)
    maximum, hottest = series_maximum(plate, source, layers, film)
    x, y, width, height = source
    steps = np.linspace(0, 1, 15)
    points = np.minimum([(x + width * i, y + height * j) for i in steps for j in steps], plate)
    rises = series_rise_at(points, plate, source, layers, film)
    mean = series_mean_resistance(plate, source, layers, film)[0, 0]
    assert rises.max() <= maximum * (1 + 1e-7)
    assert one_dimensional_resistance(plate, layers, film) <= mean * (1 + 1e-7) <= maximum * (1 + 2e-7)
    assert x - 1e-9 <= hottest[0] <= x + width + 1e-9 and y - 1e-9 <= hottest[1] <= y + height + 1e-9


@few
@given(plates, shares, stacks, films, st.integers(0, 2), st.floats(1.05, 5.0))
def test_better_conductor_or_film_never_warms_the_source(plate, spot, layers, film, direction, factor):
    source = place(plate, spot)

    def mean(changed, coefficient):
        return series_mean_resistance(plate, source, changed, coefficient)[0, 0]

    better = [factor * value if axis == direction else value for axis, value in enumerate(layers[-1].conductivity)]
    raised = [*layers[:-1], replace(layers[-1], conductivity=tuple(better))]
    tighter = [replace(layer, impedance_below=layer.impedance_below / factor) for layer in layers]
    before = mean(layers, film) * (1 + 1e-7)
    assert mean(raised, film) <= before
    assert mean(tighter, film) <= before
    assert mean(layers, film * factor) < before


@few
@given(plates, shares, stacks, films, st.floats(0.2, 5.0))
def test_all_conductances_times_s_divide_the_rise_by_s(plate, spot, layers, film, scale):
    source = place(plate, spot)
    scaled = [
        Layer(layer.thickness, tuple(scale * k for k in layer.conductivity), layer.impedance_below / scale)
        for layer in layers
    ]
    before, after = (
        series_mean_resistance(plate, source, stack, h)[0, 0] for stack, h in ((layers, film), (scaled, scale * film))
    )
    assert scale * after == approx(before, rel=1e-9)


@few
@given(plates, shares, st.floats(3e-4, 1e-2), st.floats(20.0, 1500.0), st.floats(5.0, 500.0), films)
def test_plate_alike_along_x_and_y_equals_an_isotropic_plate_of_other_thickness(
    plate, spot, thickness, lateral, through, film
):
    # k_e = sqrt(k_lateral k_z), t_e = t sqrt(k_lateral / k_z); Muzychka, Yovanovich and Culham (2004), from memory
    source, same = place(plate, spot), sqrt(lateral * through)
    twin = Layer(thickness * sqrt(lateral / through), (same, same, same))
    layer = Layer(thickness, (lateral, lateral, through))
    found, expected = (series_mean_resistance(plate, source, [stack], film)[0, 0] for stack in (layer, twin))
    assert found == approx(expected, rel=1e-7)


@few
@given(plates, shares, stacks, films, st.floats(0.3, 3.0))
def test_stretching_x_with_its_conductivity_keeps_the_problem(plate, spot, layers, film, stretch):
    # x -> s x and kx -> s^2 kx: the same equation on a plate s times as wide, so the areal answer is the same
    wide = [
        replace(layer, conductivity=(stretch**2 * layer.conductivity[0], *layer.conductivity[1:])) for layer in layers
    ]
    wide_plate = (stretch * plate[0], plate[1])
    source, wide_source = place(plate, spot), place(wide_plate, spot)
    before = series_mean_resistance(plate, source, layers, film)[0, 0]
    after = series_mean_resistance(wide_plate, wide_source, wide, film)[0, 0]
    assert stretch * after == approx(before, rel=1e-6)


@few
@given(plates, shares, stacks, films)
def test_mirrored_or_turned_plate_gives_the_mirrored_or_turned_answer(plate, spot, layers, film):
    x, y, width, height = source = place(plate, spot)
    maximum, (hot_x, hot_y) = series_maximum(plate, source, layers, film)
    points = np.array([(0.0, 0.0), (0.3 * plate[0], 0.9 * plate[1]), (hot_x, hot_y)])
    rises = series_rise_at(points, plate, source, layers, film)
    mirrored = np.clip(np.column_stack([plate[0] - points[:, 0], points[:, 1]]), 0, plate)
    other_way = max(plate[0] - x - width, 0.0)
    there = series_rise_at(mirrored, plate, (other_way, y, width, height), layers, film)
    assert there == approx(rises, rel=1e-6, abs=1e-9 * maximum)
    turned = [replace(layer, conductivity=tuple(layer.conductivity[axis] for axis in (1, 0, 2))) for layer in layers]
    turn = series_rise_at(points[:, ::-1], plate[::-1], (y, x, height, width), turned, film)
    assert turn == approx(rises, rel=1e-9, abs=1e-9 * maximum)


@few
@given(stacks, films, st.floats(0, 1e5), st.floats(0, 1e5))
def test_layer_impedance_is_positive_and_falls_with_the_wavenumber(layers, film, wavenumber, step):
    low = layer_impedance(wavenumber, 100.0, layers, film)
    high = layer_impedance(wavenumber + step, 100.0, layers, film)
    assert 0 < high <= low * (1 + 1e-12) <= layer_impedance(0.0, 0.0, layers, film) * (1 + 2e-12)


@few
@given(plates, shares, stacks)
def test_cone_lies_between_heat_spread_at_once_and_heat_not_spread_at_all(plate, spot, layers):
    source = place(plate, spot)
    straight = sum(layer.thickness / layer.conductivity[2] + layer.impedance_below for layer in layers)
    cone = cone_resistance(plate, source, layers)
    assert straight / prod(plate) <= cone * (1 + 1e-9)
    assert cone <= straight / (source[2] * source[3]) * (1 + 1e-9)
