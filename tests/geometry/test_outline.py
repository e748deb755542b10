"""Outlines: areas of circles and rounded corners, cut-outs, and shapes that are refused."""

from math import pi

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.geometry.outline import circle, polygon, rectangle, rounded_rectangle, with_cut_outs

few = settings(max_examples=50, deadline=None, derandomize=True)
places, sizes = st.floats(-0.2, 0.2), st.floats(1e-3, 0.3)


@few
@given(places, places, sizes)
def test_a_circle_keeps_its_exact_area_and_its_centre(x, y, diameter):
    shape = circle(x, y, diameter)
    assert shape.area == approx(pi * diameter**2 / 4, rel=1e-10)
    assert (shape.centroid.x, shape.centroid.y) == approx((x, y), abs=1e-10)
    # A regular outline of 48 corners: between inside and outside of the circle by a fifth of a percent of its radius.
    radii = [shape.centroid.distance(shapely.Point(corner)) for corner in shape.exterior.coords]
    assert radii == approx([diameter / 2] * len(radii), rel=3e-3)


@few
@given(places, places, sizes, sizes, st.floats(0.0, 1.0))
def test_rounded_corners_take_away_their_share_of_the_area(x, y, width, height, share):
    radius = share * min(width, height) / 2
    shape = rounded_rectangle(x, y, width, height, radius)
    assert shape.is_valid
    exact = width * height - (4 - pi) * radius**2
    # The ends of an arc stay on the sides: of its 12 chords, the first and last lose half a percent of the corner.
    assert shape.area == approx(exact, abs=2.5e-3 * radius**2 + 1e-15)
    assert shape.bounds == approx((x, y, x + width, y + height), abs=1e-12)
    assert rectangle(x, y, width, height).buffer(1e-12).covers(shape)


def test_a_rectangle_s_first_corner_is_its_lower_left():
    assert rectangle(0.01, 0.02, 0.03, 0.04).bounds == approx((0.01, 0.02, 0.04, 0.06))


def test_no_radius_is_a_plain_rectangle():
    assert len(rounded_rectangle(0, 0, 1, 2, 0.0).exterior.coords) == 5


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([(0, 0), (1, 1), (1, 0), (0, 1)], "crosses or touches itself"),
        ([(0, 0), (1, 0)], "three corners or more, not 2"),
        ([(0, 0), (1, 0), (2, 0)], "crosses or touches itself|encloses no area"),
        ([(0, 0), (2, 0), (2, 2), (1, 0), (0, 2)], "crosses or touches itself"),
    ],
    ids=["a bow tie", "two corners", "a line", "a corner on a side"],
)
def test_outlines_that_enclose_nothing_clear_are_refused(points, message):
    with pytest.raises(ValueError, match=message):
        polygon(points)


@pytest.mark.parametrize("backwards", [False, True])
def test_a_polygon_may_go_round_either_way(backwards):
    corners = [(0.0, 0.0), (0.03, 0.0), (0.03, 0.01), (0.01, 0.01), (0.01, 0.02), (0.0, 0.02)]
    assert polygon(corners[::-1] if backwards else corners).area == approx(4e-4)


def test_cut_outs_take_away_their_area_inside_the_shape():
    whole = rectangle(0, 0, 0.04, 0.03)
    holes = [circle(0.01, 0.01, 0.004), rectangle(0.035, 0.02, 0.01, 0.005)]
    left = with_cut_outs(whole, holes)
    assert left.area == approx(12e-4 - pi * 0.002**2 - 0.005**2, rel=1e-9)
    assert len(left.interiors) == 1  # the other reaches the rim: a notch


@pytest.mark.parametrize(
    ("holes", "message"),
    [
        ([(0.1, 0.1, 0.01, 0.01)], "cut-out 1 lies outside"),
        ([(0.01, 0.01, 0.01, 0.01), (0.04, 0.0, 0.01, 0.01)], "cut-out 2 lies outside"),
        ([(-0.01, 0.01, 0.06, 0.005)], "several loose pieces"),
        ([(-0.01, -0.01, 0.1, 0.1)], "leave nothing"),
    ],
    ids=["far away", "touching the rim from outside", "right across", "all of it"],
)
def test_cut_outs_that_miss_or_fell_the_shape_are_refused(holes, message):
    with pytest.raises(ValueError, match=message):
        with_cut_outs(rectangle(0, 0, 0.04, 0.03), [rectangle(*hole) for hole in holes])
