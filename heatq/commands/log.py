"""``heatq log``: read a recorder log, its metrics, specification windows, comparison with a prediction."""

from __future__ import annotations

import argparse
import pathlib
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from heatq.commands.common import EPILOG, make_folder
from heatq.commands.quantities import add_units_argument, quantity, whole_number
from heatq.errors import DataError, InputError

__all__ = ["add_parser", "run"]

_DEGC = quantity("degC", "850 degC")


def _rate(text: str) -> float:
    """Cooling rate in K/s."""
    return quantity("K/s", "28 K/min")(text)


def add_parser(commands: Any) -> None:
    """Add the subcommand and its own subcommands."""
    parser = commands.add_parser(
        "log",
        help="recorder logs: read and clean, metrics, specification windows, comparison",
        description="Read a recorder log (CSV, TSV, semicolons, decimal comma; several channels), see what is in it, clean it "
        "step by step, read its metrics, judge it by specification windows, compare it with a prediction.",
        epilog=EPILOG,
    )
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    read = actions.add_parser("read", help="what is in the file; the log as figure and NetCDF", epilog=EPILOG)
    metrics = actions.add_parser("metrics", help="cooling rates, cooling times, spread between channels", epilog=EPILOG)
    windows = actions.add_parser("windows", help="pass or fail with margin for each channel", epilog=EPILOG)
    compare = actions.add_parser("compare", help="measured against a prediction saved as NetCDF", epilog=EPILOG)
    for action in (read, metrics, windows, compare):
        _reading(action)
        _cleaning(action)
        output = action.add_argument_group("output")
        output.add_argument(
            "--out", metavar="DIR", default="heatq-out", help="folder for the files (default heatq-out)"
        )
        add_units_argument(output)
        action.set_defaults(run=run)
    metrics.add_argument(
        "--at", type=_DEGC, nargs="+", metavar="TEMPERATURE", help="of the rates (default 850 to 200 degC)"
    )
    windows.add_argument(
        "--rate", nargs=3, action="append", default=[], metavar=("RATE", "UPPER", "LOWER"),
        help="mean rate at least RATE from UPPER to LOWER: --rate '28 K/min' '1030 degC' '540 degC'",
    )  # fmt: skip
    windows.add_argument("--everywhere", action="store_true", help="the rate must hold everywhere, not on the mean")
    windows.add_argument(
        "--time", nargs=3, action="append", default=[], dest="spans", metavar=("TIME", "UPPER", "LOWER"),
        help="at most TIME from UPPER to LOWER: --time '60 s' '800 degC' '500 degC'",
    )  # fmt: skip
    windows.add_argument(
        "--curve", action="append", default=[], metavar="FILE",
        help="no slower than the curve of this file: a table with columns time (s) and temperature (degC)",
    )  # fmt: skip
    windows.add_argument("--curve-from-start", action="store_true", help="the curve's clock is the log's")
    compare.add_argument("prediction", metavar="RESULT.nc", help="result of heatq bar or heatq endquench")
    compare.add_argument(
        "--probe",
        nargs=2,
        action="append",
        default=[],
        metavar=("CHANNEL", "PROBE"),
        help="of the prediction that belongs to the channel; repeat for more",
    )
    compare.add_argument(
        "--align",
        metavar="TEMPERATURE",
        help="shift the measured clock so that both pass this temperature together, or best: where they agree best",
    )


def _reading(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the log; a .nc file written by heatq is taken as it is")
    group = parser.add_argument_group("reading (found from the file where it shows them)")
    group.add_argument(
        "--temperature-unit", metavar="UNIT", help="of the readings: degC, degF or K, where the header states none"
    )
    group.add_argument("--time-column", metavar="NAME", help="header of the time column; date and clock: 'Date+Time'")
    group.add_argument("--time-unit", metavar="UNIT", help="ms, s, min, h or d of times that are plain numbers")
    group.add_argument("--time-format", metavar="FORMAT", help="for instance '%%d/%%m/%%Y %%H:%%M:%%S'")
    group.add_argument(
        "--interval", type=quantity("s", "0.5 s"), metavar="TIME", help="between rows, for a log without times"
    )
    group.add_argument("--channels", nargs="+", metavar="NAME", help="headers of the temperature columns, or old=new")
    group.add_argument(
        "--header", type=whole_number("3", least=0), metavar="LINE", help="line number of the header; 0: none"
    )
    group.add_argument("--decimal", metavar="SIGN", help="'.' or ','")
    group.add_argument("--encoding", metavar="NAME", help="of the letters in the file, for instance cp1252")
    group.add_argument(
        "--on-bad",
        choices=("stop", "gap"),
        default="stop",
        help="stop at a cell that cannot be read (default), or make it a gap",
    )
    group.add_argument("--on-repeat", choices=("stop", "first", "spread"), default="stop", help="stop at "
                       "rows with the same time (default), keep the first, or spread them evenly")  # fmt: skip


def _cleaning(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("cleaning (only what is asked for, in this order; listed in the result)")
    group.add_argument("--drop-dead", action="store_true", help="leave out dead channels")
    group.add_argument(
        "--spikes",
        type=quantity("K", "20 K"),
        metavar="DIFFERENCE",
        help="readings further off than this from their neighbours become gaps",
    )
    group.add_argument("--fill", type=quantity("s", "2 s"), metavar="TIME", help="fill gaps up to this long")
    group.add_argument(
        "--align-starts", action="store_true", help="start every channel at its apparent start of quench"
    )
    group.add_argument("--start", metavar="TIME", help="cut the log here; or the word quench: where it shows")
    group.add_argument("--resample", type=quantity("s", "0.5 s"), metavar="TIME", help="to this interval")
    group.add_argument(
        "--smooth", type=quantity("s", "5 s"), metavar="TIME", help="by a parabola through the readings of this time"
    )


def _load(arguments: argparse.Namespace) -> Any:
    """The log as read, before cleaning."""
    from heatq.logs import read_log

    if pathlib.Path(arguments.file).suffix.lower() == ".nc":
        return _netcdf(arguments.file)
    channels: Any = arguments.channels
    if channels and any("=" in entry for entry in channels):
        channels = {entry.partition("=")[0]: entry.partition("=")[2] or entry for entry in channels}
    time: Any = arguments.time_column
    if time is not None and "+" in time:
        time = tuple(part.strip() for part in time.split("+"))
    return read_log(
        arguments.file,
        time=time,
        channels=channels,
        units=arguments.temperature_unit,
        time_unit=arguments.time_unit,
        time_format=arguments.time_format,
        interval=arguments.interval,
        header=arguments.header,
        decimal=arguments.decimal,
        encoding=arguments.encoding,
        on_bad="raise" if arguments.on_bad == "stop" else arguments.on_bad,
        on_repeat="raise" if arguments.on_repeat == "stop" else arguments.on_repeat,
    )


def _netcdf(name: str) -> Any:
    """A result or a log saved by heatq."""
    import xarray as xr

    try:
        return xr.load_dataset(name, engine="scipy")
    except FileNotFoundError:
        raise DataError(f"{name}: there is no such file.") from None
    except IsADirectoryError:
        raise DataError(f"{name} is a folder, not a file.") from None
    except Exception:  # scipy and xarray raise several unrelated classes for a file that is none
        raise DataError(f"{name} is no NetCDF file, such as heatq bar writes with the ending .nc.") from None


def _clean(log: Any, arguments: argparse.Namespace) -> Any:
    """The steps that were asked for."""
    from heatq import logs

    if arguments.drop_dead:
        log = logs.drop_dead_channels(log)
    if arguments.spikes is not None:
        log = logs.remove_spikes(log, arguments.spikes)
    if arguments.fill is not None:
        log = logs.fill_gaps(log, arguments.fill)
    if arguments.align_starts:
        log = logs.align_starts(log)
    if arguments.start is not None:
        start = _start(log, arguments.start)
        try:
            log = logs.cut_log(log, start)
        except InputError as error:
            raise InputError(f"--start: {error}") from None
    if arguments.resample is not None:
        log = logs.resample_log(log, arguments.resample)
    if arguments.smooth is not None:
        log = logs.smooth_log(log, arguments.smooth)
    return log


def _start(log: Any, text: str) -> float:
    """Seconds, or the first apparent start of the quench of any channel."""
    from heatq.logs import start_of_quench

    if text != "quench":
        return _typed(quantity("s", "12 s"), text, "--start")
    starts = start_of_quench(log).values
    if not np.isfinite(starts).any():
        raise InputError("--start quench: no channel falls 50 K below its hold temperature; give the time in seconds.")
    return float(np.nanmin(starts))


def _typed(read: Callable[[str], float], text: str, option: str) -> float:
    """A quantity inside an option with several values."""
    try:
        return read(text)
    except argparse.ArgumentTypeError as error:
        raise InputError(f"{option}: {error}") from None


def run(arguments: argparse.Namespace) -> int:
    """Read, report, clean, then the action."""
    from heatq.files import save_netcdf
    from heatq.logs import log_report, log_report_text

    arguments.command = f"log {arguments.action}"
    windows = _windows(arguments) if arguments.action == "windows" else []
    log = _clean(_load(arguments), arguments)
    if arguments.action != "read":
        _refuse_gaps(log)
    folder = make_folder(arguments.out)
    written: list[tuple[str, Any]] = []
    if arguments.action == "read":
        from heatq.plot_logs import log_readings

        print(log_report_text(log_report(log)))
        figure = log_readings(log, probes=_drawn(log)).figure
        save_netcdf(log, folder / "log.nc")
        _write_csv(log, folder / "log.csv")
        written = [("log.png", figure), ("log.nc", None), ("log.csv", None)]
    elif arguments.action == "metrics":
        written = _metrics(log, arguments)
    elif arguments.action == "windows":
        from heatq.plot_logs import window_curves
        from heatq.windows import check_windows, windows_table

        result = check_windows(log, windows)
        print(windows_table(result))
        _steps(log)
        written = [("windows.png", window_curves(log, windows, probes=_drawn(log)).figure)]
    else:
        written = _compare(log, arguments)
    for name, drawn in written:
        if drawn is not None:
            try:
                drawn.savefig(folder / name, dpi=200)
            except OSError as error:
                raise InputError(f"--out {folder}: {name} cannot be written ({error.strerror}).") from None
    print(f"written to {folder}/: {', '.join(name for name, _ in written)}")
    return 0


def _refuse_gaps(log: Any) -> None:
    """Metrics need whole channels; say how to get them on the command line."""
    gaps = np.isnan(log["temperature"].transpose("time", "probe").values).sum(axis=0)
    for name, count in zip(log["probe"].values, gaps, strict=True):
        if count:
            raise InputError(
                f"channel {str(name)!r} has {count} gaps: fill short ones with --fill '2 s', leave the channel out with "
                "--channels or --drop-dead, or cut the log with --start."
            )


def _drawn(log: Any) -> list[str]:
    """The first seven channels: more do not stay apart in one figure."""
    names = [str(name) for name in log["probe"].values]
    if len(names) > 7:
        print(f"the figure shows the first 7 of {len(names)} channels; choose others with --channels")
    return names[:7]


def _steps(log: Any) -> None:
    """What was done to the log."""
    import json

    for step in json.loads(log.attrs.get("cleaning", "[]")):
        print("done: " + ", ".join(f"{key} {value}" for key, value in step.items()))


def _metrics(log: Any, arguments: argparse.Namespace) -> list[tuple[str, Any]]:
    from heatq.metrics import history_metrics, metrics_table
    from heatq.plot_logs import rate_curves

    wanted = {} if arguments.at is None else {"temperatures": arguments.at}
    print(metrics_table(history_metrics(log, **wanted)))
    _steps(log)
    values = log["temperature"].values
    if np.ptp(values) < 50.0:
        raise InputError("the log spans less than 50 K: there is no cooling curve to draw.")
    fine = history_metrics(log, np.arange(values.min() + 10.0, values.max() - 6.0, np.ptp(values) / 160.0))
    return [("rates.png", rate_curves(fine, probes=_drawn(log)).figure)]


def _compare(log: Any, arguments: argparse.Namespace) -> list[tuple[str, Any]]:
    from heatq.comparison import compare_histories, comparison_table
    from heatq.plot_logs import measured_and_predicted

    align: Any = arguments.align
    if align is not None and align != "best":
        align = _typed(_DEGC, align, "--align")
    result = compare_histories(log, _netcdf(arguments.prediction), probes=dict(arguments.probe) or None, align=align)
    print(comparison_table(result))
    _steps(log)
    return [("compare.png", measured_and_predicted(result, probes=_drawn(result))[0].figure)]


def _windows(arguments: argparse.Namespace) -> Sequence[Any]:
    """The windows of the command line."""
    from heatq.boundaries.plain import read_table
    from heatq.windows import CurveWindow, RateWindow, TimeWindow

    found: list[Any] = []
    for rate, upper, lower in arguments.rate:
        span = _span(upper, lower, "--rate")
        basis = "everywhere" if arguments.everywhere else "mean"
        found.append(RateWindow(*span, at_least=_typed(_rate, rate, "--rate"), basis=basis))
    for time, upper, lower in arguments.spans:
        span = _span(upper, lower, "--time")
        found.append(TimeWindow(*span, at_most=_typed(quantity("s", "60 s"), time, "--time")))
    for name in arguments.curve:
        time, temperature = read_table(name, ("time", "temperature"))
        found.append(CurveWindow(time, temperature, from_start=arguments.curve_from_start))
    if not found:
        raise InputError("no window is given: --rate '28 K/min' '1030 degC' '540 degC', --time or --curve.")
    return found


def _span(upper: str, lower: str, option: str) -> tuple[float, float]:
    """Upper and lower temperature of a window."""
    high, low = _typed(_DEGC, upper, option), _typed(_DEGC, lower, option)
    if low >= high:
        raise InputError(
            f"{option}: the upper temperature, {upper}, comes before the lower one, {lower}; exchange them."
        )
    return high, low


def _write_csv(log: Any, path: pathlib.Path) -> None:
    """The cleaned log in plain columns."""
    import csv

    names = [str(name) for name in log["probe"].values]
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time (s)", *(f"{name} (degC)" for name in names)])
        for time, row in zip(log["time"].values, log["temperature"].transpose("time", "probe").values, strict=True):
            writer.writerow([f"{time:.9g}", *(f"{v:.7g}" if np.isfinite(v) else "" for v in row)])
