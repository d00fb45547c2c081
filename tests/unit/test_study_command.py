"""``heatq study``: described studies, their errors with line numbers, what is printed and written."""

from __future__ import annotations

import pathlib
import pickle
import re

import numpy as np
import pytest
import xarray as xr
from scipy.constants import bar

import heatq as hq
from heatq.__main__ import main
from heatq.commands import study
from heatq.commands.described import read_study
from heatq.commands.study_file import DISTRIBUTIONS, KINDS, OWN, SECTIONS, VARIABLES, arguments_of, key_lines
from heatq.errors import DataError
from heatq.studies.sampling import Distribution
from heatq.trials import begin

DATA = pathlib.Path(study.__file__).parent / "data"
GRID = (DATA / "pressure-and-velocity.toml").read_text(encoding="utf-8")
SAMPLE = (DATA / "heat-to-heat.toml").read_text(encoding="utf-8")
PAGE = pathlib.Path(__file__).parents[2] / "docs" / "reference" / "study-file.md"
END_QUENCH = (
    '[piece]\nkind = "end-quench bar"\n[steel]\ngrade = "4140"\n[vary]\nwater_temperature = ["10 degC", "24 degC"]\n'
)


@pytest.fixture
def call(capsys, tmp_path, monkeypatch, quick_figures):
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        code = main(["study", *map(str, arguments)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return run


def write(tmp_path, text, old="", new="", name="s.toml"):
    assert old in text
    path = tmp_path / name
    path.write_text(text.replace(old, new) if old else text, encoding="utf-8")
    return path


#: Two trials of 3 ms, for what is only about the command.
SMALL = GRID.replace('["2 bar", "5 bar", "10 bar", "20 bar"]', '["5 bar", "20 bar"]').replace(
    "accuracy = 1.0", "accuracy = 4.0"
)
SMALL = re.sub(r"velocity = \{.*\}", 'velocity = ["15 m/s"]', SMALL)


def test_the_grid_is_what_the_file_says(tmp_path):
    found = read_study(write(tmp_path, GRID))
    assert found.cases == 20
    assert found.points == {
        "pressure": [2 * bar, 5 * bar, 10 * bar, 20 * bar],
        "velocity": [5.0, 10.0, 15.0, 20.0, 25.0],
    }
    assert found.labels["pressure"] == {"units": "Pa", "long_name": "pressure"}
    assert found.at_least == {"hardness_hrc": 45.0}
    case = found.build(pressure=5 * bar, velocity=np.float64(10.0))
    assert case["specimen"] == hq.RoundBar(diameter=0.050)
    assert case["steel"] == hq.grade("4140")
    assert case["accuracy"] == 1.0
    assert case["probes"] == ["centre", "surface"]
    air = hq.StillAir(25.0) + hq.Radiation(0.8, 25.0)
    gas = hq.GasCrossflow("nitrogen", velocity=10.0, pressure=5 * bar, temperature=40.0)
    assert repr(case["boundaries"]["side"]) == repr(hq.Stages((10.0, air), (None, gas + hq.Radiation(0.3, 40.0))))
    assert repr(pickle.loads(pickle.dumps(found.build))(pressure=1e5, velocity=5.0)) == repr(
        found.build(pressure=1e5, velocity=5.0)
    )


def test_the_sample_is_what_the_file_says(tmp_path):
    found = read_study(write(tmp_path, SAMPLE))
    assert found.cases == 64
    assert set(found.distributions) == {
        *("C", "Mn", "Si", "Cr", "Mo", "grain_size"),
        *("pressure", "turbulence_factor", "emissivity"),
    }
    assert repr(found.distributions["pressure"]) == repr(Distribution.normal(10 * bar, 0.3 * bar, units="Pa"))
    assert found.points.pressure.attrs["units"] == "Pa"
    assert found.points.C.attrs == {"units": "%", "long_name": "carbon"}
    assert found.points.attrs["replicates"] == 4


def test_sensitivities_have_their_own_sample(tmp_path):
    found = read_study(write(tmp_path, SAMPLE, "replicates = 4", "sensitivity = true"))
    assert found.sensitivity
    assert found.cases == 64 * (9 + 2)


def test_steels_by_grade_heat_and_elements(tmp_path):
    (tmp_path / "heat.csv").write_text("name,C,Mn,Cr,Mo\nA-17,0.41,0.86,1.02,0.21\n", encoding="utf-8")
    for line, name in (
        ('grade = "4140"\nMo = 0.3', "4140"),
        ('heat = "heat.csv"', "A-17"),
        ("C = 0.4\nMn = 0.8", "described"),
    ):
        text = GRID.replace('grade = "4140"', line).replace(
            "transfer =", 'initial_temperature = "850 degC"\ntransfer ='
        )
        case = read_study(write(tmp_path, text)).build(pressure=1e6, velocity=9.0)
        assert case["steel"].name == name
        assert case["initial_temperature"] == 850.0
    assert read_study(write(tmp_path, GRID, 'grade = "4140"', 'grade = "4140"\nMo = 0.3')).build(
        pressure=1e6, velocity=9.0
    )["steel"].Mo == 0.3  # fmt: skip


def test_words_and_ranges_vary_too(tmp_path):
    text = re.sub(r"pressure = \[.*\]", 'gas = ["nitrogen", "helium"]', GRID).replace('gas = "nitrogen"\ngas_', "gas_")
    text = text.replace("count = 5", 'count = 3, spacing = "log"').replace('"25 m/s"', '"20 m/s"')
    found = read_study(write(tmp_path, text))
    assert found.points == {"gas": ["nitrogen", "helium"], "velocity": [5.0, 10.0, 20.0]}


def test_a_deviation_of_temperature_is_a_difference(tmp_path):
    text = SAMPLE.replace('gas_temperature = "40 degC"', "")
    for mean, deviation in (("104 degF", "9 degF"), ("40 degC", "5 K"), ("40 degC", "5 degC")):
        line = f'[vary]\ngas_temperature = {{ distribution = "normal", mean = "{mean}", deviation = "{deviation}" }}'
        found = read_study(write(tmp_path, text, "[vary]", line)).distributions["gas_temperature"]
        assert found.at([0.5, 0.8413447]) == pytest.approx([40.0, 45.0])


def test_key_lines_of_all_ways_to_write_a_key():
    text = '# a = 1\n[a]\nb = [1,\n  2]\n"c d" = 1\n[a.e]\nf.g = {h = 1}\n[[i]]\nj=1\n'
    assert key_lines(text) == {
        ("a",): 2, ("a", "b"): 3, ("a", "c d"): 5, ("a", "e"): 6, ("a", "e", "f", "g"): 7, ("i",): 8, ("i", "j"): 9,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (GRID, "[piece]", "[peice]", r"line 5: unknown section 'peice'. Did you mean 'piece'"),
        (GRID, "[piece]", "piece = 3\n[quench.a]", "line 5: piece = 3 must be a section"),
        (GRID, "diameter = ", "diamter = ", r"line 7: unknown key of \[piece\] 'diamter'. Did you mean 'diameter'"),
        (GRID, "50 mm\"  ", "50 mm  ", "line 7, column .*: not valid TOML"),
        (GRID, '"50 mm"  ', '"50 kg"  ', "line 7: diameter = '50 kg': the unit 'kg' is unknown or does not fit"),
        (GRID, '"50 mm"  ', "50  ", "line 7: diameter = 50 m is outside"),
        (GRID, '"50 mm"  ', "true  ", "line 7: diameter = True is neither a number nor a quantity in quotes"),
        (GRID, "round bar", "square bar", "line 6: unknown kind of piece 'square bar'"),
        (GRID, 'kind = "round bar"', 'kind = "tube"', "line 5: a tube needs bore, in .piece. or in .vary."),
        (GRID, 'grade = "4140"', 'grade = "4145"', "line 10: unknown grade '4145'. Did you mean '4140'"),
        (GRID, 'grade = "4140"', "grade = 4140", "line 10: grade = 4140 is not text in quotes"),
        (GRID, 'grade = "4140"', "C = 40", "line 10: C = 40 % is outside 0 to 2.2 %"),
        (GRID, 'grade = "4140"', 'C = "0.4 %"', "line 10: C = '0.4 %' is not a number; it is in %"),
        (GRID, 'grade = "4140"', "Mn = 0.8", "line 9: .steel. names none"),
        (GRID, 'grade = "4140"', 'heat = "no.csv"', "line 10: heat = 'no.csv': there is no such file"),
        (GRID, '"gas-cross"', '"gas"', "line 13: unknown medium 'gas'"),
        (GRID, '"gas-cross"', '"oil"', "line 14: gas belongs to medium gas-cross or gas-along and would be ignored"),
        (GRID, "transfer = ", 'velocity = "3 m/s"\ntransfer = ', r"line 21: velocity varies and stands in \[quench\] too \(line 16\)"),
        (GRID, "[vary]", "[vary]\nemissivity = 0.3", "line 19: emissivity = 0.3; write a list"),
        (GRID, "count = 5", "cuont = 5", "line 20: unknown key of velocity 'cuont'"),
        (GRID, ", count = 5", "", "line 20: velocity lacks count"),
        (GRID, "count = 5", "count = 1", "line 20: count = 1 of velocity must be a whole number"),
        (GRID, '"5 m/s"', '"25 m/s"', "line 20: velocity from 25.0 to 25.0 is no range"),
        (GRID, '"2 bar"', '"5 bar"', "line 19: pressure holds a value twice"),
        (GRID, "[results]", "[sample]\n[results]", None),
        (GRID, "[results]", "[sample]\ncount = 8\n[results]", "line 22: .sample. belongs to distributions"),
        (GRID, '["hardness_hrc", ', '["hardness", ', "line 23: unknown variable 'hardness'"),
        (GRID, '["centre", "surface"]', '["center"]', "line 24: unknown probe 'center'. Did you mean 'centre'"),
        (GRID, '["centre", "surface"]', '"centre"', "line 24: probes = 'centre' must be a list of texts"),
        (GRID, "{ hardness_hrc = 45 }", "{ hv = 45 }", "line 25: unknown variable of at_least 'hv'"),
        (GRID, "{ hardness_hrc = 45 }", "45", "line 25: at_least = 45 must name a variable"),
        (GRID, "hardness_hrc = 45", 'hardness_hrc = "45"', "line 25: at_least hardness_hrc = '45' is not a number"),
        (GRID, "accuracy = 1.0", "accuracy = -1.0", "line 28: accuracy = -1 K is outside"),
        (GRID, "accuracy = 1.0", "threads = 0", "line 28: threads = 0 must be a whole number"),
        (GRID, "accuracy = 1.0", "store = 3", "line 28: store = 3 is not the name of a store"),
        (GRID, "title = ", "title = 3 # ", "line 3: title = 3 is not text"),
        (GRID, "[vary]", "[runs]", "line 18: unknown section 'runs'"),
        (SAMPLE, '"normal"', '"gauss"', "line 19: unknown distribution 'gauss'"),
        (SAMPLE, ', deviation = "0.3 bar"', "", "line 19: the normal distribution of pressure needs deviation"),
        (SAMPLE, "deviation =", "sd =", "line 19: unknown number of a normal distribution 'sd'"),
        (SAMPLE, "factor = 1.12", 'factor = "1.12"', "line 20: factor = '1.12' of turbulence_factor is not a number"),
        (SAMPLE, "low = 0.2", "low = 0.6", "line 21: emissivity: uniform: low = 0.6 must lie below"),
        (SAMPLE, "low = 0.2", 'low = "x"', "line 21: emissivity = 'x' is not a number; write for instance 0.8, without a unit"),
        (SAMPLE, '"heat to heat"', "true", "line 18: chemistry = True; write \"heat to heat\""),
        (SAMPLE, "[vary]", "[vary]\ntransfer = ['1 s', '2 s']", "line 18: transfer is listed but C, Mn.* has a distribution"),
        (SAMPLE, "[vary]", '[vary]\ngas = { distribution = "uniform", low = "a", high = "b" }', "line 18: gas is a word"),
        (SAMPLE, "count = 64", "count = 60", "line 24: count = 60: Sobol' points are even only"),
        (SAMPLE, "replicates = 4", 'method = "halton"', "line 25: unknown method of sampling 'halton'"),
        (SAMPLE, "# sensitivity", "sensitivity", "line 25: replicates is not for sensitivity = true"),
        (SAMPLE, "replicates = 4", "sensitivity = 1", "line 25: sensitivity = 1 is neither true nor false"),
        (SAMPLE, "[5, 50, 95]", "[5, 500]", "line 30: percentiles = 500 % is outside"),
        (SAMPLE, "[5, 50, 95]", "5", "line 30: percentiles = 5 must be a list"),
        (END_QUENCH, "[vary]", '[quench]\ngas = "argon"\n[vary]', "line 6: gas needs velocity"),
        (END_QUENCH, "[vary]", "[none]", "line 5: unknown section 'none'"),
        (END_QUENCH, '[vary]\nwater_temperature = ["10 degC", "24 degC"]\n', "", r"the section \[vary\] is missing or empty"),
    ],
)  # fmt: skip
def test_errors_name_the_line(tmp_path, text, old, new, said):
    path = write(tmp_path, text, old, new)
    if said is None:
        read_study(path)
        return
    with pytest.raises(DataError, match=said) as caught:
        read_study(path)
    assert "s.toml" in str(caught.value)
    assert "--" not in str(caught.value)


@pytest.mark.parametrize("name", study.EXAMPLES)
def test_the_examples_are_printed_and_valid(call, tmp_path, name):
    code, out, err = call("--example", name)
    assert (code, err) == (0, "")
    path = write(tmp_path, out)
    code, said, err = call(path, "--check")
    assert (code, err) == (0, "")
    assert f"{read_study(path).cases} trials" in said
    assert not (tmp_path / "heatq-out").exists()


def test_a_grid_runs_and_is_written(call, tmp_path, drawn):
    code, out, err = call(write(tmp_path, SMALL))
    assert (code, err) == (0, "")
    assert "grid of 2 trials: 2 pressure x 1 velocity" in out
    result = xr.load_dataset(tmp_path / "heatq-out" / "study.nc", engine="scipy")
    assert result.hardness_hrc.dims[:2] == ("pressure", "velocity")
    assert result.pressure.attrs["units"] == "Pa"
    built = read_study(tmp_path / "s.toml").build(pressure=20 * bar, velocity=15.0)
    direct = hq.trial(**built, progress=False)
    shown = result.hardness_hrc.sel(pressure=20 * bar, velocity=15.0)
    assert shown.values == pytest.approx(direct.hardness_hrc.values)
    assert f"{float(direct.hardness_hrc[0]):.4g}" in out
    assert (tmp_path / "heatq-out" / "study.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "heatq-out" / "study.csv").read_text(encoding="utf-8").count("hardness_hrc") == 1


def test_a_sample_runs_and_says_its_errors(call, tmp_path, drawn):
    text = SAMPLE.replace("count = 64", "count = 16").replace("accuracy = 2.0", "accuracy = 4.0")
    code, out, err = call(write(tmp_path, text), "--figure", tmp_path / "mine.png", "--threads", 1)
    assert (code, err) == (0, "")
    assert re.search(r"centre +\d+(\.\d+)? \+- [\d.]+", out)
    assert re.search(r"at least 45: \d+ % \(\d+ to \d+ %\)", out)
    told = xr.load_dataset(tmp_path / "heatq-out" / "summary.nc", engine="scipy")
    assert told.hardness_hrc_percentile.sizes == {"level": 3, "probe": 3}
    assert (tmp_path / "mine.png").exists()


def test_failed_cases_are_told_with_their_reason(call, tmp_path):
    text = SMALL.replace('["5 bar", "20 bar"]', '["5 bar", "200 bar"]')
    code, out, _ = call(write(tmp_path, text))
    assert code == 0
    assert "1 of 2 trials failed" in out
    assert "1 x " in out
    assert "pressure = 2e+07 Pa is outside" in out
    text = SMALL.replace('["15 m/s"]', '["15 m/s", "9000 m/s"]')
    assert "velocity = 9000 m/s is outside" in call(write(tmp_path, text), "--out", "other")[1]


@pytest.mark.slow
def test_sensitivities_run(call, tmp_path):
    text = SAMPLE.replace("count = 64", "count = 16").replace("replicates = 4", "sensitivity = true")
    code, out, _ = call(write(tmp_path, text))
    assert code == 0
    assert "Sobol' indices from 16 points" in out
    assert "turbulence_factor" in out
    told = xr.load_dataset(tmp_path / "heatq-out" / "indices.nc", engine="scipy")
    assert told.hardness_hv_total.sizes == {"parameter": 9, "probe": 3}


def test_stores_are_begun_and_gone_on_with_only_when_said(call, tmp_path):
    path = write(tmp_path, SMALL)
    for arguments, said in (
        (("--resume",), "--resume needs the store of the interrupted study"),
        (("--resume", "--store", "none.zarr"), "--resume: there is no store none.zarr"),
        (("--store", tmp_path), "is there already: go on with it by --resume"),
        ((), None),
    ):
        if said is not None:
            code, _, err = call(path, *arguments)
            assert code == 2
            assert said in err
    assert call()[0] == 2
    assert "which study?" in call()[2]


def test_an_interrupted_study_goes_on(call, tmp_path, monkeypatch):
    path = write(tmp_path, SMALL.replace('["5 bar", "20 bar"]', '["5 bar", "10 bar", "20 bar"]'))
    whole = call(path, "--out", "whole")[1]
    run = begin

    def dies(*arguments, **given):
        if "pressure=2000000" in repr((arguments, given)):  # of the third case
            raise KeyboardInterrupt
        return run(*arguments, **given)

    monkeypatch.setattr("heatq.trials.begin", dies)
    code, out, _ = call(path, "--store", "s.zarr", "--threads", 1)
    assert code == 130
    assert "interrupted: 1 of 3 trials were not run; with a store, --resume goes on" in out
    assert re.search(r"20 bar +15 m/s +missing +missing", out)
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    code, _, err = call(path, "--store", "s.zarr")
    assert (code, "go on with it by --resume" in err) == (2, True)
    code, out, err = call(path, "--store", "s.zarr", "--resume")
    assert (code, err) == (0, "")
    assert out.replace("heatq-out", "whole") == whole
    table = [(tmp_path / folder / "study.csv").read_text(encoding="utf-8") for folder in ("whole", "heatq-out")]
    assert table[0] == table[1]


def test_the_page_of_the_file_names_every_key():
    text = PAGE.read_text(encoding="utf-8")
    words = {*SECTIONS, *KINDS, *DISTRIBUTIONS, *VARIABLES, *(key for keys in OWN.values() for key in keys)}
    words |= {number for numbers in DISTRIBUTIONS.values() for number in numbers}
    for kind in KINDS:
        words |= {key for keys in arguments_of(kind)[1].values() for key in keys}
    missing = sorted(word for word in words if not re.search(rf"`[^`]*\b{re.escape(word)}\b[^`]*`", text))
    assert not missing, f"docs/reference/study-file.md does not name {', '.join(missing)}"
