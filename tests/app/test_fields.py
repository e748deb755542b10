"""Field files, read back by meshio and by VTK: volumes, places, temperatures, names; and files written whole or not at all."""

import numpy as np
import pytest

from plancha.app.fields import BODY, RISE, TEMPERATURE, write_fields, write_mesh
from plancha.app.whole import staged
from plancha.fem.findings import solve_stack
from plancha.fem.plan import locate
from plancha.fem.solve import slab_temperature
from plancha.geometry.bodies import elevations
from plancha.geometry.study_file import read_study

meshio = pytest.importorskip("meshio")

# Invented: a resolved plate with a hole, a foil of one temperature under it, a chip on the foil.
STUDY = """
title = "fields (invented)"
ambient = "20 degC"

[[plate]]
name = "base & lid"
size = ["30 mm", "20 mm"]
thickness = "2 mm"
material = { name = "metal", conductivity = "150 W/m/K" }
cut_outs = [{ at = ["22 mm", "12 mm"], size = ["4 mm", "5 mm"] }]

[[plate]]
name = "foil"
at = ["3 mm", "3 mm"]
size = ["16 mm", "14 mm"]
thickness = "0.1 mm"
material = { name = "foil", conductivity = "300 W/m/K" }
model = "sheet"
on = "base & lid"
face = "component side"
interface = { impedance = "10 mm^2 K/W" }

[[component]]
name = "chip"
at = ["6 mm", "6 mm"]
size = ["6 mm", "5 mm"]
limit = "100 degC"
power = "30 W"
on = "foil"
layers = [
  { material = { name = "die", conductivity = "120 W/m/K" }, thickness = "0.5 mm" },
  { bond_line = "50 um", conductivity = "4 W/m/K" },
]

[[cooling]]
on = "base & lid"
coefficient = "3000 W/m^2/K"
"""


@pytest.fixture(scope="module")
def solution(tmp_path_factory):
    path = tmp_path_factory.mktemp("fields") / "study.toml"
    path.write_text(STUDY)
    return solve_stack(read_study(path).cases[0].stack)


@pytest.fixture(scope="module")
def path(solution, tmp_path_factory):
    return write_fields(tmp_path_factory.mktemp("out") / "fields.vtu", solution)


def wedge_volumes(mesh):
    """Volumes [m3] of wedges with upright sides: base area times height, by their corners."""
    a, b, c, d = (mesh.points[mesh.cells_dict["wedge"][:, i]] for i in (0, 1, 2, 3))
    return np.cross(b - a, c - a)[:, 2] / 2 * (a - d)[:, 2]


def test_wedges_fill_each_body(path, solution):
    mesh = meshio.read(path)
    volumes, number = wedge_volumes(mesh), mesh.cell_data_dict[BODY]["wedge"]
    assert volumes.min() > 0
    for body, slab in enumerate(solution.sheets.slabs):
        # The mesh rounds crossings to a millionth of the plan's size.
        assert volumes[number == body].sum() == pytest.approx(slab.body.outline.area * slab.body.thickness, rel=1e-5)


def test_vtk_reads_the_file_and_finds_the_same_positive_volume(path, solution):
    pyvista = pytest.importorskip("pyvista")
    grid = pyvista.read(path)
    volumes = grid.compute_cell_sizes(length=False, area=False)["Volume"]
    bodies = solution.sheets.stack.bodies
    assert volumes.min() > 0
    assert volumes.sum() == pytest.approx(sum(body.outline.area * body.thickness for body in bodies), rel=1e-5)
    assert list(grid.field_data["foil"]) == [1, 3]


def test_bodies_stand_at_their_own_heights(path, solution):
    mesh = meshio.read(path)
    number = mesh.cell_data_dict[BODY]["wedge"]
    for body, z in enumerate(elevations(solution.sheets.stack)):
        own = mesh.points[mesh.cells_dict["wedge"][number == body].ravel(), 2]
        assert [own.min(), own.max()] == pytest.approx([z, z + solution.sheets.stack.bodies[body].thickness], abs=1e-12)


@pytest.mark.parametrize(("body", "face"), [(0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1)])
def test_temperature_at_a_place_is_the_solutions(path, solution, body, face):
    mesh, sheets = meshio.read(path), solution.sheets
    slab = sheets.slabs[body]
    corner = sheets.space.element_nodes[slab.pattern.elements[len(slab.pattern.elements) // 2], 0]
    x, y = sheets.space.nodes[corner]
    z = elevations(sheets.stack)[body] + face * slab.body.thickness
    own = np.unique(mesh.cells_dict["wedge"][mesh.cell_data_dict[BODY]["wedge"] == body])
    nearest = own[np.linalg.norm(mesh.points[own] - [x, y, z], axis=1).argmin()]
    assert mesh.points[nearest] == pytest.approx([x, y, z], abs=1e-12)
    element, shapes = locate(sheets.space, (x, y), slab.pattern.elements)
    expected = shapes @ solution.face(body, face)[sheets.space.element_nodes[element]]
    assert mesh.point_data[TEMPERATURE][nearest] == pytest.approx(expected - 273.15, abs=1e-9)
    assert mesh.point_data[RISE][nearest] == pytest.approx(expected - sheets.stack.reference, abs=1e-9)


def test_a_body_of_one_temperature_is_the_same_on_both_faces(path, solution):
    mesh = meshio.read(path)
    foil = mesh.cells_dict["wedge"][mesh.cell_data_dict[BODY]["wedge"] == 1]
    upper, lower = (mesh.point_data[RISE][foil[:, side]] for side in (slice(0, 3), slice(3, 6)))
    assert slab_temperature(solution, solution.sheets.slabs[1]).shape[1] == 1
    assert np.array_equal(upper, lower) and np.ptp(upper) > 0.1


def test_names_of_bodies_are_read_back_with_their_numbers(path, solution):
    found = {name: int(number[0]) for name, number in meshio.read(path).field_data.items()}
    assert found == {body.name: number for number, body in enumerate(solution.sheets.stack.bodies)}


def test_the_plan_mesh_is_read_back_as_quadratic_triangles(solution, tmp_path):
    mesh, space = meshio.read(write_mesh(tmp_path / "mesh.vtu", solution.sheets.space)), solution.sheets.space
    assert np.array_equal(mesh.points[:, :2], space.nodes)
    triangles = mesh.cells_dict["triangle6"]
    ends = mesh.points[triangles[:, [0, 1, 2]]], mesh.points[triangles[:, [1, 2, 0]]]
    assert mesh.points[triangles[:, 3:]] == pytest.approx((ends[0] + ends[1]) / 2, abs=1e-12)


def test_triangles_of_the_plan_mesh_turn_counter_clockwise(solution, tmp_path):
    mesh = meshio.read(write_mesh(tmp_path / "mesh.vtu", solution.sheets.space))
    a, b, c = (mesh.points[mesh.cells_dict["triangle6"][:, i]] for i in range(3))
    area = solution.sheets.stack.bodies[0].outline.area  # the largest body covers the others
    doubled = np.cross(b - a, c - a)[:, 2]
    assert doubled.min() > 0 and doubled.sum() / 2 == pytest.approx(area, rel=1e-5)


def test_writing_says_nothing(solution, tmp_path, capfd, caplog):
    write_fields(tmp_path / "fields.vtu", solution)
    write_mesh(tmp_path / "mesh.vtu", solution.sheets.space)
    assert capfd.readouterr() == ("", "") and not caplog.records


@pytest.mark.parametrize("fault", [OSError, KeyboardInterrupt, SystemExit])
def test_a_broken_write_leaves_what_stood_there_and_nothing_else(tmp_path, fault):
    place = tmp_path / "results"
    place.mkdir()
    (place / "result.txt").write_text("before")
    with pytest.raises(fault), staged(place) as aside:
        (aside / "result.txt").write_text("half")
        raise fault
    assert [each.name for each in tmp_path.rglob("*")] == ["results", "result.txt"]
    assert (place / "result.txt").read_text() == "before"


def test_a_whole_write_replaces_what_stood_there_and_makes_the_folder(tmp_path):
    place = tmp_path / "new" / "results"
    for text in ("one", "two"):
        with staged(place) as aside:
            (aside / "result.txt").write_text(text)
        assert (place / "result.txt").read_text() == text
    assert [each.name for each in place.parent.iterdir()] == ["results"]
    plain = tmp_path / "plain.txt"
    plain.touch()
    assert (place / "result.txt").stat().st_mode == plain.stat().st_mode


def test_folders_made_for_a_broken_write_are_taken_away_again(tmp_path):
    with pytest.raises(OSError), staged(tmp_path / "deep" / "results"):
        raise OSError
    assert list(tmp_path.iterdir()) == []
