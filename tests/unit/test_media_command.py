"""``heatq media`` and its figure."""

from __future__ import annotations

import re

import numpy as np
import pytest

from heatq.__main__ import main
from heatq.boundaries.media import media, media_table
from heatq.commands.media import DRAWN
from heatq.errors import InputError
from heatq.plot import LINES
from heatq.plot_media import medium_curves


@pytest.fixture
def run(capsys, tmp_path, monkeypatch, quick_figures):
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        code = main(["media", *map(str, arguments)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return call


def test_the_table_shows_what_the_library_computes(run, tmp_path, drawn):
    code, out, err = run("--diameter", "25 mm", "--surface-temperature", "1112 degF", "--out", "x")
    assert (code, err) == (0, "")
    assert "25 mm round, long, surface at 600 °C" in out
    for row in media_table(0.025, 600.0):
        line = next(text for text in out.splitlines() if text.startswith(row.medium + " "))
        cells = line[len(row.medium) :].split()
        assert float(cells[0]) == row.fluid_temperature
        assert float(cells[1]) == pytest.approx(row.coefficient, rel=1e-3)
        assert float(cells[2]) == pytest.approx(row.flux / 1e3, rel=1e-3)
    assert (tmp_path / "x" / "media.png").read_bytes().startswith(b"\x89PNG")


def test_ranges_left_are_footnotes(run):
    code, out, err = run("--diameter", "200 mm", "--surface-temperature", "850", "--length", "2 m")
    assert (code, err) == (0, "")
    assert "200 mm round, 2000 mm long" in out
    notes = re.findall(r"^\[(\d+)\] .* is outside .*computed all the same\.", out, re.MULTILINE)
    assert notes[0] == "1"
    for number in notes:
        assert out.count(f"[{number}]") >= 2


def test_ends_too_wide_for_the_jet_have_none(run):
    assert "nitrogen jet" in run("--diameter", "250 mm")[1]
    code, out, _ = run("--diameter", "400 mm")
    assert code == 0
    assert "nitrogen jet" not in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--diameter", "25"], "--diameter: 25 m is outside.*write '25 mm' or '1 inch'"),
        (
            ["--surface-temperature", "100"],
            "--surface-temperature 100 °C is not above the hottest fluid of the table \\(150 °C\\)",
        ),
        (["--out", ""], "--out is empty"),
    ],
)
def test_bad_input(run, arguments, message):
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert re.match("heatq media: ", err)
    assert re.search(message, err), err


def test_curves_are_h_and_q_of_the_boundaries():
    known = media(0.025)
    assert set(DRAWN) <= set(known)
    name = "nitrogen across, 10 bar, 20 m/s"
    left, right = medium_curves({name: known[name]})
    surface, h = left.lines[0].get_data()
    flux = right.lines[0].get_ydata()
    fluid, boundary = known[name]
    np.testing.assert_allclose(flux * 1e3, boundary.heat_flux(np.asarray(surface)))
    np.testing.assert_allclose(h * (surface - fluid), flux * 1e3)
    assert surface.min() >= fluid + 10.0
    for ax, unit in ((left, "W/m²K"), (right, "kW/m²")):
        assert unit in ax.get_ylabel()
        assert "°C" in ax.get_xlabel()
        assert ax.get_yscale() == "log"


def test_curves_into_given_axes():
    from matplotlib.figure import Figure

    axes = Figure().subplots(1, 2)
    drawn = medium_curves({name: media(0.025)[name] for name in DRAWN}, axes=axes)
    assert drawn == tuple(axes)
    assert len(axes[0].lines) == len(DRAWN) <= len(LINES)
    assert len({(line.get_color(), str(line.get_linestyle())) for line in axes[0].lines}) == len(DRAWN)


def test_what_cannot_be_drawn():
    known = media(0.025)
    with pytest.raises(InputError, match="media is empty"):
        medium_curves({})
    with pytest.raises(InputError, match="at most 7 stay apart"):
        medium_curves(known)
    with pytest.raises(InputError, match="high = 20 degC is outside"):
        medium_curves({name: known[name] for name in DRAWN}, low=50.0, high=20.0)
