"""Ti-6Al-4V: which structure a cooling rate gives, and which gases it may be quenched in. No hardness promise.

Own thermal properties: `heatq.steels.titanium_6al4v`. Nothing here is a steel: no kinetics, no hardness regression.
Rough ranges from memory: alpha' 350 to 400 HV, lamellar alpha + beta 300 to 340 HV; the span between structures is small,
and strength comes from ageing. Through-hardening of bars is out of reach: 410 K/s occurs only within 1 to 2 mm of a
water-quenched surface.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_name
from heatq.history import check_history, crossing_time

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["BETA_TRANSUS", "BORDERS", "STRUCTURES", "check_titanium_gas", "classify_titanium", "structure_of_rate"]

#: Beta transus, degC: 995 read (arXiv:2404.09806), 999 +- 15 read (supplier data sheet); 980 to 1010 with oxygen (memory).
BETA_TRANSUS = 995.0

#: Borders between the structures, K/s: Ahmed and Rack, Mater. Sci. Eng. A 243 (1998) 206, cooling from the beta field;
#: from memory, universally quoted.
BORDERS = (20.0, 410.0)
#: Within this relative distance of a border the class is called uncertain; our own choice.
FUZZY = 0.30

STRUCTURES = (
    "lamellar alpha + beta (Widmanstatten and grain-boundary alpha)",
    "massive alpha, with alpha' and Widmanstatten alpha",
    "martensite alpha'",
)

#: The rate is the mean over this window, degC (upper, lower); the paper's rates are near the transus.
WINDOW = (900.0, 700.0)

#: Why a gas is refused.
_REFUSED = {
    "nitrogen": "hot titanium reacts with nitrogen to a hard, brittle nitride case",
    "air": "hot titanium takes up oxygen and nitrogen and forms scale and a brittle alpha case",
    "oxygen": "hot titanium burns and scales in oxygen",
    "hydrogen": "titanium takes up hydrogen quickly when hot and becomes brittle by hydrides",
    "forming gas": "its hydrogen and nitrogen both react with hot titanium",
    "carbon dioxide": "hot titanium takes up its oxygen and carbon",
}


def check_titanium_gas(gas: str) -> str:
    """Return the gas if titanium may be quenched in it: argon or helium. Everything else is refused with the reason.

    Examples
    --------
    >>> check_titanium_gas("argon")
    'argon'
    >>> check_titanium_gas("nitrogen")
    Traceback (most recent call last):
    ...
    heatq.errors.InputError: titanium must not be quenched in nitrogen: hot titanium reacts with nitrogen to a hard,
    brittle nitride case. Use argon or helium.
    """
    if isinstance(gas, str) and gas in _REFUSED:
        raise InputError(f"titanium must not be quenched in {gas}: {_REFUSED[gas]}. Use argon or helium.")
    if isinstance(gas, dict):
        for part in gas:
            check_titanium_gas(part)
        return " + ".join(gas)
    return check_name("gas", gas, ("argon", "helium"), what="gas for titanium")


def structure_of_rate(rate: npt.ArrayLike) -> npt.NDArray[np.str_]:
    """Structure of Ti-6Al-4V cooled from the beta field at a rate (K/s); empty where the rate is NaN.

    Examples
    --------
    >>> [str(name).split(",")[0] for name in structure_of_rate([1.0, 100.0, 1000.0])]
    ['lamellar alpha + beta (Widmanstatten and grain-boundary alpha)', 'massive alpha', "martensite alpha'"]
    """
    value = np.asarray(rate, dtype=float)
    names = np.array([*STRUCTURES, ""])
    kind = np.searchsorted(BORDERS, np.nan_to_num(value, nan=0.0), side="right")
    return names[np.where(np.isfinite(value), kind, len(STRUCTURES))]


def classify_titanium(history: xr.Dataset, *, window: tuple[float, float] = WINDOW) -> xr.Dataset:
    """Structure of Ti-6Al-4V along histories by the mean cooling rate from 900 to 700 degC.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` in degC, starting in the beta field.
    window : (float, float)
        Upper and lower temperature (degC) between which the mean rate is taken.

    Returns
    -------
    xarray.Dataset
        ``cooling_rate(probe)`` K/s, ``structure(probe)``, ``is_uncertain(probe)`` (within 30 % of a border), and
        ``other_structure(probe)``: what lies beyond that border, empty where the class is certain. A probe that does not
        start above the beta transus (995 degC) is refused: the borders hold for cooling from beta.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> time = np.linspace(0.0, 60.0, 601)
    >>> history = xr.Dataset({"temperature": (("time", "probe"), 1020.0 - 17.0 * time[:, None])},
    ...                      coords={"time": time, "probe": ["centre"]})
    >>> found = classify_titanium(history)
    >>> round(float(found.cooling_rate[0])), bool(found.is_uncertain[0])
    (17, True)
    """
    import xarray as xr

    temperature = check_history(history)
    upper, lower = window
    if not upper > lower:
        raise InputError(f"window = {window!r} must be (upper, lower) in degC, such as (900, 700).")
    cold = temperature.isel(time=0).values <= BETA_TRANSUS
    if cold.any():
        name = temperature["probe"].values[cold][0]
        raise InputError(
            f"history: probe {str(name)!r} starts at {float(temperature.isel(time=0).values[cold][0]):.0f} degC, not above "
            f"the beta transus ({BETA_TRANSUS:.0f} degC); the published borders hold for cooling from the beta field only."
        )
    rate = (upper - lower) / (crossing_time(history, lower) - crossing_time(history, upper))
    rate.attrs = {"units": "K/s", "long_name": f"mean cooling rate {upper:g} to {lower:g} degC"}
    own = structure_of_rate(rate.values)
    other = np.full(own.shape, "", dtype=own.dtype)
    for factor in (1.0 - FUZZY, 1.0 + FUZZY):
        moved = structure_of_rate(rate.values * factor)
        other = np.where(moved != own, moved, other)
    unit = {"long_name": "structure by the borders of Ahmed and Rack 1998"}
    return xr.Dataset(
        {
            "cooling_rate": rate.drop_vars("probe"),
            "structure": ("probe", own, unit),
            "is_uncertain": ("probe", other != "", {"long_name": "within 30 % of a border"}),
            "other_structure": ("probe", other, {"long_name": "structure beyond the near border"}),
        },
        coords=rate.coords,
        attrs={"window": f"{upper:g} to {lower:g} degC", "source": "Ahmed and Rack, Mater. Sci. Eng. A 243 (1998) 206"},
    )
