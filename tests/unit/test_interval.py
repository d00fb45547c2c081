"""Hardness intervals and disagreement between routes."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.errors import InputError
from heatq.hardness.interval import (
    _at_other_rate,
    _share_reaching,
    composition_tolerance,
    disagreements,
    hardness_interval,
    model_error,
)


def cooled(rates, steel, start=850.0):
    """Several probes at constant rates on one time axis, cold at the end."""
    rates = np.asarray(rates, dtype=float)
    time = np.concatenate(
        [np.linspace(0.0, 830.0 / rates.max(), 400), np.geomspace(831.0 / rates.max(), 900.0 / rates.min(), 600)]
    )
    temperature = np.maximum(start - rates * time[:, None], 20.0)
    history = xr.Dataset({"temperature": (("time", "probe"), temperature)},
                         coords={"time": time, "probe": [f"{r:g}" for r in rates]})  # fmt: skip
    return history.merge(hq.hardness_of(hq.transform(history, steel), steel))


def test_interval_surrounds_the_hardness_and_grows_with_its_level():
    steel = hq.grade("4140")
    result = cooled([80.0, 10.0, 3.0], steel)
    widths = []
    for level in (0.8, 0.9, 0.95):
        found = hardness_interval(result, steel, level=level)
        low, high = found.hardness_interval_hv.values
        assert (low < result.hardness_hv.values).all()
        assert (high > result.hardness_hv.values).all()
        widths.append(high - low)
    assert (widths[0] < widths[1]).all()
    assert (widths[1] < widths[2]).all()
    assert found.hardness_interval.attrs["units"] == "HRC"
    assert "range of 4140" in found.attrs["hardness_interval_basis"]
    assert "boundary: not included" in found.attrs["hardness_interval_basis"]
    assert list(found.source.values) == ["model", "chemistry", "boundary"]


def test_transition_is_less_certain_than_full_martensite():
    steel = hq.grade("4140")
    found = hardness_interval(cooled([80.0, 6.0], steel), steel)
    low, high = found.hardness_interval_hv.values
    assert np.log(high / low)[1] > 1.5 * np.log(high / low)[0]


def test_certificate_is_narrower_than_grade():
    nominal = hq.grade("4140")
    heat = nominal.replace(name="heat A-17")
    result = cooled([8.0, 4.0], nominal)
    wide, narrow = (hardness_interval(result, s).hardness_interval_hv.values for s in (nominal, heat))
    assert (narrow[1] - narrow[0] < wide[1] - wide[0]).all()
    assert composition_tolerance(heat)[1] == "product analysis"


def test_lean_and_rich_heats_lie_inside():
    """Heats one standard deviation lean or rich in one element stay within the 90 % interval of the grade."""
    steel = hq.grade("4140")
    result = cooled([30.0, 8.0, 4.0, 1.5], steel)
    low, high = hardness_interval(result, steel).hardness_interval_hv.values
    tolerance = composition_tolerance(steel)[0]
    for name, two in tolerance.items():
        for sign in (-0.5, 0.5):
            heat = steel.replace(**{name: getattr(steel, name) + sign * two})
            hv = hq.hardness_of(hq.transform(result[["temperature"]], heat), heat).hardness_hv.values
            assert (hv >= low).all()
            assert (hv <= high).all()


def test_boundary_spread_widens():
    steel = hq.grade("4140").replace(name="heat")
    result = cooled([6.0], steel)
    plain = hardness_interval(result, steel)
    for boundary in (
        0.4,
        hq.GasJet("nitrogen", 60.0, 1e5, 25.0, face_diameter=0.025),
        {"side": 0.4, "top": hq.Insulated()},
    ):
        found = hardness_interval(result, steel, boundary=boundary)
        width = np.diff(found.hardness_interval_hv.values, axis=0)
        assert (width > np.diff(plain.hardness_interval_hv.values, axis=0)).all()
        assert "h +-" in found.attrs["hardness_interval_basis"]
    assert float(plain.hardness_deviation.sel(source="boundary")[0]) == 0.0


def test_share_of_h_that_reaches_the_rate():
    uniform = np.linspace(850.0, 20.0, 200)[:, None]
    assert _share_reaching(uniform) == pytest.approx([1.0])
    thick = np.stack([np.linspace(850.0, 20.0, 200), np.linspace(450.0, 20.0, 200)], axis=1)
    centre, surface = _share_reaching(thick)
    assert 0.0 < centre < 1.0 < surface < 2.0
    history = cooled([10.0], hq.grade("1045"))[["temperature"]]
    faster = _at_other_rate(history, 1.2, np.array([1.0]))
    assert float(hq.cooling_rate(faster)[0]) == pytest.approx(12.0, rel=0.01)
    slower = _at_other_rate(history, 0.8, np.array([1.0]))
    assert float(hq.cooling_rate(slower)[0]) == pytest.approx(8.0, rel=0.01)
    assert float(slower.temperature[-1, 0]) == pytest.approx(20.0)


def test_given_tolerance_and_calibrated():
    steel = hq.grade("8620")
    result = cooled([20.0], steel, start=925.0)
    none = hardness_interval(result, steel, tolerance={})
    assert float(none.hardness_deviation.sel(source="chemistry")[0]) == 0.0
    assert "chemistry: given" in none.attrs["hardness_interval_basis"]
    calibrated = hardness_interval(result, steel, tolerance={"C": 0.02}, kinetics="calibrated")
    assert np.isfinite(calibrated.hardness_interval_hv.values).all()
    assert float(model_error(0.5, "calibrated")) < float(model_error(0.5, "published"))
    assert model_error(0.3, "of my own") == pytest.approx(model_error(0.3, "published"))


def test_refusals():
    steel = hq.grade("4140")
    result = cooled([8.0], steel)
    with pytest.raises(InputError, match=r"0\.9, not 90"):
        hardness_interval(result, steel, level=90)
    with pytest.raises(InputError, match="no hardness_hv"):
        hardness_interval(result.drop_vars("hardness_hv"), steel)
    with pytest.raises(InputError, match="tolerance"):
        hardness_interval(result, steel, tolerance={"Zz": 1.0})
    with pytest.raises(InputError, match="boundary"):
        hardness_interval(result, steel, boundary=25)
    with pytest.raises(InputError, match="no hardness_hrc"):
        disagreements(xr.Dataset())


def both(kinetics, chemistry):
    return xr.Dataset(
        {"hardness_hrc": ("probe", kinetics), "hardness_hrc_chemistry": ("probe", chemistry)},
        coords={"probe": [f"J{n + 1}" for n in range(len(kinetics))]},
    )


def test_disagreement_is_said_in_words():
    assert disagreements(both([55.0, 50.0], [54.0, 47.0])) == []
    said = disagreements(both([55.0, 50.0, 45.0, 40.0], [54.0, 30.0, 25.0, np.nan]))
    assert len(said) == 1
    assert "From J2 to J3" in said[0]
    assert "chemistry alone (ASTM A255)" in said[0]
    # a wide enough interval covers it
    result = both([50.0], [38.0])
    assert len(disagreements(result)) == 1
    result["hardness_interval"] = (("bound", "probe"), np.array([[40.0], [58.0]]))
    assert disagreements(result) == []


def test_soft_by_kinetics_and_hard_by_chemistry_is_a_disagreement():
    assert len(disagreements(both([np.nan], [35.0]))) == 1
    assert disagreements(both([np.nan], [22.0])) == []
