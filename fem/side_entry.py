"""Side entry: lanes between the fins, and the bypasses over the tips and beside the bank, at one pressure drop."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.friction import AUTOMATIC, core_pressure_drop
from plancha.fem.gaps import Gaps, end_losses
from plancha.fem.lanes import STATIONS, Lanes, lanes_of
from plancha.fem.passages import Resistance, in_row, orifice, passage, side_by_side
from plancha.fem.way import Passing, Way


def open_passage(passing: Passing, gap: float, width: float, length: float) -> Resistance:
    """A plain passage between two walls, such as the clearance over the tips."""
    narrow, wide = min(gap, width), max(gap, width)
    rho, mu = passing.fluid.density, passing.fluid.viscosity

    def drop(velocity: np.ndarray) -> np.ndarray:
        return core_pressure_drop(velocity, rho, mu, 2 * narrow, length, 1.0, 1.0, AUTOMATIC, aspect=narrow / wide)

    return passage(drop, gap * width)


@dataclass(frozen=True)
class Segment:
    """A stretch of a lane with one kind of fins: the gaps, what is open over shorter fins, and both side by side."""

    gaps: Resistance
    both: Resistance
    gap_area: float
    area: float


def _segment(passing: Passing, lanes: Lanes, region: int, stations: np.ndarray) -> Segment:
    """All of a lane's stations (numbers, rising, from its inlet) that lie in a region."""
    fins, gaps = passing.bank.regions[region].fins, passing.gaps(region)
    gap_area = lanes.width * gaps.open_share * fins.height
    between = passage(_friction(gaps, stretches(stations) * lanes.step), gap_area)
    over = passing.bank.height - fins.height
    if over <= 0:
        return Segment(between, between, gap_area, gap_area)
    above = open_passage(passing, over, lanes.width, len(stations) * lanes.step)
    return Segment(between, side_by_side([between, above]), gap_area, gap_area + over * lanes.width)


def stretches(stations: np.ndarray) -> np.ndarray:
    """First station and the one behind the last of each run (runs, 2) of rising numbers."""
    breaks = np.flatnonzero(np.diff(stations) > 1)
    return np.column_stack([np.r_[stations[0], stations[breaks + 1]], np.r_[stations[breaks], stations[-1]] + 1])


def _friction(gaps: Gaps, between: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Friction [Pa] over the velocity [m/s] of stretches (runs, 2) [m] from the lane's inlet, where the flow starts to develop."""

    def drop(velocity: np.ndarray) -> np.ndarray:
        ends = [
            gaps.drop(stop)(velocity) - (gaps.drop(start)(velocity) if start > 0 else 0.0) for start, stop in between
        ]
        return np.sum(ends, axis=0)

    return drop


@dataclass(frozen=True)
class LaneKind:
    """Lanes with the same fins at each station: its segments by region, and the resistance of the whole lane, ends included."""

    segments: dict[int, Segment]
    whole: Resistance


def _lane_kind(passing: Passing, lanes: Lanes, regions: np.ndarray) -> LaneKind:
    """The lanes with these regions (stations,), counted from the inlet."""
    first, last = int(regions[0]), int(regions[-1])
    segments = {int(r): _segment(passing, lanes, int(r), np.flatnonzero(regions == r)) for r in np.unique(regions)}
    front = lanes.width * passing.bank.height
    entry, _ = end_losses(passing.flow, segments[first].area / front, 1.0)
    _, leaving = end_losses(passing.flow, 1.0, segments[last].area / front)
    rho = passing.fluid.density
    ends = [orifice(rho, loss, segments[region].area) for loss, region in ((entry, first), (leaving, last)) if loss > 0]
    return LaneKind(segments, in_row([*(segment.both for segment in segments.values()), *ends]))


@dataclass(frozen=True)
class SideEntry:
    """A bank's lanes and bypasses at a common pressure drop."""

    passing: Passing
    lanes: Lanes
    kinds: tuple[LaneKind, ...]
    kind: np.ndarray
    bypasses: tuple[Resistance, ...]

    @property
    def resistance(self) -> Resistance:
        """All lanes and bypasses side by side."""
        counts = [float((self.kind == number).sum()) for number in range(len(self.kinds))]
        return side_by_side([*(kind.whole for kind in self.kinds), *self.bypasses], counts + [1.0] * len(self.bypasses))

    def way(self, rate: float) -> Way:
        """The way at a rate [m3/s] through lanes and bypasses together."""
        drop = float(self.resistance.drop_at(rate))
        each = np.array([float(kind.whole.rate_at(drop)) for kind in self.kinds])[self.kind]
        slipping = sum(float(bypass.rate_at(drop)) for bypass in self.bypasses)
        scale = rate / (each.sum() + slipping)  # what the tables' interpolation leaves
        return self._way(scale * each, scale * slipping)

    def _way(self, rates: np.ndarray, slipping: float) -> Way:
        lanes, passing = self.lanes, self.passing
        velocity, coefficient, warnings = np.zeros(lanes.region.shape), np.zeros(lanes.region.shape), []
        order = np.arange(STATIONS)[::-1] if passing.flow.comes_from_far_end else np.arange(STATIONS)
        start = np.empty(STATIONS)
        start[order] = np.arange(STATIONS) * lanes.step
        for lane, rate in enumerate(rates):
            for region, segment in self.kinds[self.kind[lane]].segments.items():
                share = float(segment.gaps.rate_at(segment.both.drop_at(rate))) if rate > 0 else 0.0
                velocity[lane, lanes.region[lane] == region] = share / segment.gap_area
        for region in np.unique(lanes.region):
            gaps, here = passing.gaps(int(region)), lanes.region == region
            begin = np.broadcast_to(start, here.shape)[here]
            coefficient[here] = gaps.coefficient(velocity[here], begin, begin + lanes.step, lanes.length)
            warnings += gaps.warnings(velocity[here], lanes.length)
        capacity = passing.capacity(rates)
        count = len(rates)
        number = np.empty((count, STATIONS), int)
        number[:, order] = np.arange(count * STATIONS).reshape(count, STATIONS)
        cells = np.arange(count * STATIONS).reshape(count, STATIONS)
        upstream = sp.csr_array(
            (np.repeat(capacity, STATIONS - 1), (cells[:, 1:].ravel(), cells[:, :-1].ravel())), shape=(cells.size,) * 2
        )
        inflow, outflow = np.zeros(cells.shape), np.zeros(cells.shape)
        inflow[:, 0], outflow[:, -1] = capacity, capacity
        return Way(
            bank=passing.number,
            grid=lanes.grid(number),
            levels=np.array([0.0, passing.bank.height]),
            coefficient=coefficient[:, order].ravel(),
            velocity=velocity[:, order].ravel(),
            region=lanes.region[:, order].ravel(),
            upstream=upstream,
            inflow=inflow.ravel(),
            outflow=outflow.ravel(),
            slipping=float(passing.capacity(np.array(slipping))),
            is_mixed=False,
            share=float(rates.sum() / (rates.sum() + slipping)),
            warnings=tuple(dict.fromkeys(warnings)),
        )


def side_entry(passing: Passing) -> SideEntry:
    """Lanes between the fins, and the bypasses over the tips and beside the bank."""
    bank, flow = passing.bank, passing.flow
    lanes = lanes_of(bank, flow)
    ordered = lanes.region[:, ::-1] if flow.comes_from_far_end else lanes.region
    rows, kind = np.unique(ordered, axis=0, return_inverse=True)
    kinds = tuple(_lane_kind(passing, lanes, row) for row in rows)
    width = float(lanes.across[-1] - lanes.across[0])
    bypasses = []
    if bank.tip_gap > 0:
        bypasses.append(open_passage(passing, bank.tip_gap, width, lanes.length))
    if flow.beside > 0:
        half = open_passage(passing, flow.beside / 2, bank.height + bank.tip_gap, lanes.length)
        bypasses.append(side_by_side([half], [2.0]))
    return SideEntry(passing, lanes, kinds, kind.ravel(), tuple(bypasses))
