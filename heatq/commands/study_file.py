"""Keys, lines and values of a study file: what its words mean, and where they stand.

A key is an argument of ``heatq bar`` or ``heatq endquench``; its unit and its default stand in one place, where the command
line declares them.
"""

from __future__ import annotations

import argparse
import functools
import os
import pathlib
import re
import tomllib
from collections.abc import Callable
from typing import Any

from heatq.commands import bar, endquench
from heatq.errors import DataError, InputError, check_name
from heatq.files import read_text
from heatq.steels.steel import ELEMENTS

__all__ = [
    "DISTRIBUTIONS",
    "KINDS",
    "OWN",
    "SECTIONS",
    "VARIABLES",
    "StudyFile",
    "arguments_of",
    "difference_of",
    "explained",
    "key_lines",
    "keys_of",
    "named",
    "unit_of",
    "value_of",
]

KINDS = ("round bar", "tube", "end-quench bar")
VARIABLES = (
    *("hardness_hv", "hardness_hrc", "hardness_hrc_chemistry", "hardness_hrc_regression", "cooling_rate_700"),
    *("cooling_rate_704", "cooling_time_800_500", "equivalent_distance", "equivalent_distance_by_time"),
    "fraction",
)
DISTRIBUTIONS = {
    "uniform": ("low", "high"),
    "normal": ("mean", "deviation"),
    "truncated normal": ("mean", "deviation", "low", "high"),
    "lognormal": ("median", "factor"),
    "triangular": ("low", "likeliest", "high"),
}
SECTIONS = ("title", "piece", "steel", "quench", "vary", "sample", "results", "run")
#: Keys of the sections that no argument of a command stands for.
OWN = {
    "piece": ("kind",),
    "steel": (*ELEMENTS, "grain_size"),
    "vary": ("chemistry",),
    "sample": ("count", "method", "seed", "replicates", "sensitivity"),
    "results": ("variables", "probes", "percentiles", "at_least"),
    "run": ("store", "threads", "chunk"),
}
#: Arguments that are not settings of a study, or have another name in its file.
_NOT_HERE = ("help", "out", "measured", "compare_water", "probe", "report", "units")


@functools.cache
def arguments_of(kind: str) -> tuple[argparse.Namespace, dict[str, dict[str, argparse.Action]]]:
    """Defaults of the command for a kind of piece, and its arguments by section."""
    module: Any = endquench if kind == "end-quench bar" else bar
    commands = argparse.ArgumentParser().add_subparsers()
    module.add_parser(commands)
    parser = next(iter(commands.choices.values()))
    sections: dict[str, dict[str, argparse.Action]] = {"piece": {}, "steel": {}, "quench": {}, "run": {}}
    defaults = argparse.Namespace()
    for group in parser._action_groups:
        title = str(group.title)
        section = "quench" if title == "stages" else title if title in sections else "run"
        for action in group._group_actions:
            if action.dest != "help":
                setattr(defaults, action.dest, action.default)
            if action.dest not in _NOT_HERE:
                sections[section][action.dest] = action
    if kind == "round bar":
        for name in ("bore", "bore_medium"):
            del sections["piece"][name]
    return defaults, sections


def unit_of(section: str, name: str, action: argparse.Action | None) -> str | None:
    """Unit of a number, or None of a word."""
    if section == "steel" and action is None:
        return "ASTM number" if name == "grain_size" else "%"
    if action is None or action.type is None:
        return None
    return getattr(action.type, "unit", {"severity": "1/in", "severity_conductivity": "W/mK"}.get(name, "1"))


class StudyFile:
    """The file with the line of every key."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = pathlib.Path(path)
        text = read_text(self.path)
        try:
            self.data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            told = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", str(error), re.DOTALL)
            where = f", line {told[2]}, column {told[3]}" if told and told[2] else ", at its end" if told else ""
            raise DataError(f"{self.path}{where}: not valid TOML: {told[1] if told else error}.") from None
        self.lines = key_lines(text)

    def where(self, *keys: str) -> str:
        """File and line of a key; of the section it is in where the key has no line of its own."""
        for length in range(len(keys), 0, -1):
            if keys[:length] in self.lines:
                return f"{self.path}, line {self.lines[keys[:length]]}"
        return str(self.path)

    def section(self, name: str) -> dict[str, Any]:
        """Contents of a section; empty where it is missing."""
        found = self.data.get(name, {})
        if not isinstance(found, dict):
            raise DataError(f"{self.where(name)}: {name} = {found!r} must be a section, [{name}] with lines below it.")
        return found


def key_lines(text: str) -> dict[tuple[str, ...], int]:
    r"""Line of every section and key of a TOML text (`tomllib` keeps none).

    Examples
    --------
    >>> key_lines("[vary]\npressure = [1,\n 2]\nsteel.C = 0.4")
    {('vary',): 1, ('vary', 'pressure'): 2, ('vary', 'steel', 'C'): 4}
    """
    name = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
    dotted = rf"{name}(?:\s*\.\s*{name})*"
    lines: dict[tuple[str, ...], int] = {}
    section: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(rf"\s*\[\[?\s*({dotted})\s*\]", line)
        key = re.match(rf"\s*({dotted})\s*=", line)
        if not (header or key):
            continue
        found = tuple(part.strip("\"'") for part in re.findall(name, (header or key)[1]))  # type: ignore[index]
        if header:
            section = found
        lines.setdefault(found if header else (*section, *found), number)
    return lines


def value_of(file: StudyFile, keys: tuple[str, ...], section: str, action: argparse.Action | None, value: Any) -> Any:
    """One value of the file as the command line would read it."""
    where, name = file.where(*keys), keys[-1]
    unit = unit_of(section, name, action)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if action is None or unit is None:
        if unit is None and not isinstance(value, str):
            raise DataError(f"{where}: {name} = {value!r} is not text in quotes.")
        if unit is not None and not is_number:
            raise DataError(f"{where}: {name} = {value!r} is not a number; it is in {unit}, without a unit here.")
        choices = getattr(action, "choices", None)
        if choices:
            named(where, name, value, choices)
        if action is not None and action.dest in ("heat", "h_table"):  # files stand beside the study's file
            beside = file.path.parent / value
            if not beside.is_file():
                raise DataError(f"{where}: {name} = {value!r}: there is no such file beside the study's.")
            return str(beside)
        return float(value) if unit is not None else value
    if not is_number and not isinstance(value, str):
        raise DataError(f'{where}: {name} = {value!r} is neither a number nor a quantity in quotes, such as "10 bar".')
    read: Any = action.type
    try:
        return float(read(str(value)))
    except argparse.ArgumentTypeError as error:
        raise DataError(f"{where}: {name} = {error}") from None


def named(where: str, argument: str, value: Any, allowed: Any, what: str = "") -> str:
    """Return a word of the file if it is allowed, else a `DataError` with its line and the nearest ones."""
    try:
        return check_name(argument, value, allowed, what=what, error=DataError)
    except DataError as error:
        raise DataError(f"{where}: {error}") from None


def keys_of(file: StudyFile, name: str, allowed: Any) -> dict[str, Any]:
    """Section with every key checked."""
    section = file.section(name)
    for key in section:
        named(file.where(name, key), key, key, allowed, what=f"key of [{name}]")
    return section


def difference_of(where: str, name: str, given: Any) -> float:
    """A difference of temperatures: kelvin, not a temperature."""
    from heatq.commands.quantities import quantity

    try:
        return quantity("K", "5 K")(str(given))
    except argparse.ArgumentTypeError as error:
        raise DataError(f"{where}: deviation of {name} = {error}") from None


def explained(file: StudyFile, call: Callable[[], Any]) -> Any:
    """Call, and tell an error of the arguments in the words of the file."""
    try:
        return call()
    except (InputError, DataError) as error:
        text = str(error).replace("; 'heatq bar --help' says what it is", "")
        text = re.sub(r"--[a-z]+(?:-[a-z]+)*", lambda found: found[0][2:].replace("-", "_"), text)
        words = [*re.findall(r"^unknown probe", text), *re.findall(r"[A-Za-z_]+", text)]
        for word in words:
            name = "probes" if word == "unknown probe" else word
            for keys in file.lines:
                if len(keys) > 1 and keys[-1] == name:
                    raise DataError(f"{file.where(*keys)}: {text}") from None
        raise DataError(f"{file.path}: {text}") from None
