"""How wrong the readings at many places are, and whether their wells can be drilled."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.errors import hold_validity
from heatq.thermocouples.disturbance import blind_hole_disturbance, stem_conduction_error
from heatq.thermocouples.section import Section, crossing, medium_temperature, window_rate
from heatq.thermocouples.sensor import Thermocouple, first_order

__all__ = ["COMPONENTS", "Well", "deviations", "difference_over_window", "make_well", "reading_errors", "why_not"]

Array = npt.NDArray[np.float64]

#: Parts of the error of a reading, in the order of the results.
COMPONENTS = ("representation", "lag", "position", "calibration", "well", "stem")
#: Temperatures of the window at which a difference is taken.
LEVELS = 25


@dataclasses.dataclass(frozen=True)
class Well:
    """A place and the well that leads to it (lengths in m)."""

    name: str
    r: float
    z: float
    entry: str
    face: str
    depth: float
    wall: float
    drill_ratio: float


def make_well(specimen: Any, sensor: Thermocouple, r: float, z: float, entry: str, name: str = "") -> Well:
    """Well to a place: radially from the side, or along the axis from the nearer end (never from a jet's end).

    ``wall`` is the least metal beside the well and beyond its end, to any face but the one that was drilled.
    """
    radius = float(sensor.well_diameter or sensor.sheath_diameter) / 2
    inner, outer, length = specimen.inner_radius, specimen.outer_radius, specimen.length
    walls = [r - inner] if inner > 0.0 else []
    if entry == "side":
        face = next(face for face, side in specimen.faces.items() if side == "outer")
        depth = outer - r
        if length is not None:
            walls += [z - radius, length - z - radius]
        if not walls:  # a long solid bar: nothing beyond the tip but the far side
            walls = [outer + r]
    else:
        from_top = "jet" in specimen.faces or z >= length / 2
        face = next(face for face, side in specimen.faces.items() if side == ("top" if from_top else "bottom"))
        depth = length - z if from_top else z
        walls = [wall - radius for wall in walls]
        walls += [z if from_top else length - z, outer - r - radius]
    label = f"r {r * 1e3:.4g}" + ("" if length is None else f", z {z * 1e3:.4g}") + f" mm, {entry}"
    return Well(name or label, r, z, entry, face, depth, min(walls), depth / (2 * radius))


def why_not(well: Well, sensor: Thermocouple, largest_drill_ratio: float, minimum_wall: float) -> str:
    """Why a well cannot be had; empty if it can."""
    slack = 1e-9
    if well.depth < minimum_wall - slack:
        return f"only {well.depth * 1e3:.3g} mm below the face it is drilled from"
    if well.wall < minimum_wall - slack:
        return f"only {max(well.wall, 0.0) * 1e3:.2g} mm of metal beside or beyond the well"
    if well.drill_ratio > largest_drill_ratio + slack:
        return f"depth over diameter {well.drill_ratio:.0f}, more than {largest_drill_ratio:g}"
    return ""


def deviations(
    section: Section,
    wells: list[Well],
    sensor: Thermocouple,
    boundaries: Mapping[str, Any],
    resolved: Mapping[int, tuple[Array, Array]] | None = None,
) -> tuple[Array, dict[str, list[Array]]]:
    """True temperatures (time, place), and what each part of the error adds to them, one entry per independent cause.

    ``resolved``: number of a well -> its disturbance from `heatq.thermocouples.end_well`, in place of the steady one.

    ``lag`` and ``stem`` have a sign; ``position`` (across and along, each the larger of + and -), ``calibration`` and ``well``
    may come with either.
    """
    r, z = np.array([well.r for well in wells]), np.array([well.z for well in wells])
    true = section.at(r, z)
    with hold_validity():
        lag = first_order(section.time, true, np.full(len(wells), sensor.lag)) - true
        calibration = sensor.calibration_tolerance(true)
    moved: list[Array] = []
    shift = sensor.position_tolerance
    for dr, dz in ((shift, 0.0), (0.0, shift)) if section.z.size else ((shift, 0.0),):
        plus, minus = section.at(r + dr, z + dz) - true, true - section.at(r - dr, z - dz)
        moved.append(np.where(np.abs(plus) >= np.abs(minus), plus, minus))
    radial, axial = section.gradients(r, z)
    from_side = np.array([well.entry == "side" for well in wells])
    upward = np.array([section.specimen.faces[well.face] == "bottom" for well in wells])  # drilled towards larger z
    along = np.where(from_side, -radial, np.where(upward, axial, -axial))
    across = np.where(from_side, axial, radial)
    hole = blind_hole_disturbance(along, across, float(sensor.well_diameter or 0.0) / 2)
    for n, (falling, error) in (resolved or {}).items():
        hole[:, n] = np.interp(-true[:, n], -falling, error)
    return true, {
        "lag": [lag],
        "position": moved,
        "calibration": [calibration],
        "well": [hole],
        "stem": [_stem(section, wells, sensor, boundaries, along)],
    }


def _stem(
    section: Section, wells: list[Well], sensor: Thermocouple, boundaries: Mapping[str, Any], along: Array
) -> Array:
    """Conduction along the sheath, whose outside is taken as cold as the medium."""
    specimen = section.specimen
    sides = {well.face: specimen.faces[well.face] for well in wells}
    start, end = float(section.temperature[0].max()), float(section.time[-1])
    media = {face: medium_temperature(specimen, boundaries, face, start, end) for face in sides}
    coordinate = {"outer": specimen.outer_radius, "top": specimen.length, "bottom": 0.0}
    mouth_r = np.array([coordinate["outer"] if well.entry == "side" else well.r for well in wells])
    mouth_z = np.array([well.z if well.entry == "side" else coordinate[sides[well.face]] for well in wells])
    mouth = section.at(mouth_r, mouth_z)
    out = np.zeros_like(along)
    coefficient = sensor.contact_coefficient
    for n, well in enumerate(wells):
        medium = media[well.face]
        colder = np.zeros(len(section.time)) if medium is None else np.minimum(medium - mouth[:, n], 0.0)
        depth = max(well.depth, 1e-4)  # a place in the face itself, which is never feasible
        out[:, n] = stem_conduction_error(depth, sensor.sheath_diameter, coefficient, colder, along[:, n])
    return out


def _rms_over_window(time: Array, true: Array, change: Array, window: tuple[float, float]) -> Array:
    """Root mean square of a change while each place passes the window, every kelvin counting alike."""
    levels = np.linspace(window[0], window[1], LEVELS)
    total = np.zeros(true.shape[1])
    columns = np.arange(true.shape[1])
    for level in levels:
        when = crossing(time, true, level)
        k = np.clip(np.searchsorted(time, np.nan_to_num(when)) - 1, 0, len(time) - 2)
        share = (when - time[k]) / (time[k + 1] - time[k])
        value = change[k, columns] + share * (change[k + 1, columns] - change[k, columns])
        total += value**2  # NaN where the place never gets there
    return np.sqrt(total / LEVELS)


def difference_over_window(time: Array, there: Array, field: Array, window: tuple[float, float]) -> Array:
    """Root mean square difference (K) of columns to one history (time, 1) while that history passes the window."""
    levels = np.linspace(window[0], window[1], LEVELS)
    when = crossing(time, np.repeat(there, LEVELS, axis=1), levels)
    k = np.clip(np.searchsorted(time, np.nan_to_num(when)) - 1, 0, len(time) - 2)
    share = ((when - time[k]) / (time[k + 1] - time[k]))[:, None]
    value = field[k] + share * (field[k + 1] - field[k]) - levels[:, None]
    return np.asarray(np.sqrt((value**2).mean(axis=0)))


def reading_errors(
    section: Section,
    wells: list[Well],
    sensor: Thermocouple,
    boundaries: Mapping[str, Any],
    window: tuple[float, float],
    point: tuple[float, float] | None,
    resolved: Mapping[int, tuple[Array, Array]] | None = None,
) -> tuple[Array, Array, Array, Array]:
    """Errors of the readings against the point of interest (or the place itself).

    Returns
    -------
    tuple of ndarray
        Error in K (component, place), root mean square over the window; error of the mean rate in K/s (component, place);
        true rate at each place, K/s; difference of that rate to the point's.
    """
    time = section.time
    true, parts = deviations(section, wells, sensor, boundaries, resolved)
    rate = window_rate(time, true, window)
    kelvin, speed = np.zeros((len(COMPONENTS), len(wells))), np.zeros((len(COMPONENTS), len(wells)))
    difference = np.zeros(len(wells))
    if point is not None:
        there = section.at(np.array([point[0]]), np.array([point[1]]))
        kelvin[0] = difference_over_window(time, there, true, window)
        difference = rate - window_rate(time, there, window)
        speed[0] = np.abs(difference)
    for row, name in enumerate(COMPONENTS[1:], 1):
        for change in parts[name]:
            kelvin[row] = np.hypot(kelvin[row], _rms_over_window(time, true, change, window))
            if name in ("lag", "stem"):
                apart = window_rate(time, true + change, window) - rate
            else:
                apart = (window_rate(time, true + change, window) - window_rate(time, true - change, window)) / 2
            speed[row] = np.hypot(speed[row], apart)
    return kelvin, speed, rate, difference
