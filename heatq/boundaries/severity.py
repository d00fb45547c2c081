"""Grossmann's quench severity H, in and out, always with the conductivity that the conversion used."""

from __future__ import annotations

import dataclasses
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy.constants import inch

from heatq.boundaries.timeline import Boundary
from heatq.errors import InputError, check_name, check_number

__all__ = [
    "AGITATIONS",
    "SEVERITY",
    "GrossmannQuench",
    "coefficient_of_severity",
    "severity",
    "severity_of_coefficient",
]

Array = npt.NDArray[np.float64]

#: Degrees of agitation, from still to violent.
AGITATIONS = ("none", "mild", "moderate", "good", "strong", "violent")

#: H in 1/in by medium and agitation (low, high): Grossmann & Bain, Principles of Heat Treatment; ASM Handbook 4. From
#: memory, not verified; still oil 0.3 and still water 1.0 were also read in a secondary text.
SEVERITY: dict[str, dict[str, tuple[float, float]]] = {
    "air": {"none": (0.02, 0.02), "strong": (0.05, 0.05)},
    "oil": {
        "none": (0.25, 0.30),
        "mild": (0.30, 0.35),
        "moderate": (0.35, 0.40),
        "good": (0.40, 0.50),
        "strong": (0.50, 0.80),
        "violent": (0.80, 1.10),
    },
    "water": {
        "none": (0.9, 1.0),
        "mild": (1.0, 1.1),
        "moderate": (1.2, 1.3),
        "good": (1.4, 1.5),
        "strong": (1.6, 2.0),
        "violent": (4.0, 4.0),
    },
    "brine": {"none": (2.0, 2.0), "mild": (2.0, 2.2), "violent": (5.0, 5.0)},
}


def severity(medium: str, agitation: str = "none") -> float:
    """Grossmann's H of a medium, 1/in: the middle of the range in `SEVERITY`.

    Examples
    --------
    >>> severity("oil"), severity("water", "good")
    (0.275, 1.45)
    """
    row = SEVERITY[check_name("medium", medium, SEVERITY)]
    check_name("agitation", agitation, AGITATIONS)
    if agitation not in row:
        raise InputError(f"no severity is listed for {medium} with {agitation} agitation; listed: {', '.join(row)}.")
    low, high = row[agitation]
    return 0.5 * (low + high)


def coefficient_of_severity(severity: float, conductivity: float) -> float:
    """Heat-transfer coefficient that belongs to Grossmann's H, W/m2K.

    Parameters
    ----------
    severity : float
        H, 1/in.
    conductivity : float
        k of the steel the conversion assumes, W/mK. It has no default on purpose: 25 (hot austenite), 29 and 35 to 40
        (cold ferrite) are all in use, a factor of 1.6.

    Notes
    -----
    h = 2 k H, with H per inch: h = 2 k H/0.0254. Definition as in Totten, Webster & Bates; h is meant near 705 degC.

    Examples
    --------
    >>> round(coefficient_of_severity(0.35, 25.0)), round(coefficient_of_severity(1.0, 35.0))
    (689, 2756)
    """
    check_number(
        "severity", severity, low=0.0, high=100.0, unit="1/in", hint="H is per inch: 0.3 still oil, 1 still water."
    )
    check_number("conductivity", conductivity, low=1.0, high=500.0, unit="W/mK")
    return 2.0 * conductivity * severity / inch


def severity_of_coefficient(coefficient: float, conductivity: float) -> float:
    """Grossmann's H of a heat-transfer coefficient, 1/in; the inverse of `coefficient_of_severity`.

    Examples
    --------
    >>> severity_of_coefficient(689.0, 25.0)
    0.35
    """
    check_number("coefficient", coefficient, "coefficient")
    check_number("conductivity", conductivity, low=1.0, high=500.0, unit="W/mK")
    return coefficient * inch / (2.0 * conductivity)


@dataclasses.dataclass(frozen=True)
class GrossmannQuench(Boundary):
    """Constant coefficient from Grossmann's H.

    Parameters
    ----------
    severity : float
        H, 1/in.
    fluid_temperature : float
        degC.
    conductivity : float
        k of the conversion, W/mK.

    Examples
    --------
    Still oil:

    >>> float(GrossmannQuench(0.3, fluid_temperature=60.0, conductivity=25.0).heat_flux(np.array(760.0)))
    413385.8
    """

    severity: float
    fluid_temperature: float
    conductivity: float
    relative_uncertainty: ClassVar[float | None] = 0.4

    def __post_init__(self) -> None:
        """Check the arguments."""
        coefficient_of_severity(self.severity, self.conductivity)
        check_number("fluid_temperature", self.fluid_temperature, "temperature")

    @property
    def coefficient(self) -> float:
        """W/m2K."""
        return coefficient_of_severity(self.severity, self.conductivity)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        return self.coefficient * (np.asarray(surface_temperature, dtype=float) - self.fluid_temperature)
