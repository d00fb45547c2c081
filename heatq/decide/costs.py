"""What a quench takes: gas, energy of the fan, cooling water; and what that costs at prices of your own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from scipy.constants import R, atm, hour, kilo

from heatq.boundaries.gas import GASES, Gas, check_gas, gas_properties
from heatq.decide.furnace import WATER_HEAT, Furnace
from heatq.decide.quenches import GasQuench
from heatq.errors import InputError, check_name, check_number
from heatq.units import to_kelvin

__all__ = ["PRICES", "quench_resources", "resources_for"]

#: What may have a price, and for how much of it.
PRICES = {"gas": "m3 at 0 degC and 1.01325 bar", "electricity": "kWh", "water": "m3", "load": "load"}
#: Molar volume of an ideal gas at 0 degC and 101 325 Pa (normal conditions, DIN 1343), m3/mol.
_MOLAR = R * to_kelvin(0.0) / atm


def quench_resources(
    furnace: Furnace,
    quench: Any,
    time: float,
    *,
    load_heat: float = 0.0,
    recovery: float = 0.0,
    water_rise: float = 10.0,
    prices: Mapping[str, float | Mapping[str, float]] | None = None,
) -> dict[str, float]:
    """Gas, energy and water of one quench in a furnace, and the cost.

    Parameters
    ----------
    furnace : Furnace
        With its volume and, for the energy, its fan.
    quench : GasQuench
        Gas, pressure and velocity.
    time : float
        How long the fan runs, s.
    load_heat : float
        That the load gives off, J: ``load_heat`` of `heatq.quench_load`, or mass times enthalpy. With the heat of the fan it goes to the
        cooling water.
    recovery : float
        Share of the gas that is kept for the next load.
    water_rise : float
        By which the cooling water is allowed to warm up, K.
    prices : mapping, optional
        In your currency: ``gas`` per m3 at 0 degC and 1.01325 bar, ``electricity`` per kWh, ``water`` per m3, ``load`` per load
        (whatever is the same for each). Of ``gas`` one number for whatever gas it is, or a price for each,
        ``{"gas": {"nitrogen": 0.25, "helium": 20.0}}``; a mixture then costs what its parts do. What has no price costs
        nothing here, but a quench in a gas that such a list leaves out is refused. heatq knows no prices.

    Returns
    -------
    dict
        ``gas_volume`` (m3 at 0 degC and 1.01325 bar, lost per quench), ``gas_mass`` kg in the vessel, ``fan_energy`` J (electric),
        ``motor_load`` (highest shaft power over rated power; NaN if it is not known), ``water_heat`` J, ``water_volume`` m3, and with prices
        ``cost``.

    Notes
    -----
    The vessel is filled from vacuum, so what fills it is all new gas but for ``recovery``. Ideal gas. The fan's power is that of the gas at
    the temperature of the cooler, where it is densest, for the whole time: an upper bound.

    Examples
    --------
    >>> from scipy.constants import bar
    >>> from heatq.decide.furnace import Fan
    >>> fan = Fan(flow_rate=(0.0, 4.0, 8.0, 12.0), pressure_rise=(3000.0, 2900.0, 2400.0, 1200.0), motor_power=160e3)
    >>> furnace = Furnace(volume=3.0, flow_area=0.6, velocity=12.0, fan=fan)      # invented
    >>> quench = furnace.quench("nitrogen", 6 * bar, temperature=25.0)
    >>> needs = quench_resources(furnace, quench, 600.0, load_heat=190e6, prices={"gas": 0.25, "electricity": 0.2})
    >>> round(needs["gas_volume"], 1), round(needs["fan_energy"] / 3.6e6, 1), round(needs["cost"], 2)
    (16.3, 30.7, 10.2)

    Two gases, each at its own (invented) price:

    >>> costs = {"gas": {"nitrogen": 0.25, "helium": 20.0}}
    >>> [round(quench_resources(furnace, furnace.quench(gas, 6 * bar), 600.0, prices=costs)["cost"]) for gas in costs["gas"]]
    [4, 310]
    """
    if not isinstance(furnace, Furnace):
        raise InputError(f"furnace = {furnace!r} must be a Furnace(volume=..., flow_area=..., velocity=...).")
    if not isinstance(quench, GasQuench):
        raise InputError(f"quench = {quench!r} takes no gas: resources of a furnace are for a GasQuench.")
    check_number("time", time, "end_time")
    check_number("load_heat", load_heat, low=0.0, high=1e12, unit="J")
    check_number("recovery", recovery, low=0.0, high=1.0, unit="1", hint="0.9 is 90 % kept.")
    check_number("water_rise", water_rise, low=0.0, high=80.0, unit="K", low_open=True)
    gas = gas_properties(quench.gas, quench.temperature, quench.pressure)
    moles = quench.pressure * furnace.volume / (R * to_kelvin(quench.temperature))
    power = float(furnace.shaft_power(float(gas.density), quench.velocity))
    fan = furnace.fan
    shaft = power * time if np.isfinite(power) else 0.0
    heat = load_heat + shaft
    found = {
        "gas_volume": float(moles * _MOLAR * (1.0 - recovery)),
        "gas_mass": float(gas.density) * furnace.volume,
        "fan_energy": shaft / fan.motor_efficiency if fan is not None else float("nan"),
        "motor_load": power / fan.motor_power if fan is not None and fan.motor_power else float("nan"),
        "water_heat": heat,
        "water_volume": heat / (WATER_HEAT * water_rise),
    }
    if prices is not None:
        per_unit = _prices_in(prices, quench.gas)
        energy = found["fan_energy"] / (kilo * hour)
        amounts = {"gas": found["gas_volume"], "electricity": energy, "water": found["water_volume"], "load": 1.0}
        if "electricity" in prices and not np.isfinite(energy):
            raise InputError(
                "prices: electricity has a price, but the furnace has no fan=Fan(...) that tells its energy."
            )
        found["cost"] = float(sum(price * amounts[name] for name, price in per_unit.items()))
    return found


def _check_prices(prices: Mapping[str, float | Mapping[str, float]]) -> None:
    if not isinstance(prices, Mapping):
        raise InputError(f"prices = {prices!r} must be a dict such as {{'gas': 0.25, 'electricity': 0.2}}.")
    for name, price in prices.items():
        check_name("price", name, PRICES)
        if name == "gas" and isinstance(price, Mapping):
            for gas, own in price.items():
                check_name("gas", gas, GASES, what="gas among the prices")
                check_number(f"price of {gas}", own, low=0.0, high=1e6, unit=f"per {PRICES[name]}")
        else:
            check_number(f"price of {name}", price, low=0.0, high=1e6, unit=f"per {PRICES[name]}")


def _prices_in(prices: Mapping[str, float | Mapping[str, float]], gas: Gas) -> dict[str, float]:
    """Prices of all that is used, for a quench in this gas."""
    _check_prices(prices)
    found = {}
    for name, price in prices.items():
        if isinstance(price, Mapping):
            parts = {part: share for part, share in check_gas(gas).items() if share > 0.0}
            missing = [part for part in parts if part not in price]
            if missing:
                raise InputError(
                    f"prices: gas has no price for {missing[0]}; it has {', '.join(price) or 'none'}. State it, or 0 if it "
                    "costs nothing."
                )
            found[name] = sum(share * price[part] for part, share in parts.items())
        else:
            found[name] = price
    return found


#: Column -> unit and name in the decision table.
_COLUMNS = {
    "gas_volume": ("m3", "gas at 0 degC and 1.01325 bar"),
    "gas_mass": ("kg", "gas in the vessel"),
    "fan_energy": ("J", "electric energy of the fan"),
    "motor_load": ("1", "shaft power over rated power of the motor"),
    "water_heat": ("J", "heat to the cooling water"),
    "water_volume": ("m3", "cooling water"),
    "cost": ("1", "cost at the prices given"),
}


def resources_for(furnace: Furnace, time: float | None = None, **options: Any) -> Callable[[Any, Any], dict[str, Any]]:
    """Columns of `heatq.decision_table` for gas, energy, water and cost: its argument ``extra``.

    Parameters
    ----------
    furnace : Furnace
        In which the gas quenches among the alternatives are run; other quenches get no figures.
    time : float, optional
        Of the fan, s; by default as long as the run of each alternative takes to be cold.
    **options
        Others of :func:`quench_resources`.

    Returns
    -------
    callable
        ``extra(quench, result)``.

    Examples
    --------
    >>> from heatq.decide.quenches import BathQuench
    >>> import heatq as hq
    >>> extra = resources_for(Furnace(volume=3.0, flow_area=0.6, velocity=12.0), 600.0)
    >>> extra(BathQuench(hq.OilBath()), None)
    {}
    """
    if not isinstance(furnace, Furnace):
        raise InputError(f"furnace = {furnace!r} must be a Furnace(volume=..., flow_area=..., velocity=...).")
    if options.get("prices") is not None:
        _check_prices(options["prices"])

    def extra(quench: Any, result: Any) -> dict[str, Any]:
        if not isinstance(quench, GasQuench):
            return {}
        import xarray as xr

        lasts = float(result["time"].values[-1]) if time is None else time
        needs = quench_resources(furnace, quench, lasts, **options)
        told = {name: dict(zip(("units", "long_name"), _COLUMNS[name], strict=True)) for name in needs}
        return {name: xr.DataArray(value, attrs=told[name]) for name, value in needs.items()}

    return extra
