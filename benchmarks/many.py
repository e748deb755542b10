"""Many solves of one problem: how fast, and how far from solving each in full.

    pip install pymor
    python benchmarks/many.py docs/many.md --designs 10000 --seed 20261125

Reduced bases beside pyMOR's (BSD), a general library for them, on the same snapshots; superposed power maps; the cosine engine
beside the elements and the exact series; what keeping on disk saves. Seconds are processor time of one thread, after imports; where a
rate is told, of the quickest of REPEATS runs, for other programs slow this one down. True errors are against the full discrete
problem, factorised and solved for every design.
"""

import argparse
import os
import platform
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import numpy as np
import plates

from plancha.fem.cosine import CosineChip, CosinePlate, cosine_solution
from plancha.fem.cosine_stack import cosine_problem
from plancha.fem.energy import energy_of
from plancha.fem.estimate import constant_conductivity
from plancha.fem.findings import solve_with_estimate
from plancha.fem.greedy import between, reduced_model, training_designs
from plancha.fem.parameter_range import discretised_over
from plancha.fem.parameters import Parameter, changed_stack
from plancha.fem.plan import maximum, plan_space
from plancha.fem.planes import active_elements
from plancha.fem.plate_series import isotropic_layer
from plancha.fem.reduced import Answers, ReducedModel, evaluate
from plancha.fem.sheets import sheets_of
from plancha.fem.solve import Solution, factorised, solve
from plancha.fem.spreading import series_maximum
from plancha.fem.superposition import superposed, tile_responses
from plancha.geometry.bodies import Joint, Stack
from plancha.geometry.grading import plan_mesh, snapped_stack
from plancha.geometry.power_map import PowerMap
from plancha.geometry.store import Store
from plancha.geometry.study_file import read_study

ROOT = Path(__file__).parents[1]
REPEATS = 9
RATED = 10_240  # designs or maps whose rate is told
FEW = 60  # designs of the larger study that are solved in full
ENDS = 24  # designs at which the discretisation is looked at
FINE = 5e-4  # accuracy of what it is compared with


def tiled(tile: tuple[int, int], joint: float = 10e-6, accuracy: float = 5e-3) -> Stack:
    """Die 20 x 20 x 0.775 mm, a joint, copper 80 x 80 x 3, h = 2000 W/m2/K, 8 x 8 tiles with one five-fold, 150 W."""
    watts = np.ones((8, 8))
    watts[tile] = 5.0
    edges, place = np.linspace(0, 20e-3, 9), (30e-3, 30e-3, 20e-3, 20e-3)
    bodies = [plates.body("die", place, 0.775e-3, 148.0), plates.body("plate", (0, 0, 80e-3, 80e-3), 3e-3, 390.0)]
    source = plates.source("die", place, PowerMap(edges, edges, 150 * watts / watts.sum()), chain=(0, 1), joints=(0,))
    made = plates.stack(bodies, [source], [plates.cooled(2000.0, of_body=1)], [Joint("joint", 0, 1, joint)])
    return replace(made, accuracy=accuracy)


def five(plate: int, last: Parameter) -> list[Parameter]:
    """Plate thickness and conductivity, the first joint, the first film, and one more."""
    return [
        Parameter("plate thickness", "thickness", (plate,), 1.5e-3, 5e-3),
        Parameter("plate conductivity", "conductivity", (plate,), 150.0, 400.0),
        Parameter("joint", "impedance", (0,), 3e-6, 40e-6),
        Parameter("film", "coefficient", (0,), 700.0, 3000.0),
        last,
    ]


@dataclass(frozen=True)
class Case:
    """A study with its parameters, the discretisation errors told of it, and how many designs of it are solved in full."""

    name: str
    solution: Solution
    told: np.ndarray
    parameters: list[Parameter]
    checked: int


def cases(designs: int) -> list[Case]:
    """One die with power or thickness, and the demo with all its components."""
    power = Parameter("power", "power", (0,), 100.0, 250.0)
    thickness = Parameter("die thickness", "thickness", (0,), 0.3e-3, 1.0e-3)
    radar = read_study(ROOT / "examples" / "radar" / "study.toml").cases[0].stack
    die, demo = tiled((0, 0)), constant_conductivity(radar)
    listed = (
        ("one die, power", die, five(1, power), designs),
        ("one die, its thickness", die, five(1, thickness), designs // 20),
        ("demo, 15 components, constant k", demo, five(0, power), FEW),
    )
    return [
        Case(name, *discretised_over(stack, parameters), parameters, count) for name, stack, parameters, count in listed
    ]


def processor_time(work: Callable[[], object], repeats: int = 1) -> float:
    """Least processor time of some runs [s]."""
    taken = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def wall_time(work: Callable[[], object], repeats: int = 1) -> float:
    """Least time on the wall of some runs [s]."""
    taken = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def full_peaks(case: Case, model: ReducedModel, design: np.ndarray) -> np.ndarray:
    """Peak rises (sources,) of the full problem at a design, its matrix factorised for it alone."""
    affine, sheets = model.affine, model.affine.sheets
    energy = energy_of(affine.matrix(affine.thetas(design[None])[0]))
    rises = affine.lift.copy()
    rises[affine.free] = energy.solved(affine.right_sides @ affine.right_factors(design[None]).T)[:, 0]
    found = []
    for source in sheets.stack.sources:
        slab, values = sheets.slabs[source.chain[0]], np.full(len(sheets.space.nodes), np.nan)
        values[slab.pattern.nodes] = rises[slab.unknowns[:, slab.through.face(source.face)]]
        found.append(maximum(sheets.space, values, active_elements(case.solution, source)).value)
    return np.array(found)


@dataclass(frozen=True)
class Checked:
    """Bounds and true errors [K] and true rises [K] of designs, (designs, sources) each."""

    bounds: np.ndarray
    errors: np.ndarray
    rises: np.ndarray

    @property
    def violations(self) -> int:
        """How many errors are beyond their bound, but for rounding."""
        return int((self.errors > self.bounds + 1e-10 * np.abs(self.rises).max()).sum())


def checked(case: Case, model: ReducedModel, designs: np.ndarray, answers: Answers) -> Checked:
    """Designs solved in full."""
    rises = np.array([full_peaks(case, model, design) for design in designs])
    return Checked(answers.bounds[: len(designs)], np.abs(rises - answers.peaks[: len(designs)]), rises)


def reduced_rows(case: Case, seed: int) -> tuple[list[str], ReducedModel]:
    """A row of the table of reduced models."""
    models: list[ReducedModel] = []
    trained = processor_time(lambda: models.append(reduced_model(case.solution, case.parameters)))
    model, rng = models[0], np.random.default_rng(seed)
    designs = between(case.parameters, rng.random((max(case.checked, RATED), len(case.parameters))))
    one = RATED / processor_time(lambda: evaluate(model, designs[:RATED]), REPEATS)
    two = RATED / wall_time(lambda: evaluate(model, designs[:RATED], threads=2), REPEATS)
    answers = evaluate(model, designs)
    found = checked(case, model, designs[: case.checked], answers)
    ratio = found.errors / found.bounds
    cells = [
        case.name,
        f"{len(model.affine.free):,}",
        str(model.basis.functions.shape[1]),
        f"{trained:.1f}",
        f"{one:,.0f}",
        f"{two:,.0f}",
        f"{100 * answers.worst.max():.2f} %",
        f"{case.checked:,}",
        str(found.violations),
        f"{100 * (found.errors / found.rises).max():.3f} %",
        f"{np.median(ratio):.2f} / {ratio.max():.2f}",
    ]
    return ["| " + " | ".join(cells) + " |"], model


def discretisation_row(case: Case) -> str:
    """How far the first component's peak on the one discretisation is from a fine one made for each design."""
    sheets = case.solution.sheets
    through, apart = [slab.through for slab in sheets.slabs], []
    designs = training_designs(case.parameters, 16)
    for design in designs[:: len(designs) // ENDS]:
        stack = changed_stack(sheets.stack, case.parameters, design)
        fine = solve_with_estimate(replace(stack, accuracy=FINE)).estimate.values[0, 0]
        peak = solve(sheets_of(stack, sheets.space, through)).peaks[stack.sources[0].name].value
        apart.append(abs((peak - stack.reference) / fine - 1))
    return f"| {case.name} | {100 * case.told[0]:.2f} % | {100 * max(apart):.2f} % | {100 * np.median(apart):.2f} % |"


def pymor_rate(model: ReducedModel, designs: np.ndarray) -> tuple[float, float]:
    """Designs a second of pyMOR's reduced model on the same functions, with its bound of the energy of the error; and the largest
    relative difference of its coefficients from ours."""
    from pymor.core.logger import set_log_levels
    from pymor.models.basic import StationaryModel
    from pymor.operators.constructions import LincombOperator
    from pymor.operators.numpy import NumpyMatrixOperator
    from pymor.parameters.functionals import GenericParameterFunctional, MinThetaParameterFunctional
    from pymor.reductors.coercive import CoerciveRBReductor

    set_log_levels({"pymor": "ERROR"})
    affine, size = model.affine, len(model.affine.parameters)

    def factor(number: int, of: Callable[[np.ndarray], np.ndarray]) -> GenericParameterFunctional:
        """One factor as pyMOR takes it."""
        return GenericParameterFunctional(lambda mu: float(of(mu["v"][None])[0, number]), {"v": size})

    thetas = [factor(q, affine.thetas) for q in range(len(affine.matrices))]
    rights = [factor(j, affine.right_factors) for j in range(affine.right_sides.shape[1])]
    operator = LincombOperator([NumpyMatrixOperator(each.tocsc()) for each in affine.matrices], thetas)
    right = LincombOperator([NumpyMatrixOperator(column[:, None]) for column in affine.right_sides.T], rights)
    middle = np.array([each.middle for each in affine.parameters])
    product = NumpyMatrixOperator(affine.matrix(np.ones(len(affine.matrices))).tocsc())
    problem = StationaryModel(operator, right)
    bound = MinThetaParameterFunctional(thetas, problem.parameters.parse(middle))
    reductor = CoerciveRBReductor(problem, product=product, coercivity_estimator=bound, check_orthonormality=False)
    functions = problem.solution_space.from_numpy(np.ascontiguousarray(model.basis.functions))
    reductor.extend_basis(functions, method="trivial")
    reduced = reductor.reduce()
    parsed = [reduced.parameters.parse(design) for design in designs]

    def run() -> np.ndarray:
        """Solutions and bounds of all designs."""
        found = [reduced.solve(mu).to_numpy().ravel() for mu in parsed]
        for mu in parsed:
            reduced.estimate_error(mu)
        return np.array(found)

    own = evaluate(model, designs).coefficients
    apart = np.abs(run() - own).max() / np.abs(own).max()
    return len(designs) / processor_time(run, 3), float(apart)


def superposition_rows(seed: int) -> list[str]:
    """Rates and errors of superposed maps."""
    rows = []
    solution = solve_with_estimate(tiled((0, 0))).solution
    for tiles in (8, 16):
        edges = np.linspace(0, 20e-3, tiles + 1)
        made = processor_time(partial(tile_responses, solution, 0, edges, edges), 3)
        responses = tile_responses(solution, 0, edges, edges)
        watts = 100 * np.random.default_rng(seed).random((RATED, tiles, tiles)) ** 4
        one = RATED / processor_time(partial(superposed, responses, watts), REPEATS)
        two = RATED / wall_time(partial(superposed, responses, watts, 2), REPEATS)
        peaks, sheets, apart = superposed(responses, watts[:10]).peaks[:, 0], solution.sheets, 0.0
        for each, peak in zip(watts[:10], peaks):
            source = replace(sheets.stack.sources[0], power=float(each.sum()), power_map=PowerMap(edges, edges, each))
            stack = replace(sheets.stack, sources=(source,))
            direct = solve(sheets_of(stack, sheets.space, [slab.through for slab in sheets.slabs]))
            apart = max(apart, abs(peak / (direct.peaks[source.name].value - stack.reference) - 1))
        nodes = len(responses.shapes[0].controls.nodes)
        rows.append(f"| {tiles} x {tiles} | {nodes:,} | {made:.2f} | {one:,.0f} | {two:,.0f} | {apart:.1e} |")
    return rows


def cosine_rows() -> list[str]:
    """The cosine engine beside the elements at 0.02 %, for tiles and joints."""
    rows = []
    for name, tile, joint in (
        ("inside, 10 mm2 K/W", (3, 3), 10e-6),
        ("corner, 10 mm2 K/W", (0, 0), 10e-6),
        ("corner, 1 mm2 K/W", (0, 0), 1e-6),
        ("corner, 100 mm2 K/W", (0, 0), 100e-6),
    ):
        stack = tiled(tile, joint, accuracy=2e-4)
        estimate = solve_with_estimate(stack).estimate
        problem = cosine_problem(stack)
        cells = [name, f"{estimate.values[0, 0]:.3f}", f"{100 * estimate.total[0, 0] / estimate.values[0, 0]:.3f} %"]
        for modes in (16, 32, 64):
            solution = cosine_solution(*problem, modes)
            peak = solution.peaks[0]
            taken = processor_time(lambda modes=modes, problem=problem: cosine_solution(*problem, modes).peaks, REPEATS)
            cells.append(f"{100 * (peak / estimate.values[0, 0] - 1):+.3f} %, {1e3 * taken:.1f} ms, {solution.steps}")
        rows.append("| " + " | ".join(cells) + " |")
    return rows


def cosine_series_rows() -> list[str]:
    """The cosine engine beside the exact series: a die as large as its plate, heat on a part of it."""
    plate, die = (
        CosinePlate((40e-3, 40e-3), (isotropic_layer(3e-3, 390.0),), 1000.0),
        isotropic_layer(0.5e-3, 120.0, 1e-5),
    )
    edges = np.array([0, 15e-3, 25e-3, 40e-3])
    watts = np.array([[0, 0, 0], [0, 1.0, 0], [0, 0, 0]])
    exact = series_maximum(plate.size, (15e-3, 15e-3, 10e-3, 10e-3), [die, *plate.layers], plate.coefficient)[0]
    chip = CosineChip("die", (0.0, 0.0, 40e-3, 40e-3), (die,), edges, edges, watts)
    errors = [cosine_solution(plate, [chip], modes).peaks[0] / exact - 1 for modes in (16, 32, 64)]
    return ["| " + " | ".join(f"{100 * error:+.4f} %" for error in errors) + " |"]


def kept_rows(model_seconds: float, case: Case) -> list[str]:
    """What is made and what is found again: meshes by their fineness, a reduced model; and what is not kept."""
    rows, stack = [], snapped_stack(tiled((0, 0)))[0]
    with tempfile.TemporaryDirectory() as folder:
        keep = Store(Path(folder)).keep
        for refinement in (1.0, 8.0, 24.0):
            made = processor_time(partial(plan_mesh, stack, refinement), 2)
            mesh = plan_mesh(stack, refinement, keep=keep)
            found = processor_time(partial(plan_mesh, stack, refinement, keep=keep), REPEATS)
            rows.append(f"| mesh of {len(mesh.points):,} corners | {made:.3f} | {found:.4f} |")
        again = partial(reduced_model, case.solution, case.parameters, keep=keep)
        again()
        rows.append(f"| reduced model: {case.name} | {model_seconds:.1f} | {processor_time(again, 3):.3f} |")
    sheets = case.solution.sheets
    through = [slab.through for slab in sheets.slabs]
    space = processor_time(partial(plan_space, sheets.space.mesh), 3)
    operators = processor_time(lambda: sheets_of(sheets.stack, plan_space(sheets.space.mesh), through).constant, 3)
    factor = processor_time(partial(factorised, sheets), 3)
    rows.append(f"| plan functions, {len(sheets.space.nodes):,} nodes | {space:.3f} | - |")
    rows.append(f"| the same, operators and loads, {sheets.size:,} unknowns | {operators:.3f} | - |")
    rows.append(f"| factor of these | {factor:.3f} | - |")
    return rows


def page(designs: int, seed: int) -> list[str]:
    """Everything measured, as a page."""
    rows: list[str] = []
    models, seconds = [], []
    listed = cases(designs)
    for case in listed:
        row, model = reduced_rows(case, seed)
        rows, models = rows + row, [*models, model]
        seconds.append(float(row[0].split("|")[4]))
    sample = between(listed[0].parameters, np.random.default_rng(seed).random((500, 5)))
    rate, apart = pymor_rate(models[0], sample)
    return [
        "# Many solves of one problem",
        "",
        f"Processor time of one thread of {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}, after",
        "imports. Two threads: by the clock on the wall, the machine otherwise in use or not. Written by",
        f"`python benchmarks/many.py docs/many.md --designs {designs} --seed {seed}`.",
        "",
        "## Reduced basis with a bound of every peak",
        "",
        "Five parameters: plate 1.5 to 5 mm, its k 150 to 400 W/m/K, joint 3 to 40 mm2 K/W, film 700 to 3000 W/m2/K; power 100 to",
        "250 W, or the die 0.3 to 1 mm. Trained until bound over rise is 0.5 % on its own designs; all else on random designs. Peaks "
        "of",
        "all components, on the polynomial. Full: each design's matrix factorised and solved. A bound is violated where the true "
        "error",
        "is larger by more than rounding. A rise counts at least a twentieth of the design's largest where bound over rise is told.",
        "",
        "| study | unknowns | functions | training s | designs/s | two threads | largest bound / rise | solved in full | violated |"
        " largest error / rise | error / bound: median / largest |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
        *rows,
        "",
        f"pyMOR {_version('pymor')} with the same functions of the first study, solved and with its bound of the error's",
        f"energy, one design after the other as its interface has it: {rate:,.0f} designs/s; its coefficients differ from ours by",
        f"{apart:.1e} of the largest. A bound of the peak is not among its forms, and the rate asked for here, at least 20,000/s,",
        "takes designs by the hundred in one array operation.",
        "",
        "Discretisation errors are told beside the bounds. One mesh, and one set of thickness functions, serves all designs;",
        f"against a discretisation of its own at {100 * FINE:g} % for each of {ENDS} designs, corners of the range among them, the",
        "first component's peak:",
        "",
        "| study | told | largest found | median |",
        "|---|---|---|---|",
        *(discretisation_row(case) for case in listed[:2]),
        "",
        "## Power maps by superposition",
        "",
        "Random maps on the die above, peak on its whole face; against a solve of each of ten maps.",
        "",
        "| tiles | nodes of the face | responses s | maps/s | two threads | largest relative difference |",
        "|---|---|---|---|---|---|",
        *superposition_rows(seed),
        "",
        "## Cosine engine",
        "",
        "The die above, one tile five-fold: peak against the elements at 0.02 % accuracy; 16, 32, 64 cosines along each side of the",
        "die. Each cell: difference from the elements, time to the peak, steps.",
        "",
        "| hot tile, joint | elements K | their own estimated error | 16 | 32 | 64 |",
        "|---|---|---|---|---|---|",
        *cosine_rows(),
        "",
        "Against the exact series, 0.5 mm of silicon as large as its copper plate, heat on 10 x 10 of 40 x 40 mm:",
        "",
        "| 16 | 32 | 64 |",
        "|---|---|---|",
        *cosine_series_rows(),
        "",
        "## Kept on disk",
        "",
        "| what | made s | found again s |",
        "|---|---|---|",
        *kept_rows(seconds[0], listed[0]),
    ]


def _version(name: str) -> str:
    from importlib.metadata import version

    return version(name)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run everything and write the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path)
    options.add_argument("--designs", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=20261125)
    given = options.parse_args(arguments)
    given.page.write_text("\n".join(page(given.designs, given.seed)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
