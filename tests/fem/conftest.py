"""Small studies, written out as a user would, for the checks of what is drawn from a solution."""

import pytest

from plancha.fem.findings import findings_of, solve_stack
from plancha.geometry.study_file import read_study

SINGLE = """
title = "one die on one plate (invented)"
ambient = "25 degC"
[plate]
size = ["60 mm", "50 mm"]
thickness = "3 mm"
material = { conductivity = "390 W/m/K" }
[[component]]
name = "die"
at = ["20 mm", "18 mm"]
size = ["12 mm", "10 mm"]
limit = "90 degC"
power = "60 W"
layers = [ { material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm", name = "silicon" },
           { name = "interface", impedance = "10 mm^2 K/W" } ]
[cooling]
coefficient = "2000 W/m^2/K"
"""

PAIR = (
    SINGLE
    + """
[[component]]
name = "driver"
at = ["40 mm", "8 mm"]
size = ["8 mm", "6 mm"]
limit = "80 degC"
power = "15 W"
board = { resistance = "12 K/W" }
layers = [ { material = { conductivity = "120 W/m/K" }, thickness = "0.4 mm", name = "silicon" },
           { name = "pad", impedance = "60 mm^2 K/W" } ]
"""
)


@pytest.fixture(scope="session")
def findings(tmp_path_factory):
    """Solve a study given as text; each text once."""
    solved: dict[str, object] = {}

    def of(text: str):
        if text not in solved:
            path = tmp_path_factory.mktemp("study") / "study.toml"
            path.write_text(text)
            solved[text] = findings_of(solve_stack(read_study(path).cases[0].stack))
        return solved[text]

    return of


@pytest.fixture(scope="session")
def single(findings):
    """One die on one plate, everything linear."""
    return findings(SINGLE)


@pytest.fixture(scope="session")
def pair(findings):
    """Two dies on one plate, one of them with a way out to the board."""
    return findings(PAIR)


@pytest.fixture(scope="session")
def single_text() -> str:
    """The text of the one-die study, to be changed."""
    return SINGLE


@pytest.fixture(scope="session")
def pair_text() -> str:
    """The text of the two-die study, to be changed."""
    return PAIR
