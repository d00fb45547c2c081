"""From the result of one case to arrays of many: what is kept, its layout, and where it does not fit."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import inspect
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq import trials
from heatq.conduction import run as conduction
from heatq.errors import InputError, hold_validity

__all__ = ["FAILED", "MISSING", "OK", "Batch", "Layout", "Outcome", "fitting", "run_case", "run_cases"]

MISSING, OK, FAILED = 0, 1, 2
#: Dimensions of histories and fields, which are not kept unless they are asked for.
BULKY = frozenset(("time", "field_time", "cell_r", "cell_z"))


#: Trials whose hardness is worked out together: what costs there is the number of calls. Their histories are kept until then.
TOGETHER = 32


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


class Plain(NamedTuple):
    """What `xarray.Dataset` is made of: name -> (dimensions, values, attributes) of variables and of coordinates, attributes."""

    variables: Mapping[str, tuple[Any, npt.NDArray[Any], Mapping[str, Any]]]
    coords: Mapping[str, tuple[Any, npt.NDArray[Any], Mapping[str, Any]]]
    attrs: Mapping[str, Any]

    def dataset(self) -> Any:
        """The Dataset; making it takes about as long as all of heatq's own work on a long bar."""
        import xarray as xr

        return xr.Dataset(self.variables, self.coords, self.attrs)

    def small(self) -> Plain:
        """What has no dimension of a history or a field."""
        variables, coords = (
            {name: one for name, one in part.items() if not _is_bulky(one[0])} for part in (self.variables, self.coords)
        )
        return Plain(variables, coords, self.attrs)

    def chosen(self, names: Sequence[str]) -> Plain:
        """Variables by name with the coordinates along their dimensions."""
        missing = [name for name in names if name not in self.variables and name not in self.coords]
        if missing:
            raise _unknown(missing[0], self.variables)
        both = {**self.variables, **self.coords}
        needed = {dim for name in names for dim in _dims(both[name][0])}
        beside = {name: one for name, one in self.coords.items() if needed.issuperset(_dims(one[0]))}
        return Plain(
            {name: self.variables[name] for name in names if name in self.variables},
            {name: self.coords[name] for name in names if name in self.coords} | beside,
            self.attrs,
        )


@functools.lru_cache
def _dims(given: str | tuple[str, ...]) -> tuple[str, ...]:
    """Dimensions as a tuple; one may be given by its name alone."""
    return (given,) if isinstance(given, str) else given


@functools.lru_cache
def _is_bulky(given: str | tuple[str, ...]) -> bool:
    return not BULKY.isdisjoint(_dims(given))


def _unknown(name: str, known: Iterable[Any]) -> InputError:
    return InputError(f"the result has no {name!r}; it has {', '.join(map(str, known))}.")


def evaluate(
    build: Callable[..., Any], run: str | None, reduce: Any, point: Mapping[str, Any], may_wait: bool = False
) -> tuple[Any, dict[str, str]]:
    """Result of one case, reduced to what is kept (a Dataset, what one is made of, or numbers), and its validity notes.

    If it may wait, a trial is only begun.
    """
    with hold_validity() as notes:
        made = build(**point)
        if run is not None and isinstance(made, Mapping) and not hasattr(made, "data_vars"):
            whole, plain, begin = _runners(run)
            if not _takes(whole, made):
                made = whole(**made)  # says what is wrong
            elif may_wait and begin is not None and "with_interval" not in made:
                return _uncut(begin(**{"progress": False, **made})), notes
            else:
                made = Plain(*plain(**{"progress": False, **made}))
        return _reduced(_uncut(made), reduce), notes


def _uncut(made: Any) -> Any:
    """The result itself; simulate() keeps a cut history on Ctrl-C, and no case of a study is one."""
    if getattr(made, "attrs", {}).get("status") == "interrupted":
        raise KeyboardInterrupt
    return made


def _reduced(made: Any, reduce: Any) -> Any:
    """What is kept of a result."""
    if callable(reduce):
        return reduce(made.dataset() if isinstance(made, Plain) else made)
    if isinstance(made, Plain):
        return made.small() if reduce is None else made.chosen(reduce)
    if not hasattr(made, "data_vars"):
        return made
    if reduce is None:
        return made.drop_dims([dim for dim in BULKY if dim in made.dims])
    missing = [name for name in reduce if name not in made.variables]
    if missing:
        raise _unknown(missing[0], made.data_vars)
    return made[list(reduce)]


def _runners(run: str) -> tuple[Callable[..., Any], Callable[..., Any], Callable[..., Any] | None]:
    """What runs a case: to a Dataset, to what one is made of, and of a trial the part before hardness."""
    if run == "trial":
        return trials.trial, trials.predict, trials.begin
    return conduction.simulate, conduction.solve, None


@functools.lru_cache
def _parameters(function: Callable[..., Any]) -> tuple[frozenset[str], frozenset[str]]:
    """Parameters that have to be given, and all."""
    known = inspect.signature(function).parameters.values()
    return frozenset(one.name for one in known if one.default is one.empty), frozenset(one.name for one in known)


def _takes(function: Callable[..., Any], given: Mapping[str, Any]) -> bool:
    needed, known = _parameters(function)
    return needed <= given.keys() <= known


def _parts(result: Any) -> Iterator[tuple[str, tuple[str, ...], npt.NDArray[Any], Mapping[Any, Any], bool]]:
    """Name, dimensions, values and attributes of each variable of a result, and whether it is a coordinate."""
    if isinstance(result, Plain):
        for is_coordinate, part in ((False, result.variables), (True, result.coords)):
            for key, (dims, array, attrs) in part.items():
                yield key, _dims(dims), array, attrs, is_coordinate
    elif hasattr(result, "data_vars"):
        coordinates = frozenset(result.coords)  # once: it is made anew when asked for
        for name, variable in result.variables.items():
            yield str(name), tuple(map(str, variable.dims)), variable.values, variable.attrs, name in coordinates
    elif isinstance(result, Mapping):
        for name, value in result.items():
            array = np.asarray(value)
            if array.shape != ():
                raise InputError(
                    f"a case returned {name} of shape {array.shape}; a dict holds plain numbers, arrays need a Dataset."
                )
            yield str(name), (), array, {}, False
    else:
        raise InputError(f"a case returned {type(result).__name__}; return a Dataset or a dict of numbers.")


def layout_of(result: Any, known: Layout | None = None) -> tuple[Layout, dict[str, npt.NDArray[Any]]]:
    """Layout of one result and its values; ``known`` itself if the result looks like it."""
    parts = list(_parts(result))
    if known is not None:
        alike = _values_alike(parts, known)
        if alike is not None:
            return known, alike
    variables: dict[str, tuple[tuple[str, ...], tuple[int, ...], str, dict[str, Any]]] = {}
    values: dict[str, npt.NDArray[Any]] = {}
    indexes = {}
    coords = []
    for name, dims, array, attrs, is_coordinate in parts:
        if dims == (name,):
            indexes[name] = (_index(array), _plain(attrs))
            continue
        if is_coordinate and array.dtype.kind not in "biuf":
            continue  # a word that labels the case, such as the probe left by .sel(probe=...)
        values[name] = _checked(name, array)
        variables[name] = (dims, array.shape, _kind(array), _plain(attrs))
        if is_coordinate:
            coords.append(name)
    return Layout(variables, indexes, tuple(coords)), values


def _values_alike(parts: Sequence[tuple[Any, ...]], known: Layout) -> dict[str, npt.NDArray[Any]] | None:
    """Values of a result in which everything is as in a known layout; None if anything is not, or is not looked at here."""
    values = {}
    labelled = 0
    for name, dims, array, _, _ in parts:
        held = known.variables.get(name)
        if held is not None and held[0] == dims and held[1] == array.shape and held[2] == _kind(array):
            values[name] = array
        elif dims == (name,) and name in known.indexes and known.indexes[name][0] == _index(array):
            labelled += 1
        else:
            return None
    return values if len(values) == len(known.variables) and labelled == len(known.indexes) else None


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
    """Everything is stored as floating-point numbers, so that a hole can be NaN; booleans become 0 and 1. Empty for words."""
    if array.dtype.kind not in "biuf":
        return ""
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
        return _outcome(*evaluate(build, run, reduce, point), layout, stop_on_error)
    except Exception as error:
        if stop_on_error:
            raise
        return _failed(error)


def _outcome(result: Any, notes: Mapping[str, str], layout: Layout | None, stop_on_error: bool = False) -> Outcome:
    outcome = Outcome(*layout_of(result, layout), "; ".join(notes.values()))
    return outcome if layout is None else fitting(outcome, layout, stop_on_error)


class Waiting(NamedTuple):
    """A trial that was begun: its number in the batch, what it is so far, and its validity notes."""

    n: int
    begun: trials.Begun
    notes: dict[str, str]


def finish_cases(waiting: Sequence[Waiting], reduce: Any, layout: Layout, batch: Batch) -> None:
    """Work out the hardness of trials together and enter them; one by one if that fails or there is something to be said."""
    if not waiting:
        return
    is_alone = len(waiting) == 1
    try:
        with hold_validity() as said:
            found = trials.predictions([one.begun.cooled for one in waiting])
    except Exception as error:
        if is_alone:
            batch.put(waiting[0].n, _failed(error))
        found = []
    if not is_alone and (said or not found):  # of which of them?
        for one in waiting:
            finish_cases([one], reduce, layout, batch)
        return
    for one, variables in zip(waiting, found, strict=False):
        try:
            whole = Plain(one.begun.variables | variables, one.begun.coords, one.begun.attrs)
            outcome = _outcome(_reduced(whole, reduce), one.notes | said, layout)
        except Exception as error:
            outcome = _failed(error)
        batch.put(one.n, outcome)


def fitting(outcome: Outcome, layout: Layout, stop_on_error: bool = False) -> Outcome:
    """The outcome if it fits; as failed if it does not."""
    found = outcome.layout
    if found is None or found is layout or (found.variables == layout.variables and found.indexes == layout.indexes):
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
    may_wait = run == "trial" and not stop_on_error and not callable(reduce)
    waiting: list[Waiting] = []
    try:
        for n, point in enumerate(points):
            if stopping.is_set():
                break
            if len(waiting) == TOGETHER:
                finish_cases(waiting, reduce, layout, batch)
                waiting = []
            try:
                result, notes = evaluate(build, run, reduce, point, may_wait)
                if isinstance(result, trials.Begun):
                    waiting.append(Waiting(n, result, notes))
                else:
                    batch.put(n, _outcome(result, notes, layout, stop_on_error))
            except KeyboardInterrupt:
                stopping.set()
                break
            except Exception as error:
                if stop_on_error:
                    raise
                batch.put(n, _failed(error))
        finish_cases(waiting, reduce, layout, batch)
    except KeyboardInterrupt:
        stopping.set()
    return batch
