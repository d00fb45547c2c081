"""`trial`: the main job in one call. Specimen + steel + quench -> histories, fractions, hardness, second opinion."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.conduction.run import Progress, simulate
from heatq.errors import InputError, collect_validity
from heatq.hardness import hardness_of
from heatq.hardness.equal_cooling import equivalent_distance
from heatq.hardness.interval import hardness_interval
from heatq.hardness.second_routes import second_opinions, told
from heatq.history import cooling_rate, cooling_time
from heatq.transformation.fractions import transform
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["trial"]

#: A trial without an end time runs until the whole piece is below this temperature (degC); martensite hardness is
#: settled there, since retained austenite is counted with martensite.
COLD = 60.0
#: ... or until this time, s.
LONGEST = 36000.0


def trial(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float | None = None,
    end_time: float | None = None,
    probes: Any = None,
    accuracy: float = 0.5,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    with_interval: bool = False,
    output_times: Any = None,
    estimate_error: bool = True,
    progress: Progress = "auto",
) -> xr.Dataset:
    """Quench a piece of a given heat and predict histories, structure and hardness.

    Parameters
    ----------
    specimen : EndQuenchBar, RoundBar or Tube
        The piece.
    steel : Steel
        The heat.
    boundaries : dict
        Face name -> boundary.
    initial_temperature : float, optional
        degC; the default is the steel's austenitizing temperature.
    end_time : float, optional
        s; the default runs until the whole piece is below 60 degC (at most 10 h).
    with_interval : bool
        Add ``hardness_interval(bound, probe)``, the range that holds the hardness with 90 % confidence (model, chemistry, grain size
        and boundary together; see `heatq.hardness_interval`). Takes about as long as the trial itself.
    probes, accuracy, coupled, kinetics, output_times, estimate_error, progress
        As in `heatq.simulate`.

    Returns
    -------
    xarray.Dataset
        All of `heatq.simulate`, and per probe: ``cooling_rate_704`` K/s, ``cooling_time_800_500`` s,
        ``hardness_hv``, ``hardness_hrc`` (NaN below 20 HRC, where the HRC scale ends), ``equivalent_distance`` m on the
        water end-quench bar with the same rate at 704 degC, ``equivalent_distance_by_time`` with the same time from 800 to
        500 degC, and there the second opinions from chemistry alone, ``hardness_hrc_chemistry`` (ASTM A255) and
        ``hardness_hrc_regression`` (Just 1969, J4 to J40). These two are NaN where the method does not reach; their attribute
        ``why_missing`` says where and why. Why by time: `heatq.hardness.second_routes`.

    Examples
    --------
    >>> import heatq as hq
    >>> air = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
    >>> result = hq.trial(hq.EndQuenchBar(), hq.grade("4140"), {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air})
    >>> 50 < float(result.hardness_hrc.sel(probe="J4")) < 60
    True
    """
    if len(getattr(getattr(steel, "material", None), "phases", ())) != 5:
        raise InputError(
            f"steel = {steel!r} does not transform: a trial needs a Steel; for a plain Material use simulate()."
        )
    if initial_temperature is None:
        initial_temperature = steel.austenitizing_temperature
        if initial_temperature is None:
            raise InputError(
                "initial_temperature is not given and the steel has no austenitizing_temperature: state one of them, in degC."
            )
    with collect_validity() as notes:
        result = simulate(
            specimen,
            steel,
            boundaries,
            initial_temperature=initial_temperature,
            end_time=LONGEST if end_time is None else end_time,
            stop_below=COLD if end_time is None else None,
            output_times=output_times,
            probes=probes,
            accuracy=accuracy,
            coupled=coupled,
            kinetics=kinetics,
            estimate_error=estimate_error,
            progress=progress,
        )
        if not coupled:
            result = result.merge(transform(result, steel, kinetics=kinetics), combine_attrs="override")
        result = add_predictions(result, steel)
        if with_interval:
            result = hardness_interval(result, steel, boundary=boundaries, kinetics=kinetics)
        result.attrs["warnings"] = json.dumps(list(notes.values()))
    return result


def add_predictions(result: xr.Dataset, steel: Any) -> xr.Dataset:
    """Cooling metrics, hardness and second opinion for a Dataset with histories and fractions."""
    rate, time = cooling_rate(result).variable, cooling_time(result).variable
    by_time, opinions = second_opinions(steel, time.values)
    places = [str(name) for name in result["probe"].values]
    texts = {
        "equivalent_distance": (
            equivalent_distance(rate.values),
            {"units": "m", "long_name": "distance with the same cooling rate on the water end-quench bar"},
        ),
        "equivalent_distance_by_time": (
            by_time,
            {"units": "m", "long_name": "distance with the same time from 800 to 500 degC on the water end-quench bar"},
        ),
    }
    for route, source in (("chemistry", "ASTM A255"), ("regression", "Just 1969")):
        attrs = {"units": "HRC", "long_name": f"hardness from chemistry alone, {source}"}
        why = told(places, opinions[route].why_missing)
        texts[f"hardness_hrc_{route}"] = (opinions[route].hrc, attrs | ({"why_missing": why} if why else {}))
    # variables without coordinates, all at once: aligning them one by one takes longer than the run
    return result.assign(
        {
            "cooling_rate_704": rate,
            "cooling_time_800_500": time,
            **{str(name): array.variable for name, array in hardness_of(result, steel).data_vars.items()},
            **{name: ("probe", np.asarray(values), attrs) for name, (values, attrs) in texts.items()},
        }
    )
