"""On which line each key of a TOML text stands, and how a place in a study is called: tomllib does not tell, messages need it."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

Path = tuple[str | int, ...]  # keys and list numbers that lead to a place: ("component", 0, "layers", 1, "thickness")

LONGEST_WORD = 60
SINGULAR = {"layers": "layer", "cut_outs": "cut-out"}
TOKEN = re.compile(
    r'''
    (?P<skip>[ \t\r\n,]+|\#[^\n]*)
    |(?P<text>"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')
    |(?P<mark>[\[\]{}=.])
    |(?P<bare>[^\s,\[\]{}="'\#.]+)
    ''',
    re.VERBOSE | re.DOTALL,
)
CLOSING = {"[": "]", "{": "}"}


def key_lines(text: str) -> dict[Path, int]:
    """Line of each key, table and list entry of a valid TOML text, counted from 1.

    Entries of lists are counted from 0. For messages: quoted keys are taken without reading their escapes.
    """
    tokens = list(_tokens(text))
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    position = 0
    while position < len(tokens):
        word, line = tokens[position]
        if word == "[":
            table, position = _header(tokens, position, counts)
            for length in range(1, len(table) + 1):
                lines.setdefault(table[:length], line)
        else:
            position = _assignment(tokens, position, table, lines)
    return lines


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    """Every word, mark and text with its line; nothing of blanks and comments."""
    line, position = 1, 0
    while found := TOKEN.match(text, position):
        if found.lastgroup != "skip":
            yield found.group(), line
        line += found.group().count("\n")
        position = found.end()


def _key(tokens: list[tuple[str, int]], position: int, stop: str) -> tuple[list[str], int]:
    """A dotted key up to its closing mark, and the position of that mark."""
    words: list[str] = []
    while position < len(tokens) and tokens[position][0] != stop:
        if tokens[position][0] != ".":
            words.append(tokens[position][0].strip("\"'"))
        position += 1
    return words, position


def _header(tokens: list[tuple[str, int]], position: int, counts: dict[Path, int]) -> tuple[Path, int]:
    """The table that `[a.b]` or `[[a.b]]` opens, and the position behind it."""
    many = tokens[position + 1][0] == "["
    words, position = _key(tokens, position + 1 + many, "]")
    table: Path = ()
    for word in words[:-1]:
        table = _last_entry((*table, word), counts)
    table = (*table, words[-1])
    if many:
        counts[table] = counts.get(table, -1) + 1
    return _last_entry(table, counts), position + 1 + many


def _last_entry(table: Path, counts: Mapping[Path, int]) -> Path:
    return (*table, counts[table]) if table in counts else table


def _assignment(tokens: list[tuple[str, int]], position: int, table: Path, lines: dict[Path, int]) -> int:
    """Note the key at this position and all keys inside its value; the position behind the value."""
    line = tokens[position][1]
    words, position = _key(tokens, position, "=")
    for length in range(1, len(words) + 1):
        lines.setdefault((*table, *words[:length]), line)
    return _value(tokens, position + 1, (*table, *words), lines)


def _value(tokens: list[tuple[str, int]], position: int, path: Path, lines: dict[Path, int]) -> int:
    opening = tokens[position][0] if position < len(tokens) else ""
    if opening in CLOSING:
        position += 1
        entry = 0
        while position < len(tokens) and tokens[position][0] != CLOSING[opening]:
            if opening == "{":
                position = _assignment(tokens, position, path, lines)
            else:
                lines.setdefault((*path, entry), tokens[position][1])
                position = _value(tokens, position, (*path, entry), lines)
                entry += 1
        return position + 1
    # Numbers with a point are several tokens.
    position += 1
    while position + 1 < len(tokens) and tokens[position][0] == ".":
        position += 2
    return position


def line_of(path: Path, lines: Mapping[Path, int]) -> int | None:
    """Line of the innermost part of a path that has one."""
    parts = (path[:length] for length in range(len(path), 0, -1))
    return next((lines[part] for part in parts if part in lines), None)


def place_of(path: Path, study: Any) -> str:
    """A path in words: ("component", 1, "layers", 0, "thickness") as `component "memory", layer 1, thickness`.

    ``study`` is the study, as a table or as the checked value, from which the names come.
    """
    words: list[str] = []
    here: Any = study
    for part in path:
        entries, here = here if isinstance(here, list | tuple) else (), _inside(here, part)
        if isinstance(part, int) and words:
            words[-1] = _entry_in_words(SINGULAR.get(words[-1], words[-1]), part, _inside(here, "name"), len(entries))
        else:
            words.append(plain(str(part)))
    return ", ".join(words) if words else "study"


def _entry_in_words(kind: str, number: int, name: Any, count: int) -> str:
    if isinstance(name, str) and name != kind:
        return f'{kind} "{plain(name)}"'
    return kind if count == 1 else f"{kind} {number + 1}"


def _inside(here: Any, part: str | int) -> Any:
    if isinstance(part, int):
        return here[part] if isinstance(here, list | tuple) and part < len(here) else None
    return here.get(part) if isinstance(here, dict) else getattr(here, part, None)


def plain(text: str) -> str:
    """A text as a message shows it: on one line, long ones cut off."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in text[: LONGEST_WORD + 1])
    return shown if len(shown) <= LONGEST_WORD else shown[:LONGEST_WORD] + "..."
