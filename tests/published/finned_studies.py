"""A study with one bank of plate fins as finite volumes: peaks and flow, with everything from `coolants_apart` and `finned_boxes`.

A stack is read as plain data here; none of the product's physics is called. Side entry past a bank as wide as its plate, and through
flow past windows of a comb; temperatures in K, SI units.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from coolants_apart import State, coefficients, fan_speeds, gap_drop, operating_rate, speed_at, state_of
from finned_boxes import Coolant, Layer, edges, inside, temperatures
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cells:
    """Kinds of bodies from the heated face to the fins by the start of their names, layers of cells in each and in the fins, and
    the largest cell [m]."""

    kinds: Sequence[tuple[str, int]]
    fins: int
    size: float


@dataclass(frozen=True)
class Found:
    """Peaks in the order of the sources, rate at the inlet [m3/s], drop over bank and losses [Pa], share between the fins, outlet."""

    peaks: Floats
    rate: float
    drop: float
    share: float
    outlet: float


def windows(stack) -> list[tuple[float, float, float, float]]:
    """Bounds of the cut-outs of the plate that the fins stand on."""
    base = stack.bodies[stack.banks[0].base].outline
    xy = [np.array(ring.coords) for ring in base.interiors]
    return [(*ring.min(axis=0), *ring.max(axis=0)) for ring in xy]


class Side:
    """A side entry: parallel gaps, the clearance over the tips, the clearance beside."""

    def __init__(self, stack):
        self.flow, self.bank = stack.flows[0], stack.banks[0]
        self.fins = self.bank.regions[0].fins
        left, bottom, right, top = self.bank.outline.bounds
        self.length, self.width = right - left, top - bottom
        self.gap = self.fins.pitch - self.fins.thickness
        self.open = self.gap / self.fins.pitch
        self.front = (self.width + self.flow.beside) * (self.fins.height + self.bank.tip_gap)

    def parts(self, drop: float, coolant: State) -> tuple[float, float]:
        """Speed in the gaps, and what slips by, at a drop."""
        speed, slipping, height = speed_at(drop, self.gap, self.length, self.open, coolant), 0.0, self.fins.height
        if self.bank.tip_gap > 0:
            tip = self.bank.tip_gap
            slipping += speed_at(drop, tip, self.length, 1.0, coolant) * tip * self.width
        if self.flow.beside > 0:
            half = self.flow.beside / 2
            slipping += 2 * speed_at(drop, half, self.length, 1.0, coolant) * half * (height + self.bank.tip_gap)
        return speed, slipping

    def drop_at(self, rate: float, coolant: State) -> float:
        """Bank's drop at a rate between the fins and beside."""
        from scipy.optimize import brentq

        area = self.width * self.open * self.fins.height

        def excess(speed: float) -> float:
            return (
                speed * area + self.parts(gap_drop(speed, self.gap, self.length, self.open, coolant), coolant)[1] - rate
            )

        return gap_drop(brentq(excess, 1e-6, 200.0), self.gap, self.length, self.open, coolant)


class Through:
    """A flow through the windows, in pieces of plan with fins of one height each."""

    def __init__(self, stack):
        self.flow, self.bank = stack.flows[0], stack.banks[0]
        self.fins = self.bank.regions[-1].fins
        self.gap = self.fins.pitch - self.fins.thickness
        self.open = self.gap / self.fins.pitch
        free = self.bank.outline.intersection(stack.flows[0].zone)
        self.front = free.area
        self.areas = [(each.fins.height, each.outline.intersection(free).area) for each in self.bank.regions]

    def speed(self, drop: float, height: float, coolant: State) -> float:
        """Onto the plan, at a drop over fins of a height."""
        return self.open * speed_at(drop, self.gap, height, self.open, coolant)

    def drop_at(self, rate: float, coolant: State) -> float:
        """Bank's drop at a rate."""
        from scipy.optimize import brentq

        return brentq(lambda p: sum(a * self.speed(p, h, coolant) for h, a in self.areas) - rate, 1e-6, 2e4)


def running(stack, way: Side | Through, heat: float) -> tuple[State, State, float, float]:
    """Coolant at the inlet and at its mean temperature, rate at the inlet, and the drop of all."""
    flow = stack.flows[0]
    at_inlet = state_of(flow.fluid, flow.inlet, flow.pressure)
    mean, rate, drop = flow.inlet, flow.rate, float("nan")
    for _ in range(4):
        coolant = state_of(flow.fluid, mean, flow.pressure)

        def system(at: float, coolant: State = coolant) -> float:
            found = way.drop_at(at * at_inlet.rho / coolant.rho, coolant)
            for loss in flow.losses:
                head = at_inlet.rho * (at / loss.area) ** 2 / 2 if loss.coefficient else 0.0
                found += loss.coefficient * head if loss.coefficient else loss.drop * (at / loss.rate) ** 2
            if flow.blocked:
                lost = (0.42 * flow.blocked + flow.blocked**2) / (1 - flow.blocked) ** 2
                found += lost * at_inlet.rho * (at / way.front) ** 2 / 2
            return found

        if flow.rate is None:
            fans, leak = [], 0.0
            for fan in flow.fans:
                faster, denser = fan.speed / fan.test_speed, at_inlet.rho / fan.test_density
                if fan.is_running:
                    fans.append((fan.curve.flow * faster, fan.curve.pressure * faster**2 * denser))
                elif np.isfinite(fan.diameter):
                    leak += np.pi / 4 * (fan.diameter**2 - fan.hub**2)
            rate = operating_rate(fans, system, leak, at_inlet.rho)
        drop = system(rate)
        mean = flow.inlet + heat / (2 * rate * at_inlet.rho * at_inlet.cp)
    return at_inlet, coolant, rate, drop


def found(stack, cells: Cells, split: int = 1) -> Found:
    """The whole study, solved apart."""
    heat = sum(source.power for source in stack.sources)
    way = Side(stack) if stack.flows[0].entry == "side" else Through(stack)
    at_inlet, coolant, rate, drop = running(stack, way, heat)
    x, y = _plan(stack, cells, split)
    layers = _solids(stack, cells, x, y, split)
    feet, height = len(layers), way.fins.height
    count = cells.fins * split
    for n in range(count):
        tall = _tall(stack, x, y, (n + 0.5) / count * height)
        k = way.fins.thickness / way.fins.pitch * way.bank.material.conductivity[0]
        along = (k, 1e-9, k) if way.bank.along == 0 else (1e-9, k, k)
        layers.append(Layer(tall, height / count, lambda t, along=along: along))
    make = _side_coolant if isinstance(way, Side) else _through_coolant
    stream, share = make(stack, way, x, y, layers, feet, coolant, rate * at_inlet.rho / coolant.rho)
    area = np.outer(np.diff(y), np.diff(x))
    watts = np.zeros(area.shape)
    spots = [inside(x, y, source.outline.bounds) for source in stack.sources]
    for spot, source in zip(spots, stack.sources):
        watts += np.where(spot, source.power * area / source.outline.area, 0.0)
    fields, leaving = temperatures(x, y, layers, watts, stream)
    peaks = np.array([np.nanmax(np.where(spot, fields[0], np.nan)) for spot in spots])
    mixed = float(stream.capacity @ leaving[stream.chains[:, -1]] / stream.capacity.sum())
    return Found(peaks, rate, drop, share, share * mixed + (1 - share) * stream.inlet)


def _plan(stack, cells: Cells, split: int) -> tuple[Floats, Floats]:
    shapes = [body.outline.bounds for body in stack.bodies] + windows(stack)
    return tuple(edges([end for each in shapes for end in each[axis::2]], cells.size, split) for axis in (0, 1))


def _solids(stack, cells: Cells, x: Floats, y: Floats, split: int) -> list[Layer]:
    bodies = [body for body in stack.bodies if "block" not in body.name]
    kinds = [[b for b in bodies if b.name.split("/")[-1].startswith(kind)] for kind, _ in cells.kinds]
    assert sorted(b.name for kind in kinds for b in kind) == sorted(b.name for b in bodies)
    layers = []
    for kind, (_, parts) in zip(kinds, cells.kinds):
        where = inside(x, y, *(b.outline.bounds for b in kind))
        if kind[0].outline.interiors:
            where &= ~inside(x, y, *windows(stack))
        body, resistance = kind[0], np.zeros(where.shape)
        for joint in stack.joints:
            lower, upper = stack.bodies[joint.lower], stack.bodies[joint.upper]
            if lower in kind:
                both = inside(x, y, lower.outline.bounds) & inside(x, y, upper.outline.bounds)
                resistance = np.where(both, joint.impedance, resistance)
        for part in range(parts * split):
            above = resistance if part == parts * split - 1 else np.zeros(where.shape)
            layers.append(Layer(where, body.thickness / (parts * split), _conductivity(body.material), above))
    return layers


def _conductivity(material):
    def at(temperature: Floats):
        share = (temperature / material.temperature_reference) ** material.exponent
        return tuple(np.where(np.isfinite(share), k * share, k) for k in material.conductivity)

    return at


def _tall(stack, x: Floats, y: Floats, z: float) -> NDArray[np.bool_]:
    """Cells whose fins reach above a height z."""
    import shapely

    bank, xx, yy = stack.banks[0], *np.meshgrid((x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2)
    height = np.zeros(xx.shape)
    for region in bank.regions:
        height[shapely.contains_xy(region.outline, xx, yy)] = region.fins.height
    return height > z


def _meetings(parts: list[tuple], capacity: Floats, chains, inlet: float) -> Coolant:
    layer, place, cell, conductance, face = (np.concatenate(each) for each in zip(*parts))
    kept = conductance > 0
    return Coolant(
        chains, capacity, inlet, layer[kept], place[kept], cell[kept], conductance[kept],
        [None if f < 0 else int(f) for f in face[kept]],
    )  # fmt: skip


def _side_coolant(stack, way: Side, x, y, layers, feet: int, coolant: State, rate: float) -> tuple[Coolant, float]:
    """One chain along every row; all layers of fins at a place meet one coolant cell."""
    speed, slipping = way.parts(way.drop_at(rate, coolant), coolant)
    between = rate - slipping
    h = coefficients(speed, way.gap, x - x[0], coolant)
    chains = np.arange((len(y) - 1) * (len(x) - 1)).reshape(len(y) - 1, -1)
    area = np.outer(np.diff(y), np.diff(x))
    place, pitch = chains.ravel(), way.fins.pitch

    def part(n: int, conductance: Floats, face: int) -> tuple:
        return np.full(place.size, n), place, place, conductance.ravel(), np.full(place.size, face)

    solid = way.fins.thickness / pitch
    parts = [part(feet - 1, h * area * (1 - solid), 1)]
    parts += [part(n, h * area * 2 / pitch * layers[n].thickness, -1) for n in range(feet, len(layers))]
    if way.bank.tip_gap > 0:
        parts.append(part(len(layers) - 1, h * area * solid, 1))
    capacity = coolant.rho * coolant.cp * between * np.diff(y) / way.width
    return _meetings(parts, capacity, chains, way.flow.inlet), between / rate


def _through_coolant(
    stack, way: Through, x, y, layers, feet: int, coolant: State, rate: float
) -> tuple[Coolant, float]:
    """One chain down every cell of the plan over a window, from the tips; part evened out, part as the fans blow."""
    free, area = inside(x, y, *windows(stack)), np.outer(np.diff(y), np.diff(x))
    fins = len(layers) - feet
    depth = sum(layer.where.astype(float) * layer.thickness for layer in layers[feet:])
    drop = way.drop_at(rate, coolant)
    even = np.zeros(area.shape)
    for height in np.unique(depth[free]):
        even[free & (depth == height)] = way.speed(drop, height, coolant)
    even *= rate / (even * area)[free].sum()
    centers = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
    turning = [fan for fan in way.flow.fans if fan.is_running]
    in_field = inside(x, y, way.bank.outline.bounds)
    rigid = np.zeros(area.shape)
    for fan in turning:
        blown = np.where(in_field, fan_speeds(*centers, fan.center, fan.diameter, fan.hub), 0.0)
        rigid += blown / (blown * area).sum()
    rigid = np.where(free, rigid, 0.0)
    rigid *= rate / (rigid * area).sum()
    share = 1 - np.exp(-way.flow.plenum / np.mean([fan.hub for fan in turning]))
    speed = np.where(free, share * even + (1 - share) * rigid, 0.0)
    rows = np.flatnonzero(free.ravel())
    chains = np.arange(rows.size * fins).reshape(rows.size, fins)
    parts = []
    levels = np.cumsum([0.0] + [layer.thickness for layer in layers[feet:]])
    for number, place in enumerate(rows):
        height, v = depth.ravel()[place], speed.ravel()[place]
        reached = int(np.sum(levels[1:] <= height * (1 + 1e-9)))
        h = coefficients(v / way.open, way.gap, height - levels[: reached + 1][::-1], coolant)[::-1]
        conductance = h * 2 / way.fins.pitch * area.ravel()[place] * np.diff(levels[: reached + 1])
        parts.append(
            (feet + np.arange(reached), np.full(reached, place), chains[number, ::-1][:reached], conductance,
             np.full(reached, -1))
        )  # fmt: skip
    capacity = coolant.rho * coolant.cp * speed.ravel()[rows] * area.ravel()[rows]
    return _meetings(parts, capacity, chains, way.flow.inlet), 1.0
