"""The manual is run: every command, every snippet of a study, and what the pages say that comes out.

How pages are written so that this can read them stands in DEVELOPERS.md. Each page runs from top to bottom in a folder of its own
that holds a copy of the examples.
"""

import re
import shlex
import shutil
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import tomli_w
from markdown_it import MarkdownIt

from plancha.app.cli import main, parser
from plancha.app.commands import NEW_STUDY

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
PARSED_ONLY = [ROOT / "examples" / "README.md"]  # its commands are run by the tests of the examples
# More than ten seconds: they solve the larger examples, and fit, rank and sweep fans on them.
SLOW = {"README.md", "docs/air-and-coolants.md"}
OWN_TEST = {"docs/study.md", "docs/result.md"}  # generated; tests/app holds their snippets
DIRECTIVE = re.compile(r"<!-- (run|fails|edit): (.*?) -->", re.DOTALL)
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?![\w])|[-+]?\d+(?:\.\d+)?")
EXIT_DONE = 0


@dataclass(frozen=True)
class Block:
    """A block of a page: what it is ("sh", "toml", "csv", "text", or a directive), its attributes, its text, its line."""

    kind: str
    text: str
    line: int
    attributes: dict[str, str] = field(default_factory=dict)


def blocks_of(page: Path) -> list[Block]:
    """Commands, files, expected output and directives of a page, in their order."""
    found: list[Block] = []
    for token in MarkdownIt("commonmark").parse(page.read_text(encoding="utf-8")):
        line = token.map[0] + 1 if token.map else 0
        if token.type == "fence":
            kind, *attributes = shlex.split(token.info) or ["text"]
            found.append(Block(kind, token.content, line, dict(each.split("=", 1) for each in attributes)))
        elif token.type == "code_block" and token.content.startswith("plancha "):
            found.append(Block("sh", token.content, line))
        elif token.type == "html_block":
            found += [Block(kind, text.strip(), line) for kind, text in DIRECTIVE.findall(token.content)]
    return found


def inline_commands(page: Path) -> list[str]:
    """Commands that stand in a line of prose."""
    tokens = MarkdownIt("commonmark").enable("table").parse(page.read_text(encoding="utf-8"))
    inner = [child for token in tokens for child in token.children or []]
    return [each.content for each in inner if each.type == "code_inline" and each.content.startswith("plancha ")]


@dataclass
class Reader:
    """Somebody who follows a page: their folder, what was printed last, and the exit code that the page expects next."""

    folder: Path
    capture: pytest.CaptureFixture
    printed: str = ""
    expected: int = EXIT_DONE

    def follow(self, block: Block) -> None:
        """Do what a block says."""
        {
            "sh": self.run,
            "run": self.run,
            "text": self.compare,
            "toml": self.lay,
            "csv": self.lay,
            "edit": self.edit,
            "fails": self.expect,
            "math": lambda block: None,
        }[block.kind](block)

    def run(self, block: Block) -> None:
        for line in block.text.strip().splitlines():
            program, *arguments = shlex.split(line)
            assert program == "plancha", line
            code = main(arguments)
            self.printed = "".join(self.capture.readouterr())
            assert code == self.expected, f"{line}\n{self.printed}"
        self.expected = EXIT_DONE

    def expect(self, block: Block) -> None:
        self.expected = int(block.text)

    def lay(self, block: Block) -> None:
        """Write a file, add to one, or lay tables over an example and check what comes of it."""
        ((how, name),) = block.attributes.items()
        path = self.folder / name
        if how == "over":
            changed = over(tomllib.loads(path.read_text(encoding="utf-8")), tomllib.loads(block.text))
            path = path.with_name("laid_over.toml")
            path.write_bytes(tomli_w.dumps(changed).encode())
            self.run(Block("sh", f"plancha check {path}", block.line))
        elif how == "add":
            path.write_text(path.read_text(encoding="utf-8") + "\n" + block.text, encoding="utf-8")
        else:
            assert how == "file"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")

    def edit(self, block: Block) -> None:
        """Change a file as the page tells the reader to: `FILE: OLD => NEW`."""
        name, change = block.text.split(": ", 1)
        old, new = change.split(" => ")
        text = (self.folder / name).read_text(encoding="utf-8")
        assert old in text, f"{name} has no {old}"
        (self.folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")

    def compare(self, block: Block) -> None:
        """Every line of the page must have been printed, in this order; `...` stands for whatever lies between."""
        printed = iter([plain(line) for line in self.printed.splitlines()])
        for line in filter(None, map(plain, block.text.splitlines())):
            assert line == "..." or any(alike(line, each) for each in printed), f"not printed: {line}\n{self.printed}"


def plain(line: str) -> str:
    """A line without the widths of its table."""
    return re.sub(r"\s+", " ", re.sub("─+", "─", line)).strip()


def alike(line: str, other: str) -> bool:
    """Whether two lines say the same, each number to its last digit or one beside it: roundings differ from machine to machine."""
    if NUMBER.sub("#", line) != NUMBER.sub("#", other):
        return False
    pairs = zip(NUMBER.findall(line), NUMBER.findall(other), strict=True)
    return all(abs(float(one) - float(two)) <= 1.001 * 10 ** -len(one.partition(".")[2]) for one, two in pairs)


def over(study: dict, snippet: dict) -> dict:
    """A study with a snippet's tables laid over those of the same name; others are added."""
    changed = dict(study)
    for key, value in snippet.items():
        if isinstance(value, str) or isinstance(study.get(key), str):
            changed[key] = value
            continue
        old, new = (each if isinstance(each, list) else [each] for each in (study.get(key, []), value))
        tables = {table.get("name", key): table for table in old}
        for table in new:
            name = table.get("name", key)
            tables[name] = {**tables.get(name, {}), **table}
        changed[key] = list(tables.values())
    return changed


def run_pages() -> list:
    """The pages to be run, those that take long marked so."""
    names = [str(page.relative_to(ROOT)) for page in PAGES if str(page.relative_to(ROOT)) not in OWN_TEST]
    return [pytest.param(name, marks=pytest.mark.slow if name in SLOW else ()) for name in names]


@pytest.mark.parametrize("name", run_pages())
def test_commands_and_snippets_of_a_page_do_what_it_says(name, tmp_path, monkeypatch, capsys):
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("results"))
    monkeypatch.chdir(tmp_path)
    reader = Reader(tmp_path, capsys)
    for block in blocks_of(ROOT / name):
        try:
            reader.follow(block)
        except (AssertionError, KeyError, ValueError) as error:
            pytest.fail(f"{name}, line {block.line}: {error!r}"[:4000])


@pytest.mark.parametrize("page", [*PAGES, *PARSED_ONLY], ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_named_in_a_page_exist_with_their_options(page):
    (commands,) = [action for action in parser()._actions if hasattr(action, "choices") and action.choices]
    for line in inline_commands(page):
        words = shlex.split(line)
        assert words[1] in commands.choices, line
        known = commands.choices[words[1]]._option_string_actions
        assert {word.partition("=")[0] for word in words if word.startswith("-")} <= set(known), line
    for block in blocks_of(page):
        for line in block.text.strip().splitlines() if block.kind in ("sh", "run") else ():
            parser().parse_args(shlex.split(line)[1:])


@pytest.mark.parametrize(
    "page", [*PAGES, *PARSED_ONLY, ROOT / "DEVELOPERS.md"], ids=lambda page: str(page.relative_to(ROOT))
)
def test_links_of_a_page_lead_somewhere(page):
    tokens = MarkdownIt("commonmark").enable("table").parse(page.read_text(encoding="utf-8"))
    for child in [child for token in tokens for child in token.children or []]:
        target = child.attrs.get("href") or child.attrs.get("src")
        if target and not re.match(r"\w+:", str(target)):
            assert (page.parent / str(target).partition("#")[0]).exists(), f"{page.name}: {target}"


def test_the_study_shown_in_the_readme_is_the_one_that_new_writes():
    (shown,) = [block for block in blocks_of(ROOT / "README.md") if block.kind == "toml"]
    assert tomllib.loads(shown.text) == tomllib.loads(NEW_STUDY)


def test_a_fragment_with_another_number_is_noticed():
    assert alike("peak 86.8 degC", "peak 86.8 degC") and alike("peak 86.8 degC", "peak 86.9 degC")
    assert not alike("peak 86.8 degC", "peak 87.0 degC")
    assert not alike("margin +8.2", "margin -8.2") and not alike("a 1", "b 1")


def test_a_snippet_changes_tables_of_the_same_name_and_adds_others():
    study = {"title": "t", "plate": {"thickness": "3 mm", "size": 1}, "fan": [{"name": "a", "speed": 1}]}
    snippet = {"plate": {"thickness": "5 mm"}, "fan": [{"name": "b"}]}
    assert over(study, snippet) == {
        "title": "t",
        "plate": [{"thickness": "5 mm", "size": 1}],
        "fan": [{"name": "a", "speed": 1}, {"name": "b"}],
    }
