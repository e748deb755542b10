"""The air of a fan on the plan: no flow is lost, the hub is weak, and a plenum evens out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from plancha.fem.fan_footprint import PROFILES, FanFootprint, axial_velocity, blend_of, fan_profile_on_grid

OUTER, HUB, FLOW = 0.045, 0.020, 0.015

profiles = st.sampled_from(sorted(PROFILES))
shares = st.floats(0, 1)


def bare(profile):
    return FanFootprint((0.0, 0.0), OUTER, HUB, profile, hub_floor=0.0, corner_floor=0.0)


def test_an_even_profile_has_the_mean_speed_of_the_annulus():
    # 0.015 m3/s over 5.10509e-3 m2: 2.93825 m/s, derived independently.
    assert axial_velocity(bare("even"), [HUB, 0.03, OUTER], FLOW) == pytest.approx([2.93825] * 3, rel=2e-6)


def test_a_profile_that_grows_with_radius_is_fastest_at_the_tip():
    # 1.72318 m/s at the hub, 3.87716 m/s at the tip: derived independently.
    assert axial_velocity(bare("growing with radius"), [HUB, OUTER], FLOW) == pytest.approx(
        [1.72318, 3.87716], rel=3e-6
    )


def test_a_floor_keeps_the_hub_from_being_dead_and_slows_the_annulus():
    footprint = FanFootprint((0.0, 0.0), OUTER, HUB, "even", hub_floor=0.2)
    under_hub, annulus, outside = axial_velocity(footprint, [0.0, 0.03, 0.05], FLOW)
    assert under_hub == pytest.approx(0.2 * annulus, rel=1e-12)
    assert 0 < annulus < 2.93825 and outside == 0.0


@given(profiles, st.floats(0.01, 0.1), st.floats(0.01, 0.95), shares, st.floats(1e-4, 0.1))
def test_the_speed_over_the_disc_integrates_to_the_flow(profile, outer, hub_share, floor, flow):
    footprint = FanFootprint((0.0, 0.0), outer, hub_share * outer, profile, hub_floor=floor)

    def ring(radius):
        return 2 * math.pi * radius * float(axial_velocity(footprint, radius, flow))

    hub = footprint.hub_radius
    inside = (
        quad(ring, 0, math.nextafter(hub, 0))[0] + quad(ring, hub, outer)[0]
    )  # two parts: the speed jumps at the hub
    assert inside == pytest.approx(flow, rel=1e-9)


@given(
    profiles, st.floats(0.01, 1), st.floats(0.01, 1), st.floats(0, 0.09), st.floats(0, 0.07), st.integers(1, 30), st.integers(1, 30),
    st.randoms(use_true_random=False),
)  # fmt: skip
def test_no_air_is_lost_on_any_grid(profile, floor, corner, x, y, columns, rows, random):
    footprint = FanFootprint((x, y), OUTER, HUB, profile, floor, corner)
    x_edges = np.cumsum([random.uniform(1e-4, 1e-2) for _ in range(columns + 1)])
    y_edges = np.cumsum([random.uniform(1e-4, 1e-2) for _ in range(rows + 1)])
    speed = fan_profile_on_grid(footprint, FLOW, x_edges, y_edges)
    assert speed.shape == (rows, columns) and (speed >= 0).all()
    assert float((speed * np.diff(y_edges)[:, None] * np.diff(x_edges)).sum()) == pytest.approx(FLOW, rel=1e-12)


def test_on_a_fine_grid_the_cells_have_the_speed_at_their_centres():
    edges = np.linspace(-OUTER, OUTER, 181)
    speed = fan_profile_on_grid(bare("growing with radius"), FLOW, edges, edges)
    centres = 0.5 * (edges[1:] + edges[:-1])
    radius = np.hypot(centres, centres[:, None])
    inside = (radius > HUB + 5e-4) & (radius < OUTER - 5e-4)
    expected = axial_velocity(bare("growing with radius"), radius[inside], FLOW)
    assert speed[inside] == pytest.approx(expected, rel=1e-3)  # cells at the rims are counted by 64 points
    assert (speed[radius < HUB - 5e-4] == 0).all()


def test_the_annulus_covers_63_percent_of_the_fans_square():
    # 63.03 % of a 90 mm square, derived independently: mean speed of the square over that of the annulus.
    edges = np.linspace(-OUTER, OUTER, 181)
    speed = fan_profile_on_grid(bare("even"), FLOW, edges, edges)
    assert speed.mean() / speed.max() == pytest.approx(0.6303, rel=1e-3)


def test_the_field_is_as_symmetric_as_the_fan():
    edges = np.linspace(-0.05, 0.05, 41)
    speed = fan_profile_on_grid(FanFootprint((0.0, 0.0), OUTER, HUB), FLOW, edges, edges)
    for turned in (speed[::-1], speed[:, ::-1], speed.T):
        assert turned == pytest.approx(speed, rel=1e-12)


def test_row_0_is_the_bottom():
    edges = np.linspace(0.0, 0.1, 11)
    speed = fan_profile_on_grid(FanFootprint((0.05, 0.0), OUTER, HUB, corner_floor=0.0), FLOW, edges, edges)
    assert speed[0].max() > 0 and speed[-1].max() == 0


def test_corners_get_their_share_of_the_annulus():
    edges = np.linspace(-0.06, 0.06, 121)
    speed = fan_profile_on_grid(FanFootprint((0.0, 0.0), OUTER, HUB, "even", 0.2, 0.1), FLOW, edges, edges)
    assert speed[0, 0] / speed.max() == pytest.approx(0.1, rel=1e-12)
    assert speed[60, 60] / speed.max() == pytest.approx(0.2, rel=1e-12)


def test_a_field_beside_the_fan_gets_no_air_and_is_refused():
    with pytest.raises(ValueError, match="no air of the fan reaches the field"):
        fan_profile_on_grid(bare("even"), FLOW, [1.0, 1.1], [1.0, 1.1])


@pytest.mark.parametrize("edges", [[0.0], [0.0, 0.0], [0.1, 0.0]])
def test_edges_that_do_not_rise_are_refused(edges):
    with pytest.raises(ValueError, match="the edges of a grid"):
        fan_profile_on_grid(bare("even"), FLOW, edges, [0.0, 0.1])


@pytest.mark.parametrize(
    "arguments",
    [(0.02, 0.02), (0.02, 0.03), (0.02, -0.01), (math.nan, 0.01), (0.02, 0.01, "swirling"), (0.02, 0.01, "even", -0.1),
     (0.02, 0.01, "even", 0.1, 1.1)],
)  # fmt: skip
def test_a_fan_that_cannot_be_is_refused(arguments):
    with pytest.raises(ValueError):
        FanFootprint((0.0, 0.0), *arguments)


def test_a_plenum_of_one_hub_diameter_evens_out_63_percent():
    assert blend_of(0.0, 2 * HUB) == 0.0
    assert blend_of(2 * HUB, 2 * HUB) == pytest.approx(1 - 1 / math.e, rel=1e-12)
    assert blend_of(100 * HUB, 2 * HUB) == pytest.approx(1.0, abs=1e-12)
    assert blend_of(0.01, 0.0) == 1.0
    with pytest.raises(ValueError):
        blend_of(-0.01, 0.02)


@given(st.floats(0, 0.2), st.floats(0, 0.2), st.floats(0.005, 0.1))
def test_a_longer_plenum_never_evens_out_less(gap, longer, hub):
    assert 0 <= blend_of(gap, hub) <= blend_of(gap + longer, hub) <= 1
