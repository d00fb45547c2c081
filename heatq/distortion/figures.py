"""`distortion_figures`: what one run or log says about how hard the quench is on the piece."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.distortion.evenness import h_evenness
from heatq.distortion.stress import AUSTENITE_EXPANSION, MODULUS, POISSON, free_strain, long_cylinder_stress
from heatq.errors import InputError, check_number, collect_validity
from heatq.history import check_history, crossing_time
from heatq.specimens import Probe, check_piece
from heatq.transformation.kinetics import kinetic_tables

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["SCALARS", "distortion_figures", "distortion_probes"]

Array = npt.NDArray[np.float64]

#: Fewest radii for a stress. Eight by `distortion_probes` are within 0.5 % of forty on a 50 mm bar in oil.
FEWEST = 8
PARTS = ("thermal", "transformation", "total")
DIRECTIONS = ("radial", "hoop", "axial")

#: Scalars of the result: unit and long name.
SCALARS = {
    "largest_difference": ("K", "largest difference from core to surface"),
    "largest_difference_time": ("s", "time of the largest difference"),
    "difference_at_surface_ms": ("K", "difference when the surface passes Ms"),
    "difference_at_core_ms": ("K", "difference when the core passes Ms"),
    "surface_ms_time": ("s", "time at which the surface passes Ms"),
    "core_ms_time": ("s", "time at which the core passes Ms"),
    "ms_delay": ("s", "time from Ms at the surface to Ms in the core"),
    "shell_time": ("s", "time with the surface below Ms and the core still austenite"),
    "h_ratio_regimes": ("1", "95th over 5th percentile of h while the surface cools to Ms"),
    "h_ratio_near": ("1", "largest ratio of h at surface temperatures 50 K apart"),
    "h_ratio_faces": ("1", "largest ratio of h over the faces at one time"),
}


def distortion_probes(specimen: Any, count: int = 21) -> list[Probe]:
    """Probes over the radius at mid-length, close together where the profile is steep.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    count : int
        How many, from axis (bore) to surface.

    Notes
    -----
    A solid bar: r = R sin(pi s / 2), s = 0 ... 1, dense at the surface. A tube: r = a + (b - a) (1 - cos(pi s)) / 2, dense
    at both faces. Named ``centre`` or ``bore``, ``surface``, and by radius between.

    Examples
    --------
    >>> import heatq as hq
    >>> [probe.label for probe in distortion_probes(hq.RoundBar(diameter=0.05), 8)][::7]
    ['centre', 'surface']
    """
    check_piece(specimen)
    if not isinstance(count, int) or isinstance(count, bool) or count < FEWEST:
        raise InputError(f"count = {count!r}: a whole number of at least {FEWEST} probes over the radius.")
    inner, outer = specimen.inner_radius, specimen.outer_radius
    share = np.linspace(0.0, 1.0, count)
    share = np.sin(0.5 * np.pi * share) if inner == 0.0 else 0.5 * (1.0 - np.cos(np.pi * share))
    radii = inner + (outer - inner) * share
    radii[-1] = outer
    length = getattr(specimen, "length", None)
    z = 0.0 if length is None else 0.5 * length
    names = ["bore" if inner else "centre", *(f"r {1e3 * r:.3f} mm" for r in radii[1:-1]), "surface"]
    return [Probe(float(r), z, name) for r, name in zip(radii, names, strict=True)]


def distortion_figures(
    result: xr.Dataset,
    specimen: Any,
    steel: Any = None,
    boundaries: Mapping[str, Any] | None = None,
    *,
    surface: str | None = None,
    core: str | None = None,
    ms: float | None = None,
    modulus: float = MODULUS,
    poisson: float = POISSON,
) -> xr.Dataset:
    """Figures by which two quenches of the same piece can be ranked; nothing of it is a distortion or a crack.

    Parameters
    ----------
    result : xarray.Dataset
        ``temperature(time, probe)``: a run with probes from `distortion_probes`, or a log with a surface and a centre channel.
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    steel : Steel, optional
        For Ms and carbon.
    boundaries : mapping face -> boundary, optional
        As for the run; without them the evenness of h is NaN.
    surface, core : str, optional
        Probes or channels to compare; a log needs both. By default, among the probes at one height: the surface, and the
        axis or the hottest place of a tube (mean over the run).
    ms : float, optional
        degC; default the Ms of the steel that heatq's kinetics use.
    modulus, poisson : float
        E (Pa) and Poisson's ratio of the stress.

    Returns
    -------
    xarray.Dataset
        The scalars of `SCALARS`; ``difference(time)`` K and ``surface_temperature``, ``core_temperature``;
        ``stress(part, direction, time, radius)`` Pa and, over the run, ``tension`` and ``compression(part, direction,
        radius)``, each the largest, with ``tension_time``. Parts: "thermal" (as if it stayed austenite), "transformation"
        (what the products add) and "total". What could not be computed is NaN; attribute ``missing`` (JSON) says why.

    Notes
    -----
    ``shell_time``: from the surface at Ms to the core at Ms, or to the moment at which less than half of the core is
    austenite, if that is earlier. A core that never reaches Ms in the record leaves NaN.

    Examples
    --------
    >>> import heatq as hq
    >>> bar, oil = hq.RoundBar(diameter=0.05), {"side": hq.OilBath("conventional")}
    >>> run = hq.simulate(bar, hq.grade("4340"), oil, initial_temperature=845.0, end_time=600.0, accuracy=2.0,
    ...                   probes=distortion_probes(bar), estimate_error=False)
    >>> figures = distortion_figures(run, bar, hq.grade("4340"), oil)
    >>> bool(figures.largest_difference > 100.0), bool(figures.ms_delay > 0.0)
    (True, True)
    """
    import xarray as xr

    check_piece(specimen)
    values = check_history(result)
    probes = [str(name) for name in values["probe"].values]
    missing: dict[str, str] = {}
    with collect_validity():
        order, radius = _radii(result, specimen)
        outside, inside = _places(values, probes, order, specimen, surface, core)
        time = values["time"].values.astype(float)
        shell, heart = values.values[:, outside], values.values[:, inside]
        found = dict.fromkeys(SCALARS, float("nan"))
        difference = heart - shell
        found["largest_difference"] = float(difference.max())
        found["largest_difference_time"] = float(time[difference.argmax()])
        level = _ms(steel, ms)
        pair = result[["temperature"]].isel(probe=[outside, inside])
        parts = _fractions(result)
        if level is None:
            missing["ms"] = "no steel and no ms given"
        else:
            first, last = (float(value) for value in crossing_time(pair, level))
            found["surface_ms_time"], found["core_ms_time"], found["ms_delay"] = first, last, last - first
            for name, moment in (("difference_at_surface_ms", first), ("difference_at_core_ms", last)):
                found[name] = float(np.interp(moment, time, difference)) if np.isfinite(moment) else float("nan")
            if not (np.isfinite(first) and np.isfinite(last)):
                missing["ms"] = f"surface or core does not pass Ms = {level:.0f} degC within the record"
            end = last
            if parts is None:
                missing["shell_time"] = "no fractions: by temperature alone"
            else:
                gone = np.flatnonzero(parts["austenite"][:, inside] < 0.5)
                end = min(last, float(time[gone[0]])) if gone.size else last
            found["shell_time"] = max(0.0, end - first)
        data = xr.Dataset(coords={"time": ("time", time, {"units": "s", "long_name": "time"})})
        for name, column, about in (
            ("surface_temperature", shell, "temperature of the surface"),
            ("core_temperature", heart, "temperature of the core"),
            ("difference", difference, "core less surface temperature"),
        ):
            data[name] = ("time", column, {"units": "K" if name == "difference" else "degC", "long_name": about})
        if boundaries is None:
            missing["h_ratio"] = "no boundaries given"
        else:
            side = "bore" if radius is not None and order and outside == order[0] else "outer"
            face = next(name for name, where in specimen.faces.items() if where == side)
            if face not in boundaries:
                raise InputError(
                    f"boundaries: no boundary for the face {face!r}; give the mapping that the run was given."
                )
            until = level if level is not None else -200.0
            found |= h_evenness(specimen, boundaries, time, shell, face, until=until)
        if radius is None:
            missing["stress"] = (
                f"fewer than {FEWEST} radii at one height from {'bore' if specimen.inner_radius else 'axis'} to surface: "
                "simulate with probes=distortion_probes(specimen)"
            )
        else:
            _add_stress(data, values.values[:, order], radius, parts, order, steel, (modulus, poisson), missing)
    for name, (unit, about) in SCALARS.items():
        data[name] = ((), found[name], {"units": unit, "long_name": about})
    data.attrs = {
        "ms": float("nan") if level is None else level,
        "surface": probes[outside],
        "core": probes[inside],
        "modulus": modulus,
        "poisson": poisson,
        "austenite_expansion": AUSTENITE_EXPANSION,
        "specimen": repr(specimen),
        "missing": json.dumps(missing),
        "sources": json.dumps(
            ["Timoshenko and Goodier 1970, art. 151", "EN 1993-1-1:2005", "Seki and Nagata 2005", "Thelning 1984"]
        ),
    }
    return data


def _ms(steel: Any, ms: float | None) -> float | None:
    if ms is not None:
        return check_number("ms", ms, "temperature")
    return None if steel is None else float(kinetic_tables(steel).scalars[0])


def _fractions(result: xr.Dataset) -> dict[str, Array] | None:
    """Phase -> fraction (time, probe), or None."""
    history = result.get("fraction_history")
    if history is None:
        return None
    table = history.transpose("phase", "time", "probe")
    return {str(phase): table.values[n] for n, phase in enumerate(table["phase"].values)}


def _radii(result: xr.Dataset, specimen: Any) -> tuple[list[int], Array | None]:
    """Probes at the height with most radii, inside out, and these radii if they are enough for a stress."""
    if "r" not in result.coords or "z" not in result.coords:
        return [], None
    r, z = np.asarray(result["r"].values, dtype=float), np.asarray(result["z"].values, dtype=float).round(9)
    heights = sorted(set(z.tolist()), key=lambda height: -len(set(r[z == height].round(9).tolist())))
    here = np.flatnonzero(z == heights[0])
    picks = here[np.unique(r[here].round(9), return_index=True)[1]]
    order = [int(k) for k in picks]
    slack = 1e-6
    ends = abs(r[order[0]] - specimen.inner_radius) < slack and abs(r[order[-1]] - specimen.outer_radius) < slack
    return order, r[order] if ends and len(order) >= FEWEST else None


def _places(
    values: xr.DataArray, probes: list[str], order: list[int], specimen: Any, surface: str | None, core: str | None
) -> tuple[int, int]:
    """Columns of surface and core."""
    chosen = []
    for name, given in (("surface", surface), ("core", core)):
        if given is not None and given not in probes:
            raise InputError(f"{name} = {given!r} is not among the probes of result: {', '.join(probes)}.")
        if given is None and len(order) < 2:
            raise InputError(f"{name} is not given, and result does not say where its channels lie; name the channel.")
        chosen.append(None if given is None else probes.index(given))
    mean = values.values.mean(axis=0)
    outside, inside = chosen
    if outside is None:
        faces = [order[0], order[-1]] if specimen.inner_radius > 0.0 else [order[-1]]
        outside = min(reversed(faces), key=lambda k: mean[k])
    if inside is None:
        inside = order[0] if specimen.inner_radius == 0.0 else max(order, key=lambda k: mean[k])
    if outside == inside:
        raise InputError(f"surface and core are the same probe, {probes[outside]!r}: name two different ones.")
    return outside, inside


def _add_stress(
    data: xr.Dataset,
    temperature: Array,
    radius: Array,
    parts: Any,
    order: list[int],
    steel: Any,
    elastic: tuple[float, float],
    missing: dict,
) -> None:
    """Stress and its extremes."""
    shares = None
    if parts is None or steel is None or not hasattr(steel, "C"):
        missing["transformation"] = "no fraction_history or no steel: thermal stress only"
    else:
        shares = {phase: values[:, order] for phase, values in parts.items()}
    thermal, added = free_strain(temperature, getattr(steel, "C", 0.4), shares)
    stress = np.stack(
        [
            long_cylinder_stress(e, radius, modulus=elastic[0], poisson=elastic[1])
            for e in (thermal, added, thermal + added)
        ]
    )
    data.coords["radius"] = ("radius", radius, {"units": "m", "long_name": "radius"})
    data.coords["part"] = ("part", list(PARTS), {"units": "1", "long_name": "part of the free strain"})
    data.coords["direction"] = ("direction", list(DIRECTIONS), {"units": "1", "long_name": "direction"})
    about = {"units": "Pa", "long_name": "elastic stress index"}
    data["stress"] = (("part", "direction", "time", "radius"), stress, about)
    dims = ("part", "direction", "radius")
    whole = np.isfinite(stress).all(axis=2)
    data["tension"] = (dims, stress.max(axis=2), {**about, "long_name": "largest tension, elastic index"})
    data["compression"] = (dims, -stress.min(axis=2), {**about, "long_name": "largest compression, elastic index"})
    when = np.where(whole, data["time"].values[np.where(np.isfinite(stress), stress, 0.0).argmax(axis=2)], np.nan)
    data["tension_time"] = (dims, when, {"units": "s", "long_name": "time of the largest tension"})
