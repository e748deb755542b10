"""How good the error estimates are: random layered plates against the exact series, as a table for docs/accuracy.md.

    python benchmarks/accuracy.py --cases 200 --seed 20261202 docs/accuracy.md

The exact values come from tests/published/exact.py, which shares no code with the product. The seeds that the estimates were made
with are below 5000; the seed of the published table is none of them.
"""

import argparse
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "published"))

import exact
import plates

from plancha.fem.estimate import QUANTITIES
from plancha.fem.findings import solve_with_estimate
from plancha.geometry.bodies import Joint, Stack
from plancha.geometry.power_map import PowerMap

SIDE = 0.04  # m, the plate's longer side
TERMS = 2000
TILES = 4  # a side of the tiled maps


@dataclass(frozen=True)
class Layered:
    """A random case: plate [m], footprint (x, y, width, height) [m], tiles' watts (4, 4) or None, layers, coefficient [W/m2/K]."""

    plate: tuple[float, float]
    footprint: tuple[float, float, float, float]
    watts: np.ndarray | None
    thicknesses: tuple[float, ...]
    conductivities: tuple[tuple[float, float, float], ...]
    impedance: float
    coefficient: float


def random_case(generator: np.random.Generator) -> Layered:
    """Log-uniform thickness over source 0.05-10 and Biot number 0.001-10; off-centre; two layers with a joint, orthotropic layers,
    sources in the corner and maps with one hot corner tile among them."""
    plate = np.array([SIDE, SIDE * generator.uniform(0.5, 1.0)])
    share = 10 ** generator.uniform(np.log10(0.05), np.log10(0.7))
    size = np.minimum(0.95 * plate, share * plate.min() * np.array([1.0, generator.uniform(0.5, 2.0)]))
    corner = generator.random() < 0.2
    place = np.zeros(2) if corner else generator.uniform(0, 1, 2) * (plate - size)
    whole = size.min() * 10 ** generator.uniform(np.log10(0.05), 1.0)
    biot = 10 ** generator.uniform(-3, 1)
    first = _conductivity(generator, orthotropic=generator.random() < 0.3)
    thicknesses: tuple[float, ...] = (float(whole),)
    conductivities: tuple[tuple[float, float, float], ...] = (first,)
    impedance = 0.0
    if generator.random() < 0.5:
        part = generator.uniform(0.1, 0.9)
        thicknesses = (float(whole * part), float(whole * (1 - part)))
        conductivities = (first, _conductivity(generator, orthotropic=False))
        impedance = 0.0 if generator.random() < 0.5 else float(10 ** generator.uniform(-6, -4))
    through = sum(t / k[2] for t, k in zip(thicknesses, conductivities))
    watts = None
    if generator.random() < 0.3:
        watts = np.full((TILES, TILES), 1.0)
        watts[0, 0] = 5.0
        watts /= watts.sum()
    footprint = (float(place[0]), float(place[1]), float(size[0]), float(size[1]))
    plate_size = (float(plate[0]), float(plate[1]))
    return Layered(plate_size, footprint, watts, thicknesses, conductivities, impedance, float(biot / through))


def _conductivity(generator: np.random.Generator, orthotropic: bool) -> tuple[float, float, float]:
    k = 10 ** generator.uniform(1.0, 2.6)
    spread = 10 ** generator.uniform(-0.5, 0.5, 3) if orthotropic else np.ones(3)
    return tuple(float(value) for value in k * spread)  # type: ignore[return-value]


def stack_of_case(case: Layered, accuracy: float) -> Stack:
    """The case as the product sees it."""
    bodies = [
        plates.body(f"layer {number}", (0, 0, *case.plate), t, k)
        for number, (t, k) in enumerate(zip(case.thicknesses, case.conductivities))
    ]
    joints = [Joint("joint", 0, 1, case.impedance)] if len(bodies) > 1 else []
    width, height = case.footprint[2:]
    edges = np.linspace(0, 1, TILES + 1)
    power = 1.0 if case.watts is None else PowerMap(edges * width, edges * height, case.watts)
    sources = [plates.source("source", case.footprint, power)]
    stack = plates.stack(bodies, sources, [plates.cooled(case.coefficient, of_body=len(bodies) - 1)], joints)
    return replace(stack, accuracy=accuracy)


def exact_values(case: Layered) -> np.ndarray:
    """Peak rise, mean rise, spreading by maximum and by mean [K for 1 W] from the independent series."""
    x, y, width, height = case.footprint
    tiles = [case.footprint]
    watts = np.ones(1)
    if case.watts is not None:
        rows, columns = np.divmod(np.arange(TILES**2), TILES)
        tiles = [
            (x + width * c / TILES, y + height * r / TILES, width / TILES, height / TILES)
            for r, c in zip(rows, columns)
        ]
        watts = case.watts.ravel()
    sheets = [
        (t, *k, case.impedance if number == 0 and len(case.thicknesses) > 1 else 0.0)
        for number, (t, k) in enumerate(zip(case.thicknesses, case.conductivities))
    ]

    def rise(receivers) -> np.ndarray:
        return exact.layered_series(case.plate, tiles, receivers, sheets, case.coefficient, TERMS) @ watts

    mean = rise([case.footprint])[0]
    peak, middle, half = -np.inf, (x + width / 2, y + height / 2), np.array([width, height]) / 2
    for _ in range(3):
        across = np.linspace(-1, 1, 9)
        points = np.array(
            [(middle[0] + a * half[0], middle[1] + b * half[1], 0.0, 0.0) for a in across for b in across]
        )
        points[:, 0] = np.clip(points[:, 0], x, x + width)
        points[:, 1] = np.clip(points[:, 1], y, y + height)
        values = rise(points)
        best = int(np.argmax(values))
        peak, middle, half = max(peak, values[best]), tuple(points[best, :2]), half / 4
    through = sum(t / k[2] for t, k in zip(case.thicknesses, case.conductivities)) + case.impedance * (len(sheets) > 1)
    flat = (through + 1 / case.coefficient) / (case.plate[0] * case.plate[1])
    return np.array([peak, mean, peak - flat, mean - flat])


@dataclass(frozen=True)
class Outcome:
    """True and estimated errors (4,) beside the exact values (4,), the seconds taken, unknowns, and whether accuracy was reached."""

    true: np.ndarray
    estimated: np.ndarray
    values: np.ndarray
    seconds: float
    unknowns: int
    reached: bool


def outcome_of(case: Layered, values: np.ndarray, accuracy: float) -> Outcome:
    """Solve one case and compare it with its exact values."""
    began = time.perf_counter()
    solved = solve_with_estimate(stack_of_case(case, accuracy))
    seconds = time.perf_counter() - began
    estimate = solved.estimate
    return Outcome(
        np.abs(estimate.values[0] - values),
        estimate.total[0],
        values,
        seconds,
        solved.solution.sheets.size,
        estimate.reached,
    )


def table(outcomes: list[Outcome]) -> list[str]:
    """Markdown rows: one per quantity."""
    rows = [
        "| quantity | true error, median | 95 % | largest | true error within estimate | estimate over true error, median |"
    ]
    rows.append("|---|---|---|---|---|---|")
    true, estimated, values = (
        np.array([getattr(o, name) for o in outcomes]) for name in ("true", "estimated", "values")
    )
    for column, name in enumerate(QUANTITIES):
        relative = 100 * true[:, column] / np.abs(values[:, column])
        middle, most, worst = np.percentile(relative, [50, 95, 100])
        covered = 100 * np.mean(estimated[:, column] >= true[:, column])
        ratio = np.median(estimated[:, column] / true[:, column])
        rows.append(f"| {name} | {middle:.4f} % | {most:.3f} % | {worst:.3f} % | {covered:.1f} % | {ratio:.1f} |")
    return rows


def report(seed: int, by_accuracy: dict[float, list[Outcome]]) -> str:
    """The whole page."""
    count = len(next(iter(by_accuracy.values())))
    lines = [
        "# How good the error estimates are",
        "",
        f"{count} random layered plates, seed {seed}, against exact series that share no code with the product",
        "(`tests/published/exact.py`): thickness over source 0.05-10 and Biot number 0.001-10, both log-uniform; sources off the",
        "centre and in the corner; one layer or two with or without a joint; orthotropic layers; maps of 4 x 4 tiles with one",
        "five-fold hot tile in the corner. Errors are relative to the quantity itself. Written by",
        "",
        f"    python benchmarks/accuracy.py --cases {count} --seed {seed} docs/accuracy.md",
    ]
    for accuracy, outcomes in by_accuracy.items():
        reached = sum(outcome.reached for outcome in outcomes)
        sizes = np.percentile([outcome.unknowns for outcome in outcomes], [50, 100])
        lines += ["", f"## Asked for {100 * accuracy:g} % of the rise", ""]
        lines.append(
            f"Reached by its own estimate in {reached} of {count}; unknowns: median {sizes[0]:.0f}, most {sizes[1]:.0f}."
        )
        lines += ["", *table(outcomes)]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run the cases at two accuracies and write the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("page", type=Path)
    options.add_argument("--cases", type=int, default=200)
    options.add_argument("--seed", type=int, default=20261202)
    given = options.parse_args()
    generator = np.random.default_rng(given.seed)
    cases = [random_case(generator) for _ in range(given.cases)]
    values = [exact_values(case) for case in cases]
    by_accuracy = {
        accuracy: [outcome_of(case, each, accuracy) for case, each in zip(cases, values)] for accuracy in (0.005, 0.002)
    }
    given.page.write_text(report(given.seed, by_accuracy), encoding="utf-8")


if __name__ == "__main__":
    main()
