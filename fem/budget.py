"""A component's budget: area means, plane by plane, from its hot spot to the reference, each step with the heat that crosses it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from plancha.fem.finned import bank_coolant, bank_heat, film_name, fin_bodies, place_of_bank
from plancha.fem.planes import active_elements, contact_elements, cooled_elements, joint_heat, plan_mean
from plancha.fem.solve import Solution
from plancha.geometry.air import Bank
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Film, Held, Joint, Source, Stack

End = Film | Held | Bank  # what a chain may end with
NOTHING = 1e-9  # K; a step of less than this is none


@dataclass(frozen=True)
class Step:
    """One step: its kelvin, the heat [W] that crosses it, and whether other components' heat takes part."""

    name: str
    kelvin: float
    heat: float
    shared: bool


@dataclass(frozen=True)
class Budget:
    """Steps of one component, which add up to peak less reference exactly; ``elsewhere`` [W] leaves the chain before its end."""

    component: str
    steps: tuple[Step, ...]
    elsewhere: float

    @property
    def total(self) -> float:
        """Sum of the steps [K]."""
        return sum(step.kelvin for step in self.steps)


@dataclass(frozen=True)
class Plane:
    """Part of a body's face: its elements and, for the solution at hand, their area mean [K]."""

    body: int
    face: int
    elements: np.ndarray
    mean: float


def _plane(solution: Solution, body: int, face: int, elements: np.ndarray) -> Plane:
    return Plane(body, face, elements, plan_mean(solution.sheets.space, solution.face(body, face), elements))


Way = tuple[list[int], list[int], End | None]


def way_out(solution: Solution, source: Source) -> Way:
    """Bodies from the chip to the one whose film, fins or held face end the chain, the joints between, and that end.

    Bodies that stand for fins are part of their bank. Beyond the body the component sits on, the way
    follows the joint or film that takes the most heat.
    """
    return ways_out(solution, [source])[0]


def ways_out(solution: Solution, sources: Sequence[Source]) -> list[Way]:
    """The ways out of several sources: what they have in common is looked at once."""
    heat_of, ends_of = cache(lambda joint: abs(joint_heat(solution, joint))), cache(lambda body: _ends(solution, body))
    return [_way_out(solution.sheets.stack, source, heat_of, ends_of) for source in sources]


def _way_out(
    stack: Stack,
    source: Source,
    heat_of: Callable[[int], float],
    ends_of: Callable[[int], list[tuple[float, End]]],
) -> Way:
    bodies, joints = list(source.chain), list(source.joints)
    aside = _chips(stack.sources) | fin_bodies(stack)
    while True:
        ends = ends_of(bodies[-1])
        onward = [
            (heat_of(number), number)
            for number, joint in enumerate(stack.joints)
            if bodies[-1] in (joint.lower, joint.upper)
            and number not in joints
            and _other(joint, bodies[-1]) not in aside | set(bodies)
        ]
        best_end = max(ends, key=lambda end: end[0], default=None)
        best_joint = max(onward, default=None)
        if best_joint is None or (best_end is not None and best_end[0] >= best_joint[0]):
            return bodies, joints, best_end[1] if best_end else None
        joints.append(best_joint[1])
        bodies.append(_other(stack.joints[best_joint[1]], bodies[-1]))


def _chips(sources: tuple[Source, ...]) -> set[int]:
    return {body for source in sources for body in source.chain[:-1]}


def _other(joint: Joint, body: int) -> int:
    return joint.upper if joint.lower == body else joint.lower


def _ends(solution: Solution, body: int) -> list[tuple[float, End]]:
    """Heat [W] and place of each film, bank or held face on a body; a way to the board is never the end of the chain."""
    stack = solution.sheets.stack
    places: list[Film | Held] = [film for film in stack.films if not film.board]
    own: list[End] = [place for place in [*places, *stack.helds] if place.body == body]
    own += [bank for bank in stack.banks if bank.base == body]
    return [(abs(_end_heat(solution, place)), place) for place in own]


def budget_of(solution: Solution, source: Source) -> Budget:
    """The budget of one component."""
    stack = solution.sheets.stack
    heat = power = float(solution.powers[stack.sources.index(source)])
    bodies, joints, end = way_out(solution, source)
    plane = _plane(solution, bodies[0], source.face, active_elements(solution, source))
    others = any(other is not source and p > 0 for other, p in zip(stack.sources, solution.powers))
    steps = [Step("hot spot above the mean", solution.peaks[source.name].value - plane.mean, power, others)]
    into_seat = power
    for position, (body, joint) in enumerate(zip(bodies, joints)):
        shared = others and position >= len(source.chain) - 1
        leaving, entering = _contact_planes(solution, joint, body)
        crossing = joint_heat(solution, joint) * (1 if leaving.face == COOLED_SIDE else -1)
        if position >= len(source.joints) and _is_one_spreader(solution, plane, leaving, joint):
            leaving, entering = (_plane(solution, each.body, each.face, plane.elements) for each in (leaving, entering))
            name = f"through {stack.bodies[body].name}, under the source"
            steps.append(Step(name, plane.mean - leaving.mean, crossing, shared))
        else:
            steps += _through(solution, plane, leaving, heat, crossing, shared)
        steps.append(Step(stack.joints[joint].name, leaving.mean - entering.mean, crossing, shared))
        plane, heat = entering, crossing
        into_seat = crossing if position < len(source.joints) else into_seat
    steps += _last_steps(solution, plane, heat, end, others)
    return Budget(source.name, tuple(step for step in steps if abs(step.kelvin) > NOTHING), power - into_seat)


def _contact_planes(solution: Solution, joint: int, body: int) -> tuple[Plane, Plane]:
    """The plane by which heat leaves a body over a joint, and the one by which it enters the other."""
    link, elements = solution.sheets.stack.joints[joint], contact_elements(solution, joint)
    face = COOLED_SIDE if link.lower == body else COMPONENT_SIDE
    leaving = _plane(solution, body, face, elements)
    return leaving, _plane(solution, _other(link, body), 1 - face, elements)


def _is_one_spreader(solution: Solution, entering: Plane, leaving: Plane, joint: int) -> bool:
    """Whether the next body continues this one, as layers of a chamber do: in perfect contact over all that heat enters by.

    The budget then stays under the source, so that each layer shows what it costs there; the last one shows the spreading.
    """
    is_perfect = solution.sheets.stack.joints[joint].impedance == 0
    goes_through = entering.face != leaving.face
    return is_perfect and goes_through and bool(np.isin(entering.elements, leaving.elements).all())


def _through(
    solution: Solution, entering: Plane, leaving: Plane, heat: float, crossing: float, shared: bool
) -> list[Step]:
    """Steps inside one body: sideways on the face that heat enters, then through to where it leaves."""
    name = solution.sheets.stack.bodies[entering.body].name
    if leaving.face == entering.face:
        return [Step(f"along {name}", entering.mean - leaving.mean, heat, shared)]
    whole = _whole_face(solution, entering)
    return [
        Step(f"spreading in {name}", entering.mean - whole.mean, heat, shared),
        Step(f"through {name}", whole.mean - leaving.mean, crossing, shared),
    ]


def _whole_face(solution: Solution, plane: Plane) -> Plane:
    return _plane(solution, plane.body, plane.face, solution.sheets.slabs[plane.body].pattern.elements)


def _last_steps(solution: Solution, plane: Plane, heat: float, end: End | None, shared: bool) -> list[Step]:
    """From the plane by which heat enters the last body to the reference: through it, its film, its coolant."""
    stack = solution.sheets.stack
    if end is None:
        whole = _whole_face(solution, plane)
        name = stack.bodies[plane.body].name
        return [
            Step(f"spreading in {name}", plane.mean - whole.mean, heat, shared),
            Step(f"mean of {name} above the reference", whole.mean - stack.reference, heat, shared),
        ]
    leaving = _plane(solution, plane.body, end.face, cooled_elements(solution, end))
    taken = _end_heat(solution, end)
    if isinstance(end, Bank):
        return [
            *_through(solution, plane, leaving, heat, taken, shared),
            *_finned_steps(solution, end, leaving.mean, taken, shared),
        ]
    return [
        *_through(solution, plane, leaving, heat, taken, shared),
        Step(end.name, leaving.mean - end.temperature, taken, shared),
        Step(f"{end.name}: coolant above the reference", end.temperature - stack.reference, taken, shared),
    ]


def _end_heat(solution: Solution, end: End) -> float:
    """Heat [W] that leaves through a film, a bank of fins or a held face."""
    sheets = solution.sheets
    if isinstance(end, Bank):
        return bank_heat(solution, sheets.stack.banks.index(end))
    if isinstance(end, Film):
        number = sheets.stack.films.index(end)
        return sum(each.heat(solution.temperature) for each in sheets.exchanges if each.film == number)
    return solution.held_heat(sheets.held_names.index(end.name))


def _finned_steps(solution: Solution, bank: Bank, base: float, taken: float, shared: bool) -> list[Step]:
    """From the base under a bank, at its mean [K], to the reference: fins and film, the coolant's warming, its inlet."""
    stack = solution.sheets.stack
    number = stack.banks.index(bank)
    flow, coolant = place_of_bank(solution, number).state.flow, bank_coolant(solution, number)
    return [
        Step(film_name(bank), base - coolant, taken, shared),
        Step(f"{flow.name}: {flow.fluid} warming", coolant - flow.inlet, taken, shared),
        Step(f"{flow.name}: inlet above the reference", flow.inlet - stack.reference, taken, shared),
    ]
