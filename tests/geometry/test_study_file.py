"""The study file: every fault comes at once with its line, place and likely intent, whatever the text holds."""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plancha.geometry.faults import StudyError
from plancha.geometry.key_lines import key_lines
from plancha.geometry.study_file import LARGEST_STUDY, SHOWN_FAULTS, read_study

GOOD = """\
title = "two chips on a plate (invented)"
ambient = "35 degC"
[plate]
size = ["100 mm", "80 mm"]
thickness = "3 mm"
material = "copper C11000"
[[component]]
name = "processor"
at = ["36 mm", "30 mm"]
size = ["24 mm", "20 mm"]
limit = "95 degC"
power = "24 W"
map = { file = "map.csv", unit = "W", seen_from = "cooled side" }
layers = [ { material = "silicon", thickness = "0.775 mm" },
           { name = "interface", bond_line = "50 um", conductivity = "5 W/m/K" } ]
[[component]]
name = "memory"
at = ["10 mm", "30 mm"]
size = ["10 mm", "12 mm"]
limit = "none"
power = "8 W"
board = { resistance = "30 K/W" }
layers = [ { material = "silicon", thickness = "0.5 mm" }, { name = "pad", impedance = "80 mm^2 K/W" } ]
[cooling]
coefficient = "2000 W/m^2/K"
[[probe]]
name = "tc1"
at = ["50 mm", "10 mm"]
[[case]]
name = "hot"
ambient = "45 degC"
processor.interface.bond_line = "80 um"
cooling.coefficient = "1800 W/m^2/K"
"""
MAP = "1, 2, 3\n4, 5, 9\n"


@pytest.fixture
def write(tmp_path):
    (tmp_path / "map.csv").write_text(MAP)

    def written(*changes, text=GOOD, add=""):
        for old, new in changes:
            assert text.count(old), old
            text = text.replace(old, new, 1)
        path = tmp_path / "study.toml"
        path.write_text(text + add, encoding="utf-8")
        return path

    return written


def refusal(path):
    """The messages, without the folder."""
    with pytest.raises(StudyError) as caught:
        read_study(path)
    return [str(fault).replace(f"{path.parent}/", "") for fault in caught.value.faults]


def test_a_good_study_is_read_with_its_cases_as_written_first(write):
    study = read_study(write())
    assert [case.name for case in study.cases] == ["as written", "hot"]
    first, hot = study.cases
    assert (first.study.ambient, hot.study.ambient) == (308.15, 318.15)
    assert first.stack.joints[0].impedance == pytest.approx(10e-6) and hot.stack.joints[0].impedance == pytest.approx(
        16e-6
    )
    assert (first.stack.films[0].coefficient, hot.stack.films[0].coefficient) == (2000.0, 1800.0)
    assert hot.changes == (
        ("ambient", "45 degC"),
        ("processor.interface.bond_line", "80 um"),
        ("cooling.coefficient", "1800 W/m^2/K"),
    )
    assert not first.stack.notes


def test_a_component_of_zero_watts_is_allowed(write):
    assert read_study(write(('"8 W"', '"0 W"'))).cases[0].stack.sources[1].power == 0.0


def test_a_byte_order_mark_and_line_ends_of_another_system_change_nothing(write):
    path = write()
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert len(read_study(path).cases) == 2
    path.write_bytes(GOOD.replace('"3 mm"', "3").replace("\n", "\r\n").encode())
    assert refusal(path)[0].startswith("study.toml, line 5, plate, thickness: ")


# Whole messages of representative faults.

A_LENGTH = 'a length at least 1 nm and at most 10000 mm, such as "3 mm" or "50 um" or "8 mil"'
A_POWER = 'a power at least 0 W and at most 1000000 W, such as "280 W" or "500 mW"'
A_TEMPERATURE = 'a temperature at least -123.1 degC and at most 1726.8 degC, such as "35 degC" or "308 K"'
PLATE_KEYS = (
    "at, center, corner_radius, cut_outs, diameter, face, interface, material, model, name, on, patch, points, size, "
    "thickness, turned"
)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            '"3 mm"',
            "3",
            f'line 5, plate, thickness: "3" has no unit; allowed: {A_LENGTH}; hint: write "3 mm" if that is meant',
        ),
        ('"3 mm"', '"0 mm"', f'line 5, plate, thickness: "0 mm" is too small; allowed: {A_LENGTH}'),
        ('"3 mm"', '"3 kmm"', 'line 5, plate, thickness: "3 kmm" has an unknown unit, kmm;*'),
        ('"3 mm"', '"3000 m"', f'line 5, plate, thickness: "3000 m" is too large; allowed: {A_LENGTH}'),
        ('"3 mm"', "true", f'line 5, plate, thickness: "True" stands where text is due; allowed: {A_LENGTH}'),
        ('"3 mm"', '["3 mm"]', f'line 5, plate, thickness: "list" stands where text is due; allowed: {A_LENGTH}'),
        (
            '"8 W"',
            '"-8 W"',
            f'line 21, component "memory", power: "-8 W" is too small; allowed: {A_POWER}',
        ),
        (
            '"8 W"',
            '"nan W"',
            f'line 21, component "memory", power: "nan W" is not a finite number; allowed: {A_POWER}',
        ),
        (
            '"8 W"',
            '"8 W/cm^2"',
            f'line 21, component "memory", power: "8 W/cm^2" is a heat flux, a power is due; allowed: {A_POWER}',
        ),
        (
            '"35 degC"',
            '"35 K"',
            'line 2, ambient: "35 K" is no plausible temperature (150 K to 2000 K); '
            f'allowed: {A_TEMPERATURE}; hint: write "35 degC" if that is meant',
        ),
        (
            '"copper C11000"',
            '"copper"',
            'line 6, plate, material: "copper" does not say which grade; '
            "allowed: copper pure, copper C10100, copper C11000, copper C12200; hint: they conduct 340 to 401 W/m/K",
        ),
        (
            '{ material = "silicon", thickness = "0.775',
            '{ material = "silicone", thickness = "0.775',
            'line 14, component "processor", layer 1, material: "silicone" does not say which grade; '
            "allowed: silicone rubber",
        ),
        (
            "thickness = ",
            'thicknes = "3 mm"\nthickness = ',
            f"line 5, plate, thicknes: unknown key; allowed: {PLATE_KEYS}; hint: did you mean thickness?",
        ),
        (
            "thickness = ",
            'ambient = "35 degC"\nthickness = ',
            f"line 5, plate, ambient: unknown key; allowed: {PLATE_KEYS}; "
            "hint: ambient is a key of the whole study: put it above the first [table]",
        ),
        (
            "thickness = ",
            'limit = "95 degC"\nthickness = ',
            f"line 5, plate, limit: unknown key; allowed: {PLATE_KEYS}; hint: limit is a key of component",
        ),
        (
            'limit = "95 degC"\n',
            "",
            f'line 7, component "processor", limit: must be given; allowed: {A_TEMPERATURE}; '
            'hint: highest allowed peak, or "none"',
        ),
        (
            '["24 mm", "20 mm"]',
            '"24 mm"',
            'line 10, component "processor", size: a list is due here (found: 24 mm); allowed: [..., ...]',
        ),
        (
            '["24 mm", "20 mm"]',
            '["24 mm"]',
            'line 10, component "processor", size: two values are due here; allowed: ["... mm", "... mm"]',
        ),
        (
            '"cooled side" }',
            '"cool side" }',
            'line 13, component "processor", map, seen_from: not one of the choices (found: cool side); '
            'allowed: "active side" or "cooled side"; hint: did you mean "cooled side"?',
        ),
        (
            '"cooled side" }',
            '"cooled side", mirror = "no" }',
            'line 13, component "processor", map, mirror: true or false is due here, without quotes (found: no); '
            "allowed: true, false",
        ),
        (
            '"map.csv"',
            '"none.csv"',
            'line 13, component "processor", map: none.csv: there is no such file; '
            "hint: a path is taken from the folder of the study file",
        ),
        (
            '"24 W"',
            '"48 W"',
            'line 13, component "processor", map: map.csv: total: the map\'s total is not the stated power, 0.5 times it '
            "(found: 24 W); allowed: 48 W within 1 %; hint: check unit and size, or write scale = true to scale the map",
        ),
        ("[[case]]\n", "[[case]]\nfoo = 1\n", 'line 30, case "hot", foo: nothing in the study has this name*'),
        ('name = "hot"\n', "", 'line 29, case 1: a load case needs a name; allowed: name = "hot day"'),
        (
            "processor.interface",
            "procesor.interface",
            'line 32, case "hot", procesor: nothing in the study has this name (found: procesor); allowed: plate, '
            "processor, memory, cooling, tc1, probe, title, ambient, sustainable, accuracy, mesh_size, component, joint, "
            "fins, flow, fan, edge; "
            "hint: did you mean processor?",
        ),
        (
            '"1800 W/m^2/K"',
            '"0 W/m^2/K"',
            'line 33, case "hot", cooling, coefficient: "0 W/m^2/K" is too small; allowed: a coefficient at least '
            '0.001 W/m^2/K and at most 10000000 W/m^2/K, such as "2000 W/m^2/K" or "0.2 W/(cm2 K)"',
        ),
        (
            'processor.interface.bond_line = "80 um"',
            'processor.at = ["10 mm", "30 mm"]',
            'line 29, case "hot", component "memory": memory/silicon and processor/silicon lie on one spot of plate, '
            "component side (found: x 10 mm to 20 mm, y 30 mm to 42 mm); hint: move one of them",
        ),
        (
            "title = ",
            "title = 3 mm #",
            "line 1: not valid TOML: Expected newline or end of document after a statement; "
            'hint: quantities are texts in quotes: thickness = "3 mm"',
        ),
    ],
)
def test_a_fault_is_told_with_line_place_value_allowed_and_hint(write, old, new, said):
    found = refusal(write((old, new)))
    if said.endswith("*"):
        assert found[0].startswith("study.toml, " + said[:-1])
    else:
        assert found == ["study.toml, " + said]


def test_all_faults_come_at_once_in_the_order_of_their_lines(write):
    changes = [
        ('"3 mm"', "3"),
        ('"map.csv"', '"none.csv"'),
        ('"silicon", thickness = "0.5', '"unobtainium", thickness = "0.5'),
        ('"50 mm", "10 mm"', '"500 mm", "10 mm"'),
        ('"1800 W/m^2/K"', "1800"),
    ]
    lines = [int(re.findall(r"line (\d+)", said)[0]) for said in refusal(write(*changes))]
    assert lines == [5, 13, 23, 28, 33]


def test_a_fault_of_the_study_as_written_is_not_told_again_for_each_case(write):
    assert len(refusal(write(('"3 mm"', "3"), add='[[case]]\nname = "cold"\nambient = "5 degC"\n'))) == 1


def test_a_key_typed_below_a_table_is_told_as_such_and_as_missing(write):
    found = refusal(write(('ambient = "35 degC"\n', ""), ("[plate]\n", '[plate]\nambient = "35 degC"\n')))
    assert found[0].startswith("study.toml, ambient: must be given; ")
    assert found[1].endswith("hint: ambient is a key of the whole study: put it above the first [table]")


def test_the_cells_of_a_map_are_located_in_the_map(write):
    path = write()
    (path.parent / "map.csv").write_text("1, 2\n3, x\n")
    assert refusal(path) == [
        "map.csv, line 2, row 2, column 2: this is not a number (found: x); allowed: a number, 0 or more"
    ]


def test_an_oversized_map_is_refused(write):
    path = write()
    blocks = "".join(f"{n * 3e-3:.6f},{n * 3e-3:.6f},1e-3,1e-3,1e-3\n" for n in range(5200))
    (path.parent / "map.csv").write_text("x [mm],y [mm],width [mm],height [mm],power [W]\n" + blocks)
    assert "the blocks' edges make too many cells" in refusal(path)[0]


def test_files_that_are_missing_no_files_no_text_or_too_large_are_refused(write, tmp_path):
    path = write()
    assert refusal(tmp_path / "nothing.toml") == ["nothing.toml: there is no such file; hint: check the path"]
    assert refusal(tmp_path)[0].endswith(": this is not a file; allowed: a study file (TOML)")
    path.write_bytes(b'title = "\xff\xfe"')
    assert refusal(path) == ["study.toml: the file is not text in UTF-8; hint: save it as UTF-8"]
    path.write_text("#" * (LARGEST_STUDY + 1))
    assert refusal(path) == [
        "study.toml: the study is too large (found: 2000001 bytes); allowed: 2000000 bytes at most; "
        "hint: put maps into CSV files"
    ]
    with pytest.raises(StudyError, match="cannot be read"):
        read_study("nul\0.toml")


@pytest.mark.parametrize(
    "text",
    [
        "=", "[", "[[plate]]", "plate = []", "plate = [[[]]]", "case = 3", "case = [1, 2]", "[case]", "7 = 1", '"" = 1',
        "a = " + "[" * 50_000, "a" + ".a" * 5000 + " = 1", "a = " + "9" * 5000, "quarter = 0x" + "f" * 5000,
        "title = 2024-01-01", "ambient = 12:00:00", 'title = "\\u0000"', "component = { a = { b = { c = 1 } } }",
        "plate = { material = { '<table>' = 1, '<text>' = 2 } }", "plate = { '<text>' = 1 }", "cooling = [5, {}, []]",
        "sustainable = [1]", "[plate.interface]\nmaterial = 3", "joint = { lower = 1 }", "[plate]\nsize = [{}, {}]",
        "[[plate]]\n" * 1500, "[[component]]\n" * 2500, "[[case]]\n" * 1500, "[[case]]\n[case.plate]\nthickness = 3",
        "[[case]]\nname = 'x'\nplate = 5\ncooling = []", "ambient = inf", "mesh_size = nan",
    ],
)  # fmt: skip
@pytest.mark.parametrize("base", ["", GOOD])
def test_nonsense_is_refused_with_faults_and_nothing_else(write, text, base):
    path = write(text=text + "\n" + base)
    found = refusal(path)
    assert 1 <= len(found) <= SHOWN_FAULTS + 1
    assert all(len(said) < 1500 and said.isprintable() for said in found)


def test_more_faults_than_one_reads_are_counted(write):
    found = refusal(write(add="[[probe]]\n" * 200))
    assert len(found) == SHOWN_FAULTS + 1 and found[-1] == "study.toml: ... and 350 more faults"


def test_more_than_two_thousand_components_are_refused(write):
    part = '[[component]]\nname = "c{}"\nat = ["1 mm", "1 mm"]\nsize = ["1 mm", "1 mm"]\nlimit = "none"\npower = "1 W"\nlayers = []\n'
    found = refusal(write(text=GOOD.split("[[component]]")[0] + "".join(part.format(n) for n in range(2001))))
    assert "study.toml, line 7, component: the list is too long; allowed: at most 2000" in found


# Load cases.


def test_a_case_may_replace_a_material_by_a_table_and_add_what_was_not_there(write):
    add = 'plate.material = { conductivity = "100 W/m/K" }\nprocessor.board.resistance = "5 K/W"\n'
    hot = read_study(write(add=add)).cases[1].stack
    assert hot.bodies[0].material.conductivity == (100.0, 100.0, 100.0)
    assert [film.name for film in hot.films] == ["cooling", "processor to board", "memory to board"]


def test_a_name_that_two_layers_share_cannot_be_overridden(write):
    layer = '{ name = "pad", impedance = "80 mm^2 K/W" }'
    found = refusal(write((layer, f"{layer}, {layer}"), add='memory.pad.impedance = "90 mm^2 K/W"\n'))
    assert found == [
        'study.toml, line 34, case "hot", memory, pad: 2 parts are called so (found: pad); allowed: names of their own'
    ]


def test_two_cases_of_one_name_are_refused(write):
    assert refusal(write(add='[[case]]\nname = "hot"\n')) == [
        "study.toml, line 35, case 2: another load case has this name (found: hot); allowed: a name of its own"
    ]


# Lines.


def test_keys_are_found_on_their_lines_however_the_text_is_laid_out():
    text = '''
a = { b = 1.5, c = [ 1,
  2 ] } # x = 1
"d.e".f = """
g = 1
"""
[[t]]
  [t.u]
  v = [ { w = 1 },
        { w = '=' } ]
[[t]]
u.v = 1
[[t.x]]
y = 2024-01-01T00:00:00
'''
    lines = key_lines(text)
    expected = {
        ("a",): 2, ("a", "b"): 2, ("a", "c"): 2, ("a", "c", 1): 3, ("d.e",): 4, ("d.e", "f"): 4, ("t", 0): 7, ("t", 0, "u"): 8,
        ("t", 0, "u", "v"): 9, ("t", 0, "u", "v", 1, "w"): 10, ("t", 1): 11, ("t", 1, "u", "v"): 12, ("t", 1, "x", 0): 13,
        ("t", 1, "x", 0, "y"): 14,
    }  # fmt: skip
    assert {path: lines.get(path) for path in expected} == expected
    assert ("g",) not in lines


# Any change whatever.

NASTY = [
    "3", "-1", "nan", "inf", "true", "[]", "{}", '""', '"3 mm"', '"-3 mm"', '"0 mm"', '"1e9 m"', '"1 nm"', '"nan mm"', '"3 mm mm"',
    '"95 degC"', '"10 K"', '"8 mm^2 K/W"', '"1e-9 mm^2 K/W"', '"280 W"', '"copper"', '"plate"', '"processor"', '"processor/silicon"',
    '"memory"', '"perfect"', '"none"', '"all"', '"cooled side"', '"gallium alloy"', '["1 mm", "1 mm"]', '["36 mm", "30 mm"]',
    '["1 mm"]', "[[1, 2], [3]]", "{ a = 1 }", '{ conductivity = "5 W/m/K" }', '{ impedance = "8 mm^2 K/W" }', "2024-01-01",
    '"\\u0000"', '"\\U0001F525"', "0xffffffffffffffffffff", '{ file = "map.csv", unit = "W/cm^2", seen_from = "active side" }',
    '[["0 mm", "0 mm"], ["9 mm", "9 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]]', '"../study.toml"', '"map.csv"', '"."',
]  # fmt: skip
LINES = [
    *GOOD.splitlines(), "[[joint]]", 'lower = "plate"', 'upper = "processor"', 'interface = "perfect"', "[[edge]]", 'side = "all"',
    'held = "25 degC"', 'on = "plate"', 'on = "memory"', "layers = []", 'face = "cooled side"', '[[plate]]', 'name = "base"',
    'cut_outs = [ { center = ["15 mm", "35 mm"], diameter = "8 mm" } ]', 'area = { at = ["0 mm", "0 mm"], size = ["9 mm", "9 mm"] }',
    'heat_depth = "1 mm"', 'map = { file = "map.csv", unit = "W/m^2/K" }', "title = 1", 'mesh_size = "1 um"',
    "[[case]]", 'model = "sheet"',
]  # fmt: skip


@st.composite
def spoilt_studies(draw):
    lines = GOOD.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(["drop", "double", "value", "insert", "move", "letter"])):
            case "drop" if len(lines) > 1:
                del lines[at]
            case "double":
                lines.insert(at, lines[at])
            case "value":
                values = list(re.finditer(r'"[^"]*"|(?<== )\S.*$', lines[at]))
                if values:
                    start, stop = draw(st.sampled_from(values)).span()
                    lines[at] = lines[at][:start] + draw(st.sampled_from(NASTY)) + lines[at][stop:]
            case "insert":
                lines.insert(at, draw(st.sampled_from(LINES)))
            case "move":
                lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(at))
            case _:
                line, place = lines[at], draw(st.integers(0, max(0, len(lines[at]) - 1)))
                lines[at] = line[:place] + draw(st.sampled_from(list("\"'[]{}=.,# x9-é\t"))) + line[place + 1 :]
    return "\n".join(lines)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spoilt_studies())
def test_a_spoilt_study_is_read_or_refused_with_messages_and_nothing_else(write, text):
    try:
        assert read_study(write(text=text)).cases
    except StudyError as error:
        assert error.faults and all(fault.message for fault in error.faults)
        assert all(fault.file for fault in error.faults)


def test_an_empty_study_is_told_what_must_be_there(write):
    assert [said.split(";")[0] for said in refusal(write(text=""))] == [
        "study.toml, title: must be given",
        "study.toml, ambient: must be given",
        "study.toml, plate: must be given",
    ]
