"""The table of a trial: one line per place, printed and as CSV."""

from __future__ import annotations

import csv
import pathlib
import textwrap
from typing import Any

import numpy as np

from heatq.hardness.interval import disagreements
from heatq.units import in_words, quenched_end, shown

__all__ = ["cell", "table", "write_csv"]

#: Columns of the CSV file, before the phases.
COLUMNS = (
    "cooling_rate_704",
    "cooling_time_800_500",
    "hardness_hv",
    "hardness_hrc",
    "hardness_hrc_chemistry",
    "hardness_hrc_regression",
    "equivalent_distance",
    "equivalent_distance_by_time",
)

NOTE = (
    "Martensite includes the austenite it retains; HRC ends at 20 (238 HV). A255 and Just: second opinions from chemistry "
    "alone, at the place of the water end-quench bar with the same time from 800 to 500 °C; a dash where the method does not "
    "reach. 90 % HRC: range for this heat from model, chemistry, grain size and boundary together."
)


def cell(value: float, form: str, width: int) -> str:
    """Number right-justified; a dash where there is none."""
    return (format(value, form) if np.isfinite(value) else "-").rjust(width)


def table(result: Any) -> str:
    """One line per place: on the end-quench bar its distance, elsewhere the distance on that bar which cools alike."""
    end_quench = "distance" in result.coords
    places = "distance" if end_quench else "equivalent_distance_by_time"
    first = "position" if end_quench else "place"
    names = [in_words(str(name)) for name in result["probe"].values]
    rate, time = in_words("rate 704 °C"), in_words("t 800-500 °C").rpartition(" ")[0]
    distance, unit = quenched_end(result[places].values)
    rates, rate_unit = shown(result["cooling_rate_704"].values, "K/s")
    rate_width, time_width = len(rate) + 3, len(time) + 3
    width = 8 if end_quench else max(12, *(len(name) for name in names))
    lines = [
        f"{first:<{width}}{'distance' if end_quench else 'cools as':>10}{rate:>{rate_width}}{time:>{time_width}}    ferrite "
        "pearlite bainite martensite      HV     HRC    A255    Just   90 % HRC",
        f"{'':<{width}}{unit if end_quench else f'at, {unit}':>10}{rate_unit:>{rate_width}}{'s':>{time_width}}          %"
        "        %       %          %                    HRC     HRC",
    ]
    parts = result["fraction"].values * 100
    for n, name in enumerate(names):
        share = parts[:, n]
        hrc = float(result["hardness_hrc"][n])
        phases = zip((share[0], share[1], share[2], share[3] + share[4]), (11, 9, 8, 11), strict=True)
        lines.append(
            f"{name:<{width}}"
            + cell(float(distance[n]), ".2f", 10)
            + cell(float(rates[n]), ".3g", rate_width)
            + cell(float(result["cooling_time_800_500"][n]), ".3g", time_width)
            + "".join(cell(value, ".0f", wide) for value, wide in phases)
            + cell(float(result["hardness_hv"][n]), ".0f", 8)
            + (cell(hrc, ".1f", 8) if np.isfinite(hrc) or not np.isfinite(result["hardness_hv"][n]) else "     <20")
            + cell(float(result["hardness_hrc_chemistry"][n]), ".1f", 8)
            + cell(float(result["hardness_hrc_regression"][n]), ".1f", 8)
            + _interval(result, n)
        )
    return "\n".join([*lines, *(textwrap.fill(text, 120) for text in (in_words(NOTE), *disagreements(result)))])


def _interval(result: Any, n: int) -> str:
    """Bounds of the hardness interval, if the trial has one."""
    if "hardness_interval" not in result:
        return ""
    low, high = (float(value) for value in result["hardness_interval"].values[:, n])
    if not np.isfinite(high):
        return "   below 20"
    return f"   {low:.0f} to {high:.0f}" if np.isfinite(low) else f"  up to {high:.0f}"


def write_csv(result: Any, path: pathlib.Path) -> None:
    """The table as CSV, units in the header."""
    columns: dict[str, Any] = {"probe": result["probe"].values}
    if "distance" in result.coords:
        columns["distance (m)"] = result["distance"].values
    else:
        columns |= {f"{name} (m)": result[name].values for name in ("r", "z")}
    columns |= {f"{name} ({result[name].units})": result[name].values for name in COLUMNS}
    columns |= {str(phase): result["fraction"].sel(phase=phase).values for phase in result["phase"].values}
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        for row in zip(*columns.values(), strict=True):
            writer.writerow([_written(value) for value in row])


def _written(value: Any) -> str:
    """Text as it is, numbers with six digits, nothing for a missing one."""
    if isinstance(value, str):
        return value
    return f"{value:.6g}" if np.isfinite(value) else ""
