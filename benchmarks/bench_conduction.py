"""One conduction problem, heatq beside scipy.integrate.solve_ivp at equal measured error, in one run.

Both are held against the same reference (`reference.py`), which shares no code with heatq. The error is the largest
difference over 200 times and six probes. The competitor integrates the same finite volumes as the reference on coarser
grids, in enthalpy, with an exact sparse Jacobian; of several grids and tolerances the cheapest one that is at least as
accurate counts. Times are medians of whole calls, warm, single thread.
"""

from __future__ import annotations

import json
import statistics
import time

import numpy as np
import reference

import heatq as hq

#: Cells across and along, grading across.
GRIDS = ((6, 80, 6.0), (8, 112, 6.0), (10, 160, 8.0), (14, 260, 10.0))
TOLERANCES = (3e-3, 1e-3, 3e-4, 1e-4)
ACCURACIES = (2.0, 1.0, 0.5, 0.2, 0.1)


def heatq_run(accuracy: float, estimate_error: bool):
    """One run of heatq, with or without its own estimate of the error (and what that makes it refine)."""
    side = hq.Convection(reference.SIDE_COEFFICIENT, reference.FLUID) + hq.Radiation(
        reference.EMISSIVITY, surroundings_temperature=reference.FLUID
    )
    return hq.simulate(
        hq.EndQuenchBar(),
        hq.steels.fire_code_steel(),
        {"jet": hq.Convection(reference.END_COEFFICIENT, reference.FLUID), "side": side, "top": side},
        initial_temperature=reference.START,
        end_time=float(reference.TIMES[-1]),
        output_times=reference.TIMES,
        probes=[hq.Probe(reference.RADIUS, float(z), f"{1e3 * z:.4g} mm") for z in reference.PROBES],
        accuracy=accuracy,
        estimate_error=estimate_error,
        progress=False,
    )


def median_seconds(call, repeats: int) -> float:
    """Median wall time of a call."""
    spans = []
    for _ in range(repeats):
        begin = time.perf_counter()
        call()
        spans.append(time.perf_counter() - begin)
    return statistics.median(spans)


def main() -> dict:
    """Measure, print, return."""
    exact, own_error = reference.reference()
    print(f"reference: {own_error:.3f} K from its own coarser grid")
    heatq_run(0.5, True)
    ours = {}
    print(f"{'heatq accuracy, K':>24} {'error, K':>9} {'cells':>10} {'steps':>6} {'call, ms':>9}")
    for estimate in (False, True):
        for accuracy in ACCURACIES:
            label = f"{accuracy:g}{', error estimated' if estimate else ''}"
            result = heatq_run(accuracy, estimate)
            error = float(np.abs(result["temperature"].values - exact).max())
            seconds = median_seconds(lambda a=accuracy, e=estimate: heatq_run(a, e), 5 if accuracy >= 0.5 else 1)
            ours[label] = (error, seconds)
            across, along = json.loads(result.attrs["settings"])["cells"]
            print(
                f"{label:>24} {error:>9.3f} {across:>4d} x {along:<4d} {result.attrs['n_steps']:>5d} {1e3 * seconds:>9.1f}"
            )
    theirs = []
    print(f"{'solve_ivp BDF':>24} {'error, K':>9} {'rtol':>10} {'':>6} {'call, ms':>9}")
    for nr, nz, grading in GRIDS:
        for tolerance in TOLERANCES:
            bar = reference.Bar(nr, nz, grading)
            found, seconds, _ = bar.solve(tolerance)
            error = float(np.abs(found - exact).max())
            theirs.append((error, seconds))
            print(f"{f'{nr} x {nz}':>24} {error:>9.3f} {tolerance:>10.0e} {'':>6} {1e3 * seconds:>9.1f}")
    ratios = {}
    for label, (error, seconds) in ours.items():
        good = [s for e, s in theirs if e <= error]
        if good:
            ratios[label] = min(good) / seconds
            print(f"heatq {label} ({error:.3f} K measured): solve_ivp needs {ratios[label]:.0f} times as long")
        else:
            print(f"heatq {label} ({error:.3f} K measured): none of the solve_ivp runs is as accurate")
    return {
        "heatq": {label: {"error": e, "seconds": s} for label, (e, s) in ours.items()},
        "solve_ivp": [{"error": e, "seconds": s} for e, s in theirs],
        "ratio": ratios,
    }


if __name__ == "__main__":
    main()
