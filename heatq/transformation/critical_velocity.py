"""Critical cooling velocities by Maynier, Dollet and Bastien 1978: an independent predictor of the structure.

One number per place, the cooling rate at 700 degC, gives the fractions of ferrite + pearlite (one figure), bainite and
martensite. Inside its range it is a very good cross-check of the kinetics (rms against the middle of the H-bands 1.6
for 4130, 3.0 for 4340, 3.4 for 4140, 4.5 HRC for 8620, where it is the better of the two); outside it is useless (5160
17, 1045 16 HRC). Being a function of one rate it knows nothing of stages, holds or recalescence.

Unit traps of the source: velocities in degC per *hour*, decimal logarithm, austenitization parameter in degC. Here
rates go in and come out in K/s.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import R, hour, kilo

from heatq.errors import InputError, check_number, note_validity
from heatq.transformation.formulas import elements
from heatq.units import kelvin, to_kelvin

__all__ = [
    "COEFFICIENTS",
    "CriticalVelocities",
    "RateFractions",
    "austenitization_parameter",
    "critical_velocities",
    "fractions_from_rate",
    "in_published_range",
]

Array = npt.NDArray[np.float64]

#: log10 V (degC/h) = constant - (C + Mn + Ni + Cr + Mo + Pa terms + last x sqrt(Mo)); from memory, checked against the
#: published transformation ranges of 4340. V1 Mn is 1.05 in some prints, V1(50) C 4.12 in others.
COEFFICIENTS: dict[str, tuple[float, float, float, float, float, float, float, float]] = {
    #         const  C     Mn    Ni    Cr    Mo    Pa       sqrt(Mo)
    "v1": (9.81, 4.62, 1.10, 0.54, 0.50, 0.66, 0.00183, 0.0),
    "v1_90": (8.76, 4.04, 0.96, 0.49, 0.58, 0.97, 0.0010, 0.0),
    "v1_50": (8.50, 4.13, 0.86, 0.57, 0.41, 0.94, 0.0012, 0.0),
    "v2": (10.17, 3.80, 1.07, 0.70, 0.57, 1.58, 0.0032, 0.0),
    "v2_90": (10.55, 3.65, 1.08, 0.77, 0.61, 1.49, 0.0040, 0.0),
    "v2_50": (8.74, 2.23, 0.86, 0.56, 0.59, 1.60, 0.0032, 0.0),
    "v3_90": (7.51, 1.38, 0.35, 0.93, 0.11, 2.31, 0.0033, 0.0),
    "v3": (6.36, 0.43, 0.49, 0.78, 0.26, 0.38, 0.0019, 2.0),
}

# Fractions at each velocity, fastest first: martensite, bainite, ferrite + pearlite.
_FRACTIONS = np.array(
    [
        [1.0, 0.0, 0.0],
        [0.9, 0.1, 0.0],
        [0.5, 0.5, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.9, 0.1],
        [0.0, 0.5, 0.5],
        [0.0, 0.1, 0.9],
        [0.0, 0.0, 1.0],
    ]
)
#: Smallest step of log10 V kept between neighbours when the order has to be enforced.
_STEP = 1e-6


def austenitization_parameter(temperature: float, duration: float = 3600.0) -> float:
    """Austenitization parameter Pa in degC: the temperature that does in one hour what the treatment did.

    Notes
    -----
    Pa = [1/T - (2.303 R / dH) log10(t / 1 h)]^-1 - 273, T in K, dH = 460 kJ/mol (110 kcal/mol). From memory.
    Pa must be in degC in the velocities; kelvin would lower every velocity by a factor of 2 to 12.

    Parameters
    ----------
    temperature : float
        Austenitizing temperature, degC.
    duration : float
        Holding time, s.

    Examples
    --------
    >>> round(austenitization_parameter(845.0, 1800.0))
    830
    """
    temperature = check_number("temperature", temperature, "initial_temperature")
    duration = check_number("duration", duration, "duration", low=0.0, low_open=True)
    inverse = 1.0 / to_kelvin(temperature) - np.log(10.0) * R / (460.0 * kilo) * np.log10(duration / hour)
    return float(kelvin(1.0 / inverse))


class CriticalVelocities(NamedTuple):
    """Critical cooling rates at 700 degC in K/s, fastest first, and which of them had to be moved to keep the order.

    v1 100 % martensite; v1_90 90 M 10 B; v1_50 50 M 50 B; v2 100 % bainite; v2_90 90 B 10 F+P; v2_50 50 B 50 F+P;
    v3_90 10 B 90 F+P; v3 100 % ferrite + pearlite.
    """

    v1: float
    v1_90: float
    v1_50: float
    v2: float
    v2_90: float
    v2_50: float
    v3_90: float
    v3: float
    reordered: tuple[str, ...]


def critical_velocities(
    steel: Any, *, austenitizing_parameter: float | None = None, enforce_order: bool = True
) -> CriticalVelocities:
    """Critical cooling rates at 700 degC, K/s, by Maynier, Dollet and Bastien 1978.

    Notes
    -----
    log10 V (degC/h) = const - (a C + b Mn + c Ni + d Cr + e Mo + p Pa + q sqrt(Mo)), coefficients in `COEFFICIENTS`.

    A. B. Maynier, J. Dollet, P. Bastien, Hardenability Concepts with Applications to Steel, TMS-AIME 1978, pp. 163-178.
    From memory; checked against the published ranges of 4340 (V3 0.006 K/s there and here; V1 2.2 against 8.3).
    The regressions are independent, so far from their data they cross (1045: V1(90) above V1): the order
    V1 > V1(90) > ... > V3 is then enforced by lowering the offender to its faster neighbour, and named.

    Parameters
    ----------
    steel : object with attributes C, Mn, Ni, Cr, Mo
    austenitizing_parameter : float, optional
        Pa in degC (:func:`austenitization_parameter`); default that of the steel's own austenitizing temperature, or
        of 850 degC, held 0.5 h.
    enforce_order : bool
        False returns the raw regressions.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21)
    >>> found = critical_velocities(heat)
    >>> [f"{v:.2g}" for v in (found.v1, found.v1_90, found.v1_50, found.v2, found.v3)]
    ['35', '23', '14', '6.7', '0.27']
    """
    if austenitizing_parameter is None:
        own = getattr(steel, "austenitizing_temperature", None)
        austenitizing_parameter = austenitization_parameter(850.0 if own is None else own, 0.5 * hour)
    Pa = check_number("austenitizing_parameter", austenitizing_parameter, "initial_temperature", low=700.0)
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    terms = np.array([C, Mn, Ni, Cr, Mo, Pa, np.sqrt(Mo)])
    logs = np.array([row[0] - np.dot(row[1:], terms) for row in COEFFICIENTS.values()])
    moved: list[str] = []
    if enforce_order:
        for i, name in enumerate(COEFFICIENTS):
            if i and logs[i] > logs[i - 1] - _STEP:
                logs[i] = logs[i - 1] - _STEP
                moved.append(name)
    values = {name: float(value) for name, value in zip(COEFFICIENTS, 10.0**logs / hour, strict=True)}
    return CriticalVelocities(**values, reordered=tuple(moved))


def in_published_range(steel: Any) -> tuple[bool, str]:
    """Whether the critical velocities may be believed for this steel, and the reason if not.

    Notes
    -----
    C 0.1 to 0.5 %, at least one of Cr, Ni, Mo beyond residuals (0.2, 0.3, 0.1 %: our own reading of "alloyed"), and
    Mn + Ni + Cr + Mo of at least 1.2 %: the steels for which the regressions did well against the H-bands. Upper limits
    of Maynier's hardness paper (Si < 1, Mn < 2, Ni < 4, Cr < 3, Mo < 1, sum < 5) from memory.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> in_published_range(SimpleNamespace(C=0.45, Mn=0.75))
    (False, 'Mn + Ni + Cr + Mo = 0.75 % is below 1.2 %')
    """
    C, Mn, Si, Ni, Cr, Mo = elements(steel, "C Mn Si Ni Cr Mo")
    total = Mn + Ni + Cr + Mo
    if not 0.1 <= C <= 0.5:
        return False, f"C = {C:g} % is outside 0.1 to 0.5 %"
    if total < 1.2:
        return False, f"Mn + Ni + Cr + Mo = {total:.2f} % is below 1.2 %"
    if Cr < 0.2 and Ni < 0.3 and Mo < 0.1:
        return False, "none of Cr, Ni and Mo is an alloying addition"
    if Si >= 1 or Mn >= 2 or Ni >= 4 or Cr >= 3 or Mo >= 1 or total >= 5:
        return False, "Si, Mn, Ni, Cr, Mo or their sum is above the published limits (1, 2, 4, 3, 1; sum 5 %)"
    return True, ""


class RateFractions(NamedTuple):
    """Fractions by the critical velocities (each an array over the rates), and how far to trust them."""

    martensite: Array
    bainite: Array
    ferrite_pearlite: Array
    velocities: CriticalVelocities
    is_in_range: bool
    reason: str


def fractions_from_rate(
    steel: Any, rate_700: npt.ArrayLike, *, austenitizing_parameter: float | None = None
) -> RateFractions:
    """Fractions of martensite, bainite and ferrite + pearlite from the cooling rate at 700 degC.

    Interpolated linearly in log V between the critical velocities, as the source does. Outside the range a validity
    note is given, and ``is_in_range`` is False.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    rate_700 : array_like
        Cooling rate at 700 degC in K/s, positive when cooling (not degC/h: that is done inside). NaN gives NaN.
    austenitizing_parameter : float, optional
        See :func:`critical_velocities`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21)
    >>> found = fractions_from_rate(heat, [100.0, 13.7, 1e-3])
    >>> found.martensite.round(2), found.ferrite_pearlite.round(2)
    (array([1. , 0.5, 0. ]), array([0., 0., 1.]))
    """
    rate = np.asarray(rate_700, dtype=float)
    if np.any(rate <= 0.0):
        raise InputError(
            "rate_700 must be above 0 K/s (positive when cooling); a place that does not cool has no structure."
        )
    velocities = critical_velocities(steel, austenitizing_parameter=austenitizing_parameter)
    trusted, reason = in_published_range(steel)
    C, Mn, Ni, Cr, Mo = elements(steel, "C Mn Ni Cr Mo")
    source = "Maynier 1978"
    note_validity("critical velocities, Maynier 1978", "C content", C, 0.1, 0.5, "%", source)
    note_validity("critical velocities, Maynier 1978", "Mn + Ni + Cr + Mo", Mn + Ni + Cr + Mo, 1.2, 5.0, "%", source)
    logs = np.log10(np.array(velocities[:8]))[::-1]
    found = [np.interp(np.log10(rate), logs, column[::-1]) for column in _FRACTIONS.T]
    return RateFractions(found[0], found[1], found[2], velocities, trusted, reason)
