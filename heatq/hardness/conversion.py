"""Hardness conversion between HV, HRC and HB by the table of ASTM E140, and the tensile strength printed beside it.

Mix hardness in HV, convert at the end. Below 238 HV (20 HRC) the HRC scale does not apply: HRC is NaN there and HV is
what to report. All functions take and return arrays.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.constants import mega

__all__ = ["E140", "hb_from_hv", "hrc_from_hb", "hrc_from_hv", "hv_from_hb", "hv_from_hrc", "tensile_strength_from_hrc"]

Array = npt.NDArray[np.float64]

#: ASTM E140 Table 1 (non-austenitic steel): HRC: (HV, HB 3000 kgf carbide ball). HB above 62 HRC is beyond the ball's
#: usual range, above 65 not given. HV of the rows 68-35, 30 and 20 read in several texts that agree (62 HRC is 746 HV
#: in two and 745 in two); the other rows from memory, identical in two independent recollections. HB at 50 HRC is 481
#: with a carbide and 475 with a steel ball.
E140: dict[int, tuple[float, float]] = {
    68: (940, np.nan), 67: (900, np.nan), 66: (865, np.nan), 65: (832, 739), 64: (800, 722), 63: (772, 705),
    62: (746, 688), 61: (720, 670), 60: (697, 654), 59: (674, 634), 58: (653, 615), 57: (633, 595), 56: (613, 577),
    55: (595, 560), 54: (577, 543), 53: (560, 525), 52: (544, 512), 51: (528, 496), 50: (513, 481), 49: (498, 469),
    48: (484, 455), 47: (471, 443), 46: (458, 432), 45: (446, 421), 44: (434, 409), 43: (423, 400), 42: (412, 390),
    41: (402, 381), 40: (392, 371), 39: (382, 362), 38: (372, 353), 37: (363, 344), 36: (354, 336), 35: (345, 327),
    34: (336, 319), 33: (327, 311), 32: (318, 301), 31: (310, 294), 30: (302, 286), 29: (294, 279), 28: (286, 271),
    27: (279, 264), 26: (272, 258), 25: (266, 253), 24: (260, 247), 23: (254, 243), 22: (248, 237), 21: (243, 231),
    20: (238, 226),
}  # fmt: skip

#: Rows that older tables (SAE J417) print in brackets below 20 HRC "for information": beyond the scale, from memory.
_BELOW_20: dict[int, tuple[float, float]] = {
    18: (230, 219), 16: (222, 212), 14: (213, 203), 12: (204, 194), 10: (196, 187), 8: (188, 179), 6: (180, 171),
    4: (173, 165), 2: (166, 158), 0: (160, 152),
}  # fmt: skip

#: Approximate tensile strength in MPa by HRC (ASTM A370 Table 2). Rows 59 to 40 read in a supplier's copy of A370; 39
#: and below from memory, where a second copy in ksi was read to 35 HRC (156 ksi) and agrees.
_TENSILE: dict[int, float] = {
    59: 2420, 58: 2330, 57: 2240, 56: 2160, 55: 2070, 54: 2010, 53: 1950, 52: 1880, 51: 1820, 50: 1760, 49: 1700,
    48: 1640, 47: 1580, 46: 1520, 45: 1480, 44: 1430, 43: 1390, 42: 1340, 41: 1300, 40: 1250, 39: 1220, 38: 1180,
    37: 1140, 36: 1110, 35: 1080, 34: 1050, 33: 1030, 32: 1010, 31: 970, 30: 950, 29: 930, 28: 900, 27: 880, 26: 860,
    25: 850, 24: 820, 23: 810, 22: 790, 21: 770, 20: 760,
}  # fmt: skip


def _columns(table: dict[int, tuple[float, float]], column: int) -> tuple[Array, Array]:
    """HRC and one other column, both increasing, without empty rows."""
    pairs = sorted((float(hrc), row[column]) for hrc, row in table.items() if np.isfinite(row[column]))
    array = np.array(pairs)
    return array[:, 0], array[:, 1]


_HRC, _HV = _columns(E140, 0)
_HRC_LONG, _HV_LONG = _columns({**E140, **_BELOW_20}, 0)
_HRC_HB, _HB = _columns(E140, 1)
_HRC_HB_LONG, _HB_LONG = _columns({**E140, **_BELOW_20}, 1)


def _interpolate(value: npt.ArrayLike, x: Array, y: Array, below: bool) -> Array:
    """Linear interpolation, NaN outside; ``below=True`` goes on along the first segment instead."""
    value = np.asarray(value, dtype=float)
    inside = np.interp(value, x, y)
    if below:
        slope = (y[1] - y[0]) / (x[1] - x[0])
        inside = np.where(value < x[0], y[0] + slope * (value - x[0]), inside)
        return np.where(value <= x[-1], inside, np.nan)
    return np.where((value >= x[0]) & (value <= x[-1]), inside, np.nan)


def hrc_from_hv(hv: npt.ArrayLike, *, extrapolate: bool = False) -> Array:
    """Rockwell C hardness from Vickers hardness by ASTM E140, interpolated; NaN outside 238 to 940 HV.

    Parameters
    ----------
    hv : array_like
        Vickers hardness.
    extrapolate : bool
        Continue below 20 HRC with the bracketed rows of older tables, and below 0 HRC along their slope. Such numbers
        are not Rockwell hardness; they serve for comparing with data given that way and for error measures.

    Examples
    --------
    >>> hrc_from_hv([697, 513, 392, 238, 200])
    array([60., 50., 40., 20., nan])
    >>> round(float(hrc_from_hv(200, extrapolate=True)))
    11
    """
    return _interpolate(hv, _HV_LONG, _HRC_LONG, True) if extrapolate else _interpolate(hv, _HV, _HRC, False)


def hv_from_hrc(hrc: npt.ArrayLike, *, extrapolate: bool = False) -> Array:
    """Vickers hardness from Rockwell C hardness by ASTM E140, interpolated; NaN outside 20 to 68 HRC.

    Examples
    --------
    >>> hv_from_hrc([60, 50, 40, 20])
    array([697., 513., 392., 238.])
    """
    return _interpolate(hrc, _HRC_LONG, _HV_LONG, True) if extrapolate else _interpolate(hrc, _HRC, _HV, False)


def hb_from_hv(hv: npt.ArrayLike) -> Array:
    """Brinell hardness (3000 kgf, carbide ball) from Vickers hardness; NaN above 832 HV.

    ASTM E140 from 238 HV up; below, the rows older tables print for softer steel and, below 160 HV, their ratio of 0.95
    (ISO 18265 gives 0.95 too, from memory). E140's own table for the softer HRB range has HB equal to HV instead (240
    HV, 240 HB at 100 HRB), which contradicts its HRC table by 5 % where they meet; normalized steel in handbook tables
    was converted either way.

    Examples
    --------
    >>> hb_from_hv([513, 238, 188])
    array([481., 226., 179.])
    """
    value = np.asarray(hv, dtype=float)
    hv_of_row = np.interp(_HRC_HB_LONG, _HRC_LONG, _HV_LONG)
    found = np.where(value < hv_of_row[0], 0.95 * value, np.interp(value, hv_of_row, _HB_LONG))
    return np.where(value <= hv_of_row[-1], found, np.nan)


def hv_from_hb(hb: npt.ArrayLike) -> Array:
    """Vickers hardness from Brinell hardness; the inverse of :func:`hb_from_hv`. NaN above 739 HB.

    Examples
    --------
    >>> hv_from_hb([481, 226, 179])
    array([513., 238., 188.])
    """
    value = np.asarray(hb, dtype=float)
    hv_of_row = np.interp(_HRC_HB_LONG, _HRC_LONG, _HV_LONG)
    found = np.where(value < _HB_LONG[0], value / 0.95, np.interp(value, _HB_LONG, hv_of_row))
    return np.where(value <= _HB_LONG[-1], found, np.nan)


def hrc_from_hb(hb: npt.ArrayLike) -> Array:
    """Rockwell C hardness from Brinell hardness by ASTM E140; NaN outside 226 to 739 HB.

    Examples
    --------
    >>> round(float(hrc_from_hb(353)))     # E140's own example
    38
    """
    return _interpolate(hb, _HB, _HRC_HB, False)


def tensile_strength_from_hrc(hrc: npt.ArrayLike) -> Array:
    """Approximate tensile strength in Pa from Rockwell C hardness (ASTM A370 table); NaN outside 20 to 59 HRC.

    Only an estimate for carbon and alloy steel; as-quenched martensite is brittle and need not reach it. A second
    standard table (SAE J417) prints 2075, 1760 and 1480 MPa at 55, 50 and 45 HRC and differs by up to 10 MPa.

    Examples
    --------
    >>> tensile_strength_from_hrc([55, 50, 45]) / 1e6
    array([2070., 1760., 1480.])
    """
    rows = sorted(_TENSILE)
    return mega * _interpolate(
        hrc, np.array(rows, dtype=float), np.array([_TENSILE[row] for row in rows], dtype=float), False
    )
