"""The examples of spreaders, interfaces and boards as they are built: finite volumes written apart, and what each study claims."""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import patched_boxes
import pytest
import shapely
from patched_boxes import Model, Slab, Spread, edges, within
from PIL import Image
from spreaders_by_hand import evaporator_wick_by_hand, handheld_by_hand, void_by_hand

from plancha.fem.findings import Findings, findings_of, solve_with_estimate
from plancha.geometry.bodies import Stack
from plancha.geometry.study_file import read_study

EXAMPLES = Path(__file__).parents[1] / "examples"
ZERO = 273.15


@dataclass(frozen=True)
class Cells:
    """Of the coarser grid: largest cell, (from, to, size) of finer cells along x and y [m], layers by body; what may differ.

    Of the finer grid all is halved; the product's accuracy and the volumes' own error make up ``share`` of the hottest rise.
    """

    size: float
    x: tuple[tuple[float, float, float], ...] = ()
    y: tuple[tuple[float, float, float], ...] = ()
    layers: dict[str, int] = field(default_factory=dict)
    share: float = 0.01


# Heat leaves the graphite at its rims, through thin plastic: the volumes converge slowly there, and at steps of the voids' rims.
HANDHELD = Cells(
    2e-3,
    ((8e-3, 12e-3, 5e-4), (22e-3, 36e-3, 1e-3), (38e-3, 53e-3, 1e-3), (59e-3, 67e-3, 1e-3), (112e-3, 142e-3, 5e-4)),
    ((4e-3, 8e-3, 5e-4), (13e-3, 20e-3, 1e-3), (28e-3, 43e-3, 1e-3), (56e-3, 60e-3, 5e-4), (64e-3, 68e-3, 5e-4)),
    {"housing": 2, "board": 8},
    0.015,
)
INLAID = Cells(
    4e-3,
    ((13e-3, 27e-3, 1e-3), (53e-3, 67e-3, 4e-4)),
    ((18e-3, 32e-3, 4e-4),),
    {"base": 2, "cold plate": 2, "sound die/silicon": 2, "voided die/silicon": 2},
    0.015,
)
CHAMBER = Cells(2.5e-3, layers={"lower wick": 2, "vapour core": 2, "processor/silicon": 2})
CELLS = {"handheld_graphite": HANDHELD, "inlaid_base": INLAID, "layered_chamber": CHAMBER}


@cache
def stack_of_case(example: str, case: str) -> Stack:
    return next(each.stack for each in read_study(EXAMPLES / example / "study.toml").cases if each.name == case)


@cache
def findings(example: str, case: str = "as written") -> Findings:
    return findings_of(solve_with_estimate(stack_of_case(example, case)))


def peaks(example: str, case: str = "as written") -> dict[str, float]:
    return {state.name: state.peak.value for state in findings(example, case).components}


def ways(example: str, case: str = "as written") -> dict[str, float]:
    return {path.name: path.heat for path in findings(example, case).audit.paths}


def model_of(stack: Stack, cells: Cells, split: int) -> Model:
    """The same bodies, grain, holes, heat and films for the finite volumes; what varies in a joint is laid here afresh."""
    x, y = (
        edges(_breaks(stack, axis), cells.size / split, [(a, b, size / split) for a, b, size in fine])
        for axis, fine in enumerate((cells.x, cells.y))
    )
    slabs = []
    for body in stack.bodies:
        inside = within(x, y, body.outline.bounds)
        for hole in _holes(body.outline):
            inside &= ~within(x, y, hole)
        k = np.ones((3, *inside.shape)) * _turned(body)[:, None, None]
        for patch in body.patches:
            k[:, within(x, y, patch.outline.bounds)] = _turned(patch)[:, None]
        layers, material = split * cells.layers.get(body.name, 1), body.material
        slabs.append(Slab(inside, body.thickness, layers, k, material.exponent, material.temperature_reference))
    names = [body.name for body in stack.bodies]
    contacts = [
        (j.lower, j.upper, _resistance(names[j.lower], names[j.upper], j.impedance, x, y)) for j in stack.joints
    ]
    heat, area = [], np.outer(np.diff(y), np.diff(x))
    for source in stack.sources:
        share = within(x, y, source.outline.bounds) * area
        heat.append(Spread(source.chain[0], source.face, source.power * share / share.sum()))
    cooling = []
    for film in stack.films:
        where = within(x, y, (film.area or stack.bodies[film.body].outline).bounds)
        cooling.append(Spread(film.body, film.face, film.coefficient * where, film.temperature))
    return Model(x, y, slabs, contacts, heat, cooling)


def _holes(outline: shapely.Polygon) -> list[tuple[float, ...]]:
    return [shapely.Polygon(ring).bounds for ring in outline.interiors]


def _breaks(stack: Stack, axis: int) -> list[float]:
    shapes = [body.outline.bounds for body in stack.bodies]
    shapes += [hole for body in stack.bodies for hole in _holes(body.outline)]
    shapes += [patch.outline.bounds for body in stack.bodies for patch in body.patches]
    shapes += [film.area.bounds for film in stack.films if film.area is not None]
    return [bounds[end] for bounds in shapes for end in (axis, axis + 2)]


def _turned(part) -> np.ndarray:
    """Conductivities along x, y and through of a body or patch whose grain is turned by 0 or 90 degrees."""
    assert min(abs(part.turned), abs(part.turned - np.pi / 2)) < 1e-9
    return np.array(part.material.conductivity)[[1, 0, 2] if part.turned > 1 else [0, 1, 2]]


def _resistance(lower: str, upper: str, even: float, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Areal resistance of a joint over the plan: of inlaid_base the bowed grease and the picture's voids, written anew."""
    across, up = (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2
    if (lower, upper) == ("base", "cold plate"):
        u, v = np.meshgrid(across / 80e-3 - 0.5, up / 50e-3 - 0.5)
        return (60e-6 + 60e-6 * (2 * (u**2 + v**2) - 1 / 3)) / 3 + 3e-6
    found = np.full((len(up), len(across)), even)
    if (lower, upper) == ("voided die/silicon", "base"):
        light = np.asarray(Image.open(EXAMPLES / "inlaid_base" / "voids.png"))[::-1] > 127
        row, column = np.floor((up - 19e-3) / 1e-4).astype(int), np.floor((across - 54e-3) / 1e-4).astype(int)
        rows, columns = (np.flatnonzero((each >= 0) & (each < 120)) for each in (row, column))
        found[np.ix_(rows, columns)] = np.where(light[np.ix_(row[rows], column[columns])], np.inf, 100e-6 / 58)
    return found


@pytest.mark.parametrize("example", sorted(CELLS))
def test_peaks_and_ways_out_are_those_of_finite_volumes_written_apart(example):
    """Volumes extrapolated from two grids; the smallest steps in the plan make them converge at less than second order."""
    stack, cells = stack_of_case(example, "as written"), CELLS[example]
    (coarse, outs), (fine, finer_outs) = (patched_boxes.solved(model_of(stack, cells, split)) for split in (1, 2))
    expected = fine + (fine - coarse) / 3
    found = np.array(list(peaks(example).values()))
    rise = expected.max() - stack.reference
    np.testing.assert_allclose(found, expected, atol=cells.share * rise, rtol=0)
    heats = np.array([ways(example)[film.name] for film in stack.films])
    np.testing.assert_allclose(heats, finer_outs + (finer_outs - outs) / 3, atol=0.005 * heats.sum(), rtol=0)


def test_a_void_of_three_millimetres_costs_what_a_thin_disc_says():
    """The two dies mirror each other but for the voids; a tenth is the estimate's own: the die's k is taken at one temperature."""
    found = peaks("inlaid_base")
    assert found["voided die"] - found["sound die"] == pytest.approx(void_by_hand(), rel=0.10)


def test_without_voids_both_dies_are_alike():
    found = peaks("inlaid_base", "sound solder under both")
    rise = found["sound die"] - ZERO - 30
    assert found["voided die"] == pytest.approx(found["sound die"], abs=0.01 * rise)


def test_inlays_save_more_than_aged_grease_costs():
    asis, plain, aged = (
        peaks("inlaid_base", case)["sound die"] for case in ("as written", "base without inlays", "aged grease")
    )
    assert plain - asis > aged - asis > 1.0


def test_heat_of_the_handheld_splits_as_the_network_of_two_nodes_says():
    """A tenth: the network puts the board's other parts on the board's mean."""
    assert ways("handheld_graphite")["board side"] == pytest.approx(handheld_by_hand()[1], rel=0.10)


def test_a_sleeve_over_the_back_sends_more_heat_out_of_the_front():
    assert ways("handheld_graphite", "in a sleeve")["board side"] > 1.2 * ways("handheld_graphite")["board side"]


def test_the_evaporator_wick_takes_its_toll_and_the_budget_names_it():
    """A tenth: some heat comes back from the side through the wick, which the estimate leaves out."""
    budget = next(each for each in findings("layered_chamber").budgets if each.component == "processor")
    toll = next(step.kelvin for step in budget.steps if step.name.startswith("through lower wick, under the source"))
    assert toll == pytest.approx(evaporator_wick_by_hand(), rel=0.10)


def test_halving_the_wick_doubles_its_toll():
    worse = peaks("layered_chamber", "wick half as good")["processor"] - peaks("layered_chamber")["processor"]
    assert worse == pytest.approx(40e4 * 0.5e-3 / 40, rel=0.10)


def test_solid_copper_in_place_of_the_chamber_is_far_hotter_and_as_the_volumes_say():
    stack = stack_of_case("layered_chamber", "solid copper")
    coarse, fine = (patched_boxes.solved(model_of(stack, CHAMBER, split))[0] for split in (1, 2))
    expected = fine + (fine - coarse) / 3
    found = peaks("layered_chamber", "solid copper")
    np.testing.assert_allclose(list(found.values()), expected, atol=0.01 * (expected.max() - stack.reference), rtol=0)
    assert found["processor"] - peaks("layered_chamber")["processor"] > 20
