"""Specification windows on histories, measured or simulated: is the piece cooled fast enough, with what margin?"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt
from scipy.constants import minute

from heatq.errors import InputError, check_number
from heatq.history import check_history, cooling_rate, crossing_time
from heatq.units import in_words, shown, unit_text

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "CurveWindow",
    "RateWindow",
    "TimeWindow",
    "Verdict",
    "check_windows",
    "windows_table",
]

Array = npt.NDArray[np.float64]

#: Below the temperature at which a curve and a history are laid together, so far (K) nothing is judged.
SETTLE = 10.0


@dataclasses.dataclass(frozen=True)
class Verdict:
    """What one window says of one place: found value, margin (positive: kept), and the verdict in words."""

    found: float
    margin: float
    margin_kelvin: float
    verdict: str
    remark: str = ""


class Window(Protocol):
    """Anything with a label, a unit, a requirement, and a judgement of one place."""

    @property
    def label(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def required(self) -> float: ...
    def judge(self, history: xr.Dataset) -> Verdict: ...


def _check_span(upper: float, lower: float) -> None:
    check_number("upper", upper, "temperature")
    check_number("lower", lower, "temperature")
    if not lower < upper:
        raise InputError(f"lower = {lower:g} degC must lie below upper = {upper:g} degC.")


def _check_limits(name: str, at_least: float | None, at_most: float | None, unit: str) -> None:
    if (at_least is None) == (at_most is None):
        raise InputError(f"{name}: give at_least or at_most, one of them; two windows for a band.")
    which, value = ("at_least", at_least) if at_least is not None else ("at_most", at_most)
    check_number(which, value, low=0.0, low_open=True, high=1e7, unit=unit)


def _reach(history: xr.Dataset, upper: float, lower: float) -> tuple[float, float, str]:
    """Times at which the one probe of a history passes two temperatures; why not, where it does not."""
    start = float(crossing_time(history, upper)[0])
    end = float(crossing_time(history, lower)[0])
    if np.isnan(start):
        first = float(history["temperature"].values.ravel()[0])
        return start, end, f"starts at {first:.0f} degC, {'below' if first < upper else 'never down to'} {upper:g} degC"
    if np.isnan(end):
        return start, end, f"ends at {float(history['temperature'].values.ravel()[-1]):.0f} degC"
    return start, end, ""


@dataclasses.dataclass(frozen=True)
class TimeWindow:
    """Cooling time between two temperatures, at most or at least so many seconds.

    Parameters
    ----------
    upper, lower : float
        degC.
    at_most, at_least : float
        s; one of them.

    Examples
    --------
    >>> TimeWindow(800.0, 500.0, at_most=60.0).label
    '800 to 500 degC: at most 60 s'
    """

    upper: float
    lower: float
    at_most: float | None = None
    at_least: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        """Check the numbers."""
        _check_span(self.upper, self.lower)
        _check_limits("TimeWindow", self.at_least, self.at_most, "s")

    @property
    def label(self) -> str:
        """Name, or the requirement in words."""
        way = "at most" if self.at_most is not None else "at least"
        return self.name or f"{self.upper:.4g} to {self.lower:.4g} degC: {way} {self.required:g} s"

    @property
    def unit(self) -> str:
        """Of what is found and required."""
        return "s"

    @property
    def required(self) -> float:
        """Seconds."""
        return float(self.at_most if self.at_most is not None else self.at_least or 0.0)

    def judge(self, history: xr.Dataset) -> Verdict:
        """Judge the one probe of a history."""
        start, end, why = _reach(history, self.upper, self.lower)
        if np.isnan(start):
            return Verdict(np.nan, np.nan, np.nan, "not judged", why)
        if np.isnan(end):
            so_far = float(history["time"].values[-1]) - start
            if so_far <= self.required:
                return Verdict(np.nan, np.nan, np.nan, "not judged", why)
            fails = self.at_most is not None
            return Verdict(np.nan, np.nan, np.nan, "fail" if fails else "pass", f"{why} after {so_far:.4g} s")
        found = end - start
        margin = self.required - found if self.at_most is not None else found - self.required
        return Verdict(found, margin, np.nan, "pass" if margin >= 0.0 else "fail")


@dataclasses.dataclass(frozen=True)
class RateWindow:
    """Cooling rate between two temperatures: at least (or at most) so many K/s.

    Parameters
    ----------
    upper, lower : float
        degC.
    at_least, at_most : float
        K/s, positive when cooling; one of them.
    basis : str
        ``mean``: temperature span over the time it takes, as specifications of pressure quenching are usually read
        (from memory, not verified); ``everywhere``: the slowest (fastest) rate within the span, over ``window``.
    window : float
        Half width of the band over which a local rate is taken, K.

    Examples
    --------
    28 K/min from 1030 to 540 degC:

    >>> RateWindow(1030.0, 540.0, at_least=28.0 / 60.0).label
    '1030 to 540 degC: at least 0.467 K/s (28 K/min) on the mean'
    """

    upper: float
    lower: float
    at_least: float | None = None
    at_most: float | None = None
    basis: str = "mean"
    window: float = 6.0
    name: str = ""

    def __post_init__(self) -> None:
        """Check the numbers."""
        _check_span(self.upper, self.lower)
        _check_limits("RateWindow", self.at_least, self.at_most, "K/s")
        if self.basis not in ("mean", "everywhere"):
            raise InputError(f"basis = {self.basis!r} must be 'mean' or 'everywhere'.")
        check_number("window", self.window, low=0.0, low_open=True, high=(self.upper - self.lower) / 2.0, unit="K")

    @property
    def label(self) -> str:
        """Name, or the requirement in words."""
        way = "at least" if self.at_least is not None else "at most"
        over = "on the mean" if self.basis == "mean" else "everywhere"
        rate = f"{self.required:.3g} K/s ({self.required * minute:.3g} K/min)"
        return self.name or f"{self.upper:.4g} to {self.lower:.4g} degC: {way} {rate} {over}"

    @property
    def unit(self) -> str:
        """Of what is found and required."""
        return "K/s"

    @property
    def required(self) -> float:
        """K/s."""
        return float(self.at_least if self.at_least is not None else self.at_most or 0.0)

    def judge(self, history: xr.Dataset) -> Verdict:
        """Judge the one probe of a history."""
        start, end, why = _reach(history, self.upper, self.lower)
        span = self.upper - self.lower
        if np.isnan(start):
            return Verdict(np.nan, np.nan, np.nan, "not judged", why)
        if np.isnan(end):  # the lower temperature is not reached: the mean rate is below span/time so far
            so_far = float(history["time"].values[-1]) - start
            if self.basis == "mean" and span / max(so_far, 1e-300) < self.required:
                fails = self.at_least is not None
                remark = f"{why} after {so_far:.4g} s: below {span / so_far:.3g} K/s"
                return Verdict(np.nan, np.nan, np.nan, "fail" if fails else "pass", remark)
            return Verdict(np.nan, np.nan, np.nan, "not judged", why)
        remark = ""
        if self.basis == "mean":
            found = span / (end - start)
        else:
            centres = np.linspace(
                self.upper - self.window, self.lower + self.window, max(3, int(span / self.window) + 1)
            )
            rates = np.array([float(cooling_rate(history, float(t), self.window)[0]) for t in centres])
            worst = int(np.nanargmin(rates) if self.at_least is not None else np.nanargmax(rates))
            found, remark = float(rates[worst]), f"at {centres[worst]:.0f} degC"
        margin = found - self.required if self.at_least is not None else self.required - found
        return Verdict(found, margin, np.nan, "pass" if margin >= 0.0 else "fail", remark)


@dataclasses.dataclass(frozen=True)
class CurveWindow:
    """No slower than this curve (or, with ``no_faster=True``, no faster).

    Parameters
    ----------
    time, temperature : sequence of float
        The limiting curve, s and degC, falling.
    no_faster : bool
        The curve is the fastest allowed instead of the slowest.
    from_start : bool
        True: times count from the start of the history. False (default): from the moment the place passes the first
        temperature of the curve, so that transfer and lag before it do not count.

    Notes
    -----
    The margin is that of the worst of the points given, in s, the time left at equal temperature, and in K
    (``margin_kelvin``), at equal time; or, where the history breaks the curve between them, that of the worst place. Where
    both begin together (``from_start`` False), the first 10 K are not judged: they tell nothing but noise.

    Examples
    --------
    >>> CurveWindow([0.0, 30.0, 120.0], [800.0, 600.0, 400.0]).label
    'no slower than the curve 800 to 400 degC in 120 s'
    """

    time: Sequence[float]
    temperature: Sequence[float]
    no_faster: bool = False
    from_start: bool = False
    name: str = ""

    def __post_init__(self) -> None:
        """Check the curve."""
        time = np.array([check_number("time", t, low=0.0, high=1e7, unit="s") for t in self.time])
        level = np.array([check_number("temperature", t, "temperature") for t in self.temperature])
        if len(time) != len(level) or len(time) < 2:
            raise InputError(
                f"CurveWindow: {len(time)} times and {len(level)} temperatures; as many of both, at least two."
            )
        if not ((np.diff(time) > 0).all() and (np.diff(level) < 0).all()):
            raise InputError("CurveWindow: time must rise and temperature fall from point to point.")
        object.__setattr__(self, "time", tuple(time.tolist()))
        object.__setattr__(self, "temperature", tuple(level.tolist()))

    @property
    def label(self) -> str:
        """Name, or the requirement in words."""
        way = "faster" if self.no_faster else "slower"
        took = self.time[-1] - (0.0 if self.from_start else self.time[0])
        return self.name or (
            f"no {way} than the curve {self.temperature[0]:.4g} to {self.temperature[-1]:.4g} degC in {took:g} s"
        )

    @property
    def unit(self) -> str:
        """Of what is found and required."""
        return "s"

    @property
    def required(self) -> float:
        """Seconds to the last temperature of the curve."""
        return self.time[-1] - (0.0 if self.from_start else self.time[0])

    def judge(self, history: xr.Dataset) -> Verdict:
        """Judge the one probe of a history."""
        level = np.asarray(self.temperature)
        allowed = np.asarray(self.time)
        clock = history["time"].values.astype(float)
        values = history["temperature"].values.ravel()
        zero = float(clock[0])
        if not self.from_start:
            zero = float(crossing_time(history, float(level[0]))[0])
            if np.isnan(zero):
                return Verdict(np.nan, np.nan, np.nan, "not judged", f"starts at {values[0]:.0f} degC")
            zero -= allowed[0]
        fine = np.unique(np.concatenate([level, np.linspace(level[-1], level[0], 201)]))[::-1]
        if not self.from_start:  # both begin together: the first kelvins tell nothing but noise
            fine = fine[(fine <= level[0] - SETTLE) | np.isin(fine, level[1:])]
        limit = np.interp(-fine, -level, allowed)
        passed = np.array([float(crossing_time(history, float(t))[0]) for t in fine]) - zero
        if self.from_start:  # a place that starts below a temperature has passed it from the beginning
            passed = np.where(np.isnan(passed) & (values[0] <= fine), 0.0, passed)
        sign = -1.0 if self.no_faster else 1.0
        slack = sign * (limit - passed)
        lasted = float(clock[-1]) - zero
        missing = np.isnan(passed)
        known = missing & (limit < lasted)  # not reached when the curve is over: late by this much at best
        slack[known] = sign * (limit[known] - lasted)
        open_end = bool((missing & ~known).any())
        remark = f"not down to {fine[known][0]:.0f} degC after {lasted:.4g} s" if known.any() else ""
        at = clock - zero
        inside = (at >= allowed[0]) & (at <= allowed[-1]) & (self.from_start | (values <= level[0] - SETTLE))
        here = sign * (np.interp(at[inside], allowed, level) - values[inside])
        points = allowed[(allowed >= at[0]) & (allowed <= at[-1])][0 if self.from_start else 1 :]
        there = sign * (np.interp(points, allowed, level) - np.interp(points, at, values))
        kelvin = _worst(here, there)
        judged = np.isfinite(slack)
        if not judged.any():
            return Verdict(np.nan, np.nan, kelvin, "not judged", f"ends at {values[-1]:.0f} degC")
        margin = _worst(slack[judged], slack[judged & np.isin(fine, level)])
        remark = remark or f"at {fine[np.flatnonzero(slack == margin)[0]]:.0f} degC"
        if margin >= 0.0 and open_end:
            return Verdict(np.nan, margin, kelvin, "not judged", f"ends at {values[-1]:.0f} degC, kept so far")
        return Verdict(float(passed[-1]), margin, kelvin, "pass" if margin >= 0.0 else "fail", remark)


def _worst(everywhere: Array, points: Array) -> float:
    """Least margin: where the curve is broken, the worst of all; where it is kept, that at the curve's own points."""
    lowest = float(everywhere.min()) if everywhere.size else np.nan
    return float(points.min()) if points.size and not lowest < 0.0 else lowest


def check_windows(history: xr.Dataset, windows: Any) -> xr.Dataset:
    """Judge every place of a history, measured or simulated, by every window.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` without gaps.
    windows : window or sequence of windows
        `RateWindow`, `TimeWindow`, `CurveWindow`, or anything with ``label``, ``unit``, ``required`` and
        ``judge(history)``.

    Returns
    -------
    xarray.Dataset
        Over ``window`` and ``probe``: ``found`` and ``margin`` in the window's own unit (coordinate ``window_unit``;
        positive margin: kept), ``relative_margin``, ``margin_kelvin`` (of curves), ``verdict`` ("pass", "fail", "not
        judged"), ``remark``. A place that ends above the lower temperature fails if its time is already up, and is not
        judged otherwise: never passed by default.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 100.0, 201)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - time[:, None] * [6.0, 4.0])},
    ...                      coords={"time": time, "probe": ["skin", "core"]})
    >>> result = check_windows(history, TimeWindow(800.0, 500.0, at_most=60.0))
    >>> result.margin.values[0], result.verdict.values[0].tolist()
    (array([ 10., -15.]), ['pass', 'fail'])
    """
    import xarray as xr

    chosen = list(windows) if isinstance(windows, (list, tuple)) else [windows]
    if not chosen:
        raise InputError("windows is empty: give at least one RateWindow, TimeWindow or CurveWindow.")
    for window in chosen:
        if not hasattr(window, "judge"):
            raise InputError(f"windows: {window!r} is no window; give RateWindow, TimeWindow or CurveWindow objects.")
    temperature = check_history(history)
    alone = temperature.to_dataset(name="temperature")
    count = temperature.sizes["probe"]
    table = [[window.judge(alone.isel(probe=[n])) for n in range(count)] for window in chosen]

    def column(name: str) -> Any:
        return np.array([[getattr(verdict, name) for verdict in row] for row in table])

    required = np.array([window.required for window in chosen])
    dims = ("window", "probe")
    margin = column("margin")
    return xr.Dataset(
        {
            "required": ("window", required, {"units": "1", "long_name": "required, in window_unit"}),
            "found": (dims, column("found"), {"units": "1", "long_name": "found, in window_unit"}),
            "margin": (dims, margin, {"units": "1", "long_name": "margin, in window_unit; positive: kept"}),
            "relative_margin": (dims, margin / required[:, None], {"units": "1", "long_name": "margin over required"}),
            "margin_kelvin": (dims, column("margin_kelvin"), {"units": "K", "long_name": "margin at equal time"}),
            "verdict": (dims, column("verdict"), {"units": "1", "long_name": "verdict"}),
            "remark": (dims, column("remark"), {"units": "1", "long_name": "remark"}),
        },
        coords={
            "window": ("window", [window.label for window in chosen], {"units": "1", "long_name": "window"}),
            "window_unit": ("window", [window.unit for window in chosen], {"units": "1", "long_name": "unit"}),
            "probe": history["probe"],
        },
        attrs={"cleaning": history.attrs.get("cleaning", "[]"), "source": str(history.attrs.get("source", ""))},
    )


def windows_table(result: xr.Dataset) -> str:
    """The result of :func:`check_windows` as text, one line per window and place, in the units of `heatq.plot.units`."""
    width = max(8, *(len(str(name)) for name in result["probe"].values))
    lines = []
    for w, label in enumerate(result["window"].values):
        own = str(result["window_unit"].values[w])
        unit = unit_text(own)
        lines.append(in_words(str(label)))
        lines.append(f"  {'place':<{width}}{'found':>10}{'required':>10}{'margin':>10}{'':>8}  verdict")
        lines.append(f"  {'':<{width}}{unit:>10}{unit:>10}{unit:>10}{'%':>8}")
        for n, name in enumerate(result["probe"].values):
            remark = in_words(str(result["remark"].values[w, n]))
            kelvin, degree = shown(float(result["margin_kelvin"].values[w, n]), "K")
            found, required, margin = (
                shown(float(value), own)[0]
                for value in (result["found"].values[w, n], result["required"].values[w], result["margin"].values[w, n])
            )
            also = [remark] if remark else []
            if np.isfinite(kelvin):
                also.append(f"{kelvin:+.0f} {degree} at equal time")
            lines.append(
                f"  {name!s:<{width}}"
                + _cell(found, ".4g", 10)
                + _cell(required, ".4g", 10)
                + _cell(margin, "+.3g", 10)
                + _cell(100.0 * float(result["relative_margin"].values[w, n]), "+.0f", 8)
                + f"  {result['verdict'].values[w, n]}"
                + (f" ({'; '.join(also)})" if also else "")
            )
    return "\n".join(lines)


def _cell(value: float, form: str, width: int) -> str:
    return (format(value, form) if np.isfinite(value) else "-").rjust(width)
