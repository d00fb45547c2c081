"""What is published about sheathed thermocouples: time constants and calibration tolerances, as plain functions."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number, note_validity

__all__ = ["JUNCTIONS", "TOLERANCES", "calibration_tolerance", "sheath_time_constant"]

Array = npt.NDArray[np.float64]

JUNCTIONS = ("grounded", "insulated", "exposed")

#: Times (s) to 50 and 90 % of a step in water at 0.2 m/s, sheath diameter in mm -> (t50, t90). Data sheet of a cable maker,
#: "response time of thermocouples in water and air"; a second maker prints the same figures for 2 m/s. Read.
_RESPONSE = {
    "insulated": {
        0.5: (0.06, 0.13),
        1.0: (0.15, 0.50),
        1.5: (0.21, 0.60),
        3.0: (1.20, 2.90),
        4.5: (2.50, 5.90),
        6.0: (4.00, 9.60),
        8.0: (7.00, 17.0),
    },
    "grounded": {
        0.5: (0.03, 0.10),
        1.0: (0.06, 0.18),
        1.5: (0.13, 0.40),
        3.0: (0.22, 0.75),
        4.5: (0.45, 1.60),
        6.0: (0.55, 2.60),
        8.0: (0.75, 4.60),
    },
}

#: Diameter of the bead of an exposed junction over the sheath diameter: two wires of 0.15 sheath diameters side by side (wire
#: diameters of mineral-insulated cable as makers list them; read).
BEAD = 0.30

#: Thermocouple type -> class -> (limit K, part of |t|, lowest degC, highest degC): the larger of the two holds. Classes 1, 2, 3:
#: IEC 60584-1:2013 (the table of IEC 60584-2:1982, as three makers reprint it; read there, not in the standard). "special",
#: "standard": ASTM E230/E230M-12, above 0 degC (as a maker reprints it; read there; some print 1450 for 1480 degC).
TOLERANCES: dict[str, dict[int | str, tuple[float, float, float, float]]] = {
    "K": {
        1: (1.5, 0.004, -40.0, 1000.0),
        2: (2.5, 0.0075, -40.0, 1200.0),
        3: (2.5, 0.015, -200.0, 40.0),
        "special": (1.1, 0.004, 0.0, 1260.0),
        "standard": (2.2, 0.0075, 0.0, 1260.0),
    },
    "J": {
        1: (1.5, 0.004, -40.0, 750.0),
        2: (2.5, 0.0075, -40.0, 750.0),
        "special": (1.1, 0.004, 0.0, 760.0),
        "standard": (2.2, 0.0075, 0.0, 760.0),
    },
    "T": {
        1: (0.5, 0.004, -40.0, 350.0),
        2: (1.0, 0.0075, -40.0, 350.0),
        3: (1.0, 0.015, -200.0, 40.0),
        "special": (0.5, 0.004, 0.0, 370.0),
        "standard": (1.0, 0.0075, 0.0, 370.0),
    },
    "E": {
        1: (1.5, 0.004, -40.0, 800.0),
        2: (2.5, 0.0075, -40.0, 900.0),
        3: (2.5, 0.015, -200.0, 40.0),
        "special": (1.0, 0.004, 0.0, 870.0),
        "standard": (1.7, 0.005, 0.0, 870.0),
    },
    "R": {
        1: (1.0, 0.0, 0.0, 1600.0),
        2: (1.5, 0.0025, 0.0, 1600.0),
        "special": (0.6, 0.001, 0.0, 1480.0),
        "standard": (1.5, 0.0025, 0.0, 1480.0),
    },
    "B": {
        2: (0.0, 0.0025, 600.0, 1700.0),
        3: (4.0, 0.005, 600.0, 1700.0),
        "special": (0.0, 0.0025, 870.0, 1700.0),
        "standard": (0.0, 0.005, 870.0, 1700.0),
    },
}
TOLERANCES["N"] = TOLERANCES["K"]
TOLERANCES["S"] = TOLERANCES["R"]


def sheath_time_constant(sheath_diameter: float, junction: str = "grounded") -> float:
    """Time constant (s) of a sheathed thermocouple in stirred water, from published step responses.

    Parameters
    ----------
    sheath_diameter : float
        m; published 0.5 to 8 mm, interpolated in the logarithms of diameter and time.
    junction : {"grounded", "insulated", "exposed"}
        Welded to the sheath's tip; isolated from it; or bare at its end. For the bare junction nothing comparable is published:
        it is taken as a grounded couple of the bead's diameter, 0.3 of the sheath's. An estimate.

    Returns
    -------
    float
        s. The mean of t50/ln 2 and t90/ln 10, which are equal for a first-order response.

    Notes
    -----
    The published responses are not all of first order (t90/t50 = 3.32). Insulated junctions of 3 mm and more have t90/t50 =
    2.36 to 2.43: that of the axis of a solid cylinder whose surface is stepped, 2.38 (first term of the series, J0), a delay
    followed by an exponential. On a steady ramp such a junction lags by R2/(4 a) = 1.24 t50 = 0.52 t90, and the mean above,
    (1.44 t50 + 0.43 t90)/2, is 1.24 t50 too: the one constant that gives the right lag in a quench, where temperatures fall
    steadily. Grounded junctions of 6 mm and more have t90/t50 = 4.7 to 6.1, a slow tail (heat along the sheath).

    How well sources agree: another maker's table of 63 % times (0.5 to 6.4 mm) reads grounded .02 .04 .22 .33 .50 1.0 2.2 s and
    ungrounded .03 .13 .40 .68 1.10 2.3 4.1 s at .020 .040 .062 .090 .125 .188 .250 in. The ratio of the two sources is within
    a factor 1.7 for insulated junctions from 1 mm, 2.4 elsewhere. Treat a lag as known to a factor 2 unless it was measured.

    Examples
    --------
    >>> round(sheath_time_constant(1.5e-3, "grounded"), 2), round(sheath_time_constant(3e-3, "insulated"), 2)
    (0.18, 1.5)
    """
    check_number("sheath_diameter", sheath_diameter, "diameter", high=0.02)
    check_name("junction", junction, JUNCTIONS)
    effective = sheath_diameter * (BEAD if junction == "exposed" else 1.0)
    table = _RESPONSE["grounded" if junction == "exposed" else junction]
    if junction != "exposed":
        note_validity(
            "sheath_time_constant", "sheath diameter", sheath_diameter * 1e3, 0.5, 8.0, "mm", "published responses"
        )
    diameters = np.log(np.array(list(table)) * 1e-3)
    constants = np.log([(t50 / math.log(2.0) + t90 / math.log(10.0)) / 2 for t50, t90 in table.values()])
    x = math.log(effective)
    i = int(np.clip(np.searchsorted(diameters, x) - 1, 0, len(diameters) - 2))  # the outermost slopes reach on
    slope = (constants[i + 1] - constants[i]) / (diameters[i + 1] - diameters[i])
    return float(np.exp(constants[i] + slope * (x - diameters[i])))


def calibration_tolerance(temperature: Array | float, type: str = "K", tolerance_class: int | str = 1) -> Array:  # noqa: A002
    """Tolerance (+-K) of a new thermocouple by class, of IEC 60584-1:2013 (1, 2, 3) or ASTM E230 ("special", "standard").

    Parameters
    ----------
    temperature : float or array
        degC.
    type : str
        Letter: K, N, J, T, E, R, S or B.
    tolerance_class : {1, 2, 3, "special", "standard"}
        Class 3 is for low temperatures (up to 40 degC), except with type B.

    Returns
    -------
    ndarray
        K, a limit for wire as delivered; drift in service comes on top.

    Notes
    -----
    The larger of a fixed limit and a part of |t|. Types R and S in class 1: 1 K up to 1100 degC, above it
    1 + 0.003 (t - 1100). Not read in the standards themselves, see `TOLERANCES`.

    Examples
    --------
    >>> calibration_tolerance([20.0, 800.0], "K", 1)
    array([1.5, 3.2])
    """
    check_name("type", type, TOLERANCES, what="thermocouple type")
    classes = TOLERANCES[type]
    if isinstance(tolerance_class, bool) or tolerance_class not in classes:
        raise InputError(
            f"tolerance_class = {tolerance_class!r}: type {type} has {', '.join(repr(name) for name in classes)}."
        )
    limit, part, low, high = classes[tolerance_class]
    t = np.asarray(temperature, dtype=float)
    source = "ASTM E230" if isinstance(tolerance_class, str) else "IEC 60584-1"
    note_validity(f"type {type}, class {tolerance_class}", "temperature", t, low, high, "degC", source)
    tolerance = np.maximum(limit, part * np.abs(t))
    if type in "RS" and tolerance_class == 1:
        tolerance = np.maximum(tolerance, 1.0 + 0.003 * (t - 1100.0))
    return tolerance
