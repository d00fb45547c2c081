"""Largest section that a quench hardens: one answer, a chart over pressure and velocity, several steels over pressure."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.decide.answers import answer_dataset
from heatq.decide.enough import check_search
from heatq.decide.quenches import check_quench
from heatq.decide.requirements import check_requirement
from heatq.decide.search import TOLERANCE, Case, Found, Wanted, find_settings
from heatq.errors import InputError, check_number
from heatq.specimens import RoundBar
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["largest_section", "section_chart", "sections_against_pressure"]

Array = npt.NDArray[np.float64]
#: Where a search for a diameter begins, m.
_GUESS = 0.05


def largest_section(
    steel: Any,
    quench: Any,
    requirement: Any,
    *,
    specimen: Callable[[float], Any] = RoundBar,
    smallest: float = 0.005,
    largest: float = 0.5,
    tolerance: float = TOLERANCE,
    confidence: float | None = 0.95,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Largest section that a quench hardens to a requirement.

    Parameters
    ----------
    steel : Steel
        The heat.
    quench : GasQuench or BathQuench
        All its settings stay as they are.
    requirement : Requirement
        What must be met, where.
    specimen : callable
        Diameter (m) -> piece; by default a long round bar. ``lambda d: RoundBar(d, length=3 * d)`` for short ones.
    smallest, largest : float
        Between which to search, m.
    tolerance : float
        Relative, of the diameter.
    confidence : float or None
        As in `least_pressure`.
    initial_temperature, accuracy, kinetics
        As in `least_pressure`.

    Returns
    -------
    Dataset
        As of `least_pressure`, with ``diameter`` (the largest run that meets the requirement; NaN if not even the smallest
        does) in place of the pressure; ``diameter_for_confidence`` is the lower end of ``diameter_interval``. The status may be
        "enough at the largest".

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench, Requirement, largest_section
    >>> found = largest_section(hq.grade("4340"), GasQuench("nitrogen", velocity=20.0, pressure=10 * bar),
    ...                         Requirement(hardness_hrc=50.0), confidence=None)
    >>> 60.0 < float(found.diameter) * 1e3 < 110.0
    True
    """
    _check(quench, requirement, specimen, (smallest, largest), tolerance, confidence)
    wanted = _wanted(
        requirement, (smallest, largest), tolerance,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip
    cases = [_sized(specimen, steel, quench)]
    found = find_settings(cases, [_GUESS], wanted)
    settings = {"specimen": repr(specimen(_GUESS)), "steel": repr(steel), "quench": repr(quench)}
    result = answer_dataset(
        cases, found, wanted, "case", [str(quench.label)], confidence=confidence, settings=settings
    ).isel(case=0)
    sure = result["diameter_interval"].sel(bound="low", drop=True)
    sure.attrs = {"units": "m", "long_name": f"largest diameter for a probability of {confidence}"}
    result["diameter_for_confidence"] = sure
    return result


def _check(
    quench: Any,
    requirement: Any,
    specimen: Any,
    limits: tuple[float, float],
    tolerance: float,
    confidence: float | None = None,
) -> None:
    check_quench(quench)
    check_requirement(requirement)
    if not callable(specimen):
        raise InputError(
            f"specimen = {specimen!r} must make a piece from a diameter: the class RoundBar, or "
            "lambda d: RoundBar(d, length=0.2)."
        )
    for name, value in zip(("smallest", "largest"), limits, strict=True):
        check_number(name, value, "diameter")
    if not limits[0] < limits[1]:
        raise InputError(f"smallest = {limits[0]:g} m must be below largest = {limits[1]:g} m.")
    check_search(tolerance, confidence)
    if not requirement.wants_faster:
        raise InputError(f"{requirement.label!r} asks for slow cooling: the largest section meets it best.")


def _wanted(requirement: Any, limits: tuple[float, float], tolerance: float, run: dict[str, Any]) -> Wanted:
    return Wanted("diameter", "m", "largest diameter", limits, False, tolerance, requirement, run)


def section_chart(
    steel: Any,
    quench: Any,
    requirement: Any,
    *,
    pressures: Sequence[float] | Array,
    velocities: Sequence[float] | Array,
    specimen: Callable[[float], Any] = RoundBar,
    smallest: float = 0.005,
    largest: float = 0.5,
    tolerance: float = TOLERANCE,
    initial_temperature: float | None = None,
    accuracy: float = 2.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Largest section over pressure and velocity, for one steel.

    Parameters
    ----------
    steel, quench, requirement, specimen, smallest, largest, tolerance, initial_temperature, accuracy, kinetics
        As in :func:`largest_section`; pressure and velocity of ``quench`` are replaced.
    pressures, velocities : sequence of float
        Pa absolute and m/s, rising.

    Returns
    -------
    Dataset
        ``diameter(pressure, velocity)`` in m, the largest that was run and meets the requirement (NaN where not even the
        smallest does), ``status``; some ten runs per point, all points side by side on all cores.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench, Requirement, section_chart
    >>> chart = section_chart(hq.grade("4340"), GasQuench(), Requirement(martensite=0.9),
    ...                       pressures=[2 * bar, 10 * bar], velocities=[10.0, 20.0], tolerance=0.02)
    >>> bool((chart.diameter.diff("pressure") > 0).all() and (chart.diameter.diff("velocity") > 0).all())
    True
    """
    _check(quench, requirement, specimen, (smallest, largest), tolerance)
    _need_gas(quench)
    p, v = _rising("pressures", pressures, "pressure"), _rising("velocities", velocities, "velocity")
    wanted = _wanted(
        requirement, (smallest, largest), tolerance,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip
    quenches = [quench.replace(pressure=float(one), velocity=float(other)) for one in p for other in v]
    cases = [_sized(specimen, steel, one) for one in quenches]
    found = find_settings(cases, [_GUESS] * len(cases), wanted)
    return _chart(
        found,
        wanted,
        {"pressure": ("Pa", "pressure, absolute", p), "velocity": ("m/s", "velocity of the gas", v)},
        {"steel": repr(steel), "quench": repr(quench), "specimen": repr(specimen(_GUESS))},
    )


def sections_against_pressure(
    steels: Mapping[str, Any] | Sequence[Any],
    quench: Any,
    requirement: Any,
    *,
    pressures: Sequence[float] | Array,
    specimen: Callable[[float], Any] = RoundBar,
    smallest: float = 0.005,
    largest: float = 0.5,
    tolerance: float = TOLERANCE,
    initial_temperature: float | None = None,
    accuracy: float = 2.0,
    kinetics: Any = DEFAULT,
) -> xr.Dataset:
    """Largest section against pressure for several steels, at the velocity of the quench.

    Parameters
    ----------
    steels : mapping or sequence
        Name -> Steel, or steels that have names.
    quench, requirement, specimen, smallest, largest, tolerance, initial_temperature, accuracy, kinetics
        As in :func:`largest_section`; the pressure of ``quench`` is replaced. The start temperature is by default each steel's own.
    pressures : sequence of float
        Pa absolute, rising.

    Returns
    -------
    Dataset
        ``diameter(steel, pressure)`` in m and ``status``, as of :func:`section_chart`.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench, Requirement, sections_against_pressure
    >>> chart = sections_against_pressure([hq.grade("4140"), hq.grade("4340")], GasQuench(), Requirement(martensite=0.9),
    ...                                   pressures=[5 * bar, 10 * bar], tolerance=0.02)
    >>> bool((chart.diameter.sel(steel="4340") > chart.diameter.sel(steel="4140")).all())
    True
    """
    _check(quench, requirement, specimen, (smallest, largest), tolerance)
    _need_gas(quench)
    p = _rising("pressures", pressures, "pressure")
    if not isinstance(steels, Mapping | Sequence) or isinstance(steels, str):
        raise InputError(f"steels = {steels!r} must be a list of steels, or a mapping name -> Steel.")
    named = dict(steels) if isinstance(steels, Mapping) else {str(getattr(one, "name", "")): one for one in steels}
    if not named or (not isinstance(steels, Mapping) and len(named) != len(list(steels))) or "" in named:
        raise InputError("steels: give at least one, each with a name of its own, or a mapping name -> Steel.")
    wanted = _wanted(
        requirement, (smallest, largest), tolerance,
        {"initial_temperature": initial_temperature, "accuracy": accuracy, "kinetics": kinetics},
    )  # fmt: skip
    quenches = [quench.replace(pressure=float(one)) for one in p]
    cases = [_sized(specimen, steel, one) for steel in named.values() for one in quenches]
    found = find_settings(cases, [_GUESS] * len(cases), wanted)
    result = _chart(
        found,
        wanted,
        {"steel": ("1", "steel", list(named)), "pressure": ("Pa", "pressure, absolute", p)},
        {"steels": repr(named), "quench": repr(quench), "specimen": repr(specimen(_GUESS))},
    )
    result.attrs["fixed_velocity"] = float(quench.velocity)
    return result


def _sized(specimen: Callable[[float], Any], steel: Any, quench: Any) -> Case:
    """Case over the diameter."""
    return lambda diameter: (specimen(diameter), steel, quench)


def _need_gas(quench: Any) -> None:
    if not (hasattr(quench, "pressure") and hasattr(quench, "velocity")):
        raise InputError(f"quench = {quench!r} has no pressure and velocity to vary; give a GasQuench.")


def _rising(argument: str, values: Any, kind: str) -> Array:
    array = np.array([check_number(argument, one, kind, low_open=True) for one in np.atleast_1d(np.asarray(values))])
    if not array.size or not (np.diff(array) > 0.0).all():
        raise InputError(f"{argument} must rise from value to value, and hold at least one.")
    return array


def _chart(
    found: Sequence[Found],
    wanted: Wanted,
    axes: dict[str, tuple[str, str, Any]],
    settings: dict[str, Any],
) -> xr.Dataset:
    import xarray as xr

    dims = tuple(axes)
    shape = tuple(len(values) for _, _, values in axes.values())
    status = []
    for one in found:
        ended = "enough at the largest" if np.isnan(one.enclosure.fails) else "found"
        status.append("not reachable" if np.isnan(one.enclosure.meets) else ended)
    return xr.Dataset(
        {
            "diameter": (
                dims,
                np.array([one.enclosure.meets for one in found]).reshape(shape),
                {"units": "m", "long_name": "largest diameter"},
            ),
            "status": (dims, np.array(status).reshape(shape), {"units": "1", "long_name": "outcome of the search"}),
            "is_monotone": (
                dims,
                np.array([not one.notes for one in found]).reshape(shape),
                {"units": "1", "long_name": "margin monotone on the points run"},
            ),
        },
        coords={name: (name, values, {"units": u, "long_name": words}) for name, (u, words, values) in axes.items()},
        attrs={
            "heatq_version": __version__,
            "requirement": wanted.requirement.label,
            "smallest": wanted.limits[0],
            "largest": wanted.limits[1],
            "tolerance": wanted.tolerance,
            "runs": int(sum(len(one.settings) for one in found)),
            "settings": json.dumps(settings),
        },
    )
