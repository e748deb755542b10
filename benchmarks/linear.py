"""Linear functions in place of the product's quadratic ones: a triangle's six nodes are the corners of four smaller triangles.

The product has no such choice (docs/size.md). But its matrices are sums of reference integrals over triangles, and its coarser
functions are known by their values: with those of linear functions, all else is as it is.
"""

import numpy as np

from plancha.fem import coarsening, exchanges, slabs
from plancha.fem.patterns import packed
from plancha.fem.plan import PRODUCTS, SLOPES
from plancha.fem.sheets import Sheets
from plancha.fem.thickness import Through
from plancha.geometry.bodies import COMPONENT_SIDE, Stack

NODES = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]])  # barycentric
PARTS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])
THROUGH = Through((0.0, 0.5, 1.0), 1)  # as many nodes as one quadratic
ROUNDED = 1e-9


def use() -> None:
    """Let this process work with linear functions."""
    given = references()
    slabs.packed_references = exchanges.packed_references = lambda: given
    coarsening.shape_values = values


def references() -> tuple[np.ndarray, np.ndarray]:
    """What plan.packed_references has, of linear functions."""
    from skfem import Basis, BilinearForm, ElementTriP1, MeshTri

    basis = Basis(MeshTri(NODES[:, 1:].T.copy(), PARTS.T.copy()), ElementTriP1())

    def integrals(forms) -> np.ndarray:
        """Of two functions each, packed."""
        return packed(np.stack([BilinearForm(form).assemble(basis).toarray() for form in forms]))

    return integrals(PRODUCTS), integrals(SLOPES)


def values(barycentric: np.ndarray) -> np.ndarray:
    """The six functions (..., 6) at barycentric coordinates (..., 3)."""
    found = np.zeros((*barycentric.shape[:-1], len(NODES)))
    for part in PARTS:
        local = barycentric @ np.linalg.inv(NODES[part])
        within = (local >= -ROUNDED).all(axis=-1)
        own = np.zeros((np.count_nonzero(within), len(NODES)))
        own[:, part] = local[within]
        found[within] = own
    return found


def heat(sheets: Sheets, stack: Stack) -> np.ndarray:
    """Watts (unknowns,) of the first body's power map, whose cells the mesh embeds."""
    source, slab, space = stack.sources[0], sheets.slabs[0], sheets.space
    left, bottom, _, _ = source.outline.bounds
    power_map = source.power_map
    elements = slab.pattern.elements
    x, y = space.nodes[space.element_nodes[elements, :3]].mean(axis=1).T
    column, row = np.searchsorted(power_map.x, x - left) - 1, np.searchsorted(power_map.y, y - bottom) - 1
    density = power_map.watts / np.outer(np.diff(power_map.y), np.diff(power_map.x))
    found, face = np.zeros(sheets.size), slab.unknowns[:, slab.through.face(COMPONENT_SIDE)]
    shares = np.bincount(PARTS.ravel()) / PARTS.size
    np.add.at(found, face[slab.pattern.local], np.outer(density[row, column] * space.areas[elements], shares))
    return found
