"""``--units`` of every command: the numbers that are printed, the axes that are drawn, the files that stay as they are."""

from __future__ import annotations

import math
import pathlib
import re

import numpy as np
import pytest
import xarray as xr
from scipy.constants import inch

from heatq.__main__ import main
from heatq.commands.quantities import shown_units
from heatq.plot import units
from heatq.units import in_words, quenched_end, shown

OIL = ["bar", "--grade", "4140", "--diameter", "2 inch", "--medium", "oil", "--accuracy", "4 K"]


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command; returns what it printed, its figures by name, and its folder."""
    monkeypatch.chdir(tmp_path)

    def call(units_wanted, *arguments):
        figures = {}

        def kept(figure, path, **_):
            if hasattr(path, "write"):  # into a page
                path.write(b"<svg/>")
                return
            figures[pathlib.Path(path).name] = figure
            pathlib.Path(path).write_bytes(b"")

        monkeypatch.setattr("matplotlib.figure.Figure.savefig", kept)
        folder = tmp_path / units_wanted.replace(",", "-")
        code = main([*arguments, "--units", units_wanted, "--out", str(folder)])
        printed = capsys.readouterr()
        assert code == 0, printed.err
        return printed.out, figures, folder

    return call


@pytest.fixture
def log(tmp_path):
    """A log of two couples that cool exponentially."""
    lines = ["time (s),core (degC),edge (degC)"]
    for t in np.arange(0.0, 200.0, 0.5):
        core, edge = (40.0 + 810.0 * math.exp(-t / constant) for constant in (60.0, 45.0))
        lines.append(f"{t},{core:.3f},{edge:.3f}")
    path = tmp_path / "run.csv"
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def cells(text, start):
    """Cells of the first line that begins so."""
    return next(line for line in text.splitlines() if line.strip().startswith(start)).split()


def same_files(one, other, *names):
    for name in names:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name


# ----------------------------------------------------------------------------------------------- the words


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("metric", ("mm", "degC")),
        ("us", ("inch", "degF")),
        ("US", ("inch", "degF")),
        ("inch", ("inch", "degC")),
        ("degF", ("mm", "degF")),
        ("°F", ("mm", "degF")),
        ("mm, degF", ("mm", "degF")),
        ("degC inch", ("inch", "degC")),
    ],
)
def test_words(text, expected):
    assert shown_units(text) == expected


def test_one_place_converts():
    assert quenched_end(0.0127) == (12.7, "mm")
    with units("inch", "degF"):
        assert quenched_end(0.0127) == (8.0, "1/16 in")
        assert shown(10.0, "K/min") == (18.0, "°F/min")
        assert in_words("at least 28 K/min within 5 K") == "at least 50.4 °F/min within 9 °F"
        assert in_words("700 °C (W/m2K 5)") == "1292 °F (W/m2K 5)"
        assert in_words("centre @ 120 mm") == "centre @ 4.724 in"
        assert in_words("r 10, z 90 mm, side") == "r 0.394, z 3.543 in, side"
    assert in_words("700 degC, 5 K, 3 mm") == "700 °C, 5 K, 3 mm"


def test_units_end_with_the_command(run, log):
    run("us", "log", "read", log)
    assert shown(1.0, "m") == (1000.0, "mm")


# -------------------------------------------------------------------------------------------- every command


@pytest.mark.slow
def test_endquench(run, tmp_path):
    (tmp_path / "lab.csv").write_text("J,HRC\n4,55\n")
    how = ["endquench", "--accuracy", "4 K", "--measured", str(tmp_path / "lab.csv")]
    metric, plain, there = run("metric", *how)
    text, figures, folder = run("us", *how)
    result = xr.load_dataset(folder / "water.nc", engine="scipy").sel(probe="J8")
    _, distance, rate, time, *_ = cells(text, "J8")
    assert float(distance) == 8.0
    assert float(rate) == pytest.approx(1.8 * float(result["cooling_rate_704"]), rel=0.006)
    assert float(cells(metric, "J8")[2]) == pytest.approx(float(result["cooling_rate_704"]), rel=0.006)
    assert float(time) == pytest.approx(float(result["cooling_time_800_500"]), rel=0.006)
    assert "rate 1300 °F   t 1472-932" in text
    assert re.search(r"1/16 in +°F/s +s ", text)
    assert "water jet 75.2 °F" in text
    assert "austenitized at 1562 °F" in text
    assert cells(text, "4.00")[1] == "55.0"
    assert cells(metric, "6.35")[1] == "55.0"
    assert figures["hardness.png"].axes[0].get_xlabel() == "distance from quenched end, 1/16 in"
    assert plain["hardness.png"].axes[0].get_xlabel() == "distance from quenched end, mm"
    same_files(folder, there, "water.csv")
    assert "distance (m)" in (folder / "water.csv").read_text()


def test_bar_and_its_page(run):
    metric, plain, there = run("metric", *OIL)
    text, figures, folder = run("us", *OIL, "--report")
    result = xr.load_dataset(folder / "bar.nc", engine="scipy").sel(probe="centre")
    _, alike, rate, *_ = cells(text, "centre")  # alike: by the time from 800 to 500 °C
    assert float(alike) == pytest.approx(float(result["equivalent_distance_by_time"]) / inch * 16.0, abs=0.006)
    assert float(rate) == pytest.approx(1.8 * float(result["cooling_rate_704"]), rel=0.006)
    assert "round bar: diameter 2 in, long\n\nconventional oil, 140 °F, agitation none\n" in text
    assert "round bar: diameter 50.8 mm, long\n\nconventional oil, 60 °C, agitation none\n" in metric
    assert "at, 1/16 in" in text
    axes = figures["histories.png"].axes[0]
    assert axes.get_ylabel() == "temperature, °F"
    assert axes.lines[0].get_ydata()[0] == pytest.approx(845.0 * 1.8 + 32.0)
    assert plain["histories.png"].axes[0].lines[0].get_ydata()[0] == pytest.approx(845.0)
    assert axes.get_xlim()[1] < 5000.0  # the oil is approached for hours
    same_files(folder, there, "bar.csv")
    page = (folder / "bar.html").read_text(encoding="utf-8")
    assert "cooling rate at 1300 °F [°F/s]" in page
    assert "cooling time 1472 to 932 °F [s]" in page
    assert "radius [in]" in page
    assert f"<td>{float(result['equivalent_distance_by_time']) / inch * 16.0:.2f}</td>" in page
    assert "1553 °F" in page
    assert "7.2 °F" in page
    assert "[K/s]" not in page
    assert "are in metres, °C, pascal" in page


def test_lengths_and_temperatures_apart(run):
    text, figures, _ = run("inch,degC", *OIL)
    assert "diameter 2 in" in text
    assert "conventional oil, 60 °C" in text
    assert "rate 704 °C" in text
    assert figures["histories.png"].axes[0].get_ylabel() == "temperature, °C"


@pytest.mark.slow
def test_cct(run):
    metric, plain, there = run("metric", "cct")
    text, figures, folder = run("us", "cct")
    diagram = xr.load_dataset(folder / "cct.nc", engine="scipy")
    row = next(line for line in text.splitlines() if line.startswith("     0.18 ")).split()
    start = diagram["start_temperature"].sel(phase="ferrite").sel(rate=0.1, method="nearest")
    assert float(row[7]) == pytest.approx(1.8 * float(start) + 32.0, abs=0.51)
    assert float(cells(metric, "0.1")[7]) == pytest.approx(float(start), abs=0.51)
    assert f"critical temperatures, °F: Ae1 {1.8 * float(diagram['ae1']) + 32.0:.0f}" in text
    assert re.search(r"°F/s +% +% +% +% +°F +°F +°F +°F", text)
    for name in ("cct.png", "ttt.png"):
        assert figures[name].axes[0].get_ylabel() == "temperature, °F"
        assert plain[name].axes[0].get_ylabel() == "temperature, °C"
    same_files(folder, there, "cct.csv")


def test_media(run):
    metric, plain, _ = run("metric", "media", "--diameter", "1 inch", "--surface-temperature", "1112 degF")
    text, figures, _ = run("us", "media", "--diameter", "1 inch", "--surface-temperature", "1112 degF")
    assert "1 in round, long, surface at 1112 °F" in text
    assert "25.4 mm round, long, surface at 600 °C" in metric
    name = "fast oil, agitation moderate"
    one, other = (cells(t, name) for t in (metric, text))
    assert (one[4], other[4]) == ("60", "140")
    assert one[5:] == other[5:]  # W/m2K and kW/m2
    assert all(ax.get_xlabel() == "surface temperature, °F" for ax in figures["media.png"].axes)
    assert all(ax.get_xlabel() == "surface temperature, °C" for ax in plain["media.png"].axes)


@pytest.mark.slow
def test_place(run):
    how = ["place", "--diameter", "60 mm", "--length", "200 mm", "--gas", "nitrogen", "--velocity", "10 m/s",
           "--pressure", "6 bar", "--count", "3"]  # fmt: skip
    metric, plain, there = run("metric", *how)
    text, figures, folder = run("us", *how)
    lines = [
        next(line for line in t.splitlines() if line.startswith("r ") and ", side" in line) for t in (metric, text)
    ]
    one, other = (line.partition(", side")[2].split() for line in lines)
    assert float(other[0]) == pytest.approx(float(one[0]) / 25.4, abs=0.002)  # depth
    assert other[1] == one[1]
    assert float(other[8]) == pytest.approx(1.8 * float(one[8]), abs=0.15)  # all errors together
    assert float(other[9]) == pytest.approx(1.8 * float(one[9]), rel=0.01)  # rate
    assert re.search(r"in +in +°F +°F +°F +°F +°F +°F +°F +°F/s +°F/s", text)
    assert "slowest point: r 0, z 3.94 in" in text
    assert "sheath 0.059 in" in text
    assert "from 1472 to 932 °F" in text
    assert figures["places.png"].axes[0].get_xlabel().endswith(", in")
    assert figures["ranking.png"].axes[0].get_xlabel() == "error of the reading, °F"
    assert plain["ranking.png"].axes[0].get_xlabel() == "error of the reading, K"
    assert all(" in, " in label.get_text() for label in figures["ranking.png"].axes[0].get_yticklabels())
    same_files(folder, there, "places.csv")


@pytest.mark.slow
def test_choose(run):
    how = ["choose", "--grade", "4340", "--largest-section", "--hardness", "50", "--velocity", "20 m/s", "--pressure",
           "10 bar", "--gas", "nitrogen", "--quick", "--accuracy", "4 K"]  # fmt: skip
    metric, plain, _ = run("metric", *how)
    text, figures, folder = run("us", *how, "--report")
    found = float(xr.load_dataset(folder / "section-1.nc", engine="scipy")["diameter"])
    assert f"nitrogen 10 bar 20 m/s: {found / inch:.3g} in (" in text
    assert f"nitrogen 10 bar 20 m/s: {1000.0 * found:.3g} mm (" in metric
    assert figures["section-1.png"].axes[0].get_xlabel() == "diameter, in"
    assert plain["section-1.png"].axes[0].get_xlabel() == "diameter, mm"
    assert f"{found / inch:.3g} in (" in (folder / "section-1.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_choose_from_a_table(run):
    how = ["choose", "--grade", "4340", "--table", "--diameter", "2 inch", "--hardness", "45", "--velocity", "20 m/s",
           "--pressure", "10 bar", "--gas", "helium 33.3 argon 33.2 nitrogen 33.5", "--bath", "fast", "--accuracy", "4 K"]  # fmt: skip
    text, figures, folder = run("us", *how)
    table = xr.load_dataset(folder / "table.nc", engine="scipy")
    assert "helium 33.3 % + argon 33.2 % + nitrogen 33.5 % 10 bar 20 m/s" in table["alternative"].values
    assert " nitrogen 33.5 % and others 10 bar 20 m/s " in text
    assert " fast oil 140 °F moderate " in text
    assert max(map(len, text.splitlines())) <= 140
    assert "1472-932  to 140 °F" in text
    labels = [label.get_text() for label in figures["table.png"].axes[0].get_yticklabels()]
    assert "nitrogen 33.5 % and others 10 bar 20 m/s" in labels
    kelvin = float(table["largest_difference"].sel(alternative="fast oil 60 degC moderate"))
    row = [line for line in text.splitlines() if " fast oil 140 °F moderate " in line][1]
    assert float(row.split()[6]) == pytest.approx(1.8 * kelvin, rel=0.006)


def test_log_read(run, log):
    metric, plain, there = run("metric", "log", "read", log)
    text, figures, folder = run("us", "log", "read", log)
    assert [float(cell) for cell in cells(metric, "core")[6:8]] == pytest.approx([69.1, 850.0])
    assert [float(cell) for cell in cells(text, "core")[6:8]] == pytest.approx([156.4, 1562.0])
    assert re.search(r"°F +°F +°F +°F +from, s$", text, re.MULTILINE)
    assert figures["log.png"].axes[0].get_ylabel() == "temperature, °F"
    assert max(figures["log.png"].axes[0].lines[0].get_ydata()) == pytest.approx(1562.0)
    assert plain["log.png"].axes[0].get_ylabel() == "temperature, °C"
    same_files(folder, there, "log.csv")


def test_log_metrics(run, log):
    metric, plain, _ = run("metric", "log", "metrics", log, "--at", "1472 degF", "500")
    text, figures, _ = run("us", "log", "metrics", log, "--at", "1472 degF", "500")
    core = (800.0 - 40.0) / 60.0  # K/s, of the exponential
    assert float(cells(metric, "rate at 800 °C")[5]) == pytest.approx(core, rel=2e-3)
    assert float(cells(text, "rate at 1472 °F")[5]) == pytest.approx(1.8 * core, rel=2e-3)
    assert cells(text, "rate at 1472 °F")[4] == "°F/s"
    assert "t 1472-932 °F" in text
    widest = [re.search(r"spread between places ([\d.]+) (\S+)", t) for t in (metric, text)]
    assert float(widest[1][1]) == pytest.approx(1.8 * float(widest[0][1]), abs=0.2)
    assert (widest[0][2], widest[1][2]) == ("K", "°F")
    axes = figures["rates.png"].axes[0]
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("temperature, °F", "cooling rate, °F/s")
    axes = plain["rates.png"].axes[0]
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("temperature, °C", "cooling rate, K/s")


def test_log_windows(run, log):
    how = ["log", "windows", log, "--rate", "18 degF/s", "1472 degF", "932 degF", "--time", "20 s", "800", "500"]
    metric, _, _ = run("metric", *how)
    text, figures, _ = run("us", *how)
    assert "800 to 500 °C: at least 10 K/s (600 K/min) on the mean" in metric
    assert "1472 to 932 °F: at least 18 °F/s (1.08e+03 °F/min) on the mean" in text
    one, other = (cells(t, "core") for t in (metric, text))
    assert [float(c) for c in other[1:4]] == pytest.approx([1.8 * float(c) for c in one[1:4]], abs=0.02)
    assert (one[5], other[5]) == ("fail", "fail")
    assert figures["windows.png"].axes[0].get_ylabel() == "temperature, °F"


def test_log_compare(run, log):
    _, _, folder = run("metric", *OIL)
    how = ["log", "compare", log, str(folder / "bar.nc"), "--probe", "core", "centre"]
    metric, plain, _ = run("metric", *how)
    text, figures, _ = run("us", *how)
    one, other = (cells(t, "core") for t in (metric, text))
    assert [float(c) for c in other[1:4]] == pytest.approx([1.8 * float(c) for c in one[1:4]], abs=0.02)
    one, other = ([line.split() for line in t.splitlines() if line.startswith("core ")][1] for t in (metric, text))
    assert (one[1], other[1]) == ("800", "1472")
    assert float(other[5]) == pytest.approx(1.8 * float(one[5]), rel=2e-3)
    assert re.search(r"°F +s +s +% +°F/s +°F/s +%", text)
    assert figures["compare.png"].axes[0].get_ylabel() == "temperature, °F"
    assert figures["compare.png"].axes[1].get_ylabel().endswith("°F")
    assert plain["compare.png"].axes[1].get_ylabel().endswith("K")


@pytest.mark.slow
def test_calibrate(run, tmp_path):
    import heatq as hq

    times = np.linspace(0.0, 400.0, 101)
    for name, pressure in (("two", 2e5), ("six", 6e5)):
        gas = hq.GasCrossflow("nitrogen", velocity=15.0, pressure=pressure, temperature=25.0) + hq.Radiation(0.3, 25.0)
        result = hq.simulate(hq.RoundBar(0.0508), hq.demo_heat(), {"side": gas}, initial_temperature=850.0, end_time=400.0,
                             output_times=times, probes=["centre"])  # fmt: skip
        noise = np.random.default_rng(1).normal(0.0, 0.5, 101)
        rows = [f"{t:g},{v:.2f}" for t, v in zip(times, result["temperature"].values[:, 0] + noise, strict=True)]
        (tmp_path / f"{name}.csv").write_text("\n".join(["time (s),centre (degC)", *rows]) + "\n")
    how = ["calibrate", "surface", str(tmp_path / "two.csv"), "--diameter", "2 inch", "--fluid-temperature", "77 degF"]
    metric, plain, there = run("metric", *how)
    text, figures, folder = run("us", *how)
    fit = xr.load_dataset(folder / "fit.nc", engine="scipy")
    assert f"noise {1.8 * fit.attrs['noise']:.2g} °F" in text
    assert f"noise {fit.attrs['noise']:.2g} K" in metric
    last = [line.split() for line in text.splitlines() if line.endswith(("yes", "no"))][0]
    assert float(last[0]) == pytest.approx(1.8 * float(fit["surface_temperature"][0]) + 32.0, rel=1e-3)
    assert "surface, °F" in text
    assert "centre, distance from the axis: " in text
    assert figures["fit.png"].axes[0].get_xlabel() == "surface temperature, °F"
    assert plain["fit.png"].axes[0].get_xlabel() == "surface temperature, °C"
    assert figures["residuals.png"].axes[0].get_ylabel().endswith("°F")
    same_files(folder, there, "coefficient.csv")
    how = ["calibrate", "furnace", "--diameter", "2 inch", "--run", str(tmp_path / "two.csv"), "2 bar", "15 m/s",
           "--run", str(tmp_path / "six.csv"), "6 bar", "15 m/s", "--law", "factor"]  # fmt: skip
    metric, _, _ = run("metric", *how)
    text, _, folder = run("us", *how)
    found = xr.load_dataset(folder / "calibration.nc", engine="scipy")
    assert float(cells(text, "two")[4]) == pytest.approx(1.8 * float(found["rms_residual"][0]), abs=0.006)
    assert float(cells(metric, "two")[4]) == pytest.approx(float(found["rms_residual"][0]), abs=0.006)
    assert re.search(r"°F +°F$", text, re.MULTILINE)


def test_study(run, tmp_path):
    lines = ["[piece]", 'kind = "round bar"', "[steel]", 'grade = "4140"', "[quench]", 'medium = "oil"', "[vary]",
             'diameter = ["1 inch", "2 inch"]', "[results]", 'variables = ["cooling_rate_704"]', 'probes = ["centre"]',
             "[run]", "accuracy = 4.0"]  # fmt: skip
    (tmp_path / "s.toml").write_text("\n".join(lines) + "\n")
    metric, plain, there = run("metric", "study", str(tmp_path / "s.toml"))
    text, figures, folder = run("us", "study", str(tmp_path / "s.toml"))
    rate = float(xr.load_dataset(folder / "study.nc", engine="scipy")["cooling_rate_704"][1, 0])
    assert "cooling rate at 1300 °F, °F/s" in text
    assert float(cells(text, "2 in")[2]) == pytest.approx(1.8 * rate, rel=1e-3)
    assert "cooling rate at 704 °C, K/s" in metric
    assert float(cells(metric, "50.8 mm")[2]) == pytest.approx(rate, rel=1e-3)
    axes = figures["study.png"].axes[0]
    assert axes.get_xlabel() == "diameter, in"
    assert axes.get_ylabel().endswith("°F/s")
    assert plain["study.png"].axes[0].get_xlabel() == "diameter, mm"
    same_files(folder, there, "study.csv")


def test_sample_of_a_study(run, tmp_path):
    lines = ["[piece]", 'kind = "round bar"', 'diameter = "1 inch"', "[steel]", 'grade = "4140"', "[quench]",
             'medium = "oil"', "[vary]",
             'bath_temperature = { distribution = "normal", mean = "60 degC", deviation = "5 K" }', "[sample]",
             "count = 4", "[results]", 'variables = ["cooling_rate_704"]', 'probes = ["centre"]',
             "at_least = { cooling_rate_704 = 10 }", "[run]", "accuracy = 4.0"]  # fmt: skip
    (tmp_path / "s.toml").write_text("\n".join(lines) + "\n")
    metric, _, _ = run("metric", "study", str(tmp_path / "s.toml"))
    text, figures, folder = run("us", "study", str(tmp_path / "s.toml"))
    assert "bath temperature: normal, mean 60, standard deviation 5 °C" in metric
    assert "bath temperature: normal, mean 140, standard deviation 9 °F" in text
    middle = float(
        xr.load_dataset(folder / "summary.nc", engine="scipy")["cooling_rate_704_percentile"].values.ravel()[1]
    )
    assert f"{1.8 * middle:.4g} +- " in text
    assert f"{middle:.4g} +- " in metric
    assert "at least 18: " in text
    assert "at least 10: " in metric
    assert figures["study.png"].axes[0].get_xlabel().endswith("°F/s")
