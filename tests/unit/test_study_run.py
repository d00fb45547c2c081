"""Studies: points in, one labelled Dataset out; failures are holes; a store goes on where it stopped."""

from __future__ import annotations

import concurrent.futures
import functools
import json
import os
import re
import threading
import warnings

import numpy as np
import pytest
import xarray as xr
import zarr
from scipy.constants import bar

import heatq as hq
from heatq.studies import open_study, study


def product(x, y=1.0):
    if x < 0:
        raise ValueError("x is below zero")
    return {"product": x * y}


def labelled(x):
    places = ["a", "b"] if x < 10 else ["a", "c"]
    data = xr.Dataset(
        {"value": ("place", [x, 2.0 * x], {"units": "K", "long_name": "value"})},
        {"place": places, "depth": ("place", [0.0, x], {"units": "m"}), "same": ("place", [1.0, 2.0])},
    )
    return data.drop_vars("depth") if x == 7.0 else data


quiet = {"progress": False}
plain = {"run": None, **quiet}


def test_all_combinations_with_units_and_labels():
    done = study(product, {"x": ([1.0, 2.0, 3.0], "m"), "y": [10.0, 20.0]}, **plain)
    assert done["product"].dims == ("x", "y")
    np.testing.assert_array_equal(done["product"], np.outer([1.0, 2.0, 3.0], [10.0, 20.0]))
    assert done["x"].attrs["units"] == "m"
    assert (done["status"] == "ok").all()
    assert done.attrs["cases"] == 6


def test_a_list_and_a_sample_are_cases():
    for points in ([{"x": 1.0}, {"x": 4.0}], xr.Dataset(coords={"x": ("case", [1.0, 4.0], {"units": "m"})})):
        done = study(product, points, **plain)
        assert done["product"].dims == ("case",)
        np.testing.assert_array_equal(done["product"], [1.0, 4.0])
        np.testing.assert_array_equal(done["x"], [1.0, 4.0])


def test_objects_are_labelled_by_their_names():
    done = study(lambda steel: {"carbon": steel.C}, {"steel": [hq.grade("1045"), hq.grade("4340")]}, **plain)
    assert done["steel"].values.tolist() == ["1045", "4340"]
    assert float(done["carbon"].sel(steel="4340")) == hq.grade("4340").C


def test_a_failed_case_is_a_hole_with_its_reason():
    done = study(product, {"x": [-1.0, 2.0]}, **plain)
    assert done["status"].values.tolist() == ["failed", "ok"]
    assert done["message"].values[0] == "ValueError: x is below zero"
    assert np.isnan(done["product"][0])
    assert done["product"][1] == 2.0
    assert "1 of 2 cases failed, the first at x=-1.0" in json.loads(done.attrs["warnings"])[0]
    with pytest.raises(ValueError, match="below zero"):
        study(product, {"x": [-1.0, 2.0]}, on_error="raise", **plain)


def test_a_study_in_which_all_fails_says_so(tmp_path):
    for more in ({}, {"store": tmp_path / "all.zarr"}):
        done = study(product, {"x": [-1.0, -2.0]}, **plain, **more)
        assert done["status"].values.tolist() == ["failed", "failed"]
        assert "product" not in done


def test_a_case_with_other_variables_is_named():
    done = study(labelled, {"x": [1.0, 2.0, 7.0, 11.0]}, **plain)
    assert done["status"].values.tolist() == ["ok", "ok", "failed", "failed"]
    assert "it has no depth" in str(done["message"][2].values)
    assert "its place are ['a', 'c'], of the others ['a', 'b']" in str(done["message"][3].values)
    assert done["depth"].dims == ("x", "place")  # differs from case to case
    assert done["same"].dims == ("place",)


@pytest.mark.parametrize(("chunk", "threads", "stored"), [(1, 1, False), (3, 2, False), (2, 1, True), (1, 2, True)])
@pytest.mark.parametrize(
    ("x", "failed"),
    [
        ([11.0, 1.0, 2.0, 3.0], [0]),  # the first has other places
        ([7.0, 1.0, 2.0, 11.0], [0, 3]),  # the first has a variable less
        ([1.0, 11.0, 2.0, 3.0], [1]),
        ([-1.0, 11.0, 1.0, 2.0], [0, 1]),  # the first fails, the second is odd
        ([1.0, -1.0, 11.0, 12.0], [1, 2, 3]),  # nothing settles it: the first that succeeded counts
        ([1.0, 11.0], [1]),
        ([11.0], []),
    ],
)
def test_an_odd_first_case_is_the_one_that_fails(tmp_path, x, failed, chunk, threads, stored):
    calls = []

    def build(x):
        calls.append(x)
        if x < 0:
            raise ValueError("x is below zero")
        return labelled(x)

    options = {"chunk": chunk, "threads": threads, **plain}
    store = {"store": tmp_path / "s.zarr"} if stored else {}
    done = study(build, {"x": x}, **options, **store)
    assert np.flatnonzero(done["status"] == "failed").tolist() == failed
    assert sorted(calls) == sorted(x)  # each once
    for n in failed:
        said = "x is below zero" if x[n] < 0 else "InputError: this case returned something else than the others: it"
        assert said in str(done["message"][n].values)
    np.testing.assert_array_equal(done["value"].values[:, 0], [np.nan if n in failed else a for n, a in enumerate(x)])
    if stored:
        assert open_study(tmp_path / "s.zarr").identical(done)


def test_an_odd_first_case_ends_a_study_that_shall_end():
    with pytest.raises(hq.InputError, match=r"its place are \['a', 'c'\], of the others \['a', 'b'\]"):
        study(labelled, {"x": [11.0, 1.0, 2.0]}, on_error="raise", **plain)


def test_trials_are_run_and_reduced():
    def build(pressure):
        gas = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=pressure, temperature=40.0)
        return {
            "specimen": hq.RoundBar(diameter=0.02),
            "steel": hq.grade("4140"),
            "boundaries": {"side": gas},
            "accuracy": 4.0,
        }

    points = {"pressure": [2 * bar, 6 * bar]}
    done = study(build, points, **quiet)
    alone = hq.trial(**build(6 * bar), progress=False)
    np.testing.assert_array_equal(done.hardness_hv.isel(pressure=1), alone.hardness_hv)
    assert "time" not in done.dims
    assert "why_missing" in alone.hardness_hrc_chemistry.attrs
    assert "why_missing" not in done.hardness_hrc_chemistry.attrs  # it tells of one case
    some = study(build, points, reduce=["hardness_hv"], threads=1, **quiet)
    assert set(some.data_vars) == {"hardness_hv", "status", "message"}
    missing = study(build, points, reduce=["hardnes"], **quiet)
    assert "has no 'hardnes'" in str(missing["message"][0].values)


def bar_in_nitrogen(pressure, **more):
    gas = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=pressure, temperature=40.0)
    case = {"specimen": hq.RoundBar(diameter=0.02), "steel": hq.grade("4140"), "boundaries": {"side": gas}}
    return {**case, "accuracy": 4.0, "estimate_error": False, **more}


@pytest.mark.parametrize("run", ["trial", "simulate"])
@pytest.mark.parametrize("reduce", [None, ["hardness_hv", "fraction"], ["temperature", "r", "heat_removed"], ["z"]])
def test_what_the_study_runs_itself_is_what_a_function_of_your_own_returns(run, reduce):
    """Without a Dataset per case the arrays, coordinates and attributes are the same."""
    more = {
        "output_times": [0.0, 20.0, 60.0],
        "end_time": 300.0,
        **({"initial_temperature": 850.0} if run == "simulate" else {}),
    }
    if run == "simulate" and reduce:
        reduce = [name.replace("hardness_hv", "cooling_rate_700") for name in reduce]
    points = {"pressure": [2 * bar, 6 * bar]}
    by_itself = study(functools.partial(bar_in_nitrogen, **more), points, run=run, reduce=reduce, **quiet)
    own = study(
        lambda pressure: getattr(hq, run)(**bar_in_nitrogen(pressure, **more), **quiet),
        points,
        run=run,
        reduce=reduce,
        **quiet,
    )
    xr.testing.assert_identical(by_itself.drop_attrs(deep=False), own.drop_attrs(deep=False))
    assert list(by_itself.data_vars) == list(own.data_vars)
    assert list(by_itself.coords) == list(own.coords)


def test_no_dataset_is_made_per_case(monkeypatch):
    made = []
    whole = xr.Dataset.__init__

    def counted(self, *arguments, **given):
        made.append(1)
        whole(self, *arguments, **given)

    monkeypatch.setattr(xr.Dataset, "__init__", counted)
    for count in (2, 6):
        made.clear()
        study(bar_in_nitrogen, {"pressure": np.linspace(2 * bar, 6 * bar, count).tolist()}, threads=1, **quiet)
        assert len(made) <= 1, count


def test_hardness_worked_out_together_is_that_of_each_alone():
    """Also where one heat is refused (boron), one leaves a range (nickel), and one is another place or has other places."""
    boron = hq.Steel(C=0.3, Mn=1.2, B=0.003, name="boron (invented)", austenitizing_temperature=880.0)

    def build(steel, kind):
        case = bar_in_nitrogen(6 * bar, steel=steel)
        case |= {
            "slip": {"diamter": 0.02},
            "two": {"probes": ["centre", "surface"]},
            "interval": {"with_interval": True},
        }.get(kind, {})
        return case | ({"specimen": hq.RoundBar(diameter=0.03)} if kind == "thicker" else {})

    points = {
        "steel": [hq.grade("4140"), hq.grade("4340"), boron],
        "kind": ["thin", "thicker", "slip", "two", "interval"],
    }
    with pytest.warns(hq.ValidityWarning):
        done = study(build, points, threads=1, chunk=15, **quiet)
    for i, steel in enumerate(points["steel"]):
        for j, kind in enumerate(points["kind"]):
            here, message = done.isel(steel=i, kind=j), str(done.message.values[i, j])
            if kind in ("thin", "thicker") and steel is not boron:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    alone = hq.trial(**build(steel, kind), **quiet)
                for name in ("hardness_hv", "hardness_hrc", "hardness_hrc_chemistry", "equivalent_distance_by_time"):
                    np.testing.assert_array_equal(here[name], alone[name], err_msg=f"{steel.name} {kind} {name}")
                assert message == "; ".join(json.loads(alone.attrs["warnings"]))
            else:
                assert here.status == "failed"
                expected = {
                    "slip": r"TypeError: trial\(\) got an unexpected keyword argument 'diamter'",
                    "interval": "hardness_interval",
                }
                assert re.search(expected.get(kind, "something else than the others"), message) or (
                    steel is boron and "boron" in message
                )


def test_ctrl_c_keeps_the_cases_that_wait_for_their_hardness():
    def build(number):
        if number == 5:
            raise KeyboardInterrupt
        return bar_in_nitrogen(6 * bar)

    done = study(build, {"number": list(range(9))}, threads=1, chunk=9, **quiet)
    assert done.status.values.tolist() == ["ok"] * 5 + ["missing"] * 4
    assert np.isfinite(done.hardness_hv.values[:5]).all()


def test_a_function_of_the_result_gets_a_dataset():
    done = study(
        bar_in_nitrogen, {"pressure": [2 * bar]}, reduce=lambda result: result[["hardness_hv"]].max("probe"), **quiet
    )
    assert float(done.hardness_hv[0]) == float(hq.trial(**bar_in_nitrogen(2 * bar), **quiet).hardness_hv.max())


def test_notes_of_validity_are_kept_per_case_and_said_once():
    def build(velocity):
        jet = hq.GasCrossflow("nitrogen", velocity=velocity, pressure=20 * bar, temperature=40.0)
        return {"q": float(jet.for_piece(hq.RoundBar(diameter=0.5), "side").heat_flux(np.array([500.0]))[0])}

    with pytest.warns(hq.ValidityWarning, match="1 of 2 cases left the range"):
        done = study(build, {"velocity": [1.0, 100.0]}, **plain)
    assert done["message"].values[0] == ""
    assert "Re" in str(done["message"].values[1])
    assert done["status"].values.tolist() == ["ok", "ok"]


@pytest.mark.parametrize(
    ("points", "match"),
    [
        ({}, "points is empty"),
        ([], "points is empty"),
        ({"x": []}, "x has no value"),
        ({"x": 3.0}, "must be a sequence"),
        ({"x": "abc"}, "must be a sequence"),
        ({"x": [1.0, float("nan")]}, r"x\[1\] = nan is no number"),
        ([{"x": 1.0}, {"y": 1.0}], r"points\[1\] has the parameters y"),
        ([{"x": 1.0}, 5], r"points\[1\] = 5 must be a dict"),
        (xr.Dataset({"x": ("other", [1.0])}), "without the dimension 'case'"),
        (xr.Dataset({"x": (("case", "k"), [[1.0]])}), "without a parameter"),
        (3, "points = 3 must be a dict"),
        ({"steel": [hq.grade("1045"), hq.grade("1045").replace(C=0.5)]}, "the same name"),
    ],
)
def test_impossible_points(points, match):
    with pytest.raises(hq.InputError, match=match):
        study(product, points, **plain)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"run": "fly"}, "run = 'fly'"),
        ({"reduce": "hardness"}, "reduce = 'hardness'"),
        ({"on_error": "ignore"}, "on_error"),
        ({"chunk": 0}, "chunk = 0"),
        ({"threads": True}, "threads = True"),
        ({"executor": 3}, "has no submit"),
        ({"executor": concurrent.futures.ThreadPoolExecutor(1), "threads": 2}, "threads belongs to the default"),
        ({"progress": "loud"}, "progress = 'loud'"),
    ],
)
def test_impossible_arguments(options, match):
    with pytest.raises(hq.InputError, match=match):
        study(product, {"x": [1.0]}, **{**plain, **options})
    with pytest.raises(hq.InputError, match="build = 3"):
        study(3, {"x": [1.0]})


def test_a_parameter_may_not_be_named_like_a_result():
    with pytest.raises(hq.InputError, match="'product' is a parameter of the study and also stands in the results"):
        study(lambda product: {"product": product}, {"product": [1.0]}, **plain)


@pytest.mark.parametrize("returned", [3.0, {"a": [1.0, 2.0]}, {"a": "text"}])
def test_a_build_that_returns_no_numbers(returned):
    done = study(lambda x: returned, {"x": [1.0]}, **plain)
    assert "a case returned" in str(done["message"][0].values)


def test_serial_threads_and_processes_are_identical():
    points = {"x": np.linspace(0.1, 1.0, 7), "y": [0.3, 0.7]}
    one = study(product, points, threads=1, **plain)
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        assert one.identical(study(product, points, executor=pool, chunk=3, **plain))
    assert one.identical(study(product, points, threads=2, **plain))
    with concurrent.futures.ProcessPoolExecutor(2) as pool:
        assert one.identical(study(product, points, executor=pool, chunk=4, **plain))


def dies(x):
    if (
        x == 3.0
        and threading.current_thread() is threading.main_thread()
        and os.environ.get("STUDY_PARENT") != str(os.getpid())
    ):
        os._exit(1)
    return {"x2": 2.0 * x}


def test_a_dead_worker_process_is_told_and_the_store_goes_on(tmp_path, monkeypatch):
    monkeypatch.setenv("STUDY_PARENT", str(os.getpid()))
    points = {"x": [1.0, 2.0, 3.0, 4.0]}
    options = {"store": tmp_path / "s.zarr", "chunk": 1, **plain}
    with concurrent.futures.ProcessPoolExecutor(1) as pool, pytest.raises(hq.SolverError, match="lost its workers"):
        study(dies, points, executor=pool, **options)
    assert (open_study(tmp_path / "s.zarr")["status"] == "ok").sum() < 4
    done = study(dies, points, threads=1, **options)
    np.testing.assert_array_equal(done["x2"], [2.0, 4.0, 6.0, 8.0])


def test_progress_counts_and_an_interrupt_keeps_what_is_done(tmp_path):
    seen = []

    def stop(done, failed, total):
        seen.append((done, failed, total))
        if done == 2:
            raise KeyboardInterrupt

    points, path = {"x": [-1.0, 1.0, 2.0, 3.0]}, tmp_path / "s.zarr"
    options = {"run": None, "threads": 1, "chunk": 1, "store": path}
    broken = study(product, points, progress=stop, **options)
    assert seen == [(1, 1, 4), (2, 1, 4)]
    assert broken["status"].values.tolist() == ["failed", "ok", "missing", "missing"]
    assert broken.attrs["status"] == "interrupted"
    assert open_study(path)["status"].equals(broken["status"])
    seen.clear()
    whole = study(product, points, progress=lambda *counts: seen.append(counts), **options)
    assert seen == [(3, 0, 4), (4, 0, 4)]
    assert whole["status"].values.tolist() == ["failed", "ok", "ok", "ok"]
    assert whole.identical(study(product, points, run=None, progress=False, threads=1))


CALLS = []


def counted(x):
    CALLS.append(x)
    return {"x2": x * x}


def test_a_finished_store_runs_nothing(tmp_path):
    options = {"store": tmp_path / "s.zarr", "threads": 1, **plain}
    first = study(counted, {"x": [1.0, 2.0]}, **options)
    ran = len(CALLS)
    again = study(counted, {"x": [1.0, 2.0]}, **options)
    assert len(CALLS) == ran > 0
    assert first.identical(again)


def other(x, y=1.0):
    return {"product": x + y}


@pytest.mark.parametrize(
    ("build", "points", "options", "match"),
    [
        (product, {"x": [1.0, 3.0]}, {}, "the values of x differ"),
        (product, {"x": [1.0, 2.0, 3.0]}, {}, "sizes of the grid"),
        (product, {"y": [1.0, 2.0]}, {}, "dimensions of the grid"),
        (other, {"x": [1.0, 2.0]}, {}, "build was product and has changed"),
        (functools.partial(product, y=2.0), {"x": [1.0, 2.0]}, {}, "build was product"),
        (product, {"x": [1.0, 2.0]}, {"run": "trial"}, "run was None, now 'trial'"),
        (product, {"x": [1.0, 2.0]}, {"reduce": ["product"]}, "reduce was None"),
        (product, {"x": [1.0, 2.0]}, {"definition": "new data"}, "definition was '', now 'new data'"),
    ],
)
def test_a_changed_study_is_refused(tmp_path, build, points, options, match):
    path = tmp_path / "s.zarr"
    study(product, {"x": [1.0, 2.0]}, store=path, **plain)
    with pytest.raises(hq.InputError, match=match):
        study(build, points, store=path, **{**plain, **options})


def test_a_store_in_use_is_refused(tmp_path):
    path = tmp_path / "s.zarr"
    seen = []

    def nested(x):
        try:
            study(product, {"x": [1.0]}, store=path, **plain)
        except hq.InputError as error:
            seen.append(str(error))
        return {"a": x}

    study(nested, {"x": [1.0]}, store=path, threads=1, **plain)
    assert f"in use by process {os.getpid()}" in seen[0]


def test_a_place_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(hq.InputError, match="is a file"):
        study(product, {"x": [1.0]}, store=tmp_path / "file", **plain)
    with pytest.raises(hq.InputError, match="holds no study"):
        open_study(tmp_path)
    zarr.open_group(str(tmp_path / "g.zarr"), mode="w")
    with pytest.raises(hq.InputError, match="not a study of heatq"):
        study(product, {"x": [1.0]}, store=tmp_path / "g.zarr", **plain)


def test_a_full_disk_is_told_and_nothing_is_lost(tmp_path, monkeypatch):
    from heatq.studies.store import Store

    path, points = tmp_path / "s.zarr", {"x": [1.0, 2.0, 3.0]}
    options = {"store": path, "threads": 1, "chunk": 1, **plain}
    write, written = Store._write, []

    def full(self, file, text):
        if file.parent.name == "done":
            written.append(file)
            if len(written) == 2:
                with self._told():
                    raise OSError(28, "No space left on device")
        write(self, file, text)

    monkeypatch.setattr(Store, "_write", full)
    with pytest.raises(hq.DataError, match="No space left on device. 1 finished chunks are safe"):
        study(product, points, **options)
    monkeypatch.undo()
    assert open_study(path)["status"].values.tolist() == ["ok", "missing", "missing"]
    np.testing.assert_array_equal(study(product, points, **options)["product"], [1.0, 2.0, 3.0])


def test_any_zarr_reader_can_open_the_store(tmp_path):
    study(product, {"x": [1.0, 2.0]}, store=tmp_path / "s.zarr", **plain)
    found = xr.open_zarr(tmp_path / "s.zarr", chunks=None)
    np.testing.assert_array_equal(found["product"], [1.0, 2.0])
    np.testing.assert_array_equal(found["status"], [1, 1])
