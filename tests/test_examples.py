"""Every example solves in every load case, agrees with its hand estimate, and with finite volumes written apart from the product."""

import re
from dataclasses import replace
from functools import cache
from math import asinh, log, pi, sqrt
from pathlib import Path

import boxes
import numpy as np
import pytest
from scipy.special import k0, k1
from spreaders_by_hand import handheld_by_hand, inlaid_base_by_hand, layered_chamber_by_hand

from plancha.fem.components import component_states
from plancha.fem.findings import Findings, findings_of, solve_with_estimate
from plancha.fem.solve import Solution
from plancha.geometry.bodies import Source, Stack
from plancha.geometry.grid import Grid
from plancha.geometry.power_map import PowerMap
from plancha.geometry.study_file import StudyFile, read_study

EXAMPLES = Path(__file__).parents[1] / "examples"
SPREADERS = ("handheld_graphite", "inlaid_base", "layered_chamber")  # more of them: tests/test_spreader_examples.py
AIR = ("cold_plate", "outdoor_unit", "short_board", "side_blower")  # with coolants: all of tests/test_air_examples.py
NAMES = ("laser_bar", "radar", "sic_module", *SPREADERS)
ZERO = 273.15


def radar_by_hand() -> float:
    """Peak of the processor [degC]: film, plate as a thin disc, chain, and a 45-degree cone below one core's tiles."""
    die, plate, thickness, copper = 24e-3 * 20e-3, 130e-3 * 90e-3, 3e-3, 388.0
    silicon = 148 * (343 / 300) ** -1.3
    film = 222 / (1500 * plate)
    spreading = 160 * (log(sqrt(plate / die)) - 0.5) / (2 * pi * copper * thickness)
    chain = 160 / die * (10e-6 + 0.775e-3 / silicon)
    excess, side, below = (94e4 - 160 / die) * 16e-6, 4e-3, 4e-3 + 2 * 0.775e-3
    core = excess * (0.775e-3 / (silicon * side * below) + 10e-6 / below**2 + 0.561 / (copper * below))
    return 40 + film + spreading + chain + core


def laser_bar_by_hand() -> float:
    """Peak of the bar [degC]: block as a half space with images, indium, cones through the ceramic, solder, p side."""
    width, depth = 5e-3, 4e-3  # heat on the block: 45 degrees through the submount, doubled over the front edge
    sides = width * asinh(depth / width) + depth * asinh(width / depth)
    block = 48 / (2 * pi * 391) * (2 * sides / (width * depth) - log(2) / 5e-3)
    indium = 24 / 10e-6 * (40e-6 / 83 + 0.5e-6)
    ceramic = 170 * 300 / 328
    cone = 24 * (log(2.0 / 2.5) - log(1.5 / 2.0)) / (ceramic * 1e-3)
    comb = 5.2 / 1.5e-3 / ceramic * (log(2) / 2 - 0.25)
    flux = 5.2 / 0.6e-6
    joint = flux * (5e-6 / 57 + 0.6e-6 + 3e-6 / 15)
    return 25 + block + indium + (cone + comb) / 0.72 + joint


def sic_module_by_hand() -> float:
    """Peak of the chip `lower 2` [degC]: cones down to the base, the base as a thin plate with six discs (K0, K1)."""
    side, rise = 5.0e-3, 100 / 25e-6 * (0.18e-3 / (370 * (398 / 300) ** -1.3) + 60e-6 / 58)
    for thickness, conductivity in ((0.3e-3, 391.0), (0.32e-3, 80.0), (0.3e-3, 391.0)):
        below = side + 2 * thickness
        rise += 100 * thickness / (conductivity * side * below)
        side = below
    rise += 100 / side**2 * (150e-6 / 58 + 3e-3 / 3 / 388)
    film, radius = 12400.0, side / sqrt(pi)
    rate = sqrt(film / (388 * 3e-3))
    own = 100 / (film * side**2) * (1 - rate * radius * k1(rate * radius))
    others = 100 / (2 * pi * 388 * 3e-3) * sum(k0(rate * r) for r in (10.5e-3, 10.5e-3, 23e-3, 25.3e-3, 25.3e-3))
    return 65 + rise + own + others


# Function, component, and what the estimate may miss by, as a share of the rise: the reasons stand in the studies.
BY_HAND = {
    "handheld_graphite": (lambda: handheld_by_hand()[0], "processor", 0.08),
    "inlaid_base": (inlaid_base_by_hand, "voided die", 0.10),
    "layered_chamber": (layered_chamber_by_hand, "processor", 0.05),
    "laser_bar": (laser_bar_by_hand, "bar", 0.15),
    "radar": (radar_by_hand, "processor", 0.12),
    "sic_module": (sic_module_by_hand, "lower 2", 0.10),
}
# Base grid of the finite volumes: layers of cells per body (else 1); largest cell, cell near heat and margin around it [m]; split.
GRIDS = {
    "laser_bar": ({"block": 4, "submount": 2}, (1.6e-3, 0.4e-3, 0.0), 2),
    "radar": ({}, (8e-3, 8e-3, 0.0), 2),
    "sic_module": ({"base": 2}, (3e-3, 0.65e-3, 1.5e-3), 1),
}


@pytest.fixture(params=NAMES)
def example(request) -> str:
    return request.param


@cache
def study_of(example: str) -> StudyFile:
    return read_study(EXAMPLES / example / "study.toml")


@cache
def findings(example: str, case: str) -> Findings:
    return findings_of(solve_with_estimate(next(each.stack for each in study_of(example).cases if each.name == case)))


def peak(found: Findings, component: str) -> float:
    return next(state.peak.value for state in found.components if state.name == component)


def test_no_example_is_missing_from_these_checks():
    assert sorted(folder.parent.name for folder in EXAMPLES.glob("*/study.toml")) == sorted((*NAMES, *AIR))
    assert set(BY_HAND) == {*GRIDS, *SPREADERS} == set(NAMES)


def test_readme_names_every_example_and_how_to_run_it():
    text = (EXAMPLES / "README.md").read_text()
    for name in (*NAMES, *AIR):
        assert f"plancha solve examples/{name}/study.toml -o results/{name}" in text


def test_every_file_says_that_its_data_is_invented(example):
    for file in (EXAMPLES / example).iterdir():
        # A picture says it in the text that it carries, before its pixels.
        said = file.read_bytes().split(b"IDAT" if file.suffix == ".png" else b"\n")[0]
        assert b"invented" in said.lower(), file.name


def test_nothing_in_an_example_is_unusual(example):
    told = ("the bond line runs from", "% of the contact") if example == "inlaid_base" else ()
    notes = [note for case in study_of(example).cases for note in case.stack.notes]
    assert [note for note in notes if not any(part in note for part in told)] == []


def test_every_load_case_keeps_its_heat(example):
    """What leaves is what the study's powers add up to; imbalance and residual are rounding."""
    for case in study_of(example).cases:
        checked, stated = findings(example, case.name).audit, sum(source.power for source in case.stack.sources)
        assert sum(path.heat for path in checked.paths) == pytest.approx(stated, rel=1e-8)
        assert checked.imbalance < 1e-9 and checked.residual < 1e-8


def test_hand_estimate_in_the_study_is_the_one_worked_out_here(example):
    by_hand, component, share = BY_HAND[example]
    text = (EXAMPLES / example / "study.toml").read_text()
    found = re.search(r"# By hand: (.+) peaks at ([\d.]+) degC; .* (\d+) % of the rise", text)
    assert found and found[1] == component
    assert float(found[2]) == pytest.approx(by_hand(), abs=0.05)
    assert float(found[3]) / 100 == share


def test_hand_estimate_meets_the_solution_within_its_band(example):
    by_hand, component, share = BY_HAND[example]
    reference = study_of(example).cases[0].stack.reference
    rise = peak(findings(example, "as written"), component) - reference
    assert by_hand() + ZERO - reference == pytest.approx(rise, rel=share)


def test_radar_holds_as_written_and_not_on_a_hot_day_with_aged_interface():
    limits = {"as written": (0.0, 8.0), "hot day, aged interface": (-8.0, 0.0)}
    for case, (low, high) in limits.items():
        found = findings("radar", case)
        assert found.limiting and found.limiting.margin is not None and found.sustainable and found.sustainable.factor
        assert low < found.limiting.margin < high and found.limiting.name == "processor"
        assert (found.sustainable.factor > 1) == (found.limiting.margin > 0)


def test_sustainable_power_of_the_radar_brings_its_processor_to_the_limit():
    """The stated powers times the factor, solved from scratch, put the limiting part on its limit."""
    case = study_of("radar").cases[2]
    found = findings("radar", case.name).sustainable
    assert found and found.factor
    scaled = [
        replace(
            source, power=source.power * found.factor, power_map=source.power_map and scaled_map(source, found.factor)
        )
        for source in case.stack.sources
    ]
    # Same shape of heat, so the same mesh: 0.01 K is the search's and the load's rounding, not a discretisation error.
    states = component_states(solve_with_estimate(replace(case.stack, sources=tuple(scaled))).solution)
    assert min(state.margin for state in states if state.margin is not None) == pytest.approx(0.0, abs=0.01)


def scaled_map(source: Source, factor: float) -> PowerMap:
    assert source.power_map
    return PowerMap(source.power_map.x, source.power_map.y, source.power_map.watts * factor)


def test_mean_of_the_radar_cooled_face_is_heat_over_coefficient_and_area():
    """Q = h A (mean - ambient), Q the stated watts less what the stages give to the board: no solver in it."""
    solution = findings("radar", "as written").solution
    stack = solution.sheets.stack
    stages = [source for source in stack.sources if source.name.startswith("stage")]
    to_board = sum((face_mean(solution, source.chain[0], 0) - stack.ambient) / 60 for source in stages)
    plate = [body.name for body in stack.bodies].index("plate")
    mean = face_mean(solution, plate, 1)
    assert mean - stack.ambient == pytest.approx((222 - to_board) / (1500 * 0.130 * 0.090), rel=1e-8)


def face_mean(solution: Solution, body: int, face: int) -> float:
    """Area mean of a body's face: the integral of a quadratic over a triangle is its area times the mean of its middles."""
    space, values = solution.sheets.space, solution.face(body, face)
    elements = space.element_nodes[~np.isnan(values[space.element_nodes]).any(axis=1)]
    (ax, ay), (bx, by), (cx, cy) = (space.nodes[elements[:, corner]].T for corner in range(3))
    areas = np.abs((bx - ax) * (cy - ay) - (by - ay) * (cx - ax)) / 2
    return float(values[elements[:, 3:]].mean(axis=1) @ areas / areas.sum())


def map_of_file(folder: Path, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Edges [m] from the component's corner and watts of a mapped component, read here without the product's readers."""
    if (folder.name, name) == ("radar", "processor"):
        tiles = np.loadtxt(folder / "processor_map.csv", delimiter=",")
        # The first row is the top; the active side sees left and right exchanged.
        return 2e-3 * np.arange(13.0), 2e-3 * np.arange(11.0), tiles[::-1, ::-1] * 0.04
    if (folder.name, name) == ("laser_bar", "bar"):
        rows = np.loadtxt(folder / "emitters.csv", delimiter=",", skiprows=2, usecols=range(1, 6))
        x = 1e-3 * np.unique(np.round(np.r_[0.0, rows[:, 0], rows[:, 0] + rows[:, 2], 4.0], 6))
        watts = np.zeros((1, len(x) - 1))
        watts[0, np.searchsorted(x, 1e-3 * rows[:, 0] - 1e-6)] = rows[:, 4]
        return x, np.array([0.0, 1.5e-3]), watts
    return None


def problem_of(folder: Path, stack: Stack) -> boxes.Problem:
    """The same boxes, contacts, heat and coefficients, for the finite volumes; maps come straight from the CSV files."""
    layers, cells, _ = GRIDS[folder.name]
    solids = [
        boxes.Box(b.outline.bounds, b.thickness, layers.get(b.name, 1), b.material.conductivity[2],
                  b.material.exponent, b.material.temperature_reference)
        for b in stack.bodies
    ]  # fmt: skip
    heat = []
    for source in stack.sources:
        x, y = ends_of(source.outline)
        edges_x, edges_y, watts = map_of_file(folder, source.name) or (x - x[0], y - y[0], np.array([[source.power]]))
        heat.append(boxes.Patch(source.chain[0], source.face, x[0] + edges_x, y[0] + edges_y, watts))
    cooling = []
    for film in stack.films:
        x, y = ends_of(film.area or stack.bodies[film.body].outline)
        if isinstance(film.coefficient, Grid):
            values = np.loadtxt(folder / "cooled_face.csv", delimiter=",")[::-1]
            x, y = 5e-3 * np.arange(15.0), 5e-3 * np.arange(11.0)
        else:
            values = np.array([[film.coefficient]])
        cooling.append(boxes.Patch(film.body, film.face, x, y, values, film.temperature))
    for held in stack.helds:
        x, y = ends_of(stack.bodies[held.body].outline)
        cooling.append(boxes.Patch(held.body, held.face, x, y, np.array([[np.inf]]), held.temperature))
    contacts = [(joint.lower, joint.upper, joint.impedance) for joint in stack.joints]
    return boxes.Problem(solids, contacts, heat, cooling, *cells)


def ends_of(outline) -> tuple[np.ndarray, np.ndarray]:
    left, bottom, right, top = outline.bounds
    return np.array([left, right]), np.array([bottom, top])


@pytest.mark.parametrize("example", sorted(GRIDS))
def test_every_peak_is_that_of_finite_volumes_written_apart(example):
    """Within the accuracy the study asks for; the volumes, extrapolated from two grids, keep to about a fifth of it."""
    stack = study_of(example).cases[0].stack
    expected = boxes.extrapolated_peaks(problem_of(EXAMPLES / example, stack), GRIDS[example][2])
    found = np.array([state.peak.value for state in findings(example, "as written").components])
    np.testing.assert_allclose(found, expected, atol=stack.accuracy * (expected.max() - stack.reference), rtol=0)
