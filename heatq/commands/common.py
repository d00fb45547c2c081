"""What the commands that run a trial share: the arguments for the steel, the folder for the results, the caution."""

from __future__ import annotations

import argparse
import os
import pathlib
import shlex
import sys
from collections.abc import Mapping
from typing import Any

from heatq.errors import InputError

__all__ = [
    "CAUTION",
    "add_report_argument",
    "add_steel_arguments",
    "check_steel_arguments",
    "make_folder",
    "read_steel",
    "write_reports",
]

CAUTION = (
    "For planning trials only, never a release certificate. Hot work, pressure vessels, inert gas (asphyxiation), "
    "hydrogen, steam and oil fire are hazards: local codes, the furnace maker and licensed practice decide."
)


def add_steel_arguments(parser: argparse.ArgumentParser) -> None:
    """Add --heat, --heat-name and --grade."""
    steel = parser.add_argument_group("steel")
    steel.add_argument("--heat", metavar="FILE", help="heat certificate, TOML or CSV")
    steel.add_argument("--heat-name", metavar="NAME", help="which heat of a certificate file that holds several")
    steel.add_argument("--grade", help="nominal grade, such as 4140")
    steel.add_argument(
        "--kinetics",
        default="published",
        help="published (default, nothing fitted) or calibrated (five numbers chosen on hardenability bands and rounds)",
    )


def check_steel_arguments(arguments: argparse.Namespace) -> None:
    """Refuse two steels at once, and a name without a file."""
    if arguments.heat and arguments.grade:
        raise InputError("--heat and --grade are both given; one heat at a time.")
    if arguments.heat_name and not arguments.heat:
        raise InputError("--heat-name picks a heat from a certificate file: name the file with --heat.")


def read_steel(arguments: argparse.Namespace) -> Any:
    """The heat of the certificate, the grade, or the invented demo heat."""
    from heatq.steels import demo_heat, grade, read_certificate

    if arguments.heat:
        return read_certificate(arguments.heat, heat=arguments.heat_name)
    return grade(arguments.grade) if arguments.grade else demo_heat()


def add_report_argument(group: Any) -> None:
    """Add --report."""
    group.add_argument("--report", action="store_true", help="also write an HTML page to hand in, for each result")


def write_reports(arguments: argparse.Namespace, folder: pathlib.Path, results: Mapping[str, Any], steel: Any) -> None:
    """Write the page of every result beside its files, if it was asked for: name of the file -> result."""
    if not arguments.report:
        return
    from heatq.report import html

    asked = "heatq " + shlex.join(sys.argv[1:]) if sys.argv[1:] else ""
    for name, result in results.items():
        html(result, folder / f"{name}.html", asked=asked, steel=steel)
    print(f"written to {folder}/: {', '.join(f'{name}.html' for name in results)}")


def make_folder(name: str) -> pathlib.Path:
    """Folder for the results, made before anything is computed."""
    if not name.strip():
        raise InputError("--out is empty: name a folder for figure, CSV and NetCDF.")
    folder = pathlib.Path(name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"--out {folder}: the folder cannot be made ({error.strerror}).") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"--out {folder}: nothing can be written into this folder; name another.")
    return folder
