"""Wrong input of the figures ends in a message of our own, before anything is drawn."""

from __future__ import annotations

import importlib
import pathlib

import numpy as np
import pytest
import xarray as xr

from heatq import plot, plot_decide, plot_diagrams, plot_inverse, plot_load, plot_logs, plot_media, plot_study
from heatq.boundaries import Convection
from heatq.errors import DataError, InputError
from heatq.plot_style import new_axes, quiet
from heatq.windows import TimeWindow

HELPERS = {"LINES", "legend", "new_axes", "quiet", "units"}
MODULES = sorted(path.stem for path in pathlib.Path(plot.__file__).parent.glob("plot*.py"))
DRAWN = [
    pytest.param(getattr(importlib.import_module(f"heatq.{module}"), name), id=f"{module}.{name}")
    for module in MODULES
    for name in importlib.import_module(f"heatq.{module}").__all__
    if name not in HELPERS
]
#: What else a function must be given.
MORE = {"overlay": (None,), "equal_cooling": (None,), "window_curves": (TimeWindow(800.0, 500.0, at_most=60.0),)}
WRONG = {
    "None": None,
    "text": "x",
    "number": 3.0,
    "list": [1, 2],
    "empty mapping": {},
    "mapping": {"a": 1},
    "array": xr.DataArray([1.0, 2.0]),
    "empty Dataset": xr.Dataset(),
    "another Dataset": xr.Dataset({"temperature": ("x", [1.0, 2.0])}),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
@pytest.mark.parametrize("function", DRAWN)
def test_wrong_input_ends_in_a_message_of_our_own(function, wrong):
    with pytest.raises((InputError, DataError)):
        function(wrong, *MORE.get(function.__name__, ()))


def history():
    time = np.linspace(0.0, 100.0, 51)
    values = 25.0 + 800.0 * np.exp(-time[:, None] / np.array([10.0, 20.0]))
    return xr.Dataset({"temperature": (("time", "probe"), values)}, {"time": time, "probe": ["surface", "centre"]})


def bar_curve():
    return xr.Dataset({"hardness_hrc": ("probe", [56.0, 30.0])}, {"distance": ("probe", [0.001, 0.04])})


def load():
    dims = ("time", "column", "row")
    gas = xr.DataArray(np.full((2, 1, 2), 60.0), dims=dims)
    steel = xr.DataArray(np.full((2, 1, 2, 1), 400.0), dims=(*dims, "probe"))
    hardness = xr.DataArray(np.full((1, 2, 1), 300.0), dims=("column", "row", "probe"))
    return xr.Dataset(
        {"gas_before": gas, "gas_after": gas, "temperature": steel, "hardness_hv": hardness},
        {"time": [0.0, 100.0], "column": ["mean"], "row": [1, 2], "probe": ["centre"]},
    )


def fit():
    values = np.array([300.0, 280.0])
    return xr.Dataset(
        {
            "coefficient": ("surface_temperature", values),
            "coefficient_interval": (("bound", "surface_temperature"), [0.9 * values, 1.1 * values]),
            "is_seen": ("surface_temperature", [True, True]),
        },
        {"surface_temperature": [200.0, 800.0]},
        {"level": 0.9, "fluid_temperature": 60.0},
    )


def study():
    return xr.Dataset({"hardness_hv": ("velocity", [300.0, 350.0], {"units": "HV"})}, {"velocity": [5.0, 10.0]})


def media(pair):
    return plot_media.medium_curves({"oil": pair})


CALLS = {
    "measured": (lambda: plot.end_quench_curve(bar_curve(), measured="traverse.csv"), "measured is not a traverse"),
    "no result": (lambda: plot.end_quench_curve({}), "results = {}: give the trial"),
    "list of names": (lambda: plot.histories(history(), probes=[]), "probes is empty: leave it out, or name at least"),
    "number for a name": (lambda: plot.histories(history(), probes=3), "unknown probe 3. Did you mean"),
    "channels": (lambda: plot_logs.log_readings(history(), probes=[]), "probes is empty"),
    "window": (lambda: plot_logs.window_curves(history(), "800 to 500"), "'800 to 500' is no window"),
    "windows": (lambda: plot_logs.window_curves(history(), []), "windows is empty"),
    "steel": (lambda: plot_diagrams.overlay(history(), "4140"), "steel = '4140' does not transform: an overlay"),
    "reference": (lambda: plot_inverse.fitted_curve(fit(), reference=300.0), "reference = 300.0 is not a boundary"),
    "row of a load": (lambda: plot_load.load_courses(load(), probe="surface"), "unknown probe 'surface'"),
    "column": (lambda: plot_load.load_courses(load(), column="left"), "unknown column 'left'.*mean"),
    "variable": (lambda: plot_load.load_rows(load(), "gas_before"), "unknown variable 'gas_before'.*hardness_hv"),
    "place": (lambda: plot_load.load_rows(load(), probe="surface"), "unknown probe 'surface'"),
    "requirement": (lambda: plot_study.study_lines(study(), at_least="45 HRC"), "at_least = '45 HRC' is not a number"),
    "boundary alone": (lambda: media(Convection(100.0, 60.0)), "is no pair .fluid_temperature, boundary"),
    "pair the wrong way": (lambda: media((Convection(100.0, 60.0), 60.0)), "the fluid's temperature of 'oil' = .*not a number"),
    "no boundary": (lambda: media((60.0, 100.0)), r"media\['oil'\] = 100.0 is not a boundary"),
    "hot fluid": (lambda: media((1200.0, Convection(100.0, 60.0))), "= 1200 degC is outside -200 to 890 degC"),
    "no axes": (lambda: plot.histories(history(), ax=new_axes().figure), "ax = <.*> is no matplotlib Axes"),
    "one of two": (lambda: plot_media.medium_curves({"oil": (60.0, Convection(100.0, 60.0))}, axes=new_axes()),
                   "two matplotlib Axes, such as those of new_axes.1, 2"),
    "two texts": (lambda: plot_media.medium_curves({"oil": (60.0, Convection(100.0, 60.0))}, axes="ab"), "ax = 'a' is no"),
    "quiet": (lambda: quiet("x"), "ax = 'x' is no matplotlib Axes"),
    "rows": (lambda: new_axes(0), "rows = 0 must be a whole number of at least 1"),
}  # fmt: skip


@pytest.mark.parametrize(("call", "said"), CALLS.values(), ids=CALLS)
def test_messages(call, said):
    with pytest.raises(InputError, match=said):
        call()


def test_requirements_and_windows_are_in_the_units_shown():
    window = TimeWindow(800.0, 500.0, at_most=60.0)
    with plot.units("inch", "degF"):
        ax = plot_logs.window_curves(history(), window)
    assert [text.get_text() for text in ax.get_legend().get_texts()][-1] == "1472 to 932 °F: at most 60 s"
    assert [text.get_text() for text in plot_logs.window_curves(history(), window).get_legend().get_texts()][-1] == (
        "800 to 500 °C: at most 60 s"
    )


def test_pressures_step_in_ones_twos_and_fives():
    chart = xr.Dataset(
        {"diameter": (("steel", "pressure"), [[0.02, 0.03, 0.04]])},
        {"steel": ["A"], "pressure": [2e5, 6e5, 20e5]},
        {"requirement": "at least 45 HRC at centre", "smallest": 0.005},
    )
    ticks = plot_decide.section_lines(chart).get_xticks()
    assert set(np.diff(ticks)) <= {1.0, 2.0, 5.0}


def test_names_of_places_are_in_the_units_shown():
    named = history().assign_coords(probe=["surface @ 127 mm", "core"])
    with plot.units("inch"):
        ax = plot.histories(named)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["surface @ 5 in", "core"]
