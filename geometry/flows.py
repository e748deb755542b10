"""Flows and fans of a draft: which banks they pass and whence, at what rate or by which fans, and what does not go together."""

import math
from itertools import pairwise

import numpy as np
import shapely

from plancha.geometry.air import ALONG_X, Bank, Fan, Flow, Loss
from plancha.geometry.air_tables import FanTable, FlowTable, LossTable
from plancha.geometry.draft import Draft, span_of
from plancha.geometry.fan_curve import read_fan_curve
from plancha.geometry.faults import Failure, StudyError
from plancha.geometry.fluids import (
    HIGHEST_PRESSURE,
    LOWEST_PRESSURE,
    STANDARD_PRESSURE,
    UnknownFluid,
    fluid_law,
    pressure_at_altitude,
)
from plancha.geometry.grid import Grid
from plancha.geometry.key_lines import Path
from plancha.geometry.shapes import shape_of

ACROSS = {"left": 0, "right": 0, "lower": 1, "upper": 1}  # the axis along which a side entry blows
BEHIND = 1e-6  # m; by which a bank may begin before the one that it follows ends
OPEN = 1e-6  # share of a bank that must be free for a through flow


def lay_flows(draft: Draft) -> None:
    """Add every flow whose banks, fans and files are good; a fault for banks that no flow passes, or two."""
    fans = {}
    for number, table in enumerate(draft.study.fan):
        fan = _fan(draft, table, ("fan", number))
        if fan is not None:
            fans[fan.name] = fan
    for number, flow in enumerate(draft.study.flow):
        _lay_flow(draft, flow, fans, ("flow", number))
    _check_passed(draft)


def _fan(draft: Draft, table: FanTable, path: Path) -> Fan | None:
    try:
        curve = read_fan_curve(draft.folder / table.curve, shown_as=table.curve)
    except StudyError as error:
        draft.file_faults((*path, "curve"), error.faults)
        return None
    unknown = math.nan
    return Fan(
        name=table.name,
        curve=curve,
        test_density=table.test_density,
        test_speed=table.test_speed,
        speed=table.test_speed if table.speed is None else table.speed,
        is_running=table.running,
        count=table.count,
        in_series=table.arrangement == "in a row",
        center=table.center or (unknown, unknown),
        diameter=unknown if table.diameter is None else table.diameter,
        hub=unknown if table.hub is None else table.hub,
        profile=table.profile,
        level=unknown if table.level is None else table.level,
        noise_limit=unknown if table.noise_limit is None else table.noise_limit,
    )


def _lay_flow(draft: Draft, table: FlowTable, fans: dict[str, Fan], path: Path) -> None:
    banks = [_number(draft, name, path) for name in table.fins]
    driving = [_driving(draft, name, fans, path) for name in table.fans]
    if None in banks or None in driving:
        return
    known = [number for number in banks if number is not None]
    for number in known:
        _check_direction(draft, draft.banks[number], table, path)
        _check_entry(draft, draft.banks[number], table, path)
    _check_order(draft, [draft.banks[number] for number in known], table, path)
    _check_driven(draft, table, [fan for fan in driving if fan is not None], path)
    profile = _profile(draft, table, draft.banks[known[0]], path)
    zone = _zone(draft, table, draft.banks[known[0]], path) if table.entry == "through" else None
    inlet = (draft.study.ambient if table.inlet is None else table.inlet) + table.preheat
    _check_fluid(draft, table, inlet, _pressure(table), path)
    draft.flows.append(
        Flow(
            name=table.name,
            banks=tuple(known),
            entry=table.entry,
            side=table.side or "",
            fluid=table.fluid,
            inlet=inlet,
            pressure=_pressure(table),
            rate=table.rate,
            fans=tuple(fan for fan in driving if fan is not None),
            beside=table.beside,
            losses=tuple(_loss(each) for each in table.loss),
            blocked=table.blocked,
            coefficient=table.coefficient,
            law=table.law,
            friction=table.friction,
            end_losses=table.end_losses,
            enhancement=table.enhancement,
            plenum=table.plenum,
            profile=profile,
            zone=zone,
        )
    )
    draft.flow_paths.append(path)


def _number(draft: Draft, name: str, path: Path) -> int | None:
    """Number of the bank called so; a fault if there is none, unless it is at fault itself."""
    names = [bank.name for bank in draft.banks]
    if name in names:
        return names.index(name)
    if name not in {table.name for table in draft.study.fins} | set(draft.missing or {}):
        allowed = ", ".join(table.name for table in draft.study.fins[:20]) or "none: the study has no [[fins]]"
        draft.fault((*path, "fins"), "no fins have this name", name, allowed)
    return None


def _driving(draft: Draft, name: str, fans: dict[str, Fan], path: Path) -> Fan | None:
    if name in fans:
        return fans[name]
    if name not in {table.name for table in draft.study.fan} | set(draft.missing or {}):
        allowed = ", ".join(table.name for table in draft.study.fan[:20]) or "none: the study has no [[fan]]"
        draft.fault((*path, "fans"), "no fan has this name", name, allowed)
    return None


def _check_direction(draft: Draft, bank: Bank, table: FlowTable, path: Path) -> None:
    """Plate fins stand in the way of what blows across them."""
    if table.entry != "side" or bank.regions[0].fins.is_pin or ACROSS[table.side or "left"] == bank.along:
        return
    along = "x" if bank.along == ALONG_X else "y"
    allowed = '"left" or "right"' if bank.along == ALONG_X else '"lower" or "upper"'
    message = f"the plate fins of {bank.name} run along {along}: nothing enters between them from there"
    draft.fault((*path, "side"), message, table.side, allowed, "turn the fins (along) or the flow (side)")


def _check_entry(draft: Draft, bank: Bank, table: FlowTable, path: Path) -> None:
    """Laws of pins are for flow along the base; a film has no height for a flow to pass normal to it."""
    at = (*path, "entry")
    if bank.regions[0].fins.is_pin and table.entry != "side":
        message = f"{bank.name} are pins: their laws are for flow along the base only"
        draft.fault(at, message, table.entry, '"side"', 'or plate fins: form = "plate fins"')
    elif bank.is_film and table.entry == "through":
        message = f"{bank.name} is described as a film on its base: nothing flows through that"
        draft.fault(at, message, table.entry, '"side" or "top"', 'or described_as = "block"')


def _check_order(draft: Draft, banks: list[Bank], table: FlowTable, path: Path) -> None:
    """Banks on one face are passed in the order in which they stand along the flow."""
    if table.entry != "side":
        return
    axis, sign = ACROSS[table.side or "left"], -1.0 if table.side in ("right", "upper") else 1.0
    for first, second in pairwise(banks):
        if (first.base, first.face) != (second.base, second.face):
            continue  # a duct may lead from one plate to another
        end = max(sign * bound for bound in first.outline.bounds[axis::2])
        begin = min(sign * bound for bound in second.outline.bounds[axis::2])
        if begin < end - BEHIND and first.name != second.name:
            message = f"{second.name} does not lie behind {first.name} for a flow from the {table.side}"
            hint = (
                "banks beside each other are passed by a [[flow]] each; of others, write them in the order of the flow"
            )
            allowed = f"behind {span_of(first.outline)}"
            draft.fault((*path, "fins"), message, span_of(second.outline), allowed, hint)


def _check_driven(draft: Draft, table: FlowTable, fans: list[Fan], path: Path) -> None:
    """A flow that fans drive needs one that runs."""
    if fans and not any(fan.is_running for fan in fans):
        message = f"no fan of {table.name} runs: nothing moves its {table.fluid}"
        hint = "take its fins for still air: [cooling] with a coefficient of natural convection, without [[fins]]"
        draft.fault((*path, "fans"), message, ", ".join(table.fans), "running = true for one of them, or a rate", hint)


def _pressure(table: FlowTable) -> float:
    if table.pressure is not None:
        return table.pressure
    return STANDARD_PRESSURE if table.altitude is None else pressure_at_altitude(table.altitude)


def _check_fluid(draft: Draft, table: FlowTable, inlet: float, pressure: float, path: Path) -> None:
    """The fluid is known, and at the inlet [K] under the pressure [Pa] it neither freezes nor boils."""
    try:
        fluid_law(table.fluid).at(inlet, pressure)
    except UnknownFluid as error:
        draft.fault((*path, "fluid"), error.message, None, error.allowed, error.hint)
    except Failure as failure:
        key = "inlet" if LOWEST_PRESSURE <= pressure <= HIGHEST_PRESSURE else "pressure"
        hint = "the ambient is taken where a flow has no inlet" if table.inlet is None and key == "inlet" else ""
        draft.fault((*path, key), str(failure), hint=hint)


def _loss(table: LossTable) -> Loss:
    if table.coefficient is not None and table.area is not None:
        return Loss(table.name, coefficient=table.coefficient, area=table.area)
    assert table.drop is not None and table.at is not None
    return Loss(table.name, drop=table.drop, rate=table.at)


def _profile(draft: Draft, table: FlowTable, bank: Bank, path: Path) -> Grid | None:
    if table.profile is None:
        return None
    at, spec = (*path, "profile"), table.profile
    try:
        values = draft.reading.grid(draft.folder / spec.file, unit=spec.unit, dimension="velocity", shown_as=spec.file)
    except StudyError as error:
        draft.file_faults(at, error.faults)
        return None
    if not 0 < values.max() < 100:
        draft.fault(
            at, "the largest speed of the profile is impossible", f"{values.max():g} m/s", "above 0, below 100 m/s"
        )
        return None
    return Grid(bank.outline.bounds, np.asarray(values))


def _zone(draft: Draft, table: FlowTable, bank: Bank, path: Path) -> shapely.Geometry | None:
    """Where a through flow passes: the zone given, or all of the bank that no other body covers."""
    own = {block.body for block in bank.blocks}
    others = [body for number, body in enumerate(draft.bodies) if number not in own]
    covered = shapely.union_all([body.outline for body in others])
    free = bank.outline.difference(covered)
    if table.zone is None:
        if free.area < OPEN * bank.outline.area:
            hint = "let the fins reach beyond the plate, or let the flow enter at a side or the top"
            draft.fault(path, f"bodies cover all of {bank.name}: nothing can flow through it", hint=hint)
        return free
    try:
        zone = shape_of(table.zone).intersection(bank.outline)
    except ValueError as error:
        draft.fault((*path, "zone"), str(error))
        return None
    if zone.area < OPEN * bank.outline.area:
        draft.fault(
            (*path, "zone"), f"the zone lies beside {bank.name}", span_of(shape_of(table.zone)), span_of(bank.outline)
        )
        return None
    for body in others:
        crossing = zone.intersection(body.outline)
        if crossing.area > OPEN * bank.outline.area:
            draft.fault((*path, "zone"), f"{body.name} stands in the way of the flow", span_of(crossing))
    return zone


def _check_passed(draft: Draft) -> None:
    passed: dict[int, str] = {}
    driven: dict[str, str] = {}
    for flow, path in zip(draft.flows, draft.flow_paths):
        for fan in flow.fans:
            if fan.name in driven:
                hint = "give each flow fans of its own, or let one flow pass both banks"
                draft.fault((*path, "fans"), f"{fan.name} drives {driven[fan.name]} already", flow.name, hint=hint)
            driven[fan.name] = flow.name
        for number in flow.banks:
            if number in passed:
                name = draft.banks[number].name
                draft.fault((*path, "fins"), f"{name} is passed by {passed[number]} already", flow.name)
            passed[number] = flow.name
    written = {name for table in draft.study.flow for name in table.fins}
    if draft.missing is None:
        for bank, path in zip(draft.banks, draft.bank_paths):
            if bank.name not in written:
                draft.fault(path, f"no flow passes {bank.name}", None, f'[[flow]] with fins = "{bank.name}"')
