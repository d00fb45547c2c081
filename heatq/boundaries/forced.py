"""Forced convection: across a cylinder, along a plate, through banks and packed beds (Nusselt numbers)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_number, note_validity

__all__ = [
    "bank_maximum_velocity",
    "nusselt_bank_zukauskas",
    "nusselt_cylinder_churchill_bernstein",
    "nusselt_cylinder_hilpert",
    "nusselt_cylinder_zukauskas",
    "nusselt_packed_bed_gnielinski",
    "nusselt_plate_blended",
    "nusselt_plate_laminar",
    "nusselt_plate_mixed",
    "nusselt_plate_turbulent",
]

Array = npt.NDArray[np.float64]


def nusselt_cylinder_churchill_bernstein(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a cylinder in cross-flow, one smooth formula.

    Parameters
    ----------
    reynolds, prandtl : float or array
        Reynolds number on the diameter and Prandtl number, both at the film temperature.

    Returns
    -------
    array
        Nusselt number on the diameter.

    Notes
    -----
    Nu = 0.3 + 0.62 Re^(1/2) Pr^(1/3) / [1 + (0.4/Pr)^(2/3)]^(1/4) * [1 + (Re/282000)^(5/8)]^(4/5).

    Validity: Re Pr > 0.2, Re up to 1e7 (data from 1e2). Low by up to 20 % between Re 2e4 and 4e5, by its authors.
    Published formulas for gases spread by +-15 % at Re 1e5 and +-25 % at 1e6 (Nu at Pr 0.71 from five sources: 215 to
    267 and 902 to 1290); above Re 2e5 the flow is sensitive to the turbulence of the stream.

    Churchill & Bernstein, J. Heat Transfer 99 (1977) 300. Formula from memory, equal to the `ht` library's.

    Examples
    --------
    Incropera, 6th ed., Example 7.4 (12.7 mm cylinder in 10 m/s air): Nu 40.6, h = 96 W/m2K:

    >>> float(nusselt_cylinder_churchill_bernstein(6071.0, 0.70))
    40.637
    """
    note_validity("Churchill-Bernstein", "Re", reynolds, 0.2, 1e7, "1", "Churchill & Bernstein 1977")
    note_validity(
        "Churchill-Bernstein", "Re Pr", np.multiply(reynolds, prandtl), 0.2, np.inf, "1", "Churchill & Bernstein 1977"
    )
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    shape = 0.62 * np.sqrt(reynolds) * np.cbrt(prandtl) / (1.0 + (0.4 / prandtl) ** (2.0 / 3.0)) ** 0.25
    return 0.3 + shape * (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8


def _stepwise(reynolds: Array, limits: tuple[float, ...], table: tuple[tuple[float, float], ...]) -> Array:
    """C Re^m with (C, m) by range of Re; the end pairs are used beyond the ends."""
    index = np.searchsorted(np.asarray(limits), reynolds, side="right")
    pairs = np.asarray(table)
    return pairs[index, 0] * reynolds ** pairs[index, 1]


def nusselt_cylinder_zukauskas(
    reynolds: Array | float, prandtl: Array | float, prandtl_surface: Array | float | None = None
) -> Array:
    """Mean Nusselt number of a cylinder in cross-flow, power laws by range.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the diameter, at the temperature of the stream.
    prandtl_surface : float or array, optional
        Prandtl number at the surface temperature; left out: no correction.

    Returns
    -------
    array
        Nusselt number on the diameter.

    Notes
    -----
    Nu = C Re^m Pr^n (Pr/Pr_s)^(1/4); C, m by Re: 1 to 40: 0.75, 0.4; 40 to 1e3: 0.51, 0.5; 1e3 to 2e5: 0.26, 0.6;
    2e5 to 1e6: 0.076, 0.7. n = 0.37 (Pr <= 10), 0.36 above. The steps are the source's (a jump at Re 2e5 of -1 %).

    Validity: Re 1 to 1e6, Pr 0.7 to 500. For gases Pr/Pr_s is close to 1, so the choice of the property temperature
    (stream, as the source has it, or film) moves h by 20 to 25 % when the piece is hot.

    Zukauskas, Adv. Heat Transfer 8 (1972) 93. Constants from memory (Incropera, Table 7.4), equal to the `ht`
    library's.

    Examples
    --------
    Incropera, 6th ed., Example 7.4: Re 7992, Pr 0.707, Pr_s 0.690 give Nu 50.5, h = 105 W/m2K:

    >>> float(nusselt_cylinder_zukauskas(7992.0, 0.707, 0.690))
    50.524
    """
    note_validity("Zukauskas cylinder", "Re", reynolds, 1.0, 1e6, "1", "Zukauskas 1972")
    note_validity(
        "Zukauskas cylinder", "Pr", prandtl, 0.65, 500.0, "1", "Zukauskas 1972: 0.7; 0.65 taken for the monatomic gases"
    )
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    power = np.where(prandtl <= 10.0, 0.37, 0.36)
    correction = 1.0 if prandtl_surface is None else (prandtl / np.asarray(prandtl_surface, dtype=float)) ** 0.25
    table = ((0.75, 0.4), (0.51, 0.5), (0.26, 0.6), (0.076, 0.7))
    return _stepwise(reynolds, (40.0, 1e3, 2e5), table) * prandtl**power * correction


def nusselt_cylinder_hilpert(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a cylinder in cross-flow of air, the oldest power laws.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the diameter, at the film temperature.

    Returns
    -------
    array
        Nusselt number on the diameter.

    Notes
    -----
    Nu = C Re^m Pr^(1/3); Re 0.4 to 4: 0.989, 0.330; 4 to 40: 0.911, 0.385; 40 to 4e3: 0.683, 0.466; 4e3 to 4e4: 0.193,
    0.618; 4e4 to 4e5: 0.027, 0.805.

    Validity: Re 0.4 to 4e5.

    Hilpert, Forsch. Ing.-Wes. 4 (1933) 215; constants from memory (Incropera, Table 7.2). Later work corrects them by
    some per cent; kept for comparison.

    Examples
    --------
    Incropera, 6th ed., Example 7.4: Nu 37.3, h = 88 W/m2K:

    >>> float(nusselt_cylinder_hilpert(6071.0, 0.70))
    37.32
    """
    note_validity("Hilpert", "Re", reynolds, 0.4, 4e5, "1", "Hilpert 1933")
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    table = ((0.989, 0.330), (0.911, 0.385), (0.683, 0.466), (0.193, 0.618), (0.027, 0.805))
    return _stepwise(reynolds, (4.0, 40.0, 4e3, 4e4), table) * np.cbrt(prandtl)


def nusselt_plate_laminar(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a flat plate in laminar parallel flow.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the length in flow direction, at the film temperature.

    Notes
    -----
    Nu = 0.664 Re^(1/2) Pr^(1/3) (Pohlhausen). Validity: Re < 5e5 (transition), Pr > 0.6.

    Examples
    --------
    Incropera, 6th ed., Example 7.1 (Re 9597, Pr 0.687, as computed from its data): Nu 57.4:

    >>> float(nusselt_plate_laminar(9597.0, 0.687))
    57.4
    """
    note_validity("laminar plate", "Re", reynolds, 10.0, 5e5, "1", "laminar boundary layer")
    return 0.664 * np.sqrt(np.asarray(reynolds, dtype=float)) * np.cbrt(np.asarray(prandtl, dtype=float))


def nusselt_plate_turbulent(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a flat plate, turbulent from the leading edge.

    Notes
    -----
    Nu = 0.037 Re^0.8 Pr / [1 + 2.443 Re^-0.1 (Pr^(2/3) - 1)]. Validity: Re 5e5 to 1e7, Pr 0.6 to 2000.
    Petukhov & Popov's form as in Gnielinski (VDI Heat Atlas); from memory, equal to the `ht` library's
    "Schlichting" formula, 1894.9 at Re 1e6 and Pr 0.71. The plain 0.037 Re^0.8 Pr^(1/3) gives 2082.7 there (+10 %).

    Examples
    --------
    >>> float(nusselt_plate_turbulent(1e6, 0.71))
    1894.9
    """
    note_validity("turbulent plate", "Re", reynolds, 5e5, 1e7, "1", "Gnielinski, VDI Heat Atlas")
    return _turbulent(np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float))


def _turbulent(reynolds: Array, prandtl: Array) -> Array:
    return 0.037 * reynolds**0.8 * prandtl / (1.0 + 2.443 * reynolds**-0.1 * (prandtl ** (2.0 / 3.0) - 1.0))


def nusselt_plate_mixed(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a flat plate, laminar first and turbulent behind Re 5e5.

    Notes
    -----
    Nu = (0.037 Re^0.8 - 871) Pr^(1/3) above Re 5e5, the laminar formula below (a step of +6 % there).
    Validity: Re up to 1e8, 0.6 < Pr < 60. Incropera, 6th ed., eq. 7.38, from memory.

    Examples
    --------
    Som, Example 7.2 (30 m/s over 2 m): Re 3.6364e6, Pr 0.705 and k = 0.026 W/mK give h = 65.79 W/m2K:

    >>> float(nusselt_plate_mixed(3.6364e6, 0.705)) * 0.026 / 2.0
    65.79
    """
    note_validity("mixed plate", "Re", reynolds, 10.0, 1e8, "1", "mean over a laminar and a turbulent part")
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    turbulent = 0.037 * reynolds**0.8 - 871.0
    return np.where(reynolds < 5e5, 0.664 * np.sqrt(reynolds), turbulent) * np.cbrt(prandtl)


def nusselt_plate_blended(reynolds: Array | float, prandtl: Array | float) -> Array:
    """Mean Nusselt number of a flat plate in a stream with ordinary turbulence, smooth through transition.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the length in flow direction, at the film temperature.

    Notes
    -----
    Nu = sqrt(Nu_laminar^2 + Nu_turbulent^2) (Gnielinski; VDI Heat Atlas). Validity: Re 10 to 1e7, Pr 0.6 to 2000.
    Default along a bar and over flat ends. The curvature of a thin cylinder raises the laminar value by a few per
    cent; left out.

    Examples
    --------
    At Re 1e5 the laminar part alone is 187, the turbulent part alone 312:

    >>> float(nusselt_plate_blended(1e5, 0.71))
    363.8
    """
    note_validity("blended plate", "Re", reynolds, 10.0, 1e7, "1", "Gnielinski, VDI Heat Atlas")
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    laminar = 0.664 * np.sqrt(reynolds) * np.cbrt(prandtl)
    return np.hypot(laminar, _turbulent(reynolds, prandtl))


#: Factor for banks of few rows (Zukauskas), rows 1, 2, 3, 4, 5, 7, 10, 13, 16; from memory.
_ROWS = (1, 2, 3, 4, 5, 7, 10, 13, 16, 20)
_ALIGNED = (0.70, 0.80, 0.86, 0.90, 0.92, 0.95, 0.97, 0.98, 0.99, 1.0)
_STAGGERED = (0.64, 0.76, 0.84, 0.89, 0.92, 0.95, 0.97, 0.98, 0.99, 1.0)


def bank_maximum_velocity(
    velocity: float, diameter: float, transverse_pitch: float, longitudinal_pitch: float, staggered: bool
) -> float:
    """Velocity in the narrowest gap of a bank of bars, m/s.

    Aligned: V S_T/(S_T - D). Staggered: that, or V S_T / (2 (S_D - D)) with S_D = sqrt(S_L^2 + (S_T/2)^2) if the
    diagonal gap is the narrower one. Incropera, 6th ed., eq. 7.60 and 7.61, from memory.

    Examples
    --------
    Incropera, 6th ed., Example 7.6 (6 m/s, S_T 31.3, S_L 34.3, D 16.4 mm): 12.6 m/s

    >>> bank_maximum_velocity(6.0, 0.0164, 0.0313, 0.0343, True)
    12.6
    """
    if transverse_pitch <= diameter or (not staggered and longitudinal_pitch <= diameter):
        raise InputError(
            f"pitches {transverse_pitch:g} and {longitudinal_pitch:g} m leave no gap between bars of {diameter:g} m: "
            "pitches are from centre to centre."
        )
    straight = velocity * transverse_pitch / (transverse_pitch - diameter)
    if not staggered:
        return straight
    diagonal = float(np.hypot(longitudinal_pitch, transverse_pitch / 2.0))
    if diagonal <= diameter:
        raise InputError(f"the diagonal pitch {diagonal:g} m leaves no gap between bars of {diameter:g} m.")
    return max(straight, velocity * transverse_pitch / (2.0 * (diagonal - diameter)))


def nusselt_bank_zukauskas(
    reynolds: Array | float,
    prandtl: Array | float,
    prandtl_surface: Array | float | None = None,
    *,
    rows: int = 20,
    staggered: bool = True,
    pitch_ratio: float = 1.0,
) -> Array:
    """Mean Nusselt number of a bar in a bank in cross-flow.

    Parameters
    ----------
    reynolds : float or array
        On the diameter and the velocity in the narrowest gap (`bank_maximum_velocity`), at the temperature of the
        stream.
    prandtl, prandtl_surface : float or array
        At the temperature of the stream and of the surface.
    rows : int
        Rows in flow direction; below 20 a factor applies.
    staggered : bool
        Every second row shifted by half a pitch.
    pitch_ratio : float
        S_T/S_L, transverse over longitudinal pitch.

    Notes
    -----
    Nu = C2 C Re^m Pr^0.36 (Pr/Pr_s)^(1/4). Aligned: Re 10 to 1e2: 0.80, 0.40; 1e2 to 1e3: as a single cylinder; 1e3
    to 2e5: 0.27, 0.63 (S_T/S_L > 0.7); 2e5 to 2e6: 0.021, 0.84. Staggered: 0.90, 0.40; single cylinder; 0.35
    (S_T/S_L)^0.2, 0.60 below S_T/S_L = 2 and 0.40, 0.60 above; 0.022, 0.84.

    Validity: Re 10 to 2e6, Pr 0.7 to 500, S_T/S_L > 0.7 if aligned. Zukauskas, Adv. Heat Transfer 8 (1972) 93;
    constants from memory (Incropera, Tables 7.7 and 7.8), row factors from memory.

    Examples
    --------
    Incropera, 6th ed., Example 7.6 (S_T 31.3, S_L 34.3 mm, 7 rows staggered): the book rounds C = 0.35
    (31.3/34.3)^0.2 = 0.3437 to 0.34 and prints Nu 87.9, h 135.6 W/m2K; the formula unrounded gives 1 % more:

    >>> float(nusselt_bank_zukauskas(13943.0, 0.71, 0.70, rows=7, pitch_ratio=31.3 / 34.3))
    88.8
    >>> round(88.8 * 0.34 / 0.3437, 1)
    87.8
    """
    source = "Zukauskas 1972"
    note_validity("Zukauskas bank", "Re", reynolds, 10.0, 2e6, "1", source)
    check_number("rows", rows, low=1, high=1e6, unit="1")
    check_number("pitch_ratio", pitch_ratio, low=0.0, high=100.0, unit="1", low_open=True)
    if not staggered:
        note_validity("Zukauskas bank", "S_T/S_L", pitch_ratio, 0.7, np.inf, "1", source)
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    middle = (0.35 * pitch_ratio**0.2 if pitch_ratio < 2.0 else 0.40, 0.60) if staggered else (0.27, 0.63)
    table = (
        ((0.90, 0.40), (0.51, 0.5), middle, (0.022, 0.84))
        if staggered
        else ((0.80, 0.40), (0.51, 0.5), middle, (0.021, 0.84))
    )
    power = np.where((reynolds >= 1e2) & (reynolds < 1e3), 0.37, 0.36)
    correction = 1.0 if prandtl_surface is None else (prandtl / np.asarray(prandtl_surface, dtype=float)) ** 0.25
    factor = float(np.interp(rows, _ROWS, _STAGGERED if staggered else _ALIGNED))
    return factor * _stepwise(reynolds, (1e2, 1e3, 2e5), table) * prandtl**power * correction


def nusselt_packed_bed_gnielinski(
    reynolds: Array | float, prandtl: Array | float, void_fraction: float, shape_factor: float | None = None
) -> Array:
    """Mean Nusselt number of the pieces in a packed bed or basket.

    Parameters
    ----------
    reynolds : float or array
        rho v d / (mu eps): superficial velocity v over the void fraction eps, d the diameter of a sphere (of a sphere
        of equal surface for other pieces), at the mean gas temperature.
    prandtl : float or array
        Prandtl number.
    void_fraction : float
        Share of the volume that is gas, eps.
    shape_factor : float, optional
        f_a; 1 + 1.5 (1 - eps) for spheres (default), 1.6 for cylinders with 0.24 < l/d < 1.2.

    Notes
    -----
    Nu = f_a (2 + sqrt(Nu_l^2 + Nu_t^2)) with the plate formulas. Validity: 0.4 < Pr < 1000, 0.26 < eps < 0.935 and Re
    up to 2e4 (the last two from memory; the `ht` library quotes data for spheres from 0.1 to 1000 only). Gnielinski,
    Chem.-Ing.-Techn. 52 (1980) 228 and VDI Heat Atlas; equal to the `ht` library's.

    Examples
    --------
    The `ht` library's example (0.8 mm spheres, eps 0.4, 1 m/s, rho 1e3, mu 1e-3, Pr 0.7):

    >>> float(nusselt_packed_bed_gnielinski(1e3 * 1.0 * 8e-4 / (1e-3 * 0.4), 0.7, 0.4))
    61.378
    """
    check_number("void_fraction", void_fraction, low=0.05, high=0.999, unit="1", hint="It is the share of gas, 0 to 1.")
    note_validity("packed bed", "Re", reynolds, 0.1, 2e4, "1", "Gnielinski")
    note_validity("packed bed", "Pr", prandtl, 0.4, 1000.0, "1", "Gnielinski")
    note_validity("packed bed", "void fraction", void_fraction, 0.26, 0.935, "1", "Gnielinski")
    reynolds, prandtl = np.asarray(reynolds, dtype=float), np.asarray(prandtl, dtype=float)
    laminar = 0.664 * np.sqrt(reynolds) * np.cbrt(prandtl)
    factor = 1.0 + 1.5 * (1.0 - void_fraction) if shape_factor is None else shape_factor
    return factor * (2.0 + np.hypot(laminar, _turbulent(reynolds, prandtl)))
