"""Studies: cases per second, memory, cost over cases, cost of the store.

python benchmarks/bench_study.py            10,000 long bars and 1,000 end-quench bars, some minutes
python benchmarks/bench_study.py --quick    a tenth of it
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time

import numpy as np

import heatq as hq


def build_bar(diameter, pressure):
    """A long bar in nitrogen: one trial with hardness, 1-D."""
    gas = hq.GasCrossflow("nitrogen", velocity=20.0, pressure=pressure, temperature=40.0)
    return {"specimen": hq.RoundBar(diameter=diameter), "steel": HEAT, "boundaries": {"side": gas}, "end_time": 900.0}


def build_end_quench(velocity, pressure):
    """An end-quench bar under a jet of nitrogen, 2-D."""
    air = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
    jet = hq.GasJet("nitrogen", velocity=velocity, pressure=pressure, temperature=25.0)
    return {
        "specimen": hq.EndQuenchBar(),
        "steel": HEAT,
        "boundaries": {"jet": jet, "side": air, "top": air},
        "end_time": 900.0,
    }


def build_nothing(x, y):
    """A case that costs nothing: what is left is the study's own work."""
    return {"product": x * y}


HEAT = hq.demo_heat()


def rate(build, points, **options):
    """Cases per second, wall and processor time per case, and the peak memory so far, MB."""
    begin, worked = time.perf_counter(), time.process_time()
    done = hq.study(build, points, progress=False, **options)
    seconds, worked = time.perf_counter() - begin, time.process_time() - worked
    count = int(done.attrs["cases"])
    return (
        count / seconds,
        seconds / count * 1e3,
        worked / count * 1e3,
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
        done.attrs["failed"],
    )


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a tenth of the cases")
    share = 0.1 if parser.parse_args().quick else 1.0
    rows = []
    for cases in (1000, 10_000):
        n = round(np.sqrt(cases * share))
        grid = {"diameter": np.linspace(0.02, 0.06, n).tolist(), "pressure": np.linspace(2e5, 2e6, n).tolist()}
        rows.append((f"long bars, {n * n}", rate(build_bar, grid)))
    n = round(np.sqrt(1000 * share))
    grid = {"diameter": np.linspace(0.02, 0.06, n).tolist(), "pressure": np.linspace(2e5, 2e6, n).tolist()}
    rows.append((f"long bars, {n * n}, one thread", rate(build_bar, grid, threads=1)))
    with tempfile.TemporaryDirectory() as folder:
        rows.append((f"long bars, {n * n}, with a store", rate(build_bar, grid, store=f"{folder}/s.zarr")))
    grid = {"velocity": np.linspace(20.0, 80.0, n).tolist(), "pressure": np.linspace(1e5, 1e6, n).tolist()}
    rows.append((f"end-quench bars, {n * n}", rate(build_end_quench, grid)))
    grid = {"x": np.arange(100.0).tolist(), "y": np.arange(100.0).tolist()}
    rows.append(("nothing, 10000", rate(build_nothing, grid, run=None)))
    print(f"{'study':34} {'cases/s':>9} {'ms/case':>9} {'CPU ms':>8} {'peak MB':>8} {'failed':>7}")
    for name, (per_second, milliseconds, worked, memory, failed) in rows:
        print(f"{name:34} {per_second:9.1f} {milliseconds:9.3f} {worked:8.3f} {memory:8.0f} {failed:7d}")


if __name__ == "__main__":
    main()
