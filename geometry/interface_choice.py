"""A candidate that a study names for an interface: its impedance and bond line there, with faults and notes."""

from collections.abc import Iterator

from plancha.geometry.draft import Draft
from plancha.geometry.interface_table import (
    LEVELS,
    NEW,
    TYPICAL,
    Candidate,
    Squeeze,
    UnknownCandidate,
    bond_line_at,
    cannot_bridge,
    find_candidate,
    impedance_at,
    outside_pressures,
    squeeze_of,
)
from plancha.geometry.key_lines import Path
from plancha.geometry.parts import Interface
from plancha.geometry.study import Study
from plancha.geometry.units import show

ENDS = (("widest", 2), ("narrowest", 0))


def chosen_impedance(draft: Draft, spec: Interface, path: Path, area: float | None) -> tuple[float, float]:
    """Impedance [m2 K/W] and bond line [m] of an interface that names a candidate; both 0 after a fault.

    ``area`` [m2] is where the two bodies overlap, None where it is not known.
    """
    try:
        candidate = find_candidate(spec.candidate or "")
    except UnknownCandidate as error:
        draft.fault((*path, "candidate"), error.message, None, error.allowed, "give an impedance for one of your own")
        return 0.0, 0.0
    if spec.force is not None and not area:
        draft.fault((*path, "force"), "the area that the force presses on is not known here", hint="give the pressure")
        return 0.0, 0.0
    age, level = spec.age or NEW, spec.level or TYPICAL
    if spec.gap is not None:
        gap = _gap_at(spec.gap, spec.gap_tolerance or 0.0, level)
        if not _bridges(draft, candidate, spec, path, area):
            return 0.0, 0.0
        return impedance_at(candidate, age, level, gap=gap), gap
    pressure = clamp_pressure(spec, area)
    for note in _pressure_notes(candidate, spec, pressure):
        draft.note(path, note)
    return impedance_at(candidate, age, level, pressure), bond_line_at(candidate, pressure)


def clamp_pressure(spec: Interface, area: float | None) -> float | None:
    """Pressure [Pa] that a study puts on an interface: its own, or its force over the area [m2]; None where it says nothing."""
    if spec.force is not None and area:
        return spec.force / area
    return spec.pressure


def _pressure_notes(candidate: Candidate, spec: Interface, pressure: float | None) -> Iterator[str]:
    if pressure is None:
        if candidate.feels_pressure:
            shown = show(candidate.pressure_reference, "pressure")
            yield f"{candidate.name}: no pressure is given, so that of its table row is taken, {shown}"
        return
    if spec.force is not None:
        yield f"{show(spec.force, 'force')} over the area of contact are {show(pressure, 'pressure')}"
    outside = outside_pressures(candidate, pressure)
    if outside:
        yield outside


def _gap_at(gap: float, tolerance: float, level: str) -> float:
    """The gap [m] that goes with a level of impedance: the narrowest with low, the widest with high."""
    return gap + (LEVELS.index(level) - 1) * tolerance


def _bridges(draft: Draft, candidate: Candidate, spec: Interface, path: Path, area: float | None) -> bool:
    """Whether a candidate fills the gap, with a fault where it does not, and notes on pressures where it is a pad."""
    gap, tolerance = spec.gap or 0.0, spec.gap_tolerance or 0.0
    why = cannot_bridge(candidate, gap)
    if why:
        draft.fault(
            (*path, "gap"), f"{candidate.name} cannot fill the gap: {why}", hint="take another thickness or kind"
        )
        return False
    notes = squeeze_notes(candidate, gap, tolerance, area, spec.force_limit) if candidate.is_pad else ()
    for note in notes:
        draft.note(path, note)
    return True


def squeeze_notes(
    candidate: Candidate, gap: float, tolerance: float, area: float | None, force_limit: float | None
) -> Iterator[str]:
    """What is to be said of a pad in a gap [m] with a tolerance [m]: compression, pressure and force, and what goes beyond.

    ``area`` [m2] and ``force_limit`` [N] may be unknown.
    """
    squeeze = squeeze_of(candidate, gap, tolerance)
    shares = [max(100 * (1 - each / candidate.thickness), 0.0) for each in squeeze.gaps]
    force = [None if area is None else pressure * area for pressure in squeeze.pressures]
    told = [f"{share:.0f} % at {show(p, 'pressure')}" for share, p in zip(shares, squeeze.pressures)]
    pressing = "" if force[1] is None else f", {show(force[1], 'force')} at the nominal gap"
    words = f"{told[2]} to {told[0]}" if tolerance else told[1]
    yield f"{candidate.name}: compressed by {words}{pressing}"
    yield from _beyond_curve(candidate, squeeze)
    if force_limit is not None and force[0] is not None and force[0] > force_limit:
        narrow, found, most = _length(squeeze.gaps[0]), show(force[0], "force"), show(force_limit, "force")
        yield (
            f"{candidate.name}: at the narrowest gap, {narrow}, it presses with {found}, more than the {most} allowed: "
            "a clamp force too large cracks chips"
        )


def _beyond_curve(candidate: Candidate, squeeze: Squeeze) -> Iterator[str]:
    """Where the gap's ends leave the curve of a pad."""
    low, high = candidate.pressure_range
    known = f"its curve holds from {show(low, 'pressure')} to {show(high, 'pressure')}"
    wide, narrow = (f"{candidate.name}: at the {word} gap, {_length(squeeze.gaps[end])}" for word, end in ENDS)
    most, least = squeeze.pressures[0], squeeze.pressures[2]
    if least == 0:
        yield f"{wide}, it does not touch both faces: there no impedance of it holds, and the part is not cooled"
    elif least < low * (1 - 1e-9):
        yield f"{wide}, only {show(least, 'pressure')} press it; {known}"
    if most > high * (1 + 1e-9):
        yield f"{narrow}, it presses with {show(most, 'pressure')}; {known}"


def _length(value: float) -> str:
    return show(float(f"{value:.6g}"), "length")


def interfaces_of(study: Study) -> Iterator[tuple[Path, Interface]]:
    """Every interface table of a study with its place."""
    for kind in ("plate", "joint", "fins"):
        for number, table in enumerate(getattr(study, kind)):
            if isinstance(table.interface, Interface):
                yield (kind, number, "interface"), table.interface
    for number, component in enumerate(study.component):
        for place, layer in enumerate(component.layers):
            if layer.is_interface():
                yield ("component", number, "layers", place), layer
