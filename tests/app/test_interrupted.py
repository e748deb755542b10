"""What the world does to a run: Ctrl-C, a full disk, a closed pipe, places where nothing can be written. Nothing broken is left."""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

from plancha.app.cli import main
from plancha.app.interrupts import none_swallowed

COMMAND = [sys.executable, "-m", "plancha.app.cli"]
IS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


@pytest.fixture
def study(tmp_path, monkeypatch, capsys):
    """A fresh study in a folder of its own, the working folder beside it."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "first"]) == 0
    capsys.readouterr()
    return tmp_path / "first" / "study.toml"


def solve(study, *options, **more):
    return subprocess.run(
        [*COMMAND, "solve", str(study), "--no-pictures", *options], capture_output=True, text=True, **more
    )


def everything(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def is_whole(folder):
    """Whether all results are there, as files, and nothing that was to be moved away."""
    names = everything(folder)
    return {"fields.vtu", "result.json"} <= set(names) and not any(
        name.startswith(".") or (folder / name).is_dir() for name in names
    )


@pytest.mark.slow  # twenty runs, each ended after up to two seconds
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for another process")
def test_an_interrupt_at_any_moment_leaves_all_results_or_nothing(study, tmp_path):
    before, dice, codes = everything(tmp_path), random.Random(7), set()
    for _ in range(20):
        arguments = [*COMMAND, "solve", str(study), "--no-pictures", "-o", "deep/out"]
        run = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(dice.uniform(0.2, 2.0))
        run.send_signal(signal.SIGINT)
        _, said = run.communicate(timeout=120)
        # Where the interrupt met code that Python itself executes from text, it ends by the signal after all: 130 to a shell as well.
        code = 130 if run.returncode == -signal.SIGINT else run.returncode
        codes.add(code)
        assert code in (0, 130) and "Traceback" not in said, said
        if code == 130 and "nothing was written" in said:
            assert everything(tmp_path) == before
        elif code == 130:
            # One that comes when all is done and Python is taking itself down finds nobody left to say anything.
            assert said.strip() in ("stopped; the results are in deep/out", "")
            assert is_whole(tmp_path / "deep" / "out")
        if (tmp_path / "deep").exists():
            assert is_whole(tmp_path / "deep" / "out") and os.listdir("deep") == ["out"]
            shutil.rmtree("deep")
    assert 130 in codes


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no timer here")
def test_an_interrupt_that_compiled_code_swallows_comes_again(capfd):
    class Gone:
        def __del__(self):  # what it raises Python can only print and forget
            raise KeyboardInterrupt

    def swallowed():
        Gone()
        time.sleep(5)

    start = time.monotonic()
    with pytest.raises(KeyboardInterrupt), none_swallowed():
        swallowed()
    assert time.monotonic() - start < 2
    assert capfd.readouterr().err == ""


def test_an_interrupt_while_files_are_put_in_place_comes_after_they_are(study, monkeypatch, capsys):
    from plancha.app import whole

    move = whole._move_all

    def moved_with_interrupt(*places):
        signal.raise_signal(signal.SIGINT)
        move(*places)

    monkeypatch.setattr(whole, "_move_all", moved_with_interrupt)
    assert main(["solve", str(study), "--no-pictures"]) == 130
    assert is_whole(study.parent / "results")
    assert "the results are in" in capsys.readouterr().err


def test_the_mesher_leaves_our_answers_to_signals_as_they_were(study):
    before = [signal.getsignal(kind) for kind in (signal.SIGINT, signal.SIGTERM)]
    assert main(["solve", str(study), "--no-pictures"]) == 0
    assert [signal.getsignal(kind) for kind in (signal.SIGINT, signal.SIGTERM)] == before
    assert before[0] is signal.default_int_handler


@contextmanager
def small_disk(folder, size):
    folder.mkdir()
    if not IS_ROOT or subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder]).returncode:
        pytest.skip("only who may mount can have a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount on this system")
def test_a_disk_that_fills_up_is_said_and_left_as_it_was(study, tmp_path):
    with small_disk(tmp_path / "disk", "200k") as disk:
        for out in (disk / "deep" / "out", disk):
            done = solve(study, "-o", str(out))
            assert (
                done.returncode == 1 and done.stderr.strip() == f"{out}: No space left on device; nothing was written"
            )
            assert everything(disk) == []


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount on this system")
def test_the_results_folder_may_be_a_disk_of_its_own(study, tmp_path):
    with small_disk(tmp_path / "disk", "20m") as disk:
        assert solve(study, "-o", str(disk)).returncode == 0
        assert is_whole(disk)


@pytest.mark.skipif(not IS_ROOT or shutil.which("setpriv") is None, reason="only root can become someone else")
def test_a_folder_of_somebody_else_is_said_before_the_work(tmp_path):
    from pathlib import Path
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o755)
        assert main(["new", str(folder / "first")]) == 0
        (folder / "first").chmod(0o755)
        code = (
            f"import sys; sys.path[:0] = {sys.path!r}; from plancha.app.cli import main; sys.exit(main(sys.argv[1:]))"
        )
        nobody = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
        arguments = [
            *nobody,
            sys.executable,
            "-c",
            code,
            "solve",
            str(folder / "first" / "study.toml"),
            "--no-pictures",
        ]
        done = subprocess.run(arguments, capture_output=True, text=True, cwd="/")
        if "plancha" in done.stderr and "ModuleNotFound" in done.stderr:
            pytest.skip("the project lies where nobody else may read")
        assert done.returncode == 1 and "Permission denied; nothing was written" in done.stderr
        assert everything(folder / "first") == ["power_map.csv", "study.toml"]


@pytest.mark.parametrize("out", ["taken", "taken/below"])
def test_a_file_in_the_way_of_the_results_is_said_and_kept(study, tmp_path, out):
    (tmp_path / "taken").write_text("mine")
    done = solve(study, "-o", out)
    assert done.returncode == 1 and "taken: a file is in the way of the results; nothing was written" in done.stderr
    assert (tmp_path / "taken").read_text() == "mine"


def test_a_folder_in_the_way_of_one_result_leaves_the_others_as_they_were(study, tmp_path):
    (tmp_path / "out" / "result.json").mkdir(parents=True)
    (tmp_path / "out" / "fields.vtu").write_text("earlier")
    done = solve(study, "-o", "out")
    assert (
        done.returncode == 1 and "result.json: a folder is in the way of a result; nothing was written" in done.stderr
    )
    assert everything(tmp_path / "out") == ["fields.vtu", "result.json"]
    assert (tmp_path / "out" / "fields.vtu").read_text() == "earlier"


def test_a_folder_may_have_spaces_and_any_letters_and_be_used_again(study, tmp_path):
    for _ in range(2):
        assert solve(study, "-o", "mes résultats 温度").returncode == 0
        assert is_whole(tmp_path / "mes résultats 温度")


@pytest.mark.parametrize("command", [["solve", "--no-pictures"], ["check"], ["materials"], ["--help"], ["--version"]])
@pytest.mark.skipif(sys.platform == "win32", reason="pipes close otherwise there")
def test_a_reader_that_goes_away_is_no_reason_for_a_traceback(study, command):
    file = [str(study)] if command[0] in ("solve", "check") else []
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*COMMAND, *command, *file], stdout=writing, stderr=subprocess.PIPE, text=True)
    os.close(writing)
    assert done.returncode in (0, 1) and done.stderr == ""


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_results_written_before_the_output_fails_are_told_of(study):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*COMMAND, "solve", str(study), "--no-pictures"], stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == 1 and "No space left on device; the results are in" in done.stderr
    assert (study.parent / "results" / "result.json").exists()


@pytest.mark.parametrize(
    ("study_text", "table", "words"),
    [
        ("", None, "must be given"),
        (None, "", "has no cells"),
        (None, "folder", "this is not a file"),
        ("folder", None, "this is not a file"),
    ],
)
def test_empty_files_and_folders_in_place_of_files_are_bad_input(study, study_text, table, words, capsys):
    for path, content in ((study, study_text), (study.parent / "power_map.csv", table)):
        if content is not None:
            path.unlink()
            path.mkdir() if content else path.touch()
    assert main(["solve", str(study)]) == 2
    assert words in capsys.readouterr().err
    assert sorted(os.listdir(study.parent)) == ["power_map.csv", "study.toml"]


def test_memory_that_does_not_suffice_is_said(study, monkeypatch, capsys):
    from plancha.fem import findings

    def exhausted(*_):
        raise MemoryError

    monkeypatch.setattr(findings, "solve_to_accuracy", exhausted)
    assert main(["solve", str(study), "--no-pictures"]) == 1
    assert "the memory does not suffice" in capsys.readouterr().err


def test_an_interrupt_that_python_wraps_is_an_interrupt_still(study, monkeypatch, capsys):
    """Python 3.11 turns one that comes while a class is being made into a RuntimeError."""
    from plancha.app import commands

    def interrupted(given):
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as cause:
            raise RuntimeError("Error calling __set_name__") from cause

    monkeypatch.setattr(commands, "check", interrupted)
    assert main(["check", str(study)]) == 130
    assert "stopped; nothing was written" in capsys.readouterr().err


def test_another_runtime_error_is_not_hidden(study, monkeypatch):
    from plancha.app import commands

    def broken(given):
        raise RuntimeError("a slip")

    monkeypatch.setattr(commands, "check", broken)
    with pytest.raises(RuntimeError, match="a slip"):
        main(["check", str(study)])
