"""How long a trustworthy answer takes, beside a compiled general-purpose finite-element library at equal accuracy.

    pip install ngsolve
    python benchmarks/speed.py docs/speed.md

Both run in one process on one thread, after imports, meshing included; Plancha's time also includes its error estimate, the other
library's does not (it makes none). Seconds are the process's own processor time, which other programs disturb least. For each
target the quickest setting of either whose true error meets it counts. The library is NGSolve (LGPL), used here as a general solver
of -div(k grad T) = 0 with cubic tetrahedra. Whole commands run in processes of their own, from the start of Python to their end.
"""

import argparse
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import numpy as np
import plates

from plancha.fem.cosine import cosine_solution
from plancha.fem.cosine_stack import cosine_problem
from plancha.fem.findings import solve_with_estimate
from plancha.fem.spreading import isotropic_layer as layer
from plancha.fem.spreading import one_dimensional_resistance, series_maximum
from plancha.geometry.bodies import Joint, Stack
from plancha.geometry.power_map import PowerMap

REPEATS = 5
DEMO = str(Path(__file__).parents[1] / "examples" / "radar" / "study.toml")
SURROUNDINGS = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "LP_NUM_THREADS": "0",  # of Mesa's software renderer
    "PYTHONDONTWRITEBYTECODE": "",  # modules are kept compiled, as an installed program has them
}
COMMANDS = (  # what it is, its words, what is special about its surroundings, wall seconds asked
    ("the help of the command line", ["--help"], {}, 0.1),
    ("the demo without pictures", ["solve", DEMO, "--no-pictures"], {}, 1.0),
    ("the demo with pictures", ["solve", DEMO], {}, 2.5),
    ("the demo without pictures, its mesh made anew", ["solve", DEMO, "--no-pictures"], {"PLANCHA_CACHE": "off"}, None),
)
PROGRAM = ["-m", "plancha.app.cli"]
# Runs the program again and again in one process; what each run but the first took goes to the standard error.
AGAIN = """
import contextlib, sys, time
from plancha.app.cli import main
for number in range(int(sys.argv.pop(1)) + 1):
    began = time.process_time()
    with contextlib.suppress(SystemExit):
        main(sys.argv[1:])
    if number:
        print(time.process_time() - began, file=sys.stderr)
"""
MODES = 96
ACCURACIES = (0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0003, 0.0002, 0.0001)
SIZES = (8.0, 4.0, 2.0, 1.4, 1.0, 0.7, 0.5)  # finest triangle of the other library, in mm


@dataclass(frozen=True)
class Task:
    """One question with its exact answer: the product's stack and what it says, the other library's function of the finest size."""

    name: str
    stack: Stack
    quantity: int  # of estimate.QUANTITIES
    exact: float
    other: Callable[[float], float]
    targets: tuple[float, ...]


@dataclass(frozen=True)
class Best:
    """The quickest setting that meets a target: seconds, true error, setting; None where none did."""

    seconds: float
    error: float
    setting: float


def quickest(run: Callable[[float], float], settings: Sequence[float], exact: float, target: float) -> Best | None:
    """Median time of the quickest setting whose true relative error is within the target."""
    found = []
    for setting in settings:
        error = abs(run(setting) / exact - 1)
        if error <= target:
            times = []
            for _ in range(REPEATS):
                began = time.process_time()
                run(setting)
                times.append(time.process_time() - began)
            found.append(Best(float(np.median(times)), error, setting))
        if len(found) == 2:
            break
    return min(found, key=lambda best: best.seconds, default=None)


def one_source() -> Task:
    """40 x 40 x 3 mm copper, 10 x 10 mm source, h = 1000: spreading resistance by maximum."""
    place = (15e-3, 15e-3, 10e-3, 10e-3)
    stack = plates.plate((40e-3, 40e-3), 3e-3, 390.0, 1000.0, place)
    layers = [layer(3e-3, 390.0)]
    flat = one_dimensional_resistance((40e-3, 40e-3), layers, 1000.0)
    exact = series_maximum((40e-3, 40e-3), place, layers, 1000.0)[0] - flat
    return Task("one source", stack, 2, exact, lambda size: tetrahedra_one_source(size) - flat, (1e-3, 1e-4))


def tetrahedra_one_source(size: float) -> float:
    """Rise at the middle of the source, by cubic tetrahedra, K/W."""
    from netgen.occ import Axes, Box, Glue, OCCGeometry, Pnt, WorkPlane, Z
    from ngsolve import H1, BilinearForm, GridFunction, LinearForm, Mesh, ds, dx, grad

    spot = WorkPlane(Axes((15, 15, 0), n=Z)).Rectangle(10, 10).Face()
    whole = Glue([Box(Pnt(0, 0, 0), Pnt(40, 40, 3)), spot])
    for face in whole.faces:
        is_spot = abs(face.mass - 100) < 1e-6
        face.name = "source" if is_spot else "cooled" if face.center.z > 2.9 else "wall"
        if is_spot:
            face.maxh = size
    mesh = Mesh(OCCGeometry(whole).GenerateMesh(maxh=10, grading=0.7))
    space = H1(mesh, order=3)
    u, v = space.TnT()
    # Lengths in mm: k in W/mm/K, h in W/mm2/K.
    a = BilinearForm(0.390 * grad(u) * grad(v) * dx + 1e-3 * u * v * ds("cooled")).Assemble()
    f = LinearForm(0.01 * v * ds("source")).Assemble()
    t = GridFunction(space)
    t.vec.data = a.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * f.vec
    return float(t(mesh(20, 20, 0)))


def tiled(tile: tuple[int, int]) -> Stack:
    """Die 20 x 20 x 0.775 mm, joint 10 mm2 K/W, copper 80 x 80 x 3, h = 2000, 8 x 8 tiles with one five-fold, 150 W."""
    watts = np.ones((8, 8))
    watts[tile] = 5.0
    edges = np.linspace(0, 20e-3, 9)
    bodies = [
        plates.body("die", (30e-3, 30e-3, 20e-3, 20e-3), 0.775e-3, 148.0),
        plates.body("plate", (0, 0, 80e-3, 80e-3), 3e-3, 390.0),
    ]
    power = PowerMap(edges, edges, 150 * watts / watts.sum())
    source = plates.source("die", (30e-3, 30e-3, 20e-3, 20e-3), power, chain=(0, 1), joints=(0,))
    return plates.stack(bodies, [source], [plates.cooled(2000.0, of_body=1)], [Joint("joint", 0, 1, 10e-6)])


def plancha(task: Task) -> Callable[[float], float]:
    """The product's answer as a function of the accuracy asked for."""
    return lambda accuracy: float(
        solve_with_estimate(replace(task.stack, accuracy=accuracy)).estimate.values[0, task.quantity]
    )


def tile_rows() -> list[str]:
    """Times to a peak rise within 0.1 % for the tile inside and in the slowest of all 64 places, beside cosines, which share neither
    mesh nor functions with the elements."""
    seconds, errors = np.zeros((8, 8)), np.zeros((8, 8))
    for row in range(8):
        for column in range(8):
            stack = tiled((row, column))
            true = cosine_solution(*cosine_problem(stack), modes=MODES).peaks[0]
            times = []
            for _ in range(3):
                began = time.process_time()
                found = solve_with_estimate(replace(stack, accuracy=1e-3)).estimate.values[0, 0]
                times.append(time.process_time() - began)
            seconds[row, column], errors[row, column] = np.median(times), abs(found / true - 1)
    inside, worst = seconds[3, 3], np.unravel_index(int(np.argmax(seconds)), seconds.shape)
    return [
        "",
        "## A hot tile on a die, peak rise to 0.1 % by the tool's own estimate",
        "",
        f"| tile | seconds | difference from {MODES} x {MODES} cosines |",
        "|---|---|---|",
        f"| inside (row 4, column 4) | {inside:.3f} | {100 * errors[3, 3]:.4f} % |",
        f"| slowest of 64 (row {worst[0] + 1}, column {worst[1] + 1}) | {seconds[worst]:.3f} | {100 * errors[worst]:.4f} % |",
        f"| median of 64 | {np.median(seconds):.3f} | largest {100 * errors.max():.4f} % |",
    ]


def cost(words: Sequence[str], surroundings: dict[str, str]) -> tuple[float, float]:
    """Wall and processor seconds of a Python process with these words: the medians of several, after one that is not counted."""
    found = []
    for _ in range(1 + REPEATS):
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run([sys.executable, *words], env=surroundings, stdout=subprocess.DEVNULL, check=True)
        wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
        found.append((wall, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime))
    wall, processor = np.median(found[1:], axis=0)
    return float(wall), float(processor)


def loaded_cost(words: Sequence[str], surroundings: dict[str, str]) -> float:
    """Processor seconds of the program with these words in a process that has loaded all it needs: the median of several."""
    command = [sys.executable, "-c", AGAIN, str(REPEATS), *words]
    done = subprocess.run(command, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=True)
    return float(np.median([float(line) for line in done.stderr.split()]))


def command_rows() -> list[str]:
    """Whole commands, from the start of Python, and once all is loaded."""
    rows = [
        "",
        "## Whole commands",
        "",
        f"On one thread, medians of {REPEATS}; the mesh is kept from an earlier run, but in the last row. First from the start of",
        "Python to its end; then once all that the command needs is loaded: the same again in one process.",
        "",
        "| command | asked s | wall s | processor s | processor s once loaded |",
        "|---|---|---|---|---|",
    ]
    with tempfile.TemporaryDirectory() as folder:
        for name, words, special, asked in COMMANDS:
            whole = [*words, "-o", str(Path(folder) / "out")] if "solve" in words else words
            surroundings = os.environ | SURROUNDINGS | {"PLANCHA_CACHE": str(Path(folder) / "kept")} | special
            wall, processor = cost([*PROGRAM, *whole], surroundings)
            cells = [f"{seconds:.2f}" for seconds in (wall, processor, loaded_cost(whole, surroundings))]
            rows.append("| " + " | ".join([name, "-" if asked is None else f"{asked:.1f}", *cells]) + " |")
    return rows


def main() -> None:
    """Run everything and write the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path)
    given = options.parse_args()
    from ngsolve import SetNumThreads

    SetNumThreads(1)
    solve_with_estimate(one_source().stack)
    lines = [
        "# How long a trustworthy answer takes",
        "",
        f"Processor time of one thread of {platform.machine()}, Python {platform.python_version()}, after imports, mesh included; "
        "Plancha's time includes",
        "its error estimate. The other library is NGSolve with cubic tetrahedra, the quickest of its meshes that meets the",
        "target; it makes no estimate.",
        "Written by `python benchmarks/speed.py docs/speed.md`.",
        "",
        "## Spreading resistance by maximum, 10 x 10 mm on 40 x 40 x 3 mm copper, h = 1000 W/m2/K",
        "",
        "| true error within | Plancha s | its true error | NGSolve s | its true error | ratio |",
        "|---|---|---|---|---|---|",
    ]
    task = one_source()
    for target in task.targets:
        own = quickest(plancha(task), ACCURACIES, task.exact, target)
        other = quickest(task.other, SIZES, task.exact, target)
        cells = [f"{100 * target:g} %"]
        for best in (own, other):
            cells += ["-", "-"] if best is None else [f"{best.seconds:.3f}", f"{100 * best.error:.4f} %"]
        cells.append(f"{own.seconds / other.seconds:.2f}" if own and other else "-")
        lines.append("| " + " | ".join(cells) + " |")
    lines += tile_rows() + command_rows()
    given.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
