"""Quantities written with their unit on the command line, "60 m/s", "1550 degF", and the units of what it shows."""

from __future__ import annotations

import argparse
import functools
import math
import re
from collections.abc import Callable
from typing import Any

__all__ = ["add_units_argument", "in_unit", "plain_number", "quantity", "shown_units", "whole_number"]

_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")


@functools.lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def quantity(unit: str, example: str) -> Callable[[str], float]:
    """Argument type that accepts a number in the library's unit, or a quantity with its own unit.

    Differences of temperatures (unit K) and rates (K/s) may be given in °C and °F too: no offset is involved.

    Examples
    --------
    >>> round(quantity("degC", "850 degC")("1550 degF"), 2)
    843.33
    >>> quantity("m/s", "60 m/s")("60")
    60.0
    >>> quantity("K", "5 K")("9 degF"), quantity("K/s", "28 K/min")("50.4 degF/min")
    (5.0, 0.466666666667)
    """

    def parse(text: str) -> float:
        match = _NUMBER.fullmatch(text)
        if not match:
            raise argparse.ArgumentTypeError(f"{text!r} is not a quantity; write for instance '{example}'.")
        number, given = float(match[1]), match[2]
        if not given:
            return number
        registry = _registry()
        given = given.replace("°", "deg")
        if unit == "degC" and given in ("F", "C"):  # farad and coulomb elsewhere
            given = f"deg{given}"
        if unit.startswith("K"):
            given = re.sub(r"^(?:delta_)?(?:deg)?\s?([CF])(?![a-zA-Z])", r"delta_deg\1", given)
        try:
            value = registry.Quantity(number, given)
            return float(f"{float(value.to(unit).magnitude):.12g}")  # 1123.15 K is 850 degC, not 849.9999999999999
        except Exception:  # pint raises several unrelated classes for unknown and mismatched units
            raise argparse.ArgumentTypeError(
                f"{text!r}: the unit {given!r} is unknown or does not fit; write for instance '{example}'."
            ) from None

    parse.unit = unit  # type: ignore[attr-defined]  # the study file labels its results with it
    return parse


def plain_number(example: str) -> Callable[[str], float]:
    """Argument type for a number without a unit."""

    def parse(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise argparse.ArgumentTypeError(f"{text!r} is not a number; write for instance {example}, without a unit.")
        return value

    return parse


def whole_number(example: str, least: int = 1) -> Callable[[str], int]:
    """Argument type for a count."""

    def parse(text: str) -> int:
        if not re.fullmatch(r"\s*[+-]?\d+\s*", text) or int(text) < least:
            raise argparse.ArgumentTypeError(
                f"{text!r} is not a whole number of at least {least}; write for instance {example}."
            )
        return int(text)

    return parse


#: Words of --units: (unit of lengths, unit of temperatures); None: as it was.
_WORDS: dict[str, tuple[str | None, str | None]] = {
    "metric": ("mm", "degC"),
    "us": ("inch", "degF"),
    "mm": ("mm", None),
    "inch": ("inch", None),
    "degC": (None, "degC"),
    "degF": (None, "degF"),
}


def add_units_argument(parser: Any) -> None:
    """Add --units to a parser or to one of its groups."""
    parser.add_argument(
        "--units",
        type=shown_units,
        default=("mm", "degC"),
        help="lengths and temperatures in tables, figures and reports: metric (default: mm, °C, K/s), us (inch, °F, °F/s; "
        "distances on the end-quench bar in 1/16 inch), or one of each, such as inch,degC. Bar, m/s and W/m2K stay. CSV and "
        "NetCDF files stay in SI units and °C, which their headings name, so that other programs can rely on them",
    )


def shown_units(text: str) -> tuple[str, str]:
    """Units of lengths and temperatures from the words of --units.

    Examples
    --------
    >>> shown_units("us"), shown_units("inch,degC"), shown_units("degF")
    (('inch', 'degF'), ('inch', 'degC'), ('mm', 'degF'))
    """
    known = {name.casefold().replace("deg", "°"): units for name, units in _WORDS.items()}
    length: str | None = None
    temperature: str | None = None
    for given in re.split(r"[\s,;+]+", text.strip()):
        word = given.casefold().replace("deg", "°")
        if word not in known:
            raise argparse.ArgumentTypeError(
                f"{given!r} is none of {', '.join(_WORDS)}; write us, or one of each kind, such as inch,degC."
            )
        own_length, own_temperature = known[word]
        if own_length not in (None, length or own_length) or own_temperature not in (
            None,
            temperature or own_temperature,
        ):
            raise argparse.ArgumentTypeError(f"{text!r} names two units of one kind; write us, or such as inch,degC.")
        length, temperature = own_length or length, own_temperature or temperature
    return length or "mm", temperature or "degC"


def in_unit(value: float | None, unit: str, form: str = ".4g") -> str:
    """A number with its unit as text, in the units that are shown; inches to a thousandth.

    Examples
    --------
    >>> in_unit(0.06, "m"), in_unit(24.0, "degC")
    ('60 mm', '24 °C')
    """
    from heatq.units import shown

    number, text = shown(value, unit)
    return f"{round(number, 3):g} in" if text == "in" else f"{number:{form}} {text}"
