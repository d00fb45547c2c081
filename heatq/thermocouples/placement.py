"""Where a thermocouple should sit: feasible places ranked by how wrong their reading is for a purpose."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_name, check_number, collect_validity
from heatq.specimens import EndQuenchBar, check_piece
from heatq.thermocouples.end_well import resolved_changes
from heatq.thermocouples.information import choose_couples, faces_to_calibrate, information, sensitivities
from heatq.thermocouples.ranking import add_map, ranking
from heatq.thermocouples.reading import Well, make_well, reading_errors, why_not
from heatq.thermocouples.section import Section, cool_section, crossing, medium_temperature, nice_lines, window_rate
from heatq.thermocouples.sensor import Thermocouple

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["PURPOSES", "place_thermocouples"]

Array = npt.NDArray[np.float64]

PURPOSES = ("slowest point", "three-quarter radius", "named point", "minimum rate", "calibrate h")
#: Candidate lines: at most this many round positions along the radius and the length.
CANDIDATES = (15, 40)
#: Where a bar is uniform along its length, within this part, the middle of that stretch is its slowest point.
FLAT = 5e-4
#: The run goes on until all is this much below the window, K, since readings come later and higher than the metal.
BELOW = 50.0
#: Longest run, s.
LONGEST = 36000.0


def place_thermocouples(
    specimen: Any,
    steel: Any,
    boundaries: Mapping[str, Any],
    *,
    purpose: str,
    sensor: Thermocouple | None = None,
    point: Any = None,
    places: Any = None,
    initial_temperature: float | None = None,
    window: tuple[float, float] = (800.0, 500.0),
    entries: Iterable[str] | None = None,
    largest_drill_ratio: float = 40.0,
    minimum_wall: float | None = None,
    required_rate: float | None = None,
    couples: int = 6,
    least_gain: float = 1.0,
    knots: Iterable[float] | None = None,
    prior: float = 0.3,
    noise: float = 1.0,
    end_time: float | None = None,
    accuracy: float = 1.0,
    resolved: bool = False,
    progress: Any = False,
) -> xr.Dataset:
    """Rank the places of a piece where a thermocouple could sit in a quench, for a purpose.

    Parameters
    ----------
    specimen, steel, boundaries
        As in `heatq.simulate`.
    purpose : {"slowest point", "three-quarter radius", "named point", "minimum rate", "calibrate h"}
        What the reading must stand for: the place that is last to reach the lower end of the window; 3/4 radius at mid-length;
        the place ``point``; the place with the lowest mean rate through the window, ranked by the error of the rate, for a
        specification "at least x K/s" (in a mild quench that is not the axis); or the heat-transfer coefficient, for a fit.
    sensor : Thermocouple, optional
        The couple and its well diameter; its ``entry`` and ``well_depth`` are not read. The default is ``Thermocouple()``.
    point : str, Probe or (r, z), optional
        The point of interest, with "named point".
    places : optional
        Your own places: names, `Probe` objects or a mapping name -> (r, z); kept in the result even where they cannot be
        drilled. The default is a net of round positions, of which only the feasible ones are kept.
    initial_temperature : float, optional
        degC; the default is the steel's austenitizing temperature.
    window : (float, float)
        Upper and lower temperature, degC, of errors and mean rates.
    entries : sequence of {"side", "end"}, optional
        Which faces may be drilled; the default is both (a long piece: "side").
    largest_drill_ratio : float
        Depth over diameter. 4 to 10: ordinary drills; to about 40: long twist drills; beyond, to 250: gun drills (makers' pages).
    minimum_wall : float, optional
        Least metal (m) beside the well, beyond its end, and over the couple. The default is one well diameter, a choice of ours.
    required_rate : float, optional
        K/s that the whole piece must reach, with "minimum rate": adds ``rate_to_read(place)``.
    couples, least_gain : int, float
        With "calibrate h": how many couples are tried, and the bits the next must add to be worth it.
    knots : sequence of float, optional
        Surface temperatures (degC) at which h is sought. The default is five, even, from 50 K above the medium to the start.
    prior, noise : float
        Relative standard deviation of h before the test; noise of the recorder, K.
    end_time : float, optional
        s; default: until the window is passed, at most 10 h.
    accuracy : float
        Of the simulation, K, as it sets grid and steps; not estimated anew.
    resolved : bool
        The *well* part of wells along the axis from `heatq.thermocouples.end_well_disturbance` (transient, an empty well)
        on five cells across its radius, and not from the steady formula: up to seconds per well, so it needs
        your own ``places``.
    progress
        As in `heatq.simulate`.

    Returns
    -------
    xarray.Dataset
        Best place first. ``error_temperature(component, place)`` K, root mean square over the window; ``error_rate(component,
        place)`` K/s, of the mean rate through it; both as ``combined_...(place)`` (root of the sum of squares) and without the
        first component as ``reading_temperature(place)``, ``reading_rate(place)``; ``rate``, ``rate_difference`` to the point
        (positive: cools faster); ``depth``, ``wall`` m, ``drill_ratio``, ``immersion`` (depth over sheath diameter; makers ask for 7 in
        metal), ``feasible``, ``why_not``. For the map: ``section_difference(section_z, section_r)`` K and ``section_rate``.
        With "calibrate h": ``gain_alone(place)``, and per ``couple`` ``chosen``, ``gain`` (bits) and
        ``h_uncertainty(couple, surface_temperature)``; ``attrs["worth"]`` is how many are worth it.

    Notes
    -----
    Components: *representation*, true temperature at the place less that at the point; *lag* (first order, uncorrected);
    *position*, +- the position tolerance across and along, the larger side; *calibration*, the class limit; *well*, the steady
    disturbance of an empty blind hole (but see ``resolved``); *stem*, heat along the sheath with its outside as cold as the medium. Limits, not
    standard deviations, are put in quadrature. The field is that of the undrilled piece.

    Examples
    --------
    >>> import heatq as hq
    >>> bath = hq.Convection(coefficient=800.0, fluid_temperature=60.0)
    >>> best = place_thermocouples(hq.RoundBar(0.06), hq.demo_heat(), {"side": bath}, purpose="slowest point")
    >>> float(best.r[0])
    0.0
    """
    purpose = check_name("purpose", purpose, PURPOSES)
    check_piece(specimen)
    sensor = Thermocouple() if sensor is None else sensor
    if not isinstance(sensor, Thermocouple):
        raise InputError(f"sensor = {sensor!r}: one Thermocouple; all places are compared with the same couple.")
    upper, lower = _window(window)
    start = _start(steel, initial_temperature, upper)
    ways = _entries(specimen, entries)
    check_number("largest_drill_ratio", largest_drill_ratio, low=1.0, high=1000.0, unit="1")
    wall = float(sensor.well_diameter or 0.0) if minimum_wall is None else minimum_wall
    check_number("minimum_wall", wall, "length", hint="Lengths are in metres.")
    check_number("accuracy", accuracy, "accuracy")
    end = LONGEST if end_time is None else check_number("end_time", end_time, "end_time")
    if required_rate is not None:
        if purpose != "minimum rate":
            raise InputError(f"required_rate is for the purpose 'minimum rate'; with {purpose!r} leave it out.")
        check_number("required_rate", required_rate, low=0.0, high=1e4, unit="K/s", low_open=True)
    if (point is not None) != (purpose == "named point"):
        raise InputError(
            f"point = {point!r} with purpose {purpose!r}: a point belongs to 'named point', which needs one; "
            "the other purposes find their own."
        )
    calibrating = purpose == "calibrate h"
    if resolved and (places is None or calibrating):
        raise InputError(
            "resolved=True takes seconds per well and ranks by the error of the reading: name the places, and choose a "
            "purpose other than 'calibrate h'."
        )
    with collect_validity() as notes:
        section = cool_section(
            specimen, steel, boundaries, initial_temperature=start,
            stop_below=_stop(specimen, boundaries, start, end, lower) if calibrating else lower - BELOW,
            end_time=end, accuracy=accuracy, estimate_error=False, progress=progress,
        )  # fmt: skip
        target = None if calibrating else _target(section, purpose, point, (upper, lower))
        wells, reasons = _wells(section, sensor, ways, places, target, largest_drill_ratio, wall)
        holes = {} if not resolved else resolved_changes(
            specimen, steel, boundaries, wells, reasons, float(sensor.well_diameter or 0.0),
            initial_temperature=start, end_time=end, stop_below=lower - BELOW, accuracy=accuracy, cells=5,
        )  # fmt: skip
        kelvin, speed, rate, difference = reading_errors(
            section, wells, sensor, boundaries, (upper, lower), target, holes
        )
        sensor.calibration_tolerance(np.array([lower, start]))
    for n in np.flatnonzero(~(np.isfinite(kelvin).all(axis=0) & np.isfinite(speed).all(axis=0))):
        what = "reads so wrong that no rate can be taken" if np.isfinite(rate[n]) else "does not pass the window"
        reasons[n] = reasons[n] or f"{what} ({upper:g} to {lower:g} degC)"
    if places is None:  # of the net only what is of use is kept; the user's own places all stay
        use = np.array([not reason for reason in reasons])
        if not use.any():
            raise InputError(f"no place can be used: {wells[0].name} {reasons[0]}; choose another window or quench.")
        wells, reasons = [well for well, good in zip(wells, use, strict=True) if good], [""] * int(use.sum())
        kelvin, speed, rate, difference = kelvin[:, use], speed[:, use], rate[use], difference[use]
    combined = {"temperature": np.sqrt((kelvin**2).sum(axis=0)), "rate": np.sqrt((speed**2).sum(axis=0))}
    more: dict[str, Any] = {}
    if calibrating:
        check_number("prior", prior, low=0.0, high=10.0, unit="1", low_open=True)
        check_number("noise", noise, low=0.0, high=100.0, unit="K", low_open=True)
        more, key = _information(
            section, steel, boundaries, wells, reasons, sensor, accuracy, knots, prior, noise, couples, least_gain
        )
    else:
        key = combined["rate" if purpose == "minimum rate" else "temperature"]
    order = np.lexsort((np.where(np.isfinite(key), key, np.inf), np.array([bool(reason) for reason in reasons])))
    result = ranking(sensor, wells, reasons, kelvin, speed, combined, rate, difference, order)
    if calibrating:
        result["gain_alone"] = ("place", -key[order], {"units": "bit", "long_name": "information from one couple"})
        result = result.assign(more["variables"])
    elif required_rate is not None:
        read = required_rate * result["rate"] / (result["rate"] - result["rate_difference"]) + result["reading_rate"]
        result["rate_to_read"] = read.assign_attrs(units="K/s", long_name="rate to read for the required rate")
    add_map(result, section, target, (upper, lower))
    result.attrs = {
        "heatq_version": __version__,
        "purpose": purpose,
        "point_r": float("nan") if target is None else target[0],
        "point_z": float("nan") if target is None else target[1],
        "point_rate": float("nan") if target is None else _point_rate(section, target, (upper, lower)),
        "window": [upper, lower],
        "worth": more.get("worth", 0),
        "settings": json.dumps(
            {
                "specimen": repr(specimen), "steel": repr(steel), "sensor": repr(sensor),
                "boundaries": {face: repr(boundary) for face, boundary in boundaries.items()},
                "initial_temperature": start, "largest_drill_ratio": largest_drill_ratio, "minimum_wall": wall,
                "accuracy": accuracy, "resolved": resolved,
            }
        ),
        "sources": section.run.attrs["sources"],
        "warnings": json.dumps([*json.loads(section.run.attrs["warnings"]), *notes.values()]),
    }  # fmt: skip
    return result


def _window(window: Any) -> tuple[float, float]:
    try:
        upper, lower = window
    except (TypeError, ValueError):
        raise InputError(
            f"window = {window!r}: two temperatures in degC, upper and lower, such as (800, 500)."
        ) from None
    upper = check_number("window[0]", upper, "temperature")
    return upper, check_number(
        "window[1]", lower, low=-50.0, high=upper - 5.0, unit="degC", hint="The lower end comes second."
    )


def _start(steel: Any, given: float | None, upper: float) -> float:
    start = getattr(steel, "austenitizing_temperature", None) if given is None else given
    if start is None:
        raise InputError("initial_temperature is missing, and the steel states no austenitizing temperature.")
    start = check_number("initial_temperature", start, "initial_temperature")
    if start <= upper:
        raise InputError(
            f"window: its upper end {upper:g} degC is not below the start temperature {start:g} degC; no place passes it."
        )
    return start


def _entries(specimen: Any, entries: Iterable[str] | None) -> list[str]:
    possible = ("side",) if specimen.length is None else ("side", "end")
    if entries is None:
        return list(possible)
    chosen = [entries] if isinstance(entries, str) else list(entries)
    for entry in chosen:
        check_name("entries", entry, possible, what="entry (of this piece)")
    if not chosen:
        raise InputError("entries is empty: 'side', 'end' or both.")
    return chosen


def _stop(specimen: Any, boundaries: Mapping[str, Any], start: float, end: float, lower: float) -> float | None:
    """Where a calibration run ends: 50 K above the hottest medium, and below the window."""
    media = [
        medium for face in specimen.faces
        if face in boundaries and (medium := medium_temperature(specimen, boundaries, face, start, end)) is not None
    ]  # fmt: skip
    return min(lower - BELOW, max(media) + 50.0) if media else None


def _target(section: Section, purpose: str, point: Any, window: tuple[float, float]) -> tuple[float, float]:
    """Point of interest (r, z)."""
    specimen = section.specimen
    middle = 0.0 if specimen.length is None else specimen.length / 2
    if purpose == "three-quarter radius":
        return specimen.inner_radius + 0.75 * (specimen.outer_radius - specimen.inner_radius), middle
    if purpose == "named point":
        probe = specimen.resolve_probes({"point": point} if isinstance(point, tuple) else point)[0]
        return float(probe.r), float(probe.z)
    field = section.temperature.reshape(len(section.time), -1)
    slowness = 1.0 / window_rate(section.time, field, window)
    if not np.isfinite(slowness).all():
        raise InputError(
            f"window: part of the piece does not pass {window[0]:g} to {window[1]:g} degC within {section.time[-1]:.4g} s, so that "
            "there is no slowest point; choose another window, a later end_time or a stronger quench."
        )
    if purpose == "slowest point":
        slowness = crossing(section.time, field, window[1])
    slowness = slowness.reshape(-1, len(section.r))
    column = int(slowness.argmax() % len(section.r))
    if not section.z.size:
        return float(section.r[column]), 0.0
    slow = slowness[:, column] >= slowness.max() * (1.0 - FLAT)
    return float(section.r[column]), float(np.median(section.z[slow]))


def _point_rate(section: Section, target: tuple[float, float], window: tuple[float, float]) -> float:
    there = section.at(np.array([target[0]]), np.array([target[1]]))
    return float(window_rate(section.time, there, window)[0])


def _wells(
    section: Section, sensor: Thermocouple, ways: list[str], places: Any, target: tuple[float, float] | None,
    largest: float, wall: float,
) -> tuple[list[Well], list[str]]:  # fmt: skip
    """Wells to the user's places, or to the feasible ones among a net of round positions."""
    specimen = section.specimen
    if places is not None:
        wells = [
            make_well(specimen, sensor, float(probe.r), float(probe.z), way, f"{probe.label}, {way}")
            for probe in specimen.resolve_probes(places) for way in ways
        ]  # fmt: skip
        return wells, [why_not(well, sensor, largest, wall) for well in wells]
    inner, outer = specimen.inner_radius, specimen.outer_radius
    r = {*nice_lines(inner, outer, CANDIDATES[0]).tolist(), inner + 0.75 * (outer - inner)}
    r |= {0.0} if inner == 0.0 else {(inner + outer) / 2}
    if specimen.length is None:
        z = {0.0}
    elif isinstance(specimen, EndQuenchBar):
        z = {specimen.find_probe(name).z for name in specimen.default_probes}
        z |= {h for h in nice_lines(0.0, specimen.length, CANDIDATES[1] // 2) if h > max(z)}
    else:
        z = {*nice_lines(0.0, specimen.length, CANDIDATES[1]).tolist(), specimen.length / 2}
    if target is not None:
        r, z = r | {target[0]}, z | {target[1]}
    wells = [
        make_well(specimen, sensor, radius, height, way)
        for height in _apart(z) for radius in _apart(r) for way in ways
    ]  # fmt: skip
    possible = [well for well in wells if not why_not(well, sensor, largest, wall)]
    if not possible:
        some = why_not(wells[0], sensor, largest, wall)
        raise InputError(
            f"no place of {specimen!r} can be drilled for this couple (for instance {wells[0].name}: {some}); "
            "a thinner couple, a smaller minimum_wall or a larger largest_drill_ratio may help."
        )
    return possible, [""] * len(possible)


def _apart(values: Iterable[float]) -> list[float]:
    """Sorted, without those closer than a hundredth of a millimetre."""
    out: list[float] = []
    for value in sorted(values):
        if not out or value - out[-1] > 1e-5:
            out.append(float(value))
    return out


def _information(
    section: Section, steel: Any, boundaries: Mapping[str, Any], wells: list[Well], reasons: list[str], sensor: Thermocouple,
    accuracy: float, knots: Iterable[float] | None, prior: float, noise: float, couples: int, least_gain: float,
) -> tuple[dict[str, Any], Array]:  # fmt: skip
    """Gain of couples, and the ranking key (fewest bits last)."""
    faces = faces_to_calibrate(section, boundaries)
    start, end = float(section.temperature[0].max()), float(section.time[-1])
    medium = medium_temperature(section.specimen, boundaries, faces[0], start, end)
    if medium is None:
        raise InputError(f"face {faces[0]!r} loses no heat in this quench: there is no h to calibrate.")
    levels = np.linspace(medium + 50.0, start, 5) if knots is None else np.array(list(knots), dtype=float)
    if len(levels) < 1 or (np.diff(levels) <= 0).any():
        raise InputError(f"knots = {levels.tolist()}: surface temperatures in degC, rising.")
    if not isinstance(couples, int) or couples < 1:
        raise InputError(f"couples = {couples!r}: a whole number of at least 1.")
    derivatives, of_steel = sensitivities(section, steel, boundaries, faces, tuple(levels.tolist()), accuracy)
    fisher = information(section, derivatives, wells, sensor, boundaries, noise)
    usable = [n for n, reason in enumerate(reasons) if not reason]
    if not usable:
        raise InputError("places: none of them can be drilled for this couple; see why_not of another purpose.")
    apart = 2.0 * float(sensor.well_diameter or 0.0)
    chosen, gain, spread, _ = choose_couples(
        fisher[usable], [wells[n] for n in usable], prior, of_steel, couples, apart
    )
    alone = choose_couples(fisher, wells, prior, of_steel, 1, apart)[3]
    numbers = np.arange(1, len(chosen) + 1)
    couple = {"couple": ("couple", numbers, {"units": "1", "long_name": "number of couples"})}
    import xarray as xr

    variables = xr.Dataset(
        {
            "chosen": ("couple", [wells[usable[n]].name for n in chosen], {"units": "1", "long_name": "place of the next couple"}),
            "gain": ("couple", gain, {"units": "bit", "long_name": "information that this couple adds"}),
            "h_uncertainty": (
                ("couple", "surface_temperature"), spread,
                {"units": "1", "long_name": "relative standard deviation of h with these couples"},
            ),
        },
        coords={
            **couple,
            "surface_temperature": ("surface_temperature", levels, {"units": "degC", "long_name": "surface temperature"}),
        },
    )  # fmt: skip
    worth = int(np.argmax(gain < least_gain)) if (gain < least_gain).any() else len(gain)
    return {"variables": variables, "worth": worth}, -alone
