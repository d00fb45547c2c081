"""`trial`: the main job in one call. Specimen + steel + quench -> histories, fractions, hardness, second opinion."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.conduction.outcome import Variables
from heatq.conduction.run import Progress, solve
from heatq.errors import InputError, collect_validity
from heatq.hardness.equal_cooling import equivalent_distance
from heatq.hardness.interval import hardness_interval
from heatq.hardness.predict import hardness_variables, mean_or_local, rate_for_hardness
from heatq.hardness.second_routes import second_opinions, told
from heatq.history import RATE_TEMPERATURE, RATE_WINDOW, check_history, crossings
from heatq.transformation.fractions import PHASE_COORDINATE, fraction_variables
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Begun", "Cooled", "add_predictions", "begin", "predict", "predictions", "trial"]

Array = npt.NDArray[np.float64]

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
    import xarray as xr

    with collect_validity():  # outermost, so that a warning points at the caller
        variables, coords, attrs = predict(
            specimen,
            steel,
            boundaries,
            initial_temperature=initial_temperature,
            end_time=end_time,
            probes=probes,
            accuracy=accuracy,
            coupled=coupled,
            kinetics=kinetics,
            with_interval=with_interval,
            output_times=output_times,
            estimate_error=estimate_error,
            progress=progress,
        )
    return xr.Dataset(variables, coords, attrs)


def predict(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    kinetics: Any = DEFAULT,
    with_interval: bool = False,
    **settings: Any,
) -> tuple[Variables, Variables, dict[str, Any]]:
    """What `trial` does, with the same arguments, as variables, coordinates and attributes of a Dataset that is yet to be made."""
    with collect_validity() as notes:
        variables, coords, attrs, cooled = begin(specimen, steel, boundaries, kinetics=kinetics, **settings)
        variables |= predictions([cooled])[0]
        if with_interval:
            found = hardness_interval(_dataset(variables, coords, attrs), steel, boundary=boundaries, kinetics=kinetics)
            variables, coords = (
                {str(name): (array.dims, array.values, array.attrs) for name, array in part.items()}
                for part in (found.data_vars, found.coords)
            )
            attrs = dict(found.attrs)
        attrs["warnings"] = json.dumps(list(notes.values()))
    return variables, coords, attrs


class Cooled(NamedTuple):
    """What hardness and second opinions of a piece are worked out from, per probe; fractions and where they formed by phase.

    ``rate`` is that of `heatq.hardness.predict.rate_for_hardness`.
    """

    steel: Any
    places: list[str]
    fraction: Array
    formation_temperature: Array
    rate: Array
    rate_704: Array
    time_800_500: Array


class Begun(NamedTuple):
    """A trial of which the hardness is still to come: variables, coordinates and attributes so far."""

    variables: Variables
    coords: Variables
    attrs: dict[str, Any]
    cooled: Cooled


def begin(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float | None = None,
    end_time: float | None = None,
    coupled: bool = True,
    kinetics: Any = DEFAULT,
    **settings: Any,
) -> Begun:
    """The quench of a trial; :func:`predictions` gives the rest, for many trials at once if there are many."""
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
    variables, coords, attrs = solve(
        specimen,
        steel,
        boundaries,
        initial_temperature=initial_temperature,
        end_time=LONGEST if end_time is None else end_time,
        stop_below=COLD if end_time is None else None,
        coupled=coupled,
        kinetics=kinetics,
        **settings,
    )
    time, temperature = coords["time"][1], variables["temperature"][1]
    if len(time) < 2 or not np.isfinite(temperature).all():
        check_history(_dataset(variables, coords, attrs))  # says what is wrong
    if not coupled:
        variables |= fraction_variables(time, temperature, steel, kinetics)
        coords["phase"] = PHASE_COORDINATE
    cooled = _cooled(
        steel,
        coords["probe"][1].tolist(),
        time,
        temperature,
        variables["fraction"][1],
        variables["formation_temperature"][1],
        mean_or_local(variables["cooling_rate_800_700"][1], variables["cooling_rate_700"][1]),
    )
    return Begun(variables, coords, attrs, cooled)


def _dataset(variables: Variables, coords: Variables, attrs: Mapping[str, Any]) -> xr.Dataset:
    import xarray as xr

    return xr.Dataset(variables, coords, attrs)


#: Temperatures (degC) whose crossing a trial looks for: the window around 704 degC, and 800 to 500 degC.
LEVELS = (RATE_TEMPERATURE + RATE_WINDOW, RATE_TEMPERATURE - RATE_WINDOW, 800.0, 500.0)


def _cooled(
    steel: Any, places: list[str], time: Array, temperature: Array, fraction: Array, formed: Array, rate: Array
) -> Cooled:
    above, below, start, end = crossings(time, temperature, LEVELS)
    return Cooled(steel, places, fraction, formed, rate, 2.0 * RATE_WINDOW / (below - above), end - start)


def predictions(runs: Sequence[Cooled]) -> list[Variables]:
    """Cooling metrics, hardness and second opinions of each run by name: dimension, values, attributes; no Dataset yet.

    Runs of one steel are worked out together: what takes time is the number of steps, not of probes.
    """
    found: list[Variables] = [{} for _ in runs]
    groups: dict[int, list[int]] = {}
    for number, run in enumerate(runs):
        groups.setdefault(id(run.steel), []).append(number)
    for numbers in groups.values():
        members = [runs[number] for number in numbers]
        steel = members[0].steel
        fraction, formed, rate, rate_704, seconds = (
            np.concatenate(arrays, axis=-1) for arrays in list(zip(*members, strict=True))[2:]
        )
        by_time, opinions = second_opinions(steel, seconds)
        whole: Variables = {
            "cooling_rate_704": ("probe", rate_704, {"units": "K/s", "long_name": "cooling rate at 704 degC"}),
            "cooling_time_800_500": ("probe", seconds, {"units": "s", "long_name": "cooling time 800 to 500 degC"}),
            **hardness_variables(fraction, formed, rate, steel),
        }
        for name, distance, what in (
            ("equivalent_distance", equivalent_distance(rate_704), "cooling rate"),
            ("equivalent_distance_by_time", by_time, "time from 800 to 500 degC"),
        ):
            about = f"distance with the same {what} on the water end-quench bar"
            whole[name] = ("probe", distance, {"units": "m", "long_name": about})
        for route, source in (("chemistry", "ASTM A255"), ("regression", "Just 1969")):
            attrs = {"units": "HRC", "long_name": f"hardness from chemistry alone, {source}"}
            whole[f"hardness_hrc_{route}"] = ("probe", opinions[route].hrc, attrs)
        first = 0
        for number, run in zip(numbers, members, strict=True):
            part = slice(first, first + len(run.places))
            first = part.stop
            own: Variables = {name: (dim, values[part], dict(attrs)) for name, (dim, values, attrs) in whole.items()}
            for route, opinion in opinions.items():
                why = told(run.places, opinion.why_missing[part])
                if why:
                    own[f"hardness_hrc_{route}"][2]["why_missing"] = why
            found[number] = own
    return found


def add_predictions(result: xr.Dataset, steel: Any) -> xr.Dataset:
    """Cooling metrics, hardness and second opinion for a Dataset with histories and fractions."""
    temperature = check_history(result).values
    fraction, formed = (
        result[name].transpose("phase", "probe").values for name in ("fraction", "formation_temperature")
    )
    time = result["time"].values.astype(float)
    places = [str(name) for name in result["probe"].values]
    cooled = _cooled(steel, places, time, temperature, fraction, formed, rate_for_hardness(result))
    # variables without coordinates, all at once: aligning them one by one takes longer than the run
    return result.assign(predictions([cooled])[0])
