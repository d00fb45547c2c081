"""One run, or many, of a piece in a quench: the settings in, histories and hardness out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from heatq.conduction import simulate, simulate_many
from heatq.decide.quenches import check_quench
from heatq.errors import InputError, check_number, collect_validity, hold_validity
from heatq.hardness.interval import hardness_interval
from heatq.hardness.predict import hardness_of
from heatq.history import cooling_time
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT
from heatq.trials import COLD, LONGEST, add_predictions

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["quench_case", "run_many", "run_quench", "start_of"]


def start_of(steel: Any, initial_temperature: float | None) -> float:
    """Start temperature, degC: as given, or the steel's austenitizing temperature."""
    if len(getattr(getattr(steel, "material", None), "phases", ())) != 5:
        raise InputError(f"steel = {steel!r} does not transform: a decision about hardness needs a Steel.")
    start = getattr(steel, "austenitizing_temperature", None) if initial_temperature is None else initial_temperature
    if start is None:
        raise InputError(
            "initial_temperature is not given and the steel has no austenitizing_temperature: state one of them, degC."
        )
    return check_number("initial_temperature", start, "initial_temperature")


def quench_case(
    specimen: Any,
    steel: Any,
    quench: Any,
    *,
    initial_temperature: float | None = None,
    probes: Any = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
    end_time: float | None = None,
    estimate_error: bool = False,
) -> dict[str, Any]:
    """Arguments of `heatq.simulate` for a piece in a quench.

    Parameters
    ----------
    specimen, steel, quench, initial_temperature, probes, accuracy, kinetics, end_time, estimate_error
        As in :func:`run_quench`.
    """
    check_piece(specimen)
    check_quench(quench)
    return {
        "specimen": specimen,
        "steel": steel,
        "boundaries": quench.boundaries(specimen),
        "initial_temperature": start_of(steel, initial_temperature),
        "end_time": LONGEST if end_time is None else end_time,
        "stop_below": COLD if end_time is None else None,
        "probes": probes,
        "accuracy": accuracy,
        "kinetics": kinetics,
        "estimate_error": estimate_error,
        "progress": False,
    }


def run_quench(
    specimen: Any,
    steel: Any,
    quench: Any,
    *,
    initial_temperature: float | None = None,
    probes: Any = None,
    accuracy: float = 1.0,
    with_interval: bool = False,
    level: float = 0.90,
    kinetics: Any = DEFAULT,
    end_time: float | None = None,
    estimate_error: bool = False,
    second_opinions: bool = True,
) -> xr.Dataset:
    """Quench a piece once: a `heatq.trial` from a quench instead of boundaries.

    Parameters
    ----------
    specimen : RoundBar, Tube or EndQuenchBar
        The piece.
    steel : Steel
        The heat.
    quench : GasQuench or BathQuench
        The quench.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    probes : optional
        As in `heatq.simulate`.
    accuracy : float
        Of the histories, K.
    with_interval : bool
        Add `heatq.hardness_interval`, with the uncertainty of h that the quench states.
    level : float
        Probability of that interval.
    kinetics : str or Kinetics
        As in `heatq.simulate`.
    end_time : float, optional
        s; default until the whole piece is below 60 degC (at most 10 h).
    estimate_error : bool
        As in `heatq.simulate`; off by default, since searches run many cases.
    second_opinions : bool
        Add the hardness from chemistry alone, as `heatq.trial` does.

    Returns
    -------
    Dataset
        Of `heatq.trial`; attributes ``quench`` (label) and ``quench_settings``.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide import GasQuench
    >>> quench = GasQuench("nitrogen", velocity=20.0, pressure=10 * bar)
    >>> result = run_quench(hq.RoundBar(0.025), hq.grade("4140"), quench, probes=["centre"])
    >>> 40.0 < float(result.hardness_hrc[0]) < 60.0
    True
    """
    case = quench_case(
        specimen,
        steel,
        quench,
        initial_temperature=initial_temperature,
        probes=probes,
        accuracy=accuracy,
        kinetics=kinetics,
        end_time=end_time,
        estimate_error=estimate_error,
    )
    with collect_validity() as notes:
        result = finish(simulate(**case), steel, quench, kinetics, level if with_interval else None, second_opinions)
        result.attrs["warnings"] = json.dumps(list(notes.values()))
    return result


def finish(
    result: xr.Dataset, steel: Any, quench: Any, kinetics: Any, level: float | None, second_opinions: bool = True
) -> xr.Dataset:
    """Hardness, with a level its interval, and second opinions to what `heatq.simulate` returned."""
    if second_opinions:
        result = add_predictions(result, steel)
    else:
        result = result.merge(hardness_of(result, steel), combine_attrs="override")
        result["cooling_time_800_500"] = cooling_time(result)
    if level is not None:
        result = hardness_interval(result, steel, level=level, boundary=quench.relative_uncertainty, kinetics=kinetics)
    result.attrs["quench"] = str(quench.label)
    result.attrs["quench_settings"] = repr(quench)
    return result


def run_many(
    cases: Iterable[tuple[Any, Any, Any]],
    reduce: Callable[[Any], Any] | Sequence[Callable[[Any], Any]],
    *,
    level: float | None = None,
    kinetics: Any = DEFAULT,
    **settings: Any,
) -> list[Any]:
    """Run (specimen, steel, quench) cases on all cores; what ``reduce`` makes of each result, in order.

    Parameters
    ----------
    cases : iterable of (specimen, steel, quench)
        What to run.
    reduce : callable or sequence of callables
        What to keep of each result; one for all, or one for each.
    level : float, optional
        With one, hardness intervals are added.
    kinetics, **settings
        As in :func:`run_quench`. Validity notes are not said: a search visits settings that are no answer.
    """
    known = list(cases)
    keeps = [reduce] * len(known) if callable(reduce) else list(reduce)
    with hold_validity():
        runs = simulate_many([quench_case(*case, kinetics=kinetics, **settings) for case in known])
        return [
            keep(finish(run, steel, quench, kinetics, level, second_opinions=False))
            for (_, steel, quench), run, keep in zip(known, runs, keeps, strict=True)
        ]
