"""Many power maps on one component of a solved problem: each tile's response once, then every map is a sum of them.

    T = T without the map + sum over tiles (watts of the tile * rise by one watt there)

Exact against the solution's own mesh where nothing follows temperature; else as for small changes about the solution. The mesh is not
made for the tiles: where maps are sharper than the solution's own, ask for a finer one.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from plancha.fem.faces import Faces, FaceShape, face_shape, faces_of, means_on, peaks_on
from plancha.fem.loads import cell_weights
from plancha.fem.planes import active_elements
from plancha.fem.sheets import unit_loads
from plancha.fem.solve import Solution, is_linear

CHUNK = 128  # maps at a time: what is made of them stays in the processor's cache


@dataclass(frozen=True)
class TileResponses:
    """What a watt on each tile of one component does to the active faces of those that are looked at, ``seen``.

    ``nodal`` of each of these (nodes, tiles) [K/W]; ``without`` (unknowns,) [K] are the rises with no heat on that component, above
    the stack's ``reference`` [K]. Tiles count along rows of ``shape`` (rows, columns), the BOTTOM row first, as in a `PowerMap`.
    """

    seen: tuple[int, ...]
    shape: tuple[int, int]
    shapes: tuple[FaceShape, ...]
    nodal: tuple[np.ndarray, ...]
    without: np.ndarray
    faces: Faces
    reference: float
    is_exact: bool


@dataclass(frozen=True)
class Superposed:
    """Peak and mean rise [K] of maps on the faces that are looked at, (maps, seen), above the stack's reference."""

    peaks: np.ndarray
    means: np.ndarray


def tile_responses(
    solution: Solution, source: int, x: np.ndarray, y: np.ndarray, seen: Sequence[int] | None = None
) -> TileResponses:
    """Responses of the tiles of a component (its number), all by one block of triangular solves.

    Parameters
    ----------
    x, y : array (columns + 1,), (rows + 1,), [m]
        Edges of the tiles in the component's own coordinates, as in a `PowerMap`.
    seen : sequence of int
        The components whose faces are looked at; this one alone if left out.

    Raises
    ------
    ValueError
        If a tile lies off the component.
    """
    sheets, chosen = solution.sheets, solution.sheets.stack.sources[source]
    looked_at = (source,) if seen is None else tuple(seen)
    left, bottom = chosen.outline.bounds[:2]
    weights = cell_weights(
        sheets.space, np.asarray(x) + left, np.asarray(y) + bottom, active_elements(solution, chosen)
    )
    off = np.flatnonzero(weights.sum(axis=0) < 0.5)
    if len(off):
        raise ValueError(f"tile {int(off[0])} of {weights.shape[1]} lies off {chosen.name}")
    plan = weights.T.toarray()
    rises = solution.system.rises(unit_loads(sheets.slabs, [chosen] * len(plan), plan, sheets.size).T)
    own = solution.system.rises(solution.powers[source] * sheets.unit_loads[source])
    without = solution.temperature - own - sheets.stack.reference
    shapes = tuple(face_shape(solution, sheets.stack.sources[number]) for number in looked_at)
    nodal = tuple(rises[shape.unknowns] for shape in shapes)
    return TileResponses(
        seen=looked_at,
        shape=(len(y) - 1, len(x) - 1),
        shapes=shapes,
        nodal=nodal,
        without=without,
        faces=faces_of(shapes, nodal, without),
        reference=sheets.stack.reference,
        is_exact=is_linear(sheets),
    )


def superposed(responses: TileResponses, watts: np.ndarray, threads: int = 1) -> Superposed:
    """Peaks and means under maps of watts (maps, rows, columns) [W]."""
    maps = _flat(responses, watts)
    chunks = [maps[start : start + CHUNK] for start in range(0, max(len(maps), 1), CHUNK)]

    def found(chunk: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return peaks_on(responses.faces, chunk), means_on(responses.faces, chunk)

    with ThreadPoolExecutor(threads) as pool:
        peaks, means = zip(*pool.map(found, chunks))
    return Superposed(np.concatenate(peaks), np.concatenate(means))


def faces_under(responses: TileResponses, watts: np.ndarray, seen: int) -> np.ndarray:
    """Rises [K] of maps (maps, rows, columns) at the nodes of one of the faces looked at (its place among them), (maps, nodes).

    The nodes are the plan nodes ``responses.shapes[seen].controls.nodes``.
    """
    return _flat(responses, watts) @ responses.nodal[seen].T + responses.without[responses.shapes[seen].unknowns]


def _flat(responses: TileResponses, watts: np.ndarray) -> np.ndarray:
    if np.shape(watts)[1:] != responses.shape:
        raise ValueError(
            f"watts has shape {np.shape(watts)}; needed: (maps, {responses.shape[0]}, {responses.shape[1]})"
        )
    return np.asarray(watts, float).reshape(len(watts), -1)
