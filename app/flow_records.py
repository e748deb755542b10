"""What result.json says about flows: rate, pressure, outlet, coefficients, noise."""

import math

from plancha.app.result import ZERO_CELSIUS, FlowRecord, OperatingRecord, ProfileRecord, SpanRecord
from plancha.fem.findings import Findings
from plancha.fem.flow_readings import FlowReading, ProfileLimits, Span


def flow_records(findings: Findings) -> list[FlowRecord]:
    """The record of each flow of a load case."""
    limits = {each.flow: each for each in findings.limits}
    names = [source.name for source in findings.solution.sheets.stack.sources]
    return [_flow(reading, limits.get(reading.state.flow.name), names) for reading in findings.flows]


def _flow(reading: FlowReading, limits: ProfileLimits | None, names: list[str]) -> FlowRecord:
    state = reading.state
    return FlowRecord(
        name=state.flow.name,
        fluid=state.flow.fluid,
        entry=state.flow.entry,
        rate_m3_per_s=state.rate,
        mass_g_per_s=reading.mass * 1e3,
        inlet_degC=state.flow.inlet - ZERO_CELSIUS,
        outlet_degC=reading.outlet - ZERO_CELSIUS,
        hottest_degC=reading.hottest - ZERO_CELSIUS,
        heat_W=reading.heat,
        share_between_fins=reading.share,
        pressure_drop_Pa=state.drop,
        banks_drop_Pa=state.bank_drop,
        power_W=state.power,
        sound_dBA=None if math.isnan(state.level) else state.level,
        operating_point=_operating(reading),
        velocity_m_per_s=_span(reading.velocity),
        coefficient_W_per_m2K=_span(reading.coefficient),
        fin_efficiency=_span(reading.efficiency),
        properties_at_degC=state.mean - ZERO_CELSIUS,
        profile=None if limits is None else _profile(limits, names),
        neglected=reading.neglected,
        warnings=list(state.warnings),
    )


def _operating(reading: FlowReading) -> OperatingRecord | None:
    state = reading.state
    if state.point is None:
        return None
    return OperatingRecord(
        fans=[fan.name for fan in state.flow.fans if fan.is_running],
        dead=[fan.name for fan in state.flow.fans if not fan.is_running],
        rate_m3_per_s=state.point.flow,
        pressure_Pa=state.point.pressure,
        stalled=state.point.stalled,
        also_at_m3_per_s=list(state.point.also_at),
    )


def _span(span: Span) -> SpanRecord:
    return SpanRecord(least=span.least, mean=span.mean, most=span.most)


def _profile(limits: ProfileLimits, names: list[str]) -> ProfileRecord:
    return ProfileRecord(
        evened_share=limits.share,
        rigid_peaks_degC={name: peak - ZERO_CELSIUS for name, peak in zip(names, limits.rigid)},
        evened_peaks_degC={name: peak - ZERO_CELSIUS for name, peak in zip(names, limits.evened)},
    )
