"""A page as PDF, printed by a headless Chromium where there is one."""

import os
import shutil
import subprocess
from pathlib import Path

from plancha.geometry.faults import Failure

BROWSERS = ("chromium", "chromium-browser", "chrome", "google-chrome", "google-chrome-stable", "msedge")
PATIENCE = 120  # s
CURE = "open the HTML file in any browser and print it to PDF there"


class NoPdf(Failure):
    """No PDF can be made here; the message says why and what helps."""


def find_browser() -> str:
    """The path of a Chromium.

    Raises
    ------
    NoPdf
        If none is found.
    """
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        raise NoPdf(f"a PDF needs Chromium, and none of {', '.join(BROWSERS)} is found; without --pdf, {CURE}")
    return found


def print_pdf(browser: str, page: Path, pdf: Path) -> None:
    """Print an HTML file to a PDF file; the page's own style says the paper.

    Raises
    ------
    NoPdf
        If the browser does not do it.
    """
    # The page holds all it needs, so the browser is given no network; as root it runs only without its sandbox.
    options = ["--headless", "--disable-gpu", "--no-pdf-header-footer", "--disable-dev-shm-usage", "--no-first-run"]
    options += ["--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND"]
    options += ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    profile = page.parent / "browser"
    command = [browser, *options, f"--user-data-dir={profile}", f"--print-to-pdf={pdf}", page.absolute().as_uri()]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE, errors="replace")
    except subprocess.TimeoutExpired:
        raise NoPdf(f"{browser} did not finish within {PATIENCE} s; without --pdf, {CURE}") from None
    finally:
        shutil.rmtree(profile, ignore_errors=True)
    if done.returncode or not pdf.exists():
        words = (done.stderr.strip().splitlines() or [f"exit code {done.returncode}"])[-1]
        raise NoPdf(f"{browser} made no PDF ({words}); without --pdf, {CURE}")
