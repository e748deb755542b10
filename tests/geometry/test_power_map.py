"""The power map as a value: what turning, mirroring, scaling and laying blocks keep, and what stands out."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from plancha.geometry.power_blocks import Block, block_map, overlapping_pairs
from plancha.geometry.power_map import (
    PowerMap,
    centroid,
    coarsened,
    flux,
    jump_lines,
    mean_flux,
    mirrored,
    peak_flux,
    scaled,
    smallest_strong_feature,
    strong_regions,
    total_power,
    turned,
    uniform_map,
)

ROUNDING = 1e-14  # sums of at most a few hundred numbers in another order


@st.composite
def power_maps(draw):
    columns, rows = draw(st.tuples(st.integers(1, 7), st.integers(1, 7)))
    x, y = (np.append(0.0, np.cumsum(draw(arrays(float, n, elements=st.floats(1e-5, 1e-2))))) for n in (columns, rows))
    watts = draw(arrays(float, (rows, columns), elements=st.floats(0.0, 100.0, allow_subnormal=False)))
    return PowerMap(x, y, watts)


def grid(watts, width=0.02, height=0.01):
    watts = np.asarray(watts, dtype=float)
    rows, columns = watts.shape
    return PowerMap(np.linspace(0, width, columns + 1), np.linspace(0, height, rows + 1), watts)


def assert_same(one, other):
    assert np.array_equal(one.watts, other.watts)
    # Edges counted from the other side are rounded to the last digit of the side's length.
    for edges, others in ((one.x, other.x), (one.y, other.y)):
        assert edges == pytest.approx(others, rel=0, abs=4e-16 * others[-1])


@given(power_maps())
def test_four_quarter_turns_are_no_turn(power_map):
    once = power_map
    for _ in range(4):
        once = turned(once, 1)
    assert_same(once, power_map)


@given(power_maps(), st.integers(-6, 6), st.integers(-6, 6))
def test_turns_add_up(power_map, first, second):
    assert_same(turned(turned(power_map, first), second), turned(power_map, first + second))


@given(power_maps())
def test_a_map_mirrored_twice_is_the_map(power_map):
    assert_same(mirrored(mirrored(power_map)), power_map)


@given(power_maps())
def test_mirror_turn_mirror_is_the_turn_the_other_way(power_map):
    assert_same(mirrored(turned(mirrored(power_map), 1)), turned(power_map, -1))


@given(power_maps(), st.integers(-3, 3))
def test_turning_and_mirroring_keep_the_total(power_map, turns):
    assert total_power(mirrored(turned(power_map, turns))) == pytest.approx(total_power(power_map), rel=ROUNDING)


@given(power_maps())
def test_the_centroid_turns_counter_clockwise_with_the_map(power_map):
    x, y = centroid(power_map)
    width, height = power_map.width, power_map.height
    places = [(x, y), (height - y, x), (width - x, height - y), (y, width - x)]
    for turns, place in enumerate(places):
        assert centroid(turned(power_map, turns)) == pytest.approx(place, abs=1e-12 * max(width, height))


@given(power_maps())
def test_the_centroid_is_mirrored_with_the_map(power_map):
    x, y = centroid(power_map)
    assert centroid(mirrored(power_map)) == pytest.approx((power_map.width - x, y), abs=1e-12 * power_map.width + 1e-16)


@given(power_maps(), st.floats(0.1, 1000.0))
def test_scaling_keeps_the_pattern_and_gives_the_total(power_map, watts):
    if total_power(power_map) < 1e-6:
        return
    other = scaled(power_map, watts)
    assert total_power(other) == pytest.approx(watts, rel=ROUNDING)
    assert centroid(other) == pytest.approx(centroid(power_map), rel=1e-12)


@given(power_maps(), st.integers(1, 5))
def test_coarsening_keeps_total_and_footprint(power_map, cells):
    other = coarsened(power_map, cells)
    assert max(other.watts.shape) <= cells
    assert total_power(other) == pytest.approx(total_power(power_map), rel=ROUNDING)
    assert (other.width, other.height) == (power_map.width, power_map.height)


def test_coarsening_by_two_adds_four_cells():
    other = coarsened(grid(np.arange(16).reshape(4, 4)), 2)
    assert other.watts.tolist() == [[0 + 1 + 4 + 5, 2 + 3 + 6 + 7], [8 + 9 + 12 + 13, 10 + 11 + 14 + 15]]


def test_one_quarter_turn_takes_the_lower_right_corner_to_the_upper_right():
    other = turned(grid([[0, 0, 5], [0, 0, 0]]), 1)
    assert other.watts.tolist() == [[0, 0], [0, 0], [0, 5]]
    assert (other.width, other.height) == (0.01, 0.02)


@given(power_maps())
def test_flux_times_area_is_the_power(power_map):
    area = np.outer(np.diff(power_map.y), np.diff(power_map.x))
    assert (flux(power_map) * area).sum() == pytest.approx(total_power(power_map), rel=ROUNDING)


def test_a_uniform_map_has_the_mean_flux_everywhere_and_its_centroid_in_the_middle():
    power_map = uniform_map(0.02, 0.01, 300.0)
    assert peak_flux(power_map) == pytest.approx(300 / 0.0002, rel=1e-15)
    assert mean_flux(power_map) == pytest.approx(300 / 0.0002, rel=1e-15)
    assert centroid(power_map) == (0.01, 0.005)


def test_the_centroid_of_a_dark_map_is_the_middle():
    assert centroid(uniform_map(0.02, 0.01, 0.0)) == (0.01, 0.005)


def test_a_dark_map_cannot_be_scaled_to_a_power():
    with pytest.raises(ValueError, match=r"^a map of 0 W cannot be scaled to 5 W$"):
        scaled(uniform_map(0.02, 0.01, 0.0), 5.0)
    assert total_power(scaled(uniform_map(0.02, 0.01, 0.0), 0.0)) == 0.0


def test_the_arrays_are_read_only_and_the_callers_stay_as_they_were():
    watts = np.ones((2, 3))
    power_map = grid(watts)
    watts[0, 0] = 7.0
    assert total_power(power_map) == 6.0
    with pytest.raises(ValueError, match="read-only"):
        power_map.watts[0, 0] = 2.0


@pytest.mark.parametrize("bad", [-1.0, np.nan, np.inf])
def test_a_cell_that_is_negative_or_not_finite_is_refused(bad):
    with pytest.raises(ValueError, match=r"^watts must be finite and 0 or more in every cell$"):
        grid([[1.0, bad]])


@pytest.mark.parametrize("x", [[0.0, 0.0], [0.0, 2.0, 1.0], [1.0, 2.0], [0.0], [0.0, np.nan], [0.0, np.inf]])
def test_edges_that_do_not_increase_from_zero_are_refused(x):
    with pytest.raises(ValueError, match=r"^x must"):
        PowerMap(np.array(x), np.array([0.0, 1.0]), np.ones((1, max(len(x) - 1, 1))))


def test_watts_of_another_shape_than_the_edges_are_refused():
    with pytest.raises(ValueError, match=r"^watts has shape \(1, 2\), the edges ask for \(2, 1\)$"):
        PowerMap(np.array([0.0, 1.0]), np.array([0.0, 1.0, 2.0]), np.ones((1, 2)))


# Strong features: the expected extents are those drawn, in cells of 0.1 mm on 20 mm x 20 mm.


def drawn(*rectangles, ground=1.0):
    watts = np.full((200, 200), ground)
    for rows, columns, value in rectangles:
        watts[rows, columns] = value
    return grid(watts, 0.02, 0.02)


def test_the_short_side_of_a_hot_rectangle_is_its_extent():
    power_map = drawn((slice(40, 45), slice(20, 90), 6.0))
    assert smallest_strong_feature(power_map) == pytest.approx(0.5e-3, rel=1e-9)
    assert smallest_strong_feature(turned(power_map, 1)) == pytest.approx(0.5e-3, rel=1e-9)


def test_the_smaller_of_two_hot_rectangles_decides():
    power_map = drawn((slice(40, 80), slice(20, 90), 6.0), (slice(100, 107), slice(50, 57), 5.5))
    assert smallest_strong_feature(power_map) == pytest.approx(0.7e-3, rel=1e-9)


def test_a_circle_counts_with_its_mean_chord():
    """Mean chord of a circle: area / diameter = pi/4 diameters; derived independently."""
    y, x = np.mgrid[:200, :200] + 0.5
    power_map = grid(np.where((x - 100) ** 2 + (y - 100) ** 2 < 50**2, 5.0, 1.0), 0.02, 0.02)
    assert smallest_strong_feature(power_map) == pytest.approx(np.pi / 4 * 10e-3, rel=0.01)


def test_each_strong_region_has_its_box_and_extent():
    power_map = drawn((slice(40, 60), slice(20, 90), 4.0), (slice(100, 110), slice(150, 190), 4.0))
    (one, extent), (other, smaller) = sorted(strong_regions(power_map), key=lambda region: -region[1])
    # Cells of 0.1 mm: rows 40 to 60 are y 4 mm to 6 mm, columns 20 to 90 x 2 mm to 9 mm.
    assert one == pytest.approx((2e-3, 4e-3, 9e-3, 6e-3)) and extent == pytest.approx(2e-3)
    assert other == pytest.approx((15e-3, 10e-3, 19e-3, 11e-3)) and smaller == pytest.approx(1e-3)
    assert smallest_strong_feature(power_map) == smaller


@given(power_maps())
def test_strong_regions_lie_in_the_map_and_are_no_smaller_than_the_smallest_feature(power_map):
    for (left, bottom, right, top), extent in strong_regions(power_map):
        assert 0 <= left < right <= power_map.width and 0 <= bottom < top <= power_map.height
        assert smallest_strong_feature(power_map) <= extent <= min(right - left, top - bottom) * (1 + 1e-9)


def test_in_a_map_without_a_strong_feature_there_is_no_region():
    assert strong_regions(uniform_map(0.02, 0.01, 5.0)) == strong_regions(uniform_map(0.02, 0.01, 0.0)) == []


def test_in_a_map_without_a_strong_feature_the_short_side_is_the_extent():
    assert smallest_strong_feature(uniform_map(0.02, 0.01, 5.0)) == 0.01
    assert smallest_strong_feature(uniform_map(0.02, 0.01, 0.0)) == 0.01


def test_speckle_of_little_power_does_not_hide_a_hot_spot():
    power_map = drawn((slice(40, 60), slice(20, 40), 2.0))
    watts = power_map.watts.copy()
    watts[150, 150] = 2.5  # 1.5 means above the mean x 0.1 mm: 0.7 % of mean x 20 mm
    assert smallest_strong_feature(grid(watts, 0.02, 0.02)) == pytest.approx(2e-3, rel=1e-9)


def test_the_answer_is_the_same_for_cells_split_in_four():
    power_map = drawn((slice(40, 45), slice(20, 90), 6.0))
    split = grid(np.kron(power_map.watts, np.full((2, 2), 0.25)), 0.02, 0.02)
    assert smallest_strong_feature(split) == pytest.approx(smallest_strong_feature(power_map), rel=1e-9)


@pytest.mark.parametrize("noisy", [False, True])
def test_sixteen_million_cells_are_judged_by_groups_of_cells(noisy):
    watts = np.random.default_rng(1).random((4000, 4000)) if noisy else np.ones((4000, 4000))
    watts[1000:1400, 1000:1600] += 5.0
    power_map = grid(watts, 0.02, 0.02)
    assert smallest_strong_feature(power_map) == pytest.approx(2e-3, rel=1e-6)


# Jump lines.


def test_a_map_without_jumps_has_only_its_four_sides():
    lines = jump_lines(grid(np.full((3, 4), 2.0)), 0.0)
    assert lines.tolist() == [
        [[0.0, 0.0], [0.02, 0.0]],
        [[0.02, 0.0], [0.02, 0.01]],
        [[0.02, 0.01], [0.0, 0.01]],
        [[0.0, 0.01], [0.0, 0.0]],
    ]


def test_a_hot_rectangle_adds_its_four_sides_as_whole_lines():
    watts = np.ones((10, 20))
    watts[2:5, 4:12] = 9.0
    lines = jump_lines(grid(watts), 0.5)[4:] * 1e3
    sides = [[[4, 2], [4, 5]], [[12, 2], [12, 5]], [[4, 2], [12, 2]], [[4, 5], [12, 5]]]
    assert lines == pytest.approx(np.array(sides, dtype=float), abs=1e-12)


def test_only_jumps_above_the_threshold_make_lines():
    watts = [[1.0, 4.0, 10.0]]  # jumps of 0.3 and 0.6 of the peak
    counts = {threshold: len(jump_lines(grid(watts), threshold)) - 4 for threshold in (0.25, 0.35, 0.65)}
    assert counts == {0.25: 2, 0.35: 1, 0.65: 0}


@given(power_maps(), st.floats(0.0, 1.0))
def test_the_lines_turn_with_the_map(power_map, threshold):
    def length(lines):
        return np.abs(lines[:, 1] - lines[:, 0]).sum(axis=0)

    across, up = length(jump_lines(power_map, threshold))
    peak = peak_flux(power_map)
    jumps = np.concatenate([np.abs(np.diff(flux(power_map), axis=axis)).ravel() for axis in (0, 1)])
    if np.any(np.abs(jumps - max(threshold, 1e-12) * peak) < 1e-9 * peak):
        return  # rounding of the turned edges may decide
    assert length(jump_lines(turned(power_map, 1), threshold)) == pytest.approx((up, across), rel=1e-12)


def test_a_threshold_outside_zero_to_one_is_refused():
    with pytest.raises(ValueError, match=r"^threshold must be 0 to 1, got 1.5$"):
        jump_lines(uniform_map(1, 1, 1), 1.5)


# Blocks.


def test_blocks_on_a_grid_are_the_grid():
    watts = np.arange(1.0, 13.0).reshape(3, 4)
    blocks = [
        Block(i * 0.005, (i + 1) * 0.005, j * 0.004, (j + 1) * 0.004, watts[j, i]) for j in range(3) for i in range(4)
    ]
    power_map = block_map(0.02, 0.012, blocks)
    assert np.array_equal(power_map.watts, watts)
    assert_same(power_map, grid(watts, 0.02, 0.012))


def test_a_block_is_shared_by_area_over_the_cells_that_others_cut_it_into():
    power_map = block_map(10.0, 10.0, [Block(0, 10, 0, 5, 100.0), Block(2, 4, 5, 9, 7.0)])
    assert power_map.x.tolist() == [0, 2, 4, 10]
    assert power_map.y.tolist() == [0, 5, 9, 10]
    assert power_map.watts == pytest.approx(np.array([[20.0, 20.0, 60.0], [0, 7, 0], [0, 0, 0]]), rel=1e-15)


def test_edges_that_differ_by_rounding_are_one():
    third = 0.1 + 0.2  # 0.30000000000000004
    power_map = block_map(1.0, 1.0, [Block(0, third, 0, 1, 1.0), Block(0.3, 1, 0, 1, 2.0)])
    assert power_map.watts.shape == (1, 2)


@settings(max_examples=50)
@given(st.lists(st.tuples(*[st.integers(0, 9)] * 4), min_size=1, max_size=12))
def test_overlaps_are_those_that_counting_cells_finds(corners):
    sides = [(min(a, b), max(a, b) + 1, min(c, d), max(c, d) + 1) for a, b, c, d in corners]
    blocks = [Block(*side, 1.0) for side in sides]
    cells = [{(i, j) for i in range(x0, x1) for j in range(y0, y1)} for x0, x1, y0, y1 in sides]
    expected = {(i, j) for j in range(len(blocks)) for i in range(j) if cells[i] & cells[j]}
    assert set(overlapping_pairs(blocks, 1e-6)) == expected


@settings(max_examples=50)
@given(st.lists(st.floats(0.001, 0.999), min_size=1, max_size=6, unique=True), st.data())
def test_blocks_keep_their_total(cuts, data):
    edges = [0.0, *sorted(cuts), 1.0]
    strips = [(a, b) for a, b in pairwise(edges) if b - a > 1e-3]
    blocks = [Block(a, b, data.draw(st.floats(0, 0.4)), data.draw(st.floats(0.5, 1)), 10.0 * b) for a, b in strips]
    assert total_power(block_map(1.0, 1.0, blocks)) == pytest.approx(sum(b.watts for b in blocks), rel=ROUNDING)


def test_blocks_that_overlap_or_reach_outside_are_refused():
    with pytest.raises(ValueError, match=r"^blocks 0 and 1 overlap$"):
        block_map(1.0, 1.0, [Block(0, 0.5, 0, 1, 1.0), Block(0.4, 1, 0, 1, 1.0)])
    with pytest.raises(ValueError, match=r"^a block is too thin or reaches outside the footprint$"):
        block_map(1.0, 1.0, [Block(0.5, 1.1, 0, 1, 1.0)])
