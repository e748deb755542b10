"""What one kind of fins does to a coolant that passes between them: resistance to the flow, and coefficient at a velocity."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from plancha.fem.convection import NUSSELT, PIN_NUSSELT, local_mean
from plancha.fem.fin_efficiency import fin_efficiency, fin_parameter, pin_parameter
from plancha.fem.friction import (
    FRICTION,
    LOSSES,
    PIN_FRICTION,
    core_pressure_drop,
    narrowest_section,
    pin_bank_pressure_drop,
)
from plancha.fem.laws import Law, outside
from plancha.geometry.air import Fins, Flow
from plancha.geometry.fluids import Fluid

Drop = Callable[[np.ndarray], np.ndarray]  # pressure drop [Pa] over velocity [m/s]


@dataclass(frozen=True)
class Gaps:
    """Fins of one kind and the coolant between them."""

    fins: Fins
    fluid: Fluid
    flow: Flow

    @property
    def diameter(self) -> float:
        """Length on which Reynolds and Nusselt numbers stand [m]: twice the gap, or the pin's diameter."""
        return self.fins.thickness if self.fins.is_pin else 2 * self.fins.gap

    def diameter_for(self, law: Law) -> float:
        """The same for a law: of ducts four times area over perimeter, 2 b H/(b + H)."""
        return self.diameter / (1 + self.aspect) if law.for_ducts else self.diameter

    @property
    def open_share(self) -> float:
        """Free over frontal area, across the flow, at the fins' height."""
        if not self.fins.is_pin:
            return self.fins.gap / self.fins.pitch
        return 1 / float(narrowest_section(self._across, self._along, self.fins.is_staggered))

    @property
    def aspect(self) -> float:
        """Short over long side of a gap."""
        gap, height = self.fins.gap, self.fins.height
        return min(gap, height) / max(gap, height)

    @property
    def _across(self) -> float:
        return self.fins.across / self.fins.thickness

    @property
    def _along(self) -> float:
        return self.fins.pitch / self.fins.thickness

    @property
    def _pins(self) -> str:
        return "pins staggered" if self.fins.is_staggered else "pins in line"

    @property
    def convection(self) -> Law:
        """The law of convection that holds here."""
        return PIN_NUSSELT[self._pins] if self.fins.is_pin else NUSSELT[self.flow.law]

    @property
    def friction(self) -> Law:
        """The law of friction that holds here."""
        return PIN_FRICTION[self._pins] if self.fins.is_pin else FRICTION[self.flow.friction]

    def reynolds(self, velocity: np.ndarray, diameter: float | None = None) -> np.ndarray:
        """Reynolds number at velocities [m/s] in the gaps, on a diameter [m]; on ``diameter`` if left out."""
        return self.fluid.density * np.asarray(velocity) * (diameter or self.diameter) / self.fluid.viscosity

    def drop(self, length: float) -> Drop:
        """Friction [Pa] over a length [m], as a function of the velocity [m/s] in the gaps; entry and exit are not in it."""
        rho, mu = self.fluid.density, self.fluid.viscosity
        if self.fins.is_pin:
            rows = max(length / self.fins.pitch, 1e-3)
            return lambda v: pin_bank_pressure_drop(
                v, rho, mu, self.fins.thickness, rows, self._across, self._along, self.friction
            )
        diameter = self.diameter_for(self.friction)
        return lambda v: core_pressure_drop(v, rho, mu, diameter, length, 1.0, 1.0, self.friction, aspect=self.aspect)

    def coefficient(self, velocity: np.ndarray, start: np.ndarray, stop: np.ndarray, length: float) -> np.ndarray:
        """Coefficient [W/m2/K] on the fins' surface between stations [m] of a passage of a whole length [m], on the
        local mean temperature.

        ``velocity`` [m/s] is that in the gaps; where nothing flows, nothing is exchanged.
        """
        velocity, start, stop = np.broadcast_arrays(velocity, start, stop)
        found, moving = np.zeros(velocity.shape), velocity > 0
        if self.flow.coefficient is not None:
            return np.where(moving, self.flow.coefficient, 0.0)
        if moving.any():
            nusselt = self._nusselt(velocity[moving], start[moving], stop[moving], length)
            found[moving] = (
                self.flow.enhancement * nusselt * self.fluid.conductivity / self.diameter_for(self.convection)
            )
        return found

    def _nusselt(self, velocity: np.ndarray, start: np.ndarray, stop: np.ndarray, length: float) -> np.ndarray:
        diameter, prandtl = self.diameter_for(self.convection), self.fluid.prandtl
        reynolds = self.reynolds(velocity, diameter)
        if self.fins.is_pin:
            return self.convection.function(
                reynolds=reynolds,
                prandtl=prandtl,
                rows=max(length / self.fins.pitch, 1.0),
                pitch_normal=self._across,
                pitch_parallel=self._along,
            )
        return local_mean(self.convection, start, stop, diameter, reynolds, prandtl, self.aspect)

    def warnings(self, velocity: np.ndarray, length: float) -> list[str]:
        """Where the laws are used outside their ranges, in sentences with the numbers."""
        moving = np.asarray(velocity)[np.asarray(velocity) > 0]
        if not moving.size:
            return []
        ends = np.array([moving.min(), moving.max()])
        ratio = {} if self.fins.is_pin else {"length_ratio": length / self.diameter, "aspect": self.aspect}
        values: dict[str, Any] = {"reynolds": self.reynolds(ends), "prandtl": self.fluid.prandtl, **ratio}
        laws = [self.friction] if self.flow.coefficient is not None else [self.convection, self.friction]
        return [text for law in laws for text in outside(law, **values)]


def efficiency(fins: Fins, conductivity: float, coefficient: np.ndarray) -> np.ndarray:
    """Fin efficiency (...) at coefficients [W/m2/K] (...), insulated tips; 1 where nothing is exchanged."""
    h = np.asarray(coefficient, float)
    parameter = pin_parameter if fins.is_pin else fin_parameter
    found = np.ones(h.shape)
    found[h > 0] = fin_efficiency(parameter(h[h > 0], conductivity, fins.thickness), fins.height)
    return found


def film_on_base(fins: Fins, conductivity: float, coefficient: np.ndarray) -> np.ndarray:
    """Coefficient of a bank per area of its base [W/m2/K] (...), on the local temperature of the coolant: bare base and fins."""
    h = np.asarray(coefficient, float)
    return h * (1 - fins.solid_share + fins.surface * fins.height * efficiency(fins, conductivity, h))


def end_losses(flow: Flow, share_in: float, share_out: float) -> tuple[float, float]:
    """Coefficients on the dynamic head inside, of contraction at entry and enlargement at exit, by free over frontal area."""
    form = LOSSES[flow.end_losses]
    return float(form.contraction(np.asarray(share_in))), float(form.expansion(np.asarray(share_out)))
