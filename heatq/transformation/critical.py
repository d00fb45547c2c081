"""Critical temperatures of steel from composition: Ac1, Ac3, Ae1, Ae3, Bs, Ms, Mf.

The formulas themselves are in :mod:`heatq.transformation.formulas`. ``steel`` is anything with the attributes C, Mn,
Si, Ni, Cr, Mo, V, Cu, Al, P, ... (a missing one counts as zero), so `heatq.steels.Steel` or any object of your own will
do.

:func:`critical_temperatures` picks the defaults, says where it leaves a published range
and names the formula behind every number; :func:`spread` gives the disagreement between formulas, which is the honest
uncertainty: five Ms formulas agree within about 15 K for common low-alloy steels (31 K for 8620), and nobody can
promise better than +-20 K.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from heatq.errors import InputError, check_name, check_number, note_validity
from heatq.transformation.formulas import (
    FORMULAS,
    RANGES,
    ae1_grange_1961,
    bs_li_1998,
    elements,
    mf_steven_haynes_1956,
)

__all__ = [
    "FORMULAS",
    "RANGES",
    "CriticalTemperatures",
    "critical_temperatures",
    "dissolved_carbon",
    "evaluate",
    "in_range",
    "spread",
    "with_elements",
]


class _Changed:
    """A view of a steel with some elements replaced; everything else comes from the original."""

    def __init__(self, steel: Any, changed: Mapping[str, float]) -> None:
        self._steel = steel
        for name, value in changed.items():
            setattr(self, name, value)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._steel, name)


def with_elements(steel: Any, **changed: float) -> Any:
    """View of ``steel`` with some elements replaced, for instance the carbon dissolved in austenite.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> view = with_elements(SimpleNamespace(C=1.0, Cr=1.4), C=0.62)
    >>> view.C, view.Cr
    (0.62, 1.4)
    """
    return _Changed(steel, changed)


def in_range(quantity: str, method: str, steel: Any) -> bool:
    """Whether ``steel`` lies inside the published element range of a formula (True where none is known)."""
    limits = RANGES.get(f"{quantity} {method}", {})
    return all(low - 1e-9 <= getattr(steel, name, 0.0) <= high + 1e-9 for name, (low, high) in limits.items())


def evaluate(quantity: str, method: str, steel: Any) -> float:
    """Evaluate one formula of `FORMULAS` and note every element that leaves its published range."""
    check_name("quantity", quantity, FORMULAS)
    function = FORMULAS[quantity][check_name(quantity, method, FORMULAS[quantity], what=f"{quantity} formula")]
    for name, (low, high) in RANGES.get(f"{quantity} {method}", {}).items():
        note_validity(
            f"{quantity}, {method}", f"{name} content", getattr(steel, name, 0.0), low, high, "%", "its published range"
        )
    return float(function(steel))


def spread(steel: Any, quantity: str) -> tuple[float, float]:
    """Lowest and highest value over the formulas of one quantity: the honest uncertainty of it.

    Formulas whose published element range the steel leaves are left out, unless none would remain.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    quantity : {"ac1", "ac3", "ae1", "ae3", "bs", "ms"}

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> low, high = spread(SimpleNamespace(C=0.37, Mn=0.77, Si=0.25, Cr=0.98, Mo=0.21), "ms")
    >>> round(low), round(high)
    (339, 346)
    """
    check_name("quantity", quantity, FORMULAS)
    formulas = FORMULAS[quantity]
    values = [float(formula(steel)) for name, formula in formulas.items() if in_range(quantity, name, steel)]
    values = values or [float(formula(steel)) for formula in formulas.values()]
    return min(values), max(values)


class CriticalTemperatures(NamedTuple):
    """Critical temperatures in degC and the formula behind each.

    ``bs`` is what to report as bainite start; ``bs_kinetics`` is the zero of the Li bainite rate. ``ae3`` is the
    upper temperature of the ferrite rate (Andrews' Ac3 by default, held at or above ``ae1``).
    """

    ac1: float
    ac3: float
    ae1: float
    ae3: float
    bs: float
    bs_kinetics: float
    ms: float
    mf: float
    methods: dict[str, str]


def critical_temperatures(
    steel: Any,
    *,
    ac1: str = "andrews_1965",
    ac3: str = "andrews_1965",
    ae1: str = "grange_1961",
    ae3: str = "ac3",
    bs: str = "steven_haynes_1956",
    ms: str = "andrews_1965",
    carbon: float | None = None,
) -> CriticalTemperatures:
    """All critical temperatures by the documented defaults.

    Parameters
    ----------
    steel : object with attributes C, Mn, ...
    ac1, ac3, ae1, bs, ms : str
        Names of formulas in `FORMULAS`.
    ae3 : str
        ``"ac3"`` (the default) uses Ac3 as the upper temperature of the ferrite rate: a heating temperature in place
        of an equilibrium one, but with the Li rates it removes most of the softness that Grange's Ae3 gives 4130 and
        8620 (rms 4.2 to 1.6 and 5.5 to 3.6 HRC against the middle of the H-bands). Otherwise a name in
        ``FORMULAS["ae3"]``.
    carbon : float, optional
        Carbon dissolved in the austenite, mass %, for Bs and Ms; default the steel's own.

    Returns
    -------
    CriticalTemperatures
        In degC. Ae3 and Ac3 are never below Ae1 and Ac1: formulas linear in carbon run below above about 0.6 % C,
        where there is no proeutectoid ferrite any more.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> heat = SimpleNamespace(C=0.42, Mn=0.78, Si=0.25, Ni=1.79, Cr=0.80, Mo=0.33)
    >>> found = critical_temperatures(heat)
    >>> round(found.ae1), round(found.ac1), round(found.ac3), round(found.ms)
    (710, 705, 741, 294)
    """
    dissolved = steel if carbon is None else with_elements(steel, C=check_number("carbon", carbon, low=0.0, high=2.2))
    ac1_value = evaluate("ac1", ac1, steel)
    ac3_value = evaluate("ac3", ac3, steel)
    ae1_value = evaluate("ae1", ae1, steel)
    ae3_value = max(ac3_value if ae3 == "ac3" else evaluate("ae3", ae3, steel), ae1_value)
    ms_value = evaluate("ms", ms, dissolved)
    methods = {
        "ac1": ac1,
        "ac3": ac3,
        "ae1": ae1,
        "ae3": f"ac3 {ac3}" if ae3 == "ac3" else ae3,
        "bs": bs,
        "bs_kinetics": "li_1998",
        "ms": ms,
        "mf": "steven_haynes_1956",
    }
    return CriticalTemperatures(
        ac1=ac1_value,
        ac3=max(ac3_value, ac1_value),
        ae1=ae1_value,
        ae3=ae3_value,
        bs=evaluate("bs", bs, dissolved),
        bs_kinetics=float(bs_li_1998(dissolved)),
        ms=ms_value,
        mf=mf_steven_haynes_1956(ms_value),
        methods=methods,
    )


def dissolved_carbon(steel: Any, austenitizing_temperature: float) -> float:
    """Carbon dissolved in the austenite, mass %: all of it up to 0.7 %, above that what the Acm line allows.

    Notes
    -----
    For C <= 0.7 % the steel's own carbon. Above::

        C_dissolved = min(C, 0.77 + 0.00318 (T - 727) - 0.37 Cr)

    the straight Acm line of Fe-C between 0.77 % at 727 degC and 2.11 % at 1148 degC, lowered by 0.37 per % Cr. The
    chromium term is our own estimate, set so that 52100 (1.02 C, 1.41 Cr) keeps 0.62 % at 845 degC; the range quoted
    for it at 840 to 850 degC is 0.6 to 0.65 % (from memory). Long holding is assumed; real heats keep a little less.
    Give the dissolved carbon yourself where you know it.

    Validity: Cr <= 1.6 %, no other strong carbide former.

    Parameters
    ----------
    steel : object with attributes C, Cr, ...
    austenitizing_temperature : float
        degC.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(dissolved_carbon(SimpleNamespace(C=1.02, Mn=0.36, Si=0.25, Cr=1.41), 845.0), 2)
    0.62
    >>> dissolved_carbon(SimpleNamespace(C=0.41, Cr=1.0), 845.0)
    0.41
    """
    temperature = check_number("austenitizing_temperature", austenitizing_temperature, "initial_temperature")
    C, Cr = elements(steel, "C Cr")
    if C <= 0.7:
        return float(C)
    start = ae1_grange_1961(steel)
    if temperature <= start:
        raise InputError(
            f"austenitizing_temperature = {temperature:g} degC is not above Ae1 = {start:.0f} degC of this steel, so "
            "there is no austenite to quench. Temperatures are in degrees Celsius; austenitize higher."
        )
    note_validity("dissolved carbon, own Acm estimate", "Cr content", Cr, 0.0, 1.6, "%", "set by Fe-C and 52100")
    dissolved = min(C, 0.77 + 0.00318 * (temperature - 727.0) - 0.37 * Cr)
    if dissolved < 0.3:
        raise InputError(
            f"C = {C:g} % with Cr = {Cr:g} % is outside what the estimate of dissolved carbon can do (it gives "
            f"{dissolved:.2f} %). Give the carbon dissolved in the austenite yourself, for instance carbon=0.55."
        )
    return float(dissolved)
