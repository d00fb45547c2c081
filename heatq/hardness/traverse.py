"""Measured hardness traverses of end-quench bars: reading and comparing."""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import inch, milli

from heatq.errors import DataError, InputError
from heatq.files import read_rows
from heatq.hardness.conversion import hrc_from_hv

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["compare_traverse", "read_traverse"]

_DISTANCE = {
    "j": inch / 16,
    "sixteenths": inch / 16,
    "1/16 in": inch / 16,
    "distance 1/16 in": inch / 16,
    "mm": milli,
    "distance mm": milli,
    "in": inch,
    "inch": inch,
    "distance in": inch,
    "distance inch": inch,
}


def _plain(header: str) -> str:
    return re.sub(r"[\s_()\[\],]+", " ", header.casefold()).strip()


def read_traverse(path: str | os.PathLike[str]) -> xr.Dataset:
    r"""Read a hardness traverse: a delimited file with a distance and a hardness column.

    Parameters
    ----------
    path : path
        CSV, semicolon- or tab-separated; decimal comma allowed where the comma does not separate. The header of the
        distance column states its unit: ``J`` (sixteenths of an inch), ``distance mm`` or ``distance in``; hardness is
        ``HRC`` or ``HV``.

    Returns
    -------
    xarray.Dataset
        ``measured_hrc(point)`` and ``distance(point)`` in m.

    Raises
    ------
    DataError
        Naming file, line and column of what cannot be read.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp(), "lab.csv")
    >>> _ = file.write_text("J;HRC\n1;57,5\n8;54,0\n")
    >>> read_traverse(file).measured_hrc.values
    array([57.5, 54. ])
    """
    import xarray as xr

    table = read_rows(path)
    names = [_plain(name) for name in table.header]
    distance = [n for n, name in enumerate(names) if name in _DISTANCE]
    hardness = [n for n, name in enumerate(names) if name in ("hrc", "hv", "hardness hrc", "hardness hv")]
    if not distance or not hardness:
        lacking = "distance" if not distance else "hardness"
        raise DataError(
            f"{table.path}, line {table.header_line}: no {lacking} column among {', '.join(table.header)}. Name the "
            "distance column J (sixteenths of an inch), 'distance mm' or 'distance in', "
            "and the hardness column HRC or HV."
        )
    unit = _DISTANCE[names[distance[0]]]
    where = np.array([table.column(distance[0], row) for row in table.rows]) * unit
    value = np.array([table.column(hardness[0], row) for row in table.rows])
    for row, metres in zip(table.rows, where, strict=True):
        if not 0.0 < metres < 0.5:
            raise DataError(
                f"{table.path}, line {row.line}, column {table.header[distance[0]]}: {metres / milli:g} mm "
                "is outside 0 to 500 mm; does the header state the right unit?"
            )
    if names[hardness[0]].endswith("hv"):
        low, high, scale = 50.0, 1000.0, "HV"
    else:
        low, high, scale = 0.0, 70.0, "HRC"
    for row, number in zip(table.rows, value, strict=True):
        if not low <= number <= high:
            raise DataError(
                f"{table.path}, line {row.line}, column {table.header[hardness[0]]}: {number:g} {scale} is outside "
                f"{low:g} to {high:g} {scale}."
            )
    order = np.argsort(where, kind="stable")
    hrc = np.asarray(hrc_from_hv(value)) if scale == "HV" else value
    return xr.Dataset(
        {"measured_hrc": ("point", hrc[order], {"units": "HRC", "long_name": "measured hardness"})},
        coords={"distance": ("point", where[order], {"units": "m", "long_name": "distance from the quenched end"})},
        attrs={"source": str(path)},
    )


def compare_traverse(result: Any, measured: xr.Dataset) -> xr.Dataset:
    """Predicted less measured hardness at every measured point.

    Parameters
    ----------
    result : xarray.Dataset
        A trial of an end-quench bar with ``hardness_hrc(probe)`` and ``distance(probe)``.
    measured : xarray.Dataset
        As `read_traverse` returns it.

    Returns
    -------
    xarray.Dataset
        ``measured``, with ``predicted_hrc(point)`` and ``deviation(point)`` in HRC added; NaN where the prediction is
        below 20 HRC or the point lies beyond the probes. The attribute ``rms`` is over the comparable points.
    """
    if "distance" not in result.coords:
        raise InputError("result has no distance from a quenched end: a traverse compares with an end-quench trial.")
    order = np.argsort(result["distance"].values)
    where, hardness = result["distance"].values[order], result["hardness_hrc"].values[order]
    predicted = np.interp(measured["distance"].values, where, hardness, left=np.nan, right=np.nan)
    out = measured.copy()
    out["predicted_hrc"] = ("point", predicted, {"units": "HRC", "long_name": "predicted hardness"})
    deviation = predicted - measured["measured_hrc"].values
    out["deviation"] = ("point", deviation, {"units": "HRC", "long_name": "predicted less measured hardness"})
    good = np.isfinite(deviation)
    out.attrs["rms"] = float(np.sqrt(np.mean(deviation[good] ** 2))) if good.any() else float("nan")
    return out
