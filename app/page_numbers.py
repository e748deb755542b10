"""The numbers beside a picture on the page: peaks and margins, the budget beside the lumped chain, probes, flows; and their notes."""

from typing import Any

from plancha.app.fields import ZERO_CELSIUS
from plancha.fem.budget import Budget, budget_of
from plancha.fem.components import ComponentState, component_states, limiting, probe_temperatures
from plancha.fem.estimate import ErrorEstimate
from plancha.fem.flow_readings import flow_readings
from plancha.fem.ladder import lumped_chains
from plancha.fem.solve import Solution


def numbers_of(solution: Solution, asked: str = "", estimate: ErrorEstimate | None = None) -> dict[str, Any]:
    """All numbers of one solution, with units in their keys as in result.json; errors only where an estimate was made.

    Budget and lumped estimate are those of the component asked for, else of the limiting one, else of the hottest.
    """
    stack, states = solution.sheets.stack, component_states(solution)
    names = [state.name for state in states]
    worst, hot = limiting(states), max(states, key=lambda state: state.peak.value, default=None)
    shown = next((name for name in (asked, worst and worst.name, hot and hot.name) if name in names), "")
    return {
        "reference": {"name": stack.reference_name, "degC": stack.reference - ZERO_CELSIUS},
        "components": [_component(state, _error(estimate, number)) for number, state in enumerate(states)],
        "limiting": worst.name if worst else None,
        "shown": shown,
        "hottest": hot.name if hot else None,
        "budgets": [
            _budget(budget_of(solution, source))
            for source in stack.sources
            if source.name == shown and source.power > 0
        ],
        "chain": {link.name: link.resistance * link.heat for link in lumped_chains(solution).get(shown, [])},
        "probes": [
            {"name": name, "degC": value - ZERO_CELSIUS} for name, value in probe_temperatures(solution).items()
        ],
        "flows": _flows(solution),
        "unknowns": solution.sheets.size,
        "plan_nodes": len(solution.sheets.space.nodes),
    }


def _error(estimate: ErrorEstimate | None, number: int) -> float | None:
    return None if estimate is None else float(estimate.total[number, 0])


def _component(state: ComponentState, error: float | None) -> dict[str, Any]:
    x, y = state.peak.point
    return {
        "name": state.name,
        "power_W": state.power,
        "peak_degC": state.peak.value - ZERO_CELSIUS,
        "peak_at_mm": [x * 1e3, y * 1e3],
        "mean_degC": state.mean - ZERO_CELSIUS,
        "limit_degC": None if state.limit is None else state.limit - ZERO_CELSIUS,
        "margin_K": state.margin,
        "error_K": error,
    }


def _budget(budget: Budget) -> dict[str, Any]:
    steps = [{"name": s.name, "K": s.kelvin, "heat_W": s.heat, "shared": s.shared} for s in budget.steps]
    return {"component": budget.component, "steps": steps, "total_K": budget.total, "elsewhere_W": budget.elsewhere}


def _flows(solution: Solution) -> list[dict[str, Any]]:
    return [
        {
            "name": each.state.flow.name,
            "fluid": each.state.flow.fluid,
            "in_degC": each.state.flow.inlet - ZERO_CELSIUS,
            "out_degC": each.outlet - ZERO_CELSIUS,
            "grams_per_s": each.mass * 1e3,
            "heat_W": each.heat,
        }
        for each in flow_readings(solution)
    ]
