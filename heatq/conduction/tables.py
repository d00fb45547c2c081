"""From a steel and its boundaries to the tables the kernel reads."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import at, for_piece, is_uniform, over_time
from heatq.conduction.grid import Demand, Grid
from heatq.errors import InputError, check_name, watch_validity
from heatq.steels.steel import kept_with
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID
from heatq.transformation.kinetics import KineticTables, kinetic_tables, no_kinetics
from heatq.transformation.options import DEFAULT

__all__ = [
    "BoundaryTables",
    "boundary_tables",
    "check_faces",
    "grid_demands",
    "least_capacity",
    "material_of",
    "packed",
    "packed_table",
    "thermal_table",
]

Array = npt.NDArray[np.float64]
#: Sides of the section in the order of the kernel.
SIDES = ("bottom", "top", "outer", "bore")
#: Every so many rows of the tables are enough to choose a grid.
COARSE = 10
COARSE_GRID = np.ascontiguousarray(GRID[::COARSE])
#: A boundary that calls itself smooth is sampled every so many rows, with cubics in between. Its flux moves by less than 2e-6 of
#: itself, 3e-5 where the pieces of a gas's molar heat meet (a test); and numpy lets go of Python's lock in every operation on more
#: than 500 numbers, which holds up a batch on two threads.
SMOOTH = 5
SMOOTH_GRID = np.ascontiguousarray(GRID[::SMOOTH])
#: Knots of a boundary in time, each with its flux over the temperature grid.
Sampled = list[tuple[float, Any, Array]]


def material_of(steel: Any) -> Any:
    """The `Material` of a steel, or the material itself."""
    return getattr(steel, "material", steel)


def thermal_table(material: Any) -> Array:
    """Rows over the temperature grid: volumetric enthalpy (J/m3) of five phases, then their conductivities (W/mK).

    Worked out once per `Material`: integrating the specific heats takes as long as a 1-D run.
    """
    return kept_with(material, _thermal_table)


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


def packed(thermal: Array) -> Array:
    """Columns of a `thermal_table` as the kernel reads them: enthalpy, its change to the next row, conductivity, its change; per phase."""
    change = np.diff(thermal, axis=0, append=thermal[-1:])
    columns = np.stack([thermal[:, :5], change[:, :5], thermal[:, 5:], change[:, 5:]], axis=2)
    return np.ascontiguousarray(columns.reshape(len(thermal), 20))


def packed_table(material: Any) -> Array:
    """The thermal table of a material for the kernel, worked out once per `Material`."""
    return kept_with(material, _packed_table)


def _packed_table(material: Any) -> Array:
    return packed(thermal_table(material))


def least_capacity(material: Any) -> float:
    """Smallest heat capacity of a material (of austenite, of a steel), J/m3K."""
    return kept_with(material, _least_capacity)


def _least_capacity(material: Any) -> float:
    return float(np.diff(thermal_table(material)[:, 4]).min() / (GRID[1] - GRID[0]))


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
    largest_flux: float
    boundaries: tuple[tuple[str, Any], ...]

    def on(self, grid: Grid) -> BoundaryTables:
        """The same tables for another grid, where every boundary `is_uniform`."""
        zones = np.repeat(self.zones[:, :1], max(grid.shape), axis=1)
        return BoundaryTables(zones, self.zone_start, self.knot_time, self.flux, self.largest_flux, self.boundaries)


class Known:
    """What has been sampled for one piece, for the next grid."""

    def __init__(self) -> None:
        #: Id of the boundary of a side -> itself, so that the id stays its own, and its knots.
        self.own: dict[int, tuple[Any, Sampled]] = {}
        #: Rows of the tables at which a boundary left the range of its source.
        self.outside: npt.NDArray[np.bool_] = np.zeros(len(GRID), bool)

    def flux(self, face: str, boundary: Any) -> Array:
        """Flux over the temperature grid."""
        every = SMOOTH if getattr(boundary, "is_smooth", False) else 1
        levels = SMOOTH_GRID if every > 1 else GRID
        with watch_validity() as outside:
            flux = _flux(face, boundary, levels)
        rows = np.arange(len(GRID))
        for where in outside:
            if np.shape(where) == levels.shape:  # a row counts if either of the samples beside it does
                self.outside |= where[rows // every] | where[-(-rows // every)]
            else:
                self.outside |= where if np.shape(where) == () else True
        if every == 1:
            return flux
        from heatq.conduction._probe_kernels import through_cubics

        return through_cubics(flux, every)

    def is_outside(self, low: float, high: float) -> bool:
        """Whether a boundary may have left the range of its source between two temperatures, degC."""
        first, last = int(low - GRID[0]) - 1, int(high - GRID[0]) + 3
        return first < 0 or last > len(GRID) or bool(self.outside[first:last].any())


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
    if flux.shape != levels.shape:
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


def _sampled(face: str, local: Any, end_time: float, flux_of: dict[int, tuple[Any, Array]], known: Known) -> Sampled:
    """Knots of a boundary at one place with their fluxes; ``flux_of`` keeps knots and fluxes for the next place."""
    sampled = []
    for time, knot in over_time(local, end_time):
        if id(knot) not in flux_of:
            flux_of[id(knot)] = (knot, known.flux(face, knot))
        sampled.append((float(time), knot, flux_of[id(knot)][1]))
    return sampled


def _own(face: str, boundary: Any, end_time: float, known: Known) -> Sampled:
    """Knots and fluxes of the boundary of a side itself, worked out once for all grids."""
    if id(boundary) not in known.own:
        known.own[id(boundary)] = (boundary, _sampled(face, boundary, end_time, {}, known))
    return known.own[id(boundary)][1]


def grid_demands(
    specimen: Any,
    sides: Mapping[str, Any],
    places: list,
    initial_temperature: float,
    end_time: float,
    known: Known | None = None,
) -> dict[str, Demand]:
    """What every side asks of the grid, from its flux between the start temperature and where the flux ends."""
    from heatq.conduction._probe_kernels import face_demand

    known = Known() if known is None else known
    length = specimen.length
    nearest = {
        "bottom": min((p.z for p in places), default=0.0),
        "top": 0.0 if length is None else min((length - p.z for p in places), default=0.0),
        "outer": min((specimen.outer_radius - p.r for p in places), default=0.0),
        "bore": min((p.r - specimen.inner_radius for p in places), default=0.0),
    }
    face_of = {side: name for name, side in specimen.faces.items()}
    demands = {}
    for side, boundary in sides.items():
        places_on_face = {id(boundary): boundary}
        if not is_uniform(boundary):
            reach = specimen.outer_radius if side in ("bottom", "top") else (length or 0.0)
            located = [at(boundary, share * reach) for share in (0.0, 0.5, 0.999)]
            places_on_face = {id(local): local for local in located}  # mostly one and the same
        fluxes: list[Array] = []
        for local in places_on_face.values():
            if local is boundary:
                fluxes += [
                    np.ascontiguousarray(flux[::COARSE])
                    for _, _, flux in _own(face_of[side], boundary, end_time, known)
                ]
            else:
                fluxes += [
                    np.ascontiguousarray(_flux(face_of[side], knot, COARSE_GRID))
                    for _, knot in over_time(local, end_time)
                ]
        largest, span, least = 0.0, 0.0, math.inf
        for q in fluxes:
            own = face_demand(COARSE_GRID, q, initial_temperature)
            largest, span, least = max(largest, own[0]), max(span, own[1]), min(least, own[2])
        demands[side] = Demand(largest, span, max(nearest[side], 0.0), least if math.isfinite(least) else 0.0)
    return demands


def boundary_tables(
    specimen: Any,
    sides: Mapping[str, Any],
    grid: Grid,
    end_time: float,
    known: Known | None = None,
) -> BoundaryTables:
    """Sample the boundary of every side into tables; ``known`` keeps what is the same at every place for the next grid."""
    known = Known() if known is None else known
    face_of = {side: name for name, side in specimen.faces.items()}
    nr, nz = grid.shape
    zones = np.full((4, max(nz, nr)), -1, np.int64)
    starts: list[int] = [0]
    table: Sampled = []
    sampled: dict[int, tuple[str, Any]] = {}
    boundaries: list[tuple[str, Any]] = []
    for side_index, side in enumerate(SIDES):
        if side not in sides:
            continue
        boundary, face = sides[side], face_of[side]
        positions = grid.r if side_index < 2 else grid.z
        located = [boundary] if is_uniform(boundary) else [at(boundary, position) for position in positions.tolist()]
        zone_of: dict[int, int] = {}
        flux_of: dict[int, tuple[Any, Array]] = {}
        for n, local in enumerate(located):
            if id(local) not in zone_of:
                zone_of[id(local)] = len(starts) - 1
                own = (
                    _own(face, boundary, end_time, known)
                    if local is boundary
                    else _sampled(face, local, end_time, flux_of, known)
                )
                table += own
                starts.append(len(table))
                for _, knot, _ in own:
                    if id(knot) not in sampled:
                        sampled[id(knot)] = (face, knot)
                        boundaries.append((face, knot))
            zones[side_index, n] = zone_of[id(local)]
        if len(located) == 1:
            zones[side_index, : len(positions)] = zones[side_index, 0]
        if boundaries[-1][1] is not located[0]:
            boundaries.append((face, located[0]))
    flux = np.array([row for _, _, row in table])
    return BoundaryTables(
        zones,
        np.array(starts, np.int64),
        np.array([time for time, _, _ in table]),
        flux,
        float(np.abs(flux).max()),
        tuple(boundaries),
    )
