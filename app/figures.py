"""Pictures for a page: each PNG inlined as text, with a caption and words for those who cannot see it."""

import base64
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from plancha.app.pictures import CHIPS, COEFFICIENT, COOLANT, FAN, POWER_MAP, SPREADING, WHOLE
from plancha.app.result import CaseRecord, FlowRecord
from plancha.app.tables import worst_component

MEASURED = "measured.png"


@dataclass(frozen=True)
class Figure:
    """A picture as a data address, with its caption, the words that stand in its place (``alt``), and its size [px]."""

    source: str
    caption: str
    alt: str
    width: int
    height: int


def figure_of(path: Path, caption: str, alt: str) -> Figure:
    """The figure of a PNG file."""
    content = path.read_bytes()
    # After eight bytes of signature, and length and name of the first block, come width and height (PNG, ISO/IEC 15948).
    width, height = (int.from_bytes(content[at : at + 4], "big") for at in (16, 20))
    return Figure("data:image/png;base64," + base64.b64encode(content).decode("ascii"), caption, alt, width, height)


def figures_of(paths: list[Path], case: CaseRecord) -> list[Figure]:
    """The figures of a load case's pictures, by their files' names, in the order in which a reader wants them."""
    by_name = {path.name: path for path in paths}
    plain = [(name, *words(case)) for name, words in WORDS.items() if name in by_name]
    flows = [(name, *words) for name, words in _flow_words(case).items() if name in by_name]
    return [figure_of(by_name[name], caption, alt) for name, caption, alt in [*plain, *flows]]


def _whole(case: CaseRecord) -> tuple[str, str]:
    name = worst_component(case)
    hottest = max(case.components, key=lambda each: each.peak_degC, default=None)
    seen = "Plan of all bodies coloured by temperature, dark is cold and light is hot, with labelled isotherms and footprints."
    if hottest is None:
        return "Temperature of the plan.", seen
    at = f"x {hottest.peak_at.x_mm:.1f} mm, y {hottest.peak_at.y_mm:.1f} mm"
    alt = f"{seen} The hottest point is {hottest.peak_degC:.1f} °C, in {hottest.name} at {at}."
    return f"Temperature of the plan; {name} limits." if case.limiting_component else "Temperature of the plan.", alt


def _chips(case: CaseRecord) -> tuple[str, str]:
    each = max(case.components, key=lambda one: one.peak_degC)
    alt = (
        f"Active face of {each.name} coloured by temperature, with isotherms: peak {each.peak_degC:.1f} °C at x "
        f"{each.peak_at.x_mm:.1f} mm, y {each.peak_at.y_mm:.1f} mm, area mean {each.area_mean_degC:.1f} °C."
    )
    return f"Temperature of the hottest component, {each.name}.", alt


def _spreading(case: CaseRecord) -> tuple[str, str]:
    each = next(one for one in case.spreading if one.component == worst_component(case))
    alt = (
        f"Face of {each.body} coloured by its rise above the face's mean per watt of {each.component}: over the footprint at "
        f"most {each.maximum_K_per_W or 0:.3g} K/W, in the mean {each.mean_K_per_W or 0:.3g} K/W, falling off to all sides."
    )
    return f"Spreading resistance of {each.body} under {each.component}, this component at work alone.", alt


def _power_map(case: CaseRecord) -> tuple[str, str]:
    watts = sum(each.power_W for each in case.components)
    count = len(case.components)
    alt = (
        f"Plan coloured by power density: {count} component{'s'[: count != 1]} giving off {watts:.4g} W together, dark is little "
        "and light is much. A white triangle, if there is one, marks the first cell of a power map's file."
    )
    return "Power as laid in the plan. A white triangle shows how a map's file was turned.", alt


WORDS: dict[str, Callable[[CaseRecord], tuple[str, str]]] = {
    WHOLE: _whole,
    CHIPS: _chips,
    SPREADING: _spreading,
    POWER_MAP: _power_map,
}


def _flow_words(case: CaseRecord) -> dict[str, tuple[str, str]]:
    """Caption and words of every picture of a flow, by the picture's file name."""
    many, found = len(case.flows) > 1, {}
    driven = [flow for flow in case.flows if flow.operating_point is not None]
    for number, flow in enumerate(case.flows, 1):
        tail = f"_{number}.png" if many else ".png"
        found[COOLANT + tail] = _coolant(flow)
        found[COEFFICIENT + tail] = _coefficient(flow)
    for number, flow in enumerate(driven, 1):
        found[FAN + (f"_{number}.png" if len(driven) > 1 else ".png")] = _fan(flow)
    return found


def _coolant(flow: FlowRecord) -> tuple[str, str]:
    alt = (
        f"Plan of the fins coloured by the temperature of {flow.fluid}: in at {flow.inlet_degC:.1f} °C, out at "
        f"{flow.outlet_degC:.1f} °C mixed, at most {flow.hottest_degC:.1f} °C at a wall."
    )
    return f"Temperature of the coolant, flow {flow.name}.", alt


def _coefficient(flow: FlowRecord) -> tuple[str, str]:
    span = flow.coefficient_W_per_m2K
    alt = (
        f"Plan of the fins coloured by the coefficient on their surface: {span.least:.4g} to {span.most:.4g} W/m²/K, mean "
        f"{span.mean:.4g} W/m²/K."
    )
    return f"Coefficient on the fins, flow {flow.name}.", alt


def _fan(flow: FlowRecord) -> tuple[str, str]:
    point = flow.operating_point
    assert point is not None
    alt = (
        f"Static pressure against flow: the falling curve of {', '.join(point.fans)} meets the rising resistance of fins and "
        f"losses at {point.rate_m3_per_s * 3600:.4g} m³/h and {point.pressure_Pa:.4g} Pa{', in stall' if point.stalled else ''}."
    )
    return f"Fans and resistance, flow {flow.name}: where the curves meet is the operating point.", alt


def measured_figure(path: Path, count: int, root_mean_square: float) -> Figure:
    """The figure of measured.png: ``count`` readings, the model's root mean square difference [K]."""
    alt = (
        f"Model beside {count} measured temperatures with error bars of two standard deviations; the root mean square of the "
        f"differences is {root_mean_square:.2f} K."
    )
    return figure_of(path, "Model beside measurement.", alt)
