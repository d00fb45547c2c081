"""A study on disk: a Zarr group that survives a kill and goes on where it stopped.

Every chunk of cases is written in full, and only then a small file ``done/<number>.json`` appears (renamed into place), with
the messages of its cases. After a kill, what has no such file is run again and overwrites what was half written. A lock, held by
the operating system for as long as the process lives, lets one process at a time write.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import inspect
import json
import os
import pathlib
import re
import threading
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import DataError, InputError
from heatq.studies.packing import MISSING, OK, Batch, Layout
from heatq.studies.points import Points

__all__ = ["Store", "definition_of", "held_points", "read_arrays", "read_done", "read_layout"]

_FORMAT = 1


def _zarr() -> Any:
    try:
        import zarr
    except ImportError:
        raise InputError("store= needs the package zarr: pip install 'heatq[study]'.") from None
    return zarr


def held_points(path: str | os.PathLike[str]) -> tuple[dict[str, Any], Points]:
    """What a store says about its study, and its points.

    Raises
    ------
    InputError
        If there is no study at this place.
    """
    file = pathlib.Path(path) / "study.json"
    if not file.exists():
        raise InputError(
            f"store = {str(path)!r} holds no study; look at the name, or begin one with study(..., store=...)."
        )
    held = json.loads(file.read_text(encoding="utf-8"))
    return held, Points.read(held["points"])


def definition_of(points: Points, build: Any, run: str | None, reduce: Any, given: str) -> dict[str, Any]:
    """What makes a study this one: its points, its functions and the version of heatq."""
    return {
        "format": _FORMAT,
        "heatq": __version__,
        "dimensions": list(points.dims),
        "sizes": list(points.shape),
        "parameters": points.fingerprint(),
        "build": identity(build),
        "run": run,
        "reduce": identity(reduce) if callable(reduce) else (None if reduce is None else list(reduce)),
        "definition": given,
    }


def identity(function: Any) -> str:
    """Name and digest of a function: its source where there is one, its compiled code otherwise, and what is bound to it.

    Global variables that the function reads are not seen.
    """
    if isinstance(function, functools.partial):
        return f"{identity(function.func)} {_clean((function.args, function.keywords))}"
    bound = ""
    code = function
    if not hasattr(function, "__code__"):
        bound = _clean(function)
        code = type(function).__call__
    try:
        text = inspect.getsource(code)
    except (OSError, TypeError):
        held = getattr(code, "__code__", None)
        text = "" if held is None else f"{held.co_code!r}{_clean(held.co_consts)}{held.co_names}"
    cells = [_clean(cell.cell_contents) for cell in (getattr(function, "__closure__", None) or ()) if _filled(cell)]
    defaults = _clean(getattr(function, "__defaults__", None))
    name = getattr(function, "__qualname__", type(function).__qualname__)
    digest = hashlib.sha256("\n".join([text, bound, defaults, *cells]).encode()).hexdigest()[:16]
    return f"{name} {digest}"


def _filled(cell: Any) -> bool:
    try:
        _ = cell.cell_contents
    except ValueError:
        return False
    return True


def _clean(value: Any) -> str:
    """Text of a value without addresses in memory."""
    return re.sub(r" at 0x[0-9a-fA-F]+", "", repr(value))


class Store:
    """The arrays of a study in a Zarr group, one process at a time.

    Parameters
    ----------
    path : path-like
        Folder of the group.
    definition : dict
        Of the study; an existing store of another one is refused.
    points : Points
        Of the study.
    chunk : int
        Cases per chunk for a new store; an existing one keeps its own.
    """

    def __init__(self, path: str | os.PathLike[str], definition: dict[str, Any], points: Points, chunk: int) -> None:
        self.zarr = _zarr()
        self.path = pathlib.Path(path)
        self.points, self.count = points, points.count
        self.group: Any = None
        if self.path.exists() and not self.path.is_dir():
            raise InputError(f"store = {str(path)!r} is a file; name a folder, such as 'study.zarr'.")
        with self._told():
            self.path.mkdir(parents=True, exist_ok=True)
            (self.path / "done").mkdir(exist_ok=True)
        self._lock = _lock(self.path)
        try:
            self.chunk = self._begin(definition, chunk)
        except BaseException:
            self.close()
            raise

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            done = 0
            with contextlib.suppress(OSError):
                done = len(list((self.path / "done").glob("*.json")))
            raise DataError(
                f"store {str(self.path)!r} cannot be written: {error.strerror or error}. {done} finished chunks are safe; mend it "
                "and make the same call again to go on."
            ) from error

    def _begin(self, definition: dict[str, Any], chunk: int) -> int:
        file = self.path / "study.json"
        if file.exists():
            held = json.loads(file.read_text(encoding="utf-8"))
            differs = _difference(held["definition"], json.loads(json.dumps(definition)))
            if differs:
                raise InputError(
                    f"store = {str(self.path)!r} holds another study: {differs}. Name another store, or remove this one to begin anew."
                )
            return int(held["chunk"])
        if any(self.path.iterdir()) and (self.path / "zarr.json").exists():
            raise InputError(
                f"store = {str(self.path)!r} is a Zarr group that is not a study of heatq; name another folder."
            )
        self._write(file, json.dumps({"definition": definition, "chunk": chunk, "points": self.points.written()}))
        return chunk

    def _write(self, file: pathlib.Path, text: str) -> None:
        """Write a small file so that it is there in full or not at all."""
        part = file.with_suffix(".part")
        with self._told():
            part.write_text(text, encoding="utf-8")
            os.replace(part, file)

    def layout(self) -> Layout | None:
        """Layout of the cases, if one was stored."""
        return read_layout(self.path)

    def prepare(self, layout: Layout) -> None:
        """Make the arrays, empty, if they are not there."""
        with self._told():
            self.group = self.zarr.open_group(str(self.path), mode="a", zarr_format=3)
            held = self.layout()  # written after the arrays were made
            have = set() if held is None else {"status", *held.variables, *held.indexes}
            arrays: dict[str, tuple[tuple[str, ...], tuple[int, ...], str, dict[str, Any]]] = {
                "status": ((), (), "i1", {"units": "1", "long_name": "0 missing, 1 ok, 2 failed"}),
                **layout.variables,
            }
            for name, (dims, shape, kind, attrs) in arrays.items():
                if name in have:
                    continue
                self.group.create_array(
                    name,
                    shape=(self.count, *shape),
                    chunks=(min(self.chunk, self.count), *(max(1, n) for n in shape)),
                    dtype=kind,
                    fill_value=MISSING if name == "status" else float("nan"),
                    dimension_names=("case", *dims),
                    attributes=attrs,
                    overwrite=True,
                )
            for name, (labels, attrs) in layout.indexes.items():
                if all(isinstance(label, (int, float)) for label in labels) and name not in have:
                    index = self.group.create_array(
                        name,
                        shape=(len(labels),),
                        dtype="f8",
                        dimension_names=(name,),
                        attributes=attrs,
                        overwrite=True,
                    )
                    index[:] = np.array(labels, float)
        if held is None:
            self._write(
                self.path / "layout.json",
                json.dumps({"variables": layout.variables, "indexes": layout.indexes, "coords": layout.coords}),
            )

    def done(self) -> dict[int, dict[int, str]]:
        """Finished chunks with the messages of their cases."""
        return read_done(self.path)

    def save(self, batch: Batch) -> None:
        """Write one finished chunk: the arrays first, its mark last."""
        if self.group is None:
            raise RuntimeError("prepare() comes before save()")
        rows = slice(batch.first, batch.first + len(batch.status))
        with self._told():
            for name, values in batch.arrays.items():
                self.group[name][rows] = values
            self.group["status"][rows] = batch.status
        self._write(
            self.path / "done" / f"{batch.first // self.chunk:06d}.json", json.dumps({"messages": batch.messages})
        )

    def finish(self) -> None:
        """Gather the metadata, so that the group opens quickly and quietly elsewhere."""
        if self.group is None:
            return
        with self._told(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.zarr.consolidate_metadata(str(self.path))

    def read(self, layout: Layout) -> tuple[npt.NDArray[np.int8], dict[str, npt.NDArray[Any]]]:
        """Status and arrays of all cases."""
        return read_arrays(self.path, layout, self.count, self.chunk)

    def close(self) -> None:
        """Let the next process in."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None
            _HELD.discard(os.path.realpath(self.path))


def read_layout(path: pathlib.Path) -> Layout | None:
    """Layout of the cases, if one was stored."""
    file = path / "layout.json"
    if not file.exists():
        return None
    held = json.loads(file.read_text(encoding="utf-8"))
    variables = {
        name: (tuple(dims), tuple(shape), kind, attrs) for name, (dims, shape, kind, attrs) in held["variables"].items()
    }
    indexes = {name: (labels, attrs) for name, (labels, attrs) in held["indexes"].items()}
    return Layout(variables, indexes, tuple(held["coords"]))


def read_done(path: pathlib.Path) -> dict[int, dict[int, str]]:
    """Finished chunks with the messages of their cases."""
    found = {}
    for file in sorted((path / "done").glob("*.json")):
        try:
            held = json.loads(file.read_text(encoding="utf-8"))
        except ValueError:
            continue  # cut by a loss of power: the chunk is run again
        found[int(file.stem)] = {int(case): text for case, text in held["messages"].items()}
    return found


def read_arrays(
    path: pathlib.Path, layout: Layout, count: int, chunk: int
) -> tuple[npt.NDArray[np.int8], dict[str, npt.NDArray[Any]]]:
    """Status and arrays of all cases; what stands in unfinished chunks does not count."""
    group = _zarr().open_group(str(path), mode="r")
    status = np.full(count, MISSING, np.int8)
    whole = group["status"][:]
    for number in read_done(path):
        rows = slice(number * chunk, min((number + 1) * chunk, count))
        status[rows] = whole[rows]
    arrays = {name: group[name][:] for name in layout.variables}
    for values in arrays.values():
        values[status != OK] = np.nan
    return status, arrays


def _difference(held: dict[str, Any], wanted: dict[str, Any]) -> str:
    """First difference of two definitions, in words."""
    for name in ("format", "heatq", "dimensions", "sizes"):
        if held[name] != wanted[name]:
            what = {"format": "format of the store", "heatq": "version of heatq"}.get(name, f"{name} of the grid")
            return f"its {what} is {held[name]}, now {wanted[name]}"
    for name, digest in wanted["parameters"].items():
        if held["parameters"].get(name) != digest:
            return f"the values of {name} differ"
    for name, what in (("build", "build"), ("reduce", "reduce")):
        if held[name] != wanted[name]:
            return (
                f"{what} was {str(held[name]).split(' ')[0]} and has changed since (its source, or what is bound to it)"
            )
    if held["run"] != wanted["run"]:
        return f"run was {held['run']!r}, now {wanted['run']!r}"
    if held["definition"] != wanted["definition"]:
        return f"definition was {held['definition']!r}, now {wanted['definition']!r}"
    return ""


#: Stores that this process holds. A lock of the system is the process's: it would not keep a second study of the same
#: process out, and closing the file there would let go of it.
_HELD: set[str] = set()
_HELD_GUARD = threading.Lock()


def _lock(path: pathlib.Path) -> Any:
    """Hold the store for this process; the system lets go of it when the process ends, however it ends."""
    file, place = path / "lock", os.path.realpath(path)
    with _HELD_GUARD:
        if place in _HELD:
            raise InputError(
                f"store = {str(path)!r} is in use by process {os.getpid()}; wait for it, or name another store."
            )
        handle = _lock_file(path, file)
        _HELD.add(place)
    return handle


def _lock_file(path: pathlib.Path, file: pathlib.Path) -> Any:
    try:
        handle = open(file, "a+", encoding="utf-8")  # noqa: SIM115 - held until close()
    except OSError as error:
        raise DataError(f"store {str(path)!r} cannot be written: {error.strerror or error}.") from error
    try:
        _seize(handle)
    except OSError:
        handle.seek(0)
        holder = handle.read().strip() or "unknown"
        handle.close()
        raise InputError(
            f"store = {str(path)!r} is in use by process {holder}; wait for it, or name another store."
        ) from None
    handle.seek(0)
    handle.truncate()
    handle.write(str(os.getpid()))
    handle.flush()
    return handle


def _seize(handle: Any) -> None:
    if os.name == "nt":
        import msvcrt

        handle.seek(1 << 20)  # a place beyond the text, which stays readable
        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    else:
        import fcntl

        # not flock(): that one is inherited by forked workers of a pool, which outlive a killed parent
        fcntl.lockf(handle.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
