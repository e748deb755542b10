"""Fans over speed: the fan laws of flow, pressure and sound, the speeds that are sought, and what is said where there is none."""

import json
import math
import os

import pytest
from finned_study import FAN_CURVE, finned_plate

from plancha.app import fan_sweep
from plancha.app.cli import main
from plancha.app.fan_sweep import fan_speeds_of, ratio_at_level, ratio_at_limits, running_fans
from plancha.app.shared_libraries import missing_libraries
from plancha.fem.findings import solve_with_estimate
from plancha.geometry.faults import StudyError
from plancha.geometry.study_file import changed_case, read_study


@pytest.fixture
def study(tmp_path, monkeypatch):
    """Writes the small finned study under a name, with what the test changes; gives back its path. Few speeds are tried: quick."""
    monkeypatch.setattr(fan_sweep, "RATIOS", (0.4, 0.5, 1.0, 1.3))
    (tmp_path / "fan.csv").write_text(FAN_CURVE)

    def written(name="study.toml", **changes):
        path = tmp_path / name
        path.write_text(finned_plate(**changes))
        return path

    return written


@pytest.fixture(scope="module")
def sweep(tmp_path_factory):
    """The small finned study's sweep, solved once."""
    folder = tmp_path_factory.mktemp("fans")
    (folder / "fan.csv").write_text(FAN_CURVE)
    (folder / "study.toml").write_text(finned_plate())
    return fan_speeds_of([folder / "study.toml"], None, None).sweeps[0]


def at(sweep, ratio):
    return next(speed for speed in sweep.speeds if speed.ratio == ratio)


def test_half_the_speed_is_15_decibels_quieter(sweep):
    # 50 log10 2 = 15.05 (common practice, no source)
    assert at(sweep, 1.0).level - at(sweep, 0.5).level == pytest.approx(50 * math.log10(2), abs=1e-9)
    assert at(sweep, 1.0).level == pytest.approx(40.0, abs=1e-9)


def test_slower_fans_give_less_than_in_proportion_where_friction_is_laminar(sweep):
    # Between fan laws alone (system ~ V^2: flow in proportion) and a system ~ V: derived independently.
    for ratio in (0.4, 0.5, 0.7, 0.9):
        flow = at(sweep, ratio).draughts[0].rate / at(sweep, 1.0).draughts[0].rate
        assert ratio**2 < flow < ratio


def test_with_a_system_that_goes_with_the_square_the_flow_goes_with_the_speed(study):
    """Losses of constant coefficient far above the fins' own: fan laws; from memory."""
    grille = (
        'entry = "side"\nside = "left"\nfans = "fan"\nloss = { name = "grille", coefficient = 10000, area = "20 cm^2" }'
    )
    found = fan_speeds_of([study(flow=grille)], None, None).sweeps[0]
    whole, half = at(found, 1.0).draughts[0], at(found, 0.5).draughts[0]
    assert half.rate / whole.rate == pytest.approx(0.5, rel=0.02)
    assert half.pressure / whole.pressure == pytest.approx(0.25, rel=0.02)
    assert half.power / whole.power == pytest.approx(0.125, rel=0.03)


def test_faster_fans_are_louder_and_cooler_at_every_step(sweep):
    for slow, fast in zip(sweep.speeds, sweep.speeds[1:]):
        assert slow.level < fast.level and slow.peak > fast.peak and slow.margin < fast.margin
        assert slow.resistance > fast.resistance


def test_the_rise_per_watt_is_the_peaks_rise_over_all_power(sweep):
    speed = at(sweep, 1.0)
    assert speed.resistance == pytest.approx((speed.peak - 298.15) / 40.0, rel=1e-12)


def test_the_speed_for_the_noise_limit_is_exact(sweep):
    assert sweep.at_noise.speed.level == pytest.approx(42.0, abs=1e-9)
    assert sweep.at_noise.speed.ratio == pytest.approx(10 ** (2 / 50), rel=1e-12)


def test_two_fans_together_keep_the_limit_of_both(study):
    # The pair is 10 log10 2 = 3.01 dB louder than one (common practice, no source).
    path = study(fan='level = "40 dB(A)"\nnoise_limit = "42 dB(A)"\ncount = 2')
    fans = running_fans(read_study(path).cases[0].stack)
    assert 40 + 10 * math.log10(2) + 50 * math.log10(ratio_at_limits(fans)) == pytest.approx(42.0, abs=1e-9)
    assert ratio_at_level(43.0, 43.0 - 50 * math.log10(2)) == pytest.approx(0.5, rel=1e-12)


def test_at_the_least_speed_that_holds_nothing_is_left_to_the_limit(sweep):
    found = sweep.at_limit.speed
    assert abs(found.margin) < fan_sweep.CLOSE
    slower = max((s for s in sweep.speeds if s.ratio < found.ratio), key=lambda s: s.ratio)
    faster = min((s for s in sweep.speeds if s.ratio > found.ratio), key=lambda s: s.ratio)
    assert slower.margin < 0 < faster.margin


def test_the_speed_found_holds_the_limit_in_a_study_written_so(study, sweep):
    """Solved afresh, on a mesh of its own, by a study that says the speed."""
    case = read_study(study()).cases[0]
    text = f"{3000 * sweep.at_limit.speed.ratio!r} rpm"
    changed = changed_case(case, study().parent, {"fan.speed": text})
    solved = solve_with_estimate(changed.stack)
    peak = solved.estimate.values[0, 0] + changed.stack.reference
    assert peak == pytest.approx(343.15, abs=0.05 + solved.estimate.total[0, 0])


def test_a_limit_out_of_reach_is_said_with_the_kelvin_that_lack(study):
    found = fan_speeds_of([study(limit="30 degC")], None, None).sweeps[0]
    assert found.at_limit.speed is None
    assert f"{-at(found, 1.3).margin:.1f} K above" in found.at_limit.words


def test_a_limit_that_always_holds_and_no_limit_at_all_are_said(study):
    always = fan_speeds_of([study(limit="400 degC")], None, None).sweeps[0]
    assert always.at_limit.speed is None and "down to 40 %" in always.at_limit.words
    none = fan_speeds_of([study(limit="none")], None, None).sweeps[0]
    assert none.at_limit.words == "no component has a limit"
    assert none.written.margin is None and none.written.limits == "chip"


def test_fans_without_a_level_are_swept_without_sound(study):
    found = fan_speeds_of([study(fan="")], None, "40 dB(A)").sweeps[0]
    assert math.isnan(found.written.level) and found.at_noise.speed is None
    assert "sound" in found.at_equal.words
    assert found.at_limit.speed is not None


def test_studies_are_compared_at_one_sound(study):
    paths = [study(), study("louder.toml", fan='level = "46 dB(A)"')]
    found = fan_speeds_of(paths, None, None)
    assert found.noise == pytest.approx(42.0, abs=1e-9)
    assert [sweep.at_equal.speed.level for sweep in found.sweeps] == pytest.approx([42.0, 42.0], abs=1e-9)
    quiet, loud = (sweep.at_equal.speed for sweep in found.sweeps)
    assert loud.ratio / quiet.ratio == pytest.approx(10 ** (-6 / 50), rel=1e-12)
    assert loud.peak > quiet.peak


def test_a_study_without_fans_is_refused_with_what_it_needs(study):
    path = study(flow='entry = "side"\nside = "left"\nrate = "20 CFM"')
    with pytest.raises(StudyError, match="no running fan") as refused:
        fan_speeds_of([path, path.parent / "nowhere.toml"], None, "42")
    assert len(refused.value.faults) == 3  # the level without its unit, the rate, the missing file: all at once


def test_an_unknown_case_is_refused(study, capsys):
    assert main(["fans", str(study()), "--case", "hot"]) == 2
    assert "as written" in capsys.readouterr().err


def test_a_fan_that_cannot_drive_one_of_the_speeds_is_said_there(study, monkeypatch):
    from plancha.geometry.faults import Failure

    real = fan_sweep.solve_with_estimate

    def failing(stack, *rest):
        if running_fans(stack)[0].speed < 0.45 * 50:
            raise Failure("the fan cannot drive the system")
        return real(stack, *rest)

    monkeypatch.setattr(fan_sweep, "solve_with_estimate", failing)
    found = fan_speeds_of([study()], None, None).sweeps[0]
    assert [speed.ratio for speed in found.speeds if speed.failure] == [0.4]
    assert found.at_limit.speed is not None


def test_all_files_are_written_and_say_the_same(study, capsys):
    arguments = ["fans", str(study())] + (["--no-pictures"] if missing_libraries() else [])
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert "Blades cut" in out.replace("blades", "Blades") and "noise limit" in out
    folder = study().parent / "results"
    names = ["fan_speeds.csv", "fan_speeds.json"] + ([] if missing_libraries() else ["fan_speeds.png"])
    assert sorted(os.listdir(folder)) == names
    record = json.loads((folder / "fan_speeds.json").read_text())
    (one,) = record["studies"]
    rows = (folder / "fan_speeds.csv").read_text().splitlines()
    assert len(rows) == 1 + len(one["speeds"]) + 3
    assert all(len(row.split(",")) == len(rows[0].split(",")) for row in rows)
    assert one["speeds"][0]["speeds_rpm"]["fan"] == pytest.approx(1200.0)


def test_an_interrupt_between_two_speeds_leaves_nothing_behind(study, monkeypatch, capsys):
    real, count = fan_sweep.solve_with_estimate, []

    def interrupted(stack, *rest):
        count.append(1)
        if len(count) == 3:
            raise KeyboardInterrupt
        return real(stack, *rest)

    monkeypatch.setattr(fan_sweep, "solve_with_estimate", interrupted)
    path = study()
    assert main(["fans", str(path), "-o", str(path.parent / "deep" / "out")]) == 130
    assert sorted(os.listdir(path.parent)) == ["fan.csv", "study.toml"]
    assert "nothing was written" in capsys.readouterr().err
