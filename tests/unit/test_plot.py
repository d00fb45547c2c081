"""Figures: labelled axes with units, lines that stay apart in greyscale, no global state."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy.constants import milli

from heatq import plot
from heatq.errors import InputError


def curve(shift=0.0, chemistry=True):
    distance = np.array([1.0, 10.0, 20.0, 40.0])
    hrc = np.array([56.0, 50.0, 40.0, 30.0]) - shift
    return xr.Dataset(
        {
            "hardness_hrc": ("probe", hrc),
            "hardness_hrc_chemistry": ("probe", hrc + 1.0 if chemistry else np.full(4, np.nan)),
        },
        coords={"distance": ("probe", distance * milli)},
    )


def history(count=4):
    time = np.linspace(0.0, 100.0, 51)
    values = 25.0 + 800.0 * np.exp(-time[:, None] / (10.0 * np.arange(1, count + 1)))
    return xr.Dataset(
        {"temperature": (("time", "probe"), values)}, coords={"time": time, "probe": [f"p{n}" for n in range(count)]}
    )


def measured():
    return xr.Dataset({"measured_hrc": ("point", [55.0, 41.0])}, coords={"distance": ("point", [0.002, 0.02])})


def labels(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


DRAW = [lambda **more: plot.end_quench_curve(curve(), **more), lambda **more: plot.histories(history(), **more)]


@pytest.mark.parametrize("draw", DRAW, ids=["end_quench_curve", "histories"])
def test_returns_axes_whose_labels_name_the_units(draw):
    ax = draw()
    assert isinstance(ax, Axes)
    assert ax.get_xlabel().endswith((", mm", ", s"))
    assert ax.get_ylabel().endswith((", HRC", ", °C"))


@pytest.mark.parametrize("draw", DRAW, ids=["end_quench_curve", "histories"])
def test_draws_into_the_axes_it_is_given(draw, tmp_path):
    figure = Figure()
    left, right = figure.subplots(1, 2)
    assert draw(ax=right) is right
    assert right.lines
    assert not left.lines
    figure.savefig(tmp_path / "a.png")
    assert (tmp_path / "a.png").stat().st_size > 1000


def test_the_curve_shows_what_it_was_given():
    ax = plot.end_quench_curve({"water": curve(), "gas": curve(8.0)}, measured=measured())
    assert labels(ax) == ["water", "gas", "from chemistry alone (ASTM A255): water", "measured"]
    np.testing.assert_allclose(ax.lines[0].get_xdata(), [1.0, 10.0, 20.0, 40.0])
    np.testing.assert_allclose(ax.lines[1].get_ydata(), [48.0, 42.0, 32.0, 22.0])
    np.testing.assert_allclose(ax.lines[3].get_xdata(), [2.0, 20.0])


def test_a_single_dataset_is_one_curve():
    assert labels(plot.end_quench_curve(curve())) == ["prediction", "from chemistry alone (ASTM A255)"]


def test_chemistry_is_drawn_where_it_exists():
    ax = plot.end_quench_curve({"gas": curve(8.0, chemistry=False), "water": curve()})
    assert labels(ax)[-1].endswith(": water")
    assert len(plot.end_quench_curve(curve(), with_chemistry=False).lines) == 1
    assert len(plot.end_quench_curve(curve(chemistry=False)).lines) == 1


def test_sixteenths_stand_over_the_right_millimetres():
    ax = plot.end_quench_curve(curve())
    ax.figure.savefig("/dev/null", format="png")  # the upper axis takes its limits when drawn
    (top,) = ax.child_axes
    assert top.get_xlabel() == "distance from quenched end, 1/16 in"
    assert top.get_xlim()[1] == pytest.approx(ax.get_xlim()[1] / 1.5875)


def test_lines_stay_apart_without_colour():
    styles = [style for _, style in plot.LINES]
    assert len(set(styles)) == len(styles)
    ax = plot.end_quench_curve({f"{n}": curve(n, chemistry=False) for n in range(len(plot.LINES))})
    drawn = [line._unscaled_dash_pattern for line in ax.lines]
    assert len({str(pattern) for pattern in drawn}) == len(plot.LINES)


def test_more_results_than_styles_is_refused_instead_of_dropped():
    with pytest.raises(InputError, match="8 results in one figure: at most 7"):
        plot.end_quench_curve({f"{n}": curve(n) for n in range(8)})
    with pytest.raises(InputError, match="9 probes in one figure"):
        plot.histories(history(9), probes=[f"p{n}" for n in range(9)])


def test_histories_pick_a_spread_of_probes():
    assert labels(plot.histories(history(3))) == ["p0", "p1", "p2"]
    chosen = labels(plot.histories(history(24)))
    assert (chosen[0], chosen[-1], len(chosen)) == ("p0", "p23", 7)
    assert labels(plot.histories(history(24), probes="p5")) == ["p5"]
    assert plot.histories(history(), logarithmic=False).get_xscale() == "linear"
    assert plot.histories(history()).get_xscale() == "log"


def test_what_cannot_be_drawn():
    with pytest.raises(InputError, match="unknown probe 'J1'. Did you mean"):
        plot.histories(history(), probes=["J1"])
    with pytest.raises(InputError, match="result 'prediction' has no distance from a quenched end"):
        plot.end_quench_curve(history())
    with pytest.raises(InputError, match="history needs a variable temperature"):
        plot.histories(curve())


def test_pyplot_stays_out_of_it():
    code = (
        "import sys, numpy as np, xarray as xr; from heatq import plot;"
        "h = xr.Dataset({'temperature': (('time', 'probe'), np.array([[850.0], [20.0]]))},"
        "               coords={'time': [0.0, 10.0], 'probe': ['a']});"
        "plot.histories(h); sys.exit('matplotlib.pyplot' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
