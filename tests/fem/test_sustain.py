"""Sustainable power: the first limit is met exactly there, by the components that scale and no others."""

import numpy as np
import pytest

from plancha.fem.components import component_states, limiting
from plancha.fem.solve import solve
from plancha.fem.sustain import _following


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


FALLING = 'material = { conductivity = "120 W/m/K", exponent = -1.3 }, thickness = "0.5 mm"'


@pytest.mark.parametrize("power", ["2000 W", "4000 W"])
def test_a_study_far_beyond_its_limit_leads_the_search_back_to_it(findings, single_text, power):
    """With k(T), straight lines from thousands of kelvin lead below 0 K, and such a factor nowhere: it must start anew."""
    constant = 'material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm"'
    text = single_text.replace(constant, FALLING)
    far = findings(text.replace('power = "60 W"', f'power = "{power}"').replace("390 W/m/K", "100 W/m/K"))
    near = findings(text.replace("390 W/m/K", "100 W/m/K"))
    assert far.components[0].peak.value > 1000
    assert far.sustainable.power == pytest.approx(near.sustainable.power, rel=2e-5)


def test_where_the_straight_line_leads_below_nothing_the_search_starts_from_a_known_state(findings, single_text):
    """From 3600 and 4000 W, where k(T) makes each watt dear, the line back to 60 W meets 0 K on its way."""
    constant = 'material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm"'
    text = single_text.replace(constant, FALLING)
    hot = findings(text.replace('power = "60 W"', 'power = "4000 W"').replace("390 W/m/K", "100 W/m/K")).solution
    less = solve(hot.sheets, np.array([3600.0]), hot)
    back = (60.0 - 3600.0) / 400.0
    line = less.temperature + back * (hot.temperature - less.temperature)
    assert line.min() < 0
    found = _following(less, hot, back)
    assert found.powers == pytest.approx([60.0])
    assert found.temperature == pytest.approx(solve(hot.sheets, np.array([60.0])).temperature, abs=1e-4)


def test_a_limit_beyond_the_last_steady_temperature_is_looked_for_in_shorter_steps(findings, single_text):
    """k ~ T^-1.3: towards 1500 degC a straight line asks for more than the die may conduct; the search goes half the way."""
    text = single_text.replace('limit = "90 degC"', 'limit = "1500 degC"').replace(
        'material = { conductivity = "120 W/m/K" }, thickness = "0.5 mm"', FALLING.replace("120", "1.2")
    )
    found = findings(text)
    assert margin_at(found, [found.sustainable.factor]) == pytest.approx(0, abs=0.05)
