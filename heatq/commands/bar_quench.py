"""Arguments of a bar or tube and of its quench, shared by the commands that cool one."""

from __future__ import annotations

import argparse
from typing import Any

from scipy.constants import atm, bar

from heatq.commands.common import GASES, check_steel_arguments, gas_of
from heatq.commands.quantities import in_unit, plain_number, quantity
from heatq.errors import InputError

__all__ = ["BELONGS", "MEDIA", "add_quench_arguments", "check_quench_arguments", "piece_and_quench"]

MEDIA = ("gas-cross", "gas-along", "water", "oil", "still-air", "severity", "h-table")

#: Arguments that only some media read: (media, default; None: left to the medium, or must be given).
BELONGS: dict[str, tuple[tuple[str, ...], Any]] = {
    "gas": (("gas-cross", "gas-along"), "nitrogen"),
    "pressure": (("gas-cross", "gas-along"), atm),
    "gas_temperature": (("gas-cross", "gas-along"), 25.0),
    "turbulence_factor": (("gas-cross", "gas-along"), 1.0),
    "ramp": (("gas-cross", "gas-along"), None),
    "velocity": (("gas-cross", "gas-along", "water"), None),
    "bath": (("oil",), "conventional"),
    "agitation": (("oil",), None),
    "bath_temperature": (("water", "oil", "severity", "h-table"), None),
    "severity": (("severity",), None),
    "severity_conductivity": (("severity",), None),
    "h_table": (("h-table",), None),
}


def add_quench_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the group of the quench."""
    degrees = quantity("degC", "60 degC")
    seconds = quantity("s", "5 s")
    quench = parser.add_argument_group("quench")
    quench.add_argument(
        "--medium",
        choices=MEDIA,
        help="gas across or along the piece, water, oil, still air, Grossmann's severity, or a table of measured h (default "
        "gas-cross with --gas)",
    )
    quench.add_argument("--gas", metavar="NAME", help=f"{GASES} (default nitrogen)")
    quench.add_argument(
        "--velocity", type=quantity("m/s", "20 m/s"), metavar="SPEED", help="of gas or water; still water: 0 (default)"
    )
    quench.add_argument("--pressure", type=quantity("Pa", "10 bar"), help="of the gas, absolute (default 1 atm)")
    quench.add_argument("--gas-temperature", type=degrees, metavar="TEMPERATURE", help="of the gas (default 25 degC)")
    quench.add_argument(
        "--turbulence-factor",
        type=plain_number("1.2"),
        metavar="FACTOR",
        help="multiplies h, the heat-transfer coefficient of the gas (default 1)",
    )
    quench.add_argument("--bath", choices=("conventional", "fast", "marquenching"), help="oil (default conventional)")
    quench.add_argument(
        "--agitation",
        metavar="WORD",
        help="of the oil: none, mild, moderate, good, strong, violent (default: none, fast oil moderate)",
    )
    quench.add_argument(
        "--bath-temperature",
        type=degrees,
        metavar="TEMPERATURE",
        help="default water 25, oil 60, marquenching oil 150 degC; needed with severity and h-table",
    )
    quench.add_argument(
        "--severity", type=plain_number("0.35"), metavar="H", help="Grossmann's quench severity, 1/inch"
    )
    quench.add_argument(
        "--severity-conductivity",
        type=plain_number("35"),
        metavar="CONDUCTIVITY",
        help="conductivity, W/mK, that this H was made with: 25 hot austenite, 35 to 40 cold ferrite (needed with H)",
    )
    quench.add_argument(
        "--h-table", metavar="FILE", help="measured h: CSV with columns temperature (degC) and coefficient (W/m2K)"
    )
    quench.add_argument(
        "--initial-temperature",
        type=quantity("degC", "1550 degF"),
        metavar="TEMPERATURE",
        help="of the piece (default: the steel's austenitizing temperature)",
    )
    quench.add_argument(
        "--emissivity",
        type=plain_number("0.8"),
        metavar="NUMBER",
        help="0 to 1, for radiation in gas (default 0.3, bright) and air (default 0.8, scaled) to walls as cold as these",
    )
    stages = parser.add_argument_group("stages")
    stages.add_argument(
        "--transfer", type=seconds, default=0.0, metavar="TIME", help="in still air before the medium (default 0 s)"
    )
    stages.add_argument(
        "--ramp", type=seconds, metavar="TIME", help="in which the gas rises from 1 bar to --pressure (default 0 s)"
    )
    stages.add_argument(
        "--interrupt",
        type=seconds,
        metavar="TIME",
        help="end of the stay in the medium, then still air (default: stays)",
    )
    stages.add_argument(
        "--air-temperature",
        type=degrees,
        default=25.0,
        metavar="TEMPERATURE",
        help="of still air, as medium and in stages (default 25 degC)",
    )


def check_quench_arguments(arguments: argparse.Namespace) -> None:
    """Choose the medium, refuse arguments that it would ignore, fill in defaults."""
    check_steel_arguments(arguments)
    if arguments.medium is None:
        for name, medium in (("severity", "severity"), ("h_table", "h-table"), ("gas", "gas-cross")):
            if getattr(arguments, name) is not None:
                arguments.medium = medium
                break
        else:
            raise InputError(f"no medium: write --medium with one of {', '.join(MEDIA)}, or --gas nitrogen.")
    medium = arguments.medium
    for name, (media, default) in BELONGS.items():
        if getattr(arguments, name) is None:
            setattr(arguments, name, default if medium in media else None)
        elif medium not in media:
            flag = "--" + name.replace("_", "-")
            raise InputError(
                f"{flag} belongs to --medium {' or '.join(media)} and would be ignored with {medium}: leave it out."
            )
    needed = {
        "gas-cross": ("velocity",),
        "gas-along": ("velocity",),
        "severity": ("severity", "severity_conductivity", "bath_temperature"),
        "h-table": ("h_table", "bath_temperature"),
    }
    for name in needed.get(medium, ()):
        if getattr(arguments, name) is None:
            flag = "--" + name.replace("_", "-")
            raise InputError(f"--medium {medium} needs {flag}; 'heatq bar --help' says what it is.")
    if arguments.gas:
        arguments.gas = gas_of(arguments.gas)
    if medium == "gas-along" and arguments.length is None:
        raise InputError("--medium gas-along needs --length, the distance that the gas runs along the piece.")
    if arguments.bore is None and arguments.bore_medium:
        raise InputError("--bore-medium says what a bore sees: give its diameter with --bore, or leave it out.")
    if arguments.bore is not None and medium == "gas-cross" and arguments.bore_medium in (None, "same"):
        raise InputError(
            "gas across a tube does not flow through its bore: say --bore-medium still (the same gas at rest) or "
            "--bore-medium insulated, or blow along the tube with --medium gas-along."
        )


def _air(arguments: argparse.Namespace) -> Any:
    from heatq.boundaries import Radiation, StillAir

    emissivity = 0.8 if arguments.emissivity is None else arguments.emissivity
    return StillAir(arguments.air_temperature) + Radiation(emissivity, arguments.air_temperature)


def _gas(arguments: argparse.Namespace) -> tuple[Any, str]:
    from heatq.boundaries import GasAlong, GasCrossflow, Radiation, Ramp
    from heatq.boundaries.gas import gas_name

    kind: Any = GasCrossflow if arguments.medium == "gas-cross" else GasAlong
    flow: Any = kind(
        arguments.gas,
        velocity=arguments.velocity,
        pressure=arguments.pressure,
        temperature=arguments.gas_temperature,
        turbulence_factor=arguments.turbulence_factor,
    )
    if arguments.ramp:
        flow = Ramp(flow, [0.0, arguments.ramp], pressure=[1.0 * bar, arguments.pressure])
    emissivity = 0.3 if arguments.emissivity is None else arguments.emissivity
    where = "across" if arguments.medium == "gas-cross" else "along"
    label = f"{gas_name(arguments.gas)} {where}, {arguments.pressure / bar:.4g} bar, {arguments.velocity:g} m/s"
    return flow + Radiation(emissivity, arguments.gas_temperature), label


def _medium(arguments: argparse.Namespace) -> tuple[Any, str]:
    """Boundary of the medium, and its name in words."""
    from heatq.boundaries import CoefficientTable, GrossmannQuench, OilBath, WaterBath

    bath = arguments.bath_temperature
    if arguments.medium in ("gas-cross", "gas-along"):
        return _gas(arguments)
    if arguments.medium == "water":
        water = WaterBath(25.0 if bath is None else bath, arguments.velocity or 0.0)
        return water, f"water bath, {in_unit(water.temperature, 'degC')}, {water.velocity:g} m/s"
    if arguments.medium == "oil":
        oil = OilBath(arguments.bath, temperature=bath, agitation=arguments.agitation)
        return oil, f"{oil.kind} oil, {in_unit(oil.temperature, 'degC')}, agitation {oil.agitation}"
    if arguments.medium == "severity":
        constant = GrossmannQuench(arguments.severity, bath, arguments.severity_conductivity)
        told = f"H = {arguments.severity:g} per inch, h = {constant.coefficient:.0f} W/m2K, {in_unit(bath, 'degC')}"
        return constant, told
    if arguments.medium == "h-table":
        measured = CoefficientTable.read(arguments.h_table, fluid_temperature=bath)
        return measured, f"measured h of {arguments.h_table}, {in_unit(bath, 'degC')}"
    return _air(arguments), f"still air, {in_unit(arguments.air_temperature, 'degC')}"


def _stages(arguments: argparse.Namespace, medium: Any) -> Any:
    from heatq.boundaries import Stages

    air = _air(arguments)
    stages = [(arguments.transfer, air)] if arguments.transfer else []
    if arguments.interrupt is None:
        return Stages(*stages, (None, medium)) if stages else medium
    return Stages(*stages, (arguments.interrupt, medium), (None, air))


def _bore(arguments: argparse.Namespace, medium: Any) -> Any:
    """What the bore sees; a bore radiates to itself, so there is no radiation when the gas in it rests."""
    from heatq.boundaries import Insulated, StillAir

    if arguments.bore_medium == "insulated":
        return Insulated()
    if arguments.bore_medium == "still":
        if arguments.gas:
            return StillAir(arguments.gas_temperature, gas=arguments.gas, pressure=arguments.pressure)
        return StillAir(arguments.air_temperature)
    return _stages(arguments, medium)


def _told(arguments: argparse.Namespace) -> str:
    """The stages, in words."""
    words = ""
    if arguments.ramp:
        words += f", filled from 1 bar in {arguments.ramp:g} s"
    if arguments.transfer:
        words += f", after {arguments.transfer:g} s in still air"
    if arguments.interrupt is not None:
        words += f", for {arguments.interrupt:g} s, then still air"
    return words


def piece_and_quench(arguments: argparse.Namespace) -> tuple[Any, dict[str, Any], str]:
    """Piece, boundaries of its faces, and the quench in words, from checked arguments."""
    from heatq.specimens import RoundBar, Tube

    medium, label = _medium(arguments)
    piece: Any
    if arguments.bore is None:
        piece = RoundBar(arguments.diameter, arguments.length)
    else:
        piece = Tube(arguments.diameter, arguments.bore, arguments.length)
    outside = _stages(arguments, medium)
    boundaries = {face: _bore(arguments, medium) if side == "bore" else outside for face, side in piece.faces.items()}
    return piece, boundaries, label + _told(arguments)
