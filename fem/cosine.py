"""Rectangular chips on a rectangular plate, all layers uniform: exact through the thickness, cosines in the plan, no mesh.

Each rectangle's cosines part it into modes: mode by mode a chip is a two-port (active face, contact), the plate an impedance. What is
solved for, by conjugate gradients, is the heat q that crosses each contact, in the chip's own cosines:

    (R'' + Z_chip + C' Z_plate C) q = what the heat on the chip's active face drives

with C the overlaps of the plate's cosines with the chip's, exact for any place and size. A preview, and a check of the elements by
another way. Derived independently. Valid: insulated rims, constant conductivities along the plate's axes, one coefficient on the far
face of the plate.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil, pi

import numpy as np

from plancha.fem.plate_series import Layer, layer_impedance

MODES = 32  # cosines along each side of a chip, for the heat that crosses its contact
FINER = 2.0  # the plate's shortest cosine over the chips'
MOST = 700  # cosines along each side of the plate; small chips get fewer than asked for where it would take more
ON_CHIP = 256  # cosines along each side of a chip, for what is made on it
POINTS = 257  # along each side of a face, where its hottest point is sought
TOLERANCE = 1e-8  # of the heat that crosses
STEPS = 200

Place = tuple[float, float, float, float]  # lower left corner x, y, width, height [m]


@dataclass(frozen=True)
class CosineChip:
    """A chip: its place on the plate [m], layers from the active face on (the last one's ``impedance_below`` is the joint to the
    plate; without layers its heat is made on the plate), and watts (rows, columns) between edges ``x``, ``y`` [m] from its corner."""

    name: str
    place: Place
    layers: tuple[Layer, ...]
    x: np.ndarray
    y: np.ndarray
    watts: np.ndarray


@dataclass(frozen=True)
class CosinePlate:
    """The plate: size [m], layers from the chips' side on, coefficient [W/m2/K] of the far face."""

    size: tuple[float, float]
    layers: tuple[Layer, ...]
    coefficient: float


@dataclass(frozen=True)
class TwoPort:
    """How layers answer heat in each mode [m2 K/W]: the active face rises by ``top`` q_in - ``across`` q_out, the contact by
    ``across`` q_in - ``bottom`` q_out. The mean, which has no such form where rims are insulated, is left at 0."""

    top: np.ndarray
    across: np.ndarray
    bottom: np.ndarray


@dataclass(frozen=True)
class CosineSolution:
    """Rises above the coolant in each rectangle's cosines of unit norm: of the plate's face towards the chips (modes x, modes y), of
    the chips' active faces; heat through each contact; steps it took."""

    plate: CosinePlate
    chips: tuple[CosineChip, ...]
    plate_modes: np.ndarray
    chip_modes: tuple[np.ndarray, ...]
    crossing: tuple[np.ndarray, ...]
    steps: int

    def on_plate(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Rises [K] of the plate's face at x (columns,) and y (rows,) [m], (rows, columns)."""
        return _at(self.plate_modes, self.plate.size, x, y)

    def on_chip(self, number: int, points: int = POINTS) -> np.ndarray:
        """Rises [K] of a chip's active face at points (rows, columns) evenly spread from rim to rim."""
        left, bottom, width, height = self.chips[number].place
        x, y = np.linspace(0, width, points), np.linspace(0, height, points)
        if not self.chips[number].layers:
            return self.on_plate(left + x, bottom + y)
        return _at(self.chip_modes[number], (width, height), x, y)

    @cached_property
    def peaks(self) -> np.ndarray:
        """Hottest point [K] of each chip's active face, of those looked at."""
        return np.array([self.on_chip(number).max() for number in range(len(self.chips))])


@dataclass(frozen=True)
class Contacts:
    """The chips' contacts: impedance [m2 K/W] of each of the plate's modes; of each contact the overlaps (plate modes, own modes) of
    cosines along x and y. A vector holds the modes of all contacts, one after the other."""

    impedance: np.ndarray
    overlaps: tuple[tuple[np.ndarray, np.ndarray], ...]

    @cached_property
    def counts(self) -> list[tuple[int, int]]:
        """Modes of each contact along x and y."""
        return [(x.shape[1], y.shape[1]) for x, y in self.overlaps]

    def parted(self, vector: np.ndarray) -> list[np.ndarray]:
        """A vector as the contacts' arrays (modes x, modes y)."""
        ends = np.cumsum([0, *(a * b for a, b in self.counts)])
        return [vector[start:end].reshape(count) for start, end, count in zip(ends[:-1], ends[1:], self.counts)]

    def rises(self, crossing: np.ndarray) -> np.ndarray:
        """The plate's rises in its own modes by what crosses the contacts, a vector."""
        heat = np.zeros(self.impedance.shape)
        for (x, y), q in zip(self.overlaps, self.parted(crossing)):
            heat += x @ q @ y.T
        return self.impedance * heat

    def under(self, plate_modes: np.ndarray) -> np.ndarray:
        """The plate's rises under the contacts, as a vector."""
        return joined([x.T @ plate_modes @ y for x, y in self.overlaps])


def joined(arrays: Sequence[np.ndarray]) -> np.ndarray:
    """Arrays as one vector."""
    return np.concatenate([np.zeros(0), *(each.ravel() for each in arrays)])


def cosine_solution(plate: CosinePlate, chips: Sequence[CosineChip], modes: int = MODES) -> CosineSolution:
    """Rises of chips on a plate above the coolant.

    Parameters
    ----------
    modes : int
        Cosines along each side of a chip for the heat that crosses its contact: besides the cosines that faces are shown in, all
        that is not exact.

    Raises
    ------
    ValueError
        If the heat does not settle.
    """
    contacts = _contacts(plate, chips, modes)
    made = joined([_made(chip, count) for chip, count in zip(chips, contacts.counts)])
    direct = contacts.impedance * _made_on_plate(plate, chips, contacts.impedance.shape)
    crossing, steps = _crossing(plate, chips, contacts, made, direct)
    plate_modes = direct + contacts.rises(crossing)
    under = contacts.parted(contacts.under(plate_modes))
    return CosineSolution(
        plate=plate,
        chips=tuple(chips),
        plate_modes=plate_modes,
        chip_modes=tuple(_chip_modes(*each) for each in zip(chips, contacts.parted(crossing), under)),
        crossing=tuple(contacts.parted(crossing)),
        steps=steps,
    )


def _contacts(plate: CosinePlate, chips: Sequence[CosineChip], modes: int) -> Contacts:
    least = [min((chip.place[2 + axis] for chip in chips), default=side) for axis, side in enumerate(plate.size)]
    width, height = (min(ceil(FINER * modes * side / small), MOST) for side, small in zip(plate.size, least))
    overlaps = []
    for chip in chips:
        own, sides = modes if chip.layers else 0, zip(plate.size, chip.place[:2], chip.place[2:], (width, height))
        along_x, along_y = (_overlaps(*each, own) for each in sides)
        overlaps.append((along_x, along_y))
    impedance = layer_impedance(*_wavenumbers(plate.size, (width, height)), plate.layers, plate.coefficient)
    return Contacts(impedance, tuple(overlaps))


def _crossing(
    plate: CosinePlate, chips: Sequence[CosineChip], contacts: Contacts, made: np.ndarray, direct: np.ndarray
) -> tuple[np.ndarray, int]:
    """Heat through all contacts, a vector, and the steps it took; ``direct`` are the plate's rises by what is made on it."""
    from scipy.sparse.linalg import LinearOperator, cg

    ports = [two_port(chip.layers, chip.place[2:], count) for chip, count in zip(chips, contacts.counts)]
    bottom, across = joined([port.bottom for port in ports]), joined([port.across for port in ports])
    sought = joined([_but_the_mean(count) for count in contacts.counts]) > 0
    mean = np.where(sought, 0.0, made)  # all of a chip's heat crosses its contact
    driving = np.where(sought, across * made - contacts.under(direct + contacts.rises(mean)), 0.0)
    near = joined([_plate_near(plate, chip, count) for chip, count in zip(chips, contacts.counts)])
    scale = np.where(sought, bottom + near, 1.0)
    taken: list[np.ndarray] = []

    def against(q: np.ndarray) -> np.ndarray:
        """Difference of temperature that heat through the contacts meets."""
        return np.where(sought, bottom * q + contacts.under(contacts.rises(q)), q)

    shape = (len(driving), len(driving))
    found, failed = cg(
        LinearOperator(shape, against),
        driving,
        rtol=TOLERANCE,
        maxiter=STEPS,
        M=LinearOperator(shape, lambda r: r / scale),
        callback=taken.append,
    )
    if failed:
        raise ValueError(f"the heat through the contacts did not settle in {STEPS} steps")
    return mean + found, len(taken)


def _but_the_mean(count: tuple[int, int]) -> np.ndarray:
    sought = np.ones(count)
    sought[:1, :1] = 0.0
    return sought


def _plate_near(plate: CosinePlate, chip: CosineChip, count: tuple[int, int]) -> np.ndarray:
    """What the plate is to a chip's modes, but for its rim: what the search is scaled by."""
    return layer_impedance(*_wavenumbers(chip.place[2:], count), plate.layers, plate.coefficient)


def _chip_modes(chip: CosineChip, crossing: np.ndarray, under: np.ndarray) -> np.ndarray:
    """Rises of a chip's active face in its own modes."""
    if not chip.layers:
        return under
    made = _made(chip, (ON_CHIP, ON_CHIP))
    port = two_port(chip.layers, chip.place[2:], made.shape)
    rises, low = port.top * made, tuple(slice(0, count) for count in crossing.shape)
    rises[low] -= port.across[low] * crossing
    straight = sum(layer.thickness / layer.conductivity[2] + layer.impedance_below for layer in chip.layers)
    rises[0, 0] = under[0, 0] + straight * made[0, 0]
    return rises


def two_port(layers: Sequence[Layer], size: tuple[float, float], count: tuple[int, int]) -> TwoPort:
    """How a rectangle's layers, from the active face on, answer heat in each of its modes (modes x, modes y).

    One layer, g = sqrt((kx lx^2 + ky ly^2) / kz): top and bottom coth(g t) / (kz g), across 1 / (kz g sinh(g t)). Two in contact
    share the heat between them.
    """
    whole = TwoPort(*np.zeros((3, *count)))
    for number, layer in enumerate(layers):
        own = _layer_port(layer, size, count)
        whole = own if number == 0 else _in_contact(whole, own)
        whole = TwoPort(whole.top, whole.across, whole.bottom + layer.impedance_below * _but_the_mean(count))
    return whole


def _layer_port(layer: Layer, size: tuple[float, float], count: tuple[int, int]) -> TwoPort:
    x, y = _wavenumbers(size, count)
    along_x, along_y, through = layer.conductivity
    decay = np.sqrt((along_x * x * x + along_y * y * y) / through)
    decay[:1, :1] = 1.0
    fading = np.exp(-decay * layer.thickness)  # the hyperbolic functions by what does not overflow
    bottom = (1 + fading**2) / (1 - fading**2) / (through * decay) * _but_the_mean(count)
    across = 2 * fading / (1 - fading**2) / (through * decay) * _but_the_mean(count)
    return TwoPort(bottom, across, bottom)


def _in_contact(one: TwoPort, other: TwoPort) -> TwoPort:
    """Layers one after the other; the interface between them is in the first one's bottom."""
    both = one.bottom + other.top
    both[:1, :1] = 1.0
    return TwoPort(
        one.top - one.across**2 / both, one.across * other.across / both, other.bottom - other.across**2 / both
    )


def _wavenumbers(size: Sequence[float], count: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """Of the modes along x (modes, 1) and along y (1, modes) [1/m]."""
    return pi / size[0] * np.arange(count[0])[:, None], pi / size[1] * np.arange(count[1])[None, :]


def _norms(side: float, count: int) -> np.ndarray:
    """What makes the cosines (count,) along a side of unit norm."""
    return np.sqrt(np.where(np.arange(count) > 0, 2.0, 1.0) / side)


def _overlaps(side: float, start: float, length: float, count: int, modes: int) -> np.ndarray:
    """Integrals (count, modes) of the cosines along the plate's side times those along a chip's, which begins at ``start``."""
    plate, chip = pi / side * np.arange(count)[:, None], pi / length * np.arange(modes)[None, :]
    parts = [
        np.cos(plate * start + k * length / 2) * np.sinc(k * length / (2 * pi)) for k in (plate + chip, plate - chip)
    ]
    return length / 2 * (parts[0] + parts[1]) * np.outer(_norms(side, count), _norms(length, modes))


def _cells(edges: np.ndarray, side: float, count: int) -> np.ndarray:
    """Mean of each cosine (cells, count) along a side over cells between edges [m]."""
    wavenumber, width = pi / side * np.arange(count), np.diff(edges)[:, None]
    middle = (edges[1:, None] + edges[:-1, None]) / 2
    return np.cos(wavenumber * middle) * np.sinc(wavenumber * width / (2 * pi)) * _norms(side, count)


def _made(chip: CosineChip, count: tuple[int, int]) -> np.ndarray:
    """Heat of a chip's map in its own modes."""
    return _cells(chip.x, chip.place[2], count[0]).T @ chip.watts.T @ _cells(chip.y, chip.place[3], count[1])


def _made_on_plate(plate: CosinePlate, chips: Sequence[CosineChip], count: tuple[int, int]) -> np.ndarray:
    """Heat of the maps that lie on the plate itself, in its modes."""
    heat = np.zeros(count)
    for chip in (chip for chip in chips if not chip.layers):
        left, bottom = chip.place[:2]
        columns, rows = _cells(chip.x + left, plate.size[0], count[0]), _cells(chip.y + bottom, plate.size[1], count[1])
        heat += columns.T @ chip.watts.T @ rows
    return heat


def _at(modes: np.ndarray, size: tuple[float, float], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Values (rows, columns) of a sum of cosines with coefficients (modes x, modes y) at x (columns,), y (rows,) [m]."""
    columns, rows = (
        np.cos(np.outer(at, pi / side * np.arange(count))) * _norms(side, count)
        for at, side, count in zip((x, y), size, modes.shape)
    )
    return rows @ modes.T @ columns.T
