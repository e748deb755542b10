"""The ways of a coolant past one bank: side entry in lanes, top entry, and through flow. Each gives cells, flows and coefficients.

What each neglects is said in ``LEFT_OUT``, which the results repeat.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from plancha.fem.cells import CellGrid
from plancha.fem.friction import AUTOMATIC, core_pressure_drop, top_entry_pressure_drop
from plancha.fem.gaps import Gaps, end_losses
from plancha.fem.lanes import LEVELS, STATIONS, Columns, Lanes, columns_of, lanes_of
from plancha.fem.passages import Resistance, in_row, orifice, passage, side_by_side
from plancha.geometry.air import Bank, Flow
from plancha.geometry.fluids import Fluid

LEFT_OUT = {
    "side": "lanes do not mix; what slips over the tips or beside takes no heat; steps inside the passage lose no pressure",
    "top": "the coolant mixes over the fins' height on its way out, and developed flow is assumed: +-20 to 30 % on its coefficient",
    "through": "each column of coolant keeps to itself from end to end",
}


@dataclass(frozen=True)
class Way:
    """A coolant's way past one bank at a given rate, capacity flows in W/K, cells numbered in the order of the flow.

    ``grid`` places the cells on the plan; where ``levels`` [m above the base] has more than two entries, the grid's
    numbers count columns and cell = column * levels + level, level 0 at the base. ``coefficient`` [W/m2/K]
    and ``velocity`` [m/s] (cells,) are in the gaps,
    ``region`` (cells,) tells whose fins. ``share`` is the part of the rate that passes between fins.
    """

    bank: int
    grid: CellGrid
    levels: np.ndarray
    coefficient: np.ndarray
    velocity: np.ndarray
    region: np.ndarray
    upstream: sp.csr_array
    inflow: np.ndarray
    outflow: np.ndarray
    slipping: float
    is_mixed: bool
    share: float
    warnings: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Passing:
    """A bank that a flow passes, the fluid at its mean temperature, and what the plan gets of the inflow where that is known."""

    number: int
    bank: Bank
    flow: Flow
    fluid: Fluid
    rigid: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    evened: float = 1.0

    def gaps(self, region: int) -> Gaps:
        """The gaps between the fins of one of the bank's regions."""
        return Gaps(self.bank.regions[region].fins, self.fluid, self.flow)

    def capacity(self, rate: np.ndarray) -> np.ndarray:
        """Capacity flow [W/K] of rates [m3/s] at the mean temperature."""
        return self.fluid.density * self.fluid.heat_capacity * rate


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


@dataclass(frozen=True)
class TopEntry:
    """A bank that coolant enters all along the fins' tips, to leave at both ends of them."""

    passing: Passing
    lanes: Lanes

    @property
    def resistance(self) -> Resistance:
        """By the mean fins at an even inflow: contraction into the gaps, friction on the way out, and the head that leaves."""
        passing, lanes = self.passing, self.lanes
        parts = []
        for region in np.unique(lanes.region):
            gaps, fins = passing.gaps(int(region)), passing.bank.regions[int(region)].fins
            entry, _ = end_losses(passing.flow, gaps.open_share, 1.0)
            parts.append(
                (float((lanes.region == region).sum()), passage(self._drop(gaps, fins.height, entry), self._open(gaps)))
            )
        return side_by_side([part for _, part in parts], [count for count, _ in parts])

    def _drop(self, gaps: Gaps, height: float, entry: float) -> Callable[[np.ndarray], np.ndarray]:
        fluid, length = self.passing.fluid, self.lanes.length

        def drop(velocity: np.ndarray) -> np.ndarray:
            turned = top_entry_pressure_drop(velocity, fluid.density, fluid.viscosity, gaps.fins.gap, height, length)
            return entry * fluid.density * velocity**2 / 2 + turned

        return drop

    def _open(self, gaps: Gaps) -> float:
        """Free area at the top of one cell [m2]."""
        return self.lanes.width * self.lanes.step * gaps.open_share

    def way(self, rate: float) -> Way:
        """The way at a rate [m3/s]."""
        passing, lanes = self.passing, self.lanes
        rates = blended(passing, lanes.grid(np.zeros(lanes.region.shape, int)), self._even(rate), rate, lanes.axis == 1)
        velocity, coefficient, warnings = np.zeros(rates.shape), np.zeros(rates.shape), []
        for region in np.unique(lanes.region):
            gaps, here = passing.gaps(int(region)), lanes.region == region
            height = gaps.fins.height
            down = rates / self._open(gaps)
            # The mean parcel goes half the height down and half of the half length along, at the mean of the speeds met.
            along = down.mean(axis=1, keepdims=True) * lanes.length / (4 * height)
            speed = np.broadcast_to(np.hypot(down.mean(axis=1, keepdims=True) / 2, along), rates.shape)
            path = height / 2 + lanes.length / 4
            velocity[here] = speed[here]
            coefficient[here] = gaps.coefficient(speed[here], np.array(0.0), np.array(path), path)
            warnings += gaps.warnings(speed[here], path)
        return self._way(passing.capacity(rates), velocity, coefficient, tuple(dict.fromkeys(warnings)))

    def _even(self, rate: float) -> np.ndarray:
        """Rates into the cells (lanes, stations) [m3/s] where all see one pressure."""
        passing, lanes = self.passing, self.lanes
        drop = float(self.resistance.drop_at(rate))
        rates = np.zeros(lanes.region.shape)
        for region in np.unique(lanes.region):
            gaps, fins = passing.gaps(int(region)), passing.bank.regions[int(region)].fins
            entry, _ = end_losses(passing.flow, gaps.open_share, 1.0)
            one = passage(self._drop(gaps, fins.height, entry), self._open(gaps))
            rates[lanes.region == region] = float(one.rate_at(drop))
        return rates * (rate / rates.sum())

    def _way(self, inflow: np.ndarray, velocity: np.ndarray, coefficient: np.ndarray, warnings: tuple[str, ...]) -> Way:
        """Cells in the order in which each lane flows, from where it parts to both ends."""
        count, stations = inflow.shape
        number = np.empty(inflow.shape, int)
        rows, columns, values, outflow = [], [], [], np.zeros(inflow.size)
        for lane in range(count):
            part = parting(inflow[lane])
            right, left = np.arange(part, stations), np.arange(part - 1, -1, -1)
            order = np.concatenate([right, left])
            number[lane, order] = lane * stations + np.arange(stations)
            for arm in (right, left):
                carried = np.cumsum(inflow[lane, arm])
                cells = number[lane, arm]
                rows.append(cells[1:])
                columns.append(cells[:-1])
                values.append(carried[:-1])
                if len(arm):
                    outflow[cells[-1]] = carried[-1]
        upstream = sp.csr_array(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(inflow.size,) * 2
        )

        def ordered(field: np.ndarray) -> np.ndarray:
            found = np.empty(field.size, field.dtype)
            found[number.ravel()] = field.ravel()
            return found

        return Way(
            bank=self.passing.number,
            grid=self.lanes.grid(number),
            levels=np.array([0.0, self.passing.bank.height]),
            coefficient=ordered(coefficient),
            velocity=ordered(velocity),
            region=ordered(self.lanes.region),
            upstream=upstream,
            inflow=ordered(inflow),
            outflow=outflow,
            slipping=0.0,
            is_mixed=True,
            share=1.0,
            warnings=warnings,
        )


def parting(inflow: np.ndarray) -> int:
    """Station at which a lane fed from above (stations,) parts: friction on the way to either end is then the same.

    With F the flow gathered from one end, speed there is F - F_s: its integral over the lane is nothing where F_s is F's mean.
    Source: developed flow, derived independently.
    """
    gathered = np.concatenate([[0.0], np.cumsum(inflow)])
    mean = (gathered[1:] + gathered[:-1]).mean() / 2
    return int(np.argmin(np.abs(gathered - mean)))


def top_entry(passing: Passing) -> TopEntry:
    """Lanes fed from above."""
    return TopEntry(passing, lanes_of(passing.bank, passing.flow))


@dataclass(frozen=True)
class ThroughFlow:
    """A bank that coolant passes normal to the plan, each place on its own."""

    passing: Passing
    columns: Columns

    def _one(self, region: int) -> tuple[Resistance, float]:
        """Resistance of one square metre of the free plan, and its share of gaps."""
        passing, gaps = self.passing, self.passing.gaps(region)
        entry, leaving = end_losses(passing.flow, gaps.open_share, gaps.open_share)
        friction, rho = gaps.drop(gaps.fins.height), passing.fluid.density
        return passage(lambda v: friction(v) + (entry + leaving) * rho * v**2 / 2, gaps.open_share), gaps.open_share

    @property
    def resistance(self) -> Resistance:
        """All columns side by side."""
        regions = np.unique(self.columns.region)
        areas = [float(self.columns.area[self.columns.region == region].sum()) for region in regions]
        return side_by_side([self._one(int(region))[0] for region in regions], areas)

    def way(self, rate: float) -> Way:
        """The way at a rate [m3/s]."""
        passing, columns = self.passing, self.columns
        drop, even = float(self.resistance.drop_at(rate)), np.zeros(columns.area.shape)
        for region in np.unique(columns.region):
            here = columns.region == region
            even[here] = float(self._one(int(region))[0].rate_at(drop)) * columns.area[here]
        even *= rate / even.sum()
        numbers = np.arange(columns.area.size).reshape(columns.area.shape)
        rates = blended(passing, CellGrid(columns.x, columns.y, numbers), even, rate, True, columns.area)
        speed = np.divide(rates, columns.area, out=np.zeros(rates.shape), where=columns.area > 0)
        return self._way(rates, speed)

    def _way(self, rates: np.ndarray, speed: np.ndarray) -> Way:
        passing, columns = self.passing, self.columns
        levels = np.linspace(0.0, passing.bank.height, LEVELS + 1)
        tips_first = passing.flow.side == "tips"
        shape = (*rates.shape, LEVELS)
        velocity, coefficient, warnings = np.zeros(shape), np.zeros(shape), []
        for region in np.unique(columns.region):
            gaps, here = passing.gaps(int(region)), columns.region == region
            height = gaps.fins.height
            inside = levels[:-1] < height * (1 - 1e-9)  # a level that the tips end in counts by what stands in it
            from_inlet = np.maximum(height - levels[1:], 0.0) if tips_first else levels[:-1]
            velocity[here] = np.where(inside, (speed[here] / gaps.open_share)[:, None], 0.0)
            stop = np.maximum(from_inlet + np.diff(levels), 1e-9)
            coefficient[here] = gaps.coefficient(velocity[here], from_inlet, stop, height)
            warnings += gaps.warnings(velocity[here], height)
        order = np.arange(LEVELS)[::-1] if tips_first else np.arange(LEVELS)
        capacity = passing.capacity(rates).ravel()
        cells = np.arange(capacity.size * LEVELS).reshape(-1, LEVELS)
        chain = cells[:, order]
        upstream = sp.csr_array(
            (np.repeat(capacity, LEVELS - 1), (chain[:, 1:].ravel(), chain[:, :-1].ravel())), shape=(cells.size,) * 2
        )
        inflow, outflow = np.zeros(cells.size), np.zeros(cells.size)
        inflow[chain[:, 0]], outflow[chain[:, -1]] = capacity, capacity
        numbers = np.arange(rates.size).reshape(rates.shape)
        return Way(
            bank=passing.number,
            grid=CellGrid(columns.x, columns.y, np.where(columns.area > 0, numbers, -1)),
            levels=levels,
            coefficient=coefficient.reshape(-1),
            velocity=velocity.reshape(-1),
            region=np.repeat(columns.region.ravel(), LEVELS),
            upstream=upstream,
            inflow=inflow,
            outflow=outflow,
            slipping=0.0,
            is_mixed=False,
            share=1.0,
            warnings=tuple(dict.fromkeys(warnings)),
        )


def through_flow(passing: Passing) -> ThroughFlow:
    """Columns over all that is free."""
    zone = passing.flow.zone
    return ThroughFlow(passing, columns_of(passing.bank, passing.bank.outline if zone is None else zone))


def blended(
    passing: Passing, grid: CellGrid, even: np.ndarray, rate: float, x_first: bool, free: np.ndarray | None = None
) -> np.ndarray:
    """Rates into the cells [m3/s]: between the fan's rigid profile and the evened-out flow, by the plenum's share.

    ``even`` has the shape of the cells: (nx, ny) where ``x_first``, else (ny, nx). ``free`` [m2] is what of each cell is open.
    """
    if passing.rigid is None or passing.evened >= 1:
        return even
    speed = passing.rigid(grid.x, grid.y)  # (nx, ny)
    area = np.outer(np.diff(grid.x), np.diff(grid.y)) if free is None else free
    rigid = speed * area
    rigid = rigid if x_first else rigid.T
    return passing.evened * even + (1 - passing.evened) * rigid * (rate / rigid.sum())


ENTRIES: dict[str, Callable[[Passing], SideEntry | TopEntry | ThroughFlow]] = {
    "side": side_entry,
    "top": top_entry,
    "through": through_flow,
}
