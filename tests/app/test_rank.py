"""Ranking candidates for a joint: the same order as solving every one, honest errors, exclusions with reasons, whole files."""

import csv
import json
import os
from itertools import pairwise

import pytest
from pytest import approx
from small_study import DIE, LID, SOLDER, chip_on_plate

from plancha.app.cli import main
from plancha.app.plan_drawing import render
from plancha.app.rank import ALIKE, LIQUID_QUESTIONS, ranking_of
from plancha.app.rank_files import ranking_record
from plancha.app.rank_joint import joint_named, joint_names
from plancha.app.rank_picture import rank_picture
from plancha.app.rank_request import RankRequest
from plancha.app.shared_libraries import missing_libraries
from plancha.fem.components import component_states
from plancha.fem.findings import solve_with_estimate
from plancha.fem.sampling import fixed_discretisation
from plancha.geometry.faults import StudyError
from plancha.geometry.grading import snapped_stack
from plancha.geometry.interface_table import AGED, find_candidate, impedance_at, shipped_candidates
from plancha.geometry.study_file import read_study

JOINT = '{ name = "grease", impedance = "20 mm^2 K/W" }'
# A way to the board and a neighbour with a lower limit, so that temperatures bend and the limiting component changes.
NEIGHBOUR = """[[component]]
name = "neighbour"
at = ["25 mm", "9 mm"]
size = ["4 mm", "4 mm"]
limit = "70 degC"
power = "2 W"
layers = [{ material = { name = "die", conductivity = "120 W/m/K" }, thickness = "0.5 mm" }, { impedance = "10 mm^2 K/W" }]
"""
HOT = '[[case]]\nname = "hot"\nambient = "45 degC"\n'
PLAIN = 'material = { name = "metal", conductivity = "200 W/m/K" }'


def text_of(joint=JOINT, plate=PLAIN, limit='"85 degC"'):
    """A study with a joint written so."""
    made = chip_on_plate(NEIGHBOUR, HOT, head='accuracy = "5 %"', layers=(DIE, SOLDER, LID, joint)).replace(
        PLAIN, plate
    )
    return made.replace('limit = "none"', f'limit = {limit}\nboard = {{ resistance = "12 K/W" }}')


@pytest.fixture
def study(tmp_path):
    (tmp_path / "study.toml").write_text(text_of())
    return tmp_path / "study.toml"


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """The ranking of the study, with its joint."""
    path = tmp_path_factory.mktemp("rank") / "study.toml"
    path.write_text(text_of())
    return ranking_of(RankRequest(path, "chip.grease")), joint_named(
        read_study(path).cases[0], path.parent, "chip.grease"
    )


def test_every_shipped_candidate_is_ranked_by_its_aged_margin(found):
    ranking, _ = found
    assert {each.candidate.name for each in ranking.ranked} == set(shipped_candidates()) and not ranking.excluded
    margins = [each.aged[1].margin for each in ranking.ranked]
    assert all(one >= other - ALIKE for one, other in pairwise(margins))
    own = [each.aged[1].margin for each in ranking.ranked if each.aged[1].limits == "chip"]
    assert own == sorted(own, reverse=True)
    assert {each.aged[1].limits for each in ranking.ranked} == {"chip", "neighbour"}
    assert sum(each.solved for each in ranking.ranked) == 3 and all(each.solved for each in ranking.ranked[:2])


@pytest.mark.slow  # solves every candidate, aged and new
def test_the_order_is_that_of_solving_every_candidate_within_the_stated_error(found):
    ranking, joint = found
    # The ranking's own mesh, so that what is left is interpolation.
    again = fixed_discretisation(solve_with_estimate(joint.stack_at(ranking.response.impedances[0])).solution)

    def margin(impedance):
        """Least margin [K], solved."""
        states = component_states(again(snapped_stack(joint.stack_at(impedance))[0]))
        return min(state.margin for state in states if state.margin is not None)

    rows = [each for each in ranking.ranked if not each.solved]
    solved = [margin(each.aged[1].impedance) for each in rows]
    for each, exact in zip(rows, solved):
        assert abs(each.aged[1].margin - exact) <= each.aged[1].off
        assert abs(each.aged[2].margin - margin(each.aged[2].impedance)) <= each.aged[2].off
    for (one, better), (other, worse) in zip(zip(rows, solved), zip(rows[1:], solved[1:])):
        alike = ALIKE if "neighbour" in (one.aged[1].limits, other.aged[1].limits) else 0.0
        assert better > worse - one.aged[1].off - other.aged[1].off - alike


def test_finalists_are_solved_and_agree_with_the_solves_beside_them(found):
    ranking, _ = found
    for each in ranking.ranked[:3]:
        between = ranking.response.at(each.aged[1].impedance)[0]
        assert each.aged[1].own_peak == approx(between, abs=ranking.mesh_error + each.aged[1].off + 0.1)


def test_new_is_never_worse_than_aged_and_low_never_worse_than_high(found):
    for each in found[0].ranked:
        # Of the chip itself: its neighbour is cooler the less of the chip's heat comes through.
        assert each.new[1].own_peak <= each.aged[1].own_peak + each.aged[1].off
        low, _, high = each.aged
        assert low.own_peak <= high.own_peak and each.new[0].own_peak <= each.new[2].own_peak


def test_where_another_component_limits_the_joints_own_peak_decides(found):
    ranking, _ = found
    others = [each.aged[1].own_peak for each in ranking.ranked if each.aged[1].limits == "neighbour"]
    assert len(others) > 3 and others == sorted(others)
    assert ranking.ranked[0].candidate.name == "silver, sintered"


def test_a_clamp_force_presses_on_the_area_of_the_joint(study):
    ranking = ranking_of(RankRequest(study, "chip.grease", force="40 N"))
    assert ranking.area == approx(80e-6) and ranking.pressure == approx(0.5e6)
    pad = next(each for each in ranking.ranked if each.candidate.name == "pad, soft, 3 W/m/K, 0.5 mm")
    assert pad.aged[1].impedance == approx(impedance_at(pad.candidate, AGED, pressure=0.5e6))
    assert pad.is_outside and any("0.5 MPa is outside the 20 kPa to 0.4 MPa" in line for line in pad.remarks)


def test_the_studys_own_clamp_is_taken(tmp_path):
    (tmp_path / "study.toml").write_text(text_of('{ candidate = "gel, dispensed", age = "new", force = "24 N" }'))
    assert ranking_of(RankRequest(tmp_path / "study.toml", "chip.interface")).pressure == approx(0.3e6)


def test_gallium_on_bare_aluminium_is_excluded_with_the_reason_and_plated_is_ranked(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(text_of(plate='material = "aluminium 6063-T5"'))
    ranking = ranking_of(RankRequest(path, "chip.grease"))
    ((candidate, reason),) = ranking.excluded
    assert candidate.name == "gallium alloy"
    assert (
        reason
        == 'attacks aluminium, which crumbles: plate; state barrier = "nickel" in the interface where it is plated'
    )
    assert all(each.candidate.kind != "liquid metal" for each in ranking.ranked)
    path.write_text(text_of(JOINT.replace(" }", ', barrier = "nickel" }'), 'material = "aluminium 6063-T5"'))
    ranking = ranking_of(RankRequest(path, "chip.grease"))
    (gallium,) = (each for each in ranking.ranked if each.candidate.kind == "liquid metal")
    assert not ranking.excluded and any("relies on the barrier, nickel" in line for line in gallium.remarks)


def test_gallium_is_excluded_by_an_aluminium_patch_under_the_joint_and_by_none_beside_it(tmp_path):
    path = tmp_path / "study.toml"
    for x, reasons in ((12, 1), (1, 0)):
        patch = f'patch = [{{ at = ["{x} mm", "10 mm"], size = ["4 mm", "4 mm"], material = "aluminium 6061-T6" }}]'
        path.write_text(text_of(plate=f'material = "copper C11000"\n{patch}'))
        found = [reason for _, reason in ranking_of(RankRequest(path, "chip.grease")).excluded]
        assert len(found) == reasons and all("crumbles: a patch of plate; state barrier" in each for each in found)


def test_the_users_own_liquid_metal_falls_under_the_same_rule(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(text_of(plate='material = "aluminium 6063-T5"'))
    own = tmp_path / "own.csv"
    own.write_text(
        "name,kind,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\nquick drop,liquid metal,2,4\nplain,,8,9\n"
    )
    ranking = ranking_of(RankRequest(path, "chip.grease", candidates=(own,)))
    assert {candidate.name for candidate, _ in ranking.excluded} == {"gallium alloy", "quick drop"}
    assert any(each.candidate.name == "plain" and each.questions for each in ranking.ranked)


def test_voids_of_the_joint_stay_whatever_fills_it_and_an_uneven_bond_line_is_said_to_be_left_out(study, found):
    void = 'void = [{ at = ["14 mm", "11 mm"], size = ["3 mm", "3 mm"] }]'
    study.write_text(text_of(JOINT.replace(" }", f", {void} }}")))
    voided = ranking_of(RankRequest(study, "chip.grease"))
    plain = {each.candidate.name: each.aged[1].own_peak for each in found[0].ranked}
    assert all(each.aged[1].own_peak > plain[each.candidate.name] + 0.2 for each in voided.ranked)
    study.write_text(
        text_of('{ name = "grease", bond_line = "50 um", conductivity = "4 W/m/K", tilt = ["10 um", "0 um"] }')
    )
    assert "tilt of the joint left out" in " ".join(ranking_of(RankRequest(study, "chip.grease")).notes)


def test_in_a_gap_only_what_reaches_across_is_ranked(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(
        text_of(
            '{ candidate = "pad, 6 W/m/K, 1 mm", age = "new", gap = "0.8 mm", gap_tolerance = "0.05 mm", force_limit = "8 N" }'
        )
    )
    ranking = ranking_of(RankRequest(path, "chip.interface"))
    reasons = {candidate.name: reason for candidate, reason in ranking.excluded}
    assert "pad, 6 W/m/K, 0.5 mm" in reasons and "does not reach across 0.8 mm" in reasons["pad, 6 W/m/K, 0.5 mm"]
    assert {each.candidate.kind for each in ranking.ranked} == {"pad"}
    lines = [line for each in ranking.ranked for line in each.remarks]
    assert any("more than the 8 N allowed" in line for line in lines)


def test_what_conducts_electricity_asks_for_containment_orientation_and_sealing(study, capsys):
    assert main(["rank", str(study), "--joint", "chip.grease", "--no-pictures"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Conducts electricity and flows (gallium alloy). " + " ".join(LIQUID_QUESTIONS) in out
    assert "Containment: what live parts" in out and "graphite pad, fibres upright" in out
    assert "gallium alloy: Attacks aluminium, which crumbles" in out and "measure your own at your pressure" in out
    assert "interpolation is off by at most" in out and "* solved on a mesh of its own" in out


def test_a_joint_hotter_than_a_candidate_bears_is_cautioned(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(text_of().replace('power = "30 W"', 'power = "150 W"'))
    ranking = ranking_of(RankRequest(path, "chip.grease"))
    hot = [each for each in ranking.ranked if each.is_too_hot]
    assert hot and all(any("more than the" in line and "it bears" in line for line in each.remarks) for each in hot)
    assert all(each.aged[1].joint > each.candidate.temperature_most for each in hot)


def test_a_load_case_and_another_component_may_be_asked_about(study, found):
    ranking = ranking_of(RankRequest(study, "chip.grease", case="hot", component="neighbour"))
    assert ranking.case == "hot" and ranking.component == "neighbour"
    plain = {each.candidate.name: each for each in found[0].ranked}
    for each in ranking.ranked[5:]:
        # Constant properties: 20 K more of ambient are 20 K more everywhere (board and air both).
        assert each.aged[1].peak - plain[each.candidate.name].aged[1].peak == approx(20.0, abs=0.2)


def test_where_nothing_has_a_limit_the_aged_peak_ranks(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(text_of(limit='"none"').replace('limit = "70 degC"', 'limit = "none"'))
    ranking = ranking_of(RankRequest(path, "chip.grease"))
    peaks = [each.aged[1].own_peak for each in ranking.ranked]
    assert peaks == sorted(peaks) and ranking.ranked[0].aged[1].margin is None
    assert "peak [°C]" in {words.text for words in rank_picture(ranking).words}


def test_the_files_say_what_the_terminal_says(study, capsys):
    arguments = ["rank", str(study), "--joint", "chip.grease", "--pressure", "300 kPa"]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    folder = study.parent / "results"
    assert sorted(os.listdir(folder)) == ["rank.csv", "rank.json", "rank.png"]
    record = json.loads((folder / "rank.json").read_text())
    assert (
        record["format"] == "plancha-rank/1"
        and record["pressure_kPa"] == approx(300)
        and record["area_mm2"] == approx(80)
    )
    with (folder / "rank.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["name"] for row in rows] == [each["name"] for each in record["candidates"]]
    for number, (row, each) in enumerate(zip(rows, record["candidates"]), 1):
        assert each["rank"] == int(row["rank"]) == number and each["source"] == row["source"]
        assert float(row["margin aged typical [K]"]) == approx(each["aged"][1]["margin_K"], abs=1e-3)
        (line,) = (line for line in out.splitlines() if line.startswith(f"{number:3d} "))
        assert each["name"].split()[0] in line and f"{each['aged'][1]['margin_K']:+.1f}" in line.split()


def test_a_candidate_at_which_two_components_limit_alike_is_not_put_before_a_better_joint(study):
    own = study.parent / "own.csv"
    rows = [f"mine {number},{1 + number / 8},{2 + number / 8}" for number in range(200)]
    own.write_text("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n" + "\n".join(rows))
    ranking = ranking_of(RankRequest(study, "chip.grease", candidates=(own,)))
    mine = [each.aged[1].impedance for each in ranking.ranked if each.candidate.name.startswith("mine")]
    assert mine == sorted(mine)


def test_hundreds_of_own_candidates_cost_no_more_solves(study, found):
    own = study.parent / "own.csv"
    rows = [f"mine {number},{2 + number / 4},{4 + number / 3}" for number in range(300)]
    own.write_text("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n" + "\n".join(rows))
    ranking = ranking_of(RankRequest(study, "chip.grease", candidates=(own,)))
    assert len(ranking.ranked) == 300 + len(shipped_candidates())
    assert len(ranking.response.impedances) == len(found[0].response.impedances)
    assert len(ranking_record(ranking).candidates) == len(ranking.ranked)


@pytest.mark.skipif(bool(missing_libraries()), reason="the system's drawing libraries are missing")
def test_the_picture_has_a_row_a_unit_and_no_words_beyond_the_page(found):
    picture = rank_picture(found[0])
    texts = [words.text for words in picture.words]
    assert "margin of the component that limits [K]" in texts and "aged [K]" in texts
    assert any(text.startswith("1 silver") for text in texts) and any(text.startswith("20 ") for text in texts)
    for words in picture.words:
        assert words.box.left >= picture.window.left and words.box.right <= picture.window.right
    image = render(picture)
    assert image.shape[:2] == (picture.size[1], picture.size[0]) and image.std() > 5


def test_joints_of_plates_are_ranked_too_and_all_joints_are_named(tmp_path):
    text = (
        text_of().replace("[plate]\n", '[[plate]]\nname = "plate"\n').replace("[cooling]\n", '[cooling]\non = "sink"\n')
    )
    text = text.replace('limit = "70', 'on = "plate"\nlimit = "60').replace('limit = "85', 'on = "plate"\nlimit = "85')
    sink = '[[plate]]\nname = "sink"\nsize = ["40 mm", "30 mm"]\nthickness = "4 mm"\nmaterial = "copper C11000"\non = "plate"\n'
    text = text.replace("[cooling]\n", sink + 'interface = "perfect"\n[cooling]\n')
    path = tmp_path / "study.toml"
    path.write_text(text)
    case = read_study(path).cases[0]
    assert joint_names(case) == ["chip.solder", "chip.grease", "neighbour.interface"]
    ranking = ranking_of(RankRequest(path, "sink.interface"))
    assert ranking.area == approx(40e-3 * 30e-3) and ranking.component == "chip"
    path.write_text(text.replace('interface = "perfect"', 'interface = { impedance = "9 mm^2 K/W" }'))
    again = ranking_of(RankRequest(path, "sink.interface"))
    assert [each.candidate.name for each in again.ranked] == [each.candidate.name for each in ranking.ranked]


def test_all_that_is_wrong_is_told_at_once(study):
    own = study.parent / "own.csv"
    own.write_text("name,impedance [mm^2 K/W]\nx,y\n")
    with pytest.raises(StudyError) as refused:
        ranking_of(RankRequest(study, "chip.greese", "cold", "chop", (own,), "3 mm", "5 kg"))
    told = [str(fault) for fault in refused.value.faults]
    assert told[0] == "--case: no load case has this name (found: cold); allowed: as written, hot"
    assert told[1].startswith('--pressure: "3 mm" is a length, a pressure is due')
    assert told[2].startswith('--force: "5 kg" is a mass, a force is due')
    assert told[3].startswith("--pressure, --force: one of them sets the bond line")
    assert "there is no column aged impedance" in told[4]
    assert told[5] == (
        "--joint: nothing in the study has this name (found: chip.greese); allowed: chip.solder, chip.grease, neighbour.interface; "
        'hint: did you mean "chip.grease"?'
    )
    assert told[6].startswith("--component: no component has this name (found: chop)") and len(told) == 7


@pytest.mark.parametrize(
    ("joint", "words"),
    [
        ("chip.lid", "this is no interface"),
        ("chip.grease.age", "this is no interface"),
        ("chip", "nothing in the study has this name"),
        ("cooling", "nothing in the study has this name"),
        ("", "nothing in the study has this name"),
        ("plate.interface", "on and interface belong together"),
    ],
)
def test_what_is_no_joint_is_refused(study, joint, words, capsys):
    assert main(["rank", str(study), "--joint", joint, "--no-pictures"]) == 2
    assert words in capsys.readouterr().err and not (study.parent / "results").exists()


def test_an_interrupt_leaves_nothing_behind(study, monkeypatch, capsys):
    from plancha.app import rank_files

    def interrupted(*_):
        """Ctrl-C while the files are written."""
        raise KeyboardInterrupt

    monkeypatch.setattr(rank_files, "_write_table", interrupted)
    assert main(["rank", str(study), "--joint", "chip.grease"]) == 130
    assert "nothing was written" in capsys.readouterr().err and not (study.parent / "results").exists()


def test_the_best_candidate_can_be_pasted_into_the_study(study, capsys):
    assert main(["rank", str(study), "--joint", "chip.grease", "--pressure", "300 kPa", "--no-pictures"]) == 0
    pasted = capsys.readouterr().out.split("as chip.grease:")[1].split("\n")[1].strip()
    study.write_text(text_of(pasted))
    stack = read_study(study).cases[0].stack
    best = find_candidate(pasted.split('candidate = "')[1].split('"')[0])
    assert joint_names(read_study(study).cases[0])[1] == "chip.grease"
    assert stack.joints[1].impedance == approx(impedance_at(best, AGED, pressure=300e3))
