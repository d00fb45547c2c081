"""Errors, warnings and argument checks shared by every layer.

Three error classes tell who must act: `InputError` (the caller), `DataError` (whoever owns a data file) and
`SolverError` (numerics or physics). Each is also a standard exception, so ``except ValueError`` keeps working.

A model that is used outside its published range computes all the same and says so once through
:func:`note_validity`. Inside a run the notes are collected (:func:`collect_validity`) and end up in the result;
outside a run each is a `ValidityWarning`.
"""

from __future__ import annotations

import contextlib
import contextvars
import difflib
import math
import warnings
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

__all__ = [
    "AccuracyWarning",
    "DataError",
    "InputError",
    "SolverError",
    "ValidityWarning",
    "check_name",
    "check_number",
    "collect_validity",
    "hold_validity",
    "note_validity",
    "repeat_notes",
    "watch_validity",
]


class InputError(ValueError):
    """An argument is impossible or surely in the wrong unit; the caller must change it."""


class DataError(ValueError):
    """A data file (certificate, traverse, log, grade file) cannot be used as it stands."""


class SolverError(RuntimeError):
    """The time integration failed; ``partial`` holds the Dataset so far (or None)."""

    def __init__(self, message: str, partial: Any = None) -> None:
        super().__init__(message)
        self.partial = partial


class ValidityWarning(UserWarning):
    """A model was used outside the range its source covers; the result is marked."""


class AccuracyWarning(UserWarning):
    """The result may be less accurate than asked for."""


class Limit(NamedTuple):
    """Plausible range of an argument, its unit, and the cure for the likely slip."""

    low: float
    high: float
    unit: str
    hint: str


_LENGTH = "Lengths are in metres: for 25 mm write 0.025, or 25*milli (1*inch) with scipy.constants."
_DEGC = "Temperatures are in degrees Celsius: for Fahrenheit write heatq.units.degF(1550), for kelvin heatq.units.kelvin(1123)."
_PRESSURE = "Pressures are absolute and in pascal: for 10 bar write 10*bar with scipy.constants."
_VELOCITY = "Velocities are in m/s: for 200 mph write 200*mph with scipy.constants."

#: Plausible ranges by argument name. They catch unit slips (mm for m, bar for Pa, degF for degC); a model's own
#: published range is stated where the model is. What they cannot catch: 0.5 meant as inch passes as 0.5 m, and
#: 1123 meant as kelvin passes as 1123 degC.
LIMITS: dict[str, Limit] = {
    "length": Limit(1e-4, 20.0, "m", _LENGTH),
    "diameter": Limit(1e-5, 3.0, "m", _LENGTH),
    "distance": Limit(0.0, 20.0, "m", _LENGTH),
    "position": Limit(0.0, 20.0, "m", _LENGTH),
    "temperature": Limit(-200.0, 1450.0, "degC", _DEGC),
    # Above the melting range nothing here holds; below 100 degC there is nothing to quench.
    "initial_temperature": Limit(-50.0, 1350.0, "degC", _DEGC),
    "pressure": Limit(1e3, 1e7, "Pa", _PRESSURE),
    "velocity": Limit(0.0, 340.0, "m/s", _VELOCITY),
    "emissivity": Limit(0.0, 1.0, "1", "An emissivity is a fraction between 0 and 1."),
    "coefficient": Limit(0.0, 1e7, "W/m2K", "Heat-transfer coefficients are in W/m2K."),
    "duration": Limit(0.0, 1e7, "s", "Times are in seconds: for 10 min write 10*minute with scipy.constants."),
    "end_time": Limit(1e-6, 1e7, "s", "Times are in seconds: for 10 min write 10*minute with scipy.constants."),
    "accuracy": Limit(1e-3, 50.0, "K", "accuracy is the allowed error of the histories in kelvin, for instance 0.5."),
    "grain_size": Limit(-3.0, 14.0, "ASTM number", "Grain size is the ASTM number (bigger is finer), not micrometres."),
}


def check_number(
    argument: str,
    value: Any,
    kind: str | None = None,
    *,
    low: float | None = None,
    high: float | None = None,
    unit: str | None = None,
    hint: str | None = None,
    low_open: bool = False,
) -> float:
    """Return ``value`` as float if it is a plausible number, else raise an `InputError` that says what is allowed.

    Parameters
    ----------
    argument : str
        Name of the argument as the user wrote it.
    value : float
        What the user passed.
    kind : str, optional
        Key of `LIMITS` that gives range, unit and hint; explicit keywords override it.
    low, high : float, optional
        Inclusive limits. ``low_open=True`` excludes the lower one.
    unit, hint : str, optional
        Unit for the message and the cure for the likely slip.

    Examples
    --------
    >>> check_number("diameter", 0.025, "diameter")
    0.025
    """
    limit = LIMITS[kind] if kind is not None else Limit(-math.inf, math.inf, "", "")
    low = limit.low if low is None else low
    high = limit.high if high is None else high
    unit = limit.unit if unit is None else unit
    hint = limit.hint if hint is None else hint
    shown = f" {unit}" if unit and unit != "1" else ""
    try:
        if isinstance(value, (bool, str, bytes)):
            raise TypeError
        number = float(value)
    except (TypeError, ValueError):
        raise InputError(f"{argument} = {value!r} is not a number. {hint}".rstrip()) from None
    if not math.isfinite(number) or number < low or number > high or (low_open and number == low):
        if not math.isfinite(high) and not math.isfinite(number):
            raise InputError(f"{argument} = {number:g} is not a finite number. {hint}".rstrip())
        if not math.isfinite(high):
            least = f"above {low:g}" if low_open else f"at least {low:g}"
            raise InputError(f"{argument} = {number:g}{shown} must be {least}{shown}. {hint}".rstrip())
        bounds = f"{low:g} to {high:g}"
        if low_open:
            bounds = f"above {low:g} and up to {high:g}"
        raise InputError(f"{argument} = {number:g}{shown} is outside {bounds}{shown}. {hint}".rstrip())
    return number


def check_name(argument: str, value: Any, allowed: Iterable[str], *, what: str = "", error: type = InputError) -> str:
    """Return ``value`` if it is one of ``allowed``, else raise ``error`` naming the nearest three.

    Examples
    --------
    >>> check_name("gas", "helium", ["nitrogen", "argon", "helium"])
    'helium'
    """
    if isinstance(value, str) and isinstance(allowed, (dict, tuple, list)) and value in allowed:
        return value
    names = [str(name) for name in allowed]
    if isinstance(value, str) and value in names:
        return value
    near = difflib.get_close_matches(str(value), names, n=3, cutoff=0.0)
    meant = f" Did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
    raise error(f"unknown {what or argument} {value!r}.{meant} Known: {', '.join(names)}.")


#: Where notes go: key -> message, or where values lay outside, or nowhere: then they are said at once.
_notes: contextvars.ContextVar[dict[str, str] | list[Any] | None] = contextvars.ContextVar(
    "heatq_validity_notes", default=None
)


@contextlib.contextmanager
def collect_validity() -> Iterator[dict[str, str]]:
    """Collect the validity notes of one run (key -> message); the outermost use says them in one `ValidityWarning`."""
    outer = _notes.get()
    if isinstance(outer, dict):
        yield outer
        return
    collected: dict[str, str] = {}
    token = _notes.set(collected)
    try:
        yield collected
    finally:
        _notes.reset(token)
    if outer is not None:
        outer += [True] if collected else []
    elif collected:  # frames: this one, contextlib, the heatq function, its caller
        warnings.warn(" ".join(collected.values()), ValidityWarning, stacklevel=4)


def repeat_notes(notes: dict[str, str]) -> None:
    """Say notes again that were collected when a cached result was made."""
    current = _notes.get()
    if isinstance(current, dict):
        current.update(notes)
    elif current is not None:
        current += [True] if notes else []
    else:
        for message in notes.values():
            warnings.warn(message, ValidityWarning, stacklevel=3)


@contextlib.contextmanager
def hold_validity() -> Iterator[dict[str, str]]:
    """Collect notes without saying them, for a result that is cached; `repeat_notes` says them at each use."""
    held: dict[str, str] = {}
    token = _notes.set(held)
    try:
        yield held
    finally:
        _notes.reset(token)


@contextlib.contextmanager
def watch_validity() -> Iterator[list[Any]]:
    """Collect, in place of notes, where values lay outside (one truth value or array each), for tables that reach beyond a run."""
    outside: list[Any] = []
    token = _notes.set(outside)
    try:
        yield outside
    finally:
        _notes.reset(token)


def note_validity(model: str, quantity: str, value: Any, low: float, high: float, unit: str, source: str) -> None:
    """Say that ``quantity`` left the range ``low..high`` that ``source`` covers, if it did.

    ``value`` may be an array; NaN entries are ignored. Inside :func:`collect_validity` the message is recorded once
    per model and quantity; elsewhere it is a `ValidityWarning`.
    """
    slack = 1e-9
    least, most = low - slack * (1 + abs(low)), high + slack * (1 + abs(high))
    if isinstance(value, float):
        if least <= value <= most:
            return
    elif isinstance(value, list):
        if value and least <= min(value) and max(value) <= most:
            return
    elif getattr(value, "size", 0) and least <= value.min() and value.max() <= most:
        return
    import numpy as np

    values = np.asarray(value, dtype=float)
    notes = _notes.get()
    if isinstance(notes, list):
        notes.append((values < least) | (values > most))
        return
    values = values[np.isfinite(values)]
    if values.size == 0 or (least <= values.min() and values.max() <= most):
        return
    seen = f"{values.min():.4g}" if values.min() == values.max() else f"{values.min():.4g} to {values.max():.4g}"
    shown = f" {unit}" if unit and unit != "1" else ""
    message = f"{model}: {quantity} = {seen}{shown} is outside {low:.4g} to {high:.4g}{shown} ({source}); computed all the same."
    if notes is None:
        warnings.warn(message, ValidityWarning, stacklevel=3)
    else:
        notes[f"{model}/{quantity}"] = message
