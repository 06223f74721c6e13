"""The command line: thin. Every word it prints comes from the result."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from noseroom._version import __version__
from noseroom.errors import EnvelopeError, NoseroomError

UNREADABLE = 2
NOTHING_TO_MAKE = 1
SOME_REFUSED = 3


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command. Returns the exit status: 0 fits, 1 fouls, 3 open, 2 cannot be read."""
    options = _parser().parse_args(arguments)
    try:
        status = int(options.run(options))
        sys.stdout.flush()
        return status
    except EnvelopeError as error:
        print(error, file=sys.stderr)
    except NoseroomError as error:
        print(f"noseroom: {error}", file=sys.stderr)
    except BrokenPipeError:
        _say_no_more()
        return 0
    except KeyboardInterrupt:
        print("noseroom: stopped; nothing was written", file=sys.stderr)
        return 130
    except MemoryError:
        print("noseroom: out of memory; nothing was written", file=sys.stderr)
    except OSError as error:
        print(f"noseroom: {error.strerror or error}; nothing was written", file=sys.stderr)
    except Exception as error:
        # A mistake of ours, never of the builder's; a traceback would help neither.
        print(
            f"noseroom: a fault in the program, not in the file; nothing was written "
            f"({type(error).__name__}: {error})",
            file=sys.stderr,
        )
    return UNREADABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="noseroom",
        description="Put an older car's nose together before anything is cut.",
        epilog="exit status: 0 everything fits, 1 something fouls, 2 the file cannot be used, "
        "3 nothing fouls but something is too close to call or not known",
    )
    parser.add_argument("--version", action="version", version=f"noseroom {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="check a nose and write its files")
    check.add_argument("file", type=Path, help="the envelope file")
    check.add_argument(
        "--outputs", type=Path, default=Path("outputs"), help="folder to write under (outputs)"
    )
    check.add_argument(
        "--afresh", action="store_true", help="compute everything, whatever earlier runs have kept"
    )
    _add_files_from(check)
    check.set_defaults(run=_check)
    watching = commands.add_parser(
        "watch", help="check a nose again each time its file is saved; writes nothing"
    )
    watching.add_argument("file", type=Path, help="the envelope file")
    _add_files_from(watching)
    watching.set_defaults(run=_watch)
    bench = commands.add_parser(
        "workshop",
        help="write what a nose asks to be made: brackets, spacer, stand-ins, templates",
        epilog="exit status: 0 all written, 1 there is nothing to make, 2 the file cannot be used, "
        "3 written, but something could not be made or is not surely right, and is named",
    )
    bench.add_argument("file", type=Path, help="the envelope file")
    bench.add_argument(
        "--outputs", type=Path, default=Path("outputs"), help="folder to write under (outputs)"
    )
    bench.add_argument(
        "--elements",
        action="store_true",
        help="check the brackets' strength by finite elements too (needs the extra strength)",
    )
    _add_files_from(bench)
    bench.set_defaults(run=_workshop)
    buying = commands.add_parser(
        "choices",
        help="what to buy for the A/C: condenser, fan, hoses, refrigerant, wires",
        epilog="exit status: 0 said and written, 1 the file does not ask for air and heat "
        "(cooling), 2 the file cannot be used",
    )
    buying.add_argument("file", type=Path, help="the envelope file")
    buying.add_argument(
        "--outputs", type=Path, default=Path("outputs"), help="folder to write under (outputs)"
    )
    _add_files_from(buying)
    buying.set_defaults(run=_choices)
    kinds = commands.add_parser("kinds", help="list the kinds of parts, or all about one of them")
    kinds.add_argument("kind", nargs="*", help="a kind, such as water pump")
    kinds.set_defaults(run=_kinds)
    schema = commands.add_parser("schema", help="print a JSON Schema for editors and programs")
    schema.add_argument("which", choices=("envelope", "findings"))
    schema.set_defaults(run=_schema)
    return parser


def _add_files_from(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--files-from",
        type=Path,
        action="append",
        default=[],
        metavar="FOLDER",
        help="a folder besides the file's own that scans may come from; may be given again",
    )


def _check(options: argparse.Namespace) -> int:
    from noseroom.pipeline import check
    from noseroom.report.progress import showing_progress
    from noseroom.report.terminal import show

    with showing_progress() as say:
        result = check(
            options.file,
            outputs=options.outputs,
            progress=say,
            files_from=options.files_from,
            afresh=options.afresh,
            remark=_remark,
        )
    folder = options.outputs / options.file.stem
    try:
        show(result, f"{folder.as_posix()}/")
        sys.stdout.flush()
    except BrokenPipeError:
        _say_no_more()
    return result.exit_status


def _say_no_more() -> None:
    """Whoever read our output has gone; the interpreter must not complain on the way out."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _remark(line: str) -> None:
    print(f"noseroom: {line}", file=sys.stderr)


def _line(text: str) -> None:
    """One line, on a terminal in its width; what it runs on to is set in further."""
    if not sys.stdout.isatty():
        print(text, flush=True)
        return
    width = max(shutil.get_terminal_size().columns, 60)
    inset = " " * (len(text) - len(text.lstrip()) + 2)
    print(textwrap.fill(text, width, subsequent_indent=inset), flush=True)


def _watch(options: argparse.Namespace) -> int:
    from noseroom.report.progress import showing_progress
    from noseroom.watching import watch

    with showing_progress() as bar:
        # Whoever reads it in a pipe wants each line when it is said.
        watch(
            options.file,
            _line,
            files_from=options.files_from,
            progress=bar,
            remark=_remark,
        )
    return 0


def _workshop(options: argparse.Namespace) -> int:
    from noseroom.making import make
    from noseroom.report.progress import showing_progress
    from noseroom.workshop.bench import FOLDER, NothingToMakeError

    try:
        with showing_progress() as say:
            bench = make(
                options.file,
                outputs=options.outputs,
                progress=say,
                files_from=options.files_from,
                remark=_remark,
                elements=options.elements,
            )
    except NothingToMakeError as error:
        for line in str(error).splitlines():
            _line(line)
        return NOTHING_TO_MAKE
    home = options.outputs / options.file.stem
    counts = Counter(Path(name).parent for name in bench.names)
    for folder, count in counts.items():
        if folder.name == FOLDER:
            continue
        files = "1 file" if count == 1 else f"{count} files"
        _line(f"written: {(home / folder).as_posix()}/ ({files})")
    for name in bench.names:
        if Path(name).parent.name == FOLDER:
            _line(f"written: {(home / name).as_posix()}")
    _line(f"on the page: {(home / 'page.html').as_posix()}, under To make")
    for line in (*bench.remarks, *bench.doubts, *bench.refused):
        _line(line)
    return SOME_REFUSED if bench.refused or bench.doubts else 0


def _choices(options: argparse.Namespace) -> int:
    from noseroom.findings import COOLING
    from noseroom.making import choices
    from noseroom.report.progress import showing_progress

    with showing_progress() as say:
        found = choices(
            options.file,
            outputs=options.outputs,
            progress=say,
            files_from=options.files_from,
            remark=_remark,
        )
    if not found.findings:
        _line(
            "Nothing to choose: write cooling: into the file, and where the radiator is, to be "
            "told what to buy."
        )
        return NOTHING_TO_MAKE
    for one in found.findings:
        title = one.id.removeprefix(COOLING)
        _line(f"{title[:1].upper()}{title[1:]}: {one.verdict.value}")
        _line(f"  {one.note}")
        for number, remedy in enumerate(one.remedies, start=1):
            _line(f"  {number}. {remedy}")
        _line("")
    _line("Beside all of this:")
    for text in found.cautions:
        _line(f"  {text}")
    home = options.outputs / options.file.stem
    _line("")
    for name in found.names:
        _line(f"written: {(home / name).as_posix()}")
    _line(f"on the page: {(home / 'page.html').as_posix()}, under To buy")
    return 0


def _kinds(options: argparse.Namespace) -> int:
    from noseroom.envelope.suggest import did_you_mean, listed
    from noseroom.parts.registry import KINDS
    from noseroom.report.kinds_text import every_kind, one_kind

    named = " ".join(options.kind).casefold()
    words = {word: kind for kind in KINDS.values() for word in (kind.name, *kind.also)}
    if named and named not in words:
        hint = did_you_mean(named, words) or listed(KINDS)
        raise NoseroomError(f"{named!r} is no kind of part ({hint})")
    print(one_kind(words[named]) if named else every_kind(KINDS), end="")
    return 0


def _schema(options: argparse.Namespace) -> int:
    if options.which == "findings":
        from noseroom.report.result import result_schema

        made = result_schema()
    else:
        from noseroom.envelope.schema import json_schema
        from noseroom.parts.registry import KINDS
        from noseroom.tables.clearances import clearance_rules

        made = json_schema(KINDS, rule_keys=clearance_rules())
    print(json.dumps(made, indent=1, ensure_ascii=False))
    return 0


if __name__ == "__main__":
    sys.exit(main())
