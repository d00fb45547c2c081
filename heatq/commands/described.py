"""A study described in a TOML file: its keys are the arguments of ``heatq bar`` and ``heatq endquench``.

Every fault is a `DataError` with file and line.
"""

from __future__ import annotations

import argparse
import dataclasses
import functools
import math
import os
import re
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from heatq.commands import endquench
from heatq.commands.bar_quench import check_quench_arguments, piece_and_quench
from heatq.commands.common import check_steel_arguments, read_steel
from heatq.commands.study_file import (
    DISTRIBUTIONS,
    KINDS,
    OWN,
    SECTIONS,
    VARIABLES,
    StudyFile,
    arguments_of,
    difference_of,
    explained,
    keys_of,
    named,
    unit_of,
    value_of,
)
from heatq.errors import DataError, InputError, check_number
from heatq.steels.steel import ELEMENTS, Steel

__all__ = ["Build", "Described", "Keep", "read_study"]


@dataclasses.dataclass(frozen=True)
class Build:
    """Arguments of one trial from what the file says and one point; ``build`` of the study (can be sent to processes).

    Parameters
    ----------
    kind : str
        Of `KINDS`.
    settings : dict
        What does not vary: argument -> value, elements and ``grain_size``.
    probes : tuple of str or None
        Places.
    """

    kind: str
    settings: Mapping[str, Any]
    probes: tuple[str, ...] | None

    def __call__(self, **point: Any) -> dict[str, Any]:
        """Arguments of the trial at one point."""
        defaults, _ = arguments_of(self.kind)
        given = {**vars(defaults), **self.settings}
        given |= {name: value.item() if hasattr(value, "item") else value for name, value in point.items()}
        arguments = argparse.Namespace(**given)
        changes = {name: given[name] for name in OWN["steel"] if name in given}
        if arguments.grade or arguments.heat:
            check_steel_arguments(arguments)
            steel = read_steel(arguments).replace(**changes)
        else:
            steel = Steel(**{"name": "described", **changes})
        piece, boundaries = self._piece(arguments)
        return {
            "specimen": piece,
            "steel": steel,
            "boundaries": boundaries,
            "initial_temperature": arguments.initial_temperature,
            "end_time": getattr(arguments, "end_time", None),
            "probes": None if self.probes is None else list(self.probes),
            "accuracy": arguments.accuracy,
            "kinetics": arguments.kinetics,
        }

    def _piece(self, arguments: argparse.Namespace) -> tuple[Any, dict[str, Any]]:
        if self.kind == "end-quench bar":
            from heatq.specimens import EndQuenchBar

            endquench.check_arguments(arguments)
            return EndQuenchBar(), endquench.quench_of(arguments, bool(arguments.gas))
        check_quench_arguments(arguments)
        piece, boundaries, _ = piece_and_quench(arguments)
        return piece, boundaries


@dataclasses.dataclass(frozen=True)
class Keep:
    """The wanted variables of a trial; ``reduce`` of the study."""

    variables: tuple[str, ...]

    def __call__(self, result: Any) -> Any:
        """Dataset with these variables only."""
        return result[list(self.variables)]


@dataclasses.dataclass(frozen=True)
class Described:
    """A study as its file describes it: what `heatq.study` is called with, and what to say about it."""

    path: str
    title: str
    build: Build
    points: Any
    keep: Keep
    grid: tuple[str, ...]
    distributions: Mapping[str, Any]
    sensitivity: bool
    labels: Mapping[str, Mapping[str, str]]
    percentiles: tuple[float, ...]
    at_least: Mapping[str, float]
    options: Mapping[str, Any]

    @property
    def cases(self) -> int:
        """Number of trials."""
        return math.prod(len(self.points[name]) for name in self.grid) if self.grid else int(self.points.sizes["case"])


def read_study(path: str | os.PathLike[str]) -> Described:
    """Read and check a described study.

    Parameters
    ----------
    path : str or path
        TOML file.

    Returns
    -------
    Described

    Raises
    ------
    DataError
        With file and line: unknown keys, values that are none, settings that do not go together.

    Examples
    --------
    >>> from importlib import resources
    >>> read_study(resources.files("heatq.commands").joinpath("data", "pressure-and-velocity.toml")).cases
    20
    """
    file = StudyFile(path)
    for key in file.data:
        named(file.where(key), key, key, SECTIONS, what="section")
    title = file.data.get("title", file.path.stem)
    if not isinstance(title, str):
        raise DataError(f"{file.where('title')}: title = {title!r} is not text in quotes.")
    for needed in ("piece", "steel", "vary"):
        if not file.section(needed):
            raise DataError(f"{file.path}: the section [{needed}] is missing or empty.")
    kind = named(file.where("piece", "kind"), "kind", file.section("piece").get("kind"), KINDS, what="kind of piece")
    _, sections = arguments_of(kind)
    settings = _settings(file, sections)
    vary = keys_of(file, "vary", [*_variable_keys(sections), *OWN["vary"]])
    _check_complete(file, kind, {**settings, **vary})
    results = keys_of(file, "results", OWN["results"])
    probes = _texts(file, "probes", results.get("probes"))
    build = Build(kind, settings, probes)
    grid, distributions, labels = _vary(file, sections, vary, build)
    points, sensitivity = _points(file, grid, distributions)
    variables = _texts(file, "variables", results.get("variables")) or ("hardness_hv", "hardness_hrc")
    for variable in variables:
        named(file.where("results", "variables"), "variables", variable, VARIABLES, what="variable")
    described = Described(
        path=str(file.path),
        title=title,
        build=build,
        points=points,
        keep=Keep(variables),
        grid=tuple(grid),
        distributions=distributions,
        sensitivity=sensitivity,
        labels=labels,
        percentiles=_percentiles(file, results),
        at_least=_at_least(file, results, variables),
        options=_options(file, sections),
    )
    _try_first(file, described)
    return described


def _settings(file: StudyFile, sections: Mapping[str, Mapping[str, argparse.Action]]) -> dict[str, Any]:
    """What does not vary."""
    settings: dict[str, Any] = {}
    for section, known in sections.items():
        for key, value in keys_of(file, section, [*known, *OWN.get(section, ())]).items():
            if key in OWN.get(section, ()) and section != "steel":
                continue
            settings[key] = value_of(file, (section, key), section, known.get(key), value)
    return settings


def _variable_keys(sections: Mapping[str, Mapping[str, argparse.Action]]) -> dict[str, str]:
    """Keys that may vary, and the section each is of."""
    known = {key: section for section in ("piece", "quench") for key in sections[section]}
    return {**known, "grade": "steel", **dict.fromkeys(OWN["steel"], "steel")}


def _check_complete(file: StudyFile, kind: str, given: Mapping[str, Any]) -> None:
    needed = {"round bar": ("diameter",), "tube": ("diameter", "bore"), "end-quench bar": ()}[kind]
    for name in needed:
        if name not in given:
            raise DataError(f"{file.where('piece')}: a {kind} needs {name}, in [piece] or in [vary].")
    if not any(name in given for name in ("grade", "heat", "C")):
        raise DataError(f"{file.where('steel')}: [steel] names none: write grade, heat (a certificate) or C, Mn, ....")
    for name in file.section("vary"):
        for section in ("piece", "steel", "quench"):
            if name in file.section(section):
                raise DataError(
                    f"{file.where('vary', name)}: {name} varies and stands in [{section}] too (line "
                    f"{file.lines.get((section, name), '?')}); leave it out there."
                )


def _texts(file: StudyFile, key: str, value: Any) -> tuple[str, ...] | None:
    if value is None:
        return None
    if not isinstance(value, list) or not value or not all(isinstance(text, str) for text in value):
        raise DataError(f'{file.where("results", key)}: {key} = {value!r} must be a list of texts, such as ["centre"].')
    return tuple(value)


def _vary(
    file: StudyFile, sections: Mapping[str, Mapping[str, argparse.Action]], vary: Mapping[str, Any], build: Build
) -> tuple[dict[str, list[Any]], dict[str, Any], dict[str, dict[str, str]]]:
    """Grid, distributions, and the labels of everything that varies."""
    grid: dict[str, list[Any]] = {}
    distributions: dict[str, Any] = {}
    labels: dict[str, dict[str, str]] = {}
    for name, value in vary.items():
        if name == "chemistry":
            continue
        section = _variable_keys(sections)[name]
        action = sections[section].get(name)
        read = functools.partial(value_of, file, ("vary", name), section, action)
        unit = unit_of(section, name, action)
        labels[name] = {"units": unit or "1", "long_name": name.replace("_", " ")}
        if section == "steel" and name in ELEMENTS:
            labels[name]["long_name"] = ELEMENTS[name].english
        if isinstance(value, dict) and "from" in value:
            grid[name] = _range(file, name, value, read)
        elif isinstance(value, dict):
            distributions[name] = _distribution(file, name, value, read, labels[name])
        elif isinstance(value, list) and value:
            grid[name] = [read(one) for one in value]
            if len(set(grid[name])) < len(value):
                raise DataError(f"{file.where('vary', name)}: {name} holds a value twice.")
        else:
            raise DataError(
                f"{file.where('vary', name)}: {name} = {value!r}; write a list, {{ from = …, to = …, count = … }} or "
                "{ distribution = …, … }. What does not vary stands in its own section."
            )
    if "chemistry" in vary:
        if vary["chemistry"] != "heat to heat":
            raise DataError(
                f'{file.where("vary", "chemistry")}: chemistry = {vary["chemistry"]!r}; write "heat to heat".'
            )
        from heatq.studies.sampling import heat_distributions

        steel = explained(
            file, lambda: build(**{name: _middle(values) for name, values in (grid | distributions).items()})
        )
        found = heat_distributions(steel["steel"])
        distributions = dict(found) | distributions
        labels |= {name: {"units": found[name].units, "long_name": found[name].long_name} for name in found}
    if grid and distributions:
        raise DataError(
            f"{file.where('vary', next(iter(grid)))}: {', '.join(grid)} is listed but {', '.join(distributions)} has a "
            "distribution; a study is either a grid or a sample. Make one file for each."
        )
    return grid, distributions, labels


def _middle(values: Any) -> Any:
    return values[0] if isinstance(values, list) else float(values.at(0.5))


def _range(file: StudyFile, name: str, value: Mapping[str, Any], read: Callable[[Any], Any]) -> list[float]:
    where = file.where("vary", name)
    for key in value:
        named(where, key, key, ("from", "to", "count", "spacing"), what=f"key of {name}")
    missing = [key for key in ("from", "to", "count") if key not in value]
    if missing:
        raise DataError(f"{where}: {name} lacks {', '.join(missing)}: {{ from = …, to = …, count = … }}.")
    spacing = named(where, "spacing", value.get("spacing", "even"), ("even", "log"))
    low, high, count = read(value["from"]), read(value["to"]), value["count"]
    if isinstance(count, bool) or not isinstance(count, int) or count < 2:
        raise DataError(f"{where}: count = {count!r} of {name} must be a whole number of at least 2.")
    if isinstance(low, str) or low == high or (spacing == "log" and min(low, high) <= 0.0):
        raise DataError(
            f"{where}: {name} from {low} to {high} is no range{' of logarithms' if spacing == 'log' else ''}."
        )
    line = np.geomspace(low, high, count) if spacing == "log" else np.linspace(low, high, count)
    return [float(f"{number:.12g}") for number in line]


def _distribution(
    file: StudyFile, name: str, value: Mapping[str, Any], read: Callable[[Any], Any], labels: Mapping[str, str]
) -> Any:
    from heatq.studies.sampling import Distribution

    where = file.where("vary", name)
    kind = named(where, "distribution", value.get("distribution"), DISTRIBUTIONS)
    needed = DISTRIBUTIONS[kind]
    for key in value:
        if key != "distribution":
            named(where, key, key, needed, what=f"number of a {kind} distribution")
    missing = [key for key in needed if key not in value]
    if missing:
        raise DataError(f"{where}: the {kind} distribution of {name} needs {', '.join(missing)}.")
    numbers: dict[str, float] = {}
    for key in needed:
        given = value[key]
        if key == "factor":
            if isinstance(given, bool) or not isinstance(given, int | float):
                raise DataError(f"{where}: factor = {given!r} of {name} is not a number; it has no unit.")
            numbers[key] = float(given)
        elif key == "deviation" and labels["units"] == "degC":
            numbers[key] = difference_of(where, name, given)
        else:
            numbers[key] = read(given)
    if any(isinstance(number, str) for number in numbers.values()):
        raise DataError(f"{where}: {name} is a word and cannot have a distribution; list its values.")
    try:
        return getattr(Distribution, kind.replace(" ", "_"))(**numbers, **labels)
    except InputError as error:
        raise DataError(f"{where}: {name}: {error}") from None


def _points(file: StudyFile, grid: dict[str, list[Any]], distributions: Mapping[str, Any]) -> tuple[Any, bool]:
    """Points of the study, and whether they are for sensitivities."""
    if grid:
        if file.section("sample"):
            raise DataError(
                f"{file.where('sample')}: [sample] belongs to distributions; the lists of [vary] are a grid."
            )
        return grid, False
    from heatq.studies.sampling import METHODS, sample
    from heatq.studies.sensitivity import saltelli_sample

    given = dict(keys_of(file, "sample", OWN["sample"]))
    if "method" in given:
        named(file.where("sample", "method"), "method", given["method"], METHODS, what="method of sampling")
    sensitivity = given.pop("sensitivity", False)
    if not isinstance(sensitivity, bool):
        raise DataError(
            f"{file.where('sample', 'sensitivity')}: sensitivity = {sensitivity!r} is neither true nor false."
        )
    given.setdefault("count", 64)
    try:
        if not sensitivity:
            return sample(distributions, **given), False
        for name in ("method", "replicates"):
            if name in given:
                raise InputError(f"{name} is not for sensitivity = true, which has a sample of its own: leave it out.")
        return saltelli_sample(distributions, **given), True
    except InputError as error:
        culprit = re.match(r"(\w+)", str(error))
        raise DataError(f"{file.where('sample', culprit[1] if culprit else '')}: {error}") from None


def _percentiles(file: StudyFile, results: Mapping[str, Any]) -> tuple[float, ...]:
    levels = results.get("percentiles", [5.0, 50.0, 95.0])
    where = file.where("results", "percentiles")
    if not isinstance(levels, list) or not levels:
        raise DataError(f"{where}: percentiles = {levels!r} must be a list of numbers between 0 and 100.")
    try:
        return tuple(check_number("percentiles", level, low=0.1, high=99.9, unit="%") for level in levels)
    except InputError as error:
        raise DataError(f"{where}: {error}") from None


def _at_least(file: StudyFile, results: Mapping[str, Any], variables: tuple[str, ...]) -> dict[str, float]:
    wanted = results.get("at_least", {})
    where = file.where("results", "at_least")
    if not isinstance(wanted, dict):
        raise DataError(f"{where}: at_least = {wanted!r} must name a variable: {{ hardness_hrc = 40 }}.")
    for name, value in wanted.items():
        named(where, "at_least", name, variables, what="variable of at_least")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise DataError(f"{where}: at_least {name} = {value!r} is not a number; it is in the unit of the variable.")
    return {name: float(value) for name, value in wanted.items()}


def _options(file: StudyFile, sections: Mapping[str, Mapping[str, argparse.Action]]) -> dict[str, Any]:
    """What is passed on to `heatq.study`."""
    given = keys_of(file, "run", [*sections["run"], *OWN["run"]])
    options = {key: given[key] for key in OWN["run"] if key in given}
    for key in ("threads", "chunk"):
        value = options.get(key, 1)
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise DataError(f"{file.where('run', key)}: {key} = {value!r} must be a whole number of at least 1.")
    if "store" in options:
        if not isinstance(options["store"], str) or not options["store"].strip():
            raise DataError(f"{file.where('run', 'store')}: store = {options['store']!r} is not the name of a store.")
        options["store"] = str(file.path.parent / options["store"])
    return options


def _try_first(file: StudyFile, described: Described) -> None:
    """Build the first case, so that what does not go together is said at once."""
    if described.grid:
        point = {name: described.points[name][0] for name in described.grid}
    else:
        point = {str(name): float(described.points[name][0]) for name in described.points.coords if name != "case"}
    case = explained(file, lambda: described.build(**point))
    explained(file, lambda: case["specimen"].resolve_probes(case["probes"]))
    for name in ("accuracy", "end_time"):
        if case[name] is not None:
            explained(file, functools.partial(check_number, name, case[name], name))
