"""`simulate_many`: many pieces from one call, on all cores, without processes."""

from __future__ import annotations

import collections
import concurrent.futures
import contextvars
import itertools
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from heatq.conduction.run import simulate
from heatq.errors import InputError, SolverError

__all__ = ["simulate_many"]


def simulate_many(
    cases: Iterable[Mapping[str, Any]],
    reduce: Callable[[Any], Any] | None = None,
    *,
    threads: int | None = None,
    on_error: str = "raise",
) -> Iterator[Any]:
    """Run `simulate` for many cases on all cores and yield the results in the order of the cases.

    The compiled part runs without Python's lock, so threads share the cores; no process is started and nothing is
    pickled. At most a few results per thread wait at a time: memory does not grow with the number of cases as long as
    ``reduce`` or the loop over the results keeps little of each.

    Parameters
    ----------
    cases : iterable of mapping
        Arguments of `simulate` by name: ``specimen``, ``steel``, ``boundaries``, ``initial_temperature``, ``end_time``, ...
        A generator is read only as far ahead as the threads need.
    reduce : callable, optional
        What to keep of each result (a function of the Dataset); runs in the thread. The default keeps all of it.
    threads : int, optional
        The default is one per core.
    on_error : {"raise", "return"}
        ``"return"`` yields the InputError or SolverError of a case in its place instead of ending the batch.

    Yields
    ------
    xarray.Dataset, or what ``reduce`` returns

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
    return _results(iter(cases), reduce, threads, on_error)


def _results(
    cases: Iterator[Mapping[str, Any]], reduce: Callable[[Any], Any] | None, threads: int, on_error: str
) -> Iterator[Any]:
    numbered = enumerate(cases)
    waiting: collections.deque = collections.deque()
    pool = concurrent.futures.ThreadPoolExecutor(threads, thread_name_prefix="heatq")
    try:
        # the first case alone: whatever is compiled, imported or cached then is there for all
        for number, case in itertools.islice(numbered, 1):
            waiting.append(pool.submit(contextvars.copy_context().run, _one, number, case, reduce))
            concurrent.futures.wait(waiting)
        while True:
            while len(waiting) < 4 * threads:
                entry = next(numbered, None)
                if entry is None:
                    break
                # warnings collected by the caller are collected from the threads too
                waiting.append(pool.submit(contextvars.copy_context().run, _one, entry[0], entry[1], reduce))
            if not waiting:
                return
            error = waiting[0].exception()
            if error is None:
                yield waiting.popleft().result()
            elif on_error == "return" and isinstance(error, (InputError, SolverError)):
                waiting.popleft()
                yield error
            else:
                raise error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _one(number: int, case: Mapping[str, Any], reduce: Callable[[Any], Any] | None) -> Any:
    if not isinstance(case, Mapping):
        raise InputError(f"case {number} is {case!r}; it must be a dict with the arguments of simulate by name.")
    try:
        run = simulate(**{"progress": False, **case})
    except InputError as error:
        raise InputError(f"case {number}: {error}") from error
    return run if reduce is None else reduce(run)
