"""How long the page takes from a change to the new picture, in a real browser: `python benchmarks/page.py docs/page-speed.md`.

Chromium without a window, driven by selenium; server, workers and browser share the machine. The clock runs in the browser, from when
a slider's value is set, as a hand would, until the frame that shows the new picture, margins and budget. One change follows the next
after a random pause, so that none is swallowed. Needs Debian's chromium and chromium-driver.
"""

import argparse
import io
import json
import os
import platform
import random
import re
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parent.parent
CHANGES = 60
LOAD = os.getloadavg()[1]  # of the five minutes before
STUDIES = (
    (
        "one processor",
        "first",
        "2.9 mm",
        ("plate: thickness", "processor: power", "cooling: coefficient", "processor: interface, bond line"),
    ),
    (
        "radar, 15 components",
        "radar",
        "3.9 mm",
        ("plate: thickness", "processor: power", "air: coefficient", "processor: grease, bond line"),
    ),
)
CHANGE = """
const [title, label, place] = [arguments[0], arguments[1], arguments[2]], done = arguments[arguments.length - 1];
const group = [...document.querySelectorAll("#controls > details")].find((each) => each.firstElementChild.textContent === title);
group.open = true;
const row = [...group.querySelectorAll(".field")].find((each) => each.querySelector("label").firstChild.textContent === label);
const slider = row.querySelector("input[type=range]");
const before = document.body.dataset.preview, begun = performance.now();
new MutationObserver((_, watching) => {
  if (document.body.dataset.preview === before) return;
  watching.disconnect();
  requestAnimationFrame(() => done(performance.now() - begun));
}).observe(document.body, { attributes: true });
slider.value = place;
slider.dispatchEvent(new Event("input", { bubbles: true }));
"""


def served(study: Path) -> tuple[subprocess.Popen, str]:
    """The page's process on a study, and its address."""
    command = [sys.executable, "-m", "plancha.app.cli", "page", str(study), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    assert process.stdout is not None
    found = re.search(r"http://\S+", process.stdout.readline())
    assert found, "the page says its address"
    return process, found[0]


def chromium() -> Any:
    """A browser without a window."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    for each in (
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
        "--window-size=1440,900",
    ):
        options.add_argument(each)
    return webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))


def study_with_mesh(folder: Path, name: str, mesh_size: str) -> Path:
    """A copy of a study whose mesh is as fine as asked; as it is where nothing is asked."""
    if name == "first":
        from plancha.app.new_study import NEW_MAP, NEW_STUDY

        text, files = NEW_STUDY, {"power_map.csv": NEW_MAP}
    else:
        own = ROOT / "examples" / name
        text, files = (own / "study.toml").read_text(), {path.name: path.read_text() for path in own.glob("*.csv")}
    for file, content in files.items():
        (folder / file).write_text(content)
    path = folder / "study.toml"
    text = text.replace(
        'seen_from = "active side" }', 'seen_from = "active side", scale = true }'
    )  # its power may change
    if mesh_size:
        text = text.replace("\n[plate]", f'\nmesh_size = "{mesh_size}"\naccuracy = "2 %"\n[plate]', 1)
    path.write_text(text)
    return path


def wait_for(browser: Any, condition: str, seconds: float = 120.0) -> None:
    """Wait until a condition holds on the page."""
    end = time.monotonic() + seconds
    while not browser.execute_script(f"return Boolean({condition})"):
        assert time.monotonic() < end, f"{condition} did not come true"
        time.sleep(0.05)


def measured(
    browser: Any, address: str, controls: tuple[str, ...], seed: int
) -> tuple[list[float], dict[str, float], int]:
    """Times [ms] of all changes, times of the worker alone are part of them; medians by control; plan nodes."""
    browser.get(address)
    wait_for(browser, "document.body.dataset.confirmed")
    time.sleep(3.0)
    chance, times, by_control = random.Random(seed), [], {}
    for control in controls:
        title, label = control.split(": ", 1)
        own = [
            float(browser.execute_async_script(CHANGE, title, label, place))
            for place in _walk(chance, CHANGES // len(controls), browser)
        ]
        by_control[control] = float(np.median(own))
        times += own
    return times, by_control, int(browser.execute_script("return Number(document.body.dataset.nodes)"))


def _walk(chance: random.Random, count: int, browser: Any):
    """Places of a slider as a hand moves it, with pauses."""
    place = 100
    for _ in range(count):
        place = max(20, min(180, place + chance.choice([-14, -9, -5, -3, 4, 6, 10, 15])))
        time.sleep(chance.uniform(0.02, 0.2))
        yield place


def main() -> None:
    """Measure all studies and write the table."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("out", type=Path, nargs="?")
    reader.add_argument("--seed", type=int, default=20261126)
    reader.add_argument("--pictures", type=Path, metavar="FOLDER", help="take the docs' pictures of the page instead")
    given = reader.parse_args()
    if given.pictures:
        take_pictures(given.pictures)
        return
    rows, details = [], []
    for title, name, mesh_size, controls in STUDIES:
        with tempfile.TemporaryDirectory() as folder:
            process, address = served(study_with_mesh(Path(folder), name, mesh_size))
            browser = chromium()
            try:
                times, by_control, nodes = measured(browser, address, controls, given.seed)
            finally:
                browser.quit()
                process.terminate()
                process.wait()
        median, high = np.quantile(times, [0.5, 0.95])
        rows.append(f"| {title} | {nodes} | {len(times)} | {median:.0f} | {high:.0f} | {max(times):.0f} |")
        details += [f"| {title} | {control} | {each:.0f} |" for control, each in by_control.items()]
        sys.stdout.write(rows[-1] + "\n")
    if given.out:
        given.out.write_text(page_of(rows, details, preview_errors()), encoding="utf-8")


def take_pictures(folder: Path) -> None:
    """Pictures of the page with an example, for the docs."""
    from PIL import Image

    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as aside:
        process, address = served(study_with_mesh(Path(aside), "radar", ""))
        browser = chromium()
        try:
            size = {"width": 1360, "height": 860, "deviceScaleFactor": 1, "mobile": False}
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
            browser.get(address)
            wait_for(browser, "document.body.dataset.confirmed")
            time.sleep(4.0)
            with Image.open(io.BytesIO(browser.get_screenshot_as_png())) as shot:
                shot.convert("RGB").save(folder / "wide.png", optimize=True)
        finally:
            browser.quit()
            process.terminate()
            process.wait()


def preview_errors() -> list[str]:
    """By how much previews of the examples are off the full solve: as opened, and with the first plate a fifth thinner."""
    from plancha.app.page_design import Edit
    from plancha.app.page_desk import Desk, from_disk
    from plancha.app.page_work import Memory, Question, full, quick

    rows = []
    for study in sorted(ROOT.glob("examples/*/study.toml")):
        with tempfile.TemporaryDirectory() as folder:
            desk = Desk(Path(folder))
            design = desk.designs[desk.lay(*from_disk(study))]
            written = tomllib.loads(design.text)["plate"]
            thickness = (written[0] if isinstance(written, list) else written)["thickness"]
            thinner = Edit(("plate", 0, "thickness"), f"{0.8 * float(thickness.split()[0]):.6g} {thickness.split()[1]}")
            memory, offs = Memory(design.path), []
            for edits in ((), (thinner,)):
                question = Question(design, edits)
                memory, preview = quick(memory, question)
                _, confirmed = full(Memory(design.path), question)
                pairs = zip(peaks_of(preview), peaks_of(confirmed), strict=True)
                offs.append(max(abs(one - other) for one, other in pairs))
        rows.append(f"| {study.parent.name} | {offs[0]:.2f} | {offs[1]:.2f} |")
        sys.stdout.write(rows[-1] + "\n")
    return rows


def peaks_of(message: bytes) -> list[float]:
    """Peaks [degC] of the components in a message to the page."""
    length = int.from_bytes(message[:4], "little")
    return [each["peak_degC"] for each in json.loads(message[4 : 4 + length])["numbers"]["components"]]


def page_of(rows: list[str], details: list[str], errors: list[str]) -> str:
    """The table as a page of the docs."""
    head = (
        "# How quick the page is\n\n"
        "Written by `python benchmarks/page.py docs/page-speed.md`: from a slider's change to the frame that "
        "shows the new picture,\nmargins and budget, measured inside Chromium without a window. Browser, server and workers share "
        f"{os.cpu_count()} cores ({platform.machine()}), on which {LOAD:.1f} other processes were at work in the mean.\n\n"
    )
    first = (
        "| study | plan nodes | changes | median ms | 95th percentile ms | longest ms |\n|---|---|---|---|---|---|\n"
    )
    second = "\n\nMedians by what was changed:\n\n| study | change | ms |\n|---|---|---|\n"
    third = (
        "\n\nHow far the previews' peaks are off the full solve's, K, in all examples (mostly the first mesh against the "
        "refined one):\n\n| example | as opened | first plate a fifth thinner |\n|---|---|---|\n"
    )
    return head + first + "\n".join(rows) + second + "\n".join(details) + third + "\n".join(errors) + "\n"


if __name__ == "__main__":
    main()
