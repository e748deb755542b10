"""What was understood of fins, flows and fans, as tables for the terminal."""

import math

from plancha.app.flow_tables import FAN_CAUTION
from plancha.app.graph_panel import CUBIC_FEET, PER_HOUR
from plancha.app.sections import Section, section
from plancha.geometry.air import ALONG_X, Bank, Fan, Fins, Flow, Loss
from plancha.geometry.bodies import FACE_NAMES, Stack
from plancha.geometry.fluids import fluid_law
from plancha.geometry.units import show

LIQUID = 100.0  # kg/m3 above which a coolant is one
ENTRIES = {"side": "side, from the {} edge", "top": "top, out at both ends", "through": "through, {} first"}


def air_tables(stack: Stack) -> list[Section]:
    """Tables of the fins, the flows and, where there are any, the fans."""
    tables = [fins_table(stack), flows_table(stack)]
    return [*tables, fans_table(stack)] if fans_of(stack) else tables


def fans_of(stack: Stack) -> list[Fan]:
    """All fans that drive a flow, each once."""
    found = {fan.name: fan for flow in stack.flows for fan in flow.fans}
    return list(found.values())


def fins_table(stack: Stack) -> Section:
    """Banks with their fins, a row to each kind of fins in them."""
    rows = [row for bank in stack.banks for row in _bank_rows(stack, bank)]
    gaps = [
        f"{bank.name}: clear over the tips {show(bank.tip_gap, 'length')}" for bank in stack.banks if bank.tip_gap > 0
    ]
    feet = [
        f"{bank.name}: {show(bank.impedance, 'impedance')} between plate and fins"
        for bank in stack.banks
        if bank.impedance > 0
    ]
    columns = ("fins", "on", "form", "pitch", "thickness", "gap", "height", "material", "described as")
    return section("Fins", columns, rows, "; ".join([*gaps, *feet]))


def _bank_rows(stack: Stack, bank: Bank) -> list[tuple[str, ...]]:
    kinds = list(dict.fromkeys(region.fins for region in reversed(bank.regions)))  # patches come first
    on = f"{stack.bodies[bank.base].name}, {FACE_NAMES[bank.face]}"
    rows: list[tuple[str, ...]] = []
    for number, fins in enumerate(kinds):
        first = number == 0
        rows.append(
            (
                bank.name if first else "  patch",
                on if first else "",
                _form(bank, fins),
                _pitch(fins),
                show(fins.thickness, "length"),
                show(fins.gap, "length"),
                show(fins.height, "length"),
                bank.material.name if first else "",
                ("film" if bank.is_film else "block") if first else "",
            )
        )
    return rows


def _form(bank: Bank, fins: Fins) -> str:
    if fins.is_pin:
        return "pins, staggered" if fins.is_staggered else "pins, in line"
    return f"plates along {'x' if bank.along == ALONG_X else 'y'}"


def _pitch(fins: Fins) -> str:
    if fins.is_pin and fins.across != fins.pitch:
        return f"{show(fins.pitch, 'length')} by {show(fins.across, 'length')}"
    return show(fins.pitch, "length")


def flows_table(stack: Stack) -> Section:
    """Flows: what they pass, whence, what fluid at what rate or by which fans, and what stands in their way."""
    rows = [
        (
            flow.name,
            ", ".join(stack.banks[number].name for number in flow.banks),
            ENTRIES[flow.entry].format(flow.side),
            flow.fluid,
            show(flow.inlet, "temperature"),
            f"{flow.pressure / 1e3:.4g} kPa",
            _driven(flow),
        )
        for flow in stack.flows
    ]
    columns = ("flow", "fins", "entry", "fluid", "inlet", "pressure", "rate or fans")
    return section("Flows", columns, rows, *(_way_words(flow) for flow in stack.flows))


def _driven(flow: Flow) -> str:
    if flow.rate is not None:
        return rate_words(flow.rate, fluid_law(flow.fluid).at(flow.inlet, flow.pressure).density)
    return ", ".join(fan.name if fan.is_running else f"{fan.name} (dead)" for fan in flow.fans)


def rate_words(rate: float, density: float) -> str:
    """A flow [m3/s] in the trade's units: of a gas in CFM and m3/h, of a liquid, by its density [kg/m3], in L/min."""
    if density > LIQUID:
        return f"{rate * 6e4:.4g} L/min"
    return f"{rate * CUBIC_FEET:.4g} CFM ({rate * PER_HOUR:.4g} m³/h)"


def _way_words(flow: Flow) -> str:
    words = [_loss(loss) for loss in flow.losses]
    if flow.blocked > 0:
        words.append(f"{100 * flow.blocked:.3g} % of the inlet blocked")
    if flow.beside > 0:
        words.append(f"{show(flow.beside, 'length')} clear beside the fins")
    if flow.plenum > 0:
        words.append(f"plenum {show(flow.plenum, 'length')} deep")
    if flow.coefficient is not None:
        words.append(f"coefficient given, {show(flow.coefficient, 'coefficient')}")
    if flow.enhancement != 1:
        words.append(f"coefficient of the law times {flow.enhancement:g}")
    words += [
        f"law of {kind}: {law}"
        for kind, law in (("convection", flow.law), ("friction", flow.friction))
        if law != "automatic"
    ]
    return f"{flow.name}: {'; '.join(words)}" if words else ""


def _loss(loss: Loss) -> str:
    if loss.coefficient > 0:
        return f"{loss.name}, coefficient {loss.coefficient:g} on {show(loss.area, 'area')}"
    return f"{loss.name}, {show(loss.drop, 'pressure')} at {show(loss.rate, 'volume flow')}"


def fans_table(stack: Stack) -> Section:
    """Fans: how many, how fast, how far their curve reaches, how loud."""
    rows = [
        (
            fan.name if fan.is_running else f"{fan.name} (dead)",
            f"{fan.count}" + (" in a row" if fan.in_series and fan.count > 1 else ""),
            show(fan.speed, "speed of rotation"),
            show(fan.test_speed, "speed of rotation"),
            f"{fan.curve.pressure.max():.4g} Pa",
            show(float(fan.curve.flow[-1]), "volume flow"),
            _level(fan.level),
            _level(fan.noise_limit),
            _place(fan),
        )
        for fan in fans_of(stack)
    ]
    columns = ("fan", "count", "runs at", "tested at", "highest", "free flow", "sound", "limit", "blades, hub")
    words = "highest pressure, free flow and sound of one fan at the test speed; limit of all fans of a row together"
    return section("Fans", columns, rows, words, FAN_CAUTION)


def _level(level: float) -> str:
    return "-" if math.isnan(level) else show(level, "sound level")


def _place(fan: Fan) -> str:
    return f"{show(fan.diameter, 'length')}, {show(fan.hub, 'length')}" if fan.has_place else "-"
