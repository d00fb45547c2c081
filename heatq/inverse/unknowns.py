"""What is to be found: a curve over temperature or time, and the boundary that its coefficients stand for."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries import CoefficientTable, Convection, HeatFlux
from heatq.boundaries.timeline import Boundary
from heatq.errors import InputError
from heatq.inverse.estimate import SmoothCurve
from heatq.inverse.readings import Record

__all__ = ["FORMS", "Unknown", "choose_unknown"]

Array = npt.NDArray[np.float64]

#: What may be unknown.
FORMS = ("coefficient over temperature", "coefficient over time", "flux over time")
#: Readings this far beyond the fluid's temperature (K) are more than noise and calibration.
OVERSHOOT = 10.0
#: Spacing of the nodes over surface temperature, K. A boiling peak is 50 to 150 K wide.
NODE_SPACING = 30.0
#: Nodes over time.
TIME_NODES = 30


@dataclasses.dataclass(frozen=True)
class Course(Boundary):
    """Boundaries at given times, the flux linear between them: a `Ramp` without its checks, for many runs.

    Parameters
    ----------
    knots : list of (float, boundary)
        Times (s, first 0) and what acts then.
    """

    knots: list[tuple[float, Any]]

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux at time 0, W/m2."""
        return self.knots[0][1].heat_flux(surface_temperature)

    def over_time(self, end_time: float) -> list[tuple[float, Any]]:
        """Knots, as the solver asks for them."""
        return self.knots


@dataclasses.dataclass(frozen=True)
class Unknown:
    """A curve and how to turn it into a boundary.

    Parameters
    ----------
    form : str
        One of `FORMS`.
    curve : SmoothCurve
        Of the logarithm of a coefficient, or of a flux over ``scale``.
    fluid_temperature : float or None
        degC.
    scale : float
        Unit of a flux, W/m2.
    """

    form: str
    curve: SmoothCurve
    fluid_temperature: float | None = None
    scale: float = 1.0

    @property
    def is_flux(self) -> bool:
        """Whether the curve is a flux; otherwise the logarithm of a coefficient."""
        return self.form == "flux over time"

    def points(self, count: int) -> Array:
        """Places along the curve, closer where the nodes are."""
        last = len(self.curve.nodes) - 1
        return np.interp(np.linspace(0, last, count), np.arange(last + 1), self.curve.nodes)

    def value(self, where: Array, coefficients: Array) -> Array:
        """Coefficient (W/m2K) or flux (W/m2) at temperatures or times."""
        middle = self.curve.basis(where) @ coefficients[: self.curve.count]
        return self.scale * middle if self.is_flux else np.exp(np.clip(middle, -5.0, 14.0))

    def boundary(self, coefficients: Array) -> Any:
        """Boundary for a face."""
        if self.form == "coefficient over temperature":
            assert self.fluid_temperature is not None
            table = self.points(4 * len(self.curve.nodes))
            return CoefficientTable(table.tolist(), self.value(table, coefficients).tolist(), self.fluid_temperature)
        clock = np.unique(np.concatenate([[0.0], self.points(2 * len(self.curve.nodes) - 1)]))
        values = self.value(clock, coefficients)
        if self.is_flux:
            return Course([(float(t), HeatFlux(float(q))) for t, q in zip(clock, values, strict=True)])
        fluid = self.fluid_temperature
        assert fluid is not None
        return Course([(float(t), Convection(float(h), fluid)) for t, h in zip(clock, values, strict=True)])


def choose_unknown(
    form: str,
    record: Record,
    start: float,
    fluid_temperature: float | None,
    nodes: Any,
    specimen: Any,
    steel: Any,
    time_nodes: int = TIME_NODES,
) -> Unknown:
    """Nodes of the unknown, as given or by default."""
    scale = flux_scale(record, start, specimen, steel) if form == "flux over time" else 1.0
    if nodes is not None:
        chosen = np.asarray(nodes, dtype=float)
        if chosen.ndim != 1 or chosen.size < 3 or not (np.diff(chosen) > 0).all():
            raise InputError(
                "nodes must be at least three rising numbers: surface temperatures in degC, or times in s."
            )
        return Unknown(form, SmoothCurve(chosen), fluid_temperature, scale)
    if form == "coefficient over temperature":
        assert fluid_temperature is not None
        lowest, highest = float(np.nanmin(record.values)), float(np.nanmax(record.values))
        cooling = start > fluid_temperature
        beyond = lowest if cooling else max(highest, start + (start - lowest))  # a heated piece must not cool either
        if (fluid_temperature - beyond if cooling else beyond - fluid_temperature) > OVERSHOOT:
            raise InputError(
                f"the readings reach from {lowest:g} to {highest:g} degC, which no coefficient can do from {start:g} degC towards "
                f"fluid_temperature = {fluid_temperature:g} degC. Check both temperatures, and the channels."
            )
        if cooling:
            edge, other = fluid_temperature + 0.5 * (lowest - fluid_temperature), start
        else:
            edge, other = start, fluid_temperature - 0.5 * (fluid_temperature - highest)
        edge, other = min(edge, other - 1.0), max(other, edge + 1.0)
        count = max(6, int(np.ceil((other - edge) / NODE_SPACING)) + 1)
        return Unknown(form, SmoothCurve(np.linspace(edge, other, count)), fluid_temperature)
    end = float(record.times[-1])
    early = max(end / 100.0, float(record.times[0]))
    chosen = early * np.expm1(np.linspace(0.0, np.log1p(end / early), time_nodes))
    chosen[-1] = end
    return Unknown(form, SmoothCurve(chosen), fluid_temperature, scale)


def flux_scale(record: Record, start: float, specimen: Any, steel: Any) -> float:
    """Size of the heat flux (W/m2): what takes out the heat of the fastest tenth of the record."""
    material = getattr(steel, "material", steel)
    heat = float(material.density) * float(np.max(material.specific_heat(np.array([min(max(start, 20.0), 900.0)]))))
    depth = 0.5 * (specimen.outer_radius - specimen.inner_radius) * (1.0 if specimen.inner_radius == 0.0 else 2.0)
    fastest = 0.0
    for k in range(record.values.shape[1]):
        ok = record.mask[:, k]
        t, y = record.times[ok], record.values[ok, k]
        span = max(int(0.1 * len(t)), 2)
        fastest = max(fastest, float(np.abs((y[span:] - y[:-span]) / (t[span:] - t[:-span])).max(initial=0.0)))
    return max(heat * depth * fastest, 1.0)
