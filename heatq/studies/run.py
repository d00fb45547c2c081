"""`study`: many trials over a grid, a list or a sample, as one labelled Dataset."""

from __future__ import annotations

import collections
import concurrent.futures
import contextlib
import json
import logging
import os
import pathlib
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, SolverError, ValidityWarning
from heatq.studies.packing import (
    FAILED,
    MISSING,
    OK,
    Batch,
    Layout,
    Outcome,
    ctrl_c_waits,
    fitting,
    run_case,
    run_cases,
)
from heatq.studies.points import Points, points_of
from heatq.studies.store import Store, definition_of, held_points, identity, read_arrays, read_done, read_layout
from heatq.studies.watch import Watch

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["open_study", "study"]

log = logging.getLogger("heatq")

Array = npt.NDArray[Any]

#: Words for the codes of `status`.
WORDS = {MISSING: "missing", OK: "ok", FAILED: "failed"}
#: A chunk whose worker died is sent out this many times before its cases count as failed.
TRIES = 3
#: Cases per chunk at most, and chunks that wait in an executor at a time.
LARGEST_CHUNK, WAITING = 512, 64


def study(
    build: Callable[..., Any],
    points: Any,
    *,
    run: str | None = "trial",
    reduce: Any = None,
    store: str | os.PathLike[str] | None = None,
    executor: Any = None,
    chunk: int | None = None,
    progress: Any = "auto",
    on_error: str = "record",
    threads: int | None = None,
    definition: str = "",
) -> xr.Dataset:
    """Run a trial, or anything else, at every point and return one labelled Dataset.

    Parameters
    ----------
    build : callable
        ``build(**point)`` returns the arguments of a trial as a dict: ``specimen``, ``steel``, ``boundaries``, ... It may as well
        return the result itself as a Dataset; with ``run=None`` also as a dict of numbers.
    points : dict, list or Dataset
        A dict of sequences runs all combinations, each parameter a dimension of the result; units may be given as
        ``(values, "bar")``. A list of dicts, or what `heatq.studies.sample` returns, is one case each, along ``case``. Values are
        numbers, texts, or objects with a ``name`` or ``label`` (steels, quenches).
    run : {"trial", "simulate", None}
        What the built arguments go to.
    reduce : list of str or callable, optional
        What to keep of each result: names of variables, or a function of the result. By default all that has no time axis: hardness,
        fractions, cooling rates and times.
    store : path-like, optional
        Folder of a Zarr group that keeps every finished chunk. The same call goes on where a killed one stopped. Needs the extra
        ``heatq[study]``.
    executor : concurrent.futures.Executor, optional
        Threads, processes, ``dask.distributed.Client().get_executor()``, an MPI pool. By default threads of this process, one per
        core. An executor of processes needs a ``build`` that can be pickled: a function of a module, not of the prompt.
    chunk : int, optional
        Consecutive cases that are run, sent and stored together. A store keeps the chunk it began with.
    progress : {"auto", True, False} or callable
        A bar with cases done, failed, rate and time left, on a terminal and for more than 2 s; always; never; or
        ``callable(done, failed, total)``.
    on_error : {"record", "raise"}
        ``"record"``: a case that fails is a hole (NaN) with its reason. ``"raise"``: the study ends with its exception.
    threads : int, optional
        Without ``executor``; 1 runs in this thread alone.
    definition : str
        Any text of yours that belongs to the definition of the study (the version of your data, say). A store of another text is
        refused.

    Returns
    -------
    xarray.Dataset
        The variables of the results over the dimensions of the study and their own, and per case ``status`` ("ok", "failed",
        "missing") and ``message``: why it failed, or which model left its range. "missing" are cases that were interrupted.

    Raises
    ------
    InputError
        For impossible points or arguments, an unknown store, or one of another study.
    DataError
        When the store cannot be written; what is finished is safe.
    SolverError
        If workers of the executor keep dying.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> def build(pressure, velocity):
    ...     gas = hq.GasCrossflow("nitrogen", velocity=velocity, pressure=pressure, temperature=40.0)
    ...     return {"specimen": hq.RoundBar(diameter=0.04), "steel": hq.grade("4140"), "boundaries": {"side": gas}, "accuracy": 2.0}
    >>> done = study(build, {"pressure": ([2 * bar, 10 * bar], "Pa"), "velocity": [10.0, 20.0, 40.0]}, progress=False)
    >>> dict(done.hardness_hv.sizes)
    {'pressure': 2, 'velocity': 3, 'probe': 4}
    >>> bool((done.hardness_hv.sel(probe="centre").diff("velocity") > -1.0).all())
    True
    """
    wanted = points_of(points)
    _check(build, run, reduce, on_error, chunk, threads, executor)
    workers = 1 if executor is not None else (threads or os.cpu_count() or 1)
    size = chunk or max(1, min(LARGEST_CHUNK, -(-wanted.count // (8 * max(workers, 4)))))
    job = _Study(build, wanted, run, reduce, on_error)
    if store is None:
        return job.kept_here(executor, workers, size, progress)
    return job.kept_in(
        Store(store, definition_of(wanted, build, run, reduce, definition), wanted, size), executor, workers, progress
    )


def open_study(store: str | os.PathLike[str]) -> xr.Dataset:
    """What a store holds so far, finished or not, without running anything.

    Parameters
    ----------
    store : path-like
        Folder that `study` was given. A study that is being written may be looked at.

    Returns
    -------
    xarray.Dataset
        As of `study`; what is not there yet is "missing". Objects among the points stand as their labels.

    Raises
    ------
    InputError
        If there is no study at this place.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.mkdtemp() + "/square.zarr"
    >>> _ = study(lambda x: {"square": x * x}, {"x": [1.0, 2.0, 3.0]}, run=None, store=folder, progress=False)
    >>> open_study(folder).square.values
    array([1., 4., 9.])
    """
    path = pathlib.Path(store)
    held, points = held_points(path)
    job = _Study(str(held["definition"]["build"]).split(" ")[0], points, held["definition"]["run"], None, "record")
    job.layout = read_layout(path)
    for messages in read_done(path).values():
        job.messages |= messages
    if job.layout is None:
        return job.told(np.full(points.count, MISSING, np.int8), {})
    return job.told(*read_arrays(path, job.layout, points.count, int(held["chunk"])))


def _check(build: Any, run: Any, reduce: Any, on_error: Any, chunk: Any, threads: Any, executor: Any) -> None:
    if not callable(build):
        raise InputError(f"build = {build!r} must be a function whose arguments are the parameters of the study.")
    if run not in ("trial", "simulate", None):
        raise InputError(f"run = {run!r} must be 'trial', 'simulate' or None.")
    if not (reduce is None or callable(reduce)) and (isinstance(reduce, str) or not isinstance(reduce, Sequence)):
        raise InputError(f"reduce = {reduce!r} must be a list of names, or a function of the result.")
    if on_error not in ("record", "raise"):
        raise InputError(f"on_error = {on_error!r} must be 'record' or 'raise'.")
    for name, value in (("chunk", chunk), ("threads", threads)):
        if value is not None and (not isinstance(value, int) or isinstance(value, bool) or value < 1):
            raise InputError(f"{name} = {value!r} must be a whole number of at least 1.")
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise InputError(
            f"executor = {executor!r} has no submit(): give a concurrent.futures executor; of a dask client, client.get_executor()."
        )
    if executor is not None and threads is not None:
        raise InputError("threads belongs to the default; with executor= it is the executor that has workers.")


class _Study:
    """One study while it runs."""

    def __init__(self, build: Any, points: Points, run: str | None, reduce: Any, on_error: str) -> None:
        self.build, self.points, self.run, self.reduce = build, points, run, reduce
        self.stop = on_error == "raise"
        self.messages: dict[int, str] = {}
        self.layout: Layout | None = None
        self.begun: list[Outcome] = []  # of the first cases, see _find_layout
        self.interrupted = False

    # --- where the cases are kept

    def kept_here(self, executor: Any, workers: int, size: int, progress: Any) -> xr.Dataset:
        """Run all cases and keep them in memory."""
        status = np.zeros(self.points.count, np.int8)
        arrays: dict[str, Array] = {}

        def keep(batch: Batch) -> Batch:
            rows = slice(batch.first, batch.first + len(batch.status))
            for name, values in batch.arrays.items():
                if name not in arrays:
                    arrays[name] = np.full((self.points.count, *values.shape[1:]), np.nan, values.dtype)
                arrays[name][rows] = values
            self.messages |= batch.messages
            status[rows] = batch.status  # last: Ctrl-C may fall between any two lines
            return batch

        with Watch(progress, self.points.count) as watch:
            self._find_layout()
            chunks: Iterable[range] = self._chunks(size, set())
            if self.layout is None or self.interrupted:
                chunks = [range(len(self.begun))] if self.begun else []
            self._all(chunks, executor, workers, lambda batch: watch.add(keep(batch)))
        return self.told(status, arrays)

    def kept_in(self, store: Store, executor: Any, workers: int, progress: Any) -> xr.Dataset:
        """Run the cases that the store lacks and return all it holds."""
        try:
            done = store.done()
            for held in done.values():
                self.messages |= held
            self.layout = store.layout()
            chunks = list(self._chunks(store.chunk, set(done)))
            with Watch(progress, self.points.count) as watch:
                watch.skip(self.points.count - sum(len(numbers) for numbers in chunks))
                if chunks and self.layout is None:
                    self._find_layout()
                if self.layout is None or self.interrupted:  # not one case came through, or not all that are looked at
                    begun = self._known(range(len(self.begun)))
                    self.messages |= {n: said for n, said in begun.messages.items() if begun.status[n] == FAILED}
                    status = np.full(self.points.count, MISSING, np.int8)
                    status[: len(self.begun)][begun.status == FAILED] = FAILED
                    return self.told(status, {})
                store.prepare(self.layout)

                def keep(batch: Batch) -> None:
                    if (batch.status == MISSING).any():
                        return  # cut by Ctrl-C; a store holds whole chunks
                    store.save(batch)
                    self.messages |= batch.messages
                    watch.add(batch)

                self._all(chunks, executor, workers, keep)
            store.finish()
            return self.told(*store.read(self.layout))
        finally:
            store.close()

    # --- running

    def _chunks(self, size: int, done: set[int]) -> Iterator[range]:
        for number, first in enumerate(range(0, self.points.count, size)):
            if number not in done:
                yield range(first, min(first + size, self.points.count))

    def _find_layout(self) -> None:
        """Run cases from the first on until two look alike: all others must look like these.

        If the two after the first that succeeds do not settle it, that one counts, so that a single odd case at the beginning
        does not make all others fail. They are run here, alone: whatever is imported, compiled or cached then is there for
        the others. What they came to is kept in ``begun``, so that no case is run twice.
        """
        stopping = threading.Event()
        seen: list[Layout] = []
        since = 0
        for number in range(self.points.count):
            try:
                with ctrl_c_waits(stopping):
                    outcome = run_case(self.build, self.run, self.reduce, None, self.points.point(number), self.stop)
            except KeyboardInterrupt:
                stopping.set()
            else:
                self.begun.append(outcome)
                since += bool(seen)
                if outcome.layout is not None:
                    alike = [one for one in seen if not one.difference(outcome.layout)]
                    seen.append(outcome.layout)
                    if alike:
                        seen = alike
                        break
            if stopping.is_set():
                self._interrupt()
                break
            if since == 2:
                break
        if seen:
            self.layout = seen[0]
            self._check_names(self.layout)
            self.begun = [fitting(outcome, self.layout, self.stop) for outcome in self.begun]

    def _known(self, numbers: range) -> Batch:
        """Those cases of a chunk that were run to find the layout."""
        begun = self.begun[numbers.start : numbers.stop]
        batch = Batch.empty(numbers.start, len(begun), self.layout or Layout({}, {}))
        for n, outcome in enumerate(begun):
            batch.put(n, outcome)
        return batch

    def _check_names(self, layout: Layout) -> None:
        own = {*self.points.columns, *self.points.dims, "status", "message"}
        for name in (*layout.variables, *layout.indexes):
            if name in own and name not in layout.coords:
                raise InputError(
                    f"{name!r} is a parameter of the study and also stands in the results; rename the parameter, or leave the variable "
                    "out with reduce=."
                )

    def _interrupt(self) -> None:
        self.interrupted = True
        log.warning("interrupted; the result holds the cases that were finished, the others are 'missing'")

    def _task(self, numbers: range, *stopping: threading.Event) -> tuple[Any, ...]:
        left = range(max(numbers.start, len(self.begun)), numbers.stop)
        cases = [self.points.point(number) for number in left]
        return (self.build, self.run, self.reduce, self.layout, left.start, cases, self.stop, *stopping)

    def _whole(self, numbers: range, batch: Batch) -> Batch:
        """A chunk with those of its cases that were known."""
        return batch if batch.first == numbers.start else self._known(numbers).join(batch)

    def _left(self, chunks: Iterable[range], keep: Callable[[Batch], Any]) -> Iterator[range]:
        """The chunks in which something is left to run; those of which all is known are handed on."""
        for numbers in chunks:
            if numbers.stop > len(self.begun):
                yield numbers
            else:
                keep(self._known(numbers))

    def _all(self, chunks: Iterable[range], executor: Any, workers: int, keep: Callable[[Batch], Any]) -> None:
        """Run chunks on an executor, a few at a time, and hand each batch on as it comes."""
        try:
            chunks = self._left(chunks, keep)
            if executor is None and workers == 1:
                stopping = threading.Event()
                for numbers in chunks:
                    with ctrl_c_waits(stopping):
                        batch = run_cases(*self._task(numbers, stopping))
                    keep(self._whole(numbers, batch))
                    if stopping.is_set():
                        raise KeyboardInterrupt
                return
            with contextlib.ExitStack() as stack:
                stop = None
                if executor is None:
                    stop = threading.Event()
                    executor = concurrent.futures.ThreadPoolExecutor(workers, thread_name_prefix="heatq")
                    stack.callback(executor.shutdown, wait=True, cancel_futures=True)
                self._submit(chunks, executor, keep, stop)
        except KeyboardInterrupt:
            self._interrupt()

    def _submit(
        self, chunks: Iterator[range], executor: Any, keep: Callable[[Batch], Any], stopping: threading.Event | None
    ) -> None:
        own: tuple[Any, ...] = () if stopping is None else (stopping,)  # an event cannot be sent to other processes
        tries: collections.Counter[int] = collections.Counter()
        waiting: dict[Any, range] = {}
        again: collections.deque[range] = collections.deque()
        try:
            while True:
                while len(waiting) < WAITING:
                    numbers = again.popleft() if again else next(chunks, None)
                    if numbers is None:
                        break
                    try:
                        waiting[executor.submit(run_cases, *self._task(numbers, *own))] = numbers
                    except concurrent.futures.BrokenExecutor as error:
                        raise _dead(numbers, error) from error
                if not waiting:
                    return
                finished, _ = concurrent.futures.wait(waiting, return_when=concurrent.futures.FIRST_COMPLETED)
                for future in finished:
                    numbers = waiting.pop(future)
                    fault = future.exception()
                    if fault is None:
                        keep(self._whole(numbers, future.result()))
                    elif not _is_lost(fault):
                        raise fault
                    elif isinstance(fault, concurrent.futures.BrokenExecutor) or tries[numbers.start] + 1 == TRIES:
                        raise _dead(numbers, fault) from fault
                    else:
                        tries[numbers.start] += 1
                        log.warning("a worker was lost; cases %d to %d are run again", numbers.start, numbers.stop - 1)
                        again.append(numbers)
        except KeyboardInterrupt:
            if stopping is None:
                raise
            stopping.set()  # the chunks under way end with their present case
            for future in waiting:
                future.cancel()
            for future in concurrent.futures.wait(waiting).done:
                if not future.cancelled() and future.exception() is None:
                    keep(self._whole(waiting[future], future.result()))
            raise
        finally:
            for future in waiting:
                future.cancel()

    # --- the result

    def told(self, status: npt.NDArray[np.int8], arrays: dict[str, Array]) -> xr.Dataset:
        """The labelled Dataset."""
        import xarray as xr

        points, layout = self.points, self.layout
        data = xr.Dataset(coords=points.coords())
        ok = status == OK
        if layout is not None:
            for name, (labels, attrs) in layout.indexes.items():
                data.coords[name] = (name, labels, attrs)
            for name, (dims, shape, kind, attrs) in layout.variables.items():
                values = arrays.get(name)
                if values is None:
                    values = np.full((points.count, *shape), np.nan, kind)
                same = name in layout.coords and ok.any() and _all_alike(values[ok])
                if name in layout.coords and name in data.variables:
                    continue
                if same:
                    data.coords[name] = (dims, values[ok][0], attrs)
                    continue
                whole = ((*points.dims, *dims), values.reshape(*points.shape, *shape), attrs)
                if name in layout.coords:
                    data.coords[name] = whole
                else:
                    data[name] = whole
        words = np.array([WORDS[int(code)] for code in status]).reshape(points.shape)
        text = np.array([self.messages.get(n, "") for n in range(points.count)], dtype=object).astype(str)
        data["status"] = (points.dims, words, {"units": "1", "long_name": "ok, failed or missing"})
        data["message"] = (
            points.dims,
            text.reshape(points.shape),
            {"units": "1", "long_name": "why a case failed, or which model left its range"},
        )
        failed = int((status == FAILED).sum())
        data.attrs = {
            **points.attrs,
            "heatq_version": __version__,
            "cases": points.count,
            "failed": failed,
            "missing": int((status == MISSING).sum()),
            "status": "interrupted" if self.interrupted else "finished",
            "build": self.build if isinstance(self.build, str) else identity(self.build).split(" ")[0],
            "run": str(self.run),
            "warnings": json.dumps(self._warn(status)),
        }
        return data

    def _warn(self, status: npt.NDArray[np.int8]) -> list[str]:
        """Say once what many cases have in common."""
        lines = []
        noted = sum(1 for number in self.messages if status[number] == OK)
        if noted:
            lines.append(
                f"{noted} of {len(status)} cases left the range of a model and were computed all the same; message says which."
            )
            warnings.warn(lines[-1], ValidityWarning, stacklevel=5)
        failed = np.flatnonzero(status == FAILED)
        if failed.size:
            first = int(failed[0])
            lines.append(
                f"{failed.size} of {len(status)} cases failed, the first at {self.points.told(first)}: {self.messages.get(first, '')}"
            )
            log.warning(lines[-1])
        return lines


def _all_alike(values: Array) -> bool:
    return bool(((values == values[:1]) | (np.isnan(values) & np.isnan(values[:1]))).all())


def _is_lost(error: BaseException) -> bool:
    """Whether an exception tells of a dead worker, not of the work."""
    return isinstance(error, concurrent.futures.BrokenExecutor) or type(error).__name__ in (
        "KilledWorker",
        "CommClosedError",
        "FutureCancelledError",
        "CancelledError",
    )


def _dead(numbers: range, error: BaseException) -> SolverError:
    return SolverError(
        f"the executor lost its workers at cases {numbers.start} to {numbers.stop - 1} ({type(error).__name__}: {error}). With a store "
        "the same call goes on from what is finished; look for too little memory, or run with threads."
    )
