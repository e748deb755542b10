"""The report: one HTML file that holds all it shows, from a solved study."""

import re
from datetime import date
from pathlib import Path

from plancha.app.chapters import Request, chapters_of
from plancha.app.pdf import find_browser, print_pdf
from plancha.app.result import Result
from plancha.app.sections import Section
from plancha.app.verdict import verdict_of
from plancha.app.whole import staged
from plancha.fem.findings import Findings
from plancha.geometry.study_file import StudyFile

PAPERS = {"A4": "A4", "Letter": "letter"}  # as the command names them, as a style sheet does
TEMPLATES = Path(__file__).with_name("templates")
NUMBER = re.compile(r"[-+<>.,e\d ]*")
SIGNS = {
    "degC": "°C",
    "m^2": "m²",
    "m^3": "m³",
    "mm2": "mm²",
    "kg/m3": "kg/m³",
    "+- ": "± ",
    "+-": "±",
}


def write_report(
    path: Path, study: StudyFile, found: list[Findings], result: Result, request: Request, pdf: bool = False
) -> list[Path]:
    """Write the report of a solved study, all or nothing; the paths written.

    Parameters
    ----------
    path : path
        Of the HTML file; its folder is made if need be. The PDF gets the same name with `.pdf`.
    study, found, result
        A study, the findings of its load cases, and the result that `records.result_of` makes of them.
    request : Request
    pdf : bool
        Whether a headless Chromium prints it as well.

    Raises
    ------
    NoPdf
        If a PDF is asked for and there is no Chromium.
    PictureFailed
        If pictures are asked for and cannot be drawn here.
    """
    browser = find_browser() if pdf else None
    text = report_html(study, found, result, request)
    with staged(path.parent) as aside:
        page = aside / path.name
        page.write_text(text, encoding="utf-8")
        if browser is not None:
            print_pdf(browser, page, page.with_suffix(".pdf"))
        names = sorted(each.name for each in aside.iterdir())
    return [path.parent / name for name in names]


def report_html(study: StudyFile, found: list[Findings], result: Result, request: Request) -> str:
    """The report as the text of an HTML file: pictures and styles are in it, and it asks for nothing else."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"typeset": typeset, "numeric_columns": numeric_columns}
    return environment.get_template("report.html").render(
        title=result.title,
        file=study.path.name,
        made=date.today().isoformat(),
        version=result.plancha,
        verdict=verdict_of(result),
        chapters=chapters_of(study, found, result, request),
        paper=PAPERS[request.paper],
    )


def numeric_columns(table: Section) -> list[bool]:
    """Which columns hold numbers alone, signs and marks of the tables included: these are set flush right."""
    return [all(NUMBER.fullmatch(row[column]) for row in table.rows) for column in range(len(table.columns))]


def typeset(text: str) -> str:
    """Text of the terminal with the signs that a page has: °C, ², ±."""
    for plain, sign in SIGNS.items():
        text = text.replace(plain, sign)
    return text
