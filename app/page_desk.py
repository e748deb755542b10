"""The designs that lie open on the page: each in a folder of its own, made of an example, of dropped files, or of a map alone."""

import secrets
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.app.page_design import Design, files_named_in, is_plain_name, refuse_files_elsewhere
from plancha.geometry.faults import Fault, StudyError
from plancha.geometry.key_lines import plain
from plancha.geometry.study_file import FILE_KEYS

MOST_DESIGNS = 24
MOST_FILES = 40
STUDY = "study.toml"
EXAMPLES = {
    "first": "One processor with hot cores on a copper plate (as plancha new writes it)",
    "tray": "Two bridges in a tray: fins with air from the side, one behind the other",
    "cold_plate": "Two modules on a cold plate whose coefficient falls along the flow",
}


@dataclass
class Desk:
    """Open designs by their keys, in the order in which they were opened; the oldest goes when there are too many."""

    folder: Path
    designs: dict[str, Design] = field(default_factory=dict)

    def lay(self, text: str, given: Mapping[str, bytes]) -> str:
        """Lay a study and the files that it names on the desk; the design's key."""
        key = secrets.token_urlsafe(9)
        own = self.folder / key
        own.mkdir()
        for name, content in given.items():
            (own / name).write_bytes(content)
        (own / STUDY).write_text(text, encoding="utf-8")
        self.designs[key] = Design(text, own / STUDY)
        while len(self.designs) > MOST_DESIGNS:
            oldest = next(iter(self.designs))
            shutil.rmtree(self.designs.pop(oldest).path.parent, ignore_errors=True)
        return key

    def remove(self, key: str) -> None:
        """Take a design off the desk."""
        design = self.designs.pop(key, None)
        if design is not None:
            shutil.rmtree(design.path.parent, ignore_errors=True)


def example(name: str) -> tuple[str, dict[str, bytes]]:
    """Study text and files of a shipped example.

    Raises
    ------
    StudyError
        If there is none of the name.
    """
    if name not in EXAMPLES:
        raise StudyError([Fault("example", "there is no such example", plain(name), ", ".join(EXAMPLES))])
    if name == "first":
        return NEW_STUDY, {"power_map.csv": NEW_MAP.encode()}
    folder = Path(__file__).parent / "page_examples" / name
    given = {each.name: each.read_bytes() for each in folder.iterdir() if each.name != STUDY}
    return (folder / STUDY).read_text(encoding="utf-8"), given


def dropped(given: Mapping[str, bytes]) -> tuple[str, dict[str, bytes], list[str]]:
    """Study text, files and what was assumed, from dropped files: a study with its files, or one power map alone.

    Raises
    ------
    StudyError
        If they are no such thing, or the study names files that are not among them.
    """
    _refuse_names(given)
    studies = [name for name in given if name.lower().endswith(".toml")]
    if len(studies) > 1:
        raise StudyError(
            [Fault("", "several studies were dropped", ", ".join(studies), "one study with its CSV files")]
        )
    if not studies:
        from plancha.app.page_start import study_around

        return study_around(given)
    [study] = studies
    try:
        text = given[study].decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise StudyError([Fault("", "the file is not text in UTF-8", hint="save it as UTF-8", file=study)]) from None
    rest = {name: content for name, content in given.items() if name != study}
    refuse_files_elsewhere(text, rest, study)
    named = files_named_in(text)
    return text, {name: content for name, content in rest.items() if name in named}, []


def _refuse_names(given: Mapping[str, bytes]) -> None:
    if not given:
        raise StudyError([Fault("", "no file was dropped", allowed="a study with its CSV files, or one power map")])
    if len(given) > MOST_FILES:
        raise StudyError([Fault("", "too many files", len(given), f"{MOST_FILES} at most")])
    wrong = [name for name in given if not is_plain_name(name)]
    if wrong:
        raise StudyError([Fault("", "a file's name must be a bare name", plain(name)) for name in wrong])


def from_disk(path: Path) -> tuple[str, dict[str, bytes]]:
    """Study text and files of a study on the disk, for the one who started the page; it is sound already.

    Files in other folders are laid beside it under bare names, and the text changed accordingly.
    """
    import tomlkit

    text, given = path.read_text(encoding="utf-8-sig"), {}
    document = tomlkit.parse(text)
    names = {name: f"{number}-{Path(name).name}" if not is_plain_name(name) else name
             for number, name in enumerate(sorted(files_named_in(text)))}  # fmt: skip
    _rename(document, names)
    for name, bare in names.items():
        given[bare] = (path.parent / name).read_bytes()
    return tomlkit.dumps(document), given


def _rename(value: object, names: Mapping[str, str]) -> None:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in FILE_KEYS and isinstance(inner, str) and names.get(inner, inner) != inner:
                value[key] = names[inner]
            _rename(inner, names)
    elif isinstance(value, list):
        for inner in value:
            _rename(inner, names)
