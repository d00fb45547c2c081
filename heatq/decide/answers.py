"""The Dataset of an answer: what was found, between what, how sure, and every run."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.decide.runs import run_quench
from heatq.decide.search import Case, Found, Wanted
from heatq.decide.spread import setting_range
from heatq.errors import collect_validity

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["answer_dataset"]

Array = npt.NDArray[np.float64]


def _status(one: Found, wanted: Wanted) -> str:
    if np.isnan(one.enclosure.meets):
        return "not reachable"
    if np.isnan(one.enclosure.fails):
        return "enough at the lowest" if wanted.increasing else "enough at the largest"
    return "found"


def _at(one: Found) -> float:
    """The answer, or where there is none the setting with the best margin."""
    return float(one.settings[one.best] if np.isnan(one.enclosure.meets) else one.enclosure.meets)


def answer_dataset(
    cases: Sequence[Case],
    found: Sequence[Found],
    wanted: Wanted,
    dimension: str,
    names: Sequence[str],
    *,
    confidence: float | None,
    settings: dict[str, Any],
) -> xr.Dataset:
    """Dataset of the answers of several searches, over ``dimension``.

    Parameters
    ----------
    cases, found, wanted
        The searches.
    dimension : str
        Name of the dimension over the searches.
    names : sequence of str
        Its labels.
    confidence : float or None
        Probability of the range of the answer; None for none.
    settings : dict
        For the attribute ``settings``.
    """
    import xarray as xr

    requirement = wanted.requirement
    with collect_validity() as notes:
        runs = [
            run_quench(
                *case(_at(one)),
                probes=list(requirement.probes),
                with_interval=True,
                second_opinions=False,
                **wanted.run,
            )
            for case, one in zip(cases, found, strict=True)
        ]
        said = list(notes.values())
    quantiles, surest = np.full((len(cases), 2), np.nan), np.full(len(cases), np.nan)
    if confidence is not None:
        quantiles, surest = setting_range(cases, found, wanted, confidence, runs)
    most = max(len(one.settings) for one in found)

    def padded(values: Array) -> Array:
        return np.pad(values, (0, most - len(values)), constant_values=np.nan)

    def ends(one: Found) -> list[float]:
        known = dict(zip(one.settings, one.margins, strict=True))
        return [float(known.get(end, np.nan)) for end in one.enclosure]

    what, unit = wanted.setting, wanted.unit
    d = dimension
    mark = {"units": "1"}
    data: dict[str, Any] = {
        what: (d, [one.enclosure.meets for one in found], {"units": unit, "long_name": wanted.long_name}),
        f"{what}_bracket": (
            (d, "end"),
            [list(one.enclosure) for one in found],
            {"units": unit, "long_name": f"nearest {what} that fails, and that meets"},
        ),
        "bracket_margin": (
            (d, "end"),
            [ends(one) for one in found],
            {"units": requirement.unit, "long_name": "margin at the ends of the bracket"},
        ),
        f"{what}_interval": (
            (d, "bound"),
            quantiles,
            {"units": unit, "long_name": f"range of the {what} from the uncertainty of the hardness"},
        ),
        "status": (d, [_status(one, wanted) for one in found], {**mark, "long_name": "outcome of the search"}),
        "reachable": (d, [bool(np.isfinite(one.enclosure.meets)) for one in found], {**mark, "long_name": "reachable"}),
        "is_monotone": (
            d,
            [not one.notes for one in found],
            {**mark, "long_name": "margin monotone on the points run"},
        ),
        "judged_at": (
            d,
            [_at(one) for one in found],
            {"units": unit, "long_name": f"{what} of margin and hardness: the answer, or the best that was run"},
        ),
        "margin": (
            (d, "probe"),
            [requirement.margin(run).values for run in runs],
            {"units": requirement.unit, "long_name": f"margin to {requirement.label}"},
        ),
        "probability": (
            (d, "probe"),
            [requirement.probability(run).values for run in runs],
            {**mark, "long_name": f"probability of {requirement.label}"},
        ),
        "best_probability": (d, surest, {**mark, "long_name": "largest probability of the settings run"}),
        f"tried_{what}": (
            (d, "run"),
            [padded(one.settings) for one in found],
            {"units": unit, "long_name": f"{what} run"},
        ),
        "tried_margin": (
            (d, "run"),
            [padded(one.margins) for one in found],
            {"units": requirement.unit, "long_name": "least margin of the places"},
        ),
    }
    for name in ("hardness_hrc", "hardness_hv", "cooling_time_800_500"):
        data[name] = ((d, "probe"), [run[name].values for run in runs], dict(runs[0][name].attrs))
    for name in ("hardness_interval", "hardness_interval_hv"):
        data[name] = ((d, "bound", "probe"), [run[name].values for run in runs], dict(runs[0][name].attrs))
    return xr.Dataset(
        data,
        coords={
            d: (d, list(names), {**mark, "long_name": d}),
            "end": ("end", ["fails", "meets"], {**mark, "long_name": "end of the bracket"}),
            "bound": ("bound", ["low", "high"], {**mark, "long_name": "bound of the interval"}),
            "probe": ("probe", list(requirement.probes), {**mark, "long_name": "place"}),
            "run": ("run", np.arange(most), {**mark, "long_name": "number of the run"}),
        },
        attrs={
            "heatq_version": __version__,
            "requirement": requirement.label,
            "searched": what,
            "lowest": wanted.limits[0],
            "highest": wanted.limits[1],
            "tolerance": wanted.tolerance,
            "confidence": float("nan") if confidence is None else confidence,
            "settings": json.dumps(settings),
            "notes": json.dumps(
                [f"{name}: {text}" for name, one in zip(names, found, strict=True) for text in one.notes]
            ),
            "warnings": json.dumps(said),
        },
    )
