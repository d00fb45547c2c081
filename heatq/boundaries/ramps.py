"""Boundaries whose settings change in time: a chamber that fills, a fan that speeds up, gas that warms up."""

from __future__ import annotations

import dataclasses
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.boundaries.gas import Gas, gas_properties
from heatq.boundaries.timeline import Boundary, Knots, at, check_boundary, for_piece
from heatq.errors import InputError, check_name, check_number

__all__ = ["GasHistory", "Ramp", "gas_temperature_of_load"]

Array = npt.NDArray[np.float64]

#: Surface temperatures (degC) at which a ramp compares its flux with the straight line between two knots.
_CHECK = np.array([150.0, 500.0, 850.0])
#: Allowed deviation from that line, as a share of the largest flux.
_TOLERANCE = 0.003


@dataclasses.dataclass(frozen=True, init=False)
class Ramp(Boundary):
    """A boundary whose numbers change linearly in time between given times.

    Parameters
    ----------
    boundary : boundary
        Any of heatq's boundaries with named numbers, such as `GasCrossflow` or `Convection`.
    times : sequence of float
        s, rising, first 0.
    **settings : sequence of float
        Values of arguments of the boundary at these times, such as ``pressure=[1*bar, 10*bar]``. After the last time
        they stay.

    Notes
    -----
    The settings are linear in time; the flux is not (h grows like p^0.6 to p^0.75), so knots are added until a
    straight line between them meets the flux within 0.3 % of its largest value. `heat_flux` is that at time 0.

    Examples
    --------
    A chamber that fills from 1 to 10 bar in 6 s:

    >>> from scipy.constants import bar
    >>> from heatq.boundaries.gas_flow import GasCrossflow
    >>> flow = GasCrossflow("nitrogen", velocity=40.0, pressure=10 * bar, temperature=40.0, diameter=0.05)
    >>> filling = Ramp(flow, [0.0, 6.0], pressure=[1 * bar, 10 * bar])
    >>> first, last = filling.over_time(60.0)[0], filling.over_time(60.0)[-1]
    >>> first[1].pressure / bar, last[0], last[1].pressure / bar
    (1.0, 6.0, 10.0)
    """

    boundary: Any
    times: tuple[float, ...]
    settings: dict[str, tuple[float, ...]]

    def __init__(self, boundary: Any, times: Any, **settings: Any) -> None:
        """Check and store the ramp."""
        check_boundary("boundary", boundary)
        if not dataclasses.is_dataclass(boundary):
            raise InputError(f"Ramp needs a boundary with named arguments; {type(boundary).__name__} has none.")
        names = [field.name for field in dataclasses.fields(boundary)]
        if not settings:
            raise InputError(f"Ramp needs at least one setting that changes, of {', '.join(names)}.")
        clock = tuple(float(time) for time in times)
        if not clock or clock[0] != 0.0 or any(b <= a for a, b in zip(clock[:-1], clock[1:], strict=True)):
            raise InputError(f"times = {list(clock)} must rise and start at 0 s.")
        checked: dict[str, tuple[float, ...]] = {}
        for name, values in settings.items():
            check_name("setting", name, names, what=f"argument of {type(boundary).__name__}")
            checked[name] = tuple(float(value) for value in values)
            if len(checked[name]) != len(clock):
                raise InputError(f"{name} has {len(checked[name])} values for {len(clock)} times; one each is needed.")
        object.__setattr__(self, "boundary", boundary)
        object.__setattr__(self, "times", clock)
        object.__setattr__(self, "settings", checked)
        for time in clock:
            self.when(time)  # a bad value complains here, by name

    def when(self, time: float) -> Any:
        """Return the boundary with the settings of one time, s."""
        values = {name: float(np.interp(time, self.times, row)) for name, row in self.settings.items()}
        return dataclasses.replace(self.boundary, **values)

    def heat_flux(self, surface_temperature: Array) -> Array:
        """Heat flux at time 0, W/m2."""
        return self.when(0.0).heat_flux(surface_temperature)

    def over_time(self, end_time: float) -> Knots:
        """Knots close enough for straight lines between them."""
        knots: Knots = [(0.0, self.when(0.0))]
        for start, stop in zip(self.times[:-1], self.times[1:], strict=True):
            if start >= end_time:
                break
            self._refine(knots, knots[-1][1], start, self.when(stop), stop, depth=6)
        return knots

    def _refine(self, knots: Knots, first: Any, start: float, second: Any, stop: float, depth: int) -> None:
        time = 0.5 * (start + stop)
        middle = self.when(time)
        flux, line = middle.heat_flux(_CHECK), 0.5 * (first.heat_flux(_CHECK) + second.heat_flux(_CHECK))
        if depth and np.abs(flux - line).max() > _TOLERANCE * np.abs(flux).max():
            self._refine(knots, first, start, middle, time, depth - 1)
            self._refine(knots, middle, time, second, stop, depth - 1)
        else:
            knots.append((stop, second))

    def at(self, position: float) -> Any:
        """Return the ramp at one place."""
        located = at(self.boundary, position)
        return self if located is self.boundary else Ramp(located, self.times, **self.settings)

    def for_piece(self, specimen: Any, face: str) -> Any:
        """Return a ramp whose boundary knows the piece."""
        return Ramp(for_piece(self.boundary, specimen, face), self.times, **self.settings)


class GasHistory(NamedTuple):
    """Temperatures of gas and load over time."""

    times: Array
    """s."""
    gas_temperature: Array
    """Of the gas that meets the load, degC."""
    load_temperature: Array
    """Mean of the load, degC."""


def gas_temperature_of_load(
    gas: Gas,
    pressure: float,
    *,
    load_mass: float,
    load_area: float,
    load_temperature: float,
    coefficient: float,
    circulation: float,
    chamber_volume: float,
    cooler_effectiveness: float = 0.7,
    cooler_temperature: float = 25.0,
    gas_temperature: float = 25.0,
    specific_heat: float = 650.0,
    end_time: float = 600.0,
) -> GasHistory:
    """How warm the gas gets between load and cooler: a balance of three lumps.

    Parameters
    ----------
    gas, pressure
        As in `heatq.boundaries.gas.gas_properties`.
    load_mass, load_area : float
        kg and m2 of all pieces.
    load_temperature, gas_temperature : float
        At the start, degC.
    coefficient : float
        Mean h on the load, W/m2K.
    circulation : float
        Gas through load and cooler, m3/s at chamber pressure.
    chamber_volume : float
        m3 of gas.
    cooler_effectiveness : float
        Share of the way to the cooling water's temperature the gas goes in one pass, 0 to 1.
    cooler_temperature : float
        Of the cooling water, degC.
    specific_heat : float
        Of the load, J/kgK; 650 for austenite.
    end_time : float
        s.

    Returns
    -------
    GasHistory
        ``(times, gas_temperature, load_temperature)``; feed the first two to ``flow.with_temperature(...)``.

    Notes
    -----
    m c dT_load/dt = -h A (T_load - T_gas); M cp dT_gas/dt = h A (T_load - T_gas) - eps mdot cp (T_gas - T_water),
    with mdot = rho V and M = rho V_chamber at the gas's start temperature, cp likewise, h constant, the load without
    inner resistance, latent heat and fan power left out. It is our own rough balance: good for the size of the gas's
    peak (100 to 250 degC in the first minute is commonly reported for full loads, from memory), not for its exact
    course. Solved exactly (two linear equations, eigenvalues).

    Examples
    --------
    500 kg of rounds in 10 bar of nitrogen:

    >>> from scipy.constants import bar
    >>> history = gas_temperature_of_load("nitrogen", 10 * bar, load_mass=500.0, load_area=5.0, load_temperature=1000.0,
    ...                                   coefficient=400.0, circulation=4.0, chamber_volume=3.0)
    >>> round(float(history.gas_temperature.max()))
    79
    """
    check_number("load_mass", load_mass, low=0.0, high=1e6, unit="kg", low_open=True)
    check_number("load_area", load_area, low=0.0, high=1e5, unit="m2", low_open=True)
    check_number("load_temperature", load_temperature, "temperature")
    check_number("gas_temperature", gas_temperature, "temperature")
    check_number("cooler_temperature", cooler_temperature, "temperature")
    check_number("coefficient", coefficient, "coefficient", low_open=True)
    check_number("circulation", circulation, low=0.0, high=1e4, unit="m3/s", low_open=True)
    check_number("chamber_volume", chamber_volume, low=0.0, high=1e5, unit="m3", low_open=True)
    check_number("cooler_effectiveness", cooler_effectiveness, low=0.0, high=1.0, unit="1", low_open=True)
    check_number("specific_heat", specific_heat, low=50.0, high=5000.0, unit="J/kgK")
    check_number("end_time", end_time, "end_time")
    state = gas_properties(gas, gas_temperature, pressure)
    stored = float(state.density * chamber_volume * state.specific_heat)
    carried = float(cooler_effectiveness * state.density * circulation * state.specific_heat)
    exchanged = coefficient * load_area
    matrix = np.array(
        [
            [-exchanged / (load_mass * specific_heat), exchanged / (load_mass * specific_heat)],
            [exchanged / stored, -(exchanged + carried) / stored],
        ]
    )
    # temperatures above the cooling water; both eigenvalues are real and negative
    rates, vectors = np.linalg.eig(matrix)
    start = np.array([load_temperature - cooler_temperature, gas_temperature - cooler_temperature])
    weights = np.linalg.solve(vectors, start)
    fast = 1.0 / np.abs(rates).max()
    times = np.unique(np.concatenate([[0.0], np.geomspace(min(fast / 20, end_time / 10), end_time, 60)]))
    course = (vectors * weights) @ np.exp(np.outer(rates, times)) + cooler_temperature
    return GasHistory(times, course[1], course[0])
