"""Pressure lost in passages: published values, the worked bank of fins, the pitfalls of Fanning and of area ratios.

Numbers called "derived independently" come from formulas, marches and integrals written apart from the product.
"""

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import dblquad

from plancha.fem.friction import (
    AUTOMATIC,
    DEVELOPING_GAP,
    FRICTION,
    LOSSES,
    PIN_FRICTION,
    core_pressure_drop,
    narrowest_section,
    pin_bank_pressure_drop,
    top_entry_friction,
    top_entry_pressure_drop,
)
from plancha.fem.laws import outside

X_PLUS = np.array([0.001, 0.005, 0.01, 0.02, 0.05, 0.1])
MARCH = np.array(
    [110.14, 53.01, 40.23, 32.36, 27.35, 25.67]
)  # f_app Re, own entrance march, derived independently, 0.2 %
RHO, MU = 1.184, 1.845e-5
GAP, HEIGHT, LENGTH, SPEED = 1.6e-3, 25e-3, 0.060, 4.0  # the worked bank: 30 fins of 0.4 mm
SIGMA = 29 * 1.6 / (29 * 1.6 + 30 * 0.4)


def f_re(name, x_plus, aspect=0.0, reynolds=1000.0):
    law = FRICTION[name].function
    return reynolds * law(reynolds=reynolds, length_ratio=np.asarray(x_plus) * reynolds, aspect=aspect)


def bank(speed=SPEED, **choices):
    return core_pressure_drop(speed, RHO, MU, 2 * GAP, LENGTH, SIGMA, SIGMA, **{"law": DEVELOPING_GAP, **choices})


def test_developing_gap_gives_the_values_worked_out_apart():
    # Shah (1978), constants from memory; evaluated independently.
    assert f_re("developing gap", X_PLUS) == approx([111.573, 52.839, 39.400, 31.877, 27.233, 25.642], rel=2e-5)


def test_developing_gap_keeps_its_claimed_accuracy_beside_a_march():
    assert f_re("developing gap", X_PLUS) == approx(MARCH, rel=0.024)  # as Shah (1978) claims


def test_the_blend_gives_the_values_worked_out_apart_and_reads_up_to_6_percent_high():
    # Muzychka and Yovanovich (2009), from memory; evaluated independently.
    blend = f_re("blended duct", X_PLUS)
    assert blend == approx([111.398, 54.247, 41.945, 34.171, 28.507, 26.350], rel=2e-5)
    assert np.all((blend / MARCH > 1.0) & (blend / MARCH < 1.06))


def test_every_laminar_law_ends_at_24_between_plates_which_is_fannings_factor_and_not_darcys():
    for name in ("developed gap", "developed duct", "developing gap", "blended duct", "automatic"):
        assert f_re(name, 1e6) == approx(24, rel=1e-6)


def test_a_long_gap_loses_what_plane_poiseuille_flow_loses():
    """12 mu V L/b^2: the check that a factor of four would not pass."""
    length, speed = 2.0, 0.1
    lost = core_pressure_drop(speed, RHO, MU, 2 * GAP, length, 1.0, 1.0, law=FRICTION["developed gap"])
    assert lost == approx(12 * MU * speed * length / GAP**2, rel=1e-12)


def test_the_turbulent_factor_is_a_quarter_of_darcys():
    # Petukhov (1970), from memory, Darcy at Re = 1e4 and 5e3: derived independently.
    fanning = FRICTION["turbulent"].function(reynolds=np.array([1e4, 5e3]), length_ratio=50.0)
    assert 4 * fanning == approx([0.0314798, 0.0386195], rel=1e-5)


def test_the_automatic_law_is_laminar_below_turbulent_above_and_has_no_jump():
    def law(reynolds):
        return float(AUTOMATIC.function(reynolds=reynolds, length_ratio=100.0))

    laminar = float(DEVELOPING_GAP.function(reynolds=2300.0, length_ratio=100.0))
    turbulent = float(FRICTION["turbulent"].function(reynolds=3000.0, length_ratio=100.0))
    assert (law(2300.0), law(3000.0), law(2650.0)) == approx((laminar, turbulent, (laminar + turbulent) / 2), rel=1e-12)
    assert "2300 to 3000" in outside(AUTOMATIC, reynolds=2600.0)[0]
    assert outside(FRICTION["turbulent"], reynolds=2600.0) == [
        'Reynolds number 2600 is outside 3000 to 5e+06 of the law "turbulent"'
    ]


@pytest.mark.parametrize("length", [2e-3, 10e-3, 60e-3, 500e-3])
def test_pressure_rises_with_flow_from_rest_through_the_transition(length):
    """So that a fan's curve meets it once; the plain turbulent law alone would fall in short passages."""
    speeds = np.r_[0.0, np.geomspace(1e-9, 60, 500)]
    lost = core_pressure_drop(speeds, RHO, MU, 2 * GAP, length, SIGMA, SIGMA)
    assert lost[0] == 0.0 and np.all(np.diff(lost) > 0)


def test_the_worked_bank_of_fins_loses_28_pascals():
    # Derived independently: friction 26.748 Pa, with entry and exit 27.965 Pa.
    assert bank() == approx(27.965, rel=4e-5)
    assert core_pressure_drop(SPEED, RHO, MU, 2 * GAP, LENGTH, 1, 1, law=DEVELOPING_GAP) == approx(26.748, rel=4e-5)
    reynolds = RHO * SPEED * 2 * GAP / MU
    assert reynolds == approx(821.42, rel=1e-5)
    assert f_re("developing gap", LENGTH / (2 * GAP * reynolds), reynolds=reynolds) == approx(30.9277, rel=1e-5)


def test_forms_of_entry_and_exit_differ_as_the_texts_do():
    # Derived independently for the worked bank: White's switch 27.548 Pa, the squared form 29.502 Pa.
    assert bank(losses=LOSSES["switched"]) == approx(27.548, rel=4e-5)
    assert bank(losses=LOSSES["area squared"]) == approx(29.502, rel=4e-5)


def test_the_squared_form_would_need_diameters():
    """At sigma = 0.6 the enlargement is 0.16 by areas and 0.41 by the squared form, which is right for a ratio of diameters."""
    assert LOSSES["area"].expansion(np.array(0.6)) == approx(0.16)
    assert LOSSES["area squared"].expansion(np.array(0.6)) == approx(0.4096)
    diameters = np.array([0.2, 0.5, 0.9])
    assert LOSSES["area squared"].expansion(diameters) == approx(LOSSES["area"].expansion(diameters**2))


def test_the_enlargement_is_what_momentum_and_energy_leave():
    """Borda and Carnot: pressure behind from the balance of momentum, loss from Bernoulli's difference."""
    sigma, rho, fast = np.linspace(0.05, 1, 20), 1.2, 7.0
    slow = sigma * fast
    rise = rho * slow * (fast - slow)  # momentum over the wide section
    lost = rho * (fast**2 - slow**2) / 2 - rise
    assert LOSSES["area"].expansion(sigma) * rho * fast**2 / 2 == approx(lost, rel=1e-9, abs=1e-12)


def test_whites_switch_has_no_jump_and_no_loss_without_contraction():
    form = LOSSES["switched"]
    assert form.contraction(np.array(0.58 - 1e-9)) == approx(float(form.contraction(np.array(0.58))), abs=1e-8)
    for each in LOSSES.values():
        assert each.contraction(np.array(1.0)) == each.expansion(np.array(1.0)) == 0
        assert each.expansion(np.array(0.0)) == 1  # into a wide room the dynamic head is lost whole


def test_banks_are_worked_out_in_arrays():
    speeds = np.array([0.0, 1.0, 4.0])
    assert bank(speeds) == approx([float(bank(speed)) for speed in speeds])
    assert bank(speeds[:, None], law=AUTOMATIC, aspect=np.array([0.0, 0.05])).shape == (3, 2)


def test_air_from_above_loses_what_the_integral_of_its_friction_says():
    """Power lost to the walls, 12 mu |u|^2/b per area of gap, over the flow: u = v x/H, w = -v z/H, derived independently."""
    v, b, tall, half = 1.0, 1.5e-3, 20e-3, 30e-3
    power, _ = dblquad(lambda z, x: 12 * MU / b * (v / tall) ** 2 * (x**2 + z**2), 0, half, 0, tall)
    assert top_entry_friction(v, MU, b, tall, 2 * half) == approx(power / (v * half * b), rel=1e-9)
    assert top_entry_friction(v, MU, b, tall, 2 * half) == approx(2.132, rel=1e-4)
    leaving = 1.5  # m/s, by continuity: 30 mm of top feed 20 mm of side
    total = top_entry_pressure_drop(v, RHO, MU, b, tall, 2 * half)
    assert total == approx(power / (v * half * b) + RHO * leaving**2 / 2, rel=1e-9)


def test_air_is_fastest_in_the_narrowest_section():
    assert narrowest_section(2.0, 2.0, staggered=False) == approx(2.0)
    assert narrowest_section(2.0, 2.0, staggered=True) == approx(2.0)  # sqrt(5) - 1 twice over is wider than 1
    # ST = 4, SL = 1.2: the diagonal sqrt(1.44 + 4) = 2.3324 leaves 2 x 1.3324 of 4, less than the 3 straight across.
    assert narrowest_section(4.0, 1.2, staggered=True) == approx(4 / 2.66476, rel=1e-5)
    with pytest.raises(ValueError, match="pitch_normal_less_diameter must be above 0"):
        narrowest_section(1.0, 2.0, staggered=False)


def test_pins_lose_in_proportion_to_their_rows_and_nothing_at_rest():
    for law in PIN_FRICTION.values():
        lost = pin_bank_pressure_drop([0.0, 5.0, 5.0], RHO, MU, 5e-3, [10, 5, 10], 2.0, 2.0, law)
        assert lost[0] == 0 and lost[2] == approx(2 * lost[1])


def test_impossible_passages_are_refused():
    with pytest.raises(ValueError, match="velocity must be 0 or more, got -1"):
        bank(-1.0)
    with pytest.raises(ValueError, match=r"sigma_in must be 0 to 1, got 1\.3"):
        core_pressure_drop(1.0, RHO, MU, 2 * GAP, LENGTH, 1.3, 0.5)
    with pytest.raises(ValueError, match="length must be above 0, got 0"):
        core_pressure_drop(1.0, RHO, MU, 2 * GAP, 0.0, 1.0, 0.5)
    with pytest.raises(ValueError, match="no meaning at Reynolds number 8"):
        FRICTION["turbulent"].function(reynolds=8.0, length_ratio=1.0)
    with pytest.raises(ValueError, match="aspect must be 0 to 1, got 2"):
        FRICTION["developed duct"].function(reynolds=8.0, length_ratio=1.0, aspect=2.0)
    with pytest.raises(ValueError, match="pitch_normal_less_diameter must be above 0, got 0"):
        PIN_FRICTION["pins in line"].function(reynolds=3e3, pitch_normal=1.0, pitch_parallel=2.0)
