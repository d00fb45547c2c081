"""A gas furnace by what can be measured on it: fan, velocities in the work zone, cooler, volume, motor."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from heatq.boundaries.gas import Gas, gas_name, gas_properties
from heatq.decide.quenches import GasQuench
from heatq.errors import InputError, check_number

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Cooler", "Fan", "FanPoint", "Furnace", "motor_load"]

Array = npt.NDArray[np.float64]


class FanPoint(NamedTuple):
    """Where a fan works."""

    flow_rate: float
    """m3/s."""
    pressure_rise: float
    """Pa."""
    shaft_power: float
    """W, into the gas."""
    motor_load: float
    """Shaft power over the motor's rated power; NaN if that is not given."""


@dataclasses.dataclass(frozen=True)
class Fan:
    """A fan by its curve.

    Parameters
    ----------
    flow_rate : sequence of float
        m3/s, rising.
    pressure_rise : sequence of float
        Pa, at these flow rates, at full speed and at ``density``.
    density : float
        Of the gas of the curve, kg/m3; 1.2 is air of 20 degC at 1 bar.
    efficiency : float
        Pressure rise times flow rate over shaft power.
    motor_power : float, optional
        Rated power of the motor at the shaft, W.
    motor_efficiency : float
        Shaft power over electric power.

    Notes
    -----
    Fan laws: at speed n and density rho the flow rate goes with n, the pressure rise with rho n^2, the shaft power with rho n^3
    (similarity, efficiency unchanged; a textbook rule, from memory). Against a resistance that also goes with rho V^2 the flow
    rate therefore does not depend on the density: a fan that moves 4 m3/s of air moves 4 m3/s of nitrogen at 10 bar, and needs
    ten times the power.

    Examples
    --------
    >>> fan = Fan(flow_rate=(0.0, 2.0, 4.0, 6.0), pressure_rise=(1500.0, 1450.0, 1200.0, 600.0), motor_power=75e3)
    >>> point = fan.operating_point(resistance=62.5)
    >>> point.flow_rate, point.pressure_rise, round(point.shaft_power)
    (4.0, 1200.0, 8000)
    >>> fan.operating_point(resistance=62.5, density=12.0).motor_load
    1.066...
    """

    flow_rate: tuple[float, ...]
    pressure_rise: tuple[float, ...]
    density: float = 1.2
    efficiency: float = 0.6
    motor_power: float | None = None
    motor_efficiency: float = 0.92

    def __post_init__(self) -> None:
        """Check the curve."""
        try:
            flow, rise = tuple(float(v) for v in self.flow_rate), tuple(float(v) for v in self.pressure_rise)
        except (TypeError, ValueError):
            raise InputError(
                "flow_rate and pressure_rise of a fan must be two lists of numbers, in m3/s and Pa."
            ) from None
        object.__setattr__(self, "flow_rate", flow)
        object.__setattr__(self, "pressure_rise", rise)
        if len(flow) < 2 or len(flow) != len(rise):
            raise InputError(
                f"the fan curve has {len(flow)} flow rates and {len(rise)} pressure rises; at least two of each are needed."
            )
        if any(b <= a for a, b in zip(flow[:-1], flow[1:], strict=True)) or flow[0] < 0.0:
            raise InputError(f"flow_rate = {list(flow)} of a fan must rise, in m3/s.")
        for value in rise:
            check_number("pressure_rise", value, low=0.0, high=1e6, unit="Pa")
        check_number("density", self.density, low=0.0, high=200.0, unit="kg/m3", low_open=True)
        check_number("efficiency", self.efficiency, low=0.05, high=1.0, unit="1")
        check_number("motor_efficiency", self.motor_efficiency, low=0.05, high=1.0, unit="1")
        if self.motor_power is not None:
            check_number("motor_power", self.motor_power, low=0.0, high=1e8, unit="W", low_open=True)

    def rise_at(self, flow_rate: float) -> float:
        """Pressure rise at a flow rate of the curve, Pa, straight lines between its points."""
        check_number("flow_rate", flow_rate, low=self.flow_rate[0], high=self.flow_rate[-1], unit="m3/s")
        return float(np.interp(flow_rate, self.flow_rate, self.pressure_rise))

    def operating_point(self, resistance: float, density: float | None = None, speed: float = 1.0) -> FanPoint:
        """Where curve and resistance meet.

        Parameters
        ----------
        resistance : float
            Of furnace and load: pressure drop over density times flow rate squared, 1/m4.
        density : float, optional
            kg/m3; that of the curve by default.
        speed : float
            Over full speed.
        """
        check_number("resistance", resistance, low=0.0, high=1e9, unit="1/m4", low_open=True)
        density = (
            self.density if density is None else check_number("density", density, low=0.0, high=200.0, unit="kg/m3")
        )
        check_number("speed", speed, low=0.0, high=2.0, unit="1", low_open=True)
        flow = np.array(self.flow_rate)
        surplus = np.array(self.pressure_rise) - resistance * self.density * flow**2
        if surplus[0] <= 0.0 or surplus[-1] > 0.0:
            side = "below" if surplus[0] <= 0.0 else "above"
            raise InputError(
                f"a resistance of {resistance:g} 1/m4 meets the fan curve {side} its points ({flow[0]:g} to {flow[-1]:g} m3/s); "
                "give more of the curve, or another resistance."
            )
        from scipy.optimize import brentq

        full = float(
            brentq(
                lambda v: np.interp(v, flow, self.pressure_rise) - resistance * self.density * v**2, flow[0], flow[-1]
            )
        )
        flow_rate = full * speed
        rise = resistance * density * flow_rate**2
        power = rise * flow_rate / self.efficiency
        return FanPoint(flow_rate, rise, power, power / self.motor_power if self.motor_power else np.nan)


@dataclasses.dataclass(frozen=True)
class Cooler:
    """The gas cooler of a furnace.

    Parameters
    ----------
    conductance : float, optional
        U A, W/K, at the pressure of the quench (it grows with pressure as h of the gas does).
    effectiveness : float, optional
        In place of it: share of the way to the water's inlet temperature that the gas goes in one pass, 0 to 1.
    water_temperature : float
        At the inlet, degC.
    water_flow : float, optional
        m3/s; left out, the water stays at its inlet temperature.
    capacity : float, optional
        Most heat that can be carried off, W.

    Notes
    -----
    Counterflow, which is the best of all arrangements: effectiveness = (1 - e)/(1 - C e), e = exp(-NTU (1 - C)), NTU = U A/C_min,
    C = C_min/C_max, times C_min (T_gas - T_water); Incropera, 6th ed., Table 11.3, from memory. The gas cannot leave the cooler warmer than it came.

    Examples
    --------
    >>> round(float(Cooler(conductance=8000.0, water_temperature=25.0).heat(225.0, 5000.0)) / 1e3)
    798
    >>> float(Cooler(conductance=8000.0, capacity=500e3).heat(225.0, 5000.0))
    500000.0
    """

    conductance: float | None = None
    effectiveness: float | None = None
    water_temperature: float = 25.0
    water_flow: float | None = None
    capacity: float | None = None

    def __post_init__(self) -> None:
        """Check the arguments."""
        if (self.conductance is None) == (self.effectiveness is None):
            raise InputError("a cooler needs one of conductance (W/K) and effectiveness (0 to 1).")
        if self.conductance is not None:
            check_number("conductance", self.conductance, low=0.0, high=1e8, unit="W/K")
        if self.effectiveness is not None:
            check_number("effectiveness", self.effectiveness, low=0.0, high=1.0, unit="1")
        check_number("water_temperature", self.water_temperature, low=-20.0, high=150.0, unit="degC")
        if self.water_flow is not None:
            check_number("water_flow", self.water_flow, low=0.0, high=100.0, unit="m3/s", low_open=True)
        if self.capacity is not None:
            check_number("capacity", self.capacity, low=0.0, high=1e10, unit="W")

    def heat(self, gas_temperature: Array | float, heat_capacity_rate: Array | float) -> Array:
        """Heat taken from the gas, W.

        Parameters
        ----------
        gas_temperature : float or array
            Where it enters, degC.
        heat_capacity_rate : float or array
            Mass flow of the gas times its specific heat, W/K.
        """
        rate = np.asarray(heat_capacity_rate, dtype=float)
        if self.effectiveness is not None:
            conductance = self.effectiveness * rate
        else:
            water = np.inf if self.water_flow is None else self.water_flow * WATER_HEAT
            least, most = np.minimum(rate, water), np.maximum(rate, water)
            ratio = least / most
            units = float(self.conductance or 0.0) / least
            left = np.exp(-units * (1.0 - ratio))
            same = np.abs(1.0 - ratio) < 1e-9
            share = np.where(same, units / (1.0 + units), (1.0 - left) / np.where(same, 1.0, 1.0 - ratio * left))
            conductance = share * least
        flow = np.maximum(conductance * (np.asarray(gas_temperature, dtype=float) - self.water_temperature), 0.0)
        return flow if self.capacity is None else np.minimum(flow, self.capacity)


#: Density times specific heat of water at 25 degC, J/m3K: 997 kg/m3, 4182 J/kgK (IAPWS, from memory).
WATER_HEAT = 997.0 * 4182.0


@dataclasses.dataclass(frozen=True)
class Furnace:
    """A gas furnace.

    Parameters
    ----------
    volume : float
        That must be filled with gas, m3.
    flow_area : float
        Cross-section of the work zone that the gas flows through, m2, as if it were empty.
    velocity : float or Dataset, optional
        Of the gas in front of the load at full speed, m/s: a number, or a survey (`heatq.decide.survey`).
    fan : Fan, optional
        Gives the velocity where it is not measured (needs ``resistance``), and the power.
    resistance : float, optional
        Pressure drop of furnace and load over density times flow rate squared, 1/m4. With fan and measured velocity it follows
        from the fan curve.
    pressure_rise_time : float
        From vacuum to the pressure of the quench, s; the pressure rises linearly.
    cooler : Cooler, optional
        By default the gas always comes back at the water's temperature of 25 degC.
    bypass : float
        Share of the flow that passes beside the load.
    label : str
        Name for tables.

    Notes
    -----
    A survey is made cold and at 1 bar, with the fan as fast as in the quench; by the fan laws the velocity is the same at pressure.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> fan = Fan(flow_rate=(0.0, 4.0, 8.0, 12.0), pressure_rise=(3000.0, 2900.0, 2400.0, 1200.0), motor_power=160e3)
    >>> furnace = Furnace(volume=3.0, flow_area=0.6, velocity=12.0, fan=fan)
    >>> round(furnace.flow_rate, 3), round(furnace.system_resistance, 2)
    (7.2, 40.18)
    >>> furnace.quench("nitrogen", 6 * bar).label
    'nitrogen 6 bar 12 m/s'
    """

    volume: float
    flow_area: float
    velocity: Any = None
    fan: Fan | None = None
    resistance: float | None = None
    pressure_rise_time: float = 10.0
    cooler: Cooler = Cooler(effectiveness=1.0)
    bypass: float = 0.0
    label: str = "furnace"

    def __post_init__(self) -> None:
        """Check the arguments."""
        check_number("volume", self.volume, low=0.0, high=1e4, unit="m3", low_open=True)
        check_number("flow_area", self.flow_area, low=0.0, high=1e6, unit="m2", low_open=True)
        check_number("pressure_rise_time", self.pressure_rise_time, "duration")
        check_number("bypass", self.bypass, low=0.0, high=0.95, unit="1")
        if not isinstance(self.cooler, Cooler):
            raise InputError(
                f"cooler = {self.cooler!r} must be a Cooler(conductance=...) or Cooler(effectiveness=...)."
            )
        if self.fan is not None and not isinstance(self.fan, Fan):
            raise InputError(f"fan = {self.fan!r} must be a Fan(flow_rate=..., pressure_rise=...).")
        if self.resistance is not None:
            check_number("resistance", self.resistance, low=0.0, high=1e9, unit="1/m4", low_open=True)
        if self.velocity is None and (self.fan is None or self.resistance is None):
            raise InputError("a furnace needs velocity (a number or a survey), or fan and resistance.")
        if self.velocity is not None and self.fan is not None and self.resistance is not None:
            raise InputError(
                "velocity, fan and resistance are one too many: with a fan, the measured velocity gives the resistance."
            )
        if self.velocity is not None and not hasattr(self.velocity, "data_vars"):
            check_number("velocity", self.velocity, "velocity", low_open=True)
        if self.fan is not None:
            self.flow_rate, self.system_resistance  # noqa: B018 - a velocity beyond the fan curve complains here

    @property
    def mean_velocity(self) -> float:
        """In front of the load at full speed, m/s."""
        if self.velocity is None:
            if self.fan is None or self.resistance is None:
                raise InputError("a furnace needs velocity (a number or a survey), or fan and resistance.")
            return self.fan.operating_point(self.resistance).flow_rate / self.flow_area
        return float(self.velocity["mean"]) if hasattr(self.velocity, "data_vars") else float(self.velocity)

    @property
    def velocity_factors(self) -> dict[str, float]:
        """Velocity of the mean, the slowest and the fastest column of the load over the mean; the mean alone without a survey."""
        if not hasattr(self.velocity, "data_vars"):
            return {"mean": 1.0}
        mean = self.mean_velocity
        low, high = float(self.velocity["minimum"]), float(self.velocity["maximum"])
        return {"mean": 1.0, "slowest": low / mean, "fastest": high / mean}

    @property
    def flow_rate(self) -> float:
        """Of the fan at full speed, m3/s."""
        return self.mean_velocity * self.flow_area

    @property
    def system_resistance(self) -> float | None:
        """Pressure drop over density times flow rate squared, 1/m4; None without a fan."""
        if self.resistance is not None or self.fan is None:
            return self.resistance
        return self.fan.rise_at(self.flow_rate) / (self.fan.density * self.flow_rate**2)

    def shaft_power(self, density: Array | float, velocity: float | None = None) -> Array:
        """Power of the fan, W, at a density (kg/m3) and a velocity in front of the load (m/s); NaN without a fan."""
        speed = self.mean_velocity if velocity is None else velocity
        if self.fan is None or self.system_resistance is None:
            return np.full(np.shape(density), np.nan)
        return np.asarray(
            self.system_resistance * np.asarray(density) * (speed * self.flow_area) ** 3 / self.fan.efficiency
        )

    def quench(self, gas: Gas, pressure: float, *, speed: float = 1.0, **settings: Any) -> GasQuench:
        """Quench of this furnace.

        Parameters
        ----------
        gas, pressure
            As in `GasQuench`.
        speed : float
            Of the fan, over full speed.
        **settings
            Others of `GasQuench`.
        """
        check_number("speed", speed, low=0.0, high=2.0, unit="1", low_open=True)
        return GasQuench(gas, velocity=self.mean_velocity * speed, pressure=pressure, **settings)


def motor_load(
    furnace: Furnace, gas: Gas, pressures: Sequence[float] | Array, *, temperature: float = 40.0, speed: float = 1.0
) -> xr.Dataset:
    """Load of the fan's motor over the pressure, and how fast it may run.

    Parameters
    ----------
    furnace : Furnace
        With a fan whose ``motor_power`` is known.
    gas : str or mapping
        As in `heatq.boundaries.gas.gas_properties`.
    pressures : sequence of float
        Absolute, Pa.
    temperature : float
        Of the gas at the fan, degC. The load is highest while the gas is cold.
    speed : float
        Of the fan, over full speed.

    Returns
    -------
    Dataset
        Over ``pressure``: ``density`` kg/m3, ``shaft_power`` W, ``motor_load`` (shaft over rated power), ``is_overloaded``,
        ``allowed_speed`` (over full speed, at most ``speed``) and ``allowed_velocity`` m/s, at which the motor runs at its rated power;
        ``highest_pressure`` Pa at which it still runs at ``speed``.

    Notes
    -----
    Fan laws, see `Fan`: power goes with density and with the cube of the speed. Rated power in continuous duty; motors
    are often allowed more for a minute or two: ask the maker.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> fan = Fan(flow_rate=(0.0, 4.0, 8.0, 12.0), pressure_rise=(3000.0, 2900.0, 2400.0, 1200.0), motor_power=160e3)
    >>> furnace = Furnace(volume=3.0, flow_area=0.6, velocity=12.0, fan=fan)
    >>> load = motor_load(furnace, "nitrogen", [2 * bar, 6 * bar, 10 * bar])
    >>> [round(float(x), 2) for x in load.motor_load], [round(float(x), 2) for x in load.allowed_speed]
    ([0.34, 1.01, 1.68], [1.0, 1.0, 0.84])
    """
    import xarray as xr

    if not isinstance(furnace, Furnace) or furnace.fan is None or furnace.fan.motor_power is None:
        raise InputError("motor_load needs a furnace with fan=Fan(..., motor_power=...).")
    try:
        levels = np.atleast_1d(np.asarray(pressures, dtype=float))
    except (TypeError, ValueError):
        raise InputError(f"pressures = {pressures!r} must be numbers in Pa.") from None
    for value in levels:
        check_number("pressure", value, "pressure")
    check_number("temperature", temperature, "temperature")
    check_number("speed", speed, low=0.0, high=2.0, unit="1", low_open=True)
    density = np.array([float(gas_properties(gas, temperature, float(p)).density) for p in levels])
    velocity = furnace.mean_velocity * speed
    power = furnace.shaft_power(density, velocity)
    load = power / furnace.fan.motor_power
    allowed = speed * np.minimum(1.0, load ** (-1.0 / 3.0))

    def over(values: Array, units: str, name: str) -> tuple[str, Array, dict[str, str]]:
        return "pressure", values, {"units": units, "long_name": name}

    return xr.Dataset(
        {
            "density": over(density, "kg/m3", "density of the gas"),
            "shaft_power": over(power, "W", "shaft power of the fan"),
            "motor_load": over(load, "1", "shaft power over rated power of the motor"),
            "is_overloaded": ("pressure", load > 1.0, {"units": "1", "long_name": "motor is overloaded"}),
            "allowed_speed": over(allowed, "1", "fan speed at rated power over full speed"),
            "allowed_velocity": over(allowed * furnace.mean_velocity, "m/s", "velocity at rated power"),
            "highest_pressure": (
                (),
                float(levels[0] / load[0]),
                {"units": "Pa", "long_name": "pressure at rated power without slowing down"},
            ),
        },
        coords={"pressure": ("pressure", levels, {"units": "Pa", "long_name": "pressure"})},
        attrs={
            "gas": gas_name(gas),
            "temperature": temperature,
            "speed": speed,
            "full_velocity": furnace.mean_velocity,
            "motor_power": furnace.fan.motor_power,
            "furnace": furnace.label,
        },
    )
