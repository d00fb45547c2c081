"""Quenches by their settings, requirements, single runs."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq.boundaries.timeline import over_time
from heatq.decide import BathQuench, CalibratedFlow, GasQuench, Requirement, run_quench
from heatq.decide.quenches import Times, coldest, uncertainty_of
from heatq.errors import InputError

BAR = hq.RoundBar(0.050)
AT = np.array([100.0, 500.0, 800.0])


def flux(boundary, face="side", piece=BAR):
    return hq.boundaries.for_piece(boundary, piece, face).heat_flux(AT)


def test_a_gas_quench_is_flow_and_radiation():
    quench = GasQuench("helium", velocity=15.0, pressure=8 * bar, temperature=30.0, emissivity=0.4, factor=1.3)
    flow = hq.GasCrossflow("helium", 15.0, 8 * bar, 30.0)
    expected = 1.3 * flux(flow) + hq.Radiation(0.4, 30.0).heat_flux(AT)
    np.testing.assert_allclose(flux(quench.boundaries(BAR)["side"]), expected, rtol=1e-12)
    np.testing.assert_allclose(
        flux(quench.replace(emissivity=0.0, factor=1.0).boundaries(BAR)["side"]), flux(flow), rtol=1e-12
    )
    assert list(quench.boundaries(hq.RoundBar(0.05, 0.1))) == ["bottom", "side", "top"]
    assert quench.label == "helium 8 bar 15 m/s h x 1.3"
    assert quench.medium == "gas"


def test_other_flows():
    bank = GasQuench(flow=functools.partial(hq.GasBank, transverse_pitch=0.1, longitudinal_pitch=0.1), pressure=5 * bar)
    assert isinstance(bank.stream(), hq.GasBank)
    tube = hq.Tube(0.06, 0.03, 0.2)
    along = GasQuench(flow=hq.GasAlong, emissivity=0.0).boundaries(tube)
    assert isinstance(along["bore"], hq.GasAlong)
    assert isinstance(GasQuench(pressure=5 * bar).boundaries(tube)["bore"], hq.StillAir)
    bar_in_jet = GasQuench(velocity=60.0).boundaries(hq.EndQuenchBar())
    assert isinstance(bar_in_jet["jet"], hq.GasJet)
    assert set(bar_in_jet) == {"jet", "side", "top"}


def test_a_label_of_ones_own_stays_and_a_made_one_follows():
    quench = GasQuench("argon", pressure=4 * bar)
    assert quench.replace(pressure=6 * bar).label == "argon 6 bar 20 m/s"
    assert quench.replace(gas={"helium": 0.6, "argon": 0.4}).label.startswith("helium 60 % + argon 40 % 4 bar")
    assert GasQuench(label="furnace B").replace(pressure=6 * bar).label == "furnace B"


def test_baths():
    oil = BathQuench(hq.OilBath("fast"), transfer=5.0, duration=100.0)
    knots = over_time(oil.boundaries(BAR)["side"], 500.0)
    assert [time for time, _ in knots] == [0.0, 5.0, 5.0, 105.0, 105.0]
    assert oil.medium == "oil"
    assert oil.label == "fast oil 60 degC moderate 100 s"
    assert coldest(oil) == 25.0
    assert coldest(BathQuench(hq.OilBath("fast"))) == 60.0
    assert BathQuench({"side": hq.WaterBath()}).medium == "water"
    assert BathQuench(hq.WaterJet() + hq.Radiation(0.8)).medium == "water"
    assert BathQuench(hq.Convection(500.0, 20.0)).medium == "table"
    assert set(BathQuench(hq.WaterJet()).boundaries(hq.EndQuenchBar())) == {"jet", "side", "top"}
    assert oil.replace(transfer=0.0).transfer == 0.0
    for boundary in (
        hq.CoefficientTable([100.0, 800.0], [500.0, 900.0], 20.0),
        hq.boundaries.GrossmannQuench(0.35, 60.0, 25.0),
    ):
        assert "degC" in BathQuench(boundary).label


def test_uncertainty_is_found_behind_sums_and_stages():
    gas = hq.GasCrossflow("nitrogen", 20.0, bar, 25.0)
    assert uncertainty_of(hq.Stages((5.0, hq.StillAir()), (None, gas + hq.Radiation(0.3)))) == 0.25
    assert uncertainty_of({"a": hq.OilBath(), "b": gas}) == 0.4
    assert uncertainty_of(Times(gas, 2.0)) == 0.25
    assert GasQuench().relative_uncertainty == 0.25
    assert GasQuench(uncertainty=0.1).relative_uncertainty == 0.1
    assert BathQuench(hq.OilBath()).relative_uncertainty == 0.4
    assert BathQuench(hq.Convection(500.0, 20.0)).relative_uncertainty is None


def test_times_keeps_the_contract():
    ramp = hq.Ramp(hq.GasCrossflow("nitrogen", 20.0, 5 * bar, 25.0), [0.0, 10.0], pressure=[bar, 5 * bar])
    located = hq.boundaries.for_piece(Times(ramp, 2.0), BAR, "side")
    plain = hq.boundaries.for_piece(ramp, BAR, "side")
    for (one, twice), (other, once) in zip(over_time(located, 20.0), over_time(plain, 20.0), strict=True):
        assert one == other
        np.testing.assert_allclose(twice.heat_flux(AT), 2.0 * once.heat_flux(AT))
    jet = Times(hq.GasJet("nitrogen", 60.0, bar, 25.0, face_diameter=0.0254, profile=True), 1.5)
    np.testing.assert_allclose(hq.boundaries.at(jet, 0.005).heat_flux(AT), 1.5 * jet.boundary.at(0.005).heat_flux(AT))


def test_a_calibrated_furnace_as_flow():
    calibration = xr.Dataset(
        {
            "value": ("parameter", [1.3, 0.06]),
            "covariance": (("parameter", "other"), [[1e-4, 0.0], [0.0, 1e-4]]),
        },
        attrs={"law": "factor and exponent", "reference_pressure": 4 * bar, "reference_velocity": 15.0,
               "repeatability": 0.05, "level": 0.9},
    )  # fmt: skip
    quench = GasQuench(velocity=15.0, pressure=4 * bar, flow=CalibratedFlow(calibration), emissivity=0.0)
    np.testing.assert_allclose(
        flux(quench.boundaries(BAR)["side"]), 1.3 * flux(hq.GasCrossflow("nitrogen", 15.0, 4 * bar, 40.0)), rtol=1e-9
    )
    assert quench.relative_uncertainty == pytest.approx(2.0 * np.hypot(0.05, 0.01), rel=0.01)
    assert quench.replace(pressure=20 * bar).relative_uncertainty > quench.relative_uncertainty
    assert "CalibratedFlow(GasCrossflow)" in repr(quench)
    with pytest.raises(InputError, match="flow = GasCrossflow.* must make a boundary"):
        CalibratedFlow(calibration, hq.GasCrossflow("nitrogen", 15.0, 4 * bar, 40.0))


@pytest.mark.parametrize(("wrong", "told"), [(3, "3"), (None, "None"), (xr.Dataset(), "a Dataset")])
def test_what_is_no_calibration_is_refused_at_once(wrong, told):
    with pytest.raises(InputError, match=f"calibration = {told} is not the result of calibrate"):
        CalibratedFlow(wrong)


def test_a_run_is_the_trial_of_the_same_boundaries():
    quench, steel = GasQuench(pressure=10 * bar), hq.grade("4140")
    run = run_quench(BAR, steel, quench, accuracy=0.5, estimate_error=True, with_interval=True)
    trial = hq.trial(BAR, steel, quench.boundaries(BAR))
    np.testing.assert_allclose(run.hardness_hv.values, trial.hardness_hv.values, rtol=1e-12)
    np.testing.assert_allclose(run.cooling_rate_704.values, trial.cooling_rate_704.values, rtol=1e-12)
    assert run.attrs["quench"] == "nitrogen 10 bar 20 m/s"
    assert "h +-25 %" in run.attrs["hardness_interval_basis"]


# ------------------------------------------------------------------------------------------------ requirements


@pytest.fixture(scope="module")
def result():
    quench = GasQuench(pressure=10 * bar)
    return run_quench(hq.RoundBar(0.04), hq.grade("4140"), quench, probes=["centre", "surface"], with_interval=True)


def test_margins(result):
    hrc = result.hardness_hrc.values
    np.testing.assert_allclose(
        Requirement(hardness_hrc=45.0, probes=("surface", "centre")).margin(result), hrc[::-1] - 45.0
    )
    np.testing.assert_allclose(Requirement(hardness_hv=400.0).margin(result), result.hardness_hv.values[:1] - 400.0)
    parts = result.fraction.sel(phase=["martensite", "austenite"], probe="centre").sum()
    assert float(Requirement(martensite=0.5).margin(result)[0]) == pytest.approx(float(parts) - 0.5)
    window = hq.TimeWindow(800.0, 500.0, at_most=100.0)
    found = Requirement(window=window).margin(result)
    assert float(found[0]) == pytest.approx(100.0 - float(result.cooling_time_800_500[0]))
    assert found.attrs["units"] == "s"


def test_below_20_hrc_the_margin_goes_on(result):
    soft = result.copy()
    for hv, margin in ((238.0, -30.0), (204.0, -38.0), (160.0, -50.0)):
        soft["hardness_hv"] = ("probe", [hv, hv])
        assert float(Requirement(hardness_hrc=50.0).margin(soft)[0]) == pytest.approx(margin)


def test_probability_at_the_bounds_of_the_interval(result):
    from scipy.special import ndtr, ndtri

    low, high = result.hardness_interval_hv.sel(probe="centre").values
    hv = float(result.hardness_hv[0])
    for required, expected in ((low, 0.95), (hv, 0.5), (high, 0.05)):
        assert float(Requirement(hardness_hv=float(required)).probability(result)[0]) == pytest.approx(
            expected, abs=1e-9
        )
    half = float(np.sqrt(low * hv))
    assert float(Requirement(hardness_hv=half).probability(result)[0]) == pytest.approx(float(ndtr(0.5 * ndtri(0.95))))
    assert np.isnan(Requirement(martensite=0.5).probability(result)).all()
    assert np.isnan(Requirement(hardness_hv=400.0).probability(result.drop_vars("hardness_interval_hv"))).all()


def test_a_window_that_is_never_reached_misses_all_of_it():
    time = np.linspace(0.0, 500.0, 51)
    history = xr.Dataset(
        {"temperature": (("time", "probe"), 850.0 - 0.5 * time[:, None])}, coords={"time": time, "probe": ["centre"]}
    )
    assert float(Requirement(window=hq.TimeWindow(800.0, 500.0, at_most=100.0)).margin(history)[0]) == -100.0
    assert np.isnan(Requirement(window=hq.TimeWindow(900.0, 500.0, at_most=100.0)).margin(history)[0])


def test_which_way_a_requirement_looks():
    assert Requirement(hardness_hrc=50.0).wants_faster
    assert not Requirement(window=hq.RateWindow(800.0, 500.0, at_most=5.0)).wants_faster
    assert Requirement(window=hq.RateWindow(800.0, 500.0, at_least=5.0)).wants_faster
    assert not Requirement(window=hq.CurveWindow([0.0, 50.0], [800.0, 500.0], no_faster=True)).wants_faster
    assert Requirement(window=hq.CurveWindow([0.0, 50.0], [800.0, 500.0])).slack == pytest.approx(0.5)
    assert Requirement(hardness_hrc=50.0, probes="surface").probes == ("surface",)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Requirement(), "exactly one of hardness_hrc"),
        (lambda: Requirement(hardness_hrc=50.0, martensite=0.9), "got 2"),
        (lambda: Requirement(hardness_hrc=12.0), "Softer: hardness_hv"),
        (lambda: Requirement(martensite=90), "0.9, not 90 %"),
        (lambda: Requirement(window=60.0), "window = 60.0 is none"),
        (lambda: Requirement(hardness_hrc=50.0, probes=()), "probes is empty"),
        (lambda: GasQuench(flow="across"), "must make a boundary"),
        (lambda: GasQuench(flow=hq.GasCrossflow("nitrogen", 20.0, bar, 25.0)), "must make a boundary"),
        (lambda: GasQuench(flow=lambda *a, **k: 5.0).boundaries(BAR), "what flow makes = 5.0 is not a boundary"),
        (lambda: GasQuench("nitrogn"), "unknown gas 'nitrogn'"),
        (lambda: GasQuench({"hydrogen": 0.5, "air": 0.5}), "it explodes"),
        (lambda: GasQuench(pressure=10.0), "10\\*bar with scipy.constants"),
        (lambda: GasQuench(velocity=0.0), "velocity = 0"),
        (lambda: GasQuench(uncertainty=25), "0.25 is"),
        (lambda: GasQuench().replace(presure=bar), "no setting 'presure'"),
        (lambda: BathQuench("oil"), "bath = 'oil' is not a boundary"),
        (lambda: BathQuench({"side": 3.0}), "bath of face 'side'"),
        (lambda: GasQuench().boundaries(0.05), "is not a piece"),
    ],
)  # fmt: skip
def test_messages(call, message):
    with pytest.raises(InputError, match=message):
        call()


def test_messages_about_results(result):
    with pytest.raises(InputError, match="for probe 'core'; the result has centre, surface"):
        Requirement(hardness_hrc=50.0, probes="core").margin(result)
    with pytest.raises(InputError, match="result has no hardness_hv"):
        Requirement(hardness_hrc=50.0).margin(result.drop_vars("hardness_hv"))
    stripped = result.copy()
    stripped.attrs = {}
    with pytest.raises(InputError, match="hardness_interval_basis"):
        Requirement(hardness_hrc=50.0).probability(stripped)
    assert dataclasses.is_dataclass(GasQuench)
