"""A component's budget, its lumped estimates and the ladder between them, as tables for the terminal."""

from collections.abc import Sequence

from plancha.app.result import CaseRecord
from plancha.app.sections import NOTHING, Section, section, value_text
from plancha.geometry.faults import Fault, StudyError

ALL = "all"


def components_named(asked: Sequence[str], known: Sequence[str]) -> list[str]:
    """The components that `--budget` asks for, each once; "all" means every one.

    Raises
    ------
    StudyError
        With a fault for each name that no component has.
    """
    allowed = ", ".join([ALL, *known[:20]])
    unknown = [name for name in asked if name not in known and name != ALL]
    if unknown:
        raise StudyError([Fault("--budget", "no component has this name", name, allowed) for name in unknown])
    return list(dict.fromkeys(each for name in asked for each in (known if name == ALL else [name])))


def budget_table(case: CaseRecord, component: str | None, is_base: bool = True) -> Section:
    """The budget of a component; of the study as written each step beside the lumped chain's."""
    budget = next((each for each in case.budgets if each.component == component), None)
    if budget is None:
        return NOTHING
    lumped = next((each for each in case.lumped if each.component == component), None) if is_base else None
    chain = {link.name: link.resistance_K_per_W * link.heat_W for link in lumped.chain} if lumped else {}
    rows = [
        (
            step.name + (" *" if step.shared else ""),
            f"{step.kelvin:.1f}",
            f"{step.heat_W:.4g}",
            value_text(step.resistance_K_per_W, ".4f"),
            value_text(chain.get(step.name), ".1f"),
        )
        for step in budget.steps
    ]
    rows.append(("sum", f"{budget.total_K:.1f}", "", "", f"{sum(chain.values()):.1f}" if chain else ""))
    shared = "* other components' heat takes part in this step" if any(step.shared for step in budget.steps) else ""
    which = "" if is_base else f', case "{case.name}"'
    title = f"Budget of {budget.component}{which}: area means, plane by plane, from the hot spot to the reference"
    columns = ("step", "K", "heat W", "K/W", "lumped K")[: 5 if lumped else 4]
    shown = [row[: len(columns)] for row in rows]
    return section(title, columns, shown, shared, _aside(budget.elsewhere_W), bold=len(rows) - 1)


def _aside(elsewhere: float) -> str:
    """What of a component's heat [W] goes by other ways than the budget's, or comes in by them."""
    if abs(elsewhere) <= 1e-6:
        return ""
    return f"{abs(elsewhere):.3g} W {'leave' if elsewhere > 0 else 'come into'} the component by other ways"


def estimates_table(case: CaseRecord, component: str | None) -> Section:
    """The lumped estimates of a component's peak rise beside the solved one, where there are both."""
    lumped = next((each for each in case.lumped if each.component == component), None)
    budget = next((each for each in case.budgets if each.component == component), None)
    if lumped is None or budget is None:
        return NOTHING
    solved = budget.total_K
    rows = [
        (
            each.name,
            value_text(each.rise_K, ".1f"),
            value_text(None if each.rise_K is None else each.rise_K - solved, "+.1f"),
            each.reason,
        )
        for each in lumped.estimates
    ]
    rows.append(("solved peak", f"{solved:.1f}", "", ""))
    title = f"Lumped estimates of {component}'s rise"
    return section(title, ("estimate", "K", "less solved, K", ""), rows, bold=len(rows) - 1)


def ladder_table(case: CaseRecord, component: str | None) -> Section:
    """The ladder of a component that has a budget."""
    ladder = next((each for each in case.ladder if each.component == component), None)
    if ladder is None or all(each.component != component for each in case.budgets):
        return NOTHING
    rows = [(rung.name, value_text(rung.rise_K, ".1f"), value_text(rung.change_K, "+.1f", "")) for rung in ladder.rungs]
    frozen = "natural convection and radiation have the solution's coefficients on every rung" if case.films else ""
    title = f"From the lumped estimate to the solution, {component}: one assumption replaced at a time"
    return section(title, ("now with", "rise K", "change K"), rows, frozen)
