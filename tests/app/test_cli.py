"""The commands as a newcomer types them: exit codes, messages, and what is on disk afterwards."""

import json
import os
import subprocess
import sys

import pytest

from plancha.app.cli import main, parser


def run(*arguments, folder=None):
    return subprocess.run(
        [sys.executable, "-m", "plancha.app.cli", *map(str, arguments)], capture_output=True, text=True, cwd=folder
    )


@pytest.fixture
def study(tmp_path, monkeypatch):
    """A fresh study as `plancha new` makes it."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "first"]) == 0
    return tmp_path / "first" / "study.toml"


def test_a_new_study_can_be_checked_and_solved_as_it_is(study, capsys):
    assert main(["check", str(study)]) == 0
    assert "Mass" in capsys.readouterr().out
    assert main(["solve", str(study), "--no-pictures"]) == 0
    out = capsys.readouterr().out
    assert "Budget of processor" in out and "Load cases" in out and "Caution" in out
    assert sorted(os.listdir(study.parent / "results")) == ["fields.vtu", "mesh.vtu", "result.json"]


def test_the_result_carries_its_schema_and_closes_its_heat_balance(study):
    main(["solve", str(study), "--no-pictures"])
    result = json.loads((study.parent / "results" / "result.json").read_text())
    assert result["schema"] == "plancha-result/1"
    for case in result["cases"]:
        assert sum(path["heat_W"] for path in case["ways_out"]) == pytest.approx(case["audit"]["heat_in_W"], rel=1e-8)


def test_a_new_study_never_overwrites(study, capsys):
    before = study.read_text()
    assert main(["new", str(study.parent)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert study.read_text() == before


def test_bad_input_gives_all_faults_exit_2_and_no_file(study, capsys):
    text = study.read_text().replace('"3 mm"', '"3 kg"').replace('"35 degC"', '"35"')
    study.write_text(text)
    assert main(["solve", str(study)]) == 2
    err = capsys.readouterr().err
    assert "line 3" in err and "line 7" in err and "Traceback" not in err
    assert not (study.parent / "results").exists()


def test_a_missing_study_is_said_plainly():
    done = run("solve", "nowhere/study.toml")
    assert done.returncode == 2
    assert "nowhere/study.toml" in done.stderr and "Traceback" not in done.stderr


def test_an_interrupt_leaves_nothing_behind(study, monkeypatch, capsys):
    from plancha.app import fields

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(fields, "write_fields", interrupted)
    assert main(["solve", str(study), "--no-pictures", "-o", str(study.parent / "deep" / "out")]) == 130
    assert sorted(os.listdir(study.parent)) == ["power_map.csv", "study.toml"]
    assert "nothing was written" in capsys.readouterr().err


def test_a_full_disk_leaves_nothing_behind(study, monkeypatch, capsys):
    from plancha.app import fields

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(fields, "write_fields", full)
    assert main(["solve", str(study), "--no-pictures"]) == 1
    assert sorted(os.listdir(study.parent)) == ["power_map.csv", "study.toml"]
    assert "No space left" in capsys.readouterr().err


def test_earlier_results_survive_a_failed_solve(study, monkeypatch):
    from plancha.app import fields

    main(["solve", str(study), "--no-pictures"])
    before = (study.parent / "results" / "result.json").read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(fields, "write_fields", full)
    main(["solve", str(study), "--no-pictures"])
    assert (study.parent / "results" / "result.json").read_bytes() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_said_plainly(study, capsys):
    study.parent.chmod(0o500)
    try:
        assert main(["solve", str(study), "--no-pictures"]) == 1
        assert "ermission" in capsys.readouterr().err
    finally:
        study.parent.chmod(0o700)


def test_materials_are_listed_and_shown(capsys):
    assert main(["materials", "copper"]) == 0
    assert "copper C11000" in capsys.readouterr().out
    assert main(["materials", "copper", "C11000"]) == 0
    assert "from memory" in capsys.readouterr().out
    assert main(["materials", "coper"]) == 2
    assert "copper" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        "measured s.toml --no-pictures r.csv",
        "measured --no-pictures s.toml r.csv",
        "measured s.toml r.csv --no-pictures",
    ],
)
def test_options_may_stand_between_the_other_words(words):
    given = parser().parse_args(words.split())
    assert (str(given.study), str(given.readings), given.no_pictures) == ("s.toml", "r.csv", True)


def test_lists_of_words_may_have_options_between_them_and_too_many_words_are_refused(capsys):
    given = parser().parse_args(["fans", "one.toml", "--case", "hot", "two.toml"])
    assert [str(each) for each in given.study] == ["one.toml", "two.toml"] and given.case == "hot"
    with pytest.raises(SystemExit) as ended:
        parser().parse_args(["solve", "one.toml", "--no-pictures", "two.toml"])
    assert ended.value.code == 2 and "unrecognized arguments: two.toml" in capsys.readouterr().err


def test_every_command_has_help_with_an_example():
    (commands,) = [action for action in parser()._actions if hasattr(action, "choices") and action.choices]
    for name, command in commands.choices.items():
        assert command.epilog and f"plancha {name}" in command.epilog


def test_every_command_stands_in_the_readme():
    from pathlib import Path

    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (commands,) = [action for action in parser()._actions if hasattr(action, "choices") and action.choices]
    assert all(f"plancha {name}" in readme for name in commands.choices)


def test_help_and_version_load_nothing_heavy():
    code = "import sys; from plancha.app.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    code += "print([m for m in ('numpy', 'scipy', 'pydantic', 'pint', 'rich') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.rstrip().endswith("[]")
    assert run("--version").stdout.startswith("plancha ")
