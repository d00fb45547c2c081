"""Figures of studies: labels, units, holes, requirements, and what cannot be drawn."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from matplotlib.figure import Figure

from heatq.errors import InputError
from heatq.plot_study import sensitivity_tornado, study_band, study_contours, study_cumulative, study_lines
from heatq.studies.sampling import Distribution
from heatq.studies.sensitivity import indices_of, saltelli_sample
from heatq.studies.uncertainty import summary

HARDNESS = {"units": "HRC", "long_name": "hardness"}


def grid():
    pressure, velocity = np.array([2e5, 5e5, 10e5]), np.array([5.0, 10.0, 15.0, 20.0])
    values = 30.0 + 1e-5 * pressure[:, None, None] + velocity[None, :, None] * np.array([0.2, 0.5])
    values[0, 0, 0] = np.nan
    return xr.Dataset(
        {"hardness_hrc": (("pressure", "velocity", "probe"), values, HARDNESS)},
        {
            "pressure": ("pressure", pressure, {"units": "Pa", "long_name": "pressure"}),
            "velocity": ("velocity", velocity, {"units": "m/s", "long_name": "velocity"}),
            "probe": ["centre", "surface"],
        },
    )


def sampled(places=4):
    distance = np.linspace(0.002, 0.05, places)
    values = np.random.default_rng(0).normal(45.0, 4.0, (64, places)) - 300.0 * distance
    return xr.Dataset(
        {"hardness_hrc": (("case", "probe"), values, HARDNESS)},
        {
            "probe": [f"J{n}" for n in range(places)],
            "distance": ("probe", distance, {"units": "m", "long_name": "distance from the quenched end"}),
        },
    )


def indices(places=1):
    points = saltelli_sample(
        {name: Distribution.uniform(0.0, 1.0, long_name=f"long {name}") for name in ("a", "b", "c")}, 64
    )
    values = np.outer(points.a.values + 3.0 * points.b.values, np.arange(1.0, places + 1.0))
    points["hardness_hv"] = (("case", "probe"), values, {"units": "HV", "long_name": "hardness"})
    return indices_of(points.assign_coords(probe=[f"p{n}" for n in range(places)]))


def words(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_lines_take_labels_and_units_from_the_dataset(tmp_path):
    ax = study_lines(grid().sel(probe="centre"), at_least=40.0)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("velocity, m/s", "hardness, HRC")
    assert words(ax) == ["2 bar", "5 bar", "10 bar", "required: 40 HRC"]
    assert ax.lines[1].get_ydata()[0] == pytest.approx(36.0)
    assert np.isnan(ax.lines[0].get_ydata()[0])
    assert isinstance(ax.figure, Figure)
    ax.figure.savefig(tmp_path / "lines.png")


def test_lines_over_what_is_asked_for():
    ax = study_lines(grid().isel(velocity=1), x="pressure")
    assert ax.get_xlabel() == "pressure, bar"
    assert words(ax) == ["centre", "surface"]
    assert ax.lines[0].get_xdata() == pytest.approx([2.0, 5.0, 10.0])


def test_contours_show_the_requirement_and_the_holes(tmp_path):
    ax = study_contours(grid().sel(probe="centre"), at_least=40.0)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("pressure, bar", "velocity, m/s")
    figure_words = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert figure_words == ["required: 40 HRC (grey: not met)", "computed", "failed, or below 20 HRC"]
    crosses = ax.lines[-1].get_xydata()
    assert crosses == pytest.approx(np.array([[2.0, 5.0]]))
    required = [c for c in ax.collections if len(getattr(c, "levels", ())) == 1][0]
    line = required.get_paths()[0].vertices  # 30 + p/bar + 0.2 v = 40
    assert line[:, 0] + 0.2 * line[:, 1] == pytest.approx(10.0)
    ax.figure.savefig(tmp_path / "contours.png")


@pytest.mark.parametrize(("limit", "said"), [(10.0, "met everywhere"), (90.0, "met nowhere")])
def test_contours_say_when_the_requirement_is_no_question(limit, said):
    ax = study_contours(grid().sel(probe="centre"), at_least=limit)
    assert said in ax.figure.legends[0].get_texts()[0].get_text()


def test_a_band_over_the_distance(tmp_path):
    told = summary(sampled(), (5.0, 50.0, 95.0))
    told["published"] = (
        ("bound", "probe"),
        [[40.0, 35.0, 30.0, np.nan], [50.0, 45.0, 40.0, 35.0]],
        {"units": "HRC", "long_name": "published band of X"},
    )
    ax = study_band(told, at_least=40.0)
    assert ax.get_xlabel() == "distance from quenched end, mm"
    assert words(ax) == ["predicted, 5 to 95 % of cases", "predicted, 50 %", "published band of X", "required: 40 HRC"]
    assert ax.lines[0].get_ydata() == pytest.approx(told.hardness_hrc_percentile.sel(level=50.0).values)
    assert "published band of X" not in words(study_band(told, with_published=False))
    ax.figure.savefig(tmp_path / "band.png")


def test_cumulative_curves_of_a_sample():
    ax = study_cumulative(sampled(2), at_least=40.0)
    assert words(ax) == ["J0", "J1", "required: 40 HRC"]
    x, y = ax.lines[0].get_data()
    assert np.all(np.diff(x) >= 0.0)
    assert y[31] == pytest.approx(100.0 * 31.5 / 64)


def test_failed_cases_are_no_part_of_the_curve():
    study = sampled(1)
    study["status"] = ("case", ["failed"] * 4 + ["ok"] * 60)
    assert len(study_cumulative(study).lines[0].get_xdata()) == 60


def test_sensitivities_largest_on_top(tmp_path):
    told = indices()
    ax = sensitivity_tornado(told)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["long b", "long a", "long c"]
    assert ax.yaxis_inverted()
    assert ax.get_title(loc="left") == "hardness, p0"
    widths = [patch.get_width() for patch in ax.patches[:3]]
    assert widths == pytest.approx(sorted(told.hardness_hv_total.values.ravel(), reverse=True))
    ax.figure.savefig(tmp_path / "tornado.png")


def text_only():
    return xr.Dataset({"hardness_hrc": ("grade", [1.0, 2.0])}, {"grade": ["a", "b"]})


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: study_lines(None), "is no Dataset"),
        (
            lambda: study_lines(xr.Dataset({"a": ("x", [1.0]), "b": ("x", [1.0])})),
            "variable is not given; the study has a, b",
        ),
        (lambda: study_lines(grid(), "hardness"), "Did you mean 'hardness_hrc'"),
        (lambda: study_lines(text_only()), "has no numeric dimension"),
        (
            lambda: study_lines(grid()),
            "also runs over pressure, probe; choose one, such as study.sel.pressure=1000000.0",
        ),
        (lambda: study_lines(sampled(9).rename(case="n").assign_coords(n=range(64))), "at most 7 stay apart"),
        (lambda: study_contours(grid().isel(pressure=0, probe=0)), "contours need two with at least two values"),
        (lambda: study_contours(grid() * np.nan, x="pressure", y="velocity"), "also runs over probe"),
        (lambda: study_contours((grid() * np.nan).isel(probe=0)), "has no value at all"),
        (lambda: study_band(grid()), "this has no percentiles"),
        (lambda: study_band(summary(sampled(1))), "a band needs one dimension"),
        (lambda: study_band(summary(sampled().drop_vars("distance"))), "has no numeric coordinate"),
        (lambda: study_cumulative(grid()), "has no dimension 'case'"),
        (lambda: study_cumulative(sampled().assign(x=("probe", np.zeros(4))), "x"), "does not run over 'case'"),
        (lambda: sensitivity_tornado(grid()), "it holds no total indices"),
        (lambda: sensitivity_tornado(indices(2)), "choose one, such as indices.sel.probe='p1'"),
        (
            lambda: sensitivity_tornado(indices().rename(hardness_hv_total="x_total").assign(y_total=1.0)),
            "variable is not given; the indices are of",
        ),
    ],
)
def test_messages(call, said):
    with pytest.raises(InputError, match=said):
        call()
