"""``heatq calibrate``: h at the surface from one log, or the calibration of a furnace from several."""

from __future__ import annotations

import argparse
import pathlib
from typing import Any

from scipy.constants import bar

from heatq.commands.common import (
    EPILOG,
    GASES,
    add_steel_arguments,
    check_steel_arguments,
    gas_of,
    heat_in_words,
    make_folder,
    piece_in_words,
    read_steel,
    say_caution,
)
from heatq.commands.quantities import add_units_argument, in_unit, plain_number, quantity
from heatq.errors import DataError, InputError
from heatq.units import shown, unit_text

__all__ = ["add_parser", "run"]

_LENGTH = quantity("m", "10 mm")
#: Corrections that a fit finds: in words, and their unit.
_CORRECTIONS = {
    "r": ("distance from the axis", "m"),
    "z": ("height", "m"),
    "lag": ("lag, as a fraction of it", "1"),
    "calibration": ("calibration, in standard deviations of its tolerance", "1"),
    "start": ("start of the quench", "s"),
    "initial": ("initial temperature", "K"),
}
_UNKNOWN = {
    "temperature": "coefficient over temperature",
    "time": "coefficient over time",
    "flux": "flux over time",
}


def add_parser(commands: Any) -> None:
    """Add the subcommand and its own subcommands."""
    parser = commands.add_parser(
        "calibrate",
        help="h at the surface from one recorder log; a furnace's factor on a correlation from several",
        description="Find what cooled the piece from couples inside it, with lag, position error and latent heat in the model.",
        epilog=EPILOG,
    )
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    surface = actions.add_parser("surface", help="h or heat flux at the surface from one log", epilog=EPILOG)
    surface.add_argument("file", metavar="LOG", help="CSV, or .nc written by 'heatq log read'")
    surface.add_argument(
        "--fluid-temperature",
        type=quantity("degC", "60 degC"),
        metavar="TEMPERATURE",
        help="of the fluid, which h refers to",
    )
    surface.add_argument("--unknown", choices=tuple(_UNKNOWN), default="temperature", help="h over surface temperature "
                         "(default), h over time, or the heat flux over time")  # fmt: skip
    surface.add_argument(
        "--emissivity",
        type=plain_number("0.3"),
        metavar="NUMBER",
        help="0 to 1: radiation that acts besides and is not part of h (default: none does)",
    )
    surface.add_argument(
        "--noise", type=quantity("K", "1 K"), metavar="DIFFERENCE", help="of one reading (default: found from the log)"
    )
    _shared(surface)
    furnace = actions.add_parser("furnace", help="factor and exponent of a furnace from several logs", epilog=EPILOG)
    furnace.add_argument(
        "--run", nargs=3, action="append", default=[], dest="runs", metavar=("LOG", "PRESSURE", "VELOCITY"),
        help="one quench: --run two-bar.csv '2 bar' '15 m/s'; repeat",
    )  # fmt: skip
    furnace.add_argument("--gas", default="nitrogen", metavar="NAME", help=f"{GASES} (default nitrogen)")
    furnace.add_argument("--flow", choices=("across", "along"), default="across", help="of the gas (default across)")
    furnace.add_argument("--gas-temperature", type=quantity("degC", "40 degC"), default=25.0, metavar="TEMPERATURE",
                         help="of the gas (default 25 degC)")  # fmt: skip
    furnace.add_argument(
        "--emissivity",
        type=plain_number("0.3"),
        default=0.3,
        metavar="NUMBER",
        help="0 to 1, for radiation to walls as cold as the gas (default 0.3)",
    )
    furnace.add_argument(
        "--law",
        default="factor and exponent",
        metavar="WORDS",
        help="'factor', 'factor and exponent' (default), 'separate exponents' of pressure and velocity",
    )
    furnace.add_argument(
        "--repeatability",
        type=plain_number("0.05"),
        metavar="NUMBER",
        help="standard deviation of h from run to run, such as 0.05 for 5 %% (default: found)",
    )
    furnace.add_argument(
        "--predict",
        nargs=2,
        action="append",
        default=[],
        metavar=("PRESSURE", "VELOCITY"),
        help="factor for the next run at this setting; repeat for more",
    )
    _shared(furnace)


def _shared(parser: argparse.ArgumentParser) -> None:
    add_steel_arguments(parser)
    piece = parser.add_argument_group("piece and couples")
    piece.add_argument("--diameter", type=_LENGTH, required=True, help="of the round bar")
    piece.add_argument("--length", type=_LENGTH, help="left out: a long bar, its middle")
    piece.add_argument(
        "--couple", nargs="+", action="append", default=[], metavar="WORD",
        help="channel, distance from the axis, height above the lower end (long bars: left out): --couple TC1 '0 mm' '120 mm'; "
        "repeat; without it channels are named after places such as centre",
    )  # fmt: skip
    piece.add_argument(
        "--lag", type=quantity("s", "0.3 s"), metavar="TIME", help="time constant of the mounted couples (default none)"
    )
    piece.add_argument(
        "--position-tolerance", type=_LENGTH, default=0.5e-3, metavar="LENGTH", help="of a junction, ± (default 0.5 mm)"
    )
    piece.add_argument("--initial-temperature", type=quantity("degC", "850 degC"), metavar="TEMPERATURE",
                       help="of the piece (default: the steel's austenitizing temperature)")  # fmt: skip
    clock = parser.add_argument_group("clock of the log")
    clock.add_argument(
        "--start",
        default="0 s",
        metavar="TIME",
        help="of the quench in the log, or the word quench: where it shows (default 0 s)",
    )
    clock.add_argument("--start-tolerance", type=quantity("s", "0.5 s"), default=0.0, metavar="TIME",
                       help="of that start, ± (default 0 s)")  # fmt: skip
    clock.add_argument("--end", type=quantity("s", "20 min"), metavar="TIME", help="last reading to use")
    output = parser.add_argument_group("output")
    output.add_argument("--out", metavar="DIR", default="heatq-out", help="folder for the files (default heatq-out)")
    add_units_argument(output)
    parser.set_defaults(run=run)


def _typed(unit: str, example: str, text: str, option: str) -> float:
    try:
        return quantity(unit, example)(text)
    except argparse.ArgumentTypeError as error:
        raise InputError(f"{option}: {error}") from None


def _read(name: str) -> Any:
    from heatq.logs import read_log

    if pathlib.Path(name).suffix.lower() != ".nc":
        try:
            return read_log(name)
        except DataError as error:
            told, _, advice = str(error).partition("; ")
            if "=" not in advice:
                raise
            raise DataError(
                f"{told}: read the log with 'heatq log read', which has options for that; its log.nc can be used here."
            ) from None
    import xarray as xr

    try:
        return xr.load_dataset(name, engine="scipy")
    except FileNotFoundError:
        raise DataError(f"{name}: there is no such file.") from None
    except IsADirectoryError:
        raise DataError(f"{name} is a folder, not a file.") from None
    except Exception:  # scipy and xarray raise several unrelated classes for a file that is none
        raise DataError(f"{name} is no NetCDF file, such as 'heatq log read' writes with the ending .nc.") from None


def _start(log: Any, text: str) -> float:
    import numpy as np

    from heatq.logs import start_of_quench

    if text != "quench":
        return _typed("s", "12 s", text, "--start")
    starts = start_of_quench(log).values
    if not np.isfinite(starts).any():
        raise InputError("--start quench: no channel falls 50 K below its hold temperature; give the time in seconds.")
    return float(np.nanmin(starts))


def _couples(arguments: argparse.Namespace) -> Any:
    """Channel -> (r, z), or None."""
    places: dict[str, tuple[float, float]] = {}
    for words in arguments.couple:
        if len(words) not in (2, 3):
            raise InputError(
                f"--couple {' '.join(words)}: write channel, distance from the axis, and height on a bar with ends: "
                "--couple TC1 '0 mm' '120 mm'."
            )
        if len(words) == 2 and arguments.length is not None:
            raise InputError(f"--couple {words[0]}: a bar with a length needs the height above its lower end too.")
        r = _typed("m", "10 mm", words[1], "--couple")
        places[words[0]] = (r, _typed("m", "120 mm", words[2], "--couple") if len(words) == 3 else 0.0)
    return places or None


def _thermocouple(arguments: argparse.Namespace) -> Any:
    from heatq.thermocouples import Thermocouple

    return Thermocouple(time_constant=arguments.lag or 0.0, position_tolerance=arguments.position_tolerance)


def run(arguments: argparse.Namespace) -> int:
    """Fit, print, draw, write."""
    arguments.command = f"calibrate {arguments.action}"
    check_steel_arguments(arguments)
    return _surface(arguments) if arguments.action == "surface" else _furnace(arguments)


def _save(figures: dict[str, Any], folder: pathlib.Path) -> None:
    for name, axes in figures.items():
        try:
            axes.figure.savefig(folder / name, dpi=200)
        except OSError as error:
            raise InputError(f"--out {folder}: {name} cannot be written ({error.strerror}).") from None


def _surface(arguments: argparse.Namespace) -> int:
    import csv

    from heatq.boundaries import Radiation
    from heatq.files import save_netcdf
    from heatq.inverse import fit_boundary
    from heatq.plot_inverse import fitted_curve, residuals
    from heatq.specimens import RoundBar

    steel, piece, places = read_steel(arguments), RoundBar(arguments.diameter, arguments.length), _couples(arguments)
    if arguments.unknown != "flux" and arguments.fluid_temperature is None:
        raise InputError("h refers to the temperature of the fluid: give --fluid-temperature, or --unknown flux.")
    log = _read(arguments.file)
    folder = make_folder(arguments.out)
    radiation = None
    if arguments.emissivity is not None:
        radiation = Radiation(
            arguments.emissivity, 25.0 if arguments.fluid_temperature is None else arguments.fluid_temperature
        )
    fit = fit_boundary(
        log,
        piece,
        steel,
        places,
        fluid_temperature=arguments.fluid_temperature,
        unknown=_UNKNOWN[arguments.unknown],
        known_part=radiation,
        thermocouples=_thermocouple(arguments),
        initial_temperature=arguments.initial_temperature,
        start_time=_start(log, arguments.start),
        start_tolerance=arguments.start_tolerance,
        end_time=arguments.end,
        noise=arguments.noise,
        kinetics=arguments.kinetics,
    )
    variable = "heat_flux" if arguments.unknown == "flux" else "coefficient"
    coordinate = str(fit[variable].dims[0])
    x, value, band = fit[coordinate].values, fit[variable].values, fit[f"{variable}_interval"].values
    print(f"{heat_in_words(steel)}\n{piece_in_words(piece)}\n")
    unit = "W/m2" if variable == "heat_flux" else "W/m2K"
    own = "degC" if coordinate == "surface_temperature" else "s"
    head = (f"surface, {unit_text(own)}" if coordinate == "surface_temperature" else "time, s", f"{variable}, {unit}")
    print(f"{head[0]:>12}{head[1]:>22}{'90 % band':>24}  seen")
    for n in range(0, len(x), 8):
        seen = "yes" if bool(fit["is_seen"][n]) else "no"
        print(f"{shown(x[n], own)[0]:>12.4g}{value[n]:>22.4g}{band[0, n]:>12.4g}{band[1, n]:>12.4g}  {seen}")
    print(
        f"\nnoise {in_unit(fit.attrs['noise'], 'K', '.2g')}, chi-square per reading {fit.attrs['chi_square']:.2f}, correlation of neighbouring "
        f"residuals {fit.attrs['autocorrelation']:.2f}; {100 * fit.attrs['seen_share']:.0f} % of the curve was seen."
    )
    if "nuisance" in fit.dims:
        print("corrections found with the curve, ± one standard deviation:")
        for name, found, spread in zip(
            fit["nuisance"].values, fit["nuisance_value"].values, fit["nuisance_deviation"].values, strict=True
        ):
            kind, _, channel = str(name).partition(" of ")
            words, own = _CORRECTIONS.get(kind, (kind, "1"))
            (off, error), mark = shown([found, spread], own)
            print(f"  {f'{channel}, ' if channel else ''}{words}: {off:+.3g} ± {error:.2g} {mark}".rstrip())
    with (folder / f"{variable}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow([coordinate.replace("surface_temperature", "temperature"), variable, "low", "high", "seen"])
        for n in range(len(x)):
            row = (x[n], value[n], band[0, n], band[1, n])
            writer.writerow([*(f"{one:.6g}" for one in row), int(fit["is_seen"][n])])
    save_netcdf(fit, folder / "fit.nc")
    _save({"fit.png": fitted_curve(fit), "residuals.png": residuals(fit)}, folder)
    print(f"written to {folder}/: fit.png, residuals.png, {variable}.csv, fit.nc")
    if arguments.unknown == "temperature":
        print(
            f"use it: heatq bar --h-table {folder / 'coefficient.csv'} --bath-temperature '{arguments.fluid_temperature:g} degC' …"
        )
    say_caution()
    return 0


def _furnace(arguments: argparse.Namespace) -> int:
    from heatq.boundaries import GasAlong, GasCrossflow, Radiation
    from heatq.files import save_netcdf
    from heatq.inverse import CalibrationRun, calibrate, calibrated_factor
    from heatq.plot_inverse import calibration_factors
    from heatq.specimens import RoundBar

    steel, piece, places = read_steel(arguments), RoundBar(arguments.diameter, arguments.length), _couples(arguments)
    if len(arguments.runs) < 2:
        raise InputError(
            "a calibration needs at least two --run LOG PRESSURE VELOCITY; one log: heatq calibrate surface."
        )

    def setting(pressure: str, velocity: str, option: str) -> tuple[float, float]:
        return _typed("Pa", "10 bar", pressure, option), _typed("m/s", "20 m/s", velocity, option)

    gas = gas_of(arguments.gas)
    kind: Any = GasCrossflow if arguments.flow == "across" else GasAlong
    runs: dict[str, Any] = {}
    for name, pressure, velocity in arguments.runs:
        p, v = setting(pressure, velocity, "--run")
        log = _read(name)
        try:
            flow = kind(gas, velocity=v, pressure=p, temperature=arguments.gas_temperature)
        except InputError as error:
            raise InputError(f"--run {name}: {error}") from None
        acting = flow + Radiation(arguments.emissivity, arguments.gas_temperature)
        label = pathlib.Path(name).stem
        label = label if label not in runs else f"{label} ({len(runs) + 1})"
        runs[label] = CalibrationRun(
            log,
            piece,
            steel,
            dict.fromkeys(piece.faces, acting),
            probes=places,
            thermocouples=_thermocouple(arguments),
            initial_temperature=arguments.initial_temperature,
            start_time=_start(log, arguments.start),
            start_tolerance=arguments.start_tolerance,
            end_time=arguments.end,
        )
    folder = make_folder(arguments.out)
    found = calibrate(runs, law=arguments.law, repeatability=arguments.repeatability, kinetics=arguments.kinetics)
    print(f"{heat_in_words(steel)}\n{piece_in_words(piece)}\nlaw: {arguments.law}, reference "
          f"{found.attrs['reference_pressure'] / bar:.3g} bar, {found.attrs['reference_velocity']:.3g} m/s\n")  # fmt: skip
    for n, name in enumerate(found["parameter"].values):
        low, high = found["interval"].values[:, n]
        what = name if n == 0 else f"change of {name}"
        print(f"{what:<46}{float(found['value'][n]):>8.3f}   90 % {low:.3f} to {high:.3f}")
    print(f"{'spread from run to run (ln h)':<46}{found.attrs['repeatability']:>8.3f}\n")
    print(f"{'run':<24}{'bar':>7}{'m/s':>7}{'factor':>9}{'residual':>10}{'left out: rms':>15}{'factor ratio':>14}")
    print(f"{'':<24}{'':>7}{'':>7}{'':>9}{unit_text('K'):>10}{unit_text('K'):>15}")
    for n, name in enumerate(found["run"].values):
        left = [float(found[key][n]) if key in found else float("nan") for key in ("left_out_rms", "left_out_factor")]
        left[0] = shown(left[0], "K")[0]
        print(
            f"{str(name)[:23]:<24}{float(found['pressure'][n]) / bar:>7.3g}{float(found['velocity'][n]):>7.3g}"
            f"{float(found['run_factor'][n]):>9.3f}{shown(float(found['rms_residual'][n]), 'K')[0]:>10.2f}"
            + "".join(
                f"{value:>{width}.3g}" if value == value else f"{'-':>{width}}"
                for value, width in zip(left, (15, 14), strict=True)
            )
        )
    for pressure, velocity in arguments.predict:
        p, v = setting(pressure, velocity, "--predict")
        low, middle, high = calibrated_factor(found, p, v)
        print(f"\nat {p / bar:g} bar, {v:g} m/s: h = {middle:.3f} x correlation, next run 90 % {low:.3f} to {high:.3f}")
        print(
            f"use it: heatq bar --gas {arguments.gas} --pressure '{pressure}' --velocity '{velocity}' --turbulence-factor {middle:.3f} …"
        )
    save_netcdf(found, folder / "calibration.nc")
    _save({"calibration.png": calibration_factors(found)}, folder)
    print(f"\nwritten to {folder}/: calibration.png, calibration.nc")
    say_caution()
    return 0
