"""Laws of a furnace: h over correlation as a function of pressure and velocity, and the boundaries they correct."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries import Ramp, Stages
from heatq.boundaries.timeline import Boundary, Knots, Sum, at, for_piece, over_time
from heatq.errors import InputError, check_name, check_number

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "LAWS",
    "Corrected",
    "Law",
    "calibrated_factor",
    "check_calibration",
    "correct",
    "furnace_boundary",
    "normal_quantile",
    "regressors",
    "streams_of",
]

Array = npt.NDArray[np.float64]

#: Named laws: h/h_correlation = factor times powers of what is listed, over their geometric means in the logs.
LAWS: dict[str, tuple[str, ...]] = {
    "factor": (),
    "factor and exponent": ("pressure times velocity",),
    "separate exponents": ("pressure", "velocity"),
}


@dataclasses.dataclass(frozen=True)
class Corrected(Boundary):
    """A gas stream whose coefficient is multiplied by a law of its pressure and velocity."""

    stream: Any
    law: Callable[[float, float], float]

    def _factor(self, stream: Any) -> float:
        return self.law(float(stream.pressure), float(stream.velocity))

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        stream = over_time(self.stream, 0.0)[0][1]
        return self._factor(stream) * stream.heat_flux(surface_temperature)

    def over_time(self, end_time: float) -> Knots:
        """Knots of the stream, each with the factor of its own pressure."""
        knots = over_time(self.stream, end_time)
        if len(knots) == 1:
            return [(0.0, self)]
        return [(time, Corrected(stream, self.law)) for time, stream in knots]

    def at(self, position: float) -> Any:
        """Return the corrected stream at one place."""
        located = at(self.stream, position)
        return self if located is self.stream else Corrected(located, self.law)

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Return the corrected stream that knows the piece."""
        return Corrected(for_piece(self.stream, specimen, face), self.law)


def _is_stream(boundary: Any) -> bool:
    inner = boundary.boundary if isinstance(boundary, Ramp) else boundary
    return hasattr(inner, "pressure") and hasattr(inner, "velocity")


def correct(boundary: Any, law: Callable[[float, float], float]) -> Any:
    """Copy of a boundary in which every gas stream is corrected."""
    if isinstance(boundary, Sum):
        return Sum(tuple(correct(part, law) for part in boundary.parts))
    if isinstance(boundary, Stages):
        return Stages(*((duration, correct(part, law)) for duration, part in boundary.stages))
    return Corrected(boundary, law) if _is_stream(boundary) else boundary


def streams_of(boundary: Any) -> list[Any]:
    """All gas streams of a boundary; of a ramp the last."""
    if isinstance(boundary, Sum):
        return [stream for part in boundary.parts for stream in streams_of(part)]
    if isinstance(boundary, Stages):
        return [stream for _, part in boundary.stages for stream in streams_of(part)]
    if not _is_stream(boundary):
        return []
    return [over_time(boundary, 1e9)[-1][1]] if isinstance(boundary, Ramp) else [boundary]


def regressors(names: tuple[str, ...], pressure: float, velocity: float, reference: tuple[float, float]) -> Array:
    """1 and the logarithms that the exponents multiply."""
    p, v = np.log(pressure / reference[0]), np.log(max(velocity, 1e-6) / reference[1])
    known = {"pressure times velocity": p + v, "pressure": p, "velocity": v}
    return np.array([1.0, *(known[name] for name in names)])


@dataclasses.dataclass(frozen=True)
class Law:
    """exp(coefficients . regressors)."""

    names: tuple[str, ...]
    coefficients: Array
    reference: tuple[float, float]

    def __call__(self, pressure: float, velocity: float) -> float:
        """Ratio of h to the correlation at a pressure (Pa) and a velocity (m/s)."""
        return float(np.exp(self.coefficients @ regressors(self.names, pressure, velocity, self.reference)))


def normal_quantile(level: float) -> float:
    """Half width of the normal distribution that holds ``level``, in standard deviations."""
    from scipy.special import ndtri

    return float(ndtri(0.5 + 0.5 * level))


def check_calibration(calibration: Any) -> str:
    """Name of the law of a calibration, or an `InputError` if it is none."""
    law = calibration.attrs.get("law") if hasattr(calibration, "data_vars") else None
    if law not in LAWS:
        told = "a Dataset" if hasattr(calibration, "data_vars") else repr(calibration)
        raise InputError(f"calibration = {told} is not the result of calibrate(): its attribute 'law' is missing.")
    return str(law)


def _law_of(calibration: Any) -> tuple[tuple[str, ...], Array, tuple[float, float]]:
    law = check_calibration(calibration)
    value = calibration["value"].values
    coefficients = np.concatenate([[np.log(value[0])], value[1:]])
    reference = (float(calibration.attrs["reference_pressure"]), float(calibration.attrs["reference_velocity"]))
    return LAWS[law], coefficients, reference


def calibrated_factor(
    calibration: xr.Dataset, pressure: float, velocity: float, level: float | None = None
) -> tuple[float, float, float]:
    """Predict h over correlation for a setting: low, middle, high, the spread from run to run included.

    Parameters
    ----------
    calibration : Dataset
        Of `calibrate`.
    pressure : float
        Pa.
    velocity : float
        m/s.
    level : float, optional
        Probability of the range; by default that of the calibration.
    """
    check_number("pressure", pressure, "pressure")
    check_number("velocity", velocity, "velocity", low_open=True)
    names, coefficients, reference = _law_of(calibration)
    x = regressors(names, pressure, velocity, reference)
    spread = np.sqrt(x @ calibration["covariance"].values @ x + float(calibration.attrs["repeatability"]) ** 2)
    reach = normal_quantile(float(calibration.attrs["level"]) if level is None else level) * spread
    middle = float(x @ coefficients)
    return float(np.exp(middle - reach)), float(np.exp(middle)), float(np.exp(middle + reach))


def furnace_boundary(calibration: xr.Dataset, boundary: Any, which: str = "middle") -> Any:
    """Boundary of the calibrated furnace for any setting, run or not.

    Parameters
    ----------
    calibration : Dataset
        Of `calibrate`.
    boundary : boundary
        The correlation at the wanted pressure and velocity, as given to the runs: a gas stream, or a sum, ramp or stages with
        gas streams in them.
    which : {"middle", "low", "high"}
        The fitted law, or an edge of its range with the spread from run to run.

    Returns
    -------
    boundary
    """
    check_name("which", which, ("middle", "low", "high"))
    check_calibration(calibration)
    if not streams_of(boundary):
        raise InputError(
            f"boundary = {boundary!r} holds no gas stream with pressure and velocity; use GasCrossflow, GasAlong or GasJet."
        )
    index = ("low", "middle", "high").index(which)

    def law(pressure: float, velocity: float) -> float:
        return calibrated_factor(calibration, pressure, velocity)[index]

    return correct(boundary, law)
