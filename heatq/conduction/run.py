"""`simulate`: cool a piece and return its temperature histories."""

from __future__ import annotations

import datetime
import itertools
import json
import logging
import sys
import time
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.conduction.grid import Grid, make_grid, probe_weights
from heatq.conduction.tables import (
    boundary_tables,
    check_faces,
    grid_demands,
    kinetics_of,
    material_of,
    thermal_table,
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
from heatq.history import rates_of
from heatq.specimens import check_piece
from heatq.transformation.formulas import ac1_andrews_1965, ac3_andrews_1965
from heatq.transformation.kinetics import PHASES
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["simulate"]

log = logging.getLogger("heatq")

Array = npt.NDArray[np.float64]
Progress = str | bool | Callable[[float, float], None]

#: Step tolerance (K, largest difference to the embedded first-order solution) per kelvin of wanted accuracy. Measured
#: on families of cases, see docs/explanation/time-stepping-and-error.md.
TOLERANCE_PER_ACCURACY = 0.8
#: A run with an error estimate starts with this many times the wanted accuracy as its working accuracy, which sets grid and
#: steps: the median error is a quarter of the working accuracy, and the estimate tells where it has to be refined.
START = 2.0
ROWS = 256
#: Codes of the kernel, in its order; it is not imported here so that heatq starts without the compiler.
COLD, BUFFER_FULL, STEP_TOO_SMALL = 1, 2, 3


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
        Allowed error of the histories, K. Sets grid and time steps.
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
            job = _Job(
                specimen,
                steel,
                coupled,
                kinetics,
                check_faces(specimen, boundaries),
                initial_temperature,
                end_time,
                places,
            )
            is_estimated = estimate_error and cells is None and step_tolerance is None
            working = START * accuracy if is_estimated else accuracy
            state = job.state(working, cells)
            tolerance = working * TOLERANCE_PER_ACCURACY if step_tolerance is None else step_tolerance
            outcome = _march(state, tolerance, end_time, field_times, progress, stop_below)
            estimate = float("nan")
            if is_estimated and outcome == "finished":
                try:
                    state, tolerance, estimate = _refine(job, state, accuracy, wanted, field_times, stop_below)
                except KeyboardInterrupt:  # the run itself is whole; only what was to judge it is missing
                    outcome = "interrupted"
        low, high = state.clock[4], state.clock[5]
        visited = np.linspace(low, high, 50)
        for _, boundary in state.tables.boundaries:
            boundary.heat_flux(visited)
        check_range = getattr(job.material, "check_range", None)
        if check_range is not None:
            check_range(low, high)
        note_validity("temperature", "lowest temperature", low, -200.0, 1450.0, "degC", "range of the tables")
        if state.transforms:
            kinetics_of(steel, coupled, kinetics)  # says the notes of the kinetics again
            with hold_validity():
                start = max(ac1_andrews_1965(steel), ac3_andrews_1965(steel))
            note_validity(
                "kinetics", "initial temperature", initial_temperature, start, 1100.0, "degC", "Ac3, grain growth"
            )
        settings = {
            "specimen": repr(specimen),
            "steel": repr(steel),
            "boundaries": {face: repr(boundary) for face, boundary in boundaries.items()},
            "initial_temperature": initial_temperature,
            "end_time": end_time,
            "accuracy": accuracy,
            "coupled": bool(state.transforms),
            "kinetics": kinetics if isinstance(kinetics, str) else repr(kinetics),
            "cells": list(state.grid.shape),
            "step_tolerance": tolerance,
        }
        result = _dataset(state, specimen, places, wanted, field_times, end_time)
        result.attrs = {
            "heatq_version": __version__,
            "created": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            "settings": json.dumps(settings),
            "sources": json.dumps(list(getattr(job.material, "sources", ()))),
            "warnings": json.dumps(list(notes.values())),
            "status": outcome,
            "estimated_error": estimate,
            "energy_residual": state.energy_residual(),
            "n_steps": int(state.clock[2]),
            "n_rejected": int(state.clock[3]),
            "compile_seconds": state.compile_seconds,
            "solve_seconds": state.solve_seconds,
            "total_seconds": time.perf_counter() - started,
        }
        if outcome not in ("finished", "interrupted"):
            raise SolverError(outcome, partial=result)
    if estimate > accuracy:
        warnings.warn(
            f"the estimated error of the histories is {estimate:.2g} K, above the accuracy of {accuracy:g} K that was asked for, "
            "after three refinements; look at the histories, or ask for a smaller accuracy.",
            AccuracyWarning,
            stacklevel=2,
        )
    return result


class _Job:
    """What stays the same when a run is repeated on another grid."""

    def __init__(
        self,
        specimen: Any,
        steel: Any,
        coupled: bool,
        kinetics: Any,
        sides: Mapping[str, Any],
        initial_temperature: float,
        end_time: float,
        places: list,
    ) -> None:
        self.specimen, self.places, self.sides = specimen, places, sides
        self.initial_temperature, self.end_time = initial_temperature, end_time
        self.material = material_of(steel)
        self.transforms, self.kinetics = kinetics_of(steel, coupled, kinetics)
        if self.transforms:
            ac1 = ac1_andrews_1965(steel)
            if initial_temperature < ac1:
                raise InputError(
                    f"initial_temperature = {initial_temperature:g} degC is below Ac1 = {ac1:.0f} degC of the steel: it would "
                    "not be austenite, and heating is not modelled. Start above Ac3, or pass a plain Material."
                )
        self.thermal = thermal_table(self.material)
        row = int(np.clip(np.searchsorted(GRID, initial_temperature), 0, len(GRID) - 1))
        self.conductivity = float(self.thermal[row, 9])
        self.demands = grid_demands(specimen, sides, places, initial_temperature, end_time)

    def state(self, accuracy: float, cells: tuple[int, int] | None = None) -> _State:
        """Start state on the grid for an accuracy."""
        grid = make_grid(
            self.specimen,
            accuracy,
            cells,
            demands=self.demands,
            conductivity=self.conductivity,
            is_transforming=bool(self.transforms),
        )
        return _State(self, grid, boundary_tables(self.specimen, self.sides, grid, self.end_time))


def _refine(
    job: _Job,
    state: _State,
    accuracy: float,
    wanted: Array | None,
    field_times: Array | None,
    stop_below: float | None,
) -> tuple[_State, float, float]:
    """Estimate the error against a coarser run (Richardson, second order); refine until it fits.

    Grid spacing goes with the square root of the working accuracy and the time error with the accuracy itself, so both parts
    of the error are proportional to it. All times of the run count, so that the fractions that follow from them are as good;
    only where three refinements do not get there, and the piece does not transform, is it judged by the wanted times alone.
    """
    working = START * accuracy
    estimate = np.inf
    for factor in (4.0, 2.0):  # the nearer, dearer run only where the cheap one is too far off to tell
        if estimate > accuracy:
            other_working = factor * working
            other = job.state(other_working)
            _judge(other, other_working * TOLERANCE_PER_ACCURACY, job.end_time, None, stop_below)
            estimate = _difference(state, other) / (other_working / working - 1.0)
    for _ in range(3):
        if estimate <= accuracy:
            break
        other, other_working = state, working
        working *= max(0.1, 0.7 * accuracy / estimate)
        state = job.state(working)
        if _judge(state, working * TOLERANCE_PER_ACCURACY, job.end_time, field_times, stop_below) != "finished":
            return other, other_working * TOLERANCE_PER_ACCURACY, estimate
        state.solve_seconds += other.solve_seconds
        estimate = _difference(state, other) / (other_working / working - 1.0)
    if estimate > accuracy and wanted is not None and not state.transforms:
        estimate = _difference(state, other, wanted) / (other_working / working - 1.0)
    return state, working * TOLERANCE_PER_ACCURACY, estimate


def _judge(
    state: _State, tolerance: float, end_time: float, field_times: Array | None, stop_below: float | None
) -> str:
    """Run beside the run proper; an interrupt is not its own business but passed on."""
    status = _march(state, tolerance, end_time, field_times, False, stop_below)
    if status == "interrupted":
        raise KeyboardInterrupt
    return status


def _difference(fine: _State, coarse: _State, wanted: Array | None = None) -> float:
    """Largest difference of the probe temperatures of two runs, K, at the given or up to 300 of the finer run's times.

    The coarse run's first two steps are left out: there its surface is only interpolated from the start.
    """
    count = fine.probe_tables[0].shape[0]
    a, b = np.concatenate(fine.records), np.concatenate(coarse.records)
    common = a[(a[:, 0] >= b[min(2, len(b) - 1), 0]) & (a[:, 0] <= b[-1, 0])]
    if len(common) == 0:
        return 0.0
    if wanted is None:
        one = common[np.unique(np.linspace(0, len(common) - 1, 300).astype(int)), : 5 + count]
    else:
        wanted = wanted[(wanted >= common[0, 0]) & (wanted <= common[-1, 0])]
        one = _between_steps(a[:, : 5 + count], wanted, fine.tables.knot_time)
    other = _between_steps(b[:, : 5 + count], one[:, 0], coarse.tables.knot_time)
    return float(np.abs(one[:, 5:] - other[:, 5:]).max(initial=0.0))


def _between_steps(rows: Array, times: Array, knots: Array) -> Array:
    """Rows (time first) at other times: monotone cubics through the accepted steps, broken at the knots of the boundaries."""
    from scipy.interpolate import PchipInterpolator

    t = rows[:, 0]
    out = np.empty((len(times), rows.shape[1]))
    inner = np.unique(knots[(knots > t[0]) & (knots < t[-1])])
    edges = [t[0], *inner, t[-1]]
    for low, high in itertools.pairwise(edges):
        steps = (t >= low) & (t <= high)
        here = (times >= low) & (times <= high)
        if not here.any():
            continue
        part = rows[steps]
        if len(part) < 2:
            out[here] = rows[np.searchsorted(t, times[here]).clip(0, len(t) - 1)]
        else:
            out[here] = PchipInterpolator(part[:, 0], part, axis=0)(times[here])
    out[:, 0] = times
    return out


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


class _State:
    """Arrays of one run, in the layout of the kernel."""

    def __init__(self, job: _Job, grid: Grid, tables: Any) -> None:
        self.grid, self.tables = grid, tables
        nr, nz = grid.shape
        self.transforms, self.kinetics, self.thermal = (
            job.transforms,
            job.kinetics,
            job.thermal,
        )
        start = job.initial_temperature
        self.temp = np.full((nr, nz), start)
        self.mass, self.cond = np.empty((nr, nz)), np.empty((nr, nz))
        self.fractions = np.zeros((4, nr, nz))
        self.sums = np.zeros((3, nr, nz))
        self.formation = np.zeros((3, nr, nz))
        self.surface = np.full((4, max(nz, nr)), start)
        self.energy_out = np.zeros(4)
        self.volume = grid.volume
        self.enthalpy = self.mixture_enthalpy()
        self.energy_start = float((self.volume * self.enthalpy).sum())
        self.probe_tables = probe_weights(grid, job.places, job.specimen.inner_radius == 0.0)
        self.width = 5 + (5 if self.transforms else 1) * len(job.places)
        # time, next step, accepted, rejected, lowest and highest temperature, step after a jump, end below
        self.clock = np.array([0.0, 0.0, 0.0, 0.0, start, start, 0.0, -1e9])
        self.records: list[Array] = [self._first_row(len(job.places), start)]
        self.fields: list[tuple[float, Array, Array]] = []
        self.compile_seconds = 0.0
        self.solve_seconds = 0.0

    def _first_row(self, count: int, temperature: float) -> Array:
        row = np.zeros((1, self.width))
        row[0, 5 : 5 + count] = temperature
        return row

    def mixture_enthalpy(self) -> Array:
        """Enthalpy (J/m3) of every cell from its temperature and fractions, independent of the integrated state."""
        row = (self.temp - GRID[0]) / (GRID[1] - GRID[0])
        i = np.clip(row.astype(int), 0, len(self.thermal) - 2)
        w = row - i
        per_phase = [self.thermal[i, p] + w * (self.thermal[i + 1, p] - self.thermal[i, p]) for p in range(5)]
        austenite = 1.0 - self.fractions.sum(axis=0)
        return sum(f * h for f, h in zip([*self.fractions, austenite], per_phase, strict=True))

    def energy_residual(self) -> float:
        """Energy lost by the piece less energy out of its faces, relative to the larger of what moved and 1 J."""
        lost = self.energy_start - float((self.volume * self.mixture_enthalpy()).sum())
        moved = max(
            abs(lost),
            float(np.abs(self.energy_out).sum()),
            1e-9 * abs(self.energy_start),
            1e-300,
        )
        return abs(lost - float(self.energy_out.sum())) / moved

    def first_step(self, tolerance: float) -> float:
        """A step in which the hardest-quenched cell changes by about the tolerance."""
        flux = np.abs(self.tables.flux).max()
        smallest = min(np.diff(self.grid.r_faces).min(), np.diff(self.grid.z_faces).min())
        capacity = np.diff(self.thermal[:, 4]).min() / (GRID[1] - GRID[0])
        return float(np.clip(tolerance * capacity * smallest / max(flux, 1e-30), 1e-9, 1.0))


_advance: Any = None


def _kernel() -> Any:
    """The compiled kernel; imported and compiled on first use."""
    global _advance
    if _advance is None:
        from heatq import _kernels

        _advance = _kernels.advance
    return _advance


def _march(
    state: _State,
    tolerance: float,
    end_time: float,
    field_times: Array | None,
    progress: Progress,
    stop_below: float | None,
) -> str:
    """Run the kernel to the end; return the status of the run."""
    begin = time.perf_counter()
    fresh = _advance is None
    advance = _kernel()
    if fresh and not advance.stats.cache_hits and not advance.signatures:
        log.info("compiling the solver (once per installation) ...")
        if sys.stderr is not None and sys.stderr.isatty():
            print(
                "heatq: compiling the solver (once per installation, about half a minute) ...",
                file=sys.stderr,
            )
    state.clock[1] = state.clock[6] = min(state.first_step(tolerance), end_time * 1e-3)
    state.clock[6] = state.clock[1]
    state.clock[7] = -1e9 if stop_below is None else stop_below
    stops = [end_time] if field_times is None else sorted({*field_times.tolist(), end_time})
    bar = _Bar(progress, end_time)
    status = "finished"
    first_call = True
    try:
        for stop in stops:
            if stop == 0.0:
                state.fields.append((0.0, state.temp.copy(), state.fractions.copy()))
                continue
            while state.clock[0] < stop:
                record = np.empty((ROWS, state.width))
                called = time.perf_counter()
                k = state.kinetics
                t = state.tables
                code, rows = advance(
                    state.clock, float(stop), float(tolerance), end_time / 50.0, state.transforms,
                    state.enthalpy, state.temp, state.mass, state.cond, state.fractions, state.sums, state.formation, state.surface,
                    state.energy_out, state.grid.r_table, state.grid.z_table, state.volume, t.zones, t.zone_start,
                    t.knot_time, t.flux, state.thermal, k.rates, k.scalars, k.s_table, k.s_inverse_step,
                    *state.probe_tables, record,
                )  # fmt: skip
                if first_call and fresh:
                    state.compile_seconds = time.perf_counter() - called
                first_call = False
                state.records.append(record[:rows])
                bar.show(state.clock[0])
                if code == COLD:
                    return status
                if code > BUFFER_FULL:
                    return _failure(state, code)
            if field_times is not None and stop in field_times:
                state.fields.append((stop, state.temp.copy(), state.fractions.copy()))
    except KeyboardInterrupt:
        status = "interrupted"
        log.warning(
            "interrupted at %.4g s of %.4g s; the result holds what was computed",
            state.clock[0],
            end_time,
        )
    finally:
        bar.close()
        state.solve_seconds = time.perf_counter() - begin - state.compile_seconds
    return status


def _failure(state: _State, code: int) -> str:
    """What went wrong, where, and two things to try."""
    i, j = np.unravel_index(np.argmax(np.abs(state.temp - state.temp.mean())), state.temp.shape)
    why = "the time step became too small" if code == STEP_TOO_SMALL else "the temperature is not finite"
    return (
        f"{why} at t = {state.clock[0]:.6g} s (step {state.clock[1]:.3g} s) near r = {state.grid.r[i]:.4g} m, "
        f"z = {state.grid.z[j]:.4g} m, where the temperature is {state.temp[i, j]:.6g} degC; "
        f"largest boundary flux in the tables {np.abs(state.tables.flux).max():.4g} W/m2. "
        "Try a larger accuracy (K), or look at the boundary's heat_flux for jumps and at the material for cp near zero."
    )


class _Bar:
    """Progress by wall time; silent unless somebody watches."""

    def __init__(self, progress: Progress, end_time: float) -> None:
        self.call = progress if callable(progress) else None
        self.end = end_time
        self.bar: Any = None
        watched = sys.stderr is not None and sys.stderr.isatty()
        self.wanted = progress is True or (progress == "auto" and watched)
        self.delay = 0.0 if progress is True else 2.0
        self.begin = time.perf_counter()

    def show(self, now: float) -> None:
        if self.call is not None:
            self.call(now / self.end, now)
        elif self.wanted and time.perf_counter() - self.begin > self.delay:
            if self.bar is None:
                from tqdm import tqdm

                self.bar = tqdm(
                    total=round(self.end, 3),
                    unit="s",
                    desc="simulated",
                    mininterval=1.0,
                )
            self.bar.update(round(now, 3) - self.bar.n)

    def close(self) -> None:
        if self.bar is not None:
            self.bar.close()


def _dataset(
    state: _State,
    specimen: Any,
    places: list,
    wanted: Array | None,
    field_times: Array | None,
    end_time: float,
) -> xr.Dataset:
    """The labelled result."""
    import xarray as xr

    rows = np.concatenate(state.records)
    t = rows[:, 0]
    count = len(places)
    if wanted is not None:
        if t[-1] < end_time:
            wanted = wanted[wanted <= t[-1]]
        rows = _between_steps(rows, wanted, state.tables.knot_time) if len(t) > 1 else rows[:0]
        t = wanted
    temperature = rows[:, 5 : 5 + count]
    one = {"units": "1"}
    coords: dict[str, Any] = {
        "time": ("time", t, {"units": "s", "long_name": "time"}),
        "probe": ("probe", [p.label for p in places], {**one, "long_name": "probe"}),
        "r": ("probe", np.array([p.r for p in places]), {"units": "m", "long_name": "radius"}),
        "z": ("probe", np.array([p.z for p in places]), {"units": "m", "long_name": "height above the bottom face"}),
    }
    variables: dict[str, Any] = {
        "temperature": (("time", "probe"), temperature, {"units": "degC", "long_name": "temperature"})
    }
    if "jet" in specimen.faces:
        about = {"units": "m", "long_name": "distance from the quenched end"}
        coords["distance"] = ("probe", np.array([p.z for p in places]), about)
    if state.transforms:
        last = state.records[-1][-1, 5 + count :] if len(state.records[-1]) else rows[-1, 5 + count :]
        final = last.reshape(4, count)
        history = rows[:, 5 + count :].reshape(len(t), 4, count).transpose(1, 0, 2)
        share = {**one, "long_name": "phase fraction"}
        coords["phase"] = ("phase", list(PHASES), {**one, "long_name": "phase"})
        variables["fraction"] = (("phase", "probe"), _with_austenite(final), share)
        variables["fraction_history"] = (("phase", "time", "probe"), _with_austenite(history), share)
        about = {"units": "degC", "long_name": "mean temperature of formation"}
        variables["formation_temperature"] = (("phase", "probe"), _formation(state, final), about)
        if len(t) > 1:
            for name, level, window in (("cooling_rate_700", 700.0, 6.0), ("cooling_rate_800_700", 750.0, 50.0)):
                about = {"units": "K/s", "long_name": f"cooling rate at {level:.0f} degC"}
                variables[name] = ("probe", rates_of(t, temperature, level, window), about)
    faces = [name for side in ("bottom", "top", "outer", "bore") for name, s in specimen.faces.items() if s == side]
    index = [("bottom", "top", "outer", "bore").index(specimen.faces[name]) for name in faces]
    coords["face"] = ("face", faces, {**one, "long_name": "face"})
    per_length = {
        "units": "J" if specimen.length is not None else "J/m",
        "long_name": "heat removed through the face",
    }
    variables["heat_removed"] = (("face", "time"), rows[:, [1 + k for k in index]].T, per_length)
    data = xr.Dataset(variables, coords)
    if field_times is not None and state.fields:
        _add_fields(data, state)
    return data


def _with_austenite(fractions: Array) -> Array:
    austenite = np.clip(1.0 - fractions.sum(axis=0, keepdims=True), 0.0, 1.0)
    return np.concatenate([fractions, austenite])


def _formation(state: _State, final: Array) -> Array:
    """Mean formation temperature of ferrite, pearlite and bainite at the probes; NaN where none formed."""
    linear = state.probe_tables[4]
    out = np.full((5, final.shape[1]), np.nan)
    j0, j1, i0, i1 = linear[:, :4].astype(int).T
    wj, wi = linear[:, 4], linear[:, 5]

    def at_probes(field: Array) -> Array:
        low = field[i0, j0] + wi * (field[i1, j0] - field[i0, j0])
        high = field[i0, j1] + wi * (field[i1, j1] - field[i0, j1])
        return low + wj * (high - low)

    for phase in range(3):
        formed = at_probes(state.fractions[phase])
        some = formed > 1e-9
        out[phase, some] = at_probes(state.formation[phase])[some] / formed[some]
    return out


def _add_fields(data: xr.Dataset, state: _State) -> None:
    times = np.array([t for t, _, _ in state.fields])
    data.coords["field_time"] = (
        "field_time",
        times,
        {"units": "s", "long_name": "time"},
    )
    data.coords["cell_z"] = (
        "cell_z",
        state.grid.z,
        {"units": "m", "long_name": "height above the bottom face"},
    )
    data.coords["cell_r"] = (
        "cell_r",
        state.grid.r,
        {"units": "m", "long_name": "radius"},
    )
    dims = ("field_time", "cell_z", "cell_r")
    data["temperature_field"] = (
        dims,
        np.array([f.T for _, f, _ in state.fields]),
        {"units": "degC", "long_name": "temperature"},
    )
    if state.transforms:
        parts = np.array([_with_austenite(f) for _, _, f in state.fields]).transpose(1, 0, 3, 2)
        data["fraction_field"] = (
            ("phase", *dims),
            parts,
            {"units": "1", "long_name": "phase fraction"},
        )
