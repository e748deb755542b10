"""Stacks for the checks, made from plain numbers in SI; outlines are (x, y, width, height) or shapely polygons.

Coolant and reference are at REFERENCE; what these functions return are rises above it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely

from plancha.fem.components import ComponentState, component_states
from plancha.fem.findings import solve_stack, solve_with_estimate
from plancha.fem.solve import Solution
from plancha.geometry import outline
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Body, Film, Held, Joint, Rim, Source, Stack
from plancha.geometry.grid import Grid
from plancha.geometry.materials import Material
from plancha.geometry.power_map import PowerMap, total_power

REFERENCE = 300.0  # K
Shape: TypeAlias = Sequence[float] | shapely.Polygon


def shape(of: Shape) -> shapely.Polygon:
    """The polygon itself, or the rectangle (x, y, width, height)."""
    return of if isinstance(of, shapely.Polygon) else outline.rectangle(*of)


def solid(conductivity: float | tuple[float, float, float], exponent: float = 0.0) -> Material:
    """A material of one conductivity, or of (along x, along y, through) [W/m/K]; k(T) = k (T / 300 K)^exponent."""
    k = conductivity if isinstance(conductivity, tuple) else (float(conductivity),) * 3
    return Material(name="test solid", conductivity=k, exponent=exponent, temperature_reference=300.0)


def body(
    name: str,
    of: Shape,
    thickness: float,
    conductivity: float | tuple[float, float, float],
    turned: float = 0.0,
    sheet: bool = False,
) -> Body:
    """A body of constant conductivity."""
    return Body(name, shape(of), thickness, solid(conductivity), turned, sheet)


def source(
    name: str,
    of: Shape,
    power: float | PowerMap = 1.0,
    chain: tuple[int, ...] = (0,),
    joints: tuple[int, ...] = (),
    face: int = COMPONENT_SIDE,
) -> Source:
    """Heat on the component side of the chain's first body: uniform, or as a map says."""
    power_map = power if isinstance(power, PowerMap) else None
    watts = total_power(power) if isinstance(power, PowerMap) else power
    return Source(name, chain, joints, face, shape(of), watts, power_map, 0.0, None)


def cooled(coefficient: float | Grid, of_body: int = 0, face: int = COOLED_SIDE) -> Film:
    """A film on the whole bare face, coolant at REFERENCE."""
    return Film(f"film on {of_body}", of_body, face, coefficient, REFERENCE)


def stack(
    bodies: Sequence[Body],
    sources: Sequence[Source] = (),
    films: Sequence[Film] = (),
    joints: Sequence[Joint] = (),
    helds: Sequence[Held] = (),
    rims: Sequence[Rim] = (),
    mesh_size: float | None = None,
) -> Stack:
    """A stack whose ambient and reference are REFERENCE."""
    return Stack(
        title="check",
        ambient=REFERENCE,
        reference=REFERENCE,
        reference_name="coolant",
        bodies=tuple(bodies),
        joints=tuple(joints),
        films=tuple(films),
        helds=tuple(helds),
        rims=tuple(rims),
        sources=tuple(sources),
        probes=(),
        scaled=(),
        mesh_size=mesh_size,
    )


def plate(
    size: Shape,
    thickness: float,
    conductivity: float | tuple[float, float, float],
    coefficient: float | Grid,
    heated: Shape | Sequence[Source],
    turned: float = 0.0,
    sheet: bool = False,
) -> Stack:
    """One plate with a film on its cooled side; ``heated`` is one outline that gives off 1 W, or the sources."""
    whole = size if isinstance(size, shapely.Polygon) or len(size) == 4 else (0.0, 0.0, *size)
    several = not isinstance(heated, shapely.Polygon) and isinstance(heated[0], Source)
    sources = heated if several else [source("source", heated)]  # type: ignore[arg-type]
    return stack([body("plate", whole, thickness, conductivity, turned, sheet)], sources, [cooled(coefficient)])  # type: ignore[arg-type]


def state(solved: Solution, number: int = 0) -> ComponentState:
    """Peak and means of one source."""
    return component_states(solved)[number]


def peak_and_mean(of: Stack, refinement: float = 1.0) -> tuple[float, float]:
    """Rise of peak and of area mean over the first source, on one discretisation."""
    first = state(solve_stack(of, refinement))
    return first.peak.value - REFERENCE, first.mean - REFERENCE


@dataclass(frozen=True)
class Answer:
    """What the product says of the first source at the accuracy it promises: peak and mean rise, with its own estimates of error."""

    peak: float
    mean: float
    peak_error: float
    mean_error: float
    reached: bool
    solution: Solution

    def holds(self, peak: float, mean: float) -> bool:
        """Whether the exact values lie within what the product claims."""
        return abs(self.peak - peak) <= self.peak_error and abs(self.mean - mean) <= self.mean_error


def answer(of: Stack, accuracy: float = 0.002) -> Answer:
    """The product's own way to a result: refined until the accuracy is met."""
    solved = solve_with_estimate(replace(of, accuracy=accuracy))
    first, errors = state(solved.solution), solved.estimate.total[0]
    rises = first.peak.value - REFERENCE, first.mean - REFERENCE
    return Answer(*rises, float(errors[0]), float(errors[1]), solved.estimate.reached, solved.solution)


def rise_at(solved: Solution, point: tuple[float, float], of_body: int = 0, face: int = COMPONENT_SIDE) -> float:
    """Rise at a point of a face, on the polynomial."""
    from plancha.fem.plan import locate

    space, slab = solved.sheets.space, solved.sheets.slabs[of_body]
    element, shapes = locate(space, point, slab.pattern.elements)
    return float(shapes @ solved.face(of_body, face)[space.element_nodes[element]]) - REFERENCE


def centred(side: float, plate_side: float) -> tuple[float, float, float, float]:
    """A square of ``side`` in the middle of a square plate."""
    return ((plate_side - side) / 2, (plate_side - side) / 2, side, side)


def random_tiles(width: float, height: float, columns: int, rows: int, power: float, seed: int) -> PowerMap:
    """A map of random cells that gives off ``power`` [W]."""
    watts = np.random.default_rng(seed).uniform(0.1, 1.0, (rows, columns))
    return PowerMap(np.linspace(0, width, columns + 1), np.linspace(0, height, rows + 1), watts * power / watts.sum())
