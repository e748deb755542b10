"""A ranking of candidates for a joint as tables for the terminal."""

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from plancha.app.fields import ZERO_CELSIUS
from plancha.app.rank import ALIKE, LIQUID_QUESTIONS, SOLID_QUESTIONS, Ranked, Ranking, State, is_liquid_metal
from plancha.app.sections import Section, section
from plancha.geometry.interface_table import AGED, shipped_candidates
from plancha.geometry.units import show

MOST_ROWS = 40  # candidates that are printed; all stand in the files
BEST = 10  # candidates whose cautions and interpolation errors are told
MARKS = {
    "E": "conducts electricity",
    "?": "not said whether it conducts electricity",
    "H": "the joint gets hotter than it bears",
    "P": "outside the pressures for which it is known",
    "N": "does not come apart without heat or force",
}
ESTIMATES = (
    "Impedances in the table are middle values of generic kinds: measure your own at your pressure, new and aged (ASTM D5470), "
    "before you decide."
)


def print_ranking(console: Console, found: Ranking) -> None:
    """Print the candidates, the best first, what was excluded, and what is to be minded."""
    console.print(Text(found.title, style="bold"))
    console.print(Text(f"Case: {found.case}. Joint: {found.joint}, {show(found.area, 'area')}, {clamp_words(found)}."))
    console.print(ranked_table(found))
    console.print(Text(solves_words(found)))
    lines = [*exclusions(found), *questions(found), *remarks(found)]
    lines += [f"Note: {note}." for note in found.notes]
    console.print(Text("\n".join(["", *lines, f"Caution: {ESTIMATES}", *study_lines(found)])))


def clamp_words(found: Ranking) -> str:
    """What sets the bond line."""
    if found.gap is not None:
        return f"faces held {show(found.gap, 'length')} apart"
    if found.pressure is None:
        return "each candidate at its own reference pressure"
    return f"{show(found.pressure, 'pressure')}, that is {show(found.pressure * found.area, 'force')}"


def ranked_table(found: Ranking) -> Section:
    """Candidates by aged margin."""
    with_other = any(found.component != state.limits for each in found.ranked for state in (each.new[1], each.aged[1]))
    rows = [_row(number, each, with_other) for number, each in enumerate(found.ranked[:MOST_ROWS], 1)]
    columns = ["    candidate", "R new", "aged", "peak new", "aged", "margin new", "aged", "from", "to"]
    if with_other:
        columns[3:5] = [f"{found.component} new", "aged"]
        columns.append("limits")
    rest = len(found.ranked) - len(rows)
    whose = f" of {found.component}" if with_other else ""
    remarks = [
        f"R mm2 K/W; peak degC{whose}; margin K of the component that limits; from: aged, R high; to: new, R low",
        f"where another than {found.component} limits, margins within {ALIKE:g} K count as alike, and its own peak decides"
        if with_other and found.ranked[0].aged[1].margin is not None
        else "",
        "* solved on a mesh of its own, all others between solves; "
        + "; ".join(f"{m} {w}" for m, w in used_marks(found)),
        f"{rest} more stand in rank.csv" if rest > 0 else "",
    ]
    title = "Candidates by the margin that is left at the end of life"
    return section(title, [*columns, ""], rows, *remarks, bold=0)


def _row(number: int, each: Ranked, with_other: bool) -> tuple[str, ...]:
    new, aged = each.new[1], each.aged[1]
    return (
        f"{number:3d} {each.candidate.name}",
        f"{new.impedance * 1e6:.3g}",
        f"{aged.impedance * 1e6:.3g}",
        degrees(new.own_peak),
        degrees(aged.own_peak),
        margin(new),
        margin(aged),
        margin(each.aged[2]),
        margin(each.new[0]),
        *((aged.limits,) if with_other else ()),
        ("*" if each.solved else "") + marks(each),
    )


def degrees(kelvin: float) -> str:
    """A temperature [K] in degC, to 0.1."""
    return f"{kelvin - ZERO_CELSIUS:.1f}"


def margin(state: State) -> str:
    """A margin [K] with its sign; a dash where nothing has a limit."""
    return "-" if state.margin is None else f"{state.margin:+.1f}"


def marks(each: Ranked) -> str:
    """Letters for what is to be minded of a candidate; `MARKS` says what they mean."""
    candidate = each.candidate
    said = {
        "E": candidate.conducts is True,
        "?": candidate.conducts is None,
        "H": each.is_too_hot,
        "P": each.is_outside,
        "N": candidate.reworkable is False,
    }
    return "".join(mark for mark, holds in said.items() if holds)


def used_marks(found: Ranking) -> list[tuple[str, str]]:
    """The marks that stand in the table, with their meaning."""
    used = set("".join(marks(each) for each in found.ranked[:MOST_ROWS]))
    return [(mark, words) for mark, words in MARKS.items() if mark in used]


def solves_words(found: Ranking) -> str:
    """How many solves the ranking rests on, and how far it may be off between them."""
    response = found.response
    off = max(each.aged[1].off for each in found.ranked[:BEST])
    return (
        f"Between {len(response.impedances)} solves on one mesh, the last at {show(response.checked_at, 'impedance')} to check: "
        f"interpolation is off by at most {100 * response.error:.1g} % of what the joint adds, {max(off, 0.1):.1f} K among the first "
        f"{min(BEST, len(found.ranked))}. Numerical error of the peaks there {max(found.mesh_error, 0.1):.1f} K."
    )


def exclusions(found: Ranking) -> list[str]:
    """What cannot fill the joint, with the reasons."""
    return [f"Excluded: {candidate.name}: {reason}." for candidate, reason in found.excluded[:MOST_ROWS]]


def questions(found: Ranking) -> list[str]:
    """What is to be answered before a candidate that conducts electricity is used; liquid metals first."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for each in sorted(found.ranked[:MOST_ROWS], key=lambda each: not is_liquid_metal(each.candidate)):
        if each.questions:
            groups.setdefault(each.questions, []).append(each.candidate.name)
    return [
        f"Conducts electricity{' and flows' if asked == LIQUID_QUESTIONS else ''} ({'; '.join(names)}). {' '.join(asked)}"
        if asked in (LIQUID_QUESTIONS, SOLID_QUESTIONS)
        else f"To ask ({'; '.join(names)}): {' '.join(asked)}"
        for asked, names in groups.items()
    ]


def remarks(found: Ranking) -> list[str]:
    """Cautions and remarks on the first candidates, and on any that gets too hot."""
    chosen = [each for number, each in enumerate(found.ranked[:MOST_ROWS]) if number < BEST or each.is_too_hot]
    lines = dict.fromkeys(line for each in chosen for line in each.remarks)
    return [f"Caution: {line.removesuffix('.')}." for line in lines]


def study_lines(found: Ranking) -> Sequence[str]:
    """The first candidate as the study would say it."""
    best, last = found.ranked[0], found.joint.rsplit(".", 1)[-1]
    said = {"name": last} if last != "interface" else {}
    if best.candidate.name in shipped_candidates():
        said |= {"candidate": best.candidate.name, "age": AGED}
        said |= {} if found.pressure is None else {"pressure": show(found.pressure, "pressure")}
        said |= {} if found.gap is None else {"gap": show(found.gap, "length")}
    else:
        said["impedance"] = show(best.aged[1].impedance, "impedance")
    said |= {"barrier": found.barrier} if found.barrier else {}
    inner = ", ".join(f'{key} = "{value}"' for key, value in said.items())
    return [f"The first one in the study, as {found.joint}:", f"    {{ {inner} }}"]
