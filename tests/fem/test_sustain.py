"""Sustainable power: the first limit is met exactly there, by the components that scale and no others."""

import pytest

from plancha.fem.components import component_states, limiting
from plancha.fem.solve import solve


def margin_at(findings, factors):
    solution = solve(findings.solution.sheets, findings.solution.powers * factors)
    return limiting(component_states(solution)).margin


def test_at_the_sustainable_power_the_least_margin_is_nothing(pair):
    factor = pair.sustainable.factor
    assert margin_at(pair, [factor, factor]) == pytest.approx(0, abs=2e-3)
    assert pair.sustainable.power == pytest.approx(75 * factor)


def test_for_one_source_it_is_the_limit_over_the_resistance(single):
    state, reference = single.components[0], single.solution.sheets.stack.reference
    resistance = (state.peak.value - reference) / 60
    assert single.sustainable.power == pytest.approx((363.15 - reference) / resistance, rel=1e-5)


def test_only_the_named_component_scales(findings, pair_text):
    found = findings('sustainable = "die"\n' + pair_text)
    assert found.sustainable.scaled == ("die",)
    assert margin_at(found, [found.sustainable.factor, 1.0]) == pytest.approx(0, abs=2e-3)
    assert found.sustainable.power == pytest.approx(60 * found.sustainable.factor)


def test_falling_conductivity_lowers_it_and_the_limit_is_still_met_exactly(findings, single_text):
    constant = 'material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm"'
    falling = 'material = { conductivity = "120 W/m/K", exponent = -1.3, temperature_reference = "25 degC" }, thickness = "0.5 mm"'
    plain = findings(single_text)
    found = findings(single_text.replace(constant, falling))
    assert found.sustainable.power < plain.sustainable.power
    assert margin_at(found, [found.sustainable.factor]) == pytest.approx(0, abs=2e-3)


def test_a_limit_below_the_coolant_cannot_hold(findings, single_text):
    found = findings(single_text.replace('limit = "90 degC"', 'limit = "20 degC"'))
    assert found.sustainable.factor == 0


def test_without_limits_there_is_none(findings, single_text):
    assert findings(single_text.replace('limit = "90 degC"', 'limit = "none"')).sustainable is None


def test_a_component_that_does_not_scale_may_never_be_limited(findings, pair_text):
    text = pair_text.replace('limit = "90 degC"', 'limit = "none"').replace('limit = "80 degC"', 'limit = "1700 degC"')
    text = text.replace('power = "60 W"', 'power = "1e-9 W"')
    found = findings('sustainable = "die"\n' + text)
    assert found.sustainable.factor is None
