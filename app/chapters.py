"""The chapters of a report, in the order of a reader's questions."""

import tempfile
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path

from plancha.app.budget_tables import budget_table, estimates_table, ladder_table
from plancha.app.check_tables import check_tables
from plancha.app.explained import BUDGET_WORDS, LADDER_WORDS, rung_words
from plancha.app.figures import Figure, figures_of, measured_figure
from plancha.app.film_tables import films_table
from plancha.app.flow_tables import FAN_CAUTION, flow_table
from plancha.app.input_tables import input_tables
from plancha.app.left_out import LEFT_OUT
from plancha.app.measured import Agreement
from plancha.app.provenance import fingerprints_table, versions_table
from plancha.app.result import CaseRecord, Result
from plancha.app.sections import NOTHING, Section, section
from plancha.app.tables import (
    CAUTIONS,
    MOST_COUPLED,
    cases_table,
    components_table,
    coupling_table,
    datasheet_table,
    margins_table,
    probes_table,
    spreading_table,
    sustainable_line,
    ways_out_table,
    worst_case_number,
    worst_component,
)
from plancha.fem.findings import Findings
from plancha.geometry.study_file import StudyFile

CASES_ABREAST = 6  # whose margins stand side by side
LOOP_CAUTION = (
    "Coolant loops are under pressure, and swell as they warm: they need expansion vessel and relief valve; never open a hot one. "
    "Glycol is poisonous; leaked coolant and mains kill."
)


@dataclass(frozen=True)
class Chapter:
    """A part of the report: heading, then paragraphs, figures, tables, points of a list, and text shown as it stands."""

    title: str
    words: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Section, ...] = ()
    points: tuple[str, ...] = ()
    verbatim: str = ""


@dataclass(frozen=True)
class Request:
    """What a report is asked to hold beside the solved study: ``command`` reproduces it, ``readings`` is the file of a test."""

    command: str
    paper: str = "A4"
    pictures: bool = True
    agreement: Agreement | None = None
    readings: Path | None = None


def chapters_of(study: StudyFile, found: list[Findings], result: Result, request: Request) -> list[Chapter]:
    """All chapters of the report in the order of a reader's questions; those without content are left out."""
    base = result.cases[0]
    with tempfile.TemporaryDirectory() as folder:
        figures = drawn(study, found[0], base, Path(folder)) if request.pictures else []
        against = measured_chapter(request, Path(folder)) if request.agreement is not None else Chapter("")
    chapters = [
        question_chapter(study),
        margins_chapter(result),
        Chapter("Pictures of the study as written", figures=tuple(figures)),
        budget_chapter(result),
        further_chapter(base),
        Chapter("Inputs as they were understood", tables=tuple(input_tables(study))),
        Chapter("Checks", tables=tuple(check_tables(result, found))),
        against,
        Chapter("What the model leaves out", points=LEFT_OUT),
        Chapter("Cautions", points=tuple(dict.fromkeys([*result.cautions, *_cautions(result), *CAUTIONS]))),
        reproduce_chapter(study, request),
        Chapter("The study file", verbatim=study.path.read_text(encoding="utf-8-sig")),
    ]
    return [each for each in chapters if each != Chapter(each.title)]


def drawn(study: StudyFile, findings: Findings, case: CaseRecord, folder: Path) -> list[Figure]:
    """The pictures of a load case as figures, drawn into a folder that may vanish afterwards."""
    from plancha.app.pictures import draw_pictures

    views = {each.name: each.map for each in study.cases[0].study.component if each.map is not None}
    return figures_of(draw_pictures(findings, case.name, folder, views), case)


def question_chapter(study: StudyFile) -> Chapter:
    """What the study file says of itself before its first key: its comments there, but for what is meant for editors (`#:`)."""
    lines = [line.strip() for line in study.path.read_text(encoding="utf-8-sig").splitlines()]
    comments = takewhile(lambda line: not line or line.startswith("#"), lines)
    said = (line.removeprefix("#").removeprefix(" ") for line in comments if not line.startswith("#:"))
    text = "\n".join(said).strip()
    return Chapter("The question, in the study's own words", verbatim=text)


def margins_chapter(result: Result) -> Chapter:
    """Peaks and margins as written and in every load case, and what power can be sustained."""
    base = result.cases[0]
    tables = [cases_table(result)] if len(result.cases) > 1 else []
    tables += _margins_tables(result) if len(result.cases) > 1 and len(base.components) > 1 else []
    tables += [components_table(base)] if base.components else []
    tables += [probes_table(base)] if base.probes else []
    reference = f"Rises are counted from the {base.reference}, {base.reference_degC:.1f} °C as written."
    return Chapter("Margins", (reference, sustainable_line(base).plain.strip()), tables=tuple(tables))


def _margins_tables(result: Result) -> list[Section]:
    """Margins of all components in all load cases, so many side by side as fit on paper."""
    parts = [result.cases[first : first + CASES_ABREAST] for first in range(0, len(result.cases), CASES_ABREAST)]
    return [margins_table(result.model_copy(update={"cases": cases})) for cases in parts]


def budget_chapter(result: Result) -> Chapter:
    """The budget of the component that limits, beside the lumped estimates, and the ladder between them."""
    base, worst = result.cases[0], result.cases[worst_case_number(result)]
    name = worst_component(base)
    tables = [budget_table(base, name), estimates_table(base, name), ladder_section(base, name)]
    tables += [] if worst is base else [budget_table(worst, worst_component(worst), is_base=False)]
    kept = tuple(table for table in tables if table != NOTHING)
    return Chapter("Where the kelvin go", BUDGET_WORDS + LADDER_WORDS if kept else (), tables=kept)


def ladder_section(case: CaseRecord, name: str | None) -> Section:
    """The ladder as the terminal has it, with a column that says what each rung is."""
    table = ladder_table(case, name)
    if table == NOTHING:
        return table
    rows = [(row[0], *row[1:], rung_words(row[0])) for row in table.rows]
    return section(table.title, (*table.columns, "which means"), rows, *table.remarks)


def further_chapter(case: CaseRecord) -> Chapter:
    """Spreading, coupling, ways out, flows, faces that cool by themselves, data-sheet points."""
    tables = [ways_out_table(case)]
    tables += [spreading_table(case)] if case.spreading else []
    tables += [coupling_table(case)] if 1 < len(case.components) <= MOST_COUPLED else []
    tables += [flow_table(case, flow) for flow in case.flows]
    tables += [films_table(case)] if case.films else []
    tables += [datasheet_table(points) for points in case.datasheet]
    return Chapter("Spreading, coupling and ways out", tables=tuple(tables))


def measured_chapter(request: Request, folder: Path) -> Chapter:
    """The readings of a test beside the model."""
    from plancha.app.measured_files import write_agreement
    from plancha.app.measured_tables import readings_table, summary

    found = request.agreement
    assert found is not None
    words = (
        f"Load case: {found.case}. Residual is model less measured.",
        summary("As the study says", found.residuals, found).strip(),
    )
    figures: tuple[Figure, ...] = ()
    if request.pictures:
        write_agreement(folder / "measured", found)
        picture = folder / "measured" / "measured.png"
        figures = (measured_figure(picture, len(found.errors), found.residuals.root_mean_square),)
    return Chapter("Measured against model", words, figures, (readings_table(found),))


def _cautions(result: Result) -> list[str]:
    """Cautions of what moves the coolants, in any load case."""
    flows = [flow for case in result.cases for flow in case.flows]
    fans = [FAN_CAUTION] if any(flow.operating_point is not None for flow in flows) else []
    return fans + ([LOOP_CAUTION] if any(flow.fluid != "air" for flow in flows) else [])


def reproduce_chapter(study: StudyFile, request: Request) -> Chapter:
    """Command, versions, platform and fingerprints."""
    more = () if request.readings is None else (request.readings,)
    words = ("The same files, versions and command give the same numbers:",)
    tables = (fingerprints_table(study, more), versions_table())
    return Chapter("To reproduce this report", words, tables=tables, verbatim=request.command)
