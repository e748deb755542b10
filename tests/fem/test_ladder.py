"""The ladder starts at the lumped chain, ends at the solution, and each rung changes what it says it changes."""

import pytest


def test_the_ladder_ends_at_the_solved_peak(pair):
    reference = pair.solution.sheets.stack.reference
    for ladder, state in zip(pair.ladders, pair.components):
        assert ladder.rises[-1] == pytest.approx(state.peak.value - reference, rel=1e-12)


def test_the_first_rung_is_the_chain_by_hand(single):
    # die 0.5 mm / 120, interface 10 mm2 K/W over 120 mm2; plate 3 mm / 390 and film 2000 over 3000 mm2; 60 W.
    hand = 60 * (0.5e-3 / 120 / 120e-6 + 10e-6 / 120e-6 + 3e-3 / 390 / 3000e-6 + 1 / 2000 / 3000e-6)
    assert single.ladders[0].rises[0] == pytest.approx(hand, rel=1e-12)


def test_even_heat_makes_the_map_rung_nothing(single):
    even, mapped = single.ladders[0].rises[2:4]
    assert mapped == pytest.approx(even, rel=1e-12)


def test_constant_conductivity_and_even_cooling_make_the_last_rung_nothing(single):
    resolved, full = single.ladders[0].rises[4:6]
    assert full == pytest.approx(resolved, rel=1e-10)


def test_thin_plates_come_near_the_resolved_plate(single):
    thin, resolved = single.ladders[0].rises[3:5]
    # One node with half-thickness resistances is the one-sheet model: 1.5 % high for a 10 mm source on 3 mm (derived
    # independently, 0.81936 against 0.80742 K/W); here the die and a wider source share the rise.
    assert thin == pytest.approx(resolved, rel=0.05)
    assert thin != pytest.approx(resolved, rel=1e-4)


def test_the_series_agrees_with_the_solution_where_the_flux_is_nearly_even(single):
    """Die and joint even the flux; what is left is the plate, for which the series is exact under an even flux."""
    series = single.lumped[0].rise("series, mean")
    solved_mean = single.components[0].mean - single.solution.sheets.stack.reference
    assert series == pytest.approx(solved_mean, rel=0.02)


def test_the_series_says_why_it_does_not_apply(findings, single_text):
    rim = '[[edge]]\nside = "left"\nheld = "25 degC"\n'
    estimates = {each.name: each for each in findings(single_text + rim).lumped[0].estimates}
    assert estimates["series, mean"].rise is None
    assert "rims" in estimates["series, mean"].reason
    assert estimates["closed form, mean"].rise is not None
