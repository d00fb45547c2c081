"""Natural convection (Nusselt numbers)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from heatq.errors import note_validity

__all__ = [
    "nusselt_horizontal_cylinder",
    "nusselt_horizontal_plate_down",
    "nusselt_horizontal_plate_up",
    "nusselt_vertical_plate",
    "thin_cylinder_factor",
]

Array = npt.NDArray[np.float64]


def nusselt_vertical_plate(rayleigh: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a vertical plate in natural convection.

    Parameters
    ----------
    rayleigh, prandtl : float or array
        Rayleigh number g beta dT L^3/(nu a) on the height L, and Prandtl number, at the film temperature.

    Returns
    -------
    array
        Nusselt number on the height.

    Notes
    -----
    Nu = {0.825 + 0.387 Ra^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27)}^2. Validity: Ra up to 1e12, any Pr. Churchill &
    Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; from memory, equal to the `ht` library's.

    Examples
    --------
    Incropera, 6th ed., Example 9.2 (glass door, Ra 1.813e9, Pr 0.690): Nu 147:

    >>> float(nusselt_vertical_plate(1.813e9, 0.690))
    147.1
    """
    note_validity("Churchill-Chu plate", "Ra", rayleigh, 0.0, 1e12, "1", "Churchill & Chu 1975")
    rayleigh, prandtl = np.asarray(rayleigh, dtype=float), np.asarray(prandtl, dtype=float)
    return (0.825 + 0.387 * rayleigh ** (1.0 / 6.0) / (1.0 + (0.492 / prandtl) ** 0.5625) ** (8.0 / 27.0)) ** 2


def thin_cylinder_factor(grashof: Array | float, prandtl: Array | float, slenderness: float) -> Array:
    """Factor by which a thin vertical cylinder beats a vertical plate of the same height in natural convection.

    Parameters
    ----------
    grashof : float or array
        g beta dT L^3/nu^2 on the height L, at the film temperature.
    prandtl : float or array
        Prandtl number.
    slenderness : float
        Height over diameter, L/D.

    Notes
    -----
    Nu/Nu_plate = 1 + B [sqrt(32) Gr^(-1/4) L/D]^C, B = 0.0571322 + 0.20305 Pr^-0.43, C = 0.9165 - 0.0043 Pr^0.5 +
    0.01333 ln Pr + 0.0004809/Pr. Popiel, Wojtkowiak & Bober, Exp. Thermal Fluid Sci. 32 (2007) 607, read in the
    documentation of the `ht` library, which notes that later reviews misprint the root as a square.

    Validity: laminar (Ra < 1e9), 0.01 < Pr < 100. The plate formula alone is good for D >= 35 L/Gr^(1/4), which a 25
    mm bar of 100 mm in air misses by a factor 3.

    Examples
    --------
    A bar of 25.4 x 101.6 mm in air (Gr 5e6): +15 %:

    >>> float(thin_cylinder_factor(5e6, 0.70, 4.0))
    1.151
    """
    note_validity("thin-cylinder factor", "Pr", prandtl, 0.01, 100.0, "1", "Popiel 2007")
    grashof, prandtl = np.maximum(np.asarray(grashof, dtype=float), 1e-30), np.asarray(prandtl, dtype=float)
    b = 0.0571322 + 0.20305 * prandtl**-0.43
    c = 0.9165 - 0.0043 * np.sqrt(prandtl) + 0.01333 * np.log(prandtl) + 0.0004809 / prandtl
    return 1.0 + b * (np.sqrt(32.0) * grashof**-0.25 * slenderness) ** c


def nusselt_horizontal_cylinder(rayleigh: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a horizontal cylinder in natural convection.

    Parameters
    ----------
    rayleigh, prandtl : float or array
        On the diameter, at the film temperature.

    Notes
    -----
    Nu = {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}^2. Validity: Ra up to 1e12. Churchill & Chu, Int. J.
    Heat Mass Transfer 18 (1975) 1049; from memory, equal to the `ht` library's.

    Examples
    --------
    A steam pipe of 0.1 m in air (Ra 5.073e6, Pr 0.697); the `ht` library gives the same:

    >>> float(nusselt_horizontal_cylinder(5.073e6, 0.697))
    23.09
    """
    note_validity("Churchill-Chu cylinder", "Ra", rayleigh, 0.0, 1e12, "1", "Churchill & Chu 1975")
    rayleigh, prandtl = np.asarray(rayleigh, dtype=float), np.asarray(prandtl, dtype=float)
    return (0.60 + 0.387 * rayleigh ** (1.0 / 6.0) / (1.0 + (0.559 / prandtl) ** 0.5625) ** (8.0 / 27.0)) ** 2


def nusselt_horizontal_plate_up(rayleigh: Array | float) -> Array:
    """Mean Nusselt number of a hot face that looks up (or a cold one that looks down).

    Parameters
    ----------
    rayleigh : float or array
        On area over perimeter (a disc: D/4), at the film temperature.

    Notes
    -----
    Nu = 0.54 Ra^(1/4) below Ra 1e7, 0.15 Ra^(1/3) above. The source steps by +6 % at 1e7; heatq takes the larger of
    the two, which is continuous (they meet at 4.7e6). Validity: Ra 1e4 to 1e11. McAdams, Heat Transmission, 3rd ed.
    (1954), with the length scale of Lloyd & Moran (1974); from memory, the constants equal to the `ht` library's.
    Below Ra 1e4, where a small end face lies, 0.54 Ra^(1/4) is used on.

    Examples
    --------
    >>> [float(n) for n in nusselt_horizontal_plate_up(np.array([1e6, 1e9]))]
    [17.08, 150.0]
    """
    note_validity("hot plate facing up", "Ra", rayleigh, 0.0, 1e11, "1", "McAdams 1954")
    rayleigh = np.asarray(rayleigh, dtype=float)
    return np.maximum(0.54 * rayleigh**0.25, 0.15 * np.cbrt(rayleigh))


def nusselt_horizontal_plate_down(rayleigh: Array | float) -> Array:
    """Mean Nusselt number of a hot face that looks down (or a cold one that looks up).

    Parameters
    ----------
    rayleigh : float or array
        On area over perimeter (a disc: D/4), at the film temperature.

    Notes
    -----
    Nu = 0.27 Ra^(1/4). Validity: Ra 1e5 to 1e10 (used on below). McAdams, Heat Transmission, 3rd ed. (1954); from
    memory, the constant equal to the `ht` library's. Later sources (Radziemska & Lewandowski 2001) put 0.52 Ra^(1/5):
    50 % more at 1e4.

    Examples
    --------
    >>> float(nusselt_horizontal_plate_down(1e6))
    8.538
    """
    note_validity("hot plate facing down", "Ra", rayleigh, 0.0, 1e10, "1", "McAdams 1954")
    return 0.27 * np.asarray(rayleigh, dtype=float) ** 0.25
