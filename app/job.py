"""The main job, in one place: study file -> stack -> mesh -> sheets -> temperatures -> findings -> results and pictures."""

from collections.abc import Iterable
from pathlib import Path

from rich.console import Console

from plancha.app.kept import users_keep
from plancha.app.result import Result
from plancha.app.whole import staged
from plancha.fem.findings import Findings, findings_of, solve_with_estimate
from plancha.geometry.study_file import Case, StudyFile


def solved_cases(study: StudyFile, console: Console) -> list[Findings]:
    """Solve all load cases of a study, showing progress; they share the mesh of the study as written where they can."""
    cases: Iterable[Case] = study.cases
    if console.is_terminal:
        from rich.progress import track

        cases = track(cases, "solving", console=console, transient=True)
    found: list[Findings] = []
    keep = users_keep()
    first = None
    for case in cases:
        solved = solve_with_estimate(case.stack, first, keep)
        first = solved if first is None else first
        found.append(findings_of(solved, thorough=not found))
    return found


def write_results(
    folder: Path, study: StudyFile, found: list[Findings], result: Result, pictures: bool = True
) -> list[Path]:
    """Write result.json, fields.vtu, mesh.vtu, air.vtu if there are flows, and the pictures of the study as written, all or nothing.

    Gives back the paths written.
    """
    with staged(folder) as aside:
        (aside / "result.json").write_text(result.model_dump_json(by_alias=True, indent=1), encoding="utf-8")
        _write_fields(aside, found[0])
        if pictures:
            from plancha.app.pictures import draw_pictures

            views = {each.name: each.map for each in study.cases[0].study.component if each.map is not None}
            draw_pictures(found[0], study.cases[0].name, aside, views)
        names = sorted(path.name for path in aside.iterdir())
    return [folder / name for name in names]


def _write_fields(folder: Path, findings: Findings) -> None:
    from plancha.app.fields import write_coolants, write_fields, write_mesh

    write_fields(folder / "fields.vtu", findings.solution)
    write_mesh(folder / "mesh.vtu", findings.solution.sheets.space)
    if findings.flows:
        write_coolants(folder / "air.vtu", findings.solution)
