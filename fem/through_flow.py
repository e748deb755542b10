"""Through flow: coolant that passes a bank normal to the plan, each place on its own."""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.cells import CellGrid
from plancha.fem.gaps import end_losses
from plancha.fem.lanes import LEVELS, Columns, columns_of
from plancha.fem.passages import Resistance, passage, side_by_side
from plancha.fem.way import Passing, Way, blended


@dataclass(frozen=True)
class ThroughFlow:
    """A bank that coolant passes normal to the plan, each place on its own."""

    passing: Passing
    columns: Columns

    def _one(self, region: int) -> Resistance:
        """Resistance of one square metre of the free plan."""
        passing, gaps = self.passing, self.passing.gaps(region)
        entry, leaving = end_losses(passing.flow, gaps.open_share, gaps.open_share)
        friction, rho = gaps.drop(gaps.fins.height), passing.fluid.density
        return passage(lambda v: friction(v) + (entry + leaving) * rho * v**2 / 2, gaps.open_share)

    @property
    def resistance(self) -> Resistance:
        """All columns side by side."""
        regions = np.unique(self.columns.region)
        areas = [float(self.columns.area[self.columns.region == region].sum()) for region in regions]
        return side_by_side([self._one(int(region)) for region in regions], areas)

    def way(self, rate: float) -> Way:
        """The way at a rate [m3/s]."""
        passing, columns = self.passing, self.columns
        drop, even = float(self.resistance.drop_at(rate)), np.zeros(columns.area.shape)
        for region in np.unique(columns.region):
            here = columns.region == region
            even[here] = float(self._one(int(region)).rate_at(drop)) * columns.area[here]
        even *= rate / even.sum()
        numbers = np.arange(columns.area.size).reshape(columns.area.shape)
        rates = blended(passing, CellGrid(columns.x, columns.y, numbers), even, rate, True, columns.area)
        speed = np.divide(rates, columns.area, out=np.zeros(rates.shape), where=columns.area > 0)
        return self._way(rates, speed)

    def _way(self, rates: np.ndarray, speed: np.ndarray) -> Way:
        passing, columns = self.passing, self.columns
        levels = np.linspace(0.0, passing.bank.height, LEVELS + 1)
        tips_first = passing.flow.side == "tips"
        shape = (*rates.shape, LEVELS)
        velocity, coefficient, warnings = np.zeros(shape), np.zeros(shape), []
        for region in np.unique(columns.region):
            gaps, here = passing.gaps(int(region)), columns.region == region
            height = gaps.fins.height
            inside = levels[:-1] < height * (1 - 1e-9)  # a level that the tips end in counts by what stands in it
            from_inlet = np.maximum(height - levels[1:], 0.0) if tips_first else levels[:-1]
            velocity[here] = np.where(inside, (speed[here] / gaps.open_share)[:, None], 0.0)
            stop = np.maximum(from_inlet + np.diff(levels), 1e-9)
            coefficient[here] = gaps.coefficient(velocity[here], from_inlet, stop, height)
            warnings += gaps.warnings(velocity[here], height)
        order = np.arange(LEVELS)[::-1] if tips_first else np.arange(LEVELS)
        capacity = passing.capacity(rates).ravel()
        cells = np.arange(capacity.size * LEVELS).reshape(-1, LEVELS)
        chain = cells[:, order]
        upstream = sp.csr_array(
            (np.repeat(capacity, LEVELS - 1), (chain[:, 1:].ravel(), chain[:, :-1].ravel())), shape=(cells.size,) * 2
        )
        inflow, outflow = np.zeros(cells.size), np.zeros(cells.size)
        inflow[chain[:, 0]], outflow[chain[:, -1]] = capacity, capacity
        numbers = np.arange(rates.size).reshape(rates.shape)
        return Way(
            bank=passing.number,
            grid=CellGrid(columns.x, columns.y, np.where(columns.area > 0, numbers, -1)),
            levels=levels,
            coefficient=coefficient.reshape(-1),
            velocity=velocity.reshape(-1),
            region=np.repeat(columns.region.ravel(), LEVELS),
            upstream=upstream,
            inflow=inflow,
            outflow=outflow,
            slipping=0.0,
            is_mixed=False,
            share=1.0,
            warnings=tuple(dict.fromkeys(warnings)),
        )


def through_flow(passing: Passing) -> ThroughFlow:
    """Columns over all that is free."""
    zone = passing.flow.zone
    return ThroughFlow(passing, columns_of(passing.bank, passing.bank.outline if zone is None else zone))
