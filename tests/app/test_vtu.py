"""Files of unstructured grids: two readers of others, meshio's and VTK's, find in them what was written."""

import meshio
import numpy as np
import pytest

from plancha.app.vtu import BLOCK, WEDGE, UnstructuredGrid, write_vtu

PER_BLOCK = BLOCK // 8  # numbers of eight bytes


def prisms(points):
    """Wedges over so many random points, with a field on either."""
    random = np.random.default_rng(points)
    cells = random.integers(0, points, (points // 2, 6))
    fields = {"heat & <flux> [W/m2]": random.random(points)}
    return UnstructuredGrid(
        random.random((points, 3)), WEDGE, cells, fields, {"part": np.arange(points // 2)}, ("a", 'b "c"')
    )


@pytest.mark.parametrize("points", [6, 100, PER_BLOCK - 1, PER_BLOCK, PER_BLOCK + 1, 2 * PER_BLOCK])
def test_both_readers_find_what_was_written_whatever_the_blocks(tmp_path, points):
    pyvista = pytest.importorskip("pyvista")
    grid = prisms(points)
    path = write_vtu(tmp_path / "grid.vtu", grid)
    theirs, vtks = meshio.read(path), pyvista.read(path)
    assert np.array_equal(theirs.points, grid.points) and np.array_equal(vtks.points, grid.points)
    assert np.array_equal(vtks.cells_dict[WEDGE], grid.cells)
    assert np.array_equal(
        theirs.cells_dict["wedge"], grid.cells[:, [0, 2, 1, 3, 5, 4]]
    )  # meshio turns VTK's wedges over
    for name, values in grid.point_data.items():
        assert np.array_equal(theirs.point_data[name], values) and np.array_equal(vtks.point_data[name], values)
    assert np.array_equal(vtks.cell_data["part"], grid.cell_data["part"])
    assert {name: list(number) for name, number in theirs.field_data.items()} == {"a": [0, 3], 'b "c"': [1, 3]}


def test_a_grid_is_left_as_it_is_by_writing(tmp_path):
    grid, same = prisms(50), prisms(50)
    write_vtu(tmp_path / "grid.vtu", grid)
    assert np.array_equal(grid.points, same.points) and np.array_equal(grid.cells, same.cells)
