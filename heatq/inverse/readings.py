"""What a recorder would show for given unknowns: conduction, position of the couples, their lag, their calibration."""

from __future__ import annotations

import concurrent.futures
import dataclasses
import os
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.conduction.run import simulate
from heatq.errors import InputError, SolverError, check_number, hold_validity
from heatq.inverse.estimate import noise_of
from heatq.specimens import Probe
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Couple", "Record", "Recorder", "couples_of", "initial_of", "lagged", "read_record", "record_noise"]

Array = npt.NDArray[np.float64]

#: Change of the logarithm of a coefficient, or of a scaled flux, for the differences of the Jacobian. Large enough to
#: drown the noise of adaptive steps, small enough to stay linear.
NUDGE = 0.05
#: Standard deviation of a quantity that lies within +- 1 with equal probability (GUM, JCGM 100:2008, 4.3.7).
RECTANGULAR = 1.0 / np.sqrt(3.0)
#: Standard deviation of the logarithm of a lag that was measured (``time_constant``), and of one from a sheath's diameter:
#: known to a factor of 2, taken as a 90 % range.
LAG_UNCERTAINTY, MODELLED_LAG_UNCERTAINTY = 0.1, 0.4


@dataclasses.dataclass(frozen=True)
class Couple:
    """One channel: where the junction is and how it reads."""

    channel: str
    place: Probe
    lag: float = 0.0
    """First-order time constant, s."""
    lag_deviation: float = 0.0
    """Standard deviation of the lag's logarithm."""
    position_deviation: float = 0.0
    """Standard deviation of the junction's place, m, in r and in z."""
    calibration: Callable[[Array], Array] | None = None
    """Standard deviation (K) of the reading over temperature, the same error throughout a run."""


@dataclasses.dataclass(frozen=True)
class Record:
    """Readings that take part: times from the start of the quench, temperatures, which of them are there."""

    times: Array
    values: Array
    """(time, channel), degC; NaN where missing."""
    before: Array
    """Mean reading of each channel before and at the start; NaN where there is none."""

    @property
    def mask(self) -> npt.NDArray[np.bool_]:
        """Readings that count."""
        return np.isfinite(self.values)


def read_record(log: xr.Dataset, channels: list[str], start_time: float, end_time: float | None) -> Record:
    """Cut a log to the quench, from ``start_time`` on; gaps (NaN) are left out of the fit, not filled."""
    temperature = log.get("temperature") if hasattr(log, "data_vars") else None
    if temperature is None or set(temperature.dims) != {"time", "probe"}:
        raise InputError(
            "log needs a variable temperature(time, probe) in degC, as read_log() returns it; "
            f"got {type(log).__name__}."
        )
    time = np.asarray(log["time"].values)
    if time.dtype.kind not in "iuf" or not (np.diff(time) > 0).all():
        raise InputError("log: time must be plain seconds that increase strictly.")
    values = temperature.transpose("time", "probe").sel(probe=channels).values.astype(float)
    time = time.astype(float) - start_time
    inside = (time > 0.0) & (time <= (np.inf if end_time is None else end_time - start_time))
    early = (time <= 0.0) & (time > -5.0)
    before = np.full(len(channels), np.nan)
    for k in range(len(channels)):
        some = values[early, k][np.isfinite(values[early, k])]
        if some.size:
            before[k] = some.mean()
    if inside.sum() < 10:
        raise InputError(
            f"log holds {int(inside.sum())} readings after start_time = {start_time:g} s; at least 10 are needed to fit anything."
        )
    record = Record(time[inside], values[inside], before)
    for k, name in enumerate(channels):
        if record.mask[:, k].sum() < 10:
            raise InputError(
                f"log: channel {name!r} holds fewer than 10 readings in the quench; leave it out of probes."
            )
    return record


def record_noise(record: Record) -> float:
    """Noise of one reading from the record alone, K."""
    found = [noise_of(record.values[record.mask[:, k], k]) for k in range(record.values.shape[1])]
    return max(float(np.median([f for f in found if np.isfinite(f)] or [1.0])), 0.02)


def initial_of(record: Record, given: float | None, noise: float) -> tuple[float, float]:
    """Initial temperature and its standard deviation (0 if given)."""
    if given is not None:
        return check_number("initial_temperature", given, "initial_temperature"), 0.0
    before = record.before[np.isfinite(record.before)]
    if before.size == 0:
        before = np.array([record.values[record.mask[:, k], k][0] for k in range(record.values.shape[1])])
    spread = float(before.std()) if before.size > 1 else 0.0
    start = float(before.mean())
    check_number("initial_temperature (first readings)", start, "initial_temperature")
    return start, max(noise, spread) / np.sqrt(before.size)


def couples_of(log: Any, specimen: Any, probes: Any, thermocouples: Any) -> list[Couple]:
    """Channels, places and sensors from what the user gave.

    Parameters
    ----------
    log : Dataset
        Its channels are its ``probe`` labels.
    specimen : object
        The piece.
    probes : None, list or mapping channel -> place
        None: every channel, its place by name, or by the log's own coordinates r and z. A place is a name of the piece,
        a `Probe` or ``(r, z)``.
    thermocouples : None, Thermocouple or mapping channel -> Thermocouple
        Anything with ``lag`` (s) and ``position_tolerance`` (m, half width).
    """
    known = [str(name) for name in np.atleast_1d(log["probe"].values)]
    if probes is None:
        wanted: dict[str, Any] = dict.fromkeys(known)
    elif isinstance(probes, Mapping):
        wanted = {str(name): place for name, place in probes.items()}
    else:
        wanted = dict.fromkeys([probes] if isinstance(probes, str) else [str(name) for name in probes])
    for name in wanted:
        if name not in known:
            raise InputError(f"probes: the log has no channel {name!r}; it has {', '.join(known)}.")
    if isinstance(thermocouples, Mapping):
        for name in thermocouples:
            if name not in wanted:
                raise InputError(f"thermocouples: {name!r} is no channel in use; those are {', '.join(wanted)}.")
    found = []
    for name, place in wanted.items():
        if place is None and "r" in log.coords and "z" in log.coords:
            own = log.sel(probe=name)
            if np.isfinite(float(own["r"])) and np.isfinite(float(own["z"])):
                place = (float(own["r"]), float(own["z"]))
        if place is None:
            try:
                place = specimen.find_probe(name)
            except InputError:
                raise InputError(
                    f"channel {name!r}: where is its junction? Give probes={{{name!r}: (r, z)}} in m, a Probe, or a name of the piece."
                ) from None
        if isinstance(place, str):
            place = specimen.find_probe(place)
        elif not isinstance(place, Probe):
            r, z = place
            place = Probe(r, z, name=name)
        (place,) = specimen.resolve_probes([place])
        sensor = thermocouples.get(name) if isinstance(thermocouples, Mapping) else thermocouples
        if sensor is None:
            found.append(Couple(name, place))
            continue
        lag = check_number(f"lag of {name}", getattr(sensor, "lag", 0.0), "duration")
        tolerance = check_number(
            f"position_tolerance of {name}", getattr(sensor, "position_tolerance", 0.0), low=0.0, high=0.05, unit="m"
        )
        calibration = getattr(sensor, "calibration_tolerance", None)
        found.append(
            Couple(
                name,
                place,
                lag=lag,
                lag_deviation=MODELLED_LAG_UNCERTAINTY
                if getattr(sensor, "time_constant", 0) is None
                else LAG_UNCERTAINTY,
                position_deviation=tolerance * RECTANGULAR,
                calibration=None if calibration is None else _rectangular(calibration),
            )
        )
    return found


def _rectangular(tolerance: Any) -> Callable[[Array], Array]:
    def deviation(temperature: Array) -> Array:
        with hold_validity():  # the class's own range of temperature is noted where the couple is chosen
            limits = tolerance(temperature) if callable(tolerance) else tolerance
        return np.broadcast_to(np.asarray(limits, dtype=float) * RECTANGULAR, temperature.shape)

    return deviation


def lagged(times: Array, values: Array, lag: float) -> Array:
    """First-order reading tau dy/dt = T - y of a course that is linear between its times; starts at the first value.

    Examples
    --------
    On a ramp of 10 K/s a couple of 0.3 s ends up 3 K behind:

    >>> t = np.linspace(0.0, 5.0, 51)
    >>> float(lagged(t, 850.0 - 10.0 * t, 0.3)[-1])
    803.0
    """
    if lag <= 0.0:
        return values
    out = np.empty_like(values)
    out[0] = values[0]
    step = np.diff(times)
    decay = np.exp(-step / lag)
    slope = np.diff(values) / step
    ahead = slope * lag
    for k in range(len(step)):
        # exact: y - (T - slope tau) decays
        out[k + 1] = values[k + 1] - ahead[k] + (out[k] - values[k] + ahead[k]) * decay[k]
    return out


class Recorder:
    """Predicted readings and their Jacobian for ``theta = [curve, nuisance]``.

    Parameters
    ----------
    specimen, steel, initial_temperature
        As in `heatq.simulate`.
    record : Record
        Where readings are wanted.
    couples : list of Couple
        One per column of the record.
    boundaries_of : callable
        Curve coefficients -> boundaries of all faces.
    curve_count : int
        Number of curve coefficients.
    start_deviation, initial_deviation : float
        Standard deviations of the start of the quench, s, and of the initial temperature, K; 0: known.
    nudged : int, optional
        How many of the curve coefficients have their derivatives computed; the caller knows the rest.
    """

    def __init__(
        self,
        specimen: Any,
        steel: Any,
        initial_temperature: float,
        record: Record,
        couples: list[Couple],
        boundaries_of: Callable[[Array], dict[str, Any]],
        curve_count: int,
        *,
        start_deviation: float = 0.0,
        initial_deviation: float = 0.0,
        accuracy: float = 0.5,
        cells: tuple[int, int] | None = None,
        coupled: bool = True,
        kinetics: Any = DEFAULT,
        workers: int | None = None,
        nudged: int | None = None,
    ) -> None:
        self.specimen, self.steel, self.initial_temperature = specimen, steel, initial_temperature
        self.record, self.couples, self.boundaries_of, self.curve_count = record, couples, boundaries_of, curve_count
        self.coupled, self.kinetics = coupled, kinetics
        self.nudged = curve_count if nudged is None else nudged
        if cells is None:
            cells = (40, 1) if specimen.length is None else ((10, 80) if "jet" in specimen.faces else (16, 40))
        self.cells, self.step_tolerance = cells, 0.4 * accuracy
        self.workers = min(os.cpu_count() or 1, 8) if workers is None else workers
        end = float(record.times[-1])
        grown = np.geomspace(min(0.01, end / 1000), end, 240)
        self.grid = np.unique(np.concatenate([[0.0], record.times, grown]))
        self.nuisances: list[tuple[str, int, float]] = []
        """(kind, channel, standard deviation)"""
        for k, couple in enumerate(couples):
            if couple.position_deviation > 0:
                self.nuisances.append(("r", k, couple.position_deviation))
                if specimen.length is not None:
                    self.nuisances.append(("z", k, couple.position_deviation))
            if couple.lag > 0 and couple.lag_deviation > 0:
                self.nuisances.append(("lag", k, couple.lag_deviation))
            if couple.calibration is not None:
                self.nuisances.append(("calibration", k, 1.0))
        if start_deviation > 0:
            self.nuisances.append(("start", -1, start_deviation))
        if initial_deviation > 0:
            self.nuisances.append(("initial", -1, initial_deviation))
        self.runs = 0

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return self.curve_count + len(self.nuisances)

    @property
    def readings(self) -> Array:
        """Data in the order of `predict`: channel after channel."""
        return np.concatenate([self.record.values[self.record.mask[:, k], k] for k in range(len(self.couples))])

    @property
    def channels(self) -> list[slice]:
        """Where each channel is in `readings`."""
        ends = np.cumsum([0, *self.record.mask.sum(axis=0)])
        return [slice(int(a), int(b)) for a, b in zip(ends[:-1], ends[1:], strict=True)]

    def _place(self, couple: Couple, dr: float, dz: float) -> tuple[float, float]:
        """Place of a junction that is off, inside the piece; beyond the axis is the other side of it."""
        inner, outer, length = self.specimen.inner_radius, self.specimen.outer_radius, self.specimen.length
        r = couple.place.r + dr
        r = abs(r) if inner == 0.0 else max(r, inner)
        z = couple.place.z + dz
        return min(r, outer), (couple.place.z if length is None else min(max(z, 0.0), length))

    def _offsets(self, theta: Array) -> dict[tuple[str, int], float]:
        return {
            (kind, k): float(value) * deviation
            for (kind, k, deviation), value in zip(self.nuisances, theta[self.curve_count :], strict=True)
        }

    def _fields(self, theta: Array, spread: bool) -> Array:
        """Temperatures (internal time, place): junctions, then junctions pushed in r and z both ways if ``spread``."""
        offsets = self._offsets(theta)
        places = []
        for k, couple in enumerate(self.couples):
            dr, dz = offsets.get(("r", k), 0.0), offsets.get(("z", k), 0.0)
            places.append(self._place(couple, dr, dz))
        if spread:
            for kind, k, deviation in self.nuisances:
                if kind in "rz":
                    couple, half = self.couples[k], 0.5 * deviation
                    dr, dz = offsets.get(("r", k), 0.0), offsets.get(("z", k), 0.0)
                    for sign in (1.0, -1.0):
                        push = sign * half
                        places.append(self._place(couple, dr + push * (kind == "r"), dz + push * (kind == "z")))
        from scipy.interpolate import PchipInterpolator

        start = self.initial_temperature + offsets.get(("initial", -1), 0.0)
        probes = [Probe(r, z, name=str(n)) for n, (r, z) in enumerate(places)]
        with hold_validity():
            run = simulate(
                self.specimen,
                self.steel,
                self.boundaries_of(theta[: self.curve_count]),
                initial_temperature=start,
                end_time=float(self.grid[-1]),
                probes=probes,
                cells=self.cells,
                step_tolerance=self.step_tolerance,
                estimate_error=False,
                coupled=self.coupled,
                kinetics=self.kinetics,
                progress=False,
            )
        # one interpolation for all; `simulate` itself breaks its interpolation at every knot of a boundary
        return PchipInterpolator(run["time"].values, run["temperature"].values, axis=0)(self.grid)

    def _read(self, fields: Array, theta: Array, scale: dict[tuple[str, int], float] | None = None) -> Array:
        """Readings of the first columns of ``fields``; ``scale`` adds to single nuisances (in standard deviations)."""
        offsets = self._offsets(theta)
        for (kind, k), more in (scale or {}).items():
            deviation = next(d for name, c, d in self.nuisances if (name, c) == (kind, k))
            offsets[kind, k] = offsets.get((kind, k), 0.0) + more * deviation
        shift = offsets.get(("start", -1), 0.0)
        out = []
        for k, couple in enumerate(self.couples):
            lag = couple.lag * np.exp(offsets.get(("lag", k), 0.0))
            course = lagged(self.grid, fields[:, k], lag)
            if couple.calibration is not None:
                course = course + offsets.get(("calibration", k), 0.0) * couple.calibration(course)
            times = self.record.times[self.record.mask[:, k]] - shift
            out.append(np.interp(times, self.grid, course))
        return np.concatenate(out)

    def predict(self, theta: Array, with_jacobian: bool) -> tuple[Array, Array | None]:
        """Readings, and their derivatives with respect to all unknowns on request."""
        self.runs += 1
        try:
            fields = self._fields(theta, spread=with_jacobian)
        except SolverError:
            if with_jacobian:
                raise
            return np.full(int(self.record.mask.sum()), 1e6), None  # a step too far: the search takes a shorter one
        predicted = self._read(fields, theta)
        if not with_jacobian:
            return predicted, None
        jacobian = np.zeros((predicted.size, self.count))
        columns = list(range(self.nudged))
        nudged = [theta + NUDGE * (np.arange(self.count) == n) for n in columns]
        for n, (kind, _, _) in enumerate(self.nuisances, self.curve_count):
            if kind == "initial":
                nudged.append(theta + 1.0 * (np.arange(self.count) == n))
                columns.append(n)
        self.runs += len(nudged)
        steps = [NUDGE if n < self.curve_count else 1.0 for n in columns]

        def moved(theta: Array) -> Array:
            return self._read(self._fields(theta, spread=False), theta)

        if self.workers > 1 and len(nudged) > 2:
            with concurrent.futures.ThreadPoolExecutor(self.workers) as pool:
                results = list(pool.map(moved, nudged))
        else:
            results = [moved(one) for one in nudged]
        for n, step, result in zip(columns, steps, results, strict=True):
            jacobian[:, n] = (result - predicted) / step
        column = len(self.couples)
        for n, (kind, k, _) in enumerate(self.nuisances, self.curve_count):
            if kind in "rz":
                pair = fields[:, column : column + 2]
                column += 2
                slope = np.zeros_like(predicted)
                part = self.channels[k]
                ends = []
                for side in (0, 1):
                    swapped = fields.copy()
                    swapped[:, k] = pair[:, side]
                    ends.append(self._read(swapped, theta)[part])
                slope[part] = ends[0] - ends[1]
                jacobian[:, n] = slope
            elif kind in ("lag", "calibration", "start"):
                more = 0.1
                jacobian[:, n] = (self._read(fields, theta, {(kind, k): more}) - predicted) / more
        return predicted, jacobian
