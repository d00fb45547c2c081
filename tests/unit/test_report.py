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
    assert "conventional oil 60 degC none." in text
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
    with pytest.raises(hq.InputError, match="cannot be written"):
        write(bar[["temperature"]], tmp_path / "no" / "x.html")


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
