"""Which kinetics: as published, or calibrated, or with your own factors.

`PUBLISHED` is the rates of Li et al. 1998 as they stand. `CALIBRATED` multiplies them and lets the rate vary from place to
place inside the volume that one hardness impression averages over. Both are chosen by name, ``kinetics="published"``; an
own `Kinetics` object with factors for one steel goes in the same place.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name, check_number

__all__ = ["CALIBRATED", "DEFAULT", "KINETICS", "PUBLISHED", "Kinetics", "drag_divisor", "kinetics_named"]


@dataclasses.dataclass(frozen=True)
class Kinetics:
    """Factors on the rates of ferrite, pearlite and bainite, the scatter of the rate from place to place, solute drag.

    Parameters
    ----------
    name : str
        For reports.
    ferrite, pearlite, bainite : float
        Factors on the rates; 1 is as published.
    spread : float
        Standard deviation of ln(rate) from place to place in a cubic millimetre; 0 is a uniform steel. The transformed
        fraction is then the mean over a log-normal distribution of rates.
    drag : float
        How much molybdenum slows ferrite and pearlite at 580 degC: their rates are divided by 1 + drag there (see
        :func:`drag_divisor`); 0 is no drag.

    Notes
    -----
    Why a rate varies from place to place: manganese, chromium and molybdenum segregate between dendrites and remain
    banded in wrought bar, and grains differ in size. By Scheil's equation the standard deviation of ln(content) of a cast
    steel is 1 - k, k being the partition coefficient (0.78 for Mn, 0.65 Si, 0.69 Mo, 0.90 Cr, 0.89 Ni: means of the values
    for ferrite and austenite, from memory); with Li's coefficients that is 1.3 to 1.7 in the ln of the pearlite rate and
    0.2 to 0.3 in that of bainite of 41xx to 51xx steels as cast, less after rolling and heating. Middles of bands moreover
    are means over heats. `CALIBRATED` uses one value for all three reactions and all steels, and it was chosen on data.

    Examples
    --------
    >>> from heatq.transformation.options import Kinetics
    >>> Kinetics("heat A-17", ferrite=0.8)
    Kinetics(name='heat A-17', ferrite=0.8, pearlite=1.0, bainite=1.0, spread=0.0, drag=0.0)
    """

    name: str
    ferrite: float = 1.0
    pearlite: float = 1.0
    bainite: float = 1.0
    spread: float = 0.0
    drag: float = 0.0

    def __post_init__(self) -> None:
        """Check the numbers."""
        for field in ("ferrite", "pearlite", "bainite", "drag"):
            check_number(field, getattr(self, field), low=0.0, high=100.0, unit="1")
        check_number(
            "spread",
            self.spread,
            low=0.0,
            high=2.0,
            unit="1",
            hint="It is the standard deviation of ln(rate); as-cast segregation gives at most 1.7.",
        )


#: Nothing fitted.
PUBLISHED = Kinetics("published")
#: Chosen on the middles of six H-bands and the effect-of-mass tables together, rounded; what each steel says when it is left out is on the
#: page "which model for which steel", from benchmarks/prediction.py.
CALIBRATED = Kinetics("calibrated", ferrite=0.7, pearlite=1.4, bainite=1.6, spread=0.6, drag=4.0)
#: By name.
KINETICS = {kinetics.name: kinetics for kinetics in (PUBLISHED, CALIBRATED)}
#: What is used where nothing is said.
DEFAULT = "published"


def kinetics_named(kinetics: str | Kinetics) -> Kinetics:
    """Kinetics of a name, or the object itself.

    Examples
    --------
    >>> kinetics_named("calibrated").bainite
    1.6
    """
    if isinstance(kinetics, Kinetics):
        return kinetics
    if not isinstance(kinetics, str):
        raise InputError(
            f"kinetics = {kinetics!r} must be one of {', '.join(map(repr, KINETICS))}, or a Kinetics object of your own."
        )
    return KINETICS[check_name("kinetics", kinetics, KINETICS)]


def drag_divisor(steel: Any, temperature: npt.ArrayLike, drag: float) -> npt.NDArray[np.float64]:
    """By what the solute drag of molybdenum divides the rates of ferrite and pearlite.

    Notes
    -----
    1 + drag m exp(-((T - 580) / 40)^2), m = (Mo - 0.05) / 0.15 held in 0..1; T in degC.

    Molybdenum at the moving boundary slows ferrite and pearlite most between 550 and 620 degC, which parts their C-curve
    from that of bainite: the bay of published diagrams of 41xx and 43xx steels (solute-drag-like effect, Bradley & Aaronson,
    Metall. Trans. A 12 (1981) 1729; from memory). Without it the kinetics let pearlite run through the nose of bainite. The
    shape, its place and the threshold that lets residual molybdenum out are our own; nothing was fitted to a diagram.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> drag_divisor(SimpleNamespace(Mo=0.20), [480.0, 580.0, 700.0], 4.0).round(2)
    array([1.01, 5.  , 1.  ])
    """
    share = min(max((float(steel.Mo) - 0.05) / 0.15, 0.0), 1.0)
    return 1.0 + drag * share * np.exp(-(((np.asarray(temperature, dtype=float) - 580.0) / 40.0) ** 2))
