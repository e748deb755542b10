"""The substitution ladder: the lumped assumptions replaced one after the other, in a fixed order, each with its kelvin."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from plancha.fem.budget import ways_out
from plancha.fem.estimate import constant_conductivity
from plancha.fem.feedback import has_feedback
from plancha.fem.film_readings import frozen_films
from plancha.fem.finned import film_name, without_flows
from plancha.fem.lumped import Link, Lumped, lumped_chain, lumped_estimate, mean_coefficient
from plancha.fem.planes import cooled_elements
from plancha.fem.sheets import Sheets, plan_loads_of, sheets_of, unit_loads
from plancha.fem.solve import Solution, solve
from plancha.fem.thickness import SHEET_DEGREE, Through
from plancha.geometry.air import Bank
from plancha.geometry.bodies import Body, Film, Held, Joint, Source, Stack, with_more_impedance
from plancha.geometry.grid import Grid
from plancha.geometry.power_map import peak_flux

RUNGS = (  # all but the last, which is the solution
    "one-dimensional chain, no spreading",
    "spreading by the closed form (maximum)",
    "true footprints: thin plates, even heat",
    "true power maps",
    "thickness resolved",
)


@dataclass(frozen=True)
class Ladder:
    """A component's peak rise [K] above the reference after each rung; None where a rung does not apply.

    Natural convection and radiation have the coefficients of the solution on every rung.
    """

    component: str
    rises: tuple[float | None, ...]


def rung_names(stack: Stack) -> tuple[str, ...]:
    """What each rung has that the one before has not; the last says what of the stack itself was left out until then."""
    materials = [material for body in stack.bodies for material in body.materials]
    left_out = {
        "k(T)": any(material.exponent for material in materials),
        "cooling field": any(isinstance(film.coefficient, Grid) for film in stack.films),
        "fins and coolant": bool(stack.flows),
        "power by temperature": has_feedback(stack.sources),
    }
    return (*RUNGS, ", ".join(name for name, applies in left_out.items() if applies) or "as solved")


def lumped_of(solution: Solution) -> list[Lumped]:
    """The lumped estimate of every component, along the way its heat takes in the solution."""
    stack = plain_stack(solution)
    return [lumped_estimate(stack, *way) for way in _lumped_ways(solution, stack)]


def lumped_chains(solution: Solution) -> dict[str, list[Link]]:
    """The lumped chains of all components by their names, without the estimates that are built on them."""
    stack = plain_stack(solution)
    return {stack.sources[way[0]].name: lumped_chain(stack, *way)[0] for way in _lumped_ways(solution, stack)}


LumpedWay = tuple[int, list[int], list[int], Film | Held | None, float, dict[int, float]]


def _lumped_ways(solution: Solution, stack: Stack) -> Iterator[LumpedWay]:
    """What `lumped.lumped_chain` needs of each component beside the stack."""
    written = solution.sheets.stack
    ways = ways_out(solution, written.sources)
    heat = {
        body: sum(source.power for source, (bodies, _, _) in zip(stack.sources, ways) if body in bodies)
        for body in range(len(written.bodies))
    }
    for number, (bodies, joints, end) in enumerate(ways):
        area = 0.0 if end is None else float(solution.sheets.space.areas[cooled_elements(solution, end)].sum())
        if isinstance(end, Bank | Film):
            name = film_name(end) if isinstance(end, Bank) else end.name
            end = next(film for film in stack.films if film.name == name)
        yield number, bodies, joints, end, area, heat


def plain_stack(solution: Solution) -> Stack:
    """The solution's stack without flows and unforced films: plain films in their place, as they are in the solution."""
    return frozen_films(without_flows(solution), solution)


def ladders(solution: Solution, lumped: list[Lumped], constant: Solution | None = None) -> list[Ladder]:
    """The ladder of every component; the upper rungs are solves of the same mesh with one assumption less each.

    ``constant`` is the solution with all conductivities as at the reference temperature, where it is at hand.
    """
    stack = plain_stack(solution)
    simple = constant_stack(stack)
    sheets = sheets_of(thin_plates(simple), solution.sheets.space, [Through(degree=SHEET_DEGREE)] * len(stack.bodies))
    mapped = solve(sheets)
    unmapped = sheets_of_even_heat(sheets)
    even = replace(mapped, sheets=unmapped, temperature=mapped.near.temperatures(mapped.powers @ unmapped.unit_loads))
    evenly_cooled = not any(isinstance(film.coefficient, Grid) for film in stack.films)
    if (
        constant is None
        or not evenly_cooled
        or solution.sheets.streams
        or solution.sheets.unforced
        or has_feedback(stack.sources)
    ):
        through = [slab.through for slab in solution.sheets.slabs[: len(stack.bodies)]]
        constant = solve(sheets_of(simple, solution.sheets.space, through))
    found = []
    for number, (estimate, source) in enumerate(zip(lumped, stack.sources)):
        peaks = [
            even.peaks[source.name].value + _drop_to_sheet(simple, replace(source, power_map=None)),
            mapped.peaks[source.name].value + _drop_to_sheet(simple, source),
            constant.peaks[source.name].value,
            solution.peaks[source.name].value,
        ]
        first = (estimate.rise("one-dimensional"), estimate.rise("closed form, maximum"))
        found.append(Ladder(lumped[number].component, (*first, *(peak - stack.reference for peak in peaks))))
    return found


def sheets_of_even_heat(sheets: Sheets) -> Sheets:
    """The same problem with every component's heat spread evenly over its outline."""
    sources = [replace(source, power_map=None) for source in sheets.stack.sources]
    plan_loads = plan_loads_of(sheets.space, sheets.slabs, sources)
    return replace(sheets, plan_loads=plan_loads, unit_loads=unit_loads(sheets.slabs, sources, plan_loads, sheets.size))


def constant_stack(stack: Stack) -> Stack:
    """The stack with all conductivities as at the reference temperature and every coefficient map evened out."""
    films = tuple(
        replace(film, coefficient=mean_coefficient(film)) if isinstance(film.coefficient, Grid) else film
        for film in stack.films
    )
    return replace(constant_conductivity(stack), films=films)


def thin_plates(stack: Stack) -> Stack:
    """The stack with one temperature through each body, half of each body's own resistance moved into its joints and films."""
    return replace(
        stack,
        bodies=tuple(replace(body, sheet=True) for body in stack.bodies),
        joints=tuple(_thick_joint(stack, joint) for joint in stack.joints),
        films=tuple(_thick_film(stack, film) for film in stack.films),
    )


def half_impedance(body: Body) -> float:
    """Half of a body's thickness over its conductivity through it [m2 K/W]; nothing for a body that is a sheet already."""
    return 0.0 if body.sheet else body.thickness / 2 / body.material.conductivity[2]


def _thick_joint(stack: Stack, joint: Joint) -> Joint:
    added = half_impedance(stack.bodies[joint.lower]) + half_impedance(stack.bodies[joint.upper])
    return with_more_impedance(joint, added)


def _thick_film(stack: Stack, film: Film) -> Film:
    assert not isinstance(film.coefficient, Grid)
    return replace(film, coefficient=1.0 / (1.0 / film.coefficient + half_impedance(stack.bodies[film.body])))


def _drop_to_sheet(simple: Stack, source: Source) -> float:
    """Peak flux times half of the chip's own impedance [K], which the thin plates leave out under the active face."""
    if source.power == 0:
        return 0.0
    flux = source.power / source.outline.area if source.power_map is None else peak_flux(source.power_map)
    return flux * half_impedance(simple.bodies[source.chain[0]])
