"""The whole benchmark of the conduction solver, one command: ``python benchmarks/solver.py [--quick] [--write]``.

About ten minutes on two quiet cores, peers not installed left out (``pip install scikit-fem fipy py-pde``); ``--quick`` is a
subset for a look. ``--write`` stores results/solver.json and renders docs/explanation/speed.md from it.
"""

from __future__ import annotations

import argparse
import dataclasses
import datetime
import importlib.metadata
import json
import os
import pathlib
import platform
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import bench_conduction  # noqa: E402
import peers  # noqa: E402
import reference  # noqa: E402
import scaling  # noqa: E402

RESULT = pathlib.Path(__file__).parent / "results" / "solver.json"
LIBRARIES = ("numpy", "scipy", "numba", "xarray", "scikit-fem", "fipy", "py-pde")
#: Seconds after which no further peer is started.
DEADLINE = 580.0


def processor() -> str:
    """Name of the processor as the system tells it."""
    try:
        text = pathlib.Path("/proc/cpuinfo").read_text()
        return next(line.split(":")[1].strip() for line in text.splitlines() if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor()


def version(name: str) -> str:
    """Version of an installed library."""
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def measure(quick: bool) -> dict:
    """Everything, as plain numbers."""
    import heatq

    begin, load = time.perf_counter(), os.getloadavg()[0]
    if quick:
        runs = bench_conduction.compare(("P1", "P2"), (5.0, 1.0), 5.0, first_only=True, deadline=begin + 60.0)
    else:
        runs = bench_conduction.compare(deadline=begin + DEADLINE)
    print(f"peers done after {time.perf_counter() - begin:.0f} s", flush=True)
    return {
        "when": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "quick": quick,
        "heatq": heatq.__version__,
        "python": platform.python_version(),
        "processor": processor(),
        "cores": os.cpu_count(),
        "load": [load, os.getloadavg()[0]],
        "libraries": {name: version(name) for name in LIBRARIES},
        "references": {name: reference.load(name)[1] for name in reference.PROBLEMS},
        "peers": [peer.label for peer in peers.PEERS],
        "runs": [dataclasses.asdict(run) for run in runs],
        "machine": scaling.machine(),
        "cells": scaling.cells((1, 2, 3) if quick else scaling.FACTORS),
        "kernels": scaling.kernels(),
        "batch": None if quick else scaling.bench_batch(),
        "seconds": time.perf_counter() - begin,
    }


def main() -> None:
    """Measure, and on demand store and render."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    data = measure(asked.quick)
    if asked.write:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    import solver_page

    page = solver_page.render(data)
    if asked.write:
        solver_page.PAGE.write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()
