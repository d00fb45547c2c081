"""How the cost of heatq's solver grows, and how far it is from what the machine can give."""

from __future__ import annotations

import json
import pathlib
import subprocess
import sys
import time

import numba
import numpy as np
import reference
from bench_conduction import heatq_run, timed

import heatq as hq

#: Multiples of the base grid (radius x length) at a fixed step tolerance.
BASE, FACTORS = (6, 80), (1, 2, 3, 4, 6)


@numba.njit
def triad(a, b, c, repeats):
    """a = b + s c, many times; the scalar changes so that no pass can be left out."""
    for n in range(repeats):
        s = 1.0 + 1e-9 * n
        for i in range(a.size):
            a[i] = b[i] + s * c[i]


@numba.njit
def tridiagonal(lower, diagonal, upper, right, work, repeats):
    """Thomas sweeps of independent short systems, one after the other: a chain of dependent divisions."""
    systems, n = right.shape
    for _ in range(repeats):
        for s in range(systems):
            work[0] = upper[0] / diagonal[0]
            right[s, 0] = right[s, 0] / diagonal[0]
            for i in range(1, n):
                factor = 1.0 / (diagonal[i] - lower[i] * work[i - 1])
                work[i] = upper[i] * factor
                right[s, i] = (right[s, i] - lower[i] * right[s, i - 1]) * factor
            for i in range(n - 2, -1, -1):
                right[s, i] -= work[i] * right[s, i + 1]


def machine() -> dict[str, float]:
    """Memory bandwidth by size of the data (GB/s), and nanoseconds per unknown of a tridiagonal sweep."""
    out = {}
    for name, count, repeats in (("in L1", 1000, 100_000), ("in L2", 20_000, 5_000), ("in memory", 8_000_000, 8)):
        a, b, c = np.zeros(count), np.ones(count), np.ones(count)
        triad(a, b, c, 1)
        seconds = timed(lambda a=a, b=b, c=c, r=repeats: triad(a, b, c, r), budget=0.4)[1]
        out[f"triad {name}, GB/s"] = 24.0 * count * repeats / seconds / 1e9
    n, systems, repeats = 96, 8, 2000
    ones = np.ones(n)
    arrays = (-ones, 4.0 * ones, -ones, np.ones((systems, n)), np.empty(n))
    tridiagonal(*arrays, 1)
    seconds = timed(lambda: tridiagonal(*arrays, repeats), budget=0.4)[1]
    out["tridiagonal sweep, ns per unknown"] = 1e9 * seconds / (n * systems * repeats)
    return out


def cells(factors=FACTORS) -> dict:
    """Seconds per step on grids of one shape; the exponent of a straight line through the logarithms."""
    rows = []
    heatq_run(reference.PROBLEMS["P1"], cells=BASE, step_tolerance=2.0)
    for factor in factors:
        shape = (BASE[0] * factor, BASE[1] * factor)
        best, budget = np.inf, time.perf_counter() + 4.0
        while best == np.inf or (time.perf_counter() < budget and factor < 4):
            run = heatq_run(reference.PROBLEMS["P1"], cells=shape, step_tolerance=2.0)
            best = min(best, run.attrs["solve_seconds"])
        steps = run.attrs["n_steps"] + run.attrs["n_rejected"]
        rows.append({"cells": shape[0] * shape[1], "shape": shape, "steps": steps, "seconds": best})
    size = np.log([row["cells"] for row in rows])
    cost = np.log([row["seconds"] / row["steps"] for row in rows])
    return {"rows": rows, "exponent": float(np.polyfit(size, cost, 1)[0])}


def kernels() -> list[dict]:
    """Cell-steps per second of four kinds of run at the default accuracy."""
    air = hq.StillAir(temperature=24.0) + hq.Radiation(emissivity=0.3, surroundings_temperature=24.0)
    jet = {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air}
    oil = {"side": hq.Convection(500.0, 40.0)}
    kinds = {
        "end-quench bar, no transformation": (hq.EndQuenchBar(), jet, False, 600.0),
        "end-quench bar, coupled kinetics": (hq.EndQuenchBar(), jet, True, 600.0),
        "long bar, no transformation": (hq.RoundBar(diameter=0.05), oil, False, 600.0),
        "long bar, coupled kinetics": (hq.RoundBar(diameter=0.05), oil, True, 600.0),
    }
    rows = []
    for name, (piece, faces, coupled, end) in kinds.items():

        def call(piece=piece, faces=faces, coupled=coupled, end=end):
            return hq.simulate(
                piece, hq.grade("4140"), faces, initial_temperature=845.0, end_time=end, coupled=coupled,
                estimate_error=False, progress=False, output_times=[end],
            )  # fmt: skip

        call()
        best, spent = np.inf, time.perf_counter() + 1.5
        while best == np.inf or time.perf_counter() < spent:
            run = call()
            best = min(best, run.attrs["solve_seconds"])
        shape = json.loads(run.attrs["settings"])["cells"]
        steps = run.attrs["n_steps"] + run.attrs["n_rejected"]
        rows.append({"kind": name, "shape": shape, "steps": steps, "seconds": best,
                     "ns": 1e9 * best / (shape[0] * shape[1] * steps)})  # fmt: skip
    return rows


def batches() -> list[dict]:
    """Many cases at default accuracy, error estimate included: rate against cases and threads, and the peak memory so far."""
    steel = hq.grade("4140")
    air = hq.StillAir() + hq.Radiation(emissivity=0.8)
    water = {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air}

    def long_bar(share: float) -> dict:
        gas = hq.GasCrossflow("nitrogen", velocity=20.0 + 40.0 * share, pressure=1e6, temperature=40.0)
        bar = {"specimen": hq.RoundBar(diameter=0.03 + 0.04 * share), "steel": steel, "boundaries": {"side": gas}}
        return bar | {"initial_temperature": 860.0, "end_time": 600.0}

    def end_quench(share: float) -> dict:
        bar = {"specimen": hq.EndQuenchBar(), "steel": steel, "boundaries": water, "end_time": 600.0}
        return bar | {"initial_temperature": 830.0 + 60.0 * share}

    def gas_end_quench(share: float) -> dict:
        jet = hq.GasJet("nitrogen", velocity=20.0 + 60.0 * share, pressure=4e5, temperature=25.0)
        return end_quench(share) | {"boundaries": water | {"jet": jet}}

    def many(make, cases, threads):
        out = hq.simulate_many((make(n / cases) for n in range(cases)), keep=["fraction"], threads=threads)
        return sum(1 for _ in out)

    def trials(make, cases, threads):
        points = {"share": [n / cases for n in range(cases)]}
        done = hq.study(make, points, reduce=["hardness_hv"], threads=threads, progress=False)
        return int(np.isfinite(done.hardness_hv).all("probe").sum())

    bars, water_bars, gas_bars = (
        "long bars in nitrogen, 1-D",
        "end-quench bars in water, 2-D",
        "end-quench bars in nitrogen, 2-D",
    )
    plan = [(f"{bars}: simulate_many", many, long_bar, plan) for plan in ((1000, 1), (1000, 2), (10_000, 2))]
    plan += [(f"{bars}: study of trials", trials, long_bar, plan) for plan in ((1000, 1), (1000, 2), (10_000, 2))]
    plan += [(f"{water_bars}: simulate_many", many, end_quench, plan) for plan in ((100, 1), (100, 2), (1000, 2))]
    plan += [(f"{water_bars}: study of trials", trials, end_quench, plan) for plan in ((1000, 2),)]
    plan += [(f"{gas_bars}: study of trials", trials, gas_end_quench, plan) for plan in ((100, 1), (100, 2), (1000, 2))]
    rows = []
    for what, run, make, (cases, threads) in plan:
        run(make, 40, 2)
        begin, worked = time.perf_counter(), time.process_time()
        kept = run(make, cases, threads)
        seconds, worked = time.perf_counter() - begin, time.process_time() - worked
        status = pathlib.Path("/proc/self/status").read_text()  # ru_maxrss would count what the parent process had
        peak = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) / 1024.0
        rows.append({"what": what, "cases": cases, "threads": threads, "per_second": kept / seconds,
                     "cpu_ms": 1e3 * worked / kept, "peak_mb": peak})  # fmt: skip
    return rows


def bench_batch() -> dict:
    """`batches` in a process of its own, whose memory is not that of the peers."""
    done = subprocess.run([sys.executable, __file__], capture_output=True, text=True, check=True)
    return {"rows": json.loads(done.stdout)}


if __name__ == "__main__":
    print(json.dumps(batches(), indent=1))
