"""``heatq endquench``: hardness along the end-quench bar, in water or under a gas jet."""

from __future__ import annotations

import argparse
import pathlib
import time
from typing import Any

import numpy as np
from scipy.constants import atm, bar, inch

from heatq.commands.common import (
    EPILOG,
    GASES,
    add_report_argument,
    add_steel_arguments,
    check_steel_arguments,
    gas_of,
    heat_in_words,
    make_folder,
    read_steel,
    say_caution,
    write_reports,
)
from heatq.commands.quantities import add_units_argument, in_unit, plain_number, quantity
from heatq.commands.table import table, write_csv
from heatq.errors import InputError
from heatq.units import quenched_end

__all__ = ["add_parser", "check_arguments", "quench_of", "run"]


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "endquench",
        help="hardness along the end-quench (Jominy) bar, in water or under a gas jet",
        description="Predict cooling, structure and hardness along the standard end-quench bar. Without arguments: an "
        "invented demo heat in water.",
        epilog=EPILOG,
    )
    add_steel_arguments(parser)
    quench = parser.add_argument_group("quench")
    quench.add_argument("--gas", metavar="NAME", help=f"gas jet instead of water: {GASES}")
    quench.add_argument(
        "--velocity",
        type=quantity("m/s", "60 m/s"),
        metavar="SPEED",
        help="of the gas at the nozzle (needed with --gas)",
    )
    quench.add_argument(
        "--pressure", type=quantity("Pa", "4 bar"), metavar="PRESSURE", help="of the gas, absolute (default 1 atm)"
    )
    quench.add_argument(
        "--gas-temperature",
        type=quantity("degC", "25 degC"),
        metavar="TEMPERATURE",
        help="of the gas (default 25 degC)",
    )
    quench.add_argument(
        "--nozzle", type=quantity("m", "0.5 inch"), metavar="LENGTH", help="bore of the nozzle (default 0.5 inch)"
    )
    quench.add_argument(
        "--standoff",
        type=quantity("m", "0.5 inch"),
        metavar="LENGTH",
        help="from the nozzle to the face (default 0.5 inch)",
    )
    quench.add_argument(
        "--water-temperature",
        type=quantity("degC", "24 degC"),
        default=24.0,
        metavar="TEMPERATURE",
        help="of the water jet (default 24 degC)",
    )
    quench.add_argument(
        "--initial-temperature",
        type=quantity("degC", "1550 degF"),
        metavar="TEMPERATURE",
        help="of the bar (default: the steel's austenitizing temperature)",
    )
    quench.add_argument(
        "--transfer",
        type=quantity("s", "3 s"),
        default=0.0,
        metavar="TIME",
        help="in still air before the jet (default 0 s)",
    )
    quench.add_argument(
        "--emissivity",
        type=plain_number("0.3"),
        default=0.3,
        metavar="NUMBER",
        help="of side and top, 0 to 1: 0.3 protected (default), 0.8 scaled",
    )
    quench.add_argument("--compare-water", action="store_true", help="with --gas: also the same heat in water")
    output = parser.add_argument_group("measured data and output")
    output.add_argument(
        "--measured",
        metavar="FILE",
        help="hardness traverse to compare with: CSV with a column J, 'distance mm' or 'distance in', and HRC or HV",
    )
    output.add_argument(
        "--accuracy",
        type=quantity("K", "0.5 K"),
        default=0.5,
        metavar="DIFFERENCE",
        help="of the histories (default 0.5 K)",
    )
    output.add_argument(
        "--out", metavar="DIR", default="heatq-out", help="folder for figure, CSV, NetCDF (default heatq-out)"
    )
    add_report_argument(output)
    add_units_argument(output)
    parser.set_defaults(run=run)


#: Arguments that only a gas jet reads, and their defaults (None: must be given).
_GAS_ONLY = {
    "velocity": None,
    "pressure": atm,
    "gas_temperature": 25.0,
    "nozzle": 0.5 * inch,
    "standoff": 0.5 * inch,
}


def check_arguments(arguments: argparse.Namespace) -> None:
    """Refuse arguments that would be ignored, and fill in the gas jet's defaults."""
    if arguments.gas:
        if arguments.velocity is None:
            raise InputError("--gas needs --velocity, the speed at the nozzle, for instance --velocity '60 m/s'.")
        arguments.gas = gas_of(arguments.gas)
    for name, default in _GAS_ONLY.items():
        if getattr(arguments, name) is None:
            setattr(arguments, name, default)
        elif not arguments.gas:
            flag = "--" + name.replace("_", "-")
            raise InputError(
                f"{flag} belongs to a gas jet and would be ignored: name the gas with --gas, or leave it out."
            )
    if arguments.compare_water and not arguments.gas:
        raise InputError("--compare-water compares a gas jet with water; name the gas with --gas.")
    check_steel_arguments(arguments)


def quench_of(arguments: argparse.Namespace, with_gas: bool) -> dict[str, Any]:
    """Boundaries of the end-quench bar, from checked arguments."""
    from heatq.boundaries import GasJet, Radiation, Stages, StillAir, WaterJet

    air = StillAir(temperature=25.0) + Radiation(emissivity=arguments.emissivity, surroundings_temperature=25.0)
    jet: Any
    if with_gas:
        jet = GasJet(
            arguments.gas,
            velocity=arguments.velocity,
            pressure=arguments.pressure,
            temperature=arguments.gas_temperature,
            nozzle_diameter=arguments.nozzle,
            standoff=arguments.standoff,
        )
    else:
        jet = WaterJet(temperature=arguments.water_temperature)
    if arguments.transfer:
        jet = Stages((arguments.transfer, air), (None, jet))
    return {"jet": jet, "side": air, "top": air}


def run(arguments: argparse.Namespace) -> int:
    """Run the trial, print the table, write figure and files."""
    from heatq.boundaries.gas import gas_name
    from heatq.hardness.traverse import compare_traverse, read_traverse
    from heatq.specimens import EndQuenchBar
    from heatq.trials import trial

    check_arguments(arguments)
    measured = read_traverse(arguments.measured) if arguments.measured else None
    steel = read_steel(arguments)
    folder = make_folder(arguments.out)
    piece = EndQuenchBar()
    begin = time.perf_counter()

    def one(with_gas: bool) -> Any:
        return trial(
            piece,
            steel,
            quench_of(arguments, with_gas),
            initial_temperature=arguments.initial_temperature,
            accuracy=arguments.accuracy,
            kinetics=arguments.kinetics,
            with_interval=True,
        )

    results = {}
    if arguments.gas:
        label = f"{gas_name(arguments.gas)} jet {arguments.velocity:g} m/s, {arguments.pressure / bar:.4g} bar"
        results[label] = one(with_gas=True)
    if not arguments.gas or arguments.compare_water:
        results[f"water jet {in_unit(arguments.water_temperature, 'degC')}"] = one(with_gas=False)
    print(heat_in_words(steel))
    for label, result in results.items():
        print(f"\n{label}\n{table(result)}")
    print()
    if measured is not None:
        label, result = next(iter(results.items()))
        _print_comparison(compare_traverse(result, measured), label)
    worst = max(result.attrs["energy_residual"] for result in results.values())
    print(f"energy residual {worst:.1e}; wall time {time.perf_counter() - begin:.2f} s")
    try:
        _write(folder, results, measured)
    except OSError as error:
        raise InputError(
            f"--out {folder}: {error.filename or 'a file'} cannot be written ({error.strerror})."
        ) from None
    write_reports(arguments, folder, {label.split(" ")[0]: result for label, result in results.items()}, steel)
    say_caution()
    return 0


def _print_comparison(compared: Any, label: str) -> None:
    print(f"measured traverse and prediction for: {label}")
    distance, unit = quenched_end(compared.distance.values)
    print("distance  measured  predicted  deviation")
    print(f"{unit:>8}       HRC        HRC        HRC")
    for n in range(compared.sizes["point"]):
        values = [float(compared[name][n]) for name in ("measured_hrc", "predicted_hrc", "deviation")]
        shown = [f"{v:.1f}" if np.isfinite(v) else "-" for v in values]
        print(f"{distance[n]:8.2f}{shown[0]:>10}{shown[1]:>11}{shown[2]:>11}")
    count = int(np.isfinite(compared.deviation).sum())
    if count:
        print(f"rms deviation {compared.attrs['rms']:.1f} HRC over {count} of {compared.sizes['point']} points\n")
    else:
        print("no measured point can be compared: all lie beyond the positions above, or below 20 HRC.\n")


def _write(folder: pathlib.Path, results: dict[str, Any], measured: Any) -> None:
    from heatq import plot
    from heatq.files import save_netcdf

    axes = plot.end_quench_curve(results, measured=measured)
    figure: Any = axes.figure
    figure.savefig(folder / "hardness.png", dpi=200)
    for label, result in results.items():
        stem = label.split(" ")[0]
        write_csv(result, folder / f"{stem}.csv")
        save_netcdf(result, folder / f"{stem}.nc")
    written = ["hardness.png", *(f"{label.split(' ')[0]}.{kind}" for label in results for kind in ("csv", "nc"))]
    print(f"written to {folder}/: {', '.join(written)}")
