"""How uneven the heat-transfer coefficient is over the surface: regimes of boiling, neighbours, faces."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import at, for_piece, over_time
from heatq.errors import hold_validity

__all__ = ["h_evenness"]

Array = npt.NDArray[np.float64]

#: Nearest approach of the surface to the fluid (K) at which h is taken, and the width (K) of the near-by contrast.
NEAREST, NEAR = 10.0, 50.0


def _flux(knots: list, time: float, surface: Array) -> Array:
    """Flux at one time, linear between the knots."""
    times = np.array([knot[0] for knot in knots])
    k = int(np.clip(np.searchsorted(times, time, side="right") - 1, 0, len(knots) - 1))
    q = np.asarray(knots[k][1].heat_flux(surface), dtype=float)
    if k + 1 < len(knots) and times[k + 1] > times[k]:
        share = (time - times[k]) / (times[k + 1] - times[k])
        q = q + share * (np.asarray(knots[k + 1][1].heat_flux(surface), dtype=float) - q)
    return q


def _coefficients(knots: list, time: Array, surface: Array) -> Array:
    """Take h = q / (Ts - Tf) with Tf where the flux is zero; NaN where there is none, or within 10 K of it."""
    scan = np.arange(-50.0, 1351.0, 5.0)
    constant = len(knots) == 1
    out, fluid = np.full(len(time), np.nan), np.nan
    for n, (moment, here) in enumerate(zip(time, surface, strict=True)):
        if n == 0 or not constant:
            q = _flux(knots, float(moment), scan)
            up = np.flatnonzero((q[:-1] <= 0.0) & (q[1:] > 0.0))
            if up.size:
                k = up[0]
                fluid = scan[k] + 5.0 * (0.0 - q[k]) / (q[k + 1] - q[k])
            else:
                fluid = np.nan
        if here - fluid >= NEAREST:
            out[n] = _flux(knots, float(moment), np.array([here]))[0] / (here - fluid)
    return out


def h_evenness(
    specimen: Any,
    boundaries: Mapping[str, Any],
    time: npt.ArrayLike,
    surface_temperature: npt.ArrayLike,
    face: str,
    *,
    until: float,
) -> dict[str, float]:
    """How uneven h is: over the surface temperatures passed, between near-by temperatures, and over the faces.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    boundaries : mapping face -> boundary
        As for the run.
    time, surface_temperature : array
        Cooling curve (s, degC) of the surface at mid-length.
    face : str
        The face it lies on.
    until : float
        Lower end of the temperatures looked at, degC, Ms as a rule.

    Returns
    -------
    dict
        ``h_ratio_regimes``: 95th over 5th percentile of h at equal steps of the surface temperature from the start to ``until``.
        ``h_ratio_near``: largest ratio of h at one time between two surface temperatures 50 K apart, both passed:
        what two neighbouring
        places see when the film has collapsed at one of them. ``h_ratio_faces``: largest ratio, at one time and at the
        surface temperature of mid-length, of h between the faces and along them; a face that exchanges no heat is left
        out (a plane of symmetry). h = q / (Ts - Tf), Tf the temperature at which q is zero; NaN where there is none.

    Examples
    --------
    >>> import heatq as hq
    >>> even = {"side": hq.Convection(coefficient=500.0, fluid_temperature=20.0)}
    >>> found = h_evenness(hq.RoundBar(diameter=0.05), even, [0.0, 60.0], [850.0, 200.0], "side", until=300.0)
    >>> {name: round(value, 6) for name, value in found.items()}
    {'h_ratio_regimes': 1.0, 'h_ratio_near': 1.0, 'h_ratio_faces': 1.0}
    """
    times, values = np.asarray(time, dtype=float), np.minimum.accumulate(np.asarray(surface_temperature, dtype=float))
    result = dict.fromkeys(("h_ratio_regimes", "h_ratio_near", "h_ratio_faces"), float("nan"))
    low = max(until, values[-1])
    if values[0] - low < NEAR:
        return result
    count = max(61, int((values[0] - low) / 5.0) + 1)
    levels = np.linspace(values[0], low, count)
    moments = np.interp(-levels, -values, times)
    length = getattr(specimen, "length", None)
    middle = 0.0 if length is None else 0.5 * length
    with hold_validity():
        sized = {name: for_piece(boundaries[name], specimen, name) for name in boundaries}
        knots = over_time(at(sized[face], middle), times[-1])
        h = _coefficients(knots, moments, levels)
        good = np.isfinite(h) & (h > 0.0)
        if good.sum() >= 2:
            high, small = np.percentile(h[good], [95.0, 5.0])
            result["h_ratio_regimes"] = float(high / small)
            colder = _coefficients(knots, moments, levels - NEAR)
            with np.errstate(invalid="ignore", divide="ignore"):
                contrast = np.abs(np.log(h / colder))[levels - NEAR >= low - 1e-9]
            contrast = contrast[np.isfinite(contrast)]
            result["h_ratio_near"] = float(np.exp(contrast.max())) if contrast.size else float("nan")
        few = slice(None, None, 6)
        rows = []
        for name, boundary in sized.items():
            side = specimen.faces[name]
            span = (specimen.inner_radius, specimen.outer_radius) if side in ("bottom", "top") else (0.0, length or 0.0)
            places = (
                np.linspace(span[0], span[1], 5) if span[1] > span[0] and hasattr(boundary, "at") else [0.5 * sum(span)]
            )
            for place in places:
                row = _coefficients(over_time(at(boundary, float(place)), times[-1]), moments[few], levels[few])
                if np.isfinite(row).any():
                    rows.append(row)
        if rows:
            table = np.array(rows)
            with np.errstate(invalid="ignore", divide="ignore"):
                ratio = table.max(axis=0) / table.min(axis=0)
            ratio = ratio[np.isfinite(ratio)]
            result["h_ratio_faces"] = float(ratio.max()) if ratio.size else float("nan")
    return result
