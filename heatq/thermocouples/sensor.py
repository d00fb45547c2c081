"""A thermocouple in its well: what the recorder shows of a history, and the way back."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number, hold_validity
from heatq.history import RATE_TEMPERATURE, check_history, cooling_rate, cooling_time
from heatq.thermocouples.published import JUNCTIONS, TOLERANCES, calibration_tolerance, sheath_time_constant

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Thermocouple", "recover_temperature", "sensor_response"]

Array = npt.NDArray[np.float64]

#: Heat capacity of mineral-insulated cable, J/m3K: between alloy 600 (8430 kg/m3 x 444 J/kgK = 3.7e6, room temperature, from
#: memory) and compacted magnesia (about 3.2e6 at 600 degC). An estimate.
CABLE_HEAT_CAPACITY = 3.6e6
#: Contact of a sheath pressed into its well, W/m2K. The published responses were measured in water at 0.2 m/s; Nu = 16 to 19
#: there (crossflow, 1 to 1.5 mm) is 7 to 10 kW/m2K, which stands in for the contact. An estimate.
TIGHT_COEFFICIENT = 7e3
#: Temperature at which the air in the gap is taken, degC.
GAP_TEMPERATURE = 600.0
#: Gap left by a well drilled 0.1 mm over the sheath, m.
USUAL_GAP = 50e-6


@dataclasses.dataclass(frozen=True)
class Thermocouple:
    """A sheathed thermocouple and the well that it sits in.

    Parameters
    ----------
    sheath_diameter : float
        m.
    junction : {"grounded", "insulated", "exposed"}
        Welded to the tip of the sheath, isolated from it, or bare at its end.
    fit : {"tight", "filled", "gap"}
        Pressed into its well; gap filled with cement; or air between sheath and well.
    type : str
        Letter: K, N, J, T, E, R, S, B.
    tolerance_class : {1, 2, 3, "special", "standard"}
        IEC 60584-1, or ASTM E230 by name.
    well_diameter : float, optional
        m; the default is the sheath (tight) or 0.1 mm more.
    well_depth : float, optional
        m from the face that was drilled; placement works it out where left open.
    entry : {"side", "end"}
        Face that was drilled: radially from the side, or along the axis from an end.
    position_tolerance : float
        +- m, of the junction across and along the well together.
    time_constant : float, optional
        s; a measured time constant of the mounted couple, replaces the model.
    gap : float, optional
        Mean width between sheath and well, m; the default follows from the two diameters.
    filler_conductivity : float
        Of the cement, W/mK, with ``fit="filled"``; zircon-based potting cement 1.0 to 1.2 (a maker's data sheet, read).

    Notes
    -----
    The lag is one time constant (first order). It is the published time constant in stirred water
    (`heatq.thermocouples.sheath_time_constant`), whose water film stands for the contact of a pressed-in couple, plus what a
    gap adds: rho c d/(4 h), h = k/gap, of a cylinder that is uniform inside (lumped). Known to a factor 2; measure it
    where it matters and pass ``time_constant``.

    Examples
    --------
    >>> couple = Thermocouple(sheath_diameter=1e-3, junction="insulated", fit="gap", gap=25e-6)
    >>> round(couple.lag, 2)
    0.58
    >>> float(couple.calibration_tolerance(700.0))
    2.8
    """

    sheath_diameter: float = 1.5e-3
    junction: str = "grounded"
    fit: str = "tight"
    type: str = "K"
    tolerance_class: int | str = 1
    well_diameter: float | None = None
    well_depth: float | None = None
    entry: str = "side"
    position_tolerance: float = 0.5e-3
    time_constant: float | None = None
    gap: float | None = None
    filler_conductivity: float = 1.0

    def __post_init__(self) -> None:
        """Check what was given; fill in well and gap."""
        check_number("sheath_diameter", self.sheath_diameter, "diameter", high=0.02)
        check_name("junction", self.junction, JUNCTIONS)
        check_name("fit", self.fit, ("tight", "filled", "gap"))
        check_name("entry", self.entry, ("side", "end"))
        check_name("type", self.type, TOLERANCES, what="thermocouple type")
        with hold_validity():
            calibration_tolerance(20.0, self.type, self.tolerance_class)
        check_number("position_tolerance", self.position_tolerance, low=0.0, high=0.05, unit="m")
        check_number("filler_conductivity", self.filler_conductivity, low=0.0, low_open=True, high=500.0, unit="W/mK")
        if self.well_depth is not None:
            check_number("well_depth", self.well_depth, "length")
        if self.time_constant is not None:
            check_number("time_constant", self.time_constant, low=0.0, high=1e4, unit="s")
        if self.gap is not None and self.fit == "tight":
            raise InputError(f"gap = {self.gap!r} with fit 'tight': say fit='gap' or 'filled', or leave the gap out.")
        if self.gap is None:
            usual = 0.0 if self.fit == "tight" else USUAL_GAP
            well = self.sheath_diameter + 2 * usual if self.well_diameter is None else self.well_diameter
            check_number(
                "well_diameter", well, "diameter", low=self.sheath_diameter, high=0.05,
                hint="The well must not be narrower than the sheath.",
            )  # fmt: skip
            gap = 0.0 if self.fit == "tight" else (well - self.sheath_diameter) / 2
        else:
            gap = check_number("gap", self.gap, low=0.0, high=5e-3, unit="m")
            well = self.sheath_diameter + 2 * gap
            if self.well_diameter is not None and abs(self.well_diameter - well) > 1e-9:
                raise InputError(
                    f"gap = {gap:g} m does not fit between sheath_diameter = {self.sheath_diameter:g} m and well_diameter = "
                    f"{self.well_diameter:g} m: give one of gap and well_diameter."
                )
        object.__setattr__(self, "well_diameter", well)
        object.__setattr__(self, "gap", gap)

    @property
    def contact_coefficient(self) -> float:
        """Coefficient between sheath and well, W/m2K: k/gap; radiation across the gap is left out (below 5 % at 50 um)."""
        from heatq.boundaries.gas import gas_properties

        gap = float(self.gap or 0.0)
        if gap == 0.0:
            return TIGHT_COEFFICIENT
        if self.fit == "filled":
            conductivity = self.filler_conductivity
        else:
            conductivity = float(gas_properties("air", GAP_TEMPERATURE, 1e5).conductivity)
        return min(TIGHT_COEFFICIENT, conductivity / gap)

    @property
    def lag(self) -> float:
        """First-order time constant of the mounted couple, s."""
        if self.time_constant is not None:
            return float(self.time_constant)
        published = sheath_time_constant(self.sheath_diameter, self.junction)
        if not self.gap:
            return published
        return published + CABLE_HEAT_CAPACITY * self.sheath_diameter / (4.0 * self.contact_coefficient)

    def calibration_tolerance(self, temperature: Array | float) -> Array:
        """Tolerance (+-K) of the couple by its class, see `heatq.thermocouples.calibration_tolerance`."""
        return calibration_tolerance(temperature, self.type, self.tolerance_class)


def check_sensors(sensor: Any, probes: list[str]) -> list[Thermocouple]:
    """One couple per probe, from one couple for all or a mapping."""
    if isinstance(sensor, Thermocouple):
        return [sensor] * len(probes)
    if not isinstance(sensor, Mapping) or not all(isinstance(couple, Thermocouple) for couple in sensor.values()):
        raise InputError(
            f"sensor = {sensor!r}: give a Thermocouple for all probes, or a mapping probe -> Thermocouple."
        )
    missing = [name for name in probes if name not in sensor]
    strange = [name for name in sensor if name not in probes]
    if missing or strange:
        what = f"nothing for probe {missing[0]!r}" if missing else f"probe {strange[0]!r} is not in the history"
        raise InputError(f"sensor: {what}; the history has {', '.join(probes)}.")
    return [sensor[name] for name in probes]


def _steps(time: Array, lag: Array) -> tuple[Array, Array]:
    """exp(-dt/lag) and (lag/dt)(1 - exp(-dt/lag)) per step and probe; both 0 without lag."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.diff(time)[:, None] / lag
        return np.exp(-ratio), np.where(np.isfinite(ratio), -np.expm1(-ratio) / ratio, 0.0)


def first_order(time: Array, temperature: Array, lag: Array) -> Array:
    """First-order response (time, probe) to temperatures that are linear between samples; exact, in equilibrium at the start."""
    keep, mean = _steps(time, lag)
    shown = temperature.copy()
    for k in range(len(time) - 1):
        new = temperature[k + 1] * (1.0 - mean[k]) + temperature[k] * (mean[k] - keep[k])
        shown[k + 1] = keep[k] * shown[k] + new
    return shown


#: Numbers that the layers above read off a history, by name; they follow the new temperature.
_READINGS: dict[str, Any] = {
    "cooling_rate_700": lambda history: cooling_rate(history, 700.0),
    "cooling_rate_704": lambda history: cooling_rate(history, RATE_TEMPERATURE),
    "cooling_rate_800_700": lambda history: cooling_rate(history, 750.0, window=50.0),
    "cooling_time_800_500": lambda history: cooling_time(history, 800.0, 500.0),
}


def _with_temperature(history: xr.Dataset, values: Array, name: str, lag: Array, **more: Any) -> xr.Dataset:
    """Copy of a history with another temperature; rates and times are read off it anew."""
    result = history.copy()
    dims = ("time", "probe")
    result["temperature"] = (dims, values, {"units": "degC", "long_name": name})
    result["lag"] = ("probe", lag, {"units": "s", "long_name": "time constant of the couple"})
    for variable, entry in more.items():
        result[variable] = entry
    for variable, read in _READINGS.items():
        if variable in history:
            result[variable] = read(result)
    return result


def sensor_response(history: xr.Dataset, sensor: Any) -> xr.Dataset:
    """What the recorder shows of a history: each temperature behind the lag of its couple.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` of the metal.
    sensor : Thermocouple or mapping probe -> Thermocouple
        One for all probes, or one each.

    Returns
    -------
    xarray.Dataset
        The history with ``temperature`` as read, ``lag(probe)`` s; cooling rates and times in it are those of the reading.
        Fractions and whatever else belongs to the metal stay.

    Notes
    -----
    tau dy/dt + y = T(t), solved exactly for a T that is linear between the samples; couple and metal start together. Only the
    lag is applied: calibration, position and the well have errors of unknown sign, see `place_thermocouples`.

    Examples
    --------
    On a steady ramp the reading lags by tau times the rate:

    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 10.0, 11)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 850.0 - 50.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> shown = sensor_response(history, Thermocouple(time_constant=0.5))
    >>> round(float(shown.temperature[-1, 0] - history.temperature[-1, 0]), 3)
    25.0
    """
    temperature = check_history(history).values.astype(float)
    time = history["time"].values.astype(float)
    lag = np.array([couple.lag for couple in check_sensors(sensor, [str(p) for p in history["probe"].values])])
    shown = first_order(time, temperature, lag)
    return _with_temperature(history, shown, "temperature as recorded", lag)


def recover_temperature(log: xr.Dataset, sensor: Any, *, smoothing: float | None = None) -> xr.Dataset:
    """Temperature of the metal from what the recorder showed: the inverse of `sensor_response`.

    Parameters
    ----------
    log : xarray.Dataset
        ``temperature(time, probe)`` as recorded.
    sensor : Thermocouple or mapping probe -> Thermocouple
        One for all probes, or one each.
    smoothing : float, optional
        Half width (s) of the window over which a parabola is fitted to the log around each sample; widened to five samples
        where it holds fewer. The default is the lag of each couple. 0: no smoothing, the exact inverse, which answers noise
        with a noise gain of the order of lag over sampling time.

    Returns
    -------
    xarray.Dataset
        The log with ``temperature`` of the metal, ``lag(probe)`` s, and ``noise_gain(probe)``: scatter of the result over
        scatter of the log, for noise that is independent from sample to sample; the median over the samples (more at the ends).

    Notes
    -----
    T = y + tau dy/dt, with y and dy/dt from the parabola, a linear combination of the samples whose coefficients give the
    noise gain exactly. The price of smoothing is at kinks (start of the quench, change of medium), which are rounded over the
    window, and at the two ends, where the window is one-sided. A lag that is wrong by a part stays in the result as that
    part of tau dy/dt.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 10.0, 101)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 20.0 + 830.0 * np.exp(-time[:, None] / 5.0))},
    ...                      coords={"time": time, "probe": ["a"]})
    >>> couple = Thermocouple(time_constant=0.5)
    >>> back = recover_temperature(sensor_response(history, couple), couple)
    >>> bool(abs(back.temperature - history.temperature)[20:].max() < 0.3), round(float(back.noise_gain[0]), 2)
    (True, 0.66)
    """
    shown = check_history(log).values.astype(float)
    time = log["time"].values.astype(float)
    couples = check_sensors(sensor, [str(p) for p in log["probe"].values])
    lag = np.array([couple.lag for couple in couples])
    if smoothing is not None:
        check_number("smoothing", smoothing, low=0.0, high=1e5, unit="s", hint="It is a time in seconds.")
    found = np.empty_like(shown)
    gain = np.empty(len(lag))
    if smoothing == 0.0:
        found, gain = _exact_inverse(time, shown, lag)
    else:
        for n in range(len(lag)):
            width = lag[n] if smoothing is None else smoothing
            found[:, n], gain[n] = _smooth_inverse(time, shown[:, n], lag[n], width)
    entry = ("probe", gain, {"units": "1", "long_name": "noise of the recovered temperature over noise of the log"})
    return _with_temperature(log, found, "temperature of the metal, recovered", lag, noise_gain=entry)


def _exact_inverse(time: Array, shown: Array, lag: Array) -> tuple[Array, Array]:
    """Undo `sensor_response` step by step; variance of the result for unit noise in every sample."""
    keep, mean = _steps(time, lag)
    found = shown.copy()
    own = np.ones(shown.shape[1])  # coefficient of the newest sample in the newest result
    variance = np.ones_like(shown)
    for k in range(len(time) - 1):
        first = 1.0 / (1.0 - mean[k])
        last = (mean[k] - keep[k]) * first
        found[k + 1] = (shown[k + 1] - keep[k] * shown[k]) * first - last * found[k]
        second = -keep[k] * first
        variance[k + 1] = first**2 + (second - last * own) ** 2 + last**2 * (variance[k] - own**2)
        own = first
    return found, np.sqrt(np.median(variance, axis=0))


def _smooth_inverse(time: Array, shown: Array, lag: float, width: float) -> tuple[Array, float]:
    """Value plus lag times slope of a parabola around each sample; noise gain."""
    if lag == 0.0 and width == 0.0:
        return shown.copy(), 1.0
    count = len(time)
    least = min(5, count)
    low = np.searchsorted(time, time - width * (1 + 1e-9))
    high = np.searchsorted(time, time + width * (1 + 1e-9), side="right")
    found = np.empty(count)
    variance = np.empty(count)
    known: dict[Any, Array] = {}
    for k in range(count):
        i, j = int(low[k]), int(high[k])
        while j - i < least:  # the nearer neighbour first
            if i == 0 or (j < count and time[j] - time[k] <= time[k] - time[i - 1]):
                j += 1
            else:
                i -= 1
        offset = time[i:j] - time[k]
        scale = max(abs(offset[0]), abs(offset[-1]))
        x = offset / scale
        key = (j - i, k - i, round(scale, 12), x.round(9).tobytes())
        weights = known.get(key)
        if weights is None:
            inverse = np.linalg.pinv(np.vander(x, min(3, j - i), increasing=True))
            weights = inverse[0] + lag * inverse[1] / scale
            known[key] = weights
        found[k] = weights @ shown[i:j]
        variance[k] = weights @ weights
    return found, float(np.sqrt(np.median(variance)))
