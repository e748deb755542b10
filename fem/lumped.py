"""The lumped estimate that everybody starts with: a chain of resistances, with no spreading, a cone, closed forms, the series."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from plancha.fem.plate_series import Layer
from plancha.fem.spreading import cone_resistance, lee_spreading_resistance, series_mean_resistance, series_rise_at
from plancha.geometry.bodies import Body, Film, Held, Joint, Source, Stack
from plancha.geometry.grid import Grid
from plancha.geometry.materials import conductivity_at

POINTS = 7  # along each side of a footprint, where the series is looked at for its maximum
RECTANGLE = 1e-6  # share of area by which an outline may differ from its bounding rectangle


@dataclass(frozen=True)
class Link:
    """One resistance of the chain: name, K/W, and the heat [W] that the lumped estimate sends through it."""

    name: str
    resistance: float
    heat: float


@dataclass(frozen=True)
class Estimate:
    """A lumped estimate of one component's rise [K]; None where it does not apply; ``reason`` says why, or what to mind."""

    name: str
    rise: float | None
    reason: str = ""


@dataclass(frozen=True)
class Lumped:
    """The chain of one component and the estimates built on it, rises in K above the reference."""

    component: str
    chain: tuple[Link, ...]
    seat: int  # which link is the body the component sits on
    estimates: tuple[Estimate, ...]

    def rise(self, name: str) -> float | None:
        """The rise [K] of an estimate by its name."""
        return next(estimate.rise for estimate in self.estimates if estimate.name == name)


def through_resistance(stack: Stack, body: Body, area: float) -> float:
    """Thickness over k A [K/W], k through the thickness at the reference temperature."""
    return body.thickness / (conductivity_at(body.material, stack.reference)[2] * area)


def contact_area(stack: Stack, joint: Joint) -> float:
    """Area [m2] over which a joint's bodies touch."""
    return stack.bodies[joint.lower].outline.intersection(stack.bodies[joint.upper].outline).area


def mean_coefficient(film: Film) -> float:
    """Area mean of a film's coefficient [W/m2/K]."""
    return float(film.coefficient.values.mean()) if isinstance(film.coefficient, Grid) else film.coefficient


def lumped_estimate(
    stack: Stack,
    number: int,
    bodies: Sequence[int],
    joints: Sequence[int],
    end: Film | Held | None,
    end_area: float,
    heat: Mapping[int, float],
) -> Lumped:
    """The lumped estimate of one component along its way out (bodies, joints and end as ``budget.way_out`` finds them).

    ``heat`` [W] is what passes each body: the power of all components whose ways out lead through it. Ways to the board and
    rims are left out: the estimate knows one way.
    """
    source = stack.sources[number]
    chain, seat = lumped_chain(stack, number, bodies, joints, end, end_area, heat)
    offset = 0.0 if end is None else end.temperature - stack.reference
    flat = sum(link.resistance * link.heat for link in chain) + offset
    estimates = [Estimate("one-dimensional", flat)]
    if end is None:
        names = ("45-degree cone", "closed form, mean", "closed form, maximum", "series, mean", "series, maximum")
        estimates += [Estimate(name, None, "heat leaves by the rims only") for name in names]
    else:
        estimates += _spread_estimates(stack, number, chain, seat, flat)
    return Lumped(source.name, tuple(chain), seat, tuple(estimates))


def lumped_chain(
    stack: Stack,
    number: int,
    bodies: Sequence[int],
    joints: Sequence[int],
    end: Film | Held | None,
    end_area: float,
    heat: Mapping[int, float],
) -> tuple[list[Link], int]:
    """The chain of resistances of one component, and which link is the body that it sits on; arguments as of ``lumped_estimate``."""
    source, chain = stack.sources[number], list[Link]()
    area, seat = source.outline.area, 0
    for position, body in enumerate(bodies):
        own = position < len(source.chain) - 1
        if position == len(source.chain) - 1:
            seat = len(chain)
        face = stack.bodies[body].outline.area
        chain.append(
            Link(
                f"through {stack.bodies[body].name}",
                through_resistance(stack, stack.bodies[body], area if own else face),
                heat[body],
            )
        )
        if position < len(joints):
            joint = stack.joints[joints[position]]
            area = contact_area(stack, joint)
            chain.append(Link(joint.name, joint.impedance / area, heat[body]))
    if isinstance(end, Film):
        chain.append(Link(end.name, 1.0 / (mean_coefficient(end) * end_area), heat[bodies[-1]]))
    return chain, seat


def _spread_estimates(stack: Stack, number: int, chain: list[Link], seat: int, flat: float) -> list[Estimate]:
    source, body = stack.sources[number], stack.bodies[stack.sources[number].chain[-1]]
    footprint = _footprint(stack, source)
    beyond = sum(link.resistance for link in chain[seat + 1 :])
    coefficient = 1.0 / (beyond * body.outline.area) if beyond > 0 else np.inf
    k_x, k_y, k_z = (float(k) for k in conductivity_at(body.material, stack.reference))
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        mean, maximum = lee_spreading_resistance(
            footprint.area, body.outline.area, body.thickness, (k_x * k_y) ** 0.25 * k_z**0.5, coefficient
        )
    remark = "; ".join(str(each.message) for each in said)
    cone = _cone(body, footprint, (k_x, k_y, k_z))
    return [
        cone if cone.rise is None else Estimate(cone.name, flat + source.power * (cone.rise - chain[seat].resistance)),
        Estimate("closed form, mean", flat + source.power * mean, remark),
        Estimate("closed form, maximum", flat + source.power * maximum, remark),
        *_series(stack, number, chain, seat, coefficient, (k_x, k_y, k_z), flat),
    ]


def _footprint(stack: Stack, source: Source) -> shapely.Polygon:
    """Where the component touches the body it sits on."""
    seat = stack.bodies[source.chain[-2]].outline if len(source.chain) > 1 else source.outline
    return seat.intersection(stack.bodies[source.chain[-1]].outline)


def _box(shape: shapely.Polygon) -> list[float]:
    left, bottom, right, top = shape.bounds
    return [left, bottom, right - left, top - bottom]


def is_rectangle(shape: shapely.Polygon) -> bool:
    """Whether an outline is its own bounding rectangle."""
    return abs(shape.area / shapely.box(*shape.bounds).area - 1) < RECTANGLE


def _cone(body: Body, footprint: shapely.Polygon, k: tuple[float, float, float]) -> Estimate:
    """Conduction [K/W] through the body by the 45-degree cone, as a `rise` per watt."""
    if not (is_rectangle(body.outline) and is_rectangle(footprint)):
        return Estimate("45-degree cone", None, "outline or footprint is no rectangle")
    plate, place = _box(body.outline), _box(footprint)
    place[0], place[1] = place[0] - plate[0], place[1] - plate[1]
    return Estimate("45-degree cone", cone_resistance(plate[2:], place, [Layer(body.thickness, k)]))


def _series(
    stack: Stack,
    number: int,
    chain: list[Link],
    seat: int,
    coefficient: float,
    k: tuple[float, float, float],
    flat: float,
) -> list[Estimate]:
    """The exact series for the body under even heat over each footprint, in place of the chain's one-dimensional part."""
    source, body = stack.sources[number], stack.bodies[stack.sources[number].chain[-1]]
    reason = _why_no_series(stack, source, body)
    if reason:
        return [Estimate(f"series, {kind}", None, reason) for kind in ("mean", "maximum")]
    plate = _box(body.outline)
    neighbours = [each for each in stack.sources if each.chain[-1] == source.chain[-1]]
    boxes = [_box(_footprint(stack, each)) for each in neighbours]
    places = tuple((x - plate[0], y - plate[1], width, height) for x, y, width, height in boxes)
    powers = tuple(each.power for each in neighbours)
    means, maxima = _plate_series((plate[2], plate[3]), places, powers, Layer(body.thickness, k), coefficient)
    own = neighbours.index(source)
    rest = flat - sum(link.resistance * link.heat for link in chain[seat:])
    return [Estimate("series, mean", rest + means[own]), Estimate("series, maximum", rest + maxima[own])]


@lru_cache(maxsize=8)
def _plate_series(
    plate: tuple[float, float],
    places: tuple[tuple[float, float, float, float], ...],
    powers: tuple[float, ...],
    layer: Layer,
    coefficient: float,
) -> tuple[list[float], list[float]]:
    """Mean and highest rise [K] over each place, all sources at their powers; the highest of a grid of points."""
    means = series_mean_resistance(plate, places, [layer], coefficient) @ powers
    within = (np.arange(POINTS) + 0.5) / POINTS
    x, y, width, height = (part[:, None, None] for part in np.array(places).T)
    points = np.stack(np.broadcast_arrays(x + width * within[:, None], y + height * within[None, :]), axis=-1)
    rises = series_rise_at(points.reshape(-1, 2), plate, places, [layer], coefficient) @ powers
    return means.tolist(), rises.reshape(len(places), -1).max(axis=1).tolist()


def _why_no_series(stack: Stack, source: Source, body: Body) -> str:
    """Why the exact series does not apply; empty where it does."""
    if stack.rims or stack.helds:
        return "rims or held faces"
    films = [film for film in stack.films if film.body == source.chain[-1]]
    if len(films) != 1 or films[0].area is not None or isinstance(films[0].coefficient, Grid):
        return "the far face is not cooled evenly"
    if films[0].face == source.face:
        return "the cooling is on the components' own face"
    neighbours = [each for each in stack.sources if each.chain[-1] == source.chain[-1]]
    if any(each.face != source.face for each in neighbours):
        return "components on both faces"
    shapes = [body.outline, *(_footprint(stack, each) for each in neighbours)]
    if not all(is_rectangle(shape) for shape in shapes) or body.turned:
        return "outlines are not all rectangles, or the grain is turned"
    on_body = [joint for joint in stack.joints if source.chain[-1] in (joint.lower, joint.upper)]
    if len(on_body) > sum(len(each.chain) > 1 for each in neighbours):
        return "other bodies lie against this one"
    return ""
