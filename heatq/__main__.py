"""The command line: ``heatq endquench`` and its siblings. Thin: every command calls the library.

Exit codes: 0 done, 2 bad input with a one-paragraph message, 1 a failed computation, 130 interrupted.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Sequence

from heatq._version import __version__
from heatq.commands import bar, calibrate, cct, choose, endquench, log, media, place, study, warm_up
from heatq.errors import AccuracyWarning, DataError, InputError, SolverError, ValidityWarning

__all__ = ["main"]

#: What the library's own advice (write 10*bar with scipy.constants) means on the command line.
UNITS_HERE = " On the command line write the unit with the number: '10 bar', '60 m/s', '0.5 inch', '1550 degF'."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    parser = argparse.ArgumentParser(
        prog="heatq",
        description="Will this steel, in this section, reach its hardness in this quench?",
    )
    parser.add_argument("--version", action="version", version=f"heatq {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in (endquench, bar, calibrate, cct, choose, log, media, place, study, warm_up):
        command.add_parser(commands)
    arguments = parser.parse_args(argv)

    said = set()

    def show(message: Warning | str, *_: object, **__: object) -> None:
        if str(message) not in said:
            said.add(str(message))
            print(f"note: {message}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.simplefilter("always", ValidityWarning)
        warnings.simplefilter("always", AccuracyWarning)
        warnings.showwarning = show
        try:
            return int(arguments.run(arguments))
        except (InputError, DataError) as error:
            cure = UNITS_HERE if "heatq.units." in str(error) or "scipy.constants" in str(error) else ""
            print(f"heatq {arguments.command}: {error}{cure}", file=sys.stderr)
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
