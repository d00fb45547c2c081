"""The points of a study: a full factorial, a list, or a sample, as one numbered sequence of keyword arguments."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Points", "points_of"]


@dataclasses.dataclass(frozen=True)
class Points:
    """Numbered points: names of the dimensions, their sizes, the parameters with what the case number picks of them.

    ``columns`` holds, per parameter, its values (objects as they are), its label array for the coordinate, its attributes, and
    the dimension it runs along. ``attrs`` are those of a sample, handed on to the result.
    """

    dims: tuple[str, ...]
    shape: tuple[int, ...]
    columns: Mapping[str, tuple[Sequence[Any], npt.NDArray[Any], dict[str, Any], str]]
    attrs: Mapping[str, Any] = dataclasses.field(default_factory=dict)

    @property
    def count(self) -> int:
        """Number of cases."""
        return int(np.prod(self.shape, dtype=np.int64))

    def point(self, number: int) -> dict[str, Any]:
        """Keyword arguments of one case; the last dimension runs fastest."""
        place = dict(zip(self.dims, np.unravel_index(number, self.shape), strict=True))
        return {name: values[int(place[dim])] for name, (values, _, _, dim) in self.columns.items()}

    def told(self, number: int) -> str:
        """One case in words, for messages."""
        place = dict(zip(self.dims, np.unravel_index(number, self.shape), strict=True))
        return ", ".join(f"{name}={labels[int(place[dim])]}" for name, (_, labels, _, dim) in self.columns.items())

    def coords(self) -> dict[str, Any]:
        """Coordinates of the result."""
        found: dict[str, Any] = {name: (dim, labels, attrs) for name, (_, labels, attrs, dim) in self.columns.items()}
        for dim, size in zip(self.dims, self.shape, strict=True):
            found.setdefault(dim, (dim, np.arange(size), {"units": "1", "long_name": "number of the case"}))
        return found

    def written(self) -> dict[str, Any]:
        """Labels as JSON can hold them, for a store to name its dimensions later."""
        columns = {name: [labels.tolist(), attrs, dim] for name, (_, labels, attrs, dim) in self.columns.items()}
        return {"dims": list(self.dims), "shape": list(self.shape), "columns": columns, "attrs": dict(self.attrs)}

    @staticmethod
    def read(held: Mapping[str, Any]) -> Points:
        """Points from what :meth:`written` gave; labels stand for objects."""
        columns = {
            name: (labels, np.array(labels), attrs, dim) for name, (labels, attrs, dim) in held["columns"].items()
        }
        return Points(tuple(held["dims"]), tuple(held["shape"]), columns, held["attrs"])

    def fingerprint(self) -> dict[str, str]:
        """Parameter -> digest of its values, to tell a changed study from the same."""
        return {name: _digest([_told(value) for value in values]) for name, (values, *_) in self.columns.items()}


def _told(value: Any) -> str:
    return value.hex() if isinstance(value, float) else repr(value)


def _digest(parts: Sequence[str]) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]


def points_of(points: Any) -> Points:
    """Points from a dict of sequences (full factorial), a list of dicts, or a Dataset with the dimension ``case``.

    Raises
    ------
    InputError
        For anything else, an empty sequence, a NaN, or names that differ between the entries of a list.
    """
    if hasattr(points, "data_vars"):
        return _named(_from_dataset(points))
    if isinstance(points, Mapping):
        return _named(_factorial(points))
    if isinstance(points, Sequence) and not isinstance(points, str):
        return _named(_listed(points))
    raise InputError(
        f"points = {points!r} must be a dict of sequences (all combinations are run), a list of dicts (one case each), or what "
        "sample() returns."
    )


def _named(points: Points) -> Points:
    for name in ("status", "message"):
        if name in points.columns:
            raise InputError(f"points: {name!r} is what the result tells of each case; name the parameter otherwise.")
    return points


def _factorial(points: Mapping[str, Any]) -> Points:
    if not points:
        raise InputError("points is empty: name at least one parameter with its values.")
    columns = {}
    for name, given in points.items():
        values, attrs = _values(str(name), given)
        columns[str(name)] = (values, _labels(str(name), values), attrs, str(name))
    return Points(tuple(columns), tuple(len(values) for values, *_ in columns.values()), columns)


def _listed(points: Sequence[Any]) -> Points:
    if not points:
        raise InputError("points is empty: give at least one case.")
    for number, point in enumerate(points):
        if not isinstance(point, Mapping):
            raise InputError(f"points[{number}] = {point!r} must be a dict of parameter names and values.")
        if set(point) != set(points[0]):
            raise InputError(
                f"points[{number}] has the parameters {', '.join(map(str, point))}; the first has {', '.join(map(str, points[0]))}."
            )
    columns = {}
    for name in points[0]:
        values, attrs = _values(str(name), [point[name] for point in points])
        columns[str(name)] = (values, _labels(str(name), values), attrs, "case")
    return Points(("case",), (len(points),), columns)


def _from_dataset(points: xr.Dataset) -> Points:
    if "case" not in points.dims:
        raise InputError("points is a Dataset without the dimension 'case': pass what sample() returns.")
    columns = {}
    for name, array in points.variables.items():
        if array.dims == ("case",) and name != "case":
            values, _ = _values(str(name), array.values)
            columns[str(name)] = (values, np.asarray(array.values), dict(array.attrs), "case")
    if not columns:
        raise InputError("points is a Dataset without a parameter along 'case': pass what sample() returns.")
    return Points(("case",), (points.sizes["case"],), columns, dict(points.attrs))


def _values(name: str, given: Any) -> tuple[list[Any], dict[str, Any]]:
    """Values of one parameter as plain objects, and the attributes of its coordinate."""
    attrs: dict[str, Any] = {"long_name": name.replace("_", " ")}
    if hasattr(given, "attrs") and hasattr(given, "values"):
        attrs |= given.attrs
        given = given.values
    elif isinstance(given, tuple) and len(given) == 2 and isinstance(given[1], str) and not isinstance(given[0], str):
        given, attrs["units"] = given
    if isinstance(given, (str, bytes, Mapping)) or not hasattr(given, "__iter__"):
        raise InputError(
            f"points: {name} = {given!r} must be a sequence of values, such as [1.0, 2.0], even if it is one."
        )
    values = [value.item() if isinstance(value, np.generic) else value for value in given]
    if not values:
        raise InputError(f"points: {name} has no value.")
    for number, value in enumerate(values):
        if isinstance(value, float) and not np.isfinite(value):
            raise InputError(f"points: {name}[{number}] = {value!r} is no number; leave the case out.")
    return values, attrs


def _labels(name: str, values: list[Any]) -> npt.NDArray[Any]:
    """Numbers and texts as they are; objects by their name, label or, last, their text."""
    if all(isinstance(value, (bool, int, float)) for value in values):
        return np.array(values)
    labels = [
        value if isinstance(value, str) else str(getattr(value, "label", None) or getattr(value, "name", None) or value)
        for value in values
    ]
    if len(set(labels)) < len(set(map(repr, values))):
        raise InputError(f"points: two different values of {name} have the same name; give each its own.")
    return np.array(labels)
