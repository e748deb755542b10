"""What the solves showed of themselves, as tables of a report: heat balance, residual, error by plan and by thickness, warnings."""

from collections.abc import Sequence

from plancha.app.result import Result
from plancha.app.sections import NOTHING, Section, section
from plancha.app.tables import accuracy_words, error_text, warnings_of
from plancha.fem.audit import BALANCE_LIMIT, RESIDUAL_LIMIT
from plancha.fem.findings import Findings


def check_tables(result: Result, found: Sequence[Findings]) -> list[Section]:
    """Audit of every load case, error of every component, and all notes and warnings with the cases they belong to."""
    tables = [audit_table(result), errors_table(result, found[0]), remarks_table(result)]
    return [table for table in tables if table != NOTHING]


def audit_table(result: Result) -> Section:
    """Heat in and out, residual and size of every load case."""
    rows = []
    for case in result.cases:
        audit, out = case.audit, sum(path.heat_W for path in case.ways_out)
        sizes = (str(audit.points), str(audit.unknowns), str(audit.steps))
        shares = (f"{audit.imbalance:.0e}", f"{audit.residual:.0e}")
        rows.append((case.name, f"{audit.heat_in_W:.6g}", f"{out:.6g}", *shares, *sizes))
    columns = ("case", "heat in W", "out W", "differ by", "residual", "plan points", "unknowns", "steps")
    words = (
        f"difference and residual as shares of the heat that moves; a solve is refused above {BALANCE_LIMIT:g} and "
        f"{RESIDUAL_LIMIT:g}. An exact balance is no evidence for the peaks: their error is estimated apart, below"
    )
    return section("Audit", columns, rows, words)


def errors_table(result: Result, found: Findings) -> Section:
    """Estimated error of each peak: by the triangles of the plan, and by the functions through the thickness."""
    estimate, base = found.estimate, result.cases[0]
    if estimate is None or not base.components:
        return NOTHING
    rows = [
        (
            component.name,
            f"{component.peak_rise_K:.2f}",
            error_text(float(estimate.plan[number, 0]), ".3f"),
            error_text(float(estimate.thickness[number, 0]), ".3f"),
            error_text(float(estimate.total[number, 0]), ".3f"),
        )
        for number, component in enumerate(base.components)
    ]
    columns = ("component", "peak rise K", "by the plan K", "by the thickness K", "together K")
    words = (
        "the answer against one on larger triangles where the rises feel them; on these, polynomials through the thickness against "
        "those of one degree more; both added by magnitude; an estimate, no bound"
    )
    return section("Estimated numerical error of the peaks, as written", columns, rows, words, accuracy_words(base))


def remarks_table(result: Result) -> Section:
    """Every note and warning, once, with the load cases in which it was given."""
    given: dict[str, list[str]] = {}
    for case in result.cases:
        for text in [*case.notes, *warnings_of(case)]:
            given.setdefault(text, []).append(case.name)
    rows = [(text, _cases(names, len(result.cases))) for text, names in given.items()]
    if not rows:
        return section("Notes and warnings", (), (), "Neither a law outside its range nor an unusual value was noted.")
    return section("Notes and warnings", ("what was found", "in"), rows)


def _cases(names: list[str], count: int) -> str:
    return "all load cases" if len(names) == count > 1 else ", ".join(names)
