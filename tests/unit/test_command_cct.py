"""``heatq cct``: what it prints and writes."""

from __future__ import annotations

import csv

import pytest
import xarray as xr

from heatq.__main__ import main


def test_prints_a_table_and_writes_figures_and_files(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["cct", "--grade", "4340", "--out", "out"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "Ms 30" in out
    rows = [line.split() for line in out.splitlines() if line[:9].strip() in ("0.01", "1", "100")]
    assert len(rows) == 3
    assert all(sum(float(cell) for cell in row[1:5]) == pytest.approx(100.0, abs=2.0) for row in rows)
    assert float(rows[0][5]) < float(rows[1][5]) < float(rows[2][5])
    assert "never a release certificate" in out
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "cct.csv",
        "cct.nc",
        "cct.png",
        "ttt.nc",
        "ttt.png",
    ]
    with open(tmp_path / "out" / "cct.csv", encoding="utf-8", newline="") as file:
        table = list(csv.reader(file))
    assert table[0][0] == "rate (K/s)"
    assert {len(row) for row in table} == {len(table[0])}
    with xr.open_dataset(tmp_path / "out" / "cct.nc", engine="scipy") as stored:
        assert stored["fraction"].sizes["rate"] == len(table) - 1
        assert stored.attrs["diagram"] == "cct"


def test_bad_input_ends_with_exit_code_2(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["cct", "--grade", "4341"]) == 2
    assert "4340" in capsys.readouterr().err
