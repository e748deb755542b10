"""A coolant's way past one bank: its cells, flows and coefficients; and the bank that it passes."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from plancha.fem.cells import CellGrid
from plancha.geometry.air import Bank, Flow
from plancha.geometry.fluids import Fluid

if TYPE_CHECKING:
    from plancha.fem.gaps import Gaps


@dataclass(frozen=True)
class Way:
    """A coolant's way past one bank at a given rate, capacity flows in W/K, cells numbered in the order of the flow.

    ``grid`` places the cells on the plan; where ``levels`` [m above the base] has more than two entries, the grid's
    numbers count columns and cell = column * levels + level, level 0 at the base. ``coefficient`` [W/m2/K]
    and ``velocity`` [m/s] (cells,) are in the gaps,
    ``region`` (cells,) tells whose fins. ``share`` is the part of the rate that passes between fins.
    """

    bank: int
    grid: CellGrid
    levels: np.ndarray
    coefficient: np.ndarray
    velocity: np.ndarray
    region: np.ndarray
    upstream: sp.csr_array
    inflow: np.ndarray
    outflow: np.ndarray
    slipping: float
    is_mixed: bool
    share: float
    warnings: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Passing:
    """A bank that a flow passes, the fluid at its mean temperature, and what the plan gets of the inflow where that is known."""

    number: int
    bank: Bank
    flow: Flow
    fluid: Fluid
    rigid: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    evened: float = 1.0

    def gaps(self, region: int) -> "Gaps":
        """The gaps between the fins of one of the bank's regions."""
        from plancha.fem.gaps import Gaps

        return Gaps(self.bank.regions[region].fins, self.fluid, self.flow)

    def capacity(self, rate: np.ndarray) -> np.ndarray:
        """Capacity flow [W/K] of rates [m3/s] at the mean temperature."""
        return self.fluid.density * self.fluid.heat_capacity * rate


def blended(
    passing: Passing, grid: CellGrid, even: np.ndarray, rate: float, x_first: bool, free: np.ndarray | None = None
) -> np.ndarray:
    """Rates into the cells [m3/s]: between the fan's rigid profile and the evened-out flow, by the plenum's share.

    ``even`` has the shape of the cells: (nx, ny) where ``x_first``, else (ny, nx). ``free`` [m2] is what of each cell is open.
    """
    if passing.rigid is None or passing.evened >= 1:
        return even
    speed = passing.rigid(grid.x, grid.y)  # (nx, ny)
    area = np.outer(np.diff(grid.x), np.diff(grid.y)) if free is None else free
    rigid = speed * area
    rigid = rigid if x_first else rigid.T
    return passing.evened * even + (1 - passing.evened) * rigid * (rate / rigid.sum())
