"""Equal quenches: the setting of one quench that does in a piece what another quench does.

Root finding on the simulation of the piece itself, in the logarithm of the setting: gas against gas, furnace against furnace, gas
against oil, oil against water. Two quenches that are equal by one measure, at one place of one piece, are not equal by another
measure, at another place or in another piece: what both do by every measure stands beside the answer.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import bar

from heatq._version import __version__
from heatq.boundaries.gas import Gas, gas_name
from heatq.decide.enough import check_search, check_span
from heatq.decide.equal_search import KEPT, MEASURES, Answer, Runs, Span, find_answers
from heatq.decide.quenches import GasQuench, check_quench
from heatq.decide.search import TOLERANCE
from heatq.errors import InputError, check_name, check_number
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["equal_quench", "equal_settings"]


#: Setting -> unit, words, default limits.
_SETTINGS: dict[str, tuple[str, str, tuple[float, float]]] = {
    "pressure": ("Pa", "pressure, absolute", (1.0 * bar, 25.0 * bar)),
    "velocity": ("m/s", "velocity", (1.0, 100.0)),
}


def _checked(
    specimen: Any,
    reference: Any,
    candidate: Any,
    by: str,
    vary: str,
    lowest: float | None,
    highest: float | None,
    tolerance: float,
    resolution: float | None,
    correlation: float,
) -> tuple[tuple[float, float], float, Callable[[float], Any]]:
    check_piece(specimen)
    check_quench(reference, "reference")
    check_name("by", by, MEASURES)
    check_search(tolerance, None)
    check_number("correlation", correlation, low=0.0, high=1.0, unit="1", hint="1: both have the same error of h.")
    if resolution is not None:
        check_number("resolution", resolution, low=1e-4, high=0.5, unit="1", hint="It is relative: 0.02 is 2 %.")
    if callable(candidate) and not hasattr(candidate, "boundaries"):
        if lowest is None or highest is None:
            raise InputError(
                "candidate is a function of the setting: give lowest and highest, between which to search."
            )
        if not 0.0 < lowest < highest:
            raise InputError(f"lowest = {lowest:g} must be above 0 and below highest = {highest:g}.")
        return (lowest, highest), resolution or MEASURES[by].resolution, candidate
    check_quench(candidate, "candidate")
    check_name("vary", vary, _SETTINGS)
    if not isinstance(candidate, GasQuench):
        raise InputError(
            f"candidate = {candidate!r} has no {vary} to search for: give a GasQuench, or a function of the setting, such as "
            "lambda velocity: BathQuench(WaterBath(25.0, velocity))."
        )
    limits = _SETTINGS[vary][2]
    limits = (limits[0] if lowest is None else lowest, limits[1] if highest is None else highest)
    check_span(limits, vary)
    return limits, resolution or MEASURES[by].resolution, lambda x: candidate.replace(**{vary: x})


def equal_quench(
    specimen: Any,
    steel: Any,
    reference: Any,
    candidate: Any,
    *,
    by: str = "cooling time",
    vary: str = "pressure",
    probe: str = "centre",
    lowest: float | None = None,
    highest: float | None = None,
    increasing: bool = True,
    correlation: float = 0.0,
    with_interval: bool = True,
    resolution: float | None = None,
    tolerance: float = TOLERANCE,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Setting of a candidate quench that does at one place of a piece what a reference quench does there.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    steel : Steel
        The heat.
    reference : GasQuench or BathQuench
        The quench to be equalled.
    candidate : GasQuench or callable
        The other quench, all settings but the one searched for; or a function of that setting that returns a quench, for
        instance ``lambda velocity: BathQuench(WaterBath(25.0, velocity))``, with ``lowest`` and ``highest``.
    by : {"cooling time", "hardness", "equivalent distance", "cooling rate"}
        What must be equal: time from 800 to 500 degC; Vickers hardness; end-quench distance of the same cooling rate by the
        published table; rate at 704 degC. The last two give the same answer and differ in what they report.
    vary : {"pressure", "velocity"}
        What is searched for; with a function as candidate only a name.
    probe : str
        The place.
    lowest, highest : float, optional
        Between which to search; default 1 to 25 bar, or 1 to 100 m/s.
    increasing : bool
        Whether more of the setting quenches harder; False is for a function of, say, a bath temperature.
    correlation : float
        Of the errors of h of both quenches: 0 for different media, near 1 for one correlation used for both.
    with_interval : bool
        Search for the range from the uncertainties of h too; without, three times as fast.
    resolution : float, optional
        Relative difference of the measure that does not matter; 0.02, which is 0.6 to 0.8 HRC between 300 and 600 HV.
    tolerance : float
        Relative, of the setting.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    accuracy : float
        Of the histories, K.
    kinetics : str or Kinetics
        As in `heatq.simulate`.

    Returns
    -------
    Dataset
        ``pressure`` (or what is varied; NaN if not reachable); ``pressure_bracket(bound)``: the two settings run next to it;
        ``pressure_band(bound)``: where the difference is below the resolution, NaN where it still is at that limit of the
        search; ``is_sharp``: the band is closed and narrower than a factor 1.5 (a piece hard all through is equally hard in
        many quenches); ``pressure_interval(bound)``: range from the stated uncertainties of h (two standard deviations),
        NaN where it passes a limit of the search. ``status``: "found", "within the resolution", "not reachable: always
        weaker" or "... stronger"; ``judged_at``: the answer, or the best that is. Over ``quench`` ("reference",
        "candidate"): hardness, cooling time, rate and distance, all run, none interpolated. ``difference``: candidate minus reference in the
        measure. ``tried_pressure(run)``, ``tried_measure(run)``: every point of the search.

    Notes
    -----
    The interval scales h of the reference and of the candidate by 1 +- its uncertainty, searches again each time, and adds
    the shifts in squares in the logarithm, with ``-2 correlation a b`` for errors in common. Errors of the kinetics are not
    in it: they act on both quenches.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench
    >>> bar_50, slow = hq.RoundBar(0.050), GasQuench("nitrogen", velocity=15.0, pressure=10 * bar)
    >>> found = equal_quench(bar_50, hq.grade("4140"), slow, slow.replace(gas="helium"))
    >>> str(found.status.values), bool(2.0 < found.pressure / bar < 8.0)
    ('found', True)
    """
    limits, small, made = _checked(
        specimen, reference, candidate, by, vary, lowest, highest, tolerance, resolution, correlation
    )
    run = {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics}
    span = Span(limits, increasing, tolerance)
    runs = Runs(specimen, steel, probe, by, run)
    own = getattr(candidate, vary, None)
    guess = float(np.sqrt(limits[0] * limits[1])) if own is None else float(own)
    answers, stated = find_answers([made], [guess], reference, span, runs, small, correlation, with_interval)
    result = _dataset(answers, [made], reference, runs, vary, stated).isel(line=0)
    points = answers[0].points
    tried = sorted(points)
    unit = _SETTINGS.get(vary, ("1", vary, limits))[0]
    values = [runs.of([made(x)])[0][MEASURES[by].variable] for x in tried]
    result[f"tried_{vary}"] = ("run", tried, {"units": unit, "long_name": f"{vary} run"})
    result["tried_measure"] = ("run", values, {"units": MEASURES[by].unit, "long_name": f"{by} there"})
    result = result.assign_coords(run=("run", np.arange(len(tried)), {"units": "1", "long_name": "number of the run"}))
    result.attrs |= _attributes(runs, reference, candidate, vary, span, small, correlation)
    return result


def equal_settings(
    specimen: Any,
    steel: Any,
    reference: Any,
    candidate: Any,
    *,
    along: Sequence[float] | None = None,
    gases: Sequence[Gas] | None = None,
    by: str = "cooling time",
    vary: str = "pressure",
    probe: str = "centre",
    lowest: float | None = None,
    highest: float | None = None,
    correlation: float = 0.0,
    with_interval: bool = True,
    resolution: float | None = None,
    tolerance: float = TOLERANCE,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Line of settings of a gas quench, pressure over velocity, that all do what the reference does; for several gases.

    Parameters
    ----------
    specimen, steel, reference, by, vary, probe, lowest, highest, correlation, with_interval, resolution, tolerance, initial_temperature, \
accuracy, kinetics
        As in :func:`equal_quench`.
    candidate : GasQuench
        All settings but the two on the line.
    along : sequence of float, optional
        Values of the other setting: velocities, m/s, when the pressure is searched for, pressures, Pa, when the velocity is.
        Default: the candidate's own.
    gases : sequence of str or mapping, optional
        Default: the candidate's own.

    Returns
    -------
    Dataset
        As of :func:`equal_quench`, over ``gas`` and ``velocity`` (or ``pressure``), without the points tried.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench
    >>> slow = GasQuench("nitrogen", velocity=15.0, pressure=10 * bar)
    >>> line = equal_settings(hq.RoundBar(0.050), hq.grade("4140"), slow, slow, along=[15.0, 30.0])
    >>> (line.pressure[0] / bar).values.round(1)
    array([10.,  5.])
    """
    if not isinstance(candidate, GasQuench):
        raise InputError(f"candidate = {candidate!r} must be a GasQuench: a line needs its pressure and its velocity.")
    limits, small, _ = _checked(
        specimen, reference, candidate, by, vary, lowest, highest, tolerance, resolution, correlation
    )
    other = "velocity" if vary == "pressure" else "pressure"
    if gases is not None and (isinstance(gases, str | Mapping) or not len(gases)):
        raise InputError(f"gases = {gases!r} must be a list of at least one, such as ['nitrogen', 'helium'].")
    values = [float(getattr(candidate, other))] if along is None else [float(one) for one in along]
    if not values:
        raise InputError(f"along is empty: give at least one {other}.")
    named = [candidate.gas] if gases is None else list(gases)
    quenches = [candidate.replace(**{"gas": gas, other: one}) for gas in named for one in values]
    made = [lambda x, one=one: one.replace(**{vary: x}) for one in quenches]
    run = {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics}
    span = Span(limits, True, tolerance)
    runs = Runs(specimen, steel, probe, by, run)
    guess = float(getattr(candidate, vary))
    answers, stated = find_answers(made, [guess] * len(made), reference, span, runs, small, correlation, with_interval)
    flat = _dataset(answers, made, reference, runs, vary, stated)
    shape = (len(named), len(values))
    unit, words, _ = _SETTINGS[other]
    import xarray as xr

    data: dict[str, Any] = {}
    for name, one in flat.data_vars.items():
        moved = one.transpose("line", ...) if "line" in one.dims else None
        data[str(name)] = (
            (one.dims, one.values, one.attrs)
            if moved is None
            else (("gas", other, *moved.dims[1:]), moved.values.reshape(*shape, *moved.shape[1:]), one.attrs)
        )
    result = xr.Dataset(data, coords={name: flat[name] for name in flat.coords})
    result = result.assign_coords(
        {
            "gas": ("gas", [gas_name(gas) for gas in named], {"units": "1", "long_name": "gas"}),
            other: (other, values, {"units": unit, "long_name": words}),
        }
    )
    result.attrs |= _attributes(runs, reference, candidate, vary, span, small, correlation)
    return result


def _attributes(
    runs: Runs, reference: Any, candidate: Any, vary: str, span: Span, resolution: float, correlation: float
) -> dict[str, Any]:
    return {
        "heatq_version": __version__,
        "by": runs.by,
        "searched": vary,
        "probe": runs.probe,
        "reference": str(reference.label),
        "lowest": span.limits[0],
        "highest": span.limits[1],
        "tolerance": span.tolerance,
        "resolution": resolution,
        "correlation": correlation,
        "settings": json.dumps(
            {
                "specimen": repr(runs.specimen),
                "steel": repr(runs.steel),
                "reference": repr(reference),
                "candidate": repr(candidate),
                **{k: v if v is None or isinstance(v, int | float) else str(v) for k, v in runs.run.items()},
            }
        ),
    }


def _dataset(
    answers: Sequence[Answer],
    made: Sequence[Callable[[float], Any]],
    reference: Any,
    runs: Runs,
    vary: str,
    stated: Sequence[float | None],
) -> xr.Dataset:
    import xarray as xr

    measure = MEASURES[runs.by]
    unit, words, _ = _SETTINGS.get(vary, ("1", vary, (0.0, 0.0)))
    theirs = [runs.of([one(answer.judged_at)])[0] for one, answer in zip(made, answers, strict=True)]
    ours = runs.of([reference])[0]
    mark = {"units": "1"}
    open_band = [not np.isfinite(one.band).all() or one.band[1] > 1.5 * one.band[0] for one in answers]
    data: dict[str, Any] = {
        vary: ("line", [one.setting for one in answers], {"units": unit, "long_name": f"{words} that is equal"}),
        "status": ("line", [one.status for one in answers], {**mark, "long_name": "outcome of the search"}),
        "reachable": (
            "line",
            [not one.status.startswith("not") for one in answers],
            {**mark, "long_name": "reachable"},
        ),
        "judged_at": (
            "line",
            [one.judged_at for one in answers],
            {"units": unit, "long_name": f"{vary} of the figures of the candidate: the answer, or the best that is"},
        ),
        "is_sharp": ("line", [not one for one in open_band], {**mark, "long_name": "only few settings are equal"}),
        "is_monotone": (
            "line",
            [one.is_monotone for one in answers],
            {**mark, "long_name": "stronger at every larger setting run"},
        ),
        "difference": (
            "line",
            [one[measure.variable] - ours[measure.variable] for one in theirs],
            {"units": measure.unit, "long_name": f"{runs.by}, candidate minus reference"},
        ),
        "h_uncertainty": (
            ("quench", "line"),
            [
                [np.nan if stated[0] is None else stated[0]] * len(answers),
                [np.nan if u is None else u for u in stated[1:]],
            ],
            {**mark, "long_name": "stated relative uncertainty of h, two standard deviations"},
        ),
    }
    for end, text in (
        ("bracket", "settings run next to the answer"),
        ("band", "settings within the resolution"),
        ("interval", "range of the answer from the uncertainties of h"),
    ):
        rows = [getattr(one, end) for one in answers]
        data[f"{vary}_{end}"] = (("line", "bound"), rows, {"units": unit, "long_name": text})
    for name, (its_unit, text) in KEPT.items():
        columns = [[ours[name]] * len(answers), [one[name] for one in theirs]]
        data[name] = (("quench", "line"), columns, {"units": its_unit, "long_name": text})
    return xr.Dataset(
        data,
        coords={
            "bound": ("bound", ["low", "high"], {**mark, "long_name": "end of the range"}),
            "quench": ("quench", ["reference", "candidate"], {**mark, "long_name": "which quench"}),
        },
    )
