"""The few converters that `scipy.constants` lacks, and the units in which results are shown.

heatq works in degrees Celsius and otherwise in SI units. Inch, bar, mph, minute and the like come from
`scipy.constants`; what it lacks is here. What is drawn and printed goes through `shown`, in the units that
`heatq.plot.units` chose; results themselves are never converted.

Examples
--------
>>> degF(1550)
843.333
>>> sixteenths(8)
0.0127
"""

from __future__ import annotations

import re
from contextvars import ContextVar
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
from scipy.constants import bar, inch, milli, zero_Celsius

__all__ = ["degF", "kelvin", "sixteenths", "to_degF", "to_kelvin", "to_sixteenths"]

Number = TypeVar("Number", float, npt.NDArray[np.float64])
#: Units of lengths and of temperatures in figures, printed tables and pages; `heatq.plot.units` sets it.
SHOWN_IN: ContextVar[tuple[str, str]] = ContextVar("heatq_shown_units", default=("mm", "degC"))


def degF(value: Number) -> Number:
    """Degrees Fahrenheit to degrees Celsius."""
    return (value - 32.0) / 1.8


def to_degF(value: Number) -> Number:
    """Degrees Celsius to degrees Fahrenheit."""
    return value * 1.8 + 32.0


def kelvin(value: Number) -> Number:
    """Kelvin to degrees Celsius."""
    return value - zero_Celsius


def to_kelvin(value: Number) -> Number:
    """Degrees Celsius to kelvin."""
    return value + zero_Celsius


def sixteenths(value: Number) -> Number:
    """Sixteenths of an inch (the unit of the end-quench bar, J) to metres."""
    return value * inch / 16.0


def to_sixteenths(value: Number) -> Number:
    """Metres to sixteenths of an inch."""
    return value * 16.0 / inch


def shown(values: Any, unit: str) -> tuple[Any, str]:
    """Values as they are drawn and printed, and the text of their unit.

    Parameters
    ----------
    values : array_like or float
        In ``unit``.
    unit : str
        As Datasets write it in ``attrs["units"]``: lengths in m, temperatures in degC, their differences in K.

    Examples
    --------
    >>> shown(0.05, "m"), shown(2e5, "Pa"), shown(7.0, "HRC")
    ((50.0, 'mm'), (2.0, 'bar'), (7.0, 'HRC'))
    >>> from heatq.plot import units
    >>> with units(length="inch", temperature="degF"):
    ...     shown(0.0508, "m"), shown(100.0, "degC"), shown(5.0, "K"), shown(10.0, "K/s")
    ((2.0, 'in'), (212.0, '°F'), (9.0, '°F'), (18.0, '°F/s'))
    """
    values = np.asarray(values, dtype=float)
    values = values if values.ndim else values.item()
    lengths, temperatures = SHOWN_IN.get()
    if unit == "m":
        return (values / milli, "mm") if lengths == "mm" else (values / inch, "in")
    if unit == "degC":
        return (values, "°C") if temperatures == "degC" else (to_degF(values), "°F")
    if unit in ("K", "K/s", "K/min"):
        return (values, unit) if temperatures == "degC" else (1.8 * values, unit.replace("K", "°F"))
    if unit == "Pa":
        return values / bar, "bar"
    return values, {"1": "", "W/m2K": "W/m²K", "W/m2": "W/m²"}.get(unit, unit)


def unit_text(unit: str) -> str:
    """Text of a unit as it is drawn and printed, for labels."""
    return shown(0.0, unit)[1]


def quenched_end(metres: Any) -> tuple[Any, str]:
    """Distance from a quenched end as it is shown: in mm, or in sixteenths of an inch."""
    metres = np.asarray(metres, dtype=float)
    metres = metres if metres.ndim else metres.item()
    return (metres / milli, "mm") if SHOWN_IN.get()[0] == "mm" else (to_sixteenths(metres), "1/16 in")


def in_words(text: str) -> str:
    """A heading or the name of a place whose temperatures and lengths are in the units that are shown.

    Parameters
    ----------
    text : str
        Temperatures as "704 degC" or "800 to 500 °C", differences and rates as "5 K" and "28 K/min", lengths as "120 mm",
        places as "r 10, z 90 mm".

    Examples
    --------
    >>> in_words("time from 800 to 500 degC")
    'time from 800 to 500 °C'
    >>> from heatq.plot import units
    >>> with units(length="inch", temperature="degF"):
    ...     in_words("time from 800 to 500 degC"), in_words("rate at 704 °C"), in_words("r 10, z 90 mm, side")
    ('time from 1472 to 932 °F', 'rate at 1300 °F', 'r 0.394, z 3.543 in, side')
    """
    lengths, temperatures = SHOWN_IN.get()
    text = text.replace("degC", "°C")
    if temperatures == "degF":
        text = _DEGREES.sub(lambda found: _NUMBER.sub(_fahrenheit, found[1]) + " °F", text)
        text = _DIFFERENCE.sub(lambda found: f"{1.8 * float(found[1]):.3g} °F{found[2]}", text)
    if lengths == "inch":
        text = _MILLIMETRES.sub(lambda found: _NUMBER.sub(_inches, found[1]) + " in", text)
    return text


_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_DEGREES = re.compile(r"(?<![\w.])((?:-?\d+(?:\.\d+)?(?: to |-))?\d+(?:\.\d+)?) °C")
_DIFFERENCE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) K(/s|/min|)(?![\w/])")
_MILLIMETRES = re.compile(r"(?<![\w.])((?:\d+(?:\.\d+)?, z )?\d+(?:\.\d+)?) mm\b")


def _fahrenheit(number: re.Match[str]) -> str:
    """Degrees Fahrenheit as text; 704 degC is the rounded 1300 degF of the end-quench tables."""
    value = float(number[0])
    return f"{round(to_degF(value), -2 if value == 704.0 else 0):.0f}"


def _inches(number: re.Match[str]) -> str:
    """Inches as text, to a thousandth as far as needed."""
    return f"{round(float(number[0]) * milli / inch, 3):g}"
