"""`fit_boundary`: the heat-transfer coefficient or the heat flux at the surface, from couples inside the piece."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import check_boundary
from heatq.errors import InputError, check_name, check_number
from heatq.inverse.estimate import Posterior, estimate
from heatq.inverse.readings import Couple, Recorder, couples_of, initial_of, read_record, record_noise
from heatq.inverse.result import result_of, surface_course
from heatq.inverse.unknowns import FORMS, Unknown, choose_unknown
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["fit_boundary"]

Array = npt.NDArray[np.float64]

#: Nodes of the flux over time from which a coefficient starts.
HELPER_NODES = 20


def fit_boundary(
    log: xr.Dataset,
    specimen: Any,
    steel: Any,
    probes: Any = None,
    *,
    fluid_temperature: float | None = None,
    unknown: str = "coefficient over temperature",
    boundaries: Mapping[str, Any] | None = None,
    known_part: Any = None,
    thermocouples: Any = None,
    initial_temperature: float | None = None,
    start_time: float = 0.0,
    start_tolerance: float = 0.0,
    end_time: float | None = None,
    nodes: Sequence[float] | Array | None = None,
    noise: float | None = None,
    level: float = 0.9,
    accuracy: float = 0.5,
    cells: tuple[int, int] | None = None,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    workers: int | None = None,
) -> xr.Dataset:
    """Find the boundary at the surface of a piece from the readings of couples inside it, with its uncertainty.

    Parameters
    ----------
    log : Dataset
        ``temperature(time, probe)``, measured or simulated; gaps (NaN) are left out.
    specimen : EndQuenchBar, RoundBar or Tube
        The piece. Where the middle of a bar is meant and the ends do not matter, ``RoundBar(diameter)`` without a length
        is ten times faster.
    steel : Steel or Material
        With a `Steel` the latent heat is part of the model.
    probes : list or mapping channel -> place, optional
        Channels to use and where their junctions are: a name of the piece, a `Probe` or ``(r, z)`` in m. By default
        every channel, at the log's own ``r`` and ``z`` or the place of that name.
    fluid_temperature : float
        degC; needed for a coefficient.
    unknown : str
        "coefficient over temperature" (h of the surface temperature, for boiling), "coefficient over time" (h of the time,
        for a gas quench whose fan and pressure change) or "flux over time".
    boundaries : mapping face -> boundary, optional
        Faces whose boundary is known. All others share the unknown one.
    known_part : boundary, optional
        Acts on the unknown faces besides the unknown, such as `Radiation`.
    thermocouples : Thermocouple or mapping channel -> Thermocouple, optional
        Their ``lag`` (s) is part of the model; their ``position_tolerance`` (m, half width), the uncertainty of the lag and
        the calibration tolerance are part of the band. Left out: couples without fault.
    initial_temperature : float, optional
        degC; the default is the mean of the readings before ``start_time`` (or the first ones), with its uncertainty.
    start_time, end_time : float
        Start of the quench and last reading to use, in s of the log.
    start_tolerance : float
        Standard deviation of the start, s.
    nodes : sequence of float, optional
        Where the unknown may bend, degC or s; closer nodes allow it to change faster. Default: every 30 K between fluid and
        initial temperature; over time 30, closer at the start.
    noise : float, optional
        Standard deviation of one reading, K; found from the data if left out.
    level : float
        Probability of the band.
    accuracy : float
        Of the time steps of the runs, K.
    cells, coupled, kinetics
        As in `heatq.simulate`.
    workers : int, optional
        Threads; the default is one per processor.

    Returns
    -------
    Dataset
        ``coefficient`` (W/m2K) or ``heat_flux`` (W/m2) over ``surface_temperature`` (degC) or ``quench_time`` (s), with
        ``..._interval(bound, ...)``, ``information`` (ratio of the spread before the data to that after them, less 1) and
        ``is_seen``; ``measured``, ``fitted``, ``residual`` (time, probe); the corrections ``nuisance_value`` and
        ``nuisance_deviation`` (nuisance); attributes ``noise``, ``chi_square``, ``autocorrelation``, ``seen_share``,
        ``diffusion_time``, ``peak_duration``.

    Notes
    -----
    The whole record is fitted at once (whole-domain estimation, not a march with future times). The unknown is a cubic
    P-spline, its logarithm where it is a coefficient, with a Gaussian prior on second differences. **The strength of the
    prior is chosen by the marginal likelihood** of the record (as is the noise, unless it is given), and the band averages
    over the strength. The band is that of the posterior: noise, positions, lags, calibration, start, initial temperature,
    and what the smoothness hides. It does not hold errors of the steel's properties: 5 % of conductivity are about 5 % of h.
    Method: Eilers & Marx 1996 (P-splines), MacKay 1992 (marginal likelihood); whole-domain regularisation for this problem:
    Beck, Blackwell & St. Clair, Inverse Heat Conduction, Wiley 1985, ch. 4 (from memory).

    A lag that is left out, or a couple 0.5 mm off, moves h in a boiling peak by tens of per cent; a band from noise alone
    would be far too narrow.

    Examples
    --------
    >>> import heatq as hq
    >>> metal = hq.Material.constant(conductivity=25.0, density=7900.0, specific_heat=600.0)
    >>> bath = hq.Convection(coefficient=800.0, fluid_temperature=60.0)
    >>> log = hq.simulate(hq.RoundBar(0.03), metal, {"side": bath}, initial_temperature=850.0, end_time=60.0,
    ...                   output_times=np.arange(0.0, 60.0, 0.5), probes=["centre"])[["temperature"]]
    >>> fit = fit_boundary(log, hq.RoundBar(0.03), metal, ["centre"], fluid_temperature=60.0, nodes=[60, 250, 500, 850],
    ...                    noise=0.5)
    >>> bool(abs(fit.coefficient.sel(surface_temperature=400.0, method="nearest") / 800.0 - 1.0) < 0.02)
    True
    """
    form = check_name("unknown", unknown, FORMS)
    check_piece(specimen)
    check_number("level", level, low=0.5, high=0.999, unit="1", hint="For a 90 % band write 0.9.")
    check_number("accuracy", accuracy, "accuracy")
    check_number("start_tolerance", start_tolerance, "duration")
    if noise is not None:
        check_number("noise", noise, low=0.0, high=100.0, unit="K", low_open=True)
    if form != "flux over time":
        if fluid_temperature is None:
            raise InputError(
                "fluid_temperature is not given: a coefficient refers to it; state it in degC, or fit unknown='flux over time'."
            )
        check_number("fluid_temperature", fluid_temperature, "temperature")
    if known_part is not None:
        check_boundary("known_part", known_part)
    known = dict(boundaries or {})
    for face in known:
        check_name("face", face, specimen.faces, what=f"face of {type(specimen).__name__}")
    faces = [face for face in specimen.faces if face not in known]
    if not faces:
        raise InputError("boundaries names every face of the piece: leave out those whose boundary is to be found.")
    couples = couples_of(log, specimen, probes, thermocouples)
    record = read_record(log, [couple.channel for couple in couples], start_time, end_time)
    sigma = noise if noise is not None else record_noise(record)
    start, start_deviation = initial_of(record, initial_temperature, sigma)

    def recorder_of(wanted: Unknown, couples: list[Couple], **more: Any) -> Recorder:
        def boundaries_of(coefficients: Array) -> dict[str, Any]:
            found = wanted.boundary(coefficients)
            return {**known, **dict.fromkeys(faces, found if known_part is None else found + known_part)}

        settings: dict[str, Any] = {
            "accuracy": accuracy,
            "cells": cells,
            "coupled": coupled,
            "kinetics": kinetics,
            "workers": workers,
        }
        return Recorder(specimen, steel, start, record, couples, boundaries_of, wanted.curve.count, **settings, **more)

    target = choose_unknown(form, record, start, fluid_temperature, nodes, specimen, steel)
    recorder = recorder_of(target, couples, start_deviation=start_tolerance, initial_deviation=start_deviation)
    theta = np.zeros(recorder.count)
    if form != "flux over time":
        faultless = [
            dataclasses.replace(one, position_deviation=0.0, lag_deviation=0.0, calibration=None) for one in couples
        ]
        helper = choose_unknown("flux over time", record, start, fluid_temperature, None, specimen, steel, HELPER_NODES)
        theta[: target.curve.count] = _first_guess(recorder_of(helper, faultless), helper, target, faces[0], sigma)
    posterior = _solve(recorder, target, theta, noise, sigma)
    return result_of(recorder, posterior, target, faces, level, noise)


def _solve(recorder: Recorder, target: Unknown, theta: Array, noise: float | None, guess: float) -> Posterior:
    """Run the estimation."""
    centre = np.zeros(recorder.count)
    centre[: target.curve.count] = theta[: target.curve.count].mean()
    small = target.curve.count

    def precision(strength: float) -> Array:
        out = np.eye(recorder.count)
        out[:small, :small] = target.curve.precision(strength)
        return out

    return estimate(
        recorder.predict,
        recorder.readings,
        theta,
        precision,
        centre,
        noise=noise,
        guess=guess,
        channels=recorder.channels,
    )


def _first_guess(recorder: Recorder, helper: Unknown, target: Unknown, face: str, noise: float) -> Array:
    """Coefficients to start from: a flux over time by a few steps, which is nearly linear, turned into a coefficient.

    A coefficient over temperature feeds back on itself, so that Gauss-Newton from a constant one takes twenty steps.
    """
    zero = np.zeros(helper.curve.count)
    found = estimate(
        recorder.predict,
        recorder.readings,
        zero,
        helper.curve.precision,
        zero,
        guess=noise,
        channels=recorder.channels,
        most_iterations=3,
        largest_step=10.0,
        tolerance=50.0,
    )
    course = surface_course(recorder, found.mean, face)
    times, surface = course["time"].values, course["temperature"].values
    assert target.fluid_temperature is not None
    above = surface - target.fluid_temperature
    flux = helper.value(times, found.mean)
    usable = np.abs(above) > 0.02 * np.abs(above).max()
    coefficient = flux[usable] / above[usable]
    where = surface[usable] if target.form == "coefficient over temperature" else times[usable]
    # the flux found so far errs by a share of its highest value: small and negative ones tell little of a logarithm
    weight = np.clip(flux[usable] * np.sign(above[usable]) / (0.1 * np.abs(flux).max()), 0.0, 1.0) ** 2
    told = weight > 0.0
    if not told.any():
        return np.full(target.curve.count, np.log(100.0))
    logarithm = np.log(np.clip(coefficient[told], 1.0, 1e5))
    matrix, weight = target.curve.basis(where[told]), weight[told]
    normal = matrix.T @ (weight[:, None] * matrix) + 0.1 * target.curve.precision(1.0)
    middle = float(np.median(logarithm))
    return middle + np.linalg.solve(normal, matrix.T @ (weight * (logarithm - middle)))
