"""A store after its process was killed while the workers of its pool live on."""

from __future__ import annotations

import os
import pathlib
import signal
import subprocess
import sys
import time

import pytest

from heatq.studies import open_study

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not pathlib.Path("/proc/self/stat").exists(), reason="needs fork, kill -9 and /proc"),
]

SCRIPT = """
import concurrent.futures, multiprocessing, sys, time
from heatq.studies import study

def build(x):
    time.sleep(0.02)
    return {"square": x * x}

if __name__ == "__main__":
    points = {"x": [float(n) for n in range(120)]}
    with concurrent.futures.ProcessPoolExecutor(2, multiprocessing.get_context("fork")) as pool:
        study(build, points, run=None, store=sys.argv[1], chunk=2, executor=pool, progress=False)
    print("done", flush=True)
"""


def children(pid):
    """Processes begun by a process."""
    found = []
    for entry in pathlib.Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text(encoding="utf-8").rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(entry.parent.name))
    return found


def test_orphans_do_not_hold_the_store_and_a_second_process_is_refused(tmp_path):
    script, folder = tmp_path / "script.py", tmp_path / "study.zarr"
    script.write_text(SCRIPT, encoding="utf-8")
    command = [sys.executable, str(script), str(folder)]
    environment = {**os.environ, "PYTHONPATH": str(pathlib.Path(__file__).parents[2])}
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment)
    workers: list[int] = []
    try:
        end = time.monotonic() + 30.0
        while not list(folder.glob("done/*.json")):
            assert first.poll() is None
            assert time.monotonic() < end
            time.sleep(0.02)
        first.send_signal(signal.SIGSTOP)  # stopped, not dead: it holds the store as long as we like
        second = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
        assert f"is in use by process {first.pid}" in second.stderr
        workers = children(first.pid)
        first.kill()
        first.wait()
        assert workers
        assert all(pathlib.Path(f"/proc/{worker}").exists() for worker in workers)  # orphans, waiting for work
        third = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=60, check=False)
        assert third.stdout == "done\n", third.stderr
    finally:
        first.kill()
        first.wait()
        for worker in workers:
            cmdline = pathlib.Path(f"/proc/{worker}/cmdline")
            if cmdline.exists() and str(script) in cmdline.read_text(encoding="utf-8"):  # no other's number by now
                os.kill(worker, signal.SIGKILL)
    assert open_study(folder).square.values.tolist() == [float(n * n) for n in range(120)]
