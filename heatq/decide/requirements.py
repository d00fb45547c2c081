"""What must be met, where: hardness, martensite or a cooling window at named places."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq.errors import InputError, check_number
from heatq.hardness.conversion import hrc_from_hv, hv_from_hrc
from heatq.windows import CurveWindow, RateWindow, TimeWindow

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Requirement", "check_requirement"]

Array = npt.NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Requirement:
    """What must be met, at which probes: exactly one of hardness (HRC or HV), martensite and window.

    Parameters
    ----------
    hardness_hrc : float, optional
        At least, 20 to 68 HRC, as quenched.
    hardness_hv : float, optional
        At least, HV.
    martensite : float, optional
        At least, as a fraction, with the austenite it retains.
    window : RateWindow, TimeWindow or CurveWindow, optional
        Of the cooling history.
    probes : str or tuple of str
        Places that must all meet it, as in the piece: "centre", "surface", "J8". One name or several.

    Examples
    --------
    >>> Requirement(hardness_hrc=50.0).label
    'at least 50 HRC at centre'
    >>> Requirement(martensite=0.9, probes=("centre", "mid-radius")).label
    'at least 90 % martensite at centre, mid-radius'
    """

    hardness_hrc: float | None = None
    hardness_hv: float | None = None
    martensite: float | None = None
    window: Any = None
    probes: tuple[str, ...] = ("centre",)

    def __post_init__(self) -> None:
        """Check that one thing is asked for."""
        asked = [
            name for name in ("hardness_hrc", "hardness_hv", "martensite", "window") if getattr(self, name) is not None
        ]
        if len(asked) != 1:
            raise InputError(
                f"Requirement: give exactly one of hardness_hrc, hardness_hv, martensite and window; got {len(asked)}."
            )
        if self.hardness_hrc is not None:
            check_number(
                "hardness_hrc", self.hardness_hrc, low=20.0, high=68.0, unit="HRC", hint="Softer: hardness_hv."
            )
        if self.hardness_hv is not None:
            check_number("hardness_hv", self.hardness_hv, low=50.0, high=1200.0, unit="HV")
        if self.martensite is not None:
            check_number("martensite", self.martensite, low=0.01, high=0.999, unit="1", hint="Write 0.9, not 90 %.")
        if self.window is not None and not hasattr(self.window, "judge"):
            raise InputError(f"window = {self.window!r} is none: give a RateWindow, TimeWindow or CurveWindow.")
        probes = (self.probes,) if isinstance(self.probes, str) else tuple(str(name) for name in self.probes)
        if not probes:
            raise InputError("probes is empty: name at least one place, such as 'centre'.")
        object.__setattr__(self, "probes", probes)

    @property
    def unit(self) -> str:
        """Of the margin: HRC, HV, 1, or the window's own."""
        if self.window is not None:
            return str(self.window.unit)
        return "HRC" if self.hardness_hrc is not None else "HV" if self.hardness_hv is not None else "1"

    @property
    def label(self) -> str:
        """In words."""
        where = f" at {', '.join(self.probes)}"
        if self.hardness_hrc is not None:
            return f"at least {self.hardness_hrc:g} HRC{where}"
        if self.hardness_hv is not None:
            return f"at least {self.hardness_hv:g} HV{where}"
        if self.martensite is not None:
            return f"at least {100 * self.martensite:g} % martensite{where}"
        return f"{self.window.label}{where}"

    @property
    def slack(self) -> float:
        """What the error of a run of 1 K may be worth in the margin; smaller steps the wrong way are no contradiction."""
        if self.window is not None:
            return 0.01 * float(self.window.required)
        return {"HRC": 0.3, "HV": 5.0}.get(self.unit, 0.01)

    @property
    def wants_faster(self) -> bool:
        """Whether faster cooling helps; False for a window that asks for slow cooling."""
        window = self.window
        if isinstance(window, TimeWindow):
            return window.at_most is not None
        if isinstance(window, RateWindow):
            return window.at_least is not None
        return not window.no_faster if isinstance(window, CurveWindow) else True

    def _select(self, result: xr.Dataset) -> xr.Dataset:
        there = [str(name) for name in result["probe"].values]
        for name in self.probes:
            if name not in there:
                raise InputError(f"the requirement is for probe {name!r}; the result has {', '.join(there)}.")
        return result.sel(probe=list(self.probes))

    def margin(self, result: xr.Dataset) -> xr.DataArray:
        """Margin at each place asked for; 0 or more: met.

        Parameters
        ----------
        result : Dataset
            Of `heatq.trial` or `run_quench`.

        Returns
        -------
        DataArray
            Over ``probe``, in `unit`. A hardness below 20 HRC is carried on along the bracketed rows of older tables
            (`heatq.hardness.hrc_from_hv`), only to say how much is missing. A window that fails because its lower temperature is
            never reached misses all of what is required; NaN where it cannot be judged.
        """
        import xarray as xr

        chosen = self._select(result)
        if self.window is not None:
            values = self._judge(chosen)
        elif self.martensite is not None:
            _need(chosen, "fraction")
            values = chosen["fraction"].sel(phase=["martensite", "austenite"]).sum("phase").values - self.martensite
        else:
            _need(chosen, "hardness_hv")
            hv = chosen["hardness_hv"].values
            if self.hardness_hv is not None:
                values = hv - self.hardness_hv
            else:
                assert self.hardness_hrc is not None
                values = hrc_from_hv(np.minimum(hv, 940.0), extrapolate=True) - self.hardness_hrc
        return xr.DataArray(
            np.asarray(values, dtype=float),
            dims="probe",
            coords={"probe": chosen["probe"]},
            name="margin",
            attrs={"units": self.unit, "long_name": f"margin to {self.label}"},
        )

    def _judge(self, chosen: xr.Dataset) -> Array:
        found = []
        alone = chosen["temperature"].transpose("time", "probe").to_dataset(name="temperature")
        for n in range(len(self.probes)):
            verdict = self.window.judge(alone.isel(probe=[n]))
            lost = verdict.verdict == "fail" and not np.isfinite(verdict.margin)
            found.append(-float(self.window.required) if lost else verdict.margin)
        return np.array(found)

    def required_hv(self) -> float | None:
        """Hardness asked for in HV; None if no hardness is asked for."""
        if self.hardness_hrc is not None:
            return float(hv_from_hrc(self.hardness_hrc))
        return self.hardness_hv

    def probability(self, result: xr.Dataset) -> xr.DataArray:
        """Probability that each place meets the requirement, from the hardness interval of the result.

        Parameters
        ----------
        result : Dataset
            With ``hardness_interval_hv`` (`heatq.trial` with ``with_interval=True``, or `heatq.hardness_interval`).

        Returns
        -------
        DataArray
            Over ``probe``; NaN for martensite and windows, and without an interval. Normal in ln HV, with the spread of the
            side on which the requirement lies. Errors of neighbouring places go together: for all of several places take
            the lowest, not the product.
        """
        import xarray as xr
        from scipy.special import ndtr, ndtri

        chosen = self._select(result)
        required = self.required_hv()
        values = np.full(len(self.probes), np.nan)
        if required is not None and "hardness_interval_hv" in chosen:
            quantile = float(ndtri(0.5 + 0.5 * _level_of(result)))
            hv = chosen["hardness_hv"].values
            low, high = chosen["hardness_interval_hv"].transpose("bound", "probe").values
            away = np.log(hv / required)
            spread = np.where(away >= 0.0, np.log(hv / low), np.log(high / hv)) / quantile
            values = ndtr(away / np.maximum(spread, 1e-9))
        return xr.DataArray(
            values,
            dims="probe",
            coords={"probe": chosen["probe"]},
            name="probability",
            attrs={"units": "1", "long_name": f"probability of {self.label}"},
        )


def _need(result: xr.Dataset, name: str) -> None:
    if name not in result:
        raise InputError(f"result has no {name}: pass the result of trial() or run_quench().")


def _level_of(result: xr.Dataset) -> float:
    """Probability that the hardness interval was made for."""
    basis = str(result.attrs.get("hardness_interval_basis", ""))
    try:
        return float(basis.split("%")[0]) / 100.0
    except ValueError:
        raise InputError(
            "result has hardness_interval_hv without the attribute hardness_interval_basis that states its level; pass it "
            "as hardness_interval() returned it."
        ) from None


def check_requirement(requirement: Any) -> Requirement:
    """Return a requirement if it is one.

    Parameters
    ----------
    requirement : Requirement
        What was given.
    """
    if not isinstance(requirement, Requirement):
        raise InputError(
            f"requirement = {requirement!r} is none: write Requirement(hardness_hrc=50.0) or "
            "Requirement(martensite=0.9, probes=('centre',))."
        )
    return requirement
