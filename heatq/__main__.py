"""The command line: ``heatq endquench`` and its siblings. Thin: every command calls the library.

Exit codes: 0 done, 2 bad input with a one-paragraph message, 1 a failed computation, 130 interrupted.
"""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Sequence

from heatq._version import __version__
from heatq.commands import bar, calibrate, cct, choose, endquench, log, media, place, study, warm_up
from heatq.commands.parser import Parser
from heatq.commands.told import on_command_line
from heatq.errors import AccuracyWarning, DataError, InputError, SolverError, ValidityWarning
from heatq.plot_style import units

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    parser = Parser(
        prog="heatq",
        description="Will this steel, in this section, reach its hardness in this quench?",
    )
    parser.add_argument("--version", action="version", version=f"heatq {__version__}", help="show the version")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in (endquench, bar, calibrate, cct, choose, log, media, place, study, warm_up):
        command.add_parser(commands)
    arguments = parser.parse_args(argv)

    said = set()

    def show(message: Warning | str, *_: object, **__: object) -> None:
        for note in re.split(r"(?<=computed all the same\.) ", str(message)):
            if note not in said:
                said.add(note)
                print(f"note: {note}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.simplefilter("always", ValidityWarning)
        warnings.simplefilter("always", AccuracyWarning)
        warnings.showwarning = show
        try:
            with units(*getattr(arguments, "units", (None, None))):
                return int(arguments.run(arguments))
        except (InputError, DataError) as error:
            said_of = parser.named(sys.argv[1:] if argv is None else argv)
            print(f"heatq {arguments.command}: {on_command_line(str(error), said_of, arguments)}", file=sys.stderr)
            return 2
        except SolverError as error:
            print(f"heatq {arguments.command}: {error}", file=sys.stderr)
            return 1
        except BrokenPipeError:  # the reader of our output went away, as head does
            sys.stderr.close()
            return 0
        except KeyboardInterrupt:
            print("interrupted", file=sys.stderr)
            return 130


if __name__ == "__main__":
    sys.exit(main())
