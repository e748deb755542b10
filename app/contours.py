"""Quadratic fields on the plan mesh as small flat triangles, and the lines along which they take a value."""

from functools import cache

import numpy as np

from plancha.fem.plan import PlanSpace, shape_values


def fine_triangles(
    space: PlanSpace, elements: np.ndarray, values: np.ndarray, parts: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A quadratic function as flat triangles, parts^2 to each of the elements, evaluated on the polynomial.

    Parameters
    ----------
    space : PlanSpace
    elements : array (elements,)
        Numbers of the elements to draw.
    values : array (plan nodes,)
        The function's nodal values, any unit.
    parts : int
        Into how many each side is cut.

    Returns
    -------
    points : array (elements * k, 2), [m], with k = (parts + 1)(parts + 2) / 2
    triangles : array (elements * parts^2, 3)
    values : array (elements * k,)
    """
    lattice, small = _lattice(parts)
    corners = space.nodes[space.element_nodes[elements, :3]]
    points = np.einsum("kc,ecx->ekx", lattice, corners).reshape(-1, 2)
    fine = values[space.element_nodes[elements]] @ shape_values(lattice).T
    triangles = small + len(lattice) * np.arange(len(elements))[:, None, None]
    return points, triangles.reshape(-1, 3), fine.ravel()


@cache
def _lattice(parts: int) -> tuple[np.ndarray, np.ndarray]:
    """Barycentric coordinates (k, 3) of evenly cut sides, and the small triangles (parts^2, 3) between them."""
    places = [(i, j) for i in range(parts + 1) for j in range(parts + 1 - i)]
    number = {place: n for n, place in enumerate(places)}
    triangles = []
    for i, j in places:
        if i + j < parts:
            triangles.append([number[i, j], number[i + 1, j], number[i, j + 1]])
        if i + j < parts - 1:
            triangles.append([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]])
    b, c = np.array(places).T / parts
    return np.column_stack([1 - b - c, b, c]), np.array(triangles)


def isolines(points: np.ndarray, triangles: np.ndarray, values: np.ndarray, level: float) -> np.ndarray:
    """Segments (n, 2, 2) along which a function that is linear on each triangle takes a value."""
    above = values > level
    count = above[triangles].sum(axis=1)
    cut = triangles[(count == 1) | (count == 2)]
    # Turn each triangle so that the corner that is alone on its side of the level comes first.
    odd = above[cut] == (above[cut].sum(axis=1) == 1)[:, None]
    first = np.argmax(odd, axis=1)
    turned = np.take_along_axis(cut, (first[:, None] + np.arange(3)) % 3, axis=1)
    ends = []
    for other in (1, 2):
        a, b = turned[:, 0], turned[:, other]
        share = ((level - values[a]) / (values[b] - values[a]))[:, None]
        ends.append(points[a] + share * (points[b] - points[a]))
    return np.stack(ends, axis=1)
