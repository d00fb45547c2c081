"""Tempering: the time-temperature parameter of Hollomon and Jaffe, and hardness after tempering by two regressions.

No relation here reaches below about 450 degC. Low tempering (100 to 400 degC) is where a measured curve is needed:
:func:`tempered_hardness_from_curve` carries one over to other durations.

What to expect, all for one hour (the suppliers do not state their times): against the data sheet row of 42CrMo4, 57 HRC
as quenched, Spies is 1.9 to 3.9 HRC hard from 500 to 650 degC, Maynier 7.7 hard at 500, 1.6 at 600 and right at 650. Against
the row of 4140 from 60.1 HRC both are 8 to 10 HRC hard at 538 degC. The two rows, of practically the same steel, lie 3.0,
5.6 and 3.4 HRC apart at 427, 538 and 649 degC: nobody can promise better than that without the heat's own curve.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import R, hour, kilo

from heatq.errors import InputError, check_name, check_number, note_validity
from heatq.hardness.conversion import hrc_from_hv, hv_from_hb
from heatq.transformation.formulas import elements
from heatq.units import kelvin, to_kelvin

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "equivalent_tempering_temperature",
    "hollomon_jaffe",
    "hv_tempered_bainite_maynier",
    "hv_tempered_martensite_maynier",
    "hv_tempered_spies_1977",
    "maynier_parameter",
    "tempered_hardness",
    "tempered_hardness_from_curve",
]

Array = npt.NDArray[np.float64]

#: Activation energy of tempering in Maynier's parameter, J/mol (from memory, not verified).
ACTIVATION_ENERGY = 418.0 * kilo


def _checked(temperature: npt.ArrayLike, duration: npt.ArrayLike) -> tuple[Array, Array]:
    celsius, seconds = np.asarray(temperature, dtype=float), np.asarray(duration, dtype=float)
    for value in np.ravel(celsius):
        check_number("temperature", value, "temperature", low=0.0, high=800.0)
    for value in np.ravel(seconds):
        check_number("duration", value, "duration", low=0.0, low_open=True)
    return celsius, seconds


def hollomon_jaffe(
    temperature: npt.ArrayLike, duration: npt.ArrayLike, *, constant: float = 20.0, carbon: float | None = None
) -> Array:
    """Tempering parameter P = T (c + log10 t) of Hollomon and Jaffe 1945, T in K, t in hours.

    Parameters
    ----------
    temperature : array_like
        degC.
    duration : array_like
        s (the formula's hours are made inside).
    constant : float
        c; 20 is usual for alloy steels with t in hours.
    carbon : float, optional
        mass %; then c = 21.3 - 5.8 C instead (for t in hours; 17.7 - 5.8 C is the same for t in seconds, within 0.05).

    Notes
    -----
    From memory, not verified. Times shorter than heating up are not tempering times: count from where the section is at
    temperature.

    Examples
    --------
    One hour at 600 degC, and the same parameter from ten hours:

    >>> round(float(hollomon_jaffe(600.0, 3600.0)))
    17463
    >>> round(float(hollomon_jaffe(558.4, 36000.0)))
    17463
    """
    celsius, seconds = _checked(temperature, duration)
    c = constant if carbon is None else 21.3 - 5.8 * check_number("carbon", carbon, low=0.0, high=2.2, unit="%")
    return np.asarray(to_kelvin(celsius) * (c + np.log10(seconds / hour)))


def equivalent_tempering_temperature(
    temperature: npt.ArrayLike, duration: npt.ArrayLike, reference_duration: float, *, constant: float = 20.0
) -> Array:
    """Temperature (degC) that in ``reference_duration`` (s) gives the same Hollomon-Jaffe parameter.

    Examples
    --------
    >>> round(float(equivalent_tempering_temperature(600.0, 36000.0, 3600.0)))
    644
    """
    check_number("reference_duration", reference_duration, "duration", low=0.0, low_open=True)
    parameter = hollomon_jaffe(temperature, duration, constant=constant)
    return np.asarray(kelvin(parameter / (constant + np.log10(reference_duration / hour))))


def maynier_parameter(temperature: npt.ArrayLike, duration: npt.ArrayLike) -> Array:
    """Tempering parameter Pc in kelvin: the temperature that does in one hour what the treatment did.

    1/Pc = 1/T - (2.303 R / dH) log10 t, T in K, t in hours, dH = 418 kJ/mol. From memory, not verified.

    Examples
    --------
    >>> round(float(maynier_parameter(600.0, 3600.0)), 2), round(float(maynier_parameter(600.0, 36000.0)), 1)
    (873.15, 909.5)
    """
    celsius, seconds = _checked(temperature, duration)
    inverse = 1.0 / to_kelvin(celsius) - np.log(10.0) * R / ACTIVATION_ENERGY * np.log10(seconds / hour)
    return np.asarray(1.0 / inverse)


def hv_tempered_martensite_maynier(steel: Any, temperature: npt.ArrayLike, duration: npt.ArrayLike) -> Array:
    """Hardness of tempered martensite, HV, by Maynier, Jungmann and Dollet 1978.

    Notes
    -----
    HV = -74 - 434 C - 368 Si - 25 Mn + 37 Ni - 335 Cr - 2235 V
    + (1000 / Pc) (260 + 616 C + 321 Si - 21 Mn - 35 Ni + 352 Cr - 11 Mo + 2345 V), Pc in kelvin.

    From memory, not verified. Not usable at or below about 450 degC, where it exceeds what the steel has as quenched: cap
    it, as :func:`tempered_hardness` does. Up to 700 degC.

    Examples
    --------
    A 4140 type (0.40 C 0.25 Si 0.85 Mn 0.95 Cr 0.20 Mo) at 1 h:

    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Si=0.25, Mn=0.85, Cr=0.95, Mo=0.20)
    >>> hv_tempered_martensite_maynier(heat, [500.0, 540.0, 600.0, 650.0], 3600.0).round()
    array([486., 429., 353., 297.])
    """
    C, Si, Mn, Ni, Cr, Mo, V = elements(steel, "C Si Mn Ni Cr Mo V")
    note_validity("tempered martensite, Maynier 1978", "temperature", temperature, 450, 700, "degC", "from memory")
    slope = 260 + 616 * C + 321 * Si - 21 * Mn - 35 * Ni + 352 * Cr - 11 * Mo + 2345 * V
    start = -74 - 434 * C - 368 * Si - 25 * Mn + 37 * Ni - 335 * Cr - 2235 * V
    return np.asarray(start + 1000.0 / maynier_parameter(temperature, duration) * slope)


def hv_tempered_bainite_maynier(steel: Any, temperature: npt.ArrayLike, duration: npt.ArrayLike) -> Array:
    """Hardness of tempered bainite, HV, by Maynier, Jungmann and Dollet 1978.

    Notes
    -----
    HV = 262 + 162 C - 349 Si - 64 Mn - 6 Ni - 186 Cr - 485 Mo - 857 V
    + (1000 / Pc) (-149 + 43 C + 336 Si + 79 Mn + 16 Ni + 196 Cr + 498 Mo + 1094 V), Pc in kelvin.

    From memory, not verified; 450 to 700 degC.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Si=0.25, Mn=0.85, Cr=0.95, Mo=0.20)
    >>> hv_tempered_bainite_maynier(heat, [500.0, 540.0, 600.0, 650.0], 3600.0).round()
    array([306., 287., 261., 242.])
    """
    C, Si, Mn, Ni, Cr, Mo, V = elements(steel, "C Si Mn Ni Cr Mo V")
    note_validity("tempered bainite, Maynier 1978", "temperature", temperature, 450, 700, "degC", "from memory")
    slope = -149 + 43 * C + 336 * Si + 79 * Mn + 16 * Ni + 196 * Cr + 498 * Mo + 1094 * V
    start = 262 + 162 * C - 349 * Si - 64 * Mn - 6 * Ni - 186 * Cr - 485 * Mo - 857 * V
    return np.asarray(start + 1000.0 / maynier_parameter(temperature, duration) * slope)


def hv_tempered_spies_1977(hv: npt.ArrayLike, steel: Any, temperature: npt.ArrayLike) -> Array:
    """Hardness after tempering, HV, by the regression of Spies 1977 from the as-quenched hardness of the place.

    Notes
    -----
    HB = 2.84 HRC_q + 75 C - 0.78 Si + 14.24 Mn + 14.77 Cr + 128.22 Mo - 54 V - 0.55 T + 435.66, T in degC; HB is turned
    into HV by ASTM E140. From memory, not verified. Range: 500 to 650 degC, HRC_q 20 to 65, C 0.20 to 0.54 %.

    The duration does not appear in it; 1 to 2 h are the shop's usual times.

    Parameters
    ----------
    hv : array_like
        As-quenched hardness, HV.
    steel : object with attributes C, Si, Mn, Cr, Mo, V
    temperature : array_like
        degC.

    Examples
    --------
    A 4140 type from 57 HRC; the formula itself gives 404, 382, 349, 322 HB:

    >>> from types import SimpleNamespace
    >>> from heatq.hardness import hb_from_hv
    >>> heat = SimpleNamespace(C=0.40, Si=0.25, Mn=0.85, Cr=0.95, Mo=0.20)
    >>> hb_from_hv(hv_tempered_spies_1977(633.0, heat, [500.0, 540.0, 600.0, 650.0])).round()
    array([404., 382., 349., 322.])
    """
    C, Si, Mn, Cr, Mo, V = elements(steel, "C Si Mn Cr Mo V")
    quenched = hrc_from_hv(hv, extrapolate=True)
    model, source = "tempered hardness, Spies 1977", "Spies 1977, from memory"
    note_validity(model, "temperature", temperature, 500.0, 650.0, "degC", source)
    note_validity(model, "as-quenched hardness", quenched, 20.0, 65.0, "HRC", source)
    note_validity(model, "C content", C, 0.20, 0.54, "%", source)
    alloy = 75 * C - 0.78 * Si + 14.24 * Mn + 14.77 * Cr + 128.22 * Mo - 54 * V
    return hv_from_hb(2.84 * quenched + alloy - 0.55 * np.asarray(temperature, dtype=float) + 435.66)


METHODS = ("spies_1977", "maynier_1978")


def tempered_hardness(
    quenched: Any,
    steel: Any,
    temperature: float,
    duration: float = hour,
    *,
    method: str = "spies_1977",
) -> Any:
    """Hardness after tempering.

    Parameters
    ----------
    quenched : xarray.Dataset or array_like
        A result with ``hardness_hv(probe)`` (from `heatq.trial` or `heatq.hardness_of`), and for Maynier also
        ``fraction(phase, probe)``; or as-quenched hardness in HV, which Maynier takes as all martensite.
    steel : Steel
        The heat.
    temperature : float
        Tempering temperature, degC.
    duration : float
        Time at temperature, s. For Spies, which knows no time, another time than one hour is turned into the temperature
        with the same Hollomon-Jaffe parameter (c = 20) at one hour: our step, not part of the regression.
    method : {"spies_1977", "maynier_1978"}
        Spies starts from the local as-quenched hardness, Maynier from the phases: tempered martensite, tempered bainite,
        ferrite and pearlite as they are.

    Returns
    -------
    xarray.Dataset or numpy.ndarray
        The Dataset with ``tempered_hv``, ``tempered_hrc`` (NaN below 20 HRC) added; or HV for an array. Never harder than
        as quenched: the regressions are capped there, and below 450 to 500 degC the cap is all they say.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Si=0.25, Mn=0.85, Cr=0.95, Mo=0.20)
    >>> from heatq.hardness import hrc_from_hv
    >>> [round(float(hrc_from_hv(tempered_hardness(633.0, heat, 600.0, method=method))), 1)
    ...  for method in ("spies_1977", "maynier_1978")]
    [37.6, 35.9]
    """
    check_name("method", method, METHODS, what="tempering method")
    check_number("temperature", temperature, "temperature", low=0.0, high=800.0)
    check_number("duration", duration, "duration", low=0.0, low_open=True)
    is_dataset = hasattr(quenched, "data_vars")
    if is_dataset and "hardness_hv" not in quenched:
        raise InputError("quenched has no hardness_hv: pass the result of trial() or hardness_of().")
    hv = np.asarray(quenched["hardness_hv"].values if is_dataset else quenched, dtype=float)
    if np.any(hv < 60.0) or np.any(hv > 1000.0):
        raise InputError(
            f"as-quenched hardness {np.nanmin(hv):g} to {np.nanmax(hv):g} HV is outside 60 to 1000 HV; is it HRC?"
        )
    if method == "spies_1977":
        equal = float(equivalent_tempering_temperature(temperature, duration, hour))
        found = hv_tempered_spies_1977(hv, steel, equal)
    else:
        found = _by_phases(quenched if is_dataset else None, hv, steel, temperature, duration)
    found = np.minimum(found, hv)
    if not is_dataset:
        return found
    result = quenched.copy()
    dims = quenched["hardness_hv"].dims
    text = f"hardness after {temperature:g} degC, {duration / hour:.3g} h"
    result["tempered_hv"] = (dims, found, {"units": "HV", "long_name": text, "method": method})
    result["tempered_hrc"] = (
        dims,
        np.asarray(hrc_from_hv(found)),
        {"units": "HRC", "long_name": text, "method": method},
    )
    return result


def _by_phases(result: xr.Dataset | None, hv: Array, steel: Any, temperature: float, duration: float) -> Array:
    """Each constituent loses what its own regression says; nothing gets harder than it was.

    The as-quenched hardness less (share of martensite) x (drop of martensite) less the same for bainite, the drops being
    those of the constituents as the as-quenched mixture had them.
    """
    martensite = float(hv_tempered_martensite_maynier(steel, temperature, duration))
    if result is None:
        return np.minimum(hv, martensite)
    if "fraction" not in result or "cooling_rate_700" not in result:
        raise InputError("quenched has no fractions: Maynier's tempering needs them; use method='spies_1977'.")
    from heatq.hardness.mixture import phase_hardness
    from heatq.hardness.predict import rate_for_hardness
    from heatq.transformation.kinetics import kinetic_tables

    own = phase_hardness(
        result["fraction"].transpose("phase", "probe").values,
        result["formation_temperature"].transpose("phase", "probe").values,
        rate_for_hardness(result),
        steel,
        carbon=float(kinetic_tables(steel).scalars[2]),
    )
    bainite = float(hv_tempered_bainite_maynier(steel, temperature, duration))
    part = result["fraction"]
    hard = part.sel(phase=["martensite", "austenite"]).sum("phase").values
    upper = part.sel(phase="bainite").values
    loss = hard * np.maximum(own.martensite - martensite, 0.0)
    loss = loss + np.where(upper > 0.0, upper * np.maximum(np.nan_to_num(own.bainite) - bainite, 0.0), 0.0)
    return np.asarray(hv - loss)


def tempered_hardness_from_curve(
    temperature: npt.ArrayLike,
    duration: npt.ArrayLike,
    curve_temperature: npt.ArrayLike,
    curve_hardness: npt.ArrayLike,
    curve_duration: float = hour,
    *,
    constant: float = 20.0,
) -> Array:
    """Hardness after tempering from a measured tempering curve of that heat, for any time by Hollomon and Jaffe.

    Parameters
    ----------
    temperature, duration : array_like
        degC and s: the treatment asked for.
    curve_temperature, curve_hardness : array_like
        Measured curve, degC (increasing) and HRC or HV.
    curve_duration : float
        Its tempering time, s.
    constant : float
        c of Hollomon and Jaffe.

    Returns
    -------
    numpy.ndarray
        In the curve's scale; linear in between, NaN where the parameter lies outside the curve.

    Examples
    --------
    42CrMo4, 10 mm rounds, oil quenched (supplier data sheet, read): 500 degC for 10 h is like 537 degC for the curve's
    time, taken as 1 h:

    >>> curve = [57, 56.5, 54.5, 52.5, 51, 49, 47, 45, 42, 39, 36, 31, 27]
    >>> tempered_hardness_from_curve([500.0, 500.0, 60.0], [3600.0, 36000.0, 3600.0], range(100, 701, 50), curve).round(1)
    array([42. , 39.7,  nan])
    """
    grid, hardness = np.asarray(curve_temperature, dtype=float), np.asarray(curve_hardness, dtype=float)
    if grid.ndim != 1 or grid.shape != hardness.shape or grid.size < 2 or not (np.diff(grid) > 0.0).all():
        raise InputError("curve_temperature must increase and have one curve_hardness per temperature.")
    equal = equivalent_tempering_temperature(temperature, duration, curve_duration, constant=constant)
    return np.interp(equal, grid, hardness, left=np.nan, right=np.nan)
