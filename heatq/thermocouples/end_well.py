"""The field of a piece with a well drilled along its axis, resolved in time on a grid; with and without the well."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.conduction.grid import FIRST_CELL, Grid
from heatq.conduction.tables import boundary_tables, check_faces, grid_demands, material_of, thermal_table
from heatq.errors import InputError, check_name, check_number, collect_validity, hold_validity
from heatq.history import RATE_TEMPERATURE, cooling_rate, cooling_time
from heatq.specimens import Probe, check_piece
from heatq.thermocouples.conduction_with_holes import GRID, Field, march, points
from heatq.thermocouples.disturbance import BLIND_END, SHEATH_CONDUCTIVITY
from heatq.thermocouples.sensor import CABLE_HEAT_CAPACITY, GAP_TEMPERATURE, Thermocouple

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["EndWell", "Filling", "end_well_disturbance"]

Array = npt.NDArray[np.float64]

#: Heat capacity of set ceramic cement, J/m3K: about 2500 kg/m3 x 1000 J/kgK. From memory; an estimate.
CEMENT_HEAT_CAPACITY = 2.5e6
#: Step tolerance (K) per kelvin of wanted accuracy, as in `heatq.simulate`.
TOLERANCE_PER_ACCURACY = 0.8
#: Column of `heatq.conduction.tables.thermal_table` for a material with one phase.
PLAIN = 4


@dataclasses.dataclass(frozen=True)
class Filling:
    """What fills a well, or the space around a cable in it, with constant properties.

    Parameters
    ----------
    conductivity : float
        W/mK.
    heat_capacity : float
        Per volume, J/m3K.

    Examples
    --------
    >>> Filling(conductivity=11.0, heat_capacity=3.6e6)
    Filling(conductivity=11.0, heat_capacity=3600000.0)
    """

    conductivity: float
    heat_capacity: float

    def __post_init__(self) -> None:
        """Check the numbers."""
        check_number("conductivity", self.conductivity, low=0.0, high=500.0, unit="W/mK", low_open=True)
        check_number(
            "heat_capacity", self.heat_capacity, low=10.0, high=1e7, unit="J/m3K",
            hint="It is per volume: density times specific heat.",
        )  # fmt: skip


#: A mineral-insulated cable along its length, smeared over its section; the estimates of the two modules it comes from.
CABLE = Filling(SHEATH_CONDUCTIVITY, CABLE_HEAT_CAPACITY)


@dataclasses.dataclass(frozen=True)
class EndWell:
    """A well with a flat bottom, drilled along the axis of a solid piece from an end face; the junction is at its bottom.

    Parameters
    ----------
    depth : float
        m below the end face. 0: no well; temperatures are then those just below the face.
    diameter : float
        m.
    face : str
        Name of the end face that was drilled.
    filling : Filling, Material, Steel or None
        What fills the well, or the space around the cable. None: nothing that conducts; the wall is insulated.
    sheath_diameter : float, optional
        m; a cable of this diameter in the middle, in contact with the bottom.
    sheath : Filling, Material or Steel
        The cable. The default is 11 W/mK and 3.6e6 J/m3K, estimates for mineral-insulated cable.

    Examples
    --------
    >>> EndWell(depth=0.12, diameter=3e-3).filling is None
    True
    """

    depth: float
    diameter: float
    face: str = "top"
    filling: Any = None
    sheath_diameter: float | None = None
    sheath: Any = CABLE

    def __post_init__(self) -> None:
        """Check the sizes."""
        check_number("depth", self.depth, low=0.0, high=10.0, unit="m", hint="Lengths are in metres.")
        check_number("diameter", self.diameter, "diameter", low=1e-5)
        if self.sheath_diameter is not None:
            check_number(
                "sheath_diameter", self.sheath_diameter, low=0.0, high=self.diameter, unit="m", low_open=True,
                hint="The cable must not be wider than its well.",
            )  # fmt: skip

    @classmethod
    def holding(cls, couple: Thermocouple, depth: float, face: str = "top") -> EndWell:
        """Well of a `Thermocouple`, with what its ``fit`` puts into it.

        Parameters
        ----------
        couple : Thermocouple
            Its well, sheath, fit and filler are read.
        depth : float
            m.
        face : str
            Name of the end face.

        Notes
        -----
        Tight: the cable fills the well. Gap: still air at 600 degC around it. Filled: cement of the couple's conductivity.
        """
        filling = None
        if couple.fit == "filled":
            filling = Filling(couple.filler_conductivity, CEMENT_HEAT_CAPACITY)
        elif couple.fit == "gap":
            from heatq.boundaries.gas import gas_properties

            air = gas_properties("air", GAP_TEMPERATURE, 1e5)
            filling = Filling(float(air.conductivity), float(air.density * air.specific_heat))
        return cls(depth, float(couple.well_diameter or 0.0), face, filling, couple.sheath_diameter)


def end_well_disturbance(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    well: EndWell,
    *,
    initial_temperature: float,
    end_time: float,
    stop_below: float | None = None,
    output_times: Sequence[float] | Array | None = None,
    phase: str = "austenite",
    accuracy: float = 0.5,
    cells: int = 8,
    estimate_error: bool = True,
) -> xr.Dataset:
    """What a well on the axis does to the temperature at its bottom: one scheme on one grid, with the well and without it.

    Parameters
    ----------
    specimen : EndQuenchBar or RoundBar
        Solid, with ends.
    steel : Steel or Material
        Its properties; nothing transforms.
    boundaries : mapping
        Face -> boundary, as in `heatq.simulate`. What fills the well at its mouth has the boundary of the face.
    well : EndWell
        The well.
    initial_temperature : float
        degC, uniform, of piece and filling.
    end_time : float
        s.
    stop_below : float, optional
        End when the place is this cold with and without the well, degC.
    output_times : sequence of float, optional
        s; the default is every step.
    phase : str
        Phase of a steel whose properties are used from beginning to end.
    accuracy : float
        K, of the steps in time and of the cells at the faces.
    cells : int
        Across the radius of the well. Their growth away from it is 1/cells.
    estimate_error : bool
        Repeat on a grid with half the cells; ``attrs["numerical_error"]`` is the largest change of ``error``, K.

    Returns
    -------
    xarray.Dataset
        Over ``time``: ``temperature_without``, ``temperature_with`` degC at the middle of the bottom; ``error`` (with less
        without) and ``error_mean``, of the mean over the bottom, K; ``error_steady`` K, what the steady formula for an empty well
        (`heatq.thermocouples.blind_hole_disturbance`) gives for the undisturbed gradient. ``largest_error`` K,
        with its sign, of all steps. ``cooling_rate_704(case)``, ``cooling_time_800_500(case)`` and the errors of both, with less
        without; NaN where a temperature is not passed.
        ``attrs["energy_residual"]``, the larger of both runs, relative.

    Notes
    -----
    Finite volumes in enthalpy form, refined around the bottom; second order in time (linearly implicit, two stages, one
    factorisation), both fields advanced with common steps so that the errors in time nearly cancel. The only physics is conduction:
    no transformation, no latent heat. Contact between metal, filling and cable is perfect. The cable outside the piece is
    left out (`heatq.thermocouples.stem_conduction_error`).

    Examples
    --------
    >>> import heatq as hq
    >>> bar = hq.RoundBar(diameter=0.03, length=0.08)
    >>> oil = dict.fromkeys(bar.faces, hq.Convection(coefficient=1500.0, fluid_temperature=60.0))
    >>> hole = end_well_disturbance(bar, hq.demo_heat(), oil, EndWell(depth=0.02, diameter=3e-3),
    ...                             initial_temperature=850.0, end_time=10.0, cells=4, estimate_error=False)
    >>> bool(0.5 < abs(hole.error).max() < 10.0)
    True
    """
    _check(specimen, well)
    material = material_of(steel)
    several = len(material.phases) > 1
    column = material.phases.index(check_name("phase", phase, material.phases)) if several else PLAIN
    start = check_number("initial_temperature", initial_temperature, "initial_temperature")
    check_number("end_time", end_time, "end_time")
    check_number("accuracy", accuracy, "accuracy")
    if stop_below is not None:
        check_number("stop_below", stop_below, low=-100.0, high=start, unit="degC")
    if isinstance(cells, bool) or not isinstance(cells, int) or not 2 <= cells <= 64:
        raise InputError(f"cells = {cells!r}: a whole number from 2 to 64, across the radius of the well.")
    times = None if output_times is None else _times(output_times, end_time)
    with collect_validity() as notes:
        with hold_validity():  # tables reach far beyond the run; what the run visits is checked below
            tables = [_table(stuff, column) for stuff in (material, *_inside(well))]
            run = _Run(specimen, check_faces(specimen, boundaries), well, tables, start, accuracy)
            raw, fields = run.histories(cells, end_time, stop_below)
            coarse = run.histories(max(cells // 2, 1), end_time, stop_below)[0] if estimate_error else None
        fields[0].visit_boundaries()
        material.check_range(fields[0].lowest, fields[0].highest)
    numerical = float("nan")
    if coarse is not None:
        last = min(raw[0, -1], coarse[0, -1])
        common = raw[0][raw[0] <= last]
        numerical = float(np.abs(_between(coarse, common)[3] - raw[3, : len(common)]).max())
    result = _dataset(raw, times)
    result.attrs = {
        "heatq_version": __version__,
        "energy_residual": max(field.energy_residual() for field in fields),
        "numerical_error": numerical,
        "settings": json.dumps(
            {
                "specimen": repr(specimen), "steel": repr(steel), "well": repr(well), "phase": phase,
                "boundaries": {face: repr(boundary) for face, boundary in boundaries.items()},
                "initial_temperature": start, "end_time": end_time, "accuracy": accuracy, "cells": cells,
            }
        ),
        "sources": json.dumps(list(getattr(material, "sources", ()))),
        "warnings": json.dumps(list(notes.values())),
    }  # fmt: skip
    return result


def _check(specimen: Any, well: EndWell) -> None:
    check_piece(specimen)
    if not isinstance(well, EndWell):
        raise InputError(f"well = {well!r}: an EndWell, such as EndWell(depth=0.05, diameter=3e-3).")
    ends = [name for name, side in specimen.faces.items() if side in ("bottom", "top")]
    if specimen.inner_radius > 0.0 or specimen.length is None:
        raise InputError(f"specimen = {specimen!r}: a well on the axis needs a solid piece with ends.")
    if well.face == "jet":
        raise InputError(
            "well.face = 'jet': the jet would fill a well in the quenched end; drill from the top or the side."
        )
    check_name("well.face", well.face, ends)
    check_number(
        "well.depth", well.depth, low=0.0, high=specimen.length - well.diameter / 2, unit="m",
        hint="A well needs metal beyond its bottom.",
    )  # fmt: skip
    check_number("well.diameter", well.diameter, low=1e-5, high=specimen.outer_radius, unit="m")


def _inside(well: EndWell) -> tuple[Any, Any]:
    """Filling and cable (None: nothing)."""
    return well.filling, None if well.sheath_diameter is None else well.sheath


def _table(stuff: Any, column: int) -> Array | None:
    """Enthalpy (J/m3) and conductivity (W/mK) over the temperature grid; None: an insulator."""
    if stuff is None:
        return None
    if isinstance(stuff, Filling):
        return np.array([stuff.heat_capacity * GRID, np.full(len(GRID), stuff.conductivity)])
    material = material_of(stuff)
    if len(material.phases) == 1:
        column = PLAIN
    return np.ascontiguousarray(thermal_table(material)[:, [column, column + 5]].T)


def _times(times: Any, end_time: float) -> Array:
    values = np.atleast_1d(np.asarray(times, dtype=float))
    if values.ndim != 1 or not np.isfinite(values).all() or (np.diff(values) <= 0).any() or values[0] < 0.0:
        raise InputError("output_times must be finite times in seconds that increase strictly from 0 s or later.")
    if values[-1] > end_time * (1 + 1e-12):
        raise InputError(f"output_times reach to {values[-1]:g} s, beyond end_time = {end_time:g} s.")
    return values


class _Run:
    """One piece with its well: grids, and the two fields on each."""

    def __init__(
        self, specimen: Any, sides: dict[str, Any], well: EndWell, tables: list[Any], start: float, accuracy: float
    ) -> None:
        self.specimen, self.sides, self.well, self.tables = specimen, sides, well, tables
        self.start, self.accuracy = start, accuracy
        self.upper = specimen.faces[well.face] == "top"
        self.z = specimen.length - well.depth if self.upper else well.depth

    def grid(self, cells: int, end_time: float) -> Grid:
        """Cells of a/cells at the well, growing by 1/cells; at the faces as thin as their heat flux asks."""
        a, radius, length = self.well.diameter / 2, self.specimen.outer_radius, self.specimen.length
        fine, growth = a / cells, 1.0 / cells
        demands = grid_demands(self.specimen, self.sides, [Probe(0.0, self.z, "bottom")], self.start, end_time)
        conductivity = float(np.interp(self.start, GRID, self.tables[0][1]))
        scale = 8.0 / cells  # all cells, also those at the faces, follow ``cells``

        def at_face(side: str, reach: float) -> float:
            first = FIRST_CELL * self.accuracy * conductivity / max(demands[side].flux, 1e-30)
            return scale * float(np.clip(first, reach / 150.0, reach / 15.0))

        core = self.well.sheath_diameter
        r = [points(a, fine, fine, growth)]
        if core is not None and core < self.well.diameter:
            gap = (self.well.diameter - core) / 2
            r = [points(core / 2, fine, min(fine, gap), growth), core / 2 + points(gap, min(fine, gap), fine, growth)]
        r.append(a + points(radius - a, fine, min(at_face("outer", radius), radius), growth))
        z = [points(self.z, at_face("bottom", length / 4), fine, growth)] if self.z > 0.0 else []
        if self.z < length:
            z.append(self.z + points(length - self.z, fine, at_face("top", length / 4), growth))
        return Grid(*(np.concatenate([part[0][:1], *(p[1:] for p in part)]) for part in (r, z)))

    def histories(self, cells: int, end_time: float, stop_below: float | None) -> tuple[Array, list[Field]]:
        """Rows time, without, with, error, error of the mean, steady error; the fields without and with at the end."""
        grid = self.grid(cells, end_time)
        kind = np.zeros(grid.shape, int)
        inside = (grid.z > self.z) if self.upper else (grid.z < self.z)
        kind[np.ix_(grid.r < self.well.diameter / 2, inside)] = 1
        if self.well.sheath_diameter is not None:
            kind[np.ix_(grid.r < self.well.sheath_diameter / 2, inside)] = 2
        outside = boundary_tables(self.specimen, self.sides, grid, end_time)
        fields = [Field(grid, which, self.tables, outside, self.start) for which in (0 * kind, kind)]
        k = int(np.argmin(np.abs(grid.z_faces - self.z)))  # face number k lies between cells k - 1 and k
        k = min(max(k, 1), grid.shape[1] - 1)  # without a well (depth 0) the first face inside will do
        columns = (k - 1, k) if self.upper else (k, k - 1)  # metal below the bottom, cell in the well
        across = grid.r < self.well.diameter / 2
        weights = grid.r_table[3][across] / grid.r_table[3][across].sum()
        apart = abs(grid.z[columns[1]] - grid.z[columns[0]])

        def read() -> Array:
            both = [field.between(columns)[across] for field in fields]
            gradient = float(fields[0].temp[0, columns[1]] - fields[0].temp[0, columns[0]]) / apart  # to the mouth
            change = both[1] - both[0]
            steady = -BLIND_END * gradient * self.well.diameter / 2 if self.well.depth > 0.0 else 0.0
            return np.array([both[0][0], both[1][0], change[0], change @ weights, steady])

        tolerance = TOLERANCE_PER_ACCURACY * self.accuracy
        time, rows = march(fields, end_time, tolerance, read, stop_below)
        return np.vstack([time, rows.T]), fields


def resolved_changes(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    wells: list[Any],
    reasons: list[str],
    diameter: float,
    **run: Any,
) -> dict[int, tuple[Array, Array]]:
    """Number of each well on the axis that can be drilled -> falling temperatures without it, and its error (K) at them.

    Over temperature and not over time, because the piece itself transforms and these fields do not.
    """
    found = {}
    for n, well in enumerate(wells):
        if well.entry == "end" and well.r < 1e-9 and specimen.inner_radius == 0.0 and not reasons[n]:
            hole = EndWell(well.depth, diameter, well.face)
            one = end_well_disturbance(specimen, steel, boundaries, hole, estimate_error=False, **run)
            found[n] = (np.minimum.accumulate(one["temperature_without"].values), one["error"].values)
    return found


def _between(raw: Array, times: Array) -> Array:
    from scipy.interpolate import PchipInterpolator

    if len(raw[0]) < 2:
        return np.vstack([times, np.repeat(raw[1:, :1], len(times), axis=1)])
    return np.vstack([times, np.asarray(PchipInterpolator(raw[0], raw[1:], axis=1)(times))])


def _dataset(raw: Array, times: Array | None) -> xr.Dataset:
    import xarray as xr

    cases = {"case": ("case", ["without", "with"], {"units": "1", "long_name": "without and with the well"})}
    history = xr.Dataset(
        {"temperature": (("time", "probe"), raw[1:3].T)}, coords={"time": raw[0], "probe": ["without", "with"]}
    )
    shown = raw if times is None else _between(raw, times[times <= raw[0, -1]])
    result = xr.Dataset(coords={"time": ("time", shown[0], {"units": "s", "long_name": "time"}), **cases})
    named = (
        ("temperature_without", "degC", "temperature at the place without the well"),
        ("temperature_with", "degC", "temperature at the middle of the bottom"),
        ("error", "K", "with less without, middle of the bottom"),
        ("error_mean", "K", "with less without, mean over the bottom"),
        ("error_steady", "K", "steady formula for an empty well"),
    )
    for row, (name, units, about) in zip(shown[1:], named, strict=True):
        result[name] = ("time", row, {"units": units, "long_name": about})
    largest = float(raw[3, np.abs(raw[3]).argmax()])
    result["largest_error"] = ((), largest, {"units": "K", "long_name": "largest error, middle of the bottom"})
    read: tuple[tuple[str, Array, str, str], ...] = (
        ("cooling_rate_704", cooling_rate(history, RATE_TEMPERATURE).values, "K/s", "cooling rate at 704 degC"),
        ("cooling_time_800_500", cooling_time(history, 800.0, 500.0).values, "s", "time from 800 to 500 degC"),
    )
    for name, both, units, about in read:
        result[name] = ("case", both, {"units": units, "long_name": about})
        result[f"error_{name}"] = ((), float(both[1] - both[0]), {"units": units, "long_name": f"error of the {about}"})
    return result
