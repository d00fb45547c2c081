"""`trial`: what the result holds, where it starts and stops, and what it says about itself."""

from __future__ import annotations

import json
import warnings

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq.errors import InputError, ValidityWarning
from heatq.files import save_netcdf
from heatq.trials import add_predictions, predict

VARIABLES = {
    "temperature": ("degC", {"time", "probe"}),
    "fraction": ("1", {"phase", "probe"}),
    "fraction_history": ("1", {"phase", "time", "probe"}),
    "formation_temperature": ("degC", {"phase", "probe"}),
    "cooling_rate_700": ("K/s", {"probe"}),
    "cooling_rate_704": ("K/s", {"probe"}),
    "cooling_time_800_500": ("s", {"probe"}),
    "hardness_hv": ("HV", {"probe"}),
    "hardness_hrc": ("HRC", {"probe"}),
    "hardness_hrc_chemistry": ("HRC", {"probe"}),
    "hardness_hrc_regression": ("HRC", {"probe"}),
    "equivalent_distance": ("m", {"probe"}),
    "equivalent_distance_by_time": ("m", {"probe"}),
}
HEAT = hq.Steel(C=0.41, Mn=0.88, Si=0.26, Cr=1.02, Mo=0.21, Ni=0.13, Cu=0.15, name="heat B-2 (invented)")


def faces(jet):
    air = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
    return {"jet": jet, "side": air, "top": air}


@pytest.fixture(scope="module")
def water():
    return hq.trial(
        hq.EndQuenchBar(), HEAT, faces(hq.WaterJet(temperature=24.0)), initial_temperature=850.0, progress=False
    )


@pytest.mark.parametrize("name", VARIABLES)
def test_variables_have_units_names_and_dimensions(water, name):
    unit, dims = VARIABLES[name]
    variable = water[name]
    assert variable.units == unit
    assert variable.long_name
    assert set(variable.dims) == dims


def test_coordinates_have_units(water):
    assert set(water.coords) >= {"time", "probe", "phase", "distance"}
    for name in ("time", "distance", "r", "z"):
        assert water[name].units in ("s", "m"), name


def test_attributes_are_enough_to_know_what_was_run(water):
    settings = json.loads(water.attrs["settings"])
    assert settings["initial_temperature"] == 850.0
    assert "heat B-2" in settings["steel"]
    assert set(settings["boundaries"]) == {"jet", "side", "top"}
    assert water.attrs["status"] == "finished"
    assert water.attrs["heatq_version"] == hq.__version__
    assert json.loads(water.attrs["sources"])
    assert water.attrs["energy_residual"] < 1e-6
    assert json.loads(water.attrs["warnings"]) == []


def test_the_result_makes_sense_along_the_bar(water):
    assert list(water["probe"].values[:2]) == ["J1", "J2"]
    assert (np.diff(water["cooling_rate_704"]) < 0).all()
    assert (np.diff(water["cooling_time_800_500"]) > 0).all()
    assert (np.diff(water["hardness_hv"]) < 1.0).all()
    np.testing.assert_allclose(water["fraction"].sum("phase"), 1.0, rtol=1e-12)
    # equal cooling is read off a table of this very bar: J8 comes out near J8
    assert float(water["equivalent_distance"].sel(probe="J8")) == pytest.approx(0.0127, rel=0.1)


def test_a_missing_second_opinion_says_why(water, tmp_path):
    why = {route: water[f"hardness_hrc_{route}"].attrs.get("why_missing", "") for route in ("chemistry", "regression")}
    for route, reasons in why.items():
        missing = water["probe"].values[np.isnan(water[f"hardness_hrc_{route}"].values)]
        assert missing.size
        for probe in missing[[0, -1]]:
            assert str(probe) in reasons, route
    assert "farther from the quenched end than J16, where ASTM A255 ends" in why["chemistry"]
    assert "nearer to the quenched end than J4" in why["regression"]
    save_netcdf(water, tmp_path / "water.nc")
    with xr.open_dataset(tmp_path / "water.nc") as read:
        assert read["hardness_hrc_chemistry"].attrs["why_missing"] == why["chemistry"]


@pytest.mark.parametrize(
    ("steel", "start", "chemistry", "regression"),
    [
        (hq.Steel(C=0.41, Mn=0.88, Si=0.26), 795.0, "no time from 800 to 500 degC", "no time from 800 to 500 degC"),
        (hq.grade("4140"), 850.0, "end before the ideal diameter of", ""),
        (hq.Steel(C=0.41, Mn=0.88, Si=0.26), 850.0, "", ""),
    ],
)
def test_each_reason(steel, start, chemistry, regression):
    piece, quench = hq.RoundBar(diameter=0.06), {"side": hq.Convection(coefficient=1000.0, fluid_temperature=20.0)}
    run = hq.trial(piece, steel, quench, initial_temperature=start, probes=["centre"], accuracy=2.0, progress=False)
    for route, reason in (("chemistry", chemistry), ("regression", regression)):
        variable = run[f"hardness_hrc_{route}"]
        assert reason in variable.attrs.get("why_missing", "")
        assert bool(np.isnan(variable.values[0])) == bool(reason) == ("why_missing" in variable.attrs)


def test_second_opinions_go_by_the_time(water):
    from heatq.hardness import endquench_from_chemistry

    at_j8 = water.sel(probe="J8")
    hrc = endquench_from_chemistry(HEAT, at_j8["equivalent_distance_by_time"].values).hrc
    assert float(at_j8["hardness_hrc_chemistry"]) == pytest.approx(float(hrc), rel=1e-12)


def test_without_end_time_the_run_stops_when_the_piece_is_cold(water):
    hottest = water["temperature"].max("probe").values
    assert hottest[-1] < 60.0
    assert (hottest < 60.0).sum() <= 257  # the run looks whether to stop once per 256 steps


def test_end_time_is_kept():
    short = hq.trial(
        hq.RoundBar(diameter=0.02),
        HEAT,
        {"side": hq.Convection(coefficient=2000.0, fluid_temperature=20.0)},
        initial_temperature=850.0,
        end_time=3.0,
        progress=False,
    )
    assert float(short["time"][-1]) == 3.0
    assert np.isnan(short["cooling_time_800_500"].sel(probe="centre"))  # not yet at 500 degC: NaN, not a guess


ROUND = (hq.RoundBar(diameter=0.02), {"side": hq.Convection(coefficient=2000.0, fluid_temperature=20.0)})


def test_the_austenitizing_temperature_is_the_default_start():
    piece, quench = ROUND
    result = hq.trial(piece, hq.grade("4140"), quench, progress=False)
    assert json.loads(result.attrs["settings"])["initial_temperature"] == hq.grade("4140").austenitizing_temperature
    named = hq.trial(piece, HEAT.replace(austenitizing_temperature=870.0), quench, progress=False)
    assert float(named["temperature"].isel(time=0).max()) == 870.0


def test_without_any_start_temperature():
    piece, quench = ROUND
    with pytest.raises(InputError, match="initial_temperature is not given and the steel has no austenitizing_temp"):
        hq.trial(piece, HEAT, quench)


def test_a_plain_material_is_refused():
    piece, quench = ROUND
    metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    with pytest.raises(InputError, match="does not transform: a trial needs a Steel.*use simulate"):
        hq.trial(piece, metal, quench, initial_temperature=850.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"quench": {}}, "side"),
        ({"quench": {"sid": hq.Insulated()}}, "'side'"),
        ({"initial_temperature": 1550.0}, "initial_temperature = 1550 degC is outside.*for Fahrenheit write"),
        ({"accuracy": 0.0}, "accuracy = 0 K"),
        ({"end_time": -1.0}, "end_time = -1 s"),
        ({"probes": ["centre", "centre"]}, "'centre' is given twice"),
        ({"probes": ["center"]}, "unknown probe 'center'. Did you mean 'centre'"),
        ({"output_times": [1.0, 1.0]}, "output_times must increase strictly"),
    ],
)
def test_bad_arguments(change, message):
    piece, quench = ROUND
    arguments = {"initial_temperature": 850.0, **change}
    with pytest.raises(InputError, match=message):
        hq.trial(piece, HEAT, arguments.pop("quench", quench), **arguments)


def test_uncoupled_gives_the_same_schema_and_cools_without_latent_heat():
    """A thin bar in slow gas is near lumped, so conductivity plays no part: latent heat alone makes the difference."""
    quench = {"side": hq.Convection(coefficient=60.0, fluid_temperature=20.0)}
    lean = hq.Steel(C=0.40, Mn=0.70, Si=0.20)
    with_heat, without = (
        hq.trial(hq.RoundBar(diameter=0.01), lean, quench, initial_temperature=850.0, coupled=coupled, progress=False)
        for coupled in (True, False)
    )
    assert set(without.data_vars) == set(with_heat.data_vars)
    assert json.loads(without.attrs["settings"])["coupled"] is False
    for result in (with_heat, without):
        assert float(result["fraction"].sel(phase=["ferrite", "pearlite"]).sum("phase").min()) > 0.9
    longer = with_heat["cooling_time_800_500"] / without["cooling_time_800_500"]
    assert (longer > 1.2).all()


def test_leaving_a_published_range_is_said_once_and_recorded():
    jet = hq.GasJet("nitrogen", velocity=200.0, pressure=10 * bar, temperature=25.0)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        result = hq.trial(hq.EndQuenchBar(), HEAT, faces(jet), initial_temperature=850.0, accuracy=4.0, progress=False)
    said = [w for w in caught if issubclass(w.category, ValidityWarning)]
    assert len(said) == 1
    assert said[0].filename == __file__
    notes = json.loads(result.attrs["warnings"])
    assert len(notes) == len(set(notes)) >= 1
    assert any("gas jet: Re" in note and "outside" in note for note in notes)
    assert all(note in str(said[0].message) for note in notes)


def test_probes_and_output_times_of_your_own():
    piece, quench = ROUND
    result = hq.trial(
        piece,
        HEAT,
        quench,
        initial_temperature=850.0,
        probes={"near the skin": (0.009, 0.0)},
        end_time=20.0,
        output_times=[0.0, 1.0, 5.0, 20.0],
        progress=False,
    )
    assert list(result["probe"].values) == ["near the skin"]
    np.testing.assert_array_equal(result["time"], [0.0, 1.0, 5.0, 20.0])


@pytest.mark.parametrize("coupled", [True, False])
def test_the_parts_of_a_trial_are_those_of_its_dataset(coupled):
    case = {
        "specimen": hq.RoundBar(0.02),
        "steel": hq.grade("4140"),
        "boundaries": {"side": hq.OilBath(temperature=60.0)},
    }
    case |= {"accuracy": 8.0, "estimate_error": False, "coupled": coupled, "progress": False}
    result = hq.trial(**case)
    variables, coords, attrs = predict(**case)
    assert (list(variables), list(coords), list(attrs)) == (
        list(result.data_vars),
        list(result.coords),
        list(result.attrs),
    )
    xr.testing.assert_identical(result.drop_attrs(deep=False), xr.Dataset(variables, coords))
    simulated = result.drop_vars([name for name in VARIABLES if name.startswith(("hardness", "equivalent"))])
    simulated = simulated.drop_vars(["cooling_rate_704", "cooling_time_800_500"])
    xr.testing.assert_identical(add_predictions(simulated, case["steel"]), result)


def test_a_history_of_one_time_has_no_cooling_rate():
    with pytest.raises(InputError, match="fewer than two times"):
        hq.trial(
            hq.RoundBar(0.02),
            HEAT,
            {"side": hq.Insulated()},
            initial_temperature=850.0,
            output_times=[10.0],
            end_time=20.0,
        )


def test_progress_is_called_and_ends_at_one():
    seen = []
    piece, quench = ROUND
    hq.trial(
        piece,
        HEAT,
        quench,
        initial_temperature=850.0,
        end_time=30.0,
        progress=lambda part, time: seen.append((part, time)),
    )
    assert seen
    assert seen[-1] == (1.0, 30.0)


def test_a_result_survives_saving(water, tmp_path):
    from heatq.files import save_netcdf

    save_netcdf(water, tmp_path / "a.nc")
    again = xr.load_dataset(tmp_path / "a.nc", engine="scipy")
    for name in water.data_vars:
        np.testing.assert_array_equal(again[name].values, water[name].values, err_msg=name)
        assert again[name].attrs == water[name].attrs, name
