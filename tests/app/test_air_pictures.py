"""Pictures, files and tables of flows: the values that are drawn, where they lie, that no words overlap, what is written."""

import itertools

import numpy as np
import pytest
from finned_study import FAN_CURVE, finned_plate

from plancha.app import fan_picture as fans
from plancha.app.air_pictures import (
    Sight,
    cell_triangles,
    coefficient_picture,
    coefficients,
    coolant_picture,
    coolant_temperatures,
    sights_of,
    smoothed,
)
from plancha.app.air_pictures import _field as field_of
from plancha.app.cli import main
from plancha.app.field_pictures import drawn_faces, feet_of, temperature_picture
from plancha.app.fields import BANK, COEFFICIENT, LEAVING, TEMPERATURE, coolant_grid, write_coolants
from plancha.app.flow_marks import edges_of
from plancha.app.label_places import contains, overlaps
from plancha.app.pictures import draw_pictures, flow_pictures
from plancha.app.shared_libraries import missing_libraries
from plancha.fem.findings import findings_of, solve_stack
from plancha.fem.finned import place_of_bank
from plancha.fem.flow_readings import wetted_area
from plancha.geometry.study_file import read_study

drawn = pytest.mark.skipif(bool(missing_libraries()), reason="rendering needs the system's graphics libraries")
PLACED = 'level = "40 dB(A)"\ncenter = ["20 mm", "20 mm"]\ndiameter = "36 mm"\nhub = "14 mm"'
SECOND = """
[[fins]]
name = "second"
face = "component side"
at = ["35 mm", "0 mm"]
size = ["25 mm", "40 mm"]
form = "pins"
pitch = "5 mm"
thickness = "2 mm"
height = "6 mm"
described_as = "film"
material = { name = "pin metal", conductivity = "200 W/m/K" }
"""
STUDIES = {
    "side": finned_plate(),
    "right": finned_plate(flow='entry = "side"\nside = "right"\nrate = "15 CFM"', fins='tip_gap = "2 mm"'),
    "top": finned_plate(flow='entry = "top"\nfans = "fan"\nplenum = "8 mm"', fan=PLACED),
    "through": finned_plate(
        flow='entry = "through"\nside = "tips"\nrate = "15 CFM"',
        fins='at = ["40 mm", "0 mm"]\nsize = ["50 mm", "40 mm"]',
    ),
    "two": finned_plate(flow='fins = ["fins", "second"]\nentry = "side"\nside = "left"\nrate = "15 CFM"', more=SECOND),
    "pocket": finned_plate(fins='patch = { center = ["20 mm", "20 mm"], diameter = "14 mm", height = "6 mm" }'),
    "liquid": finned_plate().replace('fluid = "air"', 'fluid = "water"').replace('fans = "fan"', 'rate = "0.5 L/min"'),
}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Findings of the studies above by name, each solved once."""
    folder, solved = tmp_path_factory.mktemp("air"), {}
    (folder / "fan.csv").write_text(FAN_CURVE)

    def of(name):
        if name not in solved:
            (folder / f"{name}.toml").write_text(STUDIES[name])
            stack = read_study(folder / f"{name}.toml").cases[0].stack
            solved[name] = findings_of(solve_stack(stack), thorough=False)
        return solved[name]

    return of


def test_the_coefficients_mean_by_wetted_area_is_the_one_in_the_tables(found):
    for name in ("side", "through", "pocket"):
        findings = found(name)
        place = place_of_bank(findings.solution, 0)
        levels = len(place.way.levels) - 1
        wetted = wetted_area(place.stream.conductance[place.cells], place.way.coefficient)
        weights, values = wetted.reshape(-1, levels).sum(axis=1), coefficients(place)
        there = np.isfinite(values)
        mean = float(weights[there] @ values[there] / weights.sum())
        assert mean == pytest.approx(findings.flows[0].coefficient.mean, rel=1e-9)


def test_what_leaves_the_edges_is_the_mixed_outlet(found):
    """The outlet of all, from the temperatures that the picture writes at the edges."""
    for name in ("side", "top"):
        findings = found(name)
        bank, place = findings.solution.sheets.stack.banks[0], place_of_bank(findings.solution, 0)
        own = findings.solution.temperature[place.stream.unknowns][place.cells]
        edges = [edge for edge in edges_of(place, bank) if not edge.is_inlet]
        total = sum(float(edge.flow.sum()) for edge in edges)
        mixed = sum(float(edge.flow @ own[edge.leaving]) for edge in edges) / total
        assert mixed == pytest.approx(findings.flows[0].outlet, rel=1e-9)
        assert total == pytest.approx(findings.flows[0].state.capacity, rel=1e-9)


def test_columns_show_what_leaves_them(found):
    """Weighted by what passes them, the leaving temperatures of a through flow are the mixed outlet."""
    findings = found("through")
    place = place_of_bank(findings.solution, 0)
    values = coolant_temperatures(place, findings.solution)
    passing = place.way.outflow.reshape(len(values), -1).sum(axis=1)
    there = passing > 0
    assert np.isnan(values[~there]).all()
    mixed = float(passing[there] @ values[there] / passing.sum())
    assert mixed + 273.15 == pytest.approx(findings.flows[0].outlet, rel=1e-9)


@pytest.mark.parametrize(("name", "inlet"), [("side", "left"), ("right", "right")])
def test_the_coolant_is_coldest_where_it_enters(found, name, inlet):
    findings = found(name)
    place = place_of_bank(findings.solution, 0)
    field = field_of(findings.solution.sheets.stack, place, coolant_temperatures(place, findings.solution))
    along = np.nanmean(field.values, axis=1)
    assert (np.diff(along if inlet == "left" else along[::-1]) > 0).all()
    (edge,) = [edge for edge in edges_of(place, field.bank) if edge.is_inlet]
    assert edge.side == inlet and edge.place == pytest.approx(0.0 if inlet == "left" else 0.06)


def test_cells_cover_the_bank_or_the_zone_exactly(found):
    for name in ("side", "top", "through", "pocket"):
        findings = found(name)
        stack, place = findings.solution.sheets.stack, place_of_bank(findings.solution, 0)
        field = field_of(stack, place, coolant_temperatures(place, findings.solution))
        points, triangles, values = cell_triangles(field)
        (ax, ay), (bx, by) = ((points[triangles[:, n]] - points[triangles[:, 0]]).T for n in (1, 2))
        area = float(np.abs(ax * by - ay * bx).sum() / 2)
        assert area == pytest.approx((stack.banks[0].outline if field.zone is None else field.zone).area, rel=1e-9)
        assert np.isfinite(values).all()


def test_smoothing_keeps_even_fields_and_holes():
    values = np.full((5, 4), 3.0)
    values[2, 2] = np.nan
    assert smoothed(values)[~np.isnan(values)] == pytest.approx(3.0) and np.isnan(smoothed(values)[2, 2])


def test_banks_that_lie_over_one_another_get_pictures_of_their_own(found):
    assert sights_of(found("two").solution.sheets.stack) == [Sight(0, (0,)), Sight(0, (1,))]
    assert sights_of(found("side").solution.sheets.stack) == [Sight(0, (0,))]


@drawn
def test_no_words_overlap_on_pictures_of_flows(found):
    for name in STUDIES:
        findings = found(name)
        pictures = flow_pictures(findings, "as written")
        for picture in pictures.values():
            boxes = [words.box for words in picture.words]
            assert all(contains(picture.window, box) for box in boxes)
            assert not any(overlaps(one, [other]) for one, other in itertools.combinations(boxes, 2))


@drawn
def test_captions_give_the_numbers_of_the_tables(found):
    findings = found("side")
    (sight,) = sights_of(findings.solution.sheets.stack)
    reading = findings.flows[0]
    text = " ".join(w.text for w in coolant_picture(findings, sight, "as written").words).replace("\u00a0", " ")
    assert f"out at {reading.outlet - 273.15:.1f} °C" in text and "In at 25.0 °C" in text
    text = " ".join(w.text for w in coefficient_picture(findings, sight, "as written").words).replace("\u00a0", " ")
    assert f"Mean {reading.coefficient.mean:.4g}" in text and "fin efficiency" in text


@drawn
def test_the_fan_picture_says_its_operating_point_in_both_units(found):
    picture = fans.fan_picture(found("side"), 0, "as written")
    text = " ".join(words.text for words in picture.words)
    point = found("side").flows[0].state.point
    assert f"{point.flow * 3600:.4g} m³/h, {point.flow / 4.719474432e-4:.4g} CFM" in text  # 1 CFM = 4.719474432e-4 m3/s
    assert f"{point.pressure:.1f} Pa, {point.pressure / 9.80665:.2f} mmH2O" in text
    for title in ("flow at the inlet [m³/h]", "flow [CFM]", "static pressure [Pa]", "static pressure [mmH2O]"):
        assert title in text


@drawn
def test_pictures_of_flows_are_written_beside_the_others(found, tmp_path):
    written = {path.name for path in draw_pictures(found("side"), "as written", tmp_path) if path.exists()}
    assert {"coefficient.png", "coolant.png", "fan.png", "temperature.png"} <= written
    assert set(flow_pictures(found("two"), "as written")) == {
        "coefficient_1.png",
        "coolant_1.png",
        "coefficient_2.png",
        "coolant_2.png",
    }


@drawn
def test_fins_hide_neither_chips_nor_plates(found):
    """Over the chip the drawn face is the chip's own, and of fins only what reaches beyond the plate is named."""
    stack = found("side").solution.sheets.stack
    assert feet_of(stack) == []
    assert drawn_faces(found("side").solution)[-1].outline.equals(stack.sources[0].outline)
    beyond = found("through").solution.sheets.stack
    (foot,) = feet_of(beyond)
    assert foot.bare.area == pytest.approx(0.03 * 0.04, rel=1e-9)
    words = [words.text for words in temperature_picture(found("through"), "as written").words]
    assert "fins" in words and "fins/block" not in words


def test_the_cells_in_the_file_fill_the_banks_and_carry_their_temperatures(found, tmp_path):
    meshio = pytest.importorskip("meshio")
    findings = found("two")
    stack = findings.solution.sheets.stack
    mesh = meshio.read(write_coolants(tmp_path / "air.vtu", findings.solution))
    corners = mesh.points[mesh.cells[0].data]
    size = corners[:, 6] - corners[:, 0]
    assert (size > 0).all()
    bank = mesh.cell_data[BANK][0]
    for number, each in enumerate(stack.banks):
        assert size[bank == number].prod(axis=1).sum() == pytest.approx(each.outline.area * each.height, rel=1e-9)
    assert corners[bank == 0][:, :, 2].min() == pytest.approx(0.003)  # the plate below
    assert corners[bank == 1][:, :, 2].max() == pytest.approx(0.0, abs=1e-12)
    place = place_of_bank(findings.solution, 0)
    means = place.stream.means(findings.solution.temperature)[place.cells] - 273.15
    assert np.sort(mesh.cell_data[TEMPERATURE][0][bank == 0]) == pytest.approx(np.sort(means))
    assert mesh.field_data["air"].tolist() == [0, 3]


def test_hexahedra_are_numbered_as_vtk_has_them(found, tmp_path):
    """VTK's own volume of each cell is the box's: a wrong order of corners would fold it."""
    pyvista = pytest.importorskip("pyvista")
    write_coolants(tmp_path / "air.vtu", found("through").solution)
    mesh = pyvista.read(tmp_path / "air.vtu")
    volumes = mesh.compute_cell_sizes()["Volume"]
    assert (volumes > 0).all()
    assert volumes.sum() == pytest.approx(0.03 * 0.04 * 0.012, rel=1e-6)


def test_levels_of_a_column_stand_over_one_another_and_warm_towards_the_outlet(found):
    grid = coolant_grid(found("through").solution)
    corners, leaving = grid.points[grid.cells], grid.cell_data[LEAVING]
    x, y, z = corners.mean(axis=1).T
    here = (x == x[0]) & (y == y[0])
    order = np.argsort(-z[here])  # in at the tips
    assert (np.diff(leaving[here][order]) > 0).all()
    assert (grid.cell_data[COEFFICIENT] > 0).all()


def test_check_lists_fins_flows_and_fans(tmp_path, capsys):
    (tmp_path / "fan.csv").write_text(FAN_CURVE)
    losses = 'entry = "side"\nside = "left"\nfans = "fan"\nblocked = "20 %"\n' + (
        'loss = { name = "grille", coefficient = 1.5, area = "20 cm^2" }'
    )
    (tmp_path / "study.toml").write_text(finned_plate(flow=losses))
    assert main(["check", str(tmp_path / "study.toml")]) == 0
    out = capsys.readouterr().out
    for words in ("plates along x", "fin metal", "block", "side, from the left edge", "3000 rpm", "160 Pa", "42 dB(A)"):
        assert words in out
    assert "grille, coefficient 1.5 on 2000 mm^2; 20 % of the inlet blocked" in out


def test_solve_writes_the_coolants_cells_only_where_there_are_flows(tmp_path):
    (tmp_path / "fan.csv").write_text(FAN_CURVE)
    (tmp_path / "study.toml").write_text(finned_plate())
    assert main(["solve", str(tmp_path / "study.toml"), "--no-pictures"]) == 0
    assert sorted(path.name for path in (tmp_path / "results").iterdir()) == [
        "air.vtu",
        "fields.vtu",
        "mesh.vtu",
        "result.json",
    ]
