"""A quench by its settings, so that one of them can be searched for, and the cautions that go with it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import bar

from heatq.boundaries import (
    CoefficientTable,
    Convection,
    GasAlong,
    GasCrossflow,
    GasJet,
    GrossmannQuench,
    OilBath,
    Radiation,
    Stages,
    StillAir,
    WaterBath,
    WaterJet,
)
from heatq.boundaries.gas import Gas, check_gas, gas_name
from heatq.boundaries.timeline import Boundary, Knots, at, check_boundary, for_piece, over_time, uncertainty_of
from heatq.errors import InputError, check_number
from heatq.inverse.laws import calibrated_factor, check_calibration, correct
from heatq.specimens import EndQuenchBar, check_piece

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "BathQuench",
    "CalibratedFlow",
    "GasQuench",
    "Times",
    "check_quench",
    "coldest",
    "with_factor",
]

Array = npt.NDArray[np.float64]

#: Probability within two standard deviations of a normal distribution; uncertainties of h are stated so.
_TWO_SIGMA = 0.9545


@dataclasses.dataclass(frozen=True)
class Times(Boundary):
    """A boundary whose heat flux is multiplied by a factor.

    Parameters
    ----------
    boundary : boundary
        Anything that keeps the contract.
    factor : float
        Of the heat flux.

    Examples
    --------
    >>> import heatq as hq
    >>> float(Times(hq.Convection(100.0, 20.0), 1.5).heat_flux(np.array(120.0)))
    15000.0
    """

    boundary: Any
    factor: float

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return self.factor * self.boundary.heat_flux(surface_temperature)

    def over_time(self, end_time: float) -> Knots:
        """Knots of the boundary, each times the factor."""
        knots = over_time(self.boundary, end_time)
        if len(knots) == 1 and knots[0][1] is self.boundary:
            return [(0.0, self)]
        return [(time, Times(part, self.factor)) for time, part in knots]

    def at(self, position: float) -> Any:
        """What acts at one place, times the factor."""
        located = at(self.boundary, position)
        return self if located is self.boundary else Times(located, self.factor)

    def for_piece(self, specimen: Any, face: str) -> Any:
        """What knows the piece, times the factor."""
        return Times(for_piece(self.boundary, specimen, face), self.factor)


def _check_flow(flow: Any) -> None:
    """Whether something makes a boundary, and is none itself."""
    if not callable(flow) or callable(getattr(flow, "heat_flux", None)) and not isinstance(flow, type):
        raise InputError(
            f"flow = {flow!r} must make a boundary from gas, velocity, pressure and temperature: the class "
            "GasCrossflow, functools.partial(GasBank, transverse_pitch=..., ...), or a function of yours."
        )


@dataclasses.dataclass(frozen=True)
class CalibratedFlow:
    """Flow of a furnace calibrated by `heatq.calibrate`, for the argument ``flow`` of `GasQuench`.

    Parameters
    ----------
    calibration : Dataset
        Of `heatq.calibrate`.
    flow : callable, optional
        The correlation that the calibration corrects: ``flow(gas, velocity, pressure, temperature)``.

    Notes
    -----
    Its uncertainty at a setting is the spread that `heatq.calibrated_factor` states for the next run there, so that an
    interval widens where the furnace was not run.
    """

    calibration: xr.Dataset
    flow: Callable[..., Any] = GasCrossflow

    def __post_init__(self) -> None:
        """Check both."""
        check_calibration(self.calibration)
        _check_flow(self.flow)

    def __call__(self, gas: Gas, velocity: float, pressure: float, temperature: float) -> Any:
        """Boundary at a setting."""
        stream = self.flow(gas, velocity=velocity, pressure=pressure, temperature=temperature)
        return correct(stream, lambda p, v: calibrated_factor(self.calibration, p, v)[1])

    def uncertainty(self, velocity: float, pressure: float) -> float:
        """Relative uncertainty of h, two standard deviations, as a fraction."""
        low, middle, high = calibrated_factor(self.calibration, pressure, velocity, _TWO_SIGMA)
        return float(0.5 * (high - low) / middle)

    def __repr__(self) -> str:
        """Without the Dataset."""
        return f"CalibratedFlow({getattr(self.flow, '__name__', self.flow)!s})"


@dataclasses.dataclass(frozen=True)
class GasQuench:
    """A gas quench by its settings, so that one of them can be searched for.

    Parameters
    ----------
    gas : str or mapping
        "nitrogen", "argon", "helium", "hydrogen", or mole fractions such as ``{"helium": 0.6, "argon": 0.4}``.
    velocity : float
        Of the gas at the piece, m/s: not at the nozzles, where it is several times as high (of the jet on the end-quench bar it
        is that at the nozzle).
    pressure : float
        Absolute, Pa.
    temperature : float
        Of the gas, degC.
    flow : callable
        ``flow(gas, velocity=, pressure=, temperature=)`` makes the boundary: `heatq.GasCrossflow` (default),
        `heatq.GasAlong`, ``functools.partial(heatq.GasBank, transverse_pitch=..., longitudinal_pitch=...)``, a
        `CalibratedFlow`, or your own function, which may return a `heatq.Ramp` too. On an end-quench bar a `heatq.GasJet` is
        used instead.
    factor : float
        Multiplies h: turbulence, calibration.
    emissivity : float
        Of the piece, for radiation to walls as cold as the gas; 0 for none.
    label : str
        Default made from the settings.
    uncertainty : float, optional
        Of h, relative, two standard deviations; by default what the flow states (0.25 for gas across a bar).

    Notes
    -----
    A bore sees the gas at rest, without radiation, unless the flow is along the piece.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> quench = GasQuench("nitrogen", velocity=20.0, pressure=10 * bar)
    >>> quench.label, quench.replace(pressure=6 * bar).label
    ('nitrogen 10 bar 20 m/s', 'nitrogen 6 bar 20 m/s')
    """

    gas: Gas = "nitrogen"
    velocity: float = 20.0
    pressure: float = bar
    temperature: float = 40.0
    flow: Callable[..., Any] = GasCrossflow
    factor: float = 1.0
    emissivity: float = 0.3
    label: str = ""
    uncertainty: float | None = None

    def __post_init__(self) -> None:
        """Check the settings and make the label."""
        check_gas(self.gas)
        check_number("velocity", self.velocity, "velocity", low_open=True)
        check_number("pressure", self.pressure, "pressure")
        check_number("temperature", self.temperature, "temperature")
        check_number("factor", self.factor, low=0.05, high=20.0, unit="1")
        check_number("emissivity", self.emissivity, "emissivity")
        _check_flow(self.flow)
        if self.uncertainty is not None:
            check_number("uncertainty", self.uncertainty, low=0.0, high=0.95, unit="1", hint="0.25 is +-25 % of h.")
        if not self.label:
            object.__setattr__(self, "label", self._made_label())

    def _made_label(self) -> str:
        times = "" if self.factor == 1.0 else f" h x {self.factor:.3g}"
        return f"{gas_name(self.gas)} {self.pressure / bar:.3g} bar {self.velocity:.3g} m/s{times}"

    @property
    def medium(self) -> str:
        """Kind of medium, for the cautions."""
        return "gas"

    @property
    def relative_uncertainty(self) -> float | None:
        """Of h, two standard deviations; None where nothing states one."""
        if self.uncertainty is not None:
            return self.uncertainty
        stated = getattr(self.flow, "uncertainty", None)
        if callable(stated):
            return float(stated(self.velocity, self.pressure))
        return uncertainty_of(self.stream())

    def stream(self) -> Any:
        """Boundary of the flow alone, without factor and radiation."""
        made = self.flow(self.gas, velocity=self.velocity, pressure=self.pressure, temperature=self.temperature)
        return check_boundary("what flow makes", made)

    def boundaries(self, specimen: Any) -> dict[str, Any]:
        """Boundary of every face of a piece."""
        check_piece(specimen)
        walls = Radiation(self.emissivity, self.temperature)
        still = StillAir(self.temperature, gas=self.gas, pressure=self.pressure)
        if isinstance(specimen, EndQuenchBar):
            jet = GasJet(self.gas, velocity=self.velocity, pressure=self.pressure, temperature=self.temperature)
            return {"jet": self._with(jet), "side": still + walls, "top": still + walls}
        stream = self.stream()
        outside = self._with(stream) + walls if self.emissivity else self._with(stream)
        bore = self._with(stream) if isinstance(stream, GasAlong) else still
        return {face: bore if side == "bore" else outside for face, side in specimen.faces.items()}

    def _with(self, stream: Any) -> Any:
        return stream if self.factor == 1.0 else Times(stream, self.factor)

    def replace(self, **changes: Any) -> GasQuench:
        """Return a copy with some settings changed; a label made from the settings is made anew."""
        known = [field.name for field in dataclasses.fields(self)]
        for name in changes:
            if name not in known:
                raise InputError(f"a gas quench has no setting {name!r}. Known: {', '.join(known)}.")
        if self.label == self._made_label():
            changes = {"label": "", **changes}
        return dataclasses.replace(self, **changes)


@dataclasses.dataclass(frozen=True)
class BathQuench:
    """A quench in oil, water, or anything whose boundary is known.

    Parameters
    ----------
    bath : boundary or dict
        `heatq.OilBath`, `heatq.WaterBath`, `heatq.CoefficientTable`, ..., for all faces; or a dict face -> boundary. On an
        end-quench bar one boundary is that of the quenched end (side and top: still air and radiation).
    label : str
        Default made from class and settings.
    transfer : float
        Seconds in still air before the bath.
    duration : float, optional
        Seconds in the bath, then still air; default to the end (martempering baths are left before they are cold).
    air_temperature, emissivity : float
        Of the air in transfer and after (degC), and of the piece in it.
    uncertainty : float, optional
        Of h, relative, two standard deviations; by default what the boundary states (0.4 for the oils).

    Examples
    --------
    >>> import heatq as hq
    >>> BathQuench(hq.OilBath("fast")).label, BathQuench(hq.WaterBath(25.0, 1.0)).medium
    ('fast oil 60 degC moderate', 'water')
    """

    bath: Any
    label: str = ""
    transfer: float = 0.0
    duration: float | None = None
    air_temperature: float = 25.0
    emissivity: float = 0.8
    uncertainty: float | None = None

    def __post_init__(self) -> None:
        """Check the bath and make the label."""
        if isinstance(self.bath, Mapping):
            for face, boundary in self.bath.items():
                check_boundary(f"bath of face {face!r}", boundary)
        else:
            check_boundary("bath", self.bath)
        check_number("transfer", self.transfer, "duration")
        if self.duration is not None:
            check_number("duration", self.duration, "duration", low_open=True)
        check_number("air_temperature", self.air_temperature, "temperature")
        check_number("emissivity", self.emissivity, "emissivity")
        if self.uncertainty is not None:
            check_number("uncertainty", self.uncertainty, low=0.0, high=0.95, unit="1", hint="0.25 is +-25 % of h.")
        if not self.label:
            stays = "" if self.duration is None else f" {self.duration:g} s"
            object.__setattr__(self, "label", _bath_label(self.bath) + stays)

    @property
    def medium(self) -> str:
        """Kind of medium, for the cautions: oil, water, or table for anything else."""
        if _holds(self.bath, (OilBath,)):
            return "oil"
        return "water" if _holds(self.bath, (WaterBath, WaterJet)) else "table"

    @property
    def relative_uncertainty(self) -> float | None:
        """Of h, two standard deviations; None where nothing states one."""
        return uncertainty_of(self.bath) if self.uncertainty is None else self.uncertainty

    def boundaries(self, specimen: Any) -> dict[str, Any]:
        """Boundary of every face of a piece."""
        check_piece(specimen)
        air = StillAir(self.air_temperature) + Radiation(self.emissivity, self.air_temperature)
        if isinstance(self.bath, Mapping):
            bath = dict(self.bath)
        elif isinstance(specimen, EndQuenchBar):
            bath = {"jet": self.bath, "side": air, "top": air}
        else:
            bath = dict.fromkeys(specimen.faces, self.bath)
        return {face: self._staged(boundary, air) for face, boundary in bath.items()}

    def _staged(self, boundary: Any, air: Any) -> Any:
        stages = [(self.transfer, air)] if self.transfer else []
        if self.duration is not None:
            return Stages(*stages, (self.duration, boundary), (None, air))
        return Stages(*stages, (None, boundary)) if stages else boundary

    def replace(self, **changes: Any) -> BathQuench:
        """Return a copy with some settings changed; give a new label with them where it should tell."""
        return dataclasses.replace(self, **changes)


def _holds(boundary: Any, classes: tuple[type, ...]) -> bool:
    """Whether a boundary is, or holds in a sum, stages or dict, one of some classes."""
    if isinstance(boundary, Mapping):
        return any(_holds(part, classes) for part in boundary.values())
    parts = [*getattr(boundary, "parts", ()), *(part for _, part in getattr(boundary, "stages", ()))]
    parts += [getattr(boundary, name) for name in ("boundary", "stream") if hasattr(boundary, name)]
    return isinstance(boundary, classes) or any(_holds(part, classes) for part in parts)


def _bath_label(bath: Any) -> str:
    if isinstance(bath, OilBath):
        return f"{bath.kind} oil {bath.temperature:g} degC {bath.agitation}"
    if isinstance(bath, WaterBath):
        return f"water {bath.temperature:g} degC {bath.velocity:g} m/s"
    if isinstance(bath, WaterJet):
        return f"water jet {bath.temperature:g} degC"
    if isinstance(bath, GrossmannQuench):
        return f"H = {bath.severity:g} per inch {bath.fluid_temperature:g} degC"
    if isinstance(bath, Convection):
        return f"h = {bath.coefficient:g} W/m2K {bath.fluid_temperature:g} degC"
    if isinstance(bath, CoefficientTable):
        return f"measured h {bath.fluid_temperature:g} degC"
    return "different on each face" if isinstance(bath, Mapping) else type(bath).__name__


def with_factor(quench: Any, factor: float) -> Any:
    """Copy of a quench whose coefficient is multiplied by a factor (of a bath: the heat flux of all its faces).

    Parameters
    ----------
    quench : GasQuench or BathQuench
        The quench.
    factor : float
        Of h.
    """
    if hasattr(quench, "factor"):
        return quench.replace(factor=quench.factor * factor)
    bath = quench.bath
    scaled = (
        {face: Times(part, factor) for face, part in bath.items()} if isinstance(bath, Mapping) else Times(bath, factor)
    )
    return quench.replace(bath=scaled)


def coldest(quench: Any) -> float:
    """Temperature (degC) that a piece tends to in a quench; room temperature where the boundary does not tell.

    Parameters
    ----------
    quench : GasQuench, BathQuench or alike
        The quench.
    """
    if getattr(quench, "duration", None) is not None:
        return float(quench.air_temperature)
    bath = getattr(quench, "bath", quench)
    for name in ("temperature", "fluid_temperature"):
        value = getattr(bath, name, None)
        if isinstance(value, int | float):
            return float(value)
    return 20.0


def check_quench(quench: Any, argument: str = "quench") -> Any:
    """Return a quench if it is one: anything with ``boundaries(specimen)`` and ``label``.

    Parameters
    ----------
    quench : GasQuench, BathQuench or alike
        What was given.
    argument : str
        Its name, for the message.
    """
    if isinstance(quench, type) or not callable(getattr(quench, "boundaries", None)):
        raise InputError(
            f"{argument} = {quench!r} is no quench: write GasQuench('nitrogen', velocity=20.0, pressure=10 * bar) or "
            "BathQuench(OilBath())."
        )
    return quench
