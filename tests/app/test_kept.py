"""Meshes kept between runs: in the folder that the environment names, or nowhere, with the same results."""

from pathlib import Path

import numpy as np
import pytest

from plancha.app.kept import users_keep
from plancha.fem.findings import solve_with_estimate
from plancha.geometry.grading import plan_mesh
from plancha.geometry.store import made_anew
from plancha.geometry.study_file import read_study

RADAR = Path(__file__).parents[2] / "examples" / "radar" / "study.toml"


@pytest.mark.parametrize("word", ["off", "0", "no", "OFF", " none ", ""])
def test_the_environment_can_turn_keeping_off(monkeypatch, word):
    monkeypatch.setenv("PLANCHA_CACHE", word)
    assert users_keep() is made_anew


def test_without_a_word_it_is_the_users_cache_folder(monkeypatch, tmp_path):
    monkeypatch.delenv("PLANCHA_CACHE", raising=False)
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name, appauthor: tmp_path / name)
    users_keep()("mesh", 1, lambda: {"a": np.zeros(3)})
    assert [path.name[:5] for path in (tmp_path / "plancha").iterdir()] == ["mesh-"]


def test_a_kept_mesh_is_the_mesh_and_the_mesher_is_not_asked_again(monkeypatch, tmp_path):
    monkeypatch.setenv("PLANCHA_CACHE", str(tmp_path / "kept"))
    stack = read_study(RADAR).cases[0].stack
    first, made = plan_mesh(stack, keep=users_keep()), plan_mesh(stack)
    monkeypatch.setattr("plancha.geometry.grading.mesh_of", None)
    again = plan_mesh(stack, snapped=("a note",), keep=users_keep())
    for mesh in (first, again):
        assert np.array_equal(mesh.points, made.points) and np.array_equal(mesh.triangles, made.triangles)
    assert again.snapped == ("a note",) and len(list((tmp_path / "kept").iterdir())) == 1


def test_a_study_solved_from_kept_meshes_has_the_same_temperatures(monkeypatch, tmp_path):
    monkeypatch.setenv("PLANCHA_CACHE", str(tmp_path))
    stack = read_study(RADAR).cases[0].stack
    answers = [solve_with_estimate(stack, keep=users_keep()).estimate.values for _ in range(2)]
    assert np.array_equal(*answers) and np.array_equal(answers[0], solve_with_estimate(stack).estimate.values)
