"""What holds for plates under coolants on any mesh: balance, mirror images, reversal, scaling, limits, adjoints, fineness."""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from finned_array import at_inlet, finned, quick
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plancha.fem import lanes, side_entry, through_flow
from plancha.fem.audit import audit
from plancha.fem.components import component_states, coupling, peak_weights, unit_rises
from plancha.fem.findings import solve_stack
from plancha.fem.plan import plan_space
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh

FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
NOWHERE = Path(tempfile.gettempdir())
FILM = {"described_as": "film"}
SLOW = {"rate": "2 l/s", "coefficient": "60 W/m^2/K"}
TOP = {"entry": "top", "side": None}
BEYOND = {"at": ["20 mm", "0 mm"], "size": ["70 mm", "58 mm"]}
THROUGH = {"entry": "through", "side": "tips"}
PINS = {"form": "pins", "along": None, "pitch": "5 mm", "thickness": "2 mm"}
CHIPS = (
    {"name": "one", "at": ["8 mm", "14 mm"], "size": ["12 mm", "10 mm"], "power": "40 W"},
    {"name": "other", "at": ["40 mm", "36 mm"], "size": ["10 mm", "10 mm"], "power": "20 W"},
)
POCKET = {"patch": [{"at": ["10 mm", "10 mm"], "size": ["25 mm", "30 mm"], "height": "14 mm"}]}
SPARSE = {"patch": [{"at": ["0 mm", "0 mm"], "size": ["60 mm", "20 mm"], "pitch": "3 mm"}]}


def peaks(solution: Solution) -> np.ndarray:
    """Peak rises [K] over 25 degC."""
    return np.array([state.peak.value for state in component_states(solution)]) - 298.15


def on_one_mesh(*stacks: Stack) -> list[Solution]:
    """Solutions on the mesh of the first."""
    space, through = plan_space(plan_mesh(stacks[0])), through_of(stacks[0])
    return [solve(sheets_of(stack, space, through)) for stack in stacks]


@st.composite
def cooled_plates(draw) -> Stack:
    """A plate with two chips under any description of fins and any entry."""
    entry = draw(st.sampled_from(["side", "top", "through"]))
    form = draw(st.sampled_from([{}, POCKET, SPARSE, {"tip_gap": "2 mm"}, {"face": "component side"}]))
    if entry == "through":
        fins, flow = (
            BEYOND | (form if "patch" not in form else {}),
            {"entry": entry, "side": draw(st.sampled_from(["tips", "base"]))},
        )
    elif entry == "top":
        fins, flow = form | draw(st.sampled_from([{}, FILM])), TOP
    else:
        fins, flow = form | draw(st.sampled_from([{}, FILM])), {"beside": draw(st.sampled_from(["0 mm", "5 mm"]))}
        if draw(st.booleans()) and "patch" not in form:
            fins = fins | PINS
            flow["side"] = draw(st.sampled_from(["left", "right", "lower", "upper"]))
        else:
            flow["side"] = draw(st.sampled_from(["left", "right"]))
    face = "cooled side" if form.get("face") == "component side" else "component side"
    chips = tuple(chip | {"face": face} for chip in CHIPS)
    rate = draw(st.floats(0.05, 50.0))
    law = draw(st.sampled_from([{}, {"coefficient": "60 W/m^2/K"}]))
    more = draw(st.sampled_from([{}, {"cooling": [{"coefficient": "15 W/m^2/K", "face": face, "coolant": "35 degC"}]}]))
    return finned(NOWHERE, fins, {"rate": f"{rate} l/s"} | flow | law, {}, chips, **more)


@FEW
@given(cooled_plates())
def test_all_heat_leaves_and_the_coolant_carries_what_it_is_given(stack):
    solution = quick(stack)
    checked = audit(solution)
    assert sum(path.heat for path in checked.paths) == pytest.approx(60.0, rel=1e-9)
    for stream in solution.sheets.streams:
        taken = stream.heat(solution.temperature)
        assert stream.carried(solution.temperature) == pytest.approx(taken, rel=1e-9, abs=6e-8)
        network = stream.network
        whole = network.outflow.sum() + network.slipping
        assert (stream.outlet(solution.temperature) - 298.15) * whole == pytest.approx(taken, rel=1e-8, abs=6e-8)
    assert checked.coldest_below < 0.02


@FEW
@given(cooled_plates(), st.integers(0, 1))
def test_the_adjoint_gives_what_a_watt_more_does(stack, heated):
    solution = quick(at_inlet(stack))
    powers = solution.powers.copy()
    powers[heated] += 1.0
    for number in range(2):
        weights = peak_weights(solution, number)
        foretold = float(solution.system.responses(weights) @ solution.sheets.unit_loads[heated])
        done = float(weights @ (solve(solution.sheets, powers).temperature - solution.temperature))
        assert foretold == pytest.approx(done, rel=1e-7)


WAYS = {
    "side, block": ({}, {}),
    "side, film": (FILM, {}),
    "pins": (PINS, {"side": "lower"}),
    "top, block": ({}, TOP),
    "top, film": (FILM, TOP),
    "through": (BEYOND, THROUGH),
}
each_way = pytest.mark.parametrize("way", WAYS)


def plate(way: str, **flow) -> Stack:
    """The plate with two chips and slow air, its properties those at the inlet."""
    fins, entry = WAYS[way]
    return at_inlet(finned(NOWHERE, fins, SLOW | entry | flow, {}, CHIPS))


@each_way
@pytest.mark.parametrize("factor", [0.2, 3.0])
def test_scaling_every_conductance_and_every_flow_scales_the_rises_down(way, factor):
    one = plate(way)

    def scaled(part):
        metal = part.material
        return replace(part, material=replace(metal, conductivity=tuple(factor * k for k in metal.conductivity)))

    flows = tuple(replace(f, coefficient=factor * f.coefficient, rate=factor * f.rate) for f in one.flows)
    other = replace(one, bodies=tuple(map(scaled, one.bodies)), banks=tuple(map(scaled, one.banks)), flows=flows)
    before, after = on_one_mesh(one, other)
    assert peaks(after) == pytest.approx(peaks(before) / factor, rel=1e-8)


@each_way
def test_two_sources_add_up(way):
    solution = quick(plate(way))
    alone = [solve(solution.sheets, powers).temperature - 298.15 for powers in np.diag(solution.powers)]
    assert sum(alone) == pytest.approx(solution.temperature - 298.15, rel=1e-9, abs=1e-9)


@each_way
def test_huge_flow_stays_at_its_inlet_and_no_more_of_it_helps(way):
    some, more = on_one_mesh(plate(way, rate="90 m^3/s"), plate(way, rate="45 m^3/s"))
    assert peaks(some) == pytest.approx(peaks(more), rel=1e-4)
    for solution in (some, more):
        (stream,) = solution.sheets.streams
        warm = stream.means(solution.temperature)[stream.conductance > 0] - 298.15
        assert 0 <= warm.max() < 0.1
    assert peaks(some).max() < peaks(on_one_mesh(plate(way))[0]).max()


@each_way
def test_next_to_no_flow_takes_all_heat_at_a_temperature_of_its_own(way):
    # 60 W in C: the outlet is 60/C above the inlet, and the plate is above the outlet by what fixed conductances take, not by 1/C.
    slow = quick(plate(way, rate="0.002 l/s"))
    (stream,), (state,) = slow.sheets.streams, slow.sheets.states
    warming = 60.0 / state.capacity
    assert stream.outlet(slow.temperature) - 298.15 == pytest.approx(warming, rel=1e-9)
    assert warming > 20_000
    assert peaks(slow).min() > 0.9 * warming
    if way != "through":  # there the plate's far half heats its coolant by the fins alone
        assert peaks(slow).max() < warming + 200


@each_way
def test_more_flow_never_warms_the_chips(way):
    rises = [peaks(solution) for solution in on_one_mesh(*(plate(way, rate=f"{rate} l/s") for rate in (1, 2, 4, 8)))]
    assert np.all(np.diff(rises, axis=0) < 0)


SIDES = [
    ({}, {}),
    (FILM, {}),
    (PINS, {}),
    ({"tip_gap": "3 mm"}, {"beside": "6 mm"}),
    (POCKET, {"friction": "developed gap"}),
]


@pytest.mark.parametrize(("fins", "flow"), SIDES)
def test_reversing_all_lanes_transposes_what_a_watt_here_does_there(fins, flow):
    # Of source means, exactly, whatever the mesh (derived independently), where the lanes carry the same both ways: friction that
    # develops differs with what comes first, so the pocket's is developed.
    found = []
    for solution in on_one_mesh(
        *(at_inlet(finned(NOWHERE, fins, SLOW | flow | {"side": side}, {}, CHIPS)) for side in ("left", "right"))
    ):
        found.append(coupling(solution, unit_rises(solution)).mean)
    one, other = found
    assert one == pytest.approx(other.T, rel=1e-9)
    assert abs(one[0, 1] / one[1, 0] - 1) > 0.05  # air carries heat from the first chip to the other, not back


@pytest.mark.parametrize(("fins", "entry"), [({}, {}), (FILM, {}), ({}, TOP), (BEYOND, THROUGH)])
def test_the_mirror_image_has_the_mirror_image_s_temperatures(fins, entry):
    def mirrored(chip):
        x, width = (float(text.split()[0]) for text in (chip["at"][0], chip["size"][0]))
        return chip | {"at": [f"{60 - x - width} mm", chip["at"][1]]}

    other_fins = fins | ({"at": ["-30 mm", "0 mm"]} if "at" in fins else {})
    turned = entry or {"side": "right"}
    # On a mesh fine enough: mirrored meshes are not meshes mirrored.
    one, other = (
        solve_stack(replace(finned(NOWHERE, some, SLOW | flow, {}, chips), mesh_size=4e-3))
        for some, flow, chips in ((fins, entry, CHIPS), (other_fins, turned, tuple(map(mirrored, CHIPS))))
    )
    assert peaks(one) == pytest.approx(peaks(other), rel=2e-4)


def test_turning_everything_a_quarter_changes_nothing_and_the_fins_alone_do(tmp_path):
    def turned(chip):
        (x, y), (width, height) = (
            [float(text.split()[0]) for text in chip[key]] for key in ("at", "size")
        )  # (x, y) -> (y, 60 - x)
        return chip | {"at": [f"{y} mm", f"{60 - x - width} mm"], "size": [f"{height} mm", f"{width} mm"]}

    along_y = {"along": "y"}
    whole = finned(tmp_path, along_y, SLOW | {"side": "upper"}, {"size": ["58 mm", "60 mm"]}, tuple(map(turned, CHIPS)))
    as_it_is, quarter = (
        peaks(solve_stack(replace(stack, mesh_size=4e-3))) for stack in (finned(tmp_path, {}, SLOW, {}, CHIPS), whole)
    )
    assert quarter == pytest.approx(as_it_is, rel=2e-4)
    fins_alone = peaks(solve_stack(finned(tmp_path, along_y, SLOW | {"side": "lower"}, {}, CHIPS)))
    assert np.all(abs(fins_alone / as_it_is - 1) > 0.01)


@pytest.mark.parametrize(("fins", "entry"), [({}, {}), (FILM, {}), ({}, TOP), (FILM, TOP), (PINS, {})])
def test_a_patch_like_its_surroundings_changes_nothing(fins, entry):
    patch = {"patch": [{"at": ["10 mm", "10 mm"], "size": ["25 mm", "30 mm"], "height": "25 mm"}]}
    whole, patched = (at_inlet(finned(NOWHERE, some, SLOW | entry, {}, CHIPS)) for some in (fins, fins | patch))
    assert len(patched.banks[0].regions) == 2 and len(patched.bodies) == len(whole.bodies)
    one, other = on_one_mesh(whole, patched)
    assert other.temperature == pytest.approx(one.temperature, rel=1e-9)


@pytest.mark.parametrize("entry", [{}, TOP])
def test_a_block_on_a_base_that_conducts_without_end_is_a_film(entry):
    # One temperature under all fins, and fins of one temperature: nothing is left to run along them.
    without_end = {"material": {"conductivity": "1e5 W/m/K"}}
    block, film = (
        quick(at_inlet(finned(NOWHERE, fins | without_end, SLOW | entry, without_end, CHIPS))) for fins in ({}, FILM)
    )
    assert peaks(block) == pytest.approx(peaks(film), rel=5e-4)  # 1e5 W/m/K is not without end
    ordinary = [peaks(quick(at_inlet(finned(NOWHERE, fins, SLOW | entry, {}, CHIPS)))) for fins in ({}, FILM)]
    assert abs(ordinary[0].max() / ordinary[1].max() - 1) > 0.01


def test_an_interface_under_a_film_adds_its_impedance(tmp_path):
    # Held base, huge flow: 1/(1/h + R'') per area of the base, h = 70 (0.8 + 25 eta), eta = tanh(mH)/(mH), m = sqrt(2h/(kt)).
    held = {"cooling": [{"face": "component side", "held": "45 degC"}]}
    thin = {"material": {"conductivity": "2000 W/m/K"}, "thickness": "0.05 mm"}
    flow = {"rate": "90 m^3/s", "coefficient": "70 W/m^2/K"}
    fins = FILM | {"interface": {"impedance": "200 mm^2 K/W"}}
    solution = quick(finned(tmp_path, fins, flow, thin, (), **held))
    slenderness = np.sqrt(2 * 70 / (200 * 0.4e-3)) * 25e-3
    h = 70 * (0.8 + 25 * np.tanh(slenderness) / slenderness)
    exact = 20 * 60e-3 * 58e-3 / (1 / h + 200e-6)
    assert solution.sheets.streams[0].heat(solution.temperature) == pytest.approx(exact, rel=2e-4)


REFINED = {
    "side, block": (({}, SLOW), 1e-3),
    "side, film": ((FILM, SLOW), 1e-3),
    "top, block": (({}, SLOW | TOP), 2e-3),
    "through": ((BEYOND, SLOW | THROUGH), 1e-3),
}


@pytest.mark.parametrize("way", REFINED)
def test_twice_as_many_cells_hardly_move_the_peak(way, monkeypatch):
    (fins, flow), enough = REFINED[way]
    stack = at_inlet(finned(NOWHERE, fins, flow, {}, CHIPS))
    as_it_is = peaks(quick(stack))
    for name in ("STATIONS", "MOST_LANES", "COLUMNS", "LEVELS"):
        for module in (lanes, side_entry, through_flow):
            if hasattr(module, name):
                monkeypatch.setattr(module, name, 2 * getattr(module, name))
    assert peaks(quick(stack)) == pytest.approx(as_it_is, rel=enough)
