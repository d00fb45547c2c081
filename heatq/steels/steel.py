"""`Steel`: composition, grain size and austenitizing temperature of one heat or grade."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

from heatq.errors import LIMITS, InputError, check_name, check_number, hold_validity, repeat_notes
from heatq.steels.material import PHASES, Material
from heatq.steels.properties import steel_material

__all__ = ["ELEMENTS", "Steel", "check_element", "check_steel", "kept_with"]

Figures = TypeVar("Figures")


class Element(NamedTuple):
    """Plausible upper limit (mass %) and the English name of an element."""

    high: float
    english: str


#: Elements of a `Steel` with their plausible upper limits in mass %. The limits catch slips of the pen (40 for 0.40,
#: ppm for %) in carbon, low-alloy and common tool steels; the published range of each formula is stated there.
ELEMENTS: dict[str, Element] = {
    "C": Element(2.2, "carbon"),  # beyond about 2.1 % it is cast iron; D-type tool steels reach 2.2
    "Mn": Element(3.0, "manganese"),  # engineering steels to 2; high-manganese austenitic steels are not meant here
    "Si": Element(3.0, "silicon"),  # spring steels to 2.2
    "Ni": Element(5.0, "nickel"),  # carburizing grades to 4.5; 9 % nickel and maraging steels are not meant here
    "Cr": Element(6.0, "chromium"),  # hot-work tool steels to 5.5; stainless steels do not transform this way
    "Mo": Element(2.0, "molybdenum"),  # hot-work tool steels to 1.75
    "V": Element(1.5, "vanadium"),  # hot-work tool steels to 1.2
    "Cu": Element(1.0, "copper"),  # residual to 0.35; weathering steels to 0.6
    "Al": Element(1.5, "aluminium"),  # killed steels 0.02 to 0.05; nitriding steels to 1.3
    "P": Element(0.2, "phosphorus"),  # usually below 0.035; rephosphorized to 0.12
    "S": Element(0.4, "sulphur"),  # usually below 0.040; free-cutting steels to 0.35
    "N": Element(0.1, "nitrogen"),  # usually below 0.015 (150 ppm)
    "B": Element(0.01, "boron"),  # boron steels 0.0005 to 0.003
    "W": Element(3.0, "tungsten"),  # cold- and hot-work tool steels of the low-alloy kind
    "Ti": Element(0.5, "titanium"),  # microalloyed and boron steels to 0.1
    "Nb": Element(0.5, "niobium"),  # microalloyed steels to 0.1
    "Co": Element(3.0, "cobalt"),  # residual, and some hot-work steels
}

#: Elements of which stainless and high-alloy steels have more than the limit without any slip of the pen.
_HIGH_ALLOY = ("Mn", "Ni", "Cr", "Mo", "W", "Co")


def check_steel(steel: Any) -> None:
    """Raise an `InputError` unless this has a carbon content, as a `Steel` or an object like one has.

    Parameters
    ----------
    steel : Steel, Material, or another object with attributes C, Mn, ...

    Examples
    --------
    >>> check_steel("4140")
    Traceback (most recent call last):
    ...
    heatq.errors.InputError: steel = '4140' is no Steel: write for instance grade('4140') or Steel(C=0.4, Mn=0.8).
    """
    if not isinstance(getattr(steel, "C", None), (int, float)):
        raise InputError(f"steel = {steel!r} is no Steel: write for instance grade('4140') or Steel(C=0.4, Mn=0.8).")


def check_element(symbol: str, value: Any, argument: str | None = None) -> float:
    """Return the content of an element as float if it is plausible, else raise an `InputError` that says what is.

    Parameters
    ----------
    symbol : str
        Key of `ELEMENTS`.
    value : float
        mass %.
    argument : str, optional
        Name for the message; the symbol by default.

    Examples
    --------
    >>> check_element("C", 0.40)
    0.4
    >>> check_element("C", 40)
    Traceback (most recent call last):
    ...
    heatq.errors.InputError: C = 40 % is outside 0 to 2.2 %. Compositions are in mass %, did you mean 0.40?
    """
    high = ELEMENTS[symbol].high
    hint = "Compositions are in mass %."
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = 0.0
    if number > high:
        if number / 100 <= high:
            hint = f"Compositions are in mass %, did you mean {number / 100:.2f}?"
        elif number / 1e4 <= high:
            hint = f"Compositions are in mass %: {number:g} ppm is {number / 1e4:g} %."
        if symbol in _HIGH_ALLOY:
            hint += " Steels with more of it are outside every model here."
    return check_number(argument or symbol, value, low=0.0, high=high, unit="%", hint=hint)


@dataclasses.dataclass(frozen=True, kw_only=True, repr=False)
class Steel:
    """A steel: chemical composition (mass %), grain size and austenitizing temperature.

    Parameters
    ----------
    C, Mn, Si, Ni, Cr, Mo, V, Cu, Al, P, S, N, B, W, Ti, Nb, Co : float, optional
        mass %, default 0. Give residual Ni, Cr, Mo and Cu as well: hardenability from chemistry (ASTM A255) needs them,
        and lean grades come out too soft without.
    grain_size : float, optional
        ASTM number of the prior austenite grain (bigger is finer), default 7.5.
    name : str, optional
        Heat number or grade.
    austenitizing_temperature : float, optional
        degC; trials start from it if they are not told otherwise.
    source : str, optional
        Where the numbers come from.
    properties : Material, optional
        Five-phase thermal properties of your own in place of the built-in ones
        (`heatq.steels.properties.steel_material`).

    Notes
    -----
    The limits of `ELEMENTS` catch 40 for 0.40. What they cannot catch: 0.0040 (a mass fraction) for 0.40 passes.

    Examples
    --------
    >>> heat = Steel(C=0.41, Mn=0.86, Si=0.24, Cr=1.02, Mo=0.21, name="heat A-17")
    >>> heat
    Steel(name='heat A-17', C=0.41, Mn=0.86, Si=0.24, Cr=1.02, Mo=0.21, grain_size=7.5)
    >>> heat.replace(Mo=0.25).Mo
    0.25
    """

    C: float = 0.0
    Mn: float = 0.0
    Si: float = 0.0
    Ni: float = 0.0
    Cr: float = 0.0
    Mo: float = 0.0
    V: float = 0.0
    Cu: float = 0.0
    Al: float = 0.0
    P: float = 0.0
    S: float = 0.0
    N: float = 0.0
    B: float = 0.0
    W: float = 0.0
    Ti: float = 0.0
    Nb: float = 0.0
    Co: float = 0.0
    grain_size: float = 7.5
    name: str = ""
    austenitizing_temperature: float | None = None
    source: str = ""
    properties: Material | None = None

    def __new__(cls, *args: Any, **given: Any) -> Steel:
        """Refuse unknown keywords in our own words before the dataclass sees them."""
        if args:
            raise InputError(
                f"Steel({', '.join(map(repr, args))}) does not say which element is meant: name each, "
                "Steel(C=0.41, Mn=0.86, ...), in mass %."
            )
        _check_keywords(given)
        return super().__new__(cls)

    def __post_init__(self) -> None:
        """Check every number."""
        for symbol in ELEMENTS:
            object.__setattr__(self, symbol, check_element(symbol, getattr(self, symbol)))
        object.__setattr__(self, "grain_size", check_number("grain_size", self.grain_size, "grain_size"))
        if self.austenitizing_temperature is not None:
            # Below some 650 degC no steel of these is austenitic; above 1350 degC it begins to melt.
            temperature = check_number(
                "austenitizing_temperature",
                self.austenitizing_temperature,
                low=650.0,
                high=1350.0,
                unit="degC",
                hint=LIMITS["temperature"].hint,
            )
            object.__setattr__(self, "austenitizing_temperature", temperature)
        for field in ("name", "source"):
            if not isinstance(getattr(self, field), str):
                raise InputError(f"{field} = {getattr(self, field)!r} is not text: write it in quotes.")
        if not any(self.composition.values()):
            raise InputError(
                f"the steel {self.name!r} has no composition: every element is zero. Give at least C in mass %, "
                "for instance Steel(C=0.41, Mn=0.86)."
            )
        if self.properties is not None and getattr(self.properties, "phases", None) != PHASES:
            raise InputError(
                f"properties = {self.properties!r} must have the phases {', '.join(PHASES)}, in this order. Start from "
                "steel.material.with_phase(...); a plain Material goes into simulate() instead of a steel."
            )

    def __repr__(self) -> str:
        parts = [f"name={self.name!r}"] if self.name else []
        parts += [f"{symbol}={value!r}" for symbol, value in self.composition.items() if value]
        parts.append(f"grain_size={self.grain_size!r}")
        if self.austenitizing_temperature is not None:
            parts.append(f"austenitizing_temperature={self.austenitizing_temperature!r}")
        if self.properties is not None:
            parts.append(f"properties={self.properties!r}")
        return f"Steel({', '.join(parts)})"

    def __getstate__(self) -> dict[str, Any]:
        """Copied and sent without its material and what is kept with it, a thousand times as long as itself."""
        return {name: value for name, value in vars(self).items() if name != "material" and not name.startswith("_")}

    @property
    def composition(self) -> dict[str, float]:
        """Element -> mass %, every element of `ELEMENTS`."""
        return {symbol: getattr(self, symbol) for symbol in ELEMENTS}

    @functools.cached_property
    def material(self) -> Material:
        """Thermal properties of the five phases."""
        return steel_material(self) if self.properties is None else self.properties

    def replace(self, **changes: Any) -> Steel:
        """Copy with some fields changed.

        Examples
        --------
        >>> Steel(C=0.4, Mn=0.8, name="lean").replace(Mn=1.0, name="rich")
        Steel(name='rich', C=0.4, Mn=1.0, grain_size=7.5)
        """
        _check_keywords(changes)
        return dataclasses.replace(self, **changes)


def kept_with(steel: Any, make: Callable[[Any], Figures]) -> Figures:
    """What ``make`` works out from a steel or a material alone: once per object, which cannot change, anew for those of other classes.

    Its validity notes are said at each use.

    Parameters
    ----------
    steel : Steel, Material, or another object with attributes C, Mn, ...
    make : callable
        A function of a module, which names what is kept.

    Examples
    --------
    >>> heat = Steel(C=0.4)
    >>> def carbon(steel):
    ...     print("worked out")
    ...     return steel.C
    >>> kept_with(heat, carbon), kept_with(heat, carbon)
    worked out
    (0.4, 0.4)
    """
    if type(steel) not in (Steel, Material):
        return make(steel)
    name = f"_{make.__module__}.{make.__qualname__}"
    kept: tuple[Figures, dict[str, str]] | None = vars(steel).get(name)
    if kept is None:
        with hold_validity() as notes:
            kept = make(steel), notes
        vars(steel)[name] = kept
    if kept[1]:
        repeat_notes(kept[1])
    return kept[0]


def _check_keywords(given: dict[str, Any]) -> None:
    fields = [field.name for field in dataclasses.fields(Steel)]
    for keyword in given:
        if keyword in fields:
            continue
        wanted = keyword.strip().lower()
        for field in fields:
            if wanted in (field.lower(), ELEMENTS[field].english if field in ELEMENTS else ""):
                raise InputError(f"unknown keyword {keyword!r} of Steel. Did you mean {field!r}?")
        check_name("keyword", keyword, fields, what="keyword of Steel")
