"""The water jet of the end-quench test, limited by the critical heat flux."""

from __future__ import annotations

import dataclasses
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy.constants import g, milli

from heatq.boundaries.boiling import critical_flux_zuber, subcooling_factor_ivey_morris
from heatq.boundaries.jets import nusselt_liquid_jet_laminar
from heatq.boundaries.timeline import Boundary
from heatq.boundaries.water import SATURATED, liquid_water
from heatq.errors import InputError, check_number, note_validity

__all__ = ["WaterJet"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class WaterJet(Boundary):
    """Free water jet on the end of the bar: a heat-flux plateau, then pinned near saturation, then single-phase.

    Parameters
    ----------
    temperature : float
        Of the water, degC.
    orifice_diameter : float
        m; 12.7 mm (1/2 in, ASTM A255).
    free_height : float
        Height of the jet without the bar, m; 63.5 mm (2.5 in, ASTM A255).
    standoff : float
        Orifice to bar, m; 12.7 mm (1/2 in, ASTM A255).
    nucleate_coefficient : float
        Slope of the boiling branch, W/m2K; 1e5.

    Notes
    -----
    q = min(q_CHF, h_sp (Ts - T_w) + h_nb max(0, Ts - T_sat)).

    q_CHF: pool boiling limit of saturated water (Zuber 1959, K = pi/24) times the subcooling factor of Ivey & Morris
    (1962); it depends on the water temperature alone: 5.1 MW/m2 at 24 degC. Other subcooling corrections give 4.86 to
    5.50. That a pool formula should hold for this jet is not proven: it reproduces the published cooling rates of the
    end-quench bar to about 5 % rms with nothing fitted at the face, while the best constant h misses them by 17 %; in
    the stagnation zone of strongly subcooled jets the flux beyond the critical point is known to stay on a shoulder
    of a few MW/m2 instead of collapsing (Robidou et al. 2002; Gradeck et al. 2011; from memory).
    `relative_uncertainty` is 10 %.

    h_nb: nucleate boiling is so steep that its value hardly matters; 1e5 W/m2K puts the face at 150 degC at the
    plateau.

    h_sp: stagnation zone of a laminar free liquid jet (Liu, Lienhard & Lombara 1991), with speed and diameter where
    the jet meets the bar, at the water's temperature: 7.5 kW/m2K for the standard jet at 24 degC. The turbulent form
    (Gabour & Lienhard 1994) gives a third more. It holds out to 0.79 jet diameters, so nearly over the whole end of a
    1 in bar.

    Validity: water of 5 to 60 degC; one atmosphere. Below 5 degC and above 60 it computes and says so; above 95 degC
    a vapour film is certain and it refuses.

    Examples
    --------
    >>> float(WaterJet(temperature=24.0).heat_flux(np.array(800.0))) / 1e6
    5.10
    """

    temperature: float = 24.0
    orifice_diameter: float = 12.7 * milli
    free_height: float = 63.5 * milli
    standoff: float = 12.7 * milli
    nucleate_coefficient: float = 1e5
    relative_uncertainty: ClassVar[float | None] = 0.10

    def __post_init__(self) -> None:
        """Check the arguments."""
        hint = (
            "The end-quench standard asks for 5 to 30 degC (40 to 85 degF); for Fahrenheit write heatq.units.degF(75)."
        )
        check_number("temperature", self.temperature, low=0.0, high=95.0, unit="degC", hint=hint)
        check_number("orifice_diameter", self.orifice_diameter, "diameter")
        check_number("free_height", self.free_height, "length")
        check_number("standoff", self.standoff, low=0.0, high=1.0, unit="m")
        check_number("nucleate_coefficient", self.nucleate_coefficient, "coefficient", low_open=True)
        if self.standoff >= self.free_height:
            raise InputError(
                f"standoff = {self.standoff:g} m: a jet of free height {self.free_height:g} m does not reach the bar."
            )

    @property
    def plateau(self) -> float:
        """Critical heat flux of the water, W/m2."""
        factor = subcooling_factor_ivey_morris(SATURATED.temperature - self.temperature)
        return float(critical_flux_zuber() * factor)

    @property
    def impact_velocity(self) -> float:
        """Speed of the jet at the bar, m/s, from its free height."""
        return float(np.sqrt(2.0 * g * (self.free_height - self.standoff)))

    @property
    def impact_diameter(self) -> float:
        """Diameter of the jet at the bar, m: it widens as it slows down."""
        return float(self.orifice_diameter * (self.free_height / (self.free_height - self.standoff)) ** 0.25)

    @property
    def single_phase_coefficient(self) -> float:
        """Heat-transfer coefficient without boiling, W/m2K."""
        water = liquid_water(self.temperature)
        reynolds = self.impact_velocity * self.impact_diameter / water.kinematic_viscosity
        return float(nusselt_liquid_jet_laminar(reynolds, water.prandtl) * water.conductivity / self.impact_diameter)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        note_validity("WaterJet", "water temperature", self.temperature, 5.0, 60.0, "degC", "range of the sources used")
        surface = np.asarray(surface_temperature, dtype=float)
        boiling = self.nucleate_coefficient * np.maximum(surface - SATURATED.temperature, 0.0)
        return np.minimum(self.plateau, self.single_phase_coefficient * (surface - self.temperature) + boiling)
