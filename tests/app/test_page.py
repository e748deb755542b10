"""The page in a real browser: what a user does with it, what goes wrong, and that those who do not see or point can use it too."""

import json
import time
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import psutil
import pytest
from PIL import Image

from plancha.app.cli import main
from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.app.result import Result
from plancha.geometry.study_file import read_study

FEWEST = {"power": 1, "film": 5, "coefficient": 5}  # colours of views of a few cells; smooth fields have many
WIDE, PHONE = {"width": 1440, "height": 1000}, {"width": 360, "height": 780}


def written(folder: Path, text: str = NEW_STUDY, grid: str = NEW_MAP) -> tuple[Path, Path]:
    """A study and its map in a folder."""
    (folder / "study.toml").write_text(text)
    (folder / "power_map.csv").write_text(grid)
    return folder / "study.toml", folder / "power_map.csv"


def solved(folder: Path, text: str) -> Result:
    """What the command line finds for a study."""
    study, _ = written(folder, text)
    assert main(["solve", str(study), "-o", str(folder / "out"), "--no-pictures"]) == 0
    return Result.model_validate_json((folder / "out" / "result.json").read_text())


def downloaded(browser, name: str) -> Path:
    """A file that the page gave, once it is whole."""
    path = browser.downloads / name
    end = time.monotonic() + 60
    while not is_whole(path):
        assert time.monotonic() < end, f"{name} did not come: {browser.text('status')} {browser.text('faults')}"
        time.sleep(0.05)
    return path


def is_whole(path: Path) -> bool:
    """Whether a download is there with something in it: the browser makes an empty file first, and moves the whole one onto it."""
    return path.exists() and path.stat().st_size > 0 and not any(path.parent.glob("*.crdownload"))


@pytest.mark.parametrize("name", ["first", "tray", "cold_plate"])
def test_every_view_of_every_example_is_shown(browser, name):
    browser.example(name)
    for key in browser.run("return [...document.getElementById('view').options].map((each) => each.value)"):
        before = browser.run("return document.body.dataset.preview, performance.now()")
        script = (
            "const v = document.getElementById('view'); v.value = arguments[0]; v.dispatchEvent(new Event('change'))"
        )
        browser.run(script, key)
        title = browser.run("return document.getElementById('view').selectedOptions[0].textContent")
        browser.wait("document.querySelector('#figure-now figcaption').textContent.startsWith(arguments[0])", title)
        coloured = browser.run(
            """const c = document.querySelector("#figure-now canvas.field");
            const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data, seen = new Set();
            for (let n = 0; n < d.length; n += 4) if (d[n + 3]) seen.add(d[n] + 256 * d[n + 1] + 65536 * d[n + 2]);
            return seen.size"""
        )
        assert coloured >= FEWEST.get(key.split("/")[0], 20), key
        assert before is not None


def test_the_page_says_what_the_command_line_says(browser, tmp_path):
    browser.example("first")
    component = solved(tmp_path, NEW_STUDY).cases[0].components[0]
    assert browser.peak("processor") == pytest.approx(component.peak_degC, abs=0.051)  # as printed, to 0.1
    assert "confirmed by the full solve" in browser.text("status")


def test_a_change_shows_at_once_and_is_confirmed(browser, tmp_path):
    browser.example("first")
    before, cool = browser.picture(), browser.peak("processor")
    browser.write("plate", "thickness", "1.5 mm")
    browser.wait("document.body.dataset.preview === document.body.dataset.version")
    assert browser.picture() != before
    preview = browser.peak("processor")
    assert preview > cool + 5
    browser.confirmed()
    component = solved(tmp_path, NEW_STUDY.replace('thickness = "3 mm"', 'thickness = "1.5 mm"')).cases[0].components[0]
    assert browser.peak("processor") == pytest.approx(component.peak_degC, abs=0.051)
    assert preview == pytest.approx(component.peak_degC, abs=0.5)  # docs/page.md says so much of previews


def test_fifty_quick_changes_in_a_row_end_at_the_last(browser, tmp_path):
    browser.example("first")
    slider = browser.control("processor", "power", "input[type=range]")
    script = """const [slider] = arguments, done = arguments[arguments.length - 1];
    let count = 0;
    const next = () => {
      slider.value = 100 + ((count * 37) % 61) - 30;
      slider.dispatchEvent(new Event("input", {bubbles: true}));
      if (++count < 50) setTimeout(next, 15);
      else done(slider.closest(".field").querySelector("input[type=text]").value);
    };
    next();"""
    power = browser.driver.execute_async_script(script, slider)
    browser.confirmed()
    component = solved(tmp_path, NEW_STUDY.replace('power = "180 W"', f'power = "{power}"')).cases[0].components[0]
    assert browser.run("return document.body.dataset.version") == "51"
    assert browser.peak("processor") == pytest.approx(component.peak_degC, abs=0.051)


def test_two_designs_stand_side_by_side_with_their_difference(browser):
    browser.example("first")
    kept = browser.peak("processor")
    browser.click("#keep")
    browser.write("plate", "thickness", "6 mm")
    browser.confirmed()
    assert browser.run(
        "return ['figure-a', 'figure-now', 'figure-difference'].every((id) => !document.getElementById(id).hidden)"
    )
    assert "Now less A: from −" in browser.run(
        "return document.querySelector('#figure-difference figcaption').textContent"
    )
    heads = browser.run(
        "return [...document.querySelector('#tables table').tHead.rows[0].cells].map((c) => c.textContent)"
    )
    gain = browser.run("return document.querySelector('#tables tbody tr').lastChild.textContent")
    assert heads[-1] == "gain K" and float(gain) == pytest.approx(kept - browser.peak("processor"), abs=0.11)
    browser.click("#drop-a")
    assert browser.run("return document.getElementById('figure-a').hidden")


def test_load_cases_are_shown_and_changed_where_they_say(browser, tmp_path):
    browser.example("first")
    browser.wait("[...document.querySelectorAll('#tables caption')].some((each) => each.textContent === 'Load cases')")
    hot = solved(tmp_path, NEW_STUDY).cases[1]
    browser.run(
        "const c = document.getElementById('case'); c.value = c.options[1].value; c.dispatchEvent(new Event('change'))"
    )
    browser.wait("document.querySelector('#controls .mark')")
    browser.confirmed()
    assert browser.peak("processor") == pytest.approx(hot.components[0].peak_degC, abs=0.11)
    browser.write("processor", "interface, bond line", "50 um")
    browser.wait("document.body.dataset.preview === document.body.dataset.version")
    assert browser.peak("processor") < hot.components[0].peak_degC - 1


def test_as_opened_takes_all_changes_back_in_every_load_case(browser):
    browser.example("first")
    before = browser.peak("processor")
    browser.write("plate", "thickness", "1.5 mm")
    choose = """const c = document.getElementById('case');
    c.value = c.options[arguments[0]].value;
    c.dispatchEvent(new Event('change'));"""
    browser.run(choose, 1)
    browser.wait("document.querySelector('#controls .mark')")
    assert browser.control("plate", "thickness").get_attribute("value") == "1.5 mm"
    browser.write("plate", "thickness", "1.5 mm")  # once more the same is no change back
    browser.run(choose, 0)
    browser.wait("!document.querySelector('#controls .mark')")
    browser.confirmed()
    assert browser.peak("processor") > before + 5
    browser.click("#undo")
    browser.wait("[...document.querySelectorAll('#controls input')].some((each) => each.value === '3 mm')")
    browser.confirmed()
    assert browser.peak("processor") == before and browser.run("return document.getElementById('undo').disabled")


def test_study_picture_fields_and_result_are_taken_away(browser, tmp_path):
    import meshio

    browser.example("first")
    browser.write("plate", "thickness", "2 mm")
    browser.confirmed()
    for name in ("study.toml", "picture.png", "fields.vtu", "result.json", "report.html"):
        browser.click("#exports summary")
        browser.click(f"[data-export='{name}']")
        downloaded(browser, name)
    study, _ = written(tmp_path, downloaded(browser, "study.toml").read_text())
    assert study.read_text() == NEW_STUDY.replace('thickness = "3 mm"', 'thickness = "2 mm"')  # comments and all
    assert read_study(study).cases[0].stack.bodies[0].thickness == pytest.approx(2e-3)
    with Image.open(downloaded(browser, "picture.png")) as picture:
        assert picture.format == "PNG" and min(picture.size) > 300 and len(set(picture.convert("L").tobytes())) > 50
    hottest = meshio.read(downloaded(browser, "fields.vtu")).point_data["temperature [degC]"].max()
    result = Result.model_validate_json(downloaded(browser, "result.json").read_text())
    assert hottest == pytest.approx(
        result.cases[0].components[0].peak_degC, abs=0.5
    )  # between the file's points it may be hotter


def test_a_study_is_uploaded_with_its_files(browser, tmp_path):
    browser.upload(*written(tmp_path, NEW_STUDY.replace("First study", "Uploaded study")))
    browser.confirmed()
    assert "Uploaded study" in browser.text("title")


def test_a_power_map_alone_starts_a_study_that_says_what_it_assumes(browser, tmp_path):
    grid = tmp_path / "cores.csv"
    grid.write_text("10,20,30,20\n10,80,30,20\n")
    browser.upload(grid)
    browser.confirmed()
    said = browser.text("assumed")
    assert "2 rows and 4 columns" in said and "seen from the cooled side" in said and "W/cm^2" in said
    assert browser.control("chip", "map, unit").get_attribute("value") == "W/cm^2"
    # Eight cells of 6 mm x 6 mm with 220 W/cm2 in all.
    assert "79.2 W in all" in said and browser.peak("chip") > 35


FAULTY = [
    ("plate", "thickness", "3", '"3" has no unit'),
    ("plate", "thickness", "0 mm", "is too small"),
    ("processor", "power", "many W", "many W"),
    ("processor", "interface, conductivity", "5 W/m", "5 W/m"),
    ("processor", "at x", "400 mm", "processor"),
    ("cooling", "coefficient", "", "coefficient"),
]


@pytest.mark.parametrize(("group", "label", "text", "said"), FAULTY, ids=[f"{each[1]} {each[2]}" for each in FAULTY])
def test_a_wrong_value_is_explained_in_place_in_the_command_lines_words(
    browser, tmp_path, capsys, group, label, text, said
):
    browser.example("first")
    picture = browser.picture()
    browser.write(group, label, text)
    browser.wait("document.body.dataset.complaint === document.body.dataset.version")
    beside = browser.run(
        "return arguments[0].closest('.field').querySelector('.message').textContent", browser.control(group, label)
    )
    told = beside + browser.text("faults")
    assert said in told and browser.picture() == picture
    assert "the picture shows the last sound design" in browser.text("status")
    browser.click("#exports summary")
    browser.click("[data-export='study.toml']")
    study, _ = written(tmp_path, downloaded(browser, "study.toml").read_text())
    assert main(["check", str(study)]) == 2
    for line in capsys.readouterr().err.strip().replace(f"{tmp_path}/", "").split("\n"):
        assert line in told


def test_a_fault_stands_beside_its_control_and_goes_when_mended(browser):
    browser.example("first")
    browser.write("plate", "thickness", "3")
    browser.wait("document.body.dataset.complaint === document.body.dataset.version")
    control = browser.control("plate", "thickness")
    assert control.get_attribute("aria-invalid") == "true"
    message = browser.run(
        "return document.getElementById(arguments[0].getAttribute('aria-describedby')).textContent", control
    )
    assert "line 7" in message and 'hint: write "3 mm"' in message
    browser.write("plate", "thickness", "3 mm")
    browser.confirmed()
    assert browser.run("return document.querySelectorAll('[aria-invalid]').length") == 0


UPLOADS = {
    "no TOML": ({"study.toml": "thickness = 3 mm"}, "not valid TOML"),
    "no study among the files": ({"a.csv": "1,2\n", "b.csv": "1,2\n"}, "there is no study among the files"),
    "two studies": ({"a.toml": "", "b.toml": ""}, "several studies were dropped"),
    "file not given": ({"study.toml": NEW_STUDY}, "the study names a file that was not given"),
    "file elsewhere": ({"study.toml": NEW_STUDY.replace("power_map.csv", "../../etc/passwd")}, "by their bare names"),
    "not UTF-8": ({"study.toml": b"title = '\xff\xfe'"}, "UTF-8"),
    "no power map": ({"notes.csv": "these are, only words\nand, no numbers\n"}, "notes.csv"),
    "a hole in the map": ({"study.toml": NEW_STUDY, "power_map.csv": "1,2,3\n4,,6\n"}, "power_map.csv"),
    "nothing in it": ({"study.toml": ""}, "must be given"),
}


@pytest.mark.parametrize("name", UPLOADS)
def test_a_bad_upload_is_explained_and_the_page_goes_on(browser, tmp_path, name):
    files, said = UPLOADS[name]
    for file, content in files.items():
        (tmp_path / file).write_bytes(content if isinstance(content, bytes) else content.encode())
    browser.upload(*(tmp_path / file for file in files))
    browser.wait("document.body.dataset.complaint !== undefined")
    assert said in browser.text("faults")
    browser.click("[data-example=first]")
    browser.confirmed()


def test_a_computation_that_fails_leaves_the_page_alive(browser, tmp_path):
    # Leakage that doubles every 7 K runs away once the chip is warm enough.
    leaking = NEW_STUDY.replace(
        'limit = "95 degC"', 'limit = "95 degC"\nleakage = { power = "5 W", at = "25 degC", growth = "0.01 1/K" }'
    )
    browser.upload(*written(tmp_path, leaking))
    browser.confirmed()
    browser.write("processor", "leakage, growth", "0.3 1/K")
    browser.wait("document.body.dataset.complaint === document.body.dataset.version")
    assert "finds no steady temperature" in browser.text("faults")
    browser.write("processor", "leakage, growth", "0.01 1/K")
    browser.confirmed()
    assert browser.text("faults") == ""


def test_the_probe_follows_pointer_keys_and_typed_places(browser):
    from selenium.webdriver.common.keys import Keys

    browser.example("first")
    for name, value in (("x", "44"), ("y", "42")):
        field = browser.driver.find_element("id", f"probe-{name}")
        field.clear()
        field.send_keys(value)
    inside = browser.text("probe-value")
    assert inside.endswith("°C") and float(inside.split()[0]) == pytest.approx(browser.peak("processor"), abs=12)
    canvas = browser.driver.find_element("css selector", "#figure-now canvas.marks")
    canvas.send_keys(Keys.ARROW_LEFT * 5)
    assert browser.text("probe-value") != inside and float(
        browser.run("return document.getElementById('probe-x').value")
    ) == pytest.approx(39, abs=0.1)
    browser.driver.find_element("id", "probe-x").clear()
    browser.driver.find_element("id", "probe-x").send_keys("-20")
    assert browser.text("probe-value") == "nothing here"


@pytest.mark.parametrize(("name", "place"), [("tray", (95, 40)), ("cold_plate", (60, 35))])
def test_the_pictures_pixels_hold_what_the_studys_own_probes_read(browser, name, place):
    # The table's value is found on the mesh in Python; the picture's by the browser, from each pixel's triangle and place in it.
    browser.example(name)
    read = browser.run(
        """const probes = [...document.querySelectorAll("#tables table")].find((t) => t.caption.textContent === "Probes");
        return probes.tBodies[0].rows[0].cells[1].textContent"""
    )
    for axis, value in zip("xy", place):
        script = "const e = document.getElementById(arguments[0]); e.value = arguments[1]; e.dispatchEvent(new Event('input'))"
        browser.run(script, f"probe-{axis}", value)
    shown = float(browser.text("probe-value").split()[0])
    assert shown == pytest.approx(float(read), abs=0.25)  # half a pixel of 0.2 mm at 1 K/mm, and both rounded to 0.1


def test_a_slider_moves_by_keys_and_says_its_value(browser):
    from selenium.webdriver.common.keys import Keys

    browser.example("first")
    slider = browser.control("plate", "thickness", "input[type=range]")
    slider.send_keys(Keys.ARROW_RIGHT * 5)
    browser.confirmed()
    text = browser.control("plate", "thickness").get_attribute("value")
    assert text == slider.get_attribute("aria-valuetext") and 3.0 < float(text.split()[0]) < 3.5


def test_files_are_dropped_onto_the_page(browser):
    browser.start()
    script = """const given = new DataTransfer();
    for (const [name, text] of Object.entries(arguments[0])) given.items.add(new File([text], name));
    document.getElementById("drop").dispatchEvent(new DragEvent("drop", {bubbles: true, cancelable: true, dataTransfer: given}));"""
    browser.run(script, {"study.toml": NEW_STUDY.replace("First study", "Dropped study"), "power_map.csv": NEW_MAP})
    browser.confirmed()
    assert "Dropped study" in browser.text("title")


def test_a_study_given_on_the_command_line_is_open_and_survives_what_ends_the_workers(browser, own_page, tmp_path):
    study, _ = written(tmp_path, NEW_STUDY.replace("First study", "Given study"))
    with own_page(str(study)) as (process, address):
        replace(browser, address=address).start()
        browser.confirmed()
        assert "Given study" in browser.text("title")
        workers = [each for each in psutil.Process(process.pid).children() if "spawn_main" in " ".join(each.cmdline())]
        for worker in workers:
            worker.kill()
        psutil.wait_procs(workers, timeout=10)
        browser.write("plate", "thickness", "2 mm")
        browser.confirmed()
        assert browser.text("faults") == "" and len(workers) >= 2
    browser.write("plate", "thickness", "1 mm")
    browser.wait("document.body.dataset.complaint === document.body.dataset.version")
    assert "start plancha page again" in browser.text("faults")
    assert all("ERR_CONNECTION_REFUSED" in each for each in browser.complaints())


def axe_findings(browser) -> list[str]:
    """What axe-core, a checker of accessibility, has against the page as it stands."""
    [folder] = find_spec(
        "axe_playwright_python"
    ).submodule_search_locations  # brings axe-core along; nothing else of it is used
    browser.run((Path(folder) / "axe.min.js").read_text() + "; window.axe = axe")
    run = "const done = arguments[arguments.length - 1]; axe.run().then((found) => done(JSON.stringify(found.violations)))"
    found = json.loads(browser.driver.execute_async_script(run))
    return [f"{each['id']}: {each['help']}: {[node['html'][:160] for node in each['nodes']][:3]}" for each in found]


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
def test_nothing_stands_in_the_way_of_those_who_do_not_see_or_point(browser, size):
    browser.start(**size)
    assert axe_findings(browser) == []
    browser.example("first", **size)
    assert axe_findings(browser) == []
    browser.click("#keep")
    browser.write("plate", "thickness", "2 mm")
    browser.confirmed()
    assert axe_findings(browser) == []
    browser.write("plate", "thickness", "2")
    browser.wait("document.body.dataset.complaint === document.body.dataset.version")
    assert axe_findings(browser) == []


@pytest.mark.parametrize("name", ["first", "tray"])
def test_a_narrow_window_needs_no_sideways_scrolling(browser, name):
    browser.example(name, **PHONE)
    assert browser.run("return document.documentElement.scrollWidth") <= browser.run("return window.innerWidth")


def test_nothing_but_the_pages_own_server_is_asked(browser):
    browser.example("first")
    asked = browser.run("return performance.getEntriesByType('resource').map((each) => each.name)")
    assert len(asked) > 5 and all(each.startswith(browser.address) for each in asked)
