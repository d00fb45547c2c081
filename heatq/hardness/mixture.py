"""Hardness of a mixed structure in HV from fractions, formation temperatures and the cooling rate at 700 degC."""

from __future__ import annotations

import functools
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, hold_validity, repeat_notes
from heatq.hardness.phases import (
    MaynierTerms,
    auto_tempering,
    hv_martensite,
    hv_pearlite,
    log_rate,
    maynier_terms,
    solid_solution,
)
from heatq.steels.steel import kept_with
from heatq.transformation.formulas import ae1_grange_1961
from heatq.transformation.rates import CARBON_IN_FERRITE

__all__ = ["PHASES", "PhaseHardness", "mixture_hardness", "phase_hardness"]

Array = npt.NDArray[np.float64]

#: Order of the phases along the first axis of fractions and formation temperatures.
PHASES = ("ferrite", "pearlite", "bainite", "martensite", "austenite")


class PhaseHardness(NamedTuple):
    """Hardness in HV per probe as used in the mixture; ``ferrite_pearlite`` is that mixture with its floor."""

    ferrite_pearlite: Array
    bainite: Array
    martensite: Array
    is_floored: npt.NDArray[np.bool_]


def _checked(fractions: npt.ArrayLike) -> Array:
    array = np.asarray(fractions, dtype=float)
    if array.ndim < 1 or array.shape[0] != len(PHASES):
        raise InputError(
            f"fractions has shape {array.shape}; the first axis must be the phases {', '.join(PHASES)}, in this order."
        )
    total = array.sum(axis=0)
    if (array < -1e-9).any() or (np.abs(total - 1.0) > 1e-3).any():
        raise InputError("fractions must lie in 0..1 and sum to 1 along the first axis. Write 0.25, not 25 %.")
    return array


def phase_hardness(
    fractions: npt.ArrayLike,
    formation_temperature: npt.ArrayLike,
    rate_700: npt.ArrayLike,
    steel: Any,
    *,
    carbon: float | None = None,
    ae1: float | None = None,
) -> PhaseHardness:
    """Hardness of the constituents as :func:`mixture_hardness` uses them; parameters as there."""
    return _phase_hardness(_checked(fractions), formation_temperature, rate_700, steel, carbon, ae1)


def _phase_hardness(
    array: Array,
    formation_temperature: npt.ArrayLike,
    rate_700: npt.ArrayLike,
    steel: Any,
    carbon: float | None,
    ae1: float | None,
) -> PhaseHardness:
    """:func:`phase_hardness` of fractions that were looked at."""
    formed = np.asarray(formation_temperature, dtype=float)
    rate = np.asarray(rate_700, dtype=float)
    if formed.shape != array.shape:
        raise InputError(
            f"formation_temperature has shape {formed.shape}, fractions {array.shape}; they must be the same."
        )
    ferrite, pearlite = array[0], array[1]
    of_steel = kept_with(steel, _of_steel)
    start = of_steel.ae1 if ae1 is None else ae1

    decades = log_rate(rate)
    floor, own_ferrite, own_bainite = (first + slope * decades for first, slope in of_steel.terms)
    both = ferrite + pearlite
    some = both > 0.0
    left = (float(steel.C) - CARBON_IN_FERRITE * ferrite) / np.maximum(1.0 - ferrite, 1e-3)
    lamellar = hv_pearlite(start - formed[1], left, own_ferrite) + of_steel.solution
    own_pearlite = np.where(pearlite > 0.0, lamellar, 0.0)
    mixed = (ferrite * own_ferrite + pearlite * own_pearlite) / np.where(some, both, 1.0)
    mixed = np.where(some, mixed, floor)
    ferrite_pearlite = np.maximum(mixed, floor)

    fresh, notes = _fresh_martensite(float(steel.C if carbon is None else carbon))
    repeat_notes(notes)
    bainite = np.minimum(np.maximum(own_bainite, ferrite_pearlite), fresh)
    martensite = np.fmax(fresh - auto_tempering(rate), bainite)
    return PhaseHardness(ferrite_pearlite, bainite, martensite, (mixed < floor) & some)


class _OfSteel(NamedTuple):
    """What a steel alone decides: Ae1 (degC), its solid solution (HV) and its terms in Maynier's regressions."""

    ae1: float
    solution: float
    terms: MaynierTerms


def _of_steel(steel: Any) -> _OfSteel:
    return _OfSteel(ae1_grange_1961(steel), solid_solution(steel), maynier_terms(steel))


@functools.lru_cache(maxsize=1024)
def _fresh_martensite(carbon: float) -> tuple[float, dict[str, str]]:
    """Martensite of so much carbon, HV, and the notes that belong to it."""
    with hold_validity() as notes:
        return float(hv_martensite(carbon)), notes


def mixture_hardness(
    fractions: npt.ArrayLike,
    formation_temperature: npt.ArrayLike,
    rate_700: npt.ArrayLike,
    steel: Any,
    *,
    carbon: float | None = None,
    ae1: float | None = None,
) -> Array:
    """Hardness of the mixed structure, HV, by the linear rule of mixtures.

    Notes
    -----
    HV = (F + P) HV_FP + B HV_B + (M + A) HV_M with

    * HV_M from the carbon in austenite (A255's polynomial, E140), less auto-tempering
      (:func:`heatq.hardness.phases.auto_tempering`), never softer than HV_B. Retained austenite is lumped with martensite:
      the hardness was measured on real as-quenched structures. Austenite left because the history ended hot is lumped as
      well: let the history reach room temperature.
    * HV_FP = the mean of ferrite (Maynier with 0.02 % C) and pearlite (by its formation temperature, by the carbon that
      ferrite left to it, and hardened in solid solution), weighted with their fractions, but never softer than Maynier's
      ferrite + pearlite at the place's own rate at 700 degC. Without this floor normalized rounds come out 10 % too soft;
      no constant was fitted.
    * HV_B by Maynier, never softer than HV_FP and never harder than HV_M.

    Mixed in HV, never in HRC. Mixtures of bainite and martensite need not follow the linear rule (Lambers et al. 2011,
    51CrV4). Below about 5 K/s the split between pearlite and bainite is not supported by published diagrams even where
    the hardness is right.

    Parameters
    ----------
    fractions : array_like, shape (5, ...)
        Ferrite, pearlite, bainite, martensite, austenite; they sum to one along the first axis.
    formation_temperature : array_like, same shape
        Mean formation temperature of each phase, degC; only pearlite's is used, NaN where nothing formed.
    rate_700 : array_like, shape (...)
        Cooling rate at 700 degC, K/s, undisturbed by the heat of transformation; `heatq.hardness_of` takes the mean from
        800 to 700 degC. A place without one (NaN: the history never passed 700 degC) gets NaN, unless it
        is martensite and austenite only.
    steel : object with attributes C, Mn, ...
    carbon : float, optional
        Carbon dissolved in the austenite, mass %; default the steel's own.
    ae1 : float, optional
        degC, the temperature from which the undercooling of pearlite counts; default Grange's.

    Returns
    -------
    numpy.ndarray
        HV, shape (...).

    Examples
    --------
    Fully martensitic and fully pearlitic (formed at 640 degC, at 5 K/s) 4140:

    >>> from types import SimpleNamespace
    >>> import numpy as np
    >>> heat = SimpleNamespace(C=0.40, Mn=0.85, Si=0.25, Cr=0.95, Mo=0.20)
    >>> fractions = np.array([[0, 0], [0, 1], [0, 0], [0.97, 0], [0.03, 0]])
    >>> formed = np.array([[np.nan, np.nan], [np.nan, 640.0], [np.nan] * 2, [np.nan] * 2, [np.nan] * 2])
    >>> mixture_hardness(fractions, formed, [100.0, 5.0], heat).round()
    array([605., 328.])
    """
    array = _checked(fractions)
    own = _phase_hardness(array, formation_temperature, rate_700, steel, carbon, ae1)
    soft = array[0] + array[1]
    total = (array[3] + array[4]) * own.martensite
    total = total + np.where(soft > 0.0, soft * own.ferrite_pearlite, 0.0)
    return np.asarray(total + np.where(array[2] > 0.0, array[2] * own.bainite, 0.0))
