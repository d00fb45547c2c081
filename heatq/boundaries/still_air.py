"""Still air, or another still gas: natural convection on every face of a bar."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.constants import atm, g

from heatq.boundaries import natural
from heatq.boundaries.gas import Gas, check_gas, gas_properties
from heatq.boundaries.gas_flow import check_optional, need, side_of
from heatq.boundaries.timeline import Boundary
from heatq.errors import InputError, check_name, check_number
from heatq.units import to_kelvin

__all__ = ["StillAir"]

Array = npt.NDArray[np.float64]

_ORIENTATIONS = ("vertical cylinder", "horizontal cylinder", "vertical plate", "facing up", "facing down")


@dataclasses.dataclass(frozen=True)
class StillAir(Boundary):
    """Natural convection in still air (or another still gas). Radiation is separate: ``StillAir() + Radiation(...)``.

    Parameters
    ----------
    temperature : float
        degC.
    axis : {"vertical", "horizontal"}
        How the piece hangs or lies. A long bar (``length=None``) is taken as lying whatever is written here.
    surface : str, optional
        "vertical cylinder", "horizontal cylinder", "vertical plate", "facing up" or "facing down"; taken from the
        face by the solver.
    length, diameter : float, optional
        m; taken from the piece by the solver.
    gas : str or mapping
        "air" by default.
    pressure : float
        Absolute, Pa; one atmosphere by default.

    Notes
    -----
    Side of a standing bar: Churchill & Chu's vertical plate times the thin-cylinder factor of Popiel et al. (+15 % on
    the end-quench bar); bore likewise without that factor; side of a lying bar: Churchill & Chu's horizontal
    cylinder; ends of a standing bar: McAdams' hot plates; ends of a lying bar: a vertical plate of the mean chord, pi
    D/4. Film temperature, beta = 1/T. A few W/m2K: above 400 degC radiation dominates.

    Examples
    --------
    Side of the end-quench bar at 704 degC in air of 24 degC (from CoolProp's properties: 11.5 W/m2K):

    >>> air = StillAir(temperature=24.0, surface="vertical cylinder", length=0.1016, diameter=0.0254)
    >>> float(air.heat_flux(np.array(704.0)) / 680.0)
    11.5
    """

    temperature: float = 20.0
    axis: str = "vertical"
    surface: str | None = None
    length: float | None = None
    diameter: float | None = None
    gas: Gas = "air"
    pressure: float = atm

    def __post_init__(self) -> None:
        """Check the arguments."""
        check_number("temperature", self.temperature, "temperature")
        check_name("axis", self.axis, ("vertical", "horizontal"))
        if self.surface is not None:
            check_name("surface", self.surface, _ORIENTATIONS)
        check_optional("length", self.length)
        check_optional("diameter", self.diameter)
        check_gas(self.gas)
        check_number("pressure", self.pressure, "pressure")

    def coefficient(self, surface_temperature: Array) -> Array:
        """Heat-transfer coefficient, W/m2K."""
        if self.surface is None:
            raise InputError(
                "StillAir does not know the piece: give surface=, length= and diameter=, or use it through simulate() "
                "or trial(), which take them from the piece."
            )
        temperature = np.asarray(surface_temperature, dtype=float)
        film_temperature = 0.5 * (temperature + self.temperature)
        film = gas_properties(self.gas, film_temperature, self.pressure)
        if self.surface in ("vertical cylinder", "vertical plate"):
            scale = need(self.length, "length", "StillAir")
        elif self.surface == "horizontal cylinder":
            scale = need(self.diameter, "diameter", "StillAir")
        else:
            scale = need(self.diameter, "diameter", "StillAir") / 4.0
        grashof = (
            g
            * np.abs(temperature - self.temperature)
            * scale**3
            / (to_kelvin(film_temperature) * film.kinematic_viscosity**2)
        )
        rayleigh = grashof * film.prandtl
        if self.surface == "horizontal cylinder":
            nusselt = natural.nusselt_horizontal_cylinder(rayleigh, film.prandtl)
        elif self.surface in ("facing up", "facing down"):
            # a cold piece in hot gas sees the mirror image
            hot = temperature >= self.temperature
            up = natural.nusselt_horizontal_plate_up(rayleigh)
            down = natural.nusselt_horizontal_plate_down(rayleigh)
            nusselt = np.where(hot if self.surface == "facing up" else ~hot, up, down)
        else:
            nusselt = natural.nusselt_vertical_plate(rayleigh, film.prandtl)
            if self.surface == "vertical cylinder":
                diameter = need(self.diameter, "diameter", "StillAir")
                # the factor diverges as Gr -> 0; below Gr 1e4 (some kelvin) it is held, its effect on q vanishes there
                nusselt = nusselt * natural.thin_cylinder_factor(
                    np.maximum(grashof, 1e4), film.prandtl, scale / diameter
                )
        return nusselt * film.conductivity / scale

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        surface = np.asarray(surface_temperature, dtype=float)
        return self.coefficient(surface) * (surface - self.temperature)

    def for_piece(self, specimen: Any, face: str) -> StillAir:
        """Return a copy that knows which way the face looks and how large it is; what was given stays."""
        side = side_of(specimen, face)
        diameter = 2.0 * (specimen.inner_radius if side == "bore" else specimen.outer_radius)
        lying = self.axis == "horizontal" or specimen.length is None
        length = specimen.length
        if side in ("bottom", "top"):
            surface = "vertical plate" if lying else f"facing {'down' if side == 'bottom' else 'up'}"
            length = 0.25 * np.pi * diameter
        elif lying:
            surface = "horizontal cylinder"
        else:
            surface = "vertical plate" if side == "bore" else "vertical cylinder"
        return dataclasses.replace(
            self,
            surface=self.surface or surface,
            length=length if self.length is None else self.length,
            diameter=diameter if self.diameter is None else self.diameter,
        )
