"""The few converters that `scipy.constants` lacks.

heatq works in degrees Celsius and otherwise in SI units. Inch, bar, mph, minute and the like come from
`scipy.constants`; what it lacks is here.

Examples
--------
>>> degF(1550)
843.333
>>> sixteenths(8)
0.0127
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.constants import inch, zero_Celsius

__all__ = ["degF", "kelvin", "sixteenths", "to_degF", "to_kelvin", "to_sixteenths"]

Number = TypeVar("Number", float, npt.NDArray[np.float64])


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
