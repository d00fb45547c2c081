"""The cooling section as a smooth function of place and time: one simulation with probes on a net of lines."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import at, for_piece, over_time
from heatq.conduction.run import simulate
from heatq.errors import hold_validity
from heatq.specimens import Probe, check_piece

__all__ = ["Section", "cool_section", "crossing", "medium_temperature", "nice_lines", "window_rate"]

Array = npt.NDArray[np.float64]

#: Lines of the net along the radius and the length. Doubling both moves rates and readings by less than 0.3 % (tests).
LINES = (17, 49)


def nice_lines(low: float, high: float, count: int) -> Array:
    """Round positions (1, 2, 5 times a power of ten, m) strictly inside an interval, at most ``count`` steps.

    Examples
    --------
    >>> nice_lines(0.0, 0.03, 10)
    array([0.005, 0.01 , 0.015, 0.02 , 0.025])
    """
    least = (high - low) / count
    power = 10.0 ** np.floor(np.log10(least))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= least * (1 - 1e-9))
    first = np.floor(low / step) + 1
    lines = step * np.arange(first, np.ceil(high / step))
    return lines[(lines > low + 1e-9) & (lines < high - 1e-9)]


def crossing(time: Array, temperature: Array, level: float | Array) -> Array:
    """First time at which each column falls to a level (linear between samples); NaN where it never does or starts below."""
    falling = np.minimum.accumulate(temperature, axis=0)
    levels = np.broadcast_to(level, falling.shape[1:])
    below = falling <= levels
    k = np.clip(below.argmax(axis=0), 1, len(time) - 1)
    columns = np.arange(falling.shape[1])
    y0, y1 = falling[k - 1, columns], falling[k, columns]
    with np.errstate(divide="ignore", invalid="ignore"):
        found = time[k - 1] + (time[k] - time[k - 1]) * (y0 - levels) / (y0 - y1)
    return np.where(below.any(axis=0) & ~below[0], found, np.nan)


def window_rate(time: Array, temperature: Array, window: tuple[float, float]) -> Array:
    """Mean cooling rate (K/s) of each column through a window (upper, lower), degC."""
    upper, lower = window
    return (upper - lower) / (crossing(time, temperature, lower) - crossing(time, temperature, upper))


@dataclasses.dataclass(frozen=True)
class Section:
    """Temperature (degC) over time (s) on lines of r and z (m); ``z`` is empty for a long piece."""

    specimen: Any
    time: Array
    r: Array
    z: Array
    temperature: Array
    run: Any

    @functools.cached_property
    def _splines(self) -> list[Any]:
        """A spline in z and r per time; mirrored about the axis of a solid piece."""
        from scipy.interpolate import RectBivariateSpline

        lines, field = self.r, self.temperature
        if self.specimen.inner_radius == 0.0:
            lines = np.concatenate([-lines[:0:-1], lines])
            field = np.concatenate([field[:, :, :0:-1], field], axis=2)
        if self.z.size:
            return [RectBivariateSpline(self.z, lines, values) for values in field]
        along = np.array([-1.0, 0.0, 1.0])
        return [RectBivariateSpline(along, lines, np.repeat(values, 3, axis=0), kx=1) for values in field]

    def at(self, r: Array, z: Array, derivative: tuple[int, int] = (0, 0)) -> Array:
        """Temperature (time, place), or its derivatives in z and r, from bicubic splines that are even about the axis.

        Places outside the piece are taken at its surface.
        """
        solid = self.specimen.inner_radius == 0.0
        r = np.clip(np.abs(r) if solid else r, self.r[0], self.r[-1])
        z = np.clip(z, self.z[0], self.z[-1]) if self.z.size else np.zeros_like(r)
        return np.array([spline.ev(z, r, dx=derivative[0], dy=derivative[1]) for spline in self._splines])

    def gradients(self, r: Array, z: Array) -> tuple[Array, Array]:
        """Gradient along r and along z, K/m, (time, place)."""
        radial = self.at(r, z, (0, 1))
        return radial, self.at(r, z, (1, 0)) if self.z.size else np.zeros_like(radial)


def _lines(specimen: Any, count: tuple[int, int]) -> tuple[Array, Array]:
    """Lines that gather towards the faces."""
    inner, outer = specimen.inner_radius, specimen.outer_radius
    if inner == 0.0:
        r = outer * np.sin(np.linspace(0.0, np.pi / 2, count[0]))
    else:
        r = inner + (outer - inner) * (1.0 - np.cos(np.linspace(0.0, np.pi, count[0]))) / 2
    if specimen.length is None:
        return r, np.empty(0)
    share = (1.0 - np.cos(np.linspace(0.0, np.pi, count[1]))) / 2
    if "jet" in specimen.faces:  # one face takes nearly all
        share = np.linspace(0.0, 1.0, count[1]) ** 2
    return r, specimen.length * share


def cool_section(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    initial_temperature: float,
    stop_below: float | None,
    end_time: float,
    accuracy: float,
    output_times: Array | None = None,
    lines: tuple[int, int] = LINES,
    estimate_error: bool = True,
    coupled: bool = True,
    progress: Any = False,
) -> Section:
    """Cool a piece once and keep its histories on a net of lines; arguments as in `heatq.simulate`."""
    check_piece(specimen)
    r, z = _lines(specimen, lines)
    heights = z if z.size else np.zeros(1)
    probes = [Probe(float(x), float(y), f"{i}") for i, (y, x) in enumerate((y, x) for y in heights for x in r)]
    run = simulate(
        specimen,
        steel,
        boundaries,
        initial_temperature=initial_temperature,
        end_time=end_time,
        stop_below=stop_below,
        output_times=output_times,
        probes=probes,
        accuracy=accuracy,
        estimate_error=estimate_error,
        coupled=coupled,
        progress=progress,
    )
    time = run["time"].values.astype(float)
    field = run["temperature"].values.reshape(len(time), len(heights), len(r))
    return Section(specimen, time, r, z, field, run)


def medium_temperature(
    specimen: Any, boundaries: Mapping[str, Any], face: str, start: float, end_time: float
) -> float | None:
    """Coldest temperature (degC) at which a face would stop losing heat, over the stages of its boundary; None if it loses none."""
    position = specimen.outer_radius if specimen.faces[face] in ("bottom", "top") else (specimen.length or 0.0)
    boundary = at(for_piece(boundaries[face], specimen, face), 0.5 * position)
    levels = np.linspace(-50.0, start, 701)
    coldest: list[float] = []
    with hold_validity():
        for _, stage in over_time(boundary, end_time):
            losing = np.asarray(stage.heat_flux(levels)) > 0.0
            if losing.any():
                coldest.append(float(levels[losing.argmax()]))
    return min(coldest) if coldest else None
