"""Words about a result: what its attributes mean, with units, and where the models come from that its settings name."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.report.parts import notes_of, number
from heatq.units import in_words, shown

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["attributes_in_words", "model_sources"]

#: Attribute -> its words and unit, for those whose name alone says too little.
_WORDS = {
    "unknown": ("sought", ""),
    "level": ("probability of intervals and bands", "share"),
    "fluid_temperature": ("temperature of the medium", "degC"),
    "initial_temperature": ("initial temperature", "degC"),
    "criterion": ("how smooth the curve is was decided by", ""),
    "strength": ("strength of the smoothing", ""),
    "runs": ("simulations", ""),
    "is_converged": ("converged", "yes"),
    "noise": ("noise of one reading, from the fit", "K"),
    "noise_of_record": ("noise of one reading, from the record alone", "K"),
    "chi_square": ("chi-square for each reading", ""),
    "chi_square_limit": ("more than this would be a misfit", ""),
    "autocorrelation": ("correlation of neighbouring residuals", ""),
    "inflation": ("bands widened for that by a factor of", ""),
    "seen_share": ("share of the curve that the log saw", "share"),
    "band_at_peak": ("90 % band at the peak, a factor of", ""),
    "peak_duration": ("time that the peak lasted", "s"),
    "nearest_depth": ("depth of the nearest couple", "m"),
    "diffusion_time": ("delay between surface and that couple", "s"),
    "reference_pressure": ("reference pressure", "Pa"),
    "reference_velocity": ("reference velocity", "m/s"),
    "repeatability": ("scatter from run to run, relative", ""),
    "energy_residual": ("energy left over, relative", ""),
    "end_time": ("end time", "s"),
    "mass": ("mass of pieces and fixtures", "kg"),
    "pressure": ("pressure, absolute", "Pa"),
    "velocity": ("velocity of the gas", "m/s"),
    "sweeps": ("passes until gas and pieces agreed", ""),
    "time_shift": ("shift in time", "s"),
}

#: Class in the settings -> where its numbers come from.
_MODELS = {
    "GasJet": "gas jet: Lytle & Webb 1994, Huang & El-Genk 1994 (coefficients from memory)",
    "GasAlong": "gas along a face: plate formulas, VDI Heat Atlas (from memory)",
    "GasBank": "gas through a bank of bars: Zukauskas 1972 (constants from memory)",
    "GasBasket": "gas through a basket: Gnielinski 1980, VDI Heat Atlas",
    "StillAir": "still air: Churchill & Chu 1975 for sides, McAdams 1954 for ends (from memory)",
    "Radiation": "radiation: grey surface, emissivity as given",
    "WaterJet": "water jet: Zuber 1959, Ivey & Morris 1962, Liu, Lienhard & Lombara 1991 (in part from memory)",
    "WaterBath": "water bath: Zuber 1959, Ivey & Morris 1962, Dhir & Purohit 1978 (in part from memory)",
    "OilBath": "oil bath: customary values, no measurement of this bath",
    "GrossmannQuench": "Grossmann's quench severity H, as given",
}
_ACROSS = {
    "churchill-bernstein": "gas across a bar: Churchill & Bernstein 1977 (from memory)",
    "zukauskas": "gas across a bar: Zukauskas 1972 (from memory)",
    "hilpert": "gas across a bar: Hilpert 1933 (from memory)",
}


def attributes_in_words(attrs: Mapping[str, Any], *, leave_out: Iterable[str] = ()) -> dict[str, str]:
    """Attributes of a result as words and values with units; empty ones and those that stand elsewhere are left out."""
    left = {"warnings", "settings", "sources", "heatq_version", "created", "notes", *leave_out}
    told = {}
    for name, value in attrs.items():
        if name in left or (isinstance(value, str) and value in ("", "[]", "{}")):
            continue
        words, unit = _WORDS.get(name, (str(name).replace("_", " "), ""))
        if name == "peak_at":
            words, unit = "the peak lies at", "s" if "time" in str(attrs.get("unknown")) else "degC"
        told[in_words(words)] = _value(value, unit)
    return told


def _value(value: Any, unit: str) -> str:
    if isinstance(value, str):
        return _unpacked(value)
    if isinstance(value, (bool, np.bool_)) or unit == "yes":
        return "yes" if value else "no"
    if isinstance(value, (list, tuple, np.ndarray)):
        return ", ".join(_value(part, unit) for part in np.ravel(value))
    if unit == "share":
        return f"{100.0 * float(value):.3g} %"
    if not unit:
        return number(value)
    size, text = shown(float(value), unit)
    return f"{number(size)} {text}" if np.isfinite(size) else "–"


def _unpacked(text: str) -> str:
    """A list that was kept as JSON, without its brackets."""
    try:
        held = json.loads(text)
    except ValueError:
        return text
    return ", ".join(str(part) for part in held) if isinstance(held, list) else text


def model_sources(result: xr.Dataset) -> list[str]:
    """Sources of a result: those that it carries, then those of the models that its settings name."""
    words = json.dumps([str(value) for value in result.attrs.values()])
    found = notes_of(result, "sources")
    found += [text for name, text in _MODELS.items() if re.search(rf"\b{name}\b", words)]
    if re.search(r"\bGasCrossflow\b", words):
        named = [text for name, text in _ACROSS.items() if name in words]
        found += named or [_ACROSS["churchill-bernstein"]]
    if "Steel(" in words and re.search(r"(published|calibrated)", words):
        found.append("transformation: Li and others 1998, Koistinen & Marburger 1959")
    if "Steel(" in words and ("hardness_hv" in result.variables or "HRC" in words):
        found.append("hardness: ASTM A255 for martensite, Maynier 1978 for bainite and ferrite")
    if "criterion" in result.attrs and "unknown" in result.attrs:
        found.append("fit: a smooth curve with a penalty, Eilers & Marx 1996; its strength, MacKay 1992 (from memory)")
    if "law" in result.attrs and "run_factor" in result.variables:
        found.append("law: the correlation that the stream of each run names, times what was fitted")
    return list(dict.fromkeys(found))
