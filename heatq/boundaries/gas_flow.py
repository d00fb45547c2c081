"""Gas quenches: a jet on an end face, flow across and along the bar."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from heatq.boundaries import forced, jets
from heatq.boundaries.gas import Gas, GasProperties, check_gas, gas_properties
from heatq.boundaries.ramps import Ramp
from heatq.boundaries.timeline import Boundary
from heatq.errors import InputError, check_name, check_number

__all__ = ["GasAlong", "GasCrossflow", "GasFlow", "GasJet", "Scaled"]

Array = npt.NDArray[np.float64]

#: Nozzle and stand-off of the end-quench test, 1/2 in (ASTM A255).
_HALF_INCH = 12.7e-3


def check_optional(argument: str, value: float | None) -> None:
    """Check a length that may be left out."""
    if value is not None:
        check_number(argument, value, "diameter" if "diameter" in argument else "length")


def need(value: float | None, argument: str, owner: str) -> float:
    """Return a length that the solver normally fills in, or say how to give it."""
    if value is None:
        raise InputError(
            f"{owner} needs {argument}: give {argument}=... in m, or use it through simulate() or trial(), "
            "which take it from the piece."
        )
    return value


def side_of(specimen: Any, face: str) -> str:
    """Return which side of the section a face is: bottom, top, outer or bore."""
    return specimen.faces[check_name("face", face, specimen.faces, what=f"face of {type(specimen).__name__}")]


def end_diameter(specimen: Any) -> float:
    """Outer diameter of the piece, m."""
    return 2.0 * specimen.outer_radius


@dataclasses.dataclass(frozen=True)
class GasFlow(Boundary):
    """What the gas streams share: q = h (Ts - T_gas), h from a Nusselt number."""

    gas: Gas
    velocity: float
    pressure: float
    temperature: float

    def check_stream(self) -> None:
        """Check gas, velocity, pressure and temperature."""
        check_gas(self.gas)
        check_number("velocity", self.velocity, "velocity", low_open=True)
        check_number("pressure", self.pressure, "pressure")
        check_number("temperature", self.temperature, "temperature")

    def film(self, surface: Array) -> GasProperties:
        """Properties at the film temperature."""
        return gas_properties(self.gas, 0.5 * (surface + self.temperature), self.pressure)

    def stream(self) -> GasProperties:
        """Properties at the temperature of the gas."""
        return gas_properties(self.gas, self.temperature, self.pressure)

    def coefficient(self, surface_temperature: Array) -> Array:
        """Heat-transfer coefficient, W/m2K, at surface temperatures in degC."""
        raise NotImplementedError

    def with_temperature(self, times: Any, temperatures: Any) -> Ramp:
        """Return the stream with a gas that warms up: temperatures (degC) at rising times (s, first 0)."""
        return Ramp(self, times, temperature=temperatures)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        surface = np.asarray(surface_temperature, dtype=float)
        return self.coefficient(surface) * (surface - self.temperature)


_JETS = ("combined", "huang", "lytle-webb", "goldstein", "stagnation", "martin")


@dataclasses.dataclass(frozen=True)
class GasJet(GasFlow):
    """Round gas jet on a flat end of the piece; area-mean coefficient over the face.

    Parameters
    ----------
    gas : str or mapping
        As in `heatq.boundaries.gas.gas_properties`.
    velocity : float
        At the nozzle exit, m/s.
    pressure : float
        Absolute pressure of the chamber, Pa.
    temperature : float
        Of the gas, degC.
    nozzle_diameter, standoff : float
        Bore of the nozzle and its distance from the face, m; 1/2 in each by default, as in the end-quench test.
    face_diameter : float, optional
        Of the face, m; taken from the piece by the solver.
    correlation : str
        "combined" (default: Lytle & Webb at low Re, Huang & El-Genk at high, smoothly joined), "huang", "lytle-webb",
        "goldstein", "stagnation" (laminar, a lower bound) or "martin" (refused close to the nozzle).
    profile : bool
        False: the mean over the face everywhere. True: h falls with the radius (`nusselt_jet_huang_local`, whatever the
        correlation, scaled to its mean); needs a 2-D piece.

    Notes
    -----
    Properties at the film temperature, Re = V D/nu. The published formulas spread by +-35 % at this geometry
    (`relative_uncertainty`); none covers Re above 1.3e5 at one diameter stand-off. Density changes along the jet and
    the recovery temperature (5 K for nitrogen at 100 m/s) are neglected.

    Examples
    --------
    Nitrogen at 60 m/s on the end of a 1 in bar at 700 degC:

    >>> from scipy.constants import bar
    >>> jet = GasJet("nitrogen", velocity=60.0, pressure=1 * bar, temperature=25.0, face_diameter=0.0254)
    >>> float(jet.coefficient(np.array(700.0)))
    347.3
    """

    nozzle_diameter: float = _HALF_INCH
    standoff: float = _HALF_INCH
    face_diameter: float | None = None
    correlation: str = "combined"
    profile: bool = False
    relative_uncertainty: ClassVar[float | None] = 0.35

    def __post_init__(self) -> None:
        """Check the arguments."""
        self.check_stream()
        check_number("nozzle_diameter", self.nozzle_diameter, "diameter")
        check_number("standoff", self.standoff, "length")
        check_optional("face_diameter", self.face_diameter)
        check_name("correlation", self.correlation, _JETS)
        if self.correlation == "martin" and self.face_diameter is not None:
            self._nusselt(np.array(1e4), np.array(0.7))  # refuses here rather than in the middle of a run

    def _nusselt(self, reynolds: Array, prandtl: Array) -> Array:
        face = need(self.face_diameter, "face_diameter", "GasJet")
        ratio, height = 0.5 * face / self.nozzle_diameter, self.standoff / self.nozzle_diameter
        if self.correlation == "stagnation":
            return jets.nusselt_jet_stagnation(reynolds, prandtl)
        if self.correlation in ("lytle-webb", "goldstein"):
            without: Callable[..., Array] = (
                jets.nusselt_jet_lytle_webb if self.correlation == "lytle-webb" else jets.nusselt_jet_goldstein
            )
            return without(reynolds, ratio, height)
        formulas: dict[str, Callable[..., Array]] = {
            "combined": jets.nusselt_jet_combined,
            "huang": jets.nusselt_jet_huang,
            "martin": jets.nusselt_jet_martin,
        }
        return formulas[self.correlation](reynolds, prandtl, ratio, height)

    def coefficient(self, surface_temperature: Array) -> Array:
        """Mean heat-transfer coefficient over the face, W/m2K."""
        film = self.film(np.asarray(surface_temperature, dtype=float))
        reynolds = self.velocity * self.nozzle_diameter / film.kinematic_viscosity
        return self._nusselt(reynolds, film.prandtl) * film.conductivity / self.nozzle_diameter

    def at(self, position: float) -> Any:
        """Return the jet at a radius of the face; itself unless ``profile``."""
        if not self.profile:
            return self
        face = need(self.face_diameter, "face_diameter", "GasJet")
        height = max(self.standoff / self.nozzle_diameter, 1.0)
        local = jets.nusselt_jet_huang_local(2e4, 0.71, position / self.nozzle_diameter, height)
        mean = jets.nusselt_jet_huang(2e4, 0.71, 0.5 * face / self.nozzle_diameter, height)
        return Scaled(dataclasses.replace(self, profile=False), float(local / mean))

    def for_piece(self, specimen: Any, face: str) -> GasJet:
        """Return a copy with the diameter of the face."""
        if side_of(specimen, face) not in ("bottom", "top"):
            raise InputError(
                f"GasJet is a jet on a flat end; face {face!r} is not one. Use GasCrossflow or GasAlong there."
            )
        return (
            self if self.face_diameter is not None else dataclasses.replace(self, face_diameter=end_diameter(specimen))
        )


@dataclasses.dataclass(frozen=True)
class Scaled(Boundary):
    """A boundary times a factor.

    Parameters
    ----------
    boundary : boundary
        What is scaled.
    factor : float
        Of the heat flux.
    """

    boundary: Any
    factor: float

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return self.factor * self.boundary.heat_flux(surface_temperature)


@dataclasses.dataclass(frozen=True)
class GasCrossflow(GasFlow):
    """Gas that flows across a round bar.

    Parameters
    ----------
    gas, velocity, pressure, temperature
        Stream upstream of the bar: name or mole fractions, m/s, Pa (absolute), degC.
    diameter : float, optional
        Of the bar, m; taken from the piece by the solver.
    turbulence_factor : float
        Multiplies h. Free-stream turbulence of 5 to 20 %, as in real chambers, is said to raise the mean h by 15 to
        60 % (from memory, not verified); 1 by default, no correction.
    correlation : str
        "churchill-bernstein" (default, film temperature), "zukauskas" (gas temperature) or "hilpert" (film
        temperature).

    Notes
    -----
    On an end face of the piece the same stream runs along the flat end: there the solver uses `GasAlong` over the
    diameter. The mean around the circumference is used; front, side and rear differ by a factor of about 2. Mach
    numbers stay below 0.3 (nitrogen at 100 m/s), compressibility of the flow is neglected.

    Examples
    --------
    Nitrogen, 10 bar, 20 m/s across a 25 mm bar at 600 degC, gas at 60 degC; from CoolProp's properties 372 W/m2K:

    >>> from scipy.constants import bar
    >>> flow = GasCrossflow("nitrogen", velocity=20.0, pressure=10 * bar, temperature=60.0, diameter=0.025)
    >>> float(flow.coefficient(np.array(600.0)))
    372.1
    """

    diameter: float | None = None
    turbulence_factor: float = 1.0
    correlation: str = "churchill-bernstein"
    relative_uncertainty: ClassVar[float | None] = 0.25

    def __post_init__(self) -> None:
        """Check the arguments."""
        self.check_stream()
        check_optional("diameter", self.diameter)
        check_number("turbulence_factor", self.turbulence_factor, low=0.2, high=5.0, unit="1")
        check_name("correlation", self.correlation, ("churchill-bernstein", "zukauskas", "hilpert"))

    @property
    def is_smooth(self) -> bool:
        """Whether h has no kink over the surface temperature, so that few samples of it are enough."""
        return type(self) is GasCrossflow and self.correlation == "churchill-bernstein"

    def coefficient(self, surface_temperature: Array) -> Array:
        """Mean heat-transfer coefficient around the bar, W/m2K."""
        diameter = need(self.diameter, "diameter", "GasCrossflow")
        surface = np.asarray(surface_temperature, dtype=float)
        if self.correlation == "zukauskas":
            gas, wall = self.stream(), gas_properties(self.gas, surface, self.pressure)
            reynolds = self.velocity * diameter / gas.kinematic_viscosity
            nusselt = forced.nusselt_cylinder_zukauskas(reynolds, gas.prandtl, wall.prandtl)
        else:
            gas = self.film(surface)
            reynolds = self.velocity * diameter / gas.kinematic_viscosity
            formula = (
                forced.nusselt_cylinder_hilpert
                if self.correlation == "hilpert"
                else forced.nusselt_cylinder_churchill_bernstein
            )
            nusselt = formula(reynolds, gas.prandtl)
        return self.turbulence_factor * nusselt * gas.conductivity / diameter

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Return a copy with the diameter of the piece; on an end face, flow along it."""
        side = side_of(specimen, face)
        if side == "bore":
            raise InputError(f"GasCrossflow flows across the outside of a bar; on face {face!r} (a bore) use GasAlong.")
        if side in ("bottom", "top"):
            stream = (self.gas, self.velocity, self.pressure, self.temperature)
            return GasAlong(*stream, length=end_diameter(specimen), turbulence_factor=self.turbulence_factor)
        return self if self.diameter is not None else dataclasses.replace(self, diameter=end_diameter(specimen))


@dataclasses.dataclass(frozen=True)
class GasAlong(GasFlow):
    """Gas that flows along a bar, or over a flat end.

    Parameters
    ----------
    gas, velocity, pressure, temperature
        Stream: name or mole fractions, m/s, Pa (absolute), degC.
    length : float, optional
        In flow direction, m; by default the length of the piece on side and bore, its diameter on the ends.
    turbulence_factor : float
        Multiplies h; 1 by default.
    correlation : str
        "blended" (default), "laminar", "turbulent" (from the leading edge) or "mixed" (turbulent behind Re 5e5).

    Notes
    -----
    Mean over the length, flat-plate formulas at the film temperature. In a narrow bore the flow fills the channel
    after some ten diameters and the plate formula is then too low.

    Examples
    --------
    Nitrogen, 10 bar, 20 m/s along a bar of 0.1 m at 600 degC, gas at 60 degC (mixed formula, CoolProp's properties:
    163):

    >>> from scipy.constants import bar
    >>> flow = GasAlong("nitrogen", 20.0, 10 * bar, 60.0, length=0.1, correlation="mixed")
    >>> float(flow.coefficient(np.array(600.0)))
    163.5
    """

    length: float | None = None
    turbulence_factor: float = 1.0
    correlation: str = "blended"
    relative_uncertainty: ClassVar[float | None] = 0.25

    def __post_init__(self) -> None:
        """Check the arguments."""
        self.check_stream()
        check_optional("length", self.length)
        check_number("turbulence_factor", self.turbulence_factor, low=0.2, high=5.0, unit="1")
        check_name("correlation", self.correlation, ("blended", "laminar", "turbulent", "mixed"))

    def coefficient(self, surface_temperature: Array) -> Array:
        """Mean heat-transfer coefficient over the length, W/m2K."""
        length = need(self.length, "length", "GasAlong")
        film = self.film(np.asarray(surface_temperature, dtype=float))
        formula = {
            "blended": forced.nusselt_plate_blended,
            "laminar": forced.nusselt_plate_laminar,
            "turbulent": forced.nusselt_plate_turbulent,
            "mixed": forced.nusselt_plate_mixed,
        }[self.correlation]
        nusselt = formula(self.velocity * length / film.kinematic_viscosity, film.prandtl)
        return self.turbulence_factor * nusselt * film.conductivity / length

    def for_piece(self, specimen: Any, face: str) -> GasAlong:
        """Return a copy with the length of the piece in flow direction."""
        if self.length is not None:
            return self
        length = end_diameter(specimen) if side_of(specimen, face) in ("bottom", "top") else specimen.length
        if length is None:
            raise InputError(
                "GasAlong on a long bar (length=None) needs its own length=, the distance the gas runs along it."
            )
        return dataclasses.replace(self, length=length)
