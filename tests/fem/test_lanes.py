"""How a bank is cut into cells: lanes along its flow, columns through it, and which fins each has."""

import numpy as np
import pytest
import shapely
from finned_array import finned

from plancha.fem.lanes import COLUMNS, MOST_LANES, STATIONS, columns_of, lanes_of, region_at


def lanes(tmp_path, fins=(), **flow):
    stack = finned(tmp_path, fins, flow)
    return lanes_of(stack.banks[0], stack.flows[0])


def test_a_lane_is_a_gap_where_there_are_few(tmp_path):
    found = lanes(tmp_path)
    assert found.region.shape == (29, STATIONS)
    assert found.width == pytest.approx(2e-3)
    assert (found.length, found.step) == pytest.approx((60e-3, 60e-3 / STATIONS))


def test_many_gaps_share_a_lane(tmp_path):
    found = lanes(tmp_path, {"pitch": "0.8 mm"})
    assert len(found.region) == MOST_LANES
    assert found.width * MOST_LANES == pytest.approx(58e-3)


def test_one_wide_gap_is_one_lane(tmp_path):
    assert len(lanes(tmp_path, {"pitch": "58 mm"}).region) == 1
    assert len(lanes(tmp_path, {"pitch": "60 mm"}).region) == 1


def test_fins_along_y_have_lanes_along_y(tmp_path):
    found = lanes(tmp_path, {"along": "y"}, side="upper")
    assert found.length == pytest.approx(58e-3)
    assert found.width * len(found.region) == pytest.approx(60e-3)
    grid = found.grid(np.arange(found.region.size).reshape(found.region.shape))
    assert grid.number.shape == found.region.shape  # columns along x are the lanes
    assert grid.at(np.array([1e-3, 57.9e-3])) == STATIONS - 1


def test_a_cell_s_number_is_found_where_the_cell_lies(tmp_path):
    found = lanes(tmp_path)
    grid = found.grid(np.arange(found.region.size).reshape(found.region.shape))
    for lane, station in ((0, 0), (5, 3), (28, STATIONS - 1)):
        point = np.array([(station + 0.5) * found.step, (lane + 0.5) * found.width])
        assert grid.at(point) == lane * STATIONS + station


def test_cells_in_a_pocket_have_its_fins(tmp_path):
    pocket = {"at": ["0 mm", "0 mm"], "size": ["15 mm", "58 mm"], "height": "10 mm"}
    stack = finned(tmp_path, {"patch": [pocket]})
    bank = stack.banks[0]
    region = lanes_of(bank, stack.flows[0]).region
    heights = np.array([each.fins.height for each in bank.regions])
    assert np.all(heights[region[:, : STATIONS // 4]] == 10e-3)
    assert np.all(heights[region[:, STATIONS // 4 :]] == 25e-3)
    assert region_at(bank, np.array([70e-3]), np.array([0.0])).tolist() == [len(bank.regions) - 1]


def test_columns_keep_what_the_zone_leaves_free(tmp_path):
    bank = finned(tmp_path).banks[0]
    zone = shapely.Point(30e-3, 29e-3).buffer(20e-3, quad_segs=64)
    columns = columns_of(bank, zone)
    assert columns.area.shape == (COLUMNS, COLUMNS)
    assert columns.area.sum() == pytest.approx(zone.area, rel=1e-12)
    assert columns.area[0, 0] == 0.0
    assert columns.area[10, 10] == pytest.approx(bank.outline.area / COLUMNS**2)
