"""The decision table: alternatives as rows, what they do to the piece and what they ask for as columns."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import mega

from heatq._version import __version__
from heatq.boundaries.gas import check_gas
from heatq.cautions import PLANNING, cautions_for
from heatq.conduction import simulate
from heatq.decide.quenches import check_quench, coldest
from heatq.decide.requirements import check_requirement
from heatq.decide.runs import quench_case, run_quench
from heatq.errors import InputError, check_name, check_number, collect_validity, hold_validity
from heatq.history import crossing_time
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT
from heatq.units import in_words, shown, unit_text

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["decision_table", "decision_text", "quench_cautions"]

Array = npt.NDArray[np.float64]
#: Columns of which more is better.
_MORE = ("least_margin", "probability", "margin")
#: Figures of `heatq.distortion` that become columns.
DISTORTION = (
    "largest_difference",
    "difference_at_surface_ms",
    "shell_time",
    "h_ratio_regimes",
    "total_tension_surface",
    "total_tension_core",
)
_STOP = 60.0
Extra = Callable[[Any, Any], Mapping[str, Any]]


def quench_cautions(quench: Any, material: str = "steel") -> list[str]:
    """What to beware of with a quench, as sentences of `heatq.cautions`; no list of this kind is complete.

    Parameters
    ----------
    quench : GasQuench or BathQuench
        The quench.
    material : {"steel", "titanium"}
        Of the piece.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench
    >>> [line.split()[0] for line in quench_cautions(GasQuench("nitrogen", pressure=6 * bar))]
    ['Hot', 'Inert', 'Above', 'Local']
    """
    check_quench(quench)
    check_name("material", material, ("steel", "titanium"))
    medium = str(getattr(quench, "medium", "table"))
    gases = list(check_gas(quench.gas)) if medium == "gas" else []
    return cautions_for(
        [medium],
        gases=gases,
        pressure=float(quench.pressure) if medium == "gas" else None,
        is_titanium=material == "titanium",
    )


def decision_table(
    specimen: Any,
    steel: Any,
    quenches: Sequence[Any],
    requirement: Any,
    *,
    sort_by: str = "least_margin",
    probes: Any = None,
    level: float = 0.90,
    extra: Extra | Sequence[Extra] | None = None,
    distortion: bool = True,
    initial_temperature: float | None = None,
    accuracy: float = 0.5,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Compare quenches for one piece and heat: hardness, margin, probability, times, distortion, cautions.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    steel : Steel
        The heat.
    quenches : sequence of GasQuench and BathQuench
        The alternatives; each label once.
    requirement : Requirement
        What must be met, where.
    sort_by : str
        A column over ``alternative``: "least_margin" (default) and "probability" sort the largest first, everything else the
        smallest; rows without a value come last.
    probes : optional
        Places in the table besides those of the requirement; default the piece's own list, for an end-quench bar none.
    level : float
        Probability of the hardness intervals.
    extra : callable or sequence of callables, optional
        ``extra(quench, result)`` returns further columns: a mapping name -> DataArray without dimensions, with ``units`` and
        ``long_name`` (gas used, energy, cost from `heatq.decide` for a furnace). A name missing for one alternative is NaN there.
    distortion : bool
        Add the figures of `heatq.distortion`: for comparison of quenches, no promise.
    initial_temperature, accuracy, kinetics
        As in `heatq.trial`.

    Returns
    -------
    Dataset
        Over ``alternative`` and ``probe``: ``hardness_hrc``, ``hardness_hv``, their intervals, ``margin`` (NaN where nothing is
        required), ``cooling_time_800_500``. Over ``alternative``: ``least_margin``, ``probability`` (the lowest of the places
        asked for, since errors go together), ``verdict``, ``time_to_60`` (s until the last of the places is at 60 degC; NaN
        if the medium is not colder), ``medium``, ``pressure``, ``velocity``, ``cautions``, and the extra columns.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import BathQuench, GasQuench, Requirement, decision_table
    >>> table = decision_table(hq.RoundBar(0.040), hq.grade("4140"),
    ...                        [GasQuench(pressure=2 * bar), GasQuench("helium", pressure=20 * bar), BathQuench(hq.OilBath())],
    ...                        Requirement(hardness_hrc=45.0), distortion=False)
    >>> str(table.alternative.values[-1]), str(table.verdict.values[-1])
    ('nitrogen 2 bar 20 m/s', 'fails')
    """
    import xarray as xr

    check_piece(specimen)
    check_requirement(requirement)
    check_number("level", level, low=0.5, high=0.999, unit="1", hint="It is a probability: 0.9, not 90.")
    if not isinstance(quenches, Sequence) or not quenches:
        raise InputError(f"quenches = {quenches!r}: give a list of GasQuench and BathQuench objects, at least one.")
    labels = [str(check_quench(one, f"quench {n}").label) for n, one in enumerate(quenches, 1)]
    double = [label for label in labels if labels.count(label) > 1]
    if double:
        raise InputError(f"two quenches are called {double[0]!r}; give them labels of their own.")
    places = _places(specimen, requirement, probes)
    extras = [] if extra is None else [extra] if callable(extra) else list(extra)
    run = {"accuracy": accuracy, "kinetics": kinetics, "initial_temperature": initial_temperature}
    rows = []
    with collect_validity() as notes:
        for quench in quenches:
            result = run_quench(
                specimen, steel, quench, probes=places, with_interval=True, level=level, second_opinions=False, **run
            )
            row = _row(result, quench, requirement)
            if distortion:
                row = row.merge(_distortion(specimen, steel, quench, run), combine_attrs="override")
            for function in extras:
                row = row.merge(_columns(function, quench, result), combine_attrs="override")
            rows.append(row)
        every = list(notes.values())
    table = xr.concat(rows, "alternative", data_vars="all", join="outer", combine_attrs="override")
    for row in rows:
        for name in row.data_vars:
            table[name].attrs = dict(row[name].attrs)
    table.coords["alternative"] = ("alternative", labels, {"units": "1", "long_name": "alternative"})
    over = [str(name) for name, column in table.data_vars.items() if column.dims == ("alternative",)]
    check_name("sort_by", sort_by, over, what="column to sort by")
    key = table[sort_by].values
    if key.dtype.kind in "fiu":
        key = np.where(np.isfinite(key), -key if sort_by in _MORE else key, np.inf)
    table = table.isel(alternative=np.argsort(key, kind="stable"))
    table.attrs = {
        "heatq_version": __version__,
        "requirement": requirement.label,
        "specimen": repr(specimen),
        "steel": repr(steel),
        "level": level,
        "sorted_by": sort_by,
        "required_hv": json.dumps(requirement.required_hv()),
        "interval_basis": json.dumps({label: str(row.attrs["basis"]) for label, row in zip(labels, rows, strict=True)}),
        "settings": json.dumps({label: repr(quench) for label, quench in zip(labels, quenches, strict=True)}),
        "warnings": json.dumps(every),
    }
    return table


def _places(specimen: Any, requirement: Any, probes: Any) -> list[Any]:
    own = list(requirement.probes)
    if probes is None:
        more = list(specimen.default_probes) if len(specimen.default_probes) <= 6 else []
    else:
        more = [probe.label if not isinstance(probe, str) else probe for probe in specimen.resolve_probes(probes)]
        given = {probe.label: probe for probe in specimen.resolve_probes(probes)}
        return [*(given.get(name, name) for name in own), *(given[n] for n in more if n not in own)]
    return [*own, *(name for name in more if name not in own)]


def _row(result: xr.Dataset, quench: Any, requirement: Any) -> xr.Dataset:
    import xarray as xr

    names = ("hardness_hrc", "hardness_hv", "hardness_interval", "hardness_interval_hv", "cooling_time_800_500")
    row = result[list(names)]
    row = row.drop_vars([name for name in row.coords if name not in ("probe", "bound")])
    margin = requirement.margin(result)
    row["margin"] = margin.drop_vars([n for n in margin.coords if n != "probe"]).reindex(probe=row["probe"])
    row["margin"].attrs = dict(margin.attrs)
    row["cooling_time_800_500"].attrs = {"units": "s", "long_name": "cooling time 800 to 500 degC"}
    least = float(margin.min(skipna=False))
    likely = float(requirement.probability(result).min(skipna=False))
    cold = crossing_time(result, _STOP).values if coldest(quench) < _STOP else np.array([np.nan])
    verdict = "not judged" if np.isnan(least) else "fails"
    if least >= 0.0:
        verdict = "meets" if np.isnan(likely) or likely >= 0.95 else "meets, not surely"
    columns: dict[str, tuple[Any, str, str]] = {
        "least_margin": (least, requirement.unit, f"least margin to {requirement.label}"),
        "probability": (likely, "1", f"probability of {requirement.label}"),
        "verdict": (verdict, "1", "verdict"),
        "time_to_60": (float(np.max(cold)), "s", "time until the last place is at 60 degC"),
        "medium": (str(getattr(quench, "medium", "table")), "1", "medium"),
        "pressure": (float(getattr(quench, "pressure", np.nan)), "Pa", "pressure, absolute"),
        "velocity": (float(getattr(quench, "velocity", np.nan)), "m/s", "velocity of the gas"),
        "cautions": ("\n".join(quench_cautions(quench)), "1", "cautions"),
    }
    for name, (value, unit, words) in columns.items():
        row[name] = xr.DataArray(value, attrs={"units": unit, "long_name": words})
    row.attrs = {"basis": result.attrs["hardness_interval_basis"]}
    return row


def _distortion(specimen: Any, steel: Any, quench: Any, run: dict[str, Any]) -> xr.Dataset:
    """Figures of `heatq.distortion` for one alternative, from a run of its own with probes over the radius."""
    from heatq.distortion import compare_distortion, distortion_figures, distortion_probes

    boundaries = quench.boundaries(specimen)
    with hold_validity():
        result = simulate(**quench_case(specimen, steel, quench, probes=distortion_probes(specimen, 11), **run))
        figures = distortion_figures(result, specimen, steel, boundaries)
    row = compare_distortion({"one": figures}).isel(quench=0, drop=True)
    return row[list(DISTORTION)]


def _columns(function: Extra, quench: Any, result: xr.Dataset) -> xr.Dataset:
    """Further columns of one alternative."""
    import xarray as xr

    if not callable(function):
        raise InputError(f"extra = {function!r} must be a function of quench and result, or a list of such.")
    found = function(quench, result) or {}
    columns = dict(found.data_vars) if hasattr(found, "data_vars") else dict(found)
    kept = {}
    for name, value in columns.items():
        array = value if hasattr(value, "dims") else xr.DataArray(value)
        if array.dims:
            raise InputError(
                f"extra: column {name!r} has the dimensions {array.dims}; return one number for each alternative."
            )
        kept[str(name)] = array.drop_vars(list(array.coords)).assign_attrs(
            {"units": array.attrs.get("units", "1"), "long_name": array.attrs.get("long_name", str(name))}
        )
    return xr.Dataset(kept)


def decision_text(table: xr.Dataset) -> str:
    """The decision table for print, in the units of `heatq.plot.units`: one line per alternative, then the cautions.

    Of a gas mixture with a long name only the largest part is printed; the table itself has the whole name.

    Parameters
    ----------
    table : Dataset
        Of :func:`decision_table`.
    """
    if not hasattr(table, "data_vars") or "least_margin" not in table:
        raise InputError("table is not a decision table: pass what decision_table() returned.")
    labels = [f"{n:>2} {label}" for n, label in enumerate(short_labels(table["alternative"].values), 1)]
    places = [str(name) for name in table["probe"].values]
    width = max(14, *(len(label) for label in labels))
    cells = [[_hardness(table.isel(alternative=n, probe=k)) for k in range(len(places))] for n in range(len(labels))]
    wide = [
        2 + max(len(text) for text in (in_words(place), *column))
        for place, column in zip(places, zip(*cells, strict=True), strict=True)
    ]
    percent = 100.0 * float(table.attrs["level"])
    unit = str(table["least_margin"].attrs["units"])
    window, cold = in_words("800-500 °C").rpartition(" ")[0], in_words("to 60 °C")
    order = str(table.attrs["sorted_by"])
    further = [name for name in table.data_vars if table[name].dims == ("alternative",) and name not in _KNOWN]
    lines = [
        f"{in_words(str(table.attrs['requirement']))}; HRC with its {percent:g} % interval; sorted by "
        + order.removeprefix("least_").replace("_", " "),
        f"{'   alternative':<{width}}"
        + "".join(f"{in_words(place):>{w}}" for place, w in zip(places, wide, strict=True))
        + f"{'margin':>9}{'sure':>6}{window:>{len(window) + 2}}{cold:>{len(cold) + 2}}  verdict",
        f"{'':<{width}}"
        + "".join(f"{'HRC':>{w}}" for w in wide)
        + f"{unit_text(unit):>9}{'%':>6}{'s':>{len(window) + 2}}{'s':>{len(cold) + 2}}",
    ]
    for n, label in enumerate(labels):
        row = table.isel(alternative=n)
        first = str(row["margin"].dropna("probe")["probe"].values[0]) if row["margin"].notnull().any() else places[0]
        lines.append(
            f"{label:<{width}}"
            + "".join(f"{text:>{w}}" for text, w in zip(cells[n], wide, strict=True))
            + _cell(float(shown(row["least_margin"].values, unit)[0]), "+.3g", 9)
            + _cell(100.0 * float(row["probability"]), ".0f", 6)
            + _cell(float(row["cooling_time_800_500"].sel(probe=first)), ".3g", len(window) + 2)
            + _cell(float(row["time_to_60"]), ".3g", len(cold) + 2)
            + f"  {row['verdict'].values}"
        )
    lines += _further(table, labels, further, width)
    lines.append("cautions (no list is complete):")
    every = [str(value).split("\n") for value in table["cautions"].values]
    for sentence in dict.fromkeys(sentence for one in every for sentence in one if sentence):
        who = [str(n) for n, one in enumerate(every, 1) if sentence in one]
        lines.append(_wrapped(f"  {'all' if len(who) == len(labels) else ', '.join(who)}: {sentence}"))
    lines.append(
        _wrapped(
            "The interval covers model, chemistry, grain and h; the margin is that of its middle. Distortion figures rank "
            f"quenches of one piece, they predict no distortion. {PLANNING}"
        )
    )
    return "\n".join(lines)


def _wrapped(text: str) -> str:
    return textwrap.fill(text, 120, subsequent_indent="    " if text.startswith(" ") else "")


def short_labels(labels: Any) -> list[str]:
    """Labels for print and figures: of a long gas mixture the largest part only, where that leaves every label different."""
    whole = [in_words(str(label)) for label in labels]
    short = [_MIXTURE.sub(_largest, label) if len(label) > 40 else label for label in whole]
    return [one if short.count(one) == 1 else label for one, label in zip(short, whole, strict=True)]


_MIXTURE = re.compile(r"\w+ [\d.]+ %(?: \+ \w+ [\d.]+ %)+")


def _largest(mixture: re.Match[str]) -> str:
    parts = mixture[0].split(" + ")
    return f"{max(parts, key=lambda part: float(part.split()[1]))} and others"


def _further(table: xr.Dataset, labels: list[str], names: list[Any], width: int) -> list[str]:
    """The columns that are named below the rows, by number."""
    if not names:
        return []
    numbers = {name: f"[{k}]" for k, name in enumerate(names, 1)}
    lines = ["", f"{'   alternative':<{width}}" + "".join(f"{number:>10}" for number in numbers.values())]
    units = {name: str(table[name].attrs["units"]) for name in names}
    for n, label in enumerate(labels):
        lines.append(f"{label:<{width}}" + "".join(_shown(table[name].values[n], units[name]) for name in names))
    for name, number in numbers.items():
        unit = "MPa" if units[name] == "Pa" else unit_text(units[name])
        lines.append(f"{number} {in_words(str(table[name].attrs['long_name']))}{f', {unit}' if unit else ''}")
    return [*lines, ""]


_KNOWN = ("least_margin", "probability", "verdict", "time_to_60", "medium", "pressure", "velocity", "cautions")


def _cell(value: float, form: str, width: int) -> str:
    return (format(value, form) if np.isfinite(value) else "-").rjust(width)


def _shown(value: Any, unit: str) -> str:
    if np.asarray(value).dtype.kind not in "fiu":
        return f"{value!s:>10}"
    number = float(value) / mega if unit == "Pa" else float(shown(value, unit)[0])
    return _cell(number, ".0f" if abs(number) >= 100.0 else ".3g", 10)


def _hardness(one: xr.Dataset) -> str:
    """Hardness, where something is required with its interval; HV where the HRC scale has ended."""
    hrc = float(one["hardness_hrc"])
    if np.isnan(one["margin"]):
        return f"{hrc:.1f}" if np.isfinite(hrc) else f"{float(one['hardness_hv']):.0f} HV"
    low, high = (float(value) for value in one["hardness_interval"].values)
    if np.isfinite(hrc):
        return f"{hrc:.1f} ({f'{low:.0f}' if np.isfinite(low) else '<20'} to {high:.0f})"
    low, high = (float(value) for value in one["hardness_interval_hv"].values)
    return f"{float(one['hardness_hv']):.0f} HV ({low:.0f} to {high:.0f})"
