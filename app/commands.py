"""What each command does, in its own few lines."""

import argparse
import shlex
import time
from pathlib import Path

from rich.console import Console
from rich.text import Text

from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.geometry.faults import Fault, StudyError

CLOCK = 0.05  # s by which a file's time may lag behind the clock
WIDTH = 118  # of tables where the output is no terminal


def console() -> Console:
    """Where tables go: the terminal at its own width, anything else at a fixed one."""
    out = Console(highlight=False)
    return out if out.is_terminal else Console(highlight=False, width=WIDTH)


def new(given: argparse.Namespace) -> int:
    """Start a study in a new folder."""
    from plancha.app.whole import staged

    folder: Path = given.folder
    if folder.exists():
        raise StudyError([Fault("folder", "exists already", str(folder), hint="choose another name")])
    with staged(folder) as aside:
        (aside / "study.toml").write_text(NEW_STUDY, encoding="utf-8")
        (aside / "power_map.csv").write_text(NEW_MAP, encoding="utf-8")
    console().print(
        f"Wrote {folder / 'study.toml'} and {folder / 'power_map.csv'}. Next: plancha solve {folder / 'study.toml'}"
    )
    return 0


def check(given: argparse.Namespace) -> int:
    """Say what was understood of a study."""
    from plancha.app.study_tables import print_study
    from plancha.geometry.study_file import read_study

    print_study(console(), read_study(given.study))
    return 0


def solve(given: argparse.Namespace) -> int:
    """Solve a study and all its load cases; print tables, write results and pictures."""
    from plancha.app.budget_tables import components_named
    from plancha.app.job import solved_cases, write_results
    from plancha.app.records import result_of
    from plancha.app.tables import print_result
    from plancha.app.whole import refuse_bad_place
    from plancha.geometry.study_file import read_study

    folder = given.out or given.study.parent / "results"
    out = console()
    refuse_bad_place(folder)  # before the work, not after it
    study = read_study(given.study)
    budgets = components_named(given.budget, [source.name for source in study.cases[0].stack.sources])
    found = solved_cases(study, out)
    result = result_of(study, found)
    began = time.time()
    try:
        written = write_results(folder, study, found, result, pictures=not given.no_pictures)
        print_result(out, result, budgets)
        out.print("Written: " + ", ".join(str(path) for path in written))
        if given.window:
            from plancha.app.pictures import show_window

            show_window(found[0])
    except BaseException as error:
        _note_results(error, folder, began)
        raise
    return 0


def page(given: argparse.Namespace) -> int:
    """Serve the page on which a study is seen and changed, until Ctrl-C."""
    import webbrowser

    from plancha.app.page import serve

    def announce(address: str) -> None:
        """Say where the page is, and open it."""
        console().print(f"The page is at {address}   (Ctrl-C ends it)", soft_wrap=True)
        if not given.no_browser:
            webbrowser.open(address)

    serve(given.study, given.port, announce)
    return 0


def _note_results(error: BaseException, folder: Path, began: float) -> None:
    """Note on what was raised that the results are in place, if they are: all files are moved there, or none."""
    try:
        in_place = (folder / "result.json").stat().st_mtime >= began - CLOCK
    except OSError:
        in_place = False
    if in_place and not getattr(error, "__notes__", []):
        error.add_note(f"the results are in {folder}")


def report(given: argparse.Namespace) -> int:
    """Solve a study and write its report."""
    from plancha.app.chapters import Request
    from plancha.app.job import solved_cases
    from plancha.app.measured import agreement_with_readings
    from plancha.app.pdf import find_browser
    from plancha.app.records import result_of
    from plancha.app.report import write_report
    from plancha.app.verdict import verdict_of
    from plancha.app.whole import refuse_bad_place
    from plancha.geometry.study_file import read_study

    path = given.out or given.study.parent / "results" / "report.html"
    if path.suffix.lower() not in (".html", ".htm"):
        raise StudyError([Fault("--out", "a report is an HTML file", str(path), "a name that ends in .html")])
    if given.case is not None and given.readings is None:
        raise StudyError([Fault("--case", "it says which load case was measured", given.case, "--readings with it")])
    refuse_bad_place(path.parent)  # before the work, not after it
    if given.pdf:
        find_browser()
    out, study = console(), read_study(given.study)
    agreement = agreement_with_readings(given.study, given.readings, given.case, []) if given.readings else None
    found = solved_cases(study, out)
    result = result_of(study, found)
    request = Request(reproducing(given), given.paper, not given.no_pictures, agreement, given.readings)
    written = write_report(path, study, found, result, request, given.pdf)
    out.print(Text(verdict_of(result).headline + "."))
    out.print("Written: " + ", ".join(str(each) for each in written))
    return 0


def reproducing(given: argparse.Namespace) -> str:
    """The command that makes the same report, with files by their names alone."""
    words = ["plancha", "report", given.study.name]
    words += ["--readings", given.readings.name] if given.readings else []
    words += ["--case", given.case] if given.case else []
    words += ["--paper", given.paper] if given.paper != "A4" else []
    words += ["--no-pictures"] if given.no_pictures else []
    return shlex.join(words)


def measured(given: argparse.Namespace) -> int:
    """Lay a study beside the readings of a test; fit numbers of it where asked."""
    from plancha.app.measured import agreement_with_infrared, agreement_with_readings
    from plancha.app.measured_files import write_agreement
    from plancha.app.measured_tables import print_agreement
    from plancha.app.whole import refuse_bad_place

    folder = given.out or given.study.parent / "results"
    names = [name.strip() for name in given.fit.split(",")] if given.fit is not None else []
    if (given.readings is None) == (given.infrared is None):
        allowed = (
            "plancha measured study.toml readings.csv, or plancha measured study.toml --infrared map.csv --on plate"
        )
        raise StudyError([Fault("measured", "it takes readings or an infrared map, one of them", allowed=allowed)])
    refuse_bad_place(folder)  # before the work, not after it
    out = console()
    with out.status("fitting" if names else "solving"):
        if given.infrared is None:
            found = agreement_with_readings(given.study, given.readings, given.case, names)
        else:
            place = (given.on, given.face, given.unit)
            found = agreement_with_infrared(given.study, given.infrared, *place, given.case, names)
        written = write_agreement(folder, found, pictures=not given.no_pictures)
    print_agreement(out, found)
    out.print("Written: " + ", ".join(str(path) for path in written))
    return 0


def rank(given: argparse.Namespace) -> int:
    """Rank every candidate for one joint of a study."""
    from plancha.app.rank import ranking_of
    from plancha.app.rank_files import write_ranking
    from plancha.app.rank_request import RankRequest
    from plancha.app.rank_tables import print_ranking
    from plancha.app.whole import refuse_bad_place

    folder = given.out or given.study.parent / "results"
    refuse_bad_place(folder)  # before the work, not after it
    request = RankRequest(
        study=given.study,
        joint=given.joint,
        case=given.case,
        component=given.component,
        candidates=tuple(given.candidates),
        pressure=given.pressure,
        force=given.force,
    )
    out = console()
    with out.status("reading") as status:
        found = ranking_of(request, lambda words: status.update(Text(words)))
        written = write_ranking(folder, found, pictures=not given.no_pictures)
    print_ranking(out, found)
    out.print("Written: " + ", ".join(str(path) for path in written))
    return 0


def fans(given: argparse.Namespace) -> int:
    """All fans of one or more studies slower and faster."""
    from plancha.app.fan_files import write_fan_speeds
    from plancha.app.fan_sweep import fan_speeds_of
    from plancha.app.fan_tables import print_fan_speeds
    from plancha.app.whole import refuse_bad_place

    folder = given.out or given.study[0].parent / "results"
    refuse_bad_place(folder)  # before the work, not after it
    out = console()
    with out.status("reading") as status:
        found = fan_speeds_of(given.study, given.case, given.noise, lambda words: status.update(Text(words)))
        written = write_fan_speeds(folder, found, pictures=not given.no_pictures)
    print_fan_speeds(out, found)
    out.print("Written: " + ", ".join(str(path) for path in written))
    return 0


def compare(given: argparse.Namespace) -> int:
    """Say what differs between results; draw the difference of their temperatures where a folder is given for it."""
    from plancha.app.compare import open_results, print_comparison

    opened, out = open_results(given.results), console()
    if given.out is None:
        print_comparison(out, opened)
        return 0
    from plancha.app.compare_picture import write_differences

    written, reasons = write_differences(given.out, opened)
    print_comparison(out, opened)
    for reason in reasons:
        out.print(Text(reason))
    if written:
        out.print("Written: " + ", ".join(str(path) for path in written))
    return 0


def materials(given: argparse.Namespace) -> int:
    """List the shipped materials whose names hold all the given words; a single one is shown in full."""
    from plancha.app.study_tables import print_material, print_materials
    from plancha.geometry.materials import UnknownMaterial, find_material, shipped_materials

    words, name = [word.lower() for word in given.words], " ".join(given.words)
    found = [each for each in shipped_materials().values() if all(word in each.name.lower() for word in words)]
    exact = [each for each in found if each.name.lower() == name.lower()]
    if exact or len(found) == 1:
        print_material(console(), (exact or found)[0])
    elif found:
        print_materials(console(), found)
    else:
        try:
            print_material(console(), find_material(name))
        except UnknownMaterial as error:
            raise StudyError([Fault("materials", error.message, name, error.allowed, error.hint)]) from error
    return 0


def schema(given: argparse.Namespace) -> int:
    """Print or write the JSON schema of the study file."""
    from plancha.app.json_schema import schema_text
    from plancha.app.whole import staged

    if given.out is None:
        console().print(Text(schema_text()), end="", soft_wrap=True)
        return 0
    with staged(given.out.parent) as aside:
        (aside / given.out.name).write_text(schema_text(), encoding="utf-8")
    console().print(f"Written: {given.out}")
    return 0
