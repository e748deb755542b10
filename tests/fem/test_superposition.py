"""Many maps by their tiles: the same as solving each, and linear in the watts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.components import component_states
from plancha.fem.findings import solve_stack
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.fem.superposition import faces_under, superposed, tile_responses
from plancha.geometry.power_map import PowerMap
from plancha.geometry.study_file import read_study

ROWS, COLUMNS = 5, 6
X, Y = np.linspace(0, 12e-3, COLUMNS + 1), np.linspace(0, 10e-3, ROWS + 1)


@pytest.fixture(scope="module")
def solution(tmp_path_factory, pair_text):
    """Two dies on one plate."""
    path = tmp_path_factory.mktemp("study") / "study.toml"
    path.write_text(pair_text)
    return solve_stack(read_study(path).cases[0].stack)


@pytest.fixture(scope="module")
def responses(solution):
    """Tiles of the first die; both dies are looked at."""
    return tile_responses(solution, 0, X, Y, seen=(0, 1))


def solved_with(solution, watts):
    """The problem solved with a map in place of the first die's."""
    sheets = solution.sheets
    sources = list(sheets.stack.sources)
    sources[0] = replace(sources[0], power=float(watts.sum()), power_map=PowerMap(X, Y, watts))
    stack = replace(sheets.stack, sources=tuple(sources))
    return solve(sheets_of(stack, sheets.space, [slab.through for slab in sheets.slabs]))


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6), sharpness=st.integers(1, 6))
def test_a_map_is_what_a_solve_with_it_gives_to_rounding(solution, responses, seed, sharpness):
    watts = 60 * np.random.default_rng(seed).random((ROWS, COLUMNS)) ** sharpness
    found, there = superposed(responses, watts[None]), solved_with(solution, watts)
    states, reference = component_states(there), there.sheets.stack.reference
    assert found.peaks[0] == approx([state.peak.value - reference for state in states], rel=1e-10)
    assert found.means[0] == approx([state.mean - reference for state in states], rel=1e-10)
    source = there.sheets.stack.sources[0]
    face = there.face(source.chain[0], source.face)[responses.shapes[0].controls.nodes] - reference
    assert faces_under(responses, watts[None], 0)[0] == approx(face, rel=1e-9)
    assert responses.is_exact


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), factor=st.floats(0, 10))
def test_rises_are_linear_in_the_watts(responses, seed, factor):
    one, other = np.random.default_rng(seed).random((2, ROWS, COLUMNS))
    nothing = faces_under(responses, np.zeros((1, ROWS, COLUMNS)), 0)[0]
    a, b, both = (face - nothing for face in faces_under(responses, np.array([one, other, one + factor * other]), 0))
    assert both == approx(a + factor * b, rel=1e-9)


def test_peaks_are_no_lower_than_any_node_and_maps_may_come_in_any_number(responses):
    watts = 40 * np.random.default_rng(5).random((301, ROWS, COLUMNS)) ** 4
    found, nodes = superposed(responses, watts, threads=2), faces_under(responses, watts, 0)
    assert found.peaks.shape == (301, 2)
    assert (found.peaks[:, 0] >= nodes.max(axis=1) - 1e-9).all()
    # On a mesh that was not made for the tiles some maps are hottest between nodes.
    assert 0 < np.count_nonzero(found.peaks[:, 0] > nodes.max(axis=1) * 1.001) < 301


def test_no_heat_leaves_what_the_neighbour_does(responses, solution):
    found = superposed(responses, np.zeros((1, ROWS, COLUMNS)))
    without = solve(solution.sheets, np.array([0.0, solution.powers[1]]))
    peaks = [state.peak.value - solution.sheets.stack.reference for state in component_states(without)]
    assert found.peaks[0] == approx(peaks, rel=1e-9)


def test_tiles_off_the_component_and_maps_of_another_shape_are_refused(solution, responses):
    with pytest.raises(ValueError, match="tile 6 of 35 lies off die"):
        tile_responses(solution, 0, np.append(X, 14e-3), np.array([0, 1e-3, 2e-3, 3e-3, 4e-3, 5e-3]))
    with pytest.raises(ValueError, match=r"needed: \(maps, 5, 6\)"):
        superposed(responses, np.zeros((2, 6, 5)))
