"""Delimited text files in, with line numbers for the error messages; results out."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import pathlib
from typing import TYPE_CHECKING, NamedTuple

from heatq.errors import DataError

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Row", "Table", "parse_number", "read_rows", "read_text", "save_netcdf"]


class Row(NamedTuple):
    """One data row: its line number in the file and its cells."""

    line: int
    cells: list[str]


class Table(NamedTuple):
    """Header and rows of a delimited file; ``delimiter`` says how the cells were cut."""

    path: str
    header: list[str]
    header_line: int
    rows: list[Row]
    delimiter: str

    def column(self, index: int, row: Row) -> float:
        """Read the number in a cell, or raise a `DataError` that names file, line and column."""
        text = row.cells[index].strip() if index < len(row.cells) else ""
        return parse_number(text, f"{self.path}, line {row.line}, column {self.header[index]}", self.delimiter)


def parse_number(text: str, where: str, delimiter: str = ",") -> float:
    """Read a number with a decimal point, or with a decimal comma where the comma does not separate cells."""
    cleaned = text.strip()
    if delimiter != "," and cleaned.count(",") == 1 and "." not in cleaned:
        cleaned = cleaned.replace(",", ".")
    if not cleaned:
        raise DataError(f"{where}: the cell is empty; a number is needed.")
    try:
        number = float(cleaned.replace("_", " "))  # Python alone reads 1_000 as a number
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise DataError(f"{where}: {text.strip()!r} is not a number.")
    return number


def read_text(path: str | os.PathLike[str]) -> str:
    """Text of a file; UTF-8, with or without byte-order mark.

    Raises
    ------
    DataError
        If the file is missing, a folder, empty, or not text.
    """
    where = pathlib.Path(path)
    try:
        raw = where.read_bytes()
    except FileNotFoundError:
        raise DataError(f"{where}: there is no such file.") from None
    except IsADirectoryError:
        raise DataError(f"{where} is a folder, not a file.") from None
    except OSError as error:
        raise DataError(f"{where} cannot be read: {error.strerror}.") from None
    if not raw.strip():
        raise DataError(f"{where} is empty.")
    if b"\0" in raw[:4096] and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise DataError(f"{where} is not a text file (it holds zero bytes); save it as CSV with UTF-8 encoding.")
    encoding = "utf-16" if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        kind = "UTF-16" if encoding == "utf-16" else "UTF-8"
        raise DataError(f"{where}, line {line}: not {kind} text; save the file with UTF-8 encoding.") from None


def read_rows(path: str | os.PathLike[str]) -> Table:
    """Header and rows of a comma-, semicolon- or tab-separated file; blank lines and lines after ``#`` are skipped.

    Raises
    ------
    DataError
        If there is no header, or no data row below it.
    """
    text = read_text(path)
    lines = [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise DataError(f"{path} holds only comments and blank lines.")
    # a tab or semicolon in the header separates; only without them does the comma
    delimiter = next((mark for mark in "\t;" if mark in lines[0][1]), ",")
    rows = []
    for number, line in lines:
        try:
            cells = next(csv.reader(io.StringIO(line), delimiter=delimiter))
        except (csv.Error, StopIteration):
            raise DataError(f"{path}, line {number}: the line cannot be split into cells.") from None
        rows.append(Row(number, [cell.strip() for cell in cells]))
    header = rows.pop(0)
    width = len(header.cells)
    for row in rows:
        if any(row.cells[width:]):
            hint = " For decimal commas separate the columns by semicolons or tabs." if delimiter == "," else ""
            raise DataError(f"{path}, line {row.line} has {len(row.cells)} cells, the header has {width}.{hint}")
    if not rows:
        raise DataError(f"{path} has a header (line {header.line}) but no data row below it.")
    return Table(str(path), header.cells, header.line, rows, delimiter)


def save_netcdf(dataset: xr.Dataset, path: str | os.PathLike[str]) -> None:
    """Write a result as NetCDF (version 3, scipy engine); settings and notes stay readable in its attributes.

    Examples
    --------
    >>> import tempfile, pathlib, xarray as xr
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder, "a.nc")
    ...     save_netcdf(xr.Dataset({"a": ("x", [1.0, 2.0])}), path)
    ...     float(xr.load_dataset(path, engine="scipy").a.sum())
    3.0
    """
    ready = dataset.copy()
    for name, value in list(ready.attrs.items()):
        if isinstance(value, (bool, dict, type(None))):
            ready.attrs[name] = json.dumps(value)
    target = pathlib.Path(path)
    part = target.with_name(target.name + ".part")
    ready.to_netcdf(part, engine="scipy")
    os.replace(part, target)
