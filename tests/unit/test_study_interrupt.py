"""Ctrl-C in a study: no case is cut, what is finished is kept; results with odd attributes; a torn mark of the store."""

from __future__ import annotations

import os
import signal
import threading
import time

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.studies import study

POINTS = {"x": [float(n) for n in range(12)]}
plain = {"run": None, "progress": False}


@pytest.fixture(autouse=True)
def handler():
    """The handler of a plain program, whatever pytest is run by."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    signal.signal(signal.SIGINT, before)


def swallows(x):
    """Like `simulate`, which takes Ctrl-C for its own and returns what it has so far."""
    try:
        if x == 4.0:
            signal.raise_signal(signal.SIGINT)
        return {"square": x * x}
    except KeyboardInterrupt:
        return {"square": -1.0}


@pytest.mark.parametrize("chunk", [1, 3, 5, 12])
@pytest.mark.parametrize("stored", [False, True])
def test_ctrl_c_cuts_no_case(tmp_path, chunk, stored):
    store = {"store": tmp_path / "s.zarr"} if stored else {}
    broken = study(swallows, POINTS, threads=1, chunk=chunk, **store, **plain)
    ok = broken["status"].values == "ok"
    kept = 5 // chunk * chunk if stored else 5  # a store keeps whole chunks
    assert ok.tolist() == [n < kept for n in range(12)]
    assert set(broken["status"].values[~ok]) == {"missing"}
    np.testing.assert_array_equal(broken["square"].values[ok], np.array(POINTS["x"])[ok] ** 2)
    assert np.isnan(broken["square"].values[~ok]).all()
    assert broken.attrs["status"] == "interrupted"


def test_ctrl_c_in_the_first_case():
    calls = []

    def build(x):
        calls.append(x)
        signal.raise_signal(signal.SIGINT)
        return {"square": x * x}

    broken = study(build, POINTS, threads=1, **plain)
    assert calls == [0.0]
    assert broken["status"].values.tolist() == ["ok"] + 11 * ["missing"]  # it was not cut, so it is kept
    assert broken.attrs["status"] == "interrupted"


def test_ctrl_c_before_a_store_knows_its_layout(tmp_path):
    def build(x):
        signal.raise_signal(signal.SIGINT)
        return {"square": x * x}

    broken = study(build, POINTS, threads=1, chunk=1, store=tmp_path / "s.zarr", **plain)
    assert (broken["status"] == "missing").all()
    assert broken.attrs["status"] == "interrupted"
    assert not (tmp_path / "s.zarr" / "layout.json").exists()


def test_a_second_ctrl_c_does_not_wait():
    reached = []

    def build(x):
        if x == 2.0:
            signal.raise_signal(signal.SIGINT)
            reached.append("after the first")
            signal.raise_signal(signal.SIGINT)
            reached.append("after the second")
        return {"square": x * x}

    broken = study(build, POINTS, threads=1, **plain)
    assert reached == ["after the first"]
    assert broken["status"].values.tolist() == ["ok", "ok"] + 10 * ["missing"]


def test_ctrl_c_with_threads_keeps_the_chunks_under_way():
    calls, lock = [], threading.Lock()

    def build(x):
        with lock:
            calls.append(x)
        time.sleep(0.01)
        if x == 4.0:
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.05)
        return {"square": x * x}

    points = {"x": [float(n) for n in range(200)]}
    broken = study(build, points, threads=2, chunk=100, **plain)
    ok = broken["status"].values == "ok"
    assert 5 <= ok.sum() < 60
    assert ok.sum() == len(calls)  # all that was begun was kept, and nothing was run twice
    np.testing.assert_array_equal(broken["square"].values[ok], np.array(points["x"])[ok] ** 2)
    assert set(broken["status"].values[~ok]) == {"missing"}


def test_a_result_that_was_interrupted_is_none():
    def build(x):
        return xr.Dataset({"a": ((), x)}, attrs={"status": "interrupted" if x == 2.0 else "finished"})

    broken = study(build, POINTS, threads=1, **plain)
    assert broken["status"].values.tolist() == ["ok", "ok"] + 10 * ["missing"]


@pytest.mark.parametrize("name", ["status", "message"])
def test_the_names_of_the_result_are_no_parameters(name):
    with pytest.raises(hq.InputError, match=f"points: '{name}' is what the result tells of each case"):
        study(lambda **point: {"a": 1.0}, {name: [1.0, 2.0]}, **plain)


def test_attributes_that_are_arrays_and_indexes_that_are_dates(tmp_path):

    def build(x):
        attrs = {"units": "m", "count": np.int64(3), "limits": np.array([1.0, 2.0]), "other": None}
        days = np.array(["2020-01-01", "2020-01-02"], "M8[ns]")
        return xr.Dataset({"a": ("day", [x, 2.0 * x], attrs)}, {"day": days})

    here = study(build, POINTS, threads=1, **plain)
    assert (here["status"] == "ok").all()
    assert here["a"].attrs == {"units": "m", "count": 3, "limits": [1.0, 2.0], "other": "None"}
    assert [str(day)[:10] for day in here["day"].values] == ["2020-01-01", "2020-01-02"]
    assert study(build, POINTS, threads=1, store=tmp_path / "s.zarr", **plain).identical(here)


def test_a_torn_mark_is_run_again(tmp_path):
    calls = []

    def build(x):
        calls.append(x)
        return {"square": x * x}

    whole = study(build, POINTS, threads=1, chunk=4, store=tmp_path / "s.zarr", **plain)
    marks = sorted((tmp_path / "s.zarr" / "done").glob("*.json"))
    marks[1].write_text("", encoding="utf-8")
    calls.clear()
    assert study(build, POINTS, threads=1, chunk=4, store=tmp_path / "s.zarr", **plain).identical(whole)
    assert calls == [4.0, 5.0, 6.0, 7.0]
