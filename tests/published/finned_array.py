"""Small studies of finned plates as a user would write them, invented; the array of fins is that of the worked numbers C4.7.

C4.7 (derived independently): air of 1.184 kg/m3, 1.845e-5 Pa s, 0.02625 W/m/K, 1006 J/kg/K at 4 m/s in 29 gaps of 1.6 mm between
fins of 0.4 mm, 25 mm high and 60 mm long, 200 W/m/K.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from plancha.fem.plan import plan_space
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, solve
from plancha.geometry.bodies import Stack
from plancha.geometry.fluids import Fluid
from plancha.geometry.grading import plan_mesh
from plancha.geometry.stack import stack_of
from plancha.geometry.study import Study

WORKED_AIR = Fluid(density=1.184, viscosity=1.845e-5, conductivity=0.02625, heat_capacity=1006.0)
FINS = {
    "form": "plate fins",
    "along": "x",
    "pitch": "2 mm",
    "thickness": "0.4 mm",
    "height": "25 mm",
    "material": {"conductivity": "200 W/m/K"},
}
FLOW = {"name": "air", "entry": "side", "side": "left", "fluid": "air", "rate": "4.64 l/s"}
PLATE = {"size": ["60 mm", "58 mm"], "thickness": "3 mm", "material": {"conductivity": "390 W/m/K"}}
CHIP = {
    "name": "chip",
    "at": ["35 mm", "24 mm"],
    "size": ["12 mm", "10 mm"],
    "limit": "none",
    "power": "80 W",
    "layers": [],
}

Table = Mapping[str, Any]
EMPTY: Table = {}


def finned(
    folder: Path,
    fins: Table | tuple[Table, ...] = (),
    flow: Table | tuple[Table, ...] = (),
    plate: Table = EMPTY,
    chips: tuple[Table, ...] | None = None,
    **more: Any,
) -> Stack:
    """The stack of the array on its plate, each table with what the arguments change (None leaves a key out).

    ``chips`` stand in place of the one chip.
    """
    banks = [_told(FINS | dict(each)) for each in (fins if isinstance(fins, tuple) and fins else (fins,))]
    flows = [_told(FLOW | dict(each)) for each in (flow if isinstance(flow, tuple) and flow else (flow,))]
    table = {
        "title": "fins on a plate (invented)",
        "ambient": "25 degC",
        "plate": [PLATE | dict(plate)],
        "component": [CHIP] if chips is None else [CHIP | dict(chip) for chip in chips],
        "fins": banks,
        "flow": flows,
    }
    return stack_of(Study.model_validate(table | more), folder)


def _told(table: Table) -> Table:
    """What is None is left out."""
    return {key: value for key, value in table.items() if value is not None}


def quick(stack: Stack) -> Solution:
    """A solution on a coarse mesh, for what holds on any mesh."""
    return solve(sheets_of(stack, plan_space(plan_mesh(stack)), through_of(stack)))


def at_inlet(stack: Stack) -> Stack:
    """The stack with the coolants' properties at their inlets, whatever heat they take."""
    return replace(stack, flows=tuple(replace(flow, heat=0.0) for flow in stack.flows))
