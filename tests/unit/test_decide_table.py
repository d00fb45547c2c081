"""The decision table, its text, the cautions, the figures, the command."""

from __future__ import annotations

import argparse
import json
import pathlib

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq.__main__ import main
from heatq.decide import (
    BathQuench,
    GasQuench,
    Requirement,
    decision_table,
    decision_text,
    enough_quench,
    largest_section,
    least_pressure,
    quench_cautions,
    run_quench,
    section_chart,
    sections_against_pressure,
)
from heatq.errors import InputError
from heatq.plot import units

BAR, STEEL, WANTED = (
    hq.RoundBar(0.050),
    hq.grade("4140"),
    Requirement(hardness_hrc=45.0, probes=("centre", "mid-radius")),
)
QUICK = {"accuracy": 2.0}


def cost(quench, result):
    if quench.medium == "gas":
        price = xr.DataArray(7.0 * quench.pressure / bar, attrs={"units": "1", "long_name": "cost"})
        return {"cost": price, "steps": float(result.attrs["n_steps"])}
    return {"steps": float(result.attrs["n_steps"])}


@pytest.fixture(scope="module")
def table():
    quenches = [
        GasQuench(pressure=6 * bar),
        GasQuench("hydrogen", pressure=20 * bar),
        BathQuench(hq.OilBath("fast")),
        BathQuench(hq.WaterBath(25.0, 0.5)),
    ]
    return decision_table(BAR, STEEL, quenches, WANTED, extra=cost, **QUICK)


def test_the_rows_are_the_runs(table):
    row = table.sel(alternative="hydrogen 20 bar 20 m/s")
    run = run_quench(
        BAR, STEEL, GasQuench("hydrogen", pressure=20 * bar), probes=list(BAR.default_probes), with_interval=True,
        second_opinions=False, **QUICK,
    )  # fmt: skip
    order = [str(name) for name in row.probe.values]
    assert order == ["centre", "mid-radius", "3/4 radius", "surface"]
    for name in ("hardness_hv", "hardness_interval_hv", "cooling_time_800_500"):
        np.testing.assert_allclose(row[name].values, run[name].sel(probe=order).values)
    assert float(row.least_margin) == pytest.approx(float(WANTED.margin(run).min()))
    assert float(row.probability) == pytest.approx(float(WANTED.probability(run).min()))
    assert np.isnan(row.margin.sel(probe="surface"))
    cold = float(run.time[-1])
    assert 0.9 * cold < float(row.time_to_60) <= cold
    assert float(row.pressure) == 20 * bar


def test_sorted_and_judged(table):
    assert (np.diff(table.least_margin.values) <= 0.0).all()
    by = dict(zip([str(a) for a in table.alternative.values], [str(v) for v in table.verdict.values], strict=True))
    assert by["nitrogen 6 bar 20 m/s"] == "fails"
    assert by["water 25 degC 0.5 m/s"] == "meets"
    assert np.isnan(table.time_to_60.sel(alternative="fast oil 60 degC moderate"))
    for name, column in table.variables.items():
        assert {"units", "long_name"} <= set(column.attrs), name
    json.loads(table.attrs["settings"])


def test_extra_columns_and_distortion(table):
    assert float(table.cost.sel(alternative="hydrogen 20 bar 20 m/s")) == pytest.approx(140.0)
    assert np.isnan(table.cost.sel(alternative="fast oil 60 degC moderate"))
    difference = table.largest_difference
    assert float(difference.sel(alternative="water 25 degC 0.5 m/s")) > 3.0 * float(
        difference.sel(alternative="nitrogen 6 bar 20 m/s")
    )
    assert table.total_tension_surface.attrs["units"] == "Pa"


def test_sorting_by_another_column():
    quenches = [GasQuench(pressure=6 * bar), BathQuench(hq.OilBath()), GasQuench(pressure=20 * bar)]
    sorted_by = decision_table(BAR, STEEL, quenches, WANTED, sort_by="time_to_60", distortion=False, **QUICK)
    assert [str(a) for a in sorted_by.alternative.values] == [quenches[2].label, quenches[0].label, quenches[1].label]
    with pytest.raises(InputError, match="unknown column to sort by 'price'"):
        decision_table(BAR, STEEL, quenches[:1], WANTED, sort_by="price", distortion=False, **QUICK)


def test_text(table):
    text = decision_text(table)
    assert "nitrogen 6 bar 20 m/s" in text
    assert "all: Hot work" in text
    assert "[1] largest difference" in text
    assert "never a release certificate" in text
    names = [str(name) for name in table.alternative.values]
    assert f"  {names.index('hydrogen 20 bar 20 m/s') + 1}: Hydrogen burns" in text
    line = next(one for one in text.splitlines() if "fast oil 60 °C moderate" in one)
    assert int(line.split()[0]) == names.index("fast oil 60 degC moderate") + 1
    assert f"{float(table.hardness_hrc.sel(alternative='fast oil 60 degC moderate', probe='centre')):.1f} (" in line
    assert max(map(len, text.splitlines())) <= 140


def test_text_in_other_units_and_long_mixtures(table):
    changed = table.assign_coords(alternative=[
        "helium 33.3 % + argon 33.2 % + nitrogen 33.5 % 10 bar 20 m/s", *map(str, table.alternative.values[1:])
    ])  # fmt: skip
    with units("inch", "degF"):
        text = decision_text(changed)
    assert "1 nitrogen 33.5 % and others 10 bar 20 m/s" in text
    assert "1472-932  to 140 °F" in text
    second = [line for line in text.splitlines() if line.startswith(" 1 nitrogen 33.5")][1]
    kelvin = float(table.largest_difference[0])
    assert float(second.split()[10]) == pytest.approx(1.8 * kelvin, rel=0.01)
    assert "[1] largest difference from core to surface, °F" in text


def test_cautions_by_medium():
    nitrogen, hydrogen = GasQuench(pressure=6 * bar), GasQuench("hydrogen", pressure=1 * bar)

    def has(quench, word, material="steel"):
        return any(word in line for line in quench_cautions(quench, material))

    assert has(nitrogen, "Inert gas")
    assert has(nitrogen, "pressure vessel")
    assert not has(nitrogen, "Hydrogen")
    assert has(hydrogen, "Hydrogen burns")
    assert has(GasQuench({"helium": 0.5, "hydrogen": 0.5}), "Hydrogen burns")
    assert not has(hydrogen, "pressure vessel")
    assert has(nitrogen, "Titanium takes up nitrogen", "titanium")
    assert has(BathQuench(hq.OilBath()), "oil burns")
    assert has(BathQuench(hq.WaterBath()), "steam")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([],), "give a list of GasQuench and BathQuench"),
        (([GasQuench(), GasQuench()],), "two quenches are called"),
        (([hq.OilBath()],), "quench 1 = .* is no quench"),
    ],
)
def test_messages(arguments, message):
    with pytest.raises(InputError, match=message):
        decision_table(BAR, STEEL, *arguments, WANTED)


def test_messages_of_extra_and_text():
    for extra, message in (
        (lambda q, r: {"many": r.hardness_hv}, "has the dimensions"),
        ([3.0], "must be a function of quench and result"),
    ):
        with pytest.raises(InputError, match=message):
            decision_table(BAR, STEEL, [GasQuench()], WANTED, extra=extra, distortion=False, **QUICK)
    with pytest.raises(InputError, match="table is not a decision table"):
        decision_text(xr.Dataset())


# ------------------------------------------------------------------------------------------------ figures


@pytest.mark.slow
def test_figures(table):
    from heatq import plot_decide

    quick = {"tolerance": 0.05, "accuracy": 4.0}
    gas, wanted = GasQuench(pressure=5 * bar), Requirement(hardness_hrc=45.0)
    steel = hq.grade("4340")
    one = least_pressure(BAR, steel, gas, wanted, **quick)
    axes = plot_decide.margin_curve(one)
    assert axes.get_xlabel() == "pressure, bar absolute"
    assert any(abs(line.get_xdata()[0] - float(one.pressure) / bar) < 1e-9 for line in axes.lines)
    gases = enough_quench(BAR, steel, gas, wanted, gases=("nitrogen", "helium"), confidence=None, **quick)
    nitrogen, helium, upright = (t.get_text() for t in plot_decide.margin_curve(gases).get_legend().get_texts())
    assert "nitrogen" in nitrogen
    assert "helium" in helium
    assert upright.startswith("upright: ")
    assert [t.get_text() for t in plot_decide.answers_chart(gases).get_yticklabels()] == ["nitrogen", "helium"]
    section = largest_section(steel, gas, wanted, confidence=None, **quick)
    assert plot_decide.margin_curve(section).get_xlabel() == "diameter, mm"
    chart = section_chart(steel, gas, wanted, pressures=[2 * bar, 10 * bar], velocities=[5.0, 40.0], **quick)
    assert "largest diameter" in plot_decide.section_map(chart).get_title(loc="left")
    lines = sections_against_pressure([steel], gas, wanted, pressures=[2 * bar, 10 * bar], **quick)
    drawn = plot_decide.section_lines(lines).lines[0].get_ydata()
    np.testing.assert_allclose(drawn, lines.diameter.values[0] * 1e3)
    decision = plot_decide.decision_chart(table)
    assert [t.get_text() for t in decision.get_yticklabels()] == [
        str(a).replace("degC", "°C") for a in table.alternative.values
    ]
    decision.figure.canvas.draw()
    for function, wrong, message in (
        (plot_decide.margin_curve, chart, "is not an answer"),
        (plot_decide.answers_chart, one, "holds one case"),
        (plot_decide.section_map, lines, "not of section_chart"),
        (plot_decide.section_map, chart.isel(pressure=[0]), "at least two pressures"),
        (plot_decide.section_lines, chart, "not of sections_against_pressure"),
        (plot_decide.section_lines, xr.concat([lines] * 8, "steel"), "8 steels in one figure"),
        (plot_decide.margin_curve, xr.concat([gases] * 4, "gas", data_vars="minimal"), "8 cases in one figure"),
        (plot_decide.decision_chart, chart, "not a decision table"),
        (plot_decide.decision_chart, table.isel(probe=[0] * 8), "8 places in one figure"),
    ):
        with pytest.raises(InputError, match=message):
            function(wrong)


# ------------------------------------------------------------------------------------------------ command


def choose(capsys, *arguments):
    code = main(["choose", *arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_hardness_with_its_scale():
    from heatq.commands.choose import _hardness

    assert _hardness("45") == _hardness("45 HRC") == {"hardness_hrc": 45.0}
    assert _hardness("450 hv") == {"hardness_hv": 450.0}
    for text in ("45 HB", "hard", ""):
        with pytest.raises(argparse.ArgumentTypeError, match="is no hardness"):
            _hardness(text)


@pytest.mark.slow
def test_the_command_searches_and_writes(capsys, tmp_path):
    code, out, _ = choose(
        capsys, "--grade", "4340", "--diameter", "50 mm", "--hardness", "50", "--velocity", "20 m/s", "--gas", "nitrogen", "--quick",
        "--gas", "helium 60 argon 40", "--accuracy", "4", "--highest", "20 bar", "--out", str(tmp_path),
    )  # fmt: skip
    assert code == 0
    assert "helium 60 % + argon 40 %:" in out
    assert {path.name for path in pathlib.Path(tmp_path).iterdir()} == {"margin.png", "gases.png", "choose.nc"}
    again = xr.load_dataset(tmp_path / "choose.nc", engine="scipy")
    assert again.attrs["highest"] == 20 * bar
    assert f"nitrogen: {float(again.pressure[0]) / bar:.3g} bar" in out
    assert "never a release certificate" in out


@pytest.mark.slow
def test_the_command_for_sections_velocities_and_tables(capsys, tmp_path):
    common = ("--grade", "4340", "--gas", "nitrogen", "--pressure", "10 bar", "--accuracy", "4", "--out", str(tmp_path))
    code, out, _ = choose(
        capsys, *common, "--quick", "--largest-section", "--martensite", "0.9", "--velocity", "20 m/s"
    )
    assert code == 0
    assert "largest diameter for at least 90 % martensite" in out
    code, out, _ = choose(capsys, *common, "--quick", "--least", "velocity", "--hardness", "50", "--diameter", "50 mm")
    assert code == 0
    assert "least velocity" in out
    code, out, _ = choose(
        capsys, *common, "--table", "--hardness", "50", "--diameter", "50 mm", "--velocity", "20 m/s", "--bath", "fast",
        "--bath", "water", "--pressure", "5 bar", "--sort-by", "time_to_60",
    )  # fmt: skip
    assert code == 0
    assert out.index("water 25 °C") < out.index("nitrogen 10 bar") < out.index("nitrogen 5 bar") < out.index("fast oil")
    assert (tmp_path / "table.png").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--hardness", "50", "--velocity", "20"], "--diameter is missing"),
        (["--diameter", "50 mm", "--velocity", "20"], "give one requirement"),
        (["--diameter", "50 mm", "--hardness", "50"], "--velocity is missing"),
        (["--diameter", "50 mm", "--hardness", "50", "--least", "velocity", "--velocity", "20"], "leave --velocity out"),
        (["--diameter", "50 mm", "--hardness", "50", "--velocity", "20", "--pressure", "10 bar"], "leave --pressure out"),
        (["--diameter", "50 mm", "--hardness", "50", "--velocity", "20", "--table"], "--pressure is missing"),
        (["--diameter", "50 mm", "--hardness", "50", "--velocity", "20", "--bath", "fast"], "--bath belongs to --table"),
        (["--largest-section", "--hardness", "50", "--diameter", "50 mm"], "leave --diameter and --length out"),
        (
            ["--largest-section", "--hardness", "50", "--velocity", "20", "--pressure", "5 bar", "--pressure", "6 bar"],
            "several --pressure belong to --table",
        ),
        (
            ["--largest-section", "--hardness", "50", "--velocity", "20", "--pressure", "5 bar", "--highest", "6 bar"],
            "--highest belongs to --least",
        ),
        (["--diameter", "50 mm", "--hardness", "50", "--velocity", "20", "--gas", "helium 60 argon"], "a mixture as"),
        (["--diameter", "50 mm", "--hardness", "50", "--velocity", "20", "--highest", "6 m/s"], "--highest: '6 m/s'"),
    ],
)  # fmt: skip
def test_messages_of_the_command(capsys, tmp_path, arguments, message):
    code, _, err = choose(capsys, "--grade", "4140", *arguments, "--out", str(tmp_path))
    assert code == 2
    assert message in err
