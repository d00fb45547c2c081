"""The command line: ``heatq endquench`` and its siblings. Thin: every command calls the library.

Exit codes: 0 done, 2 bad input with a one-paragraph message, 1 a failed computation, 130 interrupted.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Sequence

from heatq._version import __version__
from heatq.commands import endquench
from heatq.errors import DataError, InputError, SolverError

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    parser = argparse.ArgumentParser(
        prog="heatq",
        description="Will this steel, in this section, reach its hardness in this quench?",
    )
    parser.add_argument("--version", action="version", version=f"heatq {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    endquench.add_parser(commands)
    arguments = parser.parse_args(argv)

    def show(message: Warning | str, *_: object, **__: object) -> None:
        print(f"note: {message}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.showwarning = show
        try:
            return int(arguments.run(arguments))
        except (InputError, DataError) as error:
            print(f"heatq {arguments.command}: {error}", file=sys.stderr)
            return 2
        except SolverError as error:
            print(f"heatq {arguments.command}: {error}", file=sys.stderr)
            return 1
        except KeyboardInterrupt:
            print("interrupted", file=sys.stderr)
            return 130


if __name__ == "__main__":
    sys.exit(main())
