"""How much memory a problem will take, so that one that is too big is refused before it starts."""

import numpy as np

from plancha.fem.refinement import CUT, halved
from plancha.fem.resolution import through_of
from plancha.fem.terms import is_large
from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.grading import predicted_triangles

# Peak of the whole solve with a factor per plan node, thickness node squared and log2 of the plan nodes, measured on plates of 4,000
# to 60,000 plan nodes and 3 to 9 thickness nodes: 64 to 115.
BYTES = 115
# Bytes per unknown without a factor of all; measured at 1.1 to 3.1 million unknowns, error estimate included: 630 to 900; of fins and
# a coolant's lanes, at 0.1 to 0.5 million: 1,700 to 2,250.
ITERATING = 2400
NODES_PER_TRIANGLE = 2  # of quadratic triangles
SHARE = 0.5  # of the free memory that one problem may take
LARGEST = 1_000_000  # unknowns at which refinement for accuracy stops, however much memory there is


def free_memory() -> float:
    """Memory [bytes] that can be had without swapping."""
    import psutil

    return float(psutil.virtual_memory().available)


def predicted_memory(stack: Stack) -> tuple[float, float]:
    """Bytes that the first answer will take, and its number of unknowns."""
    plan = NODES_PER_TRIANGLE * CUT * np.maximum(predicted_triangles(stack), 1.0)
    through = np.array([len(halved(each).nodes) for each in through_of(stack)])
    unknowns = float((plan * through).sum())
    by_factor = float((BYTES * plan * through**2 * np.log2(plan)).sum())
    return min(by_factor, ITERATING * unknowns) if is_large(unknowns) else by_factor, unknowns


def refuse_what_does_not_fit(stack: Stack) -> None:
    """Stop before a problem that would take more than half of the free memory.

    Raises
    ------
    StudyError
        With the estimate and what would make it smaller.
    """
    needed, unknowns = predicted_memory(stack)
    free = free_memory()
    if needed > SHARE * free:
        raise StudyError(
            [
                Fault(
                    "mesh_size",
                    f"the study would need about {needed / 1e9:.1f} GB for {unknowns:.3g} unknowns",
                    allowed=f"half of the free memory, {SHARE * free / 1e9:.1f} GB",
                    hint="a larger mesh_size, fewer tiny outlines, or a coarser power map",
                )
            ]
        )


def most_unknowns() -> float:
    """Number of unknowns at which refinement for accuracy stops."""
    return min(LARGEST, SHARE * free_memory() / ITERATING)
