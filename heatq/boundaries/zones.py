"""Boundaries that vary along a face: zones, and immersion that moves up the bar."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.stages import Stages
from heatq.boundaries.timeline import Boundary, at, check_boundary, for_piece
from heatq.errors import InputError, check_name, check_number

__all__ = ["Immersion", "Zones"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Zones(Boundary):
    """One boundary after the other along a face.

    Parameters
    ----------
    zones : list of (upper_position, boundary)
        Each acts up to its position, m: height z on side and bore, radius r on end faces. Positions rise; the last
        may be ``None`` (to the end of the face). Beyond a last position its boundary acts on.

    Notes
    -----
    `heat_flux` is that of the first zone; the solver asks `at`.

    Examples
    --------
    The lower 40 mm in oil, the rest in air:

    >>> from heatq.boundaries.plain import Convection
    >>> oil, air = Convection(1500.0, 60.0), Convection(30.0, 20.0)
    >>> side = Zones([(0.040, oil), (None, air)])
    >>> side.at(0.01) is oil, side.at(0.05) is air
    (True, True)
    """

    zones: Any

    def __post_init__(self) -> None:
        """Check the zones."""
        if not isinstance(self.zones, Iterable):
            raise InputError("Zones needs a list of (upper_position, boundary) pairs.")
        checked: list[tuple[float | None, Any]] = []
        given = list(self.zones)
        for number, pair in enumerate(given, 1):
            try:
                position, boundary = pair
            except (TypeError, ValueError):
                raise InputError(f"zone {number} = {pair!r} is not an (upper_position, boundary) pair.") from None
            check_boundary(f"the boundary of zone {number}", boundary)
            if position is None:
                if number < len(given):
                    raise InputError(
                        f"zone {number} of {len(given)} has no upper position, so the next would never begin."
                    )
            else:
                position = check_number(f"upper position of zone {number}", position, "position", low_open=True)
                if checked and not position > float(checked[-1][0] or 0.0):
                    raise InputError(
                        f"upper position of zone {number} = {position:g} m does not lie above the one before."
                    )
            checked.append((position, boundary))
        if not checked:
            raise InputError("Zones needs at least one (upper_position, boundary) pair.")
        object.__setattr__(self, "zones", tuple(checked))

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux of the first zone, W/m2."""
        return self.zones[0][1].heat_flux(surface_temperature)

    def at(self, position: float) -> Any:
        """Boundary of the zone that holds ``position``."""
        for upper, boundary in self.zones:
            if upper is None or position <= upper:
                return at(boundary, position)
        return at(self.zones[-1][1], position)

    def for_piece(self, specimen: Any, face: str) -> Zones:
        """Zones that know the piece."""
        return Zones([(upper, for_piece(boundary, specimen, face)) for upper, boundary in self.zones])


@dataclasses.dataclass(frozen=True)
class Immersion(Boundary):
    """A bar lowered into a bath at a given speed: the wetting front moves up from its lower end.

    Parameters
    ----------
    speed : float
        m/s.
    below, above : boundary
        What acts on the immersed part (its clock starts when it is wetted) and on the part still above.
    delay : float
        Time before the lower end touches the bath, s.

    Notes
    -----
    Front at z = speed (t - delay). The lower end face is wetted first, the upper end when the front arrives there.
    Without a place, `heat_flux` is that of ``above``.

    Examples
    --------
    >>> from heatq.boundaries.plain import Convection
    >>> dip = Immersion(0.1, below=Convection(1500.0, 60.0), above=Convection(30.0, 20.0))
    >>> [round(time, 3) for time, _ in dip.at(0.05).over_time(60.0)]
    [0.0, 0.5, 0.5]
    """

    speed: float
    below: Any
    above: Any
    delay: float = 0.0

    def __post_init__(self) -> None:
        """Check the arguments."""
        hint = "Speeds are in m/s; 6 m/min is 0.1."
        check_number("speed", self.speed, low=0.0, high=20.0, unit="m/s", hint=hint, low_open=True)
        check_number("delay", self.delay, "duration")
        check_boundary("below", self.below)
        check_boundary("above", self.above)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux above the bath, W/m2."""
        return self.above.heat_flux(surface_temperature)

    def at(self, position: float) -> Any:
        """Return what acts at one height over time."""
        below, above = at(self.below, position), at(self.above, position)
        time = self.delay + position / self.speed
        return below if time <= 0.0 else Stages((time, above), (None, below))

    def for_piece(self, specimen: Any, face: str) -> Any:
        """On side and bore a copy that knows the piece; on the ends the change at the time the front gets there."""
        side = specimen.faces[check_name("face", face, specimen.faces, what="face")]
        below, above = for_piece(self.below, specimen, face), for_piece(self.above, specimen, face)
        if side in ("bottom", "top"):
            time = self.delay + (specimen.length / self.speed if side == "top" else 0.0)
            return below if time <= 0.0 else Stages((time, above), (None, below))
        return dataclasses.replace(self, below=below, above=above)
