"""The engine from a hundred thousand to a million unknowns, beside general-purpose solvers: time, memory, iterations, accuracy.

    pip install pyamg pypardiso ngsolve
    python benchmarks/size.py docs/size.md

Every run is a process of its own: one thread, same triangles, same order of functions. pyamg, CHOLMOD and PARDISO get the matrix of
all unknowns as the product's own products make it, which is the quickest way here; that time is in theirs. For one sheet CHOLMOD is
also timed on the matrix that scikit-fem assembles. NGSolve assembles and solves by itself (`compiled.py`).
"""

import argparse
import importlib
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
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import compiled
import linear
import numpy as np
import plates
import scipy.sparse as sp
from speed import tiled

from plancha.fem import terms
from plancha.fem.cholesky import Cholesky
from plancha.fem.columns import bodies_of
from plancha.fem.multigrid import Multigrid
from plancha.fem.plan import plan_space
from plancha.fem.refinement import first_mesh, refined
from plancha.fem.resolution import through_of
from plancha.fem.sheets import Sheets, sheets_of
from plancha.fem.solve import solve
from plancha.fem.terms import Operator, Part
from plancha.geometry.bodies import Stack
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.mesh import PlanMesh, inside
from plancha.geometry.study_file import read_study

TIGHT = 1e-10  # what all are asked to leave of the right side's norm
RUN = dict[str, float]


@dataclass(frozen=True)
class Case:
    """A stack, how often its first mesh is cut into four, how much finer that is than the product's, and whether functions are linear
    on half-sized triangles."""

    stack: Callable[[], Stack]
    cuts: int
    finer: float
    linear: bool = False


def sheet() -> Stack:
    """One copper plate as a thin sheet, half of it heated."""
    heated = plates.source("source", (10e-3, 10e-3, 20e-3, 20e-3), 100.0)
    return plates.plate((40e-3, 40e-3), 3e-3, 390.0, 1000.0, [heated], sheet=True)


EXAMPLES = Path(__file__).parents[1] / "examples"
STUDIES = {
    "radar": "16 components on a plate",
    "sic_module": "direct-bonded copper, six chips",
    "inlaid_base": "patches, solder voids",
    "laser_bar": "k(T), sub-layers",
    "handheld_graphite": "natural convection, graphite, long triangles in narrow frames",
    "layered_chamber": "a chamber's layers, two heat pipes",
    "cold_plate": "fins of channels, a coolant's lanes",
    "side_blower": "fins, air's lanes, a fan",
    "short_board": "fins, air's lanes, three heat pipes, patches",
}
FEWEST, MOST = 500, 500_000  # unknowns between which steps are told
RIGHT_SIDES = 4  # of one problem, where processors are compared
LAYERS = partial(tiled, (3, 3))
CASES = {
    "die, joint, plate": Case(LAYERS, 3, 1.05),
    "the layers, finer": Case(LAYERS, 4, 1.1),
    "linear layers": Case(LAYERS, 3, 1.05, linear=True),
    "linear layers, finer": Case(LAYERS, 4, 1.1, linear=True),
    "one sheet": Case(sheet, 5, 1.03),
    "the sheet, finer": Case(sheet, 6, 1.03),
}


def mesh_of(case: Case, stack: Stack) -> PlanMesh:
    """A case's mesh."""
    mesh = plan_mesh(stack, case.finer)
    for _ in range(case.cuts):
        mesh = refined(mesh)
    return mesh


@dataclass(frozen=True)
class Answer:
    """Temperatures, steps, and of an iteration its seconds and the bytes that its products on the finest mesh move at least."""

    rise: np.ndarray
    steps: int
    solving: float = np.nan
    moved: float = np.nan


def factor_of(sheets: Sheets) -> Multigrid:
    """What the product solves with."""
    return Multigrid(sheets.constant, bodies_of(sheets.slabs), sheets.space, np.arange(sheets.size))


def plancha(sheets: Sheets, heat: np.ndarray) -> Answer:
    """The product's own way."""
    factor = factor_of(sheets)
    began = time.process_time()
    rise = factor.solve(heat, TIGHT)
    solving = time.process_time() - began
    finest = factor.levels[0]
    exact, quick = (sum(map(_bytes, parts)) for parts in (finest.exact, finest.quick))
    in_cycles = 2 * finest.relaxations * factor.steps + finest.relaxations - 1
    return Answer(rise, factor.steps, solving, (2 + factor.steps) * exact + in_cycles * quick)


def _bytes(part: Part) -> float:
    """What one product moves at least: each matrix as often as it is taken, a vector in and a vector out of each."""
    return float(
        sum(each.data.nbytes + each.indices.nbytes + 2 * each.data.itemsize * each.shape[0] for each in part.matrices)
    )


def whole_matrix(sheets: Sheets) -> sp.csr_array:
    """The matrix of all unknowns, without entries that are nothing."""
    matrix = sheets.constant.csr
    matrix.eliminate_zeros()
    return matrix


def pyamg_sa(sheets: Sheets, heat: np.ndarray) -> Answer:
    """Smoothed aggregation with conjugate gradients."""
    import pyamg

    residuals: list[float] = []
    hierarchy = pyamg.smoothed_aggregation_solver(whole_matrix(sheets))
    rise = hierarchy.solve(heat, tol=TIGHT, accel="cg", maxiter=300, residuals=residuals)
    return Answer(rise, len(residuals) - 1)


def cholmod(sheets: Sheets, heat: np.ndarray) -> Answer:
    """Sparse Cholesky of the cvxopt wheel."""
    return Answer(Cholesky(whole_matrix(sheets)).solve(heat), 1)


def pardiso(sheets: Sheets, heat: np.ndarray) -> Answer:
    """PARDISO of the pypardiso wheel."""
    from pypardiso import PyPardisoSolver
    from scipy.sparse import csr_matrix, triu

    solver = PyPardisoSolver(mtype=2)
    upper = csr_matrix(triu(whole_matrix(sheets)).tocsr())
    solver.factorize(upper)
    return Answer(solver.solve(upper, heat), 1)


WITH_OUR_MATRIX: dict[str, Callable[[Sheets, np.ndarray], Answer]] = {
    "Plancha": plancha,
    "pyamg": pyamg_sa,
    "CHOLMOD": cholmod,
    "PARDISO": pardiso,
}
COMPILED = {"NGSolve, sparse Cholesky": "direct", "NGSolve, BDDC": "bddc"}
ASSEMBLED = "scikit-fem, CHOLMOD"  # one sheet alone
LIBRARIES = {"pyamg": ("pyamg",), "PARDISO": ("pypardiso",), **dict.fromkeys(COMPILED, ("ngsolve", "netgen.meshing"))}
WAYS = (*WITH_OUR_MATRIX, ASSEMBLED, *COMPILED)


def measured(case: Case, way: str) -> RUN:
    """One run: from the mesh to temperatures."""
    for name in ("skfem", "cvxopt.cholmod", "scipy.sparse.csgraph", *LIBRARIES.get(way, ())):
        importlib.import_module(name)  # neither time nor memory of imports counts
    stack = case.stack()
    mesh = mesh_of(case, stack)
    if way in COMPILED:
        return by_ngsolve(stack, refined(mesh) if case.linear else mesh, way, case.linear)
    return by_scikit_fem(stack, mesh) if way == ASSEMBLED else by_our_matrix(stack, mesh, way, case.linear)


def by_our_matrix(stack: Stack, mesh: PlanMesh, way: str, is_linear: bool) -> RUN:
    """Assembled by the product, solved one way."""
    if is_linear:
        linear.use()
    before = peak_memory()
    began, wall = time.process_time(), time.perf_counter()
    through = [linear.THROUGH] * len(stack.bodies) if is_linear else through_of(stack)
    sheets = sheets_of(stack, plan_space(mesh), through)
    heat = linear.heat(sheets, stack) if is_linear else sheets.powers @ sheets.unit_loads
    answer = WITH_OUR_MATRIX[way](sheets, heat)
    seconds, wall = time.process_time() - began, time.perf_counter() - wall
    memory = peak_memory() - before
    left = heat - Operator(sheets.size, sheets.constant.terms) @ answer.rise
    return {
        "unknowns": sheets.size,
        "seconds": seconds,
        "wall": wall,
        "bytes": memory / sheets.size,
        "steps": answer.steps,
        "residual": float(np.linalg.norm(left) / np.linalg.norm(heat)),
        "peak": float(answer.rise.max()),
        "reached": answer.moved / answer.solving / bandwidth(),
    }


def by_scikit_fem(stack: Stack, mesh: PlanMesh) -> RUN:
    """One sheet, assembled by scikit-fem."""
    from skfem import Basis, BilinearForm, ElementTriP2, LinearForm, MeshTri
    from skfem.helpers import dot, grad

    body, source, h = stack.bodies[0], stack.sources[0], float(stack.films[0].coefficient)
    k = body.material.conductivity[0] * body.thickness
    before, began = peak_memory(), time.process_time()
    basis = Basis(MeshTri(mesh.points.T.copy(), mesh.triangles.T.astype(np.int64)), ElementTriP2(), intorder=4)
    matrix = BilinearForm(lambda u, v, w: k * dot(grad(u), grad(v)) + h * u * v).assemble(basis)
    heated = basis.with_elements(np.flatnonzero(inside(mesh, source.outline)))
    heat = LinearForm(lambda v, w: source.power / source.outline.area * v).assemble(heated)
    rise = Cholesky(matrix).solve(heat)
    seconds, memory = time.process_time() - began, peak_memory() - before
    left = float(np.linalg.norm(heat - matrix @ rise) / np.linalg.norm(heat))
    return _run(len(heat), seconds, memory, 1, left, float(rise.max()))


def by_ngsolve(stack: Stack, mesh: PlanMesh, way: str, is_linear: bool) -> RUN:
    """Assembled and solved by NGSolve."""
    import ngsolve

    ngsolve.SetNumThreads(1)
    order, cut = (1, 2) if is_linear else (2, 1)
    given = compiled.sheet_mesh(mesh) if stack.bodies[0].sheet else compiled.layered_mesh(mesh, stack, cut)
    before, began = peak_memory(), time.process_time()
    found = compiled.solved(given, stack, COMPILED[way], order)
    seconds, memory = time.process_time() - began, peak_memory() - before
    return _run(found.unknowns, seconds, memory, found.steps, found.residual, found.peak)


def _run(unknowns: int, seconds: float, memory: float, steps: int, residual: float, peak: float) -> RUN:
    return {
        "unknowns": unknowns,
        "seconds": seconds,
        "bytes": memory / unknowns,
        "steps": steps,
        "residual": residual,
        "peak": peak,
    }


def side_by_side(case: Case) -> tuple[float, float]:
    """Wall seconds of RIGHT_SIDES right sides of one problem, on one processor and on two: the better of two runs each."""
    stack = case.stack()
    sheets = sheets_of(stack, plan_space(mesh_of(case, stack)), through_of(stack))
    factor = factor_of(sheets)
    heat = np.outer(sheets.powers @ sheets.unit_loads, 1 + np.arange(RIGHT_SIDES))
    found, both = {1: np.inf, 2: np.inf}, sorted(os.sched_getaffinity(0))
    for count in (1, 2, 1, 2):
        os.sched_setaffinity(0, both[:count])
        began = time.perf_counter()
        factor.solve(heat, TIGHT)
        found[count] = min(found[count], time.perf_counter() - began)
    os.sched_setaffinity(0, both)
    return found[1], found[2]


def threads() -> list[str]:
    """What a second processor gains."""
    rows = []
    for name in (name for name in tuple(CASES)[1::2] if not CASES[name].linear):
        one, two = side_by_side(CASES[name])
        rows.append(
            f"- {name}: {RIGHT_SIDES} right sides take {one:.2f} s on one processor, {two:.2f} s on two (by the clock): "
            f"{one / two:.2f} times as quick."
        )
    return rows


def steps_of(study: str) -> list[tuple[int, int]]:
    """Unknowns of a shipped study's first case on finer and finer meshes, and the steps of one solve at its own temperatures."""
    terms.LARGE = FEWEST  # small ones are solved as large ones are
    stack, snapped = snapped_stack(read_study(EXAMPLES / study / "study.toml").cases[0].stack)
    mesh, found = refined(first_mesh(stack, snapped)), []
    while (sheets := sheets_of(stack, plan_space(mesh), through_of(stack))).size < MOST:
        near = solve(sheets).near
        with patch.object(Multigrid, "cycle", autospec=True, side_effect=Multigrid.cycle) as cycle:
            near.rises(sheets.powers @ sheets.unit_loads, TIGHT)
        factor = near.factor
        found.append((sheets.size, factor.steps if isinstance(factor, Multigrid) else cycle.call_count))
        mesh = refined(mesh)
    return found


def steps() -> list[str]:
    """How the steps of shipped studies grow with the mesh."""
    rows = ["| study | what is in it | unknowns: steps |", "|---|---|---|"]
    for study, what in STUDIES.items():
        found = in_a_process("--steps", study)
        sys.stderr.write(f"{study}: {found}\n")
        rows.append(
            f"| {study.replace('_', ' ')} | {what} | {', '.join(f'{size:,}: {steps}' for size, steps in found)} |"
        )
    return rows


def bandwidth() -> float:
    """Bytes per second of one thread, best of some: a = b + s c on arrays far larger than all caches, in pieces that fit these."""
    a, b, c = (np.ones(20_000_000) for _ in range(3))
    piece, best = 20_000, 0.0
    for _ in range(5):
        began = time.perf_counter()
        for first in range(0, len(a), piece):
            some = slice(first, first + piece)
            np.multiply(c[some], 3.0, out=a[some])
            a[some] += b[some]
        best = max(best, 24 * len(a) / (time.perf_counter() - began))
    return best


def peak_memory() -> float:
    """Bytes that this process has had at most."""
    return 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def in_a_process(*options: str):
    """What this file tells with some options, in a process of its own; None where it fails."""
    done = subprocess.run([sys.executable, __file__, *options], capture_output=True, text=True, timeout=600)
    return json.loads(done.stdout.splitlines()[-1]) if done.returncode == 0 else None


def best_runs(repeats: int) -> dict[tuple[str, str], RUN]:
    """The quickest of some runs of each case each way that it can go; the ways take turns."""
    best: dict[tuple[str, str], RUN] = {}
    for _ in range(repeats):
        for case in CASES:
            for way in WAYS:
                if way == ASSEMBLED and "sheet" not in case:
                    continue
                run = in_a_process("--case", case, "--way", way)
                known = best.get((case, way))
                if run is not None and (known is None or run["seconds"] < known["seconds"]):
                    best[case, way] = run
                sys.stderr.write(f"{case}, {way}: {run}\n")
    return best


def table(best: dict[tuple[str, str], RUN]) -> list[str]:
    """The rows of the page."""
    rows = [
        "| case | unknowns | way | CPU s | over Plancha | bytes per unknown | steps | residual | peak rise K |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for (case, way), run in best.items():
        own = best[case, "Plancha"]["seconds"]
        rows.append(
            f"| {case} | {run['unknowns']:,.0f} | {way} | {run['seconds']:.2f} | {run['seconds'] / own:.1f} | "
            f"{run['bytes']:.0f} | {run['steps']:.0f} | {run['residual']:.0e} | {run['peak']:.6f} |"
        )
    return rows


def margins(best: dict[tuple[str, str], RUN]) -> list[str]:
    """How much longer the quickest of the others takes: of all, and of those that make their own matrix."""
    rows = []
    for case in CASES:
        seconds = {way: run["seconds"] for (of_case, way), run in best.items() if of_case == case}
        own = seconds.pop("Plancha")
        first = min(seconds, key=seconds.__getitem__)
        by_itself = min((way for way in seconds if way not in WITH_OUR_MATRIX), key=seconds.__getitem__)
        rows.append(
            f"- {case}: the quickest other way, {first}, takes {seconds[first] / own:.1f} times as long; the quickest that makes its "
            f"own matrix, {by_itself}, {seconds[by_itself] / own:.1f} times."
        )
    return rows


def growth(best: dict[tuple[str, str], RUN]) -> list[str]:
    """How time grows with the unknowns, and how near the products come to what memory gives."""
    runs = {case: best[case, "Plancha"] for case in CASES}
    rows = []
    for small, large in zip(tuple(CASES)[::2], tuple(CASES)[1::2]):
        one, other = runs[small], runs[large]
        power = np.log(other["seconds"] / one["seconds"]) / np.log(other["unknowns"] / one["unknowns"])
        rows.append(
            f"- {small}, from {one['unknowns']:,.0f} to {other['unknowns']:,.0f} unknowns: time grows as n^{power:.2f}."
        )
    for case in tuple(CASES)[1::2]:
        share = 100 * runs[case]["reached"]
        rows.append(
            f"- {case}: in the time of the iteration the products on the finest mesh alone move {share:.0f} % of what memory gives "
            "one thread (a = b + s c on large arrays, measured in the same run)."
        )
    return rows


def main() -> None:
    """Run everything and write the page; or one case one way."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path, nargs="?")
    options.add_argument("--case", choices=CASES)
    options.add_argument("--way", choices=WAYS)
    options.add_argument("--steps", choices=STUDIES)
    options.add_argument("--repeats", type=int, default=2)
    given = options.parse_args()
    if given.steps:
        sys.stdout.write(json.dumps(steps_of(given.steps)) + "\n")
        return
    if given.case:
        sys.stdout.write(json.dumps(measured(CASES[given.case], given.way)) + "\n")
        return
    best = best_runs(given.repeats)
    given.page.write_text(
        "\n".join(
            [
                *HEAD,
                "",
                *table(best),
                "",
                *margins(best),
                *growth(best),
                *threads(),
                "",
                *STEPS,
                "",
                *steps(),
                "",
                *FOOT,
            ]
        )
        + "\n",
        encoding="utf-8",
    )


HEAD = """# From a hundred thousand to a million unknowns

Processor time of one thread from the mesh to the temperatures, assembly and set-up included; the quickest of some runs, each in a
process of its own. All work on the same triangles with quadratic functions, the layers quadratic through the thickness too. pyamg,
CHOLMOD and PARDISO get the matrix of all unknowns that Plancha's products make, which is quick here; Plancha itself never makes it.
`scikit-fem, CHOLMOD` is the sheet with a general assembly in Python. NGSolve assembles and solves by itself; its joint is a layer of
prisms that conducts through its thickness alone, exact like ours; where functions are quadratic it has one more level of unknowns.
Its peak is the highest corner, ours the highest node. Bytes are the peak less what was there before the assembly; imports count in
neither. Written by `python benchmarks/size.py docs/size.md`.

The linear layers have linear functions on the same nodes, of triangles and sub-layers half as large. Plancha by itself has quadratic
ones alone (below); the engine is given others for these rows (`benchmarks/linear.py`), and all find the same temperatures.
""".splitlines()
STEPS = f"""\
**Steps** to {TIGHT:g} of the right side, of shipped studies' first cases at their own temperatures, every triangle cut into four
again and again: of conjugate gradients, or, where a coolant runs in lanes, of GMRES, a cycle each.
""".splitlines()
FOOT = """\
**Two processors** solve for two right sides at a time: components' unit rises and duals are many. One right side alone gains less:
with its large products shared between two threads by rows the iteration took 0.34 s instead of 0.47 for a sheet of 902,657 unknowns
and 0.52 s instead of 0.58 for layers of 401,190 (tried once, not kept).

**Single precision** makes the cycles: half the bytes of the matrices' entries, and as many steps as in double precision. What is
left, and so where the iteration ends, is found in double precision; a test sets the answers beside a Cholesky factor's where layers
of a nanometre and joints of 1e-12 m2K/W lie between bodies.

**Quadratic alone.** Linear functions cost as much and find less, so they are no choice that a study has: the linear layers above are
0.3 % below the quadratic ones, with as many unknowns and in the same time; on the sheet linear triangles need 226,049 unknowns for
the peak that quadratic ones have with 3,617, 26 uK off either way.
""".splitlines()

if __name__ == "__main__":
    main()
