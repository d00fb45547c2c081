"""Oil: editable h(T) presets with a vapour, a boiling and a convection stage."""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.boundaries.severity import AGITATIONS, severity
from heatq.boundaries.timeline import Boundary
from heatq.errors import InputError, check_name, check_number, note_validity

__all__ = ["OILS", "OilBath", "OilPreset"]

Array = npt.NDArray[np.float64]


class OilPreset(NamedTuple):
    """Shape of h(T) of a kind of oil at its reference agitation."""

    vapour_coefficient: float
    """Plateau of the vapour stage, W/m2K."""
    collapse_temperature: float
    """Lower end of the vapour stage, degC."""
    peak_coefficient: float
    """Top of the boiling stage, W/m2K."""
    peak_temperature: float
    """degC."""
    convection_coefficient: float
    """Tail, W/m2K."""
    tail_temperature: float
    """Upper end of the convection stage, degC."""
    agitation: str
    """Agitation the numbers stand for."""
    working_range: tuple[float, float]
    """Customary bath temperatures, degC."""
    flash_temperature: float
    """Typical flash point, degC."""


#: Middle values of customary ranges: vapour 300-600, 400-700, 300-500 W/m2K; peak 1500-2200 at 500-550, 2500-4500 at
#: 550-600, 1800-2800 at 530-580 degC; convection 250-350, 300-450, 250-400 W/m2K. From memory, +-40 %; the convective
#: tail of 250 to 300 was read in Kobasko. Flash points are typical open-cup values, from memory.
OILS: dict[str, OilPreset] = {
    "conventional": OilPreset(450.0, 680.0, 1850.0, 525.0, 300.0, 350.0, "none", (30.0, 80.0), 170.0),
    "fast": OilPreset(550.0, 750.0, 3500.0, 575.0, 375.0, 320.0, "moderate", (30.0, 80.0), 170.0),
    "marquenching": OilPreset(400.0, 690.0, 2300.0, 555.0, 325.0, 400.0, "none", (90.0, 200.0), 240.0),
}


@dataclasses.dataclass(frozen=True)
class OilBath(Boundary):
    """Bar immersed in quench oil; h over the surface temperature from a preset that can be edited.

    Parameters
    ----------
    kind : {"conventional", "fast", "marquenching"}
        Preset.
    temperature : float, optional
        Of the bath, degC; by default 60 (marquenching 150).
    agitation : str, optional
        "none", "mild", "moderate", "good", "strong" or "violent"; by default that of the preset (fast oil: moderate,
        the others: none).
    vapour_coefficient, collapse_temperature, peak_coefficient, peak_temperature : float, optional
    convection_coefficient, tail_temperature : float, optional
        Replace single values of the preset, W/m2K and degC.
    flash_temperature : float, optional
        Flash point of your oil, degC. Baths are kept 50 K below it; nearer is noted.

    Notes
    -----
    h is piecewise linear: the vapour plateau above the collapse temperature, rising to the peak, falling to the
    convection tail, constant below. Agitation multiplies the whole curve by the ratio of Grossmann's H to that of the
    preset's agitation (oil row of `heatq.boundaries.severity.SEVERITY`: none to violent 1 : 1.18 : 1.36 : 1.64 : 2.36
    : 3.45). The bath's temperature acts through Ts - T_bath only; that a hot oil is thinner and its blanket longer is
    left out.

    The presets are marked +-40 % (`relative_uncertainty`): two mineral oils measured by one inverse method peaked at
    4.7 and 6.0 kW/m2K at 520 to 550 degC (Buczek & Telejko 2013, a small agitated probe), 2 to 3 times the still
    values here. Replace them by your own measured curve where you can (`CoefficientTable`).

    Examples
    --------
    An oil of one's own: 600 W/m2K above 750 degC, 2000 at 575, 250 below 320:

    >>> oil = OilBath("conventional", temperature=60.0, vapour_coefficient=600.0, collapse_temperature=750.0,
    ...               peak_coefficient=2000.0, peak_temperature=575.0, convection_coefficient=250.0,
    ...               tail_temperature=320.0)
    >>> oil.coefficient(np.array([200.0, 575.0, 850.0]))
    array([ 250., 2000.,  600.])
    """

    kind: str = "conventional"
    temperature: float | None = None
    agitation: str | None = None
    vapour_coefficient: float | None = None
    collapse_temperature: float | None = None
    peak_coefficient: float | None = None
    peak_temperature: float | None = None
    convection_coefficient: float | None = None
    tail_temperature: float | None = None
    flash_temperature: float | None = None
    relative_uncertainty: ClassVar[float | None] = 0.4

    def __post_init__(self) -> None:
        """Fill in the preset and check the numbers."""
        preset = OILS[check_name("kind", self.kind, OILS, what="kind of oil")]
        if self.temperature is None:
            object.__setattr__(self, "temperature", 150.0 if self.kind == "marquenching" else 60.0)
        check_number("temperature", self.temperature, low=0.0, high=400.0, unit="degC")
        if self.agitation is None:
            object.__setattr__(self, "agitation", preset.agitation)
        check_name("agitation", self.agitation, AGITATIONS)
        for field in dataclasses.fields(self)[3:]:
            value: Any = getattr(self, field.name)
            if value is None:
                value = getattr(preset, field.name)
                object.__setattr__(self, field.name, value)
            check_number(field.name, value, "coefficient" if field.name.endswith("coefficient") else "temperature")
        low, middle, high = self.tail_temperature, self.peak_temperature, self.collapse_temperature
        if not low < middle < high:  # type: ignore[operator]
            raise InputError(
                f"tail_temperature {low:g}, peak_temperature {middle:g}, collapse_temperature {high:g} degC must rise "
                "in this order: convection below the first, boiling between, vapour above the last."
            )

    @property
    def agitation_factor(self) -> float:
        """Ratio of Grossmann's H to that of the preset's own agitation."""
        return severity("oil", str(self.agitation)) / severity("oil", OILS[self.kind].agitation)

    def coefficient(self, surface_temperature: Array) -> Array:
        """Heat-transfer coefficient, W/m2K."""
        nodes = [self.tail_temperature, self.peak_temperature, self.collapse_temperature]
        values = [self.convection_coefficient, self.peak_coefficient, self.vapour_coefficient]
        surface = np.asarray(surface_temperature, dtype=float)
        return self.agitation_factor * np.interp(surface, np.array(nodes, float), np.array(values, float))

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        temperature, flash = float(self.temperature or 0.0), float(self.flash_temperature or 0.0)
        low, high = OILS[self.kind].working_range
        note_validity(
            f"{self.kind} oil", "bath temperature", temperature, low, high, "degC", "customary range of the preset"
        )
        note_validity(
            f"{self.kind} oil against fire",
            "bath temperature",
            temperature,
            -273.0,
            flash - 50.0,
            "degC",
            "50 K below the flash point",
        )
        return self.coefficient(surface_temperature) * (np.asarray(surface_temperature, dtype=float) - temperature)
