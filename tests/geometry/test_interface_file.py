"""The user's own candidates: heads in any order with their units, and every fault at once."""

import math
import time

import pytest
from pytest import approx

from plancha.geometry.faults import StudyError
from plancha.geometry.interface_file import MOST_ROWS, read_candidates
from plancha.geometry.interface_table import AGED, impedance_at


def read(tmp_path, text):
    """Candidates from a table's text."""
    path = tmp_path / "candidates.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_candidates(path, "candidates.csv")


def faults(tmp_path, text) -> list[str]:
    """All that is wrong with a table, in words."""
    with pytest.raises(StudyError) as refused:
        read(tmp_path, text)
    return [str(fault) for fault in refused.value.faults]


def test_two_impedances_make_a_candidate(tmp_path):
    (found,) = read(tmp_path, "name, impedance [mm^2 K/W], aged impedance [mm^2 K/W]\nmine, 8, 13\n")
    assert found.impedance_new == approx((8e-6,) * 3) and found.impedance_aged == approx((13e-6,) * 3)
    assert found.kind == "other" and found.conducts is None and found.source == "the user's table"


def test_heads_come_in_any_order_and_unit(tmp_path):
    text = (
        "Highest temperature [degF]; aged impedance (degC cm2/W); NAME; conducts electricity; impedance [degC in2/W];pressure [psi];"
        "pressure exponent;lowest_pressure [bar];highest pressure [N/cm^2]\n302;0,2;mine;Yes;0,01;30;0,2;1;100\n"
    )
    (found,) = read(tmp_path, text.replace("[N/cm^2]", "[MPa]").replace(";100\n", ";1\n"))
    assert found.temperature_most == approx(423.15) and found.conducts is True
    assert found.impedance_aged[1] == approx(20e-6) and found.impedance_new[1] == approx(0.01 * 645.16e-6)
    assert found.pressure_reference == approx(30 * 6894.757) and found.pressure_range == approx((1e5, 1e6))


def test_bond_line_and_conductivity_with_tolerances_make_impedance_and_spread(tmp_path):
    text = (
        "name,bond line [um],bond line tolerance [um],conductivity [W/m/K],conductivity tolerance [W/m/K],contact [mm^2 K/W],"
        "aged impedance [mm^2 K/W]\nmine,50,10,5,0.5,4,21\n"
    )
    (found,) = read(tmp_path, text)
    low, typical, high = found.impedance_new
    # 10 +- 2.23607 mm2 K/W (derived independently) on contacts of 4, as a factor exp(0.223607).
    factor = math.exp(0.223607)
    assert (low, typical, high) == approx((4e-6 + 10e-6 / factor, 14e-6, 4e-6 + 10e-6 * factor), rel=1e-6)
    assert found.impedance_aged == approx(tuple(21e-6 / 14e-6 * value for value in found.impedance_new))


def test_a_yield_stress_gives_the_bond_line_of_a_filled_polymer(tmp_path):
    text = "name,yield stress [Pa],pressure [kPa],conductivity [W/m/K],aged impedance [mm2K/W]\nmine,100,200,4,15\n"
    (found,) = read(tmp_path, text)
    assert found.bond_line[1] == approx(37.09e-6, abs=5e-9) and found.pressure_exponent == 0.166
    assert impedance_at(found, AGED, pressure=400e3) == approx(15e-6 * 2**-0.166)


def test_a_pads_curve_is_read(tmp_path):
    text = (
        "name,kind,impedance [mm^2 K/W],aged impedance [mm^2 K/W],thickness [mm],lowest pressure [kPa],lowest compression [%],"
        "highest pressure [kPa],highest compression [%],pressure [kPa]\nmine,Pad,200,240,1,20,10,400,40,100\n"
    )
    (found,) = read(tmp_path, text)
    assert found.is_pad and found.kind == "pad" and found.curve == ((20e3, 0.1), (400e3, 0.4))


def test_all_faults_come_at_once_with_row_column_and_line(tmp_path):
    text = """\
# my candidates
name,impedance [mm^2 K/W],aged impedance [mm^2 K/W],highest temperature [degC],conducts electricity,kind,lowest pressure [kPa]
a,ten,10,140,no,paste,
gallium alloy,3,6,140,yes,paste,
b,3,6,1e9,no,paste,
c,3
d,3,,140,maybe,past,
e,30,20,140,no,paste,
f,3,6,140,no,paste,50
a,3,6,140,no,paste,
a,3,6,140,no,paste,
,3,6,140,no,paste,
"""
    assert faults(tmp_path, text) == [
        'candidates.csv, line 3, row 1, column "impedance [mm^2 K/W]": this is not a number (found: ten); allowed: a number',
        "candidates.csv, line 4, row 2: the shipped table has a candidate of this name (found: gallium alloy); allowed: a name of "
        "its own",
        'candidates.csv, line 5, row 3, column "highest temperature [degC]": the number is out of its range (found: 1e9); '
        "allowed: -23.1 degC to 1726.8 degC; hint: check the head's unit",
        "candidates.csv, line 6, row 4: wrong number of cells (found: 2); allowed: 7 cells, as many as heads",
        "candidates.csv, line 7, row 5: no such kind (found: past); allowed: paste, gel, pad, phase change, graphite, foil, liquid "
        "metal, solder, sintered metal, adhesive, tape, bare faces, other",
        "candidates.csv, line 7, row 5: conducts electricity is answered by yes or no (found: maybe); allowed: yes, no, or an empty "
        "cell",
        "candidates.csv, line 7, row 5: the impedance at the end of life must be given; allowed: a number under aged impedance",
        "candidates.csv, line 8, row 6: the impedance at the end of life is below that when new (new means once it has wetted its "
        "faces) (found: e)",
        "candidates.csv, line 9, row 7: lowest pressure and highest pressure belong together; allowed: both, or neither",
        "candidates.csv, line 11, row 9: a row above has a candidate of this name (found: a); allowed: a name of its own",
        "candidates.csv, line 12, row 10: a candidate needs a name; allowed: 80 characters that can be printed, at most",
    ]


def test_all_faults_of_the_heads_come_at_once(tmp_path):
    told = faults(tmp_path, "Name,name,impedance,aged impedance [K/W],thermal magic [mm]\n")
    assert [line.split("; allowed")[0] for line in told] == [
        'candidates.csv, line 1, column "name": "Name" and "name" say the same; hint: keep one of them',
        'candidates.csv, line 1, column "impedance": the head has no unit',
        'candidates.csv, line 1, column "aged impedance [K/W]": "1 K/W" is a resistance, an impedance is due',
        'candidates.csv, line 1, column "thermal magic [mm]": unknown column',
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,aged impedance [mm^2 K/W]\nmine,3\n", "there is no column impedance, nor bond line and conductivity"),
        ("impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n3,4\n", "there is no column name"),
        ("name,impedance [mm^2 K/W]\nmine,3\n", "there is no column aged impedance"),
        ("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n", "the table has no candidates"),
        ("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\nx,nan,inf\n", "the number is not finite"),
        ("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\nx,-3,4\n", "out of its range (found: -3)"),
        ("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\nx,0,4\n", "out of its range (found: 0)"),
        ("name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\nx,1_0,40\n", "this is not a number (found: 1_0)"),
        ("name,bond line [um],conductivity [W/m/K],bond line tolerance [um],aged impedance [mm^2 K/W]\nx,50,5,50,40\n",
         "the bond line tolerance is as large as the bond line"),
        ("name,bond line [um],conductivity [W/m/K],aged impedance [mm^2 K/W]\nx,50,,40\n", "a bond line needs its conductivity"),
        ("", "the file has no cells"),
        (b"\x00\x01\x02name", "the file is not text"),
        (b"PK\x03\x04" + bytes(100), "the file is not text"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said(tmp_path, text, words):
    assert words in "\n".join(faults(tmp_path, text))


def test_hundreds_of_rows_are_read_and_too_many_refused(tmp_path):
    head = "name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n"
    rows = [f"candidate {number},{5 + number / 100},{9 + number / 100}" for number in range(MOST_ROWS + 1)]
    began = time.process_time()
    assert len(read(tmp_path, head + "\n".join(rows[:800]))) == 800
    assert time.process_time() - began < 20  # not the square of the rows
    assert "too many candidates" in faults(tmp_path, head + "\n".join(rows))[0]


def test_of_many_faults_the_first_twenty_are_told_and_the_rest_counted(tmp_path):
    rows = "\n".join(f"c{number},x,9" for number in range(300))
    told = faults(tmp_path, "name,impedance [mm^2 K/W],aged impedance [mm^2 K/W]\n" + rows)
    assert len(told) == 21 and "280 more faults" in told[-1]


def test_a_table_from_a_spreadsheet_in_western_letters_is_read(tmp_path):
    text = "name;impedance [mm²K/W];aged impedance [mm²·K/W]\nPaste für Köpfe;8,5;12\n"
    (found,) = read(tmp_path, text.encode("cp1252"))
    assert found.name == "Paste für Köpfe" and found.impedance_new[1] == approx(8.5e-6)
