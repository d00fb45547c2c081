"""Carburized cases: a carbon profile over depth, and the hardness that the local carbon and the local history give.

Carbon changes Ms, the kinetics and the hardness of martensite; everything else is the core's. Each depth is transformed
as a steel of its own along the history of that depth. Carbon does not act on the temperatures: the simulated bar is the
core's throughout, which is right as long as the case is thin.

What is left out: retained austenite as a soft phase. Above 0.7 % C the hardness of martensite is held at its value there
(65 HRC), while real cases with 0.9 % C and 20 to 40 % retained austenite read 58 to 62 HRC. The case depth to 550 HV lies
where carbon is 0.3 to 0.4 % and does not suffer.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy.constants import R, calorie, hour, milli

from heatq.errors import InputError, check_name, check_number, collect_validity, note_validity
from heatq.hardness import hardness_of, hrc_from_hv
from heatq.history import check_history
from heatq.transformation import transform
from heatq.transformation.formulas import elements
from heatq.units import to_kelvin

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "CASE_HARDNESS",
    "alloy_factor_gunnarson",
    "carbon_profile",
    "case_depth",
    "case_hardness",
    "diffusivity_agren_1986",
    "diffusivity_tibbetts_1980",
]

Array = npt.NDArray[np.float64]

#: The case ends where hardness falls to this (HV): ISO 2639 / ISO 18203 (from memory).
CASE_HARDNESS = 550.0


def diffusivity_tibbetts_1980(carbon: npt.ArrayLike, temperature: float) -> Array:
    """Diffusivity of carbon in austenite, m2/s, by Tibbetts 1980.

    Notes
    -----
    D [cm2/s] = 0.47 exp[-1.6 C - (37000 - 6600 C)/(R T)], R = 1.987 cal/mol/K, T in K, C in mass %. J. Appl. Phys. 51
    (1980) 4813; from memory, not verified; agrees with Agren within 10 %.

    Examples
    --------
    >>> (diffusivity_tibbetts_1980([0.2, 0.8], 930.0) * 1e11).round(2)
    array([1.13, 2.26])
    """
    C = np.asarray(carbon, dtype=float)
    gas = R / calorie
    return 0.47e-4 * np.exp(-1.6 * C - (37000.0 - 6600.0 * C) / (gas * to_kelvin(temperature)))


def diffusivity_agren_1986(carbon: npt.ArrayLike, temperature: float) -> Array:
    """Diffusivity of carbon in austenite, m2/s, by Agren 1986.

    Notes
    -----
    D = 4.53e-7 [1 + y (1 - y) 8339.9/T] exp[-(1/T - 2.221e-4)(17767 - 26436 y)], y = x/(1 - x), x the mole fraction of
    carbon, T in K. Scripta Metall. 20 (1986) 1507; from memory, not verified.

    Examples
    --------
    >>> (diffusivity_agren_1986([0.2, 0.8], 930.0) * 1e11).round(2)
    array([1.12, 2.07])
    """
    C = np.asarray(carbon, dtype=float)
    kelvin = to_kelvin(temperature)
    y = (C / 12.011) / ((100.0 - C) / 55.845)
    activation = (1.0 / kelvin - 2.221e-4) * (17767.0 - 26436.0 * y)
    return 4.53e-7 * (1.0 + y * (1.0 - y) * 8339.9 / kelvin) * np.exp(-activation)


def alloy_factor_gunnarson(steel: Any) -> float:
    """Ratio of the carbon potential to the carbon the alloyed steel takes up, Cp/C, by Gunnarson.

    log10(Cp/C) = 0.055 Si - 0.013 Mn - 0.040 Cr + 0.014 Ni - 0.013 Mo; from memory, not verified.

    Examples
    --------
    8620 takes up a little more than the potential says:

    >>> from types import SimpleNamespace
    >>> round(alloy_factor_gunnarson(SimpleNamespace(Si=0.25, Mn=0.80, Ni=0.55, Cr=0.50, Mo=0.20)), 3)
    0.974
    """
    Si, Mn, Cr, Ni, Mo = elements(steel, "Si Mn Cr Ni Mo")
    return float(10.0 ** (0.055 * Si - 0.013 * Mn - 0.040 * Cr + 0.014 * Ni - 0.013 * Mo))


_DIFFUSIVITIES = {"agren_1986": diffusivity_agren_1986, "tibbetts_1980": diffusivity_tibbetts_1980}


def carbon_profile(
    surface_carbon: float,
    core_carbon: float,
    *,
    temperature: float,
    duration: float,
    depth: npt.ArrayLike | None = None,
    diffusivity: str = "agren_1986",
) -> xr.Dataset:
    """Carbon against depth after carburizing at constant temperature and constant surface carbon.

    Parameters
    ----------
    surface_carbon, core_carbon : float
        mass %; the surface's from the carbon potential by :func:`alloy_factor_gunnarson`.
    temperature : float
        degC.
    duration : float
        s, at temperature.
    depth : array_like, optional
        m; default 61 points to where the profile has ended.
    diffusivity : {"agren_1986", "tibbetts_1980"}
        How carbon diffuses; both depend on carbon.

    Returns
    -------
    xarray.Dataset
        ``carbon(depth)`` in mass %.

    Notes
    -----
    Flat surface, which serves while the case is below a tenth of the radius. The profile of a carbon-dependent D depends
    on x / sqrt(t) alone (Boltzmann 1894), so it is found from the integral equation
    C = Cs + (Cc - Cs) I(u) / I(inf), I = integral of exp(-integral 2 u / D du) / D, u = x / (2 sqrt t), by iteration;
    with constant D this is the complementary error function. Real cycles boost and then diffuse at a lower potential: give
    the measured profile instead, as a Dataset of the same form.

    Examples
    --------
    The rule of thumb for the total depth at 925 degC, 0.635 mm per root of an hour (from memory), gives 1.27 mm; the
    profile is 0.04 % above the core's carbon there:

    >>> profile = carbon_profile(0.9, 0.2, temperature=925.0, duration=4 * 3600.0)
    >>> round(float(profile.carbon[0]), 2), round(float(profile.carbon[-1]), 2)
    (0.9, 0.2)
    >>> import numpy as np
    >>> round(float(np.interp(-0.24, -profile.carbon, profile.depth)) * 1e3, 1)      # mm, 0.24 % C
    1.2
    """
    import xarray as xr

    surface = check_number("surface_carbon", surface_carbon, low=0.0, high=2.0, unit="%", hint="Mass %: write 0.9.")
    core = check_number("core_carbon", core_carbon, low=0.0, high=1.0, unit="%", hint="Mass %: write 0.2.")
    if not surface > core:
        raise InputError(f"surface_carbon = {surface:g} % must be above core_carbon = {core:g} %.")
    check_number(
        "temperature", temperature, low=750.0, high=1200.0, unit="degC", hint="Temperatures are in degrees Celsius."
    )
    check_number("duration", duration, "duration", low=1.0)
    check_name("diffusivity", diffusivity, _DIFFUSIVITIES)
    note_validity("carbon diffusivity", "temperature", temperature, 800.0, 1100.0, "degC", "own reading of both papers")
    law = _DIFFUSIVITIES[diffusivity]
    from scipy.integrate import cumulative_trapezoid

    scale = np.sqrt(float(law(surface, temperature)))
    u = np.linspace(0.0, 6.0 * scale, 2001)
    carbon = surface + (core - surface) * np.minimum(u / (2.0 * scale), 1.0)
    for _ in range(200):
        d = law(carbon, temperature)
        kernel = np.exp(-cumulative_trapezoid(2.0 * u / d, u, initial=0.0)) / d
        part = cumulative_trapezoid(kernel, u, initial=0.0)
        new = surface + (core - surface) * part / part[-1]
        change = float(np.abs(new - carbon).max())
        carbon = new
        if change < 1e-12:
            break
    reach = 2.0 * u * np.sqrt(duration)
    if depth is None:
        ended = reach[np.argmax(carbon - core < 1e-3 * (surface - core))]
        where = np.linspace(0.0, ended, 61)
    else:
        where = np.asarray(depth, dtype=float)
        if where.ndim != 1 or not (np.diff(where) > 0.0).all() or where[0] < 0.0 or where[-1] > 0.1:
            raise InputError("depth must increase from 0, in m (below 0.1 m): for 1 mm write 0.001.")
    return xr.Dataset(
        {"carbon": ("depth", np.interp(where, reach, carbon), {"units": "%", "long_name": "carbon, mass %"})},
        coords={"depth": ("depth", where, {"units": "m", "long_name": "depth below the surface"})},
        attrs={
            "settings": json.dumps(
                {
                    "surface_carbon": surface,
                    "core_carbon": core,
                    "temperature": temperature,
                    "hours": duration / hour,
                    "diffusivity": diffusivity,
                }
            )
        },
    )


def case_hardness(history: xr.Dataset, steel: Any, profile: xr.Dataset, *, radius: float | None = None) -> xr.Dataset:
    """Structure and hardness over depth of a carburized round, and of its core.

    Parameters
    ----------
    history : xarray.Dataset
        ``temperature(time, probe)`` of the quench with the coordinate ``r(probe)`` in m, as `heatq.simulate` of a bar of
        the core steel returns it: the centre, the surface and some probes between. The history of a depth is
        interpolated linearly in r.
    steel : Steel
        The core.
    profile : xarray.Dataset
        ``carbon(depth)`` in mass % over depth in m, computed (:func:`carbon_profile`) or measured.
    radius : float, optional
        m, of the bar; default the outermost probe, which must then be the surface.

    Returns
    -------
    xarray.Dataset
        ``carbon``, ``hardness_hv``, ``hardness_hrc``, ``ms`` (degC) over ``depth`` and ``fraction(phase, depth)``;
        ``case_depth`` m to 550 HV (NaN where there is none), and of the centre ``core_hardness_hv``,
        ``core_hardness_hrc`` and ``core_fraction(phase)``.

    Examples
    --------
    >>> import heatq as hq
    >>> bar, steel = hq.RoundBar(diameter=0.025), hq.grade("8620")
    >>> oil = hq.Convection(coefficient=1500.0, fluid_temperature=60.0)
    >>> run = hq.simulate(bar, steel, {"side": oil}, initial_temperature=845.0, end_time=600.0, progress=False,
    ...                   probes={"centre": (0.0, 0.0), "12 mm": (0.012, 0.0), "surface": (0.0125, 0.0)})
    >>> from heatq.errors import hold_validity
    >>> with hold_validity():         # a case leaves the carbon range of most formulas; without this it says so
    ...     case = case_hardness(run, steel, carbon_profile(0.85, 0.2, temperature=925.0, duration=4 * 3600.0))
    >>> 0.5 < float(case.case_depth) * 1e3 < 1.5
    True
    """
    import xarray as xr

    from heatq.transformation.kinetics import kinetic_tables

    temperature = check_history(history)
    if "r" not in history.coords:
        raise InputError("history has no coordinate r(probe) in m: pass the result of simulate() on a round bar.")
    if "carbon" not in profile or profile["carbon"].dims != ("depth",):
        raise InputError("profile needs carbon(depth) in mass % over depth in m, as carbon_profile() returns it.")
    order = np.argsort(history["r"].values)
    r, columns = history["r"].values[order], temperature.values[:, order]
    if len(r) < 2 or r[0] > 1e-9:
        raise InputError("history needs the centre (r = 0) and at least one more probe up to the surface.")
    outer = float(r[-1]) if radius is None else check_number("radius", radius, "length", low=float(r[-1]))
    depth, carbon = profile["depth"].values.astype(float), profile["carbon"].values.astype(float)
    if depth[-1] >= outer:
        raise InputError(
            f"the profile is {depth[-1] / milli:.2g} mm deep, more than the radius of {outer / milli:.2g} mm."
        )
    places = np.concatenate([outer - depth, [0.0]])
    contents = np.concatenate([carbon, [float(steel.C)]])
    pieces, start = [], []
    with collect_validity() as notes:
        for n, (place, content) in enumerate(zip(places, contents, strict=True)):
            local = steel.replace(C=float(content))
            line = np.array([np.interp(place, r, row) for row in columns])
            one = xr.Dataset(
                {"temperature": (("time", "probe"), line[:, np.newaxis])},
                coords={"time": history["time"].values, "probe": [n]},
            )
            parts = transform(one, local)
            pieces.append(parts[["fraction"]].merge(hardness_of(parts, local), compat="override"))
            start.append(float(kinetic_tables(local).scalars[0]))
    joined = xr.concat(pieces, dim="probe")
    hv = joined["hardness_hv"].values
    fraction = joined["fraction"].transpose("phase", "probe").values
    unit = {"units": "1", "long_name": "phase fraction"}
    hardness = {"units": "HV", "long_name": "hardness"}
    rockwell = {"units": "HRC", "long_name": "hardness"}
    result = xr.Dataset(
        {
            "carbon": ("depth", carbon, {"units": "%", "long_name": "carbon, mass %"}),
            "hardness_hv": ("depth", hv[:-1], hardness),
            "hardness_hrc": ("depth", np.asarray(hrc_from_hv(hv[:-1])), rockwell),
            "ms": ("depth", np.array(start[:-1]), {"units": "degC", "long_name": "martensite start"}),
            "fraction": (("phase", "depth"), fraction[:, :-1], unit),
            "core_hardness_hv": ((), float(hv[-1]), hardness),
            "core_hardness_hrc": ((), float(hrc_from_hv(hv[-1])), rockwell),
            "core_fraction": ("phase", fraction[:, -1], unit),
        },
        coords={"depth": profile["depth"], "phase": joined["phase"]},
        attrs={"steel": repr(steel), "warnings": json.dumps(list(notes.values()))},
    )
    found = case_depth(result)
    result["case_depth"] = ((), found, {"units": "m", "long_name": f"case depth to {CASE_HARDNESS:g} HV"})
    return result


def case_depth(case: xr.Dataset, limit: float = CASE_HARDNESS) -> float:
    """Depth (m) at which the hardness first falls to a limit (HV); NaN if the surface is softer or no depth is.

    Examples
    --------
    >>> import xarray as xr
    >>> traverse = xr.Dataset({"hardness_hv": ("depth", [700.0, 600.0, 500.0])}, coords={"depth": [0.0, 0.0005, 0.001]})
    >>> case_depth(traverse) * 1e3
    0.75
    """
    check_number("limit", limit, low=100.0, high=1000.0, unit="HV")
    depth, hv = case["depth"].values, case["hardness_hv"].values
    below = np.flatnonzero(hv < limit)
    if not below.size or below[0] == 0:
        return float("nan")
    k = int(below[0])
    return float(depth[k - 1] + (hv[k - 1] - limit) / (hv[k - 1] - hv[k]) * (depth[k] - depth[k - 1]))
