"""Top entry: coolant that enters all along the tips of the fins, and leaves at both ends of them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from plancha.fem.friction import top_entry_pressure_drop
from plancha.fem.gaps import Gaps, end_losses
from plancha.fem.lanes import Lanes, lanes_of
from plancha.fem.passages import Resistance, passage, side_by_side
from plancha.fem.way import Passing, Way, blended


@dataclass(frozen=True)
class TopEntry:
    """A bank that coolant enters all along the fins' tips, to leave at both ends of them."""

    passing: Passing
    lanes: Lanes

    @property
    def resistance(self) -> Resistance:
        """By the mean fins at an even inflow: contraction into the gaps, friction on the way out, and the head that leaves."""
        alike = self._alike()
        return side_by_side([one for _, one in alike], [float(here.sum()) for here, _ in alike])

    def _alike(self) -> list[tuple[np.ndarray, Resistance]]:
        """Where each region's fins stand, a mask over the cells (lanes, stations), and the resistance of one such cell."""
        passing, lanes = self.passing, self.lanes
        found = []
        for region in np.unique(lanes.region):
            gaps, fins = passing.gaps(int(region)), passing.bank.regions[int(region)].fins
            entry, _ = end_losses(passing.flow, gaps.open_share, 1.0)
            one = passage(self._drop(gaps, fins.height, entry), self._open(gaps))
            found.append((lanes.region == region, one))
        return found

    def _drop(self, gaps: Gaps, height: float, entry: float) -> Callable[[np.ndarray], np.ndarray]:
        fluid, length = self.passing.fluid, self.lanes.length

        def drop(velocity: np.ndarray) -> np.ndarray:
            turned = top_entry_pressure_drop(velocity, fluid.density, fluid.viscosity, gaps.fins.gap, height, length)
            return entry * fluid.density * velocity**2 / 2 + turned

        return drop

    def _open(self, gaps: Gaps) -> float:
        """Free area at the top of one cell [m2]."""
        return self.lanes.width * self.lanes.step * gaps.open_share

    def way(self, rate: float) -> Way:
        """The way at a rate [m3/s]."""
        passing, lanes = self.passing, self.lanes
        rates = blended(passing, lanes.grid(np.zeros(lanes.region.shape, int)), self._even(rate), rate, lanes.axis == 1)
        velocity, coefficient, warnings = np.zeros(rates.shape), np.zeros(rates.shape), []
        for region in np.unique(lanes.region):
            gaps, here = passing.gaps(int(region)), lanes.region == region
            height = gaps.fins.height
            down = rates / self._open(gaps)
            # The mean parcel goes half the height down and half of the half length along, at the mean of the speeds met.
            along = down.mean(axis=1, keepdims=True) * lanes.length / (4 * height)
            speed = np.broadcast_to(np.hypot(down.mean(axis=1, keepdims=True) / 2, along), rates.shape)
            path = height / 2 + lanes.length / 4
            velocity[here] = speed[here]
            coefficient[here] = gaps.coefficient(speed[here], np.array(0.0), np.array(path), path)
            warnings += gaps.warnings(speed[here], path)
        return self._way(passing.capacity(rates), velocity, coefficient, tuple(dict.fromkeys(warnings)))

    def _even(self, rate: float) -> np.ndarray:
        """Rates into the cells (lanes, stations) [m3/s] where all see one pressure."""
        drop = float(self.resistance.drop_at(rate))
        rates = np.zeros(self.lanes.region.shape)
        for here, one in self._alike():
            rates[here] = float(one.rate_at(drop))
        return rates * (rate / rates.sum())

    def _way(self, inflow: np.ndarray, velocity: np.ndarray, coefficient: np.ndarray, warnings: tuple[str, ...]) -> Way:
        """Cells in the order in which each lane flows, from where it parts to both ends."""
        count, stations = inflow.shape
        number = np.empty(inflow.shape, int)
        rows, columns, values, outflow = [], [], [], np.zeros(inflow.size)
        for lane in range(count):
            part = parting(inflow[lane])
            right, left = np.arange(part, stations), np.arange(part - 1, -1, -1)
            order = np.concatenate([right, left])
            number[lane, order] = lane * stations + np.arange(stations)
            for arm in (right, left):
                carried = np.cumsum(inflow[lane, arm])
                cells = number[lane, arm]
                rows.append(cells[1:])
                columns.append(cells[:-1])
                values.append(carried[:-1])
                if len(arm):
                    outflow[cells[-1]] = carried[-1]
        upstream = sp.csr_array(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(inflow.size,) * 2
        )

        def ordered(field: np.ndarray) -> np.ndarray:
            found = np.empty(field.size, field.dtype)
            found[number.ravel()] = field.ravel()
            return found

        return Way(
            bank=self.passing.number,
            grid=self.lanes.grid(number),
            levels=np.array([0.0, self.passing.bank.height]),
            coefficient=ordered(coefficient),
            velocity=ordered(velocity),
            region=ordered(self.lanes.region),
            upstream=upstream,
            inflow=ordered(inflow),
            outflow=outflow,
            slipping=0.0,
            is_mixed=True,
            share=1.0,
            warnings=warnings,
        )


def parting(inflow: np.ndarray) -> int:
    """Station at which a lane fed from above (stations,) parts: friction on the way to either end is then the same.

    With F the flow gathered from one end, speed there is F - F_s: its integral over the lane is nothing where F_s is F's mean.
    Source: developed flow, derived independently.
    """
    gathered = np.concatenate([[0.0], np.cumsum(inflow)])
    mean = (gathered[1:] + gathered[:-1]).mean() / 2
    return int(np.argmin(np.abs(gathered - mean)))


def top_entry(passing: Passing) -> TopEntry:
    """Lanes fed from above."""
    return TopEntry(passing, lanes_of(passing.bank, passing.flow))
