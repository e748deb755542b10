"""The plan mesh: one conforming mesh of the union, all edges on it, graded, and the same every time."""

import hashlib
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import body, cooled, random_tiles, source, stack
from pytest import approx

from plancha.geometry.bodies import Joint
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.mesh import (
    NODING_GRID,
    SNAP,
    PlanMesh,
    SizeZone,
    faces_of,
    inside,
    mesh_of,
    nested,
    quartered,
    snap_outlines,
)
from plancha.geometry.outline import circle, polygon, rectangle, rounded_rectangle, with_cut_outs

few = settings(max_examples=12, deadline=None, derandomize=True)
millimetres = st.integers(0, 40)

LAYOUTS = {
    "a die on a plate": [rectangle(0, 0, 0.1, 0.08), rectangle(0.036, 0.03, 0.024, 0.02)],
    "circle, rounded rectangle and polygon, overlapping": [
        rounded_rectangle(0, 0, 0.06, 0.04, 0.005),
        circle(0.03, 0.02, 0.02),
        polygon([(0.035, 0.01), (0.055, 0.015), (0.05, 0.035)]),
    ],
    "a plate with holes under a die that reaches out": [
        with_cut_outs(rectangle(0, 0, 0.05, 0.05), [circle(0.01, 0.01, 0.006), rectangle(0.03, 0.03, 0.01, 0.005)]),
        rectangle(0.04, 0.01, 0.02, 0.01),
    ],
    "two plates apart": [rectangle(0, 0, 0.02, 0.02), rectangle(0.03, 0, 0.02, 0.02)],
    "turned against one another": [
        rectangle(0, 0, 0.03, 0.03),
        shapely.affinity.rotate(rectangle(0.01, 0.01, 0.015, 0.01), 33.0),
    ],
}


def areas(mesh: PlanMesh) -> np.ndarray:
    a, b, c = (mesh.points[mesh.triangles[:, i]] for i in range(3))
    return ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2


def longest_sides(mesh: PlanMesh) -> np.ndarray:
    corners = mesh.points[mesh.triangles]
    return np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)


def sides(mesh: PlanMesh) -> tuple[np.ndarray, np.ndarray]:
    """All sides (n, 2) and by how many triangles each is shared."""
    every = np.sort(mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    return np.unique(every, axis=0, return_counts=True)


def check_conforming(mesh: PlanMesh, shapes) -> None:
    union, extent = shapely.union_all(shapes), np.ptp(mesh.points, axis=0).max()
    assert np.all(areas(mesh) > 0)
    # Corners are rounded to a grid: that much of the rim's length times the grid is the most an area can change.
    assert areas(mesh).sum() == approx(union.area, abs=NODING_GRID * extent * union.length)
    pairs, count = sides(mesh)
    assert count.max() <= 2
    lengths = np.linalg.norm(np.diff(mesh.points[pairs], axis=1)[:, 0], axis=1)
    # Sides of only one triangle are the rim of the union, and nothing else: no gap inside.
    assert lengths[count == 1].sum() == approx(union.length, rel=1e-8)
    middles = shapely.points(mesh.points[pairs[count == 1]].mean(axis=1))
    assert shapely.distance(union.boundary, middles).max() < 2 * NODING_GRID * extent
    # No point lies in the middle of another triangle's side.
    assert len(np.unique(np.round(mesh.points / (NODING_GRID * extent)), axis=0)) == len(mesh.points)


def check_embedded(mesh: PlanMesh, shapes) -> None:
    extent = np.ptp(mesh.points, axis=0).max()
    for shape in shapes:
        within = inside(mesh, shape)
        assert areas(mesh)[within].sum() == approx(shape.area, abs=NODING_GRID * extent * shape.length)


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_mesh_is_conforming_and_holds_every_edge(name):
    mesh = mesh_of(LAYOUTS[name], [SizeZone(LAYOUTS[name][1].bounds, 1.5e-3)])
    check_conforming(mesh, LAYOUTS[name])
    check_embedded(mesh, LAYOUTS[name])


@few
@given(st.lists(st.tuples(millimetres, millimetres, st.integers(2, 30), st.integers(2, 30)), min_size=1, max_size=5))
def test_any_rectangles_give_a_conforming_mesh_with_their_edges(boxes):
    """Also touching, nested, crossing, equal and apart."""
    shapes = [rectangle(*(1e-3 * np.array(box))) for box in boxes]
    mesh = mesh_of(shapes)
    check_conforming(mesh, shapes)
    check_embedded(mesh, shapes)


def test_extra_lines_are_followed():
    whole = rectangle(0, 0, 0.04, 0.02)
    a, b, c = (0.013, 0.004), (0.031, 0.017), (0.013, 0.017)
    line = shapely.LineString([a, b])
    mesh = mesh_of([whole], lines=[line, shapely.LineString([b, c]), shapely.LineString([c, a])])
    pairs, _ = sides(mesh)
    on_line = shapely.distance(line, shapely.points(mesh.points)) < 1e-7
    followed = pairs[on_line[pairs].all(axis=1)]
    assert np.linalg.norm(np.diff(mesh.points[followed], axis=1)[:, 0], axis=1).sum() == approx(line.length, rel=1e-8)


def test_a_hole_stays_a_hole():
    whole = with_cut_outs(rectangle(0, 0, 0.05, 0.05), [circle(0.02, 0.02, 0.01)])
    mesh = mesh_of([whole])
    centres = mesh.points[mesh.triangles].mean(axis=1)
    assert np.hypot(*(centres - 0.02).T).min() > 0.004


def test_pieces_do_not_overlap_and_fill_the_union():
    shapes = LAYOUTS["circle, rounded rectangle and polygon, overlapping"]
    pieces = faces_of(shapes, [])
    assert sum(piece.area for piece in pieces) == approx(shapely.union_all(shapes).area, rel=1e-8)
    assert len(pieces) == 4  # plate, circle, polygon, and where the two overlap


def test_triangles_are_small_at_the_source_and_grow_away_from_it():
    zone = SizeZone((0.02, 0.02, 0.024, 0.023), 5e-4)
    mesh = mesh_of([rectangle(0, 0, 0.06, 0.06), rectangle(0.02, 0.02, 0.004, 0.003)], [zone])
    corners, longest = mesh.points[mesh.triangles], longest_sides(mesh)
    within = inside(mesh, shapely.box(*zone.box))
    assert np.median(longest[within]) < 1.3 * zone.size
    assert longest[within].max() < 2.0 * zone.size
    far = np.hypot(*(corners.mean(axis=1) - [0.022, 0.0215]).T) > 0.03
    assert longest[far].min() > 4 * zone.size
    assert longest.max() < 1.5 * 0.06 / 6


@pytest.mark.parametrize("refinement", [2.0, 4.0])
def test_refinement_divides_the_triangles_sides_under_the_sources(refinement):
    """Exactly in the zones, once an embedded side has several triangles; away from them sides grow at the same rate at any
    refinement, so that less is gained there."""
    case = die_on_plate()
    meshes = [plan_mesh(case, 3.0), plan_mesh(case, 3.0 * refinement)]
    coarse, fine = (longest_sides(mesh) for mesh in meshes)
    assert coarse.max() / refinement < fine.max() < 1.5 * coarse.max() / refinement
    die = case.bodies[0].outline
    medians = [np.median(longest_sides(mesh)[inside(mesh, die)]) for mesh in meshes]
    assert medians[1] == approx(medians[0] / refinement, rel=0.2)


def die_on_plate(offset=0.0):
    place, plate = (0.036, 0.03, 0.024, 0.02), (0.0, 0.0, 0.1, 0.08)
    lid = (0.036 + offset, 0.03, 0.024, 0.02)
    bodies = [body("die", place, 0.8e-3, 120.0), body("lid", lid, 1e-3, 390.0), body("plate", plate, 3e-3, 390.0)]
    heated = source("die", place, random_tiles(0.024, 0.02, 6, 5, 100.0, 1), (0, 1, 2), (0, 1))
    return stack(bodies, [heated], [cooled(2000.0, 2)], [Joint("a", 0, 1, 1e-5), Joint("b", 1, 2, 1e-5)])


def test_edges_that_nearly_coincide_are_made_one_and_reported():
    offset = 0.4 * SNAP * 0.02
    snapped, notes = snapped_stack(die_on_plate(offset))
    assert snapped.bodies[0].outline.equals(snapped.bodies[1].outline)
    assert len(notes) == 2
    assert all("taken as one" in note and "edges at x" in note for note in notes)
    assert plan_mesh(snapped, snapped=notes).snapped == tuple(notes)
    # No sliver is left: the mesh is the one of bodies that coincide.
    assert len(plan_mesh(snapped).triangles) == approx(len(plan_mesh(die_on_plate()).triangles), rel=0.02)


@pytest.mark.parametrize(("share", "merged"), [(0.9, True), (1.1, False)])
def test_edges_are_made_one_up_to_the_tolerance_and_not_beyond(share, merged):
    offset = share * SNAP * 0.02
    places = [(0, 0, 0.1, 0.08), (0.03, 0.03, 0.02, 0.02), (0.03 + offset, 0.03, 0.02, 0.02)]
    shapes, notes = snap_outlines([rectangle(*place) for place in places])
    assert bool(notes) == merged
    assert shapes[1].equals(shapes[2]) == merged


def test_edges_that_coincide_or_stand_clear_are_left_alone_without_a_word():
    shapes = LAYOUTS["a die on a plate"]
    after, notes = snap_outlines(shapes)
    assert not notes
    assert all(one.equals(other) for one, other in zip(shapes, after))


def fingerprint() -> str:
    snapped, notes = snapped_stack(die_on_plate(1e-6))
    mesh = plan_mesh(snapped, 1.0, notes)
    return hashlib.sha256(mesh.points.tobytes() + mesh.triangles.tobytes()).hexdigest()


def test_the_same_stack_gives_the_same_bytes_again_and_in_another_process():
    here = fingerprint()
    assert fingerprint() == here
    folders = [folder for folder in sys.path if folder]
    code = f"import sys; sys.path[:0] = {folders!r}; import test_mesh; print(test_mesh.fingerprint())"
    code = f"import sys; sys.path.insert(0, {str(__file__).rsplit('/', 1)[0]!r}); " + code
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    assert found.stdout.strip() == here


def test_another_stack_gives_another_mesh():
    assert plan_mesh(die_on_plate(0.002)).points.tobytes() != plan_mesh(die_on_plate()).points.tobytes()


def test_meshing_leaves_its_input_as_it_was():
    shapes = LAYOUTS["a plate with holes under a die that reaches out"]
    before = [shape.wkb for shape in shapes]
    mesh_of(shapes)
    snap_outlines(shapes)
    assert [shape.wkb for shape in shapes] == before


def corner_sets(points, triangles):
    """Each triangle as its corners' coordinates, in an order that does not depend on numbers."""
    corners = np.round(points[triangles] / 1e-9).astype(np.int64)
    return sorted(tuple(sorted(map(tuple, each))) for each in corners.tolist())


def test_a_quartered_mesh_is_that_of_scikit_fem_and_knows_where_each_part_lies():
    from skfem import MeshTri

    whole = mesh_of([rectangle(0, 0, 0.06, 0.04), rectangle(0.01, 0.01, 0.02, 0.01)])
    theirs = MeshTri(whole.points.T.copy(), whole.triangles.T.astype(np.int64)).refined(1)
    quarters = quartered(whole)
    assert corner_sets(quarters.points, quarters.triangles) == corner_sets(theirs.p.T, theirs.t.T)
    check_descent(quarters)


def test_a_mesh_cut_in_places_knows_where_each_part_lies():
    from skfem import MeshTri

    whole = mesh_of([rectangle(0, 0, 0.06, 0.04), rectangle(0.01, 0.01, 0.02, 0.01)])
    theirs = MeshTri(whole.points.T.copy(), whole.triangles.T.astype(np.int64)).refined(
        np.arange(0, len(whole.triangles), 7)
    )
    check_descent(nested(theirs.p.T, theirs.t.T, whole))


def check_descent(mesh):
    """Corners of every triangle, from its parent's and what kind of part it is."""
    descent = mesh.descent
    parents = descent.parent.points[descent.parent.triangles[descent.parents]]
    assert descent.parts[descent.part] @ parents == approx(mesh.points[mesh.triangles], abs=1e-15)
    a, b, c = (mesh.points[mesh.triangles[:, i]] for i in range(3))
    assert np.all((b - a)[:, 0] * (c - a)[:, 1] > (b - a)[:, 1] * (c - a)[:, 0])


def test_sides_are_those_of_scikit_fem():
    from skfem import MeshTri

    mesh = mesh_of([rectangle(0, 0, 0.06, 0.04)])
    theirs = MeshTri(mesh.points.T.copy(), mesh.triangles.T.astype(np.int64))
    ends, sides = mesh.sides
    assert np.array_equal(ends, theirs.facets.T)
    assert np.array_equal(np.sort(sides), np.sort(theirs.t2f.T))
    assert np.array_equal(ends[sides], np.sort(mesh.triangles[:, [[0, 1], [1, 2], [0, 2]]]))


def test_a_quartered_mesh_has_its_parents_sides_halved_and_three_in_each_triangle():
    """The same sides as the ones that are sought from the triangles alone."""
    mesh = quartered(quartered(mesh_of([rectangle(0, 0, 0.06, 0.04), rectangle(0.01, 0.01, 0.02, 0.01)])))
    ends, sides = mesh.sides
    sought, _ = replace(mesh, descent=None).sides
    assert np.array_equal(ends[np.lexsort(ends.T[::-1])], sought)
    assert np.array_equal(ends[sides], np.sort(mesh.triangles[:, [[0, 1], [1, 2], [0, 2]]]))
