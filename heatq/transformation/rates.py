r"""Rates of the diffusional transformations, the lever rule, and the martensite fraction.

Kinetics of Li, Niebuhr, Meekisho and Atteridge 1998 in the form that makes additivity exact. Their law

.. math:: \tau_j(X, T) = \frac{C_j}{2^{a_j G} (T_j - T)^{n_j} \exp(-Q_j / R T)} S(X),
          \qquad S(X) = \int_0^X \frac{dx}{x^{0.4 (1 - x)} (1 - x)^{0.4 x}}

separates, dX/dt = k(T) / S'(X), so along any temperature path y = \int k dt and X = S^-1(y): keep one number y per
place and phase, and read X from one table. No seed, no stiff equation, and no error from the path.

X is the *normalised* fraction: the ferrite fraction is X times the limit Xe(T) of the lever rule, pearlite and bainite
are X times the austenite that is there to transform.

What to expect: the ferrite and bainite noses agree with published diagrams within a factor of about 2. The 1 % pearlite
line is 10 to 20 times too early although the 50 % time is right (S(0.5)/S(0.01) is 9.8, so the law is broad): do not
show the 1 % pearlite line as "the start".
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number
from heatq.transformation.additivity import s_integral
from heatq.transformation.critical import (
    critical_temperatures,
    dissolved_carbon,
    with_elements,
)
from heatq.transformation.formulas import elements, ms_van_bohemen_2012
from heatq.units import to_kelvin

__all__ = [
    "MS_PER_CARBON",
    "RateTables",
    "alpha_van_bohemen_2012",
    "alpha_van_bohemen_sietsma_2009",
    "fade_out",
    "ferrite_limit",
    "li_1998_constants",
    "li_1998_rate",
    "li_1998_rates",
    "martensite_fraction",
    "rate_tables",
    "t_km_van_bohemen_sietsma_2009",
    "time_to_fraction",
]

Array = npt.NDArray[np.float64]

#: Gas constant in cal/(mol K): the activation energies of Li 1998 are in cal/mol. With 8.314 the rates come out 1e4
#: times too high.
R_CALORIE = 1.987

#: Shift of Ms per mass % of carbon, K (Andrews 1965, linear form).
MS_PER_CARBON = -423.0

#: Carbon content of ferrite in the lever rule, mass %.
CARBON_IN_FERRITE = 0.02

#: Temperature span, K, over which the rates of ferrite and pearlite fade out, half of it on either side of the bainite start,
#: and that of bainite around Ms. A sudden end of a rate is a kink in every cell's temperature, which costs many small steps
#: and is no more physical. Own choice: against a sudden end fractions of 30 to 70 mm bars of 4140 move by up to 0.004, and
#: the mean deviation from the mid-bands of SAE J1268 / ASTM A304 goes from 2.19 to 2.18 HRC.
FADE_SPAN = 20.0

#: Austenitizing temperature, degC, assumed for the dissolved carbon of a steel above 0.7 % C when none is given.
DEFAULT_HYPEREUTECTOID_TEMPERATURE = 845.0


# ----------------------------------------------------------------------------------------------- Li 1998 rates

#: ln C_j = constant + sum of coefficient x mass %; the last entry of pearlite multiplies sqrt(Mo).
_LI_1998: dict[str, dict[str, float]] = {
    "ferrite": {"constant": 1.00, "C": 6.31, "Mn": 1.78, "Si": 0.31, "Ni": 1.12, "Cr": 2.70, "Mo": 4.06},
    "pearlite": {"constant": -4.25, "C": 4.12, "Mn": 4.36, "Si": 0.44, "Ni": 1.71, "Cr": 3.33, "sqrt(Mo)": 5.19},
    "bainite": {"constant": -10.23, "C": 10.18, "Mn": 0.85, "Ni": 0.55, "Cr": 0.90, "Mo": 0.36},
}
#: Grain-size exponent a, undercooling exponent n, activation energy Q in cal/mol.
_LI_1998_LAW: dict[str, tuple[float, float, float]] = {
    "ferrite": (0.41, 3.0, 23500.0),
    "pearlite": (0.32, 3.0, 23500.0),
    "bainite": (0.29, 2.0, 27500.0),
}


def li_1998_constants(steel: Any, phase: str) -> float:
    """C_j of Li 1998 for ``phase`` ("ferrite", "pearlite" or "bainite"): bigger is slower.

    Notes
    -----
    | ln C_F = 1.00 + 6.31 C + 1.78 Mn + 0.31 Si + 1.12 Ni + 2.70 Cr + 4.06 Mo
    | ln C_P = -4.25 + 4.12 C + 4.36 Mn + 0.44 Si + 1.71 Ni + 3.33 Cr + 5.19 sqrt(Mo)
    | ln C_B = -10.23 + 10.18 C + 0.85 Mn + 0.55 Ni + 0.90 Cr + 0.36 Mo

    Mind sqrt(Mo) in the pearlite line; plain-text copies lose it. Needs real Mn: with Mn = 0 pearlite is absurdly fast.
    V, Nb, Ti and B are not in it.
    Li, Niebuhr, Meekisho, Atteridge, Metall. Mater. Trans. B 29 (1998) 661-672 (abstract read; coefficients from
    memory, supported by 94 % of end-quench points inside the H-bands with nothing fitted).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Mn=0.85, Si=0.25, Cr=0.95, Mo=0.20)
    >>> [f"{li_1998_constants(heat, phase):.2g}" for phase in ("ferrite", "pearlite", "bainite")]
    ['4.9e+03', '8e+02', '0.011']
    """
    coefficients = _LI_1998[check_name("phase", phase, _LI_1998)]
    total = coefficients["constant"]
    for name, coefficient in coefficients.items():
        if name == "sqrt(Mo)":
            total += coefficient * np.sqrt(elements(steel, "Mo")[0])
        elif name != "constant":
            total += coefficient * elements(steel, name)[0]
    return float(np.exp(total))


def li_1998_rate(
    phase: str, temperature: npt.ArrayLike, start: float, constant: float, grain_size: float = 7.5
) -> Array:
    """Rate k(T) in 1/s of Li 1998, such that y = integral of k dt and X = S^-1(y).

    Notes
    -----
    k = 2^(a G) (Tj - T)^n exp(-Q / (R T)) / C_j for T < Tj, else 0. The undercooling is a difference in degC, the
    exponential uses kelvin, Q is in cal/mol (R = 1.987 cal/mol/K):

    ======== ==== = ====== ==============
    phase    a    n Q      Tj
    ======== ==== = ====== ==============
    ferrite  0.41 3 23 500 Ae3
    pearlite 0.32 3 23 500 Ae1
    bainite  0.29 2 27 500 Bs (Li's own)
    ======== ==== = ====== ==============

    A single 27 500 for all three is also in circulation (from memory). 23 500 is certain for pearlite by trial against
    the H-bands (27 500 doubles the deviation) and better on average for ferrite.

    Parameters
    ----------
    phase : {"ferrite", "pearlite", "bainite"}
    temperature : array_like
        degC.
    start : float
        Tj, degC.
    constant : float
        C_j from :func:`li_1998_constants`.
    grain_size : float
        ASTM number G (bigger is finer is faster), not a length.
    """
    a, n, energy = _LI_1998_LAW[check_name("phase", phase, _LI_1998_LAW)]
    temperature = np.asarray(temperature, dtype=float)
    undercooling = np.maximum(start - temperature, 0.0)
    return 2.0 ** (a * grain_size) * undercooling**n * np.exp(-energy / (R_CALORIE * to_kelvin(temperature))) / constant


def li_1998_rates(
    steel: Any,
    temperature: npt.ArrayLike,
    *,
    ae1: float | None = None,
    ae3: float | None = None,
    bs: float | None = None,
    carbon: float | None = None,
    grain_size: float | None = None,
) -> dict[str, Array]:
    """Rates k(T), 1/s, of ferrite, pearlite and bainite for a steel, by Li 1998 (see :func:`li_1998_rate`).

    Parameters
    ----------
    steel : object with attributes C, Mn, ..., grain_size
    temperature : array_like
        degC.
    ae1, ae3, bs : float, optional
        Upper temperatures of pearlite, ferrite and bainite, degC; default Grange's Ae1, Andrews' Ac3 (held at or above
        Ae1) and Li's Bs. Putting another formula's Bs in makes the bainite rate worse (rms 3.6 to 4.1 and more).
    carbon : float, optional
        Carbon dissolved in the austenite, mass %, for bainite; ferrite and pearlite see the steel's own.
    grain_size : float, optional
        ASTM number; default the steel's own, or 7.5.
    """
    critical = critical_temperatures(steel, bs="li_1998", carbon=carbon)
    size = check_number(
        "grain_size", getattr(steel, "grain_size", 7.5) if grain_size is None else grain_size, "grain_size"
    )
    dissolved = steel if carbon is None else with_elements(steel, C=carbon)
    starts = {
        "ferrite": critical.ae3 if ae3 is None else ae3,
        "pearlite": critical.ae1 if ae1 is None else ae1,
        "bainite": critical.bs_kinetics if bs is None else bs,
    }
    return {
        phase: li_1998_rate(
            phase, temperature, start, li_1998_constants(dissolved if phase == "bainite" else steel, phase), size
        )
        for phase, start in starts.items()
    }


# ------------------------------------------------------------------------------------- ferrite limit, martensite


def ferrite_limit(
    steel: Any, temperature: npt.ArrayLike, *, ae1: float | None = None, ae3: float | None = None
) -> Array:
    """Largest proeutectoid ferrite fraction Xe(T) by the lever rule on a line parallel to Andrews' Ac3.

    Notes
    -----
    Cg = [(Ac3 + 203 sqrt(C) - max(T, Ae1)) / 203]^2,  Xe = (Cg - C) / (Cg - 0.02), held in 0..1.

    Below Ae1 the value at Ae1 is kept: extrapolating the austenite line below the eutectoid temperature gave 64 %
    ferrite in 1040, where the lever rule says 48 to 50 %, and 75 instead of 51 % in 4130. A physical argument; no
    constant was fitted. Zero at and above Ac3 and for steels without proeutectoid ferrite.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    temperature : array_like
        degC.
    ae1, ae3 : float, optional
        degC; default as :func:`heatq.transformation.critical.critical_temperatures`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(float(ferrite_limit(SimpleNamespace(C=0.40, Mn=0.75, Si=0.25, Ni=0.10, Cu=0.10), 600.0)), 2)
    0.50
    """
    C = elements(steel, "C")[0]
    if ae1 is None or ae3 is None:
        critical = critical_temperatures(steel, bs="li_1998")
        ae1 = critical.ae1 if ae1 is None else ae1
        ae3 = critical.ae3 if ae3 is None else ae3
    held = np.maximum(np.asarray(temperature, dtype=float), ae1)
    austenite = (np.maximum(ae3 + 203.0 * np.sqrt(C) - held, 0.0) / 203.0) ** 2
    richer = austenite > max(C, CARBON_IN_FERRITE)
    return np.clip(
        np.where(richer, (austenite - C) / np.where(richer, austenite - CARBON_IN_FERRITE, 1.0), 0.0), 0.0, 1.0
    )


def martensite_fraction(temperature: npt.ArrayLike, ms: float | Array, alpha: float = 0.011) -> Array:
    """Fraction of the austenite that is martensite at ``temperature``, by Koistinen and Marburger 1959.

    Notes
    -----
    f = 1 - exp[-alpha (Ms - T)] below Ms, else 0; alpha = 0.011 per K (Acta Met. 7 (1959) 59; from memory, undisputed).
    It overstates retained austenite below 0.5 % C (4140: 3.5 % at 20 degC against 0.4 to 0.7 % by van Bohemen); that
    makes no difference to hardness as long as retained austenite is lumped with martensite.

    Parameters
    ----------
    temperature : array_like
        degC; the lowest so far.
    ms : float or array
        degC.
    alpha : float
        1/K.

    Examples
    --------
    >>> round(100 * (1 - float(martensite_fraction(20.0, 325.4))), 1)     # retained austenite of 4140, %
    3.5
    """
    below = np.maximum(np.asarray(ms, dtype=float) - np.asarray(temperature, dtype=float), 0.0)
    return -np.expm1(-alpha * below)


def alpha_van_bohemen_sietsma_2009(steel: Any) -> float:
    """Rate parameter alpha, 1/K, by van Bohemen and Sietsma 2009; use it with :func:`t_km_van_bohemen_sietsma_2009`.

    Notes
    -----
    alpha = 0.0224 - 0.0107 C - 0.0007 Mn - 0.00005 Ni - 0.00012 Cr - 0.0001 Mo. From memory, not verified; agrees with
    the 2012 form within 3 % (4140 0.0178 against 0.0182).
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 0.0224 - 0.0107 * C - 0.0007 * Mn - 0.00005 * Ni - 0.00012 * Cr - 0.0001 * Mo


def t_km_van_bohemen_sietsma_2009(steel: Any) -> float:
    """Theoretical start temperature T_KM, degC, that belongs to the 2009 alpha. It is not Ms.

    Notes
    -----
    T_KM = 462 - 273 C - 26 Mn - 16 Ni - 13 Cr - 30 Mo. From memory, not verified. Mater. Sci. Technol. 25 (2009) 1009.
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 462 - 273 * C - 26 * Mn - 16 * Ni - 13 * Cr - 30 * Mo


def alpha_van_bohemen_2012(steel: Any) -> float:
    """Rate parameter alpha, 1/K, by van Bohemen 2012; use it with his Ms of 2012.

    Notes
    -----
    1000 alpha = 27.2 - (0.14 Mn + 0.21 Si + 0.11 Cr + 0.08 Ni + 0.05 Mo) - 19.8 [1 - exp(-1.56 C)]. From memory, not
    verified.
    """
    C, Mn, Si, Cr, Ni, Mo = elements(steel, "C Mn Si Cr Ni Mo")
    thousand = 27.2 - (0.14 * Mn + 0.21 * Si + 0.11 * Cr + 0.08 * Ni + 0.05 * Mo) - 19.8 * (1 - np.exp(-1.56 * C))
    return float(1e-3 * thousand)


# ------------------------------------------------------------------------------------------------- rate tables


class RateTables(NamedTuple):
    """Everything the kinetics need, tabulated over ``temperature`` (degC): rates in 1/s, temperatures in degC.

    ``bs`` is the zero of the bainite rate (Li), ``carbon`` the carbon dissolved in the austenite (mass %),
    ``ms_per_carbon`` the shift of Ms per % of carbon that proeutectoid ferrite rejects.
    """

    temperature: Array
    ferrite: Array
    pearlite: Array
    bainite: Array
    ferrite_limit: Array
    ae1: float
    ae3: float
    bs: float
    ms: float
    alpha: float
    carbon: float
    ms_per_carbon: float


_MARTENSITE = ("koistinen_marburger_1959", "van_bohemen_sietsma_2009", "van_bohemen_2012")


def fade_out(temperature: npt.ArrayLike, end: float) -> Array:
    """Share of a rate that is left where it ends: 1 above, 0 below, linear over `FADE_SPAN` around ``end``.

    Parameters
    ----------
    temperature : array_like
        degC.
    end : float
        degC.

    Examples
    --------
    >>> fade_out([560.0, 540.0, 535.0, 520.0], 540.0)
    array([1.  , 0.5 , 0.25, 0.  ])
    """
    return np.clip((np.asarray(temperature, dtype=float) - end) / FADE_SPAN + 0.5, 0.0, 1.0)


def rate_tables(
    steel: Any,
    temperature_grid: npt.ArrayLike,
    multipliers: Sequence[float] = (1.0, 1.0, 1.0),
    *,
    carbon: float | None = None,
    austenitizing_temperature: float | None = None,
    freeze_below_bs: bool = True,
    martensite: str = "koistinen_marburger_1959",
) -> RateTables:
    """Tables of the default kinetics of a steel on a temperature grid.

    Parameters
    ----------
    steel : object with attributes C, Mn, ..., grain_size
    temperature_grid : array_like
        degC, increasing (1 K spacing is enough).
    multipliers : three floats
        Factors on the ferrite, pearlite and bainite rates; (1, 1, 1) is as published.
    carbon : float, optional
        Carbon dissolved in the austenite, mass %. It sets Ms and the bainite rate; ferrite and pearlite see the bulk
        carbon, because no single composition serves 52100. Chromium bound in carbides is not taken off. Default:
        :func:`heatq.transformation.critical.dissolved_carbon`.
    austenitizing_temperature : float, optional
        degC, for the dissolved carbon above 0.7 % C; default the steel's own, or 845 degC.
    freeze_below_bs : bool
        Fade ferrite and pearlite out at the bainite start, by :func:`fade_out` (without it the deviation from the H-bands
        nearly doubles).
    martensite : str
        "koistinen_marburger_1959" (alpha 0.011, Andrews' Ms), "van_bohemen_sietsma_2009" or "van_bohemen_2012", each
        with its own start temperature.

    Returns
    -------
    RateTables
    """
    grid = np.asarray(temperature_grid, dtype=float)
    if grid.ndim != 1 or grid.size < 2 or not np.all(np.diff(grid) > 0.0):
        raise InputError(
            "temperature_grid must be one-dimensional and increasing, in degC, for instance np.arange(0, 1001)."
        )
    if len(multipliers) != 3:
        raise InputError(f"multipliers = {multipliers!r} must be three numbers: for ferrite, pearlite and bainite.")
    factors = [check_number("multipliers", factor, low=0.0, high=100.0) for factor in multipliers]
    check_name("martensite", martensite, _MARTENSITE)
    if carbon is None:
        given = austenitizing_temperature
        if given is None:
            given = getattr(steel, "austenitizing_temperature", None)
        carbon = dissolved_carbon(steel, DEFAULT_HYPEREUTECTOID_TEMPERATURE if given is None else given)
    critical = critical_temperatures(steel, bs="li_1998", carbon=carbon)
    rates = li_1998_rates(steel, grid, carbon=carbon)
    running = fade_out(grid, critical.bs_kinetics) if freeze_below_bs else 1.0
    dissolved = with_elements(steel, C=carbon)
    ms, alpha = critical.ms, 0.011
    if martensite == "van_bohemen_2012":
        ms, alpha = float(ms_van_bohemen_2012(dissolved)), alpha_van_bohemen_2012(dissolved)
    elif martensite == "van_bohemen_sietsma_2009":
        ms, alpha = t_km_van_bohemen_sietsma_2009(dissolved), alpha_van_bohemen_sietsma_2009(dissolved)
    return RateTables(
        temperature=grid,
        ferrite=running * factors[0] * rates["ferrite"],
        pearlite=running * factors[1] * rates["pearlite"],
        bainite=factors[2] * rates["bainite"],
        ferrite_limit=ferrite_limit(steel, grid, ae1=critical.ae1, ae3=critical.ae3),
        ae1=critical.ae1,
        ae3=critical.ae3,
        bs=critical.bs_kinetics,
        ms=float(ms),
        alpha=float(alpha),
        carbon=float(carbon),
        ms_per_carbon=MS_PER_CARBON,
    )


def time_to_fraction(
    steel: Any, phase: str, temperature: npt.ArrayLike, fraction: float = 0.01, *, carbon: float | None = None
) -> Array:
    """Isothermal time, s, to a normalised fraction: S(fraction) / k(T). Infinite where the rate is zero.

    For ferrite the true fraction is ``fraction`` times :func:`ferrite_limit`. A 1 % pearlite time is 10 to 20 times
    earlier than published diagrams show (see the module's text).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21, grain_size=7.5)
    >>> round(float(time_to_fraction(heat, "ferrite", 650.0)), 1)
    10.3
    >>> round(float(time_to_fraction(heat, "bainite", 450.0)), 1)
    4.0
    """
    rates = li_1998_rates(steel, temperature, carbon=carbon)
    rate = np.asarray(rates[check_name("phase", phase, rates)])
    with np.errstate(divide="ignore"):
        return float(s_integral(fraction)) / rate
