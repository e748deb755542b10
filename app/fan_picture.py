"""Picture of a flow's fans: their curve together, the resistance of all that is in the way, and where they meet."""

import math

import numpy as np

from plancha.app.charts import Canvas, Colour, add_mark, page
from plancha.app.colours import COOL, WARM, colours
from plancha.app.graph_panel import (
    ASIDE,
    CUBIC_FEET,
    PER_HOUR,
    WATER,
    Entry,
    Panel,
    Ruler,
    add_curve,
    add_key,
    add_panel,
    room_around,
)
from plancha.app.label_places import GAP, Box, box_around, contains
from plancha.app.plan_drawing import DARK, MIDDLE, TEXT, Picture, Words, text_size
from plancha.app.plan_page import LINE, TICK
from plancha.fem.air_flow import FlowState, curve_of, law_density
from plancha.fem.fans import fan_pressure
from plancha.fem.findings import Findings
from plancha.geometry.air import Fan
from plancha.geometry.units import show

WIDE, TALL = 1180, 680  # of the panel [px]
POINTS = 240  # along each curve
SIZE = 12  # of the mark at the operating point [px]
FANS: Colour = tuple(float(c) / 255 for c in colours(COOL)[90])  # type: ignore[assignment]
SYSTEM: Colour = tuple(float(c) / 255 for c in colours(WARM)[130])  # type: ignore[assignment]


def fan_picture(findings: Findings, number: int, case_name: str) -> Picture:
    """Static pressure over flow of the fans that drive a flow, by its number; in two units each way.

    The flow must have fans that run.
    """
    state = findings.flows[number].state
    assert state.curve is not None and state.point is not None, "a picture of fans needs some that run"
    panel = _panel(state)
    canvas = Canvas()
    add_panel(
        canvas,
        panel,
        Ruler("flow at the inlet [m³/h]", PER_HOUR),
        Ruler("static pressure [Pa]"),
        Ruler("flow [CFM]", CUBIC_FEET),
        Ruler("static pressure [mmH2O]", WATER),
    )
    entries = _add_curves(canvas, panel, state)
    _add_points(canvas, panel, state)
    top = panel.box.bottom - TICK - GAP - 2 * LINE
    low = add_key(canvas, entries, panel.box.left, panel.box.right, top, SIZE)
    whole = Box(panel.box.left - ASIDE, low, panel.box.right + ASIDE, panel.box.top + 2 * LINE + TEXT)
    title = findings.solution.sheets.stack.title
    return page(canvas, whole, title, f"Fans of {state.flow.name} – case: {case_name}", [_caption(state)])


def _panel(state: FlowState) -> Panel:
    curve, point = state.curve, state.point
    assert curve is not None and point is not None
    own = _stalling(state)
    flows = [float(curve.flow[-1]), point.flow, *(float(each.flow[-1]) for each in own)]
    pressures = [float(curve.pressure.max()), point.pressure, *(float(each.pressure.max()) for each in own)]
    return Panel(Box(0, 0, WIDE, TALL), room_around(flows, 0.05, True), room_around(pressures, 0.12, True))


def _stalling(state: FlowState) -> list:
    """The curve, with its stalled part, where one fan table alone drives the flow and its curve has a dip."""
    running = [fan for fan in state.flow.fans if fan.is_running]
    curves = [curve_of(fan, law_density(state.flow)) for fan in running]
    return [curve for curve in curves if len(curves) == 1 and curve.stall_flow is not None]


def _stall_flow(state: FlowState) -> float:
    """Flow [m3/s] left of which at least one fan is stalled; nothing where none is."""
    assert state.curve is not None
    return max([float(state.curve.flow[0]), *(float(curve.stall_flow or 0.0) for curve in _stalling(state))])


def _add_curves(canvas: Canvas, panel: Panel, state: FlowState) -> list[Entry]:
    assert state.curve is not None and state.point is not None
    entries = []
    flows = np.linspace(float(state.curve.flow[state.curve.falling_from]), float(state.curve.flow[-1]), POINTS)
    for curve in _stalling(state):
        left = np.linspace(float(curve.flow[0]), float(curve.stall_flow), POINTS)
        add_curve(canvas, panel, left, fan_pressure(curve, left), FANS, 2.5, dashed=True)
        entries.append(Entry("where a fan hunts and is loud", FANS, dashed=True, width=2.5))
    start = _stall_flow(state)
    if start > 0:
        at = float(panel.pixels(np.array([start]), np.array([0.0]))[0, 0])
        canvas.strokes([[[at, panel.box.bottom], [at, panel.box.top]]], MIDDLE, 2.0)
        width = text_size("stall")[0]
        canvas.text("stall", max(at - GAP - width, GAP), panel.box.bottom + TEXT, colour=MIDDLE, plate=True)
    add_curve(canvas, panel, flows, fan_pressure(state.curve, flows), FANS)
    rates = np.linspace(0.0, panel.across[1], POINTS)
    add_curve(canvas, panel, rates, state.system.drop_at(rates), SYSTEM)
    running = "all running fans together" if len(_driving(state)) > 1 or _count(state) > 1 else _driving(state)[0].name
    first = [Entry(running, FANS), Entry("resistance of fins and losses", SYSTEM)]
    marks = [Entry("operating point", DARK, 24)]
    if state.point.also_at:
        marks.append(Entry("also possible", SYSTEM, 4))
    return [*first, *entries, *marks]


def _driving(state: FlowState) -> list[Fan]:
    return [fan for fan in state.flow.fans if fan.is_running]


def _count(state: FlowState) -> int:
    return sum(fan.count for fan in _driving(state))


def _add_points(canvas: Canvas, panel: Panel, state: FlowState) -> None:
    """The operating point with its values beside it, and further crossings."""
    point = state.point
    assert point is not None
    for flow in point.also_at:
        x, y = panel.pixels(np.array([flow]), state.system.drop_at(np.array([flow])))[0]
        add_mark(canvas, x, y, 4, SIZE, SYSTEM)
    x, y = panel.pixels(np.array([point.flow]), np.array([point.pressure]))[0]
    canvas.strokes([[[x, panel.box.bottom], [x, y]], [[panel.box.left, y], [x, y]]], MIDDLE, 1.5)
    add_mark(canvas, x, y, 24, SIZE, DARK)
    lines = [f"{point.flow * PER_HOUR:.4g} m³/h, {point.flow * CUBIC_FEET:.4g} CFM", _pressure(point.pressure)]
    box = _place_between(panel, state, max(text_size(line, bold=True)[0] for line in lines))
    for line, text in enumerate(lines):
        words = box_around(box.middle[0], box.top - (line + 0.5) * LINE, *text_size(text, bold=True))
        canvas.words.append(Words(text, words, bold=True, plate=True))


def _place_between(panel: Panel, state: FlowState, width: float) -> Box:
    """Where two lines of a width [px] fit between the curves, right of their meeting or else left of it, as near as they fit."""
    curve, point = state.curve, state.point
    assert curve is not None and point is not None
    height = 2 * LINE
    meeting = float(panel.pixels(np.array([point.flow]), np.array([point.pressure]))[0, 0])
    inside = panel.box.grown(-GAP)
    for side in (1, -1):
        for aside in range(3 * SIZE, int(panel.box.width), 4):
            near = (
                meeting + side * aside
            )  # the label's edge that is nearest to the meeting, where the curves are closest
            flow = (near - panel.box.left) / panel.box.width * panel.across[1]
            if not 0 < flow < panel.across[1]:
                break
            given = float(np.interp(flow, curve.flow, curve.pressure, right=0.0))
            ends = panel.pixels(np.array([flow, flow]), np.array([given, float(state.system.drop_at(flow))]))[:, 1]
            low, high = max(float(ends.min()), inside.bottom), min(float(ends.max()), inside.top)
            box = box_around(near + side * width / 2, (low + high) / 2, width, height)
            if high - low >= height + 2 * GAP and contains(inside, box):
                return box
    return box_around(panel.box.middle[0], inside.top - height / 2, width, height)


def _pressure(value: float) -> str:
    return f"{value:.1f} Pa, {value * WATER:.2f} mmH2O"


def _caption(state: FlowState) -> str:
    point = state.point
    assert point is not None
    words = [f"Flow {state.flow.name}: {', '.join(_speed(fan) for fan in _driving(state))}."]
    dead = [fan.name for fan in state.flow.fans if not fan.is_running]
    if dead:
        words.append(f"Dead: {', '.join(dead)}; what leaks back through a dead fan of known size is taken off.")
    words.append(f"Of the pressure {state.bank_drop:.1f} Pa over the fins; air power {point.air_power:.3g} W.")
    if not math.isnan(state.level):
        words.append(f"Sound {state.level:.1f} dB(A) (relative; 50\u00a0log10 of the speed ratio).")
    if point.stalled:
        words.append("The point lies left of the last maximum of the curve, where fans hunt and are loud.")
    if not _stalling(state) and _stall_flow(state) > 0:
        words.append("Left of the upright line one of the fans is stalled, and the curve of all has no single value.")
    for flow in point.also_at:
        words.append(f"The curves cross again at {flow * PER_HOUR:.4g} m³/h: the fan may stay there as well.")
    return " ".join(words)


def _speed(fan: Fan) -> str:
    many = f"{fan.count} x " if fan.count > 1 else ""
    row = " in a row" if fan.in_series and fan.count > 1 else ""
    share = f"{100 * fan.speed / fan.test_speed:.0f} % of the test speed"
    return f"{many}{fan.name}{row} at {show(fan.speed, 'speed of rotation')}, {share}"
