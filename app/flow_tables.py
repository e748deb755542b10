"""Flows as tables for the terminal, in the trade's units."""

from plancha.app.result import CaseRecord, FlowRecord, SpanRecord
from plancha.app.sections import Section, section
from plancha.geometry.units import show

FAN_CAUTION = (
    "Fans: blades cut, also at low speed; keep covers on. Sound levels are relative: 50 log10 of the speed ratio."
)


def flow_table(case: CaseRecord, flow: FlowRecord) -> Section:
    """One flow: what it carries, what it costs, and what it does between the fins."""
    rows = [
        ("flow at the inlet", *_rates(flow)),
        ("mass flow", f"{flow.mass_g_per_s:.4g} g/s", ""),
        ("inlet, outlet", f"{flow.inlet_degC:.1f} degC", f"{flow.outlet_degC:.1f} degC"),
        ("heat taken up", f"{flow.heat_W:.4g} W", ""),
        ("pressure drop: all, banks", _pressure(flow, flow.pressure_drop_Pa), _pressure(flow, flow.banks_drop_Pa)),
        ("power to move it", f"{flow.power_W:.3g} W", ""),
        ("velocity between fins", *_span(flow.velocity_m_per_s, ".2f", "m/s")),
        ("coefficient on the fins", *_span(flow.coefficient_W_per_m2K, ".4g", "W/m^2/K")),
        ("fin efficiency", *_span(flow.fin_efficiency, ".3f", "")),
    ]
    if flow.share_between_fins < 1:
        rows.insert(1, ("of it between the fins", f"{100 * flow.share_between_fins:.1f} %", ""))
    if flow.sound_dBA is not None:
        rows.append(("sound of the fans", f"{flow.sound_dBA:.1f} dB(A)", ""))
    title = f"Flow {flow.name}: {flow.fluid}, entry {flow.entry}, properties at {flow.properties_at_degC:.1f} degC"
    return section(title, ("", "", ""), rows, *_remarks(case, flow))


def _remarks(case: CaseRecord, flow: FlowRecord) -> list[str]:
    remarks = [f"Warning: {text}" for text in flow.warnings]
    point = flow.operating_point
    if point is not None:
        at = f"{show(point.rate_m3_per_s, 'volume flow')} at {_pressure(flow, point.pressure_Pa)}"
        dead = f"; dead: {', '.join(point.dead)}" if point.dead else ""
        remarks.append(f"Operating point of {', '.join(point.fans)}: {at}{dead}")
    if flow.profile is not None and case.components:
        worst = max(case.components, key=lambda each: each.peak_degC).name
        low, high = flow.profile.rigid_peaks_degC[worst], flow.profile.evened_peaks_degC[worst]
        remarks.append(
            f"Peak of {worst} if the fan's profile stays rigid {low:.1f} degC, if the pressure evens it out {high:.1f} degC; "
            f"taken: {100 * flow.profile.evened_share:.0f} % evened out"
        )
    remarks.append(f"Left out: {flow.neglected}")
    return remarks + ([FAN_CAUTION] if point is not None else [])


def _rates(flow: FlowRecord) -> tuple[str, str]:
    """The rate in the trade's units: of air, or of a liquid."""
    rate = flow.rate_m3_per_s
    if flow.fluid == "air":
        return show(rate, "volume flow"), f"{rate * 3600:.4g} m^3/h"
    return f"{rate * 6e4:.4g} L/min", f"{rate * 3600:.4g} m^3/h"


def _pressure(flow: FlowRecord, value: float) -> str:
    if flow.fluid == "air":
        return f"{value:.1f} Pa ({value / 9.80665:.2f} mmH2O)"
    return f"{value / 1e3:.4g} kPa"


def _span(span: SpanRecord, form: str, unit: str) -> tuple[str, str]:
    mean = f"{span.mean:{form}} {unit}".strip()
    return (mean, "") if span.least == span.most else (mean, f"{span.least:{form}} to {span.most:{form}}")
