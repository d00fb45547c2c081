"""`html`: the page of a trial, a decision, a calibration, a fit or any other result."""

from __future__ import annotations

import datetime
import importlib.resources
import json
import os
import pathlib
import platform
import re
from collections.abc import Callable, Iterable
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq._version import __version__
from heatq.boundaries.gas import GASES
from heatq.cautions import PLANNING, cautions_for
from heatq.errors import InputError
from heatq.hardness.interval import disagreements
from heatq.report.origins import attributes_in_words, model_sources
from heatq.report.parts import bullets, definitions, figure, notes_of, number, section, settings_of, table
from heatq.units import in_words, shown, unit_text

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["html"]


def html(
    result: xr.Dataset,
    path: str | os.PathLike[str],
    *,
    title: str = "",
    asked: str = "",
    steel: Any = None,
    notes: Iterable[str] = (),
) -> pathlib.Path:
    """Write one self-contained HTML page about a result, in the units of `heatq.plot.units`.

    Nothing is loaded from elsewhere: figures are SVG inside the file, so that it can be mailed, printed (A4 or Letter) and
    kept. It says what was asked, what went in and where that comes from, the answer with its uncertainty, warnings, cautions,
    and how to get the result again.

    Parameters
    ----------
    result : xarray.Dataset
        Of `heatq.trial`, `heatq.simulate`, a question of `heatq.decide`, `heatq.fit_boundary`, `heatq.calibrate`, or any
        other Dataset of heatq, whose tables are shown then.
    path : path-like
        File to write, in a folder that is there; an existing one is replaced.
    title : str
        Head of the page; by default what kind of result it is.
    asked : str
        The question in your words.
    steel : Steel, optional
        With it, the page of a trial shows the histories over the CCT diagram.
    notes : iterable of str
        Sentences of yours, shown in a part of their own (load number, who measured, what differs); a single str is one.

    Returns
    -------
    pathlib.Path
        Where it was written.

    Raises
    ------
    InputError
        If ``result`` is not a Dataset, or the file cannot be written.

    Examples
    --------
    >>> import tempfile, pathlib, heatq as hq
    >>> result = hq.trial(hq.RoundBar(diameter=0.03), hq.demo_heat(), {"side": hq.Convection(800.0, 40.0)}, accuracy=2.0)
    >>> file = html(result, pathlib.Path(tempfile.mkdtemp()) / "bar.html", asked="Is 30 mm hard to the core?")
    >>> text = file.read_text(encoding="utf-8")
    >>> "Is 30 mm hard to the core?" in text and "src='http" not in text
    True
    """
    if not isinstance(path, str | os.PathLike):
        raise InputError(f"path = {path!r} must be the name of a file, such as 'report.html'.")
    if not hasattr(result, "data_vars"):
        raise InputError(f"result = {type(result).__name__} must be a Dataset, such as trial() or calibrate() return.")
    kind = _kind(result)
    head, parts = _PAGES[kind](result, steel)
    heading = str(title or head)
    several = isinstance(notes, Iterable) and not isinstance(notes, str)
    notes = [str(note) for note in notes] if several else [str(notes)]
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    content = [
        f"<header><h1>{escape(heading)}</h1><p>{escape(_stamp(result))}</p></header>",
        section("What was asked", f"<p>{escape(str(asked))}</p>" if asked else ""),
        *parts,
        section("Notes", bullets(notes)),
        section("Warnings and validity", bullets(_warnings(result)) or "<p>None were raised.</p>"),
        f"<div class='cautions'><h2>Cautions</h2>{bullets([PLANNING, *_cautions(result)])}</div>",
        section("Where the numbers come from", bullets(model_sources(result))),
        section("How to get this again", _again(result)),
        f"<footer><p>Written on {today} by heatq {escape(__version__)}. {escape(PLANNING)}</p></footer>",
    ]
    style = importlib.resources.files("heatq.report").joinpath("style.css").read_text(encoding="utf-8")
    body = "\n".join(part for part in content if part)
    page = (
        "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(heading)}</title><link rel='icon' href='data:,'><style>\n{style}</style></head>\n<body>\n{body}\n</body></html>\n"
    )
    target = pathlib.Path(path)
    try:
        part = target.with_name(target.name + ".part")
        part.write_text(page, encoding="utf-8")
        try:
            os.replace(part, target)
        except OSError:
            part.unlink()
            raise
    except (OSError, ValueError) as error:  # ValueError: an empty name, or a null byte in it
        reason = getattr(error, "strerror", None) or (str(error) if target.name else "it names no file")
        if not target.parent.is_dir():
            reason += f"; make the folder {str(target.parent)!r} first"
        raise InputError(f"path = {str(target)!r} cannot be written: {reason}.") from error
    return target


def _kind(result: xr.Dataset) -> str:
    if "alternative" in result.dims and "verdict" in result:
        return "decision"
    if "searched" in result.attrs and "reachable" in result:
        return "search"
    if "gas_before" in result and "row" in result.dims:
        return "load"
    if "law" in result.attrs and "run_factor" in result:
        return "calibration"
    if "unknown" in result.attrs and "residual" in result:
        return "fit"
    if "temperature" in result and {"time", "probe"} <= set(result["temperature"].dims):
        return "trial" if "hardness_hv" in result else "histories"
    return "other"


def _stamp(result: xr.Dataset) -> str:
    made = str(result.attrs.get("created", "")).replace("T", " ")
    version = str(result.attrs.get("heatq_version", ""))
    return " · ".join(part for part in (made, f"heatq {version}" if version else "") if part)


def _warnings(result: xr.Dataset) -> list[str]:
    lines = notes_of(result, "warnings")
    if "warnings" in result.variables:
        lines += [str(line) for line in np.unique(result["warnings"].values.astype(str)) if line]
    if "hardness_hrc" in result and result["hardness_hrc"].dims == ("probe",) and "hardness_hrc_chemistry" in result:
        lines += disagreements(result)
    status = result.attrs.get("status", "finished")
    return lines if status == "finished" else [f"The run did not finish: {status}", *lines]


def _cautions(result: xr.Dataset) -> list[str]:
    """Cautions for the media that the settings name."""
    if "cautions" in result.variables:
        own = [line for held in result["cautions"].values.astype(str) for line in held.split("\n") if line]
        return list(dict.fromkeys([*own, *cautions_for([])]))
    words = json.dumps([str(value) for value in result.attrs.values()])
    media = []
    if re.search(r"\bGas[A-Z]", words) or "pressure" in result.variables or "gas" in result.attrs:
        media.append("gas")
    media += ["oil"] if "OilBath" in words else []
    media += ["water"] if re.search(r"Water(Jet|Bath)", words) else []
    named = " ".join([*map(str, np.ravel(result["gas"].values))] if "gas" in result.variables else [])
    named += str(result.attrs.get("gas", ""))
    gases = [name for name in GASES if re.search(rf"gas=[^,)]*{name}", words) or name in named]
    pressures = [float(found) for found in re.findall(r"pressure=([0-9.e+]+)", words)]
    if "pressure" in result.variables:
        pressures += [float(value) for value in np.ravel(result["pressure"].values) if np.isfinite(value)]
    pressures += [float(result.attrs["pressure"])] if "pressure" in result.attrs else []
    return cautions_for(media, gases=gases, pressure=max(pressures, default=None))


# ------------------------------------------------------------------------------------------------------ kinds of page


#: Units of the settings of a run.
_UNITS = {"initial_temperature": "degC", "end_time": "s", "accuracy": "K", "step_tolerance": "K"}


def _inputs(result: xr.Dataset) -> str:
    settings = settings_of(result)
    for name, unit in _UNITS.items():
        if isinstance(settings.get(name), (int, float)):
            value, text = shown(settings[name], unit)
            settings[name] = f"{value:.6g} {text}"
    words = {name: _shortened(value) for name, value in settings.items()}
    return section("What went in", definitions(words), _own_units())


def _own_units() -> str:
    """What the reader of a page in inch or °F must know of descriptions in brackets."""
    if (unit_text("m"), unit_text("degC")) == ("mm", "°C"):
        return ""
    return "<p class='small'>Numbers within brackets, as in GasJet(…), are in metres, °C, pascal and otherwise SI units.</p>"


def _shortened(value: Any) -> Any:
    """A description without the arguments that were left out."""
    if isinstance(value, dict):
        return {name: _shortened(inner) for name, inner in value.items()}
    if not isinstance(value, str):
        return value
    return re.sub(r"<class '[\w.]*?(\w+)'>", r"\1", re.sub(r",? ?\w+=None", "", value))


def _exactness(result: xr.Dataset) -> str:
    error = result.attrs.get("estimated_error")
    rows = {
        f"estimated error of the histories, {unit_text('K')}": None if error is None else shown(error, "K")[0],
        "energy left over, relative": result.attrs.get("energy_residual"),
        "time steps": result.attrs.get("n_steps"),
        "interval": result.attrs.get("hardness_interval_basis"),
    }
    return definitions({name: value for name, value in rows.items() if value is not None})


def _trial(result: xr.Dataset, steel: Any) -> tuple[str, list[str]]:
    from heatq import plot

    end_quench = "distance" in result.coords
    names = ["distance"] if end_quench else ["r"]
    if not end_quench and np.ptp(result["z"].values) > 0.0:
        names.append("z")
    names += ["cooling_rate_704", "cooling_time_800_500", "hardness_hv", "hardness_hrc", "hardness_interval"]
    names += ["hardness_hrc_chemistry", "equivalent_distance_by_time"]  # where the second opinion is read
    shares = (100.0 * result["fraction"]).assign_attrs(units="%", long_name="share")
    shares = shares.reset_coords(drop=True)
    pictures = []
    if end_quench:
        pictures.append(_end_quench_figure(result))
    pictures.append(figure(plot.histories(_drawn(result, 6)), "Temperature over time."))
    if steel is not None:
        from heatq import plot_diagrams

        axes = plot_diagrams.overlay(_drawn(result, 4), _with_short_name(steel))
        pictures.append(figure(axes, "Histories over the CCT diagram of the heat."))
    return "Quench trial", [
        _answer(result),
        _inputs(result),
        section(
            "Result at every place", table(result, "probe", names), table(shares.to_dataset(name="share"), "probe")
        ),
        section("Figures", *pictures),
        section("How sure", f"<p>{escape(_SURE)}</p>", _exactness(result)),
    ]


def _end_quench_figure(result: xr.Dataset) -> str:
    """The hardness along an end-quench bar, with its interval where there is one."""
    from heatq import plot
    from heatq.plot_style import quenched_end_distance

    axes = plot.end_quench_curve(result)
    words = "Hardness over the distance from the quenched end."
    if "hardness_interval" in result:
        low, high = result["hardness_interval"].values
        at = quenched_end_distance(result["distance"].values)
        text = str(result["hardness_interval"].attrs.get("long_name", "interval"))
        low = np.where(np.isfinite(low) | ~np.isfinite(high), low, 20.0)  # the scale ends there
        axes.fill_between(at, low, high, color="0.85", zorder=0.5, linewidth=0.0, label=text)
        axes.set_ylim(top=max(axes.get_ylim()[1], float(np.nanmax(high, initial=20.0)) + 2.0))
        plot.legend(axes)
        words += " The band is the interval."
    return figure(axes, words)


def _with_short_name(steel: Any) -> Any:
    """The heat for a figure, whose head has room for so many letters only."""
    name = str(getattr(steel, "name", ""))
    return steel.replace(name=_short(name)) if name != _short(name) else steel


_SURE = (
    "The interval holds the hardness of a heat with the probability stated; it joins what the model missed on published tables, "
    "the scatter of chemistry and grain size, and the uncertainty of the heat transfer. Second opinions stand beside it: where they "
    "disagree by more than the intervals allow, a warning says so."
)


def _drawn(result: xr.Dataset, count: int) -> xr.Dataset:
    """Some of the places, spread over all, with names that a legend has room for."""
    rows = np.unique(np.linspace(0, result.sizes["probe"] - 1, min(count, result.sizes["probe"])).astype(int))
    some = result.isel(probe=rows)
    return some.assign_coords(probe=[_short(str(name)) for name in some["probe"].values])


def _short(name: str) -> str:
    return name if len(name) <= 40 else f"{name[:39]}…"


def _answer(result: xr.Dataset) -> str:
    """Hardest and softest place in words."""
    hrc = result["hardness_hrc"].values
    hv = result["hardness_hv"].values
    names = [in_words(str(name)) for name in result["probe"].values]
    lines = []
    for word, n in (("Hardest", int(np.argmax(hv))), ("Softest", int(np.argmin(hv)))):
        text = f"{hrc[n]:.1f} HRC" if np.isfinite(hrc[n]) else f"{hv[n]:.0f} HV, below the HRC scale"
        if "hardness_interval" in result:
            low, high = result["hardness_interval"].values[:, n]
            bounds = [f"{value:.0f}" if np.isfinite(value) else "below 20" for value in (low, high)]
            text += f" ({bounds[0]} to {bounds[1]} HRC)"
        lines.append(f"<p><strong>{word} place: {escape(names[n])}, {escape(text)}.</strong></p>")
    return f"<div class='answer'>{''.join(lines)}</div>"


def _histories(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot
    from heatq.metrics import history_metrics

    measured = history_metrics(result)
    if "z" in measured.variables and np.ptp(measured["z"].values) == 0.0:
        measured = measured.drop_vars("z")
    return "Cooling histories", [
        _inputs(result),
        section("What they show", table(measured, "probe")),
        section("Figures", figure(plot.histories(_drawn(result, 6)), "Temperature over time.")),
        section("How exact", _exactness(result)),
    ]


def _fit(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot_inverse

    numbers = attributes_in_words(result.attrs)
    named = (
        table(result, "nuisance", caption="Corrections found together with the curve")
        if "nuisance" in result.dims
        else ""
    )
    return "Heat transfer from a log", [
        section("What went in and how the fit went", definitions(numbers), named),
        section(
            "Figures",
            figure(plot_inverse.fitted_curve(result), "The fitted curve with its band."),
            figure(plot_inverse.residuals(result), "Measured minus fitted."),
        ),
    ]


def _calibration(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot_inverse

    numbers = attributes_in_words(result.attrs)
    law = [
        f"{name} = {number(float(value))}"
        for name, value in zip(result["parameter"].values, result["value"].values, strict=True)
    ]
    return "Calibration of a furnace", [
        f"<div class='answer'><p><strong>{escape('; '.join(law))}</strong></p></div>",
        section("The law", table(result, "parameter", ["value", "interval"])),
        section("The runs", table(result.drop_dims("parameter"), "run")),
        section("Figures", figure(plot_inverse.calibration_factors(result), "Factor of every run and the law.")),
        section("How the fit went", definitions(numbers)),
    ]


def _decision(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot_decide

    names = [str(name) for name in result["alternative"].values]
    met = [name for name, verdict in zip(names, result["verdict"].values, strict=True) if str(verdict) == "meets"]
    first = f"{', '.join(in_words(name) for name in met)}." if met else "None of them."
    own = ["hardness_hrc", "hardness_interval", "margin", "cooling_time_800_500", "cautions", "medium"]
    needed = [
        str(name) for name in result["probe"].values if np.isfinite(result["margin"].sel(probe=name).values).any()
    ]
    places = [(in_words(f"At {place}"), table(result.sel(probe=place), "alternative", own[:4])) for place in needed]
    others = [
        str(name) for name, column in result.data_vars.items() if column.dims == ("alternative",) and name not in own
    ]
    return "Choice of a quench", [
        f"<div class='answer'><p>{escape(in_words(str(result.attrs['requirement'])))}, met by:</p><p><strong>{escape(first)}</strong></p></div>",
        section(
            "What went in",
            definitions({name: result.attrs[name] for name in ("specimen", "steel")}),
            _inputs_plain(result),
            _own_units(),
        ),
        section("Hardness", *(f"<h3>{escape(head)}</h3>{text}" for head, text in places)),
        section(
            "Figures",
            figure(plot_decide.decision_chart(result), "Hardness with its interval against what is required."),
        ),
        section("Everything else, side by side", table(result, "alternative", others)),
        section(
            "How sure", f"<p>{escape(_SURE)}</p>", definitions(json.loads(result.attrs.get("interval_basis", "{}")))
        ),
    ]


def _search(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot_decide
    from heatq.decide import answer_text

    several = any(dim not in ("run", "end", "bound", "probe") for dim in result.dims)
    drawn = plot_decide.answers_chart(result) if several else plot_decide.margin_curve(result)
    return f"Search: {result.attrs['searched']}", [
        f"<div class='answer'><pre>{escape(answer_text(result))}</pre></div>",
        _inputs(result),
        section("Figures", figure(drawn, "What was run, and the answer.")),
        section("How sure", f"<p>{escape(_SURE)}</p>"),
        section("Notes of the search", bullets(notes_of(result, "notes"))),
    ]


_SURE_OF_LOAD = (
    "The differences within the load are computed, each piece on the middle of the prediction. How far that middle may be off, by "
    "the models, the heat and the uncertainty of h, is not in here: a trial of one piece in the same stream with its interval tells."
)


def _load(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    from heatq import plot_load

    place = str(result["probe"].values[0])
    names = ["hardness_hv", "hardness_hrc", "cooling_time_800_500", "cooling_rate_704"]
    tables = [
        f"<h3>{escape(str(column))} column, {escape(place)}</h3>{table(result.sel(column=column, probe=place), 'row', names)}"
        for column in result["column"].values
    ]
    variable = "hardness_hv" if "hardness_hv" in result else "cooling_time_800_500"
    rest = attributes_in_words(result.attrs, leave_out=["slowest_place"])
    return "Quench of a load", [
        f"<div class='answer'><p><strong>Slowest place: {escape(str(result.attrs.get('slowest_place', '')))}.</strong></p></div>",
        section("What went in", definitions(rest)),
        section("Row by row", *tables),
        section(
            "Figures",
            figure(plot_load.load_courses(result), "First and last row, and the gas around them."),
            figure(plot_load.load_rows(result, variable), "Over the rows."),
        ),
        section("How sure", f"<p>{escape(_SURE_OF_LOAD)}</p>"),
    ]


def _inputs_plain(result: xr.Dataset) -> str:
    return definitions({name: _shortened(value) for name, value in settings_of(result).items()})


def _other(result: xr.Dataset, _: Any) -> tuple[str, list[str]]:
    scalars = {
        str(result[name].attrs.get("long_name", name)): result[name].values[()]
        for name in result.data_vars
        if not result[name].dims
    }
    tables = [table(result, str(dim)) for dim, size in result.sizes.items() if size <= 60]
    rest = attributes_in_words(result.attrs)
    return "Result", [
        _inputs(result),
        section("Result", definitions(scalars), *tables),
        section("About it", definitions(rest)),
    ]


_PAGES: dict[str, Callable[[xr.Dataset, Any], tuple[str, list[str]]]] = {
    "trial": _trial,
    "histories": _histories,
    "fit": _fit,
    "calibration": _calibration,
    "decision": _decision,
    "search": _search,
    "load": _load,
    "other": _other,
}


def _again(result: xr.Dataset) -> str:
    """Code that makes the result again, as far as the settings hold it, and the machine it was made on."""
    settings = settings_of(result)
    lines = []
    if {"specimen", "steel", "boundaries", "initial_temperature"} <= set(settings):
        faces = ",\n    ".join(f"{face!r}: {boundary}" for face, boundary in settings["boundaries"].items())
        call = "trial" if "hardness_hv" in result else "simulate"
        lines = [
            "import heatq as hq",
            "from heatq import *",
            "from heatq.boundaries import *",
            "",
            f"result = hq.{call}(",
            f"    {settings['specimen']},",
            f"    {settings['steel']},",
            f"    {{{faces}}},",
            f"    initial_temperature={settings['initial_temperature']!r}, end_time={settings.get('end_time')!r},",
            f"    accuracy={settings.get('accuracy')!r},",
            ")",
        ]
    code = (
        f"<pre>{escape(chr(10).join(lines))}</pre>"
        if lines
        else "<p>This kind of result holds the settings above, not all that was passed in: keep the script, the logs and other files"
        " that made it with this page.</p>"
    )
    where = f"Made with heatq {result.attrs.get('heatq_version', __version__)}; page written with Python {platform.python_version()}, numpy {np.__version__}"
    keep = "Keep the Dataset with the page: result.to_netcdf('result.nc', engine='scipy')."
    return f"{code}<p class='small'>{escape(where)}. {escape(keep)}</p>"
