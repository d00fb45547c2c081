"""One look for all figures: axes in and out, units in labels, a white background, inches and degrees Fahrenheit."""

from __future__ import annotations

import ast
import contextvars
import importlib
import inspect
import pathlib
import pickle
import re

import numpy as np
import pytest
import xarray as xr
from matplotlib import rc_context
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from PIL import Image
from scipy.constants import bar, inch

from heatq import plot, plot_decide, plot_load, plot_logs, plot_media, plot_study, plot_style
from heatq.boundaries import Convection
from heatq.errors import InputError
from heatq.plot_style import LINES, legend, new_axes, quiet, shown, units

PACKAGE = pathlib.Path(plot.__file__).parent
MODULES = sorted(path.stem for path in PACKAGE.glob("plot*.py") if path.stem != "plot_style")
#: What is public in `heatq.plot` besides the functions that draw.
HELPERS = {"LINES", "legend", "new_axes", "quiet", "units"}
DRAWN = [
    pytest.param(getattr(importlib.import_module(f"heatq.{module}"), name), id=f"{module}.{name}")
    for module in MODULES
    for name in importlib.import_module(f"heatq.{module}").__all__
    if not (module == "plot" and name in HELPERS)
]
#: Axes without a unit: numbers of rows, shares, ratios.
PURE = {
    "row in flow direction",
    "shaft power over rated power",
    "h over correlation",
    "share of the variance (Sobol' index)",
}


def history():
    time = np.linspace(0.0, 100.0, 51)
    values = 25.0 + 800.0 * np.exp(-time[:, None] / np.array([10.0, 20.0]))
    return xr.Dataset({"temperature": (("time", "probe"), values)}, {"time": time, "probe": ["surface", "centre"]})


def bar_curve():
    distance = 1e-3 * np.array([1.0, 10.0, 20.0, 40.0])
    return xr.Dataset({"hardness_hrc": ("probe", [56.0, 50.0, 40.0, 30.0])}, {"distance": ("probe", distance)})


def chart(*dims):
    coordinates = {"pressure": [2 * bar, 4 * bar, 8 * bar], "velocity": [5.0, 20.0], "steel": ["A", "B"]}
    sizes = [len(coordinates[dim]) for dim in dims]
    values = 0.020 + 0.005 * np.arange(np.prod(sizes)).reshape(sizes)
    attributes = {"requirement": "at least 45 HRC at centre", "smallest": 0.005}
    return xr.Dataset({"diameter": (dims, values)}, {dim: coordinates[dim] for dim in dims}, attributes)


def grid():
    values = 500.0 + np.add.outer([0.0, 5.0, 9.0], [0.0, 30.0])
    return xr.Dataset(
        {"final_temperature": (("diameter", "velocity"), values, {"units": "degC", "long_name": "last temperature"})},
        {"diameter": ("diameter", [0.0254, 0.0508, 0.0762], {"units": "m", "long_name": "diameter"}),
         "velocity": ("velocity", [5.0, 10.0], {"units": "m/s", "long_name": "velocity"})},
    )  # fmt: skip


def load():
    dims = ("time", "column", "row")
    gas = xr.DataArray(np.full((3, 1, 2), 60.0), dims=dims)
    steel = xr.DataArray(np.full((3, 1, 2, 1), 400.0), dims=(*dims, "probe"))
    coordinates = {"time": [0.0, 5.0, 100.0], "column": ["mean"], "row": [1, 2], "probe": ["centre"]}
    return xr.Dataset({"gas_before": gas, "gas_after": gas + 20.0, "temperature": steel}, coordinates)


@pytest.mark.parametrize("function", DRAWN)
def test_every_function_takes_axes_and_returns_them(function):
    signature = inspect.signature(function)
    name = next(n for n in ("ax", "axes") if n in signature.parameters)
    parameter = signature.parameters[name]
    assert parameter.kind is parameter.KEYWORD_ONLY
    assert parameter.default is None
    assert "Axes" in str(signature.return_annotation)


@pytest.mark.parametrize("module", MODULES)
def test_no_module_has_a_look_of_its_own(module):
    tree = ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8"))
    called = {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    assert not {name for name in called if name.endswith(("Figure", ".legend")) and not name.endswith("figure.legend")}
    assert not called & {"plt.subplots", "ax.grid(True)"}
    assert {"quiet", "axes_or_new"} & called
    defined = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    assert not defined & {"_axes", "_quiet", "_legend", "_new", "_plain_ticks"}


def labels_written(tree):
    """Texts of axis labels where they are written in full; formatted ones are seen in the figures below."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func).rpartition(".")[2]
            if name in ("set_xlabel", "set_ylabel"):
                yield from (arg.value for arg in node.args if isinstance(arg, ast.Constant))
            if name == "set":
                keywords = (k.value for k in node.keywords if k.arg in ("xlabel", "ylabel"))
                yield from (value.value for value in keywords if isinstance(value, ast.Constant))


@pytest.mark.parametrize("module", MODULES)
def test_labels_written_in_full_name_their_unit_and_no_switched_one(module):
    for text in labels_written(ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8"))):
        assert text in PURE or re.search(
            r", (s|%|HRC|HV|MPa|bar|bar m/s|bar absolute|% \(dashed\))( \(.*\))?$", text
        ), text


@pytest.mark.parametrize("module", [*MODULES, "plot_style"])
def test_titles_come_from_one_place(module):
    """No title chatter: a title says what is drawn, and `title` writes it; the key of a diagram is the one other."""
    source = (PACKAGE / f"{module}.py").read_text(encoding="utf-8")
    assert source.count("set_title(") == {"plot_style": 1, "plot_diagrams": 1}.get(module, 0)


#: Drawn below, with the labels (x, y) in mm and degC, and in inches and degF.
FIGURES = {
    "end_quench_curve": (
        lambda **k: plot.end_quench_curve(bar_curve(), **k),
        ("distance from quenched end, mm", "hardness, HRC"),
        ("distance from quenched end, 1/16 in", "hardness, HRC"),
    ),
    "histories": (
        lambda **k: plot.histories(history(), **k),
        ("time, s", "temperature, °C"),
        ("time, s", "temperature, °F"),
    ),
    "log_readings": (
        lambda **k: plot_logs.log_readings(history(), **k),
        ("time, s", "temperature, °C"),
        ("time, s", "temperature, °F"),
    ),
    "section_map": (
        lambda **k: plot_decide.section_map(chart("pressure", "velocity"), **k),
        ("pressure, bar absolute", "velocity of the gas, m/s"),
        ("pressure, bar absolute", "velocity of the gas, m/s"),
    ),
    "section_lines": (
        lambda **k: plot_decide.section_lines(chart("steel", "pressure"), **k),
        ("pressure, bar absolute", "largest diameter, mm"),
        ("pressure, bar absolute", "largest diameter, in"),
    ),
    "study_contours": (
        lambda **k: plot_study.study_contours(grid(), x="diameter", at_least=510.0, **k),
        ("diameter, mm", "velocity, m/s"),
        ("diameter, in", "velocity, m/s"),
    ),
    "study_lines": (
        lambda **k: plot_study.study_lines(grid(), x="diameter", at_least=510.0, **k),
        ("diameter, mm", "last temperature, °C"),
        ("diameter, in", "last temperature, °F"),
    ),
    "load_courses": (
        lambda **k: plot_load.load_courses(load(), **k),
        ("time, s (linear to 10 s)", "temperature, °C"),
        ("time, s (linear to 10 s)", "temperature, °F"),
    ),
}


@pytest.mark.parametrize("name", FIGURES)
def test_labels_follow_the_units_chosen(name):
    draw, metric, american = FIGURES[name]
    ax = draw()
    assert (ax.get_xlabel(), ax.get_ylabel()) == metric
    with units(length="inch", temperature="degF"):
        ax = draw()
    assert (ax.get_xlabel(), ax.get_ylabel()) == american
    assert (draw().get_xlabel(), draw().get_ylabel()) == metric


def test_what_is_drawn_is_converted_and_what_is_given_is_not():
    given = history()
    with units(length="inch", temperature="degF"):
        lines = plot.histories(given).lines
        curve = plot.end_quench_curve(bar_curve())
        sections = plot_decide.section_lines(chart("steel", "pressure")).lines
        left, right = plot_media.medium_curves({"plain": (60.0, Convection(500.0, 60.0))}, low=100.0, high=900.0)
    np.testing.assert_allclose(lines[0].get_ydata(), 1.8 * given.temperature.values[:, 0] + 32.0)
    np.testing.assert_allclose(curve.lines[0].get_xdata(), bar_curve().distance.values / (inch / 16))
    assert curve.child_axes[0].get_xlabel() == "distance from quenched end, mm"
    np.testing.assert_allclose(sections[0].get_ydata(), [0.020 / inch, 0.025 / inch, 0.030 / inch])
    assert left.get_xlim() == right.get_xlim() == (212.0, 1652.0)
    np.testing.assert_allclose(left.lines[0].get_ydata(), 500.0)  # W/m2K stay
    xr.testing.assert_identical(given, history())


def test_a_requirement_moves_with_its_axis():
    with units(temperature="degF"):
        words = [text.get_text() for text in plot_study.study_lines(grid(), at_least=510.0).get_legend().get_texts()]
        ax = plot_study.study_cumulative(grid().rename(diameter="case").drop_vars("case"), at_least=510.0)
    assert words[-1] == "required: 950 °F"
    assert ax.lines[-1].get_xdata()[0] == 950.0
    assert ax.get_xlabel() == "last temperature, °F"


def test_units_as_a_function_last_and_each_goes_alone():
    def notebook():
        units("inch")
        assert shown(0.0254, "m") == (1.0, "in")
        assert shown(100.0, "degC") == (100.0, "°C")
        with units(temperature="degF"):
            assert shown(0.0254, "m") == (1.0, "in")
            assert shown(5.0, "K") == (9.0, "°F")
            assert shown(5.0, "K/s") == (9.0, "°F/s")
        assert shown(100.0, "degC") == (100.0, "°C")
        units("mm", "degC")
        assert shown(0.0254, "m") == (25.4, "mm")

    contextvars.copy_context().run(notebook)


def test_units_are_put_back_after_an_error_and_unknown_ones_are_refused():
    with pytest.raises(ZeroDivisionError), units("inch", "degF"):
        raise ZeroDivisionError
    assert shown(0.001, "m") == (1.0, "mm")
    with pytest.raises(InputError, match=r"unknown length 'inches'. Did you mean 'inch'"):
        units("inches")
    with pytest.raises(InputError, match="unknown temperature 'F'"):
        units(temperature="F")
    assert shown(0.001, "m") == (1.0, "mm")


def test_new_axes_are_quiet_and_white():
    one = new_axes(size=(5.0, 3.0))
    assert one.figure.get_size_inches() == pytest.approx([5.0, 3.0])
    several = new_axes(2, 3, sharex=True)
    assert several.shape == (2, 3)
    for ax in (one, *several.ravel()):
        assert ax.figure.get_facecolor() == ax.get_facecolor() == (1.0, 1.0, 1.0, 1.0)
        assert not ax.spines["top"].get_visible()
        assert not ax.spines["right"].get_visible()
    assert one.get_legend() is None
    legend(one)  # nothing to name, no empty box
    assert one.get_legend() is None


def drawn_dark(ax, path, **how):
    ax.figure.savefig(path, dpi=40, **how)
    return np.asarray(Image.open(path).convert("RGBA"), dtype=float)


def test_figures_are_black_on_white_in_a_dark_style(tmp_path):
    dark = {"figure.facecolor": "black", "savefig.facecolor": "black", "axes.facecolor": "black", "text.color": "white",
            "axes.labelcolor": "white", "axes.edgecolor": "white", "xtick.color": "white", "ytick.color": "white"}  # fmt: skip
    plain = plot_study.study_lines(grid(), x="diameter", at_least=510.0)
    with rc_context(dark):
        ax = plot_study.study_lines(grid(), x="diameter", at_least=510.0)
        ax.text(0.5, 0.5, "here", transform=ax.transAxes)
        quiet(ax)
        image = drawn_dark(ax, tmp_path / "dark.png", transparent=False)
        clear = drawn_dark(plot_study.study_lines(grid(), x="diameter"), tmp_path / "clear.png", transparent=True)
    assert (image[[0, -1]][:, [0, -1]] == 255.0).all()
    assert clear[0, 0, 3] == 0.0
    texts = [ax.xaxis.label, ax.yaxis.label, *ax.texts, *ax.get_legend().get_texts(), ax.get_legend().get_title()]
    assert {to_hex(text.get_color()) for text in [*texts, *ax.get_xticklabels()]} == {"#000000"}
    light = drawn_dark(plain, tmp_path / "light.png")
    assert abs(light - image).mean() < 3.0  # as in the light: only the word added


def test_labels_outside_the_axes_of_a_dark_figure_that_was_given_keep_their_colour():
    with rc_context({"axes.labelcolor": "white", "text.color": "white"}):
        ax = Figure(facecolor="black").subplots()
        plot.histories(history(), ax=ax)
    assert ax.get_facecolor() == (1.0, 1.0, 1.0, 1.0)
    assert ax.xaxis.label.get_color() == "white"
    assert {to_hex(text.get_color()) for text in ax.get_legend().get_texts()} == {"#000000"}


def test_figures_can_be_pickled(tmp_path):
    ax = pickle.loads(pickle.dumps(plot.histories(history())))
    ax.figure.savefig(tmp_path / "again.png", dpi=40)
    assert (tmp_path / "again.png").stat().st_size > 1000


def test_lines_stay_apart_without_colour():
    assert len({style for _, style in LINES}) == len({colour for colour, _ in LINES}) == len(LINES)
    assert len(set(plot_style.MARKERS)) >= len(LINES)
    for colour, _ in LINES:  # dark enough on white: at least 1.9 to 1 (WCAG's contrast), and never yellow
        red, green, blue = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (red, green, blue)]
        assert 1.05 / (np.dot(linear, [0.2126, 0.7152, 0.0722]) + 0.05) > 1.9
    with pytest.raises(InputError, match="8 lines in one figure: at most 7 stay apart; draw fewer, or several figures"):
        plot_style.enough(8, "lines")


def test_contour_labels_keep_away_from_the_edges():
    ax = plot_decide.section_map(chart("pressure", "velocity"))
    to_axes = ax.transData + ax.transAxes.inverted()
    inside = to_axes.transform([text.get_position() for text in ax.texts])
    assert len(inside) >= 2
    assert ((inside > 0.05) & (inside < 0.95)).all()
    with units("inch"):
        assert all(
            re.fullmatch(r"[\d.]+ in", text.get_text())
            for text in plot_decide.section_map(chart("pressure", "velocity")).texts
        )
