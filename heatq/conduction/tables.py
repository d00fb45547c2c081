"""From a steel and its boundaries to the tables the kernel reads."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import at, for_piece, over_time
from heatq.conduction.grid import Demand, Grid
from heatq.errors import InputError, check_name
from heatq.steels.material import Material
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID
from heatq.transformation.kinetics import KineticTables, kinetic_tables, no_kinetics
from heatq.transformation.options import DEFAULT

__all__ = [
    "BoundaryTables",
    "boundary_tables",
    "check_faces",
    "grid_demands",
    "material_of",
    "thermal_table",
]

Array = npt.NDArray[np.float64]


def material_of(steel: Any) -> Any:
    """The `Material` of a steel, or the material itself."""
    return getattr(steel, "material", steel)


def thermal_table(material: Any) -> Array:
    """Rows over the temperature grid: volumetric enthalpy (J/m3) of five phases, then their conductivities (W/mK).

    Worked out once per `Material`, which cannot change: integrating the specific heats takes as long as a 1-D run.
    """
    if not isinstance(material, Material):
        return _thermal_table(material)
    kept = vars(material).get("_thermal_table")
    if kept is None:
        kept = _thermal_table(material)
        object.__setattr__(material, "_thermal_table", kept)
    return kept


def _thermal_table(material: Any) -> Array:
    enthalpy = np.asarray(material.enthalpy(GRID)) * material.density
    conductivity = np.asarray(material.conductivity(GRID))
    if len(material.phases) == 1:
        enthalpy, conductivity = (
            np.repeat(enthalpy, 5, axis=0),
            np.repeat(conductivity, 5, axis=0),
        )
    if not (np.isfinite(enthalpy).all() and (np.diff(enthalpy, axis=1) > 0).all()):
        raise InputError(f"the enthalpy of {material.name!r} must grow with temperature in every phase.")
    if not (np.isfinite(conductivity).all() and (conductivity > 0).all()):
        raise InputError(
            f"the conductivity of {material.name!r} must be positive from {GRID[0]:g} to {GRID[-1]:g} degC."
        )
    return np.ascontiguousarray(np.concatenate([enthalpy, conductivity]).T)


def kinetics_of(steel: Any, coupled: bool, kinetics: Any = DEFAULT) -> tuple[int, KineticTables]:
    """Whether the material transforms inside the step, and its kinetic tables."""
    if coupled and len(material_of(steel).phases) == 5:
        return 1, kinetic_tables(steel, kinetics)
    return 0, no_kinetics()


@dataclasses.dataclass(frozen=True)
class BoundaryTables:
    """Zones of the faces, their knots in time, and the flux over surface temperature at each knot."""

    zones: npt.NDArray[np.int64]
    zone_start: npt.NDArray[np.int64]
    knot_time: Array
    flux: Array
    boundaries: tuple[tuple[str, Any], ...]


def _flux(face: str, boundary: Any, levels: Array) -> Array:
    heat_flux = getattr(boundary, "heat_flux", None)
    if not callable(heat_flux) or isinstance(boundary, type):
        raise InputError(
            f"boundary of face {face!r}: {boundary!r} has no heat_flux(surface_temperature) method; "
            "use one of heatq's boundaries (an object, not the class) or give your class that method."
        )
    flux = np.asarray(heat_flux(levels.copy()), dtype=float)
    if flux.shape not in ((), levels.shape):
        raise InputError(
            f"boundary of face {face!r}: heat_flux returned the shape {flux.shape} for temperatures of shape {levels.shape}; "
            "it must return one flux for every temperature."
        )
    flux = np.broadcast_to(flux, levels.shape)
    if not np.isfinite(flux).all():
        bad = levels[~np.isfinite(flux)][0]
        raise InputError(f"boundary of face {face!r}: heat_flux is not finite at a surface of {bad:g} degC.")
    return flux


def check_faces(specimen: Any, boundaries: Mapping[str, Any]) -> dict[str, Any]:
    """Side of the section -> boundary that knows its piece; every face needs one.

    Raises
    ------
    InputError
        For a missing or unknown face.
    """
    faces = specimen.faces
    what = type(specimen).__name__
    if not isinstance(boundaries, Mapping):
        raise InputError(f"boundaries must be a dict from face to boundary; {what} has the faces {', '.join(faces)}.")
    for name in boundaries:
        check_name("face", name, faces, what=f"face of {what}")
    missing = [name for name in faces if name not in boundaries]
    if missing:
        raise InputError(
            f"no boundary for face {missing[0]!r}: every face of {what} ({', '.join(faces)}) needs one; "
            "for a face without heat flow write Insulated()."
        )
    return {side: for_piece(boundaries[name], specimen, name) for name, side in faces.items()}


def grid_demands(
    specimen: Any,
    sides: Mapping[str, Any],
    places: list,
    initial_temperature: float,
    end_time: float,
) -> dict[str, Demand]:
    """What every side asks of the grid, from its flux between the start temperature and where the flux ends."""
    length = specimen.length
    levels = np.linspace(GRID[0], GRID[-1], 156)
    nearest = {
        "bottom": min((p.z for p in places), default=0.0),
        "top": 0.0 if length is None else min((length - p.z for p in places), default=0.0),
        "outer": min((specimen.outer_radius - p.r for p in places), default=0.0),
        "bore": min((p.r - specimen.inner_radius for p in places), default=0.0),
    }
    face_of = {side: name for name, side in specimen.faces.items()}
    demands = {}
    for side, boundary in sides.items():
        reach = specimen.outer_radius if side in ("bottom", "top") else (length or 0.0)
        flux = span = 0.0
        least = np.inf
        places_on_face = [at(boundary, share * reach) for share in (0.0, 0.5, 0.999)]
        for local in {id(local): local for local in places_on_face}.values():  # mostly one and the same
            for _, knot in over_time(local, end_time):
                q = _flux(face_of[side], knot, levels)
                start = float(np.interp(initial_temperature, levels, q))
                cooling = start >= 0.0
                between = (
                    (levels <= initial_temperature) & (q > 0) if cooling else (levels >= initial_temperature) & (q < 0)
                )
                if start == 0.0 and not between.any():
                    continue
                crossed = levels[between]
                flux = max(flux, abs(start), float(np.abs(q[between]).max(initial=0.0)))
                if crossed.size:
                    end = crossed.min() if cooling else crossed.max()
                    here = float(abs(initial_temperature - end))
                    span = max(span, here)
                    far = np.abs(crossed - end) > 0.2 * here  # nearer to its end h is a small over a small number
                    least = min(least, float(np.abs(q[between][far] / (crossed[far] - end)).min(initial=np.inf)))
                else:
                    least = 0.0
        demands[side] = Demand(flux, span, max(nearest[side], 0.0), least if np.isfinite(least) else 0.0)
    return demands


def boundary_tables(
    specimen: Any,
    sides: Mapping[str, Any],
    grid: Grid,
    end_time: float,
    known: dict[int, tuple[Any, Array]] | None = None,
) -> BoundaryTables:
    """Sample the boundary of every side into tables; ``known`` keeps those of the boundary itself for the next grid."""
    known = {} if known is None else known
    face_of = {side: name for name, side in specimen.faces.items()}
    nr, nz = grid.shape
    zones = np.full((4, max(nz, nr)), -1, np.int64)
    starts: list[int] = [0]
    times: list[tuple[float, int]] = []
    rows: list[Array] = []
    sampled: list[tuple[str, Any]] = []
    table_of: dict[int, int] = {}
    for side_index, side in enumerate(("bottom", "top", "outer", "bore")):
        if side not in sides:
            continue
        boundary = sides[side]
        face = face_of[side]
        zone_of: dict[int, int] = {}
        keep_alive = []
        for n, position in enumerate(grid.r if side_index < 2 else grid.z):
            local = at(boundary, float(position))
            if id(local) not in zone_of:
                keep_alive.append(local)
                zone_of[id(local)] = len(starts) - 1
                knots = over_time(local, end_time)
                for knot_time, knot in knots:
                    key = id(knot)
                    if key not in table_of:
                        table_of[key] = len(rows)
                        if knot is boundary:
                            if key not in known:
                                known[key] = (knot, _flux(face, knot, GRID))
                            rows.append(known[key][1])
                        else:
                            rows.append(_flux(face, knot, GRID))
                        sampled.append((face, knot))
                    times.append((float(knot_time), table_of[key]))
                starts.append(len(times))
            zones[side_index, n] = zone_of[id(local)]
        sampled.append((face, keep_alive[0]))
    knots_at = np.array([t for t, _ in times])
    flux = np.array([rows[k] for _, k in times])
    return BoundaryTables(zones, np.array(starts, np.int64), knots_at, flux, tuple(sampled))
