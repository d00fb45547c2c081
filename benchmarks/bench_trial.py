"""Cost of the default trial: warm time, memory, import time, first answers with and without cached kernels.

Each number comes from processes of their own; imports are medians of several, taken in turn.
"""

from __future__ import annotations

import json
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

TRIAL = """
import heatq as hq
air = hq.StillAir(temperature=24.0) + hq.Radiation(0.3, surroundings_temperature=24.0)
def trial():
    return hq.trial(hq.EndQuenchBar(), hq.grade("4140"), {"jet": hq.WaterJet(temperature=24.0), "side": air, "top": air},
                    initial_temperature=845.0, end_time=600.0, progress=False)
"""
WARM = """
import json, resource, statistics, time
def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
import numpy, scipy, numba, xarray
libraries = peak()
trial()
spans, solves = [], []
for _ in range(9):
    begin = time.perf_counter()
    result = trial()
    spans.append(time.perf_counter() - begin)
    solves.append(result.attrs["solve_seconds"])
print(json.dumps({"seconds": statistics.median(spans), "fastest": min(spans), "solve_seconds": statistics.median(solves),
                  "peak_mb": peak(), "libraries_mb": libraries, "steps": result.attrs["n_steps"]}))
"""


def run(code: str, **environment: str) -> tuple[str, float]:
    """Output and wall time of a fresh process."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env={**os.environ, **environment}
    )
    return done.stdout, time.perf_counter() - begin


def import_seconds(repeats: int = 9) -> dict[str, float]:
    """Median time of the import statement alone, in fresh processes, taken in turn."""
    modules = ("heatq", "xarray", "numpy")
    code = "import time; b = time.perf_counter(); import {}; print(time.perf_counter() - b)"
    spans: dict[str, list[float]] = {m: [] for m in modules}
    for m in modules:
        run(code.format(m))
    for _ in range(repeats):
        for m in modules:
            spans[m].append(float(run(code.format(m))[0]))
    return {m: statistics.median(s) for m, s in spans.items()}


def main() -> dict:
    """Measure, print, return."""
    run(TRIAL + "trial()")  # fills the cache
    warm = json.loads(run(TRIAL + WARM)[0])
    print(
        f"default trial, warm: {1e3 * warm['seconds']:.0f} ms (fastest {1e3 * warm['fastest']:.0f}), of which solver "
        f"{1e3 * warm['solve_seconds']:.0f} ms, {warm['steps']} steps"
    )
    print(
        f"peak memory of the process: {warm['peak_mb']:.0f} MB, of which imported libraries {warm['libraries_mb']:.0f} MB"
    )
    imports = import_seconds()
    print(
        f"import: heatq {1e3 * imports['heatq']:.0f} ms, xarray {1e3 * imports['xarray']:.0f} ms "
        f"(ratio {imports['heatq'] / imports['xarray']:.2f}), numpy {1e3 * imports['numpy']:.0f} ms"
    )
    second = statistics.median(run(TRIAL + "trial()")[1] for _ in range(3))
    print(f"first answer of a second process, kernels cached: {second:.2f} s (whole process)")
    with tempfile.TemporaryDirectory() as empty:
        fresh = run(TRIAL + "trial()", NUMBA_CACHE_DIR=str(pathlib.Path(empty)))[1]
    print(f"first answer with an empty cache (compiles): {fresh:.1f} s")
    return {"warm": warm, "import": imports, "second_process": second, "fresh_process": fresh}


if __name__ == "__main__":
    main()
