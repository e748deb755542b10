"""Where the mesh is fine: at each strong region of a map, and no finer elsewhere than the outlines ask for."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plancha.geometry.bodies import Body, Source, Stack
from plancha.geometry.grading import ASKEW, MOST_REGIONS, PER_FEATURE, plan_mesh, predicted_triangles, size_zones
from plancha.geometry.materials import find_material
from plancha.geometry.power_map import PowerMap


def heated(watts, at=(0.03, 0.02), size=(0.02, 0.02), **more):
    """A plate of 100 mm x 80 mm whose heat is the given grid, row 0 at the bottom."""
    rows, columns = watts.shape
    power_map = PowerMap(np.linspace(0, size[0], columns + 1), np.linspace(0, size[1], rows + 1), watts)
    outline = shapely.box(at[0], at[1], at[0] + size[0], at[1] + size[1])
    plate = Body("plate", shapely.box(0, 0, 0.1, 0.08), 0.003, find_material("copper C11000"))
    source = Source("chip", (0,), (), 0, outline, float(watts.sum()), power_map, 0.0, None)
    return Stack("", 300.0, 300.0, "ambient", (plate,), (), (), (), (), (source,), (), ("chip",), **more)


def spots(*places, cells=100, power=30.0):
    watts = np.ones((cells, cells)) * 0.01
    for row, column, height, width in places:
        watts[row : row + height, column : column + width] = power
    return watts


def sides(mesh):
    corners = mesh.points[mesh.triangles]
    return np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1), corners.mean(axis=1)


def test_triangles_are_small_in_the_hot_spot_and_grow_away_from_it():
    mesh = plan_mesh(heated(spots((10, 10, 5, 5))))
    side, centre = sides(mesh)
    spot = np.abs(centre - [0.0325, 0.0225]).max(axis=1) < 0.0005
    # The spot is 1 mm wide; a mesher exceeds the size it is asked for by less than half.
    assert side[spot].max() < 1.5e-3 / PER_FEATURE
    far = np.hypot(*(centre - [0.0325, 0.0225]).T) > 0.01
    assert side[far].min() > 1e-3 / PER_FEATURE


def test_each_strong_region_has_a_zone_in_the_plates_coordinates():
    zones = size_zones(heated(spots((10, 10, 5, 5), (60, 20, 10, 40))))
    small, large = sorted((zone for zone in zones if zone.size < 0.002), key=lambda zone: zone.size)
    assert small.box == pytest.approx((0.032, 0.022, 0.033, 0.023)) and small.size == pytest.approx(
        0.001 / PER_FEATURE / ASKEW
    )
    assert large.box == pytest.approx((0.034, 0.032, 0.042, 0.034)) and large.size == pytest.approx(
        0.002 / PER_FEATURE / ASKEW
    )


def test_refinement_divides_every_size():
    stack = heated(spots((10, 10, 5, 5)))
    whole, finer = size_zones(stack), size_zones(stack, 2.0)
    assert [zone.size for zone in finer] == pytest.approx([zone.size / 2 for zone in whole])
    assert [zone.box for zone in finer] == [zone.box for zone in whole]


def test_beyond_the_most_regions_the_rest_share_a_zone_that_covers_them():
    places = [(row, column, 2, 2) for row in range(0, 100, 10) for column in range(0, 100, 10)]
    zones = [zone for zone in size_zones(heated(spots(*places))) if zone.size < 0.4e-3 / PER_FEATURE * 1.01]
    assert len(zones) == MOST_REGIONS + 1
    covered = shapely.union_all([shapely.box(*zone.box) for zone in zones])
    corners = [(0.03 + column * 0.2e-3 + 1e-5, 0.02 + row * 0.2e-3 + 1e-5) for row, column, _, _ in places]
    assert shapely.contains_xy(covered, *np.transpose(corners)).all()


@pytest.mark.parametrize(
    "watts",
    [
        spots(),
        spots((10, 10, 5, 5)),
        spots((3, 90, 1, 1), power=500.0),
        spots(*((n, n, 4, 4) for n in range(0, 96, 12))),
    ],
    ids=["even", "one spot", "a spot below a two-hundredth of the plate", "eight spots"],
)
def test_the_count_of_triangles_is_foretold_within_a_third(watts):
    stack = heated(watts)
    assert predicted_triangles(stack).sum() == pytest.approx(len(plan_mesh(stack).triangles), rel=1 / 3)


def test_a_stated_mesh_size_is_foretold_too():
    stack = replace(heated(spots()), mesh_size=0.001)
    assert predicted_triangles(stack).sum() == pytest.approx(len(plan_mesh(stack).triangles), rel=1 / 3)


def test_what_is_too_large_to_mesh_is_foretold_as_such():
    stack = replace(heated(spots()), mesh_size=1e-6)
    assert predicted_triangles(stack, most=100_000).sum() > 1e7
