"""What a well and a sheath do to the temperature they are meant to read: exact steady results, as plain functions."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from heatq.errors import check_number

__all__ = [
    "BLIND_END",
    "SHEATH_CONDUCTIVITY",
    "blind_hole_disturbance",
    "cross_hole_temperature",
    "stem_conduction_error",
]

Array = npt.NDArray[np.float64]

#: Disturbance at the middle of the flat bottom of a blind hole along the gradient, over gradient x radius. Computed for this
#: project with finite elements (steady, insulated hole 20 radii deep): 0.83; 0.79 at 2 and 0.82 at 10 radii; the mean over the
#: bottom is 0.65. A test repeats it.
BLIND_END = 0.83

#: Conductivity along a mineral-insulated cable, W/mK: sheath (wall 0.12 d, 42 % of the section) of alloy 600 at 20, two wires
#: (0.15 d each, 4.5 %) at 30, compacted magnesia at 2.5. Geometry as makers list it (read), conductivities from memory, about
#: 500 degC. An estimate.
SHEATH_CONDUCTIVITY = 11.0


def _filling(conductivity_ratio: float) -> float:
    check_number("conductivity_ratio", conductivity_ratio, low=0.0, high=1e6, unit="1")
    return (1.0 - conductivity_ratio) / (1.0 + conductivity_ratio)


def cross_hole_temperature(
    gradient: Array | float,
    radius: float,
    distance: Array | float,
    angle: Array | float = 0.0,
    conductivity_ratio: float = 0.0,
) -> Array:
    """Temperature near a round hole across a uniform gradient, less that on the axis of the hole (K); exact, steady.

    Parameters
    ----------
    gradient : float or array
        G = q/k of the undisturbed field, K/m.
    radius : float
        a, of the hole, m.
    distance : float or array
        r from the axis of the hole, m.
    angle : float or array
        Between the place and the direction of rising temperature, rad.
    conductivity_ratio : float
        Filling over metal; 0: an empty (insulated) hole.

    Returns
    -------
    ndarray
        K.

    Notes
    -----
    T - Tc = G (r + b a2/r) cos(angle) outside and G (1 + b) r cos(angle) in the filling, b = (1 - kf/k)/(1 + kf/k): the
    classical solution for a cylinder in a uniform field (b = 1: insulated hole; Carslaw and Jaeger 1959 treat it, from memory).
    The undisturbed field at the wall is +-G a, so that the hole changes it by +-b G a.

    Examples
    --------
    5 MW/m2 into steel of 25 W/mK, hole of 1 mm: the wall shows +-200 K instead of +-100 K about the axis.

    >>> round(float(cross_hole_temperature(5e6 / 25.0, 0.5e-3, 0.5e-3)), 1)
    200.0
    """
    check_number("radius", radius, low=0.0, high=0.1, unit="m", low_open=True)
    b = _filling(conductivity_ratio)
    r = np.asarray(distance, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(r >= radius, r + b * radius**2 / r, (1.0 + b) * r)
    return np.asarray(gradient * reach * np.cos(angle))


def blind_hole_disturbance(
    gradient_along: Array | float, gradient_across: Array | float, radius: float, conductivity_ratio: float = 0.0
) -> Array:
    """Change of temperature at the bottom of a blind well, K, as a bound: parts along and across the well in quadrature.

    Parameters
    ----------
    gradient_along, gradient_across : float or array
        Undisturbed gradient along the axis of the well and across it, K/m.
    radius : float
        Of the well, m.
    conductivity_ratio : float
        Filling (cement and sheath) over metal; 0: an empty well.

    Returns
    -------
    ndarray
        K. Along: 0.83 b G a (flat bottom, `BLIND_END`); the reading is drawn away from the temperature of the mouth.
        Across: b G a, the most that a side of the wall differs from the undisturbed field (`cross_hole_temperature`).

    Notes
    -----
    Steady. A transient field near the hole settles within a few a2/alpha (0.1 s for a = 0.75 mm in hot steel), so the result
    holds while the gradient changes slowly against that. The factor b is exact across the well; along it it is taken over.

    Examples
    --------
    >>> round(float(blind_hole_disturbance(0.0, 2e5, 0.5e-3)), 1), round(float(blind_hole_disturbance(1e4, 0.0, 1.5e-3)), 1)
    (100.0, 12.5)
    """
    check_number("radius", radius, low=0.0, high=0.1, unit="m", low_open=True)
    scale = _filling(conductivity_ratio) * radius
    return np.hypot(BLIND_END * scale * np.asarray(gradient_along), scale * np.asarray(gradient_across))


def stem_conduction_error(
    depth: float,
    sheath_diameter: float,
    contact_coefficient: float,
    mouth_difference: Array | float,
    gradient_along: Array | float = 0.0,
    sheath_conductivity: float = SHEATH_CONDUCTIVITY,
) -> Array:
    """How much a junction reads above the metal around it because heat runs along its sheath, K.

    Parameters
    ----------
    depth : float
        L, of the well, m.
    sheath_diameter : float
        d, m.
    contact_coefficient : float
        h between sheath and well, W/m2K.
    mouth_difference : float or array
        Sheath less metal at the mouth of the well, K; at most medium less surface.
    gradient_along : float or array
        dT/dx of the metal along the well, towards the bottom, K/m.
    sheath_conductivity : float
        k along the sheath, W/mK.

    Returns
    -------
    ndarray
        K, positive where the junction is the warmer.

    Notes
    -----
    The fin equation with a wall whose temperature is linear along the well and an adiabatic tip, exact:
    error = (dTm - (G/m) sinh mL)/cosh mL with m = sqrt(4 h/(k d)). The first part is the textbook fin (tip over mouth =
    1/cosh mL); the second stays however deep the well: the sheath averages the metal over its last 1/m.

    Examples
    --------
    A 1.5 mm sheath with 50 um of air around it, 8 mm deep, mouth 400 K colder than the metal there:

    >>> round(float(stem_conduction_error(8e-3, 1.5e-3, 1240.0, -400.0)), 1)
    -10.0
    """
    check_number("depth", depth, "length")
    check_number("sheath_diameter", sheath_diameter, "diameter")
    check_number("contact_coefficient", contact_coefficient, "coefficient", low_open=True)
    check_number("sheath_conductivity", sheath_conductivity, low=0.0, high=500.0, unit="W/mK", low_open=True)
    m = np.sqrt(4.0 * contact_coefficient / (sheath_conductivity * sheath_diameter))
    lengths = min(m * depth, 700.0)  # cosh overflows beyond; the tip knows nothing of the mouth there
    return np.asarray(mouth_difference) / np.cosh(lengths) - np.asarray(gradient_along) / m * np.tanh(lengths)
