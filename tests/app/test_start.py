"""start.py: what it says and how it exits, without setting anything up."""

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from plancha.app import shared_libraries

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """start.py as a module whose environment lies in an empty folder."""
    spec = importlib.util.spec_from_file_location("start", ROOT / "start.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    home = module.VENV
    for name in ("VENV", "BIN", "STAMP", "PIP_LOG"):
        monkeypatch.setattr(module, name, tmp_path / ".venv" / getattr(module, name).relative_to(home))
    return module


@pytest.fixture
def without_libgl(start, monkeypatch) -> None:
    """A machine without OpenGL, as start.py sees it."""
    stand_in = ModuleType("shared_libraries")
    stand_in.__dict__.update(vars(shared_libraries), missing_libraries=lambda: ["libGL.so.1"])
    monkeypatch.setattr(start, "shared_libraries", lambda: stand_in)


def test_a_browser_is_installed_where_that_may_be_done_and_else_its_line_is_said(start, monkeypatch, capsys):
    asked = []
    monkeypatch.setattr(start.shutil, "which", lambda program: None)
    monkeypatch.setattr(start, "may_install_packages", lambda: True)
    monkeypatch.setattr(start, "install_packages", asked.append)
    start.look_for_browser()
    assert asked == ["apt-get update && apt-get install -y --no-install-recommends chromium chromium-driver"]
    monkeypatch.setattr(start, "may_install_packages", lambda: False)
    start.look_for_browser()
    said = capsys.readouterr().out
    assert (
        len(asked) == 1 and f"as root: {asked[0]}" in said and "the tests of the page in a browser are skipped" in said
    )


def test_no_browser_is_asked_for_where_there_is_one(start, monkeypatch, capsys):
    monkeypatch.setattr(start.shutil, "which", lambda program: f"/usr/bin/{program}")
    monkeypatch.setattr(start, "may_install_packages", lambda: pytest.fail("nothing is missing"))
    start.look_for_browser()
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("arguments", [[], ["polish"], ["demo", "polish"]])
def test_anything_but_the_two_commands_gives_usage_and_exit_code_2(arguments):
    result = subprocess.run([sys.executable, ROOT / "start.py", *arguments], capture_output=True, text=True)
    assert result.returncode == 2
    assert result.stderr.startswith("usage: start.py")
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize("command", ["demo", "test"])
@pytest.mark.usefixtures("without_libgl")
def test_missing_libraries_stop_both_commands_with_the_line_that_cures_it(start, command, monkeypatch, capsys):
    monkeypatch.setattr(start, "may_install_packages", lambda: False)
    monkeypatch.setattr(start, "can_make_environments", lambda: True)
    assert start.main([command]) == 1
    assert capsys.readouterr().err == (
        "this system lacks libGL.so.1\n"
        "on Debian or Ubuntu, as root: apt-get update && apt-get install -y --no-install-recommends "
        "libgl1 libegl1 libglu1-mesa libxft2 libxcursor1 libxinerama1 libgomp1\n"
        "on another system: install the packages that hold these\n"
    )
    assert not start.VENV.exists()


@pytest.mark.usefixtures("without_libgl")
def test_missing_libraries_and_a_missing_venv_are_named_together_in_one_line(start, monkeypatch):
    monkeypatch.setattr(start, "may_install_packages", lambda: False)
    monkeypatch.setattr(start, "can_make_environments", lambda: False)
    with pytest.raises(start.SetupError, match=rf"libgomp1 python3\.{sys.version_info.minor}-venv\n"):
        start.require_system(new_environment=True)


@pytest.mark.usefixtures("without_libgl")
def test_root_on_debian_runs_the_line_and_does_not_believe_a_success_that_changes_nothing(start, monkeypatch, capsys):
    ran = []

    def run_quietly(note, command):
        ran.append(command)
        return subprocess.CompletedProcess(command, 0, "")

    monkeypatch.setattr(start, "may_install_packages", lambda: True)
    monkeypatch.setattr(start, "run_quietly", run_quietly)
    with pytest.raises(start.SetupError, match=r"libGL\.so\.1"):
        start.require_system(new_environment=False)
    assert ran == [["sh", "-c", shared_libraries.INSTALL_LINE]]
    assert shared_libraries.INSTALL_LINE in capsys.readouterr().out


def test_a_library_that_no_system_has_is_reported_missing_and_the_c_library_is_not():
    if not sys.platform.startswith("linux"):
        pytest.skip("only Linux is asked for libraries")
    assert shared_libraries.missing_libraries(["libc.so.6", "libnosuch.so.9"]) == ["libnosuch.so.9"]


def test_the_finished_setup_is_kept_and_the_larger_one_serves_the_smaller(start):
    plain, tested = start.wanted_setup(""), start.wanted_setup("test")
    assert start.next_step(plain, plain) == "nothing"
    assert start.next_step(tested, plain) == "nothing"
    assert start.next_step(plain, tested) == "install"


def test_a_changed_project_is_installed_again_and_a_moved_folder_or_other_python_rebuilt(start):
    wanted = start.wanted_setup("")
    assert start.next_step({**wanted, "project": "0"}, wanted) == "install"
    assert start.next_step({**wanted, "folder": "/elsewhere"}, wanted) == "rebuild"
    assert start.next_step({**wanted, "python": "3.10"}, wanted) == "rebuild"


@pytest.mark.parametrize("left", ["", "{}", '{"folder": '])
def test_an_interrupted_setup_is_rebuilt(start, left):
    start.VENV.mkdir()
    start.STAMP.write_text(left)
    assert start.next_step(start.found_setup(), start.wanted_setup("")) == "rebuild"


def test_an_environment_without_a_stamp_is_used_and_not_removed(start):
    assert start.next_step(start.found_setup(), start.wanted_setup("")) == "install"


def test_the_stamp_is_written_only_after_the_installation_succeeded(start, monkeypatch):
    failing = subprocess.CompletedProcess([], 1, "ERROR: no space")
    start.VENV.mkdir()
    monkeypatch.setattr(start, "run_quietly", lambda note, command: failing)
    monkeypatch.setattr(start, "require_system", lambda new_environment: None)
    monkeypatch.setattr(start, "environment_works", lambda: True)
    with pytest.raises(start.SetupError, match="no space"):
        start.set_up()
    assert json.loads(start.STAMP.read_text()) == {}


def test_a_failed_look_up_of_the_package_index_names_the_network_and_no_host(start, monkeypatch):
    said = "WARNING: NewConnectionError: index.example: [Errno -3] Temporary failure in name resolution"
    start.VENV.mkdir()
    monkeypatch.setattr(start, "run_quietly", lambda note, command: subprocess.CompletedProcess(command, 1, said))
    with pytest.raises(start.SetupError) as caught:
        start.install_project("")
    assert "network" in str(caught.value)
    assert "index.example" not in str(caught.value)
    assert start.PIP_LOG.read_text() == said


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="no users to be")
def test_only_root_installs_system_packages(start, monkeypatch):
    monkeypatch.setattr(start.shutil, "which", lambda name: "/usr/bin/apt-get")
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert not start.may_install_packages()
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert start.may_install_packages()


def test_one_failing_check_fails_the_whole_and_the_others_still_run(start, monkeypatch, capsys):
    ran = []

    def run(command):
        ran.append(command[0])
        return 1 if command[0] == "ruff" else 0

    monkeypatch.setattr(start, "set_up", lambda extra="": None)
    monkeypatch.setattr(start, "run", run)
    assert start.main(["test"]) == 1
    assert ran == ["ruff", "mypy", "pytest"]
    assert "ruff: failed (exit code 1)" in capsys.readouterr().out
