"""A study that is killed at any time goes on to the same result; a dask cluster that loses a worker finishes it."""

from __future__ import annotations

import os
import pathlib
import random
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from heatq.studies import study

pytestmark = pytest.mark.slow

HERE = pathlib.Path(__file__)
POINTS = {"x": np.linspace(0.0, 1.0, 60).tolist(), "y": [0.1, 0.2, 0.3, 0.4]}


def slowly(x, y):
    """A result that needs exact arithmetic to be the same, and a few milliseconds."""
    time.sleep(0.003)
    if x > 0.99:
        raise ValueError("too large")
    return {"value": float(np.sin(1e3 * x) * np.exp(y)), "other": x / (1.0 + y)}


def run_study(store):
    return study(slowly, POINTS, run=None, store=store, chunk=5, threads=2, progress=False)


def test_killed_at_twenty_random_moments(tmp_path):
    """kill -9 again and again; in the end nothing is lost, nothing differs, and every chunk was finished once."""
    whole = study(slowly, POINTS, run=None, threads=1, progress=False)
    chance = random.Random(7)
    environment = {**os.environ, "PYTHONPATH": str(HERE.parents[2])}
    kills = 0
    for number in range(20):
        store = tmp_path / f"{number // 5}.zarr"  # each store is killed up to five times
        worker = subprocess.Popen([sys.executable, str(HERE), str(store)], env=environment, stdout=subprocess.DEVNULL)
        while not store.exists() and worker.poll() is None:
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 0.35))
        if worker.poll() is None:
            worker.send_signal(signal.SIGKILL)
            kills += 1
        worker.wait()
        marks = {file: file.stat().st_mtime_ns for file in (store / "done").glob("*.json")}
        if number % 5 == 4:
            resumed = run_study(store)
            assert resumed.identical(whole)
            kept = {file: file.stat().st_mtime_ns for file in (store / "done").glob("*.json")}
            assert len(kept) == 48
            assert {file: kept[file] for file in marks} == marks  # what was finished was not run again
    assert kills >= 10


def dies_once(x, flag):
    """The worker that meets x = 5 first is killed, with all it holds."""
    time.sleep(0.02)
    if x == 5.0:
        try:
            os.close(os.open(flag, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            pass
        else:
            os.kill(os.getpid(), signal.SIGKILL)
    return {"square": x * x}


@pytest.mark.filterwarnings("ignore")
def test_a_dask_cluster_that_loses_a_worker(tmp_path):
    import distributed

    flag = tmp_path / "killed"
    points = {"x": np.arange(40.0).tolist(), "flag": [str(flag)]}
    with (
        distributed.LocalCluster(n_workers=3, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        flag.touch()  # the first case is run here, and so might x = 5 be
        calm = study(dies_once, points, run=None, executor=client.get_executor(), chunk=2, progress=False)
        flag.unlink()
        done = study(
            dies_once,
            points,
            run=None,
            executor=client.get_executor(),
            chunk=2,
            progress=False,
            store=tmp_path / "s.zarr",
        )
    assert flag.exists()
    assert (done["status"] == "ok").all()
    assert done.identical(calm)
    assert done.identical(study(dies_once, points, run=None, threads=1, progress=False))


if __name__ == "__main__":
    run_study(sys.argv[1])
