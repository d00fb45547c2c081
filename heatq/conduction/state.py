"""One problem, and the arrays of a run on one grid, in the layout of the kernel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from heatq.boundaries.timeline import is_uniform
from heatq.conduction.grid import Grid, make_grid, probe_weights
from heatq.conduction.tables import (
    BoundaryTables,
    Known,
    boundary_tables,
    grid_demands,
    kinetics_of,
    least_capacity,
    material_of,
    packed_table,
    thermal_table,
)
from heatq.errors import InputError
from heatq.transformation.formulas import ac1_andrews_1965
from heatq.transformation.kinetics import TEMPERATURE_GRID as GRID

__all__ = ["Job", "State"]

Array = npt.NDArray[np.float64]
#: Distance of the rows of the tables, K.
STEP = float(GRID[1] - GRID[0])


class Job:
    """What stays the same when a run is repeated on another grid."""

    def __init__(
        self,
        specimen: Any,
        steel: Any,
        coupled: bool,
        kinetics: Any,
        sides: Mapping[str, Any],
        initial_temperature: float,
        end_time: float,
        places: list,
        is_whole: bool = False,
    ) -> None:
        self.specimen, self.places, self.sides = specimen, places, sides
        self.initial_temperature, self.end_time, self.is_whole = initial_temperature, end_time, is_whole
        self.positions = np.array([(place.r, place.z) for place in places], float)
        self.material = material_of(steel)
        self.transforms, self.kinetics = kinetics_of(steel, coupled, kinetics)
        if self.transforms:
            ac1 = ac1_andrews_1965(steel)
            if initial_temperature < ac1:
                raise InputError(
                    f"initial_temperature = {initial_temperature:g} degC is below Ac1 = {ac1:.0f} degC of the steel: it would "
                    "not be austenite, and heating is not modelled. Start above Ac3, or pass a plain Material."
                )
        self.thermal, self.packed = thermal_table(self.material), packed_table(self.material)
        self.known = Known()
        row = min(max(math.ceil((initial_temperature - GRID[0]) / STEP), 0), len(GRID) - 1)
        self.conductivity = float(self.thermal[row, 9])
        self.least_capacity = least_capacity(self.material)
        self.demands = grid_demands(specimen, sides, places, initial_temperature, end_time, self.known)
        self.is_uniform = all(is_uniform(boundary) for boundary in sides.values())
        self.tables: BoundaryTables | None = None

    def state(self, accuracy: float, cells: tuple[int, int] | None = None) -> State:
        """Start state on the grid for an accuracy."""
        grid = make_grid(
            self.specimen,
            accuracy,
            cells,
            demands=self.demands,
            conductivity=self.conductivity,
            is_transforming=bool(self.transforms),
            is_whole=self.is_whole,
        )
        if self.tables is None or not self.is_uniform:
            self.tables = boundary_tables(self.specimen, self.sides, grid, self.end_time, self.known)
        return State(self, grid, self.tables.on(grid) if self.is_uniform else self.tables)


class State:
    """Arrays of one run, in the layout of the kernel."""

    def __init__(self, job: Job, grid: Grid, tables: Any) -> None:
        self.grid, self.tables = grid, tables
        nr, nz = shape = grid.shape
        self.transforms, self.kinetics, self.thermal, self.packed = (
            job.transforms,
            job.kinetics,
            job.thermal,
            job.packed,
        )
        self.least_capacity = job.least_capacity
        start = job.initial_temperature
        self.temp = np.empty(shape)
        self.temp.fill(start)
        self.mass, self.cond = np.empty(shape), np.empty(shape)
        self.fractions, self.sums = np.zeros((4, nr, nz)), np.zeros((3, nr, nz))
        self.formation, self.memory = np.zeros((3, nr, nz)), np.zeros((5, nr, nz))
        self.surface = np.empty((4, max(nz, nr)))
        self.surface.fill(start)
        self.energy_out = np.zeros(4)
        self.work: tuple[Array, ...] = ()
        self.record = np.empty((0, 0))
        self.volume = grid.volume
        low, share = _row(start)
        self.enthalpy = np.empty(shape)
        self.enthalpy.fill(self.thermal[low, 4] + share * (self.thermal[low + 1, 4] - self.thermal[low, 4]))
        self.energy_start = float((self.volume * self.enthalpy).sum())
        self.probe_tables = probe_weights(grid, job.positions, job.specimen.inner_radius == 0.0)
        self.width = 5 + (5 if self.transforms else 1) * len(job.places)
        # time, next step, accepted, rejected, lowest and highest temperature, step after a jump, end below, status, rows written
        self.clock = np.array([0.0, 0.0, 0.0, 0.0, start, start, 0.0, -1e9, 0.0, 0.0])
        self.records: list[Array] = [self._first_row(len(job.places), start)]
        self.fields: list[tuple[float, Array, Array]] = []
        self.compile_seconds = 0.0
        self.solve_seconds = 0.0

    def _first_row(self, count: int, temperature: float) -> Array:
        row = np.zeros((1, self.width))
        row[0, 5 : 5 + count] = temperature
        return row

    def rows(self) -> Array:
        """All rows of the run so far in one array: time, heat out of the four faces, then temperatures and fractions at the probes."""
        if len(self.records) > 1:
            self.records = [np.concatenate(self.records)]
        return self.records[0]

    def mixture_enthalpy(self) -> Array:
        """Enthalpy (J/m3) of every cell from its temperature and fractions, independent of the integrated state."""
        from heatq.conduction._probe_kernels import mixture_enthalpy

        return mixture_enthalpy(self.temp, self.fractions, self.thermal, float(GRID[0]), STEP)

    def energy_residual(self) -> float:
        """Energy lost by the piece less energy out of its faces, relative to the larger of what moved and 1 J."""
        lost = self.energy_start - float((self.volume * self.mixture_enthalpy()).sum())
        moved = max(
            abs(lost),
            float(np.abs(self.energy_out).sum()),
            1e-9 * abs(self.energy_start),
            1e-300,
        )
        return abs(lost - float(self.energy_out.sum())) / moved

    def first_step(self, tolerance: float) -> float:
        """A step in which the hardest-quenched cell changes by about the tolerance."""
        step = tolerance * self.least_capacity * self.grid.thinnest / max(self.tables.largest_flux, 1e-30)
        return min(max(step, 1e-9), 1.0)


def _row(temperature: float) -> tuple[int, float]:
    """Row of the tables below a temperature, and the share of the way to the next."""
    row = (temperature - float(GRID[0])) / STEP
    low = min(max(int(row), 0), len(GRID) - 2)
    return low, row - low
