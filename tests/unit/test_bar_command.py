"""``heatq bar``: every medium and stage, what is written, and bad input."""

from __future__ import annotations

import re

import numpy as np
import pytest
import xarray as xr

from heatq.__main__ import main
from heatq.files import read_rows

GAS = ["--gas", "nitrogen", "--velocity", "20 m/s", "--pressure", "10 bar"]


@pytest.fixture
def run(capsys, tmp_path, monkeypatch, quick_figures):
    """Run ``heatq bar`` in a folder of its own; returns exit code, standard output and standard error."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments, diameter="25 mm"):
        try:
            code = main(["bar", "--diameter", diameter, *map(str, arguments)])
        except SystemExit as error:  # argparse
            code = error.code
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return call


def rows(printed):
    """Place -> numbers of the lines of a printed table."""
    found = {}
    for line in printed.splitlines():
        match = re.match(r"(centre|mid-radius|3/4 radius|surface|bore|mid-wall)( @ [\d.]+ mm)?  +(.*)", line)
        if match:
            found[match[1] + (match[2] or "")] = [
                float(cell) if cell[0].isdigit() else np.nan for cell in match[3].split()
            ]
    return found


def rate(printed, place="centre"):
    return rows(printed)[place][1]


# ------------------------------------------------------------------------------------------------ what it does


def test_gas_across_a_long_bar(run, tmp_path):
    code, out, err = run(*GAS, "--grade", "4140")
    assert (code, err) == (0, "")
    assert "nitrogen across, 10 bar, 20 m/s" in out
    assert "4140: C 0.405, Mn 0.875, Si 0.25" in out
    assert "austenitized at 845 °C\nround bar: diameter 25 mm, long\n" in out
    lines = rows(out)
    assert list(lines) == ["centre", "mid-radius", "3/4 radius", "surface"]
    assert all(len(cells) == 14 for cells in lines.values())
    assert "energy residual" in out
    assert "never a release certificate" in out
    assert sorted(p.name for p in (tmp_path / "heatq-out").iterdir()) == ["bar.csv", "bar.nc", "histories.png"]


def test_what_is_written_can_be_read_again(run, tmp_path, drawn):
    _, out, _ = run("--medium", "oil", "--grade", "4140", "--out", "there")
    result = xr.load_dataset(tmp_path / "there" / "bar.nc", engine="scipy")
    shown = [cells[8] for cells in rows(out).values()]
    np.testing.assert_allclose(shown, result["hardness_hrc"], atol=0.051)
    table = read_rows(tmp_path / "there" / "bar.csv")
    column = table.header.index("hardness_hrc (HRC)")
    np.testing.assert_allclose([table.column(column, row) for row in table.rows], result["hardness_hrc"], rtol=1e-5)
    assert {"probe", "r (m)", "z (m)", "equivalent_distance (m)", "martensite"} <= set(table.header)
    assert (tmp_path / "there" / "histories.png").read_bytes().startswith(b"\x89PNG")


MEDIA = {
    "still-air": ["--medium", "still-air"],
    "gas-cross": ["--medium", "gas-cross", "--velocity", "20", "--pressure", "10 bar"],
    "helium": ["--gas", "Helium", "--velocity", "20", "--pressure", "10 bar"],
    "oil": ["--medium", "oil"],
    "agitated oil": ["--medium", "oil", "--agitation", "strong"],
    "water": ["--medium", "water", "--velocity", "1 m/s"],
}


def test_media_rank_as_they_should(run):
    rates = {name: rate(run(*arguments)[1]) for name, arguments in MEDIA.items()}
    assert list(rates) == sorted(rates, key=rates.get)


def test_media_that_need_more(run, tmp_path):
    (tmp_path / "h.csv").write_text("temperature,coefficient\n20,1000\n900,1000\n")
    table = run("--h-table", "h.csv", "--bath-temperature", "60")
    assert (table[0], table[2]) == (0, "")
    assert "measured h of h.csv, 60 °C" in table[1]
    severity = 1000.0 * 0.0254 / 2.0 / 25.0  # h = 1000 W/m2K again
    constant = run("--severity", severity, "--severity-conductivity", 25, "--bath-temperature", "60")
    assert "h = 1000 W/m2K" in constant[1]
    of_constant, of_table = rows(constant[1]), rows(table[1])
    assert of_constant.keys() == of_table.keys()
    for place, values in of_constant.items():  # h differs in its last bit, and with it the time steps
        assert values[:-2] == pytest.approx(of_table[place][:-2], rel=2e-3, abs=0.11)
        assert values[-2:] == pytest.approx(of_table[place][-2:], abs=1.001, nan_ok=True)  # whole numbers
    along = run("--medium", "gas-along", "--velocity", 20, "--pressure", "10 bar", "--length", "100 mm")
    assert "nitrogen along, 10 bar, 20 m/s" in along[1]


def test_turbulence_speeds_up(run):
    plain, shaken = run(*GAS)[1], run(*GAS, "--turbulence-factor", "1.5")[1]
    assert rate(shaken) > 1.2 * rate(plain)


def test_stages(run):
    plain = run(*GAS, "--grade", "4340")[1]
    late = run(*GAS, "--grade", "4340", "--transfer", "10 s", "--ramp", "30 s")
    assert "filled from 1 bar in 30 s, after 10 s in still air" in late[1]
    assert rate(late[1]) < 0.9 * rate(plain)
    stopped = run(*GAS, "--grade", "4340", "--interrupt", "15 s")
    assert "for 15 s, then still air" in stopped[1]
    assert rows(stopped[1])["centre"][2] > 1.5 * rows(plain)["centre"][2]  # t8/5


def test_transfer_lets_the_piece_cool_in_air_first(run, tmp_path):
    run("--medium", "water", "--grade", "4140", "--transfer", "20 s", "--end-time", "40 s")
    result = xr.load_dataset(tmp_path / "heatq-out" / "bar.nc", engine="scipy")
    surface = result["temperature"].sel(probe="surface")
    start, before, after = (float(surface.interp(time=t)) for t in (0.0, 19.9, 25.0))
    assert 700.0 < before < start
    assert before - after > 2.0 * (start - before) / 20.0 * 5.0  # faster than in air
    assert float(result["time"][-1]) == pytest.approx(40.0)


def test_short_bars_and_places_along_them(run):
    code, out, err = run("--medium", "oil", "--length", "100 mm", "--probe", "centre", "--probe", "centre @ 5 mm")
    assert (code, err) == (0, "")
    lines = rows(out)
    assert list(lines) == ["centre", "centre @ 5 mm"]
    assert lines["centre @ 5 mm"][1] > lines["centre"][1]


def test_tubes(run):
    water = ["--medium", "water", "--grade", "4340", "--accuracy", "2"]
    solid = run(*water, diameter="50 mm")[1]
    wet = run(*water, "--bore", "25 mm", diameter="50 mm")[1]
    dry = run(*water, "--bore", "25 mm", "--bore-medium", "insulated", diameter="50 mm")[1]
    assert list(rows(wet)) == ["bore", "mid-wall", "surface"]
    assert rate(wet, "bore") > rate(dry, "bore") > rate(solid)
    still = run(*GAS, "--bore", "25 mm", "--bore-medium", "still", diameter="50 mm")
    closed = run(*GAS, "--bore", "25 mm", "--bore-medium", "insulated", diameter="50 mm")
    assert rate(still[1], "bore") > rate(closed[1], "bore")
    air = run("--medium", "still-air", "--bore", "25 mm", "--bore-medium", "still", diameter="50 mm")
    assert air[0] == 0


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        (["--medium", "oil", "--bath-temperature", "140 degF"], ["--medium", "oil", "--bath-temperature", "60"]),
        ([*GAS, "--ramp", "0.1 min"], [*GAS, "--ramp", "6"]),
    ],
)
def test_units_give_the_same_run(run, written, plain):
    assert rows(run(*written)[1]) == rows(run(*plain)[1])


def test_hot_oil_is_computed_and_said(run):
    code, _, err = run("--medium", "oil", "--bath-temperature", "150")
    assert code == 0
    assert err.startswith("note: ")
    assert "50 K below the flash point" in err


def test_walls_hotter_than_the_piece_heat_it(run, tmp_path):
    """No error: a furnace does it. The piece warms up, and the table has no cooling rate."""
    code, out, _ = run("--medium", "still-air", "--air-temperature", "1000", "--end-time", "10 min")
    assert code == 0
    result = xr.load_dataset(tmp_path / "heatq-out" / "bar.nc", engine="scipy")
    assert float(result["temperature"][-1].min()) > 900.0
    assert np.isnan(rate(out))


# --------------------------------------------------------------------------------------------------- bad input

BAD = {
    "no medium": ([], "no medium: write --medium with one of gas-cross, .*, or --gas nitrogen"),
    "gas without velocity": (["--gas", "argon"], "--medium gas-cross needs --velocity"),
    "along a long bar": (["--medium", "gas-along", "--velocity", "20"], "needs --length"),
    "unknown gas": (["--gas", "nitrogn", "--velocity", "20"], "unknown gas 'nitrogn'. Did you mean 'nitrogen'"),
    "pressure in oil": (
        ["--medium", "oil", "--pressure", "2 bar"],
        "--pressure belongs to --medium gas-cross or gas-along",
    ),
    "agitation in water": (
        ["--medium", "water", "--agitation", "mild"],
        "--agitation belongs to --medium oil and would be ignored",
    ),
    "bath for gas": ([*GAS, "--bath", "fast"], "--bath belongs to --medium oil"),
    "ramp in water": (["--medium", "water", "--ramp", "5"], "--ramp belongs to --medium gas-cross"),
    "unknown agitation": (["--medium", "oil", "--agitation", "wild"], "unknown agitation 'wild'. Did you mean 'mild'"),
    "severity without k": (["--severity", "0.3", "--bath-temperature", "60"], "needs --severity-conductivity"),
    "h table without bath": (["--h-table", "h.csv"], "--medium h-table needs --bath-temperature"),
    "h table falls": (["--h-table", "falls.csv", "--bath-temperature", "60"], "not rising at entry 2"),
    "h table has text": (
        ["--h-table", "text.csv", "--bath-temperature", "60"],
        "text.csv, line 2, .*'hot' is not a number",
    ),
    "no h table": (["--h-table", "nowhere.csv", "--bath-temperature", "60"], "nowhere.csv: there is no such file"),
    "diameter in mm": (["--medium", "oil", "--length", "200"], "--length: 200 m is outside.*write '25 mm'"),
    "bore too wide": (["--medium", "oil", "--bore", "30 mm"], "--bore: 0.03 m is not smaller than --diameter"),
    "gas across a bore": ([*GAS, "--bore", "10 mm"], "gas across a tube does not flow through its bore"),
    "bore medium without bore": (["--medium", "oil", "--bore-medium", "still"], "give its diameter with --bore"),
    "probe outside": (["--medium", "oil", "--length", "50 mm", "--probe", "centre @ 60 mm"], "outside the length"),
    "unknown probe": (["--medium", "oil", "--probe", "core"], "unknown probe 'core'. Did you mean 'centre'"),
    "negative transfer": (["--medium", "oil", "--transfer", "-3"], "--transfer: -3 s must be above 0"),
    "interrupt at once": (["--medium", "oil", "--interrupt", "0"], "--interrupt: 0 s must be above 0"),
    "Fahrenheit as Celsius": (["--medium", "oil", "--initial-temperature", "1550"], "'1550 degF'"),
    "grade and heat": (["--medium", "oil", "--grade", "4140", "--heat", "x.csv"], "one heat at a time"),
    "boiling water": (["--medium", "water", "--bath-temperature", "120"], "The water must be liquid"),
    "out is empty": (["--medium", "oil", "--out", ""], "--out is empty"),
    "turbulence": ([*GAS, "--turbulence-factor", "50"], "--turbulence-factor: 50 is outside"),
    "emissivity": (["--medium", "still-air", "--emissivity", "8"], "--emissivity: 8 is outside 0 to 1"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_ends_in_one_paragraph_and_code_2(run, tmp_path, case):
    (tmp_path / "h.csv").write_text("temperature,coefficient\n20,1000\n900,1000\n")
    (tmp_path / "falls.csv").write_text("temperature,coefficient\n900,1000\n20,1000\n")
    (tmp_path / "text.csv").write_text("temperature,coefficient\nhot,1000\n20,1000\n")
    arguments, message = BAD[case]
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith("heatq bar: ")
    assert err.count("\n") == 1
    assert re.search(message, err), err


def test_a_bar_has_a_diameter(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["bar", "--medium", "oil"])
    assert caught.value.code == 2
    assert "--diameter" in capsys.readouterr().err


def test_a_file_that_cannot_be_written(run, tmp_path):
    (tmp_path / "out" / "histories.png").mkdir(parents=True)
    code, _, err = run("--medium", "oil", "--out", "out")
    assert code == 2
    assert "cannot be written" in err


def test_interruption_and_solver_failure_have_their_own_codes(run, monkeypatch):
    import heatq.trials
    from heatq.errors import SolverError

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    def failed(*_, **__):
        raise SolverError("the time step became too small at t = 1 s")

    monkeypatch.setattr(heatq.trials, "trial", interrupted)
    assert run("--medium", "oil")[0] == 130
    monkeypatch.setattr(heatq.trials, "trial", failed)
    code, _, err = run("--medium", "oil")
    assert (code, err) == (1, "heatq bar: the time step became too small at t = 1 s\n")
