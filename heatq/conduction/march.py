"""One run of the compiled kernel: from the start to the end of a `State`."""

from __future__ import annotations

import logging
import sys
import threading
import time
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.conduction.bar import Bar, Progress
from heatq.conduction.state import State

__all__ = ["march", "tell_compiling"]

log = logging.getLogger("heatq")

Array = npt.NDArray[np.float64]

#: Rows of a record, one per accepted step; a full one goes back to Python, where progress is shown.
ROWS = 256
#: Seconds after which somebody who waits for the compiler is told so; from the disk the kernel comes within one.
PATIENCE = 2.0

_kernels: Any = None
_is_compiled = False


def _load() -> Any:
    """The module of the kernel; imported on first use, so that heatq starts without the compiler."""
    global _kernels
    if _kernels is None:
        from heatq import _kernels as module

        _kernels = module
    return _kernels


def tell_compiling() -> None:
    """Say that the solver is being compiled, if it is not there by now."""
    if not _load().advance.signatures:
        log.info("compiling the solver (once per installation) ...")
        if sys.stderr is not None and sys.stderr.isatty():
            print("heatq: compiling the solver (once per installation, about half a minute) ...", file=sys.stderr)


def march(
    state: State,
    tolerance: float,
    end_time: float,
    field_times: Array | None,
    progress: Progress,
    stop_below: float | None,
    beside: tuple[State, float] | None = None,
) -> str:
    """Run the kernel to the end; return "finished", "interrupted", "step too small" or "not finite".

    A second short run, with a tolerance of its own, may go ``beside`` it to the same end: the threads of a batch then wait half as
    often for Python's lock. What becomes of it is not reported.
    """
    global _is_compiled
    begin = time.perf_counter()
    kernel = _load()
    fresh = not _is_compiled
    telling = threading.Timer(PATIENCE, tell_compiling) if fresh else None
    if telling is not None:
        telling.daemon = True
        telling.start()
    _begin(state, tolerance, end_time, stop_below)
    if beside is not None:
        _begin(*beside, end_time, stop_below)
    stops = [end_time] if field_times is None else sorted({*field_times.tolist(), end_time})
    bar = Bar(progress, end_time)
    code = kernel.REACHED
    try:
        for stop in stops:
            if stop == 0.0:
                state.fields.append((0.0, state.temp.copy(), state.fractions.copy()))
                continue
            code = kernel.BUFFER_FULL
            while code == kernel.BUFFER_FULL or beside is not None:
                called = time.perf_counter()
                run = _arguments(state, tolerance, stop if code == kernel.BUFFER_FULL else 0.0, end_time)
                other = (run[0], 0.0, *run[2:]) if beside is None else _arguments(*beside, stop, end_time)
                kernel.advance((run, other))
                _is_compiled = True
                if fresh:
                    state.compile_seconds = time.perf_counter() - called
                    fresh = False
                if code == kernel.BUFFER_FULL:
                    code = _keep(state)
                if beside is not None and _keep(beside[0]) != kernel.BUFFER_FULL:
                    beside = None
                bar.show(state.clock[0])
            if code == kernel.COLD:
                break
            if code != kernel.REACHED:
                return "step too small" if code == kernel.STEP_TOO_SMALL else "not finite"
            if field_times is not None and stop in field_times:
                state.fields.append((stop, state.temp.copy(), state.fractions.copy()))
    except KeyboardInterrupt:
        log.warning(
            "interrupted at %.4g s of %.4g s; the result holds what was computed",
            state.clock[0],
            end_time,
        )
        return "interrupted"
    finally:
        if telling is not None:
            telling.cancel()
        bar.close()
        state.solve_seconds = time.perf_counter() - begin - state.compile_seconds
    return "finished"


def _begin(state: State, tolerance: float, end_time: float, stop_below: float | None) -> None:
    state.clock[1] = state.clock[6] = min(state.first_step(tolerance), end_time * 1e-3)
    state.clock[7] = -1e9 if stop_below is None else stop_below
    # the kernel's own: rows of cells, three sets of what belongs to a face, powers of the faces
    nr, nz = state.grid.shape
    state.work = np.zeros((_load().WORK_ROWS, nr * nz)), np.zeros((3, 4, max(nz, nr))), np.zeros((4, 4))


def _arguments(state: State, tolerance: float, stop: float, end_time: float) -> tuple[Any, ...]:
    """A run for the kernel, in its order."""
    k, t, grid = state.kinetics, state.tables, state.grid
    state.record = np.empty((ROWS, state.width))
    return (
        state.clock, float(stop), float(tolerance), end_time / 50.0, state.transforms,
        state.enthalpy, state.temp, state.mass, state.cond, state.fractions, state.sums, state.formation, state.memory,
        state.surface, state.energy_out, grid.r_table, grid.z_table, state.volume, t.zones, t.zone_start, t.knot_time, t.flux,
        state.packed, k.rates, k.scalars, k.s_table, k.s_inverse_step, *state.probe_tables, state.record, *state.work,
    )  # fmt: skip


def _keep(state: State) -> int:
    """Keep the rows that a run has written; its status."""
    state.records.append(state.record[: int(state.clock[9])])
    return int(state.clock[8])
