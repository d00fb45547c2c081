"""The boundary contract, and how boundaries add up, vary in time and vary along a face.

A boundary is any object with ``heat_flux(surface_temperature) -> W/m2``: array in, array of the same shape out, pure,
positive out of the piece, temperatures in degC. No base class is needed. Three optional methods say more:

``over_time(end_time)``
    Sorted knots ``[(time, boundary), ...]``, first at 0 s. The flux is linear in time between two knots; two knots at
    the same time are a jump; after the last knot it stays. Knots beyond ``end_time`` are allowed.
``at(position)``
    The boundary at one place of the face, m: height z above the lower face on side and bore, radius r on end faces.
``for_piece(specimen, face)``
    A copy that knows the sizes of the piece.

The solver asks in this order: `for_piece`, then `at` for every place, then `over_time`. The functions of the same names
here supply the defaults for objects that lack a method.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError

__all__ = ["Blend", "Boundary", "Sum", "at", "check_boundary", "for_piece", "is_uniform", "over_time", "uncertainty_of"]

Array = npt.NDArray[np.float64]
Knots = list[tuple[float, Any]]


class Boundary:
    """Base of the shipped boundaries: lets them be added with ``+``. Your own class does not need it.

    Attributes
    ----------
    relative_uncertainty : float or None
        Spread of the published sources for the heat flux, as a fraction (0.35 is +-35 %); None where no source says.

    Examples
    --------
    >>> from heatq.boundaries.plain import Convection, HeatFlux
    >>> both = Convection(coefficient=100.0, fluid_temperature=20.0) + HeatFlux(500.0)
    >>> both.heat_flux(np.array([20.0, 120.0]))
    array([  500., 10500.])
    """

    relative_uncertainty: ClassVar[float | None] = None

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2, at surface temperatures in degC."""
        raise NotImplementedError

    def __add__(self, other: Any) -> Any:
        """Both act on the same face at once."""
        if not callable(getattr(other, "heat_flux", None)):
            return NotImplemented
        return Sum((*_parts(self), *_parts(other)))

    def __radd__(self, other: Any) -> Any:
        """Let ``sum([...])`` and a user's own class on the left work."""
        if isinstance(other, int) and other == 0:
            return self
        if not callable(getattr(other, "heat_flux", None)):
            return NotImplemented
        return Sum((*_parts(other), *_parts(self)))


def _parts(boundary: Any) -> tuple[Any, ...]:
    return boundary.parts if isinstance(boundary, Sum) else (boundary,)


def check_boundary(argument: str, boundary: Any) -> Any:
    """Return ``boundary`` if it keeps the contract, else raise an `InputError` that says what is missing."""
    if isinstance(boundary, type):
        raise InputError(
            f"{argument} is the class {boundary.__name__}; write {boundary.__name__}(...) to make an object."
        )
    if not callable(getattr(boundary, "heat_flux", None)):
        raise InputError(
            f"{argument} = {boundary!r} is not a boundary: it has no heat_flux(surface_temperature) method. "
            "Use one of heatq's boundaries, such as Convection(coefficient=500.0, fluid_temperature=20.0), or your own."
        )
    return boundary


def over_time(boundary: Any, end_time: float) -> Knots:
    """Knots of a boundary in time; a boundary without ``over_time`` is constant.

    Parameters
    ----------
    boundary : object
        Anything that keeps the contract.
    end_time : float
        How far the knots are needed, s.

    Returns
    -------
    list of (float, boundary)
        Sorted; flux linear in time between neighbours; equal times are a jump.

    Examples
    --------
    >>> from heatq.boundaries.plain import Insulated
    >>> over_time(Insulated(), 10.0)
    [(0.0, Insulated())]
    """
    method = getattr(boundary, "over_time", None)
    if method is None:
        return [(0.0, boundary)]
    knots = list(method(end_time))
    times = [time for time, _ in knots]
    if not knots or times[0] != 0.0 or any(b < a for a, b in zip(times[:-1], times[1:], strict=True)):
        raise InputError(
            f"{boundary!r}: over_time must return knots sorted in time that start at 0 s; its times are {times}."
        )
    return knots


def at(boundary: Any, position: float) -> Any:
    """Boundary at one place of a face; a boundary without ``at`` is the same everywhere (and is returned itself).

    Parameters
    ----------
    boundary : object
        Anything that keeps the contract.
    position : float
        m: z above the lower face on side and bore, r on end faces.
    """
    method = getattr(boundary, "at", None)
    return boundary if method is None else method(position)


def is_uniform(boundary: Any) -> bool:
    """Whether a boundary is surely the same everywhere on its face, because neither it nor a part of a sum has ``at``.

    Parameters
    ----------
    boundary : object
        Anything that keeps the contract.

    Examples
    --------
    >>> from heatq.boundaries.plain import Convection, Radiation
    >>> from heatq.boundaries.zones import Zones
    >>> still, jets = Convection(10.0, 20.0) + Radiation(0.8), Convection(500.0, 20.0)
    >>> is_uniform(still), is_uniform(still + Zones([(0.05, jets), (None, still)]))
    (True, False)
    """
    if isinstance(boundary, Sum):
        return all(is_uniform(part) for part in boundary.parts)
    return not hasattr(boundary, "at")


def for_piece(boundary: Any, specimen: Any, face: str) -> Any:
    """Boundary that knows the sizes of the piece; a boundary without ``for_piece`` needs none.

    Parameters
    ----------
    boundary : object
        Anything that keeps the contract.
    specimen : object
        With ``faces`` (name -> "bottom", "top", "outer" or "bore"), ``outer_radius``, ``inner_radius`` and ``length``.
    face : str
        Name of the face of ``specimen``.
    """
    method = getattr(boundary, "for_piece", None)
    return boundary if method is None else method(specimen, face)


def uncertainty_of(boundary: Any) -> float | None:
    """Relative uncertainty of h that a boundary states, the largest of its parts and faces; None where none does.

    Parameters
    ----------
    boundary : boundary or dict
        Sums, stages, ramps and scaled boundaries are looked into.

    Examples
    --------
    >>> import heatq as hq
    >>> uncertainty_of(hq.OilBath() + hq.Radiation(0.8)), uncertainty_of(hq.Radiation(0.8))
    (0.4, None)
    """
    if isinstance(boundary, Mapping):
        inner = list(boundary.values())
    elif hasattr(boundary, "parts"):
        inner = list(boundary.parts)
    elif hasattr(boundary, "stages"):
        inner = [part for _, part in boundary.stages]
    else:
        own = getattr(boundary, "relative_uncertainty", None)
        if own is not None:
            return float(own)
        inner = [getattr(boundary, name) for name in ("boundary", "stream") if hasattr(boundary, name)]
    known = [value for value in map(uncertainty_of, inner) if value is not None]
    return max(known) if known else None


@dataclasses.dataclass(frozen=True)
class Blend(Boundary):
    """Flux part-way between two boundaries: ``(1 - weight) first + weight second``.

    Parameters
    ----------
    first, second : boundary
        The two ends.
    weight : float
        0 to 1.
    """

    first: Any
    second: Any
    weight: float

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux out of the piece, W/m2."""
        first, second = self.first.heat_flux(surface_temperature), self.second.heat_flux(surface_temperature)
        return (1.0 - self.weight) * first + self.weight * second

    def at(self, position: float) -> Any:
        """Blend of what acts at one place."""
        first, second = at(self.first, position), at(self.second, position)
        return self if first is self.first and second is self.second else Blend(first, second, self.weight)

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Blend of what knows the piece."""
        return Blend(for_piece(self.first, specimen, face), for_piece(self.second, specimen, face), self.weight)


def value_at(knots: Knots, time: float, side: str = "right") -> Any:
    """Boundary at ``time`` from knots; at a jump the one before (``side="left"``) or after it (``"right"``)."""
    times = [knot for knot, _ in knots]
    index = int(np.searchsorted(times, time, side="left" if side == "left" else "right"))
    if side == "left" and index < len(times) and times[index] == time:
        return knots[index][1]
    if index == 0:
        return knots[0][1]
    start, first = knots[index - 1]
    if start == time or index == len(knots):
        return first
    stop, second = knots[index]
    if first is second:
        return first
    return Blend(first, second, (time - start) / (stop - start))


def cut(knots: Knots, duration: float) -> Knots:
    """Knots from 0 to ``duration`` exactly, with a knot at both ends."""
    inside = [(time, boundary) for time, boundary in knots if time < duration]
    return [*inside, (duration, value_at(knots, duration, "left"))]


@dataclasses.dataclass(frozen=True)
class Sum(Boundary):
    """Several boundaries on the same face at once, as made by ``+``.

    Parameters
    ----------
    parts : tuple of boundary
        Their fluxes are added.

    Examples
    --------
    >>> from heatq.boundaries.plain import Convection, Radiation
    >>> Convection(coefficient=10.0, fluid_temperature=20.0) + Radiation(emissivity=0.8)
    Sum(parts=(Convection(coefficient=10.0, fluid_temperature=20.0),
    Radiation(emissivity=0.8, surroundings_temperature=20.0)))
    """

    parts: tuple[Any, ...]
    _located: dict[tuple[int, ...], Any] = dataclasses.field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Check the parts."""
        object.__setattr__(self, "parts", tuple(self.parts))
        if not self.parts:
            raise InputError("Sum needs at least one boundary; for a face without heat flow write Insulated().")
        for number, part in enumerate(self.parts, 1):
            check_boundary(f"part {number} of a Sum", part)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Sum of the fluxes of the parts, W/m2 (of their first stage where they change in time)."""
        total = self.parts[0].heat_flux(surface_temperature)
        for part in self.parts[1:]:
            total = total + part.heat_flux(surface_temperature)
        return total

    def over_time(self, end_time: float) -> Knots:
        """All knots of all parts; between its own knots a part is interpolated linearly in time."""
        histories = [over_time(part, end_time) for part in self.parts]
        if all(len(history) == 1 for history in histories):
            same = all(history[0][1] is part for history, part in zip(histories, self.parts, strict=True))
            return [(0.0, self if same else Sum(tuple(history[0][1] for history in histories)))]
        jumps: set[float] = set()
        times: set[float] = set()
        for history in histories:
            own = [time for time, _ in history]
            jumps.update(time for time, following in zip(own[:-1], own[1:], strict=True) if time == following)
            times.update(own)
        knots: Knots = []
        for time in sorted(times):
            if time in jumps:
                knots.append((time, Sum(tuple(value_at(history, time, "left") for history in histories))))
            knots.append((time, Sum(tuple(value_at(history, time) for history in histories))))
        return knots

    def at(self, position: float) -> Any:
        """Sum of what acts at one place; the same object for places where all parts are the same."""
        located = tuple(at(part, position) for part in self.parts)
        if all(one is part for one, part in zip(located, self.parts, strict=True)):
            return self
        key = tuple(id(part) for part in located)
        if key not in self._located:
            self._located[key] = Sum(located)  # holds the parts, so their ids stay theirs
        return self._located[key]

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Sum of parts that know the piece."""
        return Sum(tuple(for_piece(part, specimen, face) for part in self.parts))
