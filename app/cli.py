"""The command line: new, check, solve, page, report, measured, rank, fans, compare, materials, schema.

It parses with nothing heavy imported; each command loads what it needs.
"""

import argparse
import os
import sys
from pathlib import Path

from plancha.app.interrupts import none_swallowed

BAD_INPUT, FAILED, INTERRUPTED = 2, 1, 130
MOST_FAULTS = 50


class Command(argparse.ArgumentParser):
    """The parser of one command, whose options may also stand between its other arguments."""

    _is_within = False  # the intermixed reading below calls this reading again, for either kind of argument

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[override]
        """What argparse reads, in any order of options and other arguments."""
        if self._is_within:
            return super().parse_known_args(args, namespace)
        self._is_within = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._is_within = False


def parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    whole = argparse.ArgumentParser(
        prog="plancha",
        description="From a power map and a short study file to temperatures, a budget beside the lumped estimate, and margins.",
        epilog="Start with: plancha new my_study, then: plancha solve my_study/study.toml",
    )
    whole.add_argument("--version", action="store_true", help="print the version and stop")
    commands = whole.add_subparsers(dest="command", metavar="command", parser_class=Command)
    new = commands.add_parser("new", help="start a study in a new folder", epilog="Example: plancha new my_study")
    new.add_argument("folder", type=Path)
    check = commands.add_parser(
        "check",
        help="say what was understood of a study, with mass and height",
        epilog="Example: plancha check study.toml",
    )
    check.add_argument("study", type=Path)
    solve = commands.add_parser(
        "solve", help="solve a study and all its load cases", epilog="Example: plancha solve study.toml -o results"
    )
    solve.add_argument("study", type=Path)
    solve.add_argument("-o", "--out", type=Path, help="folder for results (default: results beside the study file)")
    solve.add_argument(
        "--budget",
        metavar="NAME",
        action="append",
        default=[],
        help='print the budget of this component too, beside the limiting one\'s; repeat it for several, or say "all"',
    )
    solve.add_argument("--no-pictures", action="store_true", help="write no PNG files")
    solve.add_argument("--window", action="store_true", help="open an interactive window afterwards; needs a display")
    _add_page(commands)
    _add_report(commands)
    _add_measured(commands)
    _add_rank(commands)
    _add_fans(commands)
    compare = commands.add_parser(
        "compare",
        help="what differs between results, in the input and in the output",
        epilog="Example: plancha compare results/thin results/thick -o results/difference",
    )
    compare.add_argument("results", type=Path, nargs="+", help="result.json files, or the folders that hold them")
    compare.add_argument("-o", "--out", type=Path, help="folder for pictures of the difference (else none are drawn)")
    materials = commands.add_parser(
        "materials", help="list the shipped materials, or show one", epilog="Example: plancha materials copper"
    )
    materials.add_argument("words", nargs="*", help="only those whose name holds these words")
    schema = commands.add_parser(
        "schema",
        help="the study file's JSON schema, for editors that complete and check TOML",
        epilog="Example: plancha schema -o study.schema.json",
    )
    schema.add_argument("-o", "--out", type=Path, help="file for it (default: print it)")
    return whole


def _add_page(commands: argparse._SubParsersAction) -> None:
    page = commands.add_parser(
        "page",
        help="see and change a study in the browser, on a page that this machine alone can reach",
        epilog="Example: plancha page study.toml",
    )
    page.add_argument("study", type=Path, nargs="?", help="opened at once (default: choose on the page)")
    page.add_argument("--port", type=int, default=0, help="where to listen on 127.0.0.1 (default: any that is free)")
    page.add_argument("--no-browser", action="store_true", help="only print the address")


def _add_report(commands: argparse._SubParsersAction) -> None:
    report = commands.add_parser(
        "report",
        help="solve a study and tell all of it on one HTML page that can be sent and printed",
        epilog="Example: plancha report study.toml -o report.html",
    )
    report.add_argument("study", type=Path)
    report.add_argument(
        "-o", "--out", type=Path, help="the HTML file (default: report.html in results beside the study file)"
    )
    report.add_argument(
        "--pdf", action="store_true", help="print it to PDF as well, under the same name; needs Chromium"
    )
    report.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="to print on (default: A4)")
    report.add_argument(
        "--readings", type=Path, metavar="FILE", help="CSV table of a test's readings, to be laid beside the model"
    )
    report.add_argument(
        "--case", metavar="NAME", help="the load case that was measured (default: the study as written)"
    )
    report.add_argument("--no-pictures", action="store_true", help="leave the pictures out")


def _add_measured(commands: argparse._SubParsersAction) -> None:
    measured = commands.add_parser(
        "measured",
        help="a study beside the readings of a test, and numbers of it fitted to them",
        epilog="Example: plancha measured study.toml readings.csv --fit processor.interface.impedance,cooling.coefficient",
    )
    measured.add_argument("study", type=Path)
    measured.add_argument(
        "readings", type=Path, nargs="?", help="CSV table: probe, temperature [degC], uncertainty [K]"
    )
    measured.add_argument(
        "--case", metavar="NAME", help="the load case that was measured (default: the study as written)"
    )
    measured.add_argument("--fit", metavar="NAME[,NAME,NAME]", help="one to three numbers of the study to be fitted")
    measured.add_argument(
        "--infrared", type=Path, metavar="MAP", help="CSV grid of an infrared picture instead of readings"
    )
    measured.add_argument("--on", metavar="BODY", help="the body that the infrared picture shows")
    measured.add_argument(
        "--face",
        choices=("component side", "cooled side"),
        default="cooled side",
        help="its face (default: cooled side)",
    )
    measured.add_argument(
        "--unit", choices=("degC", "K", "degF"), default="degC", help="of the infrared map (default: degC)"
    )
    measured.add_argument("-o", "--out", type=Path, help="folder for results (default: results beside the study file)")
    measured.add_argument("--no-pictures", action="store_true", help="write no PNG files")


def _add_rank(commands: argparse._SubParsersAction) -> None:
    rank = commands.add_parser(
        "rank",
        help="every candidate for one joint of a study, by the margin that it leaves at the end of life",
        epilog='Example: plancha rank study.toml --joint processor.interface --pressure "300 kPa" --candidates mine.csv',
    )
    rank.add_argument("study", type=Path)
    rank.add_argument("--joint", required=True, metavar="NAME", help="the interface, as load cases call it")
    rank.add_argument("--case", metavar="NAME", help="the load case (default: the study as written)")
    rank.add_argument(
        "--component", metavar="NAME", help="whose peak is shown beside the limiting one's (default: the joint's own)"
    )
    rank.add_argument(
        "--candidates", type=Path, metavar="FILE", action="append", default=[], help="CSV table of further candidates"
    )
    rank.add_argument("--pressure", metavar="TEXT", help='on the joint, such as "300 kPa" (default: as in the study)')
    rank.add_argument("--force", metavar="TEXT", help='of the clamp, such as "200 N", over the area of contact')
    rank.add_argument("-o", "--out", type=Path, help="folder for results (default: results beside the study file)")
    rank.add_argument("--no-pictures", action="store_true", help="write no PNG files")


def _add_fans(commands: argparse._SubParsersAction) -> None:
    fans = commands.add_parser(
        "fans",
        help="all fans of a study slower and faster: flow, sound, peak; the speeds that just keep noise and temperature limits",
        epilog="Example: plancha fans study.toml, or at equal noise: plancha fans thin/study.toml thick/study.toml",
    )
    fans.add_argument("study", type=Path, nargs="+", help="one study, or several to be compared at equal noise")
    fans.add_argument("--case", metavar="NAME", help="the load case (default: the study as written)")
    fans.add_argument(
        "--noise",
        metavar="TEXT",
        help='sound of all fans together to compare at, such as "40 dB(A)" (default: lowest limit)',
    )
    fans.add_argument(
        "-o", "--out", type=Path, help="folder for results (default: results beside the first study file)"
    )
    fans.add_argument("--no-pictures", action="store_true", help="write no PNG files")


def main(arguments: list[str] | None = None) -> int:
    """Run one command; 0 done, 1 the computation failed, 2 the input is bad, 130 stopped by the user."""
    try:
        try:
            with none_swallowed():
                code = _guarded(parser().parse_args(arguments))
        except SystemExit:  # help was asked for, or the arguments are no command
            _flush()
            raise
        _flush()
        return code
    except KeyboardInterrupt as error:
        return _complain(f"stopped; {_what_is_left(error)}", INTERRUPTED)
    except BrokenPipeError:
        _give_up_output()
        return FAILED
    except OSError as error:
        if error.filename is None:
            _give_up_output()
        where, why = error.filename or "the output", error.strerror or error
        return _complain(f"{where}: {why}; {_what_is_left(error)}", FAILED)
    except RuntimeError as error:
        # Python 3.11 wraps an interrupt that comes while a class is being made, as it may during an import.
        if isinstance(error.__cause__, KeyboardInterrupt):
            return _complain(f"stopped; {_what_is_left(error)}", INTERRUPTED)
        raise


def _flush() -> None:
    if sys.stdout is not None:
        sys.stdout.flush()


def _give_up_output() -> None:
    """The output takes no more: what Python still holds for it goes nowhere, so that it does not fail again at the end."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _guarded(given: argparse.Namespace) -> int:
    """Run the command and turn what it raises into messages and exit codes."""
    if given.version:
        from importlib.metadata import version

        if sys.stdout is not None:
            sys.stdout.write(f"plancha {version('plancha')}\n")
        return 0
    if given.command is None:
        parser().print_help()
        return BAD_INPUT
    # Before numpy loads: its threads cost more than they bring at these sizes.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Before pydantic loads: it would look through every installed package for plugins of its own.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from plancha.geometry.faults import Failure, StudyError

    try:
        from plancha.app import commands

        return getattr(commands, given.command)(given)
    except StudyError as error:
        shown = [str(fault) for fault in error.faults[:MOST_FAULTS]]
        if len(error.faults) > MOST_FAULTS:
            shown.append(f"... and {len(error.faults) - MOST_FAULTS} more")
        return _complain("\n".join(shown), BAD_INPUT)
    except Failure as error:
        return _complain(f"{error}; {_what_is_left(error)}", FAILED)
    except MemoryError as error:
        return _complain(f"the memory does not suffice: a larger mesh_size may help; {_what_is_left(error)}", FAILED)


def _what_is_left(error: BaseException) -> str:
    """Whether results were written before what was raised."""
    return "; ".join(getattr(error, "__notes__", ["nothing was written"]))


def _complain(message: str, code: int) -> int:
    sys.stderr.write(message + "\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
