"""calibrate: law, runs left out, corrected boundaries, messages. (Against independent models: tests/validation.)"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq.boundaries import over_time
from heatq.inverse import CalibrationRun, calibrate, calibrated_factor, furnace_boundary

BAR = hq.RoundBar(0.03)
METAL = hq.Material.constant(conductivity=25.0, density=7900.0, specific_heat=600.0)


def nitrogen(pressure, velocity=20.0, factor=1.0):
    flow = hq.GasCrossflow(
        "nitrogen", velocity=velocity, pressure=pressure * bar, temperature=40.0, turbulence_factor=factor
    )
    return flow + hq.Radiation(emissivity=0.3, surroundings_temperature=40.0)


def run_of(pressure, velocity=20.0, factor=1.0, seed=0):
    times = np.arange(0.0, 400.0 / pressure**0.6, 4.0 / pressure**0.6)
    truth = hq.simulate(
        BAR,
        METAL,
        {"side": nitrogen(pressure, velocity, factor)},
        initial_temperature=850.0,
        end_time=times[-1],
        output_times=times,
        probes=["centre"],
        progress=False,
    )
    noise = np.random.default_rng(seed).normal(0.0, 0.5, truth["temperature"].shape)
    log = xr.Dataset({"temperature": truth["temperature"] + noise})
    return CalibrationRun(log, BAR, METAL, {"side": nitrogen(pressure, velocity)}, initial_temperature=850.0)


def law(pressure, velocity=20.0):
    return 1.3 * (pressure / 4.0) ** 0.1 * (velocity / 20.0) ** 0.1


@pytest.fixture(scope="module")
def found():
    runs = {f"{p:g} bar": run_of(p, factor=law(p), seed=n) for n, p in enumerate((2.0, 4.0, 8.0))}
    return calibrate(runs, workers=1)


def test_factor_and_exponent_are_found(found):
    assert found.attrs["reference_pressure"] == pytest.approx(4.0 * bar)
    assert found["value"].values == pytest.approx([1.3, 0.1], abs=0.01)
    assert found["run_factor"].values == pytest.approx([law(2.0), 1.3, law(8.0)], rel=0.01)
    low, high = found["interval"].values
    assert (low < [1.3, 0.1]).all()
    assert (high > [1.3, 0.1]).all()
    assert (found["rms_residual"].values < 0.7).all()


def test_left_out_runs_are_predicted(found):
    """Two runs are left: the spread from run to run could explain them as well, so their exponent shrinks, and it costs 6 K."""
    assert (found["left_out_rms"].values < 8.0).all()
    assert found["left_out_factor"].values == pytest.approx(np.ones(3), abs=0.04)


def test_prediction_beyond_the_runs(found):
    low, middle, high = calibrated_factor(found, 20.0 * bar, 20.0)
    assert middle == pytest.approx(law(20.0), rel=0.03)
    assert low < middle < high
    inside = calibrated_factor(found, 4.0 * bar, 20.0)
    assert high / low > inside[2] / inside[0]  # further out, less sure
    assert calibrated_factor(found, 4.0 * bar, 20.0, level=0.5)[2] < inside[2]


def test_boundary_corrects_the_gas_and_leaves_radiation(found):
    plain, corrected = nitrogen(6.0), furnace_boundary(found, nitrogen(6.0))
    at = np.array([700.0])
    from heatq.boundaries import for_piece

    flux = for_piece(corrected, BAR, "side").heat_flux(at)
    gas, radiation = (for_piece(part, BAR, "side").heat_flux(at) for part in plain.parts)
    factor = calibrated_factor(found, 6.0 * bar, 20.0)[1]
    assert flux == pytest.approx(factor * gas + radiation)
    assert for_piece(furnace_boundary(found, plain, "low"), BAR, "side").heat_flux(at) < flux


def test_ramps_take_the_factor_of_their_own_pressure(found):
    flow = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=8 * bar, temperature=40.0, diameter=0.03)
    ramp = hq.Ramp(flow, [0.0, 5.0], pressure=[2 * bar, 8 * bar])
    knots = over_time(furnace_boundary(found, ramp), 60.0)
    plain = over_time(ramp, 60.0)
    at = np.array([600.0])
    for (_, one), (_, other), p in ((knots[0], plain[0], 2.0), (knots[-1], plain[-1], 8.0)):
        expected = calibrated_factor(found, p * bar, 20.0)[1]
        assert one.heat_flux(at) / other.heat_flux(at) == pytest.approx(np.array([expected]))
    staged = furnace_boundary(found, hq.Stages((5.0, hq.StillAir()), (None, ramp)))
    assert staged.over_time(60.0)[0][1] == hq.StillAir()


def test_corrected_boundary_runs(found):
    run = hq.simulate(
        BAR,
        METAL,
        {"side": furnace_boundary(found, nitrogen(6.0))},
        initial_temperature=850.0,
        end_time=60.0,
        probes=["centre"],
    )
    truth = hq.simulate(
        BAR,
        METAL,
        {"side": nitrogen(6.0, factor=law(6.0))},
        initial_temperature=850.0,
        end_time=60.0,
        probes=["centre"],
    )
    assert float(run["temperature"][-1, 0]) == pytest.approx(float(truth["temperature"][-1, 0]), abs=2.0)


def test_pressure_and_velocity_apart():
    runs = {
        f"{p:g} {v:g}": run_of(p, v, factor=1.2 * (p / 4.0) ** 0.1 * (v / 20.0) ** -0.05)
        for p, v in ((2.0, 20.0), (8.0, 20.0), (2.0, 40.0), (8.0, 10.0))
    }
    apart = calibrate(runs, law="separate exponents", workers=1)
    assert list(apart["parameter"].values) == ["factor", "exponent of pressure", "exponent of velocity"]
    assert apart["value"].values[1:] == pytest.approx([0.1, -0.05], abs=0.03)


def test_known_repeatability_is_used():
    runs = {str(n): run_of(4.0, factor=f, seed=n) for n, f in enumerate((1.2, 1.4))}
    wide = calibrate(runs, law="factor", repeatability=0.10, workers=1)
    narrow = calibrate(runs, law="factor", repeatability=0.02, workers=1)
    assert wide["value"].values == pytest.approx([np.sqrt(1.2 * 1.4)], rel=0.01)

    def width(found):
        low, _, high = calibrated_factor(found, 4.0 * bar, 20.0)
        return np.log(high / low)

    # mean of two runs: s sqrt(1/2), next run: s sqrt(3/2), 90 %: +-1.645
    assert width(wide) == pytest.approx(2 * 1.645 * 0.10 * np.sqrt(1.5), rel=0.05)
    assert width(narrow) < 0.4 * width(wide)


def test_a_run_that_no_factor_describes_is_told():
    good, odd = run_of(2.0), run_of(8.0)
    values = odd.log["temperature"].values.copy()
    values[40:] = values[40]  # the fan stopped
    stopped = CalibrationRun(
        odd.log.assign(temperature=(("time", "probe"), values)), BAR, METAL, odd.boundaries, initial_temperature=850.0
    )
    with pytest.warns(hq.AccuracyWarning, match="run 'stopped': the residual of"):
        calibrate({"good": good, "stopped": stopped}, law="factor", workers=1)


def test_messages(found):
    one = run_of(4.0)
    with pytest.raises(hq.InputError, match="runs must map at least two names"):
        calibrate({"only": one})
    with pytest.raises(hq.InputError, match="the runs do not tell the factor from pressure times velocity"):
        calibrate({"a": one, "b": one})
    with pytest.raises(hq.InputError, match="the runs do not tell the factor from pressure from velocity"):
        calibrate({"a": one, "b": run_of(8.0)}, law="separate exponents")
    with pytest.raises(hq.InputError, match="unknown law 'linear'"):
        calibrate({"a": one, "b": run_of(8.0)}, law="linear")
    dry = CalibrationRun(one.log, BAR, METAL, {"side": hq.Convection(300.0, 20.0)}, initial_temperature=850.0)
    with pytest.raises(hq.InputError, match="run 'dry': none of its boundaries has a pressure and a velocity"):
        calibrate({"a": one, "dry": dry})
    with pytest.raises(hq.InputError, match="holds no gas stream"):
        furnace_boundary(found, hq.Convection(300.0, 20.0))
    with pytest.raises(hq.InputError, match="calibration = a Dataset is not the result of calibrate"):
        furnace_boundary(one.log, nitrogen(4.0))


def test_saves_as_netcdf(found, tmp_path):
    from heatq.files import save_netcdf

    save_netcdf(found, tmp_path / "calibration.nc")
    again = xr.load_dataset(tmp_path / "calibration.nc", engine="scipy")
    assert calibrated_factor(again, 6 * bar, 20.0) == pytest.approx(calibrated_factor(found, 6 * bar, 20.0))
