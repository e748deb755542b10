"""The report: valid HTML that holds all it shows, says what result.json says, and reads the same to eye, ear and printer."""

import base64
import hashlib
import json
import re
import shutil
from itertools import pairwise
from pathlib import Path

import html5lib
import pytest

from plancha.app import pdf
from plancha.app.cli import main
from plancha.app.explained import RUNG_WORDS, rung_words
from plancha.app.left_out import LEFT_OUT
from plancha.app.result import Result
from plancha.app.verdict import verdict_of
from plancha.fem.ladder import RUNGS, rung_names
from plancha.geometry.study_file import files_named, read_study

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
PNG = b"\x89PNG\r\n\x1a\n"
HOSTILE = "<script>alert(1)</script> & \"'"


def parsed(page: Path):
    """The tree of a page, by a parser that follows the HTML standard; a fault of the markup fails the test."""
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    tree = parser.parse(page.read_text(encoding="utf-8"))
    assert parser.errors == []
    return tree


def words_of(element) -> str:
    return re.sub(r"\s+", " ", "".join(element.itertext())).strip()


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The study that `plancha new` writes: its report without pictures, and its result."""
    folder = tmp_path_factory.mktemp("plain")
    study = folder / "first" / "study.toml"
    assert main(["new", str(study.parent)]) == 0
    assert main(["solve", str(study), "--no-pictures", "-o", str(folder)]) == 0
    assert main(["report", str(study), "--no-pictures", "-o", str(folder / "report.html")]) == 0
    return folder


@pytest.fixture(scope="module", params=["radar", "side_blower", "layered_chamber"])
def example(request, tmp_path_factory):
    """The report of an example with its pictures, and, of the radar, with its readings."""
    page = tmp_path_factory.mktemp(request.param) / "report.html"
    study = EXAMPLES / request.param / "study.toml"
    readings = study.with_name("readings.csv")
    more = ["--readings", str(readings)] if readings.exists() else []
    assert main(["report", str(study), "-o", str(page), *more]) == 0
    return request.param, page


def test_the_page_is_valid_and_holds_all_it_shows(example):
    _, page = example
    tree = parsed(page)
    addresses = [value for each in tree.iter() for key, value in each.attrib.items() if key in ("src", "href", "data")]
    assert addresses and all(address.startswith(("#", "data:image/png;base64,")) for address in addresses)
    assert tree.find(".//script") is None and tree.find(".//link") is None
    style = "".join(words_of(each) for each in tree.iter("style"))
    assert "url(" not in style and "@import" not in style and "{{" not in style


def test_links_lead_to_chapters_and_every_identifier_is_given_once(example):
    tree = parsed(example[1])
    given = [each.attrib["id"] for each in tree.iter() if "id" in each.attrib]
    assert len(given) == len(set(given))
    used = [each.attrib["href"].removeprefix("#") for each in tree.iter("a")]
    used += [each.attrib["aria-labelledby"] for each in tree.iter() if "aria-labelledby" in each.attrib]
    assert used and set(used) <= set(given)


def test_headings_come_in_order_and_tables_say_what_they_are(example):
    tree = parsed(example[1])
    levels = [int(each.tag[1]) for each in tree.iter() if re.fullmatch(r"h[1-6]", str(each.tag))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for table in tree.iter("table"):
        assert words_of(table.find("caption"))
        heads = list(table.iter("th"))
        assert heads and all(each.attrib["scope"] in ("row", "col") for each in heads)
        widths = {len(list(row)) for row in table.iter("tr")}
        assert len(widths) == 1, words_of(table.find("caption"))


def test_every_picture_is_a_png_and_is_told_in_words_with_its_numbers(example):
    name, page = example
    pictures = list(parsed(page).iter("img"))
    assert len(pictures) == {"radar": 5, "side_blower": 7, "layered_chamber": 4}[name]
    for each in pictures:
        content = base64.b64decode(each.attrib["src"].partition(",")[2])
        assert content.startswith(PNG)
        assert re.search(r"\d (°C|K|W|m³/h|K/W|W/m²/K)\b", each.attrib["alt"]), each.attrib["alt"]
    hottest = re.search(r"hottest point is ([\d.]+) °C", pictures[0].attrib["alt"])
    assert hottest and hottest[1] in words_of(parsed(page).find(".//tbody"))


def test_measured_readings_stand_beside_the_model(example):
    name, page = example
    captions = [words_of(each) for each in parsed(page).iter("caption")]
    assert ("Model against measurement" in captions) == (name == "radar")


def test_chapters_follow_a_readers_questions(example):
    chapters = [re.sub(r"^\d+\. ", "", words_of(each)) for each in parsed(example[1]).iter("h2")][1:]
    chapters = [each for each in chapters if each != "Measured against model"]
    assert chapters == [
        "The question, in the study's own words",
        "Margins",
        "Pictures of the study as written",
        "Where the kelvin go",
        "Spreading, coupling and ways out",
        "Inputs as they were understood",
        "Checks",
        "What the model leaves out",
        "Cautions",
        "To reproduce this report",
        "The study file",
    ]


def test_the_answer_is_what_the_margins_of_result_json_say(plain):
    """Margins taken from result.json by plain arithmetic, apart from the product's own choice of the worst case."""
    result = json.loads((plain / "result.json").read_text())
    margins = [(each["margin_K"], each, case) for case in result["cases"] for each in case["components"]]
    least, component, case = min(margins, key=lambda triple: triple[0])
    answer = words_of(next(each for each in parsed(plain / "report.html").iter("section")))
    assert ("It holds" in answer) == (least > 0)
    assert f"{component['peak_degC']:.1f} °C against its limit of {component['limit_degC']:.1f} °C" in answer
    assert f"{abs(least):.1f} K" in answer and case["name"] in answer
    budget = next(each for each in case["budgets"] if each["component"] == component["name"])
    step = max(budget["steps"], key=lambda each: each["kelvin"])
    assert f"“{step['name']}” with {step['kelvin']:.1f} K" in answer


def test_every_margin_and_step_of_result_json_stands_in_the_page(plain):
    result = json.loads((plain / "result.json").read_text())
    cells = {words_of(each).strip("<> ") for each in parsed(plain / "report.html").iter("td")}
    for case in result["cases"]:
        assert {f"{each['margin_K']:+.1f}" for each in case["components"]} <= cells
    assert {f"{step['kelvin']:.1f}" for step in result["cases"][0]["budgets"][0]["steps"]} <= cells
    assert {f"{rung['rise_K']:.1f}" for rung in result["cases"][0]["ladder"][0]["rungs"]} <= cells


def test_fingerprints_are_those_of_the_files(plain):
    page = words_of(parsed(plain / "report.html"))
    for name in ("study.toml", "power_map.csv"):
        assert f"{name}{hashlib.sha256((plain / 'first' / name).read_bytes()).hexdigest()}" in page.replace(" ", "")
    assert (plain / "first" / "study.toml").read_text() in "".join(parsed(plain / "report.html").itertext())


def test_fan_curves_and_maps_of_load_cases_are_files_of_a_study():
    assert files_named(read_study(EXAMPLES / "side_blower" / "study.toml")) == ["blower.csv"]
    assert files_named(read_study(EXAMPLES / "inlaid_base" / "study.toml")) == ["sound.png", "voids.png"]


def test_all_that_the_model_leaves_out_is_said_as_in_the_readme(plain):
    readme = re.sub(r"\s+", " ", (ROOT / "README.md").read_text(encoding="utf-8"))
    page = words_of(parsed(plain / "report.html"))
    for sentence in LEFT_OUT:
        assert sentence in readme
        assert sentence.replace("`", "") in page


def test_the_safety_words_are_in_every_report(plain, example):
    for page in (plain / "report.html", example[1]):
        words = words_of(parsed(page))
        assert "can burn within seconds" in words and "no substitute for measurement" in words
    assert ("blades cut" in words_of(parsed(example[1]))) == (example[0] == "side_blower")


def test_names_of_the_study_are_text_and_never_markup(tmp_path):
    assert main(["new", str(tmp_path / "first")]) == 0
    study = tmp_path / "first" / "study.toml"
    name = json.dumps(HOSTILE.replace("/", ""))
    text = study.read_text().replace('title = "First study (invented)"', f"title = {json.dumps(HOSTILE)}")
    text = text.replace('name = "processor"', f"name = {name}").replace("processor.interface", f"{name}.interface")
    study.write_text("# a head with </pre><img src=x>\n" + text)
    page = tmp_path / "report.html"
    assert main(["report", str(study), "--no-pictures", "-o", str(page)]) == 0
    tree = parsed(page)
    assert tree.find(".//script") is None and tree.find(".//img") is None
    assert words_of(tree.find(".//h1")) == HOSTILE
    assert "a head with </pre><img src=x>" in words_of(tree.find(".//pre"))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["-o", "report.pdf"], "ends in .html"),
        (["--case", "hot day"], "--readings"),
        (["--readings", "none.csv"], "none.csv"),
    ],
)
def test_bad_requests_are_refused_before_the_work(tmp_path, monkeypatch, capsys, more, words):
    monkeypatch.chdir(tmp_path)
    main(["new", "first"])
    assert main(["report", "first/study.toml", *more]) == 2
    assert words in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["first", "power_map.csv", "study.toml"]


def test_without_a_browser_a_pdf_is_refused_with_what_helps_and_nothing_is_written(tmp_path, monkeypatch, capsys):
    main(["new", str(tmp_path / "first")])
    monkeypatch.setattr(shutil, "which", lambda name: None)
    page = tmp_path / "out" / "report.html"
    assert main(["report", str(tmp_path / "first" / "study.toml"), "-o", str(page), "--pdf"]) == 1
    err = capsys.readouterr().err
    assert "Chromium" in err and "print it to PDF" in err and "nothing was written" in err
    assert not page.parent.exists()


def test_a_browser_that_fails_leaves_nothing_behind(tmp_path, monkeypatch, capsys):
    main(["new", str(tmp_path / "first")])
    monkeypatch.setattr(pdf, "BROWSERS", ("false",))
    page = tmp_path / "out" / "report.html"
    command = ["report", str(tmp_path / "first" / "study.toml"), "-o", str(page), "--pdf", "--no-pictures"]
    assert main(command) == 1
    assert "made no PDF" in capsys.readouterr().err and not page.parent.exists()


@pytest.mark.skipif(not any(map(shutil.which, pdf.BROWSERS)), reason="no Chromium on this machine")
@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])  # ISO 216; ANSI/ASME Y14.1
def test_a_pdf_has_the_paper_that_was_asked_for(tmp_path, paper, points):
    main(["new", str(tmp_path / "first")])
    page = tmp_path / "report.html"
    command = ["report", str(tmp_path / "first" / "study.toml"), "-o", str(page), "--no-pictures", "--pdf"]
    assert main([*command, "--paper", paper]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["first", "report.html", "report.pdf"]
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", page.with_suffix(".pdf").read_bytes())
    assert boxes and all((round(float(w)), round(float(h))) == points for w, h in boxes)


@pytest.fixture
def result(plain) -> Result:
    """The result of the first study, to be bent."""
    return Result.model_validate_json((plain / "result.json").read_text())


def bent(result: Result, **changes) -> Result:
    """The study as written alone, with other facts of its component."""
    case = result.cases[0]
    component = case.components[0].model_copy(update=changes)
    limiting = component.name if component.margin_K is not None else None
    return result.model_copy(
        update={"cases": [case.model_copy(update={"components": [component], "limiting_component": limiting})]}
    )


def test_a_margin_within_the_numerical_error_is_too_close_to_tell(result):
    verdict = verdict_of(bent(result, margin_K=0.2, peak_error_K=0.3))
    assert verdict.holds is None and "Too close" in verdict.headline


def test_a_margin_beyond_the_numerical_error_is_judged_either_way(result):
    assert verdict_of(bent(result, margin_K=0.4, peak_error_K=0.3)).holds is True
    verdict = verdict_of(bent(result, margin_K=-0.4, peak_error_K=0.3))
    assert verdict.holds is False and "0.4 K too much" in verdict.sentences[0]


def test_without_limits_nothing_is_judged(result):
    cool, hot = (
        bent(result, margin_K=None, limit_degC=None),
        bent(result, margin_K=None, limit_degC=None, peak_degC=140.0),
    )
    hotter = hot.cases[0].model_copy(update={"name": "noon"})
    verdict = verdict_of(cool.model_copy(update={"cases": [*cool.cases, hotter]}))
    assert verdict.holds is None and "No component has a limit" in verdict.headline
    assert "140.0 °C in “noon”" in verdict.sentences[0]


def test_a_study_without_components_or_power_has_a_report_too(tmp_path):
    study = tmp_path / "study.toml"
    study.write_text(
        '#:schema ./study.schema.json\ntitle = "a bare plate (invented)"\nambient = "25 degC"\n[plate]\nsize = ["40 mm", "30 mm"]\n'
        'thickness = "2 mm"\nmaterial = "copper C11000"\n[cooling]\ncoefficient = "100 W/m^2/K"\n'
    )
    assert main(["report", str(study), "-o", str(tmp_path / "report.html")]) == 0
    tree = parsed(tmp_path / "report.html")
    assert len(list(tree.iter("img"))) == 1
    assert "There is no component to judge" in words_of(tree) and "in the study's own words" not in words_of(tree)


def test_every_rung_of_the_ladder_has_words():
    last = [rung_names(case.stack)[-1] for name in ("radar", "side_blower") for case in _cases(name)]
    parts = {part for name in last for part in name.split(", ")}
    assert set(RUNGS) | parts <= set(RUNG_WORDS)
    assert rung_words("k(T), fins and coolant") == "; ".join([RUNG_WORDS["k(T)"], RUNG_WORDS["fins and coolant"]])


def _cases(name):
    return read_study(EXAMPLES / name / "study.toml").cases
