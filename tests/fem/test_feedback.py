"""Powers that follow temperature: the closed form of one component, stability, and runaway told as such."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import lambertw

from plancha.fem.feedback import Runaway, loop_gain, settled_powers
from plancha.geometry.bodies import PowerLaw, Source

KELVIN = 273.15


def source(law: PowerLaw | None, name: str = "chip") -> Source:
    return Source(name, (0,), (), 0, shapely.box(0, 0, 1, 1), 100.0, None, 0.0, None, law=law)


def one(resistance: float, asked: float = 150.0, law: PowerLaw | None = None, ambient: float = 40.0):
    """A component of one resistance to ambient [degC]: C9.1's leakage unless another law is given."""
    law = law or PowerLaw(leakage=15.0, leakage_at=60.0 + KELVIN, leakage_growth=0.015)
    powers = np.array([asked])
    temperatures = ambient + KELVIN + resistance * powers
    return settled_powers([source(law)], powers, temperatures, powers, np.array([[resistance]]))


def test_leakage_settles_at_the_worked_values():
    # C9.1 (Lambert's W, derived independently): Ta = 40, R = 0.30, P_d = 150, P_0 = 15 at 60, beta = 0.015.
    found = one(0.30)
    assert found.temperatures[0] - KELVIN == pytest.approx(92.3058, abs=1e-4)
    assert found.powers[0] - 150 == pytest.approx(24.3526, abs=1e-4)
    assert found.gain == pytest.approx(0.109586, abs=1e-6)


def test_runaway_comes_where_the_closed_form_says():
    # C9.1: no steady state from R = 0.587920 K/W on, at 194.855 degC.
    just = one(0.58791)
    assert just.temperatures[0] - KELVIN == pytest.approx(194.855, abs=0.6)
    assert 0.98 < just.gain < 1
    with pytest.raises(Runaway, match=r"thermal runaway.*chip.*loop gain"):
        one(0.58793)


def test_resistive_loss_is_a_linear_feedback():
    # P = D (1 + a (T - T0)), T = Ta + R P: P = D (1 + a (Ta - T0))/(1 - a R D), derived.
    law = PowerLaw(resistive=0.0039, resistive_at=25 + KELVIN)
    found = one(0.5, 100.0, law)
    assert found.powers[0] == pytest.approx(100 * (1 + 0.0039 * 15) / (1 - 0.0039 * 50), rel=1e-12)
    assert found.gain == pytest.approx(0.0039 * 50, rel=1e-12)
    with pytest.raises(Runaway):
        one(3.0, 100.0, law)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 0.5), st.floats(10, 200), st.floats(0.5, 20), st.floats(0.005, 0.03))
def test_one_leaking_component_meets_lamberts_function(resistance, asked, leakage, growth):
    # T = Ta + R P_d - W0(-c)/beta with c = beta R P_0 exp(beta (Ta + R P_d - T0)), where c <= 1/e.
    law = PowerLaw(leakage=leakage, leakage_at=60 + KELVIN, leakage_growth=growth)
    c = growth * resistance * leakage * np.exp(growth * (40 + resistance * asked - 60))
    if abs(c * np.e - 1) < 1e-3:
        return
    if c > 1 / np.e:
        with pytest.raises(Runaway):
            one(resistance, asked, law)
    else:
        exact = 40 + resistance * asked - lambertw(-c).real / growth
        assert one(resistance, asked, law).temperatures[0] - KELVIN == pytest.approx(exact, abs=1e-7)


def test_neighbours_drive_each_other():
    laws = [PowerLaw(leakage=5.0, leakage_at=330.0, leakage_growth=0.02), None]
    coupling = np.array([[0.4, 0.1], [0.1, 0.5]])
    asked = np.array([60.0, 40.0])
    start = 310.0 + coupling @ asked
    found = settled_powers([source(laws[0], "a"), source(laws[1], "b")], asked, start, asked, coupling)
    assert found.powers[1] == 40.0
    assert found.temperatures == pytest.approx(310.0 + coupling @ found.powers, rel=1e-12)
    assert found.powers[0] == pytest.approx(60 + 5 * np.exp(0.02 * (found.temperatures[0] - 330)), rel=1e-11)
    assert loop_gain(coupling, np.zeros(2)) == 0
