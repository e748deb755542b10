"""Shape functions through a body's thickness, on [0, 1] from component side to cooled side: polynomials on graded sub-layers."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre

SHEET_DEGREE = 0


@dataclass(frozen=True)
class Through:
    """Lagrange functions of one degree on the sub-layers between ``breaks`` (from 0 to 1).

    Degree 0 is a sheet: one temperature through the whole thickness. Else the first node is the component side, the last the
    cooled side, and neighbouring sub-layers share a node.
    """

    breaks: tuple[float, ...] = (0.0, 1.0)
    degree: int = 2

    @cached_property
    def nodes(self) -> np.ndarray:
        """Heights of the nodes, shape (n,)."""
        if self.degree == SHEET_DEGREE:
            return np.array([0.5])
        inner = self._reference_nodes()
        layers = [low + (high - low) * inner[1:] for low, high in zip(self.breaks[:-1], self.breaks[1:])]
        return np.concatenate([[0.0], *layers])

    def _reference_nodes(self) -> np.ndarray:
        """Gauss-Lobatto points on [0, 1]."""
        slope = legendre.Legendre.basis(self.degree).deriv()
        return np.concatenate([[0.0], np.sort(slope.roots().real) / 2 + 0.5, [1.0]])

    def values(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Values and slopes of the functions at heights ``at`` (q,): two arrays (q, n)."""
        at = np.asarray(at, float)
        values, slopes = np.zeros((len(at), len(self.nodes))), np.zeros((len(at), len(self.nodes)))
        if self.degree == SHEET_DEGREE:
            return values + 1.0, slopes
        layer = np.clip(np.searchsorted(self.breaks, at, side="right") - 1, 0, len(self.breaks) - 2)
        low, high = np.take(self.breaks, layer), np.take(self.breaks, layer + 1)
        powers = np.arange(self.degree + 1)
        inverse = np.linalg.inv(self._reference_nodes()[:, None] ** powers)
        local = ((at - low) / (high - low))[:, None]
        columns = layer[:, None] * self.degree + powers
        rows = np.arange(len(at))[:, None]
        values[rows, columns] = local**powers @ inverse
        slopes[rows, columns] = (powers * local ** np.maximum(powers - 1, 0)) @ inverse / (high - low)[:, None]
        return values, slopes

    @cached_property
    def quadrature(self) -> tuple[np.ndarray, np.ndarray]:
        """Heights and weights (q,), exact for products of two functions; the weights sum to 1."""
        return _gauss(np.array(self.breaks), self.degree + 1)

    @cached_property
    def at_quadrature(self) -> tuple[np.ndarray, np.ndarray]:
        """Values and slopes at the quadrature points: two arrays (q, n)."""
        return self.values(self.quadrature[0])

    @cached_property
    def mass(self) -> np.ndarray:
        """Integrals of products of functions, (n, n)."""
        values = self.at_quadrature[0]
        return values.T @ (self.quadrature[1][:, None] * values)

    @cached_property
    def stiffness(self) -> np.ndarray:
        """Integrals of products of slopes, (n, n)."""
        slopes = self.at_quadrature[1]
        return slopes.T @ (self.quadrature[1][:, None] * slopes)

    @cached_property
    def next_polynomials(self) -> tuple[np.ndarray, np.ndarray]:
        """Per sub-layer the next polynomial b (nothing at its ends, slope a Legendre polynomial): integrals of b times the functions
        (layers, n), and of b'^2 (layers,)."""
        bubble = (legendre.Legendre.basis(self.degree + 1) - legendre.Legendre.basis(self.degree - 1)) / (
            2 * self.degree + 1
        )
        moments, norms = [], []
        for low, high in zip(self.breaks[:-1], self.breaks[1:]):
            at, weights = _gauss(np.array([low, high]), self.degree + 2)
            inside = bubble(2 * (at - low) / (high - low) - 1)
            moments.append((weights * inside) @ self.values(at)[0])
            norms.append(4 / (high - low) ** 2 * (high - low) / (2 * self.degree + 1))
        return np.array(moments), np.array(norms)

    def face(self, face: int) -> int:
        """Number of the node on a face: 0 component side, 1 cooled side."""
        return 0 if face == 0 else len(self.nodes) - 1

    def mass_between(self, start: float, stop: float) -> np.ndarray:
        """Integrals of products of functions from one height to another, (n, n)."""
        at, weights = self._points(start, stop)
        values = self.values(at)[0]
        return values.T @ (weights[:, None] * values)

    def _points(self, start: float, stop: float) -> tuple[np.ndarray, np.ndarray]:
        return _gauss(np.unique(np.clip(np.r_[start, self.breaks, stop], start, stop)), self.degree + 1)

    def load(self, start: float, stop: float) -> np.ndarray:
        """Share of each function (n,) in heat spread evenly between two heights; they sum to 1."""
        at, weights = self._points(start, stop)
        return weights @ self.values(at)[0] / (stop - start)


def _gauss(edges: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss points and weights on each interval between the edges, joined."""
    points, weights = legendre.leggauss(count)
    width = np.diff(edges)[:, None]
    return (edges[:-1, None] + width * (points + 1) / 2).ravel(), (width * weights / 2).ravel()


def graded(
    finest: float, from_component_side: bool, from_cooled_side: bool, degree: int = 2, ratio: float = 2.0
) -> Through:
    """Sub-layers that grow by ``ratio`` from one face or both; the first is ``finest`` of the thickness, or up to twice that.

    They are stretched to fill the thickness, after the last is dropped where most of it would stand out.
    """
    both = from_component_side and from_cooled_side
    span = 0.5 if both else 1.0
    steps = [min(finest, span)]
    while sum(steps) < span * (1 - 1e-9):
        steps.append(steps[-1] * ratio)
    if len(steps) > 1 and sum(steps[:-1]) + 0.5 * steps[-1] > span:
        steps.pop()
    heights = np.r_[0.0, np.cumsum(steps)] / sum(steps) * span
    if both:
        heights = np.r_[heights, (1 - heights[::-1])[1:]]
    elif from_cooled_side:
        heights = (1 - heights)[::-1]
    return Through(tuple(float(h) for h in heights), degree)
