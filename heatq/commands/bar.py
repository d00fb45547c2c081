"""``heatq bar``: hardness across a round bar or a tube in any medium, in stages."""

from __future__ import annotations

import argparse
import pathlib
import time
from typing import Any

from heatq.commands.bar_quench import add_quench_arguments, check_quench_arguments, piece_and_quench
from heatq.commands.common import (
    EPILOG,
    add_report_argument,
    add_steel_arguments,
    heat_in_words,
    make_folder,
    piece_in_words,
    read_steel,
    say_caution,
    write_reports,
)
from heatq.commands.quantities import add_units_argument, quantity
from heatq.commands.table import table, write_csv
from heatq.errors import InputError

__all__ = ["add_parser", "run"]


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "bar",
        help="hardness across a round bar or a tube, in gas, water, oil or air, in stages",
        description="Predict cooling, structure and hardness at places of a round bar or tube. Without --length the "
        "piece is long and only the radius counts.",
        epilog=EPILOG,
    )
    add_steel_arguments(parser)
    piece = parser.add_argument_group("piece")
    length = quantity("m", "75 mm")
    piece.add_argument("--diameter", type=length, required=True, help="outer diameter, such as '75 mm' or '3 inch'")
    piece.add_argument("--length", type=length, help="left out: a long bar")
    piece.add_argument("--bore", type=length, metavar="DIAMETER", help="inner diameter of a tube")
    piece.add_argument(
        "--bore-medium",
        choices=("same", "still", "insulated"),
        help="what the bore sees: the medium of the outside (default), the gas or air of the quench at rest, nothing; "
        "gas-cross needs one of the last two",
    )
    piece.add_argument(
        "--probe",
        action="append",
        metavar="NAME",
        help="place: centre, mid-radius, '3/4 radius', surface, '10 mm' from the axis, with '@ 120 mm' above the lower "
        "end; repeat for more (default: the usual four)",
    )
    add_quench_arguments(parser)
    output = parser.add_argument_group("output")
    output.add_argument(
        "--end-time", type=quantity("s", "20 min"), metavar="TIME", help="default: until cold (60 degC), at most 10 h"
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


def run(arguments: argparse.Namespace) -> int:
    """Run the trial, print the table, write figure and files."""
    from heatq.trials import trial

    check_quench_arguments(arguments)
    steel = read_steel(arguments)
    piece, boundaries, label = piece_and_quench(arguments)
    probes = piece.resolve_probes(arguments.probe)
    folder = make_folder(arguments.out)
    begin = time.perf_counter()
    result = trial(
        piece,
        steel,
        boundaries,
        initial_temperature=arguments.initial_temperature,
        end_time=arguments.end_time,
        probes=probes,
        accuracy=arguments.accuracy,
        kinetics=arguments.kinetics,
        with_interval=True,
    )
    print(f"{heat_in_words(steel)}\n{piece_in_words(piece)}\n\n{label}\n{table(result)}\n")
    print(f"energy residual {result.attrs['energy_residual']:.1e}; wall time {time.perf_counter() - begin:.2f} s")
    try:
        _write(folder, result)
    except OSError as error:
        raise InputError(
            f"--out {folder}: {error.filename or 'a file'} cannot be written ({error.strerror})."
        ) from None
    write_reports(arguments, folder, {"bar": result}, steel)
    say_caution()
    return 0


def _until(result: Any) -> float:
    """Twice the time after which no place changes by more than a hundredth: a bath at 60 °C is approached for hours."""
    import numpy as np

    values = result["temperature"].transpose("time", "probe").values
    moving = np.abs(values - values[-1]) > 0.01 * np.ptp(values)
    last = int(np.flatnonzero(moving.any(axis=1)).max(initial=0))
    times = result["time"].values
    return float(min(2.0 * times[min(last + 1, len(times) - 1)], times[-1]))


def _write(folder: pathlib.Path, result: Any) -> None:
    from heatq import plot
    from heatq.files import save_netcdf

    known = [str(name) for name in result["probe"].values]
    axes = plot.histories(result, probes=known if len(known) <= len(plot.LINES) else None)
    axes.set_xlim(right=_until(result))
    figure: Any = axes.figure
    figure.savefig(folder / "histories.png", dpi=200)
    write_csv(result, folder / "bar.csv")
    save_netcdf(result, folder / "bar.nc")
    print(f"written to {folder}/: histories.png, bar.csv, bar.nc")
