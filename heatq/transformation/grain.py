"""Austenite grain size: a growth law, and ASTM numbers from the mean intercept and back.

Everywhere in heatq ``grain_size`` is the ASTM *number* G (bigger is finer, and finer transforms faster), never a
length.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.constants import R, micro, milli

from heatq.errors import InputError, check_number, note_validity
from heatq.transformation.formulas import elements
from heatq.units import to_kelvin

__all__ = ["astm_number", "grain_diameter_lee_lee_2008", "grain_size_from_austenitizing", "mean_intercept"]


def grain_diameter_lee_lee_2008(steel: Any, temperature: float, duration: float) -> float:
    """Austenite grain diameter after holding, in metres, by the growth law of Lee and Lee.

    Notes
    -----
    D = 76671 exp[-(89098 + 3581 C + 1211 Ni + 1443 Cr + 4031 Mo) / (R T)] t^0.211, D in micrometres, T in K, t in s,
    composition in mass %.

    S.-J. Lee, Y.-K. Lee, Materials and Design 29 (2008) 1840-1844, "Prediction of austenite grain growth during
    austenitization of low alloy steels" (title, 16 low-alloy steels and the Arrhenius form read in the abstract;
    coefficients from memory, not verified). Validity: low-alloy steels, about 850 to 1100 degC (from memory). The
    steels had no grain-growth inhibitors: a fine-grained (Al-N, Nb) heat stays finer up to its coarsening
    temperature, so a reported grain size is always better.

    Parameters
    ----------
    steel : object with attributes C, Ni, Cr, Mo
    temperature : float
        Austenitizing temperature, degC.
    duration : float
        Holding time, s.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.40, Cr=0.95, Mo=0.20)
    >>> f"{1e6 * grain_diameter_lee_lee_2008(heat, 860.0, 1800.0):.1f} micrometres"
    '19.9 micrometres'
    """
    temperature = check_number("temperature", temperature, "initial_temperature")
    duration = check_number("duration", duration, "duration", low=0.0, low_open=True)
    note_validity("grain growth, Lee and Lee 2008", "temperature", temperature, 840.0, 1110.0, "degC", "Lee, Lee 2008")
    C, Ni, Cr, Mo = elements(steel, "C Ni Cr Mo")
    activation = 89098 + 3581 * C + 1211 * Ni + 1443 * Cr + 4031 * Mo
    return float(76671 * np.exp(-activation / (R * to_kelvin(temperature))) * duration**0.211 * micro)


def astm_number(intercept: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """ASTM grain-size number from the mean lineal intercept in metres.

    Notes
    -----
    G = -6.643856 log10(l) - 3.288, l in millimetres (ASTM E112, from memory). Its table
    gives 320.0, 80.0 and 20.0 micrometres for G = 0, 4 and 8 (from memory too).

    Examples
    --------
    >>> round(float(astm_number(0.0200e-3)), 1)
    8.0
    """
    length = np.asarray(intercept, dtype=float)
    if not np.all(length > 0.0) or np.any(length > 0.02):
        raise InputError(
            f"intercept = {intercept!r} m is outside above 0 and up to 0.02 m. Lengths are in metres: for 20 um "
            "write 20*micro with scipy.constants."
        )
    return -6.643856 * np.log10(length / milli) - 3.288


def mean_intercept(grain_size: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Mean lineal intercept in metres of an ASTM grain-size number; the inverse of :func:`astm_number`.

    Examples
    --------
    >>> f"{1e6 * float(mean_intercept(7.5)):.1f} micrometres"
    '23.8 micrometres'
    """
    number = np.asarray(grain_size, dtype=float)
    return 10.0 ** (-(number + 3.288) / 6.643856) * milli


def grain_size_from_austenitizing(steel: Any, temperature: float, duration: float = 1800.0) -> float:
    """ASTM grain-size number after austenitizing, by the growth law of Lee and Lee 2008.

    The grain diameter is taken as the mean lineal intercept. 30 min is the usual hold.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(grain_size_from_austenitizing(SimpleNamespace(C=0.40, Cr=0.95, Mo=0.20), 860.0), 1)
    8.0
    """
    return float(astm_number(grain_diameter_lee_lee_2008(steel, temperature, duration)))
