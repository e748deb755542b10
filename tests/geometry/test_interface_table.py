"""Every shipped candidate is sane and says where it comes from; pressure, gaps and ages act as they must."""

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from plancha.geometry.bond_line import bare_contact_conductance, compression_at
from plancha.geometry.interface_table import (
    AGED,
    KINDS,
    LEVELS,
    NEW,
    Candidate,
    UnknownCandidate,
    bond_line_at,
    cannot_bridge,
    find_candidate,
    impedance_at,
    outside_pressures,
    shipped_candidates,
    squeeze_of,
)

SHIPPED = list(shipped_candidates().values())
WITH_BULK = [each for each in SHIPPED if not math.isnan(each.bond_line[1])]
PADS = [each for each in SHIPPED if each.is_pad]
PAD = find_candidate("pad, 6 W/m/K, 1 mm")
PASTE = find_candidate("paste, filled silicone")


def named(candidates):
    """Parameters with the candidates' names."""
    return pytest.mark.parametrize("candidate", candidates, ids=lambda each: each.name)


def test_the_table_holds_the_kinds_that_engineers_choose_between():
    kinds = {each.kind for each in SHIPPED}
    assert kinds >= {
        "paste",
        "gel",
        "pad",
        "phase change",
        "graphite",
        "liquid metal",
        "solder",
        "sintered metal",
        "bare faces",
    }
    assert kinds <= set(KINDS) and len(SHIPPED) >= 20


@named(SHIPPED)
def test_every_row_has_its_source_marked_where_it_was_not_read(candidate):
    assert "from memory" in candidate.source and "common practice, no source" in candidate.source
    assert candidate.note


@named(SHIPPED)
def test_every_row_says_what_it_does_to_circuits_heat_and_rework(candidate):
    assert candidate.conducts in (True, False) and candidate.reworkable in (True, False)
    assert 350 < candidate.temperature_most < 550


@named(SHIPPED)
def test_ageing_never_makes_a_joint_better_and_its_spread_never_narrower(candidate):
    new, aged = candidate.impedance_new, candidate.impedance_aged
    assert all(a >= n for n, a in zip(new, aged))
    assert aged[2] / aged[0] >= 0.999 * new[2] / new[0]
    # Usual impedances of interfaces, common practice, no source.
    assert new[0] >= 0.3e-6 and aged[2] <= 1000e-6


@named(WITH_BULK)
def test_the_typical_impedance_is_bond_line_over_conductivity_and_contacts(candidate):
    if candidate.kind == "foil":  # its faces decide, by the pressure
        assert candidate.impedance_new[1] > candidate.bond_line[1] / candidate.conductivity[1] + candidate.contact
        return
    low, typical, high = candidate.impedance_new
    assert candidate.bond_line[1] / candidate.conductivity[1] + candidate.contact == approx(typical, rel=0.005)
    assert low >= candidate.bond_line[0] / candidate.conductivity[2]
    # Voids and poor wetting may add half as much again to the thickest, least conductive bond line.
    assert high <= 1.5 * (candidate.bond_line[2] / candidate.conductivity[0] + 2 * candidate.contact)


@named(PADS)
def test_a_pads_bond_line_is_what_its_curve_leaves_of_its_thickness(candidate):
    left = candidate.thickness * (1 - compression_at(candidate.pressure_reference, candidate.curve))
    assert candidate.bond_line[1] == approx(left, rel=2e-3)


def test_the_dry_joint_is_that_of_bare_metal_faces():
    dry = find_candidate("dry metal joint")
    for pressure in (0.1e6, 0.3e6, 3e6):
        law = 1 / bare_contact_conductance((390.0, 200.0), 0.8e-6 * 2**0.5, 0.1 * 2**0.5, pressure, 1e9)
        assert impedance_at(dry, NEW, pressure=pressure) == approx(law, rel=1e-3)  # the table gives 53.8 of 53.78


@named(SHIPPED)
def test_more_pressure_never_makes_a_joint_worse(candidate):
    pressures = np.geomspace(1e3, 1e7, 25)
    found = np.array([impedance_at(candidate, AGED, "high", float(p)) for p in pressures])
    assert (np.diff(found) <= 1e-15).all() and (found >= candidate.contact).all() and (found > 0).all()
    moves = found[-1] < found[0]
    assert moves == candidate.feels_pressure


@named(SHIPPED)
def test_at_the_reference_pressure_the_table_speaks_for_itself(candidate):
    for age, values in ((NEW, candidate.impedance_new), (AGED, candidate.impedance_aged)):
        for level, value in zip(LEVELS, values):
            assert impedance_at(candidate, age, level) == approx(value, rel=1e-12)
            if candidate.feels_pressure:
                assert impedance_at(candidate, age, level, candidate.pressure_reference) == approx(value, rel=1e-12)


def test_a_paste_thins_by_the_law_of_filled_polymers():
    # Prasher et al. (2003), from memory: bond line ~ P^-0.166; contacts of 2 mm2 K/W stay.
    assert impedance_at(PASTE, NEW, pressure=800e3) == approx(2e-6 + 10e-6 * 4**-0.166, rel=1e-12)
    assert bond_line_at(PASTE, 800e3) == approx(40e-6 * 4**-0.166, rel=1e-12)


def test_pressures_beyond_the_known_ones_are_noted_with_the_numbers():
    assert outside_pressures(PASTE, 2e6) == (
        "paste, filled silicone: 2 MPa is outside the 50 kPa to 1 MPa for which it is known; the law is continued"
    )
    assert outside_pressures(PASTE, 300e3) == "" and outside_pressures(PASTE, None) == ""
    assert outside_pressures(find_candidate("solder, indium"), 1e9) == ""


def test_a_pad_in_a_gap_presses_as_its_curve_says():
    squeeze = squeeze_of(PAD, 0.8e-3, 0.1e-3)
    assert squeeze.gaps == approx((0.7e-3, 0.8e-3, 0.9e-3))
    for gap, pressure in zip(squeeze.gaps, squeeze.pressures):
        assert compression_at(pressure, PAD.curve) == approx(1 - gap / 1e-3)
    assert squeeze.pressures[0] > squeeze.pressures[1] > squeeze.pressures[2] > 0


def test_a_pad_that_does_not_reach_across_presses_with_nothing():
    assert squeeze_of(PAD, 0.9e-3, 0.2e-3).pressures[2] == 0
    assert cannot_bridge(PAD, 1.1e-3) == "it is 1 mm thick and does not reach across 1.1 mm"
    assert cannot_bridge(PAD, 0.9e-3) == ""


def test_the_gap_a_pressure_makes_gives_the_impedance_of_that_pressure():
    for pressure in (50e3, 100e3, 300e3):
        gap = bond_line_at(PAD, pressure)
        assert impedance_at(PAD, AGED, "typical", gap=gap) == approx(
            impedance_at(PAD, AGED, "typical", pressure), rel=1e-9
        )


def test_a_paste_reaches_across_its_own_bond_lines_only():
    assert cannot_bridge(PASTE, 50e-6) == ""
    assert cannot_bridge(PASTE, 0.5e-3) == "its bond line is 20 um to 70 um, the gap 0.5 mm"
    assert "is not known" in cannot_bridge(find_candidate("dry metal joint"), 50e-6)


def test_names_are_found_however_they_are_written():
    for text in ("Paste, filled silicone", "paste filled silicone", "PASTE-filled_silicone"):
        assert find_candidate(text) is PASTE


def test_an_unknown_name_is_refused_with_the_nearest():
    with pytest.raises(UnknownCandidate) as refused:
        find_candidate("paste, filled silicon")
    assert refused.value.message == 'no interface candidate is called "paste, filled silicon"'
    assert refused.value.allowed.startswith('"paste, filled silicone"')


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"impedance_new": (3e-6, 2e-6, 9e-6)}, "low, typical and high must rise"),
        ({"impedance_new": (math.nan,) * 3}, "low, typical and high must rise"),
        ({"impedance_aged": (1e-6, 2e-6, 3e-6)}, "end of life is below that when new"),
        ({"contact": 7e-6}, "the contact terms are more than the whole impedance"),
        ({"pressure_exponent": 1.5}, "exponent on pressure must be 0 to 1"),
        ({"pressure_reference": math.nan}, "needs a reference pressure"),
        ({"pressure_range": (3e5, 1e5)}, "below the highest"),
        ({"compression": (0.4, 0.1), "thickness": 1e-3}, "compression must rise"),
        ({"compression": (0.1, 0.4)}, "needs its thickness"),
        ({"kind": "magic"}, 'no kind "magic"'),
    ],
)
def test_a_candidate_that_contradicts_itself_is_refused(changes, words):
    with pytest.raises(ValueError, match=words):
        replace(PASTE, **changes)


def test_a_candidate_needs_no_more_than_two_impedances():
    bare = Candidate("plain", "other", (1e-6, 2e-6, 3e-6), (1e-6, 3e-6, 4e-6))
    assert impedance_at(bare, AGED, "high", 1e6) == 4e-6 and bond_line_at(bare, 1e6) == 0
