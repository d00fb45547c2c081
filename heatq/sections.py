"""Hardenability as numbers of a section: critical diameter, critical coefficient, distance of half martensite.

Each is the root of a simulation with the kinetics of heatq, transformation heat included, so it is as good as the
kinetics are: a heat whose bainite start is a factor 2 off has its critical coefficient about as far off. The ideal
diameter from chemistry alone is `heatq.hardness.ideal_diameter`. The roots are found to 0.5 % (in the logarithm of
diameter or coefficient, `ROOT`) with an `accuracy` of 1 K of the histories; both are arguments.

Martensite here means martensite with the austenite it retains, as everywhere where hardness is meant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq._roots import root
from heatq.boundaries import Convection, Radiation, StillAir, WaterJet
from heatq.conduction import simulate
from heatq.errors import InputError, check_number, collect_validity
from heatq.hardness.equal_cooling import TIME_SETTINGS
from heatq.history import cooling_rate, cooling_time
from heatq.specimens import EndQuenchBar, RoundBar
from heatq.steels import grade

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "critical_coefficient",
    "critical_diameter",
    "half_martensite_distance",
    "martensite_at_centre",
    "recompute_endquench_times",
]

#: Relative tolerance of the roots.
ROOT = 0.005
#: A run ends when the whole piece is colder than this (degC) or after this time (s).
_COLD, _LONGEST = 60.0, 3.6e5


def _start(steel: Any, initial_temperature: float | None) -> float:
    start = getattr(steel, "austenitizing_temperature", None) if initial_temperature is None else initial_temperature
    if start is None:
        raise InputError(
            "initial_temperature is not given and the steel has no austenitizing_temperature; state one, degC."
        )
    return check_number("initial_temperature", start, "initial_temperature")


def _martensite(result: xr.Dataset) -> xr.DataArray:
    return result["fraction"].sel(phase=["martensite", "austenite"]).sum("phase")


def martensite_at_centre(
    steel: Any,
    diameter: float,
    boundary: Any,
    *,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
) -> float:
    """Martensite fraction in the axis of a long round bar quenched all round.

    Parameters
    ----------
    steel : Steel
        The heat.
    diameter : float
        m.
    boundary : boundary
        Of the cylindrical face.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    accuracy : float
        Of the histories, K.

    Examples
    --------
    >>> import heatq as hq
    >>> strong = hq.Convection(coefficient=5000.0, fluid_temperature=25.0)
    >>> martensite_at_centre(hq.grade("4340"), 0.025, strong) > 0.95
    True
    """
    run = simulate(
        RoundBar(diameter=diameter),
        steel,
        {"side": boundary},
        initial_temperature=_start(steel, initial_temperature),
        end_time=_LONGEST,
        stop_below=_COLD,
        probes=["centre"],
        accuracy=accuracy,
        estimate_error=False,
        progress=False,
    )
    return float(_martensite(run)[0])


def critical_diameter(
    steel: Any,
    boundary: Any,
    *,
    martensite: float = 0.5,
    initial_temperature: float | None = None,
    smallest: float = 0.001,
    largest: float = 1.0,
    tolerance: float = ROOT,
    accuracy: float = 1.0,
) -> float:
    """Largest diameter (m) of a long round bar that still has this martensite fraction in its axis.

    Parameters
    ----------
    steel : Steel
        The heat.
    boundary : boundary
        The quench of the cylindrical face, for instance ``GrossmannQuench(0.35, 60.0, conductivity=25.0)``. A gas flow
        without a diameter of its own takes the bar's; any other boundary that depends on the diameter may be given as a
        function of it, ``lambda diameter: ...``.
    martensite : float
        0.5 is the usual definition, 0.9 a stricter one.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    smallest, largest : float
        Search range, m; NaN if the answer lies outside.
    tolerance : float
        Relative, of the diameter.
    accuracy : float
        Of the histories, K.

    Examples
    --------
    >>> import heatq as hq
    >>> oil = hq.Convection(coefficient=800.0, fluid_temperature=60.0)
    >>> 0.02 < critical_diameter(hq.grade("4140"), oil, smallest=0.01, largest=0.2, tolerance=0.02) < 0.09
    True
    """
    check_number("martensite", martensite, low=0.01, high=0.99, hint="Write 0.5, not 50 %.")
    for name, value in (("smallest", smallest), ("largest", largest)):
        check_number(name, value, "diameter")
    at = boundary if callable(boundary) and not hasattr(boundary, "heat_flux") else lambda _: boundary

    def excess(diameter: float) -> float:
        found = martensite_at_centre(
            steel, diameter, at(diameter), initial_temperature=initial_temperature, accuracy=accuracy
        )
        return found - martensite

    with collect_validity():
        return root(excess, (smallest, largest), 0.03, False, tolerance)


def critical_coefficient(
    steel: Any,
    *,
    diameter: float = 0.025,
    martensite: float = 0.5,
    fluid_temperature: float = 25.0,
    initial_temperature: float | None = None,
    lowest: float = 5.0,
    highest: float = 50000.0,
    tolerance: float = ROOT,
    accuracy: float = 1.0,
) -> float:
    """Lowest constant heat-transfer coefficient, W/m2K, that leaves this martensite fraction in the axis of a round bar.

    The critical coefficient of a 25 mm round for 50 % martensite is how the hardenability for gas quenching is stated
    (a practice reported in a trade magazine, 2017, from memory; no values per steel were found).

    Parameters
    ----------
    steel : Steel
        The heat.
    diameter : float
        m.
    martensite : float
        Fraction, 0.5 or 0.9 as a rule.
    fluid_temperature : float
        degC.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    lowest, highest : float
        Search range, W/m2K; NaN if the answer lies outside (carbon steel needs more than any quench gives).
    tolerance : float
        Relative, of the coefficient.
    accuracy : float
        Of the histories, K.

    Examples
    --------
    >>> import heatq as hq
    >>> lean, rich = (critical_coefficient(hq.grade(name), tolerance=0.02) for name in ("4140", "4340"))
    >>> rich < 0.5 * lean
    True
    """
    check_number("martensite", martensite, low=0.01, high=0.99, hint="Write 0.5, not 50 %.")
    check_number("diameter", diameter, "diameter")

    def excess(coefficient: float) -> float:
        gas = Convection(coefficient=coefficient, fluid_temperature=fluid_temperature)
        found = martensite_at_centre(steel, diameter, gas, initial_temperature=initial_temperature, accuracy=accuracy)
        return found - martensite

    with collect_validity():
        return root(excess, (lowest, highest), 500.0, True, tolerance)


def half_martensite_distance(
    steel: Any,
    *,
    martensite: float = 0.5,
    water_temperature: float = 24.0,
    emissivity: float = 0.3,
    initial_temperature: float | None = None,
    accuracy: float = 1.0,
) -> float:
    """Distance (m) from the water-quenched end at which martensite falls to this fraction; NaN if it never does on the bar.

    Parameters
    ----------
    steel : Steel
        The heat.
    martensite : float
        Fraction of martensite with the austenite it retains.
    water_temperature, emissivity, initial_temperature, accuracy : float
        Of the water (degC), of side and top, of the bar at the start (degC; default the steel's austenitizing temperature), and of
        the histories (K).

    Notes
    -----
    One simulation of the ASTM A255 bar with the standard's traverse; between positions the fraction is linear in
    distance, so the answer is good to about a tenth of the spacing (0.2 mm to J16, 0.6 mm beyond).

    Examples
    --------
    >>> import heatq as hq
    >>> 2.0 < half_martensite_distance(hq.grade("1045")) * 1e3 < 8.0
    True
    """
    check_number("martensite", martensite, low=0.01, high=0.99, hint="Write 0.5, not 50 %.")
    air = StillAir(temperature=25.0) + Radiation(emissivity=emissivity, surroundings_temperature=25.0)
    run = simulate(
        EndQuenchBar(),
        steel,
        {"jet": WaterJet(temperature=water_temperature), "side": air, "top": air},
        initial_temperature=_start(steel, initial_temperature),
        end_time=36000.0,
        stop_below=_COLD,
        accuracy=accuracy,
        estimate_error=False,
        progress=False,
    )
    part, where = _martensite(run).values, run["distance"].values
    below = np.flatnonzero(part < martensite)
    if not below.size or below[0] == 0:
        return float("nan")
    k = int(below[0])
    weight = (part[k - 1] - martensite) / (part[k - 1] - part[k])
    return float(where[k - 1] + weight * (where[k] - where[k - 1]))


def recompute_endquench_times(positions: Any = None, accuracy: float = 0.2) -> xr.Dataset:
    """Recompute the table of cooling rates and times along the water end-quench bar.

    Makes what is stored as `heatq.hardness.equal_cooling.ENDQUENCH_TIMES`, with the settings written there: the ASTM A255
    bar of 4340 in a water jet, still air and radiation on side and top. 4340 because it stays austenitic past 500 degC all
    along the bar and then becomes martensite. A bar that stayed austenite to the end would be the wrong reference: the
    cold martensite near the quenched end conducts twice as well, and without it the rate at 704 degC at J8 is 14.8
    instead of 17.9 K/s (published: 18.3).

    Parameters
    ----------
    positions : list of float, optional
        1/16 in; default those of the table.
    accuracy : float
        Of the histories, K.

    Returns
    -------
    xarray.Dataset
        ``rate`` K/s at 704 degC and ``time`` s from 800 to 500 degC over ``distance`` m.
    """
    import xarray as xr

    from heatq.hardness.equal_cooling import ENDQUENCH_TIMES

    wanted = [row.position for row in ENDQUENCH_TIMES] if positions is None else list(positions)
    air = StillAir(temperature=TIME_SETTINGS["air_temperature"]) + Radiation(
        emissivity=TIME_SETTINGS["emissivity"], surroundings_temperature=TIME_SETTINGS["air_temperature"]
    )
    run = simulate(
        EndQuenchBar(),
        grade("4340"),
        {"jet": WaterJet(temperature=TIME_SETTINGS["water_temperature"]), "side": air, "top": air},
        initial_temperature=TIME_SETTINGS["initial_temperature"],
        end_time=3600.0,
        stop_below=450.0,
        probes=[f"J{position:g}" for position in wanted],
        accuracy=accuracy,
        estimate_error=False,
        progress=False,
    )
    return xr.Dataset(
        {
            "rate": ("distance", cooling_rate(run).values, {"units": "K/s", "long_name": "cooling rate at 704 degC"}),
            "time": ("distance", cooling_time(run).values, {"units": "s", "long_name": "cooling time 800 to 500 degC"}),
        },
        coords={"distance": ("distance", run["distance"].values, {"units": "m", "long_name": "distance"})},
    )
