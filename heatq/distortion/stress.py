"""Elastic stress of a long cylinder from the free strain over the radius, and that strain for steel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_number, note_validity

__all__ = ["free_strain", "long_cylinder_stress"]

Array = npt.NDArray[np.float64]

#: Modulus of elasticity (Pa) and Poisson's ratio of steel at 20 degC: EN 1993-1-1:2005, 3.2.6. Held constant: a hot piece
#: is softer, so early stresses are overstated against late ones.
MODULUS, POISSON = 210e9, 0.3
#: Linear expansion of austenite, 1/K: slope of the lattice constant of gamma iron, 8.1593e-6 nm/K over 0.3648 nm at 1183 K
#: (Seki and Nagata, ISIJ International 45 (2005) 1789; abstract read). EN 1993-1-2 has 2.0e-5 above 860 degC.
AUSTENITE_EXPANSION = 2.24e-5
#: Mean linear expansion of ferrite, bainite and martensite from 20 to 300 degC, 1/K: alpha iron, same source
#: (a = 0.2860 + 2.059e-6 T + 1.602e-9 T^2 nm, T in K).
PRODUCT_EXPANSION = 1.20e-5
#: Room temperature to which the volume changes belong, degC.
ROOM = 20.0
#: Volume change, %, from austenite to each product: first - second * C. Martensite: Thelning, Steel and its Heat Treatment,
#: 2nd ed. 1984, as quoted in teaching material and by handbook users (read there only); bainite and pearlite of the same
#: table from memory, not verified; ferrite as pearlite.
VOLUME_CHANGE = {"ferrite": (4.64, 2.21), "pearlite": (4.64, 2.21), "bainite": (4.64, 1.43), "martensite": (4.64, 0.53)}


def long_cylinder_stress(
    strain: npt.ArrayLike, radius: npt.ArrayLike, *, modulus: float = MODULUS, poisson: float = POISSON
) -> Array:
    """Elastic stress in a long cylinder or tube with free ends, from the free strain over the radius.

    Parameters
    ----------
    strain : array (..., radius)
        Free (unhindered) strain, for instance alpha (T - T0).
    radius : array (radius)
        m, rising; 0 as the first is a solid cylinder, anything else a tube.
    modulus, poisson : float
        E in Pa, and Poisson's ratio.

    Returns
    -------
    ndarray (3, ..., radius)
        Radial, hoop and axial stress, Pa; tension is positive.

    Notes
    -----
    Timoshenko and Goodier, Theory of Elasticity, 3rd ed. 1970, art. 151 (from memory; the equations were derived again and
    are checked in the tests against closed forms). With e(r) the free strain, a and b the radii, I(r) = int_a^r e r dr::

        radial = E / (1 - nu) / r^2 [(r^2 - a^2) / (b^2 - a^2) I(b) - I(r)]
        hoop   = E / (1 - nu) / r^2 [(r^2 + a^2) / (b^2 - a^2) I(b) + I(r) - e r^2]
        axial  = E / (1 - nu) [2 / (b^2 - a^2) I(b) - e]

    At the axis of a solid cylinder radial = hoop = E / (1 - nu) (mean(e) - e(0)) / 2. The free ends carry no resultant force;
    within about one diameter of an end the solution does not hold. I is the trapezoid rule in r^2 at the given nodes: second
    order, exact for a parabola. The axial resultant is then zero to round-off by the same rule.

    Validity: elastic, E and nu uniform over the section.

    Examples
    --------
    A parabola e = 0.001 (r/b)^2 in a solid cylinder: hoop and axial at the surface E/(1 - nu) (0.0005 - 0.001), in MPa:

    >>> import numpy as np
    >>> r = np.linspace(0.0, 0.02, 11)
    >>> stress = long_cylinder_stress(1e-3 * (r / 0.02) ** 2, r, modulus=210e9, poisson=0.3)
    >>> print((stress[:, -1] / 1e6).round(6))
    [   0. -150. -150.]
    """
    e, r = np.asarray(strain, dtype=float), np.asarray(radius, dtype=float)
    if r.ndim != 1 or r.size < 2 or not (np.diff(r) > 0.0).all() or r[0] < 0.0 or e.shape[-1:] != r.shape:
        raise InputError("radius: at least two radii in m, rising, one for each value along the last axis of strain.")
    check_number("poisson", poisson, low=0.0, high=0.49)
    check_number("modulus", modulus, low=0.0, low_open=True, unit="Pa", hint="210 GPa is 210e9.")
    square = r**2
    steps = 0.25 * np.diff(square) * (e[..., 1:] + e[..., :-1])
    inside = np.concatenate([np.zeros((*e.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)
    whole = inside[..., -1:]
    width = square[-1] - square[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        radial = ((square - square[0]) / width * whole - inside) / square
        hoop = ((square + square[0]) / width * whole + inside) / square - e
    if r[0] == 0.0:
        radial[..., 0] = hoop[..., 0] = whole[..., 0] / width - 0.5 * e[..., 0]
    axial = 2.0 / width * whole - e
    return modulus / (1.0 - poisson) * np.stack([radial, hoop, axial])


def free_strain(
    temperature: npt.ArrayLike, carbon: float, fraction: Mapping[str, npt.ArrayLike] | None = None
) -> tuple[Array, Array]:
    """Free linear strain against austenite at 20 degC: what cooling as austenite gives, and what the products add.

    Parameters
    ----------
    temperature : array
        degC.
    carbon : float
        Of the steel, mass %.
    fraction : mapping phase -> array, optional
        Fractions of ferrite, pearlite, bainite and martensite; without them the second part is NaN.

    Returns
    -------
    (ndarray, ndarray)
        Thermal part alpha_A (T - 20), and transformation part, the sum over the products of
        x [dV/300 - (alpha_A - alpha_P) (T - 20)], dV the volume change in % at 20 degC.

    Notes
    -----
    alpha_A = 2.24e-5 and alpha_P = 1.20e-5 1/K (Seki and Nagata 2005), dV = 4.64 - 0.53 C % for martensite (Thelning 1984);
    see `AUSTENITE_EXPANSION`, `VOLUME_CHANGE` for status. One strain per product: carbides and tempering are left out.

    Validity: C from 0.1 to 1.0 %.

    Examples
    --------
    Martensite of 0.4 % C at 300 degC is about 1.2 % longer than the austenite was:

    >>> thermal, added = free_strain(300.0, 0.4, {"martensite": 1.0})
    >>> print(f"{added:.4f}")
    0.0118
    """
    t = np.asarray(temperature, dtype=float)
    carbon = check_number("carbon", carbon, low=0.0, high=2.2, unit="mass %")
    note_validity("transformation strain", "carbon", carbon, 0.1, 1.0, "%", "Thelning 1984, steels of the trade")
    thermal = AUSTENITE_EXPANSION * (t - ROOM)
    if fraction is None:
        return thermal, np.full(t.shape, np.nan)
    slower = (AUSTENITE_EXPANSION - PRODUCT_EXPANSION) * (t - ROOM)
    added = np.zeros(t.shape)
    for phase, (first, second) in VOLUME_CHANGE.items():
        if phase in fraction:
            added = added + np.asarray(fraction[phase]) * ((first - second * carbon) / 300.0 - slower)
    return thermal, added
