"""Power maps from files: which side is up, what units and separators mean, and what is said about a wrong file."""

import itertools
import os
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plancha.geometry.faults import StudyError
from plancha.geometry.power_map import mirrored, total_power, turned
from plancha.geometry.power_map_file import read_grid, read_power_map

GRID = "1,2,3\n4,5,6\n"
TABLE = "x [mm],y [mm],width [mm],height [mm],power [W]\n"


@pytest.fixture
def write(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def writing(content, name="map.csv"):
        (tmp_path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return name

    return writing


def read(path, **options):
    settled: dict[str, Any] = {"width": 0.02, "height": 0.01, "unit": "W", "seen_from": "cooled side"}
    return read_power_map(path, **(settled | options))


def refusal(path, **options):
    with pytest.raises(StudyError) as caught:
        read(path, **options)
    return str(caught.value).split("\n")


def same(one, other):
    return (
        np.array_equal(one.watts, other.watts)
        and np.allclose(one.x, other.x, rtol=1e-15, atol=0)
        and np.allclose(one.y, other.y, rtol=1e-15, atol=0)
    )


# Which side is up.


def test_the_first_row_of_the_file_is_the_top(write):
    power_map = read(write(GRID))
    assert power_map.watts.tolist() == [[4, 5, 6], [1, 2, 3]]
    assert power_map.x == pytest.approx([0, 0.02 / 3, 0.04 / 3, 0.02])
    assert power_map.y.tolist() == [0, 0.005, 0.01]


def test_a_map_seen_from_the_active_side_is_the_mirror_of_the_one_seen_from_the_cooled_side(write):
    path = write(GRID)
    assert same(read(path, seen_from="active side"), mirrored(read(path)))
    assert read(path, seen_from="active side").watts.tolist() == [[6, 5, 4], [3, 2, 1]]


def test_a_mirrored_map_seen_from_the_active_side_is_as_read(write):
    path = write(GRID)
    assert same(read(path, seen_from="active side", mirror=True), read(path))


@pytest.mark.parametrize("turns", [-1, 1, 2, 3])
def test_the_mirror_comes_before_the_turns_and_the_footprint_is_the_turned_one(write, turns):
    path = write("1,2,3,4\n5,6,7,8\n")
    width, height = 0.02, 0.01
    before = (height, width) if turns % 2 else (width, height)
    straight = read(path, width=before[0], height=before[1])
    power_map = read(path, width=width, height=height, seen_from="active side", quarter_turns=turns)
    assert same(power_map, turned(mirrored(straight), turns))
    assert (power_map.width, power_map.height) == pytest.approx((width, height), rel=1e-15)


def test_a_quarter_turn_lays_the_picture_s_top_row_down_the_left_side(write):
    power_map = read(write("1,2\n3,4\n"), width=0.01, quarter_turns=1)
    assert power_map.watts[::-1].tolist() == [[2, 4], [1, 3]]


# Units and totals.


@pytest.mark.parametrize(
    ("unit", "watts"),
    [("W", 21), ("mW", 0.021), ("W/cm^2", 7), ("W/cm2", 7), ("W/mm^2", 700), ("W/mm2", 700), ("W/m^2", 7e-4)],
)
def test_the_unit_says_whether_cells_hold_power_or_flux(write, unit, watts):
    """Six cells of 1/3 cm2 each on 20 mm x 10 mm, 21 in sum."""
    assert total_power(read(write(GRID), unit=unit)) == pytest.approx(watts, rel=1e-14)


def test_a_total_within_one_percent_of_the_stated_power_stays_as_it_is(write):
    for power in (21.2, 20.8):
        assert total_power(read(write(GRID), power=power)) == 21.0


@pytest.mark.parametrize(
    ("power", "said"),
    [
        (21.22, "map.csv, total: the map's total is not the stated power, 0.9896 times it (found: 21 W)"
                "; allowed: 21.22 W within 1 %"),
        (0.21, "map.csv, total: the map's total is not the stated power, 100 times it (found: 21 W)"
               "; allowed: 0.21 W within 1 %"),
        (0.0, "map.csv, total: the map's total is not the stated power (found: 21 W); allowed: 0 W within 1 %"),
    ],
)  # fmt: skip
def test_a_total_beyond_one_percent_is_refused(write, power, said):
    hint = "; hint: check unit and size, or write scale = true to scale the map"
    assert refusal(write(GRID), power=power) == [said + hint]


def test_a_map_told_to_scale_has_the_stated_power_and_keeps_its_pattern(write):
    power_map = read(write(GRID), power=42.0, scale=True)
    assert power_map.watts.tolist() == [[8, 10, 12], [2, 4, 6]]
    assert total_power(read(write(GRID), power=21.1, scale=True)) == pytest.approx(21.1, rel=1e-15)


def test_a_dark_map_is_refused_unless_the_power_is_zero(write):
    path = write("0,0\n0,0\n")
    said = "map.csv, total: the map gives off no power at all (found: 0 W); allowed: "
    assert refusal(path) == [said + "a power above 0 W"]
    assert refusal(path, power=5.0, scale=True) == [said + "5 W"]
    assert total_power(read(path, power=0.0)) == 0.0


def test_scaling_to_no_stated_power_is_refused(write):
    said = "map.csv, scale: there is no power to scale the map to; hint: state the power"
    assert refusal(write(GRID), scale=True) == [said]


def test_unit_and_view_must_be_said_and_are_asked_for_together(write):
    assert refusal(write(GRID), unit=None, seen_from=None) == [
        "map.csv, seen_from: it must be said from which side the map is seen; allowed: cooled side or active side"
        "; hint: a flip chip's layout is drawn from its active side",
        "map.csv, unit: a grid needs the unit of its cells; allowed: W, W/cm^2, W/mm^2 or W/m^2",
    ]


@pytest.mark.parametrize("unit", ["K", "W/cm^3", "watts per tile"])
def test_a_unit_that_is_no_power_or_flux_is_refused(write, unit):
    (line,) = refusal(write(GRID), unit=unit)
    said = f"map.csv, unit: the unit of the cells cannot be used (found: {unit}); allowed: W, W/cm^2, W/mm^2 or W/m^2"
    assert line.startswith(said)


# Separators, decimal marks, encodings: the same map, however it is written.

POINTS = "0.5,12.25,3\n4,5.125,6e0\n"
MAP = [[0.5, 12.25, 3], [4, 5.125, 6]]


@pytest.mark.parametrize(
    "content",
    [
        POINTS,
        POINTS.replace(",", ";"),
        POINTS.replace(",", "\t"),
        POINTS.replace(",", " "),
        POINTS.replace(",", "   "),
        POINTS.replace(",", " , "),
        POINTS.replace(",", ";").replace(".", ","),
        POINTS.replace(",", "\t").replace(".", ","),
        POINTS.replace("\n", "\r\n"),
        POINTS.replace("\n", "\r"),
        POINTS.rstrip("\n"),
        POINTS + "\n\n  \n,,,\n;;\n",
        "# invented\n" + POINTS.replace("4,", "  # note, 3; 4\n4,"),
        "\n" + POINTS.replace("3\n", "3\n\n"),
        '"0.5","12.25","3"\n"4","5.125","6"\n',
        '"0,5","12,25","3"\n"4","5,125","6"\n',
        '"0,5"; "12,25";3\n4;"5,125";6\n',
        b"\xef\xbb\xbf" + POINTS.encode(),
        POINTS.encode("utf-16"),
        b"\xfe\xff" + POINTS.encode("utf-16-be"),
        "# \u00b5\u00b2\n".encode("cp1252") + POINTS.encode(),
        POINTS.replace("12.25", "+1225E-2"),
    ],
)
def test_the_same_map_in_another_writing_is_the_same_map(write, content):
    assert read(write(content)).watts[::-1].tolist() == MAP


def test_commas_alone_part_cells(write):
    assert read(write("1,5,2,5\n")).watts.tolist() == [[1, 5, 2, 5]]


@pytest.mark.parametrize(("content", "shape"), [("1,2,3", (1, 3)), ("1\n2\n3", (3, 1)), ("7", (1, 1)), ("1e1", (1, 1))])
def test_one_row_one_column_or_one_cell_is_a_map(write, content, shape):
    assert read(write(content)).watts.shape == shape


@pytest.mark.parametrize(
    ("content", "reason", "found"),
    [
        ("1;2\t3\n", "both semicolons and tabs stand between the cells", "1;2\t3"),
        ("1,5 2,5\n", "both commas and spaces stand between the digits", "1,5 2,5"),
        ("1,05,2,25\n", "commas may be decimal marks or separators here", "1,05,2,25"),
    ],
)
def test_a_separator_that_cannot_be_told_is_asked_for(write, content, reason, found):
    assert refusal(write(content)) == [
        f"map.csv, line 1, row 1: the separator cannot be told: {reason} (found: {found})"
        "; allowed: comma, semicolon or tab between the cells"
        "; hint: with decimal commas, put semicolons between the cells"
    ]


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.floats(0, 1e6, allow_subnormal=False), min_size=3, max_size=3), min_size=1, max_size=5))
def test_a_decimal_comma_file_equals_its_decimal_point_twin(write, rows):
    rows[0][0] = 1.5
    text = "\n".join(";".join(repr(value) for value in row) for row in rows)
    assert same(read(write(text)), read(write(text.replace(".", ","), "twin.csv")))


# Wrong files: the whole message.


def test_a_missing_file_is_named_as_the_user_named_it(write):
    write(GRID)
    hint = "; hint: a path is taken from the folder of the study file"
    assert refusal("./no/../map2.csv") == ["./no/../map2.csv: there is no such file" + hint]
    assert refusal("/nowhere/map2.csv", shown_as="map2.csv") == ["map2.csv: there is no such file" + hint]


def test_a_folder_is_no_map(write, tmp_path):
    assert refusal(str(tmp_path), shown_as="maps") == ["maps: this is not a file; allowed: a CSV file"]


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_without_permission_is_said_to_be_so(write):
    path = write(GRID)
    os.chmod(path, 0)
    assert refusal(path) == ["map.csv: the file cannot be read: Permission denied"]


def test_a_path_with_a_null_is_refused():
    (line,) = refusal("a\0b", shown_as="odd")
    assert line.startswith("odd: the file cannot be read: ")  # the rest is the operating system's


@pytest.mark.parametrize(
    "content", [b"PK\x03\x04\x14\x00\x06\x00", b"\x89PNG\r\n\x1a\n\x00\x00", GRID.encode("utf-16-le")]
)
def test_a_binary_file_is_not_taken_for_text(write, content):
    said = "map.csv: the file is not text; hint: save the sheet as CSV (comma-separated text, UTF-8)"
    assert refusal(write(content)) == [said]


@pytest.mark.parametrize("content", ["", "\n\n", "# only words\n", ",,,\n,,,\n", b"\xef\xbb\xbf"])
def test_an_empty_file_is_said_to_be_empty(write, content):
    said = "map.csv: the file has no cells; allowed: a grid of numbers or a table of blocks"
    assert refusal(write(content)) == [said]


def test_a_file_above_one_gigabyte_is_refused_unread(write):
    path = write(GRID)
    os.truncate(path, 3_000_000_000)  # a sparse file: takes no room
    assert refusal(path) == [
        "map.csv: the file is too large (found: 3.0 GB); allowed: 1 GB at most"
        "; hint: average the map over groups of cells"
    ]


def test_a_grid_of_too_many_cells_is_refused(write):
    said = "map.csv: the grid is too fine (found: 3 x 2 cells); allowed: 5 cells at most"
    assert refusal(write(GRID), max_cells=5) == [said + "; hint: average over groups of cells"]
    assert read(write(GRID), max_cells=6).watts.size == 6


def test_every_wrong_cell_is_named_with_its_place(write):
    content = "# cells\n1,-2,3\n4,nan,6\n\n7,inf,9\n1,,2\n1,abc,2\n1,1e300,1_000\n1,2\n"
    number = "; allowed: a number, 0 or more"
    assert refusal(write(content), power=3.0) == [
        "map.csv, line 2, row 1, column 2: the number is negative (found: -2)" + number,
        "map.csv, line 3, row 2, column 2: the number is not finite (found: nan)" + number,
        "map.csv, line 5, row 3, column 2: the number is not finite (found: inf)" + number,
        "map.csv, line 6, row 4, column 2: the cell is empty" + number,
        "map.csv, line 7, row 5, column 2: this is not a number (found: abc)" + number,
        "map.csv, line 8, row 6, column 2: the number is absurdly large (found: 1e300)" + number,
        "map.csv, line 8, row 6, column 3: this is not a number (found: 1_000)" + number,
        "map.csv, line 9, row 7: wrong number of cells (found: 2); allowed: 3 cells, as in most rows",
    ]


@pytest.mark.parametrize(
    "bad", ["-1", "nan", "inf", "NaN", "-inf", "1e999", "1e101", "0x1A", "1_0", "1 2", "--1", "1e"]
)
def test_no_bad_cell_slips_through_the_quick_reader(write, bad):
    lines = refusal(write(f"1;2\n3;{bad}\n"))
    assert len(lines) == 1
    assert lines[0].startswith("map.csv, line 2, row 2, column 2: ")


def test_mixed_decimal_marks_are_refused(write):
    assert refusal(write("1.5;2\n1,5;2\n")) == [
        "map.csv, line 2, row 2, column 1: this is not a number (found: 1,5); allowed: a number, 0 or more"
        "; hint: keep one decimal mark in the whole file, and no mark between thousands"
    ]


def test_a_separator_too_many_is_guessed(write):
    assert refusal(write("1,2\n3,4,\n5,6\n")) == [
        "map.csv, line 2, row 2: wrong number of cells (found: 3); allowed: 2 cells, as in most rows"
        "; hint: a comma too many at the end"
    ]


def test_faults_beyond_twenty_are_counted(write):
    lines = refusal(write("-1,-1,-1,-1,-1\n" * 5))
    assert len(lines) == 21
    assert lines[-1] == "map.csv: ... and 5 more faults"
    assert refusal(write("-1,-1\n" * 2000))[-1] == "map.csv: ... and more than 999 more faults"


def test_a_long_cell_is_shown_cut_off(write):
    (line,) = refusal(write("1;2\n3;" + "x" * 300_000))
    assert line == (
        f"map.csv, line 2, row 2, column 2: this is not a number (found: {'x' * 40}...); allowed: a number, 0 or more"
    )


# Tables of blocks.


def test_a_table_of_blocks_equals_the_grid_exactly(write):
    watts = [[1.5, 0.1, 3.3], [4.7, 5.9, 6.1]]
    table = TABLE + "".join(f"{8 * i},{5 * (1 - j)},8,5,{watts[j][i]}\n" for j in range(2) for i in range(3))
    grid = "\n".join(",".join(map(str, row)) for row in watts)
    assert same(read(write(table), width=0.024, unit=None), read(write(grid, "grid.csv"), width=0.024))


HEADS = ["Name", "X0 (mm)", "y [um]", "x1[cm]", "HEIGHT [mil]", "Flux [W/mm^2]"]
CELLS = ["core, big", "2", "1000", "0.6", "100", "0.5"]


@pytest.mark.parametrize("order", list(itertools.permutations(range(6)))[::97])
def test_columns_may_come_in_any_order_and_unit(write, order):
    """4 mm x 2.54 mm at (2 mm, 1 mm), 0.5 W/mm2: 5.08 W, worked out by hand."""
    table = "\t".join(HEADS[n] for n in order) + "\n" + "\t".join(CELLS[n] for n in order)
    power_map = read(write(table), unit=None)
    assert power_map.x == pytest.approx([0, 0.002, 0.006, 0.02], rel=1e-14)
    assert power_map.y == pytest.approx([0, 0.001, 0.00354, 0.01], rel=1e-14)
    assert power_map.watts == pytest.approx(np.array([[0, 0, 0], [0, 5.08, 0], [0, 0, 0]]), rel=1e-14)


def test_a_table_in_semicolons_and_decimal_commas_equals_its_twin(write):
    points = "name;x [mm];y [mm];width [mm];height [mm];power [W]\ncore 1.2;0.5;1;2.5;3;7.25\n"
    commas = points.replace("0.5", "0,5").replace("2.5", "2,5").replace("7.25", "7,25")
    assert same(read(write(points), unit=None), read(write(commas, "twin.csv"), unit=None))


def test_a_table_seen_from_the_active_side_is_mirrored_and_turned_like_a_grid(write):
    power_map = read(write(TABLE + "0,0,2,3,5\n"), width=0.01, height=0.02, seen_from="active side", quarter_turns=1)
    # At the lower left as seen from below; lower right from above; upper right after the turn.
    assert power_map.x == pytest.approx([0, 0.007, 0.01], rel=1e-14)
    assert power_map.y == pytest.approx([0, 0.018, 0.02], rel=1e-14)
    assert power_map.watts.tolist() == [[0, 0], [0, 5]]


def test_touching_blocks_do_not_overlap_and_dark_ones_are_allowed(write):
    assert total_power(read(write(TABLE + "0,0,0.1,1,3\n0.1,0,0.2,1,0\n0.3,0,1,1,4\n"))) == 7.0


def test_overlapping_blocks_are_named_both(write):
    table = "name," + TABLE + "a,0,0,4,4,1\nb,10,0,4,4,1\nc,3,2,4,4,1\n"
    assert refusal(write(table)) == [
        'map.csv, line 4, rows 1 and 3: the blocks "a" and "c" overlap (found: x 3 mm to 4 mm, y 2 mm to 4 mm)'
        "; allowed: blocks that do not cover common area"
    ]
    assert refusal(write(TABLE + "0,0,4,4,1\n0,0,4,4,1\n"))[0].startswith(
        "map.csv, line 3, rows 1 and 2: the blocks overlap (found: x 0 mm to 4 mm, y 0 mm to 4 mm)"
    )


def test_a_block_outside_the_footprint_is_refused_with_the_footprint(write):
    assert refusal(write(TABLE + "-1,0,4,4,1\n18,8,2,2,1\n10,8,2,2.5,1\n")) == [
        "map.csv, line 2, row 1: the block reaches outside the footprint (found: x -1 mm to 3 mm, y 0 mm to 4 mm)"
        "; allowed: x 0 to 20 mm, y 0 to 10 mm; hint: coordinates start at the footprint's lower left corner",
        "map.csv, line 4, row 3: the block reaches outside the footprint (found: x 10 mm to 12 mm, y 8 mm to 10.5 mm)"
        "; allowed: x 0 to 20 mm, y 0 to 10 mm; hint: coordinates start at the footprint's lower left corner",
    ]


def test_wrong_cells_of_a_table_are_named_by_their_head(write):
    table = "# blocks\n" + TABLE + "0,0,4,4,-1\n5,0,four,,1\n9,0,0,1,1\n9,0,1,1\n"
    assert refusal(write(table)) == [
        'map.csv, line 3, row 1, column "power [W]": the number is negative (found: -1); allowed: a number, 0 or more',
        'map.csv, line 4, row 2, column "width [mm]": this is not a number (found: four); allowed: a number, 0 or more',
        'map.csv, line 4, row 2, column "height [mm]": the cell is empty; allowed: a number, 0 or more',
        "map.csv, line 5, row 3: the block has no extent (found: x 9 mm to 9 mm, y 0 mm to 1 mm)"
        "; allowed: right of left and top above bottom",
        "map.csv, line 6, row 4: wrong number of cells (found: 4); allowed: 5 cells, as many as heads",
    ]


def test_wrong_heads_come_all_at_once(write):
    every = "x, y, width (or x1), height (or y1), power or flux, name; with units, as in x [mm], power [W]"
    lines = refusal(write("x [mm],Y0,width [W],x1 [mm],power [W],flux [W/cm2],colour\n0,0,1,1,1,1,1\n"))
    assert (
        lines[0] == 'map.csv, line 1, column "Y0": the head has no unit; allowed: a unit in brackets, as in "Y0 [mm]"'
    )
    assert lines[1].startswith('map.csv, line 1, column "width [W]": ')
    assert lines[2:] == [
        f'map.csv, line 1, column "colour": unknown column; allowed: {every}',
        'map.csv, line 1, heads: "width [W]" and "x1 [mm]" say the same; allowed: one of them',
        f"map.csv, line 1, heads: there is no column height or y1; allowed: {every}",
        'map.csv, line 1, heads: "power [W]" and "flux [W/cm2]" say the same; allowed: one of them',
    ]


def test_a_column_written_twice_is_refused(write):
    table = "x [mm]," + TABLE + "0,0,0,1,1,1\n"
    said = 'map.csv, line 1, column "x [mm]": "x [mm]" and "x [mm]" say the same; hint: keep one of them'
    assert refusal(write(table)) == [said]


def test_a_table_without_blocks_is_refused(write):
    said = "map.csv: the table has no blocks; allowed: one block per row below the heads"
    assert refusal(write(TABLE)) == [said]


def test_blocks_with_too_many_edges_are_refused(write):
    table = TABLE + "".join(f"{n},{n},1,1,1\n" for n in range(10))
    said = "map.csv: the blocks' edges make too many cells (found: 11 x 10); allowed: 100 cells at most"
    assert refusal(write(table), max_cells=100) == [said + "; hint: align the edges"]


def test_many_blocks_on_one_another_are_counted_to_a_thousand(write):
    table = TABLE + "0,0,4,4,1\n" * 5000
    assert refusal(write(table))[-1] == "map.csv: ... and more than 999 more faults"


def test_a_grid_under_a_line_of_words_is_told_what_is_wrong(write):
    lines = refusal(write("heat of the die\n1,2\n3,4\n"))
    assert lines[0].startswith(
        "map.csv, line 1, row 1: wrong number of cells (found: 1); allowed: 2 cells, as in most rows"
    )


# Other grids.


def test_a_grid_of_coefficients_comes_bottom_row_first_in_si_units(write):
    values = read_grid(write(GRID), unit="W/(cm2 K)", dimension="coefficient")
    assert values == pytest.approx(np.array([[4e4, 5e4, 6e4], [1e4, 2e4, 3e4]]), rel=1e-14)


def test_a_grid_in_the_wrong_unit_is_refused(write):
    with pytest.raises(StudyError, match=r"^map.csv, unit: the unit of the cells cannot be used \(found: W/m\^2\)"):
        read_grid(write(GRID), unit="W/m^2", dimension="coefficient")


def test_a_million_cells_are_read_as_they_stand(write):
    cells = np.random.default_rng(1).random((1000, 1000)).round(5)
    path = write("\n".join(",".join(map(str, row)) for row in cells.tolist()))
    power_map = read(path)
    assert np.array_equal(power_map.watts[::-1], cells)
