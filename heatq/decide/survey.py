"""Anemometer readings over the work zone of a furnace: mean and spread."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.constants import foot, inch, milli, minute

from heatq.errors import DataError, InputError, check_number
from heatq.files import read_rows

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["read_survey", "velocity_survey"]

Array = npt.NDArray[np.float64]

_LENGTHS = {"m": 1.0, "cm": 0.01, "mm": milli, "in": inch, "inch": inch}
_SPEEDS = {"m/s": 1.0, "ft/min": foot / minute, "ft/s": foot}


def velocity_survey(
    velocities: Sequence[float] | Array, positions: Sequence[Sequence[float]] | Array | None = None
) -> xr.Dataset:
    """Mean and spread of anemometer readings over a work zone.

    Parameters
    ----------
    velocities : sequence of float
        m/s, each for an equal share of the cross-section.
    positions : sequence of (x, y) or (x, y, z), optional
        m.

    Returns
    -------
    Dataset
        ``velocity(reading)``, and ``mean``, ``standard_deviation`` (between places), ``minimum``, ``maximum`` in m/s,
        ``unevenness`` = (maximum - minimum)/mean and ``variation`` = standard deviation/mean.

    Examples
    --------
    >>> survey = velocity_survey([8.0, 10.0, 12.0, 10.0])
    >>> float(survey["mean"]), float(survey.unevenness), round(float(survey.standard_deviation), 3)
    (10.0, 0.4, 1.633)
    """
    import xarray as xr

    try:
        values = np.asarray(velocities, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"velocities = {velocities!r} must be numbers in m/s.") from None
    if values.ndim != 1 or values.size < 2:
        raise InputError("a survey needs at least two velocities, in one list.")
    for value in values:
        check_number("velocity", value, "velocity", low_open=True)
    speed = {"units": "m/s"}
    mean = float(values.mean())
    spread = float(values.std(ddof=1))
    data = xr.Dataset(
        {
            "velocity": ("reading", values, {**speed, "long_name": "velocity"}),
            "mean": ((), mean, {**speed, "long_name": "mean velocity"}),
            "standard_deviation": ((), spread, {**speed, "long_name": "standard deviation between places"}),
            "minimum": ((), float(values.min()), {**speed, "long_name": "lowest velocity"}),
            "maximum": ((), float(values.max()), {**speed, "long_name": "highest velocity"}),
            "unevenness": (
                (),
                float(np.ptp(values)) / mean,
                {"units": "1", "long_name": "highest less lowest velocity over the mean"},
            ),
            "variation": ((), spread / mean, {"units": "1", "long_name": "standard deviation over the mean"}),
        },
        coords={"reading": ("reading", np.arange(1, values.size + 1), {"units": "1", "long_name": "reading"})},
    )
    if positions is not None:
        try:
            places = np.asarray(positions, dtype=float)
        except (TypeError, ValueError):
            places = np.empty(0)
        if places.ndim != 2 or places.shape[0] != values.size or places.shape[1] not in (1, 2, 3):
            raise InputError(
                f"positions must hold one (x, y) or (x, y, z) in m for each of the {values.size} velocities."
            )
        for axis, column in zip("xyz", places.T, strict=False):
            data.coords[axis] = ("reading", column, {"units": "m", "long_name": f"place {axis}"})
    return data


def read_survey(path: str | os.PathLike[str]) -> xr.Dataset:
    r"""Read a survey: a delimited file with a velocity column and, optionally, positions.

    Parameters
    ----------
    path : path
        CSV, semicolon- or tab-separated. Columns ``velocity (m/s)`` (or ft/min) and ``x (mm)``, ``y (mm)``, ``z (mm)`` (or m, cm, in);
        the header states the unit. Other columns are not read.

    Returns
    -------
    Dataset
        As of `velocity_survey`.

    Raises
    ------
    DataError
        Naming file, line and column of what cannot be read.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp(), "survey.csv")
    >>> _ = file.write_text("x (mm);y (mm);velocity (m/s)\n-200;0;9,5\n200;0;12,5\n")
    >>> float(read_survey(file)["mean"])
    11.0
    """
    table = read_rows(path)
    found: dict[str, tuple[int, float]] = {}
    for n, header in enumerate(table.header):
        text = re.sub(r"[\s()\[\],]+", " ", header.casefold()).strip()
        name, _, unit = text.partition(" ")
        if name in ("velocity", "speed", "v", "x", "y", "z"):
            known = _LENGTHS if name in "xyz" else _SPEEDS
            if unit not in known:
                raise DataError(
                    f"{table.path}, line {table.header_line}, column {header}: the header must state the unit, one of "
                    f"{', '.join(known)}, as in '{name} ({next(iter(known))})'."
                )
            found[name if name in "xyz" else "velocity"] = (n, known[unit])
    if "velocity" not in found:
        raise DataError(
            f"{table.path}, line {table.header_line}: no velocity column among {', '.join(table.header)}; name it 'velocity (m/s)'."
        )
    columns = {}
    for name, (n, factor) in found.items():
        columns[name] = np.array([table.column(n, row) for row in table.rows]) * factor
    for row, value in zip(table.rows, columns["velocity"], strict=True):
        if not 0.0 < value < 340.0:
            raise DataError(
                f"{table.path}, line {row.line}: a velocity of {value:g} m/s; does the header state the right unit?"
            )
    if len(table.rows) < 2:
        raise DataError(f"{table.path} holds one reading; a survey needs at least two.")
    axes = [axis for axis in "xyz" if axis in found]
    data = velocity_survey(columns["velocity"], np.array([columns[axis] for axis in axes]).T if axes else None)
    data = data.rename({made: axis for made, axis in zip("xyz", axes, strict=False) if made != axis})
    data.attrs["source"] = str(path)
    return data
