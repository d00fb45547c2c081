"""``heatq calibrate`` and its figures."""

from __future__ import annotations

import csv

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq import plot_inverse
from heatq.__main__ import main
from heatq.inverse import calibrate, fit_boundary
from heatq.inverse.furnace import CalibrationRun

PLACES = {"core": (0.0, 0.0), "edge": (0.013, 0.0)}


def write(path, steel, boundary, end):
    """A log of a 30 mm bar as CSV."""
    times = np.linspace(0.0, end, 120)
    run = hq.simulate(
        hq.RoundBar(0.03), steel, {"side": boundary}, initial_temperature=850.0, end_time=end, output_times=times, probes=PLACES,
        progress=False,
    )  # fmt: skip
    values = run["temperature"].values + np.random.default_rng(3).normal(0.0, 0.8, (120, 2))
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time (s)", "core (degC)", "edge (degC)"])
        writer.writerows([f"{t:.3f}", *(f"{v:.2f}" for v in row)] for t, row in zip(times, values, strict=True))
    return xr.Dataset({"temperature": (("time", "probe"), values)}, coords={"time": times, "probe": ["core", "edge"]})


def gas(pressure, factor=1.0):
    flow = hq.GasCrossflow(
        "nitrogen", velocity=15.0, pressure=pressure * bar, temperature=40.0, turbulence_factor=factor
    )
    return flow + hq.Radiation(emissivity=0.3, surroundings_temperature=40.0)


COUPLES = ["--couple", "core", "0 mm", "--couple", "edge", "13 mm"]


@pytest.mark.slow
def test_surface_from_a_log(tmp_path, capsys):
    write(tmp_path / "oil.csv", hq.demo_heat(), hq.Convection(coefficient=1500.0, fluid_temperature=60.0), 60.0)
    code = main(
        [
            "calibrate",
            "surface",
            str(tmp_path / "oil.csv"),
            "--diameter",
            "30 mm",
            *COUPLES,
            "--fluid-temperature",
            "60 degC",
        ]
        + ["--initial-temperature", "850 degC", "--out", str(tmp_path / "out")]
    )
    out = capsys.readouterr().out
    assert code == 0
    assert "edge, distance from the axis: " in out
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"fit.png", "residuals.png", "coefficient.csv", "fit.nc"}
    table = hq.CoefficientTable.read(tmp_path / "out" / "coefficient.csv", fluid_temperature=60.0)
    assert table.heat_flux(np.array([500.0])) == pytest.approx(np.array([1500.0 * 440.0]), rel=0.05)


@pytest.mark.slow
def test_furnace_from_logs(tmp_path, capsys):
    for p in (2.0, 8.0):
        write(tmp_path / f"n2-{p:g}.csv", hq.demo_heat(), gas(p, 1.3), 1200.0 / p**0.6)
    runs = [word for p in ("2", "8") for word in ("--run", str(tmp_path / f"n2-{p}.csv"), f"{p} bar", "15 m/s")]
    code = main(
        ["calibrate", "furnace", *runs, "--diameter", "30 mm", *COUPLES, "--gas-temperature", "40 degC"]
        + ["--initial-temperature", "850 degC", "--predict", "20 bar", "15 m/s", "--out", str(tmp_path / "out")]
    )
    out = capsys.readouterr().out
    assert code == 0
    line = next(line for line in out.splitlines() if line.startswith("factor "))
    assert float(line.split()[1]) == pytest.approx(1.3, abs=0.03)
    assert "at 20 bar, 15 m/s: h = 1." in out
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"calibration.png", "calibration.nc"}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["surface", "no.csv", "--diameter", "30 mm"], "give --fluid-temperature, or --unknown flux"),
        (["surface", "no.csv", "--diameter", "30 mm", "--unknown", "flux"], "no.csv: there is no such file"),
        (["surface", "no.nc", "--diameter", "30 mm", "--unknown", "flux"], "no.nc: there is no such file"),
        (["surface", "a", "--diameter", "30 mm", "--couple", "a"], "--couple a: write channel, distance from the axis"),
        (
            ["surface", "a", "--diameter", "30 mm", "--length", "90 mm", "--couple", "a", "0 mm"],
            "a bar with a length needs the height",
        ),
        (["surface", "a", "--diameter", "30 mm", "--couple", "a", "wide"], "--couple: 'wide' is not a quantity"),
        (["furnace", "--diameter", "30 mm", "--run", "a", "2 bar", "15 m/s"], "a calibration needs at least two --run"),
        (
            ["surface", "a", "--diameter", "30 mm", "--grade", "4140", "--heat", "x"],
            "--heat and --grade are both given",
        ),
    ],
)
def test_messages(words, message, capsys):
    assert main(["calibrate", *words]) == 2
    assert message in capsys.readouterr().err


METAL = hq.Material.constant(conductivity=25.0, density=7900.0, specific_heat=600.0)


@pytest.fixture(scope="module")
def fit(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "log.csv"
    log = write(path, METAL, hq.Convection(coefficient=800.0, fluid_temperature=60.0), 60.0)
    nodes = [60.0, 250.0, 450.0, 650.0, 850.0]
    return fit_boundary(
        log, hq.RoundBar(0.03), METAL, PLACES, fluid_temperature=60.0, nodes=nodes, initial_temperature=850.0, workers=1
    )


def test_fitted_curve(fit):
    ax = plot_inverse.fitted_curve(fit, reference=hq.Convection(coefficient=800.0, fluid_temperature=60.0))
    assert ax.get_ylabel() == "heat-transfer coefficient, W/m²K"
    labels = ax.get_legend_handles_labels()[1]
    assert labels == ["90 % band", "fitted", "reference"]
    reference = ax.lines[-1].get_ydata()
    assert reference == pytest.approx(np.full(len(reference), 800.0))
    unseen = fit.copy()
    unseen["is_seen"] = fit["is_seen"] & (fit["surface_temperature"] < 500.0)
    assert "not seen by the couples" in plot_inverse.fitted_curve(unseen).get_legend_handles_labels()[1]


def test_residuals(fit):
    ax = plot_inverse.residuals(fit)
    assert ax.get_ylabel() == "measured minus fitted, K"
    assert len(ax.lines) == 4
    inside = np.abs(fit["residual"].values) < 2.0 * fit.attrs["noise"]
    assert inside.mean() == pytest.approx(0.954, abs=0.04)


def test_calibration_factors(tmp_path):
    runs = {
        f"{p:g} bar": CalibrationRun(
            write(tmp_path / "log.csv", METAL, gas(p, 1.2), 800.0 / p**0.6),
            hq.RoundBar(0.03), METAL, {"side": gas(p)}, probes=PLACES, initial_temperature=850.0,
        )
        for p in (2.0, 8.0)
    }  # fmt: skip
    ax = plot_inverse.calibration_factors(calibrate(runs, workers=1))
    assert ax.get_xlabel() == "pressure times velocity, bar m/s"
    assert {text.get_text() for text in ax.texts} == {"2 bar", "8 bar"}
    assert ax.get_xscale() == "log"


def test_messages_of_the_figures(fit):
    for draw, message in (
        (plot_inverse.fitted_curve, "it holds neither coefficient nor heat_flux"),
        (plot_inverse.residuals, "it holds no residual"),
        (plot_inverse.calibration_factors, "it holds no run_factor"),
    ):
        with pytest.raises(hq.InputError, match=message):
            draw(xr.Dataset())


def test_a_log_that_does_not_say_all_is_read_elsewhere(tmp_path, capsys):
    (tmp_path / "plain.csv").write_text("Time;T1\n0;850\n1;700\n")
    code = main(
        ["calibrate", "surface", str(tmp_path / "plain.csv"), "--diameter", "30 mm", "--fluid-temperature", "60"]
    )
    err = capsys.readouterr().err
    assert code == 2
    assert "column T1: the unit is not stated: read the log with 'heatq log read', which has options for that" in err
    assert err.count("\n") == 1
