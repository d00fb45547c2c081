"""`calibrate`: what a furnace does compared with a correlation, from the logs of several quenches."""

from __future__ import annotations

import dataclasses
import json
import warnings
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import bar

from heatq._version import __version__
from heatq.errors import AccuracyWarning, InputError, check_name, check_number
from heatq.inverse.estimate import Posterior, autocorrelation, estimate
from heatq.inverse.laws import LAWS, Law, correct, normal_quantile, regressors, streams_of
from heatq.inverse.readings import Recorder, couples_of, initial_of, read_record, record_noise
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["CalibrationRun", "calibrate"]

Array = npt.NDArray[np.float64]

#: Spread (standard deviation) before the logs of the factor's logarithm and of a change of exponent. The exponents of
#: forced convection on cylinders, plates and in ducts lie between 0.5 and 0.8.
FACTOR_SPREAD, EXPONENT_SPREAD = np.log(10.0), 0.15
#: Candidates for the spread from run to run of one furnace at one setting (standard deviation of the logarithm of h).
REPEATABILITY = np.geomspace(0.005, 0.5, 14)


@dataclasses.dataclass(frozen=True)
class CalibrationRun:
    """One quench of a furnace: its log, the piece, and the boundary as the correlation has it.

    Parameters
    ----------
    log : Dataset
        ``temperature(time, probe)``.
    specimen, steel
        The piece that carried the couples.
    boundaries : mapping face -> boundary
        With the pressure and velocity of this run: `GasCrossflow`, `GasAlong`, `GasJet`, ramps, stages and sums of them.
        What has a pressure and a velocity is corrected; radiation and the like stay.
    probes, thermocouples, initial_temperature, start_time, end_time, start_tolerance
        As in `fit_boundary`.
    """

    log: Any
    specimen: Any
    steel: Any
    boundaries: Mapping[str, Any]
    probes: Any = None
    thermocouples: Any = None
    initial_temperature: float | None = None
    start_time: float = 0.0
    end_time: float | None = None
    start_tolerance: float = 0.0

    def __post_init__(self) -> None:
        check_piece(self.specimen)
        if not isinstance(self.boundaries, Mapping):
            raise InputError("boundaries of a CalibrationRun must be a dict from face to boundary.")


class _Problem:
    """All runs together: unknowns are the law, one deviation per run, and the nuisances of every run."""

    def __init__(self, runs: Mapping[str, CalibrationRun], names: tuple[str, ...], settings: dict[str, Any]) -> None:
        self.labels, self.names = list(runs), names
        self.settings_of: list[tuple[float, float]] = []
        for label, run in runs.items():
            streams = [stream for boundary in run.boundaries.values() for stream in streams_of(boundary)]
            if not streams:
                raise InputError(
                    f"run {label!r}: none of its boundaries has a pressure and a velocity; use GasCrossflow, GasAlong or GasJet."
                )
            self.settings_of.append((float(streams[-1].pressure), float(streams[-1].velocity)))
        p, v = np.array(self.settings_of).T
        self.reference = (float(np.exp(np.log(p).mean())), float(np.exp(np.log(np.maximum(v, 1e-6)).mean())))
        self.table = table = np.array([regressors(names, a, b, self.reference) for a, b in self.settings_of])
        if np.linalg.matrix_rank(table, tol=0.05) < table.shape[1]:
            raise InputError(
                f"the runs do not tell {' from '.join(('the factor', *names))}: they need different settings "
                f"(at {', '.join(f'{a / bar:g} bar {b:g} m/s' for a, b in self.settings_of)}); use a law with fewer unknowns."
            )
        self.law_count = len(names) + 1
        self.recorders: list[Recorder] = []
        self.noises: list[float] = []
        for run in runs.values():
            couples = couples_of(run.log, run.specimen, run.probes, run.thermocouples)
            record = read_record(run.log, [one.channel for one in couples], run.start_time, run.end_time)
            noise = record_noise(record)
            start, deviation = initial_of(record, run.initial_temperature, noise)
            self.noises.append(noise)
            self.recorders.append(
                Recorder(
                    run.specimen,
                    run.steel,
                    start,
                    record,
                    couples,
                    self._boundaries_of(run),
                    self.law_count,
                    start_deviation=run.start_tolerance,
                    initial_deviation=deviation,
                    nudged=1,
                    **settings,
                )
            )
        first = self.law_count + len(self.labels)
        ends = first + np.cumsum([0, *(len(one.nuisances) for one in self.recorders)])
        self.nuisance_slices = [slice(int(a), int(b)) for a, b in zip(ends[:-1], ends[1:], strict=True)]
        self.count = int(ends[-1])

    def _boundaries_of(self, run: CalibrationRun) -> Callable[[Array], dict[str, Any]]:
        def boundaries_of(coefficients: Array) -> dict[str, Any]:
            law = Law(self.names, coefficients, self.reference)
            return {face: correct(boundary, law) for face, boundary in run.boundaries.items()}

        return boundaries_of

    def of_run(self, theta: Array, n: int) -> Array:
        """Unknowns of one run: the law with the run's own deviation in its factor, then its nuisances."""
        law = theta[: self.law_count].copy()
        law[0] += theta[self.law_count + n]
        return np.concatenate([law, theta[self.nuisance_slices[n]]])

    def model(self, used: list[int]) -> Callable[[Array, bool], tuple[Array, Array | None]]:
        """Readings of the runs in use and their derivatives."""

        def predict(theta: Array, with_jacobian: bool) -> tuple[Array, Array | None]:
            predictions, blocks = [], []
            for n in used:
                predicted, own = self.recorders[n].predict(self.of_run(theta, n), with_jacobian)
                predictions.append(predicted)
                if own is not None:
                    block = np.zeros((predicted.size, self.count))
                    # only the factor is nudged: a run knows its exponents through its own factor alone, and unequal errors
                    # of two differences would look like knowledge
                    block[:, : self.law_count] = own[:, :1] * self.table[n]
                    block[:, self.law_count + n] = own[:, 0]
                    block[:, self.nuisance_slices[n]] = own[:, self.law_count :]
                    blocks.append(block)
            return np.concatenate(predictions), np.concatenate(blocks) if blocks else None

        return predict

    def precision(self, repeatability: float) -> Array:
        """Prior precision of all unknowns."""
        diagonal = np.ones(self.count)
        diagonal[0] = 1.0 / FACTOR_SPREAD**2
        diagonal[1 : self.law_count] = 1.0 / EXPONENT_SPREAD**2
        diagonal[self.law_count : self.law_count + len(self.labels)] = 1.0 / repeatability**2
        return np.diag(diagonal)

    def solve(self, used: list[int], start: Array, strengths: Array) -> Posterior:
        """Fit the runs in use."""
        readings = np.concatenate([self.recorders[n].readings for n in used])
        channels, offset = [], 0
        for n in used:
            channels += [slice(part.start + offset, part.stop + offset) for part in self.recorders[n].channels]
            offset += int(self.recorders[n].record.mask.sum())
        return estimate(
            self.model(used),
            readings,
            start,
            self.precision,
            np.zeros(self.count),
            strengths=strengths,
            guess=float(np.median(self.noises)),
            channels=channels,
        )


def calibrate(
    runs: Mapping[str, CalibrationRun],
    *,
    law: str = "factor and exponent",
    repeatability: float | None = None,
    level: float = 0.9,
    accuracy: float = 0.5,
    cells: tuple[int, int] | None = None,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    workers: int | None = None,
) -> xr.Dataset:
    """Fit a furnace over several logs: h = correlation x factor x (p v / reference)^change of exponent.

    Parameters
    ----------
    runs : mapping name -> CalibrationRun
        At least two; three or more pressures are worth far more than several runs at one.
    law : str
        "factor", "factor and exponent" (one change of exponent for pressure times velocity, which is what a Reynolds number
        asks for) or "separate exponents" (pressures and velocities must both vary, and not together).
    repeatability : float, optional
        Standard deviation of ln h from run to run at one setting, if it is known; 0.05 is 5 %. Left out, it is averaged over
        by marginal likelihood, which with three runs leaves it wide.
    level : float
        Probability of the intervals.
    accuracy, cells, coupled, kinetics, workers
        As in `fit_boundary`.

    Returns
    -------
    Dataset
        ``value(parameter)`` (factor, changes of exponent) with ``interval(bound, parameter)`` and ``covariance`` of
        (ln factor, exponents); per run ``run_factor`` (h over correlation, own deviation included) with its interval,
        ``pressure``, ``velocity``, ``rms_residual`` K, and from the fit without that run ``left_out_rms`` K (its readings
        against the prediction), ``left_out_factor`` (predicted over found). Pass it to `furnace_boundary`.

    Notes
    -----
    All readings are fitted at once with the conduction of the piece, latent heat, lags and positions in the model. Unknown are
    the law, one deviation per run and the faults of the couples. An exponent changes by +-0.15 (standard deviation)
    before the logs. A prediction includes the spread from run to run.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> metal = hq.Material.constant(conductivity=25.0, density=7900.0, specific_heat=600.0)
    >>> def quench(pressure, factor=1.0):
    ...     flow = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=pressure * bar, temperature=40.0, turbulence_factor=factor)
    ...     return {"side": flow}
    >>> runs = {}
    >>> for p in (2.0, 8.0):
    ...     log = hq.simulate(hq.RoundBar(0.03), metal, quench(p, 1.3), initial_temperature=850.0, end_time=300.0,
    ...                       output_times=np.arange(0.0, 300.0, 5.0), probes=["centre"])[["temperature"]]
    ...     runs[f"{p:g} bar"] = CalibrationRun(log, hq.RoundBar(0.03), metal, quench(p), initial_temperature=850.0)
    >>> found = calibrate(runs)
    >>> bool(abs(found.value.sel(parameter="factor") - 1.3) < 0.02)
    True
    """
    check_name("law", law, LAWS)
    check_number("level", level, low=0.5, high=0.999, unit="1", hint="For a 90 % band write 0.9.")
    if not isinstance(runs, Mapping) or len(runs) < 2 or not all(isinstance(r, CalibrationRun) for r in runs.values()):
        raise InputError("runs must map at least two names to CalibrationRun objects; for one log use fit_boundary().")
    if repeatability is not None:
        check_number("repeatability", repeatability, low=1e-4, high=1.0, unit="1", hint="5 % is 0.05.")
    strengths = REPEATABILITY if repeatability is None else np.array([repeatability])
    settings = {"accuracy": accuracy, "cells": cells, "coupled": coupled, "kinetics": kinetics, "workers": workers}
    problem = _Problem(runs, LAWS[law], settings)
    everything = list(range(len(runs)))
    posterior = problem.solve(everything, np.zeros(problem.count), strengths)
    left_out = _leave_one_out(problem, posterior, strengths) if len(runs) > problem.law_count else None
    return _dataset(problem, posterior, strengths, left_out, law, level)


def _leave_one_out(problem: _Problem, posterior: Posterior, strengths: Array) -> tuple[Array, Array]:
    """For every run, from a fit without it: rms of its readings against the prediction, K, and predicted over found factor."""
    k = problem.law_count
    rms, ratio = np.full(len(problem.labels), np.nan), np.full(len(problem.labels), np.nan)
    for n, (p, v) in enumerate(problem.settings_of):
        rest = [m for m in range(len(problem.labels)) if m != n]
        start = posterior.mean.copy()
        start[k + n] = 0.0
        start[problem.nuisance_slices[n]] = 0.0
        without = problem.solve(rest, start, strengths).mean
        without[k + n] = 0.0
        without[problem.nuisance_slices[n]] = 0.0
        recorder = problem.recorders[n]
        predicted, _ = recorder.predict(problem.of_run(without, n), False)
        rms[n] = float(np.sqrt(((recorder.readings - predicted) ** 2).mean()))
        x = regressors(problem.names, p, v, problem.reference)
        ratio[n] = float(np.exp(x @ without[:k] - x @ posterior.mean[:k] - posterior.mean[k + n]))
    return rms, ratio


def _dataset(
    problem: _Problem,
    posterior: Posterior,
    strengths: Array,
    left_out: tuple[Array, Array] | None,
    law: str,
    level: float,
) -> xr.Dataset:
    """The labelled result, with its warnings."""
    import xarray as xr

    k, count = problem.law_count, len(problem.labels)
    z = normal_quantile(level)
    names = ["factor", *(f"exponent of {name}" for name in problem.names)]
    mean, covariance = posterior.mean[:k], posterior.covariance[:k, :k]
    spread = np.sqrt(np.diag(covariance))
    value = np.concatenate([[np.exp(mean[0])], mean[1:]])
    band = np.array([mean - z * spread, mean + z * spread])
    band[:, 0] = np.exp(band[:, 0])
    own, own_spread, rms = np.empty(count), np.empty(count), np.empty(count)
    residuals, offset = [], 0
    for n, (p, v) in enumerate(problem.settings_of):
        pick = np.zeros(problem.count)
        pick[:k] = regressors(problem.names, p, v, problem.reference)
        pick[k + n] = 1.0
        own[n], own_spread[n] = pick @ posterior.mean, np.sqrt(pick @ posterior.covariance @ pick)
        recorder = problem.recorders[n]
        size = int(recorder.record.mask.sum())
        miss = recorder.readings - posterior.fitted[offset : offset + size]
        offset += size
        rms[n] = np.sqrt((miss**2).mean())
        residuals += [miss[part] for part in recorder.channels]
    scatter = float(np.sqrt(posterior.strength_weights @ strengths**2))
    pressures, velocities = np.array(problem.settings_of).T
    one = {"units": "1"}
    data = xr.Dataset(
        {
            "value": ("parameter", value, {**one, "long_name": "fitted parameter of the law"}),
            "interval": (("bound", "parameter"), band, {**one, "long_name": f"{100 * level:g} % interval"}),
            "covariance": (
                ("parameter", "other"),
                covariance,
                {**one, "long_name": "covariance of ln factor and exponents"},
            ),
            "run_factor": ("run", np.exp(own), {**one, "long_name": "h over correlation in this run"}),
            "run_factor_interval": (
                ("bound", "run"),
                np.exp(np.array([own - z * own_spread, own + z * own_spread])),
                {**one, "long_name": f"{100 * level:g} % interval"},
            ),
            "rms_residual": ("run", rms, {"units": "K", "long_name": "rms of measured minus fitted"}),
        },
        coords={
            "parameter": names,
            "other": names,
            "bound": ["low", "high"],
            "run": problem.labels,
            "pressure": ("run", pressures, {"units": "Pa", "long_name": "pressure"}),
            "velocity": ("run", velocities, {"units": "m/s", "long_name": "velocity"}),
        },
    )
    if left_out is not None:
        data["left_out_rms"] = (
            "run",
            left_out[0],
            {"units": "K", "long_name": "rms of measured minus predicted without this run"},
        )
        data["left_out_factor"] = (
            "run",
            left_out[1],
            {**one, "long_name": "predicted without this run over found in it"},
        )
    correlation = autocorrelation(residuals)
    complaints = []
    worst = float(rms.max()) / float(np.median(problem.noises))
    if worst > 3.0:
        label = problem.labels[int(np.argmax(rms))]
        complaints.append(
            f"run {label!r}: the residual of {rms.max():.1f} K is {worst:.0f} times the noise of the record: a constant factor on the "
            "correlation does not describe this quench. Look at fit_boundary(unknown='coefficient over time') of its log; the gas may "
            "warm up, the pressure may rise slowly, or the couples may sit elsewhere."
        )
    data.attrs = {
        "heatq_version": __version__,
        "law": law,
        "level": level,
        "reference_pressure": problem.reference[0],
        "reference_velocity": problem.reference[1],
        "repeatability": scatter,
        "noise": posterior.noise,
        "autocorrelation": correlation,
        "inflation": posterior.inflation,
        "iterations": posterior.iterations,
        "is_converged": int(posterior.is_converged),
        "warnings": json.dumps(complaints),
    }
    for complaint in complaints:
        warnings.warn(complaint, AccuracyWarning, stacklevel=3)
    return data
