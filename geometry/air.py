"""What moves air, or another coolant, and where it takes the heat: fin banks, fans and flows of one study, in SI.

A bank stands on a face of a plate. Described as a block, its fins are bodies of the stack (one per pitch and height step); described
as a film they are a coefficient on the plate. Either way a flow passes it, whose own temperature is solved with the solids.
"""

import math
from dataclasses import dataclass

import shapely

from plancha.geometry.fan_curve import FanCurve
from plancha.geometry.grid import Grid
from plancha.geometry.materials import Material

ALONG_X, ALONG_Y = 0, 1
SIDES = ("left", "right", "lower", "upper")


@dataclass(frozen=True)
class Fins:
    """Shape of the fins on one part of a bank: pitch, height [m]; plate fins by thickness, pins by diameter [m].

    ``across`` [m] is the pitch of pins across the flow; of plate fins it is not used.
    """

    pitch: float
    height: float
    thickness: float
    is_pin: bool = False
    across: float = math.nan
    is_staggered: bool = False

    @property
    def gap(self) -> float:
        """Clear width between neighbours across the flow [m]."""
        return (self.across if self.is_pin else self.pitch) - self.thickness

    @property
    def solid_share(self) -> float:
        """Share of the plan that fins stand on."""
        if self.is_pin:
            return math.pi * self.thickness**2 / 4 / (self.pitch * self.across)
        return self.thickness / self.pitch

    @property
    def surface(self) -> float:
        """Wetted flanks per volume of the bank [1/m]."""
        if self.is_pin:
            return math.pi * self.thickness / (self.pitch * self.across)
        return 2 / self.pitch


@dataclass(frozen=True)
class Region:
    """A part of a bank whose fins are alike."""

    outline: shapely.Polygon
    fins: Fins


@dataclass(frozen=True)
class Block:
    """A body that stands for fins: its number in the stack, its fins, and the height of its foot above the base [m].

    ``is_foot`` where it stands on the base: the bare base between its fins then counts with it.
    """

    body: int
    fins: Fins
    foot: float
    is_foot: bool


@dataclass(frozen=True)
class Bank:
    """Fins on a face of a plate (body ``base``): a rectangular field, cut into regions of equal fins.

    ``along`` is the direction plate fins run (ALONG_X, ALONG_Y), which is the flow's unless it goes through. ``tip_gap`` [m] is
    clear above the tallest fins. ``blocks`` are the bodies that stand for the fins; none where they are described as a film, which
    then carries ``impedance`` [m2 K/W] between base and fins.
    """

    name: str
    base: int
    face: int
    outline: shapely.Polygon
    along: int
    material: Material
    tip_gap: float
    regions: tuple[Region, ...]
    blocks: tuple[Block, ...] = ()
    impedance: float = 0.0

    @property
    def height(self) -> float:
        """Of the tallest fins [m]."""
        return max(region.fins.height for region in self.regions)

    @property
    def is_film(self) -> bool:
        """Whether the fins are described as a film on the base."""
        return not self.blocks


@dataclass(frozen=True)
class Loss:
    """A resistance in the way of a flow: a coefficient [-] on the dynamic head in a free area [m2], or a pressure drop [Pa] at a flow
    [m3/s], growing with its square."""

    name: str
    coefficient: float = 0.0
    area: float = math.nan
    drop: float = 0.0
    rate: float = math.nan


@dataclass(frozen=True)
class Fan:
    """A fan, or several alike: its curve at a test density [kg/m3] and speed [1/s], and the speed it runs at.

    ``center`` and diameters [m] place an axial fan over the plan; NaN where they are not given. ``level`` [dB(A)] is its sound at the
    test speed, NaN where unknown; ``noise_limit`` likewise.
    """

    name: str
    curve: FanCurve
    test_density: float
    test_speed: float
    speed: float
    is_running: bool = True
    count: int = 1
    in_series: bool = False
    center: tuple[float, float] = (math.nan, math.nan)
    diameter: float = math.nan
    hub: float = math.nan
    profile: str = "growing with radius"
    level: float = math.nan
    noise_limit: float = math.nan

    @property
    def has_place(self) -> bool:
        """Whether its footprint in the plan is known."""
        return math.isfinite(self.center[0]) and math.isfinite(self.diameter)


@dataclass(frozen=True)
class Flow:
    """A coolant's way past one or more banks, in the order of ``banks`` (numbers).

    ``entry`` is "side" (``side`` names where from), "top" (in all along the fins, out at both ends) or "through" (``side`` "tips" or
    "base" first, over ``zone``). ``rate`` [m3/s] at the inlet is given, or None where ``fans`` find it. ``inlet`` [K] includes the
    preheat, ``pressure`` [Pa] is absolute. ``heat`` [W] is what it is expected to
    take, for its mean temperature; ``evened`` the share of the evened-out flow behind the plenum; NaN where they are to be found.
    """

    name: str
    banks: tuple[int, ...]
    entry: str
    side: str
    fluid: str
    inlet: float
    pressure: float
    rate: float | None
    fans: tuple[Fan, ...] = ()
    beside: float = 0.0
    losses: tuple[Loss, ...] = ()
    blocked: float = 0.0
    coefficient: float | None = None
    law: str = "automatic"
    friction: str = "automatic"
    end_losses: str = "area"
    enhancement: float = 1.0
    plenum: float = 0.0
    profile: Grid | None = None
    zone: shapely.Polygon | shapely.MultiPolygon | None = None
    heat: float = math.nan
    evened: float = math.nan

    @property
    def comes_from_far_end(self) -> bool:
        """Whether a side entry runs against the direction of x or y."""
        return self.side in ("right", "upper")


def way_axis(flow: Flow, bank: Bank) -> int:
    """Axis along which a flow runs past a bank: of a side entry its own, else that of the fins."""
    if flow.entry != "side":
        return bank.along
    return ALONG_X if flow.side in ("left", "right") else ALONG_Y
