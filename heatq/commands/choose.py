"""``heatq choose``: least pressure or velocity for each gas, the largest section, or a table of alternatives."""

from __future__ import annotations

import argparse
import pathlib
import re
import textwrap
from typing import Any

from scipy.constants import bar

from heatq.commands.common import (
    EPILOG,
    GASES,
    add_report_argument,
    add_steel_arguments,
    check_steel_arguments,
    gas_of,
    heat_in_words,
    make_folder,
    piece_in_words,
    read_steel,
    say_caution,
    write_reports,
)
from heatq.commands.quantities import add_units_argument, in_unit, plain_number, quantity
from heatq.errors import InputError

__all__ = ["add_parser", "run"]

#: Where the searches for the least pressure (Pa) and velocity (m/s) begin.
_BEGIN = {"pressure": 1.0 * bar, "velocity": 1.0}
_GASES = ("nitrogen", "argon", "helium", "hydrogen")


def _hardness(text: str) -> dict[str, float]:
    """Hardness with its scale as the argument of a requirement; HRC without one."""
    found = re.fullmatch(r"\s*([-+]?\d+\.?\d*)\s*(HRC|HV|)\s*", text, re.IGNORECASE)
    if found:
        return {"hardness_hv" if found[2].upper() == "HV" else "hardness_hrc": float(found[1])}
    raise argparse.ArgumentTypeError(f"{text!r} is no hardness; write 45, '45 HRC' or '450 HV'.")


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "choose",
        help="least pressure or velocity, largest section, or a table of quenches for a required hardness",
        description="Find what is enough: the least pressure (default) or velocity for each gas; the largest section that each gas "
        "hardens; or compare alternatives in a table. The velocity is that at the piece, not at the nozzles.",
        epilog=EPILOG,
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--least", choices=("pressure", "velocity"), help="the least pressure (default) or velocity that is enough"
    )
    what.add_argument(
        "--largest-section", action="store_true", help="the largest diameter of a long bar that is hard enough"
    )
    what.add_argument("--table", action="store_true", help="compare the gases as set, and the --bath media")
    add_steel_arguments(parser)
    length = quantity("m", "75 mm")
    piece = parser.add_argument_group("piece")
    piece.add_argument("--diameter", type=length, help="of the round bar (not with --largest-section)")
    piece.add_argument("--length", type=length, help="left out: a long bar")
    asked = parser.add_argument_group("requirement")
    asked.add_argument(
        "--hardness", type=_hardness, metavar="HRC", help="at least, as quenched: 45, '45 HRC' or '450 HV'"
    )
    asked.add_argument(
        "--martensite",
        type=plain_number("0.9"),
        metavar="FRACTION",
        help="at least, such as 0.9, instead of --hardness",
    )
    asked.add_argument(
        "--probe", action="append", metavar="NAME", help="place that must meet it (default centre); repeat for more"
    )
    quench = parser.add_argument_group("quench")
    quench.add_argument(
        "--gas", action="append", metavar="NAME", help=f"{GASES}; repeat for more (default "
        "nitrogen, argon, helium and hydrogen, each)",
    )  # fmt: skip
    quench.add_argument("--velocity", type=quantity("m/s", "20 m/s"), metavar="SPEED", help="of the gas at the piece")
    quench.add_argument(
        "--pressure",
        type=quantity("Pa", "10 bar"),
        action="append",
        help="of the gas, absolute; with --table repeat for more",
    )
    quench.add_argument("--gas-temperature", type=quantity("degC", "40 degC"), default=40.0, metavar="TEMPERATURE",
                        help="of the gas (default 40 degC)")  # fmt: skip
    quench.add_argument(
        "--factor",
        type=plain_number("1.2"),
        default=1.0,
        metavar="NUMBER",
        help="multiplies the heat-transfer coefficient of the gas (default 1)",
    )
    quench.add_argument(
        "--emissivity",
        type=plain_number("0.3"),
        default=0.3,
        metavar="NUMBER",
        help="0 to 1, for radiation in gas (default 0.3)",
    )
    quench.add_argument("--highest", metavar="QUANTITY", help="where the search ends (default 25 bar or 100 m/s)")
    quench.add_argument(
        "--bath",
        action="append",
        default=[],
        choices=("conventional", "fast", "marquenching", "water"),
        help="with --table: an oil, or water, as further alternative; repeat for more",
    )
    quench.add_argument("--initial-temperature", type=quantity("degC", "850 degC"), metavar="TEMPERATURE",
                        help="of the piece (default: the steel's austenitizing temperature)")  # fmt: skip
    output = parser.add_argument_group("output")
    output.add_argument(
        "--sort-by",
        metavar="COLUMN",
        help="of the table: least_margin (default), probability, time_to_60, pressure, velocity",
    )
    output.add_argument("--quick", action="store_true", help="faster: the answer without its 95 %% range")
    output.add_argument(
        "--accuracy",
        type=quantity("K", "1 K"),
        default=1.0,
        metavar="DIFFERENCE",
        help="of the histories (default 1 K)",
    )
    output.add_argument("--out", metavar="DIR", default="heatq-out", help="folder for the files (default heatq-out)")
    add_report_argument(output)
    add_units_argument(output)
    parser.set_defaults(run=run)


def _check(arguments: argparse.Namespace) -> str:
    check_steel_arguments(arguments)
    mode = (
        "largest-section"
        if arguments.largest_section
        else "table"
        if arguments.table
        else arguments.least or "pressure"
    )
    if mode == "largest-section":
        if arguments.diameter is not None or arguments.length is not None:
            raise InputError(
                "--largest-section searches for the diameter of a long bar: leave --diameter and --length out."
            )
    elif arguments.diameter is None:
        raise InputError("--diameter is missing: give the bar's, such as --diameter '75 mm'.")
    if (arguments.hardness is None) == (arguments.martensite is None):
        raise InputError("give one requirement: --hardness 50 (HRC) or --martensite 0.9.")
    if mode != "velocity" and arguments.velocity is None:
        raise InputError("--velocity is missing: the speed of the gas at the piece, such as --velocity '20 m/s'.")
    if mode == "velocity" and arguments.velocity is not None:
        raise InputError("--least velocity searches for the velocity: leave --velocity out.")
    if mode == "pressure" and arguments.pressure:
        raise InputError("--least pressure searches for the pressure: leave --pressure out, or use --highest.")
    if mode != "pressure" and not arguments.pressure:
        raise InputError("--pressure is missing: such as --pressure '10 bar'.")
    if mode != "table":
        for flag, given in (("--bath", arguments.bath), ("--sort-by", arguments.sort_by)):
            if given:
                raise InputError(f"{flag} belongs to --table: leave it out.")
        if arguments.pressure and len(arguments.pressure) > 1:
            raise InputError("several --pressure belong to --table: give one.")
    if arguments.highest and mode not in ("pressure", "velocity"):
        raise InputError("--highest belongs to --least: leave it out.")
    return mode


def run(arguments: argparse.Namespace) -> int:
    """Search or compare, print, draw, write."""
    from heatq.decide import GasQuench, Requirement

    mode = _check(arguments)
    steel = read_steel(arguments)
    probes = tuple(arguments.probe or ("centre",))
    requirement = Requirement(**(arguments.hardness or {"martensite": arguments.martensite}), probes=probes)
    base = GasQuench(
        velocity=arguments.velocity or 20.0,
        pressure=arguments.pressure[0] if arguments.pressure else 5.0 * bar,
        temperature=arguments.gas_temperature,
        factor=arguments.factor,
        emissivity=arguments.emissivity,
    )
    gases = [gas_of(text) for text in arguments.gas or _GASES]
    quenches = [base.replace(gas=gas) for gas in gases]
    folder = make_folder(arguments.out)
    common: dict[str, Any] = {
        "initial_temperature": arguments.initial_temperature,
        "accuracy": arguments.accuracy,
        "kinetics": arguments.kinetics,
    }
    if mode != "table":
        common["confidence"] = None if arguments.quick else 0.95
    print(f"{heat_in_words(steel)}\n")
    if mode == "table":
        results, figures, words = _table(arguments, steel, quenches, requirement, common)
    elif mode == "largest-section":
        results, figures, words = _sections(steel, quenches, requirement, common)
    else:
        results, figures, words = _least(arguments, mode, steel, base, gases, requirement, common)
    print("\n".join(_wrapped(line) for line in words.splitlines()) + "\n")
    _write(folder, results, figures)
    write_reports(arguments, folder, results, None)
    say_caution()
    return 0


def _wrapped(line: str) -> str:
    """A sentence on several lines if it is long; a line of the table as it is."""
    return textwrap.fill(line, 120, subsequent_indent="    ") if "; there " in line or "note: " in line else line


def _piece(arguments: argparse.Namespace) -> Any:
    from heatq.specimens import RoundBar

    return RoundBar(arguments.diameter, arguments.length)


def _least(
    arguments: argparse.Namespace, mode: str, steel: Any, base: Any, gases: list, requirement: Any, common: dict
) -> tuple[dict[str, Any], dict[str, Any], str]:
    from heatq.decide import answer_text, enough_quench
    from heatq.plot_decide import answers_chart, margin_curve

    highest = None
    if arguments.highest:
        unit, example = ("Pa", "20 bar") if mode == "pressure" else ("m/s", "60 m/s")
        try:
            highest = quantity(unit, example)(arguments.highest)
        except argparse.ArgumentTypeError as error:
            raise InputError(f"--highest: {error}") from None
        if highest <= _BEGIN[mode]:
            raise InputError(
                f"--highest {arguments.highest}: the search begins at {in_unit(_BEGIN[mode], unit)}; name more."
            )
    piece = _piece(arguments)
    found = enough_quench(piece, steel, base, requirement, gases=gases, search=mode, highest=highest, **common)
    fixed = f"{base.pressure / bar:g} bar" if mode == "velocity" else f"{base.velocity:g} m/s at the piece"
    figures = {"margin.png": margin_curve(found), "gases.png": answers_chart(found)}
    words = "\n".join(answer_text(found).splitlines()[:-1])  # the caution comes once, at the end
    return {"choose": found}, figures, f"{piece_in_words(piece)}; {fixed}\n{words}"


def _sections(steel: Any, quenches: list, requirement: Any, common: dict) -> tuple[dict[str, Any], dict[str, Any], str]:
    from heatq.decide import answer_text, largest_section
    from heatq.plot_decide import margin_curve

    results, figures, words = {}, {}, []
    for n, quench in enumerate(quenches, 1):
        found = largest_section(steel, quench, requirement, **common)
        results[f"section-{n}"] = found
        figures[f"section-{n}.png"] = margin_curve(found)
        words += answer_text(found).splitlines()[0 if n == 1 else 1 : -1]
    return results, figures, "\n".join(words)


def _table(
    arguments: argparse.Namespace, steel: Any, quenches: list, requirement: Any, common: dict
) -> tuple[dict[str, Any], dict[str, Any], str]:
    from heatq.boundaries import OilBath, WaterBath
    from heatq.decide import BathQuench, decision_table, decision_text
    from heatq.decide.table import short_labels
    from heatq.plot_decide import decision_chart

    every = [quench.replace(pressure=p) for quench in quenches for p in arguments.pressure]
    for name in arguments.bath:
        every.append(BathQuench(WaterBath() if name == "water" else OilBath(name)))
    table = decision_table(
        _piece(arguments), steel, every, requirement, sort_by=arguments.sort_by or "least_margin", **common
    )
    drawn = table.assign_coords(alternative=("alternative", short_labels(table["alternative"].values)))
    return (
        {"table": table},
        {"table.png": decision_chart(drawn)},
        f"{piece_in_words(_piece(arguments))}\n{decision_text(table)}",
    )


def _write(folder: pathlib.Path, results: dict[str, Any], figures: dict[str, Any]) -> None:
    from heatq.files import save_netcdf

    try:
        for name, axes in figures.items():
            axes.figure.savefig(folder / name, dpi=200)
        for name, result in results.items():
            save_netcdf(result, folder / f"{name}.nc")
    except OSError as error:
        raise InputError(
            f"--out {folder}: {error.filename or 'a file'} cannot be written ({error.strerror})."
        ) from None
    print(f"written to {folder}/: {', '.join([*figures, *(f'{name}.nc' for name in results)])}")
