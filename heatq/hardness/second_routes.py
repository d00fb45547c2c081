"""Hardness from chemistry alone at the places of a piece, and why it is missing where it is.

A place counts as alike to that place of the end-quench bar which takes as long from 800 to 500 degC, and not to the one with
the same rate at 704 degC. Both were measured against what is published (tests/validation, ``mass_quenched.toml`` and
``equal_cooling.toml``); rms deviation from the published hardness, HRC, at the points that both reach:

====================================  ========  ========
rounds in oil and water               by rate   by time
====================================  ========  ========
ASTM A255, 35 points                  10.1      6.8
... oil, 24; water, 11                11.1 7.1  7.7 4.0
Just 1969, 40 points                  6.6       7.1
... without 1060, 29 points           6.4       6.1
====================================  ========  ========

The way was chosen on these rounds, so that they are no check of it. A255 is better by time in both baths and at surface, half radius and centre alike; Just is not told apart (at 0.60 % C it is at
its edge). The four published anchors come out +33, +3, +36 and +29 % by rate, +16, +3, +25 and +14 % by time. On the end-quench
bars of six H-bands the two make no difference (A255 3.2 and 3.3, Just 2.5 and 2.4 HRC). In oil, whose vapour blanket still
covers the surface at 704 degC, the rate there puts the surface of a round farther from the quenched end than its centre.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import inch

from heatq.hardness.equal_cooling import ENDQUENCH_TIMES, equivalent_distance
from heatq.hardness.hardenability import a255_curve, along_a255, along_just, just_terms
from heatq.steels.steel import kept_with
from heatq.units import to_sixteenths

__all__ = ["SecondOpinion", "second_opinions", "told"]

Array = npt.NDArray[np.float64]
Words = npt.NDArray[np.str_]

#: Positions (1/16 in) between which the two methods give a value.
A255_LAST, JUST_FIRST, JUST_LAST = 16.0, 4.0, 40.0
NO_TIME = "no time from 800 to 500 degC"
BEYOND_A255 = f"farther from the quenched end than J{A255_LAST:g}, where ASTM A255 ends"
BEYOND_JUST = f"farther from the quenched end than J{JUST_LAST:g}, where the regression ends"
BEFORE_JUST = f"nearer to the quenched end than J{JUST_FIRST:g}, where the regression begins"


class SecondOpinion(NamedTuple):
    """Hardness, HRC, and per place why there is none (empty where there is one)."""

    hrc: Array
    why_missing: Words


def second_opinions(steel: Any, cooling_time: npt.ArrayLike) -> tuple[Array, dict[str, SecondOpinion]]:
    """Distance (m) on the end-quench bar with the same time from 800 to 500 degC, and hardness there from chemistry alone.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
        The heat, with all residuals.
    cooling_time : array_like
        From 800 to 500 degC, s; NaN where a place starts below or does not get there.

    Returns
    -------
    distance : array
        m; NaN where it is unknown, faster than J0.5 or slower than J48.
    opinions : dict
        "chemistry" (ASTM A255, J16 at most; what is faster than the bar's end counts as J1) and "regression" (Just 1969, J4 to
        J40).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    >>> distance, found = second_opinions(heat, [0.1, 22.4, 100.0, np.nan])
    >>> found["chemistry"].hrc.round(1), found["regression"].hrc.round(1)
    (array([56. , 51.7,  nan,  nan]), array([ nan, 51.4, 41. ,  nan]))
    >>> print(told(["a", "b", "c", "d"], found["chemistry"].why_missing))
    c: farther from the quenched end than J16, where ASTM A255 ends; d: no time from 800 to 500 degC
    """
    time = np.asarray(cooling_time, dtype=float)
    distance = equivalent_distance(time, by="time")
    position = np.asarray(to_sixteenths(distance))
    fast = time < ENDQUENCH_TIMES[0].time
    slow = time > ENDQUENCH_TIMES[-1].time

    near = fast | (position <= A255_LAST + 1e-6)
    curve = kept_with(steel, a255_curve)
    chemistry = np.where(near, along_a255(np.where(near & ~fast, position, 0.0), curve)[0], np.nan)
    reached = (position >= JUST_FIRST - 1e-6) & (position <= JUST_LAST + 1e-6)
    of_steel = kept_with(steel, just_terms)
    regression = along_just(np.where(reached, position, np.nan), of_steel)

    refused = f"the dividing factors of ASTM A255 end before the ideal diameter of {curve.ideal_diameter / inch:.1f} in at this distance"
    times, ends = time.ravel().tolist(), (slow | (position > JUST_LAST)).ravel().tolist()
    why = [
        "" if hrc == hrc else NO_TIME if seconds != seconds else refused if is_near else BEYOND_A255
        for seconds, hrc, is_near in zip(times, chemistry.ravel().tolist(), near.ravel().tolist(), strict=True)
    ]
    why_not = [
        "" if is_reached else NO_TIME if seconds != seconds else BEYOND_JUST if is_far else BEFORE_JUST
        for seconds, is_reached, is_far in zip(times, reached.ravel().tolist(), ends, strict=True)
    ]
    return distance, {
        "chemistry": SecondOpinion(chemistry, np.array(why, dtype=str).reshape(time.shape)),
        "regression": SecondOpinion(regression, np.array(why_not, dtype=str).reshape(time.shape)),
    }


def told(places: Sequence[str], why_missing: npt.ArrayLike) -> str:
    """Reasons in words, each with the places that it is true of; empty if nothing is missing.

    Parameters
    ----------
    places : sequence of str
        Names of the places.
    why_missing : array of str
        One reason per place, empty where nothing is missing.

    Examples
    --------
    >>> told(["J1", "J2", "J3"], ["too near", "too near", ""])
    'J1, J2: too near'
    """
    found: dict[str, list[str]] = {}
    for place, reason in zip(places, np.asarray(why_missing).tolist(), strict=True):
        if reason:
            found.setdefault(reason, []).append(str(place))
    return "; ".join(f"{_listed(names)}: {reason}" for reason, names in found.items())


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 6 else f"{names[0]} to {names[-1]} ({len(names)} places)"
