"""h found from couples inside, on logs made by models that share no code with heatq."""

from __future__ import annotations

import pathlib
import sys

import inverse_checks as checks
import numpy as np
import pytest
from scipy.constants import bar

import heatq as hq
from heatq.inverse import CalibrationRun, calibrate, calibrated_factor, fit_boundary, furnace_boundary
from heatq.thermocouples import Thermocouple

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "benchmarks"))

RADIUS = 12.5e-3
#: What the couples state; the logs are made with a lag of 0.3 s and a junction 0.5 mm off.
COUPLE = Thermocouple(time_constant=0.3, position_tolerance=0.5e-3)


def alloy():
    table = np.array([0.0, 1000.0])
    return hq.Material.from_tables(table, checks.conductivity(table), checks.specific_heat(table), checks.DENSITY)


def record(times, true, seed, lag=0.3, noise=1.0):
    rng = np.random.default_rng(seed)
    values = np.stack([checks.behind(times, true[:, k], lag) for k in range(true.shape[1])], axis=1)
    return checks.log_of(times[1:], (values + rng.normal(0.0, noise, true.shape))[1:], ("centre", "edge"))


@pytest.mark.slow  # as are the tests that use them
def test_the_two_models_of_the_tests_agree():
    times = np.linspace(0.0, 30.0, 61)
    places = np.array([0.0, 10.5e-3])
    lines = checks.by_lines(RADIUS, checks.boiling(), 60.0, times, places)
    elements = checks.by_elements(RADIUS, checks.boiling(), 60.0, times, places)
    assert np.abs(lines - elements).max() < 0.1


@pytest.mark.slow
@pytest.mark.parametrize("off", [-0.5e-3, 0.5e-3])
def test_boiling_peak_within_ten_per_cent(off):
    """Finite elements, 1 K noise, 0.3 s lag, 0.5 mm position error. Measured: 1.8 % at most in the peak."""
    h = checks.boiling()
    times = np.linspace(0.0, 60.0, 601)
    true = checks.by_elements(RADIUS, h, 60.0, times, np.array([0.0, RADIUS - 2e-3 + off]))
    fit = fit_boundary(
        record(times, true, 1),
        hq.RoundBar(2 * RADIUS),
        alloy(),
        {"centre": (0.0, 0.0), "edge": (RADIUS - 2e-3, 0.0)},
        fluid_temperature=60.0,
        thermocouples=COUPLE,
        initial_temperature=checks.INITIAL,
    )
    at = fit["surface_temperature"].values
    peak = (at > 420.0) & (at < 640.0)  # h above a third of its highest value
    error = fit["coefficient"].values / h(at) - 1.0
    assert np.abs(error[peak]).max() < 0.10
    assert np.sqrt((error[peak] ** 2).mean()) < 0.03
    low, high = fit["coefficient_interval"].values
    assert ((low <= h(at)) & (h(at) <= high)).mean() > 0.8
    found = float(fit["nuisance_value"].sel(nuisance="r of edge"))
    assert found == pytest.approx(off, abs=0.1e-3)


@pytest.mark.slow
@pytest.mark.parametrize(("level", "off"), [(150.0, 0.5e-3), (500.0, -0.5e-3)])
def test_gas_within_five_per_cent(level, off):
    """Measured: 0.4 % at most."""
    h = checks.gas(level)
    times = np.linspace(0.0, 6e4 / level, 401)
    true = checks.by_elements(2 * RADIUS, h, 60.0, times, np.array([0.0, 1.5 * RADIUS + off]), step=times[-1] / 1000)
    fit = fit_boundary(
        record(times, true, 2),
        hq.RoundBar(4 * RADIUS),
        alloy(),
        {"centre": (0.0, 0.0), "edge": (1.5 * RADIUS, 0.0)},
        fluid_temperature=60.0,
        thermocouples=COUPLE,
        initial_temperature=checks.INITIAL,
    )
    at = fit["surface_temperature"].values
    assert np.abs(fit["coefficient"].values / h(at) - 1.0).max() < 0.05


@pytest.mark.slow
def test_a_lag_left_out_does_not_show_in_the_residuals():
    """1.5 s left out: the peak is 25 % wrong, the band misses it, and the residuals are as white as ever.

    A lag that all couples share looks like a later quench, which h(T) can imitate: nothing in the record gives it away. So the
    lag must be stated; its uncertainty is then part of the band.
    """
    h = checks.boiling()
    times = np.linspace(0.0, 60.0, 601)
    true = checks.by_lines(RADIUS, h, 60.0, times, np.array([0.0, RADIUS - 2e-3]))
    arguments = {
        "probes": {"centre": (0.0, 0.0), "edge": (RADIUS - 2e-3, 0.0)},
        "fluid_temperature": 60.0,
        "initial_temperature": checks.INITIAL,
    }
    log = record(times, true, 3, lag=1.5)
    error = {}
    for lag in (0.0, 1.5):
        couple = Thermocouple(time_constant=lag, position_tolerance=0.0)
        fit = fit_boundary(log, hq.RoundBar(2 * RADIUS), alloy(), thermocouples=couple, **arguments)
        at = fit["surface_temperature"].values
        peak = (at > 420.0) & (at < 640.0)
        error[lag] = np.abs(fit["coefficient"].values / h(at) - 1.0)[peak].max()
        assert fit.attrs["chi_square"] < 1.2
    assert error[1.5] < 0.10
    assert error[0.0] > 0.15


def triangle(seed):
    """Beck's triangular flux on a plate, sensor on the insulated face; a thin-walled tube of 2.9 m stands for the plate."""
    thickness, conductivity, density, heat = 0.01, 25.0, 8000.0, 500.0
    unit = thickness**2 * density * heat / conductivity  # of time, s
    flux = 1e6
    rise = flux * thickness / conductivity  # of temperature, K
    tau = np.arange(0.06, 1.8001, 0.06)
    noise = 0.0017 * rise
    values = 800.0 - rise * checks.triangle(tau) + np.random.default_rng(seed).normal(0.0, noise, tau.shape)
    log = checks.log_of(tau * unit, values[:, None], ("back",))
    tube = hq.Tube(outer_diameter=2.9, inner_diameter=2.9 - 2 * thickness)
    fit = fit_boundary(
        log,
        tube,
        hq.Material.constant(conductivity=conductivity, density=density, specific_heat=heat),
        {"back": (tube.inner_radius, 0.0)},
        unknown="flux over time",
        boundaries={"bore": hq.Insulated()},
        initial_temperature=800.0,
        nodes=np.linspace(0.0, 1.8, 31) * unit,
        noise=noise,
        accuracy=0.1,
    )
    tau = fit["quench_time"].values / unit
    true = np.interp(tau, [0.0, 0.6, 1.2, 1.8], [0.0, 0.6, 0.0, 0.0])
    low, high = fit["heat_flux_interval"].values / flux
    return fit["heat_flux"].values / flux - true, (low <= true) & (true <= high)


@pytest.mark.slow
def test_triangular_flux_of_beck():
    """The classical test of inverse methods: Beck, Blackwell & St. Clair, Inverse Heat Conduction, Wiley 1985, ch. 5.

    Plate, sensor on the insulated back, time step 0.06, noise 0.0017 (numbers from memory, not verified); the signal is exact.
    Measured over ten noises: rms error of the flux 0.014 with a peak of 0.6, so 2.4 % (0.019 with the first and last steps); the corner at the peak is rounded by 0.047
    in the mean; the band covers 94 %.
    """
    found = [triangle(seed) for seed in range(5)]
    error = np.array([e for e, _ in found])
    inner = slice(3, -12)  # the last steps are not felt at the back any more
    assert np.sqrt((error[:, inner] ** 2).mean()) < 0.02
    assert 0.85 < np.mean([c for _, c in found]) < 0.97


@pytest.mark.slow
def test_the_band_covers_the_truth_in_a_few_trials():
    """The whole study: benchmarks/inverse.py, 200 trials; here 12, whose coverage scatters by about 4 points."""
    import inverse

    result = inverse.study(12, first=1000)
    assert 0.82 < result["all"] <= 1.0
    assert result["boiling"]["rms_error_at_highest_flux"] < 0.06
    assert result["gas"]["rms_error"] < 0.02


VELOCITY = 15.0


def nitrogen(pressure):
    return hq.GasCrossflow(
        "nitrogen", velocity=VELOCITY, pressure=pressure * bar, temperature=50.0, diameter=4 * RADIUS
    )


def furnace(pressure):
    """Of the invented furnace: 1.25 times the correlation at 4.3 bar, exponent 0.08 higher."""
    surface = np.linspace(40.0, 900.0, 87)
    table = 1.25 * (pressure / 4.3) ** 0.08 * nitrogen(pressure).coefficient(surface)
    return lambda temperature, time=0.0: np.interp(temperature, surface, table)


def furnace_log(pressure, rng, of_run, in_time):
    h = furnace(pressure)
    end = 8e4 / h(450.0)
    times = np.linspace(0.0, end, 401)
    gust = checks.fluctuating(rng, in_time, end)
    factor = np.exp(of_run * rng.normal())
    places = np.array([0.0, 1.5 * RADIUS]) + rng.uniform(-0.5e-3, 0.5e-3, 2)
    true = checks.by_lines(2 * RADIUS, lambda s, t: h(s) * factor * gust(t), 50.0, times, places)
    values = np.stack([checks.behind(times, true[:, k], 0.3) for k in range(2)], axis=1)
    return checks.log_of(times[1:], (values + rng.normal(0.0, 1.0, true.shape))[1:], ("centre", "3/4 radius"))


def predicted_rms(calibration, pressure):
    h = furnace(pressure)
    times = np.linspace(0.0, 8e4 / h(450.0), 200)
    true = checks.by_lines(2 * RADIUS, h, 50.0, times, np.array([0.0]))[:, 0]
    run = hq.simulate(
        hq.RoundBar(4 * RADIUS),
        alloy(),
        {"side": furnace_boundary(calibration, nitrogen(pressure))},
        initial_temperature=checks.INITIAL,
        end_time=times[-1],
        output_times=times,
        probes=["centre"],
        progress=False,
    )
    return float(np.sqrt(((run["temperature"].values[:, 0] - true) ** 2).mean()))


def calibrations(of_run, in_time, seeds):
    for seed in seeds:
        rng = np.random.default_rng(seed)
        runs = {
            f"{p:g} bar": CalibrationRun(
                furnace_log(p, rng, of_run, in_time),
                hq.RoundBar(4 * RADIUS),
                alloy(),
                {"side": nitrogen(p)},
                thermocouples=COUPLE,
                initial_temperature=checks.INITIAL,
            )
            for p in (2.0, 4.0, 10.0)
        }
        yield calibrate(runs)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::heatq.errors.AccuracyWarning")  # gusts leave more residual than noise; it says so
def test_calibration_predicts_pressures_that_were_not_run():
    """h fluctuates by 10 % in time (gusts of 5 s). Measured over 8 furnaces: 1.3 to 5.7 K rms at 6 bar, 0.3 to 7.8 K at 20 bar."""
    for found in calibrations(0.0, 0.10, range(4)):
        assert predicted_rms(found, 6.0) < 10.0
        assert predicted_rms(found, 20.0) < 10.0
        assert float(found["left_out_rms"].max()) < 20.0


@pytest.mark.slow
def test_calibration_when_whole_runs_differ_by_ten_per_cent():
    """What three runs cannot tell: with 10 % from run to run the factor at 20 bar scatters by 10 * sqrt(2.1) = 15 %.

    (Variance 1/3 + (ln 20 - mean)^2/sum of squares for ln 2, ln 4, ln 10; the prior on the exponent takes some off.) So 10 K at
    20 bar are out of reach whatever the method; the range must say it. Measured over 8 furnaces: 0.5 to 19 K at 6 bar (median 10), 2
    to 37 K at 20 bar (median 16), and the true factor within the 90 % range in 7.
    """
    six, covered = [], []
    for found in calibrations(0.10, 0.0, range(8)):
        six.append(predicted_rms(found, 6.0))
        low, _, high = calibrated_factor(found, 20.0 * bar, VELOCITY)
        covered.append(low < 1.25 * (20.0 / 4.3) ** 0.08 < high)
    assert np.median(six) < 15.0
    assert np.mean(covered) >= 0.75
