"""Seeded mutations of a study and its CSV file together, through the command line: a valid result, or a plain refusal.

Some sixty by default; PLANCHA_FUZZ=10000 asks for as many as it says, PLANCHA_FUZZ_FROM for the first seed. A failure names its
seed and shows both files.
"""

import contextlib
import io
import os
import random
import re
import signal
import time
import warnings

import pytest

from plancha.app.cli import main
from plancha.app.result import Result

COUNT = int(os.environ.get("PLANCHA_FUZZ", "60"))
FIRST = int(os.environ.get("PLANCHA_FUZZ_FROM", "0"))
CHUNKS = 4 if COUNT <= 100 else 20
SECONDS = 180  # that one mutant may take
MEMORY = 2e9  # bytes, as if so much were free: what is solved hangs on no machine, and no mutant takes minutes
REFUSAL_SECONDS = 5  # in which what cannot be done is refused, on a machine busy with other things

STUDY = """\
title = "a chip and a driver (invented)"
ambient = "35 degC"
accuracy = "5 %"
[[plate]]
name = "base"
size = ["40 mm", "30 mm"]
thickness = "2 mm"
material = "copper C11000"
[[component]]
name = "chip"
at = ["8 mm", "8 mm"]
size = ["12 mm", "10 mm"]
limit = "95 degC"
power = "60 W"
map = { file = "map.csv", unit = "W/cm^2", seen_from = "cooled side", scale = true }
layers = [ { name = "die", material = "silicon", thickness = "0.5 mm" },
           { name = "interface", bond_line = "50 um", conductivity = "5 W/m/K", contact = "2 mm^2 K/W" } ]
[[component]]
name = "driver"
at = ["28 mm", "12 mm"]
size = ["6 mm", "5 mm"]
limit = "none"
power = "5 W"
board = { resistance = "40 K/W" }
layers = [ { material = { conductivity = "120 W/m/K" }, thickness = "0.3 mm" }, { impedance = "20 mm^2 K/W" } ]
[cooling]
coefficient = "2500 W/m^2/K"
[[probe]]
name = "sensor"
at = ["2 mm", "2 mm"]
[[case]]
name = "hot day"
ambient = "45 degC"
chip.interface.bond_line = "80 um"
"""
AIR = """\
title = "a chip under fins (invented)"
ambient = "35 degC"
accuracy = "5 %"
[[plate]]
name = "base"
size = ["40 mm", "30 mm"]
thickness = "2 mm"
material = "copper C11000"
patch = [ { at = ["4 mm", "4 mm"], size = ["6 mm", "5 mm"], material = "aluminium 6061-T6" } ]
[[component]]
name = "chip"
at = ["14 mm", "10 mm"]
size = ["12 mm", "10 mm"]
limit = "95 degC"
power = "20 W"
leakage = { power = "1 W", at = "60 degC", growth = "1.5 %/K" }
layers = [ { name = "die", material = "silicon", thickness = "0.5 mm" },
           { name = "solder", bond_line = "50 um", conductivity = "40 W/m/K", bow = "20 um", void = [
               { center = ["18 mm", "14 mm"], diameter = "2 mm" } ] } ]
[[fins]]
form = "plate fins"
along = "x"
pitch = "2 mm"
thickness = "0.4 mm"
height = "12 mm"
material = "aluminium 1050"
tip_gap = "1 mm"
patch = [ { at = ["10 mm", "10 mm"], size = ["10 mm", "10 mm"], height = "8 mm" } ]
[[flow]]
name = "air"
entry = "side"
side = "left"
fluid = "air"
fans = "fan"
beside = "4 mm"
loss = { name = "grille", coefficient = 1.5, area = "6 cm^2" }
[[fan]]
curve = "map.csv"
test_density = "1.2 kg/m^3"
test_speed = "5000 rpm"
level = "40 dB(A)"
[cooling]
on = "base"
face = "component side"
natural = "facing down"
emissivity = 0.8
[[case]]
name = "slow"
fan.speed = "3000 rpm"
"""
CURVE = "flow [m^3/h], static pressure [Pa]\n0, 120\n5, 100\n10, 60\n15, 0\n"
GRID = "# invented\n20,20,40\n20,90,40\n"
BLOCKS = "x [mm], y [mm], width [mm], height [mm], power [W], name\n1, 1, 4, 5, 40, one\n6, 1, 4, 5, 20, two\n"
ODD = (
    *('"0 mm"', '"1e-9 mm"', '"1e9 mm"', '"-3 mm"', '"nan mm"', '"inf W"', '"3"', "3", '""', '" "', "[]", "{}", "true"),
    *(
        '"0 W"',
        '"1e-9 W"',
        '"1e5 W"',
        '"0 W/m/K"',
        '"2500 W/m/K"',
        '"0 mm^2 K/W"',
        '"1e-12 mm^2 K/W"',
        '"1e5 mm^2 K/W"',
    ),
    *(
        '"-300 degC"',
        '"-273.15 degC"',
        '"5000 degC"',
        '"20 K"',
        '"none"',
        '"perfect"',
        '"sheet"',
        '"component side"',
        '"all"',
    ),
    *(
        '"base"',
        '"chip"',
        '"chip/die"',
        '"die\\u0000"',
        '"é 𝛼 \\u202e"',
        "1979-05-27",
        "1e400",
        "0x_1",
        '["1 mm"]',
        '"0.01 %"',
    ),
)
LINES = (
    *('model = "sheet"', 'heat_depth = "0.1 mm"', 'face = "cooled side"', 'mesh_size = "1 um"', 'mesh_size = "0.5 mm"'),
    *('[edge]\nside = "left"\nheld = "20 degC"', '[[edge]]\nside = "all"\ncoefficient = "30 W/m^2/K"', 'on = "base"'),
    '[[cooling]]\nname = "cold spot"\nheld = "10 degC"\narea = { at = ["20 mm", "20 mm"], size = ["5 mm", "4 mm"] }',
    '[[plate]]\nname = "lid"\nsize = ["30 mm", "20 mm"]\nat = ["5 mm", "5 mm"]\nthickness = "1 mm"\n'
    'material = "aluminium 6061-T6"\non = "base"\ninterface = { impedance = "8 mm^2 K/W" }',
    '[[plate]]\nname = "sheet"\nsize = ["60 mm", "30 mm"]\nthickness = "25 um"\nmodel = "sheet"\non = "base"\n'
    'interface = "perfect"\nmaterial = { conductivity_in_plane = "1500 W/m/K", conductivity_through = "5 W/m/K" }',
    'cut_outs = [ { center = ["30 mm", "8 mm"], diameter = "4 mm" } ]',
    'points = [["0 mm", "0 mm"], ["40 mm", "0 mm"], ["20 mm", "30 mm"]]',
    '[[joint]]\nlower = "chip"\nupper = "driver"\ninterface = "perfect"',
    '[[case]]\nname = "cold"\nambient = "-40 degC"\nchip.power = "1 W"',
    '[[case]]\nname = "held"\ncooling = { held = "20 degC" }',
    *(
        'entry = "top"',
        'entry = "through"\nside = "tips"',
        'described_as = "film"',
        'along = "y"',
        'side = "right"',
        "running = false",
    ),
    *(
        'form = "pins"',
        'altitude = "3000 m"',
        'blocked = "50 %"',
        'rate = "5 CFM"',
        'fluid = "ethylene glycol 30 %"',
        'natural = "facing up"',
    ),
    *(
        'tilt = ["40 um", "0 um"]',
        'void_map = { file = "map.csv" }',
        'resistive = { growth = "0.4 %/K", at = "25 degC" }',
    ),
    *('candidate = "gallium alloy"', 'age = "end of life"', 'emissivity = "85 %"', 'coefficient = "40 W/m^2/K"'),
    *(
        'sustainable = "chip"',
        'accuracy = "0.2 %"',
        "quarter_turns = 1",
        'board = { resistance = "1 K/W" }',
        "layers = []",
    ),
)
CELLS = ("0", "-1", "1e300", "1e-300", "nan", "", "x", '"', "1;2", "1,5", "1e5", "٣", "=1+1")


def scaled(text: str, dice: random.Random) -> str:
    """One of the numbers in the text times a power of ten, mostly a modest one."""
    numbers = list(re.finditer(r"(?<![\w.])\d+(\.\d+)?", text))
    if not numbers:
        return text
    found = dice.choice(numbers)
    factor = 10 ** dice.choice([dice.uniform(-0.5, 0.5), dice.uniform(-0.5, 0.5), dice.uniform(-4, 4)])
    return text[: found.start()] + f"{float(found[0]) * factor:.6g}" + text[found.end() :]


def odd_value(text: str, dice: random.Random) -> str:
    """One quoted text replaced by an odd one, or by another of the same file."""
    values = list(re.finditer(r'"[^"\n]*"', text))
    if not values:
        return text
    found = dice.choice(values)
    new = dice.choice(ODD) if dice.random() < 0.6 else dice.choice(values)[0]
    return text[: found.start()] + new + text[found.end() :]


def moved_line(text: str, dice: random.Random) -> str:
    """A line lost, doubled, or put elsewhere."""
    lines = text.split("\n")
    line, place = dice.randrange(len(lines)), dice.randrange(len(lines))
    taken = lines[line]
    if dice.random() < 0.6:
        del lines[line]
    if dice.random() < 0.5:
        lines.insert(place, taken)
    return "\n".join(lines)


def added_line(text: str, dice: random.Random) -> str:
    """A further key or table at some place, or at the end."""
    lines = text.split("\n")
    place = len(lines) if dice.random() < 0.4 else dice.randrange(len(lines))
    return "\n".join([*lines[:place], dice.choice(LINES), *lines[place:]])


def broken_bytes(text: str, dice: random.Random) -> str:
    """A character lost, turned or put in, or the end cut off."""
    place = dice.randrange(len(text) + 1)
    how = dice.randrange(4)
    if how == 0:
        return text[:place]
    if how == 1:
        return text[:place] + text[place + 1 :]
    new = chr(dice.choice([0, 9, 34, 44, 46, 91, 123, 0xFEFF, 0x1F600, 0xDCFF, dice.randrange(1, 0x2FF)]))
    return text[:place] + new + text[place + how - 2 :]


def changed_cell(text: str, dice: random.Random) -> str:
    """One cell of a CSV file replaced by an odd one."""
    lines = text.split("\n")
    line = dice.randrange(len(lines))
    cells = lines[line].split(",")
    cells[dice.randrange(len(cells))] = dice.choice(CELLS)
    lines[line] = ",".join(cells)
    return "\n".join(lines)


def mutant(seed: int) -> tuple[str, str]:
    """Study and CSV file after one to three mutations."""
    dice = random.Random(seed)
    study, table = dice.choice([(STUDY, GRID), (STUDY, BLOCKS), (AIR, CURVE), (AIR, CURVE)])
    if table is BLOCKS:
        study = study.replace('unit = "W/cm^2", ', "")
    for _ in range(dice.choice([1, 1, 2, 3])):
        if dice.random() < 0.25:
            table = dice.choice([scaled, changed_cell, moved_line, broken_bytes])(table, dice)
        else:
            how = dice.choices([scaled, odd_value, moved_line, added_line, broken_bytes], [5, 3, 2, 3, 1])[0]
            study = how(study, dice)
    return study, table


@contextlib.contextmanager
def deadline(seconds: int):
    """Raise TimeoutError in what takes longer."""

    def late(*_):
        raise TimeoutError(f"not done after {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def check(folder, seed: int) -> str:
    """Solve one mutant; what is wrong with how that went, or nothing."""
    study, table = mutant(seed)
    (folder / "study.toml").write_bytes(study.encode("utf-8", "surrogateescape"))
    (folder / "map.csv").write_bytes(table.encode("utf-8", "surrogateescape"))
    out, err, start = io.StringIO(), io.StringIO(), time.monotonic()
    try:
        with (
            deadline(SECONDS),
            warnings.catch_warnings(),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            warnings.simplefilter("error", RuntimeWarning)
            code = main(["solve", str(folder / "study.toml"), "--no-pictures"])
    except (Exception, SystemExit) as error:  # whatever it is, it is what a user would see as a traceback
        return f"{type(error).__name__}: {error}"
    seconds, left = time.monotonic() - start, sorted(os.listdir(folder))
    if code == 0:
        return valid(folder, left)
    if code not in (1, 2) or not err.getvalue().strip() or "Traceback" in err.getvalue():
        return f"exit {code} with: {err.getvalue()[:300]}"
    if left != ["map.csv", "study.toml"]:
        return f"exit {code} and left {left}"
    return f"refused only after {seconds:.1f} s" if code == 2 and seconds > REFUSAL_SECONDS else ""


def valid(folder, left: list[str]) -> str:
    """What is wrong with the results of a solve that says it is done, or nothing; the results are removed."""
    result = Result.model_validate_json((folder / "results" / "result.json").read_bytes())
    written = sorted(os.listdir(folder / "results"))
    for name in written:
        (folder / "results" / name).unlink()
    (folder / "results").rmdir()
    if not {"fields.vtu", "result.json"} <= set(written) or left != ["map.csv", "results", "study.toml"]:
        return f"wrote {written} and left {left}"
    for case in result.cases:
        heat = [path.heat_W for path in case.ways_out]
        moving = abs(case.audit.heat_in_W) + sum(map(abs, heat))
        if not abs(sum(heat) - case.audit.heat_in_W) <= 1e-8 * moving + 1e-6:
            return f"{case.name}: {case.audit.heat_in_W} W in, {sum(heat)} W out"
        if not all(each.peak_degC >= each.area_mean_degC - 1e-6 for each in case.components):
            return f"{case.name}: a peak below its mean"
    return ""


@pytest.mark.skipif(not hasattr(signal, "SIGALRM"), reason="no alarm signal on this system")
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_every_mutant_gives_a_valid_result_or_a_plain_refusal(tmp_path, monkeypatch, chunk):
    monkeypatch.setattr("plancha.fem.memory.free_memory", lambda: MEMORY)
    wrong = {}
    for seed in range(FIRST + chunk, FIRST + COUNT, CHUNKS):
        found = check(tmp_path, seed)
        if found:
            wrong[seed] = found
    told = {seed: (found, *mutant(seed)) for seed, found in list(wrong.items())[:3]}
    assert not wrong, f"seeds {sorted(wrong)}: " + "\n".join("\n".join(map(str, each)) for each in told.items())


def test_a_good_part_of_the_mutants_is_solved(tmp_path):
    """Mutations that only break syntax would test nothing but the reader."""
    codes = []
    for seed in range(60):
        study, table = mutant(seed)
        (tmp_path / "study.toml").write_bytes(study.encode("utf-8", "surrogateescape"))
        (tmp_path / "map.csv").write_bytes(table.encode("utf-8", "surrogateescape"))
        codes.append(main(["check", str(tmp_path / "study.toml")]))
    assert 12 <= codes.count(0) <= 50 and codes.count(2) >= 8
