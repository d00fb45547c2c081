"""The gas on its way through a load, and back through vessel, cooler and fan."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.boundaries.gas import gas_properties
from heatq.boundaries.timeline import Boundary, Knots, at, for_piece
from heatq.conduction import simulate
from heatq.decide.furnace import Furnace
from heatq.decide.quenches import GasQuench
from heatq.decide.runs import start_of
from heatq.errors import InputError, check_number
from heatq.specimens import RoundBar
from heatq.units import to_kelvin

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Anderson", "Carried", "Course", "Gas", "Passage", "Row"]

Array = npt.NDArray[np.float64]

#: Where the gas may be, degC: table of its enthalpy.
_GAS = np.arange(-20.0, 1221.0, 1.0)
#: Pressure from which the gas counts while it rises, Pa: below it carries next to nothing, and its properties are not known.
LOWEST = 1e4
#: Step tolerance over accuracy. Steps are chosen anew in every sweep, and what that moves must stay small beside what the sweeps
#: are to settle to; fine steps move less.
STEADY = 0.1


@dataclasses.dataclass(frozen=True)
class Course(Boundary):
    """A boundary that goes through given boundaries at given times, its flux linear in time between them.

    Parameters
    ----------
    times : tuple of float
        s, from 0.
    states : tuple of boundary
        One per time.
    """

    times: tuple[float, ...]
    states: tuple[Any, ...]

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Of the first state, W/m2."""
        return np.asarray(self.states[0].heat_flux(surface_temperature))

    def over_time(self, end_time: float) -> Knots:
        """All states up to the end, and the first after it."""
        last = int(np.searchsorted(self.times, end_time)) + 1
        return list(zip(self.times[:last], self.states[:last], strict=True))

    def at(self, position: float) -> Course:
        """What acts at one place."""
        return Course(self.times, tuple(at(state, position) for state in self.states))

    def for_piece(self, specimen: Any, face: str) -> Course:
        """What knows the piece."""
        return Course(self.times, tuple(for_piece(state, specimen, face) for state in self.states))

    def __repr__(self) -> str:
        """Short."""
        return f"Course({len(self.times)} states of {self.states[0]!r})"


@dataclasses.dataclass(frozen=True)
class Carried(Boundary):
    """A gas boundary whose gas warms up along the surface, by what it carries.

    With h = q/(Ts - Tg) of the boundary in gas of the entering temperature, the mean flux over a surface of one temperature is
    c (1 - exp(-h/c)) (Ts - Tg), c being the heat capacity rate of the gas over the surface: the exchanger with one side at constant
    temperature (Incropera, 6th ed., Table 11.4, from memory). The gas can never leave hotter than the steel.

    Parameters
    ----------
    boundary : boundary
        In the gas as it comes in.
    temperature : float
        Of that gas, degC.
    carried : float
        c, W/m2K.

    Examples
    --------
    >>> from heatq.boundaries import Convection
    >>> float(Carried(Convection(100.0, 20.0), 20.0, 1e9).heat_flux(np.array(120.0)).round(2))
    10000.0
    >>> float(Carried(Convection(1e5, 20.0), 20.0, 50.0).heat_flux(np.array(120.0)).round(2))
    5000.0
    """

    boundary: Any
    temperature: float
    carried: float

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Mean heat flux out of the surface, W/m2."""
        surface = np.asarray(surface_temperature, dtype=float)
        flux = np.asarray(self.boundary.heat_flux(surface))
        apart = surface - self.temperature
        close = np.abs(apart) < 1e-6
        units = np.where(close, 0.0, flux / np.where(close, 1.0, apart)) / self.carried
        limited = -self.carried * np.expm1(-units) * apart
        return np.asarray(np.where(close, flux, limited))

    def at(self, position: float) -> Carried:
        """What acts at one place."""
        return Carried(at(self.boundary, position), self.temperature, self.carried)

    def for_piece(self, specimen: Any, face: str) -> Carried:
        """What knows the piece."""
        return Carried(for_piece(self.boundary, specimen, face), self.temperature, self.carried)


class Gas:
    """Enthalpy of the gas per kg over its temperature, and back."""

    def __init__(self, gas: Any, pressure: float) -> None:
        self.gas, self.pressure = gas, pressure
        heat = np.asarray(gas_properties(gas, _GAS, pressure).specific_heat)
        self.table = np.concatenate([[0.0], np.cumsum(0.5 * (heat[1:] + heat[:-1]) * np.diff(_GAS))])

    def enthalpy(self, temperature: Any) -> Array:
        """J/kg, 0 at the lowest temperature of the table."""
        return np.interp(temperature, _GAS, self.table)

    def temperature(self, enthalpy: Any) -> Array:
        """DegC."""
        return np.interp(enthalpy, self.table, _GAS)

    def specific_heat(self, temperature: Any) -> Array:
        """J/kgK, the slope of the table."""
        return self.enthalpy(np.asarray(temperature) + 0.5) - self.enthalpy(np.asarray(temperature) - 0.5)

    def density(self, temperature: Any, pressure: Any) -> Array:
        """kg/m3, ideal gas as in `gas_properties`."""
        one = float(gas_properties(self.gas, 20.0, self.pressure).density)
        scale = to_kelvin(20.0) / to_kelvin(np.asarray(temperature, dtype=float))
        return np.asarray(one * np.asarray(pressure) / self.pressure * scale)


class Row(NamedTuple):
    """What one row did: its run, and per interval the heat of pieces and fixtures (J) and the gas after it (J/kg)."""

    run: xr.Dataset
    pieces: Array
    fixtures: Array
    after: Array
    fixture_temperature: Array


class Passage:
    """The gas on its way through a load, interval by interval.

    In every interval the gas is carried through without being stored; it is stored in the vessel only, well mixed, between the
    last row and the cooler. A row sees the gas as it comes in, and takes from it what an exchanger of one temperature takes
    (`Carried`).
    """

    def __init__(
        self, furnace: Furnace, load: Any, quench: GasQuench, end_time: float, knots: int, options: Any
    ) -> None:
        self.furnace, self.load, self.quench, self.options = furnace, load, quench, options
        rise = furnace.pressure_rise_time
        first = min(max(0.02 * rise, 0.5), 0.01 * end_time)
        times = np.concatenate([[0.0], np.geomspace(first, end_time, knots)])
        if 0.0 < rise < end_time:
            times = np.unique(np.append(times, rise))
        self.times = times
        self.step = np.diff(times)
        self.gas = Gas(quench.gas, quench.pressure)
        risen = np.clip(times / rise, 0.0, 1.0) if rise > 0.0 else np.ones_like(times)
        self.pressure = np.maximum(quench.pressure * risen, min(LOWEST, quench.pressure))
        if len(getattr(getattr(load.steel, "material", None), "phases", ())) == 5:
            self.start = start_of(load.steel, options["initial_temperature"])
        elif options["initial_temperature"] is None:
            raise InputError(
                "initial_temperature: a plain Material has no austenitizing temperature; state the start in degC."
            )
        else:
            self.start = check_number("initial_temperature", options["initial_temperature"], "initial_temperature")

    def mass_flow(self, inlet: Array) -> Array:
        """Through the load, kg/s, at every knot, for the gas temperature in front of it (degC at the knots)."""
        flow_rate = self.quench.velocity * self.furnace.flow_area
        return flow_rate * self.gas.density(inlet, self.pressure) * (1.0 - self.furnace.bypass)

    def at_knots(self, means: Array, first: float) -> Array:
        """Temperatures at the knots from the means of the intervals: linear between their middles."""
        middle = 0.5 * (self.times[1:] + self.times[:-1])
        return np.interp(self.times, np.concatenate([[0.0], middle]), np.concatenate([[first], means]))

    def row(self, before: Array, flow: Array) -> Row:
        """Cool one row in gas whose enthalpy before it is given per interval."""
        load, times = self.load, self.times
        entering = self.gas.temperature(before)
        gas = self.at_knots(entering, float(entering[0]))
        speed = flow / ((1.0 - self.furnace.bypass) * self.furnace.flow_area * self.gas.density(gas, self.pressure))
        states = [
            self.quench.replace(temperature=float(t), pressure=float(p), velocity=float(v), label="course")
            for t, p, v in zip(gas, self.pressure, speed, strict=True)
        ]
        # what a square metre of surface can send into the gas, per kelvin
        carried = flow * self.gas.specific_heat(gas) / (self.piece_area + self.fixture_area)
        faces = [state.boundaries(load.piece) for state in states]
        run = simulate(
            load.piece,
            load.steel,
            {
                face: Course(
                    tuple(times),
                    tuple(
                        Carried(every[face], float(t), float(c))
                        for every, t, c in zip(faces, gas, carried, strict=True)
                    ),
                )
                for face in faces[0]
            },
            initial_temperature=self.start,
            end_time=float(times[-1]),
            output_times=times,
            probes=self.options["probes"],
            accuracy=self.options["accuracy"],
            kinetics=self.options["kinetics"],
            coupled=self.options["coupled"],
            step_tolerance=STEADY * self.options["accuracy"],
            estimate_error=False,
            progress=False,
        )
        length = load.length if load.piece.length is None else 1.0
        heat = np.diff(run["heat_removed"].sum("face").values) * length * load.per_row
        fixtures, temperature = self.fixtures(states, gas, carried)
        return Row(
            run, heat, fixtures, before + (heat + fixtures) / (self.step * 0.5 * (flow[1:] + flow[:-1])), temperature
        )

    @property
    def piece_area(self) -> float:
        """Surface of the pieces of one row, m2."""
        piece = self.load.piece
        around = 2.0 * np.pi * (piece.outer_radius + piece.inner_radius) * self.load.length
        ends = 0.0 if piece.length is None else 2.0 * np.pi * (piece.outer_radius**2 - piece.inner_radius**2)
        return float(self.load.per_row * (around + ends))

    @property
    def fixture_area(self) -> float:
        """Surface of the fixtures of one row, m2: rods of their diameter."""
        load = self.load
        density = float(getattr(load.steel, "material", load.steel).density)
        return 4.0 * load.fixture_mass / load.rows / (density * load.fixture_diameter)

    def fixtures(self, states: list[GasQuench], gas: Array, carried: Array) -> tuple[Array, Array]:
        """Heat of the fixtures of one row per interval (J) and their temperature at the knots: lumped rods in cross-flow."""
        load = self.load
        mass = load.fixture_mass / load.rows
        temperature = np.full(len(self.times), self.start)
        if mass == 0.0:
            return np.zeros(len(self.step)), temperature
        rod = RoundBar(diameter=load.fixture_diameter)
        side = [
            Carried(for_piece(state.boundaries(rod)["side"], rod, "side"), float(t), float(c))
            for state, t, c in zip(states, gas, carried, strict=True)
        ]
        heat = np.empty(len(self.step))
        capacity = mass * load.fixture_specific_heat
        for n, step in enumerate(self.step):
            now = temperature[n]
            # exponential step with the coefficient of the middle of the interval, so that long steps stay between the gas and now
            sink = 0.5 * (gas[n] + gas[n + 1])
            level = np.array([now])
            flux = 0.5 * float(side[n].heat_flux(level)[0] + side[n + 1].heat_flux(level)[0])
            rate = flux * self.fixture_area / capacity / (now - sink) if abs(now - sink) > 1e-9 else 0.0
            temperature[n + 1] = sink + (now - sink) * np.exp(-max(rate, 0.0) * step)
            heat[n] = capacity * (now - temperature[n + 1])
        return heat, temperature

    def through(self, inlet: Array, flow: Array) -> list[Row]:
        """All rows one after the other."""
        rows: list[Row] = []
        before = inlet
        for _ in range(self.load.rows):
            rows.append(self.row(before, flow))
            before = rows[-1].after
        return rows

    def loop(self, after: Array, flow: Array) -> dict[str, Array]:
        """Vessel, cooler and fan, interval by interval (implicit): the enthalpy that comes back to the first row."""
        furnace, gas = self.furnace, self.gas
        held = furnace.volume * float(gas.density(furnace.cooler.water_temperature, self.quench.pressure))
        vessel = float(gas.enthalpy(furnace.cooler.water_temperature))
        out: dict[str, list[float]] = {name: [] for name in ("inlet", "cooler", "fan", "stored")}
        for n, step in enumerate(self.step):
            through = 0.5 * float(flow[n] + flow[n + 1])
            beside = through * furnace.bypass / (1.0 - furnace.bypass)
            total = through + beside
            # held (new - old) = step (through after + beside inlet - total new), with inlet = new - cooled + fan
            density = float(gas.density(gas.temperature(vessel), 0.5 * (self.pressure[n] + self.pressure[n + 1])))
            power = furnace.shaft_power(density, self.quench.velocity)
            fan = float(power) if np.isfinite(power) else 0.0
            new = vessel
            for _ in range(50):
                warm = float(gas.temperature(new))
                slope = float(gas.enthalpy(warm + 0.5) - gas.enthalpy(warm - 0.5))
                cooled = float(furnace.cooler.heat(warm, total * slope))
                inlet = new + (fan - cooled) / total
                wanted = (held * vessel + step * (through * after[n] + beside * inlet)) / (held + step * total)
                if abs(wanted - new) < 1e-7:
                    break
                new = wanted
            out["inlet"].append(new + (fan - cooled) / total)
            out["cooler"].append(cooled * step)
            out["fan"].append(fan * step)
            out["stored"].append(held * (new - vessel))
            vessel = new
        return {name: np.array(values) for name, values in out.items()}


class Anderson:
    """Fixed point of x = g(x) from the last few pairs (Anderson 1965, least squares on the residuals)."""

    def __init__(self, depth: int = 8) -> None:
        self.depth = depth
        self.states: list[Array] = []
        self.images: list[Array] = []

    def next(self, state: Array, image: Array) -> Array:
        """Next state to try."""
        self.states, self.images = [*self.states, state][-self.depth :], [*self.images, image][-self.depth :]
        if len(self.states) == 1:
            return image
        residual = np.array(self.images) - np.array(self.states)
        steps = np.diff(residual, axis=0).T
        share, *_ = np.linalg.lstsq(steps, residual[-1], rcond=1e-10)
        return image - np.diff(np.array(self.images), axis=0).T @ share
