"""Round jets on a face: gas jets and the liquid jet of the end-quench test (Nusselt numbers)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, note_validity

__all__ = [
    "nusselt_jet_array_martin",
    "nusselt_jet_combined",
    "nusselt_jet_goldstein",
    "nusselt_jet_huang",
    "nusselt_jet_huang_local",
    "nusselt_jet_lytle_webb",
    "nusselt_jet_martin",
    "nusselt_jet_stagnation",
    "nusselt_liquid_jet_laminar",
    "nusselt_liquid_jet_turbulent",
]

Array = npt.NDArray[np.float64]

_HUANG_A = (506e-4, 13.3e-4, -19.6e-4, 2.41e-4, -9.04e-6)
_HUANG_B = (32e-4, -24.3e-4, 6.53e-4, -0.694e-4, 2.57e-6)


def nusselt_jet_martin(
    reynolds: Array | float, prandtl: Array | float, radius_ratio: float, standoff_ratio: float
) -> Array:
    """Area-mean Nusselt number under a single round jet, away from its centre.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the nozzle diameter D, at the film temperature.
    radius_ratio : float
        Radius of the face over D.
    standoff_ratio : float
        Distance nozzle to face over D.

    Raises
    ------
    InputError
        Below r/D = 2.5 or H/D = 2: the formula bends over there and turns negative at r/D = 1.1, so on the end of a bar
        under a nozzle of half its diameter it must not be used.

    Notes
    -----
    Nu/Pr^0.42 = G * 2 Re^(1/2) (1 + 0.005 Re^0.55)^(1/2), G = (D/r) (1 - 1.1 D/r) / [1 + 0.1 (H/D - 6) D/r].
    Validity: 2e3 <= Re <= 4e5, 2 <= H/D <= 12, 2.5 <= r/D <= 7.9. Martin, Adv. Heat Transfer 13 (1977) 1.

    Examples
    --------
    At Re 5e4, H/D = 2, r/D = 2.5 and Pr 0.71:

    >>> float(nusselt_jet_martin(5e4, 0.71, 2.5, 2.0))
    176.5
    """
    if radius_ratio < 2.5 or standoff_ratio < 2.0:
        raise InputError(
            f"Martin's jet formula holds for r/D 2.5 to 7.9 and H/D 2 to 12 (radius of the face and stand-off over the "
            f"nozzle's diameter), not for {radius_ratio:g} and {standoff_ratio:g}; it turns negative at r/D = 1.1. "
            "Use Huang & El-Genk there."
        )
    source = "Martin 1977"
    note_validity("Martin jet", "Re", reynolds, 2e3, 4e5, "1", source)
    note_validity("Martin jet", "r/D", radius_ratio, 2.5, 7.9, "1", source)
    note_validity("Martin jet", "H/D", standoff_ratio, 2.0, 12.0, "1", source)
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    near = 1.0 / radius_ratio
    geometry = near * (1.0 - 1.1 * near) / (1.0 + 0.1 * (standoff_ratio - 6.0) * near)
    return prandtl**0.42 * geometry * 2.0 * np.sqrt(reynolds) * np.sqrt(1.0 + 0.005 * reynolds**0.55)


def nusselt_jet_lytle_webb(reynolds: Array | float, radius_ratio: float, standoff_ratio: float) -> Array:
    """Area-mean Nusselt number of a disc close to a round air jet.

    Parameters
    ----------
    reynolds : float or array
        On the nozzle diameter D.
    radius_ratio : float
        Radius of the disc over D, 0 to 2.
    standoff_ratio : float
        Distance nozzle to face over D.

    Notes
    -----
    Stagnation point: 0.726 Re^0.53 (H/D)^-0.191; mean to r/D = 1: 0.424 Re^0.57 (H/D)^-0.33; mean to r/D = 2:
    0.150 Re^0.67 (H/D)^-0.36. Between these radii heatq interpolates linearly in r/D (our own addition).

    Validity: 3600 < Re < 27600, 0.1 <= H/D <= 1, air from a pipe. Lytle & Webb, Int. J. Heat Mass Transfer 37 (1994)
    1687; coefficients from memory, not verified.

    Examples
    --------
    At Re 2.5e4, H/D = 1, r/D = 1:

    >>> float(nusselt_jet_lytle_webb(2.5e4, 1.0, 1.0))
    136.2
    """
    source = "Lytle & Webb 1994"
    note_validity("Lytle-Webb jet", "Re", reynolds, 3600.0, 27600.0, "1", source)
    note_validity("Lytle-Webb jet", "r/D", radius_ratio, 0.0, 2.0, "1", source)
    note_validity("Lytle-Webb jet", "H/D", standoff_ratio, 0.1, 1.0, "1", source)
    return _lytle_webb(np.asarray(reynolds, dtype=float), radius_ratio, standoff_ratio)


def _lytle_webb(reynolds: Array, radius_ratio: float, standoff_ratio: float) -> Array:
    one = 0.424 * reynolds**0.57 * standoff_ratio**-0.33
    if radius_ratio <= 1.0:
        centre = 0.726 * reynolds**0.53 * standoff_ratio**-0.191
        return (1.0 - radius_ratio) * centre + radius_ratio * one
    two = 0.150 * reynolds**0.67 * standoff_ratio**-0.36
    share = min(radius_ratio, 2.0) - 1.0
    return (1.0 - share) * one + share * two


#: Beyond this r/D the fourth-degree polynomials of Huang & El-Genk rise again, or fall through zero near 15.
_HUANG_LAST = 12.0


def _huang_bracket(radius_ratio: Array, standoff_ratio: float) -> Array:
    if np.max(radius_ratio) > _HUANG_LAST:
        raise InputError(
            f"gas jet: r/D = {np.max(radius_ratio):.3g} is beyond {_HUANG_LAST:g}, where Huang & El-Genk's polynomial "
            "(fitted to r/D <= 10) means nothing any more and soon turns negative: the face is too wide for one nozzle. "
            "Give a wider nozzle_diameter, or use an array of nozzles."
        )
    a = np.polynomial.polynomial.polyval(radius_ratio, _HUANG_A)
    b = np.polynomial.polynomial.polyval(radius_ratio, _HUANG_B)
    c = -3.85e-6 * (1.147 + radius_ratio) ** -0.0904
    return a + b * standoff_ratio + c * standoff_ratio**2


def _check_huang(model: str, reynolds: Array | float, radius_ratio: Array | float, standoff_ratio: float) -> None:
    source = "Huang & El-Genk 1994, the narrower of two remembered ranges"
    note_validity(model, "Re", reynolds, 6e3, 6e4, "1", source)
    note_validity(model, "r/D", radius_ratio, 0.0, 10.0, "1", source)
    note_validity(model, "H/D", standoff_ratio, 1.0, 12.0, "1", source)


def nusselt_jet_huang(
    reynolds: Array | float, prandtl: Array | float, radius_ratio: float, standoff_ratio: float
) -> Array:
    """Area-mean Nusselt number of a disc under a round gas jet, down to its centre.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the nozzle diameter D, at the film temperature.
    radius_ratio : float
        Radius of the disc over D.
    standoff_ratio : float
        Distance nozzle to face over D.

    Notes
    -----
    Nu = Re^0.76 Pr^0.42 [a + b H/D + c (H/D)^2]; with X = r/D: a = 1e-4 (506 + 13.3 X - 19.6 X^2 + 2.41 X^3 - 0.0904
    X^4), b = 1e-4 (32 - 24.3 X + 6.53 X^2 - 0.694 X^3 + 0.0257 X^4), c = -3.85e-6 (1.147 + X)^-0.0904.

    Validity: 1 <= H/D <= 12, r/D <= 10 (refused beyond 12, where the polynomial fails), Re 6e3 to 6e4 (one recollection says 1.24e5; the narrower range is used for the
    warning). Huang & El-Genk, Int. J. Heat Mass Transfer 37 (1994) 1915; coefficients from memory, not verified.

    At r/D = 1, H/D = 1 four sources give Nu 98, 136, 66, 105 at Re 2.5e4 and 282, 300, 189, 210 at 1e5: the honest
    uncertainty is +-35 %. No known source covers Re above 1.3e5 at H/D = 1.

    Examples
    --------
    At Re 5e4, Pr 0.71, r/D = 1, H/D = 1:

    >>> float(nusselt_jet_huang(5e4, 0.71, 1.0, 1.0))
    166.4
    """
    _check_huang("Huang-El-Genk jet", reynolds, radius_ratio, standoff_ratio)
    factor = float(_huang_bracket(np.asarray(radius_ratio, dtype=float), standoff_ratio))
    return np.asarray(reynolds, dtype=float) ** 0.76 * np.asarray(prandtl, dtype=float) ** 0.42 * factor


def nusselt_jet_huang_local(
    reynolds: Array | float, prandtl: Array | float, radius_ratio: Array | float, standoff_ratio: float
) -> Array:
    """Local Nusselt number at a radius under a round gas jet, from the area mean of Huang & El-Genk.

    Parameters
    ----------
    reynolds, prandtl, radius_ratio, standoff_ratio
        As for `nusselt_jet_huang`; ``radius_ratio`` is that of the place.

    Notes
    -----
    The mean over a disc of radius r is (2/r^2) int Nu r dr, so Nu_local = Nu_mean + (X/2) dNu_mean/dX: our own
    differentiation of `nusselt_jet_huang`. A fit of means need not have good slopes; take the shape as indicative.

    Examples
    --------
    At Re 5e4, H/D = 1, at the centre and 1 and 2 nozzle diameters away:

    >>> [round(float(nusselt_jet_huang_local(5e4, 0.71, x, 1.0))) for x in (0.0, 1.0, 2.0)]
    [174, 161, 139]
    """
    _check_huang("Huang-El-Genk jet", reynolds, radius_ratio, standoff_ratio)
    x = np.asarray(radius_ratio, dtype=float)
    slope_a = np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyder(_HUANG_A))
    slope_b = np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyder(_HUANG_B))
    slope_c = -3.85e-6 * -0.0904 * (1.147 + x) ** -1.0904
    bracket = _huang_bracket(x, standoff_ratio) + 0.5 * x * (
        slope_a + slope_b * standoff_ratio + slope_c * standoff_ratio**2
    )
    return np.asarray(reynolds, dtype=float) ** 0.76 * np.asarray(prandtl, dtype=float) ** 0.42 * bracket


def nusselt_jet_goldstein(reynolds: Array | float, radius_ratio: float, standoff_ratio: float) -> Array:
    """Area-mean Nusselt number of a disc under a round air jet at a larger stand-off.

    Notes
    -----
    Nu = Re^0.76 (24 - |H/D - 7.75|) / (533 + 44 (r/D)^1.394). Validity: Re 6.1e4 to 1.24e5, H/D 6 to 12; at H/D = 1
    it is an extrapolation and the lowest of the four sources. Goldstein, Behbahani & Heppelmann, Int. J. Heat Mass
    Transfer 29 (1986) 1227; coefficients from memory, not verified.

    Examples
    --------
    >>> float(nusselt_jet_goldstein(1e5, 1.0, 7.75))
    262.5
    """
    source = "Goldstein et al. 1986"
    note_validity("Goldstein jet", "Re", reynolds, 6.1e4, 1.24e5, "1", source)
    note_validity("Goldstein jet", "H/D", standoff_ratio, 6.0, 12.0, "1", source)
    factor = (24.0 - abs(standoff_ratio - 7.75)) / (533.0 + 44.0 * radius_ratio**1.394)
    return np.asarray(reynolds, dtype=float) ** 0.76 * factor


def nusselt_jet_stagnation(reynolds: Array | float, prandtl: Array | float, gradient: float = 1.0) -> Array:
    """Stagnation-point Nusselt number of a laminar round jet of uniform velocity.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the nozzle diameter D, at the film temperature.
    gradient : float
        (D/V) dU/dr at the stagnation point, 0.9 to 1.1.

    Notes
    -----
    Nu = 0.763 Re^(1/2) Pr^0.4 sqrt(gradient): the exact axisymmetric stagnation flow (0.763 Pr^0.4 fits it for Pr
    near 1), from memory. A lower bound for a turbulent jet. Validity: laminar, near the axis.

    Examples
    --------
    >>> float(nusselt_jet_stagnation(2.5e4, 0.71))
    105.2
    """
    return 0.763 * np.sqrt(np.asarray(reynolds, dtype=float) * gradient) * np.asarray(prandtl, dtype=float) ** 0.4


def nusselt_jet_combined(
    reynolds: Array | float, prandtl: Array | float, radius_ratio: float, standoff_ratio: float
) -> Array:
    """Area-mean Nusselt number of a disc under a round gas jet: Lytle & Webb at low, Huang & El-Genk at high Re.

    Notes
    -----
    Each source where it was measured: Lytle & Webb below Re 1.25e4, Huang & El-Genk above 5e4, between them a blend
    that is smooth in ln Re and half-way at 2.5e4, since a switch would put a step of 40 % into the heat flux. The
    blend is our own. Where Lytle & Webb do not apply (H/D > 1 or r/D > 2) it is Huang & El-Genk alone.

    Validity: Re 3600 to 6e4 where both apply, else 6e3 to 6e4; 1 <= H/D <= 12; r/D <= 10. +-35 %.

    Examples
    --------
    At r/D = 1, H/D = 1, Pr 0.71 the two sources give 136 and 98 at Re 2.5e4:

    >>> float(nusselt_jet_combined(2.5e4, 0.71, 1.0, 1.0))
    115.6
    """
    reynolds = np.asarray(reynolds, dtype=float)
    with_lytle_webb = standoff_ratio <= 1.0 and radius_ratio <= 2.0
    source = "Lytle & Webb 1994 and Huang & El-Genk 1994" if with_lytle_webb else "Huang & El-Genk 1994"
    note_validity("gas jet", "Re", reynolds, 3600.0 if with_lytle_webb else 6e3, 6e4, "1", source)
    note_validity("gas jet", "r/D", radius_ratio, 0.0, 10.0, "1", source)
    note_validity("gas jet", "H/D", standoff_ratio, 0.1 if with_lytle_webb else 1.0, 12.0, "1", source)
    factor = float(_huang_bracket(np.asarray(radius_ratio, dtype=float), max(standoff_ratio, 1.0)))
    high = reynolds**0.76 * np.asarray(prandtl, dtype=float) ** 0.42 * factor
    if not with_lytle_webb:
        return high
    low = _lytle_webb(reynolds, radius_ratio, standoff_ratio)
    x = np.clip(np.log(np.maximum(reynolds, 1.0) / 1.25e4) / np.log(4.0), 0.0, 1.0)
    share = x * x * (3.0 - 2.0 * x)
    return low ** (1.0 - share) * high**share


def nusselt_jet_array_martin(
    reynolds: Array | float, prandtl: Array | float, area_fraction: float, standoff_ratio: float
) -> Array:
    """Mean Nusselt number under an array of round nozzles.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the nozzle diameter D, at the film temperature.
    area_fraction : float
        Nozzle area over face area, f.
    standoff_ratio : float
        Distance nozzles to face over D.

    Notes
    -----
    Nu/Pr^0.42 = [1 + ((H/D)/(0.6/sqrt f))^6]^-0.05 * 2 sqrt f (1 - 2.2 sqrt f)/(1 + 0.2 (H/D - 6) sqrt f) * 0.5
    Re^(2/3). Validity: f 0.004 to 0.04, Re 2e3 to 1e5, H/D 2 to 12. Martin, Adv. Heat Transfer 13 (1977) 1; from
    memory, not verified.

    Raises
    ------
    InputError
        For f of 0.2 and more, where the formula turns negative.

    Examples
    --------
    >>> float(nusselt_jet_array_martin(1e4, 0.71, 0.02, 4.0))
    40.42
    """
    if not 0.0 < area_fraction < 0.2:
        raise InputError(
            f"area_fraction = {area_fraction:g} is outside 0 to 0.2: it is the nozzle area over the face area, "
            "and Martin's formula (0.004 to 0.04) turns negative above 0.2."
        )
    source = "Martin 1977"
    note_validity("Martin jet array", "Re", reynolds, 2e3, 1e5, "1", source)
    note_validity("Martin jet array", "f", area_fraction, 0.004, 0.04, "1", source)
    note_validity("Martin jet array", "H/D", standoff_ratio, 2.0, 12.0, "1", source)
    root = np.sqrt(area_fraction)
    spread = (1.0 + (standoff_ratio * root / 0.6) ** 6) ** -0.05
    geometry = 2.0 * root * (1.0 - 2.2 * root) / (1.0 + 0.2 * (standoff_ratio - 6.0) * root)
    return (
        np.asarray(prandtl, dtype=float) ** 0.42
        * spread
        * geometry
        * 0.5
        * np.asarray(reynolds, dtype=float) ** (2 / 3)
    )


def nusselt_liquid_jet_laminar(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Nusselt number in the stagnation zone of a laminar free liquid jet of uniform velocity.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On diameter and velocity of the jet where it meets the face.

    Notes
    -----
    Nu = 0.745 Re^(1/2) Pr^(1/3), constant out to r/d = 0.787, Pr > 3. Liu, Lienhard & Lombara, J. Heat Transfer 113
    (1991) 571; the coefficient from memory (0.797 with a slightly larger velocity gradient: +7 %).

    Examples
    --------
    The standard end-quench jet at the bar's face, 24 degC (Re 14 700, Pr 6.30): Nu 167:

    >>> float(nusselt_liquid_jet_laminar(14700.0, 6.30))
    166.8
    """
    note_validity("laminar liquid jet", "Pr", prandtl, 1.5, 1e3, "1", "Liu et al. 1991: Pr > 3; 1.5 to 3 taken as well")
    return 0.745 * np.sqrt(np.asarray(reynolds, dtype=float)) * np.cbrt(np.asarray(prandtl, dtype=float))


def nusselt_liquid_jet_turbulent(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Nusselt number in the stagnation zone of a turbulent free liquid jet.

    Notes
    -----
    Nu = 0.278 Re^0.633 Pr^(1/3). Validity: 25e3 < Re < 85e3. Gabour & Lienhard, J. Heat Transfer 116 (1994) 81;
    coefficients from memory, not verified. At the end-quench jet (Re 14 700, an extrapolation) it gives a third more
    than the laminar form.

    Examples
    --------
    >>> float(nusselt_liquid_jet_turbulent(5e4, 6.30))
    484.1
    """
    note_validity("turbulent liquid jet", "Re", reynolds, 25e3, 85e3, "1", "Gabour & Lienhard 1994")
    return 0.278 * np.asarray(reynolds, dtype=float) ** 0.633 * np.cbrt(np.asarray(prandtl, dtype=float))
