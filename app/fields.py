"""Temperatures of all bodies as a file for other programs: fields.vtu in three dimensions, mesh.vtu in the plan, and air.vtu.

fields.vtu holds each body as wedges at its own height: coordinates in m, x right and y up as seen from the cooled side, z from
the component side to the cooled side. Point data ``temperature [degC]`` and ``rise [K]`` (above the stack's reference), cell data
``body`` (the body's number). Field data give the bodies' names: an entry per body, called like the body, whose two numbers are
the body's number and 3, its dimension. A body of one temperature through its thickness has the same values on both faces.
Points are not shared between bodies, so that the jump at a joint stays a jump.

air.vtu holds the cells of the coolants between the fins as hexahedra in the same coordinates, with cell data ``temperature [degC]``
(the cell's mean), ``leaving [degC]``, ``coefficient [W/m2/K]``, ``velocity [m/s]``, ``fin efficiency``, and the numbers ``flow`` and
``bank``. Field data give the flows' names as fields.vtu gives the bodies'. Cells that a through flow's zone cuts are drawn whole.
"""

import os
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from plancha.fem.finned import BankPlace, cell_efficiency, place_of_bank
from plancha.fem.plan import PlanSpace
from plancha.fem.slabs import Slab
from plancha.fem.solve import Solution, slab_temperature
from plancha.geometry.air import Bank
from plancha.geometry.bodies import COOLED_SIDE, Stack, elevations

if TYPE_CHECKING:
    import meshio

ZERO_CELSIUS = 273.15  # [K]
TEMPERATURE, RISE, BODY = "temperature [degC]", "rise [K]", "body"
LEAVING, COEFFICIENT, VELOCITY = "leaving [degC]", "coefficient [W/m2/K]", "velocity [m/s]"
EFFICIENCY, FLOW, BANK = "fin efficiency", "flow", "bank"
CORNERS = (
    (0, 0, 0),
    (1, 0, 0),
    (1, 1, 0),
    (0, 1, 0),
    (0, 0, 1),
    (1, 0, 1),
    (1, 1, 1),
    (0, 1, 1),
)  # of a hexahedron, as VTK has them
LINEAR_PARTS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])  # of a quadratic triangle, counter-clockwise


def counter_clockwise(space: PlanSpace, elements: np.ndarray) -> np.ndarray:
    """Plan nodes (elements, 6) of elements, corners counter-clockwise; the plan space itself orders them by number."""
    nodes = space.element_nodes[elements]
    (ux, uy), (vx, vy) = ((space.nodes[nodes[:, i]] - space.nodes[nodes[:, 0]]).T for i in (1, 2))
    return np.where((ux * vy < uy * vx)[:, None], nodes[:, [0, 2, 1, 5, 4, 3]], nodes)


def wedges_of(space: PlanSpace, slab: Slab, elevation: float) -> tuple[np.ndarray, np.ndarray]:
    """A body as linear wedges: four to each quadratic triangle and interval between thickness nodes.

    Parameters
    ----------
    space : PlanSpace
    slab : Slab
        The body on the mesh.
    elevation : float, [m]
        Of its component side.

    Returns
    -------
    points : array (layers * plan nodes, 3), [m]
        Layer by layer from the component side, plan nodes in the order of `slab.pattern.nodes`.
    wedges : array (wedges, 6)
        Point numbers: the upper triangle, counter-clockwise from above, then the lower one: outward, as VTK has it.
    """
    heights = elevation + slab.body.thickness * _layer_heights(slab)
    plan = space.nodes[slab.pattern.nodes]
    count = len(plan)
    points = np.column_stack([np.tile(plan, (len(heights), 1)), np.repeat(heights, count)])
    local = np.searchsorted(slab.pattern.nodes, counter_clockwise(space, slab.pattern.elements))
    lower = local[:, LINEAR_PARTS].reshape(-1, 3)
    first = count * np.arange(len(heights) - 1)[:, None, None]
    return points, np.concatenate([lower + first + count, lower + first], axis=2).reshape(-1, 6)


def _layer_heights(slab: Slab) -> np.ndarray:
    """Heights of a body's layers of points from 0 to 1: its thickness nodes, or both faces of a sheet."""
    return slab.through.nodes if len(slab.through.nodes) > 1 else np.array([0.0, 1.0])


def layer_temperatures(solution: Solution, slab: Slab) -> np.ndarray:
    """Temperatures [K] at the points of `wedges_of`, in their order."""
    values = slab_temperature(solution, slab)
    return np.broadcast_to(values, (len(values), len(_layer_heights(slab)))).T.ravel()


def field_mesh(solution: Solution) -> "meshio.Mesh":
    """All bodies as wedges with their temperatures, as this module's first lines describe."""
    import meshio

    space, stack = solution.sheets.space, solution.sheets.stack
    points, wedges, body, count = [], [], [], 0
    for number, (slab, elevation) in enumerate(zip(solution.sheets.slabs, elevations(stack))):
        own_points, own_wedges = wedges_of(space, slab, float(elevation))
        points.append(own_points)
        wedges.append(own_wedges + count)
        body.append(np.full(len(own_wedges), number))
        count += len(own_points)
    temperature = np.concatenate([layer_temperatures(solution, slab) for slab in solution.sheets.slabs])
    return meshio.Mesh(
        np.ascontiguousarray(np.vstack(points)),
        [("wedge", np.ascontiguousarray(np.vstack(wedges)))],
        point_data={TEMPERATURE: temperature - ZERO_CELSIUS, RISE: temperature - stack.reference},
        cell_data={BODY: [np.concatenate(body)]},
        field_data={slab.body.name: np.array([n, 3]) for n, slab in enumerate(solution.sheets.slabs)},
    )


def bank_cells(place: BankPlace, bank: Bank, foot: float) -> tuple[np.ndarray, np.ndarray]:
    """The coolant's cells past a bank as boxes.

    Parameters
    ----------
    place : BankPlace
    bank : Bank
    foot : float, [m]
        Height of the face that the fins stand on.

    Returns
    -------
    points : array (8 * cells, 3), [m]
        Eight to each cell, in VTK's order for hexahedra.
    cells : array (cells,)
        Their numbers among the way's cells.
    """
    grid, levels = place.way.grid, place.way.levels
    heights = foot + levels if bank.face == COOLED_SIDE else foot - levels
    i, j = np.nonzero(grid.number >= 0)
    count = len(levels) - 1
    cells = (grid.number[i, j][:, None] * count + np.arange(count)).ravel()
    i, j, k = np.repeat(i, count), np.repeat(j, count), np.tile(np.arange(count), len(i))
    low, high = (heights[:-1], heights[1:]) if bank.face == COOLED_SIDE else (heights[1:], heights[:-1])
    ends = np.stack([low, high])
    corners = [np.column_stack([grid.x[i + a], grid.y[j + b], ends[c, k]]) for a, b, c in CORNERS]
    return np.stack(corners, axis=1).reshape(-1, 3), cells


def coolant_mesh(solution: Solution) -> "meshio.Mesh":
    """The coolants' cells of all banks with their temperatures and coefficients, as this module's first lines describe.

    The solution must have flows.
    """
    import meshio

    stack, points = solution.sheets.stack, []
    data: dict[str, list[np.ndarray]] = {
        name: [] for name in (TEMPERATURE, LEAVING, COEFFICIENT, VELOCITY, EFFICIENCY, FLOW, BANK)
    }
    for flow, number in ((flow, number) for flow, each in enumerate(stack.flows) for number in each.banks):
        place, bank = place_of_bank(solution, number), stack.banks[number]
        own, cells = bank_cells(place, bank, _foot(stack, bank))
        points.append(own)
        leaving = solution.temperature[place.stream.unknowns][place.cells]
        fields = {
            TEMPERATURE: place.stream.means(solution.temperature)[place.cells] - ZERO_CELSIUS,
            LEAVING: leaving - ZERO_CELSIUS,
            COEFFICIENT: place.way.coefficient,
            VELOCITY: place.way.velocity,
            EFFICIENCY: cell_efficiency(bank, place.way),
            FLOW: np.full(len(leaving), flow),
            BANK: np.full(len(leaving), number),
        }
        for name, values in fields.items():
            data[name].append(values[cells])
    every = np.ascontiguousarray(np.vstack(points))
    hexahedra = np.arange(len(every)).reshape(-1, 8)
    cell_data = {name: [np.concatenate(values)] for name, values in data.items()}
    return meshio.Mesh(every, [("hexahedron", hexahedra)], cell_data=cell_data)


def _foot(stack: Stack, bank: Bank) -> float:
    """Height [m] of the face that a bank stands on."""
    low = float(elevations(stack)[bank.base])
    return low + stack.bodies[bank.base].thickness if bank.face == COOLED_SIDE else low


def write_coolants(path: str | os.PathLike[str], solution: Solution) -> Path:
    """Write the coolants' cells of a solution with flows to a VTU file, such as out/air.vtu; the path written."""
    coolant_mesh(solution).write(path, file_format="vtu")
    _add_names(Path(path), [flow.name for flow in solution.sheets.stack.flows])
    return Path(path)


def write_fields(path: str | os.PathLike[str], solution: Solution) -> Path:
    """Write a solution's temperatures to a VTU file.

    Parameters
    ----------
    path : path
        Such as out/fields.vtu; what stands there is replaced.
    solution : Solution

    Returns
    -------
    Path
        Of the file written.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    mesh = field_mesh(solution)
    mesh.write(path, file_format="vtu")
    _add_names(Path(path), [slab.body.name for slab in solution.sheets.slabs])
    return Path(path)


def _add_names(path: Path, names: list[str]) -> None:
    """Bodies' names as field data, which meshio reads from VTU files but does not write."""
    arrays = "".join(
        f'<DataArray type="Int64" Name="{escape(name)}" NumberOfTuples="2" format="ascii">{number} 3</DataArray>\n'
        for number, name in enumerate(names)
    )
    head, grid, rest = path.read_bytes().partition(b"<UnstructuredGrid>\n")
    assert grid, "meshio's VTU files have one unstructured grid"
    path.write_bytes(head + grid + f"<FieldData>\n{arrays}</FieldData>\n".encode() + rest)


def write_mesh(path: str | os.PathLike[str], space: PlanSpace) -> Path:
    """Write the plan mesh to a VTU file of quadratic triangles (coordinates in m, z = 0).

    Parameters
    ----------
    path : path
        Such as out/mesh.vtu; what stands there is replaced.
    space : PlanSpace

    Returns
    -------
    Path
        Of the file written.
    """
    import meshio

    points = np.column_stack([space.nodes, np.zeros(len(space.nodes))])
    triangles = counter_clockwise(space, np.arange(len(space.element_nodes)))
    mesh = meshio.Mesh(points, [("triangle6", triangles)])
    mesh.write(path, file_format="vtu")
    return Path(path)
