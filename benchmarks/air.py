"""What it costs to let the air warm up, how finely it is cut, and how far fins as a film differ from fins as a block.

    python benchmarks/air.py docs/air.md

Seconds are the process's own processor time on one thread, the median of three, after imports and after the mesh: operators, factor
and solve. The other side of the ratio is the same fins with their air held at the inlet's temperature: one cell of one coefficient,
no unknowns for the air.
"""

import argparse
import os
import platform
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import numpy as np
import scipy.sparse as sp
from finned_array import finned

from plancha.fem import coupled, lanes, side_entry, through_flow
from plancha.fem.air_flow import FlowState, flow_states
from plancha.fem.cells import CellGrid
from plancha.fem.cholesky import Cholesky
from plancha.fem.components import component_states
from plancha.fem.coolant import Network
from plancha.fem.findings import solve_stack
from plancha.fem.plan import PlanSpace, plan_space
from plancha.fem.resolution import through_of
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import solve
from plancha.fem.terms import Operator
from plancha.fem.walls import streams_of
from plancha.fem.way import Way
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh

REPEATS = 3
NODES = 20_000
ALLOWED = 1.5  # times the seconds with the air held
CUTS = ("STATIONS", "MOST_LANES", "COLUMNS", "LEVELS")  # how finely a coolant is cut, in fem/lanes.py
PLATE = {"size": ["100 mm", "80 mm"]}
CHIP = {"at": ["38 mm", "30 mm"], "size": ["24 mm", "20 mm"], "power": "280 W"}
RATE = {"rate": "12 l/s"}
HUGE = {"rate": "90 m^3/s", "coefficient": "70 W/m^2/K"}  # 280 W warm it by 3 mK
TOP = {"entry": "top", "side": None}
BEYOND = {"at": ["40 mm", "0 mm"], "size": ["100 mm", "80 mm"]}
THROUGH = {"entry": "through", "side": "tips"}
POCKET = {"patch": [{"center": ["50 mm", "40 mm"], "diameter": "22 mm", "height": "15 mm"}], "tip_gap": "3 mm"}
FILM = {"described_as": "film"}


def study(fins: dict[str, Any], flow: dict[str, Any], **plate: Any) -> Stack:
    """The 100 x 80 mm plate with a chip of 280 W and the worked array's fins."""
    return finned(Path(), fins, flow, PLATE | plate, (CHIP,))


ENTRIES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "side entry, block": ({}, RATE),
    "side entry, film": (FILM, RATE),
    "side entry, a pocket and a tip gap": (POCKET, RATE),
    "top entry, block": ({}, RATE | TOP),
    "top entry, film": (FILM, RATE | TOP),
    "through flow, block": (BEYOND, RATE | THROUGH),
}


def space_of(stack: Stack, nodes: int = NODES) -> PlanSpace:
    """The stack's plan space, the largest triangle such that it has about so many nodes."""
    size, mesh = 4e-3, None
    for _ in range(12):
        mesh = plan_mesh(replace(stack, mesh_size=size))
        count = len(plan_space(mesh).nodes)
        if abs(count / nodes - 1) < 0.08:
            break
        size *= float(np.clip(np.sqrt(count / nodes), 0.5, 2.0))
    return plan_space(mesh)


def seconds(run: Callable[[], object]) -> float:
    """Median processor time of some runs, after one that does not count."""
    run()
    times = []
    for _ in range(REPEATS):
        began = time.process_time()
        run()
        times.append(time.process_time() - began)
    return float(np.median(times))


def one_cell(state: FlowState, stack: Stack) -> FlowState:
    """A flow with one cell over its bank, of the mean coefficient, whose air no heat can warm."""
    (way,) = state.ways
    left, bottom, right, top = stack.banks[way.bank].outline.bounds
    levels = len(way.levels) - 1
    taking = way.coefficient[way.coefficient > 0]
    still, plenty = sp.csr_array((levels, levels)), np.full(levels, 1e12)
    grid = CellGrid(np.array([left, right]), np.array([bottom, top]), np.array([[0]]))
    held = Way(
        way.bank,
        grid,
        way.levels,
        np.full(levels, taking.mean()),
        np.ones(levels),
        np.zeros(levels, int),
        still,
        plenty,
        plenty,
        0.0,
        False,
        1.0,
    )
    return replace(state, ways=(held,), network=Network(state.flow.inlet, still, plenty, plenty))


def held_air(stack: Stack, space: PlanSpace) -> np.ndarray:
    """Temperatures of the solids with the air held at the inlet's: operators, factor, one solve."""
    sheets = sheets_of(replace(stack, flows=()), space, through_of(stack))
    states = [one_cell(state, stack) for state in flow_states(stack)]
    streams = streams_of(stack, space, sheets.slabs, states, sheets.solid, sheets.solid)
    walls = tuple(term for stream in streams for wall in stream.walls for term in wall.terms)
    matrix = Operator(sheets.size, walls, base=sheets.constant).csr
    heat = sheets.powers @ sheets.unit_loads
    for stream in streams:
        heat = heat + stream.exchange.sum(axis=0) * stream.network.inlet
    return Cholesky(matrix).solve(heat)


@contextmanager
def counted_steps() -> Iterator[list[int]]:
    """One entry for every step between solids and coolants meanwhile."""
    steps: list[int] = []
    own = coupled.settled

    def counting(times: coupled.Step, wanted: np.ndarray, tight: float, lead: coupled.Step) -> np.ndarray:
        return own(times, wanted, tight, lambda left: (steps.append(1), lead(left))[1])

    coupled.settled = counting
    try:
        yield steps
    finally:
        coupled.settled = own


def ratio_row(name: str) -> tuple[str, float]:
    """Seconds with warming and with held air, their ratio, and the steps between solids and coolant."""
    stack = study(*ENTRIES[name])
    space = space_of(stack)

    def warming():
        return solve(sheets_of(stack, space, through_of(stack)))

    with counted_steps() as steps:
        size = warming().sheets.size
    one, other = seconds(warming), seconds(lambda: held_air(stack, space))
    cells = f"{len(space.nodes)} | {size} | {one:.2f} | {other:.2f} | **{one / other:.2f}** | {len(steps)}"
    return f"| {name} | {cells} |", one / other


def peak_rise(stack: Stack) -> float:
    """Largest peak over the reference [K], on a mesh of the product's own, once refined."""
    return component_states(solve_stack(stack))[0].peak.value - stack.reference


@contextmanager
def cut(factor: float):
    """Coolants cut by a factor more finely."""
    before = {name: getattr(lanes, name) for name in CUTS}
    _set({name: round(factor * count) for name, count in before.items()})
    try:
        yield
    finally:
        _set(before)


def _set(counts: dict[str, int]) -> None:
    for name, count in counts.items():
        for module in (lanes, side_entry, through_flow):
            if hasattr(module, name):
                setattr(module, name, count)


def refinement_row(name: str) -> str:
    """Peak rise as the coolant is cut, half as finely and twice."""
    stack, rises = study(*ENTRIES[name]), []
    for factor in (0.5, 1.0, 2.0):
        with cut(factor):
            rises.append(peak_rise(stack))
    half, own, double = rises
    return f"| {name} | {own:.3f} | {100 * (half / own - 1):+.3f} % | {100 * (double / own - 1):+.3f} % |"


def film_row(name: str, **plate: Any) -> str:
    """Peak and mean rise as a block, and by how much a film is off."""
    block, film = (component_states(solve_stack(study(fins, HUGE, **plate)))[0] for fins in ({}, FILM))
    peak, mean = (
        [each - 298.15 for each in pair] for pair in ((block.peak.value, film.peak.value), (block.mean, film.mean))
    )
    return (
        f"| {name} | {peak[0]:.2f} | {peak[1]:.2f} | **{100 * (peak[1] / peak[0] - 1):+.1f} %** "
        f"| {100 * (mean[1] / mean[0] - 1):+.1f} % |"
    )


def page() -> list[str]:
    """The page's lines."""
    # Each in a process of its own: what the one before left of memory slows the next.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), max_tasks_per_child=1) as alone:
        rows = list(alone.map(ratio_row, ENTRIES))
    worst = max(ratio for name, (_, ratio) in zip(ENTRIES, rows) if "film" not in name)
    return [
        "# Air that warms up: what it costs, how finely it is cut, block or film",
        "",
        "Copper plate 100 x 80 x 3 mm (390 W/m/K), fins 25 mm high, 0.4 mm thick, 2 mm apart (200 W/m/K), 280 W on 24 x 20 mm;",
        "invented.",
        f"Processor time of one thread of {platform.machine()}, Python {platform.python_version()}, after imports and mesh.",
        "Written by `python benchmarks/air.py docs/air.md`.",
        "",
        "## Seconds to solve solids and air together",
        "",
        "Operators, factor and solve, beside the same with the air held at the inlet's temperature, each way in its own process.",
        "Steps are those of the search",
        f"between solids and coolant. Asked of fins as a block: a ratio of {ALLOWED} at most; worst of them here **{worst:.2f}**.",
        "",
        "| way of the air, 12 l/s | plan nodes | unknowns | s, air warms up | s, air held | ratio | steps |",
        "|---|---|---|---|---|---|---|",
        *(row for row, _ in rows),
        "",
        "## Peak rise as the air is cut otherwise",
        "",
        f"A lane has {lanes.STATIONS} cells and there are up to {lanes.MOST_LANES} lanes; a through flow has {lanes.COLUMNS} columns "
        f"each way with {lanes.LEVELS} levels.",
        "",
        "| way of the air, 12 l/s | peak rise, K | half as fine | twice as fine |",
        "|---|---|---|---|",
        *(refinement_row(name) for name in ENTRIES),
        "",
        "## Fins as a film beside fins as a block",
        "",
        "Coefficient 70 W/m2/K on the fins, air that stays at its inlet. A film has the fins' efficiency but lets no heat run along",
        "them. A block stands for real fins within 0.3 % (`tests/published/test_finned_plates.py`, against every fin resolved).",
        "",
        "| base | peak rise, K, block | film | film is off by | mean of the chip |",
        "|---|---|---|---|---|",
        film_row("copper, 3 mm"),
        film_row("copper, 1.5 mm", thickness="1.5 mm"),
        film_row("copper, 6 mm", thickness="6 mm"),
        film_row("aluminium (200 W/m/K), 3 mm", material={"conductivity": "200 W/m/K"}),
    ]


def main() -> None:
    """Run everything and write the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path)
    given = options.parse_args()
    given.page.write_text("\n".join(page()) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
