"""Set Plancha up next to this file and run it: `python3 start.py demo` or `python3 start.py test`.

Needs Python 3.11 and nothing else. The set-up goes into `.venv` and is kept until pyproject.toml changes.
Up to the check of the version this file must be readable by older Pythons too, so that they can say what is wrong.
"""
# ruff: noqa: T201

import argparse
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

if sys.version_info < (3, 11):  # noqa: UP036  # this very check is what an older Python is here for
    sys.exit(
        f"Plancha needs Python 3.11 or newer; {sys.executable} is {sys.version_info[0]}.{sys.version_info[1]}.\n"
        "Run start.py with a newer one, for example: python3.11 start.py demo"
    )

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
STAMP = VENV / "plancha-setup.json"
PIP_LOG = VENV / "plancha-pip.log"
STUDY = "examples/radar/study.toml"
RESULTS = "results/radar"
CHECKS = {
    "ruff": ["ruff", "check", "."],
    "mypy": ["mypy", ".links/plancha", "start.py"],
    "pytest": ["pytest", "-n", "2"],
}
BROWSER = {
    "chromium": "chromium",
    "chromedriver": "chromium-driver",
}  # what the page's tests need: program, Debian package
OFFLINE = ("NewConnectionError", "NameResolutionError", "ConnectTimeoutError", "ProxyError", "from versions: none")
UNFETCHED = ("Failed to fetch", "Temporary failure resolving", "Unable to locate package")


class SetupError(Exception):
    """The set-up cannot go on; the text says why and what to do."""


def shared_libraries():
    """The module `app/shared_libraries.py`, loaded by its path because nothing is installed yet."""
    spec = importlib.util.spec_from_file_location("shared_libraries", ROOT / "app" / "shared_libraries.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def may_install_packages() -> bool:
    """True if this process is root on a system with apt-get."""
    return hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get") is not None


def run_quietly(note: str, command: list[str]) -> subprocess.CompletedProcess[str]:
    """Run `command` from the project's folder with its output kept back; only `note` and the time taken are shown."""
    print(f"{note} ...", flush=True)
    began = time.monotonic()
    environment = {**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1", "DEBIAN_FRONTEND": "noninteractive"}
    result = subprocess.run(
        command,
        cwd=ROOT,
        env=environment,
        text=True,
        errors="replace",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    print(f"  {'done in' if result.returncode == 0 else 'failed after'} {time.monotonic() - began:.0f} s", flush=True)
    return result


def last_lines(text: str, count: int = 15) -> str:
    """The last lines of a program's output."""
    return "\n".join(text.strip().splitlines()[-count:])


def can_make_environments() -> bool:
    """True if this Python can make a virtual environment with pip in it (Debian and Ubuntu pack that apart)."""
    importlib.invalidate_caches()
    return all(importlib.util.find_spec(name) is not None for name in ("venv", "ensurepip"))


def missing_from_system(new_environment: bool) -> tuple[list[str], list[str]]:
    """What the system lacks, by name, and the Debian packages that hold it; both empty where nothing is missing."""
    libraries = shared_libraries()
    missing = libraries.missing_libraries()
    packages = list(libraries.PACKAGES) if missing else []
    if new_environment and not can_make_environments():
        missing = [*missing, f"Python's venv and ensurepip ({sys.executable} has none)"]
        packages.append(f"python3.{sys.version_info.minor}-venv")
    return missing, packages


def install_packages(line: str) -> None:
    """Show and run the shell line that installs system packages; SetupError if it fails."""
    print(f"this system lacks some packages; as root: {line}")
    result = run_quietly("installing them", ["sh", "-c", line])
    if "dpkg --configure -a" in result.stdout:
        result = run_quietly(
            "finishing an interrupted installation first", ["sh", "-c", f"dpkg --configure -a && {line}"]
        )
    if result.returncode == 0:
        return
    if any(sign in result.stdout for sign in UNFETCHED):
        raise SetupError(
            f"the packages could not be fetched: check the network and the package sources, then run\n{line}"
        )
    raise SetupError(f"{last_lines(result.stdout)}\nthe packages could not be installed; the line was\n{line}")


def require_system(new_environment: bool) -> None:
    """Find the shared libraries and what makes a `.venv`, or install them; else SetupError with the line that does."""
    missing, packages = missing_from_system(new_environment)
    if not missing:
        return
    line = shared_libraries().install_line(packages)
    if may_install_packages():
        install_packages(line)
        missing, _ = missing_from_system(new_environment)
    if missing:
        raise SetupError(shared_libraries().missing_message(missing, line))


def look_for_browser() -> None:
    """Install the browser that the page is tested in where that may be done; without it these tests say so and are skipped."""
    packages = [package for program, package in BROWSER.items() if shutil.which(program) is None]
    if not packages:
        return
    line = shared_libraries().install_line(packages)
    try:
        if not may_install_packages():
            raise SetupError(f"on Debian, as root: {line}")
        install_packages(line)
    except SetupError as error:
        print(f"{error}\nwithout {' and '.join(packages)} the tests of the page in a browser are skipped")


def wanted_setup(extra: str) -> dict[str, str]:
    """What the environment must be made from; `extra` is "" or the name of an optional part in pyproject.toml."""
    return {
        "folder": str(ROOT),
        "python": f"{sys.version_info.major}.{sys.version_info.minor}",
        "project": hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest(),
        "extra": extra,
    }


def found_setup() -> dict[str, str] | None:
    """What the environment says it was made from: None without a stamp, {} where it was left unfinished."""
    try:
        return json.loads(STAMP.read_text())
    except FileNotFoundError:
        return None
    except ValueError:
        return {}


def next_step(found: dict[str, str] | None, wanted: dict[str, str]) -> str:
    """What the environment needs: "nothing", "install" or "rebuild".

    Parameters
    ----------
    found : dict or None
        From `found_setup`; None stands for a working environment that somebody else made: it is used, not removed.
    wanted : dict
        From `wanted_setup`.
    """
    if found is None:
        return "install"
    if any(found.get(key) != wanted[key] for key in ("folder", "python")):
        return "rebuild"
    if found.get("project") == wanted["project"] and wanted["extra"] in ("", found.get("extra")):
        return "nothing"
    return "install"


def environment_works() -> bool:
    """True if the Python in `.venv` starts and has pip."""
    try:
        return subprocess.run([BIN / "python", "-c", "import pip"], capture_output=True).returncode == 0
    except OSError:
        return False


def make_environment() -> None:
    """Make `.venv` anew, marked as unfinished from its first moment."""
    if VENV.is_symlink() or VENV.is_file():
        VENV.unlink()
    elif VENV.exists():
        print("the .venv found here is unfinished or from elsewhere: making it again")
        shutil.rmtree(VENV)
    VENV.mkdir()
    STAMP.write_text("{}")
    result = run_quietly("making .venv", [sys.executable, "-m", "venv", str(VENV)])
    if result.returncode != 0:
        raise SetupError(f"{last_lines(result.stdout)}\n.venv could not be made with {sys.executable}")


def install_project(extra: str) -> None:
    """Install the project and what it needs into `.venv`; SetupError if pip fails."""
    STAMP.write_text("{}")
    target = f".[{extra}]" if extra else "."
    command = [str(BIN / "python"), "-m", "pip", "install", "--quiet", "--no-input", "--editable", target]
    result = run_quietly("installing Plancha and its libraries into .venv (1 GB; a minute the first time)", command)
    PIP_LOG.write_text(result.stdout)
    if result.returncode == 0:
        return
    if any(sign in result.stdout for sign in OFFLINE):
        raise SetupError(
            "pip could not reach its package index: check network, proxy and certificates, then run this again\n"
            f"what pip said is in {PIP_LOG}"
        )
    raise SetupError(f"{last_lines(result.stdout)}\npip failed; all that it said is in {PIP_LOG}")


def set_up(extra: str = "") -> None:
    """Bring the system's libraries and `.venv` into the state that this project needs; SetupError if that fails."""
    wanted = wanted_setup(extra)
    step = next_step(found_setup(), wanted) if environment_works() else "rebuild"
    require_system(new_environment=step == "rebuild")
    if step == "nothing":
        return
    try:
        if step == "rebuild":
            make_environment()
        install_project(extra)
        STAMP.write_text(json.dumps(wanted, indent=1))
    except OSError as error:
        advice = "Plancha is set up in its own folder: put it where you may write, with 2 GB free"
        raise SetupError(f"{error}\n{advice}") from error


def run(command: list[str]) -> int:
    """Run a program of `.venv` from the project's folder with its output shown; returns its exit code."""
    print(f"$ .venv/{BIN.name}/{' '.join(command)}", flush=True)
    return subprocess.run([str(BIN / command[0]), *command[1:]], cwd=ROOT).returncode


def demo() -> int:
    """Solve the first example and say where its pictures are."""
    set_up()
    code = run(["plancha", "solve", STUDY, "-o", RESULTS])
    if code != 0:
        return code
    pictures = sorted(path for path in (ROOT / RESULTS).rglob("*") if path.suffix in (".png", ".svg"))
    print(f"pictures in {ROOT / RESULTS}: {', '.join(path.name for path in pictures) or 'none'}")
    return 0 if pictures else 1


def test() -> int:
    """Run the linter, the type checker and the tests, all of them even where one fails."""
    set_up("test")
    look_for_browser()
    codes = {name: run(command) for name, command in CHECKS.items()}
    for name, code in codes.items():
        print(f"{name}: {'passed' if code == 0 else f'failed (exit code {code})'}")
    return 1 if any(codes.values()) else 0


COMMANDS = {"demo": demo, "test": test}


def main(arguments: list[str] | None = None) -> int:
    """Run one of the commands; returns the exit code (2: unknown command, 1: failure, 130: interrupted)."""
    parser = argparse.ArgumentParser(prog="start.py", description="Set Plancha up in .venv, then run one of:")
    parser.add_argument(
        "command", choices=COMMANDS, help="demo: solve an example and draw it; test: run ruff, mypy and pytest"
    )
    command = COMMANDS[parser.parse_args(arguments).command]
    try:
        return command()
    except SetupError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\ninterrupted; the same command takes up the work again", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
