"""The library's messages in the words of the command line: options instead of arguments, '10 bar' instead of Python."""

from __future__ import annotations

import argparse
import math
import re
from typing import Any

from heatq.errors import LIMITS

__all__ = ["on_command_line"]

#: The library's advice for Python -> what it means on the command line.
_ADVICE = {
    LIMITS["length"].hint: "A number without a unit is in metres: write '25 mm' or '1 inch'.",
    LIMITS["temperature"].hint: "A number without a unit is in degC: write '1550 degF' or '1123 K' for others.",
    LIMITS["pressure"].hint: "Pressures are absolute; a number without a unit is in pascal: write '10 bar'.",
    LIMITS["velocity"].hint: "A number without a unit is in m/s: write '200 mph' or '60 ft/s' for others.",
    LIMITS["end_time"].hint: "A number without a unit is in seconds: write '10 min'.",
}

_NAMED = re.compile(r"\b([a-z]\w+) = (-?\d[\d.]*(?:e[+-]?\d+)?)")

_KEYWORD = re.compile(r"\b([a-z_]+)=('[^']*'|\[[^\]]*\]|)")


def on_command_line(text: str, parser: argparse.ArgumentParser, arguments: argparse.Namespace) -> str:
    """A message of the library as the command line says it.

    Parameters
    ----------
    text : str
        Of an InputError or DataError.
    parser : argparse.ArgumentParser
        Of the command, which knows its options.
    arguments : argparse.Namespace
        What was given.

    Examples
    --------
    >>> parser = argparse.ArgumentParser()
    >>> _ = parser.add_argument("--bath-temperature", type=float)
    >>> on_command_line("temperature = 120 degC is outside 0 to 100 degC.", parser,
    ...                 parser.parse_args(["--bath-temperature", "120"]))
    '--bath-temperature: 120 degC is outside 0 to 100 degC.'
    """
    for advice, here in _ADVICE.items():
        text = text.replace(advice, here)
    text = re.sub(r"heatq\.units\.degF\((\d+)\)", r"'\1 degF'", text)
    text = text.replace("Softer: hardness_hv.", "For Vickers write '450 HV'.").replace(", or Probe(r=, z=)", "")
    text = re.sub(r"(^|: )(?:case \d+|[a-z]+_[a-z_]+): ", r"\1", text)
    text = re.sub(r"is outside above (\S+) and up to (\S+)", r"must be above \1 and at most \2", text)
    text = re.sub(r"^gas = \{([^}]*)\}", lambda mixture: f"--gas: {re.sub('[:' + chr(39) + ']', '', mixture[1])}", text)
    if text.startswith("--"):
        return text
    given = {
        action.option_strings[-1]: getattr(arguments, action.dest, None)
        for action in parser._actions
        if action.option_strings and action.dest != "help"
    }
    typed = {
        action.option_strings[-1]: getattr(arguments, action.dest)
        for action in parser._actions
        if action.option_strings and getattr(arguments, action.dest, action.default) != action.default
    }
    text = _KEYWORD.sub(lambda found: _written(found, given), text)
    if found := re.match(r"([a-z]\w*(?: \w+)? of [\w ]+|\w+) = (-?\d[\d.]*(?:e[+-]?\d+)?)(?=[ :])", text):
        flag = _flag_of(found[1], float(found[2]), typed)
        rest = _NAMED.sub(
            lambda other: f"{_flag_of(other[1], float(other[2]), typed) or other[1]} {other[2]}", text[found.end() :]
        )
        return text if flag is None else f"{flag}: {found[2]}{rest}"
    for flag, value in typed.items():
        for word in _flat(value):
            if isinstance(word, str) and (f"'{word}'" in text or (len(word) > 1 and f" {word}" in f" {text}")):
                return f"{flag}: {text}"
    return text


def _flat(value: Any) -> list[Any]:
    """What one option holds, given once or several times."""
    return [one for part in value for one in _flat(part)] if isinstance(value, list) else [value]


def _written(found: re.Match[str], given: dict[str, Any]) -> str:
    """An argument of Python, such as ``time_unit='s'``, as it is written here."""
    name = {"units": "temperature_unit", "time": "time_column"}.get(found[1], found[1])
    flag = f"--{name.replace('_', '-')}"
    return f"{flag} {found[2] or ''}".rstrip(" ") if flag in given else found[0]


def _flag_of(name: str, number: float, typed: dict[str, Any]) -> str | None:
    """The option of this name, or the only one that holds this number."""
    own = "--hardness" if name.startswith("hardness_h") else f"--{name.replace('_', '-')}"
    if own in typed:
        return own
    alike = [
        flag
        for flag, value in typed.items()
        for one in _flat(value)
        if isinstance(one, (int, float)) and not isinstance(one, bool) and math.isclose(one, number, rel_tol=1e-4)
    ]
    akin = [flag for flag in alike if set(flag[2:].split("-")) & set(re.split("[_ ]", name))]
    return akin[0] if len(akin) == 1 else alike[0] if len(alike) == 1 else None
