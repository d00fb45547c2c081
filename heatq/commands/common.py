"""What the commands that run a trial share: the arguments for the steel, the folder for the results, the caution."""

from __future__ import annotations

import argparse
import os
import pathlib
import shlex
import sys
import textwrap
from collections.abc import Mapping
from typing import Any

from heatq.commands.quantities import in_unit
from heatq.errors import InputError

__all__ = [
    "CAUTION",
    "EPILOG",
    "GASES",
    "add_report_argument",
    "add_steel_arguments",
    "check_steel_arguments",
    "gas_of",
    "heat_in_words",
    "make_folder",
    "piece_in_words",
    "read_steel",
    "say_caution",
    "write_reports",
]

CAUTION = (
    "For planning trials only, never a release certificate. Hot work, pressure vessels, inert gas (asphyxiation), "
    "hydrogen, steam and oil fire are hazards: local codes, the furnace maker and licensed practice decide."
)
#: Under the help of the commands that read quantities.
EPILOG = (
    "Write a number with its unit, in quotation marks if there is a space: '75 mm', '3 inch', '10 bar', '60 m/s', "
    "'200 mph', '20 min', '1550 degF'. A number without a unit is in m, Pa, m/s, s and degC (differences in K).\n\n"
    + CAUTION
)
#: What --gas takes.
GASES = "nitrogen, argon, helium, hydrogen, air, or a mixture in mole %%, such as 'helium 60 argon 40'"


def gas_of(text: str) -> Any:
    """Name of a gas, or mole fractions from 'helium 60 argon 40'."""
    from heatq.boundaries.gas import check_gas

    words = text.replace("%", " ").replace("+", " ").casefold().split()
    try:
        if len(words) == 1:
            gas: Any = words[0]
        else:
            shares = {name: float(share) for name, share in zip(words[::2], words[1::2], strict=True)}
            gas = {name: float(f"{share / 100.0:.9g}") for name, share in shares.items()}
    except ValueError:
        gas = {}
    if not gas:
        raise InputError(f"--gas {text!r}: write a name, or a mixture as 'helium 60 argon 40' in mole %.")
    if isinstance(gas, dict) and abs(sum(shares.values()) - 100.0) > 0.1:
        raise InputError(f"--gas {text!r}: the shares add up to {sum(shares.values()):g} %, not to 100 %.")
    check_gas(gas)
    return gas


def say_caution() -> None:
    """Print the caution, at the end of a command."""
    print(textwrap.fill(CAUTION, 120))


def add_steel_arguments(parser: argparse.ArgumentParser) -> None:
    """Add --heat, --heat-name and --grade."""
    steel = parser.add_argument_group("steel")
    steel.add_argument(
        "--heat", metavar="FILE", help="heat certificate: composition in mass %%, as TOML or CSV (default: a demo heat)"
    )
    steel.add_argument("--heat-name", metavar="NAME", help="which heat of a certificate file that holds several")
    steel.add_argument("--grade", metavar="NAME", help="nominal grade, such as 4140, instead of a certificate")
    steel.add_argument(
        "--kinetics",
        default="published",
        metavar="NAME",
        help="how fast phases form: published (default, nothing fitted) or calibrated (five numbers chosen on "
        "hardenability bands and rounds)",
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


def heat_in_words(steel: Any) -> str:
    """The heat as it is printed: name, composition, grain size, austenitizing temperature."""
    from heatq.steels.steel import ELEMENTS

    parts = ", ".join(f"{name}\xa0{getattr(steel, name):g}" for name in ELEMENTS if getattr(steel, name))
    told = f"{steel.name or 'steel'}: {parts}\xa0%, ASTM grain size {steel.grain_size:g}"
    if steel.austenitizing_temperature is not None:
        told += f", austenitized at {in_unit(steel.austenitizing_temperature, 'degC')}"
    return textwrap.fill(told, 120, subsequent_indent="  ", break_long_words=False).replace("\xa0", " ")


def piece_in_words(piece: Any) -> str:
    """The piece as it is printed."""
    length = "long" if piece.length is None else f"{in_unit(piece.length, 'm')} long"
    diameter = in_unit(2.0 * piece.outer_radius, "m")
    if hasattr(piece, "standard"):
        return f"end-quench bar, {piece.standard}: diameter {diameter}, {length}"
    if piece.inner_radius:
        return f"tube: diameter {diameter}, bore {in_unit(2.0 * piece.inner_radius, 'm')}, {length}"
    return f"round bar: diameter {diameter}, {length}"


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
