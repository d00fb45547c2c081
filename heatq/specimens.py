"""Pieces: the end-quench (Jominy) bar, round bars and tubes, with their faces and named probes.

Every piece is a body of revolution in (r, z). ``z`` runs from the bottom (the quenched end of the end-quench bar).
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping
from typing import Any

from scipy.constants import inch, milli

from heatq.errors import InputError, check_name, check_number
from heatq.units import sixteenths

__all__ = ["EndQuenchBar", "Probe", "RoundBar", "Tube", "check_piece"]

#: Positions of the end-quench traverse in sixteenths of an inch (ASTM A255; the list above 16 from memory).
JOMINY_POSITIONS = (*range(1, 17), 18, 20, 22, 24, 26, 28, 30, 32)


def check_piece(specimen: Any) -> None:
    """Raise an `InputError` for anything that is not a piece."""
    if not hasattr(specimen, "resolve_probes"):
        raise InputError(
            f"specimen = {specimen!r} is not a piece: write EndQuenchBar(), RoundBar(diameter=...) or Tube(...)."
        )


@dataclasses.dataclass(frozen=True)
class Probe:
    """A point of the section.

    Parameters
    ----------
    r, z : float
        Radius from the axis and height above the bottom (quenched) face, m.
    name : str, optional
        Label in the result; made from the coordinates if left out.
    """

    r: float
    z: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        """Check the coordinates."""
        check_number("r", self.r, "position")
        check_number("z", self.z, "position")

    @property
    def label(self) -> str:
        """Name, or the coordinates in mm."""
        return self.name or f"r{self.r / milli:g} z{self.z / milli:g}"


@dataclasses.dataclass(frozen=True)
class _Body:
    """What all pieces share."""

    @property
    def outer_radius(self) -> float:
        raise NotImplementedError

    @property
    def inner_radius(self) -> float:
        return 0.0

    @property
    def faces(self) -> dict[str, str]:
        """Face name -> which side of the (r, z) section it is: bottom, top, outer or bore."""
        raise NotImplementedError

    @property
    def default_probes(self) -> tuple[str, ...]:
        raise NotImplementedError

    def find_probe(self, name: str) -> Probe:
        raise NotImplementedError

    def resolve_probes(self, probes: Any = None) -> list[Probe]:
        """Turn names, `Probe` objects or a mapping name -> (r, z) into checked probes inside the piece."""
        if probes is None:
            probes = self.default_probes
        if isinstance(probes, (str, Probe)):
            probes = [probes]
        if isinstance(probes, Mapping):
            probes = [Probe(r, z, name=str(name)) for name, (r, z) in probes.items()]
        if not isinstance(probes, Iterable):
            raise InputError(f"probes = {probes!r}: give names, Probe(r=, z=) objects or a mapping name -> (r, z).")
        found = [entry if isinstance(entry, Probe) else self.find_probe(str(entry)) for entry in probes]
        if not found:
            raise InputError("probes is empty: name at least one place of interest.")
        labels = [probe.label for probe in found]
        if len(set(labels)) != len(labels):
            double = sorted({label for label in labels if labels.count(label) > 1})
            raise InputError(f"probes: the name {double[0]!r} is given twice; every probe needs its own.")
        for probe in found:
            self._check_inside(probe)
        return found

    def _check_inside(self, probe: Probe) -> None:
        slack = 1e-9
        length = getattr(self, "length", None)
        across = self.inner_radius - slack <= probe.r <= self.outer_radius + slack
        if across and (length is None or -slack <= probe.z <= length + slack):
            return
        where = f"probe {probe.label!r} lies at r = {probe.r / milli:g} mm, z = {probe.z / milli:g} mm"
        if not across:
            raise InputError(
                f"{where}, outside the section r = {self.inner_radius / milli:g} to {self.outer_radius / milli:g} mm."
            )
        raise InputError(f"{where}, outside the length z = 0 to {length / milli:g} mm.")


@dataclasses.dataclass(frozen=True)
class EndQuenchBar(_Body):
    """The end-quench (Jominy) bar: quenched at its lower end, hardness read along a flat on its side.

    Parameters
    ----------
    standard : {"ASTM A255", "ISO 642"}
        Sets the sizes: 1.0 in x 4.0 in (ASTM A255-02, 3.1) or 25 mm x 100 mm (ISO 642:2024, scope). The collar is
        left out: it is far from every hardness position.
    diameter, length : float, optional
        m; replace the standard's sizes (subsize bars).
    flat_depth : float, optional
        Depth of the ground flats, m: 0.015 in (ASTM A255-20a, 6.4, minimum) or 0.4 mm (ISO 642). Probes named by
        distance sit at that depth below the cylindrical surface.

    Notes
    -----
    Faces: ``jet`` (quenched end), ``side``, ``top``. Probes: ``J1`` ... ``J32`` (sixteenths of an inch, fractions such as
    ``J2.5`` allowed) or a distance such as ``"10 mm"``; also any `Probe`.

    Examples
    --------
    >>> bar = EndQuenchBar()
    >>> bar.faces
    {'jet': 'bottom', 'side': 'outer', 'top': 'top'}
    >>> bar.find_probe("J8").z
    0.0127
    """

    standard: str = "ASTM A255"
    diameter: float = 0.0
    length: float = 0.0
    flat_depth: float = -1.0

    def __post_init__(self) -> None:
        """Fill in the standard's sizes and check what was given."""
        check_name("standard", self.standard, ("ASTM A255", "ISO 642"))
        metric = self.standard == "ISO 642"
        defaults = (25 * milli, 100 * milli, 0.4 * milli) if metric else (1 * inch, 4 * inch, 0.015 * inch)
        given = (self.diameter or defaults[0], self.length or defaults[1])
        object.__setattr__(self, "diameter", check_number("diameter", given[0], "diameter"))
        object.__setattr__(self, "length", check_number("length", given[1], "length"))
        depth = defaults[2] if self.flat_depth < 0 else self.flat_depth
        check_number("flat_depth", depth, low=0.0, high=self.diameter / 4, unit="m")
        object.__setattr__(self, "flat_depth", depth)

    @property
    def outer_radius(self) -> float:
        """Radius, m."""
        return self.diameter / 2

    @property
    def faces(self) -> dict[str, str]:
        """Face name -> side of the section."""
        return {"jet": "bottom", "side": "outer", "top": "top"}

    @property
    def default_probes(self) -> tuple[str, ...]:
        """The standard's traverse, as far as it fits on the bar."""
        if self.standard == "ISO 642":
            distances = (1.5, 3, 5, 7, 9, 11, 13, 15, *range(20, int(self.length / milli * 0.81), 5))
            return tuple(f"{d:g} mm" for d in distances)
        return tuple(f"J{j}" for j in JOMINY_POSITIONS if sixteenths(float(j)) < 0.9 * self.length)

    def find_probe(self, name: str) -> Probe:
        """Probe on the flat at a distance such as ``J8`` or ``12.7 mm``."""
        text = name.strip()
        sixteenth = re.fullmatch(r"[Jj]\s*(\d+(?:\.\d*)?)", text)
        metric = re.fullmatch(r"(\d+(?:\.\d*)?)\s*mm", text)
        if sixteenth:
            z = sixteenths(float(sixteenth[1]))
        elif metric:
            z = float(metric[1]) * milli
        else:
            raise InputError(
                f"unknown probe {name!r}: on an end-quench bar write J1 ... J32 (sixteenths of an inch), "
                "a distance such as '10 mm', or Probe(r=, z=)."
            )
        return Probe(self.outer_radius - self.flat_depth, z, text)


def _bar_probe(body: Any, name: str, fractions: Mapping[str, float]) -> Probe:
    """Probe of a bar by name, at mid-length or at ``name @ 120 mm`` from the bottom face."""
    text, _, where = name.partition("@")
    text = text.strip()
    check_name("probe", text, fractions, what="probe")
    length = body.length
    z = 0.0 if length is None else length / 2
    if where:
        match = re.fullmatch(r"\s*(\d+(?:\.\d*)?)\s*mm\s*", where)
        if not match:
            raise InputError(f"probe {name!r}: after @ write the distance from the bottom face, such as '@ 120 mm'.")
        z = float(match[1]) * milli
    r = body.inner_radius + fractions[text] * (body.outer_radius - body.inner_radius)
    return Probe(r, z, name.strip())


@dataclasses.dataclass(frozen=True)
class RoundBar(_Body):
    """A solid round bar.

    Parameters
    ----------
    diameter : float
        m.
    length : float or None
        m; None is a long bar, solved in the radius alone.

    Notes
    -----
    Faces: ``bottom``, ``side``, ``top`` (a long bar has only ``side``). Probes: ``centre``, ``mid-radius``,
    ``3/4 radius``, ``surface``, at mid-length or at a distance from the bottom face as in ``"centre @ 120 mm"``.

    Examples
    --------
    >>> RoundBar(diameter=0.0762, length=0.6).find_probe("3/4 radius").r
    0.028575
    """

    diameter: float
    length: float | None = None

    def __post_init__(self) -> None:
        """Check the sizes."""
        check_number("diameter", self.diameter, "diameter")
        if self.length is not None:
            check_number("length", self.length, "length")

    @property
    def outer_radius(self) -> float:
        """Radius, m."""
        return self.diameter / 2

    @property
    def faces(self) -> dict[str, str]:
        """Face name -> side of the section."""
        if self.length is None:
            return {"side": "outer"}
        return {"bottom": "bottom", "side": "outer", "top": "top"}

    @property
    def default_probes(self) -> tuple[str, ...]:
        """Centre, mid-radius, 3/4 radius and surface at mid-length."""
        return ("centre", "mid-radius", "3/4 radius", "surface")

    def find_probe(self, name: str) -> Probe:
        """Probe by name, see the class."""
        return _bar_probe(self, name, {"centre": 0.0, "mid-radius": 0.5, "3/4 radius": 0.75, "surface": 1.0})


@dataclasses.dataclass(frozen=True)
class Tube(_Body):
    """A round tube; its bore is a face.

    Parameters
    ----------
    outer_diameter, inner_diameter : float
        m.
    length : float or None
        m; None is a long tube, solved in the radius alone.

    Notes
    -----
    Faces: ``bottom``, ``side``, ``top``, ``bore`` (a long tube: ``side``, ``bore``). Probes: ``bore``, ``mid-wall``,
    ``surface``, at mid-length or at a distance from the bottom face as in ``"mid-wall @ 50 mm"``.

    Examples
    --------
    >>> Tube(outer_diameter=0.06, inner_diameter=0.03).faces
    {'side': 'outer', 'bore': 'bore'}
    """

    outer_diameter: float
    inner_diameter: float
    length: float | None = None

    def __post_init__(self) -> None:
        """Check the sizes."""
        check_number("outer_diameter", self.outer_diameter, "diameter")
        check_number("inner_diameter", self.inner_diameter, "diameter")
        if not self.inner_diameter < self.outer_diameter:
            raise InputError(
                f"inner_diameter = {self.inner_diameter:g} m is not smaller than outer_diameter = {self.outer_diameter:g} m."
            )
        if self.length is not None:
            check_number("length", self.length, "length")

    @property
    def outer_radius(self) -> float:
        """Outer radius, m."""
        return self.outer_diameter / 2

    @property
    def inner_radius(self) -> float:
        """Bore radius, m."""
        return self.inner_diameter / 2

    @property
    def diameter(self) -> float:
        """Outer diameter, m."""
        return self.outer_diameter

    @property
    def faces(self) -> dict[str, str]:
        """Face name -> side of the section."""
        if self.length is None:
            return {"side": "outer", "bore": "bore"}
        return {"bottom": "bottom", "side": "outer", "top": "top", "bore": "bore"}

    @property
    def default_probes(self) -> tuple[str, ...]:
        """Bore, mid-wall and surface at mid-length."""
        return ("bore", "mid-wall", "surface")

    def find_probe(self, name: str) -> Probe:
        """Probe by name, see the class."""
        return _bar_probe(self, name, {"bore": 0.0, "mid-wall": 0.5, "surface": 1.0})
