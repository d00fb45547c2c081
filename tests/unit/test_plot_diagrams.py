"""Figures of diagrams: axes with units, phases apart, the structure beside the curves, no global state."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

import heatq as hq
from heatq import plot_diagrams
from heatq.diagrams import cct, ttt
from heatq.errors import InputError
from heatq.hardness.equal_cooling import hardness_from_curve
from heatq.plot import LINES
from heatq.plot_diagrams import PHASE_LINES, _spread
from heatq.steels import h_band

STEEL = hq.demo_heat()


def history(*rates, start=860.0):
    time = np.unique(np.concatenate([[0.0], np.geomspace(0.05, 5000.0, 1500)]))
    values = np.maximum(start - np.outer(time, rates), 25.0)
    return xr.Dataset(
        {"temperature": (("time", "probe"), values)},
        coords={"time": time, "probe": [f"p{n}" for n in range(len(rates))]},
    )


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_the_diagrams_name_their_axes_phases_and_temperatures():
    for ax in (plot_diagrams.cct(cct(STEEL)), plot_diagrams.ttt(ttt(STEEL))):
        assert isinstance(ax, Axes)
        assert ax.get_xlabel().endswith(", s")
        assert ax.get_ylabel() == "temperature, °C"
        assert ax.get_xscale() == "log"
        said = texts(ax)
        assert {"ferrite", "pearlite", "bainite"} <= set(said)
        assert any(text.startswith("Ms ") for text in said)
        assert "pearlite 5 %" in ax.get_title(loc="right")


def test_a_long_name_stands_clear_of_the_key():
    diagram = ttt(STEEL)
    diagram.attrs["steel_name"] = "heat 4711 of the second melt, ladle analysis (invented)"
    ax = plot_diagrams.ttt(diagram)
    ax.figure.draw_without_rendering()
    name, key = (part.get_window_extent() for part in (ax._left_title, ax._right_title))
    assert name.x1 > key.x0  # side by side they would overlap
    assert name.y0 >= key.y1


def test_phases_differ_in_colour_and_line_style():
    styles = list(PHASE_LINES.values())
    assert all(style in LINES for style in styles)
    assert len({colour for colour, _ in styles}) == len(styles)
    assert len({str(dash) for _, dash in styles}) == len(styles)


def test_overlay_shows_curves_structure_and_hardness(tmp_path):
    ax = plot_diagrams.overlay(history(60.0, 5.0, 0.3), STEEL)
    diagram, bars = ax.figure.axes[:2]
    assert diagram is ax
    assert sum(text.endswith((" HRC", " HV")) for text in texts(ax)) == 3
    assert [label.get_text() for label in bars.get_yticklabels()] == ["p0", "p1", "p2"]
    widths = {round(bar.get_y() + bar.get_height() / 2): 0.0 for bar in bars.patches}
    for bar in bars.patches:
        widths[round(bar.get_y() + bar.get_height() / 2)] += bar.get_width()
    assert all(total == pytest.approx(1.0, abs=0.02) for total in widths.values())
    ax.figure.savefig(tmp_path / "overlay.png")
    assert (tmp_path / "overlay.png").stat().st_size > 20000


def test_a_curve_starts_where_its_probe_passes_ae3():
    data = history(5.0)
    ax = plot_diagrams.overlay(data, STEEL)
    curve = [line for line in ax.lines if len(line.get_xdata()) > 500][-1]
    time, level = np.asarray(curve.get_xdata()), np.asarray(curve.get_ydata())
    ae3 = float(cct(STEEL, rates=[1.0, 2.0])["ae3"])
    np.testing.assert_allclose(np.interp(-600.0, -level, time), (ae3 - 600.0) / 5.0, rtol=0.01)


def test_overlay_of_a_trial_uses_its_own_numbers():
    run = hq.trial(
        hq.RoundBar(0.05),
        STEEL,
        {"side": hq.Convection(500.0, 25.0)},
        initial_temperature=850.0,
        accuracy=2.0,
        progress=False,
    )
    changed = run.assign(hardness_hrc=run["hardness_hrc"] * 0.0 + 33.0)
    assert "33 HRC" in texts(plot_diagrams.overlay(changed, STEEL, probes=["centre"]))


def test_draws_into_given_axes_without_bars():
    figure = Figure()
    ax = figure.subplots()
    assert plot_diagrams.overlay(history(5.0), STEEL, ax=ax, diagram=cct(STEEL)) is ax
    assert len(figure.axes) == 1


def test_equal_cooling_shows_the_places_on_the_band():
    band = h_band("4140H")
    mapped = hardness_from_curve(history(1000.0, 60.0, 5.0), band)
    ax = plot_diagrams.equal_cooling(mapped, band)
    assert ax.get_xlabel() == "distance from quenched end, mm"
    assert sum("HRC" in text for text in texts(ax)) == 3
    assert ax.get_yticks().tolist() == [20, 30, 40, 50, 60]  # above the band stand names, no hardness


def test_case_marks_the_case_depth():
    depth = np.linspace(0.0, 2e-3, 9)
    result = xr.Dataset(
        {
            "hardness_hv": ("depth", np.linspace(750.0, 300.0, 9)),
            "carbon": ("depth", np.linspace(0.85, 0.2, 9)),
            "core_hardness_hv": 300.0,
            "case_depth": 0.89e-3,
        },
        coords={"depth": depth},
    )
    assert "550 HV at 0.89 mm" in texts(plot_diagrams.case(result))


def test_spread_keeps_the_order_and_the_gap():
    found = _spread([5.0, 5.1, 4.9, 9.9], 1.0, 0.0, 10.0)
    assert np.argsort(found).tolist() == [2, 0, 1, 3]
    assert np.diff(np.sort(found)).min() >= 1.0 - 1e-12
    assert found.max() <= 10.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: plot_diagrams.cct(ttt(STEEL, [450.0])), "not a CCT diagram"),
        (lambda: plot_diagrams.ttt(cct(STEEL, [1.0, 2.0])), "not a TTT diagram"),
        (lambda: plot_diagrams.overlay(history(5.0), STEEL, probes=["q"]), "unknown probe 'q'"),
        (lambda: plot_diagrams.overlay(history(*range(1, 9)), STEEL, probes=[f"p{n}" for n in range(8)]), "at most 7"),
        (lambda: plot_diagrams.equal_cooling(history(5.0), h_band("4140H")), "hardness_from_curve"),
        (lambda: plot_diagrams.case(history(5.0)), "case_hardness"),
    ],
)
def test_bad_input_is_named(call, message):
    with pytest.raises(InputError, match=message):
        call()


def test_importing_loads_no_pyplot_and_no_numba():
    code = "import sys, heatq.plot_diagrams; print([n for n in ('matplotlib', 'numba', 'pint') if n in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
