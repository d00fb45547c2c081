"""``heatq cct``: transformation diagrams of a heat, structure and hardness over the cooling rate."""

from __future__ import annotations

import argparse
import csv
import pathlib
import time
from typing import Any

import numpy as np

from heatq.commands.common import (
    CAUTION,
    add_steel_arguments,
    check_steel_arguments,
    heat_in_words,
    make_folder,
    read_steel,
    say_caution,
)
from heatq.commands.quantities import add_units_argument
from heatq.commands.table import cell
from heatq.units import shown, unit_text

__all__ = ["add_parser", "run"]

#: Rates of the printed table, K/s.
PRINTED = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)

NOTE = (
    "Constant cooling rates, no latent heat; martensite includes the austenite it retains; a dash in HRC: below 20 (238\n"
    "HV). Start lines stand for 1 %, of pearlite for 5 %: its 1 % line comes 10 to 20 times too early in this model."
)


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "cct",
        help="transformation diagrams of a heat: structure and hardness over the cooling rate",
        description="Compute the continuous-cooling and the isothermal diagram of a heat. Without arguments: an invented "
        "demo heat.",
        epilog=CAUTION,
    )
    add_steel_arguments(parser)
    output = parser.add_argument_group("output")
    output.add_argument(
        "--out", metavar="DIR", default="heatq-out", help="folder for figures, CSV, NetCDF (default heatq-out)"
    )
    add_units_argument(output)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Compute both diagrams, print a table, write figures and files."""
    from heatq import plot_diagrams
    from heatq.diagrams import cct, ttt
    from heatq.files import save_netcdf

    check_steel_arguments(arguments)
    folder = make_folder(arguments.out)
    steel = read_steel(arguments)
    begin = time.perf_counter()
    rates = np.unique(np.concatenate([np.geomspace(0.003, 1000.0, 46), PRINTED]))
    cooling, hold = cct(steel, rates), ttt(steel)
    print(heat_in_words(steel))
    levels = ("ae1", "ae3", "ac1", "ac3", "bs", "ms", "mf")
    found = ", ".join(f"{name.capitalize()} {shown(float(cooling[name]), 'degC')[0]:.0f}" for name in levels)
    print(f"critical temperatures, {unit_text('degC')}: {found}")
    print(f"\n{table(cooling)}\n")
    for name, diagram, figure in (("cct", cooling, plot_diagrams.cct), ("ttt", hold, plot_diagrams.ttt)):
        drawn: Any = figure(diagram).figure
        drawn.savefig(folder / f"{name}.png", dpi=200)
        save_netcdf(diagram, folder / f"{name}.nc")
    write_csv(cooling, folder / "cct.csv")
    print(f"wall time {time.perf_counter() - begin:.2f} s")
    print(f"written to {folder}/: cct.png, cct.csv, cct.nc, ttt.png, ttt.nc")
    say_caution()
    return 0


def table(diagram: Any) -> str:
    """One line per printed rate."""
    degree, per_second = unit_text("degC"), unit_text("K/s")
    lines = [
        "     rate   ferrite pearlite bainite martensite      HV     HRC   start of F       P       B       M",
        f"{per_second:>9}         %        %       %          %                           {degree}      {degree}      "
        f"{degree}      {degree}",
    ]
    phases = ("ferrite", "pearlite", "bainite", "martensite")
    for rate in PRINTED:
        one = diagram.sel(rate=rate, method="nearest")
        share = [float(part) * 100 for part in one["fraction"].values]
        share[3] += share[4]
        start = [float(one["start_temperature"].sel(phase=phase)) for phase in phases]
        lines.append(
            cell(shown(rate, "K/s")[0], ".3g", 9)
            + "".join(cell(value, ".0f", wide) for value, wide in zip(share, (10, 9, 8, 11), strict=False))
            + cell(float(one["hardness_hv"]), ".0f", 8)
            + cell(float(one["hardness_hrc"]), ".1f", 8)
            + "".join(cell(shown(t, "degC")[0], ".0f", wide) for t, wide in zip(start, (13, 8, 8, 8), strict=True))
        )
    return "\n".join([*lines, NOTE])


def write_csv(diagram: Any, path: pathlib.Path) -> None:
    """Every rate with fractions, hardness, and start and finish of every phase."""
    phases = [str(phase) for phase in diagram["phase"].values]
    lines = ("start_temperature", "start_time", "finish_temperature", "finish_time")
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        head = ["rate (K/s)", *(f"{phase} (1)" for phase in phases), "hardness_hv (HV)", "hardness_hrc (HRC)"]
        for name in lines:
            unit = diagram[name].attrs["units"]
            head += [f"{phase} {name} ({unit})" for phase in phases[:4]]
        writer.writerow(head)
        for n in range(diagram.sizes["rate"]):
            one = diagram.isel(rate=n)
            values = [one["rate"], *one["fraction"], one["hardness_hv"], one["hardness_hrc"]]
            for name in lines:
                values += list(one[name].values[:4])
            writer.writerow([format(float(value), ".6g") if np.isfinite(float(value)) else "" for value in values])
