"""Every medium side by side: h and q of one piece at one surface temperature."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy.constants import bar

from heatq.boundaries.gas_flow import GasCrossflow, GasJet
from heatq.boundaries.immersion import WaterBath
from heatq.boundaries.oil import OilBath
from heatq.boundaries.plain import Radiation
from heatq.boundaries.still_air import StillAir
from heatq.boundaries.water_jet import WaterJet
from heatq.errors import check_number, hold_validity

__all__ = ["MediumRow", "media", "media_table"]


class MediumRow(NamedTuple):
    """One medium at one surface temperature."""

    medium: str
    """What it is, in words."""
    fluid_temperature: float
    """degC."""
    coefficient: float
    """Heat flux over surface minus fluid temperature, W/m2K."""
    flux: float
    """W/m2."""
    relative_uncertainty: float | None
    """Spread of the sources, as a fraction; None where none is stated."""
    notes: tuple[str, ...]
    """Ranges left, in words."""


def media(diameter: float, length: float | None = None) -> dict[str, tuple[float, Any]]:
    """Return the media of the table as name -> (fluid temperature, boundary): for the side, jets for the end.

    The gas jet is left out where the end is wider than 20 nozzles of 1/2 in.

    Parameters
    ----------
    diameter, length : float
        Of the piece, m; without a length still air sees it lying.
    """
    check_number("diameter", diameter, "diameter")
    surface = "horizontal cylinder" if length is None else "vertical cylinder"
    still = StillAir(20.0, surface=surface, length=length, diameter=diameter)
    table: dict[str, tuple[float, Any]] = {
        "radiation alone, emissivity 0.8": (20.0, Radiation(0.8, 20.0)),
        "still air and radiation, emissivity 0.8": (20.0, still + Radiation(0.8, 20.0)),
    }
    for pressure, velocity in ((1, 20.0), (6, 20.0), (10, 20.0), (10, 50.0), (20, 20.0)):
        for gas in ("nitrogen", "argon", "helium", "hydrogen"):
            flow = GasCrossflow(gas, velocity, pressure * bar, 40.0, diameter=diameter)
            table[f"{gas} across, {pressure} bar, {velocity:g} m/s"] = (40.0, flow)
    jet = GasJet("nitrogen", 90.0, 1 * bar, 25.0, face_diameter=diameter)
    if diameter <= 20.0 * jet.nozzle_diameter:  # no formula reaches further from the axis than ten nozzle diameters
        table["nitrogen jet on the end, 1 bar, 90 m/s"] = (25.0, jet)
    for kind, agitation in (
        ("conventional", "none"),
        ("conventional", "good"),
        ("fast", "moderate"),
        ("marquenching", "none"),
    ):
        oil = OilBath(kind, agitation=agitation)
        table[f"{kind} oil, agitation {agitation}"] = (float(oil.temperature or 0.0), oil)
    for velocity in (0.0, 0.5):
        name = "water bath, still" if velocity == 0.0 else f"water bath, {velocity:g} m/s"
        table[name] = (25.0, WaterBath(25.0, velocity, diameter=diameter, length=length))
    table["water jet on the end"] = (24.0, WaterJet(24.0))
    return table


def media_table(specimen_diameter: float, surface_temperature: float, length: float | None = None) -> list[MediumRow]:
    """Tabulate h and q of every medium for a round piece at one surface temperature.

    Parameters
    ----------
    specimen_diameter : float
        m.
    surface_temperature : float
        degC.
    length : float, optional
        m.

    Returns
    -------
    list of MediumRow
        ``(medium, fluid_temperature, coefficient, flux, relative_uncertainty, notes)``.

    Examples
    --------
    >>> rows = {row.medium: row for row in media_table(0.025, 600.0)}
    >>> round(rows["nitrogen across, 10 bar, 20 m/s"].coefficient)
    374
    """
    check_number("surface_temperature", surface_temperature, "temperature")
    rows = []
    for name, (fluid, boundary) in media(specimen_diameter, length).items():
        with hold_validity() as notes:
            flux = float(boundary.heat_flux(np.array([surface_temperature]))[0])
        rise = surface_temperature - fluid
        coefficient = flux / rise if abs(rise) > 1e-9 else float("nan")
        rows.append(
            MediumRow(
                name, fluid, coefficient, flux, getattr(boundary, "relative_uncertainty", None), tuple(notes.values())
            )
        )
    return rows
