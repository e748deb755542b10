"""What the page's worker processes do: read a design, solve it quickly or in full, write what is exported."""

import functools
import tempfile
from collections.abc import Callable, Container, Mapping
from dataclasses import asdict, dataclass, field, replace
from hashlib import sha1
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from plancha.app.kept import users_keep
from plancha.app.page_controls import controls_of
from plancha.app.page_design import Design, Edit, case_of, edited_table, edited_text, variant_of
from plancha.app.page_message import json_text, packed
from plancha.app.page_numbers import numbers_of
from plancha.app.page_preview import Kept, own_rises, quick_solution
from plancha.app.page_views import Layer, Rectangles, View, component_of, layers_of, marks_of, view_named, views_of
from plancha.geometry.draft import Reading
from plancha.geometry.faults import StudyError
from plancha.geometry.power_map_file import read_grid, read_power_map
from plancha.geometry.study_file import Case, StudyFile, study_of, written_study

if TYPE_CHECKING:
    from plancha.fem.estimate import Solved
    from plancha.fem.findings import Findings
    from plancha.fem.solve import Solution


@dataclass(frozen=True)
class Question:
    """What the page asks about a design: its edits, the load case, the view, the layers' geometry that it has, whose budget."""

    design: Design
    edits: tuple[Edit, ...] = ()
    case: str = "as written"
    view: str = "temperature"
    known: tuple[str, ...] = ()
    component: str = ""


@dataclass(frozen=True)
class Memory:
    """What a worker keeps of one design between questions."""

    path: Path | None = None
    reading: Reading = field(default_factory=lambda: remembering())
    kept: Kept | None = None
    answered: tuple | None = None  # edits and load case of the last full solve, and what came of it
    solved: "Solved | None" = None
    found: "Findings | None" = None


def remembering() -> Reading:
    """CSV files, each read once."""
    return Reading(functools.cache(read_power_map), functools.cache(read_grid))


def remembered(memory: Memory, question: Question) -> Memory:
    """The memory of the question's design: a new one where it is another's."""
    return memory if memory.path == question.design.path else Memory(path=question.design.path)


def opened(memory: Memory, question: Question) -> tuple[Memory, bytes]:
    """Check a design as a whole, and say what it is: its cases, controls, views and notes.

    Raises
    ------
    StudyError
        With every fault, as the command line tells them.
    """
    design = question.design
    study = study_of(edited_text(design.text, question.edits), design.path)
    names = [case.name for case in study.cases]
    case = next((each for each in study.cases if each.name == question.case), study.cases[0])
    answer = {
        "title": study.cases[0].stack.title,
        "cases": names,
        "case": case.name,
        "cautions": list(dict.fromkeys(line for each in study.cases for line in each.stack.cautions)),
        **_about(question, case),
    }
    return memory, json_text(answer).encode()


def _about(question: Question, case: Case) -> dict[str, Any]:
    """Controls and views of one load case."""
    table = edited_table(written_study(question.design.text, question.design.path).table, question.edits)
    return {
        "groups": controls_of(variant_of(table, case.name)),
        "views": [asdict(view) for view in views_of(case.stack)],
        "notes": list(case.stack.notes),
    }


def _case(memory: Memory, question: Question) -> Case:
    """The load case that is asked about; where it is at fault, the whole study is read again for all faults with their lines."""
    try:
        return case_of(question.design, question.edits, question.case, memory.reading)
    except StudyError:
        study_of(edited_text(question.design.text, question.edits), question.design.path)
        raise


def quick(memory: Memory, question: Question) -> tuple[Memory, bytes]:
    """A design solved on the mesh kept: what is shown while a hand moves."""
    case = _case(memory, question)
    solution, kept = quick_solution(case.stack, memory.kept)
    view = view_named(case.stack, question.view)
    number = component_of(view)
    rises = None if number is None else own_rises(solution, number)
    about = {"confirmed": False, "coarse": kept.is_coarse}
    return replace(memory, kept=kept), _picture(
        question, case, solution, view, rises, about, numbers_of(solution, question.component)
    )


def full(memory: Memory, question: Question) -> tuple[Memory, bytes]:
    """A design solved as the command line does, refined until its accuracy is met, audited; once, whatever is looked at of it."""
    from plancha.fem.findings import findings_of, solve_with_estimate

    case, asked = _case(memory, question), (question.edits, question.case)
    solved, found = memory.solved, memory.found
    if memory.answered != asked or solved is None or found is None:
        solved = solve_with_estimate(case.stack, keep=users_keep())
        found = findings_of(solved)
        memory = replace(memory, answered=asked, solved=solved, found=found)
    stack = solved.solution.sheets.stack
    view = view_named(stack, question.view)
    number = component_of(view)
    rises = None if number is None else found.unit_rises[:, number]
    numbers = {**numbers_of(solved.solution, question.component, solved.estimate), **_further(case, found)}
    return memory, _picture(question, case, solved.solution, view, rises, {"confirmed": True}, numbers)


def _further(case: Case, found: "Findings") -> dict[str, Any]:
    """What only a full solve says."""
    from plancha.app.records import case_record

    estimate, power = found.estimate, found.sustainable
    record = case_record(case, found)
    warnings = [f"{each.name}: {text}" for each in record.flows for text in each.warnings]
    warnings += [f"{each.name}: {text}" for each in record.films for text in each.warnings]
    return {
        "accuracy": None if estimate is None else {"wanted": estimate.wanted, "estimated": estimate.worst},
        "imbalance": found.audit.imbalance,
        "sustainable": None if power is None else asdict(power),
        "spreading": [each.model_dump() for each in record.spreading],
        "lumped": [each.model_dump() for each in record.lumped],
        "ladders": [each.model_dump() for each in record.ladder],
        "notes": [*record.notes, *warnings],
    }


def _picture(
    question: Question,
    case: Case,
    solution: "Solution",
    view: View,
    rises: np.ndarray | None,
    about: Mapping[str, Any],
    numbers: Mapping[str, Any],
) -> bytes:
    """The message of one view: values always, and of geometry what the page does not know."""
    arrays: dict[str, np.ndarray] = {}
    layers = [
        _layer(arrays, str(number), layer, solution, question.known)
        for number, layer in enumerate(layers_of(solution, view, rises))
    ]
    shown = {"view": asdict(view), "case": case.name, "marks": marks_of(case.stack, case.study), "layers": layers}
    return packed({**about, **shown, "numbers": numbers}, arrays)


def _layer(
    arrays: dict[str, np.ndarray], name: str, layer: Layer, solution: "Solution", known: Container[str]
) -> dict[str, str]:
    """Add a layer's arrays to a message, and say of what kind it is."""
    if isinstance(layer, Rectangles):
        arrays[f"{name} boxes"], arrays[f"{name} values"] = 1e3 * layer.boxes, layer.values
        return {"kind": "rectangles"}
    is_used = np.zeros(len(layer.values), bool)
    is_used[layer.elements] = True
    nodes, numbers = np.flatnonzero(is_used), (np.cumsum(is_used, dtype=np.uint32) - 1)[layer.elements]
    places = 1e3 * solution.sheets.space.nodes[nodes]
    key = sha1(places.tobytes() + numbers.tobytes(), usedforsecurity=False).hexdigest()
    arrays[f"{name} values"] = layer.values[nodes]
    if key not in known:
        arrays[f"{name} nodes"], arrays[f"{name} elements"] = places, numbers
    return {"kind": "triangles", "key": key}


def one_case(memory: Memory, question: Question) -> tuple[Memory, bytes]:
    """The margins of one load case, on the mesh of the last full solve where that serves."""
    from plancha.fem.findings import findings_of, solve_with_estimate

    case = _case(memory, question)
    found = findings_of(solve_with_estimate(case.stack, memory.solved), thorough=False)
    worst, power = found.limiting, found.sustainable
    answer = {
        "case": case.name,
        "changes": dict(case.changes),
        "limiting": worst.name if worst else None,
        "margin_K": worst.margin if worst else None,
        "factor": power.factor if power else None,
        "margins": [{"name": state.name, "margin_K": state.margin} for state in found.components],
    }
    return memory, json_text(answer).encode()


def exported(memory: Memory, question: Question, what: str) -> tuple[Memory, bytes]:
    """A file of the design: solved with all its load cases, as `plancha solve` does."""
    from rich.console import Console

    from plancha.app.job import solved_cases

    with tempfile.TemporaryDirectory() as folder:
        study = study_of(edited_text(question.design.text, question.edits), question.design.path)
        found = solved_cases(study, Console(quiet=True))
        path = Path(folder) / what
        EXPORTS[what](path, study, found)
        return memory, path.read_bytes()


def _write_fields(path: Path, study: StudyFile, found: list["Findings"]) -> None:
    from plancha.app.fields import write_fields

    write_fields(path, found[0].solution)


def _write_result(path: Path, study: StudyFile, found: list["Findings"]) -> None:
    from plancha.app.records import result_of

    path.write_text(result_of(study, found).model_dump_json(by_alias=True, indent=1), encoding="utf-8")


def _write_report(path: Path, study: StudyFile, found: list["Findings"]) -> None:
    from plancha.app.chapters import Request
    from plancha.app.records import result_of
    from plancha.app.report import write_report

    write_report(path, study, found, result_of(study, found), Request(f"plancha report {study.path.name}"))


EXPORTS: dict[str, Callable[[Path, StudyFile, list["Findings"]], None]] = {
    "fields.vtu": _write_fields,
    "report.html": _write_report,
    "result.json": _write_result,
}


def study_text(memory: Memory, question: Question) -> tuple[Memory, bytes]:
    """The study file of the design as it stands now."""
    return memory, edited_text(question.design.text, question.edits).encode()


TASKS: dict[str, Callable[..., tuple[Memory, bytes]]] = {
    "open": opened,
    "quick": quick,
    "full": full,
    "case": one_case,
    "export": exported,
    "study": study_text,
}
