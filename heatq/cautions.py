"""What can hurt people or parts in a quench, in one place for reports, the decision table and the command line.

General knowledge of the trade, no figures: limits are set by local codes, the furnace maker and licensed practice.
"""

from __future__ import annotations

from collections.abc import Iterable

from scipy.constants import atm

from heatq.errors import check_name

__all__ = ["PLANNING", "TEXTS", "cautions_for"]

#: What every prediction is, and is not.
PLANNING = "A prediction is for planning trials. It is never a release certificate: parts are released by measurement on parts."

#: Kind of danger -> its caution.
TEXTS = {
    "hot work": "Hot work: parts, baskets and furnace faces burn long after they have stopped glowing.",
    "asphyxiation": (
        "Inert gas displaces air without smell or warning: ventilate, measure oxygen, never enter a vessel or pit alone."
    ),
    "pressure vessel": (
        "Above atmospheric pressure the furnace is a pressure vessel: keep to its approved pressure, interlocks and tests."
    ),
    "hydrogen": (
        "Hydrogen burns with an invisible flame and explodes with air over a wide range: only in plant built, purged and "
        "approved for it."
    ),
    "oil fire": (
        "Quench oil burns: watch bath temperature and water in the oil, never stop a load half immersed, keep extinguishing "
        "equipment at hand."
    ),
    "steam": "Water flashes to steam on hot metal and throws hot water out: shield the bath, never trap water in a bore.",
    "cracking": "A severe quench can crack parts, at once or hours later: temper without delay.",
    "titanium": "Titanium takes up nitrogen and hydrogen and burns: quench it in argon or helium only.",
    "defer": "Local codes, the furnace maker's instructions and licensed practice go before anything computed here.",
}

_OF_MEDIUM = {
    "gas": ("asphyxiation",),
    "oil": ("oil fire",),
    "water": ("steam", "cracking"),
    "table": (),
    "air": (),
}


def cautions_for(
    media: Iterable[str], *, gases: Iterable[str] = (), pressure: float | None = None, is_titanium: bool = False
) -> list[str]:
    """Cautions that apply to a quench, most general first.

    Parameters
    ----------
    media : iterable of str
        "gas", "oil", "water", "air", or "table" for a coefficient without a medium.
    gases : iterable of str
        Names of the gases.
    pressure : float, optional
        Of the gas, absolute, Pa.
    is_titanium : bool
        Whether the piece is titanium.

    Returns
    -------
    list of str
        Sentences.

    Examples
    --------
    >>> for line in cautions_for(["oil"]):
    ...     print(line.split(":")[0])
    Hot work
    Quench oil burns
    Local codes, the furnace maker's instructions and licensed practice go before anything computed here.
    >>> any("Hydrogen" in line for line in cautions_for(["gas"], gases=["hydrogen", "nitrogen"], pressure=10e5))
    True
    """
    kinds = ["hot work"]
    for medium in media:
        kinds += _OF_MEDIUM[check_name("medium", medium, _OF_MEDIUM)]
    if "hydrogen" in gases:
        kinds.append("hydrogen")
    if pressure is not None and pressure > 1.05 * atm:
        kinds.append("pressure vessel")
    if is_titanium:
        kinds.append("titanium")
    return [TEXTS[kind] for kind in (*dict.fromkeys(kinds), "defer")]
