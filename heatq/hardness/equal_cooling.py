"""Equal cooling: a place in any piece and the place on the end-quench bar that cools at the same rate at 704 degC.

The classic rule of practice: equal cooling rate at 704 degC (1300 degF) means equal hardness. The table is a convention
from thermocouple work of the 1940s; a fair tolerance on it is 10 % from J2 to J16 and 20 % elsewhere. It holds for
austenite at 704 degC: a steel that transforms above that temperature on slow cooling does not follow it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError
from heatq.hardness.hardenability import endquench_from_chemistry
from heatq.units import sixteenths

__all__ = ["JOMINY_RATE_TABLE", "RateRow", "equivalent_distance", "rate_at_distance", "second_opinion"]

Array = npt.NDArray[np.float64]


class RateRow(NamedTuple):
    """One row of the published table: position in 1/16 in, cooling rate at 1300 degF in degF/s, status."""

    position: int
    rate_degF: float
    status: str


_READ = "rate read; its position from memory"
_MEMORY = "from memory; monotone and smooth between the rates that were read"

#: Cooling rate at 704 degC (1300 degF) against distance from the quenched end. The rates marked as read are on the top
#: axis of Figs. 14.8-14.10 of Callister, Fundamentals of Materials Science and Engineering (3rd ed.), which prints 270,
#: 170, 70, 31, 18, 9, 5.6, 3.9, 2.8 and 2 degC/s beside them; which J each stands over is from memory (SAE J406, A255).
JOMINY_RATE_TABLE: tuple[RateRow, ...] = (
    RateRow(1, 490.0, _READ),
    RateRow(2, 305.0, _READ),
    RateRow(3, 195.0, _MEMORY),
    RateRow(4, 125.0, _READ),
    RateRow(5, 77.0, _MEMORY),
    RateRow(6, 56.0, _READ),
    RateRow(7, 42.0, _MEMORY),
    RateRow(8, 33.0, _READ),
    RateRow(9, 26.0, _MEMORY),
    RateRow(10, 21.4, _MEMORY),
    RateRow(11, 18.0, _MEMORY),
    RateRow(12, 16.3, _READ),
    RateRow(13, 14.0, _MEMORY),
    RateRow(14, 12.4, _MEMORY),
    RateRow(15, 11.0, _MEMORY),
    RateRow(16, 10.0, _READ),
    RateRow(20, 7.0, _READ),
    RateRow(24, 5.1, _READ),
    RateRow(32, 3.5, _READ),
)
_LOG_DISTANCE = np.log([sixteenths(float(row.position)) for row in JOMINY_RATE_TABLE])
_LOG_RATE = np.log([row.rate_degF / 1.8 for row in JOMINY_RATE_TABLE])


def _log_interpolate(value: npt.ArrayLike, x: Array, y: Array, name: str) -> Array:
    array = np.asarray(value, dtype=float)
    if np.any(array < 0.0):
        raise InputError(f"{name} = {value!r} must be positive.")
    with np.errstate(divide="ignore"):
        logs = np.log(array)
    inside = (logs >= x[0] - 1e-9) & (logs <= x[-1] + 1e-9)
    return np.where(inside, np.exp(np.interp(logs, x, y)), np.nan)


def equivalent_distance(rate_704: npt.ArrayLike) -> Array:
    """Distance (m) on the end-quench bar that has this cooling rate (K/s) at 704 degC; log-log interpolation.

    NaN outside 272 to 1.94 K/s (J1 to J32): faster than the bar's end, or slower than its published part.

    Examples
    --------
    >>> (equivalent_distance([33 / 1.8, 10 / 1.8, 1.0]) * 1e3).round(2)     # mm
    array([12.7, 25.4,  nan])
    """
    return _log_interpolate(rate_704, _LOG_RATE[::-1], _LOG_DISTANCE[::-1], "rate_704")


def rate_at_distance(distance: npt.ArrayLike) -> Array:
    """Cooling rate (K/s) at 704 degC at a distance (m) on the end-quench bar, by the published table.

    NaN outside J1 to J32 (1.59 to 50.8 mm).

    Examples
    --------
    >>> rate_at_distance([0.00635, 0.0127, 0.0254]).round(1)
    array([69.4, 18.3,  5.6])
    """
    return _log_interpolate(distance, _LOG_DISTANCE, _LOG_RATE, "distance")


def second_opinion(
    steel: Any, rate_704: npt.ArrayLike, *, boron_factor: float | None = None, grain_size: float = 7.0
) -> Array:
    """Hardness, HRC, from chemistry alone: the A255 curve at the end-quench distance with the same rate at 704 degC.

    NaN where there is no equivalent distance or no A255 value (slower than J16, 5.6 K/s); faster than J1 counts as J1,
    where the steel is as hard as it gets.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    rate_704 : array_like
        Cooling rate at 704 degC, K/s.
    boron_factor, grain_size : float
        See :func:`heatq.hardness.hardenability.ideal_diameter`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    >>> second_opinion(heat, [1000.0, 33 / 1.8, 3.0]).round(1)
    array([56. , 51.6,  nan])
    """
    rate = np.asarray(rate_704, dtype=float)
    distance = equivalent_distance(np.minimum(rate, np.exp(_LOG_RATE[0])))
    known = np.isfinite(distance)
    found = endquench_from_chemistry(
        steel, np.where(known, distance, 0.0), boron_factor=boron_factor, grain_size=grain_size
    )
    return np.where(known, found.hrc, np.nan)
