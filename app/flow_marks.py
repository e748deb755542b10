"""Marks of a flow on a plan view: darts where it enters and leaves, rings where it passes the plan, fans as broken circles."""

from dataclasses import dataclass

import numpy as np
import shapely

from plancha.app.charts import Colour
from plancha.app.colours import COOL, colours
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.label_places import GAP, Box, box_around, overlaps
from plancha.app.plan_drawing import DARK, LIGHT, MIDDLE, Patch, Strokes, text_size
from plancha.app.plan_marks import first_free
from plancha.app.plan_page import Sheet
from plancha.fem.finned import BankPlace
from plancha.fem.solve import Solution
from plancha.geometry.air import SIDES, Bank, Flow, way_axis
from plancha.geometry.bodies import COOLED_SIDE

OPPOSITE = {"left": "right", "right": "left", "lower": "upper", "upper": "lower"}
OUTWARD = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "lower": (0.0, -1.0), "upper": (0.0, 1.0)}
LONGEST, SHORTEST = 62.0, 14.0  # of a dart [px]
PER_DART = 80.0  # of an edge [px]
MOST_DARTS = 9
BREADTH, NOTCH = 0.36, 0.28  # of a dart: half its breadth over its length, and how deep its tail is cut
RINGS = (5, 4)  # along the longer side of a bank and along the shorter
LARGEST, SMALLEST = 15.0, 4.0  # radius of a ring [px]
ARC = 64  # parts of a circle
DART: Colour = tuple(float(c) / 255 for c in colours(COOL)[70])  # type: ignore[assignment]


@dataclass(frozen=True)
class Edge:
    """An edge of a bank with what goes over it: capacity flow [W/K] of each lane (lanes,), and the edges of the lanes [m]."""

    side: str
    is_inlet: bool
    place: float
    across: np.ndarray
    flow: np.ndarray
    leaving: np.ndarray


def edges_of(place: BankPlace, bank: Bank) -> list[Edge]:
    """The edges over which coolant enters or leaves a bank; none of a through flow."""
    flow, way = place.state.flow, place.way
    if flow.entry == "through":
        return []
    axis = way_axis(flow, bank)
    number = way.grid.number if axis == 0 else way.grid.number.T  # (stations, lanes)
    along, across = (way.grid.x, way.grid.y) if axis == 0 else (way.grid.y, way.grid.x)
    ends = {SIDES[2 * axis]: (number[0], along[0]), SIDES[2 * axis + 1]: (number[-1], along[-1])}
    found = []
    for side, (cells, at) in ends.items():
        is_inlet = side == flow.side
        going = way.inflow[cells] if is_inlet else way.outflow[cells]
        if going.sum() > 0:
            found.append(Edge(side, is_inlet, float(at), across, going, cells))
    return found


def add_darts(sheet: Sheet, edge: Edge, free: float) -> None:
    """Darts along an edge, as long as the flow there; ``free`` [m] is the room before the next bank."""
    room = min(LONGEST, free * sheet.frame.scale - 2 * GAP)
    if room < SHORTEST or (not edge.is_inlet and np.isfinite(free)):
        return
    length = (edge.across[-1] - edge.across[0]) * sheet.frame.scale
    count = int(np.clip(length / PER_DART, 1, MOST_DARTS))
    ends = np.linspace(edge.across[0], edge.across[-1], count + 1)
    middles = (edge.across[1:] + edge.across[:-1]) / 2
    rates = edge.flow / np.diff(edge.across)
    lanes = np.clip(np.searchsorted(ends, middles) - 1, 0, count - 1)
    means = np.array([rates[lanes == n].mean() if (lanes == n).any() else 0.0 for n in range(count)])
    out = np.array(OUTWARD[edge.side])
    for at, mean in zip((ends[1:] + ends[:-1]) / 2, means / max(rates.max(), 1e-300)):
        size = room * mean
        if size < SHORTEST / 2:
            continue
        plan = (edge.place, at) if edge.side in ("left", "right") else (at, edge.place)
        base = sheet.frame.pixels(np.array(plan)) + GAP * out
        tail, tip = (base + size * out, base) if edge.is_inlet else (base, base + size * out)
        _add_dart(sheet, tail, tip)


def _add_dart(sheet: Sheet, tail: np.ndarray, tip: np.ndarray) -> None:
    """A slim arrowhead with a cut tail."""
    along = tip - tail
    aside = BREADTH * np.array([-along[1], along[0]])
    notch = tail + NOTCH * along
    for side in (aside, -aside):
        sheet.parts.append(Patch(np.array([tip, tail + side, notch]), DART))
    ends = np.array([tail + aside, tail - aside, tip])
    sheet.taken.append(Box(*ends.min(axis=0), *ends.max(axis=0)))


def add_edge_words(sheet: Sheet, edge: Edge, place: BankPlace, solution: Solution) -> None:
    """The temperature that comes in or leaves over an edge, inside the bank next to the edge."""
    if edge.is_inlet:
        kelvin = _entering(place, solution)
    else:
        leaving = solution.temperature[place.stream.unknowns][place.cells][edge.leaving]
        kelvin = float(edge.flow @ leaving / edge.flow.sum())
    text = f"{'in' if edge.is_inlet else 'out'} {kelvin - ZERO_CELSIUS:.1f} °C"
    width, height = text_size(text, bold=True)
    out = np.array(OUTWARD[edge.side])
    depth = (width if out[0] else height) / 2 + 2 * GAP
    places = []
    for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9):
        at = edge.across[0] + share * (edge.across[-1] - edge.across[0])
        plan = (edge.place, at) if out[0] else (at, edge.place)
        x, y = sheet.frame.pixels(np.array(plan)) - depth * out
        places.append(box_around(float(x), float(y), width, height))
    box = first_free([(places, [*sheet.taken, *sheet.edges]), (places, sheet.taken)], sheet.frame.panel)
    if box is not None:
        sheet.write(text, box, bold=True, plate=True)
    else:
        sheet.legend.append(f"{edge.side} edge: {text}")


def _entering(place: BankPlace, solution: Solution) -> float:
    """Mixed temperature [K] of what enters a bank: the inlet's, or behind another bank what comes from there."""
    network = place.stream.network
    first, last = place.cells.start, place.cells.stop
    rows = network.upstream[first:last].tocoo()
    outside = (rows.coords[1] < first) | (rows.coords[1] >= last)
    carried, sources = rows.data[outside], rows.coords[1][outside]
    own = float(network.inflow[first:last].sum())
    temperatures = solution.temperature[place.stream.unknowns][sources]
    return float((own * network.inlet + carried @ temperatures) / (own + carried.sum()))


def add_inflow_rings(sheet: Sheet, place: BankPlace, bank: Bank) -> None:
    """Rings over a bank that is entered from above or passed through, as large as the flow at their places."""
    flow, way = place.state.flow, place.way
    if flow.entry == "side":
        return
    levels = len(way.levels) - 1
    inflow = way.inflow.reshape(-1, levels).sum(axis=1)
    areas = np.outer(np.diff(way.grid.x), np.diff(way.grid.y))
    speed = np.where(way.grid.number >= 0, inflow[np.maximum(way.grid.number, 0)], 0.0) / areas
    left, bottom, right, top = bank.outline.bounds
    counts = RINGS if right - left >= top - bottom else RINGS[::-1]
    xs, ys = (
        np.linspace(low, high, 2 * n + 1)[1::2] for low, high, n in ((left, right, counts[0]), (bottom, top, counts[1]))
    )
    away = (flow.side != "base") == (bank.face == COOLED_SIDE)
    for x in xs:
        for y in ys:
            i, j = np.searchsorted(way.grid.x, x) - 1, np.searchsorted(way.grid.y, y) - 1
            radius = LARGEST * float(np.sqrt(speed[i, j] / max(speed.max(), 1e-300)))
            px, py = sheet.frame.pixels(np.array([x, y]))
            box = box_around(float(px), float(py), 2 * LARGEST, 2 * LARGEST)
            if radius >= SMALLEST and not overlaps(box, [*sheet.taken, *sheet.edges]):
                _add_ring(sheet, float(px), float(py), radius, away)


def _add_ring(sheet: Sheet, x: float, y: float, radius: float, away: bool) -> None:
    strokes = [_circle(x, y, radius)]
    if away:
        arm = 0.5 * radius
        strokes.append(np.array([[[x - arm, y - arm], [x + arm, y + arm]], [[x - arm, y + arm], [x + arm, y - arm]]]))
    for colour, width in ((LIGHT, 5.0), (DARK, 2.0)):
        sheet.parts.append(Strokes(np.concatenate(strokes), colour, width))
    if not away:
        angles = 2 * np.pi * np.arange(16) / 16
        sheet.parts.append(
            Patch(np.array([x, y]) + 0.3 * radius * np.column_stack([np.cos(angles), np.sin(angles)]), DARK)
        )
    sheet.taken.append(box_around(x, y, 2 * radius + 4, 2 * radius + 4))


def _circle(x: float, y: float, radius: float) -> np.ndarray:
    angles = 2 * np.pi * np.arange(ARC + 1) / ARC
    points = np.array([x, y]) + radius * np.column_stack([np.cos(angles), np.sin(angles)])
    return np.stack([points[:-1], points[1:]], axis=1)


def add_fan_rings(sheet: Sheet, flow: Flow) -> None:
    """Blades' and hub's circles of the fans that blow on the plan from a place, as broken lines; dead fans are named so."""
    for fan in flow.fans:
        if not fan.has_place or flow.entry == "side":
            continue
        x, y = sheet.frame.pixels(np.array(fan.center))
        for diameter in (fan.diameter, fan.hub):
            dashes = _circle(float(x), float(y), diameter / 2 * sheet.frame.scale)
            shown = _inside(dashes.reshape(ARC // 2, 2, 2, 2)[:, 0], sheet.frame.panel)
            if len(shown):
                colour = DARK if fan.is_running else MIDDLE
                sheet.parts += [Strokes(shown, LIGHT, 4.0), Strokes(shown, colour, 1.5)]
        if not fan.is_running:
            box = box_around(float(x), float(y), *text_size("dead"))
            if not overlaps(box, sheet.taken):
                sheet.write("dead", box, plate=True, colour=MIDDLE)


def _inside(segments: np.ndarray, panel: Box) -> np.ndarray:
    box = shapely.box(panel.left, panel.bottom, panel.right, panel.top)
    return segments[shapely.contains_xy(box, *segments.mean(axis=1).T)]
