"""Hardenability from chemistry alone: ideal diameter and end-quench curve by ASTM A255 / SAE J406, and by Just.

The second route to an end-quench hardness, independent of any kinetics: multiplying factors give the ideal diameter DI,
dividing factors give HRC(J) = IH / DF(J, DI). For 4140 it agrees with Just's regression and with the middle of the
4140H band within 2 HRC; for lean 8620 beyond J4 there is no such agreement. Leaving out residual Ni, Cr, Mo, Cu and V
lowers DI and makes lean grades come out soft, so give the whole certificate.

Multiplying factors, dividing factors and tables are from memory, checked for joins at every break, for DF close to 1 at
the stated limits and against worked examples. Diameters go in and out in metres; the standard's are in inches.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.constants import inch

from heatq.errors import InputError, check_number, note_validity
from heatq.hardness.phases import hrc_martensite_a255, hrc_martensite_a255_table
from heatq.steels.steel import check_steel
from heatq.transformation.formulas import elements
from heatq.units import to_sixteenths

__all__ = [
    "DIVIDING_FACTORS",
    "DI_AT_DISTANCE",
    "A255Curve",
    "EndQuenchEstimate",
    "JustTerms",
    "a255_curve",
    "along_a255",
    "along_just",
    "carbon_factor",
    "distance_of_half_martensite",
    "dividing_factor",
    "endquench_from_chemistry",
    "ideal_diameter",
    "ideal_diameter_of_distance",
    "just_1969",
    "just_terms",
    "multiplying_factors",
]

Array = npt.NDArray[np.float64]

#: Composition range of the A255 calculation, mass % (read: A255-02 section 1.3; A255-10 adds Cu and V).
A255_RANGES = {"C": (0.10, 0.70), "Mn": (0.50, 1.65), "Si": (0.15, 0.60), "Ni": (0.0, 1.50), "Cr": (0.0, 1.35),
               "Mo": (0.0, 0.55), "Cu": (0.0, 0.35), "V": (0.0, 0.20)}  # fmt: skip

#: Boron of a boron-treated steel starts here, mass % (A255: 0.0005 to 0.003 %, from memory).
BORON_LIMIT = 0.0005

#: Ratio of base diameters per ASTM grain-size number, from Grossmann's diameters 0.306, 0.282, 0.260, 0.240, 0.222 in
#: (0.274, 0.252, 0.234, 0.216, 0.200 in) for numbers 4 to 8 (read in a laboratory report).
GRAIN_SIZE_RATIO = 0.92


def carbon_factor(carbon: float) -> float:
    """Carbon multiplying factor f(C) of A255 for grain size 7, in inches.

    Notes
    -----
    0.54 C to 0.39 % C; 0.171 + 0.001 C + 0.265 C^2 to 0.55; 0.115 + 0.268 C - 0.038 C^2 to 0.65; 0.143 + 0.2 C to 0.75;
    0.062 + 0.409 C - 0.135 C^2 to 0.90. The pieces join within 0.0011.

    Examples
    --------
    >>> [round(carbon_factor(c), 4) for c in (0.10, 0.39, 0.40, 0.60, 0.70, 0.90)]
    [0.0540, 0.2106, 0.2138, 0.2621, 0.2830, 0.3207]
    """
    C = check_number(
        "carbon", carbon, low=0.0, high=2.2, unit="%", hint="Compositions are in mass %: write 0.40, not 40."
    )
    note_validity("ideal diameter, A255", "C content of f(C)", C, 0.0, 0.90, "%", "ASTM A255")
    if C <= 0.39:
        return 0.54 * C
    if C <= 0.55:
        return 0.171 + 0.001 * C + 0.265 * C**2
    if C <= 0.65:
        return 0.115 + 0.268 * C - 0.038 * C**2
    if C <= 0.75:
        return 0.143 + 0.2 * C
    return 0.062 + 0.409 * C - 0.135 * C**2


def multiplying_factors(steel: Any) -> dict[str, float]:
    """Multiplying factors of A255 by element (carbon's in inches); their product is the ideal diameter in inches.

    Notes
    -----
    Mn: 3.3333 Mn + 1 to 1.20 %, 5.10 Mn - 1.12 above; Si 1 + 0.70 Si; Ni 1 + 0.363 Ni; Cr 1 + 2.16 Cr; Mo 1 + 3.00 Mo;
    Cu 1 + 0.365 Cu; V 1 + 1.73 V; Zr 1 + 2.5 Zr. Non-boron steels, grain size 7.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.22, Mn=0.80, Si=0.18, Ni=0.10, Cr=0.43, Mo=0.25, Cu=0.10)
    >>> {name: round(factor, 3) for name, factor in multiplying_factors(heat).items() if factor != 1}
    {'C': 0.119, 'Mn': 3.667, 'Si': 1.126, 'Ni': 1.036, 'Cr': 1.929, 'Mo': 1.75, 'Cu': 1.036}
    """
    C, Mn, Si, Ni, Cr, Mo, Cu, V, Zr = elements(steel, "C Mn Si Ni Cr Mo Cu V Zr")
    return {
        "C": carbon_factor(C),
        "Mn": 3.3333 * Mn + 1 if Mn <= 1.20 else 5.10 * Mn - 1.12,
        "Si": 1 + 0.70 * Si,
        "Ni": 1 + 0.363 * Ni,
        "Cr": 1 + 2.16 * Cr,
        "Mo": 1 + 3.00 * Mo,
        "Cu": 1 + 0.365 * Cu,
        "V": 1 + 1.73 * V,
        "Zr": 1 + 2.5 * Zr,
    }


def ideal_diameter(steel: Any, *, boron_factor: float | None = None, grain_size: float = 7.0) -> float:
    """Ideal diameter DI in metres by ASTM A255: the round that has 50 % martensite in its centre in an ideal quench.

    Notes
    -----
    DI (in) = f(C) f(Mn) f(Si) f(Ni) f(Cr) f(Mo) f(Cu) f(V) f(Zr); see :func:`multiplying_factors`. Composition range
    (read): C 0.10-0.70, Mn 0.50-1.65, Si 0.15-0.60, Ni <= 1.50 (which excludes 4340), Cr <= 1.35, Mo <= 0.55, Cu <=
    0.35, V <= 0.20 %.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    boron_factor : float, optional
        Boron multiplies hardenability by a factor that depends on carbon and the other alloys; A255's table of it is
        not built in. A steel with 0.0005 % B or more is refused unless its factor is stated here.
    grain_size : float
        ASTM number. A255 always uses 7, which is the default; another number scales DI by 0.92 per number.

    Examples
    --------
    4140 without residuals, in inches:

    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    >>> round(ideal_diameter(heat) / 0.0254, 2)
    4.80
    """
    check_steel(steel)
    B = elements(steel, "B")[0]
    if boron_factor is None and B >= BORON_LIMIT:
        raise InputError(
            f"B = {B:g} % makes this a boron steel, whose hardenability needs a boron factor: state it, for instance "
            "boron_factor=1.9 (from the supplier or ASTM A255), or boron_factor=1 for boron that is tied up."
        )
    factor = 1.0 if boron_factor is None else check_number("boron_factor", boron_factor, low=1.0, high=6.0)
    size = check_number("grain_size", grain_size, "grain_size")
    for name, (low, high) in A255_RANGES.items():
        note_validity("ideal diameter, A255", f"{name} content", elements(steel, name)[0], low, high, "%", "ASTM A255")
    product = float(np.prod(list(multiplying_factors(steel).values())))
    return product * factor * GRAIN_SIZE_RATIO ** (size - 7.0) * inch


# -------------------------------------------------------------------------------------- DI against 50 % martensite

#: End-quench distance of 50 % martensite in 1/16 in and ideal diameter in inches (A255 table, from memory). Checked: J8
#: (12.7 mm) is 75.4 mm, and a secondary text gives 12.5 mm for the centre of a 75 mm round at H = infinity.
DI_AT_DISTANCE: dict[float, float] = {
    0.5: 0.27, 1: 0.50, 1.5: 0.73, 2: 0.95, 2.5: 1.16, 3: 1.37, 3.5: 1.57, 4: 1.75, 4.5: 1.93, 5: 2.12, 5.5: 2.29,
    6: 2.45, 6.5: 2.58, 7: 2.72, 7.5: 2.86, 8: 2.97, 8.5: 3.07, 9: 3.20, 9.5: 3.32, 10: 3.43, 11: 3.64, 12: 3.83,
    13: 4.04, 14: 4.22, 15: 4.40, 16: 4.57, 17: 4.72, 18: 4.87, 19: 5.02, 20: 5.15, 21: 5.28, 22: 5.39, 23: 5.51,
    24: 5.63, 25: 5.74, 26: 5.86, 27: 5.96, 28: 6.06, 29: 6.16, 30: 6.25, 31: 6.33, 32: 6.42,
}  # fmt: skip
_DISTANCE = np.array(list(DI_AT_DISTANCE)) * inch / 16.0
_DI = np.array(list(DI_AT_DISTANCE.values())) * inch


def distance_of_half_martensite(ideal_diameter: npt.ArrayLike) -> Array:
    """End-quench distance (m) with 50 % martensite for an ideal diameter (m); NaN outside 6.9 to 163 mm.

    Examples
    --------
    >>> float(distance_of_half_martensite(2.97 * 0.0254)) * 1e3     # mm
    12.7
    """
    value = np.asarray(ideal_diameter, dtype=float)
    return np.interp(value, _DI, _DISTANCE, left=np.nan, right=np.nan)


def ideal_diameter_of_distance(distance: npt.ArrayLike) -> Array:
    """Ideal diameter (m) for the end-quench distance (m) with 50 % martensite; NaN outside J0.5 to J32.

    Examples
    --------
    >>> round(float(ideal_diameter_of_distance(0.0127)) * 1e3, 1)     # mm
    75.4
    """
    value = np.asarray(distance, dtype=float)
    return np.interp(value, _DISTANCE, _DI, left=np.nan, right=np.nan)


# --------------------------------------------------------------------------------------------- dividing factors

#: Non-boron dividing factors: J: (DI limit in inches above which DF = 1, coefficients a0 ... a5 of DF in DI). From
#: memory; J2 to J8 reach 1.00-1.015 at the limit, J9 to J14 1.02-1.04 (J9's last digit was set by order and limit).
DIVIDING_FACTORS: dict[int, tuple[float, tuple[float, ...]]] = {
    2: (2.1, (4.68961, -11.00832, 13.83314, -8.80283, 2.78698, -0.34880)),
    3: (3.1, (2.34904, -0.28254, -1.42995, 1.16697, -0.33813, 0.03403)),
    4: (4.1, (5.66795, -6.14648, 3.52874, -1.06026, 0.16301, -0.01015)),
    6: (5.0, (4.39436, -2.16072, 0.56027, -0.08145, 0.00840, -0.00053)),
    8: (5.6, (4.44473, -1.79085, 0.24617, 0.03378, -0.01189, 0.00084)),
    9: (5.8, (4.95421, -2.43521, 0.62983, -0.07914, 0.00399, -0.00001)),
    10: (6.1, (5.3161, -2.80977, 0.84183, -0.141781, 0.01301, -0.00051)),
    12: (6.9, (5.63649, -2.89264, 0.90309, -0.17297, 0.01881, -0.00086)),
    14: (6.9, (5.83176, -2.99646, 0.94088, -0.17734, 0.01839, -0.00079)),
    16: (6.5, (6.06952, -3.15198, 0.99297, -0.18010, 0.01720, -0.00067)),
}
#: Lowest DI (in) of the tables (from memory: 0.7), and the range in which the polynomials of J12, J14, J16 may be used.
_DI_LOWEST = 0.7
_FAR_RANGE = (1.0, 5.0)


def dividing_factor(position: int, ideal_diameter: float) -> float:
    """Dividing factor DF(J, DI) of A255, non-boron; NaN where it must not be used.

    Notes
    -----
    DF = 1 at J1 and above the limit of each position (the polynomials run away there: J2 at 3 in is already negative)
    and never below 1. J12, J14 and J16 only for DI 1 to 5 in, because their polynomials cross one another above 5.5 in;
    between 5 in and their limit they are refused (NaN). Below 0.7 in nothing is given.

    Parameters
    ----------
    position : int
        J in 1/16 in: 1, 2, 3, 4, 6, 8, 9, 10, 12, 14 or 16.
    ideal_diameter : float
        m.

    Examples
    --------
    >>> [round(dividing_factor(j, 2.0 * 0.0254), 2) for j in (2, 3, 4, 6, 8, 12, 14, 16)]
    [1.01, 1.08, 1.29, 1.78, 1.95, 2.35, 2.45, 2.55]
    """
    if position != 1 and position not in DIVIDING_FACTORS:
        raise InputError(
            f"position = J{position} has no dividing factor; it must be one of 1, "
            f"{', '.join(map(str, DIVIDING_FACTORS))} (1/16 in)."
        )
    diameter = check_number("ideal_diameter", ideal_diameter, low=0.0, high=1.0, unit="m") / inch
    if diameter < _DI_LOWEST - 1e-9:
        return float("nan")
    if position == 1:
        return 1.0
    limit, coefficients = DIVIDING_FACTORS[position]
    if diameter > limit:
        return 1.0
    if position >= 12 and not _FAR_RANGE[0] - 1e-9 <= diameter <= _FAR_RANGE[1] + 1e-9:
        return float("nan")
    return max(1.0, float(np.polynomial.polynomial.polyval(diameter, coefficients)))


class EndQuenchEstimate(NamedTuple):
    """HRC along the end-quench bar and how each value came about.

    ``method`` holds one word per distance: "formula" (an A255 position), "interpolated" (between two of them, which the
    standard does not do), "none" (NaN: beyond J16, or DI outside what the dividing factors cover).
    """

    hrc: Array
    method: npt.NDArray[np.str_]
    ideal_diameter: float


def endquench_from_chemistry(
    steel: Any,
    distance: npt.ArrayLike,
    *,
    boron_factor: float | None = None,
    grain_size: float = 7.0,
) -> EndQuenchEstimate:
    """End-quench hardness from chemistry by ASTM A255: HRC = IH / DF.

    Notes
    -----
    IH from the table of A255 (capped at 60 HRC). Exact at J1, 2, 3, 4, 6, 8, 9, 10, 12, 14, 16; between these positions
    linear in distance, which is interpolation and not A255, and flagged; from the end to J1 the value of J1, flagged
    too. NaN beyond J16 and wherever :func:`dividing_factor` is NaN. Values below 20 HRC are the formula's, outside the
    scale.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    distance : array_like
        From the quenched end, m.
    boron_factor, grain_size : float
        See :func:`ideal_diameter`.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from heatq.units import sixteenths
    >>> import numpy as np
    >>> heat = SimpleNamespace(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    >>> found = endquench_from_chemistry(heat, sixteenths(np.array([4.0, 6.0, 7.0, 8.0, 12.0, 20.0])))
    >>> found.hrc.round(1)
    array([56. , 54.3, 53. , 51.6, 45.8,  nan])
    >>> found.method.tolist()
    ['formula', 'formula', 'interpolated', 'formula', 'formula', 'none']
    """
    position = np.asarray(to_sixteenths(np.asarray(distance, dtype=float)))
    if np.any(position < 0.0) or np.any(position > 640.0):
        raise InputError(
            f"distance = {distance!r} is outside 0 to 1 m. Lengths are in metres: for J8 write sixteenths(8)."
        )
    curve = a255_curve(steel, boron_factor=boron_factor, grain_size=grain_size)
    hrc, inside, on_node = along_a255(position, curve)
    method = np.full(position.shape, "none", dtype="<U12")
    method[inside] = "interpolated"
    method[on_node] = "formula"
    method[np.isnan(hrc)] = "none"
    return EndQuenchEstimate(hrc, method, curve.ideal_diameter)


class A255Curve(NamedTuple):
    """What A255 says of a steel: HRC at the positions of the dividing factors, and the ideal diameter, m."""

    hrc: Array
    ideal_diameter: float


#: Positions (1/16 in) that A255 has dividing factors for, and how near to one counts as at it.
_NODES = np.array([1, *DIVIDING_FACTORS], dtype=float)
_AT_NODE = 1e-6 + 1e-5 * _NODES


def a255_curve(steel: Any, *, boron_factor: float | None = None, grain_size: float = 7.0) -> A255Curve:
    """The end-quench curve of a steel by A255, see :func:`endquench_from_chemistry`."""
    diameter = ideal_diameter(steel, boron_factor=boron_factor, grain_size=grain_size)
    note_validity("end-quench curve, A255", "ideal diameter", diameter, 0.7 * inch, 7.0 * inch, "m", "ASTM A255")
    initial = float(hrc_martensite_a255_table(elements(steel, "C")[0]))
    return A255Curve(np.array([initial / dividing_factor(int(node), diameter) for node in _NODES]), diameter)


def along_a255(position: Array, curve: A255Curve) -> tuple[Array, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """HRC at positions in 1/16 in, where the curve reaches, and which of them it has a dividing factor for."""
    inside = position <= _NODES[-1] + 1e-6
    exact = np.abs(position[..., np.newaxis] - _NODES) <= _AT_NODE
    on_node = exact.any(axis=-1)
    # np.interp spreads a NaN node over both neighbouring intervals, which is what is wanted between positions.
    hrc = np.where(inside, np.interp(position, _NODES, curve.hrc), np.nan)
    return np.where(on_node, curve.hrc[exact.argmax(axis=-1)], hrc), inside, on_node


def just_1969(steel: Any, distance: npt.ArrayLike) -> Array:
    """End-quench hardness, HRC, by the regression of Just, capped by the martensite hardness; NaN before J4.

    Notes
    -----
    HRC = 98 sqrt(C) - 0.025 E^2 sqrt(C) + 20 Cr + 6.4 Ni + 19 Mn + 34 Mo + 28 V - 24 sqrt(E) + 2.86 E - 7, E in 1/16
    in, from J4 on. E. Just, Metal Progress 96 (1969) no. 5, p. 87, read in a badly legible copy, symbols reconstructed.
    It exceeds what carbon allows where the steel is still fully hard, hence the cap (IH of A255, table). Values below
    20 HRC are the formula's.

    Examples
    --------
    4140 without residuals at J4, 6, 8, 12, 16, 24, 32:

    >>> from types import SimpleNamespace
    >>> from heatq.units import sixteenths
    >>> import numpy as np
    >>> heat = SimpleNamespace(C=0.40, Mn=0.875, Si=0.25, Cr=0.95, Mo=0.20)
    >>> just_1969(heat, sixteenths(np.array([4, 6, 8, 12, 16, 24, 32]))).round(1)
    array([56. , 55.2, 51.4, 46.3, 43.1, 39.4, 37. ])
    """
    E = np.asarray(to_sixteenths(np.asarray(distance, dtype=float)))
    note_validity("end-quench curve, Just 1969", "distance", E, 0.0, 40.0, "/16 in", "Just 1969")
    return along_just(E, just_terms(steel))


class JustTerms(NamedTuple):
    """What the regression of Just takes from a steel: the root of carbon, the sum of the alloys, and the cap, HRC."""

    root: float
    alloy: float
    cap: float


def just_terms(steel: Any) -> JustTerms:
    """Terms of the steel in :func:`just_1969`."""
    C, Cr, Ni, Mn, Mo, V = elements(steel, "C Cr Ni Mn Mo V")
    note_validity("end-quench curve, Just 1969", "C content", C, 0.08, 0.60, "%", "Just 1969, from memory")
    alloy = 20 * Cr + 6.4 * Ni + 19 * Mn + 34 * Mo + 28 * V
    return JustTerms(np.sqrt(C), alloy, min(float(hrc_martensite_a255(C)), float(hrc_martensite_a255_table(C))))


def along_just(E: Array, terms: JustTerms) -> Array:
    """HRC by :func:`just_1969` at positions in 1/16 in."""
    root, alloy, cap = terms
    hrc = 98 * root - 0.025 * E**2 * root + alloy - 24 * np.sqrt(np.maximum(E, 0.0)) + 2.86 * E - 7
    return np.where(E >= 4.0 - 1e-6, np.minimum(hrc, cap), np.nan)
