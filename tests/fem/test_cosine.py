"""The cosine engine beside exact series, and beside the elements, which reach the same answer by another way."""

from dataclasses import replace

import numpy as np
import plates
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from plancha.fem.cosine import CosineChip, CosinePlate, cosine_solution, two_port
from plancha.fem.cosine_stack import NotRectangular, cosine_problem
from plancha.fem.findings import solve_with_estimate
from plancha.fem.plate_series import Layer, isotropic_layer, layer_impedance
from plancha.fem.spreading import one_dimensional_resistance, series_maximum, series_rise_at
from plancha.geometry.bodies import Joint, Rim
from plancha.geometry.power_map import PowerMap

SILICON, COPPER = isotropic_layer(0.5e-3, 120.0, 1e-5), isotropic_layer(3e-3, 390.0)
PLATE = CosinePlate((40e-3, 30e-3), (COPPER,), 1500.0)


def spot(place, plate_place, layers):
    """A chip at ``plate_place`` that gives off one watt on a rectangle (x, y, width, height) of it alone."""
    x, y, width, height = place
    edges = [np.array([0, a, a + b, c]) for a, b, c in ((x, width, plate_place[2]), (y, height, plate_place[3]))]
    return CosineChip("chip", plate_place, layers, *edges, np.array([[0, 0, 0], [0, 1.0, 0], [0, 0, 0]]))


def test_a_source_on_the_bare_plate_is_the_series():
    place = (11e-3, 8e-3, 10e-3, 7e-3)
    source = CosineChip("s", place, (), np.r_[0, place[2]], np.r_[0, place[3]], np.array([[1.0]]))
    exact = series_maximum(PLATE.size, place, [COPPER], PLATE.coefficient)[0]
    assert cosine_solution(PLATE, [source], modes=64).peaks[0] == approx(exact, rel=3e-5)


SHARE = st.floats(0.05, 0.6)


@settings(max_examples=15, deadline=None)
@given(x=SHARE, y=SHARE, width=st.floats(0.15, 0.35), height=st.floats(0.15, 0.35), joint=st.floats(1e-6, 1e-4))
def test_a_chip_as_large_as_the_plate_is_one_more_layer_of_the_series(x, y, width, height, joint):
    place = (x * 40e-3, y * 30e-3, width * 40e-3, height * 30e-3)
    die = replace(SILICON, impedance_below=joint)
    chip = spot(place, (0.0, 0.0, *PLATE.size), (die,))
    found = cosine_solution(PLATE, [chip], modes=48)
    exact = series_maximum(PLATE.size, place, [die, COPPER], PLATE.coefficient)[0]
    # 48 cosines a side leave waves of the plate's length / 48 out of what crosses the contact.
    assert found.peaks[0] == approx(exact, rel=2e-3)
    corners = found.on_chip(0, points=2)
    at = np.array([[0.0, 0.0], [PLATE.size[0], PLATE.size[1]]])
    series = series_rise_at(at, PLATE.size, [place], [die, COPPER], PLATE.coefficient)
    assert corners[[0, 1], [0, 1]] == approx(np.ravel(series), rel=2e-3)


def test_the_error_falls_as_cosines_are_added():
    place = (9e-3, 6e-3, 8e-3, 7e-3)
    exact = series_maximum(PLATE.size, place, [SILICON, COPPER], PLATE.coefficient)[0]
    chip = spot(place, (0.0, 0.0, *PLATE.size), (SILICON,))
    errors = [abs(cosine_solution(PLATE, [chip], modes).peaks[0] / exact - 1) for modes in (6, 24, 96)]
    assert errors[2] < 2e-4 and errors[2] < errors[0] / 20


@settings(max_examples=20, deadline=None)
@given(t=st.floats(1e-5, 1e-2), k_x=st.floats(1, 1500), k_z=st.floats(1, 400), joint=st.floats(0, 1e-4))
def test_layers_over_a_plate_are_its_layered_impedance(t, k_x, k_z, joint):
    layers = [Layer(t, (k_x, 50.0, k_z), joint), SILICON]
    size, count = (20e-3, 15e-3), (7, 6)
    port = two_port(layers, size, count)
    x, y = np.pi / size[0] * np.arange(count[0])[:, None], np.pi / size[1] * np.arange(count[1])[None, :]
    below = layer_impedance(x, y, [COPPER], 800.0)
    # In contact the plate's rise is what its heat makes: across q_in - bottom q_out = below q_out.
    together = port.top - port.across**2 / (port.bottom + below)
    whole = layer_impedance(x, y, [*layers, COPPER], 800.0)
    assert together.ravel()[1:] == approx(whole.ravel()[1:], rel=1e-9)


def tiled(place, joint, power=80.0):
    """A die with 4 x 4 uneven tiles on a plate, as the elements take it."""
    watts = np.arange(1.0, 17.0).reshape(4, 4) ** 2
    edges = np.linspace(0, place[2], 5), np.linspace(0, place[3], 5)
    bodies = [plates.body("die", place, 0.6e-3, 130.0), plates.body("plate", (0, 0, 60e-3, 50e-3), 2.5e-3, 390.0)]
    source = plates.source("die", place, PowerMap(*edges, power * watts / watts.sum()), chain=(0, 1), joints=(0,))
    return plates.stack(bodies, [source], [plates.cooled(1800.0, of_body=1)], [Joint("joint", 0, 1, joint)])


@pytest.mark.parametrize("joint", [1e-6, 2e-5])
def test_elements_and_cosines_agree_within_the_elements_own_estimate(joint):
    stack = tiled((17e-3, 21e-3, 14e-3, 12e-3), joint)
    solved = solve_with_estimate(replace(stack, accuracy=1e-3))
    found = cosine_solution(*cosine_problem(stack), modes=48)
    peak, error = solved.estimate.values[0, 0], solved.estimate.total[0, 0]
    # Cosines: what 96 of them a side change, times 2.
    own = 2 * abs(found.peaks[0] - cosine_solution(*cosine_problem(stack), modes=96).peaks[0])
    assert found.peaks[0] == approx(peak, abs=error + own) and error < 1e-3 * peak


def test_all_heat_goes_into_the_coolant_and_two_chips_warm_each_other_alike():
    edges = np.r_[0, 6e-3], np.r_[0, 5e-3]

    def pair(one, other):
        """Two chips of these powers."""
        places = (4e-3, 5e-3, 6e-3, 5e-3), (25e-3, 17e-3, 6e-3, 5e-3)
        return [
            CosineChip(str(w), place, (SILICON,), *edges, np.array([[w]])) for place, w in zip(places, (one, other))
        ]

    flat = one_dimensional_resistance(PLATE.size, [COPPER], PLATE.coefficient)
    both = cosine_solution(PLATE, pair(5.0, 3.0))
    assert both.plate_modes[0, 0] / np.sqrt(np.prod(PLATE.size)) == approx(8.0 * flat, rel=1e-12)
    means = [[modes[0, 0] for modes in cosine_solution(PLATE, pair(*w)).chip_modes] for w in ((1.0, 0.0), (0.0, 1.0))]
    assert means[0][1] == approx(means[1][0], rel=1e-6)


def test_what_is_not_rectangles_of_uniform_layers_is_refused_with_all_reasons():
    stack = tiled((17e-3, 21e-3, 14e-3, 12e-3), 1e-5)
    turned = replace(stack.bodies[0], turned=0.3)
    rim = Rim("warm rim", 1, "left", 100.0, stack.reference)
    film = replace(stack.films[0], temperature=stack.reference + 5)
    other = replace(stack, bodies=(turned, stack.bodies[1]), rims=(rim,), films=(film,))
    with pytest.raises(NotRectangular, match=r"die is not of one .*; there are held faces.*; something else than one"):
        cosine_problem(other)
