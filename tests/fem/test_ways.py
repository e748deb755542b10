"""Ways past a bank against worked numbers and by-hand solutions: lanes with bypasses, top entry, and through flow."""

from dataclasses import replace

import numpy as np
import pytest
from finned_array import WORKED_AIR, finned

from plancha.fem.lanes import COLUMNS, LEVELS, STATIONS
from plancha.fem.side_entry import side_entry, stretches
from plancha.fem.through_flow import through_flow
from plancha.fem.top_entry import parting, top_entry
from plancha.fem.way import Passing

RATE = 4.64e-3  # m3/s: 4 m/s in 29 gaps of 1.6 x 25 mm
FILM = {"described_as": "film"}


def passing(tmp_path, fins=(), plate=(), **flow) -> Passing:
    stack = finned(tmp_path, fins, flow, dict(plate), chips=())
    return Passing(0, stack.banks[0], stack.flows[0], WORKED_AIR)


def test_the_worked_array_has_its_velocity_and_its_mean_coefficient(tmp_path):
    # C4.7 (derived independently): 4 m/s in the gaps, h = 69.4978 W/m2/K over the length.
    way = side_entry(passing(tmp_path)).way(RATE)
    assert way.velocity == pytest.approx(np.full(way.velocity.shape, 4.0), rel=1e-9)
    lanes = way.coefficient.reshape(29, STATIONS)
    assert lanes.mean(axis=1) == pytest.approx(np.full(29, 69.4978), rel=1e-5)
    assert np.all(np.diff(lanes, axis=1) < 0)  # the entry cools best
    assert way.inflow.sum() == pytest.approx(5.52672, rel=1e-5)  # capacity flow, W/K
    assert (way.slipping, way.share) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("form", "pressure"), [("area", 27.965), ("switched", 27.548), ("area squared", 29.502)], ids=lambda x: str(x)
)
def test_the_worked_array_loses_its_worked_pressure_in_each_form_of_the_ends(tmp_path, form, pressure):
    # C4.7: 29 gaps of 1.6 mm in 58.4 mm: 29 pitches of which 30 fins of 0.4 mm take 12 mm.
    fins = {"pitch": f"{58.4 / 29:.12f} mm", "thickness": f"{12 / 29:.12f} mm"}
    wide = passing(tmp_path, fins, {"size": ["60 mm", "58.4 mm"]}, end_losses=form)
    assert float(side_entry(wide).resistance.drop_at(RATE)) == pytest.approx(pressure, rel=3e-5)


def test_a_flow_from_the_far_end_is_the_mirror_image(tmp_path):
    one, other = (side_entry(passing(tmp_path, side=side)).way(RATE) for side in ("left", "right"))
    ends = np.array([[0.1e-3, 1e-3], [59.9e-3, 1e-3]])
    for field in ("coefficient", "velocity"):
        near, far = (getattr(way, field)[way.grid.at(points)] for way, points in ((one, ends), (other, ends[::-1])))
        assert near == pytest.approx(far, rel=1e-12)
    assert one.inflow[one.grid.at(ends[0])] > 0 and other.inflow[other.grid.at(ends[1])] > 0
    assert np.array_equal(one.upstream.toarray(), other.upstream.toarray())


SLOW = 1e-7  # m3/s: developed from the first tenth of a millimetre, ends lose next to nothing


def test_air_that_slips_over_the_tips_takes_its_share_at_equal_pressure(tmp_path):
    # Two plane Poiseuille gaps side by side, solved by hand: b^2 A each, 12 mu L in common.
    way = side_entry(passing(tmp_path, {"tip_gap": "3 mm"})).way(SLOW)
    between, over = 1.6e-3**2 * (29 * 1.6e-3 * 25e-3), 3e-3**2 * (3e-3 * 58e-3)
    assert way.share == pytest.approx(between / (between + over), rel=2e-4)
    total = WORKED_AIR.density * WORKED_AIR.heat_capacity * SLOW
    assert way.slipping == pytest.approx(total * over / (between + over), rel=1e-3)
    assert way.slipping + way.inflow.sum() == pytest.approx(total, rel=1e-12)


def test_air_that_slips_by_on_both_sides_takes_its_share_too(tmp_path):
    # Half the clear width on each side, as high as the fins.
    way = side_entry(passing(tmp_path, beside="4 mm")).way(SLOW)
    between, beside = 1.6e-3**2 * (29 * 1.6e-3 * 25e-3), 2e-3**2 * (4e-3 * 25e-3)
    assert way.share == pytest.approx(between / (between + beside), rel=2e-4)


def test_a_faster_flow_slips_less_over_the_fins_because_their_gaps_develop(tmp_path):
    entry = side_entry(passing(tmp_path, {"tip_gap": "3 mm"}))
    shares = [entry.way(rate).share for rate in (SLOW, RATE / 4, RATE)]
    assert shares[0] < shares[1] < shares[2]
    # Both ways see one pressure: friction between the fins with its ends is that of the gap above them.
    drop = float(entry.resistance.drop_at(RATE))
    assert float(entry.bypasses[0].rate_at(drop)) / RATE == pytest.approx(1 - entry.way(RATE).share, rel=1e-6)


def test_lanes_with_shorter_fins_take_more_of_the_flow(tmp_path):
    # Slow flow by hand, b^2 A of each: fins of 10 mm leave 15 mm open above them, where the lane's own 2 mm are the narrow side.
    pocket = {"at": ["0 mm", "0 mm"], "size": ["60 mm", "20 mm"], "height": "10 mm"}
    way = side_entry(passing(tmp_path, {"patch": [pocket]})).way(SLOW)
    rates = way.inflow[way.inflow > 0]
    full, short = 1.6e-3**2 * 1.6e-3 * 25e-3, 1.6e-3**2 * 1.6e-3 * 10e-3 + 2e-3**2 * 2e-3 * 15e-3
    assert rates[0] / rates[-1] == pytest.approx(short / full, rel=1e-3)


@pytest.mark.parametrize("patch", [{"height": "25 mm"}, {"pitch": "2 mm"}])
def test_a_patch_like_its_surroundings_costs_no_pressure(tmp_path, patch):
    """Flow between fins that go on alike goes on developing: it does not start anew at a line on paper."""
    middle = patch | {"at": ["20 mm", "0 mm"], "size": ["20 mm", "30 mm"]}
    one, other = (side_entry(passing(tmp_path, fins)) for fins in ({}, {"patch": [middle]}))
    assert len(other.kinds) == 2
    rates = np.geomspace(1e-6, 1e-2, 9)
    assert other.resistance.drop_at(rates) == pytest.approx(one.resistance.drop_at(rates), rel=1e-9)


def test_runs_of_stations_are_told_apart():
    assert stretches(np.array([0, 1, 2])).tolist() == [[0, 3]]
    assert stretches(np.array([1, 2, 5, 7, 8])).tolist() == [[1, 3], [5, 6], [7, 9]]


def test_numbers_of_cells_follow_the_flow(tmp_path):
    # All that comes into a cell comes from cells with smaller numbers; levels count from the base, whichever end a flow comes from.
    wide = {"at": ["0 mm", "0 mm"], "size": ["120 mm", "58 mm"]}
    for way in (
        side_entry(passing(tmp_path, side="right")).way(RATE),
        top_entry(passing(tmp_path, entry="top", side=None)).way(RATE),
        through_flow(passing(tmp_path, wide, entry="through", side="base")).way(RATE),
    ):
        cells = way.upstream.tocoo().coords
        if len(way.levels) == 2:
            assert np.all(cells[0] > cells[1])
        # And nothing is lost on the way: what enters a cell leaves it.
        leaving = way.upstream.sum(axis=0) + way.outflow
        assert leaving == pytest.approx(way.inflow + way.upstream.sum(axis=1), rel=1e-9, abs=1e-12)
        assert way.outflow.sum() == pytest.approx(way.inflow.sum(), rel=1e-12)


def test_top_entry_loses_the_worked_friction_and_the_head_that_leaves(tmp_path):
    # C4.10 (derived independently): v = 1 m/s down, b = 1.5, H = 20, half length 30 mm: 2.132 Pa of friction, 1.5 m/s at the ends;
    # the exit head 1.184/2 x 1.5^2 = 1.332 Pa and the contraction 0.42 (1 - 0.75) of the head of 1 m/s are added by hand.
    fins = {"pitch": "2 mm", "thickness": "0.5 mm", "height": "20 mm"}
    entry = top_entry(passing(tmp_path, fins, entry="top", side=None))
    rate = 1.0 * 0.75 * 60e-3 * 58e-3
    by_hand = 2.132 + 1.184 / 2 * 1.5**2 + 0.42 * 0.25 * 1.184 / 2
    assert float(entry.resistance.drop_at(rate)) == pytest.approx(by_hand, rel=2e-4)


def test_top_entry_feeds_every_cell_alike_and_leaves_at_both_ends(tmp_path):
    way = top_entry(passing(tmp_path, entry="top", side=None)).way(RATE)
    assert way.is_mixed
    assert way.inflow == pytest.approx(np.full(29 * STATIONS, way.inflow.sum() / (29 * STATIONS)), rel=1e-9)
    leaving = way.outflow[way.outflow > 0]
    assert leaving == pytest.approx(np.full(58, way.inflow.sum() / 58), rel=1e-9)


def test_a_lane_parts_where_friction_to_either_end_is_the_same():
    even = np.ones(48)
    assert parting(even) == 24
    assert parting(np.ones(1)) in (0, 1)
    # All in at one end: F = 1 all along, its mean is 1; the flow to the other end takes all but nothing.
    for inflow in (np.r_[np.zeros(40), np.ones(8)], np.r_[np.ones(8), np.zeros(40)], np.linspace(0, 1, 48)):
        station = parting(inflow)
        gathered = np.concatenate([[0.0], np.cumsum(inflow)])
        along = (gathered[1:] + gathered[:-1]) / 2 - gathered[station]
        assert abs(along.sum()) <= 48 * inflow.max()  # as near to nothing as a station allows
        assert parting(inflow[::-1]) == 48 - station


def test_through_flow_has_one_speed_over_its_zone(tmp_path):
    wide = {"at": ["0 mm", "0 mm"], "size": ["120 mm", "58 mm"]}
    one = passing(tmp_path, wide, entry="through", side="base")
    way = through_flow(one).way(RATE)
    speed = RATE / (60e-3 * 58e-3 * 0.8)
    moving = way.velocity.reshape(COLUMNS, COLUMNS, LEVELS)[COLUMNS // 2 :]
    assert moving == pytest.approx(np.full(moving.shape, speed), rel=1e-9)
    assert np.all(way.velocity.reshape(COLUMNS, COLUMNS, LEVELS)[: COLUMNS // 2] == 0)
    assert np.all(way.grid.number[: COLUMNS // 2] == -1)
    # Between the base and the tips: the worked friction over 25 mm, and both ends, by hand from the gaps' own law.
    head = 1.184 / 2 * speed**2 * (0.42 * 0.2 + 0.2**2)
    assert float(through_flow(one).resistance.drop_at(RATE)) == pytest.approx(
        float(one.gaps(0).drop(25e-3)(np.array(speed))) + head, rel=1e-4
    )


@pytest.mark.parametrize("side", ["tips", "base"])
def test_through_flow_runs_from_level_to_level(tmp_path, side):
    wide = {"at": ["0 mm", "0 mm"], "size": ["120 mm", "58 mm"]}
    way = through_flow(passing(tmp_path, wide, entry="through", side=side)).way(RATE)
    column = way.grid.number[-1, 0] * LEVELS
    first, last = (column + LEVELS - 1, column) if side == "tips" else (column, column + LEVELS - 1)
    assert way.inflow[first] > 0 and way.outflow[last] == way.inflow[first]
    assert way.coefficient[first] > way.coefficient[last]  # the entry cools best


def test_a_rigid_profile_blends_with_the_evened_one(tmp_path):
    half = replace(
        passing(tmp_path, entry="top", side=None),
        rigid=lambda x, y: np.where(np.arange(len(x) - 1) < (len(x) - 1) // 2, 2.0, 0.0)[:, None] * np.ones(len(y) - 1),
    )
    left = np.array([10e-3, 29e-3])
    even = top_entry(passing(tmp_path, entry="top", side=None)).way(RATE)
    for share in (0.0, 0.4, 1.0):
        way = top_entry(replace(half, evened=share)).way(RATE)
        expected = share + (1 - share) * 2
        assert way.inflow[way.grid.at(left)] / even.inflow[0] == pytest.approx(expected, rel=1e-9)
        assert way.inflow.sum() == pytest.approx(even.inflow.sum(), rel=1e-12)
