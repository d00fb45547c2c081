"""``heatq choose``: least pressure or velocity for each gas, the largest section, or a table of alternatives."""

from __future__ import annotations

import argparse
import pathlib
from typing import Any

from scipy.constants import bar

from heatq.commands.common import (
    CAUTION,
    add_report_argument,
    add_steel_arguments,
    check_steel_arguments,
    make_folder,
    read_steel,
    write_reports,
)
from heatq.commands.quantities import quantity
from heatq.errors import InputError

__all__ = ["add_parser", "run"]

_GASES = ("nitrogen", "argon", "helium", "hydrogen")


def _hardness(text: str) -> dict[str, float]:
    """Hardness with its scale as the argument of a requirement; HRC without one."""
    number, _, scale = text.strip().partition(" ")
    name = {"": "hardness_hrc", "HRC": "hardness_hrc", "HV": "hardness_hv"}.get(scale.strip().upper())
    try:
        if name is not None:
            return {name: float(number)}
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"{text!r} is no hardness; write 45, '45 HRC' or '450 HV'.")


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "choose",
        help="least pressure or velocity, largest section, or a table of quenches for a required hardness",
        description="Find what is enough: --least pressure (default) or velocity for each gas; --largest-section that each gas "
        "hardens; or --table of alternatives. The velocity is that at the piece, not at the nozzles.",
        epilog=CAUTION,
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--least", choices=("pressure", "velocity"), help="search for it (default pressure)")
    what.add_argument("--largest-section", action="store_true", help="of a long round bar")
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
        "--martensite", type=float, metavar="FRACTION", help="at least, such as 0.9, instead of --hardness"
    )
    asked.add_argument(
        "--probe", action="append", metavar="NAME", help="place that must meet it (default centre); repeat for more"
    )
    quench = parser.add_argument_group("quench")
    quench.add_argument(
        "--gas", action="append", metavar="NAME", help="nitrogen, argon, helium, hydrogen, or a mixture such as "
        "'helium 60 argon 40' in mole %%; repeat; default all four",
    )  # fmt: skip
    quench.add_argument("--velocity", type=quantity("m/s", "20 m/s"), help="at the piece")
    quench.add_argument(
        "--pressure", type=quantity("Pa", "10 bar"), action="append", help="absolute; with --table repeat"
    )
    quench.add_argument("--gas-temperature", type=quantity("degC", "40 degC"), default=40.0, metavar="TEMPERATURE")
    quench.add_argument("--factor", type=float, default=1.0, help="multiplies h: turbulence, calibration (default 1)")
    quench.add_argument("--emissivity", type=float, default=0.3, help="for radiation in gas (default 0.3)")
    quench.add_argument("--highest", metavar="QUANTITY", help="end of the search, such as '20 bar' or '60 m/s'")
    quench.add_argument("--bath", action="append", default=[], metavar="NAME", help="with --table: conventional, fast, "
                        "marquenching (oils), water; repeat")  # fmt: skip
    quench.add_argument("--initial-temperature", type=quantity("degC", "850 degC"), metavar="TEMPERATURE")
    output = parser.add_argument_group("output")
    output.add_argument("--sort-by", metavar="COLUMN", help="of the table (default least_margin)")
    output.add_argument("--quick", action="store_true", help="leave out the range of the answer (many searches more)")
    output.add_argument("--accuracy", type=float, default=1.0, help="of the histories, K (default 1)")
    output.add_argument("--out", metavar="DIR", default="heatq-out", help="folder for the files (default heatq-out)")
    add_report_argument(output)
    parser.set_defaults(run=run)


def _gas(text: str) -> Any:
    """Name of a gas, or mole fractions from 'helium 60 argon 40'."""
    words = text.replace("%", " ").replace("+", " ").casefold().split()
    if len(words) == 1:
        return words[0]
    try:
        return {name: float(share) / 100.0 for name, share in zip(words[::2], words[1::2], strict=True)}
    except ValueError:
        raise InputError(f"--gas {text!r}: write a name, or a mixture as 'helium 60 argon 40' in mole %.") from None


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
    gases = [_gas(text) for text in arguments.gas or _GASES]
    quenches = [base.replace(gas=gas) for gas in gases]
    folder = make_folder(arguments.out)
    common: dict[str, Any] = {
        "initial_temperature": arguments.initial_temperature,
        "accuracy": arguments.accuracy,
        "kinetics": arguments.kinetics,
    }
    if mode != "table":
        common["confidence"] = None if arguments.quick else 0.95
    print(f"{steel!r}\n")
    if mode == "table":
        results, figures, words = _table(arguments, steel, quenches, requirement, common)
    elif mode == "largest-section":
        results, figures, words = _sections(steel, quenches, requirement, common)
    else:
        results, figures, words = _least(arguments, mode, steel, base, gases, requirement, common)
    print(f"{words}\n")
    _write(folder, results, figures)
    write_reports(arguments, folder, results, None)
    print(CAUTION)
    return 0


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
    piece = _piece(arguments)
    found = enough_quench(piece, steel, base, requirement, gases=gases, search=mode, highest=highest, **common)
    fixed = f"{base.pressure / bar:g} bar" if mode == "velocity" else f"{base.velocity:g} m/s at the piece"
    figures = {"margin.png": margin_curve(found), "gases.png": answers_chart(found)}
    words = "\n".join(answer_text(found).splitlines()[:-1])  # the caution comes once, at the end
    return {"choose": found}, figures, f"{piece!r}, {fixed}\n{words}"


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
    from heatq.plot_decide import decision_chart

    every = [quench.replace(pressure=p) for quench in quenches for p in arguments.pressure]
    for name in arguments.bath:
        every.append(BathQuench(WaterBath() if name == "water" else OilBath(name)))
    table = decision_table(
        _piece(arguments), steel, every, requirement, sort_by=arguments.sort_by or "least_margin", **common
    )
    return {"table": table}, {"table.png": decision_chart(table)}, f"{_piece(arguments)!r}\n{decision_text(table)}"


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
