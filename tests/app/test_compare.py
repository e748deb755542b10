"""Comparing results: what differs is told and marked, what does not is not, and files that are none are refused."""

import json
import shutil

import numpy as np
import pytest

from plancha.app.cli import main
from plancha.app.colours import DIFFERENCE, LUMINANCE, colours
from plancha.app.compare import Line, case_lines, inputs_of, open_results, read_result
from plancha.app.compare_picture import (
    bodies_of,
    difference_picture,
    face_field,
    read_fields,
    values_at,
    why_no_picture,
)
from plancha.app.plan_drawing import Surface, render
from plancha.app.shared_libraries import missing_libraries
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE
from plancha.geometry.faults import StudyError

# Invented. The whole face of the plate is heated evenly: one-dimensional, so differences are known in closed form.
EVEN = """
title = "even heat (invented)"
ambient = "25 degC"
[plate]
size = ["40 mm", "30 mm"]
thickness = "{thickness} mm"
material = {{ name = "metal", conductivity = "200 W/m/K", density = "8000 kg/m3" }}
[[component]]
name = "heater"
at = ["0 mm", "0 mm"]
size = ["40 mm", "30 mm"]
limit = "90 degC"
power = "{power} W"
layers = []
[cooling]
coefficient = "2000 W/m^2/K"
[[case]]
name = "hot"
ambient = "{hot} degC"
"""
AREA = 0.04 * 0.03


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    """Folders of results: thin, thick (other thickness and power), same (as thin, solved apart)."""
    folder = tmp_path_factory.mktemp("compare")
    texts = {
        "thin": EVEN.format(thickness=2, power=60, hot=45),
        "thick": EVEN.format(thickness=4, power=66, hot=50),
        "same": EVEN.format(thickness=2, power=60, hot=45),
    }
    for name, text in texts.items():
        (folder / f"{name}.toml").write_text(text)
        assert main(["solve", str(folder / f"{name}.toml"), "-o", str(folder / name), "--no-pictures"]) == 0
    return folder


def squeezed(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.split("\n")]


def test_inputs_that_differ_are_listed_and_no_others(solved, capsys):
    assert main(["compare", str(solved / "thin"), str(solved / "thick" / "result.json")]) == 0
    lines = squeezed(capsys.readouterr().out)
    assert "plate.thickness 2 mm 4 mm" in lines and "heater.power 60 W 66 W" in lines
    assert "[hot] ambient 45 degC 50 degC" in lines
    assert not any(line.startswith(("cooling.coefficient", "ambient", "heater.limit")) for line in lines)


def test_differences_are_those_of_the_closed_form(solved):
    thin, thick = open_results([solved / "thin", solved / "thick"])
    lines = {line.name: line for line in case_lines(thin.result.cases[0], thick.result.cases[0])}
    rise = {name: q / AREA * (t / 200 + 1 / 2000) for name, q, t in (("thin", 60, 2e-3), ("thick", 66, 4e-3))}
    peak = lines["heater: peak, degC"]
    assert peak.difference == pytest.approx(rise["thick"] - rise["thin"], rel=1e-6) and peak.differs
    assert peak.per_cent == pytest.approx(100 * (rise["thick"] / rise["thin"] - 1), rel=1e-6)
    assert lines["heater: margin, K"].difference == pytest.approx(rise["thin"] - rise["thick"], rel=1e-6)
    power = lines["sustainable power, W"]
    assert power.second == pytest.approx(66 * 65 / rise["thick"], rel=1e-3)  # the search for the factor stops there


def test_the_error_of_the_power_counts_how_little_a_part_of_it_moves_the_limit(tmp_path):
    """Even heat P + Q into a plate, of which only P scales: dT/dP = (t/k + 1/h) / A, the rise at the limit 65 K."""
    fixed = '[[component]]\nname = "fixed"\nat = ["0 mm", "0 mm"]\nsize = ["40 mm", "30 mm"]\nlimit = "none"\npower = "40 W"\n'
    text = EVEN.format(thickness=2, power=20, hot=45).replace(
        "[cooling]", fixed + 'layers = []\nface = "cooled side"\n[cooling]'
    )
    (tmp_path / "study.toml").write_text('sustainable = "heater"\n' + text)
    assert main(["solve", str(tmp_path / "study.toml"), "--no-pictures"]) == 0
    case = open_results([tmp_path / "results"] * 2)[0].result.cases[0]
    heater, slope = case.components[0], (2e-3 / 200 + 1 / 2000) / AREA
    expected = heater.peak_error_K / heater.peak_rise_K * 65 / slope
    line = next(line for line in case_lines(case, case) if line.name == "sustainable power, W")
    assert line.error == pytest.approx(2 * expected, rel=1e-3) and expected > 0


def test_spreading_in_different_bodies_is_not_compared(solved):
    first, second = (each.result.cases[0] for each in open_results([solved / "thin", solved / "thick"]))
    names = [line.name for line in case_lines(first, second)]
    moved = second.model_copy(update={"spreading": [second.spreading[0].model_copy(update={"body": "lid"})]})
    assert [name for name in names if "spreading" in name] and not any(
        "spreading" in line.name for line in case_lines(first, moved)
    )


def test_nothing_is_marked_between_equal_results(solved, capsys):
    assert main(["compare", str(solved / "thin"), str(solved / "same")]) == 0
    out = capsys.readouterr().out
    assert "The inputs are the same." in out
    assert not any(line.startswith(">") for line in out.split("\n"))
    assert out.count("Nothing differs by more than both numerical errors.") == 3


def test_a_third_result_is_compared_with_the_first(solved, capsys):
    assert main(["compare", *(str(solved / name) for name in ("thin", "same", "thick"))]) == 0
    out = capsys.readouterr().out
    assert 'Case "hot": B against A' in out and 'Case "hot": C against A' in out


@pytest.mark.parametrize(
    ("line", "differs"),
    [
        (Line("a", 80.0, 80.3, 1, 0.2), True),
        (Line("a", 80.0, 80.3, 1, 0.4), False),
        (Line("a", 80.0, 80.04, 1, 0.0), False),
        (Line("a", 80.0, None, 1, 0.0), False),
        (Line("a", 80.0, 90.0, 1, None), False),
    ],
)
def test_a_line_differs_only_beyond_both_errors_and_the_last_digit(line, differs):
    assert line.differs is differs


def test_other_contents_of_a_csv_file_show(solved, tmp_path):
    def solve(name: str, watts: int):
        (tmp_path / "map.csv").write_text(f"10,{watts}\n")
        text = EVEN.format(thickness=2, power=60, hot=45).replace('"60 W"', '"60 W"\nmap = { file = "map.csv", unit = "W", '
                                                                'seen_from = "cooled side", scale = true }')  # fmt: skip
        (tmp_path / "study.toml").write_text(text)
        assert main(["solve", str(tmp_path / "study.toml"), "-o", str(tmp_path / name), "--no-pictures"]) == 0
        return inputs_of(read_result(tmp_path / name / "result.json"))

    one, two = solve("a", 20), solve("b", 30)
    assert [name for name in one if one[name] != two[name]] == ["contents of map.csv"]


def test_what_only_one_result_has_is_said(solved, tmp_path, capsys):
    text = EVEN.format(thickness=2, power=60, hot=45).replace('"hot"', '"cold"').replace('"heater"', '"stove"')
    (tmp_path / "study.toml").write_text(text)
    main(["solve", str(tmp_path / "study.toml"), "--no-pictures"])
    capsys.readouterr()
    assert main(["compare", str(solved / "thin"), str(tmp_path / "results")]) == 0
    out = capsys.readouterr().out
    assert "Only A has the load case hot." in out and "Only B has the component stove." in out


def broken(folder, name: str, change) -> str:
    """A copy of a result with something wrong."""
    table = json.loads((folder / "thin" / "result.json").read_text())
    text = change(table)
    (folder / name).write_text(text if isinstance(text, str) else json.dumps(table))
    return str(folder / name)


def test_every_file_that_is_no_result_is_told(solved, capsys):
    def old(table):
        table["schema"] = "plancha-result/0"

    def cut(table):
        del table["cases"][0]["components"][0]["peak_degC"]

    def nan(table):
        table["mass_g"] = float("nan")

    def text(table):
        table["mass_g"] = "nan"

    def faceless(table):
        table["cases"][0]["spreading"][0]["face"] = "the other side"

    files = [
        str(solved / "nowhere"),
        broken(solved, "text.json", lambda _: "hello"),
        broken(solved, "other.json", lambda _: '{"schema": 5}'),
        broken(solved, "list.json", lambda _: "[1]"),
        broken(solved, "old.json", old),
        broken(solved, "cut.json", cut),
        broken(solved, "nan.json", nan),
        broken(solved, "endless.json", lambda table: json.dumps(table).replace('"mass_g": ', '"mass_g": 1e400, "x": ')),
        broken(solved, "words.json", text),
        broken(solved, "faceless.json", faceless),
        "x" * 300,
    ]
    assert main(["compare", str(solved / "thin"), *files]) == 2
    told = capsys.readouterr().err.strip().split("\n")
    assert [line.split(": ", 1)[0] for line in told[:4]] == files[:4]
    assert "there is no such file" in told[0] and "not JSON" in told[1]
    assert all("this is no Plancha result" in line for line in told[2:4])
    assert "schema: the result has another version (found: plancha-result/0); allowed: plancha-result/1" in told[4]
    assert "cases.0.components.0.peak_degC: this number is missing" in told[5]
    assert "a number that is none (found: NaN)" in told[6] and "a number that is none (found: 1e400)" in told[7]
    assert "mass_g: not as it should be: Input should be a valid number (found: nan)" in told[8]
    assert "cases.0.spreading.0.face: not as it should be" in told[9]
    assert "the file cannot be read: File name too long" in told[10]


def test_one_result_is_not_enough(solved, capsys):
    assert main(["compare", str(solved / "thin")]) == 2
    assert "two results or more are due (found: 1)" in capsys.readouterr().err


def test_the_input_files_stay_as_they_are(solved):
    before = (solved / "thin" / "result.json").read_bytes(), (solved / "thin" / "fields.vtu").read_bytes()
    main(["compare", str(solved / "thin"), str(solved / "thick")])
    assert before == ((solved / "thin" / "result.json").read_bytes(), (solved / "thin" / "fields.vtu").read_bytes())


@pytest.mark.parametrize("face", [COMPONENT_SIDE, COOLED_SIDE])
def test_faces_read_back_carry_the_closed_form(solved, face):
    mesh = read_fields(solved / "thin" / "fields.vtu")
    field = face_field(mesh, bodies_of(mesh)["plate"], face)
    assert field.outline.area == pytest.approx(AREA, rel=1e-9)
    depth = 2e-3 if face == COMPONENT_SIDE else 0.0
    points = np.array([[0.001, 0.001], [0.0211, 0.0133], [0.05, 0.01]])
    values = values_at(field, points)
    assert values[:2] == pytest.approx(25 + 60 / AREA * (depth / 200 + 1 / 2000), rel=1e-6)
    assert np.isnan(values[2])


def test_diverging_colours_darken_evenly_from_the_middle_to_both_ends():
    rgb = colours(DIFFERENCE) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    grey = np.cbrt(linear @ LUMINANCE)
    below, above = grey[:128], grey[128:]
    assert (np.diff(below) > 0).all() and (np.diff(above) < 0).all()
    assert grey[127:129].min() > 0.9 and below == pytest.approx(above[::-1], abs=0.01)
    # Blue against red-brown: the ends differ for the colour-blind too, who tell blue from yellow.
    assert rgb[20, 2] - rgb[20, 0] > 0.3 and rgb[-20, 0] - rgb[-20, 2] > 0.3


@pytest.mark.skipif(bool(missing_libraries()), reason="rendering needs the system's graphics libraries")
def test_the_picture_shows_the_difference_in_the_middle_of_its_scale(solved, capsys):
    assert main(["compare", str(solved / "thin"), str(solved / "thick"), "-o", str(solved / "difference")]) == 0
    assert (solved / "difference" / "difference-A-B.png").is_file()
    picture = difference_picture(*open_results([solved / "thin", solved / "thick"]))
    surface = next(part for part in picture.parts if isinstance(part, Surface))
    expected = 66 / AREA * (4e-3 / 200 + 1 / 2000) - 60 / AREA * (2e-3 / 200 + 1 / 2000)
    assert surface.values == pytest.approx(expected, rel=1e-5)
    assert surface.limits[0] == -surface.limits[1] and surface.limits[1] == pytest.approx(expected, rel=1e-5)
    assert render(picture).std() > 10


def test_other_bodies_or_no_fields_make_no_picture_and_it_is_said(solved, tmp_path, capsys):
    (tmp_path / "alone").mkdir()
    shutil.copy(solved / "thick" / "result.json", tmp_path / "alone")
    assert main(["compare", str(solved / "thin"), str(tmp_path / "alone"), "-o", str(tmp_path / "out")]) == 0
    assert "no fields.vtu beside B" in capsys.readouterr().out
    assert not (tmp_path / "out").exists()


def test_two_results_of_one_folder_do_not_share_its_field(solved, tmp_path, capsys):
    """fields.vtu belongs to the result.json beside it; a result kept under another name has none."""
    shutil.copytree(solved / "thick", tmp_path / "both")
    shutil.copy(solved / "thin" / "result.json", tmp_path / "both" / "thin.json")
    names = [str(tmp_path / "both" / name) for name in ("result.json", "thin.json")]
    assert main(["compare", *names, "-o", str(tmp_path / "out")]) == 0
    assert "no fields.vtu beside B" in capsys.readouterr().out


def test_a_field_of_another_study_is_told(solved, tmp_path):
    shutil.copytree(solved / "thick", tmp_path / "bad")
    text = (tmp_path / "bad" / "result.json").read_text()
    (tmp_path / "bad" / "result.json").write_text(
        text.replace('"body":"plate"', '"body":"lid"').replace('"body": "plate"', '"body": "lid"')
    )
    pair = open_results([tmp_path / "bad", solved / "thin"])
    assert why_no_picture(*pair) == "no picture: fields.vtu beside A has no body lid"


def test_a_field_whose_bodies_have_no_cells_is_refused(solved, tmp_path):
    text = (solved / "thick" / "fields.vtu").read_bytes()
    extra = b'<FieldData>\n<DataArray type="Int64" Name="ghost" NumberOfTuples="2" format="ascii">7 3</DataArray>\n'
    (tmp_path / "fields.vtu").write_bytes(text.replace(b"<FieldData>\n", extra))
    with pytest.raises(StudyError, match="holds no bodies"):
        read_fields(tmp_path / "fields.vtu")


def test_a_field_that_is_none_is_refused(solved, tmp_path, capsys):
    shutil.copytree(solved / "thick", tmp_path / "bad")
    (tmp_path / "bad" / "fields.vtu").write_text("no field")
    assert main(["compare", str(solved / "thin"), str(tmp_path / "bad"), "-o", str(tmp_path / "out")]) == 2
    assert "this is no field that Plancha wrote" in capsys.readouterr().err
    assert why_no_picture(*open_results([solved / "thin", solved / "thick"])) == ""
