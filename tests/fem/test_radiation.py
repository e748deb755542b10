"""Radiation against closed numbers, the sum rule of a box, and a radiosity solution that shares nothing with the product."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.radiation import (
    STEFAN_BOLTZMANN,
    cavity_apparent_emissivity,
    channel_black_area,
    channel_wall_coefficient,
    finned_base_coefficient,
    groove_apparent_emissivity,
    parallel_exchange_area,
    perpendicular_exchange_area,
    radiation_coefficient,
    radiation_coefficient_at_mean,
)

HOT, ROOM = 333.15, 298.15
sizes = st.floats(1e-3, 1.0)
emissivities = st.floats(0.02, 1.0)


# ---- one surface -----------------------------------------------------------------------------------------------------


def test_coefficient_at_60_over_25_degrees():
    # e 0.9: 6.42 by the mean temperature, 6.4397 exactly, derived independently; small beside forced air
    assert radiation_coefficient_at_mean(0.9, HOT, ROOM) == approx(6.42, abs=0.005)
    assert radiation_coefficient(0.9, HOT, ROOM) == approx(6.4397, abs=5e-5)


def test_coefficient_times_rise_is_the_law_of_the_fourth_powers():
    flux = 0.8 * STEFAN_BOLTZMANN * (400.0**4 - 300.0**4)
    assert radiation_coefficient(0.8, 400.0, 300.0) * 100.0 == approx(flux, rel=1e-14)


def test_constant_of_stefan_and_boltzmann_follows_from_its_definition():
    # 2 pi^5 k^4 / (15 h^3 c^2) with the fixed k, h, c of the 2019 SI
    boltzmann, planck, light = 1.380649e-23, 6.62607015e-34, 299792458.0
    assert approx(2 * np.pi**5 * boltzmann**4 / (15 * planck**3 * light**2), rel=1e-9) == STEFAN_BOLTZMANN


@given(hot=st.floats(200, 600), cold=st.floats(200, 600))
def test_the_mean_temperature_never_gives_more_than_the_exact_coefficient(hot, cold):
    short = radiation_coefficient(0.9, hot, cold) - radiation_coefficient_at_mean(0.9, hot, cold)
    assert short == approx(0.45 * STEFAN_BOLTZMANN * (hot + cold) * (hot - cold) ** 2, rel=1e-6, abs=1e-12)


@given(hot=st.floats(200, 600), cold=st.floats(200, 600), more=st.floats(0.01, 50))
def test_hotter_surfaces_have_larger_coefficients_and_either_may_be_the_hotter(hot, cold, more):
    assert radiation_coefficient(0.5, hot + more, cold) > radiation_coefficient(0.5, hot, cold)
    assert radiation_coefficient(0.5, hot, cold) == approx(radiation_coefficient(0.5, cold, hot), rel=1e-15)


# ---- what rectangles see of each other -------------------------------------------------------------------------------


@given(width=sizes, depth=sizes, height=sizes)
def test_the_faces_of_a_box_see_each_other_and_nothing_else(width, depth, height):
    # from the face width x depth: its opposite, and four neighbours two by two
    opposite = parallel_exchange_area(width, depth, height)
    neighbours = 2 * perpendicular_exchange_area(width, height, depth) + 2 * perpendicular_exchange_area(
        depth, height, width
    )
    assert opposite + neighbours == approx(width * depth, rel=1e-8)


def test_the_faces_of_a_cube():
    # 0.2 each to 0.0002: tables of view factors, from memory (0.1998 opposite, 0.2000 beside)
    assert parallel_exchange_area(1.0, 1.0, 1.0) == approx(0.1998, abs=5e-5)
    assert perpendicular_exchange_area(1.0, 1.0, 1.0) == approx(0.2000, abs=5e-5)


def test_far_apart_two_plates_see_each_other_as_points_do():
    # A1 A2 / (pi r^2); the next term is of the order (size/distance)^2
    assert parallel_exchange_area(0.01, 0.02, 1.0) == approx(0.01**2 * 0.02**2 / np.pi, rel=1e-3)


def test_a_long_corner_is_that_of_two_strips():
    # crossed strings, per length: (a + b - sqrt(a^2 + b^2)) / 2; ends cost some a/length
    a, b, length = 0.01, 0.02, 100.0
    assert perpendicular_exchange_area(a, b, length) / length == approx((a + b - np.hypot(a, b)) / 2, rel=1e-3)


@given(width=sizes, height=sizes, edge=sizes)
def test_seeing_is_mutual(width, height, edge):
    there = perpendicular_exchange_area(width, height, edge)
    assert there == approx(perpendicular_exchange_area(height, width, edge), rel=1e-9)
    assert 0 < there < min(width, height) * edge


# ---- channels --------------------------------------------------------------------------------------------------------


def strips(length, count):
    """Ends of strips that are finest at both ends."""
    return length * (1 - np.cos(np.linspace(0, np.pi, count + 1))) / 2


def radiosity_of_a_groove(emissivity, depth, count=120):
    """Apparent emissivity of a groove of width 1: radiosity of strips, view factors by crossed strings. Derived independently."""
    across, up = strips(1.0, count), strips(depth, count)
    base = np.column_stack([across, 0 * across])
    right, left = np.column_stack([0 * up + 1, up]), np.column_stack([0 * up, up])[::-1]
    starts = np.concatenate([side[:-1] for side in (base, right, left)])
    stops = np.concatenate([side[1:] for side in (base, right, left)])

    def strings(some, others):
        return np.linalg.norm(some[:, None] - others[None], axis=-1)

    seen = np.abs(strings(starts, starts) + strings(stops, stops) - strings(starts, stops) - strings(stops, starts)) / 2
    side = np.repeat([0, 1, 2], count)
    seen[side[:, None] == side[None]] = 0.0
    width = np.linalg.norm(stops - starts, axis=1)
    views = seen / width[:, None]
    radiosity = np.linalg.solve(np.eye(len(width)) - (1 - emissivity) * views, np.full(len(width), emissivity))
    return float(width * (1 - views.sum(axis=1)) @ radiosity)


@pytest.mark.parametrize(
    ("depth", "emissivity", "above"),
    [(1.0, 0.5, 0.012), (1.0, 0.9, 0.003), (4.0, 0.1, 0.105), (4.0, 0.5, 0.072), (4.0, 0.9, 0.0125)],
)
def test_a_groove_radiates_less_than_the_formula_by_what_its_docstring_says(depth, emissivity, above):
    exact = radiosity_of_a_groove(emissivity, depth)
    excess = groove_apparent_emissivity(emissivity, 1.0, depth) / exact - 1
    assert 0 < excess == approx(above, abs=0.002)


@pytest.mark.parametrize("depth", [0.2, 1.0, 10.0])
@pytest.mark.parametrize("emissivity", [0.05, 0.3, 0.7, 0.95])
def test_a_groove_lies_between_its_finish_and_the_formula(depth, emissivity):
    exact = radiosity_of_a_groove(emissivity, depth, 60)
    assert emissivity < exact < groove_apparent_emissivity(emissivity, 1.0, depth) < 1


def test_a_black_groove_is_a_black_mouth():
    assert groove_apparent_emissivity(1.0, 0.01, 0.05) == approx(1.0, rel=1e-15)
    assert radiosity_of_a_groove(1.0, 4.0) == approx(1.0, rel=1e-9)


def test_a_flat_groove_is_a_plate_of_its_finish():
    assert groove_apparent_emissivity(0.3, 1.0, 1e-9) == approx(0.3, rel=1e-8)


def test_a_long_channel_radiates_like_a_groove():
    # the ends' share is gap-sized over the length
    area = channel_black_area(0.6, 0.01, 0.03, 1000.0)
    assert area == approx(groove_apparent_emissivity(0.6, 0.01, 0.03) * 0.01 * 1000.0, rel=1e-4)


def rays_from_a_black_channel(gap, height, length, count=400_000):
    """Area from which rays leave the open box unhindered, by chance: cosine-spread rays from base and both fins."""
    chance = np.random.default_rng(20261125)
    areas = np.array([gap * length, height * length, height * length])
    wall = chance.choice(3, size=count, p=areas / areas.sum())
    u, v, turn, spread = chance.random((4, count))
    sine, cosine, angle = np.sqrt(spread), np.sqrt(1 - spread), 2 * np.pi * turn
    along = sine * np.cos(angle)
    out, side = cosine, sine * np.sin(angle)
    # x across the gap, y along, z out of the base; a fin at x = 0 stands for both, by symmetry
    is_base = wall == 0
    x, z = np.where(is_base, u * gap, 0.0), np.where(is_base, 0.0, u * height)
    dx, dz = np.where(is_base, side, out), np.where(is_base, out, side)
    y = v * length
    with np.errstate(divide="ignore"):
        to_fin = np.where(dx > 0, (gap - x) / dx, np.where(dx < 0, x / -dx, np.inf))
        to_fin = np.where(is_base | (dx > 0), to_fin, np.inf)
        to_base = np.where(dz < 0, z / -dz, np.inf)
        to_front = np.where(dz > 0, (height - z) / dz, np.inf)
        to_end = np.where(along > 0, (length - y) / along, y / -along)
    leaves = np.minimum(to_front, to_end) < np.minimum(to_fin, to_base)
    share = leaves.mean()
    return areas.sum() * share, areas.sum() * np.sqrt(share * (1 - share) / count)


@pytest.mark.parametrize(("gap", "height", "length"), [(0.008, 0.032, 0.1), (0.02, 0.01, 0.03)])
def test_a_black_channel_loses_what_rays_carry_out(gap, height, length):
    area, deviation = rays_from_a_black_channel(gap, height, length)
    assert deviation < 0.005 * area
    assert channel_black_area(1.0, gap, height, length) == approx(area, abs=4 * deviation)


@given(emissivity=emissivities, gap=sizes, height=sizes, length=sizes)
def test_a_channel_radiates_less_than_its_mouths_and_than_its_walls(emissivity, gap, height, length):
    area = channel_black_area(emissivity, gap, height, length)
    mouths, walls = gap * (length + 2 * height), length * (gap + 2 * height)
    assert 0 < area < min(mouths, emissivity * walls) * (1 + 1e-9)


@given(emissivity=st.floats(0.02, 0.9), gap=sizes, height=sizes, length=sizes, more=st.floats(1.01, 3))
def test_blacker_or_deeper_channels_radiate_more(emissivity, gap, height, length, more):
    area = channel_black_area(emissivity, gap, height, length)
    assert channel_black_area(min(1.0, emissivity * more), gap, height, length) > area
    assert channel_black_area(emissivity, gap, height * more, length) > area


def test_between_fins_a_wall_radiates_a_fraction_of_a_free_one():
    free = radiation_coefficient(0.8, HOT, ROOM)
    shares = channel_wall_coefficient(0.8, HOT, ROOM, np.array([0.5, 0.1, 0.02, 0.005]), 0.03, 0.1) / free
    assert np.all(np.diff(shares) < 0) and 0.8 < shares[0] < 1 and shares[-1] < 0.25


# ---- with convection, on the base ------------------------------------------------------------------------------------


def test_fins_of_one_temperature_add_up_their_area():
    # n fins: (n - 1) (gap + 2 height) of wall on (n - 1) gap + n thickness of base
    found = finned_base_coefficient(4.0, 1.5, 0.008, 0.001, 0.03, 1e12, fins=10)
    assert found == approx(5.5 * 9 * (0.008 + 0.06) / (9 * 0.008 + 10 * 0.001), rel=1e-9)


def test_radiation_costs_fins_some_of_their_efficiency():
    convection, radiation, both = (
        finned_base_coefficient(*pair, 0.008, 0.001, 0.05, 150.0) for pair in ((5.0, 0.0), (0.0, 2.0), (5.0, 2.0))
    )
    assert max(convection, radiation) < both < convection + radiation


def test_without_rise_and_finish_the_base_gives_off_nothing():
    assert finned_base_coefficient(0.0, 0.0, 0.008, 0.001, 0.03, 200.0) == approx(0.0, abs=1e-10)


def test_a_bank_of_fins_never_radiates_more_than_a_black_box_around_it():
    # endless row of channels 32 mm deep, 100 mm long: fronts and both ends of the pitch, as if black
    gap, thickness, height, length = 0.008, 1e-9, 0.032, 0.1
    walls = channel_wall_coefficient(0.99, HOT, ROOM, gap, height, length)
    on_base = finned_base_coefficient(0.0, walls, gap, thickness, height, 1e15)
    black = radiation_coefficient(1.0, HOT, ROOM)
    assert black < on_base < black * (1 + 2 * height / length)


# ---- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("emissivity", [-0.1, 1.1, 5.0, np.nan])
def test_an_impossible_emissivity_is_refused_with_its_value(emissivity):
    with pytest.raises(ValueError, match=rf"an emissivity must be within 0\.\.1; got {emissivity}"):
        radiation_coefficient([0.5, emissivity], HOT, ROOM)


def test_degrees_celsius_below_zero_are_refused_as_kelvin():
    with pytest.raises(ValueError, match="ambient_temperature must be above 0, got -10"):
        radiation_coefficient(0.9, 60.0, -10.0)


def test_a_channel_without_a_gap_is_refused():
    with pytest.raises(ValueError, match="gap must be above 0, got 0"):
        channel_black_area(0.9, 0.0, 0.03, 0.1)
    with pytest.raises(ValueError, match="opening_per_wall must be above 0"):
        cavity_apparent_emissivity(0.9, 0.0)
