"""Grades by name: nominal chemistry with ranges and sources, hardenability bands, and a demo heat.

The data are in ``data/grades.toml`` and ``data/bands.toml``, each number with its source and whether it was read there
or is from memory. They serve first estimates and teaching; for a real part take the heat's certificate
(`heatq.steels.read_certificate`).
"""

from __future__ import annotations

import functools
import re
import tomllib
from importlib import resources
from typing import Any, TypedDict

import numpy as np
import numpy.typing as npt

from heatq.errors import check_name
from heatq.steels.steel import Steel

__all__ = ["HardenabilityBand", "demo_heat", "grade", "grade_ranges", "h_band", "list_grades", "list_h_bands"]


class HardenabilityBand(TypedDict):
    """What :func:`h_band` returns."""

    distance_sixteenths: npt.NDArray[np.float64]
    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    source: str


@functools.cache
def _data(file: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("heatq.steels").joinpath("data", file).read_text(encoding="utf-8"))


def _plain(name: Any) -> str:
    """Grade name without its prefix, spaces, hyphens and case: 'AISI 4140 H' -> '4140H'."""
    text = re.sub(r"[\s_-]+", "", str(name)).upper()
    return re.sub(r"^(AISI/SAE|SAE/AISI|AISI|SAE|EN|ASTM|GRADE)", "", text)


def _key(name: Any, data: dict[str, Any], what: str) -> str:
    known: dict[str, str] = {}
    for key, entry in data.items():
        for alias in (key, *entry.get("aliases", ())):
            known[_plain(alias)] = key
    wanted = _plain(name)
    if wanted in known:
        return known[wanted]
    return check_name("name", wanted, data, what=what)


def list_grades() -> list[str]:
    """Names that :func:`grade` knows.

    Examples
    --------
    >>> "4140" in list_grades()
    True
    """
    return sorted(_data("grades.toml"))


def grade(name: str) -> Steel:
    """Nominal steel of a grade: the middle of each composition range, plus usual residuals.

    Parameters
    ----------
    name : str
        Grade, for instance ``"4140"``, ``"AISI 4140"``, ``"42crmo4"`` or ``"4140H"``; see :func:`list_grades`.

    Returns
    -------
    Steel
        With the grade's austenitizing temperature, ASTM grain size 7.5 and a ``source`` that says where ranges and
        temperature come from and whether they were read there.

    Notes
    -----
    Residuals (Ni 0.10 and Cu 0.10 %; in carbon steel also Cr 0.08 and Mo 0.02 %, in chromium steel Mo 0.03 %) are
    common practice without a source; ASTM A255 needs them. A real heat lies anywhere in the ranges
    (:func:`grade_ranges`): mid-range is a first estimate.

    Examples
    --------
    >>> grade("AISI 4140")
    Steel(name='4140', C=0.405, Mn=0.875, Si=0.25, Ni=0.1, Cr=0.95, Mo=0.2, Cu=0.1, grain_size=7.5,
          austenitizing_temperature=845.0)
    """
    data = _data("grades.toml")
    key = _key(name, data, "grade")
    entry = data[key]
    middle = {element: round((low + high) / 2, 6) for element, (low, high) in entry["ranges"].items()}
    return Steel(
        **{**middle, **entry["nominal"]},
        name=key,
        austenitizing_temperature=entry["austenitizing_temperature"],
        source=(
            f"{key}, middle of the range of {entry['source']} ({entry['status']}); residuals assumed; "
            f"austenitizing temperature: {entry['temperature_source']}"
        ),
    )


def grade_ranges(name: str) -> dict[str, tuple[float, float]]:
    """Composition ranges of a grade, element -> (low, high) in mass %.

    Elements without a range in the source (residuals) are left out.

    Examples
    --------
    >>> grade_ranges("4140")["Mn"]
    (0.75, 1.0)
    """
    data = _data("grades.toml")
    return {element: (low, high) for element, (low, high) in data[_key(name, data, "grade")]["ranges"].items()}


def list_h_bands() -> list[str]:
    """Names that :func:`h_band` knows.

    Examples
    --------
    >>> list_h_bands()
    ['1045H', '4130H', '4140H', '4340H', '5160H', '8620H']
    """
    return sorted(_data("bands.toml"))


def h_band(name: str) -> HardenabilityBand:
    """Hardenability band of an H grade (SAE J1268 / ASTM A304).

    Parameters
    ----------
    name : str
        H grade, for instance ``"4140H"``; see :func:`list_h_bands`.

    Returns
    -------
    dict
        Arrays ``distance_sixteenths`` (1/16 in from the quenched end), ``low`` and ``high`` (HRC; NaN where the
        standard gives no limit), and the text ``source``.

    Notes
    -----
    All rows are from memory, not verified; two independent recollections agree, and one point was read in print (4140H
    at 5/16 in: 51 to 59 HRC). The band is a statistical envelope of heats, 93 to 95 % of which lie inside (from
    memory); its lower limit is not the curve of the leanest composition.

    Examples
    --------
    >>> band = h_band("4140H")
    >>> float(band["low"][4]), float(band["high"][4])
    (51.0, 59.0)
    """
    data = _data("bands.toml")
    entry = data[_key(name, data, "H-band")]
    return HardenabilityBand(
        distance_sixteenths=np.array(entry["distance_sixteenths"], dtype=float),
        low=np.array(entry["low"], dtype=float),
        high=np.array(entry["high"], dtype=float),
        source=entry["source"],
    )


def demo_heat() -> Steel:
    """Full certificate of a chromium-molybdenum heat that we invented, near 4140, for demonstrations and tests.

    Examples
    --------
    >>> demo_heat().name
    'demo heat (invented)'
    """
    return Steel(
        C=0.41,
        Mn=0.88,
        Si=0.26,
        Ni=0.13,
        Cr=1.02,
        Mo=0.21,
        V=0.004,
        Cu=0.15,
        Al=0.027,
        P=0.011,
        S=0.016,
        N=0.008,
        grain_size=7.5,
        name="demo heat (invented)",
        austenitizing_temperature=850.0,
        source="invented for demonstration; not a real heat",
    )
