"""``heatq study``: run the study that a TOML file describes; resume it; show it."""

from __future__ import annotations

import argparse
import json
import pathlib
import re
import sys
from importlib import resources
from typing import Any

import numpy as np

from heatq.commands.common import CAUTION, make_folder, say_caution
from heatq.commands.quantities import add_units_argument, whole_number
from heatq.errors import InputError
from heatq.units import in_words, shown, unit_text

__all__ = ["EXAMPLES", "add_parser", "run"]

EXAMPLES = ("pressure-and-velocity", "heat-to-heat")
#: Rows of a grid that are printed; all of them are in the CSV.
SHOWN = 40


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "study",
        help="many trials from a file: a grid, or a sample with its uncertainty",
        description="Run the study described in a TOML file. The keys are the arguments of heatq bar and heatq endquench; "
        "docs/reference/study-file.md has them all. Begin with: heatq study --example > my-study.toml",
        epilog=CAUTION,
    )
    parser.add_argument("file", nargs="?", metavar="FILE", help="the described study, TOML")
    parser.add_argument(
        "--example",
        nargs="?",
        const=EXAMPLES[0],
        choices=EXAMPLES,
        help=f"print a described study to start from: {EXAMPLES[0]} (default) or {EXAMPLES[1]}",
    )
    parser.add_argument("--check", action="store_true", help="read and check the file, say what it would run, and stop")
    parser.add_argument("--store", metavar="PATH", help="keep finished cases there, so that the study can be resumed")
    parser.add_argument("--resume", action="store_true", help="go on with the store where the study was interrupted")
    parser.add_argument(
        "--threads",
        type=whole_number("2"),
        metavar="NUMBER",
        help="of trials at a time (default: one per processor core)",
    )
    parser.add_argument("--figure", metavar="FILE", help="name of the figure (default: study.png in --out)")
    parser.add_argument(
        "--out", metavar="DIR", default="heatq-out", help="folder for figure, CSV, NetCDF (default heatq-out)"
    )
    add_units_argument(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read the file, run the study, print what it says, write figure and files."""
    if arguments.example is not None:
        data = resources.files("heatq.commands").joinpath("data", f"{arguments.example}.toml")
        sys.stdout.write(data.read_text(encoding="utf-8"))
        return 0
    if arguments.file is None:
        raise InputError("which study? Name its file, or begin with: heatq study --example > my-study.toml")
    from heatq.commands.described import read_study

    described = read_study(arguments.file)
    print(f"{described.title}\n{_what(described)}")
    if arguments.check:
        return 0
    options = dict(described.options)
    if arguments.threads is not None:
        options["threads"] = arguments.threads
    store = _store(arguments, options.pop("store", None))
    if store is not None:
        options["store"] = store
    folder = make_folder(arguments.out)
    result = _run(described, options)
    try:
        _show(described, result, folder, arguments.figure)
    except OSError as error:
        raise InputError(
            f"{'--figure' if arguments.figure else '--out'} {arguments.figure or folder}: {error.filename or 'a file'} cannot be written ({error.strerror})."
        ) from None
    say_caution()
    if _count(result, "missing"):
        return 130
    return 0 if _count(result, "failed") < described.cases else 1


def _what(described: Any) -> str:
    if described.grid:
        sizes = " x ".join(f"{len(described.points[name])} {name}" for name in described.grid)
        return f"grid of {described.cases} trials: {sizes}"
    lines = [f"sample of {described.cases} trials" + (", for sensitivities" if described.sensitivity else "")]
    lines += [f"  {_varied(name, distribution)}" for name, distribution in described.distributions.items()]
    return "\n".join(lines)


def _varied(name: str, distribution: Any) -> str:
    """A distribution in words, in the units that are shown."""
    unit = str(distribution.units)

    def converted(found: re.Match[str]) -> str:
        if found[1] == "factor ":
            return found[0]
        own = "K" if unit == "degC" and found[1] else unit  # a deviation is a difference
        return f"{found[1] or ''}{shown(float(found[2]), own)[0]:.4g}"

    words = re.sub(r"(standard deviation |factor )?(?<![\w.])(-?\d[\d.]*(?:e[+-]?\d+)?)", converted, distribution.told)
    return f"{name.replace('_', ' ')}: {words} {unit_text(unit)}".rstrip()


def _store(arguments: argparse.Namespace, named: str | None) -> str | None:
    """Where the cases are kept; an old store is gone on with only when it is said."""
    store = arguments.store if arguments.store is not None else named
    if store is None:
        if arguments.resume:
            raise InputError("--resume needs the store of the interrupted study: name it with --store, or in [run].")
        return None
    exists = pathlib.Path(store).exists()
    if arguments.resume and not exists:
        raise InputError(f"--resume: there is no store {store}; leave --resume out to begin.")
    if exists and not arguments.resume:
        raise InputError(f"--store {store} is there already: go on with it by --resume, or name another.")
    return str(store)


def _run(described: Any, options: dict[str, Any]) -> Any:
    from heatq.studies.run import study

    result = study(described.build, described.points, reduce=described.keep, **options)
    for name, labels in described.labels.items():
        if name in result.coords:
            result[name].attrs.update(labels)
    result.attrs["title"] = described.title
    if not described.grid:
        result.attrs.update(described.points.attrs)
    return result


def _count(result: Any, status: str) -> int:
    return int((result["status"].values.astype(str) == status).sum())


def _show(described: Any, result: Any, folder: pathlib.Path, figure: str | None) -> None:
    """Print the outcome and write the files."""
    from heatq.files import save_netcdf

    written = ["study.csv", "study.nc"]
    failed, missing = _count(result, "failed"), _count(result, "missing")
    if failed:
        print(f"\n{failed} of {described.cases} trials failed:\n{_reasons(result)}")
    if missing:
        print(f"\ninterrupted: {missing} of {described.cases} trials were not run; with a store, --resume goes on.")
    save_netcdf(_plain(result), folder / "study.nc")
    result.to_dataframe().to_csv(folder / "study.csv")
    if failed + missing == described.cases:
        print(f"\nwritten to {folder}/: {', '.join(written)}")
        return
    told: Any = None
    if described.sensitivity:
        from heatq.studies.sensitivity import indices_of

        told = indices_of(result, list(described.distributions), variables=_measurable(described, result))
        save_netcdf(_plain(told), folder / "indices.nc")
        written.append("indices.nc")
        print(f"\n{_sensitivity_table(told)}")
    elif not described.grid:
        from heatq.studies.uncertainty import summary

        told = summary(result, described.percentiles, at_least=described.at_least)
        save_netcdf(_plain(told), folder / "summary.nc")
        written.append("summary.nc")
        print(f"\n{_summary_table(told)}")
    else:
        print(f"\n{_grid_table(described, result)}")
    axes = _figure(described, result, told)
    path = pathlib.Path(figure) if figure else folder / "study.png"
    if axes is None:
        print("\nno figure: nothing numeric varies.")
    else:
        axes.figure.savefig(path, dpi=200)
        written.append(str(path) if figure else path.name)
    print(f"\nwritten to {folder}/: {', '.join(written)}")


def _plain(result: Any) -> Any:
    """Without what NetCDF version 3 does not know: booleans, and texts of any length."""
    ready = result.copy()
    for name, variable in result.variables.items():
        if variable.dtype == bool:
            ready[name] = variable.astype("int8")
        elif variable.dtype == object:
            ready[name] = (variable.dims, variable.values.astype(str), variable.attrs)
    return ready


def _reasons(result: Any) -> str:
    counted: dict[str, int] = {}
    for text, state in zip(result["message"].values.ravel(), result["status"].values.ravel(), strict=True):
        if str(state) == "failed":
            counted[str(text)] = counted.get(str(text), 0) + 1
    return "\n".join(f"  {count} x {text}" for text, count in sorted(counted.items(), key=lambda item: -item[1])[:10])


def _measurable(described: Any, result: Any) -> list[str]:
    """Variables that have a value in every finished trial: HRC ends at 20."""
    done = result["status"].values.astype(str) == "ok"
    return [
        name for name in described.keep.variables if np.isfinite(result[name].transpose("case", ...).values[done]).all()
    ]


#: What the results are called in the tables.
_NAMES = {
    "hardness_hv": "hardness",
    "hardness_hrc": "hardness",
    "hardness_hrc_chemistry": "hardness from chemistry alone (ASTM A255)",
    "hardness_hrc_regression": "hardness from chemistry alone (Just)",
    "cooling_rate_700": "cooling rate at 700 °C",
    "cooling_rate_704": "cooling rate at 704 °C",
    "cooling_time_800_500": "time from 800 to 500 °C",
    "equivalent_distance": "distance on the end-quench bar, same rate at 704 °C",
    "equivalent_distance_by_time": "distance on the end-quench bar, same time from 800 to 500 °C",
    "fraction": "share of the phases",
}


def _heading(name: str, unit: str) -> str:
    """Name of a result with its unit, over its numbers."""
    text = unit_text(unit)
    return in_words(_NAMES.get(name, name.replace("_", " "))) + (f", {text}" if text else "")


def _summary_table(told: Any) -> str:
    """Percentiles with their errors, and probabilities, per variable and place."""
    names = [str(name).removesuffix("_percentile") for name in told.data_vars if str(name).endswith("_percentile")]
    limits = json.loads(told.attrs.get("at_least", "{}"))
    levels = told["level"].values
    head = f"{'':<28}" + "".join(f"{f'{level:g} %':>17}" for level in levels)
    lines = [
        f"{told.attrs['cases'] - told.attrs['failed']} trials; +- is one standard error ({told.attrs['standard_errors']})"
    ]
    for name in names:
        unit = str(told[f"{name}_percentile"].attrs.get("units", "1"))
        lines.append(f"\n{_heading(name, unit)}\n{head}")
        stacked = told[f"{name}_percentile"].transpose("level", ...)
        values, _ = shown(stacked.values, unit)
        errors, _ = shown(told[f"{name}_percentile_error"].transpose("level", ...).values, unit)
        for index in np.ndindex(stacked.shape[1:]):
            label = _label(told, stacked.dims[1:], index)
            cells = [
                f"{value:>9.4g} +- {error:<4.2g}" if np.isfinite(value) else f"{'below the scale':>17}"
                for value, error in zip(values[(slice(None), *index)], errors[(slice(None), *index)], strict=True)
            ]
            line = f"{label:<28}" + "".join(f"{cell:>17}" for cell in cells)
            if f"{name}_probability" in told:
                share = float(told[f"{name}_probability"].values[index])
                low, high = told[f"{name}_probability_interval"].values[(slice(None), *index)]
                limit, _ = shown(limits[name], unit)
                line += f"   at least {limit:g}: {100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f} %)"
            lines.append(line)
    return "\n".join(lines)


def _label(data: Any, dims: Any, index: tuple[int, ...]) -> str:
    parts = []
    for dim, number in zip(dims, index, strict=True):
        value = data[dim].values[number] if dim in data.coords else number
        parts.append(f"{value:.4g}" if isinstance(value, float) else str(value))
    return in_words(", ".join(parts))


def _sensitivity_table(told: Any) -> str:
    names = [str(name).removesuffix("_total") for name in told.data_vars if str(name).endswith("_total")]
    lines = [f"Sobol' indices from {told.attrs['points']} points, {100 * told.attrs['confidence']:g} % intervals"]
    for name in names:
        total, main = told[f"{name}_total"], told[f"{name}_first_order"]
        dims = [dim for dim in total.dims if dim != "parameter"]
        total, main = total.transpose(*dims, "parameter"), main.transpose(*dims, "parameter")
        bounds = {
            k: told[f"{name}_{k}_interval"].transpose("bound", *dims, "parameter").values
            for k in ("total", "first_order")
        }
        for index in np.ndindex(total.shape[:-1]):
            about = _heading(name, "HRC" if "hrc" in name else "HV" if "hv" in name else "1")
            lines.append(f"\n{about}, {_label(told, dims, index)}\n{'':<24}{'first order':>22}{'total':>22}")
            for k in np.argsort(total.values[index])[::-1]:
                cells = [
                    f"{array.values[(*index, k)]:.2f} ({bounds[kind][(0, *index, k)]:.2f} to {bounds[kind][(1, *index, k)]:.2f})"
                    for kind, array in (("first_order", main), ("total", total))
                ]
                lines.append(f"{told['parameter'].values[k]!s:<24}" + "".join(f"{cell:>22}" for cell in cells))
    return "\n".join(lines)


def _grid_table(described: Any, result: Any) -> str:
    """One line per trial: parameters, then the first variable at every place."""
    from heatq.plot_study import _told

    variable = described.keep.variables[0]
    array = result[variable].transpose(*described.grid, ...)
    unit = str(array.attrs.get("units", "1"))
    rest = array.dims[len(described.grid) :]
    places = [_label(result, rest, index) for index in np.ndindex(array.shape[len(described.grid) :])]
    if len(places) > 8:  # as many as fit on a line
        places = places[:8]
    lines = [
        _heading(variable, unit),
        "".join(f"{name:>18}" for name in described.grid) + "".join(f"{place:>12}" for place in places),
    ]
    for index in np.ndindex(array.shape[: len(described.grid)]):
        if len(lines) > SHOWN + 1:
            lines.append(f"... {described.cases - SHOWN} more in study.csv")
            break
        values = np.ravel(shown(array.values[index], unit)[0])[: len(places)]
        where = "".join(
            f"{_told(result[name], result[name].values[number]):>18}"
            for name, number in zip(described.grid, index, strict=True)
        )
        state = str(result["status"].transpose(*described.grid).values[index])
        blank = "<20" if state == "ok" and array.attrs.get("units") == "HRC" else "-" if state == "ok" else state
        lines.append(where + "".join(f"{value:>12.4g}" if np.isfinite(value) else f"{blank:>12}" for value in values))
    return "\n".join(lines)


def _figure(described: Any, result: Any, told: Any) -> Any:
    """The figure that fits: contours or lines of a grid, band or cumulative curves of a sample, sensitivities."""
    from heatq import plot_study

    variable = next(iter(described.at_least), described.keep.variables[0])
    limit = described.at_least.get(variable)
    at_first = {"probe": 0} if "probe" in result[variable].dims else {}
    if described.sensitivity:
        names = [name for name in (variable, "hardness_hv") if f"{name}_total" in told]
        names += [str(name).removesuffix("_total") for name in told.data_vars if str(name).endswith("_total")]
        return plot_study.sensitivity_tornado(told.isel(at_first), names[0]) if names else None
    if not described.grid:
        if result.sizes.get("probe", 1) > 5 and "distance" in told.coords:
            return plot_study.study_band(told, variable, at_least=limit)
        return plot_study.study_cumulative(result, variable, at_least=limit)
    numeric = [name for name in described.grid if result[name].dtype.kind in "fiu" and result.sizes[name] > 1]
    spare = [name for name in described.grid if name not in numeric and result.sizes[name] > 1]
    if not numeric:
        return None
    place = {} if len(described.grid) == 1 and result.sizes.get("probe", 1) <= 7 else at_first
    if len(numeric) == 1 and len(spare) <= 1:
        return _titled(plot_study.study_lines(result.isel(place), variable, at_least=limit), result, place)
    chosen = result.isel({**at_first, **dict.fromkeys([*numeric[2:], *spare], 0)})
    if len(numeric) == 1:
        return _titled(plot_study.study_lines(chosen, variable, at_least=limit), result, at_first)
    return _titled(
        plot_study.study_contours(chosen, variable, x=numeric[0], y=numeric[1], at_least=limit), chosen, at_first
    )


def _titled(axes: Any, result: Any, place: dict[str, int]) -> Any:
    """Add the place to the title."""
    if place:
        name = str(np.atleast_1d(result["probe"].values)[0])
        title = axes.get_title(loc="left")
        axes.set_title(f"{title}; {name}" if title else name, fontsize="medium", loc="left")
    return axes
