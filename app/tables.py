"""What a solve found, as tables for the terminal."""

import re
from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from plancha.app.budget_tables import budget_table, estimates_table, ladder_table
from plancha.app.film_tables import films_table
from plancha.app.flow_tables import flow_table
from plancha.app.result import CaseRecord, DatasheetRecord, FilmRecord, FlowRecord, Result
from plancha.app.sections import Section, section, value_text

DIGITS = re.compile(r"[0-9.,]+")  # a warning that differs in its numbers alone is told already
MOST_CASES = 8  # load cases up to which every component's margin in each is printed
MOST_COUPLED = 6  # components up to which the coupling matrix is printed
CAUTIONS = (
    "Metal above about 60-65 degC can burn within seconds (limits: ISO 13732-1, IEC 62368-1; take the values from there).",
    "These are engineering estimates, no substitute for measurement, for the safety standards and codes that apply where "
    "the product is sold, or, where required, for a licensed engineer.",
)


def print_result(console: Console, result: Result, budgets: Sequence[str] = ()) -> None:
    """Print everything about the study as written, each load case's margins, and the budgets of further components by name."""
    base = result.cases[0]
    console.print(Text(result.title, style="bold"))
    console.print(
        f"Rises are counted from the {base.reference}, {base.reference_degC:.1f} degC. "
        f"Mass {result.mass_g:.0f} g, height {result.height_mm:.2f} mm."
    )
    console.print(components_table(base))
    if base.probes:
        console.print(probes_table(base))
    for points in base.datasheet:
        console.print(datasheet_table(points))
    worst = worst_component(base)
    for name in dict.fromkeys([worst, *budgets]):
        console.print(budget_table(base, name), estimates_table(base, name))
        if name == worst:
            console.print(ladder_table(base, name))
        if name in budgets and all(each.component != name for each in base.budgets):
            console.print(Text(f"\nNo budget of {name}: no power is asked of it."))
    if base.components:
        console.print(spreading_table(base))
    if 1 < len(base.components) <= MOST_COUPLED:
        console.print(coupling_table(base))
    for flow in base.flows:
        console.print(flow_table(base, flow))
    if base.films:
        console.print(films_table(base))
    console.print(ways_out_table(base), sustainable_line(base))
    if len(result.cases) > 1:
        console.print(cases_table(result))
        if len(base.components) > 1 and len(result.cases) <= MOST_CASES:
            console.print(margins_table(result))
        worst_case = result.cases[worst_case_number(result)]
        if worst_case is not base:
            console.print(budget_table(worst_case, worst_component(worst_case), is_base=False))
    console.print(closing_lines(result))


def worst_component(case: CaseRecord) -> str | None:
    """The limiting component; where none has a limit, the one with the highest peak."""
    if case.limiting_component is not None:
        return case.limiting_component
    return max(case.components, key=lambda each: each.peak_degC).name if case.components else None


def components_table(case: CaseRecord) -> Section:
    """Peaks, means and margins; an arrow marks the component that limits."""
    rows, bold = [], -1
    for number, each in enumerate(case.components):
        limits = each.name == case.limiting_component
        bold = number if limits else bold
        rows.append(
            (
                f"> {each.name}" if limits else f"  {each.name}",
                f"{each.power_W:.4g}",
                f"{each.peak_degC:.1f}",
                error_text(each.peak_error_K, ".1f"),
                f"{each.peak_at.x_mm:.1f}, {each.peak_at.y_mm:.1f}",
                f"{each.area_mean_degC:.1f}",
                f"{each.power_mean_degC:.1f}",
                value_text(each.limit_degC, ".1f"),
                value_text(each.margin_K, "+.1f"),
            )
        )
    columns = ("  component", "W", "peak degC", "+- K", "at x, y mm", "mean", "by power", "limit", "margin K")
    note = f"> limits: {case.limiting_component}" if case.limiting_component else "no component has a limit"
    more = _feedback_words(case)
    return section(
        "Components: temperatures of the active faces", columns, rows, note, more, accuracy_words(case), bold=bold
    )


def _feedback_words(case: CaseRecord) -> str:
    """What of the power comes from temperature, and how near that is to running away."""
    if case.loop_gain is None:
        return ""
    added = sum(each.power_W - each.asked_W for each in case.components)
    return f"{added:.4g} W come on top by temperature (leakage, losses); loop gain {case.loop_gain:.3f}, from 1 on it runs away"


def error_text(value: float | None, form: str) -> str:
    """An estimated error; one that would print as nothing is said to be less than the last digit."""
    if value is None:
        return "-"
    shown = format(value, form)
    return shown if float(shown) else f"<{shown[:-1]}1"


def accuracy_words(case: CaseRecord) -> str:
    """What +- means, and whether the wanted accuracy is reached."""
    audit = case.audit
    if audit.accuracy_estimated is None or audit.accuracy_wanted is None:
        return ""
    words = f"+- estimated numerical error of the peak; the worst is {100 * audit.accuracy_estimated:.2g} % of its rise"
    if audit.accuracy_reached:
        return words
    return f"{words}: NOT the {100 * audit.accuracy_wanted:.2g} % asked for, but the best that was reached"


def probes_table(case: CaseRecord) -> Section:
    """Probe temperatures and their offset from the hottest component's peak."""
    rows = [(probe.name, f"{probe.temperature_degC:.1f}", f"{probe.below_hot_spot_K:.1f}") for probe in case.probes]
    return section("Probes", ("probe", "degC", "below the hot spot, K"), rows)


def datasheet_table(points: DatasheetRecord) -> Section:
    """A component's data-sheet quotients, each with what it is."""
    rows = [
        (
            each.symbol,
            f"{each.start} to {each.end}",
            f"{each.value_K_per_W:.4f}",
            value_text(each.by_mean_K_per_W, ".4f"),
            "resistance" if each.symbol.startswith("theta") else "parameter",
        )
        for each in points.quotients
    ]
    words = list(dict.fromkeys(f"{each.symbol.split('_')[0]}: {each.meaning}" for each in points.quotients))
    if points.case_degC is not None and points.case_at is not None and points.case_share is not None:
        at = f"{points.case_at.x_mm:.1f}, {points.case_at.y_mm:.1f} mm"
        words.append(
            f"case {points.case_degC:.1f} degC at {at}; {100 * points.case_share:.1f} % of the heat leaves through that face"
        )
    title = f"Data-sheet points of {points.component}, junction at its peak or at its area mean, per watt of its own"
    return section(title, ("", "", "by peak K/W", "by mean K/W", "is a"), rows, *words)


def spreading_table(case: CaseRecord) -> Section:
    """Spreading resistances of the bodies under the components."""
    rows = [
        (
            each.component,
            each.body,
            value_text(each.maximum_K_per_W, ".4f"),
            error_text(each.maximum_error_K_per_W, ".4f"),
            value_text(each.mean_K_per_W, ".4f"),
            error_text(each.mean_error_K_per_W, ".4f"),
            f"{100 * each.share:.1f}",
        )
        for each in case.spreading
    ]
    words = (
        "(maximum, or mean, over the footprint, less the mean of the whole source face) / heat through the footprint"
    )
    title = "Spreading resistance, each component's heat alone"
    return section(title, ("component", "in", "max K/W", "+-", "mean K/W", "+-", "share %"), rows, words)


def coupling_table(case: CaseRecord) -> Section:
    """Rise of the row's component per watt in the column's."""
    names = case.coupling.names
    rows = [
        (name, *(f"{value:.4f}" for value in row)) for name, row in zip(names, case.coupling.peak_K_per_W, strict=True)
    ]
    return section("Coupling, K/W: peak of the row's component per watt in the column's", ("", *names), rows)


def ways_out_table(case: CaseRecord) -> Section:
    """Where the heat goes."""
    total = case.audit.heat_in_W
    rows = [
        (path.name, path.kind, f"{path.heat_W:.4g}", f"{100 * path.heat_W / total:.1f}" if total else "-")
        for path in case.ways_out
    ]
    return section(f"Ways out of {total:.4g} W", ("way", "kind", "W", "%"), rows)


def sustainable_line(case: CaseRecord) -> Text:
    """The sustainable power in one sentence."""
    found = case.sustainable
    if found is None:
        return Text("\nSustainable power: nothing has a limit, or no power scales.")
    scaled = "all components" if len(found.scaled) == len(case.components) else ", ".join(found.scaled)
    if found.factor is None:
        return Text(f"\nSustainable power: no limit is met, however much {scaled} scale.")
    if found.factor == 0:
        return Text(f"\nSustainable power: {found.limited_by} is beyond its limit even without the power of {scaled}.")
    words = (
        f"{found.power_W:.1f} W from {scaled} together, {found.factor:.3f} of what is asked; {found.limited_by} limits"
    )
    return Text(f"\nSustainable power: {words}.", style="bold")


def worst_case_number(result: Result) -> int:
    """Which case has the least margin; the first where no component has a limit."""
    margins = [least_margin(case) for case in result.cases]
    known = [margin for margin in margins if margin is not None]
    return margins.index(min(known)) if known else 0


def cases_table(result: Result) -> Section:
    """Every load case: the limiting component, its margin, the sustainable power; the worst case marked."""
    worst = worst_case_number(result)
    known = least_margin(result.cases[worst]) is not None
    rows = [_case_row(case, least_margin(case), known and n == worst) for n, case in enumerate(result.cases)]
    columns = ("  case", "limits", "peak degC", "margin K", "sustainable W", "factor", "what changes")
    return section("Load cases", columns, rows, "> the worst case" if known else "", bold=worst if known else -1)


def margins_table(result: Result) -> Section:
    """Every component's margin in every load case; the least of each case marked."""
    rows = []
    for number, component in enumerate(result.cases[0].components):
        cells = []
        for case in result.cases:
            mark = " <" if case.limiting_component == component.name else "  "
            cells.append(value_text(case.components[number].margin_K, "+.1f") + mark)
        rows.append((component.name, *cells))
    columns = ("component", *(case.name for case in result.cases))
    return section("Margins, K, in every load case", columns, rows, "< limits this case")


def _case_row(case: CaseRecord, margin: float | None, worst: bool) -> tuple[str, ...]:
    peak = next((each.peak_degC for each in case.components if each.name == worst_component(case)), None)
    return (
        f"> {case.name}" if worst else f"  {case.name}",
        worst_component(case) or "-",
        value_text(peak, ".1f"),
        value_text(margin, "+.1f"),
        value_text(case.sustainable.power_W if case.sustainable else None, ".1f"),
        value_text(case.sustainable.factor if case.sustainable else None, ".3f"),
        "; ".join(f"{name} = {value}" for name, value in case.changes.items()),
    )


def least_margin(case: CaseRecord) -> float | None:
    """The least margin of a load case [K]; None where no component has a limit."""
    return min((each.margin_K for each in case.components if each.margin_K is not None), default=None)


def closing_lines(result: Result) -> Text:
    """Notes, what the solve of the study as written showed of itself, and the cautions."""
    audit = result.cases[0].audit
    lines = _note_lines(result)
    lines.append(
        f"Audit: heat in and out differ by {audit.imbalance:.0e}, residual {audit.residual:.0e} of the heat that moves; "
        f"{audit.points} points, {audit.unknowns} unknowns."
    )
    cautions = [f"Caution: {caution}" for caution in (*result.cautions, *CAUTIONS)]
    return Text("\n" + "\n".join([*lines, *cautions]), style="dim")


def _note_lines(result: Result) -> list[str]:
    """Notes on the study as written, what the worst load case adds to them, and which others add something.

    Warnings of flows and of faces that cool by themselves stand in the tables of the study as written; here are those of load cases.
    """
    base, worst = result.cases[0], result.cases[worst_case_number(result)]
    told = {DIGITS.sub("", warning) for warning in warnings_of(base)}
    lines = [f"Note: {note}" for note in base.notes]
    lines += [f'Note on "{worst.name}": {note}' for note in worst.notes if note not in base.notes]
    lines += [f'Warning on "{worst.name}": {each}' for each in warnings_of(worst) if DIGITS.sub("", each) not in told]
    others = [case for case in result.cases if case is not worst]
    noted = [case.name for case in others if set(case.notes) - set(base.notes)]
    warned = [case.name for case in others if {DIGITS.sub("", each) for each in warnings_of(case)} - told]
    lines += [f"Further notes in result.json on {', '.join(noted)}."] if noted else []
    return [*lines, f"Further warnings in result.json on {', '.join(warned)}."] if warned else lines


def warnings_of(case: CaseRecord) -> list[str]:
    """Warnings of a case's flows and of its faces that cool by themselves, with whose they are."""
    places: list[FlowRecord | FilmRecord] = [*case.flows, *case.films]
    return [f"{place.name}: {text}" for place in places for text in place.warnings]
