"""From the result of one case to arrays of many: what is kept, its layout, and where it does not fit."""

from __future__ import annotations

import contextlib
import dataclasses
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, hold_validity

__all__ = ["FAILED", "MISSING", "OK", "Batch", "Layout", "Outcome", "fitting", "run_case", "run_cases"]

MISSING, OK, FAILED = 0, 1, 2
#: Dimensions of histories and fields, which are not kept unless they are asked for.
BULKY = ("time", "field_time", "cell_r", "cell_z")


@dataclasses.dataclass(frozen=True)
class Layout:
    """Variables of a case: name -> (dims, shape, kind of number, attributes); index coordinates; names of other coordinates."""

    variables: dict[str, tuple[tuple[str, ...], tuple[int, ...], str, dict[str, Any]]]
    indexes: dict[str, tuple[list[Any], dict[str, Any]]]
    coords: tuple[str, ...] = ()

    def difference(self, other: Layout) -> str:
        """What another case has else, in words; empty if it fits."""
        for name, (dims, shape, kind, _) in self.variables.items():
            if name not in other.variables:
                return f"it has no {name}"
            if other.variables[name][:2] != (dims, shape):
                return f"its {name} has the shape {dict(zip(*other.variables[name][:2], strict=True))}, the others {dict(zip(dims, shape, strict=True))}"
            if other.variables[name][2] != kind:
                return f"its {name} is not of the same kind of number"
        more = set(other.variables) - set(self.variables)
        if more:
            return f"it also has {', '.join(sorted(more))}"
        for name, (labels, _) in self.indexes.items():
            if other.indexes.get(name, ([], {}))[0] != labels:
                return f"its {name} are {other.indexes.get(name, ([], {}))[0]}, of the others {labels}"
        return ""


def evaluate(
    build: Callable[..., Any], run: str | None, reduce: Any, point: Mapping[str, Any]
) -> tuple[Any, dict[str, str]]:
    """Result of one case, reduced to what is kept (a Dataset or a mapping of numbers), and its validity notes."""
    with hold_validity() as notes:
        made = build(**point)
        if run is not None and isinstance(made, Mapping) and not hasattr(made, "data_vars"):
            made = _runner(run)(**{"progress": False, **made})
        if hasattr(made, "data_vars") and made.attrs.get("status") == "interrupted":
            # simulate() keeps a cut history on Ctrl-C; no case of a study is one
            raise KeyboardInterrupt
        if callable(reduce):
            made = reduce(made)
        elif hasattr(made, "data_vars") and reduce is not None:
            missing = [name for name in reduce if name not in made.variables]
            if missing:
                raise InputError(f"the result has no {missing[0]!r}; it has {', '.join(map(str, made.data_vars))}.")
            made = made[list(reduce)]
        elif hasattr(made, "data_vars"):
            made = made.drop_dims([dim for dim in BULKY if dim in made.dims])
    return made, notes


def _runner(run: str) -> Callable[..., Any]:
    if run == "trial":
        from heatq.trials import trial

        return trial
    from heatq.conduction import simulate

    return simulate


def layout_of(result: Any) -> tuple[Layout, dict[str, npt.NDArray[Any]]]:
    """Layout of one result and its values."""
    variables: dict[str, tuple[tuple[str, ...], tuple[int, ...], str, dict[str, Any]]] = {}
    values: dict[str, npt.NDArray[Any]] = {}
    if not hasattr(result, "data_vars"):
        if not isinstance(result, Mapping):
            raise InputError(f"a case returned {type(result).__name__}; return a Dataset or a dict of numbers.")
        for name, value in result.items():
            array = np.asarray(value)
            if array.shape != ():
                raise InputError(
                    f"a case returned {name} of shape {array.shape}; a dict holds plain numbers, arrays need a Dataset."
                )
            values[str(name)] = _checked(str(name), array)
            variables[str(name)] = ((), (), _kind(values[str(name)]), {})
        return Layout(variables, {}), values
    indexes = {}
    coords = []
    dims, coordinates = frozenset(result.dims), frozenset(result.coords)  # once: each is made anew when asked for
    for name, variable in result.variables.items():
        key = str(name)
        if key in dims:
            indexes[key] = (_index(variable.values), _plain(variable.attrs))
            continue
        if name in coordinates and variable.values.dtype.kind not in "biuf":
            continue  # a word that labels the case, such as the probe left by .sel(probe=...)
        values[key] = _checked(key, variable.values)
        variables[key] = (tuple(map(str, variable.dims)), variable.shape, _kind(values[key]), _plain(variable.attrs))
        if name in coordinates:
            coords.append(key)
    return Layout(variables, indexes, tuple(coords)), values


def _checked(name: str, array: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if array.dtype.kind not in "biuf":
        raise InputError(f"a case returned {name} of type {array.dtype}; only numbers are kept.")
    return array


def _index(labels: npt.NDArray[Any]) -> list[Any]:
    """Numbers and texts as they are; dates and objects as their text."""
    return labels.tolist() if labels.dtype.kind in "biufU" else labels.astype(str).tolist()


def _plain(attrs: Mapping[Any, Any]) -> dict[str, Any]:
    """Attributes that can be compared and written as JSON: numbers, texts and lists of them; all else as its text."""
    found: dict[str, Any] = {}
    for name, value in attrs.items():
        if name == "why_missing":
            continue  # true of this case alone
        if type(value) not in (str, int, float, bool):
            value = value.tolist() if hasattr(value, "tolist") else value
            if not isinstance(value, (str, int, float, bool, list)):
                value = str(value)
        found[str(name)] = value
    return found


def _kind(array: npt.NDArray[Any]) -> str:
    """Everything is stored as floating-point numbers, so that a hole can be NaN; booleans become 0 and 1."""
    return "f8" if array.dtype.kind != "f" or array.dtype.itemsize > 4 else "f4"


@dataclasses.dataclass(frozen=True)
class Outcome:
    """What one case came to: its layout (none if it failed), its values, and what is to be said about it."""

    layout: Layout | None
    values: dict[str, npt.NDArray[Any]]
    message: str


@dataclasses.dataclass
class Batch:
    """Outcome of consecutive cases: status, messages by case number, and arrays with the case first."""

    first: int
    status: npt.NDArray[np.int8]
    messages: dict[int, str]
    arrays: dict[str, npt.NDArray[np.float64]]

    @classmethod
    def empty(cls, first: int, size: int, layout: Layout) -> Batch:
        """Holes, all missing."""
        arrays = {name: np.full((size, *shape), np.nan, kind) for name, (_, shape, kind, _) in layout.variables.items()}
        return cls(first, np.full(size, MISSING, np.int8), {}, arrays)

    def put(self, n: int, outcome: Outcome) -> None:
        """Enter the n-th case, which fits the layout or has failed."""
        if outcome.message:
            self.messages[self.first + n] = outcome.message
        self.status[n] = FAILED if outcome.layout is None else OK
        for name, value in outcome.values.items():
            self.arrays[name][n] = value

    def join(self, other: Batch) -> Batch:
        """One batch of this and the one that follows it."""
        arrays = {name: np.concatenate([values, other.arrays[name]]) for name, values in self.arrays.items()}
        return Batch(self.first, np.concatenate([self.status, other.status]), self.messages | other.messages, arrays)


@contextlib.contextmanager
def ctrl_c_waits(stopping: threading.Event) -> Iterator[None]:
    """Within this, Ctrl-C sets ``stopping`` instead of falling into a case, which simulate() would end early and return.

    A second Ctrl-C is one as ever. Only in the main thread, which alone gets it, and not where a program has its own handler.
    """

    def note(number: int, frame: Any) -> None:
        if stopping.is_set():
            raise KeyboardInterrupt
        stopping.set()

    own = threading.current_thread() is threading.main_thread()
    if not own or signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        yield
        return
    signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def run_case(
    build: Callable[..., Any],
    run: str | None,
    reduce: Any,
    layout: Layout | None,
    point: Mapping[str, Any],
    stop_on_error: bool = False,
) -> Outcome:
    """Run one case, which must look like ``layout`` if there is one; an exception becomes its message."""
    try:
        result, notes = evaluate(build, run, reduce, point)
        outcome = Outcome(*layout_of(result), "; ".join(notes.values()))
        return outcome if layout is None else fitting(outcome, layout, stop_on_error)
    except Exception as error:
        if stop_on_error:
            raise
        return _failed(error)


def fitting(outcome: Outcome, layout: Layout, stop_on_error: bool = False) -> Outcome:
    """The outcome if it fits; as failed if it does not."""
    found = outcome.layout
    if found is None or (found.variables == layout.variables and found.indexes == layout.indexes):
        return outcome
    differs = layout.difference(found)
    if not differs:
        return outcome
    error = InputError(f"this case returned something else than the others: {differs}.")
    if stop_on_error:
        raise error
    return _failed(error)


def _failed(error: Exception) -> Outcome:
    return Outcome(None, {}, f"{type(error).__name__}: {error}")


def run_cases(
    build: Callable[..., Any],
    run: str | None,
    reduce: Any,
    layout: Layout,
    first: int,
    points: Sequence[Mapping[str, Any]],
    stop_on_error: bool = False,
    stopping: threading.Event | None = None,
) -> Batch:
    """Run consecutive cases one after the other into a batch; an exception of a case becomes its message.

    Once ``stopping`` is set, and on Ctrl-C, which sets it, the cases that are left stay "missing".
    """
    if stopping is None:  # in another process: what Ctrl-C cut there is not kept
        stopping = threading.Event()
        with ctrl_c_waits(stopping):
            batch = run_cases(build, run, reduce, layout, first, points, stop_on_error, stopping)
        if stopping.is_set():
            raise KeyboardInterrupt
        return batch
    batch = Batch.empty(first, len(points), layout)
    for n, point in enumerate(points):
        if stopping.is_set():
            break
        try:
            batch.put(n, run_case(build, run, reduce, layout, point, stop_on_error))
        except KeyboardInterrupt:
            stopping.set()
            break
    return batch
