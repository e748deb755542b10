"""From a map's cells to the nodes: nothing of a cell's watts or of its place is lost, on any mesh."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import REFERENCE, body, centred, cooled, random_tiles, solve_stack, source, stack, state
from pytest import approx

from plancha.fem import loads
from plancha.fem.loads import cell_loads, cell_weights, element_values
from plancha.fem.plan import plan_space
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.fem.thickness import Through
from plancha.geometry import grading
from plancha.geometry.bodies import Joint
from plancha.geometry.grading import embedded_lines
from plancha.geometry.grid import Grid
from plancha.geometry.mesh import SizeZone, mesh_of
from plancha.geometry.outline import circle, rectangle
from plancha.geometry.power_map import PowerMap, total_power

few = settings(max_examples=25, deadline=None, derandomize=True)
WATTS, MOMENTS = 1e-12, 1e-10  # relative: sums of some thousand terms in double precision
CHIP = (0.004, 0.008, 0.020, 0.016)
PLAN = (0.0, 0.0, 0.040, 0.030)


@cache
def space_and_chip(seed):
    """A random mesh of a plan with a chip on it, and the chip's elements."""
    rng = np.random.default_rng(seed)
    shapes = [rectangle(*PLAN), rectangle(*CHIP), circle(0.02, 0.015, float(rng.uniform(0.004, 0.012)))]
    corners = rng.uniform(0, 0.02, (2, 2))
    zones = [SizeZone((x, y, x + 0.01, y + 0.008), float(rng.uniform(4e-4, 3e-3))) for x, y in corners]
    mesh = mesh_of(shapes, zones, largest=float(rng.uniform(2e-3, 7e-3)))
    space = plan_space(mesh)
    centres = mesh.points[mesh.triangles].mean(axis=1)
    x, y, width, height = CHIP
    within = (centres[:, 0] > x) & (centres[:, 0] < x + width) & (centres[:, 1] > y) & (centres[:, 1] < y + height)
    return space, np.flatnonzero(within)


def edges(rng, length, count, even):
    if even:
        return np.linspace(0, length, count + 1)
    return np.r_[0.0, np.sort(rng.uniform(0.01, 0.99, count - 1)) * length, length]


def random_map(seed, columns, rows, even):
    rng = np.random.default_rng(seed)
    x, y = edges(rng, CHIP[2], columns, even), edges(rng, CHIP[3], rows, even)
    watts = rng.uniform(0, 1, (rows, columns)) * (rng.uniform(size=(rows, columns)) < 0.8)
    watts[0, 0] = 1.0
    return PowerMap(x, y, watts)


def centres_of(edges):
    return (edges[1:] + edges[:-1]) / 2


maps = (st.integers(0, 4), st.integers(0, 999), st.integers(1, 30), st.integers(1, 30), st.booleans())


@few
@given(*maps)
def test_each_cell_keeps_its_watt_and_its_centre_where_cells_are_cut_by_triangles(mesh, seed, columns, rows, even):
    space, chip = space_and_chip(mesh)
    power_map = random_map(seed, columns, rows, even)
    x, y = power_map.x + CHIP[0], power_map.y + CHIP[1]
    weights = cell_weights(space, x, y, chip)
    assert np.asarray(weights.sum(axis=0)).ravel() == approx(np.ones(columns * rows), rel=WATTS)
    # Quadratic functions hold x and y exactly: the loads' first moments are the cells' centres.
    centre_x, centre_y = np.meshgrid(centres_of(x), centres_of(y))
    assert weights.T @ space.nodes[:, 0] == approx(centre_x.ravel(), rel=MOMENTS)
    assert weights.T @ space.nodes[:, 1] == approx(centre_y.ravel(), rel=MOMENTS)
    # And its second: of a cell, centre squared plus width squared over 12.
    second = centre_x**2 + np.diff(x)[None, :] ** 2 / 12
    assert weights.T @ space.nodes[:, 0] ** 2 == approx(second.ravel(), rel=MOMENTS)


@few
@given(*maps)
def test_the_loads_keep_watts_and_moments_of_the_whole_map(mesh, seed, columns, rows, even):
    space, chip = space_and_chip(mesh)
    power_map = random_map(seed, columns, rows, even)
    load = cell_loads(space, power_map, CHIP[:2], chip)
    check_moments(space, load, power_map)
    # Nothing lands on a node that is not the chip's.
    assert set(np.flatnonzero(load)) <= set(space.element_nodes[chip].ravel())


def check_moments(space, load, power_map):
    watts = power_map.watts
    moment_x = (watts.sum(axis=0) * (centres_of(power_map.x) + CHIP[0])).sum()
    moment_y = (watts.sum(axis=1) * (centres_of(power_map.y) + CHIP[1])).sum()
    assert load.sum() == approx(total_power(power_map), rel=WATTS)
    assert load @ space.nodes == approx([moment_x, moment_y], rel=MOMENTS)


@few
@given(*maps)
def test_cells_taken_as_points_keep_watts_and_moments_too(mesh, seed, columns, rows, even):
    """Also where a centre lies on a side of triangles: it goes to one of them only."""
    space, chip = space_and_chip(mesh)
    power_map = random_map(seed, columns, rows, even)
    load = loads._point_loads(space, power_map.x + CHIP[0], power_map.y + CHIP[1], power_map.watts, chip)
    check_moments(space, load, power_map)


@few
@given(st.integers(0, 4), st.integers(1, 12), st.integers(1, 12), st.integers(0, 143))
def test_a_single_cell_taken_as_a_point_keeps_its_watt_and_place(mesh, columns, rows, number):
    space, chip = space_and_chip(mesh)
    watts = np.zeros((rows, columns))
    watts.flat[number % watts.size] = 2.5
    power_map = PowerMap(np.linspace(0, CHIP[2], columns + 1), np.linspace(0, CHIP[3], rows + 1), watts)
    load = loads._point_loads(space, power_map.x + CHIP[0], power_map.y + CHIP[1], watts, chip)
    check_moments(space, load, power_map)


@pytest.mark.parametrize("rows", [1, 7, 256])
def test_points_looked_up_in_pieces_give_the_same_loads(monkeypatch, rows):
    space, chip = space_and_chip(0)
    power_map = random_map(3, 60, 40, True)
    whole = loads._point_loads(space, power_map.x + CHIP[0], power_map.y + CHIP[1], power_map.watts, chip)
    monkeypatch.setattr(loads, "ROWS", rows)
    pieces = loads._point_loads(space, power_map.x + CHIP[0], power_map.y + CHIP[1], power_map.watts, chip)
    assert pieces == approx(whole, abs=1e-12 * np.abs(whole).max())


@pytest.mark.parametrize("rows", [1, 256])
def test_a_point_on_a_side_between_two_triangles_counts_once(monkeypatch, rows):
    """An edge of the mesh runs up the middle of the chip, and through the centres of the map's middle column."""
    monkeypatch.setattr(loads, "ROWS", rows)
    x, y, width, height = CHIP
    halves = [rectangle(x, y, width / 2, height), rectangle(x + width / 2, y, width / 2, height)]
    mesh = mesh_of([rectangle(*PLAN), *halves], [SizeZone((x, y, x + width, y + height), 2e-3)])
    centres = mesh.points[mesh.triangles].mean(axis=1)
    within = np.all((centres > [x, y]) & (centres < [x + width, y + height]), axis=1)
    power_map = random_map(8, 5, 40, True)
    space = plan_space(mesh)
    load = loads._point_loads(space, power_map.x + x, power_map.y + y, power_map.watts, np.flatnonzero(within))
    check_moments(space, load, power_map)


def test_cutting_and_points_agree_where_cells_are_far_smaller_than_triangles():
    """The two ways differ by the cells' own second moments only: size squared over 24 of a function's bend."""
    space, chip = space_and_chip(1)
    power_map = random_map(5, 300, 240, True)
    cut = cell_loads(space, power_map, CHIP[:2], chip)
    points = loads._point_loads(space, power_map.x + CHIP[0], power_map.y + CHIP[1], power_map.watts, chip)
    assert points == approx(cut, abs=5e-3 * np.abs(cut).max())
    assert not np.array_equal(points, cut)


@few
@given(st.integers(0, 4), st.integers(0, 99), st.integers(1, 9), st.integers(1, 9))
def test_a_coefficient_map_keeps_its_integral_and_its_range(mesh, seed, columns, rows):
    space, chip = space_and_chip(mesh)
    values = np.random.default_rng(seed).uniform(10, 5000, (rows, columns))
    left, bottom, width, height = CHIP
    grid = Grid((left, bottom, left + width, bottom + height), values)
    found = element_values(space, grid, chip)
    assert found @ space.areas[chip] == approx(values.mean() * width * height, rel=1e-9)
    assert values.min() * (1 - 1e-12) <= found.min() and found.max() <= values.max() * (1 + 1e-12)


def test_beyond_its_grid_a_coefficient_map_goes_on_as_at_its_rim():
    space, _ = space_and_chip(2)
    everywhere = np.arange(len(space.element_nodes))
    left, bottom, width, height = CHIP
    found = element_values(
        space, Grid((left, bottom, left + width, bottom + height), np.array([[100.0, 900.0]])), everywhere
    )
    x = space.mesh.points[space.mesh.triangles].mean(axis=1)[:, 0]
    assert np.all(found[x < left] == 100.0)
    assert np.all(found[x > left + width] == 900.0)


def chip_on_plate():
    """A die of 24 x 20 mm in 37 x 23 random tiles on a copper plate."""
    place = (0.036, 0.030, 0.024, 0.020)
    bodies = [body("die", place, 0.775e-3, 120.0), body("plate", (0, 0, 0.1, 0.08), 3e-3, 390.0)]
    power_map = random_tiles(place[2], place[3], 37, 23, 280.0, 11)
    heated = source("die", place, power_map, (0, 1), (0,))
    return stack(bodies, [heated], [cooled(2000.0, 1)], [Joint("interface", 0, 1, 10e-6)])


def one_triangle_a_tile(case, monkeypatch, aligned):
    """Solution with triangles as large as a tile over the die, one quadratic through each body."""
    monkeypatch.setattr(grading, "EMBEDDED_CELLS", 37 * 23 if aligned else 0)
    tiles = case.sources[0].power_map
    zone = SizeZone(case.bodies[0].outline.bounds, float(np.diff(tiles.x).min()))
    mesh = mesh_of([each.outline for each in case.bodies], [zone], embedded_lines(case))
    return solve(sheets_of(case, plan_space(mesh), [Through(), Through()]))


def test_a_map_that_no_edge_of_the_mesh_follows_heats_as_one_whose_edges_are_all_meshed(monkeypatch):
    loose = one_triangle_a_tile(chip_on_plate(), monkeypatch, False)
    aligned = one_triangle_a_tile(chip_on_plate(), monkeypatch, True)
    # A straight line per tile edge: the aligned mesh cannot have fewer triangles than two a tile, the other may.
    assert len(aligned.sheets.space.areas) > 1.5 * len(loose.sheets.space.areas)
    ours, theirs = state(loose), state(aligned)
    rise = theirs.peak.value - REFERENCE
    assert ours.peak.value - REFERENCE == approx(rise, rel=5e-4)
    assert ours.mean == approx(theirs.mean, abs=5e-4 * rise)
    assert ours.power_mean == approx(theirs.power_mean, abs=5e-4 * rise)
    assert ours.peak.point == approx(theirs.peak.point, abs=0.1e-3)


def test_the_same_map_upside_down_heats_elsewhere(monkeypatch):
    """So that the check above can fail: the pattern itself is worth far more than 0.05 %."""
    case = chip_on_plate()
    tiles = case.sources[0].power_map
    flipped = replace(case.sources[0], power_map=PowerMap(tiles.x, tiles.y, tiles.watts[::-1]))
    one = state(one_triangle_a_tile(case, monkeypatch, False)).peak
    other = state(one_triangle_a_tile(replace(case, sources=(flipped,)), monkeypatch, False)).peak
    # The plate is 80 mm high, the die between 30 and 50 mm: turned over about 40 mm.
    assert other.value == approx(one.value, abs=0.05)
    assert other.point == approx((one.point[0], 0.08 - one.point[1]), abs=0.2e-3)
    assert abs(one.point[1] - 0.04) > 0.5e-3


@pytest.mark.slow  # sixteen million cells: some seconds and 1.5 GB
def test_a_map_of_four_thousand_cells_a_side_keeps_watts_and_moments():
    rng = np.random.default_rng(0)
    x, y = np.linspace(0, CHIP[2], 4001), np.linspace(0, CHIP[3], 4001)
    space, chip = space_and_chip(3)
    power_map = PowerMap(x, y, rng.uniform(0, 1, (4000, 4000)))
    load = cell_loads(space, power_map, CHIP[:2], chip)
    # Sixteen million terms: their rounding is random and stays near 1e-13, the bound at 1e-11.
    assert load.sum() == approx(total_power(power_map), rel=1e-11)
    assert load @ space.nodes == approx(
        [
            power_map.watts.sum(axis=0) @ (centres_of(x) + CHIP[0]),
            power_map.watts.sum(axis=1) @ (centres_of(y) + CHIP[1]),
        ],
        rel=MOMENTS,
    )


def test_uniform_heat_by_map_and_by_outline_is_the_same():
    side = centred(0.01, 0.04)
    plain = stack([body("plate", (0, 0, 0.04, 0.04), 3e-3, 390.0)], [source("s", side, 7.0)], [cooled(1000.0)])
    even = PowerMap(np.linspace(0, 0.01, 8), np.linspace(0, 0.01, 6), np.full((5, 7), 0.2))
    mapped = stack([body("plate", (0, 0, 0.04, 0.04), 3e-3, 390.0)], [source("s", side, even)], [cooled(1000.0)])
    one, other = state(solve_stack(plain)), state(solve_stack(mapped))
    assert other.peak.value - REFERENCE == approx(one.peak.value - REFERENCE, rel=1e-3)
    assert other.mean - REFERENCE == approx(one.mean - REFERENCE, rel=1e-3)
