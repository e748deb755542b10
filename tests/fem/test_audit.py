"""The audit refuses what cannot be right."""

from dataclasses import replace

import numpy as np
import pytest

from plancha.fem.audit import audit
from plancha.fem.solve import SolveFailed


def test_a_good_solution_balances(pair):
    assert pair.audit.imbalance < 1e-10
    assert sum(path.heat for path in pair.audit.paths) == pytest.approx(75, rel=1e-9)


def test_a_lost_watt_is_refused(pair):
    solution = replace(pair.solution, powers=pair.solution.powers + np.array([1.0, 0.0]))
    with pytest.raises(SolveFailed, match="differ"):
        audit(solution)


def test_a_wrong_temperature_is_refused_by_its_residual(pair):
    temperature = pair.solution.temperature.copy()
    slab = pair.solution.sheets.slabs[0]
    one, other = slab.unknowns[5, 1], slab.unknowns[9, 1]  # inside the plate: the films' balance does not notice
    temperature[one] += 1.0
    temperature[other] -= 1.0
    with pytest.raises(SolveFailed, match="residual"):
        audit(replace(pair.solution, temperature=temperature))


def test_a_temperature_below_all_surroundings_is_refused(pair):
    from plancha.fem import audit as module

    temperature = pair.solution.temperature.copy()
    temperature[pair.solution.sheets.slabs[0].unknowns[5, 1]] = 200.0
    solution = replace(pair.solution, temperature=temperature)
    with pytest.MonkeyPatch.context() as patch, pytest.raises(SolveFailed, match="below the coldest"):
        patch.setattr(module, "RESIDUAL_LIMIT", np.inf)
        audit(solution)
