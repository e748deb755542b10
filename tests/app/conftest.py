"""The page as a user meets it: the command in a process of its own, and a real browser that knows no other machine."""

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

PATIENCE = 60.0  # s
TOOLS = ("chromium", "chromedriver")


@contextmanager
def page_of(*arguments: str) -> Iterator[tuple[subprocess.Popen, str]]:
    """A running `plancha page` and its address; at the end it must stop by Ctrl-C, without a word of complaint."""
    command = [sys.executable, "-m", "plancha.app.cli", "page", "--no-browser", *arguments]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None and process.stderr is not None
    found = re.search(r"http://127\.0\.0\.1:\d+/", process.stdout.readline())
    assert found, process.stderr.read()
    yield process, found[0]
    process.send_signal(2)
    _, complaint = process.communicate(timeout=30)
    assert (process.returncode, complaint) == (0, "")


@pytest.fixture(scope="session")
def page_address() -> Iterator[str]:
    """The address of a page that many tests share."""
    with page_of() as (_, address):
        yield address


@pytest.fixture
def own_page() -> Callable:
    """A page of a test's own, which it may treat badly: see `page_of`."""
    return page_of


@dataclass(frozen=True)
class Browser:
    """A browser and what tests do with it again and again."""

    driver: Any
    address: str
    downloads: Path

    def run(self, script: str, *arguments: Any) -> Any:
        """The value of a script on the page."""
        return self.driver.execute_script(script, *arguments)

    def wait(self, condition: str, *arguments: Any, seconds: float = PATIENCE) -> None:
        """Wait until a condition holds on the page."""
        end = time.monotonic() + seconds
        while not self.run(f"return Boolean({condition})", *arguments):
            assert time.monotonic() < end, (
                f"{condition} did not come true; the page says: {self.text('status')} {self.text('faults')}"
            )
            time.sleep(0.03)

    def text(self, identity: str) -> str:
        """The text of an element by its id."""
        return self.run("return document.getElementById(arguments[0]).textContent", identity)

    def start(self, width: int = 1440, height: int = 1000) -> None:
        """The page as it is first seen."""
        # A window without a screen is never narrower than 500 px; what the page is told may be.
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        self.driver.get(self.address)
        self.wait("document.body.dataset.ready")

    def example(self, name: str, **size: int) -> None:
        """Open an example and wait until it is confirmed."""
        self.start(**size)
        self.click(f"[data-example={name}]")
        self.confirmed()

    def upload(self, *paths: Path) -> None:
        """Choose files as a user does."""
        self.start()
        self.driver.find_element("id", "files").send_keys("\n".join(str(path) for path in paths))

    def click(self, selector: str) -> None:
        """Click what a selector finds."""
        self.driver.find_element("css selector", selector).click()

    def confirmed(self) -> None:
        """Wait until the full solve has confirmed what is shown."""
        self.wait(
            "document.body.dataset.confirmed && document.body.dataset.confirmed === document.body.dataset.version"
        )

    def control(
        self, group: str, label: str, kind: str = "input[type=text], select, input[type=checkbox], input[type=number]"
    ) -> Any:
        """A control of the design by the title of its group and its label."""
        script = """const titled = (e) => e.firstElementChild.textContent === arguments[0];
        const labelled = (e) => e.querySelector("label").firstChild.textContent === arguments[1];
        const group = [...document.querySelectorAll("#controls > details")].find(titled);
        group.open = true;
        const row = [...group.querySelectorAll(".field")].find(labelled);
        const more = row.closest("details.more");
        if (more) more.open = true;
        return row.querySelector(arguments[2]);"""
        return self.run(script, group, label, kind)

    def write(self, group: str, label: str, text: str) -> None:
        """Put a text into a control at once, as pasting does."""
        script = "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('input', {bubbles: true}))"
        self.run(script, self.control(group, label), text)

    def peak(self, name: str) -> float:
        """A component's peak [degC] as the table of margins says it."""
        script = """const margins = (t) => t.caption.textContent === "Peaks and margins";
        const table = [...document.querySelectorAll("#tables table")].find(margins);
        const column = [...table.tHead.rows[0].cells].findIndex((c) => c.textContent === "peak °C");
        const row = [...table.tBodies[0].rows].find((r) => r.cells[0].textContent === arguments[0]);
        return row.cells[column].textContent;"""
        return float(self.run(script, name).replace("−", "-"))

    def picture(self) -> str:
        """What stands in the picture's pixels, as one short text."""
        script = """const c = document.querySelector("#figure-now canvas.field");
        const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
        let a = 1, b = 0;
        for (const each of d) { a = (a + each) % 65521; b = (b + a) % 65521; }
        return `${c.width} ${c.height} ${a} ${b}`;"""
        return self.run(script)

    def complaints(self) -> list[str]:
        """Errors that the browser's console holds since it was last asked."""
        return [each["message"] for each in self.driver.get_log("browser") if each["level"] == "SEVERE"]


@pytest.fixture(scope="session")
def _driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Path]]:
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"no {' and no '.join(missing)} here: apt-get install chromium chromium-driver")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    downloads = tmp_path_factory.mktemp("downloads")
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    # The last one proves that nothing outside this machine is asked for: no name but the page's own address leads anywhere.
    for each in (
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
    ):
        options.add_argument(each)
    options.add_experimental_option("prefs", {"download.default_directory": str(downloads)})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    driver.set_script_timeout(PATIENCE)
    yield driver, downloads
    driver.quit()


@pytest.fixture
def browser(_driver: tuple[Any, Path], page_address: str) -> Iterator[Browser]:
    """A browser at the page; whatever a test does, its console stays silent."""
    driver, downloads = _driver
    for path in downloads.iterdir():
        path.unlink()
    found = Browser(driver, page_address, downloads)
    found.complaints()
    yield found
    assert found.complaints() == []
