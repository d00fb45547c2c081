"""Quenches in stages: transfer in air, then the medium; interrupted and time quenches."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import Boundary, Knots, at, check_boundary, cut, for_piece, over_time
from heatq.errors import InputError, check_number

__all__ = ["Stages"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True, init=False)
class Stages(Boundary):
    """One boundary after the other on the same face.

    Parameters
    ----------
    *stages : (duration, boundary)
        Duration in s; the last stage may have ``None`` (until the end). A single list of such pairs works too. If the
        last stage has a duration, its boundary acts on after it. A stage may itself change in time (a ramp, other
        stages); its clock starts when the stage does.

    Notes
    -----
    The change is a jump: the flux is not continuous in time. `heat_flux` is that of the first stage.

    Examples
    --------
    Five seconds of transfer in air, then the quench:

    >>> from heatq.boundaries.plain import Convection
    >>> air = Convection(coefficient=60.0, fluid_temperature=20.0)
    >>> oil = Convection(coefficient=1500.0, fluid_temperature=60.0)
    >>> quench = Stages((5.0, air), (None, oil))
    >>> [time for time, _ in quench.over_time(100.0)]
    [0.0, 5.0, 5.0]
    """

    stages: tuple[tuple[float | None, Any], ...]

    def __init__(self, *stages: Any) -> None:
        """Check and store the stages."""
        pairs: Any = stages
        if len(stages) == 1 and isinstance(stages[0], Iterable):
            first = list(stages[0])
            if not (len(first) == 2 and callable(getattr(first[1], "heat_flux", None))):
                pairs = first
        if not pairs:
            raise InputError("Stages needs at least one (duration, boundary) pair, such as (5.0, air), (None, oil).")
        checked: list[tuple[float | None, Any]] = []
        for number, pair in enumerate(pairs, 1):
            try:
                duration, boundary = pair
            except (TypeError, ValueError):
                raise InputError(
                    f"stage {number} = {pair!r} is not a (duration, boundary) pair; write (5.0, StillAir())."
                ) from None
            check_boundary(f"the boundary of stage {number}", boundary)
            if duration is None:
                if number < len(pairs):
                    raise InputError(
                        f"stage {number} of {len(pairs)} has no duration, so stage {number + 1} would never begin. "
                        "Only the last stage may have None; give this one its seconds."
                    )
                checked.append((None, boundary))
            else:
                checked.append(
                    (check_number(f"duration of stage {number}", duration, "duration", low_open=True), boundary)
                )
        object.__setattr__(self, "stages", tuple(checked))

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux of the first stage, W/m2."""
        return self.stages[0][1].heat_flux(surface_temperature)

    def __repr__(self) -> str:
        """As it is written."""
        return f"Stages({', '.join(repr(stage) for stage in self.stages)})"

    def over_time(self, end_time: float) -> Knots:
        """Knots of the stages one after the other, with a jump at each change."""
        knots: Knots = []
        start = 0.0
        for number, (duration, boundary) in enumerate(self.stages, 1):
            own = over_time(boundary, max(end_time - start, 0.0))
            last = number == len(self.stages)
            if duration is not None and not last:
                # a constant stage needs both ends, else the flux would drift linearly to the next stage
                own = cut(own, duration)
            knots.extend((start + time, part) for time, part in own)
            if last or duration is None or start + duration > end_time:
                break
            start += duration
        return knots

    def at(self, position: float) -> Any:
        """Stages of what acts at one place."""
        located = [(duration, at(boundary, position)) for duration, boundary in self.stages]
        if all(one is two for (_, one), (_, two) in zip(located, self.stages, strict=True)):
            return self
        return Stages(*located)

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Stages that know the piece."""
        return Stages(*((duration, for_piece(boundary, specimen, face)) for duration, boundary in self.stages))
