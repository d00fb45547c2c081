"""The Dataset of an inverse fit, the checks on it, and the boundary made from it."""

from __future__ import annotations

import json
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import milli

from heatq._version import __version__
from heatq.boundaries import CoefficientTable, Convection, HeatFlux, Ramp
from heatq.conduction.run import simulate
from heatq.errors import AccuracyWarning, InputError, check_name, collect_validity
from heatq.inverse.estimate import Posterior, autocorrelation
from heatq.inverse.laws import normal_quantile
from heatq.inverse.readings import Recorder, record_noise
from heatq.inverse.unknowns import FORMS, Unknown
from heatq.specimens import Probe

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["fitted_boundary", "result_of", "surface_course"]

Array = npt.NDArray[np.float64]

#: A place of the curve counts as seen where the data narrow the spread of the prior at least this many times ...
SEEN = 3.0
#: ... and leave a 90 % band of at most this factor either way (a flux: this less 1, of the largest flux).
SHARP = 1.5
#: Half width of the 90 % band as a factor, at the highest flux, above which the couples count as too deep.
WIDE = 1.35
#: Readings that hang together more than this (correlation of neighbours) are called systematic.
CORRELATED = 0.3

_LONG_NAMES = {
    "r": "radius of the junction, change",
    "z": "height of the junction, change",
    "lag": "logarithm of the lag, change",
    "calibration": "calibration error, share of its standard deviation",
    "start": "start of the quench, change",
    "initial": "initial temperature, change",
}


def result_of(
    recorder: Recorder,
    posterior: Posterior,
    target: Unknown,
    faces: list[str],
    level: float,
    noise: float | None,
) -> xr.Dataset:
    """Dataset of `fit_boundary`, with the warnings that belong to it."""
    form, fluid_temperature = target.form, target.fluid_temperature
    with collect_validity() as notes:
        course = surface_course(recorder, posterior.mean, faces[0])
    data, points, seen = _curve_variables(posterior, target, level, course)
    data = data.merge(_record_variables(recorder, posterior))
    data["surface_temperature_history"] = (
        "surface_time",
        course["temperature"].values,
        {"units": "degC", "long_name": "temperature of the fitted surface"},
    )
    data = data.assign_coords(
        surface_time=("surface_time", course["time"].values, {"units": "s", "long_name": "time from the start"})
    )
    kinds = [(kind if k < 0 else f"{kind} of {recorder.couples[k].channel}") for kind, k, _ in recorder.nuisances]
    if kinds:
        m = target.curve.count
        deviation = np.array([d for _, _, d in recorder.nuisances])
        data = data.assign_coords(nuisance=("nuisance", kinds))
        attrs = {"units": "m, 1, K, s by kind", "long_name": "correction found for couples and start"}
        data["nuisance_value"] = ("nuisance", posterior.mean[m:] * deviation, attrs)
        data["nuisance_deviation"] = (
            "nuisance",
            np.sqrt(np.diag(posterior.covariance)[m:]) * deviation,
            {**attrs, "long_name": "its standard deviation after the fit"},
        )
    numbers = _checks(recorder, posterior, data, form, points, seen, level, fluid_temperature, noise)
    complaints = _complaints(numbers, posterior.is_converged)
    data.attrs = {
        "heatq_version": __version__,
        "unknown": form,
        "level": level,
        "fluid_temperature": float("nan") if fluid_temperature is None else fluid_temperature,
        "faces": json.dumps(faces),
        "initial_temperature": recorder.initial_temperature,
        "criterion": "strength of the smoothness prior by marginal likelihood, averaged over",
        "strength": posterior.strength,
        "effective_parameters": posterior.freedom,
        "iterations": posterior.iterations,
        "is_converged": int(posterior.is_converged),
        "runs": recorder.runs,
        **numbers,
        "warnings": json.dumps([*notes.values(), *complaints]),
    }
    for complaint in complaints:
        warnings.warn(complaint, AccuracyWarning, stacklevel=3)
    return data


def surface_course(recorder: Recorder, theta: Array, face: str) -> xr.Dataset:
    """Course of the surface under the first unknown face, with the validity notes of a normal run."""
    piece = recorder.specimen
    half = 0.0 if piece.length is None else 0.5 * piece.length
    middle = 0.5 * (piece.inner_radius + piece.outer_radius) if piece.inner_radius > 0 else 0.0
    z = recorder.couples[0].place.z if piece.length is not None else half
    place = {
        "outer": (piece.outer_radius, z),
        "bore": (piece.inner_radius, z),
        "bottom": (middle, 0.0),
        "top": (middle, piece.length or 0.0),
    }[piece.faces[face]]
    run = simulate(
        piece,
        recorder.steel,
        recorder.boundaries_of(theta[: recorder.curve_count]),
        initial_temperature=recorder.initial_temperature,
        end_time=float(recorder.grid[-1]),
        output_times=recorder.grid,
        probes=[Probe(*place, name="surface")],
        cells=recorder.cells,
        step_tolerance=recorder.step_tolerance,
        estimate_error=False,
        coupled=recorder.coupled,
        kinetics=recorder.kinetics,
        progress=False,
    )
    return run.isel(probe=0)


def _curve_variables(
    posterior: Posterior, target: Unknown, level: float, course: xr.Dataset
) -> tuple[xr.Dataset, Array, Array]:
    """The unknown over its coordinate, its band, and where it was seen."""
    import xarray as xr

    curve, surface = target.curve, course["temperature"].values
    if target.form == "coefficient over temperature":
        low, high = float(surface.min()), float(surface.max())
        points = np.linspace(max(low, curve.nodes[0]), min(high, curve.nodes[-1]), 121)
        name = "surface_temperature"
        coordinate = (name, points, {"units": "degC", "long_name": "surface temperature"})
    else:
        points = target.points(121)
        name = "quench_time"
        coordinate = (name, points, {"units": "s", "long_name": "time from the start of the quench"})
    matrix = curve.basis(points)
    m = curve.count
    middle = matrix @ posterior.mean[:m]
    spread = np.sqrt(np.einsum("ij,jk,ik->i", matrix, posterior.covariance[:m, :m], matrix))
    before = np.sqrt(np.einsum("ij,jk,ik->i", matrix, posterior.prior_covariance[:m, :m], matrix))
    reach = normal_quantile(level) * spread
    if target.is_flux:
        value, band = target.scale * middle, target.scale * np.array([middle - reach, middle + reach])
        variable, attrs = "heat_flux", {"units": "W/m2", "long_name": "heat flux out of the surface"}
    else:
        value, band = np.exp(middle), np.exp(np.array([middle - reach, middle + reach]))
        variable, attrs = "coefficient", {"units": "W/m2K", "long_name": "heat-transfer coefficient"}
    informed = before / np.maximum(spread, 1e-12)
    sharp = (
        1.645 * spread <= (SHARP - 1.0) * np.abs(middle).max() if target.is_flux else 1.645 * spread <= np.log(SHARP)
    )
    seen = (informed >= SEEN) & sharp
    data = xr.Dataset(
        {
            variable: (name, value, attrs),
            f"{variable}_interval": (
                ("bound", name),
                band,
                {**attrs, "long_name": f"{attrs['long_name']}, {100 * level:g} % band"},
            ),
            "information": (
                name,
                informed,
                {"units": "1", "long_name": "spread before the data over spread after them"},
            ),
            "is_seen": (
                name,
                seen,
                {"units": "1", "long_name": f"spread narrowed {SEEN:g} times, 90 % band within a factor {SHARP:g}"},
            ),
        },
        coords={name: coordinate, "bound": ("bound", ["low", "high"])},
    )
    return data, points, seen


def _record_variables(recorder: Recorder, posterior: Posterior) -> xr.Dataset:
    """Measured, fitted, residual over time and probe."""
    import xarray as xr

    fitted = np.full(recorder.record.values.shape, np.nan)
    for k, part in enumerate(recorder.channels):
        fitted[recorder.record.mask[:, k], k] = posterior.fitted[part]
    measured = recorder.record.values
    dims = ("time", "probe")
    places = [couple.place for couple in recorder.couples]
    return xr.Dataset(
        {
            "measured": (dims, measured, {"units": "degC", "long_name": "temperature as recorded"}),
            "fitted": (dims, fitted, {"units": "degC", "long_name": "reading of the fitted model"}),
            "residual": (dims, measured - fitted, {"units": "K", "long_name": "measured minus fitted"}),
        },
        coords={
            "time": ("time", recorder.record.times, {"units": "s", "long_name": "time from the start of the quench"}),
            "probe": ("probe", [couple.channel for couple in recorder.couples]),
            "r": ("probe", [place.r for place in places], {"units": "m", "long_name": "radius"}),
            "z": ("probe", [place.z for place in places], {"units": "m", "long_name": "height above the bottom face"}),
        },
    )


def _diffusivity(steel: Any, temperature: float) -> float:
    """Thermal diffusivity of the hot piece, m2/s: the last phase (austenite of a steel)."""
    material = getattr(steel, "material", steel)
    at = np.array([temperature])
    conductivity = float(np.asarray(material.conductivity(at))[-1, 0])
    return conductivity / (float(material.density) * float(np.asarray(material.specific_heat(at))[-1, 0]))


def _depth(piece: Any, place: Probe) -> float:
    """Distance of a junction from the nearest face that is quenched from, m: side, bore, the jet's end of an end-quench bar."""
    depths = [piece.outer_radius - place.r]
    if piece.inner_radius > 0.0:
        depths.append(place.r - piece.inner_radius)
    if "jet" in piece.faces:
        depths.append(place.z)
    return min(depths)


def _checks(
    recorder: Recorder,
    posterior: Posterior,
    data: xr.Dataset,
    form: str,
    points: Array,
    seen: Array,
    level: float,
    fluid_temperature: float | None,
    noise: float | None,
) -> dict[str, float]:
    """Numbers of the residual check and of the depth check.

    A pulse at the surface of a thick body is felt most at the depth x after x^2/(2 a): the maximum of
    t^(-1/2) exp(-x^2/(4 a t)).
    """
    residuals = [
        recorder.record.values[recorder.record.mask[:, k], k] - posterior.fitted[part]
        for k, part in enumerate(recorder.channels)
    ]
    total = np.concatenate(residuals)
    reference = record_noise(recorder.record) if noise is None else noise
    piece = recorder.specimen
    depth = min(_depth(piece, couple.place) for couple in recorder.couples)
    clock = data["surface_time"].values
    surface = data["surface_temperature_history"].values
    at = surface if form == "coefficient over temperature" else clock
    if form == "flux over time":
        flux = np.interp(clock, points, data["heat_flux"].values)
    else:
        assert fluid_temperature is not None
        flux = np.interp(at, points, data["coefficient"].values) * (surface - fluid_temperature)
    told = np.interp(at, points, data["information"].values) >= SEEN  # a flux that nothing tells of is no peak
    peak = int(np.argmax(np.abs(flux) * (told if told.any() else 1.0)))
    strong = np.abs(flux) >= 0.5 * np.abs(flux[peak])
    duration = float(np.trapezoid(strong.astype(float), clock))
    at_peak = surface[peak] if form == "coefficient over temperature" else clock[peak]
    variable = "heat_flux" if form == "flux over time" else "coefficient"
    low, high = (np.interp(at_peak, points, data[f"{variable}_interval"].values[n]) for n in (0, 1))
    middle = float(np.interp(at_peak, points, data[variable].values))
    ratio = normal_quantile(0.9) / normal_quantile(level)
    half = (
        float(np.exp(0.5 * np.log(high / low) * ratio)) if low > 0 else 1.0 + 0.5 * abs((high - low) / middle) * ratio
    )
    lag = min(couple.lag for couple in recorder.couples)
    return {
        "noise": posterior.noise,
        "noise_of_record": reference,
        "chi_square": float((total**2).sum() / max(total.size - posterior.freedom, 1.0) / reference**2),
        # the noise of a short record is itself known to about 1/sqrt(count)
        "chi_square_limit": 1.5 + 4.0 / float(np.sqrt(total.size)),
        "autocorrelation": autocorrelation(residuals),
        "inflation": posterior.inflation,
        "seen_share": float(seen.mean()),
        "band_at_peak": half,
        "peak_at": float(at_peak),
        "peak_duration": duration,
        "nearest_depth": float(depth),
        "diffusion_time": float(
            depth**2 / (2.0 * _diffusivity(recorder.steel, 0.7 * recorder.initial_temperature)) + lag
        ),
    }


def _complaints(numbers: dict[str, float], is_converged: bool) -> list[str]:
    """What the user must know about the fit."""
    found = []
    if not is_converged:
        found.append(
            "the search ended before it had settled: the curve and its band are not final. Give fewer or other nodes, a shorter "
            "record (end_time), or check places and temperatures."
        )
    if (numbers["autocorrelation"] > CORRELATED and numbers["chi_square"] > 0.8) or numbers["chi_square"] > numbers[
        "chi_square_limit"
    ]:
        found.append(
            f"the residuals are not noise: correlation of neighbours {numbers['autocorrelation']:.2f}, chi-square per reading "
            f"{numbers['chi_square']:.2f}. Something that the model does not hold shows in the record (steel properties, places, lag, start "
            "time, a boundary that also changes in time); the band was widened for the correlation, not for the cause."
        )
    elif numbers["band_at_peak"] > WIDE or numbers["seen_share"] < 0.8:
        found.append(
            "the couples sit too deep to tell: "
            f"the nearest is {numbers['nearest_depth'] / milli:.3g} mm below the surface, a pulse of heat is felt there after "
            f"{numbers['diffusion_time']:.2g} s, the strong part of the quench lasts {numbers['peak_duration']:.2g} s; "
            f"the 90 % band at the highest flux is a factor {numbers['band_at_peak']:.2f} either way, and {100 * numbers['seen_share']:.0f} % "
            "of the curve was seen. Put a couple nearer to the surface, or use the curve only where is_seen."
        )
    return found


def fitted_boundary(fit: xr.Dataset, which: str = "middle") -> Any:
    """Boundary of a fit, for `heatq.simulate` and `heatq.trial`.

    Parameters
    ----------
    fit : Dataset
        Of `fit_boundary`.
    which : {"middle", "low", "high"}
        The fitted curve, or an edge of its band.

    Returns
    -------
    CoefficientTable or Ramp
        Without the ``known_part`` of the fit; add it again with ``+``.
    """
    check_name("which", which, ("middle", "low", "high"))
    form = fit.attrs.get("unknown") if hasattr(fit, "data_vars") else None
    if form not in FORMS:
        raise InputError("fit is not the result of fit_boundary(): its attribute 'unknown' is missing.")
    variable = "heat_flux" if form == "flux over time" else "coefficient"
    chosen = fit[variable] if which == "middle" else fit[f"{variable}_interval"].sel(bound=which)
    fluid = float(fit.attrs["fluid_temperature"])
    if form == "coefficient over temperature":
        return CoefficientTable(fit["surface_temperature"].values.tolist(), chosen.values.tolist(), fluid)
    times = fit["quench_time"].values
    times, first = np.unique(np.concatenate([[0.0], times]), return_index=True)
    values = np.concatenate([chosen.values[:1], chosen.values])[first]
    if form == "coefficient over time":
        return Ramp(Convection(1.0, fluid), times, coefficient=values)
    return Ramp(HeatFlux(1.0), times, flux=values)
