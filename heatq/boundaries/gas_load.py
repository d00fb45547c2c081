"""Gas through a load: bars in a regular bank, pieces in a basket."""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from heatq.boundaries import forced
from heatq.boundaries.gas import gas_properties
from heatq.boundaries.gas_flow import GasAlong, GasFlow, check_optional, end_diameter, need, side_of
from heatq.errors import InputError, check_number

__all__ = ["GasBank", "GasBasket"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class GasBank(GasFlow):
    """Gas through a regular bank of bars, flow across them (Zukauskas).

    Parameters
    ----------
    gas, velocity, pressure, temperature
        Stream in front of the bank: name or mole fractions, m/s, Pa (absolute), degC.
    transverse_pitch, longitudinal_pitch : float
        Distance of neighbouring axes across and along the flow, m.
    rows : int
        Rows in flow direction; below 20 a factor applies.
    staggered : bool
        Every second row shifted by half a pitch.
    diameter : float, optional
        Of the bars, m; taken from the piece by the solver.

    Notes
    -----
    Mean over the bank, properties at the gas temperature; the velocity in the narrowest gap follows from the pitches.
    The gas warms up from row to row: give the temperature it has where the bar hangs.
    """

    transverse_pitch: float = 0.0
    longitudinal_pitch: float = 0.0
    rows: int = 20
    staggered: bool = True
    diameter: float | None = None
    relative_uncertainty: ClassVar[float | None] = 0.25

    def __post_init__(self) -> None:
        """Check the arguments."""
        self.check_stream()
        check_number("transverse_pitch", self.transverse_pitch, "diameter")
        check_number("longitudinal_pitch", self.longitudinal_pitch, "diameter")
        check_optional("diameter", self.diameter)
        if self.diameter is not None:
            self._maximum_velocity(self.diameter)

    def _maximum_velocity(self, diameter: float) -> float:
        return forced.bank_maximum_velocity(
            self.velocity, diameter, self.transverse_pitch, self.longitudinal_pitch, self.staggered
        )

    def coefficient(self, surface_temperature: Array) -> Array:
        """Mean heat-transfer coefficient of the bank, W/m2K."""
        diameter = need(self.diameter, "diameter", "GasBank")
        gas = self.stream()
        wall = gas_properties(self.gas, np.asarray(surface_temperature, dtype=float), self.pressure)
        nusselt = forced.nusselt_bank_zukauskas(
            self._maximum_velocity(diameter) * diameter / gas.kinematic_viscosity,
            gas.prandtl,
            wall.prandtl,
            rows=self.rows,
            staggered=self.staggered,
            pitch_ratio=self.transverse_pitch / self.longitudinal_pitch,
        )
        return nusselt * gas.conductivity / diameter

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Return a copy with the diameter of the piece; on an end face, flow along it at the gap velocity."""
        diameter = end_diameter(specimen)
        if side_of(specimen, face) == "outer":
            return self if self.diameter is not None else dataclasses.replace(self, diameter=diameter)
        return GasAlong(self.gas, self._maximum_velocity(diameter), self.pressure, self.temperature, length=diameter)


@dataclasses.dataclass(frozen=True)
class GasBasket(GasFlow):
    """Gas through a basket of loose pieces (packed bed, Gnielinski).

    Parameters
    ----------
    gas, velocity, pressure, temperature
        Name or mole fractions; superficial velocity (as if the basket were empty), m/s; Pa (absolute); degC.
    void_fraction : float
        Share of the basket's volume that is gas.
    shape_factor : float
        1.6 for short cylinders (0.24 < length/diameter < 1.2), the default; 1 + 1.5 (1 - void fraction) for spheres.
    diameter : float, optional
        Of a sphere with the surface of one piece, m; taken from the piece by the solver.

    Notes
    -----
    The same mean h on every face. Properties at the gas temperature.
    """

    void_fraction: float = 0.4
    shape_factor: float = 1.6
    diameter: float | None = None
    relative_uncertainty: ClassVar[float | None] = 0.25

    def __post_init__(self) -> None:
        """Check the arguments."""
        self.check_stream()
        check_number("void_fraction", self.void_fraction, low=0.05, high=0.95, unit="1")
        check_number("shape_factor", self.shape_factor, low=1.0, high=3.0, unit="1")
        check_optional("diameter", self.diameter)

    def coefficient(self, surface_temperature: Array) -> Array:
        """Mean heat-transfer coefficient of the pieces, W/m2K."""
        diameter = need(self.diameter, "diameter", "GasBasket")
        gas = self.stream()
        reynolds = self.velocity * diameter / (gas.kinematic_viscosity * self.void_fraction)
        nusselt = forced.nusselt_packed_bed_gnielinski(reynolds, gas.prandtl, self.void_fraction, self.shape_factor)
        return np.full_like(np.asarray(surface_temperature, dtype=float), float(nusselt * gas.conductivity / diameter))

    def for_piece(self, specimen: Any, face: str) -> GasBasket:
        """Return a copy with the diameter of the sphere that has the piece's outer surface."""
        side_of(specimen, face)
        if self.diameter is not None:
            return self
        if specimen.length is None:
            raise InputError("GasBasket needs a piece of finite length, or its own diameter=.")
        radius = specimen.outer_radius
        surface = 2.0 * np.pi * radius * (radius + specimen.length)
        return dataclasses.replace(self, diameter=float(np.sqrt(surface / np.pi)))
