"""What a flow does: its fluid, its rate, given or where fans meet the resistance, its way past each bank, and its noise."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.coolant import Network
from plancha.fem.fan_footprint import FanFootprint, blend_of, fan_profile_on_grid
from plancha.fem.fans import (
    OpenPath,
    OperatingPoint,
    at_density,
    at_speed,
    fan_flow,
    in_parallel,
    in_series,
    less_leakage,
    operating_point,
    parallel,
    sound_level,
)
from plancha.fem.passages import Resistance, in_row, orifice, passage
from plancha.fem.way import Passing, Way
from plancha.geometry.air import Bank, Fan, Flow
from plancha.geometry.bodies import Stack
from plancha.geometry.fan_curve import FanCurve
from plancha.geometry.faults import Failure
from plancha.geometry.fluids import Fluid, fluid_law

DEAD_FAN_LOSS = 3.0  # velocity heads of a dead fan's annulus: assumed, no source
PASSES = 6  # that settle fluid and rate together
SETTLED = 1e-9  # of the mean temperature [K]


@dataclass(frozen=True)
class FlowState:
    """A flow as it runs.

    ``fluid`` is at the mean temperature ``mean`` [K], ``rate`` [m3/s] at the inlet, ``drop`` [Pa] over banks and losses, of which
    ``bank_drop`` over the banks. ``curve`` and ``point`` are the fans' together, None where the rate is given;
    ``level`` [dB(A)] their sound, NaN where unknown; ``power`` [W] is what moving the coolant takes. ``system`` is
    the resistance of all.
    """

    flow: Flow
    fluid: Fluid
    mean: float
    rate: float
    drop: float
    bank_drop: float
    curve: FanCurve | None
    point: OperatingPoint | None
    level: float
    power: float
    system: Resistance
    ways: tuple[Way, ...]
    network: Network
    warnings: tuple[str, ...]

    @property
    def capacity(self) -> float:
        """Capacity flow of all of it [W/K]."""
        return float(self.network.inflow.sum() + self.network.slipping)


def flow_states(stack: Stack) -> tuple[FlowState, ...]:
    """All flows of a stack as they run."""
    return tuple(flow_state(stack, flow) for flow in stack.flows)


def flow_state(stack: Stack, flow: Flow) -> FlowState:
    """One flow of a stack as it runs.

    Raises
    ------
    Failure
        If its fans do not meet the resistance, none of them runs, or the fluid cannot be at its mean temperature.
    """
    law = fluid_law(flow.fluid)
    at_inlet = law.at(flow.inlet, flow.pressure)
    heat = _expected_heat(stack, flow)
    mean = flow.inlet
    for _ in range(PASSES):
        fluid = law.at(mean, flow.pressure)
        system, banks = _resistance(stack, flow, fluid, at_inlet)
        curve, point, rate = _driven(flow, system, at_inlet)
        before, capacity = mean, rate * at_inlet.density * at_inlet.heat_capacity
        mean = min(flow.inlet + heat / (2 * capacity), law.hottest)
        if abs(mean - before) < SETTLED:
            break
    ways = _ways(stack, flow, fluid, at_inlet, point, rate * at_inlet.density / fluid.density)
    network = network_of(flow, ways)
    drop, bank_drop = float(system.drop_at(rate)), float(banks.drop_at(rate))
    return FlowState(
        flow=flow,
        fluid=fluid,
        mean=mean,
        rate=rate,
        drop=drop,
        bank_drop=bank_drop,
        curve=curve,
        point=point,
        level=sound_of(flow.fans),
        power=rate * drop,
        system=system,
        ways=ways,
        network=network,
        warnings=tuple(_warnings(flow, ways, point, fluid)),
    )


def _expected_heat(stack: Stack, flow: Flow) -> float:
    """What the flow is told to expect [W]; else an even part of all power."""
    if math.isfinite(flow.heat):
        return max(flow.heat, 0.0)
    return sum(source.power for source in stack.sources) / len(stack.flows)


def _resistance(stack: Stack, flow: Flow, fluid: Fluid, at_inlet: Fluid) -> tuple[Resistance, Resistance]:
    """All that is in the flow's way, over its rate at the inlet, and the banks alone."""
    from plancha.fem.ways import ENTRIES

    swelling = at_inlet.density / fluid.density  # rate between the fins over that at the inlet
    banks = []
    for number in flow.banks:
        found = ENTRIES[flow.entry](Passing(number, stack.banks[number], flow, fluid)).resistance
        banks.append(Resistance(found.rate / swelling, found.drop))
    alone = in_row(banks)
    front = _front(flow, stack.banks[flow.banks[0]])
    losses = [_loss_of(each, at_inlet) for each in flow.losses if each.coefficient > 0 or each.drop > 0]
    if flow.blocked > 0:
        losses.append(orifice(at_inlet.density, blocked_loss(flow.blocked), front))
    return in_row([alone, *losses]), alone


def blocked_loss(share: float) -> float:
    """Loss coefficient, on the velocity before it, of an inlet of which a share is blocked: (0.42 b + b^2)/(1 - b)^2.

    Source: contraction and enlargement (Borda and Carnot) by free over frontal area 1 - b, textbook forms, from memory.
    """
    return (0.42 * share + share**2) / (1 - share) ** 2


def _front(flow: Flow, bank: Bank) -> float:
    """Area [m2] that the flow enters: of the bank's face, or of its plan."""
    if flow.entry != "side":
        return float(bank.outline.area if flow.zone is None else flow.zone.area)
    left, bottom, right, top = bank.outline.bounds
    width = (top - bottom) if flow.side in ("left", "right") else (right - left)
    return (width + flow.beside) * (bank.height + bank.tip_gap)


def _loss_of(loss, at_inlet: Fluid) -> Resistance:
    if loss.coefficient > 0:
        return orifice(at_inlet.density, loss.coefficient, loss.area)
    return passage(lambda rate: loss.drop * (rate / loss.rate) ** 2, 1.0)


def _driven(flow: Flow, system: Resistance, at_inlet: Fluid) -> tuple[FanCurve | None, OperatingPoint | None, float]:
    """The fans' curve together, where it meets the system, and the rate [m3/s] at the inlet."""
    if flow.rate is not None:
        return None, None, flow.rate
    running = [fan for fan in flow.fans if fan.is_running]
    if not running:
        raise Failure(f"no fan of {flow.name} runs: nothing moves its {flow.fluid}")
    curves = [curve_of(fan, at_inlet.density) for fan in running]
    curve = curves[0] if len(curves) == 1 else parallel(curves)  # side by side only the falling parts have a sum
    for fan in flow.fans:
        if not fan.is_running and math.isfinite(fan.diameter):
            annulus = math.pi / 4 * (fan.diameter**2 - fan.hub**2) * fan.count
            curve = less_leakage(curve, OpenPath(annulus, DEAD_FAN_LOSS), at_inlet.density)
    try:
        point = operating_point(curve, lambda rate: float(system.drop_at(rate)))
    except Failure as failure:
        raise Failure(f"{flow.name}: {failure}") from None
    return curve, point, point.flow


def curve_of(fan: Fan, density: float) -> FanCurve:
    """The curve of a fan table at its own speed and in air of a density [kg/m3]: all its fans alike together."""
    one = at_density(at_speed(fan.curve, fan.speed / fan.test_speed), density / fan.test_density)
    return in_series(one, fan.count) if fan.in_series else in_parallel(one, fan.count)


def sound_of(fans: tuple[Fan, ...]) -> float:
    """Sound of all running fans together [dB(A)]: powers add; NaN where there are none, or the level of one is unknown."""
    levels = [sound_level(fan.level, fan.speed / fan.test_speed, fan.count) for fan in fans if fan.is_running]
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels)) if levels else math.nan


def _ways(
    stack: Stack, flow: Flow, fluid: Fluid, at_inlet: Fluid, point: OperatingPoint | None, rate: float
) -> tuple[Way, ...]:
    """The way past each bank at a rate [m3/s] at the mean temperature."""
    from plancha.fem.ways import ENTRIES

    rigid = _rigid_profile(flow, point, at_inlet.density)
    evened = evened_share(flow) if rigid is not None else 1.0
    passings = [Passing(n, stack.banks[n], flow, fluid, rigid=rigid, evened=evened) for n in flow.banks]
    return tuple(ENTRIES[flow.entry](each).way(rate) for each in passings)


def evened_share(flow: Flow) -> float:
    """How far the plenum evens the fan's profile out, 0 to 1."""
    if math.isfinite(flow.evened):
        return flow.evened
    hubs = [fan.hub for fan in flow.fans if fan.has_place and fan.is_running]
    return 0.0 if flow.profile is not None or not hubs else blend_of(flow.plenum, float(np.mean(hubs)))


def has_profile(flow: Flow) -> bool:
    """Whether it is known how a flow is spread over its bank before the bank evens it out: measured, or all fans have a place."""
    running = [fan for fan in flow.fans if fan.is_running]
    blown = bool(running) and all(fan.has_place for fan in running)
    return flow.entry != "side" and (flow.profile is not None or blown)


def law_density(flow: Flow) -> float:
    """Density of the coolant at the inlet [kg/m3]."""
    return fluid_law(flow.fluid).at(flow.inlet, flow.pressure).density


def _rigid_profile(
    flow: Flow, point: OperatingPoint | None, density: float
) -> Callable[[np.ndarray, np.ndarray], np.ndarray] | None:
    """Speeds (nx, ny), up to a factor, over cells given by their edges: as measured, or as the fans blow; None where
    neither is known."""
    if not has_profile(flow):
        return None
    if flow.profile is not None:
        return lambda x, y: _measured(flow, x, y)
    placed = [fan for fan in flow.fans if fan.is_running]

    def speeds(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        total = np.zeros((len(y) - 1, len(x) - 1))
        for fan in placed:
            share = 1.0 if point is None else float(fan_flow(curve_of(fan, density), point.pressure))
            footprint = FanFootprint(fan.center, fan.diameter / 2, fan.hub / 2, fan.profile)
            total += fan_profile_on_grid(footprint, max(share, 1e-12), x, y)
        return total.T

    return speeds


def _measured(flow: Flow, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Measured speeds at the cells' centres (nx, ny)."""
    assert flow.profile is not None
    edges_x, edges_y = flow.profile.edges()
    columns = np.clip(np.searchsorted(edges_x, (x[1:] + x[:-1]) / 2) - 1, 0, flow.profile.values.shape[1] - 1)
    rows = np.clip(np.searchsorted(edges_y, (y[1:] + y[:-1]) / 2) - 1, 0, flow.profile.values.shape[0] - 1)
    return flow.profile.values[np.ix_(rows, columns)].T


def network_of(flow: Flow, ways: tuple[Way, ...]) -> Network:
    """One network of all banks: between two of them, and behind the last of several, all that comes is mixed in a cell of its own."""
    if len(ways) == 1:
        way = ways[0]
        return Network(flow.inlet, way.upstream, way.inflow, way.outflow, way.slipping, way.is_mixed)
    total = float(ways[0].inflow.sum() + ways[0].slipping)
    size = sum(len(way.inflow) + 1 for way in ways)
    rows, columns, values = [], [], []
    inflow, outflow = np.zeros(size), np.zeros(size)
    first, mixed = 0, -1
    for way in ways:
        scale = total / float(way.inflow.sum() + way.slipping)
        cells, last = first + np.arange(len(way.inflow)), first + len(way.inflow)
        own = way.upstream.tocoo()
        entering = np.flatnonzero(way.inflow)
        leaving = np.flatnonzero(way.outflow)
        parts = [
            (first + own.coords[0], first + own.coords[1], own.data),
            (np.full(len(leaving), last), cells[leaving], way.outflow[leaving]),
        ]
        if mixed < 0:
            inflow[cells] = way.inflow * scale
            inflow[last] = way.slipping * scale
        else:
            parts.append((cells[entering], np.full(len(entering), mixed), way.inflow[entering]))
            parts.append((np.array([last]), np.array([mixed]), np.array([way.slipping])))
        for row, column, value in parts:
            rows.append(row)
            columns.append(column)
            values.append(value * scale)
        first, mixed = last + 1, last
    outflow[mixed] = total
    upstream = sp.csr_array(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(size, size)
    )
    return Network(flow.inlet, upstream, inflow, outflow)


def first_cells(ways: tuple[Way, ...]) -> list[int]:
    """Number of each way's first cell in the network of all."""
    gap = 0 if len(ways) == 1 else 1
    return [sum(len(way.inflow) + gap for way in ways[:number]) for number in range(len(ways))]


def _warnings(flow: Flow, ways: tuple[Way, ...], point: OperatingPoint | None, fluid: Fluid) -> list[str]:
    found = [text for way in ways for text in way.warnings] + list(fluid.notes)
    if point is not None and point.stalled:
        found.append("the fan runs left of the last maximum of its curve, where fans hunt and are loud")
    if flow.entry == "top":
        found.append("top entry: the coefficient is known to 20 to 30 % only")
    for fan in flow.fans:
        level = sound_of((fan,))
        if level > fan.noise_limit + 1e-9:
            found.append(f"{fan.name} is at {level:.1f} dB(A), above its limit of {fan.noise_limit:.1f} dB(A)")
        if not fan.is_running and not math.isfinite(fan.diameter):
            found.append(f"{fan.name} is dead and its size is not given: what leaks back through it is not counted")
    return list(dict.fromkeys(found))
