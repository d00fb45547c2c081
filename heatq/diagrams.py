"""Transformation diagrams computed for one heat: continuous cooling (CCT) and isothermal (TTT).

Both are nothing but `heatq.transform` along many simple histories, so a diagram and a trial of the same heat can never
disagree: whatever the kinetics of heatq are, these are their lines. Above `heatq.transformation` and
`heatq.hardness`, because a CCT diagram carries the hardness at the end of every curve.

Time is counted from Ae3, the highest temperature at which anything can form in the model (Andrews' Ac3 by default,
see `heatq.transformation.critical_temperatures`); printed diagrams count from Ac3 or from the austenitizing
temperature, which shifts a line by (T_austenitizing - Ae3) / rate.

Read the pearlite lines with care. Where the rates of Li 1998 apply, the 1 % pearlite line comes 10 to 20 times earlier
than published diagrams show it, while the 50 % line is right: the law is too broad at its foot. The start line drawn
for pearlite is therefore 5 %, for the other phases 1 % (`START_SHARES`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.errors import InputError, check_name, check_number, collect_validity
from heatq.hardness import hardness_of
from heatq.steels.steel import check_steel
from heatq.transformation import critical_temperatures, transform
from heatq.transformation.critical import dissolved_carbon
from heatq.transformation.kinetics import PHASES

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["FINISH_SHARE", "START_SHARES", "cct", "critical_rate", "ttt"]

Array = npt.NDArray[np.float64]

#: Share of the whole at which a phase counts as started.
START_SHARES = {"ferrite": 0.01, "pearlite": 0.05, "bainite": 0.01, "martensite": 0.01}
#: A phase counts as finished when it has reached this share of its own final amount.
FINISH_SHARE = 0.99

#: Where the cooling curves of a CCT diagram end, degC.
ROOM = 20.0
#: Spacing of the samples along a cooling curve, K; crossings are interpolated between them.
_SPACING = 2.0
#: Time grid of the isothermal diagram: decades from 1 ms to 1e6 s (12 days), and samples per decade.
_DECADES, _PER_DECADE = (-3, 6), 40


def _shares(fractions: Sequence[float]) -> Array:
    values = np.atleast_1d(np.asarray(fractions, dtype=float))
    if values.ndim != 1 or values.size == 0 or not np.all((values > 0.0) & (values < 1.0)):
        raise InputError(
            f"fractions = {fractions!r} must be numbers between 0 and 1, for instance (0.01, 0.5, 0.99). "
            "Write 0.5, not 50 %."
        )
    return np.unique(values)


def _first_crossing(fraction: Array, along: Array, share: Any) -> Array:
    """Value of ``along`` (samples) where ``fraction`` (..., samples) first reaches ``share`` (...); NaN if never."""
    reached = fraction >= np.asarray(share)[..., np.newaxis]
    k = np.clip(reached.argmax(axis=-1), 1, fraction.shape[-1] - 1)
    after = np.take_along_axis(fraction, k[..., np.newaxis], axis=-1)[..., 0]
    before = np.take_along_axis(fraction, k[..., np.newaxis] - 1, axis=-1)[..., 0]
    weight = np.clip((share - before) / np.where(after > before, after - before, 1.0), 0.0, 1.0)
    found = along[k - 1] + weight * (along[k] - along[k - 1])
    return np.where(reached.any(axis=-1) & (np.asarray(share) > 0.0), found, np.nan)


def _lines(fraction: Array, along: Array, share: Array) -> Array:
    """Crossings (phase, share, curve) of ``fraction`` (phase, curve, samples); NaN for austenite, which only shrinks."""
    found = _first_crossing(fraction[:, np.newaxis], along, share[:, np.newaxis] * np.ones(fraction.shape[1]))
    found[PHASES.index("austenite")] = np.nan
    return found


def _start_and_finish(fraction: Array, along: Array) -> tuple[Array, Array]:
    """Start and finish of every phase; ``fraction`` is (phase, curve, samples)."""
    start = np.array([START_SHARES.get(phase, np.inf) for phase in PHASES])[:, np.newaxis]
    final = fraction[..., -1]
    began = final >= start
    first = _first_crossing(fraction, along, np.broadcast_to(start, final.shape))
    last = _first_crossing(fraction, along, np.where(began, FINISH_SHARE * final, np.inf))
    return first, last


def _critical(steel: Any) -> tuple[dict[str, Any], Any]:
    """Critical temperatures as variables of a diagram, and the tuple itself."""
    check_steel(steel)
    given = getattr(steel, "austenitizing_temperature", None)
    found = critical_temperatures(steel, carbon=dissolved_carbon(steel, 845.0 if given is None else given))
    names = {
        "ae1": "equilibrium temperature Ae1",
        "ae3": "upper temperature of the ferrite rate, Ae3",
        "ac1": "Ac1",
        "ac3": "Ac3",
        "bs": "bainite start, as reported",
        "bs_kinetics": "zero of the bainite rate",
        "ms": "martensite start",
        "mf": "martensite finish",
    }
    return {
        name: ((), float(getattr(found, name)), {"units": "degC", "long_name": text}) for name, text in names.items()
    }, found


def _attributes(steel: Any, kind: str, notes: dict[str, str]) -> dict[str, str]:
    return {
        "diagram": kind,
        "heatq_version": __version__,
        "steel": repr(steel),
        "steel_name": str(getattr(steel, "name", "")),
        "time_zero": "passing Ae3" if kind == "cct" else "reaching the holding temperature",
        "start_shares": json.dumps(START_SHARES),
        "finish_share": str(FINISH_SHARE),
        "warnings": json.dumps(list(notes.values())),
    }


def cct(
    steel: Any,
    rates: npt.ArrayLike | None = None,
    fractions: Sequence[float] = (0.01, 0.1, 0.5, 0.9, 0.99),
    **options: Any,
) -> xr.Dataset:
    """Continuous-cooling diagram of a heat: constant cooling rates from Ae3 to 20 degC.

    Parameters
    ----------
    steel : Steel
        The heat.
    rates : array_like, optional
        Cooling rates, K/s; default 46 from 0.003 to 1000 K/s.
    fractions : sequence of float
        Shares of the whole structure for which lines are wanted.
    **options
        Passed on to `heatq.transform`.

    Returns
    -------
    xarray.Dataset
        Over ``phase``, ``share`` and ``rate`` (K/s): ``temperature`` degC and ``time`` s at which a phase has reached a
        share *of the whole structure* (NaN where it never does); ``start_temperature``, ``start_time``,
        ``finish_temperature``, ``finish_time`` (over phase and rate: start at 1 %, pearlite at 5 %; finish at 99 % of
        the phase's own final amount); ``fraction`` (phase, rate) at 20 degC, ``hardness_hv`` and ``hardness_hrc`` (rate);
        ``ae1``, ``ae3``, ``ac1``, ``ac3``, ``bs``, ``bs_kinetics``, ``ms``, ``mf`` in degC. Times count from Ae3.

    Notes
    -----
    Latent heat does not enter: the rate is prescribed, as in a dilatometer. In a real section pearlite heats itself by
    100 K and more; lay the section's own history over the diagram to see it (`heatq.plot_diagrams.overlay`).

    Examples
    --------
    >>> import heatq as hq
    >>> diagram = cct(hq.grade("4340"), rates=[0.01, 1.0, 100.0])
    >>> [str(diagram.phase.values[n]) for n in diagram.fraction.values.argmax(axis=0)][-1]
    'martensite'
    >>> bool(diagram.hardness_hv[0] < diagram.hardness_hv[1] < diagram.hardness_hv[2])
    True
    """
    import xarray as xr

    speed = np.geomspace(0.003, 1000.0, 46) if rates is None else np.unique(np.asarray(rates, dtype=float))
    for value in speed:
        check_number("rates", value, low=1e-6, high=1e5, unit="K/s", hint="Rates are positive when cooling.")
    share = _shares(fractions)
    with collect_validity() as notes:
        critical, values = _critical(steel)
        top = max(values.ae3, values.ac3, 715.0) + 1.0  # above 706 degC, or there is no rate at 700 degC to read
        temperature = np.concatenate([np.arange(top, ROOM, -_SPACING), [ROOM]])
        curves = []
        for value in speed:
            time = (top - temperature) / value
            history = xr.Dataset(
                {"temperature": (("time", "probe"), temperature[:, np.newaxis])},
                coords={"time": time, "probe": [float(value)]},
            )
            curves.append(transform(history, steel, **options))
        along = np.stack([curve["fraction_history"].values[:, :, 0] for curve in curves], axis=1)
        final = xr.concat([curve.drop_vars(["fraction_history", "time"]) for curve in curves], dim="probe")
        hardness = hardness_of(final, steel)
    lines = _lines(along, temperature, share)
    start, finish = _start_and_finish(along, temperature)
    found = final.merge(hardness, compat="override", combine_attrs="override").rename(probe="rate")
    dims = ("phase", "share", "rate")

    def pair(name: str, values: Array, dims: tuple[str, ...], text: str) -> dict[str, Any]:
        seconds = (critical["ae3"][1] - values) / speed
        prefix = f"{name}_" if name else ""
        return {
            f"{prefix}temperature": (dims, values, {"units": "degC", "long_name": f"temperature, {text}"}),
            f"{prefix}time": (dims, seconds, {"units": "s", "long_name": f"time from Ae3, {text}"}),
        }

    result = found.assign(
        {
            **pair("", lines, dims, "at which the phase has reached the share"),
            **pair("start", start, ("phase", "rate"), "start of the phase"),
            **pair("finish", finish, ("phase", "rate"), "finish of the phase"),
            **critical,
        }
    ).assign_coords(
        rate=("rate", speed, {"units": "K/s", "long_name": "cooling rate"}),
        share=("share", share, {"units": "1", "long_name": "share of the whole structure"}),
    )
    result.attrs = _attributes(steel, "cct", notes)
    return result


def ttt(
    steel: Any,
    temperatures: npt.ArrayLike | None = None,
    fractions: Sequence[float] = (0.01, 0.1, 0.5, 0.9, 0.99),
    **options: Any,
) -> xr.Dataset:
    """Isothermal diagram of a heat: an instant drop from Ae3 to the holding temperature, then a hold of 1e6 s.

    Parameters
    ----------
    steel : Steel
        The heat.
    temperatures : array_like, optional
        Holding temperatures, degC; default every 5 K from Ms to Ae3.
    fractions : sequence of float
        Shares of the whole structure for which lines are wanted.
    **options
        Passed on to `heatq.transform`.

    Returns
    -------
    xarray.Dataset
        Over ``phase``, ``share`` and ``temperature`` (degC): ``time`` s after reaching the holding temperature (NaN
        where a phase does not get that far in 1e6 s), ``start_time`` and ``finish_time`` (phase, temperature),
        ``fraction`` (phase, temperature) at the end of the hold, and the critical temperatures as in `cct`.

    Examples
    --------
    >>> import heatq as hq
    >>> diagram = ttt(hq.grade("4140"), temperatures=[450.0, 650.0])
    >>> first = diagram.time.sel(share=0.01)
    >>> bool(first.sel(phase="bainite", temperature=450.0) < 30.0)
    True
    """
    import xarray as xr

    share = _shares(fractions)
    with collect_validity() as notes:
        critical, values = _critical(steel)
        if temperatures is None:
            hold = np.arange(5.0 * np.ceil(values.ms / 5.0), values.ae3, 5.0)
        else:
            hold = np.unique(np.asarray(temperatures, dtype=float))
        for value in hold:
            check_number("temperatures", value, "temperature")
        low, high = _DECADES
        after = np.logspace(low, high, (high - low) * _PER_DECADE + 1)
        drop = 1e-9
        time = np.concatenate([[0.0, drop], drop + after])
        top = max(values.ae3, float(hold.max())) + 1.0
        column = np.vstack([np.full(len(hold), top), np.tile(hold, (len(time) - 1, 1))])
        history = xr.Dataset(
            {"temperature": (("time", "probe"), column)}, coords={"time": time, "probe": np.arange(len(hold))}
        )
        run = transform(history, steel, **options)
    along = run["fraction_history"].transpose("phase", "probe", "time").values[..., 1:]
    clock = np.log(np.concatenate([[after[0] * 1e-3], after]))
    lines = np.exp(_lines(along, clock, share))
    start, finish = (np.exp(part) for part in _start_and_finish(along, clock))
    unit = {"units": "s", "long_name": "time at the holding temperature"}
    result = xr.Dataset(
        {
            "time": (("phase", "share", "temperature"), lines, unit),
            "start_time": (("phase", "temperature"), start, unit),
            "finish_time": (("phase", "temperature"), finish, unit),
            "fraction": (("phase", "temperature"), along[..., -1], {"units": "1", "long_name": "phase fraction"}),
            **critical,
        },
        coords={
            "phase": run["phase"],
            "share": ("share", share, {"units": "1", "long_name": "share of the whole structure"}),
            "temperature": ("temperature", hold, {"units": "degC", "long_name": "holding temperature"}),
        },
    )
    result.attrs = _attributes(steel, "ttt", notes)
    return result


def critical_rate(diagram: xr.Dataset, phases: str | Sequence[str], share: float, *, scan: str = "fast") -> float:
    """Cooling rate, K/s, at which phases reach a share of the final structure, read off a CCT diagram.

    Parameters
    ----------
    diagram : xarray.Dataset
        As `cct` returns it; the finer its ``rate``, the sharper the answer (interpolated in the logarithm of the rate).
    phases : str or list of str
        A phase, or several that count together.
    share : float
        0 to 1.
    scan : {"fast", "slow"}
        From which end the first crossing is looked for: from the fast end, martensite falling to 0.99 is the lower
        critical rate of full hardening, bainite rising to 0.01 its fastest appearance.

    Returns
    -------
    float
        NaN where there is no crossing within the diagram.

    Examples
    --------
    >>> import heatq as hq
    >>> diagram = cct(hq.grade("4140"))
    >>> bool(critical_rate(diagram, ["martensite", "austenite"], 0.5) < critical_rate(diagram, "bainite", 0.01))
    True
    """
    if getattr(diagram, "attrs", {}).get("diagram") != "cct":
        raise InputError("diagram is not a CCT diagram: pass what cct() returned.")
    check_number("share", share, low=0.0, high=1.0, hint="Write 0.5, not 50 %.")
    check_name("scan", scan, ("fast", "slow"))
    names = [phases] if isinstance(phases, str) else list(phases)
    for name in names:
        check_name("phases", name, PHASES, what="phase")
    total = diagram["fraction"].sel(phase=names).sum("phase").values
    log_rate = np.log(diagram["rate"].values)
    if scan == "fast":
        total, log_rate = total[::-1], log_rate[::-1]
    above = total >= share
    changes = np.flatnonzero(above[1:] != above[:-1])
    if not changes.size:
        return float("nan")
    k = int(changes[0])
    weight = (share - total[k]) / (total[k + 1] - total[k])
    return float(np.exp(log_rate[k] + weight * (log_rate[k + 1] - log_rate[k])))
