"""Readings of a test: tables of probes and infrared maps are read as they stand, and faults told all at once."""

import numpy as np
import pytest

from plancha.geometry.faults import StudyError
from plancha.geometry.readings import read_infrared, read_readings

PROBES = ("front", "back", "sensor, inside")


@pytest.fixture
def file(tmp_path):
    def written(text: str, coding: str = "utf-8"):
        (tmp_path / "readings.csv").write_bytes(text.encode(coding))
        return tmp_path / "readings.csv"

    return written


def faults_of(read, *arguments) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read(*arguments, shown_as="readings.csv") if read is read_readings else read(*arguments)
    return [str(fault) for fault in caught.value.faults]


def test_celsius_with_uncertainties_becomes_kelvin(file):
    read = read_readings(
        file("# a test\nprobe, temperature [degC], uncertainty [K]\nback, 60.5, 0.5\nfront, 25, 1\n"), PROBES
    )
    assert read.probes == ("back", "front")
    assert read.temperatures.tolist() == pytest.approx([333.65, 298.15], abs=1e-9)
    assert read.uncertainties is not None and read.uncertainties.tolist() == [0.5, 1.0]


def test_heads_stand_in_any_order_and_the_uncertainty_may_be_left_out(file):
    read = read_readings(file('Temperature (degF), Probe\n212, "sensor, inside"\n'), PROBES)
    assert read.probes == ("sensor, inside",) and read.uncertainties is None
    assert read.temperatures[0] == pytest.approx(373.15, abs=1e-8)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas_are_read_where_no_comma_parts_the_cells(file, separator):
    rows = [["probe", "temperature [degC]", "uncertainty [K]"], ["front", "60,5", "0,25"]]
    read = read_readings(file("\n".join(separator.join(row) for row in rows)), PROBES)
    assert read.temperatures[0] == pytest.approx(333.65, abs=1e-9)
    assert read.uncertainties is not None and read.uncertainties[0] == 0.25


def test_every_fault_is_told_with_its_row_and_column(file):
    text = (
        "probe, temperature [degC], uncertainty [K]\nfrnt, 60, 1\nback, sixty, 1\nback, 61, -1\nfront, 6000, 0\nfront\n"
    )
    told = faults_of(read_readings, file(text), PROBES)
    assert told == [
        'readings.csv, line 2, row 1, column "probe": no probe of the study has this name (found: frnt); allowed: front, back, '
        'sensor, inside; hint: did you mean "front"?',
        'readings.csv, line 3, row 2, column "temperature [degC]": this is not a number (found: sixty); allowed: a number',
        'readings.csv, line 4, row 3, column "probe": row 2 has this probe already (found: back); allowed: each probe once; hint: '
        "keep one reading of each probe, such as the mean",
        'readings.csv, line 4, row 3, column "uncertainty [K]": an uncertainty is above 0 (found: -1); allowed: one standard '
        "deviation; hint: leave the column out if no uncertainty is known",
        'readings.csv, line 5, row 4, column "temperature [degC]": this is no plausible temperature (found: 6000); allowed: 150 K '
        "to 2000 K; hint: check the unit in the head",
        'readings.csv, line 5, row 4, column "uncertainty [K]": an uncertainty is above 0 (found: 0); allowed: one standard '
        "deviation; hint: leave the column out if no uncertainty is known",
        "readings.csv, line 6, row 5: wrong number of cells (found: 1); allowed: 3 cells, as many as heads",
    ]


def test_celsius_numbers_under_a_head_in_kelvin_are_noticed(file):
    (told,) = faults_of(read_readings, file("probe, temperature [K]\nfront, 60\n"), PROBES)
    assert "no plausible temperature" in told and "check the unit in the head" in told


@pytest.mark.parametrize(("text", "fits"), [("9e-7", False), ("1e-6", True), ("1000", True), ("1001", False)])
def test_an_uncertainty_that_no_thermometer_has_is_noticed(file, text, fits):
    path = file(f"probe, temperature [degC], uncertainty [K]\nfront, 60, {text}\n")
    if fits:
        assert read_readings(path, PROBES).uncertainties == pytest.approx([float(text)])
    else:
        (told,) = faults_of(read_readings, path, PROBES)
        assert f"no plausible uncertainty (found: {text}); allowed: 1e-06 K to 1000 K" in told


def test_heads_need_units_and_must_be_known(file):
    told = faults_of(read_readings, file("probe, temperature, colour\nfront, 60, red\n"), PROBES)
    assert told == [
        'readings.csv, line 1, column "temperature": the head has no unit; allowed: a unit in brackets, as in "temperature [degC]"',
        'readings.csv, line 1, column "colour": unknown column; allowed: probe, temperature [degC], uncertainty [K]',
    ]


def test_an_absolute_temperature_is_no_uncertainty_in_another_dimension(file):
    told = faults_of(read_readings, file("probe, temperature [mm], uncertainty [W]\nfront, 60, 1\n"), PROBES)
    assert len(told) == 2 and "temperature [mm]" in told[0] and "uncertainty [W]" in told[1]


def test_a_table_without_rows_has_no_readings(file):
    (told,) = faults_of(read_readings, file("probe, temperature [degC]\n"), PROBES)
    assert "no readings" in told


def test_a_missing_column_is_told(file):
    (told,) = faults_of(read_readings, file("temperature [degC], uncertainty [K]\n60, 1\n"), PROBES)
    assert "there is no column probe" in told


def test_the_first_row_of_an_infrared_map_is_its_top(file):
    values = read_infrared(file("# camera\n20; 21,5\n30; 31\n"))
    assert values == pytest.approx(np.array([[303.15, 304.15], [293.15, 294.65]]), abs=1e-9)


def test_an_infrared_map_may_hold_temperatures_below_zero(file):
    assert read_infrared(file("-5, 5\n0, 1\n")).min() == pytest.approx(268.15)


def test_faults_of_an_infrared_map_are_told_by_row_and_column(file):
    told = faults_of(read_infrared, file("20, 21\n22\n23, hot\n24, 9000\n"))
    assert [each.split(": ")[0].split(", line ")[1] for each in told] == [
        "2, row 2",
        "3, row 3, column 2",
        "4, row 4, column 2",
    ]


def test_too_fine_an_infrared_map_is_refused(file):
    with pytest.raises(StudyError, match="too fine"):
        read_infrared(file("20, 21\n22, 23\n"), max_cells=3)
