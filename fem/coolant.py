"""A coolant that warms up: cells along its way, each mixed, linked to the solids by one matrix that serves both ways.

Cell c takes up   g_c . T - G_c Tm_c   from the solids, and its balance is

    D_c T_c - sum_u D_uc T_u - D_c0 T_inlet = g_c . T - G_c Tm_c,   Tm_c = w_c T_c + (1 - w_c) (what enters, mixed)

with D the capacity flows rho V cp [W/K] between cells, G_c the row sum of g. The weight w makes a cell exact between walls of one
temperature: exponential along a lane; a power where coolant comes in all along (effectiveness NTU/(1 + NTU)). The solids see
- g^T Tm, so what they lose the coolant gains, to rounding.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from plancha.fem.terms import Entries, Term

FEW = 1e-6  # transfer units of a cell below which the weight is that of none


def lane_weight(transfer_units: np.ndarray, fed: np.ndarray | float = 0.0) -> np.ndarray:
    """Weight of the leaving temperature in a cell's mean along a lane: a half for few transfer units, 1 for many.

    Parameters
    ----------
    transfer_units : array (...), [-]
        Exchange of the cell over the capacity flow C that comes in from upstream, n.
    fed : array (...), [-]
        What comes in from the inlet all along the cell, over C: x. Without it the weight is 1/(1 - exp(-n)) - 1/n.

    Notes
    -----
    Between walls of one temperature the lane nears a temperature of its own, T*, as (T - T*) ~ (C + x C s)^-(1 + n/x), s from 0 to 1:
    over what came from upstream, e = exp(-n l)/(1 + x) of the difference leaves and m = (1 - exp(-n l))/n is in the mean, with
    l = ln(1 + x)/x; so the weight is (1 - m)/(1 - e). Source: derived independently.
    """
    n, x = np.maximum(transfer_units, FEW), np.asarray(fed, float)
    slower = np.where(x > FEW, np.log1p(x) / np.maximum(x, FEW), 1 - x / 2)
    in_mean = -np.expm1(-n * slower) / n
    left = -np.expm1(-n * slower - np.log1p(x))
    return (1 - in_mean) / left


@dataclass(frozen=True)
class Network:
    """How one coolant runs through its cells, which are numbered in the order of the flow.

    ``upstream`` (cells, cells) [W/K] holds in row c what comes from each cell, ``inflow`` (cells,) what comes from
    the inlet, ``outflow`` (cells,) what leaves for the outlet; ``slipping`` [W/K] passes by without touching
    anything. ``is_mixed`` says that what comes from the inlet mixes in all along a cell, else it enters at its upstream end.
    """

    inlet: float
    upstream: sp.csr_array
    inflow: np.ndarray
    outflow: np.ndarray
    slipping: float = 0.0
    is_mixed: bool = False

    @cached_property
    def capacity(self) -> np.ndarray:
        """Capacity flow through each cell (cells,) [W/K]."""
        return self.inflow + self.upstream.sum(axis=1)


@dataclass(frozen=True)
class Wall:
    """What one body gives a coolant: ``terms`` on the solids' unknowns and ``exchange`` (cells, solid unknowns)
    [W/K], whose row sums over the unknowns agree; ``area`` [m2] is wetted."""

    body: int
    terms: tuple[Term, ...]
    exchange: sp.csr_array
    area: float


@dataclass(frozen=True)
class Stream:
    """A network joined to the solids by ``walls``; ``first`` is the number of its first unknown among all; ``name`` the flow's."""

    name: str
    network: Network
    walls: tuple[Wall, ...]
    first: int

    @cached_property
    def exchange(self) -> sp.csr_array:
        """All walls together (cells, solid unknowns) [W/K]: g."""
        return sum((wall.exchange for wall in self.walls[1:]), self.walls[0].exchange).tocsr()

    @property
    def unknowns(self) -> np.ndarray:
        """Numbers of the cells' temperatures among all unknowns."""
        return self.first + np.arange(len(self.network.inflow))

    @cached_property
    def conductance(self) -> np.ndarray:
        """Exchange of each cell with all solids (cells,) [W/K]."""
        return np.asarray(self.exchange.sum(axis=1)).ravel()

    @cached_property
    def weight(self) -> np.ndarray:
        """Weight of the leaving temperature in each cell's mean (cells,)."""
        coming, inflow = self._coming, self.network.inflow
        fed = np.where(self.network.is_mixed, inflow, 0.0)
        some = coming > 0
        weight = np.ones(len(inflow))
        weight[some] = lane_weight(self.conductance[some] / coming[some], fed[some] / coming[some])
        return weight

    @cached_property
    def _coming(self) -> np.ndarray:
        """Capacity flow at each cell's upstream end (cells,) [W/K]."""
        network = self.network
        return network.capacity - network.inflow if network.is_mixed else network.capacity

    @cached_property
    def mixing(self) -> sp.csr_array:
        """Mean temperatures from leaving ones (cells, cells); see ``mixing_inlet``."""
        return (sp.diags_array(self.weight) + sp.diags_array(self._entering) @ self.network.upstream).tocsr()

    @cached_property
    def mixing_inlet(self) -> np.ndarray:
        """Share of the inlet in each cell's mean temperature (cells,)."""
        return np.zeros(len(self._entering)) if self.network.is_mixed else self._entering * self.network.inflow

    @cached_property
    def _entering(self) -> np.ndarray:
        coming = self._coming
        return np.divide(1 - self.weight, coming, out=np.zeros(len(coming)), where=coming > 0)

    @cached_property
    def marching(self) -> sp.csr_array:
        """The cells' own balance (cells, cells) [W/K]: lower triangular in the order of the flow."""
        network = self.network
        march = sp.diags_array(network.capacity) - network.upstream + sp.diags_array(self.conductance) @ self.mixing
        idle = (network.capacity == 0) & (self.conductance == 0)  # neither flow nor wall: keeps the inlet's temperature
        return (march + sp.diags_array(idle.astype(float))).tocsr()

    @cached_property
    def inlet_heat(self) -> np.ndarray:
        """What the inlet's temperature brings into each cell's balance (cells,) [W]."""
        network = self.network
        idle = (network.capacity == 0) & (self.conductance == 0)
        return (network.inflow - self.conductance * self.mixing_inlet + idle) * network.inlet

    @cached_property
    def coupling(self) -> sp.csr_array:
        """What the solids feel of the leaving temperatures (solid unknowns, cells) [W/K]."""
        return (self.exchange.T @ self.mixing).tocsr()

    @cached_property
    def solid_heat(self) -> np.ndarray:
        """What the solids feel of the inlet's own temperature (solid unknowns,) [W]."""
        return self.exchange.T @ self.mixing_inlet * self.network.inlet

    def means(self, temperature: np.ndarray) -> np.ndarray:
        """Mean temperature [K] in each cell (cells,) from all unknowns."""
        return self.mixing @ temperature[self.unknowns] + self.mixing_inlet * self.network.inlet

    def heat(self, temperature: np.ndarray) -> float:
        """Heat [W] that the solids give to it."""
        return float(self.cell_heat(temperature).sum())

    def cell_heat(self, temperature: np.ndarray) -> np.ndarray:
        """Heat [W] that each cell takes up (cells,)."""
        solid = temperature[: self.exchange.shape[1]]
        return self.exchange @ solid - self.conductance * self.means(temperature)

    def outlet(self, temperature: np.ndarray) -> float:
        """Mixed temperature [K] at the outlet, with what slips by."""
        network = self.network
        leaving = float(network.outflow @ temperature[self.unknowns]) + network.slipping * network.inlet
        return leaving / (float(network.outflow.sum()) + network.slipping)

    def carried(self, temperature: np.ndarray) -> float:
        """Heat [W] by which the coolant leaves warmer than it entered."""
        network = self.network
        return float(network.outflow @ (temperature[self.unknowns] - network.inlet))


def coupled_entries(streams: tuple[Stream, ...]) -> list[Entries]:
    """Entries (values, rows, columns) by which the streams join the matrix of all unknowns, their own balances included."""
    parts = []
    for stream in streams:
        coupling, exchange, marching = (m.tocoo() for m in (stream.coupling, stream.exchange, stream.marching))
        parts.append((-coupling.data, coupling.coords[0], stream.first + coupling.coords[1]))
        parts.append((-exchange.data, stream.first + exchange.coords[0], exchange.coords[1]))
        parts.append((marching.data, stream.first + marching.coords[0], stream.first + marching.coords[1]))
    return parts
