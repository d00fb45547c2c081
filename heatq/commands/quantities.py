"""Quantities written with their unit on the command line: "60 m/s", "4 bar", "1550 degF"."""

from __future__ import annotations

import argparse
import functools
import re
from collections.abc import Callable
from typing import Any

__all__ = ["quantity"]

_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")


@functools.lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def quantity(unit: str, example: str) -> Callable[[str], float]:
    """Argument type that accepts a number in the library's unit, or a quantity with its own unit.

    Examples
    --------
    >>> round(quantity("degC", "850 degC")("1550 degF"), 2)
    843.33
    >>> quantity("m/s", "60 m/s")("60")
    60.0
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
        try:
            value = registry.Quantity(number, given)
            return float(f"{float(value.to(unit).magnitude):.12g}")  # 1123.15 K is 850 degC, not 849.9999999999999
        except Exception:  # pint raises several unrelated classes for unknown and mismatched units
            raise argparse.ArgumentTypeError(
                f"{text!r}: the unit {given!r} is unknown or does not fit; write for instance '{example}'."
            ) from None

    parse.unit = unit  # type: ignore[attr-defined]  # the study file labels its results with it
    return parse
