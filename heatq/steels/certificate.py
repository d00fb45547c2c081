"""Heat certificates from files: TOML, or CSV with one heat per row.

Every fault is a `DataError` that names the file, the line, the column (or table key), the value and the limit.
"""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from heatq.errors import DataError, InputError, check_name, check_number
from heatq.files import decode, number_in, split_rows
from heatq.steels.steel import ELEMENTS, Steel, check_element

__all__ = ["IGNORED", "TRACE", "read_certificate", "read_certificates"]

#: Columns that may stand in a certificate and are not used.
IGNORED = (
    *("comment", "comments", "note", "notes", "remark", "remarks", "date", "customer", "order", "supplier"),
    *("grade", "standard", "specification", "sample", "laboratory", "diameter", "size", "Fe"),
)

#: Trace elements that no model here uses. They are accepted, and left out, up to `TRACE_LIMIT`; more is an error.
TRACE = ("As", "Sn", "Sb", "Pb", "Bi", "Ca", "Mg", "Zr", "Ta", "Te", "Se", "Zn", "O", "H")

#: mass %; up to here none of them moves a transformation temperature by more than the scatter of its formula.
TRACE_LIMIT = 0.05

_NAME = ("name", "heat", "heat_number", "heat_no", "charge")
_FIELDS = ("grain_size", "austenitizing_temperature")
_PERCENT_UNITS = ("", "%", "wt%", "wt.%", "wt", "mass%", "m%", "mass", "weight%")

#: How a field is written -> how it is called here.
_SPELLINGS = {name.lower(): name for name in (*ELEMENTS, *TRACE, *IGNORED, *_FIELDS)} | dict.fromkeys(_NAME, "name")


def read_certificates(path: str | os.PathLike[str]) -> list[Steel]:
    r"""Read every heat of a certificate file.

    Parameters
    ----------
    path : str or path
        ``.toml``, or ``.csv``, ``.tsv`` or ``.txt`` with one heat per row.

    Returns
    -------
    list of Steel

    Raises
    ------
    DataError
        If the file cannot be read, is empty, or holds an unknown column, a value that is not a number or not
        plausible, or a heat without carbon.

    Notes
    -----
    **CSV.** The first line names the columns, upper or lower case: the heat (``heat`` or ``name``), element symbols,
    ``grain_size`` (ASTM number), ``austenitizing_temperature`` (degC). Separator: comma, semicolon or tab; with
    semicolon or tab the decimal comma is understood. A unit may follow in brackets: ``N (ppm)``, ``C (%)``. Empty cells
    and ``-`` mean not reported, which counts as zero; carbon must be there. Blank lines and lines that begin with ``#``
    are skipped.

    **TOML.** ``name``, ``grain_size``, ``austenitizing_temperature`` and a table ``[composition]``, at top level for
    one heat or under ``[[heat]]`` for each of several.

    Columns in `IGNORED` (comment, date, ...) are skipped; trace elements in `TRACE` are skipped up to 0.05 %. Anything
    else unknown is an error, since a misspelt element would otherwise vanish.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "heats.csv"
    >>> _ = file.write_text("heat;C;Mn;Cr;Mo\nA-17;0,41;0,86;1,02;0,21\n")
    >>> read_certificates(file)
    [Steel(name='A-17', C=0.41, Mn=0.86, Cr=1.02, Mo=0.21, grain_size=7.5)]
    """
    file = Path(path)
    suffix = file.suffix.lower()
    if suffix not in (".toml", ".csv", ".tsv", ".txt"):
        raise DataError(
            f"{file.name}: a certificate is a .toml, .csv, .tsv or .txt file, not {suffix or 'without suffix'}."
        )
    text = _text(file)
    return _from_toml(text, file) if suffix == ".toml" else _from_csv(text, file)


def read_certificate(path: str | os.PathLike[str], heat: str | None = None) -> Steel:
    """Read one heat of a certificate file; see :func:`read_certificates` for the formats.

    Parameters
    ----------
    path : str or path
        The file.
    heat : str, optional
        Name of the heat; may be left out if the file holds only one.

    Returns
    -------
    Steel

    Raises
    ------
    DataError
        As `read_certificates`; also if the file holds several heats and ``heat`` is not given, or holds it twice.
    """
    steels = read_certificates(path)
    file = Path(path).name
    names = [steel.name for steel in steels]
    if heat is None:
        if len(steels) == 1:
            return steels[0]
        raise DataError(
            f"{file} holds {len(steels)} heats: {', '.join(names)}. Say which one: heat={names[0]!r}, "
            "or take all with read_certificates()."
        )
    wanted = check_name("heat", str(heat), names, what=f"heat in {file}:", error=DataError)
    if names.count(wanted) > 1:
        raise DataError(f"{file} holds the heat {wanted!r} {names.count(wanted)} times: rename or remove the others.")
    return steels[names.index(wanted)]


def _text(file: Path) -> str:
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise DataError(f"{file} cannot be read: {error.strerror or error}.") from None
    text = decode(raw, file.name)[0]
    if not text.strip():
        raise DataError(f"{file.name} is empty: there is no heat in it.")
    return text


# --------------------------------------------------------------------------------------------------------- CSV


def _from_csv(text: str, file: Path) -> list[Steel]:
    rows, delimiter = split_rows(text, file.name)
    header: list[tuple[str, str, float]] = []
    steels = []
    for row in rows:
        where = f"{file.name}, line {row.line}"
        if not any(row.cells) or row.cells[0].startswith("#"):
            continue
        if not header:
            header = _header(row.cells, where)
            continue
        steels.append(_csv_heat(row.cells, header, where, delimiter, file, row.line))
    if not steels:
        raise DataError(f"{file.name} is empty but for its header: there is no heat in it.")
    return steels


def _header(cells: list[str], where: str) -> list[tuple[str, str, float]]:
    """Per column: its text, its name here, and the factor that turns the value into mass % (or degC, ...)."""
    columns = []
    for cell in cells:
        match = re.fullmatch(r"%?\s*([^%()\[\]]*?)\s*(?:[(\[]\s*(.*?)\s*[)\]]|(%))?", cell)
        word, unit = (match[1], match[2] or match[3] or "") if match else (cell, "")
        name = _known(word, f"{where}, column", "column")
        unit = unit.replace(" ", "").lower()
        factor = 1.0
        if name in ELEMENTS or name in TRACE:
            if unit == "ppm":
                factor = 1e-4
            elif unit not in _PERCENT_UNITS:
                raise DataError(f"{where}, column {cell}: the unit {unit!r} is not known here; use % (by mass) or ppm.")
        elif name == "austenitizing_temperature" and unit not in ("", "degc", "°c", "c"):
            raise DataError(f"{where}, column {cell}: give the temperature in degC, not {unit!r}.")
        columns.append((cell, name, factor))
    names = [name for _, name, _ in columns]
    for name in names:
        if names.count(name) > 1 and name not in IGNORED:
            raise DataError(f"{where}: the column {name} stands there {names.count(name)} times.")
    if "C" not in names:
        raise DataError(
            f"{where}: there is no column C; a certificate needs at least carbon. Columns: {', '.join(cells)}."
        )
    return columns


def _csv_heat(
    cells: list[str], header: list[tuple[str, str, float]], where: str, delimiter: str, file: Path, line: int
) -> Steel:
    while len(cells) > len(header) and not cells[-1]:
        cells = cells[:-1]
    if len(cells) != len(header):
        hint = " For decimal commas separate the columns by semicolons." if delimiter == "," else ""
        raise DataError(f"{where} has {len(cells)} cells, the header has {len(header)}.{hint}")
    values: dict[str, Any] = {}
    for cell, (column, name, factor) in zip(cells, header, strict=True):
        if name in IGNORED or cell in ("", "-"):
            continue
        if name == "name":
            values["name"] = cell
            continue
        number = cell.removesuffix("%").strip()
        value = number_in(number, "," if delimiter != "," and "," in number and "." not in number else ".")
        if math.isnan(value):
            raise DataError(f"{where}, column {column}: {cell!r} is not a number.{_below(cell)}") from None
        # Rounded so that 85 ppm is 0.0085 and not 0.008500000000000001.
        _take(values, name, value if factor == 1.0 else round(value * factor, 12), f"{where}, column {column}")
    values.setdefault("name", f"{file.stem} line {line}")
    return _steel(values, where, f"certificate {file.name}, line {line}")


def _below(cell: str) -> str:
    if cell.startswith(("<", ">", "≤")):
        return " For a content below the detection limit leave the cell empty (counts as zero) or write the limit."
    return ""


# -------------------------------------------------------------------------------------------------------- TOML


def _from_toml(text: str, file: Path) -> list[Steel]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"{file.name}: not valid TOML: {error}.") from None
    heats = data.get("heat", data)
    if isinstance(heats, (str, int)):
        heats = data  # "heat = ..." names the one heat of the file
    if heats is not data:
        others = [key for key in data if key != "heat"]
        if others:
            raise DataError(
                f"{file.name}: {others[0]!r} stands beside [heat]; put it under the heat that it belongs to."
            )
    entries = heats if isinstance(heats, list) else [heats]
    if not entries or not all(isinstance(entry, Mapping) for entry in entries):
        raise DataError(f"{file.name}: write each heat as a table [[heat]] with name and [heat.composition].")
    return [_toml_heat(entry, file, number, len(entries)) for number, entry in enumerate(entries, 1)]


def _toml_heat(entry: Mapping[str, Any], file: Path, number: int, count: int) -> Steel:
    where = file.name if count == 1 else f"{file.name}, heat {number}"
    composition = entry.get("composition", {})
    if not isinstance(composition, Mapping):
        raise DataError(
            f"{where}: composition = {composition!r} must be a table, [composition] with lines like C = 0.41."
        )
    values: dict[str, Any] = {}
    for key, value in (*entry.items(), *composition.items()):
        if key == "composition" and value is composition:
            continue
        name = _known(key, f"{where}, key", "key")
        if name in values:
            raise DataError(f"{where}, key {key}: {name} is given twice.")
        if name in IGNORED:
            continue
        if name == "name":
            values["name"] = str(value)
        elif isinstance(value, bool) or not isinstance(value, (int, float)):
            below = _below(value) if isinstance(value, str) else ""
            raise DataError(f"{where}, key {key}: {value!r} is not a number.{below}")
        else:
            _take(values, name, value, f"{where}, key {key}")
    values.setdefault("name", file.stem if count == 1 else f"{file.stem} {number}")
    return _steel(values, where, f"certificate {file.name}")


# ------------------------------------------------------------------------------------------------------ common


def _known(word: str, where: str, what: str) -> str:
    name = _SPELLINGS.get(re.sub(r"[\s_-]+", "_", word.strip()).lower())
    if name is not None:
        return name
    if not word.strip():
        raise DataError(f"{where} without a name: give every column of the header a name.")
    try:
        return check_name(what, word, [*ELEMENTS, "name", *_FIELDS], what=what, error=DataError)
    except DataError as error:
        raise DataError(f"{where} {word}: {error} Not used and allowed: {', '.join((*IGNORED, *TRACE))}.") from None


def _take(values: dict[str, Any], name: str, value: float, where: str) -> None:
    """Check one number and keep it."""
    try:
        if name in ELEMENTS:
            values[name] = check_element(name, value)
        elif name in TRACE:
            check_number(
                name,
                value,
                low=0.0,
                high=TRACE_LIMIT,
                unit="%",
                hint="No model here knows this element but as a trace.",
            )
        elif name == "grain_size":
            values[name] = check_number(name, value, "grain_size")
        else:
            values[name] = Steel(C=0.4, austenitizing_temperature=value).austenitizing_temperature
    except InputError as error:
        raise DataError(f"{where}: {error}") from None


def _steel(values: dict[str, Any], where: str, source: str) -> Steel:
    if "C" not in values:
        raise DataError(f"{where} ({values['name']}): carbon (C) is missing; nothing can be predicted without it.")
    try:
        return Steel(**values, source=source)
    except InputError as error:
        raise DataError(f"{where} ({values['name']}): {error}") from None
