"""``heatq log``: read, metrics, windows, compare, as a user types them."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr

from heatq.__main__ import main
from heatq.files import read_rows, save_netcdf
from heatq.logs import log_dataset

SECONDS = np.arange(0, 120)
CORE = np.where(SECONDS < 10, 850.0, 850.0 - 5.0 * (SECONDS - 10))
SKIN = np.where(SECONDS < 10, 850.0, 850.0 - 6.0 * (SECONDS - 10))


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rows = ["Recorder;invented", "Time;core [°C];skin [°C];loose [°C]"]
    for s, a, b in zip(SECONDS, CORE, SKIN, strict=True):
        skin = "OPEN" if s == 50 else f"{b:.1f}"
        core = 1100.0 if s == 70 else a
        rows.append(f"12:{s // 60:02d}:{s % 60:02d};{core:.1f};{skin};21.5".replace(".", ","))
    (tmp_path / "run.csv").write_text("\n".join(rows) + "\n", encoding="cp1252")

    def call(*arguments):
        try:
            code = main(["log", *map(str, arguments)])
        except SystemExit as stop:
            code = stop.code
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return call


CLEAN = ("--drop-dead", "--spikes", "20 K", "--fill", "3 s", "--start", "quench")


def test_read_reports_and_writes(run, tmp_path):
    code, out, err = run("read", "run.csv", "--out", "x")
    assert (code, err) == (0, "")
    assert "encoding cp1252, cells separated by semicolons, decimal comma, header on line 2; time: Time (clock)" in out
    assert "loose" in out
    assert "does not move" in out
    assert (tmp_path / "x" / "log.png").read_bytes().startswith(b"\x89PNG")
    again = xr.load_dataset(tmp_path / "x" / "log.nc", engine="scipy")
    assert json.loads(again.attrs["cleaning"]) == []
    table = read_rows(tmp_path / "x" / "log.csv")
    assert table.header == ["time (s)", "core (degC)", "skin (degC)", "loose (degC)"]
    assert table.rows[50].cells == ["50", "650", "", "21.5"]


def test_what_was_written_can_be_read_again(run, tmp_path):
    run("read", "run.csv", "--out", "x", *CLEAN)
    for name in ("x/log.csv", "x/log.nc"):
        code, out, _ = run("metrics", name, "--out", "y", "--at", "700 degC")
        assert code == 0
        assert "rate at 700 °C  K/s          5         6" in out


def test_metrics_after_cleaning_lists_the_steps(run, tmp_path):
    code, out, err = run("metrics", "run.csv", *CLEAN, "--smooth", "5 s", "--at", "700 degC", "1112 degF", "--out", "x")
    assert (code, err) == (0, "")
    assert "rate at 600 °C  K/s          5         6       1.2" in out
    for step in ("drop_dead_channels", "remove_spikes", "fill_gaps", "cut_log", "smooth_log"):
        assert f"done: step {step}" in out
    assert (tmp_path / "x" / "rates.png").exists()


def test_metrics_of_a_log_with_gaps_says_how_to_fill_them(run):
    code, _, err = run("metrics", "run.csv")
    assert code == 2
    assert "channel 'skin' has 1 gaps: fill short ones with --fill" in err


def test_windows(run, tmp_path):
    (tmp_path / "curve.csv").write_text("time;temperature\n0;800\n66,5;500\n", encoding="utf-8")
    code, out, err = run(
        "windows", "run.csv", *CLEAN, "--rate", "324 K/min", "800", "500", "--rate", "585 degF/min", "800 degC", "932 degF",
        "--time", "1 min", "800", "500", "--curve", "curve.csv", "--out", "x",
    )  # fmt: skip
    assert (code, err) == (0, "")
    # 5 and 6 K/s against 5.4 and 5.417 K/s; 60 and 50 s against 60 and 66.5 s
    words = [line.split() for line in out.splitlines()]
    verdicts = [w[5] for w in words if w[:1] in (["core"], ["skin"])]
    assert verdicts == ["fail", "pass", "fail", "pass", "pass", "pass", "pass", "pass"]
    assert (tmp_path / "x" / "windows.png").exists()


def test_compare(run, tmp_path):
    time = np.linspace(0.0, 109.0, 219)
    predicted = log_dataset(time, np.column_stack([850.0 - 5.5 * time, 850.0 - 6.0 * time]), ["centre", "surface"])
    save_netcdf(predicted, tmp_path / "p.nc")
    code, out, err = run(
        "compare", "run.csv", "p.nc", *CLEAN, "--probe", "core", "centre", "--probe", "skin", "surface", "--out", "x",
        "--align", "840 degC",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "(aligned: 840.0)" in out
    assert (tmp_path / "x" / "compare.png").exists()
    code, _, err = run("compare", "run.csv", "p.nc", *CLEAN)
    assert code == 2
    assert "no channel has the name of a predicted probe" in err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("windows", "run.csv"), "heatq log windows: no window is given"),
        (("windows", "run.csv", "--rate", "28", "1030 bar", "540"), "--rate: '1030 bar': the unit 'bar' is unknown"),
        (("windows", "run.csv", "--rate", "28 kg", "1030", "540"), "--rate: '28 kg': the unit 'kg'"),
        (("windows", "run.csv", "--curve", "none.csv"), "none.csv: there is no such file"),
        (("read", "none.csv"), "heatq log read: none.csv: there is no such file"),
        (("read", "none.nc"), "none.nc: there is no such file"),
        (("read", "run.csv", "--start", "noon"), "--start: 'noon' is not a quantity"),
        (("read", "run.csv", "--time-column", "Zeit"), "unknown column in time: 'Zeit'"),
        (("compare", "run.csv", "run.csv", *CLEAN), "run.csv is no NetCDF file, such as heatq bar writes"),
        (("metrics", "run.csv", "--channels", "loose [°C]"), "spans less than 50 K"),
    ],
)
def test_faults_are_one_paragraph_and_code_2(run, arguments, message):
    code, _, err = run(*arguments)
    assert code == 2
    assert message in err
    assert "Traceback" not in err


def test_channels_are_renamed_and_date_and_clock_joined(run, tmp_path):
    rows = "".join(f"13.05.2024;12:00:{n:02d};{850 - 9 * n}\n" for n in range(60))
    (tmp_path / "b.csv").write_text("Day;Hour;T3\n" + rows, encoding="utf-8")
    code, out, err = run(
        "read",
        "b.csv",
        "--time-column",
        "Day+Hour",
        "--channels",
        "T3=core",
        "--temperature-unit",
        "degC",
        "--out",
        "x",
    )
    assert (code, err) == (0, "")
    assert "time: Day + Hour (date and clock)" in out
    assert "\ncore " in out


@pytest.mark.parametrize(
    ("text", "arguments", "message"),
    [
        ("Time (s);T1\n0;850\n1;700\n", (), "write --temperature-unit 'degC', 'degF' or 'K', or name the temperature"),
        ("Time;T1\n0;850\n1;700\n", ("--temperature-unit", "degC"), "give --time-unit 's', 'min' or 'h'"),
        ("a,b\n1,2\n", (), "say --time-column '…', or --interval in seconds"),
        ("Time (s),T1 (degC)\n0,850\n1,700\n", ("--start", "1e6"), "heatq log read: --start: fewer than two rows"),
        ("Time (s),T1 (degC)\n0,850\n1,700\n", ("--temperature-unit", "degX"), "--temperature-unit: unknown units"),
        (
            "Time (s),T1 (degC)\n0,850\n1,700\n",
            ("--on-bad", "ignore"),
            "--on-bad: 'ignore' is not known. Known: stop, gap.",
        ),
    ],
)
def test_messages_name_the_options(tmp_path, monkeypatch, capsys, text, arguments, message):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text(text)
    try:
        code = main(["log", "read", "a.csv", *arguments, "--out", "x"])
    except SystemExit as error:  # argparse
        code = error.code
    err = capsys.readouterr().err
    assert code == 2
    assert err.count("\n") == 1
    assert message in err
