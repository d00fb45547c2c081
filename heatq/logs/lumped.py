"""Heat-transfer coefficient straight from a log, as if the piece had one temperature (Newtonian cooling)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.errors import InputError, check_name, check_number, collect_validity, note_validity
from heatq.history import check_history, cooling_rate

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["lumped_coefficient"]

#: Up to this Biot number (h V/A / k) a piece is taken to have one temperature.
LARGEST_BIOT = 0.1


def lumped_coefficient(
    history: xr.Dataset,
    steel: Any,
    *,
    diameter: float,
    fluid_temperature: float,
    length: float | None = None,
    temperatures: Sequence[float] | None = None,
    window: float = 10.0,
    phase: str | None = None,
) -> xr.Dataset:
    """Newtonian estimate of the heat-transfer coefficient: what h would be if the piece had one temperature.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` without gaps.
    steel : Steel or Material
        Its density, specific heat and conductivity are used.
    diameter : float
        Of the round piece, m.
    fluid_temperature : float
        degC.
    length : float, optional
        m, with both ends cooled like the side; None: long, V/A = D/4.
    temperatures : sequence of float, optional
        degC, at which h is wanted; by default every 25 K that the history passes, 30 K above the fluid and more.
    window : float
        Half width of the band of temperature over which the rate is taken, K.
    phase : str, optional
        Whose specific heat and conductivity; default ``austenite`` for a steel.

    Returns
    -------
    xarray.Dataset
        ``coefficient(level, probe)`` in W/m2K and ``biot(level, probe)``, over ``level`` in degC; NaN where a probe
        does not pass.

    Notes
    -----
    From the heat balance of a body of one temperature, rho c V dT/dt = -h A (T - T_fluid):

        h = rho c (V/A) (-dT/dt) / (T - T_fluid)

    Validity: Bi = h (V/A)/k <= 0.1, the usual limit of the lumped method (Incropera, DeWitt, Bergman and Lavine,
    Fundamentals of Heat and Mass Transfer, 6th ed. 2007, sec. 5.2; from memory, not verified). Beyond it the number is
    an effective one that depends on where the couple sits: near the axis the rate lags, so that h comes out low at
    first; it is noted, not hidden. The heat of transformation is not in c: where the steel transforms, the rate drops
    and h comes out too low by its share. For a fit with conduction and latent heat use the inverse method.

    Examples
    --------
    A body that cools with h = 200 W/m2K gives it back:

    >>> from heatq.logs import log_dataset
    >>> from heatq.steels import Material
    >>> metal = Material.constant(conductivity=30.0, density=7800.0, specific_heat=600.0)
    >>> time = np.linspace(0.0, 600.0, 601)
    >>> cooled = 30.0 + 820.0 * np.exp(-200.0 * time / (7800.0 * 600.0 * 0.025 / 4.0))
    >>> found = lumped_coefficient(log_dataset(time, cooled[:, None], ["core"]), metal, diameter=0.025,
    ...                            fluid_temperature=30.0, temperatures=[600.0])
    >>> round(float(found.coefficient[0, 0]))
    200
    """
    import xarray as xr

    values = check_history(history)
    check_number("diameter", diameter, "diameter")
    check_number("fluid_temperature", fluid_temperature, "temperature")
    material = getattr(steel, "material", steel)
    if not hasattr(material, "specific_heat_curves"):
        raise InputError(f"steel = {type(steel).__name__}: pass a Steel or a Material.")
    phases = list(material.phases)
    row = phases.index(check_name("phase", phases[-1] if phase is None else phase, phases))
    thickness = diameter / 4.0
    if length is not None:
        check_number("length", length, "length")
        thickness = diameter * length / (4.0 * length + 2.0 * diameter)
    if temperatures is None:
        low, high = max(fluid_temperature + 30.0, float(values.min()) + window), float(values.max()) - window
        levels = np.arange(np.ceil(low / 25.0) * 25.0, high, 25.0)
    else:
        levels = np.array([check_number("temperatures", t, "temperature") for t in np.atleast_1d(temperatures)])
    if not levels.size or levels.min() - window <= fluid_temperature:
        raise InputError(
            f"lumped_coefficient: temperatures must lie more than {window:g} K above the fluid's {fluid_temperature:g} degC "
            "and within the history."
        )
    with collect_validity():
        rate = np.stack([cooling_rate(history, float(level), window).values for level in levels])
        c, k = material.specific_heat(levels)[row], material.conductivity(levels)[row]
        h = material.density * c[:, None] * thickness * rate / (levels - fluid_temperature)[:, None]
        biot = h * thickness / k[:, None]
        note_validity(
            "Newtonian estimate of h", "Biot number", biot, 0.0, LARGEST_BIOT, "1", "lumped method, Bi <= 0.1"
        )
    return xr.Dataset(
        {
            "coefficient": (
                ("level", "probe"),
                h,
                {"units": "W/m2K", "long_name": "heat-transfer coefficient, Newtonian"},
            ),
            "biot": (("level", "probe"), biot, {"units": "1", "long_name": "Biot number h (V/A)/k"}),
        },
        coords={
            "level": ("level", levels, {"units": "degC", "long_name": "temperature"}),
            "probe": history["probe"],
        },
        attrs={"phase": phases[row], "volume_over_area": thickness, "fluid_temperature": fluid_temperature},
    )
