"""A problem that is too big is refused before it starts, with the estimate; one that fits is let through."""

from dataclasses import replace

import numpy as np
import plates
import pytest

from plancha.fem.findings import solve_stack, solve_with_estimate
from plancha.fem.memory import predicted_memory
from plancha.geometry.faults import StudyError
from plancha.geometry.power_map import PowerMap

PLATE = plates.plate((40e-3, 40e-3), 3e-3, 390.0, 1000.0, (15e-3, 15e-3, 10e-3, 10e-3))


def test_a_mesh_size_of_micrometres_is_refused_with_the_estimate_before_anything_is_meshed(monkeypatch):
    from plancha.fem import findings

    def meshed(*_, **__):
        raise AssertionError("the mesher was asked")

    monkeypatch.setattr(findings, "first_mesh", meshed)
    with pytest.raises(StudyError) as refused:
        solve_with_estimate(replace(PLATE, mesh_size=10e-6))
    (fault,) = refused.value.faults
    assert "GB" in fault.message and "unknowns" in fault.message and "half of the free memory" in fault.allowed
    assert "mesh_size" in fault.place


def test_many_tiny_hot_spots_are_refused_too():
    watts = np.ones((1200, 1200))
    watts[50::100, 50::100] = 500.0  # 144 spots of 8 um
    edges = np.linspace(0, 10e-3, 1201)
    source = plates.source("source", (15e-3, 15e-3, 10e-3, 10e-3), PowerMap(edges, edges, watts / watts.sum()))
    stack = plates.plate((40e-3, 40e-3), 3e-3, 390.0, 1000.0, [source])
    needed, _ = predicted_memory(stack)
    assert needed > predicted_memory(PLATE)[0]


@pytest.mark.parametrize("size", [None, 2e-3, 1e-3])
def test_the_predicted_unknowns_are_near_the_real_ones(size):
    stack = replace(PLATE, mesh_size=size)
    solved = solve_stack(stack).sheets.size
    # solve_stack halves the sub-layers, as the prediction does; the mesher's triangles vary by a third.
    assert predicted_memory(stack)[1] == pytest.approx(solved, rel=0.5)


def test_the_free_memory_decides(monkeypatch):
    from plancha.fem import memory

    monkeypatch.setattr(memory, "free_memory", lambda: 1e6)
    with pytest.raises(StudyError, match="free memory"):
        solve_with_estimate(PLATE)
