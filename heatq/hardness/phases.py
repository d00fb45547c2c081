"""Hardness of each phase in HV: martensite from carbon, bainite by Maynier, pearlite by formation temperature.

What goes into the default mixture (:mod:`heatq.hardness.mixture`) and why:

* martensite: from carbon by the A255 polynomial, which was read at J1 of end-quench bars, less the auto-tempering of slower
  cooling by Maynier's slope. Maynier's own level is about 2 HRC too hard at J1 of the H-bands;
* bainite: Maynier's regression;
* pearlite: from the temperature at which it formed, its carbon, and the solid-solution terms of Maynier. Maynier's ferrite +
  pearlite is valid for normalizing rates and 15 to 20 HRC too soft for fine pearlite formed faster than 5 K/s (1045 at
  J8: 14 instead of 27 HRC); it stays as a floor;
* ferrite: Maynier's ferrite + pearlite with 0.02 % C.

Unit traps of Maynier's equations: the rate is in degC per *hour* at 700 degC and the logarithm is decimal. Here rates
go in as K/s. With K/s or natural logarithms put in by mistake bainite of 4140 would come out at 219 or 717 instead of
398 HV.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import hour

from heatq.errors import InputError, note_validity
from heatq.hardness.conversion import hv_from_hrc
from heatq.transformation.formulas import elements
from heatq.transformation.rates import CARBON_IN_FERRITE

__all__ = [
    "A255_TABLE",
    "MaynierTerms",
    "auto_tempering",
    "hrc_half_martensite_a255",
    "hrc_half_martensite_a255_table",
    "hrc_martensite_a255",
    "hrc_martensite_a255_table",
    "hrc_martensite_just",
    "hv_bainite_maynier_1978",
    "hv_ferrite",
    "hv_ferrite_pearlite_maynier_1978",
    "hv_martensite",
    "hv_martensite_maynier_1978",
    "hv_pearlite",
    "log_rate",
    "maynier_terms",
    "solid_solution",
]

Array = npt.NDArray[np.float64]

_MAYNIER = "hardness, Maynier 1978"
#: Element ranges of Maynier's hardness equations, mass % (from memory).
_MAYNIER_RANGES = {"C": (0.1, 0.5), "Si": (0.0, 1.0), "Mn": (0.0, 2.0), "Ni": (0.0, 4.0), "Cr": (0.0, 3.0),
                   "Mo": (0.0, 1.0), "V": (0.0, 0.2), "Cu": (0.0, 0.5)}  # fmt: skip


def log_rate(rate_700: npt.ArrayLike) -> Array:
    """Decimal logarithm of the rate in degC per hour; refuses rates that are not positive, keeps NaN."""
    rate = np.asarray(rate_700, dtype=float)
    if (rate <= 0.0).any():
        raise InputError("rate_700 must be above 0 K/s (positive when cooling): it is the cooling rate at 700 degC.")
    return np.log10(rate * hour)


def _note_maynier(steel: Any, carbon_counts: bool = True) -> None:
    """Note every element outside Maynier's range."""
    for name, (low, high) in _MAYNIER_RANGES.items():
        if name != "C" or carbon_counts:
            note_validity(_MAYNIER, f"{name} content", elements(steel, name)[0], low, high, "%", "Maynier 1978")


class MaynierTerms(NamedTuple):
    """Hardness, HV, at one degC/h and what a decade of the rate adds: ferrite + pearlite, ferrite, bainite."""

    ferrite_pearlite: tuple[float, float]
    ferrite: tuple[float, float]
    bainite: tuple[float, float]


def maynier_terms(steel: Any) -> MaynierTerms:
    """What Maynier's regressions take from the steel, for many rates; the same numbers as the functions below."""
    _note_maynier(steel)
    carbon = elements(steel, "C")[0]
    return MaynierTerms(_ferrite_pearlite(steel, carbon), _ferrite_pearlite(steel, CARBON_IN_FERRITE), _bainite(steel))


def hv_martensite_maynier_1978(steel: Any, rate_700: npt.ArrayLike) -> Array:
    """Martensite hardness, HV, by Maynier, Jungmann and Dollet 1978.

    Notes
    -----
    HV_M = 127 + 949 C + 27 Si + 11 Mn + 8 Ni + 16 Cr + 21 log10 Vr, Vr in degC/h at 700 degC.

    Measured on real as-quenched structures, retained austenite included. About 2 HRC high against J1 of the H-bands.
    Hardness Concepts with Applications to Steel, TMS-AIME 1978, pp. 518-545; from memory (the three lines are quoted
    identically in much literature). Validity: C 0.1-0.5, Si < 1, Mn < 2, Ni < 4, Cr < 3, Mo < 1, V < 0.2, Cu < 0.5 %.
    More than 900 HV at C <= 0.5 % cannot be and is refused: it means a slip in the rate or the composition.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.405, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20)
    >>> round(float(hv_martensite_maynier_1978(heat, 20.0)))
    646
    """
    _note_maynier(steel)
    C, Si, Mn, Ni, Cr = elements(steel, "C Si Mn Ni Cr")
    hv = 127 + 949 * C + 27 * Si + 11 * Mn + 8 * Ni + 16 * Cr + 21 * log_rate(rate_700)
    if C <= 0.5 and np.any(hv > 900.0):
        raise InputError(
            f"martensite of {C:g} % C would have {np.nanmax(hv):.0f} HV, which cannot be: check the composition "
            "(mass %) and the cooling rate (K/s at 700 degC)."
        )
    return hv


def hv_bainite_maynier_1978(steel: Any, rate_700: npt.ArrayLike) -> Array:
    """Bainite hardness, HV, by Maynier, Jungmann and Dollet 1978.

    Notes
    -----
    HV_B = -323 + 185 C + 330 Si + 153 Mn + 65 Ni + 144 Cr + 191 Mo
    + (89 + 53 C - 55 Si - 22 Mn - 10 Ni - 20 Cr - 33 Mo) log10 Vr, Vr in degC/h at 700 degC.

    Raw regression: hold it between ferrite + pearlite and martensite before use, as the mixture does. Source and
    validity as :func:`hv_martensite_maynier_1978`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.405, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20)
    >>> round(float(hv_bainite_maynier_1978(heat, 20.0)))
    398
    """
    _note_maynier(steel)
    start, slope = _bainite(steel)
    return start + slope * log_rate(rate_700)


def _bainite(steel: Any) -> tuple[float, float]:
    """Hardness of bainite at one degC/h, and what a decade of the rate adds."""
    C, Si, Mn, Ni, Cr, Mo = elements(steel, "C Si Mn Ni Cr Mo")
    start = -323 + 185 * C + 330 * Si + 153 * Mn + 65 * Ni + 144 * Cr + 191 * Mo
    return start, 89 + 53 * C - 55 * Si - 22 * Mn - 10 * Ni - 20 * Cr - 33 * Mo


def hv_ferrite_pearlite_maynier_1978(steel: Any, rate_700: npt.ArrayLike) -> Array:
    """Hardness of ferrite + pearlite, HV, by Maynier, Jungmann and Dollet 1978; for normalizing rates.

    Notes
    -----
    HV_FP = 42 + 223 C + 53 Si + 30 Mn + 12.6 Ni + 7 Cr + 19 Mo + (10 - 19 Si + 4 Ni + 8 Cr + 130 V) log10 Vr,
    Vr in degC/h at 700 degC. Source and validity as :func:`hv_martensite_maynier_1978`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.405, Mn=0.875, Si=0.25, Ni=0.10, Cr=0.975, Mo=0.20)
    >>> round(float(hv_ferrite_pearlite_maynier_1978(heat, 20.0)))
    249
    """
    _note_maynier(steel)
    start, slope = _ferrite_pearlite(steel, elements(steel, "C")[0])
    return start + slope * log_rate(rate_700)


def _ferrite_pearlite(steel: Any, C: float) -> tuple[float, float]:
    """Hardness of ferrite + pearlite at one degC/h, and what a decade of the rate adds."""
    Si, Mn, Ni, Cr, Mo, V = elements(steel, "Si Mn Ni Cr Mo V")
    start = 42 + 223 * C + 53 * Si + 30 * Mn + 12.6 * Ni + 7 * Cr + 19 * Mo
    return start, 10 - 19 * Si + 4 * Ni + 8 * Cr + 130 * V


def hv_ferrite(steel: Any, rate_700: npt.ArrayLike) -> Array:
    """Hardness of proeutectoid ferrite, HV: Maynier's ferrite + pearlite with 0.02 % C (an extrapolation in carbon).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(float(hv_ferrite(SimpleNamespace(C=0.45, Mn=0.75, Si=0.25), 1.0)))
    101
    """
    _note_maynier(steel, carbon_counts=False)
    start, slope = _ferrite_pearlite(steel, CARBON_IN_FERRITE)
    return start + slope * log_rate(rate_700)


def solid_solution(steel: Any) -> float:
    """How much harder (HV) alloying makes pearlite than in the plain eutectoid steel of the isothermal diagram.

    Notes
    -----
    53 (Si - 0.25) + 30 (Mn - 0.76) + 12.6 Ni + 7 Cr + 19 Mo: the composition terms of Maynier's ferrite + pearlite
    (:func:`hv_ferrite_pearlite_maynier_1978`) beyond the diagram's steel, 0.79 % C, 0.76 % Mn (from memory; its 0.25 % Si
    is assumed). Nothing fitted here, but the step was chosen after seeing bands and normalized rounds: mean rms from the
    middle of the bands 2.32 to 2.18 HRC, normalized rounds 6.1 to 5.8 % (benchmarks/prediction.py).

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(solid_solution(SimpleNamespace(Si=0.25, Mn=0.75, Ni=1.8, Cr=0.8, Mo=0.25)), 1)
    32.7
    """
    Si, Mn, Ni, Cr, Mo = elements(steel, "Si Mn Ni Cr Mo")
    return float(53 * (Si - 0.25) + 30 * (Mn - 0.76) + 12.6 * Ni + 7 * Cr + 19 * Mo)


#: Carbon of eutectoid pearlite and of cementite, mass % (textbook values, from memory).
EUTECTOID_CARBON, CEMENTITE_CARBON = 0.77, 6.67
#: Hardness of cementite, HV. Drapkin, Kimstach & Molodtsova, Metal Science and Heat Treatment 38 (1996) no. 9-10, p. 408,
#: table 1: 988 and 1054 kg/mm2 at 0.2 and 0.5 N for eutectic cementite (1370 for primary), read; rounded.
CEMENTITE_HARDNESS = 1000.0


def hv_pearlite(
    undercooling: npt.ArrayLike, carbon: npt.ArrayLike = EUTECTOID_CARBON, ferrite: npt.ArrayLike = 150.0
) -> Array:
    """Hardness of pearlite, HV, from its undercooling Ae1 - Tp in K (Tp: mean formation temperature) and its carbon.

    Parameters
    ----------
    undercooling : array_like
        K.
    carbon : array_like
        Carbon of the pearlite, mass %; 0.77 is eutectoid. Above that it counts as 0.77.
    ferrite : array_like
        Hardness of ferrite, HV, in whose place there is less cementite.

    Notes
    -----
    HV_P = 180 + 215 [1 - exp(-(undercooling - 15) / 45)], 180 where the undercooling is below 15 K.

    An own fit to the hardness column of the isothermal diagram of eutectoid steel (11, 32, 38, 40 HRC at 704, 663, 620,
    580 degC; Ae1 723 degC; from memory): it gives 198, 316, 365, 382 HV. Not fitted to any end-quench data. That
    pearlite hardness depends on carbon and undercooling is also the assumption of Metals 11 (2021) 180, doi
    10.3390/met11020180 (abstract read). Range of the fit: 19 to 143 K.

    Pearlite of a hypoeutectoid steel holds less cementite than eutectoid pearlite. By the rule of mixtures it is softer by
    the missing cementite times what cementite is harder than ferrite: (0.77 - C)/6.67 (1000 - HV_F). No constant was fitted
    to bands or tables, but the step was taken after 1045 had been seen 5 HRC too hard without it: a choice of structure,
    not a validation. With 800 or 1200 HV for cementite the correction changes by a quarter.

    Examples
    --------
    >>> hv_pearlite([723 - 704, 723 - 663, 723 - 620, 723 - 580]).round()
    array([198., 316., 365., 382.])
    >>> float(hv_pearlite(723 - 663, carbon=0.45, ferrite=130.0))
    274.2
    """
    beyond = np.maximum(np.asarray(undercooling, dtype=float) - 15.0, 0.0)
    eutectoid = 180.0 + 215.0 * -np.expm1(-beyond / 45.0)
    missing = np.maximum(EUTECTOID_CARBON - np.asarray(carbon, dtype=float), 0.0) / CEMENTITE_CARBON
    return eutectoid - missing * (CEMENTITE_HARDNESS - np.asarray(ferrite, dtype=float))


# ------------------------------------------------------------------------------------- martensite from carbon only

_IH = np.polynomial.Polynomial([35.395, 6.990, 312.330, -821.744, 1015.479, -538.346])
_DH = np.polynomial.Polynomial([22.974, 6.214, 356.364, -1091.488, 1464.880, -750.441])


def _carbon(carbon: npt.ArrayLike, model: str) -> Array:
    value = np.asarray(carbon, dtype=float)
    if np.any(value < 0.0) or np.any(value > 2.2):
        raise InputError(
            f"carbon = {carbon!r} % is outside 0 to 2.2 %. Compositions are in mass %: write 0.40, not 40."
        )
    note_validity(model, "C content", value, 0.10, 0.70, "%", "ASTM A255")
    return value


def hrc_martensite_a255(carbon: npt.ArrayLike) -> Array:
    """Hardness of 100 % martensite (initial hardness IH), HRC, by the polynomial of ASTM A255.

    Notes
    -----
    IH = 35.395 + 6.990 C + 312.330 C^2 - 821.744 C^3 + 1015.479 C^4 - 538.346 C^5, held constant above 0.70 % C.

    From memory; checked against the J1 column of seven H-bands (within 1.3 HRC, 4130 2.2 low). It agrees with A255's
    own table within 1 HRC to 0.50 % C; above, the table is capped at 60 (0.60 % C: 64.3 against 60). The 5160H minimum
    of 60 at J1 speaks for the polynomial in predictions; the table belongs to the dividing factors.

    Examples
    --------
    >>> hrc_martensite_a255([0.20, 0.30, 0.40, 0.45, 0.50, 0.60]).round(1)
    array([44.2, 50.3, 56.1, 58.6, 60.9, 64.3])
    """
    return np.asarray(_IH(np.minimum(_carbon(carbon, "martensite hardness, A255"), 0.70)))


def hrc_half_martensite_a255(carbon: npt.ArrayLike) -> Array:
    """Hardness of 50 % martensite (DH), HRC, by the polynomial of ASTM A255, held constant above 0.70 % C.

    Notes
    -----
    DH = 22.974 + 6.214 C + 356.364 C^2 - 1091.488 C^3 + 1464.880 C^4 - 750.441 C^5. From memory.

    Examples
    --------
    >>> hrc_half_martensite_a255([0.20, 0.30, 0.40, 0.45, 0.50, 0.60]).round(1)
    array([31.8, 37.5, 42.4, 44.7, 46.8, 50.7])
    """
    return np.asarray(_DH(np.minimum(_carbon(carbon, "martensite hardness, A255"), 0.70)))


#: ASTM A255 Table 7, from memory: carbon in hundredths of a percent: (100 % martensite, 50 % martensite), HRC.
A255_TABLE: dict[int, tuple[int, int]] = {
    10: (38, 26), 11: (39, 27), 12: (40, 27), 13: (40, 28), 14: (41, 28), 15: (41, 29), 16: (42, 30), 17: (42, 30),
    18: (43, 31), 19: (44, 31), 20: (44, 32), 21: (45, 32), 22: (45, 33), 23: (46, 34), 24: (46, 34), 25: (47, 35),
    26: (48, 35), 27: (49, 36), 28: (49, 36), 29: (50, 37), 30: (50, 37), 31: (51, 38), 32: (51, 38), 33: (52, 39),
    34: (53, 40), 35: (53, 40), 36: (54, 41), 37: (55, 41), 38: (55, 42), 39: (56, 42), 40: (56, 43), 41: (57, 43),
    42: (57, 43), 43: (58, 44), 44: (58, 44), 45: (59, 45), 46: (59, 45), 47: (59, 45), 48: (59, 46), 49: (60, 46),
    50: (60, 47), 51: (60, 47), 52: (60, 48), 53: (60, 48), 54: (60, 48), 55: (60, 49), 56: (60, 49), 57: (60, 50),
    58: (60, 50), 59: (60, 51), 60: (60, 51), 62: (60, 51), 63: (60, 52), 66: (60, 52), 67: (60, 53), 69: (60, 53),
}  # fmt: skip


_A255_CARBON = np.array([c / 100 for c in A255_TABLE])
_A255_COLUMNS = np.array(list(A255_TABLE.values()), dtype=float).T.copy()


def _a255_table(carbon: npt.ArrayLike, column: int) -> Array:
    value = _carbon(carbon, "martensite hardness, A255 table")
    return np.interp(value, _A255_CARBON, _A255_COLUMNS[column])


def hrc_martensite_a255_table(carbon: npt.ArrayLike) -> Array:
    """Hardness of 100 % martensite (IH), HRC, from the table of ASTM A255, interpolated; capped at 60.

    The form that belongs to the dividing factors (:mod:`heatq.hardness.hardenability`). Table from memory; a supplier
    data sheet (42CrMo4, 10 mm rounds in oil: 57 HRC) agrees with 57 at 0.41-0.42 % C. The end values are held outside
    0.10 to 0.69 % C, with a validity note.

    Examples
    --------
    >>> float(hrc_martensite_a255_table(0.40))
    56.0
    """
    return _a255_table(carbon, 0)


def hrc_half_martensite_a255_table(carbon: npt.ArrayLike) -> Array:
    """Hardness of 50 % martensite, HRC, from the table of ASTM A255 (from memory), interpolated.

    Examples
    --------
    >>> float(hrc_half_martensite_a255_table(0.40))
    43.0
    """
    return _a255_table(carbon, 1)


def hrc_martensite_just(carbon: npt.ArrayLike) -> Array:
    """Hardness at zero distance, HRC, by the rule of Just, 20 + 60 sqrt(C), for 0.2 to 0.6 % C; from memory.

    Examples
    --------
    >>> hrc_martensite_just([0.20, 0.40, 0.60]).round(1)
    array([46.8, 57.9, 66.5])
    """
    value = np.asarray(carbon, dtype=float)
    note_validity("martensite hardness, Just", "C content", value, 0.2, 0.6, "%", "Just 1969")
    return 20.0 + 60.0 * np.sqrt(value)


#: Cooling rate at J1 of the end-quench bar, where A255's martensite hardness was read: 490 degF/s at 1300 degF, K/s.
RATE_AT_J1 = 490.0 / 1.8


def auto_tempering(rate_700: npt.ArrayLike) -> Array:
    """Softening of martensite (HV) that forms at a slower cooling than at J1, by tempering while it cools.

    Notes
    -----
    21 log10(V_J1 / V), not below 0: the rate term of Maynier's martensite hardness (:func:`hv_martensite_maynier_1978`),
    counted from the cooling rate at J1, 272 K/s, where A255's hardness of martensite was read. No constant is fitted. At
    3 K/s it is 41 HV. The rate is that at 700 degC, as in the source; a quench that slows down only below Ms tempers its
    martensite more than this says. NaN counts as no tempering.

    Examples
    --------
    >>> auto_tempering([490 / 1.8, 27.2, 2.72, 1000.0]).round(1)
    array([ 0., 21., 42.,  0.])
    """
    rate = np.asarray(rate_700, dtype=float)
    if np.any(rate <= 0.0):
        raise InputError("rate_700 must be above 0 K/s (positive when cooling): it is the cooling rate at 700 degC.")
    return np.where(np.isfinite(rate), 21.0 * np.maximum(np.log10(RATE_AT_J1 / rate), 0.0), 0.0)


def hv_martensite(carbon: npt.ArrayLike) -> Array:
    """Hardness of as-quenched martensite, HV, from the carbon in austenite: A255's IH converted by ASTM E140.

    Retained austenite is included (the numbers come from real as-quenched structures), so lump it with martensite.

    Examples
    --------
    >>> round(float(hv_martensite(0.40)))
    614
    """
    return hv_from_hrc(hrc_martensite_a255(carbon))
