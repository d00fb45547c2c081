"""Published formulas for the critical temperatures of steel: Ac1, Ac3, Ae1, Ae3, Bs, Ms, Mf.

One small function per formula, degrees Celsius and mass %. ``steel`` is anything with the attributes C, Mn, Si, Ni, Cr,
Mo, V, Cu, Al, P, ... (a missing one counts as zero). The functions only compute; which one is the default, and what
happens outside a published range, is in :mod:`heatq.transformation.critical`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from heatq.units import degF, kelvin

__all__ = [
    "FORMULAS",
    "RANGES",
    "ac1_andrews_1965",
    "ac1_hougardy",
    "ac1_trzaska_2016",
    "ac1_yurioka",
    "ac3_andrews_1965",
    "ac3_trzaska_2016",
    "ac3_yurioka",
    "ae1_eldis",
    "ae1_grange_1961",
    "ae3_eldis",
    "ae3_grange_1961",
    "ae3_roberts_1988",
    "bs_bodnar",
    "bs_kirkaldy_venugopalan_1984",
    "bs_lee_2002",
    "bs_li_1998",
    "bs_steven_haynes_1956",
    "bs_van_bohemen_2012",
    "elements",
    "mf_steven_haynes_1956",
    "ms_andrews_1965",
    "ms_andrews_product_1965",
    "ms_capdevila_2002",
    "ms_kung_rayment_1982",
    "ms_steven_haynes_1956",
    "ms_van_bohemen_2012",
    "ms_yurioka",
]

Formula = Callable[[Any], float]


def elements(steel: Any, names: str) -> list[float]:
    """Mass % of the named elements of ``steel``; an element the object does not have counts as zero.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    names : str
        Element symbols separated by blanks.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> elements(SimpleNamespace(C=0.4, Mn=0.8), "C Mn Co")
    [0.4, 0.8, 0.0]
    """
    return [getattr(steel, name, 0.0) for name in names.split()]


# ------------------------------------------------------------------------------------------------ Ac1 and Ae1


def ac1_andrews_1965(steel: Any) -> float:
    """Ac1 by Andrews, degC.

    Notes
    -----
    Ac1 = 723 - 10.7 Mn - 16.9 Ni + 29.1 Si + 16.9 Cr + 290 As + 6.38 W

    Validity: low-alloy steels, C < 0.6 %.
    K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, read as quoted by Krauss and by Gorni (handbook, 2009).
    """
    Mn, Ni, Si, Cr, As, W = elements(steel, "Mn Ni Si Cr As W")
    return 723 - 10.7 * Mn - 16.9 * Ni + 29.1 * Si + 16.9 * Cr + 290 * As + 6.38 * W


def ae1_grange_1961(steel: Any) -> float:
    """Ae1 by Grange, degC (the original is in degrees Fahrenheit).

    Notes
    -----
    Ae1 (degF) = 1333 - 25 Mn + 40 Si + 42 Cr - 26 Ni

    R. A. Grange, Metal Progress, April 1961, pp. 73-75, read as quoted by Gorni (handbook, 2009; it prints volume
    70, number 4; 79 is believed right). Low-alloy steels; no element limits are stated there.
    """
    Mn, Si, Cr, Ni = elements(steel, "Mn Si Cr Ni")
    return degF(1333 - 25 * Mn + 40 * Si + 42 * Cr - 26 * Ni)


def ae1_eldis(steel: Any) -> float:
    """Ae1 by Eldis, degC.

    Notes
    -----
    Ae1 = 712 - 17.8 Mn - 19.1 Ni + 20.1 Si + 11.9 Cr + 9.8 Mo, for C < 0.6 %.
    Read in Gorni (handbook, 2009), which quotes Barralis and Maeder 1982.
    """
    Mn, Ni, Si, Cr, Mo = elements(steel, "Mn Ni Si Cr Mo")
    return 712 - 17.8 * Mn - 19.1 * Ni + 20.1 * Si + 11.9 * Cr + 9.8 * Mo


def ac1_yurioka(steel: Any) -> float:
    """Ac1 by Yurioka, degC; meant for weldable steels with less than about 0.3 % C.

    Notes
    -----
    Ac1 = 750.8 - 26.6 C + 17.6 Si - 11.6 Mn - 22.9 Cu - 23 Ni + 24.1 Cr + 22.5 Mo - 39.7 V - 5.7 Ti + 232.4 Nb
    - 169.4 Al - 894.7 B. Read second hand.
    """
    C, Si, Mn, Cu, Ni, Cr, Mo, V, Ti, Nb, Al, B = elements(steel, "C Si Mn Cu Ni Cr Mo V Ti Nb Al B")
    return (
        750.8 - 26.6 * C + 17.6 * Si - 11.6 * Mn - 22.9 * Cu - 23 * Ni + 24.1 * Cr + 22.5 * Mo
        - 39.7 * V - 5.7 * Ti + 232.4 * Nb - 169.4 * Al - 894.7 * B
    )  # fmt: skip


def ac1_hougardy(steel: Any) -> float:
    """Ac1 by Hougardy, degC.

    Notes
    -----
    Ac1 = 739 - 22 C - 7 Mn + 2 Si + 14 Cr + 13 Mo - 13 Ni. Magnitudes read in Gorni (handbook, 2012); the signs are
    from memory, not verified.
    """
    C, Mn, Si, Cr, Mo, Ni = elements(steel, "C Mn Si Cr Mo Ni")
    return 739 - 22 * C - 7 * Mn + 2 * Si + 14 * Cr + 13 * Mo - 13 * Ni


def ac1_trzaska_2016(steel: Any) -> float:
    """Ac1 by Trzaska, degC; coefficients from memory, not verified.

    Notes
    -----
    Ac1 = 742 - 29 C - 14 Mn + 13 Si + 16 Cr - 17 Ni - 16 Mo + 45 V + 36 Cu (more than 500 steels).
    Arch. Metall. Mater. 61 (2016) 981, doi 10.1515/amm-2016-0167: existence and scope were read, not the coefficients.
    """
    C, Mn, Si, Cr, Ni, Mo, V, Cu = elements(steel, "C Mn Si Cr Ni Mo V Cu")
    return 742 - 29 * C - 14 * Mn + 13 * Si + 16 * Cr - 17 * Ni - 16 * Mo + 45 * V + 36 * Cu


# ------------------------------------------------------------------------------------------------ Ac3 and Ae3


def ac3_andrews_1965(steel: Any) -> float:
    """Ac3 by Andrews with the minor terms, degC: the upper temperature used by the kinetics.

    Notes
    -----
    Ac3 = 910 - 203 sqrt(C) - 15.2 Ni + 44.7 Si + 104 V + 31.5 Mo + 13.1 W
    - (30 Mn + 11 Cr + 20 Cu - 700 P - 400 Al - 120 As - 400 Ti)

    Two traps in copies of it: the minus sign before the bracket is dropped (then P, Al, As and Ti, which are ferrite
    formers and must *raise* Ac3, lower it), and the square root on C gets lost. Both are tested.

    Validity: low-alloy steels, C < 0.6 %. Above the eutectoid carbon there is no Ac3; the number then falls below
    Ae1 and :func:`critical_temperatures` holds it there.
    K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727, main terms read as quoted by Krauss and Gorni (2009), the
    magnitudes of the minor terms in Gorni (2009).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(ac3_andrews_1965(SimpleNamespace(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21)))
    770
    """
    C, Ni, Si, V, Mo, W = elements(steel, "C Ni Si V Mo W")
    Mn, Cr, Cu, P, Al, As, Ti = elements(steel, "Mn Cr Cu P Al As Ti")
    main = 910 - 203 * np.sqrt(C) - 15.2 * Ni + 44.7 * Si + 104 * V + 31.5 * Mo + 13.1 * W
    return main - (30 * Mn + 11 * Cr + 20 * Cu - 700 * P - 400 * Al - 120 * As - 400 * Ti)


def ae3_grange_1961(steel: Any) -> float:
    """Ae3 by Grange, degC (the original is in degrees Fahrenheit).

    Notes
    -----
    Ae3 (degF) = 1570 - 323 C - 25 Mn + 80 Si - 3 Cr - 32 Ni

    Linear in C, hence too low above 0.6 % C (672 degC, below Ae1, for 1 % C). Source as :func:`ae1_grange_1961`.
    """
    C, Mn, Si, Cr, Ni = elements(steel, "C Mn Si Cr Ni")
    return degF(1570 - 323 * C - 25 * Mn + 80 * Si - 3 * Cr - 32 * Ni)


def ae3_eldis(steel: Any) -> float:
    """Ae3 by Eldis, degC: 871 - 254.4 C - 14.2 Ni + 51.7 Si, C < 0.6 %. Read in Gorni (handbook, 2009)."""
    C, Ni, Si = elements(steel, "C Ni Si")
    return 871 - 254.4 * C - 14.2 * Ni + 51.7 * Si


def ae3_roberts_1988(steel: Any) -> float:
    """Ae3 by Roberts, degC.

    Notes
    -----
    Ae3 = 910 - 25 Mn - 11 Cr - 20 Cu + 60 Si + 700 P - 250 Al - Fn(C), Fn tabulated from 0.05 to 0.40 % C
    (the sign of Al is as printed). W. L. Roberts, Flat Processing of Steel, 1988, read in Gorni (handbook, 2009).
    """
    C, Mn, Cr, Cu, Si, P, Al = elements(steel, "C Mn Cr Cu Si P Al")
    carbon = [0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40]
    fn = np.interp(C, carbon, [24.0, 48.0, 64.0, 80.0, 93.0, 106.0, 117.0, 128.0])
    return 910 - 25 * Mn - 11 * Cr - 20 * Cu + 60 * Si + 700 * P - 250 * Al - fn


def ac3_yurioka(steel: Any) -> float:
    """Ac3 by Yurioka, degC; below about 0.3 % C only (it gives a low 737-760 degC for 0.45 % C).

    Notes
    -----
    Ac3 = 937.2 - 436.5 C + 56 Si - 19.7 Mn - 16.3 Cu - 26.6 Ni - 4.9 Cr + 38.1 Mo + 124.8 V + 136.3 Ti - 19.1 Nb
    + 198.4 Al + 3315 B. Read second hand.
    """
    C, Si, Mn, Cu, Ni, Cr, Mo, V, Ti, Nb, Al, B = elements(steel, "C Si Mn Cu Ni Cr Mo V Ti Nb Al B")
    return (
        937.2 - 436.5 * C + 56 * Si - 19.7 * Mn - 16.3 * Cu - 26.6 * Ni - 4.9 * Cr + 38.1 * Mo
        + 124.8 * V + 136.3 * Ti - 19.1 * Nb + 198.4 * Al + 3315 * B
    )  # fmt: skip


def ac3_trzaska_2016(steel: Any) -> float:
    """Ac3 by Trzaska, degC: 925 - 219 sqrt(C) - 7 Mn + 39 Si - 16 Ni + 13 Mo + 97 V.

    Coefficients from memory, not verified; source as :func:`ac1_trzaska_2016`.
    """
    C, Mn, Si, Ni, Mo, V = elements(steel, "C Mn Si Ni Mo V")
    return 925 - 219 * np.sqrt(C) - 7 * Mn + 39 * Si - 16 * Ni + 13 * Mo + 97 * V


# ------------------------------------------------------------------------------------------------ bainite start


def bs_steven_haynes_1956(steel: Any) -> float:
    """Bs by Steven and Haynes, degC: what to report as bainite start.

    Notes
    -----
    Bs = 830 - 270 C - 90 Mn - 37 Ni - 70 Cr - 83 Mo (65 steels).
    W. Steven, A. G. Haynes, J. Iron Steel Inst. 183 (1956) 349, read in doi 10.1007/s11661-019-05371-1, eq. 1.
    Element ranges (C 0.1-0.55, Mn 0.2-1.7, Ni <= 5, Cr <= 3.5, Mo <= 1) from memory, not verified.
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 830 - 270 * C - 90 * Mn - 37 * Ni - 70 * Cr - 83 * Mo


def bs_kirkaldy_venugopalan_1984(steel: Any) -> float:
    """Bs by Kirkaldy and Venugopalan, degC: 656 - 57.7 C - 75 Si - 35 Mn - 15.3 Ni - 34 Cr - 41.2 Mo.

    The zero of a C-curve, not a measured start. Read in doi 10.1007/s11661-019-05371-1, eq. 2.
    """
    C, Si, Mn, Ni, Cr, Mo = elements(steel, "C Si Mn Ni Cr Mo")
    return 656 - 57.7 * C - 75 * Si - 35 * Mn - 15.3 * Ni - 34 * Cr - 41.2 * Mo


def bs_li_1998(steel: Any) -> float:
    """Bs of the Li kinetics, degC: the temperature at which its bainite rate becomes zero.

    Notes
    -----
    Bs = 637 - 58 C - 35 Mn - 15 Ni - 34 Cr - 41 Mo

    From memory; it equals Kirkaldy and Venugopalan's with 0.25 % Si folded in (656 - 75 x 0.25 = 637). It belongs to
    the rate (never put another Bs into the Li bainite rate) and is not a measured start: report Steven-Haynes.
    Li, Niebuhr, Meekisho, Atteridge, Metall. Mater. Trans. B 29 (1998) 661-672.
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 637 - 58 * C - 35 * Mn - 15 * Ni - 34 * Cr - 41 * Mo


def bs_lee_2002(steel: Any) -> float:
    """Bs by Lee, degC; from memory, not verified.

    Notes
    -----
    Bs = 745 - 110 C - 59 Mn - 39 Ni - 68 Cr - 106 Mo + 17 Mn Ni + 6 Cr^2 + 29 Mo^2 (Lee 2002).
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 745 - 110 * C - 59 * Mn - 39 * Ni - 68 * Cr - 106 * Mo + 17 * Mn * Ni + 6 * Cr**2 + 29 * Mo**2


def bs_bodnar(steel: Any) -> float:
    """Bs of Bodnar type, degC: 844 - 597 C - 63 Mn - 16 Ni - 78 Cr (doi 10.1007/s11661-019-05371-1, eq. 4, read)."""
    C, Mn, Ni, Cr = elements(steel, "C Mn Ni Cr")
    return 844 - 597 * C - 63 * Mn - 16 * Ni - 78 * Cr


def bs_van_bohemen_2012(steel: Any) -> float:
    """Bs by van Bohemen, degC; from memory, not verified.

    Notes
    -----
    Bs = 839 - (86 Mn + 23 Si + 67 Cr + 33 Ni + 75 Mo) - 270 [1 - exp(-1.33 C)]
    S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487.
    """
    C, Mn, Si, Cr, Ni, Mo = elements(steel, "C Mn Si Cr Ni Mo")
    return 839 - (86 * Mn + 23 * Si + 67 * Cr + 33 * Ni + 75 * Mo) - 270 * (1 - np.exp(-1.33 * C))


# ---------------------------------------------------------------------------------------------- martensite start


def ms_andrews_1965(steel: Any) -> float:
    """Ms by Andrews, linear form, degC: the default.

    Notes
    -----
    Ms = 539 - 423 C - 30.4 Mn - 17.7 Ni - 12.1 Cr - 7.5 Mo

    Andrews 1965 (see :func:`ac3_andrews_1965`); undisputed standard form, from memory. For C above 0.6 to 0.7 % use
    the carbon dissolved in austenite (:func:`dissolved_carbon`): with the bulk 1.0 % C of 52100 linear formulas give
    38 to 170 degC, where about 250 degC is right.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(ms_andrews_1965(SimpleNamespace(C=0.37, Mn=0.77, Cr=0.98, Mo=0.21)))
    346
    """
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    return 539 - 423 * C - 30.4 * Mn - 17.7 * Ni - 12.1 * Cr - 7.5 * Mo


def ms_andrews_product_1965(steel: Any) -> float:
    """Ms by Andrews, product form, degC; from memory.

    Notes
    -----
    Ms = 512 - 453 C - 16.9 Ni + 15 Cr - 9.5 Mo + 217 C^2 - 71.5 C Mn - 67.6 C Cr
    (+15 Cr is right: the product term carries the decrease.)
    """
    C, Ni, Cr, Mo, Mn = elements(steel, "C Ni Cr Mo Mn")
    return 512 - 453 * C - 16.9 * Ni + 15 * Cr - 9.5 * Mo + 217 * C**2 - 71.5 * C * Mn - 67.6 * C * Cr


def ms_steven_haynes_1956(steel: Any) -> float:
    """Ms by Steven and Haynes, degC.

    Notes
    -----
    Ms = 561 - 474 C - 33 Mn - 17 Cr - 17 Ni - 21 Mo. From memory, but the Fahrenheit form 1042 - 853 C - 60 Mn
    - 30 Cr - 30 Ni - 38 Mo was read second hand and agrees (some papers print 476 for carbon).
    Ranges as :func:`bs_steven_haynes_1956`.
    """
    C, Mn, Cr, Ni, Mo = elements(steel, "C Mn Cr Ni Mo")
    return 561 - 474 * C - 33 * Mn - 17 * Cr - 17 * Ni - 21 * Mo


def ms_kung_rayment_1982(steel: Any) -> float:
    """Ms by Andrews (linear) with the Co and Si terms of Kung and Rayment, degC: + 10 Co - 7.5 Si. From memory."""
    Co, Si = elements(steel, "Co Si")
    return ms_andrews_1965(steel) + 10 * Co - 7.5 * Si


def ms_yurioka(steel: Any) -> float:
    """Ms by Yurioka, degC: 521 - 353 C - 22 Si - 24.3 Mn - 7.7 Cu - 17.3 Ni - 17.7 Cr - 25.8 Mo. Read second hand.

    Meant for weldable steels with less than about 0.3 % C.
    """
    C, Si, Mn, Cu, Ni, Cr, Mo = elements(steel, "C Si Mn Cu Ni Cr Mo")
    return 521 - 353 * C - 22 * Si - 24.3 * Mn - 7.7 * Cu - 17.3 * Ni - 17.7 * Cr - 25.8 * Mo


def ms_capdevila_2002(steel: Any) -> float:
    """Ms by Capdevila, degC (the original is in kelvin); from memory.

    Notes
    -----
    Ms (K) = 764.2 - 302.6 C - 30.6 Mn - 16.6 Ni - 8.9 Cr + 2.4 Mo - 11.3 Cu + 8.58 Co + 7.4 W - 14.5 Si
    Capdevila, Caballero, Garcia de Andres, ISIJ Int. 42 (2002) 894. For 8620 it lies 22 to 31 K below the others.
    """
    C, Mn, Ni, Cr, Mo, Cu, Co, W, Si = elements(steel, "C Mn Ni Cr Mo Cu Co W Si")
    return kelvin(
        764.2 - 302.6 * C - 30.6 * Mn - 16.6 * Ni - 8.9 * Cr + 2.4 * Mo - 11.3 * Cu + 8.58 * Co + 7.4 * W - 14.5 * Si
    )


def ms_van_bohemen_2012(steel: Any) -> float:
    """Ms by van Bohemen, degC; from memory, not verified. Exponential in carbon, so usable up to high carbon.

    Notes
    -----
    Ms = 565 - (31 Mn + 13 Si + 10 Cr + 18 Ni + 12 Mo) - 600 [1 - exp(-0.96 C)]
    S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487.
    """
    C, Mn, Si, Cr, Ni, Mo = elements(steel, "C Mn Si Cr Ni Mo")
    return 565 - (31 * Mn + 13 * Si + 10 * Cr + 18 * Ni + 12 * Mo) - 600 * (1 - np.exp(-0.96 * C))


def mf_steven_haynes_1956(ms: float) -> float:
    """Mf, degC, as Ms - 215 K (Steven and Haynes 1956, from memory).

    A convention rather than a temperature: 42CrMo4 with Ms 335 degC gives 120 degC, and two editions of one supplier
    data sheet print 120 and 80 degC.

    Examples
    --------
    >>> mf_steven_haynes_1956(335.0)
    120.0
    """
    return ms - 215.0


#: Every formula by quantity and name, as data for comparisons.
FORMULAS: dict[str, dict[str, Formula]] = {
    "ac1": {
        "andrews_1965": ac1_andrews_1965,
        "yurioka": ac1_yurioka,
        "hougardy": ac1_hougardy,
        "trzaska_2016": ac1_trzaska_2016,
    },
    "ac3": {"andrews_1965": ac3_andrews_1965, "yurioka": ac3_yurioka, "trzaska_2016": ac3_trzaska_2016},
    "ae1": {"grange_1961": ae1_grange_1961, "eldis": ae1_eldis},
    "ae3": {"grange_1961": ae3_grange_1961, "eldis": ae3_eldis, "roberts_1988": ae3_roberts_1988},
    "bs": {
        "steven_haynes_1956": bs_steven_haynes_1956,
        "kirkaldy_venugopalan_1984": bs_kirkaldy_venugopalan_1984,
        "li_1998": bs_li_1998,
        "lee_2002": bs_lee_2002,
        "bodnar": bs_bodnar,
        "van_bohemen_2012": bs_van_bohemen_2012,
    },
    "ms": {
        "andrews_1965": ms_andrews_1965,
        "andrews_product_1965": ms_andrews_product_1965,
        "steven_haynes_1956": ms_steven_haynes_1956,
        "kung_rayment_1982": ms_kung_rayment_1982,
        "yurioka": ms_yurioka,
        "capdevila_2002": ms_capdevila_2002,
        "van_bohemen_2012": ms_van_bohemen_2012,
    },
}

_LOW_ALLOY = {"C": (0.0, 0.6)}
_ANDREWS = {"C": (0.0, 0.6), "Mn": (0.0, 4.9), "Ni": (0.0, 5.0), "Cr": (0.0, 4.6), "Mo": (0.0, 5.4)}
_STEVEN_HAYNES = {"C": (0.1, 0.55), "Mn": (0.2, 1.7), "Ni": (0.0, 5.0), "Cr": (0.0, 3.5), "Mo": (0.0, 1.0)}
_WELDABLE = {"C": (0.0, 0.3)}

#: Published element ranges in mass % where one is known (C limits read; those of other elements from memory).
RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "ac1 andrews_1965": _LOW_ALLOY,
    "ac1 yurioka": _WELDABLE,
    "ac3 andrews_1965": _LOW_ALLOY,
    "ac3 yurioka": _WELDABLE,
    "ae1 eldis": _LOW_ALLOY,
    "ae3 grange_1961": _LOW_ALLOY,
    "ae3 eldis": _LOW_ALLOY,
    "ae3 roberts_1988": {"C": (0.05, 0.40)},
    "bs steven_haynes_1956": _STEVEN_HAYNES,
    "ms andrews_1965": _ANDREWS,
    "ms andrews_product_1965": _ANDREWS,
    "ms steven_haynes_1956": _STEVEN_HAYNES,
    "ms kung_rayment_1982": _ANDREWS,
    "ms yurioka": _WELDABLE,
}
