"""The result of a placement as a Dataset, and what is read off it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_number
from heatq.thermocouples.reading import COMPONENTS, Well, difference_over_window
from heatq.thermocouples.section import Section, window_rate
from heatq.thermocouples.sensor import Thermocouple

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["add_map", "distinct_places", "ranking"]

Array = npt.NDArray[np.float64]


def ranking(
    sensor: Thermocouple, wells: list[Well], reasons: list[str], kelvin: Array, speed: Array, combined: dict[str, Array],
    rate: Array, difference: Array, order: npt.NDArray[np.intp],
) -> xr.Dataset:  # fmt: skip
    """Places in their order as a Dataset."""
    import xarray as xr

    listed = [wells[n] for n in order]

    def per_place(values: Any, units: str, name: str) -> Any:
        return "place", np.asarray(values), {"units": units, "long_name": name}

    result = xr.Dataset(
        coords={
            "place": per_place([well.name for well in listed], "1", "place of the junction, and where its well enters"),
            "component": ("component", list(COMPONENTS), {"units": "1", "long_name": "part of the error"}),
            "r": per_place([well.r for well in listed], "m", "radius"),
            "z": per_place([well.z for well in listed], "m", "height above the bottom face"),
            "entry": per_place([well.entry for well in listed], "1", "face that is drilled"),
        }
    )
    both = ("component", "place")
    result["error_temperature"] = (both, kelvin[:, order], {"units": "K", "long_name": "error of the reading"})
    result["error_rate"] = (both, speed[:, order], {"units": "K/s", "long_name": "error of the mean cooling rate"})
    for name, units, parts in (("temperature", "K", kelvin), ("rate", "K/s", speed)):
        alone = np.sqrt((parts[1:] ** 2).sum(axis=0))
        result[f"combined_{name}"] = per_place(combined[name][order], units, f"error of {name}, all parts")
        result[f"reading_{name}"] = per_place(alone[order], units, f"error of {name} at the place itself")
    result["rate"] = per_place(rate[order], "K/s", "mean cooling rate through the window")
    result["rate_difference"] = per_place(difference[order], "K/s", "mean cooling rate less that of the point")
    depth = np.array([well.depth for well in listed])
    result["depth"] = per_place(depth, "m", "depth of the well")
    result["wall"] = per_place([well.wall for well in listed], "m", "least metal beside and beyond the well")
    result["drill_ratio"] = per_place([well.drill_ratio for well in listed], "1", "depth over diameter of the well")
    result["immersion"] = per_place(depth / sensor.sheath_diameter, "1", "depth of the well over sheath diameter")
    result["feasible"] = per_place([not reasons[n] for n in order], "1", "whether the well can be had")
    result["why_not"] = per_place([reasons[n] for n in order], "1", "why the well cannot be had")
    return result


def add_map(
    result: xr.Dataset, section: Section, target: tuple[float, float] | None, window: tuple[float, float]
) -> None:
    """Add the section: difference to the point of interest, and cooling rate, on the lines of the simulation."""
    z = section.z if section.z.size else np.zeros(1)
    result.coords["section_z"] = ("section_z", z, {"units": "m", "long_name": "height above the bottom face"})
    result.coords["section_r"] = ("section_r", section.r, {"units": "m", "long_name": "radius"})
    field = section.temperature.reshape(len(section.time), -1)
    shape, dims = (len(z), len(section.r)), ("section_z", "section_r")
    rate = window_rate(section.time, field, window).reshape(shape)
    result["section_rate"] = (dims, rate, {"units": "K/s", "long_name": "mean cooling rate through the window"})
    if target is not None:
        there = section.at(np.array([target[0]]), np.array([target[1]]))
        apart = difference_over_window(section.time, there, field, window).reshape(shape)
        name = "temperature less that of the point of interest, root mean square over the window"
        result["section_difference"] = (dims, apart, {"units": "K", "long_name": name})


def distinct_places(result: xr.Dataset, count: int = 8, apart: float | None = None) -> xr.Dataset:
    """Best places of a placement that are not neighbours of a better one drilled from the same face.

    Parameters
    ----------
    result : xarray.Dataset
        From `place_thermocouples`.
    count : int
        How many at most.
    apart : float, optional
        Least distance, m; the default is a tenth of the longer side of the half section.

    Returns
    -------
    xarray.Dataset
        The same, with fewer places.
    """
    if "place" not in getattr(result, "dims", ()):
        raise InputError("result has no places; pass what place_thermocouples() returned.")
    if apart is None:
        apart = 0.1 * max(float(np.ptp(result[side].values)) for side in ("section_r", "section_z"))
    check_number("apart", apart, low=0.0, high=10.0, unit="m")
    r, z, entry = result["r"].values, result["z"].values, result["entry"].values
    kept: list[int] = []
    for n in range(result.sizes["place"]):
        if all(entry[n] != entry[k] or np.hypot(r[n] - r[k], z[n] - z[k]) >= apart for k in kept):
            kept.append(n)
        if len(kept) == count:
            break
    return result.isel(place=kept)
