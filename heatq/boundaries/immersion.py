"""Immersion in water: the whole boiling curve."""

from __future__ import annotations

import dataclasses
import functools
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt
from scipy.constants import g

from heatq.boundaries.boiling import (
    critical_flux_zuber,
    film_boiling_bromley,
    nucleate_flux_rohsenow,
    rewetting_temperature_dhir_purohit,
    rewetting_temperature_henry,
    subcooling_factor_ivey_morris,
)
from heatq.boundaries.forced import nusselt_cylinder_churchill_bernstein
from heatq.boundaries.natural import nusselt_vertical_plate
from heatq.boundaries.timeline import Boundary
from heatq.boundaries.water import SATURATED, liquid_water
from heatq.errors import InputError, check_name, check_number, note_validity

__all__ = ["WaterBath"]

Array = npt.NDArray[np.float64]
_SATURATION = SATURATED.temperature


@dataclasses.dataclass(frozen=True)
class WaterBath(Boundary):
    """Bar immersed in water: convection, nucleate boiling, critical flux, transition and film boiling over Ts.

    Parameters
    ----------
    temperature : float
        Of the water, degC.
    velocity : float
        Of the water across the bar, m/s; 0 is still. About 0.25 is mild, 1 moderate to good agitation.
    rewetting : {"dhir-purohit", "henry"} or float
        Surface temperature at which the vapour film collapses: by formula, or a number in degC.
    emissivity : float
        Of the bar, for radiation through the film.
    surface_constant : float
        C_sf of `nucleate_flux_rohsenow`.
    diameter, length : float, optional
        m; taken from the piece by the solver. For a long bar ``length`` is not needed.

    Notes
    -----
    * Below the critical point: single-phase convection (Churchill & Bernstein across the bar and Churchill & Chu along it,
      cubes added, at the film temperature) plus Rohsenow's nucleate boiling.
    * Critical flux: Zuber (K = pi/24) times Ivey & Morris' subcooling factor. No sourced effect of velocity; none is used.
    * Film: Bromley with radiation, plus h_sp (T_sat - T_w), the heat the liquid takes from the film's surface by
      single-phase convection. That last term is our own estimate (a lower bound: the film lets the liquid slip).
    * Transition: heat flux linear in ln(Ts - Tsat) between the critical point and the collapse of the film. That form
      gives h of 8 to 9 kW/m2K at 300 degC in cold water, near the 9 to 14 published for steel probes (Hasan et al.
      2011, from memory); a straight line in log-log would give 3 to 4.

    The duration of the vapour blanket is uncertain by +-50 % or more: scale, salt and edges break it early. The same
    curve is used on every face. Validity: 5 to 95 degC, one atmosphere.

    Examples
    --------
    >>> bath = WaterBath(temperature=24.0, velocity=0.5, diameter=0.05)
    >>> round(bath.critical_flux / 1e6, 2), round(bath.critical_temperature), round(bath.rewetting_temperature)
    (5.09, 133, 809)
    """

    temperature: float = 25.0
    velocity: float = 0.0
    rewetting: str | float = "dhir-purohit"
    emissivity: float = 0.8
    surface_constant: float = 0.0132
    diameter: float | None = None
    length: float | None = None
    relative_uncertainty: ClassVar[float | None] = 0.5

    def __post_init__(self) -> None:
        """Check the arguments."""
        check_number("temperature", self.temperature, low=0.0, high=99.0, unit="degC", hint="The water must be liquid.")
        check_number("velocity", self.velocity, low=0.0, high=20.0, unit="m/s", hint="Baths move at 0 to 3 m/s.")
        check_number("emissivity", self.emissivity, "emissivity")
        check_number("surface_constant", self.surface_constant, low=0.002, high=0.05, unit="1")
        if self.diameter is not None:
            check_number("diameter", self.diameter, "diameter")
        if self.length is not None:
            check_number("length", self.length, "length")
        if isinstance(self.rewetting, str):
            check_name("rewetting", self.rewetting, ("dhir-purohit", "henry"))
        else:
            check_number("rewetting", self.rewetting, low=150.0, high=1400.0, unit="degC")

    def single_phase_coefficient(self, surface_temperature: Array) -> Array:
        """Heat-transfer coefficient without boiling, W/m2K; the surface counts up to saturation."""
        if self.diameter is None:
            raise InputError(
                "WaterBath needs diameter: give diameter=... in m, or use it through simulate() or trial(), "
                "which take it from the piece."
            )
        surface = np.minimum(np.asarray(surface_temperature, dtype=float), _SATURATION)
        film = liquid_water(0.5 * (surface + self.temperature))
        nu, prandtl = film.kinematic_viscosity, film.prandtl
        height = self.length if self.length is not None else 0.5  # turbulent: h does not depend on the height
        buoyancy = g * np.abs(film.expansion * (surface - self.temperature)) * height**3
        natural = nusselt_vertical_plate(buoyancy / nu**2 * prandtl, prandtl) * film.conductivity / height
        if self.velocity == 0.0:
            return natural
        reynolds = self.velocity * self.diameter / nu
        forced = nusselt_cylinder_churchill_bernstein(reynolds, prandtl) * film.conductivity / self.diameter
        return np.cbrt(natural**3 + forced**3)

    @functools.cached_property
    def critical_flux(self) -> float:
        """Critical heat flux, W/m2."""
        return float(critical_flux_zuber() * subcooling_factor_ivey_morris(_SATURATION - self.temperature))

    @functools.cached_property
    def critical_temperature(self) -> float:
        """Surface temperature at the critical heat flux, degC."""
        low, high = _SATURATION, _SATURATION + 200.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self._wetted(np.array(middle)) < self.critical_flux:
                low = middle
            else:
                high = middle
        return high

    @functools.cached_property
    def rewetting_temperature(self) -> float:
        """Surface temperature at which the vapour film collapses, degC."""
        if not isinstance(self.rewetting, str):
            return float(self.rewetting)
        if self.rewetting == "henry":
            return float(rewetting_temperature_henry(self.temperature))
        return float(rewetting_temperature_dhir_purohit(_SATURATION - self.temperature))

    def _wetted(self, surface: Array) -> Array:
        boiling = nucleate_flux_rohsenow(surface - _SATURATION, self.surface_constant)
        return self.single_phase_coefficient(surface) * (surface - self.temperature) + boiling

    def _film(self, surface: Array) -> Array:
        assert self.diameter is not None  # single_phase_coefficient has checked it
        hot = np.maximum(surface, _SATURATION + 1.0)
        film = film_boiling_bromley(hot, self.diameter, self.emissivity) * (hot - _SATURATION)
        return film + self.single_phase_coefficient(hot) * (_SATURATION - self.temperature)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        note_validity(
            "WaterBath", "water temperature", self.temperature, 5.0, 95.0, "degC", "range of the sources used"
        )
        surface = np.asarray(surface_temperature, dtype=float)
        top, foot = self.critical_temperature, self.rewetting_temperature
        if foot <= top + 1.0:
            raise InputError(
                f"rewetting = {foot:g} degC is below the critical point at {top:g} degC; no film could live there."
            )
        lowest = self._film(np.array(foot))
        share = np.log(np.maximum(surface - _SATURATION, 1.0) / (top - _SATURATION)) / np.log(
            (foot - _SATURATION) / (top - _SATURATION)
        )
        transition = self.critical_flux + (lowest - self.critical_flux) * share
        return np.where(
            surface <= top, self._wetted(surface), np.where(surface < foot, transition, self._film(surface))
        )

    def for_piece(self, specimen: Any, face: str) -> WaterBath:
        """Return a copy with the sizes of the piece."""
        del face
        diameter = 2.0 * specimen.outer_radius if self.diameter is None else self.diameter
        return dataclasses.replace(
            self, diameter=diameter, length=specimen.length if self.length is None else self.length
        )
