"""Die, interface, plate and board path in series and in parallel, and k(T), against sums done by hand.

The numbers were derived independently: one-dimensional steps t / (k A) and R'' / A, the plate's rise from the series of a source of
uniform flux, the slab with k(T) by the Kirchhoff transform.
"""

from dataclasses import replace
from math import inf

import exact
import pytest
from plates import (
    REFERENCE,
    answer,
    body,
    centred,
    cooled,
    peak_and_mean,
    shape,
    solid,
    solve_stack,
    source,
    stack,
    state,
)
from pytest import approx

from plancha.fem.audit import audit
from plancha.fem.budget import budget_of
from plancha.geometry.bodies import COMPONENT_SIDE, COOLED_SIDE, Body, Film, Held, Joint

DIE, PLATE_SIDE, WATTS = centred(0.02, 0.08), 0.08, 150.0
PEAK, MEAN = 1e-3, 3e-3  # as for the plate alone, which holds nine tenths of the rise


def chain(conductivity):
    """Die 20 x 20 x 0.5 mm, 50 um of 5 W/m/K with contacts of 2 + 2 mm2 K/W, copper plate 80 x 80 x 3 mm, 2000 W/m2/K."""
    bodies = [body("die", DIE, 0.5e-3, conductivity), body("plate", (0, 0, PLATE_SIDE, PLATE_SIDE), 3e-3, 390.0)]
    joint = Joint("interface", 0, 1, 50e-6 / 5.0 + 4e-6)
    return stack(bodies, [source("die", DIE, WATTS, (0, 1), (0,))], [cooled(2000.0, 1)], [joint])


# A die that conducts only upward hands on the uniform flux that the hand calculation takes for granted.
UPWARD = (1e-3, 1e-3, 120.0)


def test_a_chain_with_uniform_flux_adds_up():
    found = answer(chain(UPWARD))
    assert found.mean == approx(35.2770, rel=MEAN)
    assert found.peak == approx(39.7338, rel=PEAK)
    assert found.reached and found.holds(39.7338, 35.2770)


def test_the_steps_of_the_chain_are_those_of_the_hand_calculation():
    solved = answer(chain(UPWARD)).solution
    steps = {step.name: step.kelvin for step in budget_of(solved, solved.sheets.stack.sources[0]).steps}
    # Die and interface are one-dimensional here: exact but for rounding in temperatures of 300 K.
    assert steps["through die"] == approx(WATTS * 0.0104167, rel=1e-5)
    assert steps["interface"] == approx(WATTS * 0.035, rel=1e-9)
    assert sum(steps.values()) == approx(39.7338, rel=PEAK)


def test_a_die_that_spreads_is_no_warmer_on_average_than_one_that_does_not():
    """More conductivity never raises the mean of a single uniform source; the hand calculation is an upper bound of the mean."""
    spreading, upward = peak_and_mean(chain(120.0)), peak_and_mean(chain(UPWARD))
    assert spreading[0] < upward[0]
    assert 0.95 * upward[1] < spreading[1] < upward[1]


def test_the_board_takes_its_share_of_the_heat():
    board = Film("board", 0, COMPONENT_SIDE, 1 / (10.0 * 4e-4), REFERENCE, shape(DIE), True)
    with_board = chain(UPWARD)
    with_board = replace(with_board, films=(*with_board.films, board))
    solved = answer(with_board).solution
    taken = {path.name: path.heat for path in audit(solved).paths}["board"]
    mean = state(solved).mean - REFERENCE
    # By definition of the film: heat over the board is the mean rise over its resistance.
    assert taken == approx(mean / 10.0, rel=1e-9)
    # 0.3 % for the plate, and the board draws most where the die is hottest: 13 % unevenness of 2 % of the heat.
    assert mean == approx(34.4664, rel=MEAN)
    assert taken == approx(3.4466, rel=MEAN)


def test_a_film_cools_only_the_part_of_its_face_that_no_body_covers():
    """Die and film on the same side: the plate's bare part is what exchanges, the whole of it and no more."""
    both_sides = replace(
        chain(120.0), films=(cooled(2000.0, 1), replace(cooled(500.0, 1, COMPONENT_SIDE), name="front"))
    )
    solved = solve_stack(both_sides)
    paths = {path.name: path for path in audit(solved).paths}
    assert paths["front"].area == approx(0.08**2 - 0.02**2, rel=1e-9)
    assert paths["film on 1"].area == approx(0.08**2, rel=1e-9)
    # A plate at one temperature would part its heat by coefficient and area; a quarter of that is left open for spreading.
    share = 500.0 * (0.08**2 - 0.02**2) / (2000.0 * 0.08**2)
    assert paths["front"].heat / paths["film on 1"].heat == approx(share, rel=0.25)
    assert paths["front"].heat + paths["film on 1"].heat == approx(WATTS, rel=1e-9)


@pytest.mark.parametrize("impedance", [0.0, 1e-6, 100e-6])
def test_layers_of_one_size_in_uniform_flux_are_resistances_in_series(impedance):
    area = (0.0, 0.0, 0.04, 0.02)
    bodies = [body("a", area, 0.4e-3, 148.0), body("b", area, 2e-3, 390.0), body("c", area, 5e-3, (50.0, 90.0, 7.0))]
    joints = [Joint(f"joint {n}", n, n + 1, impedance) for n in range(2)]
    case = stack(bodies, [source("even", area, 60.0, (0, 1, 2), (0, 1))], [cooled(800.0, 2)], joints)
    want = 60.0 / 8e-4 * (0.4e-3 / 148 + 2e-3 / 390 + 5e-3 / 7 + 2 * impedance + 1 / 800)
    # Linear through each layer, even in the plan: the functions hold it exactly.
    assert peak_and_mean(case) == approx((want, want), rel=1e-9)


@pytest.mark.parametrize("heated", [COMPONENT_SIDE, COOLED_SIDE])
def test_heat_may_enter_by_either_side(heated):
    area = (0.0, 0.0, 0.02, 0.01)
    bodies = [body("block", area, 4e-3, 20.0)]
    case = stack(bodies, [source("even", area, 5.0, face=heated)], [cooled(500.0, 0, 1 - heated)])
    want = 5.0 / 2e-4 * (4e-3 / 20 + 1 / 500)
    assert peak_and_mean(case) == approx((want, want), rel=1e-9)


@pytest.mark.parametrize("exponent", [-1.3, 0.0, 0.8])
def test_a_slab_whose_conductivity_depends_on_temperature_follows_the_kirchhoff_transform(exponent):
    area, thickness, flux = (0.0, 0.0, 0.01, 0.01), 0.75e-3, 2e6
    slab = Body("silicon", shape(area), thickness, solid(148.0, exponent))
    held = Held("cold face", 0, COOLED_SIDE, 350.0)
    solved = solve_stack(stack([slab], [source("even", area, flux * 1e-4)], helds=[held]))
    want = exact.kirchhoff_slab(flux, thickness, 350.0, 148.0, 300.0, exponent)
    if exponent == -1.3:
        assert want == approx(362.674, abs=5e-4)
    # k changes by 5 % through the slab; one quadratic leaves some 1e-4 of the drop.
    assert state(solved).peak.value - 350.0 == approx(want - 350.0, rel=5e-4)
    assert state(solved).mean == approx(state(solved).peak.value, abs=1e-6)


def test_a_plate_of_two_layers_under_a_perfect_joint_is_one_plate():
    """Cutting a plate in two and joining it again changes nothing but the functions through it."""
    whole = (0, 0, 0.04, 0.04)
    cut = stack(
        [body("upper", whole, 1e-3, 390.0), body("lower", whole, 2e-3, 390.0)],
        [source("source", centred(0.01, 0.04))],
        [cooled(1000.0, 1)],
        [Joint("perfect contact", 0, 1, 0.0)],
    )
    one = exact.layered_series(
        (0.04, 0.04), [centred(0.01, 0.04)], [(0.02, 0.02, 0, 0)], [(3e-3, 390.0, 390.0, 390.0, 0.0)], 1000.0, 2000
    )
    assert answer(cut).peak == approx(one[0, 0], rel=PEAK)


def test_a_huge_coefficient_is_a_held_face():
    bare = stack([body("plate", (0, 0, 0.04, 0.04), 5e-3, 200.0)], [source("source", centred(0.01, 0.04), 50.0)])
    held = peak_and_mean(replace(bare, helds=(Held("cold plate", 0, COOLED_SIDE, REFERENCE),)), 2.0)
    film = peak_and_mean(replace(bare, films=(cooled(1e9),)), 2.0)
    # The film's own drop, q / h, is 5e5 W/m2 over 1e9 of some 10 K.
    assert film == approx(held, rel=1e-4)
    series = exact.layered_series(
        (0.04, 0.04), [centred(0.01, 0.04)], [(0.02, 0.02, 0, 0)], [(5e-3, 200.0, 200.0, 200.0, 0.0)], inf, 2000
    )
    assert held[0] == approx(50.0 * series[0, 0], rel=PEAK)
