"""Pieces of a page: tables, lists, figures as text, settings as words."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from html import escape, unescape
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import kilo, mega

from heatq.units import in_words, quenched_end, shown

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["bullets", "definitions", "figure", "notes_of", "number", "section", "settings_of", "table"]

#: Units that are larger on the page than in figures and printed tables.
_LARGER = {"W/m2": "kW/m²", "J": "kJ"}
#: Unit on the page -> format of a column, where four digits would say too much or too little.
_FORMS = {"HRC": ".1f", "HV": ".0f", "%": ".1f", "mm": ".2f", "in": ".3f", "°C": ".1f", "°F": ".1f", "s": ".3g"}
_FORMS |= {"K/s": ".3g", "°F/s": ".3g", "1/16 in": ".2f"}
#: More columns of numbers than this do not fit on paper: the table goes on below.
_MOST_COLUMNS = 11
#: Distances on the end-quench bar, which has a unit of its own.
_ON_BAR = ("distance", "equivalent_distance", "equivalent_distance_by_time")


def number(value: Any) -> str:
    """A value in words or four digits; a dash where there is none."""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return f"{value:d}"
    if isinstance(value, (float, np.floating)):
        value = float(value)
        if not np.isfinite(value):
            return "–"
        if value == 0.0 or 1e-3 <= abs(value) < 1e5:
            return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
        return f"{value:.3e}"
    return escape(str(value))


def section(title: str, *content: str) -> str:
    """A headed part of the page; nothing where there is no content."""
    body = "\n".join(part for part in content if part)
    return f"<section><h2>{escape(title)}</h2>\n{body}\n</section>" if body else ""


def bullets(lines: Iterable[str]) -> str:
    """A list of sentences."""
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{rows}</ul>" if rows else ""


def definitions(pairs: Mapping[str, Any]) -> str:
    """Names and values, nested mappings flattened."""
    rows = []
    for name, value in pairs.items():
        if value is None:
            value = "by default"
        elif isinstance(value, Mapping):
            value = "; ".join(f"{key}: {inner}" for key, inner in value.items())
        elif isinstance(value, (list, tuple)):
            value = ", ".join(str(part) for part in value)
        rows.append(f"<dt>{escape(in_words(str(name).replace('_', ' ')))}</dt><dd>{number(value)}</dd>")
    return f"<dl>{''.join(rows)}</dl>" if rows else ""


def table(data: xr.Dataset, dim: str, names: Sequence[str] | None = None, caption: str = "") -> str:
    """Variables over one dimension as a table, one row per label; a second, short dimension becomes columns.

    What is too wide for paper goes on in a further table below.

    Lengths and temperatures are in the units of `heatq.plot.units`.
    """
    heads, units, columns = [str(data[dim].attrs.get("long_name", dim))], [""], [_labels(data, dim)]
    if dim in data.coords and data[dim].dtype.kind == "f":
        units[0], columns[0] = _column(data[dim])
    for name in data.variables if names is None else names:
        if name == dim or name not in data.variables:
            continue
        array = data[name]
        others = [other for other in array.dims if other != dim]
        if dim not in array.dims or len(others) > 1 or (others and data.sizes[others[0]] > 8):
            continue
        title = str(array.attrs.get("long_name", name))
        if not others:
            unit, column = _column(array)
            heads.append(title)
            units.append(unit)
            columns.append(column)
            continue
        for label, part in zip(_labels(data, str(others[0])), array.transpose(others[0], dim), strict=True):
            unit, column = _column(part)
            heads.append(f"{title}: {unescape(label)}" if label else title)
            units.append(unit)
            columns.append(column)
    heads = [in_words(text) for text in heads]
    parts = -(-(len(heads) - 1) // _MOST_COLUMNS)
    tables = []
    for some in np.array_split(np.arange(1, len(heads)), max(parts, 1)):
        chosen = [0, *some]
        tables.append(
            _written([heads[n] for n in chosen], [units[n] for n in chosen], [columns[n] for n in chosen], caption)
        )
    return "\n".join(tables)


def _written(heads: list[str], units: list[str], columns: list[list[str]], caption: str) -> str:
    head = "".join(
        f"<th scope='col'>{escape(text)}{f' [{escape(unit)}]' if unit else ''}</th>"
        for text, unit in zip(heads, units, strict=True)
    )
    rows = "".join(
        "<tr>" + "".join(f"<td{' class=words' if len(cell) > 40 else ''}>{cell}</td>" for cell in row) + "</tr>"
        for row in zip(*columns, strict=True)
    )
    about = f"<caption>{escape(caption)}</caption>" if caption else ""
    kind = "wide short" if len(columns[0]) <= 12 else "wide"
    return f"<div class='{kind}'><table>{about}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"


def _labels(data: xr.Dataset, dim: str) -> list[str]:
    if dim in data.coords:
        return [in_words(number(value)) for value in data[dim].values]
    return [str(n + 1) for n in range(data.sizes[dim])]


def _column(array: xr.DataArray) -> tuple[str, list[str]]:
    unit = str(array.attrs.get("units", ""))
    values = array.values
    if values.dtype.kind == "f" and array.name in _ON_BAR:
        values, unit = quenched_end(values)
    elif values.dtype.kind == "f" and unit == "Pa" and "elastic" in str(array.attrs.get("long_name")):
        values, unit = values / mega, "MPa"  # a stress
    elif values.dtype.kind == "f" and unit == "1" and str(array.attrs.get("long_name")).startswith("probability"):
        return "%", [_percent(value) for value in values]
    elif values.dtype.kind == "f":
        values, unit = (values / kilo, _LARGER[unit]) if unit in _LARGER else shown(values, unit)
    elif unit == "1":
        unit = ""
    form = _FORMS.get(unit)
    if form is None or values.dtype.kind != "f":
        return unit, [number(value) for value in values]
    return unit, [format(value, form) if np.isfinite(value) else "–" for value in values]


def figure(axes: Any, words: str) -> str:
    """A drawn figure as SVG inside the page, with its description for those who cannot see it."""
    import matplotlib as mpl

    holder = axes if not isinstance(axes, (list, tuple, np.ndarray)) else np.ravel(axes)[0]
    _as_written(holder.figure)
    buffer = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "heatq", "svg.fonttype": "path"}):
        holder.figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    data = base64.b64encode(buffer.getvalue()).decode("ascii")
    return (
        f"<figure><img alt='{escape(words, quote=True)}' src='data:image/svg+xml;base64,{data}'>"
        f"<figcaption>{escape(words)}</figcaption></figure>"
    )


def _percent(share: float) -> str:
    """A probability, which is never quite certain."""
    if not np.isfinite(share):
        return "–"
    return "&gt; 99" if share > 0.995 else "&lt; 1" if share < 0.005 else f"{100.0 * share:.0f}"


def _as_written(drawn: Any) -> None:
    """No name of a steel or a place is read as a formula, whatever $ it holds; numbers at the axes may be powers of ten."""
    from matplotlib.text import Text
    from matplotlib.ticker import FixedFormatter

    ticks = set()
    for ax in drawn.axes:
        for axis in (ax.xaxis, ax.yaxis):
            if not isinstance(axis.get_major_formatter(), FixedFormatter):
                ticks |= set(axis.get_ticklabels(which="both"))
    for text in drawn.findobj(Text):
        if text not in ticks:
            text.set_parse_math(False)


def settings_of(result: xr.Dataset) -> dict[str, Any]:
    """The settings a result carries, as a mapping; empty where it carries none."""
    try:
        settings = json.loads(result.attrs.get("settings", "{}"))
    except (TypeError, ValueError):
        return {}
    return settings if isinstance(settings, dict) else {}


def notes_of(result: xr.Dataset, name: str) -> list[str]:
    """A list of sentences in an attribute, whether it is JSON, plain text or absent."""
    held = result.attrs.get(name, "[]")
    if isinstance(held, str):
        try:
            held = json.loads(held)
        except ValueError:
            held = [held]
    return [str(line) for line in (held if isinstance(held, (list, tuple)) else [held])]
