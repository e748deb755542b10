"""Does it hold? The answer of a result in a few sentences."""

from dataclasses import dataclass

from plancha.app.result import CaseRecord, ComponentRecord, Result
from plancha.app.tables import error_text, least_margin, worst_case_number, worst_component

CAVEAT = (
    "The numerical error says how exactly the equations are solved. What powers, interfaces and coefficients are worth comes on "
    "top."
)


@dataclass(frozen=True)
class Verdict:
    """``holds`` is True, False, or None where it cannot be said; ``headline`` says which.

    ``sentences`` say by how much, what limits, and what costs most; ``caveat`` what the numerical error is not.
    """

    holds: bool | None
    headline: str
    sentences: tuple[str, ...]
    caveat: str = CAVEAT


def verdict_of(result: Result) -> Verdict:
    """The answer: over all load cases, with the component that limits, its margin and numerical error."""
    base, worst = result.cases[0], result.cases[worst_case_number(result)]
    if least_margin(worst) is None:
        return _without_limits(result)
    found = component_named(worst, worst_component(worst))
    margin, error = found.margin_K or 0.0, found.peak_error_K or 0.0
    holds = None if abs(margin) <= error else margin > 0
    rest = [_sustained(worst), _largest_step(worst, found.name), _on_paper(base)]
    return Verdict(holds, _headline(result, holds), tuple([_margin_words(result, worst, found), *filter(None, rest)]))


def _without_limits(result: Result) -> Verdict:
    every = [(case, each) for case in result.cases for each in case.components]
    if not every:
        return Verdict(None, "There is no component to judge", ())
    case, hottest = max(every, key=lambda pair: pair[1].peak_degC)
    at = "as written" if case is result.cases[0] else f"in “{case.name}”"
    words = f"The hottest is {hottest.name}: {hottest.peak_degC:.1f} °C {at} ({_error_words(hottest)})."
    rest = [_largest_step(case, hottest.name), _on_paper(result.cases[0])]
    return Verdict(None, "No component has a limit, so nothing is judged", (words, *filter(None, rest)))


def _headline(result: Result, holds: bool | None) -> str:
    count = len(result.cases)
    everywhere = "as written" if count == 1 else f"in all {count} load cases"
    if holds is None:
        return "Too close to tell: the least margin is smaller than the numerical error"
    if holds:
        return f"It holds: every component keeps its limit {everywhere}"
    beyond = sum((least_margin(case) or 0.0) < 0 for case in result.cases)
    where = "as written" if count == 1 else f"in {beyond} of {count} load cases"
    return f"It does not hold: {where} a component goes beyond its limit"


def _margin_words(result: Result, worst: CaseRecord, found: ComponentRecord) -> str:
    margin, at = found.margin_K or 0.0, _where(result, worst)
    reached = f"{found.name} reaches {found.peak_degC:.1f} °C against its limit of {found.limit_degC:.1f} °C"
    words = f"{at} {reached}: {abs(margin):.1f} K {'to spare' if margin >= 0 else 'too much'} ({_error_words(found)})."
    base = result.cases[0]
    least = least_margin(base)
    if worst is base or least is None:
        return words
    spare = f"{abs(least):.1f} K {'to spare' if least >= 0 else 'too much'}"
    return f"{words} As written, {worst_component(base)} limits with {spare}."


def _where(result: Result, case: CaseRecord) -> str:
    return "As written" if case is result.cases[0] else f"In the worst case, “{case.name}”,"


def _error_words(found: ComponentRecord) -> str:
    return "numerical error not estimated" if found.peak_error_K is None else f"numerical error {_bounded(found)} K"


def _bounded(found: ComponentRecord) -> str:
    text = error_text(found.peak_error_K, ".1f")
    return f"below {text[1:]}" if text.startswith("<") else f"about {text}"


def _sustained(case: CaseRecord) -> str:
    found = case.sustainable
    if found is None or found.factor is None or found.power_W is None or found.factor == 0:
        return ""
    whom = "all components" if len(found.scaled) == len(case.components) else ", ".join(found.scaled)
    return f"Sustainable there: {found.power_W:.1f} W from {whom} together, {found.factor:.3f} of what is asked."


def _largest_step(case: CaseRecord, component: str) -> str:
    budget = next((each for each in case.budgets if each.component == component), None)
    if budget is None or budget.total_K <= 0:
        return ""
    step = max(budget.steps, key=lambda each: each.kelvin)
    share = 100 * step.kelvin / budget.total_K
    return (
        f"Of the {budget.total_K:.1f} K from the hot spot of {component} to the {case.reference}, the largest step is "
        f"“{step.name}” with {step.kelvin:.1f} K ({share:.0f} %)."
    )


def _on_paper(base: CaseRecord) -> str:
    """What the one-dimensional estimate would have said of the component that limits as written."""
    name = worst_component(base)
    lumped = next((each for each in base.lumped if each.component == name), None)
    budget = next((each for each in base.budgets if each.component == name), None)
    if lumped is None or budget is None or not lumped.chain:
        return ""
    chain = sum(link.resistance_K_per_W * link.heat_W for link in lumped.chain)
    return f"A one-dimensional chain on paper would give {name} {chain:.1f} K as written, where {budget.total_K:.1f} K are computed."


def component_named(case: CaseRecord, name: str | None) -> ComponentRecord:
    """The record of a component that a load case has."""
    return next(each for each in case.components if each.name == name)
