"""Pieces of a page: tables, lists, figures as text, settings as words."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import milli

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["bullets", "definitions", "figure", "notes_of", "number", "section", "settings_of", "table"]

#: Unit in a Dataset -> unit on the page and what to multiply with.
_SHOWN = {"m": ("mm", 1.0 / milli), "1": ("", 1.0), "degC": ("°C", 1.0), "Pa": ("bar", 1e-5), "W/m2K": ("W/m²K", 1.0)}
_SHOWN |= {"W/m2": ("kW/m²", 1e-3), "J": ("kJ", 1e-3)}
#: Unit on the page -> format of a column, where four digits would say too much or too little.
_FORMS = {"HRC": ".1f", "HV": ".0f", "%": ".1f", "mm": ".2f", "°C": ".1f", "K/s": ".3g", "s": ".3g"}


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
        if isinstance(value, Mapping):
            value = "; ".join(f"{key}: {inner}" for key, inner in value.items())
        elif isinstance(value, (list, tuple)):
            value = ", ".join(str(part) for part in value)
        rows.append(f"<dt>{escape(str(name).replace('_', ' '))}</dt><dd>{number(value)}</dd>")
    return f"<dl>{''.join(rows)}</dl>" if rows else ""


def table(data: xr.Dataset, dim: str, names: Sequence[str] | None = None, caption: str = "") -> str:
    """Variables over one dimension as a table, one row per label; a second, short dimension becomes columns."""
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
            heads.append(f"{title}: {label}" if label else title)
            units.append(unit)
            columns.append(column)
    heads = [text.replace("degC", "°C") for text in heads]
    head = "".join(
        f"<th scope='col'>{escape(text)}{f' [{escape(unit)}]' if unit else ''}</th>"
        for text, unit in zip(heads, units, strict=True)
    )
    rows = "".join(
        "<tr>" + "".join(f"<td{' class=words' if len(cell) > 40 else ''}>{cell}</td>" for cell in row) + "</tr>"
        for row in zip(*columns, strict=True)
    )
    about = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f"<div class='wide'><table>{about}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"


def _labels(data: xr.Dataset, dim: str) -> list[str]:
    if dim in data.coords:
        return [number(value) for value in data[dim].values]
    return [str(n + 1) for n in range(data.sizes[dim])]


def _column(array: xr.DataArray) -> tuple[str, list[str]]:
    unit = str(array.attrs.get("units", ""))
    shown, factor = _SHOWN.get(unit, (unit, 1.0))
    values = array.values
    if values.dtype.kind == "f":
        values = values * factor
        unit = shown
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
    buffer = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "heatq", "svg.fonttype": "path"}):
        holder.figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    data = base64.b64encode(buffer.getvalue()).decode("ascii")
    return (
        f"<figure><img alt='{escape(words, quote=True)}' src='data:image/svg+xml;base64,{data}'>"
        f"<figcaption>{escape(words)}</figcaption></figure>"
    )


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
