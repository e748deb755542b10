"""Every candidate for one joint of a study, ranked by the margin that it leaves at the end of life."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plancha.app.kept import users_keep
from plancha.app.rank_joint import RankedJoint
from plancha.app.rank_request import RankRequest, understood
from plancha.fem.components import component_states
from plancha.fem.estimate import Solved
from plancha.fem.findings import solve_with_estimate
from plancha.fem.planes import contact_elements
from plancha.fem.response import Response, response_over
from plancha.fem.sampling import fixed_discretisation
from plancha.fem.solve import Solution
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Stack
from plancha.geometry.cautions import is_aluminium, is_gallium
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.grading import snapped_stack
from plancha.geometry.interface_choice import squeeze_notes
from plancha.geometry.interface_table import (
    AGED,
    LEVELS,
    NEW,
    Candidate,
    cannot_bridge,
    impedance_at,
    outside_pressures,
)
from plancha.geometry.units import show

ALIKE = 0.5  # K
FINALISTS = 3  # solved on meshes of their own
ROOM = 1.05  # by which the solves reach beyond the candidates' impedances
LIQUID_QUESTIONS = (
    "Containment: what dam keeps it in the joint, and off live parts, for life?",
    "Orientation: does it stay when tilted, upright, shaken, cycled?",
    "Sealing: what keeps air and moisture from it?",
)
SOLID_QUESTIONS = (
    "Containment: what live parts can squeezed-out metal, flakes or fibres reach?",
    "Orientation: where does what comes loose fall?",
    "Sealing: are bare contacts nearby coated or covered?",
)
Progress = Callable[[str], None]


@dataclass(frozen=True)
class State:
    """What one impedance [m2 K/W] of the joint comes to: the limiting component, and the one that is asked about.

    ``peak`` [K] and ``margin`` [K] are the limiting component's, ``own_peak`` [K] the other's; ``joint`` [K] is the hottest point of
    the faces at the joint, 0 where that is not known; ``off`` [K] how far interpolation, or the mesh where it was solved, may be off.
    """

    impedance: float
    limits: str
    peak: float
    margin: float | None
    own_peak: float
    joint: float
    off: float


@dataclass(frozen=True)
class Ranked:
    """A candidate with its states at low, typical and high impedance, and what is to be said of it."""

    candidate: Candidate
    new: tuple[State, State, State]
    aged: tuple[State, State, State]
    questions: tuple[str, ...]
    remarks: tuple[str, ...] = ()
    solved: bool = False
    is_outside: bool = False  # the pressures for which it is known

    @property
    def is_too_hot(self) -> bool:
        """Whether the joint gets hotter than the candidate may at the end of life."""
        return self.aged[1].joint > self.candidate.temperature_most

    @property
    def worth(self) -> tuple[float, float]:
        """What it is ranked by: aged margin, or where nothing has a limit the aged peak; then the same when new."""
        return _worth(self.aged[1]), _worth(self.new[1])


def _worth(state: State) -> float:
    return -state.own_peak if state.margin is None else state.margin


@dataclass(frozen=True)
class Ranking:
    """All candidates for a joint, the best first, and those that are excluded, each with the reason.

    ``component`` is the one asked about; ``pressure`` [Pa] or ``gap`` [m] what the study, or the user, sets the joint by.
    """

    title: str
    case: str
    joint: str
    component: str
    area: float
    pressure: float | None
    gap: float | None
    ranked: tuple[Ranked, ...]
    excluded: tuple[tuple[Candidate, str], ...]
    response: Response
    mesh_error: float
    barrier: str = ""
    notes: tuple[str, ...] = ()


def ranking_of(request: RankRequest, progress: Progress = lambda words: None) -> Ranking:
    """Solve a study at a few impedances of one joint, place every candidate between them, and solve the best fully.

    Raises
    ------
    StudyError
        With all that is wrong with the joint's name, the case, the component, the clamp and the candidates' tables.
    """
    joint, component, pressure, candidates = understood(request)
    kept, excluded = _sorted_out(candidates, joint)
    spans = [_impedances(each, joint, pressure) for each in kept]
    if not kept:
        raise StudyError(
            [Fault("rank", "no candidate can fill this joint", allowed=excluded[0][1] if excluded else "")]
        )
    low, high = min(min(span) for span in spans), max(max(span) for span in spans)
    bench = _Bench(joint, component, progress)
    response = response_over(low / ROOM, high * ROOM, bench.temperatures)
    ranked = [_between(each, span, bench, response) for each, span in zip(kept, spans)]
    ranked = in_order(ranked, component)
    ranked[:FINALISTS] = [bench.solved_fully(each) for each in ranked[:FINALISTS]]
    ranked = in_order(ranked, component)
    return Ranking(
        title=joint.case.stack.title,
        case=joint.case.name,
        joint=joint.name,
        component=component,
        area=joint.area,
        pressure=pressure,
        gap=joint.gap,
        ranked=tuple(_with_remarks(each, joint, pressure) for each in ranked),
        excluded=tuple(excluded),
        response=response,
        mesh_error=bench.mesh_error,
        barrier=joint.barrier,
        notes=_notes(joint, kept, pressure),
    )


def in_order(ranked: Sequence[Ranked], component: str) -> list[Ranked]:
    """The best first: by worth; but where another component limits, what differs by less than ``ALIKE`` goes by the joint's own peak.

    What fills the joint hardly moves the other's margin, and such small differences would else decide.
    """
    left = sorted(ranked, key=lambda each: each.worth, reverse=True)
    found: list[Ranked] = []
    while len(found) < len(left):
        start = len(found)
        stop = start + 1
        while stop < len(left) and left[start].worth[0] - left[stop].worth[0] <= ALIKE:
            stop += 1
        if any(each.aged[1].limits != component for each in left[start:stop]):
            found += sorted(left[start:stop], key=lambda each: each.aged[1].own_peak)
        else:
            found.append(left[start])
    return found


class _Bench:
    """Solves of one joint's study: the first decides the mesh, all others share it."""

    def __init__(self, joint: RankedJoint, component: str, progress: Progress):
        self.joint, self.component, self.progress = joint, component, progress
        self.again: Callable[[Stack], Solution] | None = None
        self.count, self.mesh_error = 0, 0.0

    def temperatures(self, impedance: float) -> np.ndarray:
        """Peaks of all components, and the hottest point at the joint [K]."""
        self.count += 1
        self.progress(f"solve {self.count}: the joint at {show(impedance, 'impedance')}")
        stack = self.joint.stack_at(impedance)
        if self.again is None:
            solved = solve_with_estimate(stack, keep=users_keep())
            self.again = fixed_discretisation(solved.solution)
            self.mesh_error = _peak_error(solved)
            return self._values(solved.solution)
        return self._values(self.again(snapped_stack(stack)[0]))

    def _values(self, solution: Solution) -> np.ndarray:
        peaks = [state.peak.value for state in component_states(solution)]
        return np.array([*peaks, _hottest_at_joint(solution, self.joint.joints)])

    def between(self, response: Response, impedance: float) -> State:
        """The state at an impedance, interpolated."""
        return self._state(impedance, response.at(impedance), response.off(impedance))

    def _state(self, impedance: float, values: np.ndarray, off: float) -> State:
        sources = self.joint.case.stack.sources
        peaks = {source.name: float(value) for source, value in zip(sources, values)}
        margins = {source.name: source.limit - peaks[source.name] for source in sources if source.limit is not None}
        limits = min(margins, key=lambda name: margins[name]) if margins else max(peaks, key=lambda name: peaks[name])
        own = peaks[self.component]
        return State(impedance, limits, peaks[limits], margins.get(limits), own, float(values[-1]), off)

    def solved_fully(self, ranked: Ranked) -> Ranked:
        """A candidate with its typical states new and aged solved on meshes of their own."""
        self.progress(f"solving {ranked.candidate.name} fully")
        states = []
        for state in (ranked.new[1], ranked.aged[1]):
            solved = solve_with_estimate(self.joint.stack_at(state.impedance), keep=users_keep())
            states.append(self._state(state.impedance, self._values(solved.solution), _peak_error(solved)))
        (new_low, _, new_high), (aged_low, _, aged_high) = ranked.new, ranked.aged
        three = (new_low, states[0], new_high), (aged_low, states[1], aged_high)
        return replace(ranked, new=three[0], aged=three[1], solved=True)


def _peak_error(solved: Solved) -> float:
    """Estimated numerical error [K] of the worst peak."""
    return float(solved.estimate.total[:, 0].max(initial=0.0))


def _hottest_at_joint(solution: Solution, joints: Sequence[int]) -> float:
    """Hottest node [K] of the faces at the joint; 0 where it is not between two bodies."""
    sheets, found = solution.sheets, [0.0]
    for number in joints:
        joint, elements = sheets.stack.joints[number], contact_elements(solution, number)
        nodes = np.unique(sheets.space.element_nodes[elements])
        faces = ((joint.lower, COOLED_SIDE), (joint.upper, COMPONENT_SIDE))
        found += [float(solution.face(body, face)[nodes].max()) for body, face in faces]
    return max(found)


def _impedances(candidate: Candidate, joint: RankedJoint, pressure: float | None) -> list[float]:
    """Impedances [m2 K/W]: new low, typical, high, then aged; in a gap its tolerance goes with low and high."""
    gaps = [None if joint.gap is None else joint.gap + side * joint.gap_tolerance for side in (-1, 0, 1)]
    return [impedance_at(candidate, age, level, pressure, at) for age in (NEW, AGED) for level, at in zip(LEVELS, gaps)]


def _between(candidate: Candidate, impedances: Sequence[float], bench: "_Bench", response: Response) -> Ranked:
    """A candidate with all its states interpolated."""
    low, typical, high, aged_low, aged_typical, aged_high = (bench.between(response, each) for each in impedances)
    return Ranked(candidate, (low, typical, high), (aged_low, aged_typical, aged_high), questions_of(candidate))


def _with_remarks(ranked: Ranked, joint: RankedJoint, pressure: float | None) -> Ranked:
    is_outside = bool(outside_pressures(ranked.candidate, pressure))
    return replace(ranked, remarks=tuple(_remarks(ranked, joint, pressure)), is_outside=is_outside)


def questions_of(candidate: Candidate) -> tuple[str, ...]:
    """What must be answered before a candidate that conducts electricity is used."""
    if candidate.conducts is False:
        return ()
    if candidate.conducts is None:
        return ("Does it conduct electricity? Its table does not say.",)
    return LIQUID_QUESTIONS if is_liquid_metal(candidate) else SOLID_QUESTIONS


def _remarks(ranked: Ranked, joint: RankedJoint, pressure: float | None) -> Iterator[str]:
    candidate = ranked.candidate
    outside = outside_pressures(candidate, pressure)
    if outside:
        yield outside
    if ranked.is_too_hot:
        found, most = (show(value, "temperature") for value in (ranked.aged[1].joint, candidate.temperature_most))
        yield f"{candidate.name}: the joint reaches {found} at the end of life, more than the {most} it bears"
    if joint.gap is not None and candidate.is_pad:
        yield from squeeze_notes(candidate, joint.gap, joint.gap_tolerance, joint.area, joint.force_limit)
    if joint.barrier and is_liquid_metal(candidate):
        yield f"{candidate.name}: relies on the barrier, {joint.barrier}, being whole: no scratch, no bare edge"
    yield from (f"{candidate.name}: {caution}" for caution in candidate.cautions)


def is_liquid_metal(candidate: Candidate) -> bool:
    """Whether a candidate is a gallium alloy or the like, by its kind or its name."""
    return candidate.kind == "liquid metal" or is_gallium(candidate.name)


def _sorted_out(
    candidates: Sequence[Candidate], joint: RankedJoint
) -> tuple[list[Candidate], list[tuple[Candidate, str]]]:
    """Candidates that may fill the joint, and the others, each with the reason."""
    reasons = [(candidate, _reason_against(candidate, joint)) for candidate in candidates]
    return [each for each, reason in reasons if not reason], [pair for pair in reasons if pair[1]]


def _reason_against(candidate: Candidate, joint: RankedJoint) -> str:
    attacked = [body for body, material in joint.touching if is_aluminium(material)]
    if is_liquid_metal(candidate) and attacked and not joint.barrier:
        names = " and ".join(dict.fromkeys(attacked))
        return (
            f'attacks aluminium, which crumbles: {names}; state barrier = "nickel" in the interface where it is plated'
        )
    return cannot_bridge(candidate, joint.gap) if joint.gap is not None else ""


def _notes(joint: RankedJoint, candidates: Sequence[Candidate], pressure: float | None) -> tuple[str, ...]:
    notes = []
    if pressure is None and joint.gap is None and any(each.feels_pressure for each in candidates):
        notes.append("no pressure is given: each candidate is taken at the reference pressure of its table row")
    if joint.left_out:
        notes.append(f"{' and '.join(joint.left_out)} of the joint left out: every candidate is taken as even")
    if any(each.impedance_new[0] == each.impedance_new[2] for each in candidates):
        notes.append("a candidate without low and high in its table has no spread here; in truth it has one")
    return tuple(notes)
