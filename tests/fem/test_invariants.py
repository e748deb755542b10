"""What linear steady conduction obeys whatever the numbers: no reference value is needed.

Exact statements for constant properties, derived independently; most hold for the discrete problem too, to rounding. Random stacks:
a plate, maybe a second body on its cooled side, two dies on joints, orthotropic and turned materials, a film that may vary. What
is exact on any mesh is checked on a coarse one.
"""

from dataclasses import replace
from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from plates import REFERENCE, body, cooled, random_tiles, solve_stack, source, stack, state
from pytest import approx

from plancha.fem.audit import UNDERSHOOT_LIMIT, audit, heat_paths
from plancha.fem.components import coupling, unit_rises
from plancha.fem.plan import plan_space
from plancha.fem.planes import plan_mean
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve
from plancha.fem.thickness import Through
from plancha.geometry.bodies import COOLED_SIDE, Body, Film, Joint, Rim, Stack
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.grid import Grid

# Fixed examples keep the suite's answer the same from run to run; the machine decides nothing.
# Shrinking a failure would solve hundreds of stacks more.
few = settings(max_examples=12, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate))
fewer = settings(few, max_examples=6)
ROUNDING = 1e-8  # relative: temperatures of 300 K carry rises of some kelvin, conditions up to 1e6
GRID = 1e-7  # the mesher rounds corners to 1e-9 of the plan; rises in temperatures of 300 K

conductivities = st.tuples(st.floats(20.0, 800.0), st.floats(20.0, 800.0), st.floats(5.0, 400.0))
impedances = st.sampled_from([0.0, 2e-6, 30e-6, 300e-6])
spans = st.integers(6, 12)  # mm


@st.composite
def plates_with_dies(draw, even_film=False, dies=2, maps=True) -> Stack:
    """A plate of 40 to 80 mm, dies on its component side, maybe a spreader between it and the film."""
    width, height = draw(st.integers(40, 80)) * 1e-3, draw(st.integers(20, 50)) * 1e-3
    bodies, joints, sources = [_slab(draw, "plate", (0.0, 0.0, width, height))], [], []
    for number in range(dies):
        side = (draw(spans) * 1e-3, draw(spans) * 1e-3)
        left = (2 + number * 20) * 1e-3 + draw(st.integers(0, 4)) * 1e-3
        place = (left, draw(st.integers(0, 7)) * 1e-3, *side)
        power = draw(st.floats(0.5, 100.0))
        if maps and draw(st.booleans()):
            power = random_tiles(*side, 2, 2, power, draw(st.integers(0, 9)))
        bodies.append(_slab(draw, f"die {number}", place, thinnest=0.3))
        joints.append(Joint(f"interface {number}", len(bodies) - 1, 0, draw(impedances)))
        sources.append(source(f"die {number}", place, power, (len(bodies) - 1, 0), (number,)))
    base = 0
    if draw(st.booleans()):
        bodies.append(_slab(draw, "base", (-0.004, -0.003, width + 0.006, height)))
        base = len(bodies) - 1
        joints.append(Joint("seam", 0, base, draw(impedances)))
    return stack(bodies, sources, [_film(draw, even_film, base)], joints)


def _slab(draw, name, place, thinnest=0.5) -> Body:
    thickness, turned = draw(st.floats(thinnest, 3.0)) * 1e-3, draw(st.floats(-pi / 2, pi / 2))
    return body(name, place, thickness, draw(conductivities), turned)


def _film(draw, even, base) -> Film:
    if even or draw(st.booleans()):
        return cooled(draw(st.floats(50.0, 2e4)), base)
    values = np.random.default_rng(draw(st.integers(0, 99))).uniform(50.0, 5000.0, (5, 4))
    return cooled(Grid((0.0, 0.0, 0.06, 0.04), values), base)


def with_conductivity(whole: Stack, number: int, factor: float) -> Stack:
    material = whole.bodies[number].material
    along_x, along_y, through = material.conductivity
    changed = replace(material, conductivity=(factor * along_x, factor * along_y, factor * through))
    bodies = list(whole.bodies)
    bodies[number] = replace(bodies[number], material=changed)
    return replace(whole, bodies=tuple(bodies))


def with_coefficient(whole: Stack, factor: float) -> Stack:
    def scaled(film):
        if isinstance(film.coefficient, Grid):
            return replace(film, coefficient=replace(film.coefficient, values=factor * film.coefficient.values))
        return replace(film, coefficient=factor * film.coefficient)

    return replace(whole, films=tuple(scaled(film) for film in whole.films))


def on_one_mesh(*stacks: Stack) -> list[Solution]:
    """Coarse solutions of stacks that differ in numbers only, all with the first one's mesh and thickness functions."""
    snapped, notes = snapped_stack(stacks[0])
    space = plan_space(plan_mesh(snapped, 1.0, notes))
    through = [Through(degree=1 + number % 3) for number in range(len(snapped.bodies))]
    return [solve(sheets_of(snapped_stack(each)[0], space, through)) for each in stacks]


@few
@given(plates_with_dies())
def test_all_heat_leaves_and_nothing_is_colder_than_the_coolant(whole):
    solved = solve_stack(whole)
    checked = audit(solved)
    power = sum(each.power for each in whole.sources)
    assert checked.heat_in == approx(power, rel=1e-12)
    assert sum(path.heat for path in checked.paths) == approx(power, rel=1e-9)
    # Quadratics may undershoot near a jump; the audit names how far.
    span = solved.temperature.max() - REFERENCE
    assert solved.temperature.min() > REFERENCE - UNDERSHOOT_LIMIT * span


@few
@given(plates_with_dies())
def test_nothing_is_hotter_than_the_hottest_source(whole):
    solved = solve_stack(whole)
    hottest = max(state(solved, number).peak.value for number in range(2))
    assert solved.temperature.max() - hottest <= UNDERSHOOT_LIMIT * (hottest - REFERENCE)


@few
@given(plates_with_dies(even_film=True))
def test_the_mean_rise_under_an_even_film_is_its_heat_over_coefficient_and_area(whole):
    solved = on_one_mesh(whole)[0]
    film = whole.films[0]
    face = solved.face(film.body, COOLED_SIDE)
    mean = plan_mean(solved.sheets.space, face, solved.sheets.slabs[film.body].pattern.elements) - REFERENCE
    power = sum(each.power for each in whole.sources)
    # The area is the outline's, not the mesh's.
    assert mean == approx(power / (film.coefficient * whole.bodies[film.body].outline.area), rel=GRID)


@few
@given(plates_with_dies())
def test_a_watt_here_warms_there_as_a_watt_there_warms_here(whole):
    """Also orthotropic and turned, with joints and an uneven film; means weighted by the receiver's own heat."""
    solved = on_one_mesh(whole)[0]
    # The factor reads one half of the matrix only: the other half is checked by itself.
    matrix = solved.matrix.csr
    assert abs(matrix - matrix.T).max() <= 1e-12 * abs(matrix).max()
    mean = coupling(solved, unit_rises(solved)).mean
    # The smaller entry may be 1e-6 of the larger: what counts is the matrix's own size.
    assert mean == approx(mean.T, abs=ROUNDING * np.abs(mean).max())
    assert np.all(np.linalg.eigvalsh(mean) > 0)
    assert np.all(mean > -UNDERSHOOT_LIMIT * mean.max())


@few
@given(plates_with_dies(maps=False))
def test_area_means_of_evenly_heated_dies_are_reciprocal_too(whole):
    """Read from the solved face by the mean that is printed, not from the loads."""
    sheets = on_one_mesh(whole)[0].sheets
    first, second = (solve(sheets, np.eye(2)[number]) for number in range(2))
    there, back = state(first, 1).mean - REFERENCE, state(second, 0).mean - REFERENCE
    own = state(first, 0).mean - REFERENCE
    assert there == approx(back, abs=ROUNDING * own)


@few
@given(plates_with_dies())
def test_the_rise_of_two_dies_is_the_sum_of_the_rises_of_each(whole):
    solved = on_one_mesh(whole)[0]
    sheets = solved.sheets
    alone = [solve(sheets, sheets.powers * np.eye(2)[number]).temperature - REFERENCE for number in range(2)]
    together = solved.temperature - REFERENCE
    assert alone[0] + alone[1] == approx(together, abs=ROUNDING * np.abs(together).max())
    assert solve(sheets, 3 * sheets.powers).temperature - REFERENCE == approx(
        3 * together, abs=3 * ROUNDING * np.abs(together).max()
    )


@few
@given(plates_with_dies(), st.floats(0.2, 5.0))
def test_scaling_every_conductance_scales_the_rises_down(whole, factor):
    scaled = with_coefficient(whole, factor)
    for number in range(len(whole.bodies)):
        scaled = with_conductivity(scaled, number, factor)
    scaled = replace(scaled, joints=tuple(replace(j, impedance=j.impedance / factor) for j in whole.joints))
    before, after = (solved.temperature - REFERENCE for solved in on_one_mesh(whole, scaled))
    assert factor * after == approx(before, abs=ROUNDING * np.abs(before).max())


@few
@given(plates_with_dies(dies=1), st.integers(0, 1), st.floats(1.05, 4.0))
def test_more_conductance_anywhere_never_warms_a_single_source_on_average(whole, number, factor):
    """Weighted by the source's own heat: that is what the theorem speaks of."""
    contacts = tuple(replace(joint, impedance=joint.impedance / factor) for joint in whole.joints)
    better = [
        with_conductivity(whole, number, factor),
        with_coefficient(whole, factor),
        replace(whole, joints=contacts),
    ]
    before, *after = (state(solved).power_mean for solved in on_one_mesh(whole, *better))
    assert max(after) <= before + ROUNDING * (before - REFERENCE)
    # The film carries all heat: improving it must show.
    assert after[1] < before - 1e-6 * (before - REFERENCE)


@few
@given(plates_with_dies(dies=1, maps=False), st.sampled_from(["left", "upper", "all"]), st.floats(10.0, 1e3))
def test_one_more_way_out_never_warms_a_single_source_on_average(whole, side, coefficient):
    rim = Rim("edge", 0, side, coefficient, REFERENCE)
    bare, with_rim = on_one_mesh(whole, replace(whole, rims=(rim,)))
    assert state(with_rim).power_mean < state(bare).power_mean
    paths = {path.name: path.heat for path in heat_paths(with_rim)}
    assert paths["edge"] > 0
    assert sum(paths.values()) == approx(whole.sources[0].power, rel=1e-9)


def mirrored(whole: Stack) -> Stack:
    """The stack seen in a mirror, x to -x."""

    def over(shape):
        return shapely.transform(shape, lambda points: points * [-1.0, 1.0])

    bodies = tuple(replace(each, outline=over(each.outline), turned=-each.turned) for each in whole.bodies)
    return replace(whole, bodies=bodies, sources=tuple(replace(s, outline=over(s.outline)) for s in whole.sources))


@few
@given(plates_with_dies(even_film=True, maps=False))
def test_the_mirror_image_has_the_same_temperatures(whole):
    """The mesher does not mirror its meshes: the two differ by their plan errors, kept well below 0.5 % of the rise."""
    here, there = solve_stack(whole), solve_stack(mirrored(whole))
    for number in range(2):
        one, other = state(here, number), state(there, number)
        assert other.peak.value - REFERENCE == approx(one.peak.value - REFERENCE, rel=2e-3)
        assert other.mean - REFERENCE == approx(one.mean - REFERENCE, rel=2e-3)


@fewer
@given(plates_with_dies(even_film=True, maps=False), st.floats(-3.0, 3.0), st.floats(-0.2, 0.2))
def test_turning_or_moving_everything_changes_nothing(whole, angle, shift):
    def moved(shape):
        turned = shapely.affinity.rotate(shape, angle, origin=(0, 0), use_radians=True)
        return shapely.affinity.translate(turned, shift, -shift / 3)

    bodies = tuple(replace(each, outline=moved(each.outline), turned=each.turned + angle) for each in whole.bodies)
    sources = tuple(replace(each, outline=moved(each.outline)) for each in whole.sources)
    here, there = solve_stack(whole, 2.0), solve_stack(replace(whole, bodies=bodies, sources=sources), 2.0)
    # Other meshes (size zones follow the axes): the plan error of both, well below 0.5 %.
    for number in range(2):
        assert state(there, number).mean - REFERENCE == approx(state(here, number).mean - REFERENCE, rel=2e-3)


@pytest.mark.parametrize("face", [0, 1])
def test_two_equal_dies_placed_alike_are_equally_warm(face):
    dies = [
        source("left", (0.01, 0.01, 0.01, 0.01), 20.0, face=face),
        source("right", (0.04, 0.01, 0.01, 0.01), 20.0, face=face),
    ]
    case = stack([body("plate", (0, 0, 0.06, 0.03), 2e-3, (300.0, 150.0, 50.0))], dies, [cooled(1500.0)])
    solved = solve_stack(case, 4.0)
    left, right = state(solved, 0), state(solved, 1)
    assert left.mean - REFERENCE == approx(right.mean - REFERENCE, rel=5e-4)
    assert left.peak.value - REFERENCE == approx(right.peak.value - REFERENCE, rel=5e-4)
    assert left.peak.point[0] + right.peak.point[0] == approx(0.06, abs=5e-4)
