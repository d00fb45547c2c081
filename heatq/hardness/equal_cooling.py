"""Equal cooling: a place in any piece and the place on the end-quench bar that cools alike.

The classic rule of practice: equal cooling rate at 704 degC (1300 degF) means equal hardness. The table of rates is a
convention from thermocouple work of the 1940s; a fair tolerance on it is 10 % from J2 to J16 and 20 % elsewhere. It holds
for austenite at 704 degC: a steel that transforms above that temperature on slow cooling does not follow it.

The other common measure of "alike" is the time from 800 to 500 degC. No published table of it against distance was found,
so `ENDQUENCH_TIMES` is computed by heatq itself (`heatq.sections.recompute_endquench_times` makes it again). The two
measures agree where the shape of the cooling curve is that of the bar. Where they part (boiling stages, pressure ramps,
interrupted quenches), the time looks at the range in which the steel transforms and deserves more trust; a piece whose
steel heats itself there by transforming looks slower than it is.

With a measured end-quench curve of the very heat, :func:`hardness_from_curve` is how practitioners decide, without any
kinetics.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name
from heatq.hardness.conversion import hv_from_hrc
from heatq.hardness.hardenability import endquench_from_chemistry
from heatq.history import cooling_rate, cooling_time
from heatq.units import sixteenths

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "ENDQUENCH_TIMES",
    "JOMINY_RATE_TABLE",
    "TIME_SETTINGS",
    "RateRow",
    "TimeRow",
    "equal_cooling_distance",
    "equivalent_distance",
    "hardness_from_curve",
    "measure_at_distance",
    "rate_at_distance",
    "second_opinion",
]

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


class TimeRow(NamedTuple):
    """One row of the computed table: position in 1/16 in, rate at 704 degC (K/s), time 800 to 500 degC (s)."""

    position: float
    rate: float
    time: float


#: Settings behind `ENDQUENCH_TIMES`: ASTM A255 bar of 4340, temperatures in degC.
TIME_SETTINGS: dict[str, float] = {
    "initial_temperature": 845.0,
    "water_temperature": 24.0,
    "air_temperature": 25.0,
    "emissivity": 0.3,
}
#: Computed by heatq 0.1.0.dev0 at an accuracy of 0.1 K with `TIME_SETTINGS`, latent heat included; not a published table.
#: Its rates lie within 9 % of the published ones (4.6 % rms), so the times may be expected to be as good. A rough bound,
#: 300 K over 0.6 to 0.8 times the published rate at 704 degC, gives 5-7 s, 20-27 s and 70-90 s at J4, J8 and J16.
ENDQUENCH_TIMES: tuple[TimeRow, ...] = (
    TimeRow(0.5, 466.6, 0.7331),
    TimeRow(1, 290.9, 1.144),
    TimeRow(2, 154.3, 2.164),
    TimeRow(3, 98.44, 3.927),
    TimeRow(4, 63.92, 6.414),
    TimeRow(5, 42.72, 9.565),
    TimeRow(6, 30.48, 13.33),
    TimeRow(7, 22.9, 17.64),
    TimeRow(8, 17.9, 22.45),
    TimeRow(9, 14.43, 27.69),
    TimeRow(10, 11.93, 33.32),
    TimeRow(11, 10.06, 39.28),
    TimeRow(12, 8.628, 45.53),
    TimeRow(13, 7.508, 52.03),
    TimeRow(14, 6.613, 58.74),
    TimeRow(15, 5.886, 65.6),
    TimeRow(16, 5.288, 72.54),
    TimeRow(18, 4.368, 86.55),
    TimeRow(20, 3.702, 100.6),
    TimeRow(22, 3.204, 114.7),
    TimeRow(24, 2.821, 128.8),
    TimeRow(26, 2.521, 142.7),
    TimeRow(28, 2.281, 156.5),
    TimeRow(30, 2.086, 170.0),
    TimeRow(32, 1.924, 183.3),
    TimeRow(36, 1.674, 208.9),
    TimeRow(40, 1.488, 232.4),
    TimeRow(44, 1.346, 253.2),
    TimeRow(48, 1.235, 270.5),
)
_LOG_TIME_DISTANCE = np.log([sixteenths(float(row.position)) for row in ENDQUENCH_TIMES])
_LOG_TIME = np.log([row.time for row in ENDQUENCH_TIMES])


def _log_interpolate(value: npt.ArrayLike, x: Array, y: Array, name: str) -> Array:
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        array = np.array(-1.0)
    if (array < 0.0).any():
        raise InputError(f"{name} = {value!r} must be positive.")
    with np.errstate(divide="ignore"):
        logs = np.log(array)
    inside = (logs >= x[0] - 1e-9) & (logs <= x[-1] + 1e-9)
    return np.where(inside, np.exp(np.interp(logs, x, y)), np.nan)


def equivalent_distance(cooling: npt.ArrayLike, *, by: str = "rate") -> Array:
    """Distance (m) on the end-quench bar that cools alike; log-log interpolation.

    Parameters
    ----------
    cooling : array_like
        Cooling rate at 704 degC, K/s; by time, that from 800 to 500 degC, s.
    by : {"rate", "time"}
        By rate NaN outside 272 to 1.94 K/s (J1 to J32): faster than the bar's end, or slower than its published part; by time
        outside 0.73 to 270 s (J0.5 to J48).

    Examples
    --------
    >>> (equivalent_distance([33 / 1.8, 10 / 1.8, 1.0]) * 1e3).round(2)     # mm
    array([12.7, 25.4,  nan])
    >>> (equivalent_distance([22.45, 300.0], by="time") * 1e3).round(2)
    array([12.7,  nan])
    """
    x, y, _ = _reference(by, None)
    order = slice(None, None, -1 if by == "rate" else 1)
    return _log_interpolate(cooling, y[order], x[order], f"cooling {by}")


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
        Cooling rate at 704 degC, K/s. `heatq.trial` goes by the time from 800 to 500 degC, see
        :mod:`heatq.hardness.second_routes`.
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


# ------------------------------------------------------------------------------- any history and a measured curve


def _reference(by: str, reference: xr.Dataset | None) -> tuple[Array, Array, str]:
    """Logarithms of distance and of the measure (rate or time), distance increasing, and where they come from."""
    check_name("by", by, ("rate", "time"))
    if reference is None:
        if by == "rate":
            return _LOG_DISTANCE, _LOG_RATE, "published table of cooling rates (SAE J406 / ASTM A255)"
        return _LOG_TIME_DISTANCE, _LOG_TIME, "computed by heatq, ENDQUENCH_TIMES"
    if "distance" not in reference.coords or "temperature" not in reference:
        raise InputError(
            "reference must be a simulated or logged end-quench bar, with temperature(time, probe) and the coordinate "
            "distance(probe) in m."
        )
    measure = (cooling_rate(reference) if by == "rate" else cooling_time(reference)).values
    distance = reference["distance"].values
    good = np.isfinite(measure) & (measure > 0.0) & (distance > 0.0)
    order = np.argsort(distance[good])
    x, y = np.log(distance[good][order]), np.log(measure[good][order])
    step = -np.diff(y) if by == "rate" else np.diff(y)
    if len(x) < 2 or not (step > 0.0).all():
        raise InputError(
            f"reference: the cooling {by} does not change steadily with distance at two or more probes, so places cannot "
            "be told apart; leave out the doubtful probes."
        )
    return x, y, "the given end-quench bar"


def equal_cooling_distance(result: xr.Dataset, *, by: str = "rate", reference: xr.Dataset | None = None) -> xr.Dataset:
    """Place on the end-quench bar that cools like each probe of a piece.

    Parameters
    ----------
    result : xarray.Dataset
        ``temperature(time, probe)``, simulated or measured, of any piece in any quench.
    by : {"rate", "time"}
        Equal cooling rate at 704 degC, or equal time from 800 to 500 degC.
    reference : xarray.Dataset, optional
        Your own end-quench bar (simulated or logged) instead of the built-in table.

    Returns
    -------
    xarray.Dataset
        ``equivalent_distance(probe)`` in m, ``cooling_measure(probe)`` in K/s or s, and ``is_faster(probe)``: cools faster
        than the fastest row of the reference, where the distance is NaN, as it is beyond the slowest.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 50.0, 501)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 33 / 1.8 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> [round(float(equal_cooling_distance(history, by=by).equivalent_distance[0]) * 1e3, 1) for by in ("rate", "time")]
    [12.7, 10.6]
    """
    import xarray as xr

    x, y, source = _reference(by, reference)
    measure = cooling_rate(result) if by == "rate" else cooling_time(result)
    order = slice(None, None, -1) if by == "rate" else slice(None)
    distance = _log_interpolate(measure.values, y[order], x[order], f"cooling {by}")
    fastest = np.exp(y[0])
    faster = measure.values > fastest if by == "rate" else measure.values < fastest
    return xr.Dataset(
        {
            "equivalent_distance": (
                "probe",
                distance,
                {"units": "m", "long_name": f"end-quench distance with the same cooling {by}"},
            ),
            "cooling_measure": ("probe", measure.values, dict(measure.attrs)),
            "is_faster": ("probe", faster, {"long_name": "cools faster than the end of the bar"}),
        },
        coords=measure.coords,
        attrs={"by": by, "reference": source},
    )


def measure_at_distance(distance: npt.ArrayLike, *, by: str = "rate", reference: xr.Dataset | None = None) -> Array:
    """Cooling rate (K/s) or time (s) at a distance (m) on the end-quench bar: the way back. NaN outside the reference.

    Examples
    --------
    >>> measure_at_distance([0.00635, 0.0127], by="rate").round(1), measure_at_distance([0.00635, 0.0127], by="time").round(1)
    (array([69.4, 18.3]), array([ 6.4, 22.4]))
    """
    x, y, _ = _reference(by, reference)
    return _log_interpolate(distance, x, y, "distance")


def _curve_columns(curve: Any) -> tuple[Array, dict[str, Array], str]:
    """Distance (m, increasing), HRC columns by bound, and a description of a measured curve or a band."""
    if hasattr(curve, "data_vars"):
        if "measured_hrc" not in curve or "distance" not in curve.coords:
            raise InputError("curve needs measured_hrc and distance, as read_traverse() returns them.")
        distance, hrc = curve["distance"].values, curve["measured_hrc"].values
        good = np.isfinite(hrc)
        where, back = np.unique(distance[good], return_inverse=True)
        mean = np.bincount(back, hrc[good]) / np.bincount(back)
        return where, {"middle": mean}, str(curve.attrs.get("source", "measured end-quench curve"))
    try:
        where = sixteenths(np.asarray(curve["distance_sixteenths"], dtype=float))
        low, high = np.asarray(curve["low"], dtype=float), np.asarray(curve["high"], dtype=float)
        source = str(curve["source"])
    except (TypeError, KeyError):
        raise InputError(
            "curve must be a measured traverse, as read_traverse() returns it, or a hardenability band, as h_band() does."
        ) from None
    return where, {"low": low, "middle": 0.5 * (low + high), "high": high}, source


def hardness_from_curve(
    result: xr.Dataset, curve: Any, *, by: str = "rate", reference: xr.Dataset | None = None
) -> xr.Dataset:
    """Hardness of any piece in any quench from the end-quench curve of its heat, by equal cooling.

    Parameters
    ----------
    result : xarray.Dataset
        ``temperature(time, probe)``, simulated or measured.
    curve : Dataset or HardenabilityBand
        A traverse (`heatq.hardness.read_traverse`) of that heat, or the band of its grade (`heatq.steels.h_band`).
    by : {"rate", "time"}
        See :func:`equal_cooling_distance`.
    reference : xarray.Dataset, optional
        See :func:`equal_cooling_distance`.

    Returns
    -------
    xarray.Dataset
        What :func:`equal_cooling_distance` gives, and ``hardness_hrc(bound, probe)``, ``hardness_hv(bound, probe)`` with
        the bounds ``middle`` for a traverse, ``low``, ``middle``, ``high`` for a band (whose middle is the mean of the
        limits, not the curve of a mean heat). A place that cools faster than the first point of the curve has the
        hardness of that point; NaN beyond the last one and where the band has no limit.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> from heatq.steels import h_band
    >>> time = np.linspace(0.0, 50.0, 501)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 33 / 1.8 * time[:, None])},
    ...                      coords={"time": time, "probe": ["centre"]})
    >>> hardness_from_curve(history, h_band("4140H")).hardness_hrc.values.ravel()    # J8
    array([47., 52., 57.])
    """
    where, columns, source = _curve_columns(curve)
    if len(where) < 2:
        raise InputError("curve has fewer than two points.")
    found = equal_cooling_distance(result, by=by, reference=reference)
    distance = np.where(found["is_faster"].values, where[0], found["equivalent_distance"].values)
    held = np.where(distance < where[0], where[0], distance)
    hrc = np.array([np.interp(held, where, column, right=np.nan) for column in columns.values()])
    hrc = np.where(np.isfinite(held), hrc, np.nan)
    text = "hardness from the end-quench curve at equal cooling"
    found = found.assign_coords(bound=("bound", list(columns)))
    found["hardness_hrc"] = (("bound", "probe"), hrc, {"units": "HRC", "long_name": text})
    found["hardness_hv"] = (("bound", "probe"), np.asarray(hv_from_hrc(hrc)), {"units": "HV", "long_name": text})
    found.attrs["curve"] = source
    return found
