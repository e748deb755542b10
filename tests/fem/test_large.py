"""Whole studies solved as if they were large, without a matrix of all unknowns, have the answers and audits of small ones."""

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from plancha.fem import terms
from plancha.fem.audit import audit
from plancha.fem.components import unit_rises
from plancha.fem.multigrid import Multigrid
from plancha.fem.plan import plan_space
from plancha.fem.refinement import first_mesh, refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import factorised, solve
from plancha.geometry.grading import snapped_stack
from plancha.geometry.study_file import read_study

EXAMPLES = Path(__file__).parents[2] / "examples"
# k(T) and sub-layers; natural convection and radiation; a thin sheet with a grain; many bodies; a chamber's layers and pipes;
# patches; a channel's fins and its coolant's lanes.
STUDIES = ("laser_bar", "outdoor_unit", "handheld_graphite", "radar", "layered_chamber", "inlaid_base", "cold_plate")


def sheets_on(name: str, cuts: int):
    stack, snapped = snapped_stack(read_study(EXAMPLES / name / "study.toml").cases[0].stack)
    mesh = first_mesh(stack, snapped)
    for _ in range(cuts):
        mesh = refined(mesh)
    return sheets_of(stack, plan_space(mesh), through_of(stack))


def solved(name: str):
    return solve(sheets_on(name, 1))


@pytest.mark.parametrize("name", STUDIES)
def test_a_large_study_is_solved_and_audited_as_a_small_one_is(name, monkeypatch):
    small = solved(name)
    monkeypatch.setattr(terms, "LARGE", 500)
    large = solved(name)
    factor = large.system.factor
    assert isinstance(getattr(factor, "solids", factor), Multigrid)
    checks = audit(small), audit(large)
    assert checks[1].heat_in == approx(checks[0].heat_in, rel=1e-12)
    for one, other in zip(*(check.paths for check in checks)):
        assert other.heat == approx(one.heat, rel=1e-7, abs=1e-9)
    assert {each: peak.value for each, peak in large.peaks.items()} == approx(
        {each: peak.value for each, peak in small.peaks.items()}, abs=1e-6
    )


def test_a_coolant_in_lanes_hardly_asks_for_more_cycles_on_a_finer_mesh(monkeypatch):
    """From 7,000 to 80,000 unknowns; the transposed whole is as easy."""
    monkeypatch.setattr(terms, "LARGE", 500)
    taken: list[int] = []

    def counted(self, left, cycle=Multigrid.cycle):
        taken[-1] += 1
        return cycle(self, left)

    monkeypatch.setattr(Multigrid, "cycle", counted)
    for cuts in (1, 3):
        sheets = sheets_on("cold_plate", cuts)
        system, heat = factorised(sheets), sheets.powers @ sheets.unit_loads
        for solve_for in (system.rises, system.responses):
            taken.append(0)
            solve_for(heat)
    assert max(taken[2] - taken[0], taken[3] - taken[1]) <= 3
    assert max(taken) <= 25


def test_magnitudes_leave_the_operator_as_it_is(monkeypatch):
    """Its matrices share where their entries are: none may move them when it is looked at by itself."""
    monkeypatch.setattr(terms, "LARGE", 500)
    solution = solved("radar")
    before = solution.matrix @ solution.temperature
    rises = unit_rises(solution)
    whole = np.abs(solution.matrix.csr) @ np.abs(solution.temperature)
    assert np.all(solution.matrix.magnitudes(solution.temperature) >= (1 - 1e-12) * whole)
    assert np.array_equal(solution.matrix @ solution.temperature, before)
    assert np.array_equal(unit_rises(solution), rises)
