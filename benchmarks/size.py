"""The engine from a hundred thousand to a million unknowns, beside general-purpose solvers: time, memory, iterations, accuracy.

    python benchmarks/size.py docs/size.md

Every run is a process of its own: one thread, same mesh, same order of unknowns, same residual. The others get the matrix of all
unknowns as the product's own products make it, which is the quickest way here; that time is in theirs. Needs pyamg and pypardiso.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import numpy as np
import plates
from speed import tiled

from plancha.fem.multigrid import Body, Multigrid
from plancha.fem.plan import plan_space
from plancha.fem.refinement import refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import Sheets, sheets_of
from plancha.fem.terms import Operator
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh

TIGHT = 1e-10  # what all are asked to leave of the right side's norm
Solve = Callable[[Sheets, np.ndarray], tuple[np.ndarray, int]]  # temperatures and iterations


@dataclass(frozen=True)
class Case:
    """A stack, and how often its first mesh is cut into four."""

    stack: Callable[[], Stack]
    cuts: int


def sheet() -> Stack:
    """One copper plate as a thin sheet, half of it heated."""
    heated = plates.source("source", (10e-3, 10e-3, 20e-3, 20e-3), 100.0)
    return plates.plate((40e-3, 40e-3), 3e-3, 390.0, 1000.0, [heated], sheet=True)


CASES = {
    "die, joint, plate": Case(partial(tiled, (3, 3)), 3),
    "the same, finer": Case(partial(tiled, (3, 3)), 4),
    "one sheet": Case(sheet, 5),
    "the same sheet, finer": Case(sheet, 6),
}


def plancha(sheets: Sheets, heat: np.ndarray) -> tuple[np.ndarray, int]:
    """The product's own way."""
    bodies = [Body(slab.pattern, slab.unknowns, slab.conduction.grain) for slab in sheets.slabs]
    factor = Multigrid(sheets.constant, bodies, sheets.space, np.arange(sheets.size))
    return factor.solve(heat, TIGHT), factor.steps


def pyamg_sa(sheets: Sheets, heat: np.ndarray) -> tuple[np.ndarray, int]:
    """Smoothed aggregation with conjugate gradients."""
    import pyamg

    residuals: list[float] = []
    hierarchy = pyamg.smoothed_aggregation_solver(whole(sheets))
    return hierarchy.solve(heat, tol=TIGHT, accel="cg", maxiter=300, residuals=residuals), len(residuals) - 1


def cholmod(sheets: Sheets, heat: np.ndarray) -> tuple[np.ndarray, int]:
    """Sparse Cholesky of the cvxopt wheel."""
    from plancha.fem.cholesky import Cholesky

    return Cholesky(whole(sheets)).solve(heat), 1


def pardiso(sheets: Sheets, heat: np.ndarray) -> tuple[np.ndarray, int]:
    """PARDISO of the pypardiso wheel."""
    from pypardiso import PyPardisoSolver
    from scipy.sparse import csr_matrix, triu

    solver = PyPardisoSolver(mtype=2)
    upper = csr_matrix(triu(whole(sheets)).tocsr())
    solver.factorize(upper)
    return solver.solve(upper, heat), 1


def whole(sheets: Sheets):
    """The matrix of all unknowns."""
    return sheets.constant.csr


WAYS: dict[str, Solve] = {"Plancha": plancha, "pyamg": pyamg_sa, "CHOLMOD": cholmod, "PARDISO": pardiso}


def measured(case: Case, way: str) -> dict[str, float]:
    """One run: from the mesh to temperatures."""
    stack = case.stack()
    mesh = plan_mesh(stack)
    for _ in range(case.cuts):
        mesh = refined(mesh)
    before = peak_memory()
    began, wall = time.process_time(), time.perf_counter()
    sheets = sheets_of(stack, plan_space(mesh), through_of(stack))
    heat = sheets.powers @ sheets.unit_loads
    rise, steps = WAYS[way](sheets, heat)
    seconds, wall = time.process_time() - began, time.perf_counter() - wall
    memory = peak_memory() - before
    left = heat - Operator(sheets.size, sheets.constant.terms) @ rise
    return {
        "unknowns": sheets.size,
        "seconds": seconds,
        "wall": wall,
        "bytes": memory / sheets.size,
        "steps": steps,
        "residual": float(np.linalg.norm(left) / np.linalg.norm(heat)),
        "peak": float(rise.max()),
    }


def peak_memory() -> float:
    """Bytes that this process has had at most."""
    return 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def in_a_process(case: str, way: str) -> dict[str, float] | None:
    """A run in a process of its own; None where it fails."""
    command = [sys.executable, __file__, "--case", case, "--way", way]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    return json.loads(done.stdout.splitlines()[-1]) if done.returncode == 0 else None


def table(repeats: int) -> list[str]:
    """The rows of the page: the quickest of some runs each."""
    rows = [
        "| case | unknowns | way | CPU s | over Plancha | bytes per unknown | steps | residual | peak rise K |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for case in CASES:
        own = 0.0
        for way in WAYS:
            runs = [run for run in (in_a_process(case, way) for _ in range(repeats)) if run is not None]
            if not runs:
                rows.append(f"| {case} | - | {way} | failed | - | - | - | - | - |")
                continue
            best = min(runs, key=lambda run: run["seconds"])
            own = own or best["seconds"]
            rows.append(
                f"| {case} | {best['unknowns']:,.0f} | {way} | {best['seconds']:.2f} | {best['seconds'] / own:.1f} | "
                f"{best['bytes']:.0f} | {best['steps']:.0f} | {best['residual']:.0e} | {best['peak']:.6f} |"
            )
            sys.stderr.write(rows[-1] + "\n")
    return rows


def main() -> None:
    """Run everything and write the page; or one case one way."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path, nargs="?")
    options.add_argument("--case", choices=CASES)
    options.add_argument("--way", choices=WAYS)
    options.add_argument("--repeats", type=int, default=2)
    given = options.parse_args()
    if given.case:
        sys.stdout.write(json.dumps(measured(CASES[given.case], given.way)) + "\n")
        return
    lines = [
        "# From a hundred thousand to a million unknowns",
        "",
        "Processor time of one thread from the mesh to the temperatures, assembly and set-up included; the quickest of",
        f"{given.repeats} runs, each in a process of its own. The other solvers get the matrix of all unknowns that Plancha's",
        "products make; Plancha itself never makes it. Bytes are the peak less what was there before the assembly. Quadratic in the",
        "plan; the layers quadratic through the thickness. Written by `python benchmarks/size.py docs/size.md`.",
        "",
        *table(given.repeats),
    ]
    given.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
