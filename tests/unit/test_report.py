"""The HTML page of a result: self-contained, complete, readable in a real browser."""

from __future__ import annotations

import html
import html.parser
import json
import re
import shutil
import subprocess

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.__main__ import main
from heatq.cautions import PLANNING, TEXTS, cautions_for
from heatq.report import html as write
from heatq.report import page, parts
from heatq.report.origins import attributes_in_words, model_sources

PLAIN = xr.Dataset({"value": ("place", [1.0])}, {"place": ["a"]})

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium: apt-get install chromium")


@pytest.fixture(scope="module")
def bar():
    return hq.trial(
        hq.RoundBar(diameter=0.03), hq.demo_heat(),
        {"side": hq.GasCrossflow("nitrogen", velocity=20.0, pressure=10e5, temperature=40.0)},
        accuracy=4.0, with_interval=True,
    )  # fmt: skip


class Reader(html.parser.HTMLParser):
    """Tags that must be closed, in order; what is loaded; visible text."""

    def __init__(self):
        super().__init__()
        self.open, self.loaded, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.loaded += [value for name, value in attrs if name in ("src", "href")]
        if tag not in ("meta", "link", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def read(path):
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    assert reader.open == []
    assert all(what.startswith("data:") for what in reader.loaded)
    return reader, " ".join(reader.text)


def test_the_page_of_a_trial_says_what_went_in_and_what_came_out(bar, tmp_path):
    path = write(bar, tmp_path / "bar.html", asked="hard <enough> & tough?", notes=["load 17"], steel=hq.demo_heat())
    reader, text = read(path)
    assert "hard <enough> & tough?" in text
    assert "load 17" in text
    assert f"{float(bar.hardness_hrc.sel(probe='centre')):.1f}" in text
    low, high = bar.hardness_interval.sel(probe="surface").values
    assert f"{low:.1f}" in text
    assert f"{high:.1f}" in text
    assert sum(what.startswith("data:image/svg+xml") for what in reader.loaded) == 2
    for caution in ("asphyxiation", "pressure vessel", "hot work", "defer"):
        assert TEXTS[caution] in text
    assert TEXTS["oil fire"] not in text
    assert PLANNING in text
    for source in json.loads(bar.attrs["sources"]):
        assert source in text


def test_the_code_on_the_page_makes_the_result_again(bar, tmp_path):
    still = hq.Stages((2.0, hq.StillAir() + hq.Radiation(0.8)), (None, hq.OilBath()))
    staged = hq.trial(hq.RoundBar(diameter=0.02), hq.grade("4140"), {"side": still}, accuracy=4.0)
    for result in (bar, staged):
        check_code(result, tmp_path)


def check_code(bar, tmp_path):
    page = write(bar, tmp_path / "bar.html").read_text(encoding="utf-8")
    code = html.unescape(re.search(r"<pre>(.*?)</pre>", page, re.S).group(1))
    assert code.startswith("import heatq as hq")
    scope = {}
    exec(code, scope)
    np.testing.assert_allclose(scope["result"].hardness_hv, bar.hardness_hv, rtol=1e-9)


def test_warnings_and_an_unfinished_run_are_on_the_page(bar, tmp_path):
    told = bar.assign_attrs(warnings=json.dumps(["velocity is outside"]), status="interrupted")
    _, text = read(write(told, tmp_path / "a.html"))
    assert "velocity is outside" in text
    assert "did not finish: interrupted" in text


def test_histories_any_dataset_and_a_calibration_have_a_page(bar, tmp_path):
    _, text = read(write(bar[["temperature"]].assign_attrs(bar.attrs), tmp_path / "h.html"))
    assert "Cooling histories" in text
    any_of = xr.Dataset(
        {"value": ("place", [1.0, np.nan], {"units": "HRC", "long_name": "hardness"}), "count": 3},
        {"place": ["a", "b"]},
    )
    _, text = read(write(any_of, tmp_path / "o.html", title="Mine"))
    assert "hardness [HRC]" in text
    assert "1.0" in text
    assert "–" in text
    assert "Mine" in text


def test_decisions_searches_and_loads_have_pages(tmp_path):
    piece, steel, wanted = hq.RoundBar(diameter=0.03), hq.grade("4140"), hq.Requirement(hardness_hrc=45.0)
    quenches = [hq.GasQuench(pressure=2e5), hq.BathQuench(hq.OilBath())]
    table = hq.decision_table(piece, steel, quenches, wanted, accuracy=4.0, distortion=False)
    reader, text = read(write(table, tmp_path / "decision.html"))
    assert "conventional oil 60 °C none." in text
    assert TEXTS["oil fire"] in text
    assert len([what for what in reader.loaded if "svg" in what]) == 1
    found = hq.enough_quench(
        piece, steel, hq.GasQuench(), wanted, gases=("nitrogen", "hydrogen"), accuracy=4.0, confidence=None
    )
    _, text = read(write(found, tmp_path / "search.html"))
    assert "least pressure for at least 45 HRC at centre" in text
    assert TEXTS["hydrogen"] in text
    assert TEXTS["pressure vessel"] in text
    load = hq.Load(piece, steel, rows=2, per_row=4, piece_length=0.4)
    done = hq.quench_load(
        hq.Furnace(volume=2.0, flow_area=0.5, velocity=10.0), load, pressure=6e5, accuracy=4.0, knots=15
    )
    reader, text = read(write(done, tmp_path / "load.html"))
    assert "Slowest place: column mean" in text
    assert TEXTS["asphyxiation"] in text
    assert len([what for what in reader.loaded if "svg" in what]) == 2


def test_commands_write_the_page_when_asked(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["heatq", "bar", "--diameter", "20 mm"])
    common = [
        "--grade",
        "4140",
        "--gas",
        "nitrogen",
        "--velocity",
        "20 m/s",
        "--accuracy",
        "4",
        "--out",
        str(tmp_path),
        "--report",
    ]
    assert main(["bar", "--diameter", "20 mm", "--pressure", "6 bar", *common]) == 0
    assert "bar.html" in capsys.readouterr().out
    _, text = read(tmp_path / "bar.html")
    assert "heatq bar --diameter '20 mm'" in text
    assert "ferrite" in text
    assert main(["choose", "--quick", "--diameter", "20 mm", "--hardness", "40", *common]) == 0
    _, text = read(tmp_path / "choose.html")
    assert "least pressure for at least 40 HRC" in text


def test_errors(bar, tmp_path):
    with pytest.raises(hq.InputError, match="must be a Dataset"):
        write({"a": 1}, tmp_path / "x.html")
    with pytest.raises(hq.InputError, match="path = 3 must be the name of a file"):
        write(bar, 3)
    with pytest.raises(hq.InputError, match=r"cannot be written: .*; make the folder '.*no' first\."):
        write(bar[["temperature"]], tmp_path / "no" / "x.html")
    with pytest.raises(hq.InputError, match="cannot be written: it names no file"):
        write(PLAIN, "")
    with pytest.raises(hq.InputError, match="cannot be written: embedded null byte"):
        write(PLAIN, str(tmp_path / "a\0b"))
    (tmp_path / "taken").mkdir()
    with pytest.raises(hq.InputError, match="cannot be written: Is a directory"):
        write(PLAIN, tmp_path / "taken")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["taken"]  # no part of a page is left behind


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>'\"&", "сталь 40Х, 鋼, żelazo", "a $x_$ b $\\frac{$", "long " + "x" * 300]
)
def test_odd_names_are_text_and_nothing_else(bar, tmp_path, name):
    settings = json.loads(bar.attrs["settings"]) | {"steel": f"Steel(name={name!r})"}
    odd = bar.isel(probe=[0, 1]).assign_coords(probe=[name, "<b>a&b</b>"]).assign_attrs(settings=json.dumps(settings))
    path = write(odd, tmp_path / "odd.html", title=name, asked=name, notes=name)
    reader, text = read(path)
    assert not {"script", "b"} & set(re.findall(r"<(\w+)", path.read_text(encoding="utf-8")))
    assert text.count(name) >= 5  # title, head, question, note, table
    assert "<b>a&b</b>" in text
    assert "&amp;" not in text
    assert len(reader.loaded) == 2  # no icon, and the figure


def test_attributes_have_words_and_units():
    attrs = {"unknown": "coefficient over time", "peak_at": 3.0, "nearest_depth": 0.002, "pressure": 6e5, "level": 0.9,
             "is_converged": 1, "faces": '["side"]', "warnings": "[]", "own": np.array([1, 2]), "fluid_temperature": np.nan}  # fmt: skip
    assert attributes_in_words(attrs) == {
        "sought": "coefficient over time", "the peak lies at": "3 s", "depth of the nearest couple": "2 mm",
        "pressure, absolute": "6 bar", "probability of intervals and bands": "90 %", "converged": "yes", "faces": "side",
        "own": "1, 2", "temperature of the medium": "–",
    }  # fmt: skip
    with hq.plot.units("inch", "degF"):
        told = attributes_in_words(
            {"fluid_temperature": 60.0, "peak_at": 500.0, "unknown": "coefficient over temperature"}
        )
    assert told["temperature of the medium"] == "140 °F"
    assert told["the peak lies at"] == "932 °F"


def test_the_models_of_a_result_have_their_sources_on_the_page(bar, tmp_path):
    found = model_sources(bar)
    assert found[: len(json.loads(bar.attrs["sources"]))] == json.loads(bar.attrs["sources"])
    assert any("Churchill & Bernstein 1977" in source for source in found)
    assert any("Li and others 1998" in source for source in found)
    assert any("Maynier 1978" in source for source in found)
    assert not any("oil" in source or "Hilpert" in source for source in found)
    settings = json.loads(bar.attrs["settings"]) | {
        "boundaries": {"side": "GasCrossflow(correlation='hilpert') + OilBath()"}
    }
    other = model_sources(bar.assign_attrs(settings=json.dumps(settings)))
    assert any("Hilpert 1933" in source for source in other)
    assert any("oil bath: customary" in source for source in other)
    assert not any("Churchill & Bernstein" in source for source in other)


def test_wide_tables_go_on_below_and_units_are_those_of_the_quantity():
    columns = {f"v{n}": ("place", [float(n), np.nan]) for n in range(24)}
    text = parts.table(xr.Dataset(columns, {"place": ["a", "b"]}), "place")
    assert text.count("<table>") == 3
    assert [text.count(f">v{n}<") for n in range(24)] == [1] * 24
    assert text.count(">a</td>") == 3
    stress = {"units": "Pa", "long_name": "total tension surface, elastic index"}
    sure = {"units": "1", "long_name": "probability of at least 42 HRC"}
    data = xr.Dataset(
        {"s": ("n", [4e8, np.nan], stress), "p": ("n", [0.9999, 0.5], sure), "g": ("n", [6e5, 1e5], {"units": "Pa"})}
    )
    text = parts.table(data, "n")
    assert "[MPa]" in text
    assert "400" in text
    assert "&gt; 99" in text
    assert ">50<" in text
    assert "[bar]" in text


def test_an_end_quench_page_draws_the_interval(tmp_path, monkeypatch):
    bands = []
    monkeypatch.setattr("heatq.report.page.figure", lambda axes, words: bands.append((axes, words)) or "")
    result = xr.Dataset(
        {"hardness_hrc": ("probe", [55.0, 30.0]), "hardness_interval": (("bound", "probe"), [[52.0, np.nan], [58.0, 35.0]],
                                                                        {"long_name": "hardness, 90 % interval"})},
        {"probe": ["J1", "J8"], "distance": ("probe", [0.0016, 0.0127])},
    )  # fmt: skip
    page._end_quench_figure(result)
    axes, words = bands[0]
    assert "interval" in words
    heights = axes.collections[0].get_paths()[0].vertices[:, 1]
    assert heights.min() == 20.0  # below the scale
    assert heights.max() == 58.0
    assert "hardness, 90 % interval" in [entry.get_text() for entry in axes.get_legend().get_texts()]


def test_cautions_name_the_danger_of_each_medium():
    assert TEXTS["oil fire"] in cautions_for(["oil"])
    assert TEXTS["steam"] in cautions_for(["water"])
    assert TEXTS["titanium"] in cautions_for(["gas"], is_titanium=True)
    assert TEXTS["pressure vessel"] not in cautions_for(["gas"], pressure=1e5)
    with pytest.raises(hq.InputError, match="medium"):
        cautions_for(["lava"])


@needs_browser
@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1000])
def test_a_browser_shows_it_without_complaint(bar, tmp_path, width):
    path = write(bar, tmp_path / "bar.html", steel=hq.demo_heat())
    page = path.read_text(encoding="utf-8")
    probe = "<script>addEventListener('load',()=>{document.title='W'+document.documentElement.scrollWidth+'I'+[...document.images].filter(i=>!i.naturalWidth).length})</script>"
    path.write_text(page.replace("</body>", probe + "</body>"), encoding="utf-8")
    done = subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr", f"--window-size={width},900",
         "--virtual-time-budget=2000", "--dump-dom", path.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    found = re.search(r"<title>W(\d+)I(\d+)</title>", done.stdout)
    assert found, done.stderr[-500:]
    assert int(found[1]) <= max(width, 500)  # nothing sticks out sideways; headless windows are never narrower than 500
    assert int(found[2]) == 0  # every figure was drawn
    assert "CONSOLE" not in done.stderr
