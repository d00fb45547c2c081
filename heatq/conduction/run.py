"""`simulate`: cool a piece and return its temperature histories."""

from __future__ import annotations

import datetime
import json
import time
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.conduction.bar import Progress
from heatq.conduction.march import march
from heatq.conduction.outcome import Variables, between_steps, variables_of
from heatq.conduction.state import Job, State
from heatq.conduction.tables import (
    check_faces,
    kinetics_of,
    material_of,
)
from heatq.errors import (
    AccuracyWarning,
    InputError,
    SolverError,
    check_number,
    collect_validity,
    hold_validity,
    note_validity,
)
from heatq.specimens import check_piece
from heatq.steels.steel import kept_with
from heatq.transformation.formulas import ac1_andrews_1965, ac3_andrews_1965
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["simulate", "solve"]

Array = npt.NDArray[np.float64]

#: Step tolerance (K, largest difference to the embedded first-order solution) per kelvin of wanted accuracy. Measured
#: on families of cases, see docs/explanation/time-stepping-and-error.md.
TOLERANCE_PER_ACCURACY = {"plain": 0.5, "transforming": 0.8}
#: A run with an error estimate starts with this many times the wanted accuracy as its working accuracy, which sets grid and
#: steps; the estimate tells where it has to be refined. The median error is a quarter of the working accuracy, a sixth where a
#: piece transforms in two dimensions. Chosen for the least work on families of cases that keep their accuracy in 99 % of them.
START = {"1-D": 1.3, "2-D": 2.0, "2-D, transforming": 2.8}
#: The run that it is held against is this many times coarser.
COARSER = 4.0
#: No refinement that is expected to take more than this many cells times steps (about half a minute) is begun.
MOST_WORK = 5e8


def simulate(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float,
    end_time: float,
    output_times: Sequence[float] | Array | None = None,
    probes: Any = None,
    accuracy: float = 0.5,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    fields_at: Sequence[float] | None = None,
    stop_below: float | None = None,
    cells: tuple[int, int] | None = None,
    step_tolerance: float | None = None,
    estimate_error: bool = True,
    progress: Progress = "auto",
) -> xr.Dataset:
    """Cool (or heat) a piece and return the histories at its probes.

    Parameters
    ----------
    specimen : EndQuenchBar, RoundBar or Tube
        The piece.
    steel : Steel or Material
        A `Steel` transforms while it cools (five phases, latent heat); a plain `Material` only conducts.
    boundaries : dict
        Face name -> boundary, anything with ``heat_flux(surface_temperature) -> W/m2``. Every face needs one.
    initial_temperature : float
        Uniform start temperature, degC.
    end_time : float
        s.
    output_times : sequence of float, optional
        Times (s) of the result; the default is every accepted time step. Values between steps are interpolated.
    probes : optional
        Names, `Probe` objects or a mapping name -> (r, z); the default is the piece's own list.
    accuracy : float
        Allowed error of the histories, K. Sets grid and time steps. An end of a bar that no probe feels gets few cells, so heat
        removed there is less exact; with ``fields_at`` it is resolved as finely as the rest.
    coupled : bool
        True: transformation and its heat act on the temperature. False: the piece cools as austenite throughout, and
        `heatq.transform` may be laid over the histories afterwards.
    kinetics : str or Kinetics
        "published" (nothing fitted), "calibrated", or your own `heatq.Kinetics`; see the page on which model for which steel.
    fields_at : sequence of float, optional
        Times (s) at which the whole temperature and fraction fields are kept.
    stop_below : float, optional
        End the run before ``end_time`` once the whole piece is below this temperature, degC.
    cells : (int, int), optional
        Cells across the radius and along the length instead of the choice by ``accuracy``.
    step_tolerance : float, optional
        Local tolerance of a time step, K, instead of the choice by ``accuracy``.
    estimate_error : bool
        Start with a run that is expected to be about as good as ``accuracy``, repeat it four times coarser, estimate the error
        from the difference, and refine if it exceeds ``accuracy``. False: one run with a margin, without proof. Off with
        ``cells`` or ``step_tolerance``.
    progress : {"auto", True, False} or callable
        A bar on the terminal for runs longer than 2 s, always, never, or ``callable(fraction, simulated_time)``.

    Returns
    -------
    xarray.Dataset
        ``temperature(time, probe)`` degC; ``fraction(phase, probe)`` at the end and ``fraction_history(phase, time,
        probe)``; ``formation_temperature(phase, probe)`` degC; ``heat_removed(face, time)`` J; with ``fields_at`` also
        ``temperature_field(field_time, z, r)`` and ``fraction_field(phase, field_time, z, r)``. Attributes hold the
        settings, sources, warnings, energy residual and timing.

    Raises
    ------
    InputError
        For anything impossible in the arguments; the message names argument, value and cure.
    SolverError
        When a time step fails; ``partial`` holds the histories so far.

    Examples
    --------
    >>> import heatq as hq
    >>> metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    >>> bath = hq.Convection(coefficient=2000.0, fluid_temperature=20.0)
    >>> run = hq.simulate(hq.RoundBar(diameter=0.0254), metal, {"side": bath}, initial_temperature=850.0,
    ...                   end_time=24.8387, output_times=[24.8387], accuracy=0.1)
    >>> bool(abs(run.temperature.sel(probe="centre")[-1] - 266.0) < 0.1)  # exact series: 266.0
    True
    """
    import xarray as xr

    with collect_validity():  # outermost, so that a warning points at the caller
        variables, coords, attrs = solve(
            specimen,
            steel,
            boundaries,
            initial_temperature=initial_temperature,
            end_time=end_time,
            output_times=output_times,
            probes=probes,
            accuracy=accuracy,
            coupled=coupled,
            kinetics=kinetics,
            fields_at=fields_at,
            stop_below=stop_below,
            cells=cells,
            step_tolerance=step_tolerance,
            estimate_error=estimate_error,
            progress=progress,
        )
    return xr.Dataset(variables, coords, attrs)


def solve(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float,
    end_time: float,
    output_times: Sequence[float] | Array | None = None,
    probes: Any = None,
    accuracy: float = 0.5,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    fields_at: Sequence[float] | None = None,
    stop_below: float | None = None,
    cells: tuple[int, int] | None = None,
    step_tolerance: float | None = None,
    estimate_error: bool = True,
    progress: Progress = "auto",
) -> tuple[Variables, Variables, dict[str, Any]]:
    """What `simulate` does, as variables, coordinates and attributes of a Dataset that is yet to be made."""
    initial_temperature = check_number("initial_temperature", initial_temperature, "initial_temperature")
    end_time = check_number("end_time", end_time, "end_time")
    accuracy = check_number("accuracy", accuracy, "accuracy")
    wanted = _check_times("output_times", output_times, end_time)
    field_times = _check_times("fields_at", fields_at, end_time)
    check_piece(specimen)
    if not hasattr(material_of(steel), "phases"):
        raise InputError(f"steel = {steel!r} is neither a Steel nor a Material: write for instance grade('4140').")
    if stop_below is not None:
        stop_below = check_number("stop_below", stop_below, "temperature")
    if step_tolerance is not None:
        step_tolerance = check_number(
            "step_tolerance", step_tolerance, "accuracy", low=1e-6, hint="It is a temperature in K."
        )
    if cells is not None and not (
        isinstance(cells, Sequence) and len(cells) == 2 and all(isinstance(n, int) and n >= 1 for n in cells)
    ):
        raise InputError(f"cells = {cells!r} must be two whole numbers: cells across the radius and along the length.")
    if not (callable(progress) or progress in ("auto", True, False)):
        raise InputError(f"progress = {progress!r} must be 'auto', True, False or a function of fraction and time.")
    places = specimen.resolve_probes(probes)
    started = time.perf_counter()
    with collect_validity() as notes:
        with hold_validity():  # tables reach far beyond the run; what the run visits is checked below
            job = Job(
                specimen,
                steel,
                coupled,
                kinetics,
                check_faces(specimen, boundaries),
                initial_temperature,
                end_time,
                places,
                is_whole=field_times is not None,
            )
            is_estimated = estimate_error and cells is None and step_tolerance is None
            working = _start(job) * accuracy if is_estimated else accuracy
            state = job.state(working, cells)
            tolerance = _tolerance(state, working) if step_tolerance is None else step_tolerance
            other = _coarser(job, state, working) if is_estimated else None
            is_short = specimen.length is None and field_times is None and not (callable(progress) or progress is True)
            beside = other if is_short else None
            outcome = march(state, tolerance, end_time, field_times, progress, stop_below, beside)
            estimate = float("nan")
            if is_estimated and outcome == "finished":
                try:
                    if other is not None and not is_short:
                        _judge(*other, end_time, None, stop_below)
                    state, tolerance, estimate = _refine(job, state, other, accuracy, wanted, field_times, stop_below)
                except KeyboardInterrupt:  # the run itself is whole; only what was to judge it is missing
                    outcome = "interrupted"
        low, high = state.clock[4], state.clock[5]
        if job.known.is_outside(low, high):
            visited = np.linspace(low, high, 50)
            for _, boundary in state.tables.boundaries:
                boundary.heat_flux(visited)
        check_range = getattr(job.material, "check_range", None)
        if check_range is not None:
            check_range(low, high)
        note_validity("temperature", "lowest temperature", low, -200.0, 1450.0, "degC", "range of the tables")
        if state.transforms:
            kinetics_of(steel, coupled, kinetics)  # says the notes of the kinetics again
            start = kept_with(steel, _austenite_above)
            note_validity(
                "kinetics", "initial temperature", initial_temperature, start, 1100.0, "degC", "Ac3, grain growth"
            )
        settings = {
            "specimen": repr(specimen),
            "steel": kept_with(steel, repr),
            "boundaries": {face: repr(boundary) for face, boundary in boundaries.items()},
            "initial_temperature": initial_temperature,
            "end_time": end_time,
            "accuracy": accuracy,
            "coupled": bool(state.transforms),
            "kinetics": kinetics if isinstance(kinetics, str) else repr(kinetics),
            "cells": list(state.grid.shape),
            "step_tolerance": tolerance,
        }
        failure = ""
        if outcome not in ("finished", "interrupted"):
            failure = _failure(state, outcome)
        variables, coords = variables_of(state, specimen, places, wanted, end_time)
        attrs = {
            "heatq_version": __version__,
            "created": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            "settings": json.dumps(settings),
            "sources": json.dumps(list(getattr(job.material, "sources", ()))),
            "warnings": json.dumps(list(notes.values())),
            "status": failure or outcome,
            "estimated_error": estimate,
            "energy_residual": state.energy_residual(),
            "n_steps": int(state.clock[2]),
            "n_rejected": int(state.clock[3]),
            "compile_seconds": state.compile_seconds,
            "solve_seconds": state.solve_seconds,
            "total_seconds": time.perf_counter() - started,
        }
        if failure:
            import xarray as xr

            raise SolverError(failure, partial=xr.Dataset(variables, coords, attrs))
    if estimate > accuracy:
        warnings.warn(
            f"the estimated error of the histories is {estimate:.2g} K, above the accuracy of {accuracy:g} K that was asked for, "
            "after refining as far as is sensible; look at the histories, or ask for less accuracy.",
            AccuracyWarning,
            stacklevel=3,  # the caller of simulate
        )
    return variables, coords, attrs


def _austenite_above(steel: Any) -> float:
    """Temperature above which a steel is austenite, degC."""
    with hold_validity():
        return max(ac1_andrews_1965(steel), ac3_andrews_1965(steel))


def _tolerance(state: State, working: float) -> float:
    """Step tolerance for a working accuracy, both in K."""
    return working * TOLERANCE_PER_ACCURACY["transforming" if state.transforms else "plain"]


def _start(job: Job) -> float:
    """Working accuracy of the first run for an accuracy of 1 K."""
    if job.specimen.length is None:
        return START["1-D"]
    return START["2-D, transforming" if job.transforms else "2-D"]


def _coarser(job: Job, state: State, working: float) -> tuple[State, float] | None:
    """The run that the error is to be estimated with, and its tolerance; None if its grid would not be coarser."""
    other = job.state(COARSER * working)
    if max(fine / coarse for fine, coarse in zip(state.grid.shape, other.grid.shape, strict=True)) < 1.4:
        return None
    return other, _tolerance(other, COARSER * working)


def _refine(
    job: Job,
    state: State,
    coarser: tuple[State, float] | None,
    accuracy: float,
    wanted: Array | None,
    field_times: Array | None,
    stop_below: float | None,
) -> tuple[State, float, float]:
    """Estimate the error against a coarser run (Richardson, second order); refine until it fits.

    Grid spacing goes with the square root of the working accuracy and the time error with the accuracy itself, so both parts
    of the error are proportional to it. All times of the run count, so that the fractions that follow from them are as good;
    only where up to three refinements do not get there, and the piece does not transform, is it judged by the wanted times alone.
    """
    working = _start(job) * accuracy
    other_working = COARSER * working
    if coarser is None:
        other, estimate = state, np.inf  # both have the fewest cells that a grid may have: a finer run has to tell
    else:
        other, estimate = coarser[0], _difference(state, coarser[0]) / (COARSER - 1.0)
    for _ in range(3):
        if estimate <= accuracy:
            break
        # cells go with 1/accuracy in two dimensions and with its square root in one, steps with up to 1/accuracy; in two the
        # estimate of a coarse run, which may be several times the error, is not followed all the way at once (powers 1 to 0.4
        # were tried on short bars in water, end-quench bars and plain metals; 0.4 halves the work of the first and costs the others up to a fifth)
        flat = min(state.grid.shape) > 1
        ratio = 0.7 * accuracy / estimate
        finer = min(max(0.3, ratio**0.4) if flat else max(0.1, ratio), 0.5) if np.isfinite(estimate) else 0.5
        growth = finer ** (-2.0 if flat else -1.5)
        if state.grid.shape[0] * state.grid.shape[1] * float(state.clock[2] + state.clock[3]) * growth > MOST_WORK:
            break
        other, other_working = state, working
        working *= finer
        state = job.state(working)
        if _judge(state, _tolerance(state, working), job.end_time, field_times, stop_below) != "finished":
            return other, _tolerance(other, other_working), estimate
        state.solve_seconds += other.solve_seconds
        estimate = _difference(state, other) / (other_working / working - 1.0)
    if estimate > accuracy and wanted is not None and not state.transforms:
        estimate = _difference(state, other, wanted) / (other_working / working - 1.0)
    return state, _tolerance(state, working), estimate


def _judge(state: State, tolerance: float, end_time: float, field_times: Array | None, stop_below: float | None) -> str:
    """Run beside the run proper; an interrupt is not its own business but passed on."""
    status = march(state, tolerance, end_time, field_times, False, stop_below)
    if status == "interrupted":
        raise KeyboardInterrupt
    return status


def _difference(fine: State, coarse: State, wanted: Array | None = None) -> float:
    """Largest difference of the probe temperatures of two runs, K, at the given or up to 300 of the finer run's times.

    The coarse run's first two steps are left out: there its surface is only interpolated from the start.
    """
    last = 5 + fine.probe_tables[0].shape[0]
    a, b = fine.rows(), coarse.rows()
    early, late = b[min(2, len(b) - 1), 0], b[-1, 0]
    common = a[a[:, 0].searchsorted(early) : a[:, 0].searchsorted(late, side="right")]
    if len(common) == 0:
        return 0.0
    if wanted is not None:
        wanted = wanted[(wanted >= common[0, 0]) & (wanted <= common[-1, 0])]
        common = between_steps(a, wanted, fine.tables.knot_time)
    elif len(common) > 300:
        common = common[np.unique(np.linspace(0, len(common) - 1, 300).astype(int))]
    other = between_steps(b, common[:, 0], coarse.tables.knot_time, (5, last))
    return float(np.abs(common[:, 5:last] - other).max(initial=0.0))


def _failure(state: State, outcome: str) -> str:
    """What went wrong, where, and two things to try."""
    i, j = np.unravel_index(np.argmax(np.abs(state.temp - state.temp.mean())), state.temp.shape)
    why = "the time step became too small" if outcome == "step too small" else "the temperature is not finite"
    return (
        f"{why} at t = {state.clock[0]:.6g} s (step {state.clock[1]:.3g} s) near r = {state.grid.r[i]:.4g} m, "
        f"z = {state.grid.z[j]:.4g} m, where the temperature is {state.temp[i, j]:.6g} degC; "
        f"largest boundary flux in the tables {state.tables.largest_flux:.4g} W/m2. "
        "Try a larger accuracy (K), or look at the boundary's heat_flux for jumps and at the material for cp near zero."
    )


def _check_times(name: str, times: Sequence[float] | Array | None, end_time: float) -> Array | None:
    if times is None:
        return None
    try:
        values = np.atleast_1d(np.asarray(times, dtype=float))
    except (TypeError, ValueError):
        raise InputError(f"{name} = {times!r} must be a list of times in seconds.") from None
    if values.ndim != 1 or values.size == 0 or not np.isfinite(values).all():
        raise InputError(f"{name} must be a one-dimensional list of finite times in seconds.")
    if (np.diff(values) <= 0).any():
        raise InputError(f"{name} must increase strictly.")
    if values[0] < 0 or values[-1] > end_time * (1 + 1e-12):
        raise InputError(
            f"{name} reaches from {values[0]:g} to {values[-1]:g} s, outside 0 to end_time = {end_time:g} s."
        )
    return values
