"""fit_boundary: forms, places, sensors, warnings, messages. (Accuracy against independent models: tests/validation.)"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.inverse import fit_boundary, fitted_boundary
from heatq.inverse.readings import couples_of, lagged
from heatq.thermocouples import Thermocouple, sensor_response

BAR = hq.RoundBar(0.03)
METAL = hq.Material.constant(conductivity=25.0, density=7900.0, specific_heat=600.0)
NODES = [60.0, 250.0, 450.0, 650.0, 850.0]
PLACES = {"core": (0.0, 0.0), "edge": (0.012, 0.0)}
TIMES = np.arange(0.0, 60.0, 0.5)


@pytest.fixture(scope="module")
def clean():
    """A bar in h = 800 W/m2K."""
    bath = hq.Convection(coefficient=800.0, fluid_temperature=60.0)
    run = hq.simulate(  # its own error must be small beside the noise that is added
        BAR,
        METAL,
        {"side": bath},
        initial_temperature=850.0,
        end_time=60.0,
        output_times=TIMES,
        probes=PLACES,
        accuracy=0.1,
    )
    return run[["temperature"]]


def noisy(history):
    """The history with 0.5 K of noise, as a log."""
    noise = np.random.default_rng(1).normal(0.0, 0.5, history["temperature"].shape)
    return xr.Dataset({"temperature": history["temperature"] + noise})


@pytest.fixture(scope="module")
def log(clean):
    return noisy(clean)


def fit(log, **more):
    settings = {"fluid_temperature": 60.0, "nodes": NODES, "workers": 1, "accuracy": 1.0}
    return fit_boundary(log, BAR, METAL, PLACES, **settings | more)


@pytest.fixture(scope="module")
def result(log):
    return fit(log)


def test_constant_coefficient_is_found(result):
    assert result["coefficient"].values == pytest.approx(np.full(121, 800.0), rel=0.02)
    low, high = result["coefficient_interval"].values
    assert (low < result["coefficient"].values).all()
    assert (result["coefficient"].values < high).all()
    assert result.attrs["noise"] == pytest.approx(0.5, rel=0.15)
    assert result.attrs["chi_square"] == pytest.approx(1.0, abs=0.3)


def test_schema(result):
    assert result["coefficient"].dims == ("surface_temperature",)
    assert result["coefficient"].units == "W/m2K"
    assert result["coefficient_interval"].dims == ("bound", "surface_temperature")
    assert list(result["bound"].values) == ["low", "high"]
    assert result["residual"].dims == ("time", "probe")
    assert result["residual"].values == pytest.approx((result["measured"] - result["fitted"]).values)
    for name in ("coefficient", "coefficient_interval", "measured", "fitted", "residual", "information"):
        assert result[name].attrs["units"]
        assert result[name].attrs["long_name"]


def test_saves_as_netcdf(result, tmp_path):
    from heatq.files import save_netcdf

    save_netcdf(result, tmp_path / "fit.nc")
    again = xr.load_dataset(tmp_path / "fit.nc", engine="scipy")
    assert fitted_boundary(again).coefficient == pytest.approx(fitted_boundary(result).coefficient)


def test_boundary_of_the_fit_repeats_the_log(log, result):
    run = hq.simulate(
        BAR,
        METAL,
        {"side": fitted_boundary(result)},
        initial_temperature=850.0,
        end_time=60.0,
        output_times=TIMES,
        probes=PLACES,
    )
    assert np.abs(run["temperature"] - log["temperature"]).mean() < 0.6
    low, high = fitted_boundary(result, "low"), fitted_boundary(result, "high")
    at = np.array([500.0])
    assert low.heat_flux(at) < fitted_boundary(result).heat_flux(at) < high.heat_flux(at)


def test_coefficient_over_time(log):
    found = fit(log, unknown="coefficient over time", nodes=[0.0, 5.0, 15.0, 30.0, 60.0])
    assert found["coefficient"].dims == ("quench_time",)
    inner = found["coefficient"].sel(quench_time=slice(3.0, 50.0)).values
    assert inner == pytest.approx(np.full(inner.shape, 800.0), rel=0.03)
    assert fitted_boundary(found).heat_flux(np.array([460.0])) == pytest.approx(
        400.0 * found["coefficient"].values[0], rel=1e-6
    )


def test_flux_over_time_needs_no_fluid(log):
    found = fit(log, unknown="flux over time", fluid_temperature=None, nodes=[0.0, 3.0, 8.0, 15.0, 30.0, 60.0])
    surface = np.interp(10.0, found["surface_time"], found["surface_temperature_history"])
    at_ten = float(found["heat_flux"].sel(quench_time=10.0, method="nearest"))
    assert at_ten == pytest.approx(800.0 * (surface - 60.0), rel=0.04)
    assert fitted_boundary(found).over_time(60.0)[-1][0] == pytest.approx(60.0)


def test_known_part_is_not_part_of_the_coefficient(log):
    found = fit(log, known_part=hq.Convection(coefficient=300.0, fluid_temperature=60.0))
    assert found["coefficient"].values == pytest.approx(np.full(121, 500.0), rel=0.04)


def test_gaps_and_start_time(log):
    """Holes in a channel and a recorder that ran before the quench change nothing but the number of readings."""
    before = xr.Dataset(
        {"temperature": (("time", "probe"), np.full((10, 2), 850.0))},
        coords={"time": np.arange(-5.0, 0.0, 0.5), "probe": ["core", "edge"]},
    )
    late = xr.concat([before, log[["temperature"]].drop_vars(["r", "z"], errors="ignore")], "time")
    late = late.assign_coords(time=late["time"] + 100.0)
    late["temperature"][40:60, 0] = np.nan
    found = fit(late, start_time=100.0)
    assert found["coefficient"].values == pytest.approx(np.full(121, 800.0), rel=0.02)
    assert found.attrs["initial_temperature"] == pytest.approx(850.0, abs=0.5)
    assert np.isnan(found["residual"].values[30:49, 0]).any()


def test_lag_is_part_of_the_model(clean):
    couple = Thermocouple(time_constant=1.0, position_tolerance=0.0)
    slow = noisy(sensor_response(clean, couple))
    with_it = fit(slow, thermocouples=couple)
    assert with_it["coefficient"].sel(surface_temperature=slice(200, 700)).values == pytest.approx(800.0, rel=0.04)
    without = fit(slow, initial_temperature=850.0)  # white residuals all the same: h(T) imitates a lag of all couples
    assert np.abs(without["coefficient"].values[60:] / 800.0 - 1.0).max() > 0.1


def test_own_lag_is_that_of_the_sensor_model(log):
    shown = sensor_response(log, Thermocouple(time_constant=0.7))["temperature"].values
    for k in range(2):
        assert lagged(TIMES, log["temperature"].values[:, k], 0.7) == pytest.approx(shown[:, k], abs=1e-9)


@pytest.mark.slow
def test_position_tolerance_widens_the_band(log):
    """One couple near the surface, 1 mm uncertain; a second one at the axis then pins its place down."""

    def edge_alone(tolerance):
        couple = Thermocouple(time_constant=0.0, position_tolerance=tolerance)
        found = fit_boundary(
            log,
            BAR,
            METAL,
            {"edge": PLACES["edge"]},
            fluid_temperature=60.0,
            nodes=NODES,
            thermocouples=couple,
            workers=1,
        )
        low, high = found["coefficient_interval"].sel(surface_temperature=600.0, method="nearest").values
        return np.log(high / low)

    assert edge_alone(1e-3) > 1.5 * edge_alone(0.0)
    both = fit(log, thermocouples=Thermocouple(time_constant=0.0, position_tolerance=1e-3))
    assert float(both["nuisance_deviation"].sel(nuisance="r of edge")) < 0.3e-3


def test_places_by_name_by_coordinates_and_by_mapping(log):
    named = log.assign_coords(probe=["centre", "surface"]).drop_vars(["r", "z"], errors="ignore")
    assert [c.place.r for c in couples_of(named, BAR, None, None)] == [0.0, 0.015]
    own = named.assign_coords(r=("probe", [0.001, 0.002]), z=("probe", [0.0, 0.0]))
    assert [c.place.r for c in couples_of(own, BAR, None, None)] == [0.001, 0.002]
    assert couples_of(named, BAR, {"centre": "mid-radius"}, None)[0].place.r == 0.0075


@pytest.mark.slow
def test_couples_that_sit_too_deep_are_told():
    """A thick bar in an oil-like medium, read at the axis with 1 K noise: the peak is smeared, and the fit says so."""
    thick = hq.RoundBar(0.15)
    oil = hq.CoefficientTable([60.0, 350.0, 500.0, 650.0, 850.0], [300.0, 400.0, 2500.0, 500.0, 400.0], 60.0)
    times = np.arange(0.0, 900.0, 6.0)
    run = hq.simulate(
        thick, METAL, {"side": oil}, initial_temperature=850.0, end_time=900.0, output_times=times, probes=["centre"]
    )
    noise = np.random.default_rng(0).normal(0.0, 1.0, run["temperature"].shape)
    deep = xr.Dataset({"temperature": run["temperature"] + noise})
    with pytest.warns(hq.AccuracyWarning, match="the couples sit too deep to tell: the nearest is 75 mm below"):
        found = fit_boundary(
            deep, thick, METAL, ["centre"], fluid_temperature=60.0, nodes=np.linspace(60.0, 850.0, 12), workers=1
        )
    assert found.attrs["diffusion_time"] == pytest.approx(0.075**2 / (2 * 25.0 / (7900.0 * 600.0)))
    assert found.attrs["band_at_peak"] > 1.35


def test_wrong_metal_is_told(log):
    wrong = hq.Material.constant(conductivity=12.0, density=7900.0, specific_heat=600.0)
    with pytest.warns(hq.AccuracyWarning, match="the residuals are not noise"):
        fit_boundary(log, BAR, wrong, PLACES, fluid_temperature=60.0, nodes=NODES, workers=1, accuracy=1.0)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"unknown": "h"}, "unknown unknown 'h'"),
        ({"fluid_temperature": None}, "fluid_temperature is not given"),
        ({"boundaries": {"side": hq.Insulated()}}, "boundaries names every face"),
        ({"nodes": [1.0, 1.0, 2.0]}, "at least three rising numbers"),
        ({"end_time": 3.0}, "log holds 6 readings after start_time"),
        ({"level": 90.0}, "level = 90"),
        ({"noise": 0.0}, "noise = 0"),
        ({"known_part": 3.0}, "known_part = 3.0 is not a boundary"),
        ({"thermocouples": {"other": Thermocouple()}}, "thermocouples: 'other' is no channel in use"),
        (
            {"nodes": None, "fluid_temperature": 870.0},
            "which no coefficient can do from 8.* towards fluid_temperature = 870",
        ),
        ({"nodes": None, "fluid_temperature": 400.0}, "which no coefficient can do"),
    ],
)
def test_messages(log, more, message):
    with pytest.raises(hq.InputError, match=message):
        fit(log, **more)


def test_messages_about_channels(log):
    with pytest.raises(hq.InputError, match="the log has no channel 'tip'; it has core, edge"):
        couples_of(log, BAR, {"tip": "centre"}, None)
    with pytest.raises(hq.InputError, match="channel 'core': where is its junction"):
        couples_of(log.drop_vars(["r", "z"], errors="ignore"), BAR, ["core"], None)
    with pytest.raises(hq.InputError, match="log needs a variable temperature"):
        fit(log.rename(temperature="T"))
    empty = log.copy(deep=True)
    empty["temperature"][:, 1] = np.nan
    with pytest.raises(hq.InputError, match="channel 'edge' holds fewer than 10 readings"):
        fit(empty)
    with pytest.raises(hq.InputError, match="plain seconds that increase strictly"):
        fit(log.isel(time=slice(None, None, -1)))


def test_message_of_a_foreign_dataset(log):
    with pytest.raises(hq.InputError, match="fit is not the result of fit_boundary"):
        fitted_boundary(log)
    with pytest.raises(hq.InputError, match="unknown which 'best'"):
        fitted_boundary(log, "best")
