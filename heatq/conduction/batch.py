"""`simulate_many`: many pieces from one call, on all cores, without processes."""

from __future__ import annotations

import collections
import concurrent.futures
import contextvars
import itertools
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from heatq.conduction.outcome import NAMES
from heatq.conduction.run import simulate, solve
from heatq.errors import InputError, SolverError, check_name

__all__ = ["simulate_many"]

#: Short cases are handed to a thread several at a time, so many that they take this long (s) together but at most so many:
#: each handing over costs a change of threads, a tenth of a millisecond. A thread has one bunch in work and one waiting.
BUNCH_SECONDS, LARGEST_BUNCH = 0.02, 8


def simulate_many(
    cases: Iterable[Mapping[str, Any]],
    reduce: Callable[[Any], Any] | None = None,
    *,
    keep: Sequence[str] | None = None,
    threads: int | None = None,
    on_error: str = "raise",
) -> Iterator[Any]:
    """Run `simulate` for many cases on all cores and yield the results in the order of the cases.

    The compiled part runs without Python's lock, so threads share the cores; no process is started and nothing is
    pickled. At most a few results per thread wait at a time (up to 16 of short cases): memory does not grow with the number
    of cases as long as ``keep``, ``reduce`` or the loop over the results keeps little of each.

    Parameters
    ----------
    cases : iterable of mapping
        Arguments of `simulate` by name: ``specimen``, ``steel``, ``boundaries``, ``initial_temperature``, ``end_time``, ...
        A generator is read only as far ahead as the threads need.
    reduce : callable, optional
        What to keep of each result (a function of the Dataset); runs in the thread. The default keeps all of it.
    keep : sequence of str, optional
        Names of variables or coordinates. What comes back for each case is then a dict from these names to numpy arrays; no
        Dataset is made, which for long bars is noticeably quicker. Not together with ``reduce``.
    threads : int, optional
        The default is one per core.
    on_error : {"raise", "return"}
        ``"return"`` yields the InputError or SolverError of a case in its place instead of ending the batch.

    Yields
    ------
    xarray.Dataset, a dict of arrays with ``keep``, or what ``reduce`` returns

    Raises
    ------
    InputError
        For an impossible argument; that of a case names its number, counted from 0.
    SolverError
        When a time step of a case fails.

    Examples
    --------
    >>> import heatq as hq
    >>> metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    >>> cases = [{"specimen": hq.RoundBar(diameter=d), "steel": metal, "boundaries": {"side": hq.Convection(2000.0, 20.0)},
    ...           "initial_temperature": 850.0, "end_time": 30.0} for d in (0.02, 0.03, 0.04)]
    >>> centre = list(hq.simulate_many(cases, lambda run: float(run.temperature.sel(probe="centre")[-1])))
    >>> bool(centre[0] < centre[1] < centre[2])
    True
    >>> [run["temperature"].shape == (run["time"].size, 4) for run in hq.simulate_many(cases, keep=["time", "temperature"])]
    [True, True, True]
    """
    if not isinstance(cases, Iterable):
        raise InputError(
            f"cases = {cases!r} must be a list or a generator of dicts, each with the arguments of simulate."
        )
    if threads is None:
        threads = os.cpu_count() or 1
    if not isinstance(threads, int) or threads < 1:
        raise InputError(f"threads = {threads!r} must be a whole number of at least 1.")
    if on_error not in ("raise", "return"):
        raise InputError(f"on_error = {on_error!r} must be 'raise' or 'return'.")
    if reduce is not None and not callable(reduce):
        raise InputError(f"reduce = {reduce!r} must be a function of one result.")
    if keep is not None:
        if reduce is not None:
            raise InputError(
                "keep does not go with reduce: name what to keep, or give a function of the result, not both."
            )
        if isinstance(keep, str) or not isinstance(keep, Iterable):
            raise InputError(f"keep = {keep!r} must be a list of names of variables or coordinates.")
        keep = [check_name("keep", name, NAMES, what="variable or coordinate") for name in keep]
    return _results(iter(cases), _Work(reduce, keep, on_error), threads)


def _results(cases: Iterator[Mapping[str, Any]], work: _Work, threads: int) -> Iterator[Any]:
    numbered = enumerate(cases)
    waiting: collections.deque = collections.deque()
    size = 1
    pool = concurrent.futures.ThreadPoolExecutor(threads, thread_name_prefix="heatq")
    try:
        while True:
            # the first case alone: whatever is compiled, imported or cached then is there for all
            while len(waiting) < (4 if size == 1 else 2) * threads:
                bunch = _bunch(numbered, size)
                if not bunch:
                    break
                # warnings collected by the caller are collected from the threads too
                waiting.append(pool.submit(contextvars.copy_context().run, work.some, bunch))
                if bunch[0][0] == 0:
                    break
            if not waiting:
                return
            seconds, results = waiting.popleft().result()
            size = min(max(int(BUNCH_SECONDS / max(seconds, 1e-9)), 1), LARGEST_BUNCH)
            for result in results:
                if isinstance(result, _Failed):
                    raise result.error
                yield result
    finally:
        work.is_over = True
        pool.shutdown(wait=True, cancel_futures=True)


def _bunch(numbered: Iterator[tuple[int, Any]], size: int) -> list[tuple[int, Any]]:
    """The next cases with their numbers; fewer where each takes its time to be made."""
    begin = time.perf_counter()
    bunch = []
    for entry in itertools.islice(numbered, size):
        bunch.append(entry)
        if time.perf_counter() - begin > BUNCH_SECONDS:
            break
    return bunch


class _Failed:
    """In the place of a result: the error that ends the batch."""

    def __init__(self, error: Exception) -> None:
        self.error = error


class _Work:
    """What is done with each case."""

    def __init__(self, reduce: Callable[[Any], Any] | None, keep: Sequence[str] | None, on_error: str) -> None:
        self.reduce, self.keep, self.on_error = reduce, keep, on_error
        self.is_over = False

    def some(self, bunch: list[tuple[int, Any]]) -> tuple[float, list[Any]]:
        """Seconds per case, and the results up to an error that ends the batch."""
        begin = time.perf_counter()
        results: list[Any] = []
        for number, case in bunch:
            if self.is_over:  # nobody waits for the rest
                break
            try:
                results.append(self.one(number, case))
            except Exception as error:
                if self.on_error != "return" or not isinstance(error, (InputError, SolverError)):
                    results.append(_Failed(error))
                    break
                results.append(error)
        return (time.perf_counter() - begin) / max(len(results), 1), results

    def one(self, number: int, case: Mapping[str, Any]) -> Any:
        """Result of one case."""
        if not isinstance(case, Mapping):
            raise InputError(f"case {number} is {case!r}; it must be a dict with the arguments of simulate by name.")
        arguments = {"progress": False, **case}
        try:
            if self.keep is not None:
                variables, coords, _ = solve(**arguments)
                found = coords | variables
                for name in self.keep:
                    check_name("keep", name, found, what="variable or coordinate of this result")
                return {name: np.ascontiguousarray(found[name][1]) for name in self.keep}
            run = simulate(**arguments)
        except InputError as error:
            raise InputError(f"case {number}: {error}") from error
        return run if self.reduce is None else self.reduce(run)
