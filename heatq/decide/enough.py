"""Enough quench: the least pressure or velocity of a gas that meets a requirement.

Root finding on the simulation itself: every point is a run of the piece, none is interpolated. The answer is the setting that
meets the requirement next to one, nearer than the tolerance, that fails it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import bar

from heatq.boundaries.gas import Gas, gas_name
from heatq.cautions import PLANNING
from heatq.decide.answers import answer_dataset
from heatq.decide.quenches import check_quench
from heatq.decide.requirements import check_requirement
from heatq.decide.search import TOLERANCE, Wanted, find_settings
from heatq.errors import InputError, check_name, check_number
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT
from heatq.units import in_words, shown

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["GASES", "answer_text", "enough_quench", "least_pressure", "least_velocity"]

#: Gases and the mixture that are compared unless others are named.
GASES: tuple[Gas, ...] = ("nitrogen", "argon", "helium", "hydrogen", {"helium": 0.6, "argon": 0.4})
_SETTINGS = {"pressure": ("Pa", "least pressure, absolute"), "velocity": ("m/s", "least velocity of the gas")}
_LIMITS = {"pressure": (1.0 * bar, 25.0 * bar), "velocity": (1.0, 100.0)}


def least_pressure(
    specimen: Any,
    steel: Any,
    quench: Any,
    requirement: Any,
    *,
    lowest: float = 1.0 * bar,
    highest: float = 25.0 * bar,
    tolerance: float = TOLERANCE,
    confidence: float | None = 0.95,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Least pressure of a gas quench, at its velocity, that meets a requirement.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    steel : Steel
        The heat.
    quench : GasQuench
        All settings but the pressure; its own pressure is where the search begins.
    requirement : Requirement
        What must be met, where.
    lowest, highest : float
        Between which to search, Pa absolute.
    tolerance : float
        Relative, of the answer.
    confidence : float or None
        Probability for the range of the answer; None leaves it out, and the twenty searches more that it takes.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    accuracy : float
        Of the histories, K.
    kinetics : str or Kinetics
        As in `heatq.simulate`.

    Returns
    -------
    Dataset
        ``pressure`` (NaN if none is enough), ``pressure_bracket(end)``: the nearest that fails and the one that meets, and
        ``bracket_margin(end)`` there; ``status``: "found", "not reachable" or "enough at the lowest"; ``reachable``;
        ``margin``, ``hardness_hrc``, ``hardness_interval`` and ``probability`` over ``probe``, at ``judged_at``: the answer, or,
        if there is none, the best that was run. ``pressure_interval(bound)``: the range of the
        answer from heat, grain, h and, for a hardness, the error of the model; met with a probability of 1 - confidence at the
        lower end and of confidence at the upper, ``pressure_for_confidence`` (NaN if nowhere in the limits);
        ``best_probability`` of the settings run. ``tried_pressure(run)``
        and ``tried_margin(run)``: every run of the search; ``is_monotone``.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench, Requirement, least_pressure
    >>> found = least_pressure(hq.RoundBar(0.050), hq.grade("4340"), GasQuench("nitrogen", velocity=20.0),
    ...                        Requirement(hardness_hrc=50.0), confidence=None)
    >>> str(found.status.values), bool(bar < found.pressure < 10 * bar)
    ('found', True)
    """
    return _least(
        "pressure", specimen, steel, quench, requirement, (lowest, highest), tolerance, confidence,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip


def least_velocity(
    specimen: Any,
    steel: Any,
    quench: Any,
    requirement: Any,
    *,
    lowest: float = 1.0,
    highest: float = 100.0,
    tolerance: float = TOLERANCE,
    confidence: float | None = 0.95,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Least velocity of a gas quench, at its pressure, that meets a requirement.

    Parameters
    ----------
    specimen, steel, quench, requirement, tolerance, confidence, initial_temperature, accuracy, kinetics
        As in :func:`least_pressure`.
    lowest, highest : float
        Between which to search, m/s at the piece.

    Returns
    -------
    Dataset
        As of :func:`least_pressure`, with ``velocity`` in place of ``pressure``.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench, Requirement, least_velocity
    >>> found = least_velocity(hq.RoundBar(0.050), hq.grade("1045"), GasQuench("nitrogen", pressure=10 * bar),
    ...                        Requirement(hardness_hrc=50.0), confidence=None)
    >>> str(found.status.values), bool(found.margin[0] < -20.0)
    ('not reachable', True)
    """
    return _least(
        "velocity", specimen, steel, quench, requirement, (lowest, highest), tolerance, confidence,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip


def enough_quench(
    specimen: Any,
    steel: Any,
    quench: Any,
    requirement: Any,
    *,
    gases: Sequence[Gas] = GASES,
    search: str = "pressure",
    lowest: float | None = None,
    highest: float | None = None,
    tolerance: float = TOLERANCE,
    confidence: float | None = 0.95,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Least pressure (or velocity) for several gases and mixtures, as a table over ``gas``.

    Parameters
    ----------
    specimen, steel, quench, requirement, tolerance, confidence, initial_temperature, accuracy, kinetics
        As in :func:`least_pressure`; the gas of ``quench`` is replaced by each of ``gases``.
    gases : sequence of str or mapping
        Names or mole fractions.
    search : {"pressure", "velocity"}
        What is searched for; the other stays as in ``quench``.
    lowest, highest : float, optional
        Between which to search, Pa or m/s; default 1 to 25 bar, or 1 to 100 m/s.

    Returns
    -------
    Dataset
        As of :func:`least_pressure`, over ``gas``.

    Examples
    --------
    >>> import heatq as hq
    >>> from heatq.decide import GasQuench, Requirement, enough_quench
    >>> found = enough_quench(hq.RoundBar(0.050), hq.grade("4340"), GasQuench(velocity=20.0), Requirement(hardness_hrc=50.0),
    ...                       gases=("argon", "nitrogen", "helium"), confidence=None)
    >>> argon, nitrogen, helium = found.pressure.values
    >>> bool(argon > nitrogen > helium)
    True
    """
    check_name("search", search, _SETTINGS)
    limits = _LIMITS[search]
    limits = (limits[0] if lowest is None else lowest, limits[1] if highest is None else highest)
    if isinstance(gases, str | Mapping) or not isinstance(gases, Sequence) or not len(gases):
        raise InputError(f"gases = {gases!r}: give a list of at least one, such as ['nitrogen', 'helium'].")
    _check(specimen, quench, requirement, search, limits, tolerance, confidence)
    quenches = [quench.replace(gas=gas) for gas in gases]
    return _answers(
        search, specimen, steel, quenches, [gas_name(gas) for gas in gases], requirement, limits, tolerance, confidence,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip


def _check(
    specimen: Any,
    quench: Any,
    requirement: Any,
    setting: str,
    limits: tuple[float, float],
    tolerance: float,
    confidence: float | None,
) -> None:
    check_piece(specimen)
    check_quench(quench)
    check_requirement(requirement)
    if not hasattr(quench, setting):
        raise InputError(f"quench = {quench!r} has no {setting} to search for; give a GasQuench.")
    check_span(limits, setting)
    check_search(tolerance, confidence)
    if not requirement.wants_faster:
        raise InputError(
            f"{requirement.label!r} asks for slow cooling: the least quench meets it best. Search for the least with a "
            "window for fast cooling, and judge this one in decision_table."
        )


def check_span(limits: tuple[float, float], setting: str) -> None:
    """Check the limits of a search."""
    for name, value in zip(("lowest", "highest"), limits, strict=True):
        check_number(name, value, setting, low_open=True)
    if not limits[0] < limits[1]:
        raise InputError(f"lowest = {limits[0]:g} must be below highest = {limits[1]:g}.")


def check_search(tolerance: float, confidence: float | None) -> None:
    """Check tolerance and confidence of a search."""
    check_number("tolerance", tolerance, low=1e-4, high=0.2, unit="1", hint="It is relative: 0.01 is 1 %.")
    if confidence is not None:
        check_number("confidence", confidence, low=0.5, low_open=True, high=0.999, unit="1", hint="0.95, not 95.")


def _least(
    setting: str,
    specimen: Any,
    steel: Any,
    quench: Any,
    requirement: Any,
    limits: tuple[float, float],
    tolerance: float,
    confidence: float | None,
    run: dict[str, Any],
) -> xr.Dataset:
    _check(specimen, quench, requirement, setting, limits, tolerance, confidence)
    found = _answers(
        setting, specimen, steel, [quench], [gas_name(quench.gas)], requirement, limits, tolerance, confidence, run
    )
    return found.isel(gas=0)


def _answers(
    setting: str,
    specimen: Any,
    steel: Any,
    quenches: Sequence[Any],
    names: Sequence[str],
    requirement: Any,
    limits: tuple[float, float],
    tolerance: float,
    confidence: float | None,
    run: dict[str, Any],
) -> xr.Dataset:
    unit, long_name = _SETTINGS[setting]
    wanted = Wanted(setting, unit, long_name, limits, True, tolerance, requirement, run)
    cases = [lambda x, one=one: (specimen, steel, one.replace(**{setting: x})) for one in quenches]
    found = find_settings(cases, [getattr(one, setting) for one in quenches], wanted)
    settings = {
        "specimen": repr(specimen),
        "steel": repr(steel),
        "quench": repr(quenches[0]),
        **{
            name: value if value is None or isinstance(value, float | int) else str(value)
            for name, value in run.items()
        },
    }
    result = answer_dataset(cases, found, wanted, "gas", names, confidence=confidence, settings=settings)
    sure = result[f"{setting}_interval"].sel(bound="high", drop=True)
    sure.attrs = {"units": unit, "long_name": f"least {setting} for a probability of {confidence}"}
    result[f"{setting}_for_confidence"] = sure
    for name in ("pressure", "velocity"):
        if name != setting:
            result.attrs[f"fixed_{name}"] = float(getattr(quenches[0], name))
    return result


_SHOWN = {"pressure": "Pa", "velocity": "m/s", "diameter": "m"}


def answer_text(result: xr.Dataset) -> str:
    """An answer of `least_pressure`, `least_velocity`, `enough_quench` or `largest_section` in words, one line per case.

    Lengths and temperatures are in the units of `heatq.plot.units`; of a gas mixture with a long name only the largest part
    is printed.

    Parameters
    ----------
    result : Dataset
        Of one of these.
    """
    import json

    from heatq.decide.table import short_labels

    if not hasattr(result, "data_vars") or "judged_at" not in result:
        raise InputError(
            "result is not an answer: pass what least_pressure(), enough_quench() or largest_section() gave."
        )
    what = str(result.attrs["searched"])
    dimension = next((str(d) for d in result["status"].dims), None)
    one_by_one = (
        [result] if dimension is None else [result.isel({dimension: n}) for n in range(result.sizes[dimension])]
    )
    name = next((n for n in ("gas", "case") if n in result.coords), None)
    lines = [f"{'largest' if what == 'diameter' else 'least'} {what} for {in_words(str(result.attrs['requirement']))}"]
    labels = short_labels([one[name].values for one in one_by_one]) if name else [""] * len(one_by_one)
    for label, one in zip(labels, one_by_one, strict=True):
        lines.append(f"  {label}: {_in_words(one, what)}" if label else f"  {_in_words(one, what)}")
    lines += [f"  note: {note}" for note in json.loads(result.attrs.get("notes", "[]"))]
    return "\n".join([*lines, PLANNING])


def _in_words(one: xr.Dataset, what: str) -> str:
    status, requires = str(one["status"].values), str(one["margin"].attrs["units"])
    worst = int(np.argmin(one["margin"].values))
    margin, mark = shown(float(one["margin"].values[worst]), requires)
    at, unit = shown(float(one["judged_at"]), _SHOWN[what])
    value = f"{100 * margin:+.1f} %" if requires == "1" else f"{margin:+.2g} {mark}"
    place = in_words(str(one["probe"].values[worst]))
    if status == "not reachable":
        words = f"not reachable; the best is {at:.3g} {unit}, {value} at {place}"
    elif status.startswith("enough"):
        words = f"{status}, {at:.3g} {unit}, with {value} to spare at {place}"
    else:
        fails, meets = (float(end) for end in shown(one[f"{what}_bracket"].values, _SHOWN[what])[0])
        words = f"{meets:.3g} {unit} ({fails:.4g} fails)"
    low, high = (float(end) for end in shown(one[f"{what}_interval"].values, _SHOWN[what])[0])
    confidence = float(one.attrs.get("confidence", np.nan))
    best = 100.0 * float(one["best_probability"])
    if np.isfinite(confidence) and (status == "found" or np.isfinite(best)):
        sure = low if what == "diameter" else high
        alone = f" (by the hardness interval alone {best:.0f} % at best)" if np.isfinite(best) else ""
        nowhere = f"nowhere in the range searched{alone}"
        reach = f"{'up to' if what == 'diameter' else 'from'} {sure:.3g} {unit}"
        words += f"; {100 * confidence:g} % sure {reach if np.isfinite(sure) else nowhere}"
    hrc = one["hardness_hrc"].values[worst]
    bounds = one["hardness_interval"].values[:, worst]
    if np.isfinite(hrc):
        edges = [f"{b:.0f}" if np.isfinite(b) else "<20" for b in bounds]
        words += f"; there {hrc:.1f} HRC ({edges[0]} to {edges[1]})"
    else:
        words += f"; there {float(one['hardness_hv'].values[worst]):.0f} HV"
    return words
