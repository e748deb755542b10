"""Values on a grid over a rectangle of the plan, such as a coefficient map."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Grid:
    """Values on a grid of equal cells over a rectangle (left, bottom, right, top) [m]; row 0 is the bottom row."""

    bounds: tuple[float, float, float, float]
    values: np.ndarray

    def edges(self) -> tuple[np.ndarray, np.ndarray]:
        """Cell edges along x and along y [m]."""
        rows, columns = self.values.shape
        left, bottom, right, top = self.bounds
        return np.linspace(left, right, columns + 1), np.linspace(bottom, top, rows + 1)
